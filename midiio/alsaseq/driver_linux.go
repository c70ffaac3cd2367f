package alsaseq

import (
	"encoding/binary"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
)

// patience is how long a receiver may leave a message untaken.
const patience = 300 * time.Millisecond

// A Driver lists the ports of the sequencer and opens them. Its methods may be
// called by any goroutine; those of a port as each says.
type Driver struct {
	name     string
	kernel   kernel
	patience time.Duration

	mu   sync.Mutex
	open map[*client]func() error // how to close what is open
}

var _ drivers.Driver = (*Driver)(nil)

// New is a driver whose ports other programs see as those of a client with this
// name. It holds nothing open by itself. The error says what to do when the
// machine has no sequencer or does not let us use it.
func New(name string) (*Driver, error) {
	if !supported {
		return nil, fmt.Errorf("no MIDI ports on linux/%s in this program (use amd64 or arm64; or write a file: thumbline write --out x.mid)", runtime.GOARCH)
	}
	return newDriver(name, system{})
}

func newDriver(name string, k kernel) (*Driver, error) {
	d := &Driver{name: name, kernel: k, patience: patience, open: map[*client]func() error{}}
	c, err := d.connect()
	if err != nil {
		return nil, err
	}
	if err := c.device.close(); err != nil {
		return nil, fmt.Errorf("MIDI: %w", err)
	}
	return d, nil
}

// String is the driver's name among others.
func (d *Driver) String() string { return "alsaseq" }

// Close closes every port that is open. The driver can be used on.
func (d *Driver) Close() error {
	d.mu.Lock()
	closers := make([]func() error, 0, len(d.open))
	for _, f := range d.open {
		closers = append(closers, f)
	}
	d.mu.Unlock()
	var errs []error
	for _, f := range closers {
		errs = append(errs, f())
	}
	return errors.Join(errs...)
}

// A client is one opening of the sequencer, and a port of ours there.
type client struct {
	device device
	our    address
}

// connect makes a client with our name and no port.
func (d *Driver) connect() (*client, error) {
	dev, err := d.kernel.open()
	switch {
	case errors.Is(err, syscall.ENOENT), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO):
		return nil, errors.New("no MIDI on this machine (load snd-seq; or write a file: thumbline write --out x.mid)")
	case errors.Is(err, syscall.EACCES), errors.Is(err, syscall.EPERM):
		return nil, fmt.Errorf("MIDI: %s: permission denied (join the group audio; or write a file: thumbline write --out x.mid)", devicePath)
	case err != nil:
		return nil, fmt.Errorf("MIDI: %s: %w", devicePath, err)
	}
	c := &client{device: dev}
	var id [clientIDSize]byte
	var info clientInfo
	err = dev.ioctl(ioctlClientID, id[:])
	if err == nil {
		n := int32(binary.NativeEndian.Uint32(id[:]))
		c.our.client = byte(n)
		info.setClient(n)
		err = dev.ioctl(ioctlGetClientInfo, info[:])
	}
	if err == nil {
		info.setName(d.name)
		err = dev.ioctl(ioctlSetClientInfo, info[:])
	}
	if err != nil {
		_ = dev.close()
		return nil, fmt.Errorf("MIDI: a client of the sequencer: %w", err)
	}
	return c, nil
}

// port makes a port of the client. It also takes what the kernel tells of ports
// that end; without capSubsWrite no other program sees a port to write to.
func (c *client) port(name string, capability uint) error {
	var info portInfo
	info.setAt(c.our)
	info.setName(name)
	info.setCapability(capability | capWrite)
	info.setType(typeGeneric | typeApplication)
	info.setChannels(16)
	if err := c.device.ioctl(ioctlCreatePort, info[:]); err != nil {
		return fmt.Errorf("MIDI: a port of the sequencer: %w", err)
	}
	c.our = info.at()
	return c.subscribe(announce, c.our)
}

func (c *client) subscribe(from, to address) error {
	return c.device.ioctl(ioctlSubscribe, subscription(from, to))
}

// info is what the kernel knows of a port, and the name of its client.
func (c *client) info(a address) (string, portInfo, error) {
	var owner clientInfo
	owner.setClient(int32(a.client))
	var p portInfo
	p.setAt(a)
	err := c.device.ioctl(ioctlGetClientInfo, owner[:])
	if err == nil {
		err = c.device.ioctl(ioctlGetPortInfo, p[:])
	}
	return owner.name(), p, err
}

// A peer is a port of another program or of the kernel as it was listed.
type peer struct {
	driver      *Driver
	at          address
	kernel      bool // the kernel's own, maybe a device
	owner, port string
	name        string
	number      int
}

// Number is the port's place in the list of its kind, from 0.
func (p *peer) Number() int { return p.number }

// String is the port's name as a person reads it: that of its client and its
// own, the former once. Several ports may have the same.
func (p *peer) String() string { return p.name }

// Underlying is nil: there is nothing else beneath.
func (p *peer) Underlying() any { return nil }

func portName(owner, port string) string {
	switch {
	case strings.HasPrefix(port, owner):
		return port
	case port == "" || strings.HasSuffix(owner, port):
		return owner
	}
	return owner + " " + port
}

// peers are the ports of others that have all of a capability, in the system's
// order.
func (d *Driver) peers(capability uint32) ([]*peer, error) {
	c, err := d.connect()
	if err != nil {
		return nil, err
	}
	defer c.device.close()
	d.mu.Lock()
	own := map[byte]bool{c.our.client: true}
	for c := range d.open {
		own[c.our.client] = true
	}
	d.mu.Unlock()

	// A client or port may end while we ask: then it is not there.
	next := func(request uintptr, info []byte) (bool, error) {
		err := c.device.ioctl(request, info)
		if errors.Is(err, syscall.ENOENT) {
			return false, nil
		}
		if err != nil {
			err = fmt.Errorf("MIDI: list of ports: %w", err)
		}
		return err == nil, err
	}
	var all []*peer
	var owner clientInfo
	owner.setClient(-1)
	for {
		if ok, err := next(ioctlNextClient, owner[:]); err != nil {
			return nil, err
		} else if !ok {
			break
		}
		n := byte(owner.client())
		if n == announce.client || own[n] {
			continue
		}
		var p portInfo
		p.setAt(address{n, 255}) // the one before port 0
		for {
			if ok, err := next(ioctlNextPort, p[:]); err != nil {
				return nil, err
			} else if !ok {
				break
			}
			if p.capability()&capability != capability {
				continue
			}
			all = append(all, &peer{d, p.at(), owner.kind() == kernelClient, owner.name(), p.name(), portName(owner.name(), p.name()), len(all)})
		}
	}
	return all, nil
}

// Outs are the ports of others that anyone may subscribe to write to.
func (d *Driver) Outs() ([]drivers.Out, error) {
	peers, err := d.peers(capWrite | capSubsWrite)
	if err != nil {
		return nil, err
	}
	outs := make([]drivers.Out, len(peers))
	for i, p := range peers {
		outs[i] = &Out{peer: p}
	}
	return outs, nil
}

// Ins are the ports of others that anyone may subscribe to read.
func (d *Driver) Ins() ([]drivers.In, error) {
	peers, err := d.peers(capRead | capSubsRead)
	if err != nil {
		return nil, err
	}
	ins := make([]drivers.In, len(peers))
	for i, p := range peers {
		ins[i] = &In{peer: p}
	}
	return ins, nil
}

// OpenVirtualOut makes a port of ours that other programs may subscribe to; it
// is an *Out and open. Messages nobody has subscribed to are lost.
func (d *Driver) OpenVirtualOut(name string) (drivers.Out, error) {
	o := &Out{peer: &peer{driver: d, at: subscribers, name: name, port: name}}
	if err := o.Open(); err != nil {
		return nil, err
	}
	return o, nil
}

func (d *Driver) opened(c *client, closer func() error) {
	d.mu.Lock()
	d.open[c] = closer
	d.mu.Unlock()
}

func (d *Driver) closed(c *client) {
	d.mu.Lock()
	delete(d.open, c)
	d.mu.Unlock()
}

// link makes a client with a port of ours and connects it with the peer: to it,
// or from it. The order leaves no gap: whatever ends after the subscription to
// what the kernel announces is told there, what has ended before is not found.
func (p *peer) link(name string, capability uint, from bool) (*client, error) {
	c, err := p.driver.connect()
	if err != nil {
		return nil, err
	}
	if err = c.port(name, capability); err == nil && p.at != subscribers {
		err = p.attach(c, from)
	}
	if err != nil {
		_ = c.device.close()
		return nil, err
	}
	return c, nil
}

func (p *peer) attach(c *client, from bool) error {
	if err := p.there(c); err != nil {
		return err
	}
	a, b := c.our, p.at
	if from {
		a, b = b, a
	}
	switch err := c.subscribe(a, b); {
	case gone(err):
		return p.failed(ErrPortGone)
	case errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("MIDI port %s is in use by another program", p.name)
	case err != nil:
		return p.failed(err)
	}
	return nil
}

// there is nil while the peer exists, and is the one that was listed: numbers
// are given anew.
func (p *peer) there(c *client) error {
	if p.at == subscribers {
		return nil
	}
	switch owner, info, err := c.info(p.at); {
	case gone(err), err == nil && (owner != p.owner || info.name() != p.port):
		return p.failed(ErrPortGone)
	case err != nil:
		return p.failed(err)
	}
	return nil
}

func (p *peer) failed(err error) error {
	if errors.Is(err, ErrPortGone) || errors.Is(err, ErrPortStuck) {
		return fmt.Errorf("MIDI port %s %w", p.name, err)
	}
	return fmt.Errorf("MIDI port %s: %w", p.name, err)
}

func gone(err error) bool {
	return errors.Is(err, syscall.ENOENT) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO)
}
