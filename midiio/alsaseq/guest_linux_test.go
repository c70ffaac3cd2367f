package alsaseq

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"
)

// The tests named TestKernel run where there is a sequencer with its "Midi
// Through" and the tool aseqdump; those that take the card of virmidi away only
// where that does no harm, in the small kernel of the long cross-check.

func kernelDriver(t *testing.T) *Driver {
	t.Helper()
	d, err := New("thumbline")
	if err != nil {
		if os.Getenv("GUEST") != "" {
			t.Fatal(err)
		}
		t.Skip("no sequencer to test with: ", err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	return d
}

// A dump is aseqdump at a port, one line an event.
type dump struct {
	cmd   *exec.Cmd
	lines chan string
}

func startDump(t *testing.T, args ...string) *dump {
	t.Helper()
	if _, err := exec.LookPath("aseqdump"); err != nil && os.Getenv("GUEST") == "" {
		t.Skip("no aseqdump to read with (Debian's alsa-utils)")
	}
	d := &dump{exec.Command("aseqdump", args...), make(chan string, 10000)}
	pipe, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	d.cmd.Stderr = os.Stderr
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.cmd.Process.Kill(); _ = d.cmd.Wait() })
	go func() {
		s := bufio.NewScanner(pipe)
		for s.Scan() {
			d.lines <- s.Text()
		}
		close(d.lines)
	}()
	// It says nothing before its first event.
	for limit := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		b, err := os.ReadFile("/proc/asound/seq/clients")
		if err != nil {
			t.Fatal(err)
		}
		_, clients, there := strings.Cut(string(b), `"aseqdump"`)
		clients, _, _ = strings.Cut(clients, "Client")
		if there && (len(args) == 0 || strings.Contains(clients, "Connected From:")) {
			return d
		}
		if time.Now().After(limit) {
			t.Fatal("aseqdump never came")
		}
	}
}

// line waits for one that contains part, and is it.
func (d *dump) line(t *testing.T, part string) string {
	t.Helper()
	limit := time.After(20 * time.Second)
	for {
		select {
		case l, ok := <-d.lines:
			if !ok {
				t.Fatalf("aseqdump ended before %q", part)
			}
			if strings.Contains(l, part) {
				return strings.Join(strings.Fields(l), " ")
			}
		case <-limit:
			t.Fatalf("aseqdump never said %q", part)
		}
	}
}

func TestKernelList(t *testing.T) {
	d := kernelDriver(t)
	outs, err := d.Outs()
	if err != nil {
		t.Fatal(err)
	}
	ins, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range outs {
		t.Log("out", o.Number(), o)
		if o.Number() != i || o.IsOpen() {
			t.Errorf("output %d is number %d, open %v", i, o.Number(), o.IsOpen())
		}
	}
	for _, i := range ins {
		t.Log("in", i.Number(), i)
	}
	if os.Getenv("GUEST") == "" {
		return
	}
	want := "[Midi Through Port-0 Virtual Raw MIDI 1-0 VirMIDI 1-0 Virtual Raw MIDI 1-1 VirMIDI 1-1]"
	if fmt.Sprint(outs) != want || fmt.Sprint(ins) != want {
		t.Errorf("outputs %v, inputs %v, want each %s", outs, ins, want)
	}
}

func TestKernelSend(t *testing.T) {
	d := kernelDriver(t)
	out := openOut(t, d, "Through")
	dump := startDump(t, "-p", fmt.Sprintf("%d:%d", out.at.client, out.at.port))
	for i := range 400 {
		if err := out.Send([]byte{0x90 | byte(i%16), byte(i % 128), byte(1 + i%127)}); err != nil {
			t.Fatalf("note %d: %v", i, err)
		}
		time.Sleep(time.Millisecond) // aseqdump has room for 200
	}
	for i := range 400 {
		want := fmt.Sprintf("%d:%d Note on %d, note %d, velocity %d", out.at.client, out.at.port, i%16, i%128, 1+i%127)
		if got := dump.line(t, "Note on"); got != want {
			t.Fatalf("note %d: %q, want %q", i, got, want)
		}
	}
}

func TestKernelVirtual(t *testing.T) {
	d := kernelDriver(t)
	o, err := d.OpenVirtualOut("guitar")
	if err != nil {
		t.Fatal(err)
	}
	out := o.(*Out)
	if out.Connected() {
		t.Error("connected before anyone has subscribed")
	}
	if err := out.Send([]byte{0x90, 60, 100}); err != nil {
		t.Errorf("to nobody: %v", err)
	}
	list, err := d.Ins()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range list {
		if strings.Contains(i.String(), "guitar") {
			t.Error("a port of ours is listed among those of others")
		}
	}
	dump := startDump(t, "-p", "thumbline:0")
	for limit := time.Now().Add(5 * time.Second); !out.Connected(); time.Sleep(time.Millisecond) {
		if time.Now().After(limit) {
			t.Fatal("aseqdump has subscribed but Connected is false")
		}
	}
	if err := out.Send([]byte{0xb0, 64, 127}); err != nil {
		t.Fatal(err)
	}
	if got := dump.line(t, "Control"); !strings.HasSuffix(got, "Control change 0, controller 64, value 127") {
		t.Errorf("aseqdump: %q", got)
	}
	_ = dump.cmd.Process.Kill()
	_ = dump.cmd.Wait()
	for limit := time.Now().Add(5 * time.Second); out.Connected(); time.Sleep(time.Millisecond) {
		if time.Now().After(limit) {
			t.Fatal("Connected although the program has ended")
		}
	}
	if err := out.Send([]byte{0x80, 60, 0}); err != nil {
		t.Errorf("to nobody any more: %v", err)
	}
}

// A receiver that is stopped has room for 200 events, then for none.
func TestKernelStuck(t *testing.T) {
	for _, how := range []string{"direct", "through", "virtual"} {
		t.Run(how, func(t *testing.T) {
			d := kernelDriver(t)
			var out *Out
			var dump *dump
			switch how {
			case "direct":
				dump = startDump(t)
				out = openOut(t, d, "aseqdump")
			case "through":
				out = openOut(t, d, "Through")
				dump = startDump(t, "-p", fmt.Sprintf("%d:%d", out.at.client, out.at.port))
			case "virtual":
				o, err := d.OpenVirtualOut("guitar")
				if err != nil {
					t.Fatal(err)
				}
				out = o.(*Out)
				dump = startDump(t, "-p", "thumbline:0")
			}
			if err := dump.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
				t.Fatal(err)
			}
			var err error
			var took time.Duration
			n := 0
			for ; err == nil && n < 5000; n++ {
				from := time.Now()
				err = out.Send([]byte{0x90, byte(n % 128), 100})
				took = time.Since(from)
			}
			t.Logf("%d taken, then %v: %v", n-1, took.Round(time.Millisecond), err)
			if !errors.Is(err, ErrPortStuck) || took > time.Second {
				t.Fatalf("after %v: %v", took, err)
			}
			from := time.Now()
			if err := out.Send([]byte{0x80, 1, 0}); !errors.Is(err, ErrPortStuck) || time.Since(from) > 100*time.Millisecond {
				t.Errorf("the next after %v: %v", time.Since(from), err)
			}
			if err := dump.cmd.Process.Signal(syscall.SIGCONT); err != nil {
				t.Fatal(err)
			}
			// Once it reads again, it gets what is sent.
			for limit := time.Now().Add(5 * time.Second); ; time.Sleep(10 * time.Millisecond) {
				if err = out.Send([]byte{0xb0, 123, 0}); err == nil {
					break
				}
				if time.Now().After(limit) {
					t.Fatal(err)
				}
			}
			dump.line(t, "controller 123")
		})
	}
}

func TestKernelOwnerEnds(t *testing.T) {
	d := kernelDriver(t)
	dump := startDump(t)
	out := openOut(t, d, "aseqdump")
	if err := out.Send([]byte{0x90, 60, 100}); err != nil {
		t.Fatal(err)
	}
	from := time.Now()
	if err := dump.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = dump.cmd.Wait()
	select {
	case <-out.Gone():
		t.Log("told after", time.Since(from).Round(time.Millisecond))
	case <-time.After(time.Second):
		t.Error("not told within a second")
	}
	if err := out.Send([]byte{0x80, 60, 0}); !errors.Is(err, ErrPortGone) {
		t.Error("Send:", err)
	}
	if out.IsOpen() || out.Connected() {
		t.Error("open or connected although the owner has ended")
	}
	if err := out.Open(); !errors.Is(err, ErrPortGone) {
		t.Error("Open:", err)
	}
}

func TestKernelInput(t *testing.T) {
	d := kernelDriver(t)
	out := openOut(t, d, "Through")
	in := openIn(t, d, "Through")
	if err := out.Send([]byte{0x90, 1, 1}); err != nil { // nobody listens yet
		t.Fatal(err)
	}
	got := make(chan string, 100)
	stop, err := in.Listen(func(msg []byte, _ int32) { got <- fmt.Sprintf("%X", msg) }, drivers.ListenConfig{TimeCode: true, ActiveSense: true, SysEx: true})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	for _, m := range everyKind {
		from := time.Now()
		if err := out.Send(m); err != nil {
			t.Fatalf("% X: %v", m, err)
		}
		select {
		case g := <-got:
			if want := fmt.Sprintf("%X", m); g != want {
				t.Errorf("got %s, sent %s", g, want)
			}
			if took := time.Since(from); took > 100*time.Millisecond {
				t.Errorf("% X took %v", m, took)
			}
		case <-time.After(time.Second):
			t.Errorf("% X never came", m)
		}
	}
	long := make([]byte, 1000)
	long[0], long[999] = 0xf0, 0xf7
	if err := out.Send(long); err != nil {
		t.Fatal(err)
	}
	select {
	case g := <-got:
		if want := fmt.Sprintf("%X", long); g != want {
			t.Errorf("system exclusive: got %d bytes %.40s", len(g)/2, g)
		}
	case <-time.After(time.Second):
		t.Error("system exclusive never came")
	}
}

var everyKind = [][]byte{
	{0x93, 60, 100}, {0x83, 60, 64}, {0xa0, 1, 2}, {0xb5, 7, 127}, {0xc2, 5}, {0xd2, 77}, {0xef, 0, 0}, {0xe0, 0, 64}, {0xe0, 127, 127},
	{0xf1, 0x23}, {0xf2, 5, 99}, {0xf3, 9}, {0xf6}, {0xf8}, {0xfa}, {0xfb}, {0xfc}, {0xfe}, {0xff}, {0xf0, 0x7e, 2, 9, 1, 0xf7},
}

func TestKernelUnbind(t *testing.T) {
	if os.Getenv("GUEST") == "" {
		t.Skip("takes a device away: only in the guest of the long cross-check")
	}
	plugLater(t)
	d := kernelDriver(t)
	resting, sending, in := openOut(t, d, "1-1"), openOut(t, d, "VirMIDI 1-0"), openIn(t, d, "VirMIDI 1-0")
	ended := make(chan error, 2)
	stop, err := in.Listen(func([]byte, int32) {}, drivers.ListenConfig{OnErr: func(err error) { ended <- err }})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	if err := resting.Send([]byte{0x90, 60, 100}); err != nil {
		t.Fatal(err)
	}
	var from time.Time
	unbound := make(chan struct{})
	go func() {
		defer close(unbound)
		time.Sleep(200 * time.Millisecond)
		from = unplug(t)
	}()
	for n := 0; ; n++ {
		if err = sending.Send([]byte{0x90, byte(n % 128), 100}); err != nil {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	at := time.Now()
	<-unbound
	t.Logf("Send told after %v: %v", at.Sub(from).Round(time.Millisecond), err)
	if !errors.Is(err, ErrPortGone) || at.Sub(from) > time.Second {
		t.Errorf("Send after %v: %v", at.Sub(from), err)
	}
	select {
	case <-resting.Gone():
		t.Log("told without sending after", time.Since(from).Round(time.Millisecond))
	case <-time.After(time.Second):
		t.Error("not told within a second")
	}
	select {
	case err := <-ended:
		if !errors.Is(err, ErrPortGone) {
			t.Error("input:", err)
		}
	case <-time.After(time.Second):
		t.Error("input not told within a second")
	}
	if d := time.Since(from); d > time.Second {
		t.Errorf("all told after %v", d)
	}
}
