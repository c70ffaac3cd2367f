package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// A run is a conductor with the transport itself and a device that the test
// turns, so that time is what the test says.
type rehearsed struct {
	*conductor
	t      *testing.T
	at     time.Duration
	device *fakeDevice
	ended  bool
	said   []string
	emit   func(at int64, msg [3]byte)
}

func newRun(t *testing.T, args ...string) *rehearsed {
	t.Helper()
	c := conducted(t, args...)
	r := &rehearsed{conductor: c, t: t, device: c.p.out.(*builtIn).device.(*fakeDevice), emit: func(int64, [3]byte) {}}
	c.now = func() time.Time { return t0.Add(r.at) }
	c.end = func() { r.ended = true }
	return r
}

// wait lets so much time be heard.
func (r *rehearsed) wait(d time.Duration) {
	const block = 10 * time.Millisecond
	for end := r.at + d; r.at < end; r.at += block {
		n := r.device.given.Add(int64(block) * int64(r.device.rate) / int64(time.Second))
		r.p.cursor.Fill(n, r.emit)
		r.p.out.(*builtIn).given.Store(n)
		r.said = append(r.said, r.look()...)
	}
}

// sees checks words of the page.
func (r *rehearsed) sees(words ...string) {
	r.t.Helper()
	text := shownIn(r.page(), 80, 24)
	for _, w := range words {
		if !strings.Contains(text, w) {
			r.t.Errorf("at %v %q is missing:\n%s", r.at, w, text)
		}
	}
}

// A ramp from its count-in to its end with one key, in the time that it takes:
// at quarter = 132 four bars last 7.27 s at 100 %, a bar of count-in 1.82 s.
func TestOneKey(t *testing.T) {
	r := newRun(t, "loop", "--phrase", "5", "--ramp", "80-100:10")
	pass := func(percent float64) time.Duration {
		return time.Duration(float64(16*time.Minute) / 132 / percent * 100)
	}
	r.wait(500 * time.Millisecond)
	r.sees("COUNT-IN 1", "pass 1 ", "quarter = 106 (80%), next 119 (90%)", "Space or Enter: this pass again")
	r.wait(pass(80)/4 - 400*time.Millisecond) // the bar of count-in
	r.sees("PLAYING", "bar 11, beat 1", ">F#m7b5", "Next: B7b9 at 12:1")
	r.wait(pass(80))
	r.sees("pass 2 ", "bar 11, beat 1", "quarter = 119 (90%), next 132")
	r.wait(pass(90) / 2)
	r.sees("bar 13, beat 1", "Next: A9 at 14:1")
	r.press("space") // this pass again
	r.sees("COUNT-IN", "pass 2 ")
	r.wait(pass(90) / 4)
	r.wait(100 * time.Millisecond)
	r.sees("PLAYING", "pass 2 ", "bar 11, beat 1")
	r.wait(pass(90))
	r.sees("pass 3 ", "quarter = 132 ", "this pass again")
	r.wait(pass(100))
	r.sees("pass 4 ", "this pass again") // late for the seam is not early for the next
	r.wait(seamGrace)
	r.sees("pass 4 ", "Space or Enter: next, phrase 6 of 8 (bars 15-18)")
	r.press("enter")
	r.sees("COUNT-IN", "phrase 6 of 8, bars 15-18", "pass 1 ", "80%")
	r.wait(pass(80)/4 + 200*time.Millisecond)
	r.sees("PLAYING", "bar 15, beat 1", ">Dm7", "next 119 (90%)")
	r.press("-")
	r.sees("next 112 (85%)")
	r.wait(pass(80))
	r.sees("pass 2 ", "quarter = 112 (85%)")
	r.press("q")
	if !r.ended {
		t.Error("it does not end")
	}
	want := "pass 1  bars 11-14, quarter = 106 (80%)|pass 2  bars 11-14, quarter = 119 (90%)|pass 2  bars 11-14, quarter = 119 (90%)|" +
		"pass 3  bars 11-14, quarter = 132|pass 4  bars 11-14, quarter = 132|Space or Enter: next, phrase 6 of 8 (bars 15-18)|pass 1  bars 15-18, quarter = 106 (80%)|pass 2  bars 15-18, quarter = 112 (85%)"
	if got := strings.Join(r.said, "|"); got != want {
		t.Errorf("said\n%s, want\n%s", strings.ReplaceAll(got, "|", "\n"), strings.ReplaceAll(want, "|", "\n"))
	}
}

// So many beats a minute are so many in every part, whatever tempo is written
// there, and keys go on from them.
func TestBeatsOfOtherParts(t *testing.T) {
	file := filepath.Join(t.TempDir(), "two.abc")
	const text = `X:1
M:4/4
L:1/4
Q:1/4=120
K:C
"C"CDEF|"G7"GFED|"C"CDEC|C4|[Q:1/4=60]"Dm7"DEFG|"G7"AGFE|"C"CDEC|C4|
`
	if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	r := newRun(t, "loop", file, "--phrase", "1", "--tempo", "90", "--count-in", "0")
	is := func(want string) {
		t.Helper()
		if got := r.tempo(); got != want {
			t.Errorf("at %v: %q, want %q", r.at, got, want)
		}
	}
	r.wait(time.Second)
	is("quarter = 90 (75%)")
	r.press("n")
	r.wait(time.Second)
	is("quarter = 90 (150%)")
	r.press("-")
	is("quarter = 90 (150%), next 87 (145%)")
	if got, want := strings.Join(r.said, "|"), "pass 1  bars 1-4, quarter = 90 (75%)|pass 1  bars 5-8, quarter = 90 (150%)"; got != want {
		t.Errorf("said %q, want %q", got, want)
	}
}

// What hands should mind is said by what they are asked for.
func TestCautions(t *testing.T) {
	for args, want := range map[string]string{
		"--phrase 5": handCaution, "--phrase 5 --ramp 60-100:5": rampCaution, "--phrase 5 --reach small": handCaution,
		"--phrase 5 --reach large": wideCaution, "--phrase 5 --reach large --ramp 60-100:5": wideCaution,
	} {
		r := newRun(t, append([]string{"loop"}, strings.Fields(args)...)...)
		r.sees("* " + want)
		if ls := r.heading(); !slices.Contains(ls, want) {
			t.Errorf("%s: plain lines begin with %q", args, ls)
		}
	}
}

// A pause keeps the place, and time alone comes after what was heard.
func TestPauseAndAnswer(t *testing.T) {
	r := newRun(t, "loop", "--phrase", "5", "--answer", "--count-in", "0", "--rest", "1")
	bar := 4 * time.Minute / 132
	r.wait(bar + 100*time.Millisecond)
	r.sees("LISTEN", "bar 12, beat 1   then your turn")
	r.press("p")
	r.wait(time.Minute)
	r.sees("PAUSED", "bar 12, beat 1", "Space or Enter: go on")
	r.press("space")
	r.wait(3 * bar)
	r.sees("REST", "pass 1")
	r.wait(bar)
	r.sees("YOUR TURN", "bar 11, beat 1", "pass 2")
	r.wait(5 * bar)
	r.sees("LISTEN", "bar 11, beat 1", "pass 3")
}

// From change to change, with the grips of each.
func TestChanges(t *testing.T) {
	r := newRun(t, "loop", "--change", "12:1", "--count-in", "0")
	bar := 4 * time.Minute / 132
	r.wait(100 * time.Millisecond)
	r.sees("F#m7b5 to B7b9, 11:1 to 12:1", ">F#m7b5", "Next: B7b9 at 12:1")
	r.wait(bar)
	r.sees(">B7b9", "Next: F#m7b5 at 11:1")
	r.wait(bar)
	r.sees("pass 2 ", ">F#m7b5")
	r.press("right")
	r.wait(100 * time.Millisecond)
	r.sees("B7b9 to Em7, 12:1 to 13:1", ">B7b9", "pass 1 ")
	for range 60 { // there are fewer, and each can be played
		r.wait(200 * time.Millisecond)
		r.press("n")
		if r.fault != nil {
			t.Fatal(r.fault)
		}
	}
	r.wait(100 * time.Millisecond)
	r.sees("PLAYING", "pass 1 ")
}

// A phrase with a pick-up begins with it when it goes round by itself.
func TestPickupOfPhrase(t *testing.T) {
	r := newRun(t, "loop", "--phrase", "2", "--count-in", "0")
	if s := r.scene; s.start >= r.p.seq.Bars[s.from].At {
		t.Fatalf("phrase 2 begins at %d with bar %s", s.start, r.p.seq.Bars[s.from].Label)
	}
	r.wait(100 * time.Millisecond)
	r.sees("bar 4, beat 3", "First: Bm7 at 5:1", "bars 5-8")
}

// Interrupted sound stands on the page for a while, in plain lines once; what no ear
// can tell does not, and what is always wrong stays.
func TestInterruptedIsSaid(t *testing.T) {
	r := newRun(t, "loop", "--bars", "1-4")
	const words = "* The sound is interrupted"
	there := func() bool { return strings.Contains(shownIn(r.page(), 80, 24), words) }
	r.wait(time.Second)
	r.device.holes = 1
	r.wait(time.Second)
	if there() {
		t.Error("told of what nobody hears")
	}
	for i := range 2 {
		r.device.holes, r.device.lost = r.device.holes+1, r.device.lost+20*time.Millisecond
		r.wait(9 * time.Second)
		r.sees(words)
		r.wait(1100 * time.Millisecond)
		if there() {
			t.Errorf("interruption %d stays", i+1)
		}
	}
	if n := strings.Count(strings.Join(r.said, "\n"), words[2:]); n != 1 {
		t.Errorf("said %d times:\n%s", n, strings.Join(r.said, "\n"))
	}
	r.device.notice = "it is flat"
	r.wait(20 * time.Second)
	r.sees("* it is flat")
	var end strings.Builder
	r.p.out.tell(&end)
	if want := "it is flat\nThe sound was interrupted 3 times, 40 ms in all: the machine was too busy.\n"; end.String() != want {
		t.Errorf("in the end %q, want %q", end.String(), want)
	}
}
