package voicing

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// compBars is the comped chorus of an arrangement, from and to.
func compBars(a *Arrangement) (from, to Tick) {
	last := a.Bars[a.Comped.To-1]
	return a.Bars[a.Comped.From].At, last.At + last.Len
}

// struckIn lists the attacks between two times.
func struckIn(a *Arrangement, from, to Tick) (out [][]Note) {
	for ns := range attacks(a.Notes) {
		if in(ns[0].At, from, to) {
			out = append(out, ns)
		}
	}
	return out
}

// innerOf are the inner voices of an attack, highest first.
func innerOf(ns []Note) (out []Note) {
	for _, n := range ns {
		if n.Voice == Inner {
			out = append(out, n)
		}
	}
	slices.SortFunc(out, func(a, b Note) int { return b.MIDI - a.MIDI })
	return out
}

// compPlans are tunes and feels that ask for each table of figures.
func compPlans(t testing.TB) map[string]*Arrangement {
	t.Helper()
	out := map[string]*Arrangement{}
	for name, tune := range ownTunes(t) {
		for _, feel := range []string{"", "bossa"} {
			if feel != "" && name != "demo.abc" {
				continue
			}
			a, err := Arrange(tune, Plan{Choruses: 3, Comp: 2, Feel: feel})
			if err != nil {
				t.Fatal(err)
			}
			out[name+" "+feel] = a
		}
	}
	slow := *ownTunes(t)["demo.abc"]
	slow.Tempi = []theory.TempoMark{{BPM: 62}}
	a, err := Arrange(&slow, Plan{Choruses: 3, Comp: 2})
	if err != nil {
		t.Fatal(err)
	}
	out["demo.abc slow"] = a
	return out
}

// TestComp is what a chorus without its tune has to be.
func TestComp(t *testing.T) {
	plans := compPlans(t)
	for name, f := range map[string]func(*testing.T, map[string]*Arrangement){
		"says the changes": compSays, "figures": compFiguresLast, "as told": compTold,
	} {
		t.Run(name, func(t *testing.T) { f(t, plans) })
	}
}

// A comped chorus says every change by its third and seventh, on the middle
// strings, under a top line that moves by step or stays (harmony.md 5.2, 5.7; the
// range and the shares are the project's own).
func compSays(t *testing.T, plans map[string]*Arrangement) {
	for name, a := range plans {
		from, to := compBars(a)
		for _, n := range a.Notes {
			if in(n.At, from, to) && n.Voice == Melody {
				t.Errorf("%s: a note of the tune at %d", name, n.At)
			}
		}
		chords := slices.Concat(a.Chords, a.Added)
		slices.SortStableFunc(chords, func(x, y ChordMark) int { return int(x.At - y.At) })
		said, asked := 0, 0
		for k, c := range chords {
			end := to
			if k+1 < len(chords) {
				end = min(chords[k+1].At, to)
			}
			if !in(c.At, from, to) || c.Chord.NoChord || end <= c.At {
				continue
			}
			var heard theory.PCSet
			for _, n := range a.Notes {
				if n.At < end && n.At+n.Dur > c.At && n.At >= c.At-PerQuarter/2 {
					heard = heard.With(n.MIDI)
				}
			}
			asked++
			if hasAll(heard, c.Chord.GuideTones()) {
				said++
			} else {
				t.Logf("%s: %s at %d is not said", name, c.Symbol, c.At)
			}
		}
		if asked == 0 || float64(said) < 0.97*float64(asked) {
			t.Errorf("%s: %d of %d changes are said", name, said, asked)
		}
		all, middle, moves, near, top := 0, 0, 0, 0, 0
		for _, ns := range struckIn(a, from, to) {
			in := innerOf(ns)
			if len(ns) > 4 || len(in) > 3 {
				t.Errorf("%s: %d notes at %d are thick", name, len(ns), ns[0].At)
			}
			for _, n := range in {
				all++
				if n.String >= 2 && n.String <= 4 {
					middle++
				}
			}
			if len(in) < 2 {
				continue
			}
			if in[0].MIDI > 74 {
				t.Errorf("%s: pitch %d at %d is above D5", name, in[0].MIDI, in[0].At)
			}
			if d := absInt(in[0].MIDI - top); top > 0 {
				moves++
				if d <= 2 {
					near++
				}
				if d > 9 {
					t.Errorf("%s: the top line leaps %d semitones at %d", name, d, in[0].At)
				}
			}
			top = in[0].MIDI
		}
		if float64(middle) < 0.95*float64(all) || float64(near) < 0.85*float64(moves) || moves < 20 {
			t.Errorf("%s: %d of %d inner notes on strings 2 to 4, the top line moves by step or stays in %d of %d", name, middle, all, near, moves)
		}
		t.Logf("%s: changes said %d of %d, middle strings %d of %d, top line by step or same %d of %d", name, said, asked, middle, all, near, moves)
	}
}

// The bass is on the beat, one rhythm of the chords lasts for a phrase and
// changes with the next, and phrases breathe: no chord in their last beat that
// is not new.
func compFiguresLast(t *testing.T, plans map[string]*Arrangement) {
	for name, a := range plans {
		last, phrases, fresh := "", 0, 0
		for _, p := range a.Phrases {
			if p.From < a.Comped.From || p.To > a.Comped.To || p.To-p.From < 3 {
				continue
			}
			end := a.Bars[p.To-1]
			rhythm := ""
			for b := p.From; b < p.To-1; b++ {
				bar := a.Bars[b]
				for _, ns := range struckIn(a, bar.At, bar.At+bar.Len) {
					for _, n := range ns {
						if n.Voice == Bass && (n.At-bar.At)%bar.Beat != 0 {
							t.Errorf("%s, bar %s: a bass off the beat, at %d", name, bar.Label, n.At)
						}
					}
					if len(innerOf(ns)) > 1 {
						rhythm += fmt.Sprint(b-p.From, ":", ns[0].At-bar.At, " ")
					}
				}
			}
			if phrases > 0 && rhythm != last {
				fresh++
			}
			phrases++
			last = rhythm
			for _, ns := range struckIn(a, end.At+end.Len-end.Beat, end.At+end.Len) {
				at := ns[0].At
				changes := slices.ContainsFunc(slices.Concat(a.Chords, a.Added), func(c ChordMark) bool { return in(c.At, at-PerQuarter, at+PerQuarter) })
				if len(innerOf(ns)) > 1 && !changes && end.Len > end.Beat {
					t.Errorf("%s, bar %s: a chord at %d, where the phrase breathes", name, end.Label, at)
				}
			}
		}
		if phrases < 3 || fresh < phrases-1 {
			t.Errorf("%s: %d phrases, %d with a rhythm of their own", name, phrases, fresh)
		}
	}
}

// The pick-up into the chorus after the comped one is the tune's again.
func TestCompLeavesThePickup(t *testing.T) {
	tune := ownTunes(t)["demo.abc"]
	a, err := Arrange(tune, Plan{Choruses: 3, Comp: 2})
	if err != nil {
		t.Fatal(err)
	}
	_, to := compBars(a)
	next := a.Bars[a.Comped.To]
	n := 0
	for _, x := range struckIn(a, to, next.At+next.Len) {
		for _, y := range x {
			if y.Voice == Melody {
				n++
			}
		}
	}
	if n != 2 {
		t.Errorf("%d notes of the tune in the pick-up bar %s, want its 2", n, next.Label)
	}
	if got := len(a.Melody); got != 2*len(tune.Melody) {
		t.Errorf("%d notes of the tune in two of three choruses, want %d", got, 2*len(tune.Melody))
	}
}

// The comped chorus has the chords of the others, with what was put in under
// the tune; as the last it has no turnaround at its end.
func TestCompHasTheChords(t *testing.T) {
	tune := ownTunes(t)["demo.abc"]
	for _, comp := range []int{1, 2, 3} {
		a, err := Arrange(tune, Plan{Choruses: 3, Comp: comp})
		if err != nil {
			t.Fatal(err)
		}
		var marks [3]string
		for k, x := range a.Choruses {
			from, to := a.Bars[x.From].At, a.Bars[x.To-1].At+a.Bars[x.To-1].Len
			for _, c := range a.Added {
				if in(c.At, from, to) {
					marks[k] += fmt.Sprint(c.At-from, c.Symbol, " ")
				}
			}
		}
		if comp != 3 && marks[comp-1] != marks[0] && marks[comp-1] != marks[1] {
			t.Errorf("comping in chorus %d has %s, the others %s, %s", comp, marks[comp-1], marks[0], marks[1])
		}
		if comp == 3 && len(marks[2]) >= len(marks[0]) && marks[0] != "" {
			t.Errorf("the last chorus has %s, the others %s: something leads on from its end", marks[2], marks[0])
		}
	}
}

// A chorus without the pick-up, because the one before fills its last bar, has the
// chords of the other bar by bar all the same.
func TestCompWithoutPickup(t *testing.T) {
	tune := readABC(t, "X:1\nM:4/4\nL:1/4\nQ:1/4=120\nK:C\nG|\"C\"c2 e2|\"F\"f2 a2|\"G7\"b2 g2|\"C\"c3 A|]\n")
	for choruses := 2; choruses <= 3; choruses++ {
		a, err := Arrange(tune, Plan{Choruses: choruses, Comp: 2, Ending: "none"})
		if err != nil {
			t.Fatal(err)
		}
		if a.Choruses[0].To-a.Choruses[0].From != 5 || a.Choruses[1].To-a.Choruses[1].From != 4 {
			t.Fatalf("choruses %v, want one with its pick-up and one without", a.Choruses)
		}
		if len(a.Added) > 0 {
			t.Errorf("%d choruses: %s at %d is not of the sheet", choruses, a.Added[0].Symbol, a.Added[0].At)
		}
	}
}

// Each weight of comping keeps something that is lost without it.
func TestCompNeedsRules(t *testing.T) {
	tunes := ownTunes(t)
	var names []string
	for name := range tunes {
		names = append(names, name)
	}
	slices.Sort(names)
	sum := func(w Taste, f func(top, before int, ns []Note) int) (n int) {
		for _, name := range names {
			n += sumOf(t, tunes[name], w, f)
		}
		return n
	}
	open := func(_, _ int, ns []Note) (n int) {
		for _, x := range ns {
			if x.Fret == 0 {
				n++
			}
		}
		return n
	}
	low := func(_, _ int, ns []Note) (n int) {
		for _, x := range ns {
			if x.String > 4 {
				n++
			}
		}
		return n
	}
	leaps := func(top, before int, _ []Note) int { return max(absInt(top-before)-2, 0) }
	for _, c := range []struct {
		name string
		zero func(*Taste)
		f    func(top, before int, ns []Note) int
	}{
		{"Open", func(w *Taste) { w.Comp.Open = 0 }, open},
		{"LowInner", func(w *Taste) { w.Comp.LowInner = 0 }, low},
		{"TopThird, TopLeap and TopWide", func(w *Taste) { w.Comp.TopThird, w.Comp.TopLeap, w.Comp.TopWide = 0, 0, 0 }, leaps},
		{"High and Low", func(w *Taste) { w.Comp.High, w.Comp.Low = 0, 0 }, func(top, _ int, _ []Note) int {
			return max(top-compHigh, compLow-top, 0)
		}},
	} {
		w := DefaultTaste()
		with := sum(w, c.f)
		c.zero(&w)
		if without := sum(w, c.f); without <= with {
			t.Errorf("%s: %d with it, %d without", c.name, with, without)
		} else {
			t.Logf("%s: %d with it, %d without", c.name, with, without)
		}
	}
}

// sumOf adds up what f finds at each chord of a comped chorus.
func sumOf(t *testing.T, tune *theory.Tune, w Taste, f func(top, before int, ns []Note) int) (n int) {
	t.Helper()
	a, err := Arrange(tune, Plan{Choruses: 2, Comp: 2, Taste: &w, Ending: "none"})
	if err != nil {
		t.Fatal(err)
	}
	from, to := compBars(a)
	before := 0
	for _, ns := range struckIn(a, from, to) {
		if in := innerOf(ns); len(in) > 1 {
			if before > 0 {
				n += f(in[0].MIDI, before, in)
			}
			before = in[0].MIDI
		}
	}
	return n
}

// TestCompAnyTune: whatever the sheet, a hand holds what comps, and no more
// is struck than there are fingers for.
func TestCompAnyTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		n := rapid.IntRange(2, 3).Draw(t, "choruses")
		a, err := Arrange(tune, Plan{Choruses: n, Comp: rapid.IntRange(1, n).Draw(t, "comp"), Ending: "none",
			Density: rapid.SampledFrom([]string{"sparse", "medium", "full"}).Draw(t, "density")})
		if err != nil {
			t.Skip(err)
		}
		check(t, a)
		from, to := compBars(a)
		for _, x := range a.Notes {
			if in(x.At, from, to) && x.Voice == Melody {
				t.Fatalf("a note of the tune at %d", x.At)
			}
			if in(x.At, from, to) && x.MIDI > 74 {
				t.Fatalf("pitch %d at %d is too high to play under anybody", x.MIDI, x.At)
			}
		}
	})
}
