//go:build !linux

package main

import (
	"errors"

	"gitlab.com/gomidi/midi/v2/drivers"
)

func (systemMIDI) open() (drivers.Driver, error) {
	return nil, errors.New("this build has no MIDI ports (write a file: thumbline write --out x.mid)")
}
