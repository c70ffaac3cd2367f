package alsaseq

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"thumbline/midiio/internal/wire"
)

// The tests named TestCommand run the whole program beside a real sequencer, in
// the small kernel of the long cross-check: THUMBLINE is the program, GUEST_OUT
// where captures are left that are compared outside, SHORT a MIDI file of a few
// seconds, INTERRUPTS how often to interrupt, RESTED and JUMPING the flags of
// loops with bars of rest and without, BENT a MIDI file with a pedal and bends.

// What a player waits at most for a line when a port is lost, and for a foot
// switch to act.
const (
	toldWithin = time.Second
	actsWithin = 100 * time.Millisecond
)

func guest(t *testing.T) {
	t.Helper()
	if os.Getenv("GUEST") == "" || os.Getenv("THUMBLINE") == "" {
		t.Skip("needs the guest of the long cross-check (make crosscheck-ports)")
	}
}

// A program is thumbline under way.
type program struct {
	cmd    *exec.Cmd
	stdin  io.WriteCloser
	lines  chan string
	stderr bytes.Buffer
	exited chan struct{}
	at     time.Time // when it has
}

func start(t *testing.T, args ...string) *program {
	t.Helper()
	p := &program{cmd: exec.Command(os.Getenv("THUMBLINE"), args...), lines: make(chan string, 10000), exited: make(chan struct{})}
	p.cmd.Stderr = &p.stderr
	stdout, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if p.stdin, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		for s := bufio.NewScanner(stdout); s.Scan(); {
			p.lines <- s.Text()
		}
		close(p.lines)
		_ = p.cmd.Wait()
		p.at = time.Now()
		close(p.exited)
	}()
	t.Cleanup(func() { _ = p.cmd.Process.Kill(); <-p.exited })
	return p
}

// end waits for the program's, and is its status and what it said on standard
// error.
func (p *program) end(t *testing.T, within time.Duration) (int, string) {
	t.Helper()
	select {
	case <-p.exited:
	case <-time.After(within):
		t.Fatalf("%v runs after %v", p.cmd.Args, within)
	}
	return p.cmd.ProcessState.ExitCode(), p.stderr.String()
}

// says waits for a line with part.
func (p *program) says(t *testing.T, part string) string {
	t.Helper()
	limit := time.After(30 * time.Second)
	for {
		select {
		case l, ok := <-p.lines:
			if !ok {
				<-p.exited
				t.Fatalf("%v ended before saying %q: %s", p.cmd.Args, part, p.stderr.String())
			}
			if strings.Contains(l, part) {
				return l
			}
		case <-limit:
			t.Fatalf("%v never said %q", p.cmd.Args, part)
		}
	}
}

// A heard message and when it was read.
type heard struct {
	at  time.Time
	msg []byte
}

// A recorder reads the bytes that leave at the other side of a port of virmidi,
// as they would go to a cable.
type recorder struct {
	node *os.File
	mu   sync.Mutex
	msgs []heard
	more chan struct{}
	done chan struct{}
}

func record(t *testing.T, node string) *recorder {
	t.Helper()
	f, err := os.OpenFile(node, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	r := &recorder{node: f, more: make(chan struct{}, 1), done: make(chan struct{})}
	go func() {
		defer close(r.done)
		defer f.Close() // a card that is taken away waits for it
		var status byte
		var msg []byte
		buf := make([]byte, 4096)
		for {
			n, err := f.Read(buf)
			if err != nil {
				return
			}
			at := time.Now()
			r.mu.Lock()
			for _, b := range buf[:n] {
				switch {
				case b >= 0xf8:
					r.msgs = append(r.msgs, heard{at, []byte{b}})
					continue
				case b >= 0x80:
					status, msg = b, []byte{b}
				case len(msg) == 0 && status != 0:
					msg = []byte{status, b}
				default:
					msg = append(msg, b)
				}
				if wire.Size(status) == len(msg) {
					r.msgs = append(r.msgs, heard{at, msg})
					if msg = nil; status >= 0xf0 {
						status = 0
					}
				}
			}
			r.mu.Unlock()
			select {
			case r.more <- struct{}{}:
			default:
			}
		}
	}()
	t.Cleanup(r.close)
	return r
}

func (r *recorder) close() {
	_ = r.node.Close()
	<-r.done
}

func (r *recorder) all() []heard {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.msgs)
}

// await waits for a message that is wanted, from the one numbered from on, and is
// its number.
func (r *recorder) await(t *testing.T, what string, from int, within time.Duration, wanted func(msg []byte) bool) int {
	t.Helper()
	limit := time.After(within)
	for {
		all := r.all()
		for ; from < len(all); from++ {
			if wanted(all[from].msg) {
				return from
			}
		}
		select {
		case <-r.more:
		case <-r.done:
			t.Fatalf("the node ended before %s", what)
		case <-limit:
			t.Fatalf("%s did not come within %v; the last messages: % X", what, within, last(all, 8))
		}
	}
}

func last(all []heard, n int) (msgs [][]byte) {
	for _, h := range all[max(len(all)-n, 0):] {
		msgs = append(msgs, h.msg)
	}
	return msgs
}

func noteOn(msg []byte) bool { return msg[0]&0xf0 == 0x90 && msg[2] > 0 }

// sounding tells what is wrong with messages after which nothing may sound: each
// note has its end, and CC 123 and 120 came after the last on each channel used.
func sounding(all []heard) string {
	on := map[[2]byte]int{}
	used := map[byte]bool{}
	quiet := map[byte]int{} // bit 0: CC 123 since the last note, bit 1: CC 120
	for _, h := range all {
		m := h.msg
		channel := m[0] & 15
		switch {
		case m[0] >= 0xf0:
		case noteOn(m):
			on[[2]byte{channel, m[1]}]++
			used[channel] = true
			quiet[channel] = 0
		case m[0]&0xe0 == 0x80:
			k := [2]byte{channel, m[1]}
			if on[k]--; on[k] <= 0 {
				delete(on, k)
			}
		case m[0]&0xf0 == 0xb0 && m[1] == 123:
			quiet[channel] |= 1
		case m[0]&0xf0 == 0xb0 && m[1] == 120:
			quiet[channel] |= 2
		}
	}
	var wrong []string
	for k := range on {
		wrong = append(wrong, fmt.Sprintf("key %d of channel %d sounds", k[1], k[0]+1))
	}
	for c := range used {
		if quiet[c] != 3 {
			wrong = append(wrong, fmt.Sprintf("channel %d without CC 123 and 120", c+1))
		}
	}
	slices.Sort(wrong)
	return strings.Join(wrong, ", ")
}

func TestCommandPorts(t *testing.T) {
	guest(t)
	p := start(t, "ports")
	status, stderr := p.end(t, 20*time.Second)
	var lines []string
	for l := range p.lines {
		lines = append(lines, strings.TrimSpace(l))
	}
	all := strings.Join(lines, "\n")
	t.Log(all)
	if status != 0 || stderr != "" {
		t.Errorf("status %d, %s", status, stderr)
	}
	for _, name := range []string{"Midi Through Port-0", "Virtual Raw MIDI 1-0 VirMIDI 1-0", "Virtual Raw MIDI 1-1 VirMIDI 1-1"} {
		if n := strings.Count(all, name); n != 2 {
			t.Errorf("%s is listed %d times, want as output and as input", name, n)
		}
	}
	for port, want := range map[string]string{"virmidi": "give more of the name", "no such": "there are: Midi Through Port-0"} {
		status, stderr := start(t, "hear", "--port", port).end(t, 20*time.Second)
		if status == 0 || !strings.Contains(stderr, want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("--port %q: status %d, %s", port, status, stderr)
		}
	}
}

// dumpTo lets aseqdump write a capture, until the function returned is called.
func dumpTo(t *testing.T, name, from string) (stop func()) {
	t.Helper()
	f, err := os.Create(filepath.Join(os.Getenv("GUEST_OUT"), name))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("aseqdump", "-p", from)
	cmd.Stdout = f
	before := strings.Count(clients(t), "Connected From:")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for limit := time.Now().Add(20 * time.Second); strings.Count(clients(t), "Connected From:") == before; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(limit) {
			t.Fatal("aseqdump never came")
		}
	}
	return sync.OnceFunc(func() {
		time.Sleep(200 * time.Millisecond)
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
		_ = f.Close()
	})
}

// dumpOurs is dumpTo for a program's own port, for which it waits.
func dumpOurs(t *testing.T, p *program, name string) (stop func()) {
	t.Helper()
	p.says(t, "Connect to the MIDI port")
	ours := regexp.MustCompile(`Client +(\d+) : "thumbline" [^\n]*\n *Port +(\d+) : "thumbline"`).FindStringSubmatch(clients(t))
	if ours == nil {
		t.Fatalf("no virtual port among\n%s", clients(t))
	}
	return dumpTo(t, name, ours[1]+":"+ours[2])
}

func clients(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("/proc/asound/seq/clients")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The built-in tune to a port, and to one of our own with clock, at once: the
// captures are compared with the MIDI file outside.
func TestCommandHear(t *testing.T) {
	guest(t)
	stop := dumpTo(t, "through.txt", "14:0")
	defer stop()
	through := start(t, "hear", "--port", "through", "--stats")
	virtual := start(t, "hear", "--port", "virtual", "--clock", "--count-in", "1", "--stats")
	stopVirtual := dumpOurs(t, virtual, "virtual.txt")
	defer stopVirtual()
	for name, p := range map[string]*program{"through": through, "virtual": virtual} {
		status, stderr := p.end(t, 3*time.Minute)
		for l := range p.lines {
			if strings.Contains(l, "late") {
				t.Log(name, l)
			}
		}
		t.Log(name, stderr)
		if status != 0 {
			t.Errorf("%s: status %d", name, status)
		}
	}
}

// A loop with rests to the raw node, whose messages are written with their times,
// and at once one that jumps to a port of our own; both lead by clock. The
// captures are compared with the MIDI file outside.
func TestCommandLoop(t *testing.T) {
	guest(t)
	r := record(t, rawNode)
	jumping := start(t, append([]string{"loop", "--port", "virtual", "--clock"}, strings.Fields(os.Getenv("JUMPING"))...)...)
	stop := dumpOurs(t, jumping, "jumping.txt")
	defer stop()
	rested := start(t, append([]string{"loop", "--port", "VirMIDI 1-0", "--clock"}, strings.Fields(os.Getenv("RESTED"))...)...)
	for name, p := range map[string]*program{"rested": rested, "jumping": jumping} {
		if status, stderr := p.end(t, time.Minute); status != 0 || stderr != "" {
			t.Errorf("%s: status %d, %q", name, status, stderr)
		}
	}
	time.Sleep(100 * time.Millisecond) // for the node
	all := r.all()
	if len(all) == 0 {
		t.Fatal("nothing came to the node")
	}
	var b strings.Builder
	for _, h := range all {
		fmt.Fprintf(&b, "%.6f % X\n", h.at.Sub(all[0].at).Seconds(), h.msg)
	}
	if err := os.WriteFile(filepath.Join(os.Getenv("GUEST_OUT"), "rested.txt"), []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
}

// A MIDI file as it stands, which leaves a pedal down and channels bent; compared
// with the file outside.
func TestCommandBent(t *testing.T) {
	guest(t)
	stop := dumpTo(t, "bent.txt", "14:0")
	defer stop()
	if status, stderr := start(t, "hear", "--port", "through", os.Getenv("BENT")).end(t, time.Minute); status != 0 || stderr != "" {
		t.Errorf("status %d, %q", status, stderr)
	}
}

// lostAt checks that a program ended with one line and status 1 in time.
func lostAt(t *testing.T, p *program, from time.Time, want string) {
	t.Helper()
	status, stderr := p.end(t, 10*time.Second)
	took := p.at.Sub(from)
	t.Logf("after %v: %s", took.Round(time.Millisecond), strings.TrimSpace(stderr))
	if status != 1 || !strings.Contains(stderr, want) || strings.Count(stderr, "\n") != 1 {
		t.Errorf("status %d, %q, want 1 and one line that says %q", status, stderr, want)
	}
	if took > toldWithin {
		t.Errorf("ended after %v, want %v at most", took, toldWithin)
	}
}

func TestCommandStuck(t *testing.T) {
	guest(t)
	dump := startDump(t)
	if err := dump.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	p := start(t, "hear", "--port", "aseqdump", "--clock")
	// Full when all cells of its queue are in use; the next clock tick, 21 ms
	// later at most, is refused.
	in := regexp.MustCompile(`(?s)"aseqdump".*?Input pool :.*?Cells in use +: (\d+)`)
	limit := time.Now().Add(time.Minute)
	for {
		m := in.FindStringSubmatch(clients(t))
		if m == nil {
			t.Fatalf("no pool of aseqdump in\n%s", clients(t))
		}
		if n, _ := strconv.Atoi(m[1]); n >= 199 {
			break
		}
		if time.Now().After(limit) {
			t.Fatalf("never full:\n%s", clients(t))
		}
		time.Sleep(2 * time.Millisecond)
	}
	lostAt(t, p, time.Now(), "does not take notes")
	_ = dump.cmd.Process.Kill() // it ends stopped, too
}

const (
	virmidiDriver = "/sys/bus/platform/drivers/snd_virmidi/"
	rawNode       = "/dev/snd/midiC1D0"
)

// unplug takes the card of virmidi away until the test's end.
func unplug(t *testing.T) time.Time {
	t.Helper()
	from := time.Now()
	if err := os.WriteFile(virmidiDriver+"unbind", []byte("snd_virmidi.0"), 0o200); err != nil {
		t.Error(err)
	}
	return from
}

func plugLater(t *testing.T) {
	t.Cleanup(func() {
		if err := os.WriteFile(virmidiDriver+"bind", []byte("snd_virmidi.0"), 0o200); err != nil && !errors.Is(err, syscall.EBUSY) {
			t.Error("the card does not come back:", err)
		}
		for limit := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
			if _, err := os.Stat(rawNode); err == nil && strings.Contains(clients(t), "VirMIDI 1-1") {
				return
			}
			if time.Now().After(limit) {
				t.Error("the card does not come back")
				return
			}
		}
	})
}

func TestCommandUnplugged(t *testing.T) {
	for name, args := range map[string][]string{"playing": {"hear"}, "resting": {"hear", "--step"}} {
		t.Run(name, func(t *testing.T) {
			guest(t)
			plugLater(t)
			r := record(t, rawNode)
			p := start(t, append(args, "--port", "VirMIDI 1-0")...)
			if name == "playing" {
				r.await(t, "a note", 0, 30*time.Second, noteOn)
				time.Sleep(1500 * time.Millisecond)
			} else {
				p.says(t, "strikes the next grip")
				time.Sleep(500 * time.Millisecond)
			}
			r.close()
			lostAt(t, p, unplug(t), "went away")
		})
	}
}

// Ctrl-C at any moment, sometimes twice: nothing sounds on.
func TestCommandInterrupt(t *testing.T) {
	guest(t)
	n, err := strconv.Atoi(os.Getenv("INTERRUPTS"))
	if err != nil {
		t.Fatal("INTERRUPTS:", err)
	}
	random := rand.New(rand.NewPCG(20261126, 9))
	r := record(t, rawNode)
	notes, channels, silent := 0, map[byte]bool{}, 0
	for i := range n {
		before := len(r.all())
		p := start(t, "hear", "--port", "VirMIDI 1-0", os.Getenv("SHORT"))
		// One in ten before or about the first note, the others while it plays.
		if i%10 == 0 {
			time.Sleep(time.Duration(random.Int64N(int64(600 * time.Millisecond))))
		} else {
			r.await(t, "a note", before, 30*time.Second, noteOn)
			time.Sleep(time.Duration(random.Int64N(int64(1500 * time.Millisecond))))
		}
		_ = p.cmd.Process.Signal(os.Interrupt)
		twice := random.IntN(2) == 0
		if twice {
			time.Sleep(time.Duration(random.Int64N(int64(30 * time.Millisecond))))
			_ = p.cmd.Process.Signal(os.Interrupt)
		}
		status, stderr := p.end(t, 10*time.Second)
		// The program has ended; what it sent may still be on its way through the node.
		all := r.all()[before:]
		for deadline := time.Now().Add(time.Second); sounding(all) != "" && time.Now().Before(deadline); all = r.all()[before:] {
			time.Sleep(10 * time.Millisecond)
		}
		if wrong := sounding(all); wrong != "" {
			t.Errorf("interrupt %d (twice %v): %s; last % X", i, twice, wrong, last(all, 12))
		}
		if stderr != "" || status == 1 || status == 2 {
			t.Errorf("interrupt %d: status %d, %q", i, status, stderr)
		}
		on := 0
		for _, h := range all {
			if noteOn(h.msg) {
				on++
				channels[h.msg[0]&15] = true
			}
		}
		if notes += on; on == 0 {
			silent++
		}
	}
	t.Logf("%d interrupts, %d of them before the first note; %d notes on %d channels", n, silent, notes, len(channels))
	if notes < 5*n || len(channels) < 4 || silent > n/5 {
		t.Error("hardly anything was interrupted")
	}
}

// standstills is the longest that this emulated machine has given us no time at
// all, in nanoseconds, since it was last set to 0.
func standstills(t *testing.T) *atomic.Int64 {
	longest, stop, done := new(atomic.Int64), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for from := time.Now(); ; from = time.Now() {
			select {
			case <-stop:
				return
			case <-time.After(5 * time.Millisecond):
			}
			if over := int64(time.Since(from) - 5*time.Millisecond); over > longest.Load() {
				longest.Store(over)
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done })
	return longest
}

// Each kind of message strikes the next grip, and halts and resumes what plays.
func TestCommandSwitch(t *testing.T) {
	for kind, press := range map[string][][]byte{
		"note":    {{0x90, 36, 100}, {0x80, 36, 0}},
		"control": {{0xb0, 64, 127}, {0xb0, 64, 0}},
		"program": {{0xc0, 5}},
	} {
		t.Run(kind, func(t *testing.T) {
			guest(t)
			d := kernelDriver(t)
			foot := openOut(t, d, "Through")
			r := record(t, rawNode)
			var slowest time.Duration
			still := standstills(t)
			acts := func(r *recorder, what string, wanted func([]byte) bool) int {
				n := len(r.all())
				still.Store(0)
				from := time.Now()
				for _, m := range press {
					if err := foot.Send(m); err != nil {
						t.Fatal(err)
					}
				}
				i := r.await(t, what, n, 5*time.Second, wanted)
				took := r.all()[i].at.Sub(from)
				slowest = max(slowest, took)
				if stood := time.Duration(still.Load()); took > actsWithin+stood {
					t.Errorf("%s after %v, want %v at most; the guest stood still for %v", what, took, actsWithin, stood)
				}
				time.Sleep(700 * time.Millisecond) // no bounce, and past the notes of a stroke
				return i
			}
			p := start(t, "hear", "--step", "--port", "VirMIDI 1-0", "--switch", "through")
			p.says(t, "press it")
			time.Sleep(300 * time.Millisecond)
			for range 6 {
				acts(r, "a grip", noteOn)
			}
			_ = p.cmd.Process.Signal(os.Interrupt)
			if status, stderr := p.end(t, 10*time.Second); stderr != "" {
				t.Errorf("status %d, %q", status, stderr)
			}

			begin := len(r.all())
			p = start(t, "hear", "--port", "VirMIDI 1-0", "--switch", "through", "--clock")
			is := func(b byte) func([]byte) bool { return func(m []byte) bool { return m[0] == b } }
			r.await(t, "the start after the count-in", begin, 30*time.Second, is(0xfa))
			time.Sleep(time.Second)
			for range 2 {
				i := acts(r, "stop of the clock", is(0xfc))
				all := r.all()
				if wrong := sounding(all[begin:]); wrong != "" {
					t.Errorf("in a pause: %s", wrong)
				}
				if slices.ContainsFunc(all[i+1:], func(h heard) bool { return h.msg[0] == 0xf8 }) {
					t.Error("the clock runs on in a pause")
				}
				// Where it was stopped is told before it goes on there, from a whole sixteenth.
				ran, at := 0, 0
				for _, h := range all[begin:] {
					switch h.msg[0] {
					case 0xfa:
						ran, at = 0, 0
					case 0xf2:
						at, ran = int(h.msg[1])+int(h.msg[2])<<7, 0
					case 0xf8:
						ran++
					}
				}
				played := at*6 + ran
				// The music may have a rest there; the followers are told at once.
				k := acts(r, "the song position", is(0xf2))
				all = r.all()
				j := r.await(t, "the clock's going on", k, time.Second, is(0xfb))
				r.await(t, "a note after the pause", k, 2*time.Second, noteOn)
				if slices.ContainsFunc(all[i+1:k], func(h heard) bool { return noteOn(h.msg) }) {
					t.Error("a note in the pause")
				}
				m := all[k].msg
				pointer := int(m[1]) + int(m[2])<<7
				// The first tick counts after the message that starts it.
				if tick := r.await(t, "a tick", j, time.Second, is(0xf8)); tick != j+1 {
					t.Logf("%d messages between the start and its first tick", tick-j-1)
				}
				t.Logf("stopped after %d ticks of the clock, goes on at sixteenth %d", played, pointer)
				if 6*pointer < played-12 || 6*pointer > played+12 {
					t.Errorf("stopped after %d ticks, which is not about sixteenth %d", played, pointer)
				}
			}
			_ = p.cmd.Process.Signal(os.Interrupt)
			status, stderr := p.end(t, 10*time.Second)
			time.Sleep(30 * time.Millisecond)
			if wrong := sounding(r.all()[begin:]); wrong != "" || stderr != "" {
				t.Errorf("at the end: %s; status %d, %q", wrong, status, stderr)
			}
			t.Logf("slowest %v", slowest.Round(time.Millisecond))
		})
	}
}

// The judge of silence finds what is left sounding.
func TestSounding(t *testing.T) {
	for _, c := range []struct {
		name string
		msgs [][]byte
		want string
	}{
		{"nothing", nil, ""},
		{"ended and hushed", [][]byte{{0x90, 60, 1}, {0x80, 60, 0}, {0xb0, 123, 0}, {0xb0, 120, 0}}, ""},
		{"ended by a note-on of 0", [][]byte{{0x91, 60, 1}, {0x91, 60, 0}, {0xf8}, {0xb1, 120, 0}, {0xb1, 123, 0}}, ""},
		{"hushed, not ended", [][]byte{{0x90, 60, 1}, {0xb0, 123, 0}, {0xb0, 120, 0}}, "key 60 of channel 1 sounds"},
		{"struck twice, ended once", [][]byte{{0x90, 60, 1}, {0x90, 60, 1}, {0x80, 60, 0}, {0xb0, 123, 0}, {0xb0, 120, 0}}, "key 60 of channel 1 sounds"},
		{"not hushed", [][]byte{{0x92, 60, 1}, {0x82, 60, 0}, {0xb2, 123, 0}}, "channel 3 without CC 123 and 120"},
		{"hushed too early", [][]byte{{0xb0, 123, 0}, {0xb0, 120, 0}, {0x90, 60, 1}, {0x80, 60, 0}}, "channel 1 without CC 123 and 120"},
	} {
		var all []heard
		for _, m := range c.msgs {
			all = append(all, heard{msg: m})
		}
		if got := sounding(all); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
