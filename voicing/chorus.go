package voicing

import (
	"math"
	"slices"
	"sort"
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

	shareOff    = 0.03 // how near a share is near enough
	closePrices = 0.12 // prices that say the same of most bars
	shortWeight = 0.25 // of a high point that is not the fullest, against a share that is off
	fewChoruses = 8    // the most that are played once more for that
	timesAgain  = 3    // how often that is tried where choruses do not rise
	shapeAgain  = 4    // and how often once more, where what comes again was left out of account
	shapeSteps  = 9    // how often the tune is played to find the prices
	dearArc     = 0.45 // how much dearer a note is at the ends of a chorus than by itself, to begin with
	topGain     = 1.2  // how much cheaper it is in the grip of the high point itself
	nearShare   = 0.08 // how near a share is before its arc is looked at
	mostArc     = 1.6
	priceGrain  = 0.3 // how far the price differs from bar to bar, so that bars that are alike do not fill at once
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
	from, to    Tick
	bars        int
	first, last int     // its points, [first, last)
	high        int     // the phrase that has its high point, -1 for none
	top         int     // the point of that, -1 for none
	share       float64 // what it is to add, against the density's own
	aims        float64 // what is aimed at for that

	now, best   prices  // that are tried, and those that came nearest
	off         float64 // how near the best came
	cheap, dear *tried  // the last prices that were too cheap and too dear
	flat        float64 // the last arc that left the high point below others
	less, more  float64 // mixes that are too few and too many, where the two are mixed
}

// prices are what a note costs more than by itself in a chorus.
type prices struct {
	price float64
	arc   float64 // how far it goes up and down
	mix   float64 // the share of the chorus, around its high point, that has another
	near  float64 // and what it is there
}

// tried is a price and by how much too much was added at it.
type tried struct{ price, off float64 }

// choruses are the times through with the tune; ns is what is played without growth.
func (w *worker) choruses(ns []struck) []chorus {
	s := w.s
	var out []chorus
	for k, x := range s.form.choruses {
		if k == s.form.comped || x.From >= x.To {
			continue
		}
		c := chorus{bars: x.To - x.From, high: -1, top: -1, now: prices{arc: dearArc}, off: math.Inf(1)}
		c.from, c.to = s.spanOf(x)
		c.first = sort.Search(len(w.ps), func(i int) bool { return w.ps[i].at >= c.from })
		c.last = sort.Search(len(w.ps), func(i int) bool { return w.ps[i].at >= c.to })
		c.rise(w, w.fullness(&c, ns))
		out = append(out, c)
	}
	for k, g := range growth(len(out)) {
		out[k].share, out[k].aims = g, g
	}
	return out
}

// rise finds the note of the tune to which a chorus grows: its highest long one,
// late rather than early, and in a phrase that has room for it. full is how
// many notes a bar each phrase has by itself.
func (c *chorus) rise(w *worker, full map[int]float64) {
	const (
		where = 0.7 // of the way
		early = 9.0 // what being all the way from there costs, in semitones
		close = 0.9 // from here on it is the close
		room  = 5.0 // what twice as many notes as the others are worth
	)
	s := w.s
	mean := 0.0
	for _, x := range s.phrasesIn(c) {
		mean += full[x] / float64(len(full))
	}
	most, point := math.Inf(-1), c.first
	for k := s.tuneAt(c.from-1) + 1; k < len(s.tune) && s.tune[k].at < c.to && c.first < c.last; k++ {
		n := &s.tune[k]
		for point+1 < c.last && w.ps[point+1].at <= n.written() {
			point++
		}
		phrase := w.ps[point].phrase
		beats := float64(n.end-n.at) / float64(s.bars[s.barAt(n.at)].Beat)
		x := float64(n.at-c.from) / float64(c.to-c.from)
		if x > close && most > math.Inf(-1) {
			break
		}
		worth := float64(n.midi) + 2*math.Log2(min(max(beats, 0.25), 4)) - early*abs(x-where)
		if f, ok := full[phrase]; ok && mean > 0 {
			worth += room * (f/mean - 1)
		}
		if worth > most {
			most, c.high, c.top = worth, phrase, -1
			if w.ps[point].tune == k {
				c.top = point
			}
		}
	}
}

// phrasesIn lists the phrases of a chorus, but what is shorter than two bars.
func (s *score) phrasesIn(c *chorus) []int {
	var out []int
	for k, p := range s.phrase {
		if at := s.start[p.From]; in(at, c.from, c.to) && p.To-p.From >= 2 {
			out = append(out, k)
		}
	}
	return out
}

// fullness is how many notes a bar each phrase of a chorus has, the tune's own
// among them.
func (w *worker) fullness(c *chorus, ns []struck) map[int]float64 {
	s := w.s
	out := map[int]float64{}
	for _, k := range s.phrasesIn(c) {
		out[k] = 0
	}
	for i := c.first; i < c.last; i++ {
		k := w.ps[i].phrase
		if _, ok := out[k]; ok {
			out[k] += float64(ns[i].added + ns[i].tune)
		}
	}
	for k := range out {
		p := s.phrase[k]
		to := s.end
		if p.To < len(s.start) {
			to = s.start[p.To]
		}
		out[k] *= float64(s.bars[p.From].Metre.Num) / float64(to-s.start[p.From])
	}
	return out
}

// struck is how many notes belong to a point.
type struck struct{ added, tune int }

// counted is how many notes each point has or, where what comes again has not been
// played yet, will have: what is to stay as it was the time before has what it
// had there.
func (l *layer) counted(again bool) []struck {
	w := l.w
	out := make([]struck, len(w.ps))
	for k := range l.done {
		switch x := &l.done[k]; {
		case x.point < 0:
		case x.tune < 0:
			out[x.point].added++
		default:
			out[x.point].tune++
		}
	}
	for i := range out {
		if t := w.twins[i]; !again && t.of >= 0 && t.keep {
			out[i].added = out[t.of].added
		}
	}
	return out
}

// belowTop is by how much the phrase of the high point has fewer notes a bar
// than the fullest of the others, as a share; 0 where it has most.
func (w *worker) belowTop(c *chorus, ns []struck) float64 {
	full := w.fullness(c, ns)
	own, most := full[c.high], 0.0
	for k, f := range full {
		if k != c.high {
			most = max(most, f)
		}
	}
	if own == 0 || most < own {
		return 0
	}
	return most/own - 1 + 0.01
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

// grow plays what comes again, of the layer l, and gives a tune that is played
// several times its growth: a price for each point, found chorus by chorus by
// playing all of it a few times.
func (w *worker) grow(l *layer) *layer {
	if len(w.s.form.choruses) < 2 || w.unvaried {
		return w.repeats(l)
	}
	ns := l.counted(false)
	w.parts = w.choruses(ns)
	all, bars := 0, 0
	for k := range w.parts {
		all += w.parts[k].addedTo(ns)
		bars += w.parts[k].bars
	}
	if all == 0 {
		return w.repeats(l)
	}
	w.mean = float64(all) / float64(bars)
	w.layChoruses()
	l = w.repeats(w.shape(shapeSteps))
	off, ok := w.grown(l)
	if ok || len(w.parts) > fewChoruses {
		return l
	}
	// what comes again has its own way with notes: that is made up for
	m := l
	for try := 0; try == 0 || try < timesAgain && off > 1; try++ {
		w.first()
		ns = m.counted(true)
		for k := range w.parts {
			c := &w.parts[k]
			c.aims += c.share - c.adds(ns, w.mean)
			c.off, c.cheap, c.dear, c.now = math.Inf(1), nil, nil, c.best
		}
		m = w.repeats(w.shape(shapeAgain))
		if o, _ := w.grown(m); o < off {
			l, off = m, o
		}
	}
	return l
}

// grown is how far the choruses of l are from what they are to be, and whether
// that is good enough.
func (w *worker) grown(l *layer) (off float64, ok bool) {
	ns, before := l.counted(true), 0.0
	ok = true
	for k := range w.parts {
		c := &w.parts[k]
		share := c.adds(ns, w.mean)
		d := abs(share - c.share)
		short := w.belowTop(c, ns)
		off += d + min(shortWeight*short, 0.1)
		if c.share > before && share < before+shareOff && k > 0 && c.share > w.parts[k-1].share {
			off++
			ok = false
		}
		ok = ok && d <= 2*shareOff && short <= 0.1
		before = share
	}
	return off, ok
}

// shape finds the prices at which each chorus adds what it is to add.
func (w *worker) shape(steps int) (l *layer) {
	for range steps {
		w.setPrices()
		l = w.play()
		ns, good := l.counted(false), true
		for k := range w.parts {
			good = w.aim(&w.parts[k], ns) && good
		}
		if good {
			break
		}
	}
	again := false
	for k := range w.parts {
		c := &w.parts[k]
		again = again || c.now != c.best
		c.now = c.best
	}
	if again {
		w.setPrices()
		l = w.play()
	}
	return w.vary(l)
}

// aim looks how near a chorus came to what it is to add, and sets the prices to
// try next.
func (w *worker) aim(c *chorus, ns []struck) bool {
	d := c.adds(ns, w.mean) - c.aims
	short := w.belowTop(c, ns)
	if off := max(abs(d)-shareOff, 0) + 0.2*abs(d) + min(shortWeight*short, 0.1); off < c.off {
		c.off, c.best = off, c.now
	}
	n := &c.now
	switch {
	case short > 0 && abs(d) <= nearShare && n.arc < mostArc && n.mix == 0:
		c.flat, n.arc = n.arc, min(1.5*n.arc, mostArc)
		c.cheap, c.dear = nil, nil // they were for another
	case abs(d) <= shareOff:
		return true
	case d > 4*shareOff && c.flat > 0 && n.arc > 1.1*c.flat: // the high point alone has too much
		*n = prices{price: n.price, arc: (c.flat + n.arc) / 2}
		c.cheap, c.dear = nil, nil
	}
	switch {
	case n.mix > 0 && d > 0:
		c.more = n.mix
	case n.mix > 0:
		c.less = n.mix
	case d > 0:
		c.cheap = &tried{n.price, d}
	default:
		c.dear = &tried{n.price, d}
	}
	step := max(0.05, 1.2*abs(d))
	switch {
	case n.mix > 0:
		n.mix = (c.less + c.more) / 2
	case c.cheap != nil && c.dear != nil && c.cheap.price < c.dear.price:
		if c.dear.price-c.cheap.price < closePrices {
			// bars that are alike change all at once: some are to change, those
			// around the high point
			*n = prices{price: c.dear.price, arc: n.arc, near: c.cheap.price, mix: 0.5}
			c.less, c.more = 0, 1
			break
		}
		part := min(max(c.cheap.off/(c.cheap.off-c.dear.off), 0.2), 0.8) // nearer to the nearer
		n.price = c.cheap.price + part*(c.dear.price-c.cheap.price)
	case d > 0:
		n.price, c.dear = min(n.price+step, dearest), nil
	default:
		n.price, c.cheap = max(n.price-step, cheapest), nil
	}
	return false
}

// addedTo is how many notes are added in a chorus.
func (c *chorus) addedTo(ns []struck) int {
	n := 0
	for _, x := range ns[c.first:c.last] {
		n += x.added
	}
	return n
}

// adds is how much is added in a chorus, against mean a bar.
func (c *chorus) adds(ns []struck, mean float64) float64 {
	return float64(c.addedTo(ns)) / (mean * float64(c.bars))
}

// layChoruses lists the textures of the choruses: thinner ones where a chorus is
// to add less than the density does, fuller ones where it is to add more.
func (w *worker) layChoruses() {
	for k := range w.parts {
		c := &w.parts[k]
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
func (w *worker) setPrices() {
	w.over = make([]float64, len(w.ps)) // anew: layers keep theirs
	for k := range w.parts {
		c := &w.parts[k]
		peak := (c.first + c.last) / 2
		for i := c.first; i < c.last; i++ {
			if w.ps[i].phrase == c.high {
				peak = i
				break
			}
		}
		for i := c.first; i < c.last; i++ {
			price := c.now.price
			if float64(absInt(i-peak)) < c.now.mix*float64(max(peak-c.first, c.last-peak)) {
				price = c.now.near
			}
			w.over[i] = price + c.now.arc*w.arc(c, i) + priceGrain*(w.ps[i].grain-1)
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

// tops reports whether point i is the high point of a chorus, where there are several.
func (w *worker) tops(i int) bool {
	return slices.ContainsFunc(w.parts, func(c chorus) bool { return c.top == i })
}
