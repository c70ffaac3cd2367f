package voicing

import (
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

var toldCloses = flag.Bool("closes", false, "log every close that is at fault")

// closeFault says what is wrong with how an arrangement ends on a chord: its
// third sounds in the last grip, the last attack of all stands on its root.
// Empty where nothing is.
func closeFault(a *Arrangement, home theory.Chord) string {
	if len(a.Notes) == 0 {
		return "silent"
	}
	last := a.Notes[len(a.Notes)-1].At
	grip := Tick(0)
	for _, g := range a.Grips {
		grip = max(grip, g.At)
	}
	grip = min(grip, last)
	low := 999
	var sounds theory.PCSet
	for _, n := range a.Notes {
		if n.At == last {
			low = min(low, n.MIDI)
		}
		if n.At >= grip || n.At+n.Dur > last {
			sounds = sounds.With(n.MIDI)
		}
	}
	var faults []string
	if third, ok := home.ThirdPC(); ok && !sounds.Has(third) {
		faults = append(faults, "no third")
	}
	if low%12 != home.RootPC() {
		faults = append(faults, fmt.Sprintf("the last attack stands on %d", low))
	}
	return strings.Join(faults, ", ")
}

// closesOn is the chord that an ending of a kind comes home to.
func (f *frame) closesOn(kind string) theory.Chord {
	if f.insteadOfTurn() || kind != "straight" {
		return f.tonic
	}
	return f.home
}

// sounding is the frame of a tune in the octave in which it is arranged.
func sounding(t testing.TB, tune *theory.Tune) *frame {
	t.Helper()
	oct, err := register(tune, StandardNeck())
	if err != nil {
		t.Fatal(err)
	}
	return newFrame(tune.Transpose(theory.Interval{Steps: 7 * (oct / 12), Semitones: oct}), StandardNeck(), &Plan{})
}

var endingsTried = strings.Fields("straight tag vamp run")

// TestEndingsOfSheets: every sheet has an ending of each kind, and closes with
// it: the third is there, the root is the last or lowest note.
func TestEndingsOfSheets(t *testing.T) {
	for _, kind := range endingsTried {
		for _, pattern := range []string{"corpus/leadsheets/*.mxl", "corpus/abc/*.abc"} {
			n, bad, without := 0, 0, 0
			SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
				a, err := Arrange(tune, Plan{Ending: kind})
				if none := (*ChoiceError)(nil); errors.As(err, &none) && kind == "run" {
					without++ // no room on the neck, or no time
					t.Logf("%s: %v", name, err)
					return
				} else if err != nil {
					t.Errorf("%s: %v", name, err)
					return
				}
				n++
				home := newFrame(tune, StandardNeck(), &Plan{}).closesOn(kind)
				if home.Tones == 0 {
					t.Errorf("%s has no chord to close on", name)
					return
				}
				if fault := closeFault(a, home); fault != "" {
					bad++
					if *toldCloses {
						t.Logf("%s %s ends on %v: %s", kind, name, home, fault)
					}
				}
			})
			t.Logf("ending %s, %s: %d of %d close", kind, pattern, n-bad, n)
			if without > 1 {
				t.Errorf("ending %s, %s: %d have none", kind, pattern, without)
			}
			if bad > 0 {
				t.Errorf("ending %s, %s: %d of %d do not close (-closes lists them)", kind, pattern, bad, n)
			}
		}
	}
}

// TestEndingsOfDemo: the built-in tune has three endings of each kind at least,
// each of its own name, and closes with all of them.
func TestEndingsOfDemo(t *testing.T) {
	tune := BuiltIn(t)
	f := sounding(t, tune)
	for _, kind := range endingsTried {
		all := f.endings(kind)
		if len(all) < 3 {
			t.Errorf("%s: %d endings, want 3 at least", kind, len(all))
		}
		names := map[string]bool{}
		for i, p := range all {
			if names[p.name] {
				t.Errorf("%s:%d: %q once more", kind, i+1, p.name)
			}
			names[p.name] = true
			if kind == "straight" && len(p.bars) > 0 {
				t.Errorf("straight:%d adds bars", i+1)
			}
			a, err := Arrange(tune, Plan{Ending: fmt.Sprintf("%s:%d", kind, i+1)})
			if err != nil {
				t.Fatal(err)
			}
			if fault := closeFault(a, f.tonic); fault != "" {
				t.Errorf("%s:%d, %s: %s", kind, i+1, p.name, fault)
			}
		}
	}
}

// drawClose is a small tune in some key, metre and tempo, of triads or of richer
// chords, with a pick-up or without, that ends on its tonic or on its five.
func drawClose(t *rapid.T) *theory.Tune {
	key := rapid.SampledFrom(strings.Fields("C G D A E B F Bb Eb Ab Db Am Em Bm F#m Dm Gm Cm Fm Ddor Gmix")).Draw(t, "key")
	metre := rapid.SampledFrom([]struct {
		name   string
		eights int
	}{{"4/4", 8}, {"3/4", 6}, {"6/8", 6}, {"2/2", 8}, {"2/4", 4}, {"9/8", 9}}).Draw(t, "metre")
	tempo := rapid.IntRange(50, 260).Draw(t, "tempo")
	rich := rapid.Bool().Draw(t, "rich")
	k, err := theory.ParseKey(strings.NewReplacer("dor", "m", "mix", "").Replace(key))
	if err != nil {
		t.Fatal(err)
	}
	chord := func(semis int, minor, dominant bool) string {
		name := k.Tonic.Transpose(map[int]theory.Interval{0: {}, 5: {Steps: 3, Semitones: 5}, 7: {Steps: 4, Semitones: 7}}[semis]).String()
		switch {
		case dominant:
			return name + "7"
		case minor && rich:
			return name + "m6"
		case minor:
			return name + "m"
		case rich:
			return name + "maj7"
		}
		return name
	}
	var b strings.Builder
	fmt.Fprintf(&b, "X:1\nT:Drawn\nM:%s\nL:1/8\nQ:1/4=%d\nK:%s\n", metre.name, tempo, key)
	letter := rapid.SampledFrom(strings.Split("C D E F G A B c d e f g", " "))
	pickup := rapid.IntRange(0, 2).Draw(t, "pickup")
	for range pickup {
		b.WriteString(letter.Draw(t, "note"))
	}
	if pickup > 0 {
		b.WriteString("|")
	}
	bars := rapid.IntRange(2, 9).Draw(t, "bars")
	for range bars - 1 {
		semis := rapid.SampledFrom([]int{0, 5, 7}).Draw(t, "chord")
		fmt.Fprintf(&b, "%q", chord(semis, k.Minor && semis != 7, semis == 7))
		for left := metre.eights; left > 0; {
			n := min(left, rapid.IntRange(1, 4).Draw(t, "len"))
			fmt.Fprintf(&b, "%s%d", letter.Draw(t, "note"), n)
			left -= n
		}
		b.WriteString("|")
	}
	home, step := chord(0, k.Minor, false), int(k.Tonic.Letter)
	if rapid.IntRange(0, 4).Draw(t, "open") == 0 {
		home, step = chord(7, false, true), step+4
	}
	first := rapid.IntRange(0, metre.eights-1).Draw(t, "before the last note")
	fmt.Fprintf(&b, "%q", home)
	if first > 0 {
		fmt.Fprintf(&b, "%s%d", letter.Draw(t, "note"), first)
	}
	// the last note is one of its chord
	last := string("CDEFGAB"[(step+rapid.SampledFrom([]int{0, 2, 4}).Draw(t, "last"))%7])
	if rapid.Bool().Draw(t, "high") {
		last = strings.ToLower(last)
	}
	fmt.Fprintf(&b, "%s%d", last, max(metre.eights-first-pickup, 1))
	if pickup == 0 && first == 0 && rapid.Bool().Draw(t, "long") {
		fmt.Fprintf(&b, "-|%s%d", last, metre.eights)
	}
	b.WriteString("|]\n")
	tune, err := leadsheet.Read(strings.NewReader(b.String()), "drawn.abc", leadsheet.Options{})
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	t.Logf("%s", b.String())
	return tune
}

// TestEndingsHold: whatever the tune, endings follow each other without a gap,
// nothing in them is too short to be heard or lies where no hand can take it, and
// their top line is one: no leap over an octave, steps and held tones mostly.
func TestEndingsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := drawClose(t)
		oct, err := register(tune, StandardNeck())
		if err != nil {
			t.Skip(err)
		}
		f := newFrame(tune.Transpose(theory.Interval{Steps: 7 * (oct / 12), Semitones: oct}), StandardNeck(), &Plan{})
		m := newMaker(f.neck, newGrasp(f.neck, f.hand), f.right, DefaultTaste())
		kind := rapid.SampledFrom(endingsTried).Draw(t, "kind")
		all := f.endings(kind)
		if len(all) == 0 && kind != "tag" && kind != "run" { // no phrase, or no room on the neck
			t.Fatalf("no %s", kind)
		}
		for i, p := range all {
			what := fmt.Sprintf("%s:%d, %s", kind, i+1, p.name)
			if kind == "straight" && len(p.bars) > 0 {
				t.Errorf("%s adds bars", what)
			}
			if f.hold(true).Less(p.lead) {
				t.Errorf("%s takes over before the last note", what)
			}
			small, moves, before := 0, 0, f.last.Pitch.MIDI()
			var end theory.Time
			for _, n := range p.notes {
				if n.At.Less(end) || n.Len.Cmp(theory.Time{}) <= 0 {
					t.Errorf("%s: note %v at %v for %v, the one before ends at %v", what, n.Pitch, n.At, n.Len, end)
				}
				end = n.At.Add(n.Len)
				d := absInt(n.Pitch.MIDI() - before)
				if kind != "tag" && d > 12 {
					t.Errorf("%s: a leap of %d", what, d)
				}
				if moves++; d <= 4 {
					small++
				}
				before = n.Pitch.MIDI()
			}
			if kind != "tag" && 3*small < 2*moves-2 {
				t.Errorf("%s: %d of %d moves are small", what, small, moves)
			}
			if p.length().Less(end) {
				t.Errorf("%s: the last note ends after it", what)
			}
			end = theory.Time{}
			for k, c := range p.chords {
				if k > 0 && c.At != end {
					t.Errorf("%s: %v at %v, the one before ends at %v", what, c.Chord, c.At, end)
				}
				end = c.At.Add(c.Len)
				if sec := f.seconds(c.Len); sec < shortestRunChord-1e-9 && kind != "tag" && k+1 < len(p.chords) { // the last rings on
					t.Errorf("%s: %v lasts %.2f s", what, c.Chord, sec)
				}
				if c.voicing != nil && len(m.exact(c.voicing, true)) == 0 {
					t.Errorf("%s: no hand takes %v", what, c.voicing)
				}
			}
			if len(p.chords) > 0 && end != p.length() {
				t.Errorf("%s: the last chord ends at %v of %v", what, end, p.length())
			}
		}
		if len(all) == 0 {
			return
		}
		rank := rapid.IntRange(1, len(all)).Draw(t, "rank")
		a, err := Arrange(tune, Plan{Ending: fmt.Sprintf("%s:%d", kind, rank)})
		if err != nil {
			t.Fatal(err)
		}
		home := f.closesOn(kind)
		if len(all[rank-1].chords) > 0 {
			home = f.tonic // it goes there whatever the sheet does
		}
		if fault := closeFault(a, home); fault != "" {
			t.Errorf("%s:%d, %s: %s", kind, rank, all[rank-1].name, fault)
		}
	})
}

// TestLastThird: the last chord has its third, its root is the last word, and both
// ring to the end, also where that is not easily had.
func TestLastThird(t *testing.T) {
	for _, c := range []struct {
		name, rule, ending, abc string
		home                    string
		rings                   int // pitch that rings to the end, 0 for none that is asked for
	}{
		{"held", "the finger that holds the third over a change of chord holds it from the start", "straight:2",
			"M:4/4\nL:1/8\nQ:1/4=50\nK:C\n\"C\"C1C1C1C1C1C3|\"C\"E8|]\n", "C", 76},
		{"held over a turn", "and over the chords of a turn that comes between", "run:2",
			"M:2/4\nL:1/8\nQ:1/4=209\nK:Ab\nC|\"Db\"B3F|\"Ab\"F4|\"Eb7\"d2Df|\"Eb7\"A2F2|\"Ab\"D4|\"Ab\"F2e2|\"Ab\"B3G|\"Db\"dg3|\"Ab\"c3|]\n", "Ab", 72},
		{"said again", "a third that would come again after the last root is not left out for it, nor does it make room", "straight",
			"M:4/4\nL:1/8\nQ:1/4=54\nK:Eb\nef|\"Bb7\"d2B2Ac2d|\"Bb7\"f6|]\n", "Bb7", 62},
		{"octaves", "the last chord does not wait behind its bass, tune and bass in octaves or not, where no root comes after it", "straight",
			"M:3/4\nL:1/8\nQ:1/4=153\nK:F\n\"Bb\"BC2B3|\"Bb\"G3E3|\"C7\"C3A2C|\"F\"e3f3|]\n", "F", 69},
		{"low tune", "third and root that are mud together come one after the other, the root last", "straight",
			"M:4/4\nL:1/8\nQ:1/4=50\nK:Dm\n\"Dm\"C1C1C2C4|\"A7\"c1C7|]\n", "A7", 45},
		{"low tune, short", "and together where there is no time for that", "straight",
			"M:3/4\nL:1/8\nQ:1/4=194\nK:Dm\n\"A7\"d2CA3|\"A7\"D4C2|]\n", "A7", 49},
	} {
		a, err := Arrange(readABC(t, "X:1\nT:"+c.name+"\n"+c.abc), Plan{Ending: c.ending})
		if err != nil {
			t.Fatal(err)
		}
		if fault := closeFault(a, theory.MustChord(c.home)); fault != "" {
			t.Errorf("%s: %s (%s)", c.name, fault, c.rule)
		}
		bar := a.Bars[len(a.Bars)-1]
		if !slices.ContainsFunc(a.Notes, func(n Note) bool { return n.MIDI == c.rings && n.At+n.Dur == bar.At+bar.Len }) {
			t.Errorf("%s: no %d rings to the end (%s)", c.name, c.rings, c.rule)
		}
	}
}

// TestEndingsComeDownBySteps: from a high last note a top line goes down by steps,
// not by one leap after another to where lines sing best.
func TestEndingsComeDownBySteps(t *testing.T) {
	f := sounding(t, readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4=50\nK:Gm\n\"Gm6\"C1C1C1C2C1C2|\"Gm6\"C4G3d1|\"Gm6\"b8-|b8|]\n"))
	lines := 0
	for i, p := range f.endings("straight") {
		if len(p.notes) == 0 {
			continue
		}
		lines++
		leaps, before := 0, f.last.Pitch.MIDI()
		var line []int
		for _, n := range p.notes {
			if line = append(line, n.Pitch.MIDI()); absInt(n.Pitch.MIDI()-before) > 4 {
				leaps++
			}
			before = n.Pitch.MIDI()
		}
		if leaps > 1 {
			t.Errorf("straight:%d, %s: %d leaps from %d in %v", i+1, p.name, leaps, f.last.Pitch.MIDI(), line)
		}
	}
	if lines < 3 {
		t.Errorf("%d lines", lines)
	}
}

// A phrase that is led into from where the tune's last note begins does not take
// that note away: the tune is told to its end before the way back.
func TestTagLeavesTheLastNote(t *testing.T) {
	tune := readABC(t, "X:1\nM:4/4\nL:1/8\nQ:1/4=120\nK:G\n"+
		"\"G\"d4 B4|\"G\"d4 DEFG|\"C\"G2G2E2C2|\"D7\"GFEF \"G\"G4|]\n")
	tried := 0
	for rank := 1; ; rank++ {
		f, err := newForm(tune, &Plan{Ending: fmt.Sprintf("tag:%d", rank)}, StandardNeck())
		if err != nil {
			break
		}
		tried++
		if err := f.tune.Validate(); err != nil {
			t.Errorf("tag:%d: %v", rank, err)
		}
		sung := 0
		for i := range f.tune.Melody {
			if !f.fill[i] {
				sung++
			}
		}
		if sung != len(tune.Melody) {
			t.Errorf("tag:%d: %d notes of the tune, want %d", rank, sung, len(tune.Melody))
		}
	}
	if tried < 3 {
		t.Errorf("%d tags", tried)
	}
}
