// Package portwatch finds out that an open MIDI port has gone away, on systems
// that say nothing when a message is sent to where nobody is any more: it looks
// from time to time whether the port is still listed.
package portwatch

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
)

// Every is how often New looks after a port by itself: the loss of a port is
// told within this time and what a listing takes.
const Every = 500 * time.Millisecond

// New is d with its ports looked after every so often while they are open, once
// in the period Every when it is 0. Once a port is no longer listed its Send
// fails with an error that wraps [midiio.ErrPortGone], and an input that is
// listened to hands such an error to OnErr, once. Outputs also have a method
// Gone() <-chan struct{}: the channel is closed when the loss is found out; it is
// that of the last opening, after a Close too, and nil before the first.
//
// A port is known by its name, and how many bear it is counted: two of one name
// are told apart by nothing, so when one of them goes both are said to.
//
// Listing, opening and closing take turns; so do sending to a port and closing
// it. Sending does not wait for a listing, which may take longer than a note can
// be late: d has to bear both at once. The rest is as safe from several
// goroutines as d is.
//
// A driver that opens virtual outputs (OpenVirtualOut) still does; those are
// ours and are not looked after. Close closes every port that is open, and no
// goroutine is left after the last port is closed.
func New(d drivers.Driver, every time.Duration) drivers.Driver {
	if every <= 0 {
		every = Every
	}
	w := &driver{inner: d, every: every, open: make(map[*port]bool)}
	if v, ok := d.(virtual); ok {
		return &virtualDriver{driver: w, virtual: v}
	}
	return w
}

type virtual interface {
	OpenVirtualOut(name string) (drivers.Out, error)
}

type driver struct {
	inner drivers.Driver
	every time.Duration

	mu   sync.Mutex // around each call of inner, and open
	open map[*port]bool
}

type virtualDriver struct {
	*driver
	virtual virtual
}

func (d *virtualDriver) OpenVirtualOut(name string) (drivers.Out, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.virtual.OpenVirtualOut(name)
}

func (d *driver) String() string { return d.inner.String() }

func (d *driver) Close() error {
	d.mu.Lock()
	open := make([]*port, 0, len(d.open))
	for p := range d.open {
		open = append(open, p)
	}
	d.mu.Unlock()
	var errs []error
	for _, p := range open {
		errs = append(errs, p.Close())
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return errors.Join(append(errs, d.inner.Close())...)
}

func (d *driver) Ins() ([]drivers.In, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	inner, err := d.inner.Ins()
	if err != nil {
		return nil, err
	}
	ins := make([]drivers.In, len(inner))
	for i, in := range inner {
		ins[i] = &input{port: port{driver: d, inner: in, listed: listing(d.inner.Ins)}, inner: in}
	}
	return ins, nil
}

func (d *driver) Outs() ([]drivers.Out, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	inner, err := d.inner.Outs()
	if err != nil {
		return nil, err
	}
	outs := make([]drivers.Out, len(inner))
	for i, out := range inner {
		outs[i] = &output{port: port{driver: d, inner: out, listed: listing(d.inner.Outs)}, inner: out}
	}
	return outs, nil
}

// listing is list for ports whose direction does not matter.
func listing[P drivers.Port](list func() ([]P, error)) func() ([]drivers.Port, error) {
	return func() ([]drivers.Port, error) {
		ports, err := list()
		all := make([]drivers.Port, len(ports))
		for i, p := range ports {
			all[i] = p
		}
		return all, err
	}
}

// A port is what inputs and outputs have in common.
type port struct {
	driver *driver
	inner  drivers.Port
	listed func() ([]drivers.Port, error) // with driver.mu held

	gone atomic.Bool // what the channel says, for who sends

	mu   sync.Mutex    // sending and closing; after driver.mu where both are held
	left chan struct{} // closed when the port has gone
	stop chan struct{} // closed when the port is; nil while it is not open
	lost *func(error)  // told when the port has gone; nil when nobody listens
}

func (p *port) Number() int     { return p.inner.Number() }
func (p *port) String() string  { return p.inner.String() }
func (p *port) Underlying() any { return p.inner.Underlying() }

func (p *port) IsOpen() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.inner.IsOpen()
}

func (p *port) errGone() error {
	return fmt.Errorf("MIDI port %s %w", p, midiio.ErrPortGone)
}

// Open opens the port that was listed under this number and name. When another
// one has taken the number by now, or none has it, the port has gone.
func (p *port) Open() error {
	p.driver.mu.Lock()
	defer p.driver.mu.Unlock()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stop != nil {
		return nil
	}
	ports, err := p.listed()
	if err != nil {
		return fmt.Errorf("MIDI port %s: %w", p, err)
	}
	there, n := false, 0
	for _, q := range ports {
		if q.String() == p.String() {
			n++
			there = there || q.Number() == p.Number()
		}
	}
	if !there {
		return p.errGone()
	}
	if err := p.inner.Open(); err != nil {
		return err
	}
	p.gone.Store(false)
	p.left = make(chan struct{})
	p.stop = make(chan struct{})
	p.driver.open[p] = true
	go p.watch(p.stop, n)
	return nil
}

func (p *port) Close() error {
	p.driver.mu.Lock()
	defer p.driver.mu.Unlock()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stop == nil {
		return nil
	}
	close(p.stop)
	p.stop, p.lost = nil, nil
	delete(p.driver.open, p)
	return p.inner.Close()
}

// watch looks for the port until stop is closed or it has gone. There were n of
// its name when it was opened.
func (p *port) watch(stop <-chan struct{}, n int) {
	tick := time.NewTicker(p.driver.every)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			return
		case <-tick.C:
		}
		now, err := p.count(stop)
		if err != nil {
			continue // that nothing can be listed at this moment is no loss yet
		}
		if now < n {
			break
		}
		n = now
	}
	p.mu.Lock()
	if p.stop != stop {
		p.mu.Unlock()
		return
	}
	p.gone.Store(true)
	close(p.left)
	lost := p.lost
	p.mu.Unlock()
	if lost != nil && *lost != nil {
		(*lost)(p.errGone())
	}
}

// count is how many ports bear this one's name. It fails once stop is closed:
// the driver may be, too.
func (p *port) count(stop <-chan struct{}) (n int, err error) {
	p.driver.mu.Lock()
	defer p.driver.mu.Unlock()
	select {
	case <-stop:
		return 0, drivers.ErrPortClosed
	default:
	}
	ports, err := p.listed()
	for _, q := range ports {
		if q.String() == p.String() {
			n++
		}
	}
	return n, err
}

type output struct {
	port
	inner drivers.Out
}

func (o *output) Send(msg []byte) error {
	if o.gone.Load() {
		return o.errGone()
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.stop == nil {
		return drivers.ErrPortClosed
	}
	return o.inner.Send(msg)
}

// Gone is closed when the port has gone.
func (o *output) Gone() <-chan struct{} {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.left
}

type input struct {
	port
	inner drivers.In
}

// Listen has one listener at a time. Its stop function may be called more than
// once.
func (in *input) Listen(onMsg func(msg []byte, milliseconds int32), config drivers.ListenConfig) (func(), error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	switch {
	case in.stop == nil:
		return nil, drivers.ErrPortClosed
	case in.gone.Load():
		return nil, in.errGone()
	}
	if tell := config.OnErr; tell != nil {
		var once sync.Once // we may find out, and so may the driver
		config.OnErr = func(err error) {
			if errors.Is(err, midiio.ErrPortGone) {
				once.Do(func() { tell(err) })
				return
			}
			tell(err)
		}
	}
	stop, err := in.inner.Listen(onMsg, config)
	if err != nil {
		return nil, err
	}
	lost := &config.OnErr
	in.lost = lost
	return sync.OnceFunc(func() {
		in.mu.Lock()
		if in.lost == lost { // else somebody listens anew
			in.lost = nil
		}
		in.mu.Unlock()
		stop()
	}), nil
}
