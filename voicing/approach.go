package voicing

import "slices"

// approaches looks for chromatic tune notes that slide by a half step into a
// change, and dresses them with the coming grip one fret away: the hand slides
// as it stands (harmony.md 3.4 rule 6, 5.3). One a phrase at most, and only in
// sheets whose own harmony goes so far. tune holds the stand of every tune note
// and is changed for the notes that slide.
func (l *layer) approaches(tune []stand) {
	w := l.w
	if w.tension == tensionLow || !w.s.coloured {
		return
	}
	phrase := -1
	for i := 1; i < len(w.ps); i++ {
		p := &w.ps[i]
		if w.scripted(i - 1) {
			if x, ok := l.slidAgain(i); ok {
				phrase = p.phrase
				l.slides = append(l.slides, x)
			}
			continue
		}
		if w.scripted(i) && (p.texture.innerAt != p.at || p.texture.split > 0) {
			continue
		}
		if p.phrase == phrase || !p.change || p.final || l.surprised(p.phrase) {
			continue
		}
		if g, ok := l.approach(i, tune); ok && w.stays(p.tune-1, &g) {
			phrase = p.phrase
			k := p.tune - 1
			t := g.note[0]
			tune[k] = t.stand()
			at := w.s.tune[k].at
			for j := int8(1); j < g.n; j++ {
				l.due = append(l.due, strike{tone: g.note[j], at: at, end: p.at, point: i - 1, tune: -1})
			}
			p.texture.innerAt, p.texture.split, p.texture.name = p.at, 0, "together"
			l.slides = append(l.slides, slide{i, at, g})
			q := &w.ps[i-1] // whose answer there the slide takes the place of
			q.texture.answers = slices.DeleteFunc(slices.Clone(q.texture.answers), func(a answer) bool { return a.at == at })
		}
	}
}

// A slide is an approach chord: the grip of a point a fret away, before it.
type slide struct {
	point int
	at    Tick
	grip  grip
}

// surprised reports whether a substitute already stands in a phrase.
func (l *layer) surprised(phrase int) bool {
	for i := range l.w.ps {
		if l.w.ps[i].phrase == phrase && l.chosen[i].mood >= altered {
			return true
		}
	}
	return false
}

// approach is the grip that slides into point i, if the tune asks for one.
func (l *layer) approach(i int, tune []stand) (grip, bool) {
	w, s := l.w, l.w.s
	p, next := &w.ps[i], &l.chosen[i]
	k := p.tune - 1
	if k < 0 || p.held || p.late || !next.tune || len(next.inner()) == 0 {
		return grip{}, false
	}
	n, m := s.tune[k], s.tune[k+1]
	d := n.midi - m.midi
	q := &w.ps[i-1]
	if d != 1 && d != -1 || n.end < m.at || n.at <= q.at || m.at != p.at || s.seconds(n.at, m.at) < 0.3 || n.at <= q.texture.innerAt {
		return grip{}, false
	}
	if l.pals[i-1].cost[n.midi%12] < none {
		return grip{}, false // the chord that sounds holds the note
	}
	var g grip
	g.tune = true
	for j := int8(0); j < next.n; j++ {
		t := next.note[j]
		if t.voice == Bass {
			continue
		}
		if w.s.trio && int(t.midi)+d < lowestTrio {
			return grip{}, false
		}
		if f := int(t.fret) + d; t.fret == 0 || f < 1 || f > w.neck.Top() {
			return grip{}, false
		}
		t.fret += int8(d)
		t.midi += int16(d)
		g.take(t)
	}
	g.pos = max(1, next.pos+int8(d))
	// the way there from the note before
	if k > 0 {
		to := g.note[0].stand()
		if w.taste.follow(tune[k-1], to, s.seconds(s.tune[k-1].at, n.at)) >= w.taste.CutsTune {
			return grip{}, false
		}
	}
	var ns []strike
	for j := int8(0); j < g.n; j++ {
		ns = append(ns, strike{tone: g.note[j], at: n.at})
	}
	ns[0].tune = k
	for j := range ns[1:] {
		ns[j+1].tune = -1
	}
	if l.clash(ns) || !l.together(ns) {
		return grip{}, false
	}
	return g, true
}

// slidAgain is the slide into point i that its script has.
func (l *layer) slidAgain(i int) (slide, bool) {
	r := l.w.rerun
	if a, b := r.scripts[i-1], r.scripts[i]; b.of == a.of+1 {
		for _, x := range r.from.slides {
			if x.point == b.of {
				x.point, x.at = i, x.at+b.off
				return x, true
			}
		}
	}
	return slide{}, false
}

// stays reports whether a grip takes note k of the tune where it was taken the
// time before, if there was one.
func (w *worker) stays(k int, g *grip) bool {
	if w.rerun == nil {
		return true
	}
	st, ok := w.standBefore(k)
	return !ok || g.note[0].str == st.str && g.note[0].fret == st.fret
}
