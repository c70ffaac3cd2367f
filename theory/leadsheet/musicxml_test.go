package leadsheet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strings"
	"testing"

	"thumbline/theory"
)

// The tests write scores in short: 12 divisions a quarter, one part unless said
// otherwise, the elements below as strings.

const fourFour = `<attributes><divisions>12</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>`

// score is a partwise score of one part with numbered measures.
func score(measures ...string) string {
	return partwise("<part-list><score-part id='P1'><part-name>Tune</part-name></score-part></part-list>", "<part id='P1'>"+numbered(measures)+"</part>")
}

func partwise(parts ...string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0"><work><work-title>Test</work-title></work>
` + strings.Join(parts, "\n") + "\n</score-partwise>\n"
}

// numbered wraps measures; one that starts with a tag of its own stays.
func numbered(measures []string) string {
	var b strings.Builder
	for i, m := range measures {
		if strings.HasPrefix(m, "<measure") {
			fmt.Fprintf(&b, "\n%s</measure>", m)
			continue
		}
		fmt.Fprintf(&b, "\n<measure number='%d'>%s</measure>", i+1, m)
	}
	return b.String()
}

// n is a note such as "C#5", or a rest "z", of so many divisions, with what
// else stands in it.
func n(pitch string, divisions int, more ...string) string {
	s := "<note>"
	rest := strings.Join(more, "")
	for _, first := range []string{"<grace/>", "<cue/>", "<chord/>"} {
		if strings.Contains(rest, first) {
			s += first
			rest = strings.Replace(rest, first, "", 1)
		}
	}
	if pitch == "z" {
		s += "<rest/>"
	} else {
		alter := strings.Count(pitch, "#") - strings.Count(pitch, "b")
		s += fmt.Sprintf("<pitch><step>%s</step><alter>%d</alter><octave>%s</octave></pitch>", pitch[:1], alter, pitch[len(pitch)-1:])
	}
	if divisions > 0 {
		s += fmt.Sprintf("<duration>%d</duration>", divisions)
	}
	return s + rest + "</note>"
}

// h is a harmony: root, kind and what else stands in it.
func h(root, kind string, more ...string) string {
	alter := strings.Count(root, "#") - strings.Count(root[1:], "b")
	return fmt.Sprintf("<harmony><root><root-step>%s</root-step><root-alter>%d</root-alter></root><kind>%s</kind>%s</harmony>", root[:1], alter, kind, strings.Join(more, ""))
}

func voice(name string) string { return "<voice>" + name + "</voice>" }

func deg(value, alter int, kind string) string {
	return fmt.Sprintf("<degree><degree-value>%d</degree-value><degree-alter>%d</degree-alter><degree-type>%s</degree-type></degree>", value, alter, kind)
}

const (
	forward   = `<barline location="left"><repeat direction="forward"/></barline>`
	backward  = `<barline location="right"><repeat direction="backward"/></barline>`
	tieStart  = `<tie type="start"/>`
	tieStop   = `<tie type="stop"/>`
	whole     = "<direction><sound %s/></direction>"
	backup    = "<backup><duration>%d</duration></backup>"
	lightDbl  = `<barline location="right"><bar-style>light-light</bar-style></barline>`
	stopEnd   = `<barline location="right"><ending number="%s" type="stop"/></barline>`
	startEnd  = `<barline location="left"><ending number="%s" type="start"/></barline>`
	backEnd   = `<barline location="right"><ending number="%s" type="stop"/><repeat direction="backward"/></barline>`
	rehearsal = "<direction><direction-type><rehearsal>%s</rehearsal></direction-type></direction>"
	words     = "<direction><direction-type><words>%s</words></direction-type></direction>"
)

func sound(attributes string) string { return fmt.Sprintf(whole, attributes) }

var xmlCases = []sheetCase{
	{
		"notes, rests, ties over the bar line",
		score(fourFour+h("C", "major")+n("C5", 12)+n("Eb5", 12)+n("z", 12)+n("F#4", 12, tieStart), h("G", "dominant")+n("F#4", 24, tieStop)+n("z", 24)),
		"1: C5:1 Eb5:1 z:1 F#4:3 | C\n2: z:2 | G7\n", "",
	},
	{
		"a tie start without its stop is two notes",
		score(fourFour + h("C", "major") + n("C5", 24, tieStart) + n("C5", 24)),
		"1: C5:2 C5:2 | C\n", "",
	},
	{
		"tuplets by their durations",
		score(fourFour + h("C", "major") + n("C5", 8) + n("D5", 8) + n("E5", 8) + n("F5", 24)),
		"1: C5:2/3 D5:2/3 E5:2/3 F5:2 | C\n", "",
	},
	{
		"a note without duration has that of its type",
		score(fourFour + h("C", "major") + n("C5", 0, "<type>half</type><dot/>") + n("D5", 12)),
		"1: C5:3 D5:1 | C\n", "",
	},
	{
		"chords: the top note",
		score(fourFour + h("C", "major") + n("E4", 24) + n("C5", 24, "<chord/>") + n("G4", 24, "<chord/>") + n("B4", 24)),
		"1: C5:2 B4:2 | C\n", "measure 1: of notes at once the top one is read (2 times)\n",
	},
	{
		"voices: the one that sounds longest",
		score(fourFour + h("C", "major") + n("C4", 24, voice("2")) + fmt.Sprintf(backup, 24) + n("E5", 48, voice("1"))),
		"1: E5:4 | C\n", "only voice 1 of its part is read; left out: 2 (--melody PART/VOICE chooses another)\n",
	},
	{
		"a bar in which another voice has the tune",
		score(fourFour+h("C", "major")+n("E5", 48, voice("1")), n("F5", 48, voice("2"))),
		"1: E5:4 | C\n2: F5:4\n", "",
	},
	{
		"voices on two staves: the upper",
		score(fourFour + h("C", "major") + n("E5", 12, voice("1"), "<staff>1</staff>") + n("z", 36, voice("1"), "<staff>1</staff>") + fmt.Sprintf(backup, 48) + n("C3", 48, voice("5"), "<staff>2</staff>")),
		"1: E5:1 z:3 | C\n", "only voice 1 of its part is read; left out: 5 (--melody PART/VOICE chooses another)\n",
	},
	{
		"backup and forward",
		score(fourFour + h("C", "major") + n("C5", 12) + "<forward><duration>24</duration></forward>" + n("D5", 12)),
		"1: C5:1 z:2 D5:1 | C\n", "",
	},
	{
		"grace notes go before the next, cue notes out",
		score(fourFour + h("C", "major") + n("B4", 0, "<grace/>") + n("C5", 24) + n("D5", 12, "<cue/>") + n("E5", 12)),
		"1: {B4}C5:2 z:1 E5:1 | C\n", "measure 1, note: cue notes are left out\n",
	},
	{
		"slashes for rhythm and unpitched notes are rests",
		score(fourFour + h("C", "major") + n("B4", 12, "<notehead>slash</notehead>") + "<note><unpitched/><duration>12</duration></note>" + n("C5", 24)),
		"1: z:2 C5:2 | C\n",
		"measure 1, note: slashes for rhythm are read as rests\nmeasure 1, note: notes without pitch are read as rests\n",
	},
	{
		"several symbols at one place share the time to the next note",
		score(fourFour + h("C", "major") + h("A", "minor") + n("C5", 24) + h("D", "minor") + h("G", "dominant") + n("D5", 24)),
		"1: C5:2 D5:2 | C Am@1 Dm@2 G7@3\n", "",
	},
	{
		"symbols with an offset",
		score(fourFour + h("C", "major") + h("G", "dominant", "<offset>24</offset>") + n("C5", 48)),
		"1: C5:4 | C G7@2\n", "",
	},
	{
		"a symbol past the bar's end",
		score(fourFour+h("C", "major")+n("C5", 48)+h("F", "major", "<offset>5</offset>"), h("G", "major")+n("D5", 48)),
		"1: C5:4 | C\n2: D5:4 | G\n",
		"measure 2, harmony: a chord symbol that stands at the end of a bar is covered by the next bar's and is left out\n",
	},
	{
		"no chord, empty kind, kind by its text, words",
		score(fourFour+h("C", "none")+n("C5", 12)+h("C", "")+n("C5", 12)+"<harmony><root><root-step>D</root-step></root><kind text='m7b5'/></harmony>"+n("D5", 24),
			fmt.Sprintf(words, "N.C.")+n("C5", 24)+fmt.Sprintf(words, "Gm7")+n("D5", 24)),
		"1: C5:1 C5:1 D5:2 | N.C. C@1 Dm7b5@2\n2: C5:2 D5:2 | N.C. Gm7@2\n",
		"measure 2, direction/direction-type/words: the words \"N.C.\" are read as a chord symbol\nmeasure 2, direction/direction-type/words: the words \"Gm7\" are read as a chord symbol\n",
	},
	{
		"repeat played three times",
		score(fourFour+forward+h("C", "major")+n("C5", 48)+`<barline location="right"><repeat direction="backward" times="3"/></barline>`, n("D5", 48)),
		"1: C5:4 | C\n1/2: C5:4 | C\n1/3: C5:4 | C\n2: D5:4\n", "",
	},
	{
		"endings",
		score(fourFour+forward+h("C", "major")+n("C5", 48), fmt.Sprintf(startEnd, "1, 2")+n("D5", 48)+fmt.Sprintf(backEnd, "1, 2"), fmt.Sprintf(startEnd, "3")+n("E5", 48)+fmt.Sprintf(stopEnd, "3"), n("F5", 48)),
		"1: C5:4 | C\n2: D5:4\n1/2: C5:4 | C\n2/2: D5:4\n1/3: C5:4 | C\n3: E5:4\n4: F5:4\n", "",
	},
	{
		"an ending longer than its bracket",
		score(fourFour+forward+h("C", "major")+n("C5", 48), fmt.Sprintf(startEnd, "1")+n("D5", 48)+fmt.Sprintf(stopEnd, "1"), n("E5", 48)+backward, fmt.Sprintf(startEnd, "2")+n("F5", 48)+fmt.Sprintf(stopEnd, "2")),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n4: F5:4\n", "",
	},
	{
		"endings 1 and 3",
		score(fourFour+forward+h("C", "major")+n("C5", 48), fmt.Sprintf(startEnd, "1")+n("D5", 48)+fmt.Sprintf(backEnd, "1"), fmt.Sprintf(startEnd, "3")+n("F5", 48)+fmt.Sprintf(stopEnd, "3")),
		"1: C5:4 | C\n2: D5:4\n1/2: C5:4 | C\n3: F5:4\n",
		"measure 2: the numbers of the endings leave one out; they are counted on\n",
	},
	{
		"a first ending behind the repeat sign",
		score(fourFour+forward+h("C", "major")+n("C5", 48)+backward, fmt.Sprintf(startEnd, "1")+n("D5", 48)+fmt.Sprintf(stopEnd, "1")),
		"1: C5:4 | C\n1/2: C5:4 | C\n2: D5:4\n",
		"measure 2: a first ending behind the repeat sign is read as bars like others\n",
	},
	{
		"da capo al fine",
		score(fourFour+h("C", "major")+n("C5", 48), n("D5", 48)+sound(`fine="yes"`), n("E5", 48)+sound(`dacapo="yes"`)),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n2/2: D5:4\n", "",
	},
	{
		"dal segno al coda, without the repeats",
		score(fourFour+h("C", "major")+n("C5", 48), sound(`segno="1"`)+forward+n("D5", 48)+backward, n("E5", 48)+sound(`tocoda="1"`), n("F5", 48)+sound(`dalsegno="1"`), sound(`coda="1"`)+n("G5", 48)),
		"1: C5:4 | C\n2: D5:4\n2/2: D5:4\n3: E5:4\n4: F5:4\n2/3: D5:4\n3/2: E5:4\n5: G5:4\n", "",
	},
	{
		"da capo without an end; words without their sound",
		score(fourFour+h("C", "major")+n("C5", 48), n("E5", 48)+sound(`dacapo="yes"`)+fmt.Sprintf(words, "D.S. al Fine")),
		"1: C5:4 | C\n2: E5:4\n",
		"measure 2, direction/sound: the jump back is not followed: there is neither a Fine nor a way to a coda\nmeasure 2, direction: the words \"D.S. al Fine\" are not followed: the sound of this bar jumps elsewhere\n",
	},
	{
		"pick-up, implicit and odd numbers",
		score("<measure number='1' implicit='yes'>"+fourFour+n("G4", 12), "<measure number='2'>"+h("C", "major")+n("C5", 48), "<measure number='3'>"+n("D5", 36), "<measure number='X1' implicit='yes'>"+n("E5", 12), "<measure number='4'>"+n("F5", 48), "<measure number='4'>"+n("G5", 48), "<measure number='?'>"+n("A5", 48)),
		"0: G4:1\n2: C5:4 | C\n3: D5:3\n3+: E5:1\n4: F5:4\n4a: G5:4\n5: A5:4\n", "",
	},
	{
		"transposing part: melody, chords and key as they sound",
		score("<attributes><divisions>12</divisions><key><fifths>2</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>" + h("D", "major") + n("D5", 24) + n("F#5", 24)),
		"1: C5:2 E5:2 | C\n", "",
	},
	{
		"divisions and metre change; an empty bar is a bar of rest",
		score(fourFour+h("C", "major")+n("C5", 48), "<attributes><divisions>2</divisions><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"+n("D5", 6), ""),
		"1: C5:4 | C\n2: D5:3\n3: z:3\n", "",
	},
	{
		"sums and pairs in time signatures",
		score("<attributes><divisions>12</divisions><time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>"+h("C", "major")+n("C5", 30), "<attributes><time><beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type></time></attributes>"+n("C5", 42)),
		"1: C5:5/2 | C\n2: C5:7/2\n", "",
	},
	{
		"the part with melody and harmony",
		partwise("<part-list><score-part id='P1'><part-name>Bass</part-name></score-part><score-part id='P2'><part-name>Lead</part-name></score-part></part-list>",
			"<part id='P1'>"+numbered([]string{fourFour + forward + n("C3", 48) + backward})+"</part>",
			"<part id='P2'>"+numbered([]string{fourFour + h("C", "major") + n("E5", 48)})+"</part>"),
		"1: E5:4 | C\n1/2: E5:4 | C\n", "only part P2 Lead is read; left out: P1 Bass (--melody chooses another)\n",
	},
	{
		"harmony in another part than the notes",
		partwise("<part id='P1'>"+numbered([]string{fourFour + n("C5", 48)})+"</part>", "<part id='P2'>"+numbered([]string{fourFour + h("G", "major") + n("z", 48)})+"</part>"),
		"1: C5:4 | G\n", "",
	},
	{
		"timewise",
		"<score-timewise><measure number='1'><part id='P1'>" + fourFour + h("C", "major") + n("C5", 48) + "</part></measure><measure number='2'><part id='P1'>" + n("D5", 48) + "</part></measure></score-timewise>",
		"1: C5:4 | C\n2: D5:4\n", "",
	},
}

func TestMusicXML(t *testing.T) {
	checkSheets(t, xmlCases, func(sheet string) string { return sheet }, warnedTexts)
}

// Kinds with degrees: reference/sound.md 5.2 and harmony.md; the spelling is
// that of theory.Chord.
func TestHarmony(t *testing.T) {
	for _, c := range []struct{ kind, more, want string }{
		{"major", "", "C"}, {"minor", "", "Cm"}, {"augmented", "", "Caug"}, {"diminished", "", "Cdim"},
		{"dominant", "", "C7"}, {"major-seventh", "", "Cmaj7"}, {"minor-seventh", "", "Cm7"},
		{"diminished-seventh", "", "Cdim7"}, {"augmented-seventh", "", "C7#5"}, {"half-diminished", "", "Cm7b5"},
		{"major-minor", "", "Cm(maj7)"}, {"major-sixth", "", "C6"}, {"minor-sixth", "", "Cm6"},
		{"dominant-ninth", "", "C9"}, {"major-ninth", "", "Cmaj9"}, {"minor-ninth", "", "Cm9"},
		{"dominant-11th", "", "C9sus4"}, {"major-11th", "", "Cmaj9sus4"}, {"minor-11th", "", "Cm11"},
		{"dominant-13th", "", "C13"}, {"major-13th", "", "Cmaj13"}, {"minor-13th", "", "Cm13"},
		{"suspended-second", "", "Csus2"}, {"suspended-fourth", "", "Csus4"}, {"power", "", "C5"}, {"pedal", "", "C5"},
		{"Neapolitan", "", "C"}, {"French", "", "C7b5"}, {"German", "", "C7"}, {"Tristan", "", "Cm7b5"},
		{"none", "", "N.C."},
		{"dominant", deg(9, -1, "add"), "C7b9"},
		{"dominant", deg(9, 1, "add"), "C7#9"},
		{"dominant", deg(11, 1, "add"), "C7#11"},
		{"dominant", deg(13, -1, "add"), "C7b13"},
		{"dominant", deg(5, -1, "alter"), "C7b5"},
		{"dominant", deg(5, 1, "alter") + deg(9, -1, "add"), "C7#5b9"},
		{"dominant", deg(3, 0, "subtract") + deg(4, 0, "add"), "C7sus4"},
		{"minor-seventh", deg(5, -1, "alter"), "Cm7b5"},
		{"dominant-13th", deg(9, -1, "alter"), "C13b9"},
		{"dominant-ninth", deg(9, -1, "alter"), "C7b9"},
		{"major-sixth", deg(9, 0, "add"), "C69"},
		{"major", deg(9, 0, "add"), "C(add9)"},
		{"minor", deg(7, 1, "add"), "Cm(maj7)"},
		{"suspended-fourth", deg(7, 0, "add"), "C7sus4"},
		{"suspended-fourth", deg(7, 0, "add") + deg(9, 0, "add"), "C9sus4"},
		{"other", deg(3, -1, "add") + deg(5, -1, "add"), "Cdim"},
		{"dominant-seventh", "", "C7"}, // no value of the standard, but written
		{"minor", "<bass><bass-step>E</bass-step><bass-alter>-1</bass-alter></bass>", "Cm/Eb"},
		{"minor", "<inversion>1</inversion>", "Cm/Eb"},
		{"dominant", "<inversion>3</inversion>", "C7/Bb"},
	} {
		root, fault := parseTree(h("C", c.kind, c.more))
		if fault != nil {
			t.Fatal(fault)
		}
		got, _, err := readHarmony(root, theory.Key{})
		if err != nil || got.String() != c.want {
			t.Errorf("%s %s: %s (%v), want %s", c.kind, c.more, got, err, c.want)
		}
	}
	for _, c := range []struct{ xml, want string }{
		{"<harmony><numeral><numeral-root>5</numeral-root></numeral><kind>dominant</kind></harmony>", "A7"},
		{"<harmony><numeral><numeral-root>7</numeral-root><numeral-alter>-1</numeral-alter></numeral><kind>major</kind></harmony>", "C"},
		{"<harmony><numeral><numeral-root>2</numeral-root><numeral-key><numeral-fifths>-3</numeral-fifths><numeral-mode>major</numeral-mode></numeral-key></numeral><kind>minor-seventh</kind></harmony>", "Fm7"},
		{"<harmony><root><root-step>C</root-step></root><kind text='Cm7b5'></kind></harmony>", "Cm7b5"},
		{"<harmony><root><root-step>C</root-step></root><kind text='7alt'>other</kind></harmony>", "C7alt"},
	} {
		root, fault := parseTree(c.xml)
		if fault != nil {
			t.Fatal(fault)
		}
		got, _, err := readHarmony(root, keyOf(2, "major"))
		if err != nil || got.String() != c.want {
			t.Errorf("%s: %s (%v), want %s", c.xml, got, err, c.want)
		}
	}
}

func TestKeyOf(t *testing.T) {
	for _, c := range []struct {
		fifths     int
		mode, want string
	}{{0, "", "C"}, {-3, "major", "Eb"}, {-1, "minor", "Dm"}, {3, "minor", "F#m"}, {0, "dorian", "Dm"}, {1, "mixolydian", "D"}, {-7, "major", "Cb"}, {7, "minor", "A#m"}, {0, "none", "C"}} {
		k := keyOf(c.fifths, c.mode)
		if k.String() != c.want || k.Fifths != c.fifths {
			t.Errorf("%d %s: %s with %d, want %s", c.fifths, c.mode, k, k.Fifths, c.want)
		}
	}
}

// zipped makes a compressed score of files in order.
func zipped(t *testing.T, files ...[2]string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range files {
		w, err := z.Create(f[0])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(f[1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestCompressed(t *testing.T) {
	one := score(fourFour + h("C", "major") + n("C5", 48))
	other := score(fourFour + h("C", "major") + n("D5", 48))
	container := `<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>`
	for _, c := range []struct {
		name  string
		files [][2]string
	}{
		{"by its container", [][2]string{{"other.xml", other}, {"META-INF/container.xml", container}, {"score.xml", one}}},
		{"with its type first", [][2]string{{"mimetype", "application/vnd.recordare.musicxml"}, {"META-INF/container.xml", container}, {"score.xml", one}}},
		{"without a container", [][2]string{{"a.txt", "x"}, {"score.musicxml", one}}},
		{"with a broken container", [][2]string{{"META-INF/container.xml", "<container><rootfile full-path='Rosie's.xml'/>"}, {"Rosie's.xml", one}}},
		{"with a container that names nothing", [][2]string{{"META-INF/container.xml", strings.Replace(container, "score", "none", 1)}, {"score.xml", one}}},
	} {
		tune := mustRead(t, zipped(t, c.files...), Options{})
		if got, want := dump(tune), "1: C5:4 | C\n"; got != want {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}

func TestEncodings(t *testing.T) {
	sheet := strings.Replace(score(fourFour+h("C", "major")+n("C5", 48)), ">Test<", ">Füße<", 1)
	utf16 := func(s string, big bool) string {
		var b []byte
		for _, r := range "\ufeff" + s {
			lo, hi := byte(r), byte(r>>8)
			if big {
				lo, hi = hi, lo
			}
			b = append(b, lo, hi)
		}
		return string(b)
	}
	latin := func(s string) string {
		var b []byte
		for _, r := range s {
			b = append(b, byte(r))
		}
		return string(b)
	}
	abc := "X:1\nT:Füße\nL:1/4\nK:C\n\"C\"c4|\n"
	for name, in := range map[string]string{
		"UTF-8": sheet, "UTF-8 with a mark": "\ufeff" + sheet,
		"UTF-16 little": utf16(strings.Replace(sheet, "UTF-8", "UTF-16", 1), false), "UTF-16 big": utf16(sheet, true),
		"Latin-1": latin(strings.Replace(sheet, "UTF-8", "ISO-8859-1", 1)),
		"ABC":     abc, "ABC in Latin-1": latin(abc), "ABC in UTF-16": utf16(abc, false), "ABC with a mark": "\ufeff" + abc,
		"ABC with escapes": strings.Replace(abc, "Füße", `F\"u\sse`, 1), "ABC with CR": strings.ReplaceAll(abc, "\n", "\r"),
	} {
		if tune := mustRead(t, in, Options{}); tune.Title != "Füße" {
			t.Errorf("%s: title %q", name, tune.Title)
		}
	}
}

func TestTempoMusicXML(t *testing.T) {
	metronome := func(unit, minute string) string {
		return "<direction><direction-type><metronome><beat-unit>" + unit + "</beat-unit><per-minute>" + minute + "</per-minute></metronome></direction-type></direction>"
	}
	for _, c := range []struct {
		name, mark string
		want       float64
		assumed    bool
	}{
		{"none", "", 120, true},
		{"sound", sound(`tempo="96"`), 96, false},
		{"half", metronome("half", "80"), 160, false},
		{"dotted quarter", metronome("quarter</beat-unit><beat-unit-dot/><beat-unit-x>", "c. 100</per-minute><per-minute>100"), 150, false},
		{"unfit", sound(`tempo="0"`), 120, true},
		{"out of range", sound(`tempo="99999"`), 120, true},
	} {
		if c.name == "dotted quarter" {
			c.mark = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>c. 100</per-minute></metronome></direction-type></direction>"
		}
		tune := mustRead(t, score(fourFour+c.mark+h("C", "major")+n("C5", 48)), Options{})
		if tune.Tempi[0].BPM != c.want || tune.TempoAssumed != c.assumed {
			t.Errorf("%s: %v assumed %v, want %g", c.name, tune.Tempi, tune.TempoAssumed, c.want)
		}
	}
	// A tempo inside, and back to the first when the repeat goes back.
	tune := mustRead(t, score(fourFour+forward+sound(`tempo="96"`)+h("C", "major")+n("C5", 48), sound(`tempo="120"`)+n("D5", 48)+backward), Options{})
	if got := fmt.Sprint(tune.Tempi); got != fmt.Sprint([]theory.TempoMark{{BPM: 96}, {At: theory.Quarters(4, 1), BPM: 120}, {At: theory.Quarters(8, 1), BPM: 96}, {At: theory.Quarters(12, 1), BPM: 120}}) {
		t.Error(got)
	}
}

func TestSections(t *testing.T) {
	mark := func(s string) string { return fmt.Sprintf(rehearsal, s) }
	for _, c := range []struct{ name, sheet, want string }{
		{"rehearsal marks", score(fourFour+mark("A")+h("C", "major")+n("C5", 48), mark("Bridge")+n("D5", 48), n("E5", 48)), "A[0,1) Bridge[1,3)"},
		{"double bars", score(fourFour+h("C", "major")+n("C5", 48)+lightDbl, n("D5", 48), n("E5", 48)), "A[0,1) B[1,3)"},
		{"repeats", score(fourFour+forward+h("C", "major")+n("C5", 48)+backward, n("D5", 48)), "A[0,1) A[1,2) B[2,3)"},
		{"none", score(fourFour + h("C", "major") + n("C5", 48)), "[0,1)"},
		{"parts in ABC", abcSheet("P:A\n\"C\"c4|d4|\nP:B\ne4|"), "A[0,2) B[2,3)"},
		{"a pick-up before its repeat", abcSheet("G|:\"C\"c4|d3:|e|:f4|g3:|"), "A[0,3) A[3,5) B[5,8) B[8,10)"},
		{"a label before a pick-up", abcSheet("P:A\nG|:\"C\"c4|d4:|\nP:B\n|:f4|g4:|"), "A[0,3) A[3,5) B[5,7) B[7,9)"},
	} {
		tune := mustRead(t, c.sheet, Options{})
		var got []string
		for _, s := range tune.Sections {
			got = append(got, fmt.Sprintf("%s[%d,%d)", s.Name, s.From, s.To))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: %s, want %s", c.name, s, c.want)
		}
	}
}

func TestChooseMelody(t *testing.T) {
	two := partwise("<part-list><score-part id='P1'><part-name>Flute</part-name></score-part><score-part id='P2'><part-name>Oboe</part-name></score-part></part-list>",
		"<part id='P1'>"+numbered([]string{fourFour + h("C", "major") + n("C5", 48, voice("1")) + fmt.Sprintf(backup, 48) + n("A4", 24, voice("2"))})+"</part>",
		"<part id='P2'>"+numbered([]string{fourFour + n("E5", 48)})+"</part>")
	abc := "X:1\nL:1/4\nV:T name=\"Tune\"\nV:D\nK:C\n[V:T]\"C\"c4|\n[V:D]e4|\n"
	for _, c := range []struct{ sheet, melody, want string }{
		{two, "", "1: C5:4 | C\n"}, {two, "P2", "1: E5:4 | C\n"}, {two, "oboe", "1: E5:4 | C\n"}, {two, "2", "1: E5:4 | C\n"},
		{two, "P1/2", "1: A4:2 z:2 | C\n"}, {two, "1/1", "1: C5:4 | C\n"},
		{abc, "", "1: C5:4 | C\n"}, {abc, "D", "1: E5:4 | C\n"}, {abc, "tune", "1: C5:4 | C\n"}, {abc, "2", "1: E5:4 | C\n"},
	} {
		tune := mustRead(t, c.sheet, Options{Melody: c.melody})
		if got := dump(tune); got != c.want {
			t.Errorf("%q: %s, want %s", c.melody, got, c.want)
		}
	}
}
