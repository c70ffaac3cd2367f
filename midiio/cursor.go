package midiio

import (
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
// place, rounded. Where an order of the player begins something anew (Next,
// Again, Switch, a Tempo at its seam), the sum begins anew from that whole
// frame; a pause moves it by whole frames. At a seam every note that sounds
// ends before the next pass begins. A note struck before a pass begins is not
// heard in it. What rings at the end of the last pass rings to its own end.
//
// Fill and Silence belong to one goroutine. Send and Position may be called from
// any. Everything is laid out where a practice is prepared or its tempo ordered;
// Fill allocates nothing.
type Cursor struct {
	// Struck, if there is one, is told the layer of each note-on before it is
	// handed out. Set it before the first call of Fill.
	Struck func(Layer)
	// Hush is for gear that others play too and that may have lost a note-off.
	// The orders that end all notes (Pause, Next, Again, Switch, Stop) then lift
	// the sustain pedal (CC 64) and tell every channel used that all notes are
	// off (CC 123) and all sound is (CC 120). Resume presses the pedal again; the
	// others bring the pitch bend to its centre. At a seam the pedal is lifted,
	// for else no note would end there, and the bend goes to its centre unless
	// the next pass goes straight on; what the next pass should know comes after
	// that. Set it before the first call of Fill.
	Hush bool

	rate int64
	plan *plan
	want *plan // from the next seam on, with its tally; nil: as it is
	// The exact end of the current piece. Its room belongs to plan, that of
	// wantSum to want.
	sum, wantSum tally

	at      spot // of the current piece
	started bool
	counted bool // the current piece is a count-in
	played  int  // passes begun
	before  int  // practices left by Switch

	now    int64 // every event before it has been handed out
	piece  *piece
	start  int64
	end    int64
	next   int // in piece.evs
	mark   int // in piece.clock
	live   []liveNote
	muted  LayerSet
	paused bool
	done   bool

	follower follower
	resting  bool // the MIDI clock has come to the tail of the piece

	sent   [16]chanState
	voiced [16]bool // a note was struck since the last program change
	used   [16]bool // channels
	bent   [16]bool // channels whose pitch bend has left its centre
	held   [16]bool // channels whose sustain pedal has been down
	// lifted is where the pedals stood that a pause has lifted, 0 for the others.
	lifted [16]byte

	mail mailbox

	histMu sync.Mutex
	hist   []placement
}

// A spot is a place in the row of passes: time counts the repeats of a pass.
type spot struct{ round, index, time int }

// liveNote is a note that sounds; id is its place in the piece.
type liveNote struct {
	id    int
	ch    int
	key   int
	layer Layer
}

// NewCursor makes a cursor over s at rate frames a second. It refuses what
// Prepare refuses.
func NewCursor(s *Sequence, p Practice, rate int) (*Cursor, error) {
	first, err := Prepare(s, p, rate)
	if err != nil {
		return nil, err
	}
	c := &Cursor{
		rate: int64(rate), plan: first.plain, sum: newTally(first.plain),
		// A key sounds once on a channel.
		live:     make([]liveNote, 0, 16*128),
		hist:     make([]placement, 0, maxHistory),
		follower: newFollower(),
	}
	c.mail.init(first)
	for i := range c.sent {
		c.sent[i] = silentState()
	}
	c.meet(first)
	return c, nil
}

// meet takes note of the channels of a practice.
func (c *Cursor) meet(p *Prepared) {
	for ch, u := range p.used {
		c.used[ch] = c.used[ch] || u
	}
}

// Rate is the number of frames a second.
func (c *Cursor) Rate() int { return int(c.rate) }

// Fill hands out every message with a frame before until, in order, and
// reports whether more will come. A call with an until that is not beyond the
// last does nothing. What is handed out does not depend on the size of the
// steps. emit must not call the cursor.
func (c *Cursor) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	for !c.done && c.now < until {
		order, at, ok := c.mail.due(c.now)
		if ok {
			c.obey(order, emit)
			continue
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
	c.sum.whole += frames
	c.start += frames
	c.end += frames
}

func (c *Cursor) run(limit int64, emit func(int64, [3]byte)) {
	for !c.done {
		if c.piece == nil {
			c.advance(c.now, emit)
			continue
		}
		at, beat := c.end, c.end
		if c.next < len(c.piece.evs) {
			at = c.start + c.piece.evs[c.next].at
		}
		if c.mark < len(c.piece.clock) {
			beat = c.start + c.piece.clock[c.mark].at
		}
		switch {
		case beat <= at && beat < c.end && beat < limit:
			c.beats(beat, emit)
		case at < c.end && at < limit:
			c.play(at, &c.piece.evs[c.next], emit)
			c.next++
		case at >= c.end && c.end < limit:
			seam, reached := c.end, c.pass().To
			// The clock does not wait for the notes that end.
			c.advance(seam, emit)
			c.beats(seam, emit)
			c.silence(seam, AllLayers, emit)
			if c.Hush {
				c.lift(seam, false, emit)
				if c.done || c.counted || c.pass().From != reached {
					c.unbend(seam, false, emit)
				}
			}
		default:
			return
		}
	}
}

func (c *Cursor) play(at int64, t *timed, emit func(int64, [3]byte)) {
	switch {
	case t.note < 0:
		ch := channel(t.msg)
		switch {
		case t.msg[0]&0xF0 == statusBend && (t.msg[1] != 0 || t.msg[2] != bendCentre):
			c.bent[ch] = true
		case t.msg[0]&0xF0 == statusControl && t.msg[1] == sustain && t.msg[2] >= pedalDown:
			c.held[ch] = true
		}
		// A program told again makes some instruments start anew, once they have
		// sounded.
		program := t.msg[0]&0xF0 == statusProgram
		if c.sent[ch].learn(t.msg) || !t.chase && !(program && c.voiced[ch]) {
			c.voiced[ch] = c.voiced[ch] && !program
			emit(at, t.msg)
		}
	case isOn(t.msg):
		if c.muted.Has(t.layer) && !(t.layer == Click && c.timeAlone()) {
			return
		}
		n := liveNote{t.note, channel(t.msg), int(t.msg[1]), t.layer}
		// The same key struck again is one note after the other.
		if i := slices.IndexFunc(c.live, func(o liveNote) bool { return o.ch == n.ch && o.key == n.key }); i >= 0 {
			c.live = slices.Delete(c.live, i, i+1)
			emit(at, noteOff(n.ch, n.key))
		}
		c.live = append(c.live, n)
		c.voiced[n.ch] = true
		if c.Struck != nil {
			c.Struck(t.layer)
		}
		emit(at, t.msg)
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

// timeAlone reports that clicks are all there may be to keep time by: a
// metronome that was muted is heard then.
func (c *Cursor) timeAlone() bool { return c.piece.countIn || c.pass().Kind == Alone }

// endAll ends all notes for an order, and says so where it is asked to. Where
// the music is left, what bends a channel ends too: nobody will end it there.
func (c *Cursor) endAll(left bool, emit func(int64, [3]byte)) {
	c.silence(c.now, AllLayers, emit)
	if !c.Hush {
		return
	}
	clear(c.lifted[:])
	for ch, s := range c.sent {
		if v := s.control[sustain]; v >= pedalDown && !left {
			c.lifted[ch] = byte(v)
		}
	}
	c.lift(c.now, false, emit)
	hush(&c.used, func(m [3]byte) { emit(c.now, m) })
	if left {
		c.unbend(c.now, false, emit)
	}
}

// lift lifts the sustain pedals that have ever been down, or only those that are
// down now.
func (c *Cursor) lift(at int64, all bool, emit func(int64, [3]byte)) {
	for ch, h := range c.held {
		s := &c.sent[ch]
		if h && (all || s.control[sustain] >= pedalDown) {
			m := [3]byte{statusControl | byte(ch), sustain, 0}
			s.learn(m)
			emit(at, m)
		}
	}
}

// press presses the pedals again that a pause has lifted.
func (c *Cursor) press(emit func(int64, [3]byte)) {
	for ch, v := range c.lifted {
		if v > 0 {
			m := [3]byte{statusControl | byte(ch), sustain, v}
			c.sent[ch].learn(m)
			emit(c.now, m)
		}
	}
	clear(c.lifted[:])
}

// unbend brings the pitch bend back to its centre where it has ever left it, or
// only where it is not there now.
func (c *Cursor) unbend(at int64, all bool, emit func(int64, [3]byte)) {
	for ch, b := range c.bent {
		m := [3]byte{statusBend | byte(ch), 0, bendCentre}
		if b && (c.sent[ch].learn(m) || all) {
			emit(at, m)
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

// advance makes what follows the current piece the current one, at a frame.
func (c *Cursor) advance(at int64, emit func(int64, [3]byte)) {
	switch {
	case !c.started:
		c.started = true
		c.enter(false, at, emit)
	case c.counted:
		c.begin(at, emit)
	default:
		c.at = c.plan.after(c.at)
		c.enter(false, at, emit)
	}
}

func (c *Cursor) pass() *Pass { return &c.plan.practice.Passes[c.at.index] }

// after is the spot that follows s.
func (p *plan) after(s spot) spot {
	s.time++
	if t := p.practice.Passes[s.index].Times; t != Forever && s.time >= t {
		return p.left(s)
	}
	return s
}

// left is the spot where s is not repeated.
func (p *plan) left(s spot) spot {
	s.time = 0
	if s.index++; s.index == len(p.practice.Passes) {
		s.index = p.practice.Loop
		s.round++
	}
	return s
}

// over reports that s lies beyond the end.
func (p *plan) over(s spot) bool {
	r := p.practice.Repeat
	return r != Forever && s.round >= r
}

// countsIn reports that the pass of s is counted in by itself.
func (p *plan) countsIn(s spot) bool {
	q := &p.practice.Passes[s.index]
	first := s.round == 0 && s.time == 0
	return q.CountIn != 0 && (first || q.CountInEach) && p.counts[s.index] != nil
}

// enter begins with the pass of c.at: with its count-in the first time, each
// time if the pass says so, or when asked to.
func (c *Cursor) enter(count bool, at int64, emit func(int64, [3]byte)) {
	if c.plan.over(c.at) {
		c.finish(c.end, emit)
		return
	}
	// The tempo waits for what begins here, so that nobody is counted in at
	// another tempo than that of the pass.
	if c.want != nil {
		frame := c.sum.frames()
		c.plan, c.sum, c.want = c.want, c.wantSum, nil
		c.sum.reset(frame)
	}
	if p := c.plan.counts[c.at.index]; p != nil && (count || c.plan.countsIn(c.at)) {
		c.counted = true
		c.set(p, at, emit)
		return
	}
	c.begin(at, emit)
}

// begin begins the pass of c.at.
func (c *Cursor) begin(at int64, emit func(int64, [3]byte)) {
	c.counted = false
	c.played++
	q := c.pass()
	if c.plan.final != nil && c.at.round == c.plan.practice.Repeat-1 &&
		c.at.index == len(c.plan.practice.Passes)-1 && c.at.time == q.Times-1 {
		c.set(c.plan.final, at, emit)
		return
	}
	c.set(c.plan.bodies[c.at.index], at, emit)
}

// set makes p the current piece, from c.sum on.
func (c *Cursor) set(p *piece, at int64, emit func(int64, [3]byte)) {
	c.piece, c.next, c.mark, c.resting = p, 0, 0, false
	c.start = c.sum.frames()
	c.sum.add(p.length)
	c.end = c.sum.frames()
	if n := len(p.evs); p.last && n > 0 {
		// What rings on, rings to its end.
		c.end = max(c.end, c.start+p.evs[n-1].at+1)
	}
	c.record(placement{at: c.start, piece: p, running: true})
	c.follow(at, emit)
}

// anew begins with the pass of c.at at the frame reached, in place of what is
// played.
func (c *Cursor) anew(count bool, emit func(int64, [3]byte)) {
	c.sum.reset(c.now)
	c.end = c.now
	c.piece = nil
	c.paused = false
	c.follower.line = -1
	c.enter(count, c.now, emit)
	c.beats(c.now, emit)
	c.endAll(true, emit)
}

func (c *Cursor) finish(frame int64, emit func(int64, [3]byte)) {
	c.halt(frame, emit)
	c.done = true
	c.record(placement{at: frame, done: true})
}

// Silence ends everything: stop for who follows the MIDI clock, a note-off for
// each note that sounds, CC 64 = 0 where the sustain pedal has been down, then on
// every channel the cursor has used all notes off (CC 123) and all sound off
// (CC 120), and the pitch bend to its centre where it has left it. The cursor is
// at its end afterwards.
func (c *Cursor) Silence(emit func(msg [3]byte)) {
	now := func(_ int64, m [3]byte) { emit(m) }
	c.halt(c.now, now)
	c.silence(c.now, AllLayers, now)
	// A feed may be ahead of what has gone out: what has ended here may not have
	// ended there.
	c.lift(c.now, true, now)
	hush(&c.used, emit)
	c.unbend(c.now, true, now)
	c.done = true
}

// A placement says what is played from a frame on.
type placement struct {
	at      int64
	piece   *piece
	into    int64 // frames of the piece before at
	kind    PassKind
	pass    int
	played  int
	before  int
	running bool
	done    bool
}

const maxHistory = 64

// record writes a placement into the history, with where the cursor stands.
func (c *Cursor) record(p placement) {
	p.played, p.before = c.played, c.before
	if !p.done {
		p.pass, p.kind = c.at.index, c.pass().Kind
	}
	c.histMu.Lock()
	defer c.histMu.Unlock()
	if len(c.hist) == maxHistory {
		c.hist = append(c.hist[:0], c.hist[maxHistory/2:]...)
	}
	c.hist = append(c.hist, p)
}

// A Position is where the practice stands, for display.
type Position struct {
	Bar      string   // label; empty in a count-in, in a tail and without bars
	Beat     float64  // from 1, in beats of the bar; those of a pick-up end its bar. In a tail the metre goes on
	Tick     Tick     // of the sequence, in a tail beyond the pass's To; of the count-in while CountIn
	Practice int      // 0 is the cursor's first; each Switch obeyed adds one
	Pass     int      // index into the passes of the practice
	Kind     PassKind // of that pass, in its count-in too
	Played   int      // passes begun since the start or the last Switch, this one included; one begun Again counts once
	Scale    float64  // of the tempo
	CountIn  bool
	Tail     bool // after the end of what is played: it rings, or there is rest
	Paused   bool
	Done     bool
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
		return Position{Done: true, Practice: h.before, Played: h.played}, true
	}
	into := h.into
	if h.running {
		into += frame - h.at
	}
	p := h.piece
	pos = Position{
		Tick: min(p.ruler.tick(float64(into)), p.end-1), Practice: h.before, Pass: h.pass, Kind: h.kind, Played: h.played,
		Scale: p.scale, CountIn: p.countIn, Paused: !h.running,
	}
	pos.Tail = pos.Tick >= p.to
	bars := p.seq
	if pos.Tail {
		bars = p.tail
	}
	if b := bars.BarAt(pos.Tick); b >= 0 && bars.Bars[b].Beat > 0 {
		pos.Beat = bars.beatAt(b, pos.Tick)
		if !p.countIn && !pos.Tail {
			pos.Bar = bars.Bars[b].Label
		}
	}
	return pos, true
}
