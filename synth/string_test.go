package synth

import (
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"slices"
	"testing"
)

// Every string is in tune from the nut to the 24th fret, at three rates, measured
// on the finished sound and not by the synth's own arithmetic. A part of the
// frets and velocities; with EVERY_PITCH set, all of them in every tone.
func TestPitch(t *testing.T) {
	frets, tones := []int{0, 1, 4, 7, 12, 15, 19, 24}, []string{"archtop"}
	if os.Getenv("EVERY_PITCH") != "" {
		frets, tones = nil, Tones()
		for f := range 25 {
			frets = append(frets, f)
		}
	}
	for _, tone := range tones {
		for _, rate := range []int{44100, 48000, 96000} {
			t.Run(fmt.Sprintf("%s, %d Hz", tone, rate), func(t *testing.T) {
				t.Parallel()
				worst := 0.0
				for s, open := range guitar {
					for i, fret := range frets {
						vs := []int{30, 80, 120}
						if os.Getenv("EVERY_PITCH") == "" {
							vs = vs[(i+s)%3:][:1]
						}
						for _, v := range vs {
							want := 440 * math.Pow(2, float64(open+fret-69)/12)
							x := render(t, Options{Rate: rate, Tone: tone}, 0.56, event{0, on(s, open+fret, v)})
							c := cents(frequency(x, float64(rate), want, 0.25), want)
							if math.Abs(c) > math.Abs(worst) {
								worst = c
							}
							if !(math.Abs(c) <= 1) {
								t.Errorf("string %d fret %d velocity %d: %+.3f cents", s+1, fret, v, c)
							}
						}
					}
				}
				t.Logf("worst %+.4f cents", worst)
			})
		}
	}
}

// Another way to measure agrees: the squared difference of the sound and itself
// a period later, and the parabola through its least values.
func TestPitchByPeriod(t *testing.T) {
	for s, open := range guitar {
		for _, fret := range []int{0, 5, 12, 19} {
			want := 440 * math.Pow(2, float64(open+fret-69)/12)
			x := alone("nylon", open, 0.5, func(c *course) { // the least stiff
				spot := *c.t
				spot.stiff = [6]float64{} // partials off their places pull this measure
				c.t = &spot
				c.noteOn(open+fret, 80, 0)
			})
			x = x[9600:]
			n := 4800
			diff := func(lag int) (d float64) {
				for i := range n {
					d += sq(x[i] - x[i+lag])
				}
				return d
			}
			best := int(math.Round(48000 / want))
			for _, k := range []int{best - 1, best + 1} {
				if diff(k) < diff(best) {
					best = k
				}
			}
			l, m, r := diff(best-1), diff(best), diff(best+1)
			period := float64(best) + 0.5*(l-r)/(l-2*m+r)
			if c := cents(48000/period, want); !(math.Abs(c) < 1) {
				t.Errorf("string %d fret %d: %+.3f cents", s+1, fret, c)
			}
		}
	}
}

// Another pitch moves every string, and the bass, by the cents it says, and
// nothing else moves.
func TestA4(t *testing.T) {
	const limit = 1.0 // cents
	for _, c := range []struct{ a4, cents float64 }{
		// 1200 log2(a4/440)
		{400, -165.0042}, {415, -101.2763}, {432, -31.7667}, {440, 0}, {442, 7.8514}, {480, 150.6371},
	} {
		t.Run(fmt.Sprint(c.a4), func(t *testing.T) {
			t.Parallel()
			worst := 0.0
			check := func(channel, pitch int) {
				t.Helper()
				usual := 440 * math.Pow(2, float64(pitch-69)/12)
				near := usual * math.Pow(2, c.cents/1200)
				x := render(t, Options{A4: c.a4}, 0.56, event{0, on(channel, pitch, 90)})
				off := cents(frequency(x, 48000, near, 0.25), usual) - c.cents
				worst = max(worst, math.Abs(off))
				if !(math.Abs(off) <= limit) {
					t.Errorf("channel %d pitch %d: %+.3f cents from where it belongs", channel, pitch, off)
				}
			}
			for s, open := range guitar {
				for _, fret := range []int{0, 7, 12, 20} {
					check(s, open+fret)
				}
			}
			for _, pitch := range []int{28, 33, 45} {
				check(BassChannel, pitch)
			}
			t.Logf("worst %.4f cents", worst)
		})
	}
	play := func(a4 float64) []float64 { return render(t, Options{A4: a4}, 0.2, event{0, on(2, 57, 90)}) }
	if !slices.Equal(play(0), play(440)) {
		t.Error("440 Hz is not what no A4 gives")
	}
}

// Strings ring as long as they should: within 30 % of the target of the
// fundamental, in the band near 2 kHz, dead soon above 5 kHz, and never longer
// for a higher partial above 500 Hz.
func TestDecay(t *testing.T) {
	// Target bands: common practice for these instruments, no source.
	bands := map[string]struct {
		low       [6]float64 // E4 B3 G3 D3 A2 E2, s
		high      [2]float64
		aboveFive float64
	}{
		"nylon":   {[6]float64{3.5, 4, 4.5, 6, 6.5, 6}, [2]float64{0.8, 2.5}, 0.6},
		"archtop": {[6]float64{4.5, 5, 6, 7, 8, 8}, [2]float64{1, 3}, 0.8},
		"steel":   {[6]float64{5, 5.5, 6, 8, 9, 9}, [2]float64{1.5, 4}, 1.2},
	}
	for _, tone := range Tones() {
		t.Run(tone, func(t *testing.T) {
			t.Parallel()
			band, ok := bands[tone]
			if !ok {
				t.Fatal("a tone without bands")
			}
			for s, open := range guitar {
				for _, fret := range []int{0, 5, 12} {
					f0 := hertz(float64(open+fret), 440)
					x := render(t, Options{Tone: tone}, 4.5, event{0, on(s, open+fret, 100)})
					want := band.low[s] * math.Pow(0.6, float64(fret)/12)
					if got := decay(x, 48000, f0); !(math.Abs(got/want-1) < 0.3) {
						t.Errorf("string %d fret %d: T60 %.2f s, want %.2f +-30 %%", s+1, fret, got, want)
					}
					near2k := partialNear(x, 48000, f0, math.Round(2000/f0))
					if got := decay(x, 48000, near2k); !(got >= band.high[0] && got <= band.high[1]) {
						t.Errorf("string %d fret %d: T60 at %.0f Hz %.2f s, want %.1f to %.1f", s+1, fret, near2k, got, band.high[0], band.high[1])
					}
					// One way to swing alone: two of them beat, the upper partials fastest.
					x = alone(tone, open, 4.5, func(c *course) {
						spot := *c.t
						spot.along = 0
						c.t = &spot
						c.noteOn(open+fret, 100, 0)
					})
					before := math.Inf(1)
					for _, f := range []float64{600, 1200, 2400, 3600} {
						n := math.Round(f / f0)
						if n < 1 {
							continue
						}
						got := decay(x, 48000, partialNear(x, 48000, f0, n))
						if math.IsNaN(got) { // a null of the pluck is no partial
							continue
						}
						if got > before*1.03 {
							t.Errorf("string %d fret %d: partial %.0f rings %.2f s, longer than the one below (%.2f)", s+1, fret, n, got, before)
						}
						before = got
					}
				}
				// Above 5 kHz on the string alone: the cabinet leaves too little.
				l := newLoop(48000, hertz(float64(open), 440), findTone(tone).t60At(float64(open)), findTone(tone).t60High, 0)
				if got := -3 / (hertz(float64(open), 440) * math.Log10(l.gain(2*math.Pi*5000/48000))); got > band.aboveFive {
					t.Errorf("string %d: T60 at 5 kHz %.2f s, want at most %.1f", s+1, got, band.aboveFive)
				}
			}
		})
	}
}

func findTone(name string) *tone {
	for i := range tones {
		if tones[i].name == name {
			return &tones[i]
		}
	}
	return nil
}

// alone is one string without the body: what it does in seconds after do.
func alone(tone string, open int, seconds float64, do func(*course)) []float64 {
	c := newCourse(findTone(tone), 48000, 440, float64(open), 0, 1)
	do(c)
	x := make([]float64, int(seconds*48000)/quantum*quantum)
	for i := 0; i < len(x); i += quantum {
		b := new(bus)
		c.run([]*bus{b}, 0, quantum)
		c.settle()
		for j, y := range b.left {
			x[i+j] = float64(y) * math.Sqrt2 // in the middle
		}
	}
	return x
}

// The partial at the pluck's own node is missing: 20 dB below its neighbours.
func TestPluckNulls(t *testing.T) {
	for _, tone := range Tones() {
		to := findTone(tone)
		for s, open := range guitar {
			for _, fret := range []int{0, 5, 12} {
				// A node that falls on a whole partial k, as the tone's scale puts it.
				length := to.scale * math.Pow(2, -float64(fret)/12)
				k := max(math.Round(length/to.pluck), 2)
				x := alone(tone, open, 0.2, func(c *course) {
					spot := *to
					spot.pluck = length / k
					c.t = &spot
					c.noteOn(open+fret, 100, 0)
				})
				f0 := hertz(float64(open+fret), 440)
				at := func(n float64) float64 { return dB(cmplx.Abs(bin(x[:9600], 48000, n*f0))) }
				if depth := (at(k-1)+at(k+1))/2 - at(k); depth < 20 {
					t.Errorf("%s, string %d fret %d: partial %.0f only %.1f dB below its neighbours", tone, s+1, fret, k, depth)
				}
			}
		}
	}
}

// Velocity alone says how loud and how bright: both rise at every step, level
// by the square law, brightness by half or more from 32 to 112.
func TestVelocity(t *testing.T) {
	for _, tone := range Tones() {
		var level, bright []float64
		vs := []int{1, 8, 16, 32, 48, 64, 80, 96, 112, 127}
		for _, v := range vs {
			x := render(t, Options{Tone: tone, Gain: -6}, 0.2, event{0, on(1, 64, v)})
			level, bright = append(level, dB(rms(x))), append(bright, centroid(x, 48000))
		}
		for i := 1; i < len(vs); i++ {
			if level[i] <= level[i-1] {
				t.Errorf("%s: velocity %d is no louder than %d", tone, vs[i], vs[i-1])
			}
			if bright[i] <= bright[i-1] && vs[i-1] >= 8 {
				t.Errorf("%s: velocity %d is no brighter than %d (%.0f, %.0f Hz)", tone, vs[i], vs[i-1], bright[i], bright[i-1])
			}
		}
		if d := level[8] - level[3]; d < 20 || d > 24 {
			t.Errorf("%s: velocity 112 is %.1f dB above 32, want 20 to 24", tone, d)
		}
		if r := bright[8] / bright[3]; r < 1.5 || r > 3 {
			t.Errorf("%s: velocity 112 is %.2f times as bright as 32, want 1.5 to 3", tone, r)
		}
	}
}

// Every string is about as loud as every other, all over the neck.
func TestEvenLoudness(t *testing.T) {
	for _, tone := range Tones() {
		lo, hi := math.Inf(1), math.Inf(-1)
		for s, open := range guitar {
			for fret := 0; fret <= 17; fret++ {
				x := render(t, Options{Tone: tone}, 0.4, event{0, on(s, open+fret, 90)})
				l := dB(rms(kWeighted(x)))
				lo, hi = min(lo, l), max(hi, l)
			}
		}
		t.Logf("%s: from %.1f to %.1f dB", tone, lo, hi)
		if hi-lo > 7 {
			t.Errorf("%s: the neck spans %.1f dB, want at most 7", tone, hi-lo)
		}
	}
}

// The place of the pluck and the palm are heard.
func TestPlaceAndPalm(t *testing.T) {
	play := func(cc ...event) []float64 {
		return render(t, Options{}, 1.5, append(cc, event{10, on(3, 50, 90)})...)
	}
	bridge := centroid(play(event{0, control(3, PluckController, 10)})[:9600], 48000)
	usual := centroid(play()[:9600], 48000)
	neck := centroid(play(event{0, control(3, PluckController, 127)})[:9600], 48000)
	if !(bridge > usual && usual > neck) {
		t.Errorf("centroid at the bridge %.0f, usual %.0f, over the neck %.0f Hz: should fall", bridge, usual, neck)
	}
	for palm, want := range map[int]float64{1: palmLow, 64: 0.2, 127: palmHigh} {
		x := alone("archtop", 50, 1, func(c *course) {
			c.control(PalmController, palm)
			c.noteOn(50, 90, 0)
		})
		f := decay60(x[2400:])
		if f < 0.6*want || f > 1.4*want {
			t.Errorf("palm %d: T60 %.2f s, want %.2f", palm, f, want)
		}
	}
	// Laid on a ringing string it stops it; lifted before, it does not.
	x := play(event{24000, control(3, PalmController, 127)})
	if d := dB(rms(x[36000:40800]) / rms(x[19200:24000])); d > -50 {
		t.Errorf("the palm on a ringing string left it at %.1f dB", d)
	}
}

// decay60 is T60 from the rms of two stretches of 20 ms, 40 ms apart.
func decay60(x []float64) float64 {
	return 60 * 0.04 / dB(rms(x[:960])/rms(x[1920:2880]))
}

// Release velocity says how fast the finger stops the string: 150 ms to 50 ms.
func TestRelease(t *testing.T) {
	for v, want := range map[int]float64{0: 0.15, 64: 0.0862, 127: 0.05} {
		x := alone("steel", 45, 1, func(c *course) {
			c.noteOn(50, 90, 0)
			for range 300 {
				c.run([]*bus{new(bus)}, 0, quantum)
			}
			c.noteOff(50, v)
		})
		// After the period in which the damping walks in.
		if f := decay60(x[960:]); f < 0.85*want || f > 1.15*want {
			t.Errorf("release velocity %d: T60 %.3f s, want %.3f", v, f, want)
		}
	}
}

// What a stroke puts into a loop has no mean: dc would be the last to die.
func TestStrokeHasNoDC(t *testing.T) {
	for s, open := range guitar {
		x := alone("steel", open, 1, func(c *course) { c.noteOn(open+s, 100, 0) })
		var mean float64
		for _, v := range x {
			mean += v / float64(len(x))
		}
		if r := math.Abs(mean) / rms(x); r > 5e-3 {
			t.Errorf("string %d: mean is %.2g of the rms", s+1, r)
		}
	}
}
