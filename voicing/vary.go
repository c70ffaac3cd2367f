package voicing

import (
	"slices"
	"sort"
)

// How long one rhythm may last, in bars (the models: never five running), and
// how often a way around it is looked for.
const (
	longestRun = 4
	varySteps  = 5
)

// vary looks for another way where one rhythm lasts for five bars or more
// although the tune leaves room for another: in every fifth such bar the
// textures that keep the rhythm are made dear, and thinner and fuller ones
// stand beside them.
func (w *worker) vary(l *layer) *layer {
	rhythms, skip := l.rhythms(), 0
	for range varySteps {
		bars := w.worn(rhythms, skip)
		if len(bars) == 0 {
			break
		}
		for _, b := range bars {
			for w.hasty && w.s.earlier[b] >= 0 {
				b = w.s.earlier[b]
			}
			w.refresh(l, b)
		}
		m := w.play()
		if rs := m.rhythms(); len(w.worn(rs, 0)) < len(w.worn(rhythms, 0)) {
			l, rhythms = m, rs
		} else {
			skip++ // the bar before may have more to choose from
		}
	}
	return l
}

// rhythms is when something is struck in each bar, counted from its start.
func (l *layer) rhythms() [][]Tick {
	s := l.w.s
	out := make([][]Tick, len(s.bars))
	for i := range l.done {
		b := s.barAt(l.done[i].at)
		out[b] = append(out[b], l.done[i].at-s.start[b])
	}
	for b := range out {
		slices.Sort(out[b])
		out[b] = slices.Compact(out[b])
		if m := s.earlier[b]; l.w.hasty && m >= 0 {
			out[b] = out[m] // what it comes again after: it will be much like that
		}
	}
	return out
}

// worn lists the bars of the rhythms rs that would have to differ so that no rhythm lasts longer
// than longestRun bars, where the tune leaves room for another: of each run the
// last that can, or one before it where some are to be skipped.
func (w *worker) worn(rs [][]Tick, skip int) []int {
	var out []int
	run := 1
	for b := 1; b < len(rs); b++ {
		if len(rs[b]) == 0 || !slices.Equal(rs[b], rs[b-1]) {
			run = 1
			continue
		}
		if run++; run <= longestRun {
			continue
		}
		least := max(b-run, b-longestRun)
		for k, left := b, skip; k > least; k-- {
			if !w.s.leaves(k) || !w.moves(k) {
				continue
			}
			if left == 0 {
				out = append(out, k)
				run = b - k
				break
			}
			left--
		}
	}
	return out
}

// shortestRoom is the shortest time, in seconds, from a note of the tune to what
// could be struck after it: closer is a flam.
const shortestRoom = 0.14

// leaves reports whether the tune leaves half a beat of a bar unstruck, a third
// of it in compound metre, where there is the time to strike something in it.
func (s *score) leaves(b int) bool {
	bar := s.bars[b]
	step := half(bar)
	if s.seconds(bar.At, bar.At+step) < shortestRoom {
		step = bar.Beat
	}
	for t := bar.At; t < bar.At+bar.Len; t += step {
		if !s.strikes(t) {
			return true
		}
	}
	return false
}

// refresh lists thinner and fuller textures for the points of a bar, as far as
// the price of a note allows, and makes those dear that keep the rhythm that l
// has there.
func (w *worker) refresh(l *layer, b int) {
	s, t := w.s, &w.taste.Texture
	from, to := s.bars[b].At, s.bars[b].At+s.bars[b].Len
	first := sort.Search(len(w.ps), func(i int) bool { return w.ps[i].end > from })
	for i := first; i < len(w.ps) && w.ps[i].at < to; i++ {
		p := &w.ps[i]
		if p.final || w.scripted(i) {
			continue
		}
		if w.rerun != nil {
			p.layouts = slices.Clone(p.layouts)
		}
		others := []Density{densitySparse, densityFull}
		if price := w.priceAt(i); price > 0 {
			others = others[:1]
		} else if price < 0 {
			others = others[1:]
		}
		taken := l.textures[i].struck(from, to)
		p.layouts = w.otherLayouts(i, p.layouts, others)
		for k := range p.layouts {
			if tx := &p.layouts[k]; slices.Equal(tx.struck(from, to), taken) {
				tx.cost += t.Worn
			}
		}
	}
}

// otherLayouts is the textures ts of point i with those of other densities that
// differ from them.
func (w *worker) otherLayouts(i int, ts []texture, ds []Density) []texture {
	p, t := &w.ps[i], &w.taste.Texture
	for _, d := range ds {
		for _, tx := range w.s.layouts(p, d, t) {
			if d == densityFull && w.density != densityFull {
				tx.cost += t.Stuffed * float64(len(tx.answers))
			}
			if !(tx.alone && p.change) && !slices.ContainsFunc(ts, func(o texture) bool { return o.figure == tx.figure && o.same(&tx) }) {
				ts = append(ts, tx)
			}
		}
	}
	return ts
}

// struck lists when a texture strikes between two times, as planned.
func (tx *texture) struck(from, to Tick) []Tick {
	out := []Tick{}
	add := func(t Tick) {
		if in(t, from, to) {
			out = append(out, t)
		}
	}
	if !tx.alone {
		add(tx.bassAt)
		add(tx.innerAt)
	}
	for _, a := range tx.answers {
		add(a.at)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
