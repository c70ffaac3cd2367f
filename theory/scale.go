package theory

import (
	"fmt"
	"strings"
	"sync"
)

// A Family is one of the four eight-note scales in which a six-chord or a
// dominant and a diminished seventh take turns.
type Family uint8

// The families of harmony.md 1.1.
const (
	Major6       Family = iota // 1 2 3 4 5 b6 6 7
	Minor6                     // 1 2 b3 4 5 b6 6 7
	Seventh                    // 1 2 3 4 5 b6 b7 7
	SeventhFlat5               // 1 2 3 4 b5 b6 b7 7
)

// harmony.md 1.1: semitones of the steps, the letters they take by 1.2, the
// names, and the roots as the tables of 1.2 spell them.
var families = [...]struct {
	semitones [8]int
	letters   [8]int
	long, six string
	roots     string
}{
	Major6: {[8]int{0, 2, 4, 5, 7, 8, 9, 11}, [8]int{0, 1, 2, 3, 4, 5, 5, 6}, "maj6dim", "6",
		"C Db D Eb E F Gb G Ab A Bb B"},
	Minor6: {[8]int{0, 2, 3, 5, 7, 8, 9, 11}, [8]int{0, 1, 2, 3, 4, 5, 5, 6}, "min6dim", "m6",
		"C C# D Eb E F F# G Ab A Bb B"},
	Seventh: {[8]int{0, 2, 4, 5, 7, 8, 10, 11}, [8]int{0, 1, 2, 3, 4, 5, 6, 6}, "7dim", "7",
		"C Db D Eb E F F# G Ab A Bb B"},
	SeventhFlat5: {[8]int{0, 2, 4, 5, 6, 8, 10, 11}, [8]int{0, 1, 2, 3, 4, 5, 6, 6}, "7b5dim", "7b5",
		"C Db D Eb E F F# G Ab A Bb B"},
}

// familyRoots are the roots of each family by pitch class.
var familyRoots = sync.OnceValue(func() (roots [len(families)][12]Name) {
	for f := range families {
		for pc, s := range strings.Fields(families[f].roots) {
			roots[f][pc], _, _ = cutName(s, false)
		}
	}
	return roots
})

// A Scale is one of the eight-note scales on a root. It is comparable; NewScale
// and ParseScale spell the root as the tables of harmony.md 1.2, so that equal
// scales are ==. The zero value is C major-sixth diminished.
type Scale struct {
	Root   Name
	Family Family
}

// NewScale is the scale on the pitch class pc, its root spelled by the table.
func NewScale(pc int, f Family) Scale {
	return Scale{familyRoots()[f][mod12(pc)], f}
}

// Steps are the semitones of steps 0-7 above the root.
func (s Scale) Steps() [8]int { return families[s.Family].semitones }

// Semitone is step n in semitones above the root, through all octaves: step 8
// is 12, step -1 is -1.
func (s Scale) Semitone(n int) int {
	return 12*floorDiv(n, 8) + families[s.Family].semitones[n&7]
}

// Pitch is step n, spelled by harmony.md 1.2; step 0 is the root in octave 4.
func (s Scale) Pitch(n int) Pitch {
	root := Pitch{s.Root, 4}
	return pitchAt(root.MIDI()+s.Semitone(n), s.Name(n))
}

// Name is step n spelled by harmony.md 1.2: consecutive letters, the added
// note by its degree; then double accidentals, Cb and Fb become plain names.
func (s Scale) Name(n int) Name {
	f := &families[s.Family]
	name := s.Root.Transpose(Interval{f.letters[n&7], f.semitones[n&7]})
	if name.Alter < 0 && (name.Letter == C || name.Letter == F) {
		return plainName(name.PC(), false)
	}
	return name.simplified()
}

// PCs are the eight pitch classes.
func (s Scale) PCs() PCSet { return s.Six() | s.Dim() }

// Six are the pitch classes of the even steps: the six-chord or dominant.
func (s Scale) Six() PCSet { return s.every(0) }

// Dim are the pitch classes of the odd steps: the diminished seventh.
func (s Scale) Dim() PCSet { return s.every(1) }

func (s Scale) every(from int) PCSet {
	var set PCSet
	for i := from; i < 8; i += 2 {
		set = set.With(families[s.Family].semitones[i])
	}
	return set.Rotate(s.Root.PC())
}

// StepOf is the step 0-7 that a pitch class has in the scale.
func (s Scale) StepOf(pc int) (int, bool) {
	rel := mod12(pc - s.Root.PC())
	for i, st := range families[s.Family].semitones {
		if st == rel {
			return i, true
		}
	}
	return 0, false
}

// String is the long form: "Bb maj6dim", "C min6dim", "G 7dim", "G 7b5dim".
func (s Scale) String() string { return s.Root.String() + " " + families[s.Family].long }

// SixName is the chord on the even steps: "Bb6", "Cm6", "G7", "G7b5".
func (s Scale) SixName() string { return s.Root.String() + families[s.Family].six }

// ParseScale reads both forms, String's and SixName's, the root of either
// spelling: "F#6" is the scale Gb maj6dim.
func ParseScale(s string) (Scale, error) {
	n, rest, ok := cutName(strings.TrimSpace(s), false)
	if ok {
		rest = strings.TrimSpace(rest)
		for f := range families {
			if rest == families[f].long || rest == families[f].six {
				return NewScale(n.PC(), Family(f)), nil
			}
		}
	}
	return Scale{}, fmt.Errorf("%q is not a scale (use a form like Bb6, Cm6, G7, G7b5 or Bb maj6dim, C min6dim, G 7dim, G 7b5dim)", s)
}
