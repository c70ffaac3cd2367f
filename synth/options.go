// Package synth is a guitar made of numbers: one tuned delay loop a string, a
// light body, a small room, a limiter, and the ways out: a WAV file or a sound
// device. It receives MIDI messages, one channel a string, and knows nothing
// of tunes, chords or grips.
package synth

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Channels beside the strings, counted from 0 as on the wire.
const (
	BassChannel  = 8 // a plain bass
	ClickChannel = 9 // count-in and time-keeping, notes as in General MIDI percussion
)

// Controllers the strings obey beside volume (7), all sound off (120), reset
// (121) and all notes off (123). A reset puts both back to their defaults.
const (
	// PluckController is the place of the pluck: 0 at the bridge, 64 where the
	// tone usually has it (the default), 127 over the end of the fingerboard.
	PluckController = 16
	// PalmController is the palm laid on the strings at the bridge: 0 off (the
	// default) to 127. It takes hold of ringing strings at once; lifting it
	// leaves what rings as it is.
	PalmController = 17
)

// MaxStrings is the largest number of strings an engine can have: the first
// eight on channels 0 to 7, further ones on 10 to 15.
const MaxStrings = 14

// stringChannel is the channel of string i, counted from 0.
func stringChannel(i int) int {
	if i >= BassChannel {
		return i + 2
	}
	return i
}

// MaxStems is the largest number of stems an engine can render.
const MaxStems = 8

// The range of Options.A4 in Hz: from below baroque pitch to above the highest
// choir pitch (common practice, no source).
const (
	MinA4 = 400
	MaxA4 = 480
)

// DefaultRate is the rate of an engine whose options ask for none, frames a second.
const DefaultRate = 48000

// Options say what guitar is built. The zero value is a six-string archtop in
// standard tuning at 48 kHz.
type Options struct {
	// Rate is in frames a second, 8000 to 192000; 0 means DefaultRate.
	Rate int
	// Open holds the MIDI pitch of each open string, channel 0 (string 1, the
	// highest) first; nil means 64 59 55 50 45 40. At most MaxStrings. The
	// strings stand from left to right in the order of their pitches.
	Open []int
	// A4 is what the strings and the bass are tuned to: the frequency of MIDI
	// pitch 69 in Hz, 400 to 480; 0 means 440.
	A4 float64
	// Tone is a name from Tones; empty means archtop.
	Tone string
	// Gain in dB is added to a level at which an arrangement played at usual
	// velocities measures about -18 LUFS; -60 to +24.
	Gain float64
	// Stems is how many parts of the music are rendered apart beside the whole
	// (see Engine.RenderStems), 0 to MaxStems; 0 means none.
	Stems int
	// Seed picks the small differences between one pluck and the next.
	Seed uint64
}

// Tones lists the names Options.Tone takes.
func Tones() []string {
	names := make([]string, len(tones))
	for i, t := range tones {
		names[i] = t.name
	}
	return names
}

// checked returns o with its defaults filled in and the tone it names.
func (o Options) checked() (Options, *tone, error) {
	if o.Rate == 0 {
		o.Rate = DefaultRate
	}
	if o.Rate < 8000 || o.Rate > 192000 {
		return o, nil, fmt.Errorf("synth: sample rate %d Hz is not between 8000 and 192000", o.Rate)
	}
	if o.Open == nil {
		o.Open = []int{64, 59, 55, 50, 45, 40}
	}
	if n := len(o.Open); n < 1 || n > MaxStrings {
		return o, nil, fmt.Errorf("synth: %d strings (1 to %d can be played)", n, MaxStrings)
	}
	o.Open = slices.Clone(o.Open)
	for i, p := range o.Open {
		if p < 16 || p > 100 {
			return o, nil, fmt.Errorf("synth: string %d: open pitch %d is not between 16 and 100", i+1, p)
		}
	}
	if o.A4 == 0 {
		o.A4 = 440
	}
	if !(o.A4 >= MinA4 && o.A4 <= MaxA4) {
		return o, nil, fmt.Errorf("synth: A4 of %g Hz is not between %d and %d", o.A4, MinA4, MaxA4)
	}
	if math.IsNaN(o.Gain) || o.Gain < -60 || o.Gain > 24 {
		return o, nil, fmt.Errorf("synth: gain %g dB is not between -60 and +24", o.Gain)
	}
	if o.Stems < 0 || o.Stems > MaxStems {
		return o, nil, fmt.Errorf("synth: %d stems (0 to %d can be rendered)", o.Stems, MaxStems)
	}
	if o.Tone == "" {
		o.Tone = "archtop"
	}
	for i := range tones {
		if tones[i].name == o.Tone {
			return o, &tones[i], nil
		}
	}
	return o, nil, fmt.Errorf("synth: no tone %q (there are: %s)", o.Tone, strings.Join(Tones(), ", "))
}
