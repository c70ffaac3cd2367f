package midiio

import (
	"fmt"
	"math"
)

// A Pass is one way through a part of a sequence.
type Pass struct {
	From, To Tick     // what is played; To 0 is the end of the sequence
	Scale    float64  // of the tempo map: 0.6 is 60 %; 0 means 1
	Mute     LayerSet // what is not heard; AllLayers makes the pass a rest
	CountIn  int      // bars of clicks before it, or CountInAuto
	// CountInEach counts in before every time the pass is played, not only
	// before the first.
	CountInEach bool
	Times       int // how often it is played: 0 and 1 once, Forever until the order Next
}

const (
	// CountInAuto is one bar; two if a bar lasts less than 1.5 s or the pass
	// begins inside a bar (sound.md 2.3).
	CountInAuto = -1
	// Forever is without an end of its own.
	Forever = -1
)

// A Practice is a row of passes.
type Practice struct {
	Passes []Pass
	Repeat int // how often the row is played: 0 and 1 once, Forever until stopped
}

// Once is the practice of one pass.
func Once(p Pass) Practice { return Practice{Passes: []Pass{p}, Repeat: 1} }

// Ramp is n passes like p whose tempo scales go in even steps from first to
// last. Only the first is counted in, unless p says each.
func Ramp(p Pass, first, last float64, n int) []Pass {
	ps := make([]Pass, 0, max(n, 0))
	for i := range n {
		q := p
		q.Scale = first
		if n > 1 {
			// In steps of a thousandth, so that equal percentages are equal tempi.
			q.Scale = math.Round((first+(last-first)*float64(i)/float64(n-1))*1000) / 1000
		}
		if i > 0 && !p.CountInEach {
			q.CountIn = 0
		}
		ps = append(ps, q)
	}
	return ps
}

// Bounds of a tempo scale; beyond them nothing can be heard as music.
const (
	minScale = 1.0 / 64
	maxScale = 64
)

// check fills in defaults and refuses what cannot be played.
func (p Pass) check(s *Sequence) (Pass, error) {
	if p.To == 0 {
		p.To = s.End
	}
	if p.Scale == 0 {
		p.Scale = 1
	}
	switch {
	case p.From < 0 || p.To > s.End || p.From >= p.To:
		return p, fmt.Errorf("from tick %d to %d (the sequence has 0 to %d)", p.From, p.To, s.End)
	case !(p.Scale >= minScale && p.Scale <= maxScale):
		return p, fmt.Errorf("tempo scale %g (from 1/64 to 64 can be played)", p.Scale)
	case p.CountIn < CountInAuto || p.CountIn > 16:
		return p, fmt.Errorf("count-in of %d bars (0 to 16 make sense)", p.CountIn)
	}
	if p.Times == 0 {
		p.Times = 1
	}
	return p, nil
}

// countIn is the sequence of clicks before p, in the metre and the written
// tempo at its start; nil when there is none. A pass that begins inside a bar
// is counted in so that its first beats fall into the last bar counted.
func (s *Sequence) countIn(p Pass) *Sequence {
	if p.CountIn == 0 {
		return nil
	}
	bar := Bar{Len: 4 * PerQuarter, Beat: PerQuarter}
	pickup := Tick(0)
	if i := s.BarAt(p.From); i >= 0 {
		bar = s.Bars[i]
		if end := bar.At + bar.Len; p.From > bar.At {
			pickup = max(end-p.From, 0)
		} else if s.missing(i) > 0 {
			pickup = bar.Len
		}
		if m := bar.Metre; m.Num > 0 && m.Den > 0 {
			bar.Len = Tick(m.Num) * 4 * PerQuarter / Tick(m.Den)
		}
	}
	if bar.Beat <= 0 {
		bar.Beat = PerQuarter
	}
	bar.Len = max(bar.Len, bar.Beat)
	n := p.CountIn
	if n == CountInAuto {
		n = 1
		lasts := float64(bar.Len) / float64(PerQuarter) * 60 / (s.TempoAt(p.From) * p.Scale)
		if lasts < 1.5 || pickup > 0 {
			n = 2
		}
	}
	c := &Sequence{Tempi: []TempoMark{{0, s.TempoAt(p.From)}}, End: Tick(n)*bar.Len - min(pickup, bar.Len)}
	if c.End <= 0 {
		return nil // the pick-up is the bar that was asked for
	}
	for i := range n {
		b := bar
		b.At = Tick(i) * bar.Len
		c.Bars = append(c.Bars, b)
		for pos := Tick(0); pos < bar.Len && b.At+pos < c.End; pos += bar.Beat {
			c.Events = append(c.Events, click(b.At+pos, pos == 0)...)
		}
	}
	sortEvents(c.Events)
	return c
}
