package midiio

import (
	"math"
	"slices"

	"thumbline/theory"
	"thumbline/voicing"
)

// How loud each note is, in dB against a plain note of the tune; velocity
// follows by the square law of General MIDI 2 and DLS, 40 log10(v/127) dB.
//
// A lone guitar is heard as one voice over the rest when the tune is 3 to 6 dB
// above it (harmony.md 5.6, start +4), so the bass lies that far below it, the
// inner voices a little below that, and whatever phrase and metre add keeps them
// apart: limits has the bounds.
// Differences between neighbours are a dB or so, since less than 0.7 to 1.2 dB
// is not heard (harmony.md 5.6). Where no source is named, common practice.
const (
	plainVelocity = 96
	flatVelocity  = 80 // of every note in a performance without levels

	bassLevel  = -4.5
	innerLevel = -7.0
	// What is struck under a ringing note of the tune leaves it the room.
	underLevel = -1.0

	// A phrase swells to its highest note and tapers to its arrival; bass and
	// inner voices go half the way with it.
	phraseStart   = -1.0
	phraseTop     = 1.25
	phraseArrival = -1.25
	followShare   = 0.5
	arrivalLevel  = -0.5 // the arrival itself is let go
)

// Without the tune the chords are what is heard: their top voice comes near the
// tune's level and the rest stays under it, with the bass between, all of it a
// little below a tune, for someone who sings or plays over it.
const (
	compTopLevel   = -2.0
	compInnerLevel = -4.0
	compBassLevel  = -3.5
)

// A limit is how far a note may be from plain, in dB.
type limit struct{ low, high float64 }

// velocity is that of a level in dB, or of the nearest that the limit allows.
func (l limit) velocity(db float64) int { return velocityOf(min(max(db, l.low), l.high)) }

// limits has that of each voice. The softest note of the tune is so 0.75 dB above
// the loudest of the bass, and the softest of the bass as much above the loudest
// inner one, anywhere in a piece.
var limits = [...]limit{
	voicing.Melody: {-2.25, 2.5},
	voicing.Bass:   {bassLevel - 1.25, bassLevel + 1.5},
	voicing.Inner:  {innerLevel - 2.5, innerLevel + 0.5},
}

// An accent is what the place in the bar adds to an attack, in dB. Other beats
// add nothing.
type accent struct {
	down   float64 // on the first beat
	rest   float64 // on the other beats
	off    float64 // between beats; thirds of a beat in simple metre add nothing
	pushed float64 // between beats and held over the next: it comes early
}

// accents is what the metre asks of each voice. In swing off-beats weigh as
// much as beats, and what is pushed most; a bossa has an even thumb; in a waltz
// the one is the bass's and what follows is light; in compound metre the thirds
// of a beat lead to the next.
func accents(feel theory.Feel, b voicing.Bar) (tune, bass, inner accent) {
	waltz := b.Metre.Num == 3 && !compound(b)
	tune = accent{down: 1, off: -1, pushed: 0.5}
	bass = accent{down: 1, off: -0.25, pushed: -0.25}
	switch {
	case compound(b):
	case feel.Swings():
		tune = accent{down: 0.75, pushed: 0.75}
		bass = accent{down: 0.75}
	case feel.Bossa:
		tune = accent{down: 0.75, pushed: 0.75}
		bass = accent{}
	}
	if waltz && !feel.Bossa {
		bass.down, bass.rest = 1.25, -0.25
		inner.rest, inner.off, inner.pushed = -0.75, -0.75, -0.75
	}
	return tune, bass, inner
}

// velocityOf is the velocity of a level in dB.
func velocityOf(db float64) int {
	return min(max(int(math.Round(plainVelocity*math.Pow(10, db/40))), 1), 127)
}

// setLevels gives the strokes, in order of attack, their velocities.
func setLevels(a *voicing.Arrangement, ks []stroke, shape swell, feel theory.Feel) {
	rings := voicing.Tick(-1) // until when the tune rings
	bar, leg := 0, 0
	for chord := range chords(ks) {
		at := chord[0].note.At
		for bar < len(a.Bars)-1 && a.Bars[bar+1].At <= at {
			bar++
		}
		for leg+1 < len(shape) && shape[leg+1].at <= at {
			leg++
		}
		var tune, bass, inner accent
		var pos, beat voicing.Tick
		if bar < len(a.Bars) {
			tune, bass, inner = accents(feel, a.Bars[bar])
			pos, beat = placeInBar(a.Bars, bar, at)
		}
		swell := shape.at(leg, at)
		under := at < rings && !slices.ContainsFunc(chord, func(k stroke) bool { return k.note.Voice == voicing.Melody })
		for i := range chord {
			k := &chord[i]
			db := 0.0
			switch k.note.Voice {
			case voicing.Melody:
				db = tune.of(pos, beat, k.sung)
				db += swell
				if k.arrives {
					db += arrivalLevel
				}
				rings = k.note.At + k.note.Dur
			case voicing.Bass:
				db = bassLevel + swell*followShare + bass.of(pos, beat, k.note.Dur)
			default:
				db = innerLevel + swell*followShare + inner.of(pos, beat, k.note.Dur)
				if under {
					db += underLevel
				}
			}
			if k.note.Voice != voicing.Melody && bar >= a.Comped.From && bar < a.Comped.To {
				k.vel = velocityOf(compLevel(k, chord) + bass.of(pos, beat, k.note.Dur))
				continue
			}
			k.vel = limits[k.note.Voice].velocity(db)
		}
	}
}

// placeInBar is how far t is from the start of the metre's bar, and the beat to
// count it in: quarters in x/2 too, where eighths are off the beat.
func placeInBar(bars []voicing.Bar, i int, t voicing.Tick) (pos, beat voicing.Tick) {
	b := bars[i]
	pos, beat = t-b.At, b.Beat
	if isPickup(bars, i) {
		pos += max(fullBar(b)-b.Len, 0)
	}
	if !compound(b) {
		beat = min(beat, voicing.PerQuarter)
	}
	return pos, beat
}

// of is the accent of a note of length dur at pos in its bar.
func (a accent) of(pos, beat, dur voicing.Tick) float64 {
	if beat <= 0 {
		return 0
	}
	third := beat == voicing.PerQuarter // of a beat that has halves
	switch in := pos % beat; {
	case pos == 0:
		return a.down
	case in == 0:
		return a.rest
	case third && in*3%beat == 0:
		return 0
	case in+dur > beat:
		return a.pushed
	default:
		return a.off
	}
}

// compLevel is the level of a note of a chord struck in a chorus without its
// tune, before the metre adds to it.
func compLevel(k *stroke, chord []stroke) float64 {
	if k.note.Voice == voicing.Bass {
		return compBassLevel
	}
	for i := range chord {
		if n := &chord[i].note; n.Voice == voicing.Inner && n.MIDI > k.note.MIDI {
			return compInnerLevel
		}
	}
	return compTopLevel
}
