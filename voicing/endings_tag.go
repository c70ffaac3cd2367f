package voicing

import (
	"thumbline/theory"
)

// tags are the last phrase again: its close goes on by the dominant of the chord
// that it begins with, and comes home the last time.
func (f *frame) tags() (all []sketch) {
	t := f.tune
	held := len(t.Bars) - t.BarAt(f.last.At)
	for _, total := range []int{2, 4, 3, 5} {
		from := len(t.Bars) - total
		if total <= held || from < 0 || !f.whole(from) {
			continue
		}
		p := phrase{f: f, from: t.Bars[from].At}
		p.read()
		if len(p.notes) < 3 {
			continue
		}
		cost := 0.0
		if total != 2 && total != 4 {
			cost = 1
		}
		if total == 2 && len(p.notes) < 5 {
			cost += 0.3
		}
		for _, b := range f.backs(&p) {
			for n := 1; n <= 2; n++ {
				if n == 2 && total > 4 {
					continue
				}
				all = append(all, sketch{p.tag(b, n), cost + b.cost + 0.6*float64(n-1), []string{b.name, times[n]}})
			}
		}
	}
	return all
}

// whole reports whether the bars from one on are full, the last aside.
func (f *frame) whole(from int) bool {
	for _, b := range f.tune.Bars[from : len(f.tune.Bars)-1] {
		if b.Len != b.Metre.BarLen() || b.Metre != f.bar.Metre || b.IsPickup() {
			return false
		}
	}
	return true
}

// A phrase is the end of the tune that comes again, times counted from its
// start.
type phrase struct {
	f      *frame
	from   theory.Time
	pickup []theory.Note // notes before it that lead into it, at times before 0
	notes  []theory.Note
	chords []passageChord
}

// read takes the phrase out of the tune.
func (p *phrase) read() {
	t := p.f.tune
	zero := theory.Time{}
	ok := false
	for _, n := range t.Melody {
		if n.At, n.Len, ok = since(p.from, n.At, n.Len); ok {
			p.notes = append(p.notes, n)
		}
	}
	for _, c := range t.Changes {
		if c.At, c.Len, ok = since(p.from, c.At, c.Len); !ok || c.Chord.NoChord {
			continue
		}
		if k := len(p.chords); k > 0 && p.chords[k-1].Chord == c.Chord && zero.Less(c.At) {
			p.chords[k-1].Len = p.chords[k-1].Len.Add(c.Len)
			continue
		}
		p.chords = append(p.chords, passageChord{Change: c})
	}
	// what leads into it: short notes after a long one or a rest
	for i := len(t.Melody) - 1; i > 0; i-- {
		n, q := t.Melody[i], t.Melody[i-1]
		if !n.At.Less(p.from) {
			continue
		}
		if p.from.Less(n.At.Add(n.Len)) || !n.Len.Less(p.f.bar.Beat.Mul(3, 2)) || p.f.full().Mul(1, 2).Less(p.from.Sub(n.At)) {
			p.pickup = nil
			break
		}
		n.At = n.At.Sub(p.from)
		p.pickup = append([]theory.Note{n}, p.pickup...)
		if !q.Len.Less(p.f.bar.Beat.Mul(3, 2)) || q.At.Add(q.Len).Less(n.At.Add(p.from)) {
			break
		}
	}
}

// first is the first note of the phrase with what leads into it.
func (p *phrase) first() theory.Note {
	if len(p.pickup) > 0 {
		return p.pickup[0]
	}
	return p.notes[0]
}

// A back is how a close goes on to the phrase again: its chords, from their
// start before the phrase on.
type back struct {
	name  string
	lead  theory.Time
	items []item
	cost  float64
}

// backs are the ways to lead back to a phrase, the tune's own where the sheet
// does not end on its tonic.
func (f *frame) backs(p *phrase) (out []back) {
	if !f.closes() {
		return []back{{name: "by the sheet's own turn"}}
	}
	if len(p.chords) == 0 {
		return nil
	}
	to, hold := p.chords[0].Chord, f.hold(true)
	zero := theory.Time{}
	// the chord that leads on takes the last half bar, or the last bar
	half := f.full()
	if n := f.beats(); n > 0 && n%2 == 0 {
		half = half.Mul(1, 2)
	} else if n == 3 {
		half = f.bar.Beat
	}
	var spans []theory.Time
	for _, d := range []theory.Time{half, f.full()} {
		if f.seconds(d) >= shortestChord && !hold.Less(d) && (len(spans) == 0 || spans[0] != d) {
			spans = append(spans, d)
		}
	}
	sung := f.last.Pitch.MIDI()
	add := func(name string, cost float64, d theory.Time, chords ...theory.Chord) {
		total := d.Mul(int64(len(chords)), 1)
		if hold.Less(total) || f.seconds(hold.Sub(total)) > 0 && len(chords) == 1 && hold.Sub(total).Less(f.bar.Beat) {
			return
		}
		b := back{name: name, lead: total, cost: cost}
		if stood := hold.Sub(total); f.full().Less(stood) { // home is heard in a bar
			b.cost += stood.Sub(f.full()).Float() / f.full().Float()
		}
		for i, c := range chords {
			it := item{len: d, chord: c}
			begins := total.Sub(hold) == zero && i == 0
			sings := sings(sung, c, f.plain)
			if begins && !sings {
				return // the tune's own last note comes with it
			}
			if sings && (begins || len(p.pickup) > 0 || i+1 < len(chords)) {
				it.top = sung
			}
			b.items = append(b.items, it)
		}
		kept := make([]bool, len(b.items))
		for i := range b.items {
			kept[i] = b.items[i].top > 0
		}
		b.cost += 0.2 * f.sing(b.items, want{from: sung, to: p.first().Pitch.MIDI(), avoid: -1})
		for i := range b.items {
			if kept[i] {
				b.items[i].top = 0 // the tune's note goes on
			}
		}
		out = append(out, b)
	}
	five := dominantOf(to, f.plain)
	two := f.twoOf(to)
	for k, d := range spans {
		more := 0.3 * float64(k)
		if five.RootPC() != f.tonic.RootPC() || f.plain || to.Kind == theory.Dominant {
			add("by "+five.String(), 0.4+more, d, five)
		}
		if !f.plain {
			add("by "+two.String()+" and "+five.String(), more, d, two, five)
			tri := theory.NewChord(to.Root, degrees(0, 4, 7, 10), to.Root).Transpose(theory.Interval{Steps: 1, Semitones: 1})
			add("by "+tri.String(), 0.8+more, d, tri)
			add("by "+two.String()+" and "+tri.String(), 0.9+more, d, two, tri)
		}
	}
	if len(out) == 0 {
		out = append(out, back{name: "as it is", cost: 0.5})
	}
	return out
}

// dominantOf is the five of a chord, with the flat nine where that is minor.
func dominantOf(c theory.Chord, plain bool) theory.Chord {
	tones := degrees(0, 4, 7, 10)
	if !plain && (c.Kind == theory.Minor || c.Kind == theory.HalfDiminished) {
		tones = tones.With(1)
	}
	return theory.NewChord(c.Root, tones, c.Root).Transpose(theory.Interval{Steps: 4, Semitones: 7})
}

// twoOf is the two of a chord: half-diminished before a minor one, unless its
// fifth is of the key.
func (f *frame) twoOf(c theory.Chord) theory.Chord {
	tones := degrees(0, 3, 7, 10)
	minor := c.Kind == theory.Minor || c.Kind == theory.HalfDiminished
	if minor && !signaturePCs(f.bar.Key.Fifths).Has(c.RootPC()+9) {
		tones = degrees(0, 3, 6, 10)
	}
	return theory.NewChord(c.Root, tones, c.Root).Transpose(theory.Interval{Steps: 1, Semitones: 2})
}

// tag is the phrase so many times more, each time but the last left by b.
func (p *phrase) tag(b back, n int) passage {
	f := p.f
	x := passage{name: "the last phrase " + times[n] + " more", lead: b.lead}
	if len(b.items) > 0 {
		x.name += ", left " + b.name
	}
	for range n {
		start := x.length()
		x.leave(f, b, start, p.pickup)
		for at := p.from; at.Less(f.tune.End()); at = at.Add(f.full()) {
			x.bars = append(x.bars, f.full())
		}
		x.add(start, p.notes, p.chords)
	}
	if !f.closes() {
		f.goHome(&x)
	} else {
		x.standOut(f)
	}
	for i := range x.chords { // a bar that was short for the pick-up is played out
		end := x.length()
		if i+1 < len(x.chords) {
			end = x.chords[i+1].At
		}
		x.chords[i].Len = end.Sub(x.chords[i].At)
	}
	return x
}

// standOut lets the last note stand to the end of its bar, and long enough.
func (x *passage) standOut(f *frame) {
	m := &x.notes[len(x.notes)-1]
	for x.length().Less(m.At.Add(f.closing())) {
		x.bars = append(x.bars, f.full())
	}
	m.Len = x.length().Sub(m.At)
}

// goHome adds the tonic after what does not end on it.
func (f *frame) goHome(x *passage) {
	at := x.length()
	fin := f.finals()[0]
	items := []item{{chord: fin.chord(f)}}
	f.sing(items, want{from: x.notes[len(x.notes)-1].Pitch.MIDI(), end: fin.top, avoid: -1})
	y := f.lay("", theory.Time{}, true, items)
	x.add(at, y.notes, y.chords)
	x.bars = append(x.bars, y.bars...)
}

// leave goes on from a close before start: by the chords of b, and what leads
// into the phrase.
func (x *passage) leave(f *frame, b back, start theory.Time, pickup []theory.Note) {
	at := start.Sub(b.lead)
	into := start
	if len(pickup) > 0 {
		into = start.Add(pickup[0].At)
	}
	zero := theory.Time{}
	cut := func(at theory.Time) {
		if k := len(x.notes); k > 0 && at.Less(x.notes[k-1].At.Add(x.notes[k-1].Len)) {
			x.notes[k-1].Len = at.Sub(x.notes[k-1].At)
		}
	}
	if k := len(x.chords); k > 0 && len(b.items) > 0 {
		for k > 0 && !x.chords[k-1].At.Less(at) {
			k--
		}
		x.chords = x.chords[:k]
		if k > 0 {
			x.chords[k-1].Len = at.Sub(x.chords[k-1].At)
		}
	}
	for _, it := range b.items {
		x.chords = append(x.chords, passageChord{Change: theory.Change{At: at, Len: it.len, Chord: it.chord}})
		if it.top > 0 && at.Less(into) {
			cut(at)
			n := theory.Note{At: at, Len: it.len, Pitch: theory.PitchOf(it.top, f.bar.Key)}
			if into.Less(at.Add(it.len)) {
				n.Len = into.Sub(at)
			}
			if zero.Less(n.Len) {
				x.notes = append(x.notes, n)
			}
		}
		at = at.Add(it.len)
	}
	for _, n := range pickup {
		n.At = n.At.Add(start)
		if n.At.Cmp(b.lead.Sub(f.hold(true))) <= 0 { // the tune's own last note stands there
			continue
		}
		if n.At.Less(zero) || len(x.notes) > 0 && !x.notes[len(x.notes)-1].At.Less(n.At) {
			continue
		}
		cut(n.At)
		x.notes = append(x.notes, n)
	}
}
