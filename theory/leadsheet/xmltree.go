package leadsheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strconv"
	"strings"

	"thumbline/theory"
)

// A node is an element of an XML document with its text and its place.
type node struct {
	place
	name string
	attr []xml.Attr
	text string
	kids []*node
}

// maxText is longer than any text of an element that is read, in bytes.
const maxText = 4096

// maxDepth bounds how deeply elements nest; a score needs about a dozen.
const maxDepth = 100

// parseTree reads a document without its namespaces. A document type is never
// fetched, and entities beyond the five of XML are an error: encoding/xml
// expands none.
func parseTree(text string) (*node, *Error) {
	d := xml.NewDecoder(strings.NewReader(text))
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil } // decoded already
	var root *node
	var open []*node
	fail := func(err error) (*node, *Error) {
		line, col := d.InputPos()
		msg := err.Error()
		var se *xml.SyntaxError
		if errors.As(err, &se) {
			if msg = se.Msg; se.Line != line {
				line, col = se.Line, 0
			}
		}
		return nil, &Error{Line: line, Col: col, Msg: "the XML is broken: " + msg, Do: "export the score again"}
	}
	for {
		line, col := d.InputPos()
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return fail(err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			n := &node{place: place{line, col}, name: t.Name.Local, attr: t.Attr}
			if len(open) > 0 {
				up := open[len(open)-1]
				up.kids = append(up.kids, n)
			} else if root == nil {
				root = n
			}
			if len(open) >= maxDepth {
				return fail(errors.New("elements nest too deeply"))
			}
			open = append(open, n)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				n := open[len(open)-1]
				if s := string(bytes.TrimSpace(t)); s != "" && len(n.text) < maxText {
					n.text += s
				}
			}
		}
	}
	if root == nil {
		return fail(errors.New("there is no element in it"))
	}
	return root, nil
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
			if a.Name.Local == name {
				return strings.TrimSpace(a.Value)
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
// its container names, or, where the container is broken or missing, the first
// XML file outside META-INF. It returns nil when it logged a fault.
func unzip(data []byte, l *log) []byte {
	const do = "export the score again as .mxl or .musicxml"
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		l.fault(place{}, do, "the compressed file is broken: %v", err)
		return nil
	}
	var score *zip.File
	byName := make(map[string]*zip.File)
	for _, f := range z.File {
		if isScoreName(f.Name) {
			byName[f.Name] = f
		}
	}
	for _, f := range z.File {
		if f.Name != "META-INF/container.xml" {
			continue
		}
		c, err := content(f, 1<<20)
		if err != nil {
			continue
		}
		root, fault := parseTree(decode(c))
		if fault != nil {
			continue
		}
		for _, k := range root.kid("rootfiles").children() {
			full := strings.TrimPrefix(path.Clean(k.get("full-path")), "/")
			if score = byName[full]; score != nil {
				break
			}
		}
	}
	for _, f := range z.File {
		if score == nil && isScoreName(f.Name) && !strings.HasPrefix(f.Name, "META-INF/") && !strings.HasPrefix(f.Name, "__MACOSX/") {
			score = f
		}
	}
	if score == nil {
		l.fault(place{}, do, "there is no score in the compressed file")
		return nil
	}
	text, err := content(score, maxScore)
	switch {
	case errors.Is(err, errTooLarge):
		l.fault(place{}, do, "the score in the compressed file is larger than %d MB", maxScore>>20)
		return nil
	case err != nil:
		l.fault(place{}, do, "the score in the compressed file cannot be read: %v", err)
		return nil
	case len(bytes.TrimSpace(text)) == 0:
		l.fault(place{}, do, "the score in the compressed file is empty")
		return nil
	}
	return text
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
