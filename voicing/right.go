package voicing

import "math/bits"

// An Attack is how the right hand strikes several strings at once.
type Attack uint8

// The ways to strike.
const (
	NoAttack Attack = iota // it cannot
	Pluck                  // a finger to each string, skipped strings or not
	Strum                  // one stroke across neighbouring strings
)

// A RightHand is the plucking hand.
type RightHand struct {
	Fingers int // that pluck: 4 are thumb, index, middle and ring; 5 with the little finger
}

// The fewest and the most strings that a hand is asked to pluck at once: thumb
// and two fingers, or the thumb and all four.
const (
	MinPlucked = 3
	MaxPlucked = 5
)

// NormalRightHand plucks with thumb, index, middle and ring finger (harmony.md
// 6.4).
func NormalRightHand() RightHand { return RightHand{Fingers: 4} }

// Attack says how the strings, 1 the highest, are struck in one moment: plucked
// when there is a finger for each, else strummed when they are neighbours, for a
// stroke sounds what it crosses. A string named twice or no string at all cannot
// be struck.
func (h RightHand) Attack(strings ...int) Attack {
	var m uint16
	for _, s := range strings {
		if s < 1 || s > 15 || m&(1<<s) != 0 {
			return NoAttack
		}
		m |= 1 << s
	}
	return h.attack(m)
}

// attack is Attack for a mask, bit n for string n.
func (h RightHand) attack(m uint16) Attack {
	n := bits.OnesCount16(m)
	run := m >> bits.TrailingZeros16(m)
	switch {
	case m == 0:
		return NoAttack
	case n <= h.Fingers:
		return Pluck
	case run&(run+1) == 0:
		return Strum
	}
	return NoAttack
}

// The quickest repeats (harmony.md 6.4, project limits), in seconds.
const (
	repeatAlternating = 1.0 / 8 // two fingers take turns on one string
	repeatFinger      = 1.0 / 5 // one finger on one string
	repeatThumb       = 1.0 / 4
	repeatGrip        = 1.0 / 4 // three strings or more
)

// Repeat is the shortest time in seconds after which a string that was struck
// can be struck again, together with others: plucked strings in all. bass says
// that it is the thumb's string. Alone on a string the fingers take turns; two
// strings at once leave each its own finger.
func (h RightHand) Repeat(plucked int, bass bool) float64 {
	switch {
	case plucked >= 3:
		return repeatGrip
	case bass:
		return repeatThumb
	case plucked == 2 || h.Fingers < 3:
		return repeatFinger
	}
	return repeatAlternating
}
