package theory

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// spelledTables are the tables of harmony.md 1.2: root, the eight notes, the
// chord on the even steps, the diminished on the odd ones.
const spelledTables = `
maj6dim
C | C D E F G Ab A B | C6 = C E G A | D F Ab B
Db | Db Eb F Gb Ab A Bb C | Db6 = Db F Ab Bb | Eb Gb A C
D | D E F# G A Bb B C# | D6 = D F# A B | E G Bb C#
Eb | Eb F G Ab Bb B C D | Eb6 = Eb G Bb C | F Ab B D
E | E F# G# A B C C# D# | E6 = E G# B C# | F# A C D#
F | F G A Bb C Db D E | F6 = F A C D | G Bb Db E
Gb | Gb Ab Bb B Db D Eb F | Gb6 = Gb Bb Db Eb | Ab B D F
G | G A B C D Eb E F# | G6 = G B D E | A C Eb F#
Ab | Ab Bb C Db Eb E F G | Ab6 = Ab C Eb F | Bb Db E G
A | A B C# D E F F# G# | A6 = A C# E F# | B D F G#
Bb | Bb C D Eb F Gb G A | Bb6 = Bb D F G | C Eb Gb A
B | B C# D# E F# G G# A# | B6 = B D# F# G# | C# E G A#
min6dim
C | C D Eb F G Ab A B | Cm6 = C Eb G A | D F Ab B
C# | C# D# E F# G# A A# B# | C#m6 = C# E G# A# | D# F# A B#
D | D E F G A Bb B C# | Dm6 = D F A B | E G Bb C#
Eb | Eb F Gb Ab Bb B C D | Ebm6 = Eb Gb Bb C | F Ab B D
E | E F# G A B C C# D# | Em6 = E G B C# | F# A C D#
F | F G Ab Bb C Db D E | Fm6 = F Ab C D | G Bb Db E
F# | F# G# A B C# D D# E# | F#m6 = F# A C# D# | G# B D E#
G | G A Bb C D Eb E F# | Gm6 = G Bb D E | A C Eb F#
Ab | Ab Bb B Db Eb E F G | Abm6 = Ab B Eb F | Bb Db E G
A | A B C D E F F# G# | Am6 = A C E F# | B D F G#
Bb | Bb C Db Eb F Gb G A | Bbm6 = Bb Db F G | C Eb Gb A
B | B C# D E F# G G# A# | Bm6 = B D F# G# | C# E G A#
7dim
C | C D E F G Ab Bb B | C7 = C E G Bb | D F Ab B
Db | Db Eb F Gb Ab A B C | Db7 = Db F Ab B | Eb Gb A C
D | D E F# G A Bb C C# | D7 = D F# A C | E G Bb C#
Eb | Eb F G Ab Bb B Db D | Eb7 = Eb G Bb Db | F Ab B D
E | E F# G# A B C D D# | E7 = E G# B D | F# A C D#
F | F G A Bb C Db Eb E | F7 = F A C Eb | G Bb Db E
F# | F# G# A# B C# D E E# | F#7 = F# A# C# E | G# B D E#
G | G A B C D Eb F F# | G7 = G B D F | A C Eb F#
Ab | Ab Bb C Db Eb E Gb G | Ab7 = Ab C Eb Gb | Bb Db E G
A | A B C# D E F G G# | A7 = A C# E G | B D F G#
Bb | Bb C D Eb F Gb Ab A | Bb7 = Bb D F Ab | C Eb Gb A
B | B C# D# E F# G A A# | B7 = B D# F# A | C# E G A#
7b5dim
C | C D E F Gb Ab Bb B | C7b5 = C E Gb Bb | D F Ab B
Db | Db Eb F Gb G A B C | Db7b5 = Db F G B | Eb Gb A C
D | D E F# G Ab Bb C C# | D7b5 = D F# Ab C | E G Bb C#
Eb | Eb F G Ab A B Db D | Eb7b5 = Eb G A Db | F Ab B D
E | E F# G# A Bb C D D# | E7b5 = E G# Bb D | F# A C D#
F | F G A Bb B Db Eb E | F7b5 = F A B Eb | G Bb Db E
F# | F# G# A# B C D E E# | F#7b5 = F# A# C E | G# B D E#
G | G A B C Db Eb F F# | G7b5 = G B Db F | A C Eb F#
Ab | Ab Bb C Db D E Gb G | Ab7b5 = Ab C D Gb | Bb Db E G
A | A B C# D Eb F G G# | A7b5 = A C# Eb G | B D F G#
Bb | Bb C D Eb E Gb Ab A | Bb7b5 = Bb D E Ab | C Eb Gb A
B | B C# D# E F G A A# | B7b5 = B D# F A | C# E G A#
`

func TestSpelledScales(t *testing.T) {
	long, rows := "", 0
	for line := range strings.Lines(strings.TrimSpace(spelledTables)) {
		line = strings.TrimSpace(line)
		cells := strings.Split(line, " | ")
		if len(cells) == 1 {
			long = line
			continue
		}
		rows++
		s := mustScale(t, cells[0]+" "+long)
		if got := s.String(); got != cells[0]+" "+long {
			t.Errorf("%s %s prints as %s", cells[0], long, got)
		}
		var all, even, odd []string
		for n := range 8 {
			name := s.Pitch(n).Name.String()
			all = append(all, name)
			if n%2 == 0 {
				even = append(even, name)
			} else {
				odd = append(odd, name)
			}
		}
		six := s.SixName() + " = " + strings.Join(even, " ")
		if got := strings.Join(all, " ") + " | " + six + " | " + strings.Join(odd, " "); got != strings.Join(cells[1:], " | ") {
			t.Errorf("%v:\n got %s\nwant %s [harmony.md 1.2]", s, got, strings.Join(cells[1:], " | "))
		}
		// The six-chord of the scale is the chord that a symbol of its name means.
		if c := MustChord(s.SixName()); c.PCs() != s.Six() {
			t.Errorf("%v: even steps %v, the symbol %v has %v", s, s.Six().Members(), c, c.PCs().Members())
		}
	}
	if rows != 48 {
		t.Fatalf("read %d rows of 48", rows)
	}
}

func mustScale(t testing.TB, s string) Scale {
	t.Helper()
	sc, err := ParseScale(s)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func mustName(s string) Name {
	n, err := ParseName(s)
	if err != nil {
		panic(err)
	}
	return n
}

// names reads "D F Ab B" to its pitch classes in order.
func names(s string) []int {
	var pcs []int
	for _, f := range strings.Fields(s) {
		pcs = append(pcs, mustName(f).PC())
	}
	return pcs
}

func setOf(s string) PCSet { return PCSet(0).With(names(s)...) }

func allScales() []Scale {
	var all []Scale
	for f := Major6; f <= SeventhFlat5; f++ {
		for pc := range 12 {
			all = append(all, NewScale(pc, f))
		}
	}
	return all
}

// harmony.md 9, numbers 1-12 and 26.
func TestScaleCheckValues(t *testing.T) {
	for _, c := range []struct{ n, scale, want, source string }{
		{"1", "C maj6dim", "C D E F G Ab A B", "S3 S5"},
		{"2", "F maj6dim", "F G A Bb C Db D E", "CALC"},
		{"3", "C min6dim", "C D Eb F G Ab A B", "S4"},
		{"4", "D min6dim", "D E F G A Bb B C#", "S6"},
		{"5", "G 7dim", "G A B C D Eb F F#", "S6"},
		{"6", "C 7b5dim", "C D E F Gb Ab Bb B", "CALC"},
		{"7", "Ab min6dim", "Ab Bb B Db Eb E F G", "CALC"},
		{"8", "E maj6dim", "E F# G# A B C C# D#", "CALC"},
		{"9", "Gb maj6dim", "Gb Ab Bb B Db D Eb F", "CALC"},
	} {
		s := mustScale(t, c.scale)
		var got []string
		for n := range 8 {
			got = append(got, s.Pitch(n).Name.String())
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s. %s: got %s, want %s [%s]", c.n, c.scale, g, c.want, c.source)
		}
	}
	// 10. [CALC]
	var pcs []int
	for n := range 8 {
		pcs = append(pcs, mod12(mustScale(t, "Eb maj6dim").Pitch(n).MIDI()))
	}
	if want := []int{3, 5, 7, 8, 10, 11, 0, 2}; !slices.Equal(pcs, want) {
		t.Errorf("10. Eb maj6dim: got %v, want %v", pcs, want)
	}
	// 11. [CALC]
	if a, b := mustScale(t, "C 7b5dim").PCs(), mustScale(t, "F# 7b5dim").PCs(); a != b {
		t.Errorf("11. 7b5dim on C %v and on F# %v", a.Members(), b.Members())
	}
	distinct := map[Family]map[PCSet]bool{}
	for _, s := range allScales() {
		if distinct[s.Family] == nil {
			distinct[s.Family] = map[PCSet]bool{}
		}
		distinct[s.Family][s.PCs()] = true
	}
	for f, want := range map[Family]int{Major6: 12, Minor6: 12, Seventh: 12, SeventhFlat5: 6} {
		if got := len(distinct[f]); got != want {
			t.Errorf("11. family %d has %d distinct sets, want %d", f, got, want)
		}
	}
	// 12. [S3][CALC]
	for _, name := range []string{"C6", "Cm6", "C7", "C7b5"} {
		if got := mustScale(t, name).Dim(); got != setOf("D F Ab B") {
			t.Errorf("12. odd steps of %s: %v", name, got.Members())
		}
	}
	// 26. [CALC]
	for _, s := range allScales() {
		for _, n := range []int{0, 4, 6, 10} {
			if s.Pitch(n+8).MIDI() != s.Pitch(n).MIDI()+12 {
				t.Errorf("26. %v: step %d and 8 more are no octave", s, n)
			}
		}
	}
}

// harmony.md 1.3 and 9, numbers 13-20, over all roots.
func TestIdentities(t *testing.T) {
	dims := map[PCSet]bool{}
	for x := range 12 {
		on := func(semitone int, suffix string) PCSet {
			set, err := ParseQuality(suffix)
			if err != nil {
				t.Fatal(err)
			}
			return set.Rotate(x + semitone)
		}
		same := func(what string, a, b PCSet) {
			t.Helper()
			if a != b {
				t.Errorf("root %d: %s: %v and %v", x, what, a.Members(), b.Members())
			}
		}
		same("13, 16. 6 = m7 a minor third below [S11][S12]", on(0, "6"), on(-3, "m7"))
		same("14, 15. m6 = m7b5 a minor third below [S11][S12]", on(0, "m6"), on(-3, "m7b5"))
		for _, k := range []int{3, 6, 9} {
			same("dim7 = dim7 on each of its notes [S13]", on(0, "dim7"), on(k, "dim7"))
		}
		dims[on(0, "dim7")] = true
		without := on(0, "dim7") &^ on(0, "5") // the root taken out
		same("18, 19. one note lowered: dominant 7 on it [S5][S13]", without.With(x-1), on(-1, "7"))
		same("20. one note raised: m6 whose fifth it is [S2]", without.With(x+1), on(1-7, "m6"))
		same("the same as m7b5 [S15]", without.With(x+1), on(1-7-3, "m7b5"))
		same("one raised a whole tone: dim(maj7) a minor third above the note moved [CALC]", without.With(x+2), on(3, "dim(maj7)"))
		two := on(0, "dim7")&^PCSet(0).With(x, x+3) | PCSet(0).With(x+1, x+4)
		// C Eb Gb A with C and Eb up is C# E Gb A = A6: the root lies a minor third below.
		same("two adjacent raised: major 6 [S2][S16]", two, on(-3, "6"))
		same("7b5 = 7b5 a tritone away [CALC]", on(0, "7b5"), on(6, "7b5"))
		for f := Major6; f <= SeventhFlat5; f++ {
			same("odd steps = V7b9 without root [S17][S18]", NewScale(x, f).Dim(), on(7, "7b9")&^PCSet(0).With(x+7))
		}
	}
	if len(dims) != 3 {
		t.Errorf("17. %d distinct dim7 chords, want 3 [S13]", len(dims))
	}
	for _, c := range []struct{ n, notes, chord string }{
		{"13", "C E G A", "Am7"}, {"14", "F# A C E", "Am6"}, {"14", "F# A C E", "F#m7b5"},
		{"15", "G Bb Db F", "Bbm6"}, {"15", "G Bb Db F", "Gm7b5"}, {"16", "C Eb G Bb", "Eb6"}, {"16", "C Eb G Bb", "Cm7"},
		{"18", "D F G B", "G7"},
		{"19", "Db F Ab B", "Db7"}, {"19", "D E Ab B", "E7"}, {"19", "D F G B", "G7"}, {"19", "D F Ab Bb", "Bb7"},
		{"20", "Eb F Ab B", "Abm6"}, {"20", "D F# Ab B", "Bm6"}, {"20", "D F A B", "Dm6"}, {"20", "D F Ab C", "Fm6"},
	} {
		if got := MustChord(c.chord).PCs(); got != setOf(c.notes) {
			t.Errorf("%s. %s: got %v, want %s", c.n, c.chord, got.Members(), c.notes)
		}
	}
}

func TestScaleSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := NewScale(rapid.IntRange(0, 11).Draw(t, "root"), Family(rapid.IntRange(0, 3).Draw(t, "family")))
		n := rapid.IntRange(-40, 40).Draw(t, "n")
		p := s.Pitch(n)
		if p.MIDI() != s.Pitch(0).MIDI()+s.Semitone(n) {
			t.Fatalf("%v step %d: %v is not %d over the root", s, n, p, s.Semitone(n))
		}
		if p.MIDI() >= s.Pitch(n+1).MIDI() {
			t.Fatalf("%v: step %d is not below the next", s, n)
		}
		if step, ok := s.StepOf(p.PC()); !ok || step != n&7 {
			t.Fatalf("%v: %v is step %d, %v; want %d", s, p, step, ok, n&7)
		}
		if p.Alter < -1 || p.Alter > 1 || p.Name == (Name{C, -1}) || p.Name == (Name{F, -1}) {
			t.Fatalf("%v: step %d is spelled %v", s, n, p)
		}
		if s.Six()&s.Dim() != 0 || s.PCs().Len() != 8 {
			t.Fatalf("%v: %v and %v", s, s.Six().Members(), s.Dim().Members())
		}
	})
	if got := mustScale(t, "C6").Pitch(0).String(); got != "C4" {
		t.Errorf("step 0 of C6: %s, want C4", got)
	}
	if got := mustScale(t, "Gb maj6dim").Pitch(3).String(); got != "B4" { // Cb5 made plain
		t.Errorf("step 3 of Gb6: %s, want B4", got)
	}
	if got := mustScale(t, "C#m6").Pitch(-1).String(); got != "B#3" {
		t.Errorf("step -1 of C#m6: %s, want B#3 (MIDI 60)", got)
	}
}

func TestParseScale(t *testing.T) {
	for _, s := range allScales() {
		for _, form := range []string{s.String(), s.SixName(), " " + s.String() + " "} {
			if got, err := ParseScale(form); err != nil || got != s {
				t.Errorf("%q: got %v, %v", form, got, err)
			}
		}
	}
	if a, b := mustScale(t, "F#6"), mustScale(t, "G♭6"); a != b {
		t.Errorf("F#6 is %v, Gb6 is %v", a, b)
	}
	for _, bad := range []string{"", "6", "C", "Cmaj7", "C maj6", "H6", "c6", "C6 dim", "C maj6dim x"} {
		if s, err := ParseScale(bad); err == nil {
			t.Errorf("%q is read as %v", bad, s)
		}
	}
}
