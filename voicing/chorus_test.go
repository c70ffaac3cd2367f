package voicing

import (
	"testing"

	"thumbline/theory"
)

// grownTune arranges a tune and keeps what its choruses were to be.
func grownTune(t testing.TB, tune *theory.Tune, p Plan) (*worker, *Arrangement) {
	t.Helper()
	w, err := newWorker(tune, &p)
	if err != nil {
		t.Fatal(err)
	}
	return w, w.arrange()
}

// shareAdded is how many notes are added in each chorus, against what one time
// through adds on average when nothing grows.
func (w *worker) shareAdded(a *Arrangement) []float64 {
	var out []float64
	for _, c := range w.parts {
		n := 0
		for _, x := range a.Notes {
			if x.Voice != Melody && in(x.At, c.from, c.to) {
				n++
			}
		}
		out = append(out, float64(n)/w.mean/float64(c.bars))
	}
	return out
}

// fullest says of each chorus whether the phrase of its high point has the most
// notes a bar of all its phrases, and whether its fullest attack is there.
func (w *worker) fullest(a *Arrangement) (notes, attack []bool) {
	s := w.s
	for k := range w.parts {
		c := &w.parts[k]
		perBar, most := map[int]float64{}, map[int]int{}
		for ns := range attacks(a.Notes) {
			if !in(ns[0].At, c.from, c.to) {
				continue
			}
			b := s.barAt(ns[0].At)
			for _, p := range s.phrasesIn(c) {
				if b >= s.phrase[p].From && b < s.phrase[p].To {
					perBar[p] += float64(len(ns)) / float64(s.phrase[p].To-s.phrase[p].From)
					most[p] = max(most[p], len(ns))
				}
			}
		}
		n, t := true, true
		for p := range perBar {
			n = n && perBar[p] <= perBar[c.high]+1e-9
			t = t && most[p] <= most[c.high]
		}
		notes, attack = append(notes, n), append(attack, t)
	}
	return notes, attack
}

// Later choruses are fuller, and each grows to its high point (harmony.md 5.7;
// how much is the project's own).
func TestChorusesGrow(t *testing.T) {
	choruses, top := 0, 0
	for name, tune := range ownTunes(t) {
		for _, n := range []int{2, 3, 5} {
			if n == manyTimes && name != "demo.abc" {
				continue
			}
			w, a := grownTune(t, tune, Plan{Choruses: n})
			got := w.shareAdded(a)
			if len(got) != n {
				t.Fatalf("%s: %d choruses of %d", name, len(got), n)
			}
			sum := 0.0
			for k, x := range got {
				sum += x / float64(n)
				if k > 0 && x <= got[k-1] && !(n >= manyTimes && k == n-2) {
					t.Errorf("%s, %d choruses: %.2f, the %d. is not fuller than the one before", name, n, got, k+1)
				}
			}
			if sum < 0.9 || sum > 1.15 {
				t.Errorf("%s, %d choruses: %.2f add %.2f of what medium does", name, n, got, sum)
			}
			notes, attack := w.fullest(a)
			for k := range notes {
				choruses++
				if notes[k] && attack[k] {
					top++
					continue
				}
				t.Logf("%s, chorus %d of %d: the fullest phrase is not that of its high point (bar %s): notes %v, attack %v",
					name, k+1, n, w.s.bars[w.s.phrase[w.parts[k].high].From].Label, notes[k], attack[k])
			}
		}
	}
	// what closes a section stays as it was the first time, so that not every
	// high point can be reached
	if 4*top < 3*choruses {
		t.Errorf("of %d choruses only %d are fullest at their high point", choruses, top)
	}
}

// sharedStep is which share of the shared sheets is played three times: each
// takes long.
const sharedStep = 9

// The same over the shared sheets, three times through: every tune rises, and
// nearly every chorus is fullest at its high point.
func TestChorusesOfSharedSheets(t *testing.T) {
	for _, pattern := range []string{"corpus/leadsheets/*.mxl", "corpus/abc/*.abc"} {
		tunes, off, choruses, top, thick, seen := 0, 0, 0, 0, 0, 0
		SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
			if seen++; seen%sharedStep != 1 {
				return
			}
			w, a := grownTune(t, tune, Plan{Choruses: 3})
			got := w.shareAdded(a)
			tunes++
			mean := 0.0
			for k, x := range got {
				mean += x / float64(len(got))
				if k > 0 && x <= got[k-1] {
					t.Errorf("%s: %.2f does not rise", name, got)
				}
			}
			if mean < 0.9 || mean > 1.15 {
				off++
				t.Logf("%s: %.2f, %.2f in all", name, got, mean)
			}
			notes, attack := w.fullest(a)
			for k := range notes {
				choruses++
				if notes[k] {
					top++
				} else {
					t.Logf("%s, chorus %d: notes %v attack %v", name, k+1, notes[k], attack[k])
				}
				if attack[k] {
					thick++
				}
			}
		})
		t.Logf("%s: %d tunes, %d not within 0.9 to 1.15 of medium; of %d choruses the high point's phrase has most notes a bar in %d, the fullest attack in %d",
			pattern, tunes, off, choruses, top, thick)
	}
}
