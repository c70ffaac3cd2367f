package leadsheet

import (
	"fmt"
	"slices"

	"thumbline/theory"
)

// A loss is what differs between a tune and what its written form is read as.
type loss struct {
	music    string // what of the music differs, empty when nothing does
	sections bool
	labels   bool
	text     bool // title, composer, words for the tempo
}

// less orders ways to write: the music counts most, the numbers of bars least.
func (l loss) less(m loss) bool {
	switch {
	case (l.music == "") != (m.music == ""):
		return l.music == ""
	case l.sections != m.sections:
		return !l.sections
	case l.text != m.text:
		return !l.text
	}
	return !l.labels && m.labels
}

// told says what is lost, in the words of a player.
func (l loss) told(p *abcWriter) []string {
	var out []string
	if l.labels {
		out = append(out, "Bars are counted anew here: their numbers differ from the sheet that was read.")
	}
	if l.sections {
		s := "Sections are divided anew here."
		for _, x := range p.tune.Sections {
			if n := p.names[x.Name]; n != x.Name {
				s = fmt.Sprintf("Some sections have other names here: %s is %s.", quote(x.Name), n)
				break
			}
		}
		out = append(out, s)
	}
	return out
}

// lossOf reads the text and compares.
func lossOf(t *theory.Tune, text string) loss {
	l := &log{lenient: true}
	s := readABC(text, Options{}, l)
	u := s.build(l)
	if u == nil {
		return loss{music: fmt.Sprint(l.err()), sections: true, labels: true, text: true}
	}
	return differences(t, u)
}

// differences compares two tunes.
func differences(t, u *theory.Tune) loss {
	var l loss
	l.music = musicDiffers(t, u)
	l.sections = !slices.Equal(t.Sections, u.Sections)
	l.labels = !slices.Equal(t.Phrases, u.Phrases) // cut where labels say that a bar is a pick-up
	l.text = t.Title != u.Title || t.Composer != u.Composer
	if len(t.Bars) == len(u.Bars) {
		for i, b := range t.Bars {
			l.labels = l.labels || b.Label != u.Bars[i].Label
		}
	}
	return l
}

// musicDiffers says where the music of two tunes parts, or nothing.
func musicDiffers(t, u *theory.Tune) string {
	if len(t.Bars) != len(u.Bars) {
		return fmt.Sprintf("%d bars become %d", len(t.Bars), len(u.Bars))
	}
	for i, b := range t.Bars {
		c := u.Bars[i]
		if b.At != c.At || b.Len != c.Len || b.Metre != c.Metre || b.Key != c.Key || b.Beat != c.Beat {
			return fmt.Sprintf("bar %s of length %s in %s and %s becomes one of %s in %s and %s", b.Label, b.Len, b.Metre, b.Key, c.Len, c.Metre, c.Key)
		}
	}
	for i, n := range t.Melody {
		if i >= len(u.Melody) {
			return fmt.Sprintf("the note %s at %s is lost", n.Pitch, t.PlaceOf(n.At))
		}
		m := u.Melody[i]
		if n.At != m.At || n.Len != m.Len || n.Pitch != m.Pitch || !slices.Equal(n.Grace, m.Grace) {
			return fmt.Sprintf("the note %s at %s of length %s becomes %s at %s of length %s", n.Pitch, t.PlaceOf(n.At), n.Len, m.Pitch, u.PlaceOf(m.At), m.Len)
		}
	}
	if len(u.Melody) > len(t.Melody) {
		return "a note is added"
	}
	for i, c := range t.Changes {
		if i >= len(u.Changes) || c != u.Changes[i] {
			return fmt.Sprintf("the chord symbol %s at %s is not read back", c.Chord, t.PlaceOf(c.At))
		}
	}
	if len(u.Changes) > len(t.Changes) {
		return "a chord symbol is added"
	}
	if t.TempoAssumed != u.TempoAssumed || !slices.Equal(t.Tempi, u.Tempi) {
		return "the tempo is not read back"
	}
	return ""
}
