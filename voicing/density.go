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
	sparseShare = 0.55
	fullShare   = 1.6
	nearShare   = 0.04 // near enough
	priceSteps  = 7    // how often the price is halved
	dearest     = 4.0  // the highest price of a note, either way
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
	lo, hi := 0.0, dearest
	if w.density == densityFull {
		share, lo, hi = fullShare, -dearest, 0
	}
	want := share * float64(l.added())
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
