package voicing

import (
	"slices"
	"strings"

	"thumbline/theory"
)

// A turnaround is a small progression put where a part of the form ends on a
// chord of rest and the tune holds or rests: it leads to the chord of the next
// part (harmony.md 5.3, 5.4, 5.7). Their costs are the project's own.
type turnaround struct {
	// steps are its chords, roots as steps of the major scale on the root it
	// leads to, in small letters where the third is minor: "VI7 iim7 V7".
	steps string
	goals goal
	from  Tension // the least that it takes
	cost  float64
	// home says that it starts from the very root it leads to.
	home bool
}

// A goal is what a turnaround can lead to, as a set.
type goal uint8

const (
	goalMajor    goal = 1 << iota // a major chord, or a tonic with a flat seventh
	goalTonic                     // a minor chord of rest
	goalMinor                     // any other minor chord
	goalDominant                  // any other dominant
	goalHalf                      // a half-diminished chord
)

// turnaroundTable is in order of preference where costs are equal. Sources:
// vi ii V and the diminished a half step above the first, harmony.md 5.4 (S53);
// iii VI ii V and dominants falling by half steps, 5.7; iv bVII, 5.4 (S25);
// the dominant a half step above, 5.4 (S54); the others common practice, no
// source.
var turnaroundTable = []turnaround{
	{"VI7 iim7 V7", goalMajor, tensionMedium, 0, false},
	{"vim7 iim7 V7", goalMajor, tensionMedium, 0.15, false},
	{"#idim7 iim7 V7", goalMajor, tensionMedium, 0.1, true},
	{"biiidim7 iim7 V7", goalMajor, tensionMedium, 0.3, true},
	{"iiim7 VI7 iim7 V7", goalMajor, tensionMedium, 0, false},
	{"iim7 V7", goalMajor, tensionMedium, 0, false},
	{"ivm7 bVII7", goalMajor, tensionMedium, 0.3, true},
	{"bVI7 V7", goalMajor, tensionMedium, 0.45, true},
	{"V7", goalMajor | goalTonic | goalMinor | goalDominant, tensionMedium, 0, false},

	{"bVImaj7 iim7b5 V7", goalTonic, tensionMedium, 0, false},
	{"vim7b5 iim7b5 V7", goalTonic, tensionMedium, 0.15, false},
	{"bIIImaj7 bVImaj7 iim7b5 V7", goalTonic, tensionMedium, 0, false},
	{"ivm7 bVI7 V7", goalTonic, tensionMedium, 0.25, true},
	{"iim7b5 V7", goalTonic, tensionMedium, 0, false},
	{"bVI7 V7", goalTonic, tensionMedium, 0.3, true},

	{"bIII6 iim7 V7", goalMinor, tensionMedium, 0.2, false},
	{"bIIImaj7 iim7 V7", goalMinor, tensionMedium, 0.25, false},
	{"VI7 iim7 V7", goalMinor, tensionMedium, 0.3, false},
	{"iim7 V7", goalMinor | goalDominant, tensionMedium, 0, false},
	{"iim7b5 V7", goalMinor, tensionMedium, 0.1, false},
	{"iim7 biidim7", goalMinor, tensionMedium, 0.25, false},
	{"viidim7", goalMinor, tensionMedium, 0.1, false},

	{"bII7", goalDominant | goalHalf, tensionMedium, 0.2, false},

	{"VI7 bVI7 V7", goalMajor, tensionHigh, 0, true},
	{"bIII7 II7 bII7", goalMajor, tensionHigh, 0, true},
	{"bIIImaj7 bVImaj7 bIImaj7", goalMajor, tensionHigh, 0.2, true},
	{"bVImaj7 bIImaj7", goalMajor, tensionHigh, 0.2, true},
	{"VI7 iim7 bII7", goalMajor, tensionHigh, 0, false},
	{"iim7 bII7", goalMajor | goalMinor, tensionHigh, 0, false},
	{"iim7b5 bII7", goalTonic, tensionHigh, 0, false},
	{"bIII7 bVI7 bII7", goalTonic, tensionHigh, 0.1, true},
	{"bII7", goalMajor | goalTonic | goalMinor, tensionHigh, 0, false},
}

// plainTurnarounds are for sheets of triads and plain sevenths, where anything
// more would come from another music.
var plainTurnarounds = []turnaround{
	{"V7", goalMajor | goalTonic, tensionMedium, 0, false},
	{"IV V7", goalMajor, tensionMedium, 0.1, true},
	{"ivm V7", goalTonic, tensionMedium, 0.1, true},
}

// How long a chord of a turnaround lasts at least, and one that lasts for a
// single beat of three or four; in seconds.
const (
	shortestTurn      = 0.5
	shortestBeatChord = 0.8
)

// turnarounds puts them where the form and the tune leave room. With low
// tension the written chords stand alone; a sparse setting takes two chords at
// most. The same is not taken twice running where there is a choice.
func (s *score) turnarounds(t Tension, d Density, w *TurnTaste) {
	if t == tensionLow {
		return
	}
	used := map[string]int{}
	last := ""
	before := map[turnPlace]string{} // what comes again has the same
	for _, end := range s.partEnds() {
		r, ok := s.turnRoom(end)
		if !ok || !s.comesAgainSo(end) {
			continue
		}
		place := s.turnPlace(end)
		best, bestCost := turn{}, 0.0
		for _, x := range s.turnsFor(&r, t, d, w) {
			c := x.cost + w.Before*float64(used[x.steps])
			if x.steps == last {
				c += w.Again
			}
			if x.steps == before[place] {
				c = x.cost - sameTurn
			}
			if best.chords == nil || c < bestCost-1e-9 {
				best, bestCost = x, c
			}
		}
		if best.chords == nil {
			continue
		}
		last = best.steps
		before[place] = last
		used[last]++
		s.insert(&r, best)
	}
	s.findSilences()
}

// comesAgainSo reports whether the bar before end leads to the same chord as often
// as it comes: what closes a section does not differ from time to time. The last
// bar of the tune leads nowhere.
func (s *score) comesAgainSo(end Tick) bool {
	b := s.barAt(end - 1)
	to := s.chords[s.chordAt(end)].chord
	for k := range s.bars {
		if s.source[k] != s.source[b] || k == b || s.source[k] < 0 || s.comped(k) || k+1 >= s.form.ending || k+1 >= len(s.bars) {
			continue
		}
		other := end - s.start[b] + s.start[k]
		if n := s.chordAt(other); n < 0 || s.chords[n].chord != to || s.endsSection(other) != s.endsSection(end) {
			return false
		}
	}
	return true
}

// sameTurn is more than any turnaround costs.
const sameTurn = 1000

// A turnPlace is where a turnaround stands: the last bar, as the sheet has it,
// and what comes.
type turnPlace struct {
	source int
	to     theory.Chord
}

func (s *score) turnPlace(end Tick) turnPlace {
	p := turnPlace{source: s.source[s.barAt(end-1)]}
	if k := s.chordAt(end); k >= 0 {
		p.to = s.chords[k].chord
	}
	return p
}

// partEnds are the ticks at which the next part begins on its first full bar:
// the starts of sections after the first, and inside them every eight bars.
func (s *score) partEnds() []Tick {
	var ends []Tick
	from := Tick(-1) // where the section's full bars begin
	for i, b := range s.bars {
		if s.section[b.At] {
			from = -1
		}
		if b.Len < b.full() {
			continue // a pick-up, or what one completes
		}
		switch {
		case from < 0:
			from = b.At
			if i > 0 {
				ends = append(ends, b.At)
			}
		case (b.At-from)%(8*b.Len) == 0:
			ends = append(ends, b.At)
		}
	}
	return ends
}

// endsSection reports whether the part that begins at end is a section: it, or
// the pick-up into it, is where one starts.
func (s *score) endsSection(end Tick) bool {
	i := s.barAt(end)
	return s.section[end] || i > 0 && s.bars[i-1].Len < s.bars[i-1].full() && s.section[s.start[i-1]]
}

// full is how long a bar of this metre is.
func (b Bar) full() Tick { return Tick(b.Metre.Num) * 4 * PerQuarter / Tick(max(b.Metre.Den, 1)) }

// A turnRoom is where a turnaround may stand: from is its first moment, end
// where the next part begins, on the chord to.
type turnRoom struct {
	from, end Tick
	last      int // the same where its symbol was written last before end
	rest, to  theory.Chord
	goal      goal
	// plain says that the sheet has nothing but triads and plain sevenths, and
	// is no blues: it gets nothing else.
	plain bool
}

// turnRoom asks whether a part ends at end on a chord of rest with room after
// it: two beats of the chord stay, its tune note has a beat alone with it, and
// then only a pick-up may move.
func (s *score) turnRoom(end Tick) (r turnRoom, ok bool) {
	k, n := s.chordAt(end-1), s.chordAt(end)
	if k < 0 {
		return r, false
	}
	first := k // the chord of rest, where it comes in
	r = turnRoom{end: end, last: k, rest: s.chords[k].chord, to: s.chords[n].chord}
	for first > 0 && s.chords[first-1].chord == r.rest {
		first--
	}
	if r.to.NoChord || r.to.Slash || !s.rests(first, &r) {
		return r, false
	}
	if r.goal = s.goalOf(&r); r.goal == 0 {
		return r, false
	}
	r.plain = !s.coloured && r.rest.Kind != theory.Dominant
	bar := s.bars[s.barAt(end-1)]
	if !s.endsSection(end) && 4*(end-s.chords[first].at) < 7*bar.full() {
		return r, false // inside a section two bars say that something ends
	}
	r.from = s.chords[first].at + 2*unit(bar)
	moves := end // where the pick-up begins
	for i := s.tuneAt(end - 1); i >= 0; i-- {
		at := s.tune[i].at
		if end-at > bar.full()/2 {
			r.from = max(r.from, at+unit(bar))
			break
		}
		moves = at
	}
	// most of it is free of the tune
	return r, end-r.from >= unit(bar) && 2*(end-moves) <= end-r.from
}

// rests reports whether chord k is one to rest on: a tonic, its relative, or
// what a five has led to.
func (s *score) rests(k int, r *turnRoom) bool {
	c := r.rest
	if c.NoChord || c.Slash {
		return false
	}
	key := s.bars[s.barAt(r.end-1)].Key
	d := (c.RootPC() - key.Tonic.PC() + 12) % 12
	led := s.coloured && k > 0 && fallsFifth(s.chords[k-1].chord, c) && s.chords[k-1].chord.Tones.Has(4)
	switch c.Kind {
	case theory.Major:
		return c.Tones.Has(7) && (d == 0 || key.Minor && d == 3 || led)
	case theory.Minor:
		return key.Minor && d == 0 || led && (d == 9 || !c.Tones.Has(10))
	case theory.Dominant: // a blues rests on it
		return d == 0 && !key.Minor && r.to.Kind == theory.Dominant && r.to.RootPC() == c.RootPC()
	}
	return false
}

// goalOf is what the next part begins with, 0 where nothing leads.
func (s *score) goalOf(r *turnRoom) goal {
	key := s.bars[s.barAt(r.end)].Key
	tonic := r.to.RootPC() == key.Tonic.PC()
	switch r.to.Kind {
	case theory.Major:
		return goalMajor
	case theory.Minor:
		if key.Minor && tonic || !r.to.Tones.Has(10) && r.to.RootPC() == r.rest.RootPC() {
			return goalTonic
		}
		return goalMinor
	case theory.Dominant:
		if tonic && !key.Minor {
			return goalMajor
		}
		return goalDominant
	case theory.HalfDiminished:
		return goalHalf
	}
	return 0
}

// A turn is a turnaround in its place.
type turn struct {
	steps  string
	chords []chordSpan
	cost   float64
}

// turnsFor are the turnarounds that fit into the room and under the tune.
func (s *score) turnsFor(r *turnRoom, t Tension, d Density, w *TurnTaste) []turn {
	table := turnaroundTable
	if r.plain {
		table = plainTurnarounds
	}
	most := 4
	if d == densitySparse {
		most = 2
	}
	layouts := slices.DeleteFunc(s.turnLayouts(r), func(l turnLayout) bool { return len(l.starts) > most })
	room := 0
	for _, l := range layouts {
		room = max(room, len(l.starts))
	}
	var all []turn
	for _, x := range table {
		if x.goals&r.goal == 0 || t < x.from || x.home && r.rest.RootPC() != r.to.RootPC() {
			continue
		}
		steps := strings.Fields(x.steps)
		for _, l := range layouts {
			if len(l.starts) != len(steps) {
				continue
			}
			y, ok := s.turnAt(r, steps, l, w)
			if !ok {
				continue
			}
			y.cost += x.cost + w.Free*float64(room-len(steps))
			if t > x.from {
				y.cost += w.Tame
			}
			all = append(all, y)
		}
	}
	return all
}

// A turnLayout says when the chords of a turnaround begin.
type turnLayout struct {
	starts []Tick
	quick  bool // some last for a beat only
}

// turnLayouts are the ways to share the end of the room among chords: by half
// bars where a bar has two or four beats, else by bars; at slow tempi by beats.
func (s *score) turnLayouts(r *turnRoom) []turnLayout {
	bar := s.bars[s.barAt(r.end-1)]
	var out []turnLayout
	add := func(quick bool, beats ...int) {
		if quick && r.plain {
			return
		}
		l := turnLayout{starts: make([]Tick, len(beats)), quick: quick}
		at := r.end
		for i := len(beats) - 1; i >= 0; i-- {
			from := at - Tick(beats[i])*bar.Beat
			sec := s.seconds(from, at)
			if sec < shortestTurn || quick && beats[i] == 1 && sec < shortestBeatChord {
				return
			}
			at, l.starts[i] = from, from
		}
		if at >= r.from {
			out = append(out, l)
		}
	}
	n := int(bar.full() / bar.Beat)
	each := n
	switch n {
	case 2, 4:
		if s.seconds(r.end-Tick(n/2)*bar.Beat, r.end) >= shortestTurn {
			each = n / 2
		}
		if n == 4 {
			add(true, 1, 1)
			add(true, 1, 1, 2)
			add(true, 1, 1, 2, 2)
		}
	case 3:
		add(true, 1)
		add(true, 2, 1)
		add(true, 1, 1, 1)
		add(true, 3, 2, 1)
	}
	for n := 1; n <= 4; n++ {
		add(false, slices.Repeat([]int{each}, n)...)
	}
	return out
}

// turnAt puts the steps of a turnaround where a layout says; not ok where one
// of its chords grates on the tune, or where nothing would change.
func (s *score) turnAt(r *turnRoom, steps []string, l turnLayout, w *TurnTaste) (turn, bool) {
	x := turn{steps: strings.Join(steps, " ")}
	if l.quick {
		x.cost += w.Quick
	}
	before := r.rest
	for i, step := range steps {
		to, next, into := r.end, r.to, "into "+r.to.String()
		if i+1 < len(steps) {
			to = l.starts[i+1]
			next, into = stepChord(r.to, steps[i+1])
			into = "on the way to " + into
		}
		c, name := stepChord(r.to, step)
		if r.plain && !s.wrote(c) {
			return x, false // a plain sheet keeps to its own chords
		}
		c, cost, ok := s.underTune(c, l.starts[i], to, next, r, w)
		if !ok || c.RootPC() == before.RootPC() && c.Kind == before.Kind {
			return x, false
		}
		x.cost += cost + w.Foreign*float64(s.foreign(c, r.end))
		before = c
		x.chords = append(x.chords, chordSpan{at: l.starts[i], end: to, chord: c, added: "turnaround: " + name + " " + into})
	}
	return x, before.RootPC() != r.to.RootPC()
}

// wrote reports whether the sheet has a chord, with its seventh or without.
func (s *score) wrote(c theory.Chord) bool {
	for _, x := range s.written {
		if d := x.chord; !d.NoChord && d.RootPC() == c.RootPC() && d.Tones|degrees(10) == c.Tones|degrees(10) {
			return true
		}
	}
	return false
}

// foreign counts the notes of a chord outside the key at t; a minor key has its
// leading note.
func (s *score) foreign(c theory.Chord, t Tick) int {
	bar := s.barAt(t)
	in := s.keyPCs[bar]
	if key := s.bars[bar].Key; key.Minor {
		in = in.With(key.Tonic.PC() + 11)
	}
	return (c.PCs() &^ in).Len()
}

// turnTensions are the degrees over a chord of a turnaround that a held note of
// the tune may have beside the chord's own tones (harmony.md 3.4).
var turnTensions = map[theory.Kind]theory.PCSet{
	theory.Major:          degrees(2, 9),
	theory.Minor:          degrees(2, 5),
	theory.Dominant:       degrees(2, 6, 9),
	theory.HalfDiminished: degrees(5, 8),
	theory.Diminished:     degrees(2, 5, 8, 11),
}

// underTune fits a chord under the tune from a to b: what the tune sings of it
// is named in the chord, and the last dominant becomes a suspended one where
// its fourth is held. Not ok where the tune grates on it.
func (s *score) underTune(c theory.Chord, a, b Tick, next theory.Chord, r *turnRoom, w *TurnTaste) (theory.Chord, float64, bool) {
	beat := unit(s.bars[s.barAt(a)])
	cost := 0.0
	tones := c.Tones
	tensions := turnTensions[c.Kind]
	if c.Kind == theory.Dominant && fallsFifth(c, next) {
		tensions = tensions.With(1, 8) // else flat nine and thirteen would lead nowhere
	}
	for i := max(s.tuneAt(a), 0); i < len(s.tune) && s.tune[i].at < b; i++ {
		n := s.tune[i]
		from, to := max(n.at, a), min(n.end, b)
		if to <= from {
			continue
		}
		d := (n.midi - c.RootPC() + 12) % 12
		held := n.at <= a && to-from >= beat/2 || to-from >= beat
		switch {
		case tones.Has(d):
		case d == 3 && tones.Has(4), d == 4 && tones.Has(3):
			return c, 0, false // never the other third
		case held && d == 5 && b == r.end && c.Kind == theory.Dominant && !r.plain && c.Tones == degrees(0, 4, 7, 10):
			tones = degrees(0, 5, 7, 10)
			cost += w.Suspended
		case !r.plain && tensions.Has(d):
			cost += w.Tension
			if held && c.Kind == theory.Dominant {
				switch d {
				case 1, 2:
					tones = tones.With(d)
				case 6, 8: // in place of the fifth
					tones = tones.With(d) &^ degrees(7)
					cost += w.NoFifth
				}
				if (d == 2 || d == 9) && next.Kind == theory.Minor && !next.Tones.Has(10) {
					cost += w.WrongMode // of the major chord that does not come
				}
			}
		case held:
			return c, 0, false
		case r.plain && to-from >= beat/2:
			return c, 0, false
		default:
			cost += w.Passing
		}
	}
	if tones != c.Tones {
		c = theory.NewChord(c.Root, tones, c.Root)
	}
	return c, cost, true
}

// stepChord reads a step such as "bVI7" or "iim7b5" over the root of a chord,
// and how the step is called: "bVI", "ii", "#i dim".
func stepChord(to theory.Chord, step string) (theory.Chord, string) {
	num := strings.TrimLeft(step, "#b")
	alter := 0
	switch step[:len(step)-len(num)] {
	case "b":
		alter = -1
	case "#":
		alter = 1
	}
	suffix := strings.TrimLeft(num, "IViv")
	num = num[:len(num)-len(suffix)]
	degree := map[string]int{"I": 0, "II": 1, "III": 2, "IV": 3, "V": 4, "VI": 5, "VII": 6}[strings.ToUpper(num)]
	iv := theory.Interval{Steps: degree, Semitones: []int{0, 2, 4, 5, 7, 9, 11}[degree] + alter}
	name := strings.TrimSuffix(step, suffix)
	if strings.HasPrefix(suffix, "dim") {
		name += " dim"
	}
	q := theory.MustChord("C" + suffix)
	return theory.NewChord(to.Root, q.Tones, to.Root).Transpose(iv), name
}

// insert puts a turnaround into the chords: the chord of rest stays up to it,
// and comes back after it where the sheet goes on with it.
func (s *score) insert(r *turnRoom, x turn) {
	at := x.chords[0].at
	var out []chordSpan
	back := s.chords[r.last]
	for _, c := range s.chords[:r.last+1] {
		if c.at < at {
			c.end = min(c.end, at)
			out = append(out, c)
		}
	}
	out = append(out, x.chords...)
	if back.end > r.end {
		back.at = r.end
		out = append(out, back)
	}
	s.chords = append(out, s.chords[r.last+1:]...)
}

// needsRoot reports whether chord k is one of a turnaround that is not known by
// anything but its root: a dominant that falls a fifth leads with its third as
// well.
func (s *score) needsRoot(k int) bool {
	c := s.chords[k]
	return c.added != "" && !(c.chord.Kind == theory.Dominant && k+1 < len(s.chords) && fallsFifth(c.chord, s.chords[k+1].chord))
}

// added are the chords that the sheet has no symbol for.
func (s *score) added() []chordSpan {
	var out []chordSpan
	for _, c := range s.chords {
		if i := spanAt(s.written, c.at); i < 0 || s.written[i].at != c.at || c.added != "" {
			out = append(out, c)
		}
	}
	return out
}
