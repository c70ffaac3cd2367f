package theory

import (
	"bufio"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func TestEverySetOfTones(t *testing.T) {
	for set := PCSet(1); set < 1<<12; set += 2 {
		suffix := SuffixOf(set)
		got, err := ParseQuality(suffix)
		if err != nil || got != set {
			t.Errorf("tones %v: suffix %q reads back as %v, %v", set.Members(), suffix, got.Members(), err)
		}
	}
}

func TestQualityRows(t *testing.T) {
	seen := map[PCSet]string{}
	forms := map[string]string{}
	for _, q := range qualities {
		if prev, ok := seen[q.tones]; ok {
			t.Errorf("%q and %q have the same tones", prev, q.name)
		}
		seen[q.tones] = q.name
		if got := SuffixOf(q.tones); got != q.name {
			t.Errorf("%q is spelled %q", q.name, got)
		}
		for form := range strings.FieldsSeq(q.forms) {
			if prev, ok := forms[form]; ok && prev != q.name {
				t.Errorf("the form %q stands for %q and %q", form, prev, q.name)
			}
			forms[form] = q.name
			if form == "#5" {
				continue // behind a root the sharp is the root's
			}
			if c, err := ParseChord("D" + form); err != nil || c.Tones != q.tones {
				t.Errorf("D%s is read as %v, %v; want D%s", form, c, err, q.name)
			}
		}
	}
	if len(qualities) < 60 {
		t.Errorf("only %d qualities", len(qualities))
	}
}

// writtenForms are spellings of the trade with our own beside them: common
// practice, no source.
var writtenForms = []struct{ want, forms string }{
	{"C", "C Cmaj CM CMa C/C C/c (C) Cmajor"},
	{"Cm", "Cm Cmin Cmi C- CMIN CMI Cminor"},
	{"C7", "C7 Cdom7 C(7) Cdom C7th"},
	{"Cmaj7", "Cmaj7 CM7 Cma7 CMaj7 Cmaj.7 Cmaj+7 C(maj.7) CMA7 CMAJ7 C△ C△7 CΔ CΔ7 C∆7 C^7 C^ Cj7 C(maj7) C7M C/maj7 C#7? Cmajor7"},
	{"Cm7", "Cm7 Cmin7 Cmi7 C-7 CMI7 Cminor7"},
	{"C6", "C6 CM6 Cmaj6 C(6) Cadd6 Cadd13"},
	{"Cm6", "Cm6 C-6 Cmi6 Cmin6"},
	{"C69", "C69 C6/9 C6(9) C6add9 CM69 Cmaj6/9 C6,9"},
	{"Cm69", "Cm69 Cm6/9 C-6/9"},
	{"Cm7b5", "Cm7b5 C-7b5 Cmi7b5 Cmin7b5 Cm7(b5) Cm7-5 Cø Cø7 CØ Ch Ch7 Cm7♭5 Chalf-dim7 Cm7/b5 CMI7(♭5)"},
	{"Cdim", "Cdim Co C° Cº Cmb5 Cm(b5) C/dim Cdiminished"},
	{"Cdim7", "Cdim7 Co7 C°7 Cº7 Cdiminished7"},
	{"Cdim(maj7)", "Cdim(maj7) CdimM7 Co(maj7) C°△ C°△7 Cmmaj7b5"},
	{"Caug", "Caug C+ C(#5) C+5 C(+5) Caug5 Caugmented"},
	{"C7#5", "C7#5 C7+ C+7 Caug7 C7(#5) C7+5 C7aug C7aug5 C7♯5 C7(+5)"},
	{"C9#5", "C9#5 C9+ C+9 Caug9 C9(#5) C7#5add9"},
	{"Cmaj7#5", "Cmaj7#5 C+maj7 CaugM7 Cmaj7+ C△#5 CM7(#5) CM7+5 C+△"},
	{"C7sus4", "C7sus4 C7sus Csus7 C7(sus4) Cm7sus4 C7/4"},
	{"C9sus4", "C9sus4 C9sus C11 Csus9 C7sus4(9) C7sus9"},
	{"C13sus4", "C13sus4 C13sus C13(sus4) C9sus4(13)"},
	{"C7sus4b9", "C7sus4b9 C7susb9 C7b9sus4 C7sus4(b9) C7b9sus C11b9"},
	{"Csus4", "Csus4 Csus C4 C(sus4) Csuspended Csus. Csus.4"},
	{"Csus2", "Csus2 C(sus2)"},
	{"Csus2sus4", "Csus2sus4 Csus24 Csus42 Csus2/4 Csus4sus2"},
	{"C9", "C9 C9th C7(9) C7/9 C79 C7add9 Cdom9"},
	{"Cm9", "Cm9 C-9 Cmi9 Cm7(9) Cm7add9"},
	{"Cmaj9", "Cmaj9 CM9 C△9 Cma9 Cmaj7(9) C9maj Cmaj7/9"},
	{"Cm11", "Cm11 C-11 Cmi11 Cm9(11)"},
	{"C13", "C13 C9(13) C13/9 C713add9"},
	{"Cmaj13", "Cmaj13 CM13 C△13"},
	{"C7b9", "C7b9 C7flat9 C7(b9) C7-9 C7♭9 C7(-9) C9b9 C7(♭9) C7/b9 C7addb9 C7[b9]"},
	{"C7#9", "C7#9 C7sharp9 C7(sharp9) C7+9 C7(#9) C7♯9"},
	{"C7#11", "C7#11 C7(#11) C7+11 C7#4"},
	{"C7b5", "C7b5 C7(b5) C7-5 C7♭5 C7dim5"},
	{"C7b9#11", "C7b9#11 C7(b9,#11) C7#11b9 C7(#11)(b9) C7b9(#11) C7(b9#11) C7(b9/#11) C7(♭9,♯11)"},
	{"C7#5b9", "C7#5b9 C7b9#5 C7+b9 Caug7b9 C7(#5,b9) C7(b9,+5)"},
	{"C7#5#9", "C7#5#9 C7#9#5 C7(#9,#5) C+7#9"},
	{"C7b9b13", "C7b9b13 C7b13b9 C7(b9b13) C7(b13,b9)"},
	{"C7alt", "C7alt C7alt. C(alt.) Calt C7altered C7(alt) C7b5#5b9#9 C7#9b9#5b5"},
	{"C13b9", "C13b9 C13(b9) C7b9(13) C7b9add13"},
	{"C13#11", "C13#11 C13(#11)"},
	{"Cmaj7#11", "Cmaj7#11 CM7#11 C△#11 Cmaj7(#11) Cmaj7+11"},
	{"C(add9)", "Cadd9 C(add9) Cadd2 C2 C(9) C(add2)"},
	{"Cm(add9)", "Cmadd9 Cm(add9) Cm(9) C-add9"},
	{"C(add11)", "Cadd11 Cadd4 C(add4)"},
	{"Cm(maj7)", "Cm(maj7) CmMaj7 Cm/maj7 CmM7 C-maj7 CmiMa7 C-△7 Cm△ Cmin(maj7) Cm(M7) Cm(#7) Cm#7 Cm7M Cminmaj7 Cm(+7) Cm+7 Cm7(maj7) CMI(MA7) C-M7 C-^7"},
	{"Cm(maj9)", "Cm(maj9) CmMaj9 CmM9 Cm9(maj7) CMI9(MA7)"},
	{"C5", "C5 Cno3 C(no3) C(no3rd) Comit3 C(omit.3)"},
	{"Cdim(add9)", "Cdim9 Cdim(add9)"},
	{"Caug(add9)", "Caug(add9) C+add9"},
	{"Cmaj7(no3)", "Cmaj7no3 CM7(omit3)"},
	{"C7#5#11", "C7#5#11 C7#11#5 C7+11+5"},
	{"C9#5#11", "C9#5#11 C9#11#5"},
	{"C7sus2", "C7sus2 C9sus2"},
	{"C7(add11)", "C7sus4add3 C7susadd3 C7add4"},
	{"C(b5)", "C(b5) C-5 Cmajb5 C(-5)"},
	{"Cm#5", "Cm#5 Cm+ Cm(#5) Cmaug"},
	{"C7(no3)", "C7no3 C7(no3) C7omit3"},
	{"C7/E", "C7/E C7/e"},
	{"Cm7b5/Gb", "Cm7b5/Gb Cø/gb Cm7b5/g- Cm7b5/G♭"},
	{"C69/E", "C6/9/E C69/E"},
	{"Bb7", "Bb7 B♭7"},
	{"F#m7", "F#m7 F♯m7 F#-7"},
	{"Ebdim7/Bbb", "Ebdim7/Bbb E♭o7/B𝄫"},
	{"N.C.", "N.C. NC n.c. NC."},
}

func TestWrittenForms(t *testing.T) {
	spaced := []struct{ text, want string }{
		{"C m 7 / G", "Cm7/G"}, {" C7 ", "C7"}, {"A m7/D", "Am7/D"}, {"C 7/G", "C7/G"}, {"D m", "Dm"}, {"F maj7", "Fmaj7"},
		{"no chord", "N.C."}, {"No Chord", "N.C."}, {"N. C.", "N.C."}, {"C7 (b9, #11)", "C7b9#11"}, {"C half diminished", "Cm7b5"},
		{"G minor 7", "Gm7"}, {"Bb major", "Bb"},
	}
	for _, row := range writtenForms {
		for form := range strings.FieldsSeq(row.forms) {
			if strings.Contains(form, "?") {
				continue
			}
			spaced = append(spaced, struct{ text, want string }{form, row.want})
		}
	}
	for _, c := range spaced {
		got, err := ParseChord(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if got.String() != c.want {
			t.Errorf("%q is %v, want %s", c.text, got, c.want)
		}
		if again := MustChord(c.want); again != got {
			t.Errorf("%q and %q are not equal: %+v, %+v", c.text, c.want, got, again)
		}
	}
}

func TestUnknownChords(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{"", "empty"},
		{"  ", "empty"},
		{"H7", `"H7" is not a root`},
		{"c7", `"c7" is not a root`},
		{"f#", `"f#" is not a root`},
		{"Cmaj7x", `"x" is not understood`},
		{"C7sg", `"sg" is not understood`},
		{"Dm G7", `"G7" is not understood`},
		{"G  C", `"C" is not understood`},
		{"C  drone", `"drone" is not understood`},
		{"C/D/E", `"D" is not understood`},
		{"D/nF", `"nF" is not understood`},
		{"C7(b9", `is not closed`},
		{"C7b9)", `")" is not understood`},
		{"C7b8", `"8" is not understood`},
		{"C77", `"7" is not understood`},
		{"C²", `"²" is not understood`},
		{"Cadd", `"add" is not understood`},
		{"C7no", `"no" is not understood`},
		{"Cm7alt", `"alt" is not understood`},
		{"C###", `"#" is not understood`},
		{"C7b11", `"b11" is not understood`},
		{"Cmaj7/H", `"H" is not understood`},
	} {
		got, err := ParseChord(c.text)
		if err == nil {
			t.Errorf("%q is read as %v", c.text, got)
		} else if !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: the error is %q, want %q in it", c.text, err, c.says)
		}
	}
}

func TestChordParts(t *testing.T) {
	for _, c := range []struct {
		symbol   string
		kind     Kind
		guides   string
		dominant bool
	}{
		{"C", Major, "E", false}, {"C6", Major, "E A", false}, {"Cmaj7", Major, "E B", false}, {"C69", Major, "E A", false},
		{"Cmaj7#5", Major, "E B", false}, {"Cadd9", Major, "E", false},
		{"Cm", Minor, "Eb", false}, {"Cm6", Minor, "Eb A", false}, {"Cm7", Minor, "Eb Bb", false}, {"Cm(maj7)", Minor, "Eb B", false},
		{"Cm13", Minor, "Eb Bb", false},
		{"C7", Dominant, "E Bb", true}, {"C13", Dominant, "E Bb", true}, {"C7alt", Dominant, "E Bb", true}, {"C7#5", Dominant, "E Bb", true},
		{"C7b5", Dominant, "E Bb", true}, {"C7#9", Dominant, "E Bb", true}, {"Caug7", Dominant, "E Bb", true},
		{"Cm7b5", HalfDiminished, "Eb Gb Bb", false}, {"Cm9b5", HalfDiminished, "Eb Gb Bb", false},
		{"Cdim", Diminished, "Eb Gb", false}, {"Cdim7", Diminished, "Eb Gb A", false}, {"Cdim(maj7)", Diminished, "Eb Gb B", false},
		{"Caug", Augmented, "E", false},
		{"Csus4", Suspended, "F", false}, {"C7sus4", Suspended, "F Bb", true}, {"Csus2", Suspended, "D", false}, {"C9sus4", Suspended, "F Bb", true},
		{"C5", Power, "", false}, {"N.C.", Major, "", false},
	} {
		ch := MustChord(c.symbol)
		if ch.Kind != c.kind || ch.IsDominant() != c.dominant {
			t.Errorf("%s: %v, dominant %v; want %v, %v", c.symbol, ch.Kind, ch.IsDominant(), c.kind, c.dominant)
		}
		if got := ch.GuideTones(); !slices.Equal(got, names(c.guides)) {
			t.Errorf("%s: guide tones %v, want %s", c.symbol, got, c.guides)
		}
	}
	c := MustChord("G7/B")
	if c.RootPC() != 7 || c.BassPC() != 11 || c.PCs() != setOf("G B D F") {
		t.Errorf("G7/B: root %d, bass %d, %v", c.RootPC(), c.BassPC(), c.PCs().Members())
	}
	if c := MustChord("Eb/F"); c.PCs() != setOf("F Eb G Bb") || c.Tones != tones(0, 4, 7) {
		t.Errorf("Eb/F: %v, tones %v", c.PCs().Members(), c.Tones.Members())
	}
	if pcs := MustChord("NC").PCs(); pcs != 0 {
		t.Errorf("N.C. has %v", pcs.Members())
	}
	if _, ok := MustChord("C7sus4").ThirdPC(); ok {
		t.Error("a suspended chord has a third")
	}
	if _, ok := MustChord("C6").SeventhPC(); ok {
		t.Error("a sixth chord has a seventh")
	}
	if pc, ok := MustChord("Bdim7").SeventhPC(); !ok || pc != 8 {
		t.Errorf("the seventh of Bdim7 is %d, %v", pc, ok)
	}
}

func TestChordTranspose(t *testing.T) {
	for _, c := range []struct {
		symbol string
		iv     Interval
		want   string
	}{
		{"Bb7/D", Interval{1, 2}, "C7/E"},
		{"F#m7b5", Interval{2, 3}, "Am7b5"},
		{"Ab7", Interval{3, 5}, "Db7"},
		{"G#dim7", Interval{4, 7}, "D#dim7"},
		{"Db", Interval{1, 1}, "D"}, // E double flat made plain
		{"B7", Interval{1, 1}, "C7"},
		{"A#dim7", Interval{4, 7}, "Fdim7"}, // E# made plain
		{"N.C.", Interval{1, 2}, "N.C."},
		{"Gb7", Interval{3, 5}, "Cb7"},
		{"C7/E", Interval{-1, -2}, "Bb7/D"},
	} {
		if got := MustChord(c.symbol).Transpose(c.iv); got != MustChord(c.want) {
			t.Errorf("%s by %v: %v, want %s", c.symbol, c.iv, got, c.want)
		}
	}
}

func TestIsBassNote(t *testing.T) {
	for _, s := range []string{"f#", "b", "bb", "g", "(a+)", "(b)", "a#", " c# ", "e♭"} {
		if !IsBassNote(s) {
			t.Errorf("%q is no bass note", s)
		}
		if c, err := ParseChord(s); err == nil {
			t.Errorf("%q is read as the chord %v", s, c)
		}
	}
	for _, s := range []string{"", "C", "(C)", "f/+", "g G", "am", "b7", "h", "()"} {
		if IsBassNote(s) {
			t.Errorf("%q is a bass note", s)
		}
	}
}

// The open chord-symbol list: what two or three independent readers agree on
// must come out as exactly those pitch classes, what they disagree on as one of
// the sets they give. Nothing is excepted.
func TestSymbolsOfOtherReaders(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: the list of chord symbols is not at hand")
	}
	f, err := os.Open(filepath.Join(dir, "corpus", "chord-symbols.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	chords, bassNotes := 0, 0
	lines := bufio.NewScanner(f)
	lines.Scan() // the heads
	for lines.Scan() {
		cells := strings.Split(lines.Text(), "\t")
		if len(cells) != 8 {
			t.Fatalf("a row of %d cells: %q", len(cells), lines.Text())
		}
		symbol, verdict := cells[0], cells[7]
		c, err := ParseChord(symbol)
		switch verdict {
		case "single bass note":
			bassNotes++
			if err == nil || !IsBassNote(symbol) {
				t.Errorf("%q: a bass note is read as %v", symbol, c)
			}
			continue
		case "none":
			continue
		}
		if err != nil {
			t.Error(err)
			continue
		}
		var members []string
		for _, pc := range c.PCs().Members() {
			members = append(members, strconv.Itoa(pc))
		}
		if got := strings.Join(members, " "); !slices.Contains(cells[4:7], got) {
			t.Errorf("%q = %v: %s, want one of %q (%s)", symbol, c, got, cells[4:7], verdict)
		}
		if back, err := ParseChord(c.String()); err != nil || back != c {
			t.Errorf("%q = %v reads back as %v, %v", symbol, c, back, err)
		}
		chords++
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if chords < 500 || bassNotes < 5 {
		t.Fatalf("only %d chords and %d bass notes found", chords, bassNotes)
	}
}

func FuzzParseChord(f *testing.F) {
	seeds := 0
	for _, row := range writtenForms {
		for form := range strings.FieldsSeq(row.forms) {
			f.Add(form)
			seeds++
		}
	}
	for _, q := range qualities {
		f.Add("Bb" + q.name + "/Ab")
	}
	for _, s := range []string{"C7(b9", "E7/b9", "C m7 / g#", "\xff", "C\x00", "Cadd(b9)", "C7no3no5", "B𝄫7", "((C))"} {
		f.Add(s)
	}
	if seeds == 0 {
		f.Fatal("no seeds")
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseChord(s)
		if err != nil {
			return
		}
		back, err := ParseChord(c.String())
		if err != nil || back != c {
			t.Fatalf("%q = %v reads back as %v, %v", s, c, back, err)
		}
		c.GuideTones()
		UsesIn(c, Context{})
		if !c.NoChord && SuffixOf(c.Tones) != c.Suffix {
			t.Fatalf("%q: suffix %q of tones %v", s, c.Suffix, c.Tones.Members())
		}
	})
}
