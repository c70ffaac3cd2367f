package alsaseq

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"syscall"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
)

const (
	// readSize holds the longest event there can be: the kernel's pools have at
	// most 2000 cells of 28 bytes.
	readSize = 64 << 10
	// sysExSize is the longest system-exclusive message in bytes, unless asked
	// otherwise.
	sysExSize = 1024
)

// An In is a port to listen to. Any goroutine may call its methods, but what
// Listen calls must not call them.
type In struct {
	*peer

	mu     sync.Mutex
	client *client // nil while closed
	stop   func()  // ends listening, nil while nobody does
}

var _ drivers.In = (*In)(nil)

// Open connects with the port. An error wraps ErrPortGone when the port is no
// longer there or another has taken its number. Opening an open port does
// nothing.
func (i *In) Open() error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.client != nil {
		return nil
	}
	c, err := i.link("in", 0, true)
	if err != nil {
		return err
	}
	i.client = c
	i.driver.opened(c, i.Close)
	return nil
}

// Close ends the connection, and listening with it. Nothing is left running.
// Closing a closed port does nothing.
func (i *In) Close() error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.client == nil {
		return nil
	}
	c := i.client
	i.client = nil
	if i.stop != nil {
		i.stop()
		i.stop = nil
	}
	i.driver.closed(c)
	if err := c.device.close(); err != nil {
		return i.failed(err)
	}
	return nil
}

// IsOpen reports whether the port is open.
func (i *In) IsOpen() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.client != nil
}

// Listen calls onMsg with each whole message that comes from now on, and with
// the milliseconds since now; the bytes are the receiver's to keep. What of
// system-exclusive messages, MIDI clock and time code (F8, F1) and active
// sensing passes is up to the config. Its OnErr is called once when the port
// has gone, with an error that wraps ErrPortGone; then no message comes any
// more. Both run in a goroutine of their own, which has ended when the function
// that is returned, or Close, returns.
func (i *In) Listen(onMsg func(msg []byte, milliseconds int32), config drivers.ListenConfig) (stop func(), err error) {
	if onMsg == nil {
		return nil, fmt.Errorf("MIDI port %s: nobody listens", i.name)
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	switch {
	case i.client == nil:
		return nil, drivers.ErrPortClosed
	case i.stop != nil:
		return nil, fmt.Errorf("MIDI port %s is listened to already", i.name)
	}
	r := &receiver{in: i, client: i.client, config: config, limit: int(config.SysExBufferSize)}
	if r.limit == 0 {
		r.limit = sysExSize
	}
	// What has come since Open nobody has listened to.
	r.emit = func([]byte) {}
	if err := r.read(time.Now().Add(time.Millisecond)); !errors.Is(err, os.ErrDeadlineExceeded) {
		return nil, err
	}
	r.exclusive = nil
	start := time.Now()
	r.emit = func(msg []byte) { onMsg(msg, int32(time.Since(start).Milliseconds())) }
	if err := i.client.device.setReadDeadline(time.Time{}); err != nil {
		return nil, i.failed(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		err := r.read(time.Time{})
		if !errors.Is(err, os.ErrDeadlineExceeded) && config.OnErr != nil {
			config.OnErr(err)
		}
	}()
	end := func() {
		_ = r.client.device.setReadDeadline(time.Unix(1, 0))
		<-done
	}
	i.stop = end
	var once sync.Once
	return func() {
		once.Do(func() {
			i.mu.Lock()
			defer i.mu.Unlock()
			if i.client == r.client { // else Close has ended it
				end()
				i.stop = nil
			}
		})
	}, nil
}

// A receiver turns what the kernel gives to one client into messages.
type receiver struct {
	in        *In
	client    *client
	config    drivers.ListenConfig
	limit     int    // of a system-exclusive message
	exclusive []byte // as much as has come of one
	skipping  bool   // one that is too long
	emit      func(msg []byte)
}

// read reads until the deadline, zero for one that is set by someone else, or
// until the port has gone.
func (r *receiver) read(until time.Time) (err error) {
	if !until.IsZero() {
		if err := r.client.device.setReadDeadline(until); err != nil {
			return r.in.failed(err)
		}
	}
	buf := make([]byte, readSize)
	for err == nil {
		var n int
		n, err = r.client.device.read(buf)
		switch {
		case err == nil:
			walk(buf[:n], func(e *event, more []byte) {
				if e.ends(r.client.our, r.in.at) {
					err = r.in.failed(ErrPortGone)
				}
				if err == nil && e.source() == r.in.at {
					r.event(e, more)
				}
			})
		case errors.Is(err, os.ErrDeadlineExceeded):
			return err
		case errors.Is(err, syscall.ENOSPC):
			// Messages were lost, and maybe that the port has gone.
			r.exclusive, r.skipping = nil, false
			err = r.in.there(r.client)
		default:
			err = r.in.failed(err)
		}
	}
	return err
}

func (r *receiver) event(e *event, more []byte) {
	if e[0] == eventSysEx {
		r.sysEx(more)
		return
	}
	e.decode(func(msg ...byte) {
		switch msg[0] {
		case 0xf8, 0xf1:
			if !r.config.TimeCode {
				return
			}
		case 0xfe:
			if !r.config.ActiveSense {
				return
			}
		}
		r.emit(msg)
	})
}

// sysEx puts the parts of a system-exclusive message together: devices give a
// long one in several events.
func (r *receiver) sysEx(part []byte) {
	if !r.config.SysEx || len(part) == 0 {
		return
	}
	if part[0] == 0xf0 {
		r.exclusive, r.skipping = nil, false
	} else if r.exclusive == nil {
		return // its beginning is missing or was too long
	}
	if r.skipping = r.skipping || len(r.exclusive)+len(part) > r.limit; r.skipping {
		r.exclusive = nil
		return
	}
	r.exclusive = append(r.exclusive, part...)
	if part[len(part)-1] == 0xf7 {
		msg := r.exclusive
		r.exclusive = nil
		r.emit(msg)
	}
}
