package midiio

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"math/bits"
	"slices"
	"strings"
	"time"

	"gitlab.com/gomidi/midi/v2/smf"

	"thumbline/theory"
)

// WriteSMF writes s as a Standard MIDI File of format 1 with PerQuarter ticks
// to the quarter. Track 0 holds title, tempo, time and key signatures,
// sections as markers and chord symbols as text; then come the tracks Melody,
// Inner and Bass, and one for each further layer that has events. Nudges become
// ticks at the tempo where they stand. Every track ends at s.End.
//
// The bytes are put together and read back before the first goes to w. Text
// keeps its UTF-8; control characters become spaces.
func WriteSMF(w io.Writer, s *Sequence) error {
	f := smf.NewSMF1()
	f.TimeFormat = smf.MetricTicks(PerQuarter)
	// Every event carries its status: longer by a tenth, but what a reader
	// does with running status can then not matter.
	f.NoRunningStatus = true

	at, end := fileTicks(s)
	if most := int64(1<<28 - 1); end > most { // the longest time that one delta can tell
		return fmt.Errorf("MIDI file: the piece goes on for %d quarter notes (a file holds %d)", end/int64(PerQuarter), most/int64(PerQuarter))
	}
	tracks := [][]timedMsg{headTrack(s)}
	for l := range numLayers {
		var tr []timedMsg
		for i, e := range s.Events {
			if e.Layer == l {
				tr = append(tr, timedMsg{at[i], smf.Message(MessageBytes(e.Msg))})
			}
		}
		if len(tr) == 0 && l > Bass {
			continue
		}
		slices.SortStableFunc(tr, func(a, b timedMsg) int { return cmp.Compare(a.at, b.at) })
		name := strings.ToUpper(l.String()[:1]) + l.String()[1:]
		tracks = append(tracks, append([]timedMsg{{0, smf.MetaTrackSequenceName(name)}}, tr...))
	}
	total := 0
	for _, tr := range tracks {
		var t smf.Track
		now := int64(0)
		for _, m := range tr {
			t.Add(uint32(m.at-now), m.msg)
			now = m.at
		}
		t.Close(uint32(max(end-now, 0)))
		if len(t) != len(tr)+1 {
			return fmt.Errorf("MIDI file: %d of %d events of a track went in", len(t)-1, len(tr))
		}
		if err := f.Add(t); err != nil {
			return fmt.Errorf("MIDI file: %w", err)
		}
		total += len(t)
	}
	var buf bytes.Buffer
	if _, err := f.WriteTo(&buf); err != nil {
		return fmt.Errorf("MIDI file: %w", err)
	}
	// The library drops errors met inside a track, so count what is there.
	if back, err := parseSMF(buf.Bytes()); err != nil {
		return fmt.Errorf("MIDI file: reading it back: %w", err)
	} else if n := back.count(); n != total || len(back.tracks) != len(tracks) {
		return fmt.Errorf("MIDI file: reading it back: %d events in %d tracks, wrote %d in %d", n, len(back.tracks), total, len(tracks))
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("MIDI file: %w", err)
	}
	return nil
}

type timedMsg struct {
	at  int64
	msg smf.Message
}

// fileTicks is the tick in the file of each event, nudges turned into ticks,
// and the last tick of the file.
func fileTicks(s *Sequence) (at []int64, end int64) {
	sec := s.secondsTable()
	at = make([]int64, len(s.Events))
	for i, e := range s.Events {
		at[i] = int64(e.Tick)
		if e.Nudge != 0 {
			at[i] = max(int64(math.Round(float64(e.Tick)+nudgeTicks(s, sec, e))), 0)
		}
	}
	settle(s.Events, pair(s.Events), at)
	end = int64(s.End)
	for _, t := range at {
		end = max(end, t)
	}
	return at, end
}

// nudgeTicks is the nudge of e in ticks, across tempo marks.
func nudgeTicks(s *Sequence, sec func(Tick) time.Duration, e Event) float64 {
	perSecond := func(t Tick) float64 { return s.TempoAt(t) * float64(PerQuarter) / 60 }
	if e.Nudge < 0 {
		// The mark nearest before the event bounds what its own tempo covers.
		for _, m := range slices.Backward(s.Tempi) {
			if back := sec(e.Tick) - sec(m.Tick); m.Tick < e.Tick && back > 0 {
				if back < -e.Nudge {
					rest := Event{Tick: m.Tick, Nudge: e.Nudge + back}
					return float64(m.Tick-e.Tick) + rest.Nudge.Seconds()*perSecond(m.Tick-1)
				}
				break
			}
		}
		return e.Nudge.Seconds() * perSecond(max(e.Tick-1, 0))
	}
	return e.Nudge.Seconds() * perSecond(e.Tick)
}

func headTrack(s *Sequence) []timedMsg {
	var tr []timedMsg
	add := func(t Tick, m smf.Message) { tr = append(tr, timedMsg{int64(max(t, 0)), m}) }
	if s.Title != "" {
		add(0, smf.MetaTrackSequenceName(clean(s.Title)))
	}
	if len(s.Tempi) == 0 || s.Tempi[0].Tick > 0 {
		add(0, tempoMeta(DefaultBPM))
	}
	for _, m := range s.Tempi {
		add(m.Tick, tempoMeta(m.BPM))
	}
	was := signature{}
	for _, b := range s.Bars {
		if sig, ok := signatureOf(b); ok && sig != was {
			add(b.At, smf.MetaTimeSig(sig.num, sig.den, sig.clocks, 8))
			was = sig
		}
	}
	for _, k := range s.Keys {
		n := min(max(k.Fifths, -7), 7)
		add(k.Tick, smf.MetaKey(0, !k.Minor, uint8(max(n, -n)), n < 0))
	}
	for _, m := range s.Markers {
		add(m.Tick, smf.MetaMarker(clean(m.Text)))
	}
	for _, c := range s.Chords {
		add(c.Tick, smf.MetaText(clean(c.Text)))
	}
	slices.SortStableFunc(tr, func(a, b timedMsg) int { return cmp.Compare(a.at, b.at) })
	return tr
}

// tempoMeta keeps to the three bytes a tempo has, 3.58 quarters a minute and
// more.
func tempoMeta(bpm float64) smf.Message {
	return smf.MetaTempo(min(max(bpm, 60e6/0xFFFFFF), 60e6))
}

type signature struct{ num, den, clocks uint8 }

// signatureOf is the time signature that a bar is written with: its metre, or,
// for a bar that is shorter or longer, one that is as long as the bar, so that
// the bar lines of the program that reads it stand where ours do.
func signatureOf(b Bar) (sig signature, ok bool) {
	m := b.Metre
	if m.Num <= 0 || m.Num > 255 || m.Den <= 0 || m.Den > 128 || bits.OnesCount(uint(m.Den)) != 1 {
		m = theory.Metre{Num: int(b.Len / PerQuarter), Den: 4}
	}
	for den := m.Den; den <= 128; den *= 2 {
		unit := 4 * PerQuarter / Tick(den)
		if unit*Tick(den) != 4*PerQuarter || b.Len%unit != 0 {
			continue
		}
		if n := b.Len / unit; n >= 1 && n <= 255 {
			m = theory.Metre{Num: int(n), Den: den}
			break
		}
	}
	if m.Num <= 0 {
		return signature{}, false
	}
	beat := b.Beat
	if beat <= 0 {
		beat = PerQuarter
	}
	clocks := min(max(beat*24/PerQuarter, 1), 255)
	return signature{uint8(m.Num), uint8(m.Den), uint8(clocks)}, true
}

// clean makes one line of printable text.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "?")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7F {
			return ' '
		}
		return r
	}, s))
}
