//go:build linux && !(cgo && alsa)

package synth

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

// Linux without C: the PulseAudio protocol, which PipeWire's pulse service
// speaks too. The client is written against the protocol package: all it waits
// for has a limit, so that a server that hangs cannot hold the program.

const (
	frameBytes = 8   // two float32
	pulseBlock = 480 // most frames rendered at a time
)

type pulse struct {
	conn   net.Conn
	client *proto.Client
	stream proto.CreatePlaybackStreamReply

	wanted atomic.Int64  // bytes the server asked for
	wake   chan struct{} // there are some
	done   chan struct{}
	closed atomic.Bool
	lost   atomic.Pointer[error]
	holes  atomic.Int32
	buffer time.Duration

	samples [2 * pulseBlock]float32
	bytes   [pulseBlock * frameBytes]byte
}

func openBackend(rate int, buffer time.Duration) (backend, error) {
	p, err := dialPulse()
	if err != nil {
		return nil, err
	}
	p.buffer = buffer
	bytes := uint32(float64(rate)*buffer.Seconds()) * frameBytes
	err = p.client.Request(&proto.CreatePlaybackStream{
		SampleSpec:            proto.SampleSpec{Format: proto.FormatFloat32LE, Channels: 2, Rate: uint32(rate)},
		ChannelMap:            proto.ChannelMap{proto.ChannelLeft, proto.ChannelRight},
		SinkIndex:             proto.Undefined,
		Corked:                true,
		BufferMaxLength:       2 * bytes,
		BufferTargetLength:    bytes,
		BufferPrebufferLength: proto.Undefined,
		BufferMinimumRequest:  proto.Undefined,
		ChannelVolumes:        proto.ChannelVolumes{0x10000, 0x10000}, // 0 dB
		AdjustLatency:         true,
		Properties:            proto.PropList{"media.name": proto.PropListString("guitar")},
	}, &p.stream)
	if err != nil {
		p.conn.Close()
		if errors.Is(err, proto.ErrNoSuchEntity) {
			return nil, fmt.Errorf("no sound: the sound server has no output device (connect one; %s)", writeInstead)
		}
		return nil, fmt.Errorf("no sound: the sound server opens no stream: %s (restart it; %s)", pulseText(err), writeInstead)
	}
	return p, nil
}

// dialPulse connects to the first server that answers.
func dialPulse() (*pulse, error) {
	servers := pulseServers(os.Getenv, os.Getuid())
	if len(servers) == 0 {
		return nil, fmt.Errorf("no sound: PULSE_SERVER names no server (correct or unset it; %s)", writeInstead)
	}
	var first error
	for _, s := range servers {
		conn, err := net.DialTimeout(s[0], s[1], serverLimit)
		if err == nil {
			var p *pulse
			if p, err = newPulse(conn); err == nil {
				return p, nil
			}
			conn.Close()
			return nil, fmt.Errorf("no sound: the sound server at %s does not let us in: %s (restart it; %s)", s[1], pulseText(err), writeInstead)
		}
		if first == nil {
			first = fmt.Errorf("no sound: no PulseAudio or PipeWire server answers at %s (start one, or get one: apt install pulseaudio; %s)", s[1], writeInstead)
		}
	}
	return nil, first
}

func newPulse(conn net.Conn) (*pulse, error) {
	p := &pulse{conn: conn, client: new(proto.Client), wake: make(chan struct{}, 1), done: make(chan struct{})}
	p.client.Callback = p.heard
	p.client.SetTimeout(serverLimit)
	p.client.Open(watched{conn, p})
	var auth proto.AuthReply
	if err := p.client.Request(&proto.Auth{Version: p.client.Version(), Cookie: pulseCookie()}, &auth); err != nil {
		return nil, err
	}
	p.client.SetVersion(auth.Version)
	if v := auth.Version.Version(); v < 13 {
		return nil, fmt.Errorf("it speaks version %d of the protocol, older than 13", v)
	}
	return p, p.client.Request(&proto.SetClientName{Props: proto.PropList{
		"application.name":       proto.PropListString("thumbline"),
		"application.process.id": proto.PropListString(fmt.Sprint(os.Getpid())),
	}}, &proto.SetClientNameReply{})
}

// pulseCookie is the secret a server shares with its user. One that lets in
// everybody takes any 256 bytes.
func pulseCookie() []byte {
	names := []string{os.Getenv("PULSE_COOKIE")}
	if home, err := os.UserHomeDir(); err == nil {
		names = append(names, filepath.Join(home, ".config", "pulse", "cookie"), filepath.Join(home, ".pulse-cookie"))
	}
	for _, n := range names {
		if b, err := os.ReadFile(n); err == nil && len(b) > 0 {
			return b
		}
	}
	return make([]byte, 256)
}

// watched notes when the connection breaks, in whatever way, and gives up a
// server that no longer reads: a write that waited for ever would hold every
// request too.
type watched struct {
	net.Conn
	p *pulse
}

func (w watched) Read(b []byte) (int, error) {
	n, err := w.Conn.Read(b)
	if err != nil {
		w.p.lose(errLost)
	}
	return n, err
}

func (w watched) Write(b []byte) (int, error) {
	w.SetWriteDeadline(time.Now().Add(serverLimit))
	n, err := w.Conn.Write(b)
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		w.p.lose(errStalled)
	case err != nil:
		w.p.lose(errLost)
	}
	return n, err
}

func (p *pulse) lose(err error) {
	if !p.closed.Load() {
		p.lost.CompareAndSwap(nil, &err)
	}
}

// heard takes what the server sends unasked. It runs in the client's reading
// goroutine and must not wait.
func (p *pulse) heard(msg any) {
	switch m := msg.(type) {
	case *proto.Request:
		p.ask(m.Length)
	case *proto.Underflow:
		p.holes.Add(1)
	case *proto.PlaybackStreamKilled, *proto.ConnectionClosed:
		p.lose(errLost)
	}
}

// ask notes that the server wants so many bytes more. It does not wait: a server
// may have asked before sound begins, when nobody is there to wake.
func (p *pulse) ask(bytes uint32) {
	p.wanted.Add(int64(bytes))
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

func (p *pulse) start(fill func(out []float32)) error {
	go p.run(fill)
	p.ask(p.stream.Missing)
	if err := p.client.Request(&proto.CorkPlaybackStream{StreamIndex: p.stream.StreamIndex}, nil); err != nil {
		return fmt.Errorf("the sound server does not start the sound: %s (restart it; %s)", pulseText(err), writeInstead)
	}
	return nil
}

func (p *pulse) run(fill func(out []float32)) {
	for {
		select {
		case <-p.done:
			return
		case <-p.wake:
		}
		if !p.give(fill) {
			return
		}
	}
}

// give sends what the server asked for, and says whether to go on.
func (p *pulse) give(fill func(out []float32)) bool {
	for p.wanted.Load() >= frameBytes {
		n := min(int(p.wanted.Load()/frameBytes), pulseBlock)
		out := p.samples[:2*n]
		fill(out)
		b := p.bytes[:0]
		for _, v := range out {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
		if p.client.Send(p.stream.StreamIndex, b) != nil || p.closed.Load() {
			return false
		}
		p.wanted.Add(-int64(len(b)))
	}
	return true
}

func (p *pulse) failed() error {
	if e := p.lost.Load(); e != nil {
		return *e
	}
	return nil
}

func (p *pulse) held() time.Duration { return p.buffer }

func (p *pulse) underflows() int { return int(p.holes.Load()) }

// stop cuts the connection, which ends the stream on any server, even on one
// that hangs.
func (p *pulse) stop() error {
	p.closed.Store(true)
	close(p.done)
	p.conn.Close()
	return nil
}

func pulseText(err error) string {
	switch {
	// A server that hangs up with a request unread resets the connection: which
	// of the two comes is a matter of a moment.
	case errors.Is(err, io.EOF), errors.Is(err, syscall.ECONNRESET):
		return "it hung up"
	case errors.Is(err, os.ErrDeadlineExceeded), strings.Contains(err.Error(), "deadline"):
		return "it does not answer"
	}
	return strings.TrimPrefix(err.Error(), "pulseaudio: ")
}

func listDevices() []string {
	p, err := dialPulse()
	if err != nil {
		return []string{err.Error()}
	}
	defer p.stop()
	var server proto.GetServerInfoReply
	if err := p.client.Request(&proto.GetServerInfo{}, &server); err != nil {
		return []string{"the sound server says nothing about itself: " + pulseText(err)}
	}
	lines := []string{fmt.Sprintf("sound server %s %s", server.PackageName, server.PackageVersion)}
	var sinks proto.GetSinkInfoListReply
	if err := p.client.Request(&proto.GetSinkInfoList{}, &sinks); err != nil {
		return append(lines, "it does not list its devices: "+pulseText(err))
	}
	for _, s := range sinks {
		about := ""
		if s.SinkName == server.DefaultSinkName {
			about = ", used by default"
		}
		if s.Mute {
			about += ", muted"
		}
		lines = append(lines, fmt.Sprintf("%s (%d Hz, %d channels%s)", s.Device, s.Rate, s.Channels, about))
	}
	if len(sinks) == 0 {
		lines = append(lines, "it has no output device")
	}
	return lines
}
