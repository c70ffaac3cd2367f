// Package midiio performs an arrangement: it turns notes on strings into timed
// MIDI messages, writes and reads Standard MIDI Files, and holds the transport
// that hands the messages out pass by pass. It knows nothing of how sound is
// made or why a note was chosen.
package midiio

import (
	"cmp"
	"slices"
	"time"

	"thumbline/theory"
)

// A Tick is a moment or a length as performed, PerQuarter to the quarter note.
// It differs from a voicing.Tick by the swing.
type Tick int64

// PerQuarter is how many ticks a quarter note has, in a Sequence and in the
// files written.
const PerQuarter Tick = 960

// A Layer is a part of the sound that can be heard or muted by itself.
type Layer uint8

// The layers. Bassist and Time are the players of a trio, Click the count-in
// and the metronome.
const (
	Melody Layer = iota
	Inner
	Bass
	Bassist
	Time
	Click
	numLayers
)

var layerNames = [numLayers]string{"melody", "inner", "bass", "bassist", "time", "click"}

// String is the word used in flags: melody, inner, bass, bassist, time, click.
func (l Layer) String() string {
	if l < numLayers {
		return layerNames[l]
	}
	return "unknown"
}

// ParseLayer is the layer of a word as String gives it.
func ParseLayer(word string) (l Layer, ok bool) {
	i := slices.Index(layerNames[:], word)
	return Layer(max(i, 0)), i >= 0
}

// A LayerSet is a set of layers. The zero value is empty.
type LayerSet uint16

// AllLayers holds every layer.
const AllLayers LayerSet = 1<<numLayers - 1

// Layers is the set of the layers given.
func Layers(ls ...Layer) LayerSet {
	var s LayerSet
	for _, l := range ls {
		s |= 1 << l
	}
	return s
}

// Has reports whether l is in s.
func (s LayerSet) Has(l Layer) bool { return s>>l&1 != 0 }

// An Event is one channel message at its moment.
type Event struct {
	Tick Tick
	// Nudge is added to the moment in real time: chord spread and ornaments
	// last as long at half the tempo as at the full one.
	Nudge time.Duration
	Layer Layer
	Msg   [3]byte // status with channel, data; Msg[2] is 0 where there is one data byte
}

// A TempoMark sets quarters a minute from Tick on.
type TempoMark struct {
	Tick Tick
	BPM  float64
}

// A Bar is a row of the bar table.
type Bar struct {
	Label         string // as said in bar:beat
	At, Len, Beat Tick
	Metre         theory.Metre // zero when unknown
}

// A Text is a word at its moment.
type Text struct {
	Tick Tick
	Text string
}

// A KeyMark is a key signature from Tick on: sharps positive, flats negative.
type KeyMark struct {
	Tick   Tick
	Fifths int
	Minor  bool
}

// A Sequence is a performance: everything that is to be sent and when. The
// order of Events is Tick, then note-offs, then what is no note, then note-ons.
type Sequence struct {
	Title   string
	Events  []Event
	Tempi   []TempoMark // in order; 120 where there is none
	Bars    []Bar       // in order, without gaps
	Markers []Text      // sections
	Chords  []Text      // chord symbols as they sound
	Keys    []KeyMark
	End     Tick // the end of the last bar, or of the last note if that is later
	// Clicks is by how much a metronome is louder than usual, in dB, so that it
	// fits music that is louder or softer than an arrangement.
	Clicks float64
}

// DefaultBPM is the tempo of a Sequence without tempo marks (Standard MIDI
// Files 1.0: 120 when absent).
const DefaultBPM = 120

// TempoAt is the tempo in quarters a minute in force at t.
func (s *Sequence) TempoAt(t Tick) float64 {
	bpm := float64(DefaultBPM)
	for _, m := range s.Tempi {
		if m.Tick > t {
			break
		}
		bpm = m.BPM
	}
	return bpm
}

// BarAt is the index of the bar that holds t; -1 before the first and in a
// sequence without bars, the last one from its end on.
func (s *Sequence) BarAt(t Tick) int {
	i, found := slices.BinarySearchFunc(s.Bars, t, func(b Bar, t Tick) int { return cmp.Compare(b.At, t) })
	if found {
		return i
	}
	return i - 1
}

// ScaleFor is the tempo scale at which the beat at t goes at beats a minute:
// the beat of the bar there, so a dotted quarter in 6/8.
func (s *Sequence) ScaleFor(beats float64, t Tick) float64 {
	beat := PerQuarter
	if i := s.BarAt(t); i >= 0 && s.Bars[i].Beat > 0 {
		beat = s.Bars[i].Beat
	}
	return beats * float64(beat) / float64(PerQuarter) / s.TempoAt(t)
}

// sortEvents puts events into the order of Sequence.Events; what ties stays in
// the order given.
func sortEvents(evs []Event) {
	slices.SortStableFunc(evs, func(a, b Event) int {
		if c := cmp.Compare(a.Tick, b.Tick); c != 0 {
			return c
		}
		return cmp.Compare(rank(a.Msg), rank(b.Msg))
	})
}

func rank(m [3]byte) int {
	switch {
	case isOff(m):
		return 0
	case isOn(m):
		return 2
	}
	return 1
}

const (
	statusOff     = 0x80
	statusOn      = 0x90
	statusControl = 0xB0
	statusProgram = 0xC0
	statusBend    = 0xE0
)

// bendCentre is no bend, as the higher seven bits; the lower are 0.
const bendCentre = 0x40

// The sustain pedal (MIDI 1.0, damper pedal): down from 64 on.
const (
	sustain   = 64
	pedalDown = 64
)

// Messages without a channel (MIDI 1.0, system common and real-time).
const (
	msgPosition = 0xF2 // in sixteenths, seven bits a byte, the low ones first
	msgClock    = 0xF8
	msgStart    = 0xFA
	msgContinue = 0xFB
	msgStop     = 0xFC
)

func isOn(m [3]byte) bool { return m[0]&0xF0 == statusOn && m[2] > 0 }

// isOff takes a note-on of velocity 0 for the note-off it is by MIDI 1.0.
func isOff(m [3]byte) bool {
	return m[0]&0xF0 == statusOff || m[0]&0xF0 == statusOn && m[2] == 0
}

func channel(m [3]byte) int { return int(m[0] & 0x0F) }

func noteOn(ch, key, vel int) [3]byte { return [3]byte{statusOn | byte(ch), byte(key), byte(vel)} }

// noteOff has the release velocity 64, which MIDI 1.0 gives where none is
// measured.
func noteOff(ch, key int) [3]byte { return [3]byte{statusOff | byte(ch), byte(key), 64} }

// MessageBytes is m as it goes over a wire, in its length there: one byte for
// clock, start, continue and stop, two for program change and channel pressure,
// three for the other messages that are known here.
func MessageBytes(m [3]byte) []byte {
	n := wireLen(m[0])
	return m[:n:n]
}

// wireLen is how many bytes a message has by its status.
func wireLen(status byte) int {
	switch {
	case status >= msgClock:
		return 1
	case status&0xF0 == statusProgram || status&0xF0 == 0xD0:
		return 2
	}
	return 3
}

// pair joins each note-on to the note-off that ends it, first on first off for
// equal keys on a channel: partner[i] is the index of the other half, -1 where
// there is none or the event is no note.
func pair(evs []Event) (partner []int) {
	partner = make([]int, len(evs))
	open := map[[2]byte][]int{}
	for i, e := range evs {
		partner[i] = -1
		k := [2]byte{e.Msg[0] & 0x0F, e.Msg[1]}
		switch {
		case isOn(e.Msg):
			open[k] = append(open[k], i)
		case isOff(e.Msg) && len(open[k]) > 0:
			j := open[k][0]
			open[k] = open[k][1:]
			partner[i], partner[j] = j, i
		}
	}
	return partner
}
