package voicing

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// A again is what differs in the bars of an arrangement that come again.
type again struct {
	notes, strings, attacks share
	tune, kept              int // notes of the tune, and notes of the bars that close, that differ
	where, bars             []string
	voices                  [3]share // notes of each voice
	times                   share    // moments at which something is struck
	harmony                 int      // grips from another scale
}

// sharesOf compares each bar that comes again with the time before.
func sharesOf(a *Arrangement) (r again) {
	before := map[string]int{}
	closing := make([]bool, len(a.Bars))
	for _, s := range a.Sections {
		for b := max(s.From, s.To-2); b < s.To; b++ {
			closing[b] = true
		}
	}
	notes := make([][]Note, len(a.Bars))
	b := 0
	for _, n := range a.Notes {
		for b+1 < len(a.Bars) && a.Bars[b+1].At <= n.At {
			b++
		}
		notes[b] = append(notes[b], n)
	}
	for b, bar := range a.Bars {
		label, _, _ := strings.Cut(bar.Label, "/")
		m, ok := before[label]
		before[label] = b
		if !ok || bar.Label == label {
			continue
		}
		diff := func(key func(n Note) string) share {
			x, y := map[string]int{}, map[string]int{}
			all, common := 0, 0
			for _, n := range notes[m] {
				n.At -= a.Bars[m].At
				if k := key(n); k != "" {
					x[k]++
					all++
				}
			}
			for _, n := range notes[b] {
				n.At -= bar.At
				if k := key(n); k != "" {
					y[k]++
					all++
				}
			}
			for k, n := range x {
				common += min(n, y[k])
			}
			return share{all - 2*common, all}
		}
		r.notes.add(diff(func(n Note) string { return fmt.Sprint(n.At, n.MIDI, n.Voice) }))
		r.strings.add(diff(func(n Note) string { return fmt.Sprint(n.At, n.String, n.Fret) }))
		for _, g := range a.Grips {
			for _, h := range a.Grips {
				if g.Bar == b && h.Bar == m && g.At-bar.At == h.At-a.Bars[m].At && g.Scale != h.Scale {
					r.harmony++
				}
			}
		}
		for v := range r.voices {
			r.voices[v].add(diff(func(n Note) string {
				if n.Voice != Voice(v) {
					return ""
				}
				return fmt.Sprint(n.At, n.MIDI)
			}))
		}
		r.times.add(diff(func(n Note) string {
			if n.Voice == Melody {
				return ""
			}
			return fmt.Sprint(n.At)
		}))
		tune := func(n Note) string {
			if n.Voice == Melody {
				return fmt.Sprint(n.At, n.MIDI, n.String, n.Fret)
			}
			return ""
		}
		if d := diff(tune).part; d > 0 {
			r.tune += d
			r.where = append(r.where, fmt.Sprintf("tune %s: %d", bar.Label, d))
		}
		if closing[b] && b+1 < len(a.Bars) {
			if d := diff(func(n Note) string { return fmt.Sprint(n.At, n.MIDI, n.Voice, n.String, n.Fret) }).part; d > 0 {
				r.kept += d
				r.where = append(r.where, fmt.Sprintf("closing %s: %d", bar.Label, d))
			}
		}
		attackSets := func(ns []Note, from Tick) map[string]bool {
			out := map[string]bool{}
			for i := 0; i < len(ns); {
				k := i
				var ps []int
				for ; i < len(ns) && ns[i].At == ns[k].At; i++ {
					ps = append(ps, ns[i].MIDI)
				}
				slices.Sort(ps)
				out[fmt.Sprint(ns[k].At-from, ps)] = true
			}
			return out
		}
		x, y := attackSets(notes[m], a.Bars[m].At), attackSets(notes[b], bar.At)
		common := 0
		for k := range x {
			if y[k] {
				common++
			}
		}
		if d := diff(func(n Note) string { return fmt.Sprint(n.At, n.MIDI, n.Voice, n.String, n.Fret) }).part; d > 0 && b+1 < len(a.Bars) {
			r.bars = append(r.bars, fmt.Sprintf("%s: %d", bar.Label, d))
		}
		r.attacks.add(share{len(x) + len(y) - 2*common, len(x) + len(y)})
	}
	return r
}

// TestRepeatsReport prints what differs, for reading: set REPEATS_REPORT.
func TestRepeatsReport(t *testing.T) {
	if os.Getenv("REPEATS_REPORT") == "" {
		t.Skip("a table for reading: set REPEATS_REPORT to see it")
	}
	var all again
	n, out := 0, [3]int{}
	type row struct {
		name string
		r    again
	}
	var rows []row
	only := os.Getenv("REPEATS_ONLY")
	measure := func(name string, tune *theory.Tune) {
		if !strings.Contains(name, only) {
			return
		}
		a, err := Arrange(tune, Plan{SameRepeats: os.Getenv("REPEATS_REPORT") == "same", Density: os.Getenv("REPEATS_DENSITY")})
		if err != nil {
			return
		}
		r := sharesOf(a)
		if r.notes.whole == 0 {
			return
		}
		n++
		for k, s := range []share{r.notes, r.strings, r.attacks} {
			if s.percent() < 15 || s.percent() > 40 {
				out[k]++
			}
		}
		all.notes.add(r.notes)
		all.strings.add(r.strings)
		all.attacks.add(r.attacks)
		all.tune += r.tune
		all.kept += r.kept
		rows = append(rows, row{name, r})
	}
	for _, p := range []string{"corpus/abc/*.abc", "corpus/leadsheets/*.mxl"} {
		SharedTunes(t, p, measure)
	}
	measure("the demo", BuiltIn(t))
	slices.SortFunc(rows, func(x, y row) int { return cmp.Compare(x.r.notes.percent(), y.r.notes.percent()) })
	for _, x := range rows {
		t.Logf("%-40s %5.1f %5.1f %5.1f  of %d; tune %d kept %d %v %v", x.name, x.r.notes.percent(), x.r.strings.percent(), x.r.attacks.percent(), x.r.notes.whole/2, x.r.tune, x.r.kept, x.r.where, x.r.bars)
	}
	t.Logf("%d tunes: %.1f %.1f %.1f; outside %v; tune %d kept %d", n, all.notes.percent(), all.strings.percent(), all.attacks.percent(), out, all.tune, all.kept)
}

// TestRepeatsNeedWeights: each weight of what comes again says something in the
// built-in tune, which is gone when it is 0. (What changes first:
// harmony.md 5.4.)
func TestRepeatsNeedWeights(t *testing.T) {
	for _, c := range []struct {
		weight  string
		of      func(*AgainTaste) *float64
		tension string
		says    string
		holds   func(r *again) bool
	}{
		{"Same", func(w *AgainTaste) *float64 { return &w.Same }, "medium", "enough differs", func(r *again) bool { return r.notes.percent() >= 22 }},
		{"Bass", func(w *AgainTaste) *float64 { return &w.Bass }, "medium", "the bass changes before the inner voices", func(r *again) bool { return r.voices[Bass].percent() > r.voices[Inner].percent() }},
		{"Inner", func(w *AgainTaste) *float64 { return &w.Inner }, "medium", "inner voices change too", func(r *again) bool { return r.voices[Inner].percent() >= 22 }},
		{"Figure", func(w *AgainTaste) *float64 { return &w.Figure }, "medium", "the figure stays", func(r *again) bool { return r.times.percent() < 15 }},
		{"Harmony", func(w *AgainTaste) *float64 { return &w.Harmony }, "high", "the harmony stays", func(r *again) bool { return r.harmony == 0 }},
	} {
		for _, zero := range []bool{false, true} {
			taste := DefaultTaste()
			if zero {
				*c.of(&taste.Again) = 0
			}
			a, err := Arrange(BuiltIn(t), Plan{Taste: &taste, Tension: c.tension})
			if err != nil {
				t.Fatal(err)
			}
			if r := sharesOf(a); c.holds(&r) == zero {
				t.Errorf("%s is 0: %v, but that %s is %v (notes %.0f %%, bass %.0f %%, inner %.0f %%, times %.0f %%, %d other scales)", c.weight, zero, c.says, zero,
					r.notes.percent(), r.voices[Bass].percent(), r.voices[Inner].percent(), r.times.percent(), r.harmony)
			}
		}
	}
}

// TestRepeatsOverSheets: over the shared sheets and the built-in tune the second
// time differs by 15 to 40 % in every tune, whether by pitches, by strings and frets
// or by attacks (the project's own bounds); the tune is struck as it was, and so is
// what closes a section.
func TestRepeatsOverSheets(t *testing.T) {
	var all again
	tunes := 0
	measure := func(name string, tune *theory.Tune) {
		a, err := Arrange(tune, Plan{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		r := sharesOf(a)
		if r.notes.whole == 0 {
			return
		}
		tunes++
		for _, s := range []share{r.notes, r.strings, r.attacks} {
			if p := s.percent(); p < 15 || p > 40 {
				t.Errorf("%s: %.1f %% differ, wanted 15 to 40", name, p)
			}
		}
		all.notes.add(r.notes)
		all.tune += r.tune
		if r.kept > 0 {
			t.Errorf("%s: what closes differs: %v", name, r.where)
		}
		if r.voices[Melody].part > 0 {
			t.Errorf("%s: %d notes of the tune are others", name, r.voices[Melody].part)
		}
	}
	for _, p := range []string{"corpus/abc/*.abc", "corpus/leadsheets/*.mxl"} {
		SharedTunes(t, p, measure)
	}
	measure("the built-in tune", BuiltIn(t))
	if tunes < 50 {
		t.Fatalf("%d tunes with repeats: nothing is tried", tunes)
	}
	if p := all.notes.percent(); p < 20 || p > 33 {
		t.Errorf("%.1f %% of the notes differ, wanted 20 to 33", p)
	}
	// the last chord of all may need the string
	if all.tune > 2 {
		t.Errorf("%d notes of the tune on other strings", all.tune)
	}
	t.Logf("%d tunes, %.1f %% of the notes; %d notes of the tune on other strings", tunes, all.notes.percent(), all.tune)
}

// TestRepeatsSame: with SameRepeats what comes again is as it was, to string and
// fret, but for the last bar of all.
func TestRepeatsSame(t *testing.T) {
	tunes := 0
	measure := func(name string, tune *theory.Tune) {
		a, err := Arrange(tune, Plan{SameRepeats: true})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		if r := sharesOf(a); r.strings.whole > 0 {
			tunes++
			if len(r.bars) > 0 {
				t.Errorf("%s: differs in %v", name, r.bars)
			}
		}
	}
	for _, p := range []string{"corpus/abc/*.abc", "corpus/leadsheets/*.mxl"} {
		SharedTunes(t, p, measure)
	}
	measure("the built-in tune", BuiltIn(t))
	if tunes < 50 {
		t.Errorf("%d tunes with repeats: nothing is tried", tunes)
	}
}

// TestRepeatsChoruses: what closes a section is the same in every chorus of the
// built-in tune but the last bars of all, and so is all of it with SameRepeats;
// without it 15 to 40 % differ.
func TestRepeatsChoruses(t *testing.T) {
	for _, same := range []bool{false, true} {
		a, err := Arrange(BuiltIn(t), Plan{Choruses: 3, SameRepeats: same})
		if err != nil {
			t.Fatal(err)
		}
		r := sharesOf(a)
		per := len(a.Bars) / 3
		for _, x := range r.bars {
			label, _, _ := strings.Cut(x, ":")
			i := slices.IndexFunc(a.Bars, func(b Bar) bool { return b.Label == label })
			closes := slices.ContainsFunc(a.Sections, func(s Section) bool { return i >= s.To-2 && i < s.To })
			if (same || closes) && i < 3*per-2 {
				t.Errorf("same %v: %s differs", same, x)
			}
		}
		if p := r.notes.percent(); !same && (p < 15 || p > 40) {
			t.Errorf("%.1f %% differ", p)
		}
	}
}

// TestRepeatsAnyTune: in a drawn tune whose two parts are repeated, nothing but
// its last bar differs with SameRepeats, and without it neither the tune nor the
// bars that close.
func TestRepeatsAnyTune(t *testing.T) {
	chords := []string{"C", "Am7", "Dm7", "G7", "Em7", "F", "E7", "Cmaj7"}
	notes := []string{"c2", "d2", "e2", "g2", "A2", "B2", "G2", "cd", "ef", "ge", "BA", "z2", "c>d"}
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("X:1\nT:drawn\nM:4/4\nL:1/8\nQ:1/4=120\nK:C\n")
		for part := range 2 {
			b.WriteString("|:")
			for bar := range 4 {
				fmt.Fprintf(&b, "\"%s\"", rapid.SampledFrom(chords).Draw(t, "chord"))
				if part+bar == 0 {
					b.WriteString("e2 ")
				} else {
					b.WriteString(rapid.SampledFrom(notes).Draw(t, "note") + " ")
				}
				for range 3 {
					b.WriteString(rapid.SampledFrom(notes).Draw(t, "note") + " ")
				}
				b.WriteString("|")
			}
			b.WriteString(":|\n")
		}
		tune, err := leadsheet.Read(strings.NewReader(b.String()), "drawn.abc", leadsheet.Options{})
		if err != nil {
			t.Skip(err)
		}
		for _, same := range []bool{true, false} {
			a, err := Arrange(tune, Plan{SameRepeats: same})
			if err != nil {
				t.Fatal(err)
			}
			r := sharesOf(a)
			if r.notes.whole == 0 {
				t.Fatal("nothing comes again")
			}
			if len(a.Added) > 0 {
				t.Skip("a turnaround leads to one part and not to the other")
			}
			if r.voices[Melody].part > 0 || r.kept > 0 {
				t.Fatalf("same %v: %d notes of the tune and %d of what closes differ: %v\n%s", same, r.voices[Melody].part, r.kept, r.where, b.String())
			}
			if same && len(r.bars) > 0 {
				t.Fatalf("differs in %v\n%s", r.bars, b.String())
			}
		}
	})
}
