package voicing

import (
	"math"
	"slices"
	"strings"

	"thumbline/theory"
)

// A BassNote is one note of the bass player in a trio.
type BassNote struct {
	At, Dur Tick
	MIDI    int
}

// The range of the bass player's line, E1 to G3.
const (
	lowestBassist  = 28
	highestBassist = 55
)

// A band is the bass player and the drummer: they read the chords as they are
// played and hear the guitar that they keep out of the way of.
type band struct {
	s      *score
	chords []chordSpan // as they are played, without those that pass over a bass that stays
	feel   theory.Feel
	notes  []Note // the guitar's
	long   Tick   // the longest of them
	come   Tick   // when the band comes in
	last   Tick   // when the guitar's last chord comes, after which nothing is struck
	beats  []meter
}

// company adds the bass player and the drummer of a trio to an arrangement
// whose notes are there. They read and change nothing else.
func (s *score) company(a *Arrangement) {
	b := &band{s: s, chords: s.grounds(), feel: a.Feel, notes: a.Notes}
	for _, n := range a.Notes {
		b.long = max(b.long, n.Dur)
	}
	for i := range s.bars {
		b.beats = append(b.beats, b.meter(i))
	}
	if len(s.bars) > 1 && b.beats[0].pickup {
		b.come = s.bars[1].At
	}
	b.last = b.lastChord()
	a.Bassist, a.Time = b.line(), b.keepTime()
}

// grounds are the chords that the bass has: a diminished chord of a beat or
// less that is put in after the six-chord whose scale it stands on passes over
// the bass of that, as in a run of the tonic scale, and so does the same chord
// after it.
func (s *score) grounds() []chordSpan {
	var out []chordSpan
	for _, c := range s.chords {
		if n := len(out) - 1; n >= 0 && c.added != "" && !c.chord.NoChord && out[n].end == c.at {
			was := &out[n]
			leading := was.chord.RootPC() + 11
			passes := c.chord.Kind == theory.Diminished && c.chord.PCs().Has(leading) && c.end-c.at <= s.bars[s.barAt(c.at)].Beat
			if !was.chord.NoChord && (passes || c.chord == was.chord && was.passed) {
				was.end, was.passed = c.end, true
				continue
			}
		}
		out = append(out, c)
	}
	return out
}

// lastChord is when the guitar strikes two notes or more for the last time, no
// sooner than the last chord is written; the last note that the tune has over it
// where that comes a bar later or more.
func (b *band) lastChord() Tick {
	at, end := Tick(0), b.s.end // of the last chord
	for k, c := range b.chords {
		if !c.chord.NoChord && c.end > c.at {
			at, end = c.at, b.silence(k)
		}
	}
	for i := len(b.notes) - 1; i > 0 && b.notes[i].At > at; i-- {
		if b.notes[i].At == b.notes[i-1].At && b.notes[i].At < end {
			at = b.notes[i].At
			break
		}
	}
	for _, n := range slices.Backward(b.notes) {
		if n.Voice == Melody && n.At < end {
			if n.At >= at+b.s.bars[b.s.barAt(at)].Len {
				return n.At
			}
			break
		}
	}
	return at
}

// A manner is how bass and drums lay out a bar.
type manner uint8

const (
	inTwos   manner = iota // a root and a fifth in halves, with a step into what comes
	inWalks                // quarters, in four
	inBallad               // halves, seldom more
	inWaltz                // one root a bar
	inJig                  // the beats of compound metre
	inBossa                // root and fifth, each pushed by half a beat
	inCut                  // bars of two beats
	inUneven               // five, six, seven and others
)

// slowest is the beat from which four in a bar is a ballad, and shortestWalk
// the shortest at which a bass walks, s (harmony.md 5.6: ballads to 80, up from
// 220 to 250 quarters a minute).
const (
	slowest      = 60.0 / 80
	shortestWalk = 0.24
)

// A meter is how the beats of a bar are counted by those who keep them.
type meter struct {
	manner manner
	beat   Tick // a third of the bar in 3/8
	n      int  // beats of a whole bar
	off    Tick // what a pick-up lacks before it begins
	pickup bool
	sec    float64 // of a beat
	strong []int   // beats that the bass plays
	odd    bool    // the second, fourth ... bar of its phrase
	closes bool    // the last bar of its phrase
}

func (b *band) meter(i int) meter {
	bar := b.s.bars[i]
	m := meter{beat: bar.Beat}
	full := bar.Len
	if bar.Metre.Num > 0 && bar.Metre.Den > 0 {
		full = Tick(bar.Metre.Num) * 4 * PerQuarter / Tick(bar.Metre.Den)
	}
	label, _, _ := strings.Cut(bar.Label, "/")
	m.pickup = label == "0" || strings.HasSuffix(label, "+") || i == 0 && len(b.s.bars) > 1 && bar.Len < full
	if m.pickup {
		m.off = max(full-bar.Len, 0)
	}
	threes := compound(bar)
	if bar.Metre.Num == 3 && !threes {
		m.beat = max(full/3, shortestBeat)
	}
	m.n = max(int(max(full, m.off+bar.Len)/m.beat), 1)
	m.sec = b.s.seconds(bar.At, bar.At+m.beat)
	for _, p := range b.s.phrase {
		if i >= p.From && i < p.To {
			m.odd, m.closes = (i-p.From)%2 == 1, i == p.To-1
		}
	}
	quarters := m.n == 4 && !threes
	switch {
	case threes:
		m.manner = inJig
	case m.n == 3:
		m.manner = inWaltz
	case b.feel.Bossa && quarters:
		m.manner = inBossa
	case quarters && m.sec > slowest:
		m.manner = inBallad
	case quarters && b.feel.Swings() && m.sec >= shortestWalk && b.inFour(i):
		m.manner = inWalks
	case quarters:
		m.manner = inTwos
	case m.n <= 2:
		m.manner = inCut
	default:
		m.manner = inUneven
	}
	switch {
	case m.manner == inWalks:
		m.strong = []int{0, 1, 2, 3}
	case m.n == 4, m.manner == inJig && m.n == 3:
		m.strong = []int{0, 2}
	case m.n == 3:
		m.strong = []int{0}
	case m.n == 2:
		m.strong = []int{0, 1}
	case m.n == 5, m.n == 6:
		m.strong = []int{0, 3}
	case m.n == 7:
		m.strong = []int{0, 4}
	default:
		for k := 0; k < m.n; k += 2 {
			m.strong = append(m.strong, k)
		}
	}
	return m
}

// inFour reports whether the bass walks in bar i: from the second chorus on, or,
// where there is one, in the last of several sections. What is put in before
// and after stays in two.
func (b *band) inFour(i int) bool {
	f := b.s.form
	if b.s.source[i] < 0 {
		return false
	}
	if len(f.choruses) > 1 {
		return i >= f.choruses[1].From
	}
	own := slices.DeleteFunc(slices.Clone(f.tune.Sections), func(x theory.Section) bool { return x.Name == IntroName || x.Name == EndingName })
	return len(own) > 2 && i >= own[len(own)-1].From
}

// A bassPart is what a note of the line is in its chord.
type bassPart uint8

const (
	bassRoot  bassPart = iota // the bass of the chord, at its change
	bassAgain                 // the same, while the chord goes on
	bassFifth                 // the fifth, or the octave
	bassThird                 // the third for once, or the fifth
	bassInner                 // a chord tone on the way, in a walk
	bassSame                  // the note before once more
	bassStep                  // a step or half a step from the next root
)

// A bassSlot is a moment of the line: what is wanted there, and what may be
// played.
type bassSlot struct {
	at, end Tick
	part    bassPart
	chord   int
	rises   bool // a fifth above its root rather than below
	final   bool // the last root, which lies low
	notes   []bassChoice
}

// A bassChoice is a pitch with its own cost, and the cheapest way to it.
type bassChoice struct {
	midi int
	cost float64
	from int
}

// line is the bass player's line.
func (b *band) line() []BassNote {
	slots := b.slots()
	for i := range slots {
		b.offer(slots, i)
	}
	if len(slots) == 0 {
		return nil
	}
	for i := 1; i < len(slots); i++ {
		x, y := &slots[i-1], &slots[i]
		for k := range y.notes {
			best, from := math.Inf(1), 0
			for j := range x.notes {
				if c := x.notes[j].cost + bassMove(x, y, x.notes[j].midi, y.notes[k].midi); c < best-1e-9 {
					best, from = c, j
				}
			}
			y.notes[k].cost += best
			y.notes[k].from = from
		}
	}
	out := make([]BassNote, len(slots))
	k := 0
	for j, c := range slots[len(slots)-1].notes {
		if c.cost < slots[len(slots)-1].notes[k].cost-1e-9 {
			k = j
		}
	}
	for i := len(slots) - 1; i >= 0; i-- {
		x := &slots[i]
		out[i] = BassNote{x.at, x.end - x.at, x.notes[k].midi}
		k = x.notes[k].from
	}
	return out
}

// bassGap is how long the finger is off the string before the next note.
const bassGap = PerQuarter / 16

// slots are the moments of the line with what is wanted there.
func (b *band) slots() []bassSlot {
	s := b.s
	var out []bassSlot
	run := 0 // bars for which the chord has lasted
	for k, c := range b.chords {
		if c.chord.NoChord || c.end <= c.at {
			continue
		}
		switch {
		case k == 0 || b.chords[k-1].chord != c.chord:
			run = 0
		case s.bars[s.barAt(c.at)].At == c.at:
			run++
		}
		first := len(out)
		out = append(out, bassSlot{at: c.at, part: bassRoot, chord: k, rises: run%2 == 1})
		for i := s.barAt(c.at); i < len(s.bars) && s.bars[i].At < c.end; i++ {
			m, bar := &b.beats[i], s.bars[i]
			if bar.At > c.at && bar.At > b.come {
				run++
			}
			figure := b.figure(m, run)
			if c.passed {
				figure = []bassBeat{{0, bassAgain}, {Tick(m.n/2) * m.beat, bassAgain}}
			}
			for _, x := range figure {
				t := bar.At + x.pos - m.off
				least := m.beat
				if m.manner == inBossa {
					least /= 2
				}
				if t < c.at+least || t < b.come || t < bar.At || t >= min(c.end, bar.At+bar.Len) {
					continue
				}
				out = append(out, bassSlot{at: t, part: x.part, chord: k, rises: run%2 == 1})
			}
		}
		if t, ok := b.stepInto(k); ok {
			if n := len(out) - 1; n > first && out[n].at == t {
				out[n].part = bassStep
			} else if out[n].at < t {
				out = append(out, bassSlot{at: t, part: bassStep, chord: k})
			}
		}
	}
	// nothing after the guitar's last chord, and the root with it
	for len(out) > 0 && out[len(out)-1].at > b.last {
		out = out[:len(out)-1]
	}
	if n := len(out) - 1; n >= 0 {
		if out[n].at < b.last {
			out = append(out, bassSlot{at: b.last, chord: out[n].chord})
		}
		out[len(out)-1].part, out[len(out)-1].final = bassRoot, true
	}
	for i := range out {
		x := &out[i]
		x.end = b.silence(x.chord)
		if i+1 < len(out) && out[i+1].at < x.end {
			next := out[i+1].at
			x.end = max(next-bassGap, (x.at+next)/2)
		}
	}
	return out
}

// silence is where the next N.C. after chord k begins, or the end.
func (b *band) silence(k int) Tick {
	for _, c := range b.chords[k:] {
		if c.chord.NoChord {
			return min(c.at, b.s.end)
		}
	}
	return b.s.end
}

// A bassBeat is a moment of a bar for the bass while a chord goes on.
type bassBeat struct {
	pos  Tick
	part bassPart
}

// figure is what the bass plays of a bar when no chord changes in it. run
// counts the bars for which the chord has lasted, so that repeats alternate.
func (b *band) figure(m *meter, run int) []bassBeat {
	other := bassFifth
	if run%2 == 1 {
		other = bassThird
	}
	if m.manner == inBossa {
		return []bassBeat{{0, bassAgain}, {3 * m.beat / 2, other}, {2 * m.beat, bassSame}, {7 * m.beat / 2, bassAgain}}
	}
	var out []bassBeat
	for i, k := range m.strong {
		p := other
		switch {
		case i == 0:
			p = bassAgain
		case m.manner == inWalks:
			p = bassInner
		case k*2 > m.n && m.n > 4:
			p = bassFifth
		}
		out = append(out, bassBeat{Tick(k) * m.beat, p})
	}
	if m.manner == inWaltz && run%2 == 1 {
		out = append(out, bassBeat{2 * m.beat, other})
	}
	return out
}

// stepInto is when a note leads by step from chord k into the next root: on the
// last beat, where there is time for it and the bar has room.
func (b *band) stepInto(k int) (Tick, bool) {
	s := b.s
	if k+1 >= len(b.chords) {
		return 0, false
	}
	c, d := &b.chords[k], &b.chords[k+1]
	if d.chord.NoChord || d.at != c.end || d.end <= d.at || d.chord.BassPC() == c.chord.BassPC() {
		return 0, false
	}
	i := s.barAt(c.end - 1)
	m, bar := &b.beats[i], s.bars[i]
	unit := m.beat
	pos := c.end - bar.At + m.off
	switch {
	case m.manner == inBossa:
		unit /= 2
	case m.manner == inCut && m.beat > PerQuarter: // cut time has quarters between its beats
		unit /= 2
	}
	t := c.end - unit
	if pos%m.beat != 0 || t < b.come || t < c.at+m.beat || t < bar.At || s.seconds(t, c.end) < shortestWalk && m.manner != inBossa {
		return 0, false
	}
	beats := int((c.end - c.at) / m.beat)
	near := (d.chord.BassPC() - c.chord.BassPC() + 12) % 12
	switch m.manner {
	case inWalks, inBossa:
		return t, true
	case inTwos, inUneven:
		return t, beats > 2 || m.odd
	case inBallad:
		return t, beats > 2 && m.odd
	}
	// A root that lies next to this one needs no step between.
	return t, m.odd && near > 2 && near < 10
}

// toneOf is a degree over the root of a chord as a pitch class.
func toneOf(c theory.Chord, semitones ...int) (pc int, ok bool) {
	for _, d := range semitones {
		if c.Tones.Has(d) {
			return (c.RootPC() + d) % 12, true
		}
	}
	return 0, false
}

// offer lists what may be played at a slot.
func (b *band) offer(slots []bassSlot, i int) {
	x := &slots[i]
	c := b.chords[x.chord].chord
	var cost [12]float64
	for pc := range cost {
		cost[pc] = none
	}
	want := func(price float64, pc int) { cost[pc] = min(cost[pc], price) }
	root := c.BassPC()
	five, hasFive := toneOf(c, 7, 6, 8)
	if c.Slash {
		// over another bass its own fifth, if that is in the chord, or the root
		if hasFive = c.PCs().Has(root + 7); hasFive {
			five = (root + 7) % 12
		} else {
			five, hasFive = c.RootPC(), true
		}
	} else if !hasFive {
		five = (root + 7) % 12
	}
	third, hasThird := toneOf(c, 4, 3)
	hasThird = hasThird && third != root
	switch x.part {
	case bassRoot:
		want(0, root)
	case bassAgain:
		want(0, root)
	case bassFifth:
		want(0, five)
		want(0.6, root)
	case bassThird:
		want(0.35, five)
		if hasThird {
			want(0, third)
		}
		want(0.8, root)
	case bassSame:
		want(0, five)
		if hasThird {
			want(0, third)
		}
	case bassInner:
		want(0.1, five)
		if hasThird {
			want(0, third)
		}
		if pc, ok := toneOf(c, 10, 11, 9); ok && pc != root {
			want(0.3, pc)
		}
		want(0.9, root)
	case bassStep:
		b.steps(x.at, slots[i+1].chord, cost[:])
	}
	top := b.ceiling(x.at, x.end)
	for p := lowestBassist; p <= highestBassist; p++ {
		if cost[p%12] >= none {
			continue
		}
		price := cost[p%12] + bassPlace(p, top)
		if x.final {
			price += 0.1 * float64(max(p-36, 0))
		}
		x.notes = append(x.notes, bassChoice{p, price, 0})
	}
}

// noBass is the cost of what is not to be played.
const noBass = 1e3

// stepPrices are the steps into a root, half steps first.
var stepPrices = [...]struct {
	d     int
	price float64
}{{-1, 0.1}, {1, 0.15}, {-2, 0.3}, {2, 0.2}}

// steps prices the pitch classes a step or half a step from the bass of chord
// k: half steps and steps of the scale, and nothing that rubs against the tune.
func (b *band) steps(t Tick, k int, cost []float64) {
	s := b.s
	root := b.chords[k].chord.BassPC()
	scale := s.keyPCs[s.barAt(t)] | b.chords[k].chord.PCs()
	if j := spanAt(b.chords, t); j >= 0 {
		scale |= b.chords[j].chord.PCs()
	}
	for _, x := range stepPrices {
		d, price := x.d, x.price
		pc := (root + d + 12) % 12
		switch {
		case scale.Has(pc):
			price -= 0.1
		case d == 2 || d == -2:
			price += 1.5
		case !s.coloured: // plain chords want plain steps
			price += 0.6
		}
		if over := s.tuneOver(t); over > 0 && (over-pc)%12 == 1 {
			price += 0.5
		}
		cost[pc] = price
	}
}

// bassPlace is what the register costs: around G1 to A2 a bass is at home, and
// it stays below the guitar.
func bassPlace(p, top int) float64 {
	c := 0.0
	switch {
	case p < 31:
		c += 0.12 * float64(31-p)
	case p > 50:
		c += 0.6 + 0.3*float64(p-50)
	case p > 45:
		c += 0.12 * float64(p-45)
	}
	switch {
	case p >= top:
		c += noBass / 2
	case p > top-5:
		c += 0.4
	}
	return c
}

// ceiling is the guitar's lowest note that sounds between two times.
func (b *band) ceiling(from, to Tick) int {
	top := 127
	i, _ := slices.BinarySearchFunc(b.notes, from-b.long, func(n Note, t Tick) int { return int(n.At - t) })
	for ; i < len(b.notes) && b.notes[i].At < to; i++ {
		if n := &b.notes[i]; n.At+n.Dur > from {
			top = min(top, n.MIDI)
		}
	}
	return top
}

// bassMove is what it costs to go from pitch p of slot x to q of y.
func bassMove(x, y *bassSlot, p, q int) float64 {
	d := absInt(q - p)
	if d > 12 {
		return noBass
	}
	c := 0.0
	switch {
	case d == 0 && y.part == bassSame:
		return -1
	case d == 0:
		c = 1.2
	case d <= 2:
	case d <= 5:
		c = 0.25
	case d == 7:
		c = 0.4
	case d == 6:
		c = 0.6
	case d < 10:
		c = 0.9
	case d < 12:
		c = 1.6
	default:
		c = 0.8
	}
	if x.part == bassStep && (d == 0 || d > 2) {
		c += noBass
	}
	if (y.part == bassFifth || y.part == bassThird) && d > 0 && (q > p) != y.rises {
		c += 0.15
	}
	return c
}
