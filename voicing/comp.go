package voicing

import (
	"slices"
	"sort"
)

// A chorus of comping has chords and bass without the tune, for someone to sing
// or play over: guide tones on the middle strings under a top line that moves by
// step or stays, in a rhythm that lasts for a phrase and changes with the next,
// and space where phrases end (harmony.md 5.2, 5.7; what has no source there is
// common practice).

// A compFigure is when the chords of a phrase are struck, in units (see unit)
// from the start of a cycle that is so many units long. The bass has the strong
// beats. A chord half a unit before another comes is that one, pushed.
type compFigure struct {
	cycle float64
	hits  []float64
	walk  bool // the bass walks into each change
}

var (
	compSwing = []compFigure{
		{8, []float64{0.5, 2.5, 4.5, 6.5, 7.5}, false}, // off the first and the third beat
		{8, []float64{0, 1.5, 4, 5.5, 7}, true},        // on one and after two
		{8, []float64{1, 3.5, 5.5, 7.5}, false},        // pushed over the bar line
		{8, []float64{1, 3, 5, 6.5}, true},             // on two and four
	}
	compStraight = []compFigure{
		{8, []float64{1, 3, 5, 7}, false}, // after each bass
		{8, []float64{1, 2.5, 5, 7}, true},
		{8, []float64{0, 1, 3, 5, 6, 7}, false},
		{8, []float64{1, 3, 5, 6.5}, true},
	}
	compBossa = []compFigure{
		{8, []float64{0, 1.5, 3, 4.5, 6, 7.5}, false},
		{8, []float64{0, 1.5, 3, 4.5, 6}, false},
		{8, []float64{0.5, 2, 3.5, 5, 6.5}, false},
	}
	compBallad = []compFigure{
		{8, []float64{1, 5, 6.5}, false},
		{8, []float64{0, 2.5, 5}, true},
		{8, []float64{0.5, 2, 4.5}, false},
	}
	compWaltz = []compFigure{
		{6, []float64{1, 2, 4}, false},
		{6, []float64{1.5, 4, 5}, true},
		{6, []float64{1, 3, 4.5}, false},
		{6, []float64{0, 1.5, 4.5}, true},
	}
	compSlowWaltz = []compFigure{
		{6, []float64{1, 4, 5}, false},
		{6, []float64{0, 4}, true},
		{6, []float64{1, 3.5}, false},
	}
	compCompound = []compFigure{ // in dotted beats
		{4, []float64{2. / 3, 5. / 3, 8. / 3}, false},
		{4, []float64{0, 5. / 3, 2, 3}, false},
		{4, []float64{2. / 3, 2, 11. / 3}, false},
	}
)

// compFigures are the figures of a metre and feel.
func (s *score) compFigures(b Bar) []compFigure {
	slow := s.leftToRing(b.At)
	switch waltz := b.Metre.Num == 3; {
	case compound(b):
		return compCompound
	case waltz && slow:
		return compSlowWaltz
	case waltz:
		return compWaltz
	case slow:
		return compBallad
	case s.bossa:
		return compBossa
	}
	if !s.swings {
		return compStraight
	}
	return compSwing
}

// comping finds where the tune is left out and has the chords of another time
// through there, with what was put in under the tune: it may be sung.
func (s *score) comping() {
	f := s.form
	if f.comped < 0 || f.comped >= len(f.choruses) {
		return
	}
	x := f.choruses[f.comped]
	s.comp[0], s.comp[1] = s.spanOf(x)
	s.compLead = s.comp[0]
	if s.bars[x.From].Len < s.bars[x.From].full() && x.From+1 < x.To {
		s.comp[0] = s.start[x.From+1]
	}
	like := f.comped - 1
	if like < 0 {
		like = 1
	}
	y := f.choruses[like]
	// one of the two may be played without the pick-up: the other bars are alike
	more := (y.To - y.From) - (x.To - x.From)
	first := s.start[x.From+max(-more, 0)]
	shift := first - s.start[y.From+max(more, 0)]
	from, to := s.spanOf(y)
	var own []chordSpan
	for _, c := range s.chords {
		if in(c.at, from, to) {
			c.at, c.end = max(c.at+shift, first), min(min(c.end, to)+shift, s.comp[1])
			if c.at < c.end {
				own = append(own, c)
			}
		}
	}
	if f.comped == len(f.choruses)-1 { // nothing follows that its last turnaround could lead to
		k := len(own)
		for k > 1 && own[k-1].added != "" {
			k--
		}
		own = own[:k]
	}
	if len(own) == 0 {
		return
	}
	own[len(own)-1].end = s.comp[1]
	a := sort.Search(len(s.chords), func(i int) bool { return s.chords[i].at >= first })
	b := sort.Search(len(s.chords), func(i int) bool { return s.chords[i].at >= s.comp[1] })
	if a > 0 {
		s.chords[a-1].end = own[0].at
	}
	s.chords = slices.Concat(s.chords[:a], own, s.chords[b:])
	s.findSilences()
}

// spanOf is where a section begins and ends.
func (s *score) spanOf(x Section) (from, to Tick) {
	last := s.bars[x.To-1]
	return s.start[x.From], last.At + last.Len
}

// comps reports whether t lies in the chorus without its tune.
func (s *score) comps(t Tick) bool { return in(t, s.comp[0], s.comp[1]) }

// compPickup reports whether t lies in a pick-up of the chorus without its tune:
// nothing comes there but a new chord.
func (s *score) compPickup(t Tick) bool {
	return in(t, s.compLead, s.comp[1]) && (t < s.comp[0] || s.short(s.barAt(t)))
}

// short reports whether a bar is no more than half of what its metre asks for.
func (s *score) short(bar int) bool { return 2*s.bars[bar].Len <= s.bars[bar].full() }

// compHits are the moments from a up to b at which the figures strike a chord.
func (s *score) compHits(a, b Tick) []Tick {
	var out []Tick
	for k := s.barAt(max(a, s.comp[0])); k < len(s.bars) && s.bars[k].At < min(b, s.comp[1]); k++ {
		bar, ph := s.bars[k], s.phraseOf(k)
		u := unit(bar)
		if bar.Len < u || s.short(k) {
			continue
		}
		f := s.compFigure(k)
		beats := float64(bar.Len) / float64(u)
		from := 0.0 // of the bar in the cycle
		if n := f.cycle / beats; n == float64(int(n)) {
			bars := k - s.phrase[ph].From
			if s.short(s.phrase[ph].From) {
				bars--
			}
			from = beats * float64(bars%int(n))
		}
		end := bar.At + bar.Len
		if k == s.phrase[ph].To-1 && bar.Len > bar.Beat {
			end -= bar.Beat // the phrase breathes
		}
		for x := from; x < from+beats; x += f.cycle { // bars longer than a cycle begin it again
			for _, h := range f.hits {
				if h >= from && h < from+beats {
					if t := bar.At + Tick((h-from+x-from)*float64(u)+0.5); t < end && in(t, a, b) {
						out = append(out, t)
					}
				}
			}
		}
	}
	return out
}

// phraseOf is the index of the phrase that holds a bar.
func (s *score) phraseOf(bar int) int {
	return max(sort.Search(len(s.phrase), func(i int) bool { return s.phrase[i].From > bar })-1, 0)
}

// compFigure is the figure of the phrase that holds a bar.
func (s *score) compFigure(bar int) compFigure {
	figs := s.compFigures(s.bars[bar])
	return figs[max(s.phraseOf(bar)-s.phraseOf(s.barAt(s.comp[0])), 0)%len(figs)]
}

// soonestChord is the least time between two chords that are struck, in seconds.
const soonestChord = 0.26

// compLayout is the texture of a point in the chorus without its tune: the bass
// on the point, the chord when the figure strikes it.
func (s *score) compLayout(p *point, d Density) []texture {
	bar := s.bars[s.barAt(p.at)]
	h := halfUnit(bar)
	tx := texture{bassAt: p.at, innerAt: -1, figure: -1}
	strike := func(t Tick) {
		if tx.innerAt < 0 {
			tx.innerAt = t
			return
		}
		last := tx.innerAt
		if k := len(tx.chords); k > 0 {
			last = tx.chords[k-1]
		}
		if s.seconds(last, t) >= soonestChord && d != densitySparse || t-last >= 2*unit(bar) {
			tx.chords = append(tx.chords, t)
		}
	}
	for _, t := range s.compHits(p.at-h, p.end) {
		if t < p.at && (t+h != p.at || !p.pushed) || t >= p.at && t+h == p.end && p.pushes {
			continue // it is another chord's
		}
		if tx.innerAt < 0 && t > p.at+min(3*unit(bar)/2, (p.end-p.at)/2) {
			strike(p.at) // the chord is said while it is new
		}
		strike(t)
	}
	if tx.innerAt < 0 {
		tx.innerAt = p.at
	}
	if !s.trio {
		s.compBass(p, d, &tx)
	}
	tx.name = "bass and chord together"
	switch {
	case s.trio && tx.innerAt < p.at:
		tx.name = "chord pushed ahead"
	case s.trio && s.onBeat(tx.innerAt):
		tx.name = "chord on the beat"
	case s.trio:
		tx.name = "chord off the beat"
	case tx.innerAt < p.at:
		tx.name = "chord pushed ahead, bass on the beat"
	case tx.innerAt > p.at && s.onBeat(tx.innerAt):
		tx.name = "bass first, chord on a later beat"
	case tx.innerAt > p.at:
		tx.name = "bass on the beat, chord off it"
	}
	tx.count()
	return []texture{tx}
}

// compBass gives the bass its beats: the strong ones, and the last before a
// change where it walks.
func (s *score) compBass(p *point, d Density, tx *texture) {
	k := s.barAt(p.at)
	bar, walk := s.bars[k], s.compFigure(k).walk && !p.closes
	slow := s.leftToRing(p.at)
	for t := p.at + bar.Beat; t < p.end; t += bar.Beat {
		switch last := t+bar.Beat >= p.end; {
		case !s.onBeat(t):
		case s.strong(t) && d != densitySparse, compound(bar) && d != densitySparse,
			last && !p.closes && !slow && d != densitySparse && (walk || d == densityFull) && s.seconds(t, p.end) >= soonestChord:
			tx.answers = append(tx.answers, answer{at: t, bass: true})
		}
	}
}

// compPoints marks the points of the chorus without its tune, and which of
// their chords come half a unit before their beat.
func (s *score) compPoints(ps []point) {
	for i := range ps {
		p := &ps[i]
		if !s.comps(p.at) || p.final || s.putIn(p.at) {
			continue
		}
		if p.tune >= 0 && !p.late || len(s.tune) > 0 && s.nextOnset(p.at-1) < min(p.end, s.comp[1]) {
			continue // an ending takes over here
		}
		p.comp, p.tune, p.late, p.held = true, -1, false, false
		if i == 0 || !ps[i-1].comp || !p.change || compound(s.bars[s.barAt(p.at)]) {
			continue
		}
		h := halfUnit(s.bars[s.barAt(p.at)])
		q := &ps[i-1]
		if hits := s.compHits(p.at-h, p.at); len(hits) > 0 && hits[0] == p.at-h && h > 0 && q.end == p.at && p.at-q.at > 2*h {
			p.pushed, q.pushes = true, true
		}
	}
}

// leftToRing reports whether a chord of comping rings on at t: a beat is slow there.
func (s *score) leftToRing(t Tick) bool {
	return s.seconds(t, t+unit(s.bars[s.barAt(t)])) > ringingQuarter
}

// chordEnd is when a chord of comping that is struck at t stops: soon off the beat,
// after a beat on it, and over the bar line where it was pushed. 0 where it is
// left to ring.
func (s *score) chordEnd(t Tick) Tick {
	if s.bossa || s.leftToRing(t) {
		return 0
	}
	bar := s.bars[s.barAt(t)]
	end := t + unit(bar)
	if (t-bar.At)%unit(bar) != 0 {
		end = t + halfUnit(bar)
		if end == bar.At+bar.Len {
			end += unit(bar)
		}
	}
	return s.heardFrom(t, end)
}

// chordAgain lists the strikes of a comped point's chord after the first.
func (l *layer) chordAgain(i int, out []strike) []strike {
	p, g := &l.w.ps[i], &l.chosen[i]
	for _, at := range p.texture.chords {
		for _, t := range g.inner() {
			out = append(out, strike{tone: t, at: at, end: l.ringEnd(i, t), point: i, tune: -1, brief: l.w.s.chordEnd(at)})
		}
	}
	return out
}

// CompTaste weighs the grips of a chorus without its tune, in the unit of Taste.
// The values are the project's own and have no other source.
type CompTaste struct {
	Open     float64 // an open string among the inner voices, which the left hand cannot stop
	Low      float64 // each semitone of the top voice below B3
	High     float64 // each semitone of the top voice above A4
	LowInner float64 // an inner voice on the fifth string or below: thick
	TopSame  float64 // the top voice stays while the chord does
	TopThird float64 // it moves by a third
	TopLeap  float64 // it leaps farther
	TopWide  float64 // and each semitone of that
}

// The range of the top voice of comping: easy between, never above.
const (
	compLow, compHigh = 59, 69
	compTop           = 73
)

// compCost is what a grip costs more where it comps.
func (w *CompTaste) compCost(g *grip) float64 {
	in := g.inner()
	if len(in) == 0 {
		return 8
	}
	c := 0.0
	for _, t := range in {
		if t.fret == 0 {
			c += w.Open
		}
		if t.str > 4 {
			c += w.LowInner
		}
	}
	top := int(in[0].midi)
	return c + w.Low*float64(max(compLow-top, 0)) + w.High*float64(max(top-compHigh, 0))
}

// topLine is what the top voice costs from one grip of comping to the next.
func (w *CompTaste) topLine(ga, gb *grip, change bool) float64 {
	a, b := ga.inner(), gb.inner()
	if len(a) == 0 || len(b) == 0 {
		return 0
	}
	switch d := absInt(int(a[0].midi) - int(b[0].midi)); {
	case d == 0 && !change:
		return w.TopSame
	case d <= 2:
		return 0
	case d <= 4:
		return w.TopThird
	default:
		return w.TopLeap + w.TopWide*float64(d-4)
	}
}
