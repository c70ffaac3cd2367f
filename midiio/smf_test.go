package midiio

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

func fileOf(t testing.TB, s *Sequence) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSMF(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func join(parts ...[]byte) []byte { return slices.Concat(parts...) }

// One bar with all three voices, spelled out. Check values of sound.md: 33
// (tempo), 34 (lengths), 3.1 (4/4), 36 (E flat), 41 (program 26 on the wire).
func TestWriteSMFBytes(t *testing.T) {
	eb := theory.Key{Tonic: theory.Name{Letter: theory.E, Alter: -1}, Fifths: -3}
	a := &voicing.Arrangement{
		Title: "Tiny", Key: eb, Bars: bars44(1, eb), Tempi: []voicing.TempoMark{{BPM: 97}},
		Sections: []voicing.Section{{Name: "A", From: 0, To: 1}},
		Chords:   []voicing.ChordMark{{At: 0, Symbol: "Eb6"}},
		Notes: []voicing.Note{
			note(0, 960, 5, 6, voicing.Bass), note(0, 480, 3, 5, voicing.Inner), note(0, 1920, 2, 8, voicing.Melody),
		},
	}
	got := fileOf(t, Perform(a, PerformOptions{NoSpread: true}))
	want := join(
		[]byte("MThd"), []byte{0, 0, 0, 6}, []byte{0, 1}, []byte{0, 4}, []byte{0x03, 0xC0}, // format 1, 4 tracks, 960
		[]byte("MTrk"), []byte{0, 0, 0, 46},
		[]byte{0x00, 0xFF, 0x03, 4}, []byte("Tiny"),
		[]byte{0x00, 0xFF, 0x51, 3, 0x09, 0x70, 0x3D}, // 97
		[]byte{0x00, 0xFF, 0x58, 4, 4, 2, 24, 8},      // 4/4
		[]byte{0x00, 0xFF, 0x59, 2, 0xFD, 0},          // three flats, major
		[]byte{0x00, 0xFF, 0x06, 1}, []byte("A"),
		[]byte{0x00, 0xFF, 0x01, 3}, []byte("Eb6"),
		[]byte{0x9E, 0x00, 0xFF, 0x2F, 0}, // the bar ends after 3840
		[]byte("MTrk"), []byte{0, 0, 0, 27},
		[]byte{0x00, 0xFF, 0x03, 6}, []byte("Melody"),
		[]byte{0x00, 0xC1, 26},
		[]byte{0x00, 0x91, 67, 102},
		[]byte{0x8F, 0x00, 0x81, 67, 64},
		[]byte{0x8F, 0x00, 0xFF, 0x2F, 0},
		[]byte("MTrk"), []byte{0, 0, 0, 26},
		[]byte{0x00, 0xFF, 0x03, 5}, []byte("Inner"),
		[]byte{0x00, 0xC2, 26},
		[]byte{0x00, 0x92, 60, 64},
		[]byte{0x83, 0x60, 0x82, 60, 64},
		[]byte{0x9A, 0x20, 0xFF, 0x2F, 0},
		[]byte("MTrk"), []byte{0, 0, 0, 25},
		[]byte{0x00, 0xFF, 0x03, 4}, []byte("Bass"),
		[]byte{0x00, 0xC4, 26},
		[]byte{0x00, 0x94, 51, 78},
		[]byte{0x87, 0x40, 0x84, 51, 64},
		[]byte{0x96, 0x40, 0xFF, 0x2F, 0},
	)
	if d := cmp.Diff(fmt.Sprintf("% X", want), fmt.Sprintf("% X", got)); d != "" {
		t.Errorf("bytes (-want +got):\n%s", d)
	}
	if again := fileOf(t, Perform(a, PerformOptions{NoSpread: true})); !bytes.Equal(got, again) {
		t.Error("the same arrangement gave other bytes")
	}
}

func TestTempoMeta(t *testing.T) {
	// sound.md 3.1 and 33
	for bpm, want := range map[float64]string{60: "0F 42 40", 96: "09 89 68", 97: "09 70 3D", 120: "07 A1 20", 132: "06 EF 91", 140: "06 8A 1B", 1: "FF FF FF"} {
		if got := fmt.Sprintf("% X", []byte(tempoMeta(bpm))[3:]); got != want {
			t.Errorf("%g: %s, want %s", bpm, got, want)
		}
	}
}

func TestSignature(t *testing.T) {
	m := func(n, d int) theory.Metre { return theory.Metre{Num: n, Den: d} }
	for _, c := range []struct {
		bar  Bar
		want signature
	}{
		{Bar{Len: 3840, Beat: 960, Metre: m(4, 4)}, signature{4, 4, 0x18}},  // sound.md 3.1
		{Bar{Len: 2880, Beat: 960, Metre: m(3, 4)}, signature{3, 4, 0x18}},  // sound.md 3.1
		{Bar{Len: 2880, Beat: 1440, Metre: m(6, 8)}, signature{6, 8, 0x24}}, // sound.md 35
		{Bar{Len: 3840, Beat: 1920, Metre: m(2, 2)}, signature{2, 2, 0x30}},
		{Bar{Len: 960, Beat: 960, Metre: m(4, 4)}, signature{1, 4, 0x18}}, // a pick-up
		{Bar{Len: 480, Beat: 960, Metre: m(4, 4)}, signature{1, 8, 0x18}},
		{Bar{Len: 5760, Beat: 960}, signature{6, 4, 0x18}},
	} {
		if got, ok := signatureOf(c.bar); !ok || got != c.want {
			t.Errorf("%+v: %v, want %v", c.bar, got, c.want)
		}
	}
}

type failing struct{ after int }

func (f *failing) Write(p []byte) (int, error) {
	if f.after -= len(p); f.after < 0 {
		return 0, io.ErrShortWrite
	}
	return len(p), nil
}

func TestWriteSMFFails(t *testing.T) {
	if err := WriteSMF(&failing{10}, Perform(gateLatch(), PerformOptions{})); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("writing to a full disk: %v", err)
	}
}

// What is written is read back as it was.
func TestSMFRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Perform(genArrangement(t), PerformOptions{NoSpread: true, Click: rapid.Bool().Draw(t, "click")})
		at, _ := fileTicks(s)
		for i := range s.Events {
			s.Events[i].Tick, s.Events[i].Nudge = Tick(at[i]), 0
		}
		sortEvents(s.Events)
		var b bytes.Buffer
		if err := WriteSMF(&b, s); err != nil {
			t.Fatal(err)
		}
		back, err := ReadSMF(&b)
		if err != nil {
			t.Fatal(err)
		}
		byLayer := func(evs []Event) (out []Event) {
			for l := range numLayers {
				for _, e := range evs {
					if e.Layer == l {
						out = append(out, e)
					}
				}
			}
			return out
		}
		if d := cmp.Diff(byLayer(s.Events), byLayer(back.Events)); d != "" {
			t.Fatalf("events (-written +read):\n%s", d)
		}
		if s.End != back.End || s.Title != back.Title {
			t.Fatalf("end %d title %q, read %d %q", s.End, s.Title, back.End, back.Title)
		}
		for i := range s.Bars {
			if s.Bars[i].At != back.Bars[i].At || s.Bars[i].Len != back.Bars[i].Len {
				t.Fatalf("bar %+v read as %+v", s.Bars[i], back.Bars[i])
			}
		}
	})
}

// smallest is the file of sound.md 3.1 (check value 40).
var smallest = join(
	[]byte("MThd"), []byte{0, 0, 0, 6, 0, 1, 0, 2, 0x01, 0xE0},
	[]byte("MTrk"), []byte{0, 0, 0, 0x19, 0, 0xFF, 0x51, 3, 0x07, 0xA1, 0x20, 0, 0xFF, 0x58, 4, 4, 2, 0x18, 8, 0, 0xFF, 0x59, 2, 0xFD, 0, 0, 0xFF, 0x2F, 0},
	[]byte("MTrk"), []byte{0, 0, 0, 0x18, 0, 0xFF, 3, 4}, []byte("Gtr1"), []byte{0, 0xC0, 0x1A, 0, 0x90, 0x40, 0x64, 0x83, 0x60, 0x80, 0x40, 0, 0, 0xFF, 0x2F, 0},
)

func TestReadSMFSmallest(t *testing.T) {
	if len(smallest) != 79 {
		t.Fatalf("%d bytes, want 79", len(smallest))
	}
	s, err := ReadSMF(bytes.NewReader(smallest))
	if err != nil {
		t.Fatal(err)
	}
	want := []Event{
		{0, 0, Inner, [3]byte{0xC0, 26}},
		{0, 0, Inner, [3]byte{0x90, 64, 100}},
		{960, 0, Inner, [3]byte{0x80, 64, 0}},
	}
	if d := cmp.Diff(want, s.Events); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]KeyMark{{0, -3, false}}, s.Keys); d != "" {
		t.Errorf("key (-want +got):\n%s", d)
	}
}

func oneTrack(division []byte, body ...byte) []byte {
	return join([]byte("MThd"), []byte{0, 0, 0, 6, 0, 0, 0, 1}, division, []byte("MTrk"), []byte{0, 0, 0, byte(len(body))}, body)
}

func TestReadSMFRobust(t *testing.T) {
	ppq := []byte{0x01, 0xE0}
	riff := join([]byte("RIFF"), []byte{99, 0, 0, 0}, []byte("RMIDdata"), []byte{79, 0, 0, 0}, smallest)
	many := slices.Clone(smallest)
	many[11] = 9
	unknown := join(smallest[:14], []byte("XFIH"), []byte{0, 0, 0, 3, 1, 2, 3}, smallest[14:])
	long := join([]byte("MThd"), []byte{0, 0, 0, 8, 0, 1, 0, 2, 0x01, 0xE0, 7, 7}, smallest[14:])
	for _, c := range []struct {
		name string
		data []byte
		want string // notes: on-off
	}{
		{"smallest", smallest, "0-960"},
		{"RIFF wrapper", riff, "0-960"},
		{"more tracks announced", many, "0-960"},
		{"unknown chunk", unknown, "0-960"},
		{"longer header", long, "0-960"},
		{"bytes after the end", join(smallest, []byte("stray data")), "0-960"},
		{"no end of track", oneTrack(ppq, 0, 0x90, 64, 90, 0x83, 0x60, 0x80, 64, 0), "0-960"},
		{"velocity 0 and running status", oneTrack(ppq, 0, 0x90, 64, 90, 0x83, 0x60, 64, 0), "0-960"},
		{"overlap: first on, first off", oneTrack(ppq, 0, 0x90, 64, 90, 0x81, 0x70, 64, 91, 0x81, 0x70, 64, 0, 0x81, 0x70, 64, 0), "0-960 480-1440"},
		{"never ended", oneTrack(ppq, 0, 0x90, 64, 90, 0x83, 0x60, 0xFF, 0x2F, 0), "0-960"},
		{"empty note", oneTrack(ppq, 0, 0x90, 64, 90, 0, 64, 0), "0-1"},
		{"off without on", oneTrack(ppq, 0, 0x80, 64, 90, 0, 0x90, 60, 1, 0x83, 0x60, 60, 0), "0-960"},
		{"time code, 40 a frame at 25", oneTrack([]byte{0xE7, 40}, 0, 0x90, 64, 90, 0x83, 0x74, 64, 0), "0-960"}, // 500 ms
	} {
		s, err := ReadSMF(bytes.NewReader(c.data))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var got []string
		p := pair(s.Events)
		for i, e := range s.Events {
			if isOn(e.Msg) {
				got = append(got, fmt.Sprintf("%d-%d", e.Tick, s.Events[p[i]].Tick))
			}
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s: notes %s, want %s", c.name, g, c.want)
		}
	}
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"empty", nil, "not a Standard MIDI File"},
		{"text", []byte("X:1\nT:a tune\n"), "not a Standard MIDI File"},
		{"cut off", smallest[:40], "byte 14: chunk \"MTrk\" of 25 bytes goes past the end"},
		{"header cut", smallest[:10], "ends within its header"},
		{"division 0", oneTrack([]byte{0, 0}, 0, 0xFF, 0x2F, 0), "division 0000"},
		{"format 7", append([]byte("MThd"), 0, 0, 0, 6, 0, 7, 0, 1, 1, 0xE0), "format 7"},
		{"five-byte time", oneTrack(ppq, 0x81, 0x80, 0x80, 0x80, 0x00, 0x90, 64, 90), "byte 22: a length or time"}, // sound.md 34
		{"status where data is due", oneTrack(ppq, 0, 0x90, 64, 0x90), "byte 25: status byte 90"},
		{"no status", oneTrack(ppq, 0, 64, 90), "data byte 40 hex where a status is due"},
		{"running status across a meta event", oneTrack(ppq, 0, 0x90, 64, 90, 0, 0xFF, 1, 0, 0, 64, 0), "where a status is due"}, // sound.md 39
		{"no track", join(smallest[:14]), "no track"},
	} {
		if _, err := ReadSMF(bytes.NewReader(c.data)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func FuzzReadSMF(f *testing.F) {
	f.Add(smallest)
	f.Add(fileOf(f, Perform(gateLatch(), PerformOptions{Click: true})))
	f.Add(oneTrack([]byte{0xE2, 80}, 0, 0x90, 64, 90, 0x83, 0x60, 64, 0))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ReadSMF(bytes.NewReader(data))
		if err != nil {
			return
		}
		p := pair(s.Events)
		for i, e := range s.Events {
			if (isOn(e.Msg) || isOff(e.Msg)) && p[i] < 0 {
				t.Fatalf("% X at %d has no other half", e.Msg, e.Tick)
			}
			if e.Tick < 0 || e.Tick > s.End {
				t.Fatalf("event at %d, end %d", e.Tick, s.End)
			}
		}
		if err := WriteSMF(io.Discard, s); err != nil {
			t.Fatal(err)
		}
	})
}

// An independent reader finds the notes where the performance has them.
func TestMidicsv(t *testing.T) {
	prog, err := exec.LookPath("midicsv")
	if err != nil {
		t.Skip("midicsv is not installed (Debian package midicsv): files are not cross-checked here")
	}
	s := Perform(gateLatch(), PerformOptions{})
	path := t.TempDir() + "/x.mid"
	if err := os.WriteFile(path, fileOf(t, s), 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(prog, path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimSpace(line), ", ")
		switch f[2] {
		case "Note_on_c", "Note_off_c":
			got = append(got, strings.Join(f, " "))
		case "Header":
			if d := cmp.Diff([]string{"0", "0", "Header", "1", "4", "960"}, f); d != "" {
				t.Errorf("header (-want +got):\n%s", d)
			}
		case "Marker_t", "Time_signature", "Key_signature", "Title_t", "Tempo":
			t.Log(strings.TrimSpace(line))
		}
	}
	at, _ := fileTicks(s)
	var want []string
	for i, e := range s.Events {
		if !isOn(e.Msg) && !isOff(e.Msg) {
			continue
		}
		kind := map[bool]string{true: "Note_on_c", false: "Note_off_c"}[isOn(e.Msg)]
		want = append(want, fmt.Sprintf("%d %d %s %d %d %d", e.Layer+2, at[i], kind, channel(e.Msg), e.Msg[1], e.Msg[2]))
	}
	slices.Sort(got)
	slices.Sort(want)
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("notes (-performed +midicsv):\n%s", d)
	}
}
