package sheet

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

var update = flag.Bool("update", false, "write the golden files")

const q = voicing.PerQuarter

func name(l theory.Letter, alter int8) theory.Name { return theory.Name{Letter: l, Alter: alter} }

// small is four bars and a pick-up made by hand: a repeat written out, a bar of
// three quarters, a triplet, sixteenths, frets of two figures, a fill, a grip
// with an open string, N.C., and letters that JSON must not escape.
func small() *voicing.Arrangement {
	c := theory.Metre{Num: 4, Den: 4}
	f := theory.Key{Tonic: name(theory.F, 0), Fifths: -1}
	note := func(at, dur voicing.Tick, str, fret, finger int, v voicing.Voice, fill bool) voicing.Note {
		open := []int{64, 59, 55, 50, 45, 40}
		return voicing.Note{At: at, Dur: dur, MIDI: open[str-1] + fret, String: str, Fret: fret, Finger: finger, Voice: v, Fill: fill}
	}
	const M, I, B = voicing.Melody, voicing.Inner, voicing.Bass
	letGo := func(n voicing.Note, early voicing.Tick, ends voicing.End) voicing.Note {
		n.Dur, n.Early, n.Ends = n.Dur-early, early, ends
		return n
	}
	return &voicing.Arrangement{
		Title:         `Gate & "Hinge"`,
		Key:           f,
		Transposition: -2,
		Tuning:        []int{40, 45, 50, 55, 59, 64},
		Bars: []voicing.Bar{
			{Label: "0", At: 0, Len: q, Beat: q, Metre: c, Key: f},
			{Label: "1", At: q, Len: 4 * q, Beat: q, Metre: c, Key: f},
			{Label: "2", At: 5 * q, Len: 3 * q, Beat: q, Metre: theory.Metre{Num: 3, Den: 4}, Key: f},
			{Label: "1/2", At: 8 * q, Len: 4 * q, Beat: q, Metre: c, Key: f},
			{Label: "3", At: 12 * q, Len: 3 * q, Beat: 3 * q / 2, Metre: theory.Metre{Num: 6, Den: 8},
				Key: theory.Key{Tonic: name(theory.D, 0), Minor: true, Fifths: -1}},
		},
		Sections: []voicing.Section{{Name: "A", From: 0, To: 3}, {Name: "B", From: 3, To: 5}},
		Phrases:  []theory.Phrase{{From: 0, To: 3}, {From: 3, To: 5}},
		Tempi:    []voicing.TempoMark{{At: 0, BPM: 120}},
		Feel:     theory.Feel{Ratio: 1.65},
		Melody: []voicing.TuneNote{
			{At: 0, Dur: q / 2, MIDI: 69}, {At: q / 2, Dur: q / 2, MIDI: 70},
			{At: q, Dur: 3 * q, MIDI: 72}, {At: 4 * q, Dur: q / 3, MIDI: 74}, {At: 4*q + q/3, Dur: q / 3, MIDI: 72}, {At: 4*q + 2*q/3, Dur: q / 3, MIDI: 69},
			{At: 5 * q, Dur: 3 * q, MIDI: 67},
			{At: 8 * q, Dur: 3 * q, MIDI: 72}, {At: 11 * q, Dur: q / 4, MIDI: 74}, {At: 11*q + q/4, Dur: q / 4, MIDI: 72}, {At: 11*q + q/2, Dur: q / 2, MIDI: 69},
			{At: 12 * q, Dur: 3 * q / 2, MIDI: 65}, {At: 12*q + 3*q/2, Dur: q / 2, MIDI: 64}, {At: 14 * q, Dur: q, MIDI: 62},
		},
		Chords: []voicing.ChordMark{
			{At: q, Symbol: "F6"}, {At: 4 * q, Symbol: "Bb7#11"}, {At: 5 * q, Symbol: "Gm7"}, {At: 8 * q, Symbol: "F6"}, {At: 12 * q, Symbol: "N.C."},
		},
		Grips: []voicing.Placed{
			{At: q, Bar: 1, Beat: 1, Symbol: "F6", Name: "F6", Scale: "F maj6dim six", Frets: []int{-1, 8, 10, 7, 10, 8}, Fingers: []int{0, 2, 3, 1, 4, 2},
				Texture: "bass first", Reason: "root under the long note", Terms: []voicing.Term{{Name: "span", Cost: 1.25}, {Name: "barre", Cost: 0}}},
			{At: 5 * q, Bar: 2, Beat: 1, Symbol: "Gm7", Name: "Gm7/D", Scale: "Bb maj6dim six", Borrowed: []string{"alto D4>Eb4"}, Frets: []int{-1, -1, 0, 3, 3, 3},
				Fingers: []int{0, 0, 0, 1, 1, 1}, Texture: "together", Reason: "the open D frees the hand"},
			{At: 8 * q, Bar: 3, Beat: 1, Symbol: "F6", Name: "F6", Scale: "F maj6dim six", Frets: []int{1, -1, 0, 2, 1, -1}, Fingers: []int{1, 0, 0, 3, 2, 0}},
		},
		Notes: []voicing.Note{
			note(0, q/2, 1, 5, 1, M, false), note(q/2, q/2, 1, 6, 2, M, false),
			note(q, 4*q, 5, 8, 2, B, false), note(q, 3*q, 1, 8, 2, M, false),
			note(2*q, 2*q, 3, 7, 1, I, false), note(2*q, 2*q, 2, 10, 4, I, false), letGo(note(3*q, 2*q, 4, 10, 3, I, true), q, voicing.EndString),
			note(4*q, q/3, 1, 10, 4, M, false), letGo(note(4*q+q/3, q/3, 1, 8, 2, M, false), 100, voicing.EndFinger), note(4*q+2*q/3, q/3, 1, 5, 1, M, false),
			note(5*q, 3*q, 4, 0, 0, B, false), note(5*q, 3*q, 3, 3, 1, I, false), note(5*q, 3*q, 1, 3, 1, M, false),
			note(8*q, 4*q, 6, 1, 1, B, false), letGo(note(8*q, 3*q, 2, 13, 4, M, false), 57, voicing.EndShift), note(11*q, q/4, 1, 10, 4, M, false),
			note(11*q+q/4, q/4, 1, 8, 2, M, false), note(11*q+q/2, q/2, 1, 5, 1, M, false),
			note(12*q, 3*q/2, 1, 1, 1, M, false), note(12*q+3*q/2, q/2, 1, 0, 0, M, false), note(14*q, q, 2, 3, 3, M, false),
		},
		LetGo: []voicing.LetGo{
			{At: 4*q + q/3, Dur: q/3 - 100, Early: 100, MIDI: 72, Pitch: theory.Pitch{Name: name(theory.C, 0), Octave: 5}, Ends: voicing.EndFinger, Reason: "finger 2 is needed on string 3 at fret 4"},
			{At: 8 * q, Dur: 3*q - 57, Early: 57, MIDI: 72, Pitch: theory.Pitch{Name: name(theory.C, 0), Octave: 5}, Ends: voicing.EndShift, Reason: "the hand moves from fret 10 to fret 7"},
		},
		Warnings: []string{"bar 3: the melody stands alone 3 times: no chord is written there, and this sentence is long enough to need another line"},
	}
}

func golden(t *testing.T, file string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", file)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), string(got)); d != "" {
		t.Errorf("%s (-want +got):\n%s", path, d)
	}
}

func TestGolden(t *testing.T) {
	for _, c := range []struct {
		file string
		show func(*bytes.Buffer, *voicing.Arrangement) error
	}{
		{"small.json", func(b *bytes.Buffer, a *voicing.Arrangement) error { return JSON(b, a) }},
		{"small.tab.txt", func(b *bytes.Buffer, a *voicing.Arrangement) error { return Tab(b, a, TabOptions{}) }},
		{"small.shapes.txt", func(b *bytes.Buffer, a *voicing.Arrangement) error { return Shapes(b, a, TabOptions{}) }},
		{"small.narrow.txt", func(b *bytes.Buffer, a *voicing.Arrangement) error { return Tab(b, a, TabOptions{Width: 40}) }},
		{"small.explain.txt", func(b *bytes.Buffer, a *voicing.Arrangement) error { return Explain(b, a) }},
	} {
		t.Run(c.file, func(t *testing.T) {
			var one, two bytes.Buffer
			if err := c.show(&one, small()); err != nil {
				t.Fatal(err)
			}
			if err := c.show(&two, small()); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(one.Bytes(), two.Bytes()) {
				t.Error("the same arrangement gave other bytes")
			}
			golden(t, c.file, one.Bytes())
		})
	}
}

// formed is small with all that a form may have: an introduction of a bar,
// choruses, an ending.
func formed() *voicing.Arrangement {
	a := small()
	a.Bars[0].Label, a.Bars[0].Len, a.Bars[4].Label = "i1", q, "e1"
	a.Sections = []voicing.Section{{Name: voicing.IntroName, From: 0, To: 1}, {Name: "A", From: 1, To: 2}, {From: 2, To: 4}, {Name: voicing.EndingName, From: 4, To: 5}}
	a.Choruses = []voicing.Section{{Name: "chorus 1", From: 1, To: 3}, {Name: "chorus 2", From: 3, To: 4}}
	a.Phrases = []theory.Phrase{{From: 0, To: 1}, {From: 1, To: 3}, {From: 3, To: 4}, {From: 4, To: 5}}
	a.Before, a.After = 1, 1
	a.Intro, a.Ending = "a pedal on C", "the last phrase again"
	a.Tempi = append(a.Tempi, voicing.TempoMark{At: 13 * q, BPM: 90})
	return a
}

// Headings, phrases that keep their numbers beside bars that are put in.
func TestFormShown(t *testing.T) {
	for _, c := range []struct {
		file     string
		from, to int
		show     func(*bytes.Buffer, *voicing.Arrangement) error
	}{
		{"form.json", 0, 5, func(b *bytes.Buffer, a *voicing.Arrangement) error { return JSON(b, a) }},
		{"form.tab.txt", 0, 5, func(b *bytes.Buffer, a *voicing.Arrangement) error { return Tab(b, a, TabOptions{}) }},
		{"form.explain.txt", 0, 5, func(b *bytes.Buffer, a *voicing.Arrangement) error { return Explain(b, a) }},
		{"form.cut.txt", 2, 5, func(b *bytes.Buffer, a *voicing.Arrangement) error { return Tab(b, a, TabOptions{}) }},
	} {
		t.Run(c.file, func(t *testing.T) {
			var b bytes.Buffer
			if err := c.show(&b, Cut(formed(), c.from, c.to)); err != nil {
				t.Fatal(err)
			}
			golden(t, c.file, b.Bytes())
		})
	}
}

// Nothing at all is still a sheet, and a list is never null.
func TestEmpty(t *testing.T) {
	var b bytes.Buffer
	a := &voicing.Arrangement{}
	if err := JSON(&b, a); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "null") {
		t.Errorf("null in\n%s", b.String())
	}
	w := parseWire(t, b.Bytes())
	if w.Tuning == nil || w.Bars == nil || w.Sections == nil || w.Tempi == nil || w.Melody == nil || w.Chords == nil || w.Grips == nil || w.Notes == nil || w.LetGo == nil || w.Warnings == nil {
		t.Errorf("a list is missing in\n%s", b.String())
	}
	for _, show := range []func() error{
		func() error { return Tab(&b, a, TabOptions{}) },
		func() error { return Shapes(&b, a, TabOptions{}) },
		func() error { return Explain(&b, a) },
	} {
		if err := show(); err != nil {
			t.Error(err)
		}
	}
}

type full struct{}

var errFull = errors.New("full")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWriteErrors(t *testing.T) {
	a := small()
	for i, err := range []error{JSON(full{}, a), Tab(full{}, a, TabOptions{}), Shapes(full{}, a, TabOptions{}), Explain(full{}, a)} {
		if !errors.Is(err, errFull) {
			t.Errorf("writer %d lost the error of its writer: %v", i, err)
		}
	}
}

func TestPlace(t *testing.T) {
	a := small()
	for _, c := range []struct {
		at   voicing.Tick
		want string
	}{
		{0, "0:4"}, {q / 2, "0:4&"}, {q, "1:1"}, {3*q + q/2, "1:3&"}, {4*q + q/3, "1:4.3333"}, {8 * q, "1/2:1"},
		{12*q + 3*q/2, "3:2"}, {12*q + q/2, "3:1.3333"}, {12*q + 3*q/4, "3:1&"},
	} {
		if got := place(a, c.at); got != c.want {
			t.Errorf("place(%d) = %s, want %s", c.at, got, c.want)
		}
	}
}

func TestSplit(t *testing.T) {
	for _, c := range []struct {
		beat voicing.Tick
		offs []voicing.Tick
		want int
	}{
		{q, nil, 2},
		{q, []voicing.Tick{0, 480}, 2},
		{q, []voicing.Tick{0, 320, 640}, 3},
		{q, []voicing.Tick{0, 240}, 4},
		{q, []voicing.Tick{160}, 6},
		{q, []voicing.Tick{120}, 8},
		{q, []voicing.Tick{240, 320}, 12},
		{q, []voicing.Tick{0, 192, 384, 576, 768}, 5}, // five in a beat: their own grid
		{q, []voicing.Tick{7, 7, 100}, 3},
		{3 * q / 2, nil, 3},
		{3 * q / 2, []voicing.Tick{720}, 6}, // two in a dotted quarter lie on its sixths
		{3 * q / 2, []voicing.Tick{240}, 6},
		{2 * q, []voicing.Tick{480}, 4},
	} {
		if got := split(c.beat, c.offs); len(got) != c.want {
			t.Errorf("split(%d, %v) has %d points, want %d", c.beat, c.offs, len(got), c.want)
		}
	}
}

var (
	stringRow = regexp.MustCompile(`^ [A-Ga-g][b#]? *\|`)
	number    = regexp.MustCompile(`[0-9]+`)
)

// Whatever the metres, grids and frets: no line is wider than the page, every
// note is struck once on its own string, and the bars stand in order.
func TestTabKeepsEveryNote(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := &voicing.Arrangement{Title: "x", Tuning: []int{40, 45, 50, 55, 59, 64}}
		var at voicing.Tick
		metres := []theory.Metre{{Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 5, Den: 4}, {Num: 6, Den: 8}, {Num: 2, Den: 2}, {Num: 12, Den: 8}, {Num: 7, Den: 8}, {Num: 3, Den: 2}}
		struck := map[int]int{}
		for n := rapid.IntRange(1, 6).Draw(t, "bars"); len(a.Bars) < n; {
			m := rapid.SampledFrom(metres).Draw(t, "metre")
			b := voicing.Bar{Label: rapid.SampledFrom([]string{"0", "7", "12/2", "9+"}).Draw(t, "label"), At: at, Metre: m, Beat: q}
			b.Len = 4 * q * voicing.Tick(m.Num) / voicing.Tick(m.Den)
			switch {
			case m.Den == 2:
				b.Beat = 2 * q
			case m.Den == 8 && m.Num%3 == 0:
				b.Beat = 3 * q / 2
			}
			if rapid.Bool().Draw(t, "short") {
				b.Len = voicing.Tick(rapid.IntRange(1, int(b.Len)).Draw(t, "len"))
			}
			step := rapid.SampledFrom([]voicing.Tick{q, q / 2, q / 3, q / 4, q / 5, q / 6, q / 8, q / 7}).Draw(t, "step")
			for on := at; on < at+b.Len; on += step {
				for s := 1; s <= 6; s++ {
					if rapid.IntRange(0, 3).Draw(t, "on") > 0 {
						continue
					}
					a.Notes = append(a.Notes, voicing.Note{At: on, Dur: voicing.Tick(rapid.IntRange(1, 3*int(q)).Draw(t, "dur")), String: s,
						Fret: rapid.IntRange(0, 19).Draw(t, "fret"), Voice: voicing.Voice(rapid.IntRange(0, 2).Draw(t, "voice")), Fill: rapid.Bool().Draw(t, "fill")})
					struck[s]++
				}
			}
			a.Chords = append(a.Chords, voicing.ChordMark{At: at, Symbol: rapid.SampledFrom([]string{"C", "C#m7b5/G#", "N.C."}).Draw(t, "chord")})
			a.Bars = append(a.Bars, b)
			at += b.Len
		}
		var out bytes.Buffer
		if err := Tab(&out, a, TabOptions{}); err != nil {
			t.Fatal(err)
		}
		seen := map[int]int{}
		row := 0
		for _, l := range strings.Split(out.String(), "\n") {
			if runes(l) > lineWidth {
				t.Fatalf("a line of %d:\n%s", runes(l), out.String())
			}
			if !stringRow.MatchString(l) {
				row = 0
				continue
			}
			row++
			seen[row] += len(number.FindAllString(l, -1))
		}
		for s := 1; s <= 6; s++ {
			if seen[s] != struck[s] {
				t.Fatalf("string %d: %d notes drawn, %d played\n%s", s, seen[s], struck[s], out.String())
			}
		}
	})
}

// Every note of the tune that is let go has one comma on its string, behind its
// fret and before the next one; others have none.
func TestCommas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := &voicing.Arrangement{Title: "x", Tuning: []int{40, 45, 50, 55, 59, 64}}
		step := rapid.SampledFrom([]voicing.Tick{q, q / 2, q / 3, q / 4, q / 5}).Draw(t, "step")
		var want []string
		for i := range 4 {
			a.Bars = append(a.Bars, voicing.Bar{Label: string(rune('1' + i)), At: voicing.Tick(4*i) * q, Len: 4 * q, Beat: q, Metre: theory.Metre{Num: 4, Den: 4}})
		}
		for at := voicing.Tick(0); at < 16*q; {
			n := voicing.Note{At: at, Dur: step * voicing.Tick(rapid.IntRange(1, 6).Draw(t, "steps")), String: 2, Fret: rapid.IntRange(0, 19).Draw(t, "fret"),
				Voice: voicing.Voice(rapid.IntRange(0, 1).Draw(t, "voice")), Fill: rapid.IntRange(0, 4).Draw(t, "fill") == 0}
			n.Dur = min(n.Dur, 16*q-at)
			at += n.Dur
			if n.Early = voicing.Tick(rapid.IntRange(0, int(n.Dur)-1).Draw(t, "early")); n.Early > 0 {
				n.Dur, n.Ends = n.Dur-n.Early, voicing.EndShift
			}
			a.Notes = append(a.Notes, n)
			text := fmt.Sprint(n.Fret)
			if n.Early > 0 && n.Voice == voicing.Melody && !n.Fill {
				text += ","
			}
			want = append(want, text)
		}
		var out bytes.Buffer
		if err := Tab(&out, a, TabOptions{}); err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, l := range strings.Split(out.String(), "\n") {
			if strings.HasPrefix(l, " B|") {
				for _, f := range regexp.MustCompile(`([0-9]+)|,`).FindAllString(l, -1) {
					if f == "," {
						got[len(got)-1] += f
					} else {
						got = append(got, f)
					}
				}
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("%s\n%s", d, out.String())
		}
	})
}

// The names are spelled one way in one tuning: flats where there are any.
func TestStringNames(t *testing.T) {
	for _, c := range []struct{ tuning, want string }{
		{"standard", "E A D G B e"},
		{"half-down", "Eb Ab Db Gb Bb eb"},
		{"whole-down", "D G C F A d"},
		{"drop-d", "D A D G B E"},
		{"dadgad", "D A D G A d"},
		{"open-d", "D A D F# A d"},
		{"open-c", "C G C G C E"},
		{"seven", "B E A D G B e"},
		{"C#2 G#2 C#3 F3 G#3 C#4", "Db Ab Db F Ab db"},
		{"C#2 F#2 B2 E3 G3 B3", "C# F# B E G b"},
	} {
		open, err := voicing.ParseTuning(c.tuning)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(voicing.StringNames(open), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.tuning, got, c.want)
		}
	}
}

// TestMoved: a note of the tune that is not where it is written has a mark and
// a word about it; without one the sheet is as it was.
func TestMoved(t *testing.T) {
	tab := func(a *voicing.Arrangement) string {
		var b bytes.Buffer
		if err := Tab(&b, a, TabOptions{}); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	a := small()
	if s := tab(a); strings.Contains(s, "M<") || strings.Contains(s, "M>") {
		t.Errorf("nothing is moved:\n%s", s)
	}
	early, late := small(), small()
	early.Melody[2].Moved, late.Melody[6].Moved = -q/2, q/2
	for _, c := range []struct {
		a          *voicing.Arrangement
		mark, none string
	}{{early, "M<B", "M>I"}, {late, "M>IB", "M<B"}} {
		s := tab(c.a)
		if strings.Count(s, c.mark) != 1 || strings.Contains(s, c.none) || !strings.Contains(s, "M< comes earlier than it is written, M> later") {
			t.Errorf("want %s once:\n%s", c.mark, s)
		}
		// the mark takes nothing from the columns
		if strings.Count(s, "\n") != strings.Count(tab(a), "\n")+1 {
			t.Errorf("other lines than before:\n%s", s)
		}
	}
}
