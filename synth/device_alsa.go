//go:build linux && cgo && alsa

package synth

/*
#cgo pkg-config: alsa
#include <alsa/asoundlib.h>

static void nothing(const char *file, int line, const char *function, int err, const char *fmt, ...) {}
static void hush(void) { snd_lib_error_set_handler(nothing); }
*/
import "C"

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
)

const noCard = "no sound device: neither a card nor a sound server is there (connect one or start the sound server; " + writeInstead + ")"

// lookFirst looks for a card or a sound server that answers. Without one ALSA
// would try all that it knows of, and what it loads for that complains too.
func lookFirst() error {
	C.hush() // its complaints would go into the terminal: ours is the one line
	if !anyCard() && !anyServer() {
		return errors.New(noCard)
	}
	return nil
}

func anyCard() bool {
	b, err := os.ReadFile("/proc/asound/cards")
	return err == nil && !strings.Contains(string(b), "no soundcards")
}

func anyServer() bool {
	servers := pulseServers(os.Getenv, os.Getuid())
	if d := os.Getenv("XDG_RUNTIME_DIR"); d != "" {
		servers = append(servers, [2]string{"unix", filepath.Join(d, "pipewire-0")})
	}
	for _, s := range servers {
		if c, err := net.DialTimeout(s[0], s[1], serverLimit); err == nil {
			c.Close()
			return true
		}
	}
	return false
}

func listDevices() []string {
	if err := lookFirst(); err != nil {
		return []string{err.Error()}
	}
	lines := []string{"ALSA's default device, or else the first that opens of these:"}
	b, err := os.ReadFile("/proc/asound/pcm")
	for _, l := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		if err == nil && strings.Contains(l, "playback") {
			lines = append(lines, l)
		}
	}
	if len(lines) == 1 {
		lines[0] = "ALSA's default device, through a sound server"
	}
	return lines
}
