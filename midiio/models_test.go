package midiio

import (
	"cmp"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"thumbline/theory"
	"thumbline/voicing"
)

// Arrangements made by hands: at the written ticks when straight, and in the
// file, read in the order of its tracks, never two notes on a channel.
func TestModels(t *testing.T) {
	data := os.Getenv("THUMBLINE_DATA")
	if data == "" {
		t.Skip("THUMBLINE_DATA is not set: the model arrangements are not performed here")
	}
	files, err := filepath.Glob(filepath.Join(data, "models", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no models in %s (%v)", data, err)
	}
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var m struct {
			Tempo float64
			Bars  []struct {
				Label         string
				At, Len, Beat voicing.Tick
			}
			Notes []struct {
				At, Dur      voicing.Tick
				MIDI, String int
				Voice        string
				Fill         bool
			}
		}
		if err := json.Unmarshal(b, &m); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		a := &voicing.Arrangement{Tempi: []voicing.TempoMark{{BPM: m.Tempo}}, Feel: theory.Feel{Ratio: 1.7}}
		for _, r := range m.Bars {
			a.Bars = append(a.Bars, voicing.Bar{Label: r.Label, At: r.At, Len: r.Len, Beat: r.Beat})
		}
		type played struct {
			on, off  Tick
			key, str int
		}
		var want []played
		for _, n := range m.Notes {
			v := map[string]voicing.Voice{"melody": voicing.Melody, "bass": voicing.Bass, "inner": voicing.Inner}[n.Voice]
			a.Notes = append(a.Notes, voicing.Note{At: n.At, Dur: n.Dur, MIDI: n.MIDI, String: n.String, Voice: v, Fill: n.Fill})
			want = append(want, played{Tick(n.At), Tick(n.At + n.Dur), n.MIDI, n.String})
		}
		s := Perform(a, PerformOptions{Feel: straight(), NoSpread: true})
		p := pair(s.Events)
		var got []played
		for i, e := range s.Events {
			if isOn(e.Msg) {
				got = append(got, played{e.Tick, s.Events[p[i]].Tick, int(e.Msg[1]), channel(e.Msg) + 1})
			}
		}
		order := func(a, b played) int {
			return cmp.Or(cmp.Compare(a.on, b.on), cmp.Compare(a.str, b.str))
		}
		slices.SortFunc(want, order)
		slices.SortFunc(got, order)
		if !slices.Equal(want, got) {
			t.Errorf("%s: straight without spread is not what is written", path)
		}

		s = Perform(a, PerformOptions{})
		at, _ := fileTicks(s)
		idx := make([]int, len(at))
		for i := range idx {
			idx[i] = i
		}
		slices.SortStableFunc(idx, func(i, j int) int {
			return cmp.Or(cmp.Compare(at[i], at[j]), cmp.Compare(s.Events[i].Layer, s.Events[j].Layer))
		})
		var out []sent
		for _, i := range idx {
			out = append(out, sent{at[i], s.Events[i].Msg})
		}
		balanced(t, out)
		t.Logf("%s: %d notes", filepath.Base(path), len(got))
	}
}
