// Package sheet shows an arrangement: as a JSON object for other programs, as
// tablature with its rhythm, as chord grids, and as reasons. Everything is
// written to an io.Writer from a finished voicing.Arrangement and nothing else,
// so the same arrangement gives the same bytes.
package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"thumbline/theory"
	"thumbline/voicing"
)

// lineWidth is the widest line of text written, in characters.
const lineWidth = 80

// caution closes every sheet a hand may play from.
const caution = "Hands: warm up, rest five minutes in every thirty, and stop if it hurts."

// leadIn is how much of a bar's metre goes by before its first note: a pick-up
// is counted towards the bar line it leads to. 0 for every other bar, also one
// that is too short inside a piece.
func leadIn(b voicing.Bar) voicing.Tick {
	if !(theory.Bar{Label: b.Label}).IsPickup() || b.Metre.Num <= 0 || b.Metre.Den <= 0 {
		return 0
	}
	full := 4 * voicing.PerQuarter * voicing.Tick(b.Metre.Num) / voicing.Tick(b.Metre.Den)
	return max(0, full-b.Len)
}

// beatLen is the length of a beat, a quarter when the bar does not say.
func beatLen(b voicing.Bar) voicing.Tick {
	if b.Beat > 0 {
		return b.Beat
	}
	return voicing.PerQuarter
}

// place is the position as it is said: "3:2", "3:2&" half a beat later.
func place(a *voicing.Arrangement, t voicing.Tick) string {
	if len(a.Bars) == 0 {
		return "?"
	}
	return a.PlaceAt(t).String()
}

// decimal prints at most two decimals, and none that say nothing.
func decimal(x float64) string {
	return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
}

// frets is "6 x 7 x 8 10", low string first.
func frets(fs []int) string {
	out := make([]string, len(fs))
	for i, f := range fs {
		if f < 0 {
			out[i] = "x"
		} else {
			out[i] = strconv.Itoa(f)
		}
	}
	return strings.Join(out, " ")
}

// fingers is "1 - 2 - 3 4", a dash where no finger presses.
func fingers(fs []int) string {
	out := make([]string, len(fs))
	for i, f := range fs {
		if f <= 0 {
			out[i] = "-"
		} else {
			out[i] = strconv.Itoa(f)
		}
	}
	return strings.Join(out, " ")
}

// tempo is the tempo at the start in quarters a minute, 0 when there is none.
func tempo(a *voicing.Arrangement) float64 {
	if len(a.Tempi) == 0 {
		return 0
	}
	return a.Tempi[0].BPM
}

// headline is title and, below it, what one must know before the first bar.
func headline(a *voicing.Arrangement) string {
	var b strings.Builder
	title := a.Title
	if title == "" {
		title = "Untitled"
	}
	b.WriteString(title + "\n")
	parts := []string{"key " + a.Key.String()}
	beat, quarters := theory.BeatName(theory.Quarters(1, 1))
	if len(a.Bars) > 0 {
		parts = append(parts, a.Bars[0].Metre.String())
		beat, quarters = theory.BeatName(theory.Quarters(int64(beatLen(a.Bars[0])), int64(voicing.PerQuarter)))
	}
	if t := tempo(a); t > 0 {
		s := beat + " = " + decimal(t/quarters)
		if a.TempoAssumed {
			s += " (assumed)"
		}
		parts = append(parts, s)
	}
	if a.Feel.Swings() {
		parts = append(parts, "swing "+decimal(a.Feel.Ratio)+" to 1")
	} else {
		parts = append(parts, a.Feel.String())
	}
	b.WriteString(wrap(strings.Join(parts, ", "), "", lineWidth) + "\n")
	parts = []string{"tuning " + strings.Join(voicing.StringNames(a.Tuning), " ")}
	if a.Capo > 0 {
		parts = append(parts, fmt.Sprintf("capo %d", a.Capo))
	}
	if a.Transposition != 0 {
		parts = append(parts, fmt.Sprintf("moved %+d semitones from the sheet", a.Transposition))
	}
	if a.TopTempo > 0 {
		parts = append(parts, fmt.Sprintf("playable up to %s = %.0f", beat, a.TopTempo/quarters))
	}
	b.WriteString(wrap(strings.Join(parts, ", "), "", lineWidth) + "\n")
	return b.String()
}

// wrap breaks text at blanks so that no line is longer than width where the
// words allow it; lines after the first start with indent.
func wrap(text, indent string, width int) string {
	var b strings.Builder
	n := 0
	for i, word := range strings.Fields(text) {
		l := runes(word)
		switch {
		case i == 0:
		case n+1+l > width:
			b.WriteString("\n" + indent)
			n = runes(indent)
		default:
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += l
	}
	return b.String()
}

func runes(s string) int { return len([]rune(s)) }

// pad fills s with blanks to n characters.
func pad(s string, n int) string {
	if k := n - runes(s); k > 0 {
		return s + strings.Repeat(" ", k)
	}
	return s
}

// warnings are the arrangement's own, one an indented paragraph.
func warnings(a *voicing.Arrangement) string {
	if len(a.Warnings) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("\nTo know:\n")
	for _, w := range a.Warnings {
		b.WriteString("  " + wrap(w, "    ", lineWidth-2) + "\n")
	}
	return b.String()
}
