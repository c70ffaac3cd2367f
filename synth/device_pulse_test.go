//go:build linux && !(cgo && alsa)

package synth

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

func TestPulseDevices(t *testing.T) {
	t.Parallel()
	out, err := nullSink(t, "devices")
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, want := range []string{"sound server pulseaudio", "48000 Hz, 2 channels, used by default"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in %s", want, out)
		}
	}
}

// Without a server, or with something else in its place, there is one clear
// sentence.
func TestPulseNoServer(t *testing.T) {
	dir := t.TempDir()
	// serve answers each connection with do and hangs up when do returns.
	serve := func(name string, do func(net.Conn)) (path string) {
		path = filepath.Join(dir, name)
		l, err := net.Listen("unix", path)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				go func() {
					defer c.Close()
					do(c)
				}()
			}
		}()
		return path
	}
	request := func(c net.Conn) { // reads one to its end
		head := make([]byte, 20) // its first four bytes are the length of the rest
		if _, err := io.ReadFull(c, head); err == nil {
			io.CopyN(io.Discard, c, int64(binary.BigEndian.Uint32(head)))
		}
	}
	odd := serve("odd", func(net.Conn) {})
	end := serve("end", request)                                            // the client's read ends
	reset := serve("reset", func(c net.Conn) { io.ReadFull(c, []byte{0}) }) // the client's read is refused
	half := serve("half", func(c net.Conn) { request(c); c.Write([]byte{0, 0, 0}) })
	mute := serve("mute", func(c net.Conn) { io.Copy(io.Discard, c) })
	for server, want := range map[string]string{
		"unix:" + filepath.Join(dir, "none"): "no PulseAudio or PipeWire server answers at " + filepath.Join(dir, "none"),
		"unix:" + odd:                        "does not let us in: it hung up",
		"unix:" + end:                        "does not let us in: it hung up",
		"unix:" + reset:                      "does not let us in: it hung up",
		"unix:" + half:                       "does not let us in: it hung up",
		"unix:" + mute:                       "does not let us in: it does not answer",
		"tcp:":                               "PULSE_SERVER names no server",
	} {
		t.Setenv("PULSE_SERVER", server)
		d, err := OpenDevice(48000, 0)
		if err == nil {
			d.Close()
			t.Errorf("%s: opened", server)
			continue
		}
		if s := err.Error(); !strings.Contains(s, want) || !strings.Contains(s, writeInstead) || strings.Contains(s, "\n") {
			t.Errorf("%s: %q, want %q", server, s, want)
		}
		if lines := Devices(); len(lines) != 1 || lines[0] != err.Error() {
			t.Errorf("%s: devices %q", server, lines)
		}
	}
}

// What is sent to the server is rendered and sent without garbage; a server
// that reads nothing more is given up and holds no request.
func TestPulseGives(t *testing.T) {
	here, there := socketPair(t)
	p := &pulse{conn: here, client: new(proto.Client)}
	p.client.Callback = p.heard
	p.client.Open(watched{here, p})
	read := make(chan int64)
	go func() {
		n, _ := io.CopyN(io.Discard, there, 900*(480*frameBytes+20)) // each block has a head of 20 bytes
		read <- n
	}()
	fill := func(out []float32) { clear(out) }
	noGarbage(t, func() {
		p.wanted.Add(480 * frameBytes)
		if !p.give(fill) {
			t.Fatal("the client does not send")
		}
	})
	for range 200 {
		p.wanted.Add(480 * frameBytes)
		p.give(fill)
	}
	if n := <-read; n != 900*(480*frameBytes+20) {
		t.Errorf("%d bytes arrived", n)
	}
	from := time.Now()
	for p.failed() == nil && time.Since(from) < 10*time.Second {
		p.wanted.Add(480 * frameBytes)
		p.give(fill)
	}
	if err := p.failed(); !errors.Is(err, errStalled) {
		t.Errorf("nobody reads: %v", err)
	}
}

// socketPair are two ends of a connection, as a server's is.
func socketPair(t *testing.T) (a, b net.Conn) {
	t.Helper()
	l, err := net.Listen("unix", filepath.Join(t.TempDir(), "socket"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if a, err = net.Dial("unix", l.Addr().String()); err != nil {
		t.Fatal(err)
	}
	if b, err = l.Accept(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close(); b.Close() })
	return a, b
}

// A server may ask again and again before sound begins, when nobody is there to
// give it anything: none of that waits, and none of it is lost.
func TestPulseAskedEarly(t *testing.T) {
	p := &pulse{wake: make(chan struct{}, 1)}
	for range 3 {
		p.heard(&proto.Request{Length: 480})
	}
	p.ask(960)
	if got := p.wanted.Load(); got != 3*480+960 || len(p.wake) != 1 {
		t.Errorf("%d bytes are wanted, woken %d times", got, len(p.wake))
	}
}
