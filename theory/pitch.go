// Package theory holds the plain values of the music: pitches with their
// spelling, chord symbols, sixth-diminished scales, and the tune with its bars.
// It knows nothing of guitars, MIDI ports or sound.
package theory

// A Letter is a note letter, 0 = C, 1 = D ... 6 = B.
type Letter int8

// The seven letters.
const (
	C Letter = iota
	D
	E
	F
	G
	A
	B
)

var letterPC = [7]int{0, 2, 4, 5, 7, 9, 11}

// A Name is a spelled pitch class: a letter and an alteration in semitones
// (-2..+2). The zero value is C natural.
type Name struct {
	Letter Letter
	Alter  int8
}

// PC is the pitch class, 0 = C .. 11 = B.
func (n Name) PC() int { return mod12(letterPC[n.Letter] + int(n.Alter)) }

// String is the name with b and # signs, "Bb", "F#", "Ebb".
func (n Name) String() string {
	s := "CDEFGAB"[n.Letter : n.Letter+1]
	for i := n.Alter; i < 0; i++ {
		s += "b"
	}
	for i := n.Alter; i > 0; i-- {
		s += "#"
	}
	return s
}

// A Pitch is a spelled pitch. Octave 4 holds middle C (C4 = MIDI 60); the
// octave number belongs to the letter, so Cb4 is MIDI 59. The zero value is C0.
type Pitch struct {
	Name
	Octave int8
}

// MIDI is the MIDI note number, 60 for C4.
func (p Pitch) MIDI() int {
	return 12*(int(p.Octave)+1) + letterPC[p.Letter] + int(p.Alter)
}

// String is the name and the octave, "Bb3".
func (p Pitch) String() string { return p.Name.String() + itoa(int(p.Octave)) }

func itoa(n int) string {
	if n < 0 {
		return "-" + itoa(-n)
	}
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + string(rune('0'+n%10))
}

func mod12(n int) int { return ((n % 12) + 12) % 12 }
