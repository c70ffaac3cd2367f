package main

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"thumbline/midiio"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"thumbline": func() {
			e := &env{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: time.Now, sound: fakeSound(os.Getenv("SOUND")), midi: (*fakeMIDI)(nil)}
			// MIDI=fake has ports; what the recorder gets goes to MIDI_LOG, what the
			// pedal sends comes from PEDAL.
			switch os.Getenv("MIDI") {
			case "fake":
				m := newFakeMIDI()
				m.out(recorder).log = os.Getenv("MIDI_LOG")
				m.ins[1].script = os.Getenv("PEDAL")
				e.midi = m
			case "system":
				e.midi = systemMIDI{}
			}
			code := run(untilEnded(), os.Args[1:], e)
			// Scripts see failure alone; the status itself goes here.
			if f := os.Getenv("STATUS_FILE"); f != "" {
				os.WriteFile(f, []byte(strconv.Itoa(code)), 0o644)
			}
			os.Exit(code)
		},
	})
}

func TestScript(t *testing.T) {
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts (%v)", err)
	}
	testscript.Run(t, testscript.Params{
		Dir:           "testdata/script",
		UpdateScripts: os.Getenv("UPDATE_SCRIPTS") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("STATUS_FILE", filepath.Join(e.WorkDir, ".status"))
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// status N: the exit status of the last thumbline.
			"status": func(ts *testscript.TestScript, neg bool, args []string) {
				if got := ts.ReadFile(".status"); got != args[0] {
					ts.Fatalf("exit status %s, want %s", got, args[0])
				}
			},
			// rubbish FILE: bytes that are no text, the same every time.
			"rubbish": func(ts *testscript.TestScript, neg bool, args []string) {
				b := make([]byte, 4096)
				x := uint32(1)
				for i := range b {
					x = x*1664525 + 1013904223 // Numerical Recipes, ranqd1
					b[i] = byte(x >> 24)
				}
				ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o644))
			},
			// unhex FILE HEX: the bytes that a file tells in hexadecimal, # to the end of a line apart.
			"unhex": func(ts *testscript.TestScript, neg bool, args []string) {
				digits := regexp.MustCompile(`#.*|\s+`).ReplaceAllString(ts.ReadFile(args[1]), "")
				b, err := hex.DecodeString(digits)
				ts.Check(err)
				ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o644))
			},
			// dump FILE.mid: what is in it, as text.
			"dump": func(ts *testscript.TestScript, neg bool, args []string) {
				s, err := midiio.ReadSMF(strings.NewReader(ts.ReadFile(args[0])))
				ts.Check(err)
				var b bytes.Buffer
				ts.Check(midiio.Dump(&b, s))
				io.Copy(ts.Stdout(), &b)
			},
			// wave FILE.wav: its format and whether anything is to be heard.
			"wave": func(ts *testscript.TestScript, neg bool, args []string) {
				d := []byte(ts.ReadFile(args[0]))
				if len(d) < 44 || string(d[:4]) != "RIFF" || string(d[8:12]) != "WAVE" {
					ts.Fatalf("%s is no WAV file", args[0])
				}
				if int(binary.LittleEndian.Uint32(d[4:]))+8 != len(d) {
					ts.Fatalf("%s says %d bytes and has %d", args[0], binary.LittleEndian.Uint32(d[4:])+8, len(d))
				}
				if !bytes.ContainsFunc(d[44:], func(r rune) bool { return r != 0 }) {
					ts.Fatalf("%s is silent", args[0])
				}
				fmt.Fprintf(ts.Stdout(), "%d Hz, %d channels, %d bits\n", binary.LittleEndian.Uint32(d[24:]), binary.LittleEndian.Uint16(d[22:]), binary.LittleEndian.Uint16(d[34:]))
			},
			// mode FILE OCTAL: its permissions.
			"mode": func(ts *testscript.TestScript, neg bool, args []string) {
				info, err := os.Stat(ts.MkAbs(args[0]))
				ts.Check(err)
				if got := strconv.FormatUint(uint64(info.Mode().Perm()), 8); got != args[1] {
					ts.Fatalf("%s has mode %s, want %s", args[0], got, args[1])
				}
			},
			// notemp: no temporary file is left.
			"notemp": func(ts *testscript.TestScript, neg bool, args []string) {
				left, err := filepath.Glob(ts.MkAbs(".*.tmp"))
				ts.Check(err)
				if len(left) > 0 {
					ts.Fatalf("left behind: %v", left)
				}
			},
		},
	})
}
