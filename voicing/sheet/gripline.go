package sheet

import (
	"strconv"
	"strings"

	"thumbline/voicing"
)

// GripLine is a grip in one line: its name, its frets and its fingers, low string
// first, "F#m7b5  x 9 10 9 10 x  fingers - 1 3 2 4 -".
func GripLine(p voicing.Placed) string {
	line := frets(p.Frets) + "  fingers " + fingers(p.Fingers)
	if name := gripName(p); name != "" {
		line = name + "  " + line
	}
	return line
}

// SayGrip is the same in words, to be read aloud, with the strings that are used
// from low to high: "F sharp m7 flat 5: string A fret 9 finger 1, ...". A barre is
// told with the first of its strings, an open string as open.
func SayGrip(p voicing.Placed, tuning []int) string {
	names := voicing.StringNames(tuning)
	var parts []string
	barre := map[int]bool{}
	for i, f := range p.Frets {
		if f < 0 || i >= len(names) {
			continue
		}
		s := "string " + sayString(names, i)
		switch {
		case f == 0:
			s += " open"
		default:
			s += " fret " + strconv.Itoa(f)
			if i < len(p.Fingers) && p.Fingers[i] > 0 {
				n := p.Fingers[i]
				s += " finger " + strconv.Itoa(n)
				if barre[n] {
					s += " too"
				}
				barre[n] = true
			}
		}
		parts = append(parts, s)
	}
	line := strings.Join(parts, ", ")
	if name := gripName(p); name != "" {
		line = strings.TrimSuffix(sayChord(name)+": "+line, ": ")
	}
	return line
}

// gripName is what sounds, or else the chord as it is written.
func gripName(p voicing.Placed) string {
	if p.Name != "" {
		return p.Name
	}
	return p.Symbol
}

// sayString tells the highest string from a lower one of the same letter, as a
// voice has no small letters.
func sayString(names []string, i int) string {
	n := names[i]
	if i == len(names)-1 && n != strings.ToUpper(n[:1])+n[1:] {
		return "high " + strings.ToUpper(n[:1]) + sayAlter(n[1:])
	}
	return n[:1] + sayAlter(n[1:])
}

func sayAlter(s string) string {
	switch s {
	case "#":
		return " sharp"
	case "b":
		return " flat"
	}
	return s
}

// sayChord spells the signs of a chord name that a voice reads badly: accidentals
// and the slash. What is left, such as maj7, is said as it stands.
func sayChord(name string) string {
	var b strings.Builder
	for i := 0; i < len(name); i++ {
		c := name[i]
		next := byte(0)
		if i+1 < len(name) {
			next = name[i+1]
		}
		note := i > 0 && name[i-1] >= 'A' && name[i-1] <= 'G'
		switch {
		case (c == 'b' || c == '#') && note:
			b.WriteString(sayAlter(string(c)))
			if next >= '0' && next <= '9' || next >= 'a' && next <= 'z' {
				b.WriteByte(' ')
			}
		case (c == 'b' || c == '#') && next >= '0' && next <= '9':
			b.WriteString(sayAlter(string(c)) + " ")
		case c == '/':
			b.WriteString(" over ")
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}
