package sheet

import (
	"slices"
	"strings"

	"thumbline/theory"
	"thumbline/voicing"
)

// A part is a stretch of bars that is called by a name.
type part struct {
	voicing.Section
	kind string // introduction, chorus, section, ending
}

// parts are the introduction, the choruses, the tune's sections that have a
// name, and the ending, in order; a chorus stands before what it begins with.
func parts(a *voicing.Arrangement) []part {
	var out []part
	for _, c := range a.Choruses {
		out = append(out, part{c, "chorus"})
	}
	// of an introduction that was cut away, phrases without bars are left
	begins := slices.ContainsFunc(a.Phrases[:min(a.Before, len(a.Phrases))], func(p theory.Phrase) bool { return p.From < p.To })
	for i, s := range a.Sections {
		kind := "section"
		switch {
		case i == 0 && begins && s.Name == voicing.IntroName:
			kind = voicing.IntroName
		case i == len(a.Sections)-1 && a.After > 0 && s.Name == voicing.EndingName:
			kind = voicing.EndingName
		}
		if s.Name != "" {
			out = append(out, part{s, kind})
		}
	}
	slices.SortStableFunc(out, func(x, y part) int { return x.From - y.From })
	return slices.DeleteFunc(out, func(p part) bool { return p.From < 0 || p.To > len(a.Bars) || p.From >= p.To })
}

// headings are what stands over the bars with which parts begin, by the index of
// the bar: "Chorus 2, section A".
func headings(a *voicing.Arrangement) map[int]string {
	heads := map[int]string{}
	for _, p := range parts(a) {
		var h string
		switch p.kind {
		case voicing.IntroName:
			h = told("Introduction", a.Intro)
		case voicing.EndingName:
			h = told("Ending", a.Ending)
		case "chorus":
			h = strings.ToUpper(p.Name[:1]) + p.Name[1:]
		default:
			if h = "Section " + p.Name; heads[p.From] != "" {
				h = heads[p.From] + ", section " + p.Name
			}
		}
		heads[p.From] = h
	}
	return heads
}

// told is what something is, with what there is to say of it.
func told(what, text string) string {
	if text == "" {
		return what
	}
	return what + ": " + text
}

// putIn names the bars that are not on the sheet; empty where there are none.
func putIn(a *voicing.Arrangement) string {
	var spans []string
	for _, p := range parts(a) {
		if p.kind != voicing.IntroName && p.kind != voicing.EndingName {
			continue
		}
		first, last := a.Bars[p.From].Label, a.Bars[p.To-1].Label
		if first != last {
			first += "-" + last
		}
		spans = append(spans, first)
	}
	return strings.Join(spans, " and ")
}
