package voicing

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

var densityWords = []string{"sparse", "medium", "full"}

// A share is a part of a whole.
type share struct{ part, whole int }

func (s share) percent() float64 {
	if s.whole == 0 {
		return 0
	}
	return 100 * float64(s.part) / float64(s.whole)
}

func (s *share) add(o share) { s.part, s.whole = s.part+o.part, s.whole+o.whole }

func (s *share) count(hit bool) {
	s.whole++
	if hit {
		s.part++
	}
}

// An attackGrid is an arrangement seen as attacks in bars.
type attackGrid struct {
	a      *Arrangement
	at     map[Tick][]Note
	times  []Tick // attacks, in order
	onsets []Tick // the tune's, in order
	tune   map[Tick]bool
}

func newAttackGrid(a *Arrangement) *attackGrid {
	g := &attackGrid{a: a, at: map[Tick][]Note{}, tune: map[Tick]bool{}}
	for _, n := range a.Notes {
		if len(g.at[n.At]) == 0 {
			g.times = append(g.times, n.At)
		}
		g.at[n.At] = append(g.at[n.At], n)
	}
	for _, m := range a.Melody {
		g.tune[m.At] = true
		g.onsets = append(g.onsets, m.At)
	}
	slices.Sort(g.times)
	slices.Sort(g.onsets)
	return g
}

// within is the part of an ordered list in [from, to).
func within(list []Tick, from, to Tick) []Tick {
	i, _ := slices.BinarySearch(list, from)
	j, _ := slices.BinarySearch(list, to)
	return list[i:j]
}

// added is how many notes stand beside the tune.
func (g *attackGrid) added() (n int) {
	for _, x := range g.a.Notes {
		if x.Voice != Melody || x.Fill {
			n++
		}
	}
	return n
}

// beatsOf are the beats of a bar.
func beatsOf(b Bar) (out []Tick) {
	for t := b.At; t < b.At+b.Len; t += b.Beat {
		out = append(out, t)
	}
	return out
}

// apart counts, in bars in which the tune leaves a beat, bass notes and attacks
// with inner voices that do not come with the tune, and of the attacks without
// the tune those off the beat.
func (g *attackGrid) apart() (bass, inner, off share) {
	if len(g.onsets) == 0 {
		return
	}
	first, last := g.onsets[0], g.onsets[len(g.onsets)-1]
	for _, b := range g.a.Bars {
		roomy, onBeat := false, map[Tick]bool{}
		for _, t := range beatsOf(b) {
			onBeat[t] = true
			if t >= first && t <= last && len(within(g.onsets, t, t+b.Beat)) == 0 {
				roomy = true
			}
		}
		if !roomy {
			continue
		}
		for _, t := range within(g.times, b.At, b.At+b.Len) {
			has := [3]int{}
			for _, n := range g.at[t] {
				has[n.Voice]++
			}
			for range has[Bass] {
				bass.count(!g.tune[t])
			}
			if has[Inner] > 0 {
				inner.count(!g.tune[t])
			}
			if !g.tune[t] {
				off.count(!onBeat[t])
			}
		}
	}
	return bass, inner, off
}

// kept counts the bars whose accompaniment comes for the greater part (three
// attacks of a voice in five) at the times of one of the two bars before.
func (g *attackGrid) kept() (s share) {
	type part struct {
		at Tick
		v  Voice
	}
	var before []map[part]bool
	for i, b := range g.a.Bars {
		f := map[part]bool{}
		for _, t := range within(g.times, b.At, b.At+b.Len) {
			for _, n := range g.at[t] {
				if n.Voice != Melody {
					f[part{t - b.At, n.Voice}] = true
				}
			}
		}
		before = append(before, f)
		if i < 2 || len(f) == 0 {
			continue
		}
		lasts := false
		for _, was := range before[i-2 : i] {
			same := 0
			for p := range f {
				if was[p] {
					same++
				}
			}
			lasts = lasts || 5*same >= 3*len(f)
		}
		s.count(lasts)
	}
	return s
}

// running lists where five bars or more have the same rhythm of attacks though
// the tune leaves a half-beat (a third of a dotted beat; a beat where these
// are too short to strike anything in) free in one of them.
func (g *attackGrid) running() (out []string) {
	bars := g.a.Bars
	rhythm := func(i int) []Tick {
		var out []Tick
		for _, t := range within(g.times, bars[i].At, bars[i].At+bars[i].Len) {
			out = append(out, t-bars[i].At)
		}
		return out
	}
	for i := 0; i < len(bars); {
		j, first := i+1, rhythm(i)
		for j < len(bars) && slices.Equal(rhythm(j), first) {
			j++
		}
		room := false
		for _, b := range bars[i:j] {
			step := b.Beat / 2
			if compound(b) {
				step = b.Beat / 3
			}
			if len(g.a.Tempi) > 0 && float64(step)/float64(PerQuarter)*60/g.a.Tempi[0].BPM < shortestRoom {
				step = b.Beat
			}
			for t := b.At; t < b.At+b.Len; t += step {
				room = room || !g.tune[t]
			}
		}
		if len(first) > 0 && j-i >= 5 && room {
			out = append(out, bars[i].Label+"-"+bars[j-1].Label)
		}
		i = j
	}
	return out
}

// slowBeats is the tempo, in beats a minute, up to which a beat without an
// attack is a breath and no hole.
const slowBeats = 90

// ends counts the phrases that end with room to breathe: nothing but single
// notes in the last beat, or at slow tempi a beat of the last bar without an
// attack. Where the chord changes in the last beat it has its harmony there, and
// nothing is asked.
func (g *attackGrid) ends() (s share, without []string) {
	for _, p := range g.a.Phrases {
		b := g.a.Bars[p.To-1]
		end := b.At + b.Len
		if slices.ContainsFunc(g.a.Chords, func(c ChordMark) bool { return c.At >= end-b.Beat && c.At < end }) {
			continue
		}
		breathes := !slices.ContainsFunc(within(g.times, end-b.Beat, end), func(t Tick) bool { return len(g.at[t]) > 1 })
		if len(g.a.Tempi) > 0 && g.a.Tempi[0].BPM*float64(PerQuarter) <= slowBeats*float64(b.Beat) {
			for _, t := range beatsOf(b) {
				breathes = breathes || len(within(g.times, t, t+b.Beat)) == 0
			}
		}
		s.count(breathes)
		if !breathes {
			without = append(without, b.Label)
		}
	}
	return s, without
}

// A sheetAt is a lead sheet arranged at the three densities.
type sheetAt struct {
	name string
	at   [3]*attackGrid
}

// arrangeAll arranges every sheet at every density; those without chord symbols
// are told and left out.
func arrangeAll(t *testing.T, files []string) (out []sheetAt) {
	t.Helper()
	got := make([]sheetAt, len(files))
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	for i, name := range files {
		wg.Go(func() {
			tune, err := read(name)
			if err != nil {
				errs[i] = err
				return
			}
			got[i].name = filepath.Base(name)
			for k, d := range densityWords {
				a, err := Arrange(tune, Plan{Density: d})
				if err != nil {
					errs[i] = err
					return
				}
				got[i].at[k] = newAttackGrid(a)
			}
		})
	}
	wg.Wait()
	for i := range got {
		switch {
		case errs[i] == nil:
			out = append(out, got[i])
		case strings.Contains(errs[i].Error(), "no chord symbols"):
			t.Log(errs[i])
		default:
			t.Error(errs[i])
		}
	}
	if len(out) == 0 {
		t.Fatal("no sheets")
	}
	return out
}

// tellFigure tells of one figure; outside what is wanted it fails the test.
func tellFigure(t *testing.T, name string, ok bool, format string, args ...any) {
	t.Helper()
	text := name + ": " + fmt.Sprintf(format, args...)
	if !ok {
		t.Error(text)
		return
	}
	t.Log(text)
}

// TestTexture: what is added at each density, and how the parts of the texture
// lie at the one that nobody has to ask for, over the shared lead sheets and the
// built-in tune.
func TestTexture(t *testing.T) {
	for _, set := range []struct{ name, pattern string }{
		{"leadsheets", "corpus/leadsheets/*.mxl"},
		{"abc", "corpus/abc/*.abc"},
		{"built-in", "../cmd/thumbline/demo.abc"},
	} {
		t.Run(set.name, func(t *testing.T) {
			pattern := set.pattern
			if !strings.HasPrefix(pattern, "..") {
				dir := os.Getenv("THUMBLINE_DATA")
				if dir == "" {
					t.Skip("THUMBLINE_DATA is not set: no shared sheets to arrange")
				}
				pattern = filepath.Join(dir, pattern)
			}
			files, err := filepath.Glob(pattern)
			if err != nil || len(files) == 0 {
				t.Fatalf("no %s (%v)", pattern, err)
			}
			sheets := arrangeAll(t, files)
			densitiesInOrder(t, sheets)
			textureOf(t, sheets)
			for _, s := range sheets {
				for k, d := range densityWords {
					t.Run(s.name+"/"+d, func(t *testing.T) { check(t, s.at[k].a) })
				}
			}
		})
	}
}

// densitiesInOrder: sparse adds about half of what medium adds, full up to twice
// as much, in that order in every tune.
func densitiesInOrder(t *testing.T, sheets []sheetAt) {
	var sum [3]int
	var disorder, few, many []string
	for _, s := range sheets {
		n := [3]int{}
		for k, g := range s.at {
			n[k] = g.added()
			sum[k] += n[k]
		}
		if n[0] >= n[1] || n[1] >= n[2] {
			disorder = append(disorder, fmt.Sprintf("%s %v", s.name, n))
		}
		if p := (share{n[0], n[1]}).percent(); p < 35 || p > 65 {
			few = append(few, fmt.Sprintf("%s %.0f %%", s.name, p))
		}
		if p := (share{n[2], n[1]}).percent(); p < 130 || p > 200 {
			many = append(many, fmt.Sprintf("%s %.0f %%", s.name, p))
		}
	}
	t.Logf("notes added: %d sparse, %d medium, %d full", sum[0], sum[1], sum[2])
	p := share{sum[0], sum[1]}.percent()
	tellFigure(t, "sparse against medium", p >= 35 && p <= 65, "%.1f %%, wanted 35 to 65", p)
	p = share{sum[2], sum[1]}.percent()
	tellFigure(t, "full against medium", p >= 130 && p <= 200, "%.1f %%, wanted 130 to 200", p)
	tellFigure(t, "order of densities", len(disorder) == 0, "other than sparse < medium < full in %d of %d: %s", len(disorder), len(sheets), strings.Join(disorder, ", "))
	tellFigure(t, "sparse against medium in every tune", len(few) == 0, "outside 35 to 65 in %d of %d: %s", len(few), len(sheets), strings.Join(few, ", "))
	tellFigure(t, "full against medium in every tune", len(many) == 0, "outside 130 to 200 in %d of %d: %s", len(many), len(sheets), strings.Join(many, ", "))
}

// textureOf adds the figures of each density up; what medium has to reach are
// the figures of published arrangements and of the models.
func textureOf(t *testing.T, sheets []sheetAt) {
	for k, d := range densityWords {
		var bass, inner, off, kept, ends share
		var runs, breathless []string
		for _, s := range sheets {
			b, i, o := s.at[k].apart()
			bass.add(b)
			inner.add(i)
			off.add(o)
			kept.add(s.at[k].kept())
			e, without := s.at[k].ends()
			ends.add(e)
			if len(without) > 0 {
				breathless = append(breathless, s.name+" "+strings.Join(without, " "))
			}
			if r := s.at[k].running(); len(r) > 0 {
				runs = append(runs, s.name+" "+strings.Join(r, " "))
			}
		}
		if d != "medium" {
			t.Logf("%s: bass apart %.1f %%, inner apart %.1f %%, off the beat %.1f %%, a figure lasts %.1f %%, phrase ends that breathe %.1f %%, same rhythm five bars running in %d",
				d, bass.percent(), inner.percent(), off.percent(), kept.percent(), ends.percent(), len(runs))
			continue
		}
		between := func(name string, s share, lo, hi float64) {
			p := s.percent()
			tellFigure(t, name, s.whole > 0 && p >= lo && p <= hi, "%.1f %% (%d of %d), wanted %g to %g", p, s.part, s.whole, lo, hi)
		}
		between("bass apart", bass, 40, 90)
		between("inner apart", inner, 50, 100)
		between("off the beat", off, 12, 45)
		between("a figure lasts", kept, 50, 100)
		tellFigure(t, "rhythm", 25*len(runs) <= len(sheets), "the same five bars running in %d of %d: %s", len(runs), len(sheets), strings.Join(runs, ", "))
		tellFigure(t, "breath", ends.percent() >= 85, "%.1f %% (%d of %d) of the phrase ends, wanted 85; without: %s", ends.percent(), ends.part, ends.whole,
			strings.Join(breathless, ", "))
	}
}

// TestAnyTuneAtAnyDensity: whatever the sheet, at every density the tune is whole
// and nothing lies above its held note, and one hand holds what rings.
func TestAnyTuneAtAnyDensity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		var first *Arrangement
		for _, d := range densityWords {
			a, err := Arrange(tune, Plan{Density: d})
			if err != nil {
				t.Skip(err) // wider than the neck
			}
			check(t, a)
			if first == nil {
				first = a
			}
			if !slices.Equal(a.Melody, first.Melody) || !slices.Equal(a.Bars, first.Bars) {
				t.Fatalf("%s has another tune than %s", d, densityWords[0])
			}
		}
	})
}

// drawnBars is an arrangement drawn by half-beats in 4/4, bars apart by "|": what
// is struck there, of m(elody), i(nner), b(ass), or "." for nothing. A digit
// after m says how many half-beats the tune's note lasts.
func drawnBars(bpm float64, bars ...string) *Arrangement {
	a := &Arrangement{Tempi: []TempoMark{{BPM: bpm}}, Phrases: []theory.Phrase{{From: 0, To: len(bars)}}}
	half := PerQuarter / 2
	at := Tick(0)
	for i, text := range bars {
		fields := strings.Fields(text)
		a.Bars = append(a.Bars, Bar{Label: itoa(i + 1), At: at, Len: Tick(len(fields)) * half, Beat: PerQuarter, Metre: theory.Metre{Num: len(fields) / 2, Den: 4}})
		for _, f := range fields {
			for k := 0; k < len(f); k++ {
				switch f[k] {
				case 'm':
					dur := half
					if k+1 < len(f) && f[k+1] >= '0' && f[k+1] <= '9' {
						dur = Tick(f[k+1]-'0') * half
					}
					a.Melody = append(a.Melody, TuneNote{At: at, Dur: dur, MIDI: 72})
					a.Notes = append(a.Notes, Note{At: at, Dur: dur, MIDI: 72, Voice: Melody})
				case 'i':
					a.Notes = append(a.Notes, Note{At: at, Dur: half, MIDI: 60, Voice: Inner})
				case 'b':
					a.Notes = append(a.Notes, Note{At: at, Dur: half, MIDI: 45, Voice: Bass})
				case 'C':
					a.Chords = append(a.Chords, ChordMark{At: at})
				}
			}
			at += half
		}
	}
	return a
}

// TestTextureFigures tries the measures on bars whose figures can be counted by
// hand.
func TestTextureFigures(t *testing.T) {
	four := func(bar string) []string { return []string{bar, bar, bar, bar} }
	for _, c := range []struct {
		name             string
		bpm              float64
		bars             []string
		bass, inner, off share
		kept, ends       share
		runs, added      int
	}{
		// In the first bar the tune leaves beats 2 and 4: two of three bass notes are alone, the inner voice is not.
		{name: "apart", bpm: 120, bars: []string{"mb4 . b . mi . b .", "m . m . m . mb ."},
			bass: share{2, 3}, inner: share{0, 1}, off: share{0, 2}, ends: share{0, 1}, added: 5},
		{name: "off the beat", bpm: 120, bars: []string{"mb3 . . i mb i . .", "m . m . m . m ."},
			bass: share{0, 2}, inner: share{2, 2}, off: share{2, 2}, ends: share{1, 1}, added: 4},
		{name: "the same five times", bpm: 120, bars: append(four("mb . m . mi . m ."), "mb . m . mi . m ."),
			kept: share{3, 3}, ends: share{1, 1}, runs: 1, added: 10},
		{name: "four times and another", bpm: 120, bars: append(four("mb . m . mi . m ."), "mb . m i m . m ."),
			kept: share{2, 3}, ends: share{1, 1}, added: 10},
		{name: "no half-beat left", bpm: 120, bars: append(four("mb m m m mi m m m"), "mb m m m mi m m m"),
			kept: share{3, 3}, ends: share{1, 1}, added: 10},
		{name: "thinning out", bpm: 120, bars: []string{"mb m mi m m6bi . b .", "m . . . i . b ."},
			bass: share{1, 3}, inner: share{0, 2}, off: share{0, 1}, ends: share{1, 1}, added: 7},
		{name: "no breath", bpm: 80, bars: []string{"m . m . m . mib ."}, ends: share{0, 1}, added: 2},
		{name: "a beat of ringing is one when it is slow", bpm: 80, bars: []string{"m4 . b . . . mi ."},
			bass: share{1, 1}, inner: share{0, 1}, off: share{0, 1}, ends: share{1, 1}, added: 2},
		{name: "and a hole when it is not", bpm: 132, bars: []string{"m4 . b . . . mi ."},
			bass: share{1, 1}, inner: share{0, 1}, off: share{0, 1}, ends: share{0, 1}, added: 2},
		{name: "a change has its chord", bpm: 120, bars: []string{"Cmb . m . m . Cmib ."}, added: 3},
	} {
		g := newAttackGrid(drawnBars(c.bpm, c.bars...))
		bass, inner, off := g.apart()
		ends, _ := g.ends()
		if bass != c.bass || inner != c.inner || off != c.off {
			t.Errorf("%s: bass %v inner %v off the beat %v, want %v %v %v", c.name, bass, inner, off, c.bass, c.inner, c.off)
		}
		if kept := g.kept(); kept != c.kept {
			t.Errorf("%s: kept %v, want %v", c.name, kept, c.kept)
		}
		if ends != c.ends {
			t.Errorf("%s: ends %v, want %v", c.name, ends, c.ends)
		}
		if r := g.running(); len(r) != c.runs {
			t.Errorf("%s: the same running in %v, want %d", c.name, r, c.runs)
		}
		if n := g.added(); n != c.added {
			t.Errorf("%s: %d added, want %d", c.name, n, c.added)
		}
	}
}

// TestTextureOfModels: the model arrangements of the shared data, written by hand,
// have the figures that are asked of ours; sparse adds about half.
func TestTextureOfModels(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no model arrangements to measure")
	}
	read := func(name string) *attackGrid {
		data, err := os.ReadFile(filepath.Join(dir, "models", name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		var w struct {
			Tempo float64
			Bars  []struct {
				Label         string
				At, Len, Beat Tick
			}
			Melody []struct {
				At, Dur Tick
				MIDI    int
			}
			Chords []struct{ At Tick }
			Notes  []struct {
				At, Dur Tick
				Voice   string
				Fill    bool
			}
		}
		if err := json.Unmarshal(data, &w); err != nil {
			t.Fatal(err)
		}
		a := &Arrangement{Tempi: []TempoMark{{BPM: w.Tempo}}}
		for _, b := range w.Bars {
			a.Bars = append(a.Bars, Bar{Label: b.Label, At: b.At, Len: b.Len, Beat: b.Beat, Metre: theory.Metre{Num: int(b.Len / b.Beat), Den: 4}})
		}
		for i := len(a.Bars) % 4; i < len(a.Bars); i += 4 { // a pick-up before fours
			a.Phrases = append(a.Phrases, theory.Phrase{From: i, To: i + 4})
		}
		for _, m := range w.Melody {
			a.Melody = append(a.Melody, TuneNote{At: m.At, Dur: m.Dur, MIDI: m.MIDI})
		}
		for _, c := range w.Chords {
			a.Chords = append(a.Chords, ChordMark{At: c.At})
		}
		for _, n := range w.Notes {
			a.Notes = append(a.Notes, Note{At: n.At, Dur: n.Dur, Fill: n.Fill, Voice: map[string]Voice{"melody": Melody, "inner": Inner, "bass": Bass}[n.Voice]})
		}
		return newAttackGrid(a)
	}
	var bass, inner, off, kept, ends share
	for _, name := range []string{"swing-a", "minor-a", "ballad-end", "waltz-a"} {
		g := read(name)
		b, i, o := g.apart()
		bass.add(b)
		inner.add(i)
		off.add(o)
		kept.add(g.kept())
		e, without := g.ends()
		ends.add(e)
		if len(without) > 0 {
			t.Logf("%s: the phrase flows on in bar %v", name, without)
		}
		if r := g.running(); len(r) > 0 {
			t.Errorf("%s: the same rhythm in %v", name, r)
		}
	}
	t.Logf("bass apart %.1f %%, inner apart %.1f %%, off the beat %.1f %%, a figure lasts %.1f %%", bass.percent(), inner.percent(), off.percent(), kept.percent())
	for _, c := range []struct {
		name   string
		s      share
		lo, hi float64
	}{{"bass apart", bass, 40, 90}, {"inner apart", inner, 50, 100}, {"off the beat", off, 12, 45}, {"a figure lasts", kept, 50, 100}, {"breath", ends, 85, 100}} {
		if p := c.s.percent(); c.s.whole == 0 || p < c.lo || p > c.hi {
			t.Errorf("%s %.1f %% (%d of %d)", c.name, p, c.s.part, c.s.whole)
		}
	}
	if p := (share{read("swing-a-sparse").added(), read("swing-a").added()}).percent(); p < 35 || p > 65 {
		t.Errorf("sparse adds %.1f %%", p)
	}
}
