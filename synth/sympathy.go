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
	damp, dampTo, step float32 // the finger's factor, walking
	dampLeft, walk     int     // for how long, and how long it takes
	hand, taken        float32 // gains of the two ways to damp it
}

func newAnswer(c *course) *answer {
	a := &answer{line: newLine(), left: c.left, right: c.right}
	f0 := hertz(c.open, c.a4)
	a.line.begin(newLoop(c.rate, f0, c.t.t60At(c.open), c.t.t60High, 0))
	own := a.l.gain(2 * math.Pi * f0 / c.rate)
	a.in = float32(answerLevel * (1 - own))
	a.hand = float32(a.l.damping(c.rate, f0, handDamp))
	a.taken = float32(a.l.damping(c.rate, f0, takenDamp))
	a.damp, a.dampTo = 1, 1
	a.walk = int(0.01*c.rate) + 1
	return a
}

// want says how the string is held from the next quantum on.
func (a *answer) want(c *course, anyHeld bool) {
	to := float32(1)
	switch {
	case c.sounding:
		to = a.taken
	case !anyHeld || c.palm > 0:
		to = a.hand
	}
	if to != a.dampTo {
		a.dampTo = to
		a.dampLeft = a.walk
		a.step = (to - a.damp) / float32(a.walk)
	}
}

// run adds what the string answers to a quantum of in to left and right.
func (a *answer) run(in, left, right []float32) {
	var tmp [quantum]float32
	free := a.dampTo == 1
	for len(in) > 0 {
		n := a.ready(len(in))
		step := float32(0)
		if a.dampLeft > 0 {
			n = min(n, a.dampLeft)
			step = a.step
		}
		seg, out, x, l, r := tmp[:n], a.buf[a.w:][:n], in[:n], left[:n], right[:n]
		a.read(seg)
		pole, lp, damp := -a.l.a32, a.lp, a.damp
		gain, toL, toR := a.in, a.left, a.right
		if !free {
			gain = 0
		}
		// The stiffness filter of a loop without stiffness is one sample's delay.
		was := a.ap
		for i, u := range seg {
			y := damp*was + gain*x[i]
			lp = u + pole*lp
			was = lp
			out[i] = y
			l[i] += toL * y
			r[i] += toR * y
			damp += step
		}
		a.lp, a.ap = lp, was
		if a.dampLeft -= n; a.dampLeft > 0 {
			a.damp = damp
		} else {
			a.damp = a.dampTo
		}
		a.w += n
		in, left, right = in[n:], left[n:], right[n:]
	}
}

// settle puts the string to rest when it swings no more.
func (a *answer) settle() {
	if a.quiet(a.l.delay) {
		a.rest()
		a.active = false
		a.damp, a.dampLeft = a.dampTo, 0
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

// run adds what the free strings answer to a quantum of left and right to them;
// loud says that there is something to answer.
func (h *choir) run(courses []*course, loud bool, left, right []float32) {
	var in [quantum]float32
	if loud {
		s1, s2 := h.s1, h.s2
		low, up, lowPole, upPole := h.low*(math.Sqrt2/2), h.up, 1-h.low, 1-h.up
		right := right[:len(left)]
		for i, l := range left {
			x := l + right[i]
			s1 = low*x + lowPole*s1
			s2 = up*(x*(math.Sqrt2/2)-s1) + upPole*s2
			in[i&(quantum-1)] = s2
		}
		h.s1, h.s2 = s1, s2
	} else {
		h.s1, h.s2 = 0, 0
	}
	h.sounding = false
	for _, a := range h.answers {
		if !a.active {
			if !loud || a.dampTo != 1 {
				a.damp, a.dampLeft = a.dampTo, 0
				continue
			}
			a.active = true
		}
		a.run(in[:len(left)], left, right)
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
