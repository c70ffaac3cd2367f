package theory

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The differences from ../testdata/chords/chords.tsv. A quality that is not
// listed is read alike by both libraries and by us.
var referenceDiffers = []struct {
	quality string
	ours    string // whose reading we share: a library, or "neither"
	why     string
}{
	// Both libraries agree and we read otherwise.
	{"7b13", "neither", "b13 names a colour above the fifth, which stays; who wants it gone writes #5"},
	{"9b13", "neither", "as 7b13"},

	// They differ.
	{"m13", "chord-symbol", "a minor 13 holds its 11, which does not clash with a minor third; tonal leaves it out"},
	{"7b9b13", "tonal", "as 7b13: chord-symbol takes b13 for #5"},
	{"7#9b13", "tonal", "as 7b13: chord-symbol takes b13 for #5"},
	{"7b9#11b13", "tonal", "as 7b9b13"},
	{"7#9#11b13", "tonal", "as 7b9b13"},
	{"9#11b13", "tonal", "as 7b9b13"},
	{"7b5b9", "chord-symbol", "a flat fifth replaces the natural one; tonal has it beside as #11"},
	{"7b5#9", "chord-symbol", "a flat fifth replaces the natural one; tonal has it beside as #11"},
	{"7alt", "chord-symbol", "alt is all four alterations (common practice, no source); tonal has #5 and #9 only"},

	// One of them does not know the quality.
	{"13sus4b9", "chord-symbol", "tonal does not read it"},
	{"(add11)", "chord-symbol", "tonal does not read it"},
	{"m(maj11)", "chord-symbol", "tonal does not read it"},
	{"m11b5", "chord-symbol", "tonal does not read it"},
	{"6sus4", "chord-symbol", "tonal does not read it"},
	{"69sus4", "chord-symbol", "tonal does not read it"},
	{"7sus2", "chord-symbol", "tonal does not read it"},
}

// readDigits reads pitch classes written as digits, t and e for 10 and 11.
func readDigits(t *testing.T, s string) PCSet {
	t.Helper()
	var set PCSet
	for _, r := range s {
		pc := strings.IndexRune("0123456789te", r)
		if pc < 0 {
			t.Fatalf("%q is not pitch classes", s)
		}
		set = set.With(pc)
	}
	return set
}

// Chord symbols against two libraries of other hands: every quality of our
// table on twelve roots. Where both agree we do as well, or say why not.
func TestChordsOfOtherLibraries(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "testdata", "chords", "chords.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	roots := strings.Split(lines[0], "\t")[3:]
	if len(roots) != 12 {
		t.Fatalf("%d roots of 12: %v", len(roots), roots)
	}
	written := func(suffix string) string { // "major" is the bare root
		if suffix == "major" {
			return ""
		}
		return suffix
	}
	type row struct {
		form string
		sets []string
	}
	tables := map[string]map[string]row{"tonal": {}, "chord-symbol": {}}
	for i, line := range lines[1:] {
		cells := strings.Split(line, "\t")
		if len(cells) != 15 || tables[cells[1]] == nil {
			t.Fatalf("line %d: %d cells, library %q", i+2, len(cells), cells[1])
		}
		tables[cells[1]][written(cells[0])] = row{written(cells[2]), cells[3:]}
	}
	differs := map[string]string{}
	for _, d := range referenceDiffers {
		if d.why == "" || differs[d.quality] != "" {
			t.Errorf("%s is listed twice or without a reason", d.quality)
		}
		differs[d.quality] = d.ours
	}
	alike, compared := 0, 0
	for _, q := range qualities {
		a, inA := tables["tonal"][q.name]
		b, inB := tables["chord-symbol"][q.name]
		if !inA || !inB {
			t.Errorf("%q is not in the table; add it to make.mjs and run that again", q.name)
			continue
		}
		ours := "both"
		for i, root := range roots {
			c, err := ParseChord(root + q.name)
			if err != nil {
				t.Error(err)
				continue
			}
			share := "neither"
			switch inA, inB := a.form != "-" && readDigits(t, a.sets[i]) == c.PCs(), b.form != "-" && readDigits(t, b.sets[i]) == c.PCs(); {
			case inA && inB:
				share = "both"
			case inA:
				share = "tonal"
			case inB:
				share = "chord-symbol"
			}
			if i > 0 && share != ours {
				t.Errorf("%v is shared by %s, %s%s by %s", c, share, roots[0], q.name, ours)
			}
			ours = share
			// The other spellings are ours as well.
			for _, form := range []string{a.form, b.form} {
				if form == "-" {
					continue
				}
				if other, err := ParseChord(root + form); err != nil || other != c {
					t.Errorf("%s%s is %v, %v, want %v", root, form, other, err, c)
				}
			}
			compared++
		}
		want := differs[q.name]
		if want == "" {
			want = "both"
			alike++
		}
		if ours != want {
			t.Errorf("C%s: tonal %s, chord-symbol %s, ours %v is shared by %s; listed is %s", q.name, a.sets[0], b.sets[0], MustChord("C"+q.name).PCs().Members(), ours, want)
		}
		delete(differs, q.name)
	}
	for name := range differs {
		t.Errorf("%s is listed but is no quality", name)
	}
	t.Logf("%d chords compared; %d of %d qualities read alike by all three", compared, alike, len(qualities))
}
