package synth

import "math"

// A cabinet is a second-order lowpass of both channels with a dc blocker behind
// it: in the loops the blocker would detune them, and the modes hold no dc.
type cabinet struct {
	b, a1, a2 float64
	dc        float64 // pole of the blocker
	l, r      struct{ x1, x2, y1, y2, out float64 }
}

// newCabinet is the bilinear lowpass of corner hz, quality q and gain at dc.
func newCabinet(rate, hz, q, gain float64) cabinet {
	hz = min(hz, 0.45*rate)
	s, c := math.Sincos(2 * math.Pi * hz / rate)
	alpha := s / (2 * q)
	a0 := 1 + alpha
	return cabinet{
		b: gain * (1 - c) / 2 / a0, a1: 2 * c / a0, a2: (alpha - 1) / a0,
		dc: math.Exp(-2 * math.Pi * 12 / rate), // a corner of 12 Hz: 0.1 dB at E2
	}
}

// process writes what left and right become to outL and outR.
func (f *cabinet) process(left, right []float32, outL, outR []float64) {
	b, a1, a2, dc := f.b, f.a1, f.a2, f.dc
	l, r := f.l, f.r
	right, outL, outR = right[:len(left)], outL[:len(left)], outR[:len(left)]
	for i, v := range left {
		x := b * float64(v)
		y := (x + 2*l.x1 + l.x2 + a2*l.y2) + a1*l.y1
		l.out = (y - l.y1) + dc*l.out
		l.x2, l.x1, l.y2, l.y1 = l.x1, x, l.y1, y
		outL[i] = l.out

		x = b * float64(right[i])
		y = (x + 2*r.x1 + r.x2 + a2*r.y2) + a1*r.y1
		r.out = (y - r.y1) + dc*r.out
		r.x2, r.x1, r.y2, r.y1 = r.x1, x, r.y1, y
		outR[i] = r.out
	}
	f.l, f.r = l, r
}

// A resonator is one body mode: poles of radius exp(-pi f/(Q rate)), zeros at
// dc and half the rate, so its gain is 1 at f and 0 at dc.
// Its gain to the left is in b; right is how much more goes to the right, so
// that two of them fit into the registers of a processor.
type resonator struct {
	a1, a2, b float64
	y1, y2    float64
	right     float64
}

func newResonator(rate float64, m mode) resonator {
	r := math.Exp(-math.Pi * m.hz / (m.q * rate))
	w := 2 * math.Pi * m.hz / rate
	side := (m.side + 1) * math.Pi / 4 // less than a right angle
	return resonator{
		a1: 2 * r * math.Cos(w), a2: -r * r,
		b:     (1 - r*r) / 2 * m.gain * math.Sqrt2 * math.Cos(side),
		right: math.Tan(side),
	}
}

// A body is what the strings are heard through: themselves behind a cabinet's
// lowpass, and the modes of the wood.
type body struct {
	cab    cabinet
	modes  []resonator
	x1, x2 float64
}

func newBody(rate float64, t *tone) *body {
	b := &body{cab: newCabinet(rate, t.cabinet, t.cabQ, t.direct)}
	for _, m := range t.modes {
		if m.hz < 0.4*rate {
			b.modes = append(b.modes, newResonator(rate, m))
		}
	}
	if len(b.modes)%2 == 1 {
		b.modes = append(b.modes, resonator{}) // they are reckoned two at a time
	}
	return b
}

// process turns the strings into the instrument, in place; knock goes to the
// modes alone. A block is a
// quantum at most.
func (b *body) process(left, right, knock []float32) {
	var diffs, sumsL, sumsR [quantum]float64
	n := len(left)
	right, knock = right[:n], knock[:n]
	diff, sumL, sumR := diffs[:n], sumsL[:n], sumsR[:n]
	x1, x2 := b.x1, b.x2
	for i, l := range left {
		// The strings stand near the middle: the mean of the channels is what
		// they do to the bridge, within 0.15 dB.
		x := (float64(l)+float64(right[i]))*(math.Sqrt2/2) + float64(knock[i])
		diff[i] = x - x2
		x2, x1 = x1, x
	}
	b.x1, b.x2 = x1, x2
	b.cab.process(left, right, sumL, sumR)
	// Two modes at a time: their recursions run side by side.
	for k := 0; k+1 < len(b.modes); k += 2 {
		p, q := &b.modes[k], &b.modes[k+1]
		pa1, pa2, pb, pr := p.a1, p.a2, p.b, p.right
		qa1, qa2, qb, qr := q.a1, q.a2, q.b, q.right
		p1, p2, q1, q2 := p.y1, p.y2, q.y1, q.y2
		for i, d := range diff {
			y := pa1*p1 + (pa2*p2 + pb*d)
			p2, p1 = p1, y
			z := qa1*q1 + (qa2*q2 + qb*d)
			q2, q1 = q1, z
			sumL[i] += y + z
			sumR[i] += pr*y + qr*z
		}
		p.y1, p.y2, q.y1, q.y2 = p1, p2, q1, q2
	}
	for i := range left {
		left[i], right[i] = float32(sumL[i]), float32(sumR[i])
	}
}

func (b *body) reset() {
	b.cab.l.x1, b.cab.l.x2, b.cab.l.y1, b.cab.l.y2, b.cab.l.out = 0, 0, 0, 0, 0
	b.cab.r = b.cab.l
	for k := range b.modes {
		b.modes[k].y1, b.modes[k].y2 = 0, 0
	}
	b.x1, b.x2 = 0, 0
}
