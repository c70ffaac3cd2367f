package midiio

import (
	"bytes"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

type sent struct {
	At  int64
	Msg [3]byte
}

func (s sent) String() string { return fmt.Sprintf("%d % X", s.At, s.Msg) }

func newCursor(t testing.TB, s *Sequence, p Practice, rate int) *Cursor {
	t.Helper()
	c, err := NewCursor(s, p, rate)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// runCursor fills in steps until the practice is over or frame limit.
func runCursor(c *Cursor, step, limit int64) (out []sent) {
	for until := step; ; until += step {
		more := c.Fill(min(until, limit), func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
		if !more || until >= limit {
			return out
		}
	}
}

// oneBar is a bar of 4/4 with one note on its first beat.
func oneBar(bpm float64) *Sequence {
	a := &voicing.Arrangement{
		Bars: bars44(1, theory.Key{}), Tempi: []voicing.TempoMark{{BPM: bpm}},
		Notes: []voicing.Note{note(0, 960, 1, 0, voicing.Melody)},
	}
	return Perform(a, PerformOptions{NoProgram: true})
}

func TestPassStarts(t *testing.T) {
	// sound.md 29: a bar of 4/4 at 97 is 118762.886598 samples at 48 kHz.
	const passes = 1000
	c := newCursor(t, oneBar(97), Practice{Passes: []Pass{{}}, Repeat: passes}, 48000)
	length := big.NewRat(4*60*48000, 97)
	if got := length.FloatString(6); got != "118762.886598" {
		t.Fatalf("a bar is %s samples", got)
	}
	var starts []int64
	for _, s := range runCursor(c, 509, 1<<40) {
		if isOn(s.Msg) {
			starts = append(starts, s.At)
		}
	}
	if len(starts) != passes {
		t.Fatalf("%d passes, want %d", len(starts), passes)
	}
	for k, got := range starts {
		want := round(new(big.Rat).Mul(length, big.NewRat(int64(k), 1)))
		if got != want {
			t.Fatalf("pass %d starts at %d, want %d", k, got, want)
		}
	}
	// Truncated lengths would have lost 18.5 ms by now (sound.md 2.3).
	if drift := starts[passes-1] - (passes-1)*118762; drift != 886 {
		t.Errorf("after 999 passes %d samples beyond whole bars, want 886", drift)
	}
}

// ramp is a pass like p at each of the tempo scales, the first counted in.
func ramp(p Pass, scales ...float64) (ps []Pass) {
	for _, p.Scale = range scales {
		ps = append(ps, p)
		p.CountIn = 0
	}
	return ps
}

func TestRampStarts(t *testing.T) {
	// Bars of 4/4 at 60, 70 ... 100 % of 97.
	p := Practice{Passes: ramp(Pass{}, 0.6, 0.7, 0.8, 0.9, 1), Repeat: 40}
	c := newCursor(t, oneBar(97), p, 44100)
	sum := new(big.Rat)
	k := 0
	for _, s := range runCursor(c, 4096, 1<<40) {
		if !isOn(s.Msg) {
			continue
		}
		if want := round(sum); s.At != want {
			t.Fatalf("pass %d starts at %d, want %d", k, s.At, want)
		}
		sum.Add(sum, new(big.Rat).Quo(big.NewRat(4*60*44100, 97), big.NewRat(int64(6+k%5), 10)))
		k++
	}
	if k != 200 {
		t.Errorf("%d passes, want 200", k)
	}
}

// The exact place of every message, by slower means.
func TestRulerExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Sequence{End: 1 << 20}
		for i, at := range []Tick{0, 1000, 7777} {
			s.Tempi = append(s.Tempi, TempoMark{at, rapid.SampledFrom([]float64{60, 97, 120, 133.3, 300}).Draw(t, fmt.Sprint("bpm", i))})
		}
		scale := exact(rapid.SampledFrom([]float64{1, 0.6, 0.333, 1.5}).Draw(t, "scale"))
		origin := Tick(rapid.IntRange(0, 9000).Draw(t, "origin"))
		r := newRuler(s, origin, s.End, 48000, scale)
		at := origin + Tick(rapid.IntRange(0, 100000).Draw(t, "tick"))
		nudge := time.Duration(rapid.IntRange(-30000, 30000).Draw(t, "µs")) * time.Microsecond
		sec := new(big.Rat)
		for i, m := range s.Tempi {
			from, to := max(m.Tick, origin), at
			if i+1 < len(s.Tempi) {
				to = min(to, s.Tempi[i+1].Tick)
			}
			if to > from {
				x := new(big.Rat).Mul(exact(m.BPM), scale)
				x.Quo(big.NewRat(int64(to-from), 16), x) // 960 ticks, 60 seconds
				sec.Add(sec, x)
			}
		}
		sec.Add(sec, big.NewRat(int64(nudge), int64(time.Second)))
		want := round(sec.Mul(sec, big.NewRat(48000, 1)))
		if got := r.at(at, nudge); got != want {
			t.Fatalf("tick %d at frame %d, want %d", at, got, want)
		}
	})
}

func TestFillStep(t *testing.T) {
	s := Perform(gateLatch(), PerformOptions{Click: true})
	practice := Practice{Repeat: 2, Passes: append(ramp(Pass{From: 960, To: 8640, CountIn: CountInAuto, Mute: Layers(Click)}, 0.5, 0.75, 1),
		Pass{From: 960, To: 8640, Mute: AllLayers},
		Pass{From: 5000, Times: 2, CountIn: 1, CountInEach: true})}
	orders := []Order{
		{Kind: Mute, At: 300_001, Layers: Layers(Bass)},
		{Kind: Unmute, At: 500_000, Layers: Layers(Bass)},
		{Kind: Tempo, At: 600_000, Factor: 1.1},
		{Kind: Pause, At: 700_123}, {Kind: Resume, At: 777_777},
		{Kind: Next, At: 1_000_000},
	}
	var want []sent
	for _, step := range []int64{1 << 40, 100000, 509, 64, 1} {
		c := newCursor(t, s, practice, 48000)
		for _, o := range orders {
			c.Send(o)
		}
		got := runCursor(c, step, 1<<40)
		if want == nil {
			want = got
			if len(want) < 200 {
				t.Fatalf("only %d messages", len(want))
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("steps of %d (-all at once +so):\n%s", step, d)
		}
	}
	balanced(t, want)
}

// balanced checks that messages are in order, that every note begun is ended
// and ends later, and that no channel sounds twice.
func balanced(t interface{ Fatalf(string, ...any) }, out []sent) {
	var sounding [16]int
	var since [16]int64
	for i, s := range out {
		if i > 0 && s.At < out[i-1].At {
			t.Fatalf("%v after %v", s, out[i-1])
		}
		ch := channel(s.Msg)
		switch {
		case isOn(s.Msg):
			if sounding[ch] != 0 {
				t.Fatalf("%v while %d sounds there", s, sounding[ch])
			}
			sounding[ch], since[ch] = int(s.Msg[1]), s.At
		case isOff(s.Msg):
			if sounding[ch] != int(s.Msg[1]) {
				t.Fatalf("%v ends nothing", s)
			}
			sounding[ch] = 0
		}
	}
	for ch, k := range sounding {
		if k != 0 {
			t.Fatalf("key %d on channel %d sounds at the end", k, ch+1)
		}
	}
}

func TestCursorProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Perform(genArrangement(t), PerformOptions{Click: rapid.Bool().Draw(t, "click")})
		var p Practice
		p.Repeat = rapid.IntRange(1, 3).Draw(t, "repeat")
		for range rapid.IntRange(1, 3).Draw(t, "passes") {
			from := Tick(rapid.IntRange(0, int(s.End)-1).Draw(t, "from"))
			p.Passes = append(p.Passes, Pass{
				From: from, To: Tick(rapid.IntRange(int(from)+1, int(s.End)).Draw(t, "to")),
				Scale: rapid.SampledFrom([]float64{1, 0.5, 0.77, 1.4, 3}).Draw(t, "scale"),
				Mute:  LayerSet(rapid.IntRange(0, 63).Draw(t, "mute")), CountIn: rapid.IntRange(-1, 2).Draw(t, "count-in"),
				Times: rapid.IntRange(0, 2).Draw(t, "times"), CountInEach: rapid.Bool().Draw(t, "each"),
			})
		}
		rate := rapid.SampledFrom([]int{8000, 44100, 48000, 1_000_000}).Draw(t, "rate")
		var orders []Order
		for range rapid.IntRange(0, 5).Draw(t, "orders") {
			o := Order{Kind: OrderKind(rapid.IntRange(int(Pause), int(Tempo)).Draw(t, "kind")), At: int64(rapid.IntRange(0, 10*rate).Draw(t, "at")),
				Layers: LayerSet(rapid.IntRange(0, 63).Draw(t, "layers")), Factor: rapid.Float64Range(0.5, 2).Draw(t, "factor")}
			orders = append(orders, o)
			if o.Kind == Pause {
				orders = append(orders, Order{Kind: Resume, At: o.At + int64(rate)})
			}
		}
		var want []sent
		for _, step := range []int64{1 << 40, int64(rapid.IntRange(100, 9999).Draw(t, "step"))} {
			c, err := NewCursor(s, p, rate)
			if err != nil {
				if strings.Contains(err.Error(), "shorter than a frame") {
					return
				}
				t.Fatal(err)
			}
			for _, o := range orders {
				c.Send(o)
			}
			got := runCursor(c, step, 1<<40)
			if !c.done {
				t.Fatalf("not over")
			}
			balanced(t, got)
			if want == nil {
				want = got
			} else if d := cmp.Diff(want, got); d != "" {
				t.Fatalf("steps of %d (-all at once +so):\n%s", step, d)
			}
		}
	})
}

// held is two bars at 120 with a bass note over the bar line: a bar is 96000
// frames.
func held() *Sequence {
	a := &voicing.Arrangement{
		Bars: bars44(2, theory.Key{}), Tempi: []voicing.TempoMark{{BPM: 120}},
		Notes: []voicing.Note{
			note(0, 960, 1, 0, voicing.Melody), note(1920, 3840, 6, 3, voicing.Bass),
			note(3840, 960, 1, 2, voicing.Melody), note(6720, 960, 1, 3, voicing.Melody),
		},
	}
	return Perform(a, PerformOptions{NoProgram: true, NoLevels: true})
}

func TestSeams(t *testing.T) {
	const (
		on, off = 0x90, 0x80
		bass    = 5
	)
	m := func(at int64, status, ch, key byte) sent {
		v := byte(64)
		if status == on {
			v = flatVelocity
		}
		return sent{at, [3]byte{status | ch, key, v}}
	}
	for _, c := range []struct {
		name string
		p    Practice
		want []sent
	}{
		{"what rings is cut at the seam, and rings at the last", Practice{Passes: []Pass{{To: 3840}}, Repeat: 2}, []sent{
			m(0, on, 0, 64), m(24000, off, 0, 64), m(48000, on, bass, 43), m(96000, off, bass, 43),
			m(96000, on, 0, 64), m(120000, off, 0, 64), m(144000, on, bass, 43), m(240000, off, bass, 43),
		}},
		{"what was struck before is not heard", Practice{Passes: []Pass{{From: 3840}}, Repeat: 1}, []sent{
			m(0, on, 0, 66), m(24000, off, 0, 66), m(72000, on, 0, 67), m(96000, off, 0, 67),
		}},
		{"half the tempo, without the bass", Practice{Passes: []Pass{{To: 3840, Scale: 0.5, Mute: Layers(Bass)}}, Repeat: 1}, []sent{
			m(0, on, 0, 64), m(48000, off, 0, 64),
		}},
		{"a rest keeps its time", Practice{Passes: []Pass{{To: 960}, {To: 3840, Mute: AllLayers}, {To: 960}}, Repeat: 1}, []sent{
			m(0, on, 0, 64), m(24000, off, 0, 64), m(120000, on, 0, 64), m(144000, off, 0, 64),
		}},
	} {
		cur := newCursor(t, held(), c.p, 48000)
		if d := cmp.Diff(c.want, runCursor(cur, 1000, 1<<40)); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

func TestMoreAtTheEnd(t *testing.T) {
	c := newCursor(t, held(), Practice{Passes: []Pass{{To: 3840}}, Repeat: 1}, 48000)
	none := func(int64, [3]byte) {}
	for _, step := range []struct {
		until int64
		more  bool
	}{{0, true}, {96000, true}, {144000, true}, {144002, false}, {144002, false}} {
		// The bass rings until frame 144000.
		if more := c.Fill(step.until, none); more != step.more {
			t.Errorf("after frame %d: more is %v", step.until, more)
		}
	}
}

func TestOrders(t *testing.T) {
	text := func(out []sent) string {
		var b strings.Builder
		for _, s := range out {
			kind := "off"
			if isOn(s.Msg) {
				kind = "on "
			}
			fmt.Fprintf(&b, "%6d %s %s\n", s.At, kind, keyName(int(s.Msg[1])))
		}
		return b.String()
	}
	row := Practice{Passes: []Pass{{To: 3840, Times: 2}, {From: 3840}}, Repeat: 1}
	for _, c := range []struct {
		name   string
		p      Practice
		orders []Order
		want   string
	}{
		{"stop ends what sounds", row, []Order{{Kind: Stop, At: 60000}}, "     0 on  E4\n 24000 off E4\n 48000 on  G2\n 60000 off G2\n"},
		{"mute the bass at once, until unmuted", Practice{Passes: []Pass{{To: 3840}}, Repeat: 3}, []Order{{Kind: Mute, At: 50000, Layers: Layers(Bass)}, {Kind: Unmute, At: 200000, Layers: Layers(Bass)}},
			"     0 on  E4\n 24000 off E4\n 48000 on  G2\n 50000 off G2\n" +
				" 96000 on  E4\n120000 off E4\n" +
				"192000 on  E4\n216000 off E4\n240000 on  G2\n336000 off G2\n"},
		{"a pause moves what follows", Practice{Passes: []Pass{{To: 3840}}, Repeat: 1}, []Order{{Kind: Pause, At: 10000}, {Kind: Resume, At: 20000}},
			"     0 on  E4\n 10000 off E4\n 58000 on  G2\n154000 off G2\n"},
		{"next leaves the repeats", row, []Order{{Kind: Next, At: 10000}},
			"     0 on  E4\n 10000 off E4\n 10000 on  F#4\n 34000 off F#4\n 82000 on  G4\n106000 off G4\n"},
		{"next on the last pass ends", Practice{Passes: []Pass{{To: 960, Times: Forever}}, Repeat: 1}, []Order{{Kind: Next, At: 30000}},
			"     0 on  E4\n 24000 off E4\n 24000 on  E4\n 30000 off E4\n"},
		{"tempo waits for the seam", Practice{Passes: []Pass{{To: 960}}, Repeat: 3}, []Order{{Kind: Tempo, At: 100, Factor: 0.5}, {Kind: Tempo, At: 200, Factor: -1}},
			"     0 on  E4\n 24000 off E4\n 24000 on  E4\n 72000 off E4\n 72000 on  E4\n120000 off E4\n"},
		{"orders before the start", row, []Order{{Kind: Stop}}, ""},
	} {
		cur := newCursor(t, held(), c.p, 48000)
		for _, o := range c.orders {
			cur.Send(o)
		}
		if d := cmp.Diff(c.want, text(runCursor(cur, 512, 1<<30))); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
		if !cur.done {
			t.Errorf("%s: not over", c.name)
		}
	}
	// An order for no particular frame is obeyed at the step it is met in.
	cur := newCursor(t, held(), Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	out := runCursor(cur, 1000, 50000)
	cur.Send(Order{Kind: Stop})
	cur.Fill(51000, func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
	if last := out[len(out)-1]; last.At != 50000 || !isOff(last.Msg) {
		t.Errorf("stopped at 50000: last message %v", last)
	}
}

func TestForever(t *testing.T) {
	c := newCursor(t, oneBar(120), Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	out := runCursor(c, 48000, 96000*10000)
	if n := len(out); n != 20000 || c.done {
		t.Errorf("%d messages in 10000 bars, over: %v", n, c.done)
	}
}

func TestCountIn(t *testing.T) {
	bar := func(m theory.Metre, label string, at, length, beat Tick) Bar {
		return Bar{Label: label, At: at, Len: length, Beat: beat, Metre: m}
	}
	four, three, six := theory.Metre{Num: 4, Den: 4}, theory.Metre{Num: 3, Den: 4}, theory.Metre{Num: 6, Den: 8}
	for _, c := range []struct {
		name string
		bars []Bar
		bpm  float64
		pass Pass
		want string // H and L at quarters, then where the music begins
	}{
		{"one bar", []Bar{bar(four, "1", 0, 3840, 960)}, 120, Pass{CountIn: CountInAuto}, "H0 L1 L2 L3 |4"},
		{"two when a bar lasts less than 1.5 s", []Bar{bar(three, "1", 0, 2880, 960)}, 180, Pass{CountIn: CountInAuto}, "H0 L1 L2 H3 L4 L5 |6"},
		{"one at half that tempo", []Bar{bar(three, "1", 0, 2880, 960)}, 180, Pass{CountIn: CountInAuto, Scale: 0.5}, "H0 L1 L2 |3"},
		{"a pick-up falls into the last bar", []Bar{bar(four, "0", 0, 960, 960), bar(four, "1", 960, 3840, 960)}, 120, Pass{CountIn: CountInAuto}, "H0 L1 L2 L3 H4 L5 L6 |7"},
		{"a pick-up of an eighth", []Bar{bar(four, "0", 0, 480, 960), bar(four, "1", 480, 3840, 960)}, 120, Pass{CountIn: 1}, "H0 L1 L2 L3 |3.5"},
		{"from the last beat of a bar", []Bar{bar(four, "1", 0, 3840, 960), bar(four, "2", 3840, 3840, 960)}, 120, Pass{From: 2880, CountIn: 1}, "H0 L1 L2 |3"},
		{"compound metre", []Bar{bar(six, "1", 0, 2880, 1440)}, 120, Pass{CountIn: 1}, "H0 L1.5 |3"},
		{"none", []Bar{bar(four, "1", 0, 3840, 960)}, 120, Pass{}, "|0"},
	} {
		last := c.bars[len(c.bars)-1]
		s := &Sequence{Bars: c.bars, Tempi: []TempoMark{{0, c.bpm}}, End: last.At + last.Len}
		s.Events = []Event{{c.pass.From, 0, Melody, noteOn(0, 64, 90)}, {c.pass.From + 10, 0, Melody, noteOff(0, 64)}}
		cur := newCursor(t, s, Once(c.pass), 48000)
		scale := c.pass.Scale
		if scale == 0 {
			scale = 1
		}
		var got []string
		for _, m := range runCursor(cur, 997, 1<<40) {
			if !isOn(m.Msg) {
				continue
			}
			mark := map[byte]string{clickHigh: "H", clickLow: "L", 64: "|"}[m.Msg[1]]
			got = append(got, fmt.Sprintf("%s%g", mark, float64(m.At)/48000*c.bpm*scale/60))
			if m.Msg[1] != 64 && channel(m.Msg) != 9 {
				t.Errorf("%s: click on channel %d", c.name, channel(m.Msg)+1)
			}
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s: %s, want %s", c.name, g, c.want)
		}
	}
}

func TestPosition(t *testing.T) {
	s := Perform(gateLatch(), PerformOptions{})
	c := newCursor(t, s, Practice{Passes: []Pass{{From: 960, To: 4800, CountIn: 1}, {From: 4800, To: 8640, Scale: 0.5}}, Repeat: 1}, 48000)
	if _, ok := c.Position(0); ok {
		t.Error("a position before the start")
	}
	beat := int64(48000 * 60 / 140) // of 20571.43 frames
	c.Send(Order{Kind: Pause, At: 14 * beat})
	c.Send(Order{Kind: Resume, At: 20 * beat})
	runCursor(c, 512, 1<<40)
	var got []string
	for _, q := range []struct{ num, den int64 }{{1, 2}, {7, 2}, {9, 2}, {15, 2}, {17, 2}, {11, 1}, {17, 1}, {21, 1}, {40, 1}} {
		p, ok := c.Position(q.num * beat / q.den)
		if !ok {
			t.Fatalf("no position at beat %d/%d", q.num, q.den)
		}
		got = append(got, fmt.Sprintf("%s:%.1f %d %v %v %v", p.Bar, p.Beat, p.Played, p.CountIn, p.Paused, p.Done))
	}
	want := []string{
		":1.5 0 true false false", ":4.5 0 true false false",
		"1:1.5 1 false false false", "1:4.5 1 false false false",
		"2:1.2 2 false false false", "2:2.5 2 false false false",
		"2:4.0 2 false true false", "2:4.5 2 false false false",
		":0.0 2 false false true",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("positions (-want +got):\n%s", d)
	}
}

func TestChase(t *testing.T) {
	s := &Sequence{End: 3840, Events: []Event{
		{0, 0, Melody, [3]byte{0xB0, 101, 0}}, {0, 0, Melody, [3]byte{0xB0, 100, 0}}, {0, 0, Melody, [3]byte{0xB0, 6, 12}},
		{0, 0, Melody, [3]byte{0xB0, 7, 90}}, {0, 0, Melody, [3]byte{0xC0, 26}}, {10, 0, Melody, [3]byte{0xB0, 7, 100}}, {20, 0, Melody, [3]byte{0xE0, 1, 64}},
		{1920, 0, Melody, noteOn(0, 60, 90)}, {2880, 0, Melody, noteOff(0, 60)},
	}}
	out := runCursor(newCursor(t, s, Once(Pass{From: 1920}), 48000), 100, 1<<40)
	var got []string
	for _, m := range out {
		got = append(got, m.String())
	}
	want := []string{"0 B0 65 00", "0 B0 64 00", "0 B0 06 0C", "0 B0 07 64", "0 C0 1A 00", "0 E0 01 40", "0 90 3C 5A", "24000 80 3C 40"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Everything of a file goes out, also the program that a second track of a channel
// says again; but no instrument starts anew in the middle or with each pass.
func TestPrograms(t *testing.T) {
	program := func(at Tick, ch, p byte) Event { return Event{at, 0, Melody, [3]byte{0xC0 | ch, p}} }
	s := &Sequence{End: 3840, Events: []Event{
		program(0, 0, 26), program(0, 0, 26), {0, 0, Melody, noteOn(0, 60, 90)}, {960, 0, Melody, noteOff(0, 60)},
		program(1920, 0, 26), program(1920, 1, 26), {1920, 0, Melody, noteOn(0, 62, 90)}, {2880, 0, Melody, noteOff(0, 62)},
	}}
	var got []string
	for _, m := range runCursor(newCursor(t, s, Practice{Passes: []Pass{{}}, Repeat: 2}, 48000), 100, 1<<40) {
		if m.Msg[0]&0xF0 == 0xC0 {
			got = append(got, m.String())
		}
	}
	want := []string{"0 C0 1A 00", "0 C0 1A 00", "48000 C1 1A 00", "144000 C1 1A 00"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestNewCursorRefuses(t *testing.T) {
	s := oneBar(120)
	for _, c := range []struct {
		p    Practice
		rate int
		want string
	}{
		{Practice{}, 48000, "no pass"},
		{Practice{Passes: []Pass{{}}, Repeat: -2}, 48000, "repeat -2"},
		{Once(Pass{}), 0, "0 frames a second"},
		{Once(Pass{From: 3840}), 48000, "pass 1: from tick 3840 to 3840"},
		{Once(Pass{To: 9999}), 48000, "0 to 3840"},
		{Once(Pass{Scale: -1}), 48000, "tempo scale -1"},
		{Once(Pass{CountIn: 99}), 48000, "count-in of 99"},
		{Once(Pass{Tail: 1 << 40}), 48000, "tail of 1099511627776 ticks"},
		{Once(Pass{Times: -2}), 48000, "-2 times"},
		{Practice{Passes: []Pass{{}}, Loop: 1}, 48000, "repeated from pass 2 of 1"},
		{Once(Pass{To: 1}), 10, "shorter than a frame"},
	} {
		if _, err := NewCursor(s, c.p, c.rate); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.p, err, c.want)
		}
	}
}

// What a practice sends, for reading.
func TestPracticeGolden(t *testing.T) {
	s := Perform(gateLatch(), PerformOptions{})
	c := newCursor(t, s, Practice{Passes: []Pass{{From: 960, To: 4800, Scale: 0.6, CountIn: CountInAuto}, {From: 960, To: 4800}}, Repeat: 1}, 48000)
	var b bytes.Buffer
	for _, m := range runCursor(c, 256, 1<<40) {
		pos, _ := c.Position(m.At)
		where := fmt.Sprintf("pass %d  %2s:%.3f", pos.Played, pos.Bar, pos.Beat)
		if pos.CountIn {
			where = fmt.Sprintf("count-in   %.3f", pos.Beat)
		}
		what := fmt.Sprintf("program %d", m.Msg[1])
		switch {
		case isOn(m.Msg):
			what = fmt.Sprintf("on  %-4s %d", keyName(int(m.Msg[1])), m.Msg[2])
		case isOff(m.Msg):
			what = fmt.Sprintf("off %s", keyName(int(m.Msg[1])))
		}
		fmt.Fprintf(&b, "%8.4f s  %s  ch %-2d %s\n", float64(m.At)/48000, where, channel(m.Msg)+1, what)
	}
	golden(t, "practice.txt", b.Bytes())
}

func BenchmarkPerform(b *testing.B) {
	a := gateLatch()
	for b.Loop() {
		Perform(a, PerformOptions{})
	}
}

func BenchmarkFill(b *testing.B) {
	s := Perform(gateLatch(), PerformOptions{})
	c := newCursor(b, s, Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	n := 0
	var until int64
	b.ReportAllocs()
	for b.Loop() {
		until += 512
		c.Fill(until, func(int64, [3]byte) { n++ })
	}
}

// BenchmarkLay is what a tempo order costs whoever sends it.
func BenchmarkLay(b *testing.B) {
	s := Perform(gateLatch(), PerformOptions{})
	for range 4 { // as long as a chorus
		for _, e := range slices.Clone(s.Events) {
			e.Tick += s.End
			s.Events = append(s.Events, e)
		}
		s.End *= 2
	}
	sortEvents(s.Events)
	c := newCursor(b, s, Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	b.ReportMetric(float64(len(s.Events)), "events")
	for b.Loop() {
		c.mail.latest.lay(1.1)
	}
}

// Orders and questions come from other goroutines; the race detector listens.
func TestOtherGoroutines(t *testing.T) {
	c := newCursor(t, Perform(gateLatch(), PerformOptions{}), Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := range 300 {
			c.Send(Order{Kind: [...]OrderKind{Pause, Resume, Next, Mute, Unmute, Tempo}[i%6], Layers: Layers(Inner), Factor: 1.01})
			c.Position(int64(i) * 1000)
		}
		c.Send(Order{Kind: Stop})
	}()
	var out []sent
	for until := int64(512); c.Fill(until, func(at int64, m [3]byte) { out = append(out, sent{at, m}) }); until += 512 {
	}
	<-done
	balanced(t, out)
}
