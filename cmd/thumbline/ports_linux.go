package main

import (
	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio/alsaseq"
)

func (systemMIDI) open() (drivers.Driver, error) {
	d, err := alsaseq.New(portName)
	if err != nil {
		return nil, err
	}
	return d, nil
}
