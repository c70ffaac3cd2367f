package voicing

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// TestFretDistances: harmony.md 6.1, the table of d(n), mm.
func TestFretDistances(t *testing.T) {
	for _, c := range []struct {
		scale float64
		fret  int
		want  float64
	}{
		{628.65, 1, 35.3}, {628.65, 5, 157.7}, {628.65, 12, 314.3},
		{635, 7, 211.2}, {647.7, 5, 162.5}, {650, 7, 216.2}, {650, 12, 325.0},
	} {
		n := StandardNeck()
		n.Scale = c.scale
		if got := n.At(c.fret); math.Abs(got-c.want) > 0.06 {
			t.Errorf("%g mm, fret %d: %.1f mm, want %.1f", c.scale, c.fret, got, c.want)
		}
		// the same place is fret 0 of a capo there
		n.Capo = c.fret
		if got := n.At(0); math.Abs(got-c.want) > 0.06 {
			t.Errorf("%g mm, capo %d: %.1f mm, want %.1f", c.scale, c.fret, got, c.want)
		}
	}
}

// TestStretches: harmony.md 6.1, mm from fret p to fret p+k, L = 650.
func TestStretches(t *testing.T) {
	n := StandardNeck()
	n.Scale = 650
	for _, c := range []struct {
		p, k int
		want float64
	}{{1, 3, 97.6}, {5, 3, 77.5}, {1, 4, 126.6}, {5, 4, 100.5}, {9, 5, 97.0}, {12, 5, 81.5}} {
		if got := n.At(c.p+c.k) - n.At(c.p); math.Abs(got-c.want) > 0.06 {
			t.Errorf("%d frets from %d: %.1f mm, want %.1f", c.k, c.p, got, c.want)
		}
	}
}

func TestCapo(t *testing.T) {
	n, err := StandardNeck().WithCapo(3)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := n.Open(1), 67; got != want { // E4 three frets up: G4
		t.Errorf("open string 1 is %d, want %d", got, want)
	}
	if got, want := n.Top(), 16; got != want {
		t.Errorf("highest fret %d, want %d", got, want)
	}
	// B4 (71): fret 7 from the nut on string 1 is fret 4 from the capo
	want := []Stop{{1, 4}, {2, 9}, {3, 13}}
	if got := n.Stops(71); !slices.Equal(got, want) {
		t.Errorf("B4 with capo 3 lies at %v, want %v", got, want)
	}
	if got := n.Stops(66); slices.Contains(got, Stop{1, -1}) {
		t.Errorf("F#4 lies behind the capo on string 1: %v", got)
	}
	for _, f := range []int{-1, 12, 1 << 40} {
		if n, err := StandardNeck().WithCapo(f); err == nil || n.Capo != 0 {
			t.Errorf("capo %d is taken: %v", f, n)
		}
	}
	if n.High() != StandardNeck().High() {
		t.Errorf("a capo moves the highest pitch from %d to %d", StandardNeck().High(), n.High())
	}
}

// TestCapoIsTuning: with a capo the frets are those of strings tuned up as far,
// while there is neck.
func TestCapoIsTuning(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := StandardNeck()
		n.Capo = rapid.IntRange(0, 11).Draw(t, "capo")
		up := StandardNeck()
		for i := range up.Tuning {
			up.Tuning[i] += n.Capo
		}
		up.Frets -= n.Capo
		midi := rapid.IntRange(30, 100).Draw(t, "pitch")
		if a, b := n.Stops(midi), up.Stops(midi); !slices.Equal(a, b) {
			t.Fatalf("pitch %d, capo %d: %v, tuned up %v", midi, n.Capo, a, b)
		}
	})
}

// TestRetune: strings tuned up and notes moved up by the same amount lie at the
// same frets, and a pitch lies where it says.
func TestRetune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := Tunings()
		open, err := ParseTuning(rapid.SampledFrom(names).Draw(t, "tuning"))
		if err != nil {
			t.Fatal(err)
		}
		n := StandardNeck()
		n.Tuning = open
		n.Capo = rapid.IntRange(0, 5).Draw(t, "capo")
		d := rapid.IntRange(-7, 7).Draw(t, "semitones")
		m := n
		m.Tuning = slices.Clone(open)
		for i := range m.Tuning {
			m.Tuning[i] += d
		}
		midi := rapid.IntRange(25, 100).Draw(t, "pitch")
		a, b := n.Stops(midi), m.Stops(midi+d)
		if !slices.Equal(a, b) {
			t.Fatalf("%d lies at %v, %d semitones on at %v", midi, a, d, b)
		}
		for _, s := range a {
			if n.Open(int(s.String))+int(s.Fret) != midi || int(s.Fret) > n.Top() {
				t.Fatalf("%d is not at %v", midi, s)
			}
		}
	})
}

func TestParseTuning(t *testing.T) {
	standard := []int{40, 45, 50, 55, 59, 64}
	dropD := []int{38, 45, 50, 55, 59, 64}
	for _, c := range []struct {
		in   string
		want []int
	}{
		{"standard", standard},
		{"E2 A2 D3 G3 B3 E4", standard},
		{"E A D G B E", standard},
		{"EADGBE", standard},
		{"eadgbe", standard},
		{"e a d g b e", standard},
		{" E,A,D, G,B,E ", standard},
		{"drop-d", dropD},
		{"Drop-D", dropD},
		{"D A D G B E", dropD},
		{"dadgbe", dropD},
		{"D2 A D G B E", dropD},
		{"half-down", []int{39, 44, 49, 54, 58, 63}},
		{"Eb Ab Db Gb Bb Eb", []int{39, 44, 49, 54, 58, 63}},
		{"EbAbDbGbBbEb", []int{39, 44, 49, 54, 58, 63}},
		{"D# G# C# F# A# D#", []int{39, 44, 49, 54, 58, 63}},
		{"E♭ A♭ D♭ G♭ B♭ E♭", []int{39, 44, 49, 54, 58, 63}},
		{"dadgad", []int{38, 45, 50, 55, 57, 62}},
		{"open-g", []int{38, 43, 50, 55, 59, 62}},
		{"open-c", []int{36, 43, 48, 55, 60, 64}},
		{"C G C G C E", []int{36, 43, 48, 55, 60, 64}},
		{"F A D G B E", []int{41, 45, 50, 55, 59, 64}},
		{"seven", []int{35, 40, 45, 50, 55, 59, 64}},
		{"B E A D G B E", []int{35, 40, 45, 50, 55, 59, 64}},
		{"BEADGBE", []int{35, 40, 45, 50, 55, 59, 64}},
		{"A E A D G B E", []int{33, 40, 45, 50, 55, 59, 64}},
		{"E A D G B E5", []int{40, 45, 50, 55, 59, 76}},
		{"B1 E2 A2 D3 F#3 B3 E4", []int{35, 40, 45, 50, 54, 59, 64}},
	} {
		got, err := ParseTuning(c.in)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("ParseTuning(%q) = %v, %v; want %v", c.in, got, err, c.want)
		}
	}
	for _, c := range []struct{ in, part string }{
		{"", "not understood"},
		{"flat", "not understood"},
		{"standart", "not understood"},
		{"E A D G H E", `"H" is not a note`},
		{"E A D G B", "5 strings"},
		{"E A D G B E A D", "8 strings"},
		{"E", "1 strings"},
		{"E2 A2 D3 G3 B3 E99", "E99 on string 1 is out of range"},
		{"E2 D2 D3 G3 B3 E4", "D2 on string 5 is not above E2 on string 6"},
		{"E4 B3 G3 D3 A2 E2", "low to high"},
		{"E0 A2 D3 G3 B3 E4", "E0 on string 6 is out of range"},
		{"E2 A2 D3 G3 B3 E-1", `"E-1" is not a note`},
	} {
		got, err := ParseTuning(c.in)
		if err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("ParseTuning(%q) = %v, %v; want an error with %q", c.in, got, err, c.part)
		}
	}
	for _, name := range Tunings() {
		got, err := ParseTuning(name)
		if err != nil || len(got) < 6 {
			t.Errorf("ParseTuning(%q) = %v, %v", name, got, err)
		}
	}
}

// TestTuningOctaves: the notes of a tuning near the usual one find their
// octaves.
func TestTuningOctaves(t *testing.T) {
	names := [12]string{"C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"}
	rapid.Check(t, func(t *rapid.T) {
		want := StandardNeck().Tuning
		var notes []string
		for i := range want {
			want[i] += rapid.IntRange(-4, 2).Draw(t, "semitones")
			if i > 0 && want[i] <= want[i-1] {
				t.Skip("not rising")
			}
			notes = append(notes, names[want[i]%12])
		}
		for _, sep := range []string{" ", ", ", ""} {
			got, err := ParseTuning(strings.Join(notes, sep))
			if err != nil || !slices.Equal(got, want) {
				t.Fatalf("%v: %v, %v; want %v", notes, got, err, want)
			}
		}
	})
}

func FuzzParseTuning(f *testing.F) {
	for _, s := range append(Tunings(), "E A D G B E", "BEADGBE", "E2 A2 D3 G3 B3 E4", "D# G# C# F# A# D#", "E♭,A♭", "eadgbe", "E99999999999999999999") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseTuning(s)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("the error has more than one line: %q", err)
			}
			return
		}
		if len(got) != 6 && len(got) != 7 || !slices.IsSorted(got) || got[0] < lowestOpen || got[len(got)-1] > highestOpen {
			t.Fatalf("%q: %v", s, got)
		}
	})
}

// TestAnyNeck: whatever the tuning, the frets, the scale, the capo and the reach, every note lies on
// the neck where its string and fret say, and one hand of that reach holds what
// sounds together.
func TestAnyNeck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := StandardNeck()
		open, err := ParseTuning(rapid.SampledFrom(Tunings()).Draw(t, "tuning"))
		if err != nil {
			t.Fatal(err)
		}
		n.Tuning = open
		n.Frets = rapid.IntRange(12, 24).Draw(t, "frets")
		n.Scale = rapid.Float64Range(500, 700).Draw(t, "scale")
		// the six frets left join strings a fifth apart
		if n, err = n.WithCapo(rapid.IntRange(0, min(maxCapo, n.Frets-6)).Draw(t, "capo")); err != nil {
			t.Fatal(err)
		}
		h := drawHand(t)
		a, err := Arrange(randomTune(t), Plan{Neck: &n, Hand: &h})
		if err != nil {
			t.Skip(err) // wider than the neck
		}
		g := newGrasp(n, h)
		for i, x := range a.Notes {
			if x.Fret < 0 || x.Fret > n.Top() || n.Open(x.String)+x.Fret != x.MIDI {
				t.Fatalf("string %d fret %d of %d is not pitch %d", x.String, x.Fret, n.Top(), x.MIDI)
			}
			var ps []Press
			for _, y := range a.Notes[:i+1] {
				if x.At < y.At+y.Dur {
					ps = append(ps, Press{Stop{int8(y.String), int8(y.Fret)}, int8(y.Finger)})
				}
			}
			if !g.fingers(ps).ok {
				t.Fatalf("at %d no hand of %g mm holds %v", x.At, h.Reach, ps)
			}
		}
	})
}

// TestHighestFrets: a tune that climbs to the last fret of a neck of two octaves
// is arranged, and that fret is used.
func TestHighestFrets(t *testing.T) {
	for _, frets := range []int{12, 19, 20, 21, 22, 24} {
		n := StandardNeck()
		n.Frets = frets
		tune := climb(t, n.High())
		a, err := Arrange(tune, Plan{Neck: &n})
		if err != nil {
			t.Errorf("%d frets: %v", frets, err)
			continue
		}
		top := 0
		for _, x := range a.Notes {
			top = max(top, x.Fret)
		}
		if top != frets {
			t.Errorf("%d frets: the highest used is %d", frets, top)
		}
		if frets == 24 {
			continue
		}
		n.Frets--
		if _, err := Arrange(tune, Plan{Neck: &n}); err == nil {
			t.Errorf("%d frets hold what needs %d", n.Frets, frets)
		}
	}
}

// climb is a tune of quarters from A2 up to a pitch and about it; it fits the neck in no other octave.
func climb(t *testing.T, top int) *theory.Tune {
	t.Helper()
	tune := &theory.Tune{Title: "climb", Tempi: []theory.TempoMark{{BPM: 80}}}
	c, err := theory.ParseChord("C6")
	if err != nil {
		t.Fatal(err)
	}
	m := theory.Metre{Num: 4, Den: 4}
	at := theory.Time{}
	for bar, pitches := range [][]int{{45, 57, 69, 76}, {top - 5, top - 3, top - 1, top}, {top, top - 2, top, top - 1}, {top, top, top, top}} {
		whole := theory.Quarters(4, 1)
		tune.Bars = append(tune.Bars, theory.Bar{Label: strconv.Itoa(bar + 1), Pass: 1, Source: bar, At: at, Len: whole, Beat: theory.BeatOf(m), Metre: m})
		tune.Changes = append(tune.Changes, theory.Change{At: at, Len: whole, Chord: c})
		for _, p := range pitches {
			tune.Melody = append(tune.Melody, theory.Note{At: at, Len: theory.Quarters(1, 1), Pitch: midiPitch(p)})
			at = at.Add(theory.Quarters(1, 1))
		}
	}
	tune.DividePhrases()
	return tune
}
