package midiio

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

var update = flag.Bool("update", false, "write the golden files of this package")

var standard = []int{40, 45, 50, 55, 59, 64}

var openPitch = [...]int{1: 64, 2: 59, 3: 55, 4: 50, 5: 45, 6: 40}

func note(at, dur voicing.Tick, str, fret int, v voicing.Voice) voicing.Note {
	return voicing.Note{At: at, Dur: dur, MIDI: openPitch[str] + fret, String: str, Fret: fret, Voice: v}
}

func bars44(n int, key theory.Key) []voicing.Bar {
	bars := make([]voicing.Bar, n)
	for i := range bars {
		bars[i] = voicing.Bar{Label: fmt.Sprint(i + 1), At: voicing.Tick(i) * 3840, Len: 3840, Beat: 960, Metre: theory.Metre{Num: 4, Den: 4}, Key: key}
	}
	return bars
}

// gateLatch is a phrase of four bars in B flat with a pick-up: eighths and a
// triplet in the tune, shells under it, a walk in the bass.
func gateLatch() *voicing.Arrangement {
	bb := theory.Key{Tonic: theory.Name{Letter: theory.B, Alter: -1}, Fifths: -2}
	a := &voicing.Arrangement{
		Title: "Gate Latch", Key: bb, Tuning: standard,
		Tempi: []voicing.TempoMark{{At: 0, BPM: 140}},
		Feel:  theory.Feel{Ratio: 2},
	}
	a.Bars = append(a.Bars, voicing.Bar{Label: "0", At: 0, Len: 960, Beat: 960, Metre: theory.Metre{Num: 4, Den: 4}, Key: bb})
	for _, b := range bars44(4, bb) {
		b.At += 960
		a.Bars = append(a.Bars, b)
	}
	a.Sections = []voicing.Section{{Name: "A", From: 1, To: 5}}
	a.Phrases = []theory.Phrase{{From: 0, To: 5}}
	for i, c := range []string{"Bb6", "G7", "Cm7", "F7"} {
		a.Chords = append(a.Chords, voicing.ChordMark{At: 960 + voicing.Tick(i)*3840, Symbol: c})
	}
	a.Notes = []voicing.Note{
		note(0, 480, 2, 6, voicing.Melody), note(480, 480, 2, 8, voicing.Melody),
		// bar 1: Bb6, together
		note(960, 1920, 6, 6, voicing.Bass), note(960, 1920, 4, 5, voicing.Inner), note(960, 1920, 3, 7, voicing.Inner), note(960, 1440, 1, 6, voicing.Melody),
		note(2400, 480, 1, 8, voicing.Melody),
		note(2880, 1920, 5, 5, voicing.Bass), note(2880, 640, 1, 10, voicing.Melody), note(3520, 640, 1, 8, voicing.Melody), note(4160, 640, 1, 6, voicing.Melody),
		// bar 2: G7, bass first and the chord off the beat
		note(4800, 2880, 6, 3, voicing.Bass), note(4800, 480, 2, 3, voicing.Melody), note(5280, 3360, 2, 5, voicing.Melody),
		note(5280, 1440, 4, 3, voicing.Inner), note(5280, 1440, 3, 4, voicing.Inner),
		note(7680, 960, 6, 7, voicing.Bass),
		// bar 3: Cm7, the tune's string is struck again at once
		note(8640, 1920, 6, 8, voicing.Bass), note(8640, 2880, 4, 8, voicing.Inner), note(8640, 2880, 3, 8, voicing.Inner), note(8640, 1920, 2, 8, voicing.Melody),
		note(10560, 1920, 5, 10, voicing.Bass), note(10560, 960, 2, 10, voicing.Melody), note(11520, 960, 2, 8, voicing.Melody),
		// bar 4: F7
		note(12480, 3840, 6, 1, voicing.Bass), note(12480, 3840, 4, 1, voicing.Inner), note(12480, 3840, 3, 2, voicing.Inner), note(12480, 3840, 2, 1, voicing.Melody),
	}
	for _, n := range a.Notes {
		if n.Voice == voicing.Melody {
			a.Melody = append(a.Melody, voicing.TuneNote{At: n.At, Dur: n.Dur, MIDI: n.MIDI})
		}
	}
	return a
}

func straight() *theory.Feel { return &theory.Feel{} }

// Markers are the sections that have a name.
func TestPerformMarkers(t *testing.T) {
	a := gateLatch()
	a.Sections = []voicing.Section{{From: 0, To: 1}, {Name: "A", From: 1, To: 3}, {From: 3, To: 4}, {Name: "B", From: 4, To: 5}}
	if d := cmp.Diff([]Text{{960, "A"}, {12480, "B"}}, Perform(a, PerformOptions{}).Markers); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	// A chorus stands before the section it begins with.
	a.Sections = []voicing.Section{{Name: voicing.IntroName, From: 0, To: 1}, {Name: "A", From: 1, To: 3}, {Name: "A", From: 3, To: 4}, {Name: voicing.EndingName, From: 4, To: 5}}
	a.Choruses = []voicing.Section{{Name: "chorus 1", From: 1, To: 3}, {Name: "chorus 2", From: 3, To: 4}}
	want := []Text{{0, "introduction"}, {960, "chorus 1"}, {960, "A"}, {Tick(a.Bars[3].At), "chorus 2"}, {Tick(a.Bars[3].At), "A"}, {12480, "ending"}}
	if d := cmp.Diff(want, Perform(a, PerformOptions{}).Markers); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	again, err := ReadSMF(bytes.NewReader(fileOf(t, Perform(a, PerformOptions{}))))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, again.Markers); d != "" {
		t.Errorf("in the file (-want +got):\n%s", d)
	}
	a.Choruses = nil
	a.Sections = []voicing.Section{{From: 0, To: 5}}
	back, err := ReadSMF(bytes.NewReader(fileOf(t, Perform(a, PerformOptions{}))))
	if err != nil {
		t.Fatal(err)
	}
	if len(back.Markers) > 0 {
		t.Errorf("markers %v in the file of one section without a name", back.Markers)
	}
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), string(got)); d != "" {
		t.Errorf("%s differs (-want +got):\n%s", path, d)
	}
}

func TestPerformGolden(t *testing.T) {
	for name, opt := range map[string]PerformOptions{
		"gatelatch.txt":          {},
		"gatelatch-straight.txt": {Feel: straight(), NoSpread: true, NoLevels: true},
	} {
		var b bytes.Buffer
		if err := Dump(&b, Perform(gateLatch(), opt)); err != nil {
			t.Fatal(err)
		}
		golden(t, name, b.Bytes())
	}
}

// sound.md 31 and harmony.md 77, there with 480 ticks to the beat.
func TestSwingRatio(t *testing.T) {
	for _, c := range []struct {
		ratio float64
		want  Tick
	}{{0, 480}, {1, 480}, {1.5, 576}, {2, 640}, {3, 720}} {
		a := gateLatch()
		a.Feel = theory.Feel{Ratio: c.ratio}
		if got := Perform(a, PerformOptions{NoProgram: true}).Events[2].Tick; got != c.want {
			t.Errorf("off-beat at %g:1 on tick %d, want %d", c.ratio, got, c.want)
		}
	}
}

func TestSwing(t *testing.T) {
	eighth := func(beat, den int, length voicing.Tick, label string, at ...voicing.Tick) *voicing.Arrangement {
		a := &voicing.Arrangement{
			Tempi: []voicing.TempoMark{{BPM: 140}}, Feel: theory.Feel{Ratio: 2},
			Bars: []voicing.Bar{{Label: label, Len: length, Beat: voicing.Tick(beat), Metre: theory.Metre{Num: int(length) * den / 3840, Den: den}}},
		}
		for _, t := range at {
			a.Notes = append(a.Notes, note(t, 10, 1, 0, voicing.Melody))
		}
		return a
	}
	for _, c := range []struct {
		name string
		arr  *voicing.Arrangement
		want []Tick
	}{
		{"off-beats move", eighth(960, 4, 3840, "1", 0, 480, 960, 1440), []Tick{0, 640, 960, 1600}},
		{"a beat with thirds stays", eighth(960, 4, 3840, "1", 0, 320, 480, 640, 960, 1440), []Tick{0, 320, 480, 640, 960, 1600}},
		{"compound metre stays", eighth(1440, 8, 2880, "1", 0, 480, 960, 1440), []Tick{0, 480, 960, 1440}},
		{"sixteenths divide the halves", eighth(960, 4, 3840, "1", 0, 240, 480, 720), []Tick{0, 320, 640, 800}},
		{"eighths move in cut time", eighth(1920, 2, 3840, "1", 0, 480, 960, 1440, 1920), []Tick{0, 640, 960, 1600, 1920}},
		{"a third of the half in cut time", eighth(1920, 2, 3840, "1", 0, 640, 1280, 1920, 2400), []Tick{0, 640, 1280, 1920, 2560}},
	} {
		var got []Tick
		for _, e := range Perform(c.arr, PerformOptions{}).Events {
			if isOn(e.Msg) {
				got = append(got, e.Tick)
			}
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

// A pick-up of an eighth is the second half of its beat, at the start and
// where a section's end and the next pick-up share a beat.
func TestSwingPickup(t *testing.T) {
	m := theory.Metre{Num: 4, Den: 4}
	a := &voicing.Arrangement{
		Tempi: []voicing.TempoMark{{BPM: 140}}, Feel: theory.Feel{Ratio: 2},
		Bars: []voicing.Bar{
			{Label: "0", At: 0, Len: 480, Beat: 960, Metre: m},
			{Label: "1", At: 480, Len: 3360, Beat: 960, Metre: m},
			{Label: "1+", At: 3840, Len: 480, Beat: 960, Metre: m},
			{Label: "2", At: 4320, Len: 3840, Beat: 960, Metre: m},
		},
		Notes: []voicing.Note{
			note(0, 480, 1, 0, voicing.Melody), note(480, 480, 1, 1, voicing.Melody), note(960, 480, 1, 0, voicing.Melody),
			note(3360, 480, 1, 1, voicing.Melody), note(3840, 480, 1, 3, voicing.Melody), note(4320, 960, 1, 1, voicing.Melody),
		},
	}
	var got []Tick
	for _, e := range Perform(a, PerformOptions{}).Events {
		if isOn(e.Msg) {
			got = append(got, e.Tick)
		}
	}
	if d := cmp.Diff([]Tick{160, 480, 1120, 3360, 4000, 4320}, got); d != "" {
		t.Errorf("attacks (-want +got):\n%s", d)
	}
}

// genArrangement makes arrangements as voicing promises them: strings single,
// notes in order, any metre, with pick-ups, triplets and restruck strings.
func genArrangement(t *rapid.T) *voicing.Arrangement {
	m := rapid.SampledFrom([]theory.Metre{{Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 6, Den: 8}, {Num: 2, Den: 2}, {Num: 5, Den: 4}}).Draw(t, "metre")
	beat := voicing.Tick(3840 / m.Den)
	if m.Den == 8 {
		beat = 1440
	}
	a := &voicing.Arrangement{
		Title: "Any", Tuning: standard,
		Tempi: []voicing.TempoMark{{BPM: rapid.Float64Range(30, 320).Draw(t, "bpm")}},
		Feel: rapid.OneOf(
			rapid.Custom(func(t *rapid.T) theory.Feel { return theory.Feel{Ratio: rapid.Float64Range(1, 3.5).Draw(t, "ratio")} }),
			rapid.SampledFrom([]theory.Feel{{}, {Bossa: true}}),
		).Draw(t, "feel"),
	}
	full := voicing.Tick(m.Num * 3840 / m.Den)
	at := voicing.Tick(0)
	for i := range rapid.IntRange(1, 5).Draw(t, "bars") {
		b := voicing.Bar{Label: fmt.Sprint(i + 1), At: at, Len: full, Beat: beat, Metre: m}
		if i == 0 && rapid.Bool().Draw(t, "pickup") {
			b.Label, b.Len = "0", 480*voicing.Tick(rapid.IntRange(1, 3).Draw(t, "eighths"))
		}
		a.Bars = append(a.Bars, b)
		at += b.Len
	}
	for from := 0; from < len(a.Bars); {
		to := from + rapid.IntRange(1, len(a.Bars)-from).Draw(t, "phrase")
		a.Phrases = append(a.Phrases, theory.Phrase{From: from, To: to})
		from = to
	}
	if rapid.Bool().Draw(t, "slows") {
		a.Tempi = append(a.Tempi, voicing.TempoMark{At: at / 2, BPM: rapid.Float64Range(30, 320).Draw(t, "bpm2")})
	}
	places := []voicing.Tick{0, 160, 240, 320, 480, 640, 720, 961}
	for str := 1; str <= 6; str++ {
		now := voicing.Tick(0)
		for now < a.End() {
			now += rapid.SampledFrom(places).Draw(t, "gap")
			dur := 1 + rapid.SampledFrom(places).Draw(t, "length")
			if now+dur > a.End() {
				break
			}
			a.Notes = append(a.Notes, note(now, dur, str, rapid.IntRange(0, 15).Draw(t, "fret"), voicing.Voice(rapid.IntRange(0, 2).Draw(t, "voice"))))
			now += dur
		}
	}
	return a
}

func TestPerformProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := genArrangement(t)
		type key struct {
			on, off Tick
			msg     [2]byte
		}
		notes := func(s *Sequence, at []int64) (ks []key) {
			p := pair(s.Events)
			for i, e := range s.Events {
				if isOn(e.Msg) || isOff(e.Msg) {
					if p[i] < 0 {
						t.Fatalf("% X at %d has no other half", e.Msg, e.Tick)
					}
				}
				if isOn(e.Msg) {
					ks = append(ks, key{Tick(at[i]), Tick(at[p[i]]), [2]byte{e.Msg[0] & 15, e.Msg[1]}})
				}
			}
			return ks
		}
		plain := Perform(a, PerformOptions{Feel: straight(), NoSpread: true})
		at, _ := fileTicks(plain)
		want := map[key]int{}
		for _, n := range a.Notes {
			want[key{Tick(n.At), Tick(n.At + n.Dur), [2]byte{byte(n.String - 1), byte(n.MIDI)}}]++
		}
		got := map[key]int{}
		for _, k := range notes(plain, at) {
			got[k]++
		}
		if d := cmp.Diff(want, got, cmp.AllowUnexported(key{})); d != "" {
			t.Fatalf("straight without spread (-arrangement +performed):\n%s", d)
		}

		s := Perform(a, PerformOptions{})
		at, end := fileTicks(s)
		ks := notes(s, at)
		if len(ks) != len(a.Notes) {
			t.Fatalf("%d notes of %d", len(ks), len(a.Notes))
		}
		for i, k := range ks {
			if k.on < 0 || k.off <= k.on || int64(k.off) > end {
				t.Fatalf("note %v outside 0..%d or empty", k, end)
			}
			for _, l := range ks[i+1:] {
				if k.msg[0] == l.msg[0] && k.on < l.off && l.on < k.off {
					t.Fatalf("two notes on channel %d: %v %v", k.msg[0]+1, k, l)
				}
			}
		}
		sec := s.secondsTable()
		for _, e := range s.Events {
			if isOn(e.Msg) && (e.Nudge < -longestRoll || e.Nudge > longestRoll || sec(e.Tick)+e.Nudge < 0) {
				t.Fatalf("nudge of %v at %d", e.Nudge, e.Tick)
			}
		}
		g := newGrid(a, a.Feel)
		for x, last := Tick(0), Tick(0); x <= Tick(a.End()); x += 7 {
			y := g.warp(x)
			if y < last || y > Tick(a.End()) {
				t.Fatalf("swing brings %d to %d after %d", x, y, last)
			}
			last = y
		}
	})
}
