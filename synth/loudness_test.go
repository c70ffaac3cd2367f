package synth

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// lufs is the integrated loudness of a stereo sound at 48 kHz by ITU-R
// BS.1770-4: K weighting, blocks of 400 ms with 75 % overlap, gates at -70 LUFS
// and 10 LU below the mean.
func lufs(left, right []float64) float64 {
	kl, kr := kWeighted(left), kWeighted(right)
	const block, hop = 19200, 4800
	var powers []float64
	for i := 0; i+block <= len(kl); i += hop {
		powers = append(powers, sq(rms(kl[i:i+block]))+sq(rms(kr[i:i+block])))
	}
	level := func(p float64) float64 { return -0.691 + 10*math.Log10(p) }
	mean := func(gate float64) float64 {
		var sum float64
		n := 0
		for _, p := range powers {
			if level(p) > gate {
				sum += p
				n++
			}
		}
		return level(sum / float64(n))
	}
	return mean(mean(-70) - 10)
}

// biquad is a second-order section, direct form 2 transposed.
type biquad struct {
	b0, b1, b2, a1, a2 float64
	s1, s2             float64
}

func (f *biquad) process(x float64) float64 {
	y := f.b0*x + f.s1
	f.s1 = f.b1*x - f.a1*y + f.s2
	f.s2 = f.b2*x - f.a2*y
	return y
}

// kWeighted filters x with the two biquads BS.1770 gives for 48 kHz.
func kWeighted(x []float64) []float64 {
	shelf := biquad{b0: 1.53512485958697, b1: -2.69169618940638, b2: 1.19839281085285, a1: -1.69065929318241, a2: 0.73248077421585}
	high := biquad{b0: 1, b1: -2, b2: 1, a1: -1.99004745483398, a2: 0.99007225036621}
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = high.process(shelf.process(v))
	}
	return y
}

func sine(f, amp, seconds float64) []float64 {
	x := make([]float64, int(48000*seconds))
	for i := range x {
		x[i] = amp * math.Sin(2*math.Pi*f*float64(i)/48000)
	}
	return x
}

// The meter itself, against values of BS.1770 and EBU Tech 3341.
func TestMeter(t *testing.T) {
	zero := make([]float64, 48000*2)
	tone := sine(997, 1, 2)
	quiet := sine(1000, math.Pow(10, -23.0/20), 2)
	for _, c := range []struct {
		name        string
		left, right []float64
		want        float64
	}{
		{"997 Hz full scale, one channel", tone, zero, -3.01},
		{"997 Hz full scale, both", tone, tone, 0},
		{"1 kHz at -23 dBFS, both", quiet, quiet, -23},
	} {
		if got := lufs(c.left, c.right); math.Abs(got-c.want) > 0.05 {
			t.Errorf("%s: %.2f LUFS, want %.2f", c.name, got, c.want)
		}
	}
	// K gain at 100 Hz -1.13 dB, at 10 kHz +4.04 dB.
	for f, want := range map[float64]float64{100: -1.13, 10000: 4.04} {
		x := sine(f, 1, 1)
		if got := dB(rms(kWeighted(x)[24000:]) / rms(x[24000:])); math.Abs(got-want) > 0.02 {
			t.Errorf("K gain at %g Hz %+.2f dB, want %+.2f", f, got, want)
		}
	}
}

// arrangement is sixteen bars in swing: melody at velocity 96, bass at 80,
// inner strings at 64, the texture of a tune played alone.
func arrangement(rate int) *Events {
	const quarter = 60.0 / 132
	bass := []int{45, 50, 43, 48, 41, 47, 40, 45}
	inner := [][2]int{{55, 60}, {54, 60}, {53, 59}, {52, 59}, {51, 57}, {50, 57}, {50, 56}, {52, 60}}
	tune := [][]int{{64, 67, 72, 71}, {69, 66, 69, 72}, {71, 74, 72, 69}, {67, 64, 67, 71}, {69, 72, 76, 72}, {74, 72, 69, 65}, {68, 71, 74, 76}, {72, 71, 69, 64}}
	var list []event
	play := func(at, long float64, s, p, v int) {
		f := func(q float64) int64 { return int64(math.Round(q * quarter * float64(rate))) }
		list = append(list, event{f(at), on(s, p, v)}, event{f(at + long), off(s, p, 64)})
	}
	for bar := range 16 {
		at, k := float64(4*bar), bar%8
		s := 5
		if bass[k] >= 45 {
			s = 4
		}
		play(at, 3.8, s, bass[k], 80)
		for i, p := range inner[k] {
			play(at+0.02+0.02*float64(i), 1.8, 3-i, p, 64)
			play(at+2.65+0.02*float64(i), 1, 3-i, p, 64)
		}
		for i, p := range tune[k] {
			s := 0
			if p < 64 {
				s = 1
			}
			play(at+float64(i), 0.64, s, p, 96)
			if i%2 == 1 {
				play(at+float64(i)+0.65, 0.33, s, p+2, 92)
			}
		}
	}
	return sorted(list)
}

// played is a whole piece with its tail, and where the sound ended.
func played(t testing.TB, o Options, f Feeder) (left, right []float64) {
	t.Helper()
	e, err := NewEngine(o)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := RenderAll(e, f, 5e9, func(b []float32) error {
		for i := 0; i < len(b); i += 2 {
			left, right = append(left, float64(b[i])), append(right, float64(b[i+1]))
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return left, right
}

// A whole arrangement at usual velocities comes out at -18 +-1 LUFS and never
// above -1 dB true peak.
func TestArrangementLoudness(t *testing.T) {
	for _, tone := range Tones() {
		l, r := played(t, Options{Tone: tone}, arrangement(48000))
		loud, peak := lufs(l, r), dB(max(oversampledPeak(l), oversampledPeak(r)))
		t.Logf("%s: %.1f LUFS, true peak %.1f dB", tone, loud, peak)
		if math.Abs(loud+18) > 1 {
			t.Errorf("%s: %.1f LUFS, want -18 +-1", tone, loud)
		}
		if peak > -1 {
			t.Errorf("%s: true peak %.2f dB", tone, peak)
		}
	}
}

// The same for arrangements that good players would keep.
func TestModelLoudness(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no model arrangements to measure")
	}
	names, _ := filepath.Glob(filepath.Join(dir, "models", "*.json"))
	if len(names) == 0 {
		t.Fatal("no model arrangements found")
	}
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			t.Parallel()
			l, r := played(t, Options{}, modelEvents(t, name))
			loud, peak := lufs(l, r), dB(max(oversampledPeak(l), oversampledPeak(r)))
			t.Logf("%.1f LUFS, true peak %.1f dB", loud, peak)
			if math.Abs(loud+18) > 2 {
				t.Errorf("%.1f LUFS, want -18 +-2", loud)
			}
			if peak > -1 {
				t.Errorf("true peak %.2f dB", peak)
			}
		})
	}
}

func modelEvents(t *testing.T, name string) *Events {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var a struct {
		Tempo        float64
		TicksQuarter float64 `json:"ticksPerQuarter"`
		Notes        []struct {
			At, Dur float64
			MIDI    int
			String  int
			Voice   string
		}
	}
	if err := json.Unmarshal(b, &a); err != nil {
		t.Fatal(err)
	}
	if len(a.Notes) == 0 {
		t.Fatal("no notes")
	}
	velocity := map[string]int{"melody": 96, "bass": 80, "inner": 64}
	var list []event
	at := func(tick float64) int64 { return int64(math.Round(tick / a.TicksQuarter * 60 / a.Tempo * 48000)) }
	for _, n := range a.Notes {
		v, ok := velocity[n.Voice]
		if !ok {
			t.Fatal(fmt.Errorf("voice %q", n.Voice))
		}
		// Offs first at one moment: the string is free when it is struck.
		list = append([]event{{at(n.At + n.Dur), off(n.String-1, n.MIDI, 64)}}, list...)
		list = append(list, event{at(n.At), on(n.String-1, n.MIDI, v)})
	}
	return sorted(list)
}

// oversampledPeak is the largest value between samples too, by a windowed sinc
// of 32 points at eight places: finer than the limiter's own look.
func oversampledPeak(x []float64) float64 {
	const taps, places = 32, 8
	var h [places][taps]float64
	for p := range h {
		for k := range h[p] {
			d := float64(k-taps/2) + float64(p)/places
			h[p][k] = 0.5 + 0.5*math.Cos(math.Pi*d/(taps/2+1))
			if d != 0 {
				h[p][k] *= math.Sin(math.Pi*d) / (math.Pi * d)
			}
		}
	}
	peak, top := 0.0, 0.0
	for _, v := range x {
		top = max(top, math.Abs(v))
	}
	for i := 0; i+taps <= len(x); i++ {
		// Only near the highest samples can anything higher hide.
		if math.Abs(x[i+taps/2]) < 0.5*top && math.Abs(x[min(i+taps/2+1, len(x)-1)]) < 0.5*top {
			continue
		}
		for p := range h {
			var y float64
			for k, c := range h[p] {
				y += c * x[i+k]
			}
			peak = max(peak, math.Abs(y))
		}
	}
	return max(peak, top)
}
