package leadsheet

import (
	"strings"
	"testing"
	"unicode"
)

// What a sheet says goes to a terminal, where control characters are commands:
// none comes through, from neither format.
func TestNoControlCharacters(t *testing.T) {
	abc := "X:1\nT:Red \u009b31m\nC:me\u009b\nM:4/4\nL:1/4\nQ:\"fast\u009b2J\" 1/4=100\nK:C\nP:A\u009b1m\n\"C\"c\"C7\"d e f|\"C\"c\"Cz\u009b7\"d e f|\"x\u009by\"c4|\n\nX:2\nT:Two\u009b\nK:C\n"
	long := "X:1\n" + strings.Repeat("% remarks\n", 500) + "T:Red \x1b[31m\nK:C\n\"C\"c2\"C\x1b7\"d2|\n"
	score := "<score-partwise><work><work-title>Red&#x9b;31m</work-title></work><part id='P1'><measure number='1&#x9b;'><direction><direction-type><words>fast&#x9b;</words></direction-type><sound tempo='100'/></direction>" +
		"<direction><direction-type><rehearsal>A&#x9b;</rehearsal></direction-type></direction>" +
		"<harmony><root><root-step>C</root-step></root><kind text='&#x9b;'>bogus&#x9b;</kind></harmony><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>"
	for _, sheet := range []string{abc, long, score} {
		in, err := Inspect(strings.NewReader(sheet), "test", Options{})
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, f := range in.Faults {
			said = append(said, f.Error())
		}
		if in.Tune == nil {
			t.Fatalf("nothing was read: %v", in.Faults)
		}
		said = append(said, in.Tune.Title, in.Tune.Composer)
		for _, w := range in.Tune.Warnings {
			said = append(said, w.Text)
		}
		for _, s := range in.Tune.Sections {
			said = append(said, s.Name)
		}
		for _, m := range in.Tune.Tempi {
			said = append(said, m.Text)
		}
		for _, b := range in.Tune.Bars {
			said = append(said, b.Label)
		}
		if list, err := List(strings.NewReader(sheet), "test"); err == nil {
			for _, e := range list {
				said = append(said, e.Title)
			}
		}
		for _, s := range said {
			if strings.ContainsFunc(s, unicode.IsControl) {
				t.Errorf("a control character comes through: %q", s)
			}
		}
	}
}
