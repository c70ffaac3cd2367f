package voicing

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"thumbline/theory"
)

// describe names the grips: what sounds, from which scale, why.
func (w *worker) describe(a *Arrangement, l *layer) {
	k, n := 0, 0
	for i := range w.ps {
		g := l.chosen[i]
		for ; k < len(l.slides) && l.slides[k].point == i; k++ {
			x := l.slides[k]
			a.Grips = append(a.Grips, w.placed(i-1, x.at, &x.grip, "the coming grip a fret away", nil))
			pl := &a.Grips[len(a.Grips)-1]
			from := theory.Chord{NoChord: true}
			if g.tune && x.grip.note[0].midi < g.note[0].midi {
				from.Root.Alter = 1 // on the way up it reads in sharps
			}
			pl.Name, pl.Scale, pl.Borrowed = theory.GripName(x.grip.pcs, int(x.grip.note[x.grip.n-1].midi)%12, from), "", []string{}
			pl.Reason = "an approach by half step: the tune's note is in no scale of the chord"
		}
		p := &w.ps[i]
		if g.n == 0 || g.n == 1 && g.tune {
			if w.s.trio {
				w.describeLate(a, l, i)
			}
			continue
		}
		var terms []Term
		c := w.s.chords[p.chord].chord
		sp := w.spots[i]
		sp.mood = l.mood(i)
		e := enumerator{m: w.m, s: sp, pal: l.pals[i], sets: w.m.stepSets(c)}
		g.ease = w.m.easeOf(&g)
		e.weigh(&g, &terms)
		if i > 0 {
			for k, v := range w.voices(i, &l.chosen[i-1], &g) {
				if v != 0 {
					terms = append(terms, Term{partNames[k], v})
				}
			}
		}
		if l.waited[i] {
			// the chord came with the tune's next beat: two shapes, not one
			late := l.heldAt(p.texture.split)
			late.mood = g.mood
			g.keepOuter()
			first, then := "bass and tune, chord with the tune's next beat", "chord with the tune, after its bass"
			if !w.s.strikes(p.texture.split) {
				first, then = "bass and tune, chord after", "chord after its bass"
			}
			a.Grips = append(a.Grips, w.placed(i, p.at, &g, first, terms))
			a.Grips = append(a.Grips, w.placed(i, p.texture.split, &late, then, nil))
			continue
		}
		at := min(p.at, p.texture.innerAt)
		if w.s.trio && !w.s.strikes(p.at) {
			at = p.texture.innerAt // nothing comes before
		}
		a.Grips = append(a.Grips, w.placed(i, at, &g, p.texture.name, terms))
		for ; n < len(l.steps) && l.steps[n].point <= i; n++ {
			if x := l.steps[n]; x.point == i {
				held := l.heldAt(x.at)
				a.Grips = append(a.Grips, w.placed(i, x.at, &held, "passing diminished with the tune", nil))
			}
		}
	}
}

// placed is a grip of point i where it stands.
func (w *worker) placed(i int, at Tick, g *grip, texture string, terms []Term) Placed {
	s := w.s
	c := s.chords[w.ps[i].chord].chord
	bar := s.barAt(at)
	pl := Placed{At: at, Bar: bar, Beat: 1 + float64(at-s.bars[bar].At)/float64(PerQuarter), Symbol: s.symbolAt(at, c),
		Texture: texture, Terms: terms, Frets: make([]int, w.neck.Strings()), Fingers: make([]int, w.neck.Strings())}
	low, _ := g.low()
	pl.Name = theory.GripName(g.pcs, int(low.midi)%12, c)
	if s.trio {
		pl.Name = g.nameInTrio(c)
	}
	for k := range pl.Frets {
		pl.Frets[k] = -1
	}
	for k := int8(0); k < g.n; k++ {
		t := g.note[k]
		j := w.neck.Strings() - int(t.str)
		pl.Frets[j], pl.Fingers[j] = int(t.fret), int(t.finger)
	}
	uses := w.uses(i, g.mood)
	var why []string
	if from := scaleOf(g, c, uses); from.cost < noScale {
		pl.Scale, pl.Borrowed = from.String(), from.borrowed
		why = append(why, from.asItIs(g, c)...)
	} else {
		pl.Borrowed = []string{}
	}
	if name := structureName(g, c, uses); name != "" {
		why = append(why, name)
	}
	pl.Reason = strings.Join(append(why, w.reason(i, g)), "; ")
	return pl
}

// symbolAt is the written chord at t: c, where nothing was put in there.
func (s *score) symbolAt(t Tick, c theory.Chord) string {
	k := s.chordAt(t)
	if k < 0 || s.chords[k].added == "" {
		return c.String()
	}
	if k = spanAt(s.written, t); k < 0 {
		return c.String() // put in before the sheet's first chord
	}
	return s.written[k].chord.String()
}

// keepOuter leaves the tune's note and the bass.
func (g *grip) keepOuter() {
	h := *g
	h.n, h.pcs, h.strings = 0, 0, 0
	for k := int8(0); k < g.n; k++ {
		if g.note[k].voice != Inner {
			h.take(g.note[k])
		}
	}
	*g = h
}

// take adds a note below those that are there.
func (g *grip) take(t tone) {
	g.note[g.n] = t
	g.n++
	g.pcs = g.pcs.With(int(t.midi))
	g.strings |= 1 << uint(t.str)
	g.hasBass = g.hasBass || t.voice == Bass
}

// heldAt is what the hand holds at t, struck then or before.
func (l *layer) heldAt(t Tick) grip {
	var now []strike
	for _, x := range l.done {
		if x.at <= t && t < x.end {
			now = append(now, x)
		}
	}
	sort.SliceStable(now, func(i, j int) bool { return now[i].midi > now[j].midi })
	var g grip
	for i, x := range now {
		if int(g.n) < maxNotes {
			g.tune = g.tune || i == 0 && x.voice == Melody
			g.take(x.tone)
		}
	}
	return g
}

// uses lists the scales for the chord of point i, with an eye on the chords
// before and after.
func (w *worker) uses(i int, m mood) []theory.Use {
	key := usesKey{i, m}
	u, ok := w.used[key]
	if !ok {
		u = w.findUses(i, m)
		w.used[key] = u
	}
	return u
}

type usesKey struct {
	point int
	mood  mood
}

func (w *worker) findUses(i int, m mood) []theory.Use {
	s, k := w.s, w.ps[i].chord
	ctx := theory.Context{Prev: theory.Chord{NoChord: true}, Next: theory.Chord{NoChord: true}, Key: s.bars[s.barAt(w.ps[i].at)].Key}
	if k > 0 {
		ctx.Prev = s.chords[k-1].chord
	}
	if k+1 < len(s.chords) {
		ctx.Next = s.chords[k+1].chord
	}
	c := s.chords[k].chord
	uses := theory.UsesIn(c, ctx)
	sub := func(u theory.Use) bool {
		switch at := (u.Scale.Root.PC() - c.RootPC() + 12) % 12; m {
		case altered, tritone:
			return u.Scale.Family == theory.Minor6 && at == 1
		case upper:
			return u.Scale.Family == theory.Major6 && at == 7
		}
		return false
	}
	// the scale of a substitute comes first
	slices.SortStableFunc(uses, func(a, b theory.Use) int {
		switch x, y := sub(a), sub(b); {
		case x && !y:
			return -1
		case y && !x:
			return 1
		}
		return 0
	})
	return uses
}

// structureName says how a grip is built: a structure of four voices, three
// notes of one, a shell, over the root or by itself. Empty when it is none.
func structureName(g *grip, c theory.Chord, uses []theory.Use) string {
	var all []int
	for k := int8(0); k < g.n; k++ {
		all = append(all, int(g.note[k].midi))
	}
	read := func(ps []int) (Reading, bool) {
		for _, u := range uses {
			if r, ok := ReadStructure(ps, u.Scale); ok {
				return r, true
			}
		}
		return Reading{}, false
	}
	name := func(r Reading) string {
		if r.Complete() {
			return r.Structure.String()
		}
		return "three notes of " + r.Structure.String()
	}
	if len(all) == 4 {
		if r, ok := read(all); ok {
			return name(r)
		}
	}
	b, ok := g.bass()
	overRoot := ok && (int(b.midi)%12 == c.BassPC() || g.mood == pedal)
	if !overRoot {
		if len(all) == 3 {
			if r, ok := read(all); ok {
				return name(r)
			}
		}
		return ""
	}
	upper := all[:len(all)-1]
	switch {
	case len(upper) >= 3:
		if r, ok := read(upper); ok {
			if g.mood == pedal {
				return name(r) + " over the pedal"
			}
			return name(r) + " over the root"
		}
	case len(upper) == 2 && hasAll(g.pcs, c.GuideTones()):
		return "shell"
	case len(upper) == 1:
		return "tune and root"
	}
	return ""
}

// A borrowing is a voice at a step that stands for a neighbour step, its home.
type borrowing struct {
	voice      string
	home, step int
}

// scaleOf finds the sixth-diminished scale whose even or odd steps a grip
// stands on, with the voice that is borrowed from a neighbour step. A root in
// the bass may stand below either.
func scaleOf(g *grip, c theory.Chord, uses []theory.Use) origin {
	names := voiceNames(g)
	skip := int8(-1)
	if b, ok := g.bass(); ok && (int(b.midi)%12 == c.BassPC() || g.mood == pedal) {
		skip = g.n - 1
	}
	best := origin{cost: noScale, borrowed: []string{}}
	for rank, u := range uses {
		odd := 0
		if u.Dim {
			odd = 1
		}
		root := u.Scale.Root.PC()
		for parity := 0; parity < 2; parity++ {
			var bor [maxNotes]borrowing
			n := 0
			ok := true
			cost := rank * 4 // a borrow from the first choice says more than another scale
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
				bor[n] = borrowing{voice: names[k], home: home, step: step}
				n++
				cost += 3
			}
			if ok && n <= 2 && cost < best.cost {
				best = origin{scale: u.Scale, dim: parity == 1, borrowed: []string{}, cost: cost}
				for _, b := range bor[:n] {
					best.borrowed = append(best.borrowed, fmt.Sprintf("%s %s>%s", b.voice, u.Scale.Pitch(b.home).Name, u.Scale.Pitch(b.step).Name))
				}
			}
		}
	}
	return best
}

// An origin is the scale a grip comes from and what is borrowed from its
// neighbour steps.
type origin struct {
	scale    theory.Scale
	dim      bool // the odd steps
	borrowed []string
	cost     int
}

// noScale is the cost of an origin that is none.
const noScale = 99

// String is the scale with six for its even steps, dim for its odd ones.
func (o origin) String() string {
	if o.dim {
		return o.scale.String() + " dim"
	}
	return o.scale.String() + " six"
}

// asItIs names the notes above the bass by themselves, where they are another
// chord than the written one: "Am6 over D".
func (o origin) asItIs(g *grip, c theory.Chord) []string {
	b, ok := g.bass()
	if !ok || int(b.midi)%12 != c.BassPC() || g.n < 4 || len(o.borrowed) > 0 || !o.dim && o.scale.Root.PC() == c.RootPC() {
		return nil
	}
	var pcs theory.PCSet
	for k := int8(0); k < g.n-1; k++ {
		pcs = pcs.With(int(g.note[k].midi))
	}
	low := int(g.note[g.n-2].midi) % 12
	own := theory.MustChord(o.scale.SixName())
	if o.dim {
		step, _ := o.scale.StepOf(low)
		own = theory.MustChord(o.scale.Name(step).String() + "dim7")
	}
	name, _, _ := strings.Cut(theory.GripName(pcs, low, own), ",")
	return []string{name + " over " + c.Bass.String()}
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
	switch g.mood {
	case pedal:
		why = append(why, "the root of the five held below as a pedal")
	case altered:
		why = append(why, "altered on the way home")
	case tritone:
		why = append(why, "the dominant a tritone away")
	case upper:
		why = append(why, "the brighter six on the fifth")
	}
	if name := s.passageName(p.at); name != "" {
		why = append(why, name)
	}
	switch {
	case p.final:
		why = append(why, "the close")
	case s.chords[p.chord].added != "":
		why = append(why, s.chords[p.chord].added)
	case p.change:
		why = append(why, "the chord changes")
	case p.tune >= 0 && s.tune[p.tune].end-s.tune[p.tune].at >= 2*s.bars[s.barAt(p.at)].Beat:
		why = append(why, "a long note")
	case p.comp:
		why = append(why, "a new bar of the same chord")
	default:
		why = append(why, "a strong beat, and the last chord is far")
	}
	if w.tops(i) {
		why = append(why, "the high point of the chorus")
	}
	var has []string
	if guides := c.GuideTones(); len(guides) > 0 && hasAll(g.pcs, guides) {
		has = append(has, "guide tones there")
	}
	if b, ok := g.bass(); ok {
		switch {
		case g.mood == tritone, g.mood == pedal:
		case int(b.midi)%12 == c.BassPC():
			has = append(has, "root below")
			if c.Slash {
				has[len(has)-1] = "the written bass below"
			}
		default:
			has = append(has, "an inversion for the bass line")
		}
		if b.fret == 0 {
			has = append(has, "open bass frees the hand")
		}
	}
	if s.trio {
		has = append(has, w.reasonTrio(i, g)...)
	}
	if p.held {
		why = append(why, "the tune is held over")
	}
	if w.right.attack(g.strings) == Strum {
		has = append(has, "one stroke over neighbouring strings")
	}
	switch {
	case p.early:
		why = append(why, "phrased early: the tune comes before its beat")
	case s.trio && p.late:
		why = append(why, "the tune comes later, and the beat is left to bass and drums")
	case p.late && s.tune[p.tune].moved > 0:
		why = append(why, "laid back: the bass takes the beat, the tune comes after it")
	case p.late:
		why = append(why, "the tune comes later, so the bass takes the beat")
	}
	return strings.Join(append(why, has...), "; ")
}
