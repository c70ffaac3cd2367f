package main

import (
	"slices"
	"strconv"
	"strings"

	"thumbline/voicing"
	"thumbline/voicing/sheet"
)

// A stretch is bars [from, to) with the names by which a player may ask for
// them, the first the one that messages have.
type stretch struct {
	kind     sheet.Kind
	names    []string
	from, to int
}

// stretches are the tune's sections, which keep the names that check lists, and
// what is put in and the choruses, which have theirs where no section has.
func stretches(a *voicing.Arrangement) (sections, form []stretch) {
	var names []string
	for _, p := range sheet.Parts(a) {
		x := stretch{p.Kind, []string{p.Name}, p.From, p.To}
		switch p.Kind {
		case sheet.TuneSection:
			names = append(names, p.Name)
			sections = append(sections, x)
			continue
		case sheet.Introduction:
			x.names = append(x.names, "intro")
		case sheet.Chorus:
			n := strings.TrimPrefix(p.Name, "chorus ")
			x.names = append(x.names, "chorus"+n, "c"+n)
		}
		form = append(form, x)
	}
	for i, n := range numbered(names) {
		sections[i].names[0] = n
	}
	return sections, form
}

// sectionRange is the bars of --section.
func sectionRange(a *voicing.Arrangement, o *options) (from, to int, err error) {
	sections, form := stretches(a)
	for _, s := range append(sections, form...) {
		if slices.Contains(s.names, o.section) {
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
		names = append(names, s.names[0])
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
	for i, s := range form {
		switch {
		case s.kind != sheet.Chorus:
			parts = append(parts, s.names[0])
		case i+1 == len(form) || form[i+1].kind != sheet.Chorus: // the last of them
			parts = append(parts, "chorus 1 to "+s.names[0]+", or c1 to "+s.names[2])
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
