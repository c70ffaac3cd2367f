package voicing

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// corpusRows reads a table of the shared data, which is no part of the
// project.
func corpusRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no shared data to compare with")
	}
	f, err := os.Open(filepath.Join(dir, "corpus", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	var head []string
	var out []map[string]string
	for sc.Scan() {
		cells := strings.Split(sc.Text(), "\t")
		if head == nil {
			head = cells
			continue
		}
		row := map[string]string{}
		for i, h := range head {
			if i < len(cells) {
				row[h] = cells[i]
			}
		}
		out = append(out, row)
	}
	if err := sc.Err(); err != nil {
		t.Fatal(err)
	}
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

// publishedShape reads the frets and the printed fingers of a row of
// shapes.tsv; fingers holds the same notes with the printed finger fixed.
func publishedShape(t *testing.T, row map[string]string) (frets, fingers []Press) {
	t.Helper()
	fr, fi := strings.Fields(row["frets_low_to_high"]), strings.Fields(row["fingers_low_to_high"])
	if len(fr) != 6 || len(fi) != 6 {
		t.Fatalf("cannot read %q %q", row["frets_low_to_high"], row["fingers_low_to_high"])
	}
	for i := range fr {
		f, err := strconv.Atoi(fr[i])
		if err != nil {
			continue
		}
		d, _ := strconv.Atoi(fi[i])
		s := Stop{int8(6 - i), int8(f)}
		frets = append(frets, Press{s, 0})
		fingers = append(fingers, Press{s, int8(d)})
	}
	return frets, fingers
}

// TestPublishedShapes: every published shape whose fingering column is clean
// can be held at normal reach, with fingers of our own and with the printed
// ones, which are often the same.
func TestPublishedShapes(t *testing.T) {
	g := newGrasp(StandardNeck(), NormalHand())
	// Printed fingers that are not accepted: the index on string 2 and the second
	// finger on string 5 at one fret, crossed over three strings.
	exceptions := []string{"C7sg 3 1 2 0 1 0"}
	n, own, printed, same := 0, 0, 0, 0
	for _, row := range corpusRows(t, "shapes.tsv") {
		if row["note"] != "-" {
			continue
		}
		n++
		frets, fingers := publishedShape(t, row)
		what := fmt.Sprintf("%s %s fingers %s barre %s, %s mm", row["chord"], row["frets_low_to_high"],
			row["fingers_low_to_high"], row["barre_frets"], row["span_mm"])
		f, p := g.fingers(frets), g.fingers(fingers)
		if !f.ok {
			own++
			t.Errorf("not playable: %s", what)
		}
		if !p.ok {
			printed++
			if !slices.Contains(exceptions, row["chord"]+" "+row["frets_low_to_high"]) {
				t.Errorf("not with these fingers: %s", what)
			}
		}
		if f.finger == p.finger {
			same++
		}
	}
	share := func(k int) float64 { return 100 * float64(k) / float64(n) }
	t.Logf("%d shapes: %d playable, %d with the printed fingers (%.1f %%), which we find ourselves for %d (%.1f %%)",
		n, n-own, n-printed, share(n-printed), same, share(same))
	if n < 900 {
		t.Errorf("only %d shapes", n)
	}
	if share(same) < 85 {
		t.Errorf("our fingers are the printed ones for %.1f %% of the shapes, fewer than 85", share(same))
	}
}

// TestShuffledShapes: published shapes with some of their notes put elsewhere
// so that they stretch beyond reach, or lie at more frets than there are fingers,
// are not playable.
func TestShuffledShapes(t *testing.T) {
	neck, hand := StandardNeck(), NormalHand()
	g := newGrasp(neck, hand)
	r := rand.New(rand.NewPCG(20, 26))
	far, five := 0, 0
	for _, row := range corpusRows(t, "shapes.tsv") {
		if row["note"] != "-" {
			continue
		}
		shape, _ := publishedShape(t, row)
		for range 20 {
			ps := slices.Clone(shape)
			lo, hi, fretted := int8(maxFret), int8(0), 0
			used := map[int8]bool{}
			for i := range ps {
				if ps[i].Fret > 0 && r.IntN(2) == 0 {
					ps[i].Fret = int8(1 + r.IntN(neck.Frets))
				}
				if f := ps[i].Fret; f > 0 {
					fretted++
					used[f] = true
					lo, hi = min(lo, f), max(hi, f)
				}
			}
			switch {
			case fretted > 0 && neck.At(int(hi))-neck.At(int(lo)) > hand.Reach:
				far++
			case len(used) > 4:
				five++
			default:
				continue
			}
			if g.fingers(ps).ok {
				t.Errorf("%s %s shuffled is held: %v", row["chord"], row["frets_low_to_high"], ps)
			}
		}
	}
	t.Logf("%d beyond reach, %d at five frets or more", far, five)
	if far < 5000 || five == 0 {
		t.Errorf("only %d beyond reach and %d at five frets", far, five)
	}
}

// tuningsOf reads the tuning of each piece.
func tuningsOf(t *testing.T, name string) map[string]Neck {
	t.Helper()
	out := map[string]Neck{}
	for _, row := range corpusRows(t, name) {
		n := StandardNeck()
		switch row["tuning"] {
		case "E A D G B E":
		case "D A D G B E":
			n.Tuning[0] -= 2
		default:
			t.Fatalf("%s: tuning %q", row["piece"], row["tuning"])
		}
		out[row["piece"]] = n
	}
	return out
}

// A score note with what is printed beside it; -1 where nothing is.
type printedNote struct {
	midi, finger, str int
}

// playableSomewhere looks for strings for all the notes such that a hand holds
// them with the printed fingers.
func playableSomewhere(n Neck, g *grasp, notes []printedNote) bool {
	ps := make([]Press, len(notes))
	var put func(i int, used uint16) bool
	put = func(i int, used uint16) bool {
		if i == len(notes) {
			return g.fingers(ps).ok
		}
		p := notes[i]
		for _, st := range n.Stops(p.midi) {
			if used&(1<<st.String) != 0 || p.str >= 0 && int(st.String) != p.str || p.finger >= 0 && (p.finger == 0) != (st.Fret == 0) {
				continue
			}
			ps[i] = Press{st, int8(max(p.finger, 0))}
			if put(i+1, used|1<<st.String) {
				return true
			}
		}
		return false
	}
	return put(0, 0)
}

func pitches(t *testing.T, s string) (out []printedNote) {
	t.Helper()
	if s == "-" {
		return nil
	}
	for _, f := range strings.Fields(s) {
		m, err := strconv.Atoi(f)
		if err != nil {
			t.Fatalf("cannot read %q", s)
		}
		out = append(out, printedNote{m, -1, -1})
	}
	return out
}

// TestScores: what composers for the guitar wrote to be struck together can
// be held; what they wrote to ring on under it nearly always can too.
func TestScores(t *testing.T) {
	necks := tuningsOf(t, "sonorities-pieces.tsv")
	g := newGrasp(StandardNeck(), NormalHand())
	n, struck, all := 0, 0, 0
	for _, row := range corpusRows(t, "sonorities.tsv") {
		neck, ok := necks[row["piece"]]
		if !ok {
			t.Fatalf("no tuning for %s", row["piece"])
		}
		now, held := pitches(t, row["struck_midi"]), pitches(t, row["held_midi"])
		n++
		alone := playableSomewhere(neck, g, now)
		if !alone {
			struck++
			t.Logf("struck: %s %s: %s, %s mm", row["piece"], row["time_quarters"], row["struck_midi"], row["min_span_mm"])
		}
		if !alone || len(held) > 0 && !playableSomewhere(neck, g, append(held, now...)) {
			all++
		}
	}
	t.Logf("%d onsets: %d not playable as struck (%.2f %%), %d with what is held (%.2f %%)", n,
		struck, 100*float64(struck)/float64(n), all, 100*float64(all)/float64(n))
	if n < 20000 || float64(struck) > 0.005*float64(n) {
		t.Errorf("%d of %d struck sets not playable", struck, n)
	}
	if float64(all) > 0.01*float64(n) {
		t.Errorf("%d of %d sets with what is held not playable", all, n)
	}
}

// TestPrintedFingers: the fingers that editors print can be held. Those that
// are not accepted fall into three kinds. Most stretch beyond normal reach,
// however they are laid on the strings: a bass note written long that the
// editor's hand has left, or a true stretch on a shorter neck. Others have the
// fingers of an earlier note that is still written as sounding against fret
// order: the same note let go. A few have all notes struck at once, with
// fingers against fret order or crossed over four strings, as if one finger
// belonged to the note before or after.
func TestPrintedFingers(t *testing.T) {
	necks := tuningsOf(t, "fingered-pieces.tsv")
	g := newGrasp(StandardNeck(), NormalHand())
	n, far, held, odd := 0, 0, 0, 0
	for _, row := range corpusRows(t, "fingered.tsv") {
		if row["min_span_mm"] == "-" {
			continue
		}
		neck, ok := necks[row["piece"]]
		if !ok {
			t.Fatalf("no tuning for %s", row["piece"])
		}
		n++
		var notes []printedNote
		for _, f := range strings.Fields(row["notes"]) {
			p := printedNote{-1, -1, -1}
			i := strings.IndexAny(f, "+-")
			if i < 0 {
				t.Fatalf("cannot read %q", row["notes"])
			}
			p.midi, _ = strconv.Atoi(f[:i])
			for f = f[i+1:]; len(f) >= 2; f = f[2:] {
				switch d := int(f[1] - '0'); {
				case f[0] == 'f' && d <= 4: // a few scores print a string's number, 5, as if it were a finger
					p.finger = d
				case f[0] == 's' && d == 0: // and string 0 for an open one
					p.finger = 0
				case f[0] == 's':
					p.str = d
				}
			}
			notes = append(notes, p)
		}
		if playableSomewhere(neck, g, notes) {
			continue
		}
		kind := "all struck"
		mm, err := strconv.ParseFloat(row["min_span_mm"], 64)
		switch {
		case err != nil:
			t.Fatalf("cannot read %q", row["min_span_mm"])
		case mm > g.hand.Reach:
			far++
			kind = "beyond reach"
		case strings.Contains(row["notes"], "-"):
			held++
			kind = "with a held note"
		default:
			odd++
		}
		t.Logf("%s: %s %s: %s, %s mm, %s", kind, row["piece"], row["time_quarters"], row["notes"], row["min_span_mm"], row["unique_frets_low_to_high"])
	}
	bad := far + held + odd
	t.Logf("%d printed fingerings: %.2f %% accepted; %d are beyond reach, %d have a held note against fret order, %d are all struck",
		n, 100*float64(n-bad)/float64(n), far, held, odd)
	if n < 4000 || float64(bad) > 0.025*float64(n) {
		t.Errorf("%d of %d printed fingerings not accepted", bad, n)
	}
}
