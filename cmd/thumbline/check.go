package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"thumbline/theory"
)

func check(_ context.Context, e *env, o *options) error {
	t, _, err := readTune(e, o)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(e.stdout, report(t, tuneName(o)))
	if err := printed(err); err != nil {
		return err
	}
	if n := wrongBars(t); n > 0 {
		return fmt.Errorf("%s: %s of the wrong length (see above)", tuneName(o), count(n, "bar"))
	}
	return nil
}

// wrongBars counts the bars that the reader warns of as too short or too long.
// A tune can be played with them, so elsewhere they are warnings.
func wrongBars(t *theory.Tune) int {
	n := 0
	for _, w := range t.Warnings {
		if strings.HasPrefix(w.Text, "bar ") && (strings.Contains(w.Text, " is too short: ") || strings.Contains(w.Text, " is too long: ")) {
			n++
		}
	}
	return n
}

// report is what a lead sheet says, and below it what was dropped or mended.
func report(t *theory.Tune, name string) string {
	var b strings.Builder
	row := func(what, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s %s\n", what, fmt.Sprintf(format, args...))
	}
	title := t.Title
	if title == "" {
		title = "(no title)"
	}
	row("title", "%s", title)
	if t.Composer != "" {
		row("composer", "%s", t.Composer)
	}
	row("key", "%s%s", t.Key, later(t.Bars, func(b theory.Bar) string { return b.Key.String() }))
	row("metre", "%s%s", metreOf(t), later(t.Bars, func(b theory.Bar) string { return b.Metre.String() }))
	row("tempo", "%s", tempoOf(t))
	row("bars", "%s", barsOf(t))
	row("sections", "%s", formOf(t))
	var ps []string
	for i, p := range t.Phrases {
		ps = append(ps, fmt.Sprintf("%d:\u00a0%s", i+1, span(t, p.From, p.To)))
	}
	row("phrases", "%s", wrapAt(strings.Join(ps, ", "), 10))
	row("melody", "%s", melodyOf(t))
	row("chords", "%s", wrapAt(chordsOf(t), 10))
	if len(t.Warnings) == 0 {
		row("warnings", "none")
		return b.String()
	}
	row("warnings", "%d", len(t.Warnings))
	for _, w := range t.Warnings {
		b.WriteString(warningLine(name, w) + "\n")
	}
	return b.String()
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
		s := "quarter = " + number(m.BPM)
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

func barsOf(t *theory.Tune) string {
	if len(t.Bars) == 0 {
		return "none"
	}
	s := fmt.Sprintf("%d, %s", len(t.Bars), span(t, 0, len(t.Bars)))
	if t.Bars[0].IsPickup() {
		s += ", with a pick-up (a quarter x " + t.Bars[0].Len.String() + ")"
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

func formOf(t *theory.Tune) string {
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
	low, high := t.Melody[0].Pitch, t.Melody[0].Pitch
	for _, n := range t.Melody {
		if n.Pitch.MIDI() < low.MIDI() {
			low = n.Pitch
		}
		if n.Pitch.MIDI() > high.MIDI() {
			high = n.Pitch
		}
	}
	return fmt.Sprintf("%s from %s to %s", count(len(t.Melody), "note"), low, high)
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
