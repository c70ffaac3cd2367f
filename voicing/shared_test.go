package voicing

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// read reads a lead sheet from a file.
func read(name string) (*theory.Tune, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return leadsheet.Read(f, filepath.Base(name), leadsheet.Options{})
}

// ReadSheet reads a lead sheet of the repository.
func ReadSheet(t testing.TB, name string) *theory.Tune {
	t.Helper()
	tune, err := read(name)
	if err != nil {
		t.Fatal(err)
	}
	return tune
}

// BuiltIn is the built-in tune.
func BuiltIn(t testing.TB) *theory.Tune {
	t.Helper()
	return ReadSheet(t, "../cmd/thumbline/demo.abc")
}

// readABC reads a lead sheet that a test has itself.
func readABC(t testing.TB, abc string) *theory.Tune {
	t.Helper()
	tune, err := leadsheet.Read(strings.NewReader(abc), "test.abc", leadsheet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return tune
}

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
		tune, err := read(name)
		var unread *fs.PathError
		switch {
		case errors.As(err, &unread):
			t.Fatal(err)
		case err != nil:
			t.Log(err) // a sheet without chord symbols
			continue
		}
		use(filepath.Base(name), tune)
	}
}
