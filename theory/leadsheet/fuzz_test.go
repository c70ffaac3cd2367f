package leadsheet

import (
	"strings"
	"testing"
)

// addSeeds gives a fuzz target its seeds, and fails without any.
func addSeeds(f *testing.F, seeds []string) {
	f.Helper()
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
}

// readAnything is the property of both targets: a tune that holds together or
// errors with a place inside the file, and the same again for the same bytes.
func readAnything(t *testing.T, in string) {
	tune, err := Read(strings.NewReader(in), "fuzz", Options{})
	again, err2 := Read(strings.NewReader(in), "fuzz", Options{})
	if err != nil {
		if err2 == nil || err.Error() != err2.Error() {
			t.Fatalf("%v, then %v", err, err2)
		}
		if list, ok := err.(ErrorList); !ok || len(list) == 0 {
			t.Fatalf("%T: %v", err, err)
		}
		return
	}
	checkTune(t, tune)
	if dump(tune) != dump(again) || warned(tune) != warned(again) {
		t.Fatal("two readings differ")
	}
}

func FuzzABC(f *testing.F) {
	var seeds []string
	for _, c := range abcCases {
		seeds = append(seeds, abcSheet(c.sheet))
	}
	addSeeds(f, seeds)
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<14 || strings.HasPrefix(strings.TrimSpace(in), "<") {
			t.Skip()
		}
		readAnything(t, in)
	})
}

func FuzzMusicXML(f *testing.F) {
	var seeds []string
	for _, c := range xmlCases {
		seeds = append(seeds, c.sheet)
	}
	seeds = append(seeds, score(fourFour+h("C", "dominant", deg(9, -1, "add"))+n("C5", 48)+sound(`tempo="90"`)))
	addSeeds(f, seeds)
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<15 {
			t.Skip()
		}
		readAnything(t, in)
	})
}
