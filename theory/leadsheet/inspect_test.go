package leadsheet

import (
	"fmt"
	"strings"
	"testing"

	"thumbline/theory"
)

// states is a line a bar: label, what it holds of what, and what there is.
func states(in *Inspection) string {
	var b strings.Builder
	for _, x := range in.Bars {
		fmt.Fprintf(&b, "%s: %s/%s notes %d symbols %d", x.Label, x.Holds, x.Full, x.Notes, x.Symbols)
		for _, mark := range []struct {
			on   bool
			name string
		}{{x.Under, " under"}, {x.Wrong, " wrong"}, {x.Empty(), " empty"}, {x.Done(), " done"}, {len(x.Faults) > 0, " faulty"}} {
			if mark.on {
				b.WriteString(mark.name)
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func inspected(t *testing.T, text string) *Inspection {
	t.Helper()
	in, err := Inspect(strings.NewReader(text), "test", Options{})
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func TestInspectHalfTyped(t *testing.T) {
	in := inspected(t, `X:1
M:4/4
L:1/4
K:Eb
"Eb6"G2 B2 | "Cm7"c2 | ""Bcde | "Fmoo7"c4 |
"Bb7"Z | ""c2 "what7"d2 | ""Z | ""Z |]
`)
	want := `1: 4/4 notes 2 symbols 1 done
2: 2/4 notes 1 symbols 1 under wrong
3: 4/4 notes 4 symbols 0 under done
4: 4/4 notes 1 symbols 0 under faulty
5: 4/4 notes 0 symbols 1 under
6: 4/4 notes 2 symbols 0 under done
7: 4/4 notes 0 symbols 0 under empty
8: 4/4 notes 0 symbols 0 under empty
`
	if got := states(in); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	if !in.HalfTyped() || len(in.Faults) != 1 {
		t.Errorf("half-typed %v, faults %v", in.HalfTyped(), in.Faults)
	}
}

// A fault belongs to the bar whose notes follow it, over ends of lines too.
func TestInspectFaultsInBars(t *testing.T) {
	in := inspected(t, `X:1
M:4/4
L:1/4
K:C
"C6"C4 | "C6"D2 "Cwhat"D2 | "Cwhat" E4 |
"Cwhat"F4 | "C6"G4 "Cwhat" |
"C6"A4 |]
`)
	var got []string
	for _, b := range in.Bars {
		if len(b.Faults) > 0 {
			got = append(got, b.Label)
		}
	}
	if s := strings.Join(got, " "); s != "2 3 4 5" {
		t.Errorf("faults in bars %s, want 2 3 4 5", s)
	}
}

// An empty sheet is refused by Read and looked at by Inspect, whatever it was
// made of.
func TestWriteEmpty(t *testing.T) {
	key, err := theory.ParseKey("Eb")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []Empty{
		{Bars: 32, Key: key}, {Bars: 1}, {Bars: 9, Metre: theory.Metre{Num: 6, Den: 8}, BPM: 150, Pickup: theory.Quarters(1, 2)},
		{Title: "Two % or & more", Bars: 1000, Metre: theory.Metre{Num: 3, Den: 4}, Pickup: theory.Quarters(1, 4)},
	} {
		var b strings.Builder
		if err := WriteEmpty(&b, e); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(strings.NewReader(b.String()), "test", Options{}); err == nil {
			t.Error("Read takes a sheet without notes")
		}
		in := inspected(t, b.String())
		if in.Tune == nil || !in.HalfTyped() {
			t.Fatalf("not half-typed: %v\n%s", in.Faults, b.String())
		}
		bars := e.Bars
		if e.Pickup != (theory.Time{}) {
			bars++
			if got := in.Tune.Bars[0]; got.Label != "0" || got.Len != e.Pickup {
				t.Errorf("the pick-up is bar %s of length %s", got.Label, got.Len)
			}
		}
		if len(in.Bars) != bars || in.Tune.Title != e.Title || in.Tune.Key != e.Key {
			t.Errorf("%d bars, title %q, key %s in\n%s", len(in.Bars), in.Tune.Title, in.Tune.Key, b.String())
		}
		for _, x := range in.Bars {
			if !x.Empty() || x.Wrong {
				t.Errorf("bar %s: %+v", x.Label, x)
			}
		}
		if len(in.Tune.Warnings) > 0 {
			t.Errorf("warnings: %v", in.Tune.Warnings)
		}
	}
	for _, e := range []Empty{{}, {Bars: 1001}, {Bars: 1, Pickup: theory.Quarters(4, 1)}, {Bars: 1, Pickup: theory.Quarters(1, 3)}, {Bars: 1, BPM: 1e9}, {Bars: 1, Metre: theory.Metre{Num: 4, Den: 5}}} {
		if err := WriteEmpty(&strings.Builder{}, e); err == nil {
			t.Errorf("%+v is taken", e)
		}
	}
}

// Inspect says of a complete sheet what Read says.
func TestInspectAgreesWithRead(t *testing.T) {
	eachSheet(t, collections, func(name, text string) {
		tune, err := Read(strings.NewReader(text), name, Options{})
		in := inspected(t, text)
		if (err == nil) != (len(in.Faults) == 0) {
			t.Errorf("%s: Read says %v, Inspect %v", name, err, in.Faults)
		}
		if err != nil || in.Tune == nil {
			return
		}
		if l := differences(tune, in.Tune); l != (loss{}) {
			t.Errorf("%s: %+v", name, l)
		}
		if in.HalfTyped() {
			t.Errorf("%s is taken for half-typed:\n%s", name, states(in))
		}
	})
}

// A bar that makes up a full one with the pick-up when the part is played again
// is right, though the line goes on from it without a pick-up.
func TestInspectBarRightOnce(t *testing.T) {
	in := inspected(t, "X:1\nM:4/4\nL:1/4\nK:C\n|: G | \"C6\"C4 | D3 :|\n\"G7\"E4 | F3 | \"C6\"G4 | C4 |]\n")
	var got []string
	for _, b := range in.Bars {
		if b.Wrong {
			got = append(got, b.Label)
		}
	}
	if s := strings.Join(got, " "); s != "4" || len(in.Tune.Warnings) != 2 {
		t.Errorf("wrong: %s; warnings %v", s, in.Tune.Warnings)
	}
}

// Where a fault tells why the notes are missing, nothing else says that they
// are.
func TestInspectOneReason(t *testing.T) {
	in := inspected(t, "X:1\nL:1/4\nM:4/4\nK:C\n\"C\"c5000|\n")
	if got, want := in.Faults.Error(), "test:5:4: the length of this note is out of range (write the length as a figure from 1 to 1024)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
