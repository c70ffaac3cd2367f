package voicing

// A Hand is the left hand: how far the fingers reach. Distances are taken
// along the neck in mm, so the same frets are a stretch low on the neck and
// easy high up.
type Hand struct {
	Reach    float64 // finger 1 to 4, 1 to 3 and 2 to 4, mm
	Adjacent float64 // neighbouring fingers, mm
}

// NormalHand reaches 100 mm, neighbouring fingers 68 mm (harmony.md 6.1:
// every clean published shape lies within 97.3 and 66.7 mm).
func NormalHand() Hand { return Hand{Reach: 100, Adjacent: 68} }

// A Press is one fretted note of a shape with the finger that holds it, or 0
// where the finger is still to be found.
type Press struct {
	Stop
	Finger int8
}

// A fingering is a shape with fingers, as Fingers finds it.
type fingering struct {
	finger [6]int8 // parallel to the presses given
	cost   float64
	pos    int8 // fret of finger 1 if it lay naturally; 0 when nothing is fretted
	ok     bool
}

// maxPresses is the most notes that Fingers is asked to hold.
const maxPresses = 6

// maxFret bounds the table of fret distances.
const maxFret = 40

// A grasp is a hand on a neck, with the frets measured once.
type grasp struct {
	hand Hand
	mm   [maxFret]float64
}

func newGrasp(n Neck, h Hand) *grasp {
	g := &grasp{hand: h}
	for f := range g.mm {
		g.mm[f] = n.At(f)
	}
	return g
}

// fingers finds the most comfortable fingers for the notes of a shape, open
// strings included, keeping the fingers that are given. Finger order follows
// fret order; at one fret the lower finger takes the lower string; one finger
// may lie flat over strings at one fret when nothing under it is open or
// stopped lower (harmony.md 6.2). ok is false when no hand can hold it.
func (g *grasp) fingers(notes []Press) fingering {
	var ord [maxPresses]int
	k := 0
	var openMask uint16
	var used uint16
	for i, p := range notes {
		if used&(1<<p.String) != 0 || i >= maxPresses {
			return fingering{}
		}
		used |= 1 << p.String
		if p.Fret == 0 {
			openMask |= 1 << p.String
			continue
		}
		ord[k] = i
		k++
	}
	if k == 0 {
		return fingering{ok: true}
	}
	// by fret, then low strings first
	for i := 1; i < k; i++ {
		for j := i; j > 0; j-- {
			a, b := notes[ord[j-1]], notes[ord[j]]
			if a.Fret < b.Fret || a.Fret == b.Fret && a.String > b.String {
				break
			}
			ord[j-1], ord[j] = ord[j], ord[j-1]
		}
	}
	if g.mm[notes[ord[k-1]].Fret]-g.mm[notes[ord[0]].Fret] > g.hand.Reach {
		return fingering{}
	}
	f := assigner{grasp: g, notes: notes, ord: ord, k: k, open: openMask}
	f.best.cost = 1e9
	f.try(0, 0)
	return f.best
}

// assigner tries fingers in fret order.
type assigner struct {
	grasp *grasp
	notes []Press
	ord   [maxPresses]int
	k     int
	open  uint16
	// groups: one per finger in use
	gf, gfret, glo, ghi [4]int8 // finger, fret, highest string number, lowest string number
	ng                  int
	cur                 [maxPresses]int8
	best                fingering
}

func (a *assigner) try(i, last int8) {
	if int(i) == a.k {
		a.finish()
		return
	}
	p := a.notes[a.ord[i]]
	// lie flat with the finger of the note before
	if a.ng > 0 {
		g := a.ng - 1
		if a.gfret[g] == p.Fret && (p.Finger == 0 || p.Finger == a.gf[g]) && a.flat(g, p) {
			oldHi := a.ghi[g]
			a.ghi[g] = p.String
			a.cur[a.ord[i]] = a.gf[g]
			a.try(i+1, last)
			a.ghi[g] = oldHi
		}
	}
	lo, hi := last+1, int8(4)
	if p.Finger != 0 {
		if p.Finger < lo {
			return
		}
		lo, hi = p.Finger, p.Finger
	}
	for f := lo; f <= hi; f++ {
		if !a.reaches(f, p.Fret) {
			continue
		}
		g := a.ng
		a.gf[g], a.gfret[g], a.glo[g], a.ghi[g] = f, p.Fret, p.String, p.String
		a.ng++
		a.cur[a.ord[i]] = f
		a.try(i+1, f)
		a.ng--
	}
}

// flat reports whether the finger of group g can lie over p's string too.
func (a *assigner) flat(g int, p Press) bool {
	from, to := a.glo[g], p.String // from is the lower string, the larger number
	if a.gf[g] != 1 && from-to > 2 {
		return false
	}
	for s := to; s <= from; s++ {
		if a.open&(1<<s) != 0 {
			return false
		}
	}
	for j := 0; j < a.k; j++ {
		q := a.notes[a.ord[j]]
		if q.Fret < p.Fret && q.String >= to && q.String <= from {
			return false
		}
	}
	return true
}

func (a *assigner) reaches(f, fret int8) bool {
	for g := 0; g < a.ng; g++ {
		limit := a.grasp.hand.Reach
		if f-a.gf[g] == 1 {
			limit = a.grasp.hand.Adjacent
		}
		if a.grasp.mm[fret]-a.grasp.mm[a.gfret[g]] > limit {
			return false
		}
	}
	return true
}

// finish weighs a whole assignment: stretch and squeeze between fingers, flat
// fingers, the number of fingers, the little finger alone.
func (a *assigner) finish() {
	c := 0.12 * float64(a.ng)
	pos := int8(99)
	for g := 0; g < a.ng; g++ {
		if p := a.gfret[g] - a.gf[g] + 1; p < pos {
			pos = p
		}
		if w := a.glo[g] - a.ghi[g]; w > 0 {
			if a.gf[g] == 1 {
				c += 0.35 + 0.08*float64(w)
			} else {
				c += 0.8 + 0.2*float64(w)
			}
		}
		if g == 0 {
			continue
		}
		df, dg := a.gfret[g]-a.gfret[g-1], a.gf[g]-a.gf[g-1]
		mm := a.grasp.mm[a.gfret[g]] - a.grasp.mm[a.gfret[g-1]]
		if df > dg {
			c += (mm - 28*float64(dg)) / 30
			if dg == 1 && a.gf[g] == 3 {
				c += 0.3 // between 2 and 3 the hand spreads least willingly
			}
		} else if dg > df {
			c += 0.15 * float64(dg-df)
		}
	}
	if a.ng > 1 {
		if mm := a.grasp.mm[a.gfret[a.ng-1]] - a.grasp.mm[a.gfret[0]]; mm > 80 {
			c += (mm - 80) / 12
		}
	}
	if a.ng == 1 && a.gf[0] == 4 {
		c += 0.15
	}
	if pos < 1 {
		pos = 1
	}
	if c < a.best.cost-1e-9 {
		a.best = fingering{finger: a.cur, cost: c, pos: pos, ok: true}
	}
}
