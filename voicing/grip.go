package voicing

import (
	"cmp"
	"slices"

	"thumbline/theory"
)

// maxNotes is the most strings a grip uses; usualNotes is the most without a
// right hand that plucks more.
const (
	maxNotes   = 5
	usualNotes = 4
)

// A tone is one note of a grip.
type tone struct {
	str, fret, finger int8
	midi              int16
	voice             Voice
}

// A grip is what the hand takes for one spot: the tune's note, if it sounds
// there, inner voices and a bass, with fingers. Notes run from the top down.
type grip struct {
	n       int8
	tune    bool // note[0] is the tune's
	hasBass bool // the last note is a bass
	turned  bool // and it is neither the root nor the written bass: an inversion
	pos     int8 // fret of finger 1; 0 when only open strings are used
	pcs     theory.PCSet
	strings uint16 // mask of strings
	note    [maxNotes]tone
	cost    float64
	ease    float64 // what its fingers cost
	mood    mood
}

func (g *grip) bass() (tone, bool) {
	if g.hasBass {
		return g.note[g.n-1], true
	}
	return tone{}, false
}

// inner is the run of inner voices, highest first.
func (g *grip) inner() []tone {
	a, b := 0, int(g.n)
	if g.tune {
		a = 1
	}
	if g.hasBass {
		b--
	}
	if b < a {
		b = a
	}
	return g.note[a:b]
}

// low is the lowest note of the grip.
func (g *grip) low() (tone, bool) {
	if g.n == 0 {
		return tone{}, false
	}
	return g.note[g.n-1], true
}

// lowInterval is the lowest lower note of an interval, by semitones, before it turns to mud
// (harmony.md 4.2; the tritone row of its source is a misprint, 46 is used).
var lowInterval = [7]int{0, 52, 51, 48, 47, 45, 46}

func muddy(lower, upper int) bool {
	d := upper - lower
	return d >= 1 && d <= 6 && lower < lowInterval[d]
}

// A spot is what a grip is wanted for.
type spot struct {
	chord    theory.Chord
	key      theory.PCSet
	resolves bool // the root falls a fifth to the next chord
	toMinor  bool // and that chord is a minor tonic
	toTwo    bool // or a minor seventh, plain or half-diminished
	// minorTonic says that the chord is the tonic of a minor key.
	minorTonic bool
	line       bool // a triad, and the next chord adds a sixth or seventh to it: a line that is still to come
	nine       bool // the tune comes to the natural nine, for a beat at least, before the chord is over
	coloured   bool // the sheet's own harmony goes beyond triads and sevenths
	room       bool // there is time for a full grip to be heard
	cadence    bool
	ground     bool // section start or end: the root belongs below
	tune       int  // sounding pitch of the tune, 0 for none
	ceiling    int  // without a tune: nothing above this
	light      bool // little time: at most three notes
	final      bool
	mood       mood
	trio       trioPart
	comp       bool // without a tune, for someone to play over
}

// spread is how much dearer than the best a grip may be by itself and still be
// kept: hardly a way to it could make up for more.
const spread = 7

// highTune is the tune's pitch from which on the hand lies so high that the bass
// does as well.
const highTune = 76

// hopeful is what the best grip of a spot costs at most, nearly always; it lets
// poor ones be dropped before the first good one is found.
const hopeful = 7

// maker enumerates grips and remembers them by chord, tune note and place.
type maker struct {
	neck  Neck
	grasp *grasp
	right RightHand
	taste Taste
	maxN  int // grips kept for one spot
	grips map[spot][]grip
	raw   map[spot][]grip // before what the place adds to the cost
	steps map[theory.Chord][]theory.PCSet
	cut   map[spot]bool // spots at which grips as good as the best were left out
	found []grip        // room for what one enumeration finds
}

func newMaker(n Neck, g *grasp, r RightHand, t Taste) *maker {
	return &maker{neck: n, grasp: g, right: r, taste: t, maxN: 30, cut: map[spot]bool{},
		grips: map[spot][]grip{}, raw: map[spot][]grip{}, steps: map[theory.Chord][]theory.PCSet{}}
}

// stepSets are the note sets of the chord's scales: the chord on the even (or
// odd) steps, and the same with one voice borrowed from its neighbour step.
func (m *maker) stepSets(c theory.Chord) []theory.PCSet {
	if s, ok := m.steps[c]; ok {
		return s
	}
	var out []theory.PCSet
	add := func(s theory.PCSet) {
		for _, x := range out {
			if x == s {
				return
			}
		}
		out = append(out, s)
	}
	for _, u := range theory.Uses(c) {
		start := 0
		if u.Dim {
			start = 1
		}
		root := u.Scale.Root.PC()
		for b := -1; b < 8; b++ { // b = -1 plain, else voice b/2 borrowed down or up
			var s theory.PCSet
			for v := 0; v < 4; v++ {
				n := start + 2*v
				if b >= 0 && b/2 == v {
					n += 2*(b%2) - 1
				}
				s = s.With(root + u.Scale.Semitone(n))
			}
			add(s)
		}
	}
	m.steps[c] = out
	return out
}

// fingersOf is the fingering of a grip, its fingers by note.
func (m *maker) fingersOf(g *grip) fingering {
	var ps [maxPresses]Press
	for i := int8(0); i < g.n; i++ {
		t := g.note[i]
		ps[i] = Press{Stop{t.str, t.fret}, 0}
	}
	return m.grasp.fingers(ps[:g.n])
}

// easeOf is what the fingers of a grip cost as they are.
func (m *maker) easeOf(g *grip) float64 {
	var ps [maxPresses]Press
	for i, t := range g.note[:g.n] {
		ps[i] = Press{Stop{t.str, t.fret}, t.finger}
	}
	return m.grasp.fingers(ps[:g.n]).cost
}

// at lists the grips for a spot, the best by itself first. What can be played
// is found once for a chord and a tune note; what the place adds (a section's
// ground, little time, room for more, a close) is weighed anew.
func (m *maker) at(s spot) []grip {
	if g, ok := m.grips[s]; ok {
		return g
	}
	base := s
	base.ground, base.light, base.room, base.cadence, base.final = false, false, false, false, false
	e := enumerator{m: m, s: s, pal: newPalette(s), sets: m.stepSets(s.chord), best: hopeful,
		most: int8(min(max(usualNotes, m.right.Fingers), maxNotes)), high: highestBass}
	if s.tune >= highTune {
		e.high += 2
	}
	raw, ok := m.raw[base]
	if !ok {
		f := e
		f.s, f.out = base, m.found[:0]
		f.run()
		if len(f.out) <= m.neck.Strings() { // hardly anything: look among the dear ones too
			f.out, f.best = f.out[:0], 1e9
			f.run()
		}
		raw = f.cheapest(maxRaw)
		m.found = f.out
		m.raw[base] = raw
	}
	e.best = 1e9
	e.out = make([]grip, 0, len(raw))
	for i := range raw {
		g := raw[i]
		if s.light && g.n > 3 {
			continue
		}
		if base != s {
			g.cost = e.weigh(&g, nil)
		}
		if g.n > 1 || !g.tune {
			e.best = min(e.best, g.cost)
		}
		e.out = append(e.out, g)
	}
	out := e.prune()
	m.grips[s] = out
	m.cut[s] = e.cut
	return out
}

// bites is how near the best grip of a spot one must be, by itself, for its
// being left out to be reported.
const bites = 1.5

// maxRaw is how many grips of a chord and a tune note are kept to be weighed
// for a place.
const maxRaw = 100

// cheapest is at most n of what was found, the best first, and the tune alone
// in all its places.
func (e *enumerator) cheapest(n int) []grip {
	order := e.sorted()
	out := make([]grip, 0, min(n, len(order))+maxPresses)
	for i, g := range order {
		if i < n || g.n == 1 && g.tune {
			out = append(out, *g)
		}
	}
	return out
}

// sorted lists what was found within spread of the best, in a total order.
func (e *enumerator) sorted() []*grip {
	order := make([]*grip, 0, len(e.out))
	for i := range e.out {
		if g := &e.out[i]; g.cost < e.best+spread || g.n == 1 && g.tune {
			order = append(order, g)
		}
	}
	slices.SortFunc(order, (*grip).compare)
	return order
}

type enumerator struct {
	m     *maker
	s     spot
	pal   palette
	sets  []theory.PCSet
	out   []grip
	cur   grip
	best  float64
	high  int                        // the highest bass
	most  int8                       // notes of a grip
	cut   bool                       // prune left out a grip nearly as good as the best
	notes [maxPresses + 1][]spotNote // by string, what the palette allows, low frets first
	near  [maxFret]uint32            // by fret, the frets (bit n) that a hand reaches with it
	must  int8                       // a note at this fret is wanted, to tell windows apart; 0 = no
	deep  int8                       // the lowest string that has a note at fret must
	meets [12]theory.PCSet           // by pitch class, those that it may not meet in one grip
	under [12]float64                // by pitch class, what it costs as the bass
}

// A spotNote is a note that the palette allows on a string.
type spotNote struct {
	fret, pc, midi int8
}

// highest is the highest fret of a grip.
const highest = 20

func (e *enumerator) run() {
	n := e.m.neck
	top := int8(n.Top())
	e.near = e.m.grasp.near()
	for a := range e.meets {
		e.under[a] = e.pal.bassCost(a, &e.m.taste, e.s.ground)
		e.meets[a] = 0
		for b := range e.meets {
			if e.pal.forms(degrees(a, b)) {
				e.meets[a] |= degrees(b)
			}
		}
	}
	for str := 1; str <= n.Strings(); str++ {
		e.notes[str] = make([]spotNote, 0, highest+1)
		for f := int8(0); f <= min(top, highest); f++ {
			midi := n.Open(str) + int(f)
			if e.pal.cost[midi%12] >= none || e.s.trio != noTrio && e.low(midi, Inner) {
				continue
			}
			if e.s.hasTune() {
				if d := e.s.tune - midi; d <= 1 || d == 13 {
					continue
				}
			} else if midi > e.s.ceiling {
				continue
			}
			e.notes[str] = append(e.notes[str], spotNote{f, int8(midi % 12), int8(midi)})
		}
	}
	if e.s.tune > 0 {
		for i, st := range n.Stops(e.s.tune) {
			// the tune stays on the high strings, and below fret 14 on all but the first
			if i > 0 && (st.Fret > 13 || st.Fret > 9 && st.String > 3) {
				continue
			}
			e.cur = grip{n: 1, tune: true}
			e.cur.note[0] = tone{st.String, st.Fret, 0, int16(e.s.tune), Melody}
			e.cur.pcs, e.cur.strings = degrees(e.s.tune), 1<<uint(st.String)
			if st.Fret > 0 {
				e.must = 0
				e.place(st.String+1, e.near[st.Fret], true)
			} else {
				for w := int8(1); w <= min(9, top); w++ {
					e.window(st.String+1, w)
				}
				e.must = 0
			}
			e.leaf(true) // the tune alone
		}
		return
	}
	for w := int8(1); w <= min(12, top); w++ {
		e.cur = grip{}
		e.window(2, w)
	}
}

// window tries what has fret w and otherwise frets w to w+4 and open strings,
// on string s and those below it.
func (e *enumerator) window(s, w int8) {
	e.must, e.deep = w, 0
	for str := int8(1); int(str) <= e.m.neck.Strings(); str++ {
		for _, x := range e.notes[str] {
			if x.fret == w {
				e.deep = str
			}
		}
	}
	e.place(s, 1|0x1f<<uint(w), false)
}

// place tries every note for string s and the strings below it that is at one
// of some frets (bit n); hit says that the grip has a note at fret must.
func (e *enumerator) place(s int8, frets uint32, hit bool) {
	strings := int8(e.m.neck.Strings())
	cur := &e.cur
	if cur.n >= e.most {
		return
	}
	for str := s; str <= strings; str++ {
		// but what is open throughout counts as at fret 1
		if !hit && e.must > 1 && str > e.deep {
			return
		}
		for _, x := range e.notes[str] {
			if frets>>uint(x.fret)&1 == 0 {
				continue
			}
			pc, midi := int(x.pc), int(x.midi)
			if cur.pcs&e.meets[pc] != 0 {
				continue
			}
			if cur.n > 0 {
				up := int(cur.note[cur.n-1].midi)
				if midi >= up || muddy(midi, up) || up-midi > 17 && str < strings-2 {
					continue
				}
			}
			pcs, hit := cur.pcs, hit || x.fret == e.must
			cur.note[cur.n] = tone{str, x.fret, 0, int16(midi), Inner}
			cur.n++
			cur.pcs |= 1 << uint(pc)
			cur.strings |= 1 << uint(str)
			// the bass lies on the three low strings; high up the fifth it is still one, under a tune that lies high
			bassy := e.s.trio == noTrio && (str >= strings-1 && midi <= e.high || str == strings-2 && midi <= 55)
			if bassy && e.pal.bassCost(pc, &e.m.taste, false) < 6 {
				cur.hasBass = true
				cur.note[cur.n-1].voice = Bass
				e.leaf(hit)
				cur.hasBass = false
				cur.note[cur.n-1].voice = Inner
			}
			if str <= strings-1 && midi >= 48 {
				if !bassy { // what could be a bass is heard as one
					e.leaf(hit)
				}
				e.place(str+1, frets&e.near[x.fret], hit)
			}
			cur.n--
			cur.pcs = pcs
			cur.strings &^= 1 << uint(str)
		}
	}
}

func (s spot) hasTune() bool { return s.tune > 0 }

// leaf weighs the grip as it stands and keeps it when a hand can hold it; hit
// says that it has a note at fret must, if there must be one.
func (e *enumerator) leaf(hit bool) {
	if !hit && !(e.must == 1 && allOpen(&e.cur)) {
		return
	}
	g := &e.cur
	alone := g.n == 1 && g.tune
	g.turned = g.hasBass && int(g.note[g.n-1].midi)%12 != e.pal.bass
	if e.m.right.attack(g.strings) == NoAttack {
		return
	}
	if e.s.trio != noTrio && e.rootLow(g) || !alone && e.tooDear(g) || e.bad(g) || e.s.mood > strict && !e.pal.told(g) {
		return
	}
	// what it costs before the hand is asked, which is the dear part of asking
	before := 0.0
	if !alone {
		g.ease = 0
		if before = e.weigh(g, nil); before > e.best+spread {
			return
		}
	}
	f := e.m.fingersOf(g)
	if !f.ok {
		return
	}
	e.out = append(e.out, *g)
	g = &e.out[len(e.out)-1]
	for i := int8(0); i < g.n; i++ {
		g.note[i].finger = f.finger[i&7]
	}
	g.pos, g.ease = f.pos, f.cost
	g.mood = e.s.mood
	if alone {
		g.cost = e.weigh(g, nil)
	} else {
		g.cost = before + e.m.taste.Finger*f.cost + e.m.taste.highOpens(g)
		e.best = min(e.best, g.cost)
	}
}

// tooDear reports whether the guide tones that are missing and a bass that is
// not the root, which cost most, say by themselves that a grip will not do. The
// hair is for rounding.
func (e *enumerator) tooDear(g *grip) bool {
	w := &e.m.taste
	missing := 0
	for _, p := range e.pal.guides {
		if g.pcs>>uint(p)&1 == 0 && !e.suspended(p) {
			missing++
		}
	}
	if missing > 0 && e.rooted(g) {
		missing-- // one may come later
	}
	c := float64(missing) * w.GuideMissing
	if c > e.best+spread || !g.hasBass {
		return c > e.best+spread
	}
	return c+e.under[g.note[g.n-1].midi%12]-w.OpenBass-w.FlatNine-1e-9 > e.best+spread
}

// highPlace is the place of the hand from which on an open string sounds like
// another instrument beside what is fretted.
const highPlace = 6

// highOpens is the cost of open strings inside a grip high on the neck: they
// sound like another instrument.
func (w *Taste) highOpens(g *grip) float64 {
	if g.pos < highPlace {
		return 0
	}
	c := 0.0
	for _, t := range g.inner() {
		if t.fret == 0 {
			c += w.HighOpen
		}
	}
	return c
}

// rooted reports whether tune and bass both have the root of a diminished
// chord: then a grip of four has no room for all of the others, and one comes
// later.
func (e *enumerator) rooted(g *grip) bool {
	b, ok := g.bass()
	return ok && g.tune && e.pal.chord.Kind == theory.Diminished && int(b.midi)%12 == e.pal.root && int(g.note[0].midi)%12 == e.pal.root
}

// suspended reports whether the tune lies a semitone above a guide tone, which
// then cannot sound under it.
func (e *enumerator) suspended(pc int) bool {
	return e.s.hasTune() && (e.s.tune-pc+120)%12 == 1
}

func allOpen(g *grip) bool {
	for i := int8(0); i < g.n; i++ {
		if g.note[i].fret > 0 {
			return false
		}
	}
	return true
}

// bad is what the ear refuses outright.
func (e *enumerator) bad(g *grip) bool {
	low := int(g.note[g.n-1].midi)
	for i := int8(0); i < g.n; i++ {
		for j := i + 1; j < g.n; j++ {
			if e.pal.minorNinth(int(g.note[j].midi), int(g.note[i].midi), low, g.pcs) {
				return true
			}
		}
	}
	return g.n > 1 && e.pal.forms(g.pcs)
}

// weigh is the cost of a grip by itself; with terms it also names the parts.
func (e *enumerator) weigh(g *grip, terms *[]Term) float64 {
	w := &e.m.taste
	total := 0.0
	add := func(name string, c float64) {
		if c == 0 {
			return
		}
		total += c
		if terms != nil {
			*terms = append(*terms, Term{name, c})
		}
	}
	if g.n == 1 && g.tune && e.s.trio != noTrio {
		add("guide tones", e.trioGuides(g))
		if e.s.room {
			add("an arrival alone", w.Trio.Arrival)
		}
		return total
	}
	if g.n == 1 && g.tune {
		// alone: everything is missing, and that is always allowed
		add("guide tones", w.GuideMissing*float64(len(e.pal.guides))*w.AloneGuide)
		add("no bass", w.NoBass)
		add("thin", w.Thin*2)
		add("tune's string", e.tuneString(g))
		return total
	}
	rooted := e.rooted(g)
	if e.s.trio != noTrio {
		add("guide tone missing", e.trioGuides(g))
		if l, _ := g.low(); l.midi < lowestTrio && l.voice != Melody {
			add("below the bass player's top", w.Trio.LowGuide)
		}
	}
	for _, p := range e.pal.guides {
		if g.pcs.Has(p) || e.s.trio != noTrio {
			continue
		}
		if rooted {
			add("one note of the diminished to come", w.DimOwed)
			rooted = false
			continue
		}
		if e.suspended(p) {
			add("guide tone suspended by the tune", w.Suspended)
			if p == e.pal.sev && !g.pcs.Has(e.pal.root+9) && !g.pcs.Has(e.pal.root+2) {
				add("bare triad", w.BareSeventh) // the tonic on top of a major seventh wants six or nine
			}
			continue
		}
		add("guide tone missing", w.GuideMissing)
	}
	for _, pc := range e.pal.want {
		if c := e.pal.named[pc]; !g.pcs.Has(pc) && (!e.s.hasTune() || (e.s.tune-pc+120)%12 != 1) {
			add("named colour missing", c)
		}
	}
	if b, ok := g.bass(); ok {
		add("bass not the root", e.pal.bassCost(int(b.midi)%12, w, e.s.ground))
		if g.turned && e.pal.dom && !g.pcs.Has(e.pal.root) {
			add("dominant without its root", w.DominantRootless)
		}
		if b.fret == 0 {
			add("open bass", -w.OpenBass)
		}
	} else if e.s.trio == noTrio {
		c := w.NoBass
		if e.s.ground {
			c += w.GroundMissing * w.GroundNoBass
		}
		if e.pal.chord.Kind == theory.Diminished {
			c += w.DimNoBass // a written diminished chord is there for its bass
		}
		if l, ok := g.low(); ok && int(l.midi)%12 == e.pal.bass && g.n > 1 {
			c *= w.RootLowest
		}
		add("no bass", c)
	}
	distinct := g.pcs.Len()
	if e.s.trio != noTrio && len(g.inner()) == 1 && !e.s.light {
		add("thin", w.Trio.OneVoice)
	}
	if e.s.trio == noTrio && distinct < 3 {
		add("thin", w.Thin*float64(3-distinct))
	}
	n := int(g.n)
	if b, ok := g.bass(); ok && g.tune && int(b.midi)%12 == e.pal.root && (g.note[0].midi-b.midi)%12 == 0 {
		n-- // the root under a tune on the root is no doubling
	}
	if n > distinct {
		c := w.DoubledThin
		if g.n >= 4 {
			c = w.Doubled
		}
		add("doubled", c*float64(n-distinct))
	}
	want := int8(usualNotes)
	if e.s.cadence {
		want = max(want, e.most) // a hand that plucks more shows it at a close
	}
	if e.s.trio == noTrio && e.s.room && g.n < want && (e.s.hasTune() || g.n < want-1) {
		c := w.Bare
		if e.s.cadence {
			c *= w.CadenceBare
		}
		add("room for more", c)
	}
	if e.s.resolves && e.pal.dom && e.s.coloured && e.s.mood == written && g.pcs.Has(e.pal.root+1) && g.pcs.Has(e.pal.root+4) && g.pcs.Has(e.pal.root+10) {
		add("flat nine leads on", -w.FlatNine)
	}
	if e.s.final {
		if b, ok := g.bass(); ok && b.midi > 48 {
			add("not a low root", w.FinalHigh*float64(b.midi-48))
		}
		if e.s.coloured && !g.pcs.Has(e.pal.root+9) && !g.pcs.Has(e.pal.root+2) && !g.pcs.Has(e.pal.root+11) {
			add("bare triad", w.FinalBare)
		}
	}
	colour := 0.0
	start := int8(0)
	if g.tune {
		start = 1
	}
	for i := start; i < g.n; i++ {
		pc := int(g.note[i].midi) % 12
		c := e.pal.cost[pc]
		if g.note[i].voice == Bass {
			c = min(c, w.BassColour)
		} else if pc == e.pal.root && g.n >= 3 {
			c += w.RootInside // the root sounds below already, or will
		}
		colour += c
	}
	add("colour", colour*w.Colour)
	if g.tune && g.n >= 3 && (g.note[0].midi-g.note[g.n-1].midi)%12 == 0 {
		add("octave between the outer voices", w.OuterOctave)
	}
	if g.tune && g.n >= 2 {
		gap := int(g.note[0].midi - g.note[1].midi)
		if gap > 12 && g.n >= 3 {
			add("hole under the tune", w.Hole+w.HoleMore*float64(gap-12))
		} else if gap > 12 {
			add("hole under the tune", w.HoleThin*float64(gap-12))
		}
		if gap <= 2 {
			add("close under the tune", w.CloseUnder)
		}
	}
	inner := g.inner()
	add("open strings inside a high grip", w.highOpens(g))
	for i := 1; i < len(inner); i++ {
		switch d := inner[i-1].midi - inner[i].midi; {
		case d == 1:
			add("semitone inside", w.Close)
		case d > 12:
			add("wide inside", w.Wide*float64(d-12))
		}
	}
	if len(inner) > 0 {
		if l := inner[len(inner)-1]; l.midi < 50 {
			add("low inner voice", w.LowInner*float64(50-l.midi))
		}
		if g.hasBass {
			if d := int(inner[len(inner)-1].midi) - int(g.note[g.n-1].midi); d < 5 {
				add("bass close below", w.BassClose)
			} else if d > 15 {
				add("bass far below", w.BassFar*float64(d-15))
			}
		}
	}
	if len(inner) == 0 && g.tune && e.s.trio == noTrio {
		add("no inner voice", w.NoInner)
	}
	if !e.isStep(g) {
		add("no scale step", w.NoStep)
	}
	add("fingers", w.Finger*g.ease)
	top := int8(0)
	for i := int8(0); i < g.n; i++ {
		top = max(top, g.note[i].fret)
	}
	if top > 10 {
		add("high on the neck", w.HighFret*float64(top-10))
	}
	add("tune's string", e.tuneString(g))
	if e.s.comp {
		add("comping", w.Comp.compCost(g))
	}
	if e.s.light && g.n >= 3 {
		add("little time", w.Full*float64(g.n-2))
	}
	if e.s.light && g.ease > w.Ease {
		add("little time", w.Full*(g.ease-w.Ease))
	}
	return total
}

func (e *enumerator) tuneString(g *grip) float64 {
	if !g.tune {
		return 0
	}
	c := 0.0
	if s := g.note[0].str; s > 2 {
		c = e.m.taste.LowTune * float64(s-2)
	}
	if g.note[0].fret == 0 {
		c += e.m.taste.TuneOpen
	}
	return c
}

// isStep reports whether the notes above a bass root are part of a voicing by
// scale step of one of the chord's scales.
func (e *enumerator) isStep(g *grip) bool {
	pcs := g.pcs
	if b, ok := g.bass(); ok && int(b.midi)%12 == e.pal.bass {
		pcs = 0
		for i := int8(0); i < g.n-1; i++ {
			pcs = pcs.With(int(g.note[i].midi))
		}
	}
	for _, s := range e.sets {
		if pcs&^s == 0 {
			return true
		}
	}
	return false
}

// prune keeps the best grips, and some of every position and place of the
// tune, so that the search has somewhere to go.
func (e *enumerator) prune() []grip {
	var count [maxPresses + 2][maxFret]int8 // by the tune's string and position
	var alone [maxPresses + 2]bool          // by the tune's string
	out := make([]grip, 0, e.m.maxN+maxPresses)
	var last *grip
	for _, g := range e.sorted() {
		if last != nil && *last == *g {
			continue
		}
		last = g
		str := int8(0)
		if g.tune {
			str = g.note[0].str
		}
		if g.n == 1 && g.tune {
			if !alone[str] {
				alone[str] = true
				out = append(out, *g)
			}
			continue
		}
		if len(out) >= e.m.maxN || count[str][g.pos] >= 7 {
			if g.cost < e.best+bites {
				e.cut = true
			}
			continue
		}
		count[str][g.pos]++
		out = append(out, *g)
	}
	return out
}

// compare is a total order: cost, then the notes.
func (g *grip) compare(h *grip) int {
	if c := cmp.Compare(g.cost, h.cost); c != 0 {
		return c
	}
	if c := cmp.Compare(g.n, h.n); c != 0 {
		return c
	}
	for i := int8(0); i < g.n; i++ {
		a, b := g.note[i], h.note[i]
		if c := cmp.Or(cmp.Compare(a.str, b.str), cmp.Compare(a.fret, b.fret), cmp.Compare(a.finger, b.finger), cmp.Compare(a.voice, b.voice)); c != 0 {
			return c
		}
	}
	return 0
}
