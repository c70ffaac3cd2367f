package theory

// A Degree is one of the twelve degrees over a chord root, by semitones:
// 1 b9 9 #9 3 11 #11 5 b13 13 b7 7 (a minor third is #9, a sixth is 13).
type Degree uint8

// PCSet is a set of twelve pitch classes or degrees, bit n for n semitones.
type PCSet uint16

// Has reports whether semitone n (any octave) is in the set.
func (s PCSet) Has(n int) bool { return s&(1<<uint(mod12(n))) != 0 }

// With adds semitones.
func (s PCSet) With(ns ...int) PCSet {
	for _, n := range ns {
		s |= 1 << uint(mod12(n))
	}
	return s
}

// Len counts the members.
func (s PCSet) Len() int {
	n := 0
	for ; s != 0; s &= s - 1 {
		n++
	}
	return n
}

// Rotate moves every member up by n semitones.
func (s PCSet) Rotate(n int) PCSet {
	n = mod12(n)
	return (s<<uint(n) | s>>uint(12-n)) & 0xfff
}

// A Kind is the function-bearing core of a chord, what a player sees first.
type Kind uint8

// The kinds. Power has no third; Sus has a 4th or 2nd in place of it.
const (
	Major Kind = iota
	Minor
	Dominant
	HalfDiminished
	Diminished
	Augmented
	Suspended
	Power
)

// A Chord is a chord symbol read: a value, comparable, usable as a map key.
// The zero value is C major.
type Chord struct {
	NoChord bool   // N.C.: nothing else counts
	Root    Name
	Bass    Name   // the same as Root unless Slash
	Slash   bool   // a bass was written
	Kind    Kind
	Tones   PCSet  // semitones above Root, Root included; a slash bass is not in it
	Suffix  string // our canonical spelling after the root: "maj7", "m7b5", "7b9"
}
