package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
)

func version(_ context.Context, e *env, _ *options) error {
	info, ok := debug.ReadBuildInfo()
	_, err := fmt.Fprintln(e.stdout, versionLine(info, ok))
	return err
}

// versionLine says which source this is and what it was built with.
func versionLine(info *debug.BuildInfo, ok bool) string {
	v := "(devel)"
	if ok && info.Main.Version != "" {
		v = info.Main.Version
	}
	line := fmt.Sprintf("thumbline %s, %s, %s/%s", v, runtime.Version(), runtime.GOOS, runtime.GOARCH)
	if !ok {
		return line
	}
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	if rev := set["vcs.revision"]; rev != "" {
		line += ", revision " + rev[:min(12, len(rev))]
		if set["vcs.modified"] == "true" {
			line += " with changes"
		}
	}
	return line
}
