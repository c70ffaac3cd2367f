package main

import (
	"errors"
	"sync/atomic"
	"time"

	"thumbline/synth"
)

// fakeSound is "none": no device; "fake": one that takes sound as fast as it
// is made; "paced": one that takes it at a tenth of its pace, so that what is
// typed at once is typed at its beginning, however busy the machine; "lost": one
// that goes away after two seconds of sound; "hardware": what the machine has.
type fakeSound string

const noDevice = "no sound: nothing is connected (connect something; or write a file: thumbline write --out x.wav)"

func (f fakeSound) open(rate int, buffer time.Duration) (synth.Device, error) {
	d := &fakeDevice{rate: rate, err: make(chan error, 1)}
	switch f {
	case "fake":
	case "paced":
		d.paced = true
	case "lost":
		d.lostAt = int64(2 * rate)
	case "hardware":
		return hardware{}.open(rate, buffer)
	default:
		return nil, errors.New(noDevice)
	}
	return d, nil
}

func (f fakeSound) devices() []string {
	if f == "fake" {
		return []string{"a fake device"}
	}
	return []string{noDevice}
}

type fakeDevice struct {
	rate   int
	lostAt int64
	paced  bool
	given  atomic.Int64
	peak   atomic.Int64 // of the first tenth of a second, in millionths
	closed atomic.Bool
	err    chan error
	notice string
	holes  int
	lost   time.Duration
}

func (d *fakeDevice) Rate() int { return d.rate }

func (d *fakeDevice) Start(render func([]float32)) error {
	go func() {
		buf := make([]float32, 2*480)
		for start := time.Now(); !d.closed.Load(); {
			if ahead := 10*time.Duration(d.given.Load())*time.Second/time.Duration(d.rate) - time.Since(start); d.paced && ahead > 0 {
				time.Sleep(ahead)
			}
			render(buf)
			if d.given.Load() < int64(d.rate/10) {
				for _, x := range buf {
					d.peak.Store(max(d.peak.Load(), int64(1e6*max(x, -x))))
				}
			}
			if n := d.given.Add(480); d.lostAt > 0 && n >= d.lostAt {
				d.err <- errors.New("the sound device went away")
				return
			}
		}
	}()
	return nil
}

func (d *fakeDevice) Played() int64                   { return d.given.Load() }
func (d *fakeDevice) Underruns() (int, time.Duration) { return d.holes, d.lost }
func (d *fakeDevice) Notice() string                  { return d.notice }
func (d *fakeDevice) Err() <-chan error               { return d.err }
func (d *fakeDevice) Close() error                    { d.closed.Store(true); return nil }
