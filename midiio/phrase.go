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

// shapePhrases finds where phrases arrive and how they swell on the way.
func shapePhrases(a *voicing.Arrangement, ks []stroke) swell {
	var tune []*stroke
	var line []voicing.Sung
	for i := range ks {
		if k := &ks[i]; k.note.Voice == voicing.Melody {
			tune = append(tune, k)
			line = append(line, voicing.Sung{At: k.note.At, Len: k.sung})
		}
	}
	var s swell
	for _, l := range a.Lines(line) {
		first, arrival := l.From, l.Arrival
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
	}
	return s
}
