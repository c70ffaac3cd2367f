package midiio

import (
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// An OrderKind is what a player may ask of a running cursor.
type OrderKind uint8

// The orders. Pause, Stop, Next, Again, Switch and Mute end the notes they
// concern at once. Next leaves the current pass with what repeats it has left;
// the next pass begins there and then. Again begins the current pass (in a
// count-in, the one counted in) anew, counted in as it says or, if it says
// nothing, as the first pass of the practice. Switch leaves the practice for
// another one, from its own beginning; layers that were muted stay so, the
// factor of an earlier Tempo is gone. Next, Again and Switch end a pause.
//
// Tempo waits for the seam, in a count-in for the one after its pass. It is
// about the practice of the last Switch sent before it and void while another
// plays.
const (
	Pause OrderKind = iota
	Resume
	Stop
	Next
	Mute   // Layers; the clicks of a count-in and of time alone are heard all the same
	Unmute // Layers, from their next notes on
	Tempo  // Factor, on top of the scales of the passes
	Again
	Switch // To
)

// An Order asks something of a cursor. It is obeyed at frame At or, when that
// has gone by, at the frame the cursor has reached; so 0 is at once.
type Order struct {
	Kind   OrderKind
	At     int64
	Layers LayerSet
	Factor float64   // not above 0, or not a number: ignored
	To     *Prepared // by a cursor of the same rate; otherwise ignored
}

// A letter is an order with what is laid out for it.
type letter struct {
	Order
	plan *plan
	sum  tally // with room for the lengths of plan
}

// mailbox takes orders from any goroutine.
type mailbox struct {
	next    atomic.Int64 // At of the first letter; math.MaxInt64 without one
	mu      sync.Mutex
	letters []letter  // by At, equal ones as they came
	latest  *Prepared // of the last Switch
}

func (m *mailbox) init(first *Prepared) {
	m.latest = first
	m.look()
}

// look takes note of when to look into the box: nobody has to wait for an order
// that is not there.
func (m *mailbox) look() {
	next := int64(math.MaxInt64)
	if len(m.letters) > 0 {
		next = m.letters[0].At
	}
	m.next.Store(next)
}

// Send puts an order into the cursor's mailbox. For Tempo it first lays out the
// practice at the new tempo, for as long as that takes.
func (c *Cursor) Send(o Order) {
	l := letter{Order: o}
	m := &c.mail
	switch o.Kind {
	case Tempo:
		if !(o.Factor > 0) || math.IsInf(o.Factor, 1) {
			return
		}
		m.mu.Lock()
		about := m.latest
		m.mu.Unlock()
		l.plan = about.lay(o.Factor)
		l.sum = newTally(l.plan)
	case Switch:
		if o.To == nil || o.To.src.rate != c.rate {
			return
		}
		l.plan = o.To.plain
		l.sum = newTally(l.plan)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if o.Kind == Switch {
		m.latest = o.To
	}
	i := len(m.letters)
	for i > 0 && m.letters[i-1].At > o.At {
		i--
	}
	m.letters = slices.Insert(m.letters, i, l)
	m.look()
}

// due takes out the first order to be obeyed at now; without one, at is the
// frame of the next.
func (m *mailbox) due(now int64) (l letter, at int64, ok bool) {
	if at := m.next.Load(); at > now {
		return l, at, false
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	l = m.letters[0] // one goroutine takes them out, and none puts a later one first
	m.letters = slices.Delete(m.letters, 0, 1)
	m.look()
	return l, 0, true
}

// obey does what an order says at c.now.
func (c *Cursor) obey(o letter, emit func(int64, [3]byte)) {
	switch o.Kind {
	case Pause:
		if c.paused {
			return
		}
		if !c.started {
			c.advance(c.now, emit) // so that there is a place to stand at
		}
		c.halt(c.now, emit)
		c.endAll(false, emit)
		c.paused = true
		c.stand(false)
	case Resume:
		if !c.paused {
			return
		}
		c.paused = false
		c.stand(true)
		c.press(emit)
		c.goOn(emit)
	case Stop:
		c.finish(c.now, emit)
		c.endAll(true, emit)
	case Next:
		if c.started {
			c.at = c.plan.left(c.at)
		}
		c.started = true
		c.anew(false, emit)
	case Again:
		if c.started && !c.counted {
			c.played--
		}
		c.started = true
		c.anew(true, emit)
	case Switch:
		c.plan, c.sum, c.want = o.plan, o.sum, nil
		c.at, c.played, c.started = spot{}, 0, true
		c.before++
		c.meet(c.plan.Prepared)
		c.anew(false, emit)
	case Mute:
		c.muted |= o.Layers
		c.silence(c.now, o.Layers, emit)
	case Unmute:
		c.muted &^= o.Layers
	case Tempo:
		if o.plan.Prepared == c.plan.Prepared {
			c.want, c.wantSum = o.plan, o.sum
		}
	}
}

// stand notes in the history that the piece stands still or goes on.
func (c *Cursor) stand(running bool) {
	c.record(placement{at: c.now, piece: c.piece, into: c.now - c.start, running: running})
}
