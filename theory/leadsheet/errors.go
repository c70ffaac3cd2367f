package leadsheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// An Error is one fault of a lead sheet: where it stands, what is wrong and
// what to do about it. Line and Col count from 1; 0 means that there is none.
// In a compressed file they are those of the score inside it.
type Error struct {
	File      string
	Line, Col int
	Where     string // in MusicXML the measure and the elements: "measure 12, note/pitch"
	Msg       string // what is wrong
	Do        string // what to do, without brackets; may be empty
	Err       error  // the cause, when another package found the fault

	more int // faults behind this one that were counted and not kept
}

// Error is the line "FILE:LINE:COL: where: what is wrong (what to do)".
func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File + ":")
	}
	if e.Line > 0 {
		fmt.Fprintf(&b, "%d:", e.Line)
		if e.Col > 0 {
			fmt.Fprintf(&b, "%d:", e.Col)
		}
	}
	if b.Len() > 0 {
		b.WriteByte(' ')
	}
	if e.Where != "" {
		b.WriteString(e.Where + ": ")
	}
	b.WriteString(e.Msg)
	if e.Do != "" {
		b.WriteString(" (" + e.Do + ")")
	}
	return b.String()
}

// Unwrap returns the cause, so that a failed read can be told from a bad sheet.
func (e *Error) Unwrap() error { return e.Err }

// ErrorList holds the faults of one sheet in order of their place; it is what
// Read returns, and never empty then.
type ErrorList []*Error

// Error has one line a fault. A sheet in another dialect has one at every chord
// symbol, where the first maxShown tell as much as all: the others are counted.
func (l ErrorList) Error() string {
	var b strings.Builder
	for i, e := range l {
		if i == maxShown {
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(e.Error())
	}
	if n := len(l); n > 0 {
		if more := max(0, n-maxShown) + l[n-1].more; more > 0 {
			fmt.Fprintf(&b, "\n%s: and %d more", l[0].File, more)
		}
	}
	return b.String()
}

// Unwrap returns the faults one by one, for errors.As and errors.Is.
func (l ErrorList) Unwrap() []error {
	errs := make([]error, len(l))
	for i, e := range l {
		errs[i] = e
	}
	return errs
}

// A place is a line and a column, both from 1.
type place struct{ line, col int }

// A log collects what is wrong with a sheet (faults) and what was dropped or
// mended (warnings) while it is read.
type log struct {
	file     string
	faults   ErrorList
	warnings []warning
	kinds    map[string]int // index into warnings of a kind told once
	lenient  bool           // what can be read is kept in spite of faults
	// where tells of a place what line and column do not: the path of an
	// element. nil where there is no such thing.
	where                    func(place) string
	moreFaults, moreWarnings int // faults and warnings that were counted and not kept
}

type warning struct {
	place
	text   string
	times  int
	length bool // it is about the length of a bar
}

func (l *log) fault(p place, do, format string, args ...any) {
	if len(l.faults) >= maxFaults {
		l.moreFaults++
		return
	}
	l.faults = append(l.faults, &Error{File: l.file, Line: p.line, Col: p.col, Msg: printable(fmt.Sprintf(format, args...)), Do: printable(do)})
}

func (l *log) warn(p place, format string, args ...any) {
	if len(l.warnings) >= maxWarnings {
		l.moreWarnings++
		return
	}
	l.warnings = append(l.warnings, warning{place: p, text: printable(fmt.Sprintf(format, args...)), times: 1})
}

// warnLength warns of a bar of the wrong length.
func (l *log) warnLength(p place, format string, args ...any) {
	n := len(l.warnings)
	if l.warn(p, format, args...); len(l.warnings) > n {
		l.warnings[n].length = true
	}
}

// printable takes out control characters: what a sheet says goes to a terminal,
// where they would be commands.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return '?'
		}
		return r
	}, s)
}

// warnOnce tells of the first case of a text and counts the others.
func (l *log) warnOnce(p place, text string) {
	if l.kinds == nil {
		l.kinds = make(map[string]int)
	}
	if i, ok := l.kinds[text]; ok {
		l.warnings[i].times++
		return
	}
	if len(l.warnings) < maxWarnings {
		l.kinds[text] = len(l.warnings)
	}
	l.warn(p, "%s", text)
}

// err is the sorted list of faults, or nil.
func (l *log) err() error {
	if len(l.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(l.faults, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
	})
	for _, f := range l.faults {
		if f.Where == "" && f.Line > 0 && l.where != nil {
			f.Where = l.where(place{f.Line, f.Col})
		}
	}
	l.faults[len(l.faults)-1].more = l.moreFaults
	return l.faults
}

// quote puts a text of the sheet into a message: one line, not too long.
func quote(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return '?'
		}
		return r
	}, s)
	if r := []rune(s); len(r) > 30 {
		s = string(r[:30]) + "..."
	}
	return `"` + s + `"`
}

// shorten makes a name or number of the score fit for a message.
func shorten(s string) string {
	if len(s) > 20 || strings.ContainsFunc(s, unicode.IsControl) {
		return strings.Trim(quote(s), `"`)
	}
	return s
}

// oneLine takes the line breaks out of a text.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// unbroken is a title or a name with its line breaks and tabs as blanks.
func unbroken(s string) string {
	parts := strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\r' || r == '\t' })
	for i, p := range parts {
		parts[i] = strings.TrimSpace(p)
	}
	return strings.Join(parts, " ")
}

// listed names what there is to choose from: the first maxListed on one line,
// the others by their number.
func listed(names []string) string {
	more := ""
	if n := len(names) - maxListed; n > 0 {
		names, more = names[:maxListed], fmt.Sprintf(" and %d more", n)
	}
	return oneLine(strings.Join(names, ", ") + more)
}
