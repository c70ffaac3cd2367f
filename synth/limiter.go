package synth

import "math"

// The limiter's curve: as it came up to the knee, then bending towards a
// ceiling that stays below -1 dB true peak.
const (
	knee    = 0.60   // -4.4 dBFS
	ceiling = 0.865  // -1.26 dBFS; the rest is room for what the meter misses
	maxPeak = 0.8912 // -1 dBFS, the last stop
)

// A limiter looks one quantum ahead. Each quantum has the gain its true peak
// asks for; between the borders of quanta the gain walks in straight lines
// that never exceed what either side asks for, down at once and up slowly.
type limiter struct {
	release float64
	node    float64 // gain at the start of the waiting quantum
	want    float64 // what the waiting quantum asks for
	histL   [quantum + overTaps]float32
	histR   [quantum + overTaps]float32
	over    [3][overTaps]float32
}

const overTaps = 12

func newLimiter(rate float64) *limiter {
	l := &limiter{node: 1, want: 1}
	l.release = 1 - math.Exp(-quantum/(0.12*rate))
	// Three points between each two samples: a windowed sinc.
	for p := range l.over {
		frac := float64(p+1) / 4
		var sum float64
		var h [overTaps]float64
		for k := range h {
			x := float64(k-overTaps/2) + frac
			w := 0.5 + 0.5*math.Cos(math.Pi*x/(overTaps/2+0.5))
			s := 1.0
			if x != 0 {
				s = math.Sin(math.Pi*x) / (math.Pi * x)
			}
			h[k] = s * w
			sum += h[k]
		}
		for k := range h {
			l.over[p][k] = float32(h[k] / sum)
		}
	}
	return l
}

// truePeak is the largest value of x after oversampling by four. hist keeps
// the samples before x.
func (l *limiter) truePeak(x []float32, hist *[quantum + overTaps]float32) float64 {
	peak := samplePeak(x)
	// Below half of full scale no curve through such samples reaches the knee
	// in anything a string can do.
	if peak <= 0.45 {
		copy(hist[:overTaps], x[len(x)-overTaps:])
		return float64(peak)
	}
	copy(hist[overTaps:], x)
	for i := range x {
		win := (*[overTaps]float32)(hist[i+1:])
		for p := range l.over {
			h := &l.over[p]
			var y float32
			for k := range h {
				y += h[k] * win[k]
			}
			if y < 0 {
				y = -y
			}
			if y > peak {
				peak = y
			}
		}
	}
	copy(hist[:overTaps], hist[quantum:])
	return float64(peak)
}

// samplePeak is the largest magnitude in x. Magnitudes of floats order as
// their bits do, which spares the loop the care for NaN and signed zeros.
func samplePeak(x []float32) float32 {
	var m uint32
	for _, v := range x {
		m = max(m, math.Float32bits(v)&^(1<<31))
	}
	return math.Float32frombits(m)
}

// look takes the next quantum and says the gain of the one before it: g at its
// first frame, step more at each that follows.
func (l *limiter) look(left, right []float32) (g, step float64) {
	peak := max(l.truePeak(left, &l.histL), l.truePeak(right, &l.histR))
	want := 1.0
	if peak > knee {
		want = (knee + (ceiling-knee)*math.Tanh((peak-knee)/(ceiling-knee))) / peak
	}
	end := min(l.want, want, l.node+(1-l.node)*l.release)
	if end > 0.99999 {
		end = min(1, l.want, want)
	}
	g, step = l.node, (end-l.node)/quantum
	l.node, l.want = end, want
	return g, step
}

// A lane is what waits for the limiter's gain and what it has become.
type lane struct {
	left, right  [quantum]float32 // finished
	waitL, waitR [quantum]float32
}

// pass finishes the quantum that waited, no sample of it beyond peak, and lets
// the next one wait.
func (a *lane) pass(left, right *[quantum]float32, g, step float64, peak float32) {
	a.left, a.right = a.waitL, a.waitR
	a.waitL, a.waitR = *left, *right
	if g == 1 && step == 0 {
		return
	}
	for i := range a.left {
		l, r := float32(float64(a.left[i])*g), float32(float64(a.right[i])*g)
		a.left[i] = min(max(l, -peak), peak)
		a.right[i] = min(max(r, -peak), peak)
		g += step
	}
}

// copy interleaves the finished frames from on.
func (a *lane) copy(out []float32, from int) {
	left, right := a.left[from:], a.right[from:]
	right = right[:len(left)]
	for i, l := range left {
		if len(out) < 2 {
			break
		}
		out[0], out[1] = l, right[i]
		out = out[2:]
	}
}
