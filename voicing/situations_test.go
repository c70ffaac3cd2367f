package voicing_test

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
	"thumbline/voicing"
)

// A situation is a few bars that would go wrong without a rule, and what
// nearly every good player would see to there. The tunes and their table lie
// in testdata/situations; its README has the words of the checks.
const situationsDir = "testdata/situations"

// A situationRow is one line of the table.
type situationRow struct {
	line      int
	file      string // "*" for every tune: a manner
	bar, beat string
	check     string
	rule, why string // where the rule is from, and what it asks for here
}

func readSituations(t *testing.T) (rows []situationRow, files []string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(situationsDir, "situations.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range strings.Split(strings.TrimRight(string(text), "\n"), "\n") {
		c := strings.Split(line, "\t")
		if len(c) != 6 || slices.Contains(c, "") {
			t.Fatalf("situations.tsv:%d: %d columns, some perhaps empty (want six: file at_bar at_beat check rule why)", i+1, len(c))
		}
		if i > 0 {
			rows = append(rows, situationRow{i + 1, c[0], c[1], c[2], c[3], c[4], c[5]})
		}
	}
	paths, err := filepath.Glob(filepath.Join(situationsDir, "*.abc"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no tunes in %s (%v)", situationsDir, err)
	}
	own := map[string]bool{}
	for _, r := range rows {
		own[r.file] = true
	}
	for _, p := range paths {
		f := filepath.Base(p)
		if !own[f] {
			t.Errorf("%s has no row in situations.tsv", f)
		}
		delete(own, f)
		files = append(files, f)
	}
	delete(own, "*")
	for f := range own {
		t.Errorf("situations.tsv has rows for %s, which is not there", f)
	}
	return rows, files
}

// situationPlan is the plan of a tune: N:tension high, N:density sparse or full,
// N:setting trio in its head, or none.
func situationPlan(text string) (p voicing.Plan) {
	for _, line := range strings.Split(text, "\n") {
		if s, ok := strings.CutPrefix(line, "N:tension "); ok {
			p.Tension = strings.TrimSpace(s)
		}
		if s, ok := strings.CutPrefix(line, "N:density "); ok {
			p.Density = strings.TrimSpace(s)
		}
		if s, ok := strings.CutPrefix(line, "N:setting "); ok {
			p.Setting = strings.TrimSpace(s)
		}
	}
	return p
}

// arrangeSituation reads a tune of the folder and arranges it; edit may change
// the plan before.
func arrangeSituation(t *testing.T, file string, edit func(*voicing.Plan)) passage {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(situationsDir, file))
	if err != nil {
		t.Fatal(err)
	}
	tune, err := leadsheet.Read(strings.NewReader(string(text)), file, leadsheet.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan := situationPlan(string(text))
	if edit != nil {
		edit(&plan)
	}
	return newPassage(arrange(t, tune, plan))
}

func TestSituations(t *testing.T) {
	rows, files := readSituations(t)
	for _, file := range files {
		t.Run(strings.TrimSuffix(file, ".abc"), func(t *testing.T) {
			p := arrangeSituation(t, file, nil)
			for _, r := range rows {
				if r.file != file && r.file != "*" {
					continue
				}
				ok, found, err := p.judge(r.bar, r.beat, r.check)
				switch {
				case err != nil:
					t.Errorf("situations.tsv:%d: %v", r.line, err)
				case !ok:
					t.Errorf("situations.tsv:%d: %s:%s %s does not hold: %s\n\t%s: %s", r.line, r.bar, r.beat, r.check, found, r.rule, r.why)
				}
			}
		})
	}
}

// TestSituationsNeedRules switches one weight off at a time: then a situation
// must go wrong, the one that stands for its rule or another. A weight without
// which every row holds says nothing.
func TestSituationsNeedRules(t *testing.T) {
	rows, files := readSituations(t)
	holds := map[int]bool{} // by line: what does not hold with every weight tells nothing of one
	for _, file := range files {
		p := arrangeSituation(t, file, nil)
		for _, r := range rows {
			if ok, _, err := p.judge(r.bar, r.beat, r.check); r.file == file && err == nil {
				holds[r.line] = ok
			}
		}
	}
	for _, c := range []struct {
		weight string
		of     func(*voicing.Taste) *float64
		file   string
	}{
		{"GuideMissing", func(w *voicing.Taste) *float64 { return &w.GuideMissing }, "04-backdoor.abc"},
		{"NoBass", func(w *voicing.Taste) *float64 { return &w.NoBass }, "71-a-written-bass.abc"},
		{"BassNotRoot", func(w *voicing.Taste) *float64 { return &w.BassNotRoot }, "145-room-over-the-bass.abc"},
		{"GroundMissing", func(w *voicing.Taste) *float64 { return &w.GroundMissing }, "114-close-on-the-root.abc"},
		{"Hole", func(w *voicing.Taste) *float64 { return &w.Hole }, "109-room-under-a-high-close.abc"},
		{"Doubled", func(w *voicing.Taste) *float64 { return &w.Doubled }, "207-line-under-long-notes.abc"},
		{"NoStep", func(w *voicing.Taste) *float64 { return &w.NoStep }, "120-voicings-by-scale-step.abc"},
		{"Colour", func(w *voicing.Taste) *float64 { return &w.Colour }, "120-voicings-by-scale-step.abc"},
		{"HighFret", func(w *voicing.Taste) *float64 { return &w.HighFret }, "112-stay-low-on-the-neck.abc"},
		{"Shift", func(w *voicing.Taste) *float64 { return &w.Shift }, "122-near-the-last-grip.abc"},
		{"Seventh", func(w *voicing.Taste) *float64 { return &w.Seventh }, "229-sevenths-that-fall.abc"},
		{"Contrary", func(w *voicing.Taste) *float64 { return &w.Contrary }, "119-inner-line-round-the-circle.abc"},
		{"InnerLeap", func(w *voicing.Taste) *float64 { return &w.InnerLeap }, "119-inner-line-round-the-circle.abc"},
		{"BassLeap", func(w *voicing.Taste) *float64 { return &w.BassLeap }, "190-roots-far-apart.abc"},
		{"BassFifth", func(w *voicing.Taste) *float64 { return &w.BassFifth }, "196-fifths-at-most.abc"},
		{"Pedal", func(w *voicing.Taste) *float64 { return &w.Pedal }, "195-short-bridge.abc"},
		{"TurnedLeap", func(w *voicing.Taste) *float64 { return &w.TurnedLeap }, "194-inversions-by-step.abc"},
		{"PassingDim", func(w *voicing.Taste) *float64 { return &w.PassingDim }, "193-falling-through-a-diminished.abc"},
		{"DominantRootless", func(w *voicing.Taste) *float64 { return &w.DominantRootless }, "91-root-of-a-dominant.abc"},
		{"Octaves", func(w *voicing.Taste) *float64 { return &w.Octaves }, "92-tune-on-the-roots.abc"},
		{"Structure", func(w *voicing.Taste) *float64 { return &w.Structure }, "230-strings-of-a-phrase.abc"},
		{"HeldLost", func(w *voicing.Taste) *float64 { return &w.HeldLost }, "19-tied-over-changes.abc"},
		{"Thin", func(w *voicing.Taste) *float64 { return &w.Thin }, "174-whole-triad-at-a-plain-close.abc"},
		{"OuterOctave", func(w *voicing.Taste) *float64 { return &w.OuterOctave }, "201-no-octave-for-a-frame.abc"},
		{"Bare", func(w *voicing.Taste) *float64 { return &w.Bare }, "155-full-chord-at-the-close.abc"},
		{"CadenceBare", func(w *voicing.Taste) *float64 { return &w.CadenceBare }, "155-full-chord-at-the-close.abc"},
		{"FlatNine", func(w *voicing.Taste) *float64 { return &w.FlatNine }, "165-flat-nine-into-minor.abc"},
		{"RootLowest", func(w *voicing.Taste) *float64 { return &w.RootLowest }, "155-full-chord-at-the-close.abc"},
		{"FinalHigh", func(w *voicing.Taste) *float64 { return &w.FinalHigh }, "147-low-root-at-a-blues-close.abc"},
		{"FinalBare", func(w *voicing.Taste) *float64 { return &w.FinalBare }, "156-close-after-a-suspension.abc"},
		{"RootInside", func(w *voicing.Taste) *float64 { return &w.RootInside }, "149-no-root-among-the-inner-voices.abc"},
		{"CloseUnder", func(w *voicing.Taste) *float64 { return &w.CloseUnder }, "150-tune-clear-of-its-chord.abc"},
		{"Wide", func(w *voicing.Taste) *float64 { return &w.Wide }, "151-inner-voices-together.abc"},
		{"LowInner", func(w *voicing.Taste) *float64 { return &w.LowInner }, "202-inner-voices-over-the-low-strings.abc"},
		{"BassClose", func(w *voicing.Taste) *float64 { return &w.BassClose }, "164-approach-that-does-not-deny.abc"},
		{"BassFar", func(w *voicing.Taste) *float64 { return &w.BassFar }, "117-falling-under-what-rings.abc"},
		{"Finger", func(w *voicing.Taste) *float64 { return &w.Finger }, "239-four-frets-are-enough.abc"},
		{"LowTune", func(w *voicing.Taste) *float64 { return &w.LowTune }, "203-low-tune-on-two-strings.abc"},
		{"OpenBass", func(w *voicing.Taste) *float64 { return &w.OpenBass }, "169-open-basses-in-a-plain-song.abc"},
		{"ShiftFret", func(w *voicing.Taste) *float64 { return &w.ShiftFret }, "246-hand-near-its-place.abc"},
		{"Creep", func(w *voicing.Taste) *float64 { return &w.Creep }, "153-hand-in-its-place.abc"},
		{"Rushed", func(w *voicing.Taste) *float64 { return &w.Rushed }, "154-a-way-that-can-be-played.abc"},
		{"CutsTune", func(w *voicing.Taste) *float64 { return &w.CutsTune }, "177-no-time-to-move.abc"},
		{"InnerMove", func(w *voicing.Taste) *float64 { return &w.InnerMove }, "168-inner-voices-hardly-move.abc"},
		{"BassStep", func(w *voicing.Taste) *float64 { return &w.BassStep }, "204-waltz-with-a-walking-bass.abc"},
		{"Common", func(w *voicing.Taste) *float64 { return &w.Common }, "148-common-tones-in-a-slow-song.abc"},
		{"Answer.Dearest", func(w *voicing.Taste) *float64 { return &w.Answer.Dearest }, "138-fills-below-a-falling-tune.abc"},
		{"Answer.TuneOctave", func(w *voicing.Taste) *float64 { return &w.Answer.TuneOctave }, "163-answers-say-something-new.abc"},
		{"Answer.CutsBass", func(w *voicing.Taste) *float64 { return &w.Answer.CutsBass }, "231-bass-rings-on-before-it-answers.abc"},
		{"Answer.StepIn", func(w *voicing.Taste) *float64 { return &w.Answer.StepIn }, "170-bass-steps-into-each-root.abc"},
		{"Answer.Leading", func(w *voicing.Taste) *float64 { return &w.Answer.Leading }, "172-leading-note-in-the-bass.abc"},
		{"Answer.StepDenies", func(w *voicing.Taste) *float64 { return &w.Answer.StepDenies }, "72-a-diminished-chord-keeps-its-bass.abc"},
		{"Answer.BassAgain", func(w *voicing.Taste) *float64 { return &w.Answer.BassAgain }, "143-short-reach-in-a-minor-cadence.abc"},
		{"Answer.BassFifth", func(w *voicing.Taste) *float64 { return &w.Answer.BassFifth }, "205-blues-bass-without-leaps.abc"},
		{"Answer.BassHigh", func(w *voicing.Taste) *float64 { return &w.Answer.BassHigh }, "206-bass-in-its-register.abc"},
		{"Answer.LineSame", func(w *voicing.Taste) *float64 { return &w.Answer.LineSame }, "232-line-that-moves-on.abc"},
		{"Answer.LineBack", func(w *voicing.Taste) *float64 { return &w.Answer.LineBack }, "233-line-in-a-plain-song.abc"},
		{"Answer.LineThird", func(w *voicing.Taste) *float64 { return &w.Answer.LineThird }, "160-inner-line-by-step.abc"},
		{"Answer.LineLeap", func(w *voicing.Taste) *float64 { return &w.Answer.LineLeap }, "207-line-under-long-notes.abc"},
		{"Answer.OwedGuide", func(w *voicing.Taste) *float64 { return &w.Answer.OwedGuide }, "167-guide-tone-in-an-answer.abc"},
		{"Answer.OwedColour", func(w *voicing.Taste) *float64 { return &w.Answer.OwedColour }, "166-named-colour-in-an-answer.abc"},
		{"Answer.Colour", func(w *voicing.Taste) *float64 { return &w.Answer.Colour }, "31-minor-ending.abc"},
		{"Answer.Root", func(w *voicing.Taste) *float64 { return &w.Answer.Root }, "208-answers-without-the-root.abc"},
		{"Answer.Backwards", func(w *voicing.Taste) *float64 { return &w.Answer.Backwards }, "209-no-way-back-from-a-flat-nine.abc"},
		{"Answer.Pair", func(w *voicing.Taste) *float64 { return &w.Answer.Pair }, "256-stabs-of-two-voices.abc"},
		{"Answer.Single", func(w *voicing.Taste) *float64 { return &w.Answer.Single }, "253-half-step-into-the-next-chord.abc"},
		{"BareSeventh", func(w *voicing.Taste) *float64 { return &w.BareSeventh }, "119-inner-line-round-the-circle.abc"},
		{"GroundNoBass", func(w *voicing.Taste) *float64 { return &w.GroundNoBass }, "114-close-on-the-root.abc"},
		{"DimNoBass", func(w *voicing.Taste) *float64 { return &w.DimNoBass }, "211-rising-through-two-diminished.abc"},
		{"Answer.GroundOctave", func(w *voicing.Taste) *float64 { return &w.Answer.GroundOctave }, "261-ground-in-one-octave.abc"},
		{"Answer.StepForeign", func(w *voicing.Taste) *float64 { return &w.Answer.StepForeign }, "229-sevenths-that-fall.abc"},
		{"Answer.OwedNine", func(w *voicing.Taste) *float64 { return &w.Answer.OwedNine }, "181-flat-nine-after-the-plain-chord.abc"},
		{"Answer.TakesBass", func(w *voicing.Taste) *float64 { return &w.Answer.TakesBass }, "203-low-tune-on-two-strings.abc"},
		{"Answer.LeadsOn", func(w *voicing.Taste) *float64 { return &w.Answer.LeadsOn }, "222-walking-through-six-two-five.abc"},
		{"Answer.BassSixth", func(w *voicing.Taste) *float64 { return &w.Answer.BassSixth }, "213-plain-triads-keep-their-name.abc"},
		{"Answer.BassOctave", func(w *voicing.Taste) *float64 { return &w.Answer.BassOctave }, "262-next-bass-without-an-octave.abc"},
		{"Answer.BassTune", func(w *voicing.Taste) *float64 { return &w.Answer.BassTune }, "263-bass-apart-from-a-low-tune.abc"},
		{"Answer.BassEarly", func(w *voicing.Taste) *float64 { return &w.Answer.BassEarly }, "216-news-in-the-bass.abc"},
		{"Answer.BelowGround", func(w *voicing.Taste) *float64 { return &w.Answer.BelowGround }, "221-ground-below-while-it-is-new.abc"},
		{"Answer.BassDoubled", func(w *voicing.Taste) *float64 { return &w.Answer.BassDoubled }, "208-answers-without-the-root.abc"},
		{"Answer.TuneAhead", func(w *voicing.Taste) *float64 { return &w.Answer.TuneAhead }, "219-answers-that-wait-for-the-tune.abc"},
		{"Answer.BorrowedFourth", func(w *voicing.Taste) *float64 { return &w.Answer.BorrowedFourth }, "220-major-chords-at-rest.abc"},
		{"DimOwed", func(w *voicing.Taste) *float64 { return &w.DimOwed }, "227-tune-on-diminished-roots.abc"},
		{"Texture.Misfit", func(w *voicing.Taste) *float64 { return &w.Texture.Misfit }, "244-chord-with-a-moving-tune.abc"},
		{"Texture.Gap", func(w *voicing.Taste) *float64 { return &w.Texture.Gap }, "260-waltz-without-a-hole.abc"},
		{"Texture.BassApart", func(w *voicing.Taste) *float64 { return &w.Texture.BassApart }, "242-bass-between-the-notes.abc"},
		{"Texture.Turn", func(w *voicing.Taste) *float64 { return &w.Texture.Turn }, "241-phrase-keeps-its-figure.abc"},
		{"Texture.Order", func(w *voicing.Taste) *float64 { return &w.Texture.Order }, "247-one-figure-for-a-slow-phrase.abc"},
		{"Texture.Stale", func(w *voicing.Taste) *float64 { return &w.Texture.Stale }, "248-new-phrase-new-figure.abc"},
		{"Texture.Twice", func(w *voicing.Taste) *float64 { return &w.Texture.Twice }, "249-chord-on-the-one-again.abc"},
		{"Texture.Note", func(w *voicing.Taste) *float64 { return &w.Texture.Note }, "250-answers-after-a-rest.abc"},
		{"Texture.Unsaid", func(w *voicing.Taste) *float64 { return &w.Texture.Unsaid }, "243-few-notes-say-the-chords.abc"},
		{"Texture.Heavy", func(w *voicing.Taste) *float64 { return &w.Texture.Heavy }, "245-many-notes-under-a-tune.abc"},
		{"Texture.Worn", func(w *voicing.Taste) *float64 { return &w.Texture.Worn }, "259-waltz-that-varies.abc"},
		{"Texture.Stuffed", func(w *voicing.Taste) *float64 { return &w.Texture.Stuffed }, "249-chord-on-the-one-again.abc"},
		{"Answer.LineOn", func(w *voicing.Taste) *float64 { return &w.Answer.LineOn }, "251-line-that-leads-on.abc"},
		{"Answer.LineHome", func(w *voicing.Taste) *float64 { return &w.Answer.LineHome }, "252-line-that-comes-home.abc"},
		{"Answer.LineIn", func(w *voicing.Taste) *float64 { return &w.Answer.LineIn }, "253-half-step-into-the-next-chord.abc"},
		{"Answer.LineLost", func(w *voicing.Taste) *float64 { return &w.Answer.LineLost }, "254-line-is-taken-up.abc"},
		{"Answer.Chain", func(w *voicing.Taste) *float64 { return &w.Answer.Chain }, "252-line-that-comes-home.abc"},
		{"Answer.Early", func(w *voicing.Taste) *float64 { return &w.Answer.Early }, "255-guide-tone-before-its-chord.abc"},
		{"Answer.WalkStep", func(w *voicing.Taste) *float64 { return &w.Answer.WalkStep }, "257-bass-of-fifths-and-steps.abc"},
		{"Answer.WalkOn", func(w *voicing.Taste) *float64 { return &w.Answer.WalkOn }, "249-chord-on-the-one-again.abc"},
		{"Answer.FifthIn", func(w *voicing.Taste) *float64 { return &w.Answer.FifthIn }, "258-fifth-leads-into-the-root.abc"},
	} {
		t.Run(c.weight, func(t *testing.T) {
			for _, file := range append([]string{c.file}, files...) {
				p := arrangeSituation(t, file, func(plan *voicing.Plan) {
					w := voicing.DefaultTaste()
					*c.of(&w) = 0
					plan.Taste = &w
				})
				for _, r := range rows {
					if r.file != file || !holds[r.line] {
						continue
					}
					if ok, _, err := p.judge(r.bar, r.beat, r.check); err != nil {
						t.Fatalf("situations.tsv:%d: %v", r.line, err)
					} else if !ok {
						return
					}
				}
			}
			t.Errorf("%s is 0 and every situation still holds", c.weight)
		})
	}
}

// A passage is an arrangement as the checks listen to it.
type passage struct {
	*voicing.Arrangement
	attacks []voicing.Tick // when something is struck, each once
	hand    voicing.Hand
	neck    voicing.Neck
}

func newPassage(a *voicing.Arrangement) passage {
	p := passage{Arrangement: a, hand: voicing.NormalHand(), neck: voicing.StandardNeck()}
	for _, n := range a.Notes {
		p.attacks = append(p.attacks, n.At)
	}
	slices.Sort(p.attacks)
	p.attacks = slices.Compact(p.attacks)
	return p
}

const halfBeat = voicing.PerQuarter / 2

func beats(n float64) voicing.Tick {
	return voicing.Tick(math.Round(n * float64(voicing.PerQuarter)))
}

// pc is the pitch class on the sheet.
func (p passage) pc(midi int) int { return ((midi-p.Transposition)%12 + 12) % 12 }

func overlap(n voicing.Note, from, to voicing.Tick) voicing.Tick {
	return min(n.At+n.Dur, to) - max(n.At, from)
}

// where lists the notes for which all conditions hold.
func (p passage) where(is ...func(voicing.Note) bool) (out []voicing.Note) {
next:
	for _, n := range p.Notes {
		for _, f := range is {
			if !f(n) {
				continue next
			}
		}
		out = append(out, n)
	}
	return out
}

// Conditions on a note.

func accompanies(n voicing.Note) bool { return n.Voice != voicing.Melody }

func struckAt(t voicing.Tick) func(voicing.Note) bool {
	return func(n voicing.Note) bool { return n.At == t }
}

func soundsAt(t voicing.Tick) func(voicing.Note) bool {
	return func(n voicing.Note) bool { return n.At <= t && t < n.At+n.Dur }
}

func touches(from, to voicing.Tick) func(voicing.Note) bool {
	return func(n voicing.Note) bool { return overlap(n, from, to) > 0 }
}

// heardIn is what an ear takes in: struck there, or sounding through more than
// half a beat of it.
func heardIn(from, to voicing.Tick) func(voicing.Note) bool {
	return func(n voicing.Note) bool {
		return n.At >= from && n.At < to || overlap(n, from, to) > halfBeat
	}
}

// staysIn is what is blamed: struck at the start, or sounding through more than
// half a beat. A quick passing note is no fault.
func staysIn(from, to voicing.Tick) func(voicing.Note) bool {
	return func(n voicing.Note) bool { return n.At == from || overlap(n, from, to) > halfBeat }
}

// rub reports whether two notes sound together for longer than in passing.
func rub(x, y voicing.Note) bool {
	lap := overlap(x, y.At, y.At+y.Dur)
	return lap > halfBeat || lap > 0 && x.At == y.At
}

func lowest(ns []voicing.Note) voicing.Note {
	return slices.MinFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(x.MIDI, y.MIDI) })
}

func highest(ns []voicing.Note) voicing.Note {
	return slices.MaxFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(x.MIDI, y.MIDI) })
}

// pcs are the pitch classes of some notes.
func (p passage) pcs(ns []voicing.Note) (s theory.PCSet) {
	for _, n := range ns {
		s = s.With(p.pc(n.MIDI))
	}
	return s
}

func pcText(s theory.PCSet) string {
	names := strings.Fields("C Db D Eb E F Gb G Ab A Bb B")
	var out []string
	for _, m := range s.Members() {
		out = append(out, names[m])
	}
	return cmp.Or(strings.Join(out, " "), "nothing")
}

// tuneAt is the tune note that starts at t, nil for none.
func (p passage) tuneAt(t voicing.Tick) *voicing.TuneNote {
	for i := range p.Melody {
		if p.Melody[i].At == t {
			return &p.Melody[i]
		}
	}
	return nil
}

// held is for how long of its written length a tune note's pitch sounds, struck
// once or more.
func (p passage) held(m voicing.TuneNote) (sum voicing.Tick) {
	reached := m.At
	for _, n := range p.Notes { // in order of At
		if to := min(n.At+n.Dur, m.At+m.Dur); n.MIDI == m.MIDI && to > max(n.At, reached) {
			sum += to - max(n.At, reached)
			reached = to
		}
	}
	return sum
}

// chordAt is the chord symbol that governs t.
func (p passage) chordAt(t voicing.Tick) (c theory.Chord) {
	for _, m := range p.Chords {
		if m.At <= t {
			c = m.Chord
		}
	}
	return c
}

// bars is the stretch of "3", "1-4" or "*", where a label may be "2/2".
func (p passage) bars(list string) (from, to voicing.Tick, err error) {
	if list == "*" {
		to = p.End()
		for _, n := range p.Notes {
			to = max(to, n.At+n.Dur)
		}
		return p.Bars[0].At, to, nil
	}
	first, last, _ := strings.Cut(list, "-")
	for i, label := range []string{first, cmp.Or(last, first)} {
		k := slices.IndexFunc(p.Bars, func(b voicing.Bar) bool { return b.Label == label })
		if k < 0 {
			return 0, 0, fmt.Errorf("no bar %s", label)
		}
		if i == 0 {
			from = p.Bars[k].At
		}
		to = p.Bars[k].At + p.Bars[k].Len
	}
	return from, to, nil
}

// A clause is one check taken apart: name, window in beats, a bound or a list.
type clause struct {
	name  string
	width float64
	atMax bool // the bound is an upper one
	bound float64
	arg   string
	pcs   []int // of arg, when it is a list of notes
}

func parseClause(text string) (c clause, err error) {
	name := text
	number := func(s string) (x float64) {
		if err == nil {
			x, err = strconv.ParseFloat(s, 64)
		}
		return x
	}
	if head, n, ok := strings.Cut(name, ">="); ok {
		name, c.bound = head, number(n)
	} else if head, n, ok := strings.Cut(name, "<="); ok {
		name, c.bound, c.atMax = head, number(n), true
	} else if head, arg, ok := strings.Cut(name, ":"); ok {
		name, c.arg = head, arg
	}
	if head, w, ok := strings.Cut(name, "@"); ok {
		name, c.width = head, number(w)
	}
	c.name = name
	if c.width == 0 {
		c.width = 1
		if name == "resolves" {
			c.width = 2
		}
	}
	if c.arg != "" && strings.ContainsRune("ABCDEFG", rune(c.arg[0])) {
		for _, s := range strings.FieldsFunc(c.arg, func(r rune) bool { return r == ',' || r == '>' }) {
			n, e := theory.ParseName(s)
			if e != nil {
				err = cmp.Or(err, e)
			}
			c.pcs = append(c.pcs, n.PC())
		}
	}
	return c, err
}

// meets compares a count with the bound of the check.
func (c clause) meets(x float64, unit string) (bool, string) {
	const hair = 1e-9
	return c.atMax && x <= c.bound+hair || !c.atMax && x >= c.bound-hair, fmt.Sprintf("%.3g %s", x, unit)
}

// A situationCheck judges the window or stretch [from, to); at the end from is
// the last attack.
type situationCheck func(p passage, c clause, from, to voicing.Tick) (ok bool, found string)

// judge is whether a row holds, and what was found.
func (p passage) judge(bar, beat, check string) (ok bool, found string, err error) {
	var all []string
	for _, alt := range strings.Split(check, " or ") {
		c, err := parseClause(alt)
		if err != nil {
			return false, "", fmt.Errorf("%q cannot be read: %w", alt, err)
		}
		checks := placeChecks
		var from, to voicing.Tick
		switch {
		case bar == "end":
			checks = endChecks
			from = p.attacks[len(p.attacks)-1]
		case beat == "-":
			checks = stretchChecks
			if from, to, err = p.bars(bar); err != nil {
				return false, "", err
			}
		default:
			if from, _, err = p.bars(bar); err != nil {
				return false, "", err
			}
			b, err := strconv.ParseFloat(beat, 64)
			if err != nil {
				return false, "", err
			}
			from += beats(b - 1)
			to = from + beats(c.width)
		}
		f := checks[c.name]
		if f == nil {
			return false, "", fmt.Errorf("there is no check %q for bar %s beat %s", c.name, bar, beat)
		}
		ok, found := f(p, c, from, to)
		if ok {
			return true, found, nil
		}
		all = append(all, found)
	}
	return false, strings.Join(all, "; "), nil
}

// forTune makes a check of one that asks about the tune note at the place.
func forTune(f func(p passage, c clause, m voicing.TuneNote) (bool, string)) situationCheck {
	return func(p passage, c clause, from, _ voicing.Tick) (bool, string) {
		if m := p.tuneAt(from); m != nil {
			return f(p, c, *m)
		}
		return false, "no tune note here"
	}
}

// counted makes a check over a stretch of a count.
func counted(unit string, f func(p passage, from, to voicing.Tick) float64) situationCheck {
	return func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		return c.meets(f(p, from, to), unit)
	}
}

// faultless makes a check over a stretch that holds when no fault is found.
func faultless(f func(p passage, from, to voicing.Tick) []string) situationCheck {
	return func(p passage, _ clause, from, to voicing.Tick) (bool, string) {
		bad := f(p, from, to)
		return len(bad) == 0, fmt.Sprintf("%d faults, the first: %s", len(bad), strings.Join(bad[:min(2, len(bad))], "; "))
	}
}

func (p passage) attacksIn(from, to voicing.Tick) (out []voicing.Tick) {
	for _, t := range p.attacks {
		if t >= from && t < to {
			out = append(out, t)
		}
	}
	return out
}

// rhythm is when the accompaniment strikes in a stretch, from its start.
func (p passage) rhythm(from, to voicing.Tick) (out []voicing.Tick) {
	for _, n := range p.where(accompanies) {
		if n.At >= from && n.At < to {
			out = append(out, n.At-from)
		}
	}
	return slices.Compact(out)
}

// Checks at a place: a window of some beats.
var placeChecks = map[string]situationCheck{
	"contains": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		s := p.pcs(p.where(heardIn(from, to)))
		for _, x := range c.pcs {
			if !s.Has(x) {
				return false, pcText(s)
			}
		}
		return len(c.pcs) > 0, pcText(s)
	},
	"one-of": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		s := p.pcs(p.where(heardIn(from, to)))
		return slices.ContainsFunc(c.pcs, s.Has), pcText(s)
	},
	"excludes": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		s := p.pcs(p.where(accompanies, staysIn(from, to)))
		return len(c.pcs) > 0 && !slices.ContainsFunc(c.pcs, s.Has), pcText(s)
	},
	"bass-in": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		if len(p.where(accompanies, heardIn(from, to))) == 0 {
			return false, "no accompaniment"
		}
		s := p.pcs([]voicing.Note{lowest(p.where(heardIn(from, to)))})
		return slices.ContainsFunc(c.pcs, s.Has), pcText(s)
	},
	"top": func(p passage, c clause, from, _ voicing.Tick) (bool, string) {
		ns := p.where(soundsAt(from))
		if len(ns) == 0 {
			return false, "silence"
		}
		s := p.pcs([]voicing.Note{highest(ns)})
		return slices.ContainsFunc(c.pcs, s.Has), pcText(s)
	},
	"sounding": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		most := 0
		for _, t := range append(p.attacksIn(from, to), from) {
			most = max(most, len(p.where(soundsAt(t))))
		}
		return c.meets(float64(most), "sounding")
	},
	"struck": func(p passage, c clause, from, _ voicing.Tick) (bool, string) {
		return c.meets(float64(len(p.where(struckAt(from)))), "struck")
	},
	"attack-within": func(p passage, c clause, from, _ voicing.Tick) (bool, string) {
		n, err := strconv.ParseFloat(c.arg, 64)
		return err == nil && len(p.attacksIn(from, from+beats(n))) > 0, "no attack"
	},
	"resolves": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		if len(c.pcs) != 2 {
			return false, "not two notes"
		}
		before := p.where(touches(from-2*(to-from), from), func(n voicing.Note) bool { return p.pc(n.MIDI) == c.pcs[0] })
		after := p.where(touches(from, to), func(n voicing.Note) bool { return p.pc(n.MIDI) == c.pcs[1] })
		for _, x := range before {
			for _, y := range after {
				if max(x.MIDI-y.MIDI, y.MIDI-x.MIDI) <= 2 {
					return true, ""
				}
			}
		}
		return false, fmt.Sprintf("%d such notes before, %d after, none near", len(before), len(after))
	},
	"smooth": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		// what sounded last may be a stab that has ended: the ear remembers the
		// voices of the chord before
		since := from - voicing.PerQuarter
		for _, m := range p.Chords {
			if m.At < from {
				since = min(from-voicing.PerQuarter, max(m.At, from-4*voicing.PerQuarter))
			}
		}
		before := p.where(accompanies, touches(since, from))
		after := p.where(accompanies, func(n voicing.Note) bool { return n.At < to && n.At+n.Dur > from+halfBeat })
		if len(before) == 0 || len(after) < 2 {
			return true, "nothing to lead"
		}
		bass, sum, n := lowest(after).MIDI, 0, 0
		for _, y := range after {
			if y.MIDI == bass {
				continue
			}
			near := 99
			for _, x := range before {
				near = min(near, max(x.MIDI-y.MIDI, y.MIDI-x.MIDI))
			}
			sum, n = sum+near, n+1
		}
		if n == 0 {
			return true, "nothing to lead"
		}
		return c.meets(float64(sum)/float64(n), "semitones")
	},
	"bare": func(p passage, c clause, from, _ voicing.Tick) (bool, string) {
		ns := p.where(struckAt(from))
		return len(ns) == 1 && !accompanies(ns[0]), fmt.Sprintf("%d struck", len(ns))
	},
	"melody-clear": forTune(func(p passage, _ clause, m voicing.TuneNote) (bool, string) {
		mine := p.where(struckAt(m.At), func(n voicing.Note) bool { return n.MIDI == m.MIDI })
		for _, x := range p.where(accompanies) {
			if d := m.MIDI - x.MIDI; (d == 1 || d == 13) && slices.ContainsFunc(mine, func(n voicing.Note) bool { return rub(n, x) }) {
				return false, fmt.Sprintf("%d under %d", x.MIDI, m.MIDI)
			}
		}
		return len(mine) > 0, "the tune note is missing"
	}),
	"rings": forTune(func(p passage, c clause, m voicing.TuneNote) (bool, string) {
		return c.meets(float64(p.held(m))/float64(m.Dur), "of its length")
	}),
	"fill": forTune(func(p passage, c clause, m voicing.TuneNote) (bool, string) {
		return c.meets(float64(len(p.rhythm(m.At+1, m.At+m.Dur))), "attacks under it")
	}),
}

// Checks over a stretch of bars.
var stretchChecks = map[string]situationCheck{
	"attacks": counted("attacks", func(p passage, from, to voicing.Tick) float64 {
		return float64(len(p.attacksIn(from, to)))
	}),
	"full": counted("full grips", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			if len(p.where(struckAt(t))) >= 3 {
				n++
			}
		}
		return n
	}),
	"bare": counted("bare notes", func(p passage, from, to voicing.Tick) (n float64) {
		for _, m := range p.Melody {
			if m.At >= from && m.At < to && len(p.where(struckAt(m.At))) == 1 {
				n++
			}
		}
		return n
	}),
	"downbeats": counted("downbeats", func(p passage, from, to voicing.Tick) (n float64) {
		for _, b := range p.Bars {
			if b.At >= from && b.At < to && slices.Contains(p.attacks, b.At) {
				n++
			}
		}
		return n
	}),
	"gap": counted("beats without an attack", func(p passage, from, to voicing.Tick) (n float64) {
		last := from
		for _, t := range append(p.attacksIn(from, to), to) {
			n = max(n, float64(t-last)/float64(voicing.PerQuarter))
			last = t
		}
		return n
	}),
	"figures": counted("rhythms", func(p passage, from, to voicing.Tick) float64 {
		kinds := map[string]bool{}
		for _, b := range p.Bars {
			if b.At >= from && b.At < to {
				kinds[fmt.Sprint(p.rhythm(b.At, b.At+b.Len))] = true
			}
		}
		return float64(len(kinds))
	}),
	"rhythm-run": counted("bars running with one rhythm", func(p passage, from, to voicing.Tick) (n float64) {
		last, run := "", 0.0
		for _, b := range p.Bars {
			if b.At < from || b.At >= to {
				continue
			}
			var when []voicing.Tick
			for _, t := range p.attacksIn(b.At, b.At+b.Len) {
				when = append(when, t-b.At)
			}
			if now := fmt.Sprint(when); now == last {
				run++
			} else {
				last, run = now, 1
			}
			n = max(n, run)
		}
		return n
	}),
	"notes": counted("notes beside the tune", func(p passage, from, to voicing.Tick) (n float64) {
		for _, x := range p.where(accompanies) {
			if x.At >= from && x.At < to {
				n++
			}
		}
		return n
	}),
	"bass-apart": counted("basses apart from tune and inner voices", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.alone(voicing.Bass, from, to))
	}),
	"inner-apart": counted("inner attacks apart from tune and bass", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.alone(voicing.Inner, from, to))
	}),
	"line-into": counted("answers a step from the next grip's inner voices", func(p passage, from, to voicing.Tick) (n float64) {
		p.into(from, to, func(last, next []voicing.Note) {
			if slices.ContainsFunc(last, func(x voicing.Note) bool {
				return slices.ContainsFunc(next, func(y voicing.Note) bool {
					d := max(x.MIDI-y.MIDI, y.MIDI-x.MIDI)
					return d == 1 || d == 2
				})
			}) {
				n++
			}
		})
		return n
	}),
	"line-half": counted("answers a half step from the next grip's inner voices", func(p passage, from, to voicing.Tick) (n float64) {
		p.into(from, to, func(last, next []voicing.Note) {
			if slices.ContainsFunc(last, func(x voicing.Note) bool {
				return slices.ContainsFunc(next, func(y voicing.Note) bool { return max(x.MIDI-y.MIDI, y.MIDI-x.MIDI) == 1 })
			}) {
				n++
			}
		})
		return n
	}),
	"differs": func(p passage, c clause, from, to voicing.Tick) (bool, string) {
		other, otherEnd, err := p.bars(c.arg)
		if err != nil {
			return false, err.Error()
		}
		return p.played(from, to) != p.played(other, otherEnd), "note for note the same"
	},
	"sings": counted("of the tune sings", func(p passage, _, _ voicing.Tick) float64 {
		n := 0.0
		for _, m := range p.Melody {
			if float64(p.held(m)) >= 0.6*float64(min(m.Dur, 4*voicing.PerQuarter)) {
				n++
			}
		}
		return n / float64(len(p.Melody))
	}),
	"grip-gap": counted("seconds", func(p passage, _, _ voicing.Tick) float64 {
		return p.gripGap()
	}),
	"octaves": counted("parallel octaves", func(p passage, _, _ voicing.Tick) (n float64) {
		type outer struct{ tune, bass int }
		var last *outer
		for _, m := range p.Melody {
			var now *outer
			if ns := p.where(soundsAt(m.At)); len(ns) > 0 {
				if low := lowest(ns); low.At == m.At && low.MIDI < m.MIDI {
					now = &outer{m.MIDI, low.MIDI}
				}
			}
			if now != nil && last != nil && now.tune != last.tune && (now.tune-now.bass)%12 == 0 && (last.tune-last.bass)%12 == 0 {
				n++
			}
			last = now
		}
		return n
	}),
	"fret": counted("is the highest fret", func(p passage, _, _ voicing.Tick) (n float64) {
		for _, x := range p.Notes {
			n = max(n, float64(x.Fret))
		}
		return n
	}),
	"median-in": func(p passage, c clause, _, _ voicing.Tick) (bool, string) {
		var ps []int
		for _, n := range p.Notes {
			if n.Voice == voicing.Melody {
				ps = append(ps, n.MIDI)
			}
		}
		slices.Sort(ps)
		var lo, hi int
		if _, err := fmt.Sscanf(c.arg, "%d-%d", &lo, &hi); err != nil || len(ps) == 0 {
			return false, "no range or no tune"
		}
		m := ps[len(ps)/2]
		return lo <= m && m <= hi, fmt.Sprintf("median %d", m)
	},
	"melody-kept": faultless(func(p passage, _, _ voicing.Tick) (bad []string) {
		for _, m := range p.Melody {
			if len(p.where(struckAt(m.At), func(n voicing.Note) bool { return n.MIDI == m.MIDI && n.Voice == voicing.Melody })) == 0 {
				bad = append(bad, fmt.Sprintf("%d at %d is missing", m.MIDI, m.At))
			}
		}
		for _, n := range p.Notes {
			if !accompanies(n) && !n.Fill && !slices.ContainsFunc(p.Melody, func(m voicing.TuneNote) bool {
				return m.MIDI == n.MIDI && n.At >= m.At && n.At < m.At+m.Dur
			}) {
				bad = append(bad, fmt.Sprintf("%d at %d is not in the tune", n.MIDI, n.At))
			}
		}
		return bad
	}),
	"melody-top": faultless(func(p passage, _, _ voicing.Tick) (bad []string) {
		for _, m := range p.Melody {
			for _, n := range p.where(soundsAt(m.At)) {
				if n.MIDI > m.MIDI {
					bad = append(bad, fmt.Sprintf("%d over %d at %d", n.MIDI, m.MIDI, m.At))
				}
			}
		}
		return bad
	}),
	"one-hand": faultless(func(p passage, _, _ voicing.Tick) (bad []string) {
		for _, t := range p.attacks {
			if ns := p.where(soundsAt(t)); !p.holdable(ns) {
				bad = append(bad, fmt.Sprintf("at %d: %v", t, ns))
			}
		}
		return bad
	}),
	"pluckable": faultless(func(p passage, _, _ voicing.Tick) (bad []string) {
		for _, t := range p.attacks {
			ns := p.where(struckAt(t))
			lo, hi := 99, 0
			for _, n := range ns {
				lo, hi = min(lo, n.String), max(hi, n.String)
			}
			if len(ns) > 4 && hi-lo+1 != len(ns) {
				bad = append(bad, fmt.Sprintf("%d notes over %d strings at %d", len(ns), hi-lo+1, t))
			}
		}
		return bad
	}),
	"no-hole": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		for _, m := range p.Melody {
			ns := p.where(struckAt(m.At))
			if m.At < from || m.At >= to || len(ns) < 3 {
				continue
			}
			slices.SortFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(y.MIDI, x.MIDI) })
			if d := ns[0].MIDI - ns[1].MIDI; d > 12 {
				bad = append(bad, fmt.Sprintf("%d semitones under %d at %d", d, ns[0].MIDI, m.At))
			}
		}
		return bad
	}),
	"fills-under": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		for _, x := range p.where(accompanies) {
			for _, m := range p.Melody {
				if x.At >= from && x.At < to && x.At >= m.At && x.At < m.At+m.Dur && x.MIDI >= m.MIDI {
					bad = append(bad, fmt.Sprintf("%d over %d at %d", x.MIDI, m.MIDI, x.At))
				}
			}
		}
		return bad
	}),
	"bass-leap": counted("semitones", func(p passage, from, to voicing.Tick) (n float64) {
		last := 0
		for _, x := range p.Notes {
			if x.Voice != voicing.Bass || x.At < from || x.At >= to {
				continue
			}
			if last > 0 {
				n = max(n, math.Abs(float64(x.MIDI-last)))
			}
			last = x.MIDI
		}
		return n
	}),
	"open-bass": counted("open basses", func(p passage, from, to voicing.Tick) float64 {
		return float64(len(p.where(func(n voicing.Note) bool {
			return n.Voice == voicing.Bass && n.Fret == 0 && n.At >= from && n.At < to
		})))
	}),
	"string-sets": counted("sets of strings under the tune", func(p passage, from, to voicing.Tick) float64 {
		sets := map[string]bool{}
		for _, t := range p.attacksIn(from, to) {
			ns := p.where(struckAt(t))
			if len(ns) < 3 {
				continue
			}
			var s []int
			for _, n := range ns {
				if n.Voice != voicing.Bass {
					s = append(s, n.String)
				}
			}
			slices.Sort(s)
			sets[fmt.Sprint(s)] = true
		}
		return float64(len(sets))
	}),
	"one-form": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		for _, x := range p.where(accompanies, touches(from, to)) {
			for _, y := range p.Notes {
				at := max(x.At, y.At)
				c := p.chordAt(at)
				if c.NoChord || overlap(x, y.At, y.At+y.Dur) <= voicing.PerQuarter { // a neighbour note passes
					continue
				}
				is := func(d, e int) bool {
					dx, dy := (x.MIDI-c.RootPC()+120)%12, (y.MIDI-c.RootPC()+120)%12
					return dx == d && dy == e || dx == e && dy == d
				}
				if is(1, 2) || c.IsDominant() && (is(2, 3) || is(8, 9)) {
					bad = append(bad, fmt.Sprintf("%d with %d over %s at %d", x.MIDI, y.MIDI, c, at))
				}
			}
		}
		return bad
	}),
	"spread": counted("frets in one hand", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			lo, hi := 99, 0
			for _, x := range p.where(soundsAt(t)) {
				if x.Fret > 0 {
					lo, hi = min(lo, x.Fret), max(hi, x.Fret)
				}
			}
			n = max(n, float64(hi-lo))
		}
		return n
	}),
	"tune-string": counted("is the lowest string of the tune", func(p passage, from, to voicing.Tick) (n float64) {
		for _, x := range p.Notes {
			if !accompanies(x) && x.At >= from && x.At < to {
				n = max(n, float64(x.String))
			}
		}
		return n
	}),
	"shifts": counted("moves of more than two frets", func(p passage, from, to voicing.Tick) (n float64) {
		p.places(from, to, func(d int) {
			if d > 2 {
				n++
			}
		})
		return n
	}),
	"at-tempo": func(p passage, _ clause, _, _ voicing.Tick) (bool, string) {
		return p.TopTempo == 0 || p.TopTempo >= p.Tempi[0].BPM, fmt.Sprintf("playable up to %.4g", p.TopTempo)
	},
	"bass-steps": counted("steps in the bass", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.basses(from, to, func(d int) bool { return d == 1 || d == 2 }))
	}),
	"bass-again": counted("basses struck twice", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.basses(from, to, func(d int) bool { return d == 0 }))
	}),
	"bass-wide": counted("bass leaps of more than a fifth", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.basses(from, to, func(d int) bool { return d > 7 }))
	}),
	"room-under": grips(math.Inf(1), math.Min, "semitones under the tune", func(ns []voicing.Note) float64 {
		return float64(ns[0].MIDI - ns[1].MIDI)
	}),
	"half-steps": grips(0, math.Max, "half steps between neighbours", func(ns []voicing.Note) (n float64) {
		for i := 1; i < len(ns); i++ {
			if ns[i-1].MIDI-ns[i].MIDI == 1 {
				n++
			}
		}
		return n
	}),
	"bass-room": grips(math.Inf(1), math.Min, "semitones over the bass", overBass),
	"bass-far":  grips(0, math.Max, "semitones over the bass", overBass),
	"octave-frame": grips(0, math.Max, "grips framed by an octave", func(ns []voicing.Note) float64 {
		if (ns[0].MIDI-ns[len(ns)-1].MIDI)%12 == 0 {
			return 1
		}
		return 0
	}),
	"inner-low": counted("is the lowest inner voice", func(p passage, from, to voicing.Tick) float64 {
		n := math.Inf(1)
		for _, x := range p.Notes {
			if x.Voice == voicing.Inner && x.At >= from && x.At < to {
				n = min(n, float64(x.MIDI))
			}
		}
		return n
	}),
	"inner-gap": counted("semitones between inner voices", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			if in := p.inner(t); len(in) > 1 {
				n = max(n, float64(in[0].MIDI-in[len(in)-1].MIDI))
			}
		}
		return n
	}),
	"inner-roots": counted("grips and answers with the root inside", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			if c := p.chordAt(t); !c.NoChord && slices.ContainsFunc(p.inner(t), func(x voicing.Note) bool { return x.MIDI%12 == c.RootPC() }) {
				n++
			}
		}
		return n
	}),
	"line-leap": counted("semitones to the inner voice before", func(p passage, from, to voicing.Tick) (n float64) {
		p.line(from, to, func(near int) { n = max(n, float64(near)) })
		return n
	}),
	"line-again": counted("inner voices struck again", func(p passage, from, to voicing.Tick) (n float64) {
		p.line(from, to, func(near int) {
			if near == 0 {
				n++
			}
		})
		return n
	}),
	"octave-answers": counted("inner answers octaves under the tune", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			tune := p.where(soundsAt(t), func(x voicing.Note) bool { return x.Voice == voicing.Melody })
			for _, x := range p.inner(t) {
				if len(p.where(struckAt(t))) <= 2 && len(tune) > 0 && (tune[0].MIDI-x.MIDI)%12 == 0 {
					n++
				}
			}
		}
		return n
	}),
	"travel": counted("frets of the hand's way", func(p passage, from, to voicing.Tick) (n float64) {
		p.places(from, to, func(d int) { n += float64(d) })
		return n
	}),
	"bass-high": counted("is the highest bass", func(p passage, from, to voicing.Tick) (n float64) {
		for _, x := range p.Notes {
			if x.Voice == voicing.Bass && x.At >= from && x.At < to {
				n = max(n, float64(x.MIDI))
			}
		}
		return n
	}),
	"fifth-first": counted("fifths in the bass before their root", func(p passage, from, to voicing.Tick) (n float64) {
		root, last := false, voicing.Tick(-1)
		for _, x := range p.Notes {
			if x.Voice != voicing.Bass || x.At < from || x.At >= to {
				continue
			}
			at := voicing.Tick(0)
			for _, m := range p.Chords {
				if m.At <= x.At {
					at = m.At
				}
			}
			if at != last {
				root, last = false, at
			}
			switch c := p.chordAt(x.At); {
			case c.NoChord:
			case x.MIDI%12 == c.BassPC():
				root = true
			case !root && (x.MIDI-c.RootPC()+120)%12 == 7:
				n++
			}
		}
		return n
	}),
	"bass-octaves": counted("leaps of an octave in the bass", func(p passage, from, to voicing.Tick) float64 {
		return float64(p.basses(from, to, func(d int) bool { return d == 12 }))
	}),
	"bass-doubled": counted("inner answers octaves over the bass", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			low := p.where(soundsAt(t), func(x voicing.Note) bool { return x.Voice == voicing.Bass })
			for _, x := range p.inner(t) {
				if len(p.where(struckAt(t))) <= 2 && len(low) > 0 && (x.MIDI-low[0].MIDI)%12 == 0 {
					n++
				}
			}
		}
		return n
	}),
	"tune-ahead": counted("inner answers on the tune's next note", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			for _, m := range p.Melody {
				if d := m.At - t; len(p.where(struckAt(t))) <= 2 && d > 0 && d <= voicing.PerQuarter {
					for _, x := range p.inner(t) {
						if x.MIDI == m.MIDI {
							n++
						}
					}
					break
				}
			}
		}
		return n
	}),
	"bass-as-tune": counted("basses other than the root struck in octaves with the tune", func(p passage, from, to voicing.Tick) (n float64) {
		for _, x := range p.Notes {
			if x.Voice != voicing.Bass || x.At < from || x.At >= to {
				continue
			}
			c, m := p.chordAt(x.At), p.tuneAt(x.At)
			if m != nil && !c.NoChord && (m.MIDI-x.MIDI)%12 == 0 && x.MIDI%12 != c.BassPC() {
				n++
			}
		}
		return n
	}),
	"bass-sixths": counted("sixths in the bass that lead nowhere", func(p passage, from, to voicing.Tick) (n float64) {
		low := p.where(func(x voicing.Note) bool { return x.Voice == voicing.Bass && x.At >= from && x.At < to })
		for i, x := range low {
			c := p.chordAt(x.At)
			if c.NoChord || c.Slash || c.Kind == theory.Diminished || (x.MIDI-c.RootPC()+120)%12 != 9 {
				continue
			}
			if i+1 < len(low) && max(x.MIDI-low[i+1].MIDI, low[i+1].MIDI-x.MIDI) <= 2 {
				continue
			}
			n++
		}
		return n
	}),
	"rest-fourths": counted("fourths over a major chord", func(p passage, from, to voicing.Tick) (n float64) {
		for _, x := range p.Notes {
			if c := p.chordAt(x.At); x.At >= from && x.At < to && x.Voice == voicing.Inner && c.Kind == theory.Major && !c.NoChord && (x.MIDI-c.RootPC()+120)%12 == 5 {
				n++
			}
		}
		return n
	}),
	"ground-below": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		for _, m := range p.Chords {
			if m.At < from || m.At >= to {
				continue
			}
			ground := p.where(struckAt(m.At), func(x voicing.Note) bool { return x.Voice == voicing.Bass })
			if len(ground) == 0 || ground[0].MIDI%12 != m.Chord.BassPC() {
				continue
			}
			for _, x := range p.Notes {
				if x.Voice == voicing.Bass && x.At > m.At && x.At < m.At+2*voicing.PerQuarter && x.MIDI < ground[0].MIDI && p.chordAt(x.At).String() == m.Chord.String() {
					bad = append(bad, fmt.Sprintf("%d under %d at %d", x.MIDI, ground[0].MIDI, x.At))
				}
			}
		}
		return bad
	}),
	"tension-grows": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		for i, m := range p.Chords {
			if m.At < from || m.At >= to || !m.Chord.IsDominant() {
				continue
			}
			end := to
			if i+1 < len(p.Chords) {
				end = p.Chords[i+1].At
			}
			flat := map[int]bool{}
			for _, x := range p.Notes {
				if x.At < m.At || x.At >= end {
					continue
				}
				switch d := (x.MIDI - m.Chord.RootPC() + 120) % 12; d {
				case 1, 8:
					flat[d] = true
				case 2, 9:
					if flat[d-1] && accompanies(x) {
						bad = append(bad, fmt.Sprintf("%d at %d", x.MIDI, x.At))
					}
				}
			}
		}
		return bad
	}),
	"stabs": counted("stabs of two", func(p passage, from, to voicing.Tick) (n float64) {
		for _, t := range p.attacksIn(from, to) {
			if ns := p.where(struckAt(t)); len(ns) == 2 && len(p.inner(t)) == 2 {
				n++
			}
		}
		return n
	}),
	"own-strings": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		var last []voicing.Note
		for _, t := range p.attacksIn(from, to) {
			in := p.inner(t)
			if len(in) < 2 {
				continue
			}
			for _, x := range in {
				for _, y := range last {
					if x.MIDI == y.MIDI && x.String != y.String {
						bad = append(bad, fmt.Sprintf("%d goes to another string at %d", x.MIDI, t))
					}
				}
			}
			last = in
		}
		return bad
	}),
	"similar": counted("changes with bass and tune the same way", func(p passage, from, to voicing.Tick) (n float64) {
		var low, high int
		for _, c := range p.Chords {
			ns := p.where(soundsAt(c.At))
			if c.At < from || c.At >= to || len(ns) < 2 {
				continue
			}
			l, h := lowest(ns).MIDI, highest(ns).MIDI
			if low > 0 && (l-low)*(h-high) > 0 {
				n++
			}
			low, high = l, h
		}
		return n
	}),
	"no-m9": faultless(func(p passage, _, _ voicing.Tick) (bad []string) {
		for _, x := range p.Notes {
			for _, y := range p.Notes {
				if y.MIDI-x.MIDI != 13 || !rub(x, y) {
					continue
				}
				c := p.chordAt(max(x.At, y.At))
				written := !c.NoChord && c.Slash && x.MIDI%12 == c.BassPC()
				root := !c.NoChord && c.IsDominant() && (x.MIDI-c.RootPC())%6 == 0
				if !written && !root {
					bad = append(bad, fmt.Sprintf("%d and %d at %d", x.MIDI, y.MIDI, max(x.At, y.At)))
				}
			}
		}
		return bad
	}),
	"no-mud": faultless(func(p passage, from, to voicing.Tick) (bad []string) {
		const a2, d3 = 45, 50
		for _, t := range p.attacksIn(from, to) {
			ns := p.where(soundsAt(t))
			slices.SortFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(x.MIDI, y.MIDI) })
			for i := 1; i < len(ns); i++ {
				switch low, d := ns[i-1].MIDI, ns[i].MIDI-ns[i-1].MIDI; {
				case (d == 1 || d == 2) && low < d3, (d == 3 || d == 4) && low < a2:
					bad = append(bad, fmt.Sprintf("%d and %d at %d", low, low+d, t))
				}
			}
		}
		return bad
	}),
}

// Checks of the end.
var endChecks = map[string]situationCheck{
	"last-bass": func(p passage, c clause, last, _ voicing.Tick) (bool, string) {
		s := p.pcs([]voicing.Note{lowest(p.where(soundsAt(last)))})
		return slices.ContainsFunc(c.pcs, s.Has), "ends on " + pcText(s)
	},
	"last-low": func(p passage, c clause, last, _ voicing.Tick) (bool, string) {
		return c.meets(float64(lowest(p.where(soundsAt(last))).MIDI), "is the last bass")
	},
	"last-has": func(p passage, c clause, last, _ voicing.Tick) (bool, string) {
		s := p.pcs(p.where(touches(last-2*voicing.PerQuarter, last+1)))
		for _, x := range c.pcs {
			if !s.Has(x) {
				return false, pcText(s)
			}
		}
		return len(c.pcs) > 0, pcText(s)
	},
}

// inner lists the inner voices struck at t, the highest first.
func (p passage) inner(t voicing.Tick) []voicing.Note {
	ns := p.where(struckAt(t), func(n voicing.Note) bool { return n.Voice == voicing.Inner })
	slices.SortFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(y.MIDI, x.MIDI) })
	return ns
}

// alone is how many attacks in a stretch are of one voice and no other.
func (p passage) alone(v voicing.Voice, from, to voicing.Tick) (n int) {
	for _, t := range p.attacksIn(from, to) {
		if !slices.ContainsFunc(p.where(struckAt(t)), func(x voicing.Note) bool { return x.Voice != v }) {
			n++
		}
	}
	return n
}

// into calls f at each change of chord with the inner voices that answered last
// before it and the first that are struck from it on, within a bar.
func (p passage) into(from, to voicing.Tick, f func(last, next []voicing.Note)) {
	for _, m := range p.Chords {
		if m.At <= from || m.At >= to {
			continue
		}
		var last, next []voicing.Note
		for _, t := range p.attacksIn(max(from, m.At-4*voicing.PerQuarter), m.At) {
			if in := p.inner(t); len(in) > 0 {
				last = nil
				if len(in) == len(p.where(struckAt(t))) {
					last = in
				}
			}
		}
		for _, t := range p.attacksIn(m.At, min(to, m.At+2*voicing.PerQuarter)) {
			if next = p.inner(t); len(next) > 0 {
				break
			}
		}
		if len(last) > 0 && len(next) > 0 {
			f(last, next)
		}
	}
}

// line calls f for each inner voice that answers, alone or as a stab of two,
// with its distance from the inner voices struck last.
func (p passage) line(from, to voicing.Tick, f func(near int)) {
	var last []voicing.Note
	for _, t := range p.attacksIn(from, to) {
		in := p.inner(t)
		if len(in) == 0 {
			continue
		}
		if len(last) > 0 && len(in) == len(p.where(struckAt(t))) {
			near := 99
			for _, x := range in {
				for _, y := range last {
					near = min(near, max(x.MIDI-y.MIDI, y.MIDI-x.MIDI))
				}
			}
			f(near)
		}
		last = in
	}
}

// places calls f for each move of the hand from one attack to the next, in
// frets; an attack of open strings leaves it where it is.
func (p passage) places(from, to voicing.Tick, f func(d int)) {
	last := 0
	for _, t := range p.attacksIn(from, to) {
		for _, x := range p.where(struckAt(t)) {
			if x.Fret == 0 {
				continue
			}
			place := x.Fret - x.Finger + 1
			if last > 0 {
				f(max(place-last, last-place))
			}
			last = place
			break
		}
	}
}

// basses counts the moves of the bass in a stretch, in semitones without sign.
func (p passage) basses(from, to voicing.Tick, is func(d int) bool) (n int) {
	last := 0
	for _, x := range p.Notes {
		if x.Voice != voicing.Bass || x.At < from || x.At >= to {
			continue
		}
		if last > 0 && is(max(x.MIDI-last, last-x.MIDI)) {
			n++
		}
		last = x.MIDI
	}
	return n
}

// grips makes a check of the worst of the grips under the tune: three notes or
// more in one attack, the highest first.
func grips(start float64, worst func(x, y float64) float64, unit string, f func(ns []voicing.Note) float64) situationCheck {
	return counted(unit, func(p passage, from, to voicing.Tick) float64 {
		v := start
		for _, t := range p.attacksIn(from, to) {
			ns := p.where(struckAt(t))
			slices.SortFunc(ns, func(x, y voicing.Note) int { return cmp.Compare(y.MIDI, x.MIDI) })
			if len(ns) >= 3 && !accompanies(ns[0]) {
				v = worst(v, f(ns))
			}
		}
		return v
	})
}

// overBass is how far the next voice lies above the bass; far from both bounds
// when there is none.
func overBass(ns []voicing.Note) float64 {
	const neither = 10
	if k := len(ns) - 1; ns[k].Voice == voicing.Bass {
		return float64(ns[k-1].MIDI - ns[k].MIDI)
	}
	return neither
}

// played is the accompaniment of a stretch in one text.
func (p passage) played(from, to voicing.Tick) string {
	var b strings.Builder
	for _, n := range p.where(accompanies) {
		if n.At >= from && n.At < to {
			fmt.Fprintf(&b, "%d:%d ", n.At-from, n.MIDI)
		}
	}
	return b.String()
}

// gripGap is the shortest time from one full grip to another that is no part of
// it, in seconds.
func (p passage) gripGap() float64 {
	type press struct{ str, fret int }
	within := func(x, y []press) bool {
		for _, a := range x {
			if !slices.Contains(y, a) {
				return false
			}
		}
		return true
	}
	best := math.Inf(1)
	var last []press
	var lastAt voicing.Tick
	for _, t := range p.attacks {
		var now []press
		for _, n := range p.where(struckAt(t)) {
			now = append(now, press{n.String, n.Fret})
		}
		if len(now) < 3 {
			continue
		}
		if last != nil && !within(last, now) && !within(now, last) {
			best = min(best, float64(t-lastAt)/float64(voicing.PerQuarter)*60/p.Tempi[0].BPM)
		}
		last, lastAt = now, t
	}
	return best
}

// holdable tries every way to lay four fingers on what sounds: one note a
// string; the finger does not fall as the fret rises; a finger lies flat at one
// fret only, over nothing that is open or stopped lower; neighbouring fingers
// and the whole hand within reach (harmony.md 6.2). It is the slow and plain
// twin of the search for fingers.
func (p passage) holdable(ns []voicing.Note) bool {
	var held []voicing.Note
	seen := map[int]bool{}
	for _, n := range ns {
		if seen[n.String] {
			return false
		}
		seen[n.String] = true
		if n.Fret > 0 {
			held = append(held, n)
		}
	}
	finger := make([]int, len(held))
	fits := func(i, j int) bool {
		x, y := held[i], held[j]
		if x.Fret > y.Fret {
			x, y = y, x
			i, j = j, i
		}
		fx, fy := finger[i], finger[j]
		switch d := p.neck.At(y.Fret) - p.neck.At(x.Fret); {
		case fx == fy:
			if x.Fret != y.Fret {
				return false
			}
			for _, n := range ns {
				if n.Fret < x.Fret && n.String > min(x.String, y.String) && n.String < max(x.String, y.String) {
					return false
				}
			}
			return true
		case x.Fret < y.Fret && fx > fy:
			return false
		case max(fx, fy)-min(fx, fy) == 1:
			return d <= p.hand.Adjacent
		default:
			return d <= p.hand.Reach
		}
	}
	var lay func(i int) bool
	lay = func(i int) bool {
		if i == len(held) {
			return true
		}
		for f := 1; f <= 4; f++ {
			finger[i] = f
			ok := true
			for j := 0; j < i && ok; j++ {
				ok = fits(j, i)
			}
			if ok && lay(i+1) {
				return true
			}
		}
		return false
	}
	return lay(0)
}
