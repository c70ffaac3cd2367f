package sheet

import (
	"bytes"
	"slices"
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
