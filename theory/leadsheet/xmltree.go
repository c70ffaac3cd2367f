package leadsheet

import (
	"archive/zip"
	"bytes"
	"cmp"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// A node is an element of an XML document with its text and its place. Only
// elements and attributes that the reader asks for are kept.
type node struct {
	place
	name string
	attr []attribute
	text string // of an element without children
	kids []*node
}

// An attribute has no prefix: those of other namespaces are not kept.
type attribute struct{ name, value string }

// An opened is an element whose end has not come yet; n is nil when it is not
// kept.
type opened struct {
	n            *node
	prefix, name string
}

// A tree is a document while it is read.
type tree struct {
	root     *node
	open     []opened
	chars    []byte // the text since the last tag
	elements int    // that are kept
}

// A textPlace finds the places of offsets in a text that do not go back.
type textPlace struct {
	text string
	seen int // bytes up to at
	at   place
}

// of is the place of an offset.
func (t *textPlace) of(offset int) place {
	to := min(offset, len(t.text))
	if to < t.seen {
		return t.at
	}
	for {
		i := strings.IndexByte(t.text[t.seen:to], '\n')
		if i < 0 {
			break
		}
		t.seen += i + 1
		t.at.line, t.at.col = t.at.line+1, 1
	}
	t.at.col += to - t.seen
	t.seen = to
	return t.at
}

// parseTree reads a document without its namespaces. A document type is never
// fetched, and entities beyond the five of XML and the names of characters in
// HTML are an error: encoding/xml expands none.
func parseTree(text string) (*node, *Error) {
	text = asVersion1(text)
	in := strings.NewReader(text)
	d := xml.NewDecoder(in) // it reads byte by byte: in stands behind the token it gave
	skipped := 0
	places := textPlace{text: text, at: place{1, 1}}
	pos := func() place { return places.of(int(d.InputOffset()) + skipped) }           // where the next token starts
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil } // decoded already
	d.Entity = xml.HTMLEntity
	var t tree
	for {
		p := pos()
		// The raw tokens leave it to us to match the tags, and cost half of the
		// others.
		tok, err := d.RawToken()
		if err == io.EOF {
			return t.finish(p)
		}
		if err != nil {
			return nil, t.broken(pos(), err)
		}
		var fault *Error
		switch tok := tok.(type) {
		case xml.StartElement:
			if fault = t.start(tok, p); fault != nil {
				break
			}
			if from := int(d.InputOffset()) + skipped; t.open[len(t.open)-1].n == nil && text[from-2] != '/' {
				if to := endOf(text, from, tok.Name.Local); to > 0 {
					if _, err := in.Seek(int64(to), io.SeekStart); err == nil {
						skipped += to - from
						t.open = t.open[:len(t.open)-1]
					}
				}
			}
		case xml.EndElement:
			fault = t.end(tok, p)
		case xml.CharData:
			t.text(tok)
		}
		if fault != nil {
			return nil, fault
		}
	}
}

// start opens an element.
func (t *tree) start(tok xml.StartElement, p place) *Error {
	t.chars = t.chars[:0]
	var up *node
	if len(t.open) > 0 {
		up = t.open[len(t.open)-1].n
	}
	o := opened{prefix: tok.Name.Space, name: tok.Name.Local}
	if keep := keptElements[o.name]; keep && up != nil || len(t.open) == 0 {
		if t.elements++; t.elements > maxElements {
			return t.fault(p, fmt.Sprintf("the score has more than %d elements", maxElements), "give a lead sheet")
		}
		o.n = &node{place: p, name: o.name, attr: attributes(tok.Attr)}
		if up != nil {
			up.kids = append(up.kids, o.n)
		} else if t.root == nil {
			t.root = o.n
		}
	}
	if len(t.open) >= maxDepth {
		return t.fault(p, fmt.Sprintf("elements nest deeper than %d", maxDepth), "give a score in MusicXML")
	}
	t.open = append(t.open, o)
	return nil
}

// end closes the element that is open.
func (t *tree) end(tok xml.EndElement, p place) *Error {
	k := len(t.open) - 1
	if k < 0 {
		return t.fault(p, fmt.Sprintf("the XML is broken: </%s> closes no element", shorten(tok.Name.Local)), "export the score again")
	}
	o := t.open[k]
	if o.name != tok.Name.Local || o.prefix != tok.Name.Space {
		return t.fault(p, fmt.Sprintf("the XML is broken: element <%s> closed by </%s>", shorten(o.name), shorten(tok.Name.Local)), "export the score again")
	}
	if o.n != nil && len(o.n.kids) == 0 && len(t.chars) > 0 {
		o.n.text = string(bytes.TrimSpace(t.chars))
	}
	t.chars = t.chars[:0]
	t.open = t.open[:k]
	return nil
}

// text keeps what stands in an element that is kept.
func (t *tree) text(tok xml.CharData) {
	if k := len(t.open) - 1; k >= 0 && t.open[k].n != nil && len(t.chars) < maxText {
		t.chars = append(t.chars, tok[:min(len(tok), maxText)]...)
	}
}

// finish gives the tree at the end of the text.
func (t *tree) finish(p place) (*node, *Error) {
	switch {
	case len(t.open) > 0:
		return nil, t.fault(p, "the XML is broken: it ends before its last element does", "export the score again")
	case t.root == nil:
		return nil, t.fault(p, "the XML is broken: there is no element in it", "export the score again")
	}
	return t.root, nil
}

// broken tells what the decoder found.
func (t *tree) broken(p place, err error) *Error {
	msg := err.Error()
	var se *xml.SyntaxError
	if errors.As(err, &se) {
		msg = se.Msg
	}
	if name, ok := strings.CutPrefix(msg, "invalid character entity "); ok {
		return t.fault(p, "the entity "+shorten(name)+" is not known and entities are not expanded", "write the characters themselves in its place")
	}
	return t.fault(p, "the XML is broken: "+msg, "export the score again")
}

func (t *tree) fault(p place, msg, do string) *Error {
	return &Error{Line: p.line, Col: p.col, Where: openPath(t.open), Msg: printable(msg), Do: do}
}

// endOf is the place in the text behind the end tag of an element that is not
// kept, when that is near and nothing between makes its end hard to tell; 0 when
// it must be read tag by tag. Most of a score is about how it looks.
func endOf(text string, from int, name string) int {
	const near = 4096
	rest := text[from:min(len(text), from+near)]
	end := "</" + name + ">"
	i := strings.Index(rest, end)
	if i < 0 || strings.Contains(rest[:i], "<!") || strings.Contains(rest[:i], "<?") || strings.Contains(rest[:i], "<"+name) {
		return 0
	}
	return from + i + len(end)
}

// asVersion1 reads XML 1.1 as 1.0, which is all that encoding/xml knows: they
// differ in control characters alone.
func asVersion1(text string) string {
	head, rest, ok := strings.Cut(text, "?>")
	if !ok || len(head) > 200 || !strings.Contains(head, "<?xml") {
		return text
	}
	for _, quote := range []string{`"`, `'`} {
		if old := "version=" + quote + "1.1" + quote; strings.Contains(head, old) {
			return strings.Replace(head, old, "version="+quote+"1.0"+quote, 1) + "?>" + rest
		}
	}
	return text
}

// attributes keeps those without a prefix that the reader asks for.
func attributes(in []xml.Attr) []attribute {
	n := 0
	for _, a := range in {
		if a.Name.Space == "" && keptAttributes[a.Name.Local] {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	out := make([]attribute, 0, n)
	for _, a := range in {
		if a.Name.Space == "" && keptAttributes[a.Name.Local] {
			out = append(out, attribute{a.Name.Local, a.Value})
		}
	}
	return out
}

// keptElements are the names that musicxml.go, xmlharmony.go and unzip ask for;
// an element under one that is not kept is not kept either.
var keptElements = set(`
	score-partwise score-timewise opus score part measure part-list score-part part-name work work-title movement-title
	identification creator credit credit-type credit-words container rootfiles rootfile
	attributes divisions key fifths mode key-step time beats beat-type senza-misura interchangeable
	transpose diatonic chromatic octave-change double
	measure-style measure-repeat beat-repeat slash
	note grace cue chord rest pitch step alter octave unpitched duration voice staff type dot tie
	time-modification actual-notes normal-notes notehead notations tied ornaments
	backup forward
	harmony root root-step root-alter numeral numeral-root numeral-alter numeral-key numeral-fifths numeral-mode
	function kind inversion bass bass-step bass-alter degree degree-value degree-alter degree-type offset
	barline bar-style segno coda ending repeat
	direction direction-type words symbol rehearsal metronome beat-unit beat-unit-dot beat-unit-tied per-minute
	metronome-note metronome-relation sound swing`)

var keptAttributes = set(`id type number text implicit location direction times after-jump times name
	full-path media-type measure tempo segno coda tocoda dacapo dalsegno fine forward-repeat sound above print-object time-only slash`)

func set(words string) map[string]bool {
	m := make(map[string]bool)
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// pathAt is the path of the element that starts at a place, "" when none does.
// With several parts it says which.
func (n *node) pathAt(at place, parts int) string {
	var chain []opened
	for n != nil {
		chain = append(chain, opened{n: n, name: n.name})
		if n.place == at {
			return writtenPath(chain, parts)
		}
		// Children stand in order of their places: the last that starts no later.
		i, found := slices.BinarySearchFunc(n.kids, at, func(k *node, at place) int {
			return cmp.Or(cmp.Compare(k.line, at.line), cmp.Compare(k.col, at.col))
		})
		if !found {
			i--
		}
		if i < 0 {
			break
		}
		n = n.kids[i]
	}
	return ""
}

// openPath is the path of the elements that are open where the XML breaks.
func openPath(open []opened) string {
	parts := 0
	for _, o := range open {
		if o.name == "part" && o.n.get("id") != "" {
			parts = 2
		}
	}
	return writtenPath(open, parts)
}

// writtenPath is "measure 12, note/pitch": the measure by the number in the
// score, then the elements in it. What is in no measure counts from the root.
func writtenPath(chain []opened, parts int) string {
	var part, measure string
	var names []string
	for i, o := range chain {
		switch {
		case o.name == "part" && o.n != nil:
			if id := o.n.get("id"); id != "" && parts > 1 {
				part = "part " + shorten(id) + ", "
			}
			if measure == "" && i < len(chain)-1 {
				continue
			}
		case o.name == "measure" && o.n != nil && measure == "":
			measure, names = strings.TrimSpace("measure "+shorten(o.n.get("number"))), nil
			continue
		case i == 0:
			continue // the root goes without saying
		}
		if len(names) < 8 {
			names = append(names, shorten(o.name))
		}
	}
	if measure != "" && len(names) > 0 && names[0] == "part" { // by measures
		names = names[1:]
	}
	path := strings.Join(names, "/")
	switch {
	case measure == "":
		return path
	case path == "":
		return part + measure
	}
	return part + measure + ", " + path
}

// kid is the first child of the name, or nil. A nil node has none.
func (n *node) kid(name string) *node {
	if n != nil {
		for _, k := range n.kids {
			if k.name == name {
				return k
			}
		}
	}
	return nil
}

// find follows a path of first children.
func (n *node) find(names ...string) *node {
	for _, name := range names {
		n = n.kid(name)
	}
	return n
}

// textOf is the text of the first child of the name, "" without.
func (n *node) textOf(name string) string {
	if k := n.kid(name); k != nil {
		return k.text
	}
	return ""
}

// get is an attribute, "" when it is not there.
func (n *node) get(name string) string {
	if n != nil {
		for _, a := range n.attr {
			if a.name == name {
				return strings.TrimSpace(a.value)
			}
		}
	}
	return ""
}

// yes reports an attribute that is there and not "no".
func (n *node) yes(name string) bool {
	v := n.get(name)
	return v != "" && v != "no"
}

// intOf reads the number in the first child of the name, decimals cut off, as
// exporters write them ("-1", "1.0").
func (n *node) intOf(name string) (int, bool) {
	k := n.kid(name)
	if k == nil {
		return 0, false
	}
	f, err := strconv.ParseFloat(k.text, 64)
	if err != nil || f < -1e6 || f > 1e6 {
		return 0, false
	}
	return int(f), true
}

// decimal reads a duration or divisions, which are whole numbers as a rule and
// may have decimals.
func decimal(s string) (theory.Time, bool) {
	s = strings.TrimSpace(s)
	whole, part, _ := strings.Cut(s, ".")
	neg := strings.HasPrefix(whole, "-")
	whole = strings.TrimLeft(whole, "+-")
	part = strings.TrimRight(part, "0")
	if whole == "" && part == "" || len(whole) > 9 || len(part) > 4 {
		return theory.Time{}, false
	}
	den := int64(1)
	for range part {
		den *= 10
	}
	n, err := strconv.ParseInt("0"+whole+part, 10, 64)
	if err != nil {
		return theory.Time{}, false
	}
	if neg {
		n = -n
	}
	return theory.Quarters(n, den), true
}

// unzip takes the score out of a compressed MusicXML file: the first root file
// its container names (MusicXML 4.0, "Compressed .mxl files"), or, where the
// container is broken or missing, the first XML file outside META-INF that
// holds a score. It returns nil when it logged a fault.
func unzip(data []byte, l *log) []byte {
	const do = "export the score again as .mxl or .musicxml"
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		l.fault(place{}, do, "the compressed file is broken: %v", err)
		return nil
	}
	if len(z.File) > maxZipped {
		l.fault(place{}, do, "the compressed file holds more than %d files", maxZipped)
		return nil
	}
	most := min(int64(maxScore), int64(len(data))*maxRatio+1<<20)
	var tries []*zip.File
	for _, f := range z.File {
		if strings.EqualFold(cleaned(f.Name), "META-INF/container.xml") {
			tries = append(tries, rootFiles(z, f)...)
		}
	}
	for _, f := range z.File {
		name := cleaned(f.Name)
		if isScoreName(name) && !strings.HasPrefix(strings.ToUpper(name), "META-INF/") && !strings.HasPrefix(name, "__MACOSX/") && !slices.Contains(tries, f) {
			tries = append(tries, f)
		}
	}
	if len(tries) == 0 {
		l.fault(place{}, do, "there is no score in the compressed file")
		return nil
	}
	tries = tries[:min(len(tries), maxTries)]
	var first []byte // of the files that can be read, told of when none holds a score
	for i, f := range tries {
		text, err := content(f, most)
		switch {
		case f.Flags&1 != 0:
			l.fault(place{}, "save it without a password", "the compressed file is encrypted")
			return nil
		case errors.Is(err, errTooLarge) && most < maxScore:
			l.fault(place{}, do, "the score in the compressed file unpacks to more than %d times its size", maxRatio)
			return nil
		case errors.Is(err, errTooLarge):
			l.fault(place{}, do, "the score in the compressed file is larger than %d MB", maxScore>>20)
			return nil
		case err != nil && i+1 == len(tries) && first == nil:
			l.fault(place{}, do, "the score in the compressed file cannot be read: %v", err)
			return nil
		case err != nil:
			continue
		case holdsScore(text):
			return text
		case len(bytes.TrimSpace(first)) == 0:
			first = text
		}
	}
	if len(bytes.TrimSpace(first)) == 0 {
		l.fault(place{}, do, "the score in the compressed file is empty")
		return nil
	}
	return first
}

// holdsScore reports the root element of a score in the head of a file.
func holdsScore(text []byte) bool {
	head := decode(text[:min(len(text), 8192)&^1])
	return strings.Contains(head, "score-partwise") || strings.Contains(head, "score-timewise")
}

// rootFiles are the files that a container names, in its order, but for those
// of another kind, such as a picture of the score.
func rootFiles(z *zip.Reader, container *zip.File) []*zip.File {
	c, err := content(container, maxContainer)
	if err != nil {
		return nil
	}
	root, fault := parseTree(decode(c))
	if fault != nil {
		return nil
	}
	var out []*zip.File
	for _, k := range root.kid("rootfiles").children() {
		kind := k.get("media-type")
		full := k.get("full-path")
		if k.name != "rootfile" || full == "" || kind != "" && !strings.Contains(kind, "xml") || len(out) >= maxTries {
			continue
		}
		plain, err := url.PathUnescape(full)
		if err != nil {
			plain = full
		}
		for _, f := range z.File {
			if name := cleaned(f.Name); name == cleaned(full) || name == cleaned(plain) {
				if kind != "" || isScoreName(name) {
					out = append(out, f)
				}
				break
			}
		}
	}
	return out
}

// cleaned is the name of a zipped file: relative, with slashes, as the standard
// has it and some writers do not.
func cleaned(name string) string {
	return strings.TrimPrefix(path.Clean(strings.ReplaceAll(name, "\\", "/")), "/")
}

func (n *node) children() []*node {
	if n == nil {
		return nil
	}
	return n.kids
}

func isScoreName(name string) bool {
	switch strings.ToLower(path.Ext(name)) {
	case ".xml", ".musicxml":
		return true
	}
	return false
}

var errTooLarge = errors.New("too large")

// content unpacks a file up to a size, whatever size its header promises.
func content(f *zip.File, most int64) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > most {
		return nil, errTooLarge
	}
	return data, nil
}
