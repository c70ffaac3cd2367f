package voicing

// Taste is every weight of the arranger, in one arbitrary unit: about what a
// player minds as much as one clumsy stretch. Two tastes can be compared by
// arranging a tune with each.
//
// What is wanted pulls in three ways. Harmony wants full grips with their
// guide tones and a bass that walks; the hand wants few notes, near each
// other, and time to move; the tune wants to ring and to be left alone. The
// weights below settle that: a missing guide tone outweighs any stretch a hand
// can make, a cut melody note outweighs a colour, and a shift is dear enough
// that a bar stays in one place unless the tune leaves it.
type Taste struct {
	// Harmony of one grip.
	GuideMissing  float64 // a third or seventh that neither grip nor tune has
	NoBass        float64 // nothing in the bass register
	BassNotRoot   float64 // a lowest note other than the root or the written bass
	GroundMissing float64 // the same where a section starts or the tune ends
	Hole          float64 // more than an octave under the tune
	Thin          float64 // fewer than three different notes
	Doubled       float64 // an octave inside a grip of four
	OuterOctave   float64 // tune and lowest note whole octaves apart in a full grip
	NoStep        float64 // notes that are no voicing by scale step
	Bare          float64 // fewer than four notes where there is room for a full grip
	FlatNine      float64 // a flat nine in a dominant that resolves (a gain, subtracted)
	Close         float64 // two neighbours a semitone apart
	Colour        float64 // factor on the colour of a note (see palette)

	// Hand of one grip.
	Finger   float64 // factor on the discomfort of a fingering
	HighFret float64 // each fret above 10
	LowTune  float64 // the tune on string 3, twice that on string 4
	OpenBass float64 // an open string under the bass (a gain, subtracted)
	Full     float64 // four notes at once where the next attack is near

	// From one grip to the next.
	Shift      float64 // a move of more than two frets
	ShiftFret  float64 // each further fret
	Creep      float64 // each fret of a smaller move
	Rushed     float64 // a move without the time for it
	CutsTune   float64 // a move that takes more than a third of a tune note
	Seventh    float64 // a seventh not led to the third below it
	InnerMove  float64 // each semitone of an inner voice
	InnerLeap  float64 // an inner voice that leaps more than a third
	BassLeap   float64 // the bass over an octave
	BassFifth  float64 // the bass over a fifth
	BassStep   float64 // the bass by step (a gain, subtracted)
	Octaves    float64 // bass and tune in parallel octaves
	Contrary   float64 // tune and bass in contrary motion (a gain, subtracted; half for a tenth, half against similar motion)
	Common     float64 // an inner note that stays on its string (a gain, subtracted)
	Structure  float64 // another structure or string set within a phrase
	HeldLost   float64 // the tune is held over and the grip does not hold it
	BassRepeat float64 // the same bass note again at a change of chord
}

// DefaultTaste is the start values of arranger.md, moved where the models and
// the ear asked for it.
func DefaultTaste() Taste {
	return Taste{
		GuideMissing: 9, NoBass: 4.4, BassNotRoot: 4.6, GroundMissing: 8,
		Hole: 5, Thin: 2.5, Doubled: 1.6, OuterOctave: 1, NoStep: 1.2, Bare: 0.8, FlatNine: 0.8, Close: 0.9, Colour: 1,
		Finger: 0.9, HighFret: 0.35, LowTune: 0.9, OpenBass: 0.4, Full: 0.8,
		Shift: 2.2, ShiftFret: 0.25, Creep: 0.22, Rushed: 10, CutsTune: 4,
		Seventh: 3.5, InnerMove: 0.12, InnerLeap: 2.5,
		BassLeap: 6, BassFifth: 1.3, BassStep: 0.6, Octaves: 6, Contrary: 0.3, Common: 0.15, Structure: 0.25, HeldLost: 30,
		BassRepeat: 0.2,
	}
}
