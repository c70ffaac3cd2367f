package theory

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(a, b float64) bool { return math.Abs(a-b) < 1e-9 }

func TestFeel(t *testing.T) {
	// harmony.md 5.6, default for unaccompanied guitar [PROJ], the figures of its row.
	for _, c := range []struct{ bpm, want, slack float64 }{
		{60, 1.9, 0}, {115, 1.9, 0}, {130, 1.8, 0}, {160, 1.6, 0}, {200, 1.33, 0.005}, {250, 1, 0}, {300, 1, 0},
	} {
		if got := SwingRatio(c.bpm); math.Abs(got-c.want) > c.slack+1e-9 {
			t.Errorf("%v bpm: ratio %v, want %v", c.bpm, got, c.want)
		}
	}
	for _, c := range []struct {
		bpm  float64
		m    Metre
		want float64
	}{
		{130, Metre{4, 4}, 1.8}, {130, Metre{3, 4}, 1.8}, {80, Metre{4, 4}, 1.9}, {79, Metre{4, 4}, 0}, {130, Metre{6, 8}, 0},
		{130, Metre{2, 2}, 0}, {260, Metre{4, 4}, 0},
	} {
		if got := DefaultFeel(c.bpm, c.m).Ratio; !near(got, c.want) {
			t.Errorf("%v bpm in %v: %v, want %v", c.bpm, c.m, got, c.want)
		}
	}
	for _, c := range []struct {
		s    string
		m    Metre
		want float64
	}{
		{"straight", Metre{4, 4}, 0}, {"swing", Metre{4, 4}, 1.8}, {"bossa", Metre{4, 4}, 0}, {"1.7", Metre{4, 4}, 1.7}, {"1", Metre{4, 4}, 0},
		{"", Metre{4, 4}, 1.8}, {"swing", Metre{2, 2}, 1.8}, {"straight", Metre{6, 8}, 0}, {"1", Metre{6, 8}, 0}, {"3.5", Metre{3, 4}, 3.5},
	} {
		f, err := ParseFeel(c.s, 130, c.m)
		if err != nil || !near(f.Ratio, c.want) {
			t.Errorf("feel %q in %v: %v, %v; want %v", c.s, c.m, f, err, c.want)
		}
	}
	for word, want := range map[string]Feel{"bossa": {Bossa: true}, "straight": {}} {
		for _, m := range []Metre{{4, 4}, {6, 8}} {
			f, err := ParseFeel(word, 130, m)
			if err != nil || f != want || f.String() != word || f.Swings() {
				t.Errorf("feel %q in %v: %+v, called %v (%v)", word, m, f, f, err)
			}
		}
	}
	for _, c := range []struct {
		s string
		m Metre
	}{{"swung", Metre{4, 4}}, {"0.5", Metre{4, 4}}, {"4", Metre{4, 4}}, {"NaN", Metre{4, 4}}, {"swing", Metre{6, 8}}, {"1.5", Metre{12, 8}}} {
		if f, err := ParseFeel(c.s, 130, c.m); err == nil {
			t.Errorf("feel %q in %v is %v", c.s, c.m, f)
		}
	}
}

// harmony.md 9, numbers 76 and 77 (the drummers' formula is a reference value
// for Warp's range only; the default feel is the guitar's).
func TestWarpCheckValues(t *testing.T) {
	drummer := func(bpm float64) float64 { return min(max((60000/bpm-100)/100, 1), 3.5) }
	for bpm, want := range map[float64]float64{120: 3.5, 150: 3, 200: 2, 240: 1.5, 300: 1} {
		if got := drummer(bpm); !near(got, want) {
			t.Errorf("76. %v bpm: %v, want %v [CALC from S52]", bpm, got, want)
		}
		if f := feelOf(drummer(bpm)); f.Ratio > maxSwing {
			t.Errorf("76. %v is beyond what a feel may be", f)
		}
	}
	for ratio, want := range map[float64]int{2: 320, 1: 240, 3: 360} {
		if got := (Feel{Ratio: ratio}).WarpTicks(240, 480); got != want {
			t.Errorf("77. off-beat at %v to 1: tick %d, want %d [CALC]", ratio, got, want)
		}
	}
	// harmony.md 5.6, off-beat position [CALC]
	for ratio, want := range map[float64]float64{2: 0.6667, 1.3: 0.5652, 3: 0.75} {
		if got := (Feel{Ratio: ratio}).Warp(0.5, 1); math.Abs(got-want) > 0.00005 {
			t.Errorf("off-beat at %v: %v, want %v", ratio, got, want)
		}
	}
	f := Feel{Ratio: 2}
	for pos, want := range map[int]int{0: 0, 120: 160, 240: 320, 360: 400, 480: 480, 720: 800, 960: 960, -240: -160} {
		if got := f.WarpTicks(pos, 480); got != want {
			t.Errorf("tick %d goes to %d, want %d", pos, got, want)
		}
	}
}

func TestWarpKeepsOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := Feel{Ratio: rapid.Float64Range(0, 3.5).Draw(t, "ratio")}
		a := rapid.IntRange(-2000, 4000).Draw(t, "a")
		b := a + rapid.IntRange(0, 2000).Draw(t, "more")
		beat := rapid.IntRange(1, 960).Draw(t, "beat")
		wa, wb := f.WarpTicks(a, beat), f.WarpTicks(b, beat)
		if wa > wb {
			t.Fatalf("%v: %d and %d change places: %d, %d", f, a, b, wa, wb)
		}
		if wa < a || floorDiv(wa, beat)-floorDiv(a, beat) > 1 {
			t.Fatalf("%v: tick %d of %d goes to %d", f, a, beat, wa)
		}
		if f.WarpTicks(a*beat, beat) != a*beat {
			t.Fatalf("%v moves a beat", f)
		}
		if (Feel{}).WarpTicks(a, beat) != a {
			t.Fatal("straight is not straight")
		}
	})
}

// design: tempo when the sheet has none, and the beat.
func TestTempoAndBeat(t *testing.T) {
	for _, c := range []struct {
		m        Metre
		shortest Time
		bpm      float64
		beat     Time
	}{
		{Metre{4, 4}, Quarters(1, 2), 120, Quarters(1, 1)},
		{Metre{3, 4}, Quarters(1, 4), 120, Quarters(1, 1)}, // a sixteenth at 120 lasts just 125 ms
		{Metre{4, 4}, Quarters(1, 8), 60, Quarters(1, 1)},  // a thirty-second
		{Metre{4, 4}, Quarters(1, 6), 80, Quarters(1, 1)},  // a sixteenth of a triplet
		{Metre{2, 2}, Quarters(1, 1), 160, Quarters(2, 1)}, // half = 80
		{Metre{3, 2}, Quarters(1, 2), 160, Quarters(2, 1)},
		{Metre{6, 8}, Quarters(1, 2), 150, Quarters(3, 2)}, // dotted quarter = 100
		{Metre{9, 8}, Quarters(1, 4), 120, Quarters(3, 2)},
		{Metre{12, 8}, Quarters(1, 2), 150, Quarters(3, 2)},
		{Metre{6, 4}, Quarters(1, 1), 300, Quarters(1, 1)}, // dotted half = 100
		{Metre{6, 4}, Quarters(1, 2), 240, Quarters(1, 1)},
		{Metre{3, 8}, Quarters(1, 2), 120, Quarters(1, 1)},
		{Metre{4, 4}, Time{}, 120, Quarters(1, 1)},
	} {
		if got := DefaultTempo(c.m, c.shortest); !near(got, c.bpm) {
			t.Errorf("%v, shortest %v: %v, want %v", c.m, c.shortest, got, c.bpm)
		}
		if got := BeatOf(c.m); got != c.beat {
			t.Errorf("%v: a beat of %v, want %v", c.m, got, c.beat)
		}
	}
}
