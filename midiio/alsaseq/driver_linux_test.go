package alsaseq

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
	"gitlab.com/gomidi/midi/v2/drivers/drivertest"
)

func TestNoSequencer(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{syscall.ENOENT, "no MIDI on this machine (load snd-seq; or write a file: thumbline write --out x.mid)"},
		{syscall.ENODEV, "no MIDI on this machine (load snd-seq; or write a file: thumbline write --out x.mid)"},
		{syscall.EACCES, "MIDI: /dev/snd/seq: permission denied (join the group audio; or write a file: thumbline write --out x.mid)"},
		{syscall.ENOMEM, "MIDI: /dev/snd/seq: cannot allocate memory"},
	} {
		k := newFake()
		k.refuse = c.err
		if _, err := newDriver("thumbline", k); err == nil || err.Error() != c.want {
			t.Errorf("%v: %v, want %s", c.err, err, c.want)
		}
	}
}

func names[P fmt.Stringer](ports []P) string {
	var all []string
	for _, p := range ports {
		all = append(all, p.String())
	}
	return strings.Join(all, ", ")
}

func TestLists(t *testing.T) {
	k := newFake()
	k.program(130, "Synth", "Synth")
	k.program(131, "Synth", "Synth")
	k.program(129, "secret", "not for all").ports[0].capability = 0x03
	d := fakeDriver(t, k)
	v, err := d.OpenVirtualOut("guitar")
	if err != nil {
		t.Fatal(err)
	}
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := names(outs), "Midi Through Port-0, Keys 49 MIDI 1, Synth, Synth"; got != want {
		t.Errorf("outputs %s, want %s", got, want)
	}
	if got, want := names(ins), "Midi Through Port-0, Keys 49 MIDI 1, Keys 49 Pads, Synth, Synth"; got != want {
		t.Errorf("inputs %s, want %s", got, want)
	}
	for i, o := range outs {
		if o.Number() != i {
			t.Errorf("%s is number %d, want %d", o, o.Number(), i)
		}
	}
	if v.String() != "guitar" || !v.IsOpen() {
		t.Errorf("virtual port %s, open %v", v, v.IsOpen())
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	var ours []string
	for _, c := range k.clients {
		if c.name == "thumbline" {
			for _, p := range c.ports {
				ours = append(ours, fmt.Sprintf("%s %#x", p.name, p.capability))
			}
		}
	}
	if got := strings.Join(ours, ", "); got != "guitar 0x23" {
		t.Errorf("others see of us %s", got)
	}
}

func fakeOut(t testing.TB, d *Driver, part string) *Out {
	t.Helper()
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range outs {
		if strings.Contains(o.String(), part) {
			return o.(*Out)
		}
	}
	t.Fatalf("no output %q", part)
	return nil
}

func openOut(t testing.TB, d *Driver, part string) *Out {
	t.Helper()
	o := fakeOut(t, d, part)
	if err := o.Open(); err != nil {
		t.Fatal(err)
	}
	return o
}

func openIn(t *testing.T, d *Driver, part string) *In {
	t.Helper()
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range ins {
		if strings.Contains(i.String(), part) {
			if err := i.Open(); err != nil {
				t.Fatal(err)
			}
			return i.(*In)
		}
	}
	t.Fatalf("no input %q", part)
	return nil
}

func TestStatus(t *testing.T) {
	d := fakeDriver(t, newFake())
	out := fakeOut(t, d, "Keys")
	in := openIn(t, d, "Keys")
	if err := in.Close(); err != nil {
		t.Fatal(err)
	}
	for _, p := range []drivers.Port{out, in} {
		if p.IsOpen() {
			t.Errorf("%s is open before Open", p)
		}
		if err := p.Close(); err != nil {
			t.Errorf("%s: Close before Open: %v", p, err)
		}
		for range 2 {
			for range 2 {
				if err := p.Open(); err != nil || !p.IsOpen() {
					t.Errorf("%s: Open: %v, open %v", p, err, p.IsOpen())
				}
			}
			for range 2 {
				if err := p.Close(); err != nil || p.IsOpen() {
					t.Errorf("%s: Close: %v, open %v", p, err, p.IsOpen())
				}
			}
		}
	}
	if err := out.Send([]byte{0xf8}); !errors.Is(err, drivers.ErrPortClosed) {
		t.Errorf("Send when closed: %v", err)
	}
	if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); !errors.Is(err, drivers.ErrPortClosed) {
		t.Errorf("Listen when closed: %v", err)
	}
	if d.String() == "" || len(drivers.REGISTRY) != 0 {
		t.Errorf("driver %q, registered %v", d, drivers.REGISTRY)
	}
}

// gomidi's own tests of drivers, over a port that gives back what it gets.
func TestDrivertest(t *testing.T) {
	for name, test := range map[string]func(*testing.T, drivers.In, drivers.Out){
		"running status": drivertest.RunningStatusTest, "full status": drivertest.FullStatusTest,
		"no active sense": drivertest.NoActiveSenseTest, "no time code": drivertest.NoTimeCodeTest,
		"system exclusive": drivertest.SysexTest, "no system exclusive": drivertest.NoSysexTest,
	} {
		t.Run(name, func(t *testing.T) {
			d := fakeDriver(t, newFake())
			drivertest.DriverInterfaceImplementationTest(t, d)
			in, out := openIn(t, d, "Through"), openOut(t, d, "Through")
			test(t, in, out)
		})
	}
}

func TestSend(t *testing.T) {
	k := newFake()
	synth := k.program(130, "Synth", "in")
	d := fakeDriver(t, k)
	out := openOut(t, d, "Synth")
	for _, m := range everyKind {
		if err := out.Send(m); err != nil {
			t.Fatal(err)
		}
	}
	got := synth.take()
	if len(got) != len(everyKind) {
		t.Fatalf("%d events of %d messages", len(got), len(everyKind))
	}
	for i, m := range everyKind {
		var e event
		e.encode(m)
		e[12], e[14] = 128, 130
		want := e[:]
		if m[0] == 0xf0 {
			want = append(want, m...)
		}
		if !bytes.Equal(got[i], want) {
			t.Errorf("% X: got % x, want % x", m, got[i], want)
		}
	}
}

// A status left out is that of the last channel message; after a system message
// there is none.
func TestRunningStatus(t *testing.T) {
	k := newFake()
	synth := k.program(130, "Synth", "in")
	d := fakeDriver(t, k)
	out := openOut(t, d, "Synth")
	for _, c := range []struct {
		msg []byte
		ok  bool
	}{
		{[]byte{60, 1}, false}, {[]byte{0x93, 60, 1}, true}, {[]byte{62, 2}, true}, {[]byte{64}, false}, {[]byte{0xf8}, true}, {[]byte{65, 3}, true},
		{[]byte{0xf2, 0, 0}, true}, {[]byte{66, 4}, false}, {[]byte{0xc1, 7}, true}, {[]byte{8}, true}, {[]byte{8, 9}, false}, {nil, false},
	} {
		if err := out.Send(c.msg); (err == nil) != c.ok {
			t.Errorf("% X: %v", c.msg, err)
		}
	}
	var got []string
	for _, b := range synth.take() {
		(*event)(b).decode(func(m ...byte) { got = append(got, fmt.Sprintf("%X", m)) })
	}
	if s, want := strings.Join(got, " "), "933C01 933E02 F8 934103 F20000 C107 C108"; s != want {
		t.Errorf("sent %s, want %s", s, want)
	}
	if err := errors.Join(out.Close(), out.Open()); err != nil {
		t.Fatal(err)
	}
	if err := out.Send([]byte{9}); err == nil {
		t.Error("opened anew, it goes on with the status of before")
	}
}

func waitGone(t *testing.T, o *Out) {
	t.Helper()
	select {
	case <-o.Gone():
	case <-time.After(10 * time.Second):
		t.Fatal("never told that the port has gone")
	}
}

// A port that ends is told also in a rest, and however it ends.
func TestGone(t *testing.T) {
	for name, end := range map[string]func(k *fakeKernel, d *Driver, o *Out){
		"its client ends":        func(k *fakeKernel, _ *Driver, _ *Out) { k.end(130, false) },
		"only a write tells":     func(k *fakeKernel, _ *Driver, _ *Out) { k.end(130, true) },
		"parted by someone":      func(k *fakeKernel, _ *Driver, o *Out) { partBy(k, o) },
		"its port ends":          func(k *fakeKernel, _ *Driver, _ *Out) { endPort(k, address{130, 0}) },
		"told when queue's full": func(k *fakeKernel, _ *Driver, o *Out) { floodAndEnd(k, o) },
	} {
		t.Run(name, func(t *testing.T) {
			k := newFake()
			k.program(130, "Synth", "in")
			d := fakeDriver(t, k)
			out := openOut(t, d, "Synth")
			if err := out.Send([]byte{0x90, 60, 100}); err != nil || !out.Connected() {
				t.Fatal(err, out.Connected())
			}
			end(k, d, out)
			if name != "only a write tells" {
				waitGone(t, out)
				if out.IsOpen() || out.Connected() {
					t.Error("still open")
				}
			}
			err := out.Send([]byte{0x80, 60, 0})
			if !errors.Is(err, ErrPortGone) || err.Error() != "MIDI port Synth in went away" {
				t.Errorf("Send: %v", err)
			}
			if err := out.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

func partBy(k *fakeKernel, o *Out) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.part([2]address{o.client.our, {130, 0}}, o.client.our)
}

func endPort(k *fakeKernel, a address) {
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.clients[int(a.client)].ports, int(a.port))
	k.announces(64, a.client, a.port)
}

// floodAndEnd leaves our queue so full that what tells of the end is lost.
func floodAndEnd(k *fakeKernel, o *Out) {
	k.mu.Lock()
	defer k.mu.Unlock()
	c := k.clients[int(o.client.our.client)]
	for range 300 {
		_ = c.put(make([]byte, 28))
	}
	k.endLocked(130, false)
}

func TestAnotherInItsPlace(t *testing.T) {
	k := newFake()
	k.program(130, "Synth", "in")
	d := fakeDriver(t, k)
	out := fakeOut(t, d, "Synth")
	k.end(130, false)
	if err := out.Open(); !errors.Is(err, ErrPortGone) || out.IsOpen() {
		t.Errorf("nobody there: %v", err)
	}
	k.program(130, "Other", "in")
	if err := out.Open(); !errors.Is(err, ErrPortGone) || out.IsOpen() {
		t.Errorf("another: %v", err)
	}
	k.end(130, false)
	k.program(130, "Synth", "in")
	if err := out.Open(); err != nil {
		t.Fatal(err)
	}
	k.end(130, false)
	waitGone(t, out)
	k.program(130, "Synth", "in")
	if err := out.Open(); err != nil || !out.IsOpen() { // opened anew
		t.Fatal(err)
	}
	if err := out.Send([]byte{0xf8}); err != nil {
		t.Fatal(err)
	}
}

func TestStuck(t *testing.T) {
	k := newFake()
	synth := k.program(130, "Synth", "in")
	d := fakeDriver(t, k)
	out := openOut(t, d, "Synth")
	n := 0
	var err error
	from := time.Now()
	for ; err == nil && n < 1000; n++ {
		from = time.Now()
		err = out.Send([]byte{0x90, byte(n % 128), 100})
	}
	if !errors.Is(err, ErrPortStuck) || err.Error() != "MIDI port Synth in does not take notes" || n != 201 || time.Since(from) < d.patience {
		t.Errorf("message %d: %v after %v", n, err, time.Since(from))
	}
	tries := k.writes
	if err := out.Send([]byte{0x80, 1, 0}); !errors.Is(err, ErrPortStuck) || k.writes != tries+1 {
		t.Errorf("the next: %v, tried %d times", err, k.writes-tries)
	}
	if !out.IsOpen() {
		t.Error("a port that is stuck is not closed")
	}
	if got := len(synth.take()); got != 200 {
		t.Errorf("%d had been taken", got)
	}
	if err := out.Send([]byte{0x80, 1, 0}); err != nil {
		t.Errorf("when it reads again: %v", err)
	}
	// One that reads again while we wait has lost messages: an error, and the
	// next arrives.
	for err = nil; err == nil; {
		if err = out.Send([]byte{0xf8}); k.writes > tries+300 {
			t.Fatal("never full")
		}
	}
	synth.take()
	d.patience = 10 * time.Second
	for err = nil; err == nil; {
		k.mu.Lock()
		full := synth.waiting == synth.room
		k.mu.Unlock()
		if full {
			time.AfterFunc(20*time.Millisecond, func() { synth.take() })
		}
		err = out.Send([]byte{0xfe})
	}
	if !errors.Is(err, ErrPortStuck) {
		t.Error(err)
	}
	// One that took it in the end is waited for again, and so is one that is
	// opened anew.
	d.patience = 5 * time.Millisecond
	for _, prepare := range []func() error{func() error { return nil }, func() error { return errors.Join(out.Close(), out.Open()) }} {
		if err := prepare(); err != nil {
			t.Fatal(err)
		}
		k.mu.Lock()
		synth.room = 0
		k.mu.Unlock()
		tries := k.writes
		if err := out.Send([]byte{0xf8}); !errors.Is(err, ErrPortStuck) || k.writes < tries+2 {
			t.Errorf("%v after %d tries", err, k.writes-tries)
		}
	}
	k.mu.Lock()
	synth.room = 200
	k.mu.Unlock()
	if err := out.Send([]byte{0xfc}); err != nil {
		t.Error(err)
	}
	var got []byte
	for _, e := range synth.take() {
		got = append(got, e[0])
	}
	if !bytes.Equal(got, []byte{42, 32}) {
		t.Errorf("what came after: %d", got)
	}
}

// One of several who does not read: the others do not hear a note twice.
func TestStuckAmongSeveral(t *testing.T) {
	for _, how := range []string{"virtual", "through"} {
		t.Run(how, func(t *testing.T) {
			k := newFake()
			reads, stuck := k.program(140, "reads", "in"), k.program(141, "stuck", "in")
			d := fakeDriver(t, k)
			var out *Out
			from := address{14, 0}
			if how == "virtual" {
				o, err := d.OpenVirtualOut("guitar")
				if err != nil {
					t.Fatal(err)
				}
				out = o.(*Out)
				from = out.client.our
			} else {
				out = openOut(t, d, "Through")
			}
			k.subscribe(from, address{140, 0})
			k.subscribe(from, address{141, 0})
			stuck.room = 5
			var err error
			n := 0
			for ; err == nil && n < 100; n++ {
				err = out.Send([]byte{0xf8})
			}
			if !errors.Is(err, ErrPortStuck) || n != 6 {
				t.Errorf("%s: message %d: %v", how, n, err)
			}
			if got := len(reads.take()); got != n {
				t.Errorf("%s: the other got %d of %d", how, got, n)
			}
		})
	}
}

func TestGoneWhileStuck(t *testing.T) {
	for name, end := range map[string]func(*fakeKernel, *Out){
		"ended":  func(k *fakeKernel, _ *Out) { k.end(130, false) },
		"parted": partBy, // it could be written to still
	} {
		k := newFake()
		k.program(130, "Synth", "in").room = 0
		d := fakeDriver(t, k)
		d.patience = 10 * time.Second
		out := openOut(t, d, "Synth")
		time.AfterFunc(20*time.Millisecond, func() { end(k, out) })
		if err := out.Send([]byte{0xf8}); !errors.Is(err, ErrPortGone) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestVirtual(t *testing.T) {
	k := newFake()
	daw := k.program(140, "daw", "in")
	d := fakeDriver(t, k)
	o, err := d.OpenVirtualOut("guitar")
	if err != nil {
		t.Fatal(err)
	}
	out := o.(*Out)
	if out.Connected() {
		t.Error("connected with nobody")
	}
	if err := out.Send([]byte{0x90, 60, 100}); err != nil {
		t.Error(err)
	}
	k.subscribe(out.client.our, address{140, 0})
	if !out.Connected() {
		t.Error("not connected")
	}
	if err := out.Send([]byte{0x91, 60, 100}); err != nil {
		t.Error(err)
	}
	if got := daw.take(); len(got) != 1 || got[0][16] != 1 {
		t.Errorf("got % x", got)
	}
	k.end(140, false)
	if out.Connected() || !out.IsOpen() {
		t.Error("connected or closed when the other has ended")
	}
	if err := out.Send([]byte{0x80, 60, 100}); err != nil {
		t.Error(err)
	}
}

// A collector keeps what a listener is told.
type collector struct {
	mu   sync.Mutex
	msgs []string
	errs []error
}

func (c *collector) message(m []byte, _ int32) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.msgs = append(c.msgs, fmt.Sprintf("%X", m))
}

func (c *collector) config() drivers.ListenConfig {
	return drivers.ListenConfig{SysEx: true, OnErr: func(err error) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.errs = append(c.errs, err)
	}}
}

// until waits for n messages and m errors, and is what came.
func (c *collector) until(t *testing.T, n, m int) (string, []error) {
	t.Helper()
	for limit := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		c.mu.Lock()
		msgs, errs := strings.Join(c.msgs, " "), c.errs
		enough := len(c.msgs) >= n && len(c.errs) >= m
		c.mu.Unlock()
		if enough {
			return msgs, errs
		}
		if time.Now().After(limit) {
			t.Fatalf("only %s and %v came", msgs, errs)
		}
	}
}

// plays sends as a client with number id.
func (k *fakeKernel) plays(to, from address, e event, more ...byte) {
	k.mu.Lock()
	defer k.mu.Unlock()
	e[12], e[13], e[14], e[15] = from.client, from.port, to.client, to.port
	if len(more) > 0 {
		e[1] = 4
		binary.NativeEndian.PutUint32(e[16:], uint32(len(more)))
		more = append(more, make([]byte, (28-len(more)%28)%28)...)
	}
	_ = k.deliver(append(e[:], more...))
}

func TestListen(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	in := openIn(t, d, "Pads")
	our, pads := in.client.our, address{20, 1}
	k.plays(our, pads, event{0: 6, 17: 1, 18: 1}) // nobody listens yet
	var c collector
	stop, err := in.Listen(c.message, c.config())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := in.Listen(c.message, c.config()); err == nil {
		t.Error("listens twice")
	}
	k.plays(our, pads, event{0: 6, 16: 2, 17: 60, 18: 100})
	k.plays(our, address{20, 0}, event{0: 6, 17: 61, 18: 100}) // from elsewhere
	k.plays(our, pads, event{0: 36})                           // clock is not asked for
	k.plays(our, pads, event{0: 130}, 0xf0, 1, 2)
	k.plays(our, pads, event{0: 130}, 3, 4, 0xf7)
	k.plays(our, pads, event{0: 130}, 5, 0xf7) // without a beginning
	k.plays(our, pads, event{0: 7, 16: 2, 17: 60, 18: 64})
	if got, _ := c.until(t, 3, 0); got != "923C64 F001020304F7 823C40" {
		t.Errorf("heard %s", got)
	}
	stop()
	stop()
	k.plays(our, pads, event{0: 6, 17: 2, 18: 2}) // nobody listens any more
	again, err := in.Listen(c.message, c.config())
	if err != nil {
		t.Fatal(err)
	}
	stop() // of the first, has done its work
	k.plays(our, pads, event{0: 10})
	if got, _ := c.until(t, 4, 0); got != "923C64 F001020304F7 823C40 B00000" {
		t.Errorf("heard %s", got)
	}
	if err := in.Close(); err != nil { // ends listening
		t.Fatal(err)
	}
	nothingRuns(t)
	again()
	if _, errs := c.until(t, 0, 0); len(errs) > 0 {
		t.Errorf("errors although it was ended by us: %v", errs)
	}
}

func TestLongSystemExclusive(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	in := openIn(t, d, "Pads")
	var c collector
	config := c.config()
	config.SysExBufferSize = 6
	stop, err := in.Listen(c.message, config)
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	our, pads := in.client.our, address{20, 1}
	k.plays(our, pads, event{0: 130}, 0xf0, 1, 2, 3, 4)
	k.plays(our, pads, event{0: 130}, 5, 0xf7) // 7 bytes
	k.plays(our, pads, event{0: 130}, 0xf0, 1, 2)
	k.plays(our, pads, event{0: 130}, 3, 4, 0xf7)
	k.plays(our, pads, event{0: 42})
	k.plays(our, pads, event{0: 32})
	if got, _ := c.until(t, 2, 0); got != "F001020304F7 FC" {
		t.Errorf("heard %s", got)
	}
}

func TestListenGone(t *testing.T) {
	for _, lost := range []bool{false, true} {
		t.Run(fmt.Sprint("lost ", lost), func(t *testing.T) {
			k := newFake()
			d := fakeDriver(t, k)
			in := openIn(t, d, "Pads")
			var c collector
			stop, err := in.Listen(c.message, c.config())
			if err != nil {
				t.Fatal(err)
			}
			if lost { // too much came at once, with that the port has ended
				k.mu.Lock()
				for range 300 {
					_ = k.clients[int(in.client.our.client)].put(make([]byte, 28))
				}
				k.endLocked(20, false)
				k.mu.Unlock()
			} else {
				k.end(20, false)
			}
			if _, errs := c.until(t, 0, 1); !errors.Is(errs[0], ErrPortGone) || errs[0].Error() != "MIDI port Keys 49 Pads went away" {
				t.Error(errs)
			}
			time.Sleep(5 * time.Millisecond)
			stop()
			if _, errs := c.until(t, 0, 1); len(errs) != 1 {
				t.Errorf("told %d times: %v", len(errs), errs)
			}
		})
	}
}

// What ended before anyone listened is told by Listen.
func TestGoneBeforeListen(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	in := openIn(t, d, "Pads")
	k.end(20, false)
	if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); !errors.Is(err, ErrPortGone) {
		t.Error(err)
	}
}

// What began before anyone listened is nobody's, to its end.
func TestListenWithin(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	in := openIn(t, d, "Pads")
	our, pads := in.client.our, address{20, 1}
	k.plays(our, pads, event{0: 130}, 0xf0, 1, 2)
	var c collector
	stop, err := in.Listen(c.message, c.config())
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	k.plays(our, pads, event{0: 130}, 3, 0xf7)
	k.plays(our, pads, event{0: 32})
	if got, _ := c.until(t, 1, 0); got != "FC" {
		t.Errorf("heard %s", got)
	}
}

// Lost messages do not end listening while the port is there.
func TestListenOverflow(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	in := openIn(t, d, "Pads")
	var c collector
	stop, err := in.Listen(c.message, c.config())
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	our, pads := in.client.our, address{20, 1}
	k.plays(our, pads, event{0: 130}, 0xf0, 1, 2) // the rest will be lost
	k.plays(our, pads, event{0: 30})
	c.until(t, 1, 0)
	k.mu.Lock()
	for range 300 {
		_ = k.clients[int(our.client)].put(make([]byte, 28))
	}
	k.mu.Unlock()
	for limit := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		k.plays(our, pads, event{0: 32})
		c.mu.Lock()
		n := len(c.msgs)
		c.mu.Unlock()
		if n > 1 {
			break
		}
		if time.Now().After(limit) {
			t.Fatal("deaf after lost messages")
		}
	}
	k.plays(our, pads, event{0: 130}, 3, 0xf7)
	k.plays(our, pads, event{0: 31})
	got, errs := "", []error(nil)
	for n := 3; !strings.HasSuffix(got, "FB"); n++ {
		got, errs = c.until(t, n, 0)
	}
	if len(errs) > 0 || strings.Contains(got, "F0") {
		t.Errorf("heard %s, errors %v", got, errs)
	}
}

// Everything at once from several goroutines: for the race detector.
func TestTogether(t *testing.T) {
	k := newFake()
	d := fakeDriver(t, k)
	out, in := openOut(t, d, "Through"), openIn(t, d, "Through")
	var c collector
	stop, err := in.Listen(c.message, c.config())
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	for range 3 {
		all.Go(func() {
			for range 50 {
				_ = out.Send([]byte{0xfa})
				_, _ = out.IsOpen(), out.Connected()
			}
		})
		all.Go(func() {
			for range 10 {
				if _, err := d.Outs(); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Go(stop)
	all.Go(func() {
		time.Sleep(time.Millisecond)
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	all.Wait()
	nothingRuns(t)
}

// Sending takes no memory: the collector must not wake up in a bar.
func TestSendAllocates(t *testing.T) {
	k := newFake()
	k.program(130, "Synth", "in").room = 1 << 20
	d := fakeDriver(t, k)
	out := openOut(t, d, "Keys")
	note := []byte{0x90, 60, 100}
	if n := testing.AllocsPerRun(100, func() {
		if err := out.Send(note); err != nil {
			t.Fatal(err)
		}
	}); n > 0 {
		t.Errorf("%v allocations a message", n)
	}
}
