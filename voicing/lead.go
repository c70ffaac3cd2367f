package voicing

import (
	"cmp"
	"slices"

	"thumbline/theory"
)

// A Sung is a note of the tune as one hears the line: when it begins and how
// long it is sung.
type Sung struct{ At, Len Tick }

// A Line is what of the tune belongs to a phrase by sense: from the first note
// after the arrival before, so that a pick-up belongs to what it leads to, to
// its own arrival.
type Line struct {
	Phrase        int // index into Arrangement.Phrases
	From, Arrival int // first and last note of it
}

// Lines tells the lines of the tune apart, which is all its notes in order.
// Phrases in which no note is left have none.
func (a *Arrangement) Lines(tune []Sung) []Line {
	var out []Line
	first := 0
	for i, p := range a.Phrases {
		if p.From < 0 || p.To > len(a.Bars) || p.From >= p.To {
			continue
		}
		last := a.Bars[p.To-1]
		end := first
		for end < len(tune) && tune[end].At < last.At+last.Len {
			end++
		}
		if end == first {
			continue
		}
		l := Line{i, first, first + arrivalOf(tune[first:end], last, i == len(a.Phrases)-1)}
		out = append(out, l)
		first = l.Arrival + 1
	}
	return out
}

// arrivalOf is the note at which a phrase arrives. At the end of a tune it is
// the last of a beat or more. Elsewhere the next phrase may begin in the last
// bar with a pick-up, so it is the longest note of that bar, or the one before
// which still rings or rests there; of equal ones the last.
func arrivalOf(notes []Sung, last Bar, final bool) int {
	best := len(notes) - 1
	for i := best; i >= 0; i-- {
		if i+1 < len(notes) && notes[i+1].At <= last.At {
			break // a whole bar is no pick-up
		}
		if long := notes[i].Len; long >= last.Beat && (i == best || long > notes[best].Len) {
			best = i
			if final {
				break
			}
		}
	}
	return best
}

// sung is the tune in order, each note as long as it is written but not longer
// than to the next.
func (a *Arrangement) sung() []Sung {
	var out []Sung
	for _, n := range a.Notes {
		if n.Voice != Melody {
			continue
		}
		if k := len(out) - 1; k >= 0 && n.At > out[k].At {
			out[k].Len = min(out[k].Len, n.At-out[k].At)
		}
		out = append(out, Sung{n.At, n.Dur + n.Early})
	}
	return out
}

// lead is how long before the bar line of a bar the phrase that begins with it
// begins when it is played by itself, 0 where none begins: with the notes of the
// tune at the end of the bar before that lead to it, those after the arrival of
// the phrase before. It is less than a bar, and 0 where the phrase before goes on
// to the bar line, where it has its longest note last, where these notes lead to a
// rest, and where the phrase has the bar of its pick-up already. A note that is
// held over the bar line, and longer after it than before, belongs to what comes
// after.
func (a *Arrangement) lead(bar int) Tick {
	if bar <= 0 || bar >= len(a.Bars) || a.pickup(bar) > 0 {
		return 0
	}
	tune := a.sung()
	line := a.Bars[bar].At
	early := -1 // a note that comes before the bar line for what is after it
	for k, n := range tune {
		if over := n.At + n.Len - line; n.At < line && over > 0 && over >= line-n.At {
			early, tune[k].Len = k, line-n.At
		}
	}
	for _, l := range a.Lines(tune) {
		if a.Phrases[l.Phrase].To != bar {
			continue
		}
		next := l.Arrival + 1
		if l.Arrival == early {
			next = early
		}
		if next == len(tune) || tune[next].At >= line {
			return 0
		}
		// They belong to what they are nearer to.
		k := next
		for k+1 < len(tune) && tune[k+1].At < line {
			k++
		}
		before := tune[next].At - tune[l.Arrival].At - tune[l.Arrival].Len
		after := line - tune[k].At - tune[k].Len
		if k+1 < len(tune) {
			after += tune[k+1].At - line
		}
		if after > before && k != early {
			return 0
		}
		return line - tune[next].At
	}
	return 0
}

// pickup is the length of a bar that begins within its metre, 0 for every other.
// Such a one also completes the bar before it, where a sheet splits one at the
// beginning of a part and counts both. A short bar with nothing after it, or with
// a pick-up that completes it, is none, whatever it is called.
func (a *Arrangement) pickup(bar int) Tick {
	b := a.Bars[bar]
	if b.Len >= b.full() {
		return 0
	}
	named := func(b Bar) bool { return (theory.Bar{Label: b.Label}).IsPickup() }
	switch {
	case named(b) && bar > 0 && (bar+1 == len(a.Bars) || named(a.Bars[bar+1]) && b.Len+a.Bars[bar+1].Len <= b.full()):
		return 0
	case named(b):
		return b.Len
	case bar == 0:
		return 0
	}
	if before := a.Bars[bar-1]; !named(before) && before.Metre == b.Metre && before.Len+b.Len == b.full() {
		return b.Len
	}
	return 0
}

// LoopPart is LoopSpan for a phrase, a section or what else begins and ends with
// phrases: with its own pick-up, and without that of what comes after it.
func (a *Arrangement) LoopPart(from, to int) (start, end, tail Tick) {
	if from < 0 || to > len(a.Bars) || from >= to {
		return 0, 0, 0
	}
	return a.LoopSpan(from, to, a.lead(from), a.lead(to))
}

// LoopSpan is the time in which bars [from, to) go round so that the metre goes
// on over the seam: from start to end, and tail longer, in which nothing is
// struck and the last notes ring on. lead is how long before the first bar line
// it begins (0 for bars as they are), trail how long before the last one
// the pick-up of what comes after begins, which is left out (0 to keep it). A
// bar that is itself a pick-up counts as the lead it is.
//
// Where the guitar strikes nothing in the last bar from the moment at which the
// pick-up is due, or only fills the time, it comes there, as one who claps along
// would have it; else silence fills the time until it is due the next time. Bars
// outside the table or in wrong order give nothing.
func (a *Arrangement) LoopSpan(from, to int, lead, trail Tick) (start, end, tail Tick) {
	if from < 0 || to > len(a.Bars) || from >= to {
		return 0, 0, 0
	}
	first, last := a.Bars[from], a.Bars[to-1]
	lead = min(max(lead, 0), first.At)
	start, end = first.At-lead, last.At+last.Len
	full := max(last.full(), 1)
	// Counted from the last bar line: where the last bar ends, and where what
	// comes round again begins.
	ends := last.Len
	if a.pickup(to-1) > 0 {
		ends = full
	}
	begins := full - (lead+a.pickup(from))%full
	over := ends - begins
	trail = min(max(trail, 0), last.Len, end-start-1)
	own := end - trail
	if over > 0 && (over <= trail || a.idle(end-over, own)) && end-over > start {
		cut := end - over
		end = min(cut, own)
		return start, end, cut - end
	}
	tail = trail - over
	if over > 0 {
		tail += full
	}
	return start, own, tail
}

// idle reports that in [from, to) the guitar takes no grip and strikes nothing but
// what fills long notes and rests.
func (a *Arrangement) idle(from, to Tick) bool {
	i, _ := slices.BinarySearchFunc(a.Notes, from, func(n Note, t Tick) int { return cmp.Compare(n.At, t) })
	for ; i < len(a.Notes) && a.Notes[i].At < to; i++ {
		if !a.Notes[i].Fill {
			return false
		}
	}
	return !slices.ContainsFunc(a.Grips, func(g Placed) bool { return in(g.At, from, to) })
}
