package voicing

import (
	"fmt"
	"slices"
	"testing"

	"thumbline/theory"
)

// everyTune arranges the built-in tune, the models and every sixth shared ABC
// sheet.
func everyTune(t *testing.T, use func(t *testing.T, a *Arrangement)) {
	one := func(name string, tune *theory.Tune, plan Plan) {
		t.Run(name, func(t *testing.T) {
			a, err := Arrange(tune, plan)
			if err != nil {
				t.Fatal(err)
			}
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
