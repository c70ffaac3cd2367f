package synth

import (
	"errors"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"sync"
	"testing"
)

func sorted(list []event) *Events {
	slices.SortStableFunc(list, func(a, b event) int { return int(a.at - b.at) })
	return &Events{list: list}
}

// memory is a file in memory.
type memory struct {
	b  []byte
	at int64
}

func (m *memory) Write(p []byte) (int, error) {
	if need := int(m.at) + len(p); need > len(m.b) {
		m.b = append(m.b, make([]byte, need-len(m.b))...)
	}
	m.at += int64(copy(m.b[m.at:], p))
	return len(p), nil
}

func (m *memory) Seek(off int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		off += m.at
	case io.SeekEnd:
		off += int64(len(m.b))
	}
	if off < 0 {
		return 0, errors.New("before the start")
	}
	m.at = off
	return off, nil
}

// guitar is standard tuning, string 1 first.
var guitar = []int{64, 59, 55, 50, 45, 40}

// on and off are messages for string s (0 is the highest).
func on(s, pitch, velocity int) [3]byte {
	return [3]byte{0x90 | byte(s), byte(pitch), byte(velocity)}
}

func off(s, pitch, velocity int) [3]byte {
	return [3]byte{0x80 | byte(s), byte(pitch), byte(velocity)}
}

func control(s, number, value int) [3]byte {
	return [3]byte{0xb0 | byte(s), byte(number), byte(value)}
}

// render plays events for seconds and returns the two channels' sum over 2.
func render(t testing.TB, o Options, seconds float64, list ...event) []float64 {
	t.Helper()
	left, right := renderStereo(t, o, seconds, list...)
	for i := range left {
		left[i] = (left[i] + right[i]) / 2
	}
	return left
}

func renderStereo(t testing.TB, o Options, seconds float64, list ...event) (left, right []float64) {
	t.Helper()
	e, err := NewEngine(o)
	if err != nil {
		t.Fatal(err)
	}
	e.SetFeeder(sorted(slices.Clone(list)))
	n := int(seconds * float64(e.Rate()))
	out := make([]float32, 2*n)
	e.Render(out)
	left, right = make([]float64, n), make([]float64, n)
	for i := range n {
		left[i], right[i] = float64(out[2*i]), float64(out[2*i+1])
	}
	return left, right
}

// bin is the Hann-windowed Fourier sum of x at f Hz, scaled so that a sine of
// amplitude 1 gives magnitude 1.
func bin(x []float64, rate, f float64) complex128 {
	var sum complex128
	var norm float64
	// Rotation by recurrence, renewed now and then against rounding.
	stepRe, stepIm := math.Cos(2*math.Pi*f/rate), -math.Sin(2*math.Pi*f/rate)
	re, im := 1.0, 0.0
	win := hann(len(x))
	for i, v := range x {
		if i%512 == 0 {
			s, c := math.Sincos(-2 * math.Pi * math.Mod(f/rate*float64(i), 1))
			re, im = c, s
		}
		w := win[i]
		norm += w
		sum += complex(v*w*re, v*w*im)
		re, im = re*stepRe-im*stepIm, re*stepIm+im*stepRe
	}
	return sum * complex(2/norm, 0)
}

var hannCache sync.Map

func hann(n int) []float64 {
	if w, ok := hannCache.Load(n); ok {
		return w.([]float64)
	}
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	hannCache.Store(n, w)
	return w
}

// frequency measures a partial near f by the advance of its phase between two
// Hann windows of 0.25 s, 50 ms apart, from second at on.
func frequency(x []float64, rate, f, at float64) float64 {
	n, hop, from := int(0.25*rate), int(0.05*rate), int(at*rate)
	a := bin(x[from:from+n], rate, f)
	b := bin(x[from+hop:from+hop+n], rate, f)
	d := cmplx.Phase(b) - cmplx.Phase(a) - 2*math.Pi*f*float64(hop)/rate
	d -= 2 * math.Pi * math.Round(d/(2*math.Pi))
	// bin counts phase from its own start: what is left over is the offset.
	return f + d*rate/(2*math.Pi*float64(hop))
}

// partialNear is where partial n of f0 lies in the first 0.4 s of x: a stiff
// string has it above n f0.
func partialNear(x []float64, rate, f0, n float64) float64 {
	best, at := 0.0, n*f0
	for f := n*f0 - 2; f <= n*f0+min(0.55*f0, 0.04*n*f0); f += 2 {
		if m := cmplx.Abs(bin(x[:int(0.4*rate)], rate, f)); m > best {
			best, at = m, f
		}
	}
	return at
}

// decay measures T60 in s of the partial at f: a straight line through its
// level in bins of 0.2 s every 50 ms, from 5 to 25 dB below the first.
func decay(x []float64, rate, f float64) float64 {
	n, hop := int(0.2*rate), int(0.05*rate)
	var ts, ls []float64
	first := math.Inf(-1)
	for i := int(0.03 * rate); i+n <= len(x); i += hop {
		l := 20 * math.Log10(cmplx.Abs(bin(x[i:i+n], rate, f))+1e-12)
		first = max(first, l)
		if l < first-25 {
			break
		}
		if l <= first-5 {
			ts, ls = append(ts, float64(i)/rate), append(ls, l)
		}
	}
	if len(ts) < 3 {
		return math.NaN()
	}
	var mt, ml, num, den float64
	for i := range ts {
		mt += ts[i] / float64(len(ts))
		ml += ls[i] / float64(len(ts))
	}
	for i := range ts {
		num += (ts[i] - mt) * (ls[i] - ml)
		den += sq(ts[i] - mt)
	}
	return -60 / (num / den)
}

// centroid is the mean frequency of x's spectrum weighted by magnitude, Hz, up
// to 12 kHz.
func centroid(x []float64, rate float64) float64 {
	n := 1
	for n < len(x) {
		n *= 2
	}
	z := make([]complex128, n)
	for i, v := range x {
		z[i] = complex(v*hann(len(x))[i], 0)
	}
	fft(z)
	var num, den float64
	for k := 1; k < n/2; k++ {
		f := float64(k) * rate / float64(n)
		if f > 12000 {
			break
		}
		m := cmplx.Abs(z[k])
		num += f * m
		den += m
	}
	return num / den
}

// fft transforms z, whose length is a power of two, in place.
func fft(z []complex128) {
	n := len(z)
	for i, j := 1, 0; i < n; i++ {
		bit := n >> 1
		for ; j&bit != 0; bit >>= 1 {
			j ^= bit
		}
		j ^= bit
		if i < j {
			z[i], z[j] = z[j], z[i]
		}
	}
	for size := 2; size <= n; size *= 2 {
		w := cmplx.Rect(1, -2*math.Pi/float64(size))
		for s := 0; s < n; s += size {
			c := complex(1, 0)
			for k := range size / 2 {
				a, b := z[s+k], z[s+k+size/2]*c
				z[s+k], z[s+k+size/2] = a+b, a-b
				c *= w
			}
		}
	}
}

func rms(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

func dB(x float64) float64 { return 20 * math.Log10(x) }

func cents(f, want float64) float64 { return 1200 * math.Log2(f/want) }
