package theory

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestGripName(t *testing.T) {
	for _, c := range []struct{ notes, over, want, source string }{
		// Notes low to high. From the four models, the written chord beside them.
		{"Bb A D G", "Bb6", "Bbmaj13", "swing-a 1:1"},
		{"F D Bb", "Bb6", "Bb/F", "swing-a 1:3"},
		{"G F B Ab", "G7", "G7b9", "swing-a 2:1"},
		{"G C Eb Bb", "Cm7", "Cm7/G", "swing-a"},
		{"A F C", "Dm", "Dm7/A, no root", "minor-a 3:4"},
		{"F# A B F", "D7", "D6(#9)/F#, no root", "minor-a 4:2.5"},
		{"E D G# Bb", "E7alt", "E7b5", "common practice"},
		{"E F D G# C", "E7", "E7alt", "ballad-end 4:4"},
		{"D F A C#", "Dm", "Dm(maj7)", "minor-a 3:2.5"},
		{"F# C Eb A", "F#dim7", "F#dim7", "swing-a"},
		{"A E B Db G", "A7", "A9", "ballad-end 5:1"},
		{"E B D G", "Gmaj7", "Em7", "ballad-end 7:3.5"},
		{"Eb Bb D G", "Cm7", "Cm9/Eb, no root", "common practice"},
		{"Eb Bb D G", "Gm7", "Ebmaj7", "not of the written chord"},
		{"A Eb Gb C", "Bb6", "Adim7", "harmony.md 2.2"},
		{"A Eb F# C", "D7", "D7b9/A, no root", "the diminished of D7b9"},
		{"F Ab D", "G7", "G7b9/F, no root, no 3", "its upper three"},
		{"F A C E", "Dm7", "Dm9/F, no root", "common practice"},
		{"F A C D", "G7", "G9sus4/F, no root", "harmony.md 2.2: G9sus4"},
		{"E G Bb D", "Em7b5", "Em7b5", "common practice"},
		{"E D G", "Em7b5", "Em7b5", "a shell"},
		// Over a bass that is none of the chord's.
		{"D C Eb A", "F#dim7/D", "D7b9, no 3", "harmony.md 2.2: the diminished over the root of the dominant"},
		{"D F# C Eb", "F#dim7/D", "D7b9", "the same"},
		{"D A F# C", "F#dim7/D", "D7", "the same, with the plain fifth"},
		{"D C G Bb", "Eb6/D", "Eb6/D", "nothing but the chord above its bass"},
		{"A G Bb E", "Gm6/A", "Gm6/A", "the same"},
		{"D F C# B", "Dm6", "Dm(maj13)", "common practice"},
		{"Db F Ab", "N.C.", "Db", "no chord, down into one"},
		// Two and one.
		{"Bb F", "Bb6", "Bb5", "common practice"},
		{"F Bb", "Bb6", "Bb5/F", "common practice"},
		{"Bb D", "Bb6", "Bb and D", "common practice"},
		{"B F", "G7", "G7, no root", "guide tones"},
		{"C Bb", "Cm7", "Cm7, no 3", "root and seventh"},
		{"C Eb", "N.C.", "C and Eb", "no chord"},
		{"Bb", "Bb6", "Bb", "one note"},
		{"C E G", "N.C.", "C", "no chord"},
		{"E G C", "C5", "C/E", "a power chord says little"},
	} {
		if c.source == "" {
			continue
		}
		pcs := names(c.notes)
		if got := GripName(setOf(c.notes), pcs[0], MustChord(c.over)); got != c.want {
			t.Errorf("%s over %s: %q, want %q (%s)", c.notes, c.over, got, c.want, c.source)
		}
	}
	if got := GripName(0, 0, MustChord("C")); got != "" {
		t.Errorf("silence is called %q", got)
	}
	// In a trio the bass player's root counts.
	if got := GripName(setOf("Bb Eb"), mustName("C").PC(), MustChord("Cm7")); got != "Cm7" {
		t.Errorf("Bb and Eb over a bass player's C: %q", got)
	}
}

// harmony.md 2.2: the sixteen borrowings of Bb maj6dim as what they are, over
// any bass; either reading of the table.
func TestGripNameOfBorrowed(t *testing.T) {
	for _, c := range []struct{ notes, want string }{
		{"C D F G", "G7sus4"}, {"A D F G", "Dm(add11)"}, {"Bb Eb F G", "Eb(add9)"}, {"Bb C F G", "C7sus4"},
		{"Bb D Gb G", "Gm(maj7)"}, {"Bb D Eb G", "Ebmaj7"}, {"Bb D F A", "Bbmaj7"}, {"Bb D F Gb", "Gbmaj7#5"},
		{"D Eb Gb A", "Ebdim(maj7)"}, {"Bb Eb Gb A", "Ebm(add#11)"}, {"C F Gb A", "Gbdim(maj7)"}, {"C D Gb A", "D7"},
		{"C Eb G A", "Am7b5 Cm6"}, {"C Eb F A", "F7"}, {"C Eb Gb Bb", "Cm7b5 Ebm6"}, {"C Eb Gb G", "Cm(add#11)"},
	} {
		for _, bass := range names(c.notes) {
			name := GripName(setOf(c.notes), bass, MustChord("NC"))
			name, _, _ = strings.Cut(name, "/")
			ok := false
			for want := range strings.FieldsSeq(c.want) {
				ok = ok || name == want
			}
			if !ok {
				t.Errorf("%s over %v: %s, want %s", c.notes, plainName(bass, false), name, c.want)
			}
		}
	}
}

// harmony.md 2.4: minor sixths and diminished over G7, with the root below.
func TestGripNameOverDominant(t *testing.T) {
	for _, c := range []struct{ notes, want string }{
		{"D F A B", "G9"}, {"E F A B", "G13"}, {"C# F A B", "G9#11"}, {"D F Bb B", "G7#9"}, {"D F G B", "G7"}, {"D E A B", "G69"},
		{"Ab B Eb F", "G7alt"}, {"Bb B Eb F", "G7alt"}, {"G B Eb F", "G7#5"}, {"Ab B E F", "G13b9"}, {"Ab B Db F", "G7b9#11"},
		{"D F Ab B", "G7b9"},
	} {
		if got := GripName(setOf(c.notes), 7, MustChord("G7")); got != c.want {
			t.Errorf("%s over G: %s, want %s", c.notes, got, c.want)
		}
	}
}

func TestGripNameOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(qualities).Draw(t, "quality")
		root := plainName(rapid.IntRange(0, 11).Draw(t, "root"), rapid.Bool().Draw(t, "sharp"))
		over := NewChord(root, q.tones, root)
		pcs := PCSet(rapid.IntRange(1, 0xfff).Draw(t, "notes"))
		bass := rapid.SampledFrom(pcs.Members()).Draw(t, "bass")
		name := GripName(pcs, bass, over)
		// But for two notes, the name is a chord symbol whose bass is the bass.
		symbol, _, _ := strings.Cut(name, ",")
		if strings.Contains(symbol, " and ") || pcs.Len() < 3 {
			return
		}
		c, err := ParseChord(symbol)
		if err != nil || c.BassPC() != bass {
			t.Fatalf("%v over %v with bass %d: %q is %v, %v", pcs.Members(), over, bass, name, c, err)
		}
		// What sounds is in the name.
		if left := pcs &^ c.PCs(); left != 0 && c.Suffix != "7alt" {
			t.Fatalf("%v over %v: %q leaves out %v", pcs.Members(), over, name, left.Members())
		}
	})
}
