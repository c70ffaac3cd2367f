package theory

import (
	"fmt"
	"math"
)

// Time is a moment or a length in music as an exact fraction of a quarter
// note. The zero value is 0. Values are kept in lowest terms, so == compares
// them and they serve as map keys.
type Time struct {
	num int64
	den int64 // one less than the denominator, so that the zero value is 0/1
}

// Quarters returns num/den of a quarter note. A zero den panics: it is a
// programming error, never input.
func Quarters(num, den int64) Time {
	if den == 0 {
		panic("theory: Quarters with denominator 0")
	}
	if den < 0 {
		num, den = -num, -den
	}
	if g := gcd(num, den); g > 1 {
		num, den = num/g, den/g
	}
	return Time{num, den - 1}
}

func gcd(a, b int64) int64 {
	if a < 0 {
		a = -a
	}
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// Num and Den are the fraction in lowest terms; Den is at least 1.
func (t Time) Num() int64 { return t.num }

// Den is the denominator in lowest terms, at least 1.
func (t Time) Den() int64 { return t.den + 1 }

// Add returns t+u.
func (t Time) Add(u Time) Time {
	if t.den == u.den {
		return Quarters(t.num+u.num, t.Den())
	}
	// Over the least common denominator, which keeps the terms small.
	g := gcd(t.Den(), u.Den())
	return Quarters(t.num*(u.Den()/g)+u.num*(t.Den()/g), t.Den()/g*u.Den())
}

// Sub returns t-u.
func (t Time) Sub(u Time) Time { return t.Add(Time{-u.num, u.den}) }

// Mul returns t*num/den.
func (t Time) Mul(num, den int64) Time { return Quarters(t.num*num, t.Den()*den) }

// Cmp is -1, 0 or +1 as t is before, at or after u.
func (t Time) Cmp(u Time) int {
	a, b := t.num*u.Den(), u.num*t.Den()
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Less reports t < u.
func (t Time) Less(u Time) bool { return t.Cmp(u) < 0 }

// Float is the time in quarters, for costs and for print.
func (t Time) Float() float64 { return float64(t.num) / float64(t.Den()) }

// Ticks is the time at perQuarter ticks a quarter, rounded to the nearest.
func (t Time) Ticks(perQuarter int) int {
	return int(math.Floor(float64(t.num)*float64(perQuarter)/float64(t.Den()) + 0.5))
}

// String prints "3", "3/2", "-1/4".
func (t Time) String() string {
	if t.den == 0 {
		return fmt.Sprint(t.num)
	}
	return fmt.Sprintf("%d/%d", t.num, t.Den())
}
