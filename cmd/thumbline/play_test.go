package main

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"thumbline/synth"
)

// buffer is a writer that a test may read while it is written.
type buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

func testEnv(s sound) (*env, *buffer, *buffer) {
	var out, err buffer
	return &env{stdin: strings.NewReader(""), stdout: &out, stderr: &err, now: time.Now, sound: s, midi: (*fakeMIDI)(nil)}, &out, &err
}

// A loop without an end ends with the context, and that is no failure.
func TestLoopUntilInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	e, out, errs := testEnv(fakeSound("fake"))
	status := make(chan int, 1)
	go func() { status <- run(ctx, []string{"loop", "--bars", "1"}, e) }()
	for deadline := time.Now().Add(30 * time.Second); !strings.Contains(out.String(), "pass 3"); {
		if time.Now().After(deadline) {
			t.Fatalf("no third pass:\n%s%s", out, errs)
		}
		time.Sleep(5 * time.Millisecond)
	}
	cancel()
	select {
	case s := <-status:
		if s != statusOK || errs.String() != "" {
			t.Errorf("status %d, %q", s, errs)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("it does not end")
	}
}

// An interrupted start is no failure either, and makes no sound.
func TestHearInterruptedAtOnce(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	e, _, errs := testEnv(fakeSound("fake"))
	if s := run(ctx, []string{"hear"}, e); s != statusOK || errs.String() != "" {
		t.Errorf("status %d, %q", s, errs)
	}
}

// A sound device that never opens does not hold up the end.
func TestDeviceNeverOpens(t *testing.T) {
	e, _, errs := testEnv(nil)
	s := neverOpen(make(chan struct{}))
	defer close(s)
	e.sound = s
	ctx, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
	defer cancel()
	status := make(chan int, 1)
	go func() { status <- run(ctx, []string{"loop", "--bars", "1"}, e) }()
	select {
	case s := <-status:
		if s != statusOK || errs.String() != "" {
			t.Errorf("status %d, %q", s, errs)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("it does not end")
	}
}

// neverOpen has a device that opens when it is closed, not before.
type neverOpen chan struct{}

func (n neverOpen) open(int, time.Duration) (synth.Device, error) {
	<-n
	return nil, errors.New(noDevice)
}

func (n neverOpen) devices() []string { return nil }

func TestDeviceLost(t *testing.T) {
	e, _, errs := testEnv(fakeSound("lost"))
	if s := run(context.Background(), []string{"hear"}, e); s != statusFailed {
		t.Errorf("status %d", s)
	}
	if got := errs.String(); !strings.HasPrefix(got, "thumbline: at bar 1: the sound device went away") || strings.Count(got, "\n") != 1 {
		t.Errorf("said %q", got)
	}
}

// A line that is typed pauses or goes on when it is empty, and stands for its
// key otherwise.
func TestLinesTyped(t *testing.T) {
	e, out, errs := testEnv(fakeSound("paced"))
	e.stdin = strings.NewReader("\n\nn\n-\nx\nw\nq\n")
	if s := run(context.Background(), []string{"loop", "--phrase", "5", "--tempo", "60%"}, e); s != statusOK || errs.String() != "" {
		t.Fatalf("status %d, %q", s, errs)
	}
	want := []string{
		"Lamplight on the Weir, key G, bars 11-14, quarter = 79 (60%)", "Enter pauses and goes on; Ctrl-C ends.",
		"paused", "going on", "phrase 6 of 8, bars 15-18", "next pass quarter = 73 (55%)", "",
	}
	got := strings.Split(out.String(), "\n")
	for i, w := range want {
		if i >= len(got) || w != "" && got[i] != w {
			t.Fatalf("line %d is not %q:\n%s", i+1, w, out)
		}
	}
	if !strings.HasPrefix(got[len(want)-1], "count-in") || !strings.Contains(got[len(want)-1], "Next at 15:1: Dm7: string A fret 5 finger 3") {
		t.Errorf("the place: %q", got[len(want)-1])
	}
}

// A loop begins at a quarter of its level and is at its own after three
// seconds, without a step.
func TestGentleStart(t *testing.T) {
	render := gently(48000, func(out []float32) {
		for i := range out {
			out[i] = 1
		}
	})
	before := float32(0)
	buf := make([]float32, 2*480)
	for n := 0; n < 4*48000; n += 480 {
		render(buf)
		if n == 0 && math.Abs(float64(buf[0])-gentleGain) > 1e-6 {
			t.Errorf("begins at %v", buf[0])
		}
		for i, x := range buf {
			if step := x - before; before > 0 && (step < 0 || step > 1e-3) {
				t.Fatalf("a step of %v at sample %d", step, n+i/2)
			}
			before = x
		}
	}
	if before != 1 {
		t.Errorf("ends at %v", before)
	}
}

func TestParseTempo(t *testing.T) {
	for _, c := range []struct {
		in   string
		want tempo
		ok   bool
	}{
		{"", tempo{}, true}, {"60%", tempo{percent: 60}, true}, {"100%", tempo{percent: 100}, true}, {"72.5%", tempo{percent: 72.5}, true},
		{"90", tempo{beats: 90}, true}, {"5%", tempo{}, false}, {"400%", tempo{}, false}, {"9", tempo{}, false}, {"-60", tempo{}, false},
		{"NaN", tempo{}, false}, {"NaN%", tempo{}, false}, {"Inf", tempo{}, false}, {"%", tempo{}, false}, {"60 %", tempo{}, false}, {"fast", tempo{}, false},
	} {
		got, err := parseTempo(c.in)
		if (err == nil) != c.ok || got != c.want {
			t.Errorf("parseTempo(%q) = %v, %v", c.in, got, err)
		}
	}
}
