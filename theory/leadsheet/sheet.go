package leadsheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// A sheet is a lead sheet as written: one melody, its bars in written order,
// repeats and jumps not yet obeyed.
type sheet struct {
	title, composer string
	howSymbols      string   // how to add chord symbols, for who has none
	blanks          int      // pairs of quotes that wait for a chord symbol
	tempoText       string   // words for the tempo where there is no figure
	lines           []string // of the file where it is ABC
	bars            []*bar
	order           []span // the parts in the order played; nil: all bars, with repeats and jumps
	grid            grid
}

// lowerNotes is told of chords in the melody.
const lowerNotes = "of notes at once the top one is read"

// A span is a run of written bars [from, to).
type span struct{ from, to int }

// A bar is a written bar. Times in it count from its start.
type bar struct {
	place
	number   string // the file's number, "" when it has none
	implicit bool   // the file says that it does not count
	len      theory.Time
	metre    theory.Metre
	free     bool // no metre: any length is right
	key      theory.Key

	notes   []note
	symbols []symbol
	tempi   []tempo

	section  string // the name of the section that starts here
	starts   bool   // a section starts here: after a double bar or a repeat
	from     bool   // a repeat starts here
	back     int    // a repeat ends here: how often it is played, 0 none
	endings  []int  // the passes that play this bar; nil all
	ending   bool   // a variant ending starts here
	segno    bool   // the jump target of D.S., at the start
	coda     bool   // the coda starts here
	toCoda   bool   // at the end: to the coda, after a jump
	fine     bool   // the end, after a jump
	daCapo   bool   // at the end: from the start
	dalSegno bool   // at the end: from the sign
	toSegno  bool   // the part that P: puts next starts at its sign
	jumpAt   place  // where the jump is written
	jumpTo   string // where it says that the tune ends then: "fine", "coda" or ""
	jumpSaid string // the words that alone say so, "" when there is more

	afterJump bool // the repeat that ends here is played after a jump too
	codaSign  int  // a coda sign of which nothing says what it is, and where it stands
	sign      signNames
}

// signNames are the names by which jumps and the signs they go to belong
// together; "" when there is only one.
type signNames struct{ segno, coda, toCoda, dalSegno string }

type note struct {
	at, len  theory.Time
	pitch    theory.Pitch
	tied     bool // tied to the next note of the same pitch
	tiedFrom bool // tied to the note before
	grace    []theory.Pitch
}

type symbol struct {
	place
	at    theory.Time
	chord theory.Chord
}

type tempo struct {
	at   theory.Time
	bpm  float64
	text string
}

// A grid keeps sums of times exact in 64 bits: the common denominator of all
// lengths of a sheet is bounded, and so is its length.
type grid struct{ den int64 }

// fits takes t into the grid, or reports that it is cut too finely.
func (g *grid) fits(t theory.Time) bool {
	if g.den == 0 {
		g.den = 1
	}
	d := t.Den()
	if d > maxDen || t.Num() > maxQuarters*d || t.Num() < -maxQuarters*d {
		return false
	}
	a, b := g.den, d
	for b != 0 {
		a, b = b, a%b
	}
	if lcm := g.den / a * d; lcm <= maxDen {
		g.den = lcm
		return true
	}
	return false
}

// full is the length of a bar of the metre.
func full(m theory.Metre) theory.Time { return theory.Quarters(4*int64(m.Num), int64(m.Den)) }

// labels are the printed numbers of the written bars: the file's own where it
// has them, else counted; a short first bar is 0, a pick-up inside takes the
// number before it with a +. Every label is given once: a number that the file
// repeats gets a letter.
func (s *sheet) labels() []string {
	out := make([]string, len(s.bars))
	used, again := make(map[string]bool), make(map[string]int)
	last := 0 // the number before
	most := s.mostlyShort()
	for i, b := range s.bars {
		short := !most && b.short()
		base := strconv.Itoa(last + 1)
		switch {
		case i == 0 && len(s.bars) > 1 && (short || b.implicit):
			base = "0"
		case barNumber(b.number) && !b.implicit:
			base = b.number
		case i > 0 && (b.implicit || b.number == "" && short && s.insidePickUp(i)):
			base = strconv.Itoa(last) + "+"
		}
		base = unique(base, used, again)
		out[i] = base
		if n, err := strconv.Atoi(leadingDigits(base)); err == nil {
			last = n
		}
	}
	return out
}

// short reports a bar that holds less than its metre asks for.
func (b *bar) short() bool { return !b.free && b.len.Less(full(b.metre)) }

// mostlyShort reports a sheet in which most bars are short with nothing but a bar
// line between them: then its metre or its unit length is wrong, and none of
// them is a pick-up or the part of a divided bar.
func (s *sheet) mostlyShort() bool {
	n := 0
	for i, b := range s.bars {
		if b.short() && (i > 0 && s.plainlyDivided(i-1) || s.plainlyDivided(i)) {
			n++
		}
	}
	return n >= 3 && 2*n > len(s.bars)
}

// plainlyDivided reports that bars i and i+1 make a full one and no repeat, ending,
// double bar or jump stands between them.
func (s *sheet) plainlyDivided(i int) bool {
	if i+1 >= len(s.bars) || !s.bars[i].short() || !s.bars[i+1].short() {
		return false
	}
	a, b := s.bars[i], s.bars[i+1]
	return a.len.Add(b.len) == full(a.metre) && a.back == 0 && !a.fine && !a.daCapo && !a.dalSegno && !a.toCoda &&
		!b.starts && !b.from && !b.ending && !b.segno && !b.coda && !b.implicit && b.section == ""
}

// unique puts a letter behind the number of a label that is taken: 4, 4a, 4b;
// the + of a pick-up stays last. again counts how often each was asked for.
func unique(label string, used map[string]bool, again map[string]int) string {
	out := label
	for used[out] {
		number, plus := strings.TrimSuffix(label, "+"), ""
		if number != label {
			plus = "+"
		}
		k := again[label]
		again[label]++
		out = number + string(rune('a'+k%26)) + plus
		if k >= 26 {
			out = number + string(rune('a'+k%26)) + strconv.Itoa(k/26) + plus
		}
	}
	used[out] = true
	return out
}

// insidePickUp reports whether short bar i is the second part of a divided bar
// or the pick-up of a section.
func (s *sheet) insidePickUp(i int) bool {
	b, before := s.bars[i], s.bars[i-1]
	if b.starts || b.from || b.section != "" {
		return true
	}
	return before.short() && before.len.Add(b.len) == full(b.metre)
}

// barNumber accepts digits and at most one letter after them: what can be
// typed as a place.
func barNumber(s string) bool {
	d := leadingDigits(s)
	rest := s[len(d):]
	return d != "" && len(d) <= 6 && (rest == "" || len(rest) == 1 && (rest[0] >= 'a' && rest[0] <= 'z' || rest[0] >= 'A' && rest[0] <= 'Z'))
}

func leadingDigits(s string) string {
	i := 0
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	return s[:i]
}

// build unrolls the sheet into a tune. Faults go to the log; the tune counts
// only when there are none.
func (s *sheet) build(l *log) *theory.Tune {
	if s == nil {
		return nil
	}
	if len(s.bars) == 0 {
		l.fault(place{}, "a lead sheet needs a melody", "there are no notes in this tune")
		return nil
	}
	order := s.unroll(l)
	if order == nil {
		return nil
	}
	labels := s.labels()
	t := s.line(order, labels, l)
	if t == nil {
		return nil
	}
	end := t.End()
	if k := len(t.Changes) - 1; k >= 0 && t.Changes[k].At.Cmp(end) >= 0 {
		l.warnOnce(place{}, "the last chord symbol stands at the end of the tune and is left out")
		t.Changes = t.Changes[:k]
	}
	switch {
	case len(l.faults) > 0: // they tell why something is missing
	case len(t.Melody) == 0:
		l.fault(place{}, "a lead sheet needs a melody", "there are no notes in this tune")
	case len(t.Changes) == 0:
		l.fault(place{}, s.howSymbols, "there are no chord symbols in this tune")
	}
	if len(l.faults) > 0 && !l.lenient {
		return nil
	}
	if n := len(t.Melody) - 1; n >= 0 && end.Less(t.Melody[n].At.Add(t.Melody[n].Len)) {
		t.Melody[n].Len = end.Sub(t.Melody[n].At)
	}
	for i := range t.Changes {
		to := end
		if i+1 < len(t.Changes) {
			to = t.Changes[i+1].At
		}
		t.Changes[i].Len = to.Sub(t.Changes[i].At)
	}
	t.Key = t.Bars[0].Key
	s.firstTempo(t)
	t.Sections = s.sections(order)
	s.lengths(order, labels, l)
	t.DividePhrases()
	t.Warnings = l.told(func(warning) bool { return true })
	return t
}

// line puts the bars one after the other in the order played. The chord
// symbols have no lengths yet. It returns nil when it logged a fault.
func (s *sheet) line(order []int, labels []string, l *log) *theory.Tune {
	notes, symbols := 0, 0
	for _, i := range order {
		notes += len(s.bars[i].notes)
		symbols += len(s.bars[i].symbols)
		if notes > maxNotes || symbols > maxNotes {
			l.fault(s.bars[i].place, "take repeats out", "with its repeats the tune is longer than %d notes", maxNotes)
			return nil
		}
	}
	t := &theory.Tune{Title: printable(s.title), Composer: printable(s.composer)}
	t.Bars = make([]theory.Bar, 0, len(order))
	t.Melody = make([]theory.Note, 0, notes)
	t.Changes = make([]theory.Change, 0, symbols)
	tempoAt := s.tempoAtBars()
	pass := make([]int, len(s.bars))
	var (
		now  theory.Time
		bpm  float64
		tied bool // the last note goes on into the next
	)
	for _, i := range order {
		b := s.bars[i]
		pass[i]++
		label := labels[i]
		if pass[i] > 1 {
			label += "/" + strconv.Itoa(pass[i])
		}
		t.Bars = append(t.Bars, theory.Bar{
			Label: label, Pass: pass[i], Source: i, At: now, Len: b.len,
			Beat: theory.BeatOf(b.metre), Metre: b.metre, Key: b.key,
		})
		for _, n := range b.notes {
			addNote(t, now.Add(n.at), n, tied)
			tied = n.tied
		}
		for _, c := range b.symbols {
			at := now.Add(c.at)
			if k := len(t.Changes) - 1; k >= 0 && t.Changes[k].At == at {
				// A symbol at the very end of the bar before: it never sounds.
				l.warnOnce(c.place, "a chord symbol that stands at the end of a bar is covered by the next bar's and is left out")
				t.Changes[k].Chord = c.chord
				continue
			}
			t.Changes = append(t.Changes, theory.Change{At: at, Chord: c.chord})
		}
		if v := tempoAt[i]; v != bpm && v != 0 {
			bpm = v
			setTempo(t, now, tempo{bpm: v})
		}
		for _, m := range b.tempi {
			if (m.bpm != bpm || m.text != "") && m.at.Less(b.len) {
				bpm = m.bpm
				setTempo(t, now.Add(m.at), m)
			}
		}
		now = now.Add(b.len)
		if len(t.Bars) > maxBars || len(t.Melody) > maxNotes || now.Cmp(theory.Quarters(maxQuarters, 1)) > 0 {
			l.fault(b.place, "take repeats out", "with its repeats the tune is longer than %d bars or %d notes", maxBars, maxNotes)
			return nil
		}
	}
	return t
}

// addNote adds a note of a bar at its time in the tune; tied tells that the
// note before goes on into it when it has the same pitch.
func addNote(t *theory.Tune, at theory.Time, n note, tied bool) {
	if k := len(t.Melody) - 1; k >= 0 {
		last := &t.Melody[k]
		end := last.At.Add(last.Len)
		if (tied || n.tiedFrom) && end == at && last.Pitch.MIDI() == n.pitch.MIDI() {
			last.Len = last.Len.Add(n.len)
			return
		}
		if at.Less(end) { // a voice that overlaps itself
			last.Len = at.Sub(last.At)
		}
	}
	t.Melody = append(t.Melody, theory.Note{At: at, Len: n.len, Pitch: n.pitch, Grace: slices.Clone(n.grace)})
}

// told is the list of the warnings asked for, in order of place.
func (l *log) told(asked func(warning) bool) []theory.Warning {
	slices.SortStableFunc(l.warnings, func(a, b warning) int {
		if a.line != b.line {
			return a.line - b.line
		}
		return a.col - b.col
	})
	var out []theory.Warning
	for _, w := range l.warnings {
		if !asked(w) {
			continue
		}
		if w.times > 1 {
			w.text += fmt.Sprintf(" (%d times)", w.times)
		}
		if w.line > 0 && l.where != nil {
			if path := l.where(w.place); path != "" {
				w.text = path + ": " + w.text
			}
		}
		out = append(out, theory.Warning{Line: w.line, Col: w.col, Text: w.text})
	}
	if l.moreWarnings > 0 {
		out = append(out, theory.Warning{Text: fmt.Sprintf("and %d more", l.moreWarnings)})
	}
	return out
}

// tempoAtBars is the tempo in force at the start of each written bar, so that a
// jump back to it can restore it; 0 before the first mark. Of two marks at one
// place it leaves the later: the other never sounds, and would be a change when
// the bar is played again.
func (s *sheet) tempoAtBars() []float64 {
	out := make([]float64, len(s.bars))
	bpm := 0.0
	for i, b := range s.bars {
		slices.SortStableFunc(b.tempi, func(x, y tempo) int { return x.at.Cmp(y.at) })
		var last []tempo
		for _, m := range b.tempi {
			if m.bpm == 0 {
				continue
			}
			if n := len(last) - 1; n >= 0 && last[n].at == m.at {
				last = last[:n]
			}
			last = append(last, m)
		}
		b.tempi = last
		out[i] = bpm
		for _, m := range last {
			bpm = m.bpm
			if m.at == (theory.Time{}) {
				out[i] = bpm
			}
		}
	}
	return out
}

// setTempo adds a mark; the later of two at one place holds.
func setTempo(t *theory.Tune, at theory.Time, m tempo) {
	mark := theory.TempoMark{At: at, BPM: m.bpm, Text: printable(m.text)}
	if n := len(t.Tempi) - 1; n >= 0 && t.Tempi[n].At == at {
		t.Tempi[n] = mark
		return
	}
	t.Tempi = append(t.Tempi, mark)
}

// firstTempo puts a mark at 0: the first one there is, or the usual one of the
// metre.
func (s *sheet) firstTempo(t *theory.Tune) {
	if len(t.Tempi) == 0 {
		var shortest theory.Time
		for i, n := range t.Melody {
			if i == 0 || n.Len.Less(shortest) {
				shortest = n.Len
			}
		}
		metre := t.Bars[0].Metre
		t.Tempi = []theory.TempoMark{{BPM: theory.DefaultTempo(metre, shortest), Text: printable(s.tempoText)}}
		t.TempoAssumed = true
		return
	}
	t.Tempi[0].At = theory.Time{}
	if t.Tempi[0].Text == "" {
		t.Tempi[0].Text = printable(s.tempoText)
	}
}

// sections cuts the line at double bars, repeats, part labels and jumps. A
// stretch that is less than a bar is the pick-up of the section after it. One
// nameless section is no division.
func (s *sheet) sections(order []int) []theory.Section {
	type cut struct{ at, source int }
	var cuts []cut
	for k, i := range order {
		b := s.bars[i]
		jump := k > 0 && i != order[k-1]+1 && !(b.ending && i > order[k-1])
		if k == 0 || jump || b.section != "" || (b.starts || b.from) && b.endings == nil {
			cuts = append(cuts, cut{k, i})
		}
	}
	names := make(map[int]string) // by the written bar
	kept := cuts[:0]
	for c := 0; c < len(cuts); c++ {
		to := len(order)
		if c+1 < len(cuts) {
			to = cuts[c+1].at
		}
		var held theory.Time
		for _, i := range order[cuts[c].at:to] {
			held = held.Add(s.bars[i].len)
		}
		b := s.bars[cuts[c].source]
		if c+1 < len(cuts) && held.Less(full(b.metre)) {
			if next := cuts[c+1].source; b.section == "" || s.bars[next].section == "" {
				cuts[c+1].at = cuts[c].at
				if b.section != "" {
					names[next] = b.section
				}
				continue
			}
		}
		kept = append(kept, cuts[c])
	}
	cuts = kept
	taken := make(map[string]bool)
	for _, c := range cuts {
		if n := s.bars[c.source].section; n != "" {
			names[c.source] = n
		}
		taken[names[c.source]] = true
	}
	named := len(names) > 0
	letter := 0
	var out []theory.Section
	for k, c := range cuts {
		to := len(order)
		if k+1 < len(cuts) {
			to = cuts[k+1].at
		}
		if _, ok := names[c.source]; !ok {
			for taken[letterName(letter)] {
				letter++
			}
			names[c.source] = letterName(letter)
			taken[names[c.source]] = true
		}
		out = append(out, theory.Section{Name: printable(names[c.source]), From: c.at, To: to})
	}
	if len(out) == 1 && !named {
		return nil
	}
	return out
}

// letterName is A to Z, then A2 to Z2 and so on.
func letterName(n int) string {
	s := string(rune('A' + n%26))
	if n >= 26 {
		s += strconv.Itoa(n/26 + 1)
	}
	return s
}

// lengths warns of bars inside the line that hold more or less than their
// metre: once a written bar. A bar divided by a repeat sign, and the pick-up
// with the last bar, make up for each other.
func (s *sheet) lengths(order []int, labels []string, l *log) {
	wrong, _ := s.wrongLengths(order)
	if s.mostlyShort() {
		l.warn(place{}, "most bars hold less than their metre asks for: the metre may be wrong (in ABC, M: and L:)")
	}
	for _, i := range wrong {
		b := s.bars[i]
		want, what, do := full(b.metre), "long", "a bar line may be missing"
		if b.len.Less(want) {
			what, do = "short", "a note or a rest may be missing"
		}
		quarters := "quarters"
		if b.len == theory.Quarters(1, 1) {
			quarters = "quarter"
		}
		l.warnLength(b.place, "bar %s is too %s: it holds %s %s, its metre %d/%d asks for %s (%s)", labels[i], what, b.len, quarters, b.metre.Num, b.metre.Den, want, do)
	}
}

// wrongLengths are the written bars that lengths warns of, as they are played.
// right has those that have the length they should the one time or the other:
// the last bar of a part that is played again with its pick-up and then without.
func (s *sheet) wrongLengths(order []int) (wrong []int, right []bool) {
	told := make(map[int]bool)
	right = make([]bool, len(s.bars))
	most := s.mostlyShort()
	short := func(k int) bool { return s.bars[order[k]].short() }
	together := func(k int) bool { // k and k+1 are two parts of one bar
		if k < 0 || k+1 >= len(order) || !short(k) || !short(k+1) {
			return false
		}
		a, b := s.bars[order[k]], s.bars[order[k+1]]
		sum := a.len.Add(b.len)
		return sum == full(a.metre) || sum == full(b.metre)
	}
	for k, i := range order {
		b := s.bars[i]
		want := full(b.metre)
		switch {
		case b.free || b.len == want || b.len.Less(want) && !most && (k == 0 || k == len(order)-1 || together(k-1) || together(k)):
			right[i] = true
		case !told[i]:
			told[i] = true
			wrong = append(wrong, i)
		}
	}
	return wrong, right
}
