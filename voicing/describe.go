package voicing

import (
	"fmt"
	"sort"
	"strings"

	"thumbline/theory"
)

// describe names the grips: what sounds, from which scale, why.
func (w *worker) describe(a *Arrangement, l *layer) {
	s := w.s
	for i := range w.ps {
		p, g := &w.ps[i], &l.chosen[i]
		if g.n == 0 || g.n == 1 && g.tune {
			continue
		}
		c := s.chords[p.chord].chord
		at := p.at
		bar := s.barAt(at)
		pl := Placed{At: at, Bar: bar, Beat: 1 + float64(at-s.bars[bar].At)/float64(PerQuarter), Symbol: c.String(),
			Texture: p.texture.name, Borrowed: []string{}}
		low, _ := g.low()
		pl.Name = theory.GripName(g.pcs, int(low.midi)%12, c)
		pl.Frets = make([]int, w.neck.Strings())
		pl.Fingers = make([]int, w.neck.Strings())
		for k := range pl.Frets {
			pl.Frets[k] = -1
		}
		for k := int8(0); k < g.n; k++ {
			t := g.note[k]
			j := w.neck.Strings() - int(t.str)
			pl.Frets[j], pl.Fingers[j] = int(t.fret), int(t.finger)
		}
		pl.Scale, pl.Borrowed = scaleOf(g, c)
		pl.Reason = w.reason(i, g)
		e := enumerator{m: w.m, s: w.spots[i], pal: newPalette(c, w.spots[i].key, w.spots[i].resolves), sets: w.m.stepSets(c)}
		e.weigh(g, w.m.fingersOf(g), &pl.Terms)
		if i > 0 {
			for k, v := range w.voices(i, &l.chosen[i-1], g) {
				if v != 0 {
					pl.Terms = append(pl.Terms, Term{partNames[k], v})
				}
			}
		}
		a.Grips = append(a.Grips, pl)
	}
}

// scaleOf finds the sixth-diminished scale whose even or odd steps a grip
// stands on, with the voice that is borrowed from a neighbour step. A root in
// the bass may stand below either.
func scaleOf(g *grip, c theory.Chord) (string, []string) {
	names := voiceNames(g)
	skip := int8(-1)
	if b, ok := g.bass(); ok && int(b.midi)%12 == c.BassPC() {
		skip = g.n - 1
	}
	type find struct {
		text     string
		borrowed []string
		cost     int
	}
	best := find{cost: 99}
	for rank, u := range theory.Uses(c) {
		odd := 0
		if u.Dim {
			odd = 1
		}
		root := u.Scale.Root.PC()
		for parity := 0; parity < 2; parity++ {
			var bor []string
			ok := true
			cost := rank * 2
			if parity != odd {
				cost += 5
			}
			for k := int8(0); k < g.n && ok; k++ {
				if k == skip {
					continue
				}
				step, in := u.Scale.StepOf(int(g.note[k].midi) % 12)
				if !in {
					ok = false
					break
				}
				if step%2 == parity {
					continue
				}
				// the neighbour it stands for: a step down, unless that one sounds already
				home := step - 1
				if g.pcs.Has(root + u.Scale.Semitone(step-1)) {
					home = step + 1
				}
				bor = append(bor, fmt.Sprintf("%s %s>%s", names[k], u.Scale.Pitch(home).Name, u.Scale.Pitch(step).Name))
				cost += 3
			}
			if ok && len(bor) <= 2 && cost < best.cost {
				word := " six"
				if parity == 1 {
					word = " dim"
				}
				best = find{u.Scale.String() + word, bor, cost}
			}
		}
	}
	if best.borrowed == nil {
		best.borrowed = []string{}
	}
	return best.text, best.borrowed
}

// voiceNames are soprano, alto, tenor, bass for the notes of a grip.
func voiceNames(g *grip) []string {
	out := make([]string, g.n)
	inner := 0
	for k := int8(0); k < g.n; k++ {
		switch {
		case k == 0 && g.tune:
			out[k] = "soprano"
		case g.hasBass && k == g.n-1, k == 3:
			out[k] = "bass"
		default:
			out[k] = [...]string{"alto", "tenor", "bass", "bass"}[inner]
			inner++
		}
	}
	return out
}

// reason says in words why this grip stands here.
func (w *worker) reason(i int, g *grip) string {
	s, p := w.s, &w.ps[i]
	c := s.chords[p.chord].chord
	var why []string
	switch {
	case p.final:
		why = append(why, "the close")
	case p.change:
		why = append(why, "the chord changes")
	case p.tune >= 0 && s.tune[p.tune].end-s.tune[p.tune].at >= 2*s.bars[s.barAt(p.at)].Beat:
		why = append(why, "a long note")
	default:
		why = append(why, "a strong beat, and the last chord is far")
	}
	var has []string
	guides := c.GuideTones()
	sort.Ints(guides)
	n := 0
	for _, x := range guides {
		if g.pcs.Has(x) {
			n++
		}
	}
	if n == len(guides) && n > 0 {
		has = append(has, "guide tones there")
	}
	if b, ok := g.bass(); ok {
		if int(b.midi)%12 == c.BassPC() {
			has = append(has, "root below")
			if c.Slash {
				has[len(has)-1] = "the written bass below"
			}
		} else {
			has = append(has, "an inversion for the bass line")
		}
		if b.fret == 0 {
			has = append(has, "open bass frees the hand")
		}
	}
	if p.held {
		why = append(why, "the tune is held over")
	}
	if p.late {
		why = append(why, "the tune comes later, so the bass takes the beat")
	}
	return strings.Join(append(why, has...), "; ")
}
