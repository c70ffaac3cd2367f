package midiio

import (
	"context"
	"fmt"
	"time"
)

// A Clock is what Drive waits on. Its moments only ever grow.
type Clock interface {
	Now() time.Duration
	// Until returns at the moment t or soon after, at once if t has gone by,
	// earlier with the context's error when that is done.
	Until(ctx context.Context, t time.Duration) error
}

// driveAhead is how far ahead of the clock a cursor is filled, and so how late
// an order may be obeyed.
const driveAhead = 5 * time.Millisecond

// Drive plays a cursor to a port: each message is sent at its own moment,
// counted from the start, so that a late wake-up delays nothing after it. It
// returns when the practice is over, when send fails, or when ctx is done, then
// with ctx's error. Cut short, it silences what sounds before it returns: every
// note off, CC 123 and CC 120 on each channel used. At the end of the practice
// every note has had its note-off, and the sounds may die away by themselves.
//
// The cursor's rate is the resolution in time; 1e6, a microsecond, suits ports.
func Drive(ctx context.Context, c *Cursor, clock Clock, send func(msg []byte) error) (err error) {
	type due struct {
		at  int64
		msg [3]byte
	}
	defer func() {
		if err == nil {
			return
		}
		c.Silence(func(m [3]byte) {
			_ = send(MessageBytes(m)) // the first error is the one that tells
		})
	}()
	rate := c.rate
	moment := func(frame int64) time.Duration {
		return time.Duration(frame/rate)*time.Second + time.Duration(frame%rate*int64(time.Second)/rate)
	}
	start := clock.Now()
	step := max(rate*int64(driveAhead)/int64(time.Second), 1)
	var batch []due
	for until := step; ; until += step {
		batch = batch[:0]
		more := c.Fill(until, func(at int64, m [3]byte) { batch = append(batch, due{at, m}) })
		for _, d := range batch {
			if err := clock.Until(ctx, start+moment(d.at)); err != nil {
				return err
			}
			if err := send(MessageBytes(d.msg)); err != nil {
				return fmt.Errorf("MIDI port: %w", err)
			}
		}
		if !more {
			return nil
		}
		if err := clock.Until(ctx, start+moment(until)); err != nil {
			return err
		}
	}
}

// SystemClock is real time, from its making on.
func SystemClock() Clock { return systemClock{time.Now()} }

type systemClock struct{ start time.Time }

func (c systemClock) Now() time.Duration { return time.Since(c.start) }

func (c systemClock) Until(ctx context.Context, t time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	wait := t - c.Now()
	if wait <= 0 {
		return nil
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
