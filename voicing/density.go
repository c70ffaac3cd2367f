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

// How much a density adds to the tune, against what medium adds. (The models'
// sparse arrangement adds half; the rest is the project's own.)
const (
	sparseShare = 0.62
	fullShare   = 1.6
	nearShare   = 0.04 // near enough
	priceSteps  = 8    // how often the range of the price is halved
	dearest     = 14.0  // the highest price of a note
	cheapest    = -6.0 // the lowest
	changeShare = 0.2  // of the price, for the notes that say what a change of chord is
)

// lay finds the arrangement of the density that is asked for. Medium is what
// taste finds by itself. The others put a price on each note that is added, or
// reward it, and look for the price at which there are as many of them as
// asked for, counted against medium: grips, textures and answers all see it.
func (w *worker) lay() (*layer, search.Result) {
	w.layOut(densityMedium)
	w.candidates()
	w.prepareRuns()
	w.prepareLinks()
	l, res := w.play()
	if w.density == densityMedium {
		return l, res
	}
	share := sparseShare
	if w.density == densityFull {
		share = fullShare
	}
	want := share * float64(l.added())
	lo, hi := cheapest, dearest
	w.layOut(w.density)
	off := math.Inf(1)
	for range priceSteps {
		w.price = (lo + hi) / 2
		m, r := w.play()
		n := float64(m.added())
		if d := math.Abs(n - want); d < off {
			off, l, res = d, m, r
		}
		if off <= nearShare*want {
			break
		}
		if n > want {
			lo = w.price
		} else {
			hi = w.price
		}
	}
	return l, res
}

// pay is what the notes of a grip and of its texture cost at the price of the
// day. At a change of chord its root and one voice more are what says, with the
// tune, what it is: they go last.
func (w *worker) pay(p *point, g *grip, tx *texture) float64 {
	if tx.alone {
		return 0
	}
	price := w.price + w.taste.Texture.Note
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
	return price * grain(w.s.barAt(p.at)) * (grip + float64(tx.notes()))
}

// grain makes the price differ a little from bar to bar, so that bars that are
// alike do not all fill at one price: between 0.7 and 1.3, in the steps of the
// golden section, which never fall into a pattern.
func grain(bar int) float64 {
	_, f := math.Modf(float64(bar+1) * (math.Sqrt(5) - 1) / 2)
	return 0.7 + 0.6*f
}

// layOut lists the textures of each point.
func (w *worker) layOut(d Density) {
	for i := range w.ps {
		w.ps[i].layouts = w.s.layouts(&w.ps[i], d, &w.taste.Texture)
	}
}

// play searches for the best way through the tune and plays it.
func (w *worker) play() (*layer, search.Result) {
	res := search.Best(w)
	return w.perform(res.Path, res.Manner), res
}

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
