package voicing

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// timed is a tick as exact time.
func timed(t Tick) theory.Time { return theory.Quarters(int64(t), int64(PerQuarter)) }

// places is the bar table as theory has it, to tell places.
func (a *Arrangement) places() *theory.Tune {
	t := &theory.Tune{}
	for _, b := range a.Bars {
		t.Bars = append(t.Bars, b.placed())
	}
	return t
}

// placed is the bar as theory has it.
func (b Bar) placed() theory.Bar {
	p := theory.Bar{Label: b.Label, Pass: 1, At: timed(b.At), Len: timed(b.Len), Beat: timed(b.Beat), Metre: b.Metre}
	if _, pass, ok := strings.Cut(b.Label, "/"); ok {
		if n, err := strconv.Atoi(pass); err == nil {
			p.Pass = n
		}
	}
	return p
}

// PlaceAt is how a player says where t is: "3:2", "3:2&", "3/2:1". Times before or
// after all bars are counted on from the first or last.
func (a *Arrangement) PlaceAt(t Tick) theory.Place {
	var near theory.Tune
	if i := a.BarAt(t); i >= 0 {
		near.Bars = []theory.Bar{a.Bars[i].placed()}
	}
	return near.PlaceOf(timed(t))
}

// GripAt is the index of the grip at a place; for a whole bar, of its first one.
// The error says which places of the bar have one.
func (a *Arrangement) GripAt(p theory.Place) (int, error) {
	t := a.places()
	from, err := t.Time(p)
	if err != nil {
		return 0, err
	}
	whole := p.Beat == (theory.Time{})
	at := Tick(from.Ticks(int(PerQuarter)))
	bar := a.BarAt(at)
	var there []string
	for i, g := range a.Grips {
		if g.At == at || whole && a.BarAt(g.At) == bar {
			return i, nil
		}
		if a.BarAt(g.At) == bar {
			there = append(there, t.PlaceOf(timed(g.At)).String())
		}
	}
	label := a.Bars[bar].Label
	if len(there) > 0 {
		return 0, fmt.Errorf("there is no grip at %v (bar %s has them at %s)", p, label, strings.Join(there, ", "))
	}
	near := "the tune has none"
	for _, g := range a.Grips {
		near = "the last one is at " + t.PlaceOf(timed(g.At)).String()
		if g.At > at {
			near = "the next one is at " + t.PlaceOf(timed(g.At)).String()
			break
		}
	}
	return 0, fmt.Errorf("there is no grip at %v (bar %s has none; %s)", p, label, near)
}

// The least time for each of two grips that change to and fro: it is heard before
// the hand is called away (common practice, no source). Longer than maxChangeBars
// no grip is held.
const (
	changeBeats   = 2
	changeSeconds = 1.75
	maxChangeBars = 4
)

// Change is an arrangement in which the hand goes back and forth between the grip
// with index i and the one before it: the earlier one on the first beat of the
// first bar, then the notes of the tune that lead into the other, as long before
// it as they are in the tune, the other on the first beat of the second bar, and
// then the notes that lead back, where the tune has some before the earlier grip
// and the hand takes them without leaving its place. Played round it has no seam.
// Where a bar has fewer than two beats or is short, each grip has two or more.
//
// A grip is struck as in a, if it is whole within a beat, else at once; strings,
// frets and fingers are those of a. Every bar is labelled with the place of its
// grip in a, such as "3:2&". Metre, key and tempo are those at the grip with
// index i. The error says that i has no grip before it, or is none.
func Change(a *Arrangement, i int) (*Arrangement, error) {
	switch {
	case i < 0 || i >= len(a.Grips):
		return nil, fmt.Errorf("there is no grip %d (there are %d)", i+1, len(a.Grips))
	case i == 0 && len(a.Grips) == 1:
		return nil, fmt.Errorf("%v has the only grip, so there is no change", a.PlaceAt(a.Grips[0].At))
	case i == 0:
		return nil, fmt.Errorf("%v has the first grip, so there is no change into it (the first change is into %v)", a.PlaceAt(a.Grips[0].At), a.PlaceAt(a.Grips[1].At))
	}
	d := newDrill(a, i)
	return d.arrangement()
}

// A drill is a change of grip that goes round, while it is laid out. Its two
// halves are the grips i-1 and i of a.
type drill struct {
	a     *Arrangement
	i     int
	bar   Bar // of which the halves are made
	bars  int // of each half
	half  Tick
	bpm   float64
	notes []Note // in both halves, all struck in their place
}

func newDrill(a *Arrangement, i int) *drill {
	d := &drill{a: a, i: i, bar: a.Bars[a.BarAt(a.Grips[i].At)], bars: 1, bpm: 120}
	if len(a.Tempi) > 0 {
		d.bpm = bpmAt(a.Tempi, a.Grips[i].At)
	}
	if d.bar.full() > 0 && d.bar.Metre.Den > 0 {
		d.bar.Len = d.bar.full()
	}
	if d.bar.Beat <= 0 {
		d.bar.Beat = PerQuarter
	}
	seconds := func(t Tick) float64 { return float64(t) / float64(PerQuarter) * 60 / d.bpm }
	for d.bars < maxChangeBars && (Tick(d.bars)*d.bar.Len < changeBeats*d.bar.Beat || seconds(Tick(d.bars)*d.bar.Len) < changeSeconds) {
		d.bars++
	}
	d.half = Tick(d.bars) * d.bar.Len
	first := [2]Tick{d.half, 2 * d.half} // of the notes that lead on, in each half
	for k := range 2 {
		lead := d.lead(k)
		for _, n := range lead {
			first[1-k] = min(first[1-k], n.At)
		}
		d.notes = append(d.notes, lead...)
	}
	for k := range 2 {
		d.notes = append(d.notes, d.strike(k, first[k])...)
	}
	slices.SortStableFunc(d.notes, func(x, y Note) int {
		return cmp.Or(cmp.Compare(x.At, y.At), cmp.Compare(x.MIDI, y.MIDI))
	})
	return d
}

// grip is the one of a half.
func (d *drill) grip(k int) *Placed { return &d.a.Grips[d.i-1+k] }

// strike is how the grip of a half is struck, before end.
func (d *drill) strike(k int, end Tick) []Note {
	g := d.grip(k)
	from := Tick(k) * d.half
	until := d.a.End()
	if n := d.i + k; n < len(d.a.Grips) {
		until = d.a.Grips[n].At
	}
	var out []Note
	simple := true
	for j, fret := range g.Frets {
		if fret < 0 {
			continue
		}
		n := Note{String: len(g.Frets) - j, Fret: fret, Finger: g.Fingers[j], Voice: Inner}
		n.MIDI = d.a.Tuning[j] + d.a.Capo + fret
		// as it is struck from then on, else as it sounds from before
		found := false
		for _, x := range d.a.Notes {
			if x.At >= until {
				break
			}
			if x.String != n.String || x.Fret != n.Fret {
				continue
			}
			if x.At >= g.At {
				n.At, n.Voice, found = x.At-g.At, x.Voice, true
				break
			}
			if x.At+x.Dur > g.At {
				n.At, n.Voice, found = 0, x.Voice, true
			}
		}
		simple = simple && found && n.At <= d.bar.Beat && from+n.At < end
		out = append(out, n)
	}
	for j := range out {
		if !simple {
			out[j].At = 0
		}
		out[j].At += from
	}
	return out
}

// grasp is the hand: a normal one, or one that holds both grips, which a larger
// one was asked for.
func (d *drill) grasp(n Neck) *grasp {
	var g *grasp
	for _, h := range []Hand{NormalHand(), LargeHand(), HandOf(maxReach)} {
		g = newGrasp(n, h)
		held := true
		for k := range 2 {
			var ps []Press
			p := d.grip(k)
			for j, f := range p.Frets {
				if f >= 0 {
					ps = append(ps, Press{Stop{int8(len(p.Frets) - j), int8(f)}, int8(p.Fingers[j])})
				}
			}
			held = held && g.fingers(ps).ok
		}
		if held {
			break
		}
	}
	return g
}

// lead are the notes of the tune that lead into the grip of a half, where they
// stand at the end of the other.
func (d *drill) lead(k int) []Note {
	g := d.grip(k)
	from := Tick(-1)
	if n := d.i - 2 + k; n >= 0 {
		from = d.a.Grips[n].At
	}
	var notes []Note // from the last back
	for j := len(d.a.Notes) - 1; j >= 0; j-- {
		if n := d.a.Notes[j]; n.Voice == Melody && n.At < g.At && n.At > from {
			notes = append(notes, n)
		}
	}
	there := Tick(2-k) * d.half // the moment of the change
	var out []Note
	for j, n := range notes {
		ahead := g.At - n.At
		if j > 0 && ahead > d.half/2 {
			break
		}
		if k == 0 && !d.near(n) {
			break
		}
		if ahead > d.half-d.bar.Beat { // it is held for longer than the half has
			ahead = max(d.half/2/d.bar.Beat*d.bar.Beat, d.bar.Beat)
		}
		n.At, n.Fill = there-ahead, false
		out = append(out, n)
	}
	return out
}

// near reports whether the hand takes a note without leaving the place of the
// second grip.
func (d *drill) near(n Note) bool {
	if n.Fret == 0 {
		return true
	}
	g := d.grip(1)
	var ns []Note
	for j, f := range g.Frets {
		if f >= 0 {
			ns = append(ns, Note{String: len(g.Frets) - j, Fret: f, Finger: g.Fingers[j]})
		}
	}
	at := handAt(ns)
	return at == 0 || absInt(handAt([]Note{n})-at) <= 2
}

// arrangement lets the hand go three times round and takes the second, so that
// what stops at the seam stops as if there were none.
func (d *drill) arrangement() (*Arrangement, error) {
	const rounds = 3
	round := 2 * d.half
	neck := Neck{Tuning: d.a.Tuning, Frets: maxFret, Scale: StandardNeck().Scale}
	s := &score{tempi: []TempoMark{{0, d.bpm}}, end: rounds * round}
	for r := range Tick(rounds) {
		for k := range 2 {
			at := r*round + Tick(k)*d.half
			s.chords = append(s.chords, chordSpan{at: at, end: at + d.half, chord: d.chord(k).Chord})
		}
	}
	for at := Tick(0); at < s.end; at += d.bar.Len {
		b := d.bar
		b.At = at
		s.bars, s.start = append(s.bars, b), append(s.start, at)
	}
	l := &layer{w: &worker{neck: neck, right: NormalRightHand(), grasp: d.grasp(neck), s: s}}
	for r := range Tick(rounds) {
		for now := range attacks(d.notes) {
			var xs []strike
			for _, n := range now {
				at := r*round + n.At
				x := strike{tone: tone{int8(n.String), int8(n.Fret), int8(n.Finger), int16(n.MIDI), n.Voice},
					at: at, end: (at/d.half + 1) * d.half, tune: -1, point: -1}
				if n.Voice == Melody {
					x.tune, x.end = 0, min(x.end, r*round+d.sings(n.At))
				}
				xs = append(xs, x)
			}
			l.strike(xs)
		}
	}
	l.done = append(l.done, l.live...)
	l.lengths()
	c := &Arrangement{Title: d.a.Title, Key: d.a.Key, Transposition: d.a.Transposition, Tuning: d.a.Tuning, Capo: d.a.Capo,
		Tempi: s.tempi, TempoAssumed: d.a.TempoAssumed, Feel: d.a.Feel,
		Phrases: []theory.Phrase{{From: 0, To: 2 * d.bars}}}
	l.collect(c)
	c.Notes = slices.DeleteFunc(c.Notes, func(n Note) bool { return n.At < round || n.At >= 2*round })
	for j := range c.Notes {
		c.Notes[j].At -= round
	}
	if len(c.Notes) < len(d.notes) {
		return nil, fmt.Errorf("the hand cannot take the change into %v by itself", d.a.PlaceAt(d.grip(1).At))
	}
	c.TopTempo = s.topTempo(append(slices.Clone(c.Notes), shifted(c.Notes, round)...), NormalRightHand())
	for k := range 2 {
		g := *d.grip(k)
		label := d.a.PlaceAt(g.At).String()
		g.At, g.Bar, g.Beat = Tick(k)*d.half, k*d.bars, 1
		c.Grips = append(c.Grips, g)
		mark := d.chord(k)
		mark.At = g.At
		if mark.Symbol != "" {
			c.Chords = append(c.Chords, mark)
		}
		for b := range d.bars {
			bar := d.bar
			bar.Label, bar.At = label, g.At+Tick(b)*d.bar.Len
			c.Bars = append(c.Bars, bar)
		}
	}
	for _, n := range c.Notes {
		if n.Voice == Melody {
			c.Melody = append(c.Melody, TuneNote{At: n.At, Dur: n.Dur + n.Early, MIDI: n.MIDI, Pitch: d.spelled(n.MIDI)})
		}
	}
	return c, nil
}

// sings is until when the tune's note at t may ring: to its next one.
func (d *drill) sings(t Tick) Tick {
	for _, n := range d.notes {
		if n.Voice == Melody && n.At > t {
			return n.At
		}
	}
	return 2 * d.half
}

// shifted are notes played so much later.
func shifted(notes []Note, by Tick) []Note {
	out := slices.Clone(notes)
	for i := range out {
		out[i].At += by
	}
	return out
}

// chord is the one in force at the grip of a half; no symbol where there is none.
func (d *drill) chord(k int) ChordMark {
	c := ChordMark{Chord: theory.Chord{NoChord: true}}
	for _, m := range d.a.Chords {
		if m.At <= d.grip(k).At {
			c = m
		}
	}
	for _, m := range d.a.Added {
		if m.At <= d.grip(k).At && m.At >= c.At {
			c = m
		}
	}
	return c
}

// spelled is a pitch of the tune as it is spelled there.
func (d *drill) spelled(midi int) theory.Pitch {
	var p theory.Pitch
	near := Tick(-1)
	for _, n := range d.a.Melody {
		away := Tick(absInt(int(n.At - d.grip(1).At)))
		if n.MIDI == midi && (near < 0 || away < near) {
			p, near = n.Pitch, away
		}
	}
	return p
}
