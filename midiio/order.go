package midiio

import (
	"math"
	"slices"
	"sync"
)

// An OrderKind is what a player may ask of a running cursor.
type OrderKind uint8

// The orders. Pause, Stop, Next and Mute end the notes they concern at once.
// Next leaves the current pass with what repeats it has left; the next pass
// begins there and then. Tempo waits for the seam.
const (
	Pause OrderKind = iota
	Resume
	Stop
	Next
	Mute   // Layers
	Unmute // Layers, from their next notes on
	Tempo  // Factor, on top of the scales of the passes
)

// An Order asks something of a cursor. It is obeyed at frame At or, when that
// has gone by, at the frame the cursor has reached; so 0 is at once.
type Order struct {
	Kind   OrderKind
	At     int64
	Layers LayerSet
	Factor float64 // not above 0, or not a number: ignored
}

// mailbox takes orders from any goroutine.
type mailbox struct {
	mu     sync.Mutex
	orders []Order // by At, equal ones as they came
}

// Send puts an order into the cursor's mailbox.
func (c *Cursor) Send(o Order) {
	c.mail.mu.Lock()
	defer c.mail.mu.Unlock()
	i := len(c.mail.orders)
	for i > 0 && c.mail.orders[i-1].At > o.At {
		i--
	}
	c.mail.orders = slices.Insert(c.mail.orders, i, o)
}

// due takes out the first order to be obeyed at now; without one, at is the
// frame of the next.
func (m *mailbox) due(now int64) (o Order, at int64, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.orders) == 0 {
		return o, math.MaxInt64, false
	}
	if o = m.orders[0]; o.At > now {
		return o, o.At, false
	}
	m.orders = slices.Delete(m.orders, 0, 1)
	return o, 0, true
}

// obey does what an order says at c.now.
func (c *Cursor) obey(o Order, emit func(int64, [3]byte)) {
	switch o.Kind {
	case Pause:
		if c.paused {
			return
		}
		c.silence(c.now, AllLayers, emit)
		c.paused = true
		c.mark(false)
	case Resume:
		if !c.paused {
			return
		}
		c.paused = false
		c.mark(true)
	case Stop:
		c.silence(c.now, AllLayers, emit)
		c.done = true
		c.record(placement{at: c.now, played: c.played, done: true})
	case Next:
		c.silence(c.now, AllLayers, emit)
		// After the last time through, or in a count-in not yet begun, load
		// has gone on already.
		if c.piece != nil && c.piece.pass == c.index && (c.piece.countIn || c.time > 0) {
			c.leave()
		}
		c.counted = false
		c.sum.SetInt64(c.now)
		c.end = c.now
		c.piece = nil
		c.paused = false
		c.load()
	case Mute:
		c.muted |= o.Layers
		c.silence(c.now, o.Layers, emit)
	case Unmute:
		c.muted &^= o.Layers
	case Tempo:
		if o.Factor > 0 && !math.IsInf(o.Factor, 1) {
			c.factor = o.Factor
		}
	}
}

// mark notes in the history that the piece stands still or goes on.
func (c *Cursor) mark(running bool) {
	if c.piece != nil {
		c.record(placement{at: c.now, piece: c.piece, into: c.now - c.start, played: c.played, running: running})
	}
}
