package synth

import "math"

// hertz is the frequency of a MIDI pitch in equal temperament; a4 is that of
// pitch 69.
func hertz(pitch, a4 float64) float64 { return a4 * math.Exp2((pitch-69)/12) }

// decayGain is the gain in one period of f0 (Hz) that makes a partial fall by
// 60 dB in t60 seconds: 10^(-3/(f0 T60)).
func decayGain(f0, t60 float64) float64 { return math.Pow(10, -3/(f0*t60)) }

// onePoleDelay is the phase delay in samples of 1/(1 + a z^-1) at w radians a
// sample.
func onePoleDelay(a, w float64) float64 {
	return math.Atan2(-a*math.Sin(w), 1+a*math.Cos(w)) / w
}

// onePoleGain is |(1+a)/(1 + a e^-jw)|.
func onePoleGain(a, w float64) float64 {
	s := math.Sin(w / 2)
	return (1 + a) / math.Sqrt((1+a)*(1+a)-4*a*s*s)
}

// lagrange3 are the taps of the third-order Lagrange interpolator for a delay
// of d samples: h_k = prod (d-m)/(k-m). Only 1 <= d <= 2 keeps its gain at or
// below 1 (Laakso et al., Splitting the unit delay, IEEE SP Magazine 13(1)).
func lagrange3(d float64) [4]float64 {
	return [4]float64{
		-(d - 1) * (d - 2) * (d - 3) / 6,
		d * (d - 2) * (d - 3) / 2,
		-d * (d - 1) * (d - 3) / 2,
		d * (d - 1) * (d - 2) / 6,
	}
}

// lagrangeGain is the magnitude of the interpolator at w radians a sample.
func lagrangeGain(h [4]float64, w float64) float64 {
	var re, im float64
	for k, c := range h {
		s, co := math.Sincos(w * float64(k))
		re += c * co
		im -= c * s
	}
	return math.Hypot(re, im)
}

// maxLoopGain keeps every loop stable with room for rounding.
const maxLoopGain = 0.9999

// A loop is the design of one string at one pitch: delay samples in a line,
// the four taps after it, and the loss filter g(1+a)/(1 + a z^-1).
type loop struct {
	delay int
	taps  [4]float64
	g, a  float64
}

// newLoop tunes a string of f0 Hz at rate frames a second whose fundamental
// falls by 60 dB in low seconds and whose partials near 2 kHz in high seconds.
// A one-pole filter cannot lose more below than above: high is taken as at
// most 0.85 of low.
func newLoop(rate, f0, low, high float64) loop {
	f0 = min(max(f0, 20, rate/maxPeriod), rate/8) // a period of 8 to maxPeriod samples
	low = max(low, 1e-3)
	high = min(max(high, 1e-3), 0.85*low)
	fn := min(max(2000, 1.5*f0), 0.45*rate)
	w0, wn := 2*math.Pi*f0/rate, 2*math.Pi*fn/rate
	period := rate / f0

	// |H|^2 = g^2 / (1 + K s) with s = sin^2(w/2), K = -4a/(1+a)^2.
	s0, sn := sq(math.Sin(w0/2)), sq(math.Sin(wn/2))
	g0, gn := decayGain(f0, low), decayGain(f0, high)
	r := sq(g0 / gn)
	k := 40.0
	if d := sn - r*s0; d > 0 {
		k = min((r-1)/d, k)
	}
	// dc loses least; it may not reach 1.
	if lim := (sq(maxLoopGain/g0) - 1) / s0; k > lim {
		k = max(lim, 0)
	}
	l := loop{a: -k / (k + 2 + 2*math.Sqrt(k+1))}

	total := period - onePoleDelay(l.a, w0)
	l.delay = int(math.Floor(total - 1))
	l.taps = lagrange3(total - float64(l.delay))
	l.g = min(g0/onePoleGain(l.a, w0)/lagrangeGain(l.taps, w0), maxLoopGain)
	return l
}

// gain is the gain once round the loop at w radians a sample.
func (l loop) gain(w float64) float64 {
	return l.g * onePoleGain(l.a, w) * lagrangeGain(l.taps, w)
}

func sq(x float64) float64 { return x * x }
