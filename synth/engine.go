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
	events  []queued
	next    int   // first of events not yet obeyed
	stem    int   // which part the events to come belong to
	now     int64 // first frame of the next quantum to be made
	courses []*course
	bass    *course
	click   *clicker
	buses   []*bus // one, or one a stem
	mix     lane   // of the buses
	limit   *limiter
	gain    float32
	have    int // frames of mix not yet given
	primed  bool

	want   atomic.Int32 // what FadeOut and FadeIn asked for
	level  float64      // where the fade is, 0 to 1
	idle   atomic.Bool
	ending bool
}

type event struct {
	at  int64
	msg [3]byte
}

type queued struct {
	event
	stem int
}

// A bus is the instrument as one part of the music makes it sound: everything
// after the strings is linear, so that parts made apart add up to the whole.
type bus struct {
	left, right [quantum]float32
	knock       [quantum]float32 // what shakes the body beside the strings
	choir       *choir
	body        *body
	room        *room
	out         lane
	loud        bool // a string of its own sounds
	quiet       int  // quanta it has been below silent with nothing ringing
}

// rest is how many quanta of quiet are longer than the room's longest way.
const rest = 64

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
			pan = 0.22 * (1 - 2*float64(place(o.Open, i))/float64(n-1))
		}
		e.courses = append(e.courses, newCourse(t, e.rate, o.A4, float64(p), pan, o.Seed*16+uint64(stringChannel(i))))
	}
	e.bass = newCourse(&bassTone, e.rate, o.A4, bassOpen, 0, o.Seed*16+BassChannel)
	e.click = newClicker(e.rate, o.Seed*16+ClickChannel)
	for range max(o.Stems, 1) {
		e.buses = append(e.buses, &bus{choir: newChoir(e.courses, e.rate), body: newBody(e.rate, t), room: newRoom(e.rate, t.room)})
	}
	e.limit = newLimiter(e.rate)
	e.gain = float32(math.Pow(10, o.Gain/20))
	e.events = make([]queued, 0, 1024)
	e.emit = e.take
	e.idle.Store(true)
	return e, nil
}

// place is how many strings are higher than string i, or equal and before it.
func place(open []int, i int) int {
	n := 0
	for k, p := range open {
		if p > open[i] || p == open[i] && k < i {
			n++
		}
	}
	return n
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

// Stem says to which part, 0 to Options.Stems-1, the events belong that the
// feeder emits from now on. A part keeps its notes until they have died away,
// whatever takes their strings. Call it from Fill.
func (e *Engine) Stem(k int) {
	e.stem = min(max(k, 0), len(e.buses)-1)
}

// Render writes the next len(out)/2 frames, left and right in turn, each
// sample within -1 dB of full scale. The blocks may have any size and change
// it: the sound is the same to the bit.
func (e *Engine) Render(out []float32) { e.RenderStems(out, nil) }

// RenderStems is Render that gives each part of the music too, in blocks as
// long as out: what stem k sounds like goes to stems[k]. All parts have the
// limiter's gain for the whole, so that they add up to out to rounding.
// There may be no more blocks than Options.Stems.
func (e *Engine) RenderStems(out []float32, stems [][]float32) {
	if !e.primed {
		e.primed = true
		e.make() // the limiter looks a quantum ahead
	}
	for done := 0; len(out)-done >= 2; {
		if e.have == 0 {
			e.make()
			e.have = quantum
		}
		n := min(e.have, (len(out)-done)/2)
		from := quantum - e.have
		e.mix.copy(out[done:done+2*n], from)
		for k, s := range stems {
			if e.opt.Stems > 0 {
				e.buses[k].out.copy(s[done:done+2*n], from)
			} else {
				copy(s[done:done+2*n], out[done:]) // the whole is the only part
			}
		}
		e.have -= n
		done += 2 * n
	}
	clear(out[len(out)&^1:])
}

// take queues an event. One that comes late or out of order is obeyed as soon
// as those before it.
func (e *Engine) take(at int64, msg [3]byte) {
	at = max(at, e.now)
	if n := len(e.events); n > e.next {
		at = max(at, e.events[n-1].at)
	}
	e.events = append(e.events, queued{event{at, msg}, e.stem})
}

// make renders the next quantum and leaves the one before it, limited, in left
// and right.
func (e *Engine) make() {
	until := e.now + quantum
	for _, b := range e.buses {
		clear(b.left[:])
		clear(b.right[:])
		clear(b.knock[:])
	}
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
		e.obey(ev)
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
	resting := true
	for _, b := range e.buses {
		b.loud = sounding
		if e.opt.Stems > 0 { // its part may be silent while others sound
			b.loud = samplePeak(b.left[:]) >= silent || samplePeak(b.right[:]) >= silent
		}
		b.choir.run(e.courses, b.loud, b.left[:], b.right[:])
		b.loud = b.loud || b.choir.sounding
		if b.loud {
			b.quiet = 0
		}
		resting = resting && b.quiet > rest
	}
	if resting && !sounding {
		if e.want.Load() == fadeOut && e.level > 0 {
			e.level = 0 // nothing is left to fade
			e.hush()
		}
		e.finish(true)
		return
	}
	for _, b := range e.buses {
		b.process()
	}
	if e.gain != 1 {
		for _, b := range e.buses {
			for i := range b.left {
				b.left[i] *= e.gain
				b.right[i] *= e.gain
			}
		}
	}
	e.fade()
	e.finish(false)
}

// process makes the instrument of what the strings do, or silence when they and
// it have been silent long enough: what would be left decays into denormal
// numbers.
func (b *bus) process() {
	if b.quiet > rest {
		clear(b.left[:])
		clear(b.right[:])
		return
	}
	b.body.process(b.left[:], b.right[:], b.knock[:])
	b.room.process(b.left[:], b.right[:])
	if b.loud || samplePeak(b.left[:]) >= silent || samplePeak(b.right[:]) >= silent {
		b.quiet = 0
		return
	}
	if b.quiet++; b.quiet > rest {
		b.reset()
	}
}

func (b *bus) reset() {
	b.choir.reset()
	b.body.reset()
	b.room.reset()
}

// finish passes the quantum through the limiter and sees whether all is over.
func (e *Engine) finish(silence bool) {
	if e.opt.Stems == 0 {
		b := e.buses[0]
		g, step := e.limit.look(b.left[:], b.right[:])
		e.mix.pass(&b.left, &b.right, g, step, maxPeak)
	} else {
		var left, right [quantum]float32
		for _, b := range e.buses {
			for i := range left {
				left[i] += b.left[i]
				right[i] += b.right[i]
			}
		}
		g, step := e.limit.look(left[:], right[:])
		e.mix.pass(&left, &right, g, step, maxPeak)
		for _, b := range e.buses {
			// A part may stand out where another cancels it in the whole.
			b.out.pass(&b.left, &b.right, g, step, math.MaxFloat32)
		}
	}
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
	for i := range quantum {
		e.level = min(max(e.level+step, 0), 1)
		g := float32(0.5 - 0.5*math.Cos(math.Pi*e.level))
		for _, b := range e.buses {
			b.left[i] *= g
			b.right[i] *= g
		}
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
	for _, b := range e.buses {
		b.reset()
	}
	e.events, e.next = e.events[:0], 0
}

// run adds frames from to to of the quantum.
func (e *Engine) run(from, to int) {
	if from >= to {
		return
	}
	for _, c := range e.courses {
		c.run(e.buses, from, to)
	}
	e.bass.run(e.buses, from, to)
	e.click.run(e.buses, from, to)
}

// obey acts on one MIDI message. What it does not know it leaves alone.
func (e *Engine) obey(ev queued) {
	msg := ev.msg
	status, ch := msg[0]&0xf0, int(msg[0]&0x0f)
	a, b := int(msg[1]&0x7f), int(msg[2]&0x7f)
	if ch == ClickChannel {
		switch {
		case status == 0x90 && b > 0:
			e.click.noteOn(a, b, ev.stem)
		case status == 0xb0:
			e.click.control(a, b)
		}
		return
	}
	var c *course
	switch {
	case ch == BassChannel:
		c = e.bass
	case ch > ClickChannel:
		ch -= 2
		fallthrough
	default:
		if ch >= len(e.courses) {
			return
		}
		c = e.courses[ch]
	}
	switch status {
	case 0x90:
		if b == 0 {
			c.noteOff(a, 64) // a note-on of velocity 0 is a note-off of velocity 64
		} else {
			c.noteOn(a, b, ev.stem)
		}
	case 0x80:
		c.noteOff(a, b)
	case 0xb0:
		c.control(a, b)
	}
}
