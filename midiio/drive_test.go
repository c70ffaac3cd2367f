package midiio

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// fakeClock is at once where it is asked to be, or late by what late says.
type fakeClock struct {
	now  time.Duration
	late func(t time.Duration) time.Duration
	at   func(t time.Duration) // called at every moment reached
}

func (c *fakeClock) Now() time.Duration { return c.now }

func (c *fakeClock) Sleep(ctx context.Context, t time.Duration) error { return c.Until(ctx, t) }

func (c *fakeClock) Until(ctx context.Context, t time.Duration) error {
	c.now = max(c.now, t)
	if c.late != nil {
		c.now += c.late(t)
	}
	if c.at != nil {
		c.at(c.now)
	}
	return ctx.Err()
}

func TestDrive(t *testing.T) {
	clock := &fakeClock{now: time.Hour}
	var got []string
	c := newCursor(t, held(), Practice{Passes: []Pass{{To: 3840}}, Repeat: 2}, 1_000_000)
	err := NewDriver(c, clock, func(m []byte) error {
		got = append(got, fmt.Sprintf("%v % X", clock.now-time.Hour, m))
		return nil
	}).Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"0s 90 40 50", "500ms 80 40 40", "1s 95 2B 50", "2s 85 2B 40",
		"2s 90 40 50", "2.5s 80 40 40", "3s 95 2B 50", "5s 85 2B 40",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// A clock that wakes late once does not make what follows late.
func TestDriveLate(t *testing.T) {
	woken := 0
	clock := &fakeClock{late: func(t time.Duration) time.Duration {
		if t == time.Second {
			woken++
		}
		if t == time.Second && woken == 1 {
			return 30 * time.Millisecond
		}
		return 0
	}}
	var at []time.Duration
	c := newCursor(t, held(), Once(Pass{To: 3840}), 1_000_000)
	if err := NewDriver(c, clock, func(m []byte) error { at = append(at, clock.now); return nil }).Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]time.Duration{0, 500 * time.Millisecond, 1030 * time.Millisecond, 3 * time.Second}, at); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Cut short in the count-in, between note-on and note-off, at the seam: every
// note ends and every channel is told to be silent.
func TestDriveCancel(t *testing.T) {
	for _, when := range []time.Duration{20 * time.Millisecond, 2300 * time.Millisecond, 4 * time.Second} {
		ctx, cancel := context.WithCancel(context.Background())
		clock := &fakeClock{at: func(t time.Duration) {
			if t >= when {
				cancel()
			}
		}}
		var out []sent
		c := newCursor(t, held(), Practice{Passes: []Pass{{To: 3840, CountIn: 1}}, Repeat: Forever}, 1_000_000)
		err := NewDriver(c, clock, func(m []byte) error {
			s := sent{At: int64(clock.now)}
			copy(s.Msg[:], m)
			out = append(out, s)
			return nil
		}).Run(ctx)
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%v: %v", when, err)
		}
		balanced(t, out)
		var silent []string
		for _, s := range out {
			if s.Msg[0]&0xF0 == statusControl {
				silent = append(silent, fmt.Sprintf("%d:%d", channel(s.Msg)+1, s.Msg[1]))
			}
		}
		if got, want := strings.Join(silent, " "), "1:123 1:120 6:123 6:120 10:123 10:120"; got != want {
			t.Errorf("%v: silenced %s, want %s", when, got, want)
		}
		if clock.now > when+driveAhead {
			t.Errorf("%v: returned at %v", when, clock.now)
		}
	}
}

// Orders given while it plays come through within a moment.
func TestDriveOrders(t *testing.T) {
	c := newCursor(t, held(), Practice{Passes: []Pass{{To: 3840, CountIn: 1}}, Repeat: Forever}, 1_000_000)
	other, err := Prepare(held(), Practice{Passes: []Pass{{From: 3840, To: 4800, Tail: 2880}}, Repeat: Forever}, c.Rate())
	if err != nil {
		t.Fatal(err)
	}
	orders := []struct {
		when time.Duration
		Order
	}{
		{2300 * time.Millisecond, Order{Kind: Again}}, // the count-in lasts 2 s
		{4500 * time.Millisecond, Order{Kind: Switch, To: other}},
		{5 * time.Second, Order{Kind: Stop}},
	}
	clock := &fakeClock{}
	clock.at = func(now time.Duration) {
		for len(orders) > 0 && now >= orders[0].when {
			c.Send(orders[0].Order)
			orders = orders[1:]
		}
	}
	var out []sent
	err = NewDriver(c, clock, func(m []byte) error {
		s := sent{At: int64(clock.now)}
		copy(s.Msg[:], m)
		if channel(s.Msg) != clickChannel {
			out = append(out, s)
		}
		return nil
	}).Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	balanced(t, out)
	var got []string
	for _, s := range out {
		got = append(got, fmt.Sprintf("%v %s %v", time.Duration(s.At).Round(10*time.Millisecond), keyName(int(s.Msg[1])), isOn(s.Msg)))
	}
	want := []string{"2s E4 true", "2.3s E4 false", "4.3s E4 true", "4.5s E4 false", "4.5s F#4 true", "5s F#4 false"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestDriveSendFails(t *testing.T) {
	broken := errors.New("unplugged")
	n := 0
	c := newCursor(t, held(), Once(Pass{}), 1_000_000)
	err := NewDriver(c, &fakeClock{}, func([]byte) error {
		if n++; n >= 3 {
			return broken
		}
		return nil
	}).Run(context.Background())
	if !errors.Is(err, broken) {
		t.Errorf("%v, want %v", err, broken)
	}
}
