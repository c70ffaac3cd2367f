package theory

// GripName names the pitch classes that sound, bass the lowest of them (the
// bass player's note, in a trio). A set
// that fits the written chord is named over its root, with the bass and a
// missing root or third told: "G7b9", "Bb/F", "Cm7/G, no root". Any other set is
// named as what it is: "Ebmaj7", "F#dim7/A", and two notes "Bb5" or "Bb and D".
// The name is for display; a missing fifth, and a 9 under a 13, go without
// saying. No pitch classes give the empty string.
func GripName(pcs PCSet, bass int, over Chord) string {
	if pcs == 0 {
		return ""
	}
	bass = mod12(bass)
	pcs = pcs.With(bass)
	spell := func(pc int) string { return over.spell(pc).String() }
	if pcs.Len() == 1 {
		return spell(bass)
	}
	over = over.overPedal()
	if over.Slash && bass == over.BassPC() && !over.Tones.Has(bass-over.RootPC()) {
		// a bass that is none of the chord: what lies above it may be nothing else
		if up := (pcs &^ tones(bass)).Rotate(-over.RootPC()); up.Len() >= 3 && up&^over.Tones == 0 {
			return over.String()
		}
	}
	if name, ok := nameOver(pcs, bass, over); ok {
		return name
	}
	if pcs.Len() == 2 {
		other := pcs.Rotate(-bass).Members()[1]
		switch other {
		case 7:
			return spell(bass) + "5"
		case 5:
			return spell(bass+5) + "5/" + spell(bass)
		}
		return spell(bass) + " and " + spell(bass+other)
	}
	root, suffix := nameItself(pcs, bass)
	name := spell(root) + suffix
	if root != bass {
		name += "/" + spell(bass)
	}
	return name
}

// overPedal is what a diminished chord over a bass a major third under its root
// is: the dominant on that bass with its flat nine (harmony.md 2.2).
func (c Chord) overPedal() Chord {
	if c.Kind != Diminished || mod12(c.RootPC()-c.BassPC()) != 4 {
		return c
	}
	return NewChord(c.Bass, tones(0, 1, 4, 7, 10), c.Bass)
}

// spell names a pitch class as a degree of the chord, in the letters a chart
// would use.
func (c Chord) spell(pc int) Name {
	if c.NoChord {
		return plainName(pc, c.Root.Alter > 0)
	}
	d := mod12(pc - c.RootPC())
	letters := degreeLetters[d]
	switch {
	case d == 3 && !c.Tones.Has(4):
		letters = 2 // b3
	case d == 6 && c.Tones.Has(6) && !c.Tones.Has(7):
		letters = 4 // b5
	case d == 8 && c.Tones.Has(8) && !c.Tones.Has(7):
		letters = 4 // #5
	}
	return chordName(c.Root.Transpose(Interval{letters, d}))
}

// welcome are the degrees that leave each kind what it is.
var welcome = [...]PCSet{
	Major:          tones(0, 2, 4, 5, 6, 7, 9, 11),
	Minor:          tones(0, 2, 3, 5, 7, 9, 10, 11),
	Dominant:       tones(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10),
	HalfDiminished: tones(0, 2, 3, 5, 6, 8, 10),
	Diminished:     tones(0, 2, 3, 5, 6, 8, 9, 11),
	Augmented:      tones(0, 2, 4, 6, 8, 9, 10),
	Suspended:      tones(0, 1, 2, 4, 5, 7, 9, 10),
	Power:          tones(0, 7),
}

// nameOver names a set over the written root, if it fits there.
func nameOver(pcs PCSet, bass int, over Chord) (string, bool) {
	if over.NoChord || over.Kind == Power {
		return "", false
	}
	d := pcs.Rotate(-over.RootPC())
	third := 4
	if !over.Tones.Has(4) && over.Kind != Suspended {
		third = 3
	}
	dominant := over.IsDominant()
	seventh := d.Has(10) || d.Has(11)
	suspended := !d.Has(third) && d.Has(5) && (dominant && d.Has(10) || over.Kind == Suspended)
	switch {
	case d&^(welcome[over.Kind]|over.Tones) != 0:
		return "", false
	case third == 4 && d.Has(3) && !d.Has(4):
		return "", false
	case over.Kind == Major && d.Has(5) && !over.Tones.Has(5) && (seventh || !d.Has(0)):
		return "", false // an 11 with a major seventh is another chord
	case d.Has(9) && mod12(bass-over.RootPC()) == 9 && bass != over.BassPC() && d.Has(0) && d.Has(third) && over.Kind <= Minor:
		return "", false // a sixth chord with its sixth below is a minor seventh
	case d.Has(third) && d.Len() == 2 && !seventh && !d.Has(9):
		return "", false // two notes that are no shell
	case suspended && d.Len() > 2, d.Has(third):
	case !suspended && d.Has(0) && seventh && over.Kind != Suspended:
	case over.Kind == Dominant && d == tones(1, 7, 10): // the rest of a 7b9
	default:
		return "", false
	}
	full := d.With(0)
	note := ""
	if !d.Has(0) {
		note = ", no root"
	}
	if !d.Has(third) && !suspended {
		full, note = full.With(third), note+", no 3"
	}
	name := over.Root.String() + looseSuffix(full, over)
	// Of two notes without the root neither is the bass of the chord.
	if bass != over.RootPC() && (d.Has(0) || d.Len() > 2) {
		name += "/" + over.spell(bass).String()
	}
	return name + note, true
}

// looseSuffix spells tones with what a name takes for granted: the fifth, and
// the 9 and 11 under a 13 or 11.
func looseSuffix(t PCSet, over Chord) string {
	seventh := t.Has(10) || t.Has(11)
	if t.Has(3) && t.Has(9) && t.Has(11) && t&tones(1, 4, 5, 6, 8, 10) == 0 {
		return "m(maj13)" // the minor tonic with all of its scale
	}
	if t.Has(4) && t.Has(10) && t.Has(8) && !t.Has(7) && !t.Has(9) && !t.Has(2) && (t.Has(1) || t.Has(3)) {
		return "7alt"
	}
	altered := t.Has(8) && !t.Has(7) || t.Has(6) && !over.Tones.Has(7)
	switch {
	case t.Has(7):
	case over.Kind == HalfDiminished || over.Kind == Diminished:
		t = t.With(6)
	case over.Kind == Augmented && !seventh:
		t = t.With(8)
	case !altered:
		t = t.With(7)
	}
	if seventh && t&tones(1, 2) == 0 && !(t.Has(3) && t.Has(4)) {
		if t.Has(9) && over.Kind != Diminished || t.Has(5) && t.Has(3) {
			t = t.With(2)
		}
		if t.Has(9) && t.Has(3) && over.Kind == Minor {
			t = t.With(5)
		}
	}
	return SuffixOf(t)
}

// nameItself finds the root over which a set reads most easily: the fewest
// edits, then the plainer quality, the bass before the others.
func nameItself(pcs PCSet, bass int) (root int, suffix string) {
	const (
		edit      = 100
		noFifth   = 60 // a fifth that goes without saying, in a quality of the table
		inversion = 10
	)
	best := 1 << 30
	for _, r := range pcs.Members() {
		t := pcs.Rotate(-r)
		for _, c := range []struct {
			tones PCSet
			cost  int
		}{{t, 0}, {t.With(7), noFifth}} {
			s := spellings()[c.tones]
			if c.cost > 0 && s.cost > 0 {
				continue
			}
			cost := edit*s.cost + s.row + c.cost
			if s.cost > 0 && c.tones&tones(3, 4) == 0 {
				cost += 2 * edit // an altered suspension says nothing to the eye
			}
			if r != bass {
				cost += inversion
			}
			if cost < best {
				best, root, suffix = cost, r, s.suffix
			}
		}
	}
	return root, suffix
}
