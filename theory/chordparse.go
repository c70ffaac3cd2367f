package theory

import (
	"fmt"
	"strings"
)

// tokenKind is a word or sign of a chord symbol after its root.
type tokenKind uint8

const (
	tokMin tokenKind = iota + 1
	tokMaj
	tokTriangle // major seventh by itself
	tokDim
	tokHalf
	tokAug
	tokSus
	tokAdd
	tokNo
	tokAlt
	tokDom
	tokNum
	tokFlat
	tokSharp
	tokPlus
	tokMinus
	tokOpen
	tokClose
	tokBreak // a slash or comma between parts
)

type token struct {
	kind tokenKind
	num  int
	at   int // byte offset in the suffix
}

// words are tried in order: a word before its own beginnings. The case of m
// and M alone tells minor from major; longer words are free.
var words = []struct {
	text string
	kind tokenKind
	fold bool
}{
	{"half-diminished", tokHalf, true}, {"halfdiminished", tokHalf, true}, {"half-dim", tokHalf, true}, {"halfdim", tokHalf, true},
	{"minor", tokMin, true}, {"min", tokMin, true}, {"mi", tokMin, true},
	{"madd", 0, true}, {"maug", 0, true}, // m before another word: cut short below
	{"major", tokMaj, true}, {"maj", tokMaj, true}, {"ma", tokMaj, true},
	{"diminished", tokDim, true}, {"dim", tokDim, true},
	{"augmented", tokAug, true}, {"aug", tokAug, true},
	{"suspended", tokSus, true}, {"susp", tokSus, true}, {"sus", tokSus, true},
	{"dominant", tokDom, true}, {"dom", tokDom, true},
	{"altered", tokAlt, true}, {"alt", tokAlt, true},
	{"sharp", tokSharp, true}, {"flat", tokFlat, true},
	{"add", tokAdd, true}, {"omit", tokNo, true}, {"no", tokNo, true},
	{"m", tokMin, false}, {"M", tokMaj, false}, {"j", tokMaj, false},
	{"△", tokTriangle, false}, {"Δ", tokTriangle, false}, {"∆", tokTriangle, false}, {"^", tokTriangle, false},
	{"o", tokDim, false}, {"°", tokDim, false}, {"º", tokDim, false}, {"˚", tokDim, false}, {"○", tokDim, false},
	{"ø", tokHalf, false}, {"Ø", tokHalf, false}, {"∅", tokHalf, false}, {"⌀", tokHalf, false}, {"h", tokHalf, false},
	{"(", tokOpen, false}, {")", tokClose, false}, {"[", tokOpen, false}, {"]", tokClose, false},
	{",", tokBreak, false}, {"/", tokBreak, false},
	{"b", tokFlat, false}, {"♭", tokFlat, false}, {"#", tokSharp, false}, {"♯", tokSharp, false},
	{"+", tokPlus, false}, {"-", tokMinus, false}, {"−", tokMinus, false}, {"–", tokMinus, false},
}

// suffixError says which part of a suffix is not understood.
type suffixError struct {
	part string
	why  string // overrides the usual sentence
}

func (e *suffixError) Error() string {
	if e.why != "" {
		return e.why
	}
	return fmt.Sprintf("%q is not understood", e.part)
}

// lexSuffix cuts a suffix into tokens, all of it or an error.
func lexSuffix(s string) ([]token, error) {
	var toks []token
	open := 0
scan:
	for at := 0; at < len(s); {
		rest := s[at:]
		if n, size := cutNumber(rest); size > 0 {
			toks = append(toks, token{tokNum, n, at})
			at += size + ordinal(s[at+size:])
			continue
		}
		for _, w := range words {
			if !strings.HasPrefix(rest, w.text) && (!w.fold || len(rest) < len(w.text) || !strings.EqualFold(rest[:len(w.text)], w.text)) {
				continue
			}
			kind, size := w.kind, len(w.text)
			if kind == 0 {
				kind, size = tokMin, 1
			}
			switch kind {
			case tokOpen:
				open++
			case tokClose:
				open--
				if open < 0 {
					return nil, &suffixError{part: rest}
				}
			}
			toks = append(toks, token{kind: kind, at: at})
			at += size
			if w.fold && size > 1 && strings.HasPrefix(s[at:], ".") {
				at++ // maj. sus. alt.
			}
			continue scan
		}
		return nil, &suffixError{part: rest}
	}
	if open > 0 {
		return nil, &suffixError{why: `a "(" is not closed`}
	}
	return resolveSigns(toks), nil
}

// ordinal is the length of the ending of a degree that is spelled out: 7th.
func ordinal(s string) int {
	if len(s) >= 2 {
		switch strings.ToLower(s[:2]) {
		case "th", "rd", "nd":
			return 2
		}
	}
	return 0
}

// cutNumber takes a degree off the front: 11 and 13 before the single figures,
// so that 69, 79 and 713 fall apart as they are meant.
func cutNumber(s string) (n, size int) {
	if strings.HasPrefix(s, "11") || strings.HasPrefix(s, "13") {
		return 10 + int(s[1]-'0'), 2
	}
	if s != "" && strings.IndexByte("2345679", s[0]) >= 0 {
		return int(s[0] - '0'), 1
	}
	return 0, 0
}

// resolveSigns gives + and - their meaning by place: at the start augmented
// and minor, before a degree sharp and flat, + behind a degree augmented.
func resolveSigns(toks []token) []token {
	degree := func(i int) bool {
		return i < len(toks) && toks[i].kind == tokNum
	}
	for i := range toks {
		start := i == 0
		switch toks[i].kind {
		case tokMinus:
			if start && !(degree(1) && toks[1].num == 5) {
				toks[i].kind = tokMin
			} else {
				toks[i].kind = tokFlat
			}
		case tokPlus:
			// m+7, m(+7) and maj+7 have a major seventh, +7 is augmented.
			raised := !start && (toks[i-1].kind == tokMin || toks[i-1].kind == tokMaj || toks[i-1].kind == tokOpen)
			if !start && degree(i+1) && (toks[i+1].num != 7 || raised) {
				toks[i].kind = tokSharp
			} else {
				toks[i].kind = tokAug
			}
		}
	}
	return toks
}

// ParseQuality reads the part of a chord symbol between root and bass, to its
// tones in semitones above the root, the root included.
func ParseQuality(suffix string) (PCSet, error) {
	s := strings.Join(strings.Fields(suffix), "")
	toks, err := lexSuffix(s)
	if err != nil {
		return 0, err
	}
	base, used := longestForm(toks)
	m := modifiers{text: s, toks: toks[used:], core: base}
	if err := m.read(); err != nil {
		return 0, err
	}
	return m.tones(), nil
}

// longestForm is the longest run of tokens at the front that is a written
// form, none being a major triad. A form stretches over brackets and breaks
// only to a major seventh, as in m(maj7) and m/maj7: C(9) is an added ninth.
func longestForm(toks []token) (base PCSet, used int) {
	if len(toks) > 1 && toks[0].kind == tokBreak && toks[1].kind == tokDim {
		base, used = longestForm(toks[1:]) // C/dim, a habit of older ABC files
		return base, used + 1
	}
	base = tones(0, 4, 7)
	index := formIndex()
	var run []token
	for i := 0; i < len(toks); i++ {
		t := toks[i]
		if t.kind == tokOpen || t.kind == tokBreak {
			for i < len(toks) && (toks[i].kind == tokOpen || toks[i].kind == tokBreak) {
				i++
			}
			if i == len(toks) || toks[i].kind != tokMaj && toks[i].kind != tokTriangle {
				break
			}
			t = toks[i]
		}
		if t.kind == tokClose {
			break
		}
		run = append(run, t)
		if set, ok := index[tokensKey(run)]; ok {
			base, used = set, i+1
		}
	}
	return base, used
}

// modifiers reads what follows the written form. Nothing is applied before all
// is read, so that the order does not matter.
type modifiers struct {
	text string
	toks []token

	core  PCSet // the written form's tones
	sus   PCSet // what stands in place of the third
	fifth PCSet // altered fifths, in place of the natural one
	gone  PCSet // naturals that an alteration replaces
	added PCSet
	left  PCSet // left out
	alt   bool
	third bool // a major third added to a suspension
}

func (m *modifiers) fail(t token) error { return &suffixError{part: m.text[t.at:]} }

// num takes the next token if it is a degree.
func (m *modifiers) num(allowed ...int) (int, bool) {
	if len(m.toks) > 0 && m.toks[0].kind == tokNum {
		for _, a := range allowed {
			if m.toks[0].num == a {
				m.toks = m.toks[1:]
				return a, true
			}
		}
	}
	return 0, false
}

// naturals are the degrees that can be added, in semitones.
var naturals = map[int]int{2: 2, 4: 5, 6: 9, 7: 10, 9: 2, 11: 5, 13: 9}

func (m *modifiers) read() error {
	apart := false // behind a bracket or break
	for len(m.toks) > 0 {
		t := m.toks[0]
		m.toks = m.toks[1:]
		wasApart := apart
		apart = t.kind == tokOpen || t.kind == tokBreak
		switch t.kind {
		case tokOpen, tokClose, tokBreak:
		case tokAdd:
			if err := m.readAdd(t); err != nil {
				return err
			}
		case tokNo:
			n, ok := m.num(3, 5, 7, 9, 11, 13)
			if !ok {
				return m.fail(t)
			}
			switch n {
			case 3:
				m.left = m.left.With(3, 4)
			case 5:
				m.left = m.left.With(7)
			case 7:
				m.left = m.left.With(10, 11)
			default:
				m.left = m.left.With(naturals[n])
			}
		case tokFlat, tokSharp:
			if err := m.alteration(t, false); err != nil {
				return err
			}
		case tokNum:
			semi, ok := naturals[t.num]
			// A degree that is there already may be told again, as in 13/9, but
			// not run on: 77 is no chord.
			if !ok || (m.core|m.added).Has(semi) && !wasApart || semi == 10 && m.core.Has(11) {
				return m.fail(t)
			}
			if t.num == 4 {
				m.sus = m.sus.With(5)
			} else {
				m.added = m.added.With(semi)
			}
		case tokMaj:
			n, ok := m.num(7, 9)
			if !ok {
				return m.fail(t)
			}
			m.added = m.added.With(11)
			m.gone = m.gone.With(10)
			if n == 9 {
				m.added = m.added.With(2)
			}
		case tokTriangle:
			m.num(7)
			m.added = m.added.With(11)
			m.gone = m.gone.With(10)
		case tokSus:
			n, ok := m.num(2, 4)
			m.sus = m.sus.With(map[int]int{0: 5, 2: 2, 4: 5}[n])
			if ok {
				if n, ok = m.num(6 - n); ok {
					m.sus = m.sus.With(naturals[n])
				}
			}
		case tokAlt:
			if !m.core.Has(4) {
				return m.fail(t)
			}
			m.alt = true
		case tokAug:
			m.fifth = m.fifth.With(8)
		case tokDim:
			if _, ok := m.num(5); !ok {
				return m.fail(t)
			}
			m.fifth = m.fifth.With(6)
		default:
			return m.fail(t)
		}
	}
	return nil
}

func (m *modifiers) readAdd(add token) error {
	for len(m.toks) > 0 && m.toks[0].kind == tokOpen {
		m.toks = m.toks[1:]
	}
	if len(m.toks) == 0 {
		return m.fail(add)
	}
	t := m.toks[0]
	m.toks = m.toks[1:]
	switch t.kind {
	case tokFlat, tokSharp:
		return m.alteration(t, true)
	case tokMaj:
		if _, ok := m.num(7); ok {
			m.added = m.added.With(11)
			return nil
		}
	case tokNum:
		if semi, ok := naturals[t.num]; ok {
			m.added = m.added.With(semi)
			return nil
		}
		if t.num == 3 { // beside a suspension
			m.third = true
			return nil
		}
	}
	return m.fail(add)
}

// alteration reads the degree behind a flat or sharp. An alteration replaces
// the natural degree that the written form has, an added one stands beside it.
func (m *modifiers) alteration(sign token, added bool) error {
	flat := sign.kind == tokFlat
	n, ok := m.num(2, 4, 5, 6, 7, 9, 11, 13)
	seventh := m.core.Has(10) || m.core.Has(11)
	third := m.core.Has(3) || m.core.Has(4)
	switch {
	case !ok:
		return m.fail(sign)
	case n == 5:
		semi := 8
		if flat {
			semi = 6
		}
		if added {
			m.added = m.added.With(semi)
		} else {
			m.fifth = m.fifth.With(semi)
		}
	case n == 9 || n == 2:
		semi := 3
		if flat {
			semi = 1
		}
		m.added = m.added.With(semi)
		if !added {
			m.gone = m.gone.With(2)
		}
	case (n == 11 || n == 4) && !flat:
		m.added = m.added.With(6)
		if !added && third {
			m.gone = m.gone.With(5)
		}
	case (n == 13 || n == 6) && flat:
		m.added = m.added.With(8)
		if !added && seventh {
			m.gone = m.gone.With(9)
		}
	case n == 7 && flat:
		m.added = m.added.With(10)
	case n == 7:
		m.added = m.added.With(11)
		m.gone = m.gone.With(10)
	default:
		return m.fail(sign)
	}
	return nil
}

func (m *modifiers) tones() PCSet {
	t := m.core &^ m.gone
	if m.alt {
		t = t&^tones(2, 7) | tones(0, 1, 3, 4, 6, 8, 10)
	}
	if m.sus != 0 {
		t = t&^tones(3, 4) | m.sus
	}
	if m.third {
		t = t.With(4)
	}
	if m.fifth != 0 {
		t = t&^tones(7) | m.fifth
	}
	return (t|m.added)&^m.left | 1
}

// ParseChord reads a chord symbol as the trade writes it: a root with a
// capital letter, a quality, alterations in any order with or without
// brackets, a slash bass of either case, or N.C.; spaces do not count. All of
// it is read, or the error names the part that is not understood.
func ParseChord(s string) (Chord, error) {
	text := strings.TrimSpace(s)
	if isNoChord(text) {
		return Chord{NoChord: true}, nil
	}
	if inner, ok := bracketed(text); ok {
		text = inner
	}
	root, rest, ok := cutName(text, false)
	if !ok {
		if text == "" {
			return Chord{}, fmt.Errorf("chord symbol is empty (use N.C. for no chord)")
		}
		return Chord{}, fmt.Errorf("chord symbol %q: %q is not a root (use a capital letter A to G)", s, text)
	}
	bass := root
	if i := strings.LastIndexByte(rest, '/'); i >= 0 {
		if n, ok := parseBass(rest[i+1:]); ok {
			bass, rest = n, rest[:i]
		}
	}
	set, err := ParseQuality(rest)
	if err != nil {
		return Chord{}, fmt.Errorf("chord symbol %q: %w", s, err)
	}
	return NewChord(root, set, bass), nil
}

// MustChord is ParseChord for literals; it panics on an error.
func MustChord(s string) Chord {
	c, err := ParseChord(s)
	if err != nil {
		panic(err)
	}
	return c
}

// bracketed takes off brackets that enclose the whole symbol.
func bracketed(s string) (string, bool) {
	if len(s) < 2 || s[0] != '(' || strings.IndexByte(s, ')') != len(s)-1 {
		return s, false
	}
	return strings.TrimSpace(s[1 : len(s)-1]), true
}

func isNoChord(s string) bool {
	switch strings.ToLower(strings.Join(strings.Fields(s), "")) {
	case "n.c.", "n.c", "nc", "nc.", "nochord":
		return true
	}
	return false
}

// parseBass reads a bass note of either case, whose signs may be + and - too.
func parseBass(s string) (Name, bool) {
	s = strings.TrimSpace(s)
	if s == "" {
		return Name{}, false
	}
	s = s[:1] + strings.NewReplacer("+", "#", "-", "b").Replace(s[1:])
	n, rest, ok := cutName(s, true)
	return n, ok && rest == ""
}

// IsBassNote reports whether a symbol is a single bass note and no chord: a
// small letter with its sign, perhaps in brackets, as "f#", "(a+)".
func IsBassNote(s string) bool {
	s = strings.TrimSpace(s)
	s, _ = bracketed(s)
	if s == "" || s[0] < 'a' || s[0] > 'g' {
		return false
	}
	_, ok := parseBass(s)
	return ok
}
