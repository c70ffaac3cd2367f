package leadsheet

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// TestWriteABC pins what is written: each sheet comes out as it stands here.
func TestWriteABC(t *testing.T) {
	for _, c := range []struct{ name, sheet string }{
		{"repeat with endings", `%abc-2.1
X:1
T:Weir \& Mill 50\% off
C:nobody
M:4/4
L:1/8
Q:"Easy" 1/4=132
K:G
P:A
DE |: "G6"B3G D2 E2 | "D7"^c=c ^cd c4- | "D7"^c2 d6 |1 "G6"d6 B2 :|2 "G6"d4 DB AG ||
P:B
"Em7"g8 | "A7"^c'4 ^C,4 |]
`},
		{"three times, tuplets, graces, ties split by symbols", `%abc-2.1
X:1
M:3/4
L:1/8
Q:1/4=90
K:Dm
P:A
|:: (3"Dm7"ABc {de}f2- "G7"f2 | (5:4:5ABcde (3:2:2f2e ::|
`},
		{"changes inside", `%abc-2.1
X:1
M:4/4
L:1/4
Q:1/4=120
K:F
P:A
"F6"A c z2 | [M:3/4] "Bb7"_A [Q:1/4=90] B d | [M:4/4] [K:Dmix] "D7"f c F A ||
P:B
"N.C."z4 | "F6"f4 |]
`},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune := mustRead(t, c.sheet, Options{})
			got, told, err := abcOf(tune)
			if err != nil || len(told) > 0 {
				t.Fatal(told, err)
			}
			if got != c.sheet {
				t.Errorf("got\n%swant\n%s", got, c.sheet)
			}
		})
	}
}

// A jump that ABC does not fold is written out, and said so.
func TestWriteABCInFull(t *testing.T) {
	tune := mustRead(t, `X:1
M:4/4
L:1/4
K:C
|: "C6"CDEF | "G7"GABc :| "Am7"A4 | "Dm7"d4 !fine! | "G7"g4 !D.C.! |]
`, Options{})
	got, told, err := abcOf(tune)
	if err != nil {
		t.Fatal(err)
	}
	if len(told) != 1 || !strings.Contains(got, "% "+told[0]) {
		t.Errorf("not told in the file: %q\n%s", told, got)
	}
	again := mustRead(t, got, Options{})
	if s := musicDiffers(tune, again); s != "" {
		t.Errorf("%s in\n%s", s, got)
	}
}

// tuneOf makes tunes of every kind that a reader can make.
func tuneOf(r *rapid.T) *theory.Tune {
	metres := []theory.Metre{{Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 6, Den: 8}, {Num: 5, Den: 4}, {Num: 2, Den: 2}, {Num: 7, Den: 8}}
	keys := []string{"C", "Eb", "F#m", "Gmix", "Ador", "Dlyd", "Ephr", "Bloc", "Cb", "C#"}
	chords := []string{"C6", "Bbmaj7", "F#m7b5", "G7b9/B", "N.C.", "Ebdim7", "Asus4", "Db7#11", "Cm6"}
	draw := func(n int, what string) int { return rapid.IntRange(0, n-1).Draw(r, what) }
	key, err := theory.ParseKey(keys[draw(len(keys), "key")])
	if err != nil {
		r.Fatal(err)
	}
	metre := metres[draw(len(metres), "metre")]
	tune := &theory.Tune{Title: "A 100% \\ tune & more for $1 or $$", Key: key, Tempi: []theory.TempoMark{{BPM: 117.5}}}
	name := func() theory.Pitch {
		return theory.Pitch{Name: theory.Name{Letter: theory.Letter(draw(7, "letter")), Alter: int8(draw(5, "alter") - 2)}, Octave: int8(2 + draw(5, "octave"))}
	}
	lengths := []theory.Time{
		theory.Quarters(1, 1), theory.Quarters(1, 2), theory.Quarters(1, 4), theory.Quarters(3, 2), theory.Quarters(1, 3), theory.Quarters(2, 3),
		theory.Quarters(1, 5), theory.Quarters(1, 6), theory.Quarters(2, 7), theory.Quarters(5, 8), theory.Quarters(1, 12), theory.Quarters(3, 1), theory.Quarters(7, 1),
	}
	var at theory.Time
	for i := range 1 + draw(10, "bars") {
		if draw(8, "change of metre") == 0 {
			metre = metres[draw(len(metres), "metre")]
		}
		if draw(8, "change of key") == 0 {
			if key, err = theory.ParseKey(keys[draw(len(keys), "key")]); err != nil {
				r.Fatal(err)
			}
		}
		b := theory.Bar{Label: fmt.Sprint(i + 1), Pass: 1, Source: i, At: at, Len: metre.BarLen(), Beat: theory.BeatOf(metre), Metre: metre, Key: key}
		if i == 0 {
			tune.Key = key
		}
		tune.Bars = append(tune.Bars, b)
		at = at.Add(b.Len)
	}
	now := theory.Time{}
	for now.Less(at) {
		l := lengths[draw(len(lengths), "length")]
		if at.Less(now.Add(l)) {
			l = at.Sub(now)
		}
		if draw(5, "rest") > 0 {
			n := theory.Note{At: now, Len: l, Pitch: name()}
			if draw(6, "graces") == 0 {
				n.Grace = []theory.Pitch{name(), name()}
			}
			tune.Melody = append(tune.Melody, n)
		}
		now = now.Add(l)
	}
	if len(tune.Melody) == 0 {
		tune.Melody = []theory.Note{{Len: at, Pitch: name()}}
	}
	for now = theory.Quarters(int64(draw(3, "first chord")), 4); now.Less(at); now = now.Add(lengths[draw(len(lengths), "gap")]).Add(theory.Quarters(1, 2)) {
		c := theory.Chord{NoChord: true}
		if s := chords[draw(len(chords), "chord")]; s != "N.C." {
			if c, err = theory.ParseChord(s); err != nil {
				r.Fatal(err)
			}
		}
		tune.Changes = append(tune.Changes, theory.Change{At: now, Chord: c})
	}
	for i := range tune.Changes {
		end := at
		if i+1 < len(tune.Changes) {
			end = tune.Changes[i+1].At
		}
		tune.Changes[i].Len = end.Sub(tune.Changes[i].At)
	}
	names := []string{"A", "B", "A'", "Intro", "C2"}
	for i := 0; i < len(tune.Bars); i += 3 {
		tune.Sections = append(tune.Sections, theory.Section{Name: names[draw(len(names), "name")], From: i, To: min(i+3, len(tune.Bars))})
	}
	tune.DividePhrases()
	return tune
}

// What is written is read as the same tune.
func TestWriteABCRoundTrip(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tune := tuneOf(r)
		if err := tune.Validate(); err != nil {
			r.Fatal(err)
		}
		text, _, err := abcOf(tune)
		if err != nil {
			r.Fatal(err)
		}
		again, err := Read(strings.NewReader(text), "again", Options{})
		if err != nil {
			r.Fatalf("%v in\n%s", err, text)
		}
		if l := differences(tune, again); l != (loss{}) {
			r.Fatalf("%+v in\n%s", l, text)
		}
	})
}

// Written bars that are played again are folded, and the line stays.
func TestWriteABCFolds(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		bar := rapid.SampledFrom([]string{`"C6"c4`, `"F6"A2 c2-|c2 B2`, `"G7"B2^F2`, `z2 c2-`, `c"Am7"cBA`})
		bars := func(what string) string {
			return strings.Join(rapid.SliceOfN(bar, 1, 4).Draw(r, what), " | ")
		}
		var s strings.Builder
		s.WriteString("X:1\nM:4/4\nL:1/4\nK:C\n\"C6\"c4 |")
		for i := range rapid.IntRange(1, 3).Draw(r, "parts") {
			switch rapid.IntRange(0, 4).Draw(r, "kind") {
			case 0:
				s.WriteString(bars("plain") + " ||\n")
			case 1:
				s.WriteString("|: " + bars("body") + " :|\n")
			case 2:
				s.WriteString("|: " + bars("body") + " |1 " + bars("first") + " :|2 " + bars("second") + " ||\n")
			case 3:
				s.WriteString("|: " + bars("body") + " |1,3 " + bars("first") + " :|2 " + bars("second") + " :|4 " + bars("last") + " ||\n")
			case 4:
				fmt.Fprintf(&s, "P:%c\n|:: %s ::|\n", 'A'+i, bars("body"))
			}
		}
		tune, err := Read(strings.NewReader(s.String()), "sheet", Options{})
		if err != nil {
			r.Fatalf("%v in\n%s", err, s.String())
		}
		text, told, err := abcOf(tune)
		if err != nil {
			r.Fatalf("%v from\n%s", err, s.String())
		}
		if len(told) > 0 || slices.ContainsFunc(tune.Bars, func(b theory.Bar) bool { return b.Pass > 1 }) && !strings.Contains(text, ":|") {
			r.Fatalf("%q: not folded:\n%s\nfrom\n%s", told, text, s.String())
		}
	})
}

// Tuplets that do not close in their bar and lengths that no note has.
func TestWriteABCOddLengths(t *testing.T) {
	for _, l := range []theory.Time{
		theory.Quarters(1, 3), theory.Quarters(7, 3), theory.Quarters(1, 65), theory.Quarters(1, 4096), theory.Quarters(1, 3*16384),
		theory.Quarters(1025, 3), theory.Quarters(1, 10080*16), theory.Quarters(300, 1),
	} {
		c, _ := theory.ParseChord("C6")
		m := theory.Metre{Num: 4, Den: 4}
		tune := &theory.Tune{
			Bars:    []theory.Bar{{Label: "1", Pass: 1, Len: l, Beat: theory.Quarters(1, 1), Metre: m}, {Label: "2", Pass: 1, Source: 1, At: l, Len: theory.Quarters(4, 1), Beat: theory.Quarters(1, 1), Metre: m}},
			Melody:  []theory.Note{{Len: l, Pitch: theory.Pitch{Octave: 4}}},
			Changes: []theory.Change{{Len: l.Add(theory.Quarters(4, 1)), Chord: c}},
			Tempi:   []theory.TempoMark{{BPM: 100}},
		}
		tune.DividePhrases()
		if _, _, err := abcOf(tune); err != nil {
			t.Errorf("length %s: %v", l, err)
		}
	}
}

// TestWriteABCCorpus reads, writes and reads again every sheet there is.
func TestWriteABCCorpus(t *testing.T) {
	tunes, labels, sections, folded, repeated := 0, 0, 0, 0, 0
	eachSheet(t, append(collections, "models/*.abc", "judge/situations/*.abc"), func(name, sheet string) {
		tune, err := Read(strings.NewReader(sheet), name, Options{})
		if err != nil {
			return // TestCorpus says which are refused, and why
		}
		text, told, err := abcOf(tune)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		again, err := Read(strings.NewReader(text), "again", Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		tunes++
		l := differences(tune, again)
		if l.music != "" || l.text {
			t.Errorf("%s: %+v", name, l)
		}
		if l.sections {
			sections++
			t.Errorf("%s: the sections differ: %v, %v", name, tune.Sections, again.Sections)
		}
		if l.labels {
			labels++
			t.Logf("%s: %s", name, told)
		}
		if slices.ContainsFunc(tune.Bars, func(b theory.Bar) bool { return b.Pass > 1 }) {
			repeated++
			if slices.ContainsFunc(again.Bars, func(b theory.Bar) bool { return b.Pass > 1 }) {
				folded++
			}
		}
	})
	t.Logf("%d tunes; %d with bars that are played again, %d of them folded; bars counted anew in %d, sections named anew in %d", tunes, repeated, folded, labels, sections)
}

// Names of sections that P: does not take get others, and it is said.
func TestWriteABCSectionNames(t *testing.T) {
	for name, want := range map[string]string{
		"1": "Part 1", "intro": "Intro", "A": "A", "A'": "A'", "Verse 2": "Verse 2", "Fine": "Part Fine", "D.C.": "Part D C",
		"B [solo] 100%": "B solo 100", "§": "Part", "D.S. al Coda": "Part D S al Coda",
	} {
		tune := mustRead(t, "X:1\nM:4/4\nL:1/1\nK:C\n\"C6\"C | D ||\nE | F |]\n", Options{})
		tune.Sections = []theory.Section{{Name: name, From: 0, To: 2}, {Name: "Z", From: 2, To: 4}}
		text, told, err := abcOf(tune)
		if err != nil {
			t.Fatal(err)
		}
		if again := mustRead(t, text, Options{}); again.Sections[0].Name != want {
			t.Errorf("%q becomes %q, want %q", name, again.Sections[0].Name, want)
		}
		if (len(told) > 0) != (name != want) {
			t.Errorf("%q: told %q", name, told)
		}
	}
}

// Whatever can be read, be it half a sheet, is written and read back, or refused.
func FuzzWriteABC(f *testing.F) {
	var seeds []string
	for _, c := range abcCases {
		seeds = append(seeds, abcSheet(c.sheet))
	}
	for _, c := range xmlCases {
		seeds = append(seeds, c.sheet)
	}
	addSeeds(f, seeds)
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<13 {
			t.Skip()
		}
		sheet, err := Inspect(strings.NewReader(in), "fuzz", Options{})
		if err != nil || sheet.Tune == nil {
			return
		}
		for i := range sheet.Bars {
			_ = sheet.Bars[i].Done()
		}
		sheet.HalfTyped()
		text, _, err := abcOf(sheet.Tune)
		if err != nil {
			t.Fatalf("%v\n%s", err, in)
		}
		again, err := Inspect(strings.NewReader(text), "again", Options{})
		if err != nil || again.Tune == nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		if s := musicDiffers(sheet.Tune, again.Tune); s != "" {
			t.Fatalf("%s in\n%s", s, text)
		}
	})
}

func BenchmarkWriteABC(b *testing.B) {
	var s strings.Builder
	s.WriteString("X:1\nM:4/4\nL:1/8\nK:Eb\n")
	for range 500 {
		s.WriteString("\"Eb6\"GABc edcB | \"Fm7\"(3ABc =d4 c2- | \"Bb7\"c2 z2 {g}f4 | \"Eb6\"e8 |\n")
	}
	tune, err := Read(strings.NewReader(s.String()), "bench", Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := abcOf(tune); err != nil {
			b.Fatal(err)
		}
	}
}

// A tune that no sheet gives is refused and does not panic.
func TestWriteABCBarWithoutLength(t *testing.T) {
	tune := mustRead(t, abcSheet(`|:"C"c4:|`), Options{})
	for i := range tune.Bars {
		tune.Bars[i].Len = theory.Time{}
	}
	if _, _, err := abcOf(tune); err == nil || err.Error() != "bar 1 has no length" {
		t.Error(err)
	}
}
