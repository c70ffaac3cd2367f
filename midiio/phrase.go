package midiio

import "thumbline/voicing"

// measureTune finds how long each note of the tune is sung: until the next, for
// on another string it may ring longer.
func measureTune(ks []stroke) {
	var before *stroke
	for i := range ks {
		k := &ks[i]
		if k.note.Voice != voicing.Melody {
			continue
		}
		k.sung = k.note.Dur
		if before != nil && k.note.At > before.note.At {
			before.sung = min(before.sung, k.note.At-before.note.At)
		}
		before = k
	}
}

// A turn is a moment at which the swell of a phrase changes its direction.
type turn struct {
	at voicing.Tick
	db float64
}

// A swell goes in straight lines from turn to turn.
type swell []turn

// at is the swell at t in dB. t lies between turns leg and leg+1, or before the
// first or after the last.
func (s swell) at(leg int, t voicing.Tick) float64 {
	switch {
	case len(s) == 0:
		return 0
	case t <= s[leg].at || leg+1 >= len(s):
		return s[leg].db
	}
	x, y := s[leg], s[leg+1]
	return x.db + (y.db-x.db)*float64(t-x.at)/float64(y.at-x.at)
}

// shapePhrases finds where phrases arrive and how they swell on the way. A
// phrase goes from the first note after the arrival before, so that a pick-up
// belongs to what it leads to, to its own arrival.
func shapePhrases(a *voicing.Arrangement, ks []stroke) swell {
	var tune []*stroke
	for i := range ks {
		if k := &ks[i]; k.note.Voice == voicing.Melody {
			tune = append(tune, k)
		}
	}
	var s swell
	first := 0 // note of the phrase
	for i, p := range a.Phrases {
		if p.From < 0 || p.To > len(a.Bars) || p.From >= p.To {
			continue
		}
		last := a.Bars[p.To-1]
		end := first
		for end < len(tune) && tune[end].note.At < last.At+last.Len {
			end++
		}
		if end == first {
			continue
		}
		arrival := first + arrivalOf(tune[first:end], last, i == len(a.Phrases)-1)
		top := first
		for i := first; i <= arrival; i++ {
			if k, h := tune[i], tune[top]; k.note.MIDI > h.note.MIDI || k.note.MIDI == h.note.MIDI && k.sung > h.sung {
				top = i
			}
		}
		tune[arrival].arrives = true
		if top > first {
			s = append(s, turn{tune[first].note.At, phraseStart})
		}
		if arrival > first {
			s = append(s, turn{tune[top].note.At, phraseTop})
		}
		if arrival > top || arrival == first {
			s = append(s, turn{tune[arrival].note.At, phraseArrival})
		}
		first = arrival + 1
	}
	return s
}

// arrivalOf is the note at which a phrase arrives. At the end of a tune it is
// the last of a beat or more. Elsewhere the next phrase may begin in the last
// bar with a pick-up, so it is the longest note of that bar, or the one before
// which still rings or rests there; of equal ones the last.
func arrivalOf(notes []*stroke, last voicing.Bar, final bool) int {
	best := len(notes) - 1
	for i := best; i >= 0; i-- {
		if i+1 < len(notes) && notes[i+1].note.At <= last.At {
			break // a whole bar is no pick-up
		}
		if long := notes[i].sung; long >= last.Beat && (i == best || long > notes[best].sung) {
			best = i
			if final {
				break
			}
		}
	}
	return best
}
