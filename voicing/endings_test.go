package voicing

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

var endingsSeen = flag.Bool("endings", false, "log every close that is at fault")

// closeFault says what is wrong with how an arrangement ends on a chord: its
// third sounds in the last chord, the last attack stands on its root. Empty
// where nothing is.
func closeFault(a *Arrangement, home theory.Chord) string {
	if len(a.Notes) == 0 {
		return "silent"
	}
	last := a.Notes[len(a.Notes)-1].At
	grip := last
	if n := len(a.Grips); n > 0 {
		grip = min(last, a.Grips[n-1].At)
	}
	low := 999
	var sounds theory.PCSet
	for _, n := range a.Notes {
		if n.At == last {
			low = min(low, n.MIDI)
		}
		if n.At >= grip || n.At+n.Dur > last {
			sounds = sounds.With(n.MIDI)
		}
	}
	var faults []string
	if third, ok := home.ThirdPC(); ok && !sounds.Has(third) {
		faults = append(faults, "no third")
	}
	if low%12 != home.RootPC() {
		faults = append(faults, fmt.Sprintf("the last attack stands on %d", low))
	}
	return strings.Join(faults, ", ")
}

func demoTune(t testing.TB) *theory.Tune {
	t.Helper()
	text, err := os.ReadFile("../cmd/thumbline/demo.abc")
	if err != nil {
		t.Fatal(err)
	}
	tune, err := leadsheet.Read(strings.NewReader(string(text)), "demo.abc", leadsheet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return tune
}

// TestEndingsOfSheets: every sheet closes, with every kind of ending.
func TestEndingsOfSheets(t *testing.T) {
	for _, kind := range strings.Fields("straight tag vamp run") {
		for _, pattern := range []string{"corpus/leadsheets/*.mxl", "corpus/abc/*.abc"} {
			n, bad := 0, 0
			SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
				a, err := Arrange(tune, Plan{Ending: kind})
				if err != nil {
					t.Errorf("%s: %v", name, err)
					return
				}
				n++
				f := newFrame(tune, StandardNeck())
				if f.home.Root == (theory.Name{}) {
					return
				}
				home := f.home
				if _, ok := f.insteadOfTurn(); ok || kind != "straight" {
					home = f.tonic
				}
				if fault := closeFault(a, home); fault != "" {
					bad++
					if *endingsSeen {
						t.Logf("%s %s ends on %v: %s", kind, name, home, fault)
					}
				}
			})
			t.Logf("ending %q, %s: %d of %d close", kind, pattern, n-bad, n)
			if bad > 0 {
				t.Errorf("ending %q, %s: %d of %d do not close", kind, pattern, bad, n)
			}
		}
	}
}
