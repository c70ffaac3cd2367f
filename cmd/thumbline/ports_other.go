//go:build !linux && !windows && !(darwin && cgo)

package main

import (
	"errors"
	"runtime"

	"gitlab.com/gomidi/midi/v2/drivers"
)

func (systemMIDI) open() (drivers.Driver, error) {
	if runtime.GOOS == "darwin" {
		return nil, errors.New("MIDI ports on macOS need the build with cgo (CGO_ENABLED=1 go build ./cmd/thumbline, with the Xcode command line tools)")
	}
	return nil, errors.New("this build has no MIDI ports (write a file: thumbline write --out x.mid)")
}
