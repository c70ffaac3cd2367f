//go:build cgo

package main

import (
	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio/portwatch"
	"thumbline/midiio/rtport"
)

func (systemMIDI) open() (drivers.Driver, error) {
	return portwatch.New(rtport.New(portName), portwatch.Every), nil
}
