//go:build !windows && !darwin && !linux

package synth

import (
	"errors"
	"time"
)

const noSound = "no sound: this build has no way to a sound device on this system (play the MIDI file elsewhere, " + writeInstead + ")"

func openBackend(int, time.Duration) (backend, error) { return nil, errors.New(noSound) }

func listDevices() []string { return []string{noSound} }
