//go:build linux && !(cgo && alsa)

package synth

import (
	"io"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestPulseDevices(t *testing.T) {
	t.Parallel()
	out, err := nullSink(t, "devices")
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, want := range []string{"sound server pulseaudio", "48000 Hz, 2 channels, used by default"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in %s", want, out)
		}
	}
}

// Without a server, or with something else in its place, there is one clear
// sentence.
func TestPulseNoServer(t *testing.T) {
	dir := t.TempDir()
	odd := filepath.Join(dir, "odd")
	l, err := net.Listen("unix", odd)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go func() { // one that hangs up
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			c.Close()
		}
	}()
	mute := filepath.Join(dir, "mute")
	l2, err := net.Listen("unix", mute)
	if err != nil {
		t.Fatal(err)
	}
	defer l2.Close()
	go func() { // one that never answers
		for {
			c, err := l2.Accept()
			if err != nil {
				return
			}
			go io.Copy(io.Discard, c)
		}
	}()
	for server, want := range map[string]string{
		"unix:" + filepath.Join(dir, "none"): "no PulseAudio or PipeWire server answers at " + filepath.Join(dir, "none"),
		"unix:" + odd:                        "does not let us in: it hung up",
		"unix:" + mute:                       "does not let us in: it does not answer",
		"tcp:":                               "PULSE_SERVER names no server",
	} {
		t.Setenv("PULSE_SERVER", server)
		d, err := OpenDevice(48000, 0)
		if err == nil {
			d.Close()
			t.Errorf("%s: opened", server)
			continue
		}
		if s := err.Error(); !strings.Contains(s, want) || !strings.Contains(s, writeInstead) || strings.Contains(s, "\n") {
			t.Errorf("%s: %q, want %q", server, s, want)
		}
		if lines := Devices(); len(lines) != 1 || lines[0] != err.Error() {
			t.Errorf("%s: devices %q", server, lines)
		}
	}
}

func TestPulseServers(t *testing.T) {
	for _, c := range []struct {
		env  map[string]string
		want [][2]string
	}{
		{map[string]string{"PULSE_SERVER": "unix:/a/b"}, [][2]string{{"unix", "/a/b"}}},
		{map[string]string{"PULSE_SERVER": "{id}/a/b tcp:host tcp6:[::1]:4800 host:99"}, [][2]string{{"unix", "/a/b"}, {"tcp", "host:4713"}, {"tcp6", "[::1]:4800"}, {"tcp", "host:99"}}},
		{map[string]string{"PULSE_SERVER": "{"}, [][2]string{{"tcp", "{:4713"}}},
		{map[string]string{"XDG_RUNTIME_DIR": "/run/user/7"}, [][2]string{{"unix", "/run/user/7/pulse/native"}, {"unix", "/run/pulse/native"}}},
		{map[string]string{"PULSE_RUNTIME_PATH": "/p"}, [][2]string{{"unix", "/p/native"}, {"unix", "/run/user/5/pulse/native"}, {"unix", "/run/pulse/native"}}},
	} {
		if got := pulseServers(func(k string) string { return c.env[k] }, 5); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.env, got, c.want)
		}
	}
}
