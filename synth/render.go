package synth

import "time"

const renderBlock = 1024 // frames

// RenderOptions say how a piece is written to a file.
type RenderOptions struct {
	Tail   time.Duration // how long the last notes may ring on
	Format SampleFormat
	// Progress, if there is one, is told after each block how many frames it
	// had.
	Progress func(frames int64)
}

// RenderAll plays the feeder's piece from its first event to its last and then
// until nothing sounds, but for tail at most; a sound that is still there then
// is faded out. It hands write blocks of interleaved stereo, which are valid
// only during the call, and returns the number of frames. An error of write
// ends it. The feeder must come to an end.
func RenderAll(e *Engine, f Feeder, tail time.Duration, write func([]float32) error) (frames int64, err error) {
	return renderAll(e, f, tail, e.Render, write)
}

// An ender remembers whether its feeder has ended.
type ender struct {
	feeder Feeder
	done   bool
}

func (d *ender) Fill(until int64, emit func(at int64, msg [3]byte)) bool {
	more := d.feeder.Fill(until, emit)
	d.done = !more
	return more
}

// Events is a feeder of a piece that is known beforehand, in order of time.
type Events struct {
	list []event
	next int
}

// Add appends one message due at frame at, which must not be before the last.
func (l *Events) Add(at int64, msg [3]byte) {
	if n := len(l.list); n > 0 {
		at = max(at, l.list[n-1].at)
	}
	l.list = append(l.list, event{at, msg})
}

// Fill implements Feeder.
func (l *Events) Fill(until int64, emit func(at int64, msg [3]byte)) bool {
	for l.next < len(l.list) && l.list[l.next].at < until {
		emit(l.list[l.next].at, l.list[l.next].msg)
		l.next++
	}
	return l.next < len(l.list)
}
