package main

import (
	"slices"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// A page is what a player sees, as a value: which lines it has in a window of
// some size is all that is left to decide.
type page struct {
	title   string // tune and key
	what    string // that is played: "phrase 5 of 8, bars 11-14"
	pass    string
	tempo   string
	state   string // in capitals, to be read from afar
	place   string // "bar 12, beat 3"
	bars    []pageBar
	strings []string // names, low to high
	next    string   // the heading of moves
	moves   []string
	most    int // moves that a change of these bars has: room is kept for them
	grids   []pageGrid
	offer   string // a rest
	rests   bool   // one may be offered
	does    string // what the one key does now
	keys    []string
}

// A pageBar is a bar with its grips.
type pageBar struct {
	label  string
	here   bool
	grips  []pageGrip
	notes  string // beside the grips
	before bool   // it has the pick-up
	bare   bool   // nothing is known of grips
}

// A pageGrip is a grip with what stands beneath its name: the beat, or the key
// that strikes it.
type pageGrip struct {
	name, under    string
	frets, fingers []string // a string each, low to high
	now            bool
}

// A pageGrid is a grip drawn, for windows that are wide enough.
type pageGrid struct {
	head  string
	lines []string
}

// A pageLine is a line and the part of it, in characters, that is stressed. What
// is stressed is marked by a character too.
type pageLine struct {
	text     string
	from, to int
}

// apart is between things that stand beside each other in a line.
const apart = "   "

// markNow stands before the bar and the grip that sound.
const markNow = ">"

// What there has to be above the least, so that lines stand apart.
const (
	airyHeight = 30 // of a window: an empty line between bars
	twoColumns = 76 // of a window: moves side by side
)

// lines is the page in a window: as much as there is room for, what matters
// most while playing first. Where there is room, everything has its place and
// keeps it.
func (p page) lines(width, height int) []pageLine {
	if width < 1 || height < 1 {
		return nil
	}
	b := p.blocks(width)
	for _, way := range []struct {
		airy, tight, kept bool
		gaps              int
	}{
		{airy: true, kept: true, gaps: 5}, {kept: true, gaps: 5}, {kept: true, gaps: 4}, {kept: true, gaps: 3}, {kept: true, gaps: 2},
		{tight: true, kept: true, gaps: 3}, {kept: true, gaps: 1}, {tight: true, kept: true, gaps: 2}, {tight: true, kept: true, gaps: 1}, {tight: true, kept: true},
		{tight: true, gaps: 1}, {tight: true},
	} {
		if way.airy && height < airyHeight {
			continue
		}
		b.moves, b.offer = p.movesIn(width, way.tight, way.kept), p.offered(width, way.kept)
		if way.airy {
			b.moves = p.drawn(b.moves, width)
		}
		b.bars, b.names = p.barLines(width, way.airy), p.stringNames(width)
		if all := b.join(way.gaps); len(all) <= height {
			return cutTo(all, width, height)
		}
	}
	// Too low for the page: fewer bars, then fewer of the rest.
	moves := b.moves
	p.bars = slices.DeleteFunc(slices.Clone(p.bars), func(b pageBar) bool { return b.before && len(b.grips) == 0 })
	for _, shrink := range []func(){
		func() {},
		func() { b.foot = p.foot(width, 1) },
		func() { b.offer = cutTo(b.offer, width, 1) },
		func() { b.head = b.head[1:] },
		func() { b.moves = cutTo(b.moves, width, 2) },
		func() { b.foot = p.foot(width, 0) },
		func() { b.offer = nil },
		func() { b.moves = cutTo(b.moves, width, 1) },
		func() { b.head = nil },
		func() { b.moves = nil },
	} {
		shrink()
		b.bars = nil
		if b.bars = p.someBars(width, height-len(b.join(0)), false); len(b.bars) > 0 {
			if free := height - len(b.join(0)); len(b.moves) > 0 {
				b.moves = cutTo(moves, width, len(b.moves)+free)
			}
			return cutTo(b.join(0), width, height)
		}
	}
	b.bars = p.someBars(width, height-len(b.join(0)), true)
	return cutTo(b.join(0), width, height)
}

// pageBlocks are the parts of a page from the top down.
type pageBlocks struct {
	head, state, bars, moves, offer, foot []pageLine
	names                                 pageLine // of the strings, above the bars where a line is free
}

func (p page) blocks(width int) pageBlocks {
	return pageBlocks{
		head:  []pageLine{whole(spread(p.title, p.what, 0, width)), whole(spread(p.pass, p.tempo, column, width))},
		state: []pageLine{{text: beside(p.state, p.place, width), to: len([]rune(p.state))}},
		foot:  p.foot(width, 2),
	}
}

// join puts the blocks below each other, with so many empty lines between them:
// the first above the bars, then above the moves, the foot, the state, the offer.
func (b pageBlocks) join(gaps int) []pageLine {
	var out []pageLine
	for i, block := range [...][]pageLine{b.head, b.state, b.bars, b.moves, b.offer, b.foot} {
		if wanted := [...]int{0, 4, 1, 2, 5, 3}[i]; len(block) > 0 && i > 0 && wanted <= gaps {
			free := pageLine{}
			if i == 2 {
				free = b.names
			}
			out = append(out, free)
		}
		out = append(out, block...)
	}
	return out
}

// offered is the rest that is offered; where a place is kept for it, a line that
// is empty at other times.
func (p page) offered(width int, kept bool) []pageLine {
	switch {
	case p.offer != "":
		return wrapped("* "+p.offer, width)
	case kept && p.rests:
		return []pageLine{{}}
	}
	return nil
}

// whole is a line without stress.
func whole(s string) pageLine { return pageLine{text: s} }

// column is where the second half of a line begins, if the first leaves room.
const column = 24

// spread puts one text at the left and another from column on, or well apart
// from it. Where there is no room for both, the left one is cut.
func spread(left, right string, column, width int) string {
	if right == "" || left == "" {
		return left + right
	}
	const apart = 4
	room := width - ansi.StringWidth(right)
	switch n := ansi.StringWidth(left); {
	case n+apart <= column && column <= room:
		return padTo(left, column) + right
	case n+apart <= room:
		return padTo(left, n+apart) + right
	}
	left = ansi.Truncate(left, max(room-1, 0), "")
	return strings.TrimLeft(left+" "+right, " ")
}

// beside is spread, but where there is no room for both the right one is cut.
func beside(left, right string, width int) string {
	if ansi.StringWidth(left)+1+ansi.StringWidth(right) > width {
		return left + " " + right
	}
	return spread(left, right, column, width)
}

// foot is what the keys do: the one key, and so many lines of the others, each
// as full as can be, the last key among them.
func (p page) foot(width, others int) []pageLine {
	does := "  Space or Enter: " + p.does + "  "
	if ansi.StringWidth(does) > width {
		does = "Space: " + p.does
	}
	out := []pageLine{{text: does, to: len([]rune(does))}}
	if others == 0 || len(p.keys) == 0 {
		return out
	}
	last := len(p.keys) - 1
	row := ""
	for i, k := range p.keys {
		end := k
		if i < last && others == 1 {
			end += apart + p.keys[last] // which must not be left out
		}
		switch {
		case row == "":
			row = k
		case ansi.StringWidth(row+apart+end) <= width:
			row += apart + k
		case others == 1:
			return append(out, whole(row+apart+p.keys[last]))
		default:
			out = append(out, whole(row))
			row = k
			others--
		}
	}
	return append(out, whole(row))
}

// movesIn is the next change spelled out, a line for each finger or, to save
// lines, two beside each other; kept is with room for the most of them.
func (p page) movesIn(width int, tight, kept bool) []pageLine {
	var out []pageLine
	if p.next != "" {
		out = append(out, whole(p.next))
	}
	half := (width - 2) / 2
	abreast := 1
	if tight && width >= twoColumns {
		abreast = 2
	}
	for i, m := range p.moves {
		if i%abreast == 0 {
			out = append(out, whole("  "+m))
			continue
		}
		l := &out[len(out)-1]
		l.text = padTo(l.text, max(half, ansi.StringWidth(l.text)+2)) + m
	}
	for kept && p.most > 0 && len(out) < 1+(p.most+abreast-1)/abreast {
		out = append(out, pageLine{})
	}
	return out
}

// What grids take: gridWidth columns each, from gridColumn on, gridHeight lines.
const (
	gridColumn = 52
	gridWidth  = 22
	gridHeight = 9
)

// drawn puts the grids at the right of the moves, if there is room.
func (p page) drawn(moves []pageLine, width int) []pageLine {
	if len(p.grids) == 0 || gridColumn+gridWidth*len(p.grids) > width ||
		slices.ContainsFunc(moves, func(l pageLine) bool { return ansi.StringWidth(l.text) > gridColumn-2 }) {
		return moves
	}
	for len(moves) < gridHeight {
		moves = append(moves, pageLine{})
	}
	for i, g := range p.grids {
		at := gridColumn + i*gridWidth
		for k, l := range append([]string{"  " + g.head}, g.lines...) {
			if k < len(moves) {
				moves[k].text = padTo(moves[k].text, at) + l
			}
		}
	}
	return moves
}

// barLines are all bars, airy with an empty line between them.
func (p page) barLines(width int, airy bool) []pageLine {
	var out []pageLine
	l := p.layout(width)
	for i, b := range p.bars {
		if i > 0 && airy {
			out = append(out, pageLine{})
		}
		out = append(out, l.bar(b)...)
		if airy && len(b.grips) > 0 && b.notes != "" {
			out = append(out, whole(padTo("", l.label)+" besides: "+b.notes))
		}
	}
	return out
}

// stringNames is a line of the names of the strings above the frets. Where strings
// are not equally wide there is none.
func (p page) stringNames(width int) pageLine {
	l := p.layout(width)
	if l.brief || l.fret < 2 || l.total() > width {
		return pageLine{}
	}
	row := padTo("", l.label)
	for i, n := range l.names {
		row += padTo(padTo("", 1+n+1)+l.strings(p.strings, pageGrip{}), l.columns[i]+l.gap)
	}
	return whole(row)
}

// someBars are the bars around the place that go into so many lines, none where
// the bar itself does not, unless a part of it will do. They turn as leaves do,
// so that they stand still in between.
func (p page) someBars(width, height int, part bool) []pageLine {
	if height < 2 {
		return nil
	}
	l := p.layout(width)
	place := max(slices.IndexFunc(p.bars, func(b pageBar) bool { return b.here }), 0) // it begins with the first
	var out []pageLine
	var sheet []pageLine
	found := false
	for i, b := range p.bars {
		lines := l.bar(b)
		if len(sheet)+len(lines) > height {
			if found {
				break
			}
			sheet = nil
		}
		if len(lines) > height {
			switch {
			case i != place:
				continue
			case !part:
				return nil
			}
			lines = around(lines, height)
		}
		sheet = append(sheet, lines...)
		found = found || i == place
		if found || out == nil {
			out = sheet
		}
	}
	return out
}

// around are as many lines of a bar too long for them as there is room for, the
// grip that sounds among them; each grip has two.
func around(lines []pageLine, height int) []pageLine {
	from := 0
	for i, l := range lines {
		if l.from < l.to {
			from = i
		}
	}
	n := min(height/2*2, len(lines))
	from = min(from, len(lines)-n)
	return lines[from : from+n]
}

// A barLayout is how wide things are, the same in all bars of a page.
type barLayout struct {
	width, label int
	fret, gap    int   // least width of a string; between grips
	brief        bool  // beneath the names stands the last word alone
	names        []int // width of the name of each grip of a bar
	columns      []int // and of the whole grip
}

// layout is the roomiest that the window has the width for. All strings equally
// wide are easier to read.
func (p page) layout(width int) (l barLayout) {
	for _, way := range []barLayout{{fret: 2, gap: 2}, {fret: 1, gap: 2}, {fret: 1, gap: 1, brief: true}} {
		l = way
		l.width = width
		for _, b := range p.bars {
			l.label = max(l.label, len([]rune(b.label))+2)
			for i, g := range b.grips {
				if i == len(l.names) {
					l.names, l.columns = append(l.names, 0), append(l.columns, 0)
				}
				l.names[i] = max(l.names[i], ansi.StringWidth(g.name), ansi.StringWidth(l.under(g)))
				l.columns[i] = max(l.columns[i], len([]rune(l.strings(g.frets, g))))
			}
		}
		for i, n := range l.names {
			l.columns[i] += 1 + n + 1
		}
		if l.total() <= width {
			return l
		}
	}
	// They stand below each other: the strings too.
	widest := 0
	for _, n := range l.names {
		widest = max(widest, n)
	}
	for i, n := range l.names {
		l.columns[i] += widest - n
		l.names[i] = widest
	}
	return l
}

// under is what stands beneath the name of a grip.
func (l barLayout) under(g pageGrip) string {
	if l.brief {
		return g.under[strings.LastIndex(g.under, " ")+1:]
	}
	return g.under
}

func (l barLayout) total() int {
	n := l.label
	for _, c := range l.columns {
		n += c + l.gap
	}
	return n - l.gap
}

// strings are what stands on each string, each as wide as its fret.
func (l barLayout) strings(what []string, g pageGrip) string {
	var b strings.Builder
	for i, s := range what {
		w := l.fret
		if i < len(g.frets) {
			w = max(w, len(g.frets[i]))
		}
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(strings.Repeat(" ", max(w-len(s), 0)) + s)
	}
	return b.String()
}

// bar is two lines, and two more for grips that have no room beside the others;
// one without a grip is one line.
func (l barLayout) bar(b pageBar) []pageLine {
	mark := " "
	if b.here {
		mark = markNow
	}
	top := pageLine{text: padTo(mark+b.label, l.label)}
	low := pageLine{text: padTo("", l.label)}
	if len(b.grips) == 0 {
		if !b.bare {
			what := "no new grip"
			if b.before {
				what = "pick-up"
			}
			if b.notes != "" {
				what += ": " + b.notes
			}
			top.text += " " + what
		}
		return []pageLine{top}
	}
	var out []pageLine
	used := l.label
	for i, g := range b.grips {
		w := l.columns[i]
		if i > 0 && used+w > l.width {
			out = append(out, top, low)
			top, low = pageLine{text: padTo("", l.label)}, pageLine{text: padTo("", l.label)}
			used = l.label
		}
		sign := " "
		if g.now {
			sign = markNow
		}
		cell := sign + padTo(g.name, l.names[i]) + " " + l.strings(g.frets, g)
		if g.now {
			top.from = len([]rune(top.text))
			top.to = top.from + len([]rune(cell))
		}
		top.text += padTo(cell, w+l.gap)
		low.text += padTo(" "+padTo(l.under(g), l.names[i])+" "+l.strings(g.fingers, g), w+l.gap)
		used += w + l.gap
	}
	return append(out, top, low)
}

func padTo(s string, width int) string {
	return s + strings.Repeat(" ", max(width-ansi.StringWidth(s), 0))
}

// wrapped breaks a text at its blanks.
func wrapped(text string, width int) []pageLine {
	var out []pageLine
	row := ""
	for _, w := range strings.Fields(text) {
		if row != "" && ansi.StringWidth(row)+1+ansi.StringWidth(w) > width {
			out = append(out, whole(row))
			row = " "
		}
		if row != "" {
			row += " "
		}
		row += w
	}
	return append(out, whole(row))
}

// cutTo keeps lines inside a window.
func cutTo(lines []pageLine, width, height int) []pageLine {
	out := make([]pageLine, 0, min(len(lines), height))
	for _, l := range lines[:min(len(lines), height)] {
		l.text = strings.TrimRight(ansi.Truncate(l.text, width, ""), " ")
		n := len([]rune(l.text))
		l.from, l.to = min(l.from, n), min(l.to, n)
		out = append(out, l)
	}
	return out
}

// styled is the page for a terminal; where it takes no styles, bare is set.
func styled(lines []pageLine, bare bool) string {
	stress := ansi.Style{}.Bold().Reverse(true)
	var b strings.Builder
	for i, l := range lines {
		if i > 0 {
			b.WriteByte('\n')
		}
		if bare || l.from >= l.to {
			b.WriteString(l.text)
			continue
		}
		r := []rune(l.text)
		b.WriteString(string(r[:l.from]) + stress.Styled(string(r[l.from:l.to])) + string(r[l.to:]))
	}
	return b.String()
}
