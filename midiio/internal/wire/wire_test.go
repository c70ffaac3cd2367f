package wire

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestEach(t *testing.T) {
	// Sizes: MIDI 1.0 Detailed Specification, tables II, V and VI.
	for _, c := range []struct {
		data []byte
		want string // messages in hexadecimal, or "!" and a part of the error
	}{
		{[]byte{0x90, 60, 100}, "90 3C 64"},
		{[]byte{0x90, 60, 100, 60, 0}, "90 3C 64|90 3C 00"},
		{[]byte{0xC3, 24, 25}, "C3 18|C3 19"},
		{[]byte{0xE0, 0, 64, 0xF8, 1, 64}, "E0 00 40|F8|E0 01 40"},
		{[]byte{0xF2, 1, 2, 0xFB}, "F2 01 02|FB"},
		{[]byte{0xF3, 1, 0xF1, 2, 0xF6, 0xFE, 0xFF}, "F3 01|F1 02|F6|FE|FF"},
		{[]byte{0xF0, 0x7E, 2, 9, 1, 0xF7, 0x80, 60, 0}, "F0 7E 02 09 01 F7|80 3C 00"},
		{nil, ""},
		{[]byte{60, 100}, "!without a status byte"},
		{[]byte{0xF2, 1, 2, 3}, "F2 01 02!without a status byte"},
		{[]byte{0x90, 60, 100, 0xF0, 0xF7, 60, 0}, "90 3C 64|F0 F7!without a status byte"},
		{[]byte{0x90, 60}, "!ends within"},
		{[]byte{0x90, 60, 0x80}, "!ends within"},
		{[]byte{0xF0, 1, 2}, "!without its end"},
		{[]byte{0xF0, 1, 0xF8, 0xF7}, "!within system exclusive"},
		{[]byte{0xF4}, "!stands for nothing"},
		{[]byte{0xF7}, "!stands for nothing"},
	} {
		var s Splitter
		var got []string
		err := s.Each(c.data, func(m []byte) error {
			got = append(got, fmt.Sprintf("% X", m))
			return nil
		})
		want, fault, wrong := strings.Cut(c.want, "!")
		if strings.Join(got, "|") != want {
			t.Errorf("% X: %q, want %q", c.data, got, want)
		}
		if wrong != (err != nil) || wrong && !strings.Contains(err.Error(), fault) {
			t.Errorf("% X: error %v, want %q", c.data, err, fault)
		}
	}
}

func TestEachStopsAtAnError(t *testing.T) {
	var s Splitter
	full := errors.New("full")
	n := 0
	err := s.Each([]byte{0xF8, 0xF8, 0xF8}, func([]byte) error {
		n++
		if n == 2 {
			return full
		}
		return nil
	})
	if !errors.Is(err, full) || n != 2 {
		t.Errorf("%d messages, error %v", n, err)
	}
}

// Messages one after the other come out as they went in, with status bytes left
// out wherever they may be.
func TestEachIsTheInverse(t *testing.T) {
	status := rapid.Custom(func(t *rapid.T) byte {
		return rapid.Byte().Filter(func(b byte) bool { return Size(b) > 0 }).Draw(t, "status")
	})
	rapid.Check(t, func(t *rapid.T) {
		var want [][]byte
		var data []byte
		last := byte(0)
		for range rapid.IntRange(0, 20).Draw(t, "messages") {
			st := status.Draw(t, "status")
			m := []byte{st}
			for range Size(st) - 1 {
				m = append(m, rapid.ByteRange(0, 127).Draw(t, "data"))
			}
			want = append(want, m)
			if st == last && st < 0xF0 && rapid.Bool().Draw(t, "running") {
				data = append(data, m[1:]...)
			} else {
				data = append(data, m...)
			}
			if st < 0xF8 {
				last = st
			}
		}
		var s Splitter
		var got [][]byte
		if err := s.Each(data, func(m []byte) error { got = append(got, bytes.Clone(m)); return nil }); err != nil {
			t.Fatal(err)
		}
		if !slices.EqualFunc(got, want, bytes.Equal) {
			t.Fatalf("% X became % X", want, got)
		}
	})
}

func FuzzEach(f *testing.F) {
	f.Add([]byte{0x90, 60, 100, 60, 0})
	f.Add([]byte{0xF0, 1, 0xF7, 60})
	f.Fuzz(func(t *testing.T, data []byte) {
		var s Splitter
		n := 0
		err := s.Each(data, func(m []byte) error {
			n += len(m)
			if m[0] < 0x80 || m[0] != 0xF0 && len(m) != Size(m[0]) {
				t.Errorf("% X: message % X", data, m)
			}
			return nil
		})
		if err == nil && n < len(data) {
			t.Errorf("% X: only %d bytes were sent", data, n)
		}
	})
}

func TestEachTakesNoMemory(t *testing.T) {
	s := new(Splitter)
	data := []byte{0x90, 60, 100}
	send := func([]byte) error { return nil }
	if n := testing.AllocsPerRun(100, func() { _ = s.Each(data, send) }); n != 0 {
		t.Errorf("%v allocations for a message", n)
	}
}
