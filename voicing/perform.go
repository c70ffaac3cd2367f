package voicing

import (
	"fmt"
	"iter"
	"slices"
	"sort"

	"thumbline/theory"
)

// A strike is one string plucked at one time, on its way to becoming a Note.
type strike struct {
	tone
	at, end Tick // end is where it must stop at the latest
	point   int  // index of the point it belongs to, -1 before the first
	fill    bool
	tune    int  // index of the tune note, -1
	brief   Tick // where it stops, a stab, if nothing needs it longer; 0 for what is no stab

	// once it has stopped
	why      End
	meant    Tick // where it was to stop
	from, to int8 // the places of the hand before and after
	by       Stop // where its finger is needed, if it is
}

// layer turns the chosen grips and the ways between them into strikes, adds
// the answers, and lets the hand decide what rings.
type layer struct {
	w       *worker
	path    []int // of each point the choice and the manner that were taken
	manner  []int
	whole   []grip   // of each point, as it was chosen
	chosen  []grip   // the same as it is played
	due     []strike // grips and tune, in order
	live    []strike // sounding now
	done    []strike
	lastPos int8 // place of the hand at the last fretted attack
	lastAt  Tick
	slides  []slide      // approach chords
	steps   []slide      // passing diminished chords
	waited  map[int]bool // points whose chord came with the tune's next beat
	full    [2]int       // outer pitches of the last attack of three notes or more
	before  []strike     // the last attack
	trial   bool         // this is a copy that tries whether trialOf can wait
	trialOf int
	dropped int       // notes that the hand could not take
	now     []strike  // struck at the moment that is being answered
	free    []slot    // moments to be answered, in order
	pals    []palette // of each point, as its grip takes the chord
	d, f    int       // next of due, next of free
	plan    []reply   // what was chosen for the moments from planned on
	planned int

	textures []texture // of each point, as it was played
	price    float64   // of each note that is added
	cost     float64   // of the way it goes, without that price
	over     []float64 // and what it costs more at each point; nil for nothing
}

// perform lays out the chosen path and plays it.
func (w *worker) perform(path, manner []int) *layer {
	l := &layer{w: w, path: path, manner: manner, price: w.price, over: w.over, lastAt: -1 << 30, waited: map[int]bool{}}
	for i, c := range path {
		g := grip{}
		if c >= 0 && c < len(w.grips[i]) {
			g = w.grips[i][c]
		}
		l.whole = append(l.whole, g)
		tx := &w.ps[i].texture
		*tx = w.ps[i].layouts[max(manner[i], 0)]
		tx.answers = slices.Clone(tx.answers)
		if tx.alone && g.tune {
			g.n, g.hasBass, g.strings = 1, false, 1<<uint(g.note[0].str)
			g.pcs = theory.PCSet(0).With(int(g.note[0].midi))
		}
		l.chosen = append(l.chosen, g)
	}
	for i := range w.ps {
		if !w.scripted(i) {
			w.s.settle(&w.ps[i], &l.chosen[i])
		}
	}
	l.preparePalettes()
	l.write()
	l.play()
	for i := range w.ps {
		l.textures = append(l.textures, w.ps[i].texture)
	}
	slices.SortStableFunc(l.steps, func(a, b slide) int { return int(a.at - b.at) })
	return l
}

// arrangement is what was played, with its reasons.
func (l *layer) arrangement() *Arrangement {
	w, a := l.w, &Arrangement{}
	for i := range w.ps { // another layer may have been played since
		w.ps[i].texture = l.textures[i]
	}
	l.lengths()
	l.collect(a)
	a.LetGo = l.letsGo()
	a.TopTempo = w.s.topTempo(a.Notes, w.right)
	w.describe(a, l)
	if l.dropped > 0 {
		a.Warnings = append(a.Warnings, fmt.Sprintf("notes left out because the hand could not take them with the rest of their attack: %d", l.dropped))
	}
	if alone := l.alone(); alone > 0 {
		a.Warnings = append(a.Warnings, fmt.Sprintf("the tune stands alone at %d of %d places that want harmony: no grip there fits hand, chord and tune together", alone, len(w.ps)))
	}
	return a
}

// alone counts the points at which the tune stands without any harmony.
func (l *layer) alone() int {
	if l.w.s.trio {
		return l.w.soloAlone // more of it is left alone on purpose
	}
	n := 0
	for i := range l.chosen {
		if l.w.ps[i].tune >= 0 && l.chosen[i].n <= 1 && !l.w.ps[i].texture.alone {
			n++
		}
	}
	return n
}

// write lists what is due: the tune with its stands, and the grips.
func (l *layer) write() {
	w, s := l.w, l.w.s
	tune := make([]stand, len(s.tune))
	seen := make([]bool, len(s.tune))
	take := func(r *run, from, to *grip, held bool) {
		var need *stand
		if held && to != nil && to.tune {
			t := to.note[0]
			st := t.stand()
			need = &st
		}
		for j, st := range r.walk(&w.taste, from, to, need) {
			tune[r.notes[j]], seen[r.notes[j]] = st, true
		}
	}
	var first *grip
	held := false
	if len(l.chosen) > 0 {
		first, held = &l.chosen[0], w.ps[0].held
	}
	take(w.lead, nil, first, held)
	told := make([]bool, len(s.tune)) // due already
	for i := range w.ps {
		if w.scripted(i) {
			for _, x := range l.told(i) {
				if x.tune >= 0 {
					tune[x.tune], seen[x.tune], told[x.tune] = x.stand(), true, true
				}
			}
		}
	}
	for i := range w.ps {
		if w.scripted(i) && w.until(i) >= w.ps[i].end {
			continue
		}
		g := &l.chosen[i]
		if p := &w.ps[i]; p.tune >= 0 && !p.held && g.tune {
			t := g.note[0]
			tune[p.tune], seen[p.tune] = t.stand(), true
		}
		var next *grip
		held := false
		if i+1 < len(w.ps) {
			next, held = &l.chosen[i+1], w.ps[i+1].held
		}
		take(w.runs[i], g, next, held)
	}
	l.approaches(tune)
	pt := 0
	for k, n := range s.tune {
		for pt < len(w.ps) && w.ps[pt].from <= n.at {
			pt++
		}
		if told[k] {
			continue
		}
		st := tune[k]
		if !seen[k] { // a note that no run and no grip took: it stands by itself
			if all := w.neck.stands(n.midi); len(all) > 0 {
				st = all[0]
			}
		}
		l.due = append(l.due, strike{tone: tone{st.str, st.fret, st.finger, int16(n.midi), Melody},
			at: n.at, end: n.end, point: pt - 1, tune: k, fill: n.fill})
	}
	for i := range w.ps {
		p, g := &w.ps[i], &l.chosen[i]
		for j := int8(0); j < g.n && !w.scripted(i); j++ {
			t := g.note[j]
			if t.voice == Melody {
				continue
			}
			at := p.texture.innerAt
			if t.voice == Bass {
				at = p.texture.bassAt
			}
			x := strike{tone: t, at: at, end: l.ringEnd(i, t), point: i, tune: -1,
				fill: !p.comp && (p.tune < 0 || w.s.chords[p.chord].added != "" || w.s.putIn(at))}
			if p.comp && t.voice == Inner {
				x.brief = w.s.chordEnd(at)
			}
			l.due = append(l.due, x)
		}
		if p.comp && !w.scripted(i) {
			l.due = l.chordAgain(i, l.due)
		}
	}
	slices.SortStableFunc(l.due, strike.before)
}

// ringEnd is where a note of point i must stop: where the chord changes to one
// that does not have it, else where the next grip's voices come.
func (l *layer) ringEnd(i int, t tone) Tick {
	w, s := l.w, l.w.s
	end := s.silent[w.ps[i].chord]
	for k := i + 1; k < len(w.ps); k++ {
		q := &w.ps[k]
		if q.at >= end {
			return end
		}
		if q.chord != w.ps[i].chord && q.change {
			c := s.chords[q.chord].chord
			switch {
			case t.voice == Bass:
				return q.at
			case s.trio && (int(t.midi)%12 == c.RootPC() || int(t.midi)%12 == c.BassPC()):
				return min(q.at, q.texture.innerAt) // it is the bass player's now
			case !c.Tones.Has(int(t.midi) - c.RootPC()):
				return min(q.at, q.texture.innerAt)
			}
			return q.texture.innerAt
		}
		if l.chosen[k].n > 1 {
			if t.voice == Bass {
				if !l.chosen[k].hasBass {
					continue // nothing takes its place
				}
				return max(q.at, q.texture.bassAt) // two basses at once are mud, even far apart
			}
			return q.texture.innerAt
		}
	}
	if c := s.chords[w.ps[i].chord]; c.end < end {
		end = c.end
	}
	return end
}

// A slot is a free moment to be answered.
type slot struct {
	at    Tick
	point int
	ans   *answer
}

// play goes through time: what is due is struck, the free moments are
// answered, and at every attack the best part of what sounds is kept.
func (l *layer) play() {
	for i := range l.w.ps {
		if l.w.scripted(i) || l.w.answeredLater(i) {
			continue
		}
		for k := range l.w.ps[i].texture.answers {
			a := &l.w.ps[i].texture.answers[k]
			l.free = append(l.free, slot{a.at, i, a})
		}
	}
	sort.SliceStable(l.free, func(a, b int) bool { return l.free[a].at < l.free[b].at })
	for l.step() {
	}
	l.done = append(l.done, l.live...)
	l.closeOnRoot()
	l.closeAfresh() // may trust that what comes again is not dropped
	l.closeInTime()
	l.sayOnce()
}

// never is later than any tune.
const never = Tick(1 << 40)

// next is when something is due or may be answered.
func (l *layer) next() Tick {
	t := never
	if l.d < len(l.due) {
		t = l.due[l.d].at
	}
	if l.f < len(l.free) && l.free[l.f].at < t {
		t = l.free[l.f].at
	}
	return t
}

// step does the next moment; false when there is none.
func (l *layer) step() bool {
	t := l.next()
	if t == never {
		return false
	}
	now := l.takeDue(t)
	if p := l.pointAt(t, now); p >= 0 {
		now = l.postpone(p, t, now)
	}
	for l.f < len(l.free) && l.free[l.f].at == t {
		if x := &l.free[l.f]; l.asks(x) {
			now = l.reply(x.point, *x.ans, now)
		}
		l.f++
	}
	if len(now) > 0 {
		l.strike(now)
	}
	return true
}

// takeDue takes what is due at t.
func (l *layer) takeDue(t Tick) []strike {
	var now []strike
	for l.d < len(l.due) && l.due[l.d].at == t {
		now = append(now, l.due[l.d])
		l.d++
	}
	return now
}

// asks reports whether a free moment is to be answered at all.
func (l *layer) asks(x *slot) bool {
	return !x.ans.waited || l.waited[x.point] || l.trial && x.point == l.trialOf
}

// postpone lets the chord of point p come later than its bass where that was
// planned, or where bass and tune would move in octaves, and it is whole by
// then. It returns what is struck at once.
func (l *layer) postpone(p int, t Tick, now []strike) []strike {
	split := &l.w.ps[p].texture.split
	planned := *split
	works := func() bool {
		rest, ok := l.waits(p, now)
		if ok {
			now, l.waited[p] = rest, true
		}
		return ok
	}
	var late *answer // with which the chord comes
	if planned > t {
		if late = l.answerAt(p, planned); works() || late == nil || late.pair {
			return now
		}
	} else if late = l.afterOctaves(p, now); late == nil {
		return now
	} else {
		*split = late.at
	}
	pair := late.pair
	late.pair = true // one voice does not make the chord: two
	if !works() {
		*split, late.pair = planned, pair
	}
	return now
}

// pointAt is the point whose inner voices are struck at t, -1 for none.
func (l *layer) pointAt(t Tick, now []strike) int {
	for _, n := range now {
		if p := n.point; n.voice == Inner && p >= 0 && l.w.ps[p].at == t && !l.w.scripted(p) && !l.w.ps[p].comp {
			return n.point
		}
	}
	return -1
}

// octaves reports whether the outer voices move in octaves from the last full
// attack to this one.
func (l *layer) octaves(now []strike) bool {
	lo, hi := outer(now)
	return len(now) >= 3 && (hi-lo)%12 == 0 && l.full[0] > 0 && (l.full[1]-l.full[0])%12 == 0 && lo != l.full[0]
}

// afterOctaves is the answer with which the chord had better come where bass and
// tune would move in octaves from the last full attack to this one: one that is
// there within a beat, or a new one. nil where they do not, or nothing can wait.
func (l *layer) afterOctaves(p int, now []strike) *answer {
	if l.trial {
		return nil
	}
	if !l.octaves(now) {
		return nil
	}
	pt := &l.w.ps[p]
	at := pt.at + unit(l.w.s.bars[l.w.s.barAt(pt.at)])
	if at >= pt.end {
		return nil
	}
	for k := l.f; k < len(l.free) && l.free[k].at <= at; k++ {
		if x := l.free[k]; x.at > pt.at { // something answers there already
			if x.ans.bass {
				return nil
			}
			return x.ans
		}
	}
	k := l.f + sort.Search(len(l.free)-l.f, func(j int) bool { return l.free[l.f+j].at >= at })
	late := &answer{at: at, waited: true}
	l.free = slices.Insert(l.free, k, slot{at, p, late})
	return late
}

// answerAt is the answer at t that belongs to point p, nil for none.
func (l *layer) answerAt(p int, t Tick) *answer {
	for k := l.f; k < len(l.free) && l.free[k].at <= t; k++ {
		if x := l.free[k]; x.at == t && x.point == p {
			return x.ans
		}
	}
	return nil
}

// outer is the lowest and the highest pitch of an attack.
func outer(ns []strike) (lo, hi int) {
	lo = 999
	for _, n := range ns {
		lo, hi = min(lo, int(n.midi)), max(hi, int(n.midi))
	}
	return lo, hi
}

// waits asks whether the chord of a point can come with the tune's next beat
// instead of with the bass: it plays on in a copy and looks whether the guide
// tones are heard by then. It returns what is struck at once.
func (l *layer) waits(p int, now []strike) ([]strike, bool) {
	var rest []strike
	bass := false
	for _, n := range now {
		if n.voice != Inner {
			rest = append(rest, n)
			bass = bass || n.voice == Bass
		}
	}
	if !bass || len(rest) == len(now) {
		return nil, false
	}
	// The copy may write behind the end of done: nothing reads there, and l goes
	// over it again. Cutting the capacity would copy the whole past each time.
	c := *l
	c.trial, c.trialOf = true, p
	c.strike(rest)
	until := l.w.ps[p].texture.split
	for c.next() <= until {
		c.step()
	}
	heard := c.heardSince(l.w.ps[p].at)
	inner := false
	for _, x := range c.live {
		inner = inner || x.at == until && x.voice == Inner
	}
	ch := l.w.s.chords[l.w.ps[p].chord].chord
	if !hasAll(heard, ch.GuideTones()) {
		return nil, false
	}
	if heard.Len() < 3 && ch.Tones.Len() >= 3 {
		return nil, false // tune and bass on one note, and a third: no chord yet
	}
	return rest, inner && (!l.w.ps[p].final || c.rootAfter(until))
}

// hasAll reports whether all these pitch classes are in m.
func hasAll(m theory.PCSet, pcs []int) bool { return m.With(pcs...) == m }

// heardSince is what was struck at or after t, as pitch classes.
func (l *layer) heardSince(t Tick) (m theory.PCSet) {
	l.recent(func(x *strike) {
		if x.at >= t {
			m = m.With(int(x.midi))
		}
	})
	return m
}

// How long the hand is away for a change in one position, in seconds
// (harmony.md 6.2, project limits).
const (
	gripTime   = 0.10 // all fingers
	fingerTime = 0.06 // one finger
)

// strike sounds now, all at one time, and ends what cannot go on.
func (l *layer) strike(now []strike) {
	t := now[0].at
	now = l.holdable(now)
	if len(now) >= 3 {
		l.full[0], l.full[1] = outer(now)
	}
	l.before = now
	keep := l.keep(now)
	live := make([]strike, 0, len(l.live)+len(now))
	for k, x := range l.live {
		switch {
		case x.end <= t:
			l.done = append(l.done, x)
		case keep&(1<<k) != 0:
			live = append(live, x)
		default:
			x.meant, x.end, x.why = x.end, t, endsBy(&x, now)
			l.done = append(l.done, x)
		}
	}
	l.live = append(live, now...)
	if pos, fretted := placeOf(now); fretted {
		l.lastPos, l.lastAt = pos, t
	}
}

// endsBy is why x cannot ring on under an attack.
func endsBy(x *strike, now []strike) End {
	why := EndHand
	for k := range now {
		switch n := &now[k]; {
		case n.str == x.str:
			return EndString
		case n.finger == x.finger && n.finger > 0 && n.fret != x.fret:
			why = EndFinger
		}
	}
	return why
}

// placeOf is the position of the hand for some notes.
func placeOf(ns []strike) (int8, bool) {
	pos, ok := int8(99), false
	for _, n := range ns {
		if n.fret > 0 {
			ok = true
			pos = min(pos, n.fret-n.finger+1)
		}
	}
	if !ok {
		return 0, false
	}
	return max(pos, 1), true
}

// holdable drops what of one attack a hand cannot take together, the tune last
// of all. It is a safeguard: grips are holdable by construction.
func (l *layer) holdable(now []strike) []strike {
	fit := l.fitting(now)
	l.dropped += len(now) - len(fit)
	return fit
}

// fitting is what of one attack a hand can take together, the tune first of all.
func (l *layer) fitting(now []strike) []strike {
	for len(now) > 1 && !l.together(now) {
		worst := -1
		for i, n := range now {
			if n.tune < 0 && (worst < 0 || now[worst].voice == Bass && n.voice == Inner) {
				worst = i
			}
		}
		if worst < 0 {
			break
		}
		now = append(append([]strike(nil), now[:worst]...), now[worst+1:]...)
	}
	return now
}

// together reports whether one hand with these fingers holds all of them.
func (l *layer) together(ns []strike) bool {
	var ps [maxPresses]Press
	if len(ns) > maxPresses {
		return false
	}
	for i := range ns {
		n := &ns[i]
		ps[i] = Press{Stop{n.str, n.fret}, n.finger}
	}
	return l.w.grasp.fingers(ps[:len(ns)]).ok
}

// struck reports whether the right hand can strike all of them at once.
func (l *layer) struck(ns []strike) bool {
	m := uint16(0)
	for _, n := range ns {
		m |= 1 << uint(n.str)
	}
	return l.w.right.attack(m) != NoAttack
}

// tooSoon reports whether a string of one attack is plucked again in the next
// before the right hand can (harmony.md 6.4).
func (l *layer) tooSoon(first, next []strike) bool {
	if len(first) == 0 || len(next) == 0 {
		return false
	}
	dt := l.w.s.seconds(first[0].at, next[0].at)
	if dt >= repeatGrip {
		return false
	}
	with := min(fingersIn(first), fingersIn(next))
	for _, x := range first {
		for _, y := range next {
			if x.str == y.str && dt < l.w.right.Repeat(with, x.voice == Bass && y.voice == Bass) {
				return true
			}
		}
	}
	return false
}

// fingersIn is how many strings are plucked together, the thumb left out beside
// one finger, which can then take turns with another.
func fingersIn(attack []strike) int {
	if len(attack) == 2 && (attack[0].voice == Bass || attack[1].voice == Bass) {
		return 1
	}
	return len(attack)
}

// keep chooses which of the sounding notes go on under a new attack: the set
// that is worth most and that one hand holds together with the new notes,
// without a clash. Bit k of the answer stands for l.live[k].
func (l *layer) keep(now []strike) uint64 {
	t := now[0].at
	var buf [16]int
	cand := buf[:0]
	var worth [64]float64
	for k := range l.live {
		x := &l.live[k]
		if x.end <= t {
			continue
		}
		v := 1.0
		switch x.voice {
		case Melody:
			v = 8
		case Bass:
			v = 1.2
		}
		if x.brief > 0 && x.brief <= t {
			v = 0.1 // a stab has said what it has to say
		}
		// the less there is left of it, the less it is worth
		if left := x.end - t; left < PerQuarter/4 {
			v *= 0.2
		}
		worth[k] = v
		free := true
		for j := range now {
			n := &now[j]
			if n.ousts(x) {
				free = false
			}
			if n.tune >= 0 && x.tune < 0 && x.midi >= n.midi {
				free = false // nothing above the tune
			}
		}
		if x.tune >= 0 {
			// an old tune note gives way to the next one by itself
			for j := range now {
				if now[j].tune >= 0 {
					free = false
				}
			}
		}
		if free {
			cand = append(cand, k)
		}
	}
	best, bestV := uint64(0), 0.0
	var nbuf [16]strike
	ns := nbuf[:0]
	// the largest sets first: mostly one of them is worth most, and the others
	// need not be tried; of equals the last one counts
	for mask := 1<<len(cand) - 1; mask > 0; mask-- {
		v := 0.0
		for j, k := range cand {
			if mask&(1<<j) != 0 {
				v += worth[k]
			}
		}
		if v < bestV {
			continue
		}
		ns = append(ns[:0], now...)
		for j, k := range cand {
			if mask&(1<<j) != 0 {
				ns = append(ns, l.live[k])
			}
		}
		if l.clash(ns) || !l.together(ns) {
			continue
		}
		bestV = v
		best = 0
		for j, k := range cand {
			if mask&(1<<j) != 0 {
				best |= 1 << k
			}
		}
	}
	return best
}

// clash reports whether sounding notes grate on each other: a minor ninth, a
// semitone right under the tune, mud below.
func (l *layer) clash(ns []strike) bool {
	var ps [maxPresses + 2]int
	if len(ns) > len(ps) {
		return true
	}
	n := 0
	top := -1
	for i := range ns {
		x := &ns[i]
		ps[n] = int(x.midi)
		n++
		if x.tune >= 0 {
			top = int(x.midi)
		}
	}
	p := ps[:n]
	for i := 1; i < n; i++ { // a handful: insertion beats a call
		for j := i; j > 0 && p[j-1] > p[j]; j-- {
			p[j-1], p[j] = p[j], p[j-1]
		}
	}
	for i := range p {
		for j := i + 1; j < len(p); j++ {
			d := p[j] - p[i]
			if d == 0 {
				return true
			}
			if d > 12 && d%12 == 1 && !l.rootUnderNine(ns[0].at, p, i) {
				return true
			}
			if p[j] == top && d == 1 {
				return true
			}
		}
		if i+1 < len(p) && muddy(p[i], p[i+1]) {
			return true
		}
	}
	return false
}

// rootUnderNine allows a dominant's root in the bass under its flat nine, at t.
func (l *layer) rootUnderNine(t Tick, p []int, i int) bool {
	if i != 0 {
		return false
	}
	c := l.w.s.chordAt(t)
	if c < 0 {
		return false
	}
	ch := l.w.s.chords[c].chord
	if ch.NoChord || !ch.IsDominant() || p[0]%12 != ch.RootPC() {
		return false
	}
	var m theory.PCSet
	m = m.With(p...)
	return m.Has(p[0]+4) && m.Has(p[0]+10)
}

// collect turns strikes into notes.
func (l *layer) collect(a *Arrangement) {
	for _, x := range l.done {
		dur := max(x.end-x.at, 1)
		a.Notes = append(a.Notes, Note{At: x.at, Dur: dur, MIDI: int(x.midi), String: int(x.str), Fret: int(x.fret),
			Finger: int(x.finger), Voice: x.voice, Fill: x.fill, Ends: x.why, Early: max(x.meant-x.end, 0)})
	}
}

// topTempo is the tempo in quarters a minute up to which every move of the left
// hand has the time it takes (harmony.md 6.2) and no string is plucked again
// too soon, counted from the tempo at the start. 0 means that nothing limits it.
func (s *score) topTempo(notes []Note, right RightHand) float64 {
	top := 0.0
	limit := func(from, to Tick, need float64) {
		if bpm := s.tempi[0].BPM * s.seconds(from, to) / need; to > from && (top == 0 || bpm < top) {
			top = bpm
		}
	}
	pos, at := 0, Tick(0)
	// of each string: when it was plucked last, and with how many, by the thumb or not
	var plucked [maxPresses + 2]struct {
		at   Tick
		with int
		bass bool
	}
	for attack := range attacks(notes) {
		t := attack[0].At
		fingers := len(attack)
		if fingers == 2 && (attack[0].Voice == Bass || attack[1].Voice == Bass) {
			fingers = 1 // beside the thumb
		}
		for _, n := range attack {
			p := &plucked[n.String]
			if p.with > 0 { // what both attacks have makes the repeat slow
				limit(p.at, t, right.Repeat(min(p.with, fingers), p.bass && n.Voice == Bass))
			}
			p.at, p.with, p.bass = t, fingers, n.Voice == Bass
		}
		low := handAt(attack)
		if low == 0 {
			continue
		}
		if d := absInt(low - pos); pos > 0 && d > 2 {
			limit(at, t, shiftTime(d))
		}
		pos, at = low, t
	}
	return top
}

// attacks goes through notes in order of At, those of one moment at a time.
func attacks(notes []Note) iter.Seq[[]Note] {
	return func(yield func([]Note) bool) {
		for i := 0; i < len(notes); {
			k := i
			for i < len(notes) && notes[i].At == notes[k].At {
				i++
			}
			if !yield(notes[k:i]) {
				return
			}
		}
	}
}

// handAt is the place of the hand for the notes of one attack: the fret of
// finger 1 if it lay naturally. 0 when none is fretted.
func handAt(attack []Note) int {
	low := 0
	for _, n := range attack {
		if n.Fret == 0 {
			continue
		}
		if p := max(1, n.Fret-n.Finger+1); low == 0 || p < low {
			low = p
		}
	}
	return low
}
