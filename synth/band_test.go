package synth

import (
	"math"
	"slices"
	"testing"
)

// share is how much of the power of x lies between two frequencies, Hz.
func share(x []float64, low, high float64) float64 {
	const step = 10.0
	var in, all float64
	for f := 40.0; f < 16000; f += step {
		p := goertzel(x, f)
		all += p
		if f >= low && f < high {
			in += p
		}
	}
	return in / all
}

// goertzel is the power of x near f Hz at 48 kHz.
func goertzel(x []float64, f float64) float64 {
	w := 2 * math.Pi * f / 48000
	c, s1, s2 := 2*math.Cos(w), 0.0, 0.0
	for _, v := range x {
		s1, s2 = v+c*s1-s2, s1
	}
	return s1*s1 + s2*s2 - c*s1*s2
}

// Cymbals are bright and short, the rim is dry, the brush comes slowly
// (common practice, no source).
func TestKit(t *testing.T) {
	play := func(key int) []float64 { return render(t, Options{}, 1, event{0, on(ClickChannel, key, 64)}) }
	level := func(x []float64, from, to float64) float64 {
		return dB(rms(x[int(from*48000):int(to*48000)]) + 1e-9)
	}
	for _, k := range []struct {
		key       int
		low, high float64 // where most of its power lies, Hz
		at, fall  float64 // how far it has fallen by then, s, dB
	}{
		{42, 3000, 14000, 0.12, 25},
		{44, 2000, 14000, 0.18, 25},
		{51, 2500, 14000, 0.65, 25},
		{70, 500, 8000, 0.4, 25},
		{37, 400, 2500, 0.12, 25},
	} {
		x := play(k.key)
		if s := share(x[:4800], k.low, k.high); s < 0.7 {
			t.Errorf("%d: %.0f %% of the power between %g and %g Hz", k.key, 100*s, k.low, k.high)
		}
		if d := level(x, 0, 0.1) - level(x, k.at, k.at+0.1); d < k.fall {
			t.Errorf("%d has fallen by %.0f dB after %g s, want %g", k.key, d, k.at, k.fall)
		}
		if !slices.Equal(x, play(k.key)) {
			t.Errorf("%d sounds otherwise the second time", k.key)
		}
	}
	brush, hat := play(70), play(42)
	if level(brush, 0, 0.006) > level(brush, 0.03, 0.06)-6 {
		t.Error("a brush that begins at once")
	}
	if level(hat, 0, 0.006) < level(hat, 0.03, 0.06) {
		t.Error("a hi-hat that comes late")
	}
}

// The bass is darker than the guitar's lowest string at the same pitch, sounds
// at its pitch, and is no more than 1 dB louder than a string plucked as hard: it is played that
// much softer
func TestBass(t *testing.T) {
	for _, pitch := range []int{28, 33, 40, 45, 52, 55} {
		x := render(t, Options{}, 1, event{0, on(BassChannel, pitch, 66)})
		f0 := 440 * math.Exp2(float64(pitch-69)/12)
		own := goertzel(x[4800:28800], f0)
		for _, off := range []float64{-1, 1} {
			if p := goertzel(x[4800:28800], f0*math.Exp2(off/12)); p > own/4 {
				t.Errorf("pitch %d: a half step away there is %.0f %% of its power", pitch, 100*p/own)
			}
		}
		if pitch < 40 {
			continue
		}
		g := render(t, Options{}, 1, event{0, on(5, pitch, 66)})
		if c, d := centroid(x, 48000), centroid(g, 48000); c > 0.9*d {
			t.Errorf("pitch %d: the bass's middle is %.0f Hz, the guitar's %.0f", pitch, c, d)
		}
		if l, m := dB(rms(kWeighted(x))), dB(rms(kWeighted(g))); l > m+1 {
			t.Errorf("pitch %d: bass %.1f dB, guitar %.1f", pitch, l, m)
		}
	}
}

// A trio that plays at the levels of a performance: each of the company is
// softer than the guitar, and nothing comes near the limiter.
func TestTrioLoudness(t *testing.T) {
	guitar, trio := arrangement(48000), arrangement(48000)
	var bass, kit []event
	beat := 48000 * 60.0 / 132
	for k := range 16 * 4 {
		at := int64(math.Round(float64(k) * beat))
		if k%2 == 0 {
			p := []int{31, 38, 35, 28, 33, 40, 36, 31}[k/2%8]
			bass = append(bass, event{at, on(BassChannel, p, 66)}, event{at + int64(1.9*beat), off(BassChannel, p, 64)})
		} else {
			kit = append(kit, event{at, on(ClickChannel, 44, 52)}, event{at + int64(0.65*beat), on(ClickChannel, 51, 48)})
		}
		kit = append(kit, event{at, on(ClickChannel, 51, 54)})
	}
	measure := func(f Feeder) (loud, level, peak float64) {
		l, r := played(t, Options{}, f)
		return lufs(l, r), dB(math.Hypot(rms(l), rms(r)) / math.Sqrt2), max(oversampledPeak(l), oversampledPeak(r))
	}
	gl, gr, _ := measure(guitar)
	bl, br, _ := measure(sorted(slices.Clone(bass)))
	kl, kr, _ := measure(sorted(slices.Clone(kit)))
	al, _, peak := measure(sorted(append(append(slices.Clone(trio.list), bass...), kit...)))
	t.Logf("guitar %.1f LUFS, %.1f dB rms; bass %.1f, %.1f; time %.1f, %.1f; all %.1f LUFS, true peak %.1f dB", gl, gr, bl, br, kl, kr, al, dB(peak))
	if bl > gl-3 || br > gr-3 || kl > gl-8 || kr > gr-8 {
		t.Error("the guitar is to be 3 dB over the bass and 8 over the time")
	}
	if bl < gl-14 || kl < gl-24 {
		t.Error("the company is hardly heard")
	}
	if al > -18+2 {
		t.Errorf("%.1f LUFS together", al)
	}
	if peak > ceiling {
		t.Errorf("a true peak of %.2f dB", dB(peak))
	}
}
