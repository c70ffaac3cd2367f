package voicing

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"thumbline/theory"
)

// A Plan is what the player decided. The zero value decides nothing.
type Plan struct {
	Key  string // sounding key such as "Eb" or "Dm"; empty leaves the sheet's
	Feel string // straight, swing, bossa, or a ratio such as "1.7"; empty = by tempo
	// Tension is how far harmony goes from the written chords: low (the chord
	// and its usual extensions), medium (one surprise a phrase), high. Empty
	// means medium.
	Tension string
	// Density is how much is added to the tune: sparse, medium or full. Empty
	// means medium.
	Density string
	// Phrasing is how the tune's rhythm is taken: written, or relaxed (a phrase
	// starts or ends half a beat early or late with its chord, as players do;
	// the bass keeps the beat). Empty means written.
	Phrasing string
	// Setting is who plays: solo, or trio, with a bass player and a drummer, to
	// whom the roots and the beat are left. Empty means solo.
	Setting string
	// Intro is the introduction (ParseIntro), Ending the ending (ParseEnding).
	Intro, Ending string
	// Ritardando slows the last bars down.
	Ritardando bool
	// Choruses is how often the tune is played, 0 for once; Comp is which of them
	// has chords and bass without the tune, from 1, 0 for none.
	Choruses, Comp int
	// SameRepeats leaves what is repeated as it was the first time.
	SameRepeats bool
	// Neck, Hand, Right and Taste replace the defaults when set.
	Neck  *Neck
	Hand  *Hand
	Right *RightHand
	Taste *Taste
}

// Arrange lays a tune out for one guitar. The tune is not changed. Errors tell
// of a plan or a tune that cannot be followed; the arrangement itself never
// fails: where nothing fits, the tune stands alone and a warning says so.
func Arrange(t *theory.Tune, p Plan) (*Arrangement, error) {
	if len(t.Melody) == 0 || len(t.Bars) == 0 {
		return nil, fmt.Errorf("the tune has no notes (a lead sheet needs a melody)")
	}
	w, err := newWorker(t, &p)
	if err != nil {
		return nil, err
	}
	f := w.s.form
	a := w.arrange()
	a.Title, a.Key, a.Transposition, a.Feel = f.tune.Title, f.tune.Key, w.shift, w.feel
	a.TempoAssumed = f.tune.TempoAssumed
	a.Phrases = f.tune.Phrases
	for _, x := range f.tune.Sections {
		a.Sections = append(a.Sections, Section{x.Name, x.From, x.To})
	}
	for _, x := range f.tune.Phrases {
		switch {
		case x.To <= f.intro:
			a.Before++
		case x.From >= f.ending:
			a.After++
		}
	}
	if len(f.choruses) > 1 {
		a.Choruses = f.choruses
		if f.comped >= 0 {
			a.Comped = f.choruses[f.comped]
		}
	}
	a.Intro, a.Ending = f.names[0], f.names[1]
	a.Setting = w.setting
	if w.setting == Trio {
		w.s.company(a)
	}
	if p.Ritardando {
		a.ritard()
	}
	for _, x := range f.tune.Warnings {
		a.Warnings = append(a.Warnings, x.Text)
	}
	if text := w.s.outOfTheWay(); text != "" {
		a.Warnings = append(a.Warnings, text)
	}
	return a, nil
}

// player is who plays: the hands and the taste of a plan, or what most have.
func (p *Plan) player() (Hand, RightHand, Taste) {
	h, r, t := NormalHand(), NormalRightHand(), DefaultTaste()
	if p.Hand != nil {
		h = *p.Hand
	}
	if p.Right != nil {
		r = *p.Right
	}
	if p.Taste != nil {
		t = *p.Taste
	}
	return h, r, t
}

// newWorker reads a plan and lays out what is played: a worker that has its score.
func newWorker(t *theory.Tune, p *Plan) (*worker, error) {
	w := &worker{neck: StandardNeck()}
	w.hand, w.right, w.taste = p.player()
	var err error
	if w.tension, err = ParseTension(p.Tension); err != nil {
		return nil, err
	}
	if w.density, err = ParseDensity(p.Density); err != nil {
		return nil, err
	}
	relaxed, err := ParsePhrasing(p.Phrasing)
	if err != nil {
		return nil, err
	}
	if w.setting, err = ParseSetting(p.Setting); err != nil {
		return nil, err
	}
	if p.Neck != nil {
		w.neck = *p.Neck
	}
	if p.Key != "" {
		k, err := theory.ParseKey(p.Key)
		if err != nil {
			return nil, err
		}
		iv := theory.IntervalBetween(t.Key.Tonic, k.Tonic)
		t = t.Transpose(iv)
		w.shift += iv.Semitones
	}
	oct, err := register(t, w.neck)
	if err != nil {
		return nil, err
	}
	if oct != 0 {
		t = t.Transpose(theory.Interval{Steps: 7 * (oct / 12), Semitones: oct})
		w.shift += oct
	}
	if w.feel, err = feelOf(t, p.Feel); err != nil {
		return nil, err
	}
	f, err := newForm(t, p, w.neck)
	if err != nil {
		return nil, err
	}
	w.unvaried = p.SameRepeats
	w.s = newScore(f)
	w.s.bossa, w.s.swings = w.feel.Bossa, w.feel.Swings()
	w.s.turnarounds(w.tension, w.density, &w.taste.Turn)
	if relaxed {
		w.s.relax()
	}
	w.s.comping()
	w.s.takeOver()
	return w, nil
}

func feelOf(t *theory.Tune, name string) (theory.Feel, error) {
	bpm, metre := 120.0, theory.Metre{Num: 4, Den: 4}
	if len(t.Tempi) > 0 {
		bpm = t.Tempi[0].BPM
	}
	if len(t.Bars) > 0 {
		metre = t.Bars[0].Metre
	}
	if name == "" {
		return theory.DefaultFeel(bpm, metre), nil
	}
	return theory.ParseFeel(name, bpm, metre)
}

// A Tension is how far harmony goes from the written chords.
type Tension uint8

const (
	tensionLow Tension = iota
	tensionMedium
	tensionHigh
)

// ParseTension reads "low", "medium" or "high"; empty is medium.
func ParseTension(s string) (Tension, error) {
	switch s {
	case "low":
		return tensionLow, nil
	case "", "medium":
		return tensionMedium, nil
	case "high":
		return tensionHigh, nil
	}
	return 0, fmt.Errorf("tension %q is not known (it is low, medium or high)", s)
}

// A worker arranges one score.
type worker struct {
	neck    Neck
	hand    Hand
	right   RightHand
	grasp   *grasp
	taste   Taste
	tension Tension
	density Density
	setting Setting
	feel    theory.Feel
	shift   int // semitones from the sheet to what sounds
	s       *score
	m       *maker
	ps      []point
	spots   []spot
	grips   [][]grip
	runs    []*run          // runs[i] leads from point i to point i+1; runs[0] of pick-up in lead
	lead    *run            // the notes before the first point
	same    map[string]*run // by pitches and times
	used    map[usesKey][]theory.Use
	links   []link    // links[i] from point i-1 to point i
	price   float64   // of each note that is added: density moves it
	over    []float64 // and by point, where choruses differ; nil where they do not
	mean    float64   // notes that are added to a bar of them where nothing grows
	parts   []chorus  // that have the tune, where it is played several times

	unvaried bool      // what comes again is as it was
	barTime  []int     // which time it is, from 1
	recurs   []bool    // it comes again
	all      *material // what the first search chose from, while what comes again is played
	rerun    *rerun
	laid     Density // of the textures of the points
	hasty    bool    // nothing is answered yet in what comes again
	closing  []bool  // bars that stay as they were when they come again
	twins    []twin  // of each point
	times    int     // how often a bar comes at most

	holdFrom int // the first point that the tune is held over to give the last chord its third, 0 for none

	duties    []duty // of each point in a trio
	soloAlone int    // points that solo has no grip for

	scratch replyScratch
}

func (w *worker) arrange() *Arrangement {
	s := w.s
	w.m = openMaker(w.neck, w.hand, w.right, w.taste)
	w.grasp = w.m.grasp
	w.same, w.used = map[string]*run{}, map[usesKey][]theory.Use{}
	w.ps = s.points()
	w.findTwins()
	l := w.lay()
	if w.setting == Trio {
		l = w.trio(l)
	}
	a := l.arrangement()
	a.Cost, a.Alone = l.cost, l.alone()
	for _, sp := range w.spots {
		if w.m.cut[sp] {
			a.Cut++
		}
	}
	a.Tuning = append([]int(nil), w.neck.Tuning...)
	a.Capo = w.neck.Capo
	a.Bars = s.bars
	a.Tempi = s.tempi
	for _, n := range s.tune {
		if !n.fill {
			a.Melody = append(a.Melody, TuneNote{n.at, max(n.full, n.end-n.at), n.midi, n.pitch, n.moved})
		}
	}
	for _, c := range s.written {
		a.Chords = append(a.Chords, ChordMark{c.at, c.chord.String(), c.chord})
	}
	for _, c := range s.added() {
		a.Added = append(a.Added, ChordMark{c.at, c.chord.String(), c.chord})
	}
	return a
}

// openMaker makes grips that are measured without the capo: above it the frets lie
// closer, so what is found without it is easier with it, and grips stay when it
// moves.
func openMaker(n Neck, h Hand, r RightHand, t Taste) *maker {
	open := n
	open.Capo = 0
	return newMaker(n, newGrasp(open, h), r, t)
}

// A Setting is who plays.
type Setting uint8

const (
	Solo Setting = iota
	Trio         // with bass and drums
)

// ParseSetting reads "solo" or "trio"; empty is solo.
func ParseSetting(s string) (Setting, error) {
	switch s {
	case "", "solo":
		return Solo, nil
	case "trio":
		return Trio, nil
	}
	return 0, fmt.Errorf("setting %q is not known (it is solo or trio)", s)
}

// candidates finds the grips for every point.
func (w *worker) candidates() {
	w.spots = make([]spot, len(w.ps))
	for i := range w.ps {
		w.spots[i] = w.spot(i)
		if g := w.asked(i); len(g) > 0 {
			w.grips = append(w.grips, g)
			continue
		}
		g := slices.Clip(w.m.at(w.spots[i])) // the maker keeps its own
		for _, m := range w.moods(i) {
			sub := w.spots[i]
			sub.mood = m
			for _, x := range w.m.at(sub) {
				if x.n > 2 {
					x.cost += w.moodCost(m)
					g = append(g, x)
				}
			}
		}
		if w.ps[i].tune < 0 {
			g = append(g, grip{cost: 25}) // nothing at all
		}
		g = w.wholeGrips(i, w.closeGrips(i, g))
		w.grips = append(w.grips, g)
	}
}

// asked are the grips of a point whose chord is to lie in a certain way; none
// where it is not, or no hand can take it so.
func (w *worker) asked(i int) []grip {
	p := &w.ps[i]
	c := &w.s.chords[p.chord]
	if c.asked == nil || c.at != p.at || c.asked.voicing == nil {
		return nil
	}
	top := c.asked.voicing[len(c.asked.voicing)-1]
	tune := p.tune >= 0 && !p.held && w.s.tune[p.tune].midi == top
	out := w.m.exact(c.asked.voicing, tune)
	if on := c.asked.strings; on > 0 && slices.ContainsFunc(out, func(g grip) bool { return g.strings == on }) {
		out = slices.DeleteFunc(out, func(g grip) bool { return g.strings != on })
	}
	for i := range out {
		b, ok := out[i].bass()
		out[i].turned = ok && int(b.midi)%12 != c.chord.BassPC()
	}
	return out
}

// spot is what a grip is wanted for at point i.
func (w *worker) spot(i int) spot {
	s, p := w.s, &w.ps[i]
	c := s.chords[p.chord].chord
	bar := s.barAt(p.at)
	key, beat := s.bars[bar].Key, s.bars[bar].Beat
	sp := spot{chord: c, key: s.keyPCs[bar], light: p.light && !p.final, final: p.final, cadence: p.cadence,
		ground: i == 0 || p.section || p.final || p.late || s.needsRoot(p.chord), coloured: s.coloured,
		minorTonic: key.Minor && key.Tonic.PC() == c.RootPC(),
		room:       p.end-p.at >= 2*beat && !p.light && s.nextOnset(p.at)-p.at >= beat}
	if n := p.chord + 1; n < len(s.chords) && !s.chords[n].chord.NoChord {
		d := s.chords[n].chord
		sp.line = d.RootPC() == c.RootPC() && d.Kind == c.Kind && c.Tones.Len() == 3 && d.Tones&degrees(9, 10, 11) != 0
		falls := fallsFifth(c, d)
		// plain first, colour after: a dominant of several bars leads on in its last
		sp.resolves = falls && s.chords[p.chord].end-p.at <= s.bars[bar].Len
		sp.toTwo = falls && (d.Kind == theory.Minor && d.Tones.Has(10) || d.Kind == theory.HalfDiminished)
		sp.toMinor = falls && d.Kind == theory.Minor && !d.Tones.Has(10)
	}
	if c.IsDominant() {
		sp.nine = s.sings(c.RootPC()+2, p.at+1, s.chords[p.chord].end, beat)
	}
	sp.ceiling = 64
	if p.tune >= 0 {
		sp.tune = s.tune[p.tune].midi
	} else {
		sp.ceiling = w.ceiling(p.at)
		if sp.comp = p.comp; sp.comp {
			sp.ceiling = compTop
		}
	}
	if w.tension == tensionLow || s.chords[p.chord].added != "" && !s.coloured {
		sp.mood = strict
	}
	return sp
}

// sings reports whether the tune strikes a pitch class between two times, for
// least at least.
func (s *score) sings(pc int, from, to, least Tick) bool {
	for k := max(s.tuneAt(from), 0); k < len(s.tune) && s.tune[k].at < to; k++ {
		if n := &s.tune[k]; n.at >= from && (n.midi-pc)%12 == 0 && n.end-n.at >= least {
			return true
		}
	}
	return false
}

// moods lists the substitutes that may stand at point i. A dominant that
// resolves may be altered or go to the tritone, a tonic may take the brighter
// six. With medium tension that is one surprise a phrase, on its last dominant,
// so that tension grows towards the cadence; arrivals stay plain.
func (w *worker) moods(i int) []mood {
	if w.tension == tensionLow || w.tension == tensionMedium && !w.s.coloured {
		return nil
	}
	s, p := w.s, &w.ps[i]
	c := s.chords[p.chord].chord
	if s.chords[p.chord].added != "" {
		return nil // a turnaround is a surprise already
	}
	if s.leadsBack(p.chord) {
		return []mood{pedal}
	}
	plain := c.Kind == theory.Dominant && !c.Slash && c.Tones&^degrees(0, 1, 2, 4, 7, 9, 10) == 0
	if plain && w.spots[i].resolves && !w.spots[i].nine && !p.final && !p.light {
		if w.tension == tensionHigh {
			return []mood{altered, tritone}
		}
		if w.lastDominant(i) && c.Tones&degrees(1, 2, 9) == 0 { // nothing but a plain seventh is altered
			return []mood{altered}
		}
	}
	if w.tension == tensionHigh && c.Kind == theory.Major && !c.Slash && !p.final && c.Tones&^degrees(0, 2, 4, 7, 9, 11) == 0 {
		return []mood{upper}
	}
	return nil
}

// leadsBack reports whether chord k is a two at the end of a section that leads
// back to one heard before, as a bridge does, with nothing but twos and their
// five from it to the end: the root of the five may lie under all of them
// (harmony.md 5.7, pedal).
func (s *score) leadsBack(k int) bool {
	five := (s.chords[k].chord.RootPC() + 5) % 12
	if end, ok := s.returns[s.barAt(s.chords[k].at)]; ok && s.chords[k].at >= end-4*s.bars[s.barAt(s.chords[k].at)].Len {
		dominant := false
		for j := k; j < len(s.chords) && s.chords[j].at < end; j++ {
			c := s.chords[j].chord
			two := !c.Slash && c.RootPC() == (five+7)%12 && (c.Kind == theory.Minor || c.Kind == theory.HalfDiminished) && c.Tones.Has(10)
			dominant = !c.Slash && c.RootPC() == five && (c.Kind == theory.Dominant || c.Kind == theory.Suspended)
			if !two && !dominant || j == k && !two {
				return false
			}
		}
		return dominant
	}
	return false
}

func degrees(ds ...int) theory.PCSet { return theory.PCSet(0).With(ds...) }

// lastDominant reports whether no later point of i's phrase has a dominant
// that resolves.
func (w *worker) lastDominant(i int) bool {
	s := w.s
	for k := i + 1; k < len(w.ps) && w.ps[k].phrase == w.ps[i].phrase; k++ {
		c := s.chords[w.ps[k].chord].chord
		n := w.ps[k].chord + 1
		if c.IsDominant() && w.ps[k].chord != w.ps[i].chord && s.chords[w.ps[k].chord].added == "" && n < len(s.chords) && fallsFifth(c, s.chords[n].chord) {
			return false
		}
	}
	return true
}

// moodCost is what a substitute costs beside its grip: less than nothing where
// one is wanted.
func (w *worker) moodCost(m mood) float64 {
	if m == pedal {
		return -w.taste.Pedal
	}
	if w.tension == tensionHigh {
		if m == tritone {
			return -0.5
		}
		return -2.5
	}
	return -0.8
}

// ceiling is the highest inner note while the tune rests: under the tune on
// both sides, and under what still rings of it.
func (w *worker) ceiling(t Tick) int {
	c := max(w.s.around(t, 66), 55)
	if over := w.s.tuneOver(t); over > 0 {
		c = min(c, over-2)
	}
	return c
}

// prepareRuns tables the ways along the bare notes between points.
func (w *worker) prepareRuns() {
	s := w.s
	first := s.end
	if len(w.ps) > 0 {
		first = w.ps[0].at
	}
	var lead []int
	for i, n := range s.tune {
		if n.at < first {
			lead = append(lead, i)
		}
	}
	from := Tick(0)
	w.lead = w.run(lead, from, first)
	for i := range w.ps {
		p := &w.ps[i]
		to := s.end
		if i+1 < len(w.ps) {
			to = w.ps[i+1].from
		}
		var notes []int
		for k := s.tuneAt(p.at); k < len(s.tune); k++ {
			if k < 0 || s.tune[k].at < p.at || k == p.tune && !p.held {
				continue
			}
			if s.tune[k].at >= to {
				break
			}
			notes = append(notes, k)
		}
		w.runs = append(w.runs, w.run(notes, p.at, to))
	}
}

// run is the tables of some bare notes; the same notes in the same rhythm, as
// in a repeat, share theirs.
func (w *worker) run(notes []int, from, to Tick) *run {
	s := w.s
	key := make([]byte, 0, 12*len(notes)+8)
	last := from
	put := func(at Tick) {
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(s.seconds(last, at)))
		last = at
	}
	for _, i := range notes {
		key = append(key, byte(s.tune[i].midi))
		put(s.tune[i].at)
	}
	put(to)
	if r, ok := w.same[string(key)]; ok {
		c := *r
		c.notes = notes
		return &c
	}
	r := s.newRun(&w.taste, s.stands(w.neck, notes), notes, from, to)
	w.same[string(key)] = r
	return r
}

// The search.Problem: slots are points, choices are grips, and the manners to
// take them in are textures.

// Slots is the number of points.
func (w *worker) Slots() int { return len(w.ps) }

// Choices is the number of grips at a point.
func (w *worker) Choices(i int) int { return len(w.grips[i]) }

// Manners is the number of textures at a point.
func (w *worker) Manners(i int) int { return len(w.ps[i].layouts) }

// Turn is what texture n costs after texture m of the point before.
func (w *worker) Turn(i, m, n int) float64 {
	q, p := &w.ps[i-1], &w.ps[i]
	return w.s.turn(q, p, &q.layouts[m], &p.layouts[n], &w.taste.Texture)
}

// Node is what a grip costs by itself, laid out in texture m.
func (w *worker) Node(i, c, m int) float64 {
	g, tx := &w.grips[i][c], &w.ps[i].layouts[m]
	cost := g.cost + tx.cost + w.ps[i].pay(w.notePrice(i), g, tx) + w.sameAgain(i, g, tx)
	if w.s.trio {
		cost += tx.bareAgainst(g) - w.later(i, g, tx)
	}
	if !tx.alone && tx.innerAt > w.ps[i].at && w.s.takesWord(g.inner(), tx.innerAt) {
		cost += 2 * w.taste.Answer.TuneAhead
	}
	if i == 0 {
		q := int(g.pos)
		if len(w.lead.notes) > 0 {
			if w.ps[0].held {
				cost += w.heldCost(w.lead, 0, 0, g)
			} else {
				cost += w.lead.to[0][q]
			}
		}
	}
	if i == len(w.ps)-1 && len(w.runs[i].notes) > 0 {
		cost += w.runs[i].to[g.pos][0]
	}
	return cost
}

// heldCost is the way along a run whose last note the grip of point i must hold.
func (w *worker) heldCost(r *run, i, pos int, g *grip) float64 {
	best := w.taste.HeldLost + w.thirdLost(i, g)
	if !g.tune {
		return best
	}
	t := g.note[0]
	for k, st := range r.stands[len(r.stands)-1] {
		if st.str == t.str && st.fret == t.fret && (st.finger == t.finger || g.n == 1 && !w.holds(i)) {
			c := r.cost[pos][k]
			if st.fret == 0 {
				c += w.taste.leave(st, g.pos, r.dt[len(r.dt)-1])
			}
			best = min(best, c)
		}
	}
	return best
}

// Edge is the cost of going from grip a at point i-1 to grip b at point i.
func (w *worker) Edge(i, a, b int) float64 {
	ga, gb := &w.grips[i-1][a], &w.grips[i][b]
	c := w.way(i, ga, gb)
	if w.s.trio {
		c += w.again(i, ga, gb)
	}
	for _, v := range w.voices(i, ga, gb) {
		c += v
	}
	return c
}

// AtLeast is the hand's part of Edge, and the most that the voices gain.
func (w *worker) AtLeast(i, a, b int) float64 {
	ga, gb := &w.grips[i-1][a], &w.grips[i][b]
	return w.way(i, ga, gb) - w.taste.mostGain(gb)
}

// Least is the most that the voices gain on the way to grip b, for the hand's way
// costs something or nothing.
func (w *worker) Least(i, b int) float64 { return -w.taste.mostGain(&w.grips[i][b]) }

// way is the cost of the hand's way from grip ga at point i-1 to grip gb at
// point i, along the bare notes between.
func (w *worker) way(i int, ga, gb *grip) float64 {
	r := w.runs[i-1]
	switch p := &w.ps[i]; {
	case p.held && len(r.notes) > 0:
		return w.heldCost(r, i, int(ga.pos), gb)
	case p.held:
		if !ga.tune || !gb.tune || ga.note[0].str != gb.note[0].str || ga.note[0].fret != gb.note[0].fret {
			return w.taste.HeldLost + w.thirdLost(i, gb)
		} else if ga.note[0].finger != gb.note[0].finger && (gb.n > 1 || w.holds(i)) {
			return w.taste.HeldLost/3 + w.thirdLost(i, gb)
		}
		return 0
	}
	return r.to[ga.pos][gb.pos]
}

// The parts of what it costs to lead the voices from one grip to the next.
const (
	partInner = iota
	partSeventh
	partBass
	partOctaves
	partStrings
	partOuter
	partCommon
	partTurned
	partPassing
	partTop
	parts
)

var partNames = [parts]string{"inner voices move", "seventh not led", "bass line", "parallel octaves", "other strings", "outer voices", "common tones stay", "inversion not by step", "passing diminished not by step", "top line"}

// A link is what the chords of two neighbouring points say about the voices
// between them.
type link struct {
	change     bool
	falls      bool // the root falls a fifth from a chord with a flat seventh
	sev, third int16
	passing    bool // one of them is a diminished a step from the other's bass
	phrase     bool // both lie in one phrase
	comp       bool // without a tune, both
}

// prepareLinks lists what voices asks for again and again.
func (w *worker) prepareLinks() {
	w.links = make([]link, len(w.ps))
	for i := 1; i < len(w.ps); i++ {
		p, q := &w.ps[i], &w.ps[i-1]
		ca, cb := w.s.chords[q.chord].chord, w.s.chords[p.chord].chord
		k := link{change: p.change, phrase: p.phrase == q.phrase, comp: p.comp && q.comp}
		if third, ok := cb.ThirdPC(); ok && p.change && fallsFifth(ca, cb) && ca.Tones.Has(10) {
			k.falls, k.third, k.sev = true, int16(third), int16((ca.RootPC()+10)%12)
		}
		if p.change && (ca.Kind == theory.Diminished || cb.Kind == theory.Diminished) {
			d := (cb.BassPC() - ca.BassPC() + 12) % 12
			k.passing = d == 1 || d == 2 || d == 10 || d == 11
		}
		w.links[i] = k
	}
}

// mostGain is more than voices ever gains on the way to a grip; the hair on top
// is for rounding.
func (w *Taste) mostGain(g *grip) float64 {
	most := 1e-9
	if g.hasBass {
		most += w.BassStep + 1.5*w.Contrary
	}
	return most + w.Common*float64(len(g.inner()))
}

// voices is the cost of the voices from one grip to the next, by parts. What it
// gains is bounded by mostGain.
func (w *worker) voices(i int, ga, gb *grip) (c [parts]float64) {
	t := &w.taste
	k := &w.links[i]
	p := &w.ps[i]
	ia, ib := ga.inner(), gb.inner()
	if len(ia) > 0 {
		for x := range ib {
			d := int16(99)
			for y := range ia {
				e := ib[x].midi - ia[y].midi
				if e < 0 {
					e = -e
				}
				if e == 0 && ib[x].str == ia[y].str {
					c[partCommon] -= t.Common
				}
				d = min(d, e)
			}
			c[partInner] += t.InnerMove * float64(d)
			if d > 4 {
				c[partInner] += t.InnerLeap
			}
		}
	}
	// the seventh falls to the third
	if k.falls {
		has, led := false, gb.tune && gb.note[0].midi%12 == k.third
		for x := int8(0); x < ga.n && !led; x++ {
			n := &ga.note[x]
			if n.voice == Melody || n.midi%12 != k.sev {
				continue
			}
			has = true
			for j := int8(0); j < gb.n; j++ {
				if d := n.midi - gb.note[j].midi; d >= 0 && d <= 2 && gb.note[j].midi%12 == k.third {
					led = true
				}
			}
		}
		if has && !led {
			c[partSeventh] = t.Seventh
		}
	}
	if k.passing && !(ga.hasBass && gb.hasBass && !ga.turned && !gb.turned && absInt(int(ga.note[ga.n-1].midi)-int(gb.note[gb.n-1].midi)) <= 2) {
		c[partPassing] = t.PassingDim
	}
	if k.change && (ga.turned || gb.turned) {
		// an inversion is there for the line: reached by step, left by step
		d := 99
		if ga.hasBass && gb.hasBass {
			d = absInt(int(ga.note[ga.n-1].midi) - int(gb.note[gb.n-1].midi))
		}
		if d > 2 {
			if ga.turned {
				c[partTurned] += t.TurnedLeap
			}
			if gb.turned {
				c[partTurned] += t.TurnedLeap
			}
		}
	}
	if ga.hasBass && gb.hasBass {
		ba, bb := ga.note[ga.n-1].midi, gb.note[gb.n-1].midi
		switch d := absInt(int(ba) - int(bb)); {
		case d > 12:
			c[partBass] = t.BassLeap
		case d > 7:
			c[partBass] = t.BassFifth
		case d == 0 && k.change:
			c[partBass] = t.BassRepeat
		case d == 1 || d == 2:
			c[partBass] = -t.BassStep
		}
		if ga.tune && gb.tune && !p.held && ga.note[0].midi != gb.note[0].midi && ba != bb &&
			(ga.note[0].midi-ba)%12 == 0 && (gb.note[0].midi-bb)%12 == 0 {
			c[partOctaves] = t.Octaves
		}
	}
	if ga.hasBass && gb.hasBass && ga.tune && gb.tune && !p.held {
		up := int(gb.note[0].midi - ga.note[0].midi)
		low := int(gb.note[gb.n-1].midi - ga.note[ga.n-1].midi)
		switch {
		case up*low < 0:
			c[partOuter] = -t.Contrary
		case up*low > 0 && up != 0:
			c[partOuter] = 0.5 * t.Contrary
		}
		if d := (gb.note[0].midi - gb.note[gb.n-1].midi) % 12; d == 3 || d == 4 {
			c[partOuter] -= 0.5 * t.Contrary // tenths sing
		}
	}
	if k.comp {
		c[partTop] = t.Comp.topLine(ga, gb, k.change)
	}
	if k.phrase && ga.strings != gb.strings {
		c[partStrings] = t.Structure
	}
	return c
}
