package midiio

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/voicing"
)

// fromTop are the open strings in standard tuning, string 1 first.
var fromTop = []int{64, 59, 55, 50, 45, 40}

// pieceOf is a sequence of events on one layer, long enough for all of them.
func pieceOf(evs ...Event) *Sequence {
	s := &Sequence{Events: evs}
	sortEvents(s.Events)
	for _, e := range evs {
		s.End = max(s.End, e.Tick)
	}
	return s
}

// tones are notes "channel:key:from-to" in beats.
func tones(t testing.TB, text string) (evs []Event) {
	t.Helper()
	for _, w := range strings.Fields(text) {
		var ch, key, from, to int
		if _, err := fmt.Sscanf(w, "%d:%d:%d-%d", &ch, &key, &from, &to); err != nil {
			t.Fatalf("%s: %v", w, err)
		}
		evs = append(evs,
			Event{Tick: Tick(from) * PerQuarter, Layer: Inner, Msg: noteOn(ch, key, 80)},
			Event{Tick: Tick(to) * PerQuarter, Layer: Inner, Msg: noteOff(ch, key)})
	}
	return evs
}

func control(ch, number, value, beat int) Event {
	return Event{Tick: Tick(beat) * PerQuarter, Layer: Inner, Msg: [3]byte{statusControl | byte(ch), byte(number), byte(value)}}
}

// laidOut is what Strings made, in beats: "channel:key:from-to".
func laidOut(s *Strung) string {
	var b []string
	for _, n := range s.Notes {
		b = append(b, fmt.Sprintf("%d:%d:%d-%d", n.Channel, n.Key, n.At/PerQuarter, n.End/PerQuarter))
	}
	return strings.Join(b, " ")
}

func TestStrings(t *testing.T) {
	for _, c := range []struct {
		what string
		evs  []Event
		opt  StringsOptions
		want string
		open []int
		kept bool
		lost [4]int // ended, lost, outside, strokes
		no   string // ignored
	}{
		{what: "laid on strings as it came, also high on the neck", evs: tones(t, "0:76:0-2 1:71:0-4 5:52:0-1 8:28:0-1"),
			want: "0:76:0-2 1:71:0-4 5:52:0-1 8:28:0-1", kept: true},
		{what: "two notes at once on a channel are no strings", evs: tones(t, "0:76:0-2 0:71:0-4"), want: "0:76:0-2 1:71:0-4"},
		{what: "below its string it is no string", evs: tones(t, "0:63:0-1 1:60:1-2"), want: "1:63:0-1 1:60:1-2"},
		{what: "above fret 24 too", evs: tones(t, "0:89:0-1"), want: "6:89:0-1", open: []int{88}},
		{what: "a channel beyond the strings is spread", evs: tones(t, "6:64:0-1"), want: "0:64:0-1"},
		{what: "an open chord on one channel lies as a guitarist takes it", evs: tones(t, "0:40:0-4 0:47:0-4 0:52:0-4 0:56:0-4 0:59:0-4 0:64:0-4"),
			want: "5:40:0-4 4:47:0-4 3:52:0-4 2:56:0-4 1:59:0-4 0:64:0-4"},
		{what: "notes close together go down the strings", evs: tones(t, "0:57:0-1 0:59:0-1 0:60:0-1 0:62:0-1"), want: "4:57:0-1 3:59:0-1 2:60:0-1 1:62:0-1"},
		{what: "below the lowest string the bass has it, and a second one a string", evs: tones(t, "0:30:0-2 0:37:0-2"),
			want: "6:30:0-2 8:37:0-2", open: []int{30}},
		{what: "a bass by its program stays one", evs: append(tones(t, "3:38:0-1 3:45:1-2 3:48:2-3"), Event{Msg: [3]byte{statusProgram | 3, 33}}),
			want: "8:38:0-1 8:45:1-2 8:48:2-3"},
		{what: "seven notes at once need a string more", evs: tones(t, "0:64:0-4 0:65:0-4 0:66:0-4 0:67:0-4 0:68:0-4 0:69:0-4 0:60:0-4"),
			want: "5:64:0-4 4:65:0-4 3:66:0-4 2:67:0-4 1:68:0-4 0:69:0-4 6:60:0-4", open: []int{59}},
		{what: "where there may be none, what ends first ends sooner", evs: tones(t, "0:64:0-9 0:65:0-8 1:66:1-4"), opt: StringsOptions{Open: []int{55, 50}, Most: 2},
			want: "1:64:0-9 0:65:0-8 8:66:1-4"},
		{what: "when the bass is taken too", evs: tones(t, "0:64:0-9 0:65:0-8 1:66:1-4 1:67:2-4"), opt: StringsOptions{Open: []int{55, 50}, Most: 2},
			want: "1:64:0-9 0:65:0-8 8:66:1-2 8:67:2-4", lost: [4]int{1}},
		{what: "a chord of more notes than strings loses its lowest", evs: tones(t, "0:64:0-4 0:65:0-4 0:66:0-4 0:67:0-4"), opt: StringsOptions{Open: []int{55, 50}, Most: 2},
			want: "8:65:0-4 1:66:0-4 0:67:0-4", lost: [4]int{0, 1}},
		{what: "what no string reaches", evs: tones(t, "0:15:0-1 0:109:0-1 0:64:0-1"), want: "0:64:0-1", lost: [4]int{0, 0, 2}},
		{what: "the pedal holds notes until it is lifted", evs: append(tones(t, "2:64:0-1 2:60:1-2"), control(2, 64, 127, 0), control(2, 64, 0, 5)),
			want: "0:64:0-5 1:60:1-5"},
		{what: "or the key is struck again", evs: append(tones(t, "2:64:0-1 2:64:3-4"), control(2, 64, 127, 0)), want: "0:64:0-3 0:64:3-4"},
		{what: "and what rings on it gives way first", evs: append(tones(t, "0:64:0-1 1:65:1-9 2:66:2-9 2:67:3-4"), control(0, 64, 127, 0)), opt: StringsOptions{Open: []int{55, 50}, Most: 2},
			want: "0:64:0-3 1:65:1-9 8:66:2-9 0:67:3-4", lost: [4]int{1}},
		{what: "a string that is kept rings on until it is struck", evs: append(tones(t, "0:64:0-1 0:66:3-4 1:60:4-5"), control(0, 64, 127, 0)), want: "0:64:0-3 0:66:3-5 1:60:4-5", kept: true},
		{what: "all sound off", evs: append(tones(t, "2:64:0-4 2:60:0-4"), control(2, 120, 0, 2)), want: "0:64:0-2 1:60:0-2"},
		{what: "strokes without a sound", evs: tones(t, "9:51:0-1 9:35:0-1 9:36:0-1 0:64:0-1"), opt: StringsOptions{Stroke: func(k int) bool { return k == 51 }},
			want: "0:64:0-1", lost: [4]int{0, 0, 0, 2}},
		{what: "what strings do not do", evs: append(tones(t, "0:64:0-1"), Event{Msg: [3]byte{statusBend, 0, 80}}, control(0, 1, 9, 0), control(0, 10, 64, 0), control(0, 93, 0, 0),
			Event{Msg: [3]byte{statusProgram, 73}}), want: "0:64:0-1", no: "pitch bend, modulation, other instruments than guitar and bass"},
		{what: "what is only said again", evs: append(tones(t, "0:64:0-1"), Event{Msg: [3]byte{statusBend, 0, 64}}, control(0, 7, 90, 0), control(0, 11, 90, 0), control(0, 101, 0, 0),
			Event{Msg: [3]byte{statusProgram, 24}}), want: "0:64:0-1"},
	} {
		o := c.opt
		if o.Open == nil {
			o.Open = fromTop
		}
		got, err := Strings(pieceOf(c.evs...), o)
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		if g := laidOut(got); g != c.want && !sameNotes(g, c.want) {
			t.Errorf("%s:\n got %s\nwant %s", c.what, g, c.want)
		}
		if want := append(slices.Clone(o.Open), c.open...); !slices.Equal(got.Open, want) || got.Kept != c.kept {
			t.Errorf("%s: strings %v, kept %v; want %v, %v", c.what, got.Open, got.Kept, want, c.kept)
		}
		if l := [4]int{got.Ended, got.Lost, got.Outside, got.Strokes}; l != c.lost {
			t.Errorf("%s: ended, lost, outside, strokes: %v, want %v", c.what, l, c.lost)
		}
		if no := strings.Join(got.Ignored, ", "); no != c.no {
			t.Errorf("%s: ignored %q, want %q", c.what, no, c.no)
		}
	}
	for _, o := range []StringsOptions{{}, {Open: make([]int, 9)}, {Open: fromTop, Most: 5}, {Open: fromTop, Most: 15}} {
		if _, err := Strings(pieceOf(), o); err == nil {
			t.Errorf("%+v: no error", o)
		}
	}
}

// sameNotes compares lists of notes in any order.
func sameNotes(a, b string) bool {
	x, y := strings.Fields(a), strings.Fields(b)
	slices.Sort(x)
	slices.Sort(y)
	return slices.Equal(x, y)
}

// Volume and expression of a channel are those of the strings it plays on, also
// while they sound (General MIDI 2 multiplies the two).
func TestStringsVolume(t *testing.T) {
	evs := append(tones(t, "12:64:0-4 13:60:1-3 12:64:5-6"),
		control(12, 7, 127, 0), control(12, 11, 64, 2), control(12, 11, 127, 8), control(13, 7, 50, 0), control(9, 7, 80, 1))
	s, err := Strings(pieceOf(evs...), StringsOptions{Open: fromTop})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range s.Events {
		if e.Msg[0]&0xF0 == statusControl {
			got = append(got, fmt.Sprintf("%d: %d on %d", e.Tick/PerQuarter, e.Msg[2], channel(e.Msg)))
		}
	}
	if want := "0: 127 on 0, 1: 50 on 1, 1: 80 on 9, 2: 64 on 0"; strings.Join(got, ", ") != want {
		t.Errorf("got %s, want %s", strings.Join(got, ", "), want)
	}
}

// checkStrung is what holds for whatever was laid on strings.
func checkStrung(t interface{ Errorf(string, ...any) }, s *Sequence, got *Strung, o StringsOptions) {
	ons, strokes := 0, 0
	for _, e := range s.Events {
		if isOn(e.Msg) {
			if channel(e.Msg) == clickChannel {
				strokes++
			} else {
				ons++
			}
		}
	}
	if n := len(got.Notes) + got.Lost + got.Outside; n != ons {
		t.Errorf("%d notes of %d are accounted for", n, ons)
	}
	if len(got.Open) > MostStrings || !slices.Equal(got.Open[:len(o.Open)], o.Open) {
		t.Errorf("strings %v", got.Open)
	}
	sounds := map[int]int{} // key on each channel
	heard := 0
	var last Event
	for i, e := range got.Events {
		ch, key := channel(e.Msg), int(e.Msg[1])
		if i > 0 && (e.Tick < last.Tick || e.Tick == last.Tick && rank(e.Msg) < rank(last.Msg)) {
			t.Errorf("event %d is out of order", i)
		}
		last = e
		if ch == clickChannel {
			if isOn(e.Msg) {
				strokes--
			}
			continue
		}
		switch k, on := sounds[ch]; {
		case isOn(e.Msg):
			if on {
				t.Errorf("tick %d: %d is struck on channel %d, where %d sounds", e.Tick, key, ch, k)
			}
			sounds[ch] = key
			heard++
			if i := stringOf(ch); ch != bassChannel && (i >= len(got.Open) || key < got.Open[i] || key > got.Open[i]+24) {
				t.Errorf("tick %d: %d on channel %d, of strings %v", e.Tick, key, ch, got.Open)
			}
		case isOff(e.Msg):
			if !on || k != key {
				t.Errorf("tick %d: %d ends on channel %d, where it does not sound", e.Tick, key, ch)
			}
			delete(sounds, ch)
		}
	}
	if len(sounds) > 0 {
		t.Errorf("left sounding: %v", sounds)
	}
	if heard != len(got.Notes) || strokes != got.Strokes {
		t.Errorf("%d notes struck, %d told; %d strokes left out, %d told", heard, len(got.Notes), strokes, got.Strokes)
	}
}

// used is on how many strings there are notes, without the bass.
func used(s *Strung) int {
	on := map[int]bool{}
	for _, n := range s.Notes {
		on[n.Channel] = n.Channel != bassChannel
	}
	delete(on, bassChannel)
	return len(on)
}

func stringOf(ch int) int {
	if ch > clickChannel {
		return ch - 2
	}
	return ch
}

// TestAnyStrings: whatever is laid on strings, no string has two notes at once,
// every note has its end, and none is lost without being told.
func TestAnyStrings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := StringsOptions{Open: fromTop, Most: rapid.IntRange(6, MostStrings).Draw(t, "most")}
		if rapid.Bool().Draw(t, "seven") {
			o.Open, o.Most = append(slices.Clone(fromTop), 35), max(o.Most, 7)
		}
		key := rapid.IntRange(0, 127)
		if rapid.Bool().Draw(t, "guitar's") {
			key = rapid.IntRange(40, 88)
		}
		tick := rapid.Map(rapid.IntRange(0, 40), func(n int) Tick { return Tick(n) * 120 })
		s := &Sequence{}
		for range rapid.IntRange(1, 60).Draw(t, "notes") {
			ch, k, at := rapid.IntRange(0, 15).Draw(t, "channel"), key.Draw(t, "key"), tick.Draw(t, "at")
			s.Events = append(s.Events, Event{Tick: at, Msg: noteOn(ch, k, rapid.IntRange(1, 127).Draw(t, "velocity"))},
				Event{Tick: at + 1 + tick.Draw(t, "length"), Msg: noteOff(ch, k)})
		}
		for range rapid.IntRange(0, 20).Draw(t, "controls") {
			n := rapid.SampledFrom([]byte{7, 11, 64, 64, 64, 120, 121, 123, 16}).Draw(t, "number")
			s.Events = append(s.Events, Event{Tick: tick.Draw(t, "when"), Msg: [3]byte{statusControl | byte(rapid.IntRange(0, 15).Draw(t, "of")), n, byte(rapid.IntRange(0, 127).Draw(t, "value"))}})
		}
		sortEvents(s.Events)
		s.Events = closeNotes(s.Events, 6000)
		sortEvents(s.Events)
		s.End = 6000
		before := slices.Clone(s.Events)
		got, err := Strings(s, o)
		if err != nil {
			t.Fatal(err)
		}
		checkStrung(t, s, got, o)
		if !slices.Equal(s.Events, before) {
			t.Error("the piece was changed")
		}
		again, err := Strings(got.Sequence, StringsOptions{Open: got.Open[:min(len(got.Open), 8)]})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Open) <= 8 && used(got) > 1 && !again.Kept {
			t.Errorf("%s is not recognised", laidOut(got))
		}
		if again.Kept && !sameNotes(laidOut(again), laidOut(got)) {
			t.Errorf("laid on the same strings again:\n%s\n%s", laidOut(got), laidOut(again))
		}
	})
}

// What is performed is laid on strings already.
func TestStringsKeepsPerformances(t *testing.T) {
	for _, a := range []*voicing.Arrangement{gateLatch(), gateLatchTrio()} {
		s := Perform(a, PerformOptions{})
		back, err := ReadSMF(bytes.NewReader(fileOf(t, s)))
		if err != nil {
			t.Fatal(err)
		}
		got, err := Strings(back, StringsOptions{Open: fromTop})
		if err != nil {
			t.Fatal(err)
		}
		if !got.Kept || len(got.Ignored) > 0 || len(got.Open) != 6 {
			t.Errorf("kept %v, ignored %v, strings %v", got.Kept, got.Ignored, got.Open)
		}
		checkStrung(t, back, got, StringsOptions{Open: fromTop})
		k := 0
		for _, e := range back.Events {
			if isOn(e.Msg) && channel(e.Msg) != clickChannel {
				if n := got.Notes[k]; n.Channel != channel(e.Msg) || n.Key != int(e.Msg[1]) || n.At != e.Tick {
					t.Errorf("note %d: %+v, not %v", k, n, e)
				}
				k++
			}
		}
	}
}

func TestWithClicks(t *testing.T) {
	s := pieceOf(append(tones(t, "0:64:0-7"), Event{Layer: Click, Msg: noteOn(9, 76, 9)}, Event{Tick: 9, Layer: Click, Msg: noteOff(9, 76)})...)
	if err := s.layBars(nil); err != nil {
		t.Fatal(err)
	}
	s.Clicks = -12
	got := s.WithClicks()
	clicks, strokes := 0, 0
	for _, e := range got.Events {
		if isOn(e.Msg) && channel(e.Msg) == clickChannel {
			if e.Layer == Click {
				if v := e.Msg[2]; v != (clickHighVel+1)/2 && v != clickLowVel/2 {
					t.Errorf("a click of velocity %d is not 12 dB softer than %d or %d", v, clickHighVel, clickLowVel)
				}
				clicks++
			} else if e.Layer == Time {
				strokes++
			}
		}
	}
	if clicks != 8 || strokes != 1 {
		t.Errorf("%d clicks, %d strokes", clicks, strokes)
	}
}

// FuzzStrings: no file makes anything but notes that strings can play.
func FuzzStrings(f *testing.F) {
	f.Add(fileOf(f, Perform(gateLatchTrio(), PerformOptions{})))
	chord := join([]byte{0, 0xB0, 64, 127}, nil)
	for i := range 18 {
		chord = append(chord, 0, 0x90, byte(40+i), 80)
	}
	f.Add(oneTrack([]byte{1, 0xE0}, append(chord, 96, 0x80, 40, 0, 0, 0xB0, 64, 0, 0, 0xFF, 0x2F, 0)...))
	f.Add(oneTrack([]byte{0, 96}, 0, 0xC5, 33, 0, 0x95, 30, 90, 0, 0x95, 10, 90, 0, 0x99, 35, 90, 48, 0x99, 51, 90, 0, 0x95, 30, 0, 0, 0xE5, 0, 70, 0, 0xB5, 7, 3, 0, 0xFF, 0x2F, 0))
	if data := os.Getenv("THUMBLINE_DATA"); data != "" {
		if b, err := os.ReadFile(filepath.Join(data, "peers", "synth", "guitar6.mid")); err == nil {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<16 {
			t.Skip("longer than it need be")
		}
		s, err := ReadSMF(bytes.NewReader(data))
		if err != nil {
			return
		}
		o := StringsOptions{Open: fromTop, Stroke: func(k int) bool { return k > 40 }}
		got, err := Strings(s, o)
		if err != nil {
			t.Fatal(err)
		}
		checkStrung(t, s, got, o)
	})
}
