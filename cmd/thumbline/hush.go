package main

import (
	mathbits "math/bits"
	"sync/atomic"

	"thumbline/midiio"
)

// A hushable feed can be asked to let go of all that sounds, and goes on with what
// comes after.
type hushable struct {
	midiio.Feed
	asked  atomic.Pointer[chan struct{}]
	sent   *chan struct{}              // closed with the next Fill: all of this one has been sent then
	emit   func(at int64, msg [3]byte) // of the Fill that runs
	track  func(at int64, msg [3]byte)
	now    int64 // all before it has been handed out
	sounds [16][2]uint64
	used   [16]bool // channels
	pedal  [16]byte // where the sustain pedals stand
}

func newHushable(f midiio.Feed) *hushable {
	h := &hushable{Feed: f}
	h.track = func(at int64, m [3]byte) {
		h.emit(at, m)
		if m[0] >= 0xF0 {
			return
		}
		ch, set, key := m[0]&15, &h.sounds[m[0]&15][m[1]>>6&1], uint64(1)<<(m[1]&63)
		h.used[ch] = true
		switch {
		case m[0]&0xF0 == control && m[1] == sustain:
			h.pedal[ch] = m[2]
		case m[0]&0xF0 == noteOn && m[2] > 0:
			*set |= key
		case m[0]&0xF0 == noteOn || m[0]&0xF0 == noteOff:
			*set &^= key
		}
	}
	return h
}

// hush asks for it. It is done with the next Fill, and sent when the channel is
// closed.
func (h *hushable) hush() <-chan struct{} {
	sent := make(chan struct{})
	h.asked.Store(&sent)
	return sent
}

func (h *hushable) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	if h.sent != nil {
		close(*h.sent)
	}
	if h.sent = h.asked.Swap(nil); h.sent != nil {
		for ch := range h.sounds {
			for i, set := range h.sounds[ch] {
				for ; set != 0; set &= set - 1 {
					emit(h.now, [3]byte{noteOff | byte(ch), byte(i<<6 + mathbits.TrailingZeros64(set)), 64})
				}
				h.sounds[ch][i] = 0
			}
			if h.pedal[ch] > 0 {
				emit(h.now, [3]byte{control | byte(ch), sustain, 0})
				h.pedal[ch] = 0
			}
			if h.used[ch] {
				emit(h.now, [3]byte{control | byte(ch), allNotesOff, 0})
				emit(h.now, [3]byte{control | byte(ch), allSoundOff, 0})
			}
		}
	}
	h.emit = emit
	more = h.Feed.Fill(until, h.track)
	h.now = until
	return more
}
