package voicing

import (
	"thumbline/theory"
)

// A frame is what an introduction or an ending is built from.
type frame struct {
	tune *theory.Tune // at its sounding pitch, once through
	neck Neck
	bpm  float64      // quarters a minute at the end
	bar  theory.Bar   // the last, whose metre, key and beat those put in have
	last theory.Note  // of the tune
	home theory.Chord // the last written
	// tonic is where the tune comes home, a triad: the last written chord where
	// it is one to rest on, else the key's own.
	tonic theory.Chord
	// plain says that the sheet has nothing but triads and plain sevenths.
	plain bool
	blues bool // its tonic has a flat seventh

	written bool // the written chords stand alone

	hand  Hand
	right RightHand
	taste Taste
}

// newFrame looks at a tune that has notes and bars.
func newFrame(t *theory.Tune, n Neck, p *Plan) *frame {
	f := &frame{tune: t, neck: n, bpm: 120, bar: t.Bars[len(t.Bars)-1], last: t.Melody[len(t.Melody)-1], written: p.Tension == "low"}
	f.hand, f.right, f.taste = p.player()
	for _, m := range t.Tempi {
		f.bpm = m.BPM
	}
	before := theory.Chord{NoChord: true}
	for _, c := range t.Changes {
		if c.Chord.NoChord {
			continue
		}
		if c.Chord != f.home {
			before, f.home = f.home, c.Chord
		}
	}
	f.plain = !coloured(t.Changes)
	f.findTonic(before)
	return f
}

// findTonic asks whether the last chord is one to come home on.
func (f *frame) findTonic(before theory.Chord) {
	k, c := f.bar.Key, f.home
	root, minor := k.Tonic, k.Minor
	rest := c.Tones != 0 && (c.Kind == theory.Major || c.Kind == theory.Minor)
	sung := f.last.Pitch.Name.PC() == c.RootPC() || before.IsDominant() && fallsFifth(before, c)
	switch {
	case c.Tones != 0 && c.RootPC() == k.Tonic.PC() && (rest || c.Kind == theory.Dominant), rest && sung:
		root, minor = c.Root, c.Kind == theory.Minor
		f.blues = c.Kind == theory.Dominant
	}
	tones := degrees(0, 4, 7)
	if minor {
		tones = degrees(0, 3, 7)
	}
	f.tonic = theory.NewChord(root, tones, root)
}

func (f *frame) minor() bool { return f.tonic.Kind == theory.Minor }

// closes reports whether the sheet's last chord is the tonic.
func (f *frame) closes() bool { return f.home.Tones != 0 && f.home.RootPC() == f.tonic.RootPC() }

// seconds is how long a stretch of time takes at the end.
func (f *frame) seconds(t theory.Time) float64 { return t.Float() * 60 / f.bpm }

// full is how long a bar is.
func (f *frame) full() theory.Time { return f.bar.Metre.BarLen() }

// beats is how many beats a bar has, 0 where that is no whole number.
func (f *frame) beats() int { return wholes(f.full(), f.bar.Beat) }

// hold is how long the tune's last note has to the end of its bar; played out
// where the bar is short for the pick-up and bars follow.
func (f *frame) hold(bars bool) theory.Time {
	d := f.tune.End().Sub(f.last.At)
	if bars {
		d = d.Add(missing(f.bar))
	}
	return d
}

// missing is what a bar has too little, because the pick-up counts to it.
func missing(b theory.Bar) (d theory.Time) {
	if full := b.Metre.BarLen(); b.Len.Less(full) && !b.IsPickup() {
		d = full.Sub(b.Len)
	}
	return d
}

// ending is the one that is asked for.
func (f *frame) ending(c Choice) (passage, error) {
	if c == (Choice{"straight", 1}) { // what every tune gets is found without the others
		return f.firstStraight(), nil
	}
	return choose(f.endings(c.Kind), c, EndingName)
}

// endings are those of a kind, the one that suits best first.
func (f *frame) endings(kind string) []passage {
	var all []sketch
	switch kind {
	case "straight":
		all = f.straight()
	case "tag":
		all = f.tags()
	case "vamp":
		all = f.vamps()
	case "run":
		all = f.runs()
	}
	return inOrder(all)
}

// A sketch is a passage and how well it suits, less is better; kin is what it
// has in common with others.
type sketch struct {
	passage
	cost float64
	kin  []string
}

// How many endings of a kind there are at most, and what it costs to be akin to
// one that was chosen before: the next is to be another.
const (
	mostEndings = 12
	akin        = 0.7
)

// inOrder is the best of the sketches first, then what differs from it and is
// good.
func inOrder(all []sketch) (out []passage) {
	used := map[string]float64{}
	names := map[string]bool{}
	for len(out) < mostEndings {
		best, cost := -1, 0.0
		for i := range all {
			x := &all[i]
			if names[x.name] {
				continue
			}
			c := x.cost
			for _, k := range x.kin {
				c += akin * used[k]
			}
			if best < 0 || c < cost-1e-9 {
				best, cost = i, c
			}
		}
		if best < 0 {
			break
		}
		x := &all[best]
		names[x.name] = true
		for _, k := range x.kin {
			used[k]++
		}
		out = append(out, x.passage)
	}
	return out
}

// maker tries grips for what is put in.
func (f *frame) maker() *maker { return openMaker(f.neck, f.hand, f.right, f.taste) }
