package voicing

import (
	"fmt"
	"slices"
	"sort"

	"thumbline/theory"
)

// A score is the tune on the tick grid, transposed, with what the arranger
// asks of it again and again.
type score struct {
	tune    []tuneNote
	chords  []chordSpan // as they are played: written, and put in
	written []chordSpan // as the sheet has them
	bars    []Bar
	start   []Tick // of each bar
	keyPCs  []theory.PCSet
	tempi   []TempoMark
	end     Tick
	section map[Tick]bool // where sections start
	returns map[int]Tick  // bars of a section that leads back to one heard before, and where it ends
	phrase  []theory.Phrase
	silent  []Tick // for each chord, where the next N.C. begins, or the end
	// coloured says that the sheet's own chords go beyond triads and plain
	// sevenths. Where they do not, an altered chord would come from another
	// music.
	coloured bool
	bossa    bool  // the feel is bossa
	trio     bool  // with bass and drums
	source   []int // of each bar, the written bar it comes from, -1 for one put in
	pass     []int // of each bar, which time through it is
	earlier  []int // of each bar, the one in which it was played the time before, -1
	form     *form
	comp     [2]Tick // the chorus without its tune, from and to; both 0 for none
	compLead Tick    // where the pick-up into it would begin
	swings   bool    // the feel is swing
}

type tuneNote struct {
	at, end Tick
	midi    int
	pitch   theory.Pitch
	moved   Tick // how much later than written it is played; less than 0 is earlier
	fill    bool // it is not the tune's but put in: the top line of an introduction or an ending
	full    Tick // how long it is written, where something takes over before it ends
}

type chordSpan struct {
	at, end Tick
	chord   theory.Chord
	added   string        // what it is there for, where it is not the sheet's
	asked   *passageChord // where it is to lie in a certain way
	passed  bool          // for the bass player: others pass over its bass
}

// shortestBeat keeps a beat that a strange metre makes tiny from having no half
// and no third.
const shortestBeat Tick = 12

func ticks(t theory.Time) Tick { return Tick(t.Ticks(int(PerQuarter))) }

// newScore puts a form on ticks; it is at sounding pitch already.
func newScore(f *form) *score {
	t := f.tune
	s := &score{section: map[Tick]bool{}, returns: map[int]Tick{}, form: f}
	for i, n := range t.Melody {
		a, b := ticks(n.At), ticks(n.At.Add(n.Len))
		if b <= a {
			b = a + 1
		}
		if k := len(s.tune); k > 0 && s.tune[k-1].end > a {
			s.tune[k-1].end = a
		}
		x := tuneNote{at: a, end: b, midi: n.Pitch.MIDI(), pitch: n.Pitch, fill: f.fill[i]}
		if n.Len.Less(f.full[i]) {
			x.full = ticks(n.At.Add(f.full[i])) - a
		}
		s.tune = append(s.tune, x)
	}
	for _, b := range t.Bars {
		s.bars = append(s.bars, Bar{Label: b.Label, At: ticks(b.At), Len: ticks(b.At.Add(b.Len)) - ticks(b.At),
			Beat: max(ticks(b.Beat), shortestBeat), Metre: b.Metre, Key: b.Key})
		s.start = append(s.start, ticks(b.At))
		s.source, s.pass = append(s.source, b.Source), append(s.pass, max(b.Pass, 1))
		s.keyPCs = append(s.keyPCs, signaturePCs(b.Key.Fifths))
	}
	s.end = ticks(t.End())
	for _, c := range t.Changes {
		a, b := ticks(c.At), ticks(c.At.Add(c.Len))
		if k := len(s.chords); k > 0 {
			if s.chords[k-1].at == a {
				s.chords = s.chords[:k-1]
			} else {
				s.chords[k-1].end = a
			}
		}
		s.chords = append(s.chords, chordSpan{at: a, end: b, chord: c.Chord})
	}
	if k := len(s.chords); k > 0 && s.chords[k-1].end < s.end {
		s.chords[k-1].end = s.end
	}
	for _, m := range t.Tempi {
		s.tempi = append(s.tempi, TempoMark{ticks(m.At), m.BPM})
	}
	if len(s.tempi) == 0 {
		s.tempi = []TempoMark{{0, 120}}
	}
	for _, x := range t.Sections {
		if x.From < len(s.start) {
			s.section[s.start[x.From]] = true
		}
	}
	heard := map[string]bool{}
	for i, x := range t.Sections {
		// another section than the next one, which was heard before it: a bridge
		if i+1 < len(t.Sections) && x.Name != t.Sections[i+1].Name && heard[t.Sections[i+1].Name] && x.To < len(s.start) {
			for b := x.From; b < x.To; b++ {
				s.returns[b] = s.start[x.To]
			}
		}
		heard[x.Name] = true
	}
	s.phrase = t.Phrases
	s.coloured = coloured(t.Changes)
	s.written = s.chords
	s.findSilences()
	s.earlier = s.barsBefore()
	return s
}

// coloured reports whether a sheet has more than triads and plain sevenths: in one
// chord of seven at least.
func coloured(changes []theory.Change) bool {
	rich := 0
	for _, x := range changes {
		if c := x.Chord; !c.NoChord && c.Tones.Len() >= 4 && c.Tones != degrees(0, 4, 7, 10) {
			rich++
		}
	}
	return 7*rich >= len(changes)
}

// takeOver puts the chords of the ending where they take the place of the
// tune's own, and asks for the grips that its bars want.
func (s *score) takeOver() {
	if len(s.form.pins) > 0 {
		s.chords = slices.Clone(s.chords) // what is written stays
	}
	for i := range s.form.pins {
		c := &s.form.pins[i]
		if k := s.chordAt(ticks(c.At)); k >= 0 && s.chords[k].at == ticks(c.At) {
			s.chords[k].asked = c
		}
	}
	if len(s.form.over) == 0 {
		return
	}
	from := ticks(s.form.over[0].At)
	var out []chordSpan
	for _, x := range s.chords {
		if x.at < from {
			x.end = min(x.end, from)
			out = append(out, x)
		}
	}
	for i := range s.form.over {
		c := &s.form.over[i]
		x := chordSpan{at: ticks(c.At), end: ticks(c.At.Add(c.Len)), chord: c.Chord, added: s.form.names[1]}
		if c.asks() {
			x.asked = c
		}
		out = append(out, x)
	}
	over := out[len(out)-1].end
	for _, x := range s.chords {
		if x.at >= over {
			out = append(out, x)
		}
	}
	s.chords = out
	s.findSilences()
}

// putIn reports whether t lies in bars of an introduction or an ending.
func (s *score) putIn(t Tick) bool { return len(s.source) > 0 && s.source[s.barAt(t)] < 0 }

// passageName is what the bar of t belongs to that is put in; empty in the tune.
func (s *score) passageName(t Tick) string {
	switch {
	case !s.putIn(t):
		return ""
	case s.barAt(t) >= s.form.ending:
		return s.form.names[1]
	}
	return s.form.names[0]
}

// findSilences finds for each chord where the next N.C. begins.
func (s *score) findSilences() {
	s.silent = make([]Tick, len(s.chords))
	end := s.end
	for i := len(s.chords) - 1; i >= 0; i-- {
		s.silent[i] = end
		if s.chords[i].chord.NoChord {
			end = s.chords[i].at
		}
	}
}

// signaturePCs is the major scale of a key signature.
func signaturePCs(fifths int) theory.PCSet {
	var m theory.PCSet
	tonic := 7 * fifths
	return m.With(tonic, tonic+2, tonic+4, tonic+5, tonic+7, tonic+9, tonic+11)
}

// fallsFifth reports whether the root of b lies a fifth below that of a.
func fallsFifth(a, b theory.Chord) bool {
	return !a.NoChord && !b.NoChord && (b.RootPC()-a.RootPC()+12)%12 == 5
}

// writtenLine reports whether the sheet itself leads the bass by step from
// chord k to the next, with a bass written under one of them.
func (s *score) writtenLine(k int) bool {
	if k+1 >= len(s.chords) || s.chords[k].chord.NoChord || s.chords[k+1].chord.NoChord {
		return false
	}
	a, b := s.chords[k].chord, s.chords[k+1].chord
	d := (b.BassPC() - a.BassPC() + 12) % 12
	return (a.Slash || b.Slash) && (d <= 2 || d >= 10)
}

// barAt is the index of the bar that holds t.
func (s *score) barAt(t Tick) int {
	i := sort.Search(len(s.start), func(i int) bool { return s.start[i] > t }) - 1
	if i < 0 {
		return 0
	}
	return i
}

// chordAt is the index of the chord that governs t, -1 before the first.
func (s *score) chordAt(t Tick) int {
	return spanAt(s.chords, t)
}

// spanAt is the index of the last chord that begins at or before t, -1 for none.
func spanAt(cs []chordSpan, t Tick) int {
	return sort.Search(len(cs), func(i int) bool { return cs[i].at > t }) - 1
}

// around is the lower of the tune notes before and after t, top where neither is
// lower.
func (s *score) around(t Tick, top int) int {
	k := s.tuneAt(t)
	if k >= 0 {
		top = min(top, s.tune[k].midi)
	}
	if k+1 < len(s.tune) {
		top = min(top, s.tune[k+1].midi)
	}
	return top
}

// rubs reports whether a pitch lies a half step from the tune at t, in any octave.
func (s *score) rubs(midi int, t Tick) bool {
	over := s.tuneOver(t)
	d := absInt(over-midi) % 12
	return over > 0 && (d == 1 || d == 11)
}

// tuneAt is the index of the last tune note that starts at or before t, -1
// before the first.
func (s *score) tuneAt(t Tick) int {
	return sort.Search(len(s.tune), func(i int) bool { return s.tune[i].at > t }) - 1
}

// strikes reports whether the tune strikes a note at t.
func (s *score) strikes(t Tick) bool {
	k := s.tuneAt(t)
	return k >= 0 && s.tune[k].at == t
}

// tuneOver is the pitch of the tune that sounds at t, 0 for none.
func (s *score) tuneOver(t Tick) int {
	if k := s.tuneAt(t); k >= 0 && s.tune[k].end > t {
		return s.tune[k].midi
	}
	return 0
}

// seconds is how long from a to b takes.
func (s *score) seconds(a, b Tick) float64 {
	total := 0.0
	for i, m := range s.tempi {
		from, to := m.At, b
		if i+1 < len(s.tempi) && s.tempi[i+1].At < to {
			to = s.tempi[i+1].At
		}
		if from < a {
			from = a
		}
		if to > from {
			total += float64(to-from) / float64(PerQuarter) * 60 / m.BPM
		}
	}
	return total
}

// ticksFor is how many ticks sec lasts at t.
func (s *score) ticksFor(t Tick, sec float64) Tick {
	return Tick(sec*bpmAt(s.tempi, t)/60*float64(PerQuarter) + 0.999)
}

// bpmAt is the tempo at t in quarters a minute, the first before all marks.
func bpmAt(tempi []TempoMark, t Tick) float64 {
	bpm := tempi[0].BPM
	for _, m := range tempi {
		if m.At <= t {
			bpm = m.BPM
		}
	}
	return bpm
}

// before is the moment that lies sec before t, at the tempi that lead there.
func (s *score) before(t Tick, sec float64) Tick {
	for i := len(s.tempi) - 1; i > 0; i-- {
		from := s.tempi[i].At
		if from >= t {
			continue
		}
		has := s.seconds(from, t)
		if has >= sec {
			return t - s.ticksFor(from, sec)
		}
		t, sec = from, sec-has
	}
	return t - s.ticksFor(0, sec)
}

// strong reports whether t is the first beat of its bar, or the third of four.
func (s *score) strong(t Tick) bool {
	b := s.bars[s.barAt(t)]
	off := t - b.At
	return off == 0 || b.Metre.Num%2 == 0 && b.Len == 4*b.Beat && off == 2*b.Beat
}

// onBeat reports whether t lies on a beat.
func (s *score) onBeat(t Tick) bool {
	b := s.bars[s.barAt(t)]
	return b.Beat > 0 && (t-b.At)%b.Beat == 0
}

// register finds the octave in which the tune lies best: on the two high
// strings, between G3 and A5, its middle around D4 to E5 (harmony.md 4.3).
func register(t *theory.Tune, n Neck) (int, error) {
	lo, hi := 127, 0
	for _, m := range t.Melody {
		p := m.Pitch.MIDI()
		lo, hi = min(lo, p), max(hi, p)
	}
	best, bestCost := 0, 1e18
	for shift := -48; shift <= 48; shift += 12 {
		cost := 0.0
		for _, m := range t.Melody {
			p, w := float64(m.Pitch.MIDI()+shift), 0.3+m.Len.Float()
			switch {
			case p < 55:
				cost += w * (6 + (55-p)*1.2)
			case p < 62:
				cost += w * (62 - p) * 0.6
			case p > 81:
				cost += w * (3 + (p-81)*1.5)
			case p > 76:
				cost += w * (p - 76) * 0.35
			}
			cost += w * abs(p-70) * 0.06
		}
		if lo+shift < n.Low() {
			cost += 1e6 * float64(n.Low()-lo-shift)
		}
		if hi+shift > n.High() {
			cost += 1e6 * float64(hi+shift-n.High())
		}
		if cost < bestCost-1e-9 {
			best, bestCost = shift, cost
		}
	}
	for _, m := range t.Melody {
		p := m.Pitch.MIDI() + best
		if p < n.Low() || p > n.High() {
			return 0, fmt.Errorf("bar %s: the tune spans %d semitones, more than the neck holds from %d to %d (leave that note out, or choose another key)",
				barLabel(t, m.At), hi-lo, n.Low(), n.High())
		}
		if len(n.Stops(p)) == 0 {
			return 0, fmt.Errorf("bar %s: pitch %d lies between two strings of this tuning, on no fret in use (take more frets, or tune the strings closer)", barLabel(t, m.At), p)
		}
	}
	return best, nil
}

// The range in which a tune has strings below it for its chords and still lies
// on the high ones, from A3 to E5, and how much of it may lie outside
// (harmony.md 4.3; the share is the project's own).
const (
	lowestEasy, highestEasy = 57, 76
	hardShare               = 0.25
)

// outOfTheWay says that much of the tune lies too high or too low for a full
// setting, in the best octave there is; empty when it lies well.
func (s *score) outOfTheWay() string {
	var all, high, low Tick
	top, bottom := s.tune[0].midi, s.tune[0].midi
	for _, n := range s.tune {
		d := n.end - n.at
		all += d
		if n.midi > highestEasy {
			high += d
		}
		if n.midi < lowestEasy {
			low += d
		}
		top, bottom = max(top, n.midi), min(bottom, n.midi)
	}
	where := ""
	switch share := hardShare * float64(all); {
	case float64(high) > share:
		where = fmt.Sprintf("high up the neck, to fret %d of the first string", top-64)
	case float64(low) > share:
		where = "low, where few strings are left for chords"
	default:
		return ""
	}
	return fmt.Sprintf("much of the tune lies %s, and no octave suits all of it (it spans %d semitones): keys shows where it lies better", where, top-bottom)
}

func barLabel(t *theory.Tune, at theory.Time) string {
	label := "0"
	for _, b := range t.Bars {
		if b.At.Cmp(at) <= 0 {
			label = b.Label
		}
	}
	return label
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}

func absInt(x int) int {
	if x < 0 {
		return -x
	}
	return x
}
