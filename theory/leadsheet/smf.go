package leadsheet

import (
	"encoding/binary"
	"fmt"
	"strings"
)

// The Standard MIDI File is split into events here and not by the MIDI library:
// its reader panics on a running status without a status, makes room for as
// many bytes as a meta event claims to have, and refuses files that every
// player takes. RP-001, Standard MIDI Files 1.0, is the source of this file.

// Kinds of meta events.
const (
	metaText    = 0x01
	metaName    = 0x03 // of the sequence in the first track, else of the track
	metaLyric   = 0x05
	metaMarker  = 0x06
	metaCue     = 0x07
	metaEnd     = 0x2f
	metaTempo   = 0x51
	metaTime    = 0x58
	metaKey     = 0x59
	drumChannel = 9 // channel 10, counted from 0
)

// An smfFile is what a file holds of what a lead sheet needs, times in ticks.
type smfFile struct {
	format, division int
	tracks           []*smfTrack
	metas            []smfMeta // of all tracks in turn, each in order of time
	data             []byte    // the file
	texts            map[string]*smfWords
	title            string // of a format 0 file whose channels became tracks
}

type smfTrack struct {
	number  int // from 1; in format 0 with several channels the channel
	name    string
	notes   []smfNote // in order of their beginning
	program uint8     // the first of the General MIDI set, 0 none
	channel uint8     // of the first note
	hanging int       // notes that were never ended
}

type smfNote struct {
	on, off      uint32
	key, channel uint8
	hanging      bool
}

// An smfMeta is a meta event; small, since a file can hold many.
type smfMeta struct {
	at, pos uint32 // pos: where its data begins in the file
	len     uint16 // of its data, cut to maxTextData
	track   uint16 // index into tracks
	kind    byte
}

// body is the data of a meta event.
func (f *smfFile) body(m smfMeta) []byte { return f.data[m.pos : int(m.pos)+int(m.len)] }

// smfWords is a text with what it says of chords.
type smfWords struct {
	text string
	reading
}

// isSymbol reports one or more chord symbols.
func (w *smfWords) isSymbol() bool { return len(w.chords) > 0 && w.fault == "" }

// words reads the text of a meta event, nil when it is empty. Every text is
// read once, however often it stands.
func (f *smfFile) words(m smfMeta) *smfWords {
	b := f.body(m)
	w, ok := f.texts[string(b)]
	if !ok {
		if text := smfText(b); text != "" {
			w = &smfWords{text, readSymbol(text)}
		}
		f.texts[string(b)] = w
	}
	return w
}

// An smfError is a fault of the file and what to do about it.
type smfError struct{ msg, do string }

const (
	exportAgain = "export the MIDI file again"
	exportAlone = "export the melody and the chords alone"
)

// parseSMF reads the chunks. warn is told what was mended.
func parseSMF(data []byte, warn func(string)) (*smfFile, *smfError) {
	base := 0
	if isRMID(data) {
		base = dataChunk(data)
	}
	d := data[base:]
	fail := func(do, format string, args ...any) (*smfFile, *smfError) {
		return nil, &smfError{fmt.Sprintf(format, args...), do}
	}
	if len(d) < 14 || string(d[:4]) != "MThd" {
		return fail(exportAgain, "byte %d: the MIDI file ends within its header", len(data))
	}
	n := binary.BigEndian.Uint32(d[4:])
	if n < 6 || int64(n) > int64(len(d)-8) {
		return fail(exportAgain, "byte %d: a header of %d bytes (6 is usual)", base+4, n)
	}
	f := &smfFile{format: int(binary.BigEndian.Uint16(d[8:])), data: data, texts: make(map[string]*smfWords)}
	division := binary.BigEndian.Uint16(d[12:])
	switch {
	case f.format > 2:
		return fail("export it as format 0 or 1", "byte %d: a MIDI file of format %d", base+8, f.format)
	case division >= 0x8000:
		return fail("export it with ticks to the quarter note", "byte %d: the MIDI file counts frames of time code, not beats, so it has no bars", base+12)
	case division == 0:
		return fail(exportAgain, "byte %d: the MIDI file has 0 ticks to the quarter note", base+12)
	}
	f.division = int(division)
	want := int(binary.BigEndian.Uint16(d[10:]))
	p := &smfParser{file: f, open: new([16 * 128]int32)}
	for i := 8 + int(n); i+8 <= len(d); {
		kind, n := string(d[i:i+4]), int64(binary.BigEndian.Uint32(d[i+4:]))
		if kind == "MTrk" {
			if n > int64(len(d)-i-8) {
				return fail(exportAgain, "byte %d: track %d says it has %d bytes and the file ends after %d: it is cut off", base+i, len(f.tracks)+1, n, len(d)-i-8)
			}
			if len(f.tracks) == maxParts {
				return fail(exportAlone, "byte %d: more than %d tracks", base+i, maxParts)
			}
			if err := p.track(d[i+8:i+8+int(n)], base+i+8); err != nil {
				return nil, err
			}
		} else if n > int64(len(d)-i-8) {
			break // bytes behind the last track that are no chunk
		}
		i += 8 + int(n)
	}
	switch {
	case len(f.tracks) == 0:
		return fail(exportAgain, "the MIDI file holds no track")
	case len(f.tracks) < want:
		warn(fmt.Sprintf("the MIDI file announces %d tracks and holds %d", want, len(f.tracks)))
	}
	if f.format == 0 {
		f.splitChannels()
	}
	return f, nil
}

func isRMID(data []byte) bool {
	return len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "RMID"
}

// dataChunk is where the MIDI file begins in a RIFF wrapper.
func dataChunk(data []byte) int {
	for i := int64(12); i+8 <= int64(len(data)); {
		n := int64(binary.LittleEndian.Uint32(data[i+4:]))
		if string(data[i:i+4]) == "data" {
			return int(i + 8)
		}
		i += 8 + n + n&1
	}
	return len(data)
}

// An smfParser holds what the tracks share: the count of events, and the notes
// that sound (one more than their index; 0 none).
type smfParser struct {
	file   *smfFile
	events int
	texts  int
	open   *[16 * 128]int32
}

// An smfCursor reads the events of a track.
type smfCursor struct {
	*smfParser
	track  *smfTrack
	index  int    // of the track
	b      []byte // of the track
	base   int    // where b begins in the file
	i      int
	now    int64 // ticks
	status byte  // the running status; 0 none
}

// track reads one chunk, which begins at base in the file.
func (p *smfParser) track(b []byte, base int) *smfError {
	f := p.file
	c := smfCursor{smfParser: p, track: &smfTrack{number: len(f.tracks) + 1}, index: len(f.tracks), b: b, base: base}
	f.tracks = append(f.tracks, c.track)
	clear(p.open[:])
	err := c.read()
	c.endHanging()
	return err
}

// read reads the events up to the end of the track.
func (c *smfCursor) read() *smfError {
	limit := min(int64(maxTicks), int64(maxQuarters)*int64(c.file.division))
	for c.i < len(c.b) {
		dt, ok := c.vlq()
		if !ok {
			return c.fail(badVLQ)
		}
		if c.i == len(c.b) {
			return c.fail("the track ends where an event is due")
		}
		first := c.b[c.i]
		if first == 0xff && c.i+1 < len(c.b) && c.b[c.i+1] == metaEnd {
			if c.now+int64(dt) <= limit {
				c.now += int64(dt)
			}
			return nil
		}
		if c.now += int64(dt); c.now > limit {
			err := c.fail("the track lasts longer than %d quarter notes", limit/int64(c.file.division))
			err.do = "export the tune alone"
			return err
		}
		if c.events++; c.events > maxEvents {
			return &smfError{fmt.Sprintf("more than %d events", maxEvents), exportAlone}
		}
		var err *smfError
		switch {
		case first == 0xff || first == 0xf0 || first == 0xf7:
			err = c.long(first)
		case first > 0xf0:
			err = c.fail("the status byte %02X hex has no place in a file", first)
		default:
			err = c.message(first)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

const badVLQ = "a length or time that does not end within four bytes or within its track"

func (c *smfCursor) fail(format string, args ...any) *smfError {
	return &smfError{fmt.Sprintf("byte %d, track %d: ", c.base+c.i, c.track.number) + fmt.Sprintf(format, args...), exportAgain}
}

// vlq reads a variable-length quantity, at most four bytes; ok is false, and
// nothing read, when it does not end.
func (c *smfCursor) vlq() (v int, ok bool) {
	for k := range 4 {
		if c.i+k >= len(c.b) {
			return 0, false
		}
		v = v<<7 | int(c.b[c.i+k]&0x7f)
		if c.b[c.i+k] < 0x80 {
			c.i += k + 1
			return v, true
		}
	}
	return 0, false
}

// long reads an event that says how long it is: a meta event, or a system
// exclusive one, which is passed over. The standard ends a running status here;
// files that go on with it have no other meaning, so it is kept.
func (c *smfCursor) long(status byte) *smfError {
	c.i++
	kind := byte(0)
	if status == 0xff {
		if c.i == len(c.b) {
			return c.fail("the track ends within a meta event")
		}
		kind = c.b[c.i]
		c.i++
	}
	n, ok := c.vlq()
	if !ok {
		return c.fail(badVLQ)
	}
	if n > len(c.b)-c.i {
		return c.fail("an event of %d bytes goes past the end of the track", n)
	}
	pos := c.i
	c.i += n
	switch kind {
	case metaName:
		if c.track.name == "" {
			c.track.name = smfText(c.b[pos:c.i])
		}
		return nil
	case metaText, metaLyric, metaMarker, metaCue:
		if c.texts++; c.texts > maxTexts {
			return &smfError{fmt.Sprintf("more than %d texts, lyrics and markers", maxTexts), exportAlone}
		}
	case metaTempo, metaTime, metaKey:
	default:
		return nil
	}
	c.file.metas = append(c.file.metas, smfMeta{uint32(c.now), uint32(c.base + pos), uint16(min(n, maxTextData)), uint16(c.index), kind})
	return nil
}

// message reads a channel message, whose first byte is a status or, under a
// running status, data.
func (c *smfCursor) message(first byte) *smfError {
	if first >= 0x80 {
		c.status = first
		c.i++
	} else if c.status == 0 {
		return c.fail("the data byte %02X hex stands where a status is due", first)
	}
	kind, ch := c.status&0xf0, c.status&0x0f
	n := 2
	if kind == 0xc0 || kind == 0xd0 {
		n = 1
	}
	if c.i+n > len(c.b) {
		return c.fail("the track ends within an event")
	}
	data := c.b[c.i : c.i+n]
	for k, d := range data {
		if d >= 0x80 {
			c.i += k
			return c.fail("the status byte %02X hex stands where data is due", d)
		}
	}
	c.i += n
	t := c.track
	switch kind {
	case 0x80, 0x90:
		key := data[0]
		slot := &c.open[int(ch)<<7|int(key)]
		if *slot != 0 {
			t.notes[*slot-1].off = uint32(c.now)
			*slot = 0
		}
		if kind == 0x90 && data[1] > 0 {
			if len(t.notes) == 0 {
				t.channel = ch
			}
			t.notes = append(t.notes, smfNote{on: uint32(c.now), key: key, channel: ch})
			*slot = int32(len(t.notes))
		}
	case 0xc0:
		if t.program == 0 {
			t.program = data[0] + 1
		}
	}
	return nil
}

// endHanging ends the notes that the track never ended, with the track.
func (c *smfCursor) endHanging() {
	for _, k := range c.open {
		if k != 0 {
			n := &c.track.notes[k-1]
			n.off, n.hanging = uint32(max(c.now, int64(n.on))), true
			c.track.hanging++
		}
	}
}

// splitChannels makes a track of each channel of a format 0 file that has
// several.
func (f *smfFile) splitChannels() {
	var count [16]int
	channels := 0
	for _, n := range f.tracks[0].notes {
		if count[n.channel]++; count[n.channel] == 1 {
			channels++
		}
	}
	if channels < 2 || len(f.tracks) > 1 {
		return
	}
	whole := f.tracks[0]
	f.tracks = nil
	for ch, n := range count {
		if n == 0 {
			continue
		}
		t := &smfTrack{number: ch + 1, channel: uint8(ch), notes: make([]smfNote, 0, n)}
		for _, n := range whole.notes {
			if int(n.channel) == ch {
				t.notes = append(t.notes, n)
				if n.hanging {
					t.hanging++
				}
			}
		}
		f.tracks = append(f.tracks, t)
	}
	f.title = whole.name
}

// smfText is the text of a meta event on one line; MIDI says ASCII, programs
// write UTF-8 or Windows-1252.
func smfText(b []byte) string {
	if len(b) > maxTextData {
		b = b[:maxTextData]
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f {
			return ' '
		}
		return r
	}, decode(b)))
}
