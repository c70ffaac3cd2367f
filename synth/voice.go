package synth

import "math"

const (
	lineLen   = 8192 // a power of two, so that an index is masked and needs no check
	maxPeriod = 8000
	// silent is -120 dBFS: what rings below it is put to rest, since a decay
	// left alone ends in denormal numbers that cost many times as much.
	silent = 1e-6
)

// A voice is one sounding string: what was plucked once and rings in a delay
// line. A string has several, so that the old note can be damped while the new
// one starts.
type voice struct {
	line [lineLen]float32
	w    uint32 // where the next sample goes

	active bool
	l      loop
	period float64
	f0     float64

	t1, t2, t3 float32 // the last three samples read
	lp         float32 // loss filter's state

	// The finger on the string: a factor on the loop's gain that walks to its
	// target in left samples.
	damp, dampStep, dampTo float32
	dampLeft               int

	// The voice's own way out when its string is plucked again or all sound
	// must end: a raised cosine of fadeLen samples; fadeLen 0 means none.
	fadeAt, fadeLen int

	pluck  []float32 // what the stroke puts into the loop
	scrape []float32 // what is heard of the finger beside the loop
	at     int

	stem int // whose part it is
}

func newVoice(rate float64) *voice {
	return &voice{
		pluck:  make([]float32, 0, 2*int(min(maxPeriod, rate/20))+int(0.04*rate)+64),
		scrape: make([]float32, 0, int(0.012*rate)+8),
	}
}

// rest puts the voice to sleep with every state at exactly zero.
func (v *voice) rest() {
	clear(v.line[:])
	v.active = false
	v.t1, v.t2, v.t3, v.lp = 0, 0, 0, 0
	v.fadeLen, v.fadeAt, v.dampLeft = 0, 0, 0
	v.pluck, v.scrape, v.at = v.pluck[:0], v.scrape[:0], 0
}

// begin starts the voice from rest; pluck and scrape are filled by the caller.
func (v *voice) begin(l loop, f0, period float64) {
	v.rest()
	v.active = true
	v.l, v.f0, v.period = l, f0, period
	v.damp, v.dampTo, v.dampStep = 1, 1, 0
}

// dampTowards lets the string fall by 60 dB in t60 s from now on, if that is
// sooner than it falls already. The gain walks there over a period, and over
// 3 ms at least: a step in it would be heard.
func (v *voice) dampTowards(rate, t60 float64) {
	want := float32(min(decayGain(v.f0, t60)/v.l.gain(2*math.Pi*v.f0/rate), 1))
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

// run adds the next len(out) samples to out.
func (v *voice) run(out []float32) {
	if v.fadeLen > 0 {
		var tmp [quantum]float32
		part := tmp[:len(out)]
		v.ring(part)
		for i, y := range part {
			if v.fadeAt >= v.fadeLen {
				break
			}
			out[i] += y * float32(0.5+0.5*math.Cos(math.Pi*float64(v.fadeAt)/float64(v.fadeLen)))
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

// loop runs the delay loop. x is what is put in, or nil.
func (v *voice) loop(out, x []float32) {
	h0, h1, h2, h3 := float32(v.l.taps[0]), float32(v.l.taps[1]), float32(v.l.taps[2]), float32(v.l.taps[3])
	a, b := float32(v.l.a), float32(v.l.g*(1+v.l.a))
	t1, t2, t3, lp := v.t1, v.t2, v.t3, v.lp
	w, r := v.w, v.w-uint32(v.l.delay)
	damp, step := v.damp, v.dampStep
	line := &v.line
	for len(out) > 0 {
		n := len(out)
		if v.dampLeft > 0 {
			n = min(n, v.dampLeft)
			v.dampLeft -= n
		} else {
			damp, step = v.dampTo, 0
		}
		seg := out[:n]
		if len(x) > 0 {
			in := x[:n]
			for i := range seg {
				t0 := line[r&(lineLen-1)]
				lp = b*(h0*t0+h1*t1+h2*t2+h3*t3) - a*lp
				t3, t2, t1 = t2, t1, t0
				y := damp*lp + in[i]
				damp += step
				line[w&(lineLen-1)] = y
				seg[i] += y
				r++
				w++
			}
			x = x[n:]
		} else {
			for i := range seg {
				t0 := line[r&(lineLen-1)]
				lp = b*(h0*t0+h1*t1+h2*t2+h3*t3) - a*lp
				t3, t2, t1 = t2, t1, t0
				y := damp * lp
				damp += step
				line[w&(lineLen-1)] = y
				seg[i] += y
				r++
				w++
			}
		}
		out = out[n:]
	}
	v.t1, v.t2, v.t3, v.lp = t1, t2, t3, lp
	v.w = w
	v.damp = damp
}

// settle puts the voice to rest when a whole period stayed below silent. It is
// called on a grid of absolute frames, never on the caller's blocks.
func (v *voice) settle() {
	if v.at < len(v.pluck) {
		return
	}
	for i := uint32(1); i <= uint32(v.period)+1; i++ {
		if y := v.line[(v.w-i)&(lineLen-1)]; y >= silent || y <= -silent {
			return
		}
	}
	v.rest()
}
