package midiio

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
)

// A Prepared is a practice made ready for a cursor, so that it can be switched
// to while another plays. It never changes; one may be switched to many times.
type Prepared struct {
	src      *source
	practice Practice // checked
	used     [16]bool // channels
	plain    *plan    // at factor 1
}

// Prepare makes a practice of s ready for a cursor of that rate, in frames a
// second. What it refuses are passes outside the sequence or without length, and
// tempi beyond what can be played.
func Prepare(s *Sequence, p Practice, rate int) (*Prepared, error) {
	src, err := newSource(s, rate)
	if err != nil {
		return nil, err
	}
	return src.prepare(p)
}

// A source is a sequence at a rate, with what every practice of it needs.
type source struct {
	seq     *Sequence
	partner []int // of seq.Events
	rate    int64
	clicks  bool // the sequence has a metronome
}

// A plan is a practice laid out in frames at one tempo factor. It never
// changes. All its lengths are whole frames and a fraction over den.
type plan struct {
	*Prepared
	factor float64
	bodies []*piece // of each pass
	counts []*piece // of each pass, nil where nothing can be counted in
	final  *piece   // of the last time through the last pass: it may ring on
	den    *big.Int // even
	half   *big.Int // of den
}

// A piece is a pass or a count-in laid out in frames, from its own start.
type piece struct {
	pieceKey
	scale  float64
	seq    *Sequence
	tail   *Sequence // the bars after the last, as if the metre went on; nil without a tail
	to     Tick      // where the tail begins
	end    Tick
	evs    []timed
	clock  []mark   // MIDI clock, where the practice has it
	exact  *big.Rat // its length
	length length
	ruler  *ruler
}

// pieceKey is all that makes a piece what it is, at one factor. What does not
// matter in the pass is 0, so that passes that sound alike share a piece.
type pieceKey struct {
	pass    Pass
	countIn bool
	last    bool
}

// timed is an event of a piece, at frames from its start.
type timed struct {
	at    int64
	msg   [3]byte
	layer Layer
	note  int  // of a note-on or a note-off; -1 otherwise
	chase bool // tells the channel what it should know already
}

// newSource refuses tempi that cannot be played.
func newSource(s *Sequence, rate int) (*source, error) {
	if rate <= 0 {
		return nil, fmt.Errorf("practice: %d frames a second", rate)
	}
	for _, m := range s.Tempi {
		if exact(m.BPM) == nil || !(m.BPM > 0) {
			return nil, fmt.Errorf("practice: tempo %g at tick %d", m.BPM, m.Tick)
		}
	}
	clicks := slices.ContainsFunc(s.Events, func(e Event) bool { return e.Layer == Click })
	return &source{s, pair(s.Events), int64(rate), clicks}, nil
}

func (s *source) prepare(p Practice) (*Prepared, error) {
	if len(p.Passes) == 0 {
		return nil, errors.New("practice: no pass to play")
	}
	if p.Repeat < Forever {
		return nil, fmt.Errorf("practice: repeat %d (it takes a number of times, or -1 for ever)", p.Repeat)
	}
	if p.Loop < 0 || p.Loop >= len(p.Passes) {
		return nil, fmt.Errorf("practice: to be repeated from pass %d of %d", p.Loop+1, len(p.Passes))
	}
	if p.Repeat == 0 {
		p.Repeat = 1
	}
	p.Passes = slices.Clone(p.Passes)
	for i, q := range p.Passes {
		q, err := q.check(s.seq)
		if err != nil {
			return nil, fmt.Errorf("practice: pass %d: %w", i+1, err)
		}
		p.Passes[i] = q
	}
	if n := p.clocks(); p.Clock && n > maxClocks {
		const quarter = PerQuarter / perClock
		return nil, fmt.Errorf("practice: MIDI clock for %d quarter notes in its passes (it goes as far as %d)", n/quarter, maxClocks/quarter)
	}
	r := &Prepared{src: s, practice: p}
	for _, e := range s.seq.Events {
		r.used[channel(e.Msg)] = true
	}
	for _, q := range p.Passes {
		r.used[clickChannel] = r.used[clickChannel] || q.CountIn != 0
	}
	r.plain = r.lay(1)
	for i, pc := range r.plain.bodies {
		if round(pc.exact) < 1 {
			return nil, fmt.Errorf("practice: pass %d: shorter than a frame", i+1)
		}
	}
	return r, nil
}

// lay makes all pieces of the practice with the tempo multiplied by factor.
func (r *Prepared) lay(factor float64) *plan {
	pl := &plan{Prepared: r, factor: factor}
	made := map[pieceKey]*piece{}
	get := func(k pieceKey) *piece {
		p, ok := made[k]
		if !ok {
			p = r.src.lay(k, factor)
			if p != nil && r.practice.Clock {
				p.layClock(r.src.rate)
			}
			made[k] = p
		}
		return p
	}
	passes := r.practice.Passes
	for _, q := range passes {
		n := q.CountIn
		if n == 0 {
			n = passes[0].CountIn
		}
		pl.counts = append(pl.counts, get(pieceKey{pass: Pass{From: q.From, Scale: q.Scale, CountIn: n}, countIn: true}))
		pl.bodies = append(pl.bodies, get(pieceKey{pass: q.plain()}))
	}
	if q := passes[len(passes)-1]; r.practice.Repeat != Forever && q.Times != Forever {
		pl.final = get(pieceKey{pass: q.plain(), last: true})
	}
	pl.den = big.NewInt(2)
	for _, p := range made {
		if p != nil {
			pl.den = lcm(pl.den, p.exact.Denom())
		}
	}
	pl.half = new(big.Int).Rsh(pl.den, 1)
	for _, p := range made {
		if p != nil {
			p.length = newLength(p.exact, pl.den)
		}
	}
	return pl
}

// lay makes a piece. It is nil for a count-in that turns out to have no length.
func (s *source) lay(k pieceKey, factor float64) *piece {
	p := &piece{pieceKey: k}
	scale := exact(k.pass.Scale)
	if factor != 1 {
		scale = exact(min(max(k.pass.Scale*factor, minScale), maxScale))
	}
	p.scale, _ = scale.Float64()
	if k.countIn {
		scaled := k.pass
		scaled.Scale = p.scale
		p.seq = s.seq.countIn(scaled)
		if p.seq == nil {
			return nil
		}
		p.to, p.end = p.seq.End, p.seq.End
		p.ruler = newRuler(p.seq, 0, p.end, s.rate, scale)
		p.exact = p.ruler.exact(p.end, 0)
		p.place(p.seq.Events, pair(p.seq.Events), Pass{To: p.end})
		return p
	}
	p.seq, p.to, p.end = s.seq, k.pass.To, k.pass.To+k.pass.Tail
	p.ruler = newRuler(p.seq, k.pass.From, p.to, s.rate, scale)
	p.exact = p.ruler.exact(p.end, 0)
	if p.end > p.to {
		p.tail = s.seq.onward(p.to, p.end, s.clicks && !k.pass.Mute.Has(Click))
	}
	p.place(s.seq.Events, s.partner, k.pass)
	return p
}

// place picks the events of the pass and puts them at their frames.
func (p *piece) place(all []Event, partner []int, pass Pass) {
	p.evs = chase(all, pass.From)
	lead := len(p.evs)
	end := pass.To + pass.Tail
	var evs []Event
	lo, _ := slices.BinarySearchFunc(all, pass.From, func(e Event, t Tick) int { return int(e.Tick - t) })
	for i := lo; i < len(all); i++ {
		e := all[i]
		on, off := isOn(e.Msg), isOff(e.Msg)
		if e.Tick > end && !p.last {
			break
		}
		if e.Tick >= pass.To && !off {
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
	if p.tail != nil {
		evs = append(evs, p.tail.Events...)
		sortEvents(evs)
	}
	at := make([]int64, len(evs))
	for i, e := range evs {
		at[i] = max(p.ruler.at(e.Tick, e.Nudge), 0)
	}
	mates := pair(evs)
	if !p.last {
		p.hold(evs, at)
	}
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

// hold keeps attacks on this side of the seam that a nudge or rounding would
// carry over it, and with them what comes before them on their channels.
func (p *piece) hold(evs []Event, at []int64) {
	lastFrame := new(big.Int).Quo(p.exact.Num(), p.exact.Denom()).Int64() - 1
	var limit [16]int64
	for i := range limit {
		limit[i] = 1 << 62
	}
	for i := len(evs) - 1; i >= 0; i-- {
		ch := channel(evs[i].Msg)
		if isOn(evs[i].Msg) && at[i] > lastFrame {
			limit[ch] = min(limit[ch], lastFrame)
		}
		at[i] = max(min(at[i], limit[ch]), 0)
	}
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

// chanState is what a channel was last told, -1 for nothing.
type chanState struct {
	program int16
	bend    int16
	control [120]int16
}

func silentState() chanState {
	s := chanState{program: -1, bend: -1}
	for i := range s.control {
		s.control[i] = -1
	}
	return s
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

// A length is whole frames and num parts of one, over the denominator of its
// plan.
type length struct {
	whole int64
	num   *big.Int
}

func newLength(x *big.Rat, den *big.Int) length {
	num := new(big.Int).Mul(x.Num(), new(big.Int).Quo(den, x.Denom()))
	whole, part := new(big.Int).QuoRem(num, den, new(big.Int))
	return length{whole.Int64(), part}
}

// A tally adds up lengths of one plan, exactly and, once made, in place.
type tally struct {
	whole     int64
	num       *big.Int // below den
	den, half *big.Int
}

func newTally(p *plan) tally {
	// Room for the sum of two numbers below den.
	room := make([]big.Word, 0, len(p.den.Bits())+1)
	return tally{num: new(big.Int).SetBits(room), den: p.den, half: p.half}
}

// reset makes the sum a whole number of frames.
func (t *tally) reset(frames int64) {
	t.whole = frames
	t.num.SetUint64(0)
}

func (t *tally) add(l length) {
	t.whole += l.whole
	t.num.Add(t.num, l.num)
	if t.num.Cmp(t.den) >= 0 {
		t.num.Sub(t.num, t.den)
		t.whole++
	}
}

// frames is the sum rounded half up.
func (t *tally) frames() int64 {
	if t.num.Cmp(t.half) >= 0 {
		return t.whole + 1
	}
	return t.whole
}

func lcm(a, b *big.Int) *big.Int {
	g := new(big.Int).GCD(nil, nil, a, b)
	return g.Mul(g.Quo(a, g), b)
}
