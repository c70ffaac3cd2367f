package theory

import (
	"slices"
	"strings"
)

// A Use is one way to play a chord symbol out of a scale.
type Use struct {
	Scale Scale
	// Dim says that the chord stands on the odd steps (7b9, dim7).
	Dim bool
	// Tension of harmony.md 3.2: 0 chord tones and 6; 1 9, 13, maj7; 2 sus,
	// #11, b13 passing; 3 b9; 4 two or more of b9 #9 #11 b13.
	Tension int
	// Degrees against the written root of the steps that carry the chord, from
	// the scale's first (or second) step: "5 b7 9 3".
	Degrees string
}

// A useRow is one scale for a class of chords: root in semitones above the
// chord's root.
type useRow struct {
	rel     int
	family  Family
	dim     bool
	tension int
}

// A chordClass is a group of rows of harmony.md 3.2: which chords it is for and
// what may be played, the first choice first, then by tension.
type chordClass struct {
	name string
	fits func(c Chord) bool
	rows []useRow
}

// The substitution table, harmony.md 3.2 (sources there), with 3.4 rule 5 for
// the rows of melody notes. The first class that fits a chord counts. Rows that
// a dominant can only pass through (those without its 3 and b7) are left out.
var classes = []chordClass{
	{"none", func(c Chord) bool { return c.NoChord || c.Kind == Power }, nil},

	{"maj7#11", func(c Chord) bool { return c.Kind == Major && c.Tones.Has(6) }, []useRow{
		{9, Minor6, false, 2}, // 13 1 3 #11
		{0, Major6, false, 0},
		{7, Major6, false, 1}, // 5 7 9 3
	}},
	{"maj7#5", func(c Chord) bool { return c.Kind == Major && c.Tones.Has(8) && c.Tones.Has(11) }, []useRow{
		{0, Major6, false, 2}, // its 5 borrowed up
		{4, Major6, false, 2}, // 3 b13 7 b9: its 6 borrowed down
		{9, Minor6, false, 2}, // its 6 borrowed up
	}},
	{"major", func(c Chord) bool { return c.Kind == Major }, []useRow{
		{0, Major6, false, 0},
		{7, Major6, false, 1}, // 5 7 9 3
		{9, Minor6, false, 2}, // 13 1 3 #11
	}},

	{"m11", func(c Chord) bool {
		return c.Kind == Minor && c.Tones.Has(10) && c.Tones.Has(5) && !c.Tones.Has(9)
	}, []useRow{
		{10, Major6, false, 1}, // b7 9 11 5
		{3, Major6, false, 0},
		{0, Minor6, false, 1},
	}},
	{"m7", func(c Chord) bool { return c.Kind == Minor && c.Tones.Has(10) }, []useRow{
		{3, Major6, false, 0},  // b3 5 b7 1
		{10, Major6, false, 1}, // b7 9 11 5
		{0, Minor6, false, 1},  // the 13 on top
	}},
	{"minor", func(c Chord) bool { return c.Kind == Minor }, []useRow{
		{0, Minor6, false, 0},
		{3, Major6, false, 1}, // the b7 on top
	}},

	{"m7b5", func(c Chord) bool { return c.Kind == HalfDiminished }, []useRow{
		{3, Minor6, false, 0},
	}},

	// A passing diminished leads a semitone up, most often to a minor seventh,
	// whose scale is the major sixth on its third.
	{"dim", func(c Chord) bool { return c.Kind == Diminished }, []useRow{
		{4, Major6, true, 3},
		{1, Minor6, true, 3},
		{1, Major6, true, 3},
		{7, Major6, true, 3},
		{7, Minor6, true, 3},
		{10, Major6, true, 3},
		{4, Minor6, true, 3},
		{10, Minor6, true, 3},
	}},
	{"aug", func(c Chord) bool { return c.Kind == Augmented }, []useRow{
		{1, Minor6, false, 3}, // its 1 borrowed down: 1 3 b13 b7
	}},

	{"7sus4b9", func(c Chord) bool { return c.Kind == Suspended && c.Tones.Has(10) && c.Tones.Has(1) }, []useRow{
		{10, Minor6, false, 3}, // b7 b9 11 5
		{10, Major6, false, 2},
	}},
	{"7sus4", func(c Chord) bool { return c.Kind == Suspended && c.Tones.Has(10) }, []useRow{
		{10, Major6, false, 2}, // b7 9 11 5
		{10, Minor6, false, 3},
	}},
	{"sus", func(c Chord) bool { return c.Kind == Suspended }, []useRow{
		{0, Major6, false, 2}, // its 3 borrowed up or down
		{10, Major6, false, 2},
	}},

	{"13b9", func(c Chord) bool {
		return c.Kind == Dominant && c.Tones.Has(1) && c.Tones.Has(9) && !c.Tones.Has(8)
	}, []useRow{
		{5, Major6, true, 3}, // its 5 borrowed up to 13
		{5, Minor6, true, 3},
		{1, Minor6, false, 4}, // its 5 borrowed up: b9 3 13 b7
	}},
	{"alt", altered, []useRow{
		{1, Minor6, false, 4}, // b9 3 b13 b7
		{5, Minor6, true, 3},
		{6, Seventh, false, 4}, // #11 b7 b9 3
	}},
	{"7b9", func(c Chord) bool { return c.Kind == Dominant && c.Tones.Has(1) }, []useRow{
		{5, Minor6, true, 3}, // 3 5 b7 b9, from the minor key it leads to
		{5, Major6, true, 3},
		{10, Minor6, false, 3}, // the suspension of it
		{1, Minor6, false, 4},
		{6, Seventh, false, 4},
	}},
	{"7#11", func(c Chord) bool { return c.Kind == Dominant && c.Tones.Has(6) }, []useRow{
		{0, SeventhFlat5, false, 2}, // 1 3 #11 b7
		{7, Minor6, false, 2},       // its 1 borrowed down: #11 b7 9 3
		{1, Minor6, false, 4},
	}},
	{"7", func(c Chord) bool { return c.Kind == Dominant }, []useRow{
		{7, Minor6, false, 1},  // 5 b7 9 3
		{0, Seventh, false, 0}, // static: 1 3 5 b7
		{10, Major6, false, 2}, // suspended
		{5, Major6, true, 3},   // 7b9
		{5, Minor6, true, 3},
		{10, Minor6, false, 3}, // suspended with b9
		{1, Minor6, false, 4},  // altered
		{6, Seventh, false, 4}, // tritone
	}},
}

// altered reports the dominants of the row 7alt, 7#5, 7b9b13, 7#9: a #9, a #5
// or b13, or b9 with #11.
func altered(c Chord) bool {
	t := c.Tones
	return c.Kind == Dominant && (t.Has(3) || t.Has(8) || t.Has(1) && t.Has(6))
}

// Uses lists the scales for a chord symbol by harmony.md 3.2: the first choice
// first, the others by tension. Power chords and N.C. have none.
func Uses(c Chord) []Use {
	for _, class := range classes {
		if !class.fits(c) {
			continue
		}
		var uses []Use
		for _, r := range class.rows {
			uses = append(uses, r.over(c))
		}
		if len(uses) > 1 {
			slices.SortStableFunc(uses[1:], func(a, b Use) int { return a.Tension - b.Tension })
		}
		return uses
	}
	return nil
}

func (r useRow) over(c Chord) Use {
	return Use{Scale: NewScale(c.RootPC()+r.rel, r.family), Dim: r.dim, Tension: r.tension, Degrees: r.degrees()}
}

// degrees are the even or odd steps against the chord's root.
func (r useRow) degrees() string {
	from := 0
	if r.dim {
		from = 1
	}
	var b strings.Builder
	for i := from; i < 8; i += 2 {
		if i > from {
			b.WriteByte(' ')
		}
		b.WriteString(degreeNames[mod12(r.rel+families[r.family].semitones[i])])
	}
	return b.String()
}

// FirstChoice is the first of Uses, without regard to what stands around the
// chord. A chord without uses gives the zero Use, whose Degrees are empty.
func FirstChoice(c Chord) Use {
	if uses := Uses(c); len(uses) > 0 {
		return uses[0]
	}
	return Use{}
}

// A Context is what stands around a chord. A Prev or Next whose NoChord is true
// says that there is none.
type Context struct {
	Prev, Next Chord
	Key        Key
}

// UsesIn is Uses with the first choice moved by what stands around the chord:
//   - a 7b9 is taken from the major or minor key it leads to (harmony.md 3.2);
//   - a dominant after the half-diminished a fifth above it is altered (3.2,
//     V7 in minor);
//   - a diminished takes the scale of the chord that comes next if that holds
//     it, and the scale on its fifth if it decorates that chord (3.4, rule 12);
//   - a minor triad on 2, 3 or 6 of a major key is played as a minor seventh,
//     and a minor seventh on 3 may be played from the tonic's scale (3.3).
func UsesIn(c Chord, ctx Context) []Use {
	uses := Uses(c)
	if len(uses) == 0 {
		return nil
	}
	root := c.RootPC()
	degree := mod12(root - ctx.Key.Tonic.PC())
	leads := !ctx.Next.NoChord && mod12(ctx.Next.RootPC()-root) == 5
	switch {
	case c.Kind == Dominant && uses[0].Dim && leads && !c.Tones.Has(9):
		switch ctx.Next.Kind {
		case Minor, HalfDiminished, Diminished:
			return preferred(uses, useRow{5, Minor6, true, 3}.over(c))
		case Major, Augmented:
			return preferred(uses, useRow{5, Major6, true, 3}.over(c))
		}
	case c.Kind == Dominant && uses[0].Scale == NewScale(root+7, Minor6) &&
		!ctx.Prev.NoChord && ctx.Prev.Kind == HalfDiminished && mod12(ctx.Prev.RootPC()-root) == 7:
		return preferred(uses, useRow{1, Minor6, false, 4}.over(c))
	case c.Kind == Diminished && !ctx.Next.NoChord:
		if ctx.Next.RootPC() == root {
			return preferred(uses, useRow{7, Major6, true, 3}.over(c))
		}
		next := FirstChoice(ctx.Next)
		if dim := c.Tones.Rotate(root) & tonesOfDim7(root); next.Degrees != "" && next.Scale.Dim()&dim == dim {
			rel := mod12(next.Scale.Root.PC() - root)
			return preferred(uses, useRow{rel, next.Scale.Family, true, 3}.over(c))
		}
	case c.Kind == Minor && c.Tones&tones(9, 10, 11) == 0 && !ctx.Key.Minor && (degree == 2 || degree == 4 || degree == 9):
		return preferred(uses, useRow{3, Major6, false, 0}.over(c))
	case c.Kind == Minor && c.Tones.Has(10) && !ctx.Key.Minor && degree == 4:
		return append(uses, useRow{8, Major6, false, 2}.over(c))
	}
	return uses
}

func tonesOfDim7(root int) PCSet { return tones(0, 3, 6, 9).Rotate(root) }

// preferred puts u in front; where the list has its scale already, it moves.
func preferred(uses []Use, u Use) []Use {
	out := []Use{u}
	for _, v := range uses {
		if v.Scale != u.Scale || v.Dim != u.Dim {
			out = append(out, v)
		}
	}
	return out
}
