package voicing

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// readSheet reads a lead sheet of the repository.
func readSheet(t *testing.T, name string) *theory.Tune {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	tune, err := leadsheet.Read(f, filepath.Base(name), leadsheet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return tune
}

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
		tune := readSheet(t, name)
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

var _ = slices.Contains[[]int]
var _ = rapid.Check
