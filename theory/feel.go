package theory

import (
	"fmt"
	"math"
	"strconv"
)

// A Feel says how the beat is divided in performance. The zero value is
// straight.
type Feel struct {
	Ratio float64 // long to short eighth, 1 to 3.5; 0 means straight
	Bossa bool    // straight, over a thumb that strikes every bass alike
}

// The range of a written ratio, harmony.md 5.6: drummers go up to 3.5.
const maxSwing = 3.5

// swingFrom is the tempo from which a tune swings by itself; below, ballads are
// the player's choice (harmony.md 5.6).
const swingFrom = 80

// SwingRatio is the usual ratio of an unaccompanied guitar at a tempo in
// quarters a minute: clamp(1 + (250-bpm)/150, 1, 1.9), harmony.md 5.6.
func SwingRatio(bpm float64) float64 {
	return min(max(1+(250-bpm)/150, 1), 1.9)
}

// DefaultFeel is swing in x/4 from 80 quarters a minute, else straight.
func DefaultFeel(bpm float64, m Metre) Feel {
	if m.Den != 4 || bpm < swingFrom {
		return Feel{}
	}
	return feelOf(SwingRatio(bpm))
}

func feelOf(ratio float64) Feel {
	if !(ratio > 1) {
		return Feel{}
	}
	return Feel{Ratio: ratio}
}

// ParseFeel reads "straight", "swing", "bossa" (straight eighths over an even
// thumb) or a ratio of 1 to 3.5 such as "1.7"; empty is the default feel. Compound metres do not
// swing: asking for it there is an error.
func ParseFeel(s string, bpm float64, m Metre) (Feel, error) {
	var f Feel
	switch s {
	case "":
		return DefaultFeel(bpm, m), nil
	case "straight":
		return Feel{}, nil
	case "bossa":
		return Feel{Bossa: true}, nil
	case "swing":
		f = feelOf(SwingRatio(bpm))
	default:
		r, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return Feel{}, fmt.Errorf("feel %q is not known (use straight, swing, bossa or a ratio such as 1.7)", s)
		}
		if !(r >= 1 && r <= maxSwing) {
			return Feel{}, fmt.Errorf("feel %s is out of range (use a ratio of 1, straight, to %g)", s, maxSwing)
		}
		f = feelOf(r)
	}
	if m.compound() && f.Swings() {
		return Feel{}, fmt.Errorf("feel %s: there is no swing in %d/%d (use straight)", s, m.Num, m.Den)
	}
	return f, nil
}

// Swings reports whether the off-beats come late.
func (f Feel) Swings() bool { return f.Ratio > 1 }

// String is "straight", "bossa" or the ratio.
func (f Feel) String() string {
	switch {
	case f.Swings():
	case f.Bossa:
		return "bossa"
	default:
		return "straight"
	}
	return strconv.FormatFloat(f.Ratio, 'g', -1, 64)
}

// offbeat is where the second half of a beat begins, as a part of it.
func (f Feel) offbeat() float64 {
	if !f.Swings() {
		return 0.5
	}
	return f.Ratio / (f.Ratio + 1)
}

// Warp moves a position, counted from any beat, to where it is played: the
// off-beat goes to r/(r+1) of the beat, and what lies between moves in
// proportion, so that half-beats and sixteenths move and beats do not. beat is
// the length that swings, a quarter in x/4 and x/2. Both may have any unit.
// Beats with thirds in them are played straight: that is the caller's to see.
func (f Feel) Warp(pos, beat float64) float64 {
	if !f.Swings() || !(beat > 0) {
		return pos
	}
	start := math.Floor(pos/beat) * beat
	x, off := (pos-start)/beat, f.offbeat()
	if x < 0.5 {
		x = x * 2 * off
	} else {
		x = off + (x-0.5)*2*(1-off)
	}
	return start + x*beat
}

// WarpTicks is Warp in whole ticks, to the nearest.
func (f Feel) WarpTicks(pos, beat int) int {
	if !f.Swings() || beat <= 0 {
		return pos
	}
	return int(math.Floor(f.Warp(float64(pos), float64(beat)) + 0.5))
}
