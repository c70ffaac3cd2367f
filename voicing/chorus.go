package voicing

import (
	"math"
	"slices"
	"sort"

	"thumbline/voicing/search"
)

// How a tune that is played several times grows: how much each chorus adds,
// against what the density adds by itself, and how that is shared out inside
// it. (One high point a chorus and later choruses fuller: harmony.md 5.7; the
// figures are the project's own.)
const (
	firstShare = 0.80 // of the first chorus
	lastShare  = 1.20 // of the last of three and more
	closeShare = 1.15 // of the second of two
	easeShare  = 1.02 // of the one before the last of many: it takes breath
	manyTimes  = 5    // from so many choruses on

	shareOff   = 0.03 // how near a share is near enough
	shapeSteps = 7    // how often the tune is played to find the prices
	dearArc    = 0.45 // how much dearer a note is at the ends of a chorus than by itself, to begin with
	topGain    = 1.2  // how much cheaper it is in the grip of the high point itself
	mostArc    = 3.0
)

// growth is how much each of n choruses adds, against the density's own.
func growth(n int) []float64 {
	last, steps := lastShare, n
	switch {
	case n == 2:
		last = closeShare
	case n >= manyTimes:
		steps-- // they rise as if the one before the last were not there
	}
	out := make([]float64, 0, n)
	for k := range steps {
		out = append(out, firstShare+(last-firstShare)*float64(k)/float64(max(steps-1, 1)))
	}
	if steps < n {
		out = slices.Insert(out, n-2, min(easeShare, out[n-3]))
	}
	return out
}

// A chorus is one time through the tune.
type chorus struct {
	from, to                Tick
	bars                    int
	first, last             int     // its points, [first, last)
	high                    int     // the phrase that has its high point, -1 for none
	top                     int     // the point of that, -1 for none
	share                   float64 // what it is to add, against the density's own
	price, arc              float64 // what a note costs more than by itself, and how far that goes up and down
	cheap, dear             float64 // prices known to be too cheap and too dear
	knownC, knownD          bool
	bestPrice, bestArc, off float64 // the nearest so far
}

// choruses are the times through with the tune.
func (w *worker) choruses() []chorus {
	s := w.s
	var out []chorus
	for k, x := range s.form.choruses {
		if k == s.form.comped || x.From >= x.To {
			continue
		}
		last := s.bars[x.To-1]
		c := chorus{from: s.start[x.From], to: last.At + last.Len, bars: x.To - x.From, high: -1, top: -1, arc: dearArc,
			cheap: cheapest, dear: dearest, off: math.Inf(1)}
		c.first = sort.Search(len(w.ps), func(i int) bool { return w.ps[i].at >= c.from })
		c.last = sort.Search(len(w.ps), func(i int) bool { return w.ps[i].at >= c.to })
		if n := s.highPoint(c.from, c.to); n >= 0 {
			t := s.tune[n].written()
			for i := c.first; i < c.last; i++ {
				if w.ps[i].at <= t {
					c.high = w.ps[i].phrase
				}
				if w.ps[i].tune == n {
					c.top = i
				}
			}
		}
		out = append(out, c)
	}
	for k, g := range growth(len(out)) {
		out[k].share = g
	}
	return out
}

// highPoint is the note of the tune between two times to which a chorus grows:
// its highest long one, late rather than early. -1 where there is none.
func (s *score) highPoint(from, to Tick) int {
	const (
		where = 0.7 // of the way
		early = 9.0 // what being all the way from there costs, in semitones
	)
	best, most := -1, math.Inf(-1)
	for k := max(s.tuneAt(from-1)+1, 0); k < len(s.tune) && s.tune[k].at < to; k++ {
		n := &s.tune[k]
		beat := s.bars[s.barAt(n.at)].Beat
		x := float64(n.at-from) / float64(to-from)
		worth := float64(n.midi) + 2*math.Log2(min(max(float64(n.end-n.at)/float64(beat), 0.25), 4)) - early*abs(x-where)
		if worth > most {
			best, most = k, worth
		}
	}
	return best
}

// arc is how much dearer than in the middle a note is at point i of a chorus, from
// 1 at its ends to -1 in the phrase of its high point.
func (w *worker) arc(c *chorus, i int) float64 {
	p := w.ps[i].phrase
	first, last := w.ps[c.first].phrase, w.ps[c.last-1].phrase
	switch {
	case c.high < 0:
		return 0
	case p == c.high:
		return -1
	case p < c.high:
		return float64(c.high-p) / float64(c.high-first)
	}
	return 0.4 + 0.6*float64(p-c.high)/float64(last-c.high) // what comes after thins out at once
}

// shape gives a tune that is played several times its growth: a price for each
// point, found chorus by chorus by playing all of it a few times. A tune that is
// played once is left as it is.
func (w *worker) shape(l *layer, res search.Result) (*layer, search.Result) {
	if len(w.s.form.choruses) < 2 {
		return l, res
	}
	cs := w.choruses()
	all, bars := 0, 0
	for k := range cs {
		all += l.addedIn(&cs[k])
		bars += cs[k].bars
	}
	if all == 0 {
		return l, res
	}
	mean := float64(all) / float64(bars)
	w.layChoruses(cs)
	for try := 0; try < shapeSteps; try++ {
		w.setPrices(cs)
		l, res = w.play()
		good := true
		for k := range cs {
			good = l.aim(&cs[k], mean) && good
		}
		if good {
			break
		}
	}
	again := false
	for k := range cs {
		c := &cs[k]
		again = again || c.price != c.bestPrice || c.arc != c.bestArc
		c.price, c.arc = c.bestPrice, c.bestArc
	}
	if again {
		w.setPrices(cs)
		l, res = w.play()
	}
	return w.vary(l, res)
}

// aim looks how near a chorus came to what it is to add, and sets its next price.
func (l *layer) aim(c *chorus, mean float64) bool {
	share := float64(l.addedIn(c)) / (mean * float64(c.bars))
	d := share - c.share
	short := l.belowTop(c)
	if off := abs(d) + 0.5*short; off < c.off {
		c.off, c.bestPrice, c.bestArc = off, c.price, c.arc
	}
	good := abs(d) <= shareOff && short == 0
	if good {
		return true
	}
	if short > 0 && c.arc < mostArc {
		c.arc = min(1.6*c.arc, mostArc)
	}
	if abs(d) <= shareOff {
		return false
	}
	if d > 0 {
		c.cheap, c.knownC = c.price, true
	} else {
		c.dear, c.knownD = c.price, true
	}
	step := max(0.1, 2*abs(d))
	switch {
	case c.knownC && c.knownD && c.cheap < c.dear:
		c.price = (c.cheap + c.dear) / 2
	case d > 0:
		c.price, c.knownD = min(c.price+step, dearest), false
	default:
		c.price, c.knownC = max(c.price-step, cheapest), false
	}
	return false
}

// belowTop is by how much the phrase of the high point has fewer notes a bar
// than the fullest of the others, as a share; 0 where it has most.
func (l *layer) belowTop(c *chorus) float64 {
	if c.high < 0 {
		return 0
	}
	s := l.w.s
	most, own := 0.0, 0.0
	for k := range s.phrase {
		p := &s.phrase[k]
		from, to := s.start[p.From], s.end
		if p.To < len(s.start) {
			to = s.start[p.To]
		}
		if from < c.from || from >= c.to || to-from < 2*s.bars[p.From].Len {
			continue
		}
		n := 0
		for i := range l.done {
			if in(l.done[i].at, from, to) {
				n++
			}
		}
		per := float64(n) / float64(to-from)
		if k == c.high {
			own = per
		} else {
			most = max(most, per)
		}
	}
	if own == 0 || most < own {
		return 0
	}
	return most/own - 1 + 0.01
}

// addedIn is how many notes are added in a chorus.
func (l *layer) addedIn(c *chorus) int {
	n := 0
	for i := range l.done {
		if x := &l.done[i]; x.tune < 0 && in(x.at, c.from, c.to) {
			n++
		}
	}
	return n
}

// layChoruses lists the textures of the choruses: thinner ones where a chorus is
// to add less than the density does, fuller ones where it is to add more.
func (w *worker) layChoruses(cs []chorus) {
	for k := range cs {
		c := &cs[k]
		for i := c.first; i < c.last; i++ {
			p := &w.ps[i]
			d := w.density
			switch want := c.share - 0.15*w.arc(c, i); {
			case want < 0.95 && d == densityMedium:
				d = densitySparse
			case want > 1.05 && d == densityMedium:
				d = densityFull
			}
			p.layouts = w.s.layouts(p, d, &w.taste.Texture)
		}
	}
}

// setPrices sets what a note costs more at each point of the choruses.
func (w *worker) setPrices(cs []chorus) {
	w.over = make([]float64, len(w.ps)) // anew: layers keep theirs
	for k := range cs {
		c := &cs[k]
		for i := c.first; i < c.last; i++ {
			w.over[i] = c.price + c.arc*w.arc(c, i)
			if i == c.top {
				w.over[i] -= topGain
			}
		}
	}
}

// priceAt is what each note that is added at point i costs beside taste.
func (w *worker) priceAt(i int) float64 {
	if w.over == nil {
		return w.price
	}
	return w.price + w.over[i]
}
