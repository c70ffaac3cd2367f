package voicing

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// changesPlayed are the chords as they are played: the sheet's, and what is put
// in between.
func changesPlayed(a *Arrangement) []ChordMark {
	all := append(slices.Clone(a.Chords), a.Added...)
	slices.SortStableFunc(all, func(x, y ChordMark) int { return int(x.At - y.At) })
	var out []ChordMark
	for _, c := range all {
		if n := len(out); n > 0 && out[n-1].At == c.At {
			out[n-1] = c // what is put in takes the place of the sheet's
			continue
		}
		out = append(out, c)
	}
	// what passes over a bass that stays, in a run of the tonic scale, is no
	// change for the bass
	added := map[Tick]bool{}
	for _, c := range a.Added {
		added[c.At] = true
	}
	passed := false
	kept := out[:0:0]
	for i, c := range out {
		end := a.End()
		if i+1 < len(out) {
			end = out[i+1].At
		}
		if n := len(kept); n > 0 && added[c.At] && !c.Chord.NoChord && !kept[n-1].Chord.NoChord {
			before := kept[n-1].Chord
			if c.Chord.Kind == theory.Diminished && c.Chord.PCs().Has(before.RootPC()+11) && end-c.At <= beatAt(a, c.At) || passed && c.Chord == before {
				passed = true
				continue
			}
		}
		passed = false
		kept = append(kept, c)
	}
	out = kept
	// the last of all stands on its root, whatever bass is written under it,
	// where the ending has found room
	if n := len(out) - 1; n >= 0 && !out[n].Chord.NoChord && len(a.Bassist) > 0 {
		if c := &out[n].Chord; a.Bassist[len(a.Bassist)-1].MIDI%12 == c.RootPC() {
			*c = theory.NewChord(c.Root, c.Tones, c.Root)
		}
	}
	return out
}

// beatAt is the length of a beat at t.
func beatAt(a *Arrangement, t Tick) Tick {
	beat := PerQuarter
	for _, b := range a.Bars {
		if b.At <= t {
			beat = b.Beat
		}
	}
	return beat
}

// A bassFigures is what is counted on lines of a bass player.
type bassFigures struct {
	notes, bars    int
	roots, stepped share // of the changes
	leap, low      int
	high           int
	gap            Tick // the longest silence while a chord is played
	under          share
}

// bassFaults checks what may never be, and counts.
func bassFaults(a *Arrangement, f *bassFigures) (faults []string) {
	say := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	line := a.Bassist
	if len(line) == 0 {
		return nil
	}
	if f.low == 0 {
		f.low = 127
	}
	f.notes += len(line)
	f.bars += len(a.Bars)
	end := a.End()
	changes := changesPlayed(a)
	governs := func(t Tick) int {
		k := -1
		for i, c := range changes {
			if c.At <= t {
				k = i
			}
		}
		return k
	}
	for i, n := range line {
		f.low, f.high = min(f.low, n.MIDI), max(f.high, n.MIDI)
		if n.MIDI < lowestBassist || n.MIDI > highestBassist {
			say("pitch %d at %d", n.MIDI, n.At)
		}
		if n.Dur <= 0 || n.At+n.Dur > end {
			say("note at %d lasts %d, the end is at %d", n.At, n.Dur, end)
		}
		k := governs(n.At)
		if k < 0 || changes[k].Chord.NoChord {
			say("a note at %d where there is no chord", n.At)
		}
		lowest := 127
		for _, g := range a.Notes {
			if g.At < n.At+n.Dur && g.At+g.Dur > n.At {
				lowest = min(lowest, g.MIDI)
			}
		}
		f.under.count(n.MIDI < lowest)
		if lowest > 39 && n.MIDI >= lowest {
			say("at %d the bass plays %d over the guitar's %d", n.At, n.MIDI, lowest)
		}
		if i == 0 {
			continue
		}
		p := line[i-1]
		if p.At+p.Dur > n.At {
			say("two notes at %d", n.At)
		}
		d := absInt(n.MIDI - p.MIDI)
		f.leap = max(f.leap, d)
		if d > 12 {
			say("a leap of %d at %d", d, n.At)
		}
		silent := false
		for _, c := range changes {
			silent = silent || c.Chord.NoChord && c.At < n.At && (c.At >= p.At)
		}
		if !silent {
			f.gap = max(f.gap, n.At-p.At-p.Dur)
		}
	}
	last := line[len(line)-1]
	for i, c := range changes {
		if c.Chord.NoChord || c.At > last.At || c.At >= end {
			continue
		}
		k, hit := slices.BinarySearchFunc(line, c.At, func(n BassNote, t Tick) int { return int(n.At - t) })
		hit = hit && line[k].MIDI%12 == c.Chord.BassPC()
		f.roots.count(hit)
		if !hit {
			say("no %s under %s at %d", c.Chord.Bass, c.Symbol, c.At)
		}
		if hit && k > 0 && i > 0 && !changes[i-1].Chord.NoChord && changes[i-1].Chord.BassPC() != c.Chord.BassPC() {
			d := absInt(line[k].MIDI - line[k-1].MIDI)
			f.stepped.count(d <= 2)
		}
	}
	// It ends on a root, held, and nothing comes after.
	k := governs(last.At)
	if k >= 0 && last.MIDI%12 != changes[k].Chord.BassPC() {
		say("the last note is %d over %s", last.MIDI, changes[k].Symbol)
	}
	held := end
	for _, c := range changes {
		if c.Chord.NoChord && c.At > last.At {
			held = min(held, c.At)
		}
	}
	for _, n := range a.Notes {
		bar := a.Bars[0].Len
		for _, b := range a.Bars {
			if b.At <= last.At {
				bar = b.Len
			}
		}
		if n.Voice == Melody && n.At >= last.At+bar && n.At < last.At+last.Dur {
			say("the tune goes on at %d, the bass stopped at %d", n.At, last.At)
		}
	}
	if last.At+last.Dur != held {
		say("the last note stops at %d, not at %d", last.At+last.Dur, held)
	}
	return faults
}

// timeFaults checks the drummer.
func timeFaults(a *Arrangement) (faults []string) {
	say := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if len(a.Bassist) == 0 {
		return nil
	}
	last := a.Bassist[len(a.Bassist)-1].At
	changes := changesPlayed(a)
	for i, x := range a.Time {
		if i > 0 && x.At < a.Time[i-1].At {
			say("stroke at %d after one at %d", x.At, a.Time[i-1].At)
		}
		if x.At > last {
			say("a stroke at %d, after the last chord at %d", x.At, last)
		}
		if i > 0 && len(a.Bars) > 1 && a.Bars[0].Label == "0" && x.At < a.Bars[1].At {
			say("a stroke at %d, in the pick-up", x.At)
		}
		for k := len(changes) - 1; k >= 0; k-- {
			if changes[k].At <= x.At {
				if changes[k].Chord.NoChord {
					say("a stroke at %d, where no chord is played", x.At)
				}
				break
			}
		}
	}
	if n := len(a.Time); n == 0 || a.Time[n-1].At != last && last >= a.Bars[min(1, len(a.Bars)-1)].At {
		say("no stroke with the last chord at %d", last)
	}
	return faults
}

// The line of every shared sheet and of the sheets here, once through and in
// three choruses.
func TestBassistOfSheets(t *testing.T) {
	var f bassFigures
	sheets := 0
	play := func(name string, tune *theory.Tune, p Plan) {
		p.Setting = "trio"
		a, err := Arrange(tune, p)
		if err != nil {
			t.Logf("%s: %v", name, err)
			return
		}
		sheets++
		for _, x := range append(bassFaults(a, &f), timeFaults(a)...) {
			t.Errorf("%s: %s", name, x)
		}
	}
	for _, pattern := range []string{"corpus/abc/*.abc", "corpus/leadsheets/*.mxl"} {
		SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
			if strings.HasPrefix(name, "flight") && testing.Short() {
				return
			}
			play(name, tune, Plan{})
		})
	}
	t.Logf("%d sheets, %d notes, %.2f a bar, range %d to %d, widest leap %d, longest silence %d ticks", sheets, f.notes, float64(f.notes)/float64(f.bars), f.low, f.high, f.leap, f.gap)
	t.Logf("roots at %.2f %% of %d changes, a step or less into %.0f %% of %d new roots, below the guitar at %.2f %% of the notes", f.roots.percent(), int(f.roots.whole), f.stepped.percent(), int(f.stepped.whole), f.under.percent())
	if f.roots.percent() < 100 || f.gap > bassGap || f.stepped.percent() < 40 {
		t.Error("roots at every change, no holes, steps into 40 % of the new roots at least")
	}
	if per := float64(f.notes) / float64(f.bars); per < 1.2 || per > 3.2 {
		t.Errorf("%.2f notes a bar", per)
	}
}

// The same of the sheets that are ours, in all the ways to play them.
func TestBassistOfOurs(t *testing.T) {
	files, err := filepath.Glob("../testdata/tunes/*.*")
	if err != nil {
		t.Fatal(err)
	}
	files = append(files, "../cmd/thumbline/demo.abc")
	n := 0
	for _, name := range files {
		if strings.HasSuffix(name, ".tsv") {
			continue
		}
		tune := ReadSheet(t, name)
		for _, p := range []Plan{{}, {Choruses: 2}, {Feel: "straight"}, {Feel: "bossa"}, {Density: "sparse", Phrasing: "relaxed"}, {Choruses: 3, Comp: 2},
			{Intro: "pedal", Ending: "run"}, {Intro: "vamp", Ending: "tag", Ritardando: true}, {Intro: "last", Ending: "vamp"}, {Ending: "run:2"}, {Ending: "none"}} {
			p.Setting = "trio"
			a, err := Arrange(tune, p)
			if err != nil {
				t.Logf("%s: %v", name, err)
				continue
			}
			n++
			var f bassFigures
			for _, x := range append(bassFaults(a, &f), timeFaults(a)...) {
				t.Errorf("%s %+v: %s", name, p, x)
			}
		}
	}
	if n < 12 {
		t.Errorf("only %d arrangements", n)
	}
}

// Whatever the tune.
func TestAnyBassist(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		p := Plan{Setting: "trio", Feel: rapid.SampledFrom([]string{"", "straight", "bossa"}).Draw(t, "feel")}
		a, err := Arrange(tune, p)
		if err != nil {
			return
		}
		var f bassFigures
		if faults := append(bassFaults(a, &f), timeFaults(a)...); len(faults) > 0 {
			t.Fatalf("%v\n%+v", faults, a.Bassist)
		}
		again, _ := Arrange(tune, p)
		if !slices.Equal(a.Bassist, again.Bassist) || !slices.Equal(a.Time, again.Time) {
			t.Fatal("another line from the same tune")
		}
	})
}

// TestBassUntilNoChord: the bass goes on under a tune that goes on under the last
// chord, also where more of the tune comes without one.
func TestBassUntilNoChord(t *testing.T) {
	a, err := Arrange(readABC(t, "X:1\nM:6/8\nL:1/8\nQ:3/8=60\nK:C\n\"G7\"g6|\"Em\"g6|e6|e3 e3|\"N.C.\"g6|\n"), Plan{Setting: "trio"})
	if err != nil {
		t.Fatal(err)
	}
	var f bassFigures
	if faults := bassFaults(a, &f); len(faults) > 0 {
		t.Errorf("%v\n%s", faults, bassTold(a))
	}
}

// A solo has no company.
func TestNoBassistAlone(t *testing.T) {
	a, err := Arrange(ReadSheet(t, "../cmd/thumbline/demo.abc"), Plan{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Bassist)+len(a.Time) > 0 {
		t.Errorf("%d notes of a bass and %d strokes in a solo", len(a.Bassist), len(a.Time))
	}
}

// Lines of a few bars, as a bass player would say them: beat, note, and what a
// beat has for each manner (harmony.md 5.2; common practice, no source).
func TestBassLines(t *testing.T) {
	for _, x := range []struct{ name, head, plan, want string }{
		{"two, root and fifth, a step into the next root", "M:4/4\nQ:1/4=140\nK:C\n\"C6\"c4 e4|\"Am7\"a4 e4|\"Dm7\"d4 f4|\"G7\"g4 f4|\"C6\"e8|]", "",
			"1 C2, 3 G1, 4 Ab1 | 1 A1, 3 E2, 4 Db2 | 1 D2, 3 A1, 4 Ab1 | 1 G1, 3 D2, 4 Db2 | 1 C2"},
		{"a waltz has one root a bar", "M:3/4\nQ:1/4=140\nK:F\n\"F6\"c6|\"D7\"d6|\"Gm7\"d6|\"C7\"e6|\"F6\"f6|]", "straight",
			"1 F2 | 1 D2, 3 A1 | 1 G1 | 1 C2, 3 G1 | 1 F1"},
		{"a jig has the beats", "M:6/8\nK:D\n\"D\"f3 d3|\"G\"g3 b3|\"A7\"a3 g3|\"D\"f6|]", "",
			"1 D2, 2 A1 | 1 G1, 2 D2 | 1 A2, 2 E2 | 1 D2"},
		{"a slash is obeyed", "M:4/4\nQ:1/4=140\nK:C\n\"C\"c4 e4|\"G7/B\"d4 g4|\"Am\"c4 e4|\"Am7/G\"e4 c4|\"F6\"c8|]", "straight",
			"1 C2, 3 G1, 4 A1 | 1 B1, 3 G1, 4 Ab1 | 1 A1, 3 E1, 4 Gb1 | 1 G1, 3 A1, 4 G1 | 1 F1"},
		{"no chord, no bass", "M:4/4\nQ:1/4=140\nK:C\n\"C\"c4 e4|\"N.C.\"d4 g4|\"G7\"d4 f4|\"C\"e8|]", "straight",
			"1 C2, 3 G1 |  | 1 G2, 3 D2, 4 B1 | 1 C2"},
		{"in four from the second chorus on", "M:4/4\nQ:1/4=140\nK:C\n\"C6\"c4 e4|\"Am7\"a4 e4|\"Dm7\"d4 f4|\"G7\"g4 f4|\"C6\"e8|]", "2",
			"1 C2, 3 G1, 4 Ab1 | 1 A1, 3 E2, 4 Db2 | 1 D2, 3 A1, 4 Ab1 | 1 G1, 3 D2, 4 Db2 | 1 C2, 3 G1 | " +
				"1 C2, 2 A1, 3 G1, 4 Ab1 | 1 A1, 2 G1, 3 C2, 4 Db2 | 1 D2, 2 C2, 3 F2, 4 Gb2 | 1 G2, 2 D2, 3 B1, 4 Db2 | 1 C2"},
		{"a bossa pushes", "M:4/4\nQ:1/4=130\nK:C\n\"C6\"c4 e4|\"Am7\"a4 e4|\"Dm7\"d4 f4|\"G7\"g4 f4|\"C6\"e8|]", "bossa",
			"1 C2, 2.5 G1, 3 G1, 4.5 Ab1 | 1 A1, 2.5 E2, 3 E2, 4.5 Db2 | 1 D2, 2.5 A1, 3 A1, 4.5 Ab1 | 1 G1, 2.5 D2, 3 D2, 4.5 Db2 | 1 C2"},
		{"a ballad has halves", "M:4/4\nQ:1/4=60\nK:C\n\"C6\"c4 e4|\"Am7\"a4 e4|\"Dm7\"d4 \"G7\"f4|\"C6\"e8|]", "",
			"1 C2, 3 G1 | 1 A1, 3 E2, 4 Db2 | 1 D2, 3 G1 | 1 C2"},
		{"under a run of the tonic scale the root stays", "M:4/4\nQ:1/4=140\nK:C\n\"Dm7\"d4 f4|\"G7\"g4 f4|\"C6\"c8-|c8|]", "run",
			"1 D2, 3 A1, 4 Ab1 | 1 G1, 3 D2, 4 Db2 | 1 C2, 3 C3 | 1 C2, 3 C2, 4 G1 | 1 Ab1, 3 Db2 | 1 C2 | "},
	} {
		tune := readABC(t, "X:1\nT:x\nL:1/8\n"+x.head)
		p := Plan{Setting: "trio", Feel: x.plan, Ending: "none", SameRepeats: true}
		if x.plan == "2" {
			p.Feel, p.Choruses = "", 2
		}
		if x.plan == "run" {
			p.Feel, p.Ending = "", "run"
		}
		f, err := newForm(tune, &p, StandardNeck())
		if err != nil {
			t.Fatal(err)
		}
		a := &Arrangement{} // nobody to keep out of the way of
		if a.Feel, err = feelOf(tune, p.Feel); err != nil {
			t.Fatal(err)
		}
		line := newScore(f)
		line.takeOver()
		a.Bars = line.bars
		line.company(a)
		if got := bassTold(a); got != x.want {
			t.Errorf("%s:\n got %s\nwant %s", x.name, got, x.want)
		}
	}
}

// bassTold is a line bar by bar.
func bassTold(a *Arrangement) string {
	names := [...]string{"C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"}
	var bars []string
	for _, b := range a.Bars {
		var ns []string
		for _, n := range a.Bassist {
			if n.At >= b.At && n.At < b.At+b.Len {
				ns = append(ns, fmt.Sprintf("%.3g %s%d", 1+float64(n.At-b.At)/float64(b.Beat), names[n.MIDI%12], n.MIDI/12-1))
			}
		}
		bars = append(bars, strings.Join(ns, ", "))
	}
	return strings.Join(bars, " | ")
}
