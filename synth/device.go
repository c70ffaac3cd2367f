package synth

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
)

// DefaultBuffer is the buffer to ask of OpenDevice: it holds out against a busy
// machine, and what is muted or stopped is silent within a tenth of a second.
const DefaultBuffer = 40 * time.Millisecond

// A Device is an open way to the loudspeakers, in stereo at a fixed rate.
type Device interface {
	// Rate is in frames a second.
	Rate() int
	// Start lets sound begin: render is called again and again, from a
	// goroutine of the device, for the next block of interleaved stereo. It
	// can be called once.
	Start(render func(out []float32)) error
	// Played is how many of the frames rendered have been heard, as well as
	// can be told.
	Played() int64
	// Underruns says how often sound had a hole because the machine was too
	// busy, and how long the holes were in all.
	Underruns() (n int, lost time.Duration)
	// Err gets one error when the device is lost or takes no more sound. After
	// it there is nothing to do but Close.
	Err() <-chan error
	// Close ends sound at once and never waits for a device that hangs.
	Close() error
}

// writeInstead is what a player can do while there is no sound.
const writeInstead = "or write a file: thumbline write --out x.wav"

var (
	errLost    = errors.New("the sound device went away (was it unplugged, or the sound server ended?)")
	errStalled = errors.New("the sound device takes no more sound (the sound server hangs: restart it)")
)

// OpenDevice opens the system's default sound output at rate frames a second
// (8000 to 192000) with a buffer of that length (5 ms to 1 s; 0 means
// DefaultBuffer). It makes no sound yet. The error is one sentence that says
// what is missing, why, how to get it and what works meanwhile.
func OpenDevice(rate int, buffer time.Duration) (Device, error) {
	if rate < 8000 || rate > 192000 {
		return nil, fmt.Errorf("synth: sample rate %d Hz is not between 8000 and 192000", rate)
	}
	if buffer == 0 {
		buffer = DefaultBuffer
	}
	if buffer < 5*time.Millisecond || buffer > time.Second {
		return nil, fmt.Errorf("synth: a buffer of %v is not between 5 ms and 1 s", buffer)
	}
	b, err := openBackend(rate, buffer)
	if err != nil {
		return nil, err
	}
	return newOutput(rate, buffer, b), nil
}

// Devices describes what sound there is on this machine, a line each, for a
// person to read. It opens nothing that is heard.
func Devices() []string { return listDevices() }

// A backend is the part of a device that differs from system to system.
type backend interface {
	// start begins to call fill, from one goroutine.
	start(fill func(out []float32)) error
	// failed is what the system reports as wrong, or nil. It is polled.
	failed() error
	// underflows counts holes the system itself reports.
	underflows() int
	// stop ends sound; it must not wait for the system.
	stop() error
}

// How the watchdog looks after a device.
const (
	watchEvery = 20 * time.Millisecond
	// stallAfter is twenty times the longest gap between two reads seen on a
	// busy machine with small buffers; a larger buffer is added to it.
	stallAfter = 250 * time.Millisecond
)

// An output is a backend with what all of them need: counting, and a watchdog,
// because a server may take a stream and never play it, and say nothing.
type output struct {
	rate   int
	buffer time.Duration
	back   backend
	err    chan error
	done   chan struct{}
	closed atomic.Bool
	once   sync.Once

	mu     sync.Mutex
	render func(out []float32)
	given  int64
	first  time.Time // of the first fill
	last   time.Time // of the last fill
	lead   leadMeter
}

func newOutput(rate int, buffer time.Duration, b backend) *output {
	return &output{rate: rate, buffer: buffer, back: b, err: make(chan error, 1), done: make(chan struct{})}
}

func (o *output) Rate() int { return o.rate }

func (o *output) Err() <-chan error { return o.err }

func (o *output) Start(render func(out []float32)) error {
	o.mu.Lock()
	if o.render != nil || o.closed.Load() {
		o.mu.Unlock()
		return errors.New("synth: a device is started once")
	}
	o.render = render
	o.last = time.Now()
	o.mu.Unlock()
	if err := o.back.start(o.fill); err != nil {
		return err
	}
	go o.watch()
	return nil
}

func (o *output) fill(out []float32) {
	if o.closed.Load() {
		clear(out)
		return
	}
	o.render(out)
	now := time.Now()
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.given == 0 {
		o.first = now
	}
	o.given += int64(len(out) / 2)
	o.last = now
	o.lead.note(now.Sub(o.first), o.duration(o.given))
}

func (o *output) duration(frames int64) time.Duration {
	return time.Duration(frames) * time.Second / time.Duration(o.rate)
}

// watch reports the first thing that goes wrong, once. What counts as silence
// is only the time in which this process itself ran: after a suspended laptop
// or a stopped process the device gets its chance to go on.
func (o *output) watch() {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	var silent time.Duration
	var seen int64
	before := time.Now()
	for {
		select {
		case <-o.done:
			return
		case <-tick.C:
		}
		if err := o.back.failed(); err != nil {
			o.report(err)
			return
		}
		now := time.Now()
		o.mu.Lock()
		given := o.given
		o.mu.Unlock()
		if given != seen {
			seen, silent = given, 0
		} else {
			silent += min(now.Sub(before), 2*watchEvery)
		}
		before = now
		if silent > stallAfter+o.buffer {
			o.report(errStalled)
			return
		}
	}
}

func (o *output) report(err error) {
	select {
	case <-o.done: // closing makes its own noise
	default:
		o.err <- err
	}
}

func (o *output) Played() int64 {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.given == 0 {
		return 0
	}
	// What was asked for last fills the buffer; since then it has run down.
	behind := o.buffer - time.Since(o.last)
	frames := int64(behind) * int64(o.rate) / int64(time.Second)
	return min(max(o.given-frames, 0), o.given)
}

func (o *output) Underruns() (int, time.Duration) {
	o.mu.Lock()
	n, lost := o.lead.holes, o.lead.lost
	o.mu.Unlock()
	return max(n, o.back.underflows()), lost
}

func (o *output) Close() (err error) {
	o.once.Do(func() {
		o.closed.Store(true)
		close(o.done)
		err = o.back.stop()
	})
	return err
}

// A leadMeter finds holes by how far what was given is ahead of the clock: a
// hole lowers that for good by its own length, while a late read lowers it for
// a moment only. So the best lead of each second is compared with that of the
// second before.
type leadMeter struct {
	best, before time.Duration
	until        time.Duration
	windows      int
	holes        int
	lost         time.Duration
}

const (
	leadWindow = time.Second
	leadStep   = 5 * time.Millisecond // less than that is the clocks' own drift
)

func (l *leadMeter) note(elapsed, given time.Duration) {
	lead := given - elapsed
	if elapsed >= l.until {
		if l.windows > 1 && l.before-l.best > leadStep {
			l.holes++
			l.lost += l.before - l.best
		}
		if l.windows > 0 {
			l.before = l.best
		}
		l.windows++
		l.until = elapsed + leadWindow
		l.best = lead
	}
	l.best = max(l.best, lead)
}

// Play plays e through d until nothing is left to sound, then lets the device
// play out what it holds. When ctx ends, the sound is faded out within a moment
// and Play returns ctx's cause. It does not close d.
func Play(ctx context.Context, d Device, e *Engine, buffer time.Duration) error {
	if d.Rate() != e.Rate() {
		return fmt.Errorf("synth: the device runs at %d Hz, the strings at %d", d.Rate(), e.Rate())
	}
	if err := d.Start(e.Render); err != nil {
		return err
	}
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	done := ctx.Done()
	for !e.Idle() {
		select {
		case err := <-d.Err():
			return err
		case <-done:
			e.FadeOut()
			done = nil
		case <-tick.C:
		}
	}
	// The last frames are still on their way: leaving now would cut them.
	rest := time.NewTimer(buffer + 100*time.Millisecond)
	defer rest.Stop()
	select {
	case err := <-d.Err():
		return err
	case <-rest.C:
	}
	return context.Cause(ctx)
}
