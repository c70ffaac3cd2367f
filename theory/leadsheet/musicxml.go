package leadsheet

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

// An xmlReader reads one score.
type xmlReader struct {
	*log
	grid grid
}

// An xmlPart is a part with its measures.
type xmlPart struct {
	id, name string
	measures []*node
	bars     []*xmlBar // when it is read
	timed    bool      // it has a time signature
}

// An xmlBar is a measure of one part while it is read.
type xmlBar struct {
	bar
	voices  []*xmlVoice
	harmony []symbol
	filled  bool // something with a length is in it
	copies  int  // a sign for the bar that stands so many bars before; 0 none
	said    []said
}

// A said is a jump that words over the staff ask for.
type said struct {
	place
	text string
	sign string // dacapo, dalsegno, tocoda, coda, fine or segno, as in the attributes of sound
	to   string // where the jump ends: fine, coda or ""
}

// An xmlVoice is what one voice plays in a measure.
type xmlVoice struct {
	name  string
	staff int
	notes []note
	sound theory.Time // how long it sounds
	any   bool        // a note or rest is there
}

// readXML reads a score. It returns nil when it logged a fault.
func readXML(text string, opt Options, l *log) *sheet {
	root, fault := parseTree(text)
	if fault != nil {
		fault.File = l.file
		l.faults = append(l.faults, fault)
		return nil
	}
	var parts []*xmlPart
	l.where = func(at place) string { return root.pathAt(at, len(parts)) }
	if !opt.onlyTune("a MusicXML file", l) {
		return nil
	}
	r := &xmlReader{log: l}
	parts = r.parts(root)
	if len(l.faults) > 0 {
		return nil
	}
	melody, harmony, voice := r.choose(parts, opt.Melody)
	if len(l.faults) > 0 {
		return nil
	}
	s := &sheet{howSymbols: "add chord symbols in the score, not as plain text", composer: unbroken(composer(root))}
	s.title = unbroken(cmp.Or(root.find("work").textOf("work-title"), root.textOf("movement-title"), creditTitle(root)))
	if name := encodingOf(text); !knownEncodings[name] && strings.ContainsFunc(s.title+s.composer, func(c rune) bool { return c > unicode.MaxASCII }) {
		r.warn(place{1, 1}, "the encoding %s is not known: title and composer may have wrong letters", quote(name))
	}
	if melody == nil {
		return s // no notes: build says so
	}
	r.read(melody, true)
	if harmony != melody {
		r.read(harmony, true)
	}
	for _, p := range parts { // the signs of repeats may stand in another part
		if p != melody && p != harmony {
			r.read(p, false)
		}
	}
	if voice == "" {
		voice = melody.mainVoice()
	}
	for _, p := range parts {
		r.obeyWords(p)
	}
	left := r.takeMelody(s, parts, melody, harmony, voice, strings.Contains(opt.Melody, "/"))
	r.tellLeftOut(parts, melody, voice, left)
	s.codaSigns()
	if !melody.timed {
		r.guessMetre(s)
	}
	s.closeEndings()
	if !slices.ContainsFunc(s.bars, hasTempo) {
		s.takeTempi(parts)
	}
	s.grid = r.grid
	return s
}

// takeMelody puts the bars of the melody into the sheet, with the symbols of
// the part that has the harmony and the signs of all. voice is the main one;
// only tells that no other goes in where it is silent. left has the voices of
// the part that are not taken.
func (r *xmlReader) takeMelody(s *sheet, parts []*xmlPart, melody, harmony *xmlPart, voice string, only bool) (left map[string]bool) {
	left = make(map[string]bool)
	for i, b := range melody.bars {
		if !b.filled {
			// The length of a bar without notes shows in the other parts.
			for _, p := range parts {
				if i < len(p.bars) && p.bars[i].filled {
					b.bar.len = p.bars[i].bar.len
					break
				}
			}
		}
		main := b.voiceFor(voice, only)
		if main != nil {
			b.notes = r.topLine(main.notes, b.place)
		}
		for _, v := range b.voices {
			if v != main && len(v.notes) > 0 {
				left[v.name] = true
			}
		}
		if harmony != melody {
			b.harmony = nil
			if i < len(harmony.bars) {
				b.harmony = harmony.bars[i].harmony
			}
		}
		for _, p := range parts {
			if p != melody && i < len(p.bars) {
				b.adopt(&p.bars[i].bar)
			}
		}
		b.symbols = r.spread(b.harmony, b.bar.len, b.notes)
		if b.copies > 0 && i >= b.copies && len(b.notes) == 0 {
			from := &melody.bars[i-b.copies].bar
			b.notes = slices.Clone(from.notes)
			b.bar.len = from.len
			if len(b.symbols) == 0 {
				b.symbols = slices.Clone(from.symbols)
			}
			r.warnOnce(b.place, "a sign to repeat the bar before is read as that bar again")
		}
		s.bars = append(s.bars, &b.bar)
	}
	return left
}

// takeTempi takes the tempo marks of the first part that has any.
func (s *sheet) takeTempi(parts []*xmlPart) {
	for _, p := range parts {
		if !slices.ContainsFunc(p.bars, func(b *xmlBar) bool { return hasTempo(&b.bar) }) {
			continue
		}
		for i, b := range s.bars {
			if i < len(p.bars) {
				b.tempi = p.bars[i].tempi
			}
		}
		return
	}
}

// tellLeftOut says which parts and which voices of the part read are not the
// melody.
func (r *xmlReader) tellLeftOut(parts []*xmlPart, melody *xmlPart, voice string, left map[string]bool) {
	var others []string
	for _, p := range parts {
		if notes, _ := p.holds(); notes && p != melody {
			others = append(others, p.called())
		}
	}
	if len(others) > 0 {
		r.warn(place{}, "only part %s is read; left out: %s (--melody chooses another)", melody.called(), listed(others))
	}
	if len(left) > 0 {
		names := slices.SortedFunc(maps.Keys(left), compareVoices)
		for i, n := range names {
			names[i] = shorten(n)
		}
		r.warn(place{}, "only voice %s of its part is read; left out: %s (--melody PART/VOICE chooses another)", shorten(voice), listed(names))
	}
}

// called is what messages call a part: its id and its name.
func (p *xmlPart) called() string {
	return strings.TrimSpace(shorten(p.id) + " " + shorten(oneLine(p.name)))
}

// guessMetre gives the bars of a score without a time signature the metre of
// most of them: so many quarters, or eighths.
func (r *xmlReader) guessMetre(s *sheet) {
	count := make(map[theory.Time]int)
	var most theory.Time
	for _, b := range s.bars {
		count[b.len]++
		if count[b.len] > count[most] {
			most = b.len
		}
	}
	m := theory.Metre{Num: int(most.Num()), Den: 4 * int(most.Den())}
	if 2*count[most] <= len(s.bars) || m.Den > 8 || !validMetre(m) || m == (theory.Metre{Num: 4, Den: 4}) {
		return
	}
	r.warn(s.bars[0].place, "there is no time signature; %d/%d is taken from the lengths of the bars", m.Num, m.Den)
	for _, b := range s.bars {
		b.metre = m
	}
}

// knownEncodings are those that decode tells apart by the bytes themselves.
var knownEncodings = set("utf-8 utf8 utf-16 utf-16le utf-16be us-ascii ascii iso-8859-1 iso8859-1 latin1 latin-1 windows-1252 cp1252")

// encodingOf is the encoding that an XML declaration names, in lower case, that
// of XML where there is none.
func encodingOf(text string) string {
	head, _, ok := strings.Cut(text, "?>")
	if m := declared.FindStringSubmatch(head); ok && len(head) < 200 && m != nil {
		return strings.ToLower(m[1])
	}
	return "utf-8"
}

var declared = regexp.MustCompile(`^\s*<\?xml\s[^>]*encoding\s*=\s*["']([-A-Za-z0-9._]+)["']`)

func hasTempo(b *bar) bool { return len(b.tempi) > 0 }

func composer(root *node) string {
	fallback := ""
	for _, k := range root.kid("identification").children() {
		if k.name == "creator" {
			switch k.get("type") {
			case "composer":
				return k.text
			case "":
				fallback = k.text
			}
		}
	}
	return fallback
}

func creditTitle(root *node) string {
	for _, k := range root.children() {
		if k.name == "credit" && k.textOf("credit-type") == "title" {
			return k.textOf("credit-words")
		}
	}
	return ""
}

// parts gives the parts of a score written by parts or by measures.
func (r *xmlReader) parts(root *node) []*xmlPart {
	if root.name != "score-partwise" && root.name != "score-timewise" {
		do := "give a score in MusicXML"
		if root.name == "opus" {
			do = "give one of the scores that it lists"
		}
		r.fault(root.place, do, "not a lead sheet: the document is of kind %s", quote(root.name))
		return nil
	}
	names := make(map[string]string)
	for _, k := range root.kid("part-list").children() {
		if k.name == "score-part" {
			names[k.get("id")] = k.textOf("part-name")
		}
	}
	var parts []*xmlPart
	if root.name == "score-partwise" {
		for _, k := range root.kids {
			if k.name == "part" {
				p := &xmlPart{id: k.get("id"), name: names[k.get("id")]}
				for _, m := range k.kids {
					if m.name == "measure" {
						p.measures = append(p.measures, m)
					}
				}
				parts = append(parts, p)
			}
		}
	} else {
		byID := make(map[string]*xmlPart)
		row := 0
		for _, m := range root.kids {
			if m.name != "measure" {
				continue
			}
			for _, k := range m.kids {
				if k.name != "part" {
					continue
				}
				p := byID[k.get("id")]
				if p != nil && len(p.measures) > row {
					continue // twice in one measure
				}
				if len(parts) > maxParts || row > maxBars {
					break
				}
				if p == nil {
					p = &xmlPart{id: k.get("id"), name: names[k.get("id")]}
					byID[p.id] = p
					parts = append(parts, p)
				}
				for len(p.measures) < row { // the part is missing in measures before
					p.measures = append(p.measures, &node{place: m.place, name: m.name})
				}
				p.measures = append(p.measures, &node{place: m.place, name: m.name, attr: m.attr, kids: k.kids})
			}
			row++
		}
	}
	for _, p := range parts {
		if len(p.measures) > maxBars {
			r.fault(root.place, "give a shorter tune", "the tune has more than %d bars", maxBars)
			return nil
		}
	}
	if len(parts) > maxParts {
		r.fault(root.place, "give a lead sheet", "the score has more than %d parts", maxParts)
		return nil
	}
	return parts
}

// choose gives the part with the melody, the part with the harmony, and the
// voice that was asked for. Without a wish: the first part with both, else the
// first with notes.
func (r *xmlReader) choose(parts []*xmlPart, want string) (melody, harmony *xmlPart, voice string) {
	var first *xmlPart
	for _, p := range parts {
		notes, symbols := p.holds()
		if notes && first == nil {
			first = p
		}
		if symbols && harmony == nil {
			harmony = p
		}
		if notes && symbols && melody == nil {
			melody = p
		}
	}
	if want != "" {
		var part string
		part, voice, _ = strings.Cut(want, "/")
		melody = nil
		for i, p := range parts {
			if p.id == part || p.name != "" && strings.EqualFold(p.name, part) || strconv.Itoa(i+1) == part {
				melody = p
				break
			}
		}
		if melody == nil {
			var names []string
			for _, p := range parts {
				names = append(names, p.called())
			}
			r.fault(place{}, "choose one that is there", "there is no part %s: the score has %s", quote(part), listed(names))
			return nil, nil, ""
		}
		if voice != "" && !melody.hasVoice(voice) {
			r.fault(place{}, "choose one that is there", "there is no voice %s with notes in the part %s", quote(voice), quote(part))
			return nil, nil, ""
		}
	}
	if melody == nil {
		melody = first
	}
	if melody != nil {
		if _, symbols := melody.holds(); symbols || harmony == nil {
			harmony = melody
		}
	}
	return melody, harmony, voice
}

// holds reports whether a part has pitched notes and harmony.
func (p *xmlPart) holds() (notes, symbols bool) {
	for _, m := range p.measures {
		for _, e := range m.kids {
			switch e.name {
			case "harmony":
				symbols = true
			case "note":
				notes = notes || e.kid("pitch") != nil && e.kid("cue") == nil && e.textOf("notehead") != "slash"
			}
		}
	}
	return notes, symbols
}

func (p *xmlPart) hasVoice(voice string) bool {
	for _, m := range p.measures {
		for _, e := range m.kids {
			if e.name == "note" && e.kid("pitch") != nil && voiceOf(e) == voice {
				return true
			}
		}
	}
	return false
}

func voiceOf(e *node) string {
	if v := e.textOf("voice"); v != "" {
		return v
	}
	if n, ok := e.intOf("staff"); ok && n > 1 { // the staves tell them apart
		return "staff " + strconv.Itoa(n)
	}
	return "1"
}

// mainVoice is the voice that sounds longest, of those on the upper staff; the
// lower number when two are equal.
func (p *xmlPart) mainVoice() string {
	type sum struct {
		name  string
		staff int
		sound theory.Time
	}
	var sums []*sum
	byName := make(map[string]*sum)
	for _, b := range p.bars {
		for _, v := range b.voices {
			if v.sound == (theory.Time{}) {
				continue
			}
			if byName[v.name] == nil {
				byName[v.name] = &sum{name: v.name, staff: v.staff}
				sums = append(sums, byName[v.name])
			}
			byName[v.name].sound = byName[v.name].sound.Add(v.sound)
		}
	}
	if len(sums) == 0 {
		return "1"
	}
	return slices.MinFunc(sums, func(a, b *sum) int {
		return cmp.Or(cmp.Compare(a.staff, b.staff), b.sound.Cmp(a.sound), compareVoices(a.name, b.name))
	}).name
}

// compareVoices orders the names of voices: numbers by what they count, before
// words.
func compareVoices(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	switch {
	case errX == nil && errY == nil:
		return cmp.Or(cmp.Compare(x, y), strings.Compare(a, b))
	case errX == nil:
		return -1
	case errY == nil:
		return 1
	}
	return strings.Compare(a, b)
}

// voiceFor gives the voice of the bar: the main one, or, where that has neither
// notes nor rests, the one that sounds longest on the upper staff.
// With only there is no other.
func (b *xmlBar) voiceFor(name string, only bool) *xmlVoice {
	var best *xmlVoice
	for _, v := range b.voices {
		if v.name == name && v.any {
			return v
		}
		if best == nil || cmp.Or(cmp.Compare(v.staff, best.staff), best.sound.Cmp(v.sound), compareVoices(v.name, best.name)) < 0 {
			best = v
		}
	}
	if only {
		return nil
	}
	return best
}

// topLine keeps the top note of each onset and lets no note reach over the
// next.
func (r *xmlReader) topLine(notes []note, at place) []note {
	slices.SortStableFunc(notes, func(a, b note) int {
		return cmp.Or(a.at.Cmp(b.at), cmp.Compare(b.pitch.MIDI(), a.pitch.MIDI()))
	})
	out := notes[:0]
	for _, n := range notes {
		if k := len(out) - 1; k >= 0 {
			if out[k].at == n.at {
				r.warnOnce(at, lowerNotes)
				out[k].grace = append(out[k].grace, n.grace...)
				continue
			}
			if end := out[k].at.Add(out[k].len); n.at.Less(end) {
				out[k].len = n.at.Sub(out[k].at)
				r.warnOnce(at, "a note that reaches over the next one of its voice is cut short")
			}
		}
		out = append(out, n)
	}
	return out
}

// adopt takes over the signs of the same bar in another part.
func (b *bar) adopt(o *bar) {
	b.from = b.from || o.from
	b.back = max(b.back, o.back)
	b.afterJump = b.afterJump || o.afterJump
	if b.endings == nil {
		b.endings, b.ending = o.endings, o.ending
	}
	b.segno, b.coda = b.segno || o.segno, b.coda || o.coda
	b.toCoda, b.fine = b.toCoda || o.toCoda, b.fine || o.fine
	b.codaSign = max(b.codaSign, o.codaSign)
	b.sign.adopt(o.sign)
	if (o.daCapo || o.dalSegno) && !b.daCapo && !b.dalSegno {
		b.daCapo, b.dalSegno, b.jumpAt, b.jumpTo, b.jumpSaid = o.daCapo, o.dalSegno, o.jumpAt, o.jumpTo, o.jumpSaid
	}
	b.starts = b.starts || o.starts
	if b.section == "" {
		b.section = o.section
	}
}

func (n *signNames) adopt(o signNames) {
	n.segno = cmp.Or(n.segno, o.segno)
	n.coda = cmp.Or(n.coda, o.coda)
	n.toCoda = cmp.Or(n.toCoda, o.toCoda)
	n.dalSegno = cmp.Or(n.dalSegno, o.dalSegno)
}

// obeyWords takes the jumps that stand in words alone. Where the sound of the
// same bar has jumps, it decides.
func (r *xmlReader) obeyWords(p *xmlPart) {
	for i, b := range p.bars {
		for _, w := range b.said {
			jumps := b.daCapo || b.dalSegno
			switch w.sign {
			case "dacapo", "dalsegno":
				switch {
				case jumps && (w.sign == "dacapo") == b.daCapo:
					b.jumpTo = cmp.Or(b.jumpTo, w.to)
					continue
				case jumps:
					r.warn(w.place, "the words %s are not followed: the sound of this bar jumps elsewhere", quote(w.text))
					continue
				}
				b.daCapo, b.dalSegno = w.sign == "dacapo", w.sign == "dalsegno"
				b.jumpAt, b.jumpTo, b.jumpSaid = w.place, w.to, w.text
			case "tocoda":
				b.toCoda = true
			case "coda":
				if w.to == "next" && i+1 < len(p.bars) {
					p.bars[i+1].coda = true
					continue
				}
				b.coda = true
			case "segno":
				if w.to == "next" && i+1 < len(p.bars) {
					p.bars[i+1].segno = true
					continue
				}
				b.segno = true
			case "fine":
				b.fine = true
			}
		}
	}
}

// Where a coda sign stands whose meaning nothing tells.
const (
	signAtStart = 1 + iota // at the left bar line
	signInside
	signAtEnd // at the right bar line
)

// codaSigns reads the coda signs of which no sound or words say what they are:
// of two signs the first sends to the coda and the second is the coda (common
// practice, no source).
func (s *sheet) codaSigns() {
	toCoda, coda := false, false
	signs := 0
	for _, b := range s.bars {
		toCoda = toCoda || b.toCoda
		coda = coda || b.coda
		if b.codaSign != 0 {
			signs++
		}
	}
	for i, b := range s.bars {
		if b.codaSign == 0 {
			continue
		}
		at := i
		switch {
		case !toCoda && (coda || signs > 1):
			if b.codaSign == signAtStart && i > 0 {
				at = i - 1
			}
			s.bars[at].toCoda, toCoda = true, true
		case !coda:
			if b.codaSign == signAtEnd && i+1 < len(s.bars) {
				at = i + 1
			}
			s.bars[at].coda, coda = true, true
		}
	}
}

// closeEndings ends a variant ending at its repeat, whatever its own end says.
func (s *sheet) closeEndings() {
	for i := 1; i < len(s.bars); i++ {
		before, b := s.bars[i-1], s.bars[i]
		if before.back > 0 && before.endings != nil && b.endings != nil && !b.ending {
			for k := i; k < len(s.bars) && s.bars[k].endings != nil && !s.bars[k].ending; k++ {
				s.bars[k].endings = nil
			}
		}
	}
}

// spread puts the symbols of a bar in order and inside it; several at one place
// share the time to the next note, symbol or bar line. notes are in order.
func (r *xmlReader) spread(in []symbol, length theory.Time, notes []note) []symbol {
	slices.SortStableFunc(in, func(a, b symbol) int { return a.at.Cmp(b.at) })
	for i := range in {
		if length.Less(in[i].at) {
			in[i].at = length
		}
		if in[i].at.Less(theory.Time{}) {
			in[i].at = theory.Time{}
		}
	}
	var out []symbol
	for i := 0; i < len(in); {
		j := i
		for j < len(in) && in[j].at == in[i].at {
			j++
		}
		on, to := in[i].at, length
		if j < len(in) {
			to = in[j].at
		}
		k, _ := slices.BinarySearchFunc(notes, on, func(n note, on theory.Time) int {
			return cmp.Or(n.at.Cmp(on), -1) // the first behind on
		})
		if k < len(notes) && notes[k].at.Less(to) {
			to = notes[k].at
		}
		room := to.Sub(on)
		for k := i; k < j; k++ {
			s := in[k]
			s.at = on.Add(room.Mul(int64(k-i), int64(j-i)))
			if k > i && (!on.Less(s.at) || j-i > maxSharing || !r.grid.fits(s.at)) {
				r.warn(s.place, "there is no time for all chord symbols at one place; %s is left out", s.chord)
				continue
			}
			out = append(out, s)
		}
		i = j
	}
	return out
}

var wordChord = regexp.MustCompile(`^[A-G][#b♯♭]?\s?(m|M|dim|aug|sus|\+|-|o|ø|°|[0-9(/])`)

// An xmlState is what holds from one element of a part to the next.
type xmlState struct {
	div       theory.Time // divisions of a quarter
	metre     theory.Metre
	free      bool
	key       theory.Key // as written
	transpose theory.Interval
	endings   []int
	starts    bool      // the next bar starts a section
	segno     bool      // the sign stands at the end of the bar before
	coda      bool      // and so for this one
	sign      signNames // theirs
	slashes   bool      // slashes stand for the notes
	copies    int       // a sign for the bar that stands so many bars before
	bpm       float64   // the tempo so far, 0 none
	tellTo    bool      // faults and warnings are told
	timed     bool      // there was a time signature
}

// read reads the bars of a part; tell is false for a part of which only the
// signs of repeats count.
func (r *xmlReader) read(p *xmlPart, tell bool) {
	if p.bars != nil {
		return
	}
	st := &xmlState{div: theory.Quarters(1, 1), metre: theory.Metre{Num: 4, Den: 4}, free: true, tellTo: tell}
	grace := make(map[string]*graceNotes)
	p.bars = make([]*xmlBar, 0, len(p.measures))
	for _, m := range p.measures {
		b := r.measure(m, st, grace)
		p.bars = append(p.bars, b)
	}
	p.timed = st.timed
	if len(grace) > 0 && tell && len(p.measures) > 0 {
		r.warnOnce(p.measures[len(p.measures)-1].place, "grace notes behind the last note are left out")
	}
}

// graceNotes wait for the note behind them.
type graceNotes struct {
	pitches []theory.Pitch
	dropped bool // one of the group is too long for an ornament, or they are too many
}

// begin makes the bar of a measure, with what the bars before it leave to it.
func (st *xmlState) begin(m *node) *xmlBar {
	b := &xmlBar{}
	b.place = m.place
	b.number = m.get("number")
	if text := m.get("text"); barNumber(text) { // what is printed in place of the number
		b.number = text
	}
	b.implicit = m.get("implicit") == "yes"
	b.starts, st.starts = st.starts, false
	b.segno, st.segno = st.segno, false
	b.coda, st.coda = st.coda, false
	b.sign, st.sign = st.sign, signNames{}
	st.announce(b)
	return b
}

// announce gives a bar the metre and the key in force.
func (st *xmlState) announce(b *xmlBar) {
	b.metre, b.free, b.key = st.metre, st.free, st.key.Transpose(st.transpose)
}

// measure reads one measure.
func (r *xmlReader) measure(m *node, st *xmlState, grace map[string]*graceNotes) *xmlBar {
	b := st.begin(m)
	if len(m.kids) > maxInBar {
		r.fault(m.place, "give a lead sheet", "this bar has more than %d elements", maxInBar)
		return b
	}
	zero := theory.Time{}
	now, prev, top := zero, zero, zero
	var segnoAt, codaAt theory.Time // where in the bar they stand
	move := func(e *node, sign int64) theory.Time {
		d, ok := r.duration(e, st)
		if !ok {
			return zero
		}
		b.filled = b.filled || d != zero
		return d.Mul(sign, 1)
	}
	ended := false
	for _, e := range m.kids {
		segno, coda := b.segno, b.coda
		switch e.name {
		case "attributes":
			r.attributes(e, st)
			if now == zero { // else they announce those of the next bar
				st.announce(b)
			}
		case "note":
			d, ok := r.duration(e, st)
			if !ok {
				continue
			}
			b.filled = b.filled || d != zero
			on := now
			if e.kid("chord") != nil {
				on = prev
			}
			r.note(e, b, on, d, st, grace)
			if e.kid("chord") == nil && e.kid("grace") == nil {
				prev = now
				now = now.Add(d)
			}
		case "backup":
			now = now.Add(move(e, -1))
			if now.Less(zero) {
				now = zero
				if st.tellTo {
					r.warnOnce(e.place, "a step back beyond the start of the bar ends at its start")
				}
			}
		case "forward":
			now = now.Add(move(e, 1))
		case "harmony":
			r.harmony(e, b, now, st)
		case "barline":
			if r.barline(e, b, st) {
				ended = true
			}
		case "direction", "sound":
			r.direction(e, b, now, st)
			if b.segno && !segno {
				segnoAt = now
			}
			if b.coda && !coda {
				codaAt = now
			}
		}
		if top.Less(now) {
			top = now
		}
		if theory.Quarters(maxBarLen, 1).Less(top) {
			r.fault(e.place, "give a shorter bar", "this bar is longer than %d quarters", maxBarLen)
			top = zero
			break
		}
	}
	if b.bar.len = top; top == zero {
		b.bar.len = full(b.metre)
	}
	// What stands behind all notes belongs to the next bar.
	if segnoAt == top && top != zero {
		b.segno, st.segno = false, true
		b.sign.segno, st.sign.segno = "", b.sign.segno
	}
	if codaAt == top && top != zero {
		b.coda, st.coda = false, true
		b.sign.coda, st.sign.coda = "", b.sign.coda
	}
	b.copies = st.copies
	if b.endings == nil {
		b.endings = st.endings
	}
	if ended || b.back > 0 {
		st.endings = nil
	}
	return b
}

// duration reads the duration of a note, backup or forward in quarters; ok is
// false when it was told as a fault.
func (r *xmlReader) duration(e *node, st *xmlState) (theory.Time, bool) {
	zero := theory.Time{}
	if e.kid("grace") != nil {
		return zero, true
	}
	k := e.kid("duration")
	if k == nil {
		if e.kid("rest").get("measure") == "yes" {
			return full(st.metre), true
		}
		d, ok := typeLength(e)
		if !ok && e.kid("time-modification") != nil && e.kid("type") != nil {
			if st.tellTo {
				r.fault(e.place, fmt.Sprintf("write figures from 1 to %d", maxRatioNote), "the tuplet of this note, %s in the time of %s, is out of range",
					quote(e.find("time-modification").textOf("actual-notes")), quote(e.find("time-modification").textOf("normal-notes")))
			}
			return zero, false
		}
		if ok && r.grid.fits(d) {
			return d, true
		}
		return zero, true
	}
	d, ok := decimal(k.text)
	if ok && zero.Less(st.div) {
		if d.Num() > 1<<30 || d.Num() < 0 {
			ok = false
		} else {
			d = theory.Quarters(d.Num()*st.div.Den(), d.Den()*st.div.Num())
		}
	}
	if !ok {
		if st.tellTo {
			r.fault(k.place, "export the score again", "%s is no duration", quote(k.text))
		}
		return zero, false
	}
	if !r.grid.fits(d) {
		if st.tellTo {
			r.fault(k.place, "use fewer divisions of a quarter", "the duration %s of a quarter is too finely divided or too long", d)
		}
		return zero, false
	}
	return d, true
}

// typeLength is the length of a note by its type, dots and tuplet, for writers
// that leave the duration out; ok is false when there is none or its tuplet is
// out of range.
func typeLength(e *node) (theory.Time, bool) {
	types := map[string]theory.Time{
		"breve": theory.Quarters(8, 1), "whole": theory.Quarters(4, 1), "half": theory.Quarters(2, 1), "quarter": theory.Quarters(1, 1),
		"eighth": theory.Quarters(1, 2), "16th": theory.Quarters(1, 4), "32nd": theory.Quarters(1, 8), "64th": theory.Quarters(1, 16),
		"128th": theory.Quarters(1, 32), "256th": theory.Quarters(1, 64), "512th": theory.Quarters(1, 128), "1024th": theory.Quarters(1, 256),
		"long": theory.Quarters(16, 1), "maxima": theory.Quarters(32, 1),
	}
	d, ok := types[e.textOf("type")]
	if !ok {
		return d, false
	}
	add := d
	dots := 0
	for _, k := range e.kids {
		if k.name == "dot" && dots < 4 {
			add = add.Mul(1, 2)
			d = d.Add(add)
			dots++
		}
	}
	if tm := e.kid("time-modification"); tm != nil {
		a, _ := tm.intOf("actual-notes")
		n, _ := tm.intOf("normal-notes")
		if a < 1 || n < 1 || a > maxRatioNote || n > maxRatioNote {
			return d, false
		}
		d = d.Mul(int64(n), int64(a))
	}
	return d, true
}

// attributes reads divisions, key, metre and transposition.
func (r *xmlReader) attributes(e *node, st *xmlState) {
	for _, k := range e.kids {
		if n := k.get("number"); n != "" && n != "1" && k.name != "measure-style" {
			continue // of another staff than the upper
		}
		switch k.name {
		case "measure-style":
			r.measureStyle(k, st)
		case "divisions":
			d, ok := decimal(k.text)
			if !ok || d.Cmp(theory.Time{}) <= 0 || d.Num() > maxDivisions {
				if st.tellTo {
					r.fault(k.place, "export the score again", "%s are no divisions", quote(k.text))
				}
				continue
			}
			st.div = d
		case "key":
			if k.kid("fifths") == nil {
				if k.kid("key-step") != nil && st.tellTo {
					r.warnOnce(k.place, "a key with signs of its own is read as C major")
				}
				st.key = theory.Key{}
				continue
			}
			fifths, ok := k.intOf("fifths")
			if (!ok || fifths < -7 || fifths > 7) && st.tellTo {
				r.warn(k.place, "a key of %s fifths is read as one of %d", quote(k.textOf("fifths")), max(-7, min(7, fifths)))
			}
			st.key = keyOf(fifths, k.textOf("mode"))
		case "time":
			r.time(k, st)
		case "transpose":
			iv := theory.Interval{}
			var known bool
			if iv.Semitones, known = k.intOf("chromatic"); !known && k.textOf("chromatic") != "" {
				iv.Semitones = maxTransposed + 1
			}
			steps, ok := k.intOf("diatonic")
			if !ok {
				steps = theory.IntervalFor(st.key, iv.Semitones).Steps
			}
			iv.Steps = steps
			if n, ok := k.intOf("octave-change"); ok {
				iv = iv.Octaves(max(-5, min(5, n)))
			}
			if k.kid("double") != nil && st.tellTo {
				r.warnOnce(k.place, "the doubling of the part at the octave is left out")
			}
			if iv.Semitones < -maxTransposed || iv.Semitones > maxTransposed || iv.Steps < -40 || iv.Steps > 40 {
				if st.tellTo {
					r.fault(k.place, "export the score again", "the part is transposed out of all range")
				}
				continue
			}
			st.transpose = iv
		}
	}
}

// measureStyle reads signs that stand for bars and beats.
func (r *xmlReader) measureStyle(k *node, st *xmlState) {
	if c := k.kid("measure-repeat"); c != nil {
		st.copies = 0
		if c.get("type") != "stop" {
			n, err := strconv.Atoi(c.text)
			if err != nil || n < 1 || n > 8 {
				n = 1
			}
			st.copies = n
		}
	}
	if c := k.kid("slash"); c != nil {
		st.slashes = c.get("type") != "stop"
	}
	if k.kid("beat-repeat") != nil && st.tellTo {
		r.warnOnce(k.place, "signs to repeat a beat are not read")
	}
}

// keyOf is the key with a signature and a mode, major when that is not one.
func keyOf(fifths int, mode string) theory.Key {
	fifths = max(-7, min(7, fifths))
	// How far the tonic lies above that of the major key of the signature, in
	// fifths; the modes in the order of theory.ParseKey.
	offset, minor := 0, false
	switch strings.ToLower(strings.TrimSpace(mode)) {
	case "minor", "aeolian":
		offset, minor = 3, true
	case "dorian":
		offset, minor = 2, true
	case "phrygian":
		offset, minor = 4, true
	case "locrian":
		offset, minor = 5, true
	case "lydian":
		offset = -1
	case "mixolydian":
		offset = 1
	}
	place := fifths + offset // of the tonic on the line of fifths, C = 0
	letters := []theory.Letter{theory.F, theory.C, theory.G, theory.D, theory.A, theory.E, theory.B}
	n := place + 1
	alter := 0
	for n < 0 {
		n, alter = n+7, alter-1
	}
	for n > 6 {
		n, alter = n-7, alter+1
	}
	return theory.Key{Tonic: theory.Name{Letter: letters[n], Alter: int8(alter)}, Minor: minor, Fifths: fifths}
}

// time reads a time signature, sums and composites included.
func (r *xmlReader) time(k *node, st *xmlState) {
	st.timed = true
	if k.kid("senza-misura") != nil {
		st.free = true
		return
	}
	if k.kid("interchangeable") != nil && st.tellTo {
		r.warnOnce(k.place, "of two metres for choice the first is read")
	}
	var num, den int
	var beats string
	for _, c := range k.kids {
		switch c.name {
		case "beats":
			beats = c.text
		case "beat-type":
			d, err := strconv.Atoi(strings.TrimSpace(c.text))
			n := 0
			for _, f := range strings.Split(beats, "+") {
				v, err2 := strconv.Atoi(strings.TrimSpace(f))
				if err2 != nil || v < 0 || v > 256 {
					err = strconv.ErrSyntax
					break
				}
				n += v
			}
			if err != nil || !validMetre(theory.Metre{Num: n, Den: d}) {
				if st.tellTo {
					r.fault(k.place, "write a time signature such as 4/4", "unknown time signature %s/%s", quote(beats), quote(c.text))
				}
				return
			}
			if den == 0 {
				num, den = n, d
				continue
			}
			both := max(den, d)
			num, den = num*both/den+n*both/d, both
		}
	}
	if m := (theory.Metre{Num: num, Den: den}); validMetre(m) {
		st.metre, st.free = m, false
	}
}

// note reads a note or rest into its voice.
func (r *xmlReader) note(e *node, b *xmlBar, on, d theory.Time, st *xmlState, grace map[string]*graceNotes) {
	name := voiceOf(e)
	staff, ok := e.intOf("staff")
	if !ok {
		staff = 1
	}
	i := slices.IndexFunc(b.voices, func(v *xmlVoice) bool { return v.name == name })
	if i < 0 {
		if i = len(b.voices); i >= maxVoices {
			r.warnOnce(e.place, "there are too many voices in a bar; the last are left out")
			return
		}
		b.voices = append(b.voices, &xmlVoice{name: name, staff: staff})
	}
	v := b.voices[i]
	p := e.kid("pitch")
	isGrace := e.kid("grace") != nil
	v.any = v.any || !isGrace
	if !st.tellTo {
		return
	}
	switch {
	case e.kid("cue") != nil:
		r.warnOnce(e.place, "cue notes are left out")
		return
	case e.kid("unpitched") != nil:
		r.warnOnce(e.place, "notes without pitch are read as rests")
		return
	case p != nil && (e.textOf("notehead") == "slash" || st.slashes):
		r.warnOnce(e.place, "slashes for rhythm are read as rests")
		return
	case p == nil:
		if e.kid("rest") == nil {
			r.warnOnce(e.place, "a note without a pitch is read as a rest")
		}
		return
	}
	pitch, ok := r.pitch(p, st)
	if !ok {
		return
	}
	if isGrace {
		r.graceNote(e, pitch, name, grace)
		return
	}
	if d == (theory.Time{}) {
		r.warnOnce(e.place, "notes without a length are left out")
		return
	}
	n := note{at: on, len: d, pitch: pitch}
	if g := grace[name]; g != nil {
		if g.dropped {
			r.warnOnce(e.place, fmt.Sprintf("grace notes that are longer than an eighth or more than %d are left out", maxGraces))
		} else {
			n.grace = g.pitches
		}
		delete(grace, name)
	}
	// The tie is for the sound, tied for the eye (MusicXML 4.0, tie); some
	// writers have only the latter.
	ties := e
	if e.kid("tie") == nil {
		ties = e.kid("notations")
	}
	for _, k := range ties.children() {
		if (k.name == "tie" || k.name == "tied") && (k.get("type") == "stop" || k.get("type") == "continue") {
			n.tiedFrom = true
		}
	}
	if e.find("notations", "ornaments") != nil {
		r.warnOnce(e.place, "ornaments are not read")
	}
	if e.get("time-only") != "" {
		r.warnOnce(e.place, "a note for some of the repeats is read for all")
	}
	if e.kid("chord") == nil {
		v.sound = v.sound.Add(d)
	}
	v.notes = append(v.notes, n)
}

// graceNote keeps a grace note for the note behind it: of a chord the top. The
// long appoggiatura, written as a quarter or more without a stroke through it,
// is no ornament before the beat.
func (r *xmlReader) graceNote(e *node, pitch theory.Pitch, voice string, grace map[string]*graceNotes) {
	g := grace[voice]
	if g == nil {
		if len(grace) >= maxVoices {
			return
		}
		g = &graceNotes{}
		grace[voice] = g
	}
	if k := len(g.pitches) - 1; k >= 0 && e.kid("chord") != nil {
		if g.pitches[k].MIDI() < pitch.MIDI() {
			g.pitches[k] = pitch
		}
		return
	}
	switch e.textOf("type") {
	case "quarter", "half", "whole", "breve", "long", "maxima":
		g.dropped = g.dropped || e.kid("grace").get("slash") != "yes"
	}
	if len(g.pitches) >= maxGraces {
		g.dropped = true
		return
	}
	g.pitches = append(g.pitches, pitch)
}

// pitch reads a pitch as it sounds.
func (r *xmlReader) pitch(p *node, st *xmlState) (theory.Pitch, bool) {
	step := strings.ToUpper(p.textOf("step"))
	octave, ok := p.intOf("octave")
	alter, known := p.intOf("alter")
	if !known && p.textOf("alter") != "" || len(step) != 1 || step[0] < 'A' || step[0] > 'G' || !ok || octave < 0 || octave > 9 || alter < -2 || alter > 2 {
		r.fault(p.place, "export the score again", "a pitch that is no note")
		return theory.Pitch{}, false
	}
	if f := p.textOf("alter"); strings.Contains(strings.TrimRight(f, "0"), ".") && !strings.HasSuffix(strings.TrimRight(f, "0"), ".") {
		r.warnOnce(p.place, "microtones are read as whole semitones")
	}
	n := theory.Pitch{Name: theory.Name{Letter: letterOf(step[0]), Alter: int8(alter)}, Octave: int8(octave)}
	if st.transpose != (theory.Interval{}) {
		n = n.Transpose(st.transpose)
	}
	if m := n.MIDI(); m < 0 || m > 127 {
		r.fault(p.place, "transpose the part", "a note out of the range of MIDI")
		return n, false
	}
	return n, true
}

// harmony reads a chord symbol at its place.
func (r *xmlReader) harmony(e *node, b *xmlBar, now theory.Time, st *xmlState) {
	if !st.tellTo {
		return
	}
	if e.get("type") == "alternate" {
		r.warnOnce(e.place, "chord symbols for choice are left out")
		return
	}
	c, note, err := readHarmony(e, st.key)
	if err != nil {
		r.fault(e.place, "correct it in the score, or leave it out", "%s", err)
		return
	}
	if note != "" {
		r.warn(e.place, "%s", note)
	}
	at := now.Add(r.offset(e, st))
	b.harmony = append(b.harmony, symbol{e.place, at, c.Transpose(st.transpose)})
}

// offset is how far after its place an element counts.
func (r *xmlReader) offset(e *node, st *xmlState) theory.Time {
	zero := theory.Time{}
	o, ok := decimal(e.textOf("offset"))
	if !ok {
		return zero
	}
	o = theory.Quarters(o.Num()*st.div.Den(), o.Den()*st.div.Num())
	if !r.grid.fits(o) {
		return zero
	}
	return o
}

// barline reads repeats, endings and double bars; it reports that an ending
// ends here.
func (r *xmlReader) barline(e *node, b *xmlBar, st *xmlState) (ended bool) {
	left := e.get("location") == "left"
	if e.get("location") == "middle" {
		if e.kid("repeat") != nil {
			r.warn(e.place, "a repeat inside a bar is not followed")
		}
		return false
	}
	if rp := e.kid("repeat"); rp != nil {
		switch rp.get("direction") {
		case "forward":
			b.from = true
		case "backward":
			n, err := strconv.Atoi(rp.get("times"))
			if err != nil || n < 2 {
				n = 2
			}
			if n > maxPasses {
				r.warn(rp.place, "a repeat to be played %d times is played %d times", n, maxPasses)
			}
			b.back = min(n, maxPasses)
			b.afterJump = rp.get("after-jump") == "yes"
			st.starts = true
		default:
			r.warn(rp.place, "a repeat that is neither forward nor backward is not read")
		}
	}
	if en := e.kid("ending"); en != nil {
		switch {
		case en.get("type") == "start":
			b.endings = endingNumbers(en.get("number"), en.text)
			b.ending = true
			st.endings = b.endings
		case left: // it ended with the bar before
			st.endings = nil
		default:
			ended = true
		}
	}
	switch e.textOf("bar-style") {
	case "light-light", "light-heavy", "heavy-light", "heavy-heavy", "heavy":
		if left {
			b.starts = true
		} else {
			st.starts = true
		}
	}
	if e.kid("segno") != nil || e.get("segno") != "" {
		if left {
			b.segno = true
			b.sign.segno = e.get("segno")
		} else {
			st.segno, st.sign.segno = true, e.get("segno")
		}
	}
	switch {
	case e.get("coda") != "" && left:
		b.coda, b.sign.coda = true, e.get("coda")
	case e.get("coda") != "":
		st.coda, st.sign.coda = true, e.get("coda")
	case e.kid("coda") != nil && left:
		b.codaSign = signAtStart
	case e.kid("coda") != nil:
		b.codaSign = signAtEnd
	}
	return ended
}

// endingNumbers reads "1", "1, 2", "1-3", "1.-3."; what has no number is the
// first.
func endingNumbers(s, text string) []int {
	var out []int
	for _, src := range []string{s, text} {
		for _, m := range endingRange.FindAllStringSubmatch(src, maxPasses) {
			n, err := strconv.Atoi(m[1])
			if err != nil || n < 1 || n > maxPasses {
				continue
			}
			to := n
			if v, err := strconv.Atoi(m[2]); err == nil && v > n && v <= maxPasses {
				to = v
			}
			for ; n <= to; n++ {
				if !slices.Contains(out, n) {
					out = append(out, n)
				}
			}
		}
		if out != nil {
			return out
		}
	}
	return []int{1}
}

var endingRange = regexp.MustCompile(`([0-9]+)\.?(?:\s*-\s*([0-9]+))?`)

// A printed is what the direction-types of a direction show.
type printed struct {
	rehearsal   string // the first mark that is short enough for the name of a section
	words       []*node
	segno, coda bool
	metronome   *node // nil without
}

func printedIn(direction *node) printed {
	var p printed
	for _, t := range direction.kids {
		if t.name != "direction-type" {
			continue
		}
		for _, k := range t.kids {
			switch k.name {
			case "rehearsal":
				if p.rehearsal == "" && len(k.text) <= maxSectionName {
					p.rehearsal = oneLine(k.text)
				}
			case "words", "symbol":
				p.words = append(p.words, k)
			case "segno":
				p.segno = true
			case "coda":
				p.coda = true
			case "metronome":
				p.metronome = k
			}
		}
	}
	return p
}

// text is the words on one line, the first eight of very many.
func (p printed) text() string {
	var words []string
	for _, k := range p.words {
		if w := oneLine(k.text); w != "" && len(words) < 8 {
			words = append(words, w)
		}
	}
	return strings.Join(words, " ")
}

// direction reads tempo, jumps, rehearsal marks, and chord symbols typed as
// words.
func (r *xmlReader) direction(e *node, b *xmlBar, now theory.Time, st *xmlState) {
	sound := e
	at, soundAt := now, now
	if e.name == "direction" {
		sound = e.kid("sound")
		off := r.offset(e, st)
		at = now.Add(off)
		// Of a direction the offset is for the eye unless it says otherwise
		// (MusicXML 4.0, offset).
		if e.kid("offset").get("sound") == "yes" {
			soundAt = at
		}
	}
	if sound != nil {
		soundAt = soundAt.Add(r.offset(sound, st))
	}
	at, soundAt = notBefore(at), notBefore(soundAt)
	p := printedIn(e)
	if b.section == "" {
		b.section = p.rehearsal
	}
	text := p.text()
	sign, to := jumpWords(text, p.coda)
	leads := sound != nil && jumpSound(sound)
	switch {
	case sign == "":
		for _, k := range p.words {
			r.words(k, b, at, st, sound == nil && p.metronome == nil)
		}
	case sign == "dacapo" || sign == "dalsegno" || !leads:
		w := said{place: e.place, text: text, sign: sign, to: to}
		if (sign == "coda" || sign == "segno") && b.filled && now != (theory.Time{}) {
			w.to = "next" // they stand where the bar ends
		}
		b.said = append(b.said, w)
	}
	if !leads {
		if p.segno && sign != "dalsegno" && sign != "segno" {
			b.segno = true
		}
		if p.coda && sign == "" {
			b.codaSign = signInside
		}
	}
	if sound != nil {
		r.soundJumps(sound, b, to, st)
	}
	m, ok := r.tempo(e, sound, p.metronome, at, soundAt, st)
	if !ok {
		return
	}
	st.bpm = m.bpm
	if len(text) <= maxJumpWords && sign == "" {
		m.text = text
	}
	b.tempi = append(b.tempi, m)
}

// soundJumps obeys the attributes of sound that say where the tune goes on; to
// is where the words beside it say that it ends then.
func (r *xmlReader) soundJumps(sound *node, b *xmlBar, to string, st *xmlState) {
	if v := sound.get("segno"); v != "" {
		b.segno, b.sign.segno = true, v
	}
	if v := sound.get("coda"); v != "" {
		b.coda, b.sign.coda = true, v
	}
	if v := sound.get("tocoda"); v != "" {
		b.toCoda, b.sign.toCoda = true, v
	}
	b.fine = b.fine || sound.yes("fine")
	if sound.get("forward-repeat") == "yes" {
		b.from = true
	}
	if sound.yes("dacapo") {
		b.daCapo, b.dalSegno, b.jumpAt, b.jumpTo = true, false, sound.place, to
	}
	if v := sound.get("dalsegno"); v != "" {
		b.dalSegno, b.daCapo, b.jumpAt, b.jumpTo = true, false, sound.place, to
		b.sign.dalSegno = v
	}
	if sound.kid("swing") != nil && st.tellTo {
		r.warnOnce(sound.place, "the swing of the sheet is not read")
	}
}

// tempo is the mark of a direction, at its place in the bar: that of sound goes
// before a metronome mark. ok is false without one, or when it is out of range.
func (r *xmlReader) tempo(e, sound, metronome *node, at, soundAt theory.Time, st *xmlState) (m tempo, ok bool) {
	m.at = soundAt
	if metronome != nil {
		m.bpm, m.at = r.metronome(metronome, st), at
	}
	if said := sound.get("tempo"); said != "" {
		v, err := strconv.ParseFloat(said, 64)
		if err != nil {
			v = -1
		}
		m.bpm, m.at = v, soundAt
	}
	if m.bpm == 0 {
		return m, false
	}
	if !validTempo(m.bpm) {
		if st.tellTo {
			said := sound.get("tempo")
			if said == "" {
				said = strconv.FormatFloat(m.bpm, 'g', 6, 64)
			}
			r.warn(e.place, "a tempo of %s quarters a minute is not read", quote(said))
		}
		return m, false
	}
	return m, true
}

func notBefore(t theory.Time) theory.Time {
	if t.Less(theory.Time{}) {
		return theory.Time{}
	}
	return t
}

// jumpSound reports the attributes of sound that lead from one place to
// another, or are such a place.
func jumpSound(sound *node) bool {
	for _, a := range []string{"dacapo", "dalsegno", "tocoda", "coda", "fine", "segno"} {
		if sound.yes(a) {
			return true
		}
	}
	return false
}

// words reads what is typed over the staff: N.C., chord symbols that are
// plainly such, and the names of parts of a tune. The other words are told of
// when rest says so: those of a tempo are read with it.
func (r *xmlReader) words(k *node, b *xmlBar, at theory.Time, st *xmlState, rest bool) {
	text := oneLine(k.text)
	switch {
	case text == "":
		return
	case writtenSection.MatchString(text) && len(text) <= maxSectionName:
		if b.section == "" {
			b.section = strings.Trim(text, ":. ")
		}
		return
	case !st.tellTo:
		return
	}
	c := theory.Chord{NoChord: true}
	if !noChord.MatchString(text) {
		var err error
		if c, err = theory.ParseChord(strings.TrimRight(text, ".")); err != nil || !wordChord.MatchString(text) {
			if rest {
				r.warnOnce(k.place, "words over the staff are not read")
			}
			return
		}
		c = c.Transpose(st.transpose)
	}
	b.harmony = append(b.harmony, symbol{k.place, at, c})
	r.warn(k.place, "the words %s are read as a chord symbol", quote(text))
}

// writtenSection matches the names of parts of a tune, with a word or a number
// beside them: "Verse", "1st Chorus", "Bridge 2".
var writtenSection = regexp.MustCompile(`(?i)^([a-z0-9]+\.? )?(verse|chorus|bridge|refrain|intro|introduction|interlude|vamp|outro|pre-chorus|prechorus)( ?[0-9a-z]{1,2})?[:.]?$`)

// The words of jumps, in lower case, brackets and stops taken away.
var (
	wordsDaCapo   = regexp.MustCompile(`^(d ?c|da capo)( |$)`)
	wordsDalSegno = regexp.MustCompile(`^(d ?s|dal segno)( |$)`)
	wordsAl       = regexp.MustCompile(`\bal?l?a? (fine|coda)`)
	wordsToCoda   = regexp.MustCompile(`^(go )?to (the )?(coda|⊕|𝄌)`)
	wordsTo       = regexp.MustCompile(`^(go )?to( the)?$`)
	wordsCoda     = regexp.MustCompile(`^(the )?(coda|𝄌)( ?[0-9])?$`)
)

// jumpWords reads words such as "D.S. al Coda" as the attribute of sound that
// says so, "" for others, and where the jump ends. coda says that a coda sign
// stands with them.
func jumpWords(text string, coda bool) (sign, to string) {
	if text == "" || len(text) > maxJumpWords {
		return "", ""
	}
	t := strings.ToLower(text)
	t = strings.NewReplacer("(", " ", ")", " ", ".", " ", ",", " ").Replace(t)
	t = oneLine(t)
	if m := wordsAl.FindStringSubmatch(t); m != nil {
		to = m[1]
	} else if coda {
		to = "coda"
	}
	switch {
	case wordsDaCapo.MatchString(t):
		return "dacapo", to
	case wordsDalSegno.MatchString(t):
		return "dalsegno", to
	case wordsToCoda.MatchString(t), coda && wordsTo.MatchString(t):
		return "tocoda", ""
	case wordsCoda.MatchString(t):
		return "coda", ""
	case t == "fine":
		return "fine", ""
	case t == "segno" || t == "𝄋":
		return "segno", ""
	}
	return "", ""
}

// metronome reads a mark such as dotted quarter = 80 in quarters a minute, and
// a relation of two values, the first that of the tempo before; 0 when it is
// none of them.
func (r *xmlReader) metronome(k *node, st *xmlState) float64 {
	var lengths []float64
	figure := ""
	units := map[string]float64{
		"long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": 0.5, "16th": 0.25, "32nd": 0.125,
	}
	last := 0.0 // the unit that dots add to
	for _, c := range k.kids {
		switch c.name {
		case "beat-unit":
			last = units[c.text]
			lengths = append(lengths, last)
		case "beat-unit-dot":
			if n := len(lengths) - 1; n >= 0 {
				last /= 2
				lengths[n] += last
			}
		case "beat-unit-tied":
			if n := len(lengths) - 1; n >= 0 {
				tied := units[c.textOf("beat-unit")]
				add := tied
				for _, d := range c.kids {
					if d.name == "beat-unit-dot" {
						add /= 2
						tied += add
					}
				}
				lengths[n] += tied
			}
		case "per-minute":
			figure = perMinute.FindString(c.text)
		case "metronome-note", "metronome-relation":
			if st.tellTo {
				r.warnOnce(k.place, "a relation of note values is not read")
			}
			return 0
		}
	}
	n, err := strconv.ParseFloat(figure, 64)
	switch {
	case len(lengths) == 2 && figure == "" && lengths[0] > 0 && lengths[1] > 0:
		if st.bpm == 0 {
			if st.tellTo {
				r.warn(k.place, "a relation of note values is not read: there is no tempo before it")
			}
			return 0
		}
		return st.bpm * lengths[1] / lengths[0]
	case err != nil || len(lengths) != 1 || lengths[0] == 0:
		if st.tellTo {
			r.warn(k.place, "a metronome mark without note value and figure is not read")
		}
		return 0
	}
	return n * lengths[0]
}

var perMinute = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
