package voicing

import (
	"bufio"
	"os"
	"path/filepath"
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
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

// TestPublishedShapes: every published shape whose fingering column is clean
// can be held at normal reach.
func TestPublishedShapes(t *testing.T) {
	g := newGrasp(StandardNeck(), NormalHand())
	n, bad := 0, 0
	for _, row := range corpusRows(t, "shapes.tsv") {
		if row["note"] != "-" {
			continue
		}
		var ps []Press
		for i, c := range strings.Fields(strings.ReplaceAll(row["frets_low_to_high"], ",", " ")) {
			if f, err := strconv.Atoi(c); err == nil {
				ps = append(ps, Press{Stop{int8(6 - i), int8(f)}, 0})
			}
		}
		if len(ps) < 3 {
			t.Fatalf("cannot read %q", row["frets_low_to_high"])
		}
		n++
		if !g.fingers(ps).ok {
			bad++
			if bad < 12 {
				t.Logf("%s %s: not playable", row["chord"], row["frets_low_to_high"])
			}
		}
	}
	if n < 900 || bad > 0 {
		t.Errorf("%d of %d shapes not playable", bad, n)
	}
}
