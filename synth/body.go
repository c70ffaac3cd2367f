package synth

import "math"

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

func (f *biquad) reset() { f.s1, f.s2 = 0, 0 }

// lowpass is the bilinear second-order lowpass of corner hz and quality q.
func lowpass(rate, hz, q float64) biquad {
	hz = min(hz, 0.45*rate)
	w := 2 * math.Pi * hz / rate
	s, c := math.Sincos(w)
	alpha := s / (2 * q)
	a0 := 1 + alpha
	return biquad{
		b0: (1 - c) / 2 / a0, b1: (1 - c) / a0, b2: (1 - c) / 2 / a0,
		a1: -2 * c / a0, a2: (1 - alpha) / a0,
	}
}

// A resonator is one body mode: poles of radius exp(-pi f/(Q rate)), zeros at
// dc and half the rate, so its gain is 1 at f and 0 at dc.
type resonator struct {
	a1, a2, b   float64
	x1, x2      float64 // last inputs are shared by all, see body
	y1, y2      float64
	left, right float64
}

func newResonator(rate float64, m mode) resonator {
	r := math.Exp(-math.Pi * m.hz / (m.q * rate))
	w := 2 * math.Pi * m.hz / rate
	return resonator{
		a1: 2 * r * math.Cos(w), a2: -r * r, b: (1 - r*r) / 2,
		left:  m.gain * math.Sqrt2 * math.Cos((m.side+1)*math.Pi/4),
		right: m.gain * math.Sqrt2 * math.Sin((m.side+1)*math.Pi/4),
	}
}

// A body is what the strings are heard through: themselves behind a cabinet's
// lowpass, and the modes of the wood.
type body struct {
	direct   float64
	cabL     biquad
	cabR     biquad
	modes    []resonator
	x1, x2   float64
	dc       float64 // pole of the dc blocker
	inL, inR float64
	outL     float64
	outR     float64
}

func newBody(rate float64, t *tone) *body {
	b := &body{direct: t.direct}
	b.cabL = lowpass(rate, t.cabinet, t.cabQ)
	b.cabR = b.cabL
	for _, m := range t.modes {
		if m.hz < 0.4*rate {
			b.modes = append(b.modes, newResonator(rate, m))
		}
	}
	// A corner of 12 Hz: 0.1 dB at E2.
	b.dc = math.Exp(-2 * math.Pi * 12 / rate)
	return b
}

// process turns the strings into the instrument, in place.
func (b *body) process(left, right, mono []float32) {
	for i, m := range mono {
		l := b.direct * b.cabL.process(float64(left[i]))
		r := b.direct * b.cabR.process(float64(right[i]))
		x := float64(m)
		d := x - b.x2
		b.x2, b.x1 = b.x1, x
		for k := range b.modes {
			q := &b.modes[k]
			y := q.a1*q.y1 + q.a2*q.y2 + q.b*d
			q.y2, q.y1 = q.y1, y
			l += q.left * y
			r += q.right * y
		}
		// One dc blocker after the mix; in the loops it would detune them.
		b.outL = l - b.inL + b.dc*b.outL
		b.outR = r - b.inR + b.dc*b.outR
		b.inL, b.inR = l, r
		left[i], right[i] = float32(b.outL), float32(b.outR)
	}
}

func (b *body) reset() {
	b.cabL.reset()
	b.cabR.reset()
	for k := range b.modes {
		b.modes[k].y1, b.modes[k].y2 = 0, 0
	}
	b.x1, b.x2, b.inL, b.inR, b.outL, b.outR = 0, 0, 0, 0, 0, 0
}
