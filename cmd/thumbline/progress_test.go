package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"thumbline/midiio"
)

// shownLine is the line that a terminal shows after what was written to it.
func shownLine(s string) string {
	var line []rune
	at := 0
	for _, r := range s {
		switch r {
		case '\r':
			at = 0
			continue
		case '\n':
			line, at = nil, 0
			continue
		}
		for len(line) <= at {
			line = append(line, ' ')
		}
		line[at] = r
		at++
	}
	return strings.TrimRight(string(line), " ")
}

func TestProgress(t *testing.T) {
	now := time.Date(2020, 1, 1, 12, 0, 0, 0, time.UTC)
	clock := func() time.Time { return now }
	var b bytes.Buffer
	p := newProgress(&b, clock)
	p.part("x.wav", 1000)
	for range 9 {
		now = now.Add(100 * time.Millisecond)
		p.add(50)
	}
	if b.Len() != 0 {
		t.Errorf("within a second it shows %q", b.String())
	}
	now = now.Add(100 * time.Millisecond)
	p.add(50)
	if got, want := shownLine(b.String()), "x.wav  50% [==============>               ]"; got != want {
		t.Errorf("after a second:\n%q, want\n%q", got, want)
	}
	n := b.Len()
	for range 9 {
		now = now.Add(10 * time.Millisecond)
		p.add(10)
	}
	if b.Len() != n {
		t.Error("drawn more than ten times a second")
	}
	now = now.Add(20 * time.Millisecond)
	p.add(10)
	if got, want := shownLine(b.String()), "x.wav  60% [=================>            ]"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	// The next part takes the place of the first, at once.
	p.part("...r with a very long name/y.wav", 200)
	if got := shownLine(b.String()); got != "" {
		t.Errorf("between two parts %q", got)
	}
	now = now.Add(progressEvery)
	p.add(300) // more than there are
	if got, want := shownLine(b.String()), "...r with a very long name/y.wav 100% [==============================]"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	p.done()
	p.done()
	if got := shownLine(b.String()); got != "" {
		t.Errorf("left behind: %q", got)
	}
	if strings.ContainsAny(b.String(), "\n\x1b") {
		t.Errorf("more than one line, or colours: %q", b.String())
	}
	for _, l := range strings.Split(b.String(), "\r") {
		if len(l) > 79 {
			t.Errorf("%d columns: %q", len(l), l)
		}
	}
}

// What cannot tell how far it is shows its name after a second, and nothing if
// it is done before.
func TestProgressWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b buffer
		p := newProgress(&b, time.Now)
		p.wait("arranging")
		time.Sleep(progressAfter - time.Millisecond)
		p.done()
		time.Sleep(time.Second)
		if b.String() != "" {
			t.Errorf("after 999 ms of work: %q", b.String())
		}
		p = newProgress(&b, time.Now)
		p.wait("arranging")
		time.Sleep(progressAfter + time.Millisecond)
		synctest.Wait()
		if got := shownLine(b.String()); got != "arranging ..." {
			t.Errorf("it shows %q", got)
		}
		p.part("sound", 10)
		if got := shownLine(b.String()); got != "" {
			t.Errorf("left behind: %q", got)
		}
	})
}

func TestFramesOf(t *testing.T) {
	s := &midiio.Sequence{End: 4 * midiio.PerQuarter, Events: []midiio.Event{
		{Msg: [3]byte{0x90, 60, 90}}, {Tick: 4 * midiio.PerQuarter, Msg: [3]byte{0x80, 60, 64}},
	}}
	for times, want := range map[int]int64{1: 3000, 5: 11000} { // 2 s each at 120 beats a minute
		c, err := midiio.NewCursor(s, midiio.Once(midiio.Pass{Times: times}), 1000)
		if err != nil {
			t.Fatal(err)
		}
		if got := framesOf(c, allBits[0].most()); got < want-1000 || got > want {
			t.Errorf("%d times: %d frames, want %d", times, got, want)
		}
	}
}

// Nothing of it goes into a file or a pipe, and no progress is one that shows
// nothing.
func TestProgressNowhere(t *testing.T) {
	f, err := os.Create(t.TempDir() + "/log")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	e, _, _ := testEnv(fakeSound("none"))
	if progressOf(e) != nil {
		t.Error("a buffer was taken for a terminal")
	}
	e.stderr = f
	p := progressOf(e)
	if p != nil {
		t.Error("a file was taken for a terminal")
	}
	p.part("x.wav", 10)
	p.add(5)
	p.done()
}
