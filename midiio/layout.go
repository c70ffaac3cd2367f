package midiio

import (
	"math"
	"math/big"
	"sort"
	"strconv"
	"time"
)

// A ruler measures moments of a sequence in whole units (frames of sound, or
// ticks of a file) from one of them, exactly: what is a fraction of a unit is
// rounded once, at the end, half up.
type ruler struct {
	segs    []rulerSeg
	perNano *big.Rat // units a nanosecond
	nanoF   float64
}

type rulerSeg struct {
	at     Tick
	pos    *big.Rat // units from the origin
	slope  *big.Rat // units a tick
	posF   float64
	slopeF float64
}

// exact is x as the decimal it is written as, so that 0.6 is three fifths.
func exact(x float64) *big.Rat {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(x, 'g', -1, 64))
	if !ok {
		return nil // not finite
	}
	return r
}

// exactTempo is exact, but what is the nearest number to that of a MIDI file's
// whole microseconds a quarter is just that. So the moments of a file with
// thousands of tempo marks have one denominator, and not one that grows with
// each of them.
func exactTempo(bpm float64) *big.Rat {
	const minute = 60e6 // µs
	if us := math.Round(minute / bpm); us >= 1 && us < 1<<24 && minute/us == bpm {
		return big.NewRat(minute, int64(us))
	}
	return exact(bpm)
}

// newRuler measures s from origin on in units of which rate go to a second,
// the tempo multiplied by scale. From end on it keeps the tempo that was in
// force until then. Tempo marks must be above zero.
func newRuler(s *Sequence, origin, end Tick, rate int64, scale *big.Rat) *ruler {
	r := &ruler{perNano: big.NewRat(rate, int64(time.Second))}
	r.nanoF, _ = r.perNano.Float64()
	slope := func(bpm float64) *big.Rat {
		// 60 seconds a minute over bpm quarters a minute and ticks a quarter
		x := new(big.Rat).Mul(exactTempo(bpm), scale)
		x.Mul(x, big.NewRat(int64(PerQuarter), 1))
		return x.Quo(big.NewRat(60*rate, 1), x)
	}
	add := func(at Tick, bpm float64) {
		g := rulerSeg{at: at, pos: new(big.Rat), slope: slope(bpm)}
		if n := len(r.segs); n > 0 {
			l := r.segs[n-1]
			g.pos.Mul(l.slope, big.NewRat(int64(at-l.at), 1))
			g.pos.Add(g.pos, l.pos)
		}
		g.posF, _ = g.pos.Float64()
		g.slopeF, _ = g.slope.Float64()
		r.segs = append(r.segs, g)
	}
	add(origin, s.TempoAt(origin))
	for _, m := range s.Tempi {
		if m.Tick > origin && m.Tick < end {
			add(m.Tick, m.BPM)
		}
	}
	return r
}

func (r *ruler) seg(t Tick) *rulerSeg {
	i := sort.Search(len(r.segs), func(i int) bool { return r.segs[i].at > t })
	return &r.segs[max(i-1, 0)]
}

// exact is the moment t in units, unrounded.
func (r *ruler) exact(t Tick, nudge time.Duration) *big.Rat {
	g := r.seg(t)
	x := new(big.Rat).Mul(g.slope, big.NewRat(int64(t-g.at), 1))
	x.Add(x, g.pos)
	if nudge != 0 {
		n := big.NewRat(int64(nudge), 1)
		x.Add(x, n.Mul(n, r.perNano))
	}
	return x
}

// at is the moment t in units, rounded half up. It computes in floating point
// where that cannot change the result and exactly where it might.
func (r *ruler) at(t Tick, nudge time.Duration) int64 {
	g := r.seg(t)
	f := g.posF + float64(t-g.at)*g.slopeF + float64(nudge)*r.nanoF + 0.5
	if n := int64(f); f > 1 && f < 1<<38 {
		if d := f - float64(n); d > 1e-3 && d < 1-1e-3 {
			return n
		}
	}
	return round(r.exact(t, nudge))
}

// tick is the moment nearest to a unit, for display.
func (r *ruler) tick(unit float64) Tick {
	i := sort.Search(len(r.segs), func(i int) bool { return r.segs[i].posF > unit })
	g := r.segs[max(i-1, 0)]
	return g.at + Tick(math.Round((unit-g.posF)/g.slopeF))
}

// round is x rounded to a whole number, half up.
func round(x *big.Rat) int64 {
	num := new(big.Int).Lsh(x.Num(), 1)
	num.Add(num, x.Denom())
	den := new(big.Int).Lsh(x.Denom(), 1)
	return num.Div(num, den).Int64() // Div rounds down, den is positive
}

// settle keeps what nudges and rounding may have disturbed in the whole units
// of a row of events: on each channel the order of the events, and each note
// at least one unit long. partner is as pair gives it.
func settle(evs []Event, partner []int, at []int64) {
	var last [16]int64
	for i := range last {
		last[i] = -1 << 62
	}
	for i, e := range evs {
		ch := channel(e.Msg)
		at[i] = max(at[i], last[ch])
		if j := partner[i]; j >= 0 && j < i {
			at[i] = max(at[i], at[j]+1)
		}
		last[ch] = at[i]
	}
}
