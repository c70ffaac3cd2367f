package main

import (
	"fmt"
	"math"
	"time"

	"thumbline/midiio"
)

// What a player may ask for while it plays.
type action uint8

const (
	theKey action = iota // the expected next thing
	pauseOrGo
	again
	nextPart
	previousPart
	slower
	faster
	layerOnOff // press.layer
	where      // said in plain lines
	stop
)

// A press is one key, as it is meant.
type press struct {
	do    action
	layer midiio.Layer
}

// An orderKind is what a rehearsal wants of the sound.
type orderKind uint8

const (
	orderPause orderKind = iota
	orderResume
	orderAgain
	orderPart  // part, from its start, counted in, its tempi times factor
	orderTempo // factor, from the next pass on
	orderMute
	orderUnmute
	orderStop
)

type order struct {
	kind   orderKind
	part   int
	by     int // the direction that it lies in
	factor float64
	layers midiio.LayerSet
}

// A turn is one pass of the plan that every part is practised by.
type turn struct {
	scale float64 // of the written tempo
	alone bool    // time alone, in which the player plays
	heard midiio.LayerSet
	times int // midiio.Forever
}

const (
	passesRow = 6                // of one phrase, then rest is offered (harmony.md 7.1)
	playSpan  = 25 * time.Minute // of playing, then again
	restSpan  = 5 * time.Minute
	// offerStands is for how many passes an offer is shown.
	offerStands = 3
	tempoStep   = 0.05 // of the written tempo, for slower and faster

	// A key that is struck again sooner than that was struck once: the one key
	// is hit without looking, and held keys repeat.
	bounce = 250 * time.Millisecond
	// Who is a little late for the seam means the pass that has just ended.
	seamGrace  = 600 * time.Millisecond
	shortBreak = 120 * time.Millisecond
)

// A rehearsal is where a player stands in practising: which part, how often,
// how fast, what is muted. It has no clock and makes no sound; press says what
// to order, heard takes in what has come of it.
type rehearsal struct {
	parts int // that next and previous go through
	here  int // the one that plays; -1 is what was asked for, where it is none of them
	home  int // where next and previous go on from there; -1 is before the first

	plan []turn
	back int // the turn after the last one; -1 ends

	layers []midiio.Layer  // that can be switched
	muted  midiio.LayerSet // by the player
	factor float64         // on top of the plan's tempi

	paused  bool
	stopped bool
	now     midiio.Position // where the part that plays is heard
	turn    int             // of plan
	inTurn  int             // passes of it that have begun
	open    bool            // a pass has begun and not ended
	passes  int             // of this part, begun
	full    int             // of this part, played to their ends
	atTop   int             // of those, at the last tempo of a ramp
	since   time.Time       // when there was no more to gain from it; zero for not yet

	total   int           // passes begun in all
	playing time.Duration // since the last rest
	spans   int           // of playing that a rest was offered after
	last    time.Time     // of the last look
	stood   time.Duration // paused, without a break
	all     time.Duration // played, for the farewell
	offer   string        // the rest that is offered
	offered int           // the total then

	once    bool    // nothing is repeated: the one key pauses
	lines   bool    // a key is a line: it does not bounce
	changes bool    // the parts are changes of grips
	rests   bool    // there are bars of rest after each pass
	events  []event // not told yet

	pressed [stop + 1]time.Time
}

// newRehearsal begins with part here.
func newRehearsal(parts, here, home int, plan []turn, back int) rehearsal {
	return rehearsal{parts: parts, here: here, home: home, plan: plan, back: back, factor: 1}
}

// ramped reports whether the plan goes through several tempi.
func (r *rehearsal) ramped() bool { return r.plan[0].scale != r.top() }

// top is the last tempo of the plan.
func (r *rehearsal) top() float64 { return r.plan[len(r.plan)-1].scale }

// done reports whether there is no more to gain from this part for now: the
// last tempo of the ramp was played, or without a ramp six passes.
func (r *rehearsal) done() bool {
	if r.ramped() {
		return r.atTop > 0
	}
	return r.full >= passesRow
}

// expected is what the one key does now.
func (r *rehearsal) expected() action {
	switch {
	case r.now.Done:
		return stop
	case r.paused || r.once:
		return pauseOrGo
	case r.done() && r.parts > 1 && r.last.Sub(r.since) >= seamGrace:
		return nextPart
	}
	return again
}

// step is the part that comes after by so many, from the last on to the first.
func (r *rehearsal) step(by int) int {
	if r.parts == 0 {
		return r.here
	}
	from := r.here
	if from < 0 {
		from = r.home
		if from < 0 && by < 0 {
			from = 0
		}
	}
	return ((from+by)%r.parts + r.parts) % r.parts
}

// press is what becomes of a key at a moment.
func (r *rehearsal) press(p press, at time.Time) []order {
	if r.stopped || r.bounced(p.do, at) {
		return nil
	}
	do := p.do
	if do == theKey {
		do = r.expected()
	}
	if r.now.Done && do != stop {
		return nil // what sounds still is dying away, and nothing comes after it
	}
	switch do {
	case pauseOrGo:
		r.paused = !r.paused
		if r.paused {
			return []order{{kind: orderPause}}
		}
		return []order{{kind: orderResume}}
	case again:
		r.paused = false
		if r.open {
			r.open = false
			r.passes--
			r.inTurn--
		}
		r.now = midiio.Position{CountIn: true}
		return []order{{kind: orderAgain}}
	case nextPart:
		return r.goTo(r.step(1), 1)
	case previousPart:
		return r.goTo(r.step(-1), -1)
	case slower, faster:
		return r.turnTempo(do)
	case layerOnOff:
		set := midiio.Layers(p.layer)
		r.muted ^= set
		if r.muted&set != 0 {
			return []order{{kind: orderMute, layers: set}}
		}
		return []order{{kind: orderUnmute, layers: set}}
	case stop:
		r.stopped = true
		return []order{{kind: orderStop}}
	}
	return nil
}

// bounced reports whether a press is no press of its own.
func (r *rehearsal) bounced(do action, at time.Time) bool {
	before := r.pressed[do]
	r.pressed[do] = at
	gap := time.Duration(0)
	switch do {
	case theKey, pauseOrGo:
		gap = bounce
	case again, nextPart, previousPart:
		gap = shortBreak
	}
	return !r.lines && !before.IsZero() && at.Sub(before) < gap
}

// goTo begins with another part, by the plan from its start.
func (r *rehearsal) goTo(part, by int) []order {
	if r.parts == 0 {
		return nil
	}
	r.here = part
	r.paused = false
	r.open = false
	r.turn, r.inTurn, r.passes, r.full, r.atTop = 0, 0, 0, 0, 0
	r.since = time.Time{}
	r.now = midiio.Position{CountIn: true}
	r.offer = ""
	if r.ramped() {
		r.factor = 1
	}
	return []order{{kind: orderPart, part: part, by: by, factor: r.factor}}
}

// turnTempo makes the next pass slower or faster by so much of the written
// tempo, and all after it in proportion.
func (r *rehearsal) turnTempo(do action) []order {
	if r.once {
		return nil // there is no next pass
	}
	next := r.nextScale()
	// What --tempo asked for may lie beyond the bounds; no key leads out of them
	// or the wrong way.
	to := max(next, min(next+tempoStep, fastest/100.))
	if do == slower {
		to = min(next, max(next-tempoStep, slowest/100.))
	}
	to = math.Round(to*1e4) / 1e4
	if math.Abs(to-next) < 1e-6 {
		return nil
	}
	r.factor *= to / next
	return []order{{kind: orderTempo, factor: r.factor}}
}

// scale is the tempo that is heard, in parts of the written one.
func (r *rehearsal) scale() float64 {
	if r.now.Scale > 0 {
		return r.now.Scale
	}
	return r.plan[r.turn].scale * r.factor
}

// nextScale is the tempo of the pass after this one, or after the one that is
// counted in: that one is on its way.
func (r *rehearsal) nextScale() float64 {
	t, ok := r.nextTurn()
	if !ok {
		t = r.turn
	}
	return r.plan[t].scale * r.factor
}

// nextTurn is the turn of the pass after this one, or after the one that is
// counted in; ok is false when there is none.
func (r *rehearsal) nextTurn() (t int, ok bool) {
	begun := r.inTurn
	if !r.open {
		begun++
	}
	switch n := r.plan[r.turn].times; {
	case n == midiio.Forever || begun < n:
		return r.turn, true
	case r.turn+1 < len(r.plan):
		return r.turn + 1, true
	}
	return max(r.back, 0), r.back >= 0
}

// heard takes in where the sound is, as a player hears it. What was before an
// order to begin anew is not fresh: it is old.
func (r *rehearsal) heard(pos midiio.Position, fresh bool, at time.Time) {
	if !r.last.IsZero() {
		r.clock(at.Sub(r.last))
	}
	r.last = at
	if !fresh {
		return
	}
	begun := pos.Played
	if pos.CountIn {
		begun = min(begun, r.passes)
	}
	for r.passes < begun {
		r.begin()
	}
	if pos.Tail && !r.now.Tail && r.rests && !pos.Done {
		r.events = append(r.events, event{kind: restBegun})
	}
	r.now = pos
}

// begin is the next pass of the part.
func (r *rehearsal) begin() {
	if r.open {
		r.full++
		if p := r.plan[r.turn]; p.scale == r.top() && (p.alone || !r.answers()) {
			r.atTop++
		}
		if t, ok := r.nextTurn(); ok && t != r.turn {
			r.turn, r.inTurn = t, 0
		}
	}
	if r.since.IsZero() && r.done() {
		r.since = r.last
	}
	r.open = true
	r.passes++
	r.inTurn++
	r.total++
	p := r.plan[r.turn]
	r.events = append(r.events, event{kind: passBegun, pass: r.passes, scale: p.scale * r.factor, alone: p.alone, heard: p.heard})
	if r.offer != "" && r.total >= r.offered+offerStands {
		r.offer = ""
	}
	if r.full == passesRow && r.passes == passesRow+1 {
		r.suggest(r.sixTimes())
	}
}

// suggest offers a rest for the next few passes.
func (r *rehearsal) suggest(line string) {
	r.offer, r.offered = line, r.total
	r.events = append(r.events, event{kind: offered, text: line})
}

// rampCaution stands at the beginning of a ramp in place of handCaution.
const rampCaution = "Hands: warm up, go back (-) where it gets tense, and stop if it hurts."

// wideCaution stands there where grips may be wide: what strains a hand once
// strains it in every pass.
const wideCaution = "Hands: warm up, rest often, no stretch is a goal, and stop if it hurts."

// sixTimes is said after as many passes of one part.
func (r *rehearsal) sixTimes() string {
	part := "phrase"
	if r.changes {
		part = "change"
	}
	return "That was six times: a good moment to rest the hand, or to take another " + part + "."
}

// restOffer is said after so many spans of playing.
func restOffer(spans int) string {
	return fmt.Sprintf("%d minutes: rest for five, then go on. Stop if it hurts.", spans*int(playSpan/time.Minute))
}

func (r *rehearsal) answers() bool {
	for _, t := range r.plan {
		if t.alone {
			return true
		}
	}
	return false
}

// clock counts time that was played, and rests.
func (r *rehearsal) clock(d time.Duration) {
	if r.paused || d >= restSpan { // or the machine slept
		if r.stood += d; r.stood >= restSpan {
			r.playing, r.spans = 0, 0
		}
		return
	}
	r.stood = 0
	r.playing += d
	r.all += d
	if n := int(r.playing / playSpan); n > r.spans {
		r.spans = n
		r.suggest(restOffer(n))
	}
}
