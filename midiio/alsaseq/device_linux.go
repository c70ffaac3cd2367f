package alsaseq

import (
	"errors"
	"os"
	"runtime"
	"syscall"
	"time"
	"unsafe"
)

const devicePath = "/dev/snd/seq"

// The kernel as this package needs it.
type kernel interface {
	open() (device, error)
}

// A device is one client of the sequencer. Any method may run beside any other,
// except write beside close.
type device interface {
	// ioctl passes arg, whose size is part of the request.
	ioctl(request uintptr, arg []byte) error
	// write gives EAGAIN when the receiver has no room, and does not wait.
	write(b []byte) error
	// read waits until there is something or the deadline has passed
	// (os.ErrDeadlineExceeded). ENOSPC: events were lost before this call.
	read(b []byte) (int, error)
	setReadDeadline(t time.Time) error
	// close ends a read that waits, with os.ErrClosed.
	close() error
}

type system struct{}

type file struct {
	f   *os.File
	raw syscall.RawConn
	fd  int // for write alone, which neither waits nor allocates
}

func (system) open() (device, error) {
	for {
		fd, err := syscall.Open(devicePath, syscall.O_RDWR|syscall.O_NONBLOCK|syscall.O_CLOEXEC, 0)
		if errors.Is(err, syscall.EINTR) {
			continue
		}
		if err != nil {
			return nil, err
		}
		f := os.NewFile(uintptr(fd), devicePath)
		raw, err := f.SyscallConn()
		if err != nil {
			_ = f.Close()
			return nil, err
		}
		return &file{f, raw, fd}, nil
	}
}

func (d *file) ioctl(request uintptr, arg []byte) error {
	var errno syscall.Errno
	err := d.raw.Control(func(fd uintptr) {
		for {
			_, _, errno = syscall.Syscall(syscall.SYS_IOCTL, fd, request, uintptr(unsafe.Pointer(unsafe.SliceData(arg))))
			if errno != syscall.EINTR {
				return
			}
		}
	})
	if err == nil && errno != 0 {
		err = errno
	}
	return err
}

func (d *file) write(b []byte) error {
	for {
		n, err := syscall.Write(d.fd, b)
		runtime.KeepAlive(d.f)
		switch {
		case err == syscall.EINTR:
		case err != nil:
			return err
		case n < len(b):
			return errors.New("the sequencer took a part of an event")
		default:
			return nil
		}
	}
}

func (d *file) read(b []byte) (int, error)        { return d.f.Read(b) }
func (d *file) setReadDeadline(t time.Time) error { return d.f.SetReadDeadline(t) }
func (d *file) close() error                      { return d.f.Close() }
