package voicing

import (
	"fmt"
	"slices"
	"strconv"
	"testing"

	"thumbline/theory"
)

// everyIntro arranges a tune with each introduction that it has.
func everyIntro(t *testing.T, tune *theory.Tune, p Plan, use func(name string, a *Arrangement, f *form)) (count map[string]int) {
	t.Helper()
	count = map[string]int{}
	oct, err := register(tune, StandardNeck())
	if err != nil {
		t.Fatal(err)
	}
	low := tune.Transpose(theory.Interval{Steps: 7 * (oct / 12), Semitones: oct})
	for _, kind := range introKinds[1:] {
		for n := 1; ; n++ {
			p.Intro = kind + ":" + strconv.Itoa(n)
			f, err := newForm(low, &p, StandardNeck())
			if err != nil {
				break
			}
			a, err := Arrange(tune, p)
			if err != nil {
				t.Fatalf("%s: %v", p.Intro, err)
			}
			count[kind]++
			use(p.Intro, a, f)
		}
	}
	return count
}

// The built-in tune has three introductions of each kind at least, other tunes
// two; the sheets are in major and minor, 4/4, 3/4 and 6/8.
func TestIntroductions(t *testing.T) {
	for name, tune := range ownTunes(t) {
		t.Run(name, func(t *testing.T) {
			plain, err := Arrange(tune, Plan{})
			if err != nil {
				t.Fatal(err)
			}
			names := map[string]bool{}
			count := everyIntro(t, tune, Plan{}, func(name string, a *Arrangement, f *form) {
				if err := introFaults(a, f, plain); err != nil {
					t.Errorf("%s, %s: %v", name, a.Intro, err)
				}
				if names[a.Intro] {
					t.Errorf("%s: %s has come before", name, a.Intro)
				}
				names[a.Intro] = true
			})
			least := 2
			if name == "demo.abc" {
				least = 3
			}
			for _, kind := range introKinds[1:] {
				if count[kind] < least {
					t.Errorf("%d introductions of the kind %s", count[kind], kind)
				}
			}
		})
	}
}

// introFaults says what is wrong with an introduction.
func introFaults(a *Arrangement, f *form, plain *Arrangement) error {
	tune := &theory.Tune{Bars: f.tune.Bars[f.intro:]}
	first, _ := fullBar(tune)
	end := ticks(f.tune.Bars[f.intro].At)
	if a.Sections[0].Name != IntroName || a.Sections[0].To != f.intro || a.Before == 0 {
		return fmt.Errorf("sections %v, %d phrases before", a.Sections, a.Before)
	}
	var pickup, length theory.Time
	for _, b := range tune.Bars {
		if !b.IsPickup() {
			break
		}
		pickup = pickup.Add(b.Len)
	}
	for i, b := range f.tune.Bars[:f.intro] {
		if b.Key != first.Key || b.Metre != first.Metre || b.Beat != first.Beat || b.Label != "i"+strconv.Itoa(i+1) {
			return fmt.Errorf("bar %+v beside the tune's first %+v", b, first)
		}
		length = length.Add(b.Len)
	}
	if whole := length.Add(pickup); whole.Mul(first.Metre.BarLen().Den(), first.Metre.BarLen().Num()).Den() != 1 {
		return fmt.Errorf("%v and a pick-up of %v are no whole bars", length, pickup)
	}
	// The tune itself is as it is without an introduction.
	if len(a.Melody) != len(plain.Melody) {
		return fmt.Errorf("%d notes of the tune, want %d", len(a.Melody), len(plain.Melody))
	}
	for i, n := range a.Melody {
		if n.At-end != plain.Melody[i].At || n.MIDI != plain.Melody[i].MIDI || n.Dur != plain.Melody[i].Dur {
			return fmt.Errorf("the tune's note %+v is %+v", plain.Melody[i], n)
		}
	}
	// Its top line is heard, as something put in, and is a melody: half of its
	// steps at least are steps (harmony.md 5.7, endings).
	var line []int
	for i, n := range f.tune.Melody {
		if !f.fill[i] {
			break
		}
		at := ticks(n.At)
		line = append(line, n.Pitch.MIDI())
		if !slices.ContainsFunc(a.Notes, func(x Note) bool {
			return x.At == at && x.MIDI == n.Pitch.MIDI() && x.Voice == Melody && x.Fill
		}) {
			return fmt.Errorf("its note %v at %v is not heard", n.Pitch, n.At)
		}
	}
	steps := 0
	for i := 1; i < len(line); i++ {
		if absInt(line[i]-line[i-1]) <= 2 {
			steps++
		}
		if absInt(line[i]-line[i-1]) > 12 {
			return fmt.Errorf("its line %v leaps", line)
		}
	}
	if len(line) < 4 {
		return fmt.Errorf("its line is %v", line)
	}
	if own := a.Intro[0] == 'a'; own && 2*steps < len(line)-1 {
		return fmt.Errorf("its line %v hardly goes by step", line)
	}
	if to := a.Melody[0].MIDI; a.Intro[0] == 'a' && absInt(line[len(line)-1]-to) > 4 {
		return fmt.Errorf("its line %v does not lead to %d", line, to)
	}
	return nil
}

// Through a pedal the bass is the dominant and nothing else.
func TestPedalStays(t *testing.T) {
	tunes := ownTunes(t)
	tunes["flat keys"] = tunes["demo.abc"]
	for name, tune := range tunes {
		keys := []string{""}
		if name == "flat keys" {
			keys = []string{"C", "Db", "D", "Eb", "E", "F", "F#", "Ab", "A", "Bb", "B"}
		}
		for _, key := range keys {
			for n := 1; n <= 3; n++ {
				a, err := Arrange(tune, Plan{Intro: "pedal:" + strconv.Itoa(n), Key: key})
				if err != nil {
					t.Fatal(err)
				}
				end := a.Bars[a.Sections[0].To].At
				five := (a.Bars[0].Key.Tonic.PC() + 7) % 12
				basses, pitches := 0, map[int]bool{}
				for _, x := range a.Notes {
					if x.At >= end || x.Voice != Bass {
						continue
					}
					basses++
					pitches[x.MIDI] = true
					if x.MIDI%12 != five {
						t.Errorf("%s %s, pedal %d: bass %d at %d, in %s", name, key, n, x.MIDI, x.At, a.Bars[0].Key)
					}
				}
				if 2*basses < a.Sections[0].To {
					t.Errorf("%s %s, pedal %d: %d basses in %d bars", name, key, n, basses, a.Sections[0].To)
				}
				if len(pitches) > 1 {
					t.Logf("%s %s, pedal %d: %v", name, key, n, pitches)
				}
			}
		}
	}
}
