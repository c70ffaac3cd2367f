package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
	"thumbline/synth"
)

func TestChoosePort(t *testing.T) {
	names := []string{"Box", "Box II", "box", "Synth 2", "Twin", "Twin", "Äther"}
	for _, c := range []struct {
		asked string
		want  int // from 1; 0 is refused
		says  string
	}{
		{"Box", 1, ""},
		{"box", 3, ""},
		{"BOX", 0, `"BOX" fits Box and box: give more of the name`},
		{"BOX ii", 2, ""},
		{"ii", 2, ""},
		{"bo", 0, `"bo" fits Box, Box II and box: give more of the name`},
		{"2", 2, ""}, // the number goes before a part of a name
		{"7", 7, ""},
		{"äth", 7, ""},
		{"synth", 4, ""},
		{"Twin", 0, `"Twin" fits Twin and Twin: give the number (thumbline ports lists them)`},
		{"8", 0, `no MIDI port "8"; there are: Box, Box II, box, Synth 2, Twin, Twin, Äther`},
		{"0", 0, `no MIDI port "0"; there are`},
		{"-1", 0, "no MIDI port"},
		{"x\x1b[2J", 0, `no MIDI port "x\x1b[2J"`},
	} {
		i, err := choosePort("port", c.asked, names)
		switch {
		case c.want > 0 && (err != nil || i != c.want-1):
			t.Errorf("%q: %d, %v, want %d", c.asked, i+1, err, c.want)
		case c.want == 0 && (err == nil || !strings.HasPrefix(err.Error(), c.says)):
			t.Errorf("%q: %d, %v, want %s", c.asked, i+1, err, c.says)
		}
	}
	if _, err := choosePort("input", "x", nil); err == nil || !strings.Contains(err.Error(), `no MIDI input "x"; there is none`) {
		t.Errorf("of none: %v", err)
	}
}

// Flags of ports that cannot be meant are wrong usage in one line, found before a
// port or a file is opened.
func TestPortFlagsRefused(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"loop --port=", "--port is empty"},
		{"hear --port=\u00a0", "--port is empty"},
		{"hear --switch=", "--switch is empty"},
		{"loop --channels=strings", "add --port"},
		{"loop --no-program", "add --port"},
		{"loop --clock", "add --port"},
		{"hear --stats", "add --port"},
		{"hear --port=x --gain=3", "--gain is for the built-in strings"},
		{"hear --port=x --a4=442", "--a4 is for the built-in strings"},
		{"loop --port=x --tone=steel", "--tone is for the built-in strings"},
		{"loop --port=x --channels=", "no such channels"},
		{"loop --port=x --channels=0", "no such channels"},
		{"loop --port=x --channels=17", "no such channels"},
		{"loop --port=x --channels=+5", "no such channels"},
		{"loop --port=x --channels=05", "no such channels"},
		{"loop --port=x --channels=१", "no such channels"},
		{"loop --port=x --channels=99999999999999999999", "no such channels"},
		{"loop --port=x --channels=11-", "no such channels"},
		{"loop --port=x --channels=-16", "no such channels"},
		{"loop --port=x --channels=11-16-16", "no such channels"},
		{"loop --port=x --channels=11–16", "no such channels"},
		{"loop --port=x --channels=11-17", "no such channels"},
		{"loop --port=x --channels=16-11", "its block has 6 channels"},
		{"loop --port=x --channels=11-15", "its block has 6 channels"},
		{"loop --port=x --channels=10", "channel 10 has the clicks"},
		{"loop --port=x --channels=5-10", "channel 10 has the clicks"},
		{"loop --port=x --channels=4-9 --setting=trio", "channel 9 has the bass player"},
		{"loop --port=x --channels=9 --setting=trio", "channel 9 has the bass player"},
		{"loop --port=x --channels=11-16 --tuning=E2,A2", "--tuning"},
		{"hear --port=x --step --clock", "--clock says nothing"},
		{"write --port=x --out=x.mid", "unknown flag"},
		{"shapes --switch=x", "unknown flag"},
	} {
		e, out, errs := testEnv(fakeSound("none"))
		args := slices.Insert(strings.Split(c.args, " "), 1, "no-such-file.abc")
		status := run(context.Background(), args, e)
		if said := errs.String(); status != statusUsage || strings.Count(said, "\n") != 1 || !strings.Contains(said, c.says) || out.String() != "" {
			t.Errorf("%s: status %d, %q", c.args, status, said)
		}
	}
}

// The program changes of the beginning, each once; later ones have their time.
func TestPrograms(t *testing.T) {
	s := &midiio.Sequence{Events: []midiio.Event{
		{Msg: [3]byte{0xC0, 26}}, {Msg: [3]byte{0xB0, 7, 100}}, {Msg: [3]byte{0xC1, 26}}, {Msg: [3]byte{0xC0, 26}}, {Tick: 960, Msg: [3]byte{0xC0, 24}},
	}}
	if got, want := programs(s), [][3]byte{{0xC0, 26}, {0xC1, 26}}; !slices.Equal(got, want) {
		t.Errorf("% X, want % X", got, want)
	}
}

func TestChannels(t *testing.T) {
	for args, want := range map[string]string{
		"":                                   "1 2 3 4 5 6 7 8 9 10",
		"--channels strings":                 "1 2 3 4 5 6 7 8 9 10",
		"--channels 11-16":                   "11 12 13 14 15 16 7 8 9 10",
		"--channels 4-9":                     "4 5 6 7 8 9 7 8 9 10",
		"--channels 3 --setting trio":        "3 3 3 3 3 3 7 8 9 10",
		"--channels 9":                       "9 9 9 9 9 9 7 8 9 10",
		"--channels 2-8 --tuning seven-low":  "2 3 4 5 6 7 8 8 9 10",
		"--channels 1-6 --setting trio":      "1 2 3 4 5 6 7 8 9 10",
		"--channels 16":                      "16 16 16 16 16 16 7 8 9 10",
		"--no-program --clock --stats":       "1 2 3 4 5 6 7 8 9 10",
		"--channels 11-16 --capo 3 --step":   "11 12 13 14 15 16 7 8 9 10",
		"--channels 11-16 --tuning drop-d":   "11 12 13 14 15 16 7 8 9 10",
		"--channels 1 --only melody --step ": "1 1 1 1 1 1 7 8 9 10",
	} {
		var got []string
		c := commands()[0]
		c.run = func(_ context.Context, _ *env, o *options) error {
			p, err := o.portChoice()
			if err != nil {
				return err
			}
			for _, ch := range p.to[:10] {
				got = append(got, fmt.Sprint(ch+1))
			}
			return nil
		}
		args = strings.Replace(args, "seven-low", `"B1 E2 A2 D3 G3 B3 E4"`, 1)
		fields := append([]string{"--port", "x"}, strings.Fields(args)...)
		if before, tuning, ok := strings.Cut(args, `"`); ok {
			fields = append(append([]string{"--port", "x"}, strings.Fields(before)...), strings.Trim(tuning, `"`))
		}
		if err := c.exec(context.Background(), &env{}, fields); err != nil {
			t.Errorf("%s: %v", args, err)
		} else if g := strings.Join(got, " "); g != want {
			t.Errorf("%s: %s, want %s", args, g, want)
		}
	}
}

// ported is a world with MIDI ports and without a sound device.
func ported(keys string) (*env, *fakeMIDI, *buffer, *buffer) {
	e, out, errs := testEnv(fakeSound("none"))
	m := newFakeMIDI()
	e.midi = m
	e.stdin = strings.NewReader(keys)
	return e, m, out, errs
}

// checkSilent checks that nothing sounds at an output, that it was told so on every
// channel it was played on, and that all is closed.
func checkSilent(t *testing.T, what string, m *fakeMIDI, o *fakeOut) {
	t.Helper()
	if n := o.sounding(); n > 0 {
		t.Errorf("%s: %d notes are left sounding: %v", what, n, o.messages())
	}
	if o.IsOpen() || m.opened != 0 {
		t.Errorf("%s: open is left the port %v, drivers %d", what, o.IsOpen(), m.opened)
	}
}

// hushed reports whether each channel that was played on was told last that
// nothing sounds.
func hushed(o *fakeOut) error {
	last := map[byte][]byte{}
	for _, s := range o.got {
		if k := s.msg[0] >> 4; k >= 8 && k < 15 && k != 14 { // a bend may follow
			last[s.msg[0]&15] = append(last[s.msg[0]&15], s.msg...)
		}
	}
	for ch, b := range last {
		if end := []byte{0xB0 | ch, 123, 0, 0xB0 | ch, 120, 0}; bytes.Contains(b, []byte{0x90 | ch}) && !bytes.HasSuffix(b, end) {
			return fmt.Errorf("channel %d ends with % x", ch+1, b[max(len(b)-6, 0):])
		}
	}
	return nil
}

// Whenever it is interrupted, no note is left.
func TestPortInterrupted(t *testing.T) {
	t.Parallel() // it takes its time in the open
	together(12, func(i int) {
		rnd := rand.New(rand.NewPCG(9, uint64(i)))
		args := []string{"loop", "--port", "recorder", "--bars", "1-4", "--tempo", "300%", "--count-in", "0"}
		switch i % 4 {
		case 1:
			args = append(args, "--channels", "3")
		case 2:
			args = append(args, "--setting", "trio", "--click", "--clock")
		case 3:
			args = append(args, "--channels", "11-16", "--ramp", "60-100:20")
		}
		e, m, _, errs := ported("")
		typing(t, e)
		ctx, cancel := context.WithCancel(context.Background())
		o := m.out(recorder)
		enough := 8 + rnd.IntN(30)
		go func() {
			for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(time.Duration(rnd.IntN(3000)) * time.Microsecond) {
				if len(o.messages()) >= enough {
					break
				}
			}
			cancel()
		}()
		if s := run(ctx, args, e); s != statusOK || errs.String() != "" {
			t.Errorf("%v: status %d, %q", args, s, errs)
		}
		cancel()
		what := fmt.Sprintf("%v after %d messages", args, enough)
		checkSilent(t, what, m, o)
		if err := hushed(o); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	})
}

// A port that is slow, or a machine that is busy, gets the time to end what sounds:
// for as long as something is sent.
func TestPortSlow(t *testing.T) {
	t.Parallel() // it takes its time in the open
	e, m, _, errs := ported("")
	typing(t, e)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	o := m.out(recorder)
	o.slow = 60 * time.Millisecond
	go func() {
		for deadline := time.Now().Add(20 * time.Second); len(o.messages()) < 12 && time.Now().Before(deadline); {
			time.Sleep(time.Millisecond)
		}
		cancel()
	}()
	if s := run(ctx, []string{"hear", "--port", "recorder", "--bars", "1-4"}, e); s != statusOK || errs.String() != "" {
		t.Errorf("status %d, %q", s, errs)
	}
	checkSilent(t, "slow", m, o)
	if err := hushed(o); err != nil {
		t.Error(err)
	}
}

// together does what waits by the clock, n times and four of them at once, so that
// one waits while another one does.
func together(n int, do func(i int)) {
	var all sync.WaitGroup
	room := make(chan struct{}, 4)
	for i := range n {
		room <- struct{}{}
		all.Go(func() {
			defer func() { <-room }()
			do(i)
		})
	}
	all.Wait()
}

// No other way out leaves a note either: keys, the end of the tune, a reader of
// standard output who has left, a fault of our own.
func TestPortWaysOut(t *testing.T) {
	t.Parallel() // it takes its time in the open
	cases := []struct {
		name, args, keys string
		lines            int // of standard output that can be written; 0 for all, below 0 it panics
		status           int
	}{
		{"the end", "hear --bars 1 --tempo 300%", "", 0, statusOK},
		{"passes", "loop --bars 1 --repeat 2 --tempo 300%", "", 0, statusOK},
		{"q", "loop --bars 1-4", "n\n-\nc\n1\na\np\np\nb\nq\n", 0, statusOK},
		{"step", "hear --step --bars 1-4", "\n\n\nq\n", 0, statusOK},
		{"standard output", "loop --bars 1 --tempo 300%", "", 4, statusFailed},
		{"a panic", "loop --bars 1 --tempo 300%", "", -6, statusFailed},
	}
	together(len(cases), func(i int) {
		c := cases[i]
		e, m, out, errs := ported(c.keys)
		if c.lines != 0 {
			e.stdout = &failing{c.lines}
		}
		if c.keys == "" {
			typing(t, e)
		}
		status := run(context.Background(), append(strings.Fields(c.args), "--port", "recorder"), e)
		if status != c.status {
			t.Errorf("%s: status %d, %q, %q", c.name, status, out, errs)
		}
		checkSilent(t, c.name, m, m.out(recorder))
	})
}

// failing is a standard output that takes so many lines and then fails or, below 0,
// panics.
type failing struct{ left int }

func (f *failing) Write(p []byte) (int, error) {
	switch {
	case f.left > 1:
		f.left--
	case f.left == 1:
		return 0, errors.New("nobody reads")
	default:
		if f.left++; f.left == 0 {
			panic("a fault")
		}
	}
	return len(p), nil
}

// typing gives a standard input on which nothing has been typed yet.
func typing(t *testing.T, e *env) io.Writer {
	r, w := io.Pipe()
	t.Cleanup(func() { w.Close() })
	e.stdin = r
	return w
}

// A port that goes away, refuses or hangs ends it with one line and status 1, in a
// pause too, and soon.
func TestPortLost(t *testing.T) {
	t.Parallel() // it takes its time in the open
	cases := [][2]string{
		{brief, `MIDI port "Brief" went away at bar `},
		{ghost, `MIDI port "Ghost" went away at bar `},
		{deaf, `MIDI port "Deaf" does not take notes at bar 1 (does the program that it leads to hang?)`},
		{hanging, `MIDI port "Hanging" does not take notes at bar 1 `},
	}
	together(len(cases), func(i int) {
		name, says := cases[i][0], cases[i][1]
		e, m, _, errs := ported("")
		typing(t, e)
		status := run(context.Background(), []string{"loop", "--port", name, "--bars", "1", "--tempo", "300%", "--count-in", "0"}, e)
		o := m.out(name)
		if said := errs.String(); status != statusFailed || !strings.HasPrefix(said, "thumbline: "+says) || strings.Count(said, "\n") != 1 {
			t.Errorf("%s: status %d, %q", name, status, said)
		}
		last := o.got[min(len(o.got), 19)-1].at
		t.Logf("%s: over %d ms after its last message", name, time.Since(last).Milliseconds())
		close(o.hang)
	})
	e, m, out, errs := ported("")
	keys := typing(t, e)
	status := make(chan int, 1)
	go func() {
		status <- run(context.Background(), []string{"loop", "--port", recorder, "--bars", "1", "--tempo", "300%"}, e)
	}()
	waitFor(t, out, "pass 1")
	io.WriteString(keys, "\n")
	waitFor(t, out, "paused")
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if got := m.out(recorder).messages(); len(got) > 0 && strings.HasPrefix(got[len(got)-1], "b") && strings.HasSuffix(got[len(got)-1], " 78 00") {
			break // all sound off
		}
		if time.Now().After(deadline) {
			t.Fatal("a pause does not tell the port that nothing sounds")
		}
	}
	close(m.out(recorder).goes)
	select {
	case s := <-status:
		if s != statusFailed || !strings.Contains(errs.String(), "went away") {
			t.Errorf("in a pause: status %d, %q", s, errs)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("nobody notices a loss in a pause")
	}
}

// waitFor waits for words of standard output.
func waitFor(t *testing.T, out *buffer, words string) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(out.String(), words); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("no %q in:\n%s", words, out)
		}
	}
}

// With a port no sound device is opened.
func TestPortNeedsNoDevice(t *testing.T) {
	t.Parallel() // it takes its time in the open
	e, m, out, errs := ported("")
	e.sound = noSound{t}
	if s := run(context.Background(), []string{"hear", "--port", "1", "--bars", "0", "--stats"}, e); s != statusOK || errs.String() != "" {
		t.Errorf("status %d, %q", s, errs)
	}
	if o := m.out(recorder); len(o.got) == 0 || !strings.Contains(out.String(), fmt.Sprintf("MIDI: %d messages sent; half of them were at most ", len(o.got))) {
		t.Errorf("%d messages:\n%s", len(o.got), out)
	}
}

// A port of our own is waited for, but not for ever.
func TestVirtualPort(t *testing.T) {
	for _, c := range []struct {
		looks int
		want  string
		err   error
	}{
		{-10, "Connected.\n", nil},
		{4, "", nil},
		{-1 << 20, "Nobody has connected: it plays all the same.\n", nil},
		{-1 << 20, "", errInterrupted},
	} {
		var said buffer
		v := &fakeVirtual{looks: c.looks}
		o := &portOut{choice: &portChoice{name: "ours"}, say: &said, out: v}
		ctx, cancel := context.WithCancel(context.Background())
		if c.err != nil {
			cancel()
		}
		err := o.await(ctx, 300*time.Millisecond, time.Millisecond)
		cancel()
		want := c.want
		if c.looks < 0 {
			want = "Connect to the MIDI port \"ours\": it waits up to 0.3 s.\n" + want
		}
		if got := said.String(); !errors.Is(err, c.err) || got != want {
			t.Errorf("%d: %v, %q, want %q", c.looks, err, got, want)
		}
	}
}

// Where the system has no ports of our own, that is said.
func TestNoVirtualPort(t *testing.T) {
	t.Parallel() // it takes its time in the open
	e, m, _, errs := ported("")
	e.midi = without{m}
	if s := run(context.Background(), []string{"loop", "--port", "virtual"}, e); s != statusFailed || !strings.HasPrefix(errs.String(), "thumbline: this system has no virtual MIDI ports (choose") {
		t.Errorf("status %d, %q", s, errs)
	}
	if m.opened != 0 {
		t.Error("the driver is left open")
	}
}

// without is a system whose driver can nothing but what every driver can.
type without struct{ *fakeMIDI }

func (w without) open() (drivers.Driver, error) {
	d, err := w.fakeMIDI.open()
	return struct{ drivers.Driver }{d}, err
}

// What hangs holds up no signal for long.
func TestHushIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := &portOut{driver: midiio.NewDriver(midiio.NewLive(portRate), midiio.SystemClock(), nil), over: make(chan struct{})}
		start := time.Now()
		o.hush()
		if d := time.Since(start); d > time.Second {
			t.Errorf("it took %v", d)
		}
	})
}

// noSound must not be asked.
type noSound struct{ t *testing.T }

func (n noSound) open(int, time.Duration) (synth.Device, error) {
	n.t.Error("a sound device is opened")
	return nil, errors.New("no")
}

func (n noSound) devices() []string { return nil }

// Where it goes and the caution stand on the page, and before the first plain line.
func TestPortIsSaid(t *testing.T) {
	for _, args := range []string{"loop --bars 1-4", "hear --bars 1-4"} {
		r := newRun(t, append(strings.Fields(args), "--port", "x")...)
		r.p.h.port.name = "Box \"A\""
		r.sees(`key G, to MIDI port "Box \"A\""`, "* "+portCaution)
		r.byLine()
		if said := strings.Join(r.heading(), "\n"); !strings.Contains(said, `= 132, to MIDI port "Box \"A\""`+"\n"+portCaution) {
			t.Errorf("%s: says\n%s", args, said)
		}
		s, err := newStepper(r.p, r.now, func([]midiio.LiveNote) bool { return true }, func() {})
		if err != nil {
			t.Fatal(err)
		}
		if page := shownIn(s.page(), 80, 24); !strings.Contains(page, "* "+portCaution) || !strings.Contains(page, "to MIDI port") {
			t.Errorf("step:\n%s", page)
		}
		s.press("space")
		if page := shownIn(s.page(), 80, 24); strings.Contains(page, portCaution) {
			t.Errorf("step, once it is heard:\n%s", page)
		}
	}
}
