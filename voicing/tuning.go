package voicing

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

// tunings are the tunings with names, low to high (common practice, no source).
var tunings = []struct{ name, notes string }{
	{"standard", "E2 A2 D3 G3 B3 E4"},
	{"half-down", "Eb2 Ab2 Db3 Gb3 Bb3 Eb4"},
	{"whole-down", "D2 G2 C3 F3 A3 D4"},
	{"drop-d", "D2 A2 D3 G3 B3 E4"},
	{"double-drop-d", "D2 A2 D3 G3 B3 D4"},
	{"dadgad", "D2 A2 D3 G3 A3 D4"},
	{"open-d", "D2 A2 D3 F#3 A3 D4"},
	{"open-g", "D2 G2 D3 G3 B3 D4"},
	{"open-c", "C2 G2 C3 G3 C4 E4"},
	{"seven", "B1 E2 A2 D3 G3 B3 E4"},
	{"seven-a", "A1 E2 A2 D3 G3 B3 E4"},
}

// Tunings lists the names that ParseTuning knows.
func Tunings() []string {
	var out []string
	for _, t := range tunings {
		out = append(out, t.name)
	}
	return out
}

// usual is the tuning that notes without an octave are laid beside, low to
// high; six strings are its upper six.
var usual = [7]int{35, 40, 45, 50, 55, 59, 64}

// The open pitches that a string can have, E1 to E5: an octave below the low E
// to an octave above the high one.
const (
	lowestOpen  = 28
	highestOpen = 76
)

// ParseTuning reads a tuning: one of Tunings, or the notes of six or seven
// strings from low to high, "D A D G B E", "DADGBE", "dadgbe" or "E2 A2 D3 G3
// B3 E4".
// A note without an octave is the one nearest to that string's usual pitch.
// The result is the MIDI pitch of each open string, low to high.
func ParseTuning(s string) ([]int, error) {
	word := strings.ToLower(strings.TrimSpace(s))
	for _, t := range tunings {
		if word == t.name {
			return ParseTuning(t.notes)
		}
	}
	notes := strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || r == ',' })
	switch {
	case len(notes) == 1 && (len(word) == 6 || len(word) == 7) && strings.Trim(notes[0], "abcdefg") == "":
		notes = strings.Split(word, "") // eadgbe
	case len(notes) == 1:
		notes = cutNotes(notes[0])
	}
	forms := "one of " + strings.Join(Tunings(), ", ") + "; or notes from low to high such as D A D G B E or E2 A2 D3 G3 B3 E4"
	if len(notes) == 0 || len(notes) == 1 && len(s) > 3 {
		return nil, fmt.Errorf("tuning %q is not understood (%s)", s, forms)
	}
	names := make([]theory.Name, len(notes))
	octaves := make([]string, len(notes))
	for i, n := range notes {
		letters := strings.TrimRight(n, "0123456789")
		octaves[i] = n[len(letters):]
		var err error
		if names[i], err = theory.ParseName(letters); err != nil {
			return nil, fmt.Errorf("tuning %q: %q is not a note (%s)", s, n, forms)
		}
	}
	if len(notes) != 6 && len(notes) != 7 {
		return nil, fmt.Errorf("tuning %q has %d strings (give the notes of six or seven, from low to high)", s, len(notes))
	}
	out := make([]int, len(notes))
	for i, n := range names {
		near := usual[len(usual)-len(notes)+i]
		if octaves[i] == "" {
			d := (n.PC() - near%12 + 12) % 12
			if d >= 6 {
				d -= 12
			}
			out[i] = near + d
		} else {
			o, err := strconv.Atoi(octaves[i])
			if err != nil || o > 9 {
				o = 9
			}
			out[i] = theory.Pitch{Name: n, Octave: int8(o)}.MIDI()
		}
		str := len(notes) - i
		switch {
		case out[i] < lowestOpen || out[i] > highestOpen:
			return nil, fmt.Errorf("tuning %q: %s on string %d is out of range (E1 to E5; the usual tuning is E2 A2 D3 G3 B3 E4)", s, notes[i], str)
		case i > 0 && out[i] <= out[i-1]:
			return nil, fmt.Errorf("tuning %q: %s on string %d is not above %s on string %d (give the strings from low to high, with octaves if they are unusual)",
				s, notes[i], str, notes[i-1], str+1)
		}
	}
	return out, nil
}

// cutNotes takes notes apart that are written without blanks, each with a
// capital letter: "DADGBE", "EbAbDbGbBbEb".
func cutNotes(s string) []string {
	var out []string
	from := 0
	for i, r := range s {
		if i > 0 && r >= 'A' && r <= 'Z' {
			out = append(out, s[from:i])
			from = i
		}
	}
	return append(out, s[from:])
}
