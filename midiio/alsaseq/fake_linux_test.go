package alsaseq

import (
	"bytes"
	"encoding/binary"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// A fakeKernel is the sequencer as the tests need it: clients, ports,
// subscriptions, queues of 200 events, and what port 0:1 announces. It keeps to
// the numbers of the header, not to the driver's names for them.
type fakeKernel struct {
	mu      sync.Mutex
	change  *sync.Cond
	clients map[int]*fakeClient
	subs    [][2]address // sender, destination
	refuse  error        // of open
	writes  int          // tries
}

type fakeClient struct {
	kernel   *fakeKernel
	id       int
	kind     int // 1 a program, 2 the kernel's
	name     string
	ports    map[int]*fakePort
	queue    []byte
	waiting  int // events in the queue
	overflow bool
	deadline time.Time
	closed   bool
	passes   bool // sends on what it gets, like Midi Through
	room     int  // of the queue, 200
}

type fakePort struct {
	name       string
	capability uint32
}

// newFake has the clients of an ordinary machine: System, Midi Through and a
// keyboard.
func newFake() *fakeKernel {
	k := &fakeKernel{clients: map[int]*fakeClient{}}
	k.change = sync.NewCond(&k.mu)
	system := k.add(0, 2, "System")
	system.ports[0] = &fakePort{"Timer", 0x23 | 0x40}
	system.ports[1] = &fakePort{"Announce", 0x21}
	through := k.add(14, 2, "Midi Through")
	through.ports[0] = &fakePort{"Midi Through Port-0", 0x63}
	through.passes = true
	keys := k.add(20, 2, "Keys 49")
	keys.ports[0] = &fakePort{"Keys 49 MIDI 1", 0x63}
	keys.ports[1] = &fakePort{"Pads", 0x21}
	return k
}

func (k *fakeKernel) add(id, kind int, name string) *fakeClient {
	c := &fakeClient{kernel: k, id: id, kind: kind, name: name, ports: map[int]*fakePort{}, room: 200}
	k.clients[id] = c
	return c
}

// program is a client of another program with one port that takes all.
func (k *fakeKernel) program(id int, name, port string) *fakeClient {
	k.mu.Lock()
	defer k.mu.Unlock()
	c := k.add(id, 1, name)
	c.ports[0] = &fakePort{port, 0x63}
	return c
}

func (k *fakeKernel) open() (device, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.refuse != nil {
		return nil, k.refuse
	}
	id := 128
	for k.clients[id] != nil {
		id++
	}
	return k.add(id, 1, ""), nil
}

func (k *fakeKernel) port(a address) *fakePort {
	if c := k.clients[int(a.client)]; c != nil {
		return c.ports[int(a.port)]
	}
	return nil
}

func (k *fakeKernel) subscribe(from, to address) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.subs = append(k.subs, [2]address{from, to})
}

// put queues an event for a client of ours; the kernel drops a full queue whole.
func (c *fakeClient) put(b []byte) error {
	if c.kind == 2 {
		return nil // a device takes what it gets
	}
	if c.waiting >= c.room {
		c.overflow = true
		return syscall.EAGAIN
	}
	c.queue = append(c.queue, b...)
	c.waiting++
	c.kernel.change.Broadcast()
	return nil
}

// deliver gives one event to its destination.
func (k *fakeKernel) deliver(b []byte) error {
	to := address{b[14], b[15]}
	if to == (address{254, 253}) {
		from := address{b[12], b[13]}
		var first error
		for _, s := range k.subs {
			if s[0] == from {
				copied := bytes.Clone(b)
				copied[14], copied[15] = s[1].client, s[1].port
				if err := k.deliver(copied); err != nil && first == nil {
					first = err
				}
			}
		}
		return first
	}
	p := k.port(to)
	if p == nil {
		return syscall.ENOENT
	}
	if p.capability&2 == 0 {
		return syscall.EPERM
	}
	c := k.clients[int(to.client)]
	if c.passes {
		b = bytes.Clone(b)
		b[12], b[13], b[14], b[15] = to.client, to.port, 254, 253
		if err := k.deliver(b); err != syscall.EAGAIN {
			return err
		}
		return syscall.ENOMEM
	}
	return c.put(b)
}

// announces tells all who have subscribed to 0:1, and, of subscriptions, those
// they join.
func (k *fakeKernel) announces(kind byte, data ...byte) {
	e := make([]byte, 28)
	e[0], e[3], e[13] = kind, 253, 1
	copy(e[16:], data)
	e[14], e[15] = 254, 253
	_ = k.deliver(e)
}

func (k *fakeKernel) part(s [2]address, told ...address) {
	k.subs = slices.DeleteFunc(k.subs, func(x [2]address) bool { return x == s })
	for _, a := range told {
		e := make([]byte, 28)
		e[0], e[3], e[13], e[14], e[15] = 67, 253, 1, a.client, a.port
		copy(e[16:], []byte{s[0].client, s[0].port, s[1].client, s[1].port})
		_ = k.deliver(e)
	}
}

// end takes a client away, as when its program ends or its card is unplugged.
// Silent, it does so without a word but that writes to it fail.
func (k *fakeKernel) end(id int, silent bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.endLocked(id, silent)
}

func (k *fakeKernel) endLocked(id int, silent bool) {
	c := k.clients[id]
	delete(k.clients, id)
	for _, s := range slices.Clone(k.subs) {
		switch id {
		case int(s[0].client):
			k.part(s, s[1:][:b2i(!silent)]...)
		case int(s[1].client):
			k.part(s, s[:1][:b2i(!silent)]...)
		}
	}
	c.closed = true
	if !silent {
		k.announces(61, byte(id))
	}
	k.change.Broadcast()
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (c *fakeClient) ioctl(request uintptr, arg []byte) error {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	if c.closed {
		return os.ErrClosed
	}
	if want := int(request >> 16 & 0x3fff); len(arg) != want {
		panic("size of an ioctl's argument")
	}
	u32 := binary.NativeEndian
	info := func(c *fakeClient) {
		clear(arg)
		u32.PutUint32(arg, uint32(c.id))
		u32.PutUint32(arg[4:], uint32(c.kind))
		copy(arg[8:71], c.name)
	}
	portInfo := func(a address) {
		p := k.port(a)
		clear(arg)
		arg[0], arg[1] = a.client, a.port
		copy(arg[2:65], p.name)
		u32.PutUint32(arg[68:], p.capability)
		readers := 0
		for _, s := range k.subs {
			if s[0] == a {
				readers++
			}
		}
		u32.PutUint32(arg[88:], uint32(readers))
	}
	next := func(ids []int, after int) int {
		slices.Sort(ids)
		for _, id := range ids {
			if id > after {
				return id
			}
		}
		return -1
	}
	switch request {
	case 0x80045301: // CLIENT_ID
		u32.PutUint32(arg, uint32(c.id))
	case 0xc0bc5310: // GET_CLIENT_INFO
		x := k.clients[int(int32(u32.Uint32(arg)))]
		if x == nil {
			return syscall.ENOENT
		}
		info(x)
	case 0x40bc5311: // SET_CLIENT_INFO
		if int(u32.Uint32(arg)) != c.id || u32.Uint32(arg[4:]) != 1 {
			return syscall.EPERM
		}
		name, _, _ := bytes.Cut(arg[8:72], []byte{0})
		c.name = string(name)
	case 0xc0a85320: // CREATE_PORT
		if int(arg[0]) != c.id {
			return syscall.EPERM
		}
		name, _, _ := bytes.Cut(arg[2:66], []byte{0})
		arg[1] = byte(len(c.ports))
		c.ports[len(c.ports)] = &fakePort{string(name), u32.Uint32(arg[68:])}
	case 0xc0a85322: // GET_PORT_INFO
		a := address{arg[0], arg[1]}
		if k.port(a) == nil {
			return syscall.ENOENT
		}
		portInfo(a)
	case 0x40505330: // SUBSCRIBE_PORT
		from, to := address{arg[0], arg[1]}, address{arg[2], arg[3]}
		switch {
		case k.port(from) == nil || k.port(to) == nil:
			return syscall.ENOENT
		case int(from.client) != c.id && k.port(from).capability&0x20 == 0, int(to.client) != c.id && k.port(to).capability&0x40 == 0:
			return syscall.EPERM
		}
		k.subs = append(k.subs, [2]address{from, to})
	case 0xc0bc5351: // QUERY_NEXT_CLIENT
		var ids []int
		for id := range k.clients {
			ids = append(ids, id)
		}
		id := next(ids, int(int32(u32.Uint32(arg))))
		if id < 0 {
			return syscall.ENOENT
		}
		info(k.clients[id])
	case 0xc0a85352: // QUERY_NEXT_PORT
		x := k.clients[int(arg[0])]
		if x == nil {
			return syscall.ENOENT
		}
		var ids []int
		for id := range x.ports {
			ids = append(ids, id)
		}
		after := int(arg[1])
		if after == 255 {
			after = -1
		}
		id := next(ids, after)
		if id < 0 {
			return syscall.ENOENT
		}
		portInfo(address{arg[0], byte(id)})
	default:
		return syscall.ENOTTY
	}
	return nil
}

func (c *fakeClient) write(b []byte) error {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	k.writes++
	if c.closed {
		return os.ErrClosed
	}
	if len(b) < 28 || int(b[12]) != c.id {
		return syscall.EINVAL
	}
	if b[1]&12 == 4 {
		n := int(binary.NativeEndian.Uint32(b[16:]))
		if n != len(b)-28 {
			return syscall.EINVAL
		}
		b = append(bytes.Clone(b), make([]byte, (28-n%28)%28)...)
	} else if len(b) != 28 {
		return syscall.EINVAL
	}
	return k.deliver(b)
}

func (c *fakeClient) read(b []byte) (int, error) {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	for {
		switch {
		case c.closed:
			return 0, os.ErrClosed
		case c.overflow:
			c.queue, c.waiting, c.overflow = nil, 0, false
			return 0, syscall.ENOSPC
		case len(c.queue) > 0:
			n := copy(b, c.queue)
			c.queue, c.waiting = c.queue[n:], 0
			return n, nil
		case !c.deadline.IsZero() && !time.Now().Before(c.deadline):
			return 0, os.ErrDeadlineExceeded
		}
		k.change.Wait()
	}
}

func (c *fakeClient) setReadDeadline(t time.Time) error {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	if c.closed {
		return os.ErrClosed
	}
	c.deadline = t
	if !t.IsZero() {
		time.AfterFunc(time.Until(t), func() {
			k.mu.Lock()
			defer k.mu.Unlock()
			k.change.Broadcast()
		})
	}
	return nil
}

func (c *fakeClient) close() error {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	if c.closed {
		return os.ErrClosed
	}
	k.endLocked(c.id, false)
	return nil
}

// take is what has come to a program, by event.
func (c *fakeClient) take() [][]byte {
	k := c.kernel
	k.mu.Lock()
	defer k.mu.Unlock()
	var all [][]byte
	walk(c.queue, func(e *event, more []byte) { all = append(all, append(bytes.Clone(e[:]), more...)) })
	c.queue, c.waiting = nil, 0
	return all
}

// fakeDriver is a driver on a kernel, and watches that nothing is left running.
func fakeDriver(t testing.TB, k *fakeKernel) *Driver {
	t.Helper()
	d, err := newDriver("thumbline", k)
	if err != nil {
		t.Fatal(err)
	}
	d.patience = 30 * time.Millisecond
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
		k.mu.Lock()
		for id, c := range k.clients {
			if c.name == "thumbline" {
				t.Errorf("client %d is left open", id)
			}
		}
		k.mu.Unlock()
		nothingRuns(t)
	})
	return d
}

// nothingRuns fails when a goroutine of this package's ports is left. One that
// has said it is done may take a moment to leave the list.
func nothingRuns(t testing.TB) {
	t.Helper()
	var left string
	for range 1000 {
		if left = running(); left == "" {
			return
		}
		time.Sleep(time.Millisecond)
	}
	t.Errorf("left running:\n%s", left)
}

func running() string {
	buf := make([]byte, 1<<20)
	buf = buf[:runtime.Stack(buf, true)]
	for _, g := range strings.Split(string(buf), "\n\n") {
		if strings.Contains(g, "alsaseq.(*Out).listen") || strings.Contains(g, "alsaseq.(*receiver)") || strings.Contains(g, "alsaseq.(*In).Listen") {
			return g
		}
	}
	return ""
}
