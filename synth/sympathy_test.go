package synth

import (
	"math/cmplx"
	"testing"
)

// An open string that nobody stops answers what has a partial where it has one:
// it is heard when the string that drove it is damped, 25 to 50 dB below, as
// long as another note is held. One that is stopped, under the palm's hand or
// alone with nothing held does not.
func TestSympathy(t *testing.T) {
	// The note on string 4 is E3, the octave of the open sixth; string 1 softly
	// holds a note that has nothing to do with it.
	drive := []event{{0, on(3, 52, 110)}, {48000, off(3, 52, 127)}}
	held := event{0, on(1, 63, 1)}
	at := func(f float64, list ...event) float64 {
		x := render(t, Options{Tone: "nylon"}, 2, append(append([]event{}, drive...), list...)...)
		return dB(cmplx.Abs(bin(x[60000:60000+19200], 48000, f)) + 1e-12)
	}
	e3 := 164.8138
	x := render(t, Options{Tone: "nylon"}, 1, drive...)
	driven := dB(cmplx.Abs(bin(x[4800:24000], 48000, e3)))
	answers := at(e3, held) - driven
	t.Logf("the open string answers at %.1f dB", answers)
	if answers > -25 || answers < -50 {
		t.Errorf("the open string answers at %.1f dB of what drives it, want -25 to -50", answers)
	}
	for name, list := range map[string][]event{
		"stopped":       {held, {0, on(5, 41, 1)}},
		"nothing held":  nil,
		"under a palm":  {held, {0, control(5, PalmController, 100)}},
		"another pitch": {held, {0, control(0, PalmController, 100)}},
	} {
		f := e3
		if name == "another pitch" {
			f = e3 * 1.0293 // half a step and a bit: no partial of any open string
		}
		if d := at(f, list...) - driven; d > answers-15 {
			t.Errorf("%s: still at %.1f dB", name, d)
		}
	}
}

// It goes one way: what a string is driven by is no louder for it.
func TestSympathyOneWay(t *testing.T) {
	play := func(tone string) (list []event) {
		for s, open := range guitar[:3] {
			list = append(list, event{int64(100 * s), on(s, open+5, 127)})
		}
		return list
	}
	for _, tone := range Tones() {
		e, err := NewEngine(Options{Tone: tone})
		if err != nil {
			t.Fatal(err)
		}
		e.SetFeeder(sorted(play(tone)))
		b := make([]float32, 2*48000)
		e.Render(b)
		var own, before []float32
		for _, c := range e.courses[:3] {
			own = append(own, c.held.across.buf...)
		}
		e, _ = NewEngine(Options{Tone: tone})
		for _, a := range e.buses[0].choir.answers {
			a.in = 0
		}
		e.SetFeeder(sorted(play(tone)))
		e.Render(b)
		for _, c := range e.courses[:3] {
			before = append(before, c.held.across.buf...)
		}
		for i := range own {
			if own[i] != before[i] {
				t.Fatalf("%s: the strings that are played hear the others", tone)
			}
		}
	}
}
