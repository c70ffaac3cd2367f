package synth

import "math"

const roomT60 = 0.42 // s; small, and gone long before two seconds

// A room is a small one: four delay lines that feed each other through an
// orthogonal matrix, each losing treble on its way.
type room struct {
	wet    float32
	ways   [4]way
	lp     [4]float32
	loss   float32 // pole of the lowpass of each way
	hp, hx float32
	hpPole float32
}

// A way is one delay line, as the strings' are: samples are written one behind
// the other, and what is still to be heard is moved to the front now and then.
type way struct {
	buf   []float32
	w     int
	delay int     // never below a quantum
	gain  float32 // of what comes round, with the lowpass's own
}

const roomChunk = 16 * quantum

func newRoom(rate, wet float64) *room {
	r := &room{wet: float32(wet)}
	damp := 1 - math.Exp(-2*math.Pi*min(3200, 0.4*rate)/rate)
	r.loss = float32(1 - damp)
	for i, ms := range [4]float64{13.7, 18.3, 23.9, 30.1} {
		d := max(int(math.Round(ms*rate/1000)), quantum)
		r.ways[i] = way{
			buf: make([]float32, d+roomChunk), w: d, delay: d,
			gain: float32(damp * math.Pow(10, -3*float64(d)/rate/roomT60)),
		}
	}
	r.hpPole = float32(math.Exp(-2 * math.Pi * 150 / rate)) // a room this small holds no bass
	return r
}

// turn is the next n samples to read and the place of those to write.
func (y *way) turn(n int) (read, write []float32) {
	if y.w+n > len(y.buf) {
		copy(y.buf, y.buf[y.w-y.delay:y.w])
		y.w = y.delay
	}
	read, write = y.buf[y.w-y.delay:][:n], y.buf[y.w:][:n]
	y.w += n
	return read, write
}

// process adds the room to left and right, a quantum at most.
func (r *room) process(left, right []float32) {
	if r.wet == 0 {
		return
	}
	n := len(left)
	right = right[:n]
	ra, wa := r.ways[0].turn(n)
	rb, wb := r.ways[1].turn(n)
	rc, wc := r.ways[2].turn(n)
	rd, wd := r.ways[3].turn(n)
	ra, rb, rc, rd = ra[:n], rb[:n], rc[:n], rd[:n]
	wa, wb, wc, wd = wa[:n], wb[:n], wc[:n], wd[:n]
	ga, gb, gc, gd := r.ways[0].gain, r.ways[1].gain, r.ways[2].gain, r.ways[3].gain
	a, b, c, d := r.lp[0], r.lp[1], r.lp[2], r.lp[3]
	hp, hx, pole, loss, wet := r.hp, r.hx, r.hpPole, r.loss, r.wet
	for i, l := range left {
		x := (l + right[i]) * 0.5
		hp = (x - hx) + pole*hp
		hx = x
		a = ga*ra[i] + loss*a
		b = gb*rb[i] + loss*b
		c = gc*rc[i] + loss*c
		d = gd*rd[i] + loss*d
		// Hadamard over 2: orthogonal, so the ways' own gains set the decay.
		s, t, u, v := 0.5*(a+b), 0.5*(a-b), 0.5*(c+d), 0.5*(c-d)
		wa[i] = hp + (s + u)
		wb[i] = hp + (t + v)
		wc[i] = (s - u) - hp
		wd[i] = hp + (t - v)
		left[i] = l + wet*(a-c+0.5*d)
		right[i] += wet * (b + d - 0.5*c)
	}
	r.lp = [4]float32{a, b, c, d}
	r.hp, r.hx = hp, hx
}

func (r *room) reset() {
	for i := range r.ways {
		clear(r.ways[i].buf)
	}
	r.lp = [4]float32{}
	r.hp, r.hx = 0, 0
}
