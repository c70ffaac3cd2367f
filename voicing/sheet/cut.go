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
	// struck reports whether t lies in the cut, and counts it from there.
	struck := func(t *voicing.Tick) bool {
		*t -= start
		return *t >= 0 && *t < end-start
	}
	left := func(s *voicing.Section) bool {
		s.From, s.To = clamp(s.From, from, to), clamp(s.To, from, to)
		return s.From < s.To
	}

	c.Bars = slices.Clone(a.Bars[from:to])
	for i := range c.Bars {
		c.Bars[i].At -= start
	}
	c.Sections, c.Choruses = kept(a.Sections, left), kept(a.Choruses, left)
	if !left(&c.Comped) {
		c.Comped = voicing.Section{}
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
		case struck(&m.At):
			c.Chords = append(c.Chords, m)
		}
	}
	c.Added = kept(a.Added, func(m *voicing.ChordMark) bool { return struck(&m.At) })
	c.Melody = kept(a.Melody, func(n *voicing.TuneNote) bool {
		n.Dur = min(n.Dur, end-n.At)
		return struck(&n.At)
	})
	c.Grips = kept(a.Grips, func(g *voicing.Placed) bool {
		g.Bar -= from
		return struck(&g.At)
	})
	c.Notes = kept(a.Notes, func(n *voicing.Note) bool {
		if n.Dur >= end-n.At {
			n.Dur, n.Ends, n.Early = end-n.At, voicing.EndMeant, 0
		}
		n.Early = min(n.Early, end-n.At-n.Dur)
		return struck(&n.At)
	})
	c.Bassist = kept(a.Bassist, func(n *voicing.BassNote) bool {
		n.Dur = min(n.Dur, end-n.At)
		return struck(&n.At)
	})
	c.Time = kept(a.Time, func(x *voicing.Stroke) bool { return struck(&x.At) })
	c.LetGo = kept(a.LetGo, func(g *voicing.LetGo) bool {
		rest := end - g.At - g.Dur
		g.Early = min(g.Early, rest)
		return struck(&g.At) && rest > 0
	})
	return &c
}

// kept are the entries that keep, which may change them, wants in the cut; nil
// when it wants none. The list itself stays as it is.
func kept[T any](list []T, keep func(*T) bool) []T {
	var out []T
	for _, x := range list {
		if keep(&x) {
			out = append(out, x)
		}
	}
	return out
}

// clamp brings a bar number into [from, to] and counts it from from.
func clamp(n, from, to int) int { return min(max(n, from), to) - from }
