package voicing

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// A twin says of a point that it was played before, in the same bar of the sheet.
type twin struct {
	of   int  // the point it comes again after, -1 for none
	off  Tick // how much later it comes
	time int  // which time it is, from 1
	keep bool // it stays as it was in every voice
	// until is where the tune, or what is due, goes on otherwise than the time
	// before, in the time of this point: into another part. The end of the stretch
	// where it does not.
	until Tick
}

// A model is what was played at a point's twin, and what the point is to differ from.
type model struct {
	past []strike // all but the tune, at the times of the point, in order
	// older is the same of the times before that: a third time is no first time
	// again.
	older []strike
	mood  mood
	late  bool // the inner voices came after the bass
	bass  bool // the grip had one
}

// barsBefore is, for each bar, the bar in which it was played the time before,
// -1 for none. A chorus without the tune is nobody's twin.
func (s *score) barsBefore() []int {
	out := make([]int, len(s.bars))
	latest := map[int]int{}
	for b := range s.bars {
		out[b] = -1
		src := s.source[b]
		if src < 0 || s.comped(b) {
			continue
		}
		if m, ok := latest[src]; ok {
			out[b] = m
		}
		latest[src] = b
	}
	return out
}

// comped reports whether a bar lies in a chorus without its tune.
func (s *score) comped(b int) bool {
	f := s.form
	return f.comped >= 0 && f.comped < len(f.choruses) && b >= f.choruses[f.comped].From && b < f.choruses[f.comped].To
}

// closing marks the last two bars of each section.
func (s *score) closing() []bool {
	out := make([]bool, len(s.bars))
	for _, x := range s.form.tune.Sections {
		for b := max(x.To-2, x.From); b < x.To && b < len(out); b++ {
			out[b] = true
		}
	}
	return out
}

// findTwins finds for each point the one that it comes again after.
func (w *worker) findTwins() {
	s := w.s
	before := s.earlier
	w.barTime, w.recurs = make([]int, len(s.bars)), make([]bool, len(s.bars))
	for b, m := range before {
		w.barTime[b] = 1
		if m >= 0 {
			w.barTime[b], w.recurs[m] = w.barTime[m]+1, true
		}
	}
	w.twins = make([]twin, len(w.ps))
	w.times = 1
	closing := s.closing()
	for b := range before { // what closed a section the time before does so again
		if m := before[b]; m >= 0 {
			closing[b] = closing[b] || closing[m]
		}
	}
	for b := len(before) - 1; b >= 0; b-- {
		if m := before[b]; m >= 0 {
			closing[m] = closing[m] || closing[b]
		}
	}
	w.closing = closing
	for i := range w.ps {
		t := &w.twins[i]
		t.of, t.time = -1, 1
		b := s.barAt(w.ps[i].at)
		m := before[b]
		if m < 0 {
			continue
		}
		off := s.start[b] - s.start[m]
		j := sort.Search(len(w.ps), func(j int) bool { return w.ps[j].at >= w.ps[i].at-off })
		if j >= i {
			continue
		}
		until, ok := w.alike(j, i, off)
		if !ok {
			continue
		}
		t.of, t.off, t.until, t.time = j, off, until, w.twins[j].time+1
		w.times = max(w.times, t.time)
		t.keep = w.unvaried
		for k := b; k < len(s.bars) && s.bars[k].At < until; k++ {
			t.keep = t.keep || closing[k]
		}
	}
}

// alike reports whether point i is point j again, off later, with the same chord
// and note of the tune, and until when all of it is the same.
func (w *worker) alike(j, i int, off Tick) (until Tick, ok bool) {
	s, q, p := w.s, &w.ps[j], &w.ps[i]
	if p.at-off != q.at || p.final || q.final || p.from-off != q.from ||
		s.chords[p.chord].chord != s.chords[q.chord].chord || s.chords[p.chord].added != s.chords[q.chord].added ||
		s.chords[p.chord].asked != nil || s.chords[q.chord].asked != nil ||
		p.held != q.held || p.late != q.late || p.early != q.early || (p.tune < 0) != (q.tune < 0) {
		return 0, false
	}
	if p.tune >= 0 && !s.sameNote(q.tune, p.tune, off) {
		return 0, false
	}
	until = s.goesOn(p.at, min(p.end, q.end+off), off)
	return until, until > p.at
}

// goesOn is until when, from at up to end, the tune is what it was off before.
func (s *score) goesOn(at, end, off Tick) (until Tick) {
	until = end
	for k, m := s.tuneAt(at-1)+1, s.tuneAt(at-off-1)+1; k < len(s.tune) && s.tune[k].at < until; k, m = k+1, m+1 {
		if !s.sameNote(m, k, off) {
			until = s.tune[k].at
			if m < len(s.tune) {
				until = min(until, s.tune[m].at+off)
			}
		}
	}
	// and notes that only the earlier one has, such as the pick-up of a chorus that
	// does not come
	for m := s.tuneAt(at-off-1) + 1; m < len(s.tune) && s.tune[m].at+off < until; m++ {
		if k := s.tuneAt(s.tune[m].at + off); k < 0 || !s.sameNote(m, k, off) {
			until = s.tune[m].at + off
		}
	}
	if m := s.tuneAt(until - off - 1); m >= 0 && s.tuneAt(until-1) >= 0 && !s.sameNote(m, s.tuneAt(until-1), off) {
		until = min(until, s.tune[m].at+off)
	}
	return until
}

// sameNote reports whether note n of the tune is note m again, off later. How
// long it rings may differ.
func (s *score) sameNote(m, n int, off Tick) bool {
	a, b := &s.tune[m], &s.tune[n]
	return a.at+off == b.at && a.midi == b.midi && a.fill == b.fill
}

// A script says that a point is played as a point of an earlier layer was, off
// later: its grip, its texture and every strike of its stretch.
type script struct {
	of    int // -1 for none: the point is searched
	off   Tick
	until Tick // what is struck from then on is not of it
	// span says that the time before no point was there: what was struck from the
	// time of this one on is taken, whatever point it belongs to.
	span bool
}

// A rerun is what a search that leaves most points as they were works on.
type rerun struct {
	from    *layer
	scripts []script
	strikes [][]strike // of from, by point
	stands  []stand    // of from, by note of the tune
	models  []model    // of each point that is to differ
	time    int        // which time is played
	lambda  float64    // how dear it is not to
}

// scripted reports whether point i is played from a script.
func (w *worker) scripted(i int) bool {
	return w.rerun != nil && i >= 0 && w.rerun.scripts[i].of >= 0
}

// answeredLater reports whether what answers at point i is found when it comes again.
func (w *worker) answeredLater(i int) bool { return w.hasty && w.twins[i].of >= 0 }

// newRerun looks at what a layer struck, to play what comes for that time.
func (w *worker) newRerun(l *layer, time int) *rerun {
	r := &rerun{from: l, time: time, scripts: make([]script, len(w.ps)), strikes: make([][]strike, len(w.ps)), stands: make([]stand, len(w.s.tune)), models: make([]model, len(w.ps))}
	n := make([]int, len(w.ps))
	for k := range l.done {
		if p := l.done[k].point; p >= 0 {
			n[p]++
		}
	}
	all := make([]strike, len(l.done))
	for i := range n {
		r.strikes[i], all = all[:0:n[i]], all[n[i]:]
	}
	for k := range l.done {
		x := &l.done[k]
		if x.point >= 0 {
			r.strikes[x.point] = append(r.strikes[x.point], *x)
		}
		if x.tune >= 0 {
			r.stands[x.tune] = x.stand()
		}
	}
	for i := range r.strikes {
		slices.SortStableFunc(r.strikes[i], strike.before)
		r.scripts[i] = script{of: i, until: never}
	}
	return r
}

// moved is a strike of the script of point i, at its time.
func (w *worker) moved(x strike, i int) strike {
	off := w.rerun.scripts[i].off
	x = x.moved(off)
	x.point = i
	if x.end > w.s.end { // what followed the time before follows no more
		x.end, x.meant, x.why = w.s.end, 0, EndMeant
	}
	if st, ok := w.standBefore(x.tune); ok && w.joins(i, x.at) {
		x.str, x.fret, x.finger = st.str, st.fret, st.finger
	}
	if x.tune >= 0 {
		was := w.s.tune[x.tune].end + off
		x.tune = w.s.tuneAt(x.at)
		// how long it is written may differ
		switch end := w.s.tune[x.tune].end; {
		case x.end >= min(was, end):
			x.end, x.meant, x.why = end, 0, EndMeant
		case x.meant > 0:
			x.meant = end
		}
	}
	return x
}

// moved is a strike off later.
func (x strike) moved(off Tick) strike {
	x.at += off
	x.end += off
	if x.meant > 0 {
		x.meant += off
	}
	if x.brief > 0 {
		x.brief += off
	}
	return x
}

// before puts strikes in order: by time, then from the highest string down.
func (x strike) before(y strike) int {
	return cmp.Or(cmp.Compare(x.at, y.at), cmp.Compare(x.str, y.str))
}

// moved is a texture off later.
func (tx *texture) moved(off Tick) texture {
	m := *tx
	m.bassAt += off
	m.innerAt += off
	if m.split > 0 {
		m.split += off
	}
	m.answers, m.chords = slices.Clone(tx.answers), slices.Clone(tx.chords)
	for k := range m.chords {
		m.chords[k] += off
	}
	for k := range m.answers {
		m.answers[k].at += off
	}
	return m
}

// A material is what the search chooses from.
type material struct {
	grips   [][]grip
	layouts [][]texture
	runs    []*run
}

func (w *worker) material() material {
	m := material{grips: w.grips, runs: w.runs}
	for i := range w.ps {
		m.layouts = append(m.layouts, w.ps[i].layouts)
	}
	return m
}

func (w *worker) take(m material) {
	w.grips, w.runs = m.grips, m.runs
	for i := range w.ps {
		w.ps[i].layouts = m.layouts[i]
	}
}

// How much of what comes again is to differ, of its notes and of its attacks, how
// often a factor on what is the same is tried, and the highest.
const (
	leastAgain, lowAgain, highAgain, mostAgain = 0.15, 0.20, 0.33, 0.40
	againSteps                                 = 6
	mostSame                                   = 16
)

// repeats plays what comes again so that it differs from the time before, or is
// the same where that is wanted. Everything else stays as it is.
func (w *worker) repeats(l *layer) *layer {
	if w.times < 2 {
		return l
	}
	all := w.material()
	w.all = &all
	for time := 2; time <= w.times; time++ {
		l = w.playAgain(l, time)
	}
	return l
}

// first puts back what the search of the first time chooses from.
func (w *worker) first() {
	if w.all != nil {
		w.take(*w.all)
	}
	w.all, w.rerun = nil, nil
}

// playAgain plays the bars that come for that time.
func (w *worker) playAgain(l *layer, time int) *layer {
	w.rerun = w.newRerun(l, time)
	varied := w.script()
	w.take(w.choices())
	if varied {
		return w.otherwise()
	}
	l = w.play()
	l.cost = w.cost(l) - w.paid(l)
	return l
}

// comesNow reports whether point i is one that comes again, for the time that is
// played.
func (w *worker) comesNow(i int) bool {
	t := w.twins[i]
	return t.of >= 0 && t.time == w.rerun.time
}

// script says which points are played as the layer before has them and, where
// they come again, as they were the time before; the others are searched. It
// reports whether any of these are to differ.
func (w *worker) script() (varied bool) {
	r := w.rerun
	has := make([]bool, len(w.ps)) // has a twin that stays as it was
	for _, t := range w.twins {
		if t.of >= 0 && t.keep {
			has[t.of] = true
		}
	}
	seam := func(i int) bool { // comes after what comes again, and is free
		return i > 0 && w.comesNow(i-1) && w.twins[i].of < 0 && !has[i]
	}
	for i := range w.ps {
		t := w.twins[i]
		switch {
		case w.comesNow(i) && t.keep:
			r.scripts[i] = script{of: t.of, off: t.off, until: t.until}
		case w.comesNow(i):
			r.scripts[i].of = -1
			varied = true
		case w.spans(i):
			r.scripts[i] = w.span(i)
		case seam(i), w.strays(i), w.ps[i].final && t.of < 0 && w.barTime[w.s.barAt(w.ps[i].at)] == r.time:
			r.scripts[i].of = -1
		}
	}
	return varied
}

// choices is what there is to choose from: for a point that is played from its
// script one grip in one texture, for the others what the first time had, the
// tune on its strings and frets.
func (w *worker) choices() material {
	r := w.rerun
	m := material{grips: make([][]grip, len(w.ps)), layouts: make([][]texture, len(w.ps)), runs: slices.Clone(w.all.runs)}
	for i := range w.ps {
		p := &w.ps[i]
		if x := r.scripts[i]; x.of >= 0 {
			m.grips[i] = r.from.chosen[x.of : x.of+1 : x.of+1]
			m.layouts[i] = []texture{r.from.textures[x.of].moved(x.off)}
			if i+1 < len(w.ps) && (r.scripts[i+1].of < 0 || x.until < p.end) {
				m.runs[i] = w.runAgain(i)
			}
			continue
		}
		m.layouts[i] = w.all.layouts[i]
		m.grips[i] = w.all.grips[i]
		m.runs[i] = w.runAgain(i)
		if w.comesNow(i) {
			r.models[i] = w.modelOf(i)
		}
		if p.tune < 0 {
			continue
		}
		if st, ok := w.standAgain(p.tune); ok {
			if out := gripsAt(w.all.grips[i], st); len(out) > 0 {
				m.grips[i] = out
			}
		}
	}
	return m
}

// modelOf is what point i, which comes again, is to differ from.
func (w *worker) modelOf(i int) model {
	t, l := w.twins[i], w.rerun.from
	tx, g := &l.textures[t.of], &l.chosen[t.of]
	m := model{past: w.heardAt(t.of, t.off, t.until), mood: g.mood, late: tx.innerAt > tx.bassAt, bass: g.hasBass}
	for u, off := w.twins[t.of], t.off; u.of >= 0; u = w.twins[u.of] {
		off += u.off
		m.older = append(m.older, w.heardAt(u.of, off, t.until)...)
	}
	return m
}

// shares is how much differs from the time before: of the notes, of where they
// are taken, of the attacks.
type shares struct{ notes, strings, attacks float64 }

// off is how far they lie from what is aimed at; what lies outside the bounds is
// further than anything inside.
func (x shares) off() float64 {
	d := max(lowAgain-x.notes, x.notes-highAgain, 0)
	for _, x := range []float64{x.notes, x.strings, x.attacks} {
		if o := max(leastAgain-x, x-mostAgain, 0); o > 0 {
			d += 1 + o
		}
	}
	return d
}

// much reports whether too much differs, short whether too little.
func (x shares) much() bool {
	return x.attacks > mostAgain || x.notes > highAgain || x.strings > mostAgain
}
func (x shares) short() bool { return min(x.notes, x.strings, x.attacks) < leastAgain }

// otherwise plays what is to differ at a factor on what is the same that makes as
// much of it differ as is wanted.
func (w *worker) otherwise() *layer {
	r := w.rerun
	var best *layer
	var reached shares
	lambda := 0.0
	try := func(at float64) shares {
		r.lambda = at
		n := w.play()
		x := w.differ(n)
		if best == nil || x.off() < reached.off() {
			best, reached, lambda = n, x, at
		}
		return x
	}
	next, low, high := w.taste.Again.Same, -1.0, -1.0
	for step := 0; step < againSteps && next <= mostSame; step++ {
		x := try(next)
		if x.off() == 0 {
			break
		}
		if x.much() {
			high = next
		} else {
			low = next
		}
		switch {
		case low < 0:
			next /= 3
		case high < 0:
			next *= 2.5
		default:
			next = (low + high) / 2
		}
	}
	over, restore := w.over, func() {}
	if reached.short() && w.laid != densitySparse { // which keeps to few notes
		restore = w.fuller(func() bool {
			x := try(lambda)
			return x.off() == 0 || x.much()
		})
		w.over = best.over
	}
	r.lambda = lambda
	if n := w.vary(best); n != best && w.differ(n).off() < max(reached.off(), 1) {
		best = n
	}
	best.cost = w.cost(best) - w.paid(best)
	w.over = over
	restore()
	return best
}

// fuller makes notes cheaper, step by step until done, where what comes for that
// time has too little that could differ: it is played with more in it.
// restore puts the prices back.
func (w *worker) fuller(done func() bool) (restore func()) {
	again := func(i int) bool { return w.comesNow(i) && !w.scripted(i) }
	grains := make([]float64, len(w.ps))
	for i := range w.ps {
		grains[i] = w.ps[i].grain
		if again(i) {
			w.ps[i].grain = 1 // all of it
			w.ps[i].layouts = w.otherLayouts(i, slices.Clone(w.ps[i].layouts), []Density{densityFull})
		}
	}
	over := w.over
	for _, cheaper := range fullerBy {
		w.over = make([]float64, len(w.ps))
		copy(w.over, over)
		for i := range w.over {
			if again(i) {
				w.over[i] -= cheaper
			}
		}
		if done() {
			break
		}
	}
	return func() {
		for i := range w.ps {
			w.ps[i].grain = grains[i]
		}
	}
}

// fullerBy are the prices by which notes are made cheaper, in turn.
var fullerBy = [...]float64{0.3, 0.6, 1, 1.6, 2.4, 3.6}

// until is when what point i is made of goes on otherwise.
func (w *worker) until(i int) Tick {
	if x := w.rerun.scripts[i]; x.of >= 0 {
		return x.until
	}
	if t := w.twins[i]; t.of >= 0 {
		return t.until
	}
	return never
}

// moves reports whether something in a bar is not played from a script.
func (w *worker) moves(b int) bool {
	if w.rerun == nil {
		return true
	}
	from, to := w.s.bars[b].At, w.s.bars[b].At+w.s.bars[b].Len
	i := sort.Search(len(w.ps), func(i int) bool { return w.ps[i].end > from })
	for ; i < len(w.ps) && w.ps[i].at < to; i++ {
		if !w.scripted(i) {
			return true
		}
	}
	return false
}

// cost is what the way of a layer costs without what it costs to be the same.
func (w *worker) cost(l *layer) (cost float64) {
	w.rerun.lambda = 0
	before := -1
	for i, c := range l.path {
		if c < 0 {
			before = -1
			continue
		}
		cost += w.Node(i, c, l.manner[i])
		if before >= 0 {
			cost += w.Edge(i, before, c) + w.Turn(i, l.manner[i-1], l.manner[i])
		}
		before = c
	}
	return cost
}

// standBefore is where note k of the tune was taken when its bar came the time
// before.
func (w *worker) standBefore(k int) (stand, bool) {
	s := w.s
	if k < 0 {
		return stand{}, false
	}
	b := s.barAt(s.tune[k].at)
	if s.earlier[b] < 0 {
		return stand{}, false
	}
	off := s.start[b] - s.start[s.earlier[b]]
	m := s.tuneAt(s.tune[k].at - off)
	if m < 0 || !s.sameNote(m, k, off) {
		return stand{}, false
	}
	return w.rerun.stands[m], true
}

// standAgain is where note k of the tune is to be taken, because it was the time
// before, or because it comes again so.
func (w *worker) standAgain(k int) (stand, bool) {
	if st, ok := w.standBefore(k); ok {
		return st, true
	}
	if b := w.s.barAt(w.s.tune[k].at); w.recurs[b] && w.barTime[b] < w.rerun.time {
		return w.rerun.stands[k], true
	}
	return stand{}, false
}

// runAgain is the run after point i: what the script of a point has is taken
// just as it was, what else comes again on the same strings and frets.
func (w *worker) runAgain(i int) *run {
	s := w.s
	old := w.all.runs[i]
	if len(old.notes) == 0 {
		return old
	}
	stands := make([][]stand, len(old.notes))
	x := w.rerun.scripts[i]
	for j, k := range old.notes {
		stands[j] = old.stands[j]
		if n := &s.tune[k]; x.of >= 0 && n.at < x.until {
			stands[j] = []stand{w.rerun.stands[s.tuneAt(n.at-x.off)]}
			continue
		}
		if st, ok := w.standAgain(k); ok {
			stands[j] = onlyAt(old.stands[j], st)
		}
	}
	to := s.end
	if i+1 < len(w.ps) {
		to = w.ps[i+1].from
	}
	return s.newRun(&w.taste, stands, old.notes, w.ps[i].at, to)
}

// dearestAgain is how much dearer by itself than the best a grip may be: what is
// poor is no other way to say the same.
const dearestAgain = 4

// gripsAt are the grips with the tune on the string and fret of a stand that are
// good enough.
func gripsAt(all []grip, at stand) []grip {
	var out []grip
	least := math.Inf(1)
	for i := range all {
		if g := &all[i]; g.tune && g.note[0].str == at.str && g.note[0].fret == at.fret {
			least = min(least, g.cost)
			out = append(out, *g)
		}
	}
	return slices.DeleteFunc(out, func(g grip) bool { return g.cost > least+dearestAgain })
}

// onlyAt are the stands on the string and fret of one, with any finger.
func onlyAt(all []stand, at stand) []stand {
	var out []stand
	for _, x := range all {
		if x.str == at.str && x.fret == at.fret {
			out = append(out, x)
		}
	}
	if out == nil {
		out = append(out, at)
	}
	return out
}

// sameAgain is what a grip of point i in a texture costs for what is as it was the
// time before, and for what is changed before the bass.
func (w *worker) sameAgain(i int, g *grip, tx *texture) float64 {
	f := w.staleness(i)
	if f == 0 {
		return 0
	}
	t := &w.taste.Again
	m := &w.rerun.models[i]
	cost := 0.0
	if !tx.alone {
		for k := int8(0); k < g.n; k++ {
			n := &g.note[k]
			if n.voice == Melody {
				continue
			}
			at := tx.innerAt
			if n.voice == Bass {
				at = tx.bassAt
			}
			cost += f * m.same(t, n, at)
		}
	}
	if m.bass && (tx.alone || !g.hasBass) {
		cost += 1.5 * f * t.Bass // to leave it out is no other bass
	}
	if !tx.alone && tx.innerAt > tx.bassAt != m.late {
		cost += t.Figure
	}
	if g.mood != m.mood {
		cost += t.Harmony
	}
	return cost
}

// same is how much of a note is as it was.
func (m *model) same(t *AgainTaste, n *tone, at Tick) float64 {
	c := 0.0
	switch {
	case has(m.past, n, at):
		c = 1
	case has(m.older, n, at):
		c = olderSame
	}
	if n.voice == Bass {
		return c * t.Bass
	}
	return c * t.Inner
}

// olderSame is how much of it is as it was where that is longer ago.
const olderSame = 0.6

// has reports whether the pitch of a note is struck at a time.
func has(past []strike, n *tone, at Tick) bool {
	for k := range past {
		if x := &past[k]; x.at == at && x.midi == n.midi {
			return true
		}
	}
	return false
}

// staleness is the factor on what is as it was at point i, 0 where it may be.
func (w *worker) staleness(i int) float64 {
	if r := w.rerun; r != nil && i >= 0 && r.models[i].past != nil {
		return r.lambda
	}
	return 0
}

// answerAgain is what an answer costs that is as it was: less than a grip, for
// the same is better than none.
func (w *worker) answerAgain(i int, x *strike) float64 {
	f := w.staleness(i)
	if f == 0 {
		return 0
	}
	return min(f, 1+f/8) * w.rerun.models[i].same(&w.taste.Again, &x.tone, x.at)
}

// differ is how much differs from the time before in the bars of the time that is
// played.
func (w *worker) differ(l *layer) shares {
	s, time := w.s, w.rerun.time
	bars := make([][]strike, len(s.bars))
	for _, x := range l.done {
		b := s.barAt(x.at)
		x.at -= s.start[b]
		bars[b] = append(bars[b], x)
	}
	whole, common, placed := 0, 0, 0
	sets, both := 0, 0
	for b, m := range s.earlier {
		if m < 0 || w.barTime[b] != time {
			continue
		}
		x, y := bars[m], bars[b]
		whole += len(x) + len(y)
		for i := range x {
			for j := range y {
				if x[i].at == y[j].at && x[i].midi == y[j].midi {
					if x[i].voice == y[j].voice {
						common++
					}
					if x[i].str == y[j].str {
						placed++
					}
				}
			}
		}
		u, v := pitchSets(x), pitchSets(y)
		sets += len(u) + len(v)
		for t, p := range u {
			if v[t] == p {
				both++
			}
		}
	}
	share := func(common, whole int) float64 { return 1 - 2*float64(common)/float64(max(whole, 1)) }
	return shares{share(common, whole), share(placed, whole), share(both, sets)}
}

// pitchSets are the pitches struck at each time, as a mask from the lowest.
func pitchSets(ns []strike) map[Tick][2]uint64 {
	out := map[Tick][2]uint64{}
	for i := range ns {
		m := out[ns[i].at]
		m[ns[i].midi>>6&1] |= 1 << (ns[i].midi & 63)
		out[ns[i].at] = m
	}
	return out
}

// told is the strikes of the script of point i, and what else is known of them.
func (l *layer) told(i int) []strike {
	w := l.w
	x := w.rerun.scripts[i]
	src := w.rerun.from
	out := make([]strike, 0, len(w.rerun.strikes[x.of]))
	take := func(n strike) {
		if at := n.at + x.off; at < x.until && (n.tune >= 0 || !w.asBefore(i, at)) {
			out = append(out, w.moved(n, i))
		}
	}
	if x.span {
		for _, n := range w.rerun.between(w.ps[i].at-x.off, x.until-x.off) {
			if !w.nextHas(i, n, x.off) {
				take(n)
			}
		}
	} else {
		for _, n := range w.rerun.strikes[x.of] {
			take(n)
		}
	}
	out = l.fitAgain(i, append(out, w.joined(i)...))
	l.due = append(l.due, out...)
	if src.waited[x.of] {
		l.waited[i] = true
	}
	for _, n := range src.steps {
		if n.point == x.of {
			l.steps = append(l.steps, slide{point: i, at: n.at + x.off})
		}
	}
	return out
}

// fitAgain lets a hand hold what is struck with a note of the tune in a bar behind
// point i that comes again: the note is taken where it was the time before, what is
// added was found when it was taken as it suited the point. It gets that finger
// back, or what is added gives way.
func (l *layer) fitAgain(i int, ns []strike) []strike {
	w := l.w
	slices.SortStableFunc(ns, strike.before)
	out := ns[:0]
	for from := 0; from < len(ns); {
		now := coming(ns[from:])
		from += len(now)
		if w.joins(i, now[0].at) && !l.together(now) {
			for k := range now {
				n := &now[k]
				if n.tune >= 0 && w.rerun.stands[n.tune].str == n.str && w.rerun.stands[n.tune].fret == n.fret {
					n.finger = w.rerun.stands[n.tune].finger
				}
			}
			now = l.fitting(now)
		}
		out = append(out, now...)
	}
	return out
}

// strays reports whether point i, which was not there the time before, has a note
// of the tune that was, on another string or fret.
func (w *worker) strays(i int) bool {
	s, p := w.s, &w.ps[i]
	if w.twins[i].of >= 0 || w.barTime[s.barAt(p.at)] != w.rerun.time {
		return false
	}
	for k := max(s.tuneAt(p.at), 0); k < len(s.tune) && s.tune[k].at < p.end; k++ {
		st, ok := w.standBefore(k)
		if ok && s.tune[k].at >= p.at && (st.str != w.rerun.stands[k].str || st.fret != w.rerun.stands[k].fret) {
			return true
		}
	}
	return false
}

// spans reports whether point i is to be as it was although no point was there
// the time before, because the chord had come before the bar.
func (w *worker) spans(i int) bool {
	s, p := w.s, &w.ps[i]
	b := s.barAt(p.at)
	if w.twins[i].of >= 0 || w.barTime[b] != w.rerun.time || p.final || !w.unvaried && !w.closing[b] {
		return false
	}
	return w.span(i).until > p.at
}

// span is the script of a point that no point was there for.
func (w *worker) span(i int) script {
	s, p := w.s, &w.ps[i]
	b := s.barAt(p.at)
	m := s.earlier[b]
	off := s.start[b] - s.start[m]
	of := sort.Search(len(w.ps), func(j int) bool { return w.ps[j].at > p.at-off }) - 1
	if of < 0 || w.ps[of].at == p.at-off || !s.sameChord(p.at-off, p.at) {
		return script{of: -1}
	}
	return script{of: of, off: off, until: s.goesOn(p.at, min(p.end, w.ps[of].end+off), off), span: true}
}

// sameChord reports whether one chord is played at two times.
func (s *score) sameChord(a, b Tick) bool {
	i, j := s.chordAt(a), s.chordAt(b)
	return i >= 0 && j >= 0 && s.chords[i].chord == s.chords[j].chord
}

// joins reports whether t, in the stretch of a point that is played as it was,
// lies in a bar behind it that comes again: a pick-up that was struck before
// another part the time before.
func (w *worker) joins(i int, t Tick) bool {
	x, s := w.rerun.scripts[i], w.s
	b := s.barAt(t)
	return x.of == i && w.barTime[b] == w.rerun.time && w.twins[i].of < 0 && s.start[b] > w.ps[i].at
}

// asBefore reports whether what is added at t, in the stretch of point i, is what
// was added there the time before.
func (w *worker) asBefore(i int, t Tick) bool {
	if !w.unvaried || !w.joins(i, t) {
		return false
	}
	s := w.s
	b := s.barAt(t)
	return s.chordAt(t-s.start[b]+s.start[s.earlier[b]]) < 0 || s.sameChord(t, t-s.start[b]+s.start[s.earlier[b]])
}

// joined is what was added the time before in the bars behind point i that come
// again.
func (w *worker) joined(i int) (out []strike) {
	s, p := w.s, &w.ps[i]
	for b := s.barAt(p.at) + 1; b < len(s.bars) && s.bars[b].At < p.end; b++ {
		if !w.asBefore(i, s.bars[b].At) {
			continue
		}
		off := s.start[b] - s.start[s.earlier[b]]
		to := min(s.bars[b].At+s.bars[b].Len, p.end)
		for _, x := range w.rerun.between(s.bars[b].At-off, to-off) {
			if x.tune < 0 && x.point >= 0 && w.rerun.scripts[x.point].of == x.point && !w.nextHas(i, x, off) {
				x = x.moved(off)
				x.point = i
				out = append(out, x)
			}
		}
	}
	return out
}

// nextHas reports whether a strike that would come off later in the stretch of point
// i belongs to the point after it, whose chord comes before its beat with the tune:
// that point strikes it.
func (w *worker) nextHas(i int, x strike, off Tick) bool {
	if i+1 >= len(w.ps) || x.point < 0 {
		return false
	}
	next := &w.ps[i+1]
	return next.early && x.at+off >= next.from && w.ps[x.point].at+off >= next.at
}

// between is what was struck from one time up to another, in order.
func (r *rerun) between(from, to Tick) (out []strike) {
	for k := range r.from.done {
		if x := &r.from.done[k]; in(x.at, from, to) {
			out = append(out, *x)
		}
	}
	slices.SortStableFunc(out, strike.before)
	return out
}

// heardAt is what was struck beside the tune at point i, off later, up to until.
func (w *worker) heardAt(i int, off, until Tick) (out []strike) {
	for _, x := range w.rerun.strikes[i] {
		if x.tune < 0 && x.at+off < until {
			x.at += off
			out = append(out, x)
		}
	}
	return out
}
