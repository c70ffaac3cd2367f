package main

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
)

// A fakeMIDI is a MIDI system of a test: its outputs are called by how they
// behave. A nil one is a machine without MIDI.
type fakeMIDI struct {
	outs []*fakeOut
	ins  []*fakeIn

	mu     sync.Mutex
	opened int // drivers that are open
}

const noMIDI = "no MIDI on this machine (load snd-seq; or write a file: thumbline write --out x.mid)"

// How an output behaves.
const (
	recorder = "Recorder"      // takes everything
	boxA     = "Grey Box A"    // the same
	boxB     = "Grey Box B"    // the same
	brief    = "Brief"         // is gone at its 20th message
	ghost    = "Ghost"         // takes everything, but says at its 20th message that it is gone
	deaf     = "Deaf"          // refuses its 20th message
	hanging  = "Hanging"       // never returns from its 20th message
	locked   = "Locked"        // cannot be opened
	clutter  = "Evil\x1b[2J\n" // would like to write on the terminal
)

func newFakeMIDI() *fakeMIDI {
	m := &fakeMIDI{}
	for i, n := range []string{recorder, boxA, boxB, brief, ghost, deaf, hanging, locked, clutter} {
		m.outs = append(m.outs, &fakeOut{fakePort: fakePort{name: n, number: i}, hang: make(chan struct{}), goes: make(chan struct{})})
	}
	for i, n := range []string{"Keys", "Pedal"} {
		m.ins = append(m.ins, &fakeIn{fakePort: fakePort{name: n, number: i}})
	}
	return m
}

func (m *fakeMIDI) open() (drivers.Driver, error) {
	if m == nil {
		return nil, errors.New(noMIDI)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.opened++
	return m, nil
}

func (m *fakeMIDI) out(name string) *fakeOut {
	for _, o := range m.outs {
		if o.name == name {
			return o
		}
	}
	panic("no fake output " + name)
}

func (m *fakeMIDI) Ins() (ps []drivers.In, _ error) {
	for _, p := range m.ins {
		if !p.gone() {
			ps = append(ps, p)
		}
	}
	return ps, nil
}

func (m *fakeMIDI) Outs() (ps []drivers.Out, _ error) {
	for _, p := range m.outs {
		if !p.gone() {
			ps = append(ps, p)
		}
	}
	return ps, nil
}

func (m *fakeMIDI) OpenVirtualOut(name string) (drivers.Out, error) {
	v := &fakeVirtual{fakeOut: fakeOut{fakePort: fakePort{name: name, isOpen: true}, log: m.outs[0].log}}
	m.outs = append(m.outs, &v.fakeOut)
	return v, nil
}

func (m *fakeMIDI) String() string { return "fake" }

func (m *fakeMIDI) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.opened--
	return nil
}

type fakePort struct {
	name   string
	number int

	mu     sync.Mutex
	isOpen bool
	lost   bool
}

func (p *fakePort) Open() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.name == locked {
		return errors.New("another program has it")
	}
	p.isOpen = true
	return nil
}

func (p *fakePort) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.isOpen = false
	return nil
}

func (p *fakePort) IsOpen() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.isOpen
}

func (p *fakePort) gone() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.lost
}

func (p *fakePort) lose() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.lost = true
}

func (p *fakePort) Number() int     { return p.number }
func (p *fakePort) String() string  { return p.name }
func (p *fakePort) Underlying() any { return nil }

// A fakeOut keeps what it was sent, and when.
type fakeOut struct {
	fakePort
	log  string        // a file that it writes too
	slow time.Duration // what a message takes
	hang chan struct{}
	goes chan struct{}
	got  []sent
}

type sent struct {
	at  time.Time
	msg []byte
}

func (o *fakeOut) Send(msg []byte) error {
	time.Sleep(o.slow)
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.isOpen {
		return drivers.ErrPortClosed
	}
	if len(o.got) >= 19 {
		switch o.name {
		case brief:
			o.lost = true
			return fmt.Errorf("write: %w", midiio.ErrPortGone)
		case ghost:
			if !o.lost {
				o.lost = true
				close(o.goes)
			}
		case deaf:
			return fmt.Errorf("write: %w", midiio.ErrPortStuck)
		case hanging:
			o.mu.Unlock()
			<-o.hang
			o.mu.Lock()
			return drivers.ErrPortClosed
		}
	}
	o.got = append(o.got, sent{time.Now(), append([]byte(nil), msg...)})
	if o.log != "" {
		f, err := os.OpenFile(o.log, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
		if err != nil {
			return err
		}
		defer f.Close()
		_, err = fmt.Fprintf(f, "% x\n", msg)
		return err
	}
	return nil
}

func (o *fakeOut) Gone() <-chan struct{} { return o.goes }

// messages are those that it has got, in hexadecimal.
func (o *fakeOut) messages() (ms []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, s := range o.got {
		ms = append(ms, fmt.Sprintf("% x", s.msg))
	}
	return ms
}

// sounding is how many notes have begun and not ended.
func (o *fakeOut) sounding() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	msgs := make([][]byte, len(o.got))
	for i, s := range o.got {
		msgs[i] = s.msg
	}
	return stillOn(msgs)
}

// stillOn is how many notes messages have begun and not ended.
func stillOn(msgs [][]byte) int {
	on := map[[2]byte]bool{}
	for _, m := range msgs {
		if len(m) < 3 {
			continue
		}
		switch k := [2]byte{m[0] & 15, m[1]}; {
		case m[0]>>4 == 9 && m[2] > 0:
			on[k] = true
		case m[0]>>4 == 9 || m[0]>>4 == 8:
			delete(on, k)
		}
	}
	return len(on)
}

// A fakeVirtual is connected when somebody has looked three times.
type fakeVirtual struct {
	fakeOut
	looks int
}

func (v *fakeVirtual) Connected() bool {
	v.looks++
	return v.looks > 3
}

// A fakeIn sends what a test gives it, or what its script says: moments in
// milliseconds and bytes, "300:b0407f 900:gone".
type fakeIn struct {
	fakePort
	script string
	on     func([]byte, int32)
	onErr  func(error)
}

func (p *fakeIn) Listen(on func([]byte, int32), c drivers.ListenConfig) (func(), error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.isOpen {
		return nil, drivers.ErrPortClosed
	}
	p.on, p.onErr = on, c.OnErr
	quit := make(chan struct{})
	go func() {
		start := time.Now()
		for _, w := range strings.Fields(p.script) {
			at, what, _ := strings.Cut(w, ":")
			ms, _ := strconv.Atoi(at)
			select {
			case <-quit:
				return
			case <-time.After(time.Until(start.Add(time.Duration(ms) * time.Millisecond))):
			}
			if what == "gone" {
				p.lose()
				p.onErr(fmt.Errorf("read: %w", midiio.ErrPortGone))
				return
			}
			b, _ := hex.DecodeString(what)
			p.send(b...)
		}
	}()
	return func() { close(quit) }, nil
}

func (p *fakeIn) send(msg ...byte) {
	p.mu.Lock()
	on := p.on
	p.mu.Unlock()
	on(msg, 0)
}
