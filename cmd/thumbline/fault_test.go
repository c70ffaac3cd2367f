package main

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"thumbline/midiio"
)

// A panic is told with its place, whatever it was.
func TestGuarded(t *testing.T) {
	var none []int
	for says, do := range map[string]func() error{
		"index out of range [3] with length 0, at fault_test.go:": func() error { none[len(none)+3]++; return nil },
		": nil pointer dereference, at fault_test.go:":            func() error { var p *playing; p.seq = nil; return nil },
		": words, at fault_test.go:":                              func() error { panic("words") },
		": EOF, at fault_test.go:":                                func() error { panic(io.EOF) },
	} {
		err := guarded(do)
		if !errors.As(err, new(fault)) || !strings.Contains(strings.Replace(err.Error(), "invalid memory address or ", ": ", 1), says) {
			t.Errorf("%v, want %s", err, says)
		}
	}
	if err := guarded(func() error { return io.EOF }); err != io.EOF {
		t.Errorf("an error became %v", err)
	}
}

// A fault where the music is made or sent ends it with one line, and leaves no note.
func TestFaultWhilePlaying(t *testing.T) {
	for _, to := range []string{"", "--port recorder"} {
		e, m, _, errs := ported("")
		typing(t, e)
		if to == "" {
			e.sound = fakeSound("fake")
		}
		p := faulty(t, e, "loop --bars 1-4 "+to)
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		err := <-p.start(ctx, &faultyFeed{Feed: p.cursor}, false)
		cancel()
		p.close()
		if !errors.As(err, new(fault)) || strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "MIDI port") {
			t.Errorf("%q: %v, %s", to, err, errs)
		}
		if to == "" {
			continue
		}
		o := m.out(recorder)
		checkSilent(t, to, m, o)
		if err := hushed(o); err != nil || len(o.got) == 0 {
			t.Errorf("%s: %d messages, %v", to, len(o.got), err)
		}
	}
}

// faulty is what a command line plays, made ready.
func faulty(t *testing.T, e *env, line string) (p *playing) {
	t.Helper()
	for _, c := range commands() {
		args := strings.Fields(line)
		if c.name != args[0] {
			continue
		}
		c.run = func(ctx context.Context, e *env, o *options) (err error) {
			p, err = ready(ctx, e, o, false)
			return err
		}
		if err := c.exec(context.Background(), e, args[1:]); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// A faultyFeed panics when the first bar sounds.
type faultyFeed struct {
	midiio.Feed
	notes int
}

func (f *faultyFeed) Fill(until int64, emit func(at int64, msg [3]byte)) bool {
	return f.Feed.Fill(until, func(at int64, m [3]byte) {
		emit(at, m)
		if m[0] == noteOn|3 {
			if f.notes++; f.notes == 2 {
				panic("a fault")
			}
		}
	})
}

// One on the page ends that, and is told afterwards.
func TestFaultOnPage(t *testing.T) {
	m := &screen{act: newRun(t, "loop", "--bars", "1-4").conductor}
	m.act.(*conductor).p.cursor = nil
	_, cmd := m.Update(tea.KeyPressMsg{Code: 'p', Text: "p"})
	if !errors.As(m.err, new(fault)) || cmd == nil || cmd() != tea.Quit() {
		t.Errorf("%v", m.err)
	}
}

// One anywhere else is told in a line too.
func TestFaultIsTold(t *testing.T) {
	e, _, errs := testEnv(nil)
	e.stdout = &failing{-1}
	e.midi = nil
	status := run(context.Background(), []string{"ports"}, e)
	if said := errs.String(); status != statusFailed || !strings.HasPrefix(said, "thumbline: a fault in thumbline itself: ") || strings.Count(said, "\n") != 1 {
		t.Errorf("status %d, %q", status, said)
	}
	if _, err := until(context.Background(), func() (int, error) { panic("a fault") }); !errors.As(err, new(fault)) {
		t.Errorf("in work that can be given up: %v", err)
	}
}

// A device that calls on after a fault gets silence.
func TestFaultIsSilent(t *testing.T) {
	b := &builtIn{device: &fakeDevice{}, faults: make(chan error, 1)}
	calls := 0
	render := b.rendering(func(out []float32) { calls++; out[0] = 1; panic("a fault") })
	for range 3 {
		out := []float32{0.5, 0.5} // what was in it
		render(out)
		if out[0] != 0 || out[1] != 0 {
			t.Errorf("it sounds: %v", out)
		}
	}
	if calls != 1 || len(b.faults) != 1 {
		t.Errorf("%d calls, %d faults", calls, len(b.faults))
	}
}
