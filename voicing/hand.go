package voicing

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// A Hand is the left hand: how far the fingers reach. Distances are taken
// along the neck in mm, so the same frets are a stretch low on the neck and
// easy high up. More than is needed is no goal: of two grips the closer one
// costs less, whatever the reach.
type Hand struct {
	Reach    float64 // from the lowest fret held to the highest, mm
	Adjacent float64 // between neighbouring fingers, mm
}

// The reaches from finger 1 to finger 4 that have names, mm (harmony.md 6.1;
// every clean published shape lies within 97.3). Neighbouring fingers have
// 0.68 of it: published shapes ask 66.7 of 100.
const (
	smallReach  = 85
	normalReach = 100
	largeReach  = 120

	adjacentShare = 0.68
)

// The bounds of a reach in mm: less does not cover three frets at the nut,
// more no hand spans along a neck.
const (
	minReach = 60
	maxReach = 150
)

// HandOf is a hand that reaches mm from finger 1 to finger 4.
func HandOf(mm float64) Hand { return Hand{Reach: mm, Adjacent: adjacentShare * mm} }

// SmallHand reaches 85 mm.
func SmallHand() Hand { return HandOf(smallReach) }

// NormalHand reaches 100 mm.
func NormalHand() Hand { return HandOf(normalReach) }

// LargeHand reaches 120 mm.
func LargeHand() Hand { return HandOf(largeReach) }

// ParseReach reads the reach of a hand: small, normal, large, or mm from
// finger 1 to finger 4, "90mm" or "90".
func ParseReach(s string) (Hand, error) {
	word := strings.ToLower(strings.TrimSpace(s))
	switch word {
	case "small":
		return SmallHand(), nil
	case "normal":
		return NormalHand(), nil
	case "large":
		return LargeHand(), nil
	}
	num, _ := strings.CutSuffix(word, "mm")
	mm, err := strconv.ParseFloat(strings.TrimSpace(num), 64)
	switch {
	case err != nil:
		return Hand{}, fmt.Errorf("reach %q is not understood (small, normal, large, or from finger 1 to finger 4 in mm, such as 90mm)", s)
	case !(mm >= minReach && mm <= maxReach):
		return Hand{}, fmt.Errorf("reach %s is out of range (%d to %d mm; small is %d, normal %d, large %d)",
			strings.TrimSpace(s), minReach, maxReach, smallReach, normalReach, largeReach)
	}
	return HandOf(mm), nil
}

// A Press is one fretted note of a shape with the finger that holds it, or 0
// where the finger is still to be found.
type Press struct {
	Stop
	Finger int8
}

// A fingering is a shape with fingers, as fingers finds it.
type fingering struct {
	finger [maxPresses + 1]int8 // parallel to the presses given
	cost   float64
	pos    int8 // fret of finger 1 if it lay naturally; 0 when nothing is fretted
	ok     bool
}

// maxPresses is the most notes that fingers is asked to hold, one a string.
const maxPresses = 7

// maxFret bounds the table of fret distances.
const maxFret = 40

// A grasp is a hand on a neck, with the frets measured once.
type grasp struct {
	hand Hand
	mm   [maxFret]float64
}

func newGrasp(n Neck, h Hand) *grasp {
	g := &grasp{hand: h}
	for f := range g.mm {
		g.mm[f] = n.At(f)
	}
	return g
}

// near lists by fret the frets (bit n for fret n, up to 31) that a hand reaches
// together with it: no more than five on, within reach. Open strings are always.
func (g *grasp) near() (m [maxFret]uint32) {
	m[0] = 1<<32 - 1
	for a := 1; a < maxFret; a++ {
		m[a] = 1
		for b := max(1, a-5); b <= min(a+5, 31); b++ {
			if lo, hi := min(a, b), max(a, b); g.mm[hi]-g.mm[lo] <= g.hand.Reach {
				m[a] |= 1 << uint(b)
			}
		}
	}
	return m
}

// The most strings that each finger lies flat over: the index makes the whole
// barre, the others two or three strings (harmony.md 6.2). A third finger that
// is given takes four, as published sixth chords do; it is not proposed.
var widest = [8]int{1: maxPresses, 2: 3, 3: 4, 4: 3}

const (
	widestFree = 3
	// widestCross is how many strings apart fingers that cross at a fret may be:
	// a hand turns that far without leaving its frets.
	widestCross = 2
)

// fingers finds the most comfortable fingers for the notes of a shape, open
// strings included, keeping the fingers that are given (harmony.md 6.2):
//
//   - finger order follows fret order; neighbouring fingers and the whole hand
//     stay within reach;
//   - at one fret the lower finger takes the lower string. Given fingers may
//     cross there, as they do when one was down before the other came, but not
//     far;
//   - one finger may lie flat over strings at one fret when nothing under it is
//     open, stopped lower or held by another finger at that fret.
//
// ok is false when no hand can hold it.
func (g *grasp) fingers(notes []Press) fingering {
	if len(notes) > maxPresses {
		return fingering{}
	}
	t := taken{}
	all := uint16(0)
	for i := range notes {
		p := &notes[i]
		bit := uint16(1) << (p.String & 15)
		f := p.Finger & 7
		switch {
		case all&bit != 0 || uint8(p.Fret) >= maxFret || uint8(p.Finger) > 4 || p.Fret == 0 && f != 0:
			return fingering{}
		case p.Fret == 0:
			t.open |= bit
		case f != 0 && t.mask[f] != 0 && t.fret[f] != p.Fret:
			return fingering{}
		default:
			t.fret[f] = p.Fret
			t.mask[f] |= bit
		}
		all |= bit
	}
	free := t.mask[0]
	t.mask[0] = 0
	switch {
	case all == t.open:
		return fingering{ok: true}
	case free == 0:
		out := g.weigh(&t)
		if out.ok {
			for i := range notes {
				out.finger[i&7] = notes[i].Finger
			}
		}
		return out
	case free == all&^t.open:
		return g.propose(notes, t.open)
	}
	best := fingering{cost: math.Inf(1)}
	g.complete(notes, 0, t, [8]int8{}, &best)
	return best
}

// taken is what the fingers hold. Indices are fingers, 1 to 4; lengths of eight
// spare the bounds checks.
type taken struct {
	fret [8]int8
	mask [8]uint16 // strings, bit n for string n
	open uint16    // strings that sound open
}

// The parts of what a fingering costs. With these weights 858 of the 995
// published shapes get the very fingers that are printed for them; where they do
// not, the printed ones cost little more.
const (
	perFinger   = 0.12
	flatIndex   = 0.35 // and for each string on
	flatIndexOn = 0.08
	flatOther   = 0.95
	flatOtherOn = 0.2
	crossing    = 0.3
	littleAlone = 0.15
	middleRing  = 0.3  // between 2 and 3 the hand spreads least willingly
	squeeze     = 0.15 // for each fret that fingers lie closer than one a fret

	easyFinger = 28.0 // mm from finger to finger that cost nothing
	perStretch = 50.0 // mm beyond that to a cost of 1
	easySpan   = 75.0 // mm from the first finger to the last
	perSpan    = 12.0
)

// pair is the cost of a finger at fret b beside the next lower one in use, at
// fret a, dg fingers on; ok is false beyond reach.
func (g *grasp) pair(a, b int8, dg int) (c float64, stretched, ok bool) {
	mm, df := g.mm[b]-g.mm[a], int(b-a)
	if mm > g.hand.Reach || dg == 1 && mm > g.hand.Adjacent {
		return 0, false, false
	}
	if df > dg {
		return max(0, (mm-easyFinger*float64(dg))/perStretch), true, true
	}
	return squeeze * float64(dg-df), false, true
}

// flat is the cost of finger f flat over w strings beside its first.
func flat(f, w int) float64 {
	if f == 1 {
		return flatIndex + flatIndexOn*float64(w)
	}
	return flatOther + flatOtherOn*float64(w)
}

// span is the cost of the whole stretch.
func (g *grasp) span(lo, hi int8) float64 {
	return max(0, (g.mm[hi]-g.mm[lo]-easySpan)/perSpan)
}

// weigh judges a hand whose fingers are all known.
func (g *grasp) weigh(t *taken) fingering {
	c := 0.0
	pos := int8(maxFret)
	first, last := 0, 0
	under := t.open // what no later finger may cover
	for f := 1; f <= 4; f++ {
		m := t.mask[f]
		if m == 0 {
			continue
		}
		fret := t.fret[f]
		c += perFinger
		pos = min(pos, fret-int8(f)+1)
		if m&(m-1) != 0 {
			hi, lo := 15-bits.LeadingZeros16(m), bits.TrailingZeros16(m)
			over := under
			for h := f + 1; h <= 4; h++ {
				if t.fret[h] == fret {
					over |= t.mask[h]
				}
			}
			w := hi - lo
			if w >= widest[f] || over&(uint16(2)<<hi-uint16(1)<<lo) != 0 {
				return fingering{}
			}
			c += flat(f, w)
		}
		under |= m
		if first == 0 {
			first, last = f, f
			continue
		}
		if fret < t.fret[last&7] {
			return fingering{}
		}
		p, stretched, ok := g.pair(t.fret[last&7], fret, f-last)
		if !ok {
			return fingering{}
		}
		c += p
		if stretched && last == 2 && f == 3 {
			c += middleRing
		}
		for h := last; h > 0; h-- {
			if l := t.mask[h&7]; l != 0 && l < m && t.fret[h&7] == fret { // on higher strings than finger f
				if 15-bits.LeadingZeros16(m)-bits.TrailingZeros16(l) > widestCross {
					return fingering{}
				}
				c += crossing
			}
		}
		last = f
	}
	if g.mm[t.fret[last&7]]-g.mm[t.fret[first&7]] > g.hand.Reach {
		return fingering{}
	}
	c += g.span(t.fret[first&7], t.fret[last&7])
	if first == 4 {
		c += littleAlone
	}
	return fingering{cost: c, pos: max(pos, 1), ok: true}
}

// choices are the fingers that so many groups of notes can have.
var choices = [5][][4]int8{
	1: {{1}, {2}, {3}, {4}},
	2: {{1, 2}, {1, 3}, {1, 4}, {2, 3}, {2, 4}, {3, 4}},
	3: {{1, 2, 3}, {1, 2, 4}, {1, 3, 4}, {2, 3, 4}},
	4: {{1, 2, 3, 4}},
}

// propose finds fingers when none is given: notes of one fret are put together
// under flat fingers in every way that can be, and each way is tried with every
// choice of fingers.
func (g *grasp) propose(notes []Press, open uint16) fingering {
	var r ranked
	r.sort(notes)
	lo, hi := r.note[0].Fret, r.note[(r.k-1)&7].Fret
	if g.mm[hi]-g.mm[lo] > g.hand.Reach {
		return fingering{}
	}
	best := fingering{cost: math.Inf(1)}
	span := g.span(lo, hi)
	joins := r.joins(open)
	for sub := joins; ; sub = (sub - 1) & joins {
		if n := r.k - bits.OnesCount8(sub); n <= 4 {
			gr := r.split(sub, n)
			if d := g.choose(&gr, span, &best); d != nil {
				for i := 0; i < r.k; i++ {
					best.finger[r.from[i&7]&7] = d[gr.of[i&7]&3]
				}
			}
		}
		if sub == 0 {
			break
		}
	}
	if !best.ok {
		return fingering{}
	}
	best.pos = maxFret
	for i := range notes {
		if notes[i].Fret > 0 {
			best.pos = min(best.pos, notes[i].Fret-best.finger[i&7]+1)
		}
	}
	best.pos = max(best.pos, 1)
	return best
}

// ranked is the fretted notes of a shape by fret, then low strings first, with
// their places among the presses given.
type ranked struct {
	k    int
	note [8]Press
	from [8]int8
}

func (r *ranked) sort(notes []Press) {
	for i := range notes {
		p := notes[i]
		if p.Fret == 0 {
			continue
		}
		j := r.k
		for ; j > 0; j-- {
			if q := &r.note[(j-1)&7]; q.Fret < p.Fret || q.Fret == p.Fret && q.String > p.String {
				break
			}
			r.note[j&7], r.from[j&7] = r.note[(j-1)&7], r.from[(j-1)&7]
		}
		r.note[j&7], r.from[j&7] = p, int8(i)
		r.k++
	}
}

// join is the bit for note i lying under the finger of the note before it.
// Early notes have the high bits, so that of equal ways the one that joins
// earlier comes first.
func join(i int) uint8 { return 0x80 >> i }

// joins are the joins that can be: nothing open or stopped lower in between.
func (r *ranked) joins(open uint16) (m uint8) {
	covered, here := open, uint16(0)
	for i := 1; i < r.k; i++ {
		p, q := &r.note[i&7], &r.note[(i-1)&7]
		here |= 1 << (q.String & 15)
		if p.Fret != q.Fret {
			covered |= here
			here = 0
			continue
		}
		if between := uint16(1)<<(q.String&15) - uint16(1)<<(p.String&15); between&covered == 0 {
			m |= join(i)
		}
	}
	return m
}

// groups are notes put together, one finger each.
type groups struct {
	n    int
	of   [8]int8 // group of each ranked note
	fret [4]int8
	wide [4]int8 // strings from the first to the last, less one
}

func (r *ranked) split(sub uint8, n int) (gr groups) {
	gr.n = n
	e := -1
	for i := 0; i < r.k; i++ {
		if sub&join(i) == 0 {
			e++
			gr.fret[e&3] = r.note[i&7].Fret
		} else {
			gr.wide[e&3] += r.note[(i-1)&7].String - r.note[i&7].String
		}
		gr.of[i&7] = int8(e)
	}
	return gr
}

// choose finds the best fingers for some groups, nil when best is not bettered.
func (g *grasp) choose(gr *groups, span float64, best *fingering) *[4]int8 {
	base := span + perFinger*float64(gr.n)
	for e := 1; e < gr.n; e++ { // never the index
		if w := gr.wide[e&3]; w > 0 {
			if w >= widestFree {
				return nil
			}
			base += flat(2, int(w))
		}
	}
	if base >= best.cost-1e-9 {
		return nil
	}
	var beside [4][4]float64 // of each group with the one before, by fingers apart
	var far [4]bool
	for e := 1; e < gr.n; e++ {
		for dg := 1; dg <= 5-gr.n; dg++ {
			c, stretched, ok := g.pair(gr.fret[(e-1)&3], gr.fret[e&3], dg)
			if !ok {
				c = math.Inf(1)
			}
			beside[e&3][dg&3] = c
			far[e&3] = far[e&3] || dg == 1 && stretched
		}
	}
	var out *[4]int8
	for h := range choices[gr.n] {
		d := &choices[gr.n][h]
		c := base
		if w := gr.wide[0]; w > 0 {
			if d[0] != 1 && w >= widestFree {
				break
			}
			c += flat(int(d[0]), int(w))
		}
		if d[0] == 4 {
			c += littleAlone
		}
		for e := 1; e < gr.n; e++ {
			dg := d[e&3] - d[(e-1)&3]
			c += beside[e&3][dg&3]
			if dg == 1 && d[e&3] == 3 && far[e&3] {
				c += middleRing
			}
		}
		if c < best.cost-1e-9 {
			best.cost, best.ok = c, true
			out = d
		}
	}
	return out
}

// complete finds the fingers that are not given beside those that are.
func (g *grasp) complete(notes []Press, i int, t taken, cur [8]int8, best *fingering) {
	for ; i < len(notes); i++ {
		p := &notes[i]
		cur[i&7] = p.Finger
		if p.Fret == 0 || p.Finger != 0 {
			continue
		}
		for f := int8(1); f <= 4; f++ {
			if t.mask[f] != 0 && t.fret[f] != p.Fret {
				continue
			}
			u := t
			u.fret[f] = p.Fret
			u.mask[f] |= 1 << (p.String & 15)
			cur[i&7] = f
			g.complete(notes, i+1, u, cur, best)
		}
		return
	}
	if w := g.weigh(&t); w.ok && (!best.ok || w.cost < best.cost-1e-9) {
		w.finger = cur
		*best = w
	}
}
