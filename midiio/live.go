package midiio

import (
	"math"
	"slices"
	"sync"
	"time"
)

// A LiveNote is a note to be struck now, or a little later.
type LiveNote struct {
	Channel  int           // 0 to 15
	Key      int           // 0 to 127
	Velocity int           // 1 to 127
	Delay    time.Duration // from the moment it is taken; below 0 is 0
}

// A Live feeds a synthesizer or a port without a time line: notes as the player
// asks for them. A channel sounds one note, as a string does: the next one
// struck on it ends it. Strike, Silence and Stop may be called from any
// goroutine and are taken, in their order, at the next call of Fill, which
// belongs to one goroutine and allocates nothing.
type Live struct {
	rate int64

	mu    sync.Mutex
	asked []asked // waiting for Fill

	taken   []asked // of Fill, for a moment
	pending []liveDue
	now     int64
	sounds  [16]int16 // key on each channel, -1 for none
	done    bool
}

// LiveRoom is how many notes, silences and stops may wait for Fill.
const LiveRoom = 64

type askedKind uint8

const (
	askFirst askedKind = iota // the first note of a strike
	askNote                   // the others
	askSilence
	askStop
)

type asked struct {
	kind askedKind
	note LiveNote
}

type liveDue struct {
	at  int64
	msg [3]byte
}

// NewLive is silent, at rate frames a second, above 0.
func NewLive(rate int) *Live {
	l := &Live{rate: int64(rate), asked: make([]asked, 0, LiveRoom), taken: make([]asked, 0, LiveRoom), pending: make([]liveDue, 0, LiveRoom)}
	for i := range l.sounds {
		l.sounds[i] = -1
	}
	return l
}

// Strike sounds the notes. What an earlier Strike has delayed and is not heard
// yet is dropped; what rings on other channels rings on. Notes outside their
// ranges are left out. It reports false, and sounds none, when more wait than
// LiveRoom.
func (l *Live) Strike(notes []LiveNote) (ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	was := len(l.asked)
	kind := askFirst
	for _, n := range notes {
		if n.Channel < 0 || n.Channel > 15 || n.Key < 0 || n.Key > 127 || n.Velocity < 1 || n.Velocity > 127 {
			continue
		}
		if len(l.asked) == LiveRoom {
			l.asked = l.asked[:was]
			return false
		}
		l.asked = append(l.asked, asked{kind, n})
		kind = askNote
	}
	return true
}

// Silence ends what sounds and drops what is to come. It always has room: what
// waits unheard is dropped with the rest.
func (l *Live) Silence() { l.end(askSilence) }

// Stop is Silence, after which Fill says that no more will come.
func (l *Live) Stop() { l.end(askStop) }

func (l *Live) end(k askedKind) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.asked) > 0 && l.asked[0].kind == askStop {
		return
	}
	l.asked = append(l.asked[:0], asked{kind: k})
}

// Fill hands out what is due before the frame until, in order, as
// synth.Feeder and Cursor have it. What has been asked for since the last call
// comes at the first frame of this one.
func (l *Live) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	if l.done || l.now >= until {
		return !l.done
	}
	l.mu.Lock()
	l.taken = append(l.taken[:0], l.asked...)
	l.asked = l.asked[:0]
	l.mu.Unlock()
	for _, a := range l.taken {
		switch a.kind {
		case askSilence, askStop:
			l.pending = l.pending[:0]
			for ch := range l.sounds {
				l.damp(l.now, ch, emit)
			}
			if l.done = a.kind == askStop; l.done {
				return false
			}
			continue
		case askFirst:
			l.pending = l.pending[:0]
		}
		l.pending = append(l.pending, liveDue{l.now + l.frames(a.note.Delay), noteOn(a.note.Channel, a.note.Key, a.note.Velocity)})
	}
	slices.SortStableFunc(l.pending, func(a, b liveDue) int { return int(a.at - b.at) })
	n := 0
	for n < len(l.pending) && l.pending[n].at < until {
		d := l.pending[n]
		ch := channel(d.msg)
		l.damp(d.at, ch, emit)
		l.sounds[ch] = int16(d.msg[1])
		emit(d.at, d.msg)
		n++
	}
	l.pending = slices.Delete(l.pending, 0, n)
	l.now = until
	return true
}

// damp ends what sounds on a channel.
func (l *Live) damp(at int64, ch int, emit func(int64, [3]byte)) {
	if k := l.sounds[ch]; k >= 0 {
		emit(at, noteOff(ch, int(k)))
		l.sounds[ch] = -1
	}
}

func (l *Live) frames(d time.Duration) int64 {
	return int64(math.Round(max(d, 0).Seconds() * float64(l.rate)))
}
