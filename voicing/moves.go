package voicing

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// StringNames are the open strings as a player names them, low to high; the
// highest is small when it has the letter of a lower one. C# and F# are called
// Db and Gb beside strings that have flats.
func StringNames(tuning []int) []string {
	names := [12]string{"C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"}
	for _, m := range tuning {
		if strings.HasSuffix(names[((m%12)+12)%12], "b") {
			names[1], names[6] = "Db", "Gb"
			break
		}
	}
	out := make([]string, len(tuning))
	for i, m := range tuning {
		out[i] = names[((m%12)+12)%12]
	}
	if n := len(out) - 1; n > 0 {
		for _, s := range out[:n] {
			if s == out[n] {
				out[n] = strings.ToLower(out[n])
				break
			}
		}
	}
	return out
}

// A MoveKind is what a finger does from one grip to the next.
type MoveKind uint8

// The kinds in the order in which moves are told: what stays or slides guides
// the hand.
const (
	Stays  MoveKind = iota // on a string that it held, at the same fret
	Slides                 // along a string that it held, to another fret
	Goes                   // to another string
	Down                   // it was free
	Lifts                  // it is free then
	Opens                  // no finger: an open string begins to sound
	Damps                  // no finger: an open string that sounded is to be silent
)

// String is the word for it: stays, slides, moves, comes down, lifts, opens, damps.
func (k MoveKind) String() string {
	return [...]string{"stays", "slides", "moves", "comes down", "lifts", "opens", "damps"}[k]
}

// A Hold is what one finger holds: one string, or several as a barre.
type Hold struct {
	Strings []int    // numbers, 1 the highest, from the lowest string up; none for a free finger
	Names   []string // the same as a player names them
	Fret    int      // counted from the capo; 0 for open strings
}

// String is "D 9", or "D B e 9" for a barre.
func (h Hold) String() string { return strings.Join(h.Names, " ") + " " + strconv.Itoa(h.Fret) }

// barre reports that the finger lies over several strings.
func (h Hold) barre() bool { return len(h.Strings) > 1 }

// A Move is what one finger does from one grip to the next, or, with finger 0,
// what happens on one open string.
type Move struct {
	Finger   int // 1 index .. 4 little finger; 0 none
	Kind     MoveKind
	From, To Hold // one of them empty where the finger is or was free
}

// String says it in plain words: "1 stays on D 9", "2 slides up G from 9 to 10",
// "1 slides down from D 7 to the barre D B e 5", "4 moves from B 10 to e 8",
// "3 comes down on B 12", "4 lifts", "open D sounds", "damp open e".
func (m Move) String() string {
	f := strconv.Itoa(m.Finger)
	switch m.Kind {
	case Stays:
		switch {
		case slices.Equal(m.From.Strings, m.To.Strings):
			return f + " stays on " + m.To.held()
		case m.To.barre():
			return f + " stays at " + strconv.Itoa(m.To.Fret) + ", now " + m.To.held()
		}
		return f + " stays on " + m.To.String() + " and leaves " + strings.Join(left(m.From.Names, m.To.Names), " ")
	case Slides:
		way := " up "
		if m.To.Fret < m.From.Fret {
			way = " down "
		}
		switch {
		case !slices.Equal(m.From.Strings, m.To.Strings):
			return f + " slides" + way + "from " + m.From.held() + " to " + m.To.held()
		case m.To.barre():
			return f + " slides" + way + "the barre " + strings.Join(m.To.Names, " ") + fmt.Sprintf(" from %d to %d", m.From.Fret, m.To.Fret)
		}
		return f + " slides" + way + m.To.Names[0] + fmt.Sprintf(" from %d to %d", m.From.Fret, m.To.Fret)
	case Goes:
		return f + " moves from " + m.From.held() + " to " + m.To.held()
	case Down:
		return f + " comes down on " + m.To.held()
	case Lifts:
		return f + " lifts"
	case Opens:
		return "open " + m.To.Names[0] + " sounds"
	}
	return "damp open " + m.From.Names[0]
}

// left are those of names that are not among others.
func left(names, others []string) (out []string) {
	for _, n := range names {
		if !slices.Contains(others, n) {
			out = append(out, n)
		}
	}
	return out
}

// held is what is held, a barre called so.
func (h Hold) held() string {
	if h.barre() {
		return "the barre " + h.String()
	}
	return h.String()
}

// Moves is what each finger does from one grip to the next: first what stays,
// then what slides, moves, comes down and lifts, each by finger, at last the open
// strings that begin to sound or must not sound on, from the lowest. Every finger
// that is in one of the grips is named once; an open string that sounds in both
// has no move. tuning is the open pitch of each string, low to high. A fretted
// string that has no finger is left out.
func Moves(from, to Placed, tuning []int) []Move {
	return movesBetween(shapeOf(from, len(tuning)), shapeOf(to, len(tuning)), tuning)
}

// A shape is what a hand holds: by finger a fret and strings, bit n for string
// n; finger 0 are the strings that sound open.
type shape [5]struct {
	fret    int
	strings uint16
}

// shapeOf reads a grip.
func shapeOf(p Placed, strings int) (h shape) {
	for i, f := range p.Frets {
		s := strings - i
		if f < 0 || s < 1 {
			continue
		}
		finger := 0
		if i < len(p.Fingers) {
			finger = p.Fingers[i]
		}
		if (finger == 0) == (f == 0) && finger >= 0 && finger < len(h) {
			h.press(finger, s, f)
		}
	}
	return h
}

// press puts a finger on a string, beside those that it holds at this fret.
func (h *shape) press(finger, s, fret int) {
	if h[finger].fret != fret {
		h[finger].strings = 0
	}
	h[finger].fret = fret
	h[finger].strings |= 1 << s
}

func movesBetween(from, to shape, tuning []int) []Move {
	names := StringNames(tuning)
	hold := func(m uint16, fret int) (h Hold) {
		for s := len(names); s > 0; s-- {
			if m>>s&1 != 0 {
				h.Strings, h.Names = append(h.Strings, s), append(h.Names, names[len(names)-s])
			}
		}
		if m != 0 {
			h.Fret = fret
		}
		return h
	}
	var out []Move
	stopped := uint16(0)
	for f := 1; f < len(from); f++ {
		a, b := from[f], to[f]
		stopped |= b.strings
		m := Move{Finger: f, From: hold(a.strings, a.fret), To: hold(b.strings, b.fret)}
		switch {
		case a.strings|b.strings == 0:
			continue
		case b.strings == 0:
			m.Kind = Lifts
		case a.strings == 0:
			m.Kind = Down
		case a.strings&b.strings == 0:
			m.Kind = Goes
		case a.fret == b.fret:
			m.Kind = Stays
		default:
			m.Kind = Slides
		}
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(a, b Move) int { return cmp.Compare(a.Kind, b.Kind) })
	for _, k := range [...]struct {
		kind    MoveKind
		strings uint16
	}{{Opens, to[0].strings &^ from[0].strings}, {Damps, from[0].strings &^ to[0].strings &^ stopped}} {
		for s := len(names); s > 0; s-- {
			if k.strings>>s&1 == 0 {
				continue
			}
			m := Move{Kind: k.kind}
			if k.kind == Opens {
				m.To = hold(1<<s, 0)
			} else {
				m.From = hold(1<<s, 0)
			}
			out = append(out, m)
		}
	}
	return out
}

// MovesAt is what each finger does for the change into the grip with index i,
// from what the hand really holds then: the fingers that were put down last, for
// the grip before or for a note after it, and were not taken away since. What
// rings on over the change stays where it is. An index that is none gives none.
func (a *Arrangement) MovesAt(i int) []Move {
	if i < 0 || i >= len(a.Grips) {
		return nil
	}
	from, to := a.handAround(i)
	return movesBetween(from, to, a.Tuning)
}

// MovesRound is what each finger does when what is played from start to end, and
// silence of tail after it, goes round: from the last grip and what was struck
// after it, with the notes before the first grip, into that. None where no grip
// is struck there.
func (a *Arrangement) MovesRound(start, end, tail Tick) []Move {
	first, last := -1, -1
	for i, g := range a.Grips {
		if in(g.At, start, end) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return nil
	}
	c := &Arrangement{Tuning: a.Tuning, Capo: a.Capo, Grips: []Placed{a.Grips[last], a.Grips[first]}}
	seam := end + tail - start // from one time round to the next
	c.Grips[1].At += seam
	for _, n := range a.Notes {
		if in(n.At, a.Grips[last].At, end) {
			n.Dur = min(n.Dur, end+tail-n.At)
			c.Notes = append(c.Notes, n)
		}
	}
	for _, n := range a.Notes {
		if in(n.At, start, a.Grips[first].At) {
			n.At += seam
			c.Notes = append(c.Notes, n)
		}
	}
	return c.MovesAt(1)
}

// A resting finger is where it was put down last.
type resting struct {
	fret    int
	strings uint16
	end     [16]Tick // of each string, when its note stops
	last    Tick     // when it was put down
}

// handAround is what the hand holds just before the grip with index i, and what
// it holds with it.
func (a *Arrangement) handAround(i int) (from, to shape) {
	t := a.Grips[i].At
	start := Tick(0)
	if i > 0 {
		start = a.Grips[i-1].At
	}
	to = shapeOf(a.Grips[i], len(a.Tuning))
	grasp := newGrasp(Neck{Tuning: a.Tuning, Capo: a.Capo, Scale: StandardNeck().Scale}, NormalHand())
	var hand [5]resting
	var open [16]Tick // when each open string stops
	used := uint16(0)
	for _, m := range to {
		used |= m.strings
	}
	for now := range attacks(a.Notes) {
		u := now[0].At
		if u >= t {
			break
		}
		for _, n := range now {
			if n.At+n.Dur <= start || n.String < 1 || n.String >= len(open) || n.Finger < 0 || n.Finger > 4 || (n.Finger == 0) != (n.Fret == 0) {
				continue
			}
			bit := uint16(1) << n.String
			open[n.String] = 0
			for f := 1; f < len(hand); f++ {
				h := &hand[f]
				if f != n.Finger && h.strings&bit != 0 && h.fret >= n.Fret {
					h.strings &^= bit // the string sounds shorter or open: the finger has left it
				}
			}
			if n.Fret == 0 {
				open[n.String] = n.At + n.Dur
				continue
			}
			h := &hand[n.Finger]
			if h.fret != n.Fret {
				*h = resting{fret: n.Fret}
			}
			for s, end := range h.end {
				if h.strings>>s&1 != 0 && end <= u && h.last < u {
					h.strings &^= 1 << s // it went on to this string
				}
			}
			h.strings |= bit
			h.end[n.String], h.last = n.At+n.Dur, u
		}
	}
	// A finger is still there if its note rings, or if nothing was struck since
	// that it could have been taken away for.
	var left [5]uint16 // strings on which it could still rest
	for f := 1; f < len(hand); f++ {
		h := &hand[f]
		for s, end := range h.end {
			if h.strings>>s&1 == 0 {
				continue
			}
			if end < t && len(a.fretted(end, t, s)) > 0 {
				left[f] |= 1 << s
				continue
			}
			from.press(f, s, h.fret)
			if end > t && used>>s&1 == 0 && (to[f].strings == 0 || to[f].fret == h.fret) {
				to.press(f, s, h.fret)
			}
		}
	}
	// Where the grip that comes has it on the same string, it stays as a guide if
	// it can rest there under all that was struck.
	for f := 1; f < len(hand); f++ {
		if h := &hand[f]; from[f].strings == 0 {
			for s, end := range h.end {
				if left[f]&to[f].strings>>s&1 != 0 && rests(grasp, f, s, h.fret, a.fretted(end, t, s)) {
					from.press(f, s, h.fret)
				}
			}
		}
	}
	for s, end := range open {
		if end > 0 && end >= t {
			from.press(0, s, 0)
			if end > t && used>>s&1 == 0 {
				to.press(0, s, 0)
			}
		}
	}
	return from, to
}

// fretted are the notes struck in [from, to) that take a finger, or string s.
func (a *Arrangement) fretted(from, to Tick, s int) []Note {
	var out []Note
	i, _ := slices.BinarySearchFunc(a.Notes, from, func(n Note, t Tick) int { return cmp.Compare(n.At, t) })
	for ; i < len(a.Notes) && a.Notes[i].At < to; i++ {
		if n := a.Notes[i]; n.Fret > 0 || n.String == s {
			out = append(out, n)
		}
	}
	return out
}

// rests reports whether a finger can stay on its string, though it no longer
// sounds, while the hand takes each of the attacks; behind a higher finger on the
// same string too.
func rests(g *grasp, finger, s, fret int, since []Note) bool {
	for now := range attacks(since) {
		ps := []Press{{Stop{int8(s), int8(fret)}, int8(finger)}}
		for _, n := range now {
			if n.String != s {
				ps = append(ps, Press{Stop{int8(n.String), int8(n.Fret)}, int8(n.Finger)})
				continue
			}
			if n.Fret <= fret || n.Finger <= finger {
				return false
			}
			if _, _, ok := g.pair(int8(fret), int8(n.Fret), n.Finger-finger); !ok {
				return false
			}
		}
		if !g.fingers(ps).ok {
			return false
		}
	}
	return true
}
