package voicing

import (
	"fmt"
	"slices"

	"thumbline/theory"
)

// ParsePhrasing reads "written" or "relaxed"; empty is written.
func ParsePhrasing(s string) (relaxed bool, err error) {
	switch s {
	case "", "written":
		return false, nil
	case "relaxed":
		return true, nil
	}
	return false, fmt.Errorf("phrasing %q is not known (it is written or relaxed)", s)
}

// How fast and how slow the beat may be for a note half a beat off it to be
// heard as phrasing, in seconds (common practice, no source): a shorter push
// leaves no time for the bass after it, a longer one is another rhythm. In
// compound metre the third of a quick beat belongs to the dance.
const (
	shortestPush  = 0.12
	longestPush   = 0.7
	slowCompound  = 0.75  // a beat of compound metre
	slowPush      = 0.375 // from here on ends are laid back rather than pushed
	longestRub    = 0.3   // a minor ninth over the bass that still sounds
	mostInRow     = 2     // phrases with new motives moved to one side
	barsApart     = 4     // of the notes of one motive that are moved, at least, in the mean
	motiveContext = 3     // neighbours by which a motive is known, at most
)

// A shift is a place where a player may move a note of the tune half a beat: a
// start of a motive or an end of one, earlier or later.
type shift struct {
	note   int
	by     Tick // less than 0 is earlier
	phrase int
	rank   float64 // less is better
	motive motive
	ok     bool // there is room, and the harmony allows it
}

// A motive says what is alike to the ear when a tune comes back to it: where in
// the bar the note lies, the rhythm around it and the way the tune goes.
type motive struct {
	early, start bool
	beat, len    Tick
	rhythm       [motiveContext]Tick
	contour      [motiveContext]int8
}

// relax moves starts and ends of phrases as players do: an end that arrives on
// a strong beat is pushed half a beat before it, a start is laid back behind
// its beat; slow arrivals are laid back too. A phrase has one figure, and a
// motive that returns is phrased as it was. Where a phrase already has its
// figure, because the tune is written off the beat, nothing is added. The last
// note stays, so that the close is together, and no note goes over the bar line
// that begins a phrase, so that the phrase alone still has its beginning.
func (s *score) relax() {
	all := s.shifts()
	figure := make([]int, len(s.phrase)) // -1 early, 1 late, 0 as written
	last, row := 0, 0                    // figure of the phrase before, and of how many
	for p := range s.phrase {
		if figure[p] == 0 && !s.syncopated(p) {
			var best []shift
			for _, m := range s.inPhrase(all, p) {
				if row >= mostInRow && last != 0 && m.early == (last < 0) {
					continue
				}
				if x := alike(all, m); s.bearable(x, figure) && (best == nil || s.preferred(x, best, p, last)) {
					best = x
				}
			}
			for _, x := range best {
				figure[x.phrase] = sign(x.by)
			}
			s.move(best)
		}
		if row++; figure[p] != last {
			last, row = figure[p], 1
		}
	}
}

func sign(t Tick) int {
	if t < 0 {
		return -1
	}
	return 1
}

// inPhrase lists the motives that phrase p has, in order.
func (s *score) inPhrase(all []shift, p int) (out []motive) {
	for _, x := range all {
		if x.phrase == p && x.ok && !slices.Contains(out, x.motive) {
			out = append(out, x.motive)
		}
	}
	return out
}

// alike are the places of one motive.
func alike(all []shift, m motive) (out []shift) {
	for _, x := range all {
		if x.motive == m {
			out = append(out, x)
		}
	}
	return out
}

// bearable reports whether all these places can be moved without making a habit
// of it: none where another figure is, more than a bar apart, one in four bars in
// the mean.
func (s *score) bearable(xs []shift, figure []int) bool {
	if barsApart*len(xs) > len(s.bars)+barsApart {
		return false
	}
	for i, x := range xs {
		if !x.ok || figure[x.phrase] != 0 {
			return false
		}
		at := s.tune[x.note].at
		if i > 0 && at-s.tune[xs[i-1].note].at <= s.bars[s.barAt(at)].Len {
			return false
		}
	}
	return true
}

// preferred reports whether phrase p is better served by x than by y: by the
// other direction than the phrase before, then by rank.
func (s *score) preferred(x, y []shift, p, last int) bool {
	cost := func(xs []shift) float64 {
		best := 1e9
		for _, x := range xs {
			if x.phrase == p {
				c := x.rank
				if sign(x.by) == last {
					c += 0.4
				}
				best = min(best, c)
			}
		}
		return best
	}
	return cost(x) < cost(y)
}

// move moves the notes. A note before gives way; one that ends keeps its end.
func (s *score) move(xs []shift) {
	for _, x := range xs {
		n := &s.tune[x.note]
		n.at += x.by
		n.moved = x.by
		if x.note > 0 {
			s.tune[x.note-1].end = min(s.tune[x.note-1].end, n.at)
		}
	}
}

// written is where the sheet has the note.
func (n *tuneNote) written() Tick { return n.at - n.moved }

// syncopated reports whether the tune of phrase p is written off the beat
// already: a note that starts there holds over a strong beat, or comes half a beat
// behind the bar line.
func (s *score) syncopated(p int) bool {
	from, to := s.start[s.phrase[p].From], s.end
	if s.phrase[p].To < len(s.start) {
		to = s.start[s.phrase[p].To]
	}
	for i := max(s.tuneAt(from-1)+1, 0); i < len(s.tune) && s.tune[i].at < to; i++ {
		n := &s.tune[i]
		if s.onBeat(n.at) {
			continue
		}
		b := s.bars[s.barAt(n.at)]
		beat := b.Beat
		if n.at-b.At <= unit(b)/2 && (i == 0 || s.tune[i-1].end <= b.At) {
			return true
		}
		for t := n.at + 1; t < n.end && t <= n.at+beat; t++ {
			b := s.bars[s.barAt(t)]
			t += (b.Beat - (t-b.At)%b.Beat) % b.Beat // the next beat
			if t < n.end && s.strong(t) {
				return true
			}
		}
	}
	return false
}

// push is how far a note is moved in a bar: half a beat, the third of a slow
// beat in compound metre; 0 where nothing is.
func (s *score) push(b Bar) Tick {
	if compound(b) && s.seconds(b.At, b.At+b.Beat) < slowCompound {
		return 0
	}
	step := halfUnit(b)
	if d := s.seconds(b.At, b.At+step); step < PerQuarter/4 || d < shortestPush || d > longestPush {
		return 0
	}
	return step
}

// apart is the time from the start of tune note k to that of the next.
func (s *score) apart(k int) Tick {
	if k+1 < len(s.tune) {
		return s.tune[k+1].at - s.tune[k].at
	}
	return s.tune[k].end - s.tune[k].at
}

// accent reports whether t is a strong beat, and none of a pick-up.
func (s *score) accent(t Tick) bool { return s.strong(t) && !s.pickup(s.barAt(t)) }

// pickup reports whether bar i leads to the next.
func (s *score) pickup(i int) bool { return theory.Bar{Label: s.bars[i].Label}.IsPickup() }

// stops reports whether the tune comes to rest on note k: a rest follows, or it
// lasts for three beats or a bar.
func (s *score) stops(k int) bool {
	if k < 0 || k+1 >= len(s.tune) {
		return true
	}
	n, b := &s.tune[k], s.bars[s.barAt(s.tune[k].at)]
	u := unit(b)
	return s.tune[k+1].at-n.end >= u/2 || s.apart(k) >= min(3*u, b.full())
}

// shifts lists the places where a note may be moved, in order, whether it can
// be or not: what cannot is needed to know that a motive does not always have
// the room.
func (s *score) shifts() (out []shift) {
	phrases := s.groupPhrases()
	for k := 1; k+1 < len(s.tune); k++ {
		at := s.tune[k].at
		b := s.bars[s.barAt(at)]
		step := s.push(b)
		if step == 0 || !s.onBeat(at) || phrases[k] < 0 {
			continue
		}
		if s.tune[k].fill && !s.tune[k-1].fill {
			continue // an ending takes over there, and the tune's note lasts until then
		}
		starts, stops := s.stops(k-1), s.stops(k)
		slow := s.seconds(at, at+step) >= slowPush
		add := func(start bool, by Tick, rank float64) {
			out = append(out, shift{note: k, by: by, phrase: phrases[k], rank: rank, motive: s.motive(k, start, by < 0), ok: s.room(k, by, step)})
		}
		switch long := s.apart(k) >= 2*unit(b); {
		case starts && !stops:
			if s.accent(at) {
				add(true, step, 0)
				if s.apart(k) >= unit(b) {
					add(true, -step, 0.5)
				}
			} else if s.tune[k-1].end+step <= at { // one that follows a long note at once only leads on
				add(true, step, 0.75)
			}
		case s.accent(at) && (stops || long) && s.apart(k) > s.apart(k-1):
			rank := 0.
			if s.apart(k) < 3*unit(b) {
				rank += 0.25
			}
			if c := s.chordAt(at); c >= 0 && s.chords[c].at != at {
				rank += 0.25
			}
			if slow {
				add(false, step, rank)
				rank += 0.5
			}
			add(false, -step, rank)
		}
	}
	return out
}

// groupPhrases is the phrase of each note: that of the bar in the middle of its
// motive, so that a pick-up goes with what it leads to.
func (s *score) groupPhrases() []int {
	out := make([]int, len(s.tune))
	for from := 0; from < len(s.tune); {
		to := from
		for !s.stops(to) {
			to++
		}
		bar := s.barAt((s.tune[from].at + s.tune[to].end) / 2)
		p := slices.IndexFunc(s.phrase, func(x theory.Phrase) bool { return x.From <= bar && bar < x.To })
		for ; from <= to; from++ {
			out[from] = p
		}
	}
	return out
}

// motive is how note k is known again: a start by what follows, an end by what
// came before.
func (s *score) motive(k int, start, early bool) motive {
	at := s.tune[k].at
	b := s.bars[s.barAt(at)]
	m := motive{early: early, start: start, beat: at - b.At, len: min(s.apart(k), 2*unit(b))}
	for i := range motiveContext {
		j := k + i
		if !start {
			j = k - 1 - i
		}
		if j < 0 || j+1 >= len(s.tune) || absInt(int(s.tune[j].at-at)) > int(3*unit(b)) {
			break
		}
		m.rhythm[i] = s.apart(j)
		switch d := s.tune[j+1].midi - s.tune[j].midi; {
		case d < 0:
			m.contour[i] = -1
		case d > 0:
			m.contour[i] = 1
		}
		if start && s.stops(j) || !start && s.stops(j-1) {
			break
		}
	}
	return m
}

// room reports whether note k can be moved: half a beat is left of it and of
// the note before, and the harmony is neither too quick for it nor rubs for
// long.
func (s *score) room(k int, by, step Tick) bool {
	n := &s.tune[k]
	at := n.at
	u := unit(s.bars[s.barAt(at)])
	c := s.chordAt(at)
	if c < 0 || s.chords[c].chord.NoChord {
		return false
	}
	ch := &s.chords[c]
	comes := ch.at == at // the chord, with the note
	if comes && ch.end-at < 2*u || ch.end-at < u {
		return false
	}
	if by > 0 {
		return s.tune[k+1].at >= at+2*step && n.end >= at+2*step
	}
	if before := &s.tune[k-1]; before.at > at-2*step || s.begins(at) {
		return false
	}
	if !comes {
		return ch.at <= at-2*step
	}
	if c == 0 {
		return false
	}
	old := &s.chords[c-1]
	rubs := (n.midi-old.chord.BassPC()+12)%12 == 1 && s.seconds(at-step, at) > longestRub
	return !old.chord.NoChord && at-old.at >= 2*u && !rubs
}

// begins reports whether a phrase or a section begins at t, a pick-up left out.
func (s *score) begins(t Tick) bool {
	i := s.barAt(t)
	first := func(j int) bool {
		return s.section[s.start[j]] || slices.ContainsFunc(s.phrase, func(p theory.Phrase) bool { return p.From == j })
	}
	return s.start[i] == t && (first(i) || i > 0 && s.pickup(i-1) && first(i-1))
}
