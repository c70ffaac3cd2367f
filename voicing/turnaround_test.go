package voicing

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

var turnTaste = DefaultTaste().Turn

// TestTurnaroundSteps: the chords that the steps stand for, against the check
// values of harmony.md.
func TestTurnaroundSteps(t *testing.T) {
	for _, c := range []struct{ to, steps, want, source string }{
		{"C6", "vim7 iim7 V7", "Am7 Dm7 G7", "harmony.md 5.4, S53"},
		{"C6", "#idim7 iim7 V7", "C#dim7 Dm7 G7", "harmony.md 5.4, S53"},
		{"C6", "iiim7 VI7 iim7 V7", "Em7 A7 Dm7 G7", "harmony.md 5.7"},
		{"C", "bII7", "Db7", "harmony.md 5.4, S54"},
		{"Cmaj7", "bVImaj7 bIImaj7", "Abmaj7 Dbmaj7", "harmony.md 5.4, S54"},
		{"C6", "ivm7 bVII7", "Fm7 Bb7", "harmony.md 5.4, S25"},
		{"C6", "VI7 bVI7 V7", "A7 Ab7 G7", "common practice, no source"},
		{"C6", "bIII7 II7 bII7", "Eb7 D7 Db7", "common practice, no source"},
		{"Am6", "bVImaj7 iim7b5 V7", "Fmaj7 Bm7b5 E7", "common practice, no source"},
		{"Am6", "bIIImaj7 bVImaj7 iim7b5 V7", "Cmaj7 Fmaj7 Bm7b5 E7", "common practice, no source"},
		{"Dm7", "iim7 biidim7", "Em7 Ebdim7", "common practice, no source"},
		{"Dm7", "viidim7", "C#dim7", "common practice, no source"},
		{"Ab6", "vim7 iim7 V7", "Fm7 Bbm7 Eb7", "harmony.md 5.4 in Ab"},
		{"B6", "biiidim7 iim7 V7", "Ddim7 C#m7 F#7", "common practice, no source"},
		{"Gb6", "VI7 iim7 bII7", "Eb7 Abm7 G7", "common practice, no source"},
	} {
		var got []string
		for _, s := range strings.Fields(c.steps) {
			y, _ := stepChord(theory.MustChord(c.to), s)
			got = append(got, y.String())
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s into %s: %s (want %s; %s)", c.steps, c.to, g, c.want, c.source)
		}
	}
}

// TestTurnaroundTable: every row is chords that can be read, over every root.
func TestTurnaroundTable(t *testing.T) {
	for _, x := range slices.Concat(turnaroundTable, plainTurnarounds) {
		steps := strings.Fields(x.steps)
		if n := len(steps); n < 1 || n > 4 || x.goals == 0 || bits.OnesCount8(uint8(x.goals)) > 4 {
			t.Errorf("%q has %d steps and the goals %b", x.steps, n, x.goals)
		}
		for fifths := -6; fifths <= 6; fifths++ {
			to := theory.MustChord("C6").Transpose(theory.IntervalFor(theory.Key{}, (7*fifths+84)%12))
			for _, s := range steps {
				c, name := stepChord(to, s)
				if again := theory.MustChord(c.String()); again != c || name == "" {
					t.Errorf("%s over %s: %s reads as %s, called %q", s, to, c, again, name)
				}
			}
		}
	}
}

// partsOf is a tune of two parts of eight bars, A ending as told in its last
// two bars and B beginning on a chord.
func partsOf(head, sevenEight, next string) string {
	return "X:1\n" + head + "\nP:A\n" + sevenEight + "|\nP:B\n" + next + "|\n"
}

const (
	inC  = "M:4/4\nL:1/4\nQ:1/4=132\nK:C"
	in34 = "M:3/4\nL:1/4\nQ:1/4=140\nK:C"
	in68 = "M:6/8\nL:1/8\nQ:3/8=90\nK:C"
	inAm = "M:4/4\nL:1/4\nQ:1/4=132\nK:Am"
	upC  = `"Cmaj7"E2 G2|"Am7"A2 c2|"Dm7"d2 A2|"G7"B2 G2|"Em7"G2 E2|"A7"^c2 "G7"D2|`
	upAm = `"Am6"E2 A2|"Am6"c2 B2|"Dm7"A2 F2|"Dm7"D4|"Bm7b5"D2 F2|"E7"E2 ^G2|`
	// a sheet of triads and a plain seventh
	plainC = `"C"E2 G2|"F"A2 c2|"G"d2 B2|"C"c2 G2|"F"A2 F2|"G7"B2 D2|`
	backC  = `"Cmaj7"E2 G2|"Dm7"A2 c2|"G7"d2 B2|"C6"c4`
	backAm = `"Am6"E2 A2|"Dm7"A2 F2|"E7"^G2 B2|"Am6"A4`
)

// Where each chord is put in and which, and where none is.
func TestTurnarounds(t *testing.T) {
	for _, c := range []struct {
		name, abc string
		medium    string
		high      string // empty is the same as medium, "-" nothing
		why       string
	}{
		{"two bars of the tonic, the third held", partsOf(inC, upC+`"C6"E4-|E4`, backC),
			"7:3 A7 8:1 Dm7 8:3 G7", "", "harmony.md 5.7: two bars of tonic want iii-VI-ii-V; 5.4"},
		{"the symbol written in both bars", partsOf(inC, upC+`"C6"E4-|"C6"E4`, backC),
			"7:3 A7 8:1 Dm7 8:3 G7", "", "a repeated symbol is the same chord going on"},
		{"the fifth held: the third of VI would grate on nothing", partsOf(inC, upC+`"C6"G4-|G4`, backC),
			"7:3 A7 8:1 Dm7 8:3 G7", "7:3 A7 8:1 Dm7 8:3 Db7b5", "harmony.md 5.4: the five a tritone away"},
		{"the tonic held: no major third against the tune's minor, no third beside the fourth", partsOf(inC, upC+`"C6"C4-|C4`, backC),
			"7:3 Am7 8:1 Dm7 8:3 G7sus4", "7:3 Ebmaj7 8:1 Abmaj7 8:3 Dbmaj7", "harmony.md 3.4"},
		{"a pick-up on the five", partsOf(inC, upC+`"C6"E4-|E2 zD`, backC),
			"7:3 A7 8:1 Dm7 8:3 G7", "", "a pick-up may move"},
		{"the tune moves on: no room", partsOf(inC, upC+`"C6"E2 G2|A2 G2`, backC),
			"", "-", "harmony.md 5.3: free beats"},
		{"the tune's last note comes in the second bar", partsOf(inC, upC+`"C6"D2 F2|E4`, backC),
			"8:3 G7", "", "the arrival is heard with its chord first"},
		{"one bar", partsOf(inC, upC+`"G7"D4|"C6"E4`, backC),
			"8:3 G7", "", "shorter where there is only a bar"},
		{"one bar, half of it a pick-up", partsOf(inC, upC+`"G7"D4|"C6"E2 FD`, backC),
			"", "-", "harmony.md 5.3: free beats"},
		{"one bar at a slow tempo", partsOf(strings.Replace(inC, "132", "66", 1), upC+`"G7"D4|"C6"E4`, backC),
			"8:3 Dm7 8:4 G7", "", "a ballad has time for a chord a beat"},
		{"two bars at a slow tempo", partsOf(strings.Replace(inC, "132", "66", 1), upC+`"C6"E4-|E4`, backC),
			"7:3 Em7 7:4 A7 8:1 Dm7 8:3 G7", "", "harmony.md 5.7: iii-VI-ii-V"},
		{"fast: no chord under half a second", partsOf(strings.Replace(inC, "132", "280", 1), upC+`"C6"E4-|E4`, backC),
			"8:1 G7", "", "harmony.md 5.1: faster song, fewer chords"},
		{"minor", partsOf(inAm, upAm+`"Am6"A4-|A2 z2`, backAm),
			"7:3 Fmaj7 8:1 Bm7b5 8:3 E7", "7:3 C7 8:1 F7 8:3 Bb7", "the two of minor is half-diminished"},
		{"into the four", partsOf(inC, upC+`"C6"G4-|G4`, `"Fmaj7"A2 c2|"Fm6"c4|"C6"G4|G4`),
			"7:3 Dm7 8:1 Gm7 8:3 C7", "", "harmony.md 5.4 over the next part's root"},
		{"into the two", partsOf(inC, upC+`"C6"E4-|E4`, `"Dm7"A2 c2|"G7"B4|"C6"G4|G4`),
			"7:3 Fmaj7 8:1 Em7 8:3 A7", "", "the two gets a two and five of its own"},
		{"into a dominant", partsOf(inC, upC+`"C6"E4-|E4`, `"E7"^G2 B2|"Am7"A4|"D7"^F4|"G7"G4`),
			"8:1 F#m7 8:3 B7sus4", "", "so does a dominant; the tune holds the fourth of its five"},
		{"into a half-diminished", partsOf(inC, upC+`"C6"C4-|C4`, `"Bm7b5"A2 F2|"E7"^G4|"Am7"A4|A4`),
			"8:3 C7", "", "the five's tritone is the tonic with a flat seventh"},
		{"a waltz", partsOf(in34, `"Cmaj7"E2 G|"Am7"A2 c|"Dm7"d2 A|"G7"B3|"C6"E3-|E3-|E3-|E3`, `"Cmaj7"E2 G|"Dm7"A2 c|"G7"d2 B|"C6"c3`),
			"6:1 A7 7:1 Dm7 8:1 G7", "", "a bar each"},
		{"6/8", partsOf(in68, `"Cmaj7"E2G G2A|"Am7"A3 c3|"Dm7"d2A A2F|"G7"B3 G3|"Em7"G2E E2G|"A7"^c3 "G7"D3|"C6"E6-|E6`, `"Cmaj7"E3 G3|"Dm7"A3 c3|"G7"d3 B3|"C6"c6`),
			"8:1 Dm7 8:2.5 G7", "", "two beats of the tonic are a bar"},
		{"a blues", partsOf(inC, `"C7"E2 G2|"F7"A2 c2|"C7"G2 E2|"C7"C4|"F7"A2 c2|"G7"B2 D2|"C7"E4-|E4`, `"C7"E2 G2|"F7"A2 c2|"G7"d2 B2|"C7"c4`),
			"7:3 A7 8:1 Dm7 8:3 G7", "", "a blues rests on a dominant"},
		{"a plain sheet keeps to its own chords", partsOf(inC, plainC+`"C"c4-|c2 z2`, `"C"E2 G2|"F"A2 c2|"G"d2 B2|"C"c4`),
			"8:1 F 8:3 G7", "", "four and five, as it has them itself"},
		{"a plain sheet, the third held", partsOf(inC, plainC+`"C"E4-|E4`, `"C"E2 G2|"F"A2 c2|"G"d2 B2|"C"c4`),
			"", "-", "the third is no note of the five or the four"},
		{"not at the end of the piece, nor inside a part", "X:1\n" + inC + "\n" + `"C6"E4-|E4|"Dm7"A4|"G7"B4|"C6"E4-|E4|"G7"D4|"C6"E4-|E4|` + "\n",
			"", "-", "an end is an end"},
		{"a five is no rest", partsOf(inC, upC+`"G7"D4-|D4`, backC),
			"", "-", "it leads already"},
		{"a slash chord is no rest", partsOf(inC, upC+`"C/E"E4-|E4`, backC),
			"", "-", "its bass is on the way"},
	} {
		for _, x := range []struct {
			tension Tension
			want    string
		}{{tensionLow, "-"}, {tensionMedium, c.medium}, {tensionHigh, c.high}} {
			if x.want == "" && x.tension == tensionHigh {
				x.want = c.medium
			}
			s := newScore(onceThrough(readABC(t, c.abc)))
			s.turnarounds(x.tension, densityMedium, &turnTaste)
			if got := s.addedText(); got != strings.TrimPrefix(x.want, "-") {
				t.Errorf("%s, tension %d: %q (want %q: %s)", c.name, x.tension, got, x.want, c.why)
			}
		}
	}
}

// addedText is "7:3 A7 8:1 Dm7": what was put in and where.
func (s *score) addedText() string {
	var out []string
	for _, c := range s.chords {
		if c.added != "" {
			b := s.bars[s.barAt(c.at)]
			out = append(out, fmt.Sprintf("%s:%v %s", b.Label, 1+float64(c.at-b.At)/float64(PerQuarter), c.chord))
		}
	}
	return strings.Join(out, " ")
}

// turnaroundsIn are the turnarounds of an AAAA, by their first chords up to the
// next written one.
func turnaroundsIn(s *score) (all []string) {
	now := ""
	for _, c := range s.chords {
		if c.added != "" {
			now = strings.TrimSpace(now + " " + c.chord.String())
		} else if now != "" {
			all, now = append(all, now), ""
		}
	}
	return all
}

// TestTurnaroundsVary: where there is a choice the same does not come twice
// running, and the same sheet gives the same ones.
func TestTurnaroundsVary(t *testing.T) {
	for _, c := range []struct {
		head, part string
		tension    Tension
	}{
		{inC, upC + `"C6"E4-|E4|`, tensionMedium},
		{inC, upC + `"C6"E4-|E4|`, tensionHigh},
		{inC, upC + `"C6"C4-|C4|`, tensionMedium},
		{inAm, upAm + `"Am6"c4-|c4|`, tensionMedium},
		{inAm, upAm + `"Am6"A4-|A4|`, tensionHigh},
	} {
		abc, tension := "X:1\n"+c.head+"\n"+strings.Repeat("P:A\n"+c.part+"\n", 6), c.tension
		var first []string
		for range 2 {
			s := newScore(onceThrough(readABC(t, abc)))
			s.turnarounds(tension, densityMedium, &turnTaste)
			all := turnaroundsIn(s)
			if len(all) != 5 {
				t.Fatalf("%s tension %d: turnarounds %q between six parts", c.part, tension, all)
			}
			for i := range all[1:] {
				if all[i] == all[i+1] {
					t.Errorf("%s tension %d: %q twice running", c.part, tension, all)
				}
			}
			if first == nil {
				if n := len(slices.Compact(slices.Sorted(slices.Values(all)))); n < 3 {
					t.Errorf("%s tension %d: %d different ones in %q (want 3)", c.part, tension, n, all)
				}
				first = all
			} else if !slices.Equal(first, all) {
				t.Errorf("%s tension %d: %q, the second time %q", c.part, tension, first, all)
			}
		}
	}
}

// TestTurnaroundDensity: a sparse setting takes two chords at most.
func TestTurnaroundDensity(t *testing.T) {
	for d, want := range map[Density]string{densitySparse: "8:1 Dm7 8:3 G7", densityMedium: "7:3 A7 8:1 Dm7 8:3 G7", densityFull: "7:3 A7 8:1 Dm7 8:3 G7"} {
		s := newScore(onceThrough(readABC(t, partsOf(inC, upC+`"C6"E4-|E4`, backC))))
		s.turnarounds(tensionMedium, d, &turnTaste)
		if got := s.addedText(); got != want {
			t.Errorf("density %d: %q (want %q)", d, got, want)
		}
	}
}

// TestTurnaroundArranged: what an arrangement says of a turnaround. The sheet's
// symbols stay, the chords put in are told apart, their notes are marked as
// added, and a grip in them says what it is there for.
func TestTurnaroundArranged(t *testing.T) {
	tune := readABC(t, partsOf(inC, upC+`"C6"E4-|E4`, backC))
	a, err := Arrange(tune, Plan{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Chords) != len(tune.Changes) {
		t.Errorf("%d chord symbols, the sheet has %d", len(a.Chords), len(tune.Changes))
	}
	var added []string
	for _, c := range a.Added {
		added = append(added, c.Symbol)
	}
	if got := strings.Join(added, " "); got != "A7 Dm7 G7" {
		t.Errorf("put in: %q (want A7 Dm7 G7)", got)
	}
	from, to := a.Added[0].At, a.Bars[8].At
	n := 0
	for _, x := range a.Notes {
		if x.Voice != Melody && x.At >= from && x.At < to {
			if n++; !x.Fill {
				t.Errorf("%v at %d of a chord put in is not marked as added", x.Voice, x.At)
			}
		}
	}
	if n < 6 {
		t.Errorf("%d notes under the held note", n)
	}
	var why []string
	for _, g := range a.Grips {
		if g.At >= from && g.At < to {
			if g.Symbol != "C6" {
				t.Errorf("a grip at %d stands over %s, the sheet has C6 there", g.At, g.Symbol)
			}
			if i := strings.Index(g.Reason, "turnaround: "); i >= 0 {
				r, _, _ := strings.Cut(g.Reason[i:], ";")
				why = append(why, r)
			}
		}
	}
	want := []string{"turnaround: VI on the way to ii", "turnaround: ii on the way to V", "turnaround: V into Cmaj7"}
	if !slices.Equal(why, want) {
		t.Errorf("reasons %q (want %q)", why, want)
	}
	if a, err = Arrange(tune, Plan{Tension: "low"}); err != nil || len(a.Added) > 0 {
		t.Errorf("tension low put in %v (%v)", a.Added, err)
	}
}

// TestTurnaroundComesBack: a chord that the sheet writes once for four bars over
// the end of a part comes back after the turnaround, and is told.
func TestTurnaroundComesBack(t *testing.T) {
	a, err := Arrange(readABC(t, partsOf(inC, upC+`"C6"E4-|E4`, `E2 G2|"Dm7"A2 c2|"G7"d2 B2|"C6"c4`)), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(a.Added); n != 4 || a.Added[3].Symbol != "C6" || a.Added[3].At != a.Bars[8].At {
		t.Fatalf("put in: %v (want A7 Dm7 G7 and C6 at bar 9)", a.Added)
	}
	for _, x := range a.Notes {
		if x.At >= a.Bars[8].At && x.Voice == Bass {
			if x.At != a.Bars[8].At || x.MIDI%12 != 0 || x.Fill {
				t.Errorf("the first bass of bar 9 is %v (want a C on the first beat)", x)
			}
			break
		}
	}
}

// randomParts is a tune of parts whose ends leave room.
func randomParts(t *rapid.T) *theory.Tune {
	from := func(list ...string) string { return rapid.SampledFrom(list).Draw(t, "of") }
	metre := rapid.SampledFrom([]theory.Metre{{Num: 4, Den: 4}, {Num: 4, Den: 4}, {Num: 3, Den: 4}, {Num: 6, Den: 8}, {Num: 2, Den: 2}, {Num: 5, Den: 4}, {Num: 2, Den: 4}}).Draw(t, "metre")
	key := theory.Key{Tonic: theory.MustChord("C").Root}
	if rapid.Bool().Draw(t, "minor") {
		key = theory.Key{Tonic: theory.MustChord("A").Root, Minor: true}
	}
	barLen := theory.Quarters(int64(4*metre.Num), int64(metre.Den))
	tune := &theory.Tune{Key: key, Tempi: []theory.TempoMark{{BPM: float64(rapid.IntRange(40, 280).Draw(t, "bpm"))}}}
	at := theory.Time{}
	bar := func(i int, chord string, notes ...int) {
		tune.Bars = append(tune.Bars, theory.Bar{Label: fmt.Sprint(i + 1), Pass: 1, Source: i, At: at, Len: barLen, Beat: theory.BeatOf(metre), Metre: metre, Key: key})
		if chord != "" {
			tune.Changes = append(tune.Changes, theory.Change{At: at, Len: barLen, Chord: theory.MustChord(chord)})
		} else {
			c := &tune.Changes[len(tune.Changes)-1]
			c.Len = c.Len.Add(barLen)
		}
		l := theory.Quarters(int64(4*metre.Num), int64(metre.Den*max(len(notes), 1)))
		for _, p := range notes {
			if p > 0 {
				tune.Melody = append(tune.Melody, theory.Note{At: at, Len: l, Pitch: midiPitch(p)})
			}
			at = at.Add(l)
		}
		if len(notes) == 0 {
			at = at.Add(barLen)
		}
	}
	pitch := func() int { return rapid.IntRange(60, 76).Draw(t, "pitch") }
	i := 0
	for range rapid.IntRange(2, 4).Draw(t, "parts") {
		first := i
		for range 5 {
			bar(i, from("C6", "Am7", "Dm7", "G7", "Fmaj7", "Bm7b5", "E7", "C", "Am6", "D7/F#", "Bbm7"), pitch(), pitch())
			i++
		}
		bar(i, from("G7", "E7", "Dm7"), pitch())
		bar(i+1, from("C6", "C", "Cmaj7", "Am6", "Am", "C7", "F6"), pitch())
		bar(i+2, from("", "", "C6", "Am6"), []int{pitch(), 0, 0, rapid.SampledFrom([]int{0, 60, 67}).Draw(t, "pick-up")}...)
		i += 3
		tune.Sections = append(tune.Sections, theory.Section{Name: from("A", "B"), From: first, To: i})
	}
	tune.DividePhrases()
	return tune
}

// TestAnyTurnaround: whatever the parts, what was written is heard, what is put
// in fills its place without a gap, agrees with the tune and can be played.
func TestAnyTurnaround(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomParts(t)
		if err := tune.Validate(); err != nil {
			t.Fatal(err)
		}
		tension := rapid.SampledFrom([]string{"medium", "high"}).Draw(t, "tension")
		s := newScore(onceThrough(tune))
		before := slices.Clone(s.chords)
		s.turnarounds(map[string]Tension{"medium": tensionMedium, "high": tensionHigh}[tension], densityMedium, &turnTaste)
		if !slices.Equal(s.written, before) {
			t.Fatalf("the written chords changed: %v, were %v", s.written, before)
		}
		for i, c := range s.chords {
			if i > 0 && s.chords[i-1].end != c.at || c.end <= c.at {
				t.Fatalf("chord %d lies from %d to %d after one up to %d", i, c.at, c.end, s.chords[max(i-1, 0)].end)
			}
			if c.added == "" {
				continue
			}
			if d := s.seconds(c.at, c.end); d < shortestTurn-1e-9 {
				t.Errorf("%v lasts %.2f s", c.chord, d)
			}
			for _, n := range s.tune {
				d := (n.midi - c.chord.RootPC() + 12) % 12
				if n.at < c.end && n.end > c.at && (d == 3 && c.chord.Tones.Has(4) || d == 4 && c.chord.Tones.Has(3)) {
					t.Errorf("the tune's %v has the other third of %v", n.pitch, c.chord)
				}
			}
		}
		if n := len(s.chords); n > 0 && s.chords[n-1].added != "" {
			t.Errorf("%v ends the piece", s.chords[n-1].chord)
		}
		for i, c := range s.written {
			if i > 0 && s.written[i-1].chord == c.chord {
				continue
			}
			k := s.chordAt(c.at)
			if keep := min(c.end-c.at, 2*PerQuarter); s.chords[k].at != c.at || s.chords[k].chord != c.chord || s.chords[k].end-c.at < keep {
				t.Errorf("%v is written at %d, %v sounds up to %d", c.chord, c.at, s.chords[k].chord, s.chords[k].end)
			}
		}
		if len(s.added()) == 0 {
			return
		}
		a, err := Arrange(tune, Plan{Tension: tension})
		if err != nil {
			t.Skip(err)
		}
		check(t, a)
		if len(a.Chords) != len(before) {
			t.Errorf("%d symbols, the sheet has %d", len(a.Chords), len(before))
		}
	})
}
