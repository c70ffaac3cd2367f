package main

import (
	"context"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"thumbline/midiio"
)

// Flags of practice that cannot be obeyed, by themselves or together, are wrong
// usage in one line, found before a file is opened: there is none.
func TestPracticeRefused(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"loop --count-in=", "--count-in is empty"},
		{"loop --count-in=1e9", "0 to 8 bars"},
		{"hear --count-in=٣", "0 to 8 bars"},
		{"loop --ramp=", "is no ramp"},
		{"loop --ramp=NaN-NaN", "out of range"},
		{"loop --ramp=60–100", "is no ramp"},
		{"loop --ramp=60-100:0.0001", "out of range"},
		{"loop --ramp=60-100:5:5", "is no ramp"},
		{"loop --ramp=10-300:0.1", "1000 steps"},
		{"loop --ramp=100-300 --tempo=300%", "--ramp and --tempo together: 306% is out of range"},
		{"loop --ramp=100-60 --tempo=10%", "--ramp and --tempo together: 9.8% is out of range"},
		{"loop --ramp=100-300:100 --tempo=500", "--ramp and --tempo together: 1000 is out of range"},
		{"write --out=x.wav --ramp=10-12 --tempo=10", "--ramp and --tempo together: 1 is out of range"},
		{"loop --ramp=60-100:0.1", "401 tempi (200 at most: take larger steps)"},
		{"loop --repeat=0", "1 to 10000"},
		{"loop --repeat=10000 --answer --ramp=60-100", "--repeat 10000 makes 420000 passes in all"},
		{"loop --rest=65", "0 to 64 bars"},
		{"loop --layers=", "no such layer"},
		{"loop --layers=bass,,all", "no such layer"},
		{"loop --layers=time", "add --setting trio"},
		{"loop --layers=turn --only=melody", "--layers bass: nothing of it is left by --only and --mute"},
		{"loop --layers=all,bass --mute=bass", "nothing of it is left"},
		{"loop --change=3:0", "--change: "},
		{"write --out=x.wav --change=x:1:1", "--change: "},
		{"loop --change=3:1 --phrase=1", "--change and --phrase each choose"},
		{"write --out=x.wav --change=3:1 --bars=1", "--change and --bars each choose"},
		{"loop --change=3:1 --section=A", "--change and --section each choose"},
		{"loop --bars=1 --phrase=1", "give one of them"},
		{"shapes --section=A --phrase=1", "give one of them"},
		{"loop --phrase=0", "counted from 1"},
		{"loop --bars=", "--bars is empty"},
		{"loop --section=", "--section is empty"},
		{"hear --step --click", "leave it out"},
		{"hear --step --ritardando", "leave it out"},
		{"hear --step --setting=trio --only=bassist,time", "nothing of it is left to hear"},
		{"write --out=x.mid --rest=1", "as sound alone"},
		{"write --out=x.wav --plain", "unknown flag"},
	} {
		e, out, errs := testEnv(fakeSound("none"))
		args := strings.Fields(c.args)
		args = slices.Insert(args, 1, "no-such-file.abc")
		status := run(context.Background(), args, e)
		if said := errs.String(); status != statusUsage || strings.Count(said, "\n") != 1 || !strings.Contains(said, c.says) || out.String() != "" {
			t.Errorf("%s: status %d, %q", c.args, status, said)
		}
	}
}

// Time alone is heard, whoever of a trio is not there.
func TestAnswerHasTime(t *testing.T) {
	for args, want := range map[string]midiio.LayerSet{
		"":                                   midiio.Layers(midiio.Click),
		"--only melody":                      midiio.Layers(midiio.Click),
		"--setting trio":                     midiio.Layers(midiio.Bassist, midiio.Time),
		"--setting trio --mute time":         midiio.Layers(midiio.Bassist),
		"--setting trio --only melody":       midiio.Layers(midiio.Click),
		"--setting trio --mute bassist,time": midiio.Layers(midiio.Click),
	} {
		c := conducted(t, append([]string{"loop", "--phrase", "5", "--answer"}, strings.Fields(args)...)...)
		practice, err := c.p.study(&c.p.asked, 1)
		if err != nil {
			t.Fatal(err)
		}
		if got := midiio.AllLayers &^ practice.Passes[1].Mute; got != want {
			t.Errorf("%s: alone has %v, want %v", args, layerNames(c.r.layers, got), layerNames(c.r.layers, want))
		}
	}
}

// Slower is never faster, nor faster slower, also where --tempo lies beyond
// what keys lead to.
func TestTempoKeysKeepTheirWay(t *testing.T) {
	for _, scale := range []float64{0.05, 0.1, 0.12, 1, 2.98, 3, 8.3} {
		for _, do := range []action{slower, faster} {
			r := newRehearsal(1, 0, 0, []turn{{scale, false, midiio.AllLayers, 1}}, 0)
			r.press(press{do: do}, t0)
			if got := r.nextScale(); do == slower && got > scale || do == faster && got < scale || got > max(scale, 3)+1e-9 || got < min(scale, 0.1)-1e-9 {
				t.Errorf("from %g by key %d to %g", scale, do, got)
			}
		}
	}
}

// A line that is longer than any key is none, and the next one is read.
func TestLongLine(t *testing.T) {
	r := strings.NewReader(strings.Repeat("x", 1<<20) + "\n\nq\r\nlast")
	var got []string
	for l := range linesOf(r) {
		got = append(got, l)
	}
	if len(got) != 4 || len(got[0]) > 256 || got[1] != "" || got[2] != "q" || got[3] != "last" {
		t.Errorf("%d lines, the last %q", len(got), got[len(got)-1])
	}
}

// A tune that never comes to an end does not hold up the end.
func TestInterruptedWhileArranging(t *testing.T) {
	for args, want := range map[string]int{"hear -": statusOK, "loop -": statusOK, "hear - --step": statusOK, "write - --click --out x.wav": statusFailed} {
		t.Chdir(t.TempDir())
		in, typing := io.Pipe()
		e, _, errs := testEnv(fakeSound("fake"))
		e.stdin = in
		ctx, cancel := context.WithCancel(context.Background())
		status := make(chan int, 1)
		go func() { status <- run(ctx, strings.Fields(args), e) }()
		io.WriteString(typing, "X:1\n")
		cancel()
		select {
		case got := <-status:
			if got != want || strings.Count(errs.String(), "\n") != got {
				t.Errorf("%s: status %d, %q", args, got, errs)
			}
		case <-time.After(10 * time.Second):
			t.Errorf("%s does not end", args)
		}
		typing.Close()
	}
}

// A pause that nobody can end any more is over when there is no more to read.
func TestPausedAndLeft(t *testing.T) {
	e, out, errs := testEnv(fakeSound("fake"))
	e.stdin = strings.NewReader("\n")
	status := make(chan int, 1)
	go func() { status <- run(context.Background(), []string{"loop", "--phrase", "5", "--repeat", "1"}, e) }()
	select {
	case s := <-status:
		if s != statusOK || errs.String() != "" || !strings.Contains(out.String(), "paused\ngoing on\n") {
			t.Errorf("status %d, %q:\n%s", s, errs, out)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("it is paused for ever")
	}
}

// The second signal ends the page, not the program.
func TestSecondSignal(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no process sends itself an interrupt there")
	}
	ended := make(chan bool, 1)
	stop := atOnce(func() { ended <- true })
	defer stop()
	self, err := os.FindProcess(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	self.Signal(os.Interrupt)
	select {
	case <-ended:
		t.Fatal("one was enough")
	case <-time.After(50 * time.Millisecond):
	}
	// Two that wait together are one: on a busy machine the next one tells.
	for range 100 {
		self.Signal(os.Interrupt)
		select {
		case <-ended:
			return
		case <-time.After(100 * time.Millisecond):
		}
	}
	t.Fatal("two were not enough")
}

// When all is over nothing of ours goes on, however it ended.
func TestNothingGoesOn(t *testing.T) {
	for _, c := range []struct{ sound, args, keys string }{
		{"fake", "loop --phrase 5 --repeat 2 --rest 1", ""},
		{"fake", "loop --phrase 5", "n\n-\nc\na\nq\n"},
		{"lost", "loop --phrase 5", ""},
		{"none", "loop --phrase 5", ""},
		{"paced", "hear --step --phrase 5", "\n\n2\n"},
		{"fake", "loop --change 1:1", ""},
		{"fake", "loop --phrase 99", ""},
		{"none", "loop --phrase 5 --port recorder --switch keys", "q\n"},
		{"none", "loop --phrase 5 --port brief", ""},
		{"none", "loop --phrase 99 --port recorder --switch keys", ""},
		{"none", "hear --step --port nix", ""},
		{"fake", "hear --step --switch nix", ""},
	} {
		e, _, _ := testEnv(fakeSound(c.sound))
		e.midi = newFakeMIDI()
		e.stdin = strings.NewReader(c.keys)
		run(context.Background(), strings.Fields(c.args), e)
		var left string
		for deadline := time.Now().Add(5 * time.Second); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
			if left = ours(); left == "" {
				break
			}
		}
		if left != "" {
			t.Errorf("%s: goes on:\n%s", c.args, left)
		}
	}
}

// ours are the goroutines that were started by this program and are not the
// test's own.
func ours() string {
	b := make([]byte, 1<<20)
	var left []string
	for g := range strings.SplitSeq(string(b[:runtime.Stack(b, true)]), "\n\n") {
		if strings.Contains(g, "created by thumbline/") && !strings.Contains(g, "signal") {
			left = append(left, g)
		}
	}
	return strings.Join(left, "\n\n")
}

// Keys struck without any sense leave the page and the sound of one mind, and no
// string sounding in a pause.
func TestHammered(t *testing.T) {
	keys := []string{"space", "p", "a", "n", "b", "-", "+", "1", "2", "3", "c", "w", "left", "right", "up", "down"}
	for seed, args := range []string{
		"loop --phrase 5 --ramp 60-100:20",
		"loop --phrase 2 --answer --rest 1 --layers turn",
		"loop --change 3:1 --tempo 500",
		"loop --bars 3 --tempo 300% --setting trio --answer",
		"hear --count-in 1 --tempo 300%",
	} {
		r := newRun(t, strings.Fields(args)...)
		rnd := rand.New(rand.NewPCG(uint64(seed), 7))
		sounds := map[[2]byte]bool{}
		r.emit = func(_ int64, m [3]byte) {
			switch k := [2]byte{m[0] & 15, m[1]}; {
			case m[0]>>4 == 9 && m[2] > 0:
				sounds[k] = true
			case m[0]>>4 == 9 || m[0]>>4 == 8:
				delete(sounds, k)
			}
		}
		for range 40 {
			for range 1 + rnd.IntN(40) {
				r.press(keys[rnd.IntN(len(keys))])
				r.wait(10 * time.Millisecond)
			}
			if r.fault != nil || r.ended {
				t.Fatalf("%s: ended, %v", args, r.fault)
			}
			r.wait(300 * time.Millisecond) // no key is a bounce of one before
			pos, ok := r.p.cursor.Position(r.device.Played())
			if !ok {
				t.Fatalf("%s: nowhere", args)
			}
			r.page().lines(80, 24)
			if r.r.paused && len(sounds) > 0 {
				t.Errorf("%s: at %v %d notes sound in a pause", args, r.at, len(sounds))
			}
			if !pos.CountIn && (pos.Played != r.r.passes || !r.r.open && !pos.Done) {
				t.Errorf("%s: at %v pass %d is heard, %d is shown (open %v)", args, r.at, pos.Played, r.r.passes, r.r.open)
			}
			if want := r.r.plan[r.r.turn]; !pos.CountIn && !pos.Done && (pos.Kind == midiio.Alone) != want.alone {
				t.Errorf("%s: at %v alone %v, shown %v", args, r.at, pos.Kind == midiio.Alone, want.alone)
			}
			if s := r.scene; !pos.CountIn && !pos.Tail && pos.Bar != "" && (pos.Tick < s.start || s.end > 0 && pos.Tick > s.end) {
				t.Errorf("%s: at %v tick %d is heard, %d to %d are shown", args, r.at, pos.Tick, s.start, s.end)
			}
			before := r.at
			if r.r.paused {
				r.press("p")
			}
			r.wait(300 * time.Millisecond)
			if now, _ := r.p.cursor.Position(r.device.Played()); now == pos && !pos.Done {
				t.Errorf("%s: from %v on it stands still", args, before)
			}
		}
	}
}

// Every phrase of shared sheets goes round in whole bars, its pick-up among
// them, and two passes come to their end.
func TestLoopsOfSharedSheets(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no shared sheets to loop")
	}
	abc, _ := filepath.Glob(filepath.Join(dir, "corpus", "abc", "*.abc"))
	mxl, _ := filepath.Glob(filepath.Join(dir, "corpus", "leadsheets", "*.mxl"))
	if len(abc) == 0 || len(mxl) == 0 {
		t.Fatal("no shared sheets")
	}
	every := 5
	if s := os.Getenv("LOOPS_EVERY"); s != "" {
		every, _ = strconv.Atoi(s)
	}
	loops := 0
	for i, file := range slices.Concat(abc, mxl) {
		if text, err := os.ReadFile(file); err != nil || i%every != 0 || i < len(abc) && !strings.Contains(string(text), "\"G") {
			continue // without chord symbols
		}
		c := conducted(t, "loop", file, "--repeat", "2", "--click")
		for k := range c.p.scenes {
			s := &c.p.scenes[k]
			loops++
			first, last := s.seq.Bars[s.from], s.seq.Bars[s.to-1]
			bar := midiio.Tick(last.Metre.Num) * 4 * midiio.PerQuarter / midiio.Tick(last.Metre.Den)
			// What is too long, or no whole bar in the middle, keeps its length.
			whole := first.Len <= bar && !slices.ContainsFunc(s.seq.Bars[min(s.from+1, s.to-1):s.to-1], func(b midiio.Bar) bool { return b.Len != bar })
			if whole && first.Metre == last.Metre && (s.end-s.start+s.tail)%bar != 0 {
				t.Errorf("%s, %s, bars of %d: a pass of %d to %d and %d more is not whole bars", filepath.Base(file), s.name, bar, s.start, s.end, s.tail)
			}
			practice, err := c.p.study(s, 1)
			if err != nil {
				t.Errorf("%s, %s: %v", filepath.Base(file), s.name, err)
				continue
			}
			cur, err := midiio.NewCursor(s.seq, practice, 48000)
			if err != nil {
				t.Errorf("%s, %s: %v", filepath.Base(file), s.name, err)
				continue
			}
			on := 0
			for at := int64(0); cur.Fill(at, func(_ int64, m [3]byte) {
				switch {
				case m[0]>>4 == 9 && m[2] > 0:
					on++
				case m[0]>>4 == 9 || m[0]>>4 == 8:
					on--
				}
			}); at += 4800 {
				if at > 48000*3600 {
					t.Fatalf("%s, %s: two passes have no end", filepath.Base(file), s.name)
				}
			}
			if on != 0 {
				t.Errorf("%s, %s: %d notes are left on", filepath.Base(file), s.name, on)
			}
		}
	}
	t.Logf("%d loops", loops)
}
