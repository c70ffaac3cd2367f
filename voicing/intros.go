package voicing

import (
	"fmt"
	"slices"
	"strings"

	"thumbline/theory"
)

// introductions are those of a kind, the one that suits best first.
func (f *frame) introductions(kind string) []passage {
	o := newOpening(f)
	var all []passage
	switch kind {
	case "last":
		all = o.lasts()
	case "pedal":
		all = o.pedals()
	case "vamp":
		all = o.vamps()
	}
	// what lies on no string of this neck is no introduction for it
	return slices.DeleteFunc(all, func(p passage) bool {
		return slices.ContainsFunc(p.notes, func(n theory.Note) bool { return !o.onNeck(n.Pitch.MIDI()) })
	})
}

func (o *opening) onNeck(midi int) bool { return len(o.f.neck.Stops(midi)) > 0 }

// An opening is what an introduction leads into.
type opening struct {
	f       *frame
	key     theory.Key
	full    theory.Bar  // the first full bar
	beat    theory.Time // of its metre
	bar     theory.Time // how long a full bar is
	unit    theory.Time // how long a chord of a turnaround lasts
	pickup  theory.Time // what the tune has before its first full bar
	barTime float64     // how long a full bar is, in seconds
	first   int         // the tune's first note
	target  theory.Chord
	mode    mode
	scale   theory.PCSet
	lo, hi  int // where its top line may lie
	middle  float64
}

// A mode is what a progression is chosen by.
type mode uint8

const (
	major mode = iota
	minor
	dorian
	mixolydian
	phrygian
)

// slowBar is from where on a bar is slow, in seconds: its lines are calmer, and two
// are as long as four.
const slowBar = 3.2

// shortestUnit is how long a chord of a turnaround lasts at least, in seconds;
// where half a bar is shorter, each has a bar.
const shortestUnit = 0.75

func newOpening(f *frame) *opening {
	t := f.tune
	o := &opening{f: f, first: t.Melody[0].Pitch.MIDI()}
	o.full, o.pickup = fullBar(t)
	o.key, o.beat, o.bar = o.full.Key, theory.BeatOf(o.full.Metre), o.full.Metre.BarLen()
	if !o.pickup.Less(o.bar) {
		o.pickup = theory.Time{}
	}
	bpm := 120.0
	if len(t.Tempi) > 0 {
		bpm = t.Tempi[0].BPM
	}
	o.barTime = o.bar.Float() * 60 / bpm
	o.unit = o.bar
	if o.beats()%2 == 0 && o.barTime/2 >= shortestUnit {
		o.unit = o.bar.Mul(1, 2)
	}
	for _, c := range t.Changes {
		if !c.Chord.NoChord && o.full.At.Less(c.At.Add(c.Len)) {
			o.target = c.Chord
			break
		}
	}
	inC := theory.Name{Letter: theory.C}
	major0 := theory.Key{Tonic: inC}.Transpose(theory.IntervalBetween(inC, o.key.Tonic)).Fifths
	switch d := o.key.Fifths - major0; {
	case o.key.Minor && d == -2:
		o.mode = dorian
	case o.key.Minor && d <= -4:
		o.mode = phrygian
	case o.key.Minor:
		o.mode = minor
	case d == -1:
		o.mode = mixolydian
	}
	o.scale = signaturePCs(o.key.Fifths)
	if o.target.Tones == 0 {
		o.target = chordsFor(o.key.Tonic, "C")[0]
	}
	// A line of its own where the tune's beginning lies, on the two high strings.
	sum, lasts := 0.0, 0.0
	for _, n := range t.Melody {
		if o.full.At.Add(o.bar.Mul(mostLast, 1)).Less(n.At) {
			break
		}
		sum, lasts = sum+n.Len.Float()*float64(n.Pitch.MIDI()), lasts+n.Len.Float()
	}
	o.middle = sum / max(lasts, 1e-9)
	o.middle = min(max(o.middle, 64), 73)
	o.lo, o.hi = max(59, f.neck.Low()+12, min(o.first-2, int(o.middle)-6)), min(77, f.neck.High(), max(o.first+2, int(o.middle)+7))
	o.hi = max(o.hi, o.lo+7)
	return o
}

// beats is how many there are in a full bar, 0 where they do not fill it.
func (o *opening) beats() int { return wholes(o.bar, o.beat) }

func (o *opening) compound() bool { return o.beat == theory.Quarters(3, 2) }

// chordsFor are chords that are written for C, moved to another root.
func chordsFor(root theory.Name, text string) (out []theory.Chord) {
	iv := theory.IntervalBetween(theory.Name{Letter: theory.C}, root)
	for _, s := range strings.Fields(text) {
		out = append(out, theory.MustChord(s).Transpose(iv))
	}
	return out
}

// home reports whether the tune begins on its tonic.
func (o *opening) home() bool { return o.target.RootPC() == o.key.Tonic.PC() }

// five is the dominant of the tune's first chord.
func (o *opening) five() theory.Chord {
	text := "G7"
	if minor := o.target.Kind == theory.Minor || o.target.Kind == theory.HalfDiminished; minor && (!o.f.plain || o.home() && o.mode == phrygian) {
		text = "G7b9"
	}
	return chordsFor(o.target.Root, text)[0]
}

// A pulse is a place for a note of a top line.
type pulse struct{ at, len theory.Time }

// A cell is the rhythm of a bar, in twelfths of a beat: start and length.
type cell [][2]int64

// cells are the rhythms of bars for top lines, the first for a riff, the second
// calmer, the third for what leads on.
func (o *opening) cells() [3]cell {
	slow := o.barTime > slowBar
	switch n := o.beats(); {
	case n == 4 && !o.compound():
		if slow {
			return [3]cell{{{0, 24}, {24, 12}, {36, 12}}, {{0, 36}, {36, 12}}, {{0, 24}, {24, 24}}}
		}
		return [3]cell{{{0, 18}, {18, 18}, {36, 12}}, {{0, 18}, {18, 30}}, {{0, 12}, {12, 12}, {24, 24}}}
	case n == 3 && !o.compound():
		return [3]cell{{{0, 12}, {12, 12}, {24, 12}}, {{0, 36}}, {{0, 24}, {24, 12}}}
	case n == 2 && o.compound():
		return [3]cell{{{0, 8}, {8, 4}, {12, 12}}, {{0, 24}}, {{0, 12}, {12, 8}, {20, 4}}}
	case n == 2:
		return [3]cell{{{0, 9}, {9, 3}, {12, 12}}, {{0, 9}, {9, 15}}, {{0, 12}, {12, 12}}}
	case n > 0:
		var even cell
		for i := range int64(n) {
			even = append(even, [2]int64{12 * i, 12})
		}
		led := even
		if n > 2 {
			led = append(even[:n-2:n-2], [2]int64{12 * int64(n-2), 24})
		}
		return [3]cell{led, {{0, 12 * int64(n)}}, even}
	}
	whole := ratio(o.bar, o.beat).Mul(12, 1)
	if whole.Den() != 1 {
		whole = theory.Quarters(12, 1)
	}
	c := cell{{0, 12}, {12, whole.Num() - 12}}
	if whole.Num() <= 12 {
		c = cell{{0, whole.Num()}}
	}
	return [3]cell{c, c, c}
}

// pulses lays cells out from a time on, a bar each, and ends at the end.
func (o *opening) pulses(from, end theory.Time, cells ...cell) []pulse {
	var out []pulse
	for i, c := range cells {
		at := from.Add(o.bar.Mul(int64(i), 1))
		for _, x := range c {
			s := pulse{at.Add(o.beat.Mul(x[0], 12)), o.beat.Mul(x[1], 12)}
			if s.at.Less(end) {
				s.len = shorter(s.len, end.Sub(s.at))
				out = append(out, s)
			}
		}
	}
	return out
}

// fits is what a pitch costs as the top note over a chord; more than a little
// where it rubs.
func (o *opening) fits(midi int, c theory.Chord, short bool) float64 {
	if c.NoChord {
		return 1
	}
	d := (midi - c.RootPC() + 120) % 12
	if c.Slash { // a pedal: its octave says little, a flat nine without its dominant rubs
		switch b := c.BassPC(); (midi - b + 120) % 12 {
		case 0:
			return 0.9
		case 1:
			if over := c.PCs(); !over.Has(b+4) || !over.Has(b+10) {
				return 6
			}
		}
	}
	if c.Tones.Has(d) {
		switch {
		case d == 3 || d == 4:
			return 0
		case d == 0:
			return 0.4
		case d == 7:
			return 0.3
		}
		return 0.1
	}
	if short {
		if o.scale.Has(midi) || c.IsDominant() && d == 11 {
			return 0.3
		}
		return 2
	}
	if !o.scale.Has(midi) || c.Tones.Has(d-1) || d < 11 && c.Tones.Has(d+1) || c.IsDominant() && d == 5 {
		return 6
	}
	if d == 2 || d == 9 {
		return 0.25
	}
	return 0.8
}

// introStep is what it costs a line of an introduction to go from one pitch to
// another: a note that is struck again says less than one that moves. In an ending
// (stepCost) a tone may be held over changing chords.
func introStep(a, b int) float64 {
	switch d := absInt(a - b); d {
	case 0:
		return 1.1
	case 1, 2:
		return 0
	case 3, 4:
		return 0.7
	case 5:
		return 1.3
	case 7:
		return 2
	default:
		return 2 + 0.4*float64(d)
	}
}

// next is what it costs a last note that the tune begins where it does: it lies
// a step from it.
func (o *opening) next(p int) float64 {
	switch absInt(p - o.first) {
	case 1, 2:
		return 0
	case 0, 3, 4:
		return 1.2
	case 5:
		return 2
	}
	return 4
}

// A course is how a line goes: near to a contour, which has its pitch from the
// beginning, 0, to the end, 1.
type course struct {
	from    int  // its first pitch, 0 for any
	round   bool // it goes round to its beginning, else it leads to the tune's first note
	firm    bool // it keeps closer to its contour
	contour func(x float64) float64
}

// What a half step away from its contour costs a line.
const (
	loosePull = 0.18
	firmPull  = 2 * loosePull
)

// sing finds a line through the pulses over the chords, by steps mostly.
func (o *opening) sing(pulses []pulse, chords []passageChord, w course) []int {
	if len(pulses) == 0 {
		return nil
	}
	pull := loosePull
	if w.firm {
		pull = firmPull
	}
	n := o.hi - o.lo + 1
	stay := make([][]float64, len(pulses))
	for i, s := range pulses {
		stay[i] = make([]float64, n)
		end := s.at.Add(s.len)
		short := s.len.Less(o.beat)
		x := 0.0
		if len(pulses) > 1 {
			x = float64(i) / float64(len(pulses)-1)
		}
		for p := range n {
			for _, c := range chords {
				a, b := c.At, c.At.Add(c.Len)
				if a.Less(s.at) {
					a = s.at
				}
				if end.Less(b) {
					b = end
				}
				if a.Less(b) {
					stay[i][p] += o.fits(o.lo+p, c.Chord, short) * b.Sub(a).Float() / s.len.Float() * 1.5
				}
			}
			if !o.onNeck(o.lo + p) {
				stay[i][p] += 1e6
			}
			stay[i][p] += pull * abs(float64(o.lo+p)-w.contour(x))
		}
	}
	var best []int
	bestCost := 1e18
	for p0 := range n {
		if w.from != 0 && o.lo+p0 != w.from {
			continue
		}
		cost := make([]float64, n)
		back := make([][]int, len(pulses))
		for p := range cost {
			cost[p] = 1e9
		}
		cost[p0] = stay[0][p0]
		for i := 1; i < len(pulses); i++ {
			now := make([]float64, n)
			back[i] = make([]int, n)
			for p := range n {
				now[p] = 1e18
				for q := range n {
					if c := cost[q] + introStep(o.lo+q, o.lo+p); c < now[p] {
						now[p], back[i][p] = c, q
					}
				}
				now[p] += stay[i][p]
			}
			cost = now
		}
		for p := range n {
			c := cost[p]
			if w.round {
				c += introStep(o.lo+p, o.lo+p0)
			} else {
				c += o.next(o.lo + p)
			}
			if c >= bestCost {
				continue
			}
			bestCost = c
			best = make([]int, len(pulses))
			for i, q := len(pulses)-1, p; i >= 0; i-- {
				best[i] = o.lo + q
				if i > 0 {
					q = back[i][q]
				}
			}
		}
	}
	return best
}

// notes are pitches at their pulses.
func (o *opening) notes(pulses []pulse, pitches []int) []theory.Note {
	var out []theory.Note
	for i, s := range pulses {
		out = append(out, theory.Note{At: s.at, Len: s.len, Pitch: theory.PitchOf(pitches[i], o.key)})
	}
	return out
}

// Contours of a line, from its beginning to its end; they end near the tune's
// first note.
func (o *opening) falling(x float64) float64 {
	from := min(max(o.middle+4, float64(o.first)+5), float64(o.hi)-1)
	return from + (float64(o.first)+1-from)*x
}

func (o *opening) rising(x float64) float64 {
	from := max(min(o.middle-4, float64(o.first)-5), float64(o.lo)+1)
	return from + (float64(o.first)-1-from)*x
}

func (o *opening) level(float64) float64 { return o.middle }

// shape is passed for rising where there is room below the tune's first note,
// else falling.
func (o *opening) shape(up bool) func(float64) float64 {
	if up && o.first-o.lo >= 4 || o.hi-o.first < 4 {
		return o.rising
	}
	return o.falling
}

// barsFor divides a length into bars; the last leaves room for the pick-up.
func (o *opening) barsFor(n int) []theory.Time {
	var out []theory.Time
	for i := range n {
		d := o.bar
		if i == n-1 {
			d = d.Sub(o.pickup)
		}
		out = append(out, d)
	}
	return out
}

// lay puts chords one after the other, unit by unit, and cuts them at the end.
// What is left of the last bar is its dominant's where the pick-up has taken the
// place of the dominant itself.
func (o *opening) lay(chords []theory.Chord, unit, end theory.Time) []passageChord {
	var out []passageChord
	for i, c := range chords {
		at := unit.Mul(int64(i), 1)
		if !at.Less(end) {
			if k := len(out) - 1; i == len(chords)-1 && k >= 0 {
				out[k].Chord = c
			}
			continue
		}
		d := shorter(unit, end.Sub(at))
		if k := len(out) - 1; k >= 0 && out[k].Chord.String() == c.String() {
			out[k].Len = out[k].Len.Add(d)
			continue
		}
		out = append(out, passageChord{Change: theory.Change{At: at, Len: d, Chord: c}})
	}
	return out
}

// symbols are chords as a player reads them.
func symbols(cs []theory.Chord) string {
	var out []string
	for i, c := range cs {
		if i == 0 || c.String() != cs[i-1].String() {
			out = append(out, c.String())
		}
	}
	return strings.Join(out, " ")
}

// uppers are the chords over a pedal, each named once.
func uppers(cs []theory.Chord) string {
	var out []string
	for _, c := range cs {
		name, _, _ := strings.Cut(c.String(), "/")
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return strings.Join(out, " ")
}

// turns are the progressions of vamps, written for C.
func (o *opening) turns() []string {
	switch {
	case o.mode == mixolydian && o.f.plain:
		return []string{"C C Bb Bb", "C Bb F C", "C F Bb C"}
	case o.mode == mixolydian:
		return []string{"C7 Bb C7 Gm7", "C7 Bb F C7", "C7 C7 Bb Bb"}
	case o.mode == dorian && o.f.plain:
		return []string{"Cm Cm Bb Bb", "Cm F Cm Bb", "Cm Gm Bb Cm"}
	case o.mode == dorian:
		return []string{"Cm7 F7 Cm7 F7", "Cm7 Dm7 Eb6 Dm7", "Cm7 Cm7 Bb6 F7"}
	case o.mode == phrygian:
		return []string{"Cm Db Cm Bbm", "Cm Bbm Ab Bbm", "Cm Cm Db Db"}
	case o.mode == minor && o.f.plain:
		return []string{"Cm Cm Fm G7", "Cm Bb Ab G7", "Cm G7 Cm G7"}
	case o.mode == minor:
		return []string{"Cm6 Ab7 Dm7b5 G7b9", "Cm6 Am7b5 Dm7b5 G7b9", "Cm7 Bb7 Abmaj7 G7b9"}
	case o.f.plain:
		return []string{"C C F G7", "C F C G7", "C Am F G7"}
	}
	return []string{"C6 A7 Dm7 G7", "C6 C#dim7 Dm7 G7", "Em7 A7b9 Dm7 G7", "C6 Eb7 Dm7 Db7"}
}

// longestTurn is how long a turn of a vamp may last for it to be played twice,
// in seconds.
const longestTurn = 10

// vamps turn a few chords round under a riff, and lead on the last time.
func (o *opening) vamps() []passage {
	var out []passage
	cs := o.cells()
	for i, text := range o.turns() {
		turn := chordsFor(o.key.Tonic, text)
		unit := o.unit
		length := unit.Mul(int64(len(turn)), 1)
		bars := int(ratio(length, o.bar).Num())
		times := 2
		if o.barTime*float64(bars) > longestTurn {
			times = 1
		}
		all := slices.Repeat(turn, times)
		if !o.home() {
			all[len(all)-1] = o.five()
		}
		total := o.bar.Mul(int64(times*bars), 1)
		end := total.Sub(o.pickup)
		chords := o.lay(all, unit, end)
		// the riff: one bar's rhythm and its answer, the same in every turn
		a, b := cs[i%2], cs[1-i%2]
		if i == 2 {
			a, b = cs[2], cs[1]
		}
		var pattern []cell
		for k := range bars {
			pattern = append(pattern, []cell{a, b}[k%2])
		}
		round := o.pulses(theory.Time{}, total, pattern...)
		riff := o.sing(round, o.lay(turn, unit, length), course{round: true, contour: o.level})
		notes := []theory.Note{}
		for k := range times {
			from := length.Mul(int64(k), 1)
			if k < times-1 {
				ss := o.pulses(from, end, pattern...)
				notes = append(notes, o.notes(ss, riff)...)
				continue
			}
			// the last time its last bar leads to the tune
			lead := append(pattern[:bars-1:bars-1], cs[2])
			ss := o.pulses(from, end, lead...)
			keep := len(o.pulses(from, end, pattern[:bars-1]...))
			notes = append(notes, o.notes(ss[:keep], riff[:keep])...)
			if rest := ss[keep:]; len(rest) > 0 {
				start := 0
				if keep < len(riff) && len(rest) > 1 {
					start = riff[keep]
				}
				notes = append(notes, o.notes(rest, o.sing(rest, chords, course{from: start, contour: o.level}))...)
			}
		}
		name := fmt.Sprintf("a vamp, %s", symbols(turn))
		if times > 1 {
			name += ", two times"
		}
		out = append(out, passage{name: name, bars: o.barsFor(times * bars), notes: notes, chords: chords})
	}
	return out
}

// pedals hold the dominant under moving chords.
func (o *opening) pedals() []passage {
	var rows []string
	switch {
	case o.f.plain && o.key.Minor:
		rows = []string{"Cm/G Fm/G Cm/G G7", "Fm/G Cm/G Fm/G G7", "Cm/G Bb/G Ab/G G7"}
	case o.f.plain:
		rows = []string{"C/G F/G C/G G7", "F/G C/G F/G G7", "C/G Am/G F/G G7"}
	case o.key.Minor:
		rows = []string{"Cm6/G Bdim7/G Cm6/G Bdim7/G Cm6/G Bdim7/G Cm6/G G7b9", "Fm6/G Cm6/G Fm6/G G7b9", "Ab6/G Fm6/G Ab6/G G7b9"}
	default:
		rows = []string{"C6/G Bdim7/G C6/G Bdim7/G C6/G Bdim7/G C6/G G7", "F6/G Bdim7/G C6/G G7", "Ab6/G F6/G Ab6/G G7"}
	}
	bars := 4
	if o.barTime > slowBar && o.unit != o.bar {
		bars = 2
	}
	total := o.bar.Mul(int64(bars), 1)
	m := o.f.maker()
	var out []passage
	for i, text := range rows {
		all := chordsFor(o.key.Tonic, text)
		// no chord shorter than those of a turnaround; the last is the dominant
		if n := int(ratio(total, o.unit).Num()); n < len(all) {
			all = append(all[:n-1:n-1], all[len(all)-1])
		}
		unit := total.Mul(1, int64(len(all)))
		end := total.Sub(o.pickup)
		chords := o.lay(all, unit, end)
		ss := o.over(chords)
		// it goes somewhere while the bass stands
		line := o.sing(ss, chords, course{firm: true, contour: o.shape(i%2 == 0 && o.first-o.lo >= o.hi-o.first)})
		o.hold(m, chords, ss, line)
		out = append(out, passage{name: "a pedal on " + all[0].Bass.String() + " under " + uppers(all), bars: o.barsFor(bars), notes: o.notes(ss, line), chords: chords})
	}
	return out
}

// over is a line that moves with the chords: a note at each, and between two
// where they are far apart, more so under every second.
func (o *opening) over(chords []passageChord) []pulse {
	var out []pulse
	var spans []pulse
	for _, c := range chords {
		for at, end := c.At, c.At.Add(c.Len); at.Less(end); {
			bars := ratio(at, o.bar)
			d := shorter(end.Sub(at), o.bar.Mul(bars.Num()/bars.Den()+1, 1).Sub(at))
			spans = append(spans, pulse{at, d})
			at = at.Add(d)
		}
	}
	for i, c := range spans {
		at, d := c.at, c.len
		var parts []theory.Time
		switch n := ratio(d, o.beat).Float(); {
		case n >= 4:
			parts = []theory.Time{d.Mul(1, 2), d.Mul(1, 4), d.Mul(1, 4)}
		case n >= 3:
			parts = []theory.Time{o.beat.Mul(2, 1), d.Sub(o.beat.Mul(2, 1))}
		case n >= 2 && (i%2 == 1 || i == len(spans)-1):
			parts = []theory.Time{o.beat, d.Sub(o.beat)}
		default:
			parts = []theory.Time{d}
		}
		for _, x := range parts {
			out = append(out, pulse{at, x})
			at = at.Add(x)
		}
	}
	return out
}

// hold asks for grips over one low dominant, which are led by step from one to
// the next. Where no hand can hold any, the arranger chooses.
func (o *opening) hold(m *maker, chords []passageChord, ss []pulse, line []int) {
	tops := make([]int, len(chords))
	for i, c := range chords {
		for k, s := range ss {
			if s.at == c.At {
				tops[i] = line[k]
			}
		}
	}
	bestCost := 1e18
	var best [][]int
	for bass := o.f.neck.Low(); bass <= highestPedal; bass++ {
		if (bass-chords[0].Chord.BassPC())%12 != 0 {
			continue
		}
		if way, cost := o.lead(m, chords, tops, bass); cost < bestCost {
			best, bestCost = way, cost
		}
	}
	for i := range best {
		chords[i].voicing, chords[i].free = best[i], true
	}
}

// highestPedal is as high as a pedal still is a bass: G3.
const highestPedal = 55

// A lying is a chord as it may lie over the pedal.
type lying struct {
	pitches []int
	cost    float64
	total   float64
	from    int
}

// lead finds how chords lie over a bass and under a line, each near the one
// before.
func (o *opening) lead(m *maker, chords []passageChord, tops []int, bass int) ([][]int, float64) {
	var ways [][]lying
	for i, c := range chords {
		all := o.lyings(m, c.Chord, tops[i], bass)
		if len(all) == 0 {
			all = []lying{{cost: 12}}
		}
		for k := range all {
			x := &all[k]
			x.total, x.from = x.cost, -1
			if i == 0 {
				continue
			}
			least := 1e18
			for j, y := range ways[i-1] {
				d := y.total
				a, b := y.pitches, x.pitches
				for n := 2; n < len(a) && n < len(b); n++ { // inner voices from the top
					d += 0.15 * float64(absInt(a[len(a)-n]-b[len(b)-n]))
				}
				if len(a) != len(b) {
					d += 0.4
				}
				if d < least {
					least, x.from = d, j
				}
			}
			x.total += least
		}
		ways = append(ways, all)
	}
	end, cost := 0, 1e18
	for k, x := range ways[len(ways)-1] {
		if x.total < cost {
			end, cost = k, x.total
		}
	}
	out := make([][]int, len(chords))
	for i := len(ways) - 1; i >= 0; i-- {
		out[i] = ways[i][end].pitches
		end = ways[i][end].from
	}
	return out, cost
}

// lyings are the ways to lay one or two inner voices of a chord between a bass
// and a top note that a hand can hold.
func (o *opening) lyings(m *maker, c theory.Chord, top, bass int) []lying {
	var tones []int
	for p := bass + 3; p <= top-2; p++ {
		if d := (p - c.RootPC() + 120) % 12; c.Tones.Has(d) && p >= top-16 && (p-bass)%12 != 0 && (top-p)%12 != 0 && (top-p)%12 != 1 {
			tones = append(tones, p)
		}
	}
	guides := c.GuideTones()
	var out []lying
	try := func(inner ...int) {
		ps := append([]int{bass}, inner...)
		ps = append(ps, top)
		x := lying{pitches: ps}
		pcs := theory.PCSet(0).With(ps...)
		for k := 0; k+1 < len(ps); k++ {
			d := ps[k+1] - ps[k]
			switch {
			case muddy(ps[k], ps[k+1]):
				return
			case k > 0 && d == 1:
				x.cost += 1
			case k > 0 && d > 9:
				x.cost += 0.15 * float64(d-9)
			}
			for _, q := range ps[k+1:] {
				if k > 0 && (q-ps[k])%12 == 1 && q-ps[k] > 1 {
					return // a minor ninth; over the pedal it is what moves
				}
			}
		}
		for _, g := range guides {
			if !pcs.Has(g) {
				x.cost += 5
			}
		}
		if over := pcs.Rotate(-bass % 12); over.Has(1) && !(over.Has(4) && over.Has(10)) {
			return // a flat nine wants the third and the seventh of its dominant
		}
		if len(ps) == 4 && pcs.Len() < 4 {
			x.cost += 1.5 // one of four doubled
		}
		if len(inner) == 1 && c.Tones.Len() > 3 {
			x.cost += 1.2
		}
		n := 0
		for _, d := range c.Tones.Members() {
			if pcs.Has(c.RootPC() + d) {
				n++
			}
		}
		x.cost += 0.5 * float64(max(0, 3-n))
		g := m.exact(ps, true)
		if len(g) == 0 {
			return
		}
		x.cost += 0.5 * g[0].cost
		out = append(out, x)
	}
	for i, a := range tones {
		try(a)
		for _, b := range tones[i+1:] {
			try(a, b)
		}
	}
	return out
}

// mostLast is how many bars of the tune an introduction takes.
const mostLast = 4

// lasts take the tune's last bars and lead them into its beginning.
func (o *opening) lasts() []passage {
	t := o.f.tune
	n := len(t.Bars)
	arrival := t.BarAt(o.f.last.At) // where the last note comes
	var out []passage
	whole := o.ending(n)
	// what leads to C, the last chords first to be taken
	turns := []string{"Em7 A7 Dm7 G7", "C6 C#dim7 Dm7 G7", "Em7 Eb7 Dm7 Db7"}
	switch {
	case o.f.plain && o.target.Kind == theory.Minor:
		turns = []string{"Cm Cm Fm G7", "Cm Bb Ab G7"}
	case o.f.plain:
		turns = []string{"C C F G7", "C Am Dm G7"}
	case o.target.Kind == theory.Minor || o.target.Kind == theory.HalfDiminished:
		turns = []string{"Cm6 Am7b5 Dm7b5 G7b9", "Cm6 Ab7 Dm7b5 G7b9", "Eb6 D7 Ab7 Db7"}
	}
	for _, text := range turns {
		p, ok := o.lastBars(whole, n, chordsFor(o.target.Root, text))
		if ok && !slices.ContainsFunc(out, func(q passage) bool { return q.name == p.name }) {
			out = append(out, p)
		}
	}
	if o.f.last.At == t.Bars[arrival].At && arrival > 1 {
		if p, ok := o.lastBars(o.ending(arrival), arrival, []theory.Chord{o.five()}); ok {
			p.name = "the last phrase, up to its arrival"
			rank := 0
			if o.f.last.Len.Less(o.bar.Mul(3, 2)) {
				rank = min(1, len(out))
			}
			out = slices.Insert(out, rank, p)
		}
	}
	return out
}

// ending is where the last bars before a bar begin; the same as the bar where
// they have not all the metre and length of the tune's first.
func (o *opening) ending(bar int) int {
	bars := o.f.tune.Bars
	from := bar
	for from > 0 && bar-from < mostLast {
		b := bars[from-1]
		if b.IsPickup() || b.Metre != o.full.Metre || b.Len != o.bar && from != bar {
			break
		}
		from--
	}
	return from
}

// tooHigh reports whether bars moved by an interval lie higher than the tune
// itself goes, or more than a fifth above where they are.
func (o *opening) tooHigh(from, to int, iv theory.Interval) bool {
	bars := o.f.tune.Bars
	top, there := 0, 0
	for _, n := range o.f.tune.Melody {
		p := n.Pitch.MIDI()
		top = max(top, p)
		if !n.At.Less(bars[from].At) && n.At.Less(bars[to-1].At.Add(bars[to-1].Len)) {
			there = max(there, p+iv.Semitones)
		}
	}
	return iv.Semitones > 6 || iv.Semitones > 0 && there > top
}

// lastBars are the tune's bars [from, to) with a turn of some chords, the last
// of them at least, that leads to the tune's first; not ok where there are too
// few.
func (o *opening) lastBars(from, to int, turn []theory.Chord) (passage, bool) {
	t := o.f.tune
	if to-from < 2 {
		return passage{}, false
	}
	var zero theory.Time
	start := t.Bars[from].At
	end := o.bar.Mul(int64(to-from), 1).Sub(o.pickup)
	x := passage{bars: o.barsFor(to - from)}
	// the key of the end may be another than that of the beginning
	iv := theory.IntervalBetween(t.Bars[from].Key.Tonic, o.key.Tonic)
	if o.tooHigh(from, to, iv) {
		iv = iv.Octaves(-1)
	}
	for _, n := range t.Melody {
		at, d, ok := since(start, n.At, n.Len)
		if !ok || n.At.Less(start) && d.Less(o.beat) {
			continue
		}
		n.At, n.Len, n.Pitch, n.Grace = at, d, n.Pitch.Transpose(iv), nil
		x.notes = append(x.notes, n)
	}
	for _, c := range t.Changes {
		if at, d, ok := since(start, c.At, c.Len); ok {
			x.chords = append(x.chords, passageChord{Change: theory.Change{At: at, Len: d, Chord: c.Chord.Transpose(iv)}})
		}
	}
	x.cut(end)
	if len(x.notes) == 0 || len(x.chords) == 0 {
		return passage{}, false
	}
	last := x.notes[len(x.notes)-1]
	lead := x.chords[len(x.chords)-1].Chord
	if len(turn) == 1 && (fallsFifth(lead, o.target) || lead.IsDominant() && (lead.RootPC()-o.target.RootPC()+12)%12 == 1) {
		return x, true // it leads there by itself
	}
	// the turn begins a beat after the last note at the earliest
	hold := last.At.Add(o.beat)
	units := 0
	for units < len(turn) && !end.Sub(o.unit.Mul(int64(units), 1)).Add(o.pickup).Less(hold.Add(o.unit)) {
		units++
	}
	total := o.bar.Mul(int64(to-from), 1)
	from0 := total.Sub(o.unit.Mul(int64(units), 1))
	if units == 0 || !from0.Less(end) { // all that is left of the last bar
		units, from0 = 1, total.Sub(o.unit)
		if !from0.Less(end) {
			from0 = end.Sub(o.beat)
		}
	}
	if !zero.Less(from0) {
		return passage{}, false
	}
	turn = turn[len(turn)-units:]
	x.name = fmt.Sprintf("the tune's last bars, then %s", symbols(turn))
	x.cut(from0)
	unit := o.unit
	if units == 1 {
		unit = end.Sub(from0)
	}
	leads := o.lay(turn, unit, end.Sub(from0))
	for i := range leads {
		leads[i].At = leads[i].At.Add(from0)
	}
	x.chords = append(x.chords, leads...)
	pitch := last.Pitch.MIDI()
	if k := len(x.notes); k > 0 {
		pitch = x.notes[k-1].Pitch.MIDI()
	}
	ss := o.over(leads)
	line := o.sing(ss, leads, course{contour: func(x float64) float64 {
		return float64(pitch) + float64(o.first-pitch)*(0.2+0.8*x)
	}})
	x.notes = append(x.notes, o.notes(ss, line)...)
	return x, true
}
