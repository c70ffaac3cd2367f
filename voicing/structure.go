package voicing

import (
	"fmt"
	"slices"

	"thumbline/theory"
)

// A Structure is how the four notes of a chord are spread: a close chord on
// every second step of a sixth-diminished scale, with some of its voices
// lowered an octave. Voices of the close chord are counted from the top, the
// melody being 1; "drop 2" lowers the second (harmony.md 1.4).
type Structure uint8

// The structures.
const (
	Close Structure = iota
	Drop2
	Drop3
	Drop24
	Drop23
	structures
)

// A VoicePart is one of the four voices of a structure as it sounds, and its
// index in the rows of Steps and Pitches.
type VoicePart uint8

// The four voices, low to high.
const (
	BassPart VoicePart = iota
	TenorPart
	AltoPart
	SopranoPart
)

// String is the word used in plans and reasons.
func (p VoicePart) String() string {
	return [...]string{"bass", "tenor", "alto", "soprano"}[p]
}

// harmony.md 1.4 in scale steps from the top voice, low to high; drop 2&3 by
// the same rule. The string sets are those on which every inversion lies within
// four frets, counted as in 4.1; close has none such, only those where some do.
var structureTable = [structures]struct {
	name  string
	steps [4]int
	sets  [][4]int
}{
	Close:  {"close", [4]int{-6, -4, -2, 0}, [][4]int{{4, 3, 2, 1}, {5, 4, 3, 2}}},
	Drop2:  {"drop 2", [4]int{-10, -6, -4, 0}, [][4]int{{4, 3, 2, 1}, {5, 4, 3, 2}, {6, 5, 4, 3}}},
	Drop3:  {"drop 3", [4]int{-12, -6, -2, 0}, [][4]int{{5, 3, 2, 1}, {6, 4, 3, 2}}},
	Drop24: {"drop 2&4", [4]int{-14, -10, -4, 0}, [][4]int{{5, 4, 2, 1}, {6, 5, 3, 2}}},
	Drop23: {"drop 2&3", [4]int{-12, -10, -6, 0}, [][4]int{{5, 4, 3, 1}, {6, 5, 4, 2}}},
}

// Structures are all of them, close first.
func Structures() []Structure {
	all := make([]Structure, structures)
	for i := range all {
		all[i] = Structure(i)
	}
	return all
}

// String is the trade's name, "drop 2&4".
func (s Structure) String() string { return structureTable[s].name }

// StringSets are the sets of strings on which the structure lies well on six
// strings in standard tuning, the string of the bass first, the highest set
// first.
func (s Structure) StringSets() [][4]int { return slices.Clone(structureTable[s].sets) }

// Part is where voice n of the close chord (1 the melody, 4 the lowest) has
// gone: voice 3 is the tenor of a close chord and the bass of drop 3.
func (s Structure) Part(n int) VoicePart {
	steps := structureTable[s].steps
	return VoicePart(slices.IndexFunc(steps[:], func(st int) bool { return (st+2*(n-1))%8 == 0 }))
}

// A Borrow takes the scale step next to a voice's own: Step is +1 for the one
// above, -1 for the one below. It belongs to the other chord of the scale and
// wants to move back or on (harmony.md 2.1).
type Borrow struct {
	Voice VoicePart
	Step  int
}

// String is "alto +1".
func (b Borrow) String() string { return fmt.Sprintf("%v %+d", b.Voice, b.Step) }

// Steps are the scale steps of the four voices low to high under step top, with
// what is borrowed. A borrow of the soprano moves it off top, its own step.
func (s Structure) Steps(top int, borrowed ...Borrow) [4]int {
	steps := structureTable[s].steps
	for i := range steps {
		steps[i] += top
	}
	for _, b := range borrowed {
		steps[b.Voice] += b.Step
	}
	return steps
}

// Pitches are the same as MIDI note numbers; step 0 is the scale's root in
// octave 4.
func (s Structure) Pitches(scale theory.Scale, top int, borrowed ...Borrow) [4]int {
	pitches := s.Steps(top, borrowed...)
	for i, st := range pitches {
		pitches[i] = pitchOf(scale, st)
	}
	return pitches
}

// Borrowings are the ways to borrow in so many voices at once: 8 in one voice,
// 20 in two. Two voices that would meet on one note of the scale are left out.
func (s Structure) Borrowings(voices int) [][]Borrow {
	var all [][]Borrow
	var add func(from VoicePart, taken []Borrow)
	add = func(from VoicePart, taken []Borrow) {
		if len(taken) == voices {
			if fourNotes(s.Steps(0, taken...)) {
				all = append(all, slices.Clone(taken))
			}
			return
		}
		for v := from; v <= SopranoPart; v++ {
			for _, step := range [...]int{1, -1} {
				add(v+1, append(taken, Borrow{v, step}))
			}
		}
	}
	add(BassPart, nil)
	return all
}

// fourNotes reports four different notes of the scale, whatever their octave.
func fourNotes(steps [4]int) bool {
	seen := 0
	for _, st := range steps {
		seen |= 1 << (st & 7)
	}
	return theory.PCSet(seen).Len() == 4
}

// Walk moves a structure in parallel along the scale under the steps from..to,
// both included, up or down, and keeps what is borrowed all the way. The chord
// of the even steps and the diminished take turns, so between two inversions of
// one lies the other in passing (harmony.md 1.4, 2.5).
func Walk(scale theory.Scale, s Structure, from, to int, kept ...Borrow) [][4]int {
	step, n := 1, to-from
	if n < 0 {
		step, n = -1, -n
	}
	chords := make([][4]int, 0, n+1)
	for i := range n + 1 {
		chords = append(chords, s.Pitches(scale, from+i*step, kept...))
	}
	return chords
}

// A Reading is what a chord is in a scale.
type Reading struct {
	Structure Structure
	// Top is the step of the soprano's own note: where it is borrowed, not the
	// one that sounds. An even Top is the six-chord, an odd one the diminished.
	Top int
	// Borrowed has Step 0 where every voice has its own note.
	Borrowed Borrow
	// LeftOut is the voice that does not sound; SopranoPart, which always
	// sounds, where none is missing.
	LeftOut VoicePart
}

// Complete reports that all four voices sound.
func (r Reading) Complete() bool { return r.LeftOut == SopranoPart }

// ReadStructure recognises the structure of sounding pitches (MIDI, any order)
// in a scale: four voices, one of which may be borrowed, or three of which each
// has its own note. Within an octave three are the upper ones and the bass is
// left out, in a wider spread an inner voice is. Not ok: a pitch outside the
// scale, a doubled note, or any other choice of steps.
func ReadStructure(pitches []int, scale theory.Scale) (r Reading, ok bool) {
	steps := make([]int, 0, 4)
	for _, p := range slices.Compact(slices.Sorted(slices.Values(pitches))) {
		st, in := stepOf(scale, p)
		if !in || len(steps) == 4 {
			return Reading{}, false
		}
		steps = append(steps, st)
	}
	switch len(steps) {
	case 4:
		return readFour([4]int(steps))
	case 3:
		return readThree([3]int(steps))
	}
	return Reading{}, false
}

// oneBorrowed is no borrowing, and the ways to borrow one voice.
var oneBorrowed = append([][]Borrow{nil}, Close.Borrowings(1)...)

// readFour needs no order: three notes of one parity say which is the fourth,
// and no two structures have the same steps.
func readFour(steps [4]int) (Reading, bool) {
	for s := range structures {
		for _, way := range oneBorrowed {
			r := Reading{Structure: s, Top: steps[3], LeftOut: SopranoPart}
			if way != nil {
				r.Borrowed = way[0]
			}
			if r.Borrowed.Voice == SopranoPart {
				r.Top -= r.Borrowed.Step
			}
			if s.Steps(r.Top, way...) == steps {
				return r, true
			}
		}
	}
	return Reading{}, false
}

// readThree takes the first that fits: the one doubt, bass with the sixth step
// under the soprano, is drop 3 before drop 2&3.
func readThree(steps [3]int) (Reading, bool) {
	missing := [...]VoicePart{TenorPart, AltoPart}
	if steps[2]-steps[0] < 8 {
		missing = [...]VoicePart{BassPart, BassPart}
	}
	for s := range structures {
		own := s.Steps(steps[2])
		for _, out := range missing {
			if i := int(out); slices.Equal(slices.Delete(slices.Clone(own[:]), i, i+1), steps[:]) {
				return Reading{Structure: s, Top: steps[2], LeftOut: out}, true
			}
		}
	}
	return Reading{}, false
}

// StructureOf is ReadStructure without the voice that is borrowed or missing.
func StructureOf(pitches []int, scale theory.Scale) (s Structure, top int, ok bool) {
	r, ok := ReadStructure(pitches, scale)
	return r.Structure, r.Top, ok
}

// pitchOf is step n as a MIDI note number.
func pitchOf(scale theory.Scale, n int) int { return scale.Pitch(0).MIDI() + scale.Semitone(n) }

// stepOf is the inverse of pitchOf.
func stepOf(scale theory.Scale, midi int) (int, bool) {
	deg, ok := scale.StepOf(midi)
	if !ok {
		return 0, false
	}
	return deg + 8*((midi-pitchOf(scale, deg))/12), true
}

// OnStrings are the frets of pitches on strings, one each in the same order; not
// ok where one of them does not lie on its string.
func (n Neck) OnStrings(strings, pitches []int) (frets []int, ok bool) {
	if len(strings) != len(pitches) {
		return nil, false
	}
	for i, s := range strings {
		if s < 1 || s > n.Strings() {
			return nil, false
		}
		f := pitches[i] - n.Open(s)
		if f < 0 || f > n.Top() {
			return nil, false
		}
		frets = append(frets, f)
	}
	return frets, true
}
