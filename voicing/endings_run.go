package voicing

import (
	"fmt"
	"slices"

	"thumbline/theory"
)

// A tread is how the chords of a run lie: a structure on one set of strings.
type tread struct {
	structure Structure
	strings   []int // of the bass first
	name      string
	cost      float64
}

// treads are the ways to walk (harmony.md 5.7: drop 2 for walking lines); close
// chords without their lowest voice lie on three strings.
func treads() (out []tread) {
	for i, set := range Drop2.StringSets()[:2] {
		out = append(out, tread{Drop2, set[:], "drop 2", 0.2 * float64(i)})
	}
	for i, set := range Drop3.StringSets() {
		out = append(out, tread{Drop3, set[:], "drop 3", 0.4 + 0.2*float64(i)})
	}
	for i, set := range Close.StringSets() {
		out = append(out, tread{Close, set[1:], "three strings", 0.5 + 0.2*float64(i)})
	}
	return out
}

// scale is the six-diminished scale of the tonic.
func (f *frame) scale() theory.Scale {
	if f.minor() {
		return theory.NewScale(f.tonic.RootPC(), theory.Minor6)
	}
	return theory.NewScale(f.tonic.RootPC(), theory.Major6)
}

// runUnit is how long a chord of a run lasts: half a beat where that is time
// enough for a hand, else a beat.
func (f *frame) runUnit() theory.Time {
	var u theory.Time
	switch beat := f.bar.Beat; {
	case beat.Cmp(theory.Quarters(3, 2)) == 0:
		u = beat.Mul(1, 3)
	default:
		u = beat.Mul(1, 2)
	}
	for f.seconds(u) < shortestRunChord {
		u = u.Add(u)
		if f.bar.Beat.Less(u) || !multiple(f.bar.Beat, u) {
			u = f.bar.Beat
			break
		}
	}
	for f.seconds(u) < shortestRunChord {
		u = u.Add(f.bar.Beat)
	}
	return u
}

// How many chords a run has.
const (
	fewestSteps, mostSteps = 4, 8
)

// highestRun is the highest fret of a run.
const highestRun = 15

// runs are the tonic's scale in chords, up or down, from the tune's last note
// after it has stood two beats, a small turn, and home.
func (f *frame) runs() (all []sketch) {
	m := newMaker(f.neck, newGrasp(f.neck, f.hand), f.right, DefaultTaste())
	scale := f.scale()
	from := f.last.Pitch.MIDI()
	for _, dir := range []int{-1, 1} {
		top := from + dir
		for ; ; top += dir {
			if _, ok := stepOf(scale, top); ok {
				break
			}
		}
		start, _ := stepOf(scale, top)
		for _, octave := range []int{0, -8 * dir, 7 * dir} { // or an octave off, where the neck has no room
			if absInt(pitchOf(scale, start+octave)-from) > 12 {
				continue
			}
			for _, tr := range treads() {
				whole := f.runItems(m, scale, tr, start+octave, dir)
				for n := fewestSteps; n <= len(whole); n++ {
					items := whole[:n:n]
					cost := tr.cost + 0.15*float64(absInt(n-6))
					if octave != 0 {
						cost += 1.5
					}
					for _, it := range items {
						cost += 0.1 * offRegister(it.top)
					}
					all = append(all, f.runEnds(items, dir, tr, cost)...)
				}
			}
		}
	}
	return all
}

// runItems are the chords of a run, as far as the neck and the hand have a place
// for them.
func (f *frame) runItems(m *maker, scale theory.Scale, tr tread, start, dir int) (items []item) {
	mask := uint16(0)
	for _, s := range tr.strings {
		mask |= 1 << uint(s)
	}
	six := theory.MustChord(scale.SixName())
	dim := theory.MustChord(scale.Name(7).String() + "dim7")
	unit := f.runUnit()
	for k, ps := range Walk(scale, tr.structure, start, start+dir*(mostSteps-1)) {
		pitches := ps[len(ps)-len(tr.strings):]
		for i := 1; i < len(pitches); i++ {
			if muddy(pitches[i-1], pitches[i]) {
				return items
			}
		}
		top := pitches[len(pitches)-1]
		if top < lowestTop-3 || top > highestTop+2 {
			return items
		}
		frets, ok := f.neck.OnStrings(tr.strings, pitches)
		if !ok || slices.Max(frets) > highestRun {
			return items
		}
		if !slices.ContainsFunc(m.exact(pitches, true), func(g grip) bool { return g.strings == mask }) {
			return items
		}
		c := six
		if (start+dir*k)&1 == 1 {
			c = dim
		}
		items = append(items, item{len: unit, chord: c, top: top, voicing: pitches, strings: mask})
	}
	return items
}

// runEnds puts a run into time and lets it end in each of the turns.
func (f *frame) runEnds(run []item, dir int, tr tread, cost float64) (all []sketch) {
	way := "down"
	if dir > 0 {
		way = "up"
	}
	for _, table := range [][]device{deviceTable, shortTable} {
		for _, d := range table {
			if !f.fits(d) {
				continue
			}
			chords := f.chordsOf(d.steps)
			lead, each, when, ok := f.runTime(len(run), len(chords))
			if !ok {
				continue
			}
			for k, fin := range f.finals() {
				turn := f.comeHome(chords, each, f.brief(each), fin)
				line := f.sing(turn, want{from: run[len(run)-1].top, end: fin.top, avoid: -1})
				if line > 1e9 {
					continue
				}
				c := cost + when + d.cost + 0.3*line + 0.2*float64(k)
				if len(chords) == 1 {
					c += 0.6
				}
				items := slices.Concat(run, turn)
				x := f.lay(fmt.Sprintf("%s the tonic scale in chords, %s; %s", way, tr.name, d.name), lead, true, items)
				all = append(all, sketch{x, c + 0.25*float64(len(x.bars)), []string{way, tr.name, d.name}})
			}
		}
	}
	return all
}

// runTime says when a run of n chords begins before the tune's end and how long
// each chord of the turn after it lasts, so that the turn begins on a strong beat
// and home comes on one.
func (f *frame) runTime(n, turn int) (lead, each theory.Time, cost float64, ok bool) {
	beat, bar := f.bar.Beat, f.full()
	half := bar
	if k := f.beats(); k > 0 && k%2 == 0 {
		half = bar.Mul(1, 2)
	}
	run := f.runUnit().Mul(int64(n), 1)
	hold := f.hold(true)
	zero := theory.Time{}
	best := 1e9
	for _, e := range []theory.Time{beat, half, bar} {
		if f.seconds(e) < 0.45 || f.seconds(e) > 2.2 {
			continue
		}
		for l := zero; l == zero || !hold.Sub(beat.Mul(2, 1)).Less(l); l = l.Add(beat) {
			x := run.Sub(l) // where the turn begins, from the tune's end
			home := x.Add(e.Mul(int64(turn), 1))
			if !multiple(home, half) || !multiple(x, beat) {
				continue
			}
			c := 0.0
			if !multiple(x, half) {
				c += 0.3
			}
			if !multiple(home, bar) {
				c += 0.3
			}
			if l == zero {
				c += 0.4
			}
			if s := f.seconds(e); s > 1.3 {
				c += s - 1.3
			} else if s < 0.6 {
				c += 4 * (0.6 - s)
			}
			if stood := hold.Sub(l); bar.Less(stood) {
				c += 0.1 * stood.Sub(bar).Float()
			}
			if c < best {
				best, lead, each, ok = c, l, e, true
			}
		}
	}
	if !ok { // hardly any room: all of it in bars of its own
		x := run
		if !multiple(x, half) {
			return zero, zero, 0, false
		}
		return zero, half, 1, true
	}
	return lead, each, best, ok
}
