package sheet

import (
	"bytes"
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"

	"thumbline/voicing"
)

// TabOptions says how wide tablature may be.
type TabOptions struct {
	// Width is the longest line in characters; 0 means 80. What cannot be
	// broken, such as a single column, may still be longer.
	Width int
}

// Tab writes tablature with its rhythm in plain text: the strings, how long
// each note rings, which voice it is, bars and beats, chord symbols, and under
// each line the grips with frets, fingers, scale and texture. Repeats stand
// written out, as they are played.
func Tab(w io.Writer, a *voicing.Arrangement, opt TabOptions) error {
	return write(w, a, opt, listLegend, gripList)
}

// Shapes writes the same tablature with the grips of each line drawn as chord
// grids.
func Shapes(w io.Writer, a *voicing.Arrangement, opt TabOptions) error {
	return write(w, a, opt, gridLegend, grids)
}

const (
	listLegend = "  A grip: where, chord, frets low string to high (x unused), fingers (1 index\n" +
		"  to 4 little finger), scale it comes from; what is borrowed; how it is struck.\n"
	gridLegend = "  A grid: strings upright, low one at the left; frets downward with numbers;\n" +
		"  1 index to 4 little finger, o open, x unused, = the nut.\n"
)

// below writes what stands under a system.
type below func(b *bytes.Buffer, a *voicing.Arrangement, grips []voicing.Placed, width int)

func write(w io.Writer, a *voicing.Arrangement, opt TabOptions, legend string, under below) error {
	width := opt.Width
	if width <= 0 {
		width = lineWidth
	}
	var b bytes.Buffer
	b.WriteString(headline(a))
	b.WriteString(`
How to read
  A number is the fret that is struck, = how long it rings, - silence.
  The count: a number is a beat, & half a beat later, . another point between.
  Below the strings: M melody, I inner voices, B bass; small letters are notes
  added in long notes, rests, introductions and endings.
`)
	if slices.ContainsFunc(a.Notes, letsGo) {
		b.WriteString("  A comma: the hand lets go of the tune there, before the note's written end.\n")
	}
	if a.Feel.Swings() {
		b.WriteString("  Off-beats are written straight and played late (swing).\n")
	}
	if phrased(a) {
		b.WriteString("  M< comes earlier than it is written, M> later (relaxed phrasing).\n")
	}
	if repeated(a) {
		b.WriteString("  Bar 3/2 is bar 3 the second time.\n")
	}
	if put := putIn(a); put != "" {
		b.WriteString("  Put in, not on the sheet: " + put + ".\n")
	}
	if len(a.Added) > 0 {
		b.WriteString("  A chord in brackets is not on the sheet: it was put in.\n")
	}
	b.WriteString(legend)
	if len(a.Bars) == 0 {
		b.WriteString("\nNo bars.\n")
	}
	for _, s := range systems(a, width) {
		b.WriteByte('\n')
		s.draw(&b, a)
		under(&b, a, s.grips(a), width)
	}
	b.WriteString(warnings(a))
	b.WriteString("\n" + caution + "\n")
	_, err := w.Write(b.Bytes())
	return err
}

// phrased reports whether a note of the tune is not where it is written.
func phrased(a *voicing.Arrangement) bool {
	return slices.ContainsFunc(a.Melody, func(n voicing.TuneNote) bool { return n.Moved != 0 })
}

func repeated(a *voicing.Arrangement) bool {
	for _, b := range a.Bars {
		if strings.Contains(b.Label, "/") {
			return true
		}
	}
	return false
}

// A column is one point of the grid: what starts there is written at its left
// edge.
type column struct {
	bar     int
	at, end voicing.Tick
	width   int
	count   string // "3", "&", "."
	symbol  string // the chord that starts here
}

// A system is one line of tablature, columns of one or more bars.
type system struct {
	cols  []column
	head  string // what stands over it where a part begins
	notes []voicing.Note
}

// grid cuts a bar into columns so that every onset has one, each beat as
// coarsely as its notes allow.
func grid(a *voicing.Arrangement, bar int, onsets []voicing.Tick) []column {
	b := a.Bars[bar]
	beat, lead := beatLen(b), leadIn(b)
	var cols []column
	end := b.At + b.Len
	for n, t := int(lead/beat), b.At-lead%beat; t < end; n, t = n+1, t+beat {
		var offs []voicing.Tick
		for _, o := range onsets {
			if o >= t && o < t+beat {
				offs = append(offs, o-t)
			}
		}
		for _, p := range split(beat, offs) {
			at := t + p.off
			if at < b.At || at >= end {
				continue
			}
			c := column{bar: bar, at: at, width: p.width, count: "."}
			switch {
			case p.off == 0:
				c.count = strconv.Itoa(n + 1)
			case 2*p.off == beat:
				c.count = "&"
			}
			cols = append(cols, c)
		}
	}
	for i := range cols {
		if i+1 < len(cols) {
			cols[i].end = cols[i+1].at
		} else {
			cols[i].end = end
		}
	}
	return cols
}

type point struct {
	off   voicing.Tick
	width int
}

// split is the coarsest even division of a beat that has all the offsets; where
// there is none, the offsets themselves.
func split(beat voicing.Tick, offs []voicing.Tick) []point {
	parts := []voicing.Tick{2, 3, 4, 6, 8, 12}
	if beat == 3*voicing.PerQuarter/2 || beat == 3*voicing.PerQuarter/4 {
		parts = []voicing.Tick{3, 6, 2, 4, 12}
	}
	for _, n := range parts {
		fits := beat%n == 0
		for _, o := range offs {
			fits = fits && o*n%beat == 0
		}
		if !fits {
			continue
		}
		width := 3
		if n == 2 {
			width = 4
		}
		var ps []point
		for k := voicing.Tick(0); k < n; k++ {
			ps = append(ps, point{k * beat / n, width})
		}
		return ps
	}
	ps := []point{{0, 3}}
	for _, o := range offs { // in order
		if o > ps[len(ps)-1].off {
			ps = append(ps, point{o, 3})
		}
	}
	return ps
}

// systems lays the bars out in lines of at most width characters. A section
// starts a line; a bar wider than a line is cut at a beat.
func systems(a *voicing.Arrangement, width int) []system {
	heads := headings(a)
	room := width - margin(a) - 1
	var out []system
	var cur system
	used := 0
	flush := func() {
		if len(cur.cols) > 0 {
			out = append(out, cur)
		}
		cur, used = system{}, 0
	}
	at := 0 // first note that may start in the bar
	for i, b := range a.Bars {
		var onsets []voicing.Tick
		from := at
		for ; at < len(a.Notes) && a.Notes[at].At < b.At+b.Len; at++ {
			onsets = append(onsets, a.Notes[at].At)
		}
		cols := grid(a, i, onsets)
		fit(a, cols, a.Notes[from:at])
		if h, ok := heads[i]; ok {
			flush()
			cur.head = h
		}
		w := total(cols) + 1 // and the bar line
		if used > 0 && used+w > room {
			flush()
		}
		for w > room+1 {
			k := cut(cols, room)
			if k <= 0 || k >= len(cols) {
				break
			}
			cur.cols = append(cur.cols, cols[:k]...)
			flush()
			cols = cols[k:]
			w = total(cols) + 1
		}
		cur.cols = append(cur.cols, cols...)
		used += w
	}
	flush()
	for i := range out {
		cs := out[i].cols
		from, to := cs[0].at, cs[len(cs)-1].end
		for _, n := range a.Notes {
			if n.At < to && n.At+n.Dur > from {
				out[i].notes = append(out[i].notes, n)
			}
		}
	}
	return out
}

func total(cols []column) int {
	w := 0
	for _, c := range cols {
		w += c.width
	}
	return w
}

// cut is how many columns go into room, back to the last beat when there is
// one.
func cut(cols []column, room int) int {
	w, k, beat := 0, 0, 0
	for k < len(cols) && w+cols[k].width <= room {
		if k > 0 && cols[k].count != "&" && cols[k].count != "." {
			beat = k
		}
		w += cols[k].width
		k++
	}
	if k < len(cols) && cols[k].count != "&" && cols[k].count != "." {
		beat = k
	}
	if beat > 0 {
		return beat
	}
	return max(k, 1)
}

// fit puts the chord symbols into their columns and widens what is too narrow
// for them, for two-figure frets and for the letters of the voices.
func fit(a *voicing.Arrangement, cols []column, notes []voicing.Note) {
	if len(cols) == 0 {
		return
	}
	last := -1
	for i := range cols {
		c := &cols[i]
		for _, m := range a.Chords {
			if m.At >= c.at && m.At < c.end {
				c.symbol = strings.TrimSpace(c.symbol + " " + m.Symbol)
			}
		}
		for _, m := range a.Added {
			if m.At >= c.at && m.At < c.end {
				c.symbol = strings.TrimSpace(c.symbol + " (" + m.Symbol + ")")
			}
		}
		need := runes(letters(a, notes, c.at)) + 1
		for _, n := range notes {
			if n.At == c.at {
				need = max(need, len(strconv.Itoa(n.Fret))+1)
			}
		}
		c.width = max(c.width, need)
		if c.symbol != "" {
			if last >= 0 {
				widen(cols[last:i], runes(cols[last].symbol)+1)
			}
			last = i
		}
	}
	if last >= 0 {
		widen(cols[last:], runes(cols[last].symbol))
	}
	widen(cols, runes(label(a, cols[0].bar)))
}

// widen gives the last of the columns what they lack to be width wide together.
func widen(cols []column, width int) {
	if lack := width - total(cols); lack > 0 {
		cols[len(cols)-1].width += lack
	}
}

// letters tells the voices struck at t, in the order melody, inner, bass, and
// whether the melody comes earlier or later than written.
func letters(a *voicing.Arrangement, notes []voicing.Note, t voicing.Tick) string {
	var struck, added [3]bool
	for _, n := range notes {
		if n.At == t {
			if n.Fill {
				added[n.Voice] = true
			} else {
				struck[n.Voice] = true
			}
		}
	}
	s := ""
	for v, l := range "MIB" {
		switch {
		case struck[v]:
			s += string(l)
		case added[v]:
			s += strings.ToLower(string(l))
		}
		if voicing.Voice(v) == voicing.Melody && struck[v] {
			s += movedMark(a, t)
		}
	}
	return s
}

// movedMark shows that the note of the tune at t comes earlier or later than it
// is written.
func movedMark(a *voicing.Arrangement, t voicing.Tick) string {
	k, ok := slices.BinarySearchFunc(a.Melody, t, func(n voicing.TuneNote, t voicing.Tick) int { return cmp.Compare(n.At, t) })
	switch {
	case ok && a.Melody[k].Moved < 0:
		return "<"
	case ok && a.Melody[k].Moved > 0:
		return ">"
	}
	return ""
}

// label is what stands over a bar: its number, and metre and key when they are
// new.
func label(a *voicing.Arrangement, bar int) string {
	b := a.Bars[bar]
	s := "bar " + b.Label
	if bar == 0 {
		return s
	}
	before := a.Bars[bar-1]
	if b.Metre != before.Metre && b.Metre.Num > 0 {
		s += "  " + b.Metre.String()
	}
	if b.Key != before.Key {
		s += "  key " + b.Key.String()
	}
	return s
}

// margin is the width of the string names with the bar line after them.
func margin(a *voicing.Arrangement) int {
	w := 0
	for _, s := range voicing.StringNames(a.Tuning) {
		w = max(w, len(s))
	}
	return w + 2
}

func (s system) draw(out *bytes.Buffer, a *voicing.Arrangement) {
	if s.head != "" {
		out.WriteString(wrap(s.head, "  ", lineWidth) + "\n")
	}
	left := strings.Repeat(" ", margin(a))
	var bars, chords, count, voices strings.Builder
	for _, b := range []*strings.Builder{&bars, &chords, &count, &voices} {
		b.WriteString(left)
	}
	names := voicing.StringNames(a.Tuning)
	rows := make([]strings.Builder, len(names))
	for i := range rows {
		rows[i].WriteString(pad(" "+names[i], len(left)-1) + "|")
	}
	phrases := map[int]int{}
	for i, p := range a.Phrases {
		if p.From < p.To {
			phrases[p.From] = a.PhraseNumber(i)
		}
	}
	for i := 0; i < len(s.cols); {
		j := i
		for j < len(s.cols) && s.cols[j].bar == s.cols[i].bar {
			j++
		}
		bar, cols := s.cols[i].bar, s.cols[i:j]
		width := total(cols)
		text := label(a, bar)
		if cols[0].at > a.Bars[bar].At {
			text = "(" + a.Bars[bar].Label + ")"
		} else if n := phrases[bar]; n > 0 {
			if p := text + "   phrase " + strconv.Itoa(n); runes(p) <= width {
				text = p
			}
		}
		bars.WriteString(pad(text, width+1))
		chords.WriteString(pad(spread(cols, func(c column) string { return c.symbol }), width+1))
		count.WriteString(pad(spread(cols, func(c column) string { return c.count }), width+1))
		voices.WriteString(pad(spread(cols, func(c column) string { return letters(a, s.notes, c.at) }), width+1))
		for r := range rows {
			rows[r].WriteString(s.string(len(names)-r, cols) + "|")
		}
		i = j
	}
	line := func(b *strings.Builder) {
		if t := strings.TrimRight(b.String(), " "); t != "" {
			out.WriteString(t)
			out.WriteByte('\n')
		}
	}
	line(&bars)
	line(&chords)
	line(&count)
	for r := len(rows) - 1; r >= 0; r-- {
		line(&rows[r])
	}
	line(&voices)
}

// spread writes one text a column; a text that is longer runs into the next
// columns, which are then empty.
func spread(cols []column, text func(column) string) string {
	var b strings.Builder
	n, at := 0, 0
	for _, c := range cols {
		if t := text(c); t != "" {
			if at > n {
				b.WriteString(strings.Repeat(" ", at-n))
				n = at
			}
			b.WriteString(t)
			n += runes(t)
		}
		at += c.width
	}
	return b.String()
}

// string draws one string through the columns, 1 the highest.
func (s system) string(number int, cols []column) string {
	row := make([]byte, 0, total(cols))
	for _, c := range cols {
		start := len(row)
		for k := 0; k < c.width; k++ {
			t := c.at + (c.end-c.at)*voicing.Tick(k)/voicing.Tick(c.width)
			ch := byte('-')
			for _, n := range s.notes {
				if n.String == number && n.At <= t && t < n.At+n.Dur {
					ch = '='
				}
			}
			row = append(row, ch)
		}
		for _, n := range s.notes {
			if end := n.At + n.Dur; n.String == number && letsGo(n) && end > c.at && end <= c.end {
				// in the last character that it still rings in, behind its fret
				k := int((end - c.at - 1) * voicing.Tick(c.width) / (c.end - c.at))
				if n.At >= c.at {
					k = max(k, min(len(strconv.Itoa(n.Fret)), c.width-1))
				}
				row[start+k] = ','
			}
		}
		for _, n := range s.notes {
			if n.String == number && n.At >= c.at && n.At < c.end {
				copy(row[start:], strconv.Itoa(n.Fret))
			}
		}
	}
	return string(row)
}

// letsGo reports whether a note is one of the tune that stops before its written
// end.
func letsGo(n voicing.Note) bool { return n.Voice == voicing.Melody && !n.Fill && n.Early > 0 }

// grips are those taken within the system.
func (s system) grips(a *voicing.Arrangement) []voicing.Placed {
	from, to := s.cols[0].at, s.cols[len(s.cols)-1].end
	var out []voicing.Placed
	for _, g := range a.Grips {
		if g.At >= from && g.At < to {
			out = append(out, g)
		}
	}
	return out
}

// gripList is one grip a line, and a second line for what is borrowed and how
// it is struck.
func gripList(b *bytes.Buffer, a *voicing.Arrangement, grips []voicing.Placed, width int) {
	var wPlace, wName, wFrets, wFingers int
	for _, g := range grips {
		wPlace = max(wPlace, runes(place(a, g.At)))
		wName = max(wName, min(runes(g.Name), 16))
		wFrets = max(wFrets, len(frets(g.Frets)))
		wFingers = max(wFingers, len(fingers(g.Fingers)))
	}
	for _, g := range grips {
		head := "  " + pad(place(a, g.At), wPlace) + "  " + pad(g.Name, wName) + "  "
		line := head + pad(frets(g.Frets), wFrets) + "  " + pad(fingers(g.Fingers), wFingers) + "  " + g.Scale
		if runes(line) > width {
			line = head + pad(frets(g.Frets), wFrets) + "  " + fingers(g.Fingers)
			if g.Scale != "" {
				b.WriteString(line + "\n")
				line = strings.Repeat(" ", wPlace+4) + g.Scale
			}
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
		var more []string
		if len(g.Borrowed) > 0 {
			more = append(more, "borrowed "+strings.Join(g.Borrowed, ", "))
		}
		if g.Texture != "" {
			more = append(more, g.Texture)
		}
		if len(more) > 0 {
			indent := strings.Repeat(" ", wPlace+4)
			b.WriteString(indent + wrap(strings.Join(more, "; "), indent, width-len(indent)) + "\n")
		}
	}
}
