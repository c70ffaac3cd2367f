package voicing

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// A again is what differs in the bars of an arrangement that come again.
type again struct {
	notes, strings, attacks share
	tune, kept              int // notes of the tune, and notes of the bars that close, that differ
	where                   []string
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
		if os.Getenv("REPEATS_REPORT") == "same" && r.where == nil || len(r.where) > 0 && os.Getenv("REPEATS_REPORT") == "same" {
			if d := diff(func(n Note) string { return fmt.Sprint(n.At, n.MIDI, n.Voice, n.String, n.Fret) }).part; d > 0 {
				r.where = append(r.where, fmt.Sprintf("%s: %d", bar.Label, d))
			}
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
	measure("the demo", builtIn(t))
	slices.SortFunc(rows, func(x, y row) int { return cmp.Compare(x.r.notes.percent(), y.r.notes.percent()) })
	for _, x := range rows {
		t.Logf("%-40s %5.1f %5.1f %5.1f  of %d; tune %d kept %d %v", x.name, x.r.notes.percent(), x.r.strings.percent(), x.r.attacks.percent(), x.r.notes.whole/2, x.r.tune, x.r.kept, x.r.where)
	}
	t.Logf("%d tunes: %.1f %.1f %.1f; outside %v; tune %d kept %d", n, all.notes.percent(), all.strings.percent(), all.attacks.percent(), out, all.tune, all.kept)
}

// builtIn is the built-in tune.
func builtIn(t *testing.T) *theory.Tune {
	t.Helper()
	f, err := os.Open("../cmd/thumbline/demo.abc")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	tune, err := leadsheet.Read(f, "demo.abc", leadsheet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return tune
}
