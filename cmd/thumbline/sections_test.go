package main

import (
	"testing"

	"thumbline/theory"
	"thumbline/voicing"
)

// A sheet's own sections come first, whatever they are called; what is put in has
// other names too.
func TestStretchesOwnNames(t *testing.T) {
	a := &voicing.Arrangement{
		Sections: []voicing.Section{{Name: voicing.IntroName, To: 2}, {Name: voicing.IntroName, From: 2, To: 4}, {Name: "c2", From: 4, To: 6},
			{Name: voicing.EndingName, From: 6, To: 8}, {Name: voicing.EndingName, From: 8, To: 9}},
		Choruses: []voicing.Section{{Name: "chorus 1", From: 2, To: 5}, {Name: "chorus 2", From: 5, To: 8}},
		Phrases:  []theory.Phrase{{To: 2}, {From: 2, To: 8}, {From: 8, To: 9}},
		Before:   1, After: 1,
	}
	for range 9 {
		a.Bars = append(a.Bars, voicing.Bar{})
	}
	for name, want := range map[string][2]int{
		"introduction": {2, 4}, "intro": {0, 2}, "c2": {4, 6}, "chorus 2": {5, 8}, "c1": {2, 5}, "ending": {6, 8},
	} {
		o := &options{section: name, changed: func(f string) bool { return f == "section" }}
		from, to, err := part(a, o)
		if err != nil || [2]int{from, to} != want {
			t.Errorf("--section %q: bars [%d, %d), want %v (%v)", name, from, to, want, err)
		}
	}
}
