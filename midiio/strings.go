package midiio

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// StringsOptions say what strings a piece is laid on.
type StringsOptions struct {
	Open  []int // pitch of each open string, string 1, the highest, first; 1 to 8 of them
	Frets int   // the highest fret; 0 means 24
	// Most is how many strings there may be in all, at least those of Open and
	// at most MostStrings, which 0 means.
	Most int
	// Stroke says which keys of channel 10 have a sound; nil: all of them.
	Stroke func(key int) bool
}

// MostStrings is how many strings have a channel: 16 but for the bass and the
// strokes that keep time.
const MostStrings = 14

// Pitches that strings can sound at, those of 20 Hz and 4.2 kHz.
const (
	lowestPitch  = 16
	highestPitch = 108
)

const bassChannel = 8

// Strung is a piece laid on strings: on every channel of the sequence sounds at
// most one note at a time, but on channel 10.
type Strung struct {
	*Sequence
	// Open is the pitch of each open string: those asked for, then those
	// added. String n is on channel n, from the ninth on on channel n+2;
	// channel 9 is the bass, channel 10 strokes that keep time.
	Open []int
	// Kept tells that the piece was laid on these strings as it came.
	Kept bool
	Bass int // notes on the bass
	// Notes are those that sound, without strokes.
	Notes []StrungNote
	// What could not be: notes ended sooner to free their string, notes for
	// which there was no string, notes no string is tuned for, strokes that
	// have no sound.
	Ended, Lost, Outside, Strokes int
	// Ignored is what the piece asks for and strings do not do, in words.
	Ignored []string
}

// A StrungNote is a note with its channel, from 0.
type StrungNote struct {
	At, End     Tick
	Channel     int
	Key         int
	Velocity    int
	Volume      int // of its channel where it begins, 0 to 127; 100 is usual
	layer       Layer
	from        int  // the channel it came on
	written     Tick // where its key is let go
	release     byte // velocity
	bass        bool // by its program
	unplaceable bool
}

// Strings lays a piece on strings. Notes that are laid out so already, one
// channel a string, two strings at least, and one note at a time on each, within
// the frets, keep their strings. All others go to the free string on which they lie lowest; where
// none is free strings are added, and where there may be no more, what has rung
// longest on the pedal, or else would end first, ends. What lies below the
// lowest string, and what is for a bass by its program, goes to the bass while
// that is free.
//
// Notes ring while the sustain pedal (CC 64) is down. Volume and expression
// (CC 7 and 11) become the volume of the strings they are for. The pluck and
// the palm (CC 16 and 17) are kept with the strings. s is not changed.
func Strings(s *Sequence, o StringsOptions) (*Strung, error) {
	if o.Frets == 0 {
		o.Frets = 24
	}
	if o.Most == 0 {
		o.Most = MostStrings
	}
	if n := len(o.Open); n < 1 || n > 8 || o.Most < n || o.Most > MostStrings {
		return nil, fmt.Errorf("strings: %d strings, %d at most (1 to 8, and up to %d)", n, o.Most, MostStrings)
	}
	g := &stringer{StringsOptions: o, out: &Strung{Open: slices.Clone(o.Open)}}
	g.read(s)
	if g.out.Kept = g.laid(); g.out.Kept {
		g.keep()
	} else {
		g.spread()
	}
	g.write(s)
	g.out.Ignored = g.ignored(s)
	return g.out, nil
}

// stringer is the work of Strings.
type stringer struct {
	StringsOptions
	out     *Strung
	notes   []StrungNote
	strokes []Event
	volume  [16][]level // of each channel that notes come on
	courses []course
}

// A level is a volume from a moment on, 0 to 127.
type level struct {
	at Tick
	v  int
}

// usualVolume is that of a channel that is told none (General MIDI 1).
const usualVolume = 100

// A course is a string that notes are laid on.
type course struct {
	channel, open int
	until         Tick
	last          int // index of the note it sounds, -1 for none
	bass          bool
}

// read takes the notes off their channels: from key to key, or until the pedal
// is lifted.
func (g *stringer) read(s *Sequence) {
	type hand struct {
		down             map[int][]int // notes held, by key
		rings            []int         // on the pedal
		pedal            bool
		volume, loudness int
		program          int
	}
	var hands [16]hand
	for i := range hands {
		hands[i] = hand{down: map[int][]int{}, volume: usualVolume, loudness: 127, program: -1}
	}
	end := func(i int, t Tick) { g.notes[i].End = max(t, g.notes[i].At+1) }
	lift := func(h *hand, t Tick) {
		for _, i := range h.rings {
			end(i, t)
		}
		h.rings = h.rings[:0]
	}
	letGo := func(h *hand, i int, t Tick) {
		n := &g.notes[i]
		n.written = max(t, n.At+1)
		if h.pedal {
			h.rings = append(h.rings, i)
			return
		}
		end(i, t)
	}
	all := func(h *hand, f func(i int)) {
		keys := make([]int, 0, len(h.down))
		for k := range h.down {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			for _, i := range h.down[k] {
				f(i)
			}
		}
		clear(h.down)
	}
	louder := func(ch int, h *hand, t Tick) {
		v := int(math.Round(float64(h.volume*h.loudness) / 127))
		g.volume[ch] = append(g.volume[ch], level{t, v})
	}
	for _, e := range s.Events {
		ch, key := channel(e.Msg), int(e.Msg[1])
		h := &hands[ch]
		switch {
		case isOn(e.Msg) && ch == clickChannel:
			g.strokes = append(g.strokes, e)
		case isOff(e.Msg) && ch == clickChannel:
			g.strokes = append(g.strokes, e)
		case isOn(e.Msg):
			h.rings = slices.DeleteFunc(h.rings, func(i int) bool {
				if g.notes[i].Key == key {
					end(i, e.Tick)
					return true
				}
				return false
			})
			h.down[key] = append(h.down[key], len(g.notes))
			g.notes = append(g.notes, StrungNote{At: e.Tick, Key: key, Velocity: int(e.Msg[2]), Channel: -1, layer: e.Layer,
				from: ch, release: 64, bass: h.program >= 32 && h.program < 40})
		case isOff(e.Msg):
			if d := h.down[key]; len(d) > 0 {
				g.notes[d[0]].release = e.Msg[2]
				letGo(h, d[0], e.Tick)
				h.down[key] = d[1:]
			}
		case e.Msg[0]&0xF0 == statusProgram:
			h.program = key
		case e.Msg[0]&0xF0 == statusControl:
			switch value := int(e.Msg[2]); {
			case key == 7:
				h.volume = value
				louder(ch, h, e.Tick)
			case key == 11:
				h.loudness = value
				louder(ch, h, e.Tick)
			case key == 64:
				if h.pedal = value >= 64; !h.pedal {
					lift(h, e.Tick)
				}
			case key == 120:
				all(h, func(i int) { g.notes[i].written = e.Tick; end(i, e.Tick) })
				lift(h, e.Tick)
			case key == 121:
				// Reset All Controllers leaves volume alone (RP-015).
				h.pedal, h.loudness = false, 127
				lift(h, e.Tick)
				louder(ch, h, e.Tick)
			case key >= 123:
				all(h, func(i int) { letGo(h, i, e.Tick) })
			}
		}
	}
	for ch := range hands {
		h := &hands[ch]
		all(h, func(i int) { letGo(h, i, s.End) })
		lift(h, s.End)
	}
	for i := range g.notes {
		if n := &g.notes[i]; n.Key < lowestPitch || n.Key > highestPitch {
			n.unplaceable = true
			g.out.Outside++
		}
	}
}

// laid reports that the piece comes on these strings. What has one string only
// may as well be a flute.
func (g *stringer) laid() bool {
	var until [16]Tick
	var used [16]bool
	n := 0
	for _, x := range g.notes {
		if x.unplaceable || x.At < until[x.from] {
			return false
		}
		until[x.from] = x.written
		if x.from == bassChannel {
			continue
		}
		if x.from >= len(g.Open) || x.Key < g.Open[x.from] || x.Key > g.Open[x.from]+g.Frets {
			return false
		}
		if !used[x.from] {
			used[x.from] = true
			n++
		}
	}
	return n > 1
}

// keep leaves every note on its channel: there what rings on ends with the next.
func (g *stringer) keep() {
	var last [16]int
	for i := range g.notes {
		n := &g.notes[i]
		n.Channel = n.from
		if k := last[n.from]; k > 0 {
			g.notes[k-1].End = min(g.notes[k-1].End, n.At)
		}
		last[n.from] = i + 1
	}
}

func stringChannel(i int) int {
	if i >= bassChannel {
		return i + 2
	}
	return i
}

func (g *stringer) add(open int) *course {
	g.courses = append(g.courses, course{channel: stringChannel(len(g.courses)), open: open, last: -1})
	if len(g.courses) > len(g.Open) {
		g.out.Open = append(g.out.Open, open)
	}
	return &g.courses[len(g.courses)-1]
}

// spread finds a string for every note, chord by chord from the top down.
func (g *stringer) spread() {
	for _, p := range g.Open {
		g.add(p)
	}
	bass := &course{channel: bassChannel, last: -1, bass: true}
	g.courses = slices.Grow(g.courses, MostStrings) // so that they stay where they are
	lowest, top := slices.Min(g.Open), slices.Max(g.Open)
	// Above the highest string strings are added first, as many as it takes to
	// reach every note: else there could be none to free.
	high := 0
	for _, n := range g.notes {
		if !n.unplaceable {
			high = max(high, n.Key)
		}
	}
	for top+g.Frets < high && len(g.courses) < g.Most {
		top += g.Frets
		g.add(min(top, 100))
	}
	order := make([]int, len(g.notes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := g.notes[i], g.notes[j]
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(b.Key, a.Key))
	})
	for _, i := range order {
		n := &g.notes[i]
		if n.unplaceable {
			continue
		}
		low := n.Key < lowest
		c := bass
		if !(n.bass || low) || !c.free(n.At) {
			c = g.lie(n)
		}
		if c == nil && len(g.courses) < g.Most {
			c = g.add(g.newOpen(n.Key))
		}
		if c == nil {
			c = g.vacate(n, bass)
		}
		if c == nil {
			n.unplaceable = true
			g.out.Lost++
			continue
		}
		n.Channel = c.channel
		c.until, c.last = n.End, i
	}
}

func (c *course) free(t Tick) bool { return c.until <= t }

func (g *stringer) reaches(c *course, key int) bool {
	return key >= c.open && key <= c.open+g.Frets
}

// lie is the free string on which a note lies lowest, one of the guitar before
// one that was added. As all strings have as many frets, those that are left
// take as many of the lower notes as can be.
func (g *stringer) lie(n *StrungNote) (best *course) {
	for i := range g.courses {
		c := &g.courses[i]
		if i == len(g.Open) && best != nil {
			break
		}
		if c.free(n.At) && g.reaches(c, n.Key) && (best == nil || c.open > best.open) {
			best = c
		}
	}
	return best
}

// newOpen is what a string is tuned to that is added for a key: as the one of
// the guitar on which it would lie lowest or, below all, on in fourths.
func (g *stringer) newOpen(key int) int {
	open := -1
	for _, p := range g.out.Open {
		if p <= key && p+g.Frets >= key {
			open = max(open, p)
		}
	}
	if open < 0 {
		open = slices.Min(g.Open)
		for open > key {
			open -= 5
		}
		if key > open+g.Frets {
			open = key - g.Frets
		}
	}
	return min(max(open, lowestPitch), 100)
}

// vacate frees a string for a note.
func (g *stringer) vacate(n *StrungNote, bass *course) *course {
	var best *course
	better := func(c *course) bool {
		if best == nil {
			return true
		}
		a, b := g.notes[c.last], g.notes[best.last]
		ra, rb := a.written <= n.At, b.written <= n.At // they ring on the pedal alone
		switch {
		case ra != rb:
			return ra
		case ra:
			return a.At < b.At
		}
		return a.End < b.End
	}
	consider := func(c *course) {
		if g.notes[c.last].At < n.At && better(c) {
			best = c
		}
	}
	if bass.free(n.At) {
		return bass
	}
	for i := range g.courses {
		if c := &g.courses[i]; g.reaches(c, n.Key) {
			consider(c)
		}
	}
	if consider(bass); best == nil {
		return nil
	}
	g.notes[best.last].End = n.At
	g.out.Ended++
	return best
}

// after is the index of the first level of a channel after t.
func (g *stringer) after(ch int, t Tick) int {
	k, _ := slices.BinarySearchFunc(g.volume[ch], t+1, func(l level, t Tick) int { return cmp.Compare(l.at, t) })
	return k
}

func (g *stringer) volumeAt(ch int, t Tick) int {
	if k := g.after(ch, t); k > 0 {
		return g.volume[ch][k-1].v
	}
	return usualVolume
}

// write makes the events: a string is told its volume before it is struck and
// while it sounds.
func (g *stringer) write(s *Sequence) {
	out := *s
	out.Events = nil
	var told [16]int
	for i := range told {
		told[i] = usualVolume
	}
	byChannel := map[int][]int{}
	for i := range g.notes {
		n := &g.notes[i]
		if n.unplaceable {
			continue
		}
		n.Volume = g.volumeAt(n.from, n.At)
		if n.Channel == bassChannel {
			g.out.Bass++
		}
		g.out.Notes = append(g.out.Notes, *n)
		byChannel[n.Channel] = append(byChannel[n.Channel], i)
	}
	tell := func(ch int, l Layer, lv level) {
		if told[ch] != lv.v {
			told[ch] = lv.v
			out.Events = append(out.Events, Event{Tick: lv.at, Layer: l, Msg: [3]byte{statusControl | byte(ch), 7, byte(lv.v)}})
		}
	}
	for ch := range 16 {
		for _, i := range byChannel[ch] {
			n := g.notes[i]
			tell(ch, n.layer, level{n.At, n.Volume})
			on := Event{Tick: n.At, Layer: n.layer, Msg: noteOn(ch, n.Key, n.Velocity)}
			off := Event{Tick: n.End, Layer: n.layer, Msg: noteOff(ch, n.Key)}
			off.Msg[2] = n.release
			out.Events = append(out.Events, on, off)
			for k := g.after(n.from, n.At); k < len(g.volume[n.from]) && g.volume[n.from][k].at < n.End; k++ {
				tell(ch, n.layer, g.volume[n.from][k])
			}
		}
	}
	for _, l := range g.volume[clickChannel] {
		tell(clickChannel, Time, l)
	}
	for _, e := range g.strokes {
		if g.Stroke != nil && !g.Stroke(int(e.Msg[1])) {
			if isOn(e.Msg) {
				g.out.Strokes++
			}
			continue
		}
		e.Layer = Time
		out.Events = append(out.Events, e)
	}
	if g.out.Kept {
		for _, e := range s.Events {
			if n := e.Msg[1]; e.Msg[0]&0xF0 == statusControl && (n == 16 || n == 17) && channel(e.Msg) != clickChannel {
				out.Events = append(out.Events, e)
			}
		}
	}
	sortEvents(out.Events)
	g.out.Sequence = &out
}

// ignored names what is asked for and not done.
func (g *stringer) ignored(s *Sequence) []string {
	var bend, touch, program, modulation, pan, sostenuto, soft, rooms, other bool
	for _, e := range s.Events {
		n, v := e.Msg[1], e.Msg[2]
		if channel(e.Msg) == clickChannel {
			continue
		}
		switch e.Msg[0] & 0xF0 {
		case statusBend:
			bend = bend || n != 0 || v != 64
		case 0xA0, 0xD0:
			touch = true
		case statusProgram:
			// guitars (25 to 32 of General MIDI) and basses (33 to 40)
			program = program || n < 24 || n >= 40
		case statusControl:
			switch {
			case n == 1:
				modulation = modulation || v > 0
			case n == 8 || n == 10:
				pan = pan || v != 64
			case n == 66:
				sostenuto = sostenuto || v >= 64
			case n == 67:
				soft = soft || v >= 64
			case n >= 91 && n <= 95:
				rooms = rooms || v > 0
			case n == 16 || n == 17:
				other = other || !g.out.Kept
			case n == 0 || n == 32 || n == 7 || n == 11 || n == 64 || n >= 120:
			case n == 6 || n == 38 || n >= 98 && n <= 101: // parameters: the range of the bend, mostly
			default:
				other = other || v > 0
			}
		}
	}
	var out []string
	for _, x := range []struct {
		is   bool
		what string
	}{{bend, "pitch bend"}, {modulation, "modulation"}, {touch, "aftertouch"}, {sostenuto, "sostenuto"}, {soft, "soft pedal"},
		{program, "other instruments than guitar and bass"}, {pan, "panning"}, {rooms, "effects"}, {other, "other controllers"}} {
		if x.is {
			out = append(out, x.what)
		}
	}
	return out
}

// click is a click as loud as the sequence has them, by the square law of velocity
// (General MIDI 2).
func (s *Sequence) click(t Tick, high bool) []Event {
	evs := click(t, high)
	v := float64(evs[0].Msg[2]) * math.Pow(10, s.Clicks/40)
	evs[0].Msg[2] = byte(min(max(math.Round(v), 1), 127))
	return evs
}

// WithClicks is the sequence with a click on every beat of its bars, in the
// layer Click; what is in that layer already is no metronome and goes to Time.
// s is not changed.
func (s *Sequence) WithClicks() *Sequence {
	out := *s
	out.Events = slices.Clone(s.Events)
	for i := range out.Events {
		if out.Events[i].Layer == Click {
			out.Events[i].Layer = Time
		}
	}
	for _, b := range s.Bars {
		if b.Beat <= 0 {
			continue
		}
		for pos := Tick(0); pos < b.Len; pos += b.Beat {
			out.Events = append(out.Events, s.click(b.At+pos, pos == 0)...)
		}
	}
	sortEvents(out.Events)
	return &out
}
