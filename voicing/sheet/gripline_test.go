package sheet

import (
	"testing"

	"thumbline/voicing"
)

// TestGripLines: a grip for the eye and for the ear.
func TestGripLines(t *testing.T) {
	standard := []int{40, 45, 50, 55, 59, 64}
	for _, c := range []struct {
		grip      voicing.Placed
		tuning    []int
		line, say string
	}{
		{voicing.Placed{Name: "F#m7b5", Frets: []int{-1, 9, 10, 9, 10, -1}, Fingers: []int{0, 1, 3, 2, 4, 0}}, standard,
			"F#m7b5  x 9 10 9 10 x  fingers - 1 3 2 4 -",
			"F sharp m7 flat 5: string A fret 9 finger 1, string D fret 10 finger 3, string G fret 9 finger 2, string B fret 10 finger 4"},
		{voicing.Placed{Name: "G69", Frets: []int{-1, 10, 7, 9, -1, 7}, Fingers: []int{0, 4, 1, 3, 0, 1}}, standard,
			"G69  x 10 7 9 x 7  fingers - 4 1 3 - 1",
			"G69: string A fret 10 finger 4, string D fret 7 finger 1, string G fret 9 finger 3, string high E fret 7 finger 1 too"},
		{voicing.Placed{Symbol: "Bb7#9/Ab", Frets: []int{0, -1, 0, 5, -1, -1}, Fingers: []int{0, 0, 0, 1, 0, 0}}, []int{38, 45, 50, 55, 57, 62},
			"Bb7#9/Ab  0 x 0 5 x x  fingers - - - 1 - -",
			"B flat 7 sharp 9 over A flat: string D open, string D open, string G fret 5 finger 1"},
		{voicing.Placed{Name: "Bb and D", Frets: []int{-1, -1, -1, 3, 3, -1}, Fingers: []int{0, 0, 0, 1, 1, 0}}, []int{39, 44, 49, 54, 58, 63},
			"Bb and D  x x x 3 3 x  fingers - - - 1 1 -",
			"B flat and D: string G flat fret 3 finger 1, string B flat fret 3 finger 1 too"},
		{voicing.Placed{Frets: []int{-1, -1, -1, -1, -1, 2}, Fingers: []int{0, 0, 0, 0, 0, 2}}, standard,
			"x x x x x 2  fingers - - - - - 2", "string high E fret 2 finger 2"},
		{voicing.Placed{Name: "N.C."}, nil, "N.C.    fingers ", "N.C."},
	} {
		if got := GripLine(c.grip); got != c.line {
			t.Errorf("%q, want %q", got, c.line)
		}
		if got := SayGrip(c.grip, c.tuning); got != c.say {
			t.Errorf("%q, want %q", got, c.say)
		}
	}
}

// TestSayChord: signs are spelled, words and numbers stay.
func TestSayChord(t *testing.T) {
	for name, want := range map[string]string{
		"C": "C", "Bb": "B flat", "Bbm7": "B flat m7", "C#dim7": "C sharp dim7", "G7b9": "G7 flat 9", "E7#5#9": "E7 sharp 5 sharp 9",
		"Am7/C": "Am7 over C", "Cm7/G, no root": "Cm7 over G, no root", "Ebmaj7": "E flat maj7", "Bb5": "B flat 5", "Gm6/Bb": "Gm6 over B flat",
	} {
		if got := sayChord(name); got != want {
			t.Errorf("%s is said %q, want %q", name, got, want)
		}
	}
}
