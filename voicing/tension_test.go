package voicing_test

import (
	"fmt"
	"strings"
	"testing"

	"thumbline/theory"
	"thumbline/voicing"
)

func arrange(t testing.TB, tune *theory.Tune, p voicing.Plan) *voicing.Arrangement {
	t.Helper()
	a, err := voicing.Arrange(tune, p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// far counts the grips that do not stand on the first-choice scale of their
// chord.
func far(a *voicing.Arrangement) int {
	n := 0
	for _, g := range a.Grips {
		c := theory.MustChord(g.Symbol)
		if !strings.HasPrefix(g.Scale, theory.FirstChoice(c).Scale.String()) {
			n++
		}
	}
	return n
}

func TestTension(t *testing.T) {
	tune := voicing.BuiltIn(t)
	low := arrange(t, tune, voicing.Plan{Tension: "low"})
	medium := arrange(t, tune, voicing.Plan{Tension: "medium"})
	high := arrange(t, tune, voicing.Plan{Tension: "high"})
	t.Logf("grips beyond the first choice: low %d, medium %d, high %d of %d", far(low), far(medium), far(high), len(high.Grips))
	if far(high) < 2*far(medium) {
		t.Errorf("high goes beyond the first choice %d times, medium %d: want twice as often at least", far(high), far(medium))
	}
	for _, what := range foreign(low) {
		t.Errorf("tension low: %s", what)
	}
	if _, err := voicing.Arrange(tune, voicing.Plan{Tension: "wild"}); err == nil {
		t.Error("an unknown tension is taken")
	}
}

// usual is what a written chord and its usual extensions hold, by degree
// (harmony.md 3.2, tension 0 and 1).
func usual(c theory.Chord) theory.PCSet {
	s := c.Tones
	switch {
	case c.IsDominant():
		s = s.With(2, 9)
	case c.Kind == theory.Major:
		s = s.With(2, 9, 11)
	case c.Kind == theory.Minor:
		s = s.With(2, 5, 9, 10, 11)
	case c.Kind == theory.HalfDiminished:
		s = s.With(5)
	case c.Kind == theory.Suspended:
		s = s.With(2, 9, 10)
	case c.Kind == theory.Diminished:
		s = s.With(9)
	}
	if c.Slash {
		s = s.With(c.BassPC() - c.RootPC())
	}
	return s
}

// foreign lists the added notes, struck on a change of chord, that are neither
// of the written chord nor of its usual extensions.
func foreign(a *voicing.Arrangement) (list []string) {
	for _, m := range a.Chords {
		if m.Chord.NoChord {
			continue
		}
		for _, n := range a.Notes {
			if n.At == m.At && n.Voice != voicing.Melody && !usual(m.Chord).Has(n.MIDI-m.Chord.RootPC()) {
				list = append(list, fmt.Sprintf("%d sounds on %s at %d", n.MIDI, m.Symbol, m.At))
			}
		}
	}
	return list
}

// TestTensionOverSheets asks the same of the shared lead sheets.
func TestTensionOverSheets(t *testing.T) {
	beyond := map[string]int{}
	added, read := 0, 0
	for _, pattern := range []string{"corpus/leadsheets/*.mxl", "corpus/abc/*.abc"} {
		voicing.SharedTunes(t, pattern, func(name string, tune *theory.Tune) {
			read++
			for _, tension := range []string{"low", "medium", "high"} {
				a := arrange(t, tune, voicing.Plan{Tension: tension})
				beyond[tension] += far(a)
				if tension != "low" {
					continue
				}
				for _, n := range a.Notes {
					if n.Voice != voicing.Melody {
						added++
					}
				}
				for _, what := range foreign(a) {
					t.Errorf("%s: tension low: %s", name, what)
				}
			}
		})
	}
	t.Logf("%d sheets, %d added notes at low; grips beyond the first choice: %v", read, added, beyond)
	if beyond["high"] < 2*beyond["medium"] {
		t.Errorf("high goes beyond the first choice %d times, medium %d: want twice as often at least", beyond["high"], beyond["medium"])
	}
}
