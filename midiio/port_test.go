package midiio

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/big"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"gitlab.com/gomidi/midi/v2/smf"
	"pgregory.net/rapid"

	"thumbline/voicing"
)

// portTune has all that a file can say exactly: swing, a rubato of tempi that
// are whole microseconds a quarter, no nudges.
func portTune() *Sequence {
	a := gateLatch()
	a.Tempi = []voicing.TempoMark{{BPM: 150}, {At: 4800, BPM: 96}, {At: 4801, BPM: 125}, {At: 12480, BPM: 62.5}}
	return Perform(a, PerformOptions{NoSpread: true})
}

// fileEvent is a channel message of a MIDI file.
type fileEvent struct {
	tick int64
	msg  []byte
}

// fileTimes reads a MIDI file with a library that is not ours, and sums up its
// tempo map.
func fileTimes(t testing.TB, s *Sequence) (evs []fileEvent, micros func(tick int64) *big.Rat) {
	t.Helper()
	var buf bytes.Buffer
	if err := WriteSMF(&buf, s); err != nil {
		t.Fatal(err)
	}
	f, err := smf.ReadFrom(&buf)
	if err != nil {
		t.Fatal(err)
	}
	type tempo struct{ tick, us int64 }
	tempi := []tempo{{0, 500_000}}
	tick := int64(0)
	for _, e := range f.Tracks[0] {
		tick += int64(e.Delta)
		if b := e.Message.Bytes(); len(b) == 6 && b[0] == 0xFF && b[1] == 0x51 {
			tempi = append(tempi, tempo{tick, int64(b[3])<<16 | int64(b[4])<<8 | int64(b[5])})
		}
	}
	micros = func(tick int64) *big.Rat {
		sum := new(big.Rat)
		for i, m := range tempi {
			to := tick
			if i+1 < len(tempi) {
				to = min(to, tempi[i+1].tick)
			}
			if to > m.tick {
				sum.Add(sum, big.NewRat((to-m.tick)*m.us, int64(PerQuarter)))
			}
		}
		return sum
	}
	for _, tr := range f.Tracks[1:] {
		tick := int64(0)
		for _, e := range tr {
			tick += int64(e.Delta)
			if b := e.Message.Bytes(); b[0] < 0xF0 {
				evs = append(evs, fileEvent{tick, b})
			}
		}
	}
	return evs, micros
}

// Over a thousand passes with a ramp every message leaves at the microsecond
// that the file's tempo map says, MIDI clock too, and those of a pass in the
// order of the performance.
func TestDriverKeepsTheTempoMap(t *testing.T) {
	const passes = 1000
	odd := Perform(gateLatch(), PerformOptions{}) // 140 a minute are no whole microseconds, and nudges are rounded to ticks
	var buf bytes.Buffer
	if err := WriteSMF(&buf, odd); err != nil {
		t.Fatal(err)
	}
	read, err := ReadSMF(&buf)
	if err != nil {
		t.Fatal(err)
	}
	percents, err := Percents(150, 400, 23)
	if err != nil {
		t.Fatal(err)
	}
	type heard struct {
		us  int64
		msg [3]byte
	}
	const second = int64(time.Second / time.Microsecond)
	for _, c := range []struct {
		name  string
		s     *Sequence
		count int64 // ticks of a count-in of one bar
	}{
		{"performed", portTune(), 2880}, // a pick-up of a beat belongs to it
		{"read from a file", read, 960}, // where it is a bar of 1/4
	} {
		evs, micros := fileTimes(t, c.s)
		if len(evs) < 50 {
			t.Fatalf("%s: %d messages in the file", c.name, len(evs))
		}
		p := Practice{Passes: ramp(Pass{CountIn: 1}, percents...), Clock: true}
		p.Passes[len(percents)-1].Times = passes - len(percents) + 1
		clock := &fakeClock{now: time.Hour}
		var got []heard
		err := NewDriver(newCursor(t, c.s, p, int(second)), clock, func(m []byte) error {
			h := heard{us: (clock.now - time.Hour).Microseconds()}
			if copy(h.msg[:], m); isTime(h.msg) || channel(h.msg) != clickChannel {
				got = append(got, h)
			}
			return nil
		}).Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}

		// What is to come, computed otherwise: of each step of the ramp once.
		type step struct {
			length      *big.Rat
			clocks, evs []int64
		}
		var steps []step
		for _, f := range percents {
			scaled := func(tick int64) *big.Rat { return new(big.Rat).Quo(micros(tick), exact(f)) }
			st := step{length: scaled(int64(c.s.End))}
			for tick := int64(0); tick < int64(c.s.End); tick += 40 {
				st.clocks = append(st.clocks, round(scaled(tick)))
			}
			for _, e := range evs {
				st.evs = append(st.evs, round(scaled(e.tick)))
			}
			steps = append(steps, st)
		}
		var want []heard
		say := func(us int64, msg ...byte) {
			h := heard{us: us}
			copy(h.msg[:], msg)
			want = append(want, h)
		}
		tick := new(big.Rat).Quo(micros(1), exact(percents[0])) // in the count-in
		for n := range c.count / 40 {
			say(round(new(big.Rat).Mul(tick, big.NewRat(n*40, 1))), 0xF8)
		}
		sum := new(big.Rat).Mul(tick, big.NewRat(c.count, 1))
		start := int64(0)
		for k := range passes {
			st := steps[min(k, len(steps)-1)]
			start = round(sum)
			sum.Add(sum, st.length)
			if k == 0 {
				say(start-2000, 0xFA)
			} else {
				say(start, 0xFC)
				say(start, 0xFA)
			}
			for _, us := range st.clocks {
				say(start+us, 0xF8)
			}
			for i, e := range evs {
				switch {
				case e.tick == int64(c.s.End) && k < passes-1: // what ends with the pass ends at the seam at the latest
					say(min(start+st.evs[i], round(sum)), e.msg...)
				case k == 0 || e.msg[0]&0xF0 != 0xC0:
					say(start+st.evs[i], e.msg...)
				}
			}
		}
		say(start+round(steps[len(steps)-1].length), 0xFC)

		// The first pass, in the order of the sequence; what ends at the seam may
		// end in another one.
		var first, performed [][3]byte
		for _, e := range c.s.Events {
			if e.Tick < c.s.End {
				performed = append(performed, e.Msg)
			}
		}
		for _, h := range got {
			if !isTime(h.msg) && len(first) < len(performed) {
				first = append(first, h.msg)
			}
		}
		if d := gocmp.Diff(performed, first); d != "" {
			t.Errorf("%s (-performed +sent):\n%s", c.name, d)
		}

		if len(got) != len(want) || len(want) < passes*50 {
			t.Fatalf("%s: %d messages, want %d", c.name, len(got), len(want))
		}
		for _, hs := range [][]heard{got, want} {
			slices.SortStableFunc(hs, func(a, b heard) int { return cmp.Or(cmp.Compare(a.us, b.us), bytes.Compare(a.msg[:], b.msg[:])) })
		}
		for i := range want {
			if want[i] != got[i] {
				t.Fatalf("%s: message %d is % X at %d us, want % X at %d", c.name, i, got[i].msg, got[i].us, want[i].msg, want[i].us)
			}
		}
	}
}

// gear is what hangs on a port: it knows what it hears.
type gear struct {
	struck  [16][128]int
	mark    [16]int // the last note-on of a channel, of all messages
	n       int
	hushed  [16][2]int // CC 123 and 120: the number of the last one
	bent    [16]bool
	held    [16]bool // by the sustain pedal
	clocked bool
	broken  bool // sending has failed, or panicked: one may end what has not arrived
	fault   error
}

func (g *gear) take(m []byte) {
	g.n++
	if m[0] >= 0xF0 {
		switch m[0] {
		case 0xFA, 0xFB:
			g.clocked = true
		case 0xFC:
			g.clocked = false
		}
		return
	}
	ch := m[0] & 0x0F
	switch {
	case m[0]&0xF0 == 0x90 && m[2] > 0:
		if g.struck[ch][m[1]]++; g.struck[ch][m[1]] > 1 && g.fault == nil {
			g.fault = fmt.Errorf("key %d of channel %d is struck while it sounds", m[1], ch+1)
		}
		g.mark[ch] = g.n
	case m[0]&0xF0 == 0x80:
		g.struck[ch][m[1]]--
		if g.struck[ch][m[1]] < 0 && g.broken {
			g.struck[ch][m[1]] = 0
		}
		if g.struck[ch][m[1]] < 0 && g.fault == nil {
			g.fault = fmt.Errorf("key %d of channel %d is ended and does not sound", m[1], ch+1)
		}
		g.mark[ch] = g.n
	case m[0]&0xF0 == 0xB0 && m[1] == 64:
		g.held[ch] = m[2] >= 64
	case m[0]&0xF0 == 0xB0 && m[1] == 123:
		if g.held[ch] && g.fault == nil {
			g.fault = fmt.Errorf("channel %d is told all notes off while its pedal is down", ch+1)
		}
		g.hushed[ch][0] = g.n
	case m[0]&0xF0 == 0xB0 && m[1] == 120:
		g.hushed[ch][1] = g.n
	case m[0]&0xF0 == 0xE0:
		g.bent[ch] = m[1] != 0 || m[2] != 64
	}
}

// silent is what is wrong when everything should be over: what sounds, and
// if it was cut short what was not told to be silent after its last note. Tidy is
// what nobody should find bent or on the pedal afterwards.
func (g *gear) silent(cut, tidy bool) error {
	if g.fault != nil {
		return g.fault
	}
	for ch := range g.struck {
		for key, n := range g.struck[ch] {
			if n != 0 {
				return fmt.Errorf("key %d of channel %d sounds", key, ch+1)
			}
		}
		if cut && g.mark[ch] > min(g.hushed[ch][0], g.hushed[ch][1]) {
			return fmt.Errorf("channel %d has sounded and was not told to be silent", ch+1)
		}
		if tidy && g.bent[ch] {
			return fmt.Errorf("channel %d is bent", ch+1)
		}
		if tidy && g.held[ch] {
			return fmt.Errorf("the pedal of channel %d is down", ch+1)
		}
	}
	if g.clocked {
		return errors.New("the follower runs")
	}
	return nil
}

// Interrupted whenever and however, with all there is, also with every channel
// on one: nothing sounds.
func TestDriverSilences(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const rate = 1_000_000
		s := Perform(genArrangement(t), PerformOptions{Click: rapid.Bool().Draw(t, "click")})
		for range rapid.IntRange(0, 3).Draw(t, "bends") {
			s.Events = append(s.Events, Event{Tick: Tick(rapid.IntRange(0, int(s.End)).Draw(t, "bend")), Msg: [3]byte{statusBend | byte(rapid.IntRange(0, 5).Draw(t, "bent")), 0, byte(rapid.IntRange(60, 70).Draw(t, "by"))}})
		}
		for range rapid.IntRange(0, 3).Draw(t, "pedals") {
			s.Events = append(s.Events, Event{Tick: Tick(rapid.IntRange(0, int(s.End)).Draw(t, "pedal")), Msg: [3]byte{statusControl | byte(rapid.IntRange(0, 5).Draw(t, "held")), 64, byte(rapid.IntRange(0, 127).Draw(t, "depth"))}})
		}
		sortEvents(s.Events)
		s = BendRange(s)
		p := genRow(t, s)
		p.Clock = rapid.Bool().Draw(t, "clock")
		to, err := Prepare(s, genRow(t, s), rate)
		if err != nil {
			t.Fatal(err)
		}
		c, err := NewCursor(s, p, rate)
		if err != nil {
			t.Fatal(err)
		}
		c.Hush = rapid.Bool().Draw(t, "hush")
		for _, o := range genOrders(t, rate, to) {
			c.Send(o)
		}
		g := &gear{}
		var routed [16]int
		for ch := range routed {
			switch rapid.SampledFrom([]string{"one", "one", "itself", "any"}).Draw(t, "route") {
			case "itself":
				routed[ch] = ch
			case "any":
				routed[ch] = rapid.IntRange(0, 15).Draw(t, "to")
			}
		}
		failing := errors.New("broken")
		sends := 0
		when := time.Duration(rapid.IntRange(0, 6_000_000).Draw(t, "when")) * time.Microsecond
		how := rapid.SampledFrom([]string{"between", "sending", "failing", "panic", "never"}).Draw(t, "how")
		at := rapid.IntRange(0, 300).Draw(t, "message")
		arrives := rapid.Bool().Draw(t, "arrives")
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		clock := &fakeClock{at: func(now time.Duration) {
			if how == "between" && now >= when {
				cancel()
			}
		}}
		d := NewDriver(c, clock, Route(routed, rapid.Bool().Draw(t, "programs"), func(m []byte) error {
			if sends++; sends == at+1 {
				switch how {
				case "sending":
					cancel()
				case "failing":
					if g.broken = true; arrives {
						g.take(m)
					}
					return failing
				case "panic":
					if g.broken = true; arrives { // or halfway through a key that is struck again
						g.take(m)
					}
					panic(failing)
				}
			}
			g.take(m)
			return nil
		}))
		func() {
			defer func() {
				if r := recover(); r != nil {
					err, _ = r.(error)
				}
			}()
			err = d.Run(ctx)
		}()
		if err != nil && !errors.Is(err, context.Canceled) && err != failing {
			t.Fatal(err)
		}
		if err := g.silent(err != nil, err != nil || c.Hush); err != nil {
			t.Fatal(err)
		}
		if how == "between" && clock.now > when+driveAhead {
			t.Fatalf("it ended at %v, asked for at %v", clock.now, when)
		}
	})
}

// Notes struck live go to a port as well, within the time an order takes.
func TestDriverOfLive(t *testing.T) {
	l := NewLive(1_000_000)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	struck := false
	clock := &fakeClock{at: func(now time.Duration) {
		if !struck && now >= time.Second {
			struck = l.Strike(grip(40, 15*ms))
		}
		if now >= 2*time.Second {
			cancel()
		}
	}}
	g := &gear{}
	var at []time.Duration
	err := NewDriver(l, clock, func(m []byte) error {
		if g.take(m); m[0]&0xF0 == 0x90 {
			at = append(at, clock.now-time.Second)
		}
		return nil
	}).Run(ctx)
	if !errors.Is(err, context.Canceled) || len(at) != 3 || at[0] > driveAhead || at[1]-at[0] != 15*ms || at[2]-at[1] != 15*ms {
		t.Errorf("%v, struck at %v", err, at)
	}
	if err := g.silent(true, true); err != nil {
		t.Error(err)
	}
}

// A port that takes nothing more is asked once more, not for each note.
func TestDriverGivesUp(t *testing.T) {
	c := newCursor(t, held(), Once(Pass{}), 1_000_000)
	sends := 0
	gone := fmt.Errorf("port %q %w", "X", ErrPortGone)
	err := NewDriver(c, &fakeClock{}, func([]byte) error {
		if sends++; sends >= 3 {
			return gone
		}
		return nil
	}).Run(context.Background())
	if err != gone || sends != 4 {
		t.Errorf("%v after %d messages, want %v after 4", err, sends, gone)
	}
}

// A message may arrive although sending it has failed: a slow receiver takes it
// in the end.
func TestDriverEndsWhatMayHaveArrived(t *testing.T) {
	for _, c := range []struct {
		name  string
		fails byte // status
		want  string
	}{
		{"a note", 0x90, "90 40 50, 80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
		{"start", 0xFA, "FA, FC, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
		{"the end of a note: it may not have", 0x80, "90 40 50, 80 40 40, 80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
		{"stop: it may not have", 0xFC, "F8, FC, FC, 80 43 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
	} {
		var got []string
		failed := false
		p := Once(Pass{})
		p.Clock = c.fails > 0xF0
		err := NewDriver(newCursor(t, held(), p, 1_000_000), &fakeClock{}, func(m []byte) error {
			got = append(got, fmt.Sprintf("% X", m))
			if m[0] != c.fails || failed {
				return nil
			}
			failed = true
			return ErrPortStuck
		}).Run(context.Background())
		if g := strings.Join(got, ", "); err != ErrPortStuck || !strings.HasSuffix(g, c.want) {
			t.Errorf("%s: %v, %s, want %s", c.name, err, g, c.want)
		}
	}
}

// Hushed, it lets go of what sounds and goes on with what comes; it says when that
// is sent.
func TestDriverHush(t *testing.T) {
	notes := &rows{{0, [3]byte{0x91, 60, 80}}, {1, [3]byte{0x91, 64, 80}}, {2, [3]byte{0x81, 60, 64}}, {3, [3]byte{0xF8}}, {4, [3]byte{0xB1, 64, 127}}, {12, [3]byte{0x92, 70, 1}}}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	clock := &fakeClock{}
	var got []string
	d := NewDriver(notes, clock, func(m []byte) error {
		got = append(got, fmt.Sprintf("%d:% x", clock.now.Milliseconds(), m))
		return nil
	})
	var first, second <-chan struct{}
	isSent := func(sent <-chan struct{}) bool {
		select {
		case <-sent:
			return true
		default:
			return false
		}
	}
	clock.at = func(now time.Duration) {
		switch ms := now.Milliseconds(); {
		case ms >= 30:
			cancel()
		case ms >= 20 && second == nil:
			if !isSent(first) {
				t.Error("what was let go is not called sent")
			}
			second = d.Hush()
		case ms >= 5 && first == nil:
			if first = d.Hush(); isSent(first) {
				t.Error("what was asked for just now is called sent")
			}
		}
	}
	if err := d.Run(ctx); err != context.Canceled {
		t.Fatal(err)
	}
	// Each within the 5 ms that an order takes at most.
	want := "0:91 3c 50|1:91 40 50|2:81 3c 40|3:f8|4:b1 40 7f|7:81 40 40|7:b1 40 00|7:b1 7b 00|7:b1 78 00|12:92 46 01|22:82 46 40|22:b1 7b 00|22:b1 78 00|22:b2 7b 00|22:b2 78 00"
	if g := strings.Join(got, "|"); g != want {
		t.Errorf("%s, want\n%s", g, want)
	}
}

// rows are a feed of messages.
type rows []struct {
	at  int64
	msg [3]byte
}

func (r *rows) Rate() int { return 1000 }

func (r *rows) Fill(until int64, emit func(int64, [3]byte)) bool {
	for len(*r) > 0 && (*r)[0].at < until {
		emit((*r)[0].at, (*r)[0].msg)
		*r = (*r)[1:]
	}
	return true
}

func (r *rows) Silence(func([3]byte)) {}

// After a stall the music goes on where it was: no bars in one stroke.
func TestDriverStalls(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     time.Duration // the wait for this moment returns late
		late   time.Duration
		want   string
		stalls int64
	}{
		{"none", 0, 0, "0s 500ms 1s 2s 2.5s 3s 3.5s 4s", 0},
		{"a little: it catches up", 900 * time.Millisecond, 250 * time.Millisecond, "0s 500ms 1.15s 2s 2.5s 3s 3.5s 4s", 0},
		{"a little more: it does not", 900 * time.Millisecond, 260 * time.Millisecond, "0s 500ms 1.26s 2.26s 2.76s 3.26s 3.76s 4.26s", 1},
		{"slept while it waited", 1500 * time.Millisecond, time.Hour, "0s 500ms 1s 1h0m2s 1h0m2.5s 1h0m3s 1h0m3.5s 1h0m4s", 1},
		{"slept before a message", time.Second, time.Hour, "0s 500ms 1h0m1s 1h0m2s 1h0m2.5s 1h0m3s 1h0m3.5s 1h0m4s", 1},
	} {
		clock := &fakeClock{}
		slept := false
		clock.late = func(moment time.Duration) time.Duration {
			if slept || c.late == 0 || moment < c.at {
				return 0
			}
			slept = true
			return c.late + c.at - moment
		}
		var got []string
		cur := newCursor(t, held(), Once(Pass{}), 1_000_000)
		d := NewDriver(cur, clock, func(m []byte) error {
			got = append(got, clock.now.Round(10*time.Millisecond).String())
			return nil
		})
		if err := d.Run(context.Background()); err != nil {
			t.Fatal(err)
		}
		if g, n := strings.Join(got, " "), d.Lateness().Stalls; g != c.want || n != c.stalls {
			t.Errorf("%s: %s with %d stalls, want %s with %d", c.name, g, n, c.want, c.stalls)
		}
	}
}

// A clockRow is a feed of clocks at the frames given.
type clockRow []int64

func (r *clockRow) Rate() int             { return 1_000_000 }
func (r *clockRow) Silence(func([3]byte)) {}
func (r *clockRow) Fill(until int64, emit func(int64, [3]byte)) bool {
	for len(*r) > 0 && (*r)[0] < until {
		emit((*r)[0], [3]byte{msgClock})
		*r = (*r)[1:]
	}
	return len(*r) > 0
}

// Nor is what is close together sent in one stroke then.
func TestDriverStallsAmongMessages(t *testing.T) {
	slept := false
	clock := &fakeClock{late: func(moment time.Duration) time.Duration {
		if slept || moment < time.Millisecond {
			return 0
		}
		slept = true
		return time.Hour
	}}
	var at []time.Duration
	d := NewDriver(&clockRow{1000, 1500, 2000}, clock, func([]byte) error { at = append(at, clock.now-time.Hour); return nil })
	if err := d.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if want := []time.Duration{time.Millisecond, 1500 * time.Microsecond, 2 * time.Millisecond}; !slices.Equal(at, want) {
		t.Errorf("sent at an hour and %v, want %v", at, want)
	}
	if l := d.Lateness(); l.Stalls != 1 || l.Median > time.Millisecond || l.Most != time.Hour {
		t.Errorf("%+v", l)
	}
}

func TestLateness(t *testing.T) {
	var l lateCounts
	if got := l.sum(); got != (Lateness{}) {
		t.Errorf("of nothing: %+v", got)
	}
	for us := range 100 {
		l.count(time.Duration(us)*time.Microsecond - 400) // 0, 0.6, 1.6 ... 98.6
	}
	want := Lateness{Count: 100, Median: 49 * time.Microsecond, P99: 98 * time.Microsecond, Most: 99 * time.Microsecond}
	if got := l.sum(); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	for range 100 {
		l.count(12345 * time.Microsecond)
	}
	l.count(2 * time.Hour)
	l.count(-time.Hour)
	l.stalls.Add(1)
	want = Lateness{Count: 202, Median: 99 * time.Microsecond, P99: 13 * time.Millisecond, Most: 2 * time.Hour, Stalls: 1}
	if got := l.sum(); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	var one lateCounts
	one.count(2 * time.Hour)
	want = Lateness{Count: 1, Median: 2 * time.Hour, P99: 2 * time.Hour, Most: 2 * time.Hour}
	if got := one.sum(); got != want {
		t.Errorf("of one: %+v, want %+v", got, want)
	}
}

// An askedFeed remembers how far it was asked for.
type askedFeed struct {
	Feed
	until int64
}

func (a *askedFeed) Fill(until int64, emit func(int64, [3]byte)) bool {
	a.until = until
	return a.Feed.Fill(until, emit)
}

func TestDriverFrames(t *testing.T) {
	c := newCursor(t, held(), Once(Pass{}), 1_000_000)
	clock := &fakeClock{now: time.Hour}
	var d *Driver
	n := 0
	feed := &askedFeed{Feed: c}
	d = NewDriver(feed, clock, func([]byte) error {
		n++
		if f := d.Frame(); f != (clock.now - time.Hour).Microseconds() {
			t.Errorf("frame %d at %v", f, clock.now)
		}
		if ahead := time.Duration(d.Obeyed()-d.Frame()) * time.Microsecond; ahead < 0 || ahead > driveAhead {
			t.Errorf("an order is obeyed %v later", ahead)
		}
		if d.Obeyed() < feed.until {
			t.Errorf("an order is to be obeyed at %d, the feed was asked up to %d", d.Obeyed(), feed.until)
		}
		return nil
	})
	if d.Frame() != 0 || d.Obeyed() != 0 {
		t.Error("frames before the start")
	}
	if err := d.Run(context.Background()); err != nil || n == 0 {
		t.Fatal(err)
	}
	clock.now += time.Hour
	if pos, ok := c.Position(d.Frame()); !ok || !pos.Done {
		t.Errorf("at the end: %+v", pos)
	}
}

func TestDriverAllocatesNothing(t *testing.T) {
	var ds []*Driver
	n := 0
	for range 2 { // AllocsPerRun runs once more than it is told to
		c := everyday(t, true)
		c.Send(Order{Kind: Stop, At: 100_000_000}) // after half an hour; cut short it may allocate
		ds = append(ds, NewDriver(c, &fakeClock{}, Route([16]int{}, false, func([]byte) error { n++; return nil })))
	}
	allocs := testing.AllocsPerRun(1, func() {
		d := ds[0]
		ds = ds[1:]
		if err := d.Run(context.Background()); err != nil {
			t.Error(err)
		}
	})
	if allocs > 0 || n < 10_000 {
		t.Errorf("%g allocations in %d messages", allocs, n)
	}
}

// In real time, with orders from elsewhere; the race detector listens. Nothing is
// left afterwards.
func TestDriverInRealTime(t *testing.T) {
	before := runtime.NumGoroutine()
	p := Practice{Passes: []Pass{{Scale: 4}}, Repeat: Forever, Clock: true}
	c := newCursor(t, Perform(gateLatch(), PerformOptions{}), p, 1_000_000)
	c.Hush = true
	g := &gear{}
	clock := SystemClock()
	d := NewDriver(c, clock, func(m []byte) error { g.take(m); return nil })
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range 200 {
			c.Send(Order{Kind: [...]OrderKind{Pause, Resume, Next, Mute, Unmute, Tempo}[i%6], Layers: Layers(Inner), Factor: 1.01})
			if f := d.Frame(); f > d.Obeyed() {
				t.Errorf("frame %d, obeyed from %d", f, d.Obeyed())
			}
			c.Position(d.Frame())
			d.Lateness()
			clock.Now()
			time.Sleep(time.Millisecond)
		}
		cancel()
	})
	err := d.Run(ctx)
	at := time.Now()
	wg.Wait()
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if err := g.silent(true, true); err != nil {
		t.Error(err)
	}
	if l := d.Lateness(); l.Count == 0 || l.P99 < l.Median || l.Most < l.P99 {
		t.Errorf("lateness %+v", l)
	}
	for runtime.NumGoroutine() > before && time.Since(at) < 5*time.Second {
		time.Sleep(time.Millisecond)
	}
	if n := runtime.NumGoroutine(); n > before {
		t.Errorf("%d goroutines, %d before", n, before)
	}
}

func TestSystemClock(t *testing.T) {
	c := SystemClock()
	for range 3 {
		due := c.Now() + 3*time.Millisecond
		if err := c.Until(context.Background(), due); err != nil || c.Now() < due {
			t.Errorf("%v at %v, due %v", err, c.Now(), due)
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Millisecond)
	defer cancel()
	if err := c.Until(ctx, c.Now()+time.Hour); !errors.Is(err, context.DeadlineExceeded) {
		t.Error(err)
	}
	if err := c.Until(ctx, 0); err == nil { // also where nothing is to be waited for
		t.Error("a context that is done")
	}
	if err := c.Until(context.Background(), 0); err != nil {
		t.Error(err)
	}
}

func TestRoute(t *testing.T) {
	for _, c := range []struct {
		name     string
		to       map[int]int // the others to themselves
		programs bool
		in, want string
	}{
		{"another block", map[int]int{0: 10, 5: 15}, true, "90 40 50/C0 1A/85 40 40/E1 00 40", "9A 40 50/CA 1A/8F 40 40/E1 00 40"},
		{"the lowest four bits count", map[int]int{0: 0x1A}, true, "90 40 50/80 40 40", "9A 40 50/8A 40 40"},
		{"without what chooses a sound", nil, false, "B0 00 01/B0 20 02/C0 1A/B0 07 64/90 40 50", "B0 07 64/90 40 50"},
		{"a key twice on one channel", map[int]int{1: 0}, true, "90 40 50/91 40 51/80 40 40/90 41 50/81 40 40", "90 40 50/80 40 40/90 40 51/90 41 50/80 40 40"},
		{"again and again", nil, true, "90 40 50/80 40 40/90 40 51/80 40 40", "90 40 50/80 40 40/90 40 51/80 40 40"},
		{"three times", map[int]int{1: 0, 2: 0}, true, "90 40 50/91 40 51/92 40 52/90 40 00/91 40 00/92 40 00", "90 40 50/80 40 40/90 40 51/80 40 40/90 40 52/90 40 00"},
		{"silenced once", map[int]int{1: 0}, true, "90 40 50/B0 7B 00/B0 78 00/B1 7B 00/B1 78 00/91 40 50/B1 7B 00/B0 7B 00", "90 40 50/B0 7B 00/B0 78 00/90 40 50/B0 7B 00"},
		{"struck after the silence", map[int]int{1: 0}, true, "90 40 50/91 40 50/B0 7B 00/90 40 50", "90 40 50/80 40 40/90 40 50/B0 7B 00/90 40 50"},
		{"without a channel", map[int]int{8: 0}, false, "F8/FA/F2 10 00/FC/FB", "F8/FA/F2 10 00/FC/FB"},
	} {
		var to [16]int
		for ch := range to {
			to[ch] = ch
			if n, ok := c.to[ch]; ok {
				to[ch] = n
			}
		}
		var got []string
		send := Route(to, c.programs, func(m []byte) error { got = append(got, fmt.Sprintf("% X", m)); return nil })
		for _, line := range strings.Split(c.in, "/") {
			var m []byte
			for _, f := range strings.Fields(line) {
				var b byte
				fmt.Sscanf(f, "%X", &b)
				m = append(m, b)
			}
			if err := send(m); err != nil {
				t.Fatal(err)
			}
		}
		if g := strings.Join(got, "/"); g != c.want {
			t.Errorf("%s:\n%s, want\n%s", c.name, g, c.want)
		}
	}
	broken := errors.New("broken")
	for _, m := range []string{"\x90\x40\x40", "\xF8", "\xB0\x7B\x00", "\x80\x40\x40", "\xC0\x1A"} {
		if err := Route([16]int{}, true, func([]byte) error { return broken })([]byte(m)); err != broken {
			t.Errorf("% X: %v", m, err)
		}
	}
}

func TestHush(t *testing.T) {
	for _, c := range []struct {
		order Order
		want  string
	}{
		{Order{Kind: Mute, Layers: AllLayers}, "80 40 40"},
		{Order{Kind: Pause}, "80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
		{Order{Kind: Stop}, "80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00"},
		{Order{Kind: Next}, "80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00, 90 42 50"},
		{Order{Kind: Again}, "80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00, 90 40 50"},
		{Order{Kind: Switch}, "80 40 40, B0 7B 00, B0 78 00, B5 7B 00, B5 78 00, 90 40 50"},
		{Order{Kind: Resume}, ""},
	} {
		p := Practice{Passes: []Pass{{To: 3840}, {From: 3840}}}
		cur := newCursor(t, held(), p, 1000)
		cur.Hush = true
		c.order.At = 100
		if c.order.Kind == Switch {
			var err error
			if c.order.To, err = Prepare(held(), p, 1000); err != nil {
				t.Fatal(err)
			}
		}
		cur.Send(c.order)
		var got []string
		for _, m := range runCursor(cur, 10, 110) {
			if m.At > 0 {
				got = append(got, fmt.Sprintf("% X", m.Msg))
			}
		}
		if g := strings.Join(got, ", "); g != c.want {
			t.Errorf("%d: %s, want %s", c.order.Kind, g, c.want)
		}
	}
}

// Where the music is left, no bend is left behind; what comes tells its own.
func TestHushBend(t *testing.T) {
	s := held()
	s.Events = append(s.Events, Event{10, 0, Melody, [3]byte{0xE0, 0, 0x30}}, Event{3800, 0, Melody, [3]byte{0xE0, 0, 0x50}})
	sortEvents(s.Events)
	for _, c := range []struct {
		kind OrderKind
		hush bool
		want string
	}{
		{Next, false, "E0 00 30, E0 00 50"}, // of the pass that begins
		{Next, true, "E0 00 30, E0 00 40, E0 00 50"},
		{Again, true, "E0 00 30, E0 00 40, E0 00 30"},
		{Stop, true, "E0 00 30, E0 00 40"},
		{Pause, true, "E0 00 30"},
	} {
		cur := newCursor(t, s, Practice{Passes: []Pass{{To: 3840}, {From: 3840}}}, 1000)
		cur.Hush = c.hush
		cur.Send(Order{Kind: c.kind, At: 100})
		var got []string
		for _, m := range runCursor(cur, 10, 150) {
			if m.Msg[0] == 0xE0 {
				got = append(got, fmt.Sprintf("% X", m.Msg))
			}
		}
		if g := strings.Join(got, ", "); g != c.want {
			t.Errorf("%d with hush %v: %s, want %s", c.kind, c.hush, g, c.want)
		}
	}
}

// A pedal holds no note over a seam or an order, and is left to nobody.
func TestHushPedal(t *testing.T) {
	s := held() // two bars of 4/4 at 120
	s.Events = append(s.Events, Event{10, 0, Melody, [3]byte{0xB0, 64, 64}}, Event{3900, 0, Melody, [3]byte{0xB0, 64, 0x50}})
	sortEvents(s.Events)
	const down, up, quiet, off = "B0 40 40", "B0 40 00", "B0 7B 00", "80 40 40"
	for _, c := range []struct {
		name   string
		hush   bool
		p      Practice
		orders []Order
		until  int64
		want   []string
	}{
		{"nobody shares it: as it stands", false, Practice{Passes: []Pass{{To: 3840}, {From: 3840}}}, []Order{{Kind: Next, At: 100}}, 110, []string{down, off}},
		{"next, where it is down", true, Practice{Passes: []Pass{{To: 3840}, {From: 3840}}}, []Order{{Kind: Next, At: 100}}, 110, []string{down, off, up, quiet, down}},
		{"again, where it is up", true, Practice{Passes: []Pass{{To: 3840}}}, []Order{{Kind: Again, At: 100}}, 101, []string{down, off, up, quiet}},
		{"stop", true, Practice{Passes: []Pass{{}}}, []Order{{Kind: Stop, At: 100}}, 101, []string{down, off, up, quiet}},
		{"a pause", true, Practice{Passes: []Pass{{}}}, []Order{{Kind: Pause, At: 100}, {Kind: Resume, At: 200}}, 201, []string{down, off, up, quiet, down}},
		{"one pause after the other", true, Practice{Passes: []Pass{{}}}, []Order{{Kind: Pause, At: 100}, {Kind: Pause, At: 110}, {Kind: Resume, At: 120}, {Kind: Resume, At: 130}}, 201, []string{down, off, up, quiet, down}},
		{"a pause that again ends", true, Practice{Passes: []Pass{{To: 3840}}}, []Order{{Kind: Pause, At: 100}, {Kind: Again, At: 200}, {Kind: Resume, At: 201}}, 202, []string{down, off, up, quiet, quiet}},
		{"a pause after it, where it is up", true, Practice{Passes: []Pass{{To: 3840}}}, []Order{{Kind: Pause, At: 100}, {Kind: Again, At: 200}, {Kind: Pause, At: 202}, {Kind: Resume, At: 203}}, 204, []string{down, off, up, quiet, quiet, off, quiet}},
		{"a seam and the end", true, Practice{Passes: []Pass{{To: 480, Times: 2}}}, nil, 1 << 40, []string{down, off, up, down, off, up}},
		{"straight on", true, Practice{Passes: []Pass{{To: 480}, {From: 480, To: 960}}}, nil, 1 << 40, []string{down, off, up, down, up}},
	} {
		cur := newCursor(t, s, c.p, 1000)
		cur.Hush = c.hush
		for _, o := range c.orders {
			cur.Send(o)
		}
		var got []string
		for _, m := range runCursor(cur, 10, c.until) {
			if g := fmt.Sprintf("% X", m.Msg); g == off || m.Msg[0] == 0xB0 && m.Msg[1] != 120 {
				got = append(got, g)
			}
		}
		if d := gocmp.Diff(c.want, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}

	// What has been handed out may not have gone out: the pedal is lifted also
	// where it has been lifted here.
	s.Events = append(s.Events, Event{1000, 0, Melody, [3]byte{0xB0, 64, 0}})
	sortEvents(s.Events)
	for _, until := range []int64{100, 600} {
		cur := newCursor(t, s, Once(Pass{}), 1000)
		runCursor(cur, 10, until)
		var got []string
		cur.Silence(func(m [3]byte) { got = append(got, fmt.Sprintf("% X", m)) })
		if i := slices.Index(got, up); i < 0 || i > slices.Index(got, quiet) {
			t.Errorf("silenced after %d ms: %s", until, strings.Join(got, ", "))
		}
	}
}

// A bend at the end of a pass is not carried to where the music jumps to.
func TestSeamBend(t *testing.T) {
	s := held()
	s.Events = append(s.Events, Event{300, 0, Melody, [3]byte{0xE0, 0, 0x50}})
	sortEvents(s.Events)
	for _, c := range []struct {
		name string
		p    Practice
		want string
	}{
		{"a loop and the end", Practice{Passes: []Pass{{To: 480, Times: 2}}}, "156 E0 00 50, 250 E0 00 40, 406 E0 00 50, 751 E0 00 40"}, // what rings on at the end rings bent
		{"straight on", Practice{Passes: []Pass{{To: 480}, {From: 480, To: 960}}}, "156 E0 00 50, 500 E0 00 40"},
		{"a count-in where it would go straight on", Practice{Passes: []Pass{{To: 480}, {From: 480, To: 960, CountIn: 1}}}, "156 E0 00 50, 250 E0 00 40, 500 E0 00 50, 750 E0 00 40"},
		{"the end, where the beginning would go straight on", Practice{Passes: []Pass{{From: 480, To: 960}, {To: 480}}}, "0 E0 00 50, 250 E0 00 40, 406 E0 00 50, 751 E0 00 40"},
	} {
		cur := newCursor(t, s, c.p, 1000)
		cur.Hush = true
		var got []string
		for _, m := range runCursor(cur, 10, 1<<40) {
			if m.Msg[0] == 0xE0 {
				got = append(got, fmt.Sprintf("%d % X", m.At, m.Msg))
			}
		}
		if g := strings.Join(got, ", "); g != c.want {
			t.Errorf("%s: %s, want %s", c.name, g, c.want)
		}
	}
}

func TestSilenceBend(t *testing.T) {
	s := &Sequence{End: 3840, Events: []Event{
		{0, 0, Melody, [3]byte{0xE0, 0, 0x40}}, {0, 0, Melody, [3]byte{0xE1, 0, 0x50}}, {10, 0, Melody, [3]byte{0xE1, 0, 0x40}},
		{20, 0, Melody, [3]byte{0xE2, 1, 0x40}}, {3000, 0, Melody, [3]byte{0xE3, 0, 0x50}},
	}}
	c := newCursor(t, s, Once(Pass{}), 1000)
	runCursor(c, 10, 1000)
	var got []string
	c.Silence(func(m [3]byte) { got = append(got, fmt.Sprintf("% X", m)) })
	want := "B0 7B 00, B0 78 00, B1 7B 00, B1 78 00, B2 7B 00, B2 78 00, B3 7B 00, B3 78 00, E1 00 40, E2 00 40"
	if g := strings.Join(got, ", "); g != want {
		t.Errorf("%s, want %s", g, want)
	}
}

func TestBendRange(t *testing.T) {
	cc := func(t Tick, ch, n, v byte) Event { return Event{t, 0, Bass, [3]byte{0xB0 | ch, n, v}} }
	bend := func(t Tick, ch byte) Event { return Event{t, 0, Bass, [3]byte{0xE0 | ch, 0, 0x50}} }
	said := "B3 65 00, B3 64 00, B3 06 02, B3 26 00, B3 65 7F, B3 64 7F, "
	for _, c := range []struct {
		name string
		evs  []Event
		want string
	}{
		{"no bend", []Event{cc(0, 3, 7, 100)}, "B3 07 64"},
		{"not said", []Event{cc(0, 3, 7, 100), bend(10, 3)}, said + "B3 07 64, E3 00 50"},
		{"said", []Event{cc(0, 3, 101, 0), cc(0, 3, 100, 0), cc(0, 3, 6, 12), bend(10, 3)}, "B3 65 00, B3 64 00, B3 06 0C, E3 00 50"},
		{"said too late", []Event{bend(10, 3), cc(20, 3, 101, 0), cc(20, 3, 100, 0), cc(20, 3, 6, 12), bend(30, 3)}, said + "E3 00 50, B3 65 00, B3 64 00, B3 06 0C, E3 00 50"},
		{"another parameter", []Event{cc(0, 3, 101, 0), cc(0, 3, 100, 1), cc(0, 3, 6, 64), bend(10, 3)}, said + "B3 65 00, B3 64 01, B3 06 40, E3 00 50"},
		{"one that is not registered", []Event{cc(0, 3, 101, 0), cc(0, 3, 100, 0), cc(0, 3, 99, 0), cc(0, 3, 6, 64), bend(10, 3)}, said + "B3 65 00, B3 64 00, B3 63 00, B3 06 40, E3 00 50"},
		{"the other half of its number", []Event{cc(0, 3, 101, 0), cc(0, 3, 100, 0), cc(0, 3, 98, 0), cc(0, 3, 6, 64), bend(10, 3)}, said + "B3 65 00, B3 64 00, B3 62 00, B3 06 40, E3 00 50"},
		{"after what ends at the beginning", []Event{{0, 0, Bass, noteOff(3, 60)}, bend(0, 3)}, "83 3C 40, " + said + "E3 00 50"},
		{"on another channel", []Event{cc(0, 2, 101, 0), cc(0, 2, 100, 0), cc(0, 2, 6, 12), bend(10, 3)}, said + "B2 65 00, B2 64 00, B2 06 0C, E3 00 50"},
	} {
		s := &Sequence{Title: "x", Events: slices.Clone(c.evs), End: 100}
		got := BendRange(s)
		var msgs []string
		for _, e := range got.Events {
			msgs = append(msgs, fmt.Sprintf("% X", e.Msg))
			if e.Layer != Bass {
				t.Errorf("%s: % X is of layer %d", c.name, e.Msg, e.Layer)
			}
		}
		if g := strings.Join(msgs, ", "); g != c.want {
			t.Errorf("%s:\n%s, want\n%s", c.name, g, c.want)
		}
		if d := gocmp.Diff(c.evs, s.Events); d != "" || got.Title != "x" || got.End != 100 {
			t.Errorf("%s: changed: %s", c.name, d)
		}
		if BendRange(got) != got {
			t.Errorf("%s: said twice", c.name)
		}
	}
}

// BenchmarkDriver plays the built-in kind of arrangement in real time, with MIDI
// clock, into a recorder, and says how late its messages were.
func BenchmarkDriver(b *testing.B) {
	for b.Loop() {
		p := Practice{Passes: []Pass{{Times: 2, CountIn: 1}}, Clock: true}
		c, err := NewCursor(Perform(gateLatchTrio(), PerformOptions{}), p, 1_000_000)
		if err != nil {
			b.Fatal(err)
		}
		got := make([][3]byte, 0, 1<<16)
		d := NewDriver(c, SystemClock(), func(m []byte) error {
			var x [3]byte
			copy(x[:], m)
			got = append(got, x)
			return nil
		})
		if err := d.Run(context.Background()); err != nil {
			b.Fatal(err)
		}
		l := d.Lateness()
		b.ReportMetric(float64(l.P99.Microseconds()), "p99-us")
		b.ReportMetric(float64(l.Most.Microseconds()), "max-us")
		b.ReportMetric(float64(l.Count), "messages")
	}
}
