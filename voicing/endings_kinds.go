package voicing

import (
	"slices"
	"strings"

	"thumbline/theory"
)

// How long a chord of an ending lasts at least, in seconds, and one that is
// heard for itself.
const (
	shortestRunChord = 0.3
	shortestChord    = 0.5
)

// A device is a way to come home: its chords over the tonic, before it
// (harmony.md 5.4).
type device struct {
	steps string
	name  string
	cost  float64
	keys  int // majorKeys, minorKeys
	plain bool
}

const (
	majorKeys = 1 << iota
	minorKeys
)

// deviceTable is in order of preference where costs are equal. Sources: the
// suspended dominant, common practice, no source; flat six and flat two, the
// tritone, S54; four minor and flat seven, S25; the others common practice, no
// source.
var deviceTable = []device{
	{"bVImaj7 bIImaj7", "flat six and flat two", 0, majorKeys, false},
	{"ivm6 bVII9", "four minor and flat seven", 0.3, majorKeys, false},
	{"II7b9#5 V7b9#5", "altered five of five, altered five", 0.5, majorKeys, false},
	{"iim7 bII9", "two, and flat two for the five", 0.4, majorKeys, false},
	{"iim7 V13", "two and five", 0.8, majorKeys, false},

	{"bVI7 V7b9", "flat six and five", 0, minorKeys, false},
	{"iim7b5 V7b9", "two and five", 0.2, minorKeys, false},
	{"bVImaj7 bII7", "flat six and flat two", 0.1, minorKeys, false},
	{"ivm6 V7b9#5", "four and altered five", 0.3, minorKeys, false},

	{"IV V7", "four and five", 0, majorKeys, true},
	{"iim V7", "two and five", 0.3, majorKeys, true},
	{"IV ivm", "four, four minor and home", 0.5, majorKeys, true},
	{"ivm V7", "four and five", 0, minorKeys, true},
	{"bVI V7", "flat six and five", 0.3, minorKeys, true},
	{"bVI bVII", "flat six, flat seven and home", 0.5, minorKeys, true},
}

// shortTable has the devices of one chord.
var shortTable = []device{
	{"V13sus", "the suspended five falls home", 0, majorKeys, false},
	{"bII9", "flat two for the five", 0.3, majorKeys, false},
	{"ivm6", "four minor, then home", 0.5, majorKeys, false},
	{"V7b9", "the altered five", 0.6, majorKeys, false},

	{"V7b9sus", "the suspended five falls home", 0, minorKeys, false},
	{"bII7", "flat two for the five", 0.3, minorKeys, false},
	{"ivm6", "four, then home", 0.4, minorKeys, false},

	{"IV", "four, then home", 0.2, majorKeys, true},
	{"V7sus", "the suspended five falls home", 0, majorKeys, true},
	{"ivm", "four, then home", 0, minorKeys, true},
	{"V7sus", "the suspended five falls home", 0.2, minorKeys, true},
}

// fits reports whether a device is of this tune's mode and music.
func (f *frame) fits(d device) bool {
	mode := majorKeys
	if f.minor() {
		mode = minorKeys
	}
	return d.keys&mode != 0 && d.plain == f.plain
}

// chordsOf are the chords of some steps.
func (f *frame) chordsOf(steps string) (out []theory.Chord) {
	for _, s := range strings.Fields(steps) {
		out = append(out, f.step(s))
	}
	return out
}

// comeHome are some chords of a length each and a last one after them.
func (f *frame) comeHome(chords []theory.Chord, each theory.Time, whole bool, fin final) (out []item) {
	for _, c := range chords {
		out = append(out, item{len: each, chord: c, whole: whole})
	}
	return append(out, item{chord: fin.chord(f)})
}

// span is how long the chords of a turn last: a beat where it is slow, half a
// bar, or a bar; nothing shorter than least seconds.
func (f *frame) span(least float64) theory.Time {
	n := f.beats()
	for _, d := range []int{1, n / 2, n} {
		if d == 0 || n%d > 0 {
			continue
		}
		if t := f.bar.Beat.Mul(int64(d), 1); f.seconds(t) >= least {
			return t
		}
	}
	return f.full()
}

// brief reports whether a chord is over before anything could answer it.
func (f *frame) brief(d theory.Time) bool {
	return !f.bar.Beat.Less(d) || f.seconds(d) < 0.8
}

// noSeven is the major seventh of the tonic where the tune has just sung the
// tonic itself, next to it (harmony.md 5.4); -1 where it may be.
func (f *frame) noSeven() int {
	if f.last.Pitch.Name.PC() == f.tonic.RootPC() {
		return (f.tonic.RootPC() + 11) % 12
	}
	return -1
}

// firstStraight is the close as it is written, where it is one.
func (f *frame) firstStraight() passage {
	if f.insteadOfTurn() {
		return f.lastChord("home instead of the turn", f.finals()[0])
	}
	return passage{name: "straight"}
}

// straight are closes within the tune's last note: as it stands, and where that
// is long enough chords that lead home under it.
func (f *frame) straight() []sketch {
	all := []sketch{{passage: f.firstStraight()}}
	instead := f.home.Tones != 0 && f.tonic.PCs().Has(f.last.Pitch.Name.PC())
	if !f.closes() {
		if instead && !f.insteadOfTurn() {
			all = append(all, sketch{f.lastChord("home instead of the turn", f.finals()[0]), 1, nil})
		}
		return all
	}
	for k, fin := range f.finals() {
		c := fin.chord(f)
		sung := f.last.Pitch.Name.PC()
		if c == f.home {
			continue
		}
		if c.Tones.Has(11) && (sung == c.RootPC() || !c.PCs().Has(sung)) {
			continue
		}
		if d := (sung - c.RootPC() + 12) % 12; d == 3 && c.Tones.Has(4) || d == 4 && c.Tones.Has(3) || d == 1 || d == 5 && c.Tones.Has(4) {
			continue
		}
		all = append(all, sketch{f.lastChord("home with the "+fin.name, fin), 3 + 0.3*float64(k), nil})
	}
	hold := f.hold(false)
	if hold.Less(f.full()) || f.seconds(hold) < 2 {
		return all
	}
	from := f.last.Pitch.MIDI()
	two := f.bar.Beat.Mul(2, 1)
	each := f.span(0.45)
	// the last chord needs its time too
	stand, devices := hold.Sub(each.Mul(2, 1)).Sub(f.closing()), deviceTable
	// home is heard first, to a bar line or the middle of a bar
	switch {
	case !stand.Less(f.full()):
		stand = f.full()
	case !stand.Less(two):
		stand = two
	default:
		devices = nil
	}
	for _, d := range devices {
		if !f.fits(d) {
			continue
		}
		chords := f.chordsOf(d.steps)
		for k, fin := range f.finals() {
			items := f.comeHome(chords, each, f.brief(each), fin)
			cost := f.singSteps(items, want{from: from, end: fin.top, avoid: f.noSeven()})
			if cost < 1e9 {
				all = append(all, sketch{f.lay(d.name, hold.Sub(stand), false, items), 0.5 + d.cost + 0.3*cost + 0.3*float64(k), []string{d.name}})
			}
		}
	}
	each = f.span(0.6)
	if each == f.bar.Beat && f.beats() == 4 && f.seconds(each) < 0.8 {
		each = two
	}
	if hold.Sub(each).Less(two) {
		return all
	}
	for _, d := range shortTable {
		if !f.fits(d) {
			continue
		}
		if chords := f.chordsOf(d.steps); sings(from, chords[0], false) {
			items := f.comeHome(chords, each, false, f.finals()[0])
			all = append(all, sketch{f.lay(d.name+" under the last note", hold, false, items), 1 + d.cost, []string{d.name}})
		}
	}
	return all
}

// insteadOfTurn reports whether the tune's last note does not go with the third of
// the last chord, but with the tonic: the turn leads back, and nothing comes
// after it.
func (f *frame) insteadOfTurn() bool {
	if f.closes() || f.written {
		return false
	}
	third, ok := f.home.ThirdPC()
	sung := f.last.Pitch.Name.PC()
	d := (sung - third + 12) % 12
	return ok && (d == 1 || d == 11) && f.tonic.PCs().Has(sung)
}

// lastChord is a last chord in place of the sheet's own.
func (f *frame) lastChord(name string, fin final) passage {
	at := f.tune.Changes[len(f.tune.Changes)-1].At
	if at.Less(f.last.At) {
		at = f.last.At
	}
	return f.lay(name, f.tune.End().Sub(at), false, []item{{chord: fin.chord(f)}})
}

// sings reports whether a pitch sings on top of a chord.
func sings(midi int, c theory.Chord, plain bool) bool {
	d := (midi - c.RootPC() + 120) % 12
	return slices.ContainsFunc(tops(c, plain, isAltered(c)), func(x colour) bool { return x.degree == d })
}

// vampTable are turns on the tonic.
var vampTable = []device{
	{"I6 VI7 iim7 V7", "one, six, two, five", 0, majorKeys, false},
	{"I6 #idim7 iim7 V7", "one, the diminished above it, two, five", 0.3, majorKeys, false},
	{"I6 bVII9 I6 bVII9", "one and flat seven", 0.6, majorKeys, false},
	{"iiim7 VI7 iim7 V7", "three, six, two, five", 0.5, majorKeys, false},

	{"im6 bVImaj7 iim7b5 V7", "one, flat six, two, five", 0, minorKeys, false},
	{"im6 vim7b5 iim7b5 V7", "one, six, two, five", 0.4, minorKeys, false},
	{"im6 IV9 im6 IV9", "one and four", 0.5, minorKeys, false},
	{"im6 bVI7 im6 V7", "one, flat six, one, five", 0.6, minorKeys, false},

	{"I IV I V7", "one, four, one, five", 0, majorKeys, true},
	{"I vim IV V7", "one, six, four, five", 0.2, majorKeys, true},
	{"I bVII I bVII", "one and flat seven", 0.6, majorKeys, true},
	{"im ivm im V7", "one, four, one, five", 0, minorKeys, true},
	{"im bVII im bVII", "one and flat seven", 0.2, minorKeys, true},
	{"im bVI bVII V7", "one, flat six, flat seven, five", 0.4, minorKeys, true},
}

// times says how often, in words.
var times = [...]string{"", "once", "twice", "three times"}

// wide is by how many half steps a top line goes beyond a sixth: a turn that comes
// again goes somewhere, but not away.
func wide(items []item) float64 {
	lo, hi := 127, 0
	for _, it := range items {
		lo, hi = min(lo, it.top), max(hi, it.top)
	}
	return float64(max(hi-lo-9, 0))
}

// vamps are turns on the tonic, two or three times, and home.
func (f *frame) vamps() (all []sketch) {
	each := f.span(0.5)
	if n := f.beats(); n%2 == 0 && n > 2 && each.Less(f.bar.Beat.Mul(int64(n/2), 1)) {
		each = f.bar.Beat.Mul(int64(n/2), 1)
	}
	if n := f.beats(); n == 3 || n == 2 && f.brief(each) && f.bar.Beat.Cmp(theory.Quarters(2, 1)) == 0 {
		each = f.full()
	}
	from := f.last.Pitch.MIDI()
	for _, d := range vampTable {
		if !f.fits(d) {
			continue
		}
		chords := f.chordsOf(d.steps)
		for n := 2; n <= 3; n++ {
			for k, fin := range f.finals() {
				items := f.comeHome(slices.Repeat(chords, n), each, false, fin)
				cost := f.singSteps(items, want{from: from, end: fin.top, avoid: -1})
				if cost > 1e9 {
					continue
				}
				f.pass(items)
				all = append(all, sketch{f.lay("vamp: "+d.name+", "+times[n], theory.Time{}, true, items),
					d.cost + 0.15*cost + 0.15*wide(items) + 0.7*float64(n-2) + 0.2*float64(k), []string{d.name}})
			}
		}
	}
	return all
}
