package portwatch

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
	"gitlab.com/gomidi/midi/v2/drivers/testdrv"

	"thumbline/midiio"
)

// system is a driver whose ports come and go as a test says, and which, as
// RtMidi does, takes messages for ports that are no more.
type system struct {
	mu     sync.Mutex
	ports  []string
	fail   error // of a listing
	slow   time.Duration
	sent   []string
	closed bool
}

func (s *system) set(ports ...string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ports = ports
}

func (s *system) list() ([]*fakePort, error) {
	s.mu.Lock()
	slow := s.slow
	s.mu.Unlock()
	time.Sleep(slow)
	s.mu.Lock()
	defer s.mu.Unlock()
	var ports []*fakePort
	for i, name := range s.ports {
		ports = append(ports, &fakePort{s: s, number: i, name: name})
	}
	return ports, s.fail
}

func (s *system) Ins() ([]drivers.In, error) {
	ports, err := s.list()
	var ins []drivers.In
	for _, p := range ports {
		ins = append(ins, p)
	}
	return ins, err
}

func (s *system) Outs() ([]drivers.Out, error) {
	ports, err := s.list()
	var outs []drivers.Out
	for _, p := range ports {
		outs = append(outs, p)
	}
	return outs, err
}

func (s *system) String() string { return "system" }
func (s *system) Close() error   { s.closed = true; return nil }

type fakePort struct {
	s      *system
	number int
	name   string
	open   bool
	told   func(error)
}

func (p *fakePort) Open() error     { p.open = true; return nil }
func (p *fakePort) Close() error    { p.open = false; return nil }
func (p *fakePort) IsOpen() bool    { return p.open }
func (p *fakePort) Number() int     { return p.number }
func (p *fakePort) String() string  { return p.name }
func (p *fakePort) Underlying() any { return p }
func (p *fakePort) Send(m []byte) error {
	p.s.mu.Lock()
	defer p.s.mu.Unlock()
	p.s.sent = append(p.s.sent, fmt.Sprintf("%s % X", p.name, m))
	return nil
}

func (p *fakePort) Listen(on func([]byte, int32), c drivers.ListenConfig) (func(), error) {
	p.told = c.OnErr
	return func() {}, nil
}

func openOut(t *testing.T, d drivers.Driver, n int) drivers.Out {
	t.Helper()
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	if err := outs[n].Open(); err != nil {
		t.Fatal(err)
	}
	return outs[n]
}

func TestSendToAPortThatHasGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano", "organ"}}
		d := New(s, 0)
		out := openOut(t, d, 1)
		for range 10 {
			if err := out.Send([]byte{0x90, 60, 100}); err != nil {
				t.Fatal(err)
			}
			time.Sleep(Every)
		}
		s.set("organ") // another number is no loss
		time.Sleep(2 * Every)
		if err := out.Send([]byte{0x80, 60, 0}); err != nil {
			t.Fatalf("the port is there still: %v", err)
		}
		gone := out.(interface{ Gone() <-chan struct{} }).Gone()
		select {
		case <-gone:
			t.Error("gone before its time")
		default:
		}
		s.set("piano")
		start := time.Now()
		<-gone
		if d := time.Since(start); d > Every {
			t.Errorf("found out after %v", d)
		}
		err := out.Send([]byte{0x90, 60, 100})
		if !errors.Is(err, midiio.ErrPortGone) || !strings.Contains(err.Error(), "organ") {
			t.Errorf("error %v, want one that says that organ went away", err)
		}
		if len(s.sent) != 11 || s.sent[10] != "organ 80 3C 00" {
			t.Errorf("sent %q", s.sent)
		}
		if !out.IsOpen() {
			t.Error("the port is closed already")
		}
		if err := d.Close(); err != nil || !s.closed || out.IsOpen() {
			t.Errorf("Close: %v, driver closed %v, port open %v", err, s.closed, out.IsOpen())
		}
		if err := out.Send([]byte{0xF8}); err == nil {
			t.Error("a closed port takes messages")
		}
	})
}

func TestPortsOfOneName(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano", "piano"}}
		d := New(s, 0)
		defer d.Close()
		out := openOut(t, d, 0)
		s.set("piano", "piano", "piano")
		time.Sleep(2 * Every)
		if err := out.Send([]byte{0xF8}); err != nil {
			t.Errorf("a third of the name is no loss: %v", err)
		}
		s.set("piano", "piano")
		time.Sleep(2 * Every)
		if err := out.Send([]byte{0xF8}); !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("one of the name has gone, error %v", err)
		}
	})
}

func TestOpenWhatHasGone(t *testing.T) {
	s := &system{ports: []string{"piano", "organ"}}
	d := New(s, 0)
	defer d.Close()
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	s.set("harp", "piano") // piano has another number now, and harp has its own
	for _, out := range outs {
		if err := out.Open(); !errors.Is(err, midiio.ErrPortGone) || out.IsOpen() {
			t.Errorf("%s: error %v, open %v", out, err, out.IsOpen())
		}
	}
}

func TestListenToAPortThatGoes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"switch"}}
		d := New(s, 0)
		defer d.Close()
		ins, err := d.Ins()
		if err != nil {
			t.Fatal(err)
		}
		in := ins[0]
		if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); !errors.Is(err, drivers.ErrPortClosed) {
			t.Errorf("listening to a closed port: %v", err)
		}
		if err := in.Open(); err != nil {
			t.Fatal(err)
		}
		var told []error
		config := drivers.ListenConfig{OnErr: func(err error) { told = append(told, err) }}
		stop, err := in.Listen(func([]byte, int32) {}, config)
		if err != nil {
			t.Fatal(err)
		}
		other := errors.New("other")
		in.(*input).inner.(*fakePort).told(other)
		s.set()
		time.Sleep(3 * Every)
		in.(*input).inner.(*fakePort).told(midiio.ErrPortGone) // the driver says so too
		if len(told) != 2 || told[0] != other || !errors.Is(told[1], midiio.ErrPortGone) {
			t.Errorf("told %v", told)
		}
		stop()
		stop()
		if _, err := in.Listen(func([]byte, int32) {}, config); !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("listening to what has gone: %v", err)
		}
	})
}

func TestNobodyIsToldAfterStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"switch"}}
		d := New(s, 0)
		defer d.Close()
		ins, _ := d.Ins()
		if err := ins[0].Open(); err != nil {
			t.Fatal(err)
		}
		stop, err := ins[0].Listen(func([]byte, int32) {}, drivers.ListenConfig{OnErr: func(err error) { t.Error(err) }})
		if err != nil {
			t.Fatal(err)
		}
		stop()
		s.set()
		time.Sleep(3 * Every)
	})
}

// Who listens need not care for errors.
func TestNobodyIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"switch"}}
		d := New(s, 0)
		defer d.Close()
		ins, _ := d.Ins()
		if err := ins[0].Open(); err != nil {
			t.Fatal(err)
		}
		if _, err := ins[0].Listen(func([]byte, int32) {}, drivers.ListenConfig{}); err != nil {
			t.Fatal(err)
		}
		s.set()
		time.Sleep(2 * Every)
		if _, err := ins[0].Listen(func([]byte, int32) {}, drivers.ListenConfig{}); !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("listening to what has gone: %v", err)
		}
	})
}

// A stop function that is called late does not concern who listens by then.
func TestLateStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"switch"}}
		d := New(s, 0)
		defer d.Close()
		ins, _ := d.Ins()
		var told atomic.Int32
		var late func()
		for range 2 {
			if err := ins[0].Open(); err != nil {
				t.Fatal(err)
			}
			stop, err := ins[0].Listen(func([]byte, int32) {}, drivers.ListenConfig{OnErr: func(error) { told.Add(1) }})
			if err != nil {
				t.Fatal(err)
			}
			if late == nil {
				late = stop
				ins[0].Close()
			}
		}
		late()
		s.set()
		time.Sleep(3 * Every)
		if n := told.Load(); n != 1 {
			t.Errorf("told %d times that the port has gone, want once", n)
		}
	})
}

func TestAListingThatFailsIsNoLoss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano"}}
		d := New(s, 0)
		defer d.Close()
		out := openOut(t, d, 0)
		s.mu.Lock()
		s.ports, s.fail = nil, errors.New("busy")
		s.mu.Unlock()
		time.Sleep(3 * Every)
		if err := out.Send([]byte{0xF8}); err != nil {
			t.Error(err)
		}
		if _, err := d.Outs(); err == nil {
			t.Error("the listing has failed and nobody says so")
		}
		s.mu.Lock()
		s.fail = nil
		s.mu.Unlock()
		time.Sleep(2 * Every)
		if err := out.Send([]byte{0xF8}); !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("listed again, and not there: %v", err)
		}
	})
}

// A listing that takes its time delays no note.
func TestSendDoesNotWaitForAListing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano"}}
		d := New(s, 0)
		defer d.Close()
		out := openOut(t, d, 0)
		s.mu.Lock()
		s.slow = 300 * time.Millisecond
		s.mu.Unlock()
		time.Sleep(Every + 100*time.Millisecond) // within the listing
		start := time.Now()
		if err := out.Send([]byte{0xF8}); err != nil {
			t.Error(err)
		}
		if d := time.Since(start); d != 0 {
			t.Errorf("sending took %v", d)
		}
		time.Sleep(300 * time.Millisecond) // a lock that is waited for stops the time of synctest
	})
}

// Opened and closed again and again, a port is looked after by one goroutine,
// and by none at the end: synctest waits for every one of them.
func TestOpenAndClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano"}}
		d := New(s, 0)
		outs, _ := d.Outs()
		for range 5 {
			for range 2 {
				if err := outs[0].Open(); err != nil || !outs[0].IsOpen() {
					t.Fatalf("Open: %v", err)
				}
			}
			time.Sleep(Every / 3)
			for range 2 {
				if err := outs[0].Close(); err != nil || outs[0].IsOpen() {
					t.Fatalf("Close: %v", err)
				}
			}
			if err := outs[0].Send([]byte{0xF8}); err != drivers.ErrPortClosed {
				t.Fatalf("sent to a closed port: %v", err)
			}
		}
		if n := len(d.(*driver).open); n != 0 {
			t.Errorf("%d ports open", n)
		}
	})
}

// A port that has gone and is there again can be opened anew, and what concerned
// the time before is over.
func TestOpenedAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &system{ports: []string{"piano"}}
		d := New(s, 0)
		defer d.Close()
		out := openOut(t, d, 0)
		ins, _ := d.Ins()
		told := 0
		if err := ins[0].Open(); err != nil {
			t.Fatal(err)
		}
		if _, err := ins[0].Listen(func([]byte, int32) {}, drivers.ListenConfig{OnErr: func(error) { told++ }}); err != nil {
			t.Fatal(err)
		}
		ins[0].Close() // with a listener that has not stopped
		s.set()
		time.Sleep(2 * Every)
		if err := out.Send([]byte{0xF8}); !errors.Is(err, midiio.ErrPortGone) {
			t.Fatalf("gone: %v", err)
		}
		s.set("piano")
		out.Close()
		for _, p := range []drivers.Port{out, ins[0]} {
			if err := p.Open(); err != nil {
				t.Fatal(err)
			}
		}
		if err := out.Send([]byte{0xF8}); err != nil {
			t.Errorf("there again: %v", err)
		}
		select {
		case <-out.(*output).Gone():
			t.Error("it has gone again")
		default:
		}
		s.set()
		time.Sleep(2 * Every)
		if told != 0 {
			t.Errorf("who listened before was told %d times", told)
		}
	})
}

func TestVirtual(t *testing.T) {
	type opener interface {
		OpenVirtualOut(string) (drivers.Out, error)
	}
	if _, ok := New(&system{}, 0).(opener); ok {
		t.Error("a driver without virtual ports seems to have them")
	}
	d, ok := New(&virtualSystem{}, 0).(opener)
	if !ok {
		t.Fatal("virtual ports are lost")
	}
	out, err := d.OpenVirtualOut("thumbline")
	if err != nil || out.String() != "thumbline" {
		t.Errorf("%v, %v", out, err)
	}
}

type virtualSystem struct{ system }

func (s *virtualSystem) OpenVirtualOut(name string) (drivers.Out, error) {
	return &fakePort{s: &s.system, number: -1, name: name, open: true}, nil
}

func TestWhatIsSentArrives(t *testing.T) {
	d := New(testdrv.New("loop"), time.Hour)
	defer d.Close()
	out := openOut(t, d, 0)
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	if err := ins[0].Open(); err != nil {
		t.Fatal(err)
	}
	var got []string
	stop, err := ins[0].Listen(func(m []byte, _ int32) { got = append(got, fmt.Sprintf("% X", m)) }, drivers.ListenConfig{})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range [][]byte{{0x90, 60, 100}, {0xC0, 24}, {0x80, 60, 0}} {
		if err := out.Send(m); err != nil {
			t.Fatal(err)
		}
	}
	stop()
	if want := []string{"90 3C 64", "C0 18", "80 3C 00"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
