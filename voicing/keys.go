package voicing

import (
	"cmp"
	"slices"

	"thumbline/theory"
)

// A KeyRank says how a tune lies on the neck in one key.
type KeyRank struct {
	Key           theory.Key
	Transposition int     // semitones from the sheet
	Cost          float64 // of the best arrangement, per bar
	OpenBasses    int     // bass notes on open strings: they free the hand
	Stretch       float64 // the widest grip, mm
	HighestFret   int
	Shifts        int // moves of the hand over more than two frets
	Alone         int // places that want harmony where the tune stands alone
	// Refused says why the tune cannot be played in this key at all; the other
	// fields are empty then.
	Refused string
	Err     error // the same, as Arrange gave it
}

// RankKeys arranges the tune in all twelve keys and ranks them, the best first.
// Keys that cost the same stand in order of their distance from the sheet's.
func RankKeys(t *theory.Tune, p Plan) []KeyRank {
	var out []KeyRank
	neck := StandardNeck()
	if p.Neck != nil {
		neck = *p.Neck
	}
	for d := -5; d <= 6; d++ {
		k := t.Key.Transpose(theory.IntervalFor(t.Key, d))
		q := p
		q.Key = k.String()
		a, err := Arrange(t, q)
		if err != nil {
			out = append(out, KeyRank{Key: k, Transposition: d, Refused: err.Error(), Err: err})
			continue
		}
		r := KeyRank{Key: a.Key, Transposition: a.Transposition, Cost: a.Cost / float64(max(1, len(a.Bars))), Alone: a.Alone}
		for _, n := range a.Notes {
			r.HighestFret = max(r.HighestFret, n.Fret)
			if n.Voice == Bass && n.Fret == 0 {
				r.OpenBasses++
			}
		}
		pos := 0
		for attack := range attacks(a.Notes) {
			at := handAt(attack)
			if at == 0 {
				continue
			}
			if pos > 0 && absInt(at-pos) > 2 {
				r.Shifts++
			}
			pos = at
		}
		for _, g := range a.Grips {
			lo, hi := 99, 0
			for _, f := range g.Frets {
				if f > 0 {
					lo, hi = min(lo, f), max(hi, f)
				}
			}
			if hi > 0 {
				r.Stretch = max(r.Stretch, neck.At(hi)-neck.At(lo))
			}
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b KeyRank) int {
		switch {
		case a.Refused != "" && b.Refused == "":
			return 1
		case b.Refused != "" && a.Refused == "":
			return -1
		}
		return cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(keyDistance(a.Transposition), keyDistance(b.Transposition)))
	})
	return out
}

// keyDistance is how many semitones apart two keys are, octaves aside.
func keyDistance(transposition int) int {
	d := (transposition%12 + 12) % 12
	return min(d, 12-d)
}
