package voicing

import (
	"thumbline/theory"
)

// An item is one chord of a passage under one note of its top line.
type item struct {
	len     theory.Time
	chord   theory.Chord
	top     int // MIDI pitch, 0 where the tune's own note goes on or nothing is sung
	voicing []int
	strings uint16 // mask of the strings that the voicing lies on
	whole   bool   // struck at once
	passing int    // the note that leads to the next top note in the last beat, 0 for none
}

// The range of a top line: that of the tune, but where chords have no room
// below it, or the tune hardly moves (harmony.md 4.3).
const (
	lowestTop, highestTop = 60, 79
	leastTop              = 69 // a top line may go up to there at least
)

// topRange is where a top line may lie.
func (f *frame) topRange() (lo, hi int) {
	lo, hi = 127, 0
	for _, n := range f.tune.Melody {
		lo, hi = min(lo, n.Pitch.MIDI()), max(hi, n.Pitch.MIDI())
	}
	return min(max(lo, lowestTop), 64), min(max(hi, leastTop), highestTop, f.neck.High())
}

// A colour is a degree that may stand on top of a chord, and what it costs.
type colour struct {
	degree int
	cost   float64
}

// tops are the degrees that sing on top of a chord (harmony.md 3.4, 5.4): third
// and seventh before fifth and tensions, the root last. resolves says that it
// is a dominant on the way to a minor chord, or altered.
func tops(c theory.Chord, plain, altered bool) []colour {
	t := c.Tones
	var out []colour
	add := func(d int, cost float64) { out = append(out, colour{d, cost}) }
	switch c.Kind {
	case theory.Major, theory.Augmented:
		add(4, 0)
		add(7, 0.15)
		if plain {
			add(0, 0.3)
			return out
		}
		add(2, 0.2)
		add(0, 0.9)
		if t.Has(11) {
			add(11, 0.2)
		} else {
			add(9, 0.3)
		}
	case theory.Minor:
		add(3, 0)
		add(7, 0.2)
		add(0, 0.5)
		if plain {
			return out
		}
		add(2, 0.4)
		switch {
		case t.Has(9):
			add(9, 0.3)
		case t.Has(10):
			add(10, 0.1)
			add(5, 0.5)
		}
	case theory.Dominant:
		add(4, 0.05)
		add(10, 0)
		switch {
		case plain:
			add(7, 0.2)
			add(0, 0.5)
		case altered:
			add(1, 0.1)
			add(8, 0.15)
			add(3, 0.4)
		default:
			add(2, 0.2)
			add(9, 0.25)
			add(7, 0.5)
		}
		if t.Has(6) {
			add(6, 0.2)
		}
	case theory.HalfDiminished:
		add(3, 0)
		add(6, 0.2)
		add(10, 0.1)
		add(5, 0.5)
		add(0, 0.5)
	case theory.Diminished:
		add(3, 0)
		add(6, 0.1)
		add(9, 0.1)
		add(0, 0.3)
	default: // suspended
		add(5, 0.1)
		add(10, 0.1)
		add(7, 0.4)
		add(0, 0.4)
		if t.Len() > 3 {
			add(2, 0.2)
			add(9, 0.1)
		}
	}
	return out
}

// stepCost is what an interval of the top line costs: steps carry a line, a held
// tone is as good over changing chords, wide leaps break it.
func stepCost(d int) float64 {
	switch d = absInt(d); {
	case d == 0:
		return 0.35
	case d <= 2:
		return 0
	case d <= 4:
		return 0.9
	case d == 5:
		return 1.8
	case d <= 7:
		return 3
	case d <= 12:
		return 6
	}
	return 20
}

// Between these a top line sings and leaves room for what lies below it.
const (
	lowestSung, highestSung = 65, 76
	highestClose            = 72 // higher up the last chord has no low root under it
)

// offRegister is by how many half steps a note of a top line lies outside.
func offRegister(p int) float64 {
	return float64(max(lowestSung-p, p-highestSung, 0))
}

// A want is what a top line is to be.
type want struct {
	from, to int      // the notes before and after it, 0 for none
	lean     int      // +1 up, -1 down
	end      []colour // over the root of its last chord, where that is the last of all; nil otherwise
	avoid    int      // pitch class not to end on, -1 for none
	leap     float64  // what a leap costs beside what stepCost says
}

// smallStep is a third, in half steps: what is wider is a leap.
const smallStep = 4

// steps reports whether a top line after a note moves by small steps mostly: of
// three moves one may be a leap, of six two.
func steps(from int, items []item) bool {
	small := 0
	for _, it := range items {
		if absInt(it.top-from) <= smallStep {
			small++
		}
		from = it.top
	}
	return 3*small >= 2*len(items)-2
}

// singSteps is sing where the line has nothing but itself: coming down from a high
// note to where lines sing best is not worth one leap after another. 2e9 where no
// line goes by steps.
func (f *frame) singSteps(items []item, w want) float64 {
	cost := f.sing(items, w)
	if cost > 1e9 || steps(w.from, items) {
		return cost
	}
	for i := range items {
		items[i].top = 0
	}
	w.leap = dearLeap
	if cost = f.sing(items, w); !steps(w.from, items) {
		return 2e9
	}
	return cost
}

// dearLeap outweighs what any register costs.
const dearLeap = 10

// sing fills the top line of items that have none: the cheapest line through
// what sings on top of each.
func (f *frame) sing(items []item, w want) float64 {
	type state struct {
		pitch, back int
		cost        float64
		same        int // how often it was struck running
	}
	lo, hi := f.topRange()
	var cols [][]state
	prev := []state{{w.from, -1, 0, 0}}
	for i := range items {
		it := &items[i]
		var col []state
		choices := tops(it.chord, f.plain, isAltered(it.chord) || toMinor(items, i))
		if i == len(items)-1 && w.end != nil {
			choices = w.end
		}
		add := func(p int, cost float64) {
			best := state{pitch: p, back: -1, cost: 1e9}
			cost += 0.3 * offRegister(p)
			for k, q := range prev {
				c, same := q.cost+cost, 0
				if q.pitch > 0 {
					c += stepCost(p - q.pitch)
					if absInt(p-q.pitch) > smallStep {
						c += w.leap
					}
					if p == q.pitch {
						if same = q.same + 1; same > 2 {
							c += 0.8
						}
					}
					if w.lean != 0 && sign(Tick(p-q.pitch)) != w.lean && p != q.pitch {
						c += 0.6
					}
				}
				if c < best.cost {
					best.cost, best.back, best.same = c, k, same
				}
			}
			col = append(col, best)
		}
		if it.top > 0 {
			add(it.top, 0)
		} else {
			for p := lo; p <= hi; p++ {
				for _, c := range choices {
					if (p-it.chord.RootPC()+120)%12 == c.degree && !(i == len(items)-1 && w.avoid >= 0 && p%12 == w.avoid) {
						cost := c.cost
						if i == len(items)-1 && w.end != nil && p > highestClose {
							cost += 0.8 * float64(p-highestClose)
						}
						add(p, cost)
					}
				}
			}
		}
		cols = append(cols, col)
		prev = col
	}
	best, cost := -1, 1e18
	for k, s := range prev {
		c := s.cost
		if w.to > 0 {
			c += stepCost(w.to - s.pitch)
		}
		if c < cost {
			best, cost = k, c
		}
	}
	for i := len(items) - 1; i >= 0 && best >= 0; i-- {
		items[i].top = cols[i][best].pitch
		best = cols[i][best].back
	}
	return cost
}

// pass lets every other note of a top line lead on to the next in its last beat:
// by the step between them, or the half step before a whole one.
func (f *frame) pass(items []item) {
	in := signaturePCs(f.bar.Key.Fifths)
	for i := 1; i+1 < len(items); i += 2 {
		it := &items[i]
		a, b := it.top, items[i+1].top
		if a == 0 || b == 0 || it.len.Less(f.bar.Beat.Mul(2, 1)) {
			continue
		}
		d := 1
		if b < a {
			d = -1
		}
		switch absInt(b - a) {
		case 2:
			if !f.plain {
				it.passing = b - d
			}
		case 3, 4:
			for _, p := range []int{b - 2*d, b - d} {
				if p != a && in.Has(p) {
					it.passing = p
					break
				}
			}
		}
	}
}

// isAltered reports whether a chord is named with altered tensions.
func isAltered(c theory.Chord) bool { return c.Tones&degrees(1, 3, 8) != 0 }

// toMinor reports whether the chord of item i goes to a minor chord a fifth below:
// the tensions of a dominant are altered there too.
func toMinor(items []item, i int) bool {
	return i+1 < len(items) && items[i+1].chord.Kind == theory.Minor && fallsFifth(items[i].chord, items[i+1].chord)
}

// lay makes a passage of items that take over in the last of the tune for lead;
// with bars as many full ones as they need after it, so that the last item lasts
// as long as a close has to.
func (f *frame) lay(name string, lead theory.Time, bars bool, items []item) passage {
	p := passage{name: name, lead: lead}
	var at theory.Time
	for i := range items {
		it := &items[i]
		if i == len(items)-1 {
			end := lead
			for bars && end.Less(at.Add(f.closing())) {
				end = end.Add(f.full())
				p.bars = append(p.bars, f.full())
			}
			it.len = end.Sub(at)
		}
		if it.top > 0 {
			n := theory.Note{At: at, Len: it.len, Pitch: theory.PitchOf(it.top, f.bar.Key)}
			if it.passing > 0 {
				n.Len = it.len.Sub(f.bar.Beat)
				m := theory.Note{At: at.Add(n.Len), Len: f.bar.Beat, Pitch: theory.PitchOf(it.passing, f.bar.Key)}
				p.notes = append(p.notes, n, m)
			} else {
				p.notes = append(p.notes, n)
			}
		}
		p.chords = append(p.chords, passageChord{Change: theory.Change{At: at, Len: it.len, Chord: it.chord}, voicing: it.voicing, strings: it.strings, whole: it.whole})
		at = at.Add(it.len)
	}
	return p
}

// closing is how long the last chord lasts at least: three beats, and two
// seconds.
func (f *frame) closing() theory.Time {
	d := f.bar.Beat.Mul(3, 1)
	for f.seconds(d) < 1.8 {
		d = d.Add(f.bar.Beat)
	}
	return d
}

// step is a chord on a step of the tonic's major scale: "bVImaj7".
func (f *frame) step(s string) theory.Chord {
	c, _ := stepChord(f.tonic, s)
	return c
}

// finals are the last chords of an ending, each with what may stand on top.
func (f *frame) finals() []final {
	switch {
	case f.blues:
		return []final{{"9", "nine", []colour{{2, 0}, {4, 0.2}, {10, 0.4}}}, {"13", "thirteen", []colour{{9, 0}, {4, 0.3}}}}
	case f.minor() && f.plain:
		return []final{{"m", "plain triad", []colour{{0, 0}, {3, 0.2}, {7, 0.3}}}, {"m6", "six", []colour{{7, 0.2}, {3, 0.2}}}}
	case f.minor():
		return []final{{"m6", "six", []colour{{2, 0}, {9, 0.2}, {3, 0.5}, {7, 0.5}}}, {"m(maj7)", "major seven", []colour{{2, 0.1}, {11, 0.2}}}, {"m69", "six and nine", []colour{{9, 0}, {7, 0.5}, {3, 0.5}}}}
	case f.plain:
		return []final{{"6", "six", []colour{{0, 0}, {4, 0.1}, {7, 0.2}}}, {"6", "six", []colour{{9, 0}}}, {"(add9)", "nine", []colour{{2, 0}}}}
	}
	return []final{{"69", "six and nine", []colour{{2, 0}, {9, 0.1}, {4, 0.6}}}, {"maj7", "major seven", []colour{{11, 0}, {2, 0.1}}}, {"69", "six and nine", []colour{{9, 0}, {7, 0.3}}}}
}

// A final is the last chord: its quality, its colour in words, and what may stand
// on top of it.
type final struct {
	quality, name string
	top           []colour
}

// chord is the last chord over the tonic.
func (x final) chord(f *frame) theory.Chord {
	q := theory.MustChord("C" + x.quality)
	return theory.NewChord(f.tonic.Root, q.Tones, f.tonic.Root)
}
