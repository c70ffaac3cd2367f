package leadsheet

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"

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
}

// An xmlBar is a measure of one part while it is read.
type xmlBar struct {
	bar
	voices  []*xmlVoice
	harmony []symbol
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
	if opt.Number != 0 && opt.Number != 1 {
		l.fault(place{}, "leave the number out", "there is no tune %d: a MusicXML file holds one", opt.Number)
		return nil
	}
	r := &xmlReader{log: l}
	parts := r.parts(root)
	if len(l.faults) > 0 {
		return nil
	}
	melody, harmony, voice := r.choose(parts, opt.Melody)
	if len(l.faults) > 0 {
		return nil
	}
	s := &sheet{howSymbols: "add chord symbols in the score, not as plain text", title: root.find("work").textOf("work-title"), composer: composer(root)}
	if s.title == "" {
		s.title = root.textOf("movement-title")
	}
	if s.title == "" {
		s.title = creditTitle(root)
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
	for i, b := range melody.bars {
		if v := b.voiceFor(voice, opt.Melody); v != nil {
			b.notes = r.oneLine(v.notes, b.place)
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
		s.bars = append(s.bars, &b.bar)
	}
	s.closeEndings()
	if !slices.ContainsFunc(s.bars, hasTempo) {
		for _, p := range parts {
			if slices.ContainsFunc(p.bars, func(b *xmlBar) bool { return hasTempo(&b.bar) }) {
				for i, b := range s.bars {
					if i < len(p.bars) {
						b.tempi = p.bars[i].tempi
					}
				}
				break
			}
		}
	}
	s.grid = r.grid
	return s
}

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
		r.fault(root.place, "give a score in MusicXML", "not a lead sheet: the document is of kind %s", quote(root.name))
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
		for _, m := range root.kids {
			if m.name != "measure" {
				continue
			}
			for _, k := range m.kids {
				if k.name != "part" {
					continue
				}
				p := byID[k.get("id")]
				if p == nil {
					p = &xmlPart{id: k.get("id"), name: names[k.get("id")]}
					byID[p.id] = p
					parts = append(parts, p)
				}
				p.measures = append(p.measures, &node{place: m.place, name: m.name, attr: m.attr, kids: k.kids})
			}
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
				names = append(names, strings.TrimSpace(p.id+" "+p.name))
			}
			r.fault(place{}, "choose one that is there", "there is no part %s: the score has %s", quote(part), strings.Join(names, ", "))
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
				notes = notes || e.kid("pitch") != nil && e.kid("cue") == nil
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

func compareVoices(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	if errX == nil && errY == nil {
		return cmp.Compare(x, y)
	}
	return strings.Compare(a, b)
}

// voiceFor gives the voice of the bar: the main one, or, where that has neither
// notes nor rests, the one that sounds longest on the upper staff.
func (b *xmlBar) voiceFor(name, asked string) *xmlVoice {
	var best *xmlVoice
	for _, v := range b.voices {
		if v.name == name && v.any {
			return v
		}
		if best == nil || cmp.Or(cmp.Compare(v.staff, best.staff), best.sound.Cmp(v.sound), compareVoices(v.name, best.name)) < 0 {
			best = v
		}
	}
	if strings.Contains(asked, "/") {
		return nil
	}
	return best
}

// oneLine keeps the top note of each onset and lets no note reach over the
// next.
func (r *xmlReader) oneLine(notes []note, at place) []note {
	slices.SortStableFunc(notes, func(a, b note) int {
		return cmp.Or(a.at.Cmp(b.at), cmp.Compare(b.pitch.MIDI(), a.pitch.MIDI()))
	})
	out := notes[:0]
	for _, n := range notes {
		if k := len(out) - 1; k >= 0 {
			if out[k].at == n.at {
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
	if b.endings == nil {
		b.endings, b.ending = o.endings, o.ending
	}
	b.segno, b.coda = b.segno || o.segno, b.coda || o.coda
	b.toCoda, b.fine = b.toCoda || o.toCoda, b.fine || o.fine
	if (o.daCapo || o.dalSegno) && !b.daCapo && !b.dalSegno {
		b.daCapo, b.dalSegno, b.jumpAt = o.daCapo, o.dalSegno, o.jumpAt
	}
	b.starts = b.starts || o.starts
	if b.section == "" {
		b.section = o.section
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
// share the time to the next note, symbol or bar line.
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
		for _, n := range notes {
			if on.Less(n.at) && n.at.Less(to) {
				to = n.at
			}
		}
		room := to.Sub(on)
		for k := i; k < j; k++ {
			s := in[k]
			s.at = on.Add(room.Mul(int64(k-i), int64(j-i)))
			if k > i && (!on.Less(s.at) || j-i > 32 || !r.grid.fits(s.at)) {
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
	starts    bool // the next bar starts a section
	tellTo    bool // faults and warnings are told
}

// read reads the bars of a part; tell is false for a part of which only the
// signs of repeats count.
func (r *xmlReader) read(p *xmlPart, tell bool) {
	if p.bars != nil {
		return
	}
	st := &xmlState{div: theory.Quarters(1, 1), metre: theory.Metre{Num: 4, Den: 4}, free: true, tellTo: tell}
	grace := make(map[string][]theory.Pitch)
	for _, m := range p.measures {
		b := r.measure(m, st, grace)
		p.bars = append(p.bars, b)
	}
}

// measure reads one measure.
func (r *xmlReader) measure(m *node, st *xmlState, grace map[string][]theory.Pitch) *xmlBar {
	b := &xmlBar{}
	b.place = m.place
	b.number = m.get("number")
	b.implicit = m.get("implicit") == "yes"
	b.starts, st.starts = st.starts, false
	if len(m.kids) > maxInBar {
		r.fault(m.place, "give a lead sheet", "this bar has more than %d elements", maxInBar)
		return b
	}
	zero := theory.Time{}
	now, prev, top := zero, zero, zero
	move := func(e *node, sign int64) theory.Time {
		d, ok := r.duration(e, st)
		if !ok {
			return zero
		}
		return d.Mul(sign, 1)
	}
	ended := false
	for _, e := range m.kids {
		switch e.name {
		case "attributes":
			r.attributes(e, st)
		case "note":
			d, ok := r.duration(e, st)
			if !ok {
				continue
			}
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
		}
		if top.Less(now) {
			top = now
		}
		if theory.Quarters(1024, 1).Less(top) {
			r.fault(e.place, "give a shorter bar", "this bar is longer than 1024 quarters")
			top = zero
			break
		}
	}
	b.metre, b.free = st.metre, st.free
	b.key = st.key.Transpose(st.transpose)
	if b.bar.len = top; top == zero {
		b.bar.len = full(st.metre)
	}
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
		if d, ok := typeLength(e); ok && r.grid.fits(d) {
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
// that leave the duration out.
func typeLength(e *node) (theory.Time, bool) {
	types := map[string]theory.Time{
		"breve": theory.Quarters(8, 1), "whole": theory.Quarters(4, 1), "half": theory.Quarters(2, 1), "quarter": theory.Quarters(1, 1),
		"eighth": theory.Quarters(1, 2), "16th": theory.Quarters(1, 4), "32nd": theory.Quarters(1, 8), "64th": theory.Quarters(1, 16),
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
		if a > 0 && n > 0 && a <= 64 && n <= 64 {
			d = d.Mul(int64(n), int64(a))
		}
	}
	return d, true
}

// attributes reads divisions, key, metre and transposition.
func (r *xmlReader) attributes(e *node, st *xmlState) {
	for _, k := range e.kids {
		switch k.name {
		case "divisions":
			d, ok := decimal(k.text)
			if !ok || d.Cmp(theory.Time{}) <= 0 || d.Num() > 1<<24 {
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
			fifths, _ := k.intOf("fifths")
			st.key = keyOf(fifths, k.textOf("mode"))
		case "time":
			r.time(k, st)
		case "transpose":
			iv := theory.Interval{}
			iv.Semitones, _ = k.intOf("chromatic")
			steps, ok := k.intOf("diatonic")
			if !ok {
				steps = theory.IntervalFor(st.key, iv.Semitones).Steps
			}
			iv.Steps = steps
			if n, ok := k.intOf("octave-change"); ok {
				iv = iv.Octaves(max(-5, min(5, n)))
			}
			if iv.Semitones < -60 || iv.Semitones > 60 || iv.Steps < -40 || iv.Steps > 40 {
				if st.tellTo {
					r.fault(k.place, "export the score again", "the part is transposed out of all range")
				}
				continue
			}
			st.transpose = iv
		}
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
	if k.kid("senza-misura") != nil {
		st.free = true
		return
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
func (r *xmlReader) note(e *node, b *xmlBar, on, d theory.Time, st *xmlState, grace map[string][]theory.Pitch) {
	name := voiceOf(e)
	staff, ok := e.intOf("staff")
	if !ok {
		staff = 1
	}
	i := slices.IndexFunc(b.voices, func(v *xmlVoice) bool { return v.name == name })
	if i < 0 {
		if i = len(b.voices); i >= maxVoices {
			return
		}
		b.voices = append(b.voices, &xmlVoice{name: name, staff: staff})
	}
	v := b.voices[i]
	p := e.kid("pitch")
	v.any = v.any || e.kid("grace") == nil
	if p == nil || e.kid("cue") != nil || !st.tellTo {
		if e.kid("unpitched") != nil && st.tellTo {
			r.warnOnce(e.place, "notes without pitch are read as rests")
		}
		if e.kid("cue") != nil && st.tellTo {
			r.warnOnce(e.place, "cue notes are left out")
		}
		return
	}
	if e.textOf("notehead") == "slash" {
		r.warnOnce(e.place, "slashes for rhythm are read as rests")
		return
	}
	pitch, ok := r.pitch(p, st)
	if !ok {
		return
	}
	if e.kid("grace") != nil {
		if len(grace[name]) < 16 && e.kid("chord") == nil {
			grace[name] = append(grace[name], pitch)
		}
		return
	}
	if d == (theory.Time{}) {
		r.warnOnce(e.place, "notes without a length are left out")
		return
	}
	n := note{at: on, len: d, pitch: pitch, grace: grace[name]}
	delete(grace, name)
	for _, k := range e.kids {
		if k.name == "tie" && k.get("type") == "stop" {
			n.tiedFrom = true
		}
	}
	if e.find("notations", "ornaments") != nil {
		r.warnOnce(e.place, "ornaments are not read")
	}
	if e.kid("chord") == nil {
		v.sound = v.sound.Add(d)
	}
	v.notes = append(v.notes, n)
}

// pitch reads a pitch as it sounds.
func (r *xmlReader) pitch(p *node, st *xmlState) (theory.Pitch, bool) {
	step := strings.ToUpper(p.textOf("step"))
	octave, ok := p.intOf("octave")
	alter, _ := p.intOf("alter")
	if len(step) != 1 || step[0] < 'A' || step[0] > 'G' || !ok || octave < 0 || octave > 9 || alter < -2 || alter > 2 {
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
			b.back = min(n, 64)
			st.starts = true
		}
	}
	if en := e.kid("ending"); en != nil {
		switch en.get("type") {
		case "start":
			b.endings = endingNumbers(en.get("number"), en.text)
			b.ending = true
			st.endings = b.endings
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
	if e.kid("segno") != nil && left {
		b.segno = true
	}
	if e.kid("coda") != nil && left {
		b.coda = true
	}
	return ended
}

// endingNumbers reads "1", "1, 2", "1-3"; what has no number is the first.
func endingNumbers(s, text string) []int {
	var out []int
	for _, src := range []string{s, text} {
		for _, f := range strings.FieldsFunc(src, func(r rune) bool { return r != '-' && !isDigit(r) }) {
			a, z, ranged := strings.Cut(f, "-")
			n, err := strconv.Atoi(a)
			if err != nil || n < 1 || n > 64 {
				continue
			}
			to := n
			if v, err := strconv.Atoi(z); ranged && err == nil && v > n && v <= 64 {
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

// direction reads tempo, jumps, rehearsal marks, and chord symbols typed as
// words.
func (r *xmlReader) direction(e *node, b *xmlBar, now theory.Time, st *xmlState) {
	sound := e
	if e.name == "direction" {
		sound = e.kid("sound")
	}
	at := now
	if e.name == "direction" {
		at = now.Add(r.offset(e, st))
		if at.Less(theory.Time{}) {
			at = theory.Time{}
		}
	}
	bpm := 0.0
	words := ""
	for _, t := range e.kids {
		if t.name != "direction-type" {
			continue
		}
		for _, k := range t.kids {
			switch k.name {
			case "rehearsal":
				if b.section == "" && len(k.text) <= 40 {
					b.section = oneLine(k.text)
				}
			case "words":
				words = strings.TrimSpace(words + " " + k.text)
				if st.tellTo {
					r.words(k, b, at, st, sound)
				}
			case "metronome":
				bpm = metronome(k)
			}
		}
	}
	if sound != nil {
		if v, err := strconv.ParseFloat(sound.get("tempo"), 64); err == nil {
			bpm = v
		}
		b.segno = b.segno || sound.yes("segno")
		b.coda = b.coda || sound.yes("coda")
		b.toCoda = b.toCoda || sound.yes("tocoda")
		b.fine = b.fine || sound.yes("fine")
		if sound.get("forward-repeat") == "yes" {
			b.from = true
		}
		if sound.yes("dacapo") {
			b.daCapo, b.jumpAt = true, sound.place
		}
		if sound.yes("dalsegno") {
			b.dalSegno, b.jumpAt = true, sound.place
		}
	}
	if bpm == 0 {
		return
	}
	if !validTempo(bpm) {
		if st.tellTo {
			r.warn(e.place, "a tempo of %g quarters a minute is not read", bpm)
		}
		return
	}
	if words = oneLine(words); len(words) > 60 {
		words = ""
	}
	b.tempi = append(b.tempi, tempo{at, bpm, words})
}

// oneLine takes the line breaks out of a text.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// words reads what is typed over the staff: N.C. and chord symbols that are
// plainly such; jumps only with the sound that says so.
func (r *xmlReader) words(k *node, b *xmlBar, at theory.Time, st *xmlState, sound *node) {
	text := oneLine(k.text)
	switch {
	case text == "":
	case noChord.MatchString(text):
		b.harmony = append(b.harmony, symbol{k.place, at, theory.Chord{NoChord: true}})
		r.warn(k.place, "the words %s are read as a chord symbol", quote(text))
	case wordChord.MatchString(text):
		c, err := theory.ParseChord(strings.TrimRight(text, "."))
		if err != nil {
			r.warnOnce(k.place, "words over the staff are not read")
			return
		}
		b.harmony = append(b.harmony, symbol{k.place, at, c.Transpose(st.transpose)})
		r.warn(k.place, "the words %s are read as a chord symbol", quote(text))
	case jumpWords.MatchString(text) && (sound == nil || !sound.yes("dacapo") && !sound.yes("dalsegno") && !sound.yes("tocoda") && !sound.yes("fine") && !sound.yes("coda")):
		r.warn(k.place, "the words %s are not followed: the score has no jump for playing there", quote(text))
	case sound == nil && st.tellTo:
		r.warnOnce(k.place, "words over the staff are not read")
	}
}

var jumpWords = regexp.MustCompile(`(?i)^(d\.? ?[cs]\.?( |$)|da capo|dal segno|to coda|al coda|fine$|coda$)`)

// metronome reads a mark such as dotted quarter = 80 in quarters a minute, 0
// when it is none.
func metronome(k *node) float64 {
	length, dots, figure := 0.0, 0, ""
	for _, c := range k.kids {
		switch c.name {
		case "beat-unit":
			if length != 0 {
				return 0 // a relation of two units
			}
			length = map[string]float64{"whole": 4, "half": 2, "quarter": 1, "eighth": 0.5, "16th": 0.25}[c.text]
		case "beat-unit-dot":
			dots++
		case "per-minute":
			figure = perMinute.FindString(c.text)
		}
	}
	n, err := strconv.ParseFloat(figure, 64)
	if err != nil || length == 0 {
		return 0
	}
	add := length
	for range min(dots, 3) {
		add /= 2
		length += add
	}
	return n * length
}

var perMinute = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
