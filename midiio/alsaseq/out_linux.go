package alsaseq

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"syscall"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
)

// retryEvery is how often a message is offered to a receiver without room.
const retryEvery = time.Millisecond

// An Out is a port to send to: of another program, a device, or one of our own
// that others subscribe to. Any goroutine may call its methods; one that sends
// makes the others wait, at most as long as a receiver is waited for.
type Out struct {
	*peer

	mu     sync.Mutex
	client *client // nil while closed
	watch  *watch
	event  event
	status byte // running status, 0 for none
	whole  [3]byte
	stuck  bool // has not taken the last message
	buf    []byte
}

var _ drivers.Out = (*Out)(nil)

// A watch reads what the kernel tells of an open port.
type watch struct {
	gone chan struct{} // closed when the port has gone
	err  error         // why; set before
	done chan struct{} // closed when nothing reads any more
}

// Open connects with the port. An error wraps ErrPortGone when the port is no
// longer there or another has taken its number. Opening an open port does
// nothing, unless it has gone: then it is opened anew.
func (o *Out) Open() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.client != nil {
		if !o.lost() {
			return nil
		}
		if err := o.close(); err != nil {
			return err
		}
	}
	name := "out"
	if o.at == subscribers {
		name = o.port
	}
	c, err := o.link(name, capRead|capSubsRead, false)
	if err != nil {
		return err
	}
	o.client = c
	o.status, o.stuck = 0, false
	o.watch = &watch{gone: make(chan struct{}), done: make(chan struct{})}
	o.driver.opened(c, o.Close)
	go o.listen(c, o.watch)
	return nil
}

// listen reads until the port has gone or is closed.
func (o *Out) listen(c *client, w *watch) {
	defer close(w.done)
	buf := make([]byte, readSize)
	for w.err == nil {
		n, err := c.device.read(buf)
		switch {
		case err == nil:
			walk(buf[:n], func(e *event, _ []byte) {
				if e.ends(c.our, o.at) {
					w.err = o.failed(ErrPortGone)
				}
			})
		case errors.Is(err, os.ErrClosed):
			return
		case errors.Is(err, syscall.ENOSPC):
			// What was lost may have been what we wait for.
			w.err = o.there(c)
		default:
			w.err = o.failed(err)
		}
	}
	close(w.gone)
}

// Close ends the connection; what sounds is not silenced. Nothing is left
// running. Closing a closed port does nothing.
func (o *Out) Close() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.close()
}

func (o *Out) close() error {
	if o.client == nil {
		return nil
	}
	c := o.client
	o.client = nil
	err := c.device.close()
	<-o.watch.done
	o.driver.closed(c)
	if err != nil {
		return o.failed(err)
	}
	return nil
}

// IsOpen reports whether the port is open and has not gone.
func (o *Out) IsOpen() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.client != nil && !o.lost()
}

func (o *Out) lost() bool {
	select {
	case <-o.watch.gone:
		return true
	default:
		return false
	}
}

// Gone is closed when the port that was opened last has gone, also while nothing
// is sent; nil before the first opening.
func (o *Out) Gone() <-chan struct{} {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.watch == nil {
		return nil
	}
	return o.watch.gone
}

// Connected reports whether anyone receives what is sent: of a virtual port,
// whether a program has subscribed; of others, whether it is open.
func (o *Out) Connected() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.client == nil || o.lost() {
		return false
	}
	if o.at != subscribers {
		return true
	}
	return o.readers(o.client.our) > 0
}

// readers is how many have subscribed to a port.
func (o *Out) readers(a address) int {
	var p portInfo
	p.setAt(a)
	if o.client.device.ioctl(ioctlGetPortInfo, p[:]) != nil {
		return 0
	}
	return p.readers()
}

// Send sends one whole MIDI message at once: channel, system common, real-time
// or system exclusive. A status that is that of the message before may be left
// out. Any other bytes, a message in parts or several messages are refused with
// an error and nothing is sent.
//
// Errors wrap drivers.ErrPortClosed; ErrPortGone when the port or its owner has
// ended; ErrPortStuck when the receiver has no room: it has left some 200
// messages unread, and will lose them. The message is then offered for 300 ms
// more, so that what is sent after it, to end what sounds, mostly arrives; while
// it is not taken, each further message is offered once, without waiting.
func (o *Out) Send(msg []byte) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.client == nil {
		return drivers.ErrPortClosed
	}
	if o.lost() {
		return o.watch.err
	}
	whole := msg
	if len(msg) > 0 && len(msg) < len(o.whole) && msg[0] < 0x80 && o.status != 0 {
		o.whole[0] = o.status
		whole = o.whole[:1+copy(o.whole[1:], msg)]
	}
	if !o.event.encode(whole) {
		return fmt.Errorf("MIDI port %s: not one whole MIDI message: % X", o.name, msg[:min(len(msg), 16)])
	}
	switch status := whole[0]; {
	case status < 0xf0:
		o.status = status
	case status < 0xf8: // real-time messages leave it alone
		o.status = 0
	}
	o.event.setSource(o.client.our)
	o.event.setDest(o.at)
	o.buf = append(o.buf[:0], o.event[:]...)
	if whole[0] == 0xf0 {
		o.buf = append(o.buf, whole...)
	}
	switch err := o.write(); {
	case err == nil:
		return nil
	case gone(err):
		return o.failed(ErrPortGone)
	default:
		return o.failed(err)
	}
}

// write gives the event to the kernel. A receiver without room is an error also
// when it takes the event after a while: the kernel then empties its queue.
func (o *Out) write() error {
	err := o.client.device.write(o.buf)
	if !noRoom(err) {
		o.stuck = false
		return err
	}
	if o.stuck {
		return ErrPortStuck
	}
	o.stuck = true
	if !o.repeatable() {
		return ErrPortStuck
	}
	for start := time.Now(); time.Since(start) < o.driver.patience; {
		time.Sleep(retryEvery)
		if o.lost() {
			return ErrPortGone
		}
		if err := o.client.device.write(o.buf); !noRoom(err) {
			o.stuck = false
			if err != nil {
				return err
			}
			break
		}
	}
	return ErrPortStuck
}

// noRoom reports whether the receiver's queue was full. ENOMEM is said by ports
// of the kernel that pass events on.
func noRoom(err error) bool {
	return errors.Is(err, syscall.EAGAIN) || errors.Is(err, syscall.ENOMEM)
}

// repeatable reports whether a message that was not taken may be sent again.
// Where several receive, those who had room for it have it already, and would
// strike the note twice; the one who has not is hundreds of events behind.
func (o *Out) repeatable() bool {
	switch {
	case o.at == subscribers:
		return o.readers(o.client.our) <= 1
	case o.kernel:
		return o.readers(o.at) <= 1
	}
	return true
}
