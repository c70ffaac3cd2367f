package voicing

import (
	"slices"
	"strconv"
	"strings"
	"testing"
)

// gripOf reads frets and fingers, low string first: "x 9 10 9 10 x", "- 1 3 2 4 -".
func gripOf(t *testing.T, frets, fingers string) Placed {
	t.Helper()
	var p Placed
	for _, f := range strings.Fields(frets) {
		n, err := strconv.Atoi(f)
		if err != nil {
			n = -1
		}
		p.Frets = append(p.Frets, n)
	}
	for _, f := range strings.Fields(fingers) {
		n, _ := strconv.Atoi(f)
		p.Fingers = append(p.Fingers, n)
	}
	if len(p.Frets) != len(p.Fingers) {
		t.Fatalf("%q with fingers %q", frets, fingers)
	}
	return p
}

// TestMoves: what a teacher says of a change (common practice, no source).
func TestMoves(t *testing.T) {
	seven, dropped := []int{35, 40, 45, 50, 55, 59, 64}, []int{38, 45, 50, 55, 59, 64}
	for _, c := range []struct {
		what             string
		tuning           []int
		frets1, fingers1 string
		frets2, fingers2 string
		want             string
	}{
		{"a whole grip moved up: every finger is a guide", nil,
			"x 3 5 4 5 x", "- 1 3 2 4 -", "x 5 7 6 7 x", "- 1 3 2 4 -",
			"1 slides up A from 3 to 5; 2 slides up G from 4 to 6; 3 slides up D from 5 to 7; 4 slides up B from 5 to 7"},
		{"two to five: two fingers stay", nil,
			"x 5 7 5 6 x", "- 1 3 1 2 -", "x 5 6 5 6 x", "- 1 2 1 3 -",
			"1 stays on the barre A G 5; 2 moves from B 6 to D 6; 3 moves from D 7 to B 6"},
		{"one finger of four moves on its string", nil,
			"x 9 10 9 10 x", "- 1 3 2 4 -", "x 9 10 9 9 x", "- 1 3 2 4 -",
			"1 stays on A 9; 2 stays on G 9; 3 stays on D 10; 4 slides down B from 10 to 9"},
		{"one comes down, one lifts", nil,
			"x x 9 10 x x", "- - 1 2 - -", "x x 9 x 12 x", "- - 1 - 4 -",
			"1 stays on D 9; 4 comes down on B 12; 2 lifts"},
		{"a finger lies flat: a barre begins", nil,
			"x x 9 10 x x", "- - 1 2 - -", "x x 9 10 9 9", "- - 1 2 1 1",
			"1 stays at 9, now the barre D B e 9; 2 stays on G 10"},
		{"a barre ends", nil,
			"x x 9 10 9 9", "- - 1 2 1 1", "x x x 10 9 x", "- - - 2 1 -",
			"1 stays on B 9 and leaves D e; 2 stays on G 10"},
		{"a barre stays", nil,
			"6 x 6 6 6 x", "1 - 1 1 1 -", "6 x 6 7 6 x", "1 - 1 2 1 -",
			"1 stays at 6, now the barre E D B 6; 2 comes down on G 7"},
		{"a barre slides", nil,
			"x x 7 7 7 x", "- - 1 1 1 -", "x x 5 5 5 x", "- - 1 1 1 -",
			"1 slides down the barre D G B from 7 to 5"},
		{"a barre begins on the way", nil,
			"x x 7 x x x", "- - 1 - - -", "x x 5 x 5 5", "- - 1 - 1 1",
			"1 slides down from D 7 to the barre D B e 5"},
		{"to a barre elsewhere", nil,
			"x 7 x x x x", "- 1 - - - -", "x x x 5 5 x", "- - - 1 1 -",
			"1 moves from A 7 to the barre G B 5"},
		{"another finger on the same stop lets go of nothing that sounds, but it is a change of fingers", nil,
			"x x 7 x x x", "- - 1 - - -", "x x 7 x x x", "- - 2 - - -",
			"2 comes down on D 7; 1 lifts"},
		{"open strings begin, stop, and give way to a finger", nil,
			"0 x 2 x 0 x", "0 - 1 - 0 -", "x 0 x 2 3 x", "- 0 - 1 3 -",
			"1 moves from D 2 to G 2; 3 comes down on B 3; open A sounds; damp open E"},
		{"a finger lifts and its string sounds open; the other open string rings on", nil,
			"x 0 2 x x 0", "- 0 2 - - 0", "x 0 0 x x 0", "- 0 0 - - 0",
			"2 lifts; open D sounds"},
		{"the same grip again", nil,
			"x 0 x 5 x x", "- 0 - 1 - -", "x 0 x 5 x x", "- 0 - 1 - -",
			"1 stays on G 5"},
		{"from open strings to open strings", nil, "0 x x x x x", "0 - - - - -", "x x x x x 0", "- - - - - 0",
			"open e sounds; damp open E"},
		{"seven strings", seven,
			"7 x x 9 x x x", "1 - - 3 - - -", "5 x x 9 x x x", "1 - - 4 - - -",
			"1 slides down B from 7 to 5; 4 comes down on D 9; 3 lifts"},
		{"drop D", dropped,
			"0 x 4 x x 5", "0 - 1 - - 2", "2 x 4 x x x", "1 - 3 - - -",
			"1 moves from D 4 to D 2; 3 comes down on D 4; 2 lifts"},
		{"nothing", nil, "x x x x x x", "- - - - - -", "x x x x x x", "- - - - - -", ""},
	} {
		tuning := c.tuning
		if tuning == nil {
			tuning = StandardNeck().Tuning
		}
		var got []string
		for _, m := range Moves(gripOf(t, c.frets1, c.fingers1), gripOf(t, c.frets2, c.fingers2), tuning) {
			got = append(got, m.String())
		}
		if s := strings.Join(got, "; "); s != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.what, s, c.want)
		}
	}
}

// apply does the moves: what each string has then, by fret and finger.
func apply(t *testing.T, from shape, ms []Move) shape {
	t.Helper()
	h := from
	named := map[int]bool{}
	mask := func(h Hold) (m uint16) {
		for _, s := range h.Strings {
			m |= 1 << s
		}
		return m
	}
	last := Stays
	for _, m := range ms {
		if m.Kind < last {
			t.Fatalf("%v stands after what comes later", m)
		}
		last = m.Kind
		if m.Finger == 0 {
			continue
		}
		if named[m.Finger] {
			t.Fatalf("finger %d is named twice", m.Finger)
		}
		named[m.Finger] = true
		f := &h[m.Finger]
		if mask(m.From) != f.strings || f.strings != 0 && m.From.Fret != f.fret {
			t.Fatalf("%v, but the finger holds %v at %d", m, f.strings, f.fret)
		}
		f.strings, f.fret = mask(m.To), m.To.Fret
	}
	pressed := uint16(0)
	for f := 1; f < len(h); f++ {
		if !named[f] && h[f].strings != 0 {
			t.Fatalf("finger %d is not named", f)
		}
		if h[f].strings == 0 {
			h[f].fret = 0
		}
		pressed |= h[f].strings
	}
	h[0].strings &^= pressed
	for _, m := range ms {
		switch m.Kind {
		case Opens:
			h[0].strings |= mask(m.To)
		case Damps:
			h[0].strings &^= mask(m.From)
		}
	}
	return h
}

// plain has no frets where there are no strings.
func (h shape) plain() shape {
	for f := range h {
		if h[f].strings == 0 {
			h[f].fret = 0
		}
	}
	return h
}

// TestMovesLeadThere: from every grip to the next, as they stand and from what the
// hand really holds, the moves done one after the other give the grip.
func TestMovesLeadThere(t *testing.T) {
	grasp := newGrasp(StandardNeck(), NormalHand())
	all, kinds, real := 0, map[MoveKind]int{}, map[MoveKind]int{}
	everyTune(t, func(t *testing.T, a *Arrangement) {
		for i, g := range a.Grips {
			want := shapeOf(g, len(a.Tuning))
			for j, f := range g.Frets {
				if k := g.Fingers[j]; f > 0 && (want[k].fret != f || want[k].strings>>(len(g.Frets)-j)&1 == 0) {
					t.Fatalf("grip %d: finger %d holds two frets", i, k)
				}
			}
			all++
			if i > 0 {
				from := shapeOf(a.Grips[i-1], len(a.Tuning))
				ms := Moves(a.Grips[i-1], g, a.Tuning)
				if got := apply(t, from, ms); got.plain() != want.plain() {
					t.Fatalf("into grip %d: %v lead to %v, not to %v", i, ms, got, want)
				}
				for _, m := range ms {
					kinds[m.Kind]++
				}
			}
			ms := a.MovesAt(i)
			from, to := a.handAround(i)
			if got := apply(t, from, ms); got.plain() != to.plain() {
				t.Fatalf("into grip %d: %v lead to %v, not to %v", i, ms, got, to)
			}
			for f := range want {
				if want[f].strings&^to[f].strings != 0 || want[f].strings != 0 && want[f].fret != to[f].fret {
					t.Fatalf("into grip %d: finger %d goes elsewhere: %v", i, f, ms)
				}
			}
			for _, m := range ms {
				real[m.Kind]++
			}
			// The highest finger of each string sounds; a hand holds those.
			var top [16]Press
			for f := 1; f < len(from); f++ {
				for s := range top {
					if p := &top[s]; from[f].strings>>s&1 != 0 && int(p.Fret) < from[f].fret {
						*p = Press{Stop{int8(s), int8(from[f].fret)}, int8(f)}
					}
				}
			}
			ps := slices.DeleteFunc(top[:], func(p Press) bool { return p.Finger == 0 })
			if !grasp.fingers(ps).ok {
				t.Errorf("before grip %d at %v no hand holds %v", i, a.PlaceAt(g.At), ps)
			}
			for _, n := range a.Notes {
				if f := n.Finger; n.At < g.At && n.At+n.Dur > g.At && f > 0 && want[f].strings == 0 && g.Frets[len(g.Frets)-n.String] < 0 &&
					!slices.ContainsFunc(ms, func(m Move) bool { return m.Finger == f && m.Kind == Stays }) {
					t.Errorf("before grip %d at %v finger %d holds a note that rings on, and does %v", i, a.PlaceAt(g.At), f, ms)
				}
			}
		}
	})
	t.Logf("%d grips; between grips %v; from what the hand holds %v", all, kinds, real)
	if kinds[Stays] == 0 || kinds[Slides] == 0 || real[Stays] == 0 || real[Slides] == 0 {
		t.Fatal("nothing was measured")
	}
}

// TestMovesAt: the hand just before a change, not the grip, is what moves.
func TestMovesAt(t *testing.T) {
	q := func(x float64) Tick { return Tick(x * float64(PerQuarter)) }
	n := func(at, dur float64, s, fret, finger int, early float64) Note {
		return Note{At: q(at), Dur: q(dur), String: s, Fret: fret, Finger: finger, Early: q(early)}
	}
	for _, c := range []struct {
		what         string
		first, next  [2]string
		notes        []Note
		want, asIfIt string // from the hand, and between the grips
	}{
		{"nothing after the grip: it is still there, though it was a stab",
			[2]string{"x 9 10 9 x x", "- 1 3 2 - -"}, [2]string{"x 9 10 x 10 x", "- 1 3 - 4 -"},
			[]Note{n(0, 0.5, 5, 9, 1, 0), n(0, 0.5, 4, 10, 3, 0), n(0, 0.5, 3, 9, 2, 0)},
			"1 stays on A 9; 3 stays on D 10; 4 comes down on B 10; 2 lifts",
			"1 stays on A 9; 3 stays on D 10; 4 comes down on B 10; 2 lifts"},
		{"the tune took a finger away",
			[2]string{"x 9 10 x 10 x", "- 1 3 - 4 -"}, [2]string{"x 9 x x 10 x", "- 1 - - 4 -"},
			[]Note{n(0, 4, 5, 9, 1, 0), n(0, 4, 4, 10, 3, 0), n(0, 2, 2, 10, 4, 0), n(2, 2, 1, 10, 4, 0)},
			"1 stays on A 9; 4 moves from e 10 to B 10; 3 lifts",
			"1 stays on A 9; 4 stays on B 10; 3 lifts"},
		{"an open string of the tune lifts what was on it",
			[2]string{"x x 9 x x 7", "- - 3 - - 1"}, [2]string{"x x 9 x x 8", "- - 3 - - 2"},
			[]Note{n(0, 4, 4, 9, 3, 0), n(0, 3, 1, 7, 1, 0), n(3, 1, 1, 0, 0, 0)},
			"3 stays on D 9; 2 comes down on e 8",
			"3 stays on D 9; 2 comes down on e 8; 1 lifts"},
		{"a finger that lets go just before the change comes from where it was",
			[2]string{"x x 9 x x 7", "- - 3 - - 1"}, [2]string{"x x 7 x x 8", "- - 1 - - 2"},
			[]Note{n(0, 4, 4, 9, 3, 0), n(0, 3, 1, 7, 1, 0), n(3, 0.9, 2, 8, 2, 0.1)},
			"2 moves from B 8 to e 8; 1 comes down on D 7; 3 lifts",
			"1 moves from e 7 to D 7; 2 comes down on e 8; 3 lifts"},
		{"a guide rests where it was while another note is struck",
			[2]string{"x x 9 x 10 x", "- - 1 - 2 -"}, [2]string{"x x 9 x x 10", "- - 1 - - 2"},
			[]Note{n(0, 1, 4, 9, 1, 0), n(0, 2, 2, 10, 2, 0), n(2, 2, 2, 12, 4, 0)},
			"1 stays on D 9; 2 comes down on e 10; 4 lifts",
			"1 stays on D 9; 2 moves from B 10 to e 10"},
		{"what rings on over the change stays",
			[2]string{"x x 9 x 10 x", "- - 1 - 2 -"}, [2]string{"x x 9 x x x", "- - 1 - - -"},
			[]Note{n(0, 6, 2, 10, 2, 0), n(0, 4, 4, 9, 1, 0)},
			"1 stays on D 9; 2 stays on B 10",
			"1 stays on D 9; 2 lifts"},
	} {
		a := &Arrangement{Tuning: StandardNeck().Tuning, Notes: c.notes, Grips: []Placed{
			gripOf(t, c.first[0], c.first[1]), gripOf(t, c.next[0], c.next[1])}}
		a.Grips[1].At = q(4)
		say := func(ms []Move) string {
			var out []string
			for _, m := range ms {
				out = append(out, m.String())
			}
			return strings.Join(out, "; ")
		}
		if got := say(a.MovesAt(1)); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.what, got, c.want)
		}
		if got := say(Moves(a.Grips[0], a.Grips[1], a.Tuning)); got != c.asIfIt {
			t.Errorf("%s, between the grips:\n got %s\nwant %s", c.what, got, c.asIfIt)
		}
		if a.MovesAt(-1) != nil || a.MovesAt(2) != nil {
			t.Error("moves into no grip")
		}
	}
}

// TestMovesRound: the way round a change is the way into the grip at its end, and
// in a whole tune that into its first grip.
func TestMovesRound(t *testing.T) {
	everyTune(t, func(t *testing.T, a *Arrangement) {
		for i := 1; i < len(a.Grips); i += 5 {
			c, err := Change(a, i)
			if err != nil {
				t.Fatal(err)
			}
			// Played three times, the second time round is like any other.
			end := c.End()
			long := &Arrangement{Tuning: c.Tuning, Capo: c.Capo, Notes: append(slices.Clone(c.Notes), shifted(c.Notes, end)...)}
			for r := range Tick(2) {
				for _, g := range c.Grips {
					g.At += r * end
					long.Grips = append(long.Grips, g)
				}
			}
			got, want := c.MovesRound(0, end, 0), long.MovesAt(2)
			if !slices.EqualFunc(got, want, func(a, b Move) bool { return a.String() == b.String() }) {
				t.Fatalf("change %d: round %v, played on %v", i, got, want)
			}
		}
	})
}
