package leadsheet

import (
	"io"
	"slices"
	"strconv"
	"strings"
)

// An Entry is one tune of an ABC file.
type Entry struct {
	Number int    // of its X: field; 0 when there is no figure in it
	Title  string // its first T: field

	other    []string // its other T: fields
	place             // where it starts
	from, to int      // its lines, [from, to)
}

// List gives the tunes of an ABC file in the order of the file, without
// reading their music. name is for messages alone. The error is an ErrorList:
// the file cannot be read or is no ABC.
func List(r io.Reader, name string) ([]Entry, error) {
	l := &log{file: name}
	data, err := readFile(r, name)
	if err != nil {
		return nil, err
	}
	text := ""
	if len(data) <= maxFile {
		text = decode(data)
	}
	switch {
	case len(data) > maxFile:
		l.fault(place{}, tooLarge, "larger than %d MB", maxFile>>20)
	case isBinary(text) || strings.HasPrefix(strings.TrimLeft(text, " \t\r\n"), "<") || !looksLikeABC(text):
		l.fault(place{}, "only a file in ABC holds several tunes", "not a file in ABC")
	}
	if err := l.err(); err != nil {
		return nil, err
	}
	return entries(abcLines(text)), nil
}

// abcLines cuts a text at the line ends of any system.
func abcLines(text string) []string {
	return strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
}

// entries finds the tunes. Each starts with its X: field; lines before the
// first X: belong to no tune unless there is none. An X: ends a block between
// %%begin... and %%end... too: one that is not closed costs one tune, not all.
func entries(lines []string) []Entry {
	var list []Entry
	closing := "" // what ends the block that is open
	for i, line := range lines {
		if closing == "" {
			closing = blockEnd(line)
		} else if strings.HasPrefix(line, closing) {
			closing = ""
		}
		rest := strings.TrimLeft(line, " \t")
		indent := len(line) - len(rest)
		switch {
		case strings.HasPrefix(rest, "X:") && !notField.MatchString(rest):
			n, err := strconv.Atoi(fieldValue(rest[2:]))
			if err != nil || n < 0 {
				n = 0
			}
			if k := len(list) - 1; k >= 0 {
				list[k].to = i
			}
			closing = ""
			if len(list) == maxTunes {
				return list
			}
			list = append(list, Entry{Number: n, place: place{i + 1, indent + 1}, from: i, to: len(lines)})
		case strings.HasPrefix(rest, "T:") && len(list) > 0 && closing == "":
			e := &list[len(list)-1]
			switch t := abcText(fieldValue(rest[2:min(len(rest), maxField)])); {
			case t == "":
			case e.Title == "":
				e.Title = printable(t)
			case len(e.other) < maxWaiting:
				e.other = append(e.other, t)
			}
		}
	}
	if len(list) > 0 {
		return list
	}
	whole := Entry{place: place{1, 1}, to: len(lines)}
	for _, line := range lines {
		if rest, ok := strings.CutPrefix(strings.TrimLeft(line, " \t"), "T:"); ok {
			whole.Title = printable(abcText(fieldValue(rest[:min(len(rest), maxField)])))
			break
		}
	}
	return []Entry{whole}
}

// blockEnd is the directive that closes the block which line opens, or "".
func blockEnd(line string) string {
	rest, ok := strings.CutPrefix(line, "%%begin")
	if !ok {
		return ""
	}
	word, _, _ := strings.Cut(strings.ReplaceAll(rest, "\t", " "), " ")
	return "%%end" + strings.TrimSpace(word)
}

// chooseTune gives the tune that opt asks for; without a wish the first.
func chooseTune(list []Entry, opt Options, l *log) (e Entry, ok bool) {
	if len(list) == maxTunes {
		l.fault(place{list[maxTunes-1].line, 1}, "divide the file", "the file holds more tunes than %d", maxTunes-1)
		return e, false
	}
	left := list
	if opt.Number != 0 {
		if list[0].from == 0 && list[0].Number == 0 && len(list) == 1 {
			l.fault(place{}, "leave the number out", "there is no tune X:%d: the file has one, without a number", opt.Number)
			return e, false
		}
		left = choose(list, func(e Entry) bool { return e.Number == opt.Number })
		if len(left) == 0 {
			l.fault(place{}, "choose one that is there", "there is no tune X:%d: %s", opt.Number, listedTunes(list))
			return e, false
		}
	}
	if want := strings.TrimSpace(opt.Title); want != "" {
		found := choose(left, func(e Entry) bool { return e.titled(func(t string) bool { return strings.EqualFold(t, want) }) })
		if len(found) == 0 {
			part := strings.ToLower(want)
			found = choose(left, func(e Entry) bool {
				return e.titled(func(t string) bool { return strings.Contains(strings.ToLower(t), part) })
			})
		}
		switch {
		case len(found) == 0:
			l.fault(place{}, "choose one that is there", "there is no tune with the title %s: %s", quote(want), listedTunes(left))
			return e, false
		case len(found) > 1:
			l.fault(place{}, "write more of the title, or choose by the number", "more than one tune has the title %s: %s", quote(want), listedTunes(found))
			return e, false
		}
		return found[0], true
	}
	switch {
	case opt.Number == 0 && len(list) > 1:
		l.warn(place{list[0].line, 1}, "the file holds %d tunes and the first is read; another is chosen by its number or title", len(list))
	case len(left) > 1:
		l.warn(place{left[0].line, 1}, "%d tunes of the file have the number %d and the first of them is read; another is chosen by its title", len(left), opt.Number)
	}
	return left[0], true
}

func choose(list []Entry, is func(Entry) bool) []Entry {
	var out []Entry
	for _, e := range list {
		if is(e) {
			out = append(out, e)
		}
	}
	return out
}

// titled reports whether one of the titles is as asked for.
func (e Entry) titled(is func(string) bool) bool {
	return is(e.Title) || slices.ContainsFunc(e.other, is)
}

// listedTunes names the tunes of a file.
func listedTunes(list []Entry) string {
	names := make([]string, len(list))
	for i, e := range list {
		names[i] = strconv.Itoa(e.Number)
		if e.Title != "" {
			names[i] += " " + quote(e.Title)
		}
	}
	return "the file has " + listed(names)
}
