package midiio

import (
	"cmp"
	"iter"
	"slices"
	"time"

	"thumbline/theory"
	"thumbline/voicing"
)

// PerformOptions says how an arrangement is performed. The zero value is the
// full performance: the arrangement's own feel, levels, spread chords.
type PerformOptions struct {
	Feel      *theory.Feel // nil: the arrangement's
	NoSpread  bool         // chords struck in one moment
	NoLevels  bool         // every note at the same velocity
	NoProgram bool         // no program change: the sound is chosen elsewhere
	Click     bool         // a click on every beat, in the layer Click
}

// JazzGuitar is the General MIDI program "Electric Guitar (jazz)" on the wire:
// 27 counted from 1.
const JazzGuitar = 26

const (
	clickChannel = 9 // channel 10, the drums of General MIDI
	clickHigh    = 76
	clickLow     = 77
	clickLength  = 50 * time.Millisecond
	clickHighVel = 127
	clickLowVel  = 104
)

// stroke is a note on its way into the performance.
type stroke struct {
	note    voicing.Note
	sung    voicing.Tick // of the tune: its length as one hears the line
	arrives bool         // of the tune: a phrase is there
	on, off Tick
	nudge   time.Duration // of the attack
	offNud  time.Duration
	vel     int
}

// Perform plays an arrangement: swing, levels, chord spread; the channel of a
// note is its string (string 1, the highest, on channel 1). The bass player and
// the drummer of a trio are on channels 9 and 10, in layers of their own. With a straight
// feel and NoSpread the events lie exactly at the arrangement's ticks.
//
// Where the arrangement has two notes on a string at once, the earlier is cut;
// of two that begin together the melody stays, then the bass. Notes on strings
// below 1 or above 8, and pitches outside 0..127, have no message and are left
// out.
func Perform(a *voicing.Arrangement, opt PerformOptions) *Sequence {
	feel := a.Feel
	if opt.Feel != nil {
		feel = *opt.Feel
	}
	g := newGrid(a, feel)
	s := &Sequence{Title: a.Title, End: Tick(a.End())}
	for _, m := range a.Tempi {
		if m.BPM > 0 {
			s.Tempi = append(s.Tempi, TempoMark{Tick(m.At), m.BPM})
		}
	}
	for i, b := range a.Bars {
		s.Bars = append(s.Bars, Bar{b.Label, Tick(b.At), Tick(b.Len), Tick(b.Beat), b.Metre})
		if k := (KeyMark{Tick(b.At), b.Key.Fifths, b.Key.Minor}); i == 0 ||
			k.Fifths != s.Keys[len(s.Keys)-1].Fifths || k.Minor != s.Keys[len(s.Keys)-1].Minor {
			s.Keys = append(s.Keys, k)
		}
	}
	s.Markers = markers(a)
	for _, c := range a.Chords {
		s.Chords = append(s.Chords, Text{g.warp(Tick(c.At)), c.Symbol})
	}

	strokes := layStrokes(a, g)
	measureTune(strokes)
	shape := shapePhrases(a, strokes)
	if opt.NoLevels {
		for i := range strokes {
			strokes[i].vel = flatVelocity
		}
	} else {
		setLevels(a, strokes, shape, feel)
	}
	if !opt.NoSpread {
		spread(strokes, newRoller(s, a, strokes, feel))
	}

	used := [numLayers]uint16{}
	for _, k := range strokes {
		ch := k.note.String - 1
		l := LayerOf(k.note.Voice)
		used[l] |= 1 << ch
		s.Events = append(s.Events,
			Event{k.on, k.nudge, l, noteOn(ch, k.note.MIDI, k.vel)},
			Event{k.off, k.offNud, l, noteOff(ch, k.note.MIDI)})
		s.End = max(s.End, k.off)
	}
	if !opt.NoProgram {
		for l, set := range used {
			for ch := range 16 {
				if set>>ch&1 != 0 {
					s.Events = append(s.Events, Event{Layer: Layer(l), Msg: [3]byte{statusProgram | byte(ch), JazzGuitar}})
				}
			}
		}
	}
	s.Events = append(s.Events, playBand(a, g, shape, opt)...)
	for _, n := range a.Bassist {
		s.End = max(s.End, g.warp(Tick(n.At+n.Dur)))
	}
	if opt.Click {
		s.Events = append(s.Events, clicks(a)...)
	}
	sortEvents(s.Events)
	return s
}

// markers are the choruses and the sections, a chorus before the section that
// begins with it. A section without a name has nothing to show.
func markers(a *voicing.Arrangement) []Text {
	var out []Text
	for _, sec := range slices.Concat(a.Choruses, a.Sections) {
		if sec.Name != "" && sec.From >= 0 && sec.From < len(a.Bars) {
			out = append(out, Text{Tick(a.Bars[sec.From].At), sec.Name})
		}
	}
	slices.SortStableFunc(out, func(x, y Text) int { return cmp.Compare(x.Tick, y.Tick) })
	return out
}

// LayerOf is the layer that a voice is heard in.
func LayerOf(v voicing.Voice) Layer {
	switch v {
	case voicing.Melody:
		return Melody
	case voicing.Bass:
		return Bass
	}
	return Inner
}

// layStrokes puts the notes at their performed ticks, one at a time on each
// string, none empty, in order of attack and then from the lowest string up.
func layStrokes(a *voicing.Arrangement, g *grid) []stroke {
	var byString [9][]stroke
	for _, n := range a.Notes {
		if n.String < 1 || n.String > 8 || n.MIDI < 0 || n.MIDI > 127 || n.At < 0 {
			continue
		}
		on := g.warp(Tick(n.At))
		byString[n.String] = append(byString[n.String],
			stroke{note: n, on: on, off: max(g.warp(Tick(n.At+n.Dur)), on+1)})
	}
	order := [...]int{voicing.Melody: 0, voicing.Bass: 1, voicing.Inner: 2}
	var all []stroke
	for _, ks := range byString {
		slices.SortStableFunc(ks, func(x, y stroke) int {
			return cmp.Or(cmp.Compare(x.note.At, y.note.At), cmp.Compare(order[x.note.Voice], order[y.note.Voice]))
		})
		ks = slices.CompactFunc(ks, func(x, y stroke) bool { return x.note.At == y.note.At })
		for i := range ks {
			if i > 0 {
				// Swing may bring attacks a tick apart onto one tick.
				ks[i].on = max(ks[i].on, ks[i-1].on+1)
				ks[i].off = max(ks[i].off, ks[i].on+1)
				ks[i-1].off = min(ks[i-1].off, ks[i].on)
			}
		}
		all = append(all, ks...)
	}
	slices.SortStableFunc(all, func(x, y stroke) int {
		return cmp.Or(cmp.Compare(x.on, y.on), cmp.Compare(y.note.String, x.note.String))
	})
	return all
}

// chords are the strokes that lie on one tick, group by group.
func chords(ks []stroke) iter.Seq[[]stroke] {
	return func(yield func([]stroke) bool) {
		for len(ks) > 0 {
			n := 1
			for n < len(ks) && ks[n].on == ks[0].on {
				n++
			}
			if !yield(ks[:n:n]) {
				return
			}
			ks = ks[n:]
		}
	}
}

// secondsTable is a function from ticks to real time at the written tempo, for
// nudges; the transport and the files have exact ones.
func (s *Sequence) secondsTable() func(Tick) time.Duration {
	type seg struct {
		at   Tick
		sec  float64
		slow float64 // seconds a tick
	}
	segs := []seg{{0, 0, 60 / DefaultBPM / float64(PerQuarter)}}
	for _, m := range s.Tempi {
		l := segs[len(segs)-1]
		n := seg{m.Tick, l.sec + float64(m.Tick-l.at)*l.slow, 60 / m.BPM / float64(PerQuarter)}
		if m.Tick <= l.at {
			segs[len(segs)-1] = seg{l.at, l.sec, n.slow}
			continue
		}
		segs = append(segs, n)
	}
	return func(t Tick) time.Duration {
		i := len(segs) - 1
		for i > 0 && segs[i].at > t {
			i--
		}
		return time.Duration((segs[i].sec + float64(t-segs[i].at)*segs[i].slow) * float64(time.Second))
	}
}

// clicks is a click on each beat of the arrangement's bars.
func clicks(a *voicing.Arrangement) []Event {
	var evs []Event
	for i, b := range a.Bars {
		if b.Beat <= 0 {
			continue
		}
		first := voicing.Tick(0)
		if isPickup(a.Bars, i) {
			first = b.Len % b.Beat
		}
		for pos := first; pos < b.Len; pos += b.Beat {
			evs = append(evs, click(Tick(b.At+pos), pos == 0 && !isPickup(a.Bars, i))...)
		}
	}
	return evs
}

func click(t Tick, high bool) []Event {
	key, vel := clickLow, clickLowVel
	if high {
		key, vel = clickHigh, clickHighVel
	}
	return []Event{
		{t, 0, Click, noteOn(clickChannel, key, vel)},
		{t + 1, clickLength, Click, noteOff(clickChannel, key)},
	}
}
