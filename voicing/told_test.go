package voicing

import (
	"path/filepath"
	"testing"
)

// When a voice is first struck in the stretch of a grip, as its name tells.
type told uint8

const (
	free   told = iota
	first       // with the grip
	later       // in the stretch, but not with the grip
	unless      // not with the grip
)

// toldTextures is what each name of a texture says of bass, inner voices and
// tune. A bass or an inner voice that comes later may have been given up to what
// else the hand has to do, so that only their coming first is held against them.
var toldTextures = map[string][3]told{
	"together":                                       {},
	"together, the low root last":                    {unless, free, free},
	"together, the root again last":                  {},
	"bass and tune, chord after":                     {first, unless, first},
	"tune first, chord after":                        {unless, unless, first},
	"chord after its bass":                           {free, first, unless},
	"bass first, chord after":                        {first, unless, unless},
	"bass first, tune and chord after":               {first, unless, later},
	"tune and chord, bass after":                     {unless, first, first},
	"chord first, bass after":                        {unless, first, unless},
	"tune and chord early, bass on the beat":         {unless, first, first},
	"tune early, chord on the beat":                  {free, first, unless},
	"chord on the beat, the pick-up bare":            {free, first, unless},
	"chord on the beat":                              {free, first, free},
	"bass and tune, chord with the tune's next beat": {first, unless, first},
	"chord with the tune, after its bass":            {free, first, first},
	"passing diminished with the tune":               {free, first, first},
	"the coming grip a fret away":                    {free, free, first},

	// without the tune
	"bass and chord together":              {first, first, unless},
	"bass on the beat, chord off it":       {first, unless, unless},
	"bass first, chord on a later beat":    {first, unless, unless},
	"chord pushed ahead, bass on the beat": {unless, first, unless},

	// with bass and drums: the guitar has no bass
	"together off the beat":                   {unless, first, first},
	"tune and chord before the beat":          {unless, first, first},
	"tune first, chord off the beat":          {unless, unless, first},
	"chord off the beat under the held tune":  {unless, first, unless},
	"chord on the beat under the held tune":   {unless, first, unless},
	"chord off the beat while the tune rests": {unless, first, unless},
	"chord while the tune rests":              {unless, first, unless},
	"chord after the tune":                    {unless, first, unless},
	"chord with the tune's next beat":         {unless, first, first},
}

// TestTexturesAsTold: the name of a texture is what is played, at every density,
// and grips stand in the order of time.
func TestTexturesAsTold(t *testing.T) {
	var files []string
	for _, g := range []string{"testdata/situations/*[05]-*.abc", "../testdata/tunes/*.abc", "testdata/situations/*-bass-*.abc"} {
		more, err := filepath.Glob(g)
		if err != nil || len(more) == 0 {
			t.Fatalf("%s: no files (%v)", g, err)
		}
		files = append(files, more...)
	}
	seen := map[string]int{}
	for _, s := range arrangeAll(t, files) {
		for d, grid := range s.at {
			toldTruly(t, s.name+", "+densityWords[d], grid.a, seen)
		}
	}
	for _, name := range []string{"together", "bass and tune, chord after", "bass and tune, chord with the tune's next beat", "bass first, chord after"} {
		if seen[name] == 0 {
			t.Errorf("%q was never played: nothing is tried", name)
		}
	}
	t.Log(seen)
}

// toldTruly checks the names of the textures of one arrangement and counts them.
func toldTruly(t *testing.T, name string, a *Arrangement, seen map[string]int) {
	t.Helper()
	for k, g := range a.Grips {
		end := a.End()
		if k+1 < len(a.Grips) {
			end = a.Grips[k+1].At
		}
		if end <= g.At {
			t.Errorf("%s: the grip %q at %d stands before one at %d", name, g.Texture, g.At, end)
			continue
		}
		want, ok := toldTextures[g.Texture]
		if !ok {
			t.Errorf("%s: no such texture: %q", name, g.Texture)
			continue
		}
		seen[g.Texture]++
		came := [3]Tick{-1, -1, -1} // bass, inner, melody
		for _, n := range a.Notes {
			if v := 2 - int(n.Voice); in(n.At, g.At, end) && came[v] < 0 {
				came[v] = n.At
			}
		}
		for v, w := range want {
			at := came[v]
			if w == first && at != g.At || w == unless && at == g.At || w == later && at <= g.At {
				t.Errorf("%s, bar %s: %q, but the %s comes at %d and the grip stands at %d",
					name, a.Bars[g.Bar].Label, g.Texture, Voice(2-v), at, g.At)
			}
		}
	}
}

// TestCostWithoutPrice: the price that makes an arrangement sparse or full is no
// part of what it costs, else keys, each with a price of its own, could not be
// ranked.
func TestCostWithoutPrice(t *testing.T) {
	for _, s := range arrangeAll(t, []string{"../testdata/tunes/slate-roof-waltz.abc", "../testdata/tunes/hollow-reed.abc"}) {
		bars := float64(len(s.at[1].a.Bars))
		medium := s.at[1].a.Cost / bars
		for _, d := range []int{0, 2} {
			if got := s.at[d].a.Cost / bars; got < medium-1 || got > medium+6 {
				t.Errorf("%s, %s: a bar costs %.1f, at medium %.1f", s.name, densityWords[d], got, medium)
			} else {
				t.Logf("%s, %s: a bar costs %.1f, at medium %.1f", s.name, densityWords[d], got, medium)
			}
		}
	}
}

// compTold: the same without the tune.
func compTold(t *testing.T, plans map[string]*Arrangement) {
	seen := map[string]int{}
	for name, a := range plans {
		toldTruly(t, name, a, seen)
	}
	for _, name := range []string{"bass and chord together", "bass on the beat, chord off it", "bass first, chord on a later beat", "chord pushed ahead, bass on the beat"} {
		if seen[name] == 0 {
			t.Errorf("%q was never played: nothing is tried", name)
		}
	}
	t.Log(seen)
}
