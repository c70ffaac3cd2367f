package leadsheet

import (
	"bufio"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thumbline/theory"
)

// decided are the spellings on which chord libraries do not agree, or about
// which none says anything, with what they are read as and why. Those of one
// root stand for all roots. "-" is text or a bass note, which is left out with a
// warning; "!" is refused. Common practice, no source.
var decided = []struct{ symbol, want, why string }{
	// The two libraries and a score's own encoding differ.
	{"C11", "C9sus4", "the third rubs against the eleventh and is left out"},
	{"C13", "C13", "the eleventh rubs against the third and is left out"},
	{"C13b9", "C13b9", "without its eleventh as C13, and with its root"},
	{"Cm13", "Cm13", "over a minor third the eleventh is free: it stays"},
	// One library alone has an opinion.
	{"C7(b9)", "C7b9", "brackets change nothing"},
	{"C7(#5)", "C7#5", "brackets change nothing"},
	{"Cm7(b5)", "Cm7b5", "brackets change nothing"},
	{"Cm(ma7)", "Cm(maj7)", "ma is major"},
	{"C7+5", "C7#5", "+ before a degree raises it"},
	{"C79", "C9", "the degrees one after the other"},
	{"Cmi", "Cm", "mi is minor"},
	{"Calt", "C7alt", "only a dominant is altered"},
	{"Caug9", "C9#5", "a ninth chord with its fifth raised"},
	{"Cmaj11", "Cmaj9sus4", "as the 11: without the third that rubs"},
	{"Cmmaj7", "Cm(maj7)", "the triad, then the seventh"},
	{"Cmmaj9", "Cm(maj9)", "the triad, then seventh and ninth"},
	{"Cmmaj11", "Cm(maj11)", "over a minor third the eleventh is free"},
	{"Cmaj7b5", "Cmaj7b5", "the fifth lowered"},
	{"Cmmaj7b5", "Cdim(maj7)", "the fifth lowered: a diminished triad with a major seventh"},
	// No library reads them.
	{"C/dim", "Cdim", "a slash before the quality, in older files; dim is no bass note"},
	{"E7/b9", "E7b9", "a slash before an alteration; b9 is no bass note"},
	{"/@<.5A7", "A7", "an offset for print stands before it"},
	{"/@>.5A7", "A7", "an offset for print stands before it"},
	{"C  drone", "C", "a word for the player behind it"},
	{"D/nF", "D/F", "n is a natural before the bass note"},
	{"Dm G7", "Dm G7", "two symbols in one text share the time"},
	{"G  C", "G C", "two symbols in one text share the time"},
	{"g G", "G", "a bass note before the symbol"},
	{"(e d+ d c+)", "-", "a row of bass notes, no chord"},
	{"f/+", "-", "a bass note, F sharp"},
	{"f/=", "-", "a bass note, F natural"},
	{"3", "-", "a figure over the staff, of a tuplet or a finger"},
	{"C²", "!", "a second, or the sign of a major seventh in the letters of a font: the player must say"},
	{"C7sg", "!", "no chord is called so"},
	// On which readers are divided though no list here has them.
	{"C2", "C(add9)", "a second beside the third; sus2 says when it stands in its place"},
	{"C4", "Csus4", "a fourth in place of the third; add4 says when it stands beside it"},
	{"C5", "C5", "root and fifth alone"},
	{"C#5", "C#5", "the sharp belongs to the root; C(#5) raises the fifth"},
	{"C-5", "C(b5)", "- before a degree lowers it; C- alone is minor"},
	{"C-7", "Cm7", "- behind the root is minor"},
	{"C+7", "C7#5", "+ behind the root is augmented"},
	{"C7+", "C7#5", "+ at the end is augmented"},
	{"Cm+7", "Cm(maj7)", "a raised seventh over a minor triad"},
	{"Cmaj+7", "Cmaj7", "a raised seventh over a major triad"},
	{"C7b13", "C7b13", "b13 lies beside the fifth; #5 replaces it"},
	{"C7#11", "C7#11", "#11 lies beside the fifth; b5 replaces it"},
	{"C^", "Cmaj7", "the triangle of a typewriter"},
	{"C△", "Cmaj7", "the triangle alone has its seventh"},
	{"Ch7", "Cm7b5", "h is half-diminished"},
	{"Co", "Cdim", "the circle alone is a triad"},
	{"C/9", "C(add9)", "no bass note: the ninth of a triad"},
	{"C7/4", "C7sus4", "no bass note: the fourth in place of the third"},
	{"C6/9", "C69", "no bass note: sixth and ninth"},
	{"am", "Am", "a small letter with a quality: minor is minor"},
	{"g7", "G7", "a small letter alone makes no minor seventh"},
	{"bbMAJ7", "Bbmaj7", "a small letter with a quality in capitals"},
	{"dMin7b5", "Dm7b5", "a small letter with a quality in capitals"},
	{"eø7", "Em7b5", "a small letter with a sign"},
	{"c-7", "Cm7", "a small letter with a sign"},
	{"a", "-", "a small letter alone is a bass note"},
	{"Hm", "!", "German names are not read"},
	{"Es7", "!", "German names are not read"},
	{"V7", "!", "a degree of the key is no chord symbol"},
	{"%", "", "the same chord again"},
	{"G;Em", "G", "the second is for choice (ABC 2.1, 4.18)"},
	{"G(Em)", "G", "the second is for choice (ABC 2.1, 4.18)"},
	{"Dm7-G7", "Dm7 G7", "- between two symbols joins them"},
}

// readAs is what a text is read as, in the words of the table.
func readAs(text string) string {
	r := readSymbol(text)
	var chords []string
	for _, c := range r.chords {
		chords = append(chords, c.String())
	}
	switch {
	case r.fault != "":
		return "!"
	case len(chords) == 0 && r.note != "":
		return "-"
	}
	return strings.Join(chords, " ")
}

func TestDecidedSymbols(t *testing.T) {
	seen := make(map[string]bool)
	for _, d := range decided {
		if seen[d.symbol] {
			t.Errorf("%q is decided twice", d.symbol)
		}
		seen[d.symbol] = true
		if d.why == "" {
			t.Errorf("%q is decided without a reason", d.symbol)
		}
		if got := readAs(d.symbol); got != d.want {
			t.Errorf("%q is read as %q, want %q: %s", d.symbol, got, d.want, d.why)
		}
	}
}

// Every row of the shared list on which its readers do not agree is decided,
// the others have the pitch classes of all that read them.
func TestSharedSymbols(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: the list of chord symbols is not at hand")
	}
	f, err := os.Open(filepath.Join(dir, "corpus", "chord-symbols.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table := make(map[string]string)
	for _, d := range decided {
		table[d.symbol] = d.want
	}
	counts := make(map[string]int)
	lines := bufio.NewScanner(f)
	lines.Scan() // the heads
	for lines.Scan() {
		cells := strings.Split(lines.Text(), "\t")
		symbol, verdict := cells[0], cells[len(cells)-1]
		counts[verdict]++
		if verdict == "single bass note" {
			if got := readAs(symbol); got != "-" {
				t.Errorf("%q: a bass note is read as %q", symbol, got)
			}
			continue
		}
		r := readSymbol(symbol)
		if verdict == "agree2" || verdict == "agree3" {
			want := cells[5]
			if want == "-" {
				want = cells[4]
			}
			if len(r.chords) != 1 || r.fault != "" || pitchClasses(r.chords[0]) != want {
				t.Errorf("%q: %v %s, want %s", symbol, r.chords, r.fault, want)
			}
			continue
		}
		want, ok := table[symbol]
		if !ok { // with its root moved to C
			if root, err := theory.ParseChord(rootOf(symbol)); err == nil {
				if want, ok = table["C"+strings.TrimPrefix(symbol, rootOf(symbol))]; ok {
					want = root.Root.String() + strings.TrimPrefix(want, "C")
				}
			}
		}
		if got := readAs(symbol); !ok || got != want {
			t.Errorf("%q (%s) is read as %q, decided is %q (%v)", symbol, verdict, got, want, ok)
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if counts["agree2"] < 200 || counts["agree3"] < 200 || counts["one"] < 50 {
		t.Fatalf("too few rows: %v", counts)
	}
	t.Logf("rows: %v", counts)
}

func rootOf(symbol string) string {
	n := 1
	if len(symbol) > 1 && (symbol[1] == '#' || symbol[1] == 'b') {
		n = 2
	}
	return symbol[:n]
}

// pitchClasses are those of the chord with its bass, as the list writes them.
func pitchClasses(c theory.Chord) string {
	var out []string
	for _, pc := range c.PCs().Members() {
		out = append(out, string("0123456789"[pc%10]))
		if pc >= 10 {
			out[len(out)-1] = "1" + out[len(out)-1]
		}
	}
	return strings.Join(out, " ")
}
