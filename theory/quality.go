package theory

import (
	"strings"
	"sync"
)

// A quality is one row of the trade's chord qualities: our spelling after the
// root, the tones in semitones above it, and the usual written forms. Forms
// are read token by token, so that "m7" stands for mi7, min7 and -7 as well,
// "maj7" for M7, ma7 and Maj7, "dim" for o and °, "aug" for +; alterations,
// brackets and added degrees are read without a form.
type quality struct {
	name  string
	tones PCSet
	forms string
}

// qualities is the table; where conventions differ (11 with or without its 3,
// 13 with or without its 11, b13 with or without its 5) the tones are those
// that a guitarist would play. Sources: common practice, no source; checked
// against two independent chord libraries where they agree.
var qualities = []quality{
	{"", tones(0, 4, 7), "maj"},
	{"m", tones(0, 3, 7), "m"},
	{"7", tones(0, 4, 7, 10), "7 dom7 dom"},
	{"maj7", tones(0, 4, 7, 11), "maj7 △ △7 7maj 7△ 7maj7"},
	{"m7", tones(0, 3, 7, 10), "m7"},
	{"6", tones(0, 4, 7, 9), "6 maj6"},
	{"m6", tones(0, 3, 7, 9), "m6"},
	{"m7b5", tones(0, 3, 6, 10), "m7b5 ø ø7 half-dim half-dim7"},
	{"dim7", tones(0, 3, 6, 9), "dim7"},
	{"dim", tones(0, 3, 6), "dim mb5 dim5"},
	{"aug", tones(0, 4, 8), "aug aug5 maj#5 #5"},
	{"9", tones(0, 2, 4, 7, 10), "9 dom9"},
	{"maj9", tones(0, 2, 4, 7, 11), "maj9 △9 9maj"},
	{"m9", tones(0, 2, 3, 7, 10), "m9"},
	{"13", tones(0, 2, 4, 7, 9, 10), "13 dom13"},
	{"maj13", tones(0, 2, 4, 7, 9, 11), "maj13 △13"},
	{"m13", tones(0, 2, 3, 5, 7, 9, 10), "m13"},
	{"m11", tones(0, 2, 3, 5, 7, 10), "m11"},
	{"69", tones(0, 2, 4, 7, 9), "69 maj69"},
	{"m69", tones(0, 2, 3, 7, 9), "m69"},
	{"m(maj7)", tones(0, 3, 7, 11), "mmaj7 mmaj m△ m△7 m7maj m7maj7"},
	{"m(maj9)", tones(0, 2, 3, 7, 11), "mmaj9 m△9 m9maj7"},
	{"7sus4", tones(0, 5, 7, 10), "7sus4 7sus sus7 dom7sus4"},
	{"9sus4", tones(0, 2, 5, 7, 10), "9sus4 9sus sus9 11 dom11"},
	{"13sus4", tones(0, 2, 5, 7, 9, 10), "13sus4 13sus sus13"},
	{"sus4", tones(0, 5, 7), "sus4 sus 4"},
	{"sus2", tones(0, 2, 7), "sus2"},
	{"7b9", tones(0, 1, 4, 7, 10), "7b9"},
	{"7#9", tones(0, 3, 4, 7, 10), "7#9"},
	{"7#5", tones(0, 4, 8, 10), "7#5 7aug aug7 7aug5"},
	{"7b5", tones(0, 4, 6, 10), "7b5"},
	{"7#11", tones(0, 4, 6, 7, 10), "7#11"},
	{"7b13", tones(0, 4, 7, 8, 10), "7b13"},
	{"9#5", tones(0, 2, 4, 8, 10), "9#5 9aug aug9"},
	{"9b5", tones(0, 2, 4, 6, 10), "9b5"},
	{"9#11", tones(0, 2, 4, 6, 7, 10), "9#11"},
	{"9b13", tones(0, 2, 4, 7, 8, 10), "9b13"},
	{"13b9", tones(0, 1, 4, 7, 9, 10), "13b9"},
	{"13#9", tones(0, 3, 4, 7, 9, 10), "13#9"},
	{"13#11", tones(0, 2, 4, 6, 7, 9, 10), "13#11"},
	{"13b9#11", tones(0, 1, 4, 6, 7, 9, 10), "13b9#11"},
	{"7b9b13", tones(0, 1, 4, 7, 8, 10), "7b9b13"},
	{"7#9b13", tones(0, 3, 4, 7, 8, 10), "7#9b13"},
	{"7b9#11", tones(0, 1, 4, 6, 7, 10), "7b9#11"},
	{"7b9#11b13", tones(0, 1, 4, 6, 7, 8, 10), "7b9#11b13"},
	{"7#9#11b13", tones(0, 3, 4, 6, 7, 8, 10), "7#9#11b13"},
	{"9#11b13", tones(0, 2, 4, 6, 7, 8, 10), "9#11b13"},
	{"7#9#11", tones(0, 3, 4, 6, 7, 10), "7#9#11"},
	{"7b9#9", tones(0, 1, 3, 4, 7, 10), "7b9#9"},
	{"7b5b9", tones(0, 1, 4, 6, 10), "7b5b9"},
	{"7b5#9", tones(0, 3, 4, 6, 10), "7b5#9"},
	{"7#5b9", tones(0, 1, 4, 8, 10), "7#5b9 7augb9 aug7b9"},
	{"7#5#9", tones(0, 3, 4, 8, 10), "7#5#9 7aug#9 aug7#9"},
	{"7alt", tones(0, 1, 3, 4, 6, 8, 10), "7alt alt"},
	{"7sus4b9", tones(0, 1, 5, 7, 10), "7sus4b9 7susb9"},
	{"13sus4b9", tones(0, 1, 5, 7, 9, 10), "13sus4b9 13susb9"},
	{"maj7#11", tones(0, 4, 6, 7, 11), "maj7#11"},
	{"maj9#11", tones(0, 2, 4, 6, 7, 11), "maj9#11"},
	{"maj13#11", tones(0, 2, 4, 6, 7, 9, 11), "maj13#11"},
	{"maj7#5", tones(0, 4, 8, 11), "maj7#5 maj7aug augmaj7 aug△ aug△7"},
	{"maj7b5", tones(0, 4, 6, 11), "maj7b5"},
	{"69#11", tones(0, 2, 4, 6, 7, 9), "69#11"},
	{"(add9)", tones(0, 2, 4, 7), "2"},
	{"m(add9)", tones(0, 2, 3, 7), "m2"},
	{"(add11)", tones(0, 4, 5, 7), "add4"},
	{"m(add11)", tones(0, 3, 5, 7), "m4"},
	{"m7(add11)", tones(0, 3, 5, 7, 10), "m7add11"},
	{"m(maj11)", tones(0, 2, 3, 5, 7, 11), "mmaj11"},
	{"m9b5", tones(0, 2, 3, 6, 10), "m9b5 ø9"},
	{"m11b5", tones(0, 2, 3, 5, 6, 10), "m11b5 ø11"},
	{"dim(maj7)", tones(0, 3, 6, 11), "dimmaj7 dim△ dim△7"},
	{"m#5", tones(0, 3, 8), "maug m#5"},
	{"m7#5", tones(0, 3, 8, 10), "m7#5"},
	{"maj7sus4", tones(0, 5, 7, 11), "maj7sus4 maj7sus △sus △7sus4"},
	{"maj9sus4", tones(0, 2, 5, 7, 11), "maj9sus4 maj11 △11"},
	{"6sus4", tones(0, 5, 7, 9), "6sus4 6sus"},
	{"69sus4", tones(0, 2, 5, 7, 9), "69sus4 69sus"},
	{"7sus2", tones(0, 2, 7, 10), "7sus2 9sus2"},
	{"sus2sus4", tones(0, 2, 5, 7), "sus24 sus2sus4 sus42 sus4sus2"},
	{"(b5)", tones(0, 4, 6), "majb5"},
	{"5", tones(0, 7), "5"},
}

func tones(ns ...int) PCSet { return PCSet(0).With(ns...) }

// formIndex leads from the tokens of a written form to its tones.
var formIndex = sync.OnceValue(func() map[string]PCSet {
	index := make(map[string]PCSet)
	for _, q := range qualities {
		for _, form := range strings.Fields(q.forms) {
			toks, err := lexSuffix(form)
			if err != nil {
				panic("theory: form " + form + ": " + err.Error())
			}
			index[tokensKey(toks)] = q.tones
		}
	}
	return index
})

func tokensKey(toks []token) string {
	var b strings.Builder
	for _, t := range toks {
		b.WriteByte(byte(t.kind))
		b.WriteByte(byte(t.num))
	}
	return b.String()
}

// spellings holds the spelling of all 2048 sets that contain the root.
var spellings = sync.OnceValue(func() *[1 << 12]spelling {
	var all [1 << 12]spelling
	for set := PCSet(1); set < 1<<12; set += 2 {
		all[set] = spellTones(set)
	}
	return &all
})

// SuffixOf is our canonical spelling of tones above a root, which is taken to
// be there: "maj7", "m7b5", "7b9". Every set has one and ParseQuality reads it
// back to the same set.
func SuffixOf(tones PCSet) string { return spellings()[tones&0xfff|1].suffix }

// The costs of spelling a set as an edit of a row: an alteration reads more
// easily than an added degree, and that than one left out.
const (
	editAlter   = 2
	editAdd     = 3
	editTriad   = 4 // an altered fifth of a triad: dim(add9) before m(add9)(b5)
	editNo      = 4
	editSeventh = 6 // a seventh beside a row without one
)

// A spelling is the suffix of a set of tones: the row it is made from and what
// the edits cost.
type spelling struct {
	suffix    string
	row, cost int
}

// spellTones finds the row that needs the least edits.
func spellTones(set PCSet) spelling {
	best := spelling{cost: 1 << 30}
	for i, q := range qualities {
		if edits, cost, ok := editsOf(q, set); ok && cost < best.cost {
			best = spelling{q.name + edits, i, cost}
		}
	}
	if best.cost == 1<<30 {
		panic("theory: a set of tones without a spelling")
	}
	return best
}

// editsOf writes what turns the row q into the set, in the order 5 9 11 13.
func editsOf(q quality, set PCSet) (edits string, cost int, ok bool) {
	missing, extra := q.tones&^set, set&^q.tones
	if missing|extra == 0 {
		return "", 0, true
	}
	seventh := q.tones.Has(10) || q.tones.Has(11)
	sixth := !seventh && q.tones.Has(9)
	var plain, bracketed []string
	alter := func(s string) {
		if !seventh && !sixth {
			cost += editTriad - editAlter
		}
		cost += editAlter
		if seventh {
			plain = append(plain, s)
		} else {
			bracketed = append(bracketed, s)
		}
	}
	// A degree over a triad is called added; over a sixth or seventh it is an
	// alteration like any other, unless the plain one sounds too.
	colour := func(s string, natural int) {
		switch {
		case missing.Has(natural) && (natural != 9 || seventh) && !strings.Contains(q.name, "add"):
			missing &^= tones(natural)
			alter(s)
		case (seventh || sixth) && !q.tones.Has(natural):
			alter(s)
		default:
			cost += editAdd
			bracketed = append(bracketed, "add"+s)
		}
	}
	add := func(semitone int, s string) {
		if extra.Has(semitone) {
			if semitone >= 10 {
				cost += editSeventh - editAdd
			}
			cost += editAdd
			bracketed = append(bracketed, "add"+s)
		}
	}
	// The row must have the right third and no seventh too many.
	if extra.Has(4) || extra.Has(7) || extra.Has(3) && !set.Has(4) {
		return "", 0, false
	}
	sus := !q.tones.Has(3) && !q.tones.Has(4)
	if sus && (extra.Has(5) || extra.Has(2)) && !q.tones.Has(5) && !q.tones.Has(2) {
		return "", 0, false // a power chord with a 4 or 2 is a suspension
	}
	if sus && (missing.Has(5) || missing.Has(2)) {
		return "", 0, false
	}
	fifthGone := missing.Has(7)
	for _, alt := range []struct {
		tone int
		name string
	}{{6, "b5"}, {8, "#5"}} {
		if extra.Has(alt.tone) && fifthGone {
			alter(alt.name)
			missing &^= tones(7)
			extra &^= tones(alt.tone)
		}
	}
	if extra.Has(1) {
		colour("b9", 2)
	}
	if extra.Has(3) {
		// Over b9 as well the natural 9 may be gone already: then it is plain.
		colour("#9", 2)
	}
	if extra.Has(6) {
		colour("#11", 5)
	}
	if extra.Has(8) {
		colour("b13", 9)
	}
	add(2, "9")
	add(5, "11")
	add(9, "13")
	if extra.Has(10) {
		if !q.tones.Has(11) {
			return "", 0, false
		}
		add(10, "b7")
	}
	if extra.Has(11) {
		if !q.tones.Has(10) && !q.tones.Has(9) && !sus {
			return "", 0, false
		}
		add(11, "maj7")
	}
	if missing.Has(7) {
		cost += editNo
		bracketed = append(bracketed, "no5")
		missing &^= tones(7)
	}
	if third := missing & tones(3, 4); third != 0 {
		if set&tones(3, 4) != 0 || set&tones(2, 5) != 0 && !seventh {
			return "", 0, false
		}
		cost += editNo
		bracketed = append(bracketed, "no3")
		missing &^= third
	}
	if missing != 0 {
		return "", 0, false
	}
	for _, p := range plain {
		edits += p
	}
	for _, b := range bracketed {
		edits += "(" + b + ")"
	}
	return edits, cost, true
}
