package synth

import (
	"math"
	"math/cmplx"
	"testing"
)

// The partials of a stiff string lie at n f0 sqrt((1 + B n^2)/(1 + B)): B, fitted
// quarter of the table's, at the frets where they say so.
func TestInharmonicity(t *testing.T) {
	for _, tone := range Tones() {
		to := findTone(tone)
		for s, open := range guitar {
			for _, fret := range []int{0, 5, 12} {
				want := to.stiffAt(float64(open)) * math.Exp2(float64(fret)/6)
				x := alone(tone, open, 0.8, func(c *course) {
					spot := *c.t
					c.t = &spot
					c.noteOn(open+fret, 110, 0)
				})
				f0 := frequency(x, 48000, hertz(float64(open+fret), 440), 0.1)
				var num, den float64
				for n := 2.0; n <= 10 && n*f0 < 5000; n++ {
					f := frequency(x, 48000, partialNear(x, 48000, f0, n), 0.1)
					y := sq(f/(n*f0)) - 1
					num += y * (n*n - 1)
					den += sq(n*n - 1)
				}
				if got := num / den; !(math.Abs(got/want-1) < 0.25) {
					t.Errorf("%s, string %d fret %d: B %.3g, want %.3g +-25 %%", tone, s+1, fret, got, want)
				}
			}
		}
	}
}

// Two polarisations lie as far above the pitch as below: over a whole period of
// their beating the mean frequency stays within a cent.
func TestBeatingMean(t *testing.T) {
	for _, rate := range []int{44100, 48000, 96000} {
		worst := 0.0
		for _, n := range []struct{ s, pitch int }{{5, 40}, {4, 50}, {3, 57}, {1, 64}, {0, 76}, {0, 88}} {
			want := 440 * math.Pow(2, float64(n.pitch-69)/12)
			to := findTone("steel")
			period := 1 / (want * (math.Exp2(to.apart/1200) - 1))
			seconds := min(period, 5) + 0.5
			x := render(t, Options{Rate: rate, Tone: "steel"}, seconds, event{0, on(n.s, n.pitch, 100)})
			// The phase of the fundamental, window by window, unwrapped.
			hop, win := rate/20, rate/4
			count, before, total := 0, 0.0, 0.0
			for i := rate / 10; i+win < len(x); i += hop {
				ph := cmplx.Phase(bin(x[i:i+win], float64(rate), want))
				// bin counts phase from its own start.
				ph -= 2 * math.Pi * math.Mod(want*float64(i)/float64(rate), 1)
				if count > 0 {
					d := ph - before
					d -= 2 * math.Pi * math.Round(d/(2*math.Pi))
					total += d
				}
				before = ph
				count++
			}
			f := want + total/(2*math.Pi)/(float64(count-1)*float64(hop)/float64(rate))
			c := cents(f, want)
			worst = max(worst, math.Abs(c))
			if !(math.Abs(c) <= 1) {
				t.Errorf("%d Hz, pitch %d: %+.3f cents over %.1f s", rate, n.pitch, c, seconds)
			}
		}
		t.Logf("%d Hz: worst %.3f cents", rate, worst)
	}
}
