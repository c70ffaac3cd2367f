package leadsheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

// An abcBar is a written bar while it is read.
type abcBar struct {
	bar
	events int      // how many notes and rests
	filled bool     // something with a length stands in it
	groups []shared // symbols that share their time
}

// A shared is several symbols written in one text.
type shared struct {
	at     theory.Time
	place  place
	chords []theory.Chord
}

// An abcPart is a P: label in the music.
type abcPart struct {
	bar  int    // the first bar of the part
	name string // one letter, or empty for a word
	full string
	at   place
}

// An abcVoice reads the notes of one voice.
type abcVoice struct {
	r    *abcReader
	id   string
	name string

	own   abcKey // what V: set for it
	key   abcKey
	metre theory.Metre
	free  bool
	unit  theory.Time

	bars    []*abcBar
	cur     *abcBar
	t       theory.Time // where the next note starts in the bar
	notes   int         // how many so far
	symbols int
	parts   []abcPart
	ending  []int // the variant ending that is open
	times   int   // what |:: asked for, 0 without

	acc     map[accKey]int8 // accidentals in force to the bar's end
	pending []pendingText   // quoted texts that wait for a note
	blank   place           // a pair of empty quotes that waits for a note
	grace   []theory.Pitch
	last    event // the last note, chord or rest
	brokenN int64 // the factor of broken rhythm for the next note, 0 none
	brokenD int64
	tup     struct{ num, den, left int64 }

	tie      bool // the last note is tied
	tiedTo   theory.Pitch
	tieAlter int8
	tieAt    place

	over    bool  // in an overlay
	several bool  // in the first voice of an overlay of several bars, (& ... & ... &)
	passing place // where its second voice starts, which is passed over
	overEnd theory.Time
	codas   []codaSign
	row     []onset // the notes of the last line of music, for s:
}

// An onset is where a note starts.
type onset struct {
	bar *abcBar
	at  theory.Time
}

type accKey struct {
	letter theory.Letter
	octave int
}

type pendingText struct {
	place
	chords []theory.Chord
	text   string
	bar    int // how many bars were closed before it
}

// An event is something with a length; note is -1 for a rest.
type event struct {
	bar  *abcBar
	note int
	len  theory.Time
}

type codaSign struct {
	bar     *abcBar
	atStart bool
	at      place
}

// start gives the voice what the header set.
func (v *abcVoice) start(r *abcReader) {
	v.key, v.metre, v.free, v.unit = r.key, r.metre, r.free, r.unit
	if v.cur == nil {
		v.cur = &abcBar{}
	}
	v.acc = make(map[accKey]int8)
}

// interval is how far written notes are moved to sound.
func (v *abcVoice) interval() theory.Interval {
	iv := theory.Interval{}
	if v.key.transpose != 0 {
		iv = theory.IntervalFor(v.key.key, v.key.transpose)
	}
	return iv.Octaves(v.key.octave + v.key.clefShift)
}

// line reads a line of music.
func (v *abcVoice) line(text string, n int) {
	s := scanner{src: []rune(text), n: n}
	v.row = v.row[:0]
	for s.i < len(s.src) && !v.r.stop {
		if !v.token(&s) {
			break
		}
		if w := v.r.voice(); w != v { // an inline [V:] changed it
			v.settleJumps()
			v = w
			v.row = v.row[:0]
		}
	}
	v.settleJumps()
}

// A scanner stands in a line.
type scanner struct {
	src []rune
	i   int
	n   int // the line's number
}

func (s *scanner) at() place { return place{s.n, s.i + 1} }

// peek is the rune k places ahead, 0 behind the end.
func (s *scanner) peek(k int) rune {
	if s.i+k < len(s.src) {
		return s.src[s.i+k]
	}
	return 0
}

// until takes the text up to the next end rune, which is passed over; ok is
// false when there is none on the line.
func (s *scanner) until(end rune) (text string, ok bool) {
	for k := s.i; k < len(s.src); k++ {
		if s.src[k] == end {
			text = string(s.src[s.i:k])
			s.i = k + 1
			return text, true
		}
	}
	return "", false
}

// chordAhead tells a chord with its symbol inside from an ending with a name:
// the chord is closed before the next bar line.
func (s *scanner) chordAhead() bool {
	for _, c := range s.src[s.i+1:] {
		switch c {
		case ']':
			return true
		case '|', '[':
			return false
		}
	}
	return false
}

// toBar goes to the next bar line, where reading can go on after a fault.
func (s *scanner) toBar() {
	for s.i < len(s.src) && s.src[s.i] != '|' {
		s.i++
	}
}

// blanks is how many blanks come before rune k.
func (s *scanner) blanks(k int) int {
	n := 0
	for s.peek(k+n) == ' ' || s.peek(k+n) == '\t' {
		n++
	}
	return n
}

// number reads digits; ok is false when there are none or too many.
func (s *scanner) number() (n int64, ok bool) {
	from := s.i
	for s.i < len(s.src) && s.src[s.i] >= '0' && s.src[s.i] <= '9' {
		s.i++
	}
	if s.i == from {
		return 0, false
	}
	n, err := strconv.ParseInt(string(s.src[from:s.i]), 10, 64)
	if err != nil || n > 1<<20 {
		n = 1 << 20
	}
	return n, true
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// quoted reads a chord symbol or a text in quotes. Quotes that stay open end
// at the bar line.
func (v *abcVoice) quoted(s *scanner, at place) {
	open := s.peek(0)
	s.i++
	from := s.i
	text, ok := s.quotedText(open)
	// No chord symbol goes over a bar line: the quote found is the next one's.
	if bar := strings.IndexByte(text, '|'); !ok || bar >= 0 && open == '"' && !isAnnotation(text) {
		v.r.fault(at, `put a " behind it`, "a chord symbol or text has no closing quote")
		s.i = from
		s.toBar()
		return
	}
	v.text(text, at)
}

// isQuote reports the quotes of word processors.
func isQuote(c rune) bool { return c == '“' || c == '”' || c == '„' }

// token reads one thing of the music; false ends the line.
func (v *abcVoice) token(s *scanner) bool {
	c := s.peek(0)
	at := s.at()
	if v.passing != (place{}) {
		return v.pass(s)
	}
	switch {
	case c == ' ' || c == '\t' || c == '`' || c == '\\' || c == ')' || c == '$' || c == '*' || c == 0x1a:
		s.i++
	case c == '%':
		return false
	case c == '"' || isQuote(c):
		v.quoted(s, at)
	case c == '|' || c == ':' && (s.peek(1) == ':' || s.peek(1+s.blanks(1)) == '|') || c == '[' && (s.peek(1) == '|' || s.peek(1) == ']'):
		v.barLine(s)
	case c == '[' && isDigit(s.peek(1)):
		s.i++
		v.startEnding(s, at)
	case c == '[' && s.peek(1) == '"' && !s.chordAhead():
		s.i += 2
		s.until('"')
		v.r.warn(at, "an ending with a name instead of a number is read as a bar like others")
	case c == '[' && unicode.IsLetter(s.peek(1)) && s.peek(2) == ':':
		s.i++
		field, ok := s.until(']')
		if !ok {
			v.r.fault(at, "put a ] behind it", "a field in the music is not closed")
			s.toBar()
			return true
		}
		v.r.bodyField(field[0], fieldValue(field[2:]), place{s.n, at.col + 3})
	case c == '[':
		s.i++
		v.chord(s, ']', at)
	case c == ']':
		s.i++
		v.r.warnOnce(at, "a ] without its [ is not read")
	case c == '!' || c == '+':
		v.decoration(s, c, at)
	case c == '{':
		s.i++
		v.graces(s, at)
	case c == '(':
		s.i++
		if s.peek(0) == '&' {
			s.i++
			v.several = true
		} else if isDigit(s.peek(0)) {
			v.tuplet(s, at)
		}
	case c == '&':
		s.i++
		switch {
		case s.peek(0) == ')':
			s.i++
			v.several = false
		case v.several:
			v.r.warnOnce(at, secondVoice)
			v.several, v.passing = false, at
		default:
			v.overlay(at)
		}
	case c == '-':
		s.i++
		v.tieLast(at)
	case c == '<' || c == '>':
		n := 0
		for s.peek(0) == c {
			n++
			s.i++
		}
		v.broken(c, n, at)
	case c == 'z' || c == 'x':
		s.i++
		num, den := v.length(s, at)
		v.add(v.unit.Mul(num, den), nil, at)
	case c == 'Z' || c == 'X':
		s.i++
		n, ok := s.number()
		if !ok {
			n = 1
		}
		v.barRests(n, at)
	case c == 'y':
		s.i++
		v.length(s, at) // space in print
	case isNoteStart(c):
		p, natural, ok := v.pitch(s, at)
		if !ok {
			return true
		}
		num, den := v.length(s, at)
		v.add(v.unit.Mul(num, den), &played{pitch: p, written: natural}, at)
	case c == '.':
		s.i++
		if n := s.peek(0); n != '|' && n != '(' && n != '-' { // a dotted bar line, slur or tie is one like others
			v.r.warnOnce(at, notPlayed)
		}
	case isUserSign(c):
		s.i++
		v.letterSign(c, at)
	case c == '#' || c == '♯' || c == '♭':
		s.i++
		v.r.warnOnce(at, "the sign "+quote(string(c))+" is not read (a sharp is ^ before the note, a flat is _)")
	default:
		s.i++
		if isDigit(c) {
			s.number()
		}
		advice := ""
		if c >= '0' && c <= '9' { // "Dm7" typed as notes
			advice = " (a chord symbol stands in double quotes before its note: \"G7\")"
		}
		v.r.warnOnce(at, "the sign "+quote(string(c))+" is not read"+advice)
	}
	return true
}

// notPlayed tells of decorations, which the sheet keeps for the player.
const notPlayed = "ornaments and marks of expression are not read"

// letterSign obeys a letter that stands for a decoration (ABC 2.1, 4.14 and
// 4.16).
func (v *abcVoice) letterSign(c rune, at place) {
	means, ok := v.r.user[c]
	switch {
	case ok && means[0] == '"':
		v.text(strings.Trim(means, `"`), at)
	case ok:
		v.sign(strings.Trim(means, "!+"), at)
	case c == 'S':
		v.sign("segno", at)
	case c == 'O':
		v.sign("coda", at)
	default:
		v.r.warnOnce(at, notPlayed)
	}
}

func isNoteStart(c rune) bool {
	return c >= 'A' && c <= 'G' || c >= 'a' && c <= 'g' || c == '^' || c == '_' || c == '='
}

// quotedText takes the text up to the closing quote; \" is a quote in it.
// Quotes of a word processor are closed by any of their kind.
func (s *scanner) quotedText(open rune) (string, bool) {
	var b strings.Builder
	mark := strings.ContainsRune("^_<>@", s.peek(0))
	for ; s.i < len(s.src); s.i++ {
		switch c := s.src[s.i]; {
		case c == '\\' && s.peek(1) == '"':
			b.WriteRune('"')
			s.i++
		case c == '"' || isQuote(c) && (open != '"' || !mark):
			s.i++
			return b.String(), true
		default:
			b.WriteRune(c)
		}
	}
	return "", false
}

// text takes a chord symbol or an annotation.
func (v *abcVoice) text(text string, at place) {
	if strings.Contains(text, "&") {
		text = unescape(text) // B&flat;
	}
	if strings.TrimSpace(text) == "" {
		v.blank = at
		return
	}
	if name, ok := jumpText(text); ok {
		v.sign(name, at)
		return
	}
	if isAnnotation(text) {
		v.r.warnOnce(at, "annotations over the staff are not read")
		return
	}
	rd := readSymbol(text)
	if rd.fault != "" {
		v.r.fault(at, "correct it, or put ^ before it when it is a text: "+quote("^"+strings.TrimSpace(text)), "%s", rd.fault)
		return
	}
	if rd.note != "" {
		v.r.warn(at, "%s", rd.note)
	}
	switch {
	case len(rd.chords) == 0:
	case len(v.pending) >= maxWaiting:
		v.r.warnOnce(at, "so many chord symbols before one note are not read")
	default:
		v.pending = append(v.pending, pendingText{at, rd.chords, text, len(v.bars)})
	}
}

// isAnnotation reports a text with the sign of its place before it (ABC 2.1,
// 4.19).
func isAnnotation(text string) bool {
	return text != "" && strings.ContainsRune("^_<>@", rune(text[0]))
}

// jumpText gives the decoration for a quoted text that says where the tune goes
// on, an annotation or not.
func jumpText(text string) (name string, ok bool) {
	if isAnnotation(text) {
		text = strings.TrimLeft(text, "^_<>@0123456789.,- ")
	}
	return jumpOf(text)
}

// jumps are the words for where a tune goes on, without blanks and full stops.
// Common practice, no source.
var jumps = map[string]string{
	"dc": "D.C.", "dcalfine": "D.C.", "dcalcoda": "D.C.", "dacapo": "D.C.", "dacapoalfine": "D.C.", "dacapoalcoda": "D.C.",
	"ds": "D.S.", "dsalfine": "D.S.", "dsalcoda": "D.S.", "dalsegno": "D.S.", "dalsegnoalfine": "D.S.", "dalsegnoalcoda": "D.S.",
	"fine": "fine", "segno": "segno", "coda": "coda", "tocoda": "dacoda", "dacoda": "dacoda",
}

// jumpOf gives the decoration for words that say where the tune goes on.
func jumpOf(words string) (name string, ok bool) {
	if len(words) > 40 || len(words) < 2 {
		return "", false
	}
	w := strings.ToLower(strings.Map(func(r rune) rune {
		if r == '.' || unicode.IsSpace(r) {
			return -1
		}
		return r
	}, words))
	name, ok = jumps[w]
	return name, ok
}

// A played note: how it sounds, and the alteration as written for ties.
type played struct {
	pitch   theory.Pitch // as it sounds
	written writtenNote
	tied    bool
}

type writtenNote struct {
	letter theory.Letter
	octave int
	alter  int8
}

// pitch reads accidental, letter and octave. ok is false when there is no
// letter or the note is out of range; it was told then.
func (v *abcVoice) pitch(s *scanner, at place) (p theory.Pitch, w writtenNote, ok bool) {
	alter, explicit := int8(0), false
	switch s.peek(0) {
	case '^', '_':
		sign, step := s.peek(0), int8(1)
		if sign == '_' {
			step = -1
		}
		for explicit = true; s.peek(0) == sign; s.i++ {
			alter += step
			if alter > 2 || alter < -2 {
				alter -= step
			}
		}
		if s.peek(0) == '/' || isDigit(s.peek(0)) { // microtones
			s.number()
			if s.peek(0) == '/' {
				s.i++
				s.number()
			}
			v.r.warnOnce(at, "microtones are read as whole semitones")
		}
	case '=':
		explicit = true
		s.i++
	}
	c := s.peek(0)
	if !(c >= 'A' && c <= 'G' || c >= 'a' && c <= 'g') {
		v.r.warnOnce(at, "an accidental without a note is not read")
		return p, w, false
	}
	s.i++
	w.octave = 4
	if c >= 'a' {
		w.octave = 5
	}
	w.letter = letterOf(byte(c))
	for ; s.peek(0) == '\'' || s.peek(0) == ','; s.i++ {
		if s.peek(0) == ',' {
			w.octave--
		} else {
			w.octave++
		}
	}
	if w.octave < -1 || w.octave > 9 {
		v.r.fault(at, "take octave marks away", "a note out of the range of MIDI")
		return p, w, false
	}
	key := accKey{w.letter, 0}
	if v.r.accidentals == "octave" {
		key.octave = w.octave
	}
	switch held, ok := v.acc[key]; {
	case explicit:
		w.alter = alter
		if v.r.accidentals != "not" {
			v.acc[key] = alter
		}
	case v.tie && v.tiedTo.Letter == w.letter && int(v.tiedTo.Octave) == w.octave:
		w.alter = v.tieAlter // a tie carries the accidental over the bar line
	case ok:
		w.alter = held
	default:
		w.alter = v.key.sig[w.letter]
	}
	p = theory.Pitch{Name: theory.Name{Letter: w.letter, Alter: w.alter}, Octave: int8(w.octave)}
	if iv := v.interval(); iv != (theory.Interval{}) {
		p = p.Transpose(iv)
	}
	if m := p.MIDI(); m < 0 || m > 127 {
		v.r.fault(at, "take octave marks away", "a note out of the range of MIDI")
		return p, w, false
	}
	return p, w, true
}

// length reads "3/2", "/", "//", "/4" as a factor of the unit.
func (v *abcVoice) length(s *scanner, at place) (num, den int64) {
	num, den = 1, 1
	if n, ok := s.number(); ok {
		num = n
	}
	for s.peek(0) == '/' {
		s.i++
		d, ok := s.number()
		if !ok {
			d = 2
		}
		den = min(den*d, maxParting+1)
	}
	if num == 0 || num > maxLength {
		v.r.fault(at, fmt.Sprintf("write the length as a figure from 1 to %d", maxLength), "the length of this note is out of range")
		return 1, 1
	}
	if den == 0 || den > maxParting {
		v.r.fault(at, "write the length as /2, /4 or the like", "the length of this note is out of range")
		return 1, 1
	}
	return num, den
}

// add puts a note (or a rest, nil) of the length into the bar.
func (v *abcVoice) add(length theory.Time, p *played, at place) {
	if v.brokenD != 0 {
		length = length.Mul(v.brokenN, v.brokenD)
		v.brokenD = 0
	}
	if v.tup.left > 0 {
		v.tup.left--
		length = length.Mul(v.tup.num, v.tup.den)
	}
	if !v.r.sheet.grid.fits(length) || !v.r.sheet.grid.fits(v.t.Add(length)) {
		v.r.fault(at, "use lengths built from halves, thirds, fifths and sevenths", "the length %s of a quarter is too finely divided or too long", length)
		return
	}
	if v.cur.events++; v.cur.events > maxInBar {
		v.r.fault(at, "put bar lines into the tune", "this bar has more than %d notes", maxInBar)
		v.r.stop = true
		return
	}
	if v.notes >= maxNotes {
		v.r.fault(at, "give a shorter tune", "the tune has more than %d notes", maxNotes)
		v.r.stop = true
		return
	}
	v.fill(at)
	if v.blank != (place{}) && len(v.pending) == 0 && !v.symbolHere() {
		v.r.sheet.blanks++
		if p != nil {
			v.r.warnOnce(v.blank, blankSymbol)
		}
	}
	v.blank = place{}
	v.flush(at)
	note := -1
	if p != nil && !v.over {
		v.join(p, at)
		note = len(v.cur.notes)
		v.cur.notes = append(v.cur.notes, newNote(v.t, length, p, v.grace))
		v.notes++
		v.row = append(v.row, onset{v.cur, v.t})
		v.tie, v.tiedTo, v.tieAlter, v.tieAt = p.tied, theory.Pitch{Name: theory.Name{Letter: p.written.letter}, Octave: int8(p.written.octave)}, p.written.alter, at
		v.grace = nil
	} else if !v.over {
		v.tie = false
	} else if p != nil {
		v.r.warnOnce(at, secondVoice)
	}
	v.last = event{v.cur, note, length}
	v.t = v.t.Add(length)
}

const blankSymbol = "a pair of quotes is empty: the chord before goes on (type the symbol, or take the quotes out)"

func newNote(at, length theory.Time, p *played, grace []theory.Pitch) note {
	return note{at: at, len: length, pitch: p.pitch, tied: p.tied, grace: grace}
}

// join warns when the note before was tied and this one is another.
func (v *abcVoice) join(p *played, at place) {
	if v.tie && (v.tiedTo.Letter != p.written.letter || int(v.tiedTo.Octave) != p.written.octave || v.tieAlter != p.written.alter) {
		v.r.warnOnce(v.tieAt, "a tie to another note is read as a slur")
	}
}

// fill marks the bar as begun: metre and key are those in force at its first
// note.
func (v *abcVoice) fill(at place) {
	if v.cur.filled {
		return
	}
	v.cur.filled = true
	v.cur.place = at
	v.cur.metre, v.cur.free = v.metre, v.free
	v.cur.key = v.key.key
	if v.key.transpose != 0 {
		v.cur.key = v.key.key.Transpose(theory.IntervalFor(v.key.key, v.key.transpose))
	}
	if v.ending != nil && !v.cur.ending {
		v.cur.endings = v.ending
	}
}

// flush places the symbols that waited for this note. The first stands; others
// on the same note are alternatives.
func (v *abcVoice) flush(at place) {
	first := 0
	for i, p := range v.pending {
		if p.bar < v.pending[len(v.pending)-1].bar { // its own bar ended without a note for it
			v.r.warn(p.place, "the chord symbol %s stands at the end of its bar and is left out: the next bar has its own", quote(p.text))
			first = i + 1
			continue
		}
		if i > first {
			v.r.warn(p.place, "the chord symbol %s is left out: there is one on this note already", quote(p.text))
			continue
		}
		if v.symbolHere() {
			v.r.warn(p.place, "the chord symbol %s is left out: there is one in its place already", quote(p.text))
			continue
		}
		if v.key.transpose != 0 {
			iv := theory.IntervalFor(v.key.key, v.key.transpose)
			for k := range p.chords {
				p.chords[k] = p.chords[k].Transpose(iv)
			}
		}
		v.cur.symbols = append(v.cur.symbols, symbol{p.place, v.t, p.chords[0]})
		v.symbols++
		if len(p.chords) > 1 {
			v.cur.groups = append(v.cur.groups, shared{v.t, p.place, p.chords})
		}
	}
	v.pending = nil
}

// symbolHere reports that there is a symbol at this place already.
func (v *abcVoice) symbolHere() bool {
	n := len(v.cur.symbols)
	if !v.over {
		return n > 0 && v.cur.symbols[n-1].at == v.t
	}
	return slices.ContainsFunc(v.cur.symbols, func(s symbol) bool { return s.at == v.t })
}

// tieLast ties the last note to the next one.
func (v *abcVoice) tieLast(at place) {
	if v.over || v.last.note < 0 || v.last.bar == nil {
		return
	}
	v.last.bar.notes[v.last.note].tied = true
	v.tie, v.tieAt = true, at
}

// broken lengthens the last note and shortens the next (>) or the other way.
func (v *abcVoice) broken(c rune, n int, at place) {
	if v.last.bar == nil || n > 4 {
		v.r.warn(at, "a sign of broken rhythm without its notes is not read")
		return
	}
	d := int64(1) << n
	long, short := [2]int64{2*d - 1, d}, [2]int64{1, d}
	if c == '<' {
		long, short = short, long
	}
	old := v.last.len
	now := old.Mul(long[0], long[1])
	if !v.r.sheet.grid.fits(now) || v.brokenD != 0 {
		v.r.warn(at, "a sign of broken rhythm without its notes is not read")
		return
	}
	diff := now.Sub(old)
	v.last.len = now
	b := v.last.bar
	if v.last.note >= 0 {
		b.notes[v.last.note].len = now
	}
	if b == v.cur {
		v.t = v.t.Add(diff)
	} else {
		b.len = b.len.Add(diff)
	}
	v.brokenN, v.brokenD = short[0], short[1]
}

// tuplet reads (p:q:r (ABC 2.1, 4.13).
func (v *abcVoice) tuplet(s *scanner, at place) {
	p, _ := s.number()
	var q, r int64
	if s.peek(0) == ':' {
		s.i++
		q, _ = s.number()
		if s.peek(0) == ':' {
			s.i++
			r, _ = s.number()
		}
	}
	if q == 0 {
		switch p {
		case 2, 4, 8:
			q = 3
		case 3, 6:
			q = 2
		default:
			q = 2
			if m := v.metre; !v.free && m.Den >= 4 && m.Num > 3 && m.Num%3 == 0 {
				q = 3
			}
		}
	}
	if r == 0 {
		r = p
	}
	if p > maxFigure || q > maxFigure || r > maxFigure {
		v.r.fault(at, "write it as (3 or (3:2:3", "a tuplet with figures over %d", maxFigure)
		return
	}
	if p < 2 {
		v.r.warnOnce(at, "an unknown tuplet is not read (write it as (3 or (3:2:3)")
		return
	}
	if v.tup.left > 0 {
		v.r.warnOnce(at, "the tuplet before this one has too few notes")
	}
	v.tup.num, v.tup.den, v.tup.left = q, p, r
}

// chord reads [CEG], or +CEG+ of older tunes: the top note is the tune. Its
// length is that of the first note (ABC 2.1, 4.17).
func (v *abcVoice) chord(s *scanner, closing rune, at place) {
	var top *played
	first, have := theory.Time{}, false
	several := false
	for {
		c := s.peek(0)
		here := s.at()
		switch {
		case c == 0 || c == '|':
			v.r.fault(at, "put a "+string(closing)+" behind its last note", "a chord of notes is not closed")
			return
		case c == closing:
			s.i++
			num, den := v.length(s, at)
			if top == nil {
				v.r.warnOnce(at, "a chord without notes is not read")
				return
			}
			if s.peek(0) == '-' {
				s.i++
				top.tied = true
			}
			if several {
				v.r.warnOnce(at, lowerNotes)
			}
			v.add(first.Mul(num, den), top, at)
			return
		case c == '"' || isQuote(c):
			v.quoted(s, here)
		case isNoteStart(c):
			p, w, ok := v.pitch(s, here)
			if !ok {
				if s.peek(0) == c {
					s.i++
				}
				continue
			}
			num, den := v.length(s, here)
			n := &played{pitch: p, written: w}
			if s.peek(0) == '-' {
				s.i++
				n.tied = true
			}
			if !have {
				first, have = v.unit.Mul(num, den), true
			}
			several = several || top != nil
			if top == nil || n.pitch.MIDI() > top.pitch.MIDI() {
				top = n
			}
		case c == '!':
			s.passDecoration()
		case isUserSign(c):
			s.i++
			v.letterSign(c, here)
		default:
			s.i++ // slurs, marks, rests inside a chord
		}
	}
}

// passDecoration goes over !name!, or over a ! that stands alone.
func (s *scanner) passDecoration() {
	for k := s.i + 1; k < len(s.src) && s.src[k] != '|'; k++ {
		if s.src[k] == '!' {
			s.i = k
			break
		}
	}
	s.i++
}

// graces reads {abc}.
func (v *abcVoice) graces(s *scanner, at place) {
	for {
		c := s.peek(0)
		switch {
		case c == 0 || c == '|':
			v.r.fault(at, "put a } behind its last note", "a group of grace notes is not closed")
			return
		case c == '}':
			s.i++
			if v.over {
				v.grace = nil
			}
			return
		case c == '"' || isQuote(c):
			v.quoted(s, s.at())
		case c == '!':
			s.passDecoration()
		case isNoteStart(c):
			p, _, ok := v.pitch(s, s.at())
			if !ok {
				if s.peek(0) == c {
					s.i++
				}
				continue
			}
			v.length(s, at)
			if len(v.grace) < maxGraceRun {
				v.grace = append(v.grace, p)
			} else {
				v.r.warnOnce(at, "of many grace notes the first are kept")
			}
		default:
			s.i++
		}
	}
}

// decoration reads !trill! and the older +trill+; a single ! breaks the line
// in print (ABC 2.1, 10.2.1), and +CEG+ is a chord of older tunes (10.2.3).
func (v *abcVoice) decoration(s *scanner, mark rune, at place) {
	s.i++
	if mark == '!' && v.r.bangBreaks {
		return
	}
	k := s.i
	for k < len(s.src) && s.src[k] != mark && !strings.ContainsRune("|\"[]", s.src[k]) {
		k++
	}
	name := ""
	if k < len(s.src) && s.src[k] == mark {
		name = string(s.src[s.i:k])
	}
	_, jump := jumpOf(name)
	music := oldChord.MatchString(name) && strings.Trim(name, "f") != "" // !ff! is loud
	switch {
	case mark == '+' && name != "" && music:
		v.chord(s, '+', at)
	case name == "" || strings.Contains(name, " ") && !jump || music:
		if mark == '+' {
			v.r.warnOnce(at, `the sign "+" is not read`)
		}
	default:
		s.i = k + 1
		v.sign(name, at)
	}
}

// oldChord is music between two ! or +: notes with their lengths.
var oldChord = regexp.MustCompile(`^(?:[_^=]*[A-Ga-g][,']*[0-9/]*)+$`)

// sign obeys a decoration at the place where the voice stands.
func (v *abcVoice) sign(name string, at place) { v.signIn(v.cur, !v.cur.filled, name, at) }

// signIn obeys the decorations that say where the tune goes on (ABC 2.1, 4.14);
// atStart tells that it stands before all notes of bar b.
func (v *abcVoice) signIn(b *abcBar, atStart bool, name string, at place) {
	word, ok := jumpOf(name)
	if !ok {
		if name != "nil" && name != "none" && name != "" {
			v.r.warnOnce(at, notPlayed)
		}
		return
	}
	switch word {
	case "segno":
		b.segno = true
	case "coda":
		if len(v.codas) < maxWaiting {
			v.codas = append(v.codas, codaSign{b, atStart, at})
		} else {
			v.r.warnOnce(at, "so many coda signs are not read")
		}
	case "fine":
		b.fine = true
	case "dacoda":
		b.toCoda = true
	case "D.C.":
		b.daCapo, b.jumpAt = true, at
	case "D.S.":
		b.dalSegno, b.jumpAt = true, at
	}
}

// settleJumps gives what stands behind a bar line, with no note after it, to
// the bar before: a jump, the Fine, the sign to leave for the coda.
func (v *abcVoice) settleJumps() {
	b := v.cur
	if b.filled || len(v.bars) == 0 || !(b.fine || b.toCoda || b.daCapo || b.dalSegno) {
		return
	}
	last := v.bars[len(v.bars)-1]
	last.fine = last.fine || b.fine
	last.toCoda = last.toCoda || b.toCoda
	last.daCapo = last.daCapo || b.daCapo
	last.dalSegno = last.dalSegno || b.dalSegno
	if b.daCapo || b.dalSegno {
		last.jumpAt = b.jumpAt
	}
	b.fine, b.toCoda, b.daCapo, b.dalSegno = false, false, false, false
}

// resolveSigns tells the two meanings of a coda sign apart: of several, the
// first is where to leave, the last where to go on.
func (v *abcVoice) resolveSigns() {
	index := func(b *abcBar) int { return slices.Index(v.bars, b) }
	for k, c := range v.codas {
		i := index(c.bar)
		switch {
		case i < 0:
		case k < len(v.codas)-1:
			if c.atStart {
				i--
			}
			if i >= 0 {
				v.bars[i].toCoda = true
			}
		default:
			if !c.atStart {
				i++
			}
			if i < len(v.bars) {
				v.bars[i].coda = true
			}
		}
	}
}

const secondVoice = "a second voice in a bar (&) is left out"

// pass goes over the second voice of an overlay of several bars; false ends the
// line.
func (v *abcVoice) pass(s *scanner) bool {
	for ; s.i < len(s.src); s.i++ {
		if s.src[s.i] == '&' && s.peek(1) == ')' {
			s.i += 2
			v.passing = place{}
			return true
		}
	}
	return false
}

// overlay starts a second voice over the bar so far.
func (v *abcVoice) overlay(at place) {
	if v.t == (theory.Time{}) {
		v.r.warnOnce(at, "a & without notes before it is not read")
		return
	}
	if !v.over {
		v.over, v.overEnd = true, v.t
	}
	v.t = theory.Time{}
	v.last = event{}
	v.tup.left, v.brokenD = 0, 0
}

// barRests reads Zn: n bars of rest.
func (v *abcVoice) barRests(n int64, at place) {
	if n < 1 || n > maxRestBars {
		v.r.fault(at, fmt.Sprintf("write Z with a number of bars from 1 to %d", maxRestBars), "the bars of rest are out of range")
		return
	}
	for i := range n {
		if i > 0 {
			v.closeBar()
		}
		if v.r.stop {
			return
		}
		v.brokenD, v.tup.left = 0, 0
		v.add(full(v.metre), nil, at)
	}
}

// barLine reads a bar line of any form and what touches it.
func (v *abcVoice) barLine(s *scanner) {
	at := s.at()
	from := s.i
	for {
		c := s.peek(0)
		if c == '|' || c == ':' || c == ']' && s.i > from || c == '[' && (s.peek(1) == '|' || s.peek(1) == ']') {
			s.i++
			continue
		}
		// ": |" and "| :" with blanks inside, but "| :|" is two signs.
		if n := s.blanks(0); n > 0 && (c == ' ' || c == '\t') {
			next, then := s.peek(n), s.peek(n+1)
			if next == '|' && s.src[s.i-1] == ':' && onlyColons(s.src[from:s.i]) || next == ':' && then != ':' && then != '|' && s.src[s.i-1] == '|' {
				s.i += n
				continue
			}
		}
		break
	}
	sign := strings.Map(func(r rune) rune {
		if r == ' ' || r == '\t' {
			return -1
		}
		return r
	}, string(s.src[from:s.i]))
	before := len(sign) - len(strings.TrimLeft(sign, ":"))
	after := len(sign) - len(strings.TrimRight(sign, ":"))
	if before == len(sign) { // "::" and ":::": both
		before, after = (before+1)/2, before/2
	}
	if sign == "[]" || sign == "[|]" { // invisible, as a bar line like others
		sign = "|"
	}
	if before >= maxTimes || after >= maxTimes {
		v.r.fault(at, "write :| and |:", "a stretch repeated more than %d times", maxTimes)
		before, after = min(before, 1), min(after, 1)
	}
	v.closeBar()
	v.mark(before, after, strings.Contains(sign, "||") || strings.ContainsAny(sign, "[]"))
	if isDigit(s.peek(0)) {
		v.startEnding(s, at)
	}
}

func onlyColons(r []rune) bool {
	return !slices.ContainsFunc(r, func(c rune) bool { return c != ':' })
}

// mark sets what a bar line says about the bars on both sides of it.
func (v *abcVoice) mark(before, after int, double bool) {
	if before > 0 && len(v.bars) > 0 {
		last := v.bars[len(v.bars)-1]
		last.back = max(last.back, before+1, v.times)
		v.times = 0
	}
	if before > 0 || after > 0 || double {
		v.ending = nil
		v.cur.starts = true
	}
	if after > 0 {
		v.cur.from = true
		v.times = after + 1
	}
}

// startEnding reads the list of a variant ending: 1  1,3  1-3.
func (v *abcVoice) startEnding(s *scanner, at place) {
	var list []int
	for isDigit(s.peek(0)) {
		n, _ := s.number()
		to := n
		if s.peek(0) == '-' && isDigit(s.peek(1)) {
			s.i++
			to, _ = s.number()
		}
		if n < 1 || to < n || to > maxEnding {
			v.r.fault(at, fmt.Sprintf("number endings from 1 to %d", maxEnding), "an ending with a number out of range")
			return
		}
		for ; n <= to; n++ {
			if !slices.Contains(list, int(n)) {
				list = append(list, int(n))
			}
		}
		if n := s.blanks(1); s.peek(0) == ',' && isDigit(s.peek(1+n)) {
			s.i += 1 + n
		} else if s.peek(0) == '.' && !isNoteStart(s.peek(1)) {
			s.i++ // "1."
		}
	}
	if v.cur.filled { // an ending that starts inside a bar
		v.closeBar()
	}
	v.ending = list
	v.cur.endings, v.cur.ending = list, true
}

// startPart begins a part, at a bar line or inside a bar.
func (v *abcVoice) startPart(label, name string, at place) {
	if v.cur.filled {
		v.closeBar()
	}
	v.ending = nil
	v.cur.section = abcText(label)
	p := abcPart{len(v.bars), name, v.cur.section, at}
	if n := len(v.parts); n > 0 && v.parts[n-1].bar == p.bar { // a label without music
		v.parts[n-1] = p
		return
	}
	v.parts = append(v.parts, p)
}

// takeParts copies the labels of another voice.
func (v *abcVoice) takeParts(parts []abcPart) {
	for _, p := range parts {
		if p.bar < len(v.bars) {
			v.parts = append(v.parts, p)
			v.bars[p.bar].section = p.full
		}
	}
}

// closeBar ends the bar if something stands in it.
func (v *abcVoice) closeBar() {
	clear(v.acc)
	if v.over {
		v.t, v.over = v.overEnd, false
	}
	if !v.cur.filled {
		v.settleJumps()
		return
	}
	b := v.cur
	if v.tup.left > 0 {
		v.r.warnOnce(b.place, "a tuplet at the end of this bar has too few notes")
	}
	b.len = v.t
	v.shareTime(b)
	v.bars = append(v.bars, b)
	v.cur = &abcBar{}
	v.t = theory.Time{}
	v.tup.left = 0
	if len(v.bars) == maxBars+1 {
		v.r.fault(b.place, "give a shorter tune", "the tune has more than %d bars", maxBars)
		v.r.stop = true
	}
}

// shareTime parts the time to the next symbol or bar line among the symbols of
// one text.
func (v *abcVoice) shareTime(b *abcBar) {
	slices.SortStableFunc(b.symbols, func(x, y symbol) int { return x.at.Cmp(y.at) })
	for _, g := range b.groups {
		to := b.len
		for _, s := range b.symbols {
			if g.at.Less(s.at) {
				to = s.at
				break
			}
		}
		room := to.Sub(g.at)
		for k, c := range g.chords[1:] {
			at := g.at.Add(room.Mul(int64(k+1), int64(len(g.chords))))
			if len(g.chords) > maxInText || !v.r.sheet.grid.fits(at) || !g.at.Less(at) {
				v.r.warn(g.place, "there is no time for all chord symbols of one text; the first stands")
				break
			}
			b.symbols = append(b.symbols, symbol{g.place, at, c})
			v.symbols++
		}
	}
	b.groups = nil
	b.symbols = slices.DeleteFunc(b.symbols, func(s symbol) bool { // in an overlay that is longer than its bar
		out := s.at.Cmp(b.len) >= 0
		if out {
			v.r.warn(s.place, "the chord symbol %s stands behind the end of its bar and is left out", s.chord)
		}
		return out
	})
	slices.SortStableFunc(b.symbols, func(x, y symbol) int { return x.at.Cmp(y.at) })
}

// finish ends the voice.
func (v *abcVoice) finish() {
	for _, p := range v.pending {
		v.r.warn(p.place, "the chord symbol %s has no note after it and is left out", quote(p.text))
	}
	if v.brokenD != 0 && v.last.bar != nil {
		v.r.warnOnce(place{}, "a sign of broken rhythm at the end of the tune has no second note")
	}
	if v.passing != (place{}) {
		v.r.fault(v.passing, "put &) where the second voice ends", "an overlay of several bars is not closed, and all behind it is lost")
	}
	v.closeBar()
	v.settleJumps()
	v.closeRepeats()
}

// closeRepeats gives a repeat that is still open where the next one starts its
// end there.
func (v *abcVoice) closeRepeats() {
	open := false
	for i, b := range v.bars {
		if b.from {
			if open {
				v.bars[i-1].back = 2
				v.r.warn(b.place, "a repeat starts inside another; the one before is taken to end here")
			}
			open = true
		}
		if b.back > 0 || b.endings != nil || b.section != "" {
			open = b.from && b.back == 0 && b.endings == nil
		}
	}
}

// symbolLine reads s:, whose signs belong to the notes of the line before, one
// after the other: * passes a note over, | goes to the next bar (ABC 2.1, 4.15).
func (v *abcVoice) symbolLine(text string, at place) {
	s := scanner{src: []rune(text), n: at.line}
	k := 0
	for s.i < len(s.src) {
		here := place{at.line, at.col + s.i}
		switch c := s.peek(0); {
		case c == '*':
			k++
			s.i++
		case c == '|':
			if k > 0 && k <= len(v.row) {
				for b := v.row[k-1].bar; k < len(v.row) && v.row[k].bar == b; {
					k++
				}
			}
			s.i++
		case c == '"' || isQuote(c):
			s.i++
			t, ok := s.quotedText(c)
			if !ok {
				v.r.fault(here, `put a " behind it`, "a chord symbol or text has no closing quote")
				return
			}
			v.lineSymbol(t, k, here)
			k++
		case c == '!' || c == '+':
			s.i++
			if name, ok := s.until(c); ok {
				v.lineSign(name, k, here)
				k++
			}
		default:
			s.i++
		}
	}
}

// lineSign obeys a decoration of an s: line at note k of the line of music.
func (v *abcVoice) lineSign(name string, k int, at place) {
	if k >= len(v.row) {
		v.r.warnOnce(at, "a sign of a symbol line has no note over it and is left out")
		return
	}
	v.signIn(v.row[k].bar, v.row[k].at == theory.Time{}, name, at)
}

// lineSymbol puts a chord symbol of an s: line to note k of the line of music.
func (v *abcVoice) lineSymbol(text string, k int, at place) {
	if name, ok := jumpText(text); ok {
		v.lineSign(name, k, at)
		return
	}
	pending, cur, t := v.pending, v.cur, v.t
	v.pending = nil
	v.text(text, at)
	got := v.pending
	v.pending, v.blank = pending, place{}
	switch {
	case len(got) == 0:
		return
	case k >= len(v.row):
		v.r.warn(at, "the chord symbol %s of a symbol line has no note over it and is left out", quote(text))
		return
	}
	o := v.row[k]
	if slices.ContainsFunc(o.bar.symbols, func(s symbol) bool { return s.at == o.at }) {
		v.r.warn(at, "the chord symbol %s is left out: there is one in its place already", quote(text))
		return
	}
	if len(got[0].chords) > 1 {
		v.r.warn(at, "of the chord symbols %s of a symbol line the first is kept", quote(text))
		got[0].chords = got[0].chords[:1]
	}
	v.pending, v.cur, v.t = got, o.bar, o.at
	v.flush(at)
	v.pending, v.cur, v.t = pending, cur, t
	slices.SortStableFunc(o.bar.symbols, func(x, y symbol) int { return x.at.Cmp(y.at) })
}
