package main

import (
	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio/portwatch"
	"thumbline/midiio/winmm"
)

func (systemMIDI) open() (drivers.Driver, error) {
	d, err := winmm.New()
	if err != nil {
		return nil, err
	}
	return portwatch.New(d, portwatch.Every), nil // some drivers do not say that their port is unplugged
}
