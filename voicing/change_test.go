package voicing

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"thumbline/theory"
)

// arranged keeps what everyTune has arranged, for the next test that asks; no test
// changes it.
var arranged sync.Map

// everyTune arranges the built-in tune, the models and every sixth shared ABC
// sheet.
func everyTune(t *testing.T, use func(t *testing.T, a *Arrangement)) {
	one := func(name string, tune *theory.Tune, plan Plan) {
		t.Run(name, func(t *testing.T) {
			key := fmt.Sprintf("%s %+v", name, plan)
			was, ok := arranged.Load(key)
			if !ok {
				a, err := Arrange(tune, plan)
				if err != nil {
					t.Fatal(err)
				}
				was, _ = arranged.LoadOrStore(key, a)
			}
			a := was.(*Arrangement)
			if len(a.Grips) == 0 {
				t.Fatal("no grips")
			}
			use(t, a)
		})
	}
	one("demo", BuiltIn(t), Plan{})
	one("demo full", BuiltIn(t), Plan{Density: "full", Intro: "vamp", Ending: "run", Choruses: 2, Phrasing: "relaxed"})
	one("demo trio", BuiltIn(t), Plan{Setting: "trio", Choruses: 3, Comp: 2})
	t.Run("shared", func(t *testing.T) {
		k := 0
		SharedTunes(t, "models/*.abc", func(name string, tune *theory.Tune) { one(name, tune, Plan{}) })
		SharedTunes(t, "corpus/abc/*.abc", func(name string, tune *theory.Tune) {
			if k++; k%6 == 0 {
				one(name, tune, Plan{})
			}
		})
	})
}

// TestEveryChange: the change into every grip but the first can be drilled by
// itself: both grips are struck whole on a first beat or within a beat of it, the
// tune's notes that lead in are there, no string has two notes, a hand holds it
// and leaves in time, twice round as well as once.
func TestEveryChange(t *testing.T) {
	changes, leads, back := 0, 0, 0
	everyTune(t, func(t *testing.T, a *Arrangement) {
		for i := range a.Grips {
			c, err := Change(a, i)
			if i == 0 {
				if err == nil {
					t.Fatal("there is a change into the first grip")
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			changes++
			if len(c.Grips) != 2 || len(c.Phrases) != 1 || len(c.Bars)%2 != 0 || c.Phrases[0].To != len(c.Bars) {
				t.Fatalf("change %d: %d grips, %d bars, phrases %v", i, len(c.Grips), len(c.Bars), c.Phrases)
			}
			half := c.Grips[1].At
			b := c.Bars[0]
			sec := float64(half) / float64(PerQuarter) * 60 / c.Tempi[0].BPM
			if c.Grips[0].At != 0 || 2*half != c.End() || half < 2*b.Beat || sec < 1.7 && half < 4*b.Len {
				t.Fatalf("change %d: a grip at %d and one at %d of %d, %.2f s", i, c.Grips[0].At, half, c.End(), sec)
			}
			for k, g := range c.Grips {
				want := a.Grips[i-1+k]
				if !slices.Equal(g.Frets, want.Frets) || !slices.Equal(g.Fingers, want.Fingers) {
					t.Fatalf("change %d: grip %d is another", i, k)
				}
				for j, f := range g.Frets {
					if f >= 0 && !slices.ContainsFunc(c.Notes, func(n Note) bool {
						return n.String == len(g.Frets)-j && n.Fret == f && n.Finger == g.Fingers[j] && n.At >= g.At && n.At <= g.At+b.Beat && n.Dur >= min(half/4, b.Beat/2)
					}) {
						t.Fatalf("change %d: string %d of grip %d is not struck: %v", i, len(g.Frets)-j, k, c.Notes)
					}
				}
			}
			between := 0
			for _, n := range a.Notes {
				if n.Voice == Melody && n.At > a.Grips[i-1].At && n.At < a.Grips[i].At {
					between++
				}
			}
			// the last of them leads in
			if between > 0 {
				leads++
			}
			in := 0
			for _, n := range c.Notes {
				if n.Voice != Melody {
					continue
				}
				switch k := int(n.At / half); {
				case n.At-Tick(k)*half < b.Beat && n.At%half == 0, n.At%half <= b.Beat && isOf(c.Grips[k], n):
				case k == 0:
					in++
				default:
					back++
				}
			}
			if in == 0 && between > 0 {
				t.Fatalf("change %d: %d notes of the tune lead in, and none is there: %v", i, between, c.Notes)
			}
			if in > between {
				t.Fatalf("change %d: %d notes lead in, and the tune has %d", i, in, between)
			}
			twice := *c
			twice.Notes = append(slices.Clone(c.Notes), shifted(c.Notes, 2*half)...)
			playable(t, &twice, fmt.Sprintf("change %d", i))
		}
	})
	t.Logf("%d changes, %d with notes of the tune that lead in, %d notes that lead back", changes, leads, back)
}

// isOf reports whether a note is one of a grip's.
func isOf(g Placed, n Note) bool { return g.Frets[len(g.Frets)-n.String] == n.Fret }

// playable: each note is where its string and fret say, no string has two notes,
// a hand with these fingers holds what sounds together and leaves in time.
func playable(t *testing.T, a *Arrangement, what string) {
	t.Helper()
	neck := Neck{Tuning: a.Tuning, Capo: a.Capo, Frets: maxFret, Scale: StandardNeck().Scale}
	g := newGrasp(neck, NormalHand())
	for now := range attacks(a.Notes) {
		tm := now[0].At
		if len(now) > 4 {
			t.Fatalf("%s: %d strings at once", what, len(now))
		}
		var ps []Press
		for _, x := range a.Notes {
			if x.At <= tm && tm < x.At+x.Dur {
				ps = append(ps, Press{Stop{int8(x.String), int8(x.Fret)}, int8(x.Finger)})
			}
		}
		if !g.fingers(ps).ok {
			t.Fatalf("%s: at %d no hand holds %v", what, tm, ps)
		}
	}
	for _, x := range a.Notes {
		if neck.Open(x.String)+x.Fret != x.MIDI || x.Dur < 1 || (x.Fret == 0) != (x.Finger == 0) {
			t.Fatalf("%s: note %+v", what, x)
		}
	}
	leavesInTime(fatal{t, what}, a)
}

// fatal says what it is about.
type fatal struct {
	t    *testing.T
	what string
}

func (f fatal) Fatalf(format string, args ...any) {
	f.t.Helper()
	f.t.Fatalf(f.what+": "+format, args...)
}

// TestChangeLaidOut: how a change is laid out, in beats of the drill: the grips,
// the tune's notes that lead in and back, bars. (Common practice, no source.)
func TestChangeLaidOut(t *testing.T) {
	a, err := Arrange(BuiltIn(t), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ place, bars, tune string }{
		// Into bar 2: over G6 the tune's d, G and then E lead on by a beat and a
		// half; back to bar 1 the open string of its pick-up.
		{"2:1", "1:1 2:1", "e7@0 G7@2 e0@3 | B6@4 e0@7.5"},
		{"2:3", "2:1 2:3", "B6@0 B10@3 | B9@4 G7@6 e0@7"},
	} {
		i := gripAt(t, a, c.place)
		d, err := Change(a, i)
		if err != nil {
			t.Fatal(err)
		}
		var bars, tune []string
		for _, b := range d.Bars {
			bars = append(bars, b.Label)
		}
		names := StringNames(d.Tuning)
		for _, n := range d.Notes {
			if n.Voice != Melody {
				continue
			}
			if n.At == d.Grips[1].At {
				tune = append(tune, "|")
			}
			tune = append(tune, fmt.Sprintf("%s%d@%g", names[len(names)-n.String], n.Fret, inBeats(n.At)))
		}
		if s := strings.Join(bars, " "); s != c.bars {
			t.Errorf("change into %s: bars %s, want %s", c.place, s, c.bars)
		}
		if s := strings.Join(tune, " "); s != c.tune {
			t.Errorf("change into %s: tune %s, want %s", c.place, s, c.tune)
		}
		if d.Title != a.Title || d.Key != a.Key || d.Feel != a.Feel || len(d.Chords) != 2 || d.Chords[1].At != d.Grips[1].At || d.Chords[1].Symbol != d.Grips[1].Symbol {
			t.Errorf("change into %s: %q %v %v %v", c.place, d.Title, d.Key, d.Feel, d.Chords)
		}
	}
}

func gripAt(t *testing.T, a *Arrangement, place string) int {
	t.Helper()
	p, err := theory.ParsePlace(place)
	if err != nil {
		t.Fatal(err)
	}
	i, err := a.GripAt(p)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// TestChangeBars: each grip has a bar, or as many as give it two beats and time to
// be heard.
func TestChangeBars(t *testing.T) {
	for _, c := range []struct {
		abc  string
		bars int
		half float64 // in quarters
	}{
		{"M:4/4\nQ:1/4=120\nL:1/4\nK:C\n\"C\"GGGG|\"F\"AAAA|\"G7\"BBBB|\"C\"c4|\n", 2, 4},
		{"M:4/4\nQ:1/4=200\nL:1/4\nK:C\n\"C\"GGGG|\"F\"AAAA|\"G7\"BBBB|\"C\"c4|\n", 4, 8},
		{"M:3/4\nQ:1/4=90\nL:1/4\nK:C\n\"C\"GGG|\"F\"AAA|\"G7\"BBB|\"C\"c3|\n", 2, 3},
		{"M:3/4\nQ:1/4=150\nL:1/4\nK:C\n\"C\"GGG|\"F\"AAA|\"G7\"BBB|\"C\"c3|\n", 4, 6},
		{"M:6/8\nQ:3/8=100\nL:1/8\nK:C\n\"C\"G3 G3|\"F\"A3 A3|\"G7\"B3 B3|\"C\"c6|\n", 4, 6},
		{"M:2/2\nQ:1/2=60\nL:1/4\nK:C\n\"C\"GGGG|\"F\"AAAA|\"G7\"BBBB|\"C\"c4|\n", 2, 4},
		{"M:1/4\nQ:1/4=30\nL:1/4\nK:C\n\"C\"G|\"F\"A|\"G7\"B|\"C\"c|\n", 4, 2},
	} {
		a, err := Arrange(readABC(t, "X:1\n"+c.abc), Plan{})
		if err != nil {
			t.Fatal(err)
		}
		d, err := Change(a, gripAt(t, a, "3"))
		if err != nil {
			t.Fatal(err)
		}
		if len(d.Bars) != c.bars || inBeats(d.Grips[1].At) != c.half {
			t.Errorf("%q: %d bars, the change after %v, want %d and %v", c.abc, len(d.Bars), inBeats(d.Grips[1].At), c.bars, c.half)
		}
	}
}

// TestChangeOfOthers: other hands, tunings and necks than the usual.
func TestChangeOfOthers(t *testing.T) {
	large, small := LargeHand(), SmallHand()
	for _, plan := range []Plan{
		{Hand: &large}, {Hand: &small},
		{Neck: &Neck{Tuning: []int{35, 40, 45, 50, 55, 59, 64}, Frets: 19, Scale: 648}},
		{Neck: &Neck{Tuning: []int{38, 45, 50, 55, 57, 62}, Frets: 19, Scale: 648, Capo: 3}},
	} {
		a, err := Arrange(BuiltIn(t), plan)
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(a.Grips); i++ {
			c, err := Change(a, i)
			if err != nil {
				t.Fatal(err)
			}
			for k, n := range c.Notes {
				if c.Tuning[len(c.Tuning)-n.String]+c.Capo+n.Fret != n.MIDI {
					t.Fatalf("change %d: note %+v", i, n)
				}
				for _, m := range c.Notes[:k] {
					if m.String == n.String && m.At+m.Dur > n.At {
						t.Fatalf("change %d: two notes on string %d at %d", i, n.String, n.At)
					}
				}
			}
		}
	}
}

// TestGripAt: the grip at a place, or where there are some.
func TestGripAt(t *testing.T) {
	a, err := Arrange(BuiltIn(t), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	for i, g := range a.Grips {
		if k := gripAt(t, a, a.PlaceAt(g.At).String()); a.Grips[k].At != g.At {
			t.Errorf("the grip at %v is %d, want %d", a.PlaceAt(g.At), k, i)
		}
	}
	if i := gripAt(t, a, "3/2"); a.Bars[a.Grips[i].Bar].Label != "3/2" {
		t.Errorf("bar 3/2 has the grip at %v", a.PlaceAt(a.Grips[i].At))
	}
	for place, want := range map[string]string{
		"2:2":  "there is no grip at 2:2 (bar 2 has them at 2:1, 2:3)",
		"0":    "there is no grip at 0 (bar 0 has none; the next one is at 1:1)",
		"2:9":  "bar 2 has no beat 9 (its beats go from 1 to 4)",
		"99:1": "there is no bar 99 (the bars go from 0 to 26)",
		"3/4":  "there is no bar 3/4 (bar 3 comes 2 times)",
	} {
		p, err := theory.ParsePlace(place)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := a.GripAt(p); err == nil || err.Error() != want {
			t.Errorf("%s: %v, want %s", place, err, want)
		}
	}
	for i, want := range map[int]string{
		0:   "1:1 has the first grip, so there is no change into it (the first change is into 2:1)",
		-1:  "there is no grip 0 (there are " + fmt.Sprint(len(a.Grips)) + ")",
		999: "there is no grip 1000 (there are " + fmt.Sprint(len(a.Grips)) + ")",
	} {
		if _, err := Change(a, i); err == nil || err.Error() != want {
			t.Errorf("change %d: %v, want %s", i, err, want)
		}
	}
}
