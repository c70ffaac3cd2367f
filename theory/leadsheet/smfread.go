package leadsheet

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"thumbline/theory"
)

// An smfChord is a chord symbol of a MIDI file.
type smfChord struct {
	words *smfWords
	tick  uint32
	part  int32 // of several symbols in one text, from 0
	at    theory.Time
	len   float64 // quarters until the next
}

func (c *smfChord) chord() *theory.Chord { return &c.words.chords[c.part] }

// An smfReader makes a sheet of a file.
type smfReader struct {
	*log
	file    *smfFile
	melody  *smfTrack
	metas   []smfMeta // those that count for the melody, in order of time
	chords  []smfChord
	from    string // where the chord symbols stand: "the texts of track 1"
	later   []func(label func(theory.Time) string)
	q       quantiser
	notes   []*stroke
	graces  map[*stroke][]*stroke
	noChord string // why there are no chord symbols
}

// readSMF reads a Standard MIDI File. It returns nil when it logged a fault.
func readSMF(data []byte, opt Options, l *log) *sheet {
	f, fault := parseSMF(data, func(s string) { l.warn(place{}, "%s", s) })
	if fault != nil {
		l.fault(place{}, fault.do, "%s", fault.msg)
		return nil
	}
	if !opt.onlyTune("a MIDI file", l) {
		return nil
	}
	r := &smfReader{log: l, file: f}
	r.melody = f.chooseTrack(opt.Melody, l)
	r.metas = f.metas
	if f.format == 2 { // its tracks are pieces of their own
		r.metas = slices.DeleteFunc(r.metas, func(m smfMeta) bool { return r.melody == nil || f.tracks[m.track] != r.melody })
	}
	slices.SortStableFunc(r.metas, func(a, b smfMeta) int { return cmp.Compare(a.at, b.at) })
	group := r.findChords()
	if r.melody == nil {
		if len(r.chords) == 0 && f.format != 2 {
			l.fault(place{}, howSMFChords+r.noChord, "there are no chord symbols in this tune")
		}
		return nil
	}
	if f.format == 2 && len(f.tracks) > 1 {
		l.warn(place{}, "a MIDI file of format 2: each track is a piece of its own, and this is track %d", r.melody.number)
	}
	if len(r.melody.notes) > maxNotes {
		l.fault(place{}, "export the melody of one tune", "the melody has more than %d notes", maxNotes)
		return nil
	}
	if len(r.chords) > maxTexts {
		l.fault(place{}, "export one tune alone", "there are more than %d chord symbols", maxTexts)
		return nil
	}
	r.take()
	if !r.layBars() {
		return nil
	}
	r.q.notes = r.notes
	r.q.run()
	r.mergeGraces()
	r.lengths()
	r.placeChords()
	return r.sheet(group)
}

const howSMFChords = "put each symbol where it begins as a text, lyric or marker event, one kind of event for chords alone"

// quarters is a moment in quarter notes.
func (r *smfReader) quarters(tick uint32) float64 { return float64(tick) / float64(r.file.division) }

// take picks the notes of the melody: the top note where several are struck
// together.
func (r *smfReader) take() {
	ns := r.melody.notes
	tol := r.file.together()
	slices.SortStableFunc(ns, func(a, b smfNote) int { return cmp.Compare(a.on, b.on) })
	chords, dropped, overlaps := 0, 0, 0
	all := make([]stroke, 0, len(ns))
	for i := 0; i < len(ns); {
		top, j := i, i+1
		for j < len(ns) && ns[j].on-ns[i].on <= tol && (ns[j].on == ns[i].on || ns[j-1].off > ns[j].on+tol/2) {
			if ns[j].key > ns[top].key {
				top = j
			}
			j++
		}
		if j-i > 1 {
			chords++
			dropped += j - i - 1
		}
		n := ns[top]
		all = append(all, stroke{on: r.quarters(n.on), off: r.quarters(n.off), key: int(n.key), hanging: n.hanging})
		i = j
	}
	r.notes = make([]*stroke, len(all))
	for i := range all {
		r.notes[i] = &all[i]
		if i > 0 && !all[i-1].hanging && all[i-1].off > all[i].on+0.25 {
			overlaps++
		}
	}
	if dropped > 0 {
		r.warn(place{}, "notes are struck together %s in the melody: the top note is kept (%s left out)", times(chords), counted(dropped, "note"))
	}
	if overlaps > 0 {
		r.warn(place{}, "%s of the melody sound on when the next begins: they end there", counted(overlaps, "note"))
	}
	if n := r.melody.hanging; n > 0 {
		r.warn(place{}, "%s of the melody never end: they last to the next note, or to the end of the track", counted(n, "note"))
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

var kindName = map[byte]string{metaText: "texts", metaLyric: "lyrics", metaMarker: "markers", metaCue: "cue points"}

// A textGroup is the texts of one kind in one track.
type textGroup struct {
	track          uint16
	kind           byte
	symbols, words int
	chords         int  // symbols, where several stand in one text
	letters        bool // nothing but single letters, as rehearsal marks are
}

func (g textGroup) has(m smfMeta) bool { return m.track == g.track && m.kind == g.kind }

// textGroups counts the texts of each kind in each track, in the order in which
// the groups begin.
func (r *smfReader) textGroups() []textGroup {
	var groups []textGroup
	for _, m := range r.metas {
		if kindName[m.kind] == "" {
			continue
		}
		w := r.file.words(m)
		if w == nil {
			continue
		}
		i := slices.IndexFunc(groups, func(g textGroup) bool { return g.has(m) })
		if i < 0 {
			i = len(groups)
			groups = append(groups, textGroup{track: m.track, kind: m.kind, letters: true})
		}
		g := &groups[i]
		switch {
		case w.isSymbol():
			g.symbols++
			g.chords += len(w.chords)
		case w.fault != "" && strings.ContainsAny(w.text, "0123456789#"):
			// meant for a chord symbol
		default:
			g.words++
		}
		g.letters = g.letters && len(w.text) == 1
	}
	return groups
}

// findChords looks for the kind of text that holds the chord symbols, takes
// them, and returns it; the zero group when there is none.
func (r *smfReader) findChords() textGroup {
	groups := r.textGroups()
	best, second := -1, -1
	mixed := -1
	for i, g := range groups {
		switch {
		case g.symbols == 0 || g.letters && r.rehearsal(g):
		case g.symbols <= g.words:
			if mixed < 0 || g.symbols > groups[mixed].symbols {
				mixed = i
			}
		case best < 0 || g.symbols > groups[best].symbols || g.symbols == groups[best].symbols && g.kind < groups[best].kind:
			best, second = i, best
		case second < 0:
			second = i
		}
	}
	name := func(g textGroup) string {
		return fmt.Sprintf("%s of track %d", kindName[g.kind], r.file.tracks[g.track].number)
	}
	if best < 0 {
		if mixed >= 0 {
			g := groups[mixed]
			r.noChord = fmt.Sprintf("; of the %s, %d read as chord symbols and %d are words", name(g), g.symbols, g.words)
		}
		return textGroup{}
	}
	g := groups[best]
	r.from = "the " + name(g)
	if second >= 0 && !groups[second].letters && !r.same(g, groups[second]) {
		r.warn(place{}, "chord symbols stand in the %s and in the %s: the first are taken", name(g), name(groups[second]))
	}
	r.takeChords(g)
	return g
}

// takeChords takes the chord symbols of a group. What is wrong with a text is
// told when bars have their labels.
func (r *smfReader) takeChords(g textGroup) {
	r.chords = make([]smfChord, 0, min(g.chords, maxTexts+1))
	for _, m := range r.metas {
		if !g.has(m) {
			continue
		}
		w := r.file.words(m)
		if w == nil {
			continue
		}
		text, rd := w.text, w.reading
		at := theory.Quarters(int64(m.at), int64(r.file.division))
		if rd.fault != "" && isWord(text) {
			rd = reading{note: "the text " + quote(text) + " is not read"}
		}
		if rd.note != "" {
			note := strings.Replace(rd.note, " over the staff", "", 1)
			r.later = append(r.later, func(label func(theory.Time) string) { r.warn(place{}, "bar %s: %s", label(at), note) })
		}
		if rd.fault != "" {
			r.later = append(r.later, func(label func(theory.Time) string) {
				r.fault(place{}, "mend it there, or move what is no chord to another kind of event", "bar %s, in %s: %s", label(at), r.from, rd.fault)
			})
		}
		if len(r.chords) > maxTexts {
			break // readSMF tells
		}
		for i := range rd.chords {
			r.chords = append(r.chords, smfChord{words: w, tick: m.at, part: int32(i)})
		}
	}
}

// isWord reports a text that begins with a word: what takes no room for a
// chord symbol.
func isWord(text string) bool {
	w := strings.Fields(text)
	return len(w) > 0 && len(strings.Trim(w[0], ".,:!")) > 3 && plainWord(w[0])
}

// same reports that two groups say the same at the same times.
func (r *smfReader) same(a, b textGroup) bool {
	var said [2][]string
	for _, m := range r.metas {
		for k, g := range []textGroup{a, b} {
			if g.has(m) {
				said[k] = append(said[k], fmt.Sprint(m.at, " ", string(r.file.body(m))))
			}
		}
	}
	return slices.Equal(said[0], said[1])
}

// rehearsal reports that single letters are marks of sections and no chords:
// new ones come in the order of the alphabet from A, and they stand four bars
// of four quarters apart in the mean.
func (r *smfReader) rehearsal(g textGroup) bool {
	next := byte('A')
	n := 0
	var first, last uint32
	for _, m := range r.metas {
		if !g.has(m) {
			continue
		}
		w := r.file.words(m)
		if w == nil {
			continue
		}
		text := w.text
		switch {
		case text[0] == next:
			next++
		case text[0] < 'A' || text[0] > next:
			return false
		}
		if n == 0 {
			first = m.at
		}
		last = m.at
		n++
	}
	return n == 1 || r.quarters(last-first) >= 16*float64(n-1)
}

// layBars makes the bars of the time signatures up to one behind the last note
// or chord symbol. It reports false when it logged a fault.
func (r *smfReader) layBars() bool {
	last := 0.0
	heard := make([]float64, 0, len(r.notes)+len(r.chords))
	for _, n := range r.notes {
		heard = append(heard, n.on)
		last = max(last, n.on)
	}
	for _, c := range r.chords {
		heard = append(heard, r.quarters(c.tick))
		last = max(last, r.quarters(c.tick))
	}
	slices.Sort(heard)
	for i := 1; i < len(heard); i++ {
		if heard[i]-heard[i-1] > maxSilence {
			r.fault(place{}, "export one tune alone", "nothing happens for %d quarter notes after quarter note %d", int(heard[i]-heard[i-1]), int(heard[i-1])+1)
			return false
		}
	}
	end := last
	for i, n := range r.notes {
		if i == len(r.notes)-1 || !n.hanging {
			end = max(end, min(n.off, last+64))
		}
	}
	type sig struct {
		at    theory.Time
		metre theory.Metre
	}
	var sigs []sig
	for _, m := range r.metas {
		if m.kind != metaTime {
			continue
		}
		d := r.file.body(m)
		if len(d) < 2 || d[0] < 1 || d[0] > 64 || d[1] > 6 {
			r.warnOnce(place{}, "a time signature that no tune has is not read")
			continue
		}
		s := sig{theory.Quarters(int64(math.Round(4*r.quarters(m.at))), 4), theory.Metre{Num: int(d[0]), Den: 1 << d[1]}}
		switch k := len(sigs) - 1; {
		case k >= 0 && sigs[k].at == s.at:
			sigs[k] = s
		case k < 0 || sigs[k].metre != s.metre:
			sigs = append(sigs, s)
		}
	}
	if len(sigs) == 0 || sigs[0].at != (theory.Time{}) {
		if len(sigs) == 0 {
			r.warn(place{}, "the MIDI file has no time signature: it is read in 4/4")
		}
		sigs = slices.Insert(sigs, 0, sig{metre: theory.Metre{Num: 4, Den: 4}})
	}
	r.q.bars = make([]gridBar, 0, min(int(end/full(sigs[len(sigs)-1].metre).Float())+3, maxBars+2))
	var at theory.Time
	for at.Float() <= end+1e-9 || len(r.q.bars) < 2 || r.q.bars[len(r.q.bars)-1].from <= end {
		for len(sigs) > 1 && !at.Less(sigs[1].at) {
			sigs = sigs[1:]
		}
		b := gridBar{at: at, from: at.Float(), metre: sigs[0].metre, len: full(sigs[0].metre)}
		if len(sigs) > 1 && sigs[1].at.Less(at.Add(b.len)) {
			b.len = sigs[1].at.Sub(at)
		}
		r.q.bars = append(r.q.bars, b)
		if at = at.Add(b.len); len(r.q.bars) > maxBars+1 {
			r.fault(place{}, "export the tune alone", "the MIDI file is longer than %d bars", maxBars)
			return false
		}
	}
	return true
}

// mergeGraces leaves one note at each place: of two the first becomes a grace
// note of the second when it was over by then, else the higher is kept.
func (r *smfReader) mergeGraces() {
	r.graces = make(map[*stroke][]*stroke)
	out := r.notes[:0] // the quantiser has done with them
	graces, dropped := 0, 0
	for i, n := range r.notes {
		if k := len(out) - 1; k >= 0 && !out[k].at.Less(n.at) {
			was := out[k]
			n.at = was.at
			if was.off < n.on+0.1 {
				if i+1 < len(r.notes) || n.off > was.off {
					graces++
					r.graces[n] = append(r.graces[was], was)
					out[k] = n
					continue
				}
			}
			dropped++
			if n.key > was.key {
				out[k] = n
			}
			continue
		}
		out = append(out, n)
	}
	r.notes = out
	if graces > 0 {
		r.warn(place{}, "%s too short for the grid: read as grace notes of the next", are(graces, "note is", "notes are"))
	}
	if dropped > 0 {
		r.warn(place{}, "%s at one place of the grid with another: the higher is kept", are(dropped, "note falls", "notes fall"))
	}
}

func are(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// How long a gap before the next note is for a breath and no rest: an eighth of
// the time between the two, or a fifth of it when that is less than a sixteenth.
// Common practice, no source: a full note is held for about nine tenths.
func isBreath(gap, between float64) bool {
	return gap <= max(between/8, 0.06) || gap <= between/5+1e-9 && gap < 0.24
}

// lengths ends the notes on the grid.
func (r *smfReader) lengths() {
	for i, n := range r.notes {
		next := math.Inf(1)
		if i+1 < len(r.notes) {
			next = r.notes[i+1].on
		}
		off := n.off
		if n.hanging || off > next {
			off = min(next, off)
		}
		end := r.q.place(off)
		if i+1 < len(r.notes) {
			to := r.notes[i+1].at
			if isBreath(next-off, next-n.on) || to.Less(end) {
				end = to
			}
		}
		if !n.at.Less(end) {
			end = r.q.after(n.at)
			if i+1 < len(r.notes) && r.notes[i+1].at.Less(end) {
				end = r.notes[i+1].at
			}
		}
		n.end = end
	}
}

// placeChords puts the chord symbols on their places; the symbols of one text
// share the time to the next text or bar line.
func (r *smfReader) placeChords() {
	tick := 1.01 / float64(r.file.division)
	for i := range r.chords {
		c := &r.chords[i]
		c.at = r.q.chordPlace(r.quarters(c.tick), tick)
	}
	for i := range r.chords {
		c := &r.chords[i]
		if c.part == 0 {
			continue
		}
		first, parts := i-int(c.part), len(c.words.chords)
		from := r.chords[first].at
		b := r.q.bars[r.q.barAt(from.Float())]
		to := b.at.Add(b.len)
		if k := first + parts; k < len(r.chords) && r.chords[k].at.Less(to) && from.Less(r.chords[k].at) {
			to = r.chords[k].at
		}
		c.at = from.Add(to.Sub(from).Mul(int64(c.part), int64(parts)))
	}
	kept := r.chords[:0]
	for _, c := range r.chords {
		if k := len(kept) - 1; k >= 0 && !kept[k].at.Less(c.at) {
			if *kept[k].chord() != *c.chord() {
				at, old := kept[k].at, kept[k].words.text
				r.later = append(r.later, func(label func(theory.Time) string) {
					r.warn(place{}, "bar %s: two chord symbols at one place, %s and %s: the second is kept", label(at), quote(old), quote(c.words.text))
				})
			}
			c.at = kept[k].at
			kept[k] = c
			continue
		}
		kept = append(kept, c)
	}
	r.chords = kept
	for i := range r.chords {
		to := r.notes[len(r.notes)-1].end
		if i+1 < len(r.chords) {
			to = r.chords[i+1].at
		}
		r.chords[i].len = max(to.Sub(r.chords[i].at).Float(), 0)
	}
}

var (
	sectionWord = regexp.MustCompile(`(?i)^(intro(duction)?|verse|(pre|post)?[- ]?chorus|refrain|bridge|middle( ?8| eight)?|coda|outro|tag|ending|interlude|solo|head|theme|vamp|trio|part|section|strain|turnaround)\b.{0,20}$`)
	letterMark  = regexp.MustCompile(`^[A-Z]['’]?[0-9]?$`)
)

// smfSection is the name of a section that a marker gives.
func smfSection(text string) (string, bool) {
	if inner, ok := bracketed(text); ok {
		text = strings.TrimSpace(inner)
	}
	return text, letterMark.MatchString(text) || sectionWord.MatchString(text)
}

// sheet puts the bars together.
func (r *smfReader) sheet(chords textGroup) *sheet {
	s := &sheet{howSymbols: howSMFChords + r.noChord}
	written, starts, from := r.frame()
	s.bars = written
	if from > 0 {
		r.warn(place{}, "%s of silence before the tune: left out", are(from, "bar", "bars"))
	}
	inBar := func(t theory.Time) int { return min(max(r.q.barAt(t.Float())-from, 0), len(s.bars)-1) }
	r.findKeys(s, starts)
	r.fill(s, starts, inBar)
	r.tempi(s, starts, inBar)
	r.sections(s, chords, inBar)
	r.titles(s)
	var labels []string
	label := func(t theory.Time) string {
		if labels == nil {
			labels = s.labels()
		}
		return labels[inBar(t)]
	}
	for _, f := range r.later {
		f(label)
	}
	r.moves(label)
	return s
}

// frame is the bars of the tune without what is in them, when each starts in
// the file, and how many bars of the file come before the first.
func (r *smfReader) frame() (out []*bar, starts []theory.Time, from int) {
	bars := r.q.bars
	at := func(t theory.Time) int { return r.q.barAt(t.Float()) }
	// The tune begins in the bar of its first note or chord symbol and ends in
	// that of its last.
	begin, end := r.notes[0].at, r.notes[len(r.notes)-1].end
	first, last := begin, end
	if len(r.chords) > 0 {
		if c := r.chords[0].at; c.Less(first) {
			first = c
		}
		if c := r.chords[len(r.chords)-1].at; !c.Less(last) {
			last = c.Add(theory.Quarters(1, 16)) // its whole bar
		}
	}
	from = at(first)
	to := at(last) + 1
	if to > from+1 && !bars[to-1].at.Less(last) {
		to--
	}
	out = make([]*bar, 0, to-from)
	for i := from; i < to; i++ {
		g := bars[i]
		b := &bar{len: g.len, metre: g.metre}
		// Programs write a pick-up, or a short last bar, with a time signature of
		// its own.
		if i == from && i+1 < to && g.len == full(g.metre) && g.len.Less(full(bars[i+1].metre)) && bars[i+1].metre != g.metre && !(i+2 < to && bars[i+2].metre == g.metre) {
			b.metre, b.implicit = bars[i+1].metre, true
		}
		if i == to-1 && i > from && g.len.Less(full(bars[i-1].metre)) && g.metre != bars[i-1].metre && g.metre.Den == bars[i-1].metre.Den {
			b.metre = bars[i-1].metre
		}
		out = append(out, b)
	}
	starts = make([]theory.Time, len(out))
	for i := range starts {
		starts[i] = bars[from+i].at
	}
	// Silence before the first note makes a pick-up of its bar.
	lead := first.Sub(starts[0])
	firstBarHasChord := len(r.chords) > 0 && r.chords[0].at.Less(starts[0].Add(out[0].len))
	if b := out[0]; len(out) > 1 && !b.implicit && first == begin && beatOf(b.metre).Cmp(lead) <= 0 &&
		(!firstBarHasChord || b.len.Cmp(lead.Mul(2, 1)) <= 0) {
		b.len, b.implicit = b.len.Sub(lead), true
		starts[0] = first
	}
	return out, starts, from
}

// fill puts notes and chord symbols into their bars.
func (r *smfReader) fill(s *sheet, starts []theory.Time, inBar func(theory.Time) int) {
	all := make([]note, 0, len(r.notes)) // one after the other, for all bars
	for i, n := range r.notes {
		k := inBar(n.at)
		b := s.bars[k]
		next := -1
		if i+1 < len(r.notes) {
			next = r.notes[i+1].key
		}
		pitch := spell(n.key, b.key, r.chordAt(n.at), next)
		var grace []theory.Pitch
		for _, g := range r.graces[n] {
			grace = append(grace, spell(g.key, b.key, r.chordAt(n.at), n.key))
		}
		all = append(all, note{at: n.at.Sub(starts[k]), len: n.end.Sub(n.at), pitch: pitch, grace: grace})
		b.notes = all[len(all)-len(b.notes)-1 : len(all) : len(all)]
	}
	symbols := make([]symbol, 0, len(r.chords))
	for _, c := range r.chords {
		k := inBar(c.at)
		b := s.bars[k]
		symbols = append(symbols, symbol{at: c.at.Sub(starts[k]), chord: *c.chord()})
		b.symbols = symbols[len(symbols)-len(b.symbols)-1 : len(symbols) : len(symbols)]
	}
}

// chordAt is the chord at a time; before the first, the first; nil without
// any.
func (r *smfReader) chordAt(t theory.Time) *theory.Chord {
	if len(r.chords) == 0 {
		return nil
	}
	i, found := slices.BinarySearchFunc(r.chords, t, func(c smfChord, t theory.Time) int { return c.at.Cmp(t) })
	if !found {
		i--
	}
	return r.chords[max(i, 0)].chord()
}

// findKeys gives each bar its key: that of the signatures, or the likeliest.
func (r *smfReader) findKeys(s *sheet, starts []theory.Time) {
	var pcs [12]float64
	for _, n := range r.notes {
		pcs[n.key%12] += n.end.Sub(n.at).Float()
	}
	guess, lead := likeliestKey(pcs, r.chords)
	type mark struct {
		at  float64
		key theory.Key
	}
	var marks []mark
	for _, m := range r.metas {
		if m.kind != metaKey {
			continue
		}
		d := r.file.body(m)
		if len(d) < 2 || int8(d[0]) < -7 || int8(d[0]) > 7 || d[1] > 1 {
			r.warnOnce(place{}, "a key signature that does not exist is not read")
			continue
		}
		k := mark{r.quarters(m.at), keyOfFifths(int(int8(d[0])), d[1] == 1)}
		if n := len(marks) - 1; n >= 0 && marks[n].at == k.at {
			marks[n] = k
			continue
		}
		marks = append(marks, k)
	}
	switch {
	case len(marks) == 0:
		r.warn(place{}, "the MIDI file has no key signature: notes and chords lie best in %s", guess)
	case len(marks) == 1 && marks[0].key == theory.Key{} && len(r.notes) >= enoughNotes && (guess.Fifths > 1 || guess.Fifths < -1) && lead(theory.Key{}) > unasked:
		r.warn(place{}, "the key signature is C, which programs write unasked: notes and chords lie in %s, and that is taken", guess)
		marks = nil
	case len(marks) > 0 && marks[0].at > starts[0].Float()+1:
		r.warn(place{}, "the MIDI file has no key signature at its beginning: the first later one, %s, is taken", marks[0].key)
	}
	key := guess
	if len(marks) > 0 {
		key = marks[0].key
	}
	for i, b := range s.bars {
		for len(marks) > 0 && marks[0].at <= starts[i].Float()+0.5 {
			key = marks[0].key
			marks = marks[1:]
		}
		b.key = key
	}
}

// By how much another key must fit better than the C major that a program may
// have written by itself, and how many notes can tell. Common practice, no
// source.
const (
	unasked     = 0.2
	enoughNotes = 16
)

// tempi puts the tempo marks into the bars: at most one a quarter, and none
// that changes less than one in a hundred.
func (r *smfReader) tempi(s *sheet, starts []theory.Time, inBar func(theory.Time) int) {
	was := 0.0
	for _, m := range r.metas {
		if m.kind != metaTempo {
			continue
		}
		us, d := 0, r.file.body(m)
		for _, c := range d[:min(len(d), 3)] {
			us = us<<8 | int(c)
		}
		bpm := math.Round(60e6/max(float64(us), 1)*100) / 100
		if len(d) < 3 || !validTempo(bpm) {
			r.warnOnce(place{}, "a tempo that no tune has is not read")
			continue
		}
		at := theory.Quarters(int64(math.Round(r.quarters(m.at))), 1)
		if starts[0].Less(at) && was > 0 && math.Abs(bpm/was-1) < 0.01 {
			continue
		}
		k := inBar(at)
		b := s.bars[k]
		in := at.Sub(starts[k])
		if in.Less(theory.Time{}) {
			in = theory.Time{}
		}
		if !in.Less(b.len) {
			continue // behind the end
		}
		was = bpm
		if n := len(b.tempi) - 1; n >= 0 && b.tempi[n].at == in {
			b.tempi[n].bpm = bpm
			continue
		}
		b.tempi = append(b.tempi, tempo{at: in, bpm: bpm})
	}
}

// sections takes the names of sections from markers, and from texts that can
// be nothing else.
func (r *smfReader) sections(s *sheet, chords textGroup, inBar func(theory.Time) int) {
	for _, m := range r.metas {
		if chords.has(m) || m.kind != metaMarker && m.kind != metaCue && m.kind != metaText {
			continue
		}
		w := r.file.words(m)
		if w == nil {
			continue
		}
		name, ok := smfSection(w.text)
		if !ok {
			continue
		}
		// The nearest bar line: markers are set by hand.
		x := r.quarters(m.at)
		k := inBar(theory.Quarters(int64(math.Round(4*x)), 4))
		i := r.q.barAt(x)
		if b := r.q.bars[i]; i+1 < len(r.q.bars) && x-b.from > b.len.Float()/2 && k+1 < len(s.bars) {
			k = inBar(r.q.bars[i+1].at)
		}
		s.bars[k].section, s.bars[k].starts = name, true
	}
}

// titles takes the name of the sequence, else that of the track.
func (r *smfReader) titles(s *sheet) {
	f := r.file
	names := []string{f.title}
	if f.format != 2 && (len(f.tracks[0].notes) == 0 || f.format == 0) {
		names = append(names, f.tracks[0].name)
	}
	names = append(names, r.melody.name)
	for _, n := range names {
		if n != "" && !plainTrack.MatchString(n) && !exactly(melodyName, n) {
			s.title = n
			return
		}
	}
}

// exactly reports that re matches the whole of s.
func exactly(re *regexp.Regexp, s string) bool {
	m := re.FindStringIndex(s)
	return m != nil && m[0] == 0 && m[1] == len(s)
}

// Movements that are told, in quarters.
const (
	toldMove  = 0.0625 // bars with more are named
	toldMoves = 6      // as many bars
)

// moves reports what the grid did.
func (r *smfReader) moves(label func(theory.Time) string) {
	tick := 1.01 / float64(r.file.division)
	moved, most := 0, 0.0
	worst := make(map[string]float64)
	var bars []string
	for _, n := range r.notes {
		if n.moved <= tick {
			continue
		}
		moved++
		most = max(most, n.moved)
		if n.moved > toldMove {
			b := label(n.at)
			if _, ok := worst[b]; !ok {
				bars = append(bars, b)
			}
			worst[b] = max(worst[b], n.moved)
		}
	}
	if r.q.main == swung {
		ratio := r.q.swing / (1 - r.q.swing)
		r.warn(place{}, "the eighths are swung %.1f to 1: they are read as straight eighths (--feel %.1f plays them so)", ratio, ratio)
	}
	if moved == 0 {
		return
	}
	text := fmt.Sprintf("%d of %s moved to the grid, by %.2f of a quarter at most", moved, counted(len(r.notes), "note"), most)
	if len(bars) > 0 {
		order := slices.Clone(bars)
		slices.SortStableFunc(order, func(a, b string) int { return cmp.Compare(worst[b], worst[a]) })
		order = order[:min(len(order), toldMoves)]
		bars = slices.DeleteFunc(bars, func(b string) bool { return !slices.Contains(order, b) })
		word := "bar"
		if len(bars) > 1 {
			word = "bars"
		}
		text += fmt.Sprintf("; furthest in %s %s: look there", word, strings.Join(bars, ", "))
	}
	r.warn(place{}, "%s", text)
}
