package voicing

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
)

// drawPlan is any form and setting, with whatever else may be asked for on a
// standard neck.
func drawPlan(t *rapid.T) Plan {
	p := Plan{
		Setting:     rapid.SampledFrom([]string{"", "trio"}).Draw(t, "setting"),
		Intro:       rapid.SampledFrom([]string{"", "", "last", "last:2", "pedal", "vamp", "vamp:2"}).Draw(t, "intro"),
		Ending:      rapid.SampledFrom([]string{"", "none", "straight:2", "tag", "tag:2", "vamp", "run", "run:2"}).Draw(t, "ending"),
		Choruses:    rapid.SampledFrom([]int{1, 1, 1, 1, 2, 2, 3}).Draw(t, "choruses"),
		SameRepeats: rapid.IntRange(0, 4).Draw(t, "same repeats") == 0,
		Ritardando:  rapid.IntRange(0, 3).Draw(t, "ritardando") == 0,
		Density:     rapid.SampledFrom(densityWords).Draw(t, "density"),
		Tension:     rapid.SampledFrom([]string{"", "low", "high"}).Draw(t, "tension"),
		Phrasing:    rapid.SampledFrom([]string{"", "relaxed"}).Draw(t, "phrasing"),
		Feel:        rapid.SampledFrom([]string{"", "straight", "bossa"}).Draw(t, "feel"),
	}
	if p.Choruses > 1 {
		p.Comp = rapid.IntRange(0, p.Choruses).Draw(t, "comp")
	}
	return p
}

// TestAnyForm: whatever the sheet, form and setting, the tune is whole and on top,
// a hand holds what sounds and nothing had to be left out for it, the bars have
// their own labels and are covered by what they belong to, the company of a trio
// is right, and the same comes out again.
func TestAnyForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := songTune(t)
		p := drawPlan(t)
		a, err := Arrange(tune, p)
		if err != nil {
			t.Skip(err) // told: the neck is too short, or there is no such ending
		}
		formRight(t, tune, p, a)
		if rapid.IntRange(0, 7).Draw(t, "again") == 0 {
			again, err := Arrange(tune, p)
			if d := cmp.Diff(a, again); err != nil || d != "" {
				t.Fatalf("a second time (%v):\n%s", err, d)
			}
		}
	})
}

// TestRelaxedAgain: a note that comes before its chord belongs to that chord, also
// where it is played again: its finger is the grip's, and no note of the grip has
// to be left out. The sheets come by their repeats with and without a change of
// what follows.
func TestRelaxedAgain(t *testing.T) {
	early := 0
	for name, tune := range ownTunes(t) {
		for _, p := range []Plan{{Phrasing: "relaxed"}, {Phrasing: "relaxed", Setting: "trio"}} {
			a, err := Arrange(tune, p)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range a.Melody {
				if m.Moved < 0 {
					early++
				}
			}
			t.Run(name, func(t *testing.T) { formRight(t, tune, p, a) })
		}
	}
	if early == 0 {
		t.Error("no note comes early")
	}
}

// TestFirstBarUnderOldChord: a first bar without a chord of its own is played under
// what the chorus before ended on, so what comes again there begins inside a
// stretch. A chord that comes early with the second bar's note is struck once, by
// its own point; and what rings over into the bar is held with the tune on the
// string it had the time before.
func TestFirstBarUnderOldChord(t *testing.T) {
	for _, bars := range []string{`G3Bc2c2|"C"c8|"C6"C6|`, `G3Bc2c2|"C"c8|"G7"f8|"Dm7"f3dc2B2|"C6"C6|`} {
		tune := readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4=108\nK:C\n"+bars+"\n")
		for _, p := range []Plan{{Comp: 1}, {Comp: 1, SameRepeats: true}, {Comp: 3}} {
			for _, setting := range []string{"", "trio"} {
				p.Choruses, p.Phrasing, p.Density, p.Setting, p.Ending = 3, "relaxed", "full", setting, "none"
				a, err := Arrange(tune, p)
				if err != nil {
					t.Fatal(err)
				}
				t.Run(fmt.Sprintf("%d bars %s comp %d", len(tune.Bars), setting, p.Comp), func(t *testing.T) { formRight(t, tune, p, a) })
			}
		}
	}
}

// TestNothingRingsBehindTheEnd: what comes again in the last bar stops with the
// music, where it rang over into the next chorus the time before.
func TestNothingRingsBehindTheEnd(t *testing.T) {
	tune := readABC(t, "X:1\nM:C|\nL:1/16\nQ:1/4=60\nK:C\n\"A13\"^D16-|^D12\"Gdim7\"^C4|^D4^C4E8|\n")
	for _, ending := range []string{"none", "straight:2"} {
		p := Plan{Setting: "trio", Feel: "bossa", Tension: "high", Density: "full", Choruses: 3, Comp: 1, Ending: ending}
		a, err := Arrange(tune, p)
		if err != nil {
			t.Fatal(err)
		}
		formRight(t, tune, p, a)
	}
}

// formRight is what holds of every arrangement.
func formRight(t fataler, tune *theory.Tune, p Plan, a *Arrangement) {
	if p.Setting == "trio" {
		check(t, a)
		for _, n := range a.Notes {
			if n.Voice == Bass || n.Voice == Inner && n.MIDI < lowestInner {
				t.Fatalf("%+v: %d at %d is the bass player's", p, n.MIDI, n.At)
			}
		}
		if faults := timeFaults(a); len(faults) > 0 {
			t.Fatalf("%+v: %v", p, faults)
		}
	} else {
		check(t, a)
		if len(a.Bassist)+len(a.Time) > 0 {
			t.Fatalf("%+v: company in solo", p)
		}
	}
	for _, x := range a.Warnings {
		if strings.Contains(x, "the hand could not take them") {
			t.Fatalf("%+v: %s", p, x)
		}
	}

	at, labels := Tick(0), map[string]bool{}
	for _, b := range a.Bars {
		if b.At != at || b.Len < 1 || labels[b.Label] {
			t.Fatalf("%+v: bar %s at %d after %d, %d long", p, b.Label, b.At, at, b.Len)
		}
		at, labels[b.Label] = b.At+b.Len, true
	}
	for _, n := range a.Notes {
		if n.At < 0 || n.At+n.Dur > at {
			t.Fatalf("%+v: %d at %d for %d lies outside the bars", p, n.MIDI, n.At, n.Dur)
		}
	}
	from, to := 0, len(a.Bars) // of the tune
	for _, x := range a.Sections {
		switch x.Name {
		case IntroName:
			if x.From != 0 {
				t.Fatalf("%+v: the introduction begins in bar %d", p, x.From)
			}
			from = x.To
		case EndingName:
			if x.To != len(a.Bars) {
				t.Fatalf("%+v: the ending ends before bar %d of %d", p, x.To, len(a.Bars))
			}
			to = x.From
		}
	}
	choruses := a.Choruses
	if p.Choruses < 2 && len(choruses) == 0 {
		choruses = []Section{{"once through", from, to}}
	}
	if len(choruses) != max(p.Choruses, 1) {
		t.Fatalf("%+v: %d choruses", p, len(choruses))
	}
	next := from
	for _, x := range choruses {
		if x.From != next || x.To <= x.From {
			t.Fatalf("%+v: %s from bar %d to %d, wanted from %d", p, x.Name, x.From, x.To, next)
		}
		next = x.To
	}
	if next != to {
		t.Fatalf("%+v: the choruses end before bar %d, what follows begins in %d", p, next, to)
	}

	// The tune as often as it is played, in order; a pick-up may have no place.
	var want []string
	up := 0 // notes of the pick-up
	for _, n := range tune.Melody {
		if tune.Bars[0].IsPickup() && n.At.Less(tune.Bars[0].Len) {
			up++
		}
	}
	got := make([][]string, len(choruses))
	shift := 0
	if len(a.Melody) > 0 && p.Comp != 1 {
		shift = a.Melody[0].MIDI - tune.Melody[0].Pitch.MIDI()
	} else if len(a.Melody) > 0 {
		shift = a.Transposition
	}
	for _, n := range tune.Melody {
		want = append(want, fmt.Sprint(n.Pitch.MIDI()+shift))
	}
	for _, m := range a.Melody {
		for i, c := range choruses {
			// a note that is phrased early may lie before its bar line
			if m.At >= a.Bars[c.From].At && m.At < a.Bars[c.To-1].At+a.Bars[c.To-1].Len {
				got[i] = append(got[i], fmt.Sprint(m.MIDI))
			}
		}
	}
	for i := range got {
		switch w, g := strings.Join(want, " "), strings.Join(got[i], " "); {
		case i+1 == p.Comp:
			if g != "" {
				t.Fatalf("%+v: chorus %d has the tune", p, i+1)
			}
		case g != w && (i == 0 && p.Intro == "" || !strings.HasSuffix(w, g) || len(want)-len(got[i]) > up):
			t.Fatalf("%+v: chorus %d has %s, the tune is %s", p, i+1, g, w)
		}
	}
}
