package midiio

import "slices"

// BendRange is s with the range of the pitch bend said on each channel that is
// bent before s says it: RPN 0 (MIDI 1.0) of 2 semitones, which is what General
// MIDI 1 has where nothing is said, at the beginning. It is s itself where
// nothing is missing.
func BendRange(s *Sequence) *Sequence {
	var told, missing [16]bool
	var layers [16]Layer
	param := [16][2]byte{} // number of the registered parameter, high bits first
	for ch := range param {
		param[ch] = [2]byte{127, 127} // none
	}
	for _, e := range s.Events {
		ch := channel(e.Msg)
		switch e.Msg[0] & 0xF0 {
		case statusControl:
			switch e.Msg[1] {
			case 101:
				param[ch][0] = e.Msg[2]
			case 100:
				param[ch][1] = e.Msg[2]
			case 98, 99: // one that is not registered
				param[ch] = [2]byte{127, 127}
			case 6:
				told[ch] = told[ch] || param[ch] == [2]byte{}
			}
		case statusBend:
			if !told[ch] && !missing[ch] {
				missing[ch], layers[ch] = true, e.Layer
			}
		}
	}
	var say []Event
	for ch, m := range missing {
		if m {
			for _, c := range [][2]byte{{101, 0}, {100, 0}, {6, 2}, {38, 0}, {101, 127}, {100, 127}} {
				say = append(say, Event{Layer: layers[ch], Msg: [3]byte{statusControl | byte(ch), c[0], c[1]}})
			}
		}
	}
	if len(say) == 0 {
		return s
	}
	out := *s
	out.Events = slices.Concat(say, s.Events)
	sortEvents(out.Events)
	return &out
}
