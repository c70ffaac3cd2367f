package voicing

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thumbline/theory"
)

// A ritardando changes the tempo of the last two bars and nothing else.
func TestRitardandoOnlyTempo(t *testing.T) {
	for name, tune := range ownTunes(t) {
		for _, ending := range []string{"", "none"} {
			a, err := Arrange(tune, Plan{Ending: ending})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			b, err := Arrange(tune, Plan{Ending: ending, Ritardando: true})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if d := cmp.Diff(a, b, cmpopts.IgnoreFields(Arrangement{}, "Tempi"), cmpopts.EquateComparable(theory.Time{}, theory.Chord{})); d != "" {
				t.Errorf("%s, ending %q: more than the tempo changed:\n%s", name, ending, d)
			}
			if len(b.Tempi) <= len(a.Tempi) {
				t.Errorf("%s: tempi %v", name, b.Tempi)
			}
		}
	}
}

// Friberg and Sundberg 1999 with q = 3 and an end at two thirds: half way, the
// tempo is the cube root of (1 + 8/27) / 2, 0.865 of the first.
func TestRitardandoSteps(t *testing.T) {
	a := &Arrangement{Tempi: []TempoMark{{0, 120}}}
	for i := range 4 {
		a.Bars = append(a.Bars, Bar{At: Tick(i) * 4 * PerQuarter, Len: 4 * PerQuarter, Beat: PerQuarter, Metre: theory.Metre{Num: 4, Den: 4}})
	}
	a.Notes = []Note{{At: 0, Dur: PerQuarter}, {At: 14 * PerQuarter, Dur: 2 * PerQuarter}}
	a.ritard()
	// the last chord: two quarters at 80 are 1.5 s, held for 3
	want := []TempoMark{{0, 120}, {9 * PerQuarter, 115.11}, {10 * PerQuarter, 109.77}, {11 * PerQuarter, 103.85},
		{12 * PerQuarter, 97.16}, {13 * PerQuarter, 89.40}, {14 * PerQuarter, 40}}
	if d := cmp.Diff(want, a.Tempi, cmpopts.EquateApprox(0, 0.011)); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if got, want := a.Tempi[3].BPM/120, math.Cbrt(1-19.0/27*3/6); math.Abs(got-want) > 1e-3 {
		t.Errorf("half way %g, want %g", got, want)
	}
}

// Marks stay in order, above 0, never faster than written, whatever the bars.
func TestRitardandoInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := &Arrangement{Tempi: []TempoMark{{0, float64(rapid.IntRange(20, 400).Draw(t, "bpm"))}}}
		at := Tick(0)
		for range rapid.IntRange(1, 5).Draw(t, "bars") {
			beat := rapid.SampledFrom([]Tick{12, PerQuarter / 2, PerQuarter, 3 * PerQuarter / 2, 2 * PerQuarter}).Draw(t, "beat")
			b := Bar{At: at, Len: Tick(rapid.IntRange(1, 6000).Draw(t, "len")), Beat: beat}
			a.Bars = append(a.Bars, b)
			at += b.Len
		}
		for range rapid.IntRange(1, 4).Draw(t, "notes") {
			a.Notes = append(a.Notes, Note{At: Tick(rapid.IntRange(0, int(at)-1).Draw(t, "note")), Dur: 10})
		}
		if rapid.Bool().Draw(t, "mark") {
			a.Tempi = append(a.Tempi, TempoMark{Tick(rapid.IntRange(1, int(at)).Draw(t, "at")), 90})
		}
		top := max(a.Tempi[0].BPM, 90)
		a.ritard()
		for i, m := range a.Tempi {
			if i == 0 && m.At != 0 || i > 0 && m.At <= a.Tempi[i-1].At || !(m.BPM > 0) || m.BPM > top {
				t.Fatalf("tempi %v", a.Tempi)
			}
		}
	})
}
