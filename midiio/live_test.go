package midiio

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const ms = time.Millisecond

// grip is a chord on channels 0, 1, 2 with so much time from string to string.
func grip(key int, roll time.Duration) []LiveNote {
	var ns []LiveNote
	for i := range 3 {
		ns = append(ns, LiveNote{Channel: 2 - i, Key: key + 5*i, Velocity: 80, Delay: time.Duration(i) * roll})
	}
	return ns
}

func TestLive(t *testing.T) {
	l := NewLive(1000) // a frame is a millisecond
	var out []sent
	fill := func(until int64) bool {
		return l.Fill(until, func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
	}
	check := func(what, want string) {
		t.Helper()
		var got []string
		for _, s := range out {
			got = append(got, s.String())
		}
		if d := cmp.Diff(want, strings.Join(got, ", ")); d != "" {
			t.Errorf("%s (-want +got):\n%s", what, d)
		}
		out = nil
	}
	if !fill(10) {
		t.Error("over before the start")
	}
	check("silent", "")
	l.Strike(grip(40, 0))
	fill(20)
	check("as one", "10 92 28 50, 10 91 2D 50, 10 90 32 50")
	l.Strike(grip(41, 15*ms))
	fill(30)
	fill(60)
	check("rolled, each string damped by its next note", "20 82 28 40, 20 92 29 50, 35 81 2D 40, 35 91 2E 50, 50 80 32 40, 50 90 33 50")
	l.Strike(grip(40, 15*ms))
	fill(70)
	l.Strike([]LiveNote{{Channel: 5, Key: 30, Velocity: 1}})
	fill(200)
	check("a strike overtakes what is not heard yet", "60 82 29 40, 60 92 28 50, 70 95 1E 01")
	l.Strike(grip(50, 0)[:1])
	fill(210)
	check("what others ring on", "200 82 28 40, 200 92 32 50")
	l.Strike([]LiveNote{{Channel: 16, Key: 1, Velocity: 1}, {Key: 128, Velocity: 1}, {Key: 1}, {Channel: -1, Velocity: 3}, {Key: 60, Velocity: 128}, {Key: 64, Velocity: 9, Delay: -time.Hour}})
	fill(220)
	check("what is no note is left out", "210 80 33 40, 210 90 40 09")
	fill(220)
	fill(100)
	check("nothing to do", "")
	l.Strike(grip(40, 20*ms))
	fill(230)
	out = nil
	l.Silence(func(m [3]byte) { out = append(out, sent{l.now, m}) })
	l.Strike(grip(40, 0))
	if fill(240) || fill(250) {
		t.Error("more after the silence")
	}
	check("silenced", "230 80 40 40, 230 81 2E 40, 230 82 28 40, 230 85 1E 40, "+
		"230 B0 7B 00, 230 B0 78 00, 230 B1 7B 00, 230 B1 78 00, 230 B2 7B 00, 230 B2 78 00, 230 B5 7B 00, 230 B5 78 00")
}

func TestLiveIsBounded(t *testing.T) {
	l := NewLive(48000)
	n := 0
	for l.Strike(grip(40, 0)) {
		if n += 3; n > LiveRoom {
			t.Fatalf("%d notes are waiting", n)
		}
	}
	if n != LiveRoom/3*3 {
		t.Errorf("room for %d notes, want %d", n, LiveRoom/3*3)
	}
	l.Fill(1, nothing)
	many := slices.Repeat(grip(40, time.Second), LiveRoom/3)
	allocs := testing.AllocsPerRun(100, func() {
		if !l.Strike(many) {
			t.Error("no room")
		}
		l.Fill(l.now+48, nothing)
		l.Fill(l.now+4800000, nothing)
	})
	if allocs != 0 {
		t.Errorf("%g allocations", allocs)
	}
}

func TestLiveProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := NewLive(rapid.SampledFrom([]int{1, 1000, 48000}).Draw(t, "rate"))
		var out []sent
		until := int64(0)
		fill := func() bool {
			was := until
			until += int64(rapid.IntRange(0, 3000).Draw(t, "step"))
			return l.Fill(until, func(at int64, m [3]byte) {
				if at < was || at >= until {
					t.Fatalf("%d in frames %d to %d", at, was, until)
				}
				out = append(out, sent{at, m})
			})
		}
		for range rapid.IntRange(0, 30).Draw(t, "things") {
			if rapid.Bool().Draw(t, "strike") {
				var ns []LiveNote
				for range rapid.IntRange(0, 9).Draw(t, "notes") {
					ns = append(ns, LiveNote{rapid.IntRange(-1, 16).Draw(t, "channel"), rapid.IntRange(-1, 128).Draw(t, "key"), rapid.IntRange(0, 128).Draw(t, "velocity"),
						time.Duration(rapid.IntRange(-5, 100).Draw(t, "delay")) * ms})
				}
				l.Strike(ns)
			} else {
				fill()
			}
		}
		l.Silence(func(m [3]byte) { out = append(out, sent{until, m}) })
		if fill() {
			t.Fatalf("more after the silence")
		}
		balanced(t, out)
	})
}

// Keys come from other goroutines; the race detector listens.
func TestLiveGoroutines(t *testing.T) {
	l := NewLive(48000)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for i := range 200 {
				l.Strike(grip(40+i%12, 15*ms))
			}
		})
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	var out []sent
	for over := false; !over; {
		select {
		case <-done:
			over = true
		default:
		}
		l.Fill(l.now+64, func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
	}
	l.Silence(func(m [3]byte) { out = append(out, sent{l.now, m}) })
	balanced(t, out)
}
