package leadsheet

import (
	"archive/zip"
	"bytes"
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
	for _, c := range abcStandard {
		seeds = append(seeds, c.sheet)
	}
	for _, d := range decided {
		seeds = append(seeds, abcSheet(`"`+d.symbol+`"c4|`))
	}
	addSeeds(f, append(seeds, collection))
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<14 || strings.HasPrefix(strings.TrimSpace(in), "<") {
			t.Skip()
		}
		readAnything(t, in)
		list, err := List(strings.NewReader(in), "fuzz")
		if err != nil {
			return
		}
		for _, e := range list[:min(len(list), 4)] { // each is found by its number and title, or it is told why not
			if e.line < 1 || e.col < 1 {
				t.Fatalf("the tune %+v has no place", e)
			}
			if _, err := Read(strings.NewReader(in), "fuzz", Options{Number: e.Number, Title: e.Title}); err != nil {
				if list, ok := err.(ErrorList); !ok || len(list) == 0 || strings.Contains(err.Error(), "there is no tune") {
					t.Fatalf("%+v: %v", e, err)
				}
			}
		}
	})
}

func FuzzMusicXML(f *testing.F) {
	var seeds []string
	for _, c := range xmlCases {
		seeds = append(seeds, c.sheet)
	}
	for _, c := range xmlStandardCases {
		seeds = append(seeds, c.sheet)
	}
	one := score(fourFour + h("C", "dominant", deg(9, -1, "add")) + n("C5", 48) + sound(`tempo="90"`))
	seeds = append(seeds, one, wide(one))
	addSeeds(f, seeds)
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<15 || strings.HasPrefix(in, "PK") {
			t.Skip()
		}
		readAnything(t, in)
		if got := allocated(in); got > mostAllocated(len(in)) {
			t.Fatalf("%d bytes allocated for %d", got, len(in))
		}
	})
}

// FuzzCompressed takes what is around a score: the container and the files.
func FuzzCompressed(f *testing.F) {
	one := score(fourFour + h("C", "major") + n("C5", 48))
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, file := range [][2]string{{"META-INF/container.xml", `<container><rootfiles><rootfile full-path="s.xml"/></rootfiles></container>`}, {"s.xml", one}} {
		w, err := z.CreateHeader(&zip.FileHeader{Name: file[0], Method: zip.Store})
		if err == nil {
			_, err = w.Write([]byte(file[1]))
		}
		if err != nil {
			f.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		f.Fatal(err)
	}
	addSeeds(f, []string{b.String(), "PK\x05\x06" + strings.Repeat("\x00", 18)})
	f.Fuzz(func(t *testing.T, in string) {
		if len(in) > 1<<14 || !strings.HasPrefix(in, "PK") {
			t.Skip()
		}
		readAnything(t, in)
	})
}
