package sheet

import (
	"slices"
	"strings"

	"thumbline/theory"
	"thumbline/voicing"
)

// A Part is a stretch of bars that is called by a name.
type Part struct {
	voicing.Section
	Kind Kind
}

// A Kind is what a part is, in the word that the JSON has for it.
type Kind string

// The kinds of parts.
const (
	Introduction Kind = voicing.IntroName
	Chorus       Kind = "chorus"
	TuneSection  Kind = "section"
	Ending       Kind = voicing.EndingName
)

// Parts are the introduction, the choruses, the tune's sections that have a
// name, and the ending, in order; a chorus stands before what it begins with.
func Parts(a *voicing.Arrangement) []Part {
	var out []Part
	for _, c := range a.Choruses {
		out = append(out, Part{c, Chorus})
	}
	// of an introduction that was cut away, phrases without bars are left
	begins := slices.ContainsFunc(a.Phrases[:min(a.Before, len(a.Phrases))], func(p theory.Phrase) bool { return p.From < p.To })
	for i, s := range a.Sections {
		kind := TuneSection
		switch {
		case i == 0 && begins && s.Name == voicing.IntroName:
			kind = Introduction
		case i == len(a.Sections)-1 && a.After > 0 && s.Name == voicing.EndingName:
			kind = Ending
		}
		if s.Name != "" {
			out = append(out, Part{s, kind})
		}
	}
	slices.SortStableFunc(out, func(x, y Part) int { return x.From - y.From })
	return slices.DeleteFunc(out, func(p Part) bool { return p.From < 0 || p.To > len(a.Bars) || p.From >= p.To })
}

// headings are what stands over the bars with which parts begin, by the index of
// the bar: "Chorus 2, section A".
func headings(a *voicing.Arrangement) map[int]string {
	heads := map[int]string{}
	for _, p := range Parts(a) {
		var h string
		switch p.Kind {
		case Introduction:
			h = told("Introduction", a.Intro)
		case Ending:
			h = told("Ending", a.Ending)
		case Chorus:
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
	for _, p := range Parts(a) {
		if p.Kind != Introduction && p.Kind != Ending {
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
