package midiio

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
)

// Dump writes s as text to read and compare: what stands at its head, then bar
// by bar chord symbols and events in their order, each note on one line with
// its length. Places count beats from 1 in the bar; +6ms is a nudge.
func Dump(w io.Writer, s *Sequence) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "title %q, %d ticks a quarter, end %d\n", s.Title, PerQuarter, s.End)
	for _, m := range s.Tempi {
		fmt.Fprintf(b, "tempo at %d: %g\n", m.Tick, m.BPM)
	}
	for _, k := range s.Keys {
		fmt.Fprintf(b, "key at %d: %+d %s\n", k.Tick, k.Fifths, map[bool]string{false: "major", true: "minor"}[k.Minor])
	}
	partner := pair(s.Events)
	bar, chord, marker := -1, 0, 0
	upTo := func(t Tick) {
		for {
			next := bar + 1
			isBar := next < len(s.Bars) && s.Bars[next].At <= t
			switch {
			case marker < len(s.Markers) && s.Markers[marker].Tick <= t && (!isBar || s.Markers[marker].Tick <= s.Bars[next].At):
				fmt.Fprintf(b, "section %s\n", s.Markers[marker].Text)
				marker++
			case chord < len(s.Chords) && s.Chords[chord].Tick <= t && (!isBar || s.Chords[chord].Tick < s.Bars[next].At):
				fmt.Fprintf(b, "%s %s\n", s.place(s.Chords[chord].Tick, 0), s.Chords[chord].Text)
				chord++
			case isBar:
				r := s.Bars[next]
				fmt.Fprintf(b, "bar %s: %d/%d at %d, %d ticks, beat %d\n", r.Label, r.Metre.Num, r.Metre.Den, r.At, r.Len, r.Beat)
				bar++
			default:
				return
			}
		}
	}
	for i, e := range s.Events {
		if isOff(e.Msg) && partner[i] >= 0 {
			continue
		}
		upTo(e.Tick)
		fmt.Fprintf(b, "%s %-7s ch %-2d ", s.place(e.Tick, e.Nudge), e.Layer, channel(e.Msg)+1)
		switch {
		case isOn(e.Msg):
			fmt.Fprintf(b, "%-4s velocity %-3d", keyName(int(e.Msg[1])), e.Msg[2])
			if j := partner[i]; j >= 0 {
				fmt.Fprintf(b, " for %d%s", s.Events[j].Tick-e.Tick, nudgeText(s.Events[j].Nudge))
			}
		case e.Msg[0]&0xF0 == statusProgram:
			fmt.Fprintf(b, "program %d", e.Msg[1])
		default:
			fmt.Fprintf(b, "% X", MessageBytes(e.Msg))
		}
		b.WriteByte('\n')
	}
	upTo(s.End)
	return b.Flush()
}

// place is the tick, the beat and the nudge in columns.
func (s *Sequence) place(t Tick, nudge time.Duration) string {
	beat := ""
	if i := s.BarAt(t); i >= 0 && s.Bars[i].Beat > 0 {
		beat = fmt.Sprintf("%.3f", s.beatAt(i, t))
	}
	return fmt.Sprintf("%7d %7s %-7s", t, beat, nudgeText(nudge))
}

func nudgeText(d time.Duration) string {
	if d == 0 {
		return ""
	}
	return fmt.Sprintf("%+.3gms", float64(d)/float64(time.Millisecond))
}

// beatAt counts beats from 1 in bar i; a pick-up's are those that its bar
// would end with.
func (s *Sequence) beatAt(i int, t Tick) float64 {
	b := s.Bars[i]
	return 1 + float64(t-b.At+s.missing(i))/float64(b.Beat)
}

// missing is how much of its metre a pick-up lacks before it begins, 0 for
// other bars.
func (s *Sequence) missing(i int) Tick {
	b := s.Bars[i]
	label, _, _ := strings.Cut(b.Label, "/")
	pickup := label == "0" || strings.HasSuffix(label, "+")
	if !pickup || b.Metre.Num <= 0 || b.Metre.Den <= 0 {
		return 0
	}
	return max(Tick(b.Metre.Num)*4*PerQuarter/Tick(b.Metre.Den)-b.Len, 0)
}

func keyName(key int) string {
	return fmt.Sprintf("%s%d", [...]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}[key%12], key/12-1)
}
