package voicing

import (
	"fmt"
	"math"

	"thumbline/voicing/search"
)

// A Density is how much an arrangement adds to the tune.
type Density uint8

const (
	densityMedium Density = iota
	densitySparse
	densityFull
)

// ParseDensity reads "sparse", "medium" or "full"; empty is medium.
func ParseDensity(s string) (Density, error) {
	switch s {
	case "sparse":
		return densitySparse, nil
	case "", "medium":
		return densityMedium, nil
	case "full":
		return densityFull, nil
	}
	return 0, fmt.Errorf("density %q is not known (it is sparse, medium or full)", s)
}

// A target is how much a density adds to the tune against what medium adds: what
// it must keep within, what is aimed at inside that, and the price of a note at
// which to look first. (The models' sparse arrangement adds half; the rest is the
// project's own.)
type target struct{ least, low, high, most, price float64 }

var targets = map[Density]target{
	densitySparse: {0.35, 0.58, 0.645, 0.65, 1.2},
	densityFull:   {1.30, 1.37, 1.75, 2.00, -0.2},
}

// off is how far a share lies from what is aimed at; what lies outside the
// bounds is further than anything inside.
func (t target) off(share float64) float64 {
	d := max(t.low-share, share-t.high, 0)
	if share < t.least || share > t.most {
		d++
	}
	return d
}

const (
	priceSteps  = 9    // how many prices are tried
	dearest     = 14.0 // the highest price of a note
	cheapest    = -6.0 // the lowest
	againPrices = 4    // how many more, where what comes again has too much or too little
	changeShare = 0.2  // of the price, for the notes that say what a change of chord is
)

// lay finds the arrangement of the density that is asked for. Medium is what
// taste finds by itself. The others put a price on each note that is added, or
// reward it, and look for a price at which there are as many of them as asked
// for, counted against medium: grips, textures and answers all see it.
func (w *worker) lay() *layer {
	w.layOut(densityMedium)
	w.candidates()
	w.prepareRuns()
	w.holdThird()
	w.prepareLinks()
	w.hasty = len(w.s.form.choruses) < 2 // choruses are weighed against all of it
	l := w.vary(w.play())
	w.hasty = false
	aim, ok := targets[w.density]
	if !ok {
		return w.grow(l)
	}
	l = w.repeats(l)
	w.first()
	medium := float64(l.added())
	w.layOut(w.density)
	l = w.toShare(aim, medium, func(price, way float64) float64 { return price + way*(1.5*math.Abs(price)+0.05) })
	finish := func(l *layer) *layer {
		return w.grow(w.varyToShare(l, aim, medium))
	}
	l = finish(l)
	for try := 0; try < againPrices && len(w.s.form.choruses) < 2; try++ { // what comes again may have more or less than what it comes after
		n := l.share(medium)
		if n >= aim.least && n <= aim.most {
			break
		}
		d := float64(1+try) * (0.1*math.Abs(l.price) + 0.05)
		if n < aim.least {
			d = -d
		}
		w.first()
		w.layOut(w.density)
		if m := finish(w.playAt(l.price + d)); aim.off(m.share(medium)) < aim.off(n) {
			l = m
		}
	}
	return l
}

// toShare plays at a price of a note at which a share of all is added, as near as
// a few tries come: away from the price of aim by steps, dearer (way 1) or cheaper
// (-1), and between two prices as soon as it lies there.
func (w *worker) toShare(aim target, all float64, step func(price, way float64) float64) *layer {
	l := w.playAt(aim.price)
	low, high := cheapest, dearest // the price lies between
	lowKnown, highKnown := false, false
	price, n := aim.price, l.share(all)
	for try := 1; try < priceSteps && aim.off(n) > 0; try++ {
		if n > aim.high {
			low, lowKnown = price, true
		} else {
			high, highKnown = price, true
		}
		if (price <= cheapest || price >= dearest) && !(lowKnown && highKnown) {
			break
		}
		switch {
		case lowKnown && highKnown:
			price = (low + high) / 2
		case highKnown:
			price = max(step(price, -1), cheapest)
		default:
			price = min(step(price, 1), dearest)
		}
		m := w.playAt(price)
		n = m.share(all)
		if aim.off(n) < aim.off(l.share(all)) {
			l = m
		}
	}
	return l
}

// varyToShare is vary at the price of l, where no less near a share of all is
// added for it.
func (w *worker) varyToShare(l *layer, aim target, all float64) *layer {
	w.price = l.price
	if m := w.vary(l); aim.off(m.share(all)) <= aim.off(l.share(all)) {
		return m
	}
	return l
}

// playAt is play at a price of a note.
func (w *worker) playAt(price float64) *layer {
	w.price = price
	return w.play()
}

// pay is what the notes of a grip and of its texture cost at a price. At a
// change of chord its root and one voice more are what says, with the tune, what
// it is: they go last.
func (p *point) pay(price float64, g *grip, tx *texture) float64 {
	if tx.alone {
		return 0
	}
	grip := float64(g.n)
	if g.tune {
		grip--
	}
	if p.change && price > 0 {
		said := float64(min(1, len(g.inner())))
		if g.hasBass && !g.turned {
			said++
		}
		grip -= (1 - changeShare) * said
	}
	return price * p.grain * (grip + float64(tx.adds))
}

// paid is how much of what the way of a layer costs is the price of the day, which is
// of the density and says nothing of the notes.
func (w *worker) paid(l *layer) float64 {
	taste, sum := w.taste.Texture.Note, 0.0
	for i, c := range l.path {
		if c < 0 {
			continue
		}
		p, g, tx := &w.ps[i], &w.grips[i][c], &w.ps[i].layouts[l.manner[i]]
		price := l.price
		if l.over != nil {
			price += l.over[i]
		}
		sum += p.pay(price+taste, g, tx)
		sum -= p.pay(taste, g, tx)
	}
	return sum
}

// notePrice is what one more note costs at point i: taste and the price of the day.
func (w *worker) notePrice(i int) float64 { return w.priceAt(i) + w.taste.Texture.Note }

// grain makes the price differ a little from bar to bar, so that bars that are
// alike do not all fill at one price: between 0.5 and 1.5, in the steps of the
// golden section, which never fall into a pattern.
func grain(bar int) float64 {
	_, f := math.Modf(float64(bar+1) * (math.Sqrt(5) - 1) / 2)
	return 0.5 + f
}

// layOut lists the textures of each point.
func (w *worker) layOut(d Density) {
	w.laid = d
	for i := range w.ps {
		p := &w.ps[i]
		b := w.s.barAt(p.at)
		if src := w.s.source[b]; src >= 0 {
			b = src + w.s.form.intro // what comes again is filled as it was
		}
		p.grain = grain(b)
		p.layouts = w.s.layouts(p, d, &w.taste.Texture)
	}
}

// play searches for the best way through the tune and plays it.
func (w *worker) play() *layer {
	res := search.Best(w)
	l := w.perform(res.Path, res.Manner)
	l.cost = res.Cost - w.paid(l)
	return l
}

// share is how many notes a layer adds to the tune, against all.
func (l *layer) share(all float64) float64 { return float64(l.added()) / max(all, 1) }

// added is how many notes a played layer adds to the tune.
func (l *layer) added() int {
	n := 0
	for i := range l.done {
		if l.done[i].tune < 0 {
			n++
		}
	}
	return n
}
