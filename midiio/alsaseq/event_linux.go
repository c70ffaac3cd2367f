package alsaseq

import (
	"encoding/binary"

	"thumbline/midiio/internal/wire"
)

// The kinds of events, SNDRV_SEQ_EVENT_... of <sound/asequencer.h>.
const (
	eventNoteOn       = 6
	eventNoteOff      = 7
	eventKeyPressure  = 8
	eventController   = 10
	eventProgram      = 11
	eventPressure     = 12
	eventBend         = 13
	eventController14 = 14
	eventNRPN         = 15
	eventRPN          = 16
	eventSongPosition = 20
	eventSongSelect   = 21
	eventQuarterFrame = 22
	eventStart        = 30
	eventContinue     = 31
	eventStop         = 32
	eventClock        = 36
	eventTune         = 40
	eventReset        = 41
	eventSensing      = 42
	eventClientEnd    = 61
	eventPortEnd      = 64
	eventUnsubscribed = 67
	eventSysEx        = 130
)

const (
	eventSize      = 28
	queueDirect    = 253        // at once, past the kernel's own timing
	flagVariable   = 1 << 2     // the length is in the event, its bytes come after it
	flagLengthMask = 3 << 2     //
	lengthMask     = 0x3fffffff // the two bits above say where the bytes are
)

// An event as the kernel reads and writes it: [0] type, [1] flags, [3] queue,
// [12,13] source, [14,15] destination, then by type: [16] channel, [17,18] key
// and velocity; or [16] channel, [20] parameter, [24] value; or [16] length; or
// addresses from [16] on.
type event [eventSize]byte

func (e *event) source() address       { return address{e[12], e[13]} }
func (e *event) setSource(a address)   { e[12], e[13] = a.client, a.port }
func (e *event) setDest(a address)     { e[14], e[15] = a.client, a.port }
func (e *event) address(i int) address { return address{e[16+2*i], e[17+2*i]} }
func (e *event) param() uint32         { return binary.NativeEndian.Uint32(e[20:]) }
func (e *event) value() int32          { return int32(binary.NativeEndian.Uint32(e[24:])) }
func (e *event) setParam(n byte)       { binary.NativeEndian.PutUint32(e[20:], uint32(n)) }
func (e *event) setValue(n int)        { binary.NativeEndian.PutUint32(e[24:], uint32(int32(n))) }
func (e *event) length() int           { return int(binary.NativeEndian.Uint32(e[16:]) & lengthMask) }
func (e *event) variable() bool        { return e[1]&flagLengthMask == flagVariable }

// single is the events of messages that are a status alone or with values after
// it.
var single = [16]byte{
	1: eventQuarterFrame, 2: eventSongPosition, 3: eventSongSelect, 6: eventTune, 8: eventClock,
	10: eventStart, 11: eventContinue, 12: eventStop, 14: eventSensing, 15: eventReset,
}

// encode makes e the event of one whole message; false when it is not one. Of a
// system-exclusive message the event has the length only: its bytes follow it.
func (e *event) encode(msg []byte) bool {
	*e = event{3: queueDirect}
	if len(msg) == 0 {
		return false
	}
	status, data := msg[0], msg[1:]
	exclusive := status == 0xf0 && len(data) > 0 && data[len(data)-1] == 0xf7
	if exclusive {
		data = data[:len(data)-1]
	} else if wire.Size(status) != len(msg) {
		return false
	}
	for _, b := range data {
		if b >= 0x80 {
			return false
		}
	}
	if exclusive {
		e[0], e[1] = eventSysEx, flagVariable
		binary.NativeEndian.PutUint32(e[16:], uint32(len(msg)))
		return true
	}
	if status < 0xf0 {
		e[16] = status & 15
	}
	switch status >> 4 {
	case 0x8:
		e[0], e[17], e[18] = eventNoteOff, data[0], data[1]
	case 0x9:
		e[0], e[17], e[18] = eventNoteOn, data[0], data[1]
	case 0xa:
		e[0], e[17], e[18] = eventKeyPressure, data[0], data[1]
	case 0xb:
		e[0] = eventController
		e.setParam(data[0])
		e.setValue(int(data[1]))
	case 0xc:
		e[0] = eventProgram
		e.setValue(int(data[0]))
	case 0xd:
		e[0] = eventPressure
		e.setValue(int(data[0]))
	case 0xe:
		e[0] = eventBend
		e.setValue(int(data[0]) + int(data[1])<<7 - 8192)
	default:
		e[0] = single[status&15]
		switch len(data) {
		case 1:
			e.setValue(int(data[0]))
		case 2:
			e.setValue(int(data[0]) + int(data[1])<<7)
		}
	}
	return true
}

// decode emits the messages of an event: mostly one, none of an event that is
// not of MIDI, several of one that stands for several controllers. The bytes of
// system-exclusive messages are not in the event, and so not emitted. Values
// too large for a MIDI byte lose their upper bits, as they do when the kernel
// sends the event to a cable.
func (e *event) decode(emit func(msg ...byte)) {
	channel := e[16] & 15
	value := e.value()
	low, high := byte(value&0x7f), byte(value>>7&0x7f)
	param := e.param()
	control := func(number uint32, v byte) { emit(0xb0|channel, byte(number&0x7f), v&0x7f) }
	switch e[0] {
	case eventNoteOff:
		emit(0x80|channel, e[17]&0x7f, e[18]&0x7f)
	case eventNoteOn:
		emit(0x90|channel, e[17]&0x7f, e[18]&0x7f)
	case eventKeyPressure:
		emit(0xa0|channel, e[17]&0x7f, e[18]&0x7f)
	case eventController:
		control(param, low)
	case eventController14:
		if param < 32 {
			control(param, high)
			control(param+32, low)
		} else {
			control(param, low)
		}
	case eventRPN, eventNRPN:
		number := uint32(101)
		if e[0] == eventNRPN {
			number = 99
		}
		control(number, byte(param>>7&0x7f))
		control(number-1, byte(param&0x7f))
		control(6, high)
		control(38, low)
	case eventProgram:
		emit(0xc0|channel, low)
	case eventPressure:
		emit(0xd0|channel, low)
	case eventBend:
		value += 8192
		emit(0xe0|channel, byte(value&0x7f), byte(value>>7&0x7f))
	default:
		for i, t := range single {
			if t == 0 || t != e[0] {
				continue
			}
			switch status := 0xf0 | byte(i); wire.Size(status) {
			case 1:
				emit(status)
			case 2:
				emit(status, low)
			case 3:
				emit(status, low, high)
			}
		}
	}
}

// walk goes through what one read has given: events, each with the bytes that
// belong to it. What is cut off at the end is left out.
func walk(b []byte, each func(e *event, more []byte)) {
	for len(b) >= eventSize {
		e := (*event)(b[:eventSize])
		b = b[eventSize:]
		var more []byte
		if e.variable() {
			n := e.length()
			if n > len(b) {
				return
			}
			more = b[:n]
			// The kernel fills up to whole events.
			b = b[min((n+eventSize-1)/eventSize*eventSize, len(b)):]
		}
		each(e, more)
	}
}

// ends reports whether an event says that nothing passes any more between our
// port and another: the other's client or port has ended, or someone has parted
// the two.
func (e *event) ends(our, other address) bool {
	if e.source().client != announce.client {
		return false // anyone may send us anything
	}
	switch e[0] {
	case eventClientEnd:
		return e[16] == other.client
	case eventPortEnd:
		return e.address(0) == other
	case eventUnsubscribed:
		a, b := e.address(0), e.address(1)
		return a == our && b == other || a == other && b == our
	}
	return false
}
