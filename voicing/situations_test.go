package voicing_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
	"thumbline/voicing"
)

// A situation is a few bars that would go wrong without a rule, and what
// nearly every good player would see to there. Checks at a place look at a
// window of one beat (name@N: N beats); notes are pitch classes of the sheet.
//
//	contains:P,Q  each is heard     excludes:P,Q  no accompaniment has them
//	bass-in:P,Q   the lowest note   resolves:P>Q  P before goes to Q by at most two semitones
//	bare          the tune alone    clear         nothing a semitone or minor ninth under the tune
//	rings>=R      of its length     fill>=N       attacks under the tune note
//	attacks>=N    in the window     last-bass:P   lowest note of the last attack (at "end")
type situation struct {
	name string
	rule string // where the rule is from
	abc  string
	rows []string // "bar:beat check"
}

var situations = []situation{
	{"minor two five one", "harmony.md 3.2, V7 in minor", "M:4/4\nL:1/4\nQ:1/4=126\nK:Gm\n\"Am7b5\"c2 e2|\"D7b9\"^f2 c2|\"Gm6\"B4|]", []string{
		"1:1 contains@2:C,Eb", "1:1 excludes:E,C#", "2:1 contains@2:F#,C", "2:1 excludes:F,E", "2:1 contains@4:Eb",
		"3:1 contains@2:Bb", "3:1 resolves:C>Bb", "3:1 excludes:B", "end last-bass:G"}},
	{"tonic on top of a major seventh", "harmony.md 3.4 rule 7", "M:4/4\nL:1/4\nQ:1/4=120\nK:Bb\n\"Cm7\"e2 d2|\"F7\"c2 A2|\"Bbmaj7\"B4|]", []string{
		"3:1 excludes:A", "3:1 contains@2:D", "3:1 resolves:Eb>D", "end last-bass:Bb"}},
	{"the fourth over a dominant", "harmony.md 3.4 rule 4", "M:4/4\nL:1/4\nQ:1/4=112\nK:F\n\"Gm7\"B2 d2|\"C7\"f4|\"Fmaj7\"e2 c2|]", []string{
		"2:1 excludes:E,B", "2:1 contains@2:Bb", "2:1 clear", "3:1 contains@2:A", "3:1 resolves:Bb>A", "end last-bass:F"}},
	{"natural nine over a dominant", "harmony.md 3.4 rule 8", "M:4/4\nL:1/4\nQ:1/4=132\nK:G\n\"Am7\"c2 B2|\"D7\"e4|\"G6\"d4|]", []string{
		"2:1 excludes:Eb,F", "2:1 contains@2:F#,C", "2:1 clear", "3:1 contains@2:B"}},
	{"flat nine on top", "harmony.md 3.4 rule 8", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"Dm7\"f2 d2|\"G7b9\"_a4|\"C6\"g4|]", []string{
		"2:1 contains@2:B,F", "2:1 excludes:A", "3:1 contains@2:E", "3:1 resolves:F>E", "end last-bass:C"}},
	{"a written bass", "harmony.md 5.7, bass", "M:4/4\nL:1/4\nQ:1/4=96\nK:C\n\"C\"e4|\"C/B\"d4|\"Am7\"c4|\"Am7/G\"B4|\"F6\"A4|]", []string{
		"2:1 bass-in@2:B", "3:1 bass-in@2:A", "4:1 bass-in@2:G", "5:1 bass-in@2:F"}},
	{"a diminished chord keeps its bass", "harmony.md 3.4 rule 12", "M:4/4\nL:1/4\nQ:1/4=120\nK:F\n\"Fmaj7\"a2 \"F#dim7\"a2|\"Gm7\"b2 \"C7\"g2|\"F6\"a4|]", []string{
		"1:3 bass-in@2:F#", "1:3 contains@2:C,Eb", "2:1 bass-in@2:G", "end last-bass:F"}},
	{"the tune is held over the change", "harmony.md 5.7, the melody sings", "M:4/4\nL:1/8\nQ:1/4=138\nK:Bb\n\"Bb6\"d3c B2AG-|\"Gm7\"G8|\"Cm7\"G4 \"F7\"A4|\"Bb6\"B8|]", []string{
		"1:4.5 bare", "1:4.5 rings>=0.75", "2:1 contains@2:Bb,F", "2:1 attacks>=1", "end last-bass:Bb"}},
	{"an off-beat entry", "models, decision 9", "M:4/4\nL:1/8\nQ:1/4=132\nK:Eb\n\"Ebmaj7\"zg3 f2e2|\"Fm7\"z_a3 f2d2|\"Bb7\"zf3 d2B2|\"Eb6\"e8|]", []string{
		"1:1 attacks>=1", "2:1 attacks>=1", "3:1 bass-in@2:Bb", "2:1 contains@3:Ab,Eb", "3:1 contains@3:D,Ab", "4:1 contains@2:G"}},
	{"a pick-up stays bare", "harmony.md 5.7, bare melody", "M:4/4\nL:1/8\nQ:1/4=132\nK:D\nAB|\"D6\"d4 f4|\"Em7\"e4 \"A7\"c4|\"D6\"d8|]", []string{
		"0:4 bare", "0:4.5 bare", "1:1 bass-in@2:D", "end last-bass:D"}},
	{"a run is left alone", "harmony.md 5.1", "M:4/4\nL:1/8\nQ:1/4=160\nK:G\n\"Gmaj7\"GABc dedB|\"Am7\"cBAG \"D7\"FGAF|\"G6\"G8|]", []string{
		"1:1.5 bare", "1:2.5 bare", "1:4.5 bare", "2:1.5 bare", "2:2.5 bare", "2:4.5 bare", "2:1 contains@2:C,G", "2:3 contains@2:F#,C"}},
	{"a long note is answered", "harmony.md 5.3", "M:4/4\nL:1/4\nQ:1/4=120\nK:Ab\n\"Bbm7\"d4|\"Eb7\"g4-|g4|\"Abmaj7\"c4|]", []string{
		"1:1 fill>=2", "2:1 fill>=3", "2:1 rings>=0.9", "4:1 contains@2:C,G"}},
	{"the tune rests", "harmony.md 5.3, any", "M:4/4\nL:1/4\nQ:1/4=132\nK:C\n\"Dm7\"f2 a2|\"G7\"z4|\"Cmaj7\"z2 e2|\"C6\"g4|]", []string{
		"2:1 attacks@4>=2", "2:1 contains@3:B,F", "3:1 attacks>=1", "3:1 contains@3:E"}},
	{"the backdoor", "harmony.md 3.2, bVII7", "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n\"Fm7\"c2 _e2|\"Bb7\"d2 f2|\"Cmaj7\"e4|]", []string{
		"1:1 contains@2:Ab,Eb", "2:1 contains@2:D,Ab", "2:1 excludes:A,B", "3:1 excludes:Bb,Ab", "3:1 contains@2:E"}},
	{"a waltz", "models, waltz-a", "M:3/4\nL:1/4\nQ:1/4=150\nK:Eb\n\"Ebmaj7\"g3|\"Cm7\"g2e|\"Fm7\"a3|\"Bb7\"f2d|\"Eb6\"e3|]", []string{
		"1:1 attacks@3>=2", "3:1 attacks@3>=2", "3:1 contains@2:Ab,Eb", "4:1 contains@2:D,Ab", "5:1 contains@2:G", "end last-bass:Eb"}},
	{"no chord", "design.md, conventions", "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n\"C6\"e2 g2|\"N.C.\"a g e d|\"G7\"d2 f2|\"C6\"e4|]", []string{
		"2:1 bare", "2:2 bare", "2:3 bare", "2:4 bare", "3:1 contains@2:B,F"}},
}

func TestSituations(t *testing.T) {
	for _, s := range situations {
		t.Run(s.name, func(t *testing.T) {
			tune, err := leadsheet.Read(strings.NewReader("X:1\nT:"+s.name+"\n"+s.abc+"\n"), s.name, leadsheet.Options{})
			if err != nil {
				t.Fatal(err)
			}
			a, err := voicing.Arrange(tune, voicing.Plan{})
			if err != nil {
				t.Fatal(err)
			}
			for _, row := range s.rows {
				if why := judge(t, a, row); why != "" {
					t.Errorf("%s: %s (%s)", row, why, s.rule)
				}
			}
		})
	}
}

type heard struct {
	a *voicing.Arrangement
}

func (h heard) pc(midi int) int { return ((midi-h.a.Transposition)%12 + 12) % 12 }

// window lists the notes struck in [t0, t1) or sounding for more than half a
// beat of it.
func (h heard) window(t0, t1 voicing.Tick) (out []voicing.Note) {
	for _, n := range h.a.Notes {
		if n.At >= t0 && n.At < t1 || min(n.At+n.Dur, t1)-max(n.At, t0) > voicing.PerQuarter/2 {
			out = append(out, n)
		}
	}
	return out
}

func pcsOf(t *testing.T, list string) (out []int) {
	for _, s := range strings.Split(list, ",") {
		n, err := theory.ParseName(s)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, n.PC())
	}
	return out
}

// judge is "" when the row holds.
func judge(t *testing.T, a *voicing.Arrangement, row string) string {
	h := heard{a}
	place, check, _ := strings.Cut(row, " ")
	var t0 voicing.Tick
	if place == "end" {
		t0 = a.Notes[len(a.Notes)-1].At
	} else {
		label, beat, _ := strings.Cut(place, ":")
		k := slices.IndexFunc(a.Bars, func(b voicing.Bar) bool { return b.Label == label })
		if k < 0 {
			t.Fatalf("no bar %s", label)
		}
		f, err := strconv.ParseFloat(beat, 64)
		if err != nil {
			t.Fatal(err)
		}
		b := a.Bars[k]
		t0 = b.At + voicing.Tick((f-1)*float64(voicing.PerQuarter))
		if label == "0" { // a pick-up ends with its bar
			t0 = b.At + b.Len - voicing.Tick((5-f)*float64(voicing.PerQuarter))
		}
	}
	name, arg, _ := strings.Cut(check, ":")
	name, n, _ := strings.Cut(name, ">=")
	name, w, ok := strings.Cut(name, "@")
	want, _ := strconv.ParseFloat(n, 64)
	beats := 1.0
	if ok {
		beats, _ = strconv.ParseFloat(w, 64)
	}
	t1 := t0 + voicing.Tick(beats*float64(voicing.PerQuarter))
	var tune *voicing.TuneNote
	for i := range a.Melody {
		if a.Melody[i].At == t0 {
			tune = &a.Melody[i]
		}
	}
	in := h.window(t0, t1)
	switch name {
	case "contains":
		for _, p := range pcsOf(t, arg) {
			if !slices.ContainsFunc(in, func(x voicing.Note) bool { return h.pc(x.MIDI) == p }) {
				return fmt.Sprintf("pitch class %d is not heard", p)
			}
		}
	case "excludes":
		for _, x := range in {
			if x.Voice != voicing.Melody && slices.Contains(pcsOf(t, arg), h.pc(x.MIDI)) && (x.At == t0 || x.At+x.Dur-max(x.At, t0) > voicing.PerQuarter/2) {
				return fmt.Sprintf("%d sounds", x.MIDI)
			}
		}
	case "bass-in":
		low := slices.MinFunc(in, func(x, y voicing.Note) int { return x.MIDI - y.MIDI })
		if low.Voice == voicing.Melody || !slices.Contains(pcsOf(t, arg), h.pc(low.MIDI)) {
			return fmt.Sprintf("the lowest note is %d", low.MIDI)
		}
	case "last-bass":
		low := 999
		for _, x := range a.Notes {
			if x.At <= t0 && t0 < x.At+x.Dur {
				low = min(low, x.MIDI)
			}
		}
		if !slices.Contains(pcsOf(t, arg), h.pc(low)) {
			return fmt.Sprintf("it ends on %d", low)
		}
	case "resolves":
		from, to, _ := strings.Cut(arg, ">")
		for _, x := range a.Notes {
			if h.pc(x.MIDI) != pcsOf(t, from)[0] || x.At >= t0 || x.At+x.Dur <= t0-4*voicing.PerQuarter {
				continue
			}
			for _, y := range h.window(t0, t0+2*voicing.PerQuarter) {
				if d := x.MIDI - y.MIDI; h.pc(y.MIDI) == pcsOf(t, to)[0] && d >= -2 && d <= 2 {
					return ""
				}
			}
		}
		return "it does not"
	case "bare", "attacks", "clear":
		var struck []voicing.Note
		at := map[voicing.Tick]bool{}
		for _, x := range a.Notes {
			if x.At == t0 {
				struck = append(struck, x)
			}
			if x.At >= t0 && x.At < t1 {
				at[x.At] = true
			}
			if name == "clear" && x.Voice != voicing.Melody && x.At <= t0 && t0 < x.At+x.Dur && (tune.MIDI-x.MIDI == 1 || tune.MIDI-x.MIDI == 13) {
				return fmt.Sprintf("%d clashes", x.MIDI)
			}
		}
		if name == "bare" && (len(struck) != 1 || struck[0].Voice != voicing.Melody) {
			return fmt.Sprintf("%d notes are struck", len(struck))
		}
		if name == "attacks" && float64(len(at)) < want {
			return fmt.Sprintf("%d attacks", len(at))
		}
	case "rings", "fill":
		if tune == nil {
			return "no tune note here"
		}
		under := map[voicing.Tick]bool{}
		for _, x := range a.Notes {
			if x.Voice == voicing.Melody && x.At == t0 && name == "rings" && float64(x.Dur) < want*float64(tune.Dur) {
				return fmt.Sprintf("it rings for %d of %d", x.Dur, tune.Dur)
			}
			if x.Voice != voicing.Melody && x.At > t0 && x.At < t0+tune.Dur {
				under[x.At] = true
			}
		}
		if name == "fill" && float64(len(under)) < want {
			return fmt.Sprintf("%d attacks", len(under))
		}
	default:
		t.Fatalf("no such check: %s", name)
	}
	return ""
}
