package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
)

// A footSwitch is the one message that stands for the one key: the first that
// can be meant is learned, and already a press.
type footSwitch struct {
	learned bool
	kind    byte // status without the channel: note-on, control or program change
	channel byte // from 0
	number  byte // of note, control or program
	value   byte // of a control when it was learned
	down    bool // a control is on the side of a press
	pressed time.Time
}

// take is what becomes of a message that has come in at a moment: whether it is a
// press, and what was learned of it, in words.
func (f *footSwitch) take(msg []byte, at time.Time) (press bool, learned string) {
	m, ok := channelMessage(msg)
	if !ok {
		return false, ""
	}
	kind, channel, number, value := m[0]&0xF0, m[0]&0x0F, m[1], m[2]
	if !f.learned {
		if !teaches(kind, number, value) {
			return false, ""
		}
		*f = footSwitch{learned: true, kind: kind, channel: channel, number: number, value: value}
		learned = fmt.Sprintf("Foot switch: %s.", f)
	}
	if kind != f.kind || channel != f.channel || number != f.number {
		return false, ""
	}
	switch kind {
	case noteOn:
		if value == 0 { // which is a release
			return false, ""
		}
	case control:
		was := f.down
		// A pedal that glides sends many values on the side of a press; one
		// without a release sends the same again.
		if f.down = (value >= 64) == (f.value >= 64); !f.down || was && value != f.value {
			return false, learned
		}
	}
	bounced := !f.pressed.IsZero() && at.Sub(f.pressed) < bounce
	f.pressed = at
	return !bounced, learned
}

// teaches reports whether a message can be a foot switch's. The choice of a bank
// comes before a program change and means nothing alone; controls from 120 on
// are none.
func teaches(kind, number, value byte) bool {
	switch kind {
	case noteOn:
		return value > 0
	case control:
		return number != 0 && number != 32 && number < 120
	}
	return kind == program
}

// channelMessage is a whole note-on, control or program change.
func channelMessage(msg []byte) (m [3]byte, ok bool) {
	n := 3
	if len(msg) > 0 && msg[0]&0xF0 == program {
		n = 2
	}
	if len(msg) != n || slices.ContainsFunc(msg[1:], func(b byte) bool { return b >= 0x80 }) {
		return m, false
	}
	copy(m[:], msg)
	k := m[0] & 0xF0
	return m, k == noteOn || k == control || k == program
}

// String is what was learned; players count programs and channels from 1.
func (f *footSwitch) String() string {
	what, n := "note", int(f.number)
	switch f.kind {
	case control:
		what = "control"
	case program:
		what, n = "program", n+1
	}
	return fmt.Sprintf("%s %d on channel %d", what, n, f.channel+1)
}

// A pedal is a foot switch at an input port.
type pedal struct {
	name   string
	events chan pedalEvent
	ports  *midiPorts
	in     drivers.In
	stop   func() // of listening
	quit   chan struct{}
}

// A pedalEvent is what has become of a pedal: a press, something to say, or its
// end.
type pedalEvent struct {
	press bool
	line  string
	gone  bool
}

// pedalRoom is how many events may wait for a busy page.
const pedalRoom = 16

// openPedal opens the port of --switch, nil without it.
func (o *options) openPedal(m *midiPorts) (*pedal, error) {
	if !o.changed("switch") {
		return nil, nil
	}
	d, err := m.open()
	if err != nil {
		return nil, err
	}
	p := &pedal{ports: m, events: make(chan pedalEvent, pedalRoom), quit: make(chan struct{}), stop: func() {}}
	if err := p.open(d, strings.TrimSpace(o.pedal)); err != nil {
		m.close()
		return nil, err
	}
	return p, nil
}

func (p *pedal) open(d drivers.Driver, asked string) error {
	all, names, err := ins(d)
	if err != nil {
		return err
	}
	i, err := choosePort("input", asked, names)
	if err != nil {
		return err
	}
	p.in, p.name = all[i], names[i]
	if err := p.in.Open(); err != nil {
		return fmt.Errorf("MIDI input %q cannot be opened: %w", p.name, err)
	}
	return nil
}

// listen begins to take presses. What is pressed before that is no press: nobody
// who tries a pedal before the beginning wants a pause there.
func (p *pedal) listen() error {
	if p == nil {
		return nil
	}
	var f footSwitch
	stop, err := p.in.Listen(func(msg []byte, _ int32) {
		press, line := f.take(msg, time.Now())
		if press || line != "" {
			p.send(pedalEvent{press: press, line: line})
		}
	}, drivers.ListenConfig{OnErr: func(err error) {
		if errors.Is(err, midiio.ErrPortGone) {
			go p.send(pedalEvent{gone: true, line: fmt.Sprintf("The foot switch is gone: MIDI input %q went away. The keys go on working.", p.name)})
		}
	}})
	if err != nil {
		return fmt.Errorf("MIDI input %q: %w", p.name, err)
	}
	p.stop = stop
	return nil
}

// send does not keep a driver waiting: a press that nobody takes is none. The end
// is waited for.
func (p *pedal) send(e pedalEvent) {
	if e.gone {
		select {
		case p.events <- e:
		case <-p.quit:
		}
		return
	}
	select {
	case p.events <- e:
	default:
	}
}

// incoming are the events, nil for ever without a pedal.
func (p *pedal) incoming() <-chan pedalEvent {
	if p == nil {
		return nil
	}
	return p.events
}

// invitation is said before the first press.
func (p *pedal) invitation() []string {
	if p == nil {
		return nil
	}
	return []string{fmt.Sprintf("Foot switch at MIDI input %q: press it, and it is known.", p.name)}
}

// close listens no longer.
func (p *pedal) close() {
	if p == nil {
		return
	}
	close(p.quit)
	briefly(func() {
		p.stop()
		p.in.Close()
		p.ports.close()
	})
}
