// Package wire cuts what is handed to a MIDI port into whole messages, for
// drivers whose system takes one message at a time.
package wire

import (
	"errors"
	"fmt"
)

// Size is how many bytes a message with this status byte has, the status
// included: 1, 2 or 3. It is 0 for what has no such size: system exclusive and
// its end, the undefined F4, F5, F9 and FD, and bytes below 80, which are data.
// Source: MIDI 1.0 Detailed Specification, tables II, V and VI.
func Size(status byte) int {
	switch {
	case status < 0x80:
		return 0
	case status < 0xC0, status >= 0xE0 && status < 0xF0, status == 0xF2:
		return 3
	case status < 0xE0, status == 0xF1, status == 0xF3:
		return 2
	case status == 0xF6, status == 0xF8, status >= 0xFA && status <= 0xFC, status >= 0xFE:
		return 1
	}
	return 0
}

var errIncomplete = errors.New("it ends within a message")

// A Splitter remembers the status byte that a message may leave out when the
// one before it had the same ("running status"). The zero value remembers none.
type Splitter struct {
	running byte
	msg     [3]byte
}

// Each calls send with every message of data in order, its status byte put back
// where it was left out. System exclusive is handed over in one piece, from F0
// to F7, and must be whole. The slice is only lent to send. It stops at the
// first error of send, or with an error of its own at the first byte that is
// not part of a whole message; what came before has been sent then.
func (s *Splitter) Each(data []byte, send func(msg []byte) error) error {
	for rest := data; len(rest) > 0; {
		msg, n, err := s.next(rest)
		if err != nil {
			return fmt.Errorf("% X is no MIDI to send: %w", data[:min(len(data), 16)], err)
		}
		if err := send(msg); err != nil {
			return err
		}
		rest = rest[n:]
	}
	return nil
}

// next is the first message of data and the number of bytes it took there.
func (s *Splitter) next(data []byte) (msg []byte, n int, err error) {
	status := data[0]
	args := data[1:]
	switch {
	case status == 0xF0:
		s.running = 0
		for i, b := range args {
			if b == 0xF7 {
				return data[:i+2], i + 2, nil
			}
			if b >= 0x80 {
				return nil, 0, fmt.Errorf("status byte %02X within system exclusive", b)
			}
		}
		return nil, 0, errors.New("system exclusive without its end, F7")
	case status < 0x80:
		if s.running == 0 {
			return nil, 0, fmt.Errorf("data byte %02X without a status byte", status)
		}
		status, args = s.running, data
	}
	size := Size(status)
	if size == 0 {
		return nil, 0, fmt.Errorf("status byte %02X stands for nothing", status)
	}
	if len(args) < size-1 {
		return nil, 0, errIncomplete
	}
	for _, b := range args[:size-1] {
		if b >= 0x80 {
			return nil, 0, errIncomplete
		}
	}
	switch {
	case status < 0xF0:
		s.running = status
	case status < 0xF8:
		s.running = 0 // real-time messages alone leave it as it was
	}
	s.msg[0] = status
	copy(s.msg[1:], args[:size-1])
	return s.msg[:size], len(data) - len(args) + size - 1, nil
}
