package midiio

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// Limits on what is read as music: longer is not a piece but damage.
const (
	maxFile = 64 << 20
	maxTick = 1 << 27 // 19 hours at 120
	maxBars = 200_000
)

// ErrNotSMF tells that what was read is no Standard MIDI File at all.
var ErrNotSMF = errors.New("not a Standard MIDI File (no MThd at its start)")

// ReadSMF reads a Standard MIDI File of any format and division into a
// Sequence. It accepts what is met in the wild: a missing end of track, more
// tracks announced than present, notes never ended (they end with the piece),
// unknown chunks, bytes after the last chunk, a RIFF wrapper. System exclusive
// messages are left out; text beside names, markers and plain text is too.
// Where the division does not divide PerQuarter, ticks are rounded. Errors tell
// the byte where reading stopped.
//
// Tracks named as WriteSMF names them keep their layer; of the others channel
// 10 is Time and the rest Inner. The tracks of format 2 follow one another.
func ReadSMF(r io.Reader) (*Sequence, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxFile {
		return nil, fmt.Errorf("longer than %d MB (no piece of music is)", maxFile>>20)
	}
	f, err := parseSMF(data)
	if err != nil {
		return nil, err
	}
	return f.sequence()
}

// smfFile is the file as it stands.
type smfFile struct {
	format   int
	division uint16
	tracks   [][]smfEvent
}

// smfEvent is a channel message, a meta event (status FF, kind its type) or a
// system exclusive message.
type smfEvent struct {
	at     int64
	status byte
	kind   byte
	data   []byte
	pos    int // in the file, for messages
}

func (f *smfFile) count() int {
	n := 0
	for _, t := range f.tracks {
		n += len(t)
	}
	return n
}

// parseSMF splits the bytes into events. It is our own since the library's
// reader panics on a running status without a status and refuses files that
// every player takes.
func parseSMF(data []byte) (*smfFile, error) {
	base := 0
	if len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "RMID" {
		i := 12
		for ; i+8 <= len(data); i += 8 {
			n := int64(binary.LittleEndian.Uint32(data[i+4:]))
			if string(data[i:i+4]) == "data" {
				base = i + 8
				break
			}
			if n += n & 1; n > int64(len(data)-i-8) {
				break
			}
			i += int(n)
		}
	}
	d := data[base:]
	if len(d) < 4 || string(d[:4]) != "MThd" {
		return nil, ErrNotSMF
	}
	if len(d) < 14 {
		return nil, fmt.Errorf("byte %d: the file ends within its header", len(data))
	}
	n := binary.BigEndian.Uint32(d[4:])
	if n < 6 || int64(n) > int64(len(d)-8) {
		return nil, fmt.Errorf("byte %d: header of %d bytes (6 is usual)", base+4, n)
	}
	f := &smfFile{format: int(binary.BigEndian.Uint16(d[8:])), division: binary.BigEndian.Uint16(d[12:])}
	want := int(binary.BigEndian.Uint16(d[10:]))
	if f.format > 2 {
		return nil, fmt.Errorf("byte %d: format %d (0, 1 and 2 are known)", base+8, f.format)
	}
	if f.division == 0 || f.division >= 0x8000 && (f.division&0xFF == 0 || frameRate(f.division) == 0) {
		return nil, fmt.Errorf("byte %d: division %04X hex (no time can be counted in it)", base+12, f.division)
	}
	i := 8 + int(n)
	for len(f.tracks) < want && i+8 <= len(d) {
		kind, n := string(d[i:i+4]), int64(binary.BigEndian.Uint32(d[i+4:]))
		if n > int64(len(d)-i-8) {
			return nil, fmt.Errorf("byte %d: chunk %q of %d bytes goes past the end of the file (is it cut off?)", base+i, kind, n)
		}
		body := d[i+8 : i+8+int(n)]
		if kind == "MTrk" {
			t, err := parseTrack(body, base+i+8)
			if err != nil {
				return nil, err
			}
			f.tracks = append(f.tracks, t)
		}
		i += 8 + int(n)
	}
	if len(f.tracks) == 0 {
		return nil, fmt.Errorf("byte %d: no track in the file", base+i)
	}
	return f, nil
}

// frameRate is the frames a second, in thousandths, of a division that counts
// time code; 0 when there is no such.
func frameRate(division uint16) int64 {
	switch -int8(division >> 8) {
	case 24:
		return 24000
	case 25:
		return 25000
	case 29:
		return 29970 // 30 drop frame
	case 30:
		return 30000
	}
	return 0
}

func parseTrack(b []byte, base int) ([]smfEvent, error) {
	var evs []smfEvent
	var status byte
	now := int64(0)
	i := 0
	fail := func(what string, args ...any) ([]smfEvent, error) {
		return nil, fmt.Errorf("byte %d: "+what, append([]any{base + i}, args...)...)
	}
	vlq := func() (uint32, bool) {
		var v uint32
		for k := range 4 {
			if i+k >= len(b) {
				return 0, false
			}
			v = v<<7 | uint32(b[i+k]&0x7F)
			if b[i+k] < 0x80 {
				i += k + 1
				return v, true
			}
		}
		return 0, false
	}
	const badVLQ = "a length or time that does not end within four bytes or within its track"
	for i < len(b) {
		dt, ok := vlq()
		if !ok {
			return fail(badVLQ)
		}
		if now += int64(dt); now > 1<<40 {
			return fail("the track is too long")
		}
		if i == len(b) {
			return fail("the track ends where a message is due")
		}
		pos := i
		c := b[i]
		switch {
		case c == 0xFF || c == 0xF0 || c == 0xF7:
			e := smfEvent{at: now, status: c, pos: base + pos}
			status = 0
			i++
			if c == 0xFF {
				if i == len(b) {
					return fail("the track ends where a meta event is due")
				}
				if e.kind = b[i]; e.kind >= 0x80 {
					return fail("meta event of type %02X hex (below 80 is allowed)", e.kind)
				}
				i++
			}
			n, ok := vlq()
			if !ok {
				return fail(badVLQ)
			}
			if int64(n) > int64(len(b)-i) {
				return fail("%d bytes of data go past the end of the track", n)
			}
			e.data = b[i : i+int(n)]
			i += int(n)
			evs = append(evs, e)
			if c == 0xFF && e.kind == 0x2F {
				return evs, nil
			}
		case c > 0xF0:
			return fail("status %02X hex has no place in a file", c)
		default:
			if c >= 0x80 {
				status = c
				i++
			} else if status == 0 {
				return fail("data byte %02X hex where a status is due", c)
			}
			n := 2
			if k := status & 0xF0; k == statusProgram || k == 0xD0 {
				n = 1
			}
			if i+n > len(b) {
				return fail("the track ends within a message")
			}
			for k := range n {
				if b[i+k] >= 0x80 {
					i += k
					return fail("status byte %02X hex where data is due", b[i])
				}
			}
			evs = append(evs, smfEvent{at: now, status: status, data: b[i : i+n], pos: base + pos})
			i += n
		}
	}
	return evs, nil
}

func (f *smfFile) sequence() (*Sequence, error) {
	s := &Sequence{}
	scale := func(t int64) int64 { return divRound(t*int64(PerQuarter), int64(f.division)) }
	if f.division >= 0x8000 {
		// Time code counts seconds: at 120 a second has 2 * PerQuarter ticks.
		per := frameRate(f.division) * int64(f.division&0xFF)
		scale = func(t int64) int64 { return divRound(t*2*int64(PerQuarter)*1000, per) }
	}
	var sigs []Bar // At, Beat and Metre of time signatures
	offset := int64(0)
	for n, tr := range f.tracks {
		layer, named := Inner, false
		for _, e := range tr {
			if e.status == 0xFF && e.kind == 0x03 && e.at == 0 {
				layer, named = ParseLayer(strings.ToLower(string(e.data)))
				if !named {
					layer = Inner
				}
				break
			}
		}
		var evs []Event
		end := offset
		for _, e := range tr {
			at := offset + scale(e.at)
			if at > maxTick {
				return nil, fmt.Errorf("byte %d: the piece goes on for %d quarter notes (is the file damaged?)", e.pos, at/int64(PerQuarter))
			}
			end = max(end, at)
			t := Tick(at)
			switch {
			case e.status == 0xFF:
				f.meta(s, &sigs, t, e, n)
			case e.status < 0xF0:
				ev := Event{Tick: t, Layer: layer, Msg: [3]byte{e.status}}
				copy(ev.Msg[1:], e.data)
				if isOff(ev.Msg) && e.status&0xF0 == statusOn {
					ev.Msg = noteOff(channel(ev.Msg), int(ev.Msg[1]))
				}
				if !named && channel(ev.Msg) == clickChannel {
					ev.Layer = Time
				}
				evs = append(evs, ev)
			}
		}
		s.Events = append(s.Events, closeNotes(evs, Tick(end))...)
		s.End = max(s.End, Tick(end))
		if f.format == 2 {
			offset = end
		}
	}
	for _, e := range s.Events {
		s.End = max(s.End, e.Tick) // a note given a tick to sound
	}
	sortEvents(s.Events)
	if f.division >= 0x8000 {
		s.Tempi = nil
	}
	slices.SortStableFunc(s.Tempi, func(a, b TempoMark) int { return cmp.Compare(a.Tick, b.Tick) })
	byTick := func(a, b Text) int { return cmp.Compare(a.Tick, b.Tick) }
	slices.SortStableFunc(s.Chords, byTick)
	slices.SortStableFunc(s.Markers, byTick)
	slices.SortStableFunc(s.Keys, func(a, b KeyMark) int { return cmp.Compare(a.Tick, b.Tick) })
	if len(s.Tempi) == 0 || s.Tempi[0].Tick > 0 {
		s.Tempi = slices.Insert(s.Tempi, 0, TempoMark{0, DefaultBPM})
	}
	return s, s.layBars(sigs)
}

func divRound(a, b int64) int64 { return (2*a + b) / (2 * b) }

// meta takes over one meta event. Shorter data than the standard asks for is
// left out as unknown; longer is legal.
func (f *smfFile) meta(s *Sequence, sigs *[]Bar, t Tick, e smfEvent, track int) {
	d := e.data
	switch {
	case e.kind == 0x03 && track == 0 && s.Title == "":
		s.Title = clean(string(d))
	case e.kind == 0x01 && len(d) > 0:
		s.Chords = append(s.Chords, Text{t, clean(string(d))})
	case e.kind == 0x06:
		s.Markers = append(s.Markers, Text{t, clean(string(d))})
	case e.kind == 0x51 && len(d) >= 3:
		if us := int(d[0])<<16 | int(d[1])<<8 | int(d[2]); us > 0 {
			s.Tempi = append(s.Tempi, TempoMark{t, 60e6 / float64(us)})
		}
	case e.kind == 0x58 && len(d) >= 2 && d[0] > 0 && d[1] <= 7:
		b := Bar{At: t, Metre: theory.Metre{Num: int(d[0]), Den: 1 << d[1]}}
		b.Len = 4 * PerQuarter * Tick(b.Metre.Num) / Tick(b.Metre.Den)
		unit := 4 * PerQuarter / Tick(b.Metre.Den)
		switch {
		case b.Metre.Den >= 8 && b.Metre.Num%3 == 0 && b.Metre.Num > 3, b.Metre == theory.Metre{Num: 6, Den: 4}:
			b.Beat = 3 * unit
		case b.Metre.Den == 2:
			b.Beat = unit
		default:
			b.Beat = PerQuarter
		}
		*sigs = append(*sigs, b)
	case e.kind == 0x59 && len(d) >= 2 && int8(d[0]) >= -7 && int8(d[0]) <= 7:
		s.Keys = append(s.Keys, KeyMark{t, int(int8(d[0])), d[1] == 1})
	}
}

// closeNotes gives each note-on of a track its note-off: at end where there is
// none, a tick later where both stand on one tick. Note-offs that end nothing
// are left out.
func closeNotes(evs []Event, end Tick) []Event {
	partner := pair(evs)
	out := make([]Event, 0, len(evs))
	var tail []Event
	for i, e := range evs {
		switch {
		case isOff(e.Msg) && partner[i] < 0:
			continue
		case isOff(e.Msg):
			e.Tick = max(e.Tick, evs[partner[i]].Tick+1)
		case isOn(e.Msg) && partner[i] < 0:
			off := e
			off.Tick, off.Msg = max(end, e.Tick+1), noteOff(channel(e.Msg), int(e.Msg[1]))
			tail = append(tail, off)
		}
		out = append(out, e)
	}
	return append(out, tail...)
}

// layBars fills the bar table from time signatures; 4/4 where there is none.
// A signature inside a bar cuts it there.
func (s *Sequence) layBars(sigs []Bar) error {
	slices.SortStableFunc(sigs, func(a, b Bar) int { return cmp.Compare(a.At, b.At) })
	cur := Bar{Len: 4 * PerQuarter, Beat: PerQuarter, Metre: theory.Metre{Num: 4, Den: 4}}
	for at := Tick(0); at < s.End; {
		for len(sigs) > 0 && sigs[0].At <= at {
			cur, sigs = sigs[0], sigs[1:]
		}
		b := cur
		b.At, b.Label = at, strconv.Itoa(len(s.Bars)+1)
		if len(sigs) > 0 {
			b.Len = min(b.Len, sigs[0].At-at)
		}
		if len(s.Bars) == maxBars {
			return fmt.Errorf("more than %d bars (is the file damaged?)", maxBars)
		}
		s.Bars = append(s.Bars, b)
		at += b.Len
	}
	if n := len(s.Bars); n > 0 {
		s.End = s.Bars[n-1].At + s.Bars[n-1].Len
	}
	return nil
}
