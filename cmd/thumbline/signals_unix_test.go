//go:build unix

package main

import (
	"bytes"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// No signal that can be caught leaves a note sounding, however often it comes; one
// that stops the program only silences what sounds.
func TestPortSignals(t *testing.T) {
	t.Parallel() // it takes its time in the open
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// The second signal ends the program at once when all is silent, if that is not
	// over by itself.
	const either = -2
	cases := []struct {
		name    string
		signals []os.Signal
		status  int
	}{
		{"interrupted", []os.Signal{os.Interrupt}, 0},
		{"interrupted again and again", []os.Signal{os.Interrupt, os.Interrupt, os.Interrupt}, either},
		{"ended", []os.Signal{syscall.SIGTERM}, 0},
		{"hung up", []os.Signal{syscall.SIGHUP}, 0},
		{"quit", []os.Signal{syscall.SIGQUIT}, 2},
		{"stopped", []os.Signal{syscall.SIGTSTP}, 0},
	}
	together(len(cases), func(i int) {
		c := cases[i]
		log := filepath.Join(t.TempDir(), "log")
		in, typing, err := os.Pipe()
		if err != nil {
			t.Error(err)
			return
		}
		var out, errs buffer
		cmd := exec.Command(self)
		cmd.Args = strings.Fields("thumbline loop --port recorder --bars 1-4 --count-in 0")
		cmd.Env = append(os.Environ(), "MIDI=fake", "MIDI_LOG="+log)
		cmd.Stdin, cmd.Stdout, cmd.Stderr = in, &out, &errs
		if err := cmd.Start(); err != nil {
			t.Error(err)
			return
		}
		// Whatever happens it does not go on.
		t.Cleanup(func() { cmd.Process.Kill() })
		kill := time.AfterFunc(30*time.Second, func() { cmd.Process.Kill() })
		for i := 0; len(logged(log)) < 12; i++ {
			if time.Sleep(10 * time.Millisecond); i == 2000 {
				t.Errorf("%s: it does not begin: %s%s", c.name, &out, &errs)
				return
			}
		}
		for _, s := range c.signals {
			cmd.Process.Signal(s)
		}
		if c.name == "stopped" {
			time.Sleep(500 * time.Millisecond)
			got := logged(log)
			if n := stillOn(got); n > 0 {
				t.Errorf("%s: %d notes sound while it is", c.name, n)
			}
			cmd.Process.Signal(syscall.SIGCONT)
			for i := 0; len(logged(log)) <= len(got)+4; i++ {
				if time.Sleep(10 * time.Millisecond); i == 1000 {
					t.Error("it does not go on")
					return
				}
			}
			cmd.Process.Signal(os.Interrupt)
		}
		err = cmd.Wait()
		kill.Stop()
		typing.Close()
		in.Close()
		if got := cmd.ProcessState.ExitCode(); c.status != either && got != c.status {
			t.Errorf("%s: status %d (%v), %.200q", c.name, got, err, errs.String())
		}
		if n := stillOn(logged(log)); n > 0 {
			t.Errorf("%s: %d notes are left sounding", c.name, n)
		}
	})
}

// logged are the messages that the recorder has written down.
func logged(file string) (msgs [][]byte) {
	text, _ := os.ReadFile(file)
	for l := range bytes.Lines(text) {
		if m, err := hex.DecodeString(strings.ReplaceAll(string(bytes.TrimSpace(l)), " ", "")); err == nil && len(m) > 0 {
			msgs = append(msgs, m)
		}
	}
	return msgs
}
