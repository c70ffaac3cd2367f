package sheet

import (
	"bytes"
	"strconv"
	"strings"

	"thumbline/voicing"
)

// grids draws the grips side by side, strings upright with the low one at the
// left, frets downward with their numbers: a figure is the finger that presses
// there, o an open string, x one that is not used.
func grids(b *bytes.Buffer, a *voicing.Arrangement, grips []voicing.Placed, width int) {
	const gap = 2
	var row [][]string
	used := 0
	flush := func() {
		if len(row) > 0 {
			b.WriteByte('\n')
			beside(b, row, gap)
		}
		row, used = nil, 0
	}
	for _, g := range grips {
		box := gripBox(a, g)
		w := boxWidth(box) + gap
		if used > 0 && used+w > width {
			flush()
		}
		row = append(row, box)
		used += w
	}
	flush()
}

func gripBox(a *voicing.Arrangement, g voicing.Placed) []string {
	top := strings.TrimRight("  "+place(a, g.At)+" "+g.Symbol, " ")
	sounds := ""
	if g.Name != g.Symbol {
		sounds = "  " + g.Name
	}
	return append([]string{top, sounds}, Grid(g)...)
}

// Grid draws a grip in six lines or more: unused and open strings, the nut or a
// wire, then four frets, or as many as the grip has, with fingers, as in Shapes.
func Grid(g voicing.Placed) []string {
	var box []string
	low, high := 0, 0
	for _, f := range g.Frets {
		if f > 0 {
			if low == 0 || f < low {
				low = f
			}
			high = max(high, f)
		}
	}
	if high <= 4 {
		low = 1
	}
	high = max(high, low+3)
	var head strings.Builder
	for _, f := range g.Frets {
		switch {
		case f < 0:
			head.WriteString(" x")
		case f == 0:
			head.WriteString(" o")
		default:
			head.WriteString("  ")
		}
	}
	box = append(box, strings.TrimRight("    "+head.String(), " "))
	edge := "-" // the nut is drawn thicker than the wire of a fret
	if low == 1 {
		edge = "="
	}
	box = append(box, "     "+strings.Repeat(edge, max(2*len(g.Frets)-1, 1)))
	for f := low; f <= high; f++ {
		var line strings.Builder
		n := strconv.Itoa(f)
		line.WriteString(strings.Repeat(" ", max(4-len(n), 0)) + n)
		for s, at := range g.Frets {
			line.WriteByte(' ')
			switch {
			case at != f:
				line.WriteByte('|')
			case s < len(g.Fingers) && g.Fingers[s] > 0:
				line.WriteString(strconv.Itoa(g.Fingers[s]))
			default:
				line.WriteByte('*')
			}
		}
		box = append(box, line.String())
	}
	return box
}

func boxWidth(box []string) int {
	w := 0
	for _, l := range box {
		w = max(w, runes(l))
	}
	return w
}

// beside writes boxes next to each other, from their first lines down.
func beside(b *bytes.Buffer, boxes [][]string, gap int) {
	height := 0
	for _, box := range boxes {
		height = max(height, len(box))
	}
	for l := range height {
		var line strings.Builder
		for _, box := range boxes {
			t := ""
			if l < len(box) {
				t = box[l]
			}
			line.WriteString(pad(t, boxWidth(box)+gap))
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}
