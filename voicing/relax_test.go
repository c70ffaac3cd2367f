package voicing

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// moves tells which notes of an arrangement are moved, by where they are
// written: "3:1<" earlier, "3:1>" later, and by what part of a beat where it is
// not the half.
func moves(a *Arrangement) (out []string) {
	for _, n := range a.Melody {
		if n.Moved == 0 {
			continue
		}
		at := n.At - n.Moved
		i := len(a.Bars) - 1
		for a.Bars[i].At > at {
			i--
		}
		b := a.Bars[i]
		s := fmt.Sprintf("%s:%g", b.Label, 1+float64(at-b.At)/float64(b.Beat))
		if n.Moved < 0 {
			s += "<"
		} else {
			s += ">"
		}
		if d := Tick(absInt(int(n.Moved))); 2*d != b.Beat {
			s += fmt.Sprintf("1/%d", b.Beat/d)
		}
		out = append(out, s)
	}
	return out
}

// TestRelaxed: what is moved and what is left, in small tunes (common practice,
// no source; harmony.md 5.2 melodic anticipation [S50], offsets and their
// alternation by phrase [CP]).
func TestRelaxed(t *testing.T) {
	head := func(metre, tempo string) string {
		return "X:1\nM:" + metre + "\nL:1/8\nQ:1/4=" + tempo + "\nK:C\n"
	}
	const rest = `"Dm7"FEDE FEDE|"C6"C8|` // in which nothing can move
	for _, c := range []struct {
		name, abc string
		want      []string
	}{
		{"an end on the bar line comes before it", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, []string{"2:1<"}},
		{"an eighth before it leaves no room", head("4/4", "132") + `"Dm7"DEFG A2AB|"Cmaj7"G8|` + rest, nil},
		{"a chord of one beat before it", head("4/4", "132") + `"Dm7"DEFG A2"G7"A2|"Cmaj7"G8|` + rest, nil},
		{"a chord of one beat under it", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G2-"C7"G6|` + rest, nil},
		{"no chord", head("4/4", "132") + `"N.C."DEFG A2A2|"Cmaj7"G8|` + rest, nil},
		{"the half of the bar", head("4/4", "132") + `"Dm7"D2E2"Cmaj7"G3z|"Dm7"DEFG A2GA|"Cmaj7"GAGFEDEF|"C6"E8|`, []string{"1:3<"}},
		{"a start behind its beat after a rest", head("4/4", "132") + `"Dm7"D2EF "G7"G2z2|"Cmaj7"c2BA GFED|` + rest, []string{"2:1>"}},
		{"a start behind its beat after a long note", head("4/4", "132") + `"Dm7"D8|"Cmaj7"c2BA GFED|` + rest, []string{"2:1>"}},
		{"a motive is known whatever comes before it", head("4/4", "132") + `"G7"z2BAzGA2|"Cmaj7"G8|"Dm7"z2FEzG"G7"A2|"Cmaj7"G8|` + rest, nil},
		{"a start after a rest inside the bar", head("4/4", "132") + `"Dm7"D8|"G7"z2G2ABcd|` + rest, []string{"2:2>"}},
		{"one note that leads on from a long one", head("4/4", "132") + `"Dm7"DEFG AGFE|"G7"G6F2|"Am7"EFED DEFG|"C6"E8|`, nil},
		{"the first note and the last", head("4/4", "132") + `"Dm7"z2D2E2F2|"C6"E8|`, nil},
		{"a motive that returns", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|"Em7"EFGA B2B2|"A7"A8|` + rest, []string{"2:1<", "4:1<"}},
		{"a motive that has no room when it returns", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|"Em7"EFGA B2"Bb7"B2|"A7"A8|` + rest, nil},
		{"every bar is a habit", head("4/4", "132") + `"Dm7"D2A2"G7"B4|"C6"C2E2"F6"A4|"Dm7"D2A2"G7"B4|"C6"C2E2"F6"A4|"C6"G8|`, nil},
		{"every second bar too", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|"Em7"EFGA B2B2|"A7"A8|"Dm7"DEFG A2A2|"Cmaj7"G8|"Em7"EFGA B2B2|"A7"A8|` + rest, nil},
		{"the other way in the next phrase", head("4/4", "132") + `"Dm7"DEFG AGFE|"G7"G4z4|"C6"c2BA GFED|"G7"FEFG FEDE|"F6"c4z4|"Dm7"c2DE FGA2|"Cmaj7"G8|` + rest, []string{"3:1>", "7:1<"}},
		{"the third phrase in a row as it is", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|"Dm7"FEDE FEDE|"G7"FEDE FEDE|` +
			`"Dm7"AGFE D2E2|"Cmaj7"G8|"Dm7"FEDE FEDE|"G7"FEDE FEDE|"Dm7"AGFG D2D2|"Cmaj7"G8|` + rest, []string{"2:1<", "6:1<"}},
		{"a pick-up is no strong beat", head("4/4", "132") + `|:A2|"C6"cBAG AGFE|"Dm7"FEDE FEDE|"G7"FEDE FEDE|G6:|"C6"C8|`, nil},
		{"no way over the bar line after the pick-up of a phrase", head("4/4", "132") + `|:G2|"C"c4cBAG|"G"BAGF EDCD|"F"FEFE FEFE|"G"GABG FE:|"C"C8|`, nil},
		{"a chord that comes before the bar line already", head("4/4", "132") + `"Dm7"DEFG A2A-"Cmaj7"A|G8|` + rest, nil},
		{"a chord that waits after the bar line", head("4/4", "132") + `"Dm7"DEFG A2A2|G-"Cmaj7"G7|` + rest, nil},
		{"a motive that comes back beside another", head("4/4", "132") + `"Dm7"DEFG A2A2|"Cmaj7"G8|"Dm7"FEDE FEDE|"G7"FEDE FEDE|` +
			`"Dm7"FEDE FEDE|"Dm7"AGFE D2E2|"Cmaj7"G8|"Dm7"FEDE FEDE|"Dm7"DEFG A2A2|"Cmaj7"G8|"Dm7"AGFE D2E2|"Cmaj7"G8|` + rest, []string{"2:1<", "10:1<"}},
		{"the longer of two ends", head("4/4", "132") + `"Dm7"DEA2"Cmaj7"G4|"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, []string{"3:1<"}},
		{"of two ends that with a new chord", head("4/4", "132") + `"Dm7"DEFG A2A2|G8|GFEF G2A2|"Cmaj7"B8|` + rest, []string{"4:1<"}},
		{"no way over the bar line of a phrase", head("4/4", "132") + `"C6"CCDE FEDC|"F6"FFGA BAGF|"G7"GFGA BAGF|"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, nil},
		{"written off the beat already", head("4/4", "132") + `"Dm7"D2EF3A2|"Cmaj7"G8|` + rest, nil},
		{"written behind the bar line already", head("4/4", "132") + `"Dm7"zE3F2A2|"Cmaj7"G8|` + rest, nil},
		{"a row of long notes", head("4/4", "132") + `"Dm7"D4F4|"Cmaj7"G4E4|"Dm7"F4D4|"C6"E8|`, nil},
		{"a slow end comes behind its beat", head("4/4", "66") + `"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, []string{"2:1>"}},
		{"too slow", head("4/4", "40") + `"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, nil},
		{"too fast", head("4/4", "280") + `"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, nil},
		{"a minor ninth over the old bass passes quickly", head("4/4", "132") + `"B7"BAFG A2A2|"C6"c8|` + rest, []string{"2:1<"}},
		{"but not slowly", head("4/4", "90") + `"B7"BAFG A2A2|"C6"c8|` + rest, nil},
		{"three quarters", head("3/4", "140") + `"Dm7"DEF2A2|"Cmaj7"G6|"Dm7"FEDEFD|"C6"E6|`, []string{"2:1<"}},
		{"halves that are felt in quarters", head("C|", "160") + `"Dm7"DEFG A2A2|"Cmaj7"G8|` + rest, []string{"2:1<1/4"}},
		{"a jig keeps its steps", head("6/8", "180") + `"Dm7"D2EF2A|"Cmaj7"G6|"Dm7"FEDEFD|"C6"E6|`, nil},
		{"a slow six eighths", head("6/8", "90") + `"Dm7"DEFF3|"Cmaj7"G6|"Dm7"FEDEFD|"C6"E6|`, []string{"2:1<1/3"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tune := readABC(t, c.abc)
			a, err := Arrange(tune, Plan{Phrasing: "relaxed"})
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(c.want, moves(a)); d != "" {
				t.Errorf("moved, want - and got +:\n%s", d)
			}
			check(t, a)
			relaxedRight(t, tune, a)
		})
	}
}

// relaxedRight checks what holds for every relaxed arrangement: the tune is
// there note by note in its order; what is moved goes half a beat or less and
// leaves a sixteenth or more; the bass does not go along; the beat is not left
// empty where the chord went ahead of it.
func relaxedRight(t fataler, tune *theory.Tune, a *Arrangement) {
	if len(a.Melody) != len(tune.Melody) {
		t.Fatalf("%d notes of %d", len(a.Melody), len(tune.Melody))
	}
	at := map[Tick]string{}
	for _, n := range a.Notes {
		at[n.At] += n.Voice.String()[:1]
	}
	grips := map[Tick]Placed{}
	for _, g := range a.Grips {
		grips[g.At] = g
	}
	for i, n := range a.Melody {
		w := tune.Melody[i]
		if n.Pitch.Name != w.Pitch.Name || (n.MIDI-w.Pitch.MIDI())%12 != 0 {
			t.Fatalf("note %d is %v, not %v", i, n.Pitch, w.Pitch)
		}
		if n.At-n.Moved != ticks(w.At) {
			t.Fatalf("note %d at %d, moved by %d, is written at %d", i, n.At, n.Moved, ticks(w.At))
		}
		if i > 0 && a.Melody[i-1].At+a.Melody[i-1].Dur > n.At {
			t.Fatalf("note %d starts at %d, before the one before it ends", i, n.At)
		}
		beside := i > 0 && a.Melody[i-1].Moved != 0 || i+1 < len(a.Melody) && a.Melody[i+1].Moved != 0
		if (n.Moved != 0 || beside) && n.Dur < PerQuarter/4 && n.Dur < ticks(w.At.Add(w.Len))-ticks(w.At) {
			t.Fatalf("note %d is left with %d ticks", i, n.Dur)
		}
		if n.Moved == 0 {
			continue
		}
		if i == 0 || i == len(a.Melody)-1 {
			t.Fatalf("note %d of %d is moved", i, len(a.Melody))
		}
		b := a.Bars[0]
		for _, x := range a.Bars {
			if x.At <= n.At-n.Moved {
				b = x
			}
		}
		if (n.At-n.Moved-b.At)%b.Beat != 0 || 2*absInt(int(n.Moved)) > int(b.Beat) {
			t.Fatalf("note %d is moved by %d from %d", i, n.Moved, n.At-n.Moved)
		}
		if strings.Contains(at[n.At], "b") {
			t.Fatalf("the bass goes along to %d", n.At)
		}
		if g, ok := grips[n.At]; n.Moved < 0 && ok && strings.Contains(at[n.At], "i") {
			for _, x := range a.Notes {
				if x.Voice == Inner && x.At < n.At && x.At+x.Dur > n.At {
					t.Fatalf("%d of the chord before rings under %s at %d", x.MIDI, g.Symbol, n.At)
				}
			}
		}
		if g, ok := grips[n.At]; n.Moved < 0 && ok && len(g.Frets) > 0 && at[n.At-n.Moved] == "" {
			t.Fatalf("nothing on the beat at %d after the chord before it", n.At-n.Moved)
		}
	}
}

// songTune is a lead sheet as songs are: bars of plain rhythms, chords of half
// a bar and more, the one rhythm again and again.
func songTune(t *rapid.T) *theory.Tune {
	metre := rapid.SampledFrom([]string{"4/4", "3/4", "C|", "2/4", "6/8"}).Draw(t, "metre")
	rhythms := map[string][]string{
		"4/4": {"a2a2a2a2|", "a8|", "a6z2|", "a4a4|", "z2a2a2a2|", "aaaaaaaa|", "a3aa2a2|", "a4z4|", "za3a2a2|", "a2aaa3a-|a6a2|"},
		"3/4": {"a2a2a2|", "a6|", "a4a2|", "z2a2a2|", "a4z2|", "aaaaaa|"},
		"2/4": {"a2a2|", "a4|", "z2a2|", "aaaa|"},
		"6/8": {"a2aa2a|", "a6|", "a3a3|", "a3z3|", "aaaaaa|"},
	}
	rhythms["C|"] = rhythms["4/4"]
	var b strings.Builder
	fmt.Fprintf(&b, "X:1\nM:%s\nL:1/8\nQ:1/4=%d\nK:%s\n", metre, rapid.IntRange(45, 240).Draw(t, "tempo"), rapid.SampledFrom([]string{"C", "Bb", "D", "Em"}).Draw(t, "key"))
	pitch := 7
	own := rapid.SliceOfN(rapid.SampledFrom(rhythms[metre]), 1, 4).Draw(t, "rhythms")
	bars := rapid.IntRange(2, 20).Draw(t, "bars")
	for range bars {
		chord := true
		for _, r := range rapid.SampledFrom(own).Draw(t, "rhythm") {
			if (r == 'a' || r == 'z') && chord {
				chord = false
				if s := rapid.SampledFrom([]string{"C", "Dm7", "G7", "Cmaj7", "Am7", "F6", "Bb7", "E7b9", "F#dim7", "", "N.C."}).Draw(t, "chord"); s != "" {
					fmt.Fprintf(&b, "%q", s)
				}
			}
			if r == 'a' {
				pitch = max(0, min(13, pitch+rapid.IntRange(-3, 3).Draw(t, "step")))
				b.WriteByte("CDEFGABcdefgab"[pitch])
				continue
			}
			b.WriteRune(r)
		}
	}
	b.WriteString("\"C6\"C6|\n")
	tune, err := leadsheet.Read(strings.NewReader(b.String()), "song.abc", leadsheet.Options{})
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	return tune
}

// TestAnyRelaxed: whatever the tune, no note of it is lost, turned round or
// shortened to nothing, a hand holds it, and the bass stays; where nothing is
// moved the arrangement is that of the written rhythm.
func TestAnyRelaxed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := songTune(t)
		if rapid.IntRange(0, 4).Draw(t, "kind") == 0 {
			tune = randomTune(t)
		}
		density := rapid.SampledFrom([]string{"medium", "sparse", "full"}).Draw(t, "density")
		a, err := Arrange(tune, Plan{Phrasing: "relaxed", Density: density})
		if err != nil {
			t.Skip(err) // wider than the neck
		}
		check(t, a)
		relaxedRight(t, tune, a)
		again, _ := Arrange(tune, Plan{Phrasing: "relaxed", Density: density})
		if d := cmp.Diff(a, again); d != "" {
			t.Fatalf("a second time:\n%s", d)
		}
		if len(moves(a)) == 0 {
			written, _ := Arrange(tune, Plan{Phrasing: "written", Density: density})
			if d := cmp.Diff(written, a); d != "" {
				t.Fatalf("nothing is moved, but:\n%s", d)
			}
		}
	})
}

// TestEveryNoteHasAPlace: each note of the tune is in a grip or on the way
// between two, not in both: also the note that comes before its point.
func TestEveryNoteHasAPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &worker{neck: StandardNeck(), hand: NormalHand(), right: NormalRightHand(), taste: DefaultTaste(), s: newScore(onceThrough(songTune(t)))}
		if rapid.Bool().Draw(t, "relaxed") {
			w.s.relax()
		}
		w.arrange()
		places := make([]int, len(w.s.tune))
		for _, r := range append(slices.Clone(w.runs), w.lead) {
			for _, k := range r.notes {
				places[k]++
			}
		}
		for i := range w.ps {
			if p := &w.ps[i]; p.tune >= 0 && !p.held {
				places[p.tune]++
			}
		}
		for k, n := range places {
			if n != 1 {
				t.Fatalf("note %d at %d has %d places", k, w.s.tune[k].at, n)
			}
		}
	})
}

// TestEarlyUnderOneChord: a long note that comes early gets its chord and its
// bass on the beat though the symbol stays.
func TestEarlyUnderOneChord(t *testing.T) {
	a, err := Arrange(readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4=132\nK:C\n"+`"G7"d2c2B4|cBAG FEDE|"C6"FEDE FEDE|C8|`), Plan{Phrasing: "relaxed"})
	if err != nil {
		t.Fatal(err)
	}
	beat := a.Bars[0].At + 2*PerQuarter
	at := beat - PerQuarter/2
	if !slices.ContainsFunc(a.Grips, func(g Placed) bool { return g.At == at }) {
		t.Errorf("no grip with the note at %d: %+v", at, a.Grips)
	}
	if !slices.ContainsFunc(a.Notes, func(n Note) bool { return n.At == beat && n.Voice == Bass }) {
		t.Error("no bass on the beat")
	}
}

// TestWrittenStays: without the word the rhythm is the sheet's.
func TestWrittenStays(t *testing.T) {
	tune := readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4=132\nK:C\n"+`"Dm7"D2E2F2A2|"Cmaj7"G8|"Dm7"F2D2E2F2|"C6"E8|`)
	a, err := Arrange(tune, Plan{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Arrange(tune, Plan{Phrasing: "written"})
	if err != nil {
		t.Fatal(err)
	}
	if len(moves(a)) > 0 || cmp.Diff(a, b) != "" {
		t.Errorf("moved %v; with the word:\n%s", moves(a), cmp.Diff(a, b))
	}
	if _, err := Arrange(tune, Plan{Phrasing: "late"}); err == nil {
		t.Error("any word is taken")
	}
}

// TestEarlyChord: the chord comes with its note before the bar line, its bass
// on the beat; what rang of the chord before has stopped, and the reason says
// what was done. A chord behind its bass comes with its note too.
func TestEarlyChord(t *testing.T) {
	for _, c := range []struct {
		tempo string
		at    Tick // of the chord, from its beat
		say   string
	}{
		{"132", -PerQuarter / 2, "early"},
		{"66", PerQuarter / 2, "laid back"},
	} {
		a, err := Arrange(readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4="+c.tempo+"\nK:C\n"+`"G7"d2B2G2F2|"Cmaj7"E8|"Dm7"F2D2E2F2|"C6"E8|`), Plan{Phrasing: "relaxed"})
		if err != nil {
			t.Fatal(err)
		}
		beat := a.Bars[1].At
		voices := map[Tick][]Voice{}
		for _, n := range a.Notes {
			voices[n.At] = append(voices[n.At], n.Voice)
			if n.Voice == Inner && n.At < beat+c.at && n.At+n.Dur > beat+c.at && c.at < 0 {
				t.Errorf("%s: inner %d of the old chord rings to %d", c.tempo, n.MIDI, n.At+n.Dur)
			}
		}
		if v := voices[beat+c.at]; !slices.Contains(v, Melody) || !slices.Contains(v, Inner) || slices.Contains(v, Bass) {
			t.Errorf("%s: with the tune: %v", c.tempo, v)
		}
		if v := voices[beat]; !slices.Equal(v, []Voice{Bass}) {
			t.Errorf("%s: on the beat: %v", c.tempo, v)
		}
		i := slices.IndexFunc(a.Grips, func(g Placed) bool { return g.Symbol == "Cmaj7" })
		if i < 0 || !strings.Contains(a.Grips[i].Reason, c.say) || a.Grips[i].At != beat+min(c.at, 0) {
			t.Errorf("%s: %+v", c.tempo, a.Grips[i])
		}
	}
}
