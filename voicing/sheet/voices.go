package sheet

import (
	"slices"
	"strings"

	"thumbline/voicing"
)

// Voices is the arrangement with the voices of keep alone: their notes, and of
// each grip the strings on which they sound. A grip of fewer than two strings
// is left out; one that lost a string no longer tells what was borrowed or how
// it is struck, since that would be told of voices that are not there. The tune
// as it was read and the chords stay. A last warning says what is missing.
func Voices(a *voicing.Arrangement, keep ...voicing.Voice) *voicing.Arrangement {
	c := *a
	kept := func(v voicing.Voice) bool { return slices.Contains(keep, v) }
	var gone []string
	for _, v := range []voicing.Voice{voicing.Melody, voicing.Inner, voicing.Bass} {
		if !kept(v) {
			gone = append(gone, v.String())
		}
	}
	if len(gone) == 0 {
		return &c
	}
	c.Notes = nil
	for _, n := range a.Notes {
		if kept(n.Voice) {
			c.Notes = append(c.Notes, n)
		}
	}
	if !kept(voicing.Melody) {
		c.LetGo = nil
	}
	c.Grips = nil
	from := 0 // notes before it do not reach the grip
	for i, g := range a.Grips {
		end := a.End()
		if i+1 < len(a.Grips) {
			end = a.Grips[i+1].At
		}
		frets, fingers := slices.Repeat([]int{-1}, len(g.Frets)), make([]int, len(g.Fingers))
		left := 0
		for from < len(c.Notes) && c.Notes[from].At+c.Notes[from].Dur <= g.At {
			from++
		}
		for _, n := range c.Notes[from:] {
			if n.At >= end {
				break
			}
			s := len(g.Frets) - n.String
			if s >= 0 && s < len(frets) && n.At+n.Dur > g.At && g.Frets[s] == n.Fret && frets[s] < 0 {
				frets[s], fingers[s] = g.Frets[s], g.Fingers[s]
				left++
			}
		}
		if !slices.Equal(frets, g.Frets) {
			g.Borrowed, g.Texture = nil, ""
		}
		g.Frets, g.Fingers = frets, fingers
		if left > 1 {
			c.Grips = append(c.Grips, g)
		}
	}
	c.Warnings = append(slices.Clone(a.Warnings), leftOut+strings.Join(gone, ", "))
	return &c
}

// leftOut begins the warning that says what is missing.
const leftOut = "left out of what is written here: "

// WithoutBassist is the arrangement without the bass player's line; a trio's
// last warning says so, beside what Voices left out.
func WithoutBassist(a *voicing.Arrangement) *voicing.Arrangement {
	c := *a
	if c.Setting != voicing.Trio {
		return &c
	}
	c.Bassist = nil
	c.Warnings = slices.Clone(a.Warnings)
	if n := len(c.Warnings); n > 0 && strings.HasPrefix(c.Warnings[n-1], leftOut) {
		c.Warnings[n-1] += ", bassist"
	} else {
		c.Warnings = append(c.Warnings, leftOut+"bassist")
	}
	return &c
}
