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

// lagrangeGain is the magnitude of the interpolator at w radians a sample: of a
// sum of four phasors, by the cosines of their differences.
func lagrangeGain(h [4]float64, w float64) float64 {
	c := math.Cos(w)
	c2 := 2*c*c - 1
	c3 := 2*c*c2 - c
	return math.Sqrt(h[0]*h[0] + h[1]*h[1] + h[2]*h[2] + h[3]*h[3] +
		2*(c*(h[0]*h[1]+h[1]*h[2]+h[2]*h[3])+c2*(h[0]*h[2]+h[1]*h[3])+c3*h[0]*h[3]))
}

// maxLoopGain keeps every loop stable with room for rounding.
const maxLoopGain = 0.9999

// allpassDelay is the phase delay in samples of (c + z^-1)/(1 + c z^-1) at w
// radians a sample.
func allpassDelay(c, w float64) float64 {
	return 1 + 2/w*math.Atan2(-c*math.Sin(w), 1+c*math.Cos(w))
}

// A loop is the design of one string at one pitch: delay samples in a line,
// the four taps after it, the loss filter g(1+a)/(1 + a z^-1), and an allpass
// (c + z^-1)/(1 + c z^-1) that is slower below than above, as a stiff string is.
type loop struct {
	delay int
	taps  [4]float64
	g, a  float64
	c     float64

	// What the samples go through; the loss filter's gain is in the taps.
	h        [4]float32
	a32, c32 float32
}

// newLoop tunes a string of f0 Hz at rate frames a second whose fundamental
// falls by 60 dB in low seconds and whose partials near 2 kHz in high seconds.
// A one-pole filter cannot lose more below than above: high is taken as at
// most 0.85 of low. Partial n lies at n f0 sqrt((1 + B n^2)/(1 + B)), B being
// the stiffness (Fletcher, JASA 36), as far as one allpass can: to about the
// tenth; then they come together again.
func newLoop(rate, f0, low, high, stiffness float64) loop {
	f0 = min(max(f0, 20, rate/maxPeriod), rate/8) // a period of 8 to maxPeriod samples
	low = max(low, 1e-3)
	high = min(max(high, 1e-3), 0.85*low)
	fn := min(max(2000, 1.5*f0), 0.45*rate)
	w0, wn := 2*math.Pi*f0/rate, 2*math.Pi*fn/rate
	period := rate / f0

	g0 := decayGain(f0, low)
	// What is near 2 kHz comes round sooner than the fundamental when the string
	// is stiff: after the loop's group delay. Which needs the filter that is
	// sought, so it is found in two rounds.
	var l loop
	around := period
	for range 2 {
		gn := math.Pow(10, -3*around/rate/high)
		// |H|^2 = g^2 / (1 + K s) with s = sin^2(w/2), K = -4a/(1+a)^2.
		s0, sn := sq(math.Sin(w0/2)), sq(math.Sin(wn/2))
		r := sq(g0 / gn)
		k := 40.0
		if d := sn - r*s0; d > 0 {
			k = min(max((r-1)/d, 0), k)
		}
		// dc loses least; it may not reach 1.
		if lim := (sq(maxLoopGain/g0) - 1) / s0; k > lim {
			k = max(lim, 0)
		}
		l.a = -k / (k + 2 + 2*math.Sqrt(k+1))
		l.c = l.stiffen(rate, f0, stiffness)
		around = period - l.own(w0) + l.own(wn) + wn*(l.own(1.01*wn)-l.own(0.99*wn))/(0.02*wn)
	}

	return l.retuned(rate, f0, low)
}

// retuned is a loop of the same filters, but f0 Hz and low seconds.
func (l loop) retuned(rate, f0, low float64) loop {
	w0 := 2 * math.Pi * f0 / rate
	total := rate/f0 - l.own(w0)
	l.delay = max(int(math.Floor(total-1)), 1)
	l.taps = lagrange3(total - float64(l.delay))
	l.g = min(decayGain(f0, low)/onePoleGain(l.a, w0)/lagrangeGain(l.taps, w0), maxLoopGain)
	for i, t := range l.taps {
		l.h[i] = float32(t * l.g * (1 + l.a))
	}
	l.a32, l.c32 = float32(l.a), float32(l.c)
	return l
}

// own is the phase delay of the loop's two filters in samples.
func (l loop) own(w float64) float64 { return onePoleDelay(l.a, w) + allpassDelay(l.c, w) }

// stiffen is the allpass coefficient that sets the tenth partial, or the
// highest below 4 kHz, where the stiffness wants it: there the loop must be
// shorter than at the fundamental. The loss filter does a part of that.
func (l loop) stiffen(rate, f0, stiffness float64) float64 {
	n := min(max(math.Floor(min(4000, 0.3*rate)/f0), 2), 10)
	period, w0 := rate/f0, 2*math.Pi*f0/rate
	sharp := math.Sqrt((1 + stiffness*n*n) / (1 + stiffness))
	wn := min(n*sharp*w0, 3)
	want := period - period/sharp
	shorter := func(c float64) float64 {
		l.c = c
		return l.own(w0) - l.own(wn)
	}
	if stiffness <= 0 || shorter(0) >= want {
		return 0
	}
	// A pole near 1 would ring, and a quarter of the period is left to it.
	worst := min(0.95, (period/4-1)/(period/4+1))
	lo, hi := 0.0, worst
	for range 14 {
		if mid := (lo + hi) / 2; shorter(-mid) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return -lo
}

// gain is the gain once round the loop at w radians a sample.
func (l loop) gain(w float64) float64 {
	return l.g * onePoleGain(l.a, w) * lagrangeGain(l.taps, w)
}

// damping is the factor on the gain of a loop of f0 Hz at which it falls by 60 dB
// in t60 s, 1 where it falls as soon by itself. What is near 0 Hz falls slowest, at
// high pitches much slower than the note: it has three times as long, no more.
func (l loop) damping(rate, f0, t60 float64) float64 {
	return min(decayGain(f0, t60)/l.gain(2*math.Pi*f0/rate), decayGain(f0, 3*t60)/l.g, 1)
}

func sq(x float64) float64 { return x * x }
