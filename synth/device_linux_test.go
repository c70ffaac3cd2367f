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
	case "hang": // the server stops answering after 0.5 s
		pid, err := strconv.Atoi(os.Getenv("NULL_SINK_PID"))
		if err != nil || pid <= 1 {
			return fail(fmt.Errorf("NULL_SINK_PID: %v", err))
		}
		time.AfterFunc(500*time.Millisecond, func() { syscall.Kill(pid, syscall.SIGSTOP) })
		fallthrough
	case "endless":
		e.SetFeeder(feederFunc(func(int64, func(int64, [3]byte)) bool { return true }))
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

// A server that is killed gives one error within a second.
func TestDeviceKilled(t *testing.T) {
	t.Parallel()
	out, err := nullSink(t, "endless", "-k", "1")
	if err == nil || strings.Count(out, "error:") != 1 || !strings.Contains(out, errLost.Error()) {
		t.Fatalf("%v: %s", err, out)
	}
	if ms := number(t, out, "noticed in "); ms > 1000 {
		t.Errorf("noticed after %d ms", ms)
	}
}

// A server that hangs is noticed by the watchdog and does not hold up Close.
func TestDeviceHangs(t *testing.T) {
	t.Parallel()
	out, err := nullSink(t, "hang")
	if err == nil || strings.Count(out, "error:") != 1 || !strings.Contains(out, errStalled.Error()) {
		t.Fatalf("%v: %s", err, out)
	}
	if ms := number(t, out, "noticed in "); ms > 1000 {
		t.Errorf("noticed after %d ms", ms)
	}
	if ms := number(t, out, "closed in "); ms > 200 {
		t.Errorf("closing took %d ms", ms)
	}
}
