package voicing

import "math"

// A final ritardando. Music slows down as a runner does who comes to a halt: the
// cube of the tempo falls evenly with the place in the score (A. Friberg and
// J. Sundberg, J. Acoust. Soc. Am. 105, 1999: q = 3). How far, and how long the
// last chord is held, is the project's own choice.
const (
	ritardBars  = 2
	ritardTo    = 2.0 / 3
	ritardPower = 3
	holdFor     = 3.0 // seconds that the last chord is held at least
	holdTo      = 0.5 // but no slower than this beside ritardTo
)

// ritard puts tempo marks over the last bars, a step each beat, down to the last
// attack, which is held. No note changes.
func (a *Arrangement) ritard() {
	if len(a.Bars) == 0 || len(a.Notes) == 0 || len(a.Tempi) == 0 {
		return
	}
	from := max(0, len(a.Bars)-ritardBars)
	start, last := a.Bars[from].At, Tick(0)
	for _, n := range a.Notes {
		last = max(last, n.At)
	}
	if last <= start {
		start = a.Bars[a.BarAt(last)].At // the tune has come to rest before
	}
	var at []Tick // where the tempo changes
	for i := a.BarAt(start); i < len(a.Bars); i++ {
		b := a.Bars[i]
		step := b.Beat
		switch {
		case step > PerQuarter && step%3 == 0:
			step /= 3
		case step > PerQuarter:
			step /= 2
		}
		for t := b.At; t < b.At+b.Len && t < last; t += step {
			at = append(at, t)
		}
	}
	at = append(at, last)
	var out []TempoMark
	for _, m := range a.Tempi {
		if m.At < start {
			out = append(out, m)
		}
	}
	for i, t := range at {
		slow := ritardTo
		if last > start {
			x := float64(t-start) / float64(last-start)
			slow = math.Pow(1+(math.Pow(ritardTo, ritardPower)-1)*x, 1.0/ritardPower)
		}
		if i == len(at)-1 {
			rest := float64(a.End()-last) / float64(PerQuarter) * 60 / (bpmAt(a.Tempi, t) * ritardTo)
			slow = ritardTo * min(1, max(holdTo, rest/holdFor))
		}
		if k := len(out) - 1; k >= 0 && out[k].At == t {
			out = out[:k]
		}
		// whole hundredths read better than what a root leaves
		m := TempoMark{t, math.Round(100*bpmAt(a.Tempi, t)*slow) / 100}
		if k := len(out) - 1; k < 0 || out[k].BPM != m.BPM {
			out = append(out, m)
		}
	}
	a.Tempi = out
}
