package winmm

import (
	"fmt"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

// New is the driver of this system. It fails where winmm.dll or one of its
// functions is missing.
func New() (*Driver, error) {
	dll := windows.NewLazySystemDLL("winmm.dll")
	d := &library{inputs: make(map[uintptr]func(event)), lent: make(map[*header]bool)}
	for name, p := range map[string]**windows.LazyProc{
		"midiOutGetNumDevs":      &d.midiOutGetNumDevs,
		"midiOutGetDevCapsW":     &d.midiOutGetDevCaps,
		"midiOutOpen":            &d.midiOutOpen,
		"midiOutShortMsg":        &d.midiOutShortMsg,
		"midiOutPrepareHeader":   &d.midiOutPrepareHeader,
		"midiOutLongMsg":         &d.midiOutLongMsg,
		"midiOutUnprepareHeader": &d.midiOutUnprepareHeader,
		"midiOutReset":           &d.midiOutReset,
		"midiOutClose":           &d.midiOutClose,
		"midiInGetNumDevs":       &d.midiInGetNumDevs,
		"midiInGetDevCapsW":      &d.midiInGetDevCaps,
		"midiInOpen":             &d.midiInOpen,
		"midiInStart":            &d.midiInStart,
		"midiInStop":             &d.midiInStop,
		"midiInClose":            &d.midiInClose,
	} {
		*p = dll.NewProc(name)
		if err := (*p).Find(); err != nil {
			return nil, fmt.Errorf("MIDI on this system: %w", err)
		}
	}
	d.callback = sync.OnceValue(func() uintptr { return windows.NewCallback(d.heard) })
	return newDriver(d), nil
}

// library is winmm.dll.
type library struct {
	midiOutGetNumDevs, midiOutGetDevCaps, midiOutOpen, midiOutShortMsg,
	midiOutPrepareHeader, midiOutLongMsg, midiOutUnprepareHeader,
	midiOutReset, midiOutClose,
	midiInGetNumDevs, midiInGetDevCaps, midiInOpen,
	midiInStart, midiInStop, midiInClose *windows.LazyProc

	// callback is one for all inputs: a program has a limited number of them,
	// and they are never given back. Inputs are told apart by a number, since
	// the system's threads must not be handed pointers of ours.
	callback func() uintptr

	mu     sync.Mutex
	last   uintptr
	inputs map[uintptr]func(event)
	lent   map[*header]bool
}

// Structures of mmsystem.h, which are packed without gaps.
type (
	outCaps struct {
		manufacturer, product                   uint16
		version                                 uint32
		name                                    [32]uint16
		technology, voices, notes, channelsMask uint16
		support                                 uint32
	}
	inCaps struct {
		manufacturer, product uint16
		version               uint32
		name                  [32]uint16
		support               uint32
	}
	header struct {
		data             *byte
		length, recorded uint32
		user             uintptr
		flags            uint32
		// Left to the system: a pointer and a number of a pointer's size, the
		// offset of 4 bytes, and eight such numbers, none of them aligned.
		rest [10*unsafe.Sizeof(uintptr(0)) + 4]byte
	}
)

const (
	callbackFunction = 0x30000
	headerDone       = 1
)

// call calls a function. What an argument points to in the expression of the
// call is kept alive and in its place until it returns.
//
//go:uintptrescapes
func call(p *windows.LazyProc, args ...uintptr) result {
	r, _, _ := p.Call(args...) // the reason is in the result, not in the last error
	return result(uint32(r))
}

func (l *library) outs() int { return int(call(l.midiOutGetNumDevs)) }
func (l *library) ins() int  { return int(call(l.midiInGetNumDevs)) }

func (l *library) outName(id int) (string, result) {
	var caps outCaps
	r := call(l.midiOutGetDevCaps, uintptr(id), uintptr(unsafe.Pointer(&caps)), unsafe.Sizeof(caps))
	return name(caps.name[:]), r
}

func (l *library) inName(id int) (string, result) {
	var caps inCaps
	r := call(l.midiInGetDevCaps, uintptr(id), uintptr(unsafe.Pointer(&caps)), unsafe.Sizeof(caps))
	return name(caps.name[:]), r
}

func (l *library) openOut(id int) (uintptr, result) {
	var h uintptr
	r := call(l.midiOutOpen, uintptr(unsafe.Pointer(&h)), uintptr(id), 0, 0, 0)
	return h, r
}

// short is called for every note; this way it takes no memory.
func (l *library) short(h uintptr, word uint32) result {
	r, _, _ := syscall.SyscallN(l.midiOutShortMsg.Addr(), h, uintptr(word))
	return result(uint32(r))
}

func (l *library) long(h uintptr, data []byte, limit time.Duration) result {
	buf := append([]byte(nil), data...)
	hdr := &header{data: &buf[0], length: uint32(len(buf))}
	// The system knows of both by number until it gives them back.
	l.mu.Lock()
	l.lent[hdr] = true
	l.mu.Unlock()
	at, size := uintptr(unsafe.Pointer(hdr)), unsafe.Sizeof(*hdr)
	if r := call(l.midiOutPrepareHeader, h, at, size); r != 0 {
		l.back(hdr)
		return r
	}
	r := call(l.midiOutLongMsg, h, at, size)
	for start := time.Now(); r == 0 && atomic.LoadUint32(&hdr.flags)&headerDone == 0; {
		if time.Since(start) > limit {
			call(l.midiOutReset, h) // gives the message back
			r = notReady
			break
		}
		time.Sleep(time.Millisecond)
	}
	u := call(l.midiOutUnprepareHeader, h, at, size)
	if u == 0 || u.gone() {
		l.back(hdr)
	} else if r == 0 {
		r = u // and what the system has not given back stays lent
	}
	return r
}

func (l *library) back(hdr *header) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.lent, hdr)
}

func (l *library) closeOut(h uintptr) result { return call(l.midiOutClose, h) }

func (l *library) openIn(id int, receive func(event)) (uintptr, result) {
	l.mu.Lock()
	l.last++
	key := l.last
	l.inputs[key] = receive
	l.mu.Unlock()
	var h uintptr
	r := call(l.midiInOpen, uintptr(unsafe.Pointer(&h)), uintptr(id), l.callback(), key, callbackFunction)
	l.mu.Lock()
	defer l.mu.Unlock()
	if r != 0 {
		delete(l.inputs, key)
		return 0, r
	}
	return h, r
}

// heard is called by the system, on a thread of its own. It may not call
// winmm.dll.
func (l *library) heard(_, msg, key, p1, p2 uintptr) uintptr {
	l.mu.Lock()
	receive := l.inputs[key]
	if uint32(msg) == mimClose {
		delete(l.inputs, key) // the last one that comes
	}
	l.mu.Unlock()
	if receive != nil {
		receive(event{kind: uint32(msg), word: uint32(p1), ms: uint32(p2)})
	}
	return 0
}

func (l *library) start(h uintptr) result   { return call(l.midiInStart, h) }
func (l *library) stop(h uintptr) result    { return call(l.midiInStop, h) }
func (l *library) closeIn(h uintptr) result { return call(l.midiInClose, h) }
