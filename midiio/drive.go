package midiio

import (
	"context"
	"errors"
	"math/bits"
	"runtime"
	"sync/atomic"
	"time"
)

// A Feed is what is played to a port: a Cursor or a Live.
type Feed interface {
	// Rate is the number of frames a second.
	Rate() int
	// Fill hands out every message with a frame before until that it has not
	// handed out yet, in order, and reports whether more will come.
	Fill(until int64, emit func(at int64, msg [3]byte)) (more bool)
	// Silence ends everything: a note-off for each note that sounds, then on
	// every channel used all notes off (CC 123) and all sound off (CC 120). The
	// feed is at its end afterwards.
	Silence(emit func(msg [3]byte))
}

// Why a port takes nothing more. What sends to a port wraps them, so that they
// end a sentence about it.
var (
	ErrPortGone  = errors.New("went away")
	ErrPortStuck = errors.New("does not take notes")
)

// A Clock is what a Driver waits on. Its moments only ever grow. Sleep and Until
// belong to one goroutine, Now to any.
type Clock interface {
	Now() time.Duration
	// Sleep returns at the moment t or a few milliseconds after, at once if t
	// has gone by, earlier with the context's error when that is done.
	Sleep(ctx context.Context, t time.Duration) error
	// Until is Sleep, but returns as close to t as can be, whatever that costs.
	Until(ctx context.Context, t time.Duration) error
}

const (
	// driveAhead is how far ahead of the clock a feed is filled at most, and so
	// how late an order may be obeyed.
	driveAhead = 5 * time.Millisecond
	// driveEarly is how long before the end of what was filled the driver wakes
	// up to fill on: longer than a sleep is too long on an idle machine (1.1 ms,
	// devices.md 11).
	driveEarly = 2 * time.Millisecond
	// driveStall is how late is too late to catch up.
	driveStall = 250 * time.Millisecond
	// driveRoom is how many messages there is room for within driveAhead.
	driveRoom = 1024
)

// A Driver plays a feed to a port. Each message is sent at its own moment,
// counted from the start, so that a late wake-up delays nothing after it.
//
// What is late by a moment is sent at once, in its order, and what follows is in
// time again. But after a stall of more than a quarter of a second (the machine
// has slept, the port has kept a message waiting) nobody wants the bars that
// were missed in one stroke: the music goes on where it stopped, as after a
// pause, and all that follows is later by the length of the stall.
//
// Frame, Obeyed and Lateness may be called from any goroutine at any time.
type Driver struct {
	feed    Feed
	rate    int64
	clock   Clock
	send    func(msg []byte) error
	collect func(at int64, msg [3]byte)
	batch   []dueMsg
	buf     [3]byte

	// What the port may have been sent, which may be less than what the feed has
	// handed out.
	sounds  [16][2]uint64                 // keys
	pedals  [16]bool                      // the sustain pedal is down
	used    [16]bool                      // channels with notes
	clocked bool                          // a follower runs by our MIDI clock
	asked   atomic.Pointer[chan struct{}] // by Hush

	begun   atomic.Bool
	start   atomic.Int64 // the moment of frame 0
	horizon atomic.Int64 // everything before it was or is being handed out
	late    lateCounts
}

type dueMsg struct {
	at  int64
	msg [3]byte
}

// NewDriver makes a driver of a feed whose rate is the resolution in time; 1e6,
// a microsecond, suits ports. A message given to send is good until it returns:
// its length is that of the wire.
func NewDriver(f Feed, clock Clock, send func(msg []byte) error) *Driver {
	d := &Driver{feed: f, rate: int64(f.Rate()), clock: clock, send: send, batch: make([]dueMsg, 0, driveRoom)}
	d.collect = func(at int64, m [3]byte) { d.batch = append(d.batch, dueMsg{at, m}) }
	return d
}

// Run plays, once. It returns nil when the practice is over: every note has had
// its note-off then, and the sounds may die away by themselves. It returns the
// error of send as it is when that fails, and ctx's error when ctx is done.
//
// Cut short, also by a panic, it silences before it returns: it stops the
// follower of its MIDI clock, ends each note it has begun, and sends what else
// the feed's Silence has. It gives that up at the first message that the port
// does not take.
//
// Run keeps to one thread of the system and, unless more than 1024 messages come
// within 5 ms, allocates nothing.
func (d *Driver) Run(ctx context.Context) error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	over := false
	defer func() {
		if !over {
			d.silence()
		}
	}()
	d.start.Store(int64(d.clock.Now()))
	d.begun.Store(true)
	step := max(d.rate*int64(driveAhead-driveEarly)/int64(time.Second), 1)
	for until := step; ; until += step {
		if err := d.obeyHush(); err != nil {
			return err
		}
		d.horizon.Store(until)
		d.batch = d.batch[:0]
		more := d.feed.Fill(until, d.collect)
		for i := range d.batch {
			if err := d.deliver(ctx, &d.batch[i]); err != nil {
				return err
			}
		}
		if !more {
			over = true
			return nil
		}
		end := d.moment(until)
		if err := d.clock.Sleep(ctx, end-driveEarly); err != nil {
			return err
		}
		d.stalled(d.clock.Now() - end)
	}
}

// deliver sends a message at its moment.
func (d *Driver) deliver(ctx context.Context, m *dueMsg) error {
	due := d.moment(m.at)
	if err := d.clock.Until(ctx, due); err != nil {
		return err
	}
	d.stalled(d.clock.Now() - due)
	if err := d.tell(m.msg); err != nil {
		return err
	}
	d.late.count(d.clock.Now() - due)
	return nil
}

// stalled moves what is to come when it is too late for it.
func (d *Driver) stalled(late time.Duration) {
	if late > driveStall {
		d.start.Add(int64(late))
		d.late.stalls.Add(1)
	}
}

// tell sends a message and takes note of what sounds by it. What begins
// something may have arrived although sending it has failed, or panicked; what
// ends something may not.
func (d *Driver) tell(m [3]byte) error {
	key, bit := &d.sounds[channel(m)][m[1]>>6&1], uint64(1)<<(m[1]&63)
	switch {
	case isOn(m):
		*key |= bit
		d.used[channel(m)] = true
	case m[0]&0xF0 == statusControl && m[1] == sustain && m[2] > 0:
		d.pedals[channel(m)] = true
	case m[0] == msgStart || m[0] == msgContinue:
		d.clocked = true
	}
	d.buf = m
	if err := d.send(d.buf[:wireLen(m[0])]); err != nil {
		return err
	}
	switch {
	case isOff(m):
		*key &^= bit
	case m[0]&0xF0 == statusControl && m[1] == sustain:
		d.pedals[channel(m)] = m[2] > 0
	case m[0] == msgStop:
		d.clocked = false
	}
	return nil
}

// Hush lets go of what sounds, for when nothing may sound for a while: each note
// gets its note-off, pedals are lifted, and each channel used is told all notes
// off (CC 123) and all sound off (CC 120). It goes on with what comes after. The
// channel is closed when that has been sent, within a few milliseconds while Run
// plays. Hush may be called from any goroutine; of two calls at once the later
// counts.
func (d *Driver) Hush() (sent <-chan struct{}) {
	done := make(chan struct{})
	d.asked.Store(&done)
	return done
}

func (d *Driver) obeyHush() error {
	done := d.asked.Swap(nil)
	if done == nil {
		return nil
	}
	var err error
	tell := d.untilRefused(&err)
	d.endNotes(tell)
	for ch, down := range d.pedals {
		if down {
			tell([3]byte{statusControl | byte(ch), sustain, 0})
		}
	}
	hush(&d.used, tell)
	close(*done)
	return err
}

// untilRefused is tell, which gives up at the first message that the port does
// not take.
func (d *Driver) untilRefused(err *error) func(m [3]byte) {
	return func(m [3]byte) {
		if *err == nil {
			*err = d.tell(m)
		}
	}
}

// endNotes ends each note that sounds.
func (d *Driver) endNotes(tell func(m [3]byte)) {
	for ch := range d.sounds {
		for i, set := range d.sounds[ch] {
			for ; set != 0; set &= set - 1 {
				tell(noteOff(ch, i<<6+bits.TrailingZeros64(set)))
			}
		}
	}
}

// silence ends what was begun. The feed may be ahead of what has been sent, so
// it is asked only for what it has beyond that.
func (d *Driver) silence() {
	var err error
	tell := d.untilRefused(&err)
	if d.clocked {
		tell([3]byte{msgStop})
	}
	d.endNotes(tell)
	d.feed.Silence(func(m [3]byte) {
		if !isOff(m) && m[0] != msgStop {
			tell(m)
		}
	})
}

// moment is when a frame is due.
func (d *Driver) moment(frame int64) time.Duration {
	const second = int64(time.Second)
	return time.Duration(d.start.Load() + frame/d.rate*second + frame%d.rate*second/d.rate)
}

// Frame is the frame that is due at this moment, which is what is heard: 0
// before Run, and never beyond what the feed was asked for.
func (d *Driver) Frame() int64 {
	if !d.begun.Load() {
		return 0
	}
	const second = int64(time.Second)
	at := max(int64(d.clock.Now())-d.start.Load(), 0)
	return min(at/second*d.rate+at%second*d.rate/second, d.horizon.Load())
}

// Obeyed is a frame from which on an order sent before the call is obeyed for
// sure.
func (d *Driver) Obeyed() int64 { return d.horizon.Load() }

// Lateness says how late the messages of a Driver were when the port had taken
// them, against the moments they were due at.
type Lateness struct {
	Count  int64 // messages
	Median time.Duration
	P99    time.Duration // 99 of 100 were not later
	Most   time.Duration
	Stalls int64 // how often the music had to be moved
}

// Lateness is up to now, in whole microseconds rounded up; Median and P99 in
// whole milliseconds where they are above 8 ms.
func (d *Driver) Lateness() Lateness { return d.late.sum() }

const (
	fineLate   = 8192 // buckets of a microsecond
	coarseLate = 1024 // buckets of a millisecond after them, up to a second
)

// lateCounts counts messages by how late they were; bucket k holds those above
// k-1 and up to k.
type lateCounts struct {
	fine   [fineLate + 1]atomic.Uint32
	coarse [coarseLate + 1]atomic.Uint32
	most   atomic.Int64
	stalls atomic.Int64
}

func (l *lateCounts) count(late time.Duration) {
	late = max(late, 0)
	if int64(late) > l.most.Load() { // one goroutine counts
		l.most.Store(int64(late))
	}
	if us := roundUp(late, time.Microsecond); us <= fineLate {
		l.fine[us].Add(1)
	} else {
		l.coarse[min(roundUp(late, time.Millisecond), coarseLate)].Add(1)
	}
}

func roundUp(d, unit time.Duration) int64 { return int64((d + unit - 1) / unit) }

func (l *lateCounts) sum() Lateness {
	s := Lateness{Stalls: l.stalls.Load(), Most: time.Duration(roundUp(time.Duration(l.most.Load()), time.Microsecond)) * time.Microsecond}
	each := func(yield func(late time.Duration, n int64)) {
		for k := range l.fine {
			yield(time.Duration(k)*time.Microsecond, int64(l.fine[k].Load()))
		}
		for k := range coarseLate {
			yield(time.Duration(k)*time.Millisecond, int64(l.coarse[k].Load()))
		}
		yield(s.Most, int64(l.coarse[coarseLate].Load()))
	}
	each(func(_ time.Duration, n int64) { s.Count += n })
	seen := int64(0)
	each(func(late time.Duration, n int64) {
		was := seen
		seen += n
		if half := (s.Count + 1) / 2; was < half && seen >= half {
			s.Median = min(late, s.Most)
		}
		if most := (s.Count*99 + 99) / 100; was < most && seen >= most {
			s.P99 = min(late, s.Most)
		}
	})
	return s
}

// SystemClock is real time, from its making on.
func SystemClock() Clock {
	c := &systemClock{start: time.Now(), timer: time.NewTimer(time.Hour)}
	c.timer.Stop()
	return c
}

type systemClock struct {
	start time.Time
	timer *time.Timer // one for all waits, so that none allocates
}

// spinFor is how much of a wait is not slept: about what a sleep is too long
// (devices.md 11).
const spinFor = time.Millisecond

func (c *systemClock) Now() time.Duration { return time.Since(c.start) }

func (c *systemClock) Sleep(ctx context.Context, t time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	wait := t - c.Now()
	if wait <= 0 {
		return nil
	}
	c.timer.Reset(wait)
	select {
	case <-ctx.Done():
		c.timer.Stop()
		return ctx.Err()
	case <-c.timer.C:
		return nil
	}
}

func (c *systemClock) Until(ctx context.Context, t time.Duration) error {
	if err := c.Sleep(ctx, t-spinFor); err != nil {
		return err
	}
	for c.Now() < t {
		select {
		case <-ctx.Done():
			return ctx.Err()
		default:
		}
	}
	return nil
}
