package midiio

import (
	"cmp"
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
	clickHighVel = 100
	clickLowVel  = 76
)

// Velocities of the voices and how far phrasing moves them. The melody stays
// above the bass and the bass above the inner voices whatever is added.
// (Common practice, no source: a start of +4 dB for the melody.)
const (
	velMelody = 96
	velBass   = 80
	velInner  = 64
	velFlat   = 80
	velTop    = 6  // the highest note of a phrase
	velLast   = -4 // its last
	velDown   = 2  // on the first beat
	velOff    = -2 // between beats
	velFill   = -4
)

// Spread of a chord, from one string to the next: heard as one stroke; in slow
// straight music a soft roll (harmony.md 5.6: 15-25 ms per string).
const (
	spreadStep   = 8 * time.Millisecond
	spreadBallad = 18 * time.Millisecond
	balladBPM    = 80
	// The finger lies on the string a moment before it plucks it anew.
	plant = 2 * time.Millisecond
)

// stroke is a note on its way into the performance.
type stroke struct {
	note    voicing.Note
	on, off Tick
	nudge   time.Duration // of the attack
	offNud  time.Duration
	vel     int
}

// Perform plays an arrangement: swing, levels, chord spread; the channel of a
// note is its string (string 1, the highest, on channel 1). With a straight
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
	for _, sec := range a.Sections {
		// A section without a name has nothing to show in a list of markers.
		if sec.Name != "" && sec.From >= 0 && sec.From < len(a.Bars) {
			s.Markers = append(s.Markers, Text{Tick(a.Bars[sec.From].At), sec.Name})
		}
	}
	for _, c := range a.Chords {
		s.Chords = append(s.Chords, Text{g.warp(Tick(c.At)), c.Symbol})
	}

	strokes := layStrokes(a, g)
	setLevels(a, strokes, opt.NoLevels)
	if !opt.NoSpread {
		spread(s, strokes, g)
	}

	used := [numLayers]uint16{}
	for _, k := range strokes {
		ch := k.note.String - 1
		l := layerOf(k.note.Voice)
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
	if opt.Click {
		s.Events = append(s.Events, clicks(a)...)
	}
	sortEvents(s.Events)
	return s
}

func layerOf(v voicing.Voice) Layer {
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

func setLevels(a *voicing.Arrangement, ks []stroke, flat bool) {
	bar := 0
	for i := range ks {
		k := &ks[i]
		if flat {
			k.vel = velFlat
			continue
		}
		switch k.note.Voice {
		case voicing.Melody:
			k.vel = velMelody
		case voicing.Bass:
			k.vel = velBass
		default:
			k.vel = velInner
		}
		if k.note.Fill {
			k.vel += velFill
		}
		for bar < len(a.Bars)-1 && a.Bars[bar+1].At <= k.note.At {
			bar++
		}
		if bar < len(a.Bars) && a.Bars[bar].Beat > 0 && k.note.Voice != voicing.Inner {
			b := a.Bars[bar]
			pos := k.note.At - b.At
			if isPickup(a.Bars, bar) {
				pos += max(fullBar(b)-b.Len, 0)
			}
			switch {
			case pos == 0:
				k.vel += velDown
			case pos%b.Beat != 0:
				k.vel += velOff
			}
		}
	}
	if flat {
		return
	}
	for _, p := range a.Phrases {
		if p.From < 0 || p.To > len(a.Bars) || p.From >= p.To {
			continue
		}
		from, to := a.Bars[p.From].At, a.Bars[p.To-1].At+a.Bars[p.To-1].Len
		top, last := -1, -1
		for i, k := range ks {
			if k.note.Voice != voicing.Melody || k.note.Fill || k.note.At < from || k.note.At >= to {
				continue
			}
			if top < 0 || k.note.MIDI > ks[top].note.MIDI {
				top = i
			}
			last = i
		}
		if top >= 0 {
			ks[top].vel += velTop
		}
		if last >= 0 && last != top {
			ks[last].vel += velLast
		}
	}
}

// spread rolls chords from the lowest string up so that the melody, or else
// the highest string, falls on the beat. An early attack shortens what rang on
// its string.
func spread(s *Sequence, ks []stroke, g *grid) {
	at := s.secondsTable()
	prev := [9]int{} // stroke before on each string, plus one
	for i := 0; i < len(ks); {
		j := i
		for j < len(ks) && ks[j].on == ks[i].on {
			j++
		}
		chord := ks[i:j]
		pivot := len(chord) - 1
		for n, k := range chord {
			if k.note.Voice == voicing.Melody && !k.note.Fill {
				pivot = n
			}
		}
		step := spreadStep
		bpm := s.TempoAt(ks[i].on)
		beat := PerQuarter
		if b := s.BarAt(ks[i].on); b >= 0 && s.Bars[b].Beat > 0 {
			beat = s.Bars[b].Beat
		}
		if g.feel.Ratio <= 1 && len(chord) >= 4 && bpm*float64(PerQuarter)/float64(beat) < balladBPM {
			step = spreadBallad
		}
		least := -at(ks[i].on) // not before the first tick
		for n := range chord {
			k := &chord[n]
			nudge := time.Duration(n-pivot) * step
			if n > pivot {
				// A string above the melody comes after it, within its own length.
				nudge = min(nudge, (at(k.off)-at(k.on))/2)
			}
			var before *stroke
			if p := prev[k.note.String]; p > 0 {
				before = &ks[p-1]
				start := at(before.on) + before.nudge
				if before.off == k.on {
					// Leave what rang at least half of its time.
					nudge = max(nudge, (at(k.on)-start)/-2)
				} else {
					nudge = max(nudge, at(before.off)-at(k.on))
				}
			}
			nudge = max(nudge, least)
			k.nudge = nudge
			least = max(least, nudge) // low to high, whatever was held back
			if before != nil && before.off == k.on {
				room := at(k.on) + nudge - at(before.on) - before.nudge
				before.offNud = nudge - min(plant, max(room/2, 0))
			}
		}
		for n := range chord {
			prev[chord[n].note.String] = i + n + 1
		}
		i = j
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
