package synth

import (
	"context"
	"errors"
	"fmt"
	"math"
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
	// Notice is one sentence on what is wrong and yet no reason to stop, such as
	// a device that plays at another rate than it was asked for; empty while
	// there is nothing to say. It takes seconds to find out, so ask now and
	// then.
	Notice() string
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
	// held is how much sound there is between fill and the ear just after a fill.
	held() time.Duration
	// underflows counts holes the system itself reports.
	underflows() int
	// stop ends sound; it must not wait for the system.
	stop() error
}

// How the watchdog looks after a device.
const (
	watchEvery = 20 * time.Millisecond
	// stallAfter is more than any gap between two reads while a server still
	// lives, even one that other work keeps from running; the buffer is added to
	// it. A player should be told within a second.
	stallAfter = 800 * time.Millisecond
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
	busy   time.Duration
	lead   leadMeter
}

func newOutput(rate int, buffer time.Duration, b backend) *output {
	return &output{
		rate: rate, buffer: buffer, back: b, err: make(chan error, 1), done: make(chan struct{}),
		lead: leadMeter{rate: float64(rate)},
	}
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

// fill is the whole of what a device calls: nothing in it allocates or waits.
func (o *output) fill(out []float32) {
	if o.closed.Load() {
		clear(out)
		return
	}
	from := time.Now()
	o.render(out)
	now := time.Now()
	holes := o.back.underflows()
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.given == 0 {
		o.first = now
	}
	o.given += int64(len(out) / 2)
	o.last = now
	o.busy += now.Sub(from)
	o.lead.note(now.Sub(o.first), o.busy, o.given, holes)
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
	behind := o.back.held() - time.Since(o.last)
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

func (o *output) Notice() string {
	o.mu.Lock()
	rate := o.lead.rate
	o.mu.Unlock()
	if rate == float64(o.rate) {
		return ""
	}
	return fmt.Sprintf("the sound device runs at %.0f Hz, not %d: all is %s (let it run at %d, or use a sound server)",
		rate, o.rate, wrongPitch(rate/float64(o.rate)), o.rate)
}

// wrongPitch says what a device does that plays at so many times the rate.
func wrongPitch(factor float64) string {
	semitones := math.Abs(12 * math.Log2(factor))
	how := "slower and flat"
	if factor > 1 {
		how = "faster and sharp"
	}
	if semitones < 1 {
		return fmt.Sprintf("%s by %.0f cents", how, 100*semitones)
	}
	return fmt.Sprintf("%s by %.1f semitones", how, semitones)
}

// A leadMeter tells holes and a wrong rate by how far what was given is ahead
// of the clock. A late read lowers that for a moment only, so the best lead of
// each half second is compared with that of the one before. A hole lowers it once
// and for good, by its own length; a device at another rate by the same amount
// each time, up or down.
type leadMeter struct {
	rate  float64 // frames a second that the device plays, as far as is known
	best  time.Duration
	until time.Duration
	n     int // windows that have ended
	past  [leadSteps + 1]leadWindow

	holes int
	lost  time.Duration
}

// A leadWindow is what was known when a window ended.
type leadWindow struct {
	best       time.Duration
	busy       time.Duration // spent on making sound, up to its end
	underflows int           // told by the system
	holes      int           // before it
	lost       time.Duration
}

const (
	leadFirst = 250 * time.Millisecond // the buffer fills
	leadEvery = 500 * time.Millisecond
	leadStep  = 5 * time.Millisecond // less than that is the clocks' own drift
	// leadSteps windows in a row that agree within leadSame and half of what
	// they are off, and are off by leadRate of their length at least, tell
	// another rate. Clocks of sound cards differ by a thousandth, the rates
	// there are by a twelfth or more.
	leadSteps = 6
	leadSame  = 8 * time.Millisecond
	leadRate  = 0.02
)

// note takes the frames given up to elapsed after the first of them, the time
// that making all of them took, and the holes that the system tells of.
func (l *leadMeter) note(elapsed, busy time.Duration, given int64, underflows int) {
	lead := time.Duration(float64(given)/l.rate*float64(time.Second)) - elapsed
	switch {
	case l.until == 0:
		l.until, l.best = leadFirst, lead
	case elapsed >= l.until:
		l.window(busy, underflows)
		if l.until += leadEvery; l.until <= elapsed {
			l.until = elapsed + leadEvery
		}
		l.best = lead
	default:
		l.best = max(l.best, lead)
	}
}

// window compares the half second that has ended with those before it.
func (l *leadMeter) window(busy time.Duration, underflows int) {
	copy(l.past[:], l.past[1:])
	l.past[leadSteps] = leadWindow{l.best, busy, underflows, l.holes, l.lost}
	l.n++
	// The first window is that in which the buffer fills.
	if l.n < 3 {
		return
	}
	if down := l.past[leadSteps-1].best - l.best; down > leadStep {
		l.holes++
		l.lost += down
	}
	if l.n < leadSteps+2 {
		return
	}
	first, last := l.past[0], l.past[leadSteps]
	whole := last.best - first.best
	step := whole / leadSteps
	if step.Abs() < time.Duration(leadRate*float64(leadEvery)) {
		return
	}
	for i, w := range l.past[1:] {
		if (w.best - l.past[i].best - step).Abs() > min(leadSame, step.Abs()/2) {
			return
		}
	}
	// Whatever takes most of the time to make, or comes with holes, falls back
	// by itself.
	if last.busy-first.busy > leadSteps*leadEvery/2 || last.underflows > first.underflows {
		return
	}
	l.rate = standardRate(l.rate * (1 + step.Seconds()/leadEvery.Seconds()))
	// What looked like holes was none; the lead is counted anew.
	*l = leadMeter{rate: l.rate, holes: first.holes, lost: first.lost}
}

// standardRate is the rate that a device was measured to have: one of those
// there are when it is that within a hundredth.
func standardRate(rate float64) float64 {
	for _, r := range [...]float64{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 64000, 88200, 96000, 176400, 192000} {
		if math.Abs(rate-r) < 0.01*r {
			return r
		}
	}
	return math.Round(rate/100) * 100
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
