package leadsheet

import (
	"fmt"
	"io/fs"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// abcStandard goes through the ABC standard 2.1 section by section; those in
// brackets are named after its contents. Where none is named the reading is
// common practice, no source.
var abcStandard = []sheetCase{
	{
		"the modes, whole, by three letters and by m [3.1.14]",
		`X:1
M:none
L:1/4
K:Ddor
"C"fc|[K:E Phrygian]fc|[K:Flydian]bf|[K:G MIX]fc|[K:Aaeolian]fc|[K:Bloc]fc|[K:B♭ min]fbe|[K:F#minor]fcg|[K:CIonian]fc|[K:em]fc|`,
		`1: F5:1 C5:1 | C
2: F5:1 C5:1
3: B5:1 F5:1
4: F5:1 C5:1
5: F5:1 C5:1
6: F5:1 C5:1
7: F5:1 Bb5:1 Eb5:1
8: F#5:1 C#5:1 G#5:1
9: F5:1 C5:1
10: F#5:1 C5:1
`,
		``,
	},
	{
		"signs behind the key, with and without spaces [3.1.14]",
		`X:1
M:none
L:1/4
K:Gm =e
"Gm"be|[K:D=c^g]fcg|[K:D exp _b^f]fcb|[K:A ^^f]fc|[K:Amin_b]b|`,
		`1: Bb5:1 E5:1 | Gm
2: F#5:1 C5:1 G#5:1
3: F#5:1 C5:1 Bb5:1
4: F##5:1 C#5:1
5: Bb5:1
`,
		``,
	},
	{
		"pipes, no key, another clef keeps the key [3.1.14, 4.6]",
		`X:1
M:none
L:1/4
K:HP
"A"fcg|[K:none]fc|[K:G]f[K:clef=bass]f[K:alto]f|`,
		`1: F#5:1 C#5:1 G5:1 | A
2: F5:1 C5:1
3: F#5:1 F#5:1 F#5:1
`,
		``,
	},
	{
		"octave by clef until the next clef, octave= and transpose= stay [4.6]",
		`X:1
M:none
L:1/4
K:C treble-8
"C"c|[K:clef=treble]c|[K:C octave=1]c|[K:bass middle=d]c|[K:C transpose=-2]"C"c|`,
		`1: C4:1 | C
2: C5:1
3: C6:1
4: C6:1
5: Bb5:1 | Bb
`,
		``,
	},
	{
		"voice with its own octave, key transposed [4.6, 7.1]",
		`X:1
M:4/4
L:1/4
K:C transpose=2
V:1 octave=-1 name="Lead"
"C"c4|`,
		`1: D4:4 | D
`,
		``,
	},
	{
		"metres of sums [3.1.6]",
		`X:1
L:1/8
M:(2+3)/8
K:C
"C"c5|[M:3+2+2/8]c7|[M:2/4+3/8]c7|[M:C|]c8|[M:c]c8|[M:none]c9|`,
		`1: C5:5/2 | C
2: C5:7/2
3: C5:7/2
4: C5:4
5: C5:4
6: C5:9/2
`,
		``,
	},
	{
		"unit length when there is no metre, or one changes in the music [3.1.7]",
		`X:1
K:C
"C"c2|[M:2/4]c4|[L:1/16]c8|`,
		`1: C5:1 | C
2: C5:2
3: C5:2
`,
		``,
	},
	{
		"tempo that counts units, before L: [3.1.8, 10.1]",
		`X:1
Q:120
L:1/4
M:4/4
K:C
"C"c4|`,
		`1: C5:4 | C
`,
		``,
	},
	{
		"fields between K: and V: hold for all voices [3.2, 7]",
		`X:1
K:C
M:3/4
L:1/4
Q:1/4=99
K:G
V:T
"G"f3|
V:B
f3|`,
		`1: F#5:3 | G
`,
		`0:0 only voice T is read; left out: B (--melody chooses another)
`,
	},
	{
		"figures of the order of parts that repeat nothing [3.1.9]",
		`X:1
P:AB0(0)2A(3)
M:4/4
L:1/4
K:C
P:A
"C"c4|
P:B
d4|`,
		`1: C5:4 | C
1/2: C5:4 | C
`,
		`8:3 part B is not played: the order in the header leaves it out
`,
	},
	{
		"parts nested, with dots [3.1.9]",
		`X:1
P:((A.B)2C)2D
M:4/4
L:1/4
K:C
P:A
"C"c4|
P:B
d4|
P:C
e4|
P:D
f4|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
2/2: D5:4
3: E5:4
1/3: C5:4 | C
2/3: D5:4
1/4: C5:4 | C
2/4: D5:4
3/2: E5:4
4: F5:4
`,
		``,
	},
	{
		"header of the file, free text, another tune before [2.2.2, 2.2.3]",
		`%abc-2.1
L:1/2
M:C|

Free text | with a bar

X:1
T:One
L:1/16
K:C
"C"c4|
`,
		`1: C5:1 | C
`,
		``,
	},
	{
		"a field goes on with +: [3.3]",
		`X:1
T:One
+:and two
P:A
+:B
M:4/4
L:1/4
K:C
P:A
"C"c4|
P:B
d4|
w:la
+:li`,
		`1: C5:4 | C
2: D5:4
`,
		`13:3 the words of a song (w:, W:) are not kept
`,
	},
	{
		"remarks, comments, continued lines [2.2.5, 2.2.6]",
		`X:1
M:4/4
L:1/4
K:C
"C"c [r:a remark | with a bar] d\ % comment
% more
%%text d4
e2|f4 % end | g4
`,
		`1: C5:1 D5:1 E5:2 | C
2: F5:4
`,
		``,
	},
	{
		"accidentals hold for one note [11.3]",
		`X:1
I:propagate-accidentals not
M:4/4
L:1/4
K:C
"C"^c c =c c|`,
		`1: C#5:1 C5:1 C5:1 C5:1 | C
`,
		``,
	},
	{
		"broken rhythm over spaces, marks, graces, rests and in chords [4.4]",
		`X:1
M:4/4
L:1/4
K:C
"C"a > b !trill!a>"G"{c}b|a>>>b z>c|[ce]>[df] (3a>bc|`,
		`1: A5:3/2 B5:1/2 A5:3/2 {C5}B5:1/2 | C G@7/2
2: A5:15/8 B5:1/8 z:3/2 C5:1/2
3: E5:3/2 F5:1/2 A5:1 B5:1/3 C5:2/3
`,
		`5:10 ornaments and marks of expression are not read
5:37 of notes at once the top one is read (2 times)
`,
	},
	{
		"tuplets by the table and in general [4.13]",
		`X:1
M:C
L:1/8
K:C
"C"(7abcdefg (8abcdefga|(9abcdefgab (6abcdef z2|(3:2:4abcd (3::a2b z2|(3::2ab (5:4abcde z2 a2/3z/3|`,
		`0: A5:1/7 B5:1/7 C5:1/7 D5:1/7 E5:1/7 F5:1/7 G5:1/7 A5:3/16 B5:3/16 C5:3/16 D5:3/16 E5:3/16 F5:3/16 G5:3/16 A5:3/16 | C
1: A5:1/9 B5:1/9 C5:1/9 D5:1/9 E5:1/9 F5:1/9 G5:1/9 A5:1/9 B5:1/9 A5:1/6 B5:1/6 C5:1/6 D5:1/6 E5:1/6 F5:1/6 z:1
2: A5:1/3 B5:1/3 C5:1/3 D5:1/3 A5:2/3 B5:1/3 z:2/3
3: A5:1/3 B5:1/3 A5:2/5 B5:2/5 C5:2/5 D5:2/5 E5:2/5 z:1 A5:1/3 z:1/6
`,
		`5:27 bar 1 is too short: it holds 3 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
5:55 bar 2 is too short: it holds 3 quarters, its metre 4/4 asks for 4 (a note or a rest may be missing)
5:76 bar 3 is too long: it holds 25/6 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"tuplets in other compound metres [4.13]",
		`X:1
M:6/4
L:1/8
K:C
"C"(5abcde (7abcdefg a6|[M:3/8](5abcde a|`,
		`1: A5:3/10 B5:3/10 C5:3/10 D5:3/10 E5:3/10 A5:3/14 B5:3/14 C5:3/14 D5:3/14 E5:3/14 F5:3/14 G5:3/14 A5:3 | C
2: A5:1/5 B5:1/5 C5:1/5 D5:1/5 E5:1/5 A5:1/2
`,
		``,
	},
	{
		"a tuplet that its bar cuts off",
		`X:1
M:4/4
L:1/4
K:C
"C"(3c2d2|e4|`,
		`0: C5:4/3 D5:4/3 | C
1: E5:4
`,
		`5:6 a tuplet at the end of this bar has too few notes
`,
	},
	{
		"ties over line ends and spaces, dotted, in chords [4.11]",
		`X:1
M:4/4
L:1/4
K:C
"C"c2 c2-|
c2 -c.-c|[ce]2-[ce]2|[c-e]2[ce]2|(c(d)e) .(f|g)g2g|`,
		`1: C5:2 C5:6 | C
2:
3: E5:4
4: E5:2 E5:2
5: C5:1 D5:1 E5:1 F5:1
6: G5:1 G5:2 G5:1
`,
		`6:10 of notes at once the top one is read (4 times)
`,
	},
	{
		"the old sign of a chord, and of a decoration [10.2.2, 10.2.3]",
		`X:1
M:4/4
L:1/4
K:C
"C"+CEG+2 +c3g+ +trill+c|+f+c4|`,
		`1: G4:2 G5:3 C5:1 | C
2: C5:4
`,
		`5:4 of notes at once the top one is read (2 times)
5:4 bar 1 is too long: it holds 6 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
5:17 ornaments and marks of expression are not read (2 times)
`,
	},
	{
		"length of a chord [4.17]",
		`X:1
M:4/4
L:1/4
K:C
"C"[C2E2G2]2|[C2E4]z2|[CEG]/[CEG]3/2[EGc]>[EGc]|[!trill!C"G"uE]4|`,
		`1: G4:4 | C
2: E4:2 z:2
3: G4:1/2 G4:3/2 C5:3/2 C5:1/2
4: E4:4 | G
`,
		`5:4 of notes at once the top one is read (7 times)
5:61 ornaments and marks of expression are not read
`,
	},
	{
		"rests [4.5]",
		`X:1
M:3/4
L:1/4
K:C
"C"zyxz/y2x/|Z2|[M:2/4]X|c2|`,
		`1: z:3 | C
2: z:3
3: z:3
4: z:2
5: C5:2
`,
		``,
	},
	{
		"symbol before a bar line [4.18]",
		`X:1
M:4/4
L:1/4
K:C
"C"c4"G"|"F"d4"Am"|e4|f2"G"yf2|`,
		`1: C5:4 | C
2: D5:4 | F
3: E5:4 | Am
4: F5:2 F5:2 | G@2
`,
		`5:6 the chord symbol "G" stands at the end of its bar and is left out: the next bar has its own
`,
	},
	{
		"symbols with another for choice [4.18]",
		`X:1
M:4/4
L:1/4
K:C
"G(Em)"c2"G;Em"c2|"Dm (F)"c4|"C""(Am)"c4|`,
		`1: C5:2 C5:2 | G G@2
2: C5:4 | Dm
3: C5:4 | C
`,
		`5:1 the other chord of "G(Em)" is left out
5:10 the other chord of "G;Em" is left out
5:19 the other chord of "Dm (F)" is left out
5:33 the chord symbol "(Am)" is left out: there is one on this note already
`,
	},
	{
		"words of a jump as text and as decoration [4.14]",
		`X:1
M:4/4
L:1/4
K:C
"C"c4|"G"d4!fine!|"^D.C. al Fine"e4|`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4
1/2: C5:4 | C
2/2: D5:4 | G
`,
		``,
	},
	{
		"letters for segno and coda, to the coda [4.14]",
		`X:1
M:4/4
L:1/4
K:C
"C"c4|S"G"d4O|"F"e4|"D.S. al Coda"f4||O"C"g4|]`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4 | F
4: F5:4
2/2: D5:4 | G
5: G5:4 | C
`,
		``,
	},
	{
		"a jump behind the bar line",
		`X:1
M:4/4
L:1/4
K:C
"C"c4|"G"d4|!fine!
"F"e4|!D.C.!
`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4 | F
1/2: C5:4 | C
2/2: D5:4 | G
`,
		``,
	},
	{
		"user symbols [4.16]",
		`X:1
U:N=!fine!
U:J="^text"
U:T=!nil!
M:4/4
L:1/4
K:C
"C"Tc4|"G"Nd4|J"F"e4!D.C.!|`,
		`1: C5:4 | C
2: D5:4 | G
3: E5:4 | F
1/2: C5:4 | C
2/2: D5:4 | G
`,
		`8:15 annotations over the staff are not read
`,
	},
	{
		"symbol line [4.15]",
		`X:1
M:4/4
L:1/4
K:C
cdef|gabc|
s:"C"*"G7"|"F"!f!"Am"
c4|`,
		`1: C5:1 D5:1 E5:1 F5:1 | C G7@2
2: G5:1 A5:1 B5:1 C5:1 | F Am@2
3: C5:4
`,
		`6:15 ornaments and marks of expression are not read
`,
	},
	{
		"jumps in a symbol line stand at their notes [4.15]",
		`X:1
M:4/4
L:1/4
K:C
"C"cdef|gabc|
s:*|***"Fine"
"G"c4|
d4|
s:!D.C.!!trill!`,
		`1: C5:1 D5:1 E5:1 F5:1 | C
2: G5:1 A5:1 B5:1 C5:1
3: C5:4 | G
4: D5:4
1/2: C5:1 D5:1 E5:1 F5:1 | C
2/2: G5:1 A5:1 B5:1 C5:1
`,
		`9:9 a sign of a symbol line has no note over it and is left out
`,
	},
	{
		"annotations and escapes [4.19, 8.2]",
		`X:1
M:4/4
L:1/4
K:C
"^over""_under""<l"">r""@-4,2 at""C"c2 "^say \"hey\""c2|"B&flat;7"c4|`,
		`1: C5:2 C5:2 | C
2: C5:4 | Bb7
`,
		`5:1 annotations over the staff are not read (6 times)
`,
	},
	{
		"grace notes [4.12]",
		`X:1
M:4/4
L:1/4
K:C
"C"{/^f}g{!trill!a>b}f{"G"c}e d|`,
		`1: {F#5}G5:1 {A5}{B5}F#5:1 {C5}E5:1 D5:1 | C G@2
`,
		``,
	},
	{
		"bar lines of any shape [4.8]",
		`X:1
M:4/4
L:1/4
K:C
"C"c4.|d4[|]e4|]f4||g4[|a4|`,
		`1: C5:4 | C
2: D5:4
3: E5:4
4: F5:4
5: G5:4
6: A5:4
`,
		``,
	},
	{
		"repeat signs of any shape [4.8]",
		`X:1
M:4/4
L:1/4
K:C
||:"C"c4:||d4::e4:|:f4:|]`,
		`1: C5:4 | C
1/2: C5:4 | C
2: D5:4
2/2: D5:4
3: E5:4
3/2: E5:4
4: F5:4
4/2: F5:4
`,
		``,
	},
	{
		"repeat signs with blanks",
		`X:1
M:4/4
L:1/4
K:C
| : "C"c4 | d4 : | e4 | :| f4|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
2/2: D5:4
3: E5:4
3/2: E5:4
4: F5:4
`,
		``,
	},
	{
		"repeats of three and four [4.8]",
		`X:1
M:4/4
L:1/4
K:C
|::"C"c4::||:::d4:::|`,
		`1: C5:4 | C
1/2: C5:4 | C
1/3: C5:4 | C
2: D5:4
2/2: D5:4
2/3: D5:4
2/4: D5:4
`,
		``,
	},
	{
		"lists of endings [4.9, 4.10]",
		`X:1
M:4/4
L:1/4
K:C
|:"C"c4|[1,3 d4:|[2 e4:|[4 f4|]|:c4|1-2,3.d4:|4e4|`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
3: E5:4
1/3: C5:4 | C
2/2: D5:4
1/4: C5:4 | C
4: F5:4
5: C5:4
6: D5:4
5/2: C5:4
6/2: D5:4
5/3: C5:4
6/3: D5:4
5/4: C5:4
7: E5:4
`,
		`5:42 ornaments and marks of expression are not read
`,
	},
	{
		"ending that starts behind a space",
		`X:1
M:4/4
L:1/4
K:C
|: "C"c4 [1 d4 :| [2 e4 |]`,
		`1: C5:4 | C
2: D5:4
1/2: C5:4 | C
3: E5:4
`,
		``,
	},
	{
		"a ! breaks the line, or is told to [6.1.1, 10.2.1]",
		`X:1
M:4/4
L:1/4
K:C
"C"c2d2!c2d2!e4|!f!f2 !e2!|`,
		`1: C5:2 D5:2 C5:2 D5:2 E5:4 | C
2: F5:2 E5:2
`,
		`5:4 bar 1 is too long: it holds 12 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
5:17 ornaments and marks of expression are not read
`,
	},
	{
		"a ! that only breaks lines [6.1.1]",
		`X:1
I:linebreak !
M:4/4
L:1/4
K:C
"C"c2!f!d2!|`,
		`1: C5:2 F5:1 D5:2 | C
`,
		`6:4 bar 1 is too long: it holds 5 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"fields of older tunes [10.1]",
		`X:1
A:place
E:9
M:4/4
L:1/4
K:C
"C"c4*|
E:8
K:G
f4$|`,
		`1: C5:4 | C
2: F#5:4
`,
		``,
	},
	{
		"quotes of a word processor",
		`X:1
M:4/4
L:1/4
K:C
“Am7”c2”G7”d2|„C“c4|`,
		`1: C5:2 D5:2 | Am7 G7@2
2: C5:4 | C
`,
		``,
	},
	{
		"words of the song [5]",
		`X:1
M:4/4
L:1/4
K:C
"C"cdef|
w:la la* la_|
W:All of it
`,
		`1: C5:1 D5:1 E5:1 F5:1 | C
`,
		`6:3 the words of a song (w:, W:) are not kept (2 times)
`,
	},
	{
		"macros are not expanded [9]",
		`X:1
m:~n2=n{o}n
M:4/4
L:1/4
K:C
"C"~c4|`,
		`1: C5:4 | C
`,
		`2:3 macros (m:) are not expanded
6:4 ornaments and marks of expression are not read
`,
	},
	{
		"transposing directive, included file",
		`X:1
%%MIDI transpose 2
%%abc-include x.abh
M:4/4
L:1/4
K:C
"C"c4|`,
		`1: C5:4 | C
`,
		`2:1 a directive that transposes the notes is not obeyed (write transpose= behind K:)
3:1 a file that the sheet includes is not read (copy it in)
`,
	},
	{
		"voices in the music, a symbol in another [7]",
		`X:1
V:T clef=treble
V:B clef=bass
M:4/4
L:1/4
K:C
[V:T] cdef|
[V:B] "C"C4|
V:T
gabc|
V:B
"F"C4|`,
		`1: C4:4 | C
2: C4:4 | F
`,
		`0:0 only voice B is read; left out: T (--melody chooses another)
`,
	},
	{
		"overlay of several bars [7.4]",
		`X:1
M:4/4
L:1/4
K:C
"C"c4&E4|(&d4|e4&f4|g4&)|a4|(&b4|
c4&d4|
e4&)b2&c2|`,
		`1: C5:4 | C
2: D5:4
3: E5:4
4: A5:4
5: B5:4
6: C5:4 B5:2
`,
		`5:7 a second voice in a bar (&) is left out (4 times)
6:1 bar 6 is too long: it holds 6 quarters, its metre 4/4 asks for 4 (a bar line may be missing)
`,
	},
	{
		"no X:, no K: [12]",
		`T:none
M:4/4
L:1/4
"C"c4|"G"d4|
`,
		`1: C5:4 | C
2: D5:4 | G
`,
		`4:1 there is no K: field before the music; C major is assumed
`,
	},
}

func TestABCStandard(t *testing.T) {
	checkSheets(t, abcStandard, func(sheet string) string { return sheet + "\n" }, warned)
}

// Texts with accents (8.2), the tempo that waits for its unit (3.1.8), sections
// that invisible bar lines do not make (4.8), labels of parts.
func TestABCHeader(t *testing.T) {
	for _, c := range []struct{ sheet, want string }{
		{`T:\"Uber caf\'e &eacute; \u00e9 \aa \ss AT&T $1bold` + "\nC:A\n+:B", "Über café é é å ß AT&T bold / A B / 120"},
		{`T:50\% \\o/ \& more` + "\nT:Second", `50% \o/ & more /  / 120`},
		{"T:One % a comment\n+:two\nQ:60\nL:1/2", "One two /  / 120"},
		{"Q:C3=20\nL:1/4", " /  / 60"},
		{"Q:\"Slow\" 3/8=40", " /  / 60 Slow"},
		{"Q:Lively, not too fast", " /  / 120 Lively, not too fast"},
		{"Q:1/4 1/8=80", " /  / 120"},
		{"Q:1/4=ca. 90", " /  / 90"},
	} {
		tune := mustRead(t, "X:1\n"+c.sheet+"\nM:4/4\nK:C\n\"C\"c|\n", Options{})
		got := fmt.Sprintf("%s / %s / %g", tune.Title, tune.Composer, tune.Tempi[0].BPM)
		if tune.Tempi[0].Text != "" {
			got += " " + tune.Tempi[0].Text
		}
		if got != c.want {
			t.Errorf("%q: %q, want %q", c.sheet, got, c.want)
		}
	}
	for _, c := range []struct{ sheet, want string }{ // of the file and of the tune [2.2.2]
		{"C:File\n\nX:1\nK:C\n\"C\"c8|\n", "File"},
		{"C:File\n\nX:1\nC:Tune\nK:C\n\"C\"c8|\n", "Tune"},
	} {
		if tune := mustRead(t, c.sheet, Options{}); tune.Composer != c.want {
			t.Errorf("%q: composer %q, want %q", c.sheet, tune.Composer, c.want)
		}
	}
	two := mustRead(t, "X:1\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\nV:1\n\"C\"c4|d4|\nV:2\nC4|[Q:1/4=60]C4|\n", Options{})
	if len(two.Tempi) != 2 || two.Tempi[1].BPM != 60 {
		t.Errorf("a tempo inside another voice: %v", two.Tempi)
	}
	for charset, want := range map[string]string{
		"utf-8": "", "iso-8859-1": "",
		"iso-8859-2": "2:1 the letters with accents may be wrong: they are read as UTF-8 or Windows-1252 (save the file as UTF-8)\n",
	} {
		tune := mustRead(t, "X:1\n%%abc-charset "+charset+"\nT:Caf\xe9\nM:4/4\nK:C\n\"C\"c8|\n", Options{})
		if got := warned(tune); got != want || tune.Title != "Café" {
			t.Errorf("%s: %q %s", charset, tune.Title, got)
		}
	}
	tune := mustRead(t, abcSheet(`"C"c4[|]d4[|]e4||f4|]`), Options{})
	if len(tune.Sections) != 2 || tune.Sections[0].To != 3 {
		t.Errorf("sections %v", tune.Sections)
	}
}

// What the writer makes of a text the reader takes back.
func TestABCTextBack(t *testing.T) {
	for _, text := range []string{"Café & Bar", `a \ b`, "50% of $5, $$", "&eacute; &amp;", `\u00e9 \'e`, `"quoted"`, "Ўсё ♭"} {
		if got := abcText(fieldValue(abcEscape(text))); got != text {
			t.Errorf("%q is read back as %q", text, got)
		}
	}
}

// A collection: tunes by number and by title, in which what one tune sets does
// not reach the next.
const collection = `%abc-2.1
% the file's own header
L:1/4

X:1
T:Green Hill
T:The Hill, Green
M:3/4
L:1/2
K:D
"D"f3|

X:2
T:Hill and Dale
K:C
"C"c4|

%%begintext
T:no title of a tune
%%endtext
X:3
T:Green Hill (slow)
K:G
"G"f4|
 X: 3
T:Another & more
K:F
"F"b4|
X:
K:C
"C"c4|
`

func TestABCCollection(t *testing.T) {
	for _, c := range []struct {
		opt  Options
		want string // the tune, or the error
	}{
		{Options{}, "1: F#5:6 | D\n"},
		{Options{Number: 2}, "1: C5:4 | C\n"},
		{Options{Title: "hill and dale"}, "1: C5:4 | C\n"},
		{Options{Title: "the hill, green"}, "1: F#5:6 | D\n"},
		{Options{Title: "GREEN HILL"}, "1: F#5:6 | D\n"},
		{Options{Title: "slow"}, "1: F#5:4 | G\n"},
		{Options{Title: " more "}, "1: Bb5:4 | F\n"},
		{Options{Number: 3}, "1: F#5:4 | G\n"},
		{Options{Number: 3, Title: "another"}, "1: Bb5:4 | F\n"},
		{Options{Title: "hill"}, `test: more than one tune has the title "hill": the file has 1 "Green Hill", 2 "Hill and Dale", 3 "Green Hill (slow)" (write more of the title, or choose by the number)`},
		{Options{Title: "Dale", Number: 1}, `test: there is no tune with the title "Dale": the file has 1 "Green Hill" (choose one that is there)`},
		{Options{Title: "nothing"}, `test: there is no tune with the title "nothing": the file has 1 "Green Hill", 2 "Hill and Dale", 3 "Green Hill (slow)", 3 "Another & more", 0 (choose one that is there)`},
		{Options{Number: 9}, `test: there is no tune X:9: the file has 1 "Green Hill", 2 "Hill and Dale", 3 "Green Hill (slow)", 3 "Another & more", 0 (choose one that is there)`},
	} {
		tune, err := Read(strings.NewReader(collection), "test", c.opt)
		got := fmt.Sprint(err)
		if err == nil {
			got = dump(tune)
		}
		if got != c.want {
			t.Errorf("%+v: %s, want %s", c.opt, got, c.want)
		}
	}
	tune := mustRead(t, collection, Options{Number: 3})
	if got := warned(tune); got != "21:1 2 tunes of the file have the number 3 and the first of them is read; another is chosen by its title\n" {
		t.Error(got)
	}
}

func TestList(t *testing.T) {
	got, err := List(iotest.OneByteReader(strings.NewReader(collection)), "test")
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, e := range got {
		lines = append(lines, fmt.Sprintf("%d %q %q %d:%d", e.Number, e.Title, e.other, e.line, e.col))
	}
	want := []string{
		`1 "Green Hill" ["The Hill, Green"] 5:1`, `2 "Hill and Dale" [] 13:1`, `3 "Green Hill (slow)" [] 21:1`,
		`3 "Another & more" [] 25:2`, `0 "" [] 29:1`,
	}
	if d := cmp.Diff(want, lines); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if got, err := List(strings.NewReader("T:Alone\nK:C\n\"C\"c|\n"), "test"); err != nil || len(got) != 1 || got[0].Title != "Alone" || got[0].Number != 0 || got[0].line != 1 {
		t.Errorf("%v %v", got, err)
	}
	for in, want := range map[string]string{
		"<score-partwise/>":              "test: not a file in ABC (only a file in ABC holds several tunes)",
		"Dear reader":                    "test: not a file in ABC (only a file in ABC holds several tunes)",
		"MThd\x00\x00\x00\x06":           "test: not a file in ABC (only a file in ABC holds several tunes)",
		strings.Repeat("x", maxFile+1):   "test: larger than 16 MB (a lead sheet is a small text file: give the right file)",
		strings.Repeat("X:1\n", 1<<17):   "",
		"X:1\nT:\xe9t\xe9\nK:C\n\"C\"c|": "",
	} {
		list, err := List(strings.NewReader(in), "test")
		if err == nil && want == "" && len(list) > 0 && len(list) <= maxTunes {
			continue
		}
		if err == nil || err.Error() != want {
			t.Errorf("%.20q: %v, want %s", in, err, want)
		}
	}
	cause := &fs.PathError{Op: "read", Path: "x.abc", Err: fs.ErrPermission}
	if _, err := List(iotest.ErrReader(cause), "x.abc"); err == nil || err.Error() != "x.abc: cannot be read: permission denied" {
		t.Error(err)
	}
}

// A sheet with ten faults reports ten, each with its place and what to do; one
// does not hide the next on its line.
func TestABCTenFaults(t *testing.T) {
	const sheet = `X:1
M:4/5
L:1/7
K:Q
"Cx"c "C c|[ceg|{de c|[K:D c|
"Dq"d99999|(99abc|Z99999999|c/0|c''''''''|
[M:9/7]"C"c "Hm7"c::::::::::::::::::::::::::::::::::::::::::::::::::::::::::::::::::|c4|
%%begintext
`
	_, err := Read(strings.NewReader(sheet), "test", Options{})
	list, ok := err.(ErrorList)
	if !ok {
		t.Fatalf("%T: %v", err, err)
	}
	var got []string
	for _, e := range list {
		if e.Do == "" {
			t.Errorf("%v does not say what to do", e)
		}
		got = append(got, fmt.Sprintf("%d:%d %s", e.Line, e.Col, e.Msg))
	}
	want := []string{
		`2:3 unknown metre "4/5"`,
		`3:3 unknown unit note length "1/7"`,
		`4:3 unknown key "Q"`,
		`5:1 unknown chord symbol "Cx": "x" is not understood`,
		`5:7 a chord symbol or text has no closing quote`,
		`5:12 a chord of notes is not closed`,
		`5:17 a group of grace notes is not closed`,
		`5:23 a field in the music is not closed`,
		`6:1 unknown chord symbol "Dq": "q" is not understood`,
		`6:5 the length of this note is out of range`,
		`6:12 a tuplet with figures over 64`,
		`6:19 the bars of rest are out of range`,
		`6:29 the length of this note is out of range`,
		`6:33 a note out of the range of MIDI`,
		`7:4 unknown metre "9/7"`,
		`7:13 unknown chord symbol "Hm7": no note is called H, the German H is B and the German B is Bb`,
		`7:19 a stretch repeated more than 64 times`,
		`8:1 a block of text is not closed, and all behind it is lost`,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// What a hostile sheet asks for is refused, or read, within the limits; what is
// allocated is counted.
func TestABCHostile(t *testing.T) {
	const n = 1 << 17
	again := strings.Repeat
	for _, c := range []struct{ name, in, want string }{
		{"bars", abcSheet(`"C"` + again("c|", n)), "the tune has more than 10000 bars"},
		{"notes in a bar", abcSheet(`"C"` + again("c", n)), "this bar has more than 10000 notes"},
		{"rests", abcSheet(`"C"c|` + again("Z1000|", n/6)), "the tune has more than 10000 bars"},
		{"long rest", abcSheet(`"C"c|Z99999999|`), "the bars of rest are out of range"},
		{"tuplet", abcSheet(`"C"(999999999:1:99999999c|`), "a tuplet with figures over 64"},
		{"division", abcSheet(`"C"c` + again("/", n)), "the length of this note is out of range"},
		{"nested order", "X:1\nP:((((A9)9)9)9)9\nK:C\nP:A\n\"C\"c|\n", `the order of parts "((((A9)9)9)9)9" is longer than any tune`},
		{"deep order", "X:1\nP:" + again("(", n) + "A" + again(")9", n) + "\nK:C\nP:A\n\"C\"c|\n", "the field P: is longer than 4096 letters"},
		{"repeats", abcSheet(again(again("|:", 40)+`"C"c`+again(":|", 40), 200)), ""},
		{"times", abcSheet("|" + again(":", n) + `"C"c` + again(":", n) + "|"), "a stretch repeated more than 64 times"},
		{"passes", abcSheet(again(`|`+again(":", 60)+`"C"c|d`+again(":", 60)+"|", 100)), "with its repeats the tune is longer than 10000 bars"},
		{"endings", abcSheet(`|:"C"c|` + again("1,", n) + "2c:|"), ""},
		{"symbols", abcSheet(again(`"C"`, n) + "c|"), ""},
		{"coda signs", abcSheet(`"C"c|` + again("O", n)), ""},
		{"unknown signs", abcSheet(`"C"c` + again("?]#", n)), ""},
		{"graces", abcSheet(`"C"{` + again("c", n) + "}c|"), ""},
		{"notes of a chord", abcSheet(`"C"[` + again("c", n) + "]|"), ""},
		{"labels", abcSheet(again("P:A\n", n) + `"C"c|`), ""},
		{"voices", abcSheet(again("V:1\n", n) + `"C"c|`), ""},
		{"tempi", abcSheet(`"C"c|` + again("[Q:1/4=100]", n/8) + "c|"), ""},
		{"keys", abcSheet(`"C"c|` + again("[K:Gm ^f]", n/8) + "c|"), ""},
		{"key field", "X:1\nK:C" + again(" ^f", n) + "\n\"C\"c|\n", "the field K: is longer than 4096 letters"},
		{"tunes", again("X:1\n", n) + abcSheet(`"C"c|`), "the file holds more tunes than 65535"},
		{"symbol lines", abcSheet("\"C\"cdef|\n" + again("s:\"C\"*\"D\"*\n", n/8)), ""},
		{"unclosed blocks", abcSheet("\"C\"c|\n" + again("%%beginx\n", n/8)), "a block of text is not closed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			r := strings.NewReader(c.in)
			runtime.ReadMemStats(&before)
			_, err := Read(r, "test", Options{})
			runtime.ReadMemStats(&after)
			if a, most := after.TotalAlloc-before.TotalAlloc, uint64(64*len(c.in)+16<<20); a > most {
				t.Errorf("%d bytes are allocated for %d", a, len(c.in))
			}
			switch {
			case c.want == "" && err != nil:
				t.Error(err)
			case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
				t.Errorf("%v, want %s", err, c.want)
			}
		})
	}
}
