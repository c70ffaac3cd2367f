package midiio

import "fmt"

// A Pass is one way through a part of a sequence.
type Pass struct {
	From, To Tick // what is played; To 0 is the end of the sequence
	// Tail is how much longer the pass lasts than To, in the tempo and the
	// metre that To is reached in. Nothing is struck in it, what rings rings
	// on until the seam, and the clicks of the layer Click go on.
	Tail    Tick
	Kind    PassKind // for Position
	Scale   float64  // of the tempo map: 0.6 is 60 %; 0 means 1
	Mute    LayerSet // what is not heard; AllLayers makes the pass a rest
	CountIn int      // bars of clicks before it, or CountInAuto
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

// A PassKind says what a pass is for; it is heard the same.
type PassKind uint8

const (
	// Heard is a pass that is listened to or played along with.
	Heard PassKind = iota
	// Alone is a pass of time alone, in which the player plays.
	Alone
)

// A Practice is a row of passes.
type Practice struct {
	Passes []Pass
	Repeat int // how often the row is played: 0 and 1 once, Forever until stopped
	Loop   int // index of the pass with which the row begins when it is repeated
	// Clock adds MIDI clock for others to follow, 24 to the quarter and laid out
	// exactly by the tempo map, in count-ins too. Their song position is the
	// place in the sequence, so tick 0 is the start of the file WriteSMF writes.
	// They are started (from tick 0) or continued (from elsewhere, at the first
	// whole sixteenth) just before the pass begins, stopped in tails and pauses
	// and at the end, and where a pass does not go on where the last one ended
	// stopped, moved and continued. Where they would have to start beyond the
	// last song position that can be told (16383 sixteenths), they stay stopped.
	Clock bool
}

// Once is the practice of one pass.
func Once(p Pass) Practice { return Practice{Passes: []Pass{p}, Repeat: 1} }

// Bounds of a tempo scale; beyond them nothing can be heard as music.
const (
	minScale = 1.0 / 64
	maxScale = 64
)

// maxTail is more than a thousand quarters.
const maxTail Tick = 1 << 20

// check fills in defaults and refuses what cannot be played.
func (p Pass) check(s *Sequence) (Pass, error) {
	if p.To == 0 {
		p.To = s.End
	}
	if p.Scale == 0 {
		p.Scale = 1
	}
	switch {
	case p.Tail < 0 || p.Tail > maxTail:
		return p, fmt.Errorf("tail of %d ticks (0 to %d make sense)", p.Tail, maxTail)
	case p.Times < Forever:
		return p, fmt.Errorf("%d times (a pass takes a number of times, or -1 for ever)", p.Times)
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

// plain is p without what does not change how one time through it sounds.
func (p Pass) plain() Pass {
	p.Kind, p.CountIn, p.CountInEach, p.Times = 0, 0, false, 0
	return p
}

// wholeBar is a bar of the metre of bar i, of 4/4 for -1.
func (s *Sequence) wholeBar(i int) Bar {
	bar := Bar{Len: 4 * PerQuarter, Beat: PerQuarter}
	if i >= 0 {
		bar = s.Bars[i]
		if m := bar.Metre; m.Num > 0 && m.Den > 0 {
			bar.Len = Tick(m.Num) * 4 * PerQuarter / Tick(m.Den)
		}
	}
	if bar.Beat <= 0 {
		bar.Beat = PerQuarter
	}
	bar.Len = max(bar.Len, bar.Beat)
	return bar
}

// tick adds bars like bar to s from its At on until end, with a click on each
// beat that is not before from if asked for.
func (s *Sequence) tick(bar Bar, from, end Tick, clicks bool) {
	bar.Label = ""
	for ; bar.At < end; bar.At += bar.Len {
		s.Bars = append(s.Bars, bar)
		for pos := Tick(0); pos < bar.Len && bar.At+pos < end; pos += bar.Beat {
			if at := bar.At + pos; clicks && at >= from {
				s.Events = append(s.Events, s.click(at, pos == 0)...)
			}
		}
	}
	sortEvents(s.Events)
}

// onward is the bars from a moment on as if the metre before it went on: first
// the rest of a bar cut short, then whole ones. Its ticks are those of s.
func (s *Sequence) onward(from, end Tick, clicks bool) *Sequence {
	i := s.BarAt(from - 1)
	bar := s.wholeBar(i)
	bar.At = from
	if i >= 0 {
		if into := from - s.Bars[i].At + s.missing(i); into < bar.Len {
			bar.At -= into
		}
	}
	on := &Sequence{End: end, Clicks: s.Clicks}
	on.tick(bar, from, end, clicks)
	return on
}

// countIn is the sequence of clicks before p, in the metre and the written
// tempo at its start; nil when there is none. A pass that begins inside a bar
// is counted in so that its first beats fall into the last bar counted.
func (s *Sequence) countIn(p Pass) *Sequence {
	if p.CountIn == 0 {
		return nil
	}
	i := s.BarAt(p.From)
	bar := s.wholeBar(i)
	pickup := Tick(0)
	if i >= 0 {
		if end := s.Bars[i].At + s.Bars[i].Len; p.From > s.Bars[i].At {
			pickup = max(end-p.From, 0)
		} else if s.missing(i) > 0 {
			pickup = s.Bars[i].Len
		}
	}
	n := p.CountIn
	if n == CountInAuto {
		n = 1
		lasts := float64(bar.Len) / float64(PerQuarter) * 60 / (s.TempoAt(p.From) * p.Scale)
		if lasts < 1.5 || pickup > 0 {
			n = 2
		}
	}
	c := &Sequence{Tempi: []TempoMark{{0, s.TempoAt(p.From)}}, Clicks: s.Clicks, End: Tick(n)*bar.Len - min(pickup, bar.Len)}
	if c.End <= 0 {
		return nil // the pick-up is the bar that was asked for
	}
	bar.At = 0
	c.tick(bar, 0, c.End, true)
	return c
}
