package theory

import "slices"

// Transpose returns a copy of the tune moved by iv. Each bar's key is moved
// with its signature kept within six sharps or flats, and notes and chords
// follow the spelling of their bar, so that no double accidental appears that
// was not there. The sounding distance is iv.Semitones throughout.
func (t *Tune) Transpose(iv Interval) *Tune {
	u := *t
	u.Bars = slices.Clone(t.Bars)
	u.Sections = slices.Clone(t.Sections)
	u.Phrases = slices.Clone(t.Phrases)
	u.Tempi = slices.Clone(t.Tempi)
	u.Warnings = slices.Clone(t.Warnings)
	u.Key = t.Key.Transpose(iv)
	for i := range u.Bars {
		u.Bars[i].Key = u.Bars[i].Key.Transpose(iv)
	}
	u.Melody = slices.Clone(t.Melody)
	for i, n := range u.Melody {
		by := t.intervalAt(n.At, iv)
		u.Melody[i].Pitch = n.Pitch.spelled(by)
		u.Melody[i].Grace = slices.Clone(n.Grace)
		for k, g := range n.Grace {
			u.Melody[i].Grace[k] = g.spelled(by)
		}
	}
	u.Changes = slices.Clone(t.Changes)
	for i, c := range u.Changes {
		u.Changes[i].Chord = c.Chord.Transpose(t.intervalAt(c.At, iv))
	}
	return &u
}

// intervalAt is iv in the spelling that the key of the bar at a time asks for.
func (t *Tune) intervalAt(at Time, iv Interval) Interval {
	key := t.Key
	if i := t.BarAt(at); i >= 0 {
		key = t.Bars[i].Key
	}
	_, by := key.transpose(iv)
	return by
}

// spelled transposes and takes away double accidentals that were not there.
func (p Pitch) spelled(iv Interval) Pitch {
	q := p.Transpose(iv)
	if p.Alter >= -1 && p.Alter <= 1 {
		return pitchAt(q.MIDI(), q.Name.simplified())
	}
	return q
}

// BarAt is the index of the bar that holds a time; the first or last bar for
// times before or after all, -1 if there are none.
func (t *Tune) BarAt(at Time) int {
	i, found := slices.BinarySearchFunc(t.Bars, at, func(b Bar, at Time) int { return b.At.Cmp(at) })
	if !found {
		i--
	}
	return max(i, min(0, len(t.Bars)-1))
}
