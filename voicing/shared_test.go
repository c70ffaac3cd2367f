package voicing

import (
	"os"
	"path/filepath"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// SharedTunes reads the shared lead sheets of one pattern; what cannot be read
// is told. Without the shared data the test is skipped.
func SharedTunes(t *testing.T, pattern string, use func(name string, tune *theory.Tune)) {
	t.Helper()
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no shared sheets to arrange")
	}
	files, err := filepath.Glob(filepath.Join(dir, pattern))
	if err != nil || len(files) == 0 {
		t.Fatalf("no %s among the shared data (%v)", pattern, err)
	}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		tune, err := leadsheet.Read(f, filepath.Base(name), leadsheet.Options{})
		f.Close()
		if err != nil {
			t.Log(err) // a sheet without chord symbols
			continue
		}
		use(filepath.Base(name), tune)
	}
}
