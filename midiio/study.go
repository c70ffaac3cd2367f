package midiio

import (
	"fmt"
	"math"
	"slices"
)

// A Study says how a part of a sequence is practised. The zero value is the
// whole of it, over and over.
type Study struct {
	From, To Tick    // as in Pass
	Tail     Tick    // as in Pass
	Scale    float64 // of the tempo map; 0 means 1
	// Ramp has factors of Scale, one a step; none is 1. See Percents.
	Ramp []float64
	// Layers has what is heard, set after set: the sets in turn at the first
	// tempo, then the last of them up the ramp. A set is all that is heard, a
	// metronome too. None is every layer.
	Layers []LayerSet
	Mute   LayerSet // never heard, whatever Layers and Time say
	// Answer puts a pass of time alone after each heard one, at the same
	// tempo: nothing but the layers of Time.
	Answer bool
	Time   LayerSet
	// Rest is how many bars after each pass nothing is played, in the metre in
	// which To is reached. There is none after the last pass of all.
	Rest    int
	CountIn int // before the first pass, as in Pass
	// Repeat is how often each step of layers and ramp is played, with its
	// answer. With 0 and Forever each is played once and the last one without
	// end.
	Repeat int
}

// Bounds of a study; beyond them somebody has mistyped.
const (
	MaxRest   = 64      // bars of Study.Rest
	MaxPasses = 100_000 // that are written out: those of all steps, and with Answer their repetitions
)

// Practice is the row of passes of a study, or says what is wrong with it.
func (s *Sequence) Practice(st Study) (Practice, error) {
	switch {
	case st.Rest < 0 || st.Rest > MaxRest:
		return Practice{}, fmt.Errorf("practice: rest of %d bars (0 to %d make sense)", st.Rest, MaxRest)
	case st.Repeat < Forever:
		return Practice{}, fmt.Errorf("practice: repeat %d (it takes a number of times, or -1 for ever)", st.Repeat)
	}
	base := Pass{From: st.From, To: st.To, Tail: st.Tail}
	if base.To == 0 {
		base.To = s.End
	}
	scale := st.Scale
	if scale == 0 {
		scale = 1
	}
	ramp, heard := st.Ramp, st.Layers
	if len(ramp) == 0 {
		ramp = []float64{1}
	}
	if len(heard) == 0 {
		heard = []LayerSet{AllLayers}
	}
	rest := Tick(st.Rest) * s.wholeBar(s.BarAt(base.To-1)).Len

	var p Practice
	add := func(q Pass, rested bool) {
		if rested {
			q.Tail += rest
		}
		p.Passes = append(p.Passes, q)
	}
	steps := len(heard) + len(ramp) - 1
	times := max(st.Repeat, 1)
	endless := st.Repeat <= 0
	if n := steps; n*2 > MaxPasses || st.Answer && n*times*2 > MaxPasses {
		return Practice{}, fmt.Errorf("practice: more than %d passes", MaxPasses)
	}
	for i := range steps {
		last := i == steps-1
		q := base
		q.Mute = AllLayers&^heard[min(i, len(heard)-1)] | st.Mute
		q.Scale = scale * ramp[max(i-len(heard)+1, 0)]
		if q.Scale == 0 {
			return Practice{}, fmt.Errorf("practice: a step of the ramp at tempo scale 0")
		}
		alone := q
		alone.Kind, alone.Mute = Alone, AllLayers&^st.Time|st.Mute
		switch {
		case st.Answer:
			if last && endless {
				p.Loop = len(p.Passes)
			}
			for k := range times {
				add(q, true)
				add(alone, !last || endless || k < times-1)
			}
		case last && endless:
			p.Loop = len(p.Passes)
			add(q, true)
		case last && rest > 0:
			if q.Times = times - 1; q.Times > 0 {
				add(q, true)
			}
			q.Times = 1
			add(q, false)
		default:
			q.Times = times
			add(q, true)
		}
	}
	p.Passes[0].CountIn = st.CountIn
	if p.Repeat = 1; endless {
		p.Repeat = Forever
	}
	// What a cursor would refuse is refused here, before there is one.
	for i, q := range p.Passes {
		if _, err := q.check(s); err != nil {
			return Practice{}, fmt.Errorf("practice: pass %d: %w", i+1, err)
		}
	}
	return p, nil
}

// maxSteps is more steps than a ramp can have and be practised.
const maxSteps = 1000

// Percents are the factors of a ramp from first to last percent in steps of
// step percent, upwards or downwards. Both ends are in it: the last step is
// smaller where they do not come out even. 60, 100, 15 are 0.6, 0.75, 0.9, 1.
func Percents(first, last, step float64) ([]float64, error) {
	switch {
	case !(first > 0) || !(last > 0) || math.IsInf(first, 1) || math.IsInf(last, 1):
		return nil, fmt.Errorf("ramp from %g to %g percent", first, last)
	case !(step > 0):
		return nil, fmt.Errorf("ramp in steps of %g percent (they are above 0)", step)
	case math.Abs(last-first)/step > maxSteps:
		return nil, fmt.Errorf("ramp in more than %d steps", maxSteps)
	}
	const even = 1e-6 // of a percent: what sums of decimals may be off by
	// Whole millionths, so that equal percentages are equal factors.
	factor := func(percent float64) float64 { return math.Round(percent*1e6) / 1e8 }
	var fs []float64
	way := math.Abs(last - first)
	for i := 0; float64(i)*step < way-even; i++ {
		fs = append(fs, factor(first+math.Copysign(float64(i)*step, last-first)))
	}
	return slices.Clip(append(fs, factor(last))), nil
}
