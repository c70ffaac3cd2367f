//go:build cgo && (darwin || rtmidi)

package rtport

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
	"gitlab.com/gomidi/midi/v2/drivers/rtmididrv/imported/rtmidi"

	"thumbline/midiio"
	"thumbline/midiio/internal/wire"
)

const (
	// look is how often a listener looks for messages. RtMidi's callback comes
	// at once, but it reaches into nothing when a message arrives at the moment
	// in which it is taken away; and for each look the binding takes 64 KiB.
	look = 10 * time.Millisecond
	// queued is how many messages may come between two looks.
	queued = 1024
	// lastCall is how long a listener may take over its last message.
	lastCall = 100 * time.Millisecond
)

var errClosed = errors.New("the MIDI driver is closed")

// A Driver lists and opens the ports of the system. It may be used from several
// goroutines; sending to one port does not wait for anything but that port.
type Driver struct {
	client string
	thread *thread

	mu     sync.Mutex
	closed bool
	open   map[drivers.Port]bool
}

// New is a driver that other programs see under this name. Close ends its
// thread.
func New(client string) *Driver {
	return &Driver{client: client, thread: newThread(), open: make(map[drivers.Port]bool)}
}

func (d *Driver) String() string { return "rtport" }

// Close closes every port that is open, and the driver for good.
func (d *Driver) Close() error {
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return nil
	}
	d.closed = true
	open := make([]drivers.Port, 0, len(d.open))
	for p := range d.open {
		open = append(open, p)
	}
	d.mu.Unlock()
	var errs []error
	for _, p := range open {
		errs = append(errs, p.Close())
	}
	d.thread.end()
	return errors.Join(errs...)
}

// do does f on the driver's thread.
func (d *Driver) do(f func() error) error {
	err := errClosed
	d.thread.do(func() { err = f() })
	return err
}

// opened keeps an open port for Close, or refuses it after Close.
func (d *Driver) opened(p drivers.Port) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		return errClosed
	}
	d.open[p] = true
	return nil
}

func (d *Driver) forget(p drivers.Port) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.open, p)
}

// Outs lists the outputs, numbered and named as the system does.
func (d *Driver) Outs() (outs []drivers.Out, err error) {
	err = d.do(func() error {
		m, err := d.newOut()
		if err != nil {
			return err
		}
		names, err := list(m)
		for i, name := range names {
			outs = append(outs, &out{driver: d, number: i, name: name})
		}
		return err
	})
	return outs, err
}

// Ins lists the inputs, numbered and named as the system does.
func (d *Driver) Ins() (ins []drivers.In, err error) {
	err = d.do(func() error {
		m, err := d.newIn()
		if err != nil {
			return err
		}
		names, err := list(m)
		for i, name := range names {
			ins = append(ins, &in{driver: d, number: i, name: name})
		}
		return err
	})
	return ins, err
}

// OpenVirtualOut makes an output of our own which other programs connect to.
func (d *Driver) OpenVirtualOut(name string) (drivers.Out, error) {
	o := &out{driver: d, number: -1, name: name}
	err := d.do(func() error {
		m, err := d.newOut()
		if err != nil {
			return err
		}
		if m.OpenVirtualPort(name) != nil {
			m.Close()
			return fmt.Errorf("MIDI port %s: the system does not make it", name)
		}
		o.midi, o.send = m, m.SendMessage
		return nil
	})
	if err != nil {
		return nil, err
	}
	if err := d.opened(o); err != nil {
		_ = o.Close()
		return nil, err
	}
	return o, nil
}

func (d *Driver) newOut() (rtmidi.MIDIOut, error) {
	m, err := rtmidi.NewMIDIOut(rtmidi.APIUnspecified, d.client)
	if err != nil {
		return nil, errors.New("the system gives no access to MIDI outputs")
	}
	return m, nil
}

func (d *Driver) newIn() (rtmidi.MIDIIn, error) {
	m, err := rtmidi.NewMIDIIn(rtmidi.APIUnspecified, d.client, queued)
	if err != nil {
		return nil, errors.New("the system gives no access to MIDI inputs")
	}
	return m, nil
}

// list is the names of m's ports; m is closed then.
func list(m rtmidi.MIDI) ([]string, error) {
	defer m.Close()
	n, err := m.PortCount()
	if err != nil {
		return nil, errors.New("the system does not list its MIDI ports")
	}
	names := make([]string, n)
	for i := range names {
		names[i], _ = m.PortName(i) // "" for one that went while we counted
	}
	return names, nil
}

// openPort opens the port of this number if it still bears this name.
func openPort(m rtmidi.MIDI, number int, name, ours string) error {
	if now, err := m.PortName(number); err != nil || now != name {
		return fmt.Errorf("MIDI port %s %w", name, midiio.ErrPortGone)
	}
	if m.OpenPort(number, ours) != nil {
		return fmt.Errorf("MIDI port %s: the system does not open it", name)
	}
	return nil
}

type out struct {
	driver *Driver
	number int
	name   string

	mu    sync.Mutex
	midi  rtmidi.MIDIOut // nil when closed
	split wire.Splitter
	send  func(msg []byte) error
}

func (o *out) Number() int     { return o.number }
func (o *out) String() string  { return o.name }
func (o *out) Underlying() any { return nil }

func (o *out) IsOpen() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.midi != nil
}

// Open opens the port that was listed. An error that wraps
// [midiio.ErrPortGone] says that it is no more, or that its number has passed
// to another one.
func (o *out) Open() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.midi != nil {
		return nil
	}
	if o.number < 0 {
		return fmt.Errorf("MIDI port %s: closed for good", o.name)
	}
	err := o.driver.do(func() error {
		m, err := o.driver.newOut()
		if err != nil {
			return err
		}
		if err := openPort(m, o.number, o.name, "out"); err != nil {
			m.Close()
			return err
		}
		o.midi, o.send, o.split = m, m.SendMessage, wire.Splitter{}
		return nil
	})
	if err != nil {
		return err
	}
	if err := o.driver.opened(o); err != nil {
		return errors.Join(err, o.close())
	}
	return nil
}

// Close closes the port as it is: what sounds goes on, and is for the sender to
// end before.
func (o *out) Close() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.midi == nil {
		return nil
	}
	o.driver.forget(o)
	return o.close()
}

func (o *out) close() error {
	m := o.midi
	o.midi = nil
	return o.driver.do(func() error { return closed(m, o.name) })
}

func closed(m rtmidi.MIDI, name string) error {
	if m.Close() != nil {
		return fmt.Errorf("MIDI port %s: the system does not close it", name)
	}
	return nil
}

// Send sends whole messages, of which any but the first may leave out a status
// byte that is as before. It has no error for a port that has gone.
func (o *out) Send(data []byte) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.midi == nil {
		return drivers.ErrPortClosed
	}
	broken := false
	err := o.split.Each(data, func(msg []byte) error {
		err := o.send(msg)
		broken = err != nil
		return err
	})
	switch {
	case broken:
		return fmt.Errorf("MIDI port %s: the system does not send", o.name)
	case err != nil:
		return fmt.Errorf("MIDI port %s: %w", o.name, err)
	}
	return nil
}

type in struct {
	driver *Driver
	number int
	name   string

	mu       sync.Mutex
	midi     rtmidi.MIDIIn // nil when closed
	listener *listener     // nil while nobody listens
}

func (i *in) Number() int     { return i.number }
func (i *in) String() string  { return i.name }
func (i *in) Underlying() any { return nil }

func (i *in) IsOpen() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.midi != nil
}

// Open opens the port that was listed. An error that wraps
// [midiio.ErrPortGone] says that it is no more, or that its number has passed
// to another one.
func (i *in) Open() error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.midi != nil {
		return nil
	}
	err := i.driver.do(func() error {
		m, err := i.driver.newIn()
		if err != nil {
			return err
		}
		if err := openPort(m, i.number, i.name, "in"); err != nil {
			m.Close()
			return err
		}
		i.midi = m
		return nil
	})
	if err != nil {
		return err
	}
	if err := i.driver.opened(i); err != nil {
		return errors.Join(err, i.close())
	}
	return nil
}

// Close stops listening and closes the port.
func (i *in) Close() error {
	var l *listener
	defer func() { l.wait() }() // without the lock
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.midi == nil {
		return nil
	}
	i.driver.forget(i)
	l = i.quit()
	return i.close()
}

// quit ends listening, with i.mu held, and gives who listened until then.
func (i *in) quit() *listener {
	l := i.listener
	if l != nil {
		close(l.done)
		i.listener = nil
	}
	return l
}

func (i *in) close() error {
	m := i.midi
	i.midi = nil
	return i.driver.do(func() error { return closed(m, i.name) })
}

// Listen calls onMsg with every message until stop is called, which waits for a
// call under way, but no more than a tenth of a second. Messages are looked for
// every hundredth of a second, and milliseconds are counted from one to the
// next. There is one listener at a time, and stop may be called more than once.
// System exclusive is not taken: with config.SysEx set, Listen fails.
// config.OnErr has nothing to be told.
func (i *in) Listen(onMsg func(msg []byte, milliseconds int32), config drivers.ListenConfig) (stop func(), err error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	switch {
	case i.midi == nil:
		return nil, drivers.ErrPortClosed
	case onMsg == nil:
		return nil, fmt.Errorf("MIDI port %s: nothing to listen with", i.name)
	case config.SysEx:
		return nil, fmt.Errorf("MIDI port %s: system exclusive is not taken", i.name)
	case i.listener != nil:
		return nil, fmt.Errorf("MIDI port %s: it is listened to already", i.name)
	}
	if i.midi.IgnoreTypes(true, !config.TimeCode, !config.ActiveSense) != nil {
		return nil, fmt.Errorf("MIDI port %s: the system does not listen", i.name)
	}
	for msg, _, err := i.midi.Message(); len(msg) > 0 && err == nil; {
		msg, _, err = i.midi.Message() // what came before is nobody's
	}
	l := &listener{in: i, done: make(chan struct{}), over: make(chan struct{}), onMsg: onMsg}
	i.listener = l
	go l.run()
	return func() {
		i.mu.Lock()
		if i.listener == l {
			i.quit()
		}
		i.mu.Unlock()
		l.wait()
	}, nil
}

type listener struct {
	in    *in
	done  chan struct{} // closed when nobody listens any more
	over  chan struct{} // closed when run has returned
	onMsg func(msg []byte, milliseconds int32)
}

// wait gives a call of onMsg that is under way the time to end; not for ever,
// for it may be the one that asks.
func (l *listener) wait() {
	if l == nil {
		return
	}
	select {
	case <-l.over:
	case <-time.After(lastCall):
	}
}

func (l *listener) run() {
	defer close(l.over)
	tick := time.NewTicker(look)
	defer tick.Stop()
	elapsed := 0.0 // seconds
	for {
		select {
		case <-l.done:
			return
		case <-tick.C:
		}
		for {
			msg, delta, ok := l.next()
			if !ok {
				break
			}
			elapsed += delta
			l.onMsg(msg, int32(elapsed*1000))
		}
	}
}

// next is a message that waits, false when there is none or nobody listens any
// more.
func (l *listener) next() (msg []byte, delta float64, ok bool) {
	l.in.mu.Lock()
	defer l.in.mu.Unlock()
	select {
	case <-l.done:
		return nil, 0, false
	default:
	}
	msg, delta, err := l.in.midi.Message()
	return msg, delta, err == nil && len(msg) > 0
}
