package synth

import "math"

// Sympathetic strings: those that nobody stops answer what the others play, one
// way only, so that nothing can build up. They swing while a note is held on
// another string; where none is, the hand lies on them.
const (
	answerLevel = 0.08  // of what drives them, at their own pitch, in the long run (start value, ours)
	answerLow   = 80.0  // what drives them is cut below, Hz
	answerHigh  = 1600. // and above
	handDamp    = 0.25  // decay time under the hand, s
	takenDamp   = 0.08  // and of a string that is about to be played, s
)

// An answer is one open string that is driven by the others.
type answer struct {
	line
	active             bool
	left, right        float32
	in                 float32 // how much of what drives it goes in
	damp, dampTo, step float32
	hand, taken        float32 // gains of the two ways to damp it
}

func newAnswer(c *course) *answer {
	a := &answer{line: newLine(), left: c.left, right: c.right}
	f0 := hertz(c.open, c.a4)
	a.line.begin(newLoop(c.rate, f0, c.t.t60At(c.open), c.t.t60High, 0))
	own := a.l.gain(2 * math.Pi * f0 / c.rate)
	a.in = float32(answerLevel * (1 - own))
	a.hand = float32(min(decayGain(f0, handDamp)/own, 1))
	a.taken = float32(min(decayGain(f0, takenDamp)/own, 1))
	a.damp, a.dampTo = 1, 1
	a.step = float32(1 / (0.01 * c.rate)) // from free to stopped in 10 ms
	return a
}

// want says how the string is held from the next quantum on.
func (a *answer) want(c *course, anyHeld bool) {
	switch {
	case c.sounding:
		a.dampTo = a.taken
	case !anyHeld || c.palm > 0:
		a.dampTo = a.hand
	default:
		a.dampTo = 1
	}
}

// run adds what the string answers to a quantum of in to out.
func (a *answer) run(in, left, right, mono []float32) {
	var tmp [quantum]float32
	free := a.dampTo == 1
	for len(in) > 0 {
		n := a.ready(len(in))
		seg, out := tmp[:n], a.buf[a.w:][:n]
		a.read(seg)
		pole, lp, damp := -a.l.a32, a.lp, a.damp
		gain := a.in
		if !free {
			gain = 0
		}
		// The stiffness filter of a loop without stiffness is one sample's delay.
		was := a.ap
		for i, u := range seg {
			if damp < a.dampTo {
				damp = min(damp+a.step, a.dampTo)
			} else if damp > a.dampTo {
				damp = max(damp-a.step, a.dampTo)
			}
			y := damp*was + gain*in[i]
			lp = u + pole*lp
			was = lp
			out[i] = y
			left[i] += a.left * y
			right[i] += a.right * y
			mono[i] += y
		}
		a.lp, a.ap, a.damp = lp, was, damp
		a.w += n
		in, left, right, mono = in[n:], left[n:], right[n:], mono[n:]
	}
}

// settle puts the string to rest when it swings no more.
func (a *answer) settle() {
	if a.quiet(a.l.delay) {
		a.rest()
		a.active = false
		a.damp = a.dampTo
	}
}

// A choir is all the strings of the instrument as answers, with what drives
// them.
type choir struct {
	answers  []*answer
	low, up  float32 // poles of the band
	s1, s2   float32
	sounding bool
}

func newChoir(courses []*course, rate float64) *choir {
	h := &choir{
		low: float32(1 - math.Exp(-2*math.Pi*answerLow/rate)),
		up:  float32(1 - math.Exp(-2*math.Pi*min(answerHigh, 0.4*rate)/rate)),
	}
	for _, c := range courses {
		h.answers = append(h.answers, newAnswer(c))
	}
	return h
}

// run adds what the free strings answer to a quantum of mono to left, right and
// mono itself.
func (h *choir) run(courses []*course, left, right, mono []float32) {
	var in [quantum]float32
	loud := samplePeak(mono) >= silent
	if loud {
		s1, s2 := h.s1, h.s2
		for i, x := range mono {
			s1 += h.low * (x - s1)
			s2 += h.up * (x - s1 - s2)
			in[i] = s2
		}
		h.s1, h.s2 = s1, s2
	} else {
		h.s1, h.s2 = 0, 0
	}
	h.sounding = false
	for _, a := range h.answers {
		if !a.active {
			if !loud || a.dampTo != 1 {
				a.damp = a.dampTo
				continue
			}
			a.active = true
		}
		a.run(in[:len(mono)], left, right, mono)
		if !loud || a.dampTo != 1 {
			a.settle()
		}
		h.sounding = h.sounding || a.active
	}
	// What was played in this quantum acts on the next one: no sooner than it
	// happened.
	anyHeld := false
	for _, c := range courses {
		anyHeld = anyHeld || c.held != nil && c.palm == 0
	}
	for k, a := range h.answers {
		a.want(courses[k], anyHeld)
	}
}

func (h *choir) reset() {
	for _, a := range h.answers {
		if a.active {
			a.rest()
			a.active = false
		}
	}
	h.s1, h.s2, h.sounding = 0, 0, false
}
