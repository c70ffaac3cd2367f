package main

import (
	"context"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thumbline/midiio"
	"thumbline/theory"
)

// tenBars is a MIDI file of ten bars of 3/4 with a note on every beat.
func tenBars(t testing.TB) string {
	t.Helper()
	s := &midiio.Sequence{Title: "Ten Bars", Tempi: []midiio.TempoMark{{BPM: 90}}}
	for i := range midiio.Tick(10) {
		s.Bars = append(s.Bars, midiio.Bar{Label: "x", At: 3 * i * quarter, Len: 3 * quarter, Beat: quarter, Metre: theory.Metre{Num: 3, Den: 4}})
		for b := range midiio.Tick(3) {
			at := (3*i + b) * quarter
			s.Events = append(s.Events,
				midiio.Event{Tick: at, Layer: midiio.Inner, Msg: [3]byte{0x94, byte(52 + 5*b), 80}},
				midiio.Event{Tick: at + quarter, Layer: midiio.Inner, Msg: [3]byte{0x84, byte(52 + 5*b), 64}})
		}
	}
	slices.SortStableFunc(s.Events, func(a, b midiio.Event) int { return int(a.Tick - b.Tick) })
	s.End = 30 * quarter
	path := filepath.Join(t.TempDir(), "ten.mid")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := midiio.WriteSMF(f, s); err != nil {
		t.Fatal(err)
	}
	return path
}

// A MIDI file is practised like a tune, four bars at a time, but for its grips.
func TestPageOfMIDIFile(t *testing.T) {
	path := tenBars(t)
	c := conducted(t, "loop", path, "--bars", "6-7", "--ramp", "60-80:10")
	c.to(2, quarter)
	page := shownIn(c.page(), 80, 24)
	for _, want := range []string{"Ten Bars ", "bars 6-7", "quarter = 63 (70%), next 72 (80%)", "PLAYING", "bar 6, beat 2", "|>6 ", "| 7 ", "n next bars", "b bars before", "c click is off"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	for _, no := range []string{"grip", "key", "melody", "heard", "phrase"} {
		if strings.Contains(page, no) {
			t.Errorf("%q on the page", no)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
	if got := c.where(); got != "playing, pass 2, quarter = 63 (70%), next 72 (80%), bar 6, beat 2." {
		t.Errorf("where: %q", got)
	}
	c.press("n")
	if c.what() != "bars 9-10" {
		t.Errorf("next of bars 6-7 is %s", c.what())
	}
	c.press("b")
	if c.what() != "bars 5-8" || c.scene.start != 12*quarter || c.scene.end != 24*quarter || c.scene.tail != 0 {
		t.Errorf("before it: %s, from %d to %d and %d", c.what(), c.scene.start/quarter, c.scene.end/quarter, c.scene.tail)
	}
	whole := conducted(t, "loop", path)
	whole.to(1, 13*quarter)
	if first, last := whole.shownBars(); first != 4 || last != 8 {
		t.Errorf("bars %d to %d of the whole are shown, want 5 to 8", first+1, last)
	}
}

// floatsOf are the samples of a WAV file in floating point.
func floatsOf(t *testing.T, path string) []float64 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	i := strings.Index(string(b), "data")
	if i < 0 || binary.LittleEndian.Uint16(b[20:]) != 3 {
		t.Fatalf("%s is not in floating point", path)
	}
	var out []float64
	for b = b[i+8:]; len(b) >= 4; b = b[4:] {
		out = append(out, float64(math.Float32frombits(binary.LittleEndian.Uint32(b))))
	}
	return out
}

// The stems are as loud as they are in the whole: their sum is 60 dB nearer to it
// than silence, also where the limiter works.
func TestStemsSum(t *testing.T) {
	for _, args := range [][]string{
		{"--phrase", "1"}, {"--phrase", "2", "--gain", "12"}, {"--phrase", "1", "--setting", "trio", "--mute", "bass"},
	} {
		x := filepath.Join(t.TempDir(), "x.wav")
		e, _, stderr := testEnv(fakeSound("none"))
		if status := run(context.Background(), append([]string{"write", "--out", x, "--stems", "--bits", "32f"}, args...), e); status != 0 {
			t.Fatalf("%v: %s", args, stderr)
		}
		whole := floatsOf(t, x)
		sum := make([]float64, len(whole))
		stems, err := filepath.Glob(strings.TrimSuffix(x, ".wav") + "-*.wav")
		if err != nil || len(stems) < 3 {
			t.Fatalf("%v: %d stems (%v)", args, len(stems), err)
		}
		for _, s := range stems {
			part := floatsOf(t, s)
			if len(part) != len(whole) {
				t.Fatalf("%v: %s has %d samples, the whole %d", args, filepath.Base(s), len(part), len(whole))
			}
			for i, v := range part {
				sum[i] += v
			}
		}
		var all, rest float64
		for i, v := range whole {
			all += v * v
			rest += (v - sum[i]) * (v - sum[i])
		}
		if db := 10 * math.Log10(rest/all); !(all > 0 && (rest == 0 || db < -60)) {
			t.Errorf("%v: the sum of the stems is off by %.1f dB", args, db)
		}
	}
}

// A file is about as loud as its notes say, and what is louder than any
// arrangement is turned down.
func TestLoudnessOfMIDIFile(t *testing.T) {
	f := func(n, velocity, volume int) *midiFile {
		m := &midiFile{Strung: &midiio.Strung{Sequence: &midiio.Sequence{Tempi: []midiio.TempoMark{{BPM: 60}}}}}
		for i := range 60 {
			for range n {
				at := midiio.Tick(i) * quarter
				m.Notes = append(m.Notes, midiio.StrungNote{At: at, End: at + quarter, Velocity: velocity, Volume: volume})
			}
		}
		return m
	}
	base := f(1, 80, 100).loudness()
	for _, c := range []struct {
		f    *midiFile
		more float64
	}{{f(4, 80, 100), 6.02}, {f(1, 113, 100), 6.0}, {f(1, 80, 50), -12.04}} {
		if got := c.f.loudness() - base; math.Abs(got-c.more) > 0.05 {
			t.Errorf("%.2f dB more, want %.2f", got, c.more)
		}
	}
	if l := f(0, 0, 0).loudness(); l > -60 {
		t.Errorf("nothing is %g LUFS", l)
	}
}
