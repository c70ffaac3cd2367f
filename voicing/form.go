package voicing

import (
	"fmt"
	"strconv"
	"strings"

	"thumbline/theory"
)

// MostChoruses is how often a tune may be played.
const MostChoruses = 20

// The names of the sections that are put in.
const (
	IntroName  = "introduction"
	EndingName = "ending"
)

// A form is the line that is arranged: the tune as often as it is played, and
// what is put in before and after it.
type form struct {
	tune *theory.Tune // all of it, as one line
	// of each note of the line's melody: it is not the tune but put in, and how
	// long it is written where something takes over before it ends
	fill     []bool
	full     []theory.Time
	over     []passageChord // chords of the ending that take the place of the sheet's own
	pins     []passageChord // chords of bars put in that lie in a certain way
	choruses []Section      // one for each time through, where there are several
	comped   int            // index of the chorus without its tune, -1 for none
	intro    int            // how many bars are put in before the tune
	ending   int            // index of the first bar put in after it; all bars where none is
	names    [2]string      // of the introduction and of the ending
}

// newForm lays out what is played. The tune, at its sounding pitch, is not
// changed.
func newForm(t *theory.Tune, p *Plan, n Neck) (*form, error) {
	intro, err := ParseIntro(p.Intro)
	if err != nil {
		return nil, err
	}
	ending, err := ParseEnding(p.Ending)
	if err != nil {
		return nil, err
	}
	choruses := max(p.Choruses, 1)
	if p.Choruses < 0 || choruses > MostChoruses {
		return nil, fmt.Errorf("%d choruses (1 to %d can be played)", p.Choruses, MostChoruses)
	}
	if p.Comp < 0 || p.Comp > choruses || p.Comp > 0 && choruses == 1 {
		return nil, fmt.Errorf("comping in chorus %d (there must be several, and this one of them)", p.Comp)
	}
	f := &form{tune: &theory.Tune{Title: t.Title, Composer: t.Composer, Key: t.Key, TempoAssumed: t.TempoAssumed, Warnings: t.Warnings}, comped: p.Comp - 1}
	fr := newFrame(t, n, p)
	if intro.Kind != "none" {
		x, err := choose(fr.introductions(intro.Kind), intro, IntroName)
		if err != nil {
			return nil, err
		}
		f.names[0] = x.name
		like, _ := fullBar(t)
		f.put(&x, like, IntroName, "i")
		f.intro = len(f.tune.Bars)
	}
	for c := range choruses {
		f.play(t, c)
	}
	f.ending = len(f.tune.Bars)
	if ending.Kind != "none" {
		x, err := fr.ending(ending)
		if err != nil {
			return nil, err
		}
		f.names[1] = x.name
		f.close(&x)
	}
	f.tune.DividePhrases()
	return f, nil
}

// fullBar is the first bar of a tune that is no pick-up, the last of all where
// all are, and how long the pick-up is.
func fullBar(t *theory.Tune) (full theory.Bar, pickup theory.Time) {
	for _, full = range t.Bars {
		if !full.IsPickup() {
			break
		}
		pickup = pickup.Add(full.Len)
	}
	return full, pickup
}

// put appends the bars of a passage that stand for themselves, in the metre and
// key of like, labelled after a letter.
func (f *form) put(x *passage, like theory.Bar, section, letter string) {
	t := f.tune
	from, at := len(t.Bars), t.End()
	start := at.Sub(x.lead)
	for i, d := range x.bars {
		b := like
		b.Label, b.Pass, b.Source = letter+strconv.Itoa(i+1), 1, -1
		b.At, b.Len = at, d
		t.Bars = append(t.Bars, b)
		at = at.Add(d)
	}
	if len(t.Bars) > from {
		t.Sections = append(t.Sections, theory.Section{Name: section, From: from, To: len(t.Bars)})
	}
	for _, n := range x.notes {
		n.At = n.At.Add(start)
		f.note(n, true)
	}
	for _, c := range x.chords {
		over := c.At.Less(x.lead)
		c.At = c.At.Add(start)
		if over {
			f.over = append(f.over, c)
			continue
		}
		f.change(c.Change)
		if c.asks() {
			f.pins = append(f.pins, c)
		}
	}
}

// note appends a note to the line.
func (f *form) note(n theory.Note, fill bool) {
	f.tune.Melody = append(f.tune.Melody, n)
	f.fill = append(f.fill, fill)
	f.full = append(f.full, n.Len)
}

// change appends a chord to the line; the one before lasts until it comes.
func (f *form) change(c theory.Change) {
	t := f.tune
	if k := len(t.Changes); k > 0 {
		t.Changes[k-1].Len = c.At.Sub(t.Changes[k-1].At)
	}
	t.Changes = append(t.Changes, c)
}

// makeRoom shortens the last bar where a pick-up comes next that it has no room
// for, so that no beat is counted twice. It reports false where the tune itself
// fills the bar to its end: there it leads on by itself, and the pick-up has no
// place.
func (f *form) makeRoom(next theory.Bar) bool {
	t := f.tune
	k := len(t.Bars) - 1
	if k < 0 || !next.IsPickup() {
		return true
	}
	b := &t.Bars[k]
	full := b.Metre.BarLen()
	over := b.Len.Add(next.Len).Sub(full)
	zero := theory.Time{}
	if over.Cmp(zero) <= 0 || !over.Less(b.Len) {
		return true
	}
	end := b.At.Add(b.Len).Sub(over)
	if m := len(t.Melody) - 1; m >= 0 {
		n := &t.Melody[m]
		if !n.At.Less(end) {
			return false
		}
		if end.Less(n.At.Add(n.Len)) {
			n.Len = end.Sub(n.At)
			f.full[m] = n.Len
		}
	}
	for len(t.Changes) > 0 && !t.Changes[len(t.Changes)-1].At.Less(end) {
		t.Changes = t.Changes[:len(t.Changes)-1]
	}
	b.Len = b.Len.Sub(over)
	return true
}

// play appends the tune once more, the bars counted on from the time before.
func (f *form) play(t *theory.Tune, chorus int) {
	l := f.tune
	skip := 0 // bars of the pick-up that have no place
	if !f.makeRoom(t.Bars[0]) {
		for skip < len(t.Bars)-1 && t.Bars[skip].IsPickup() {
			skip++
		}
	}
	t = without(t, skip)
	passes := map[string]int{} // of each label in one chorus
	for _, b := range t.Bars {
		label, _, _ := strings.Cut(b.Label, "/")
		passes[label] = max(passes[label], b.Pass, 1)
	}
	from, at := len(l.Bars), l.End()
	for _, b := range t.Bars {
		if chorus > 0 {
			label, _, _ := strings.Cut(b.Label, "/")
			b.Pass = max(b.Pass, 1) + chorus*passes[label]
			b.Label = label + "/" + strconv.Itoa(b.Pass)
		}
		b.At = b.At.Add(at)
		l.Bars = append(l.Bars, b)
	}
	for _, s := range t.Sections {
		l.Sections = append(l.Sections, theory.Section{Name: s.Name, From: s.From + from, To: s.To + from})
	}
	if chorus != f.comped {
		for _, n := range t.Melody {
			n.At = n.At.Add(at)
			f.note(n, false)
		}
	}
	for _, c := range t.Changes {
		c.At = c.At.Add(at)
		f.change(c)
	}
	for i, m := range t.Tempi {
		if chorus == 0 && from > 0 && i == 0 { // the introduction has the tune's tempo
			l.Tempi = append(l.Tempi, theory.TempoMark{BPM: m.BPM, Text: m.Text})
			continue
		}
		if k := len(l.Tempi); k == 0 || l.Tempi[k-1].BPM != m.BPM {
			m.At = m.At.Add(at)
			l.Tempi = append(l.Tempi, m)
		}
	}
	f.choruses = append(f.choruses, Section{"chorus " + strconv.Itoa(chorus+1), from, len(l.Bars)})
}

// without is a tune that begins later by some bars; what rings over into the
// first that is left is struck there.
func without(t *theory.Tune, bars int) *theory.Tune {
	if bars == 0 {
		return t
	}
	start := t.Bars[bars].At
	c := *t
	c.Bars, c.Sections, c.Melody, c.Changes, c.Tempi = nil, nil, nil, nil, nil
	for _, b := range t.Bars[bars:] {
		b.At = b.At.Sub(start)
		c.Bars = append(c.Bars, b)
	}
	for _, s := range t.Sections {
		if s.From, s.To = max(s.From-bars, 0), s.To-bars; s.From < s.To {
			c.Sections = append(c.Sections, s)
		}
	}
	var zero theory.Time
	ok := false
	for _, n := range t.Melody {
		if n.At, n.Len, ok = since(start, n.At, n.Len); ok {
			c.Melody = append(c.Melody, n)
		}
	}
	for _, x := range t.Changes {
		if x.At, x.Len, ok = since(start, x.At, x.Len); ok {
			c.Changes = append(c.Changes, x)
		}
	}
	for _, m := range t.Tempi {
		if m.At = m.At.Sub(start); m.At.Cmp(zero) <= 0 {
			m.At, c.Tempi = zero, nil
		}
		c.Tempi = append(c.Tempi, m)
	}
	return &c
}

// close puts the ending after the tune.
func (f *form) close(x *passage) {
	t := f.tune
	last := &t.Bars[len(t.Bars)-1]
	if d := missing(*last); len(x.bars) > 0 && d != (theory.Time{}) {
		// a bar that was short for the pick-up is played out
		last.Len = last.Len.Add(d)
		if m := len(t.Melody) - 1; m >= 0 && last.At.Less(t.Melody[m].At.Add(t.Melody[m].Len)) { // no note of a chorus before
			t.Melody[m].Len = t.Melody[m].Len.Add(d)
			f.full[m] = t.Melody[m].Len
		}
		if k := len(t.Changes) - 1; k >= 0 {
			t.Changes[k].Len = t.Changes[k].Len.Add(d)
		}
	}
	if start := t.End().Sub(x.lead); len(x.notes) > 0 {
		first := start.Add(x.notes[0].At)
		if m := len(t.Melody) - 1; m >= 0 && first.Less(t.Melody[m].At.Add(t.Melody[m].Len)) {
			t.Melody[m].Len = first.Sub(t.Melody[m].At)
		}
	}
	f.put(x, *last, EndingName, "e")
}
