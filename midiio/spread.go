package midiio

import (
	"time"

	"thumbline/theory"
	"thumbline/voicing"
)

// The tempi, in beats a minute, between which a hand changes its way of
// striking chords (harmony.md 5.6: ballad 50-80, medium up from 160).
const (
	slowBallad = 50
	ballads    = 80
	quick      = 160
)

// How far apart the strings of a chord come (harmony.md 5.6): within 10 ms they
// are heard as one, from 20 ms on one hears which was first; a soft roll has 15
// to 25 ms from string to string, a slow one 30 to 60, wider the slower it is.
const (
	asOne       = 10 * time.Millisecond
	inTime      = 20 * time.Millisecond
	softRoll    = 15 * time.Millisecond
	softRollMax = 25 * time.Millisecond
	slowRoll    = 30 * time.Millisecond
	slowRollMax = 60 * time.Millisecond
	longestRoll = 180 * time.Millisecond
)

// plant is how long the finger lies on the string before it plucks it anew.
const plant = 2 * time.Millisecond

// A touch is how the right hand strikes the strings of a chord, from the lowest
// up: the thumb a moment before the first finger, then finger after finger.
type touch struct {
	thumb, finger time.Duration
	most          time.Duration // in all
}

var (
	together = touch{4 * time.Millisecond, 2 * time.Millisecond, asOne}
	plucked  = touch{8 * time.Millisecond, 3 * time.Millisecond, inTime}
)

// rolled has the same time between all strings.
func rolled(step time.Duration) touch { return touch{step, step, longestRoll} }

// before is how much each of n strings comes before the last of them.
func (t touch) before(n int, thumb bool) []time.Duration {
	ds := make([]time.Duration, n)
	for i := n - 2; i >= 0; i-- {
		ds[i] = ds[i+1] + t.finger
		if i == 0 && thumb {
			ds[i] += t.thumb - t.finger
		}
	}
	if whole := ds[0]; whole > t.most {
		for i := range ds {
			ds[i] = ds[i] * t.most / whole
		}
	}
	return ds
}

// A roller decides how chords are struck: as one in swing, in a bossa and when
// it goes fast; otherwise with the thumb a little ahead; and in ballads a tune
// note of a beat or more, and the last chord, come at the end of a roll.
type roller struct {
	s    *Sequence
	feel theory.Feel
	bars []voicing.Bar
	sec  func(Tick) time.Duration
	last Tick // where the last chord of the piece stands
}

func newRoller(s *Sequence, a *voicing.Arrangement, ks []stroke, feel theory.Feel) *roller {
	r := &roller{s: s, feel: feel, bars: a.Bars, sec: s.secondsTable()}
	for c := range chords(ks) {
		if len(c) > 2 {
			r.last = c[0].on
		}
	}
	return r
}

// touch is how chord is struck: tune is the one of its strokes that lies on the
// beat, free the time since the attack before.
func (r *roller) touch(chord []stroke, tune *stroke, free time.Duration) touch {
	on := chord[0].on
	beat, thirds := PerQuarter, false
	if b := r.s.BarAt(on); b >= 0 && r.bars[b].Beat > 0 && compound(r.bars[b]) {
		beat, thirds = r.s.Bars[b].Beat, true
	}
	bpm := r.s.TempoAt(on) * float64(PerQuarter) / float64(beat)
	switch {
	case r.feel.Bossa, bpm >= quick, r.feel.Swings() && !thirds:
		return together
	case bpm >= ballads, len(chord) < 3:
		return plucked
	}
	from, to := softRoll, softRollMax
	switch sung := Tick(tune.sung); {
	case on == r.last, tune.arrives && sung >= 2*beat:
		from, to = slowRoll, slowRollMax
	case sung < beat: // inner voices that answer sing nothing
		return plucked
	}
	slow := min(max((ballads-bpm)/(ballads-slowBallad), 0), 1)
	step := from + time.Duration(slow*float64(to-from))
	// The roll needs its time before the beat: half of what is free.
	step = min(step, min(free/2, longestRoll)/time.Duration(len(chord)-1))
	if step < softRoll {
		return plucked
	}
	return rolled(step)
}

// spread strikes chords from the lowest string up so that the tune, or else the
// highest string, falls on the beat. An early attack shortens what rang on its
// string.
func spread(ks []stroke, r *roller) {
	at := r.sec
	prev := [9]*stroke{} // stroke before on each string
	free := time.Duration(0)
	was := Tick(0) // of the attack before
	for chord := range chords(ks) {
		on := chord[0].on
		pivot := len(chord) - 1
		for n, k := range chord {
			if k.note.Voice == voicing.Melody {
				pivot = n
			}
		}
		free, was = at(on)-at(was), on
		t := r.touch(chord, &chord[pivot], free)
		before := t.before(len(chord), chord[0].note.Voice == voicing.Bass)
		// Strings above the melody come after it, within their own length.
		most := longestRoll
		for _, k := range chord[pivot+1:] {
			most = min(most, (at(k.off)-at(on))/2)
		}
		least := -at(on) // not before the first tick
		for n := range chord {
			k := &chord[n]
			nudge := min(before[pivot]-before[n], most)
			rang := prev[k.note.String]
			if rang != nil {
				start := at(rang.on) + rang.nudge
				if rang.off == on {
					// Leave what rang at least half of its time.
					nudge = max(nudge, (at(on)-start)/-2)
				} else {
					nudge = max(nudge, at(rang.off)-at(on))
				}
			}
			nudge = max(nudge, least)
			k.nudge = nudge
			least = max(least, nudge) // low to high, whatever was held back
			if rang != nil && rang.off == on {
				room := at(on) + nudge - at(rang.on) - rang.nudge
				rang.offNud = nudge - min(plant, max(room/2, 0))
			}
		}
		for n := range chord {
			prev[chord[n].note.String] = &chord[n]
		}
	}
}
