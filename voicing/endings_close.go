package voicing

import (
	"slices"

	"thumbline/theory"
)

// closeGrips are those of the last point's grips that close: the chord has its
// third, and its root is the lowest note. Where none does, the fewest notes that
// make the chord are looked for.
func (w *worker) closeGrips(i int, gs []grip) []grip {
	p := &w.ps[i]
	if !p.final {
		return gs
	}
	c := w.s.chords[p.chord].chord
	third, has := c.ThirdPC()
	// a written bass may come first where there is time for the root after it
	later := slices.ContainsFunc(p.layouts, func(tx texture) bool { return len(tx.answers) > 0 && tx.answers[len(tx.answers)-1].root })
	closes := func(g grip) bool {
		if has && !g.pcs.Has(third) {
			return false
		}
		b, ok := g.bass()
		return w.setting == Trio || ok && (int(b.midi)%12 == c.RootPC() || later && int(b.midi)%12 == c.BassPC())
	}
	out := slices.DeleteFunc(slices.Clone(gs), func(g grip) bool { return !closes(g) })
	if has && p.held && w.s.tune[p.tune].end+w.s.bars[w.s.barAt(p.at)].Beat <= p.end { // the tune leaves before the chord is over
		own := slices.DeleteFunc(slices.Clone(out), func(g grip) bool {
			return !slices.ContainsFunc(g.inner(), func(t tone) bool { return int(t.midi)%12 == third })
		})
		if len(own) > 0 {
			out = own
		}
	}
	if len(out) == 0 && w.setting == Solo {
		out = w.plainClose(p, c, muddy)
	}
	if len(out) == 0 && later { // under a low tune third and root are mud together: the root comes after
		out = slices.DeleteFunc(slices.Clone(gs), func(g grip) bool { return has && !g.pcs.Has(third) })
	}
	if len(out) == 0 && w.setting == Solo { // or with it, where there is no time: better mud than no chord
		out = w.plainClose(p, c, func(int, int) bool { return false })
	}
	if len(out) == 0 {
		return gs
	}
	return out
}

// noClose is the price of a way that leaves the last chord without its third:
// dearer than any other, but taken where there is no other.
const noClose = 1000

// thirdLost is what it costs at point i that the hand lets go of the tune held
// over it for grip g, where the tune alone has the third of the last chord.
func (w *worker) thirdLost(i int, g *grip) float64 {
	if w.holds(i) || w.ps[i].final && w.thirdHeld(i, g) {
		return noClose
	}
	return 0
}

// holds reports whether the tune is held over point i on the way to the last
// chord, which needs it for its third.
func (w *worker) holds(i int) bool { return w.holdFrom > 0 && i >= w.holdFrom }

// thirdHeld reports whether the tune alone has the third of the chord of point i.
func (w *worker) thirdHeld(i int, g *grip) bool {
	third, has := w.s.chords[w.ps[i].chord].chord.ThirdPC()
	if !has || !g.tune || int(g.note[0].midi)%12 != third {
		return false
	}
	return !slices.ContainsFunc(g.note[1:g.n], func(t tone) bool { return int(t.midi)%12 == third })
}

// holdThird looks at the grips that a note of the tune is held over into the last,
// whose third it alone has. Where it stands in none of the last grips as it does in
// all before, these may be taken with other fingers on it too: a finger that can
// stay is taken from the start.
func (w *worker) holdThird() {
	k := len(w.ps) - 1
	if k < 1 || !w.ps[k].held {
		return
	}
	needs := func(g grip) bool { return w.thirdHeld(k, &g) }
	if !slices.ContainsFunc(w.grips[k], needs) {
		return
	}
	from := k
	for from > 0 && w.ps[from].held && len(w.runs[from-1].notes) == 0 {
		from--
	}
	stays := func(st stand) bool {
		for i := from; i < k; i++ {
			if !slices.ContainsFunc(w.grips[i], func(g grip) bool { return g.tune && g.note[0].stand() == st }) {
				return false
			}
		}
		return true
	}
	own := slices.DeleteFunc(slices.Clone(w.grips[k]), needs)
	switch stay := slices.ContainsFunc(w.grips[k], func(g grip) bool { return g.tune && stays(g.note[0].stand()) }); {
	case !stay && len(own) > 0:
		w.grips[k] = own
		return
	case !stay:
		for i := from; i < k; i++ {
			for _, g := range w.grips[i] {
				w.grips[i] = append(w.grips[i], w.m.refingered(&g)...)
			}
		}
	}
	if k-from > 1 {
		w.holdFrom = from + 1
	}
}

// refingered is a grip with each other finger on the tune that a hand can use.
func (m *maker) refingered(g *grip) (out []grip) {
	if !g.tune || g.note[0].fret == 0 {
		return nil
	}
	for f := int8(1); f <= 4; f++ {
		if f == g.note[0].finger {
			continue
		}
		var ps [maxPresses]Press
		for i, t := range g.note[:g.n] {
			ps[i] = Press{Stop{t.str, t.fret}, 0}
		}
		ps[0].Finger = f
		x := m.grasp.fingers(ps[:g.n])
		if !x.ok {
			continue
		}
		h := *g
		for i := range h.note[:h.n] {
			h.note[i].finger = x.finger[i&7]
		}
		h.pos, h.ease = x.pos, x.cost
		h.cost += m.taste.Finger * (x.cost - g.ease)
		out = append(out, h)
	}
	return out
}

// wholeGrips are the full ones among the grips of a point whose chord is struck
// as a whole: guide tones and four notes, or as many as there are.
func (w *worker) wholeGrips(i int, gs []grip) []grip {
	p := &w.ps[i]
	c := &w.s.chords[p.chord]
	if c.asked == nil || c.at != p.at || p.final {
		return gs
	}
	guides := c.chord.GuideTones()
	for n := int8(usualNotes); n > 2; n-- {
		if out := slices.DeleteFunc(slices.Clone(gs), func(g grip) bool { return g.n < n || !hasAll(g.pcs, guides) }); len(out) > 0 {
			return out
		}
	}
	return gs
}

// plainClose lists root and third under the tune, where the hand finds no
// better; the root alone where the tune has the third. mud reports which two
// pitches may not lie together.
func (w *worker) plainClose(p *point, c theory.Chord, mud func(lower, upper int) bool) (out []grip) {
	top := 0
	if p.tune >= 0 {
		top = w.s.tune[p.tune].midi
	}
	over := top // what sounds above, be it only for a moment more
	if top == 0 {
		over = w.s.tuneOver(p.at)
	}
	third, has := c.ThirdPC()
	sung := has && top > 0 && top%12 == third
	for low := w.neck.Low(); low <= highestBass+7; low++ {
		if low%12 != c.RootPC() || over > 0 && low >= over {
			continue
		}
		pitches := []int{low}
		if top > 0 {
			pitches = append(pitches, top)
		}
		if !has || sung {
			out = append(out, w.m.exact(pitches, top > 0)...)
			continue
		}
		for mid := low + 3; mid < low+30 && (over == 0 || mid < over-1); mid++ {
			if mid%12 == third && !mud(low, mid) {
				out = append(out, w.m.exact(slices.Insert(slices.Clone(pitches), 1, mid), top > 0)...)
			}
		}
	}
	for i := range out { // high up the neck the root lies higher than a bass does elsewhere
		g := &out[i]
		if g.n > 1 || !g.tune {
			g.note[g.n-1].voice, g.hasBass = Bass, true
			g.cost += 0.3 * float64(max(int(g.note[g.n-1].midi)-48, 0))
		}
	}
	slices.SortStableFunc(out, func(a, b grip) int { return a.compare(&b) })
	return out[:min(len(out), mostExact)]
}

// closeAfresh lets no inner voice of the last chord say the same again: what
// comes back later waits until then, where the chord has been heard before and
// something else strikes its beat; else it is left out.
func (l *layer) closeAfresh() {
	k := len(l.w.ps) - 1
	if k < 0 || l.w.setting == Trio {
		return
	}
	inner := func(x *strike) bool { return x.point == k && x.voice == Inner && x.tune < 0 }
	for i := 0; i < len(l.done); i++ {
		x := &l.done[i]
		if !inner(x) {
			continue
		}
		again, company := -1, 0
		for j := range l.done {
			switch y := &l.done[j]; {
			case j == i || !inner(y):
			case y.at == x.at:
				company++
			case y.at > x.at && y.midi == x.midi:
				again = j
			}
		}
		switch {
		case again < 0:
			continue
		case company > 0 && !l.w.ps[k].change:
			l.done = slices.Delete(l.done, i, i+1)
		case l.w.s.putIn(x.at):
			l.done = slices.Delete(l.done, again, again+1)
		default:
			continue // it fills a beat of the tune
		}
		i = -1
	}
}

// closeInTime drops what an inner voice says of the last chord in the beat before
// it and then says again, where the chord is one that was put in.
func (l *layer) closeInTime() {
	k := len(l.w.ps) - 1
	s := l.w.s
	if k < 1 || !l.w.ps[k].change || !s.putIn(l.w.ps[k].at) && s.chords[l.w.ps[k].chord].added == "" {
		return
	}
	at := l.w.ps[k].at
	from := at - s.bars[s.barAt(at)].Beat
	l.done = slices.DeleteFunc(l.done, func(x strike) bool {
		return x.point == k-1 && x.voice == Inner && x.tune < 0 && x.at >= from && x.at > l.w.ps[k-1].at &&
			slices.ContainsFunc(l.done, func(y strike) bool { return y.point == k && y.at == at && y.midi == x.midi })
	})
}

// sayOnce drops an inner voice that comes alone between the beats of an ending and
// says what the same chord has said already.
func (l *layer) sayOnce() {
	s := l.w.s
	if s.form.ending >= len(s.bars) {
		return
	}
	from := s.bars[s.form.ending].At
	l.done = slices.DeleteFunc(l.done, func(x strike) bool {
		return x.at >= from && x.voice == Inner && x.tune < 0 && x.point >= 0 && !s.onBeat(x.at) && x.at > l.w.ps[x.point].at &&
			!slices.ContainsFunc(l.done, func(y strike) bool { return y.at == x.at && y != x }) &&
			slices.ContainsFunc(l.done, func(y strike) bool { return y.point == x.point && y.at < x.at && y.midi == x.midi })
	})
}

// closeOnRoot drops what answers after the low root of the last chord: that is
// the last word. What the tune strikes stays.
func (l *layer) closeOnRoot() {
	k := len(l.w.ps) - 1
	if k < 0 || l.w.setting == Trio {
		return
	}
	root := l.w.s.chords[l.w.ps[k].chord].chord.RootPC()
	last := Tick(-1)
	for i := range l.done {
		if x := &l.done[i]; x.point == k && x.voice == Bass && int(x.midi)%12 == root {
			last = max(last, x.at)
		}
	}
	if last < 0 {
		return
	}
	silent := never // from then on nothing is struck any more
	l.done = slices.DeleteFunc(l.done, func(x strike) bool {
		drop := x.point == k && x.at > last && x.tune < 0
		if drop {
			silent = min(silent, x.at)
		}
		return drop
	})
	if slices.ContainsFunc(l.done, func(x strike) bool { return x.at >= silent }) {
		return
	}
	for i := range l.done { // what had made room rings on
		if x := &l.done[i]; x.point == k && x.end >= silent && x.meant > x.end {
			x.end, x.meant, x.why = x.meant, 0, EndMeant
		}
	}
}

// rootAfter plays on to the end and reports whether the last chord's low root
// comes after t.
func (l *layer) rootAfter(t Tick) bool {
	for l.step() {
	}
	k := len(l.w.ps) - 1
	root := l.w.s.chords[l.w.ps[k].chord].chord.RootPC()
	return slices.ContainsFunc(l.live, func(x strike) bool { return x.point == k && x.at > t && x.voice == Bass && int(x.midi)%12 == root })
}
