package voicing

import (
	"fmt"
	"math/bits"
	"slices"
	"sort"

	"thumbline/theory"
)

// lengths decides when the notes stop, once all of them are there. What the
// hand can hold, it has held so far; now each bass gives way to the next, stabs
// are short, and the hand lets go in time for where it goes next.
func (l *layer) lengths() {
	sort.SliceStable(l.done, func(i, j int) bool {
		if l.done[i].at != l.done[j].at {
			return l.done[i].at < l.done[j].at
		}
		return l.done[i].midi < l.done[j].midi
	})
	for k := range l.done {
		if x := &l.done[k]; x.meant == 0 {
			x.meant = x.end
		}
	}
	l.oneBass()
	l.shorten()
	for l.letGo() {
	}
}

// oneBass ends each bass where the next one comes: two at once are mud. Only the
// ground of a chord rings on under a bass above it that answers in that chord.
func (l *layer) oneBass() {
	var ringing []*strike
	for k := range l.done {
		x := &l.done[k]
		if x.voice != Bass {
			continue
		}
		ringing = slices.DeleteFunc(ringing, func(b *strike) bool {
			if c := l.w.s.chordAt(x.at); b.at == x.at ||
				x.midi > b.midi && c >= 0 && b.at >= l.w.s.chords[c].at && int(b.midi)%12 == l.w.s.chords[c].chord.BassPC() {
				return false
			}
			b.stopAt(x.at)
			return true
		})
		ringing = append(ringing, x)
	}
}

// stopAt ends a note at t on purpose, if it would ring longer.
func (x *strike) stopAt(t Tick) {
	x.meant = min(x.meant, t)
	if x.end >= t {
		x.end, x.why = t, EndMeant
	}
}

// The tempo from which chords are left to ring, in seconds a quarter, and the
// least that a stab sounds, in seconds. (Common practice, no source, for both:
// in the models stabs in rests last half a beat, in the ballad a beat and more.)
const (
	ringingQuarter = 0.75
	shortestStab   = 0.2
)

// stabEnd is when a stab that is struck at t stops: half a beat later, and under
// the tune at the next beat. 0 where it is left to ring.
func (s *score) stabEnd(t Tick) Tick {
	if s.seconds(0, PerQuarter) > ringingQuarter {
		return 0
	}
	bar := s.bars[s.barAt(t)]
	end := t + halfUnit(bar)
	if s.tuneOver(t) > 0 && (t-bar.At)%unit(bar) == 0 {
		end = t + unit(bar)
	}
	return s.heardFrom(t, end)
}

// heardFrom puts off the end of what is struck at t until it is heard, by half
// beats.
func (s *score) heardFrom(t, end Tick) Tick {
	for s.seconds(t, end) < shortestStab {
		end += halfUnit(s.bars[s.barAt(t)])
	}
	return end
}

// stabs gives two inner voices that answer by themselves their length: the chord
// is there already, so they only mark the time (harmony.md 5.7).
func (l *layer) stabs(i int, a answer, best, now []strike) {
	p := &l.w.ps[i]
	if !a.pair || len(best) < 2 || p.final || l.waited[i] && a.at == p.texture.split {
		return
	}
	for k := range now {
		if now[k].tune >= 0 {
			return
		}
	}
	for k := range best {
		best[k].brief = l.w.s.stabEnd(a.at)
	}
}

// shorten makes the stabs short, but those that are needed: the only ones with a
// guide tone, and those after which nothing would sound.
func (l *layer) shorten() {
	for i := 0; i < len(l.done); {
		j := i + len(coming(l.done[i:]))
		for k := i; k < j; k++ {
			if end := l.done[k].brief; end > 0 {
				if !l.needed(i, j, end) {
					l.brief(l.done[i:j])
				}
				break
			}
		}
		i = j
	}
}

// brief ends the stab of one attack.
func (l *layer) brief(attack []strike) {
	for k := range attack {
		if x := &attack[k]; x.brief > 0 {
			x.stopAt(x.brief)
		}
	}
}

// needed reports whether the stab of the attack [i, j) in done must ring on
// after end: more than half a beat of silence would follow it, or it has a guide
// tone of its chord that was not heard before and that nothing else has by then.
func (l *layer) needed(i, j int, end Tick) bool {
	s := l.w.s
	next := s.end
	if j < len(l.done) {
		next = l.done[j].at
	}
	var rings, heard theory.PCSet // without the stab: at end, and since the chord came
	from := s.chords[max(s.chordAt(end-1), 0)].at
	first := min(from, end-16*PerQuarter) // what began before that counts as silent
	for k := sort.Search(len(l.done), func(k int) bool { return l.done[k].at >= first }); k < len(l.done) && l.done[k].at <= end; k++ {
		x := &l.done[k]
		if x.brief > 0 && k >= i && k < j {
			continue
		}
		if x.end > end {
			rings = rings.With(int(x.midi))
		}
		if x.at >= from && k < i {
			heard = heard.With(int(x.midi))
		}
	}
	if rings == 0 && next-end > s.bars[s.barAt(end)].Beat/2 {
		return true
	}
	for k := i; k < j; k++ {
		x := &l.done[k]
		pc := int(x.midi) % 12
		if x.brief > 0 && x.end > end && slices.Contains(l.pals[x.point].guides, pc) && !rings.Has(pc) && !heard.Has(pc) {
			return true
		}
	}
	return false
}

// hurried is the most of the time since the last attack that a move takes: a
// note that was struck is heard. A hand with less time than it needs hurries.
const hurried = 0.6

// letGo ends in time what the hand must leave for what comes: before a shift all
// that is fretted but by a finger that slides along its string, before a change
// in one place what cannot be held together with the new notes (harmony.md 6.2).
// It lets go as late as it can. It reports whether a note that kept the hand in
// its place at one attack was cut back to it for the next, so that the hand is
// free there after all and the moves must be looked at again.
func (l *layer) letGo() (again bool) {
	s := l.w.s
	var live []int // in done
	var buf [16]strike
	pos, last := int8(0), Tick(0) // where the hand was, and when it struck there last
	for i := 0; i < len(l.done); {
		now := coming(l.done[i:])
		t, j := now[0].at, i+len(now)
		if place, fretted := placeOf(now); fretted {
			m := move{t: t, now: now, held: append(buf[:0], now...)}
			stays := false
			for _, k := range live {
				if x := &l.done[k]; x.end > t {
					m.held = append(m.held, *x)
					stays = stays || x.fret > 0
				}
			}
			if pos > 0 && !stays {
				m.from, m.to = pos, place
			}
			// what has ended by then is in nobody's way
			soonest := s.before(t, shiftTime(absInt(int(m.to)-int(m.from))))
			for _, k := range live {
				x := &l.done[k]
				if x.fret == 0 || x.end > t || x.end <= soonest {
					continue
				}
				away, why, finger := l.away(x, &m)
				if away == 0 {
					continue
				}
				end := max(s.before(t, away), last)
				if x.at >= last {
					end = max(end, t-Tick(hurried*float64(t-x.at)))
				}
				if x.end > end {
					again = again || x.at < last && end <= last
					x.end, x.why = end, why
					x.from, x.to, x.by = m.from, m.to, finger
				}
			}
			pos, last = place, t
		}
		horizon := s.before(t, 1) // no move takes as long
		live = slices.DeleteFunc(live, func(k int) bool { return l.done[k].end < horizon })
		for k := i; k < j; k++ {
			live = append(live, k)
		}
		i = j
	}
	return again
}

// A move is what the hand does for one attack.
type move struct {
	t        Tick
	now      []strike // what is struck
	held     []strike // that, and what rings on
	from, to int8     // the places between which it moves; equal when something that rings on keeps it there
}

// away is how long before a move the hand must leave x, in seconds, why, and for
// which stop where its finger is needed; 0 when it can hold x until then.
func (l *layer) away(x *strike, m *move) (float64, End, Stop) {
	var buf [17]strike
	ns := buf[:0]
	var goes Stop
	for k := range m.held {
		n := &m.held[k]
		if n.str == x.str {
			if n.finger == x.finger {
				return 0, EndMeant, goes // it stays, or slides along its string
			}
			continue
		}
		if n.finger == x.finger {
			goes = Stop{n.str, n.fret}
		}
		ns = append(ns, *n)
	}
	far := absInt(int(m.to) - int(m.from))
	if far > 2 {
		return shiftTime(far), EndShift, goes
	}
	if l.together(append(ns, *x)) {
		return 0, EndMeant, goes
	}
	if goes.String == 0 && far > 0 {
		return shiftTime(far), EndShift, goes
	}
	var fingers uint8
	for k := range m.now {
		fingers |= 1 << uint(m.now[k].finger)
	}
	if bits.OnesCount8(fingers&^1) >= 3 {
		return gripTime, EndFinger, goes
	}
	return fingerTime, EndFinger, goes
}

// letsGo lists what of the tune stops before its written end.
func (l *layer) letsGo() []LetGo {
	var out []LetGo
	for k := range l.done {
		x := &l.done[k]
		if x.tune < 0 || x.end >= x.meant || l.w.s.tune[x.tune].fill {
			continue
		}
		g := LetGo{At: x.at, Dur: x.end - x.at, Early: x.meant - x.end, Pitch: l.w.s.tune[x.tune].pitch, MIDI: int(x.midi), Ends: x.why}
		switch {
		case x.why == EndString:
			g.Reason = "its string is struck again"
		case x.why == EndShift:
			g.Reason = fmt.Sprintf("the hand moves from fret %d to fret %d", x.from, x.to)
		case x.why == EndFinger && x.by.String > 0:
			g.Reason = fmt.Sprintf("finger %d is needed on string %d at fret %d", x.finger, x.by.String, x.by.Fret)
		case x.why == EndFinger:
			g.Reason = fmt.Sprintf("finger %d would be in the way of what comes", x.finger)
		default:
			g.Reason = "the hand cannot hold it with what comes"
		}
		out = append(out, g)
	}
	return out
}
