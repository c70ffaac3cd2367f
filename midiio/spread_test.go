package midiio

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

// chordAt is a tune of one chord on the first beat of bar 2, struck together on
// the strings given, the tune on the highest, and a note of the tune before it.
// More of the tune follows, so that it is not the last chord.
func chordAt(m theory.Metre, beat voicing.Tick, bpm float64, feel theory.Feel, dur, before voicing.Tick, strings ...int) *voicing.Arrangement {
	bar := fullBar(voicing.Bar{Metre: m})
	a := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: bpm}}, Feel: feel, Tuning: standard}
	for i := range voicing.Tick(4) {
		a.Bars = append(a.Bars, voicing.Bar{Label: fmt.Sprint(i + 1), At: i * bar, Len: bar, Beat: beat, Metre: m})
	}
	chord := func(at, dur voicing.Tick) {
		for i, s := range strings {
			v := voicing.Inner
			switch {
			case i == len(strings)-1:
				v = voicing.Melody
			case i == 0 && s >= 4:
				v = voicing.Bass
			}
			a.Notes = append(a.Notes, note(at, dur, s, 5, v))
		}
	}
	if before > 0 {
		a.Notes = append(a.Notes, note(bar-before, before, strings[len(strings)-1], 3, voicing.Melody))
	}
	chord(bar, dur)
	a.Notes = append(a.Notes, note(bar+dur, 480, strings[len(strings)-1], 3, voicing.Melody))
	chord(3*bar, bar)
	return a
}

// nudges are those of the attacks on a tick, from the lowest string up, in ms.
func nudges(s *Sequence, at Tick) (ms []int) {
	for _, e := range s.Events {
		if isOn(e.Msg) && e.Tick == at {
			ms = append(ms, int(e.Nudge.Round(time.Millisecond)/time.Millisecond))
		}
	}
	return ms
}

// harmony.md 5.6: chord spread 0 to 10 ms in all; soft roll 15 to 25 ms a
// string, slow roll 30 to 60; low to high, the melody last and on the beat. 5.7:
// rolled in ballads, together in swing. Order is heard from 20 ms on.
func TestSpread(t *testing.T) {
	four, six, cut := theory.Metre{Num: 4, Den: 4}, theory.Metre{Num: 6, Den: 8}, theory.Metre{Num: 2, Den: 2}
	swing, bossa, even := theory.Feel{Ratio: 1.9}, theory.Feel{Bossa: true}, theory.Feel{}
	for _, c := range []struct {
		name        string
		metre       theory.Metre
		beat        voicing.Tick
		bpm         float64
		feel        theory.Feel
		dur, before voicing.Tick
		strings     []int
		want        []int
	}{
		{"swing, four strings as one", four, 960, 132, swing, 1920, 960, []int{6, 4, 3, 1}, []int{-8, -4, -2, 0}},
		{"swing, six strings as one", four, 960, 132, swing, 1920, 960, []int{6, 5, 4, 3, 2, 1}, []int{-10, -7, -5, -3, -2, 0}},
		{"swing at a ballad's tempo", four, 960, 66, swing, 1920, 960, []int{6, 4, 3, 1}, []int{-8, -4, -2, 0}},
		{"bossa at a ballad's tempo", four, 960, 66, bossa, 1920, 960, []int{6, 4, 3, 1}, []int{-8, -4, -2, 0}},
		{"fast and straight, as one", four, 960, 180, even, 1920, 960, []int{6, 4, 3, 1}, []int{-8, -4, -2, 0}},
		{"straight, the thumb before the fingers", four, 960, 110, even, 1920, 960, []int{6, 4, 3, 1}, []int{-14, -6, -3, 0}},
		{"straight, a pinch", four, 960, 110, even, 1920, 960, []int{5, 1}, []int{-8, 0}},
		{"straight, fingers without the thumb", four, 960, 110, even, 1920, 960, []int{3, 2, 1}, []int{-6, -3, 0}},
		{"straight, six strings stay a chord", four, 960, 110, even, 1920, 960, []int{6, 5, 4, 3, 2, 1}, []int{-20, -12, -9, -6, -3, 0}},
		{"ballad, rolled", four, 960, 65, even, 1920, 960, []int{6, 4, 3, 1}, []int{-60, -40, -20, 0}},
		{"slow ballad, rolled wider", four, 960, 50, even, 1920, 960, []int{6, 4, 3, 1}, []int{-75, -50, -25, 0}},
		{"ballad, three strings", four, 960, 65, even, 1920, 960, []int{5, 3, 1}, []int{-40, -20, 0}},
		{"ballad, a pinch is none", four, 960, 65, even, 1920, 960, []int{5, 1}, []int{-8, 0}},
		{"ballad, a short note", four, 960, 65, even, 480, 960, []int{6, 4, 3, 1}, []int{-14, -6, -3, 0}},
		{"ballad, no time before", four, 960, 65, even, 1920, 60, []int{6, 4, 3, 1}, []int{-14, -6, -3, 0}},
		{"ballad, little time before", four, 960, 50, even, 1920, 80, []int{6, 4, 3, 1}, []int{-50, -33, -17, 0}},
		{"cut time goes by its quarters", cut, 1920, 144, even, 1920, 960, []int{6, 4, 3, 1}, []int{-14, -6, -3, 0}},
		{"six eighths go by their beat", six, 1440, 97.5, even, 1440, 1440, []int{6, 4, 3, 1}, []int{-60, -40, -20, 0}},
		{"six eighths, less than a beat", six, 1440, 97.5, even, 960, 1440, []int{6, 4, 3, 1}, []int{-14, -6, -3, 0}},
	} {
		s := Perform(chordAt(c.metre, c.beat, c.bpm, c.feel, c.dur, c.before, c.strings...), PerformOptions{})
		if d := cmp.Diff(c.want, nudges(s, Tick(fullBar(voicing.Bar{Metre: c.metre})))); d != "" {
			t.Errorf("%s: ms from the beat (-want +got):\n%s", c.name, d)
		}
	}
}

// The last chord of a ballad and long arrivals of phrases are rolled slowly.
func TestSlowRoll(t *testing.T) {
	four := theory.Metre{Num: 4, Den: 4}
	a := chordAt(four, 960, 65, theory.Feel{}, 1920, 960, 6, 4, 3, 1)
	s := Perform(a, PerformOptions{})
	if d := cmp.Diff([]int{-135, -90, -45, 0}, nudges(s, 3*3840)); d != "" {
		t.Errorf("the last chord (-want +got):\n%s", d)
	}
	held := slices.Clone(a.Notes)
	a.Notes = slices.DeleteFunc(slices.Clone(held), func(n voicing.Note) bool { return n.At == 3*3840 && n.Voice == voicing.Melody })
	if d := cmp.Diff([]int{-90, -45, 0}, nudges(Perform(a, PerformOptions{}), 3*3840)); d != "" {
		t.Errorf("the last chord under a note that is held (-want +got):\n%s", d)
	}
	a.Notes = slices.DeleteFunc(held, func(n voicing.Note) bool { return n.At == 3840+1920 }) // so that the phrase arrives before
	a.Phrases = []theory.Phrase{{From: 0, To: 2}, {From: 2, To: 4}}
	if d := cmp.Diff([]int{-135, -90, -45, 0}, nudges(Perform(a, PerformOptions{}), 3840)); d != "" {
		t.Errorf("the arrival (-want +got):\n%s", d)
	}
	a.Tempi[0].BPM = 50
	for _, ms := range nudges(Perform(a, PerformOptions{}), 3*3840) {
		if ms < -180 {
			t.Errorf("a roll of %d ms", -ms)
		}
	}
}

// At tick 0 there is no time before the beat.
func TestSpreadAtTheStart(t *testing.T) {
	a := gateLatch()
	a.Notes = []voicing.Note{note(0, 960, 5, 3, voicing.Bass), note(0, 960, 2, 1, voicing.Melody)}
	for _, e := range Perform(a, PerformOptions{}).Events {
		if e.Tick == 0 && e.Nudge < 0 {
			t.Errorf("% X before the first tick by %v", e.Msg, e.Nudge)
		}
	}
}

// Whatever is struck: the tune lies on its tick, lower strings are never after
// it, no string before a lower one; in swing, in a bossa and when it goes fast
// all comes within 10 ms.
func TestSpreadProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := genArrangement(t)
		g := newGrid(a, a.Feel)
		ks := layStrokes(a, g)
		s := Perform(a, PerformOptions{})
		var evs []Event
		for _, e := range s.Events {
			if isOn(e.Msg) {
				evs = append(evs, e)
			}
		}
		for chord := range chords(ks) {
			on, tune := chord[0].on, false
			var before, first time.Duration
			for i := range chord {
				j := slices.IndexFunc(evs, func(e Event) bool { return e.Tick == on && channel(e.Msg) == chord[i].note.String-1 })
				e := evs[j]
				if i == 0 {
					first = e.Nudge
				} else if e.Nudge < before {
					t.Fatalf("at %d string %d comes before a lower one", on, chord[i].note.String)
				}
				before = e.Nudge
				if e.Layer == Melody {
					tune = true
				} else if !tune && e.Nudge > 0 {
					t.Fatalf("at %d string %d comes %v after the beat", on, chord[i].note.String, e.Nudge)
				}
			}
			if whole := before - first; (a.Feel.Bossa || a.Feel.Swings() && a.Bars[0].Beat != 1440 || s.TempoAt(on) >= 240) && whole > 10*time.Millisecond {
				t.Fatalf("at %d a chord takes %v", on, whole)
			}
		}
	})
}
