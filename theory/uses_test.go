package theory

import (
	"strings"
	"testing"
)

// degreesOver are the degrees of the notes, in order, against a root.
func degreesOver(root string, notes []int) string {
	var ds []string
	for _, pc := range notes {
		ds = append(ds, Degree(mod12(pc-mustName(root).PC())).String())
	}
	return strings.Join(ds, " ")
}

// stepsOf are the pitch classes of every second step from the given one.
func stepsOf(s Scale, from int) []int {
	var pcs []int
	for n := from; n < 8; n += 2 {
		pcs = append(pcs, s.Pitch(n).PC())
	}
	return pcs
}

// borrowed is a six-chord or diminished with one note exchanged.
func borrowed(notes []int, from, to string) []int {
	out := append([]int(nil), notes...)
	for i, pc := range out {
		if pc == mustName(from).PC() {
			out[i] = mustName(to).PC()
		}
	}
	return out
}

// harmony.md 9, numbers 33-47: borrowed notes and what the result is called.
func TestBorrowingCheckValues(t *testing.T) {
	bb, eb := mustScale(t, "Bb6"), mustScale(t, "Eb6")
	for _, c := range []struct {
		n        string
		scale    Scale
		step     int // parity of the chord
		from, to string
		chords   string
		source   string
	}{
		{"33", bb, 0, "G", "A", "Bbmaj7", "CP"},
		{"34", bb, 0, "F", "Gb", "Gm(maj7)", "CALC"},
		{"35", bb, 0, "F", "Eb", "Ebmaj7", "CALC"},
		{"36", bb, 0, "G", "Gb", "Gbmaj7#5", "CALC"},
		{"37", bb, 0, "Bb", "C", "G7sus4", "S12 CALC"},
		{"38", bb, 0, "D", "Eb", "Eb(add9) Bb6sus4", "S12 CALC"},
		{"39", bb, 1, "Gb", "G", "Am7b5 Cm6", "CALC"},
		{"40", bb, 1, "Gb", "F", "F7", "CALC"},
		{"41", bb, 1, "Eb", "D", "D7", "CALC"},
		{"42", bb, 1, "Eb", "F", "F#dim(maj7)", "CALC"},
		{"43", bb, 1, "A", "Bb", "Cm7b5 Ebm6", "CALC"},
	} {
		got := PCSet(0).With(borrowed(stepsOf(c.scale, c.step), c.from, c.to)...)
		for name := range strings.FieldsSeq(c.chords) {
			if want := MustChord(name).PCs(); got != want {
				t.Errorf("%s. %v with %s for %s: %v, want %s %v [%s]", c.n, c.scale, c.to, c.from, got.Members(), name, want.Members(), c.source)
			}
		}
		if i, _ := c.scale.StepOf(mustName(c.from).PC()); true {
			j, ok := c.scale.StepOf(mustName(c.to).PC())
			if d := (j - i + 8) % 8; !ok || d != 1 && d != 7 {
				t.Errorf("%s. %s is not next to %s in %v", c.n, c.to, c.from, c.scale)
			}
		}
	}
	// 37: the same notes are Bb6/9 without root.
	if got := MustChord("Bb69").PCs() &^ setOf("Bb"); got != MustChord("G7sus4").PCs() {
		t.Errorf("37. Bb69 without root: %v", got.Members())
	}
	// 44-47: offsets -10 -6 -3 0 from the top, an octave down in the scale of
	// which step 0 is Eb4. [CALC]
	for _, c := range []struct {
		n     string
		top   int
		chord string
		midi  [4]int
	}{
		{"44", 8, "Cm(maj7)", [4]int{60, 67, 71, 75}},
		{"45", 7, "Bdim(maj7)", [4]int{59, 65, 70, 74}},
		{"46", 3, "Fm7b5", [4]int{53, 59, 63, 68}},
		{"47", 2, "Ebmaj7", [4]int{51, 58, 62, 67}},
	} {
		var got [4]int
		var set PCSet
		for i, off := range []int{-10, -6, -3, 0} {
			got[i] = eb.Pitch(c.top + off).MIDI()
			set = set.With(got[i])
		}
		if got != c.midi || set != MustChord(c.chord).PCs() {
			t.Errorf("%s. top %v: got %v, want %v %s", c.n, eb.Pitch(c.top), got, c.midi, c.chord)
		}
	}
}

// harmony.md 9, numbers 48-68: what a substitute is against the written root.
func TestDegreeCheckValues(t *testing.T) {
	cmaj, abmin := mustScale(t, "C6"), mustScale(t, "Abm6")
	six := func(name string) []int { return stepsOf(mustScale(t, name), 0) }
	for _, c := range []struct {
		n     string
		notes []int
		over  string
		want  string
		src   string
	}{
		{"48", six("Gm6"), "C", "5 b7 9 3", "CP"},
		{"49", names("D# F# A C"), "B", "3 5 b7 b9", "CP"},
		{"50", six("Bbm6"), "A", "b9 3 b13 b7", "CP"},
		{"51", six("Abm6"), "G", "b9 3 b13 b7", "CP S10"},
		{"52", names("A C E G"), "F", "3 5 7 9", "CP"},
		{"53", six("G6"), "C", "5 7 9 3", "S23"},
		{"54", six("F6"), "D", "#9 5 b7 1", "S11"},
		{"55", six("Fm6"), "D", "#9 #11 b7 1", "S11"},
		{"56", six("Fm6"), "Bb", "5 b7 9 3", "S15"},
		{"57", six("Abm6"), "Db", "5 b7 9 3", "S10"},
		{"58", six("F6"), "G", "b7 9 11 5", "CP"},
		{"59", six("Fm6"), "G", "b7 b9 11 5", "CP"},
		{"60", borrowed(six("Dm6"), "D", "E"), "G", "13 b7 9 3", "CALC"},
		{"61", borrowed(six("Dm6"), "D", "C#"), "G", "#11 b7 9 3", "CALC"},
		{"62", borrowed(six("Abm6"), "Ab", "Bb"), "G", "#9 3 b13 b7", "CALC"},
		{"63", borrowed(stepsOf(cmaj, 1), "D", "E"), "G", "13 b7 b9 3", "CALC"},
		{"64", stepsOf(abmin, 1), "G", "#9 #11 13 1", "S10"},
		{"66", six("Am6"), "G#", "b9 3 b13 b7", "CP"},
	} {
		if got := degreesOver(c.over, c.notes); got != c.want {
			t.Errorf("%s. over %s: got %s, want %s [%s]", c.n, c.over, got, c.want, c.src)
		}
	}
	// 65. [S10]
	if got, want := abmin.PCs().Rotate(-mustName("G").PC()), tones(0, 1, 3, 4, 6, 8, 9, 10); got != want {
		t.Errorf("65. Ab min6dim over G: %v", got.Members())
	}
	// 67. [S17][S18]
	for _, s := range []string{"C6", "Cm6"} {
		if got := mustScale(t, s).Dim(); got != MustChord("G7b9").PCs()&^setOf("G") {
			t.Errorf("67. odd steps of %s: %v", s, got.Members())
		}
	}
	// 68. [CALC]
	var roots []string
	for pc := range 12 {
		if s := NewScale(pc, Major6); s.Dim() == MustChord("C#dim7").PCs() {
			roots = append(roots, s.Root.String())
		}
	}
	if got := strings.Join(roots, " "); got != "D F Ab B" {
		t.Errorf("68. roots with C#dim7 on the odd steps: %s", got)
	}
}

// harmony.md 3.3, key of D flat: first choice and alternatives by degree, the
// check column as degrees. Scales are compared by pitch classes and family.
func TestUsesByDegree(t *testing.T) {
	db, _ := ParseKey("Db")
	none := Chord{NoChord: true}
	for _, c := range []struct {
		degree, symbol, first string
		others                string // ! the odd steps
		degrees               string // of the first
	}{
		{"I", "Dbmaj7", "Db6", "Ab6", "1 3 5 13"},
		{"ii", "Ebm7", "Gb6", "Db6", "#9 5 b7 1"},
		{"iii", "Fm7", "Ab6", "Db6", "#9 5 b7 1"},
		{"IV", "Gbmaj7", "Gb6", "Db6 Ebm6", "1 3 5 13"},
		{"V", "Ab7", "Ebm6", "Am6 Db6! Dbm6! Gbm6 Gb6", "5 b7 9 3"},
		{"vi", "Bbm7", "Db6", "Ab6", "#9 5 b7 1"},
		{"vii", "Cm7b5", "Ebm6", "", "#9 #11 b7 1"},
		{"V/ii", "Bb7", "Fm6", "Bm6 Eb6! Ebm6!", "5 b7 9 3"},
		{"V/iii", "C7", "Gm6", "Dbm6 F6!", "5 b7 9 3"},
		{"V/IV", "Db7", "Abm6", "Dm6 Gb6!", "5 b7 9 3"},
		{"V/V", "Eb7", "Bbm6", "Em6 Ab6!", "5 b7 9 3"},
		{"V/vi", "F7", "Cm6", "Gbm6 Bbm6!", "5 b7 9 3"},
		{"iv", "Gbm6", "Gbm6", "", "1 #9 5 13"},
		{"bVII7", "B7", "Gbm6", "", "5 b7 9 3"},
		{"bII7", "D7", "Am6", "Ebm6", "5 b7 9 3"},
		{"#Idim7", "Ddim7", "Gb6!", "Ebm6!", "#11 13 1 #9"},
		{"minor ii", "Ebm7b5", "Gbm6", "", "#9 #11 b7 1"},
		{"minor V", "Ab7b9", "Dbm6!", "", "5 b7 b9 3"},
		{"minor i", "Dbm6", "Dbm6", "", "1 #9 5 13"},
	} {
		chord := MustChord(c.symbol)
		uses := UsesIn(chord, Context{Prev: none, Next: none, Key: db})
		if len(uses) == 0 {
			t.Errorf("%s: %s has no uses", c.degree, c.symbol)
			continue
		}
		// Without its degree in a key the first choice is the same.
		if FirstChoice(chord) != uses[0] {
			t.Errorf("%s: first choice of %s alone is %v", c.degree, c.symbol, FirstChoice(chord))
		}
		if !isUse(t, uses[0], c.first) || uses[0].Degrees != c.degrees {
			t.Errorf("%s: first choice over %s: %v, want %s = %s", c.degree, c.symbol, uses[0], c.first, c.degrees)
		}
		for want := range strings.FieldsSeq(c.others) {
			found := false
			for _, u := range uses[1:] {
				found = found || isUse(t, u, want)
			}
			if !found {
				t.Errorf("%s: %s is not among the alternatives over %s: %v", c.degree, want, c.symbol, uses)
			}
		}
	}
}

func isUse(t *testing.T, u Use, name string) bool {
	name, dim := strings.CutSuffix(name, "!")
	return u.Scale == mustScale(t, name) && u.Dim == dim
}

// harmony.md 3.2: the first row that fits.
func TestFirstChoiceByRow(t *testing.T) {
	for _, c := range []struct{ symbol, want string }{
		{"C", "C6"}, {"C6", "C6"}, {"C69", "C6"}, {"Cmaj9", "C6"}, {"Cadd9", "C6"}, {"Cmaj7#11", "Am6"},
		{"Dm7", "F6"}, {"Dm9", "F6"}, {"Dm11", "C6"}, {"Dm13", "F6"},
		{"Cm", "Cm6"}, {"Cm6", "Cm6"}, {"Cm(maj7)", "Cm6"}, {"Cm69", "Cm6"},
		{"Bm7b5", "Dm6"}, {"G7", "Dm6"}, {"G9", "Dm6"}, {"G13", "Dm6"},
		{"G7b5", "G7b5"}, {"G7#11", "G7b5"}, {"G9#11", "G7b5"},
		{"G7sus4", "F6"}, {"G9sus4", "F6"}, {"G13sus4", "F6"}, {"G7sus4b9", "Fm6"},
		{"G7b9", "Cm6!"}, {"G13b9", "C6!"},
		{"G7alt", "Abm6"}, {"G7#5", "Abm6"}, {"G7b9b13", "Abm6"}, {"G7#9", "Abm6"}, {"Gaug", "Abm6"}, {"G7b9#11", "Abm6"},
		{"Cdim7", "E6!"}, {"Cdim", "E6!"},
	} {
		if u := FirstChoice(MustChord(c.symbol)); !isUse(t, u, c.want) {
			t.Errorf("first choice of %s: %v, want %s [harmony.md 3.2]", c.symbol, u, c.want)
		}
	}
	for _, s := range []string{"C5", "N.C."} {
		if uses := Uses(MustChord(s)); uses != nil {
			t.Errorf("%s has uses %v", s, uses)
		}
		if u := FirstChoice(MustChord(s)); u.Degrees != "" {
			t.Errorf("%s has a first choice %v", s, u)
		}
	}
}

// Over every quality on every root: the first choice holds the guide tones
// that its row promises, a substitute for a dominant holds 3 and b7 or is a
// suspension (harmony.md 3.4, rule 1), the degrees are those of the steps.
func TestUsesHoldTheChord(t *testing.T) {
	for _, q := range qualities {
		for pc := range 12 {
			c := NewChord(plainName(pc, false), q.tones, plainName(pc, false))
			uses := Uses(c)
			if (len(uses) == 0) != (c.Kind == Power) {
				t.Errorf("%v (%v) has %d uses", c, c.Kind, len(uses))
			}
			for i, u := range uses {
				from := 0
				if u.Dim {
					from = 1
				}
				if got := degreesOver(c.Root.String(), stepsOf(u.Scale, from)); got != u.Degrees {
					t.Errorf("%v over %v: degrees %s, steps give %s", u.Scale, c, u.Degrees, got)
				}
				if i > 1 && u.Tension < uses[i-1].Tension {
					t.Errorf("%v: alternatives are not in order of tension: %v", c, uses)
				}
				set := u.Scale.Six()
				if u.Dim {
					set = u.Scale.Dim()
				}
				third, hasThird := c.ThirdPC()
				if c.Kind == Dominant && u.Tension > 0 {
					seventh, _ := c.SeventhPC()
					sus := set.Has(c.RootPC() + 5)
					if !sus && (!hasThird || !set.Has(third) || !set.Has(seventh)) {
						t.Errorf("%v over %v has neither tritone nor suspension: %s", u.Scale, c, u.Degrees)
					}
				}
				if c.Kind == Diminished && !set.Has(third) {
					t.Errorf("%v over %v: odd steps lack the third", u.Scale, c)
				}
			}
		}
	}
}

// harmony.md 3.2 (V7 in minor), 3.3, 3.4 rule 12.
func TestUsesIn(t *testing.T) {
	for _, c := range []struct{ key, prev, chord, next, want, why string }{
		{"Cm", "Dm7b5", "G7", "Cm", "Abm6", "V7 in minor after m7b5 [S10]"},
		{"C#m", "Ebm7b5", "Ab7", "Dbm6", "Am6", "minor ii V i, 3.3"},
		{"C", "Dm7", "G7", "C", "Dm6", "V in major"},
		{"C", "Dm7", "G7b9", "Cmaj7", "C6!", "the key's own scale"},
		{"C", "Dm7b5", "G7b9", "Cm6", "Cm6!", "the key's own scale"},
		{"Bb", "Bb6", "G7b9", "Cm7", "Cm6!", "models swing-a, bar 2"},
		{"Db", "Dbmaj7", "Ddim7", "Ebm7", "Gb6!", "to the ii, 3.3"},
		{"C", "C", "C#dim7", "Dm7", "F6!", "passing, rule 12"},
		{"C", "Bdim7", "Bdim7", "C", "C6!", "passing, rule 12"},
		{"C", "Bdim7", "Bdim7", "Cm", "Cm6!", "passing, rule 12"},
		{"C", "C", "Cdim7", "C", "G6!", "common tone, rule 12"},
		{"C", "C", "Am", "Dm7", "C6", "vi as a triad"},
		{"C", "C", "Em", "F", "G6", "iii as a triad"},
		{"Am", "E7", "Am", "Dm", "Am6", "tonic minor"},
		{"C", "C", "Fm", "C", "Fm6", "iv"},
	} {
		key, err := ParseKey(c.key)
		if err != nil {
			t.Fatal(err)
		}
		uses := UsesIn(MustChord(c.chord), Context{MustChord(c.prev), MustChord(c.next), key})
		if !isUse(t, uses[0], c.want) {
			t.Errorf("%s [%s] %s in %s: %v, want %s (%s)", c.prev, c.chord, c.next, c.key, uses[0], c.want, c.why)
		}
		seen := map[Use]bool{}
		for _, u := range uses {
			if seen[u] {
				t.Errorf("%s: %v is listed twice", c.chord, u)
			}
			seen[u] = true
		}
	}
}
