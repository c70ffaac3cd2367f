package leadsheet

import (
	"io"

	"thumbline/theory"
)

// An Inspection is what a sheet says although it may not be complete.
type Inspection struct {
	// Tune is what could be read: nil where there is no bar of music, else a tune
	// that may lack notes, chord symbols or both and has whatever Faults tells of
	// left out. It is for showing and not for arranging when there are faults.
	Tune *theory.Tune
	// Faults is why Read refuses the sheet, empty when it does not.
	Faults ErrorList
	// Besides is the warnings of the tune but for those that Bars and Blanks tell:
	// of bars too short or too long and of quotes that are empty.
	Besides []theory.Warning
	// Bars are the written bars in the order in which they are first played.
	Bars []BarState
	// Blanks counts the pairs of quotes that wait for a chord symbol in ABC.
	Blanks int
}

// A BarState is how far a written bar has come.
type BarState struct {
	Label   string
	Index   int         // of Tune.Bars, the first time through
	Holds   theory.Time // quarters
	Full    theory.Time // what its metre asks for
	Wrong   bool        // it should be full and is not, whenever it is played
	Pickup  bool        // it is read as a pick-up
	Notes   int         // that sound in it
	Symbols int         // chord symbols that begin in it
	Under   bool        // a chord symbol of an earlier bar goes on into it
	Faults  ErrorList   // those that stand in it
}

// Empty reports a bar in which nothing was written but rests.
func (b BarState) Empty() bool { return b.Notes == 0 && b.Symbols == 0 && len(b.Faults) == 0 }

// Done reports a bar of the right length with notes under a chord symbol, its
// own or that of a bar before; a pick-up needs none.
func (b BarState) Done() bool {
	return !b.Wrong && len(b.Faults) == 0 && (b.Symbols > 0 || b.Under || b.Pickup) && b.Notes > 0
}

// HalfTyped reports a sheet that somebody is still writing: it has no notes or
// no chord symbols, empty quotes where one should be, its last bars hold rests
// alone, or a quarter of all bars do.
func (in *Inspection) HalfTyped() bool {
	if in.Tune == nil || len(in.Bars) == 0 {
		return false
	}
	empty := 0
	for _, b := range in.Bars {
		if b.Empty() {
			empty++
		}
	}
	return len(in.Tune.Melody) == 0 || len(in.Tune.Changes) == 0 || in.Blanks > 0 || in.Bars[len(in.Bars)-1].Empty() || 4*empty >= len(in.Bars)
}

// Inspect reads a lead sheet as Read does, and gives what it could read beside
// the faults that make Read refuse it. The error is that of reading r alone.
func Inspect(r io.Reader, name string, opt Options) (*Inspection, error) {
	data, err := readFile(r, name)
	if err != nil {
		return nil, err
	}
	l := &log{file: name, lenient: true}
	in := &Inspection{}
	s := readAny(data, opt, l)
	in.Tune = s.build(l)
	if err := l.err(); err != nil {
		in.Faults = l.faults
	}
	if s == nil || in.Tune == nil {
		return in, nil
	}
	in.Blanks = s.blanks
	in.Besides = l.told(func(w warning) bool { return !w.length && w.text != blankSymbol })
	in.barStates(s)
	return in, nil
}

// barStates looks at every written bar that is played.
func (in *Inspection) barStates(s *sheet) {
	t := in.Tune
	order := make([]int, len(t.Bars))
	for k, b := range t.Bars {
		order[k] = b.Source
	}
	wrong := make(map[int]bool)
	all, right := s.wrongLengths(order)
	for _, i := range all {
		wrong[i] = !right[i]
	}
	known := make(map[int]int) // written bars, as indices of in.Bars
	n, c := 0, 0
	for k, b := range t.Bars {
		end := b.At.Add(b.Len)
		for c < len(t.Changes) && t.Changes[c].At.Less(b.At) {
			c++
		}
		for n < len(t.Melody) && !b.At.Less(t.Melody[n].At.Add(t.Melody[n].Len)) {
			n++
		}
		if _, ok := known[b.Source]; ok {
			continue
		}
		known[b.Source] = len(in.Bars)
		x := BarState{Label: b.Label, Index: k, Holds: b.Len, Full: full(b.Metre), Wrong: wrong[b.Source], Pickup: b.IsPickup(), Under: c > 0}
		for i := n; i < len(t.Melody) && t.Melody[i].At.Less(end); i++ {
			x.Notes++
		}
		for i := c; i < len(t.Changes) && t.Changes[i].At.Less(end); i++ {
			x.Symbols++
		}
		in.Bars = append(in.Bars, x)
	}
	for _, f := range in.Faults {
		if f.Line == 0 {
			continue
		}
		if k, ok := known[s.barOf(place{f.Line, f.Col})]; ok {
			in.Bars[k].Faults = append(in.Bars[k].Faults, f)
		}
	}
}

// barOf is the written bar in which a place of the file lies, -1 before the
// first. The place of a bar in ABC is its first note; a chord symbol stands
// before it, behind the bar line.
func (s *sheet) barOf(p place) int {
	before := func(a, b place) bool { return a.line < b.line || a.line == b.line && a.col <= b.col }
	at := -1
	for i, b := range s.bars {
		if b.line > 0 && before(b.place, p) && (at < 0 || before(s.bars[at].place, b.place)) {
			at = i
		}
	}
	if p.line > len(s.lines) || at+1 >= len(s.bars) {
		return at
	}
	// What stands between the place and the next bar, or the end of the line.
	rest := []rune(s.lines[p.line-1])
	rest = rest[min(max(p.col-1, 0), len(rest)):]
	if next := s.bars[at+1]; next.line == p.line {
		rest = rest[:max(0, min(next.col-p.col, len(rest)))]
	}
	inside := false // a quoted text, which may hold a | of its own
	for _, c := range rest {
		switch {
		case c == '"':
			inside = !inside
		case c == '|' && !inside:
			return at
		}
	}
	return at + 1
}
