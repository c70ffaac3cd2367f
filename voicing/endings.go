package voicing

import "thumbline/theory"

// A frame is what an introduction or an ending is built from.
type frame struct {
	tune *theory.Tune // at its sounding pitch, once through
	neck Neck
	bpm  float64      // quarters a minute at the end
	bar  theory.Bar   // the last, whose metre, key and beat those put in have
	last theory.Note  // of the tune
	home theory.Chord // the last written
}

// newFrame looks at a tune that has notes and bars.
func newFrame(t *theory.Tune, n Neck) *frame {
	f := &frame{tune: t, neck: n, bpm: 120, bar: t.Bars[len(t.Bars)-1], last: t.Melody[len(t.Melody)-1]}
	for _, m := range t.Tempi {
		f.bpm = m.BPM
	}
	for _, c := range t.Changes {
		if !c.Chord.NoChord {
			f.home = c.Chord
		}
	}
	return f
}

// endings are those of a kind, the one that suits best first.
func (f *frame) endings(kind string) []passage {
	return []passage{{name: kind}}
}
