package midiio

import (
	"math/big"
	"testing"
)

// A file of many tempi is laid out to the frame: its microseconds add up, and
// their sum has the denominator of one of them.
func TestManyTempi(t *testing.T) {
	s := &Sequence{End: 5000 * PerQuarter}
	sum := int64(0) // µs
	for i := range int64(5000) {
		us := 400000 + i*7919%200000
		sum += us
		s.Tempi = append(s.Tempi, TempoMark{Tick(i) * PerQuarter, 60e6 / float64(us)})
	}
	const rate = 44100
	r := newRuler(s, 0, s.End, rate, big.NewRat(1, 1))
	got := r.exact(s.End, 0)
	if want := big.NewRat(sum*rate, 1e6); got.Cmp(want) != 0 {
		t.Errorf("%v frames, want %v", got, want)
	}
	if at := r.tick(r.segs[4000].posF); at != 4000*PerQuarter {
		t.Errorf("tick %d at the beginning of quarter 4001", at)
	}
}

// Other tempi are the decimals that they are written as.
func TestExactTempo(t *testing.T) {
	for bpm, want := range map[float64]*big.Rat{
		120: big.NewRat(120, 1), 140: big.NewRat(140, 1), 107.3: big.NewRat(1073, 10),
		60e6 / 428571.: big.NewRat(60e6, 428571), 60e6 / 1.: big.NewRat(60e6, 1),
	} {
		if got := exactTempo(bpm); got.Cmp(want) != 0 {
			t.Errorf("%v: %v, want %v", bpm, got, want)
		}
	}
}
