//go:build windows || darwin || (linux && cgo && alsa)

package synth

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"
	"time"

	"github.com/ebitengine/oto/v3"
)

const (
	otoFrame = 8
	// otoRead bounds one read in frames: a large one would come late.
	otoRead = 240
	// otoOpen bounds the wait for a device that never gets ready.
	otoOpen = 3 * time.Second
)

type otoOut struct {
	ctx    *oto.Context
	player *oto.Player
	buffer time.Duration
	bytes  int
	fill   func(out []float32)
	buf    [2 * otoRead]float32
}

// openBackend can succeed once in a process: oto has one context, and one that
// was lost cannot be opened again.
func openBackend(rate int, buffer time.Duration) (backend, error) {
	if err := lookFirst(); err != nil {
		return nil, err
	}
	ctx, ready, err := oto.NewContext(&oto.NewContextOptions{
		SampleRate: rate, ChannelCount: 2, Format: oto.FormatFloat32LE, BufferSize: buffer * 3 / 4,
	})
	if err != nil {
		return nil, fmt.Errorf("sound can be opened only once in a run: %s (start again; %s)", otoText(err), writeInstead)
	}
	select {
	case <-ready:
	case <-time.After(otoOpen):
		return nil, fmt.Errorf("the sound device does not get ready (restart the sound server; %s)", writeInstead)
	}
	if err := ctx.Err(); err != nil {
		return nil, openError(err)
	}
	return &otoOut{ctx: ctx, buffer: buffer, bytes: int(float64(rate)*buffer.Seconds()) * otoFrame}, nil
}

// openError says in our words what kept the device from opening.
func openError(err error) error {
	s := err.Error()
	switch {
	case strings.Contains(s, "busy"):
		return fmt.Errorf("the sound device is in use by another program (close it, or use a sound server; %s)", writeInstead)
	case strings.Contains(s, "set_format"), strings.Contains(s, "hw_params"):
		return fmt.Errorf("the sound device refuses 32-bit float (let ALSA's default go through plug or a sound server; %s)", writeInstead)
	case runtime.GOOS == "linux":
		return fmt.Errorf("no sound device (connect one or start the sound server; %s)", writeInstead)
	}
	return fmt.Errorf("no sound device: %s (connect one; %s)", otoText(err), writeInstead)
}

func otoText(err error) string { return strings.TrimPrefix(err.Error(), "oto: ") }

func (o *otoOut) start(fill func(out []float32)) error {
	o.fill = fill
	o.player = o.ctx.NewPlayer(o)
	o.player.SetBufferSize(o.bytes) // less than the context's would leave a hole
	o.player.Play()
	return nil
}

// Read implements io.Reader for the player.
func (o *otoOut) Read(p []byte) (int, error) {
	n := min(len(p)/otoFrame, otoRead)
	if n == 0 {
		return 0, errors.New("synth: less than a frame was asked for")
	}
	out := o.buf[:2*n]
	o.fill(out)
	for i, v := range out {
		binary.LittleEndian.PutUint32(p[4*i:], math.Float32bits(v))
	}
	return n * otoFrame, nil
}

func (o *otoOut) failed() error {
	if o.ctx.Err() != nil || o.player.Err() != nil {
		return errLost
	}
	return nil
}

// held is what the player holds and what the system does. The player has to hold
// no less than the system, or sound begins with a hole. With both whole a key is
// obeyed after a tenth of a second; with half of it for the system a machine that
// is 10 ms late leaves a hole of one or two.
func (o *otoOut) held() time.Duration { return o.buffer + o.buffer*3/4 }

func (o *otoOut) underflows() int { return 0 } // oto does not tell

// stop must not call Suspend, which waits for ever on a device that hangs.
func (o *otoOut) stop() error {
	if o.player != nil {
		o.player.Pause()
	}
	return nil
}
