package sheet

import (
	"slices"

	"thumbline/theory"
	"thumbline/voicing"
)

// Cut is the arrangement of bars [from, to) alone, its times counted from the
// start of the first: what is struck there, cut off at the end, with the chord
// and the tempo that were in force. Notes struck earlier that still ring are
// left out. Bars keep their labels and phrases their numbers: those before the
// cut stay in the list, without bars. from and to must be within the bar table
// and in order; a range that is not gives an arrangement without bars.
func Cut(a *voicing.Arrangement, from, to int) *voicing.Arrangement {
	c := *a
	if from < 0 || to > len(a.Bars) || from >= to {
		from, to = 0, 0
	}
	if from == 0 && to == len(a.Bars) {
		return &c
	}
	var start, end voicing.Tick
	if to > from {
		start, end = a.Bars[from].At, a.Bars[to-1].At+a.Bars[to-1].Len
	}
	in := func(t voicing.Tick) bool { return t >= start && t < end }

	c.Bars = slices.Clone(a.Bars[from:to])
	for i := range c.Bars {
		c.Bars[i].At -= start
	}
	c.Sections, c.Choruses = cutSections(a.Sections, from, to), cutSections(a.Choruses, from, to)
	c.Comped = voicing.Section{}
	if s := cutSections([]voicing.Section{a.Comped}, from, to); len(s) > 0 {
		c.Comped = s[0]
	}
	c.Phrases, c.After = nil, 0
	for i, p := range a.Phrases {
		p = theory.Phrase{From: clamp(p.From, from, to), To: clamp(p.To, from, to)}
		if p.From < p.To || p.From == 0 {
			c.Phrases = append(c.Phrases, p)
			if i >= len(a.Phrases)-a.After {
				c.After++
			}
		}
	}
	c.Tempi = nil
	for _, m := range a.Tempi {
		switch {
		case m.At <= start:
			m.At = 0
			c.Tempi = []voicing.TempoMark{m}
		case m.At < end:
			m.At -= start
			c.Tempi = append(c.Tempi, m)
		}
	}
	c.Chords = nil
	for _, m := range a.Chords {
		switch {
		case m.At <= start && to > from:
			m.At = 0
			c.Chords = []voicing.ChordMark{m}
		case in(m.At):
			m.At -= start
			c.Chords = append(c.Chords, m)
		}
	}
	c.Added = nil
	for _, m := range a.Added {
		if in(m.At) {
			m.At -= start
			c.Added = append(c.Added, m)
		}
	}
	c.Melody = nil
	for _, n := range a.Melody {
		if in(n.At) {
			n.Dur = min(n.Dur, end-n.At)
			n.At -= start
			c.Melody = append(c.Melody, n)
		}
	}
	c.Grips = nil
	for _, g := range a.Grips {
		if in(g.At) {
			g.At -= start
			g.Bar -= from
			c.Grips = append(c.Grips, g)
		}
	}
	c.Notes = nil
	for _, n := range a.Notes {
		if in(n.At) {
			if n.Dur >= end-n.At {
				n.Dur, n.Ends, n.Early = end-n.At, voicing.EndMeant, 0
			}
			n.Early = min(n.Early, end-n.At-n.Dur)
			n.At -= start
			c.Notes = append(c.Notes, n)
		}
	}
	c.Bassist = nil
	for _, n := range a.Bassist {
		if in(n.At) {
			n.Dur = min(n.Dur, end-n.At)
			n.At -= start
			c.Bassist = append(c.Bassist, n)
		}
	}
	c.Time = nil
	for _, x := range a.Time {
		if in(x.At) {
			x.At -= start
			c.Time = append(c.Time, x)
		}
	}
	c.LetGo = nil
	for _, g := range a.LetGo {
		if in(g.At) && g.At+g.Dur < end {
			g.Early = min(g.Early, end-g.At-g.Dur)
			g.At -= start
			c.LetGo = append(c.LetGo, g)
		}
	}
	return &c
}

// cutSections are those of which something is left.
func cutSections(ss []voicing.Section, from, to int) []voicing.Section {
	var out []voicing.Section
	for _, s := range ss {
		s.From, s.To = clamp(s.From, from, to), clamp(s.To, from, to)
		if s.From < s.To {
			out = append(out, s)
		}
	}
	return out
}

// clamp brings a bar number into [from, to] and counts it from from.
func clamp(n, from, to int) int { return min(max(n, from), to) - from }
