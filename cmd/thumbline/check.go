package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
	"thumbline/voicing"
)

func check(_ context.Context, e *env, o *options) error {
	opt, err := o.reading()
	if err != nil {
		return err
	}
	r, _, err := openTune(e, o)
	if err != nil {
		return err
	}
	defer r.Close()
	// The file is read twice: for what it holds, and for the tune.
	var file bytes.Buffer
	in, err := leadsheet.Inspect(io.TeeReader(r, &file), tuneName(o), opt)
	if err != nil {
		return err
	}
	var b strings.Builder
	if leadsheet.IsSMF(file.Bytes()) {
		b.WriteString(tracksOf(file.Bytes()))
	}
	if list, err := leadsheet.List(&file, tuneName(o)); err == nil && len(list) > 1 && !o.changed("number") {
		b.WriteString(tunesOf(list) + "\n")
	}
	if in.Tune != nil {
		b.WriteString(report(in, tuneName(o)))
	}
	if _, err := io.WriteString(e.stdout, b.String()); err != nil {
		return printed(err)
	}
	errs := make([]error, 0, 2)
	if len(in.Faults) > 0 {
		errs = append(errs, in.Faults)
	}
	if in.Tune != nil {
		if n := wrongBars(in); n > 0 {
			errs = append(errs, fmt.Errorf("%s: %s of the wrong length (see above)", tuneName(o), count(n, "bar")))
		}
	}
	return errors.Join(errs...)
}

// tracksOf lists the tracks of a MIDI file and says which one is proposed as
// the melody; empty when they cannot be read, which Inspect tells.
func tracksOf(data []byte) string {
	list, err := leadsheet.Tracks(data)
	if err != nil {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s. The melody: --melody NUMBER or NAME.\n", count(len(list), "track"))
	for _, t := range list {
		proposed := ""
		if t.Proposed {
			proposed = "  <- proposed"
		}
		fmt.Fprintf(&b, "  %v%s\n", t, proposed)
	}
	b.WriteString("\n")
	return b.String()
}

// tunesOf lists the tunes of a file.
func tunesOf(list []leadsheet.Entry) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d tunes in this file; the first is read. Another: --number N, or a part of its title.\n", len(list))
	for _, t := range list {
		title := t.Title
		if title == "" {
			title = "(no title)"
		}
		fmt.Fprintf(&b, "%5d  %s\n", t.Number, title)
	}
	return b.String()
}

// wrongBars counts the bars that are too short or too long. A tune can be
// played with them, so elsewhere they are warnings.
func wrongBars(in *leadsheet.Inspection) int {
	n := 0
	for _, b := range in.Bars {
		if b.Wrong {
			n++
		}
	}
	return n
}

// report is what a lead sheet says, below it what was dropped or mended, and
// last what is missing where it is still being typed.
func report(in *leadsheet.Inspection, name string) string {
	var b strings.Builder
	t := in.Tune
	row := func(what, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s %s\n", what, fmt.Sprintf(format, args...))
	}
	title := t.Title
	if title == "" {
		title = "(no title)"
	}
	row("title", "%s", wrapAt(title, 10))
	if t.Composer != "" {
		row("composer", "%s", wrapAt(t.Composer, 10))
	}
	row("key", "%s", wrapAt(modeOf(t.Key)+later(t.Bars, func(b theory.Bar) string { return modeOf(b.Key) }), 10))
	row("metre", "%s", wrapAt(metreOf(t)+later(t.Bars, func(b theory.Bar) string { return b.Metre.String() }), 10))
	row("tempo", "%s", wrapAt(tempoOf(t), 10))
	row("bars", "%s", barsOf(t))
	if f := formOf(t); f != "" {
		row("form", "%s", wrapAt(f, 10))
	}
	row("sections", "%s", sectionsOf(t))
	var ps []string
	for i, p := range t.Phrases {
		ps = append(ps, fmt.Sprintf("%d:\u00a0%s", i+1, span(t, p.From, p.To)))
	}
	row("phrases", "%s", wrapAt(strings.Join(ps, ", "), 10))
	row("melody", "%s", melodyOf(t))
	if len(t.Melody) > 0 {
		row("neck", "%s", wrapAt(neckOf(t), 10))
	}
	row("chords", "%s", wrapAt(chordsOf(t), 10))
	half := in.HalfTyped()
	warnings := t.Warnings
	if half {
		warnings = in.Besides // the others are told below, once
	}
	if len(in.Faults) > 0 && !half {
		row("faults", "%s", wrapAt(faultsOf(in), 10))
	}
	if len(warnings) == 0 {
		row("warnings", "none")
	} else {
		row("warnings", "%d", len(warnings))
		for _, w := range warnings {
			b.WriteString(warningLine(name, w) + "\n")
		}
	}
	if half {
		b.WriteString("\n" + missing(in))
	}
	return b.String()
}

// faultsOf counts what makes the sheet useless and names the bars it stands in.
func faultsOf(in *leadsheet.Inspection) string {
	s := strconv.Itoa(len(in.Faults))
	var bars []string
	for _, b := range in.Bars {
		if len(b.Faults) > 0 {
			bars = append(bars, b.Label)
		}
	}
	switch len(bars) {
	case 0:
	case 1:
		s += ", in bar " + bars[0]
	default:
		s += ", in bars " + strings.Join(bars, " ")
	}
	return s + " (below)"
}

// missing says bar by bar what a half-typed sheet lacks, like bars together.
func missing(in *leadsheet.Inspection) string {
	type stretch struct{ from, to, text string }
	var all []stretch
	done := 0
	for i, b := range in.Bars {
		if b.Done() {
			done++
		}
		text := lacks(in, i)
		if text == "" {
			continue
		}
		if k := len(all) - 1; k >= 0 && i > 0 && all[k].to == in.Bars[i-1].Label && all[k].text == text {
			all[k].to = b.Label
			continue
		}
		all = append(all, stretch{b.Label, b.Label, text})
	}
	var out strings.Builder
	out.WriteString("still missing\n")
	for _, s := range all {
		where := "bar " + s.from
		if s.to != s.from {
			where = "bars " + s.from + "-" + s.to
		}
		fmt.Fprintf(&out, "  %-12s %s\n", where, wrapAt(s.text, 15))
	}
	fmt.Fprintf(&out, "done: %d of %s\n", done, count(len(in.Bars), "bar"))
	return out.String()
}

// lacks says what bar i lacks; nothing when it is done.
func lacks(in *leadsheet.Inspection, i int) string {
	b := in.Bars[i]
	if b.Empty() && !b.Wrong {
		return "nothing yet"
	}
	var parts []string
	for _, f := range b.Faults {
		s := f.Msg
		if f.Line > 0 {
			s += " (line " + strconv.Itoa(f.Line) + ")"
		}
		parts = append(parts, s)
	}
	has := quantity(b.Holds, b.Full)
	switch last := i == len(in.Bars)-1; {
	case b.Wrong && b.Holds.Less(b.Full):
		parts = append(parts, length(b.Full.Sub(b.Holds))+" too short: "+has)
	case b.Wrong:
		parts = append(parts, length(b.Holds.Sub(b.Full))+" too long: "+has)
	case b.Pickup && b.Full.Less(b.Holds.Mul(2, 1)):
		parts = append(parts, has+": read as a pick-up")
	case last && i > 0 && b.Notes > 0 && b.Holds.Less(b.Full) && !(in.Bars[0].Pickup && in.Bars[0].Holds.Add(b.Holds) == b.Full):
		parts = append(parts, length(b.Full.Sub(b.Holds))+" short: "+has+", as the last bar may be")
	}
	if b.Notes == 0 {
		parts = append(parts, "no notes yet")
	}
	switch {
	case b.Symbols > 0 || b.Pickup:
	case !b.Under:
		if !slices.ContainsFunc(b.Faults, func(f *leadsheet.Error) bool { return strings.Contains(f.Msg, "chord symbol") }) {
			parts = append(parts, "no chord symbol yet")
		}
	case len(b.Faults) == 0:
		k := 0
		for k+1 < len(in.Tune.Changes) && in.Tune.Changes[k+1].At.Less(in.Tune.Bars[b.Index].At) {
			k++
		}
		parts = append(parts, "no chord symbol of its own: "+in.Tune.Changes[k].Chord.String()+" goes on")
	}
	return strings.Join(parts, "; ")
}

// units are the notes in which lengths are said, by parts of a quarter.
var units = []struct {
	parts int64
	name  string
}{{1, "quarter"}, {2, "eighth"}, {4, "16th"}, {8, "32nd"}}

// length says a length: "3 quarters", "5 eighths".
func length(l theory.Time) string {
	for _, u := range units {
		if u.parts%l.Den() == 0 {
			return count(int(l.Num()*(u.parts/l.Den())), u.name)
		}
	}
	return l.String() + " of a quarter"
}

// quantity is how much there is of a whole, both in one note: "3 of 4 quarters".
func quantity(l, whole theory.Time) string {
	for _, u := range units {
		if u.parts%l.Den() == 0 && u.parts%whole.Den() == 0 {
			return fmt.Sprintf("%d of %s", l.Num()*(u.parts/l.Den()), count(int(whole.Num()*(u.parts/whole.Den())), u.name))
		}
	}
	return l.String() + " of " + whole.String() + " quarters"
}

// modeOf is a key with its mode where that is neither major nor minor.
func modeOf(k theory.Key) string {
	for _, m := range []struct{ short, long string }{{"mix", "mixolydian"}, {"lyd", "lydian"}, {"dor", "dorian"}, {"phr", "phrygian"}, {"loc", "locrian"}} {
		if got, err := theory.ParseKey(k.Tonic.String() + m.short); err == nil && got == k {
			return k.Tonic.String() + " " + m.long
		}
	}
	return k.String()
}

// neckOf says where the tune will lie on a guitar in standard tuning.
func neckOf(t *theory.Tune) string {
	neck := voicing.StandardNeck()
	shift, err := voicing.Register(t, neck)
	if err != nil {
		return err.Error()
	}
	where := "as written"
	switch n := shift / 12; {
	case n == 1:
		where = "an octave higher"
	case n == -1:
		where = "an octave lower"
	case n > 0:
		where = fmt.Sprintf("%d octaves higher", n)
	case n < 0:
		where = fmt.Sprintf("%d octaves lower", -n)
	}
	low, high := rangeOf(t)
	return fmt.Sprintf("%s: from %s, %s, to %s, %s", where, raised(low, shift), stopOf(neck, low.MIDI()+shift), raised(high, shift), stopOf(neck, high.MIDI()+shift))
}

func raised(p theory.Pitch, shift int) theory.Pitch {
	p.Octave += int8(shift / 12)
	return p
}

// stopOf is where a pitch lies on the highest string that has it.
func stopOf(n voicing.Neck, midi int) string {
	for s := 1; s <= n.Strings(); s++ {
		switch fret := midi - n.Open(s); {
		case fret == 0:
			return fmt.Sprintf("string\u00a0%d open", s)
		case fret > 0 && fret <= n.Top():
			return fmt.Sprintf("string\u00a0%d fret\u00a0%d", s, fret)
		}
	}
	return "on no string"
}

func warningLine(name string, w theory.Warning) string {
	s := name
	if w.Line > 0 {
		s += ":" + strconv.Itoa(w.Line)
		if w.Col > 0 {
			s += ":" + strconv.Itoa(w.Col)
		}
	}
	return s + ": " + w.Text
}

// later tells where a property of the bars changes.
func later(bars []theory.Bar, of func(theory.Bar) string) string {
	var b strings.Builder
	n := 0
	for i := 1; i < len(bars); i++ {
		if now := of(bars[i]); now != of(bars[i-1]) {
			if n++; n > 8 {
				b.WriteString(", ...")
				break
			}
			fmt.Fprintf(&b, ", %s from bar %s", now, bars[i].Label)
		}
	}
	return b.String()
}

func metreOf(t *theory.Tune) string {
	if len(t.Bars) == 0 {
		return "none"
	}
	return t.Bars[0].Metre.String()
}

func tempoOf(t *theory.Tune) string {
	var parts []string
	for i, m := range t.Tempi {
		s := beatTempo(t, m)
		if i > 0 {
			s += " from " + t.PlaceOf(m.At).String()
		}
		parts = append(parts, s)
	}
	s := strings.Join(parts, ", ")
	if t.TempoAssumed {
		s += " (assumed: the sheet has none)"
	}
	return s
}

// beatTempo is a tempo in the beat of its bar: "dotted quarter = 100".
func beatTempo(t *theory.Tune, m theory.TempoMark) string {
	beat := theory.Quarters(1, 1)
	if i := t.BarAt(m.At); i >= 0 {
		beat = t.Bars[i].Beat
	}
	name, quarters := theory.BeatName(beat)
	s := name + " = " + number(m.BPM/quarters)
	if m.Text != "" {
		s += ", \"" + m.Text + "\""
	}
	return s
}

func barsOf(t *theory.Tune) string {
	if len(t.Bars) == 0 {
		return "none"
	}
	s := fmt.Sprintf("%d, %s", len(t.Bars), span(t, 0, len(t.Bars)))
	if b := t.Bars[0]; b.IsPickup() && b.Len.Less(b.Metre.BarLen()) {
		s += ", with a pick-up of " + length(t.Bars[0].Len)
	}
	again := 0
	for _, b := range t.Bars {
		if b.Pass > 1 {
			again++
		}
	}
	if again > 0 {
		s += fmt.Sprintf(", %d of them repeats", again)
	}
	return s
}

// formOf is the sections in the order played: A A B A.
func formOf(t *theory.Tune) string {
	var names []string
	for _, s := range t.Sections {
		if s.Name != "" {
			names = append(names, s.Name)
		}
	}
	if len(names) < 2 {
		return ""
	}
	return strings.Join(names, " ")
}

func sectionsOf(t *theory.Tune) string {
	var names, ss []string
	for _, s := range t.Sections {
		names = append(names, s.Name)
	}
	for i, n := range numbered(names) {
		if n != "" {
			ss = append(ss, n+"\u00a0"+span(t, t.Sections[i].From, t.Sections[i].To))
		}
	}
	if len(ss) == 0 {
		return "one, without a name"
	}
	return wrapAt(strings.Join(ss, ", "), 10)
}

// span is bars [from, to) as they are labelled.
func span(t *theory.Tune, from, to int) string {
	if from < 0 || to > len(t.Bars) || from >= to {
		return "-"
	}
	if to == from+1 {
		return t.Bars[from].Label
	}
	return t.Bars[from].Label + "-" + t.Bars[to-1].Label
}

func melodyOf(t *theory.Tune) string {
	if len(t.Melody) == 0 {
		return "none"
	}
	low, high := rangeOf(t)
	return fmt.Sprintf("%s from %s to %s", count(len(t.Melody), "note"), low, high)
}

// rangeOf is the lowest and the highest note of a tune that has notes.
func rangeOf(t *theory.Tune) (low, high theory.Pitch) {
	low, high = t.Melody[0].Pitch, t.Melody[0].Pitch
	for _, n := range t.Melody {
		if n.Pitch.MIDI() < low.MIDI() {
			low = n.Pitch
		}
		if n.Pitch.MIDI() > high.MIDI() {
			high = n.Pitch
		}
	}
	return low, high
}

func chordsOf(t *theory.Tune) string {
	var kinds []string
	for _, c := range t.Changes {
		if s := c.Chord.String(); !slices.Contains(kinds, s) {
			kinds = append(kinds, s)
		}
	}
	if len(kinds) == 0 {
		return "none"
	}
	return fmt.Sprintf("%s, %d different: %s", count(len(t.Changes), "change"), len(kinds), strings.Join(kinds, " "))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func number(x float64) string { return strconv.FormatFloat(float64(int(x*100+0.5))/100, 'f', -1, 64) }

// wrapAt breaks a line of at most 80 characters at blanks; what follows is
// indented. A no-break space is written as a blank.
func wrapAt(s string, indent int) string {
	var b strings.Builder
	n := indent
	for i, w := range strings.Split(s, " ") {
		if i > 0 {
			if n+1+utf8.RuneCountInString(w) > 80 {
				b.WriteString("\n" + strings.Repeat(" ", indent))
				n = indent
			} else {
				b.WriteByte(' ')
				n++
			}
		}
		b.WriteString(strings.ReplaceAll(w, "\u00a0", " "))
		n += utf8.RuneCountInString(w)
	}
	return b.String()
}
