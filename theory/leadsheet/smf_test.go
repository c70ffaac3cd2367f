package leadsheet

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"
	"pgregory.net/rapid"

	"thumbline/theory"
)

// A midiEvent is an event of the tests at its tick.
type midiEvent struct {
	at  int
	msg smf.Message
}

// midiTrack reads a track as the tests write it: words apart by blanks, times
// in quarters.
//
//	60@0+1      key 60 from 0 for a quarter
//	60@0+1/2/1  the same on channel 2, counted from 1, with a / before it
//	text=Am7@0  a text; likewise lyric, marker, cue, name
//	time=3/4@0  tempo=120@0  key=-3@0  key=-3m@0  program=33@0
//
// A blank in a text is written _.
func midiTrack(t testing.TB, division int, track string) []midiEvent {
	t.Helper()
	var evs []midiEvent
	number := func(s string) float64 {
		num, den, ok := strings.Cut(s, "/")
		x, err := strconv.ParseFloat(num, 64)
		if ok && err == nil {
			var d float64
			d, err = strconv.ParseFloat(den, 64)
			x /= d
		}
		if err != nil {
			t.Fatalf("number %q of %q", s, track)
		}
		return x
	}
	tick := func(s string) int { return int(math.Round(number(s) * float64(division))) }
	for _, w := range strings.Fields(track) {
		what, when, ok := strings.Cut(w, "@")
		if !ok {
			t.Fatalf("no time in %q", w)
		}
		kind, value, meta := strings.Cut(what, "=")
		if !meta {
			channel := 0
			if key, ch, ok := strings.Cut(what, "/"); ok {
				what, channel = key, int(number(ch))-1
			}
			on, length, _ := strings.Cut(when, "+")
			key := uint8(number(what))
			evs = append(evs, midiEvent{tick(on), smf.Message(midi.NoteOn(uint8(channel), key, 90))})
			if length != "-" {
				evs = append(evs, midiEvent{tick(on) + tick(length), smf.Message(midi.NoteOff(uint8(channel), key))})
			}
			continue
		}
		value = strings.ReplaceAll(value, "_", " ")
		var m smf.Message
		switch kind {
		case "text":
			m = smf.MetaText(value)
		case "lyric":
			m = smf.MetaLyric(value)
		case "marker":
			m = smf.MetaMarker(value)
		case "cue":
			m = smf.MetaCuepoint(value)
		case "name":
			m = smf.MetaTrackSequenceName(value)
		case "time":
			num, den, _ := strings.Cut(value, "/")
			m = smf.MetaMeter(uint8(number(num)), uint8(number(den)))
		case "tempo":
			m = smf.MetaTempo(number(value))
		case "key":
			n, minor := strings.CutSuffix(value, "m")
			f := int(number(n))
			m = smf.MetaKey(0, !minor, uint8(max(f, -f)), f < 0)
		case "program":
			m = smf.Message(midi.ProgramChange(0, uint8(number(value))))
		default:
			t.Fatalf("unknown word %q", w)
		}
		evs = append(evs, midiEvent{tick(when), m})
	}
	slices.SortStableFunc(evs, func(a, b midiEvent) int {
		off := func(e midiEvent) int {
			if e.msg[0]&0xf0 == 0x80 {
				return 0
			}
			return 1
		}
		if a.at != b.at {
			return a.at - b.at
		}
		return off(a) - off(b)
	})
	return evs
}

// midiFile writes tracks with the MIDI library.
func midiFile(t testing.TB, format, division int, tracks ...string) []byte {
	t.Helper()
	f := smf.New()
	switch format {
	case 1:
		f = smf.NewSMF1()
	case 2:
		f = smf.NewSMF2()
	}
	f.TimeFormat = smf.MetricTicks(division)
	for _, s := range tracks {
		var tr smf.Track
		now := 0
		for _, e := range midiTrack(t, division, s) {
			tr.Add(uint32(e.at-now), e.msg)
			now = e.at
		}
		tr.Close(0)
		if err := f.Add(tr); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if _, err := f.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// head is a first track: metre, key and tempo told.
const head = "time=4/4@0 key=0@0 tempo=120@0 "

// smfCases are tracks with what is read of them. The values are common
// practice, no source, unless said otherwise.
var smfCases = []struct {
	name     string
	format   int
	division int
	tracks   []string
	opt      Options
	want     string // bars as dump writes them
	warned   []string
}{
	{
		name: "exact, format 1", format: 1, division: 480,
		tracks: []string{head + "text=Cmaj7@0 text=G7@4", "60@0+1 62@1+1/2 64@3/2+1/2 65@2+2 67@4+3/4 69@19/4+1/4 71@5+1/3 72@16/3+1/3 74@17/3+1/3 76@6+2"},
		want:   "1: C4:1 D4:1/2 E4:1/2 F4:2 | Cmaj7\n2: G4:3/4 A4:1/4 B4:1/3 C5:1/3 D5:1/3 E5:2 | G7\n",
	},
	{
		name: "format 0, symbols as lyrics", format: 0, division: 96,
		tracks: []string{head + "lyric=C@0 lyric=F@2 60@0+2 65@2+2"},
		want:   "1: C4:2 F4:2 | C F@2\n",
	},
	{
		name: "symbols as markers, words as lyrics", format: 1, division: 96,
		tracks: []string{head + "marker=Am7@0 marker=D7@4", "lyric=A@0 lyric=long@2 lyric=way@3 lyric=home@4 69@0+2 67@2+1 65@3+1 66@4+4"},
		want:   "1: A4:2 G4:1 F4:1 | Am7\n2: F#4:4 | D7\n",
	},
	{
		name: "several symbols in one text", format: 1, division: 96,
		tracks: []string{head + "text=Dm7_G7@0 text=C@4", "62@0+4 60@4+4"},
		want:   "1: D4:4 | Dm7 G7@2\n2: C4:4 | C\n",
	},
	{
		name: "format 0 on two channels", format: 0, division: 96,
		tracks: []string{head + "name=Hill_Road@0 text=C@0 72@0+2 74@2+2 40/2@0+1 43/2@1+1 40/2@2+1 43/2@3+1"},
		want:   "1: C5:2 D5:2 | C\n",
		warned: []string{`the melody is taken from track 1 (2 notes from C5 to D5) (--melody chooses another)`},
	},
	{
		name: "format 2: the track for itself", format: 2, division: 96,
		tracks: []string{head + "text=C@0 60@0+4", "time=3/4@0 key=1@0 tempo=90@0 text=G@0 67@0+3"},
		opt:    Options{Melody: "2"},
		want:   "1: G4:3 | G\n",
		warned: []string{"a MIDI file of format 2: each track is a piece of its own, and this is track 2"},
	},
	{
		name: "format 2: the track that has symbols", format: 2, division: 96,
		tracks: []string{head + "60@0+4", "time=3/4@0 key=1@0 tempo=90@0 text=G@0 67@0+3"},
		want:   "1: G4:3 | G\n",
		warned: []string{"the melody is taken from track 2 (1 note from G4 to G4) (--melody chooses another)", "a MIDI file of format 2: each track is a piece of its own, and this is track 2"},
	},
	{
		name: "track by name", format: 1, division: 96,
		tracks: []string{head + "text=C@0", "name=Oboe@0 72@0+4", "name=Horn@0 60@0+4"},
		opt:    Options{Melody: "horn"},
		want:   "1: C4:4 | C\n",
	},
	{
		name: "a melody by its name", format: 1, division: 96,
		tracks: []string{head + "text=C@0", "name=Horn@0 60@0+4", "name=Lead_Vocal@0 72@0+4"},
		want:   "1: C5:4 | C\n",
		warned: []string{`the melody is taken from track 3 "Lead Vocal" (1 note from C5 to C5) (--melody chooses another)`},
	},
	{
		name: "drums, bass and chords are no melody", format: 1, division: 96,
		tracks: []string{head + "text=C@0", "36/10@0+1 38/10@1+1", "program=33@0 36@0+4", "60@0+4 64@0+4 67@0+4", "72@0+2 74@2+2"},
		want:   "1: C5:2 D5:2 | C\n",
		warned: []string{`the melody is taken from track 5 (2 notes from C5 to D5) (--melody chooses another)`},
	},
	{
		name: "chords in the melody: top note", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+2 64@0.01+2 67@0.02+2 65@2+1 69@2+1 67@3+1"},
		want:   "1: G4:2 A4:1 G4:1 | C\n",
		warned: []string{"notes are struck together 2 times in the melody: the top note is kept (3 notes left out)", "1 of 3 notes moved to the grid, by 0.02 of a quarter at most"},
	},
	{
		name: "a later note ends an earlier", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+2 62@1+1 64@2+1.05 65@3+1"},
		want:   "1: C4:1 D4:1 E4:1 F4:1 | C\n",
		warned: []string{"1 note of the melody sound on when the next begins: they end there"},
	},
	{
		name: "notes that never end", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+- 62@1+1 64@2+- 65@3+1"},
		want:   "1: C4:1 D4:1 E4:1 F4:1 | C\n",
		warned: []string{"2 notes of the melody never end: they last to the next note, or to the end of the track"},
	},
	{
		name: "played with a loose hand", format: 1, division: 480,
		tracks: []string{head + "text=C@0.02 text=G@3.9", "60@0.03+0.9 62@0.97+0.5 64@1.54+0.4 65@1.98+1.85 67@4.05+0.45 69@4.46+0.5 71@5.02+0.8 72@5.98+1.9"},
		want:   "1: C4:1 D4:1/2 E4:1/2 F4:2 | C\n2: G4:1/2 A4:1/2 B4:1 C5:2 | G\n",
		warned: []string{"8 of 8 notes moved to the grid, by 0.05 of a quarter at most"},
	},
	{
		name: "a bar that moved far", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0.04+1 62@0.96+1 64@2.04+1 65@3.03+1 67@4.03+1 69@5.09+1 71@6.04+1 72@7.03+1"},
		want:   "1: C4:1 D4:1 E4:1 F4:1 | C\n2: G4:1 A4:1 B4:1 C5:1\n",
		warned: []string{"8 of 8 notes moved to the grid, by 0.09 of a quarter at most; furthest in bar 2: look there"},
	},
	{
		name: "swung 2 to 1", format: 1, division: 480,
		tracks: []string{head + "text=C@0 text=F@2.6667",
			"60@0+.6667 62@.6667+.3333 64@1+.6667 65@1.6667+.3333 67@2+.6667 69@2.6667+1.3333 71@4+.6667 72@4.6667+.3333 74@5+.3333 72@5.3333+.3333 71@5.6667+.3333 69@6+.6667 67@6.6667+1.3333"},
		want:   "1: C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:3/2 | C F@5/2\n2: B4:1/2 C5:1/2 D5:1/3 C5:1/3 B4:1/3 A4:1/2 G4:3/2\n",
		warned: []string{"the eighths are swung 2.0 to 1: they are read as straight eighths (--feel 2.0 plays them so)"},
	},
	{
		name: "dotted eighths are not swung", format: 1, division: 480,
		tracks: []string{head + "text=C@0",
			"60@0+.75 62@.75+.25 64@1+.75 65@1.75+.25 67@2+.75 69@2.75+.25 71@3+.75 72@3.75+.25"},
		want: "1: C4:3/4 D4:1/4 E4:3/4 F4:1/4 G4:3/4 A4:1/4 B4:3/4 C5:1/4 | C\n",
	},
	{
		name: "quarter triplets", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+.6667 62@.6667+.6667 64@1.3333+.6667 65@2+.6667 67@2.6667+.6667 69@3.3333+.6667 65@4+4"},
		want:   "1: C4:2/3 D4:2/3 E4:2/3 F4:2/3 G4:2/3 A4:2/3 | C\n2: F4:4\n",
	},
	{
		name: "a run of thirty-seconds", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+1/8 62@1/8+1/8 64@2/8+1/8 65@3/8+1/8 67@4/8+1/8 69@5/8+1/8 71@6/8+1/8 72@7/8+1/8 74@1+3"},
		want:   "1: C4:1/8 D4:1/8 E4:1/8 F4:1/8 G4:1/8 A4:1/8 B4:1/8 C5:1/8 D5:3 | C\n",
	},
	{
		name: "6/8", format: 1, division: 96,
		tracks: []string{"time=6/8@0 key=1@0 tempo=120@0 text=G@0 text=D7@3", "67@0+1 71@1+.5 74@1.5+1.5 72@3+.5 69@3.5+.5 66@4+.5 67@4.5+1.5"},
		want:   "1: G4:1 B4:1/2 D5:3/2 | G\n2: C5:1/2 A4:1/2 F#4:1/2 G4:3/2 | D7\n",
	},
	{
		name: "changes of metre", format: 1, division: 96,
		tracks: []string{"time=3/4@0 time=4/4@3 time=3/4@7 key=0@0 tempo=120@0 text=C@0", "60@0+3 62@3+4 64@7+3 60@10+3"},
		want:   "1: C4:3 | C\n2: D4:4\n3: E4:3\n4: C4:3\n",
	},
	{
		name: "pick-up after silence", format: 1, division: 96,
		tracks: []string{head + "text=C@4", "55@3+1 60@4+2 64@6+2"},
		want:   "0: G3:1\n1: C4:2 E4:2 | C\n",
	},
	{
		name: "pick-up after bars of silence", format: 1, division: 96,
		tracks: []string{head + "text=C@12", "55@11+1/2 57@11.5+1/2 60@12+4"},
		want:   "0: G3:1/2 A3:1/2\n1: C4:4 | C\n",
		warned: []string{"2 bars of silence before the tune: left out"},
	},
	{
		name: "pick-up with a time signature of its own", format: 1, division: 96,
		tracks: []string{"time=1/4@0 time=4/4@1 key=0@0 tempo=120@0 text=C@1", "55@0+1 60@1+4 62@5+4"},
		want:   "0: G3:1\n1: C4:4 | C\n2: D4:4\n",
	},
	{
		name: "a rest under the first chord is no pick-up", format: 1, division: 96,
		tracks: []string{head + "text=C@0", "55@3+1 60@4+4"},
		want:   "1: z:3 G3:1 | C\n2: C4:4\n",
	},
	{
		name: "bars of chords before the melody", format: 1, division: 96,
		tracks: []string{head + "text=C@0 text=G7@4", "60@8+4"},
		want:   "1: z:4 | C\n2: z:4 | G7\n3: C4:4\n",
	},
	{
		name: "short notes before the beat are grace notes", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+1 62@1+1 65@1.95+.05 64@2+1 65@3+1"},
		want:   "1: C4:1 D4:1 {F4}E4:1 F4:1 | C\n",
		warned: []string{"1 note is too short for the grid: read as grace notes of the next"},
	},
	{
		name: "rests stay, gaps close", format: 1, division: 480,
		tracks: []string{head + "text=C@0", "60@0+.85 62@1+.5 64@2+.4 65@2.5+.25 67@3+1 69@4+3.6 60@8+4"},
		want:   "1: C4:1 D4:1/2 z:1/2 E4:1/2 F4:1/4 z:1/4 G4:1 | C\n2: A4:4\n3: C4:4\n",
	},
	{
		name: "the likeliest key", format: 1, division: 96,
		tracks: []string{"time=4/4@0 tempo=120@0 text=Eb@0 text=Bb7@4 text=Eb@8", "63@0+1 65@1+1 67@2+1 70@3+1 68@4+2 65@6+2 63@8+4"},
		want:   "1: Eb4:1 F4:1 G4:1 Bb4:1 | Eb\n2: Ab4:2 F4:2 | Bb7\n3: Eb4:4 | Eb\n",
		warned: []string{"the MIDI file has no key signature: notes and chords lie best in Eb"},
	},
	{
		name: "a minor key", format: 1, division: 96,
		tracks: []string{"time=4/4@0 tempo=120@0 text=Dm@0 text=A7@4 text=Dm@8", "62@0+1 65@1+1 69@2+2 67@4+1 64@5+1 61@6+2 62@8+4"},
		want:   "1: D4:1 F4:1 A4:2 | Dm\n2: G4:1 E4:1 C#4:2 | A7\n3: D4:4 | Dm\n",
		warned: []string{"the MIDI file has no key signature: notes and chords lie best in Dm"},
	},
	{
		name: "the C that was never asked for", format: 1, division: 96,
		tracks: []string{head + "text=Eb@0 text=Bb7@4 text=Eb@8", "63@0+.5 65@.5+.5 63@1+.5 65@1.5+.5 67@2+1 70@3+1 68@4+.5 67@4.5+.5 68@5+.5 70@5.5+.5 68@6+.5 67@6.5+.5 65@7+.5 62@7.5+.5 63@8+1 67@9+1 63@10+2"},
		want:   "1: Eb4:1/2 F4:1/2 Eb4:1/2 F4:1/2 G4:1 Bb4:1 | Eb\n2: Ab4:1/2 G4:1/2 Ab4:1/2 Bb4:1/2 Ab4:1/2 G4:1/2 F4:1/2 D4:1/2 | Bb7\n3: Eb4:1 G4:1 Eb4:2 | Eb\n",
		warned: []string{"the key signature is C, which programs write unasked: notes and chords lie in Eb, and that is taken"},
	},
	{
		name: "chromatic notes: of the chord, upward, downward", format: 1, division: 96,
		tracks: []string{head + "text=C@0 text=E7@4 text=F@8 text=Fm@10", "60@0+1 61@1+1 62@2+1 63@3+1 68@4+1 64@5+1 63@6+1 62@7+1 68@8+1 69@9+1 68@10+2"},
		want:   "1: C4:1 C#4:1 D4:1 Eb4:1 | C\n2: G#4:1 E4:1 Eb4:1 D4:1 | E7\n3: G#4:1 A4:1 Ab4:2 | F Fm@2\n",
	},
	{
		name: "no time signature", format: 1, division: 96,
		tracks: []string{"key=0@0 tempo=120@0 text=C@0", "60@0+4 62@4+4"},
		want:   "1: C4:4 | C\n2: D4:4\n",
		warned: []string{"the MIDI file has no time signature: it is read in 4/4"},
	},
	{
		name: "a word among the chord symbols", format: 1, division: 96,
		tracks: []string{head + "text=C@0 text=Drums_enter@4 text=F@4", "60@0+4 65@4+4"},
		want:   "1: C4:4 | C\n2: F4:4 | F\n",
		warned: []string{`bar 2: the text "Drums enter" is not read`},
	},
	{
		name: "two symbols at one place", format: 1, division: 96,
		tracks: []string{head + "text=C@0 text=F@4 text=Dm@4.01", "60@0+4 65@4+4"},
		want:   "1: C4:4 | C\n2: F4:4 | Dm\n",
		warned: []string{`bar 2: two chord symbols at one place, "F" and "Dm": the second is kept`},
	},
}

func TestSMF(t *testing.T) {
	for _, c := range smfCases {
		t.Run(c.name, func(t *testing.T) {
			tune := mustRead(t, string(midiFile(t, c.format, c.division, c.tracks...)), c.opt)
			if got := dump(tune); got != c.want {
				t.Errorf("got\n%swant\n%s", got, c.want)
			}
			var warned []string
			for _, w := range tune.Warnings {
				warned = append(warned, w.Text)
			}
			if !slices.Equal(warned, c.warned) {
				t.Errorf("warnings\n%q\nwant\n%q", warned, c.warned)
			}
		})
	}
}

func TestSMFErrors(t *testing.T) {
	three := []string{head + "text=C@0", "name=Oboe@0 72@0+4", "60@0+4"}
	for _, c := range []struct {
		name   string
		tracks []string
		opt    Options
		want   string
	}{
		{"several", three, Options{}, `test: several tracks may be the melody: the file has 2 "Oboe" (1 note from C5 to C5), 3 (1 note from C4 to C4) (write --melody 2 for the likeliest, or another number)`},
		{"none", []string{head + "text=C@0", "60@0+4 64@0+4", "name=Bass@0 36@0+4"}, Options{}, `test: no track looks like a melody: the file has 2 (2 notes from C4 to E4, several at once), 3 "Bass" (1 note from C2 to C2) (write --melody and the number of the track with the melody)`},
		{"absent", three, Options{Melody: "9"}, `test: there is no track "9": the file has 2 "Oboe" (1 note from C5 to C5), 3 (1 note from C4 to C4) (choose one that is there)`},
		{"without notes", three, Options{Melody: "1"}, `test: the track "1" has no notes: the file has 2 "Oboe" (1 note from C5 to C5), 3 (1 note from C4 to C4) (choose one that has notes)`},
		{"one name twice", []string{head + "text=C@0", "name=Oboe@0 72@0+4", "name=oboe@0 60@0+4"}, Options{Melody: "oboe"}, `test: tracks 2 and 3 are both called "Oboe" (choose one by its number)`},
		{"no chords", []string{head, "60@0+4"}, Options{}, `test: there are no chord symbols in this tune (put each symbol where it begins as a text, lyric or marker event, one kind of event for chords alone)`},
		{"chords among words", []string{head, "lyric=C@0 lyric=love@1 lyric=me@2 60@0+4"}, Options{}, `test: there are no chord symbols in this tune (put each symbol where it begins as a text, lyric or marker event, one kind of event for chords alone; of the lyrics of track 2, 1 read as chord symbols and 2 are words)`},
		{"rehearsal letters are no chords", []string{head + "marker=A@0 marker=B@32 marker=A@64", "60@0+64 62@64+32"}, Options{}, `test: there are no chord symbols in this tune (put each symbol where it begins as a text, lyric or marker event, one kind of event for chords alone)`},
		{"no notes", []string{head + "text=C@0"}, Options{}, `test: there are no notes in this MIDI file (a lead sheet needs a melody)`},
		{"unknown symbol", []string{head + "text=C@0 text=C7xyz@4 text=F@8 text=Hm7@12", "60@0+16"}, Options{}, "test: bar 2, in the texts of track 1: unknown chord symbol \"C7xyz\": \"xyz\" is not understood (mend it there, or move what is no chord to another kind of event)\n" +
			`test: bar 4, in the texts of track 1: unknown chord symbol "Hm7": no note is called H, the German H is B and the German B is Bb (mend it there, or move what is no chord to another kind of event)`},
		{"number", []string{head + "text=C@0", "60@0+4"}, Options{Number: 2}, `test: there is no tune 2: a MIDI file holds one (leave the number out)`},
		{"a long silence", []string{head + "text=C@0", "60@0+4 60@1100+4"}, Options{}, `test: nothing happens for 1100 quarter notes after quarter note 1 (export one tune alone)`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(bytes.NewReader(midiFile(t, 1, 96, c.tracks...)), "test", c.opt)
			if err == nil || err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

// smfBytes is a file of one track.
func smfBytes(division uint16, track ...byte) string {
	b := []byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01")
	b = binary.BigEndian.AppendUint16(b, division)
	b = append(b, "MTrk"...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(track)))
	return string(append(b, track...))
}

// smfTune is a track in running status with a chord symbol: RP-001 lets the
// status be left out, and a note-on of velocity 0 end a note.
var smfTune = []byte{
	0, 0xff, 0x58, 4, 4, 2, 24, 8, // 4/4
	0, 0xff, 0x59, 2, 0, 0, // C major
	0, 0xff, 0x51, 3, 0x07, 0xa1, 0x20, // 120
	0, 0xff, 0x01, 1, 'C',
	0, 0x90, 60, 90, // C4
	96, 60, 0, // ends after a quarter
	0, 62, 90,
	96, 62, 0,
	0, 64, 90,
	0x81, 0x40, 64, 0, // 192 ticks: 81 40 hex
	0, 0xff, 0x2f, 0,
}

// Files as bytes: what is read and what is refused.
func TestSMFBytes(t *testing.T) {
	good := smfBytes(96, smfTune...)
	const tune = "1: C4:1 D4:1 E4:2 | C\n"
	cut := func(s string, n int) string { return s[:len(s)-n] }
	riff := "RIFF\x00\x00\x00\x00RMIDLIST\x03\x00\x00\x00abc\x00data" + string(binary.LittleEndian.AppendUint32(nil, uint32(len(good)))) + good
	for _, c := range []struct{ name, in, want string }{
		{"running status", good, tune},
		{"in a RIFF wrapper", riff, tune},
		{"bytes behind the last track", good + "junk and more of it", tune},
		{"an unknown chunk", good[:14] + "XFIH\x00\x00\x00\x02ab" + good[14:], tune},
		{"no end of track", smfBytes(96, smfTune[:len(smfTune)-4]...), tune},
		{"running status kept over a meta event", smfBytes(96, append(append([]byte{0, 0xff, 0x01, 1, 'C', 0, 0x90, 60, 90, 96, 0xff, 0x06, 0}, 0, 60, 0), 0, 62, 90, 96, 62, 0, 0, 64, 90, 0x81, 0x40, 64, 0)...), tune},
		{"time code", smfBytes(0xe728, smfTune...), "test: byte 12: the MIDI file counts frames of time code, not beats, so it has no bars (export it with ticks to the quarter note)"},
		{"division 0", smfBytes(0, smfTune...), "test: byte 12: the MIDI file has 0 ticks to the quarter note (export the MIDI file again)"},
		{"format 3", strings.Replace(good, "\x00\x06\x00\x00", "\x00\x06\x00\x03", 1), "test: byte 8: a MIDI file of format 3 (export it as format 0 or 1)"},
		{"no track", good[:14], "test: the MIDI file holds no track (export the MIDI file again)"},
		{"cut off", cut(good, 9), "test: byte 14: track 1 says it has 50 bytes and the file ends after 41: it is cut off (export the MIDI file again)"},
		{"header alone", good[:10], "test: byte 10: the MIDI file ends within its header (export the MIDI file again)"},
		{"huge header", "MThd\xff\xff\xff\xff" + good[8:], "test: byte 4: a header of 4294967295 bytes (6 is usual) (export the MIDI file again)"},
		{"no status", smfBytes(96, 0, 60, 90), "test: byte 23, track 1: the data byte 3C hex stands where a status is due (export the MIDI file again)"},
		{"a long length", smfBytes(96, 0xff, 0xff, 0xff, 0xff, 0x7f, 0x90, 60, 90), "test: byte 22, track 1: a length or time that does not end within four bytes or within its track (export the MIDI file again)"},
		{"text past the end", smfBytes(96, 0, 0xff, 1, 100, 'C'), "test: byte 26, track 1: an event of 100 bytes goes past the end of the track (export the MIDI file again)"},
		{"system exclusive past the end", smfBytes(96, 0, 0xf0, 0x8f, 0xff, 0xff, 0x7f), "test: byte 28, track 1: an event of 33554431 bytes goes past the end of the track (export the MIDI file again)"},
		{"status for data", smfBytes(96, 0, 0x90, 0x90, 60), "test: byte 24, track 1: the status byte 90 hex stands where data is due (export the MIDI file again)"},
		{"real time", smfBytes(96, 0, 0xf8), "test: byte 23, track 1: the status byte F8 hex has no place in a file (export the MIDI file again)"},
		{"ends within an event", smfBytes(96, 0, 0x90, 60), "test: byte 24, track 1: the track ends within an event (export the MIDI file again)"},
		{"ends before an event", smfBytes(96, 0), "test: byte 23, track 1: the track ends where an event is due (export the MIDI file again)"},
		{"beyond all time", smfBytes(1, 0xff, 0xff, 0xff, 0x7f, 0x90, 60, 90), "test: byte 26, track 1: the track lasts longer than 200000 quarter notes (export the tune alone)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune, err := Read(strings.NewReader(c.in), "test", Options{})
			got := ""
			if err != nil {
				got = err.Error()
			} else {
				checkTune(t, tune)
				got = dump(tune)
			}
			if got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
	// Every file that is cut off gives one line.
	for n := 4; n < len(good); n++ {
		if _, err := Read(strings.NewReader(good[:n]), "test", Options{}); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("cut to %d bytes: %v", n, err)
		}
	}
}

func TestSMFHead(t *testing.T) {
	tune := mustRead(t, string(midiFile(t, 1, 480,
		"name=Hill_Road@0 time=4/4@0 key=-2@0 key=1@16 tempo=130@0 tempo=130.5@4 tempo=96@8.01 text=Bb@0 text=G@16 marker=A@0 marker=[Bridge]@8.2 marker=note_this@10 marker=A@15.8",
		"name=Melody@0 70@0+8 74@8+8 67@16+8")), Options{})
	if tune.Title != "Hill Road" || tune.Key.String() != "Bb" || tune.TempoAssumed {
		t.Errorf("title %q, key %s, tempo assumed %v", tune.Title, tune.Key, tune.TempoAssumed)
	}
	if got, want := fmt.Sprint(tune.Tempi), "[{0 130 } {8 96 }]"; got != want {
		t.Errorf("tempi %s, want %s", got, want)
	}
	if got, want := fmt.Sprint(tune.Sections), "[{A 0 2} {Bridge 2 4} {A 4 6}]"; got != want {
		t.Errorf("sections %s, want %s", got, want)
	}
	if k := tune.Bars[3].Key.String() + tune.Bars[4].Key.String(); k != "BbG" {
		t.Errorf("keys of bars 4 and 5: %s", k)
	}
}

func TestTracks(t *testing.T) {
	got, err := Tracks(midiFile(t, 1, 96, "name=Song@0 text=C@0 text=G7@4", "name=Drums@0 36/10@0+1", "name=Lead@0 60@0+1 67@1+1", "60@0+1 64@0+1 67@0+1"))
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, x := range got {
		lines = append(lines, fmt.Sprintf("%s alone %.2f chords %d proposed %v", x, x.Alone, x.Chords, x.Proposed))
	}
	want := []string{
		`1 "Song" (no notes) alone 0.00 chords 2 proposed false`,
		`2 "Drums" (drums) alone 1.00 chords 0 proposed false`,
		`3 "Lead" (2 notes from C4 to G4) alone 1.00 chords 0 proposed true`,
		`4 (3 notes from C4 to G4, several at once) alone 0.33 chords 0 proposed false`,
	}
	if !slices.Equal(lines, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	var list ErrorList
	if _, err := Tracks([]byte("X:1")); !errors.As(err, &list) {
		t.Errorf("no MIDI file: %v", err)
	}
}

// A tune on a grid that is played less than a third of the grid off is read as
// it was.
func TestSMFNoise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		thirds := rapid.Bool().Draw(t, "triplets")
		const division = 480
		step := division / 4
		if thirds {
			step = division / 3
		}
		noise := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		share := rapid.Float64Range(0, 0.98).Draw(t, "noise") // of a third of the grid
		off := func() int { return int((2*noise.Float64() - 1) * share * float64(step) / 3) }
		beats := rapid.IntRange(12, 40).Draw(t, "bars") * 4
		perBeat := division / step
		var want strings.Builder
		var evs []midiEvent
		last := -10
		key := 60
		for beat := range beats {
			// A beat starts with a note and goes on with any, but every other beat is
			// whole: a single off-beat that is loosely played can be anything, and
			// two notes of a triplet are a swung pair.
			whole := beat%2 == 0 || rapid.Bool().Draw(t, "whole")
			for k := range perBeat {
				if k > 0 && !whole && (thirds || rapid.IntRange(0, 2).Draw(t, "note") == 0) {
					continue
				}
				at := (beat*perBeat + k) * step
				key = 60 + (key-60+rapid.IntRange(1, 11).Draw(t, "key"))%12
				on := max(at+off(), last+1)
				if n := len(evs); n > 0 {
					evs = append(evs, midiEvent{max(on+off()/2, last+1), smf.Message(midi.NoteOff(0, evs[n-1].msg[1]))})
				}
				last = on
				evs = append(evs, midiEvent{on, smf.Message(midi.NoteOn(0, uint8(key), 90))})
				fmt.Fprintf(&want, "%d@%s ", key, theory.Quarters(int64(at), division))
			}
		}
		evs = append(evs, midiEvent{beats * division, smf.Message(midi.NoteOff(0, uint8(key)))})
		evs = append(evs, midiEvent{0, smf.MetaMeter(4, 4)}, midiEvent{0, smf.MetaKey(0, true, 0, false)}, midiEvent{0, smf.MetaText("C6")})
		slices.SortStableFunc(evs, func(a, b midiEvent) int { return a.at - b.at })
		f := smf.New()
		f.TimeFormat = smf.MetricTicks(division)
		var tr smf.Track
		now := 0
		for _, e := range evs {
			at := max(e.at, now)
			tr.Add(uint32(at-now), e.msg)
			now = at
		}
		tr.Close(0)
		if err := f.Add(tr); err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := f.WriteTo(&b); err != nil {
			t.Fatal(err)
		}
		tune, err := Read(&b, "test", Options{})
		if err != nil {
			t.Fatal(err)
		}
		var got strings.Builder
		for i, n := range tune.Melody {
			fmt.Fprintf(&got, "%d@%s ", n.Pitch.MIDI(), n.At)
			if i > 0 && tune.Melody[i-1].At.Add(tune.Melody[i-1].Len) != n.At {
				t.Fatalf("the note before %s does not reach it", n.At)
			}
		}
		if got.String() != want.String() {
			t.Fatalf("got  %s\nwant %s", got.String(), want.String())
		}
	})
}

// A file costs less than 64 times its bytes and what the tune itself needs.
func TestSMFCost(t *testing.T) {
	repeat := func(n int, event ...byte) []byte { return bytes.Repeat(event, n) }
	// Tables that are made once are nobody's cost.
	mustRead(t, smfBytes(96, smfTune...), Options{})
	start := []byte{0, 0xff, 1, 1, 'C', 0, 0x90, 60, 90}
	from := func(more ...byte) []byte { return append(slices.Clone(start), more...) }
	var words []byte // no two the same
	for i := range maxTexts - 1 {
		words = append(words, 1, 0xff, 1, 4, 'C', byte('0'+i%10), byte('A'+i/10%50), byte('A'+i/500))
	}
	for _, c := range []struct {
		name string
		in   string
	}{
		{"notes in running status", smfBytes(4, from(repeat(maxNotes/2-1, 1, 61, 90, 1, 62, 90)...)...)},
		{"quarters", smfBytes(1, from(repeat(4*maxBars-10, 1, 61, 90)...)...)},
		{"too many quarters", smfBytes(1, from(repeat(4*maxBars+10, 1, 61, 90)...)...)},
		{"texts", smfBytes(96, from(repeat(maxTexts-1, 1, 0xff, 1, 1, 'x')...)...)},
		{"chord symbols", smfBytes(4, from(repeat(maxTexts-1, 1, 0xff, 1, 1, 'C')...)...)},
		{"many symbols", smfBytes(4, from(repeat(maxTexts-1, 1, 0xff, 1, 8, 'C', ' ', 'D', ' ', 'C', ' ', 'D', ' ')...)...)},
		{"notes and symbols", smfBytes(1, from(repeat(maxTexts-1, 1, 61, 90, 1, 0xff, 1, 1, 'C', 0, 0x90, 61, 90)...)...)},
		{"different words", smfBytes(4, from(words...)...)},
		{"too many texts", smfBytes(96, from(repeat(300000, 1, 0xff, 1, 0)...)...)},
		{"short bars", smfBytes(1, append([]byte{0, 0xff, 0x58, 4, 1, 6, 1, 8}, from(0x84, 0x00, 60, 90)...)...)},
		{"too many short bars", smfBytes(1, append([]byte{0, 0xff, 0x58, 4, 1, 6, 1, 8}, from(repeat(8, 0x84, 0x00, 60, 90)...)...)...)},
		{"tempo marks", smfBytes(4, from(repeat(40000, 1, 0xff, 0x51, 3, 7, 0xa1, 0x20)...)...)},
		{"key signatures", smfBytes(4, from(repeat(40000, 1, 0xff, 0x59, 2, 1, 0)...)...)},
		{"time signatures", smfBytes(4, from(repeat(20000, 1, 0xff, 0x58, 2, 3, 2, 0, 0xff, 0x58, 2, 4, 2)...)...)},
		{"empty notes", smfBytes(4, from(repeat(maxNotes-2, 0, 61, 90)...)...)},
		{"empty tracks", "MThd\x00\x00\x00\x06\x00\x01\x01\xf4\x00\x60" + strings.Repeat("MTrk\x00\x00\x00\x00", 500)},
		{"too many tracks", "MThd\x00\x00\x00\x06\x00\x01\xff\xff\x00\x60" + strings.Repeat("MTrk\x00\x00\x00\x00", 60000)},
	} {
		t.Run(c.name, func(t *testing.T) {
			cost := allocated(c.in)
			t.Logf("%d bytes in, %.1f MB, %.0f times", len(c.in), float64(cost)/1e6, float64(cost)/float64(len(c.in)))
			if most := mostAllocated(len(c.in)); cost > most {
				t.Errorf("%d bytes cost %d, more than %d", len(c.in), cost, most)
			}
		})
	}
}

func FuzzSMF(f *testing.F) {
	seeds := []string{
		smfBytes(96, smfTune...),
		smfBytes(1, 0, 0xff, 1, 1, 'C', 0x88, 0x00, 0x90, 60, 90, 0x84, 0x00, 62, 90),              // long times, nothing ended
		smfBytes(32767, 0, 0xff, 1, 1, 'C', 1, 0xff, 0x58, 2, 1, 6, 0, 0x90, 60, 90, 1, 61, 90),    // short bars, fine ticks
		"RIFF\x00\x00\x00\x00RMIDdata\x16\x00\x00\x00MThd\x00\x00\x00\x06\x00\x02\xff\xff\x00\x60", // a wrapper, tracks that are not there
	}
	for _, c := range smfCases {
		seeds = append(seeds, string(midiFile(f, c.format, c.division, c.tracks...)))
	}
	addSeeds(f, seeds)
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<14 || !IsSMF([]byte(in)) {
			t.Skip()
		}
		readAnything(t, in)
		if got := allocated(in); got > mostAllocated(len(in)) {
			t.Fatalf("%d bytes allocated for %d", got, len(in))
		}
		if infos, err := Tracks([]byte(in)); err == nil {
			for _, x := range infos {
				if x.Notes > 0 {
					if tune, err := Read(strings.NewReader(in), "fuzz", Options{Melody: strconv.Itoa(x.Number)}); err == nil {
						checkTune(t, tune)
					}
				}
			}
		}
	})
}

func BenchmarkSMF(b *testing.B) {
	var track strings.Builder
	for i := range 8000 {
		fmt.Fprintf(&track, "%d@%d+.5 %d@%d.5+.5 ", 60+i%12, i, 62+i%7, i)
		if i%4 == 0 {
			fmt.Fprintf(&track, "text=Cmaj7@%d ", i)
		}
	}
	in := midiFile(b, 1, 480, head, track.String())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(bytes.NewReader(in), "test", Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
