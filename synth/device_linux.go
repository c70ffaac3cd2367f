//go:build linux

package synth

import (
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"time"
)

// serverLimit is how long a sound server has for an answer.
const serverLimit = time.Second

// pulseServers lists where a server may listen, as network and address, in the
// order libpulse looks.
func pulseServers(getenv func(string) string, uid int) [][2]string {
	var list [][2]string
	if s := getenv("PULSE_SERVER"); s != "" {
		for _, f := range strings.Fields(s) {
			if _, after, ok := strings.Cut(f, "}"); ok && f[0] == '{' {
				f = after // {machine id}address
			}
			network, addr := "tcp", f
			switch {
			case strings.HasPrefix(f, "/"):
				network = "unix"
			case strings.HasPrefix(f, "unix:"):
				network, addr = "unix", f[len("unix:"):]
			case strings.HasPrefix(f, "tcp:"):
				addr = f[len("tcp:"):]
			case strings.HasPrefix(f, "tcp4:"):
				network, addr = "tcp4", f[len("tcp4:"):]
			case strings.HasPrefix(f, "tcp6:"):
				network, addr = "tcp6", f[len("tcp6:"):]
			}
			if addr == "" {
				continue
			}
			if network != "unix" {
				if _, _, err := net.SplitHostPort(addr); err != nil {
					addr = net.JoinHostPort(strings.Trim(addr, "[]"), "4713")
				}
			}
			list = append(list, [2]string{network, addr})
		}
		return list
	}
	if d := getenv("PULSE_RUNTIME_PATH"); d != "" {
		list = append(list, [2]string{"unix", filepath.Join(d, "native")})
	}
	if d := getenv("XDG_RUNTIME_DIR"); d != "" {
		list = append(list, [2]string{"unix", filepath.Join(d, "pulse", "native")})
	} else {
		list = append(list, [2]string{"unix", fmt.Sprintf("/run/user/%d/pulse/native", uid)})
	}
	return append(list, [2]string{"unix", "/run/pulse/native"})
}
