package midiio

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thumbline/theory"
)

func isTime(m [3]byte) bool { return m[0] >= 0xF0 }

// clockStory is what a follower is sent, at quarters of 120 from the start: a
// number of clocks in a row with the first and the last, and what else there is.
func clockStory(out []sent, rate int64) string {
	var parts []string
	var run []int64
	quarter := func(at int64) string { return fmt.Sprintf("%.5g", float64(at)*2/float64(rate)) }
	flush := func() {
		if len(run) > 0 {
			parts = append(parts, fmt.Sprintf("%dx %s..%s", len(run), quarter(run[0]), quarter(run[len(run)-1])))
		}
		run = nil
	}
	for _, s := range out {
		if !isTime(s.Msg) {
			continue
		}
		if s.Msg[0] == msgClock {
			if n := len(run); n > 0 && s.At-run[n-1] > rate/4 {
				flush()
			}
			run = append(run, s.At)
			continue
		}
		flush()
		name := map[byte]string{msgStart: "start", msgContinue: "continue", msgStop: "stop"}[s.Msg[0]]
		if s.Msg[0] == msgPosition {
			name = fmt.Sprintf("to %d", int(s.Msg[1])|int(s.Msg[2])<<7)
		}
		parts = append(parts, name+" "+quarter(s.At))
	}
	flush()
	return strings.Join(parts, ", ")
}

func TestClock(t *testing.T) {
	s := held() // two bars of 4/4 at 120: a clock is 1/24 = 0.041667 quarters, 2 ms are 0.004
	at := func(quarter float64) int64 { return int64(quarter * 500_000) }
	for _, c := range []struct {
		name   string
		p      Practice
		orders []Order
		want   string
	}{
		{"from the start, counted in", Practice{Passes: []Pass{{CountIn: 1}}}, nil,
			"96x 0..3.9583, start 3.996, 192x 4..11.958, stop 12"},
		{"at once", Practice{Passes: []Pass{{}}}, nil, "start 0, 192x 0..7.9583, stop 8"},
		{"from the second bar: the place is told before the count-in", Practice{Passes: []Pass{{From: 3840, CountIn: 1}}}, nil,
			"to 16 0, 96x 0..3.9583, continue 3.996, 96x 4..7.9583, stop 8"},
		{"what goes straight on needs nothing", Practice{Passes: []Pass{{To: 3840, Times: 1}, {From: 3840, Scale: 2}}}, nil,
			"start 0, 192x 0..5.9792, stop 6"},
		{"a loop from the start", Practice{Passes: []Pass{{To: 1920, Times: 2}}}, nil,
			"start 0, 48x 0..1.9583, stop 2, start 2, 48x 2..3.9583, stop 4"},
		{"a loop from elsewhere", Practice{Passes: []Pass{{From: 3840, To: 4800, Times: 2}}}, nil,
			"to 16 0, continue 0, 24x 0..0.95833, stop 1, to 16 1, continue 1, 24x 1..1.9583, stop 2"},
		{"a rest between: it waits there", Practice{Passes: []Pass{{From: 3840, To: 4800, Tail: 960}, {From: 1920, To: 2880}}}, nil,
			"to 16 0, continue 0, 24x 0..0.95833, stop 1, to 8 1, 24x 1..1.9583, continue 1.996, 24x 2..2.9583, stop 3"},
		{"straight on after a rest", Practice{Passes: []Pass{{To: 960, Tail: 960}, {From: 960, To: 1920}}}, nil,
			"start 0, 24x 0..0.95833, stop 1, to 4 1, 24x 1..1.9583, continue 1.996, 24x 2..2.9583, stop 3"},
		{"counted in each time", Practice{Passes: []Pass{{To: 960, CountIn: 1, CountInEach: true, Times: 2}}}, nil,
			"96x 0..3.9583, start 3.996, 24x 4..4.9583, stop 5, 96x 5..8.9583, start 8.996, 24x 9..9.9583, stop 10"},
		{"counted in each time after a rest", Practice{Passes: []Pass{{To: 960, Tail: 960, CountIn: 1, CountInEach: true, Times: 2}}}, nil,
			"96x 0..3.9583, start 3.996, 24x 4..4.9583, stop 5, 120x 5..9.9583, start 9.996, 24x 10..10.958, stop 11, 24x 11..11.958"},
		{"a rest, then a count-in: the place is told once", Practice{Passes: []Pass{{To: 960, Tail: 960}, {From: 960, To: 1920, CountIn: 1}}}, nil,
			"start 0, 24x 0..0.95833, stop 1, to 4 1, 48x 1..2.9583, continue 2.996, 24x 3..3.9583, stop 4"},
		{"between two sixteenths: from the next one on", Practice{Passes: []Pass{{From: 1000, To: 1920, CountIn: 1}}}, nil,
			// The count-in ends where the pass begins, 1000 ticks into the bar.
			"to 5 0, 30x 0..1.2083, continue 1.246, 18x 1.25..1.9583, stop 2"},
		{"half a clock into the bar", Practice{Passes: []Pass{{From: 20, To: 500}}}, nil,
			"to 1 0, 5x 0.020834..0.1875, continue 0.22517, 7x 0.22917..0.47917, stop 0.5"},
		{"faster than one gets ready: between the clocks all the same", Practice{Passes: []Pass{{From: 20, To: 500, Scale: 64}}}, nil,
			"to 1 0, 5x 0.000326..0.00293, continue 0.002932, 7x 0.00358..0.007486, stop 0.007812"},
		{"no sixteenth in it", Practice{Passes: []Pass{{From: 250, To: 470}, {To: 240}}}, nil,
			"5x 0.03125..0.19792, start 0.22917, 6x 0.22917..0.4375, stop 0.47917"},
		{"a pause, then the next sixteenth", Practice{Passes: []Pass{{To: 1920}}}, []Order{{Kind: Pause, At: at(0.6)}, {Kind: Resume, At: at(1.6)}},
			"start 0, 15x 0..0.58333, stop 0.6, to 3 1.6, 3x 1.625..1.7083, continue 1.746, 30x 1.75..2.9583, stop 3"},
		{"a pause in the count-in", Practice{Passes: []Pass{{To: 240, CountIn: 1}}}, []Order{{Kind: Pause, At: at(0.6)}, {Kind: Resume, At: at(1.6)}},
			"15x 0..0.58333, 81x 1.625..4.9583, start 4.996, 6x 5..5.2083, stop 5.25"},
		{"a pause between start and the first clock", Practice{Passes: []Pass{{To: 240, CountIn: 1}}}, []Order{{Kind: Pause, At: at(3.998)}, {Kind: Resume, At: at(4.998)}},
			"96x 0..3.9583, start 3.996, stop 3.998, start 5, 6x 5..5.2083, stop 5.25"},
		{"a pause at the very start", Practice{Passes: []Pass{{From: 3840, To: 4080}}}, []Order{{Kind: Pause}, {Kind: Resume, At: at(1)}},
			"to 16 0, continue 1, 6x 1..1.2083, stop 1.25"},
		{"a pause in the rest", Practice{Passes: []Pass{{To: 240, Tail: 720}, {From: 480, To: 720}}}, []Order{{Kind: Pause, At: at(0.51)}, {Kind: Resume, At: at(1.51)}},
			"start 0, 6x 0..0.20833, stop 0.25, to 2 0.25, 7x 0.25..0.5, 11x 1.5417..1.9583, continue 1.996, 6x 2..2.2083, stop 2.25"},
		{"again", Practice{Passes: []Pass{{To: 960}}}, []Order{{Kind: Again, At: at(0.51)}},
			"start 0, 13x 0..0.5, stop 0.51, start 0.51, 24x 0.51..1.4683, stop 1.51"},
		{"next, to a place that is known", Practice{Passes: []Pass{{To: 960}, {From: 960, To: 1200}}}, []Order{{Kind: Next, At: at(0.5)}},
			"start 0, 12x 0..0.45833, stop 0.5, to 4 0.5, continue 0.5, 6x 0.5..0.70833, stop 0.75"},
		{"stop", Practice{Passes: []Pass{{To: 960}}}, []Order{{Kind: Stop, At: at(0.5)}}, "start 0, 12x 0..0.45833, stop 0.5"},
		{"the last one rings on: nothing to follow", Practice{Passes: []Pass{{To: 2880}}}, nil, "start 0, 72x 0..2.9583, stop 3"},
		{"not asked for", Practice{Passes: []Pass{{}}}, nil, ""},
	} {
		c.p.Clock = c.want != ""
		cur := newCursor(t, s, c.p, 1_000_000)
		for _, o := range c.orders {
			cur.Send(o)
		}
		out := runCursor(cur, 777, 1<<40)
		balanced(t, out)
		if got := clockStory(out, 1_000_000); got != c.want {
			t.Errorf("%s:\n%s, want\n%s", c.name, got, c.want)
		}
	}
}

// The highest song position is 16383 sixteenths.
func TestClockFarAway(t *testing.T) {
	s := &Sequence{End: 20000 * perSixteenth}
	for _, c := range []struct {
		from Tick // sixteenth
		want string
	}{
		{16383, "to 16383 0, continue 0, 6x 0..0.20833, stop 0.25"},
		{16384, "6x 0..0.20833"},
	} {
		p := Once(Pass{From: c.from * perSixteenth, To: (c.from + 1) * perSixteenth})
		p.Clock = true
		if got := clockStory(runCursor(newCursor(t, s, p, 1_000_000), 777, 1<<40), 1_000_000); got != c.want {
			t.Errorf("from %d: %s, want %s", c.from, got, c.want)
		}
	}
}

// A file that announces days, in every step of a ramp, does not fill the memory.
func TestClockTooLong(t *testing.T) {
	s := &Sequence{End: 1 << 27}
	p := Practice{Passes: []Pass{{}, {Scale: 0.5}}}
	if _, err := Prepare(s, p, 1_000_000); err != nil {
		t.Error(err)
	}
	p.Clock = true
	if _, err := Prepare(s, p, 1_000_000); err == nil || !strings.Contains(err.Error(), "MIDI clock for 279620 quarter notes") {
		t.Error(err)
	}
	p.Passes = slices.Repeat([]Pass{{To: 1 << 17}}, 10_000) // they sound alike
	if _, err := Prepare(s, p, 1_000_000); err != nil {
		t.Error(err)
	}
}

// At a moment of many messages the clock is first.
func TestClockFirst(t *testing.T) {
	p := Practice{Passes: []Pass{{From: 3840, To: 4800}, {To: 4800}, {From: 4800}}, Clock: true}
	last := map[int64]string{}
	for _, m := range runCursor(newCursor(t, held(), p, 1_000_000), 1<<40, 1<<40) {
		kind := "note"
		if isTime(m.Msg) {
			kind = "clock"
		}
		if kind == "clock" && last[m.At] == "note" {
			t.Errorf("%v after a note of its moment", m)
		}
		last[m.At] = kind
	}
}

// follows is a device that obeys MIDI clock, by the book and nothing else.
type follows struct {
	running bool
	waiting bool // started, the first clock has not come
	pos     int  // clocks from tick 0
}

func (f *follows) take(m [3]byte) error {
	switch m[0] {
	case 0xF2:
		if f.running {
			return fmt.Errorf("song position while it runs")
		}
		f.pos = (int(m[1]) | int(m[2])<<7) * 6
		f.waiting = true
	case 0xF8:
		if f.running && !f.waiting {
			f.pos++
		}
		f.waiting = f.waiting && !f.running
	case 0xFA, 0xFB:
		if f.running {
			return fmt.Errorf("started while it runs")
		}
		if f.running = true; m[0] == 0xFA {
			f.pos, f.waiting = 0, true
		}
	case 0xFC:
		if !f.running {
			return fmt.Errorf("stopped while it stands")
		}
		f.running = false
	default:
		return fmt.Errorf("% X", m)
	}
	return nil
}

// genMarked is a sequence of which each note-on is found again: by tells its
// tick.
func genMarked(t *rapid.T) (s *Sequence, by map[[3]byte]Tick) {
	four := theory.Metre{Num: 4, Den: 4}
	s, by = &Sequence{}, map[[3]byte]Tick{}
	pickup := rapid.SampledFrom([]Tick{0, 240, 480, 960, 100}).Draw(t, "pick-up")
	if pickup > 0 {
		s.Bars = append(s.Bars, Bar{Label: "0", Len: pickup, Beat: 960, Metre: four})
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "bars") {
		s.Bars = append(s.Bars, Bar{Label: fmt.Sprint(i + 1), At: pickup + Tick(i)*3840, Len: 3840, Beat: 960, Metre: four})
	}
	last := s.Bars[len(s.Bars)-1]
	s.End = last.At + last.Len
	for i := range rapid.IntRange(0, 3).Draw(t, "tempi") {
		s.Tempi = append(s.Tempi, TempoMark{Tick(rapid.IntRange(0, int(s.End)).Draw(t, "mark")), rapid.Float64Range(60, 320).Draw(t, fmt.Sprint("bpm", i))})
	}
	slices.SortStableFunc(s.Tempi, func(a, b TempoMark) int { return int(a.Tick - b.Tick) })
	for i := range rapid.IntRange(5, 40).Draw(t, "notes") {
		at := Tick(rapid.IntRange(0, int(s.End)-1).Draw(t, "at"))
		if rapid.Bool().Draw(t, "even") {
			at -= at % 40
		}
		on := noteOn(i%9, i, 80)
		by[on] = at
		s.Events = append(s.Events, Event{at, 0, Layer(i % 3), on},
			Event{at + Tick(rapid.IntRange(1, 2000).Draw(t, "length")), 0, Layer(i % 3), noteOff(i%9, i)})
	}
	sortEvents(s.Events)
	return s, by
}

// genRow is any row of passes.
func genRow(t *rapid.T, s *Sequence) (p Practice) {
	p.Repeat = rapid.IntRange(1, 3).Draw(t, "repeat")
	to := Tick(0)
	for range rapid.IntRange(1, 4).Draw(t, "passes") {
		from := Tick(rapid.IntRange(0, int(s.End)-1).Draw(t, "from"))
		switch rapid.IntRange(0, 3).Draw(t, "place") {
		case 0:
			from = 0
		case 1:
			from -= from % 240
		case 2: // straight on
			if to < s.End {
				from = to
			}
		}
		to = Tick(rapid.IntRange(int(from)+1, int(s.End)).Draw(t, "to"))
		p.Passes = append(p.Passes, Pass{
			From: from, To: to, Tail: Tick(rapid.SampledFrom([]int{0, 0, 1, 960, 3333}).Draw(t, "tail")),
			Scale: rapid.SampledFrom([]float64{1, 0.5, 0.77, 1.4}).Draw(t, "scale"),
			Mute:  LayerSet(rapid.SampledFrom([]int{0, 0, 0, 1, 63}).Draw(t, "mute")), CountIn: rapid.SampledFrom([]int{0, 0, -1, 1, 2}).Draw(t, "count-in"),
			Times: rapid.IntRange(0, 2).Draw(t, "times"), CountInEach: rapid.Bool().Draw(t, "each"),
		})
	}
	p.Loop = rapid.IntRange(0, len(p.Passes)-1).Draw(t, "loop")
	return p
}

// genOrders is what a player may ask for in the first seconds.
func genOrders(t *rapid.T, rate int, others ...*Prepared) (orders []Order) {
	for range rapid.IntRange(0, 6).Draw(t, "orders") {
		o := Order{Kind: OrderKind(rapid.IntRange(int(Pause), int(Switch)).Draw(t, "kind")), At: int64(rapid.IntRange(0, 12*rate).Draw(t, "when")),
			Layers: LayerSet(rapid.IntRange(0, 63).Draw(t, "layers")), Factor: rapid.Float64Range(0.5, 2).Draw(t, "factor")}
		if o.Kind == Switch {
			o.To = rapid.SampledFrom(others).Draw(t, "switched to")
		}
		orders = append(orders, o)
		if o.Kind == Pause {
			orders = append(orders, Order{Kind: Resume, At: o.At + int64(rapid.IntRange(0, rate).Draw(t, "pause"))})
		}
	}
	return orders
}

// Whatever is practised and ordered, at every note a follower is where the note
// stands, to within a clock; and the notes are the same without it.
func TestClockProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const rate = 1_000_000
		s, by := genMarked(t)
		p, other := genRow(t, s), genRow(t, s)
		other.Clock = rapid.IntRange(0, 3).Draw(t, "clock there") > 0
		to, err := Prepare(s, other, rate)
		if err != nil {
			t.Fatal(err)
		}
		without := other
		without.Clock = false
		bare, err := Prepare(s, without, rate)
		if err != nil {
			t.Fatal(err)
		}
		orders := genOrders(t, rate, to)
		play := func(clock bool, step int64, each func(c *Cursor, from, to int64, out []sent)) (out []sent) {
			practice := p
			practice.Clock = clock
			c, err := NewCursor(s, practice, rate)
			if err != nil {
				t.Fatal(err)
			}
			for _, o := range orders {
				if o.To != nil && !clock {
					o.To = bare
				}
				c.Send(o)
			}
			for until := step; ; until += step {
				was := len(out)
				more := c.Fill(until, func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
				if each != nil {
					each(c, until-step, until, out[was:])
				}
				if !more {
					return out
				}
			}
		}
		var f follows
		entry := Tick(0) // where the music last began or went on
		var was Position
		walk := func(c *Cursor, from, to int64, out []sent) {
			look := func(at int64) Position {
				pos, ok := c.Position(at)
				if !ok {
					t.Fatalf("no position at %d", at)
				}
				q := p.Passes
				if pos.Practice > 0 {
					q = other.Passes
				}
				switch anew := pos.Practice != was.Practice || pos.Played != was.Played || pos.Pass != was.Pass; {
				case pos.Done || pos.CountIn:
				case anew || was.CountIn:
					entry = q[pos.Pass].From
				}
				was = pos
				return pos
			}
			resumes := slices.DeleteFunc(slices.Clone(orders), func(o Order) bool { return o.Kind != Resume && o.Kind != Again || o.At < from || o.At >= to })
			slices.SortStableFunc(resumes, func(a, b Order) int { return int(a.At - b.At) })
			for _, m := range out {
				for len(resumes) > 0 && resumes[0].At <= m.At {
					at := resumes[0].At
					pos := look(at)
					if !pos.CountIn && !pos.Done && !pos.Paused {
						entry = pos.Tick
					}
					resumes = resumes[1:]
				}
				pos := look(m.At)
				if isTime(m.Msg) {
					before, ok := c.Position(m.At - 1)
					if pos.Paused && ok && before.Paused && m.Msg[0] != msgStop && m.Msg[0] != msgPosition {
						t.Fatalf("%v in a pause", m)
					}
					if err := f.take(m.Msg); err != nil {
						t.Fatalf("%v: %v", m, err)
					}
					continue
				}
				tick, ok := by[m.Msg]
				if !ok {
					continue
				}
				if clocked := p.Clock || pos.Practice > 0 && other.Clock || pos.Practice == 0; !clocked {
					if f.running {
						t.Fatalf("%v: it runs without a clock", m)
					}
					continue
				}
				switch d := Tick(f.pos)*40 - tick; {
				case f.running && (d > 40 || d < -40):
					t.Fatalf("%v at tick %d: the follower is at %d", m, tick, f.pos*40)
				case !f.running && tick >= (entry/240+1)*240+1:
					t.Fatalf("%v at tick %d: the follower stands since %d", m, tick, entry)
				}
			}
			for _, o := range resumes {
				if pos := look(o.At); !pos.CountIn && !pos.Done && !pos.Paused {
					entry = pos.Tick
				}
			}
		}
		got := play(true, 49_999, walk)
		if f.running {
			t.Fatalf("the follower runs at the end")
		}
		if d := cmp.Diff(play(true, 1<<40, nil), got); d != "" {
			t.Fatalf("(-all at once +in steps):\n%s", d)
		}
		notes := slices.DeleteFunc(slices.Clone(got), func(m sent) bool { return isTime(m.Msg) })
		if d := cmp.Diff(play(false, 1<<40, nil), notes, cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("(-without the clock +with it):\n%s", d)
		}
	})
}
