package sheet

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thumbline/theory"
	"thumbline/voicing"
)

func TestCut(t *testing.T) {
	a := small()
	a.Tempi = append(a.Tempi, voicing.TempoMark{At: 8 * q, BPM: 90})
	before := small()
	c := Cut(a, 2, 4) // bars 2 and 1/2
	if got := []string{c.Bars[0].Label, c.Bars[1].Label}; c.Bars[0].At != 0 || c.Bars[1].At != 3*q || got[0] != "2" || got[1] != "1/2" {
		t.Errorf("bars %+v", c.Bars)
	}
	if d := cmp.Diff([]voicing.TempoMark{{At: 0, BPM: 120}, {At: 3 * q, BPM: 90}}, c.Tempi); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]voicing.Section{{Name: "A", From: 0, To: 1}, {Name: "B", From: 1, To: 2}}, c.Sections); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]theory.Phrase{{From: 0, To: 1}, {From: 1, To: 2}}, c.Phrases); d != "" {
		t.Error(d)
	}
	if len(c.Melody) != 5 || c.Melody[0].At != 0 || c.Melody[4].At != 6*q+q/2 {
		t.Errorf("melody %+v", c.Melody)
	}
	if len(c.Grips) != 2 || c.Grips[1].Bar != 1 || c.Grips[1].At != 3*q {
		t.Errorf("grips %+v", c.Grips)
	}
	for _, n := range c.Notes {
		if n.At < 0 || n.At+n.Dur > 7*q {
			t.Errorf("note outside: %+v", n)
		}
	}
	before.Tempi = a.Tempi
	if d := cmp.Diff(before, a); d != "" {
		t.Errorf("the arrangement itself was changed:\n%s", d)
	}

	// What is let go is told of where it stands, and no longer when the end of the
	// cut comes first.
	if len(c.LetGo) != 1 || c.LetGo[0].At != 3*q || c.LetGo[0].Early != 57 || len(a.LetGo) != 2 {
		t.Errorf("let go %+v", c.LetGo)
	}
	long := small()
	long.Notes[14].Dur, long.LetGo[1].Dur = 5*q, 5*q
	if c := Cut(long, 3, 4); len(c.LetGo) != 0 || c.Notes[1].Dur != 4*q || c.Notes[1].Early != 0 || c.Notes[1].Ends != voicing.EndMeant {
		t.Errorf("let go %+v, note %+v", c.LetGo, c.Notes[1])
	}
	long.Notes[14].Dur, long.Notes[14].Early, long.LetGo[1].Dur, long.LetGo[1].Early = 4*q-10, 57, 4*q-10, 57
	if c := Cut(long, 3, 4); len(c.LetGo) != 1 || c.LetGo[0].Early != 10 || c.Notes[1].Early != 10 {
		t.Errorf("let go %+v, note %+v", c.LetGo, c.Notes[1])
	}

	// Choruses are cut as sections are; what is put in stays without a number.
	f := formed()
	c = Cut(f, 2, 5)
	if d := cmp.Diff([]voicing.Section{{Name: "chorus 1", From: 0, To: 1}, {Name: "chorus 2", From: 1, To: 2}}, c.Choruses); d != "" {
		t.Error(d)
	}
	var numbers []int
	for i := range c.Phrases {
		numbers = append(numbers, c.PhraseNumber(i))
	}
	if d := cmp.Diff([]int{0, 1, 2, 0}, numbers); d != "" {
		t.Errorf("phrases (-want +got):\n%s", d)
	}
	if c := Cut(f, 1, 3); c.After != 0 || c.PhraseNumber(1) != 1 {
		t.Errorf("phrase %d, %d after the tune", c.PhraseNumber(1), c.After)
	}
	if len(f.Choruses) != 2 || f.Choruses[0].From != 1 {
		t.Errorf("the arrangement itself was changed: %v", f.Choruses)
	}

	// A phrase keeps its number: the second is still the second.
	if c := Cut(a, 3, 5); len(c.Phrases) != 2 || c.Phrases[0] != (theory.Phrase{}) || c.Phrases[1] != (theory.Phrase{From: 0, To: 2}) {
		t.Errorf("phrases %+v", c.Phrases)
	}

	// A chord that began earlier is still in force.
	if c := Cut(a, 4, 5); len(c.Chords) != 1 || c.Chords[0].Symbol != "N.C." || c.Tempi[0].BPM != 90 {
		t.Errorf("chords %+v, tempi %+v", c.Chords, c.Tempi)
	}
	a.Chords = a.Chords[:1]
	if c := Cut(a, 3, 4); len(c.Chords) != 1 || c.Chords[0].At != 0 || c.Chords[0].Symbol != "F6" {
		t.Errorf("chords %+v", c.Chords)
	}
	if c := Cut(a, 0, len(a.Bars)); len(c.Notes) != len(a.Notes) {
		t.Error("the whole is not the whole")
	}
	for _, r := range [][2]int{{3, 2}, {-1, 2}, {0, 9}, {2, 2}} {
		if c := Cut(a, r[0], r[1]); len(c.Bars) != 0 || len(c.Notes) != 0 {
			t.Errorf("Cut %v has %d bars", r, len(c.Bars))
		}
	}
}

// Any bars of an introduction are still the introduction.
func TestCutOfIntroduction(t *testing.T) {
	a := formed()
	a.Sections = []voicing.Section{{Name: voicing.IntroName, From: 0, To: 3}, {Name: "A", From: 3, To: 5}}
	a.Phrases = []theory.Phrase{{From: 0, To: 1}, {From: 1, To: 3}, {From: 3, To: 5}}
	a.Choruses, a.Before, a.After = nil, 2, 0
	for from, want := range []string{"introduction section", "introduction section", "introduction section", "section"} {
		var kinds []string
		for _, p := range Parts(Cut(a, from, 5)) {
			kinds = append(kinds, string(p.Kind))
		}
		if got := strings.Join(kinds, " "); got != want {
			t.Errorf("from bar %d: %s, wanted %s", from, got, want)
		}
	}
	if put := putIn(Cut(a, 2, 5)); put != a.Bars[2].Label {
		t.Errorf("put in: %s", put)
	}
}
