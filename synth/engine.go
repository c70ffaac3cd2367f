package synth

import (
	"math"
	"sync/atomic"
)

// quantum is how many frames are made at a time, on a grid of absolute frames.
// The caller's blocks are cut from these, so they cannot change the sound;
// events still act at their own sample.
const quantum = 64

// A Feeder hands an engine its music. Fill emits, in order, every event due
// before the frame until and after those it has emitted; frames count from the
// start of the engine. It says whether there is more to come. Fill is called
// from Render, so it must not wait; until runs up to two quanta of 64 frames
// ahead of what Render has given.
type Feeder interface {
	Fill(until int64, emit func(at int64, msg [3]byte)) (more bool)
}

// An Engine turns MIDI messages into stereo sound. Render belongs to one
// goroutine; Idle, FadeOut and FadeIn may be called from any other.
type Engine struct {
	opt     Options
	rate    float64
	feeder  Feeder
	more    bool
	emit    func(at int64, msg [3]byte)
	events  []event
	next    int   // first of events not yet obeyed
	now     int64 // first frame of the next quantum to be made
	courses []*course
	bass    *course
	click   *clicker
	body    *body
	room    *room
	limit   *limiter
	gain    float32
	quiet   int // quanta the mix has been below silent with nothing ringing

	left, right, mono [quantum]float32
	have              int // frames of left, right not yet given
	primed            bool

	want   atomic.Int32 // what FadeOut and FadeIn asked for
	level  float64      // where the fade is, 0 to 1
	idle   atomic.Bool
	ending bool
}

type event struct {
	at  int64
	msg [3]byte
}

// fadeTime is how long starting and stopping take, s.
const fadeTime = 0.015

const (
	fadeIn = iota
	fadeOut
)

// NewEngine builds the instrument. It fails when an option is out of range.
func NewEngine(o Options) (*Engine, error) {
	o, t, err := o.checked()
	if err != nil {
		return nil, err
	}
	e := &Engine{opt: o, rate: float64(o.Rate), level: 1}
	n := len(o.Open)
	for i, p := range o.Open {
		pan := 0.0
		if n > 1 {
			pan = 0.22 * (1 - 2*float64(i)/float64(n-1))
		}
		e.courses = append(e.courses, newCourse(t, e.rate, o.A4, float64(p), pan, o.Seed*16+uint64(i)))
	}
	e.bass = newCourse(&bassTone, e.rate, o.A4, bassOpen, 0, o.Seed*16+BassChannel)
	e.click = newClicker(e.rate, o.Seed*16+ClickChannel)
	e.body = newBody(e.rate, t)
	e.room = newRoom(e.rate, t.room)
	e.limit = newLimiter(e.rate)
	e.gain = float32(math.Pow(10, o.Gain/20))
	e.events = make([]event, 0, 1024)
	e.emit = e.take
	e.idle.Store(true)
	return e, nil
}

// Rate is the sample rate in frames a second.
func (e *Engine) Rate() int { return e.opt.Rate }

// SetFeeder says where the events come from, from the next frame on. Call it
// before Render or between two calls of it.
func (e *Engine) SetFeeder(f Feeder) {
	e.feeder = f
	e.more = f != nil
	if e.more {
		e.idle.Store(false)
	}
}

// Idle reports that the feeder has no more events, nothing sounds, and all
// that did has been rendered.
func (e *Engine) Idle() bool { return e.idle.Load() }

// FadeOut silences the engine within about 20 ms, without a click. It then
// renders zeros, pulls no events, forgets what rang, and is idle, while its
// frames go on counting.
func (e *Engine) FadeOut() { e.want.Store(fadeOut) }

// FadeIn lets the engine sound again after FadeOut.
func (e *Engine) FadeIn() {
	e.idle.Store(false)
	e.want.Store(fadeIn)
}

// Render writes the next len(out)/2 frames, left and right in turn, each
// sample within -1 dB of full scale. The blocks may have any size and change
// it: the sound is the same to the bit.
func (e *Engine) Render(out []float32) {
	if !e.primed {
		e.primed = true
		e.make() // the limiter looks a quantum ahead
	}
	for len(out) >= 2 {
		if e.have == 0 {
			e.make()
			e.have = quantum
		}
		n := min(e.have, len(out)/2)
		from := quantum - e.have
		for i := range n {
			out[2*i] = e.left[from+i]
			out[2*i+1] = e.right[from+i]
		}
		e.have -= n
		out = out[2*n:]
	}
	clear(out)
}

// take queues an event. One that comes late or out of order is obeyed as soon
// as those before it.
func (e *Engine) take(at int64, msg [3]byte) {
	at = max(at, e.now)
	if n := len(e.events); n > e.next {
		at = max(at, e.events[n-1].at)
	}
	e.events = append(e.events, event{at, msg})
}

// make renders the next quantum and leaves the one before it, limited, in left
// and right.
func (e *Engine) make() {
	until := e.now + quantum
	clear(e.left[:])
	clear(e.right[:])
	clear(e.mono[:])

	if e.want.Load() == fadeOut && e.level == 0 {
		e.now = until
		e.finish(true)
		return
	}
	if e.more {
		e.more = e.feeder.Fill(until, e.emit)
	}
	from := 0
	for e.next < len(e.events) && e.events[e.next].at < until {
		ev := e.events[e.next]
		e.next++
		if k := int(ev.at - e.now); k > from {
			e.run(from, k)
			from = k
		}
		e.obey(ev.msg)
	}
	e.run(from, quantum)
	if e.next == len(e.events) {
		e.events, e.next = e.events[:0], 0
	} else if e.next > 512 {
		e.events = e.events[:copy(e.events, e.events[e.next:])]
		e.next = 0
	}
	e.now = until

	sounding := e.click.active
	for _, c := range e.courses {
		c.settle()
		sounding = sounding || c.sounding
	}
	e.bass.settle()
	sounding = sounding || e.bass.sounding
	if sounding {
		e.quiet = 0
	}
	// Rested: 64 quanta of quiet are longer than the room's longest way.
	if !sounding && e.quiet > 64 {
		if e.want.Load() == fadeOut && e.level > 0 {
			e.level = 0 // nothing is left to fade
			e.hush()
		}
		e.finish(true)
		return
	}
	e.body.process(e.left[:], e.right[:], e.mono[:])
	e.room.process(e.left[:], e.right[:])
	if !sounding && samplePeak(e.left[:]) < silent && samplePeak(e.right[:]) < silent {
		if e.quiet++; e.quiet > 64 {
			e.body.reset()
			e.room.reset()
		}
	} else {
		e.quiet = 0
	}
	if e.gain != 1 {
		for i := range e.left {
			e.left[i] *= e.gain
			e.right[i] *= e.gain
		}
	}
	e.fade()
	e.finish(false)
}

// finish passes the quantum through the limiter and sees whether all is over.
func (e *Engine) finish(silence bool) {
	e.limit.process(e.left[:], e.right[:])
	// What waits in the limiter is silent now; what it gave may not be.
	over := silence && (!e.more && len(e.events) == e.next || e.level == 0)
	if over && e.ending {
		if !e.idle.Load() {
			e.idle.Store(true)
		}
	}
	e.ending = over
}

// fade follows FadeOut and FadeIn with a raised cosine.
func (e *Engine) fade() {
	out := e.want.Load() == fadeOut
	if !out && e.level == 1 {
		return
	}
	step := 1 / (fadeTime * e.rate)
	if out {
		step = -step
	}
	for i := range e.left {
		e.level = min(max(e.level+step, 0), 1)
		g := float32(0.5 - 0.5*math.Cos(math.Pi*e.level))
		e.left[i] *= g
		e.right[i] *= g
	}
	if e.level == 0 {
		e.hush()
	}
}

// hush forgets everything that rings or waits.
func (e *Engine) hush() {
	for _, c := range e.courses {
		c.rest()
	}
	e.bass.rest()
	clear(e.click.hits[:])
	e.click.active = false
	e.body.reset()
	e.room.reset()
	e.events, e.next = e.events[:0], 0
}

// run adds frames from to to of the quantum.
func (e *Engine) run(from, to int) {
	if from >= to {
		return
	}
	l, r, m := e.left[from:to], e.right[from:to], e.mono[from:to]
	for _, c := range e.courses {
		c.run(l, r, m)
	}
	e.bass.run(l, r, m)
	e.click.run(l, r, m)
}

// obey acts on one MIDI message. What it does not know it leaves alone.
func (e *Engine) obey(msg [3]byte) {
	status, ch := msg[0]&0xf0, int(msg[0]&0x0f)
	a, b := int(msg[1]&0x7f), int(msg[2]&0x7f)
	if ch == ClickChannel {
		switch {
		case status == 0x90 && b > 0:
			e.click.noteOn(a, b)
		case status == 0xb0:
			e.click.control(a, b)
		}
		return
	}
	var c *course
	switch {
	case ch < len(e.courses):
		c = e.courses[ch]
	case ch == BassChannel:
		c = e.bass
	default:
		return
	}
	switch status {
	case 0x90:
		if b == 0 {
			c.noteOff(a, 64) // a note-on of velocity 0 is a note-off of velocity 64
		} else {
			c.noteOn(a, b)
		}
	case 0x80:
		c.noteOff(a, b)
	case 0xb0:
		c.control(a, b)
	}
}
