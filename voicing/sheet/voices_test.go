package sheet

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thumbline/voicing"
)

func TestVoices(t *testing.T) {
	a := small()
	if d := cmp.Diff(a, Voices(a, voicing.Melody, voicing.Inner, voicing.Bass)); d != "" {
		t.Errorf("all voices are not the whole (-whole +got):\n%s", d)
	}
	for _, c := range []struct {
		name  string
		keep  []voicing.Voice
		notes int
		frets [][]int // of the grips that are left
		gone  string
	}{
		{"no inner voices", []voicing.Voice{voicing.Melody, voicing.Bass}, 17,
			[][]int{{-1, 8, -1, -1, -1, 8}, {-1, -1, 0, -1, -1, 3}}, "inner"},
		{"no bass", []voicing.Voice{voicing.Inner, voicing.Melody}, 18,
			[][]int{{-1, -1, 10, 7, 10, 8}, {-1, -1, -1, 3, -1, 3}}, "bass"},
		{"the bass alone", []voicing.Voice{voicing.Bass}, 3, nil, "melody, inner"},
	} {
		v := Voices(a, c.keep...)
		if len(v.Notes) != c.notes {
			t.Errorf("%s: %d notes, want %d", c.name, len(v.Notes), c.notes)
		}
		var frets [][]int
		for _, g := range v.Grips {
			frets = append(frets, g.Frets)
			if g.Texture != "" || g.Borrowed != nil {
				t.Errorf("%s: the grip at %d tells %q, %q of voices that are gone", c.name, g.At, g.Texture, g.Borrowed)
			}
			for i, f := range g.Fingers {
				if f > 0 && g.Frets[i] <= 0 {
					t.Errorf("%s: finger %d on a string that is gone", c.name, f)
				}
			}
		}
		if d := cmp.Diff(c.frets, frets); d != "" {
			t.Errorf("%s: grips (-want +got):\n%s", c.name, d)
		}
		if w := v.Warnings; len(w) != 2 || w[1] != "left out of what is written here: "+c.gone {
			t.Errorf("%s: warnings %q", c.name, w)
		}
		if tune := slices.Contains(c.keep, voicing.Melody); tune && len(v.LetGo) != len(a.LetGo) || !tune && len(v.LetGo) > 0 {
			t.Errorf("%s: let go %+v", c.name, v.LetGo)
		}
		if len(v.Melody) != len(a.Melody) || len(v.Chords) != len(a.Chords) || len(v.Bars) != len(a.Bars) {
			t.Errorf("%s: tune, chords or bars are gone", c.name)
		}
		var b bytes.Buffer
		if err := Tab(&b, v, TabOptions{}); err != nil || b.Len() == 0 {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if d := cmp.Diff(small(), a); d != "" {
		t.Errorf("the arrangement itself was changed:\n%s", d)
	}
}

// smallTrio is small with a bass line.
func smallTrio() *voicing.Arrangement {
	a := small()
	a.Setting = voicing.Trio
	a.Bassist = []voicing.BassNote{{At: q, Dur: 2*q - 60, MIDI: 41}, {At: 3 * q, Dur: 2*q - 60, MIDI: 36}, {At: 5 * q, Dur: 3*q - 60, MIDI: 43}, {At: 8 * q, Dur: 4 * q, MIDI: 29}}
	a.Time = []voicing.Stroke{{At: q, Stick: voicing.Ride}, {At: 5 * q, Stick: voicing.Foot}, {At: 8 * q, Stick: voicing.Ride, Weight: -1}}
	return a
}

// The bass line stands in the JSON of a trio, and of no other setting; without
// the bass player it is empty and a warning says so, beside what else is left
// out.
func TestBassistInJSON(t *testing.T) {
	text := func(a *voicing.Arrangement) string {
		var b bytes.Buffer
		if err := JSON(&b, a); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	a := smallTrio()
	if got := text(a); !strings.Contains(got, "\"bassist\": [\n  {\"at\": 960, \"dur\": 1860, \"midi\": 41},\n") {
		t.Errorf("no bass line in\n%s", got)
	}
	if got := text(small()); strings.Contains(got, "bassist") {
		t.Errorf("a bassist in a solo:\n%s", got)
	}
	b := WithoutBassist(Voices(a, voicing.Melody, voicing.Inner))
	got := text(b)
	if !strings.Contains(got, " \"bassist\": [],\n") || !strings.Contains(got, `"left out of what is written here: bass, bassist"`) {
		t.Errorf("the bassist is not left out:\n%s", got)
	}
	if w := WithoutBassist(a).Warnings; len(w) != 2 || w[1] != "left out of what is written here: bassist" {
		t.Errorf("warnings %q", w)
	}
	if d := cmp.Diff(smallTrio(), a); d != "" {
		t.Errorf("the arrangement itself was changed:\n%s", d)
	}
	if d := cmp.Diff(small(), WithoutBassist(small())); d != "" {
		t.Errorf("a solo was changed:\n%s", d)
	}
}

// What is struck in the bars that are cut out, and no longer than they last.
func TestCutBassist(t *testing.T) {
	c := Cut(smallTrio(), 2, 4)
	if d := cmp.Diff([]voicing.BassNote{{At: 0, Dur: 3*q - 60, MIDI: 43}, {At: 3 * q, Dur: 4 * q, MIDI: 29}}, c.Bassist); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if d := cmp.Diff([]voicing.Stroke{{At: 0, Stick: voicing.Foot}, {At: 3 * q, Stick: voicing.Ride, Weight: -1}}, c.Time); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	long := smallTrio()
	long.Bassist[0].Dur = 6 * q
	if c := Cut(long, 1, 2); c.Bassist[0].Dur != 4*q {
		t.Errorf("it lasts %d, the bar %d", c.Bassist[0].Dur, 4*q)
	}
}
