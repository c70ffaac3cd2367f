package winmm

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
	"gitlab.com/gomidi/midi/v2/drivers/drivertest"
	"pgregory.net/rapid"

	"thumbline/midiio"
)

// fakeSystem stands in for winmm.dll: its first input hears what its first
// output is sent.
type fakeSystem struct {
	mu       sync.Mutex
	outPorts []string
	inPorts  []string
	busy     int    // how often the next messages find the port busy
	fail     result // of every call with a handle
	open     map[uintptr]string
	last     uintptr
	limit    time.Duration // of the last system exclusive
	sent     []string
	receive  func(event)
	running  bool
}

func newFake() *fakeSystem {
	return &fakeSystem{
		outPorts: []string{"piano", "organ"}, inPorts: []string{"switch"},
		open: make(map[uintptr]string),
	}
}

func (f *fakeSystem) outs() int { return len(f.outPorts) }
func (f *fakeSystem) ins() int  { return len(f.inPorts) }

func (f *fakeSystem) outName(id int) (string, result) { return named(f.outPorts, id) }
func (f *fakeSystem) inName(id int) (string, result)  { return named(f.inPorts, id) }

func named(ports []string, id int) (string, result) {
	switch {
	case id >= len(ports) || ports[id] == "gone":
		return "", badDeviceID
	case ports[id] == "sick":
		return "", noMemory
	}
	return ports[id], 0
}

// openPort refuses what is open already, as Windows' drivers do.
func (f *fakeSystem) openPort(name string) (uintptr, result) {
	for _, n := range f.open {
		if n == name {
			return 0, 4
		}
	}
	f.last++
	f.open[f.last] = name
	return f.last, 0
}

func (f *fakeSystem) openOut(id int) (uintptr, result) {
	if id >= len(f.outPorts) {
		return 0, badDeviceID
	}
	return f.openPort("out " + f.outPorts[id])
}

func (f *fakeSystem) state(h uintptr) result {
	if f.open[h] == "" {
		return invalidHandle
	}
	return f.fail
}

func (f *fakeSystem) short(h uintptr, word uint32) result {
	f.mu.Lock()
	defer f.mu.Unlock()
	if r := f.state(h); r != 0 {
		return r
	}
	if f.busy > 0 {
		f.busy--
		return notReady
	}
	f.sent = append(f.sent, fmt.Sprintf("%s %06X", f.open[h], word))
	if f.open[h] == "out piano" && f.running {
		f.receive(event{kind: mimData, word: word, ms: uint32(len(f.sent))})
	}
	return 0
}

func (f *fakeSystem) long(h uintptr, data []byte, limit time.Duration) result {
	f.limit = limit
	if r := f.state(h); r != 0 {
		return r
	}
	f.sent = append(f.sent, fmt.Sprintf("%s long % X", f.open[h], data))
	return 0
}

func (f *fakeSystem) closeOut(h uintptr) result {
	r := f.state(h)
	delete(f.open, h)
	return r
}

func (f *fakeSystem) openIn(id int, receive func(event)) (uintptr, result) {
	h, r := f.openPort("in " + f.inPorts[id])
	f.receive = receive
	return h, r
}

func (f *fakeSystem) start(h uintptr) result {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.running = f.state(h) == 0
	return f.state(h)
}

func (f *fakeSystem) stop(h uintptr) result {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.running = false
	return f.state(h)
}

func (f *fakeSystem) closeIn(h uintptr) result {
	r := f.state(h)
	delete(f.open, h)
	f.receive(event{kind: mimClose})
	return r
}

func openOut(t *testing.T, d *Driver, n int) drivers.Out {
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

func openIn(t *testing.T, d *Driver) drivers.In {
	t.Helper()
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	if err := ins[0].Open(); err != nil {
		t.Fatal(err)
	}
	return ins[0]
}

func TestPorts(t *testing.T) {
	f := newFake()
	f.outPorts = []string{"piano", "gone", "organ"}
	f.inPorts = nil
	d := newDriver(f)
	outs, err := d.Outs()
	if err != nil || len(outs) != 2 || outs[1].Number() != 2 || outs[1].String() != "organ" {
		t.Errorf("outputs %v, error %v", outs, err)
	}
	if ins, err := d.Ins(); err != nil || len(ins) != 0 {
		t.Errorf("inputs %v, error %v", ins, err)
	}
	f.inPorts = []string{"gone", "switch"}
	if ins, err := d.Ins(); err != nil || len(ins) != 1 || ins[0].Number() != 1 || ins[0].String() != "switch" {
		t.Errorf("inputs %v, error %v", ins, err)
	}
	f.outPorts[0] = "sick"
	if _, err := d.Outs(); err == nil || !strings.Contains(err.Error(), "memory") {
		t.Errorf("a listing that fails: %v", err)
	}
}

func TestSend(t *testing.T) {
	f := newFake()
	d := newDriver(f)
	out := openOut(t, d, 1)
	for _, m := range [][]byte{
		{0x9A, 60, 100}, {0xC0, 24}, {0xF8}, {0xE1, 0, 64}, {1, 65}, {0xF0, 0x7E, 0x7F, 9, 1, 0xF7},
	} {
		if err := out.Send(m); err != nil {
			t.Fatal(err)
		}
	}
	want := []string{
		"out organ 643C9A", "out organ 0018C0", "out organ 0000F8", "out organ 4000E1", "out organ 4101E1",
		"out organ long F0 7E 7F 09 01 F7",
	}
	if !slices.Equal(f.sent, want) {
		t.Errorf("sent %q, want %q", f.sent, want)
	}
	if want := time.Second + 1920*time.Microsecond; f.limit != want { // 6 bytes of 320 us
		t.Errorf("system exclusive may take %v, want %v", f.limit, want)
	}
	if err := out.Send([]byte{0x90}); err == nil || !strings.Contains(err.Error(), "organ") {
		t.Errorf("half a message: %v", err)
	}
	if err := out.Send([]byte{0x90, 60, 100}); err != nil {
		t.Error(err)
	}
	for range 2 {
		if err := d.Close(); err != nil || out.IsOpen() || len(f.open) != 0 {
			t.Errorf("after Close: %v, open %v %v", err, out.IsOpen(), f.open)
		}
	}
	if err := out.Send([]byte{0xF8}); !errors.Is(err, drivers.ErrPortClosed) {
		t.Errorf("sent to a closed port: %v", err)
	}
	if err := out.Open(); err != nil {
		t.Errorf("opened again: %v", err)
	}
	if err := out.Send([]byte{1, 65}); err == nil {
		t.Error("the status byte of before is still remembered")
	}
}

func TestResultsOfSend(t *testing.T) {
	for _, c := range []struct {
		r    result
		want error
		text string
	}{
		{noDriver, midiio.ErrPortGone, "MIDI port piano went away (it has no driver)"},
		{invalidHandle, midiio.ErrPortGone, "MIDI port piano went away (it is closed)"},
		{noDevice, midiio.ErrPortGone, "MIDI port piano went away (it is not connected)"},
		{badDeviceID, midiio.ErrPortGone, "MIDI port piano went away (there is no port of this number)"},
		{noMemory, nil, "MIDI port piano: the system is out of memory"},
		{999, nil, "MIDI port piano: error 999 of winmm.dll"},
	} {
		f := newFake()
		out := openOut(t, newDriver(f), 0)
		f.fail = c.r
		for _, m := range [][]byte{{0x90, 60, 100}, {0xF0, 0xF7}} {
			err := out.Send(m)
			if err == nil || err.Error() != c.text || c.want != nil && !errors.Is(err, c.want) {
				t.Errorf("result %d: %v, want %s", c.r, err, c.text)
			}
		}
		if err := out.Close(); (err == nil) != (c.want != nil) || out.IsOpen() {
			t.Errorf("result %d: closing says %v", c.r, err)
		}
	}
}

func TestBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		out := openOut(t, newDriver(f), 0)
		f.busy = 20
		start := time.Now()
		if err := out.Send([]byte{0x90, 60, 100}); err != nil || len(f.sent) != 1 {
			t.Errorf("busy for a moment: %v, sent %q", err, f.sent)
		}
		if d := time.Since(start); d != 20*busyPause {
			t.Errorf("it took %v", d)
		}
		f.busy = 1 << 30
		start = time.Now()
		err := out.Send([]byte{0x90, 60, 100})
		if !errors.Is(err, midiio.ErrPortStuck) || len(f.sent) != 1 {
			t.Errorf("busy for good: %v, sent %q", err, f.sent)
		}
		if d := time.Since(start); d > busyLimit {
			t.Errorf("it took %v to give up", d)
		}
	})
}

func TestOpen(t *testing.T) {
	f := newFake()
	d := newDriver(f)
	out := openOut(t, d, 0)
	if err := out.Open(); err != nil || !out.IsOpen() {
		t.Errorf("opened twice: %v", err)
	}
	outs, _ := d.Outs()
	if err := outs[0].Open(); err == nil || !strings.Contains(err.Error(), "another program") {
		t.Errorf("a port that is in use: %v", err)
	}
	f.outPorts = []string{"piano", "harp"}
	if err := outs[1].Open(); !errors.Is(err, midiio.ErrPortGone) || outs[1].IsOpen() {
		t.Errorf("harp has the number of organ: %v", err)
	}
	f.outPorts = nil
	if err := outs[1].Open(); !errors.Is(err, midiio.ErrPortGone) {
		t.Errorf("no port of this number: %v", err)
	}
	ins, _ := d.Ins()
	f.inPorts = []string{"keys"}
	if err := ins[0].Open(); !errors.Is(err, midiio.ErrPortGone) || ins[0].IsOpen() {
		t.Errorf("keys has the number of switch: %v", err)
	}
}

func TestListen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		d := newDriver(f)
		in := openIn(t, d)
		var got []string
		config := drivers.ListenConfig{OnErr: func(err error) { got = append(got, err.Error()) }}
		onMsg := func(m []byte, ms int32) { got = append(got, fmt.Sprintf("%d % X", ms, m)) }
		stop, err := in.Listen(onMsg, config)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := in.Listen(onMsg, config); err == nil {
			t.Error("two listeners at once")
		}
		f.receive(event{kind: 0x3C1}) // opened
		f.receive(event{mimData, 0x643C90, 7})
		f.receive(event{mimData, 0xFF05C2, 8}) // what is beyond the message is chance
		f.receive(event{mimData, 0xF8, 9})     // clock and active sensing are not asked for
		f.receive(event{mimData, 0xFE, 9})
		f.receive(event{mimData, 0x0101F1, 9})
		f.receive(event{mimData, 0x3C, 9}) // no status byte
		f.receive(event{mimData, 0xFB, 10})
		synctest.Wait()
		want := []string{"7 90 3C 64", "8 C2 05", "10 FB"}
		if !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
		stop()
		stop()
		if f.running {
			t.Error("the system still listens")
		}
		f.receive(event{mimData, 0x643C90, 11})
		synctest.Wait()
		if !slices.Equal(got, want) {
			t.Errorf("after stop: %q", got)
		}
		config.TimeCode, config.ActiveSense = true, true
		if _, err = in.Listen(onMsg, config); err != nil {
			t.Fatal(err)
		}
		got = nil
		f.receive(event{mimData, 0xF8, 1})
		f.receive(event{mimData, 0xFE, 2})
		f.receive(event{mimData, 0x0101F1, 3})
		synctest.Wait()
		if want := []string{"1 F8", "2 FE", "3 F1 01"}; !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
		got = nil
		if err := d.Close(); err != nil || in.IsOpen() || len(f.open) != 0 {
			t.Errorf("Close: %v", err)
		}
		synctest.Wait()
		if got != nil {
			t.Errorf("our own closing is told as a loss: %q", got)
		}
		if _, err := in.Listen(onMsg, drivers.ListenConfig{}); !errors.Is(err, drivers.ErrPortClosed) {
			t.Errorf("listening to a closed port: %v", err)
		}
	})
}

func TestListenRefuses(t *testing.T) {
	f := newFake()
	in := openIn(t, newDriver(f))
	f.fail = noMemory
	if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); err == nil || !strings.Contains(err.Error(), "out of memory") {
		t.Errorf("the system does not listen: %v", err)
	}
	f.fail = 0
	stop, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{})
	if err != nil {
		t.Fatalf("after that: %v", err)
	}
	if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); err == nil {
		t.Error("two listeners at a time")
	}
	stop()
	if _, err := in.Listen(nil, drivers.ListenConfig{}); err == nil {
		t.Error("nothing to listen with")
	}
	if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{SysEx: true}); err == nil {
		t.Error("system exclusive is promised")
	}
}

func TestAnInputThatGoes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		in := openIn(t, newDriver(f))
		var told []error
		stop, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{OnErr: func(err error) { told = append(told, err) }})
		if err != nil {
			t.Fatal(err)
		}
		f.receive(event{kind: mimClose})
		synctest.Wait()
		if len(told) != 1 || !errors.Is(told[0], midiio.ErrPortGone) {
			t.Errorf("told %v", told)
		}
		stop()
		if _, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{}); !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("listening to what has gone: %v", err)
		}
		f.fail = invalidHandle
		if err := in.Close(); err != nil {
			t.Error(err)
		}
	})
}

// A listener that takes its time keeps nobody waiting, and is told what it missed.
func TestASlowListener(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		in := openIn(t, newDriver(f))
		heard, told := 0, 0
		stop, err := in.Listen(
			func([]byte, int32) { heard++; time.Sleep(time.Millisecond) },
			drivers.ListenConfig{OnErr: func(error) { told++ }})
		if err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		for range 3 * queued {
			f.receive(event{mimData, 0x643C90, 0})
		}
		if d := time.Since(start); d != 0 {
			t.Errorf("the system was kept waiting for %v", d)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if heard < queued || heard > queued+1 || told != 1 {
			t.Errorf("%d heard, told %d times", heard, told)
		}
		stop()
	})
}

// The listener may end itself, and nobody waits for ever then.
func TestStopFromWithin(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		d := newDriver(f)
		in := openIn(t, d)
		var stop func()
		heard := 0
		stop, err := in.Listen(func([]byte, int32) { heard++; stop() }, drivers.ListenConfig{})
		if err != nil {
			t.Fatal(err)
		}
		f.receive(event{mimData, 0xFA, 0})
		f.receive(event{mimData, 0xFC, 0})
		time.Sleep(time.Second)
		synctest.Wait()
		if heard != 1 || f.running {
			t.Errorf("%d heard after stop, the system listens: %v", heard, f.running)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestGomidisOwnTests(t *testing.T) {
	d := newDriver(newFake())
	outs, _ := d.Outs()
	ins, _ := d.Ins()
	for name, test := range map[string]func(*testing.T, drivers.In, drivers.Out){
		"FullStatus": drivertest.FullStatusTest, "NoActiveSense": drivertest.NoActiveSenseTest,
		"NoTimeCode": drivertest.NoTimeCodeTest, "NoSysex": drivertest.NoSysexTest,
	} {
		t.Run(name, func(t *testing.T) {
			// Times stand still within, so that nothing depends on the machine.
			synctest.Test(t, func(t *testing.T) { test(t, ins[0], outs[0]) })
		})
	}
}

func TestName(t *testing.T) {
	for _, c := range []struct {
		units []uint16
		want  string
	}{
		{nil, ""},
		{[]uint16{0, 'x'}, ""},
		{[]uint16{'F', 'l', 0xFC, 'g', 'e', 'l', 0, 'x'}, "Flügel"},
		{[]uint16{0x30D4, 0x30A2, 0x30CE}, "ピアノ"},
		{[]uint16{0xD83C, 0xDFB8, 0}, "🎸"},
		{[]uint16{'a', 0xD83C}, "a\uFFFD"}, // cut by the system in the middle of a pair
	} {
		if got := name(c.units); got != c.want {
			t.Errorf("%x: %q, want %q", c.units, got, c.want)
		}
	}
}

func TestPackAndUnpack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := []byte{rapid.ByteRange(0x80, 0xEF).Draw(t, "status"), rapid.ByteRange(0, 127).Draw(t, "data"), rapid.ByteRange(0, 127).Draw(t, "data")}
		if m[0] >= 0xC0 && m[0] < 0xE0 {
			m = m[:2]
		}
		if got := unpack(pack(m)); !bytes.Equal(got, m) {
			t.Fatalf("% X became % X", m, got)
		}
	})
	for word := range uint32(0x100) {
		unpack(word) // whatever the status byte
	}
}

func TestSendTakesNoMemory(t *testing.T) {
	d := newDriver(quiet{newFake()})
	out := openOut(t, d, 0)
	m := []byte{0x90, 60, 100}
	if n := testing.AllocsPerRun(100, func() { _ = out.Send(m) }); n != 0 {
		t.Errorf("%v allocations for a message", n)
	}
}

// quiet remembers nothing of what is sent.
type quiet struct{ *fakeSystem }

func (quiet) short(uintptr, uint32) result { return 0 }

// Every text says something of its own.
func TestResultTexts(t *testing.T) {
	seen := make(map[string]result)
	for r, text := range resultTexts {
		if other, ok := seen[text]; ok || text == "" {
			t.Errorf("results %d and %d: %q", r, other, text)
		}
		seen[text] = r
	}
	if result(0).err() != nil {
		t.Error("0 is an error")
	}
}
