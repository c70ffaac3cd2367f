package synth

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// A joiner makes one feeder of several, each a stem of its own.
type joiner struct {
	e       *Engine
	parts   []Feeder
	more    []bool
	pending []queued
	part    int
	take    func(at int64, msg [3]byte)
}

// Join makes one feeder of a part for each stem of e. At one frame note-ons
// come last, whatever part they belong to, so that a string is free when it is
// struck; else parts come in order.
func Join(e *Engine, parts ...Feeder) Feeder {
	j := &joiner{e: e, parts: parts, more: make([]bool, len(parts))}
	for k := range j.more {
		j.more[k] = true
	}
	j.take = func(at int64, msg [3]byte) { j.pending = append(j.pending, queued{event{at, msg}, j.part}) }
	return j
}

// Fill implements Feeder.
func (j *joiner) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	for k, f := range j.parts {
		if j.more[k] {
			j.part = k
			j.more[k] = f.Fill(until, j.take)
			more = more || j.more[k]
		}
	}
	slices.SortStableFunc(j.pending, func(a, b queued) int {
		switch {
		case a.at != b.at:
			if a.at < b.at {
				return -1
			}
			return 1
		case a.strikes() == b.strikes():
			return 0
		case b.strikes():
			return -1
		}
		return 1
	})
	n := 0
	for ; n < len(j.pending) && j.pending[n].at < until; n++ {
		j.e.Stem(j.pending[n].stem)
		emit(j.pending[n].at, j.pending[n].msg)
	}
	j.pending = slices.Delete(j.pending, 0, n)
	return more || len(j.pending) > 0
}

// strikes says that it is a note-on.
func (q queued) strikes() bool { return q.msg[0]&0xf0 == 0x90 && q.msg[2] > 0 }

// WriteStems renders a piece once into several WAV files of one length: the
// whole into mix, unless that is nil, and what part k makes sound into
// stems[k]. e must have been made with Options.Stems = len(parts) =
// len(stems). The stems have the limiter's gain for the whole and add up to
// it.
func WriteStems(mix io.WriteSeeker, stems []io.WriteSeeker, e *Engine, parts []Feeder, o RenderOptions) (frames int64, err error) {
	if len(stems) != len(parts) {
		return 0, fmt.Errorf("synth: %d files for %d parts", len(stems), len(parts))
	}
	return WriteStemsOf(mix, stems, e, Join(e, parts...), o)
}

// WriteStemsOf is WriteStems of one feeder that says itself, with Engine.Stem,
// to which part its events belong.
func WriteStemsOf(mix io.WriteSeeker, stems []io.WriteSeeker, e *Engine, f Feeder, o RenderOptions) (frames int64, err error) {
	if len(stems) == 0 || e.opt.Stems != len(stems) {
		return 0, fmt.Errorf("synth: %d files for an engine of %d stems", len(stems), e.opt.Stems)
	}
	ws := make([]*WAVWriter, 0, len(stems)+1)
	open := func(w io.Writer) (err error) {
		// A dither of its own each: the same one would add up.
		x, err := NewWAVWriter(w, WAVOptions{Rate: e.Rate(), Format: o.Format, Seed: e.opt.Seed + uint64(len(ws)), Frames: -1})
		ws = append(ws, x)
		return err
	}
	for _, w := range stems {
		if err := open(w); err != nil {
			return 0, err
		}
	}
	if mix != nil {
		if err := open(mix); err != nil {
			return 0, err
		}
	}
	buf := make([][]float32, len(stems))
	for k := range buf {
		buf[k] = make([]float32, 2*renderBlock)
	}
	parted := make([][]float32, len(stems))
	frames, err = renderAll(e, f, o.Tail, func(out []float32) {
		for k := range parted {
			parted[k] = buf[k][:len(out)]
		}
		e.RenderStems(out, parted)
	}, func(block []float32) error {
		for k, p := range parted {
			if err := ws[k].Write(p); err != nil {
				return err
			}
		}
		if mix != nil {
			if err := ws[len(stems)].Write(block); err != nil {
				return err
			}
		}
		if o.Progress != nil {
			o.Progress(int64(len(block) / 2))
		}
		return nil
	})
	if err != nil {
		return frames, err
	}
	for _, x := range ws {
		err = errors.Join(err, x.Close())
	}
	return frames, err
}

// renderAll is RenderAll with a way to render of its own.
func renderAll(e *Engine, f Feeder, tail time.Duration, render func([]float32), write func([]float32) error) (frames int64, err error) {
	if tail < 0 {
		return 0, fmt.Errorf("synth: a tail of %v is negative", tail)
	}
	end := &ender{feeder: f}
	e.SetFeeder(end)
	buf := make([]float32, 2*renderBlock)
	left := int64(math.Round(tail.Seconds() * e.rate))
	fade := false
	for !e.Idle() {
		block := buf
		if end.done {
			// Ask in steps of a quantum, so that the file ends where sound does.
			block = buf[:2*quantum]
			if left -= quantum; left <= 0 && !fade {
				fade = true
				e.FadeOut()
			}
		}
		render(block)
		if e.Idle() {
			break // this block is silence already
		}
		if err := write(block); err != nil {
			return frames, err
		}
		frames += int64(len(block) / 2)
	}
	return frames, nil
}
