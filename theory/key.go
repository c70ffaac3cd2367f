package theory

import (
	"fmt"
	"strings"
)

// A mode by the first three letters of its name, as ABC 2.1 (section 3.1.14)
// lists them: how many fifths its signature lies from that of the major key on
// the same tonic, and whether its third is minor.
var modes = []struct {
	name   string
	fifths int
	minor  bool
}{
	{"maj", 0, false}, {"ion", 0, false}, {"lyd", 1, false}, {"mix", -1, false},
	{"min", -3, true}, {"aeo", -3, true}, {"dor", -2, true}, {"phr", -4, true}, {"loc", -5, true},
}

// ParseKey reads a key: a tonic and a mode, of which only the first three
// letters count and m means minor: "Eb", "Dm", "F# minor", "G mixolydian",
// "Ador". No mode means major. A key beyond seven sharps or flats is an error.
func ParseKey(s string) (Key, error) {
	n, rest, ok := cutName(strings.TrimSpace(s), true)
	if !ok {
		return Key{}, fmt.Errorf("%q is not a key (use a letter A to G with b or #, and m for minor: Eb, F#m)", s)
	}
	k := Key{Tonic: n, Fifths: fifthsOf(n)}
	mode := strings.TrimSpace(rest)
	switch low := strings.ToLower(mode); {
	case mode == "" || mode == "M":
	case low == "m":
		k.Minor, k.Fifths = true, k.Fifths-3
	default:
		found := false
		for _, m := range modes {
			if strings.HasPrefix(low, m.name) && !strings.ContainsFunc(low, notLetter) {
				k.Minor, k.Fifths, found = m.minor, k.Fifths+m.fifths, true
				break
			}
		}
		if !found {
			return Key{}, fmt.Errorf("key %q: %q is not a mode (use m, major, minor, dorian, mixolydian ...)", s, mode)
		}
	}
	if abs(k.Fifths) > 7 {
		return Key{}, fmt.Errorf("key %q needs %d sharps or flats (write it enharmonically)", s, abs(k.Fifths))
	}
	return k, nil
}

func notLetter(r rune) bool { return r < 'a' || r > 'z' }

// fifthsOf is the place of a name on the line of fifths, C = 0, which is the
// signature of the major key on it.
func fifthsOf(n Name) int {
	return [7]int{0, 2, 4, -1, 1, 3, 5}[n.Letter] + 7*int(n.Alter)
}

// Alter is what the signature does to a letter: -1 flat, 0, +1 sharp; beyond
// that in signatures of more than seven.
func (k Key) Alter(l Letter) int8 {
	// Sharps come in the order F C G D A E B, flats the other way round.
	place := mod7(int(fifthsOf(Name{Letter: l})) + 1)
	return int8(floorDiv(k.Fifths+6-place, 7))
}

// Transpose moves a key. A signature of more than six sharps or flats is
// exchanged for the enharmonic one, unless the key is the same as before.
func (k Key) Transpose(iv Interval) Key {
	k, _ = k.transpose(iv)
	return k
}

// transpose also returns the interval that leads to the new tonic's spelling.
func (k Key) transpose(iv Interval) (Key, Interval) {
	if iv.fifths() != 0 {
		for k.Fifths+iv.fifths() > 6 {
			iv.Steps++ // a diminished second up: 12 fifths less
		}
		for k.Fifths+iv.fifths() < -6 {
			iv.Steps--
		}
	}
	k.Fifths += iv.fifths()
	k.Tonic = k.Tonic.Transpose(iv)
	return k, iv
}
