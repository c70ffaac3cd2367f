//go:build cgo && (darwin || rtmidi)

package rtport

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
	"thumbline/midiio/portwatch"
)

// A driver says in a line what it cannot do, and what is closed stays closed.
func TestWithOrWithoutPorts(t *testing.T) {
	d := New("thumbline test")
	outs, err := d.Outs()
	t.Logf("outputs %v, error %v", outs, err)
	if err != nil && (strings.ContainsAny(err.Error(), "\n\x00") || !strings.Contains(err.Error(), "system")) {
		t.Errorf("error %q", err)
	}
	ins, err := d.Ins()
	t.Logf("inputs %v, error %v", ins, err)
	for range 2 {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}
	if _, err := d.Outs(); !errors.Is(err, errClosed) {
		t.Errorf("listing after Close: %v", err)
	}
	if _, err := d.OpenVirtualOut("x"); !errors.Is(err, errClosed) {
		t.Errorf("a port after Close: %v", err)
	}
}

// A port of our own is listed, heard, and found to be gone when it is closed.
func TestVirtualOutput(t *testing.T) {
	d := New("thumbline test")
	virtual, err := d.OpenVirtualOut("tune")
	if err != nil {
		d.Close()
		t.Skipf("no MIDI on this machine: %v", err)
	}
	w := portwatch.New(d, 50*time.Millisecond)
	defer w.Close()
	ins, err := w.Ins()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(ins, func(in drivers.In) bool { return strings.Contains(in.String(), "tune") })
	if i < 0 {
		t.Fatalf("not listed in %v", ins)
	}
	in := ins[i]
	if err := in.Open(); err != nil {
		t.Fatal(err)
	}
	heard, told := make(chan string, 100), make(chan error, 10)
	stop, err := in.Listen(
		func(m []byte, _ int32) { heard <- fmt.Sprintf("% X", m) },
		drivers.ListenConfig{OnErr: func(err error) { told <- err }})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	if err := virtual.Send([]byte{0x90, 60, 100, 60, 0, 0xC1, 24, 0xE0, 1, 65, 0xB0, 123, 0}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"90 3C 64", "90 3C 00", "C1 18", "E0 01 41", "B0 7B 00"} {
		select {
		case got := <-heard:
			if got != want {
				t.Errorf("heard %s, want %s", got, want)
			}
		case <-time.After(5 * time.Second):
			t.Fatalf("%s is not heard", want)
		}
	}
	if err := virtual.Send([]byte{0x90}); err == nil {
		t.Error("half a message is sent")
	}
	if err := virtual.Close(); err != nil {
		t.Error(err)
	}
	if err := virtual.Send([]byte{0xF8}); !errors.Is(err, drivers.ErrPortClosed) {
		t.Errorf("sent to a closed port: %v", err)
	}
	select {
	case err := <-told:
		if !errors.Is(err, midiio.ErrPortGone) {
			t.Errorf("told %v", err)
		}
	case <-time.After(5 * time.Second):
		t.Error("nobody says that the port is gone")
	}
	if err := in.Close(); err != nil {
		t.Error(err)
	}
	if err := in.Open(); !errors.Is(err, midiio.ErrPortGone) {
		t.Errorf("opened what has gone: %v", err)
	}
}
