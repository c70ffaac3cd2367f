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

// process turns the strings into the instrument, in place. A block is a
// quantum at most.
func (b *body) process(left, right, mono []float32) {
	var diff, sumL, sumR [quantum]float64
	n := len(mono)
	for i, m := range mono {
		x := float64(m)
		diff[i] = x - b.x2
		b.x2, b.x1 = b.x1, x
		sumL[i] = b.direct * b.cabL.process(float64(left[i]))
		sumR[i] = b.direct * b.cabR.process(float64(right[i]))
	}
	// Two modes at a time: their recursions run side by side.
	k := 0
	for ; k+1 < len(b.modes); k += 2 {
		p, q := &b.modes[k], &b.modes[k+1]
		pa1, pa2, pb, pl, pr := p.a1, p.a2, p.b, p.left, p.right
		qa1, qa2, qb, ql, qr := q.a1, q.a2, q.b, q.left, q.right
		p1, p2, q1, q2 := p.y1, p.y2, q.y1, q.y2
		for i, d := range diff[:n] {
			y := pa1*p1 + (pa2*p2 + pb*d)
			p2, p1 = p1, y
			z := qa1*q1 + (qa2*q2 + qb*d)
			q2, q1 = q1, z
			sumL[i] += pl*y + ql*z
			sumR[i] += pr*y + qr*z
		}
		p.y1, p.y2, q.y1, q.y2 = p1, p2, q1, q2
	}
	if k < len(b.modes) {
		p := &b.modes[k]
		p1, p2 := p.y1, p.y2
		for i, d := range diff[:n] {
			y := p.a1*p1 + (p.a2*p2 + p.b*d)
			p2, p1 = p1, y
			sumL[i] += p.left * y
			sumR[i] += p.right * y
		}
		p.y1, p.y2 = p1, p2
	}
	// One dc blocker after the mix; in the loops it would detune them.
	for i := range left[:n] {
		l, r := sumL[i], sumR[i]
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
