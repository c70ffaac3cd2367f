package synth

import "math"

const (
	roomT60 = 0.42 // s; small, and gone long before two seconds
	roomLen = 8192
)

// A room is a small one: four delay lines that feed each other through an
// orthogonal matrix, each losing treble on its way.
type room struct {
	wet    float32
	lines  [4][]float32
	mask   uint32
	w      uint32
	delay  [4]uint32
	gain   [4]float32
	lp     [4]float32
	damp   float32
	hp, hx float32
	hpPole float32
}

func newRoom(rate, wet float64) *room {
	r := &room{wet: float32(wet)}
	n := uint32(1)
	for float64(n) < 0.032*rate+2 {
		n *= 2
	}
	r.mask = n - 1
	for i, ms := range [4]float64{13.7, 18.3, 23.9, 30.1} {
		r.lines[i] = make([]float32, n)
		d := math.Round(ms * rate / 1000)
		r.delay[i] = uint32(d)
		r.gain[i] = float32(math.Pow(10, -3*d/rate/roomT60))
	}
	r.damp = float32(1 - math.Exp(-2*math.Pi*min(3200, 0.4*rate)/rate))
	r.hpPole = float32(math.Exp(-2 * math.Pi * 150 / rate)) // a room this small holds no bass
	return r
}

// process adds the room to left and right.
func (r *room) process(left, right []float32) {
	if r.wet == 0 {
		return
	}
	l0, l1, l2, l3 := r.lines[0], r.lines[1], r.lines[2], r.lines[3]
	m := r.mask
	for i := range left {
		x := (left[i] + right[i]) * 0.5
		r.hp = x - r.hx + r.hpPole*r.hp
		r.hx = x
		x = r.hp
		w := r.w
		a := l0[(w-r.delay[0])&m] * r.gain[0]
		b := l1[(w-r.delay[1])&m] * r.gain[1]
		c := l2[(w-r.delay[2])&m] * r.gain[2]
		d := l3[(w-r.delay[3])&m] * r.gain[3]
		r.lp[0] += r.damp * (a - r.lp[0])
		r.lp[1] += r.damp * (b - r.lp[1])
		r.lp[2] += r.damp * (c - r.lp[2])
		r.lp[3] += r.damp * (d - r.lp[3])
		a, b, c, d = r.lp[0], r.lp[1], r.lp[2], r.lp[3]
		// Hadamard over 2: orthogonal, so the lines' own gains set the decay.
		s, t, u, v := a+b, a-b, c+d, c-d
		l0[w&m] = x + 0.5*(s+u)
		l1[w&m] = x + 0.5*(t+v)
		l2[w&m] = -x + 0.5*(s-u)
		l3[w&m] = x + 0.5*(t-v)
		r.w++
		left[i] += r.wet * (a - c + 0.5*d)
		right[i] += r.wet * (b + d - 0.5*c)
	}
}

func (r *room) reset() {
	for i := range r.lines {
		clear(r.lines[i])
		r.lp[i] = 0
	}
	r.hp, r.hx = 0, 0
}
