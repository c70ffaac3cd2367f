package midiio

import (
	"math/big"
	"time"
)

// MIDI clock (MIDI 1.0): who follows counts 24 clocks to the quarter from where
// it was told to start, with a song position in sixteenths of 6 clocks each.
const (
	perClock     Tick = PerQuarter / 24
	perSixteenth Tick = PerQuarter / 4
	// lastPosition is the highest that 14 bits tell.
	lastPosition = 1<<14 - 1
	// startLead is how long before its first clock a follower is started, where
	// there is time for it: it has to get ready.
	startLead = 2 * time.Millisecond
	// maxClocks is how many the passes of a practice may have in all: more than
	// a day of clocks at 100 a minute, in 80 MB.
	maxClocks = 1 << 22
)

type markKind uint8

const (
	clockMark markKind = iota // the clock number n, counted from tick 0
	readyMark                 // just before that clock, which begins a sixteenth
	nextMark                  // just before the piece that comes
	restMark                  // the music rests from here on, or is over
)

// A mark is a moment of the MIDI clock, at frames from the start of its piece.
type mark struct {
	at   int64
	n    int32
	kind markKind
}

// clocks is how many clocks the passes have, those that sound alike once.
func (p *Practice) clocks() (n Tick) {
	known := map[Pass]bool{}
	for _, q := range p.Passes {
		if q = q.plain(); !known[q] {
			known[q] = true
			n += (q.To - q.From + q.Tail) / perClock
		}
	}
	return n
}

// layClock makes the marks of a piece: a clock at each of the ticks of the
// sequence that have one. In a count-in and in a tail they go on in the same
// distance.
func (p *piece) layClock(rate int64) {
	first, line := p.pass.From, Tick(0) // line is what makes a tick here one of the sequence
	if p.countIn {
		first, line = 0, p.pass.From-p.end
	}
	// The last frame on this side of the seam.
	last := max(new(big.Int).Quo(p.exact.Num(), p.exact.Denom()).Int64()-1, 0)
	frame := func(t Tick) int64 { return min(max(p.ruler.at(t, 0), 0), last) }
	lead := rate * int64(startLead) / int64(time.Second)
	rests, rested := p.end > p.to, false
	rest := func() {
		p.clock = append(p.clock, mark{at: frame(p.to), kind: restMark})
		rested = true
	}
	before := int64(-1) // the clock before
	for n := ceilDiv(first+line, perClock); n*perClock-line < p.end; n++ {
		t := n*perClock - line
		at := frame(t)
		if rests && !rested && t >= p.to {
			rest()
		}
		if !p.countIn && !rested && n%(perSixteenth/perClock) == 0 && at > 0 {
			p.clock = append(p.clock, mark{min(max(at-lead, before+1), at), int32(n), readyMark})
		}
		p.clock = append(p.clock, mark{at, int32(n), clockMark})
		before = at
	}
	if rests && !rested {
		rest()
	}
	switch {
	case p.countIn || rests:
		p.clock = append(p.clock, mark{at: min(max(last+1-lead, before+1, 0), last), kind: nextMark})
	case p.last:
		p.clock = append(p.clock, mark{at: round(p.exact), kind: restMark}) // what rings on is no music to follow
	}
}

// ceilDiv is a/b rounded up; b is above 0.
func ceilDiv(a, b Tick) Tick {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}

// A follower is what one knows of who follows our MIDI clock.
type follower struct {
	runs bool
	line Tick // of the sequence, which it has reached at the next seam if it runs; -1 for none
	told Tick // the song position told since it was stopped; -1 for none
	aim  Tick // the song position to start it from; -1 for none
	here bool // aim is in this piece, not in the one that comes
	sync bool // aim is where a piece begins
}

func newFollower() follower { return follower{line: -1, told: -1, aim: -1} }

// halt stops the follower.
func (c *Cursor) halt(at int64, emit func(int64, [3]byte)) {
	f := &c.follower
	if f.runs {
		emit(at, [3]byte{msgStop})
	}
	f.runs, f.aim = false, -1
}

// aim makes the stopped follower ready for music that lies in [from, to): it
// will start at the first whole sixteenth. Beyond the last song position it
// stays where it is.
func (c *Cursor) aim(at int64, from, to Tick, here bool, emit func(int64, [3]byte)) {
	f := &c.follower
	p := ceilDiv(from, perSixteenth)
	f.aim, f.here, f.sync = p, here, p*perSixteenth == from
	if p > lastPosition || p*perSixteenth >= to {
		f.aim = -1
		return
	}
	if p > 0 && p != f.told { // from 0 it starts by itself
		f.told = p
		emit(at, [3]byte{msgPosition, byte(p & 0x7F), byte(p >> 7)})
	}
}

// release starts the follower at its aim.
func (c *Cursor) release(at int64, emit func(int64, [3]byte)) {
	f := &c.follower
	status := byte(msgContinue)
	if f.aim == 0 {
		status = msgStart
	}
	emit(at, [3]byte{status})
	f.runs, f.told, f.aim = true, -1, -1
}

// follow leads the follower into the current piece, which begins at a frame.
func (c *Cursor) follow(at int64, emit func(int64, [3]byte)) {
	f := &c.follower
	q := c.pass()
	switch {
	case !c.plan.practice.Clock:
		c.halt(at, emit)
		return
	case c.counted:
		c.halt(at, emit)
		c.aim(at, q.From, q.To, false, emit)
		return
	case !f.runs || f.line != q.From:
		c.halt(at, emit)
		c.aim(at, q.From, q.To, true, emit)
	}
	f.line = q.To
}

// goOn makes the follower ready to start within the piece, after a pause.
func (c *Cursor) goOn(emit func(int64, [3]byte)) {
	switch {
	case c.piece == nil || !c.plan.practice.Clock:
	case c.counted:
		q := c.pass()
		c.aim(c.now, q.From, q.To, false, emit)
	case c.resting:
		c.aimNext(c.now, emit)
	default:
		for _, m := range c.piece.clock[c.mark:] {
			if m.kind == clockMark {
				c.aim(c.now, Tick(m.n)*perClock, c.piece.to, true, emit)
				return
			}
			if m.kind == restMark {
				return
			}
		}
	}
}

// aimNext makes the follower ready for the pass after the current one.
func (c *Cursor) aimNext(at int64, emit func(int64, [3]byte)) {
	if s := c.plan.after(c.at); !c.plan.over(s) {
		q := &c.plan.practice.Passes[s.index]
		c.aim(at, q.From, q.To, false, emit)
	}
}

// beat does what is due at a mark.
func (c *Cursor) beat(at int64, m *mark, emit func(int64, [3]byte)) {
	f := &c.follower
	switch ready := f.aim >= 0; m.kind {
	case nextMark:
		// After a tail a count-in may come, in which it still stands.
		if ready && !f.here && f.sync && (c.counted || !c.plan.countsIn(c.plan.after(c.at))) {
			f.line = f.aim * perSixteenth
			c.release(at, emit)
		}
	case restMark:
		c.resting = true
		c.halt(at, emit)
		c.aimNext(at, emit)
	default:
		if ready && f.here && Tick(m.n) == f.aim*(perSixteenth/perClock) {
			c.release(at, emit)
		}
		if m.kind == clockMark {
			emit(at, [3]byte{msgClock})
		}
	}
}

// beats does what is due up to a frame of the current piece.
func (c *Cursor) beats(at int64, emit func(int64, [3]byte)) {
	for c.piece != nil && c.mark < len(c.piece.clock) && c.start+c.piece.clock[c.mark].at <= at {
		m := &c.piece.clock[c.mark]
		c.mark++
		c.beat(at, m, emit)
	}
}
