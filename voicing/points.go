package voicing

import "sort"

// A point is a place in the tune where harmony is due: a change of chord, a
// long note, a strong beat long after the last point. The stretch up to the
// next point is its own: the bare notes of the tune in it, what answers under
// long notes, and the hand's way to the next point.
type point struct {
	at, end Tick
	from    Tick // when the tune note that the grip is built under is struck if it comes early, else at
	chord   int  // index into score.chords, never N.C.
	tune    int  // the tune note the grip is built under, -1 for none
	held    bool // that note started before at
	late    bool // that note starts after at: the bass comes first
	early   bool // that note was moved before at, and the inner voices with it: the bass comes after
	change  bool // the chord changes here
	section bool
	cadence bool // the last point of a phrase, but for chords that lead on from it
	closes  bool // the last point of a phrase
	final   bool // the last point of the tune
	light   bool // hardly any time: few notes
	comp    bool // in a chorus without its tune
	pushed  bool // and its chord comes half a unit before it
	pushes  bool // or that of the next one does
	phrase  int

	wait    Tick      // when solo's chord comes, where that is with the tune's next beat; 0 elsewhere
	want    []tone    // what it is then
	owes    bool      // no grip of a trio has its guide tones: they are to come
	said    bool      // its grip has to have them: no answer brought them
	grain   float64   // factor on the price of a note here
	layouts []texture // the ways it may be laid out
	texture texture   // the one that is taken
}

// points finds where harmony is due.
func (s *score) points() []point {
	var ps []point
	have := func(t Tick) bool { return len(ps) > 0 && ps[len(ps)-1].at == t }
	add := func(t Tick, change bool) {
		c := s.chordAt(t)
		if !change && s.compPickup(t) {
			return
		}
		if c < 0 || s.chords[c].chord.NoChord || t >= s.end || have(t) {
			return
		}
		p := point{at: t, from: t, chord: c, tune: -1, change: change}
		ps = append(ps, p)
	}
	for ci, c := range s.chords {
		if c.chord.NoChord {
			continue
		}
		change := ci == 0 || s.chords[ci-1].chord != c.chord || c.asked != nil
		again := !change && len(ps) > 0 && s.start[s.barAt(c.at)] == c.at && c.at-ps[len(ps)-1].at >= 2*s.bars[s.barAt(c.at)].Beat
		if !change && !again && len(ps) > 0 {
			again = s.dueBefore(c.at, ps)
		}
		if change || again { // a symbol written again at a bar line asks for its bass again
			add(c.at, change)
		}
		// long notes and strong beats inside the chord
		for t := c.at; t < c.end; {
			next := s.nextDue(t, c.at, c.end, ps)
			if next < 0 {
				break
			}
			add(next, false)
			t = next + 1
		}
		if k := len(s.tune) - 1; ci == len(s.chords)-1 && k >= 0 && s.tune[k].at >= c.at && (len(ps) == 0 || s.tune[k].at > ps[len(ps)-1].at) {
			add(s.tune[k].at, false) // the last chord comes with the tune's last note
		}
	}
	phrase := 0
	for i := range ps {
		p := &ps[i]
		p.end = s.end
		if i+1 < len(ps) {
			p.end = ps[i+1].at
		}
		// a stretch ends where N.C. begins
		if c := s.chords[p.chord]; c.end < p.end && p.chord+1 < len(s.chords) && s.chords[p.chord+1].chord.NoChord {
			p.end = c.end
		}
		p.section = s.section[p.at]
		for b := s.barAt(p.at); phrase+1 < len(s.phrase) && s.phrase[phrase].To <= b; {
			phrase++
		}
		p.phrase = phrase
	}
	for i := range ps {
		p := &ps[i]
		p.final = i == len(ps)-1
		p.closes = p.final || ps[i+1].phrase != p.phrase
		p.cadence = p.closes
		if s.chords[p.chord].added != "" {
			p.cadence = false // it leads on
		} else if !p.final && s.chords[ps[i+1].chord].added != "" {
			p.cadence = true // what it leads on from
		}
		s.fitTune(p)
		if i > 0 && s.seconds(ps[i-1].at, p.at) < 0.30 || s.seconds(p.at, p.end) < 0.30 {
			p.light = true
		}
	}
	s.compPoints(ps)
	return ps
}

// dueBefore reports whether harmony was due at t the time before.
func (s *score) dueBefore(t Tick, ps []point) bool {
	b := s.barAt(t)
	if s.earlier[b] < 0 {
		return false
	}
	t -= s.start[b] - s.start[s.earlier[b]]
	k := sort.Search(len(ps), func(k int) bool { return ps[k].at >= t })
	return k < len(ps) && ps[k].at == t
}

// nextDue is the next place after t, inside a chord, that wants harmony though
// the chord stays: a note of two beats and more, or a strong beat four beats
// after the last point. -1 when there is none.
func (s *score) nextDue(t, from, to Tick, ps []point) Tick {
	last := from
	if len(ps) > 0 {
		last = ps[len(ps)-1].at
	}
	for i := s.tuneAt(t); i < len(s.tune); i++ {
		if i < 0 {
			continue
		}
		n := s.tune[i]
		at := n.written() // the bass keeps its beat
		if at < t || at <= last {
			continue
		}
		if at >= to {
			break
		}
		beat := s.bars[s.barAt(at)].Beat
		if n.end-at >= 2*beat && at-last >= 2*beat && s.onBeat(at) {
			return at
		}
		if at-last >= 4*beat && s.strong(at) {
			return at
		}
	}
	// rests and very long notes: bar lines
	for _, b := range s.bars[s.barAt(t):] {
		if b.At >= to {
			break
		}
		if b.At >= t && b.At > last && (b.At-last >= 4*b.Beat || s.comps(b.At)) {
			return b.At
		}
	}
	return -1
}

// fitTune finds the tune note that belongs to a point.
func (s *score) fitTune(p *point) {
	i := s.tuneAt(p.at)
	beat := s.bars[s.barAt(p.at)].Beat
	switch {
	case i >= 0 && s.tune[i].at == p.at:
		p.tune = i
	case i >= 0 && s.tune[i].moved < 0 && s.tune[i].written() == p.at:
		p.tune, p.early, p.from = i, true, s.tune[i].at
	case i >= 0 && s.tune[i].end > p.at+beat/4:
		p.tune, p.held = i, true
	case i+1 < len(s.tune) && s.tune[i+1].at <= p.at+beat && max(s.tune[i+1].at, s.tune[i+1].written()) < p.end:
		p.tune, p.late = i+1, true
	}
}

// nextOnset is the first tune onset after t, or the end.
func (s *score) nextOnset(t Tick) Tick {
	i := s.tuneAt(t) + 1
	if i < len(s.tune) {
		return s.tune[i].at
	}
	return s.end
}

// passing reports whether tune note k passes through the diminished steps.
func (s *score) passing(p *point, k int) bool {
	_, ok := s.passes(p, k)
	return ok
}

// phraseRest keeps the last beat before a new phrase free of off-beats.
func (s *score) phraseRest(t Tick, p *point) bool {
	return p.cadence && p.end-t < s.bars[s.barAt(t)].Beat
}

// settle fits the texture of a point to the grip that was chosen for it: a bass
// that is not the root cannot be the last word, and where there is no bass the
// chord itself takes the beat that nothing else strikes.
func (s *score) settle(p *point, g *grip) {
	if s.trio {
		return
	}
	tx := &p.texture
	b, ok := g.bass()
	if tx.rootLast && ok && int(b.midi)%12 == s.chords[p.chord].chord.RootPC() {
		tx.bassAt, tx.name = tx.answers[len(tx.answers)-1].at, "together, the low root last"
		tx.answers = tx.answers[:len(tx.answers)-1]
	}
	if !ok && p.early {
		tx.innerAt, tx.name = p.at, "tune early, chord on the beat"
	}
	if !ok && (p.change || p.tune < 0 || p.held || p.late) && tx.innerAt > p.at && s.under(p.at, g) {
		tx.innerAt, tx.name = p.at, "chord on the beat"
	}
	if !ok && p.tune >= 0 && !p.held && !p.late && !p.early && tx.innerAt > p.at {
		tx.name = "tune first, chord after"
	}
}

// under reports whether the inner voices of a grip lie under the note of the
// tune that still sounds at t: a late point is gripped for the one after it.
func (s *score) under(t Tick, g *grip) bool {
	over, inner := s.tuneOver(t), g.inner()
	return over == 0 || len(inner) == 0 || int(inner[0].midi) < over-1
}

// falls reports whether the bass comes home by a fifth. Then the ear waits for
// the root and it may come last; a bass that comes by step lands at once.
func (s *score) falls(p *point) bool {
	if p.chord == 0 || s.chords[p.chord].chord.Slash {
		return false
	}
	before := s.chords[p.chord-1].chord
	return !before.Slash && fallsFifth(before, s.chords[p.chord].chord)
}
