package winmm

import (
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

// Sizes and places as mmsystem.h gives them to a C compiler on 64 bits.
func TestStructures(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want uintptr
	}{
		{"MIDIOUTCAPSW", unsafe.Sizeof(outCaps{}), 84},
		{"MIDIINCAPSW", unsafe.Sizeof(inCaps{}), 76},
		{"szPname", unsafe.Offsetof(outCaps{}.name), 8},
		{"MIDIHDR", unsafe.Sizeof(header{}), 112},
		{"dwFlags", unsafe.Offsetof(header{}.flags), 24},
		{"lpNext", unsafe.Offsetof(header{}.rest), 28},
	} {
		if c.got != c.want {
			t.Errorf("%s: %d, want %d", c.what, c.got, c.want)
		}
	}
}

// Whatever ports there are: they can be listed, and what is not there says so.
func TestThisSystem(t *testing.T) {
	d, err := New()
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("outputs %v, inputs %v", outs, ins)
	l := d.sys.(*library)
	if _, r := l.outName(999); r != badDeviceID {
		t.Errorf("name of output 999: result %d", r)
	}
	if _, r := l.openOut(999); !r.gone() {
		t.Errorf("opening output 999: result %d", r)
	}
	if _, r := l.openIn(999, func(event) {}); !r.gone() || len(l.inputs) != 0 {
		t.Errorf("opening input 999: result %d, %d inputs", r, len(l.inputs))
	}
	if r := l.short(0, 0x643C90); !r.gone() {
		t.Errorf("sending to no handle: result %d", r)
	}
	if r := l.long(0, []byte{0xF0, 0xF7}, time.Second); r == 0 || len(l.lent) != 0 {
		t.Errorf("sending system exclusive to no handle: result %d, %d lent", r, len(l.lent))
	}
	if r := l.closeOut(0); !r.gone() {
		t.Errorf("closing no handle: result %d", r)
	}
	if n := testing.AllocsPerRun(100, func() { l.short(0, 0x643C90) }); n != 0 {
		t.Errorf("%v allocations for a message", n)
	}
}

// The callback of inputs is of the same form as that of winmm.dll's timer, which
// calls it on a thread of its own too.
func TestCallback(t *testing.T) {
	d, err := New()
	if err != nil {
		t.Fatal(err)
	}
	l := d.sys.(*library)
	heard := make(chan event, 100)
	l.inputs[7] = func(e event) { heard <- e }
	timer := windows.NewLazySystemDLL("winmm.dll").NewProc("timeSetEvent")
	const period = 1
	id, _, err := timer.Call(5, 1, l.callback(), 7, period)
	if id == 0 {
		t.Fatal(err)
	}
	for range 3 {
		select {
		case <-heard:
		case <-time.After(5 * time.Second):
			t.Fatal("not called")
		}
	}
	windows.NewLazySystemDLL("winmm.dll").NewProc("timeKillEvent").Call(id)
	l.heard(0, mimClose, 7, 0, 0)
	if len(l.inputs) != 0 {
		t.Error("a closed input is still waited for")
	}
}
