package leadsheet

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

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

// A sheetCase is a sheet with its dump and its warnings.
type sheetCase struct{ name, sheet, want, warnings string }

// checkSheets reads every case. whole makes a file of its sheet; warnings lists
// those of a tune as the cases have them.
func checkSheets(t *testing.T, cases []sheetCase, whole func(string) string, warnings func(*theory.Tune) string) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			tune := mustRead(t, whole(c.sheet), Options{})
			if d := cmp.Diff(c.want, dump(tune)); d != "" {
				t.Errorf("tune (-want +got):\n%s", d)
			}
			if d := cmp.Diff(c.warnings, warnings(tune)); d != "" {
				t.Errorf("warnings (-want +got):\n%s", d)
			}
		})
	}
}

// warnedTexts lists the warnings without their places.
func warnedTexts(t *theory.Tune) string {
	var b strings.Builder
	for _, w := range t.Warnings {
		b.WriteString(w.Text + "\n")
	}
	return b.String()
}

// collections are the patterns of the collections of lead sheets under
// THUMBLINE_DATA.
var collections = slices.Clip([]string{"corpus/abc/*.abc", "corpus/leadsheets/*.mxl"})

// eachSheet gives every file under THUMBLINE_DATA that one of the patterns
// matches. Each of them must match some.
func eachSheet(t *testing.T, patterns []string, check func(name, text string)) {
	t.Helper()
	data := os.Getenv("THUMBLINE_DATA")
	if data == "" {
		t.Skip("THUMBLINE_DATA is not set: the collections are not read")
	}
	for _, pattern := range patterns {
		files, err := filepath.Glob(filepath.Join(data, pattern))
		if err != nil || len(files) == 0 {
			t.Fatalf("no files match %s (%v)", pattern, err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			check(filepath.Base(file), string(text))
		}
	}
}
