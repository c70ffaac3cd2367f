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
// struck on it ends it. Strike may be called from any goroutine; strikes are
// taken, in their order, at the next call of Fill. Fill and Silence belong to
// one goroutine; Fill allocates nothing.
type Live struct {
	rate int64

	mu    sync.Mutex
	asked []asked // waiting for Fill

	taken   []asked // of Fill, for a moment
	pending []dueMsg
	now     int64
	sounds  [16]int16 // key on each channel, -1 for none
	used    [16]bool  // channels
	done    bool
}

// LiveRoom is how many notes may wait for Fill.
const LiveRoom = 64

type asked struct {
	first bool // of a strike
	note  LiveNote
}

// NewLive is silent, at rate frames a second, above 0.
func NewLive(rate int) *Live {
	l := &Live{rate: int64(rate), asked: make([]asked, 0, LiveRoom), taken: make([]asked, 0, LiveRoom), pending: make([]dueMsg, 0, LiveRoom)}
	for i := range l.sounds {
		l.sounds[i] = -1
	}
	return l
}

// Rate is the number of frames a second.
func (l *Live) Rate() int { return int(l.rate) }

// Strike sounds the notes. What an earlier Strike has delayed and is not heard
// yet is dropped; what rings on other channels rings on. Notes outside their
// ranges are left out. It reports false, and sounds none, when more wait than
// LiveRoom.
func (l *Live) Strike(notes []LiveNote) (ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	was := len(l.asked)
	first := true
	for _, n := range notes {
		if n.Channel < 0 || n.Channel > 15 || n.Key < 0 || n.Key > 127 || n.Velocity < 1 || n.Velocity > 127 {
			continue
		}
		if len(l.asked) == LiveRoom {
			l.asked = l.asked[:was]
			return false
		}
		l.asked = append(l.asked, asked{first, n})
		first = false
	}
	return true
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
		if a.first {
			l.pending = l.pending[:0]
		}
		l.pending = append(l.pending, dueMsg{l.now + l.frames(a.note.Delay), noteOn(a.note.Channel, a.note.Key, a.note.Velocity)})
	}
	slices.SortStableFunc(l.pending, func(a, b dueMsg) int { return int(a.at - b.at) })
	n := 0
	for n < len(l.pending) && l.pending[n].at < until {
		d := l.pending[n]
		ch := channel(d.msg)
		l.damp(d.at, ch, emit)
		l.sounds[ch] = int16(d.msg[1])
		l.used[ch] = true
		emit(d.at, d.msg)
		n++
	}
	l.pending = slices.Delete(l.pending, 0, n)
	l.now = until
	return true
}

// Silence ends everything and drops what is to come: a note-off for each note
// that sounds, then all notes off (CC 123) and all sound off (CC 120) on every
// channel that has sounded. More will not come.
func (l *Live) Silence(emit func(msg [3]byte)) {
	for ch := range l.sounds {
		l.damp(l.now, ch, func(_ int64, m [3]byte) { emit(m) })
	}
	hush(&l.used, emit)
	l.pending = l.pending[:0]
	l.done = true
}

// hush tells channels that nothing sounds.
func hush(used *[16]bool, emit func(msg [3]byte)) {
	for ch, u := range used {
		if u {
			emit([3]byte{statusControl | byte(ch), allNotesOff, 0})
			emit([3]byte{statusControl | byte(ch), allSoundOff, 0})
		}
	}
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
