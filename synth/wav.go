package synth

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// A SampleFormat says how a WAV file holds its samples.
type SampleFormat int

// The formats WAVWriter writes, little-endian. The integers get triangular
// dither of two steps' width; exact silence stays exact.
const (
	Int16 SampleFormat = iota
	Int24
	Float32
)

func (f SampleFormat) bytes() int { return [...]int{2, 3, 4}[f] }

// WAVOptions say what kind of WAV file is written.
type WAVOptions struct {
	Rate     int          // frames a second
	Channels int          // 1 or 2; 0 means 2
	Format   SampleFormat // zero is Int16
	Seed     uint64       // of the dither
	// Frames is the length, if it is known: then the header is right at once
	// and the writer needs no seeking. Negative means unknown.
	Frames int64
}

// A WAVWriter writes a RIFF WAVE file block by block. What it was given is
// written for sure only after Close.
type WAVWriter struct {
	w      *bufio.Writer
	seek   io.WriteSeeker // nil when the length was known
	opt    WAVOptions
	data   int64  // bytes of samples written
	rnd    uint64 // of the dither
	buf    []byte
	err    error
	closed bool
}

// NewWAVWriter writes the header. When o.Frames is negative, w must be an
// io.WriteSeeker, whose header Close corrects.
func NewWAVWriter(w io.Writer, o WAVOptions) (*WAVWriter, error) {
	if o.Channels == 0 {
		o.Channels = 2
	}
	if o.Channels < 1 || o.Channels > 2 {
		return nil, fmt.Errorf("wav: %d channels (1 or 2 can be written)", o.Channels)
	}
	if o.Rate < 1 || o.Rate > 1<<24 {
		return nil, fmt.Errorf("wav: sample rate %d Hz", o.Rate)
	}
	if o.Format < Int16 || o.Format > Float32 {
		return nil, fmt.Errorf("wav: no sample format %d", o.Format)
	}
	x := &WAVWriter{w: bufio.NewWriterSize(w, wavBuffer), opt: o, rnd: mix(o.Seed) | 1}
	bytes := int64(0)
	if o.Frames < 0 {
		s, ok := w.(io.WriteSeeker)
		if !ok {
			return nil, errors.New("wav: the length must be known to write to what cannot seek")
		}
		x.seek = s
	} else {
		if o.Frames > math.MaxUint32 {
			return nil, errTooLong
		}
		bytes = o.Frames * int64(o.Channels*o.Format.bytes())
	}
	h, err := wavHeader(o, bytes)
	if err != nil {
		return nil, err
	}
	if _, err := x.w.Write(h); err != nil {
		return nil, err
	}
	return x, x.w.Flush() // what cannot be written to is told before any work
}

// wavBuffer is how many bytes are written at a time.
const wavBuffer = 1 << 16

var errTooLong = errors.New("wav: longer than the 4 GiB a WAV file can hold (write fewer bars, or 16 bits)")

// wavHeader is everything before the samples: RIFF, fmt (16 bytes for PCM, 18
// for float as Microsoft's and IBM's multimedia interface wants, with a fact
// chunk), and the head of data.
func wavHeader(o WAVOptions, bytes int64) ([]byte, error) {
	le := binary.LittleEndian
	size := o.Format.bytes()
	block := o.Channels * size
	tag, fmtLen := uint16(1), uint32(16)
	if o.Format == Float32 {
		tag, fmtLen = 3, 18
	}
	h := append(make([]byte, 0, 58), "RIFF\x00\x00\x00\x00WAVEfmt "...)
	h = le.AppendUint32(h, fmtLen)
	h = le.AppendUint16(h, tag)
	h = le.AppendUint16(h, uint16(o.Channels))
	h = le.AppendUint32(h, uint32(o.Rate))
	h = le.AppendUint32(h, uint32(o.Rate*block))
	h = le.AppendUint16(h, uint16(block))
	h = le.AppendUint16(h, uint16(8*size))
	if o.Format == Float32 {
		h = le.AppendUint16(h, 0) // no extension
		h = append(h, "fact"...)
		h = le.AppendUint32(h, 4)
		h = le.AppendUint32(h, uint32(bytes/int64(block)))
	}
	h = append(h, "data"...)
	h = le.AppendUint32(h, uint32(bytes))
	total := int64(len(h)) - 8 + bytes + bytes%2
	if total > math.MaxUint32 {
		return nil, errTooLong
	}
	le.PutUint32(h[4:], uint32(total))
	return h, nil
}

// Write appends interleaved samples; full scale is 1. What is beyond is cut
// off in the integer formats and kept in Float32.
func (x *WAVWriter) Write(samples []float32) error {
	if x.err != nil {
		return x.err
	}
	if x.closed {
		return errors.New("wav: written to after Close")
	}
	if len(samples)%x.opt.Channels != 0 {
		return fmt.Errorf("wav: %d samples are no whole frames of %d channels", len(samples), x.opt.Channels)
	}
	n := int64(len(samples) * x.opt.Format.bytes())
	if x.opt.Frames >= 0 && x.data+n > x.opt.Frames*int64(x.opt.Channels*x.opt.Format.bytes()) {
		x.err = fmt.Errorf("wav: more than the %d frames announced", x.opt.Frames)
		return x.err
	}
	if x.data+n > math.MaxUint32-64 {
		x.err = errTooLong
		return x.err
	}
	if cap(x.buf) < int(n) {
		x.buf = make([]byte, n)
	}
	b := x.buf[:n]
	switch x.opt.Format {
	case Int16:
		for i := 0; i+1 < len(samples) && len(b) >= 4; i += 2 { // two of one random number
			x.rnd = next(x.rnd)
			v, w := quantise(samples[i], 1<<15, uint32(x.rnd)), quantise(samples[i+1], 1<<15, uint32(x.rnd>>32))
			binary.LittleEndian.PutUint32(b, uint32(uint16(v))|uint32(w)<<16)
			b = b[4:]
		}
		if len(b) > 0 {
			x.rnd = next(x.rnd)
			binary.LittleEndian.PutUint16(b, uint16(quantise(samples[len(samples)-1], 1<<15, uint32(x.rnd))))
		}
	case Int24:
		for _, s := range samples {
			x.rnd = next(x.rnd)
			v := quantise(s, 1<<23, uint32(x.rnd))
			b[0], b[1], b[2] = byte(v), byte(v>>8), byte(v>>16)
			b = b[3:]
		}
	case Float32:
		for i, s := range samples {
			binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(s))
		}
	}
	if _, err := x.w.Write(x.buf[:n]); err != nil {
		x.err = err
		return err
	}
	x.data += n
	return nil
}

// quantise turns s into an integer of full scale full, with triangular dither
// of one step's standard width either side, made of the two halves of rnd.
func quantise(s float32, full float64, rnd uint32) int32 {
	if s == 0 {
		return 0
	}
	v := float64(s)*full + float64(int32(rnd&0xFFFF)-int32(rnd>>16))*(1./(1<<16))
	if !(v >= -full) { // not a number lands here too
		v = -full
	}
	if v > full-1 {
		v = full - 1
	}
	// Rounded by way of a positive number: the conversion cuts off.
	return int32(int64(v+full+0.5) - int64(full))
}

// Frames is how many frames have been written.
func (x *WAVWriter) Frames() int64 {
	return x.data / int64(x.opt.Channels*x.opt.Format.bytes())
}

// Close pads the data to a whole word and, where the length was not known,
// corrects the header. It does not close the underlying writer.
func (x *WAVWriter) Close() error {
	if x.closed || x.err != nil {
		return x.err
	}
	x.closed = true
	if x.data%2 == 1 {
		if err := x.w.WriteByte(0); err != nil {
			return err
		}
	}
	if err := x.w.Flush(); err != nil {
		return err
	}
	if x.seek == nil {
		if got := x.Frames(); got != x.opt.Frames {
			return fmt.Errorf("wav: %d frames written, %d announced", got, x.opt.Frames)
		}
		return nil
	}
	h, err := wavHeader(x.opt, x.data)
	if err != nil {
		return err
	}
	back := int64(len(h)) + x.data + x.data%2
	if _, err := x.seek.Seek(-back, io.SeekCurrent); err != nil {
		return err
	}
	if _, err := x.seek.Write(h); err != nil {
		return err
	}
	_, err = x.seek.Seek(0, io.SeekEnd)
	return err
}

// WriteWAV renders the feeder's piece with e (see RenderAll) into a WAV file.
// The options' Rate is the engine's; see NewWAVWriter for what w must be.
func WriteWAV(w io.Writer, e *Engine, f Feeder, o RenderOptions) (frames int64, err error) {
	x, err := NewWAVWriter(w, WAVOptions{Rate: e.Rate(), Format: o.Format, Seed: e.opt.Seed, Frames: -1})
	if err != nil {
		return 0, err
	}
	write := x.Write
	if o.Progress != nil {
		write = func(block []float32) error {
			err := x.Write(block)
			o.Progress(int64(len(block) / x.opt.Channels))
			return err
		}
	}
	if frames, err = RenderAll(e, f, o.Tail, write); err != nil {
		return frames, err
	}
	return frames, x.Close()
}
