package midiio

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

// gateLatchTrio is gateLatch with bass and drums, made by hand: two in a bar,
// a step on the last beat, and a skip of the ride also in the beat that the tune
// plays in thirds.
func gateLatchTrio() *voicing.Arrangement {
	a := gateLatch()
	a.Setting = voicing.Trio
	for _, n := range [][3]int{{960, 1860, 34}, {2880, 900, 41}, {3840, 900, 44}, {4800, 1860, 43}, {6720, 900, 38}, {7680, 900, 37}, {8640, 1860, 36}, {10560, 1860, 43}, {12480, 3840, 41}} {
		a.Bassist = append(a.Bassist, voicing.BassNote{At: voicing.Tick(n[0]), Dur: voicing.Tick(n[1]), MIDI: n[2]})
	}
	for beat := voicing.Tick(960); beat < 12480; beat += 960 {
		back := (beat/960-1)%2 == 1
		w := 0
		if back {
			w = 1
		}
		a.Time = append(a.Time, voicing.Stroke{At: beat, Stick: voicing.Ride, Weight: w})
		if back {
			a.Time = append(a.Time, voicing.Stroke{At: beat, Stick: voicing.Foot}, voicing.Stroke{At: beat + 480, Stick: voicing.Ride, Weight: -1})
		}
	}
	a.Time = append(a.Time, voicing.Stroke{At: 12480, Stick: voicing.Ride, Weight: -1})
	return a
}

func TestBandGolden(t *testing.T) {
	var b bytes.Buffer
	if err := Dump(&b, Perform(gateLatchTrio(), PerformOptions{})); err != nil {
		t.Fatal(err)
	}
	golden(t, "gatelatch-trio.txt", b.Bytes())
}

// The company has its own layers, channels and programs, and the guitar is
// played as it is without it.
func TestBandLayers(t *testing.T) {
	alone, trio := Perform(gateLatch(), PerformOptions{}), Perform(gateLatchTrio(), PerformOptions{})
	var guitar []Event
	programs := map[Layer][3]byte{}
	for _, e := range trio.Events {
		switch e.Layer {
		case Bassist, Time:
			want := map[Layer]int{Bassist: 8, Time: 9}[e.Layer]
			if channel(e.Msg) != want {
				t.Errorf("%s on channel %d", e.Layer, channel(e.Msg)+1)
			}
			if e.Msg[0]&0xF0 == statusProgram {
				programs[e.Layer] = e.Msg
			}
		default:
			guitar = append(guitar, e)
		}
	}
	if d := cmp.Diff(alone.Events, guitar); d != "" {
		t.Errorf("the guitar is played otherwise (-alone +trio):\n%s", d)
	}
	// General MIDI 1: 33 acoustic bass, drums on channel 10 (sound.md 3.3)
	if d := cmp.Diff(map[Layer][3]byte{Bassist: {0xC8, 32}, Time: {0xC9, 0}}, programs); d != "" {
		t.Errorf("programs (-want +got):\n%s", d)
	}
	for _, e := range Perform(gateLatchTrio(), PerformOptions{NoProgram: true}).Events {
		if e.Msg[0]&0xF0 == statusProgram {
			t.Errorf("% X though no program was wanted", e.Msg)
		}
	}
	parsed, err := parseSMF(fileOf(t, trio))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(parsed.tracks); n != 6 {
		t.Errorf("%d tracks, want the head, three of the guitar, Bassist and Time", n)
	}
	for _, name := range []string{"\x07Bassist", "\x04Time"} {
		if !bytes.Contains(fileOf(t, trio), []byte("\xff\x03"+name)) {
			t.Errorf("no track %q", name[1:])
		}
		if bytes.Contains(fileOf(t, alone), []byte("\xff\x03"+name)) {
			t.Errorf("a track %q of a guitar alone", name[1:])
		}
	}
}

// The ride swings as the guitar does; beside thirds in the tune it comes with
// them, at 2/3 of the beat.
func TestBandSwing(t *testing.T) {
	a := gateLatchTrio() // 2:1, thirds of a beat from 2880 on
	a.Feel = theory.Feel{Ratio: 1.5}
	var at []Tick
	for _, e := range Perform(a, PerformOptions{}).Events {
		if e.Layer == Time && isOn(e.Msg) && e.Msg[1] == 51 && e.Tick%960 != 0 {
			at = append(at, e.Tick-e.Tick/960*960)
		}
	}
	want := []Tick{576, 640, 576, 576, 576, 576} // 3/5 of 960, but in the second bar's fourth beat 2/3
	if !slices.Equal(at, want) {
		t.Errorf("skips at %v of their beats, want %v", at, want)
	}
}

// The loudest of the time is under the softest of the bass, and that under the
// softest of the tune, by several dB under what is plain; the bass is one note
// at a time, straight at the arrangement's ticks.
func TestBandProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := genArrangement(t)
		type note struct {
			on, off Tick
			key     int
		}
		var want []note
		for now := voicing.Tick(0); now < a.End(); {
			dur := rapid.SampledFrom([]voicing.Tick{1, 160, 420, 480, 900, 1860}).Draw(t, "dur")
			if now+dur > a.End() {
				break
			}
			p := rapid.IntRange(28, 55).Draw(t, "bass")
			a.Bassist = append(a.Bassist, voicing.BassNote{At: now, Dur: dur, MIDI: p})
			want = append(want, note{Tick(now), Tick(now + dur), p})
			now += dur + rapid.SampledFrom([]voicing.Tick{0, 60, 480}).Draw(t, "gap")
		}
		for now := voicing.Tick(0); now < a.End(); now += rapid.SampledFrom([]voicing.Tick{0, 320, 480, 960}).Draw(t, "wait") {
			a.Time = append(a.Time, voicing.Stroke{At: now, Stick: voicing.Stick(rapid.IntRange(0, 4).Draw(t, "stick")), Weight: rapid.IntRange(-3, 3).Draw(t, "weight")})
			if len(a.Time) > 40 {
				break
			}
		}
		line := func(s *Sequence) (out []note) {
			p := pair(s.Events)
			for i, e := range s.Events {
				if isOn(e.Msg) && e.Layer == Bassist {
					out = append(out, note{e.Tick, s.Events[p[i]].Tick, int(e.Msg[1])})
				}
			}
			return out
		}
		if got := line(Perform(a, PerformOptions{Feel: straight(), NoSpread: true})); !slices.Equal(got, want) {
			t.Fatalf("straight: %v, want %v", got, want)
		}
		s := Perform(a, PerformOptions{})
		ns := line(s)
		for i := 1; i < len(ns); i++ {
			if ns[i].on < ns[i-1].off {
				t.Fatalf("two notes of the bass: %v %v", ns[i-1], ns[i])
			}
		}
		partner := pair(s.Events)
		low, high := [numLayers]float64{99, 99, 99, 99, 99}, [numLayers]float64{-99, -99, -99, -99, -99}
		for i, e := range s.Events {
			if (isOn(e.Msg) || isOff(e.Msg)) && partner[i] < 0 {
				t.Fatalf("% X at %d has no other half", e.Msg, e.Tick)
			}
			if isOn(e.Msg) {
				low[e.Layer], high[e.Layer] = min(low[e.Layer], loud(e.Msg[2])), max(high[e.Layer], loud(e.Msg[2]))
			}
		}
		if high[Bassist] > low[Melody]-3 || high[Time] > low[Bassist]-0.1 {
			t.Fatalf("melody from %.1f dB, bassist %.1f to %.1f, time to %.1f", low[Melody], low[Bassist], high[Bassist], high[Time])
		}
	})
}

// A stroke is over before the next on its key, whatever the tempo.
func TestStrokesApart(t *testing.T) {
	a := gateLatchTrio()
	a.Tempi = []voicing.TempoMark{{BPM: 300}}
	for i := range a.Time {
		a.Time[i].Stick = voicing.Brush
	}
	s := Perform(a, PerformOptions{})
	at, _ := fileTicks(s)
	last := int64(-1)
	partner := pair(s.Events)
	for i, e := range s.Events {
		if e.Layer == Time && isOn(e.Msg) {
			if at[i] < last {
				t.Errorf("a stroke at %d, the one before ends at %d", at[i], last)
			}
			last = at[partner[i]]
		}
	}
	if last < 0 || strokeLength < 20*time.Millisecond {
		t.Error("no strokes")
	}
}
