package leadsheet

import (
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

// A signature says what each letter is altered by, in semitones.
type signature [7]int8

func signatureOf(k theory.Key) signature {
	var s signature
	for l := range s {
		s[l] = k.Alter(theory.Letter(l))
	}
	return s
}

// An abcKey is what a K: or V: field sets: the key with its signature, and how
// far the notes are moved when played.
type abcKey struct {
	set       bool // a key was named
	key       theory.Key
	sig       signature
	octave    int // octave=
	clefShift int // of a clef with an 8: octaves
	transpose int
	// What the field itself named.
	octaveSet, transposeSet, clefSet bool
	told                             []string // what was not obeyed
}

var (
	keyTonic = regexp.MustCompile(`^([A-Ga-g][#b♯♭]?)(?:\s*((?i:(?:maj|min|mix|dor|phr|lyd|loc|aeo|ion)[a-z]*|m)))?(?:$|[\s_^=\[,])`)
	keySigns = regexp.MustCompile(`^(\^\^|__|\^|_|=)([A-Ga-g])$`)
	// A word, = and a value; with one letter only without spaces, for in "Gm =f"
	// the m is the mode.
	keyPairs  = regexp.MustCompile(`(?:^|\s)([A-Za-z][A-Za-z]+\s*|[tm])=\s*("[^"]*"|[^\s"]+)`)
	keySpaces = regexp.MustCompile(`((?:\^\^|__|\^|_|=)[A-Ga-g])`)
	clefName  = regexp.MustCompile(`^(?:treble|alto|tenor|bass|soprano|mezzo|baritone|perc|none|auto|G|F|C)?[1-5]?([-+_^]8|[-+]15)?$`)
	modeWord  = regexp.MustCompile(`^(?i:maj|min|mix|dor|phr|lyd|loc|aeo|ion)`)
)

// readKey reads the value of a K: field (ABC 2.1, 3.1.14 and 4.6). ok is false
// when it names no key although it should.
func readKey(v string, old abcKey) (k abcKey, ok bool) {
	k = old
	k.octaveSet, k.transposeSet, k.clefSet, k.told = false, false, false, nil
	v = strings.TrimSpace(v)
	pair := func(m []string) bool {
		name := strings.TrimSpace(m[1])
		return !keyTonic.MatchString(name) && !strings.EqualFold(name, "exp") && !strings.EqualFold(name, "none") && !modeWord.MatchString(name)
	}
	if strings.Contains(v, "=") {
		v = strings.TrimSpace(keyPairs.ReplaceAllStringFunc(v, func(s string) string {
			m := keyPairs.FindStringSubmatch(s)
			if !pair(m) {
				return s
			}
			if why := k.pair(strings.TrimSpace(m[1]), strings.Trim(m[2], `"`)); why != "" {
				k.told = append(k.told, why)
			}
			return " "
		}))
	}
	named := false // a key or a sign of one
	rest := v
	explicit := false
	fields := strings.Fields(v)
	switch first := strings.ToLower(strings.Join(fields[:min(1, len(fields))], "")); {
	case v == "":
		// "K:" alone, or with a clef only: no signature in the header.
		if !old.set {
			k.key, k.sig = theory.Key{}, signature{}
		}
		return k, true
	case first == "none":
		named, k.key, k.sig = true, theory.Key{}, signature{}
		rest = v[len(first):]
	case fields[0] == "HP" || fields[0] == "Hp":
		// Pipe music: F and C sharp, whether they are printed or not.
		named = true
		k.key = theory.Key{Tonic: theory.Name{Letter: theory.D}, Fifths: 2}
		k.sig = signatureOf(k.key)
		rest = v[2:]
	default:
		m := keyTonic.FindStringSubmatchIndex(v)
		if m == nil {
			break
		}
		end := max(m[3], m[5])
		parsed, err := theory.ParseKey(v[:end])
		if err != nil {
			return k, false
		}
		named, k.key, k.sig = true, parsed, signatureOf(parsed)
		rest = v[end:]
	}
	// What follows: exp, explicit accidentals, a clef.
	for _, w := range strings.FieldsFunc(spaceSigns(rest), func(r rune) bool { return unicode.IsSpace(r) || r == '[' || r == ']' || r == ',' }) {
		switch m := keySigns.FindStringSubmatch(w); {
		case strings.EqualFold(w, "exp"):
			k.sig, explicit, named = signature{}, true, true
		case m != nil:
			k.sig[letterOf(m[2][0])] = map[string]int8{"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}[m[1]]
			explicit, named = true, true
		default:
			c := clefName.FindStringSubmatch(w)
			if c == nil {
				if !named {
					return k, false
				}
				continue // a word that does not change the notes
			}
			k.clef(c[1])
		}
	}
	if explicit {
		k.key = nameSignature(k.key, k.sig)
	}
	k.set = k.set || named
	return k, true
}

// spaceSigns parts accidentals written together: "^f_b" to "^f _b".
func spaceSigns(s string) string {
	if !strings.ContainsAny(s, "^_=") {
		return s
	}
	return keySpaces.ReplaceAllString(s, " $1 ")
}

// pair reads one of the assignments that K: and V: share (ABC 2.1, 4.6 and
// 7.1). middle= and stafflines= change the print alone. It returns what is wrong
// when an assignment that moves the notes is not obeyed.
func (k *abcKey) pair(name, value string) string {
	n, err := strconv.Atoi(value)
	switch strings.ToLower(strings.TrimSpace(name)) {
	case "octave":
		if err != nil || n < -4 || n > 4 {
			return "octave=" + quote(value) + " is not obeyed (write a figure from -4 to 4)"
		}
		k.octave, k.octaveSet = n, true
	case "transpose", "t":
		if err != nil || n < -36 || n > 36 {
			return "transpose=" + quote(value) + " is not obeyed (write semitones from -36 to 36)"
		}
		k.transpose, k.transposeSet = n, true
	case "shift", "sound":
		return name + "= is not obeyed (write transpose= with the semitones)"
	case "clef":
		if c := clefName.FindStringSubmatch(value); c != nil {
			k.clef(c[1])
		}
	}
	return ""
}

// clef reads the octave mark of a clef: treble-8 sounds an octave lower (ABC
// 2.1, 4.6), until another clef comes.
func (k *abcKey) clef(mark string) {
	k.clefShift = map[string]int{"-8": -1, "_8": -1, "+8": 1, "^8": 1, "-15": -2, "+15": 2}[mark]
	k.clefSet = true
}

// nameSignature gives a key with explicit signs the count of its signature, so
// that spelling follows the page; the tonic stays.
func nameSignature(k theory.Key, sig signature) theory.Key {
	sum := 0
	for _, a := range sig {
		sum += int(a)
	}
	k.Fifths = max(-7, min(7, sum))
	return k
}

func letterOf(c byte) theory.Letter {
	if c >= 'a' {
		c -= 'a' - 'A'
	}
	return theory.Letter(strings.IndexByte("CDEFGAB", c))
}

var (
	metreFraction = regexp.MustCompile(`^\(?\s*([0-9]+(?:\s*\+\s*[0-9]+)*)\s*\)?\s*/\s*([0-9]+)$`)
	metreJoin     = regexp.MustCompile(`(/\s*[0-9]+)\s*\+\s*[(0-9]`)
	lengthField   = regexp.MustCompile(`^1\s*/\s*([0-9]+)$|^1$`)
	tempoFull     = regexp.MustCompile(`^((?:[0-9]+/[0-9]+\s*)+)=\s*(?:c\.|ca\.?)?\s*([0-9]+(?:\.[0-9]+)?)$`)
	tempoUnits    = regexp.MustCompile(`^C?([0-9]*)(?:/([0-9]+))?\s*=\s*([0-9]+(?:\.[0-9]+)?)$`)
	tempoBare     = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)$`)
	tempoWords    = regexp.MustCompile(`^\pL[\pL .,'-]*$`)
	quoted        = regexp.MustCompile(`"([^"]*)"`)
)

// readMetre reads the value of an M: field; free is true for none.
func readMetre(v string) (m theory.Metre, free, ok bool) {
	v = strings.TrimSpace(v)
	switch {
	case v == "C" || v == "c":
		return theory.Metre{Num: 4, Den: 4}, false, true
	case v == "C|" || v == "c|":
		return theory.Metre{Num: 2, Den: 2}, false, true
	case v == "" || strings.EqualFold(v, "none") || strings.EqualFold(v, "free"):
		return theory.Metre{Num: 4, Den: 4}, true, true
	}
	// Fractions joined by +, each perhaps with a sum above the line: 2/4+3/8.
	total := theory.Time{}
	for i, part := range fractionsOf(v) {
		f := metreFraction.FindStringSubmatch(part)
		if f == nil || i == 8 {
			return m, false, false
		}
		one := theory.Metre{}
		for _, n := range strings.Split(f[1], "+") {
			k, err := strconv.Atoi(strings.TrimSpace(n))
			if err != nil || k > 99 {
				return m, false, false
			}
			one.Num += k
		}
		den, err := strconv.Atoi(f[2])
		one.Den = den
		if err != nil || !validMetre(one) {
			return m, false, false
		}
		total = total.Add(full(one))
		m.Den = max(m.Den, one.Den)
	}
	whole := total.Mul(int64(m.Den), 4) // in parts of the finest
	m.Num = int(whole.Num())
	return m, false, validMetre(m)
}

// fractionsOf cuts "2/4+3/8" behind each fraction, not "3+2/8".
func fractionsOf(v string) []string {
	var out []string
	for {
		m := metreJoin.FindStringSubmatchIndex(v)
		if m == nil {
			return append(out, v)
		}
		out = append(out, v[:m[3]])
		v = v[m[1]-1:]
	}
}

// validMetre bounds a time signature: a power of two below, up to 64.
func validMetre(m theory.Metre) bool {
	return m.Num > 0 && m.Num <= 256 && m.Den > 0 && m.Den <= 64 && m.Den&(m.Den-1) == 0
}

// defaultUnit is L: when the sheet has none: a metre below 3/4 has sixteenths
// (ABC 2.1, 3.1.7).
func defaultUnit(m theory.Metre, free bool) theory.Time {
	if !free && 4*m.Num < 3*m.Den {
		return theory.Quarters(1, 4)
	}
	return theory.Quarters(1, 2)
}

// readUnit reads the value of an L: field.
func readUnit(v string) (theory.Time, bool) {
	m := lengthField.FindStringSubmatch(strings.TrimSpace(v))
	if m == nil {
		return theory.Time{}, false
	}
	den := 1
	if m[1] != "" {
		den, _ = strconv.Atoi(m[1])
	}
	if den < 1 || den > 512 || den&(den-1) != 0 {
		return theory.Time{}, false
	}
	return theory.Quarters(4, int64(den)), true
}

// readTempo reads the value of a Q: field into quarters a minute (0: words
// only). Forms of ABC 2.1, 3.1.8, and the older Q:120, Q:C=120, Q:C3=40, which
// count unit lengths.
func readTempo(v string, unit theory.Time) (bpm float64, text string, ok bool) {
	v = strings.TrimSpace(v)
	var words []string
	for _, m := range quoted.FindAllStringSubmatch(v, -1) {
		if w := strings.TrimSpace(m[1]); w != "" {
			words = append(words, w)
		}
	}
	text = strings.Join(words, " ")
	v = strings.TrimSpace(quoted.ReplaceAllString(v, " "))
	if v == "" {
		return 0, text, true
	}
	beat, figure := 0.0, ""
	if m := tempoFull.FindStringSubmatch(v); m != nil {
		for _, f := range strings.Fields(m[1]) {
			n, d, _ := strings.Cut(f, "/")
			num, _ := strconv.ParseFloat(n, 64)
			den, _ := strconv.ParseFloat(d, 64)
			if den == 0 {
				return 0, text, false
			}
			beat += 4 * num / den
		}
		figure = m[2]
	} else if m := tempoUnits.FindStringSubmatch(v); m != nil {
		beat = unit.Float()
		if m[1] != "" {
			n, _ := strconv.ParseFloat(m[1], 64)
			beat *= n
		}
		if m[2] != "" {
			d, _ := strconv.ParseFloat(m[2], 64)
			if d == 0 {
				return 0, text, false
			}
			beat /= d
		}
		figure = m[3]
	} else if m := tempoBare.FindStringSubmatch(v); m != nil {
		beat, figure = unit.Float(), m[1]
	} else if tempoWords.MatchString(v) && text == "" {
		return 0, v, true // words without their quotes
	} else {
		return 0, text, false
	}
	n, err := strconv.ParseFloat(figure, 64)
	bpm = beat * n
	return bpm, text, err == nil && validTempo(bpm)
}

// validTempo bounds quarters a minute: what a metronome or a player can do.
func validTempo(bpm float64) bool { return bpm >= 5 && bpm <= 1000 }
