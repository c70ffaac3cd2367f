package leadsheet

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"thumbline/theory"
)

// MaxEmptyBars is how many bars an Empty has at most: each is a rest of one.
const MaxEmptyBars = maxRestBars

// An Empty is a lead sheet that somebody will type into.
type Empty struct {
	Title string
	Key   theory.Key
	Metre theory.Metre // 4/4 when zero
	Bars  int          // full ones, 1 to MaxEmptyBars
	// Pickup is what comes before the first full bar, less than a bar; 0 is none.
	Pickup theory.Time
	BPM    float64 // quarters a minute; 0 leaves the tempo to the metre
}

// Bars of a line, which is a section of its own.
const emptyLine = 8

// WriteEmpty writes the sheet as ABC: every bar a rest, before it a pair of
// quotes to put the chord symbol in, and lines of comment that say how.
// It is read as rests without symbols, bar by bar what was asked for.
func WriteEmpty(w io.Writer, e Empty) error {
	if e.Metre == (theory.Metre{}) {
		e.Metre = theory.Metre{Num: 4, Den: 4}
	}
	whole := full(e.Metre)
	switch {
	case e.Bars < 1 || e.Bars > MaxEmptyBars:
		return fmt.Errorf("%d bars are out of range (1 to %d)", e.Bars, MaxEmptyBars)
	case !validMetre(e.Metre):
		return fmt.Errorf("there is no metre %s", e.Metre)
	case e.Pickup.Less(theory.Time{}) || !e.Pickup.Less(whole):
		return fmt.Errorf("the pick-up is no part of a bar of %s", e.Metre)
	case odd(e.Pickup.Den()) != 1 || e.Pickup.Den() > 16:
		return fmt.Errorf("a pick-up of %s of a quarter is no note value", e.Pickup)
	case e.BPM != 0 && !validTempo(e.BPM):
		return fmt.Errorf("a tempo of %g quarters a minute is out of range", e.BPM)
	}
	unit := theory.Quarters(1, 2)
	var b strings.Builder
	b.WriteString(`%abc-2.1
% Notes go in place of a Z, the rest of one bar: G an eighth, G2 a quarter,
% G/ a sixteenth, z2 a rest; C, lower, c' higher; ^F sharp, _B flat, =B natural;
% (3ABc a triplet; G4- G2 tied; |: A :| played twice.
% Chord symbols go between the quotes before a note: "Bb7"G2. Then check says
% what is still missing.
X:1
`)
	b.WriteString("T:" + abcEscape(e.Title) + "\nC:\nM:" + e.Metre.String() + "\nL:" + lengthName(unit) + "\n")
	if e.BPM != 0 {
		b.WriteString("Q:" + tempoField(theory.TempoMark{BPM: e.BPM}, theory.Bar{Beat: theory.BeatOf(e.Metre)}) + "\n")
	}
	b.WriteString("K:" + keyField(e.Key) + "\n")
	if e.Pickup != (theory.Time{}) {
		b.WriteString(`""z` + lengthText(e.Pickup.Mul(unit.Den(), unit.Num())) + " |\n")
	}
	for i := range e.Bars {
		b.WriteString(`""Z `)
		switch {
		case i+1 == e.Bars:
			b.WriteString("|]")
		case (i+1)%emptyLine == 0:
			b.WriteString("||")
		default:
			b.WriteString("| ")
			continue
		}
		from := i/emptyLine*emptyLine + 1
		if from <= i {
			b.WriteString(" % " + strconv.Itoa(from) + "-" + strconv.Itoa(i+1) + "\n")
		} else {
			b.WriteString(" % " + strconv.Itoa(from) + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// ParseMetre reads a time signature as ABC has it: 4/4, 6/8, C, C|.
func ParseMetre(s string) (theory.Metre, error) {
	m, free, ok := readMetre(s)
	if !ok || free || s != "C" && s != "C|" && s != m.String() {
		return theory.Metre{}, fmt.Errorf("%s is no metre (write it as 4/4, 3/4 or 6/8)", quote(s))
	}
	return m, nil
}
