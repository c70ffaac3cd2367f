package synth

import "math"

const (
	maxPeriod = 8000
	// chunk is how many samples a delay line takes before its last period is
	// moved to its front.
	chunk = 512
	// silent is -120 dBFS: what rings below it is put to rest, since a decay
	// left alone ends in denormal numbers that cost many times as much.
	silent = 1e-6
)

// A line is one way of a string to swing: a delay loop.
type line struct {
	l   loop
	buf []float32
	w   int // where the next sample goes

	t1, t2, t3 float32 // the last three samples read
	lp         float32 // loss filter's state
	ap         float32 // stiffness filter's last output
}

func newLine() line { return line{buf: make([]float32, maxPeriod+8+chunk)} }

// begin empties the line and gives it another loop.
func (s *line) begin(l loop) {
	s.rest()
	s.l, s.w = l, l.delay
}

// rest leaves every state at exactly zero.
func (s *line) rest() {
	clear(s.buf[:s.used()])
	s.w = s.l.delay
	s.t1, s.t2, s.t3, s.lp, s.ap = 0, 0, 0, 0, 0
}

// used is how much of the buffer the loop needs.
func (s *line) used() int { return s.l.delay + chunk }

// ready makes room for the next samples, as many as it says: n at most, and no
// more than have been written already when they come round.
func (s *line) ready(n int) int {
	if s.w == s.used() {
		copy(s.buf, s.buf[s.w-s.l.delay:s.w])
		s.w = s.l.delay
	}
	return min(n, s.used()-s.w, s.l.delay)
}

// read puts what comes round next through the interpolator.
func (s *line) read(out []float32) {
	h0, h1, h2, h3 := s.l.h[0], s.l.h[1], s.l.h[2], s.l.h[3]
	t1, t2, t3 := s.t1, s.t2, s.t3
	in := s.buf[s.w-s.l.delay:]
	in = in[:len(out)]
	for len(in) >= 4 { // four at a time leave the samples in their places
		x, y := (*[4]float32)(in), (*[4]float32)(out)
		a, b, c, d := x[0], x[1], x[2], x[3]
		y[0] = (h0*a + h1*t1) + (h2*t2 + h3*t3)
		y[1] = (h0*b + h1*a) + (h2*t1 + h3*t2)
		y[2] = (h0*c + h1*b) + (h2*a + h3*t1)
		y[3] = (h0*d + h1*c) + (h2*b + h3*a)
		t1, t2, t3 = d, c, b
		in, out = in[4:], out[4:]
	}
	out = out[:len(in)]
	for i, t0 := range in {
		out[i] = (h0*t0 + h1*t1) + (h2*t2 + h3*t3)
		t3, t2, t1 = t2, t1, t0
	}
	s.t1, s.t2, s.t3 = t1, t2, t3
}

// quiet says that the last n samples are below silent.
func (s *line) quiet(n int) bool {
	for i := s.w - 1; i >= max(s.w-n, 0); i-- {
		if y := s.buf[i]; y >= silent || y <= -silent {
			return false
		}
	}
	return true
}

// A voice is one sounding string: what was plucked once and rings in two delay
// lines, one for each way it swings, across the top and along it. A string has
// several voices, so that the old note can be damped while the new one starts.
type voice struct {
	across, along line
	share         float32 // of the stroke that goes along

	active bool
	period float64
	f0     float64

	// The finger on the string: a factor on the loop's gain that walks to its
	// target in left samples.
	damp, dampStep, dampTo float32
	dampLeft               int

	// The voice's own way out when its string is plucked again or all sound
	// must end: a raised cosine of fadeLen samples; fadeLen 0 means none.
	fadeAt, fadeLen int

	pluck  []float32 // what the stroke puts into the loop
	scrape []float32 // what is heard of the finger beside the loop
	knock  []float32 // what shakes the body alone
	at     int

	stem int // whose part it is
}

func newVoice(rate float64) *voice {
	return &voice{
		across: newLine(), along: newLine(),
		pluck:  make([]float32, 0, 2*int(min(maxPeriod, rate/20))+int(0.04*rate)+64),
		scrape: make([]float32, 0, int(0.012*rate)+8),
		knock:  make([]float32, 0, int(knockTime*rate)+8),
	}
}

// rest puts the voice to sleep with every state at exactly zero.
func (v *voice) rest() {
	v.across.rest()
	v.along.rest()
	v.active = false
	v.fadeLen, v.fadeAt, v.dampLeft = 0, 0, 0
	v.pluck, v.scrape, v.knock, v.at = v.pluck[:0], v.scrape[:0], v.knock[:0], 0
}

// begin starts the voice from rest; pluck and scrape are filled by the caller.
func (v *voice) begin(across, along loop, share, f0, period float64) {
	v.rest()
	v.across.begin(across)
	v.along.begin(along)
	v.share = float32(share)
	v.active = true
	v.f0, v.period = f0, period
	v.damp, v.dampTo, v.dampStep = 1, 1, 0
}

// dampTowards lets the string fall by 60 dB in t60 s from now on, if that is
// sooner than it falls already. The gain walks there over a period, and over
// 3 ms at least: a step in it would be heard.
func (v *voice) dampTowards(rate, t60 float64) {
	want := float32(v.across.l.damping(rate, v.f0, t60))
	if want >= v.dampTo {
		return
	}
	v.dampTo = want
	v.dampLeft = int(max(v.period, 0.003*rate)) + 1
	v.dampStep = (v.dampTo - v.damp) / float32(v.dampLeft)
}

// fade lets the voice end within n samples. A fade that ends sooner stands.
func (v *voice) fade(n int) {
	if v.fadeLen > 0 && v.fadeLen-v.fadeAt <= n {
		return
	}
	if v.fadeLen > 0 { // go on from where the old fade is, only faster
		x := float64(v.fadeAt) / float64(v.fadeLen)
		v.fadeLen = int(float64(n)/(1-x)) + 1
		v.fadeAt = int(x * float64(v.fadeLen))
		return
	}
	v.fadeLen, v.fadeAt = max(n, 1), 0
}

// run adds the next len(out) samples to out, and to body what shakes it beside.
func (v *voice) run(out, body []float32) {
	if v.at < len(v.knock) {
		for i, x := range v.knock[v.at:min(v.at+len(out), len(v.knock))] {
			body[i] += x
		}
	}
	if v.fadeLen > 0 {
		var tmp [quantum]float32
		part := tmp[:len(out)]
		v.ring(part)
		angle := math.Pi / float64(v.fadeLen)
		turn := 2 * math.Cos(angle)
		c0, c1 := math.Cos(angle*float64(v.fadeAt-1)), math.Cos(angle*float64(v.fadeAt)) // of the sample before and of this one
		for i, y := range part[:min(len(part), v.fadeLen-v.fadeAt)] {
			out[i] += y * float32(0.5+0.5*c1)
			c0, c1 = c1, turn*c1-c0
			v.fadeAt++
		}
		if v.fadeAt >= v.fadeLen {
			v.rest()
		}
		return
	}
	v.ring(out)
}

// ring adds the string's next samples to out, without the fade.
func (v *voice) ring(out []float32) {
	// The stroke first: what is left of it, with the string already running.
	if v.at < len(v.pluck) {
		n := min(len(v.pluck)-v.at, len(out))
		v.loop(out[:n], v.pluck[v.at:v.at+n])
		for i := range n {
			if k := v.at + i; k < len(v.scrape) {
				out[i] += v.scrape[k]
			}
		}
		v.at += n
		out = out[n:]
	}
	if len(out) > 0 {
		v.loop(out, nil)
	}
}

// loop runs the two delay loops. x is what is put in, or nil.
func (v *voice) loop(out, x []float32) {
	if v.share == 0 {
		v.loopAcross(out, x)
		return
	}
	p, q := &v.across, &v.along
	var readP, readQ [quantum]float32
	for len(out) > 0 {
		n := q.ready(p.ready(min(len(out), quantum)))
		damp, step := v.dampTo, float32(0)
		if v.dampLeft > 0 {
			n = min(n, v.dampLeft)
			v.dampLeft -= n
			damp, step = v.damp, v.dampStep
		}
		inP, inQ := readP[:n], readQ[:n]
		p.read(inP)
		q.read(inQ)
		seg := out[:n]
		newP, newQ := p.buf[p.w:][:n], q.buf[q.w:][:n]
		pa, qa := -p.l.a32, -q.l.a32
		pc, qc := p.l.c32, q.l.c32
		pl, ql, pap, qap := p.lp, q.lp, p.ap, q.ap
		for i, u := range inP {
			// Loss, then stiffness: an allpass (c + z^-1)/(1 + c z^-1).
			l := u + pa*pl
			pap = (pc*l + pl) - pc*pap
			pl = l
			m := inQ[i] + qa*ql
			qap = (qc*m + ql) - qc*qap
			ql = m
			y, z := damp*pap, damp*qap
			newP[i], newQ[i] = y, z
			seg[i] += y + z
			damp += step
		}
		p.lp, q.lp, p.ap, q.ap = pl, ql, pap, qap
		v.damp = damp
		// The stroke comes round no sooner than the next turn of this loop.
		if len(x) > 0 {
			for i, in := range x[:n] {
				along := v.share * in
				newP[i] += in
				newQ[i] += along
				seg[i] += in + along
			}
			x = x[n:]
		}
		p.w += n
		q.w += n
		out = out[n:]
	}
}

// loopAcross is loop for a string that swings across the top alone: the same
// sound at half the price.
func (v *voice) loopAcross(out, x []float32) {
	p := &v.across
	var read [quantum]float32
	for len(out) > 0 {
		n := p.ready(min(len(out), quantum))
		damp, step := v.dampTo, float32(0)
		if v.dampLeft > 0 {
			n = min(n, v.dampLeft)
			v.dampLeft -= n
			damp, step = v.damp, v.dampStep
		}
		p.read(read[:n])
		seg, buf := out[:n], p.buf[p.w:][:n]
		a, c, lp, ap := -p.l.a32, p.l.c32, p.lp, p.ap
		for i, u := range read[:n] {
			l := u + a*lp
			ap = (c*l + lp) - c*ap
			lp = l
			y := damp * ap
			buf[i] = y
			seg[i] += y
			damp += step
		}
		p.lp, p.ap, v.damp = lp, ap, damp
		if len(x) > 0 {
			for i, in := range x[:n] {
				buf[i] += in
				seg[i] += in
			}
			x = x[n:]
		}
		p.w += n
		out = out[n:]
	}
}

// settle puts the voice to rest when a whole period stayed below silent. It is
// called on a grid of absolute frames, never on the caller's blocks.
func (v *voice) settle() {
	if v.at < len(v.pluck) {
		return
	}
	if n := int(v.period) + 2; v.across.quiet(n) && v.along.quiet(n) {
		v.rest()
	}
}
