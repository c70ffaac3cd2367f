package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync/atomic"
	"time"

	"thumbline/midiio"
	"thumbline/synth"
)

// An outlet is where what is played goes: the built-in strings, or a MIDI port.
// load comes first and once; heard, obeyed and notice may then be asked for while
// it runs.
type outlet interface {
	// load takes what is to be played. Gentle asks for a soft beginning, where
	// there can be one.
	load(f midiio.Feed, gentle bool)
	// run plays to the end, or until ctx ends, and says what went wrong if not
	// that.
	run(ctx context.Context) error
	// heard is the frame that is heard at this moment.
	heard() int64
	// obeyed is a frame from which on an order sent just now is obeyed for sure.
	obeyed() int64
	// notice is what is wrong at this moment and yet no reason to stop, empty for
	// nothing. It belongs to the goroutine that shows it.
	notice() string
	// lost is an error of run as a player is told it; bar is where, or empty.
	lost(err error, bar string) error
	// tell says what there is to say when all is over.
	tell(w io.Writer)
	// close ends what runs still and waits for it, but not for what hangs.
	close()
}

// An opening is an outlet that opens while there is other work to do.
type opening interface {
	// take waits for it and makes it ready for what p is.
	take(ctx context.Context, p *playing) (outlet, error)
	// drop closes it when it is open, and does not wait for that.
	drop()
}

// A builtIn outlet is the built-in strings on a sound device.
type builtIn struct {
	device synth.Device
	engine *synth.Engine
	soften func(rate int, render func(out []float32)) func(out []float32)
	given  atomic.Int64 // frames rendered
	block  atomic.Int64 // the largest, frames
	faults chan error   // of the rendering
	holes  int          // in the sound, as far as was looked
	holed  int64        // frames rendered when the last one was seen
}

func (b *builtIn) load(f midiio.Feed, gentle bool) {
	b.engine.SetFeeder(f)
	if gentle {
		b.soften = gently
	}
}

func (b *builtIn) run(ctx context.Context) error {
	over := make(chan struct{})
	defer close(over)
	b.faults = make(chan error, 2)
	go func() {
		select {
		case err := <-b.device.Err():
			b.faults <- err
		case <-over:
		}
	}()
	return synth.Play(ctx, counted{b.device, b}, b.engine, synth.DefaultBuffer)
}

func (b *builtIn) heard() int64 { return b.device.Played() }

// obeyed counts on an engine to look two quanta of 64 frames ahead, and on a block
// to be under way.
func (b *builtIn) obeyed() int64 { return b.given.Load() + b.block.Load() + 2*64 }

// noticeFor is how long an interruption is told: about the last passes.
const noticeFor = 10 // seconds

func (b *builtIn) notice() string {
	if n := b.device.Notice(); n != "" {
		return n
	}
	given := b.given.Load()
	if n := b.interrupted(); n > b.holes {
		b.holed = given
		b.holes = n
	}
	if b.holes > 0 && given-b.holed < noticeFor*int64(b.device.Rate()) {
		return "The sound is interrupted: the machine is too busy. Closing other programs helps."
	}
	return ""
}

// interrupted is how often it was. A server may count an interruption that nobody
// could hear.
func (b *builtIn) interrupted() int {
	n, lost := b.device.Underruns()
	if lost < time.Millisecond {
		return 0
	}
	return n
}

func (b *builtIn) lost(err error, bar string) error {
	if bar == "" || errors.As(err, new(fault)) {
		return err
	}
	return fmt.Errorf("at bar %s: %w", bar, err)
}

// tell tells once more, when the page has gone, what was wrong with the sound.
func (b *builtIn) tell(w io.Writer) {
	if n := b.device.Notice(); n != "" {
		fmt.Fprintln(w, n)
	}
	if n := b.interrupted(); n > 0 {
		_, lost := b.device.Underruns()
		fmt.Fprintf(w, "The sound was interrupted %s, %d ms in all: the machine was too busy.\n", times(n), lost.Milliseconds())
	}
}

func (b *builtIn) close() { b.device.Close() }

// A counted device tells its outlet how much was rendered for it, and has the
// faults of that among its errors.
type counted struct {
	synth.Device
	out *builtIn
}

func (c counted) Err() <-chan error { return c.out.faults }

func (c counted) Start(render func(out []float32)) error {
	if c.out.soften != nil {
		render = c.out.soften(c.Rate(), render)
	}
	return c.Device.Start(c.out.rendering(render))
}

// rendering is what a device calls: after a fault nothing but silence.
func (b *builtIn) rendering(render func(out []float32)) func(out []float32) {
	broken := false
	return func(out []float32) {
		if broken {
			clear(out)
			return
		}
		n := int64(len(out) / 2)
		if n > b.block.Load() {
			b.block.Store(n)
		}
		if err := guarded(func() error { render(out); return nil }); err != nil {
			broken = true
			clear(out)
			b.faults <- err
			return
		}
		b.given.Add(n)
	}
}

const (
	gentleTime = 3 * time.Second
	gentleGain = 0.25 // -12 dB
)

// gently begins softly, so that nothing is loud before a hand can reach the
// volume.
func gently(rate int, render func(out []float32)) func(out []float32) {
	whole, given := float64(rate)*gentleTime.Seconds(), int64(0)
	return func(out []float32) {
		render(out)
		for i := 0; i+1 < len(out) && float64(given) < whole; i += 2 {
			x := float32(math.Pow(gentleGain, 1-float64(given)/whole))
			out[i] *= x
			out[i+1] *= x
			given++
		}
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// A deviceOpening is a sound device on its way.
type deviceOpening struct{ got chan openedDevice }

type openedDevice struct {
	device synth.Device
	err    error
}

// openEarly begins to open the sound at the rate that engines have by themselves.
func openEarly(s sound) deviceOpening {
	o := deviceOpening{make(chan openedDevice, 1)}
	go func() {
		d, err := s.open(synth.DefaultRate, synth.DefaultBuffer)
		o.got <- openedDevice{d, err}
	}()
	return o
}

func (o deviceOpening) take(ctx context.Context, p *playing) (outlet, error) {
	engine, err := p.h.engine(p.a)
	if err != nil {
		o.drop()
		return nil, err
	}
	var got openedDevice
	select {
	case got = <-o.got:
	case <-ctx.Done():
		o.drop()
		return nil, errInterrupted
	}
	if got.err == nil && got.device.Rate() != engine.Rate() {
		got.device.Close()
		return nil, fmt.Errorf("the sound device runs at %d Hz, the strings at %d", got.device.Rate(), engine.Rate())
	}
	if got.err != nil {
		return nil, got.err
	}
	return &builtIn{device: got.device, engine: engine}, nil
}

func (o deviceOpening) drop() {
	go func() {
		if got := <-o.got; got.err == nil {
			got.device.Close()
		}
	}()
}
