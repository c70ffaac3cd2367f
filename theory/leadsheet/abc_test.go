package leadsheet

import (
	"strings"
	"testing"
)

// Sections in brackets are those of the ABC standard 2.1. Where no section is
// named the reading is common practice, no source, or said in the package's
// documentation.
var abcCases = []sheetCase{
	{
		"octaves [4.1]",
		`"C"C, C c c'|"C"C,' z3|`,
		`1: C3:1 C4:1 C5:1 C6:1 | C
2: C4:1 z:3 | C
`,
		``,
	},
	{
		"accidentals to the bar's end in all octaves",
		`"C"^F f F, =F|f ^^c __B c|`,
		`1: F#4:1 F#5:1 F#3:1 F4:1 | C
2: F5:1 C##5:1 Bbb4:1 C##5:1
`,
		``,
	},
	{
		"accidentals per octave [11.3]",
		`X:1
I:propagate-accidentals octave
L:1/4
K:C
"C"^F f F, =F|`,
		`1: F#4:1 F5:1 F3:1 F4:1 | C
`,
		``,
	},
	{
		"key signature and inline field [3.1.14, 3.2]",
		`X:1
L:1/4
M:4/4
K:Eb
"Eb"E A B c|[K:D]"D"f c =f f|`,
		`1: Eb4:1 Ab4:1 Bb4:1 C5:1 | Eb
2: F#5:1 C#5:1 F5:1 F5:1 | D
`,
		``,
	},
	{
		"key with explicit signs [3.1.14]",
		`X:1
L:1/4
M:4/4
K:D =c ^g
"D"f c g a|`,
		`1: F#5:1 C5:1 G#5:1 A5:1 | D
`,
		``,
	},
	{
		"key by signs alone",
		`X:1
L:1/4
M:4/4
K:D exp _b ^f
"D"f c b a|`,
		`1: F#5:1 C5:1 Bb5:1 A5:1 | D
`,
		``,
	},
	{
		"default unit of 2/4 [3.1.7]",
		`X:1
M:2/4
K:C
"C"c8|`,
		`1: C5:2 | C
`,
		``,
	},
	{
		"default unit of 3/4",
		`X:1
M:3/4
K:C
"C"c6|`,
		`1: C5:3 | C
`,
		``,
	},
	{
		"lengths [4.3]",
		`"C"c2 c/ c/2 c//3/|c3/2 c1/2 c/4 c3/4 z|`,
		`0: C5:2 C5:1/2 C5:1/2 C5:1/12 | C
1: C5:3/2 C5:1/2 C5:1/4 C5:3/4 z:1
`,
		``,
	},
	{
		"broken rhythm [4.4]",
		`"C"A>B A<B|A>>B A<<B|z>A A> "G"B|`,
		`1: A4:3/2 B4:1/2 A4:1/2 B4:3/2 | C
2: A4:7/4 B4:1/4 A4:1/4 B4:7/4
3: z:3/2 A4:1/2 A4:3/2 B4:1/2 | G@7/2
`,
		``,
	},
	{
		"broken over the bar line",
		`"C"A2A2>|"G"B2B2|`,
		`1: A4:2 A4:3 | C
2: B4:1 B4:2 | G
`,
		`5:4 bar 1 is too long: it holds 5 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"tuplets [4.13]",
		`"C"(3abc a2 a|(2ab a2 (3:2:2a2b1|(5abcde a2|`,
		`1: A5:2/3 B5:2/3 C5:2/3 A5:2 A5:1 | C
2: A5:3/2 B5:3/2 A5:2 A5:4/3 B5:2/3
3: A5:2/5 B5:2/5 C5:2/5 D5:2/5 E5:2/5 A5:2
`,
		`5:6 bar 1 is too long: it holds 5 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
5:17 bar 2 is too long: it holds 7 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"tuplets in compound metre",
		`X:1
M:6/8
L:1/8
K:C
"C"(2ab (4abcd|(5abcde abc|`,
		`1: A5:3/4 B5:3/4 A5:3/8 B5:3/8 C5:3/8 D5:3/8 | C
2: A5:3/10 B5:3/10 C5:3/10 D5:3/10 E5:3/10 A5:1/2 B5:1/2 C5:1/2
`,
		``,
	},
	{
		"ties and slurs [4.11]",
		`"C"(c-c) c2-|c d- "G"d d -|d4|`,
		`1: C5:2 C5:3 | C
2: D5:2 D5:5 | G@2
3:
`,
		``,
	},
	{
		"a tie carries the accidental",
		`"C"^c4-|c2 c2|`,
		`1: C#5:6 | C
2: C5:2
`,
		``,
	},
	{
		"tie to another note",
		`"C"c2-d2|`,
		`1: C5:2 D5:2 | C
`,
		`5:6 a tie to another note is read as a slur
`,
	},
	{
		"chords: the top note, inner times outer length [4.17]",
		`"C"[CEG]2 [C2E2]|["G"G2B2]2|[Ac]-[ec]2 [G-B]B|`,
		`1: G4:2 E4:2 | C
2: B4:4 | G
3: C5:1 E5:2 B4:1 B4:1
`,
		`5:4 of notes at once the top one is read (6 times)
5:29 a tie to another note is read as a slur
5:29 bar 3 is too long: it holds 5 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"rests [4.5]",
		`"C"z x/ z/ c2|Z2|"G"c4|X|c4|`,
		`1: z:2 C5:2 | C
2: z:4
3: z:4
4: C5:4 | G
5: z:4
6: C5:4
`,
		``,
	},
	{
		"graces and marks [4.12, 4.14]",
		`"C"{de}c2 !trill!d ~e|{/g}f .g (uv_a) "^text"b|`,
		`1: {D5}{E5}C5:2 D5:1 E5:1 | C
2: {G5}F5:1 G5:1 Ab5:1 B5:1
`,
		`5:11 ornaments and marks of expression are not read (5 times)
5:39 annotations over the staff are not read
`,
	},
	{
		"repeat [4.8]",
		`|:"C"c4|"G"d4:|"F"e4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
2/2: D5:4 | G
3: E5:4 | F
`,
		``,
	},
	{
		"repeat without its start",
		`"C"c4|d4:|e4|f4:|g4||a4|b4:|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
2/2: D5:4
3: E5:4
4: F5:4
3/2: E5:4
4/2: F5:4
5: G5:4
6: A5:4
7: B5:4
6/2: A5:4
7/2: B5:4
`,
		``,
	},
	{
		"repeat of three",
		`|::"C"c4::|d4|`,
		`1: C5:4 | C
1/2: C5:4 | C
1/3: C5:4 | C
2: D5:4
`,
		``,
	},
	{
		"double repeat sign",
		`|:"C"c4::d4:|`,
		`1: C5:4 | C
1/2: C5:4 | C
2: D5:4
2/2: D5:4
`,
		``,
	},
	{
		"endings",
		`|:"C"c4|1"G"d4:|2"F"e4|]f4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
4: F5:4
`,
		``,
	},
	{
		"endings of several passes [4.10]",
		`|:"C"c4|1,3"G"d4:|2,4"F"e4:|f4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
1/3: C5:4 | C
2/2: D5:4 | G
1/4: C5:4 | C
3/2: E5:4 | F
4: F5:4
`,
		``,
	},
	{
		"ending ranges",
		`|:"C"c4|[1-3 "G"d4:|[4 "F"e4|]`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
2/2: D5:4 | G
1/3: C5:4 | C
2/3: D5:4 | G
1/4: C5:4 | C
3: E5:4 | F
`,
		``,
	},
	{
		"one ending",
		`|:"C"c4|1"G"d4:|"F"e4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
`,
		``,
	},
	{
		"ending 2 closed by a repeat sign",
		`|:"C"c4|1"G"d4:|2"F"e4:|f4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
4: F5:4
`,
		``,
	},
	{
		"ending longer than its bracket",
		`|:"C"c4|1"G"d4||e4:|2"F"f4|]`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4
1/2: C5:4 | C
4: F5:4 | F
`,
		``,
	},
	{
		"first ending without repeat sign",
		`|:"C"c4|1"G"d4|2"F"e4|]f4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
4: F5:4
`,
		`5:20 there is no repeat sign before this ending; the ending before it is taken to have one
`,
	},
	{
		"last ending without end",
		`|:"C"c4|1"G"d4:|2"F"e4|g4|a4:|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
3: E5:4 | F
4: G5:4
5: A5:4
4/2: G5:4
5/2: A5:4
`,
		`5:24 the end of the last ending is not marked; it is taken to be as long as the one before, and the repeat to start here
`,
	},
	{
		"repeat inside a repeat",
		`|:"C"c4|d4|:"G"e4|f4:|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
2/2: D5:4
3: E5:4 | G
4: F5:4
3/2: E5:4 | G
4/2: F5:4
`,
		`5:16 a repeat starts inside another; the one before is taken to end here
`,
	},
	{
		"pick-up and repeats inside a bar",
		`G|"C"c4|d3:|e|"F"f4|g3|]`,
		`0: G4:1
1: C5:4 | C
2: D5:3
0/2: G4:1
1/2: C5:4 | C
2/2: D5:3
2+: E5:1
3: F5:4 | F
4: G5:3
`,
		``,
	},
	{
		"tie into both endings",
		`|:"C"c4-|1"G"c4:|2"F"c4|]`,
		`1: C5:8 | C
2: | G
1/2: C5:8 | C
3: | F
`,
		``,
	},
	{
		"parts [3.1.9]",
		`X:1
P:(AB)2.A
L:1/4
M:4/4
K:C
P:A
"C"c4|
P:B
"G"d4|`,
		`1: C5:4 | C
2: D5:4 | G
1/2: C5:4 | C
2/2: D5:4 | G
1/3: C5:4 | C
`,
		``,
	},
	{
		"parts with repeats",
		`X:1
P:AAB
L:1/4
M:4/4
K:C
P:A
"C"c4:|
P:B
"G"d4|`,
		`1: C5:4 | C
1/2: C5:4 | C
1/3: C5:4 | C
1/4: C5:4 | C
2: D5:4 | G
`,
		``,
	},
	{
		"parts played from a sign",
		`X:1
P:ABA
L:1/4
M:4/4
K:C
P:A
G|!segno!"C"c4|c3||
P:B
d|"G"d3\
P:D.S.
e||`,
		`0: G4:1
1: C5:4 | C
2: C5:3
2+: D5:1
3: D5:3 E5:1 | G
1/2: C5:4 | C
2/2: C5:3
`,
		`10:3 the jump is not followed but the order of parts that P: sets
`,
	},
	{
		"da capo al fine",
		`"C"c4|"G"d4!fine!||"F"e4!D.C.!|`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4 | F
1/2: C5:4 | C
2/2: D5:4 | G
`,
		``,
	},
	{
		"dal segno al coda",
		`"C"c4|!segno!"G"d4|e4!dacoda!|f4!D.S.!||!coda!g4|`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4
4: F5:4
2/2: D5:4 | G
3/2: E5:4
5: G5:4
`,
		``,
	},
	{
		"old jump without end",
		`"C"c4|"G"d3
P:D.C.
e||`,
		`1: C5:4 | C
2: D5:3 E5:1 | G
`,
		`6:3 the jump back is not followed: there is neither a Fine nor a way to a coda
`,
	},
	{
		"overlay [7.4]",
		`"C"c4&"G"x2 "F"e2|g4|`,
		`1: C5:4 | C F@2
2: G5:4
`,
		`5:7 the chord symbol "G" is left out: there is one in its place already
5:16 a second voice in a bar (&) is left out
`,
	},
	{
		"voices",
		`X:1
L:1/4
V:1
V:2
K:C
[V:1]c4|d4|
[V:2]"C"e4|"G"f4|`,
		`1: E5:4 | C
2: F5:4 | G
`,
		`0:0 only voice 2 is read; left out: 1 (--melody chooses another)
`,
	},
	{
		"two symbols on one note",
		`"A""F#m"a2 "D"d2|`,
		`1: A5:2 D5:2 | A D@2
`,
		`5:4 the chord symbol "F#m" is left out: there is one on this note already
`,
	},
	{
		"two symbols in one text",
		`"Dm G7"a4|"Dm G7"a2 "C"c2|`,
		`1: A5:4 | Dm G7@2
2: A5:2 C5:2 | Dm G7@1 C@2
`,
		``,
	},
	{
		"symbols between notes and over rests",
		`z2"C"z2|"F"c4|d4|"N.C."e4|`,
		`1: z:4 | C@2
2: C5:4 | F
3: D5:4
4: E5:4 | N.C.
`,
		``,
	},
	{
		"tempo",
		`X:1
Q:"Medium swing" 1/4=132
L:1/4
M:4/4
K:C
|:"C"c4|[Q:1/2=80]d4:|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
2/2: D5:4
`,
		``,
	},
	{
		"continuation, comments, lyrics, directives",
		`"C"c4|\
% a comment
%%MIDI program 1
w:la
d4| % more
%%begintext
e4|
%%endtext
"G"e4|`,
		`1: C5:4 | C
2: D5:4
3: E5:4 | G
`,
		`8:3 the words of a song (w:, W:) are not kept
`,
	},
	{
		"metre change",
		`X:1
L:1/4
M:3/4
K:C
"C"c3|
M:4/4
d4|[M:C|]e4|[M:none]f5|`,
		`1: C5:3 | C
2: D5:4
3: E5:4
4: F5:5
`,
		``,
	},
	{
		"clef with octave",
		`X:1
L:1/4
K:C clef=treble-8
"C"c4|`,
		`1: C4:4 | C
`,
		``,
	},
	{
		"transpose",
		`X:1
L:1/4
M:4/4
K:C transpose=-2
"C"c d e c|`,
		`1: Bb4:1 C5:1 D5:1 Bb4:1 | Bb
`,
		``,
	},
	{
		"hornpipe collection usage",
		`|:"C"c2 e -e|"b"d2 "G/b"d2|"D#/dim"d2 "(F)"c2:|`,
		`1: C5:2 E5:2 | C
2: D5:2 D5:2 | G/B@2
3: D5:2 C5:2 | D#dim F@2
1/2: C5:2 E5:2 | C
2/2: D5:2 D5:2 | G/B@2
3/2: D5:2 C5:2 | D#dim F@2
`,
		`5:14 the bass note "b" is left out: it is no chord
`,
	},
}

func TestABC(t *testing.T) {
	checkSheets(t, abcCases, abcSheet, warned)
}

// abcSheet puts the usual header before music without one.
func abcSheet(music string) string {
	if strings.HasPrefix(music, "X:") {
		return music + "\n"
	}
	return "X:1\nM:4/4\nL:1/4\nK:C\n" + music + "\n"
}

// Titles and composer typed behind K: are those of the tune as long as no music
// came; a title further on is told of.
func TestLateTitle(t *testing.T) {
	tune := mustRead(t, "X:1\nK:C\nT:Late Title\nC:me\nM:2/4\nL:1/4\n\"C\"c d|\nT:Second Part\n\"F\"f g|\nT:Late Title\nC:you\n\"C\"c2|\n", Options{})
	if tune.Title != "Late Title" || tune.Composer != "me" {
		t.Errorf("title %q, composer %q", tune.Title, tune.Composer)
	}
	if got, want := warned(tune), "8:3 a title inside the tune is not read\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Bars of half the length that their metre asks for, with nothing but bar lines
// between, are no chain of divided bars: M: or L: is wrong.
func TestMostlyShort(t *testing.T) {
	tune := mustRead(t, "X:1\nM:4/4\nK:C\n\"C\"c2e2|\"F\"f2a2|\"G7\"g2b2|\"C\"c4|]\n", Options{})
	if got, want := dump(tune), "1: C5:1 E5:1 | C\n2: F5:1 A5:1 | F\n3: G5:1 B5:1 | G7\n4: C5:2 | C\n"; got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	want := `0:0 most bars hold less than their metre asks for: the metre may be wrong (in ABC, M: and L:)
4:4 bar 1 is too short: it holds 2 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
4:12 bar 2 is too short: it holds 2 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
4:21 bar 3 is too short: it holds 2 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
4:29 bar 4 is too short: it holds 2 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
`
	if got := warned(tune); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}
