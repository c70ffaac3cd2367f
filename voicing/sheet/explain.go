package sheet

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"thumbline/voicing"
)

// Explain writes one line a grip: where it stands, the chord as written, what
// sounds, the scale it comes from, what is borrowed, how it is struck, why it
// was chosen and, when the arranger kept them, the terms of its cost. Below it
// stands one line a note of the tune that the hand must let go early.
func Explain(w io.Writer, a *voicing.Arrangement) error {
	var b bytes.Buffer
	b.WriteString(headline(a))
	b.WriteByte('\n')
	var table bytes.Buffer
	tw := tabwriter.NewWriter(&table, 0, 0, 2, ' ', 0)
	row := func(cells ...string) {
		for i, c := range cells {
			if i > 0 {
				io.WriteString(tw, "\t")
			}
			io.WriteString(tw, oneLine(c))
		}
		io.WriteString(tw, "\n")
	}
	row("AT", "WRITTEN", "SOUNDS", "FRETS", "SCALE", "WHY")
	for _, g := range a.Grips {
		row(place(a, g.At), g.Symbol, g.Name, frets(g.Frets), g.Scale, why(g))
	}
	tw.Flush()
	headed(&b, a, table.String())
	if len(a.Grips) == 0 {
		b.WriteString("No grips: the melody stands alone throughout.\n")
	}
	letGo(&b, a)
	if a.Cut > 0 {
		fmt.Fprintf(&b, "\nPlaces where more grips were nearly as good as the search looked at: %d.\n", a.Cut)
	}
	b.WriteString(warnings(a))
	_, err := w.Write(trimLines(b.Bytes()))
	return err
}

// headed puts headings into the table of grips, over the first grip of what is
// put in and of each chorus; where there are none of these, sections need none.
func headed(b *bytes.Buffer, a *voicing.Arrangement, table string) {
	lines := strings.SplitAfter(table, "\n")
	b.WriteString(lines[0])
	heads := headings(a)
	if len(a.Choruses) == 0 && a.Before == 0 && a.After == 0 {
		heads = nil
	}
	next := 0 // bar whose heading has not been written yet
	for i, g := range a.Grips {
		for ; next <= g.Bar; next++ {
			if h := heads[next]; h != "" {
				b.WriteString(h + "\n")
			}
		}
		b.WriteString(lines[i+1])
	}
}

// letGo is one line for each note of the tune that stops before its written end.
func letGo(b *bytes.Buffer, a *voicing.Arrangement) {
	if len(a.LetGo) == 0 {
		return
	}
	b.WriteString("\nNotes of the tune that the hand lets go before their written end:\n\n")
	tw := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	io.WriteString(tw, "AT\tNOTE\tBEATS EARLY\tBECAUSE\n")
	for _, g := range a.LetGo {
		beat := voicing.PerQuarter
		if i := a.BarAt(g.At); i >= 0 {
			beat = beatLen(a.Bars[i])
		}
		fmt.Fprintf(tw, "%s\t%s\t%.2f\t%s\n", place(a, g.At), g.Pitch, float64(g.Early)/float64(beat), oneLine(g.Reason))
	}
	tw.Flush()
}

func why(g voicing.Placed) string {
	var parts []string
	if len(g.Borrowed) > 0 {
		parts = append(parts, "borrowed "+strings.Join(g.Borrowed, ", "))
	}
	if g.Texture != "" {
		parts = append(parts, g.Texture)
	}
	if g.Reason != "" {
		parts = append(parts, g.Reason)
	}
	s := strings.Join(parts, "; ")
	var terms []string
	for _, t := range g.Terms {
		if c := decimal(t.Cost); c != "0" && c != "-0" {
			terms = append(terms, t.Name+" "+c)
		}
	}
	if len(terms) > 0 {
		s = strings.TrimSpace(s + " [" + strings.Join(terms, ", ") + "]")
	}
	return s
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func trimLines(p []byte) []byte {
	lines := bytes.Split(p, []byte("\n"))
	for i, l := range lines {
		lines[i] = bytes.TrimRight(l, " ")
	}
	return bytes.Join(lines, []byte("\n"))
}
