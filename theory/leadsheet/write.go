package leadsheet

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thumbline/theory"
)

// WriteABC writes a tune as ABC 2.1 that Read reads as the same tune: onsets,
// lengths and spelled pitches of the melody with its grace notes, chord symbols,
// bars with metre and key, tempo, sections. Bars that are played again are
// folded into repeats and endings where that gives the same line; the rest is
// written out. What is written is read again before it goes to w.
//
// The texts returned tell what could not be kept beside the music: numbers of
// bars that come out differently, names of sections that ABC does not take.
// They stand as comments at the head of the file too. A melody that no ABC can
// hold, one with a note of a millionth of a quarter, is an error, and nothing
// is written.
func WriteABC(w io.Writer, t *theory.Tune) (told []string, err error) {
	text, told, err := abcOf(t)
	if err != nil {
		return nil, err
	}
	_, err = io.WriteString(w, text)
	return told, err
}

// abcOf finds the best way to write the tune: folded before in full, in its
// metres before without any, as a sheet in M:none was.
func abcOf(t *theory.Tune) (text string, told []string, err error) {
	if len(t.Bars) == 0 {
		return "", nil, fmt.Errorf("there are no bars to write")
	}
	if i := slices.IndexFunc(t.Bars, func(b theory.Bar) bool { return b.Len.Cmp(theory.Time{}) <= 0 }); i >= 0 {
		return "", nil, fmt.Errorf("bar %s has no length", t.Bars[i].Label)
	}
	all := piecesOf(t)
	type way struct{ fold, free bool }
	ways := []way{{fold: true}, {fold: false}, {fold: true, free: true}, {fold: false, free: true}}
	var best string
	var least *loss
	for _, y := range ways {
		if y.free && slices.ContainsFunc(t.Bars, func(b theory.Bar) bool { return b.Metre != theory.Metre{Num: 4, Den: 4} }) {
			continue
		}
		p := &abcWriter{tune: t, free: y.free, unit: unitOf(t)}
		bars := plainBars(t, all)
		if y.fold {
			bars = foldBars(t, all)
		}
		got, err := p.write(bars, nil)
		if err != nil {
			return "", nil, err
		}
		l := lossOf(t, got)
		if least == nil || l.less(*least) {
			if told := l.told(p); len(told) > 0 {
				if got, err = p.write(bars, told); err != nil {
					return "", nil, err
				}
			}
			best, told, least = got, l.told(p), &l
		}
		if l == (loss{}) {
			break
		}
	}
	if least.music != "" {
		return "", nil, fmt.Errorf("the tune cannot be written as ABC without a change: %s", least.music)
	}
	return best, told, nil
}

// A piece is a stretch of a bar in which nothing begins: a note or a rest, or a
// part of one.
type piece struct {
	at, len theory.Time   // at from the start of the bar
	note    *theory.Note  // nil for a rest
	first   bool          // the note begins here
	tie     bool          // the note goes on behind the piece
	chord   *theory.Chord // a symbol begins here
	tempo   *theory.TempoMark
}

// piecesOf cuts every bar of the tune into pieces.
func piecesOf(t *theory.Tune) [][]piece {
	out := make([][]piece, len(t.Bars))
	n, c, q := 0, 0, 0
	for i, b := range t.Bars {
		end := b.At.Add(b.Len)
		for now := b.At; now.Less(end); {
			p := piece{at: now.Sub(b.At)}
			next := end
			for n < len(t.Melody) && !now.Less(t.Melody[n].At.Add(t.Melody[n].Len)) {
				n++
			}
			if n < len(t.Melody) {
				m := &t.Melody[n]
				if now.Less(m.At) {
					next = earlier(next, m.At)
				} else {
					p.note, p.first = m, m.At == now
					next = earlier(next, m.At.Add(m.Len))
				}
			}
			for c < len(t.Changes) && t.Changes[c].At.Less(now) {
				c++
			}
			if c < len(t.Changes) && t.Changes[c].At == now {
				p.chord = &t.Changes[c].Chord
				c++
			}
			if c < len(t.Changes) {
				next = earlier(next, t.Changes[c].At)
			}
			for q < len(t.Tempi) && t.Tempi[q].At.Less(now) {
				q++
			}
			if q < len(t.Tempi) && t.Tempi[q].At == now {
				if q > 0 { // the first stands in the header
					p.tempo = &t.Tempi[q]
				}
				q++
			}
			if q < len(t.Tempi) {
				next = earlier(next, t.Tempi[q].At)
			}
			p.len = next.Sub(now)
			p.tie = p.note != nil && next.Less(p.note.At.Add(p.note.Len))
			out[i] = append(out[i], p)
			now = next
		}
	}
	return out
}

func earlier(a, b theory.Time) theory.Time {
	if b.Less(a) {
		return b
	}
	return a
}

// unitOf is the L: that makes most lengths short to write.
func unitOf(t *theory.Tune) theory.Time {
	short, long := 0, 0
	for _, n := range t.Melody {
		switch {
		case n.Len.Less(theory.Quarters(1, 2)) && odd(n.Len.Den()) == 1:
			short++
		case n.Len.Den() == 1:
			long++
		}
	}
	switch {
	case 2*short > len(t.Melody):
		return theory.Quarters(1, 4)
	case long == len(t.Melody) && long > 0:
		return theory.Quarters(1, 1)
	}
	return theory.Quarters(1, 2)
}

// odd is n without its factors of two.
func odd(n int64) int64 {
	for n != 0 && n%2 == 0 {
		n /= 2
	}
	return n
}

// An outBar is a bar as it is written, with the signs around it.
type outBar struct {
	theory.Bar
	pieces  []piece
	section string // the name of the section that begins here
	from    int    // a repeat begins here that is played so often
	back    int    // a repeat ends here
	ending  []int  // the ending that begins here
}

// plainBars is the tune written out.
func plainBars(t *theory.Tune, all [][]piece) []outBar {
	out := make([]outBar, len(t.Bars))
	for i, b := range t.Bars {
		out[i] = outBar{Bar: b, pieces: all[i]}
	}
	for _, s := range t.Sections {
		if s.From >= 0 && s.From < len(out) {
			out[s.From].section = s.Name
		}
	}
	return out
}

// foldBars writes once what is played several times, as far as the table of
// bars shows which written bar each comes from.
func foldBars(t *theory.Tune, all [][]piece) []outBar {
	plain := plainBars(t, all)
	n := len(plain)
	runEnd := make([]int, n) // behind the last bar of the run of rising sources
	for i := n - 1; i >= 0; i-- {
		runEnd[i] = i + 1
		if i+1 < n && t.Bars[i+1].Source > t.Bars[i].Source {
			runEnd[i] = runEnd[i+1]
		}
	}
	var out []outBar
	for i := 0; i < n; {
		g, next := repeatAt(plain, runEnd, i)
		if g == nil {
			out = append(out, plain[i])
			i++
			continue
		}
		out = append(out, g...)
		i = next
	}
	return out
}

// A writtenEnding is the bars [from, to) of the line that an ending is written
// from, and the passes that play it.
type writtenEnding struct {
	passes []int
	span
}

// repeatAt gives the bars of the repeat that begins at bar i as they are
// written, and where the line goes on behind it; nil when none begins there.
func repeatAt(plain []outBar, runEnd []int, i int) (group []outBar, next int) {
	var runs []span
	for from := i; from < len(plain) && plain[from].Source == plain[i].Source; from = runEnd[from] {
		runs = append(runs, span{from, runEnd[from]})
	}
	if len(runs) < 2 {
		return nil, 0
	}
	body := runs[0].to - runs[0].from // bars that all passes play first
	for _, r := range runs[1:] {
		k := 0
		for k < body && r.from+k < r.to && sameBar(plain[i+k], plain[r.from+k]) {
			k++
		}
		body = k
	}
	if body == 0 {
		return nil, 0
	}
	ends, next, ok := endingsOf(plain, runs, body)
	if !ok {
		return nil, 0
	}
	for k := range body {
		b := plain[i+k]
		b.pieces = slices.Clone(b.pieces)
		if p := &b.pieces[len(b.pieces)-1]; p.note != nil {
			for _, r := range runs {
				other := plain[r.from+k].pieces
				p.tie = p.tie || other[len(other)-1].tie
			}
		}
		group = append(group, b)
	}
	if len(ends) == 0 {
		group[0].from = len(runs)
		group[body-1].back = len(runs)
		return group, next
	}
	group[0].from = 2
	for _, e := range ends {
		b := plain[e.from]
		b.ending = e.passes
		group = append(group, b)
		group = append(group, plain[e.from+1:e.to]...)
		group[len(group)-1].back = 2
	}
	// The ending of the last pass goes on into what follows.
	if last := runs[len(runs)-1]; next == last.from+body && next < last.to {
		plain[next].ending = []int{len(runs)}
	}
	return group, next
}

// endingsOf gives the endings behind the bars that all runs play first, in
// written order, and where the line goes on behind the repeat. The ending of the
// last pass is among them only when another pass has it too; else it is what
// follows. ok is false when passes differ in a way that endings cannot say.
func endingsOf(plain []outBar, runs []span, body int) (ends []writtenEnding, next int, ok bool) {
	next = runs[len(runs)-1].from + body
	for pass, r := range runs {
		from, to := r.from+body, r.to
		if from == to {
			continue
		}
		known := slices.IndexFunc(ends, func(e writtenEnding) bool { return plain[e.from].Source == plain[from].Source })
		switch {
		case known >= 0:
			e := &ends[known]
			if pass == len(runs)-1 {
				to = min(to, from+e.to-e.from)
				next = to
			}
			if to-from != e.to-e.from {
				return nil, 0, false
			}
			for k := range to - from {
				if !sameBar(plain[e.from+k], plain[from+k]) {
					return nil, 0, false
				}
			}
			e.passes = append(e.passes, pass+1)
		case pass < len(runs)-1:
			ends = append(ends, writtenEnding{[]int{pass + 1}, span{from, to}})
		}
	}
	slices.SortStableFunc(ends, func(a, b writtenEnding) int { return plain[a.from].Source - plain[b.from].Source })
	return ends, next, true
}

// sameBar reports that two bars of the line are one when written.
func sameBar(a, b outBar) bool {
	if a.Source != b.Source || a.Len != b.Len || a.Metre != b.Metre || a.Key != b.Key || len(a.pieces) != len(b.pieces) {
		return false
	}
	for i, p := range a.pieces {
		q := b.pieces[i]
		if p.at != q.at || p.len != q.len || (p.note == nil) != (q.note == nil) || (p.chord == nil) != (q.chord == nil) {
			return false
		}
		if p.chord != nil && *p.chord != *q.chord || p.note != nil && p.note.Pitch != q.note.Pitch {
			return false
		}
		if p.first && q.first && !slices.Equal(p.note.Grace, q.note.Grace) {
			return false
		}
	}
	return true
}

// An abcWriter writes one tune.
type abcWriter struct {
	tune *theory.Tune
	free bool // M:none
	unit theory.Time

	out   strings.Builder
	key   theory.Key
	metre theory.Metre
	names map[string]string // of sections, as ABC takes them
	// Accidentals in force in the bar. Programs differ in whether one holds for
	// the letter in all octaves; one is written wherever the two rules part.
	letters map[theory.Letter]int8
	notes   map[accKey]int8
}

// Bars and characters of a line.
const (
	barsInLine  = 4
	widthOfLine = 100
)

// write gives the text of the sheet, with comments at its head.
func (p *abcWriter) write(bars []outBar, comments []string) (string, error) {
	p.out.Reset()
	p.nameSections()
	p.header(bars[0], comments)
	line, inLine := "", 0
	flush := func() {
		if line != "" {
			p.out.WriteString(strings.TrimSpace(line) + "\n")
		}
		line, inLine = "", 0
	}
	for i, b := range bars {
		if b.section != "" {
			flush()
			p.field("P", p.names[b.section])
		}
		if len(line) > widthOfLine || inLine >= barsInLine && b.ending == nil {
			flush()
		}
		text, err := p.bar(b)
		if err != nil {
			return "", err
		}
		line += signsBefore(b, line) + " " + text + " "
		switch {
		case b.back > 0:
			line += strings.Repeat(":", b.back-1) + "|"
		case i+1 == len(bars):
			line += "|]"
		case bars[i+1].section != "" && bars[i+1].from == 0:
			line += "||"
		case bars[i+1].from > 0 && bars[i+1].section == "" && inLine+1 < barsInLine && len(line) <= widthOfLine:
			// the sign of the repeat is the bar line
		default:
			line += "|"
		}
		if !(b.IsPickup() && i == 0) {
			inLine++
		}
	}
	flush()
	return p.out.String(), nil
}

// header writes the comments and the fields up to K:; first is the bar that they
// hold for.
func (p *abcWriter) header(first outBar, comments []string) {
	t := p.tune
	p.out.WriteString("%abc-2.1\n")
	for _, c := range comments {
		p.out.WriteString("% " + c + "\n")
	}
	p.field("X", "1")
	if t.Title != "" {
		p.field("T", abcEscape(t.Title))
	}
	if t.Composer != "" {
		p.field("C", abcEscape(t.Composer))
	}
	p.key, p.metre = first.Key, first.Metre
	if p.free {
		p.field("M", "none")
	} else {
		p.field("M", p.metre.String())
	}
	p.field("L", lengthName(p.unit))
	if len(t.Tempi) > 0 {
		m := t.Tempi[0]
		if t.TempoAssumed {
			m.BPM = 0
		}
		if s := tempoField(m, first.Bar); s != "" {
			p.field("Q", s)
		}
	}
	p.field("K", keyField(p.key))
}

// signsBefore is the repeat and the ending that begin with a bar, to go behind
// what its line holds so far.
func signsBefore(b outBar, line string) string {
	s := ""
	if b.from > 0 {
		s = "|" + strings.Repeat(":", b.from-1)
	}
	if b.ending == nil {
		return s
	}
	if !strings.HasSuffix(line+s, "|") {
		if line+s != "" {
			s += " "
		}
		s += "["
	}
	for k, e := range b.ending {
		if k > 0 {
			s += ","
		}
		s += strconv.Itoa(e)
	}
	return s
}

func (p *abcWriter) field(letter, value string) {
	p.out.WriteString(letter + ":" + value + "\n")
}

// bar writes the notes of a bar, with the fields that change before them.
func (p *abcWriter) bar(b outBar) (string, error) {
	var s strings.Builder
	if b.Metre != p.metre && !p.free {
		p.metre = b.Metre
		s.WriteString("[M:" + p.metre.String() + "] ")
	}
	if b.Key != p.key {
		p.key = b.Key
		s.WriteString("[K:" + keyField(p.key) + "] ")
	}
	p.letters, p.notes = map[theory.Letter]int8{}, map[accKey]int8{}
	if len(b.pieces) == 1 && b.pieces[0].note == nil {
		x := b.pieces[0]
		p.before(&s, x, b)
		rel := x.len.Mul(p.unit.Den(), p.unit.Num())
		if rel.Num() <= maxLength && rel.Den() <= maxParting {
			s.WriteString("z" + lengthText(rel))
			return s.String(), nil
		}
		x.chord, x.tempo = nil, nil
		b.pieces = []piece{x}
	}
	beat := b.Beat
	if beat.Cmp(theory.Time{}) <= 0 {
		beat = theory.Quarters(1, 1)
	}
	for i := 0; i < len(b.pieces); {
		from := b.pieces[i]
		if i > 0 && wholeBeats(from.at, beat) && !strings.HasSuffix(s.String(), " ") {
			s.WriteByte(' ')
		}
		num, den, n := p.tuplet(b.pieces[i:])
		if n == 0 {
			if err := p.piece(&s, from, b, 1, 1, ""); err != nil {
				return "", err
			}
			i++
			continue
		}
		count := 0
		for _, x := range b.pieces[i : i+n] {
			count += len(p.split(x.len.Mul(num, den)))
		}
		sign := "(" + strconv.FormatInt(num, 10)
		if num != 3 || den != 2 || count != 3 {
			sign += ":" + strconv.FormatInt(den, 10) + ":" + strconv.Itoa(count)
		}
		for _, x := range b.pieces[i : i+n] {
			if err := p.piece(&s, x, b, num, den, sign); err != nil {
				return "", err
			}
			sign = ""
		}
		i += n
	}
	return s.String(), nil
}

func wholeBeats(at, beat theory.Time) bool { return at.Mul(beat.Den(), beat.Num()).Den() == 1 }

// tuplet finds the tuplet that begins with the first of the pieces: num notes
// in the time of den, n pieces long; n is 0 when there is none.
func (p *abcWriter) tuplet(ps []piece) (num, den int64, n int) {
	if odd(ps[0].len.Den()) == 1 {
		return 0, 0, 0
	}
	var sum theory.Time
	num = 1
	for i, x := range ps {
		sum = sum.Add(x.len)
		num = lcm(num, odd(x.len.Den()))
		if num > maxFigure {
			return 0, 0, 0
		}
		if odd(sum.Den()) != 1 {
			continue
		}
		for den = 1; 2*den < num; den *= 2 {
		}
		count := 0
		for _, y := range ps[:i+1] {
			count += len(p.split(y.len.Mul(num, den)))
		}
		if count > maxFigure {
			return 0, 0, 0
		}
		return num, den, i + 1
	}
	return 0, 0, 0
}

func lcm(a, b int64) int64 {
	x, y := a, b
	for y != 0 {
		x, y = y, x%y
	}
	return a / x * b
}

// split parts a written length into note values: a plain note, one dot or two,
// in units of L:.
func (p *abcWriter) split(length theory.Time) []theory.Time {
	rel := length.Mul(p.unit.Den(), p.unit.Num())
	if odd(rel.Den()) != 1 && rel.Num() <= maxLength {
		return []theory.Time{rel} // a value that no note has
	}
	var out []theory.Time
	for left := rel.Num(); left > 0; {
		best := int64(1)
		for v := int64(1); v <= min(left, maxLength); v *= 2 {
			for _, w := range []int64{v, v / 2 * 3, v / 4 * 7} {
				if w <= min(left, maxLength) {
					best = max(best, w)
				}
			}
		}
		out = append(out, theory.Quarters(best, rel.Den()))
		left -= best
	}
	return out
}

// before writes what stands before a note or rest.
func (p *abcWriter) before(s *strings.Builder, x piece, b outBar) {
	if x.tempo != nil {
		if f := tempoField(*x.tempo, b.Bar); f != "" {
			s.WriteString("[Q:" + f + "] ")
		}
	}
	if x.first && len(x.note.Grace) > 0 {
		s.WriteByte('{')
		for _, g := range x.note.Grace {
			s.WriteString(p.pitch(g))
		}
		s.WriteByte('}')
	}
	if x.chord != nil {
		s.WriteString(`"` + x.chord.String() + `"`)
	}
}

// piece writes a piece of a tuplet of num in the time of den, 1 in 1 for none.
func (p *abcWriter) piece(s *strings.Builder, x piece, b outBar, num, den int64, sign string) error {
	parts := p.split(x.len.Mul(num, den))
	at := x.at
	for i, rel := range parts {
		if num == 1 {
			if i > 0 && b.Beat.Cmp(theory.Time{}) > 0 && wholeBeats(at, b.Beat) {
				s.WriteByte(' ')
			}
			at = at.Add(rel.Mul(p.unit.Num(), p.unit.Den()))
		}
		if i == 0 {
			// The sign of the tuplet stands before everything that belongs to its
			// first note.
			if x.tempo != nil {
				p.before(s, piece{tempo: x.tempo}, b)
				x.tempo = nil
			}
			s.WriteString(sign)
		}
		if rel.Den() > maxParting {
			// Finer than one length can say: a tuplet of one note.
			k := int64(3)
			for ; k <= maxFigure; k += 2 {
				if rel.Den()%k == 0 && rel.Den()/k <= maxParting && num == 1 {
					break
				}
			}
			if k > maxFigure {
				return fmt.Errorf("bar %s: a length of %s of a quarter is finer than ABC can say", b.Label, x.len)
			}
			s.WriteString("(" + strconv.FormatInt(k, 10) + ":1:1")
			rel = rel.Mul(k, 1)
		}
		if i == 0 {
			p.before(s, x, b)
		}
		if x.note == nil {
			s.WriteString("z" + lengthText(rel))
			continue
		}
		s.WriteString(p.pitch(x.note.Pitch) + lengthText(rel))
		if x.tie || i+1 < len(parts) {
			s.WriteByte('-')
		}
	}
	return nil
}

// lengthText is a length in units: "", "2", "/", "3/2", "/4".
func lengthText(rel theory.Time) string {
	var s string
	if rel.Num() != 1 {
		s = strconv.FormatInt(rel.Num(), 10)
	}
	switch d := rel.Den(); d {
	case 1:
	case 2:
		s += "/"
	default:
		s += "/" + strconv.FormatInt(d, 10)
	}
	return s
}

// lengthName is a length as a fraction of a whole note, "1/8".
func lengthName(l theory.Time) string {
	w := l.Mul(1, 4)
	return strconv.FormatInt(w.Num(), 10) + "/" + strconv.FormatInt(w.Den(), 10)
}

// pitch writes a note with the accidental it needs.
func (p *abcWriter) pitch(x theory.Pitch) string {
	if x.Alter < -2 || x.Alter > 2 {
		x = theory.PitchOf(x.MIDI(), p.key)
	}
	sig := p.key.Alter(x.Letter)
	k := accKey{x.Letter, int(x.Octave)}
	letter, ok := p.letters[x.Letter]
	if !ok {
		letter = sig
	}
	note, ok := p.notes[k]
	if !ok {
		note = sig
	}
	var s string
	if letter != x.Alter || note != x.Alter {
		p.letters[x.Letter], p.notes[k] = x.Alter, x.Alter
		s = map[int8]string{-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}[x.Alter]
	}
	name := "CDEFGAB"[x.Letter : x.Letter+1]
	if x.Octave >= 5 {
		return s + strings.ToLower(name) + strings.Repeat("'", int(x.Octave)-5)
	}
	return s + name + strings.Repeat(",", 4-int(x.Octave))
}

// keyField is a key as K: has it: its mode where the signature is that of one,
// else the accidentals one by one.
func keyField(k theory.Key) string {
	for _, mode := range []string{"", "m", "mix", "dor", "lyd", "phr", "loc"} {
		name := k.Tonic.String() + mode
		if got, err := theory.ParseKey(name); err == nil && got == k {
			return name
		}
	}
	s := k.Tonic.String()
	if k.Minor {
		s += "m"
	}
	s += " exp"
	for l := theory.C; l <= theory.B; l++ {
		if a := k.Alter(l); a != 0 {
			s += " " + map[int8]string{-2: "__", -1: "_", 1: "^", 2: "^^"}[a] + strings.ToLower("CDEFGAB"[l:l+1])
		}
	}
	return s
}

// tempoField is a tempo as Q: has it, counted in the beat of its bar where that
// is exact; a tempo of 0 has its words alone.
func tempoField(m theory.TempoMark, b theory.Bar) string {
	var s string
	if m.Text != "" {
		s = `"` + strings.ReplaceAll(abcEscape(m.Text), `"`, "'") + `"`
	}
	if m.BPM <= 0 {
		return s
	}
	if s != "" {
		s += " "
	}
	unit := theory.Quarters(1, 1)
	if beat := b.Beat; beat.Cmp(theory.Time{}) > 0 {
		n := m.BPM / beat.Float()
		if text := strconv.FormatFloat(n, 'f', -1, 64); len(text) <= 6 && n*beat.Float() == m.BPM {
			unit = beat
		}
	}
	return s + lengthName(unit) + "=" + strconv.FormatFloat(m.BPM/unit.Float(), 'f', -1, 64)
}

// abcEscape writes a text so that a field reads it back, on one line.
func abcEscape(s string) string {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s))
	return strings.NewReplacer(`\`, `\\`, "%", `\%`, "&", `\&`, "$", "$$").Replace(s)
}

// nameSections gives each section the name under which P: takes it.
func (p *abcWriter) nameSections() {
	p.names = map[string]string{}
	taken := map[string]bool{}
	for _, s := range p.tune.Sections {
		if isPartName(s.Name) {
			p.names[s.Name], taken[s.Name] = s.Name, true
		}
	}
	for _, s := range p.tune.Sections {
		if s.Name == "" || p.names[s.Name] != "" {
			continue
		}
		plain := strings.Join(strings.FieldsFunc(s.Name, func(r rune) bool {
			return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z')
		}), " ")
		name := strings.TrimSpace("Part " + plain)
		if plain != "" {
			if n := strings.ToUpper(plain[:1]) + plain[1:]; isPartName(n) {
				name = n
			}
		}
		for k, base := 2, name; taken[name]; k++ {
			name = base + " " + strconv.Itoa(k)
		}
		p.names[s.Name], taken[name] = name, true
	}
}

// isPartName reports a text that P: takes as the name of a section, and not as
// a jump.
func isPartName(s string) bool {
	if _, jump := jumpOf(s); jump {
		return false
	}
	if strings.ContainsAny(s, "%\\&$\"[]\n\r\t") || strings.Join(strings.Fields(s), " ") != s {
		return false
	}
	return partName.MatchString(s) || partWord.MatchString(s)
}
