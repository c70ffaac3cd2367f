package theory

import (
	"fmt"
	"strings"
)

// An Interval is a distance between two spelled notes: letters up and
// semitones up, both negative for downwards. A minor third is {2, 3}, an
// augmented second {1, 3}. The zero value is the unison.
type Interval struct {
	Steps     int // letters, 7 to the octave
	Semitones int
}

// Octaves returns the interval with n octaves added.
func (iv Interval) Octaves(n int) Interval {
	return Interval{iv.Steps + 7*n, iv.Semitones + 12*n}
}

// Neg is the same distance the other way.
func (iv Interval) Neg() Interval { return Interval{-iv.Steps, -iv.Semitones} }

// fifths is the interval on the line of fifths: how many sharps it adds to a
// key signature.
func (iv Interval) fifths() int { return 7*iv.Semitones - 12*iv.Steps }

// IntervalBetween is the interval from a up to the nearest b at or above it by
// letter: 0 to 6 steps. The semitones are those of the spelling, so B# to Cb
// is {1, -1}.
func IntervalBetween(a, b Name) Interval {
	steps := mod7(int(b.Letter) - int(a.Letter))
	semis := letterPC[b.Letter] - letterPC[a.Letter]
	if b.Letter < a.Letter {
		semis += 12
	}
	return Interval{steps, semis + int(b.Alter) - int(a.Alter)}
}

// IntervalFor is the interval of so many semitones that brings key to the
// nearest key with the fewest sharps or flats; a tie goes to the flats.
func IntervalFor(key Key, semitones int) Interval {
	best, bestCost := Interval{}, 1<<30
	// The diatonic size lies within one letter of 7 letters to 12 semitones.
	for steps := floorDiv(7*semitones, 12) - 1; steps <= floorDiv(7*semitones, 12)+2; steps++ {
		iv := Interval{steps, semitones}
		f := key.Fifths + iv.fifths()
		cost := 2 * abs(f)
		if f > 0 {
			cost++
		}
		if cost < bestCost {
			best, bestCost = iv, cost
		}
	}
	return best
}

// Transpose moves a name by iv and keeps the spelling of the interval. Where
// that would need more than a double accidental, the plain enharmonic name is
// returned.
func (n Name) Transpose(iv Interval) Name {
	l := mod7(int(n.Letter) + iv.Steps)
	pc := n.PC() + iv.Semitones
	alter := mod12(pc-letterPC[l]+6) - 6
	if alter < -2 || alter > 2 {
		return plainName(pc, alter > 0)
	}
	return Name{Letter(l), int8(alter)}
}

// Transpose moves a pitch by iv; its MIDI number moves by iv.Semitones exactly.
func (p Pitch) Transpose(iv Interval) Pitch {
	return pitchAt(p.MIDI()+iv.Semitones, p.Name.Transpose(iv))
}

// pitchAt is the pitch with the MIDI number m spelled n, which must have the
// pitch class of m.
func pitchAt(m int, n Name) Pitch {
	return Pitch{n, int8(floorDiv(m-letterPC[n.Letter]-int(n.Alter), 12) - 1)}
}

// PitchOf spells a MIDI number: with the signature's own name if key has one,
// else with a sharp in keys with sharps and with a flat in the others.
func PitchOf(midi int, key Key) Pitch {
	for l := C; l <= B; l++ {
		n := Name{l, key.Alter(l)}
		if n.PC() == mod12(midi) {
			return pitchAt(midi, n)
		}
	}
	return pitchAt(midi, plainName(midi, key.Fifths > 0))
}

// plainName is the usual name of a pitch class, no white key altered.
func plainName(pc int, sharp bool) Name {
	pc = mod12(pc)
	for l := C; l <= B; l++ {
		if letterPC[l] == pc {
			return Name{Letter: l}
		}
	}
	for l := C; l <= B; l++ {
		if sharp && letterPC[l] == pc-1 {
			return Name{l, 1}
		}
		if !sharp && letterPC[l] == pc+1 {
			return Name{l, -1}
		}
	}
	panic("theory: pitch class without a name")
}

// simplified replaces double accidentals by the plain name.
func (n Name) simplified() Name {
	if n.Alter < -1 || n.Alter > 1 {
		return plainName(n.PC(), n.Alter > 0)
	}
	return n
}

// ParseName reads a note name: a letter of either case and up to two signs,
// each of b # and their Unicode forms: "Bb", "f#", "E♭".
func ParseName(s string) (Name, error) {
	n, rest, ok := cutName(strings.TrimSpace(s), true)
	if !ok {
		return Name{}, fmt.Errorf("%q is not a note name (use a letter A to G with b or #)", s)
	}
	if rest != "" {
		return Name{}, fmt.Errorf("note name %q: %q is not understood", s, rest)
	}
	return n, nil
}

// accidentals are the signs behind a letter.
var accidentals = []struct {
	sign  string
	alter int8
}{{"b", -1}, {"#", 1}, {"♭", -1}, {"♯", 1}, {"𝄫", -2}, {"𝄪", 2}}

// cutName takes a note name off the front of s: as many signs as belong to one
// name, a double flat at most.
func cutName(s string, lower bool) (n Name, rest string, ok bool) {
	if s == "" {
		return Name{}, s, false
	}
	c := s[0]
	if lower && c >= 'a' && c <= 'g' {
		c -= 'a' - 'A'
	}
	i := strings.IndexByte("CDEFGAB", c)
	if i < 0 {
		return Name{}, s, false
	}
	n.Letter, rest = Letter(i), s[1:]
	for found := true; found; {
		found = false
		for _, a := range accidentals {
			after, ok := strings.CutPrefix(rest, a.sign)
			if sum := n.Alter + a.alter; ok && n.Alter*a.alter >= 0 && sum >= -2 && sum <= 2 {
				n.Alter, rest, found = sum, after, true
				break
			}
		}
	}
	return n, rest, true
}

func mod7(n int) int { return ((n % 7) + 7) % 7 }

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
