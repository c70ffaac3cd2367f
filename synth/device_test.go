package synth

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// A fake plays into nothing by the clock of the test: it asks for 10 ms every
// 10 ms, hangs or fails when it is told to.
type fake struct {
	rate   int
	hang   atomic.Bool
	fail   atomic.Pointer[error]
	stops  atomic.Int32
	done   chan struct{}
	frames atomic.Int64
	loud   atomic.Int64 // last frame that was not zero
}

func newFake(rate int) *fake { return &fake{rate: rate, done: make(chan struct{})} }

func (f *fake) start(fill func([]float32)) error {
	go func() {
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		b := make([]float32, 2*f.rate/100)
		for {
			select {
			case <-f.done:
				return
			case <-tick.C:
			}
			if f.hang.Load() || f.fail.Load() != nil {
				continue
			}
			fill(b)
			for i, v := range b {
				if v != 0 {
					f.loud.Store(f.frames.Load() + int64(i/2))
				}
			}
			f.frames.Add(int64(len(b) / 2))
		}
	}()
	return nil
}

func (f *fake) failed() error {
	if e := f.fail.Load(); e != nil {
		return *e
	}
	return nil
}

func (f *fake) held() time.Duration { return 40 * time.Millisecond }

func (f *fake) underflows() int { return 0 }

func (f *fake) stop() error {
	f.stops.Add(1)
	close(f.done)
	return nil
}

// A device that hangs, at once or later, is noticed within the limit and once;
// closing it does not wait.
func TestWatchdog(t *testing.T) {
	for _, after := range []time.Duration{0, time.Second} {
		synctest.Test(t, func(t *testing.T) {
			f := newFake(48000)
			d := newOutput(48000, 40*time.Millisecond, f)
			f.hang.Store(after == 0)
			if err := d.Start(func(b []float32) { clear(b) }); err != nil {
				t.Fatal(err)
			}
			if err := d.Start(nil); err == nil {
				t.Error("started twice")
			}
			time.Sleep(after)
			select {
			case err := <-d.Err():
				t.Fatalf("a healthy device was given up: %v", err)
			default:
			}
			f.hang.Store(true)
			from := time.Now()
			if err := <-d.Err(); !errors.Is(err, errStalled) {
				t.Errorf("error %v", err)
			}
			if took := time.Since(from); took < stallAfter || took > 900*time.Millisecond {
				t.Errorf("noticed after %v", took)
			}
			time.Sleep(time.Second)
			if len(d.Err()) != 0 {
				t.Error("a second error")
			}
			d.Close()
			d.Close()
			if f.stops.Load() != 1 {
				t.Errorf("stopped %d times", f.stops.Load())
			}
		})
	}
}

func TestLostDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake(48000)
		d := newOutput(48000, 40*time.Millisecond, f)
		if err := d.Start(func(b []float32) { clear(b) }); err != nil {
			t.Fatal(err)
		}
		time.Sleep(500 * time.Millisecond)
		from := time.Now()
		f.fail.Store(&errLost)
		if err := <-d.Err(); !errors.Is(err, errLost) {
			t.Errorf("error %v", err)
		}
		if took := time.Since(from); took > 2*watchEvery {
			t.Errorf("noticed after %v", took)
		}
		d.Close()
	})
}

// Play ends when the piece does and what the device holds is out, and on the
// context's end within a moment.
func TestPlay(t *testing.T) {
	open := func() (*fake, *output, *Engine) {
		f := newFake(48000)
		e, err := NewEngine(Options{})
		if err != nil {
			t.Fatal(err)
		}
		return f, newOutput(48000, 40*time.Millisecond, f), e
	}
	synctest.Test(t, func(t *testing.T) {
		f, d, e := open()
		defer d.Close()
		e.SetFeeder(sorted([]event{{0, on(0, 64, 100)}, {24000, off(0, 64, 64)}}))
		if err := Play(context.Background(), d, e, 40*time.Millisecond); err != nil {
			t.Error(err)
		}
		synctest.Wait() // for the block that the device takes at the moment Play returns
		if f.loud.Load() < 24000 {
			t.Errorf("the last sound was at frame %d", f.loud.Load())
		}
		if rest := f.frames.Load() - f.loud.Load(); rest < 48*140 {
			t.Errorf("only %d frames of silence at the end", rest)
		}
		if p := d.Played(); p < f.loud.Load() || p > f.frames.Load() {
			t.Errorf("played %d of %d", p, f.frames.Load())
		}
		if n, lost := d.Underruns(); n != 0 || lost != 0 {
			t.Errorf("%d under-runs, %v", n, lost)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		f, d, e := open()
		defer d.Close()
		e.SetFeeder(sorted([]event{{0, on(5, 40, 100)}, {1 << 40, on(0, 64, 100)}}))
		ctx, cancel := context.WithCancelCause(context.Background())
		enough := errors.New("enough")
		time.AfterFunc(time.Second, func() { cancel(enough) })
		from := time.Now()
		if err := Play(ctx, d, e, 40*time.Millisecond); !errors.Is(err, enough) {
			t.Errorf("error %v", err)
		}
		if took := time.Since(from); took > 1300*time.Millisecond {
			t.Errorf("stopped %v after it was told", took-time.Second)
		}
		if f.loud.Load() > 48*1040 {
			t.Errorf("sound until frame %d after a stop at 48000", f.loud.Load())
		}
	})
	synctest.Test(t, func(t *testing.T) {
		f, d, e := open()
		defer d.Close()
		e.SetFeeder(sorted([]event{{0, on(5, 40, 100)}, {1 << 40, on(0, 64, 100)}}))
		time.AfterFunc(time.Second, func() { f.hang.Store(true) })
		if err := Play(context.Background(), d, e, 40*time.Millisecond); !errors.Is(err, errStalled) {
			t.Errorf("error %v", err)
		}
	})
	_, d, _ := open()
	e, _ := NewEngine(Options{Rate: 44100})
	if err := Play(context.Background(), d, e, 0); err == nil {
		t.Error("44100 Hz played at 48000")
	}
}

// Holes lower the lead for good; a late read does not.
func TestLeadMeter(t *testing.T) {
	l := leadMeter{rate: 48000}
	elapsed, given := time.Duration(0), int64(0)
	for i := range 1000 {
		elapsed += 10 * time.Millisecond
		given += 480
		jitter := time.Duration(i%7) * time.Millisecond
		switch i {
		case 300:
			elapsed += 41 * time.Millisecond // a hole
		case 500:
			jitter = 300 * time.Millisecond // one late read
		case 700, 701:
			elapsed += 20 * time.Millisecond // two more, in one second
		}
		l.note(elapsed+jitter, 0, given, 0)
	}
	if l.holes < 2 || l.holes > 4 || (l.lost-81*time.Millisecond).Abs() > 8*time.Millisecond {
		t.Errorf("%d holes, %v; want 2 or 3, 81 ms", l.holes, l.lost)
	}
	if l.rate != 48000 {
		t.Errorf("holes were taken for a rate of %g Hz", l.rate)
	}
}

// What is no other rate: holes that the system tells of, even ones, and sound
// that takes most of the time to make.
func TestLeadMeterNoRate(t *testing.T) {
	for _, c := range []struct {
		what  string
		every int // a hole of 30 ms each so many reads of 10 ms
		busy  time.Duration
		told  bool
	}{
		{"told", 100, 0, true},
		{"busy", 100, 6 * time.Millisecond, false},
		{"uneven", 130, 0, false},
	} {
		l := leadMeter{rate: 48000}
		elapsed, busy, given, told := time.Duration(0), time.Duration(0), int64(0), 0
		for i := range 2000 {
			elapsed += 10 * time.Millisecond
			busy += c.busy
			if given += 480; i%c.every == c.every-1 {
				elapsed += 30 * time.Millisecond
				if c.told {
					told++
				}
			}
			l.note(elapsed, busy, given, told)
		}
		if want := 2000 / c.every; l.rate != 48000 || l.holes < want*2/3 || l.lost < time.Duration(want-4)*30*time.Millisecond {
			t.Errorf("%s: %g Hz, %d holes, %v", c.what, l.rate, l.holes, l.lost)
		}
	}
}

// A device that plays at another rate than it was asked for is told within
// five seconds, by the rate that it has; no hole is counted for it, while one
// that comes later is.
func TestWrongRate(t *testing.T) {
	for _, c := range []struct {
		asked, plays int
		want         string
	}{
		{48000, 48000, ""},
		{48000, 44100, "the sound device runs at 44100 Hz, not 48000: all is slower and flat by 1.5 semitones"},
		{44100, 48000, "the sound device runs at 48000 Hz, not 44100: all is faster and sharp by 1.5 semitones"},
		{48000, 96000, "the sound device runs at 96000 Hz, not 48000: all is faster and sharp by 12.0 semitones"},
		{48000, 46000, "the sound device runs at 46000 Hz, not 48000: all is slower and flat by 74 cents"},
		{48000, 47900, ""},
	} {
		synctest.Test(t, func(t *testing.T) {
			f := newFake(c.plays)
			d := newOutput(c.asked, 40*time.Millisecond, f)
			defer d.Close()
			if err := d.Start(func(b []float32) { clear(b) }); err != nil {
				t.Fatal(err)
			}
			time.Sleep(2 * time.Second)
			if s := d.Notice(); s != "" {
				t.Errorf("%d for %d Hz: %q after two seconds", c.plays, c.asked, s)
			}
			time.Sleep(3 * time.Second)
			if s := d.Notice(); !strings.HasPrefix(s, c.want) || (s == "") != (c.want == "") || strings.Contains(s, "\n") {
				t.Errorf("%d for %d Hz: %q", c.plays, c.asked, s)
			}
			time.Sleep(20 * time.Second)
			if n, lost := d.Underruns(); n != 0 || lost != 0 {
				t.Errorf("%d for %d Hz: %d under-runs, %v", c.plays, c.asked, n, lost)
			}
			f.hang.Store(true)
			time.Sleep(100 * time.Millisecond)
			f.hang.Store(false)
			time.Sleep(5 * time.Second)
			if n, lost := d.Underruns(); n != 1 || (lost-100*time.Millisecond).Abs() > 12*time.Millisecond {
				t.Errorf("%d for %d Hz: %d under-runs, %v, after one of 100 ms", c.plays, c.asked, n, lost)
			}
			if s := d.Notice(); !strings.HasPrefix(s, c.want) {
				t.Errorf("%d for %d Hz: %q at last", c.plays, c.asked, s)
			}
			select {
			case err := <-d.Err():
				t.Error(err)
			default:
			}
		})
	}
}

func TestOpenDeviceOptions(t *testing.T) {
	if _, err := OpenDevice(100, 0); err == nil {
		t.Error("100 Hz was taken")
	}
	if _, err := OpenDevice(48000, time.Hour); err == nil {
		t.Error("a buffer of an hour was taken")
	}
}

// busyFeeder strikes and lets go of strings and clicks for ever.
type busyFeeder struct{ next int64 }

func (b *busyFeeder) Fill(until int64, emit func(int64, [3]byte)) bool {
	for ; b.next < until; b.next += 1200 {
		s := int(b.next/1200) % 6
		emit(b.next, off(s, guitar[s]+3, 64))
		emit(b.next, on(s, guitar[s]+3, 90))
		if s == 0 {
			emit(b.next, on(ClickChannel, 76, 100))
		}
	}
	return true
}

// What a device calls from its own goroutine allocates nothing, so that no
// collection of garbage can make a hole.
func TestFillAllocatesNothing(t *testing.T) {
	e, err := NewEngine(Options{})
	if err != nil {
		t.Fatal(err)
	}
	e.SetFeeder(&busyFeeder{})
	o := newOutput(48000, 40*time.Millisecond, newFake(48000))
	o.render = e.Render
	block := make([]float32, 2*480)
	noGarbage(t, func() { o.fill(block) })
}

// noGarbage fails when f allocates once it has been called for a while.
func noGarbage(t *testing.T, f func()) {
	t.Helper()
	for range 200 {
		f()
	}
	if n := testing.AllocsPerRun(500, f); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}
