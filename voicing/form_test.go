package voicing

import (
	"errors"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// ownTunes are the built-in tune and the sheets for checks of the whole program:
// major and minor, 4/4, 3/4 and 6/8, with pick-ups and without.
func ownTunes(t testing.TB) map[string]*theory.Tune {
	t.Helper()
	files, err := filepath.Glob("../testdata/tunes/*.*")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*theory.Tune{}
	for _, name := range append(files, "../cmd/thumbline/demo.abc") {
		if filepath.Ext(name) == ".tsv" {
			continue
		}
		out[filepath.Base(name)] = ReadSheet(t, name)
	}
	if len(out) < 5 {
		t.Fatalf("%d tunes", len(out))
	}
	return out
}

// onceThrough is the form of a tune played once as it is written.
func onceThrough(t *theory.Tune) *form {
	f := &form{tune: t, comped: -1, ending: len(t.Bars)}
	for _, n := range t.Melody {
		f.fill, f.full = append(f.fill, false), append(f.full, n.Len)
	}
	return f
}

// A form of whatever tune is a line like any other: bars without gaps, each with
// its own label, notes and chords inside and in order, phrases over all bars.
func TestFormIsALine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := drawTune(t)
		if err := tune.Validate(); err != nil {
			t.Fatalf("the tune drawn: %v", err)
		}
		p := Plan{
			Choruses: rapid.IntRange(0, 4).Draw(t, "choruses"),
			Intro:    rapid.SampledFrom([]string{"", "last", "pedal", "pedal:2", "vamp", "vamp:3"}).Draw(t, "intro"),
			Ending:   rapid.SampledFrom([]string{"", "none", "straight:2", "tag", "tag:2", "tag:3", "tag:4", "vamp", "vamp:3", "run", "run:2"}).Draw(t, "ending"),
		}
		if p.Choruses > 1 {
			p.Comp = rapid.IntRange(0, p.Choruses).Draw(t, "comp")
		}
		f, err := newForm(tune, &p, StandardNeck())
		var choice *ChoiceError
		if errors.As(err, &choice) {
			return // a tune of odd bars need not have each kind
		}
		if err != nil {
			t.Fatal(err)
		}
		if err := f.tune.Validate(); err != nil {
			t.Fatalf("%+v: %v", p, err)
		}
		if len(f.fill) != len(f.tune.Melody) || len(f.full) != len(f.tune.Melody) {
			t.Fatalf("%d notes, marks for %d and %d", len(f.tune.Melody), len(f.fill), len(f.full))
		}
		sung := 0
		for _, fill := range f.fill {
			if !fill {
				sung++
			}
		}
		want := 0
		for i, c := range f.choruses {
			if i+1 == p.Comp {
				continue
			}
			want += len(tune.Melody)
			if f.tune.Bars[c.From].Source != tune.Bars[0].Source { // the pick-up had no place
				want = -1
				break
			}
		}
		if want >= 0 && sung != want {
			t.Fatalf("%+v: %d notes of the tune, want %d", p, sung, want)
		}
		for i, c := range f.choruses {
			if from := f.tune.Bars[c.From]; from.Source == tune.Bars[0].Source && (from.Key != tune.Bars[0].Key || from.Metre != tune.Bars[0].Metre) {
				t.Fatalf("chorus %d begins in %v, %v", i+1, from.Key, from.Metre)
			}
			if f.tune.Bars[c.From].Source != tune.Bars[0].Source {
				continue
			}
			at := f.tune.Bars[c.From].At
			for _, m := range tune.Tempi {
				if got, want := tempoAt(f.tune, at.Add(m.At)), m.BPM; got != want {
					t.Fatalf("%+v: tempo %g in chorus %d at %v, want %g", p, got, i+1, m.At, want)
				}
			}
		}
	})
}

// tempoAt is the tempo in force.
func tempoAt(t *theory.Tune, at theory.Time) float64 {
	bpm := 0.0
	for _, m := range t.Tempi {
		if !at.Less(m.At) {
			bpm = m.BPM
		}
	}
	return bpm
}

// drawTune is a tune of any metre, with a pick-up or without, short bars inside,
// changes of key, metre and tempo, rests, and chords that come late.
func drawTune(t *rapid.T) *theory.Tune {
	metres := []theory.Metre{{Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 6, Den: 8}, {Num: 2, Den: 2}, {Num: 2, Den: 4}, {Num: 5, Den: 4}, {Num: 7, Den: 8}, {Num: 9, Den: 8}, {Num: 12, Den: 8}, {Num: 3, Den: 8}}
	keys := []string{"C", "G", "Eb", "F#", "Am", "Dm", "Ddor", "Gmix", "Ephr"}
	key := func() theory.Key {
		k, err := theory.ParseKey(rapid.SampledFrom(keys).Draw(t, "key"))
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	tune := &theory.Tune{Key: key(), Tempi: []theory.TempoMark{{BPM: float64(rapid.IntRange(40, 300).Draw(t, "bpm"))}}}
	m, k := rapid.SampledFrom(metres).Draw(t, "metre"), tune.Key
	at := theory.Time{}
	n := rapid.IntRange(1, 12).Draw(t, "bars")
	pickup := rapid.Bool().Draw(t, "pick-up")
	for i := range n {
		label, d := strconv.Itoa(i+1), m.BarLen()
		switch {
		case i == 0 && pickup && n > 1:
			label, d = "0", d.Mul(int64(rapid.IntRange(1, 7).Draw(t, "eighths")), 8)
		case i == n-1 && rapid.Bool().Draw(t, "short"):
			d = d.Mul(int64(rapid.IntRange(1, 7).Draw(t, "eighths")), 8)
		case i > 0 && rapid.IntRange(0, 9).Draw(t, "turn") == 0:
			k, m = key(), rapid.SampledFrom(metres).Draw(t, "metre")
			d = m.BarLen()
		}
		tune.Bars = append(tune.Bars, theory.Bar{Label: label, Pass: 1, Source: i, At: at, Len: d, Beat: theory.BeatOf(m), Metre: m, Key: k})
		for x := at; x.Less(at.Add(d)); {
			l := theory.Quarters(int64(rapid.IntRange(1, 8).Draw(t, "length")), 2)
			if at.Add(d).Less(x.Add(l)) {
				l = at.Add(d).Sub(x)
			}
			if len(tune.Melody) == 0 || rapid.IntRange(0, 4).Draw(t, "rest") > 0 {
				tune.Melody = append(tune.Melody, theory.Note{At: x, Len: l, Pitch: theory.PitchOf(rapid.IntRange(55, 79).Draw(t, "pitch"), k)})
			}
			x = x.Add(l)
		}
		if rapid.Bool().Draw(t, "chord") || i == n-1 && len(tune.Changes) == 0 {
			tune.Changes = append(tune.Changes, theory.Change{At: at, Chord: theory.MustChord(rapid.SampledFrom([]string{"C6", "Dm7", "G7", "Am7", "F#m7b5", "B7b9", "C", "G", "N.C.", "D/F#"}).Draw(t, "symbol"))})
		}
		if i > 0 && rapid.IntRange(0, 5).Draw(t, "mark") == 0 {
			tune.Tempi = append(tune.Tempi, theory.TempoMark{At: at, BPM: float64(rapid.IntRange(40, 300).Draw(t, "bpm"))})
		}
		at = at.Add(d)
	}
	for i := range tune.Changes {
		end := at
		if i+1 < len(tune.Changes) {
			end = tune.Changes[i+1].At
		}
		tune.Changes[i].Len = end.Sub(tune.Changes[i].At)
	}
	if n > 4 && rapid.Bool().Draw(t, "sections") {
		tune.Sections = []theory.Section{{Name: "A", From: 0, To: 3}, {Name: "B", From: 3, To: n}}
	}
	tune.DividePhrases()
	return tune
}

// What a chorus does to the pick-up of the next: no beat is counted twice, and
// none is left out (common practice, no source).
func TestJoins(t *testing.T) {
	head := "X:1\nM:4/4\nL:1/4\nQ:1/4=120\nK:C\n"
	for _, c := range []struct {
		name, abc string
		bars      string // with their lengths in quarters
		second    string // the tune's notes from the last bar of the first chorus to the first full bar of the second
	}{
		{"a last bar that leaves room", "G|\"C\"c2 e2|\"G7\"B3|]", "0 1, 1 4, 2 3, 0/2 1, 1/2 4, 2/2 3", "B4 3, G4 1, C5 2"},
		{"a long last note is cut", "G|\"C\"c2 e2|\"C\"c4|]", "0 1, 1 4, 2 3, 0/2 1, 1/2 4, 2/2 4", "C5 3, G4 1, C5 2"},
		{"no pick-up", "\"C\"c2 e2|\"C\"c4|]", "1 4, 2 4, 1/2 4, 2/2 4", "C5 4, C5 2"},
		{"the tune fills the last bar and leads on itself", "G|\"C\"c2 e2|\"C\"c3 A|]", "0 1, 1 4, 2 4, 1/2 4, 2/2 4", "C5 3, A4 1, C5 2"},
		{"a pick-up that is tied over", "G-|\"C\"G2 e2|\"C\"c3 A|]", "0 1, 1 4, 2 4, 1/2 4, 2/2 4", "C5 3, A4 1, G4 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune := readABC(t, head+c.abc+"\n")
			f, err := newForm(tune, &Plan{Choruses: 2, Ending: "none"}, StandardNeck())
			if err != nil {
				t.Fatal(err)
			}
			if err := f.tune.Validate(); err != nil {
				t.Error(err)
			}
			var bars, notes []string
			for _, b := range f.tune.Bars {
				bars = append(bars, b.Label+" "+b.Len.String())
			}
			if got := strings.Join(bars, ", "); got != c.bars {
				t.Errorf("bars %s, want %s", got, c.bars)
			}
			from, to := f.tune.Bars[f.choruses[0].To-1].At, f.tune.Bars[f.choruses[1].From].At
			if b := f.tune.Bars[f.choruses[1].From]; b.IsPickup() {
				to = to.Add(b.Len)
			}
			for _, n := range f.tune.Melody {
				if !n.At.Less(from) && !to.Less(n.At) {
					notes = append(notes, n.Pitch.String()+" "+n.Len.String())
				}
			}
			if got := strings.Join(notes, ", "); got != c.second {
				t.Errorf("across the join: %s, want %s", got, c.second)
			}
		})
	}
}

// Whatever comes before, after and again: what is played of the tune is the tune,
// as long as it is written or until an ending takes over, and nothing else.
func TestFormKeepsTheTune(t *testing.T) {
	for name, tune := range ownTunes(t) {
		for _, p := range []Plan{
			{Ending: "vamp"}, {Choruses: 2, Ending: "run", Intro: "last"}, {Ending: "tag", Intro: "pedal", SameRepeats: true}, {Intro: "vamp", Setting: "trio"},
		} {
			a, err := Arrange(tune, p)
			if err != nil {
				t.Fatal(err)
			}
			written, added := map[Tick]TuneNote{}, map[Tick]bool{}
			for _, n := range a.Melody {
				written[n.At] = n
			}
			for _, n := range a.Notes {
				if n.Voice == Melody && n.Fill {
					added[n.At] = true
				}
			}
			for _, n := range a.Notes {
				if n.Voice != Melody || n.Fill {
					continue
				}
				w, ok := written[n.At]
				if !ok || w.MIDI != n.MIDI {
					t.Errorf("%s, %+v: %d at %d is not of the tune", name, p, n.MIDI, n.At)
				} else if n.Dur+n.Early != w.Dur && !added[n.At+n.Dur+n.Early] {
					t.Errorf("%s, %+v: the note at %d is written %d, sounds %d and is %d early", name, p, n.At, w.Dur, n.Dur, n.Early)
				}
				delete(written, n.At)
			}
			for at, n := range written {
				t.Errorf("%s, %+v: the tune's %d at %d is not played", name, p, n.MIDI, at)
			}
		}
	}
}

// An introduction of whatever tune is arranged without a fault of its form.
func TestIntroductionsOfAnyTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := drawTune(t)
		p := Plan{Intro: rapid.SampledFrom([]string{"last", "last:2", "pedal", "pedal:3", "vamp", "vamp:2"}).Draw(t, "intro"), Ritardando: true}
		if rapid.IntRange(0, 3).Draw(t, "neck") == 0 {
			n := StandardNeck()
			n.Frets = 12
			p.Neck = &n
		}
		a, err := Arrange(tune, p)
		if err != nil {
			return // told: a chord is missing, or the neck is too short
		}
		if len(a.Sections) == 0 || a.Sections[0].Name != IntroName || len(a.Melody) != len(tune.Melody) {
			t.Fatalf("%+v: sections %v, %d notes of %d", p, a.Sections, len(a.Melody), len(tune.Melody))
		}
		if end := a.Bars[a.Sections[0].To].At; a.Melody[0].At < end {
			t.Fatalf("the tune begins at %d, its first bar at %d", a.Melody[0].At, end)
		}
	})
}

// The tune's last note stays in its own chorus where the last chorus is without
// the tune and its last bar is played out for bars that are put in.
func TestCompedLastChorusHasNoNote(t *testing.T) {
	tune := readABC(t, "X:1\nM:3/4\nL:1/4\nQ:1/4=140\nK:C\nG|\"C6\"c2d|\"Am7\"e2c|\"Dm7\"f2\"G7\"d|\"C6\"c2|]\n")
	a, err := Arrange(tune, Plan{Choruses: 2, Comp: 2, Ending: "tag"})
	if err != nil {
		t.Fatal(err)
	}
	from := a.Bars[a.Comped.From].At
	for _, n := range a.Melody {
		if n.At < from && n.At+n.Dur > from {
			t.Errorf("the note at %d lasts until %d, the chorus without the tune begins at %d", n.At, n.At+n.Dur, from)
		}
	}
}
