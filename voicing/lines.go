package voicing

import (
	"math"
	"slices"

	"thumbline/theory"
)

// How far the answers of a stretch are thought through together.
const (
	linesTried = 3 // ways that are followed at once
	lineWidth  = 3 // answers to one moment that are followed

	// replyMargin is how much dearer than the best answer to a moment another
	// may be: what follows seldom makes up for more.
	replyMargin = 1.0
)

// A way is a layer played forward in which the answers of a stretch were chosen
// so far: a try.
type way struct {
	layer
	struck []strike // at the moment that is being answered, before it sounds
	cost   float64
	said   []reply // one for each slot from the first
}

// An onward is a way with one more answer, before it is played.
type onward struct {
	from int // index of the way
	r    reply
	cost float64
}

// chosenReply is the answer for a free moment: the first of the best row of
// answers to the end of the stretch. now is as in reply.
func (l *layer) chosenReply(i int, a answer, now []strike) reply {
	if k := l.f - l.planned; k >= 0 && k < len(l.plan) {
		return l.plan[k]
	}
	to := l.f + 1
	for to < len(l.free) && l.free[to].point == i {
		to++
	}
	if to-l.f < 2 || l.trial {
		if rs := l.replies(i, a, now, 1, math.Inf(1)); len(rs) > 0 {
			return rs[0]
		}
		return reply{}
	}
	l.planned, l.plan = l.f, l.lookAhead(now, to)
	return l.plan[0]
}

// lookAhead finds the row of answers to the slots up to the one before to that
// costs least, all together: a few ways are played on in copies, each with the
// best answers to its next moment. now is what is struck at the first.
func (l *layer) lookAhead(now []strike, to int) []reply {
	ways := []way{{layer: l.copied(), struck: now}}
	var on []onward // the cheapest first
	add := func(on []onward, n onward) []onward {
		k := len(on)
		for k > 0 && on[k-1].cost > n.cost {
			k--
		}
		return slices.Insert(on, k, n)
	}
	for f := l.f; ; f++ {
		x := &l.free[f]
		on = on[:0]
		for k := range ways {
			w := &ways[k]
			if f > l.f && l.free[f-1].at < x.at {
				if len(w.struck) > 0 {
					w.strike(w.struck)
				}
				for w.next() < x.at {
					w.step()
				}
				w.struck = w.takeDue(x.at)
			}
			if !w.asks(x) {
				on = add(on, onward{from: k, cost: w.cost})
				continue
			}
			most, kept := lineWidth, linesTried
			if l.waited[x.point] && x.at <= l.w.ps[x.point].texture.split {
				most = 1 // what was tried when the chord was told to wait
			}
			if f+1 == to {
				most, kept = 1, 1
			}
			limit := math.Inf(1) // a way that is dearer than this is not followed
			if len(on) >= kept {
				limit = on[kept-1].cost - w.cost
			}
			rs := w.replies(x.point, *x.ans, w.struck, most, limit)
			if len(rs) == 0 {
				on = add(on, onward{from: k, cost: w.cost + l.w.taste.Answer.Dearest})
			}
			for _, r := range rs {
				on = add(on, onward{k, r, w.cost + r.cost})
			}
		}
		if f+1 == to {
			return append(slices.Clone(ways[on[0].from].said), on[0].r)
		}
		on = on[:min(len(on), linesTried)]
		then := make([]way, len(on))
		for k, n := range on {
			w := &then[k]
			from := &ways[n.from]
			w.layer, w.cost = from.copied(), n.cost
			w.said = append(slices.Clone(from.said), n.r)
			w.f = f + 1
			w.struck = from.struck
			if n.r.n > 0 {
				w.struck = w.answerWith(x.point, *x.ans, slices.Clip(from.struck), n.r)
			}
		}
		ways = then
	}
}

// copied is a copy for trying: it may be played on and l is as it was.
func (l *layer) copied() layer {
	c := *l
	c.trial, c.trialOf = true, -1
	c.live = append(make([]strike, 0, len(l.live)+4), l.live...)
	n := 0 // of done, as far as recent goes back
	l.recent(func(*strike) { n++ })
	n -= len(l.live)
	c.done = append(make([]strike, 0, n+8), l.done[len(l.done)-n:]...)
	return c
}

// An innerLine is what an inner voice that answers stands between.
type innerLine struct {
	ref    []strike  // the inner notes struck last, highest first
	before []strike  // those before them
	again  [128]bool // struck lately, before ref
	last   bool      // no inner answer follows in the stretch
	into   []int     // where it is the last: the pitches of the inner voices that come
	fresh  []int     // guide tones of the next chord, as pitch classes, where into is of one
	back   Tick      // when the next inner voice comes
}

// innerLine is the line that an inner voice at point i, for answer a, is part of.
func (l *layer) innerLine(i int, a answer) innerLine {
	n := innerLine{ref: l.lastInner()}
	if len(n.ref) == 0 {
		for _, t := range l.chosen[i].inner() {
			n.ref = append(n.ref, strike{tone: t})
		}
	}
	at := Tick(-1)
	l.recent(func(x *strike) {
		if x.voice != Inner || len(n.ref) == 0 || x.at >= n.ref[0].at {
			return
		}
		if a.at-x.at <= 4*PerQuarter {
			n.again[x.midi] = true
		}
		if x.at > at && a.at-x.at <= 8*PerQuarter {
			at, n.before = x.at, n.before[:0]
		}
		if x.at == at {
			n.before = append(n.before, *x)
		}
	})
	n.back = l.follows(i, a.at, false)
	if n.last = n.back < 0; !n.last || i+1 >= len(l.chosen) {
		return n
	}
	q := &l.w.ps[i+1]
	if q.at > l.w.ps[i].end || l.chosen[i+1].n <= 1 {
		return n
	}
	n.back = q.texture.innerAt
	for _, t := range l.chosen[i+1].inner() {
		n.into = append(n.into, int(t.midi))
	}
	if q.change {
		n.fresh, n.back = l.pals[i+1].guides, q.at
	}
	return n
}

// near is the note of ref that is nearest to a pitch, and how far it is; ok is
// false where there is none.
func (n *innerLine) near(midi int) (ref, d int, ok bool) {
	d = 99
	for _, r := range n.ref {
		if e := absInt(midi - int(r.midi)); e < d {
			ref, d = int(r.midi), e
		}
	}
	return ref, d, d < 99
}

// isStep reports whether an interval in semitones is a step.
func isStep(d int) bool { return d != 0 && absInt(d) <= 2 }

// cost is what a pitch costs as the next note of the line; share is how much
// counts of where it leads.
func (n *innerLine) cost(wt *AnswerTaste, midi int, share float64) float64 {
	ref, d, ok := n.near(midi)
	cost := 0.0
	switch {
	case !ok:
		return wt.LineNew
	case d == 0 && n.again[midi]:
		cost = wt.LineBack
	case d == 0:
		cost = wt.LineSame
	case d <= 2: // a step: the measure of the rest
	case d <= 4:
		cost = wt.LineThird
	default:
		cost = wt.LineLeap + wt.LineWide*float64(d)
	}
	step := midi - ref
	if isStep(step) {
		for _, b := range n.before {
			if in := ref - int(b.midi); isStep(in) && in*step > 0 {
				cost -= share * wt.LineOn
				break
			} else if in == -step {
				cost -= share * wt.LineHome
				break
			}
		}
	}
	if len(n.into) > 0 {
		cost += share * n.leads(wt, midi, step)
	}
	return cost
}

// leads is what a last note costs for where it leads: little where the next
// inner voices take it up by step.
func (n *innerLine) leads(wt *AnswerTaste, midi, step int) float64 {
	best := 0.0
	if step != 0 {
		best = wt.LineLost
		for _, b := range n.before {
			if int(b.midi) == midi {
				best = 0 // it has come home
			}
		}
	}
	for _, to := range n.into {
		c := 0.0
		switch on := to - midi; {
		case isStep(on):
			c = -wt.LineIn / float64(absInt(on))
			if isStep(step) && step*on > 0 {
				c -= wt.LineOn
			}
		case on == 0 && step != 0:
			if slices.Contains(n.fresh, midi%12) {
				c = -wt.Early
			}
		default:
			continue
		}
		best = min(best, c)
	}
	return best
}

// arrives reports whether a last note steps on into the next inner voices, or
// is there before them.
func (n *innerLine) arrives(midi int) bool {
	ref, _, ok := n.near(midi)
	for _, to := range n.into {
		if on := to - midi; ok && absInt(on) <= 2 && (midi-ref)*(to-ref) > 0 {
			return true
		}
	}
	return false
}

// A linkNote is a pitch that leads from one inner note to another and must stop
// when that one comes.
type linkNote struct {
	midi   int
	back   Tick
	colour float64 // what its colour costs at most
}

// linking lists the notes that an inner voice may borrow under a long note: the
// scale step next to its own, which returns or goes on (harmony.md 2.1), and the
// half step between two notes of a falling or rising line.
func (l *layer) linking(i int, a answer, n *innerLine) []linkNote {
	s, wt := l.w.s, &l.w.taste.Answer
	if n.back < 0 || a.pair || !a.line && (len(n.into) == 0 || s.nextOnset(a.at) < l.w.ps[i].end) {
		return nil
	}
	uses := l.w.uses(i, l.mood(i))
	if len(uses) == 0 {
		return nil
	}
	pal, sc := &l.pals[i], uses[0].Scale
	key := s.keyPCs[s.barAt(a.at)]
	plain := func(pc int) bool { return s.coloured || key.Has(pc) } // a plain sheet stays in its key
	var out []linkNote
	if p := &l.w.ps[i]; len(n.fresh) > 0 && p.end-a.at <= s.bars[s.barAt(a.at)].Beat/2 && s.nextOnset(a.at) > p.end {
		// the tune holds: a guide tone of the next chord may come before it
		for _, to := range n.into {
			if _, d, ok := n.near(to); ok && isStep(d) && slices.Contains(n.fresh, to%12) {
				out = append(out, linkNote{to, l.w.ps[i+1].texture.innerAt, wt.Chain})
			}
		}
	}
	add := func(midi int, colour float64) {
		if n.last && !n.taken(midi) {
			return
		}
		if pal.chord.Kind == theory.Major && midi%12 == (pal.root+5)%12 {
			colour = wt.BorrowedFourth // it pulls away from a chord that is at rest
		}
		out = append(out, linkNote{midi, n.back, colour})
	}
	for _, r := range n.ref {
		from := int(r.midi)
		if step, ok := sc.StepOf(from % 12); ok {
			home := sc.Semitone(step)
			for _, k := range []int{step - 1, step + 1} {
				midi := from + sc.Semitone(k) - home
				if !plain(midi%12) || l.denies(i, midi%12) {
					continue
				}
				add(midi, wt.Borrowed)
			}
		}
		for _, on := range []int{-1, 1} {
			if l.w.ps[i].final {
				break
			}
			if mid := from + on; plain(mid%12) && !l.denies(i, mid%12) && (n.last || pal.cost[(mid+on+12)%12] < 1) {
				add(mid, wt.Chain)
			}
		}
	}
	return out
}

// taken reports whether the inner voices that come take a pitch up by step.
func (n *innerLine) taken(midi int) bool {
	return slices.ContainsFunc(n.into, func(to int) bool { return isStep(to - midi) })
}

// denies reports whether a pitch class makes another chord of point i's: the
// other third, or the other seventh.
func (l *layer) denies(i, pc int) bool {
	pal := &l.pals[i]
	deg := (pc - pal.root + 12) % 12
	switch {
	case pal.third >= 0 && pc != pal.third && (deg == 3 || deg == 4):
		return true
	case pal.dom || pal.chord.Kind != theory.Major && pal.chord.Tones.Has(10):
		return deg == 11
	case pal.chord.Kind == theory.Major:
		return deg == 10
	}
	return false
}

// A bassLine is what a bass that answers stands between, as pitches; 0 where
// there is none.
type bassLine struct {
	before int // the bass before the last
	last   int // the bass struck last
	after  int // the next grip's
	next   int // the same where it comes within a beat
	soon   int // the same where this is the last bass before it, a beat sooner: then only a note of the chord leads there
	more   bool
}

// bassLine is the line that a bass at point i, for answer a, is part of.
func (l *layer) bassLine(i int, a answer) bassLine {
	w, p := l.w, &l.w.ps[i]
	beat := w.s.bars[w.s.barAt(a.at)].Beat
	b := bassLine{after: l.bassAfter(i), more: l.follows(i, a.at, true) >= 0}
	b.last, b.before = l.lastBasses()
	following := &w.ps[min(i+1, len(w.ps)-1)]
	if p.end-a.at <= beat && following.texture.bassAt <= p.end {
		b.next = b.after // a last root that is held back takes no approach
	}
	if b.next == 0 && b.after != b.last && p.end-a.at <= 2*beat && following.change && !b.more {
		b.soon = b.after
	}
	return b
}

// walks reports whether a pitch steps on from the last bass towards the next
// grip's, with more to come between.
func (b *bassLine) walks(midi int) bool {
	in := midi - b.last
	return b.more && b.last > 0 && b.after > 0 && isStep(in) && in*(b.after-midi) > 0
}

// strays reports whether the bass has set out by step and a pitch leaves it by a
// leap. That is no fault where it has arrived.
func (b *bassLine) strays(midi int) bool {
	return b.before > 0 && b.last > 0 && isStep(b.last-b.before) && absInt(midi-b.last) > 2
}

// gains is what a walk makes cheaper: each step that goes on as the step before
// it, into the next bass or from the bass before the last; and the fifth of the
// bass that comes, which leads there as a dominant does.
func (b *bassLine) gains(wt *AnswerTaste, midi int) float64 {
	gain := 0.0
	if between(b.before, b.last, midi) {
		gain += wt.WalkOn
	}
	if between(b.last, midi, b.next) {
		gain += wt.WalkOn
	}
	if d := midi - b.next; b.next > 0 && midi != b.last && (d == 7 || d == -5) {
		gain += wt.FifthIn
	}
	return gain
}

// lastBasses are the pitches of the two basses struck last, the latest first; 0
// where there was none.
func (l *layer) lastBasses() (last, before int) {
	at, then := Tick(-1), Tick(-1)
	l.recent(func(x *strike) {
		if x.voice != Bass {
			return
		}
		switch {
		case x.at > at:
			before, then = last, at
			last, at = int(x.midi), x.at
		case x.at < at && x.at > then:
			before, then = int(x.midi), x.at
		}
	})
	return last, before
}
