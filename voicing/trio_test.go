package voicing

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// withBass is a tune alone and with bass and drums.
type withBass struct{ solo, trio *Arrangement }

func bothSettings(t testing.TB, tune *theory.Tune, p Plan) withBass {
	t.Helper()
	var b withBass
	var err error
	if b.solo, err = Arrange(tune, p); err != nil {
		t.Fatal(err)
	}
	p.Setting = "trio"
	if b.trio, err = Arrange(tune, p); err != nil {
		t.Fatal(err)
	}
	return b
}

// TestTrioTexturesAsTold: what is said of a grip is what is played, at every
// density.
func TestTrioTexturesAsTold(t *testing.T) {
	seen := map[string]int{}
	files, err := filepath.Glob("testdata/situations/*[05]-*.abc")
	more, err2 := filepath.Glob("../testdata/tunes/*.abc")
	if files = append(files, more...); err != nil || err2 != nil || len(more) == 0 || len(files) == len(more) {
		t.Fatalf("no sheets (%v, %v)", err, err2)
	}
	for _, name := range append(files, "../cmd/thumbline/demo.abc") {
		tune := ReadSheet(t, name)
		for _, d := range densityWords {
			a, err := Arrange(tune, Plan{Density: d, Setting: "trio"})
			if err != nil {
				t.Fatal(err)
			}
			toldTruly(t, filepath.Base(name)+", "+d, a, seen)
		}
	}
	for _, name := range []string{"together", "together off the beat", "tune first, chord off the beat", "tune first, chord after", "chord off the beat under the held tune",
		"chord with the tune's next beat", "chord after the tune"} {
		if seen[name] == 0 {
			t.Errorf("%q was never played: nothing is tried", name)
		}
	}
	t.Log(seen)
}

// A trioCount is what is asked of the guitar in a trio.
type trioCount struct {
	rootless, within, pitches, low, guides share
	alone, aloneSolo, full, fullSolo       share // tune notes of a beat and more: alone, with two others or more
	added                                  share // of solo's
	holds                                  share // long notes of the tune, the last apart, with something under them after their attack
	named                                  share // grips whose name has a bass of its own
	apart, apartSolo                       share // attacks with inner voices that do not come with the tune
}

// count adds an arrangement of a tune in both settings.
func (c *trioCount) count(b withBass) {
	solo, trio := newAttackGrid(b.solo), newAttackGrid(b.trio)
	c.added.add(share{trio.added(), solo.added()})
	for _, g := range []struct {
		*attackGrid
		alone, full *share
	}{{solo, &c.aloneSolo, &c.fullSolo}, {trio, &c.alone, &c.full}} {
		for _, m := range g.a.Melody {
			if m.Dur >= PerQuarter {
				g.alone.count(len(g.at[m.At]) == 1)
				g.full.count(len(g.at[m.At]) >= 3)
			}
		}
	}
	at := map[Tick][]Placed{}
	for _, g := range b.solo.Grips {
		at[g.At] = append(at[g.At], g)
	}
	for k, m := range b.trio.Melody {
		if k+1 == len(b.trio.Melody) {
			break
		}
		room := b.trio.Melody[k+1].At - m.At
		if room >= 3*PerQuarter || room >= 2*PerQuarter && float64(room)/float64(PerQuarter)*60/b.trio.Tempi[0].BPM >= 1.2 {
			c.holds.count(slices.ContainsFunc(trio.times, func(t Tick) bool { return t > m.At && t < m.At+room }))
		}
	}
	for _, g := range b.trio.Grips {
		c.named.count(strings.Contains(g.Name, "/"))
		if len(at[g.At]) == 0 {
			continue // solo strikes its own a little sooner or later
		}
		c.within.count(slices.ContainsFunc(at[g.At], func(s Placed) bool {
			for k, f := range g.Frets {
				if f >= 0 && s.Frets[k] != f {
					return false
				}
			}
			return true
		}))
		c.pitches.count(slices.ContainsFunc(at[g.At], func(s Placed) bool {
			var has [128]bool
			for k, f := range s.Frets {
				if f >= 0 {
					has[b.solo.Tuning[k]+f] = true
				}
			}
			for k, f := range g.Frets {
				if f >= 0 && !has[b.trio.Tuning[k]+f] {
					return false
				}
			}
			return true
		}))
	}
	for _, n := range b.trio.Notes {
		if n.Voice != Melody {
			c.low.count(n.MIDI < lowestTrio)
		}
	}
	for _, g := range []struct {
		*attackGrid
		apart *share
	}{{solo, &c.apartSolo}, {trio, &c.apart}} {
		for _, t := range g.times {
			if slices.ContainsFunc(g.at[t], func(n Note) bool { return n.Voice == Inner }) {
				g.apart.count(!g.tune[t])
			}
		}
	}
	for k, m := range b.trio.Chords {
		end := b.trio.End()
		if k+1 < len(b.trio.Chords) {
			end = b.trio.Chords[k+1].At
		}
		if m.Chord.NoChord {
			continue
		}
		c.rootless.count(!rootLowest(b.trio, m))
		if end-m.At < PerQuarter {
			continue
		}
		heard := theory.PCSet(0).With(m.Chord.BassPC()) // the bass player's
		tune := theory.PCSet(0)
		for _, n := range b.trio.Notes {
			if n.At < min(end, m.At+2*PerQuarter) && n.At+n.Dur > m.At {
				heard = heard.With(n.MIDI)
				if n.Voice == Melody && n.Dur >= PerQuarter {
					tune = tune.With(n.MIDI)
				}
			}
		}
		suspended := slices.ContainsFunc(m.Chord.GuideTones(), func(pc int) bool { return tune.Has(pc + 1) })
		if !suspended {
			c.guides.count(hasAll(heard, m.Chord.GuideTones()))
		}
	}
}

// rootLowest reports whether the lowest note that sounds where a chord comes, the
// tune aside, is what the bass player plays there.
func rootLowest(a *Arrangement, m ChordMark) bool {
	low := 999
	for _, n := range a.Notes {
		if n.Voice != Melody && n.At <= m.At && m.At < n.At+n.Dur {
			low = min(low, n.MIDI)
		}
	}
	return low < 999 && (low%12 == m.Chord.RootPC() || low%12 == m.Chord.BassPC())
}

// soundTrio is what may never be: a bass of the guitar, another tune than solo's,
// a note that lies low without need, an attack after the last chord.
func soundTrio(t fataler, a *Arrangement) {
	check(t, a)
	chord := func(at Tick) theory.Chord {
		c := theory.Chord{NoChord: true}
		for _, list := range [][]ChordMark{a.Chords, a.Added} {
			for _, m := range list {
				if m.At <= at {
					c = m.Chord
				}
			}
		}
		return c
	}
	for _, n := range a.Notes {
		switch {
		case n.Voice == Bass:
			t.Fatalf("a bass at %d: %d", n.At, n.MIDI)
		case n.Voice == Inner && n.MIDI < lowestInner:
			t.Fatalf("%d at %d lies among the bass player's notes", n.MIDI, n.At)
		case n.Voice == Inner && n.MIDI < lowestTrio && len(a.Added) == 0:
			if c := chord(n.At); !c.NoChord && !slices.Contains(c.GuideTones(), n.MIDI%12) {
				t.Fatalf("%d at %d lies low and is no guide tone of %s", n.MIDI, n.At, c)
			}
		}
	}
}

// TestTrio: over the shared lead sheets and the built-in tune, the roots are left
// out, the grips are those of solo, and there is more space (the model with bass
// and drums beside the one without).
func TestTrio(t *testing.T) {
	for _, set := range []struct{ name, pattern string }{
		{"leadsheets", "corpus/leadsheets/*.mxl"},
		{"abc", "corpus/abc/*.abc"},
	} {
		t.Run(set.name, func(t *testing.T) {
			var c trioCount
			SharedTunes(t, set.pattern, func(name string, tune *theory.Tune) {
				b := bothSettings(t, tune, Plan{})
				t.Run(name, func(t *testing.T) { soundTrio(t, b.trio) })
				if !slices.Equal(b.solo.Melody, b.trio.Melody) {
					t.Errorf("%s: another tune", name)
				}
				c.count(b)
			})
			c.tell(t)
		})
	}
	t.Run("built-in", func(t *testing.T) {
		var c trioCount
		b := bothSettings(t, ReadSheet(t, "../cmd/thumbline/demo.abc"), Plan{})
		soundTrio(t, b.trio)
		c.count(b)
		c.tell(t)
	})
}

// tell asks for the figures.
func (c *trioCount) tell(t *testing.T) {
	t.Helper()
	for _, f := range []struct {
		name        string
		s           share
		least, most float64
	}{
		{"changes without the root lowest", c.rootless, 97, 100},
		{"grips within solo's", c.within, 85, 100},
		{"grips within solo's, by pitch", c.pitches, 85, 100},
		{"added notes below G3", c.low, 0, 6}, // guide tones that have no place above
		{"changes with their guide tones", c.guides, 96, 100},
		{"long notes answered", c.holds, 90, 100},
		{"grips named over a bass of their own", c.named, 0, 0},
		{"added, of solo's", c.added, 57, 67}, // 4.0 a bar of 6.5 in the models
	} {
		tellFigure(t, f.name, f.s.percent() >= f.least && f.s.percent() <= f.most, "%.1f %% (%d of %d), wanted %.0f to %.0f", f.s.percent(), f.s.part, f.s.whole, f.least, f.most)
	}
	// a reel leaves few moments of its own, in either setting
	tellFigure(t, "chords apart from the tune", c.apart.percent() >= 0.8*c.apartSolo.percent() && c.apart.percent() <= 75, "%.1f %%, in solo %.1f %%", c.apart.percent(), c.apartSolo.percent())
	tellFigure(t, "the tune alone", c.alone.percent() > c.aloneSolo.percent()+5, "%.1f %%, in solo %.1f %%", c.alone.percent(), c.aloneSolo.percent())
	tellFigure(t, "the tune with two others or more", c.full.percent() <= c.fullSolo.percent(), "%.1f %%, in solo %.1f %%", c.full.percent(), c.fullSolo.percent())
}

// TestTrioTurns: a figure is turned round every two bars of a phrase, a pick-up
// apart (the model trio: off the beat in bars 1 and 2, on it in 3 and 4).
func TestTrioTurns(t *testing.T) {
	s := &score{phrase: []theory.Phrase{{From: 0, To: 5}, {From: 5, To: 9}}}
	for k := range 9 {
		s.bars = append(s.bars, Bar{Len: 4 * PerQuarter})
		s.start = append(s.start, Tick(4*k-3)*PerQuarter)
	}
	s.bars[0].Len, s.start[0] = PerQuarter, 0
	for k := range s.bars {
		s.bars[k].At = s.start[k]
	}
	want := []int{0, 0, 0, 1, 1, 0, 0, 1, 1}
	for k, w := range want {
		p := &point{at: s.start[k]}
		if k >= 5 {
			p.phrase = 1
		}
		if got := s.turns(p); got != w {
			t.Errorf("bar %d has half %d of its figure, wanted %d", k, got, w)
		}
	}
}

// TestTrioLine: under a note of a whole bar the inner line goes out by step and
// comes back (the model trio, bar 4: C D C).
func TestTrioLine(t *testing.T) {
	tune := readABC(t, "X:1\nT:Line\nM:4/4\nL:1/8\nQ:1/4=132\nK:Bb\n"+
		"\"Bb6\"d3c B2G2 | \"G7\"z_A2=B d4 | \"Cm7\"e3d c2G2 | \"Ebm6\"_G8 | \"Dm7\"FGAB \"G7\"=Bcd2 | \"Cm7\"e3c \"F7\"A2GB | \"Bb6\"B4 z2FG | d8 |]\n")
	a, err := Arrange(tune, Plan{Setting: "trio"})
	if err != nil {
		t.Fatal(err)
	}
	var struck [][]int // inner notes of each attack in bar 4
	last := Tick(-1)
	for _, n := range a.Notes {
		if n.Voice != Inner || n.At < a.Bars[3].At || n.At >= a.Bars[4].At {
			continue
		}
		if n.At > last {
			struck, last = append(struck, nil), n.At
		}
		struck[len(struck)-1] = append(struck[len(struck)-1], n.MIDI)
	}
	out := false
	for k := 1; k+1 < len(struck); k++ {
		for _, from := range struck[0] {
			out = out || isStep(absInt(struck[k][0]-from)) && slices.Contains(struck[k+1], from)
		}
	}
	if !out {
		t.Errorf("under the note of bar 4 the inner voices go %v, wanted out by step and back", struck)
	}
}

// TestTrioDensities: sparse adds less than medium, medium less than full.
func TestTrioDensities(t *testing.T) {
	files, err := filepath.Glob("../testdata/tunes/*.abc")
	if err != nil || len(files) == 0 {
		t.Fatalf("no tunes (%v)", err)
	}
	for _, name := range append(files, "../cmd/thumbline/demo.abc") {
		tune := ReadSheet(t, name)
		var added []int
		for _, d := range densityWords {
			a, err := Arrange(tune, Plan{Setting: "trio", Density: d})
			if err != nil {
				t.Fatal(err)
			}
			soundTrio(t, a)
			added = append(added, newAttackGrid(a).added())
		}
		if len(tune.Melody) >= 16 && (added[0] >= added[1] || added[1] >= added[2]) {
			t.Errorf("%s: %v notes are added at %v", filepath.Base(name), added, densityWords)
		}
	}
}

// TestTrioAnyTune: whatever the sheet, what must not be is not there.
func TestTrioAnyTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		p := Plan{Setting: "trio", Density: rapid.SampledFrom(densityWords).Draw(t, "density"),
			Tension:  rapid.SampledFrom([]string{"low", "medium", "high"}).Draw(t, "tension"),
			Phrasing: rapid.SampledFrom([]string{"written", "relaxed"}).Draw(t, "phrasing")}
		a, err := Arrange(tune, p)
		if err != nil {
			t.Skip(err) // wider than the neck
		}
		soundTrio(t, a)
		b, err := Arrange(tune, p)
		if err != nil || !slices.Equal(a.Notes, b.Notes) {
			t.Fatalf("the same tune is arranged otherwise (%v)", err)
		}
	})
}

// TestTrioCloses: the last chord has its third and a colour, and the guitar plays
// nothing after it: the last root is the bass player's (the model trio, bar 8).
func TestTrioCloses(t *testing.T) {
	files := []string{"../cmd/thumbline/demo.abc", "../testdata/tunes/hollow-reed.abc"}
	for _, name := range files {
		a, err := Arrange(ReadSheet(t, name), Plan{Setting: "trio"})
		if err != nil {
			t.Fatal(err)
		}
		last, c := a.Notes[len(a.Notes)-1].At, a.Chords[len(a.Chords)-1].Chord
		var pcs theory.PCSet
		for _, n := range a.Notes {
			if n.At+n.Dur > last {
				pcs = pcs.With(n.MIDI)
			}
		}
		if third, ok := c.ThirdPC(); ok && !pcs.Has(third) {
			t.Errorf("%s: no third in the last chord %s: %v", name, c, pcs.Members())
		}
		for _, n := range a.Notes {
			if n.At == last && n.Voice != Melody && n.MIDI%12 == c.RootPC() && n.MIDI < lowestTrio {
				t.Errorf("%s: the guitar has the last root", name)
			}
		}
	}
}
