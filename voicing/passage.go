package voicing

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// A passage is what is put in: an introduction before the tune, or an ending
// that takes over in its last note or follows it. Times are counted from its
// start.
type passage struct {
	name string // what it is, in the words of a player: "down the tonic scale in chords, flat six and flat two"
	// lead is how much of the tune's end an ending takes over: its start lies
	// that long before the tune's end. 0 for what follows the tune.
	lead   theory.Time
	bars   []theory.Time // how long each bar is that is put in, after the lead
	notes  []theory.Note // its top line, in order, without overlap
	chords []passageChord
}

// A passageChord is a chord of a passage and, where it has to be so and no
// other, how it lies.
type passageChord struct {
	theory.Change
	// voicing is what is struck with the chord, MIDI pitches from the lowest up,
	// the top line's note the last; nil leaves it to the arranger.
	voicing []int
	strings uint16 // the strings it lies on, bit n for string n; 0 for any
	whole   bool   // all of it is struck at once, with nothing after it
	free    bool   // it lies as asked but is laid out and answered as any other
}

// asks reports whether the chord has to lie or to be struck in a certain way.
func (c *passageChord) asks() bool { return c.voicing != nil || c.whole }

// length is how long all of it lasts.
func (p *passage) length() theory.Time {
	d := p.lead
	for _, b := range p.bars {
		d = d.Add(b)
	}
	return d
}

// add puts notes and chords into a passage, their times counted from at.
func (p *passage) add(at theory.Time, notes []theory.Note, chords []passageChord) {
	for _, n := range notes {
		n.At = n.At.Add(at)
		p.notes = append(p.notes, n)
	}
	for _, c := range chords {
		c.At = c.At.Add(at)
		p.chords = append(p.chords, c)
	}
}

// cut leaves of a passage what comes before end.
func (p *passage) cut(end theory.Time) {
	notes, chords := p.notes[:0], p.chords[:0]
	for _, n := range p.notes {
		if n.At.Less(end) {
			n.Len = shorter(n.Len, end.Sub(n.At))
			notes = append(notes, n)
		}
	}
	for _, c := range p.chords {
		if c.At.Less(end) {
			c.Len = shorter(c.Len, end.Sub(c.At))
			chords = append(chords, c)
		}
	}
	p.notes, p.chords = notes, chords
}

// since is when what begins at and lasts d begins, counted from a start, and how
// long it lasts from there on; not ok where it is over before.
func since(start, at, d theory.Time) (theory.Time, theory.Time, bool) {
	zero := theory.Time{}
	if at = at.Sub(start); at.Less(zero) {
		return zero, d.Add(at), zero.Less(d.Add(at))
	}
	return at, d, true
}

// shorter is the shorter of two lengths.
func shorter(a, b theory.Time) theory.Time {
	if b.Less(a) {
		return b
	}
	return a
}

// ratio is how often b goes into a.
func ratio(a, b theory.Time) theory.Time { return a.Mul(b.Den(), b.Num()) }

// multiple reports whether a is a whole number of b.
func multiple(a, b theory.Time) bool { return ratio(a, b).Den() == 1 }

// wholes is how often b goes into a, 0 where that is no whole number.
func wholes(a, b theory.Time) int {
	if !multiple(a, b) {
		return 0
	}
	return int(ratio(a, b).Num())
}

// A Choice is a kind of introduction or ending and which of that kind, from 1,
// the one that suits best.
type Choice struct {
	Kind string // "none" for none at all
	Rank int
}

var (
	introKinds  = []string{"none", "last", "pedal", "vamp"}
	endingKinds = []string{"straight", "tag", "vamp", "run", "none"}
)

// mostRank is how far one may count; what there is depends on the tune.
const mostRank = 99

// ParseIntro reads "last", the tune's last four bars; "pedal", on the dominant;
// "vamp"; "none", which empty is too; and which of the kind, "pedal:2".
func ParseIntro(s string) (Choice, error) { return parseChoice(s, "introduction", introKinds) }

// ParseEnding reads "straight", which empty is too; "tag", the last phrase
// again; "vamp"; "run", the tonic scale in chords; "none", the last bar as it is
// written; and which of the kind, "run:2".
func ParseEnding(s string) (Choice, error) { return parseChoice(s, "ending", endingKinds) }

// parseChoice reads KIND or KIND:N; empty is the first of the kinds.
func parseChoice(s, what string, kinds []string) (Choice, error) {
	if s == "" {
		return Choice{kinds[0], 1}, nil
	}
	kind, rank, ranked := strings.Cut(s, ":")
	c := Choice{kind, 1}
	for _, k := range kinds {
		if k != kind {
			continue
		}
		if !ranked {
			return c, nil
		}
		n, err := strconv.Atoi(rank)
		if err != nil || n < 1 || n > mostRank || rank[0] < '0' || rank[0] > '9' || kind == "none" {
			return c, fmt.Errorf("%s %q: %q is not one of its kind (they count from 1, like %s:2)", what, s, rank, kinds[1])
		}
		c.Rank = n
		return c, nil
	}
	return c, fmt.Errorf("%s %q is not known (it is %s or %s, and which of them after a colon, like %s:2)", what, kind,
		strings.Join(kinds[:len(kinds)-1], ", "), kinds[len(kinds)-1], kinds[1])
}

// A ChoiceError tells of an introduction or an ending that a tune does not
// have.
type ChoiceError struct {
	What   string // IntroName or EndingName
	Choice Choice
	Has    int // how many there are of the kind
}

func (e *ChoiceError) Error() string {
	k := e.Choice.Kind
	switch e.Has {
	case 0:
		return fmt.Sprintf("%s %s does not fit this tune (choose another kind)", e.What, k)
	case 1:
		return fmt.Sprintf("%s %s:%d: this tune has one of its kind (%s:1)", e.What, k, e.Choice.Rank, k)
	}
	return fmt.Sprintf("%s %s:%d: this tune has %s:1 to %s:%d", e.What, k, e.Choice.Rank, k, k, e.Has)
}

// choose is the passage of a rank; there must be one at least.
func choose(all []passage, c Choice, what string) (passage, error) {
	if c.Rank > len(all) {
		return passage{}, &ChoiceError{what, c, len(all)}
	}
	return all[c.Rank-1], nil
}

// mostExact is how many ways to take given pitches are kept, the easiest first.
const mostExact = 12

// exact lists the ways to take just these pitches, from the lowest up, the last
// under or as the tune; the lowest is a bass where it lies low enough for one.
// It is empty where no hand can.
func (m *maker) exact(pitches []int, tune bool) []grip {
	if len(pitches) == 0 || len(pitches) > maxNotes {
		return nil
	}
	var out []grip
	var cur grip
	cur.tune = tune
	strings := int8(m.neck.Strings())
	var place func(k int, from int8)
	place = func(k int, from int8) {
		if k < 0 {
			g := cur
			f := m.fingersOf(&g)
			if !f.ok || m.right.attack(g.strings) == NoAttack {
				return
			}
			for i := range g.note[:g.n] {
				g.note[i].finger = f.finger[i&7]
				g.note[i].voice = Inner
			}
			if g.tune {
				g.note[0].voice = Melody
			}
			if low := &g.note[g.n-1]; g.n > 1 && (low.str >= strings-1 && int(low.midi) <= highestBass || low.str == strings-2 && low.midi <= 55) {
				low.voice, g.hasBass = Bass, true
			}
			g.pos, g.ease = f.pos, f.cost
			g.cost = m.taste.Finger*f.cost + m.taste.highOpens(&g)
			out = append(out, g)
			return
		}
		for _, st := range m.neck.Stops(pitches[k]) {
			if st.String < from || st.Fret > highest {
				continue
			}
			cur.note[cur.n] = tone{str: st.String, fret: st.Fret, midi: int16(pitches[k])}
			cur.n++
			cur.strings |= 1 << uint(st.String)
			pcs := cur.pcs
			cur.pcs = cur.pcs.With(pitches[k])
			place(k-1, st.String+1)
			cur.pcs = pcs
			cur.strings &^= 1 << uint(st.String)
			cur.n--
		}
	}
	place(len(pitches)-1, 1)
	slices.SortFunc(out, func(a, b grip) int { return a.compare(&b) })
	return out[:min(len(out), mostExact)]
}
