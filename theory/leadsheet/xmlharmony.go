package leadsheet

import (
	"fmt"
	"strings"

	"thumbline/theory"
)

// kinds are the values of MusicXML 4.0's kind element with their tones in
// semitones above the root (kind-value in musicxml.xsd). A 13th has no 11th
// and a dominant 11th no third, as our chord symbols read them. Below the line
// are values of older or foreign writers.
var kinds = map[string]theory.PCSet{
	"major":              pcs(0, 4, 7),
	"minor":              pcs(0, 3, 7),
	"augmented":          pcs(0, 4, 8),
	"diminished":         pcs(0, 3, 6),
	"dominant":           pcs(0, 4, 7, 10),
	"major-seventh":      pcs(0, 4, 7, 11),
	"minor-seventh":      pcs(0, 3, 7, 10),
	"diminished-seventh": pcs(0, 3, 6, 9),
	"augmented-seventh":  pcs(0, 4, 8, 10),
	"half-diminished":    pcs(0, 3, 6, 10),
	"major-minor":        pcs(0, 3, 7, 11),
	"major-sixth":        pcs(0, 4, 7, 9),
	"minor-sixth":        pcs(0, 3, 7, 9),
	"dominant-ninth":     pcs(0, 2, 4, 7, 10),
	"major-ninth":        pcs(0, 2, 4, 7, 11),
	"minor-ninth":        pcs(0, 2, 3, 7, 10),
	"suspended-second":   pcs(0, 2, 7),
	"suspended-fourth":   pcs(0, 5, 7),
	"power":              pcs(0, 7),
	"pedal":              pcs(0, 7), // its own note alone is no chord
	// Sixths by their sound over the root written: Neapolitan a triad, the
	// augmented sixths seventh chords, Tristan a half-diminished chord.
	"Neapolitan": pcs(0, 4, 7),
	"Italian":    pcs(0, 4, 10),
	"French":     pcs(0, 4, 6, 10),
	"German":     pcs(0, 4, 7, 10),
	"Tristan":    pcs(0, 3, 6, 10),
	"other":      pcs(0),

	"dominant-seventh": pcs(0, 4, 7, 10),
	"augmented-ninth":  pcs(0, 2, 4, 8, 10),
	"minor-major":      pcs(0, 3, 7, 11),
}

// quality of the kinds that our own symbols decide.
var kindSymbols = map[string]string{
	"dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11",
	"dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13",
}

func pcs(ns ...int) theory.PCSet { return theory.PCSet(0).With(ns...) }

// degreeSemitones is each degree over a dominant chord: what degree-type add
// counts from.
var degreeSemitones = map[int]int{1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 0, 9: 2, 10: 4, 11: 5, 12: 7, 13: 9, 14: 10, 15: 0}

// readHarmony reads a harmony element. Where it is no chord, err says
// why; note tells of what was read otherwise than written.
func readHarmony(h *node, key theory.Key) (c theory.Chord, note string, err error) {
	kind := h.kid("kind")
	value := ""
	if kind != nil {
		value = kindValue(kind.text)
	}
	text := kind.get("text")
	if len(text) > maxSymbol {
		text = text[:maxSymbol]
	}
	if value == "none" || noChord.MatchString(text) {
		return theory.Chord{NoChord: true}, "", nil
	}
	if h.several() {
		return c, "", fmt.Errorf("a harmony of one chord on another is no chord symbol")
	}
	root, err := harmonyRoot(h, key)
	if err != nil {
		if c, err := theory.ParseChord(strings.TrimSpace(text)); err == nil && h.rootless() {
			return c, fmt.Sprintf("the harmony without a root is read by its text %s", quote(text)), nil
		}
		return c, "", err
	}
	bass := root
	if b := h.kid("bass"); b != nil {
		n, ok := stepName(b, "bass")
		if !ok {
			return c, "", fmt.Errorf("the bass of the harmony is no note")
		}
		bass = n
	}
	tones, known := kinds[value]
	if s, ok := kindSymbols[value]; ok {
		tones, err = theory.ParseQuality(s)
		known = err == nil
	}
	degrees := h.degrees()
	byText, textErr := textQuality(text, root)
	switch {
	case value == "other" && text != "" && textErr == nil:
		tones, degrees = byText, nil
	case !known || value == "other" && len(degrees) == 0:
		// Without a kind the printed text is all there is.
		if value == "other" && text == "" || textErr != nil || value != "" && text == "" {
			return c, "", fmt.Errorf("unknown chord symbol %s of kind %s", quote(root.String()+text), quote(value))
		}
		tones = byText
		if value != "" && value != "other" {
			note = fmt.Sprintf("the harmony of unknown kind %s is read by its text %s", quote(value), quote(text))
		}
	case value == "pedal", strings.Contains("Neapolitan Italian French German Tristan", value) && value != "":
		note = fmt.Sprintf("the harmony of kind %s is read as %s", value, theory.NewChord(root, tones, bass))
	}
	tones, bad := alter(tones, degrees)
	if bad != "" {
		note = fmt.Sprintf("%s of the harmony %s is left out", bad, quote(root.String()+text))
	}
	if n, ok := h.intOf("inversion"); ok && n > 0 && h.kid("bass") == nil {
		bass = inverted(root, tones, n)
	}
	return theory.NewChord(root, tones, bass), note, nil
}

// kindValue is a kind as the standard spells it: some writers have capitals
// and spaces.
func kindValue(s string) string {
	if _, ok := kinds[s]; ok {
		return s
	}
	low := strings.NewReplacer(" ", "-", "_", "-").Replace(strings.ToLower(s))
	for _, named := range []string{"Neapolitan", "Italian", "French", "German", "Tristan"} {
		if strings.EqualFold(named, low) {
			return named
		}
	}
	return low
}

// rootless reports a harmony of which the text alone can say what it is.
func (h *node) rootless() bool {
	return h.kid("root") == nil && h.kid("numeral") == nil && h.kid("function") == nil
}

// several reports more than one chord in a harmony, such as V of II (MusicXML
// 4.0, harmony: the sequence of harmony-chord groups).
func (h *node) several() bool {
	n := 0
	for _, k := range h.kids {
		switch k.name {
		case "root", "numeral", "function":
			n++
		}
	}
	return n > 1
}

// textQuality reads the printed text of a kind, which may repeat the root.
func textQuality(text string, root theory.Name) (theory.PCSet, error) {
	set, err := theory.ParseQuality(strings.TrimSpace(text))
	if err != nil {
		if c, err2 := theory.ParseChord(text); err2 == nil && c.Root == root {
			return c.Tones, nil
		}
	}
	return set, err
}

// inverted is the bass of an inversion that names none: the third, the fifth
// or the seventh.
func inverted(root theory.Name, tones theory.PCSet, n int) theory.Name {
	if n > 3 {
		return root
	}
	if s, ok := degreeTone(tones, 2*n+1); ok {
		return root.Transpose(theory.Interval{Steps: 2 * n, Semitones: s})
	}
	return root
}

// harmonyRoot reads root, or the numeral of MusicXML 4.0 in its key.
func harmonyRoot(h *node, key theory.Key) (theory.Name, error) {
	if r := h.kid("root"); r != nil {
		n, ok := stepName(r, "root")
		if !ok {
			return n, fmt.Errorf("the root of the harmony is no note")
		}
		return n, nil
	}
	if m := h.kid("numeral"); m != nil {
		degree, ok := m.intOf("numeral-root")
		if !ok || degree < 1 || degree > 7 {
			return theory.Name{}, fmt.Errorf("the numeral of the harmony is not 1 to 7")
		}
		if k := m.kid("numeral-key"); k != nil {
			fifths, _ := k.intOf("numeral-fifths")
			mode := k.textOf("numeral-mode")
			key = keyOf(fifths, strings.TrimPrefix(strings.TrimPrefix(mode, "natural "), "harmonic "))
		}
		letter := theory.Letter((int(key.Tonic.Letter) + degree - 1) % 7)
		n := theory.Name{Letter: letter, Alter: key.Alter(letter)}
		if a, ok := m.intOf("numeral-alter"); ok {
			n.Alter += int8(max(-2, min(2, a)))
		}
		if n.Alter < -2 || n.Alter > 2 {
			return n, fmt.Errorf("the numeral of the harmony is altered too far")
		}
		return n, nil
	}
	if f := h.kid("function"); f != nil {
		return theory.Name{}, fmt.Errorf("a harmony by function (%s) is no chord symbol", quote(f.text))
	}
	return theory.Name{}, fmt.Errorf("a harmony without a root")
}

// stepName reads root-step and root-alter, or those of the bass.
func stepName(n *node, what string) (theory.Name, bool) {
	step := strings.ToUpper(n.textOf(what + "-step"))
	if len(step) != 1 || step[0] < 'A' || step[0] > 'G' {
		return theory.Name{}, false
	}
	alter, _ := n.intOf(what + "-alter")
	if alter < -2 || alter > 2 {
		return theory.Name{}, false
	}
	return theory.Name{Letter: letterOf(step[0]), Alter: int8(alter)}, true
}

// A degree is one degree element.
type degree struct {
	value, alter int
	what         string // add, alter, subtract
}

func (n *node) degrees() []degree {
	var out []degree
	for _, k := range n.kids {
		if k.name == "degree" {
			v, _ := k.intOf("degree-value")
			a, _ := k.intOf("degree-alter")
			out = append(out, degree{v, a, k.textOf("degree-type")})
		}
	}
	return out
}

// alter applies the degrees. alter and subtract count from the tone that is in
// the chord, add from that of a dominant chord (MusicXML 4.0, degree-alter).
// Altering a tone that is not there adds it, as writers do who put b9 on a kind
// without a ninth. bad names a degree that cannot be read.
func alter(tones theory.PCSet, degrees []degree) (out theory.PCSet, bad string) {
	for _, d := range degrees {
		plain, ok := degreeSemitones[d.value]
		if !ok || d.alter < -2 || d.alter > 2 {
			bad = fmt.Sprintf("the degree %d altered by %d", d.value, d.alter)
			continue
		}
		has, there := degreeTone(tones, d.value)
		switch {
		case d.what == "subtract":
			if there {
				tones &^= pcs(has)
			}
		case d.what == "alter" && there:
			tones = tones&^pcs(has) | pcs(has+d.alter)
		default:
			tones |= pcs(plain + d.alter)
		}
	}
	return tones, bad
}

// degreeTone finds the tone of a degree in a chord: the third may be minor, the
// fifth altered, the seventh of three sizes.
func degreeTone(tones theory.PCSet, value int) (semitone int, ok bool) {
	var try []int
	switch value {
	case 1, 8, 15:
		try = []int{0}
	case 2, 9:
		try = []int{2, 1}
		if tones.Has(4) { // else a 3 is the minor third
			try = []int{2, 1, 3}
		}
	case 3, 10:
		try = []int{4, 3}
	case 4, 11:
		try = []int{5}
	case 5, 12:
		try = []int{7, 8, 6}
	case 6, 13:
		try = []int{9}
	case 7, 14:
		try = []int{10, 11}
		if tones.Has(6) && !tones.Has(7) { // the seventh of a diminished chord
			try = []int{10, 11, 9}
		}
	}
	for _, s := range try {
		if tones.Has(s) {
			return s, true
		}
	}
	return 0, false
}
