package midiio

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"sort"
	"sync"
)

// A Cursor is the transport: it walks through a practice and hands out the
// messages due, each with its frame. It has no clock and no goroutine; whoever
// calls Fill turns it: a device that asks for sound, or a loop with a clock.
//
// Frames count from 0, where the practice (with its count-in) begins. The start
// of each pass is the exact sum of all lengths before it, rounded once, so a
// loop never drifts; a message lies at the start of its pass plus its own exact
// place, rounded. At a seam every note that sounds ends before the next pass
// begins. A note struck before a pass begins is not heard in it. What rings at
// the end of the last pass rings to its own end.
//
// Fill and Silence belong to one goroutine. Send and Position may be called
// from any.
type Cursor struct {
	seq      *Sequence
	practice Practice // checked
	partner  []int    // of seq.Events
	rate     int64

	cache map[pieceKey]*piece

	// Where the row of passes stands.
	round, index, time int // of the next piece; index counts passes, time their repeats
	counted            bool
	played             int // passes begun
	factor             float64

	now    int64    // every event before it has been handed out
	sum    *big.Rat // exact start of the current piece
	piece  *piece
	start  int64
	end    int64
	next   int // in piece.evs
	live   []liveNote
	muted  LayerSet
	paused bool
	done   bool

	sent [16]chanState

	mail mailbox

	histMu sync.Mutex
	hist   []placement
}

// liveNote is a note that sounds; id is its place in the piece.
type liveNote struct {
	id    int
	ch    int
	key   int
	layer Layer
}

// chanState is what a channel was last told, -1 for nothing.
type chanState struct {
	program int16
	bend    int16
	control [120]int16
}

// timed is an event of a piece, at frames from its start.
type timed struct {
	at    int64
	msg   [3]byte
	layer Layer
	note  int  // of a note-on or a note-off; -1 otherwise
	chase bool // tells the channel what it should know already
}

type pieceKey struct {
	pass    int
	factor  float64
	countIn bool
	last    bool
}

// A piece is a pass or a count-in laid out in frames, from its own start.
type piece struct {
	pieceKey
	seq    *Sequence
	to     Tick
	evs    []timed
	length *big.Rat
	ruler  *ruler
}

// NewCursor makes a cursor over s at rate frames a second. What it refuses are
// passes outside the sequence or without length, and tempi beyond what can be
// played.
func NewCursor(s *Sequence, p Practice, rate int) (*Cursor, error) {
	if rate <= 0 {
		return nil, fmt.Errorf("practice: %d frames a second", rate)
	}
	if len(p.Passes) == 0 {
		return nil, errors.New("practice: no pass to play")
	}
	if p.Repeat < Forever {
		return nil, fmt.Errorf("practice: repeat %d (it takes a number of times, or -1 for ever)", p.Repeat)
	}
	if p.Repeat == 0 {
		p.Repeat = 1
	}
	for _, m := range s.Tempi {
		if exact(m.BPM) == nil || !(m.BPM > 0) {
			return nil, fmt.Errorf("practice: tempo %g at tick %d", m.BPM, m.Tick)
		}
	}
	c := &Cursor{seq: s, partner: pair(s.Events), rate: int64(rate), factor: 1, sum: new(big.Rat), cache: map[pieceKey]*piece{}}
	c.practice = Practice{slices.Clone(p.Passes), p.Repeat}
	for i, q := range c.practice.Passes {
		q, err := q.check(s)
		if err != nil {
			return nil, fmt.Errorf("practice: pass %d: %w", i+1, err)
		}
		c.practice.Passes[i] = q
	}
	for i := range c.sent {
		c.sent[i] = silentState()
	}
	// Lay out everything now, so that Fill has nothing heavy to do.
	for i, q := range c.practice.Passes {
		pc := c.lay(pieceKey{pass: i, factor: 1})
		if round(pc.length) < 1 {
			return nil, fmt.Errorf("practice: pass %d: shorter than a frame", i+1)
		}
		if q.CountIn != 0 {
			c.lay(pieceKey{pass: i, factor: 1, countIn: true})
		}
	}
	if n := len(c.practice.Passes); p.Repeat != Forever && c.practice.Passes[n-1].Times != Forever {
		c.lay(pieceKey{pass: n - 1, factor: 1, last: true})
	}
	return c, nil
}

func silentState() chanState {
	s := chanState{program: -1, bend: -1}
	for i := range s.control {
		s.control[i] = -1
	}
	return s
}

// Rate is the number of frames a second.
func (c *Cursor) Rate() int { return int(c.rate) }

// lay makes a piece or finds it made. It is nil for a count-in that turns out
// to have no length.
func (c *Cursor) lay(k pieceKey) *piece {
	if p, ok := c.cache[k]; ok {
		return p
	}
	if len(c.cache) > 4*len(c.practice.Passes)+64 {
		clear(c.cache) // a player who turned the tempo many times
	}
	pass := c.practice.Passes[k.pass]
	p := &piece{pieceKey: k}
	scale := exact(min(max(pass.Scale*k.factor, minScale), maxScale))
	if k.factor == 1 {
		scale = exact(pass.Scale)
	}
	if k.countIn {
		scaled := pass
		scaled.Scale, _ = scale.Float64()
		p.seq = c.seq.countIn(scaled)
		if p.seq == nil {
			c.cache[k] = nil
			return nil
		}
		p.to = p.seq.End
		p.ruler = newRuler(p.seq, 0, c.rate, scale)
		p.length = p.ruler.exact(p.seq.End, 0)
		p.place(p.seq.Events, pair(p.seq.Events), Pass{To: p.seq.End})
	} else {
		p.seq, p.to = c.seq, pass.To
		p.ruler = newRuler(p.seq, pass.From, c.rate, scale)
		p.length = p.ruler.exact(pass.To, 0)
		p.place(c.seq.Events, c.partner, pass)
	}
	c.cache[k] = p
	return p
}

// place picks the events of the pass and puts them at their frames.
func (p *piece) place(all []Event, partner []int, pass Pass) {
	p.evs = chase(all, pass.From)
	lead := len(p.evs)
	var evs []Event
	lo, _ := slices.BinarySearchFunc(all, pass.From, func(e Event, t Tick) int { return int(e.Tick - t) })
	for i := lo; i < len(all); i++ {
		e := all[i]
		on, off := isOn(e.Msg), isOff(e.Msg)
		if e.Tick >= pass.To && !(off && (p.last || e.Tick == pass.To)) {
			if !p.last && e.Tick > pass.To {
				break
			}
			continue
		}
		if (on || off) && (partner[i] < 0 || pass.Mute.Has(e.Layer)) {
			continue
		}
		if off {
			if start := all[partner[i]].Tick; start < pass.From || start >= pass.To {
				continue
			}
		}
		evs = append(evs, e)
	}
	at := make([]int64, len(evs))
	for i, e := range evs {
		at[i] = max(p.ruler.at(e.Tick, e.Nudge), 0)
	}
	mates := pair(evs)
	settle(evs, mates, at)
	for i, e := range evs {
		t := timed{at: at[i], msg: e.Msg, layer: e.Layer, note: -1}
		switch {
		case isOn(e.Msg):
			t.note = i
		case isOff(e.Msg):
			t.note = mates[i]
		}
		p.evs = append(p.evs, t)
	}
	slices.SortStableFunc(p.evs[lead:], func(a, b timed) int { return int(a.at - b.at) })
}

// chase is what the channels have been told before a moment: programs,
// controllers, pitch bend. Parameters set through data entry (bend range,
// tuning) depend on the order of their controllers and are told as they came.
func chase(all []Event, from Tick) []timed {
	var st [16]chanState
	for i := range st {
		st[i] = silentState()
	}
	var out []timed
	for _, e := range all {
		if e.Tick >= from {
			break
		}
		if n := e.Msg[1]; e.Msg[0]&0xF0 == statusControl && (n == 6 || n == 38 || n >= 96 && n <= 101) {
			out = append(out, timed{msg: e.Msg, note: -1})
			continue
		}
		st[channel(e.Msg)].learn(e.Msg)
	}
	for ch, s := range st {
		tell := func(m ...byte) {
			t := timed{note: -1, chase: true}
			copy(t.msg[:], m)
			out = append(out, t)
		}
		for n, v := range s.control {
			if v >= 0 {
				tell(statusControl|byte(ch), byte(n), byte(v))
			}
		}
		if s.program >= 0 {
			tell(statusProgram|byte(ch), byte(s.program))
		}
		if s.bend >= 0 {
			tell(statusBend|byte(ch), byte(s.bend&0x7F), byte(s.bend>>7))
		}
	}
	return out
}

// learn takes a message over; it reports whether that changed anything.
func (s *chanState) learn(m [3]byte) bool {
	var slot *int16
	v := int16(m[2])
	switch m[0] & 0xF0 {
	case statusProgram:
		slot, v = &s.program, int16(m[1])
	case statusBend:
		slot, v = &s.bend, int16(m[1])|int16(m[2])<<7
	case statusControl:
		if m[1] >= byte(len(s.control)) {
			return true
		}
		slot = &s.control[m[1]]
	default:
		return true
	}
	if *slot == v {
		return false
	}
	*slot = v
	return true
}

// Fill hands out every message with a frame before until, in order, and
// reports whether more will come. A call with an until that is not beyond the
// last does nothing. What is handed out does not depend on the size of the
// steps. emit must not call the cursor.
func (c *Cursor) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	for !c.done {
		order, at, ok := c.mail.due(c.now)
		if ok {
			c.obey(order, emit)
			continue
		}
		if c.now >= until {
			break
		}
		limit := min(until, at)
		if c.paused {
			c.shift(limit - c.now)
		} else {
			c.run(limit, emit)
		}
		c.now = limit
	}
	return !c.done
}

// shift moves what is to come to later.
func (c *Cursor) shift(frames int64) {
	c.sum.Add(c.sum, new(big.Rat).SetInt64(frames))
	c.start += frames
	c.end += frames
}

func (c *Cursor) run(limit int64, emit func(int64, [3]byte)) {
	for !c.done {
		if c.piece == nil {
			c.load()
			continue
		}
		at := c.end
		if c.next < len(c.piece.evs) {
			at = c.start + c.piece.evs[c.next].at
		}
		switch {
		case at < c.end && at < limit:
			c.play(at, &c.piece.evs[c.next], emit)
			c.next++
		case at >= c.end && c.end < limit:
			c.silence(c.end, AllLayers, emit)
			c.sum.Add(c.sum, c.piece.length)
			c.piece = nil
			c.load()
		default:
			return
		}
	}
}

func (c *Cursor) play(at int64, t *timed, emit func(int64, [3]byte)) {
	switch {
	case t.note < 0:
		// A program told again makes some instruments start anew.
		program := t.msg[0]&0xF0 == statusProgram
		if c.sent[channel(t.msg)].learn(t.msg) || !t.chase && !program {
			emit(at, t.msg)
		}
	case isOn(t.msg):
		if !c.muted.Has(t.layer) {
			c.live = append(c.live, liveNote{t.note, channel(t.msg), int(t.msg[1]), t.layer})
			emit(at, t.msg)
		}
	default:
		for i, n := range c.live {
			if n.id == t.note {
				c.live = slices.Delete(c.live, i, i+1)
				emit(at, t.msg)
				break
			}
		}
	}
}

// silence ends the sounding notes of the layers given.
func (c *Cursor) silence(at int64, ls LayerSet, emit func(int64, [3]byte)) {
	kept := c.live[:0]
	for _, n := range c.live {
		if ls.Has(n.layer) {
			emit(at, noteOff(n.ch, n.key))
		} else {
			kept = append(kept, n)
		}
	}
	c.live = kept
}

// load makes the next piece of the practice the current one, from c.sum on.
func (c *Cursor) load() {
	var p *piece
	for p == nil {
		if c.practice.Repeat > 0 && c.round >= c.practice.Repeat {
			c.done = true
			c.record(placement{at: c.end, played: c.played, done: true})
			return
		}
		k := pieceKey{pass: c.index, factor: c.factor}
		pass := c.practice.Passes[c.index]
		first := c.round == 0 && c.time == 0
		if pass.CountIn != 0 && !c.counted && (first || pass.CountInEach) {
			c.counted = true
			k.countIn = true
			p = c.lay(k)
			continue
		}
		c.counted = false
		c.time++
		c.played++
		if pass.Times != Forever && c.time >= pass.Times {
			c.leave()
			k.last = c.practice.Repeat > 0 && c.round >= c.practice.Repeat
		}
		p = c.lay(k)
	}
	c.piece, c.next = p, 0
	c.start = round(c.sum)
	end := new(big.Rat).Add(c.sum, p.length)
	c.end = round(end)
	if n := len(p.evs); p.last && n > 0 {
		// What rings on, rings to its end.
		c.end = max(c.end, c.start+p.evs[n-1].at+1)
	}
	c.record(placement{at: c.start, piece: p, played: c.played, running: true})
}

// leave goes on to the next pass of the row.
func (c *Cursor) leave() {
	c.time = 0
	if c.index++; c.index == len(c.practice.Passes) {
		c.index = 0
		c.round++
	}
}

// Silence ends everything: a note-off for each note that sounds, then on every
// channel the cursor has used all notes off (CC 123), all sound off (CC 120)
// and the pitch bend to its centre. The cursor is at its end afterwards.
func (c *Cursor) Silence(emit func(msg [3]byte)) {
	c.silence(c.now, AllLayers, func(_ int64, m [3]byte) { emit(m) })
	var used [16]bool
	for _, e := range c.seq.Events {
		used[channel(e.Msg)] = true
	}
	for _, p := range c.practice.Passes {
		used[clickChannel] = used[clickChannel] || p.CountIn != 0
	}
	for ch, u := range used {
		if u {
			emit([3]byte{statusControl | byte(ch), 123, 0})
			emit([3]byte{statusControl | byte(ch), 120, 0})
			emit([3]byte{statusBend | byte(ch), 0, 0x40})
		}
	}
	c.done = true
}

// A placement says what is played from a frame on.
type placement struct {
	at      int64
	piece   *piece
	into    int64 // frames of the piece before at
	played  int
	running bool
	done    bool
}

const maxHistory = 64

func (c *Cursor) record(p placement) {
	c.histMu.Lock()
	defer c.histMu.Unlock()
	if len(c.hist) == maxHistory {
		c.hist = append(c.hist[:0], c.hist[maxHistory/2:]...)
	}
	// What was placed at or after this moment and cut short never came to be.
	for len(c.hist) > 0 && c.hist[len(c.hist)-1].at > p.at {
		c.hist = c.hist[:len(c.hist)-1]
	}
	c.hist = append(c.hist, p)
}

// A Position is where the practice stands, for display.
type Position struct {
	Bar     string  // label; empty in a count-in and without bars
	Beat    float64 // from 1, in beats of the bar; those of a pick-up end its bar
	Tick    Tick    // of the sequence; of the count-in while Counting
	Pass    int     // index into the passes of the practice
	Played  int     // passes begun so far, this one included
	Scale   float64 // of the tempo
	CountIn bool
	Paused  bool
	Done    bool
}

// Position is where the practice stands at a frame, which may lie some passes
// behind what Fill has handed out: as far as the sound is behind. ok is false
// before the first call of Fill and for frames too long ago.
func (c *Cursor) Position(frame int64) (pos Position, ok bool) {
	c.histMu.Lock()
	i := sort.Search(len(c.hist), func(i int) bool { return c.hist[i].at > frame }) - 1
	if i < 0 {
		c.histMu.Unlock()
		return Position{}, false
	}
	h := c.hist[i]
	c.histMu.Unlock()
	if h.done {
		return Position{Done: true, Played: h.played}, true
	}
	into := h.into
	if h.running {
		into += frame - h.at
	}
	p := h.piece
	pos = Position{Tick: min(p.ruler.tick(float64(into)), p.to-1), Pass: p.pass, Played: h.played, CountIn: p.countIn, Paused: !h.running}
	pos.Scale = c.practice.Passes[p.pass].Scale * p.factor
	if b := p.seq.BarAt(pos.Tick); b >= 0 && p.seq.Bars[b].Beat > 0 {
		pos.Beat = p.seq.beatAt(b, pos.Tick)
		if !p.countIn {
			pos.Bar = p.seq.Bars[b].Label
		}
	}
	return pos, true
}
