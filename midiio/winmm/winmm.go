// Package winmm plays to and listens to MIDI ports on Windows through the
// system's winmm.dll, without cgo: a driver for gomidi. It registers itself
// nowhere.
//
// Windows has no virtual ports, and a port is open in one program at a time
// unless its driver allows more. Names are cut by the system after 31 units of
// UTF-16. Source of structures, numbers and messages: mmsystem.h and
// "Musical Instrument Digital Interface (MIDI)" in the documentation of the
// Windows Multimedia API.
//
// New exists on Windows only. The rest is built everywhere, to be tested there
// against a made-up system.
package winmm

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
	"thumbline/midiio/internal/wire"
)

// system is winmm.dll, or what stands in for it in tests. Ports have numbers
// from 0; open ones have a handle.
type system interface {
	outs() int
	outName(id int) (string, result)
	openOut(id int) (handle uintptr, r result)
	// short sends a message of up to three bytes, the first one lowest.
	short(handle uintptr, word uint32) result
	// long sends system exclusive and returns when all of it is sent, or when
	// limit has gone by, then with notReady.
	long(handle uintptr, data []byte, limit time.Duration) result
	closeOut(handle uintptr) result

	ins() int
	inName(id int) (string, result)
	// openIn opens an input, which is silent until start. receive is called on
	// a thread of the system's and must neither wait nor call the system.
	openIn(id int, receive func(event)) (handle uintptr, r result)
	start(handle uintptr) result
	stop(handle uintptr) result
	closeIn(handle uintptr) result
}

// An event is what an input says of itself.
type event struct {
	kind uint32 // mimData, mimClose, or another that we leave alone
	word uint32 // a message of up to three bytes, the first one lowest
	ms   uint32 // milliseconds since start
}

// Messages of an input, mmsystem.h.
const (
	mimClose = 0x3C2
	mimData  = 0x3C3
)

const (
	// busyLimit is how long a port may say that it is busy before it counts as
	// one that takes nothing; it is asked again each busyPause.
	busyLimit = 250 * time.Millisecond
	busyPause = time.Millisecond
	// longLimit is how long system exclusive may take, on top of the time its
	// bytes need at 3125 a second, MIDI's speed on a cable.
	longLimit = time.Second
	cableRate = 3125
	// queued is how many messages wait for a listener that is busy.
	queued = 256
	// lastCall is how long a listener may take over its last message.
	lastCall = 100 * time.Millisecond
)

// A Driver lists and opens the ports of Windows. It may be used from several
// goroutines.
type Driver struct {
	sys system

	mu   sync.Mutex
	open map[drivers.Port]bool
}

func newDriver(sys system) *Driver {
	return &Driver{sys: sys, open: make(map[drivers.Port]bool)}
}

func (d *Driver) String() string { return "winmm" }

// Outs lists the outputs, numbered and named as Windows does.
func (d *Driver) Outs() ([]drivers.Out, error) {
	var outs []drivers.Out
	for id := range d.sys.outs() {
		name, r := d.sys.outName(id)
		if r.gone() {
			continue // it went while we counted
		}
		if r != 0 {
			return nil, fmt.Errorf("MIDI output %d: %w", id, r.err())
		}
		outs = append(outs, &out{driver: d, number: id, name: name})
	}
	return outs, nil
}

// Ins lists the inputs, numbered and named as Windows does.
func (d *Driver) Ins() ([]drivers.In, error) {
	var ins []drivers.In
	for id := range d.sys.ins() {
		name, r := d.sys.inName(id)
		if r.gone() {
			continue
		}
		if r != 0 {
			return nil, fmt.Errorf("MIDI input %d: %w", id, r.err())
		}
		ins = append(ins, &in{driver: d, number: id, name: name})
	}
	return ins, nil
}

// Close closes every port that is open.
func (d *Driver) Close() error {
	d.mu.Lock()
	open := make([]drivers.Port, 0, len(d.open))
	for p := range d.open {
		open = append(open, p)
	}
	d.mu.Unlock()
	var errs []error
	for _, p := range open {
		errs = append(errs, p.Close())
	}
	return errors.Join(errs...)
}

func (d *Driver) opened(p drivers.Port, open bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if open {
		d.open[p] = true
	} else {
		delete(d.open, p)
	}
}

func portError(name string, err error) error {
	if errors.Is(err, midiio.ErrPortGone) || errors.Is(err, midiio.ErrPortStuck) {
		return fmt.Errorf("MIDI port %s %w", name, err)
	}
	return fmt.Errorf("MIDI port %s: %w", name, err)
}

type out struct {
	driver *Driver
	number int
	name   string

	mu     sync.Mutex
	handle uintptr
	open   bool
	split  wire.Splitter
	send   func(msg []byte) error // o.message, made once: nothing is allocated while notes are sent
}

func (o *out) Number() int     { return o.number }
func (o *out) String() string  { return o.name }
func (o *out) Underlying() any { return nil }

func (o *out) IsOpen() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.open
}

// Open opens the port that was listed. An error that wraps
// [midiio.ErrPortGone] says that it is no more, or that its number has passed
// to another one.
func (o *out) Open() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.open {
		return nil
	}
	if name, r := o.driver.sys.outName(o.number); r != 0 || name != o.name {
		return portError(o.name, midiio.ErrPortGone)
	}
	h, r := o.driver.sys.openOut(o.number)
	if r != 0 {
		return portError(o.name, r.err())
	}
	o.handle, o.open, o.split, o.send = h, true, wire.Splitter{}, o.message
	o.driver.opened(o, true)
	return nil
}

// Close closes the port as it is: what sounds goes on, and is for the sender to
// end before. A port that has gone is closed without an error.
func (o *out) Close() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.open {
		return nil
	}
	o.open = false
	o.driver.opened(o, false)
	if r := o.driver.sys.closeOut(o.handle); r != 0 && !r.gone() {
		return portError(o.name, r.err())
	}
	return nil
}

// Send sends whole messages, of which any but the first may leave out a status
// byte that is as before. Errors wrap [midiio.ErrPortGone] when the port is no
// more and [midiio.ErrPortStuck] when it has been busy for a quarter of a
// second, or for a second with system exclusive.
func (o *out) Send(data []byte) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.open {
		return drivers.ErrPortClosed
	}
	if err := o.split.Each(data, o.send); err != nil {
		return portError(o.name, err)
	}
	return nil
}

func (o *out) message(msg []byte) error {
	if msg[0] == 0xF0 {
		limit := longLimit + time.Duration(len(msg))*time.Second/cableRate
		return o.driver.sys.long(o.handle, msg, limit).err()
	}
	word := pack(msg)
	r := o.driver.sys.short(o.handle, word)
	for waited := time.Duration(0); r == notReady && waited < busyLimit; waited += busyPause {
		time.Sleep(busyPause)
		r = o.driver.sys.short(o.handle, word)
	}
	return r.err()
}

type in struct {
	driver *Driver
	number int
	name   string

	mu       sync.Mutex
	handle   uintptr
	open     bool
	listener atomic.Pointer[listener] // set with mu held, read by the system's thread
	gone     atomic.Bool
}

func (i *in) Number() int     { return i.number }
func (i *in) String() string  { return i.name }
func (i *in) Underlying() any { return nil }

func (i *in) IsOpen() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.open
}

// Open opens the port that was listed. An error that wraps
// [midiio.ErrPortGone] says that it is no more, or that its number has passed
// to another one.
func (i *in) Open() error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.open {
		return nil
	}
	sys := i.driver.sys
	if name, r := sys.inName(i.number); r != 0 || name != i.name {
		return portError(i.name, midiio.ErrPortGone)
	}
	i.gone.Store(false)
	h, r := sys.openIn(i.number, i.receive)
	if r != 0 {
		return portError(i.name, r.err())
	}
	i.handle, i.open = h, true
	i.driver.opened(i, true)
	return nil
}

// Close stops listening and closes the port. A port that has gone is closed
// without an error.
func (i *in) Close() error {
	var l *listener
	defer func() { l.wait() }() // without the lock
	i.mu.Lock()
	defer i.mu.Unlock()
	if !i.open {
		return nil
	}
	i.open = false
	i.driver.opened(i, false)
	l = i.quit()
	if r := i.driver.sys.closeIn(i.handle); r != 0 && !r.gone() {
		return portError(i.name, r.err())
	}
	return nil
}

// A listener hands what an input says to who listens, on a goroutine of its
// own: the system's thread may not be kept waiting.
type listener struct {
	events  chan event
	done    chan struct{} // closed when nobody listens any more
	over    chan struct{} // closed when run has returned
	missed  atomic.Bool
	onMsg   func(msg []byte, milliseconds int32)
	onErr   func(error)
	wanting drivers.ListenConfig
}

// Listen calls onMsg with every message until stop is called, which waits for a
// call under way, but no more than a tenth of a second. Times count from the
// call of Listen. There is one listener at a time, and stop may be called more
// than once. System exclusive is not taken: with config.SysEx set, Listen fails.
//
// config.OnErr is told, with an error that wraps [midiio.ErrPortGone], that the
// port is no more, where the system says so; it is told of messages that were
// lost because onMsg took its time.
func (i *in) Listen(onMsg func(msg []byte, milliseconds int32), config drivers.ListenConfig) (stop func(), err error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	switch {
	case !i.open:
		return nil, drivers.ErrPortClosed
	case i.gone.Load():
		return nil, portError(i.name, midiio.ErrPortGone)
	case onMsg == nil:
		return nil, portError(i.name, errors.New("nothing to listen with"))
	case config.SysEx:
		return nil, portError(i.name, errors.New("system exclusive is not taken"))
	case i.listener.Load() != nil:
		return nil, portError(i.name, errors.New("it is listened to already"))
	}
	l := &listener{
		events:  make(chan event, queued),
		done:    make(chan struct{}),
		over:    make(chan struct{}),
		onMsg:   onMsg,
		onErr:   config.OnErr,
		wanting: config,
	}
	if l.onErr == nil {
		l.onErr = func(error) {}
	}
	i.listener.Store(l)
	if r := i.driver.sys.start(i.handle); r != 0 {
		i.listener.Store(nil)
		return nil, portError(i.name, r.err())
	}
	go l.run(i.name)
	return func() {
		i.mu.Lock()
		if i.listener.Load() == l {
			i.quit()
		}
		i.mu.Unlock()
		l.wait()
	}, nil
}

// quit ends listening, with i.mu held, and gives who listened until then. That a
// port which nobody listens to any more cannot be stopped is of no interest.
func (i *in) quit() *listener {
	l := i.listener.Swap(nil)
	if l != nil {
		close(l.done)
		_ = i.driver.sys.stop(i.handle)
	}
	return l
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

// receive is called by the system.
func (i *in) receive(e event) {
	switch e.kind {
	case mimClose:
		// After our own closeIn it comes too, and then nobody listens.
		i.gone.Store(true)
	case mimData:
	default:
		return
	}
	l := i.listener.Load()
	if l == nil {
		return
	}
	select {
	case l.events <- e:
	default:
		l.missed.Store(true)
	}
}

func (l *listener) run(name string) {
	defer close(l.over)
	for {
		var e event
		select {
		case <-l.done:
			return
		case e = <-l.events:
		}
		select {
		case <-l.done: // where both are there, the end comes first
			return
		default:
		}
		if e.kind == mimClose {
			l.onErr(portError(name, midiio.ErrPortGone))
			return
		}
		if msg := unpack(e.word); wanted(msg, l.wanting) {
			l.onMsg(msg, int32(e.ms))
		}
		if l.missed.Swap(false) {
			l.onErr(portError(name, errors.New("messages come faster than they are taken, some are lost")))
		}
	}
}

// wanted leaves out what config does not ask for: the clock and time code, and
// active sensing.
func wanted(msg []byte, config drivers.ListenConfig) bool {
	if len(msg) == 0 {
		return false
	}
	switch msg[0] {
	case 0xF1, 0xF8:
		return config.TimeCode
	case 0xFE:
		return config.ActiveSense
	}
	return true
}

// pack puts a message of up to three bytes into a word, the first one lowest.
func pack(msg []byte) (word uint32) {
	for i, b := range msg {
		word |= uint32(b) << (8 * i)
	}
	return word
}

// unpack is the message in a word; none when its status byte stands for none.
func unpack(word uint32) []byte {
	msg := []byte{byte(word), byte(word >> 8), byte(word >> 16)}
	return msg[:wire.Size(msg[0])]
}
