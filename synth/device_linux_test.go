//go:build linux

package synth

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The tests below run this binary again under a private sound server with a
// sink that is not there; SYNTH_TEST_PLAY says what it does then.
func TestMain(m *testing.M) {
	if what := os.Getenv("SYNTH_TEST_PLAY"); what != "" {
		os.Exit(playFor(what))
	}
	os.Exit(m.Run())
}

func heardPiece() *Events {
	return sorted([]event{
		{0, on(0, 64, 100)}, {4800, on(5, 40, 90)}, {12000, off(0, 64, 64)}, {24000, off(5, 40, 64)},
		{24000, on(1, 59, 100)}, {36000, off(1, 59, 127)},
	})
}

func playFor(what string) int {
	fail := func(err error) int { fmt.Println("error:", err); return 1 }
	d, err := OpenDevice(48000, DefaultBuffer)
	if err != nil {
		return fail(err)
	}
	e, err := NewEngine(Options{})
	if err != nil {
		return fail(err)
	}
	ctx := context.Background()
	switch what {
	case "piece":
		e.SetFeeder(heardPiece())
	case "hang", "hung", "suspended", "unload": // the server, after 0.5 s or before sound begins
		pid, err := strconv.Atoi(os.Getenv("NULL_SINK_PID"))
		if err != nil || pid <= 1 {
			return fail(fmt.Errorf("NULL_SINK_PID: %v", err))
		}
		switch what {
		case "hang":
			time.AfterFunc(500*time.Millisecond, func() { syscall.Kill(pid, syscall.SIGSTOP) })
		case "hung":
			syscall.Kill(pid, syscall.SIGSTOP)
		case "suspended":
			if err := exec.Command("pactl", "suspend-sink", "null", "1").Run(); err != nil {
				return fail(err)
			}
		case "unload":
			time.AfterFunc(500*time.Millisecond, func() { exec.Command("pactl", "unload-module", "module-null-sink").Run() })
		}
		fallthrough
	case "endless":
		e.SetFeeder(feederFunc(func(int64, func(int64, [3]byte)) bool { return true }))
	case "stopped": // the whole process, for 400 ms
		e.SetFeeder(sorted([]event{{0, on(0, 64, 100)}, {4 * 48000, off(0, 64, 64)}}))
		if err := exec.Command("sh", "-c", fmt.Sprintf("{ sleep 1.5; kill -STOP %d; sleep 0.4; kill -CONT %[1]d; } >/dev/null 2>&1 &", os.Getpid())).Run(); err != nil {
			return fail(err)
		}
	case "devices":
		for _, l := range Devices() {
			fmt.Println(l)
		}
		return 0
	}
	var last time.Time // of the last read before the loss
	o := d.(*output)
	err = Play(ctx, d, e, DefaultBuffer)
	noticed := time.Now()
	o.mu.Lock()
	last = o.last
	o.mu.Unlock()
	if err == nil {
		n, lost := d.Underruns()
		fmt.Printf("played %d frames, %d under-runs, %v\n", d.Played(), n, lost)
	}
	closing := time.Now()
	d.Close()
	fmt.Printf("closed in %d ms\n", time.Since(closing).Milliseconds())
	if err != nil {
		fmt.Printf("noticed in %d ms\n", noticed.Sub(last).Milliseconds())
		return fail(err)
	}
	return 0
}

// nullSink runs this binary under the script, or skips and says why.
func nullSink(t *testing.T, what string, args ...string) (out string, err error) {
	t.Helper()
	data := os.Getenv("THUMBLINE_DATA")
	if data == "" {
		t.Skip("THUMBLINE_DATA is not set: the null sink's script is not there")
	}
	script := filepath.Join(data, "devices", "null-sink.sh")
	if _, err := os.Stat(script); err != nil {
		t.Skip("no null sink: ", err)
	}
	for _, p := range []string{"bash", "pulseaudio", "pactl", "parec"} {
		if _, err := exec.LookPath(p); err != nil {
			t.Skip(p, " is not installed: nothing was played")
		}
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "bash", append(append([]string{script, "-t", "15"}, args...), self)...)
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) } // the script ends what it started
	cmd.WaitDelay = 5 * time.Second
	cmd.Env = append(os.Environ(), "SYNTH_TEST_PLAY="+what)
	b, err := cmd.CombinedOutput()
	return string(b), err
}

// number is the integer after a phrase of the output.
func number(t *testing.T, out, after string) int {
	t.Helper()
	_, s, ok := strings.Cut(out, after)
	if !ok {
		t.Fatalf("no %q in %s", after, out)
	}
	var n int
	if _, err := fmt.Sscan(s, &n); err != nil {
		t.Fatalf("%q in %s: %v", after, out, err)
	}
	return n
}

// What is heard is what is rendered, sample by sample, to the last.
func TestDevicePlaysExactly(t *testing.T) {
	t.Parallel()
	wav := filepath.Join(t.TempDir(), "heard.wav")
	out, err := nullSink(t, "piece", "-w", wav)
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	e, _ := NewEngine(Options{})
	var want []float32
	if _, err := RenderAll(e, heardPiece(), 5*time.Second, func(b []float32) error { want = append(want, b...); return nil }); err != nil {
		t.Fatal(err)
	}
	want = trimZeros(want)
	got := trimZeros(readFloats(t, wav))
	if n := number(t, out, "frames, "); n != 0 {
		t.Logf("%d under-runs on a busy machine: holes of silence are taken out", n)
		want = slices.DeleteFunc(want, func(v float32) bool { return v == 0 })
		got = slices.DeleteFunc(got, func(v float32) bool { return v == 0 })
	}
	if len(got) != len(want) {
		t.Errorf("%d samples heard, %d rendered", len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("sample %d was %g, heard as %g", i, want[i], got[i])
		}
	}
	if n := number(t, out, "played "); n < len(want)/2 {
		t.Errorf("played %d of %d frames", n, len(want)/2)
	}
}

func trimZeros(x []float32) []float32 {
	for len(x) > 1 && x[0] == 0 && x[1] == 0 {
		x = x[2:]
	}
	for len(x) > 1 && x[len(x)-1] == 0 && x[len(x)-2] == 0 {
		x = x[:len(x)-2]
	}
	return x
}

func readFloats(t *testing.T, name string) []float32 {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	i := strings.Index(string(b), "data")
	if i < 0 {
		t.Fatal("no data chunk")
	}
	b = b[i+8:]
	x := make([]float32, len(b)/4)
	for k := range x {
		x[k] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*k:]))
	}
	return x
}

// inTime tries what has a limit in time again when it was late: a machine that is
// busy with something else is late at times, a fault always. try says what was
// late, "" for nothing.
func inTime(t *testing.T, try func() (late string)) {
	t.Helper()
	for tries := 3; ; tries-- {
		late := try()
		switch {
		case late == "" || t.Failed():
			return
		case tries == 1:
			t.Error(late)
			return
		}
		t.Log(late)
	}
}

// gone checks that a loss gives one error within so many milliseconds and does
// not hold up Close. Nobody else has anything to say, least of all a library in C.
func gone(t *testing.T, what, want string, limit int, args ...string) {
	t.Helper()
	inTime(t, func() (late string) {
		out, err := nullSink(t, what, args...)
		ours := regexp.MustCompile(`^closed in \d+ ms\nnoticed in \d+ ms\nerror: .*\n$`)
		if err == nil || !ours.MatchString(out) || !strings.Contains(out, want) {
			t.Errorf("%s: %v: %s", what, err, out)
			return ""
		}
		if noticed, closed := number(t, out, "noticed in "), number(t, out, "closed in "); noticed > limit || closed > 200 {
			return fmt.Sprintf("%s: noticed after %d ms, closing took %d ms", what, noticed, closed)
		}
		return ""
	})
}

// One that goes away or takes no more, while sound plays or before it has begun,
// is told within a second.
func TestDeviceGone(t *testing.T) {
	t.Parallel()
	gone(t, "endless", errLost.Error(), 1000, "-k", "1") // the server is killed
	gone(t, "unload", errLost.Error(), 1000)             // the card is unplugged
	gone(t, "hang", errStalled.Error(), 1000)            // the server is stopped
	gone(t, "suspended", errStalled.Error(), 1000)       // the server takes sound and never plays it
}

// A server that hangs before sound has begun does not hold it either; what is
// told depends on whether it was asked something, for which it has a second.
func TestDeviceHungBefore(t *testing.T) {
	t.Parallel()
	gone(t, "hung", "", 1500)
}

// A process that stood still has one hole as long as that, and plays on.
func TestDeviceUnderrun(t *testing.T) {
	t.Parallel()
	inTime(t, func() (late string) {
		out, err := nullSink(t, "stopped")
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		// The buffer bridges its own length; a busy machine adds holes of its own.
		var frames, n int
		var lost string
		if _, err := fmt.Sscanf(out, "played %d frames, %d under-runs, %s", &frames, &n, &lost); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		if d, err := time.ParseDuration(lost); err != nil || n < 1 || d < 300*time.Millisecond || d > time.Second {
			return fmt.Sprintf("%d under-runs, %s", n, lost)
		}
		return ""
	})
}

// Without a sound server there is one sentence, and nothing else is said.
func TestNoDevice(t *testing.T) {
	if b, err := os.ReadFile("/proc/asound/cards"); err == nil && !strings.Contains(string(b), "no soundcards") {
		t.Skip("there is a sound card here")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, env := range []string{"PULSE_SERVER=unix:/nonexistent/native", "PULSE_SERVER=", "PULSE_SERVER=tcp:"} {
		cmd := exec.Command(self)
		cmd.Env = []string{"SYNTH_TEST_PLAY=endless", "XDG_RUNTIME_DIR=" + t.TempDir(), env}
		out, err := cmd.CombinedOutput()
		if err == nil || !strings.HasPrefix(string(out), "error: no sound") || strings.Count(string(out), "\n") != 1 || !strings.Contains(string(out), writeInstead) {
			t.Errorf("%s: %v: %s", env, err, out)
		}
	}
}

func TestPulseServers(t *testing.T) {
	for _, c := range []struct {
		env  map[string]string
		want [][2]string
	}{
		{map[string]string{"PULSE_SERVER": "unix:/a/b"}, [][2]string{{"unix", "/a/b"}}},
		{map[string]string{"PULSE_SERVER": "{id}/a/b tcp:host tcp6:[::1]:4800 host:99"}, [][2]string{{"unix", "/a/b"}, {"tcp", "host:4713"}, {"tcp6", "[::1]:4800"}, {"tcp", "host:99"}}},
		{map[string]string{"PULSE_SERVER": "{"}, [][2]string{{"tcp", "{:4713"}}},
		{map[string]string{"XDG_RUNTIME_DIR": "/run/user/7"}, [][2]string{{"unix", "/run/user/7/pulse/native"}, {"unix", "/run/pulse/native"}}},
		{map[string]string{"PULSE_RUNTIME_PATH": "/p"}, [][2]string{{"unix", "/p/native"}, {"unix", "/run/user/5/pulse/native"}, {"unix", "/run/pulse/native"}}},
	} {
		if got := pulseServers(func(k string) string { return c.env[k] }, 5); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.env, got, c.want)
		}
	}
}
