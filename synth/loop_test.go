package synth

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol || math.IsNaN(got) {
		t.Errorf("%s: %.7g, want %.7g", what, got, want)
	}
}

// Check values of the formulas the strings are built from. The figures were
// computed independently; the sources name where the formula stands.
func TestFormulas(t *testing.T) {
	// Equal temperament, A4 = 440 Hz.
	for pitch, want := range map[float64]float64{
		40: 82.4069, 45: 110, 50: 146.8324, 55: 195.9977, 59: 246.9417, 64: 329.6276, 76: 659.2551, 88: 1318.5102,
	} {
		near(t, "frequency", hertz(pitch, 440), want, 5e-5)
	}
	near(t, "period of E2 at 48 kHz", 48000/hertz(40, 440), 582.4756, 1e-4)
	near(t, "period of E4", 48000/hertz(64, 440), 145.6189, 1e-4)
	near(t, "period of E6", 48000/hertz(88, 440), 36.4047, 1e-4)

	// Lagrange interpolator: Laakso, Valimaki, Karjalainen, Laine, Splitting the
	// unit delay, IEEE SP Magazine 13(1), 1996.
	for k, want := range []float64{-1. / 16, 9. / 16, 9. / 16, -1. / 16} {
		near(t, "tap at 1.5", lagrange3(1.5)[k], want, 1e-12)
	}
	inner, outer := 0.0, 0.0
	for d := 0.0; d <= 1; d += 0.01 {
		for w := 0.0; w <= math.Pi; w += 0.005 {
			outer = max(outer, lagrangeGain(lagrange3(d), w))
			inner = max(inner, lagrangeGain(lagrange3(1+d), w))
		}
	}
	near(t, "interpolator's largest gain, middle interval", inner, 1, 1e-9)
	near(t, "interpolator's largest gain, first interval", outer, 1.188, 2e-3)
	// Its loss at a delay of 1.5, dB.
	for f, want := range map[float64]float64{1300: 0.0002, 5000: 0.036, 10000: 0.53, 16000: 3.25} {
		near(t, "loss at 1.5", -dB(lagrangeGain(lagrange3(1.5), 2*math.Pi*f/48000)), want, max(0.02*want, 1e-4))
	}

	// Decay: 10^(-3/(f0 T60)) a period.
	near(t, "gain for 6 s at A2", decayGain(110, 6), 0.989588, 1e-6)
	near(t, "gain for 100 ms at E2", decayGain(hertz(40, 440), 0.1), 0.4325, 1e-4)
	near(t, "gain for 100 ms at E4", decayGain(hertz(64, 440), 0.1), 0.8109, 1e-4)
	near(t, "gain for 100 ms at E6", decayGain(hertz(88, 440), 0.1), 0.9490, 1e-4)

	// One-pole loss filter: Valimaki and others, JAES 44(5), 1996.
	near(t, "gain of a = -0.374656 at 0.5", onePoleGain(-0.374656, 0.5), 0.9, 1e-6)
	near(t, "phase delay of a = -0.4 at 0.05", onePoleDelay(-0.4, 0.05), 0.665588, 1e-6)

	// Body mode: exp(-pi f/(Q rate)).
	r := newResonator(48000, mode{hz: 100, q: 20})
	near(t, "pole of 100 Hz, Q 20", math.Sqrt(-r.a2), 0.999673, 1e-6)
	near(t, "decay of 100 Hz, Q 20", -3/(48000*math.Log10(math.Sqrt(-r.a2))), 0.440, 5e-4)

	// Velocity: 40 log10(v/127) dB, General MIDI 2 and DLS.
	for v, want := range map[int]float64{32: -24.0, 64: -11.9, 96: -4.86, 112: -2.2} {
		near(t, "level of velocity", dB(levelOf(v)), want, 0.06)
	}
}

// Once round the loop, every string loses at every frequency, at every fret, in
// every tone and rate, with and without the palm.
func TestLoopsAreStable(t *testing.T) {
	for _, rate := range []float64{8000, 44100, 48000, 192000} {
		for _, tone := range append(tones, bassTone) {
			for _, open := range []float64{28, 35, 40, 45, 50, 55, 59, 64} {
				for fret := 0.0; fret <= 24; fret++ {
					for _, palm := range []float64{0, 0.4, 0.1} {
						low := tone.t60At(open) * math.Pow(0.6, fret/12)
						high := tone.t60High * math.Pow(0.75, fret/12)
						if palm > 0 {
							low, high = palm, palm/3
						}
						l := newLoop(rate, hertz(open+fret, 440), low, high, tone.stiffAt(open)*math.Exp2(fret/6))
						if l.delay < 1 || l.delay > maxPeriod {
							t.Fatalf("%s at %g Hz, open %g fret %g: delay %d", tone.name, rate, open, fret, l.delay)
						}
						if worst, w := worstGain(l); worst >= 1 {
							t.Fatalf("%s at %g Hz, open %g fret %g palm %g: gain %.6f at %.3f rad", tone.name, rate, open, fret, palm, worst, w)
						}
					}
				}
			}
		}
	}
}

// worstGain looks at 4096 points. The interpolator's gain depends on the
// fraction only, the filter's falls with frequency.
func worstGain(l loop) (worst, at float64) {
	for i := range 4096 {
		w := math.Pi * float64(i) / 4095
		c := cosines[i]
		// |sum h_k e^-jkw|^2 and |1 + a e^-jw|^2 in terms of cosines.
		h := l.taps
		f2 := h[0]*h[0] + h[1]*h[1] + h[2]*h[2] + h[3]*h[3] +
			2*(c[0]*(h[0]*h[1]+h[1]*h[2]+h[2]*h[3])+c[1]*(h[0]*h[2]+h[1]*h[3])+c[2]*h[0]*h[3])
		g2 := sq(l.g*(1+l.a)) / (1 + l.a*l.a + 2*l.a*c[0])
		if g := f2 * g2; g > worst {
			worst, at = g, w
		}
	}
	return math.Sqrt(worst), at
}

var cosines = func() (c [4096][3]float64) {
	for i := range c {
		w := math.Pi * float64(i) / 4095
		c[i] = [3]float64{math.Cos(w), math.Cos(2 * w), math.Cos(3 * w)}
	}
	return c
}()

// A design meets both its decay times, as its own gain says.
func TestLossDesign(t *testing.T) {
	l := newLoop(48000, 110, 6, 2, 0)
	t60 := func(f float64) float64 { return -3 / (110 * math.Log10(l.gain(2*math.Pi*f/48000))) }
	near(t, "decay at the fundamental", t60(110), 6, 1e-3)
	near(t, "decay at 2 kHz", t60(2000), 2, 0.01)
}

// Nonsense in gives a sane loop out.
func TestLoopClamps(t *testing.T) {
	for _, f := range []float64{-5, 0, 1e-9, 19, 30000, 1e9} {
		for _, low := range []float64{0, 1e-9, 1, 1e9} {
			l := newLoop(48000, f, low, 1e9, 1e-4)
			if w, _ := worstGain(l); !(w < 1) || l.delay < 1 || l.delay > maxPeriod {
				t.Errorf("f0 %g, decay %g: delay %d, gain %g", f, low, l.delay, w)
			}
		}
	}
}
