package synth

import "testing"

func TestHasStroke(t *testing.T) {
	for key, want := range map[int]bool{76: true, 77: true, 33: true, 51: true, 70: true, 37: true, 35: false, 38: false, 0: false, 127: false} {
		if got := HasStroke(key); got != want {
			t.Errorf("key %d: %v", key, got)
		}
	}
}

// Strings from the ninth on sound on the channels from 11 on.
func TestManyStrings(t *testing.T) {
	open := []int{64, 59, 55, 50, 45, 40, 64, 59, 55, 50, 45, 40, 64, 59}
	for i := range open {
		e, err := NewEngine(Options{Open: open})
		if err != nil {
			t.Fatal(err)
		}
		ch := byte(i)
		if i >= 8 {
			ch += 2
		}
		var l Events
		l.Add(0, [3]byte{0x90 | ch, 72, 90})
		l.Add(24000, [3]byte{0x80 | ch, 72, 64})
		e.SetFeeder(&l)
		out := make([]float32, 48000)
		e.Render(out)
		if p := samplePeak(out); p < 0.01 {
			t.Errorf("string %d on channel %d: peak %g", i+1, ch+1, p)
		}
	}
	if _, err := NewEngine(Options{Open: append(open, 40)}); err == nil {
		t.Error("15 strings are too many")
	}
}
