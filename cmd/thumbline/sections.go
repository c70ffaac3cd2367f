package main

import (
	"slices"
	"strconv"
	"strings"

	"thumbline/voicing"
)

// A stretch is bars [from, to) with the names by which a player may ask for
// them, the first the one that messages have.
type stretch struct {
	names    []string
	from, to int
}

// stretches are the tune's sections, which keep the names that check lists, and
// what is put in and the choruses, which have theirs where no section has.
func stretches(a *voicing.Arrangement) (sections, form []stretch) {
	var names []string
	for i, s := range a.Sections {
		x := stretch{from: s.From, to: s.To}
		switch {
		case i == 0 && a.Before > 0:
			x.names = []string{voicing.IntroName, "intro"}
		case i == len(a.Sections)-1 && a.After > 0:
			x.names = []string{voicing.EndingName}
		}
		if x.names != nil {
			form = append(form, x)
			continue
		}
		names = append(names, s.Name)
		sections = append(sections, x)
	}
	for i, n := range numbered(names) {
		sections[i].names = []string{n}
	}
	for i, c := range a.Choruses {
		n := strconv.Itoa(i + 1)
		form = append(form, stretch{[]string{"chorus " + n, "chorus" + n, "c" + n}, c.From, c.To})
	}
	slices.SortStableFunc(form, func(x, y stretch) int { return x.from - y.from })
	return sections, form
}

// sectionRange is the bars of --section.
func sectionRange(a *voicing.Arrangement, o *options) (from, to int, err error) {
	sections, form := stretches(a)
	for _, s := range append(sections, form...) {
		if o.section != "" && slices.Contains(s.names, o.section) {
			return s.from, s.to, nil
		}
	}
	return 0, 0, usagef("--section %s: %s has %s", o.section, tuneName(o), listed(sections, form))
}

// mostNames is how many sections a message lists.
const mostNames = 16

// listed says in one line what there is to ask for.
func listed(sections, form []stretch) string {
	var names []string
	for _, s := range sections {
		if s.names[0] != "" {
			names = append(names, s.names[0])
		}
	}
	if k := len(names); k > mostNames {
		names = append(append(names[:mostNames-1:mostNames-1], "and so on to"), names[k-1])
	}
	var parts []string
	if len(names) > 0 {
		parts = append(parts, "sections "+strings.Join(names, " "))
	} else {
		parts = append(parts, "no sections")
	}
	choruses := 0
	for _, s := range form {
		if s.names[0][0] == 'c' {
			choruses++
		}
	}
	for _, s := range form {
		switch s.names[0] {
		case "chorus 1":
			parts = append(parts, "chorus 1 to chorus "+strconv.Itoa(choruses)+", or c1 to c"+strconv.Itoa(choruses))
		case voicing.IntroName, voicing.EndingName:
			parts = append(parts, s.names[0])
		}
	}
	return strings.Join(parts, "; ")
}

// numbered tells sections of one name apart as bars are told apart: A, B, A/2.
func numbered(names []string) []string {
	times := map[string]int{}
	out := make([]string, len(names))
	for i, n := range names {
		times[n]++
		out[i] = n
		if k := times[n]; k > 1 && n != "" {
			out[i] += "/" + strconv.Itoa(k)
		}
	}
	return out
}
