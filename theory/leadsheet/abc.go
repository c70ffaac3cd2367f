package leadsheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

var (
	abcField  = regexp.MustCompile(`(?m)^[ \t]*[XTKM]:`)
	fieldLine = regexp.MustCompile(`^([A-Za-z+]):`)
	// A body line such as "A:|" or "d::" is music although it begins like a field.
	notField = regexp.MustCompile(`^[A-Ga-gzx]:[|:]`)
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

	// What the header sets for every voice.
	key     abcKey
	metre   theory.Metre
	free    bool
	unit    theory.Time
	unitSet bool
	tempi   []tempo // of the header

	accidentals string // how long they hold: pitch, octave, not
	order       string // the header's P:
	orderAt     place
	lastField   byte
}

// readABC reads the tune opt asks for. It returns nil when it logged a fault.
func readABC(text string, opt Options, l *log) *sheet {
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
	from, to, ok := chooseTune(lines, opt.Number, l)
	if !ok {
		return nil
	}
	r := &abcReader{
		log: l, sheet: &sheet{howSymbols: `write them in double quotes before the notes: "Am7"A2`}, metre: theory.Metre{Num: 4, Den: 4}, free: true,
		unit: theory.Quarters(1, 2), accidentals: "pitch",
	}
	for i, line := range lines[:from] { // the file's own header
		if f := fieldLine.FindString(line); f != "" && strings.ContainsAny(f[:1], "MLI") || strings.HasPrefix(line, "%%") {
			r.header(line, i+1)
		}
	}
	r.lines(lines[from:to], from)
	return r.finish(opt)
}

// chooseTune gives the lines [from, to) of the tune with the number, or of the
// first. Lines before an X: belong to no tune unless there is none.
func chooseTune(lines []string, number int, l *log) (from, to int, ok bool) {
	var starts, numbers []int
	for i, line := range lines {
		if rest, found := strings.CutPrefix(strings.TrimLeft(line, " \t"), "X:"); found {
			n, _ := strconv.Atoi(strings.TrimSpace(strings.SplitN(rest, "%", 2)[0]))
			starts, numbers = append(starts, i), append(numbers, n)
		}
	}
	if len(starts) == 0 {
		if number != 0 {
			l.fault(place{}, "leave the number out", "there is no tune X:%d: the file has no X: fields", number)
			return 0, 0, false
		}
		return 0, len(lines), true
	}
	k := 0
	if number != 0 {
		if k = slices.Index(numbers, number); k < 0 {
			l.fault(place{}, "choose one that is there", "there is no tune X:%d: %s", number, listed(numbers))
			return 0, 0, false
		}
	} else if len(starts) > 1 {
		l.warn(place{starts[0] + 1, 1}, "the file holds %d tunes and the first is read; another is chosen by its number", len(starts))
	}
	to = len(lines)
	if k+1 < len(starts) {
		to = starts[k+1]
	}
	return starts[k], to, true
}

// listed names the tunes of a file.
func listed(numbers []int) string {
	const most = 12
	var b strings.Builder
	b.WriteString("the file has ")
	for i, n := range numbers {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(numbers)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strconv.Itoa(n))
	}
	return b.String()
}

// lines reads the tune, whose first line is number first+1 of the file.
func (r *abcReader) lines(lines []string, first int) {
	skipTo := ""
	for i, line := range lines {
		n := first + i + 1
		if skipTo != "" {
			if strings.HasPrefix(line, "%%"+skipTo) {
				skipTo = ""
			}
			continue
		}
		if rest, ok := strings.CutPrefix(line, "%%begin"); ok {
			word, _, _ := strings.Cut(rest, " ")
			skipTo = "end" + strings.TrimSpace(word)
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
		r.directive(line)
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
	r.lastField = letter
	value := fieldValue(line[indent+2:])
	at := place{n, indent + 3}
	switch letter {
	case 'T':
		if r.sheet.title == "" {
			r.sheet.title = abcText(value)
		}
	case 'C':
		if r.sheet.composer == "" {
			r.sheet.composer = abcText(value)
		}
	case 'P':
		r.order, r.orderAt = value, at
	case 'K':
		r.keySeen = true
		if r.keyField(value, at, &r.key, abcKey{}) {
			r.startBody()
		}
	default:
		r.anyField(letter, value, at)
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
		r.instruction(value)
	case 'm':
		r.warnOnce(at, "macros (m:) are not expanded")
	}
}

// keyField reads K: into key; before is what the field may leave as it was.
func (r *abcReader) keyField(value string, at place, key *abcKey, before abcKey) bool {
	k, ok := readKey(value, before)
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
	for _, v := range r.voices {
		own := v.key
		v.start(r)
		if own.moved {
			v.key.octave, v.key.transpose = own.octave, own.transpose
		}
	}
	if len(r.voices) > 0 {
		r.v = r.voices[0]
	}
}

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

// maxVoices bounds the voices of a tune.
const maxVoices = 200

// voiceField reads V: with what may follow the name.
func (r *abcReader) voiceField(value string, at place) {
	id, rest, _ := strings.Cut(strings.TrimSpace(value), " ")
	if id == "" {
		r.warn(at, "a V: field without the name of a voice is not read")
		return
	}
	if len(r.voices) >= maxVoices {
		r.warnOnce(at, "there are too many voices; this one is written into the one before")
		return
	}
	v := r.voiceNamed(id)
	for _, m := range keyPairs.FindAllStringSubmatch(rest, -1) {
		val := strings.Trim(m[2], `"`)
		switch m[1] {
		case "name", "nm":
			v.name = val
		}
		v.key.pair(m[1], val)
	}
	for _, w := range strings.Fields(keyPairs.ReplaceAllString(rest, " ")) {
		if c := clefName.FindStringSubmatch(w); c != nil {
			v.key.clef(c[1])
		}
	}
	if r.inBody {
		r.v = v
	}
}

func (r *abcReader) setMetre(value string, at place) {
	m, free, ok := readMetre(value)
	if !ok {
		r.fault(at, "write it as M:4/4, M:6/8, M:C, M:C| or M:none", "unknown metre %s", quote(value))
		return
	}
	if r.inBody {
		r.voice().metre, r.voice().free = m, free
		return
	}
	r.metre, r.free = m, free
	if !r.unitSet {
		r.unit = defaultUnit(m, free)
	}
}

func (r *abcReader) setUnit(value string, at place) {
	u, ok := readUnit(value)
	if !ok {
		r.fault(at, "write it as L:1/8", "unknown unit note length %s", quote(value))
		return
	}
	if r.inBody {
		r.voice().unit = u
		return
	}
	r.unit, r.unitSet = u, true
}

func (r *abcReader) setTempo(value string, at place) {
	unit := r.unit
	if r.inBody {
		unit = r.voice().unit
	}
	bpm, text, ok := readTempo(value, unit)
	switch {
	case !ok:
		r.warn(at, "the tempo %s is not read (write it as Q:1/4=120)", quote(value))
		return
	case bpm == 0:
		if r.sheet.tempoText == "" {
			r.sheet.tempoText = abcText(text)
		}
		return
	}
	m := tempo{bpm: bpm, text: abcText(text)}
	if r.inBody {
		v := r.voice()
		m.at = v.t
		v.cur.tempi = append(v.cur.tempi, m)
		return
	}
	r.tempi = []tempo{m}
}

// directive reads %% lines; a comment says nothing.
func (r *abcReader) directive(line string) {
	if rest, ok := strings.CutPrefix(line, "%%"); ok {
		r.instruction(rest)
	}
}

// instruction reads I: and %%: of all there are, only how long accidentals
// hold changes the notes.
func (r *abcReader) instruction(s string) {
	f := strings.Fields(s)
	if len(f) == 2 && f[0] == "propagate-accidentals" {
		switch f[1] {
		case "pitch", "octave", "not":
			r.accidentals = f[1]
		}
	}
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
		r.directive(line)
		return
	}
	indent := len(line) - len(strings.TrimLeft(line, " \t"))
	if f := line[indent:]; fieldLine.MatchString(f) && !notField.MatchString(f) {
		at := place{n, indent + 3}
		value := fieldValue(f[2:])
		r.bodyField(f[0], strings.TrimRight(strings.TrimSpace(strings.TrimSuffix(value, `\`)), " "), at)
		return
	}
	v := r.voice()
	v.line(line, n)
}

// bodyField reads a field in the music, on its own line or inline.
func (r *abcReader) bodyField(letter byte, value string, at place) {
	switch letter {
	case 'K':
		v := r.voice()
		r.keyField(value, at, &v.key, v.key)
	case 'P':
		r.part(value, at)
	case 's':
		r.warnOnce(at, "symbol lines (s:) are not read")
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
	switch strings.ToLower(strings.Trim(strings.ReplaceAll(value, " ", ""), ".")) {
	case "dc", "d.c", "dacapo", "d.c.alfine", "d.c.alcoda", "dcalfine", "dcalcoda":
		v.sign("D.C.", at)
		return
	case "ds", "d.s", "dalsegno", "d.s.alfine", "d.s.alcoda", "dsalfine", "dsalcoda":
		v.sign("D.S.", at)
		return
	case "segno", "fine":
		v.sign(strings.ToLower(strings.Trim(value, ". ")), at)
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
	if len(r.faults) > 0 {
		return nil
	}
	s := r.sheet
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
	if len(s.bars) > 0 && len(r.tempi) > 0 {
		s.bars[0].tempi = slices.Insert(s.bars[0].tempi, 0, r.tempi...)
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
			others = append(others, o.id)
		}
	}
	if len(others) > 0 {
		r.warn(place{}, "only voice %s is read; left out: %s", v.id, strings.Join(others, ", "))
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
				names = append(names, v.id)
			}
			r.fault(place{}, "choose one that is there", "there is no voice %s: the tune has %s", quote(want), strings.Join(names, ", "))
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
	if len(s) > 1000 {
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
			open = append(open, len(names))
		case c == ')' && len(open) > 0:
			last = open[len(open)-1]
			open = open[:len(open)-1]
		case c >= '0' && c <= '9':
			d := leadingDigits(s[i:])
			i += len(d) - 1
			n, err := strconv.Atoi(d)
			if err != nil || n > 100 || n*(len(names)-last) > maxBars {
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

// abcText turns the escapes of ABC 2.1, 8.2, for letters with accents into the
// letters, as far as they are in common use.
func abcText(s string) string {
	if !strings.ContainsAny(s, `\&`) {
		return s
	}
	return accents.Replace(s)
}

var accents = func() *strings.Replacer {
	var pairs []string
	for mark, letters := range map[string]string{
		"`": "AÀEÈIÌOÒUÙaàeèiìoòuù", "'": "AÁEÉIÍOÓUÚYÝaáeéiíoóuúyý", "^": "AÂEÊIÎOÔUÛaâeêiîoôuû",
		"~": "AÃNÑOÕaãnñoõ", `"`: "AÄEËIÏOÖUÜYŸaäeëiïoöuüyÿ", "c": "CÇcç", ",": "CÇcç", "/": "OØoø", "v": "CČSŠZŽcčsšzž",
	} {
		r := []rune(letters)
		for i := 0; i < len(r); i += 2 {
			pairs = append(pairs, `\`+mark+string(r[i]), string(r[i+1]))
		}
	}
	pairs = append(pairs, `\ss`, "ß", `\aa`, "å", `\AA`, "Å", `\ae`, "æ", `\AE`, "Æ", "&amp;", "&", `\&`, "&", `\\`, `\`)
	return strings.NewReplacer(pairs...)
}()
