package main

import (
	"bytes"
	"context"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"thumbline/midiio"
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
	return &env{stdin: strings.NewReader(""), stdout: &out, stderr: &err, now: time.Now, sound: s}, &out, &err
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

func TestDeviceLost(t *testing.T) {
	e, _, errs := testEnv(fakeSound("lost"))
	if s := run(context.Background(), []string{"hear"}, e); s != statusFailed {
		t.Errorf("status %d", s)
	}
	if got := errs.String(); !strings.HasPrefix(got, "thumbline: at bar 1: the sound device went away") || strings.Count(got, "\n") != 1 {
		t.Errorf("said %q", got)
	}
}

// Each line typed pauses or goes on.
func TestEnterPauses(t *testing.T) {
	s := &midiio.Sequence{End: 8 * midiio.PerQuarter, Events: []midiio.Event{
		{Msg: [3]byte{0x90, 60, 90}}, {Tick: 4 * midiio.PerQuarter, Msg: [3]byte{0x80, 60, 64}},
	}}
	for _, c := range []struct {
		typed string
		more  bool // is anything left after more time than it takes
	}{{"", false}, {"\n", true}, {"\n\n", false}, {"\n\n\n", true}} {
		cursor, err := midiio.NewCursor(s, midiio.Once(midiio.Pass{}), 1000)
		if err != nil {
			t.Fatal(err)
		}
		p := &playing{cursor: cursor}
		p.enter(strings.NewReader(c.typed))
		if got := cursor.Fill(60000, func(int64, [3]byte) {}); got != c.more {
			t.Errorf("after %q: more %v, want %v", c.typed, got, c.more)
		}
	}
}

func TestCoach(t *testing.T) {
	t0 := time.Date(2020, 1, 1, 12, 0, 0, 0, time.UTC)
	c := coach{start: t0, line: "bars 5-8, quarter = 80"}
	steps := []struct {
		played int
		after  time.Duration
		want   string
	}{
		{0, 0, ""},
		{1, time.Second, "pass 1  bars 5-8, quarter = 80"},
		{1, 2 * time.Second, ""},
		{3, time.Minute, "pass 2  bars 5-8, quarter = 80|pass 3  bars 5-8, quarter = 80"},
		{6, 2 * time.Minute, "pass 4  bars 5-8, quarter = 80|pass 5  bars 5-8, quarter = 80|pass 6  bars 5-8, quarter = 80"},
		{7, 3 * time.Minute, "pass 7  bars 5-8, quarter = 80|That was six times: a good moment to rest the hand, or to take another phrase."},
		{8, 4 * time.Minute, "pass 8  bars 5-8, quarter = 80"},
		{8, 25 * time.Minute, "25 minutes: rest for five, then go on. Stop if it hurts."},
		{8, 26 * time.Minute, ""},
		{8, 51 * time.Minute, "50 minutes: rest for five, then go on. Stop if it hurts."},
	}
	for _, s := range steps {
		if got := strings.Join(c.lines(s.played, t0.Add(s.after)), "|"); got != s.want {
			t.Errorf("after %v: %q, want %q", s.after, got, s.want)
		}
	}
}

// A loop begins at a quarter of its level and is at its own after three
// seconds, without a step.
func TestGentleStart(t *testing.T) {
	d := &fakeDevice{rate: 48000, err: make(chan error, 1)}
	g := &gentle{Device: d}
	var render func([]float32)
	g.Device = startFunc{d, func(r func([]float32)) { render = r }}
	if err := g.Start(func(out []float32) {
		for i := range out {
			out[i] = 1
		}
	}); err != nil {
		t.Fatal(err)
	}
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

type startFunc struct {
	*fakeDevice
	start func(func([]float32))
}

func (s startFunc) Start(render func([]float32)) error { s.start(render); return nil }

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
