package main

import (
	"context"
	"encoding/hex"
	"strconv"
	"strings"
	"testing"
	"time"
)

// What is learned of the first message that can be meant, and which presses come of
// the others: moments in milliseconds and messages, the presses after "=".
func TestFootSwitch(t *testing.T) {
	for _, c := range []struct{ name, messages, want, learned string }{
		{"a note", "0:903c40 500:803c40 1000:903c40 1500:903c00 2000:903d40 2500:913c40 3000:b03c40 3500:903c01", "0 1000 3500", "note 60 on channel 1"},
		{"a release first", "0:903c00 100:803c40 500:9f0001", "500", "note 0 on channel 16"},
		{"a control", "0:b0407f 300:b04000 600:b04040 900:b0403f 1200:b1407f 1500:b0417f", "0 600", "control 64 on channel 1"},
		{"a control that is pressed below 64", "0:b04000 500:b0407f 1000:b04003 1500:b04050 2000:b04000", "0 1000 2000", "control 64 on channel 1"},
		{"a control without a release", "0:b2077f 500:b2077f 1000:b2077f", "0 500 1000", "control 7 on channel 3"},
		{"a pedal that glides", "0:b0407f 400:b04020 800:b04045 1100:b04050 1400:b04060 1700:b0407f", "0 800 1700", "control 64 on channel 1"},
		{"a program", "0:c005 500:c006 1000:c105 1500:c005", "0 1500", "program 6 on channel 1"},
		{"the choice of a bank before it", "0:b00001 1:b02002 2:c07f 900:b00001 901:b02002 902:c07f", "2 902", "program 128 on channel 1"},
		{"bouncing", "0:903c40 20:803c40 40:903c40 289:903c40 538:903c40 790:903c40", "0 790", "note 60 on channel 1"},
		{"silence of a synthesiser that is switched on", "0:b07b00 1:b07800 2:b07900 3:e00040 4:d010 5:a03c40 500:903c40", "500", "note 60 on channel 1"},
		{"messages without a channel", "0:f8 1:fe 2:fa 3:f20000 4:f04300f7 5:ff", "", ""},
		{"no message", "0: 1:90 2:903c 3:b040 4:903c4040 5:90ff40 6:903cff 7:c0ff 8:3c40 9:b040ff", "", ""},
	} {
		var f footSwitch
		var presses []string
		learned := ""
		for _, w := range strings.Fields(c.messages) {
			at, digits, _ := strings.Cut(w, ":")
			ms, _ := strconv.Atoi(at)
			msg, err := hex.DecodeString(digits)
			if err != nil {
				t.Fatal(err)
			}
			press, line := f.take(msg, t0.Add(time.Duration(ms)*time.Millisecond))
			if press {
				presses = append(presses, at)
			}
			if line != "" && (learned != "" || !press) {
				t.Errorf("%s: at %s it says %q, pressed %v", c.name, at, line, press)
			}
			learned += line
		}
		if c.learned != "" {
			c.learned = "Foot switch: " + c.learned + "."
		}
		if got := strings.Join(presses, " "); got != c.want || learned != c.learned {
			t.Errorf("%s: pressed at %q, want %q; learned %q, want %q", c.name, got, c.want, learned, c.learned)
		}
	}
}

// Whatever comes in, a foot switch stands it.
func FuzzFootSwitch(f *testing.F) {
	f.Add([]byte{0x90, 60, 64}, []byte{0xB0, 64, 127})
	f.Add([]byte{0xC0, 5}, []byte{})
	f.Fuzz(func(t *testing.T, a, b []byte) {
		var s footSwitch
		s.take(a, t0)
		was := s.learned
		if press, learned := s.take(b, t0.Add(time.Second)); was && learned != "" || press && !s.learned {
			t.Errorf("% x, then % x: pressed %v, %q", a, b, press, learned)
		}
	})
}

// A press acts at once, whatever is looked at how often, and goes on to do so when
// nothing is typed any more.
func TestSwitchActs(t *testing.T) {
	t.Parallel() // it takes its time in the open
	e, m, out, errs := ported("")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	status := make(chan int, 1)
	go func() {
		status <- run(ctx, strings.Fields("loop --port recorder --switch pedal --bars 1-4"), e)
	}()
	waitFor(t, out, "pass 1")
	pedal := m.ins[1]
	for i, want := range []string{"again", "again\nagain", "again\nagain\nagain"} {
		time.Sleep(bounce)
		before := time.Now()
		pedal.send(0x90, 60, 64)
		if i == 0 {
			waitFor(t, out, "Foot switch: note 60 on channel 1.")
		}
		for deadline := before.Add(10 * time.Second); !strings.Contains(strings.ReplaceAll(out.String(), "pass 1  bars 1-4, quarter = 132\n", ""), want); time.Sleep(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("press %d does nothing:\n%s", i+1, out)
			}
		}
		t.Logf("acts after %d ms", time.Since(before).Milliseconds())
	}
	pedal.onErr(nil)
	cancel()
	if s := <-status; s != statusOK || errs.String() != "" {
		t.Errorf("status %d, %q", s, errs)
	}
	checkSilent(t, "the end", m, m.out(recorder))
	if pedal.IsOpen() {
		t.Error("the input is left open")
	}
}

// On the page a foot switch is asked for beside the caution of the beginning; what
// is learned stands there for a while.
func TestSwitchOnPage(t *testing.T) {
	r := newRun(t, "loop", "--bars", "1-4", "--port", "x")
	m := &screen{act: r.conductor, width: 80, height: 24, invited: true}
	m.announce((&pedal{name: "Keys"}).invitation())
	shows := func(words string, want bool) {
		t.Helper()
		m.draw()
		if got := strings.Contains(strings.Join(strings.Fields(m.shown), " "), words); got != want {
			t.Errorf("%q is there: %v\n%s", words, got, m.shown)
		}
	}
	shows(portCaution, true)
	shows(`Foot switch at MIDI input "Keys": press it`, true)
	m.Update(footMsg{press: true, line: "Foot switch: note 60 on channel 1."})
	shows("* Foot switch: note 60 on channel 1.", true)
	shows("press it", false)
	shows("COUNT-IN", true) // the press has begun anew
	for range newsFor {
		m.Update(tickMsg{})
	}
	shows("Foot switch", false)
	if said := strings.Join(r.said, ""); said != "" {
		t.Errorf("said %q", said)
	}
}
