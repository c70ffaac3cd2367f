package leadsheet

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"testing"
	"testing/iotest"

	"thumbline/theory"
)

// manyUnknown is what is told of so many unknown symbols side by side.
func manyUnknown(n int) string {
	var lines []string
	for i := range n {
		lines = append(lines, fmt.Sprintf(`test:5:%d: unknown chord symbol "Cx": "x" is not understood (correct it, or put ^ before it when it is a text: "^Cx")`, 5*i+1))
	}
	return strings.Join(lines, "\n")
}

// manyVoices is a bar of each of so many voices.
func manyVoices(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "V:%d\n\"C\"c8|\n", i+1)
	}
	return b.String()
}

// Every fault is one line: file, place, what is wrong, what to do.
func TestErrors(t *testing.T) {
	xml := func(s string) string { return strings.ReplaceAll(s, "\n", "") }
	for _, c := range []struct {
		name, in string
		opt      Options
		want     string
	}{
		{"empty", "", Options{}, `test: the file is empty (give a lead sheet in ABC, MusicXML or MIDI)`},
		{"blank", " \n\n", Options{}, `test: the file is empty (give a lead sheet in ABC, MusicXML or MIDI)`},
		{"text", "Dear reader\n", Options{}, `test: not a lead sheet: neither ABC fields (X: K:) nor MusicXML in it (give a lead sheet in ABC, MusicXML or MIDI)`},
		{"binary", "\x7fELF\x02\x01\x01\x00\x00", Options{}, `test: not a lead sheet but binary data (give a lead sheet in ABC, MusicXML or MIDI)`},
		{"MIDI", "MThd\x00\x00\x00\x06", Options{}, `test: byte 8: the MIDI file ends within its header (export the MIDI file again)`},
		{"too large", strings.Repeat("x", maxFile+1), Options{}, `test: larger than 16 MB (a lead sheet is a small text file: give the right file)`},
		{"no symbols", abcSheet("cdef|"), Options{}, `test: there are no chord symbols in this tune (write them in double quotes before the notes: "Am7"A2)`},
		{"no notes", abcSheet(`"C"z4|`), Options{}, `test: there are no notes in this tune (a lead sheet needs a melody)`},
		{"header only", "X:1\nT:t\nK:C\n", Options{}, `test: there are no notes in this tune (a lead sheet needs a melody)`},
		{"unknown symbol", abcSheet(`"C"c2 "Cxyz"d2|`), Options{}, `test:5:7: unknown chord symbol "Cxyz": "xyz" is not understood (correct it, or put ^ before it when it is a text: "^Cxyz")`},
		{"unknown root", abcSheet(`"C"c2 "Hm7"d2|`), Options{}, `test:5:7: unknown chord symbol "Hm7": no note is called H, the German H is B and the German B is Bb (correct it, or put ^ before it when it is a text: "^Hm7")`},
		{"several, in order", abcSheet("\"C\"c\"Cx\"d|\n\"Dq\"e\"Bad\"f|"), Options{}, `test:5:5: unknown chord symbol "Cx": "x" is not understood (correct it, or put ^ before it when it is a text: "^Cx")
test:6:1: unknown chord symbol "Dq": "q" is not understood (correct it, or put ^ before it when it is a text: "^Dq")
test:6:6: unknown chord symbol "Bad": "ad" is not understood (correct it, or put ^ before it when it is a text: "^Bad")`},
		{"ten", abcSheet(strings.Repeat(`"Cx"c`, 10) + "|"), Options{}, manyUnknown(10)},
		{"many", abcSheet(strings.Repeat(`"Cx"c`, maxShown+3) + "|"), Options{}, manyUnknown(maxShown) + "\ntest: and 3 more"},
		{"more than are kept", abcSheet(strings.Repeat(`"Cx"c`, maxFaults+3) + "|"), Options{}, manyUnknown(maxShown) + fmt.Sprintf("\ntest: and %d more", maxFaults+3-maxShown)},
		{"open quote", abcSheet(`"C"c2 "G d2|`), Options{}, `test:5:7: a chord symbol or text has no closing quote (put a " behind it)`},
		{"open chord", abcSheet(`"C"[ceg`), Options{}, `test:5:4: a chord of notes is not closed (put a ] behind its last note)`},
		{"open graces", abcSheet(`"C"{ceg`), Options{}, `test:5:4: a group of grace notes is not closed (put a } behind its last note)`},
		{"open field", abcSheet(`"C"c [K:D d`), Options{}, `test:5:6: a field in the music is not closed (put a ] behind it)`},
		{"key", "X:1\nK:Q\n\"C\"c|\n", Options{}, `test:2:3: unknown key "Q" (write the tonic and the mode: K:Eb, K:Dm, K:Gmix)`},
		{"metre", "X:1\nM:4/5\nK:C\n\"C\"c|\n", Options{}, `test:2:3: unknown metre "4/5" (write it as M:4/4, M:6/8, M:C, M:C| or M:none)`},
		{"unit", "X:1\nL:1/7\nK:C\n\"C\"c|\n", Options{}, `test:2:3: unknown unit note length "1/7" (write it as L:1/8)`},
		{"note too long", abcSheet(`"C"c5000|`), Options{}, `test:5:4: the length of this note is out of range (write the length as a figure from 1 to 1024)`},
		{"note too high", abcSheet(`"C"c''''''|`), Options{}, `test:5:4: a note out of the range of MIDI (take octave marks away)`},
		{"too finely divided", abcSheet(`"C"c/997d/991e/983|`), Options{}, `test:5:14: the length 1/983 of a quarter is too finely divided or too long (use lengths built from halves, thirds, fifths and sevenths)`},
		{"tune number", abcSheet(`"C"c4|`), Options{Number: 7}, `test: there is no tune X:7: the file has 1 (choose one that is there)`},
		{"voice", abcSheet(`"C"c4|`), Options{Melody: "Fl"}, `test: there is no voice "Fl": the tune has 1 (choose one that is there)`},
		{"order too long", "X:1\nP:((((A99)99)99)99)99\nK:C\nP:A\n\"C\"c4|\n", Options{}, `test:2:3: the order of parts "((((A99)99)99)99)99" is longer than any tune (write it shorter)`},
		{"repeats too long", "X:1\nP:" + strings.Repeat("A99", 99) + "\nK:C\nP:A\n|:\"C\"c4|d4:|\n", Options{}, `test: with its repeats the tune is longer than 10000 bars (take repeats out)`},
		{"HTML", "<html><body/></html>", Options{}, `test:1:1: not a lead sheet: the document is of kind "html" (give a score in MusicXML)`},
		{"broken XML", "<score-partwise>\n<part>\n</score-partwise>", Options{}, `test:3:1: part: the XML is broken: element <part> closed by </score-partwise> (export the score again)`},
		{"cut XML", "<score-partwise>\n<part>", Options{}, `test:2:7: part: the XML is broken: it ends before its last element does (export the score again)`},
		{"entity", "<!DOCTYPE x [<!ENTITY a 'b'>]>\n<score-partwise>\n&a;</score-partwise>", Options{}, `test:3:4: the entity &a; is not known and entities are not expanded (write the characters themselves in its place)`},
		{"nesting", strings.Repeat("<a>", 200), Options{}, `test:1:301: a/a/a/a/a/a/a/a: elements nest deeper than 100 (give a score in MusicXML)`},
		{"score without parts", "<score-partwise></score-partwise>", Options{}, `test: there are no notes in this tune (a lead sheet needs a melody)`},
		{"score without symbols", xml(score(fourFour + n("C5", 48))), Options{}, `test: there are no chord symbols in this tune (add chord symbols in the score, not as plain text)`},
		{"harmony", "<score-partwise><part id='P'><measure number='1'>\n" + n("C5", 4) + "\n <harmony><root><root-step>C</root-step></root><kind text='x'>nonsense</kind></harmony></measure></part></score-partwise>", Options{}, `test:3:2: measure 1, harmony: unknown chord symbol "Cx" of kind "nonsense" (correct it in the score, or leave it out)`},
		{"function", "<score-partwise><part id='P'><measure number='1'>\n" + n("C5", 4) + "\n <harmony><function>V7</function><kind>dominant</kind></harmony></measure></part></score-partwise>", Options{}, `test:3:2: measure 1, harmony: a harmony by function ("V7") is no chord symbol (correct it in the score, or leave it out)`},
		{"pitch", "<score-partwise><part id='P'><measure number='1'>\n<note><pitch><step>H</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>", Options{}, `test:2:7: measure 1, note/pitch: a pitch that is no note (export the score again)`},
		{"duration", "<score-partwise><part id='P'><measure number='1'>\n<note><pitch><step>C</step><octave>4</octave></pitch><duration>x</duration></note></measure></part></score-partwise>", Options{}, `test:2:54: measure 1, note/duration: "x" is no duration (export the score again)`},
		{"part", xml(score(fourFour + n("C5", 48))), Options{Melody: "P9"}, `test: there is no part "P9": the score has P1 Tune (choose one that is there)`},
		{"voice of a part", xml(score(fourFour + n("C5", 48))), Options{Melody: "P1/7"}, `test: there is no voice "7" with notes in the part "P1" (choose one that is there)`},
		{"number of a score", xml(score(fourFour + n("C5", 48))), Options{Number: 2}, `test: there is no tune 2: a MusicXML file holds one (leave the number out)`},
		{"title of a score", xml(score(fourFour + n("C5", 48))), Options{Title: "Blue"}, `test: no tune is chosen by its title "Blue": a MusicXML file holds one (leave the title out)`},
		{"part, with a name of two lines", strings.Replace(score(fourFour+n("C5", 48)), ">Tune<", ">Tune\nfor me<", 1), Options{Melody: "P9"}, `test: there is no part "P9": the score has P1 Tune for me (choose one that is there)`},
		{"voice of very many", "X:1\nK:C\n" + manyVoices(maxListed+2), Options{Melody: "Fl"}, `test: there is no voice "Fl": the tune has 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 and 2 more (choose one that is there)`},
		{"broken zip", "PK\x03\x04rubbish", Options{}, `test: the compressed file is broken: zip: not a valid zip file (export the score again as .mxl or .musicxml)`},
		{"zip without score", zipped(t, [2]string{"a.txt", "x"}), Options{}, `test: there is no score in the compressed file (export the score again as .mxl or .musicxml)`},
		{"zip bomb", zipped(t, [2]string{"a.xml", strings.Repeat(" ", maxScore+1)}), Options{}, `test: the score in the compressed file unpacks to more than 250 times its size (export the score again as .mxl or .musicxml)`},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune, err := Read(strings.NewReader(c.in), "test", c.opt)
			if err == nil {
				t.Fatalf("no error, but\n%s", dump(tune))
			}
			if err.Error() != c.want {
				t.Errorf("got  %s\nwant %s", err, c.want)
			}
			var list ErrorList
			var one *Error
			if !errors.As(err, &list) || !errors.As(err, &one) {
				t.Errorf("%T is no list of errors", err)
			}
		})
	}
}

// Short reads are no ends of file, and a failed read is told as such.
func TestReaders(t *testing.T) {
	for name, sheet := range map[string]string{
		"ABC":        abcSheet(`"C"c4|"G7"d4|`),
		"MusicXML":   score(fourFour+h("C", "major")+n("C5", 48), h("G", "dominant")+n("D5", 48)),
		"compressed": zipped(t, [2]string{"score.xml", score(fourFour+h("C", "major")+n("C5", 48), h("G", "dominant")+n("D5", 48))}),
	} {
		const want = "1: C5:4 | C\n2: D5:4 | G7\n"
		for kind, r := range map[string]io.Reader{
			"one byte":       iotest.OneByteReader(strings.NewReader(sheet)),
			"half":           iotest.HalfReader(strings.NewReader(sheet)),
			"data and error": iotest.DataErrReader(strings.NewReader(sheet)),
		} {
			tune, err := Read(r, "test", Options{})
			if err != nil {
				t.Fatal(name, kind, err)
			}
			if got := dump(tune); got != want {
				t.Errorf("%s by %s: %s", name, kind, got)
			}
		}
	}
	cause := &fs.PathError{Op: "read", Path: "x.abc", Err: errors.New("is a directory")}
	_, err := Read(iotest.ErrReader(cause), "x.abc", Options{})
	if err == nil || err.Error() != "x.abc: cannot be read: is a directory" || !errors.Is(err, cause) {
		t.Errorf("got %v", err)
	}
	if _, err := Read(io.MultiReader(strings.NewReader("X:1\n"), iotest.ErrReader(io.ErrUnexpectedEOF)), "x.abc", Options{}); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("got %v", err)
	}
}

func TestSymbols(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"Am7", "Am7"}, {"D m", "Dm"}, {"C/e", "C/E"}, {"D/f+", "D/F#"}, {"D/nF", "D/F"}, {"Gm/bb", "Gm/Bb"},
		{"D#/dim", "D#dim"}, {"E7/b9", "E7b9"}, {"(C)", "C"}, {"[C]", "C"}, {"/@<.5A7", "A7"}, {"B♭maj7", "Bbmaj7"},
		{"N.C.", "N.C."}, {"nc", "N.C."}, {"(N.C.)", "N.C."}, {"tacet", "N.C."},
		{"Dm G7", "Dm G7"}, {"G  C", "G C"}, {"C; swing", "C (the text \"swing\" under a chord symbol is not read)"},
		{"G(Em)", "G (the other chord of \"G(Em)\" is left out)"},
		{"C  drone", "C (the words in \"C  drone\" are not read)"},
		{"g G", "G (the bass note \"g\" is left out: it is no chord)"},
		{"f#", "(the bass note \"f#\" is left out: it is no chord)"},
		{"f/+", "(the bass note \"f/+\" is left out: it is no chord)"},
		{"(a+)", "(the bass note \"a+\" is left out: it is no chord)"},
		{"Fine", "(the text \"Fine\" over the staff is not read)"},
		{"D.C. al Coda", "(the text \"D.C. al Coda\" over the staff is not read)"},
		{"A part", "(the text \"A part\" over the staff is not read)"},
		{"rit.", "(the text \"rit.\" over the staff is not read)"},
		{"3", "(the text \"3\" over the staff is not read)"},
		{" ", ""},
		{"Hm7", "!unknown chord symbol \"Hm7\": no note is called H, the German H is B and the German B is Bb"},
		{"V7", "!unknown chord symbol \"V7\": no note is called V"},
		{"Cmja7", "!unknown chord symbol \"Cmja7\": \"a7\" is not understood"},
	} {
		r := readSymbol(c.text)
		var got []string
		for _, c := range r.chords {
			got = append(got, c.String())
		}
		if r.note != "" {
			got = append(got, "("+r.note+")")
		}
		if r.fault != "" {
			got = append(got, "!"+r.fault)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%q: %s, want %s", c.text, s, c.want)
		}
	}
}

// ABC 2.1, 3.1.8 and the older forms of 10.
func TestTempoABC(t *testing.T) {
	unit := theory.Quarters(1, 2)
	for _, c := range []struct {
		field string
		bpm   float64
		text  string
		ok    bool
	}{
		{"1/4=120", 120, "", true}, {"1/2=80", 160, "", true}, {"3/8=100", 150, "", true}, {"1/4 3/8 1/4 3/8=40", 200, "", true},
		{`"Allegro" 1/4=120`, 120, "Allegro", true}, {`3/8=50 "Slowly"`, 75, "Slowly", true}, {`"Andante"`, 0, "Andante", true},
		{"120", 60, "", true}, {"C=120", 60, "", true}, {"C3=40", 60, "", true}, {"1/4 = 96.5", 96.5, "", true},
		{"fast", 0, "fast", true}, {"1/4=1/8", 0, "", false}, {"1/0=3", 0, "", false}, {"1/4=0", 0, "", false}, {"1/4=99999", 399996 / 4, "", false},
	} {
		bpm, text, ok := readTempo(c.field, unit)
		if ok != c.ok || ok && (bpm != c.bpm || text != c.text) {
			t.Errorf("Q:%s: %g %q %v", c.field, bpm, text, ok)
		}
	}
	for head, want := range map[string]string{
		"M:4/4\nK:C": "120 true", "M:2/2\nK:C": "160 true", "M:6/8\nK:C": "150 true", "Q:\"Fast\"\nM:4/4\nK:C": "120 true Fast",
		"M:4/4\nQ:1/4=90\nK:C": "90 false", "M:4/4\nK:C\nQ:1/2=70": "140 false",
	} {
		tune := mustRead(t, "X:1\nL:1/4\n"+head+"\n\"C\"c4|\n", Options{})
		if got := strings.TrimSpace(fmt.Sprintf("%g %v %s", tune.Tempi[0].BPM, tune.TempoAssumed, tune.Tempi[0].Text)); got != want {
			t.Errorf("%q: %s, want %s", head, got, want)
		}
	}
}

// ABC 2.1, 3.1.14 and 4.6: signature and name.
func TestKeyABC(t *testing.T) {
	for _, c := range []struct {
		field, key string
		fifths     int
		sig        string // F C G D A E B
	}{
		{"C", "C", 0, "0000000"}, {"Eb", "Eb", -3, "0000---"}, {"F#m", "F#m", 3, "+++0000"}, {"F#MIX", "F#", 5, "+++++00"},
		{"Dm", "Dm", -1, "000000-"}, {"D dorian", "Dm", 0, "0000000"}, {"G Mixolydian", "G", 0, "0000000"}, {"A minor", "Am", 0, "0000000"},
		{"Ephr", "Em", 0, "0000000"}, {"F lyd", "F", 0, "0000000"}, {"Bloc", "Bm", 0, "0000000"}, {"B♭", "Bb", -2, "00000--"},
		{"none", "C", 0, "0000000"}, {"", "C", 0, "0000000"}, {"HP", "D", 2, "++00000"}, {"Hp", "D", 2, "++00000"},
		{"D =c ^g", "D", 2, "+0+0000"}, {"D exp _b ^f", "D", 0, "+00000-"}, {"Am ^f^g", "Am", 2, "+0+0000"},
		{"G clef=treble-8", "G", 1, "+000000"}, {"G bass", "G", 1, "+000000"}, {"clef=alto", "C", 0, "0000000"}, {"Cmaj octave=1", "C", 0, "0000000"},
	} {
		k, ok := readKey(c.field, abcKey{})
		var sig strings.Builder
		for _, l := range []theory.Letter{theory.F, theory.C, theory.G, theory.D, theory.A, theory.E, theory.B} {
			sig.WriteByte("-0+"[k.sig[l]+1])
		}
		if !ok || k.key.String() != c.key || k.key.Fifths != c.fifths || sig.String() != c.sig {
			t.Errorf("K:%s: %v %s %d %s", c.field, ok, k.key, k.key.Fifths, sig.String())
		}
	}
	for _, bad := range []string{"Q", "Cfoo", "G#", "sharp"} {
		if k, ok := readKey(bad, abcKey{}); ok {
			t.Errorf("K:%s is read as %s", bad, k.key)
		}
	}
}

// A file of several tunes, what stands around them, and the header.
func TestTunesOfAFile(t *testing.T) {
	const file = `%abc-2.1
L:1/4
Some text.

X:3
T:First, The
T:Another name
C:Anon
M:3/4
H:A history
of two lines | with a bar
K:G
"G"g3|

X: 8
T:Second
M:4/4
K:C
"C"c4|

"F"f4|
`
	for _, c := range []struct {
		number      int
		title, want string
		warnings    string
	}{
		{0, "First, The", "1: G5:3 | G\n", "5:1 the file holds 2 tunes and the first is read; another is chosen by its number or title\n"},
		{3, "First, The", "1: G5:3 | G\n", ""},
		{8, "Second", "1: C5:4 | C\n", "21:1 what follows the empty line is not read: an empty line ends a tune\n"},
	} {
		tune := mustRead(t, file, Options{Number: c.number})
		if got := dump(tune); tune.Title != c.title || got != c.want {
			t.Errorf("%d: %s %s", c.number, tune.Title, got)
		}
		if got := warned(tune); got != c.warnings {
			t.Errorf("%d: %s", c.number, got)
		}
	}
	if tune := mustRead(t, file, Options{}); tune.Composer != "Anon" || tune.Key.String() != "G" {
		t.Error(tune.Composer, tune.Key)
	}
	// Without X: and without K:.
	if got := dump(mustRead(t, "T:x\nL:1/4\n\"C\"c4|\n", Options{})); got != "1: C5:4 | C\n" {
		t.Error(got)
	}
}

// Metre, key and beat are those of each bar.
func TestBars(t *testing.T) {
	tune := mustRead(t, "X:1\nL:1/8\nM:6/8\nK:G\n\"G\"g6|\nK:Dm\nM:2/2\n\"Dm\"d8|\n", Options{})
	var got []string
	for _, b := range tune.Bars {
		got = append(got, fmt.Sprintf("%s %s %s %s", b.Label, b.Metre, b.Beat, b.Key))
	}
	if s := strings.Join(got, ", "); s != "1 6/8 3/2 G, 2 2/2 2 Dm" {
		t.Error(s)
	}
}

// The sheets of the models and situations and of both corpora are read, all
// but the tunes without chord symbols.
func TestCorpus(t *testing.T) {
	eachSheet(t, append(collections, "models/*.abc", "judge/situations/*.abc"), func(name, text string) {
		tune, err := Read(strings.NewReader(text), name, Options{})
		switch {
		case err != nil && strings.Contains(err.Error(), "there are no chord symbols"):
			t.Logf("%v", err)
		case err != nil:
			t.Error(err)
		default:
			checkTune(t, tune)
		}
	})
}
