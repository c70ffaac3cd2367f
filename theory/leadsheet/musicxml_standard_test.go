package leadsheet

import (
	order "cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thumbline/theory"
)

// dir is a direction: what stands in it, one direction-type each, and a sound
// when it is not "".
func dir(sound string, types ...string) string {
	s := "<direction>"
	for _, t := range types {
		s += "<direction-type>" + t + "</direction-type>"
	}
	if sound != "" {
		s += "<sound " + sound + "/>"
	}
	return s + "</direction>"
}

func say(words string) string { return "<words>" + words + "</words>" }

func attr(inner string) string { return "<attributes>" + inner + "</attributes>" }

func style(inner string) string { return attr("<measure-style>" + inner + "</measure-style>") }

const (
	signSegno = "<segno/>"
	signCoda  = "<coda/>"
)

// barsWith is a score of bars of one whole note each, C5 D5 E5 and so on, the first
// over C; before and after are what stands before and after the note of a bar.
func barsWith(count int, before, after map[int]string) string {
	measures := make([]string, count)
	for i := range measures {
		m := before[i+1]
		if i == 0 {
			m = fourFour + m + h("C", "major")
		}
		measures[i] = m + n(string("CDEFGAB"[i%7])+"5", 48) + after[i+1]
	}
	return score(measures...)
}

type marks map[int]string

// What the standard has beside the plain notes: W3C MusicXML 4.0, the element
// named in each case.
var xmlStandardCases = []sheetCase{
	// tie, tied
	{
		"tied alone, for the eye, is a tie where no tie is",
		score(fourFour + h("C", "major") + n("C5", 24, "<notations><tied type='start'/></notations>") + n("C5", 24, "<notations><tied type='stop'/></notations>")),
		"1: C5:4 | C\n", "",
	},
	{
		"tied does not count beside tie",
		score(fourFour + h("C", "major") + n("C5", 24) + n("C5", 24, tieStart+"<notations><tied type='stop'/></notations>")),
		"1: C5:2 C5:2 | C\n", "",
	},
	{
		"tied let ring is none",
		score(fourFour + h("C", "major") + n("C5", 24) + n("C5", 24, "<notations><tied type='let-ring'/></notations>")),
		"1: C5:2 C5:2 | C\n", "",
	},
	{
		"a tie through three bars, in chords",
		score(fourFour+h("C", "major")+n("E4", 48, tieStart)+n("C5", 48, "<chord/>"+tieStart), n("E4", 48, tieStop+tieStart)+n("C5", 48, "<chord/>"+tieStop+tieStart), n("C5", 24, tieStop)+n("D5", 24)),
		"1: C5:10 | C\n2:\n3: D5:2\n", "measure 1: of notes at once the top one is read (2 times)\n",
	},
	// rest, forward, type
	{
		"a measure rest without a duration",
		score(fourFour+h("C", "major")+n("C5", 48), "<note><rest measure='yes'/></note>", n("D5", 48)),
		"1: C5:4 | C\n2: z:4\n3: D5:4\n", "",
	},
	{
		"types and time-modification in place of durations",
		score(fourFour + h("C", "major") + n("C5", 0, "<type>quarter</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>") + n("D5", 0, "<type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>") + n("E5", 36)),
		"1: C5:2/3 D5:1/3 E5:3 | C\n", "",
	},
	{
		"nested tuplets by their durations",
		score(attr("<divisions>90</divisions><time><beats>1</beats><beat-type>4</beat-type></time>") + h("C", "major") + n("C5", 30) + n("D5", 12) + n("E5", 12) + n("F5", 12) + n("G5", 12) + n("A5", 12)),
		"1: C5:1/3 D5:2/15 E5:2/15 F5:2/15 G5:2/15 A5:2/15 | C\n", "",
	},
	{
		"a step back too far",
		score(fourFour + h("C", "major") + n("C5", 48) + fmt.Sprintf(backup, 60) + n("E4", 48, voice("2"))),
		"1: C5:4 | C\n", "only voice 1 of its part is read; left out: 2 (--melody PART/VOICE chooses another)\nmeasure 1, backup: a step back beyond the start of the bar ends at its start\n",
	},
	{
		"divisions change within a bar",
		score(fourFour + h("C", "major") + n("C5", 24) + attr("<divisions>4</divisions>") + n("D5", 8)),
		"1: C5:2 D5:2 | C\n", "",
	},
	{
		"whitespace, comments and CDATA in texts",
		score(fourFour + h("C", "major") + "<note><pitch><step>\n C<!-- sic -->\n</step><octave> <![CDATA[5]]> </octave></pitch><duration> 48 </duration></note>"),
		"1: C5:4 | C\n", "",
	},
	{
		"prefixes of namespaces",
		"<m:score-partwise xmlns:m='urn:x'><m:part id='P1'><m:measure number='1'><m:harmony><m:root><m:root-step>C</m:root-step></m:root><m:kind>major</m:kind></m:harmony><m:note><m:pitch><m:step>C</m:step><m:octave>5</m:octave></m:pitch><m:duration>4</m:duration></m:note></m:measure></m:part></m:score-partwise>",
		"1: C5:4 | C\n", "",
	},
	// grace
	{
		"grace notes: short ones and a stroked quarter stay, a long one goes; of a chord the top",
		score(fourFour+h("C", "major")+n("B4", 0, "<grace/>", "<type>eighth</type>")+n("C5", 24)+n("D5", 0, "<grace/>", "<type>quarter</type>")+n("E5", 24),
			"<note><grace slash='yes'/><pitch><step>B</step><octave>4</octave></pitch><type>quarter</type></note>"+n("C5", 24)+
				n("D5", 0, "<grace/>")+"<note><grace/><chord/><pitch><step>F</step><octave>5</octave></pitch></note>"+n("E5", 24)),
		"1: {B4}C5:2 E5:2 | C\n2: {B4}C5:2 {F5}E5:2\n",
		"measure 1, note: grace notes that are longer than an eighth or more than 8 are left out\n",
	},
	{
		"grace notes at the end of a bar go before the next note, at the end of the tune nowhere",
		score(fourFour+h("C", "major")+n("C5", 48)+n("D5", 0, "<grace/>"), n("E5", 48)+n("F5", 0, "<grace/>")),
		"1: C5:4 | C\n2: {D5}E5:4\n", "measure 2: grace notes behind the last note are left out\n",
	},
	// measure-style
	{
		"measure-repeat: the bar before, with its chords",
		score(fourFour+h("C", "major")+n("C5", 24)+h("G", "dominant")+n("D5", 24), style("<measure-repeat type='start'>1</measure-repeat>")+n("z", 48), style("<measure-repeat type='stop'/>")+n("E5", 48)),
		"1: C5:2 D5:2 | C G7@2\n2: C5:2 D5:2 | C G7@2\n3: E5:4\n", "measure 2: a sign to repeat the bar before is read as that bar again\n",
	},
	{
		"measure-repeat of two bars",
		score(fourFour+h("C", "major")+n("C5", 48), n("D5", 48), style("<measure-repeat type='start'>2</measure-repeat>"), ""),
		"1: C5:4 | C\n2: D5:4\n3: C5:4 | C\n4: D5:4\n", "measure 3: a sign to repeat the bar before is read as that bar again (2 times)\n",
	},
	{
		"slash and multiple-rest",
		score(fourFour+h("C", "major")+n("C5", 48), style("<slash type='start'/>")+n("B4", 24)+n("B4", 24), style("<slash type='stop'/>")+n("D5", 48), style("<multiple-rest>2</multiple-rest>")+n("z", 48), n("z", 48)),
		"1: C5:4 | C\n2: z:4\n3: D5:4\n4: z:4\n5: z:4\n", "measure 2, note: slashes for rhythm are read as rests (2 times)\n",
	},
	// time, key
	{
		"senza-misura: bars of any length",
		score(attr("<divisions>12</divisions><time><senza-misura/></time>")+h("C", "major")+n("C5", 84), n("D5", 12)),
		"1: C5:7 | C\n2: D5:1\n", "",
	},
	{
		"no time signature: that of most bars",
		score("<attributes><divisions>12</divisions></attributes>"+n("G4", 12), h("C", "major")+n("C5", 36), n("D5", 36), n("E5", 36)),
		"1: G4:1\n2: C5:3 | C\n3: D5:3\n4: E5:3\n", "measure 1: there is no time signature; 3/4 is taken from the lengths of the bars\n",
	},
	{
		"interchangeable metres: the first",
		score(attr("<divisions>12</divisions><time><beats>3</beats><beat-type>4</beat-type><interchangeable><beats>6</beats><beat-type>8</beat-type></interchangeable></time>") + h("C", "major") + n("C5", 36)),
		"1: C5:3 | C\n", "measure 1, attributes/time: of two metres for choice the first is read\n",
	},
	{
		"the metre at the end of a bar is the next one's",
		score(fourFour+h("C", "major")+n("C5", 48)+attr("<time><beats>3</beats><beat-type>4</beat-type></time>"), n("D5", 36)),
		"1: C5:4 | C\n2: D5:3\n", "",
	},
	{
		"key and metre of the lower staff do not count",
		score(attr("<divisions>12</divisions><key number='1'><fifths>0</fifths></key><key number='2'><fifths>3</fifths></key><time number='1'><beats>4</beats><beat-type>4</beat-type></time><time number='2'><beats>12</beats><beat-type>8</beat-type></time>") + h("C", "major") + n("C5", 48)),
		"1: C5:4 | C\n", "",
	},
	// measure
	{
		"the text of a measure is the number that is printed",
		score("<measure number='101' text='1'>"+fourFour+h("C", "major")+n("C5", 48), "<measure number='102' text='2a'>"+n("D5", 48)),
		"1: C5:4 | C\n2a: D5:4\n", "",
	},
	// transpose
	{
		"transpose by an octave and more, doubled",
		score(attr("<divisions>12</divisions><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change><double/></transpose>") + h("D", "minor-seventh") + n("D5", 48)),
		"1: C4:4 | Cm7\n", "measure 1, attributes/transpose: the doubling of the part at the octave is left out\n",
	},
	{
		"transpose without diatonic keeps the spelling near the key",
		score(attr("<divisions>12</divisions><key><fifths>0</fifths></key><transpose><chromatic>3</chromatic></transpose>") + h("C", "major") + n("E5", 48)),
		"1: G5:4 | Eb\n", "",
	},
	// harmony
	{
		"several chords of a bar share a long note",
		score(fourFour + h("C", "major") + h("A", "minor") + h("D", "minor") + h("G", "dominant") + n("C5", 48)),
		"1: C5:4 | C Am@1 Dm@2 G7@3\n", "",
	},
	{
		"a negative offset, and one of a bar's length",
		score(fourFour+h("C", "major")+n("C5", 24)+h("F", "major", "<offset>-12</offset>")+n("D5", 24)+h("G", "major", "<offset>0</offset>"), n("E5", 48)),
		"1: C5:2 D5:2 | C F@1\n2: E5:4 | G\n", "",
	},
	{
		"a harmony for choice is left out",
		score(fourFour + h("C", "major") + strings.Replace(h("A", "minor"), "<harmony>", "<harmony type='alternate'>", 1) + n("C5", 48)),
		"1: C5:4 | C\n", "measure 1, harmony: chord symbols for choice are left out\n",
	},
	{
		"N.C. in all its forms",
		score(fourFour + h("C", "major") + n("C5", 12) + "<harmony><root><root-step text=''>C</root-step></root><kind text='N.C.'>none</kind></harmony>" + n("C5", 12) + h("G", "dominant") + n("C5", 12) + "<harmony><kind text='NC'>other</kind></harmony>" + n("C5", 12)),
		"1: C5:1 C5:1 C5:1 C5:1 | C N.C.@1 G7@2 N.C.@3\n", "",
	},
	// repeat, ending
	{
		"endings in one number each, the last discontinued",
		barsWith(4, marks{1: forward, 2: fmt.Sprintf(startEnd, "1,2"), 3: fmt.Sprintf(startEnd, "3")}, marks{2: fmt.Sprintf(backEnd, "1,2"), 3: `<barline location="right"><ending number="3" type="discontinue"/></barline>`}),
		"1: C5:4 | C\n2: D5:4\n1/2: C5:4 | C\n2/2: D5:4\n1/3: C5:4 | C\n3: E5:4\n4: F5:4\n", "",
	},
	{
		"an ending that stops at the left of the next bar",
		barsWith(4, marks{1: forward, 2: fmt.Sprintf(startEnd, "1"), 3: `<barline location="left"><ending number="1" type="stop"/></barline>` + fmt.Sprintf(startEnd, "2"), 4: `<barline location="left"><ending number="2" type="stop"/></barline>`}, marks{2: backward}),
		"1: C5:4 | C\n2: D5:4\n1/2: C5:4 | C\n3: E5:4\n4: F5:4\n", "",
	},
	{
		"the number of an ending in its text alone",
		barsWith(3, marks{1: forward, 2: `<barline location="left"><ending number=" " type="start">1.-2.</ending></barline>`, 3: fmt.Sprintf(startEnd, "3")}, marks{2: backward, 3: fmt.Sprintf(stopEnd, "3")}),
		"1: C5:4 | C\n2: D5:4\n1/2: C5:4 | C\n2/2: D5:4\n1/3: C5:4 | C\n3: E5:4\n", "",
	},
	{
		"a bracket over the first bar of a longer ending, two such",
		barsWith(6, marks{1: forward, 3: fmt.Sprintf(startEnd, "1"), 5: fmt.Sprintf(startEnd, "2")}, marks{3: fmt.Sprintf(stopEnd, "1"), 4: backward, 5: fmt.Sprintf(stopEnd, "2")}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n1/2: C5:4 | C\n2/2: D5:4\n5: G5:4\n6: A5:4\n", "",
	},
	{
		"a repeat inside a bar",
		barsWith(1, nil, marks{1: `<barline location="middle"><repeat direction="backward"/></barline>`}),
		"1: C5:4 | C\n", "measure 1, barline: a repeat inside a bar is not followed\n",
	},
	// sound, words, segno, coda
	{
		"D.C. al Fine in words alone",
		barsWith(3, nil, marks{1: dir("", say("Fine")), 3: dir("", say("D.C."), say("al Fine"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n", "measure 3, direction: the words \"D.C. al Fine\" are read as a jump\n",
	},
	{
		"D.S. al Coda in words and signs alone",
		barsWith(5, marks{2: dir("", signSegno), 5: dir("", signCoda)}, marks{3: dir("", say("To Coda"), signCoda), 4: dir("", say("D.S. al Coda"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n2/2: D5:4\n3/2: E5:4\n5: G5:4\n", "measure 4, direction: the words \"D.S. al Coda\" are read as a jump\n",
	},
	{
		"two coda signs without words: to the coda, and the coda",
		barsWith(5, marks{5: dir("", signCoda)}, marks{2: dir("", signCoda), 4: dir("", say("Da Capo al Coda"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n1/2: C5:4 | C\n2/2: D5:4\n5: G5:4\n", "measure 4, direction: the words \"Da Capo al Coda\" are read as a jump\n",
	},
	{
		"signs in bar lines",
		barsWith(5, marks{2: `<barline location="left"><segno/></barline>`, 5: `<barline location="left"><coda/></barline>`}, marks{3: `<barline location="right"><coda/></barline>`, 4: dir(`dalsegno="yes"`, say("Dal Segno"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n2/2: D5:4\n3/2: E5:4\n5: G5:4\n", "",
	},
	{
		"signs at the end of a bar are the next bar's",
		barsWith(5, nil, marks{1: dir(`segno="a"`, signSegno), 3: dir(`tocoda="b"`, say("To"), signCoda), 4: dir(`dalsegno="a"`, say("D.S."), signSegno, say("al"), signCoda) + dir(`coda="b"`, signCoda)}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n2/2: D5:4\n3/2: E5:4\n5: G5:4\n", "",
	},
	{
		"two signs by their names",
		barsWith(4, marks{1: sound(`segno="one"`), 2: sound(`segno="two"`)}, marks{2: sound(`fine="yes"`), 3: sound(`dalsegno="one"`)}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n2/2: D5:4\n", "",
	},
	{
		"al Coda goes past a Fine, al Fine past a coda",
		barsWith(5, marks{5: dir(`coda="c"`)}, marks{1: dir(`fine="yes"`), 2: dir(`tocoda="c"`), 3: dir(`dacapo="yes"`, say("D.C. al Coda"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n2/2: D5:4\n5: G5:4\n", "",
	},
	{
		"a repeat that is played after the jump too",
		barsWith(3, nil, marks{1: `<barline location="right"><repeat direction="backward" after-jump="yes"/></barline>`, 2: sound(`fine="yes"`), 3: sound(`dacapo="yes"`)}),
		"1: C5:4 | C\n1/2: C5:4 | C\n2: D5:4\n3: E5:4\n1/3: C5:4 | C\n1/4: C5:4 | C\n2/2: D5:4\n", "",
	},
	{
		"D.C. al Coda without a way to the coda",
		barsWith(3, marks{3: dir("", signCoda)}, marks{2: dir("", say("D.C. al Coda"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n", "measure 2, direction: the jump back is not followed: there is neither a Fine nor a way to a coda\n",
	},
	{
		"D.S. without its sign",
		barsWith(2, nil, marks{1: dir("", say("Fine")), 2: dir("", say("D.S. al Fine"))}),
		"1: C5:4 | C\n2: D5:4\n", "measure 2, direction: D.S. is not followed: there is no segno to go back to\n",
	},
	{
		"D.S. before its sign",
		barsWith(3, marks{3: dir("", signSegno)}, marks{1: dir("", say("Fine")), 2: dir("", say("D.S. al Fine"))}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n", "measure 2, direction: D.S. is not followed: there is no segno to go back to\n",
	},
	{
		"two signs by their names, at the ends of the bars before theirs",
		barsWith(5, nil, marks{1: dir(`segno="one"`, signSegno), 2: dir(`segno="two"`, signSegno), 3: sound(`fine="yes"`), 4: sound(`dalsegno="one"`)}),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n4: F5:4\n2/2: D5:4\n3/2: E5:4\n", "",
	},
	{
		"jumps in another part",
		partwise("<part id='P1'>"+numbered([]string{fourFour + h("C", "major") + n("C5", 48), n("D5", 48), n("E5", 48)})+"</part>",
			"<part id='P2'>"+numbered([]string{fourFour + n("C3", 48) + dir("", say("Fine")), n("D3", 48), n("E3", 48) + dir("", say("D.C. al Fine"))})+"</part>"),
		"1: C5:4 | C\n2: D5:4\n3: E5:4\n1/2: C5:4 | C\n", "only part P1 is read; left out: P2 (--melody chooses another)\npart P2, measure 3, direction: the words \"D.C. al Fine\" are read as a jump\n",
	},
	// parts and voices
	{
		"staves that the writer tells apart by nothing else",
		score(fourFour + h("C", "major") + n("C5", 48, "<staff>1</staff>") + fmt.Sprintf(backup, 48) + n("C3", 24, "<staff>2</staff>") + n("G3", 24, "<staff>2</staff>")),
		"1: C5:4 | C\n", "only voice 1 of its part is read; left out: staff 2 (--melody PART/VOICE chooses another)\n",
	},
	{
		"a part of slashes with chord symbols is not the melody",
		partwise("<part id='P1'>"+numbered([]string{fourFour + h("C", "major") + n("B4", 48, "<notehead>slash</notehead>")})+"</part>",
			"<part id='P2'>"+numbered([]string{fourFour + h("C", "major-seventh") + n("E5", 48)})+"</part>"),
		"1: E5:4 | Cmaj7\n", "",
	},
	{
		"a bar without notes has the length of the other parts",
		partwise("<part id='P1'>"+numbered([]string{fourFour, h("C", "major") + n("C5", 48)})+"</part>",
			"<part id='P2'>"+numbered([]string{fourFour + n("G3", 12), n("C3", 48)})+"</part>"),
		"0: z:1\n2: C5:4 | C\n", "only part P1 is read; left out: P2 (--melody chooses another)\n",
	},
	{
		"part groups, and a part that the list does not name",
		partwise("<part-list><part-group type='start' number='1'><group-symbol>brace</group-symbol></part-group><score-part id='X'><part-name>X</part-name></score-part><part-group type='stop' number='1'/></part-list>",
			"<part id='P1'>"+numbered([]string{fourFour + h("C", "major") + n("C5", 48)})+"</part>"),
		"1: C5:4 | C\n", "",
	},
	{
		"timewise with a part that comes later",
		"<score-timewise><measure number='1'><part id='P2'>" + fourFour + n("C3", 48) + "</part></measure><measure number='2'><part id='P1'>" + fourFour + h("C", "major") + n("D5", 48) + "</part><part id='P2'>" + n("C3", 48) + "</part></measure></score-timewise>",
		"1: z:4\n2: D5:4 | C\n", "only part P1 is read; left out: P2 (--melody chooses another)\n",
	},
}

func TestMusicXMLStandard(t *testing.T) {
	checkSheets(t, xmlStandardCases, func(sheet string) string { return sheet }, warnedTexts)
}

// The order of voices decides every tie, and is one for all three of any: "10"
// counts as a number, "1x" does not.
func TestCompareVoices(t *testing.T) {
	want := []string{"01", "1", "9", "10", "1x", "a"}
	for i, a := range want {
		for k, b := range want {
			if got := compareVoices(a, b); got != order.Compare(i, k) {
				t.Errorf("%q and %q: %d", a, b, got)
			}
		}
	}
}

// A title of two lines in the score is one line in messages and fields.
func TestMusicXMLTitle(t *testing.T) {
	sheet := strings.Replace(score(fourFour+h("C", "major")+n("C5", 48)), ">Test<", ">Two\n  lines<", 1)
	if tune := mustRead(t, sheet, Options{}); tune.Title != "Two lines" {
		t.Errorf("%q", tune.Title)
	}
}

// Refused, with the path of the element: what a score can have and no reading
// would be right.
func TestMusicXMLFaults(t *testing.T) {
	look := "<stem>down</stem><beam number='1'>begin\n</beam><lyric><text>a &lt; b</text></lyric>"
	harmony := func(inner string) string {
		return score(fourFour + "<harmony>" + inner + "</harmony>" + n("C5", 48))
	}
	for _, c := range []struct{ name, in, want string }{
		{"function", harmony("<function>V</function><kind>dominant</kind>"), `test:6:153: measure 1, harmony: a harmony by function ("V") is no chord symbol (correct it in the score, or leave it out)`},
		{"V of II", harmony("<numeral><numeral-root>5</numeral-root></numeral><kind>dominant</kind><numeral><numeral-root>2</numeral-root></numeral><kind>minor</kind>"), `test:6:153: measure 1, harmony: a harmony of one chord on another is no chord symbol (correct it in the score, or leave it out)`},
		{"numeral", harmony("<numeral><numeral-root>8</numeral-root></numeral><kind>major</kind>"), `test:6:153: measure 1, harmony: the numeral of the harmony is not 1 to 7 (correct it in the score, or leave it out)`},
		{"no root", harmony("<kind>major</kind>"), `test:6:153: measure 1, harmony: a harmony without a root (correct it in the score, or leave it out)`},
		{"root", harmony("<root><root-step>H</root-step></root><kind>major</kind>"), `test:6:153: measure 1, harmony: the root of the harmony is no note (correct it in the score, or leave it out)`},
		{"bass", harmony("<root><root-step>C</root-step></root><kind>major</kind><bass><bass-step>9</bass-step></bass>"), `test:6:153: measure 1, harmony: the bass of the harmony is no note (correct it in the score, or leave it out)`},
		{"other without text", harmony("<root><root-step>C</root-step></root><kind>other</kind>"), `test:6:153: measure 1, harmony: unknown chord symbol "C" of kind "other" (correct it in the score, or leave it out)`},
		{"place behind elements that are not read", score(fourFour + h("C", "major") + n("C5", 24, look) + "<note><pitch><step>X</step><octave>5</octave></pitch><duration>24</duration></note>"), `test:7:57: measure 1, note/pitch: a pitch that is no note (export the score again)`},
		{"metre", score(attr("<time><beats>4</beats><beat-type>5</beat-type></time>") + h("C", "major") + n("C5", 48)), `test:6:33: measure 1, attributes/time: unknown time signature "4"/"5" (write a time signature such as 4/4)`},
		{"divisions", score(attr("<divisions>0</divisions>") + h("C", "major") + n("C5", 48)), `test:6:33: measure 1, attributes/divisions: "0" are no divisions (export the score again)`},
		{"transposition", score(attr("<transpose><chromatic>99</chromatic></transpose>") + h("C", "major") + n("C5", 48)), `test:6:33: measure 1, attributes/transpose: the part is transposed out of all range (export the score again)`},
		{"transposition that is no number", score(attr("<transpose><chromatic>99999999</chromatic></transpose>") + h("C", "major") + n("C5", 48)), `test:6:33: measure 1, attributes/transpose: the part is transposed out of all range (export the score again)`},
		{"alteration that is no number", score(fourFour + h("C", "major") + "<note><pitch><step>C</step><alter>1e9</alter><octave>5</octave></pitch><duration>48</duration></note>"), `test:6:259: measure 1, note/pitch: a pitch that is no note (export the score again)`},
		{"absurd duration", score(fourFour + h("C", "major") + n("C5", 99999999)), `test:6:322: measure 1, note/duration: the duration 33333333/4 of a quarter is too finely divided or too long (use fewer divisions of a quarter)`},
		{"too long a bar", score(fourFour + h("C", "major") + n("C5", 12*2000)), `test:6:253: measure 1, note: this bar is longer than 1024 quarters (give a shorter bar)`},
		{"second part", partwise("<part id='P1'>"+numbered([]string{fourFour + h("C", "major") + n("z", 48)})+"</part>", "<part id='P2'>"+numbered([]string{fourFour + n("C5", 24) + "<note><pitch/></note>"})+"</part>"), `test:7:258: part P2, measure 1, note/pitch: a pitch that is no note (export the score again)`},
		{"absurd tuplet", score(fourFour + h("C", "major") + n("C5", 0, "<type>quarter</type><time-modification><actual-notes>1000000</actual-notes><normal-notes>1</normal-notes></time-modification>")), `test:6:253: measure 1, note: the tuplet of this note, "1000000" in the time of "1", is out of range (write figures from 1 to 64)`},
		{"endless repeats", score(append([]string{fourFour + h("C", "major") + n("C5", 48)}, slices.Repeat([]string{n("D5", 48) + `<barline location="right"><repeat direction="backward" times="64"/></barline>`}, 200)...)...), `test: with its repeats the tune is longer than 10000 bars (take repeats out)`},
		{"opus", "<opus><title>All</title></opus>", `test:1:1: not a lead sheet: the document is of kind "opus" (give one of the scores that it lists)`},
		{"end tag alone", "</a>", `test:1:1: the XML is broken: </a> closes no element (export the score again)`},
		{"nothing", "<!-- -->", `test:1:9: the XML is broken: there is no element in it (export the score again)`},
		{"broken inside", "<score-partwise>\n<part id='P1'>\n<measure number='7'><note><pitch><step>C</pitch>", `test:3:41: part P1, measure 7, note/pitch/step: the XML is broken: element <step> closed by </pitch> (export the score again)`},
		{"an entity of the document type", "<!DOCTYPE x [<!ENTITY c SYSTEM 'file:///etc/hostname'>]>\n<score-partwise><part><measure number='1'><note>&c;</note></measure></part></score-partwise>", `test:2:52: measure 1, note: the entity &c; is not known and entities are not expanded (write the characters themselves in its place)`},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune, err := Read(strings.NewReader(c.in), "test", Options{})
			if err == nil {
				t.Fatalf("no error, but\n%s", dump(tune))
			}
			if err.Error() != c.want {
				t.Errorf("got  %s\nwant %s", err, c.want)
			}
		})
	}
	// Ten faults are ten lines.
	measures := []string{fourFour + h("C", "major") + n("C5", 48)}
	for range 10 {
		measures = append(measures, h("C", "nonsense", "<offset>0</offset>")+n("D5", 48))
	}
	_, err := Read(strings.NewReader(score(measures...)), "test", Options{})
	if err == nil {
		t.Fatal("no error")
	}
	lines := strings.Split(err.Error(), "\n")
	if len(lines) != 10 || !strings.HasPrefix(lines[9], "test:16:22: measure 11, harmony: ") {
		t.Errorf("%d lines:\n%s", len(lines), err)
	}
}

// The kinds of MusicXML 4.0 in odd spellings, degrees and basses beside them.
func TestHarmonyMore(t *testing.T) {
	for _, c := range []struct{ xml, want, note string }{
		{h("C", "Major-Seventh"), "Cmaj7", ""},
		{h("C", "minor seventh"), "Cm7", ""},
		{h("C", "half_diminished"), "Cm7b5", ""},
		{h("C", "tristan"), "Cm7b5", "the harmony of kind Tristan is read as Cm7b5"},
		{h("C", "dominant", deg(9, -1, "add")+deg(11, 1, "add")), "C7b9#11", ""},
		{h("C", "dominant-ninth", deg(5, 0, "subtract")), "C9(no5)", ""},
		{h("C", "dominant", deg(17, 0, "add")), "C7", `the degree 17 altered by 0 of the harmony "C" is left out`},
		{h("F#", "minor-seventh", "<bass><bass-step>B</bass-step><bass-alter>0</bass-alter></bass>"), "F#m7/B", ""},
		{h("C", "major", "<inversion>2</inversion>"), "C/G", ""},
		{h("C", "major", "<inversion>1</inversion><bass><bass-step>G</bass-step></bass>"), "C/G", ""},
		{"<harmony><root><root-step>C</root-step></root><kind text='sus'>suspended-fourth</kind></harmony>", "Csus4", ""},
		{"<harmony><root><root-step>C</root-step></root><kind text='m7'>strange</kind></harmony>", "Cm7", `the harmony of unknown kind "strange" is read by its text "m7"`},
		{"<harmony><kind text='Ebmaj7'>other</kind></harmony>", "Ebmaj7", `the harmony without a root is read by its text "Ebmaj7"`},
		{"<harmony><root><root-step>B</root-step><root-alter>-1.0</root-alter></root><kind/></harmony>", "Bb", ""},
		{"<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root></harmony>", "Bb", ""},
	} {
		root, fault := parseTree(c.xml)
		if fault != nil {
			t.Fatal(fault)
		}
		got, note, err := readHarmony(root, theory.Key{})
		if err != nil || got.String() != c.want || note != c.note {
			t.Errorf("%s: %s %q (%v), want %s %q", c.xml, got, note, err, c.want, c.note)
		}
	}
}

// metronome: dots, ties and relations; sound before the mark for the eye.
func TestMetronome(t *testing.T) {
	mark := func(inner string) string { return dir("", "<metronome>"+inner+"</metronome>") }
	unit := func(u string) string { return "<beat-unit>" + u + "</beat-unit>" }
	per := func(n string) string { return "<per-minute>" + n + "</per-minute>" }
	const dot = "<beat-unit-dot/>"
	for _, c := range []struct {
		name, marks string
		want        []float64
		warning     string
	}{
		{"dotted half", mark(unit("half") + dot + per("40")), []float64{120}, ""},
		{"two dots", mark(unit("quarter") + dot + dot + per("80")), []float64{140}, ""},
		{"tied units", mark(unit("half") + "<beat-unit-tied>" + unit("eighth") + "</beat-unit-tied>" + per("40")), []float64{100}, ""},
		{"a range", mark(unit("quarter") + per("100-120")), []float64{100}, ""},
		{"eighth = eighth, then dotted quarter = quarter", mark(unit("quarter")+per("90")) + mark(unit("eighth")+unit("eighth")), []float64{90}, ""},
		{"modulation", n("C5", 24) + mark(unit("quarter")+per("90")) + n("C5", 24) + mark(unit("quarter")+dot+unit("quarter")), []float64{90, 60}, ""},
		{"modulation from nothing", mark(unit("quarter") + dot + unit("quarter")), []float64{120}, "a relation of note values is not read: there is no tempo before it"},
		{"sound and mark", dir(`tempo="66"`, "<metronome>"+unit("quarter")+per("72")+"</metronome>"), []float64{66}, ""},
		{"no figure", mark(unit("quarter") + per("fast")), []float64{120}, "a metronome mark without note value and figure is not read"},
		{"swing relation", mark("<metronome-note><metronome-type>eighth</metronome-type></metronome-note><metronome-relation>equals</metronome-relation>"), []float64{120}, "a relation of note values is not read"},
		{"no number", sound(`tempo="NaN"`), []float64{120}, `a tempo of "NaN" quarters a minute is not read`},
		{"swing", "<sound><swing><first>2</first><second>1</second></swing></sound>", []float64{120}, "the swing of the sheet is not read"},
	} {
		tune := mustRead(t, score(fourFour+h("C", "major")+c.marks, n("D5", 48)), Options{})
		var got []float64
		for _, m := range tune.Tempi {
			got = append(got, m.BPM)
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
		said := ""
		for _, w := range tune.Warnings {
			if !strings.Contains(w.Text, "too short") {
				said += w.Text
			}
		}
		if (c.warning == "") != (said == "") || !strings.HasSuffix(said, c.warning) {
			t.Errorf("%s: told %q", c.name, said)
		}
	}
}

// Compressed files as they are met.
func TestContainers(t *testing.T) {
	one := score(fourFour + h("C", "major") + n("C5", 48))
	rootfile := func(files string) string {
		return `<?xml version="1.0"?><container xmlns="urn:x"><rootfiles>` + files + `</rootfiles></container>`
	}
	for _, c := range []struct {
		name  string
		files [][2]string
	}{
		{"the first of several root files, by its type", [][2]string{{"META-INF/container.xml", rootfile(`<rootfile full-path="s.pdf" media-type="application/pdf"/><rootfile full-path="s" media-type="application/vnd.recordare.musicxml+xml"/>`)}, {"s.pdf", "%PDF"}, {"s", one}}},
		{"a folder", [][2]string{{"META-INF/container.xml", rootfile(`<rootfile full-path="scores/my tune.xml"/>`)}, {"scores/my tune.xml", one}}},
		{"a path with escapes", [][2]string{{"META-INF/container.xml", rootfile(`<rootfile full-path="my%20tune.xml"/>`)}, {"my tune.xml", one}}},
		{"a path with a dot", [][2]string{{"META-INF/container.xml", rootfile(`<rootfile full-path="./s.xml"/>`)}, {"s.xml", one}}},
		{"backslashes", [][2]string{{`META-INF\container.xml`, rootfile(`<rootfile full-path="a\s.xml"/>`)}, {`a\s.xml`, one}}},
		{"another file before the score", [][2]string{{"docs/about.xml", "<about/>"}, {"s.xml", one}}},
		{"a container that names a file that is no score", [][2]string{{"META-INF/container.xml", rootfile(`<rootfile full-path="about.xml"/>`)}, {"about.xml", "<about/>"}, {"s.xml", one}}},
		{"a container in UTF-16", [][2]string{{"META-INF/container.xml", wide(rootfile(`<rootfile full-path="s.xml"/>`))}, {"a.xml", "<about/>"}, {"s.xml", one}}},
		{"a score in UTF-16", [][2]string{{"s.xml", wide(one)}}},
		{"a long comment before the root", [][2]string{{"s.xml", "<!--" + strings.Repeat("x", 10000) + "-->" + one[strings.Index(one, "<score"):]}}},
	} {
		tune := mustRead(t, zipped(t, c.files...), Options{})
		if got, want := dump(tune), "1: C5:4 | C\n"; got != want {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}

// wide is UTF-16, little end first, with its mark.
func wide(s string) string {
	b := []byte{0xff, 0xfe}
	for _, r := range s {
		b = append(b, byte(r), byte(r>>8))
	}
	return string(b)
}

// Declarations and document types that stop other readers.
func TestXMLForms(t *testing.T) {
	body := score(fourFour + h("C", "major") + n("C5", 48))
	body = body[strings.Index(body, "<score-partwise"):]
	for name, head := range map[string]string{
		"none":                   "",
		"version 1.1":            `<?xml version="1.1" encoding="UTF-8"?>`,
		"space before":           "\n  <?xml version='1.0' encoding='utf-8' standalone='no'?>\n",
		"two marks":              "\ufeff\ufeff<?xml version='1.0'?>",
		"an unknown encoding":    `<?xml version="1.0" encoding="x-unknown"?>`,
		"UTF-16 that is none":    `<?xml version="1.0" encoding="UTF-16"?>`,
		"document type":          `<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://127.0.0.1:1/partwise.dtd">`,
		"entities not used":      `<!DOCTYPE score-partwise [<!ENTITY a "b"><!ENTITY % c SYSTEM "file:///dev/zero"> %c; <!ELEMENT x ANY>]>`,
		"instructions, comments": "<?xml-stylesheet href='x'?><!-- <score-timewise> -->",
	} {
		if got := dump(mustRead(t, head+body, Options{})); got != "1: C5:4 | C\n" {
			t.Errorf("%s: %s", name, got)
		}
	}
	// What is neither UTF-8 nor known is told of.
	tune := mustRead(t, `<?xml version="1.0" encoding="Shift_JIS"?>`+strings.Replace(body, ">Test<", ">\x83e\x83X\x83g<", 1), Options{})
	if got := warned(tune); got != "1:1 the encoding \"shift_jis\" is not known: title and composer may have wrong letters\n" {
		t.Error(got)
	}
	if tune := mustRead(t, strings.Replace(body, ">Test<", ">Caf&eacute; &amp; <![CDATA[<Bar>]]> &#9837;<", 1), Options{}); tune.Title != "Café & <Bar> ♭" {
		t.Errorf("title %q", tune.Title)
	}
}

// Words over the staff that name a part of the tune.
func TestSectionWords(t *testing.T) {
	tune := mustRead(t, barsWith(4, marks{1: dir("", say("Verse")), 3: dir("", say("1st Chorus"))}, nil), Options{})
	if len(tune.Sections) != 2 || tune.Sections[0].Name != "Verse" || tune.Sections[1].Name != "1st Chorus" || len(tune.Warnings) != 0 {
		t.Error(tune.Sections, tune.Warnings)
	}
}

// Every harmony of the collection is understood, and as its printed text says.
func TestHarmonyCorpus(t *testing.T) {
	data := os.Getenv("THUMBLINE_DATA")
	if data == "" {
		t.Skip("THUMBLINE_DATA is not set: the harmonies of the collection are not read")
	}
	rows, err := os.ReadFile(filepath.Join(data, "corpus/harmony-elements.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	read := 0
	for i, row := range strings.Split(strings.TrimSpace(string(rows)), "\n") {
		f := strings.Split(row, "\t")
		if i == 0 || len(f) < 6 {
			continue
		}
		read++
		kind, text := f[0], f[1]
		more := ""
		for _, d := range strings.Split(f[2], ";") {
			var what string
			var value, alter int
			if _, err := fmt.Sscanf(d, "%s %d %d", &what, &value, &alter); err == nil {
				more += deg(value, alter, what)
			}
		}
		x := "<harmony><root><root-step>C</root-step></root><kind"
		if text != "-" {
			x += " text='" + text + "'"
		}
		root, fault := parseTree(x + ">" + kind + "</kind>" + more + "</harmony>")
		if fault != nil {
			t.Fatal(fault)
		}
		got, note, err := readHarmony(root, theory.Key{})
		if err != nil || note != "" {
			t.Errorf("%s: %v %s", row, err, note)
			continue
		}
		if text == "-" {
			continue
		}
		// The text may leave out the degrees, which are printed behind it.
		said, err := theory.ParseQuality(text)
		with, _ := alter(said, root.degrees())
		if err != nil || said != got.Tones && with != got.Tones {
			t.Errorf("%s: read as %s, its text says %v (%v)", row, got, said, err)
		}
	}
	if read == 0 {
		t.Fatal("no rows")
	}
}
