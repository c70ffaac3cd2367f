package theory

// A Degree is one of the twelve degrees over a chord root, by semitones:
// 1 b9 9 #9 3 11 #11 5 b13 13 b7 7 (a minor third is #9, a sixth is 13).
type Degree uint8

var degreeNames = [12]string{"1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "b7", "7"}

// degreeLetters is how many letters above the root each degree is spelled.
var degreeLetters = [12]int{0, 1, 1, 1, 2, 3, 3, 4, 5, 5, 6, 6}

// String is the name of harmony.md 0, "b13".
func (d Degree) String() string { return degreeNames[d%12] }

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

// Members are the pitch classes from 0 up.
func (s PCSet) Members() []int {
	var ms []int
	for n := range 12 {
		if s.Has(n) {
			ms = append(ms, n)
		}
	}
	return ms
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

// String is the name of the kind in small letters.
func (k Kind) String() string {
	return [...]string{"major", "minor", "dominant", "half-diminished", "diminished", "augmented", "suspended", "power"}[k]
}

// kindOf is the kind of a set of tones above a root.
func kindOf(t PCSet) Kind {
	seventh := t.Has(10) || t.Has(11)
	switch {
	case t.Has(4) && t.Has(10):
		return Dominant
	case t.Has(4) && t.Has(8) && !t.Has(7) && !seventh:
		return Augmented
	case t.Has(4):
		return Major
	case t.Has(3) && t.Has(6) && !t.Has(7) && t.Has(10):
		return HalfDiminished
	case t.Has(3) && t.Has(6) && !t.Has(7):
		return Diminished
	case t.Has(3):
		return Minor
	case t.Has(5) || t.Has(2):
		return Suspended
	}
	return Power
}

// A Chord is a chord symbol read: a value, comparable, usable as a map key.
// Kind and Suffix follow from Tones, so two spellings of one chord are ==.
// NewChord and ParseChord make them; the zero value is no chord symbol at all.
type Chord struct {
	NoChord bool // N.C.: nothing else counts
	Root    Name
	Bass    Name // the same as Root unless Slash
	Slash   bool // a bass was written that is not the root
	Kind    Kind
	Tones   PCSet  // semitones above Root, Root included; a slash bass is not in it
	Suffix  string // our canonical spelling after the root: "maj7", "m7b5", "7b9"
}

// NewChord makes the chord of the tones (semitones above root) over bass, which
// is root where none is written.
func NewChord(root Name, tones PCSet, bass Name) Chord {
	tones = tones&0xfff | 1
	c := Chord{Root: root, Bass: root, Tones: tones, Kind: kindOf(tones), Suffix: SuffixOf(tones)}
	if bass.PC() != root.PC() {
		c.Bass, c.Slash = bass, true
	}
	return c
}

// String is the canonical spelling: "Cmaj7", "C7/E", "N.C.".
func (c Chord) String() string {
	if c.NoChord {
		return "N.C."
	}
	s := c.Root.String() + c.Suffix
	if c.Slash {
		s += "/" + c.Bass.String()
	}
	return s
}

// RootPC is the pitch class of the root.
func (c Chord) RootPC() int { return c.Root.PC() }

// BassPC is the pitch class of the written bass, the root where none is.
func (c Chord) BassPC() int {
	if c.Slash {
		return c.Bass.PC()
	}
	return c.Root.PC()
}

// PCs are the pitch classes of the chord with its bass; none for N.C.
func (c Chord) PCs() PCSet {
	if c.NoChord {
		return 0
	}
	return c.Tones.Rotate(c.RootPC()).With(c.BassPC())
}

// above is the pitch class of the first of the semitones that is in the chord.
func (c Chord) above(semitones ...int) (int, bool) {
	for _, s := range semitones {
		if !c.NoChord && c.Tones.Has(s) {
			return mod12(c.RootPC() + s), true
		}
	}
	return 0, false
}

// ThirdPC is the pitch class of the third; suspended and power chords have none.
func (c Chord) ThirdPC() (int, bool) { return c.above(4, 3) }

// SeventhPC is the pitch class of the seventh: b7, 7, or the bb7 of a
// diminished seventh. A sixth is none.
func (c Chord) SeventhPC() (int, bool) {
	if c.Kind == Diminished {
		return c.above(11, 9)
	}
	return c.above(10, 11)
}

// GuideTones are the pitch classes that tell the chord: the third (the fourth
// or second of a suspended chord), the seventh or else the sixth, and the flat
// fifth of diminished and half-diminished chords. A triad has the third only,
// a power chord none.
func (c Chord) GuideTones() []int {
	var pcs []int
	put := func(pc int, ok bool) {
		if ok {
			pcs = append(pcs, pc)
		}
	}
	if c.Kind == Suspended {
		put(c.above(5, 2))
	} else {
		put(c.ThirdPC())
	}
	if c.Kind == Diminished || c.Kind == HalfDiminished {
		put(c.above(6))
	}
	if pc, ok := c.SeventhPC(); ok {
		put(pc, true)
	} else {
		put(c.above(9))
	}
	return pcs
}

// IsDominant reports a dominant seventh, or a suspension of one.
func (c Chord) IsDominant() bool {
	return !c.NoChord && (c.Kind == Dominant || c.Kind == Suspended && c.Tones.Has(10))
}

// Transpose moves root and bass. Names that the move would give a double
// accidental, and roots on E#, B# and Fb, become plain.
func (c Chord) Transpose(iv Interval) Chord {
	if c.NoChord || iv == (Interval{}) {
		return c
	}
	c.Root = chordName(c.Root.Transpose(iv))
	c.Bass = chordName(c.Bass.Transpose(iv))
	return c
}

// chordName is the name a chart would use for a root or bass.
func chordName(n Name) Name {
	switch n {
	case Name{E, 1}, Name{B, 1}, Name{F, -1}:
		return plainName(n.PC(), false)
	}
	return n.simplified()
}
