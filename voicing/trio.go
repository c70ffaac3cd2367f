package voicing

import (
	"slices"
	"sort"
	"strings"

	"thumbline/theory"
)

// With a bass player and a drummer the guitar plays less. The roots are the
// bass player's and the beat is the drummer's: what is left are the solo grips
// without what lies low, so that the fingers find what they have learned, and
// their chords may come off the beat (harmony.md 5.5 and 5.7; the model trio).

// lowestTrio is the lowest note of a grip with a bass player, G3: below it the
// two would be in each other's way (the model trio).
const lowestTrio = 55

// A trioPart is what a grip has to say with a bass player.
type trioPart uint8

const (
	noTrio    trioPart = iota // there is none
	trioNew                   // the chord is new
	trioAgain                 // it has been heard
)

// A duty is what one point of the solo arrangement has to do in the trio.
type duty struct {
	grip  grip // as solo has it, with its bass
	e     enumerator
	alone bool // the tune alone, by choice
	// late is what solo holds at split, where its chord comes with the tune's
	// next beat; split is 0 elsewhere.
	late  grip
	split Tick
}

// trioShares are how many notes are added to the tune with bass and drums, against
// solo at the same density: about three in five (4.0 of 6.5 a bar in the models).
// Sparse may be sparser still and full fuller, so that the three keep their order.
var trioShares = map[Density]target{
	densitySparse: {0.40, 0.48, 0.64, 0.68, 0},
	densityMedium: {0.57, 0.615, 0.65, 0.70, 0},
	densityFull:   {0.52, 0.60, 0.75, 0.90, 0},
}

// trio takes the solo arrangement for what it is with bass and drums: every
// grip is one of solo's with notes left out, or the tune alone, laid out anew
// in time.
func (w *worker) trio(solo *layer) *layer {
	w.duties = make([]duty, len(w.ps))
	w.soloAlone = solo.alone()
	w.first()
	w.s.trio = true
	for i := range w.ps {
		d, p, sp := &w.duties[i], &w.ps[i], &w.spots[i]
		d.grip, d.alone = solo.whole[i], solo.textures[i].alone
		if solo.waited[i] {
			d.split = solo.textures[i].split
			d.late = solo.heldAt(d.split)
			p.wait, p.want = d.split, slices.Clone(d.late.inner())
		}
		sp.trio = trioAgain
		if p.change || p.final {
			sp.trio = trioNew
		}
		d.e = w.trioEnumerator(i)
		w.grips[i] = w.withoutRoots(i)
	}
	w.layOut(w.density)
	aim, all := trioShares[w.density], float64(solo.added())
	best := w.toShare(aim, all, trioStep)
	for try := 0; try < 2 && w.unsaid(best); try++ {
		aim.price = best.price
		best = w.toShare(aim, all, trioStep)
	}
	best = w.varyToShare(best, aim, all)
	for i := range w.ps { // what comes again is looked at no more
		w.ps[i].said = w.ps[i].said || w.barTime[w.s.barAt(w.ps[i].at)] > 1
	}
	return w.repeats(best)
}

// unsaid finds new chords whose guide tones were to come with an answer and have
// not: their grips have to say them. It reports whether there are any.
func (w *worker) unsaid(l *layer) (found bool) {
	heard := make([]theory.PCSet, len(w.ps))
	for k := range l.done {
		x := &l.done[k]
		i := sort.Search(len(w.ps), func(i int) bool { return w.ps[i].end > x.at })
		for ; i < len(w.ps) && w.ps[i].at < x.end; i++ {
			if x.at < w.ps[i].at+2*w.s.bars[w.s.barAt(w.ps[i].at)].Beat {
				heard[i] = heard[i].With(int(x.midi))
			}
		}
	}
	for i := range w.ps {
		p := &w.ps[i]
		if w.spots[i].trio != trioNew || p.said {
			continue
		}
		if w.duties[i].e.missing(&grip{pcs: heard[i]}) > 0 {
			p.said, found = true, true
		}
	}
	return found
}

// trioStep is the next price to try with a bass player, where a small one says
// little: a grip has few notes to lose.
func trioStep(price, way float64) float64 {
	switch {
	case way < 0:
		return price - 0.8 - max(0, -price)
	case price < -0.25:
		return 0.5
	}
	return 2*price + 0.5
}

// withoutRoots are the choices of point i: the solo grip with its bass and
// whatever lies too low taken out, and fewer notes of it, the fingers where they
// are; the tune alone; and, where none of that has the guide tones of a new
// chord, other grips from the same place.
func (w *worker) withoutRoots(i int) []grip {
	d, p := &w.duties[i], &w.ps[i]
	solo, e := &d.grip, &d.e
	var upper, below []tone
	start := 0
	if solo.tune {
		start = 1
	}
	for _, t := range solo.note[start:solo.n] {
		v := t.voice
		t.voice = Inner
		switch {
		case v == Bass && e.pal.grounded(int(t.midi)):
		case !e.low(int(t.midi), v):
			upper = append(upper, t)
		case t.midi >= lowestInner && e.s.trio == trioNew && slices.Contains(e.pal.guides, int(t.midi)%12):
			below = append(below, t)
		}
	}
	var out []grip
	owes := true // nothing has the guide tones yet
	some := func(from []tone, all bool) {
		for mask := 1<<len(from) - 1; mask >= 0; mask-- {
			g := grip{pos: solo.pos, mood: solo.mood, tune: solo.tune}
			if solo.tune {
				g.take(solo.note[0])
			}
			for k, t := range from {
				if mask&(1<<k) != 0 {
					g.take(t)
				}
			}
			g.hasBass = false
			if mask > 0 && (d.split > 0 || e.rootLow(&g) || d.alone || w.right.attack(g.strings) == NoAttack) {
				continue
			}
			missing := e.missing(&g) > 0
			if missing && !all {
				continue
			}
			g.cost = e.weigh(&g, nil)
			owes = owes && missing
			out = append(out, g)
		}
	}
	some(upper, true)
	if owes && len(below) > 0 { // a guide tone that solo has lower is better than none
		all := append(slices.Clone(upper), below...)
		slices.SortStableFunc(all, func(a, b tone) int { return int(b.midi) - int(a.midi) })
		some(all, false)
	}
	if d.split == 0 {
		p.want = upper
	}
	p.owes = owes && e.s.trio == trioNew && !d.alone
	if p.owes && d.split == 0 {
		near := 0
		for _, g := range w.m.at(e.s) {
			if g.n < 2 || e.missing(&g) > 0 || g.tune != solo.tune || g.tune && (g.note[0].str != solo.note[0].str || g.note[0].fret != solo.note[0].fret) ||
				solo.pos > 0 && g.pos > 0 && absInt(int(g.pos)-int(solo.pos)) > 2 {
				continue
			}
			g.cost += w.taste.Trio.OtherGrip
			out = append(out, g)
			if near++; near == 6 {
				break
			}
		}
	}
	if p.tune < 0 && len(upper) == 0 {
		out = append(out, grip{})
	}
	return out
}

// trioEnumerator weighs grips of point i as they are with a bass player.
func (w *worker) trioEnumerator(i int) enumerator {
	sp := w.spots[i]
	if m := w.duties[i].grip.mood; m != written {
		sp.mood = m
	}
	return enumerator{m: w.m, s: sp, pal: newPalette(sp), sets: w.m.stepSets(sp.chord)}
}

// grounded reports whether a pitch is what the bass player has: the root, or
// the written bass.
func (p *palette) grounded(midi int) bool { return midi%12 == p.root || midi%12 == p.bass }

// low reports whether a pitch lies too low with a bass player. A guide tone of a
// new chord that has no place higher up, under a low tune, does not.
func (e *enumerator) low(midi int, v Voice) bool {
	if midi >= lowestTrio {
		return false
	}
	return midi < lowestInner || v == Bass || e.s.trio != trioNew || !slices.Contains(e.pal.guides, midi%12) || !e.s.hasTune() || midi+12 < e.s.tune-1
}

// rootLow reports whether a grip's lowest note is one the bass player has.
func (e *enumerator) rootLow(g *grip) bool {
	low, ok := g.low()
	return ok && low.voice != Melody && e.pal.grounded(int(low.midi))
}

// missing is how many guide tones a grip could have and has not.
func (e *enumerator) missing(g *grip) int {
	n := 0
	for _, pc := range e.pal.guides {
		if !g.pcs.Has(pc) && !e.suspended(pc) && pc != e.pal.bass {
			n++
		}
	}
	return n
}

// trioGuides is what the guide tones cost that a grip leaves out: nothing new
// is said where the chord has been heard.
func (e *enumerator) trioGuides(g *grip) float64 {
	c := e.m.taste.GuideMissing * float64(e.missing(g))
	if e.s.trio == trioAgain {
		c *= e.m.taste.Trio.Heard
	}
	return c
}

// bareAgainst is what it costs that a texture for the tune alone has a chord, or
// one for a chord has none: it is never so.
func (tx *texture) bareAgainst(g *grip) float64 {
	if tx.figure >= 0 && tx.bare != (len(g.inner()) == 0) {
		return 30
	}
	return 0
}

// later is how much cheaper it is that a grip leaves out guide tones where
// something answers soon enough to bring them.
func (w *worker) later(i int, g *grip, tx *texture) float64 {
	p := &w.ps[i]
	if w.spots[i].trio != trioNew {
		return 0
	}
	late := 0.0
	if g.n <= 1 && p.wait == 0 && slices.ContainsFunc(tx.answers, func(a answer) bool { return a.pair }) {
		late = w.taste.Trio.Attack // the chord is struck all the same
	}
	n := w.duties[i].e.missing(g)
	if n == 0 || p.said || !tx.soon(p.at, w.s.bars[w.s.barAt(p.at)].Beat) {
		return -late
	}
	return (1-w.taste.Trio.Later)*w.taste.GuideMissing*float64(n) - late
}

// soon reports whether something answers within two beats.
func (tx *texture) soon(at, beat Tick) bool {
	return slices.ContainsFunc(tx.answers, func(a answer) bool { return a.at < at+2*beat })
}

// again is what it costs in the trio that a grip says nothing new after the one
// before it: all of it rings already.
func (w *worker) again(i int, ga, gb *grip) float64 {
	said := gb.innerPCs()
	switch {
	case said == 0 || w.ps[i].change:
		return 0
	case said&^ga.innerPCs() != 0:
		return w.taste.Trio.Attack
	}
	return w.taste.Trio.Attack + w.taste.Trio.NothingNew
}

// innerPCs are the pitch classes of the inner voices.
func (g *grip) innerPCs() theory.PCSet {
	var pcs theory.PCSet
	for _, t := range g.inner() {
		pcs = pcs.With(int(t.midi))
	}
	return pcs
}

// A turned is how a phrase lays its grips out with bass and drums: the beat is
// safe, so the chord may leave it. It is turned round after two bars, so that
// something falls on one now and then, but not always (the model trio, bars 1 to
// 4). There are inner moments only, in beats after the point.
type turned [2]struct {
	delay float64   // the chord after the tune
	stabs []float64 // chords again, and single notes under a run
	line  []float64 // moments of the inner line under a long note: out and back
}

var (
	trioFours = []turned{
		{{0.5, []float64{2, 3}, []float64{2, 3}}, {0, []float64{2.5}, []float64{1.5, 2.5}}},
		{{0, []float64{1, 2.5}, []float64{1, 2.5}}, {0.5, []float64{2}, []float64{1.5, 2.5}}},
		{{1, []float64{2.5}, []float64{2.5, 3.5}}, {0, []float64{1.5}, []float64{1.5, 2.5}}},
		{{0, []float64{1.5, 3}, []float64{1.5, 3}}, {1, []float64{2.5}, []float64{2, 2.5}}},
		{{0.5, []float64{2.5}, []float64{1.5, 3}}, {0, []float64{2}, []float64{1, 2}}},
	}
	trioThrees = []turned{
		{{0.5, []float64{2}, []float64{1.5, 2.5}}, {0, []float64{1.5}, []float64{1, 2}}},
		{{0, []float64{1, 2}, []float64{1, 2}}, {1, []float64{2.5}, []float64{2, 2.5}}},
		{{1, []float64{2.5}, []float64{1.5, 2.5}}, {0, []float64{2}, []float64{1, 2}}},
		{{0, []float64{1.5}, []float64{1, 2}}, {1.5, nil, []float64{2, 2.5}}},
	}
	trioCompound = []turned{
		{{2. / 3, []float64{5. / 3}, []float64{1, 5. / 3}}, {0, []float64{1}, []float64{1, 5. / 3}}},
		{{0, []float64{5. / 3}, []float64{2. / 3, 5. / 3}}, {1, []float64{5. / 3}, []float64{1, 2}}},
		{{1, []float64{5. / 3}, []float64{5. / 3, 8. / 3}}, {0, []float64{5. / 3}, []float64{1, 2}}},
		{{0, []float64{2. / 3}, []float64{2. / 3, 5. / 3}}, {2. / 3, []float64{1}, []float64{1, 5. / 3}}},
	}
	// slow chords are laid on the beat after the tune's
	trioSlow = []turned{
		{{1, []float64{2.5}, []float64{2, 3}}, {0, []float64{2}, []float64{1.5, 2.5}}},
		{{0, []float64{1.5, 2.5}, []float64{1.5, 2.5}}, {1, []float64{3}, []float64{2, 3}}},
		{{0.5, []float64{2}, []float64{1.5, 2.5}}, {0, []float64{2.5}, []float64{1, 2.5}}},
		{{1, []float64{3}, []float64{2, 3}}, {0, []float64{1.5}, []float64{1.5, 3}}},
	}
	trioBossa = []turned{
		{{0, []float64{1.5, 3}, []float64{1.5, 3}}, {0.5, []float64{2, 3.5}, []float64{2, 3.5}}},
		{{0.5, []float64{2, 3.5}, []float64{2, 3.5}}, {0, []float64{1.5, 3}, []float64{1.5, 3}}},
		{{1.5, []float64{3}, []float64{2.5, 3.5}}, {0, []float64{1.5, 2.5}, []float64{1.5, 2.5}}},
		{{0.5, []float64{2.5}, []float64{1.5, 2.5}}, {0, []float64{1, 2.5}, []float64{1, 2.5}}},
	}
)

// trioFigures are the figures of a metre and feel with bass and drums.
func (s *score) trioFigures(b Bar, slow bool) []turned {
	switch {
	case compound(b):
		return trioCompound
	case b.Metre.Num == 3:
		return trioThrees
	case s.bossa && b.Beat == PerQuarter:
		return trioBossa
	case slow:
		return trioSlow
	}
	return trioFours
}

// turns is which half of a figure point p has: it is turned round every two bars
// of a phrase.
func (s *score) turns(p *point) int {
	if p.phrase >= len(s.phrase) {
		return 0
	}
	from := s.phrase[p.phrase].From
	if from+1 < len(s.bars) && s.bars[from].Len < s.bars[from+1].Len {
		from++ // behind the pick-up
	}
	return max(s.barAt(p.at)-from, 0) / 2 % 2
}

// trioLayouts lists the textures of a point with bass and drums.
func (l *layout) trioLayouts(d Density, t *TextureTaste) []texture {
	s, p := l.s, l.p
	levels := []Density{densityMedium, densitySparse}
	if d == densityFull {
		levels = append(levels, densityFull)
	}
	figs := s.trioFigures(l.bar, l.slow)
	var out []texture
	for k, fig := range figs {
		from := len(out)
		for n := range 2 * len(levels) {
			half := &fig[s.turns(p)]
			l.fig, l.line, l.level = figure{delay: half.delay, inner: half.stabs}, half.line, levels[n/2]
			l.tx = texture{bassAt: p.at, innerAt: p.at, bare: n%2 == 1}
			l.layTrio()
			if slices.ContainsFunc(out[from:], func(o texture) bool { return o.same(&l.tx) }) {
				continue
			}
			l.tx.figure = k
			l.tx.cost = l.weighTrio(t)
			if k != p.phrase%len(figs) {
				l.tx.cost += 2 * t.Order
			}
			l.tx.count()
			out = append(out, l.tx)
		}
	}
	return out
}

// layTrio lays a grip out in one figure.
func (l *layout) layTrio() {
	s, p := l.s, l.p
	l.misfit = false
	switch {
	case l.tx.bare: // there is no chord to come
	case p.late:
		l.tx.innerAt = s.tune[p.tune].at // the rhythm section has the beat
	case p.early:
		l.tx.innerAt = p.from
	case !p.light && p.wait == 0:
		l.delayTrio()
	}
	l.tx.name = l.trioName()
	l.answerTrio()
}

// delayTrio lets the chord come after the tune as the figure has it.
func (l *layout) delayTrio() {
	s, p := l.s, l.p
	if l.fig.delay == 0 {
		return
	}
	room := min(s.nextOnset(p.at), p.end) - p.at
	for k, d := range []float64{l.fig.delay, 0.5, 1} {
		off := Tick(d*float64(unit(l.bar)) + 0.5)
		if compound(l.bar) && d == 0.5 {
			off = 2 * l.bar.Beat / 3
		}
		if off+l.apart > room || s.seconds(p.at, p.at+off) < 0.2 || s.seconds(p.at, p.at+off) > latestChord {
			continue
		}
		l.tx.innerAt, l.misfit = p.at+off, k > 0
		return
	}
	l.misfit = true
}

// dies is how long a note of the tune lasts, in seconds, that wants something
// under it.
const dies = 1.2

// latestChord is how long after a change its chord comes at the latest, in
// seconds.
const latestChord = 0.9

// trioName is what a texture is with bass and drums.
func (l *layout) trioName() string {
	s, p := l.s, l.p
	at := l.tx.innerAt
	off := !s.onBeat(at)
	with := s.strikes(at)
	switch {
	case p.early && with:
		return "tune and chord before the beat"
	case with && off:
		return "together off the beat"
	case with:
		return "together"
	case p.held && off:
		return "chord off the beat under the held tune"
	case p.held:
		return "chord on the beat under the held tune"
	case p.tune < 0 && off:
		return "chord off the beat while the tune rests"
	case p.tune < 0:
		return "chord while the tune rests"
	case off:
		return "tune first, chord off the beat"
	}
	return "tune first, chord after"
}

// answerTrio names the moments of a stretch that inner voices answer: those of
// the figure, as stabs or, under a long note, as a line; one note or two under
// the strong notes of a run; the moment at which solo has its chord, where that
// waits; and one soon, where the grip owes something.
func (l *layout) answerTrio() {
	s, p, beat, one := l.s, l.p, l.bar.Beat, unit(l.bar)
	l.inner, l.last = 0, l.tx.innerAt
	sparse, full := l.level == densitySparse, l.level == densityFull
	for t := p.at + l.half; t < p.end; t += l.half {
		if t == p.wait {
			l.add(answer{at: t, pair: len(p.want) != 1})
			continue
		}
		if t <= max(l.tx.innerAt, p.wait) || t-l.last < l.apart || l.ends(t) {
			continue
		}
		owes := p.owes && l.inner == 0 && t < p.at+2*beat
		wants := l.wants(l.fig.inner, t)
		onBeat := s.onBeat(t)
		i := s.tuneAt(t)
		if i >= 0 && s.tune[i].at == t {
			long, room := s.tune[i].end-t >= beat, s.seconds(l.last, t) >= 0.25
			switch {
			case onBeat && i > 0 && s.passing(p, i) && !sparse:
				l.add(answer{at: t, pair: true}) // the chord steps with the tune
			case full && onBeat && room && (long || t-l.last >= 2*beat):
				l.add(answer{at: t, pair: long && s.strong(t)})
			case !sparse && onBeat && room && (long && wants && t-l.last >= beat && p.end-t > beat || s.strong(t) && (long && t-l.last >= 2*beat || t-l.last >= 3*beat)):
				l.add(answer{at: t, pair: long}) // one note is enough under a run (the model trio, bar 5)
			case owes && onBeat && s.seconds(l.last, t) >= 0.2:
				l.add(answer{at: t})
			}
			continue
		}
		if !l.clear(t) {
			continue
		}
		hold := i >= 0 && s.tune[i].end > t && s.tune[i].end-max(s.tune[i].at, p.at) >= 3*one
		due := t-l.last >= 2*one && (i < 0 || t-s.tune[i].at >= 2*one) // it is not left to die
		dying := i >= 0 && onBeat && t-max(s.tune[i].at, p.at) >= one && s.seconds(s.tune[i].at, min(s.tune[i].end, s.nextOnset(t))) >= dies && l.last <= max(s.tune[i].at, p.at)
		switch {
		case owes:
			l.add(answer{at: t, pair: !hold, line: hold})
		case hold:
			if !l.wants(l.line, t) && !due && !dying && !(full && t-l.last >= one) || sparse && l.inner > 0 || l.slow && t-l.last < one && !full {
				continue
			}
			l.add(answer{at: t, line: true, pair: full && !onBeat, due: l.inner == 0})
		case dying, due && !sparse, wants && !sparse && t-l.last >= one, full && !onBeat && t-l.last >= one:
			l.add(answer{at: t, pair: true, due: dying})
		}
	}
}

// weighTrio is what a texture costs by itself with bass and drums.
func (l *layout) weighTrio(t *TextureTaste) float64 {
	s, p, beat := l.s, l.p, l.bar.Beat
	cost := 0.0
	if l.misfit {
		cost += t.Misfit / 2 // a chord with the tune is as good
	}
	empty := 0
	for b := p.at; b < p.end; b += beat {
		if !s.emptyBeat(b, beat) || !l.tx.bare && in(l.tx.innerAt, b, b+beat) || slices.ContainsFunc(l.tx.answers, func(x answer) bool { return in(x.at, b, b+beat) }) {
			empty = 0
			continue
		}
		if empty++; empty > 1 { // a beat is safe without the guitar, two are a hole
			cost += t.Gap
		}
	}
	return cost
}

// describeLate places the chord of point i where the tune came first, alone, and
// inner voices answered it.
func (w *worker) describeLate(a *Arrangement, l *layer, i int) {
	p := &w.ps[i]
	for _, x := range p.texture.answers {
		struck := 0
		for k := range l.done {
			if n := &l.done[k]; n.at == x.at && n.voice == Inner {
				struck++
			}
		}
		if struck == 0 || !x.pair && x.at != p.wait {
			continue
		}
		g := l.heldAt(x.at)
		g.mood = l.chosen[i].mood
		name := "chord after the tune"
		if w.s.strikes(x.at) {
			name = "chord with the tune's next beat"
		}
		a.Grips = append(a.Grips, w.placed(i, x.at, &g, name, nil))
		return
	}
}

// reasonTrio says what a grip of point i has of solo's.
func (w *worker) reasonTrio(i int, g *grip) []string {
	d := &w.duties[i]
	solo := d.grip
	if d.split > 0 {
		solo = d.late
	}
	c := w.s.chords[w.ps[i].chord].chord
	if !g.within(&solo) {
		return []string{"not the solo grip, which lies too low for a bass player beside it"}
	}
	b, ok := solo.bass()
	switch left := int(solo.n - g.n); {
	case left == 0:
		return []string{"the solo grip as it is"}
	case left == 1 && ok && int(b.midi)%12 == c.RootPC():
		return []string{"the solo grip without its root, which the bass player has"}
	case left == 1 && ok:
		return []string{"the solo grip without its bass"}
	}
	return []string{"notes of the solo grip, the rest is left to the bass player or to the ear"}
}

// nameInTrio names a grip over the root that the bass player has: whatever the
// guitar has lowest is no bass. Where the tune's note is foreign to the chord, it
// is named without it, and what has no name over that root is the chord as it is
// written.
func (g *grip) nameInTrio(c theory.Chord) string {
	root := c.RootPC()
	for _, pcs := range []theory.PCSet{g.pcs, g.innerPCs()} {
		if name := theory.GripName(pcs.With(root), root, c); pcs != 0 && !strings.Contains(name, "/") {
			return name
		}
	}
	c.Slash = false
	return c.String()
}

// within reports whether all notes of a grip are another's, on the same strings.
func (g *grip) within(o *grip) bool {
	for _, t := range g.note[:g.n] {
		if !slices.ContainsFunc(o.note[:o.n], func(u tone) bool { return t.str == u.str && t.fret == u.fret }) {
			return false
		}
	}
	return true
}

// lowestInner is the lowest note of an inner voice that answers.
func (s *score) lowestInner() int {
	if s.trio {
		return lowestTrio
	}
	return lowestInner
}

// wanted are the notes of solo where the chord waits for the tune's next beat, or
// answers a tune that came alone: the trio's answer there takes them.
type wanted []tone

func (l *layer) wanted(i int, a answer) wanted {
	if p := &l.w.ps[i]; l.w.s.trio && (a.at == p.wait || a.pair && p.wait == 0 && l.chosen[i].n <= 1) {
		return p.want
	}
	return nil
}

// gain is what a wanted stop gains.
func (x wanted) gain(st Stop, finger int8, wt *AnswerTaste) float64 {
	for _, t := range x {
		if t.str == st.String && t.fret == st.Fret && t.finger == finger {
			return wt.Wanted
		}
	}
	return 0
}

// most is the most that a pitch gains.
func (x wanted) most(midi int, wt *AnswerTaste) float64 {
	for _, t := range x {
		if int(t.midi) == midi {
			return wt.Wanted
		}
	}
	return 0
}

// takesRoot reports whether one of ns would sound lowest, the tune aside, on a
// note that the bass player has. keep are the notes of live that ring on.
func (l *layer) takesRoot(ns []strike, keep uint64) bool {
	low := &ns[0]
	for k := range ns {
		if ns[k].midi < low.midi {
			low = &ns[k]
		}
	}
	if c := &l.pals[low.point]; !c.grounded(int(low.midi)) {
		return false
	}
	for k := range l.now {
		if x := &l.now[k]; x.tune < 0 && x.midi < low.midi {
			return false
		}
	}
	for k := range l.live {
		if x := &l.live[k]; x.tune < 0 && x.midi < low.midi && keep&(1<<k) != 0 {
			return false
		}
	}
	return true
}
