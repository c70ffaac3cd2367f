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
	waitL   [quantum]float32
	waitR   [quantum]float32
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
func (l *limiter) truePeak(x []float32, hist *[quantum + overTaps]float32) float32 {
	copy(hist[overTaps:], x)
	var peak float32
	for _, v := range x {
		peak = max(peak, v, -v)
	}
	// Below half of full scale no curve through such samples reaches the knee
	// in anything a string can do.
	if peak > 0.45 {
		for i := range x {
			win := hist[i+1 : i+1+overTaps]
			for p := range l.over {
				h := &l.over[p]
				var y float32
				for k := range h {
					y += h[k] * win[k]
				}
				peak = max(peak, y, -y)
			}
		}
	}
	copy(hist[:overTaps], hist[quantum:])
	return peak
}

// process takes the next quantum and gives, in place, the one before it.
func (l *limiter) process(left, right []float32) {
	peak := float64(max(l.truePeak(left, &l.histL), l.truePeak(right, &l.histR)))
	want := 1.0
	if peak > knee {
		want = (knee + (ceiling-knee)*math.Tanh((peak-knee)/(ceiling-knee))) / peak
	}
	end := min(l.want, want, l.node+(1-l.node)*l.release)
	if end > 0.99999 {
		end = min(1, l.want, want)
	}
	g, step := l.node, (end-l.node)/quantum
	for i := range left {
		a, b := l.waitL[i], l.waitR[i]
		l.waitL[i], l.waitR[i] = left[i], right[i]
		if g != 1 || step != 0 {
			a = float32(float64(a) * g)
			b = float32(float64(b) * g)
			g += step
		}
		left[i] = min(max(a, -maxPeak), maxPeak)
		right[i] = min(max(b, -maxPeak), maxPeak)
	}
	l.node, l.want = end, want
}
