package midiio

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing"
)

// loud is the level of a velocity in dB against a plain note of the tune, by
// the square law (sound.md 1.7: velocity 64 is -11.90 dB, 96 -4.86).
func loud(vel byte) float64 { return 40 * math.Log10(float64(vel)/96) }

// byTick is the level of each layer's loudest note on each tick.
func byTick(s *Sequence) map[Tick]map[Layer]float64 {
	m := map[Tick]map[Layer]float64{}
	for _, e := range s.Events {
		if isOn(e.Msg) {
			if m[e.Tick] == nil {
				m[e.Tick] = map[Layer]float64{}
			}
			old, ok := m[e.Tick][e.Layer]
			if l := loud(e.Msg[2]); !ok || l > old {
				m[e.Tick][e.Layer] = l
			}
		}
	}
	return m
}

// The tune over the bass over the inner voices, wherever they stand: each note
// over all of the next voice, and what is struck together by what is heard as
// one voice over the rest (harmony.md 5.6: 3 to 6 dB).
func TestVoicesApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Perform(genArrangement(t), PerformOptions{})
		low, high := [3]float64{99, 99, 99}, [3]float64{-99, -99, -99}
		for _, e := range s.Events {
			if isOn(e.Msg) {
				low[e.Layer], high[e.Layer] = min(low[e.Layer], loud(e.Msg[2])), max(high[e.Layer], loud(e.Msg[2]))
			}
		}
		if low[Melody] < high[Bass]+0.5 || low[Bass] < high[Inner]+0.5 || low[Melody] < high[Inner]+0.5 {
			t.Fatalf("melody %.1f to %.1f dB, bass %.1f to %.1f, inner %.1f to %.1f: each should be over the next",
				low[Melody], high[Melody], low[Bass], high[Bass], low[Inner], high[Inner])
		}
		for at, l := range byTick(s) {
			m, tune := l[Melody]
			b, bass := l[Bass]
			if d := m - b; tune && bass && (d < 2.8 || d > 6.2) {
				t.Fatalf("at %d the tune is %.2f dB over the bass, want 3 to 6", at, d)
			}
			if i, inner := l[Inner]; bass && inner && b-i < 1.8 {
				t.Fatalf("at %d the bass is %.2f dB over the inner voices, want 2 or more", at, b-i)
			}
		}
	})
}

// The same of what hands made, where nothing is random.
func TestLevels(t *testing.T) {
	for at, l := range byTick(Perform(gateLatch(), PerformOptions{})) {
		m, tune := l[Melody]
		for v, least := range map[Layer]float64{Bass: 3, Inner: 5} {
			if x, ok := l[v]; ok && tune && m < x+least {
				t.Errorf("at %d the tune is %.1f dB over the %s, want %g", at, m-x, v, least)
			}
		}
	}
}

// inMetre is two bars of m with a note of each voice at the moments given, the
// first of length dur. There are no phrases, so the metre alone makes the
// difference.
func inMetre(m theory.Metre, beat voicing.Tick, feel theory.Feel, dur voicing.Tick, at ...voicing.Tick) *voicing.Arrangement {
	bar := fullBar(voicing.Bar{Metre: m})
	a := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}}, Feel: feel, Tuning: standard}
	for i := range voicing.Tick(2) {
		a.Bars = append(a.Bars, voicing.Bar{Label: fmt.Sprint(i + 1), At: i * bar, Len: bar, Beat: beat, Metre: m})
	}
	for i, t := range at {
		if i > 0 {
			dur = 160
		}
		a.Notes = append(a.Notes, note(t, dur, 1, 5, voicing.Melody), note(t, dur, 3, 5, voicing.Inner), note(t, dur, 6, 5, voicing.Bass))
	}
	return a
}

// What the metre does to the levels of each voice, in dB (common practice, no
// source; no step that is meant to be heard is under 0.7 dB, harmony.md 5.6).
func TestAccents(t *testing.T) {
	four, three, six := theory.Metre{Num: 4, Den: 4}, theory.Metre{Num: 3, Den: 4}, theory.Metre{Num: 6, Den: 8}
	swing, bossa := theory.Feel{Ratio: 1.8}, theory.Feel{Bossa: true}
	for _, c := range []struct {
		name  string
		metre theory.Metre
		feel  theory.Feel
		voice Layer
		at    voicing.Tick
		dur   voicing.Tick
		more  float64 // than on the second beat of a bar
	}{
		{"straight, the one", four, theory.Feel{}, Melody, 0, 0, 1},
		{"straight, the one in the bass", four, theory.Feel{}, Bass, 0, 0, 1},
		{"straight, between beats", four, theory.Feel{}, Melody, 1440, 0, -1},
		{"straight, pushed", four, theory.Feel{}, Melody, 1440, 960, 0.5},
		{"a third of a beat", four, theory.Feel{}, Melody, 1280, 0, 0},
		{"a third of a beat, on into the next", four, theory.Feel{}, Melody, 1600, 640, 0},
		{"swing, between beats", four, swing, Melody, 1440, 0, 0},
		{"swing, pushed", four, swing, Melody, 1440, 960, 0.75},
		{"swing, the one", four, swing, Bass, 0, 0, 0.75},
		{"bossa, the thumb on one", four, bossa, Bass, 0, 0, 0},
		{"bossa, the thumb between beats", four, bossa, Bass, 1440, 0, 0},
		{"bossa, pushed", four, bossa, Melody, 1440, 960, 0.75},
		{"waltz, the one in the bass", three, theory.Feel{}, Bass, 0, 0, 1.5},
		{"waltz, swung", three, swing, Bass, 0, 0, 1.5},
		{"waltz, inner voices on the one", three, theory.Feel{}, Inner, 0, 0, 0.75},
		{"waltz, inner voices on the three", three, theory.Feel{}, Inner, 1920, 0, 0},
		{"six eighths, the one", six, theory.Feel{}, Melody, 0, 0, 1},
		{"six eighths, between its beats", six, theory.Feel{}, Melody, 1920, 0, -1},
		{"six eighths, the third before a beat", six, theory.Feel{}, Melody, 960, 0, -1},
		{"six eighths, pushed", six, theory.Feel{}, Melody, 960, 960, 0.5},
		{"six eighths, the bass between beats", six, theory.Feel{}, Bass, 1920, 0, -0.25},
	} {
		beat := voicing.Tick(960)
		if c.metre == six {
			beat = 1440
		}
		second := fullBar(voicing.Bar{Metre: c.metre}) + beat
		l := byTick(Perform(inMetre(c.metre, beat, c.feel, max(c.dur, 160), c.at, second), PerformOptions{}))
		swung := newGrid(inMetre(c.metre, beat, c.feel, 160, c.at), c.feel).warp(Tick(c.at))
		got := l[swung][c.voice] - l[Tick(second)][c.voice]
		if math.Abs(got-c.more) > 0.25 { // a velocity is up to 0.3 dB wide
			t.Errorf("%s: %+.2f dB against the second beat, want %+.2f", c.name, got, c.more)
		}
	}
}

// What answers under a ringing note of the tune is softer than the same in its
// rest, or together with it.
func TestUnderTheTune(t *testing.T) {
	a := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}}, Bars: bars44(2, theory.Key{}), Tuning: standard}
	a.Notes = []voicing.Note{
		note(960, 1920, 1, 5, voicing.Melody), note(960, 480, 3, 5, voicing.Inner),
		note(1920, 480, 3, 5, voicing.Inner), note(2880, 480, 3, 5, voicing.Inner),
	}
	l := byTick(Perform(a, PerformOptions{}))
	with, under, rest := l[960][Inner], l[1920][Inner], l[2880][Inner]
	if math.Abs(with-rest) > 0.3 || with-under < 0.7 {
		t.Errorf("with the tune %.1f dB, under it %.1f, in its rest %.1f", with, under, rest)
	}
}

// phrases44 is a tune over a bass, four bars a phrase. A note has a fret on
// string 1, -1 for a rest, and a length in beats.
func phrases44(notes ...[2]int) *voicing.Arrangement {
	a := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: 120}}, Tuning: standard}
	at := voicing.Tick(0)
	for _, n := range notes {
		dur := voicing.Tick(n[1]) * 960
		if n[0] >= 0 {
			a.Notes = append(a.Notes, note(at, dur, 1, n[0], voicing.Melody), note(at, dur, 6, 3, voicing.Bass))
		}
		at += dur
	}
	a.Bars = bars44(int((at+3839)/3840), theory.Key{})
	for i := 0; i < len(a.Bars); i += 4 {
		a.Phrases = append(a.Phrases, theory.Phrase{From: i, To: min(i+4, len(a.Bars))})
	}
	return a
}

// A phrase grows to its highest note and tapers to its arrival; the pick-up in
// its last bar belongs to the next.
func TestPhraseSwell(t *testing.T) {
	const rest = -1
	a := phrases44(
		// bars 1 to 4; the last beat leads to the next phrase
		[2]int{rest, 1}, [2]int{1, 1}, [2]int{3, 1}, [2]int{5, 1},
		[2]int{rest, 1}, [2]int{6, 1}, [2]int{6, 2},
		[2]int{rest, 1}, [2]int{10, 1}, [2]int{8, 2},
		[2]int{rest, 1}, [2]int{5, 2}, [2]int{3, 1},
		// bars 5 to 8, the highest note last
		[2]int{rest, 1}, [2]int{8, 3},
		[2]int{rest, 1}, [2]int{5, 3},
		[2]int{rest, 1}, [2]int{5, 3},
		[2]int{rest, 1}, [2]int{12, 3},
		// bars 9 to 12, the highest note first; a short note is last
		[2]int{rest, 1}, [2]int{10, 1}, [2]int{8, 1}, [2]int{7, 1},
		[2]int{rest, 4},
		[2]int{rest, 4},
		[2]int{rest, 1}, [2]int{5, 2}, [2]int{3, 1},
	)
	level := byTick(Perform(a, PerformOptions{}))
	for _, c := range []struct {
		name  string
		at    Tick
		swell float64
		let   float64 // what the tune's note is let go beyond it
	}{
		{"first note", 960, -1, 0},
		{"halfway up", 4800, 0.125, 0},
		{"highest note", 8640, 1.25, 0},
		{"on the way down", 9600, 0.625, 0},
		{"arrival", 12480, -1.25, -0.5},
		{"pick-up to the next", 14400, -1, 0},
		{"highest note at the end", 27840, 1.25, -0.5},
		{"highest note at the start", 31680, 1.25, 0},
		{"last of the tune", 45120, -1.25, -0.5},
	} {
		l, ok := level[c.at]
		if got := l[Melody]; !ok || math.Abs(got-(c.swell+c.let)) > 0.2 {
			t.Errorf("%s, at %d: %.2f dB, want %.2f", c.name, c.at, got, c.swell+c.let)
		}
		if got := l[Bass]; math.Abs(got-(-4.5+c.swell/2)) > 0.2 {
			t.Errorf("%s, at %d: the bass has %.2f dB, want %.2f", c.name, c.at, got, -4.5+c.swell/2)
		}
	}
}

// TestPutInSwells: the top line of an introduction or an ending is a phrase like
// those of the tune.
func TestPutInSwells(t *testing.T) {
	a := phrases44([2]int{3, 1}, [2]int{5, 1}, [2]int{7, 1}, [2]int{10, 1}, [2]int{8, 2}, [2]int{5, 2}, [2]int{3, 8})
	plain := byTick(Perform(a, PerformOptions{}))
	for i := range a.Notes {
		a.Notes[i].Fill = true
	}
	put := byTick(Perform(a, PerformOptions{}))
	for at, l := range plain {
		if put[at][Melody] != l[Melody] {
			t.Errorf("at %d: %.2f dB put in, %.2f as the tune", at, put[at][Melody], l[Melody])
		}
	}
	if put[2880][Melody] < put[960][Melody]+0.5 {
		t.Errorf("the highest note has %.2f dB, one on the way %.2f", put[2880][Melody], put[960][Melody])
	}
}

// TestCompLevels: without the tune the top of the chords leads, near a tune's
// level, over the bass and the rest; elsewhere nothing is changed by it.
func TestCompLevels(t *testing.T) {
	a := gateLatch()
	var notes []voicing.Note
	for _, n := range a.Notes {
		if n.Voice != voicing.Melody || a.Bars[2].At > n.At {
			notes = append(notes, n)
		}
	}
	a.Notes = notes
	before := byTick(Perform(a, PerformOptions{}))
	a.Comped = voicing.Section{Name: "chorus 2", From: 2, To: len(a.Bars)}
	louder := 0
	for at, l := range byTick(Perform(a, PerformOptions{})) {
		if at < Tick(a.Bars[2].At) {
			for v, x := range l {
				if x != before[at][v] {
					t.Errorf("at %d, before the comping, the %s is %.1f dB, was %.1f", at, v, x, before[at][v])
				}
			}
			continue
		}
		inner, ok := l[Inner]
		if !ok {
			continue
		}
		if inner < -4.5 || inner > -0.5 {
			t.Errorf("at %d the chord is at %.1f dB, want it near a tune's level, and under it", at, inner)
		}
		if bass, ok := l[Bass]; ok && inner < bass+0.7 {
			t.Errorf("at %d the chord is %.1f dB over the bass", at, inner-bass)
		}
		if inner > before[at][Inner]+3 {
			louder++
		}
	}
	if louder < 3 {
		t.Errorf("only %d chords are louder for it", louder)
	}
}
