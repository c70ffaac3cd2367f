package leadsheet

import (
	"math"

	"thumbline/theory"
)

// How well each pitch class fits a key, from its tonic up: the probe-tone
// ratings of Krumhansl and Kessler 1982, as printed in C. Krumhansl, Cognitive
// Foundations of Musical Pitch, 1990, table 2.1.
var (
	majorProfile = [12]float64{6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88}
	minorProfile = [12]float64{6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17}
)

// What chords add to the correlation of notes with a profile. Common practice,
// no source: a tune ends on its tonic, and most begin there.
const (
	chordTone  = 0.3 // weight of a chord tone that sounds as long as a melody note
	lastChord  = 0.25
	firstChord = 0.08
)

// likeliestKey is the key in which notes and chords lie best, and by how much
// it fits better than another. The lengths are in quarters.
func likeliestKey(pcs [12]float64, changes []smfChord) (key theory.Key, over func(theory.Key) float64) {
	var first, last *theory.Chord
	flats := 0
	for i := range changes {
		c := changes[i].chord()
		if c.NoChord {
			continue
		}
		if first == nil {
			first = c
		}
		last = c
		flats -= int(c.Root.Alter)
		for _, pc := range c.PCs().Members() {
			pcs[pc] += chordTone * changes[i].len
		}
	}
	best := math.Inf(-1)
	scores := make(map[[2]int]float64)
	for pc := range 12 {
		for _, minor := range []bool{false, true} {
			profile := &majorProfile
			if minor {
				profile = &minorProfile
			}
			r := correlation(pcs, profile, pc)
			for _, end := range []struct {
				c      *theory.Chord
				weight float64
			}{{last, lastChord}, {first, firstChord}} {
				if end.c == nil || end.c.RootPC() != pc {
					continue
				}
				third, ok := end.c.ThirdPC()
				if !ok || (third-pc+12)%12 == 3 == minor {
					r += end.weight
				}
			}
			scores[scoreKey(pc, minor)] = r
			if r > best+1e-9 {
				best, key = r, keyOn(pc, minor, flats > 0)
			}
		}
	}
	return key, func(k theory.Key) float64 { return best - scores[scoreKey(k.Tonic.PC(), k.Minor)] }
}

func scoreKey(pc int, minor bool) [2]int {
	if minor {
		return [2]int{pc, 1}
	}
	return [2]int{pc, 0}
}

func correlation(pcs [12]float64, profile *[12]float64, tonic int) float64 {
	var sx, sy, sxx, syy, sxy float64
	for i := range 12 {
		x, y := pcs[(tonic+i)%12], profile[i]
		sx, sy, sxx, syy, sxy = sx+x, sy+y, sxx+x*x, syy+y*y, sxy+x*y
	}
	d := (12*sxx - sx*sx) * (12*syy - sy*sy)
	if d <= 0 {
		return 0
	}
	return (12*sxy - sx*sy) / math.Sqrt(d)
}

// keyOn is the key on a pitch class with the fewest accidentals; where six
// sharps meet six flats the chord symbols decide.
func keyOn(pc int, minor, flats bool) theory.Key {
	best := theory.Key{}
	found := false
	for fifths := -6; fifths <= 6; fifths++ {
		k := keyOfFifths(fifths, minor)
		if k.Tonic.PC() != pc {
			continue
		}
		a, b := max(fifths, -fifths), max(best.Fifths, -best.Fifths)
		if !found || a < b || a == b && !flats {
			best, found = k, true
		}
	}
	return best
}

// keyOfFifths is the key of a signature.
func keyOfFifths(fifths int, minor bool) theory.Key {
	at := fifths
	if minor {
		at += 3
	}
	return theory.Key{Tonic: nameAt(at), Minor: minor, Fifths: fifths}
}

// nameAt is the name at a place on the line of fifths, C = 0.
func nameAt(place int) theory.Name {
	order := [7]theory.Letter{theory.F, theory.C, theory.G, theory.D, theory.A, theory.E, theory.B}
	n := place + 1 // F = 0
	alter := int(math.Floor(float64(n) / 7))
	return theory.Name{Letter: order[n-7*alter], Alter: int8(alter)}
}

// onTonic is the place on the line of fifths, from the tonic, of each semitone
// above it: b2, b3, b6, b7 and #4 for what the key does not hold.
var onTonic = [12]int{0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5}

// spell names a MIDI note: as the key has it, else as the chord has it, else
// as a neighbour note of the next by half a step, else by its degree.
func spell(midi int, key theory.Key, chord *theory.Chord, next int) theory.Pitch {
	pc := midi % 12
	at := func(n theory.Name) theory.Pitch {
		octave := (midi-int(n.Alter))/12 - 1
		if midi-int(n.Alter) < 0 {
			octave = -2
		}
		return theory.Pitch{Name: n, Octave: int8(octave)}
	}
	for l := theory.C; l <= theory.B; l++ {
		if n := (theory.Name{Letter: l, Alter: key.Alter(l)}); n.PC() == pc {
			return at(n)
		}
	}
	if chord != nil && !chord.NoChord && chord.PCs().Has(pc) {
		if n := toneOf(*chord, pc); n.Alter >= -1 && n.Alter <= 1 && n.PC() == pc {
			return at(n)
		}
	}
	if d := next - midi; next >= 0 && (d == 1 || d == -1) {
		// Up by a sharp, down by a flat: the next note's letter is another.
		for l := theory.C; l <= theory.B; l++ {
			n := theory.Name{Letter: l, Alter: key.Alter(l)}
			if n.PC() != (pc+d+12)%12 {
				continue
			}
			other := theory.Name{Letter: theory.Letter((int(l) - d + 7) % 7)}
			if alter := (pc-other.PC()+18)%12 - 6; alter >= -1 && alter <= 1 {
				other.Alter = int8(alter)
				return at(other)
			}
		}
	}
	tonic := key.Fifths
	if key.Minor {
		tonic += 3
	}
	n := nameAt(tonic + onTonic[(pc-key.Tonic.PC()+12)%12])
	if n.Alter < -1 || n.Alter > 1 {
		return theory.PitchOf(midi, key)
	}
	return at(n)
}

// toneOf names a tone of a chord by its degree.
func toneOf(c theory.Chord, pc int) theory.Name {
	tones := c.Tones
	d := (pc - c.RootPC() + 12) % 12
	step := [12]int{0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6}[d]
	switch {
	case d == 3 && tones.Has(4): // #9
		step = 1
	case d == 6 && tones.Has(7): // #11
		step = 3
	case d == 8 && tones.Has(4) && !tones.Has(7): // #5
		step = 4
	case d == 9 && tones.Has(3) && tones.Has(6) && !tones.Has(7): // diminished seventh
		step = 6
	}
	return c.Root.Transpose(theory.Interval{Steps: step, Semitones: d})
}
