package leadsheet

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"thumbline/theory"
)

// A reading is what a quoted text over the staff was found to be.
type reading struct {
	chords []theory.Chord // the symbols in it, in order; none when it is no chord symbol
	note   string         // what was left out or mended, for a warning
	fault  string         // why it is no chord symbol although it looks like one
}

var (
	// "G(Em)": a symbol with another for choice.
	alternative = regexp.MustCompile(`^([^()\s]+)\s*\(\s*([A-G][^()]*)\)$`)
	// "D/nF", "f/=": bass notes with n or = for natural.
	oldBass = regexp.MustCompile(`^([A-G].*/)([n=]?)([A-Ga-g])([=n]?)$`)
	// "/@<.5A7", "@-4,2 D": where to print it.
	printedAt = regexp.MustCompile(`^/?@[-<>^_.,0-9]*\s*`)
	noChord   = regexp.MustCompile(`(?i)^\(?(n[./]?\s?c\.?|no chord|tacet)\)?$`)
	// A symbol whose root is no note name: "H7", "Qm7", "V7".
	badRoot = regexp.MustCompile(`^([H-Z])([#b]?.+)$`)
	// A symbol with a small letter: "am", "f#m7", "g7". A letter alone is a bass
	// note, and what goes on otherwise a word.
	smallRoot = regexp.MustCompile(`(?i)^[a-g][#♯b♭]?(?:m|7|6|9|11|13|sus|dim|aug|add|alt|-[79]|°|º|o7|ø|∆|Δ|△)`)
	// "C (drone)", "N.C. (C)".
	remark      = regexp.MustCompile(`^(\S+)\s*\(\s*([\pL\s]+)\)$`)
	noChordElse = regexp.MustCompile(`(?i)^n\.?\s?c\.?\s*\(.*\)$`)
	plainRoot   = regexp.MustCompile(`^[A-G][b#♭♯]?$`)
	// The German names Cis, Es, As, Fis and their kin.
	germanName = regexp.MustCompile(`^[A-H](?:is|es|s)(?:$|[^u])`)
	// Signs for a beat or bar under the same chord.
	sameAgain = regexp.MustCompile(`^[/%]+$`)
	beatMark  = regexp.MustCompile(`^[/%.·-]+$`)
)

// textWords are words over the staff that begin like a chord symbol or follow
// one; what has one of them is read as text. Common practice, no source.
var textWords = map[string]bool{
	"fine": true, "coda": true, "chorus": true, "bridge": true, "ending": true, "end": true, "break": true,
	"fast": true, "faster": true, "dance": true, "capo": true, "da": true, "dal": true, "d.c.": true, "d.s.": true,
	"d.c": true, "d.s": true, "dc": true, "ds": true, "al": true, "all": true, "alla": true, "begin": true, "both": true,
	"band": true, "bass": true, "clap": true, "call": true, "group": true, "guitar": true, "gtr": true, "flute": true,
	"fiddle": true, "drums": true, "double": true, "ad": true, "ad-lib": true, "adagio": true, "allegro": true,
	"andante": true, "allegretto": true, "cresc": true, "cresc.": true, "brightly": true, "ballad": true, "blues": true,
	"bossa": true, "even": true, "freely": true, "fill": true, "fade": true, "fermata": true, "first": true, "from": true,
	"a.": true, "b.": true, "boys": true, "girls": true, "cue": true, "cut": true, "at": true, "accel": true, "accel.": true,
}

// sectionWords after a single letter name a part of the tune: "A part".
var sectionWords = map[string]bool{
	"part": true, "section": true, "chorus": true, "verse": true, "tune": true, "time": true, "times": true,
	"music": true, "theme": true, "strain": true,
}

// readSymbol reads a quoted text of an ABC tune. Annotations are not for it.
func readSymbol(text string) reading {
	s := strings.TrimSpace(text)
	if len(s) > maxSymbol {
		return reading{note: notRead(text)}
	}
	if r, ok := severalLines(s, text); ok {
		return r
	}
	if m := printedAt.FindString(s); strings.Contains(m, "@") {
		s = s[len(m):]
	}
	if noChord.MatchString(s) {
		return reading{chords: []theory.Chord{{NoChord: true}}}
	}
	if noChordElse.MatchString(s) {
		return reading{chords: []theory.Chord{{NoChord: true}}, note: "the other chord of " + quote(text) + " is left out"}
	}
	if inner, ok := bracketed(s); ok {
		r := readSymbol(inner)
		if r.fault != "" {
			return reading{note: notRead(text)}
		}
		return r
	}
	if s == "" || sameAgain.MatchString(s) {
		return reading{} // a placeholder in a row of alternatives, or the same chord again
	}
	if s[0] < 'A' || s[0] > 'G' {
		return withoutRoot(s, text)
	}
	if c, ok := oneChord(s); ok {
		return reading{chords: []theory.Chord{c}}
	}
	if m := alternative.FindStringSubmatch(s); m != nil {
		if c, ok := oneChord(m[1]); ok {
			return reading{chords: []theory.Chord{c}, note: "the other chord of " + quote(text) + " is left out"}
		}
	}
	if m := remark.FindStringSubmatch(s); m != nil {
		if c, ok := oneChord(m[1]); ok && allPlain(strings.Fields(m[2])) {
			return reading{chords: []theory.Chord{c}, note: "the words in " + quote(text) + " are not read"}
		}
	}
	words := strings.Fields(s)
	if len(words) == 1 { // "Dm7-G7", "Dm7,G7"
		words = strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(",->–", r) })
		if slices.ContainsFunc(words, func(w string) bool { _, ok := oneChord(w); return !ok }) {
			words = []string{s}
		}
	}
	if len(words) > 1 {
		if r, ok := severalWords(words, text); ok {
			return r
		}
	}
	if textWords[strings.ToLower(strings.TrimRight(words[0], ":,!"))] {
		return reading{note: notRead(text)}
	}
	return unknownSymbol(s, text)
}

// severalLines reads a text of several lines of print, of which the first is
// the symbol; ok is false for one line.
func severalLines(s, text string) (reading, bool) {
	for _, cut := range []string{`\n`, ";", "\n"} {
		if i := strings.Index(s, cut); i > 0 {
			r := readSymbol(s[:i])
			if rest := strings.TrimSpace(s[i+len(cut):]); r.note == "" && rest != "" {
				if _, ok := oneChord(rest); ok && cut == ";" && len(r.chords) > 0 { // ABC 2.1, 4.18
					r.note = "the other chord of " + quote(text) + " is left out"
					return r, true
				}
				r.note = "the text " + quote(rest) + " under a chord symbol is not read"
			}
			return r, true
		}
	}
	return reading{}, false
}

// withoutRoot reads a text that does not begin with the name of a note in
// capitals.
func withoutRoot(s, text string) reading {
	switch m := badRoot.FindStringSubmatch(s); {
	case theory.IsBassNote(s) || oldBassNote(s):
		return reading{note: "the bass note " + quote(text) + " is left out: it is no chord"}
	case m != nil && hasDigitOrMinor(m[2]):
		if _, err := theory.ParseChord("C" + m[2]); err == nil {
			why := ": no note is called " + m[1]
			if m[1] == "H" {
				why += ", the German H is B and the German B is Bb"
			}
			return reading{fault: "unknown chord symbol " + quote(text) + why}
		}
	case smallRoot.MatchString(s) && !textWords[strings.ToLower(strings.Fields(s)[0])]:
		if c, ok := oneChord(strings.ToUpper(s[:1]) + s[1:]); ok {
			return reading{chords: []theory.Chord{c}, note: "the chord symbol " + quote(text) + " with its small letter is read as " + c.String()}
		}
	}
	if first, rest, ok := strings.Cut(s, " "); ok && (theory.IsBassNote(first) || oldBassNote(first)) {
		if r := readSymbol(rest); len(r.chords) > 0 { // "g G": a bass note before the symbol
			r.note = "the bass note " + quote(first) + " is left out: it is no chord"
			return r
		}
	}
	return reading{note: notRead(text)}
}

// unknownSymbol says what is wrong with a text that looks like a chord symbol.
func unknownSymbol(s, text string) reading {
	_, err := theory.ParseChord(s)
	fault := "unknown chord symbol " + quote(text)
	if germanName.MatchString(s) {
		return reading{fault: fault + ": write its root as C# or Eb, the German names are not read"}
	}
	if err != nil {
		if why := reason(err, s); why != "" {
			fault += ": " + why
		}
	}
	return reading{fault: fault}
}

// severalWords reads "Dm G7" as two symbols and "C drone" as one with a text;
// "A part" and "D.C. al Fine" are text.
func severalWords(words []string, text string) (reading, bool) {
	if c, ok := oneChord(words[0]); ok && !plainRoot.MatchString(words[0]) && allPlain(words[1:]) { // "C/D bass"
		return reading{chords: []theory.Chord{c}, note: "the words in " + quote(text) + " are not read"}, true
	}
	for i, w := range words {
		low := strings.ToLower(strings.Trim(w, ".,:!"))
		if textWords[strings.ToLower(w)] || textWords[low] || i > 0 && sectionWords[low] {
			return reading{note: notRead(text)}, true
		}
	}
	var r reading
	for i, w := range words {
		c, ok := oneChord(w)
		switch {
		case i > 0 && beatMark.MatchString(w):
		case ok:
			r.chords = append(r.chords, c)
		case i == 0:
			return reading{}, false
		case strings.IndexFunc(w, unicode.IsUpper) != 0 && plainWord(w):
			r.note = "the words in " + quote(text) + " are not read"
		default:
			return reading{}, false
		}
	}
	return r, len(r.chords) > 0
}

// allPlain reports plain words alone.
func allPlain(words []string) bool {
	return len(words) > 0 && !slices.ContainsFunc(words, func(w string) bool { return !plainWord(w) || unicode.IsUpper([]rune(w)[0]) })
}

// plainWord reports a word of letters, three at least: what cannot be part of
// a chord symbol.
func plainWord(w string) bool {
	w = strings.Trim(w, ".,:!")
	n := 0
	for _, r := range w {
		if !unicode.IsLetter(r) {
			return false
		}
		n++
	}
	return n >= 3
}

// oneChord reads one symbol.
func oneChord(s string) (theory.Chord, bool) {
	c, err := theory.ParseChord(s)
	if err != nil {
		if m := oldBass.FindStringSubmatch(s); m != nil {
			c, err = theory.ParseChord(m[1] + m[3])
		}
	}
	return c, err == nil
}

// bracketed takes the brackets off "(C)", "[C]" and "{C}", not off "C(b9)".
func bracketed(s string) (string, bool) {
	if len(s) > 2 && (s[0] == '(' && s[len(s)-1] == ')' || s[0] == '[' && s[len(s)-1] == ']' || s[0] == '{' && s[len(s)-1] == '}') && strings.Count(s, s[:1]) == 1 {
		return s[1 : len(s)-1], true
	}
	return s, false
}

// oldBassNote reads the spellings of single bass notes met in collections:
// "f+", "a=", "f/+".
func oldBassNote(s string) bool {
	if s == "" || s[0] < 'a' || s[0] > 'g' {
		return false
	}
	switch s[1:] {
	case "", "+", "#", "b", "=", "/+", "/=", "/#":
		return true
	}
	return false
}

func hasDigitOrMinor(rest string) bool {
	rest = strings.TrimLeft(rest, "#b")
	return rest != "" && (strings.ContainsAny(rest, "0123456789") || rest == "m" || rest == "min" || rest == "dim")
}

func notRead(text string) string { return "the text " + quote(text) + " over the staff is not read" }

// reason is the part of err that does not repeat the symbol.
func reason(err error, symbol string) string {
	msg := err.Error()
	if i := strings.LastIndex(msg, `": `); i >= 0 && strings.Contains(msg[:i], symbol) {
		return msg[i+3:]
	}
	if strings.Contains(msg, symbol) {
		return ""
	}
	return msg
}
