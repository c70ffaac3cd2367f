package voicing

import (
	"slices"

	"thumbline/theory"
)

// A palette says which pitch classes may sound under a chord and what each
// costs as a colour. It reads the written chord first, then what the scales of
// theory.Uses add, then the key signature: a colour outside the key is dearer.
type palette struct {
	chord  theory.Chord
	cost   [12]float64 // by pitch class; none forbids
	root   int
	bass   int // the root, or the written bass
	guides []int
	third  int // pitch class, -1 when the chord has none
	sev    int // pitch class of the seventh, -1
	dom    bool
	far    bool        // a substitute: natural and altered forms do not meet
	named  [12]float64 // by pitch class: what it costs to leave out a colour that the symbol names
	want   []int       // the pitch classes of named
}

const none = 1e6

// A mood is how far a chord is taken from what is written.
type mood uint8

const (
	written mood = iota
	strict       // nothing but the written chord and its usual extensions
	pedal        // a two over the root of the five that follows it
	altered      // a dominant from the minor six a half step above its root
	tritone      // the same, on the root a tritone away
	upper        // a tonic from the six on its fifth: third, fifth, seventh, ninth
)

// leftOut is what it costs to leave out a colour that the symbol names, by
// degree; 0 for the degrees that are no colours.
var leftOut = [12]float64{1: 2, 2: 1, 3: 2, 5: 0.7, 6: 1.5, 8: 2, 9: 1}

// newPalette weighs the twelve pitch classes under the chord of a spot.
func newPalette(s spot) palette {
	c, key, resolves, m := s.chord, s.key, s.resolves, s.mood
	p := palette{chord: c, root: c.RootPC(), bass: c.BassPC(), third: -1, sev: -1, dom: c.IsDominant()}
	p.guides = c.GuideTones()
	if t, ok := c.ThirdPC(); ok {
		p.third = t
	}
	if t, ok := c.SeventhPC(); ok {
		p.sev = t
	}
	for i := range p.cost {
		p.cost[i] = none
	}
	if m >= altered {
		p.far = true
		p.take(m)
		p.listWanted()
		return p
	}
	has := func(d int) bool { return c.Tones.Has(d) }
	set := func(d int, cost float64) {
		pc := (p.root + d) % 12
		if !key.Has(pc) {
			cost = cost*1.5 + 0.9
		}
		if cost < p.cost[pc] {
			p.cost[pc] = cost
		}
	}
	switch c.Kind {
	case theory.Major:
		set(9, 0.35)
		set(2, 0.7)
		if has(11) {
			set(9, 0.6)
		} else if key.Has(p.root+11) && m != strict {
			set(11, 1.2)
		}
	case theory.Minor:
		set(2, 0.9)
		if s.minorTonic && !has(10) {
			// a minor tonic takes the sixth, then the major seventh; its flat
			// seventh would make it a two (harmony.md 3.2)
			p.cost[(p.root+9)%12], p.cost[(p.root+11)%12], p.cost[(p.root+10)%12] = 0.3, 0.8, 1.5
			if !s.coloured {
				p.cost[(p.root+11)%12] = none
			}
			if has(9) || has(11) {
				p.cost[(p.root+10)%12] = none // what is written has settled it
			}
		} else if has(10) {
			set(5, 1.1)
		} else if !has(11) && !has(9) {
			if key.Has(p.root + 10) {
				set(10, 0.4)
			}
			if key.Has(p.root + 9) {
				set(9, 0.6)
			}
		}
		if has(11) {
			set(9, 0.5)
		}
	case theory.Dominant:
		altered := has(1) || has(3) || has(8) || c.Tones.Has(6) && !c.Tones.Has(7)
		if !altered {
			if !s.toMinor {
				set(2, 0.5)
				if s.toTwo {
					set(9, 1.6) // the thirteen is of the major chord that does not come
				} else {
					set(9, 0.8)
				}
			}
			if resolves && m != strict && !has(2) && !s.nine && (s.coloured || key.Has(p.root+1)) {
				p.cost[(p.root+1)%12] = 0.3
			}
			if resolves && key.Has(p.root+8) && m != strict {
				set(8, 1.0)
			}
		} else {
			if !has(2) {
				set(1, 0.5)
			}
			if has(1) && !has(8) {
				set(9, 1.2)
			}
			if has(8) && !has(7) {
				set(3, 0.9)
			}
		}
	case theory.HalfDiminished:
		set(5, 0.9)
	case theory.Suspended:
		set(9, 0.7)
		if has(10) {
			set(2, 0.5)
		}
	case theory.Augmented:
		set(2, 1.2)
	}
	if s.line {
		for _, d := range []int{9, 10, 11} {
			p.cost[(p.root+d)%12] = none
		}
	}
	// the written tones last: they cost nothing, whatever the key
	for d := 0; d < 12; d++ {
		if has(d) {
			p.cost[(p.root+d)%12] = 0
		}
	}
	if p.cost[(p.root+7)%12] == 0 {
		p.cost[(p.root+7)%12] = 0.15 // the fifth adds least (harmony.md 4.3)
	}
	// a colour named in the symbol is wanted after the guide tones (harmony.md 4.3)
	for d, cost := range leftOut {
		if cost == 0 {
			continue
		}
		pc := (p.root + d) % 12
		if d == 6 && has(d) && !has(7) || d == 8 && has(d) && !has(7) {
			cost = 6 // a raised or lowered fifth that is named is never left out
		}
		if has(d) && pc != p.third && pc != p.sev && !slices.Contains(p.guides, pc) {
			p.named[pc] = cost
		}
	}
	if m == pedal {
		p.bass = (p.root + 5) % 12
		p.cost[p.bass] = min(p.cost[p.bass], 1)
	}
	if c.Slash {
		if p.cost[p.bass] >= none {
			p.cost[p.bass] = 3 // it may sound above too, but belongs below
		}
	}
	p.listWanted()
	return p
}

func (p *palette) listWanted() {
	for pc, c := range p.named {
		if c > 0 {
			p.want = append(p.want, pc)
		}
	}
}

// take sets the palette of a substitute (harmony.md 3.2: the altered rows, the
// tritone's own, the tonic's brighter six).
func (p *palette) take(m mood) {
	set := func(d int, cost float64) { p.cost[(p.root+d)%12] = cost }
	switch m {
	case altered:
		set(4, 0)
		set(10, 0)
		set(1, 0.1)
		set(3, 0.4)
		set(8, 0.2)
		set(0, 0.3)
		p.named[(p.root+1)%12], p.named[(p.root+8)%12] = 0.6, 0.6
	case tritone:
		set(4, 0)
		set(10, 0)
		set(8, 0.1)
		set(1, 0.2)
		set(3, 0.5)
		p.bass = (p.root + 6) % 12
		set(6, 0)
	case upper:
		p.guides = []int{(p.root + 4) % 12, (p.root + 11) % 12}
		set(4, 0)
		set(11, 0)
		set(2, 0)
		set(7, 0.1)
		set(0, 0.4)
		p.named[(p.root+2)%12], p.named[(p.root+11)%12] = 0.8, 0.8
	}
}

// told reports whether a grip says what its substitute is: an altered ninth or
// thirteenth below the tune, the tritone's root in the bass, the brighter six
// whole.
func (p *palette) told(g *grip) bool {
	var d theory.PCSet
	for k := int8(0); k < g.n; k++ {
		if n := g.note[k]; n.voice != Melody {
			d = d.With(int(n.midi) - p.root)
		}
	}
	switch {
	case p.bass != p.root: // of the tritone, or a pedal
		b, ok := g.bass()
		return ok && int(b.midi)%12 == p.bass
	case p.dom:
		return d.Has(1) || d.Has(3) || d.Has(8)
	}
	return g.pcs.Has(p.root+11) && g.pcs.Has(p.root+2) && g.pcs.Has(p.root+4)
}

// bassCost is what a pitch class costs as the lowest note.
func (p *palette) bassCost(pc int, w *Taste, ground bool) float64 {
	if pc == p.bass {
		return 0
	}
	c := w.BassNotRoot
	if ground {
		c = w.GroundMissing
	}
	switch (pc - p.root + 12) % 12 {
	case 7:
		c += w.FifthLowest
	case 3, 4, 10, 0:
	default:
		c += 2.5
	}
	if ground {
		c += 2
	}
	if p.chord.Slash {
		c += 2
	}
	if p.chord.Kind == theory.Diminished {
		c += 2 // a written diminished chord keeps its own bass (harmony.md 3.4 rule 12)
	}
	return c
}

// minorNinth reports whether two notes form a minor ninth that may not sound
// over this chord: lower and upper as MIDI pitches, lowest the lowest of all.
func (p *palette) minorNinth(lower, upper, lowest int, pcs theory.PCSet) bool {
	if upper-lower <= 12 || (upper-lower)%12 != 1 {
		return false
	}
	// a dominant's root may stand under its flat nine
	return !(lower == lowest && lower%12 == p.root && p.dom && pcs.Has(p.root+4) && pcs.Has(p.root+10))
}

// forms reports whether two degrees of one family meet: 9 with b9 or #9, 13
// with b13, the plain fifth beside a raised or lowered one that the symbol
// names (harmony.md 3.4 rule 8). What meets still meets when more is added.
func (p *palette) forms(pcs theory.PCSet) bool {
	d := pcs.Rotate(-p.root)
	return p.colours(pcs) || d.Has(5) && d.Has(4) && !p.chord.Tones.Has(5)
}

// colours is forms without the third and the fourth, which may follow each
// other while one rings.
func (p *palette) colours(pcs theory.PCSet) bool {
	d := pcs.Rotate(-p.root)
	if d.Has(2) && (d.Has(1) || d.Has(3) && p.third == (p.root+4)%12) {
		return true
	}
	if p.dom && d.Has(8) && (d.Has(9) || d.Has(7)) && (!p.chord.Tones.Has(7) || p.far) {
		return true
	}
	if p.dom && d.Has(8) && d.Has(9) {
		return true
	}
	return p.far && p.dom && d.Has(6) && d.Has(7)
}
