package voicing

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thumbline/theory"
)

const beat = PerQuarter

// played is a layer in which nothing is struck yet: a test strikes it itself.
func played(t *testing.T, abc string) *layer {
	t.Helper()
	tune := readABC(t, "X:1\n"+abc)
	w := &worker{neck: StandardNeck(), hand: NormalHand(), right: NormalRightHand(), taste: DefaultTaste(), tension: tensionMedium, s: newScore(onceThrough(tune))}
	w.arrange()
	l := &layer{w: w, chosen: make([]grip, len(w.ps)), waited: map[int]bool{}}
	l.preparePalettes()
	return l
}

// on is a strike at a stop, from a beat to a beat, under point 0.
func on(str, fret, finger int8, v Voice, from, to float64) strike {
	x := strike{tone: tone{str, fret, finger, int16(StandardNeck().Open(int(str)) + int(fret)), v},
		at: Tick(from * float64(beat)), end: Tick(to * float64(beat)), tune: -1}
	if v == Melody {
		x.tune = 0
	}
	return x
}

// A stab is short: in a rest half a beat, as in the models; under a note of the
// tune it stops on the next beat. In a ballad it rings (harmony.md 5.7; lengths:
// common practice, no source).
func TestStabEnd(t *testing.T) {
	for _, c := range []struct {
		what, abc string
		at, want  float64 // quarters; want 0: rings
	}{
		{"in a rest, off the beat", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"C\"c z3|c4|\n", 1.5, 0.5},
		{"in a rest, on the beat", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"C\"c z3|c4|\n", 2, 0.5},
		{"under a note, off the beat", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"C\"c4|c4|\n", 1.5, 0.5},
		{"under a note, on the beat", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"C\"c4|c4|\n", 2, 1},
		{"in a rest, too fast for half a beat", "M:4/4\nL:1/4\nQ:1/4=220\nK:C\n\"C\"c z3|c4|\n", 1.5, 1},
		{"in a ballad", "M:4/4\nL:1/4\nQ:1/4=66\nK:C\n\"C\"c z3|c4|\n", 1.5, 0},
		{"in cut time half a quarter", "M:2/2\nL:1/4\nQ:1/2=66\nK:C\n\"C\"c z3|c4|\n", 1.5, 0.5},
		{"in a jig two eighths, as one is too quick", "M:6/8\nL:1/8\nQ:3/8=112\nK:C\n\"C\"c3 z3|c6|\n", 2, 1},
		{"in a slow six-eight one eighth", "M:6/8\nL:1/8\nQ:3/8=60\nK:C\n\"C\"c3 z3|c6|\n", 2, 0.5},
	} {
		l := played(t, c.abc)
		at := Tick(c.at * float64(beat))
		want := Tick(0)
		if c.want > 0 {
			want = at + Tick(c.want*float64(beat))
		}
		if got := l.w.s.stabEnd(at); got != want {
			t.Errorf("%s: a stab at beat %v stops at tick %d, want %d", c.what, c.at, got, want)
		}
	}
}

// A stab rings on where it is needed: where more than half a beat of silence
// would follow, and where it alone has a guide tone that nobody has heard yet.
func TestStabsThatAreNeeded(t *testing.T) {
	const sheet = "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"C7\"c z3|z4|\"F\"c4|\n"
	stab := func(ns ...strike) []strike {
		for k := range ns {
			ns[k].brief = ns[k].at + beat/2
		}
		return ns
	}
	root := on(5, 3, 2, Bass, 0, 4)
	third, seventh := on(4, 2, 1, Inner, 0, 1), on(3, 3, 4, Inner, 0, 1)
	pair := func() []strike { // E and Bb
		return stab(on(4, 2, 1, Inner, 2, 4), on(3, 3, 4, Inner, 2, 4))
	}
	plain := stab(on(3, 5, 3, Inner, 2, 4), on(2, 5, 4, Inner, 2, 4)) // C and E
	next := on(5, 3, 2, Bass, 4, 8)
	for _, c := range []struct {
		what string
		due  []strike
		want float64 // quarters
	}{
		{"the bass rings, the chord was heard", append([]strike{root, third, seventh, next}, pair()...), 0.5},
		{"nothing else rings", append([]strike{third, seventh, next}, pair()...), 2},
		{"nothing else rings, and the next attack is near", append([]strike{third, seventh, on(5, 3, 2, Bass, 3, 4)}, pair()...), 0.5},
		{"the seventh is news", append([]strike{root, third, next}, pair()...), 2},
		{"the third is news", append([]strike{root, seventh, next}, plain...), 2},
		{"the third is news, but it rings elsewhere", append([]strike{root, seventh, next, on(1, 0, 0, Inner, 2.25, 4)}, plain...), 0.5},
	} {
		l := played(t, sheet)
		l.done = slices.Clone(c.due)
		l.lengths()
		n := 0
		for _, x := range l.done {
			if x.brief == 0 {
				continue
			}
			n++
			if got := float64(x.end-x.at) / float64(beat); got != c.want {
				t.Errorf("%s: the stab rings %v quarters, want %v", c.what, got, c.want)
			}
			if x.why != EndMeant || x.end != x.meant {
				t.Errorf("%s: the stab ends by %v, %d ticks early", c.what, x.why, x.meant-x.end)
			}
		}
		if n != 2 {
			t.Errorf("%s: %d notes of a stab", c.what, n)
		}
	}
}

// What hand can do at which time: harmony.md 6.2.
func TestHandLetsGo(t *testing.T) {
	const sheet = "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n\"C\"c4|c4|\n" // a quarter is half a second
	ticks := func(sec float64) Tick { return Tick(sec*2*float64(beat) + 0.5) }
	for _, c := range []struct {
		what  string
		first strike
		others,
		now []strike
		early  float64 // seconds
		why    End
		reason string
	}{
		{"a shift of five frets", on(1, 3, 1, Melody, 0, 2), nil, []strike{on(2, 8, 1, Melody, 2, 4)}, 0.165, EndShift, "the hand moves from fret 3 to fret 8"},
		{"a finger that slides along its string", on(1, 3, 1, Melody, 0, 2), nil, []strike{on(1, 8, 1, Melody, 2, 4)}, 0, EndMeant, ""},
		{"another finger on that string", on(1, 3, 1, Melody, 0, 2), nil, []strike{on(1, 12, 4, Melody, 2, 4)}, 0.18, EndShift, "the hand moves from fret 3 to fret 9"},
		{"an open string rings through a shift", on(1, 0, 0, Melody, 0, 2), []strike{on(6, 3, 2, Bass, 0, 2)}, []strike{on(2, 8, 1, Melody, 2, 4)}, 0, EndMeant, ""},
		{"an open string needs no hand", on(1, 3, 1, Melody, 0, 2), nil, []strike{on(2, 0, 0, Melody, 2, 4)}, 0, EndMeant, ""},
		{"its finger elsewhere", on(1, 5, 2, Melody, 0, 2), nil, []strike{on(2, 6, 2, Melody, 2, 4)}, 0.06, EndFinger, "finger 2 is needed on string 2 at fret 6"},
		{"its finger in a whole grip", on(1, 5, 2, Melody, 0, 2), nil, []strike{on(2, 4, 1, Melody, 2, 4), on(3, 5, 3, Inner, 2, 4), on(5, 5, 2, Bass, 2, 4)}, 0.10, EndFinger, "finger 2 is needed on string 5 at fret 5"},
		{"its finger in a whole grip, at another fret", on(1, 4, 1, Melody, 0, 2), nil, []strike{on(2, 6, 4, Melody, 2, 4), on(3, 5, 3, Inner, 2, 4), on(5, 3, 1, Bass, 2, 4)}, 0.10, EndFinger, "finger 1 is needed on string 5 at fret 3"},
		{"another finger within reach", on(1, 5, 1, Melody, 0, 2), nil, []strike{on(2, 6, 2, Melody, 2, 4)}, 0, EndMeant, ""},
		{"laid flat over two strings", on(1, 5, 1, Melody, 0, 2), nil, []strike{on(2, 5, 1, Melody, 2, 4)}, 0, EndMeant, ""},
		{"the hand stays for what rings on", on(1, 8, 4, Melody, 0, 2), []strike{on(6, 5, 1, Bass, 0, 4)}, []strike{on(2, 6, 2, Melody, 2, 4)}, 0, EndMeant, ""},
		{"fingers that would cross", on(1, 5, 1, Melody, 0, 2), []strike{on(6, 7, 3, Bass, 0, 4)}, []strike{on(2, 8, 4, Melody, 2, 4), on(5, 4, 2, Inner, 2, 4)}, 0.06, EndFinger, "finger 1 would be in the way of what comes"},
		{"a hurried hand still lets it be heard", on(1, 3, 1, Melody, 1.75, 2), nil, []strike{on(2, 8, 1, Melody, 2, 4)}, 0.6 * 0.125, EndShift, "the hand moves from fret 3 to fret 8"},
	} {
		l := played(t, sheet)
		l.done = append(append([]strike{c.first}, c.others...), c.now...)
		l.lengths()
		x := &l.done[slices.IndexFunc(l.done, func(x strike) bool { return x.str == c.first.str && x.at == c.first.at })]
		if want := c.first.end - ticks(c.early); absInt(int(x.end-want)) > 1 || x.why != c.why {
			t.Errorf("%s: it ends %.3f s early by %v, want %.3f s by %v", c.what, float64(c.first.end-x.end)/2/float64(beat), x.why, c.early, c.why)
		}
		var reasons []string
		for _, g := range l.letsGo() {
			reasons = append(reasons, g.Reason)
		}
		if got := strings.Join(reasons, "; "); got != c.reason {
			t.Errorf("%s: the reason is %q, want %q", c.what, got, c.reason)
		}
	}
}

// A bass ends where the next one comes, but the ground of the chord rings on
// under what answers it from above (harmony.md 5.7: the rest rings on).
func TestOneBass(t *testing.T) {
	l := played(t, "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n\"C\"c4|\"F\"c4|\n")
	for _, c := range []struct {
		what string
		due  []strike
		want []float64 // where each ends
	}{
		{"a fifth, then the ground", []strike{on(4, 5, 3, Bass, 0, 4), on(5, 3, 1, Bass, 2, 4)}, []float64{2, 4}},
		{"the ground, then its fifth", []strike{on(5, 3, 1, Bass, 0, 4), on(4, 5, 3, Bass, 2, 4)}, []float64{4, 4}},
		{"the ground, its fifth, then below", []strike{on(5, 3, 1, Bass, 0, 4), on(4, 5, 3, Bass, 2, 4), on(6, 0, 0, Bass, 3, 4)}, []float64{3, 3, 4}},
		{"a third, then the fifth", []strike{on(6, 0, 0, Bass, 0, 4), on(6, 3, 3, Bass, 2, 4)}, []float64{2, 4}},
		{"the ground, then the next chord", []strike{on(5, 3, 1, Bass, 0, 8), on(4, 3, 1, Bass, 4, 8)}, []float64{4, 8}},
		{"two at once", []strike{on(6, 0, 0, Bass, 0, 4), on(5, 10, 1, Bass, 0, 4)}, []float64{4, 4}},
	} {
		l.done = slices.Clone(c.due)
		l.lengths()
		for k, want := range c.want {
			if got := float64(l.done[k].end) / float64(beat); got != want || l.done[k].why != EndMeant {
				t.Errorf("%s: bass %d ends at beat %v by %v, want beat %v, as meant", c.what, k, got, l.done[k].why, want)
			}
		}
	}
}

// The last bare note before a grip takes a finger that the grip does not need
// elsewhere, so that it rings to its end.
func TestFingerLeftFree(t *testing.T) {
	tune := readABC(t, "X:1\nM:4/4\nL:1/4\nQ:1/4=240\nK:C\n\"C\"^a=b2z|\n")
	s := newScore(onceThrough(tune))
	var to grip
	to.take(tone{2, 8, 4, 67, Melody})
	to.take(tone{4, 7, 2, 57, Inner})
	to.take(tone{5, 5, 1, 50, Bass})
	to.pos, to.tune = 5, true
	for _, c := range []struct {
		weight float64
		taken  bool
	}{{DefaultTaste().LetGo, false}, {0, true}} {
		taste := DefaultTaste()
		taste.LetGo = c.weight
		s.tune[0].midi = 70 // string 1, fret 6
		r := s.newRun(&taste, s.stands(StandardNeck(), []int{0}), []int{0}, 0, PerQuarter)
		got := r.walk(&taste, nil, &to, nil)[0]
		if taken := to.needs(got); taken != c.taken {
			t.Errorf("with a weight of %v it stands on string %d fret %d with finger %d, which the grip needs: %v", c.weight, got.str, got.fret, got.finger, taken)
		}
	}
}

// TestSheetsCanBeHeld: in the shared sheets a hand holds all that sounds
// together, leaves in time for every move, and cuts no more of the tune than a
// good player does: the models cut 19 of 87 notes, none of them by more than
// two fifths.
func TestSheetsCanBeHeld(t *testing.T) {
	for _, pattern := range []string{"corpus/leadsheets/*.mxl", "corpus/abc/*.abc"} {
		t.Run(filepath.Base(filepath.Dir(pattern)), func(t *testing.T) {
			notes, choked := 0, 0
			by := map[string]int{}
			SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
				a, err := Arrange(tune, Plan{})
				if err != nil {
					t.Fatal(err)
				}
				t.Run(name, func(t *testing.T) { check(t, a) })
				notes += len(a.Melody)
				for _, g := range a.LetGo {
					by[g.Ends.String()]++
					if g.Early*5 > (g.Dur+g.Early)*2 {
						choked++
					}
				}
			})
			cut := 0
			for _, n := range by {
				cut += n
			}
			t.Logf("%d notes of the tune, %d let go early: %v; %d by more than two fifths", notes, cut, by, choked)
			if notes == 0 || cut == 0 {
				t.Fatal("nothing was measured")
			}
			if cut*87 > notes*19 {
				t.Errorf("%d of %d notes of the tune are let go early", cut, notes)
			}
			if choked*20 > notes {
				t.Errorf("%d of %d notes of the tune ring less than three fifths", choked, notes)
			}
		})
	}
}

// TestLastChordRings: at the very end the tune's last chord still sounds, on its
// root, whatever it was that closed it.
func TestLastChordRings(t *testing.T) {
	tune := BuiltIn(t)
	for _, density := range []string{"sparse", "medium", "full"} {
		a, err := Arrange(tune, Plan{Density: density})
		if err != nil {
			t.Fatal(err)
		}
		var last []int
		for _, n := range a.Notes {
			if n.At+n.Dur == a.End() {
				last = append(last, n.MIDI)
			}
		}
		slices.Sort(last)
		if len(last) < 3 || last[0]%12 != a.Chords[len(a.Chords)-1].Chord.RootPC() {
			t.Errorf("density %s: at the end %v sound", density, last)
		}
	}
}
