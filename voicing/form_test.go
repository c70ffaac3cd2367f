package voicing

import (
	"os"
	"path/filepath"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// ownTunes are the built-in tune and the sheets for checks of the whole program:
// major and minor, 4/4, 3/4 and 6/8, with pick-ups and without.
func ownTunes(t *testing.T) map[string]*theory.Tune {
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
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		tune, err := leadsheet.Read(f, filepath.Base(name), leadsheet.Options{})
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		out[filepath.Base(name)] = tune
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
