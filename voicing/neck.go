package voicing

import (
	"fmt"
	"math"
)

// A Neck says where pitches lie on the guitar.
type Neck struct {
	Tuning []int   // open pitch of each string, MIDI, low to high
	Capo   int     // fret of the capo, 0 for none; the frets of a Stop count from it
	Frets  int     // highest fret in use, counted from the nut
	Scale  float64 // vibrating length of the open string, mm
}

// StandardNeck is six strings E A D G B E, 19 frets in use, 648 mm (25.5 in).
func StandardNeck() Neck {
	return Neck{Tuning: []int{40, 45, 50, 55, 59, 64}, Frets: 19, Scale: 648}
}

// Strings is the number of strings.
func (n Neck) Strings() int { return len(n.Tuning) }

// Open is the sounding pitch of open string s; string 1 is the highest.
func (n Neck) Open(s int) int { return n.Tuning[len(n.Tuning)-s] + n.Capo }

// maxCapo leaves eight frets of a standard neck to play on.
const maxCapo = 11

// WithCapo is the neck with a capo at a fret, 0 for none.
func (n Neck) WithCapo(fret int) (Neck, error) {
	if fret < 0 || fret > maxCapo {
		return n, fmt.Errorf("capo at fret %d is out of range (0 to %d)", fret, maxCapo)
	}
	n.Capo = fret
	return n, nil
}

// Top is the highest fret in use counted from the capo: a capo takes frets away.
func (n Neck) Top() int { return n.Frets - n.Capo }

// Low is the lowest pitch on the neck.
func (n Neck) Low() int { return n.Open(n.Strings()) }

// High is the highest pitch on the neck.
func (n Neck) High() int { return n.Open(1) + n.Top() }

// At is the distance in mm from the nut of fret f counted from the capo:
// L(1 - 2^(-f/12)) with f from the nut (harmony.md 6.1, the equal-tempered fret
// rule). Behind a capo the frets lie closer, so the hand reaches more of them.
func (n Neck) At(f int) float64 { return n.Scale * (1 - math.Exp2(-float64(f+n.Capo)/12)) }

// A Stop is a place on the neck: a string and a fret.
type Stop struct{ String, Fret int8 }

// Stops lists the places of a pitch, highest string first.
func (n Neck) Stops(midi int) []Stop {
	var out []Stop
	for s := 1; s <= n.Strings(); s++ {
		if f := midi - n.Open(s); f >= 0 && f <= n.Top() {
			out = append(out, Stop{int8(s), int8(f)})
		}
	}
	return out
}
