package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func says(s string) func(io.WriteSeeker) error {
	return func(w io.WriteSeeker) error { _, err := io.WriteString(w, s); return err }
}

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func onlyThese(t *testing.T, dir string, names ...string) {
	t.Helper()
	es, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range es {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(names, " ") {
		t.Errorf("in the folder: %v, want %v", got, names)
	}
}

func outFiles(t *testing.T, names ...string) []*outFile {
	t.Helper()
	var fs []*outFile
	for _, n := range names {
		f, err := newOutFile(n, nil)
		if err != nil {
			t.Fatal(err)
		}
		fs = append(fs, f)
	}
	return fs
}

// One output that fails leaves all old files and no new one, whatever came
// before it.
func TestWriteAllOrNone(t *testing.T) {
	dir := t.TempDir()
	a, b := filepath.Join(dir, "a.txt"), filepath.Join(dir, "b.txt")
	if err := os.WriteFile(a, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	full := errors.New("no space left")
	f := outFiles(t, a, b)
	err := writeAll(context.Background(), []output{
		{file: f[0], content: says("new")},
		{file: f[1], content: func(w io.WriteSeeker) error { io.WriteString(w, "half"); return full }},
	})
	if !errors.Is(err, full) || !strings.Contains(err.Error(), b) {
		t.Errorf("error %v", err)
	}
	if got := read(t, a); got != "old" {
		t.Errorf("the old file holds %q", got)
	}
	onlyThese(t, dir, "a.txt")

	f = outFiles(t, a, b)
	if err := writeAll(context.Background(), []output{{file: f[0], content: says("new")}, {file: f[1], content: says("too")}}); err != nil {
		t.Fatal(err)
	}
	if read(t, a) != "new" || read(t, b) != "too" {
		t.Error("the files do not hold what was written")
	}
	onlyThese(t, dir, "a.txt", "b.txt")
	if info, _ := os.Stat(a); runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the permissions became %v", info.Mode())
	}
}

func TestWriteInterrupted(t *testing.T) {
	dir := t.TempDir()
	a := filepath.Join(dir, "a.txt")
	ctx, cancel := context.WithCancel(context.Background())
	f := outFiles(t, a)
	err := writeAll(ctx, []output{{file: f[0], content: func(w io.WriteSeeker) error {
		if _, err := io.WriteString(w, "half"); err != nil {
			return err
		}
		cancel()
		_, err := io.Copy(w, strings.NewReader("the rest"))
		return err
	}}})
	if !errors.Is(err, errInterrupted) {
		t.Errorf("error %v", err)
	}
	onlyThese(t, dir)
}

// A link stays a link: what it leads to is replaced.
func TestWriteThroughLink(t *testing.T) {
	dir := t.TempDir()
	target, link := filepath.Join(dir, "target.txt"), filepath.Join(dir, "link.txt")
	if err := os.WriteFile(target, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(target, link); err != nil {
		t.Skip("no links here:", err)
	}
	if err := writeAll(context.Background(), []output{{file: outFiles(t, link)[0], content: says("new")}}); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v %v", info, err)
	}
	if got := read(t, target); got != "new" {
		t.Errorf("the target holds %q", got)
	}
	onlyThese(t, dir, "link.txt", "target.txt")
}

// A device is written to, never replaced.
func TestWriteDevice(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip("no /dev/full here:", err)
	}
	dir := t.TempDir()
	link := filepath.Join(dir, "x.mid")
	if err := os.Symlink("/dev/full", link); err != nil {
		t.Skip("no links here:", err)
	}
	err := writeAll(context.Background(), []output{{file: outFiles(t, link)[0], content: says("new")}})
	if err == nil || !strings.Contains(err.Error(), "x.mid: not written: no space left") {
		t.Errorf("error %v", err)
	}
	if info, err := os.Stat("/dev/full"); err != nil || info.Mode().IsRegular() {
		t.Error("the device was replaced")
	}
}
