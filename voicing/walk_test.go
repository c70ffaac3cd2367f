package voicing

import (
	"testing"

	"thumbline/theory"
)

// A bass that has set out by step goes on by step (common practice, no source).
func TestBassStrays(t *testing.T) {
	for _, x := range []struct {
		before, last, midi int
		want               bool
	}{
		{47, 45, 51, true},  // B A D#: the walk is left by a tritone
		{47, 45, 43, false}, // B A G
		{47, 45, 47, false}, // B A B
		{47, 54, 45, false}, // no step before: a leap may follow a leap
		{0, 45, 51, false},
	} {
		b := bassLine{before: x.before, last: x.last}
		if got := b.strays(x.midi); got != x.want {
			t.Errorf("%d %d then %d: strays %v, wanted %v", x.before, x.last, x.midi, got, x.want)
		}
	}
}

// Plain first, colour after (the models): where the tune comes to
// the natural nine, the flat one does not sound before it.
func TestNoFlatNineBeforeTheNine(t *testing.T) {
	c, err := theory.ParseChord("A7")
	if err != nil {
		t.Fatal(err)
	}
	sp := spot{chord: c, resolves: true, coloured: true}
	flat := (c.RootPC() + 1) % 12
	if p := newPalette(sp); p.cost[flat] >= 1 {
		t.Errorf("a dominant that resolves has no flat nine: %v", p.cost[flat])
	}
	sp.nine = true
	if p := newPalette(sp); p.cost[flat] < none {
		t.Errorf("flat nine at %v though the tune comes to the nine", p.cost[flat])
	}
}
