// Package leadsheet reads lead sheets, melody with chord symbols, into
// theory.Tune: ABC 2.1 with the older usage found in collections, MusicXML up to
// 4.0, plain or compressed (.mxl), and Standard MIDI Files whose texts, lyrics or
// markers hold the chord symbols. What a sheet says is unrolled into one line;
// what it says beyond that is dropped with a warning.
//
// Readings where the standards leave a choice:
//
//   - Several chord symbols on one note of an ABC tune ("A""F#m"e2) are
//     alternatives, as in the collections that write so: the first is kept.
//     Several harmonies at one place of a MusicXML score share the time to the
//     next note, symbol or bar line in the order written.
//   - A repeat without its start goes back to the last double bar, the end of
//     the repeat before or a P: label; the repeat sign at the end of a last
//     ending closes the ending and plays nothing again.
//   - What moves the notes in ABC is obeyed where the standard names it: octave=,
//     transpose=, clefs with an 8, L:, U:, s:, words of a jump over the staff.
//     Macros (m:) and directives for the sound of one player are not, and said
//     so. A chord symbol with no note behind it in its bar goes to the next bar,
//     if that has none of its own.
//   - Rhythm is read as written: R:Hornpipe swings nothing here.
//   - A MIDI file is played, not written: notes go to the grid that asks for the
//     least movement beat by beat, evenly swung eighths are read as straight,
//     gaps of an eighth of the time to the next note are closed, a key that is
//     not told is the likeliest. Warnings tell all of it.
//   - D.C. and D.S. are obeyed where the sheet says how the tune ends then (a
//     Fine, or a sign to go to the coda and the coda) and no P: field sets the
//     order of parts; repeats are not played again after the jump.
//     In a score the words suffice; what sound says there goes before words. Of
//     two coda signs that nothing explains the first sends to the second.
//   - An ending whose bracket is drawn over its first bars alone reaches to the
//     repeat sign: its last bars are not part of the next pass.
//   - A numeral of MusicXML 4.0 is read in its key; a function (V7) and a chord
//     on a chord (V of II) are refused.
package leadsheet

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"thumbline/theory"
)

// Options choose what to read where a file holds more than one melody.
type Options struct {
	// Number is the X: number of the tune in an ABC file of several; 0 is the
	// first tune of the file.
	Number int
	// Title chooses a tune of an ABC file by one of its T: fields, the case of
	// letters apart: the whole title, or a part of it that only one tune has.
	Title string
	// Melody is PART or PART/VOICE: in MusicXML the id, name or number of a part
	// and the name of one of its voices, in ABC the name of a voice, in a MIDI
	// file the name or number of a track. Empty takes the first part or voice
	// that has both notes and chord symbols, or the only track that may be a
	// melody.
	Melody string
}

// onlyTune reports whether opt can mean the tune of a kind of file that holds
// one; else it logs a fault.
func (opt Options) onlyTune(kind string, l *log) bool {
	switch {
	case strings.TrimSpace(opt.Title) != "":
		l.fault(place{}, "leave the title out", "no tune is chosen by its title %s: %s holds one", quote(opt.Title), kind)
	case opt.Number != 0 && opt.Number != 1:
		l.fault(place{}, "leave the number out", "there is no tune %d: %s holds one", opt.Number, kind)
	default:
		return true
	}
	return false
}

// Limits that no lead sheet comes near; they bound what a broken or hostile
// file can cost. Reading allocates less than 64 times the bytes of the sheet
// (of what a compressed file unpacks to), and 16 MB for the tune played out.
const (
	maxFile  = 16 << 20 // bytes of a file
	maxScore = 32 << 20 // bytes of the score inside a compressed file
	maxBars  = 10000    // bars, repeats played out
	maxInBar = 10000    // notes and rests of a bar, elements of a measure
	maxParts = 500
	maxNotes = 50000

	maxSymbol = 100 // bytes of a chord symbol

	maxDen      = 4 << 20 // common denominator of a quarter: 2^20 and 10080*16 fit
	maxQuarters = 200000  // of a tune, repeats played out

	// What is told of one sheet.
	maxShown    = 20  // faults printed
	maxFaults   = 200 // faults kept
	maxWarnings = 500
	maxListed   = 12 // tunes, tracks, parts or voices named in a message

	// Of MusicXML alone.
	maxRatio       = 250     // how much the score in a compressed file may grow, beyond 1 MB; scores have 10 to 40
	maxZipped      = 1000    // files in a compressed file
	maxTries       = 8       // files in it that may be the score
	maxContainer   = 1 << 20 // bytes of its container.xml
	maxElements    = 1 << 20 // elements that are read
	maxDepth       = 100     // of elements; a score needs about a dozen
	maxText        = 4096    // bytes of the text of an element
	maxBarLen      = 1024    // quarters of a bar
	maxDivisions   = 1 << 24 // of a quarter
	maxRatioNote   = 64      // each figure of a tuplet
	maxGraces      = 8       // grace notes before a note
	maxTransposed  = 60      // semitones between what is written and what sounds
	maxSharing     = 32      // chord symbols at one place
	maxPasses      = 64      // how often a stretch is played
	maxSectionName = 40      // bytes of a rehearsal mark that names a section
	maxJumpWords   = 60      // bytes of words for a jump or a tempo

	// Of ABC alone.
	maxTunes    = 1 << 16 // of a file
	maxField    = 4096    // bytes of a field
	maxVoices   = 200
	maxFigure   = 64      // each figure of (p:q:r
	maxLength   = 1024    // units of a note
	maxParting  = 1 << 14 // parts of a unit
	maxRestBars = 1000    // bars of one rest
	maxEnding   = 64      // the number of a variant ending
	maxTimes    = 64      // how often |::: plays a stretch
	maxOrder    = 1000    // signs of the order of parts
	maxOrderBy  = 100     // the figure behind a part in it
	maxWaiting  = 64      // quoted texts that wait for a note, signs of a kind, titles of a tune
	maxGraceRun = 16      // grace notes before a note
	maxInText   = 8       // chord symbols of one quoted text

	// Of MIDI files alone. The whole band of a tune of 2,000 bars makes half a
	// million events.
	maxEvents   = 2000000
	maxTexts    = 20000
	maxTicks    = 1 << 31       // of a track
	maxTextData = 4 * maxSymbol // bytes kept of a name or text
	maxSilence  = 1000          // quarters within a tune
)

const tooLarge = "a lead sheet is a small text file: give the right file"

// Read reads a lead sheet from r. What kind it is shows in its first bytes;
// name is for messages alone. The error is an ErrorList. Times of the tune
// start at 0 with its first bar, which is labelled 0 when it is a pick-up.
func Read(r io.Reader, name string, opt Options) (*theory.Tune, error) {
	l := &log{file: name}
	data, err := readFile(r, name)
	if err != nil {
		return nil, err
	}
	s := readAny(data, opt, l)
	if err := l.err(); err != nil {
		return nil, err
	}
	t := s.build(l)
	if err := l.err(); err != nil {
		return nil, err
	}
	return t, nil
}

// readFile reads the bytes of a file, one more than maxFile at most: who takes
// them refuses a larger one with tooLarge. The error is an ErrorList.
func readFile(r io.Reader, name string) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return nil, ErrorList{{File: name, Msg: fmt.Sprintf("cannot be read: %v", plain(err)), Err: err}}
	}
	return data, nil
}

// plain drops the path that file errors repeat: the message has it already.
func plain(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// readAny finds the format by content. It returns nil when it logged a fault.
func readAny(data []byte, opt Options, l *log) *sheet {
	if len(data) > maxFile {
		l.fault(place{}, tooLarge, "larger than %d MB", maxFile>>20)
		return nil
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("PK\x05\x06")) || bytes.HasPrefix(data, []byte("PK\x07\x08")) {
		if data = unzip(data, l); data == nil {
			return nil
		}
		return readXML(decode(data), opt, l)
	}
	if IsSMF(data) {
		return readSMF(data, opt, l)
	}
	text := decode(data)
	trimmed := strings.TrimLeft(text, " \t\r\n\ufeff")
	switch {
	case trimmed == "":
		l.fault(place{}, "give a lead sheet in ABC, MusicXML or MIDI", "the file is empty")
	case trimmed[0] == '<':
		return readXML(strings.ReplaceAll(text[:len(text)-len(trimmed)], "\ufeff", "")+trimmed, opt, l)
	case isBinary(text):
		l.fault(place{}, "give a lead sheet in ABC, MusicXML or MIDI", "not a lead sheet but binary data")
	case !looksLikeABC(text):
		l.fault(place{}, "give a lead sheet in ABC, MusicXML or MIDI", "not a lead sheet: neither ABC fields (X: K:) nor MusicXML in it")
	default:
		return readABC(text, opt, l)
	}
	return nil
}

// decode gives UTF-8 without a byte order mark. What is no valid UTF-8 is taken
// for Windows-1252, of which Latin-1 is a part, as in the older collections.
func decode(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte{0xef, 0xbb, 0xbf}):
		data = data[3:]
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		return decode16(data[2:], binary.LittleEndian)
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return decode16(data[2:], binary.BigEndian)
	case bytes.HasPrefix(data, []byte{'<', 0}):
		return decode16(data, binary.LittleEndian)
	case bytes.HasPrefix(data, []byte{0, '<'}):
		return decode16(data, binary.BigEndian)
	}
	if utf8.Valid(data) {
		return string(data)
	}
	var b strings.Builder
	b.Grow(len(data) + len(data)/8)
	for _, c := range data {
		if c >= 0x80 && c < 0xa0 {
			b.WriteRune(windows1252[c-0x80])
		} else {
			b.WriteRune(rune(c))
		}
	}
	return b.String()
}

// windows1252 is bytes 80 to 9f of that code page (Unicode mapping table
// CP1252.TXT); the five it leaves free stay control characters.
var windows1252 = [32]rune{
	'€', 0x81, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0x8d, 'Ž', 0x8f,
	0x90, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0x9d, 'ž', 'Ÿ',
}

func decode16(data []byte, order binary.ByteOrder) string {
	u := make([]uint16, len(data)/2)
	for i := range u {
		u[i] = order.Uint16(data[2*i:])
	}
	return string(utf16.Decode(u))
}

// isBinary reports control characters that no text has.
func isBinary(text string) bool {
	head := text[:min(len(text), 4096)]
	return strings.ContainsFunc(head, func(r rune) bool {
		return r < ' ' && r != '\t' && r != '\n' && r != '\r' && r != '\f' && r != '\v' && r != 0x1a
	})
}
