package voicing

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/voicing/search"
)

// randomTune is a lead sheet that nobody would write, but could.
func randomTune(t *rapid.T) *theory.Tune {
	symbols := []string{"C", "Dm7", "G7", "Cmaj7", "Am7", "F#m7b5", "B7b9", "Em", "Ebmaj7", "Abm6", "D7#9", "Gdim7", "F/A", "Bb7sus4", "N.C.", "E+", "A13"}
	metres := []theory.Metre{{Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 6, Den: 8}, {Num: 2, Den: 2}, {Num: 5, Den: 4}}
	m := rapid.SampledFrom(metres).Draw(t, "metre")
	key := theory.Key{Fifths: rapid.IntRange(-6, 6).Draw(t, "fifths")}
	barLen := theory.Quarters(int64(4*m.Num), int64(m.Den))
	bars := rapid.IntRange(1, 6).Draw(t, "bars")
	tune := &theory.Tune{Title: "any", Key: key, Tempi: []theory.TempoMark{{BPM: float64(rapid.IntRange(40, 260).Draw(t, "bpm"))}}}
	at := theory.Time{}
	for i := 0; i < bars; i++ {
		tune.Bars = append(tune.Bars, theory.Bar{Label: string(rune('1' + i)), Pass: 1, Source: i, At: at, Len: barLen, Beat: theory.BeatOf(m), Metre: m, Key: key})
		at = at.Add(barLen)
	}
	end := at
	at = theory.Time{}
	pitch := rapid.IntRange(50, 86).Draw(t, "start")
	lengths := []theory.Time{theory.Quarters(1, 4), theory.Quarters(1, 2), theory.Quarters(1, 3), theory.Quarters(1, 1), theory.Quarters(3, 2), theory.Quarters(2, 1), theory.Quarters(4, 1), theory.Quarters(7, 1)}
	for at.Less(end) {
		l := rapid.SampledFrom(lengths).Draw(t, "len")
		if end.Less(at.Add(l)) {
			l = end.Sub(at)
		}
		pitch += rapid.IntRange(-5, 5).Draw(t, "step")
		pitch = max(48, min(88, pitch))
		// a tune may begin with rests, but has a note
		if rapid.IntRange(0, 5).Draw(t, "rest") > 0 || len(tune.Melody) == 0 && at.Add(l) == end {
			tune.Melody = append(tune.Melody, theory.Note{At: at, Len: l, Pitch: midiPitch(pitch)})
		}
		at = at.Add(l)
	}
	at = theory.Time{}
	for at.Less(end) {
		l := rapid.SampledFrom(lengths[3:]).Draw(t, "chord len")
		if end.Less(at.Add(l)) {
			l = end.Sub(at)
		}
		c, err := theory.ParseChord(rapid.SampledFrom(symbols).Draw(t, "symbol"))
		if err != nil {
			t.Fatal(err)
		}
		tune.Changes = append(tune.Changes, theory.Change{At: at, Len: l, Chord: c})
		at = at.Add(l)
	}
	tune.DividePhrases()
	return tune
}

func midiPitch(m int) theory.Pitch {
	names := [12]theory.Name{{Letter: theory.C}, {Letter: theory.C, Alter: 1}, {Letter: theory.D}, {Letter: theory.E, Alter: -1}, {Letter: theory.E}, {Letter: theory.F},
		{Letter: theory.F, Alter: 1}, {Letter: theory.G}, {Letter: theory.A, Alter: -1}, {Letter: theory.A}, {Letter: theory.B, Alter: -1}, {Letter: theory.B}}
	return theory.Pitch{Name: names[m%12], Octave: int8(m/12 - 1)}
}

// TestAnyTune: whatever the sheet, the tune is kept and on top, every note is
// where its string and fret say, no string has two notes, and one hand with
// the fingers given holds whatever sounds together.
func TestAnyTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		right := RightHand{Fingers: rapid.IntRange(MinPlucked, usualNotes).Draw(t, "plucked")}
		a, err := Arrange(tune, Plan{Tension: rapid.SampledFrom([]string{"low", "medium", "high"}).Draw(t, "tension"), Right: &right})
		if err != nil {
			t.Skip(err) // wider than the neck
		}
		check(t, a)
	})
}

// TestChangeBeforeTheTuneMoves: a chord that is gripped for the next note of the
// tune stays under the one that still rings where it changes.
func TestChangeBeforeTheTuneMoves(t *testing.T) {
	tune := readABC(t, "X:1\nM:4/4\nL:1/16\nQ:1/4=201\nK:C\n"+
		"\"C\"c z2 E3-\"Dm7\"E G3-\"C\"G4-\"C\"G2-|G2-\"C\"G4-\"C\"G6-\"Dm7\"G4-|G3 z \"C\"z12|\n")
	a, err := Arrange(tune, Plan{})
	if err != nil {
		t.Fatal(err)
	}
	check(t, a)
}

// TestSlideAlone: where a chord slides into a change with the tune's G#, no
// answer of the chord before is struck with it: five strings were too many.
func TestSlideAlone(t *testing.T) {
	a, err := Arrange(readABC(t, "X:1\nM:6/8\nL:1/8\nQ:1/4=40\nK:C\n\"C6\"E6|\"Am6\"A3 _A3|\"Bm7b5\"A6|\"C6\"E6|\n"), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	check(t, a)
}

type fataler interface {
	Fatalf(string, ...any)
}

func check(t fataler, a *Arrangement) {
	n := StandardNeck()
	g := newGrasp(n, NormalHand())
	at := map[Tick][]Note{}
	var times []Tick
	for _, x := range a.Notes {
		if len(at[x.At]) == 0 {
			times = append(times, x.At)
		}
		at[x.At] = append(at[x.At], x)
		if n.Open(x.String)+x.Fret != x.MIDI {
			t.Fatalf("string %d fret %d is not pitch %d", x.String, x.Fret, x.MIDI)
		}
		if x.Dur < 1 {
			t.Fatalf("a note at %d lasts %d", x.At, x.Dur)
		}
		if (x.Fret == 0) != (x.Finger == 0) {
			t.Fatalf("fret %d with finger %d", x.Fret, x.Finger)
		}
	}
	for _, m := range a.Melody {
		found := false
		for _, x := range at[m.At] {
			found = found || x.Voice == Melody && x.MIDI == m.MIDI && x.Dur <= m.Dur
		}
		if !found {
			t.Fatalf("the tune's %d at %d is missing or too long", m.MIDI, m.At)
		}
	}
	for _, tm := range times {
		if k := len(at[tm]); k > 4 {
			t.Fatalf("at %d thumb and three fingers are to pluck %d strings", tm, k)
		}
		var ps []Press
		melody, top := 0, 0
		for _, x := range a.Notes {
			if x.At <= tm && tm < x.At+x.Dur {
				ps = append(ps, Press{Stop{int8(x.String), int8(x.Fret)}, int8(x.Finger)})
				if x.Voice == Melody {
					melody = x.MIDI
				} else {
					top = max(top, x.MIDI)
				}
			}
		}
		if !g.fingers(ps).ok {
			t.Fatalf("at %d no hand holds %v", tm, ps)
		}
		if melody > 0 && top >= melody {
			t.Fatalf("at %d the tune's %d is covered by %d", tm, melody, top)
		}
	}
	leavesInTime(t, a)
	endsTold(t, a)
}

// A last chord that comes while the tune still has a moment to ring lies under it,
// although it has no note of its own.
func TestLastChordUnderWhatRings(t *testing.T) {
	a, err := Arrange(readABC(t, "X:1\nM:4/4\nL:1/16\nQ:1/4=40\nK:C\n\"Dm7\"z16|\"C\"z14c2|\"Cmaj7\"z8\"Dm7\"z1_E4_B,1-\"G7\"_B,1z1|]\n"), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	check(t, a)
}

// leavesInTime: no fretted note rings on while the hand is on its way to another
// place, and none while its finger is needed elsewhere, but for the time that a
// hurried hand does not have (harmony.md 6.2). Only a finger that stays on its
// string leads the hand as it sounds.
func leavesInTime(t fataler, a *Arrangement) {
	sec := func(from, to Tick) float64 {
		s := score{tempi: a.Tempi}
		return s.seconds(from, to)
	}
	var before []Note // fretted, and at the last fretted attack
	pos, last := 0, Tick(0)
	for now := range attacks(a.Notes) {
		tm, place := now[0].At, handAt(now)
		if place == 0 {
			before = append(before, now...)
			continue
		}
		held := false
		for _, x := range before {
			held = held || x.Fret > 0 && x.At+x.Dur > tm
		}
		for _, x := range before {
			end := x.At + x.Dur
			if x.Fret == 0 || end > tm || end <= last {
				continue
			}
			need, guide := 0.0, false
			for _, y := range now {
				guide = guide || y.String == x.String && y.Finger == x.Finger
				if y.Finger == x.Finger && y.Fret != x.Fret && y.String != x.String {
					need = fingerTime
				}
			}
			if d := absInt(place - pos); d > 2 && !held {
				need = shiftTime(d)
			}
			if has := sec(end, tm); !guide && has < min(need, hurried*sec(max(x.At, last), tm))-0.002 {
				t.Fatalf("at %d: string %d fret %d still rings %.3f s before the hand goes from fret %d to %d, which takes %.3f s", tm, x.String, x.Fret, has, pos, place, need)
			}
		}
		before = append(slices.DeleteFunc(before, func(x Note) bool { return x.At+x.Dur <= tm-4*PerQuarter }), now...)
		pos, last = place, tm
	}
}

// endsTold: what stops early says why, and the tune's notes that do are listed
// with a reason.
func endsTold(t fataler, a *Arrangement) {
	k := 0
	over := map[Tick]bool{} // where an ending takes the top from the tune
	for _, n := range a.Notes {
		if n.Voice == Melody && n.Fill {
			over[n.At] = true
		}
	}
	for _, n := range a.Notes {
		if n.Early < 0 || n.Early > 0 == (n.Ends == EndMeant) {
			t.Fatalf("a note at %d ends by %v, %d early", n.At, n.Ends, n.Early)
		}
		if n.Voice != Melody || n.Fill || n.Early == 0 {
			continue
		}
		if k == len(a.LetGo) {
			t.Fatalf("the tune's note at %d is let go %d early and not told of", n.At, n.Early)
		}
		if g := a.LetGo[k]; g.At != n.At || g.Dur != n.Dur || g.Early != n.Early || g.MIDI != n.MIDI || g.Pitch.MIDI() != n.MIDI || g.Ends != n.Ends || g.Reason == "" {
			t.Fatalf("told %+v of the note %+v", g, n)
		}
		for _, m := range a.Melody {
			if rings := n.Dur + n.Early; m.At == n.At && m.Dur != rings && !(rings < m.Dur && over[n.At+rings]) {
				t.Fatalf("the tune's note at %d is written %d, sounds %d and is said to be %d early", n.At, m.Dur, n.Dur, n.Early)
			}
		}
		k++
	}
	if k != len(a.LetGo) {
		t.Fatalf("%d notes are let go, %d told of", k, len(a.LetGo))
	}
	for i, b := range a.Notes {
		for _, n := range a.Notes[i+1:] {
			if b.Voice != Bass || n.At >= b.At+b.Dur {
				break
			}
			if n.Voice != Bass || n.At == b.At {
				continue
			}
			var c ChordMark
			for _, m := range slices.Concat(a.Chords, a.Added) {
				if m.At <= n.At && m.At >= c.At {
					c = m
				}
			}
			if c.Chord.NoChord || b.At < c.At || b.MIDI%12 != c.Chord.BassPC() || n.MIDI < b.MIDI {
				t.Fatalf("the bass at %d rings into the one at %d, and is no ground under it", b.At, n.At)
			}
		}
	}
}

// BenchmarkArrange shows that the cost grows with the length and no faster.
func BenchmarkArrange(b *testing.B) {
	for _, bars := range []int{32, 320, 3200} {
		tune := longTune(bars)
		b.Run(itoa(bars)+"bars", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Arrange(tune, Plan{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*bars), "us/bar")
		})
	}
}

// longTune is a made-up tune with changes every half bar.
func longTune(bars int) *theory.Tune {
	m := theory.Metre{Num: 4, Den: 4}
	key := theory.Key{Fifths: -2, Tonic: theory.Name{Letter: theory.B, Alter: -1}}
	t := &theory.Tune{Title: "long", Key: key, Tempi: []theory.TempoMark{{BPM: 132}}}
	symbols := []string{"Bb6", "G7b9", "Cm7", "F7", "Dm7b5", "G7", "Cm7", "Ebm6", "Bbmaj7", "D7", "Gm7", "C7", "Cm7", "F7", "Bb6", "F7"}
	pitch := []int{70, 72, 74, 75, 77, 74, 72, 70, 69, 67, 65, 67, 69, 70, 72, 74}
	k := 0
	for i := 0; i < bars; i++ {
		at := theory.Quarters(int64(4*i), 1)
		t.Bars = append(t.Bars, theory.Bar{Label: itoa(i + 1), Pass: 1, Source: i, At: at, Len: theory.Quarters(4, 1), Beat: theory.Quarters(1, 1), Metre: m, Key: key})
		for h := int64(0); h < 2; h++ {
			c, _ := theory.ParseChord(symbols[(2*i+int(h))%len(symbols)])
			t.Changes = append(t.Changes, theory.Change{At: at.Add(theory.Quarters(2*h, 1)), Len: theory.Quarters(2, 1), Chord: c})
		}
		for j := int64(0); j < 8; {
			l := int64(1)
			if (i+int(j))%3 == 0 {
				l = min(3, 8-j)
			}
			t.Melody = append(t.Melody, theory.Note{At: at.Add(theory.Quarters(j, 2)), Len: theory.Quarters(l, 2), Pitch: midiPitch(pitch[k%len(pitch)])})
			k += 1 + i%3
			j += l
		}
	}
	t.DividePhrases()
	return t
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + string(rune('0'+n%10))
}

// TestBestWholeOfShortTunes: over short random tunes, with a few grips a spot,
// trying every way through the points finds nothing cheaper than the search.
func TestBestWholeOfShortTunes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		neck := StandardNeck()
		shift, err := register(tune, neck)
		if err != nil {
			t.Skip(err)
		}
		tune = tune.Transpose(theory.Interval{Steps: 7 * (shift / 12), Semitones: shift})
		w := &worker{neck: neck, hand: NormalHand(), taste: DefaultTaste(), tension: tensionMedium, s: newScore(onceThrough(tune))}
		w.arrange()
		for i := 1; i < len(w.grips); i++ {
			for a := range w.grips[i-1] {
				for b := range w.grips[i] {
					if least, c := w.AtLeast(i, a, b), w.Edge(i, a, b); least > c {
						t.Fatalf("edge %d from grip %d to grip %d costs %v, less than its bound %v", i, a, b, c, least)
					} else if all := w.Least(i, b); all > c {
						t.Fatalf("edge %d from grip %d to grip %d costs %v, less than the bound %v of all to it", i, a, b, c, all)
					}
				}
			}
		}
		if len(w.ps) == 0 || len(w.ps) > 5 {
			t.Skip("no points, or too many to try every way")
		}
		for i := range w.grips {
			w.grips[i] = w.grips[i][:min(3, len(w.grips[i]))]
			w.ps[i].layouts = w.ps[i].layouts[:min(3, len(w.ps[i].layouts))]
		}
		got := search.Best(w)
		best := 1e18
		var walk func(i, last, manner int, cost float64)
		walk = func(i, last, manner int, cost float64) {
			if i == len(w.ps) {
				best = min(best, cost)
				return
			}
			for c := range w.grips[i] {
				for m := range w.ps[i].layouts {
					v := cost + w.Node(i, c, m)
					if i > 0 {
						v += w.Edge(i, last, c) + w.Turn(i, manner, m)
					}
					walk(i+1, c, m, v)
				}
			}
		}
		walk(0, 0, 0, 0)
		if d := got.Cost - best; d > 1e-6 || d < -1e-6 {
			t.Fatalf("the search says %v, the cheapest of all ways costs %v", got.Cost, best)
		}
	})
}
