package theory

import (
	"errors"
	"fmt"
)

// phraseBars is the length of a phrase, shortest that of the last in a section.
const (
	phraseBars     = 4
	shortestPhrase = 2
)

// DividePhrases fills Phrases from Sections: groups of four bars, a pick-up
// going with the group it leads into, a remainder of less than two bars with
// the group before. A tune without sections gets one, with no name, over all
// its bars. Together the phrases hold every bar once.
func (t *Tune) DividePhrases() {
	t.Phrases = nil
	if len(t.Bars) == 0 {
		return
	}
	if len(t.Sections) == 0 {
		t.Sections = []Section{{From: 0, To: len(t.Bars)}}
	}
	at := 0
	for _, s := range t.Sections {
		from, to := min(max(s.From, at), len(t.Bars)), min(s.To, len(t.Bars))
		// Bars that no section claims are cut for themselves.
		t.divide(at, from)
		at = from
		if to > from {
			t.divide(from, to)
			at = to
		}
	}
	t.divide(at, len(t.Bars))
}

// divide cuts the bars [from, to).
func (t *Tune) divide(from, to int) {
	first := len(t.Phrases)
	start, whole := from, 0
	for i := from; i < to; i++ {
		if whole == phraseBars {
			t.Phrases = append(t.Phrases, Phrase{start, i})
			start, whole = i, 0
		}
		if !t.Bars[i].IsPickup() {
			whole++
		}
	}
	switch {
	case start == to:
	case whole < shortestPhrase && len(t.Phrases) > first:
		t.Phrases[len(t.Phrases)-1].To = to
	default:
		t.Phrases = append(t.Phrases, Phrase{start, to})
	}
}

// PhraseAt is the index of the phrase that holds the bar with this index, -1
// if there is none.
func (t *Tune) PhraseAt(bar int) int {
	for i, p := range t.Phrases {
		if p.From <= bar && bar < p.To {
			return i
		}
	}
	return -1
}

// Validate checks what everything after the reading relies on: bars that
// follow each other from 0 without a gap and each have their own label, melody and changes in order and
// within the bars, no overlap, no gap between changes, a tempo at 0, sections
// and phrases within the bars. All faults are told, in order.
func (t *Tune) Validate() error {
	var errs []error
	fault := func(at Time, format string, args ...any) {
		where := ""
		if len(t.Bars) > 0 {
			where = t.PlaceOf(at).String() + ": "
		}
		errs = append(errs, errors.New(where+fmt.Sprintf(format, args...)))
	}
	zero := Time{}
	if len(t.Bars) == 0 {
		errs = append(errs, errors.New("the tune has no bars"))
	}
	at := zero
	seen := map[string]bool{}
	for i, b := range t.Bars {
		if bar := b.place().bar(); seen[bar] {
			fault(b.At, "the label %s stands on more than one bar", bar)
		} else {
			seen[bar] = true
		}
		if b.At != at {
			fault(at, "bar %s begins at %v, the one before ends at %v", b.Label, b.At, at)
		}
		if b.Len.Cmp(zero) <= 0 {
			fault(b.At, "bar %s has the length %v", b.Label, b.Len)
		}
		if b.Metre.Num <= 0 || b.Metre.Den <= 0 {
			fault(b.At, "bar %s has the metre %v", b.Label, b.Metre)
		}
		if b.Label == "" {
			fault(b.At, "bar with index %d has no label", i)
		}
		at = b.At.Add(b.Len)
	}
	end := t.End()
	at = zero
	for _, n := range t.Melody {
		switch {
		case n.Len.Cmp(zero) <= 0:
			fault(n.At, "the note %v has the length %v", n.Pitch, n.Len)
		case n.At.Less(at):
			fault(n.At, "the note %v begins before the one before it ends", n.Pitch)
		case end.Less(n.At.Add(n.Len)):
			fault(n.At, "the note %v ends after the last bar", n.Pitch)
		}
		at = n.At.Add(n.Len)
	}
	for i, c := range t.Changes {
		switch {
		case c.Len.Cmp(zero) <= 0:
			fault(c.At, "the chord %v has the length %v", c.Chord, c.Len)
		case i > 0 && c.At.Less(at):
			fault(c.At, "the chord %v begins before the one before it ends", c.Chord)
		case i > 0 && at.Less(c.At):
			fault(at, "there is a gap before the chord %v", c.Chord)
		case i == 0 && c.At.Less(zero):
			fault(c.At, "the chord %v begins before the tune", c.Chord)
		case end.Less(c.At.Add(c.Len)):
			fault(c.At, "the chord %v ends after the last bar", c.Chord)
		}
		at = c.At.Add(c.Len)
	}
	if len(t.Tempi) == 0 || t.Tempi[0].At != zero {
		errs = append(errs, errors.New("the tune has no tempo at its beginning"))
	}
	for i, m := range t.Tempi {
		if !(m.BPM > 0) {
			fault(m.At, "the tempo is %g", m.BPM)
		}
		if i > 0 && !t.Tempi[i-1].At.Less(m.At) {
			fault(m.At, "tempo marks are not in order")
		}
	}
	last := 0
	for _, s := range t.Sections {
		if s.From < last || s.To <= s.From || s.To > len(t.Bars) {
			errs = append(errs, fmt.Errorf("section %q [%d, %d) is not in order within %d bars", s.Name, s.From, s.To, len(t.Bars)))
		}
		last = s.To
	}
	last = 0
	for i, p := range t.Phrases {
		if p.From != last || p.To <= p.From || p.To > len(t.Bars) || i == len(t.Phrases)-1 && p.To != len(t.Bars) {
			errs = append(errs, fmt.Errorf("phrase %d [%d, %d) does not follow within %d bars", i+1, p.From, p.To, len(t.Bars)))
		}
		last = p.To
	}
	return errors.Join(errs...)
}
