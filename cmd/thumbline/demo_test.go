package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thumbline/midiio"
)

var update = flag.Bool("update", false, "write the golden files")

// TestDemo keeps the built-in tune as text that a player can check: the tab,
// the reasons, and what the MIDI file holds. When the arranger changes, write
// them anew with -update and read the difference.
func TestDemo(t *testing.T) {
	dir := t.TempDir()
	tool := func(args ...string) string {
		t.Helper()
		var out, bad bytes.Buffer
		e := &env{stdin: strings.NewReader(""), stdout: &out, stderr: &bad, now: time.Now, sound: fakeSound("none")}
		if code := run(context.Background(), args, e); code != 0 {
			t.Fatalf("%v: status %d: %s", args, code, bad.String())
		}
		return out.String()
	}
	tab, mid := filepath.Join(dir, "demo.txt"), filepath.Join(dir, "demo.mid")
	tool("write", "--out", tab, "--out", mid)
	text, err := os.ReadFile(tab)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(mid)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	seq, err := midiio.ReadSMF(f)
	if err != nil {
		t.Fatal(err)
	}
	var dump bytes.Buffer
	midiio.Dump(&dump, seq)
	for name, got := range map[string]string{"demo.txt": string(text), "explain.txt": tool("explain"), "midi.txt": dump.String()} {
		path := filepath.Join("testdata", "golden", name)
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(want), got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}
