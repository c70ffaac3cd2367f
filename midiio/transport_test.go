package midiio

import (
	"fmt"
	"maps"
	"math/big"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

func frames(quarters int64, bpm, scale float64, rate int64) *big.Rat {
	x := new(big.Rat).Mul(exact(bpm), exact(scale))
	return x.Quo(big.NewRat(quarters*60*rate, 1), x)
}

// notesOn are the frames of the attacks that are no clicks.
func notesOn(out []sent) (at []int64) {
	for _, s := range out {
		if isOn(s.Msg) && channel(s.Msg) != clickChannel {
			at = append(at, s.At)
		}
	}
	return at
}

// A ramp of one percent a pass, after it its last tempo: each pass begins at
// the exact sum of all lengths before it, however odd the denominators.
func TestRampThenForever(t *testing.T) {
	const bpm, scale, rate = 97, 140.0 / 97, 48000
	s := oneBar(bpm)
	percents, err := Percents(60, 100, 1)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.Practice(Study{Scale: scale, Ramp: percents, Rest: 1, Tail: 960, CountIn: 1})
	if err != nil {
		t.Fatal(err)
	}
	c := newCursor(t, s, p, rate)
	// Pauses move everything by whole frames.
	c.Send(Order{Kind: Pause, At: 10_000_001})
	c.Send(Order{Kind: Resume, At: 10_000_778})
	sum := frames(4, bpm, scale*0.6, rate) // the count-in
	for k := range 1000 {
		want := round(sum)
		if want > 10_000_001 {
			want += 777
		}
		out := runCursor(c, want+1-c.now, want+1)
		on := notesOn(out)
		if len(on) == 0 || on[len(on)-1] != want {
			t.Fatalf("pass %d starts at %v, want %d", k, on, want)
		}
		sum.Add(sum, frames(4+1+4, bpm, scale*percents[min(k, len(percents)-1)], rate))
	}
}

// Sums of odd lengths, by slower means: any tempi, any ramp, with count-in and
// tail.
func TestSumsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bpm := rapid.SliceOfN(rapid.Float64Range(30, 320), 2, 2).Draw(t, "bpm")
		rate := int64(rapid.SampledFrom([]int{8000, 44100, 48000, 1_000_000}).Draw(t, "rate"))
		s := oneBar(bpm[0])
		s.End = 2 * 3840
		s.Bars = append(s.Bars, s.Bars[0])
		s.Bars[1].At = 3840
		s.Tempi = append(s.Tempi, TempoMark{3840, bpm[1]}, TempoMark{2 * 3840, 60})
		st := Study{
			Scale: rapid.Float64Range(0.5, 1.5).Draw(t, "scale"),
			Ramp:  rapid.SliceOfN(rapid.Float64Range(0.5, 1.5), 1, 20).Draw(t, "ramp"),
			Tail:  Tick(rapid.SampledFrom([]int{0, 1, 777}).Draw(t, "tail")), CountIn: rapid.IntRange(0, 2).Draw(t, "count-in"),
			Repeat: rapid.IntRange(1, 3).Draw(t, "repeat"), Answer: rapid.Bool().Draw(t, "answer"),
		}
		p, err := s.Practice(st)
		if err != nil {
			t.Fatal(err)
		}
		c, err := NewCursor(s, p, int(rate))
		if err != nil {
			t.Fatal(err)
		}
		got := notesOn(runCursor(c, 1<<40, 1<<40))
		sum := frames(int64(4*st.CountIn), bpm[0], st.Scale*st.Ramp[0], rate)
		var want []int64
		for _, f := range st.Ramp {
			length := frames(4, bpm[0], st.Scale*f, rate)
			length.Add(length, new(big.Rat).Mul(frames(1, bpm[1], st.Scale*f, rate), big.NewRat(3840+int64(st.Tail), 960)))
			for range st.Repeat {
				want = append(want, round(sum))
				sum.Add(sum, length)
				if st.Answer {
					sum.Add(sum, length)
				}
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("starts (-want +got):\n%s", d)
		}
	})
}

// An order begins a sum of its own at a whole frame, and what follows is exact
// again.
func TestSumsAfterOrders(t *testing.T) {
	const rate = 44100
	s := oneBar(97)
	for _, c := range []struct {
		name  string
		order Order
		first int64 // start of the first pass afterwards
		bpm   float64
	}{
		{"again", Order{Kind: Again, At: 150_001}, 150_001, 97},
		{"next", Order{Kind: Next, At: 150_001}, 150_001, 97},
		{"tempo", Order{Kind: Tempo, At: 150_001, Factor: 1.1}, round(frames(8, 97, 1, rate)), 97 * 1.1},
	} {
		cur := newCursor(t, s, Practice{Passes: []Pass{{}}, Repeat: Forever}, rate)
		cur.Send(c.order)
		length := frames(4, c.bpm, 1, rate)
		on := notesOn(runCursor(cur, 1000, 200_000_000))
		for i, at := range on {
			if at < c.first {
				continue
			}
			k := int64(i - 2)
			if want := c.first + round(new(big.Rat).Mul(length, big.NewRat(k, 1))); at != want {
				t.Fatalf("%s: pass %d afterwards starts at %d, want %d", c.name, k, at, want)
			}
		}
		if len(on) < 1000 {
			t.Errorf("%s: only %d passes", c.name, len(on))
		}
	}
	// Switch counts the passes of its own practice.
	cur := newCursor(t, s, Practice{Passes: []Pass{{}}, Repeat: Forever}, rate)
	slow, err := Prepare(s, Practice{Passes: []Pass{{Scale: 0.7, CountIn: 1}}, Repeat: Forever}, rate)
	if err != nil {
		t.Fatal(err)
	}
	cur.Send(Order{Kind: Switch, At: 150_001, To: slow})
	on := notesOn(runCursor(cur, 1000, 200_000_000))[2:]
	for k, at := range on {
		want := 150_001 + round(new(big.Rat).Mul(frames(4, 97, 0.7, rate), big.NewRat(int64(k+1), 1)))
		if at != want {
			t.Fatalf("switch: pass %d starts at %d, want %d", k, at, want)
		}
	}
	if pos, ok := cur.Position(150_000); ok && pos.Practice != 0 {
		t.Errorf("before the switch: %+v", pos)
	}
	if pos, ok := cur.Position(cur.now - 1); !ok || pos.Practice != 1 || pos.Played != len(on) || pos.Scale != 0.7 {
		t.Errorf("switch: %+v after %d passes", pos, len(on))
	}
}

// story is what is sent, at quarters of bpm from the start: names of notes, a
// click high or low, a comma before what ends.
func story(out []sent, bpm float64) string {
	var parts []string
	for _, m := range out {
		name := keyName(int(m.Msg[1]))
		if channel(m.Msg) == clickChannel {
			name = map[byte]string{clickHigh: "high", clickLow: "low"}[m.Msg[1]]
			if isOff(m.Msg) {
				continue
			}
		}
		if isOff(m.Msg) {
			name = "/" + name
		}
		parts = append(parts, fmt.Sprintf("%s %.4g", name, float64(m.At)/48000*bpm/60))
	}
	return strings.Join(parts, ", ")
}

func TestTail(t *testing.T) {
	clicked := func(a *voicing.Arrangement) *Sequence {
		return Perform(a, PerformOptions{NoProgram: true, NoLevels: true, NoSpread: true, Feel: straight(), Click: true})
	}
	four := theory.Metre{Num: 4, Den: 4}
	// Three beats of a bar, whose fourth is the pick-up of what follows.
	cut := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}},
		Bars:  []voicing.Bar{{Label: "1", Len: 3840, Beat: 960, Metre: four}, {Label: "2", At: 3840, Len: 2880, Beat: 960, Metre: four}, {Label: "2+", At: 6720, Len: 960, Beat: 960, Metre: four}},
		Notes: []voicing.Note{note(3840, 2880, 1, 0, voicing.Melody), note(6720, 960, 1, 2, voicing.Melody)}}
	six := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}},
		Bars:  []voicing.Bar{{Label: "1", Len: 2880, Beat: 1440, Metre: theory.Metre{Num: 6, Den: 8}}},
		Notes: []voicing.Note{note(0, 1440, 1, 0, voicing.Melody)}}
	turns := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}},
		Bars: []voicing.Bar{{Label: "1", Len: 3840, Beat: 960, Metre: four}, {Label: "2", At: 3840, Len: 2880, Beat: 960, Metre: theory.Metre{Num: 3, Den: 4}}}}
	slows := &voicing.Arrangement{Bars: bars44(2, theory.Key{}), Tempi: []voicing.TempoMark{{BPM: 120}, {At: 3840, BPM: 60}},
		Notes: []voicing.Note{note(1920, 3840, 6, 3, voicing.Bass)}}
	for _, c := range []struct {
		name string
		s    *Sequence
		p    Practice
		want string
	}{
		{"an end that falls into it comes at its time", held(), Practice{Passes: []Pass{{To: 3840, Tail: 3840}, {To: 960}}},
			"E4 0, /E4 1, G2 2, /G2 6, E4 8, /E4 9"},
		{"what rings longer ends at the seam", held(), Practice{Passes: []Pass{{To: 3840, Tail: 960}, {To: 960}}},
			"E4 0, /E4 1, G2 2, /G2 5, E4 5, /E4 6"},
		{"the last pass rings to its own end", held(), Practice{Passes: []Pass{{To: 3840, Tail: 960}}},
			"E4 0, /E4 1, G2 2, /G2 6"},
		{"beyond the end of all", held(), Practice{Passes: []Pass{{From: 3840, Tail: 960}}, Repeat: 2},
			"F#4 0, /F#4 1, G4 3, /G4 4, F#4 5, /F#4 6, G4 8, /G4 9"},
		{"the metronome goes on", clicked(&voicing.Arrangement{Bars: bars44(1, theory.Key{}), Tempi: []voicing.TempoMark{{BPM: 120}}}), Practice{Passes: []Pass{{Tail: 5760}, {To: 960}}},
			"high 0, low 1, low 2, low 3, high 4, low 5, low 6, low 7, high 8, low 9, high 10"},
		{"from inside a bar to its end, then whole bars", clicked(&voicing.Arrangement{Bars: bars44(2, theory.Key{}), Tempi: []voicing.TempoMark{{BPM: 120}}}), Practice{Passes: []Pass{{To: 2400, Tail: 2400}}},
			"high 0, low 1, low 2, low 3, high 4"},
		{"the rest of a bar cut short", clicked(cut), Practice{Passes: []Pass{{From: 3840, To: 6720, Tail: 1920}}},
			"E4 0, high 0, low 1, low 2, /E4 3, low 3, high 4"},
		{"after the pick-up that ends it", clicked(cut), Practice{Passes: []Pass{{From: 6720, Tail: 1920}}},
			"F#4 0, low 0, /F#4 1, high 1, low 2"},
		{"in the metre that was, not in the next", clicked(turns), Practice{Passes: []Pass{{To: 3840, Tail: 4800}}},
			"high 0, low 1, low 2, low 3, high 4, low 5, low 6, low 7, high 8"},
		{"in compound metre", clicked(six), Practice{Passes: []Pass{{Tail: 2880}}},
			"E4 0, high 0, /E4 1.5, low 1.5, high 3, low 4.5"},
		{"without the metronome", clicked(six), Practice{Passes: []Pass{{Tail: 2880, Mute: Layers(Click)}}},
			"E4 0, /E4 1.5"},
		{"at the tempo in which the part ends", clicked(slows), Practice{Passes: []Pass{{To: 3840, Tail: 3840}, {To: 960}}},
			"high 0, low 1, G2 2, low 2, low 3, high 4, low 5, /G2 6, low 6, low 7, high 8"},
	} {
		got := story(runCursor(newCursor(t, c.s, c.p, 48000), 1000, 1<<40), 120)
		if got != c.want {
			t.Errorf("%s:\n%s, want\n%s", c.name, got, c.want)
		}
	}
}

func TestTailPosition(t *testing.T) {
	s := held()
	c := newCursor(t, s, Practice{Passes: []Pass{{To: 2880, Tail: 2400, Kind: Alone}, {To: 960}}}, 48000)
	runCursor(c, 1000, 1<<40)
	var got []string
	for _, beat := range []float64{2.9, 3, 3.5, 4, 5.4, 5.6} {
		p, _ := c.Position(int64(beat * 24000))
		got = append(got, fmt.Sprintf("%s:%.1f tick %d tail %v", p.Bar, p.Beat, p.Tick, p.Tail))
	}
	want := []string{
		"1:3.9 tick 2784 tail false", ":4.0 tick 2880 tail true", ":4.5 tick 3360 tail true",
		":1.0 tick 3840 tail true", ":2.4 tick 5184 tail true", "1:1.1 tick 96 tail false",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestAgainAndSwitch(t *testing.T) {
	s := held()
	counted := Practice{Passes: []Pass{{To: 960, CountIn: 1}, {From: 3840, To: 4800}}, Repeat: 1}
	end := func(beat float64) int64 { return int64(beat * 24000) }
	for _, c := range []struct {
		name   string
		orders []Order
		want   string
	}{
		{"again in the count-in starts it over", []Order{{Kind: Again, At: end(1.5)}}, "high 0, low 1, high 1.5, low 2.5, low 3.5, low 4.5, E4 5.5, /E4 6.5, F#4 6.5, /F#4 7.5"},
		{"again in the first pass", []Order{{Kind: Again, At: end(4.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, high 4.5, low 5.5, low 6.5, low 7.5, E4 8.5, /E4 9.5, F#4 9.5, /F#4 10.5"},
		{"again in a pass without a count-in of its own", []Order{{Kind: Again, At: end(5.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 5, F#4 5, /F#4 5.5, high 5.5, low 6.5, low 7.5, low 8.5, F#4 9.5, /F#4 10.5"},
		{"again twice", []Order{{Kind: Again, At: end(4.5)}, {Kind: Again, At: end(4.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, high 4.5, low 5.5, low 6.5, low 7.5, E4 8.5, /E4 9.5, F#4 9.5, /F#4 10.5"},
		{"again in a pause ends it", []Order{{Kind: Pause, At: end(4.5)}, {Kind: Again, At: end(6)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, high 6, low 7, low 8, low 9, E4 10, /E4 11, F#4 11, /F#4 12"},
		{"again with a new tempo", []Order{{Kind: Tempo, At: end(4.2), Factor: 2}, {Kind: Again, At: end(4.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, high 4.5, low 5, low 5.5, low 6, E4 6.5, /E4 7, F#4 7, /F#4 7.5"},
		{"a tempo in the count-in waits for the seam of its pass", []Order{{Kind: Tempo, At: end(1), Factor: 2}}, "high 0, low 1, low 2, low 3, E4 4, /E4 5, F#4 5, /F#4 5.5"},
		{"the metronome muted: a count-in is heard", []Order{{Kind: Mute, Layers: AllLayers}, {Kind: Unmute, At: end(4.5), Layers: Layers(Melody)}}, "high 0, low 1, low 2, low 3, F#4 5, /F#4 6"},
		{"switch", []Order{{Kind: Switch, At: end(4.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, F#4 4.5, /F#4 5.5, G4 7.5, /G4 8.5"},
		{"switch in a pause ends it", []Order{{Kind: Pause, At: end(4.5)}, {Kind: Switch, At: end(4.75)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, F#4 4.75, /F#4 5.75, G4 7.75, /G4 8.75"},
		{"switch forgets the tempo ordered", []Order{{Kind: Tempo, At: end(4.2), Factor: 2}, {Kind: Switch, At: end(4.5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, F#4 4.5, /F#4 5.5, G4 7.5, /G4 8.5"},
		{"a tempo for what is switched to", []Order{{Kind: Switch, At: end(4.5)}, {Kind: Tempo, At: end(1), Factor: 2}, {Kind: Tempo, At: end(4.5), Factor: 0.5}, {Kind: Again, At: end(5)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, F#4 4.5, /F#4 5, F#4 5, /F#4 7, G4 11, /G4 13"},
		{"a tempo for what has been left", []Order{{Kind: Tempo, At: end(5), Factor: 2}, {Kind: Switch, At: end(4.5)}, {Kind: Again, At: end(5.25)}}, "high 0, low 1, low 2, low 3, E4 4, /E4 4.5, F#4 4.5, /F#4 5.25, F#4 5.25, /F#4 6.25, G4 8.25, /G4 9.25"},
	} {
		cur := newCursor(t, s, counted, 48000)
		other, err := Prepare(s, Practice{Passes: []Pass{{From: 3840}}}, 48000)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range c.orders {
			if o.Kind == Switch {
				o.To = other
			}
			cur.Send(o)
		}
		out := runCursor(cur, 777, 1<<40)
		balanced(t, out)
		if got := story(out, 120); got != c.want {
			t.Errorf("%s:\n%s, want\n%s", c.name, got, c.want)
		}
	}
	// A pass begun again counts once, in the count-in not yet.
	cur := newCursor(t, s, counted, 48000)
	cur.Send(Order{Kind: Again, At: end(1)})
	cur.Send(Order{Kind: Again, At: end(5.5)})
	runCursor(cur, 777, 1<<40)
	for _, c := range []struct {
		beat   float64
		played int
	}{{0.5, 0}, {1.5, 0}, {5.25, 1}, {6, 0}, {9.75, 1}, {10.75, 2}, {12, 2}} {
		if p, ok := cur.Position(end(c.beat)); !ok || p.Played != c.played {
			t.Errorf("at beat %g: %+v, want %d passes", c.beat, p, c.played)
		}
	}
	// What cannot be switched to changes nothing.
	cur = newCursor(t, s, counted, 48000)
	want := story(runCursor(newCursor(t, s, counted, 48000), 777, 1<<40), 120)
	fast, err := Prepare(s, counted, 44100)
	if err != nil {
		t.Fatal(err)
	}
	cur.Send(Order{Kind: Switch})
	cur.Send(Order{Kind: Switch, To: fast, At: end(2)})
	if got := story(runCursor(cur, 777, 1<<40), 120); got != want {
		t.Errorf("after void orders: %s, want %s", got, want)
	}
	for _, p := range []Practice{{}, Once(Pass{From: 1 << 40}), {Passes: []Pass{{}}, Loop: 1}, {Passes: []Pass{{}}, Loop: -1}} {
		if _, err := Prepare(s, p, 48000); err == nil {
			t.Errorf("%+v is prepared", p)
		}
	}
}

// What is switched to may be of another sequence, on other strings: in the end
// they are silenced too.
func TestSwitchToAnotherSequence(t *testing.T) {
	c := newCursor(t, oneBar(120), Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	other, err := Prepare(held(), Practice{Passes: []Pass{{From: 1920}}, Repeat: Forever}, 48000)
	if err != nil {
		t.Fatal(err)
	}
	c.Send(Order{Kind: Switch, At: 24000, To: other})
	out := runCursor(c, 777, 60000)
	if got, want := story(out, 120), "E4 0, /E4 1, G2 1"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	silenced := map[int]bool{}
	c.Silence(func(m [3]byte) {
		out = append(out, sent{c.now, m})
		if m[0]&0xF0 == statusControl && m[1] == 123 {
			silenced[channel(m)] = true
		}
	})
	balanced(t, out)
	if want := map[int]bool{0: true, 5: true}; !maps.Equal(silenced, want) {
		t.Errorf("silenced the channels %v, want %v", silenced, want)
	}
}

// A note struck just before the seam, spread or rounded beyond it, is not lost.
func TestHeldBackFromTheSeam(t *testing.T) {
	s := oneBar(97)
	s.Events = append(s.Events,
		Event{3835, 0, Inner, noteOn(2, 50, 80)}, Event{3840, 40e6, Inner, noteOff(2, 50)},
		Event{3836, 20e6, Inner, noteOn(3, 55, 80)}, Event{3840, 40e6, Inner, noteOff(3, 55)},
		Event{3839, 0, Inner, noteOn(4, 59, 80)}, Event{3840, 0, Inner, noteOff(4, 59)})
	sortEvents(s.Events)
	c := newCursor(t, s, Practice{Passes: []Pass{{}}, Repeat: 200}, 8000)
	out := runCursor(c, 1000, 1<<40)
	balanced(t, out)
	if n := len(notesOn(out)); n != 4*200 {
		t.Errorf("%d attacks in 200 passes, want 800", n)
	}
}

// A file may hold a key down twice; here it sounds once, and both ends of the
// first are one.
func TestKeyStruckTwice(t *testing.T) {
	s := &Sequence{End: 3840, Events: []Event{
		{0, 0, Melody, noteOn(0, 60, 90)}, {480, 0, Melody, noteOn(0, 60, 80)}, {960, 0, Melody, noteOff(0, 60)}, {1920, 0, Melody, noteOff(0, 60)},
	}}
	out := runCursor(newCursor(t, s, Once(Pass{}), 48000), 1000, 1<<40)
	if got, want := story(out, 120), "C4 0, /C4 0.5, C4 0.5, /C4 2"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	// Without bars the rest is in 4/4.
	if p, err := s.Practice(Study{Rest: 1}); err != nil || p.Passes[0].Tail != 3840 {
		t.Errorf("rest of %+v (%v)", p, err)
	}
}

// genPractice is any practice of a sequence, never endless.
func genPractice(t *rapid.T, s *Sequence, name string) Practice {
	from := Tick(rapid.IntRange(0, int(s.End)-1).Draw(t, name+" from"))
	st := Study{From: from, To: Tick(rapid.IntRange(int(from)+1, int(s.End)).Draw(t, name+" to")),
		Tail:    Tick(rapid.SampledFrom([]int{0, 1, 480, 960, 5000}).Draw(t, name+" tail")),
		Scale:   rapid.SampledFrom([]float64{0.5, 1, 1.37}).Draw(t, name+" scale"),
		Mute:    LayerSet(rapid.IntRange(0, int(AllLayers)).Draw(t, name+" mute")),
		Answer:  rapid.Bool().Draw(t, name+" answer"),
		Time:    Layers(Time, Click),
		Rest:    rapid.IntRange(0, 1).Draw(t, name+" rest"),
		CountIn: rapid.IntRange(-1, 1).Draw(t, name+" count-in"),
		Repeat:  rapid.IntRange(1, 2).Draw(t, name+" repeat"),
	}
	if rapid.Bool().Draw(t, name+" ramps") {
		st.Ramp = []float64{0.6, 0.97}
	}
	p, err := s.Practice(st)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// keysBalanced checks the order of messages, and that each key on each channel
// is struck only when silent and ended once.
func keysBalanced(t interface{ Fatalf(string, ...any) }, out []sent) {
	var sounds [16][128]bool
	for i, s := range out {
		if i > 0 && s.At < out[i-1].At {
			t.Fatalf("%v after %v", s, out[i-1])
		}
		k := &sounds[channel(s.Msg)][s.Msg[1]&0x7F]
		if on, off := isOn(s.Msg), isOff(s.Msg); on && *k || off && !*k {
			t.Fatalf("%v while it sounds: %v", s, *k)
		} else if on || off {
			*k = on
		}
	}
	for ch := range sounds {
		for k, on := range sounds[ch] {
			if on {
				t.Fatalf("key %d on channel %d sounds at the end", k, ch+1)
			}
		}
	}
}

// Whatever is ordered whenever: notes end once and before they come again, the
// steps of Fill do not matter, a place never goes back within a pass.
func TestOrderProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := genArrangement(t)
		if rapid.Bool().Draw(t, "trio") {
			for at := voicing.Tick(0); at < a.End(); at += 480 {
				a.Time = append(a.Time, voicing.Stroke{At: at, Stick: voicing.Ride})
			}
			a.Setting = voicing.Trio
		}
		s := Perform(a, PerformOptions{Click: rapid.Bool().Draw(t, "click")})
		p, other := genPractice(t, s, "first"), genPractice(t, s, "other")
		const rate = 8000
		var orders []Order
		for range rapid.IntRange(0, 12).Draw(t, "orders") {
			o := Order{Kind: OrderKind(rapid.IntRange(int(Pause), int(Switch)).Draw(t, "kind")), At: int64(rapid.IntRange(0, 20*rate).Draw(t, "at")),
				Layers: LayerSet(rapid.IntRange(0, 63).Draw(t, "layers")), Factor: rapid.Float64Range(0.5, 2).Draw(t, "factor")}
			orders = append(orders, o)
			if o.Kind == Pause {
				orders = append(orders, Order{Kind: Resume, At: o.At + rate})
			}
		}
		step := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var want []sent
		for try := range 2 {
			c, err := NewCursor(s, p, rate)
			if err != nil {
				if strings.Contains(err.Error(), "shorter than a frame") {
					return
				}
				t.Fatal(err)
			}
			to, err := Prepare(s, other, rate)
			if err != nil {
				if strings.Contains(err.Error(), "shorter than a frame") {
					return
				}
				t.Fatal(err)
			}
			for _, o := range orders {
				if o.Kind == Switch {
					o.To = to
				}
				c.Send(o)
			}
			var got []sent
			emit := func(at int64, m [3]byte) { got = append(got, sent{at, m}) }
			if try == 0 {
				c.Fill(1<<40, emit)
				want = got
			} else {
				var last Position
				for more, until := true, int64(0); more; {
					was := until
					until += 1 + step.Int64N(4000)
					n := len(got)
					more = c.Fill(until, emit)
					for _, m := range got[n:] {
						if m.At < was || m.At >= until {
							t.Fatalf("%v in frames %d to %d", m, was, until)
						}
					}
					pos, ok := c.Position(until - 1)
					if !ok {
						t.Fatalf("no position at %d", until-1)
					}
					if !pos.Done && pos.Pass == last.Pass && pos.Played == last.Played && pos.CountIn == last.CountIn && pos.Tick < last.Tick && !restarted(orders, was, until) {
						t.Fatalf("%+v after %+v", pos, last)
					}
					last = pos
				}
				if d := cmp.Diff(want, got); d != "" {
					t.Fatalf("in steps (-all at once +so):\n%s", d)
				}
			}
			if !c.done || len(c.live) > 0 {
				t.Fatalf("over: %v, %d notes sound", c.done, len(c.live))
			}
			keysBalanced(t, got)
		}
	})
}

// What an order silences at a frame belongs to the call of Fill that hands that
// frame out, not to the one that ends before it; a call that goes no further obeys
// nothing.
func TestOrderAtTheEndOfFill(t *testing.T) {
	c := newCursor(t, held(), Practice{Passes: []Pass{{}}, Repeat: Forever}, 48000)
	c.Send(Order{Kind: Stop, At: 1000})
	for _, step := range []struct {
		until int64
		more  bool
		want  string
	}{{1000, true, "E4 0"}, {1000, true, ""}, {1001, false, "/E4 0.04167"}} {
		var out []sent
		more := c.Fill(step.until, func(at int64, m [3]byte) { out = append(out, sent{at, m}) })
		if got := story(out, 120); got != step.want || more != step.more {
			t.Errorf("until %d: %q, more: %v; want %q, %v", step.until, got, more, step.want, step.more)
		}
	}
}

// restarted reports whether an order between two frames begins something anew.
func restarted(orders []Order, from, to int64) bool {
	for _, o := range orders {
		if o.At >= from-1 && o.At < to && (o.Kind == Again || o.Kind == Switch || o.Kind == Next) {
			return true
		}
	}
	return false
}

// Again is the same pass from its start, to the frame.
func TestAgainRepeats(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Perform(genArrangement(t), PerformOptions{Click: true})
		p := genPractice(t, s, "practice")
		p.Passes, p.Loop = p.Passes[:1], 0
		p.Passes[0].CountIn, p.Passes[0].Times, p.Repeat = rapid.IntRange(0, 1).Draw(t, "bars"), 0, Forever
		c, err := NewCursor(s, p, 8000)
		if err != nil {
			return // shorter than a frame
		}
		at := int64(rapid.IntRange(1, 100_000).Draw(t, "at"))
		c.Send(Order{Kind: Again, At: at})
		// What is played from a frame on, until just before the first seam.
		body := c.plan.bodies[0]
		head := int64(0)
		if n := c.plan.counts[0]; p.Passes[0].CountIn != 0 && n != nil {
			head = n.length.whole
		}
		length := head + body.length.whole
		var first, second []sent
		c.Fill(at+length+1, func(f int64, m [3]byte) {
			switch {
			case !isOn(m):
			case f < min(at, length):
				first = append(first, sent{f, m})
			case f >= at && f-at < min(at, length):
				second = append(second, sent{f - at, m})
			}
		})
		if d := cmp.Diff(first, second); d != "" {
			t.Fatalf("(-first +again):\n%s", d)
		}
	})
}

// everyday is a practice with all that there is, and orders of all kinds
// throughout some hours of it; for a port with MIDI clock and hushed.
func everyday(t testing.TB, port bool) *Cursor {
	s := Perform(gateLatchTrio(), PerformOptions{Click: true})
	percents, err := Percents(60, 100, 5)
	if err != nil {
		t.Fatal(err)
	}
	study := Study{From: 960, To: 4800, Tail: 480, Ramp: percents, Layers: []LayerSet{Layers(Bass, Click), AllLayers}, Answer: true, Time: Layers(Time, Click), Rest: 1, CountIn: CountInAuto}
	p, err := s.Practice(study)
	if err != nil {
		t.Fatal(err)
	}
	p.Clock = port
	c := newCursor(t, s, p, 48000)
	c.Hush = port
	study.From, study.To, study.Scale = 4800, 8640, 0.777
	if p, err = s.Practice(study); err != nil {
		t.Fatal(err)
	}
	p.Clock = port
	other, err := Prepare(s, p, 48000)
	if err != nil {
		t.Fatal(err)
	}
	kinds := []Order{
		{Kind: Mute, Layers: Layers(Bass, Time)}, {Kind: Pause}, {Kind: Resume}, {Kind: Tempo, Factor: 1.07}, {Kind: Unmute, Layers: AllLayers},
		{Kind: Again}, {Kind: Next}, {Kind: Switch, To: other}, {Kind: Tempo, Factor: 0.93}, {Kind: Pause}, {Kind: Switch, To: other},
	}
	for i := range 300 {
		o := kinds[i%len(kinds)]
		o.At = int64(i) * 1_234_567
		c.Send(o)
	}
	return c
}

// nothing is a listener.
func nothing(int64, [3]byte) {}

func TestFillAllocatesNothing(t *testing.T) {
	for _, port := range []bool{false, true} {
		// AllocsPerRun runs once more than it is told to, and rounds down what it
		// finds: so everything is in one run, and every run has a cursor of its own.
		cs := []*Cursor{everyday(t, port), everyday(t, port)}
		passes := 0
		n := testing.AllocsPerRun(1, func() {
			c := cs[0]
			cs = cs[1:]
			passes = 0
			for last := 0; c.now < 800_000_000; last = c.played { // 4.6 hours
				c.Fill(c.now+512, nothing)
				if c.played != last {
					passes++
				}
			}
			if len(c.mail.letters) > 0 {
				t.Errorf("%d orders left", len(c.mail.letters))
			}
		})
		if n != 0 || passes < 1000 {
			t.Errorf("for a port %v: %g allocations in %d passes", port, n, passes)
		}
	}
}

func TestHeapDoesNotGrow(t *testing.T) {
	c := everyday(t, false)
	live := func() int64 {
		runtime.GC()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	fill := func(until int64) {
		for c.now < until {
			c.Fill(c.now+4096, nothing)
		}
	}
	fill(400_000_000) // all orders are behind
	before := live()
	fill(1_000_000_000)
	if grown := live() - before; grown > 16<<10 {
		t.Errorf("the heap has grown by %d bytes in %d passes", grown, c.played)
	}
	runtime.KeepAlive(c)
}
