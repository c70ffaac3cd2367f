package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thumbline/midiio"
)

var t0 = time.Date(2020, 1, 1, 12, 0, 0, 0, time.UTC)

// plans that tests go by.
var (
	loopPlan  = []turn{{0.6, false, midiio.AllLayers, 1}}
	rampPlan  = []turn{{0.6, false, midiio.AllLayers, 1}, {0.65, false, midiio.AllLayers, 1}, {0.7, false, midiio.AllLayers, 1}}
	answering = []turn{{0.6, false, midiio.AllLayers, 1}, {0.6, true, midiio.Layers(midiio.Click), 1}}
	rampTwice = []turn{{0.6, false, midiio.AllLayers, 2}, {0.65, false, midiio.AllLayers, 2}}
)

func (o order) String() string {
	switch o.kind {
	case orderPause:
		return "pause"
	case orderResume:
		return "resume"
	case orderAgain:
		return "again"
	case orderPart:
		return fmt.Sprintf("part %d x%.3g", o.part, o.factor)
	case orderTempo:
		return fmt.Sprintf("tempo x%.4g", o.factor)
	case orderMute:
		return "mute " + strings.Join(layerNames(allThere, o.layers), ",")
	case orderUnmute:
		return "unmute " + strings.Join(layerNames(allThere, o.layers), ",")
	case orderStop:
		return "stop"
	}
	return "?"
}

var allThere = append(layersThere(true), midiio.Click)

// What a player does and hears, and what is ordered: a word is a key or, as
// "pass N", the sound's beginning of pass N. Half a second lies between.
func TestRehearsal(t *testing.T) {
	for _, c := range []struct {
		name  string
		plan  []turn
		back  int
		here  int
		home  int
		does  string
		want  string
		state func(r *rehearsal) string
		is    string
	}{
		{name: "the one key goes back to the start of the pass", plan: loopPlan, does: "pass 1, key, key", want: "again again"},
		{name: "and goes on after a pause", plan: loopPlan, does: "pass 1, p, key, p, p", want: "pause resume pause resume"},
		{name: "after six passes of a loop it goes to the next part", plan: loopPlan, does: "pass 1, pass 6, key, pass 6, key", want: "again again",
			state: fullPasses, is: "5"},
		{name: "and then", plan: loopPlan, does: "pass 7, key", want: "part 2 x1"},
		{name: "a pass that was begun again is no full one", plan: loopPlan, does: "pass 1, key, pass 1, key, pass 1, pass 2", want: "again again", state: fullPasses, is: "1"},
		{name: "the last tempo of a ramp was not played yet", plan: rampPlan, back: 2, does: "pass 3, key", want: "again"},
		{name: "it was", plan: rampPlan, back: 2, does: "pass 4, key", want: "part 2 x1"},
		{name: "who is late for the seam means the pass before it", plan: rampPlan, back: 2, does: "pass 3, seam 4, key, pass 4, pass 5, key", want: "again part 2 x1"},
		{name: "a ramp with each tempo twice", plan: rampTwice, back: 1, does: "pass 3, key, pass 4, key", want: "again part 2 x1"},
		{name: "with time alone six passes are six, too", plan: answering, does: "pass 6, key, pass 7, key", want: "again part 2 x1"},
		{name: "from the last part to the first", plan: loopPlan, here: 3, does: "pass 1, n, n", want: "part 0 x1 part 1 x1"},
		{name: "from the first to the last", plan: loopPlan, does: "pass 1, b", want: "part 3 x1"},
		{name: "from bars to what comes after the part that they begin in", plan: loopPlan, here: -1, home: 2, does: "n, b, b", want: "part 3 x1 part 2 x1 part 1 x1"},
		{name: "from the whole to the first", plan: loopPlan, here: -1, home: -1, does: "n", want: "part 0 x1"},
		{name: "from the whole back to the last", plan: loopPlan, here: -1, home: -1, does: "b", want: "part 3 x1"},
		{name: "slower and faster by 5 % of the written tempo", plan: loopPlan, does: "pass 1, -, -, +, +, +", want: "tempo x0.9167 tempo x0.8333 tempo x0.9167 tempo x1 tempo x1.083",
			state: nextPercent, is: "65"},
		{name: "not below a tenth", plan: []turn{{0.12, false, midiio.AllLayers, 1}}, does: "pass 1, -, -, -", want: "tempo x0.8333", state: nextPercent, is: "10"},
		{name: "not above three times", plan: []turn{{2.98, false, midiio.AllLayers, 1}}, does: "pass 1, +, +", want: "tempo x1.007", state: nextPercent, is: "300"},
		{name: "in a ramp it is the next tempo that is turned", plan: rampPlan, back: 2, does: "pass 1, -", want: "tempo x0.9231", state: nextPercent, is: "60"},
		{name: "a turned tempo is kept for the next part", plan: loopPlan, does: "pass 1, -, n", want: "tempo x0.9167 part 2 x0.917"},
		{name: "but a ramp begins anew", plan: rampPlan, back: 2, does: "pass 1, -, n", want: "tempo x0.9231 part 2 x1"},
		{name: "layers go off and on", plan: loopPlan, does: "bass, melody, bass", want: "mute bass mute melody unmute bass"},
		{name: "the click is off at first", plan: loopPlan, does: "click, click", want: "unmute click mute click"},
		{name: "a pause ends with another part, and after it p pauses", plan: loopPlan, does: "p, n, p", want: "pause part 2 x1 pause"},
		{name: "stop is the last", plan: loopPlan, does: "q, n, key, q", want: "stop"},
		{name: "where orders nothing", plan: loopPlan, does: "w", want: ""},
	} {
		here, home := c.here, c.home
		if here == 0 && !strings.Contains(c.name, "first") {
			here = 1
		}
		r := newRehearsal(4, here, home, c.plan, c.back)
		r.muted = midiio.Layers(midiio.Click)
		keys := map[string]press{"key": {do: theKey}, "p": {do: pauseOrGo}, "a": {do: again}, "n": {do: nextPart}, "b": {do: previousPart},
			"-": {do: slower}, "+": {do: faster}, "w": {do: where}, "q": {do: stop}}
		for _, l := range allThere {
			keys[l.String()] = press{layerOnOff, l}
		}
		at := t0
		var got []string
		for _, word := range strings.Split(c.does, ", ") {
			at = at.Add(500 * time.Millisecond)
			var n int
			if _, err := fmt.Sscanf(word, "seam %d", &n); err == nil {
				r.heard(midiio.Position{Played: n, Bar: "1"}, true, at)
				continue
			}
			if _, err := fmt.Sscanf(word, "pass %d", &n); err == nil {
				r.heard(midiio.Position{Played: n, Bar: "1"}, true, at)
				at = at.Add(seamGrace)
				r.heard(midiio.Position{Played: n, Bar: "1"}, true, at)
				continue
			}
			k, ok := keys[word]
			if !ok {
				t.Fatalf("%s: %q", c.name, word)
			}
			for _, o := range r.press(k, at) {
				got = append(got, o.String())
			}
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s: ordered %q, want %q", c.name, g, c.want)
		}
		if c.state != nil {
			if g := c.state(&r); g != c.is {
				t.Errorf("%s: %s, want %s", c.name, g, c.is)
			}
		}
	}
}

func fullPasses(r *rehearsal) string  { return fmt.Sprint(r.full) }
func nextPercent(r *rehearsal) string { return fmt.Sprintf("%.4g", 100*r.nextScale()) }

// A key that is held or struck twice in a moment was struck once.
func TestBounce(t *testing.T) {
	for _, c := range []struct {
		key  action
		gaps []int // ms
		want int   // presses that count
	}{
		{theKey, []int{0, 100}, 1}, {theKey, []int{0, 249}, 1}, {theKey, []int{0, 250}, 2},
		{theKey, []int{0, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30}, 1}, // held
		{pauseOrGo, []int{0, 200, 260}, 2},
		{nextPart, []int{0, 60, 150}, 2},
		{slower, []int{0, 30, 30}, 3},
	} {
		r := newRehearsal(4, 0, 0, loopPlan, 0)
		at, n := t0, 0
		for _, g := range c.gaps {
			at = at.Add(time.Duration(g) * time.Millisecond)
			n += len(r.press(press{do: c.key}, at))
		}
		if n != c.want {
			t.Errorf("key %d after %v ms: %d times, want %d", c.key, c.gaps, n, c.want)
		}
	}
}

// Rests are offered after six passes of a part and after each 25 minutes of
// playing, for a few passes; a rest of five minutes begins the time anew.
func TestRestsOffered(t *testing.T) {
	r := newRehearsal(4, 0, 0, loopPlan, 0)
	now := t0
	pass := 0
	// play for so long, a pass a minute; said are the offers on the way
	play := func(minutes int) (said []string) {
		for range minutes {
			pass++
			for s := range 60 {
				at := now.Add(time.Duration(s) * time.Second)
				r.heard(midiio.Position{Played: pass}, true, at)
			}
			now = now.Add(time.Minute)
		}
		for _, e := range r.events {
			if e.kind == offered {
				said = append(said, e.text)
			}
		}
		r.events = nil
		return said
	}
	want := func(when string, got []string, want ...string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", when, got, want)
		}
	}
	want("six passes", play(6))
	want("the seventh", play(1), r.sixTimes())
	if r.offer != r.sixTimes() {
		t.Errorf("the page has %q", r.offer)
	}
	want("until 20 minutes", play(13))
	if r.offer != "" {
		t.Errorf("the page still has %q", r.offer)
	}
	want("25 minutes", play(6), restOffer(1))
	want("50 minutes", play(25), restOffer(2))
	r.press(press{do: pauseOrGo}, now)
	for range 6 * 60 {
		now = now.Add(time.Second)
		r.heard(midiio.Position{Played: pass, Paused: true}, true, now)
	}
	r.press(press{do: pauseOrGo}, now)
	want("24 minutes after a rest", play(24))
	want("26 minutes after a rest", play(2), restOffer(1))
	if m := r.all.Minutes(); m < 76 || m > 78 {
		t.Errorf("%.1f minutes were played", m)
	}
	r.press(press{do: nextPart}, now)
	pass = 0
	want("six passes of the next part", play(6))
	want("the seventh", play(1), r.sixTimes())
}

// What was heard before an order to begin anew is old news.
func TestOldNews(t *testing.T) {
	r := newRehearsal(4, 0, 0, loopPlan, 0)
	r.heard(midiio.Position{Played: 5, Bar: "3"}, true, t0)
	r.press(press{do: nextPart}, t0)
	r.heard(midiio.Position{Played: 5, Bar: "3"}, false, t0.Add(time.Second))
	if r.passes != 0 || r.now.Bar != "" || r.state() != "COUNT-IN" {
		t.Errorf("pass %d, bar %q, %s", r.passes, r.now.Bar, r.state())
	}
}

// Once all has been played there is nothing to order but the end of what rings.
func TestKeysAtTheEnd(t *testing.T) {
	r := newRehearsal(4, 0, 0, rampPlan, -1)
	r.heard(midiio.Position{Played: 3, Done: true}, true, t0)
	for _, do := range []action{pauseOrGo, again, nextPart, previousPart, slower, layerOnOff} {
		if got := r.press(press{do: do, layer: midiio.Bass}, t0.Add(time.Second)); len(got) != 0 {
			t.Errorf("key %d orders %v", do, got)
		}
	}
	if got := r.press(press{do: theKey}, t0.Add(2*time.Second)); len(got) != 1 || got[0].kind != orderStop {
		t.Errorf("the one key orders %v", got)
	}
}

// Whatever keys a player hits and whatever is heard, the counts stay sane and
// the orders within their ranges.
func TestAnyKeys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan := rapid.SampledFrom([][]turn{loopPlan, rampPlan, answering, rampTwice}).Draw(t, "plan")
		parts := rapid.IntRange(0, 5).Draw(t, "parts")
		here := rapid.IntRange(-1, parts-1).Draw(t, "here")
		r := newRehearsal(parts, here, rapid.IntRange(-1, parts-1).Draw(t, "home"), plan, rapid.IntRange(-1, len(plan)-1).Draw(t, "back"))
		at, played := t0, 0
		for range rapid.IntRange(0, 60).Draw(t, "steps") {
			at = at.Add(time.Duration(rapid.IntRange(0, 2000).Draw(t, "ms")) * time.Millisecond)
			if rapid.Bool().Draw(t, "hear") {
				played = r.passes + rapid.IntRange(0, 3).Draw(t, "more")
				r.heard(midiio.Position{Played: played, CountIn: rapid.Bool().Draw(t, "counted in")}, true, at)
			} else {
				for _, o := range r.press(press{do: rapid.SampledFrom([]action{theKey, pauseOrGo, again, nextPart, previousPart, slower, faster, layerOnOff}).Draw(t, "key")}, at) {
					if o.kind == orderPart && (o.part < 0 || o.part >= parts) {
						t.Fatalf("part %d of %d", o.part, parts)
					}
				}
			}
			if r.passes < 0 || r.inTurn < 0 || r.turn < 0 || r.turn >= len(plan) || r.full > r.passes || r.total < r.passes {
				t.Fatalf("%+v", r)
			}
			if n := r.nextScale(); n < 0.0999 || n > 3.0001 {
				t.Fatalf("next tempo %g", n)
			}
		}
	})
}

// Bars of rest are said when they begin, and once.
func TestRestSaid(t *testing.T) {
	r := newRehearsal(4, 0, 0, loopPlan, 0)
	r.rests = true
	var got []eventKind
	for i, tail := range []bool{false, false, true, true, false, true} {
		r.heard(midiio.Position{Played: 1 + i/4, Tail: tail}, true, t0)
	}
	for _, e := range r.events {
		got = append(got, e.kind)
	}
	if want := []eventKind{passBegun, restBegun, passBegun, restBegun}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
