package midiio

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thumbline/theory"
)

// row is a practice as text: what is heard, at what percentage, how often, and
// how much longer the pass lasts than its music.
func row(p Practice) string {
	var parts []string
	for i, q := range p.Passes {
		s := ""
		if i == p.Loop && p.Repeat == Forever {
			s = "("
		}
		if q.CountIn != 0 {
			s += fmt.Sprintf("count %d, ", q.CountIn)
		}
		if q.Kind == Alone {
			s += "alone "
		}
		for l := range numLayers {
			if !q.Mute.Has(l) {
				s += l.String()[:2]
			}
		}
		s += fmt.Sprintf(" %g%%", 100*q.Scale)
		if q.Times > 1 {
			s += fmt.Sprintf(" x%d", q.Times)
		}
		if q.Tail > 0 {
			s += fmt.Sprintf(" +%d", q.Tail)
		}
		parts = append(parts, s)
	}
	if p.Repeat == Forever {
		return strings.Join(parts, "; ") + ")..."
	}
	return strings.Join(parts, "; ")
}

func TestStudy(t *testing.T) {
	s := held() // two bars of 4/4
	bass, both := Layers(Bass, Click), Layers(Bass, Melody, Click)
	for _, c := range []struct {
		name string
		st   Study
		want string
	}{
		{"the zero value", Study{}, "(meinbabaticl 100%)..."},
		{"four times", Study{Repeat: 4, CountIn: CountInAuto}, "count -1, meinbabaticl 100% x4"},
		{"a metronome muted", Study{Mute: Layers(Click), Scale: 0.6}, "(meinbabati 60%)..."},
		{"a ramp, then its last tempo", Study{Ramp: []float64{0.6, 0.8, 1}, CountIn: 1}, "count 1, meinbabaticl 60%; meinbabaticl 80%; (meinbabaticl 100%)..."},
		{"a ramp of half the tempo, twice each", Study{Scale: 0.5, Ramp: []float64{0.6, 1}, Repeat: 2}, "meinbabaticl 30% x2; meinbabaticl 50% x2"},
		{"layers in turn, then the ramp", Study{Layers: []LayerSet{bass, both, AllLayers}, Ramp: []float64{0.5, 1}}, "bacl 50%; mebacl 50%; meinbabaticl 50%; (meinbabaticl 100%)..."},
		{"an answer", Study{Answer: true, Time: Layers(Time, Click)}, "(meinbabaticl 100%; alone ticl 100%)..."},
		{"an answer at each tempo, the metronome muted", Study{Answer: true, Time: Layers(Time, Click), Mute: Layers(Click), Ramp: []float64{0.5, 1}}, "meinbabati 50%; alone ti 50%; (meinbabati 100%; alone ti 100%)..."},
		{"two answers", Study{Answer: true, Repeat: 2, CountIn: 2}, "count 2, meinbabaticl 100%; alone  100%; meinbabaticl 100%; alone  100%"},
		{"rest, with none at the end", Study{Rest: 1, Tail: 480, Repeat: 3}, "meinbabaticl 100% x2 +4320; meinbabaticl 100% +480"},
		{"rest for ever", Study{Rest: 2}, "(meinbabaticl 100% +7680)..."},
		{"rest and one pass", Study{Rest: 2, Repeat: 1}, "meinbabaticl 100%"},
		{"rest and an answer", Study{Rest: 1, Answer: true, Repeat: 1}, "meinbabaticl 100% +3840; alone  100%"},
	} {
		p, err := s.Practice(c.st)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := row(p); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if _, err := NewCursor(s, p, 48000); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// The rest is in the metre in which the part ends.
	waltz := &Sequence{End: 3840 + 2880, Bars: []Bar{
		{"1", 0, 3840, 960, theory.Metre{Num: 4, Den: 4}}, {"2", 3840, 2880, 960, theory.Metre{Num: 3, Den: 4}}}}
	for _, c := range []struct{ to, want Tick }{{3840, 3840}, {0, 2880}, {3841, 2880}} {
		p, err := waltz.Practice(Study{To: c.to, Rest: 1})
		if err != nil || p.Passes[0].Tail != c.want {
			t.Errorf("rest after tick %d: %d ticks (%v), want %d", c.to, p.Passes[0].Tail, err, c.want)
		}
	}
}

func TestStudyRefuses(t *testing.T) {
	for _, c := range []struct {
		st   Study
		want string
	}{
		{Study{Rest: -1}, "rest of -1 bars"},
		{Study{Rest: 65}, "rest of 65 bars"},
		{Study{Repeat: -2}, "repeat -2"},
		{Study{Tail: -1}, "pass 1: tail of -1 ticks"},
		{Study{From: 7680}, "pass 1: from tick 7680 to 7680"},
		{Study{Ramp: []float64{1, 0}}, "tempo scale 0"},
		{Study{Ramp: []float64{1, -1}}, "pass 2: tempo scale -1"},
		{Study{CountIn: 17}, "count-in of 17"},
		{Study{Answer: true, Repeat: 1 << 30}, "more than 100000 passes"},
	} {
		if _, err := held().Practice(c.st); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.st, err, c.want)
		}
	}
}

func TestPercents(t *testing.T) {
	for _, c := range []struct {
		first, last, step float64
		want              string
	}{
		{60, 100, 5, "[0.6 0.65 0.7 0.75 0.8 0.85 0.9 0.95 1]"},
		{60, 100, 7, "[0.6 0.67 0.74 0.81 0.88 0.95 1]"},
		{60, 100, 40, "[0.6 1]"},
		{60, 100, 50, "[0.6 1]"},
		{100, 80, 10, "[1 0.9 0.8]"},
		{100, 80, 15, "[1 0.85 0.8]"},
		{70, 70, 5, "[0.7]"},
		{99.7, 100, 0.1, "[0.997 0.998 0.999 1]"}, // sums of 0.1 are not even
		{62.5, 65, 1.25, "[0.625 0.6375 0.65]"},
	} {
		got, err := Percents(c.first, c.last, c.step)
		if err != nil || fmt.Sprint(got) != c.want {
			t.Errorf("%g-%g:%g is %v (%v), want %s", c.first, c.last, c.step, got, err, c.want)
		}
	}
	for _, c := range [][3]float64{{60, 100, 0}, {60, 100, -5}, {0, 100, 5}, {60, -1, 5}, {60, 100, 0.01}} {
		if got, err := Percents(c[0], c[1], c[2]); err == nil {
			t.Errorf("%v: %v, want an error", c, got)
		}
	}
}

// What is played, pass by pass: count-in, heard, alone, rest.
func TestStudyPositions(t *testing.T) {
	s := held()
	p, err := s.Practice(Study{To: 3840, Tail: 960, Answer: true, Rest: 1, CountIn: 1, Ramp: []float64{0.5, 1}})
	if err != nil {
		t.Fatal(err)
	}
	c := newCursor(t, s, p, 48000)
	const bar = 96000 // at the full tempo
	var got []string
	var at int64
	for _, step := range []int64{1, 2 * bar, 2 * bar, bar / 2, 2 * bar, 2 * bar, bar / 2, 2 * bar, bar, bar / 4, bar, bar, bar / 4, bar} {
		// Half a bar into what lasts step.
		runCursor(c, at+step/2+1-c.now, at+step/2+1)
		pos, ok := c.Position(at + step/2)
		if !ok {
			t.Fatalf("no position at %d", at)
		}
		what := "heard"
		if pos.Kind == Alone {
			what = "alone"
		}
		if pos.CountIn {
			what += ", counted in"
		}
		if pos.Tail {
			what += ", tail"
		}
		got = append(got, fmt.Sprintf("%d %d %g%% %s:%.1f %s", pos.Pass, pos.Played, 100*pos.Scale, pos.Bar, pos.Beat, what))
		if at += step; step == 1 {
			at = 0
		}
	}
	want := []string{
		"0 0 50% :1.0 heard, counted in",
		"0 0 50% :3.0 heard, counted in",
		"0 1 50% 1:3.0 heard",
		"0 1 50% :1.5 heard, tail",
		"0 1 50% :4.0 heard, tail",
		"1 2 50% 1:3.0 alone",
		"1 2 50% :1.5 alone, tail",
		"1 2 50% :4.0 alone, tail",
		"2 3 100% 1:3.0 heard",
		"2 3 100% :1.5 heard, tail",
		"2 3 100% :4.0 heard, tail",
		"3 4 100% 1:3.0 alone",
		"3 4 100% :1.5 alone, tail",
		"3 4 100% :4.0 alone, tail",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}
