package voicing

import "math"

// A stand is a tune note on the neck with its finger.
type stand struct {
	str, fret, finger int8
	hand              int8 // under an open string: where the hand is, 0 for anywhere
}

// stand is where a note of a grip stands.
func (t tone) stand() stand { return stand{str: t.str, fret: t.fret, finger: t.finger} }

// place is the position of the hand that a stand implies, 0 for anywhere.
func (s stand) place() int8 {
	if s.fret == 0 {
		return s.hand
	}
	return s.fret - s.finger + 1
}

// highestHand is the highest place at which the hand waits over an open string.
const highestHand = 14

// stands lists the ways to take a pitch as a bare note of the tune: on the high
// strings and not too far up the low ones, unless it lies nowhere else. It is
// empty only for a pitch that the neck does not have.
func (n Neck) stands(midi int) []stand {
	out := make([]stand, 0, 24)
	all := n.Stops(midi)
	for pass := 0; pass < 2 && len(out) == 0; pass++ {
		for _, st := range all {
			if pass == 0 && (st.Fret > 17 && st.String != 1 || st.String > 3 && midi >= n.Open(1)-5) {
				continue
			}
			if st.Fret == 0 {
				for h := int8(1); h <= highestHand; h++ {
					out = append(out, stand{str: st.String, hand: h})
				}
				continue
			}
			for f := int8(1); f <= 4; f++ {
				if st.Fret-f+1 >= 1 {
					out = append(out, stand{str: st.String, fret: st.Fret, finger: f})
				}
			}
		}
	}
	return out
}

// shiftTime is how long the hand is away for a move of d frets, in seconds
// (harmony.md 6.2: 120 ms, and 15 ms a fret beyond two).
func shiftTime(d int) float64 {
	if d <= 2 {
		return 0.12
	}
	return 0.12 + 0.015*float64(d-2)
}

// move is the cost of taking the hand d frets along within dt seconds.
func (w *Taste) move(d int, dt float64) float64 {
	switch {
	case d == 0:
		return 0
	case d <= 2:
		c := w.Creep * float64(d)
		if dt < 0.12 {
			c += w.Creep * 2
		}
		return c
	}
	c := w.Shift + w.ShiftFret*float64(d-3)
	need := shiftTime(d)
	if dt < need+0.02 {
		return c + w.Rushed
	}
	if need > 0.36*dt {
		c += w.CutsTune
	}
	return c
}

// over is the cost of a move of d frets while an open string of the tune
// sounds for dt seconds: easier than a shift, for nothing is cut, but no
// cheaper than staying, and a leap of the hand for one quick note is a hop.
func (w *Taste) over(d int, dt float64) float64 {
	if d <= 2 {
		return 0.5 * w.Creep * float64(d)
	}
	c := 0.45*w.Shift + w.ShiftFret*float64(d-3)
	switch need := shiftTime(d); {
	case dt < need+0.02:
		c += w.Rushed
	case need > 0.36*dt:
		c += 0.4 * w.CutsTune
	}
	return c
}

// leave is the cost of the hand's way from stand x to place q.
func (w *Taste) leave(x stand, q int8, dt float64) float64 {
	p := x.place()
	switch {
	case p == 0 || q == 0:
		return 0
	case x.fret == 0:
		return w.over(absInt(int(p)-int(q)), dt)
	}
	return w.move(absInt(int(p)-int(q)), dt)
}

// follow is the cost of one tune note after another, dt seconds later.
func (w *Taste) follow(x, y stand, dt float64) float64 {
	c := 0.0
	c += w.leave(x, y.place(), dt)
	if x.fret == 0 || y.fret == 0 {
		return c + 0.05
	}
	if x.finger == y.finger && (x.str != y.str || x.fret != y.fret) {
		switch {
		case x.fret == y.fret: // laid flat
			c += 0.5
		case x.str == y.str:
			c += 0.15 * float64(absInt(int(x.fret)-int(y.fret)))
		default:
			c += 1.2
		}
	}
	if x.str == y.str && x.fret == y.fret && x.finger != y.finger {
		c += 0.6
	}
	return c
}

// bare is what a stand costs by itself.
func (w *Taste) bare(s stand) float64 {
	c := 0.0
	if s.str > 2 {
		c += 0.5 * w.LowTune * float64(s.str-2)
	}
	if s.fret > 12 {
		c += w.HighFret * float64(s.fret-12)
	}
	if s.finger == 4 {
		c += 0.05
	}
	return c
}

// maxPlace bounds the positions of the tables: 0 for anywhere, and frets 1 to 24.
const maxPlace = 25

// A run is the bare notes of the tune between two points, with the cheapest
// way along them from any position of the hand.
type run struct {
	notes  []int     // indices into score.tune
	stands [][]stand // of each note
	dt     []float64 // seconds from the attack before to each note; one more for the way to the next point
	// cost[p][k]: from position p at the start to stand k of the last note
	cost *[maxPlace][]float64
	// to[p][q]: from position p to position q at the next point
	to *[maxPlace][maxPlace]float64
}

// stands lists the ways to take each of some notes of the tune.
func (s *score) stands(n Neck, notes []int) [][]stand {
	out := make([][]stand, 0, len(notes))
	for _, i := range notes {
		out = append(out, n.stands(s.tune[i].midi))
	}
	return out
}

// newRun prepares the tables. lead is the time from the last attack of the
// point to the first bare note, or to the next point when there is none.
func (s *score) newRun(w *Taste, stands [][]stand, notes []int, from, to Tick) *run {
	r := &run{notes: notes, stands: stands, cost: new([maxPlace][]float64), to: new([maxPlace][maxPlace]float64)}
	last := from
	for _, i := range notes {
		r.dt = append(r.dt, s.seconds(last, s.tune[i].at))
		last = s.tune[i].at
	}
	r.dt = append(r.dt, s.seconds(last, to))
	var in [maxPlace]float64 // a move of d frets to the first note, or to the next point
	for d := range in {
		in[d] = w.move(d, r.dt[0])
	}
	if len(notes) == 0 {
		for p := 1; p < maxPlace; p++ {
			for q := 1; q < maxPlace; q++ {
				r.to[p][q] = in[absInt(p-q)]
			}
		}
		return r
	}
	// the steps from note to note, weighed once for all ways that take them
	steps := make([][]float64, len(notes)) // [j][x*len(y)+y]
	for j := 1; j < len(notes); j++ {
		from, to := r.stands[j-1], r.stands[j]
		m := make([]float64, len(from)*len(to))
		for x := range from {
			for y := range to {
				m[x*len(to)+y] = w.follow(from[x], to[y], r.dt[j])
			}
		}
		steps[j] = m
	}
	// one pass from each stand of the first note serves all positions
	first, end := r.stands[0], r.stands[len(r.stands)-1]
	k := len(end)
	widest := 0
	for _, st := range r.stands {
		widest = max(widest, len(st))
	}
	through := make([]float64, len(first)*k)
	cur, next := make([]float64, widest), make([]float64, widest)
	for a := range first {
		for i := range first {
			cur[i] = math.Inf(1)
		}
		cur[a] = w.bare(first[a])
		for j := 1; j < len(notes); j++ {
			n := len(r.stands[j])
			for y := 0; y < n; y++ {
				best := math.Inf(1)
				for x := range r.stands[j-1] {
					if v := cur[x] + steps[j][x*n+y]; v < best {
						best = v
					}
				}
				next[y] = best + w.bare(r.stands[j][y])
			}
			cur, next = next, cur
		}
		copy(through[a*k:(a+1)*k], cur[:k])
	}
	out := make([]float64, 0, maxPlace*k) // to each place from each last stand
	for q := int8(0); q < maxPlace; q++ {
		for y := range end {
			out = append(out, w.leave(end[y], q, r.dt[len(r.dt)-1]))
		}
	}
	costs := make([]float64, k*maxPlace)
	for p := 0; p < maxPlace; p++ {
		// comparisons rather than min, which looks for NaN and costs several times as much
		row := costs[p*k : (p+1)*k]
		for y := range row {
			row[y] = math.Inf(1)
		}
		for a := range first {
			way := 0.0
			if q := first[a].place(); p > 0 && q > 0 {
				way = in[absInt(p-int(q))]
			}
			for y, c := range through[a*k : (a+1)*k] {
				if c += way; c < row[y] {
					row[y] = c
				}
			}
		}
		r.cost[p] = row
		for q := 0; q < maxPlace; q++ {
			best := math.Inf(1)
			for y, c := range out[q*k : (q+1)*k] {
				if c += row[y]; c < best {
					best = c
				}
			}
			r.to[p][q] = best
		}
	}
	return r
}

// walk finds the stands of a run between two grips: the cheapest way that also
// leaves the fingers and strings of the first grip alone where it can. need is
// the stand that the last note must have, if the next grip holds it.
func (r *run) walk(w *Taste, from *grip, to *grip, need *stand) []stand {
	if len(r.notes) == 0 {
		return nil
	}
	cost := make([][]float64, len(r.notes))
	back := make([][]int, len(r.notes))
	for j := range r.notes {
		cost[j] = make([]float64, len(r.stands[j]))
		back[j] = make([]int, len(r.stands[j]))
		for y, sy := range r.stands[j] {
			c := w.bare(sy) + disturbs(from, sy)
			best, b := math.Inf(1), 0
			if j == 0 {
				best = 0
				if from != nil && from.n > 0 {
					if from.tune {
						t := from.note[0]
						best = w.fromTo(t.stand(), sy, r.dt[0])
					}
					if from.pos > 0 && sy.place() > 0 {
						best = max(best, w.move(absInt(int(from.pos)-int(sy.place())), r.dt[0]))
					}
				}
			} else {
				for x, sx := range r.stands[j-1] {
					if v := cost[j-1][x] + w.fromTo(sx, sy, r.dt[j]); v < best {
						best, b = v, x
					}
				}
			}
			if j == len(r.notes)-1 {
				if need != nil && (sy.str != need.str || sy.fret != need.fret) {
					c += 1000
				} else if need != nil && sy.finger != need.finger {
					c += 50
				}
				if to != nil {
					c += w.leave(sy, to.pos, r.dt[j+1])
				}
				if to != nil && to.needs(sy) {
					c += w.LetGo * letting(r.dt[j+1])
				}
				if to != nil && to.tune && need == nil {
					t := to.note[0]
					c += 0.5 * w.follow(sy, t.stand(), r.dt[j+1])
				}
			}
			cost[j][y], back[j][y] = best+c, b
		}
	}
	last := len(r.notes) - 1
	k := 0
	for y := range cost[last] {
		if cost[last][y] < cost[last][k] {
			k = y
		}
	}
	out := make([]stand, len(r.notes))
	for j := last; j >= 0; j-- {
		out[j] = r.stands[j][k]
		k = back[j][k]
	}
	return out
}

// disturbs is the cost of what a bare note takes from the ringing grip.
func disturbs(g *grip, s stand) float64 {
	if g == nil {
		return 0
	}
	c := 0.0
	for i := int8(0); i < g.n; i++ {
		t := g.note[i]
		if t.voice == Melody {
			continue
		}
		loss := 0.35
		if t.voice == Bass {
			loss = 0.55
		}
		switch {
		case t.str == s.str && t.fret != s.fret:
			c += loss
		case t.finger != 0 && t.finger == s.finger && (t.fret != s.fret || t.str != s.str):
			c += loss
		case t.fret > 0 && s.fret > 0 && (t.finger < s.finger) != (t.fret <= s.fret) && t.fret != s.fret:
			c += loss // fingers would cross
		}
	}
	return c
}

// fromTo is the cost of one tune note after another, as follow has it, and of
// letting go of the first before the second when the fingers would cross.
func (w *Taste) fromTo(x, y stand, dt float64) float64 {
	c := w.follow(x, y, dt)
	if x.fret > 0 && y.fret > 0 && x.str != y.str && (x.fret-y.fret)*(x.finger-y.finger) < 0 {
		c += w.LetGo * letting(dt)
	}
	return c
}

// needs reports whether a grip takes the finger of a tune note elsewhere, so
// that the note must be let go before it.
func (g *grip) needs(s stand) bool {
	for i := int8(0); i < g.n; i++ {
		if t := &g.note[i]; t.finger == s.finger && s.fret > 0 && t.fret != s.fret && t.str != s.str {
			return true
		}
	}
	return false
}

// letting is what a note of dt seconds loses when it is let go for a grip.
func letting(dt float64) float64 { return min(1, gripTime/dt) }
