package voicing

import (
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"thumbline/theory"
)

// inBeats is a time in quarters.
func inBeats(t Tick) float64 { return float64(t) / float64(PerQuarter) }

// TestLeads: what belongs to a phrase that is played by itself, and when it comes
// round. Times are in quarters; the guitar strikes the tune and no more, as what
// is added differs. (Common practice, no source: what one who teaches would clap.)
func TestLeads(t *testing.T) {
	for _, c := range []struct {
		what, abc        string
		phrase           int
		lead             float64
		start, end, tail float64
	}{
		{"no pick-up anywhere: the bars as they are",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|G4|CDEF|GFED|CDEF|C4|\n", 0, 0, 0, 16, 0},
		{"a pick-up bar of a beat, the last bar lacks it",
			"M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C3|\n", 0, 0, 0, 16, 0},
		{"a pick-up bar of a beat, the last bar is whole and has room: it comes there",
			"M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C4|\n", 0, 0, 0, 16, 0},
		{"a pick-up bar, and the phrase before the next pick-up has no room of its own",
			"M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|EFGA|CDEF|GFED|CDEF|C4|\n", 0, 0, 0, 17, 3},
		{"the second phrase begins with the last beat of bar 4, and so does the first with that of bar 8",
			"M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C3G|CDEF|GFED|CDEF|C4|\n", 1, 1, 16, 32, 0},
		{"the first phrase leaves out the pick-up of the second, which its own comes in place of",
			"M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C3G|CDEF|GFED|CDEF|C4|\n", 0, 0, 0, 16, 0},
		{"without a pick-up of its own it leaves the next one out and is silent for as long",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|C2GA|CDEF|GFED|CDEF|C4|\n", 0, 0, 0, 14, 2},
		{"a pick-up of two beats in a waltz",
			"M:3/4\nL:1/8\nK:C\n\"C\"C2D2E2|G6|E2D2C2|G2EDCD|E2D2C2|G6|E2D2C2|C6|\n", 1, 2, 10, 22, 0},
		{"after the arrival on the second beat of a waltz",
			"M:3/4\nL:1/4\nK:C\n\"C\"CDE|G3|EDC|zG>F|EDC|G3|EDC|C3|\n", 1, 0.5, 11.5, 23.5, 0},
		{"three quavers in six",
			"M:6/8\nL:1/8\nK:C\n\"C\"CDE G3|EDC G3|CDE G3|C3 GAB|cBA G3|EDC G3|CDE G3|C6|\n", 1, 1.5, 10.5, 22.5, 0},
		{"a quaver after a dotted half in six",
			"M:6/8\nL:1/8\nK:C\n\"C\"CDE G3|EDC G3|CDE G3|C5 G|cBA G3|EDC G3|CDE G3|C6|\n", 1, 0.5, 11.5, 23.5, 0},
		{"the line goes on to the bar line: nothing leads",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|GAGF|ECEF|GFED|CDEF|C4|\n", 1, 0, 16, 32, 0},
		{"quavers without a rest: nothing leads",
			"M:4/4\nL:1/8\nK:C\n\"C\"CDEFGFED|CDEFGFED|CDEFGFED|CDEFGAGF|CDEFGFED|CDEFGFED|CDEFGFED|C8|\n", 1, 0, 16, 32, 0},
		{"the longest note is the last: it is the arrival",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|DEC2|CDEF|GFED|CDEF|C4|\n", 1, 0, 16, 32, 0},
		{"notes before a rest on the bar line belong to what they follow",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|C2ED|z2EF|GFED|CDEF|C4|\n", 1, 0, 16, 32, 0},
		{"a pick-up that is tied over the bar line",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEF|C2zG-|GDEF|GFED|CDEF|C4|\n", 1, 1, 15, 31, 0},
		{"quavers, of which the last comes early for the bar line",
			"M:4/4\nL:1/8\nK:C\n\"C\"CDEFGFED|CDEFGFED|CDEFGFED|CDEFGAGF-|F2EFGFED|CDEFGFED|CDEFGFED|C8|\n", 1, 0.5, 15.5, 31.5, 0},
		{"the arrival rings over the bar line: what follows leads on",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDEC-|C2EG|CDEF|GFED|CDEF|C4|\n", 1, 2, 14, 30, 0},
		{"a whole bar is no pick-up",
			"M:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|C4|EDEF|CDEF|GFED|CDEF|C4|\n", 1, 0, 16, 32, 0},
	} {
		a := alone(readABC(t, "X:1\n"+c.abc))
		start, end, tail := a.LoopPart(a.Phrases[c.phrase].From, a.Phrases[c.phrase].To)
		if lead := inBeats(a.lead(a.Phrases[c.phrase].From)); lead != c.lead || inBeats(start) != c.start || inBeats(end) != c.end || inBeats(tail) != c.tail {
			t.Errorf("%s: leads by %v, from %v to %v and %v of tail, want %v, %v, %v, %v", c.what,
				lead, inBeats(start), inBeats(end), inBeats(tail), c.lead, c.start, c.end, c.tail)
		}
	}
}

// alone is the tune on one string, with nothing beside it.
func alone(t *theory.Tune) *Arrangement {
	a := &Arrangement{Phrases: t.Phrases}
	for _, b := range t.Bars {
		a.Bars = append(a.Bars, Bar{Label: b.Label, At: ticks(b.At), Len: ticks(b.Len), Beat: ticks(b.Beat), Metre: b.Metre})
	}
	for _, n := range t.Melody {
		a.Notes = append(a.Notes, Note{At: ticks(n.At), Dur: ticks(n.Len), MIDI: n.Pitch.MIDI(), String: 1, Voice: Melody})
	}
	return a
}

// TestLoopSpan: bars as they are asked for, and what the guitar plays at the end.
func TestLoopSpan(t *testing.T) {
	pickup := "M:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C4|CDEF|GFED|CDEF|C3|\n"
	for _, c := range []struct {
		what             string
		from, to         int
		lead, trail      float64
		strike           []Note // beside the tune
		grip             float64
		start, end, tail float64
	}{
		{what: "bars inside", from: 2, to: 4, start: 5, end: 13},
		{what: "with the pick-up bar, to a bar with room", from: 0, to: 5, start: 0, end: 16},
		{what: "the same while the bass walks there", from: 0, to: 5, strike: []Note{{At: 16 * PerQuarter, Dur: 1}}, start: 0, end: 17, tail: 3},
		{what: "the same where it only fills the time", from: 0, to: 5, strike: []Note{{At: 16 * PerQuarter, Dur: 1, Fill: true}}, start: 0, end: 16},
		{what: "the same where the chord changes", from: 0, to: 5, strike: []Note{{At: 16 * PerQuarter, Dur: 1, Fill: true}}, grip: 16, start: 0, end: 17, tail: 3},
		{what: "to a bar without room", from: 0, to: 2, start: 0, end: 5, tail: 3},
		{what: "the whole tune", from: 0, to: 9, start: 0, end: 32},
		{what: "the last bar is short and nothing leads in", from: 5, to: 9, start: 17, end: 32, tail: 1},
		{what: "the pick-up alone", from: 0, to: 1, start: 0, end: 1, tail: 3},
		{what: "a lead that the tune has not", from: 0, to: 1, lead: 9, start: 0, end: 1, tail: 3},
		{what: "a lead and a longer one after it", from: 2, to: 5, lead: 1, trail: 2, start: 4, end: 15, tail: 1},
		{what: "a lead and a shorter one after it", from: 2, to: 5, lead: 2, trail: 1, start: 3, end: 15},
		{what: "no bars", from: 3, to: 3},
		{what: "bars that are none", from: 3, to: 11},
	} {
		a := alone(readABC(t, "X:1\n"+pickup))
		for _, n := range c.strike {
			k := 0
			for k < len(a.Notes) && a.Notes[k].At <= n.At {
				k++
			}
			a.Notes = append(a.Notes[:k:k], append([]Note{n}, a.Notes[k:]...)...)
		}
		if c.grip > 0 {
			a.Grips = []Placed{{At: Tick(c.grip * float64(PerQuarter))}}
		}
		start, end, tail := a.LoopSpan(c.from, c.to, Tick(c.lead*float64(PerQuarter)), Tick(c.trail*float64(PerQuarter)))
		if inBeats(start) != c.start || inBeats(end) != c.end || inBeats(tail) != c.tail {
			t.Errorf("%s: from %v to %v and %v of tail, want %v, %v, %v", c.what, inBeats(start), inBeats(end), inBeats(tail), c.start, c.end, c.tail)
		}
	}
}

// A bar that a sheet splits and counts as two goes round as one: its second part
// is the pick-up of what begins with it.
func TestLoopSplitBar(t *testing.T) {
	a := alone(readABC(t, "X:1\nM:4/4\nL:1/4\nK:C\n\"C\"CDEF|GFED|CDE|F|CDEF|GFED|C3|\n"))
	for i := range a.Bars {
		a.Bars[i].Label = strconv.Itoa(i + 1)
	}
	for _, c := range []struct {
		from, to         int
		start, end, tail float64
	}{
		{from: 3, to: 7, start: 11, end: 23},
		{from: 0, to: 3, start: 0, end: 11, tail: 1},
		{from: 0, to: 4, start: 0, end: 12},
	} {
		if start, end, tail := a.LoopPart(c.from, c.to); inBeats(start) != c.start || inBeats(end) != c.end || inBeats(tail) != c.tail {
			t.Errorf("bars %d to %d: from %v to %v and %v of tail, want %v, %v, %v", c.from, c.to, inBeats(start), inBeats(end), inBeats(tail), c.start, c.end, c.tail)
		}
	}
}

// The short last bar of a second ending is no pick-up, though it is called like one.
func TestLoopShortLastBar(t *testing.T) {
	a := alone(readABC(t, "X:1\nM:4/4\nL:1/4\nK:C\nG|\"C\"CDEF|GFED|CDEF|C3|\n"))
	a.Bars[4].Label = "3+"
	if start, end, tail := a.LoopPart(0, 5); start != 0 || inBeats(end) != 16 || tail != 0 {
		t.Errorf("from %v to %v and %v of tail", inBeats(start), inBeats(end), inBeats(tail))
	}
}

// TestAnyLoop: whatever is looped has whole bars, begins no later than its first
// bar, lies within the tune, and has the tune's own notes up to where the next
// phrase begins.
func TestAnyLoop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tune := randomTune(t)
		if n := tune.Bars[0].Len; len(tune.Bars) > 1 && rapid.Bool().Draw(t, "pick-up") {
			// cut down to a pick-up
			by := n.Mul(rapid.Int64Range(1, 7).Draw(t, "of it"), 8)
			tune.Bars[0].Label, tune.Bars[0].Len = "0", n.Sub(by)
			for i := range tune.Bars[1:] {
				tune.Bars[i+1].At = tune.Bars[i+1].At.Sub(by)
			}
		}
		a := alone(tune)
		full := a.Bars[0].full()
		from := rapid.IntRange(0, len(a.Bars)-1).Draw(t, "from")
		to := rapid.IntRange(from+1, len(a.Bars)).Draw(t, "to")
		lead := Tick(rapid.IntRange(0, int(full)-1).Draw(t, "lead"))
		trail := Tick(rapid.IntRange(0, int(full)-1).Draw(t, "trail"))
		start, end, tail := a.LoopSpan(from, to, lead, trail)
		last := a.Bars[to-1]
		if start < 0 || start > a.Bars[from].At || end <= start || end > last.At+last.Len || tail < 0 || tail >= 2*full {
			t.Fatalf("from %d to %d and %d of tail", start, end, tail)
		}
		if (end-start+tail)%full != 0 {
			t.Fatalf("from %d to %d and %d of tail are no whole bars of %d", start, end, tail, full)
		}
		for _, n := range a.Notes {
			if n.At >= end && n.At < last.At+last.Len-trail {
				t.Fatalf("from %d to %d: the note at %d is left out", start, end, n.At)
			}
		}
	})
}

// TestLoopSheets: phrases and sections of real sheets go round in whole bars where
// the metre holds, and their leads are less than a bar.
func TestLoopSheets(t *testing.T) {
	parts, leads := 0, 0
	everyTune(t, func(t *testing.T, a *Arrangement) {
		for i, p := range a.Phrases {
			lead := a.lead(p.From)
			if p.From > 0 && (lead < 0 || lead >= a.Bars[p.From-1].full()) {
				t.Fatalf("phrase %d leads by %d", i, lead)
			}
			if lead > 0 {
				leads++
				begins := a.Bars[p.From].At - lead
				found := false
				for _, n := range a.Notes {
					found = found || n.At == begins && n.Voice == Melody
				}
				if !found {
					t.Fatalf("phrase %d begins %d early, where the tune has no note", i, lead)
				}
			}
			start, end, tail := a.LoopPart(p.From, p.To)
			parts++
			short := false
			for k, b := range a.Bars[p.From:p.To] {
				short = short || b.Metre != a.Bars[p.From].Metre || b.Len != b.full() && k > 0 && k < p.To-p.From-1
			}
			if full := a.Bars[p.From].full(); !short && (end-start+tail)%full != 0 {
				t.Fatalf("phrase %d: from %d to %d and %d of tail are no whole bars of %d", i, start, end, tail, full)
			}
		}
	})
	t.Logf("%d phrases, %d with a lead", parts, leads)
	if parts == 0 || leads == 0 {
		t.Fatal("nothing was measured")
	}
}
