package midiio

import (
	"math"
	"time"

	"thumbline/voicing"
)

// The bass player and the drummer of a trio have the channels 9 and 10, counted
// from 1; the drums of General MIDI are on 10.
const (
	bassistChannel = 8
	timeChannel    = clickChannel
	// acousticBass is the General MIDI program "Acoustic Bass" on the wire: 33
	// counted from 1.
	acousticBass = 32
	// standardKit is what channel 10 plays where nothing else was asked for.
	standardKit = 0
)

// timeKeys are the keys of General MIDI percussion: ride cymbal 1, pedal and
// closed hi-hat, side stick, and maracas, which is the softest that a standard
// kit has for a brush.
var timeKeys = [...]int{voicing.Ride: 51, voicing.Foot: 44, voicing.Hat: 42, voicing.Rim: 37, voicing.Brush: 70}

// The levels of bass and time in dB against a plain note of the tune, as in
// levels.go. They are company: the bass is under the softest of the tune, the
// time under the bass.
const (
	bassistLevel = -7.0
	bassistDown  = 0.75 // on the first beat
	timeLevel    = -10.5
	timeWeight   = 1.5 // of a step of voicing.Stroke.Weight

	strokeLength = 90 * time.Millisecond
)

// How far they may be from plain.
var (
	bassistLimit = limit{bassistLevel - 1.25, bassistLevel + 1.25}
	timeLimit    = limit{timeLevel - 4, timeLevel + 2}
)

// playBand is the bass player and the drummer of a, the swell of the tune half
// followed by the bass.
func playBand(a *voicing.Arrangement, g *grid, shape swell, opt PerformOptions) []Event {
	var evs []Event
	bar, leg := 0, 0
	last := Tick(-1)
	for _, n := range a.Bassist {
		if n.MIDI < 0 || n.MIDI > 127 || n.At < 0 {
			continue
		}
		for bar < len(a.Bars)-1 && a.Bars[bar+1].At <= n.At {
			bar++
		}
		for leg+1 < len(shape) && shape[leg+1].at <= n.At {
			leg++
		}
		vel := flatVelocity
		if !opt.NoLevels {
			db := bassistLevel + shape.at(leg, n.At)*followShare
			if bar < len(a.Bars) {
				if pos, _ := placeInBar(a.Bars, bar, n.At); pos == 0 {
					db += bassistDown
				}
			}
			vel = bassistLimit.velocity(db)
		}
		on := max(g.warp(Tick(n.At)), last)
		last = max(g.warp(Tick(n.At+n.Dur)), on+1)
		evs = append(evs,
			Event{on, 0, Bassist, noteOn(bassistChannel, n.MIDI, vel)},
			Event{last, 0, Bassist, noteOff(bassistChannel, n.MIDI)})
	}
	was := map[int]Tick{} // the last of each key
	for _, x := range a.Time {
		if int(x.Stick) >= len(timeKeys) || x.At < 0 {
			continue
		}
		key, vel := timeKeys[x.Stick], flatVelocity
		if !opt.NoLevels {
			vel = timeLimit.velocity(timeLevel + timeWeight*float64(x.Weight))
		}
		on := g.swung(Tick(x.At))
		if at, ok := was[key]; ok && at >= on {
			continue
		}
		was[key] = on
		evs = append(evs,
			Event{on, 0, Time, noteOn(timeChannel, key, vel)},
			Event{on + 1, strokeLength, Time, noteOff(timeChannel, key)})
	}
	if !opt.NoProgram {
		if len(a.Bassist) > 0 {
			evs = append(evs, Event{Layer: Bassist, Msg: [3]byte{statusProgram | bassistChannel, acousticBass}})
		}
		if len(a.Time) > 0 {
			evs = append(evs, Event{Layer: Time, Msg: [3]byte{statusProgram | timeChannel, standardKit}})
		}
	}
	return evs
}

// swung is where a half beat of the drummer lies: where the swing has it, also
// in a beat that the tune plays straight because it has thirds in it.
func (g *grid) swung(t Tick) Tick {
	i := g.find(t)
	if i < 0 || !g.spans[i].thirds {
		return g.warp(t)
	}
	s := g.spans[i]
	if pos := s.off + t - s.at; pos*2 == s.beat {
		return s.at - s.off + Tick(math.Round(float64(s.beat)*2/3))
	}
	return t
}
