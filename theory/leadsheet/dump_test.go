package leadsheet

import (
	"fmt"
	"strings"
	"testing"

	"thumbline/theory"
)

// dump writes a tune so that a musician can check it: a line a bar with label,
// melody (pitch:length in quarters, z a rest, a note in the bar where it
// starts) and chord symbols (@ quarters from the bar's start).
func dump(t *theory.Tune) string {
	var b strings.Builder
	for _, bar := range t.Bars {
		end := bar.At.Add(bar.Len)
		fmt.Fprintf(&b, "%s:", bar.Label)
		now := bar.At
		for _, n := range t.Melody {
			if n.At.Less(bar.At) && bar.At.Less(n.At.Add(n.Len)) {
				now = n.At.Add(n.Len)
			}
			if n.At.Less(bar.At) || !n.At.Less(end) {
				continue
			}
			if now.Less(n.At) {
				fmt.Fprintf(&b, " z:%s", n.At.Sub(now))
			}
			b.WriteByte(' ')
			for _, g := range n.Grace {
				fmt.Fprintf(&b, "{%s}", g)
			}
			fmt.Fprintf(&b, "%s:%s", n.Pitch, n.Len)
			now = n.At.Add(n.Len)
		}
		if now.Less(end) {
			fmt.Fprintf(&b, " z:%s", end.Sub(now))
		}
		sep := " |"
		for _, c := range t.Changes {
			if c.At.Less(bar.At) || !c.At.Less(end) {
				continue
			}
			fmt.Fprintf(&b, "%s %s", sep, c.Chord)
			if c.At != bar.At {
				fmt.Fprintf(&b, "@%s", c.At.Sub(bar.At))
			}
			sep = ""
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// warned lists the warnings with their places.
func warned(t *theory.Tune) string {
	var b strings.Builder
	for _, w := range t.Warnings {
		fmt.Fprintf(&b, "%d:%d %s\n", w.Line, w.Col, w.Text)
	}
	return b.String()
}

// mustRead reads a sheet of the tests and checks what holds for all tunes.
func mustRead(t *testing.T, sheet string, opt Options) *theory.Tune {
	t.Helper()
	tune, err := Read(strings.NewReader(sheet), "test", opt)
	if err != nil {
		t.Fatalf("%v\nin:\n%s", err, sheet)
	}
	checkTune(t, tune)
	return tune
}

// checkTune holds for every tune that is read.
func checkTune(t *testing.T, tune *theory.Tune) {
	t.Helper()
	if err := tune.Validate(); err != nil {
		t.Fatal(err)
	}
	labels := make(map[string]bool)
	for _, b := range tune.Bars {
		if labels[b.Label] {
			t.Fatalf("the label %s is given twice", b.Label)
		}
		labels[b.Label] = true
		if p, err := theory.ParsePlace(b.Label); err != nil || p.String() != b.Label {
			t.Fatalf("the label %q is no place: %v", b.Label, err)
		}
		if b.Len.Cmp(theory.Time{}) <= 0 || b.Beat.Cmp(theory.Time{}) <= 0 {
			t.Fatalf("bar %s: length %s, beat %s", b.Label, b.Len, b.Beat)
		}
	}
	for _, n := range tune.Melody {
		if m := n.Pitch.MIDI(); m < 0 || m > 127 || n.Len.Cmp(theory.Time{}) <= 0 {
			t.Fatalf("note %s of length %s", n.Pitch, n.Len)
		}
	}
	if len(tune.Melody) == 0 || len(tune.Changes) == 0 || len(tune.Phrases) == 0 {
		t.Fatal("a tune without notes, chord symbols or phrases")
	}
}
