package leadsheet

import (
	"html"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

var (
	abcField  = regexp.MustCompile(`(?m)^[ \t]*[XTKM]:`)
	fieldLine = regexp.MustCompile(`^([A-Za-z+]):`)
	// A body line such as "A:|" or "d::" is music although it begins like a field.
	notField = regexp.MustCompile(`^[A-Ga-gzxZX]:[|:]`)
	partName = regexp.MustCompile(`^([A-Z])(?:$|[^A-Za-z].*)`)
	partWord = regexp.MustCompile(`^[A-Z][A-Za-z]+[ 0-9A-Za-z]*$`)
)

func looksLikeABC(text string) bool {
	return strings.HasPrefix(text, "%abc") || abcField.MatchString(text)
}

// An abcReader reads one tune.
type abcReader struct {
	*log
	sheet   *sheet
	voices  []*abcVoice
	v       *abcVoice // the voice that is being written
	inBody  bool
	keySeen bool
	begun   bool // music was read, or a voice chosen for it
	stop    bool // a limit was passed: nothing more is read

	// What the header sets for every voice.
	key     abcKey
	metre   theory.Metre
	free    bool
	unit    theory.Time
	unitSet bool
	tempi   []tempo // of the header
	tempo   pendingField
	charset pendingField // what the file says of its letters

	accidentals string // how long they hold: pitch, octave, not
	order       string // the header's P:
	orderAt     place
	lastField   byte
	user        map[rune]string // what U: makes of a letter
	bangBreaks  bool            // a ! breaks the line in print and is no decoration
}

// A pendingField is a field whose meaning depends on those after it.
type pendingField struct {
	value string
	at    place
}

// readABC reads the tune opt asks for. It returns nil when it logged a fault.
func readABC(text string, opt Options, l *log) *sheet {
	lines := abcLines(text)
	list := entries(lines)
	e, ok := chooseTune(list, opt, l)
	if !ok {
		return nil
	}
	r := &abcReader{
		log: l, sheet: &sheet{howSymbols: `write them in double quotes before the notes: "Am7"A2`, lines: lines},
		metre: theory.Metre{Num: 4, Den: 4}, free: true, unit: theory.Quarters(1, 2), accidentals: "pitch", user: make(map[rune]string),
	}
	r.fileHeader(lines[:list[0].from])
	usual := r.sheet.composer // of the file, for tunes that name none
	r.sheet.composer = ""
	r.lines(lines[e.from:e.to], e.from)
	if r.sheet.composer == "" {
		r.sheet.composer = usual
	}
	return r.finish(opt)
}

// fileHeader reads what stands before the first tune and holds for all of them
// (ABC 2.1, 2.2.2): fields and directives up to the first line of free text.
func (r *abcReader) fileHeader(lines []string) {
	for i, line := range lines {
		switch {
		case strings.HasPrefix(line, "%%"):
			r.header(line, i+1)
		case strings.HasPrefix(line, "%") || strings.TrimSpace(line) == "":
		case !fieldLine.MatchString(line):
			return
		case strings.ContainsAny(line[:1], "MLQIUmC"):
			r.header(line, i+1)
		}
	}
}

// lines reads the tune, whose first line is number first+1 of the file.
func (r *abcReader) lines(lines []string, first int) {
	closing, opened := "", 0
	for i, line := range lines {
		n := first + i + 1
		if r.stop {
			return
		}
		if closing != "" {
			if strings.HasPrefix(line, closing) {
				closing = ""
			}
			continue
		}
		if closing = blockEnd(line); closing != "" {
			opened = n
			continue
		}
		if strings.TrimSpace(line) == "" {
			if r.inBody && r.hasMusic() {
				r.afterEnd(lines[i+1:], n)
				return
			}
			continue
		}
		if !r.inBody {
			r.header(line, n)
		} else {
			r.body(line, n)
		}
	}
	if closing != "" {
		r.fault(place{opened, 1}, "put "+closing+" on a line of its own where the text ends", "a block of text is not closed, and all behind it is lost")
	}
}

// hasMusic reports that a note or rest was read: an empty line before it does
// not end the tune.
func (r *abcReader) hasMusic() bool {
	return slices.ContainsFunc(r.voices, func(v *abcVoice) bool { return len(v.bars) > 0 || v.cur.filled })
}

// afterEnd warns when what follows the empty line that ends a tune looks like
// music.
func (r *abcReader) afterEnd(lines []string, at int) {
	for i, line := range lines {
		if strings.Contains(line, "|") && !strings.HasPrefix(line, "%") && !fieldLine.MatchString(line) {
			r.warn(place{at + i + 1, 1}, "what follows the empty line is not read: an empty line ends a tune")
			return
		}
	}
}

// header reads a line before the music.
func (r *abcReader) header(line string, n int) {
	if strings.HasPrefix(line, "%") {
		r.directive(line, n)
		return
	}
	m := fieldLine.FindString(strings.TrimLeft(line, " \t"))
	if m == "" {
		switch {
		case strings.Contains(line, "|") && !strings.ContainsRune("HNZ", rune(r.lastField)):
			if !r.keySeen {
				r.warn(place{n, 1}, "there is no K: field before the music; C major is assumed")
			}
			r.startBody()
			r.body(line, n)
		case strings.ContainsRune("HNZ", rune(r.lastField)):
			// A history of several lines.
		default:
			r.warn(place{n, 1}, "this line of the header is not read")
		}
		return
	}
	indent := len(line) - len(strings.TrimLeft(line, " \t"))
	letter := line[indent]
	value := fieldValue(line[indent+2:])
	at := place{n, indent + 3}
	if letter == '+' {
		r.goOn(value, at)
		return
	}
	r.lastField = letter
	if r.tooLong(letter, value, at) {
		return
	}
	switch letter {
	case 'T':
		if r.sheet.title != "" {
			r.lastField = 'N' // another title is for those who look the tune up
			return
		}
		r.sheet.title = abcText(value)
	case 'C':
		if r.sheet.composer != "" {
			r.lastField = 'N'
			return
		}
		r.sheet.composer = abcText(value)
	case 'P':
		r.order, r.orderAt = value, at
	case 'K':
		r.keySeen = true
		r.keyField(value, at, &r.key, abcKey{})
		r.startBody()
	default:
		r.anyField(letter, value, at)
	}
}

// goOn reads "+:", which continues the field before it (ABC 2.1, 3.3).
func (r *abcReader) goOn(value string, at place) {
	switch r.lastField {
	case 'T':
		r.sheet.title = strings.TrimSpace(r.sheet.title + " " + abcText(value))
	case 'C':
		r.sheet.composer = strings.TrimSpace(r.sheet.composer + " " + abcText(value))
	case 'P':
		if len(r.order) <= maxOrder {
			r.order += value
		}
	case 'K', 'L', 'M', 'Q', 'V', 'U', 'I':
		r.warn(at, "the continuation of a %c: field is not read (write the field on one line)", r.lastField)
	}
}

// anyField reads a field that means the same in the header and in the music.
func (r *abcReader) anyField(letter byte, value string, at place) {
	switch letter {
	case 'M':
		r.setMetre(value, at)
	case 'L':
		r.setUnit(value, at)
	case 'Q':
		r.setTempo(value, at)
	case 'V':
		r.voiceField(value, at)
	case 'I':
		r.instruction(value, at)
	case 'U':
		r.userSign(value, at)
	case 'w', 'W':
		r.warnOnce(at, "the words of a song (w:, W:) are not kept")
	case 'm':
		r.warnOnce(at, "macros (m:) are not expanded")
	}
}

// keyField reads K: into key; before is what the field may leave as it was.
func (r *abcReader) keyField(value string, at place, key *abcKey, before abcKey) bool {
	k, ok := readKey(value, before)
	for _, why := range k.told {
		r.tellPair(why, at)
	}
	k.told = nil
	if !ok {
		r.fault(at, "write the tonic and the mode: K:Eb, K:Dm, K:Gmix", "unknown key %s", quote(value))
		return false
	}
	*key = k
	return true
}

// startBody ends the header: what it set holds for every voice.
func (r *abcReader) startBody() {
	r.inBody = true
	r.headerTempo()
	r.startVoices()
	if len(r.voices) > 0 {
		r.v = r.voices[0]
	}
}

// startVoices gives every voice what the header set, but what V: set for it.
func (r *abcReader) startVoices() {
	for _, v := range r.voices {
		own := v.own
		v.start(r)
		if own.octaveSet {
			v.key.octave = own.octave
		}
		if own.clefSet {
			v.key.clefShift = own.clefShift
		}
		if own.transposeSet {
			v.key.transpose = own.transpose
		}
	}
}

// forAll reports whether a field still holds for every voice: it stands in
// the header, or behind K: before all music and V: fields.
func (r *abcReader) forAll() bool { return !r.inBody || !r.begun }

// voice is the current voice, made when the first music comes.
func (r *abcReader) voice() *abcVoice {
	if r.v == nil {
		r.v = r.voiceNamed("1")
	}
	return r.v
}

// voiceNamed finds or makes a voice.
func (r *abcReader) voiceNamed(id string) *abcVoice {
	for _, v := range r.voices {
		if v.id == id {
			return v
		}
	}
	v := &abcVoice{r: r, id: id}
	v.start(r)
	r.voices = append(r.voices, v)
	return v
}

// voiceField reads V: with what may follow the name (ABC 2.1, 7.1).
func (r *abcReader) voiceField(value string, at place) {
	id, rest, _ := strings.Cut(strings.ReplaceAll(strings.TrimSpace(value), "\t", " "), " ")
	if id == "" {
		r.warnOnce(at, "a V: field without the name of a voice is not read")
		return
	}
	if len(r.voices) >= maxVoices && !slices.ContainsFunc(r.voices, func(v *abcVoice) bool { return v.id == id }) {
		r.warnOnce(at, "there are too many voices; this one is written into the one before")
		return
	}
	v := r.voiceNamed(id)
	for _, m := range keyPairs.FindAllStringSubmatch(" "+rest, -1) {
		val := strings.Trim(m[2], `"`)
		switch m[1] {
		case "name", "nm":
			v.name = abcText(val)
		}
		v.own.pair(m[1], val)
		r.tellPair(v.key.pair(m[1], val), at)
	}
	for _, w := range strings.Fields(keyPairs.ReplaceAllString(" "+rest, " ")) {
		if c := clefName.FindStringSubmatch(w); c != nil {
			v.own.clef(c[1])
			v.key.clef(c[1])
		}
	}
	if r.inBody {
		r.v = v
		r.begun = true
	}
}

// tellPair warns of what a K: or V: field says about the sound and is not
// obeyed.
func (r *abcReader) tellPair(why string, at place) {
	if why != "" {
		r.warn(at, "%s", why)
	}
}

func (r *abcReader) setMetre(value string, at place) {
	m, free, ok := readMetre(value)
	if !ok {
		r.fault(at, "write it as M:4/4, M:6/8, M:C, M:C| or M:none", "unknown metre %s", quote(value))
		return
	}
	if !r.forAll() {
		r.voice().metre, r.voice().free = m, free
		return
	}
	r.metre, r.free = m, free
	if !r.unitSet && !r.inBody {
		r.unit = defaultUnit(m, free)
	}
	if r.inBody {
		r.startVoices()
	}
}

func (r *abcReader) setUnit(value string, at place) {
	u, ok := readUnit(value)
	if !ok {
		r.fault(at, "write it as L:1/8", "unknown unit note length %s", quote(value))
		return
	}
	if !r.forAll() {
		r.voice().unit = u
		return
	}
	r.unit, r.unitSet = u, true
	if r.inBody {
		r.startVoices()
	}
}

// setTempo reads Q:. Its older forms count unit lengths, and L: or M: may come
// after it: in the header it waits for the end of it.
func (r *abcReader) setTempo(value string, at place) {
	if !r.inBody {
		r.tempo = pendingField{value, at}
		return
	}
	if r.forAll() {
		r.tempo = pendingField{value, at}
		r.headerTempo()
		return
	}
	v := r.voice()
	m := r.readTempo(value, v.unit, at)
	if m.bpm == 0 {
		return
	}
	m.at = v.t
	v.cur.tempi = append(v.cur.tempi, m)
}

// headerTempo reads the Q: of the header.
func (r *abcReader) headerTempo() {
	if r.tempo.at == (place{}) {
		return
	}
	if m := r.readTempo(r.tempo.value, r.unit, r.tempo.at); m.bpm != 0 {
		r.tempi = []tempo{m}
	}
	r.tempo = pendingField{}
}

// readTempo reads the value of Q:; bpm is 0 when there is no figure in it.
func (r *abcReader) readTempo(value string, unit theory.Time, at place) tempo {
	bpm, text, ok := readTempo(value, unit)
	if !ok {
		r.warn(at, "the tempo %s is not read (write it as Q:1/4=120)", quote(value))
		return tempo{}
	}
	if bpm == 0 && r.sheet.tempoText == "" {
		r.sheet.tempoText = abcText(text)
	}
	return tempo{bpm: bpm, text: abcText(text)}
}

// directive reads %% lines; a comment says nothing.
func (r *abcReader) directive(line string, n int) {
	if rest, ok := strings.CutPrefix(line, "%%"); ok {
		r.instruction(fieldValue(rest), place{n, 1})
	}
}

// instruction reads I: and %%: of all there are, only these change the notes
// (ABC 2.1, 3.1.17, 6.1.1, 11.3). What only changes the print, or the sound of a
// player, is passed over.
func (r *abcReader) instruction(s string, at place) {
	f := strings.Fields(s)
	if len(f) < 2 {
		return
	}
	name, value := strings.ToLower(f[0]), f[1]
	switch name {
	case "propagate-accidentals":
		switch value {
		case "pitch", "octave", "not":
			r.accidentals = value
		}
	case "linebreak":
		r.bangBreaks = strings.Contains(s, "!")
	case "decoration":
		r.bangBreaks = value == "+"
	case "transpose", "shift":
		r.warnOnce(at, "a directive that transposes the notes is not obeyed (write transpose= behind K:)")
	case "midi":
		switch strings.ToLower(value) {
		case "transpose", "rtranspose", "c":
			r.warnOnce(at, "a directive that transposes the notes is not obeyed (write transpose= behind K:)")
		}
	case "abc-charset", "charset", "encoding":
		r.charset = pendingField{strings.ToLower(value), at}
	case "abc-include":
		r.warnOnce(at, "a file that the sheet includes is not read (copy it in)")
	}
}

// userSign reads U:, which gives a letter a decoration or a text (ABC 2.1,
// 4.16).
func (r *abcReader) userSign(value string, at place) {
	name, means, ok := strings.Cut(value, "=")
	letter := []rune(strings.TrimSpace(name))
	means = strings.TrimSpace(means)
	if !ok || len(letter) != 1 || !isUserSign(letter[0]) || len(means) < 2 {
		r.warn(at, "the user symbol %s is not read (write it as U:T=!trill!)", quote(value))
		return
	}
	r.user[letter[0]] = means
}

// isUserSign reports the letters that stand for a decoration or may be given
// one.
func isUserSign(c rune) bool {
	return c == '~' || c >= 'h' && c <= 'w' || c >= 'H' && c <= 'W'
}

// fieldValue cuts the comment off a field.
func fieldValue(s string) string {
	for i := 0; i < len(s); i++ {
		if s[i] == '%' && (i == 0 || s[i-1] != '\\') {
			s = s[:i]
			break
		}
	}
	return strings.TrimSpace(strings.ReplaceAll(s, `\%`, "%"))
}

// body reads a line of the music, or a field between.
func (r *abcReader) body(line string, n int) {
	if strings.HasPrefix(line, "%") {
		r.directive(line, n)
		return
	}
	indent := len(line) - len(strings.TrimLeft(line, " \t"))
	if f := line[indent:]; fieldLine.MatchString(f) && !notField.MatchString(f) {
		at := place{n, indent + 3}
		value := fieldValue(f[2:])
		r.bodyField(f[0], strings.TrimRight(strings.TrimSpace(strings.TrimSuffix(value, `\`)), " "), at)
		return
	}
	r.begun = true
	r.voice().line(line, n)
}

// tooLong refuses a field that is longer than any, but for words and remarks.
func (r *abcReader) tooLong(letter byte, value string, at place) bool {
	if len(value) <= maxField || strings.IndexByte("ABDFGHNORSWZrsw", letter) >= 0 {
		return false
	}
	r.fault(at, "write it shorter", "the field %c: is longer than %d letters", letter, maxField)
	if letter == 'K' {
		r.startBody()
	}
	return true
}

// bodyField reads a field in the music, on its own line or inline.
func (r *abcReader) bodyField(letter byte, value string, at place) {
	if r.tooLong(letter, value, at) {
		return
	}
	switch letter {
	case 'K':
		if r.forAll() {
			r.keyField(value, at, &r.key, r.key)
			r.startVoices()
			return
		}
		v := r.voice()
		r.keyField(value, at, &v.key, v.key)
	case 'P':
		r.part(value, at)
	case 's':
		r.voice().symbolLine(value, at)
	case '+':
		// It goes on with words or remarks.
	case 'T', 'C':
		// K: should be the last field of the header; who types puts others behind it.
		text := &r.sheet.title
		if letter == 'C' {
			text = &r.sheet.composer
		}
		switch {
		case *text == "" && !r.hasMusic():
			*text = abcText(value)
		case letter == 'T' && *text != abcText(value):
			r.warnOnce(at, "a title inside the tune is not read")
		}
	case 'X':
		r.warn(at, "a second X: in the tune is not read")
	default:
		r.anyField(letter, value, at)
	}
}

// part reads P: between notes: a label where a part starts, or in older tunes
// a sign for a jump or any text.
func (r *abcReader) part(value string, at place) {
	v := r.voice()
	if name, ok := jumpOf(value); ok && name != "coda" {
		v.sign(name, at)
		return
	}
	m := partName.FindStringSubmatch(value)
	switch {
	case m != nil:
		v.startPart(value, m[1], at)
	case partWord.MatchString(value) && !v.cur.filled && r.order == "":
		v.startPart(value, "", at)
	default:
		r.warnOnce(at, "a text in P: that names no part is not read")
	}
}

// finish chooses the voice and makes the sheet.
func (r *abcReader) finish(opt Options) *sheet {
	for _, v := range r.voices {
		v.finish()
	}
	v, symbols := r.chooseVoice(opt.Melody)
	if len(r.faults) > 0 && !r.lenient {
		return nil
	}
	s := r.sheet
	if v == nil && r.lenient && len(r.voices) > 0 {
		v, symbols = r.voices[0], r.voices[0] // rests are a beginning
	}
	if known := "utf-8 utf8 us-ascii iso-8859-1 latin1 latin-1 windows-1252 1"; r.charset.value != "" && !slices.Contains(strings.Fields(known), r.charset.value) &&
		strings.ContainsFunc(s.title+s.composer, func(c rune) bool { return c >= 0x80 }) {
		r.warn(r.charset.at, "the letters with accents may be wrong: they are read as UTF-8 or Windows-1252 (save the file as UTF-8)")
	}
	if v == nil {
		return s // without notes: build says so
	}
	if symbols != v {
		for i, b := range v.bars {
			if i < len(symbols.bars) {
				b.symbols = symbols.bars[i].symbols
			}
		}
	}
	for _, b := range v.bars {
		s.bars = append(s.bars, &b.bar)
	}
	v.resolveSigns()
	if !slices.ContainsFunc(s.bars, hasTempo) {
		for _, other := range r.voices { // a tempo inside the tune stands in one voice only
			for i, b := range other.bars {
				if i < len(s.bars) {
					s.bars[i].tempi = append(s.bars[i].tempi, b.tempi...)
				}
			}
		}
	}
	if len(s.bars) > 0 && len(r.tempi) > 0 {
		s.bars[0].tempi = slices.Insert(s.bars[0].tempi, 0, r.tempi...)
	}
	if len(v.parts) == 0 {
		for _, other := range r.voices { // labels stand in one voice only
			if len(other.parts) > 0 {
				v.takeParts(other.parts)
				break
			}
		}
	}
	if r.order != "" {
		s.order = r.playOrder(v)
	}
	var others []string
	for _, o := range r.voices {
		if o != v && o.notes > 0 {
			others = append(others, shorten(o.id))
		}
	}
	if len(others) > 0 {
		r.warn(place{}, "only voice %s is read; left out: %s (--melody chooses another)", shorten(v.id), listed(others))
	}
	return s
}

// chooseVoice gives the voice with the melody and the one with the symbols.
func (r *abcReader) chooseVoice(want string) (melody, symbols *abcVoice) {
	var first, both, withSymbols *abcVoice
	for _, v := range r.voices {
		if v.notes > 0 && first == nil {
			first = v
		}
		if v.symbols > 0 && withSymbols == nil {
			withSymbols = v
		}
		if v.notes > 0 && v.symbols > 0 && both == nil {
			both = v
		}
	}
	switch {
	case want != "":
		part, _, _ := strings.Cut(want, "/")
		for i, v := range r.voices {
			if strings.EqualFold(v.id, part) || strings.EqualFold(v.name, part) || strconv.Itoa(i+1) == part {
				melody = v
				break
			}
		}
		if melody == nil {
			var names []string
			for _, v := range r.voices {
				names = append(names, shorten(v.id))
			}
			r.fault(place{}, "choose one that is there", "there is no voice %s: the tune has %s", quote(want), listed(names))
			return nil, nil
		}
	case both != nil:
		melody = both
	default:
		melody = first
	}
	symbols = melody
	if melody != nil && melody.symbols == 0 && withSymbols != nil {
		symbols = withSymbols
	}
	return melody, symbols
}

// playOrder turns the header's P: into spans of bars, or nil when it names
// nothing that is there.
func (r *abcReader) playOrder(v *abcVoice) []span {
	if len(v.parts) == 0 {
		r.warn(r.orderAt, "the order of parts is not followed: no part is labelled in the music")
		return nil
	}
	parts := make(map[string]span)
	var lead []span
	if v.parts[0].bar > 0 { // music before the first label
		lead = []span{{0, v.parts[0].bar}}
	}
	for i, p := range v.parts {
		to := len(v.bars)
		if i+1 < len(v.parts) {
			to = v.parts[i+1].bar
		}
		if p.name == "" || p.bar >= to {
			continue
		}
		if _, twice := parts[p.name]; twice {
			r.warn(p.at, "a second part %s is not played: the order in the header plays the first", p.name)
			continue
		}
		parts[p.name] = span{p.bar, to}
	}
	names, ok := r.expandOrder(r.order)
	if !ok {
		return nil
	}
	out := lead
	played := make(map[string]bool)
	for _, n := range names {
		if p, ok := parts[n]; ok {
			out = append(out, p)
			played[n] = true
		} else if !played["-"+n] {
			r.warn(r.orderAt, "the order of parts names %s, which is not in the music", n)
			played["-"+n] = true
		}
	}
	for _, p := range v.parts {
		if p.name != "" && !played[p.name] {
			r.warn(p.at, "part %s is not played: the order in the header leaves it out", p.name)
			played[p.name] = true
		}
	}
	if len(out) == len(lead) {
		return nil
	}
	return out
}

// expandOrder reads AABA, A2B, (AB)3.C2 (ABC 2.1, 3.1.9). Words after it, as in
// "A(ABB) times 4", are left out with a warning.
func (r *abcReader) expandOrder(s string) (names []string, ok bool) {
	if len(s) > maxOrder {
		r.fault(r.orderAt, "write it shorter", "the order of parts is longer than any tune")
		return nil, false
	}
	var open []int // where the groups that are open start
	last := 0      // where what a figure would repeat starts
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= 'A' && c <= 'Z':
			last = len(names)
			names = append(names, string(c))
		case c == '(':
			last = len(names) // a figure right behind it has nothing to repeat
			open = append(open, last)
		case c == ')' && len(open) > 0:
			last = open[len(open)-1]
			open = open[:len(open)-1]
		case c >= '0' && c <= '9':
			d := leadingDigits(s[i:])
			i += len(d) - 1
			n, err := strconv.Atoi(d)
			if err != nil || n > maxOrderBy || n*(len(names)-last) > maxBars {
				r.fault(r.orderAt, "write it shorter", "the order of parts %s is longer than any tune", quote(s))
				return nil, false
			}
			group := slices.Clone(names[last:])
			names = names[:last]
			for range n {
				names = append(names, group...)
			}
			if len(names) > maxBars {
				r.fault(r.orderAt, "write it shorter", "the order of parts %s is longer than any tune", quote(s))
				return nil, false
			}
		case strings.IndexByte(" .,*+-\t", c) >= 0:
		default:
			r.warn(r.orderAt, "the end of the order of parts, %s, is not read", quote(s[i:]))
			return names, true
		}
	}
	return names, true
}

// abcText reads a text (ABC 2.1, 8.2): letters with accents written as \'e,
// &eacute; or \u00e9, and the signs for a change of font, $1.
func abcText(s string) string {
	if strings.Contains(s, "$") {
		s = fontChange.ReplaceAllString(s, "$1")
	}
	if strings.Contains(s, `\`) {
		s = unicodeEscape.ReplaceAllStringFunc(s, func(e string) string {
			if e == `\\` {
				return e
			}
			n, err := strconv.ParseUint(e[2:], 16, 32)
			if err != nil || !unicode.IsGraphic(rune(n)) {
				return e
			}
			return string(rune(n))
		})
		s = accents.Replace(s)
	}
	if strings.Contains(s, "&") {
		s = unescape(s)
	}
	return s
}

// unescape reads entities with their semicolon: &eacute; and &flat;.
func unescape(s string) string { return entity.ReplaceAllStringFunc(s, html.UnescapeString) }

var (
	unicodeEscape = regexp.MustCompile(`\\\\|\\u[0-9A-Fa-f]{4}|\\U[0-9A-Fa-f]{8}`)
	entity        = regexp.MustCompile(`&[A-Za-z0-9#]{1,32};`)
	fontChange    = regexp.MustCompile(`\$(?:[0-9]|(\$))`)
)

// accents are the mnemonics of ABC 2.1, 8.2.
var accents = func() *strings.Replacer {
	var pairs []string
	for _, row := range []struct{ mark, letters string }{
		{"`", "AÀEÈIÌOÒUÙaàeèiìoòuù"}, {"'", "AÁEÉIÍOÓUÚYÝaáeéiíoóuúyý"}, {"^", "AÂEÊIÎOÔUÛYŶaâeêiîoôuûyŷ"},
		{"~", "AÃNÑOÕaãnñoõ"}, {`"`, "AÄEËIÏOÖUÜYŸaäeëiïoöuüyÿ"}, {"c", "CÇcç"}, {",", "CÇcç"}, {"/", "OØoø"},
		{"v", "CČSŠZŽEĚcčsšzžeě"}, {"u", "AĂEĔaăeĕ"}, {"H", "OŐUŰoőuű"}, {"A", "AÅ"}, {"a", "aå"},
	} {
		r := []rune(row.letters)
		for i := 0; i < len(r); i += 2 {
			pairs = append(pairs, `\`+row.mark+string(r[i]), string(r[i+1]))
		}
	}
	pairs = append(pairs, `\ss`, "ß", `\AE`, "Æ", `\ae`, "æ", `\OE`, "Œ", `\oe`, "œ", `\DH`, "Ð", `\dh`, "ð", `\TH`, "Þ", `\th`, "þ",
		`\&`, "&amp;", `\%`, "%", `\"`, `"`, `\\`, `\`)
	return strings.NewReplacer(pairs...)
}()
