package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/midiio"
	"thumbline/voicing"
)

// conducted is a command line with its page, without a sound.
func conducted(t testing.TB, args ...string) *conductor {
	t.Helper()
	var got *conductor
	e, _, _ := testEnv(fakeSound("none"))
	cs := commands()
	for i, c := range cs {
		if c.name != args[0] {
			continue
		}
		cs[i].run = func(ctx context.Context, e *env, o *options) error {
			once := c.name == "hear"
			h, pr, err := o.asked(once)
			if err != nil {
				return err
			}
			p, err := prepare(ctx, e, o, h, pr, once)
			if err != nil {
				return err
			}
			p.out = &builtIn{device: &fakeDevice{rate: p.h.rate}}
			got, err = newConductor(p, func() time.Time { return t0 }, func() {})
			return err
		}
		if err := cs[i].exec(context.Background(), e, args[1:]); err != nil {
			t.Fatal(err)
		}
	}
	return got
}

// to is the moment in pass n at a tick into the scene, or a beat of its count-in.
func (c *conductor) to(n int, into midiio.Tick) {
	for r := &c.r; r.passes < n; {
		r.begin()
	}
	c.r.last = c.r.last.Add(seamGrace)
	s := c.scene
	at := s.start + into
	b := s.a.BarAt(voicing.Tick(at))
	bar := s.a.Bars[b]
	c.r.now = midiio.Position{Tick: at, Bar: bar.Label, Beat: 1 + float64(at-midiio.Tick(bar.At))/float64(bar.Beat), Played: n, Scale: c.r.plan[c.r.turn].scale}
	if c.r.plan[c.r.turn].alone {
		c.r.now.Kind = midiio.Alone
	}
	if at >= s.end {
		c.r.now.Tail, c.r.now.Bar = true, ""
	}
}

// shownIn is a page as text, framed so that one sees its size.
func shownIn(p page, width, height int) string {
	var b strings.Builder
	edge := "+" + strings.Repeat("-", width) + "+\n"
	b.WriteString(edge)
	lines := p.lines(width, height)
	for i := range height {
		l := pageLine{}
		if i < len(lines) {
			l = lines[i]
		}
		b.WriteString("|" + padTo(l.text, width) + "|\n")
	}
	b.WriteString(edge)
	return b.String()
}

const quarter = midiio.PerQuarter

// The pages, as a player sees them: testdata/page, with -update written anew.
func TestPages(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range []struct {
		name string
		args string
		do   func(c *conductor)
	}{
		{"count-in", "loop --phrase 5 --ramp 60-100:5", func(c *conductor) {
			c.r.now = midiio.Position{CountIn: true, Beat: 3}
		}},
		{"ramp", "loop --phrase 6 --ramp 60-100:5", func(c *conductor) { c.to(3, 8*quarter) }},
		{"ramp-done", "loop --phrase 6 --ramp 60-70:5", func(c *conductor) { c.to(4, 2*quarter) }},
		{"paused", "loop --phrase 2 --tempo 80%", func(c *conductor) {
			c.to(2, 2*quarter)
			c.press("p")
			c.press("1")
		}},
		{"rest-offered", "loop --bars 19-22", func(c *conductor) { c.to(7, 5*quarter) }},
		{"rest", "loop --phrase 6 --rest 2 --layers turn", func(c *conductor) { c.to(2, 17*quarter) }},
		{"listen", "loop --phrase 2 --answer", func(c *conductor) { c.to(1, 0) }},
		{"your-turn", "loop --phrase 2 --answer --click", func(c *conductor) { c.to(2, 4*quarter) }},
		{"change", "loop --change 12:1", func(c *conductor) { c.to(3, 5*quarter) }},
		{"hear-trio", "hear --setting trio", func(c *conductor) { c.to(1, 40*quarter) }},
		{"three-grips", "loop --bars 22-24", func(c *conductor) { c.to(1, 9*quarter) }},
	} {
		co := conducted(t, strings.Fields(c.args)...)
		c.do(co)
		p := co.page()
		var b strings.Builder
		fmt.Fprintf(&b, "thumbline %s\n", c.args)
		for _, size := range [][2]int{{80, 24}, {120, 40}, {40, 12}} {
			fmt.Fprintf(&b, "\n%d x %d\n%s", size[0], size[1], shownIn(p, size[0], size[1]))
		}
		golden(t, filepath.Join("testdata", "page", c.name+".txt"), b.String())
		seen[c.name+".txt"] = true
	}
	files, err := filepath.Glob("testdata/page/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no pages (%v)", err)
	}
	for _, f := range files {
		if name := filepath.Base(f); !seen[name] && !strings.HasPrefix(name, "step") {
			t.Errorf("%s is of no test", f)
		}
	}
}

func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s (-want +got):\n%s", file, d)
	}
}

// Six bars of three grips each have their place on the smallest usual window,
// with fingers, moves, an offer and all keys.
func TestFullPage(t *testing.T) {
	p := fullPage(6, 3)
	text := shownIn(p, 80, 24)
	for _, w := range []string{"\n| 26 ", "F#m7b5", "x 10 12 11 12 12", "4&", "1 slides", "4 comes down", "* a rest", "Space or Enter: next", "q stop", "PLAYING"} {
		if !strings.Contains(text, w) {
			t.Errorf("%q is missing", w)
		}
	}
	if n := strings.Count(text, "F#m7b5"); n != 18+1 { // and the next one
		t.Errorf("%d of 19 grips:\n%s", n, text)
	}
}

// fullPage has so many bars and grips in each, as wide as they come.
func fullPage(bars, grips int) page {
	p := page{title: "A Title", what: "phrase 1 of 8, bars 1-6", pass: "pass 1", tempo: "quarter = 100", state: "PLAYING", place: "bar 3, beat 2",
		next: "Next: F#m7b5 at 3:3", moves: []string{"1 slides up E from 7 to 9", "2 stays on D 9", "3 moves from G 7 to B 9", "4 comes down on e 10"},
		most: 6, rests: true, offer: "a rest", does: "next, phrase 2 of 8 (bars 7-12)",
		keys: []string{"p pause", "a again", "n next phrase", "b phrase before", "- slower", "+ faster", "1 melody", "2 inner", "3 bass", "c click", "q stop"}}
	for b := range bars {
		bar := pageBar{label: fmt.Sprint(b + 21), here: b == 2}
		for g := range grips {
			bar.grips = append(bar.grips, pageGrip{name: "F#m7b5", under: "beat 4&", now: b == 2 && g == 1,
				frets: strings.Fields("x 10 12 11 12 12"), fingers: strings.Fields("- 1 3 2 4 4")})
		}
		p.bars = append(p.bars, bar)
	}
	return p
}

// No window is too small, and no line is ever wider or a page higher than it.
func TestAnyWindow(t *testing.T) {
	pages := []page{{}, {state: "PLAYING"}, fullPage(6, 3), fullPage(1, 1), fullPage(12, 5)}
	pages = append(pages, conducted(t, "loop", "--phrase", "6").page())
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(pages).Draw(t, "page")
		w, h := rapid.IntRange(0, 140).Draw(t, "width"), rapid.IntRange(0, 60).Draw(t, "height")
		lines := p.lines(w, h)
		if len(lines) > h {
			t.Fatalf("%d lines in %d", len(lines), h)
		}
		for _, l := range lines {
			if n := ansi.StringWidth(l.text); n > w {
				t.Fatalf("%d wide in %d: %q", n, w, l.text)
			}
			if l.from > l.to || l.to > len([]rune(l.text)) {
				t.Fatalf("stress %d-%d of %q", l.from, l.to, l.text)
			}
		}
		_ = styled(lines, false)
		here := false
		for _, b := range p.bars {
			here = here || b.here
		}
		if here && w >= 40 && h >= 4 && !strings.Contains(shownIn(p, w, h), markNow) {
			t.Fatalf("the place is not on the page, %d x %d:\n%s", w, h, shownIn(p, w, h))
		}
	})
}

// The page stands still: while the bars of a phrase go by, what is written on
// the lines of bars and keys stays where it is.
func TestPageStandsStill(t *testing.T) {
	c := conducted(t, "loop", "--phrase", "6", "--tempo", "60%")
	places := func() string {
		var b strings.Builder
		for i, l := range c.page().lines(80, 24) {
			for _, w := range []string{"Dm7 ", "G7 ", "C6 ", "Am11", "Next", "Space", "p pause", "q stop"} {
				if strings.Contains(l.text, w) && (w == "Next" || !strings.HasPrefix(l.text, "Next")) {
					fmt.Fprintf(&b, "%d %s, ", i, w)
				}
			}
		}
		return b.String()
	}
	c.to(2, 0)
	first := places()
	for into := midiio.Tick(0); into < 16*quarter; into += quarter / 2 {
		c.to(2+int(into/(2*quarter)), into)
		if got := places(); got != first {
			t.Fatalf("at %d:\n%s\n%s", into, first, got)
		}
	}
}

// Keys reach what plays, the page follows, and the end ends the screen.
func TestScreen(t *testing.T) {
	c := conducted(t, "loop", "--phrase", "5")
	now := t0
	c.now = func() time.Time { now = now.Add(time.Second); return now }
	ended := 0
	c.end = func() { ended++ }
	done := make(chan error, 1)
	m := &screen{act: c, done: done}
	m.Init()
	var model tea.Model = m
	send := func(msg tea.Msg) (quits bool) {
		var cmd tea.Cmd
		model, cmd = model.Update(msg)
		if cmd == nil {
			return false
		}
		if _, tick := msg.(tickMsg); tick {
			return false
		}
		_, quits = cmd().(tea.QuitMsg)
		return quits
	}
	sees := func(what string) {
		t.Helper()
		if got := ansi.Strip(m.View().Content); !strings.Contains(got, what) {
			t.Errorf("%q is not on the page:\n%s", what, got)
		}
	}
	send(tea.WindowSizeMsg{Width: 80, Height: 24})
	sees("phrase 5 of 8, bars 11-14")
	for _, k := range []struct {
		key  tea.Key
		sees string
	}{
		{tea.Key{Code: 'p', Text: "p"}, "PAUSED"},
		{tea.Key{Code: tea.KeySpace, Text: " "}, "COUNT-IN"},
		{tea.Key{Code: 'N', Text: "N"}, "phrase 6 of 8"},
		{tea.Key{Code: tea.KeyLeft}, "phrase 5 of 8"},
		{tea.Key{Code: '-', Text: "-"}, "quarter = 125 (95%)"},
		{tea.Key{Code: '=', Text: "="}, "quarter = 132"},
		{tea.Key{Code: '3', Text: "3"}, "3 bass is off"},
		{tea.Key{Code: 'c', Text: "c"}, "c click   q stop"},
		{tea.Key{Code: tea.KeyEnter}, "COUNT-IN"},
		{tea.Key{Code: 'z', Text: "z"}, "COUNT-IN"},
	} {
		if send(tea.KeyPressMsg(k.key)) {
			t.Fatalf("%v ends it", k.key)
		}
		sees(k.sees)
	}
	send(tickMsg(now))
	if send(tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl}) || ended != 1 {
		t.Errorf("Ctrl-C ended the sound %d times", ended)
	}
	if !send(doneMsg{}) {
		t.Error("the end of the sound does not end the screen")
	}
	if !send(tea.KeyPressMsg{Code: tea.KeyEscape}) {
		t.Error("a second key to stop does not end it at once")
	}
}

// The screen opens and closes by the library itself, and says why it ended.
func TestScreenRuns(t *testing.T) {
	c := conducted(t, "loop", "--phrase", "5")
	done := make(chan error, 1)
	var out bytes.Buffer
	m := &screen{act: c, done: done, width: 80, height: 24}
	time.AfterFunc(200*time.Millisecond, func() { done <- fmt.Errorf("at bar 3: gone") })
	err := m.run(context.Background(), tea.WithInput(nil), tea.WithOutput(&out), tea.WithWindowSize(80, 24))
	if err == nil || err.Error() != "at bar 3: gone" {
		t.Errorf("ended with %v", err)
	}
	if s := ansi.Strip(out.String()); !strings.Contains(s, "phrase 5 of 8") {
		t.Errorf("never shown: %q", s)
	}
}

func BenchmarkPage(b *testing.B) {
	c := conducted(b, "loop", "--phrase", "6")
	c.to(1, 5*quarter)
	for b.Loop() {
		_ = styled(c.page().lines(80, 24), false)
	}
}

// A tempo is counted in the beats that the page counts, as check has it and as
// --tempo takes it: the dotted quarter in 6/8, the half in 2/2.
func TestTempoInBeats(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"loop --phrase 5 --tempo 60%", "quarter = 79 (60%)"},
		{"loop ../../testdata/tunes/hollow-reed.abc --phrase 1 --tempo 60", "dotted quarter = 60"},
		{"loop ../../testdata/tunes/nightjar-at-the-ford.abc --phrase 1 --ramp 50-60:10", "half = 40 (50%), next 48 (60%)"},
	} {
		if got := conducted(t, strings.Fields(c.args)...).tempo(); got != c.want && !strings.HasPrefix(got, c.want+" (") {
			t.Errorf("%s: %q, want %q", c.args, got, c.want)
		}
	}
}

// Every finger of the grip before has its word: one that left it for a note of
// the tune lifts. Round the seam the hand comes from what was struck last.
func TestEveryFingerIsNamed(t *testing.T) {
	c := conducted(t, "loop", "--section", "B")
	for i := 1; i < len(c.p.a.Grips); i++ {
		moves := strings.Join(c.moves(i-1, i), "; ")
		for k, f := range c.p.a.Grips[i-1].Fingers {
			if f > 0 && c.p.a.Grips[i-1].Frets[k] > 0 && !strings.Contains("; "+moves, fmt.Sprintf("; %d ", f)) {
				t.Errorf("into grip %d: finger %d has no word: %s", i, f, moves)
			}
		}
	}
	first, last := c.ends()
	if got, want := strings.Join(c.moves(last, first), "; "), strings.Join(movesFrom(c.p.a.Grips[last], c.p.a.MovesRound(voicing.Tick(c.scene.start), voicing.Tick(c.scene.end), voicing.Tick(c.scene.tail))), "; "); got != want {
		t.Errorf("round: %s, want %s", got, want)
	}
	if got := sayMoves([]string{"4 moves from e 8 to E 10", "damp open e"}, c.p.a.Tuning); got != "4 moves from high E 8 to E 10; damp open high E" {
		t.Errorf("said %q", got)
	}
}

// The last bar is still the place while its end rings before the next pick-up;
// a rest has no bar.
func TestPlaceInTail(t *testing.T) {
	for args, want := range map[string]string{"loop --phrase 3": "bar 4/2, beat 3", "loop --phrase 3 --rest 1": "beat 3"} {
		c := conducted(t, strings.Fields(args)...)
		c.to(2, c.scene.end-c.scene.start+quarter/4)
		if got := strings.Join(c.place(), apart); got != want {
			t.Errorf("%s: %q, want %q", args, got, want)
		}
	}
}
