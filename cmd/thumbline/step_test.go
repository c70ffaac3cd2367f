package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thumbline/midiio"
)

// What keys strike and roll, of six grips; the fourth has the key 4.
func TestStepping(t *testing.T) {
	for _, c := range []struct{ keys, want string }{
		{"space space space space", "strike 1, roll 1, strike 2, roll 2"},
		{"n n space", "strike 1, strike 2, roll 2"},
		{"space b b", "strike 1, strike 6, strike 5"},
		{"b", "strike 6"},
		{"4 4 4 space", "strike 4, roll 4, strike 4, roll 4"},
		{"space 4 space space", "strike 1, strike 4, roll 4, strike 5"},
		{"6 space space", "strike 6, roll 6, strike 1"},
		{"z", ""},
	} {
		s := stepping{n: 6, at: -1}
		var got []string
		for i, k := range strings.Fields(c.keys) {
			goTo := strings.Index("123456", k)
			switch s.press(k, goTo, t0.Add(time.Duration(i)*time.Second)) {
			case strike:
				got = append(got, fmt.Sprintf("strike %d", s.at+1))
			case roll:
				got = append(got, fmt.Sprintf("roll %d", s.at+1))
			}
		}
		if g := strings.Join(got, ", "); g != c.want {
			t.Errorf("%s: %s, want %s", c.keys, g, c.want)
		}
	}
}

// A held key strikes once.
func TestSteppingBounce(t *testing.T) {
	s := stepping{n: 6, at: -1}
	n := 0
	for i := range 20 {
		if s.press("space", -1, t0.Add(time.Duration(i)*30*time.Millisecond)) != nothing {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d times", n)
	}
}

// stepped is a stepper without a sound, and what it was asked to sound last.
func stepped(t *testing.T, args ...string) (*stepper, *[]midiio.LiveNote) {
	t.Helper()
	c := conducted(t, append([]string{"hear"}, args...)...)
	var notes []midiio.LiveNote
	now := t0
	s, err := newStepper(c.p, func() time.Time { now = now.Add(time.Second); return now },
		func(ns []midiio.LiveNote) bool { notes = ns; return true }, func() {})
	if err != nil {
		t.Fatal(err)
	}
	return s, &notes
}

// A grip sounds on its strings at the pitches it has there, struck almost at
// once or, rolled, a string each third of a second, from the low one up.
func TestStepSounds(t *testing.T) {
	s, notes := stepped(t, "--bars", "1-4")
	show := func() string {
		var b strings.Builder
		for _, n := range *notes {
			fmt.Fprintf(&b, "%d:%d@%d ", n.Channel+1, n.Key, n.Delay.Milliseconds())
		}
		return strings.TrimSpace(b.String())
	}
	// G69 is x 10 7 9 x 7: A string 45+10, D 50+7, G 55+9, e 64+7 (MIDI 1.0: middle C is 60)
	s.press("space")
	if got, want := show(), "5:55@0 4:57@6 3:64@12 1:71@18"; got != want {
		t.Errorf("struck %s, want %s", got, want)
	}
	first := (*notes)[0].Velocity
	s.press("space")
	if got, want := show(), "5:55@0 4:57@350 3:64@700 1:71@1050"; got != want {
		t.Errorf("rolled %s, want %s", got, want)
	}
	for range 4 {
		s.press("n")
	}
	if last := (*notes)[0].Velocity; first >= last {
		t.Errorf("the first grip is as loud as the others: %d, %d", first, last)
	}
	s, notes = stepped(t, "--bars", "1-4", "--only", "melody,bass")
	s.press("space")
	if got, want := show(), "5:55@0 1:71@6"; got != want {
		t.Errorf("bass and tune: %s, want %s", got, want)
	}
}

func TestStepPages(t *testing.T) {
	for _, c := range []struct{ name, args, keys string }{
		{"step", "--bars 1-4", ""},
		{"step-struck", "--bars 1-4", "space n"},
		{"step-rolled", "--phrase 6", "4 4"},
	} {
		s, _ := stepped(t, strings.Fields(c.args)...)
		for _, k := range strings.Fields(c.keys) {
			s.press(k)
		}
		var b strings.Builder
		fmt.Fprintf(&b, "thumbline hear --step %s, then %s\n", c.args, c.keys)
		for _, size := range [][2]int{{80, 24}, {120, 40}, {40, 12}} {
			fmt.Fprintf(&b, "\n%d x %d\n%s", size[0], size[1], shownIn(s.page(), size[0], size[1]))
		}
		golden(t, filepath.Join("testdata", "page", c.name+".txt"), b.String())
	}
}

// Lines typed step through the grips, and the end of them ends it.
func TestStepByLines(t *testing.T) {
	e, out, errs := testEnv(fakeSound("paced"))
	e.stdin = strings.NewReader("\n\n\nw\n1\n")
	if st := run(context.Background(), []string{"hear", "--step", "--bars", "1-2"}, e); st != statusOK || errs.String() != "" {
		t.Fatalf("status %d, %q", st, errs)
	}
	want := `Lamplight on the Weir, key G, bars 1-2, 3 grips, one at a time
Enter strikes the next grip; again, and it is rolled from low to high; Ctrl-C ends.
1 of 3, at 1:1: G69  x 10 7 9 x 7  fingers - 4 1 3 - 1
  to take it: 1 comes down on the barre D high E 7; 3 comes down on G 9; 4 comes down on A 10
low to high: G69: string A fret 10 finger 4, string D fret 7 finger 1, string G fret 9 finger 3, string high E fret 7 finger 1 too
2 of 3, at 2:1: Bm7b5  7 x 7 7 6 x  fingers 2 - 3 4 1 -
`
	if got := out.String(); !strings.HasPrefix(got, want) || !strings.Contains(got, "2 of 3, at 2:1: Bm7 flat 5: string E fret 7 finger 2") || !strings.HasSuffix(got, "1 comes down on the barre D high E 7; 3 comes down on G 9; 4 comes down on A 10\n") {
		t.Errorf("said\n%s", got)
	}
}
