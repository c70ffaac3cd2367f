package theory

import (
	"testing"

	"pgregory.net/rapid"
)

// drawChord is a chord of any tones on any root, some of them beyond the table
// of qualities.
func drawChord(t *rapid.T, what string, always PCSet) Chord {
	root := plainName(rapid.IntRange(0, 11).Draw(t, what+" root"), rapid.Bool().Draw(t, what+" sharp"))
	return NewChord(root, PCSet(rapid.IntRange(0, 0xfff).Draw(t, what+" tones"))|always, root)
}

// tensionOf is the least tension of harmony.md 3.2 that degrees over a dominant
// have.
func tensionOf(degrees PCSet) int {
	switch {
	case (degrees & tones(1, 3, 6, 8)).Len() >= 2:
		return 4
	case degrees.Has(1):
		return 3
	case degrees&tones(3, 6, 8) != 0, degrees.Has(5) && !degrees.Has(4):
		return 2
	case degrees&tones(2, 9) != 0:
		return 1
	}
	return 0
}

// harmony.md 3.4, rule 1, over any dominant with anything around it: what
// stands in for it holds its tritone, 3 and b7, or is a suspension of it, b7
// and 4 without 3. And its tension is not told lower than it is, so that what
// is not wanted can be kept out by it.
func TestSubstitutesForADominant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawChord(t, "chord", tones(4, 10))
		if rapid.Bool().Draw(t, "suspended") {
			c = NewChord(c.Root, c.Tones&^tones(3, 4)|tones(5), c.Root)
		}
		if !c.IsDominant() {
			t.Fatalf("%v is no dominant", c)
		}
		ctx := Context{
			Prev: drawChord(t, "chord before", 0),
			Next: drawChord(t, "chord after", 0),
			Key:  Key{Tonic: plainName(rapid.IntRange(0, 11).Draw(t, "key"), false), Minor: rapid.Bool().Draw(t, "minor key")},
		}
		ctx.Prev.NoChord = rapid.Bool().Draw(t, "first")
		ctx.Next.NoChord = rapid.Bool().Draw(t, "last")
		uses := UsesIn(c, ctx)
		if len(uses) == 0 {
			t.Fatalf("nothing to play over %v", c)
		}
		seen := map[Use]bool{}
		for _, u := range uses {
			set := u.Scale.Six()
			if u.Dim {
				set = u.Scale.Dim()
			}
			d := set.Rotate(-c.RootPC())
			tritone, suspension := d.Has(4) && d.Has(10), d.Has(10) && d.Has(5) && !d.Has(4)
			if !tritone && !suspension {
				t.Fatalf("%v over %v (%s) has neither its tritone nor a suspension", u.Scale, c, u.Degrees)
			}
			if c.Kind == Suspended && !suspension {
				t.Fatalf("%v over %v (%s) is not suspended", u.Scale, c, u.Degrees)
			}
			if least := tensionOf(d); u.Tension < least || u.Tension > 4 {
				t.Fatalf("%v over %v (%s) has tension %d, at least %d is heard", u.Scale, c, u.Degrees, u.Tension, least)
			}
			if seen[u] {
				t.Fatalf("%v: %v is listed twice", c, u)
			}
			seen[u] = true
		}
		for i, u := range Uses(c) {
			if i > 1 && u.Tension < Uses(c)[i-1].Tension {
				t.Fatalf("%v: alternatives are not in order of tension: %v", c, Uses(c))
			}
		}
	})
}

// A substitute is the same on every root: transposing the chord and what is
// around it transposes its uses.
func TestUsesTranspose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, next, prev := drawChord(t, "chord", 0), drawChord(t, "chord after", 0), drawChord(t, "chord before", 0)
		key := Key{Tonic: plainName(rapid.IntRange(0, 11).Draw(t, "key"), false)}
		n := rapid.IntRange(1, 11).Draw(t, "semitones")
		up := func(c Chord) Chord {
			root := plainName(c.RootPC()+n, false)
			return NewChord(root, c.Tones, root)
		}
		a := UsesIn(c, Context{prev, next, key})
		b := UsesIn(up(c), Context{up(prev), up(next), Key{Tonic: plainName(key.Tonic.PC()+n, false)}})
		if len(a) != len(b) {
			t.Fatalf("%v: %v, %d semitones up %v", c, a, n, b)
		}
		for i := range a {
			a[i].Scale = NewScale(a[i].Scale.Root.PC()+n, a[i].Scale.Family)
			if a[i] != b[i] {
				t.Fatalf("%v: %v, %d semitones up %v", c, a[i], n, b[i])
			}
		}
	})
}
