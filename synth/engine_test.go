package synth

import (
	"cmp"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestOptions(t *testing.T) {
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{}, ""},
		{Options{Rate: 44100, Open: []int{64, 59, 55, 50, 45, 40, 35}, Tone: "nylon", Gain: -3, Seed: 9}, ""},
		{Options{Rate: 7999}, "sample rate 7999 Hz is not between 8000 and 192000"},
		{Options{Rate: 1 << 20}, "sample rate"},
		{Options{Open: []int{}}, "0 strings (1 to 14"},
		{Options{Open: make([]int, 15)}, "15 strings"},
		{Options{Open: []int{64, 130}}, "string 2: open pitch 130"},
		{Options{Tone: "banjo"}, `no tone "banjo" (there are: archtop, nylon, steel)`},
		{Options{A4: 400}, ""},
		{Options{A4: 480}, ""},
		{Options{A4: 399.9}, "A4 of 399.9 Hz is not between 400 and 480"},
		{Options{A4: 480.5}, "A4 of 480.5 Hz"},
		{Options{A4: -440}, "A4 of -440 Hz"},
		{Options{A4: math.NaN()}, "A4 of NaN Hz"},
		{Options{A4: math.Inf(1)}, "A4 of +Inf Hz"},
		{Options{Gain: math.NaN()}, "gain NaN"},
		{Options{Gain: 25}, "gain 25 dB"},
	} {
		e, err := NewEngine(c.o)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%+v: %v", c.o, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%+v: error %v, want %q", c.o, err, c.want)
		case err == nil && e.Rate() != cmp.Or(c.o.Rate, 48000):
			t.Errorf("%+v: rate %d", c.o, e.Rate())
		}
	}
	// The caller's slice stays the caller's.
	open := []int{64, 59}
	e, _ := NewEngine(Options{Open: open})
	open[0] = 1
	if e.courses[0].open != 64 {
		t.Error("the engine kept the caller's tuning")
	}
}

// busy is a second of everything: chords, plucks on ringing strings, palm,
// places, volumes, bass, clicks, all notes off, events between the samples of
// any grid.
func busy() []event {
	var list []event
	rnd := uint64(7)
	pick := func(n int) int { rnd = next(rnd); return int(rnd >> 33 % uint64(n)) }
	for range 120 {
		at := int64(pick(40000))
		s := pick(6)
		p := guitar[s] + pick(15)
		list = append(list, event{at, on(s, p, 1+pick(127))}, event{at + int64(pick(9000)), off(s, p, pick(128))})
	}
	for range 20 {
		s, at := pick(6), int64(pick(40000))
		list = append(list, event{at, control(s, []int{7, 16, 17, 121, 123}[pick(5)], pick(128))},
			event{at, on(BassChannel, 28+pick(20), 80)}, event{at, on(ClickChannel, []int{37, 76, 77, 42}[pick(4)], 90)})
	}
	return append(list, event{44000, control(0, 120, 0)}, event{44000, control(3, 120, 0)})
}

func renderBlocks(t *testing.T, size func(i int) int) []float32 {
	t.Helper()
	e, err := NewEngine(Options{Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	e.SetFeeder(sorted(busy()))
	var all []float32
	for i := 0; len(all) < 2*48000; i++ {
		b := make([]float32, 2*size(i))
		e.Render(b)
		all = append(all, b...)
	}
	return all[:2*48000]
}

// The sound does not depend on the caller's blocks, to the bit.
func TestBlockSizes(t *testing.T) {
	want := renderBlocks(t, func(int) int { return 48000 })
	if peak := samplePeak(want); peak < 0.1 {
		t.Fatalf("nothing to compare: peak %g", peak)
	}
	fib := []int{1, 1}
	for name, size := range map[string]func(int) int{
		"1":    func(int) int { return 1 },
		"64":   func(int) int { return 64 },
		"509":  func(int) int { return 509 },
		"4096": func(int) int { return 4096 },
		"Fibonacci": func(i int) int {
			fib = append(fib, fib[len(fib)-1]+fib[len(fib)-2])
			return fib[i%18]
		},
	} {
		got := renderBlocks(t, size)
		for i := range want {
			if math.Float32bits(got[i]) != math.Float32bits(want[i]) {
				t.Errorf("blocks of %s: frame %d differs", name, i/2)
				break
			}
		}
	}
}

// An event at sample k changes sample k and nothing before it.
func TestEventAtItsSample(t *testing.T) {
	for _, k := range []int64{0, 1, 63, 64, 65, 1000, 4095} {
		quiet, _ := renderStereo(t, Options{}, 0.2, event{0, on(3, 50, 80)})
		struck, _ := renderStereo(t, Options{}, 0.2, event{0, on(3, 50, 80)}, event{k, on(0, 64, 127)})
		first := -1
		for i := range quiet {
			if quiet[i] != struck[i] {
				first = i
				break
			}
		}
		// The stroke rises from zero, so its own sample may still be 0.
		if int64(first) < k || int64(first) > k+3 {
			t.Errorf("an event at %d is heard first at %d", k, first)
		}
	}
}

// A feeder may be late, unordered and talk of channels nobody has.
func TestOddFeeders(t *testing.T) {
	e, _ := NewEngine(Options{})
	n := 0
	e.SetFeeder(feederFunc(func(until int64, emit func(int64, [3]byte)) bool {
		n++
		emit(until-1000, on(0, 64, 100)) // late
		emit(until+5000, on(1, 60, 100)) // early
		emit(until+10, on(2, 60, 100))   // out of order
		emit(until, [3]byte{0xff, 0xff, 0xff})
		emit(until, on(15, 200, 200))
		emit(until, [3]byte{0xe0, 0, 127})
		emit(until, [3]byte{0xc0, 30, 0})
		return n < 50
	}))
	b := make([]float32, 2*48000)
	e.Render(b)
	checkBounds(t, b)
	if samplePeak(b) == 0 {
		t.Error("no sound")
	}
}

type feederFunc func(until int64, emit func(int64, [3]byte)) bool

func (f feederFunc) Fill(until int64, emit func(at int64, msg [3]byte)) bool { return f(until, emit) }

type errorf interface{ Errorf(string, ...any) }

func checkBounds(t errorf, b []float32) {
	for i, v := range b {
		if !(v >= -maxPeak && v <= maxPeak) {
			t.Errorf("sample %d is %g", i, v)
			return
		}
	}
}

// Whatever comes in, what goes out is a number within -1 dB of full scale, and
// all of it ends in exact silence.
func TestAnyEvents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := Options{
			Rate: rapid.SampledFrom([]int{8000, 22050, 44100, 48000, 96000, 192000}).Draw(t, "rate"),
			Tone: rapid.SampledFrom(Tones()).Draw(t, "tone"),
			A4:   rapid.Float64Range(MinA4, MaxA4).Draw(t, "a4"),
			Gain: rapid.Float64Range(-20, 24).Draw(t, "gain"),
			Seed: rapid.Uint64().Draw(t, "seed"),
		}
		var list []event
		for range rapid.IntRange(0, 60).Draw(t, "events") {
			list = append(list, event{
				at:  rapid.Int64Range(0, int64(o.Rate/8)).Draw(t, "at"),
				msg: [3]byte{rapid.Byte().Draw(t, "status"), rapid.Byte().Draw(t, "a"), rapid.Byte().Draw(t, "b")},
			})
		}
		for s := range 16 {
			list = append(list, event{int64(o.Rate / 8), control(s, 123, 0)})
		}
		e, err := NewEngine(o)
		if err != nil {
			t.Fatal(err)
		}
		e.SetFeeder(sorted(list))
		b := make([]float32, 2*o.Rate/4)
		e.Render(b)
		checkBounds(t, b)
		for range 9 {
			e.Render(b)
		}
		checkBounds(t, b)
		if !e.Idle() || samplePeak(b) != 0 {
			t.Fatalf("2 s after all notes off: idle %v, peak %g", e.Idle(), samplePeak(b))
		}
	})
}

// A note above every fret of a guitar is damped too: what rings near 0 Hz in its
// loop falls much slower than the note.
func TestHighestIsDamped(t *testing.T) {
	for _, rate := range []int{44100, 48000, 96000, 192000} {
		for _, tone := range Tones() {
			for _, key := range []int{108, 120, 127} {
				e, err := NewEngine(Options{Rate: rate, Tone: tone, A4: MinA4})
				if err != nil {
					t.Fatal(err)
				}
				e.SetFeeder(sorted([]event{{24, on(0, key, 60)}, {int64(rate / 8), control(0, 123, 0)}}))
				b := make([]float32, 2*rate/8)
				for n := 0; n < 9 && !e.Idle(); n++ {
					e.Render(b)
				}
				if !e.Idle() {
					t.Errorf("%s, %d Hz, key %d sounds a second after its end", tone, rate, key)
				}
			}
		}
	}
}

func FuzzEvents(f *testing.F) {
	f.Add([]byte{0x90, 64, 100, 10, 0x90, 64, 0, 200, 0xb2, 17, 127, 1})
	f.Add([]byte{0x99, 76, 127, 0, 0x98, 28, 127, 0, 0xb9, 120, 0, 3})
	f.Add([]byte{0x95, 0, 127, 0, 0x95, 127, 127, 0, 0x95, 127, 127, 0, 0x95, 1, 127, 0, 0xb5, 120, 0, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		e, err := NewEngine(Options{Rate: 8000, Gain: 24})
		if err != nil {
			t.Fatal(err)
		}
		var l Events
		at := int64(0)
		for ; len(data) >= 4; data = data[4:] {
			l.Add(at, [3]byte{data[0], data[1], data[2]})
			at += int64(data[3])
		}
		e.SetFeeder(&l)
		b := make([]float32, 2*4000)
		e.Render(b)
		checkBounds(t, b)
	})
}

// After the last release: below -100 dB within 2 s, then zero to the bit, and
// every state in the engine with it.
func TestSilence(t *testing.T) {
	for _, tone := range Tones() {
		var list []event
		for s, open := range guitar {
			list = append(list, event{0, on(s, open, 127)}, event{24000, off(s, open, 0)})
		}
		list = append(list, event{0, on(BassChannel, 28, 127)}, event{24000, off(BassChannel, 28, 0)}, event{20000, on(ClickChannel, 76, 127)})
		e, _ := NewEngine(Options{Tone: tone})
		e.SetFeeder(sorted(list))
		b := make([]float32, 2*(24000+2*48000))
		e.Render(b)
		tail := b[len(b)-2*480:]
		if p := samplePeak(tail); p != 0 {
			t.Errorf("%s: %g after 2 s", tone, p)
		}
		if !e.Idle() {
			t.Errorf("%s: not idle", tone)
		}
		for _, c := range append(slices.Clone(e.courses), e.bass) {
			for _, v := range c.voices {
				for _, l := range []*line{&v.across, &v.along} {
					if samplePeak(l.buf) != 0 || l.lp != 0 || l.t1 != 0 || l.ap != 0 || v.active {
						t.Errorf("%s: a string holds something", tone)
					}
				}
			}
		}
		for _, a := range e.buses[0].choir.answers {
			if samplePeak(a.buf) != 0 || a.lp != 0 || a.active {
				t.Errorf("%s: an open string holds something", tone)
			}
		}
		for _, m := range e.buses[0].body.modes {
			if m.y1 != 0 || m.y2 != 0 {
				t.Errorf("%s: the body holds something", tone)
			}
		}
	}
}

// What rings and is left alone goes to rest before its numbers become denormal.
func TestNoDenormals(t *testing.T) {
	for _, tone := range Tones() {
		e, _ := NewEngine(Options{Tone: tone})
		e.SetFeeder(sorted([]event{{0, on(0, 81, 10)}, {0, on(3, 62, 5)}, {48000, off(3, 62, 5)}}))
		b := make([]float32, 2*4800)
		for range 120 {
			e.Render(b)
			var rings [][]float32
			for _, c := range e.courses {
				for _, v := range c.voices {
					rings = append(rings, v.across.buf, v.along.buf)
				}
			}
			for _, a := range e.buses[0].choir.answers {
				rings = append(rings, a.buf)
			}
			for _, w := range e.buses[0].room.ways {
				rings = append(rings, w.buf)
			}
			for _, buf := range rings {
				for _, y := range buf {
					if y != 0 && math.Abs(float64(y)) < 1e-30 {
						t.Fatalf("%s: %g", tone, y)
					}
				}
			}
		}
	}
}

// No mean: dc would eat headroom and thump at the end.
func TestNoDC(t *testing.T) {
	for _, tone := range Tones() {
		x := render(t, Options{Tone: tone}, 5, arrangement(48000).list...)
		var mean float64
		for _, v := range x {
			mean += v / float64(len(x))
		}
		if r := math.Abs(mean) / rms(x); r > 1e-3 {
			t.Errorf("%s: mean is %.2g of the rms", tone, r)
		}
	}
}

// clickIndex is the largest second difference within 1 ms of frame at over the
// largest in the 20 ms before: below 1 where a string just rings, about 13
// where sound is cut.
func clickIndex(x []float64, at int) float64 {
	d2 := func(from, to int) float64 {
		m := 0.0
		for i := max(from, 1); i < min(to, len(x)-1); i++ {
			m = max(m, math.Abs(x[i+1]-2*x[i]+x[i-1]))
		}
		return m
	}
	return d2(at-48, at+48) / d2(at-960, at-48)
}

func TestNoClicks(t *testing.T) {
	const at = 24000
	chord := func(extra ...event) []event {
		var list []event
		for s, open := range guitar {
			list = append(list, event{int64(13 * s), on(s, open+3, 96)})
		}
		return append(list, extra...)
	}
	everyString := func(msg func(s int) [3]byte) (list []event) {
		for s := range guitar {
			list = append(list, event{at, msg(s)})
		}
		return list
	}
	for name, list := range map[string][]event{
		"ringing":       chord(),
		"note-off":      chord(everyString(func(s int) [3]byte { return off(s, guitar[s]+3, 127) })...),
		"all notes off": chord(everyString(func(s int) [3]byte { return control(s, 123, 0) })...),
		"all sound off": chord(everyString(func(s int) [3]byte { return control(s, 120, 0) })...),
		"palm":          chord(everyString(func(s int) [3]byte { return control(s, PalmController, 127) })...),
		"volume":        chord(everyString(func(s int) [3]byte { return control(s, 7, 0) })...),
		"reset":         chord(everyString(func(s int) [3]byte { return control(s, 121, 0) })...),
		"seam": chord(append(everyString(func(s int) [3]byte { return off(s, guitar[s]+3, 64) }),
			everyString(func(s int) [3]byte { return on(s, guitar[s]+5, 1) })...)...),
		"softest re-pluck": chord(everyString(func(s int) [3]byte { return on(s, guitar[s]+4, 1) })...),
	} {
		for _, tone := range Tones() {
			x := render(t, Options{Tone: tone}, 0.7, list...)
			// The finger's walk and the fades last longer than a millisecond.
			for d := 0; d < 1200; d += 48 {
				if j := clickIndex(x[:at+d+960], at+d); j > 1.5 && d < 100 {
					t.Errorf("%s, %s: click index %.2f after %d samples", tone, name, j, d)
				}
			}
		}
	}
	// At a pluck: no step larger than the peak of the next 5 ms.
	x := render(t, Options{Tone: "steel"}, 0.7, chord(event{at, on(2, 60, 127)})...)
	peak := 0.0
	for _, v := range x[at : at+240] {
		peak = max(peak, math.Abs(v))
	}
	for i := at - 1; i < at+240; i++ {
		if d := math.Abs(x[i] - x[i-1]); d > peak {
			t.Errorf("a step of %.3g at a pluck whose peak is %.3g", d, peak)
		}
	}
}

// FadeOut is silent within 20 ms and two quanta, without a click, from any
// moment; FadeIn lets new notes sound.
func TestFade(t *testing.T) {
	for _, tone := range Tones() {
		t.Run(tone, func(t *testing.T) { fades(t, tone) })
	}
}

func fades(t *testing.T, tone string) {
	e, _ := NewEngine(Options{Tone: tone})
	var list []event
	for s, open := range guitar {
		list = append(list, event{0, on(s, open, 110)})
	}
	list = append(list, event{1 << 40, on(0, 64, 1)})
	e.SetFeeder(sorted(list))
	b := make([]float32, 2*24000)
	e.Render(b)
	e.FadeOut()
	c := make([]float32, 2*2400)
	e.Render(c)
	x := make([]float64, 0, 26400)
	for i := 0; i < len(b)+len(c); i += 2 {
		if i < len(b) {
			x = append(x, float64(b[i]))
		} else {
			x = append(x, float64(c[i-len(b)]))
		}
	}
	for at := 23900; at < 25200; at += 48 {
		if j := clickIndex(x, at); j > 1.5 {
			t.Errorf("click index %.2f %d samples after the stop", j, at-24000)
			break
		}
	}
	if p := samplePeak(c[2*(960+2*quantum):]); p != 0 {
		t.Errorf("%g is left after 20 ms", p)
	}
	if !e.Idle() {
		t.Error("not idle after FadeOut")
	}
	e.FadeIn()
	if e.Idle() {
		t.Error("idle after FadeIn, though the feeder has more")
	}
	e.SetFeeder(sorted([]event{{0, on(0, 64, 100)}}))
	e.Render(c)
	if samplePeak(c) == 0 {
		t.Error("no sound after FadeIn")
	}
}

// FadeOut ends at once where nothing sounds any more but the feeder has more, as
// in a long rest or while it is paused; FadeIn then goes on.
func TestFadeOutInSilence(t *testing.T) {
	e, err := NewEngine(Options{})
	if err != nil {
		t.Fatal(err)
	}
	e.SetFeeder(sorted([]event{{0, on(0, 64, 100)}, {4800, off(0, 64, 127)}, {10 * 48000, on(0, 64, 100)}}))
	x := make([]float32, 2*5*48000)
	e.Render(x)
	if e.Idle() || samplePeak(x[2*4*48000:]) != 0 {
		t.Fatal("no rest to stop in")
	}
	e.FadeOut()
	e.Render(x[:2*3*quantum])
	if !e.Idle() {
		t.Error("not idle after FadeOut in silence")
	}
	e.FadeIn()
	for range 2 {
		e.Render(x)
	}
	if samplePeak(x) == 0 {
		t.Error("no sound after FadeIn")
	}
}

// A note-off for another pitch than the one that sounds is not meant for it;
// a note-on of velocity 0 is a note-off.
func TestNoteOffs(t *testing.T) {
	level := func(list ...event) float64 {
		return dB(rms(render(t, Options{}, 1, append(list, event{0, on(0, 64, 100)})...)[36000:]) + 1e-9)
	}
	open := level()
	if d := open - level(event{12000, off(0, 65, 64)}); math.Abs(d) > 0.01 {
		t.Errorf("another pitch's note-off changed the level by %.1f dB", d)
	}
	for name, msg := range map[string][3]byte{"note-off": off(0, 64, 64), "velocity 0": on(0, 64, 0), "all notes off": control(0, 123, 0), "all sound off": control(0, 120, 0)} {
		if d := open - level(event{12000, msg}); d < 40 {
			t.Errorf("%s: only %.1f dB down", name, d)
		}
	}
}

// Volume follows 40 log10(v/100) dB, and seven strings are seven channels.
func TestVolumeAndStrings(t *testing.T) {
	level := func(o Options, list ...event) float64 { return dB(rms(render(t, o, 0.3, list...)) + 1e-9) }
	d := level(Options{}, event{0, on(0, 64, 80)}) - level(Options{}, event{0, control(0, 7, 50)}, event{480, on(0, 64, 80)})
	if math.Abs(d-12.04) > 0.3 {
		t.Errorf("volume 50 is %.2f dB below 100, want 12.04", d)
	}
	if l := level(Options{}, event{0, on(6, 35, 100)}); l > -150 {
		t.Errorf("a seventh string sounds on six: %.0f dB", l)
	}
	seven := Options{Open: append(slices.Clone(guitar), 35)}
	if l := level(seven, event{0, on(6, 35, 100)}); l < -40 {
		t.Errorf("the seventh string is not heard: %.0f dB", l)
	}
}

// The click is heard and never louder than the guitar, as hard as it can be
// struck; what a drummer plays is never louder than a string plucked as hard.
func TestClick(t *testing.T) {
	loud := func(list ...event) (level, peak float64) {
		x := render(t, Options{}, 0.5, list...)
		k := kWeighted(x)
		for _, v := range x {
			peak = max(peak, math.Abs(v))
		}
		return dB(rms(k)), peak
	}
	inner, innerPeak := loud(event{0, on(3, 57, 64)}) // an inner voice
	for _, key := range []int{33, 34, 75, 76, 77, 60} {
		level, peak := loud(event{0, on(ClickChannel, key, 127)})
		if level > inner || peak > innerPeak*1.3 {
			t.Errorf("click %d: %.1f dB, peak %.3f; the guitar %.1f dB, %.3f", key, level, peak, inner, innerPeak)
		}
		if level < -70 {
			t.Errorf("click %d is not heard: %.1f dB", key, level)
		}
	}
	for _, velocity := range []int{40, 52, 64, 100} {
		string4, _ := loud(event{0, on(3, 57, velocity)})
		for _, key := range []int{37, 42, 44, 51, 70} {
			level, _ := loud(event{0, on(ClickChannel, key, velocity)})
			if level > string4-4 || level < string4-20 {
				t.Errorf("%d at velocity %d: %.1f dB, a string %.1f dB: want 4 to 20 dB less", key, velocity, level, string4)
			}
		}
	}
	high := centroid(render(t, Options{}, 0.2, event{0, on(ClickChannel, 76, 100)}), 48000)
	low := centroid(render(t, Options{}, 0.2, event{0, on(ClickChannel, 77, 100)}), 48000)
	if high < 1.2*low {
		t.Errorf("high block %.0f Hz, low block %.0f Hz: too alike", high, low)
	}
}

// Same input, same bytes; another seed, another performance.
func TestSeed(t *testing.T) {
	play := func(seed uint64) []float64 {
		return render(t, Options{Seed: seed}, 0.2, event{0, on(1, 62, 90)})
	}
	if !slices.Equal(play(1), play(1)) {
		t.Error("the same seed gives two sounds")
	}
	if slices.Equal(play(1), play(2)) {
		t.Error("two seeds give one sound")
	}
}

// Once it has begun, an engine allocates nothing.
func TestNoAllocations(t *testing.T) {
	e, _ := NewEngine(Options{})
	e.SetFeeder(sixStrings(48000, 60))
	b := make([]float32, 2*512)
	e.Render(b)
	if n := testing.AllocsPerRun(500, func() { e.Render(b) }); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}

// Writing a file takes no more memory for a long piece than for a short one, with
// stems and without.
func TestMemoryIsConstant(t *testing.T) {
	write := func(stems int, seconds float64) float64 {
		return testing.AllocsPerRun(1, func() {
			e, err := NewEngine(Options{Stems: stems})
			if err != nil {
				t.Fatal(err)
			}
			f := sixStrings(48000, seconds)
			if stems == 0 {
				_, err = WriteWAV(new(sink), e, f, RenderOptions{Tail: time.Second})
			} else {
				_, err = WriteStems(new(sink), []io.WriteSeeker{new(sink), new(sink)}, e, []Feeder{f, new(Events)}, RenderOptions{Tail: time.Second})
			}
			if err != nil {
				t.Fatal(err)
			}
		})
	}
	for _, stems := range []int{0, 2} {
		// The list of notes itself grows by doubling: a few allocations.
		if short, long := write(stems, 2), write(stems, 20); long > short+40 {
			t.Errorf("%d stems: %g allocations for 2 s, %g for 20 s", stems, short, long)
		}
	}
}

// sink is a file that keeps nothing.
type sink struct{ at, end int64 }

func (s *sink) Write(p []byte) (int, error) {
	s.at += int64(len(p))
	s.end = max(s.end, s.at)
	return len(p), nil
}

func (s *sink) Seek(off int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		off += s.at
	case io.SeekEnd:
		off += s.end
	}
	s.at = off
	return off, nil
}

// What the limiter lets through stays below -1 dB between the samples too,
// however hard it is driven, and what is below its knee it leaves alone.
func TestLimiter(t *testing.T) {
	for name, wave := range map[string]func(i int) float64{
		// fs/4 at 45 degrees: the true peak lies 3.01 dB above the samples.
		"fs/4":      func(i int) float64 { return 1.4 * math.Sin(math.Pi/2*float64(i)+math.Pi/4) },
		"loud bass": func(i int) float64 { return 5 * math.Sin(2*math.Pi*82.4*float64(i)/48000) },
		"burst": func(i int) float64 {
			return 3 * math.Exp(-float64(i%9600)/2000) * math.Sin(2*math.Pi*700*float64(i)/48000)
		},
	} {
		l, lane := newLimiter(48000), new(lane)
		var out []float64
		for q := range 750 {
			var a, b [quantum]float32
			for i := range a {
				g := min(1, float64(q*quantum+i)/480) // a hard start has an overshoot of its own
				a[i] = float32(g * wave(q*quantum+i))
				b[i] = -a[i]
			}
			g, step := l.look(a[:], b[:])
			lane.pass(&a, &b, g, step, maxPeak)
			for _, v := range lane.left {
				out = append(out, float64(v))
			}
		}
		if p := dB(oversampledPeak(out)); p > -1 {
			t.Errorf("%s: true peak %.2f dB", name, p)
		}
	}
	l, lane := newLimiter(48000), new(lane)
	var before [quantum]float32
	for q := range 100 {
		var a, b [quantum]float32
		for i := range a {
			a[i] = float32(0.55 * math.Sin(float64(q*quantum+i)/30))
			b[i] = a[i]
		}
		g, step := l.look(a[:], b[:])
		lane.pass(&a, &b, g, step, maxPeak)
		if lane.left != before {
			t.Fatal("the limiter changed what is below its knee")
		}
		before = a
	}
}

// However hard all six strings are struck, the finished sound stays below -1 dB
// true peak.
func TestTruePeak(t *testing.T) {
	for _, tone := range Tones() {
		var list []event
		for k := range 6 {
			for s, open := range guitar {
				list = append(list, event{int64(9600 * k), on(s, open+k, 127)})
			}
		}
		x, y := renderStereo(t, Options{Tone: tone, Gain: 18}, 1.4, list...)
		if p := dB(max(oversampledPeak(x), oversampledPeak(y))); p > -1 {
			t.Errorf("%s: true peak %.2f dB", tone, p)
		}
	}
}
