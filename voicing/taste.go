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
//
// Pitches, frets and times at which a weight begins to count belong to the
// neck and the ear, not to taste; they stand where they are used. What says "a
// gain" is subtracted, what says "factor" has no unit. Start from
// DefaultTaste: a zero Taste minds nothing and hardly ever answers.
type Taste struct {
	// Harmony of one grip.
	GuideMissing     float64 // a third or seventh that neither grip nor tune has
	NoBass           float64 // nothing in the bass register
	BassNotRoot      float64 // a lowest note other than the root or the written bass
	FifthLowest      float64 // and it is the fifth, which wants its root before it
	DominantRootless float64 // and it is a dominant without its root, which may be taken for the two
	GroundMissing    float64 // the same where a section starts or the tune ends
	Hole             float64 // more than an octave under the tune
	Thin             float64 // fewer than three different notes
	Doubled          float64 // an octave inside a grip of four
	OuterOctave      float64 // tune and lowest note whole octaves apart in a full grip
	NoStep           float64 // notes that are no voicing by scale step
	Bare             float64 // fewer than four notes where there is room for a full grip
	FlatNine         float64 // a flat nine in a dominant that resolves (a gain, subtracted)
	Close            float64 // two neighbours a semitone apart
	Colour           float64 // factor on the colour of a note (see palette)

	// Harmony of one grip, the finer points.
	Suspended    float64 // a guide tone that the tune, a semitone above it, keeps out: little, as no grip can help it
	BareSeventh  float64 // and it was the major seventh, with neither sixth nor ninth in its place
	AloneGuide   float64 // factor on GuideMissing where the tune is alone: below 1, as a bare note is at least not wrong
	GroundNoBass float64 // factor on GroundMissing where there is no bass at all
	DimOwed      float64 // a note of a diminished chord that its root, in tune and bass, leaves no room for
	DimNoBass    float64 // no bass under a written diminished chord, which is there for its bass
	RootLowest   float64 // factor on the lack of a bass when the bass's note lies lowest, only higher up
	DoubledThin  float64 // an octave inside a grip of two or three, where it costs no other note its place
	CadenceBare  float64 // factor on Bare at a close, which asks for the full chord
	FinalHigh    float64 // each semitone of the last bass above C3
	FinalBare    float64 // a last chord without sixth, seventh or ninth, in a sheet that has them
	BassColour   float64 // the most that a bass note's colour costs: what BassNotRoot says is not said twice
	RootInside   float64 // the root as an inner voice, in a grip of three or more: it sounds below, or will
	HoleMore     float64 // each semitone of a Hole beyond the octave
	HoleThin     float64 // the same in a grip of two, where tune and bass may stand apart
	CloseUnder   float64 // an inner voice within a tone of the tune, which hides it
	Wide         float64 // each semitone beyond an octave between inner voices
	LowInner     float64 // each semitone of an inner voice below D3
	BassClose    float64 // a bass less than a fourth below the voice above it: heavy
	BassFar      float64 // each semitone of the bass beyond a tenth (15) below the voice above it
	NoInner      float64 // no inner voice under a tune

	// Hand of one grip.
	Finger   float64 // factor on the discomfort of a fingering
	HighFret float64 // each fret above 10
	LowTune  float64 // the tune on string 3, twice that on string 4
	OpenBass float64 // an open string under the bass (a gain, subtracted)
	Full     float64 // each note beyond two at once where the next attack is near
	Ease     float64 // the discomfort, in the hand's own measure, that Full forgives where the next attack is near
	HighOpen float64 // an open string inside a grip high on the neck: it sounds like another instrument
	TuneOpen float64 // the tune on an open string, which the left hand cannot colour

	// From one grip to the next.
	Shift      float64 // a move of more than two frets
	ShiftFret  float64 // each further fret
	Creep      float64 // each fret of a smaller move
	Rushed     float64 // a move without the time for it
	CutsTune   float64 // a move that takes more than a third of a tune note
	LetGo      float64 // a short tune note let go before its end because the next attack needs its finger; less where it is long
	Seventh    float64 // a seventh not led to the third below it
	InnerMove  float64 // each semitone of an inner voice
	InnerLeap  float64 // an inner voice that leaps more than a third
	BassLeap   float64 // the bass over an octave
	BassFifth  float64 // the bass over a fifth
	BassStep   float64 // the bass by step (a gain, subtracted)
	PassingDim float64 // the bass of a passing diminished not reached by step, or not led on by step
	TurnedLeap float64 // an inversion that is not reached by step, or not left by step
	Octaves    float64 // bass and tune in parallel octaves
	Contrary   float64 // tune and bass in contrary motion (a gain, subtracted; half for a tenth, half against similar motion)
	Common     float64 // an inner note that stays on its string (a gain, subtracted)
	Structure  float64 // another structure or string set within a phrase
	HeldLost   float64 // the tune is held over and the grip does not hold it
	Pedal      float64 // a two over the root of its five where a section leads back (a gain)
	BassRepeat float64 // the same bass note again at a change of chord

	// How grips are laid out in time.
	Texture TextureTaste

	// Between the attacks of the tune.
	Answer AnswerTaste

	// Without the tune.
	Comp CompTaste

	// Between the parts of the form.
	Turn TurnTaste
	// Again weighs what comes again.
	Again AgainTaste

	// With bass and drums.
	Trio TrioTaste
}

// TrioTaste weighs what the guitar leaves to bass and drums, in the unit of
// Taste. The values are the project's own and have no other source.
type TrioTaste struct {
	Heard      float64 // factor on a missing guide tone where the chord has been heard
	Attack     float64 // a chord that is struck: rather few, and those full
	OneVoice   float64 // and that is a single note
	Arrival    float64 // a note of the tune alone that has room for a chord
	LowGuide   float64 // a guide tone below G3, where the tune leaves it no place above
	Owed       float64 // factor on the gain of a guide tone that was not heard yet
	NothingNew float64 // a grip all of which rings already
	Later      float64 // factor on a missing guide tone where something answers within two beats
	OtherGrip  float64 // a grip that is not the solo one with notes left out
}

// TurnTaste weighs the turnarounds that fit into one place, beside what each
// costs by itself (turnaround.go); the cheapest is taken. The values are the
// project's own and have no other source.
type TurnTaste struct {
	Free    float64 // each further chord that there would be room for
	Quick   float64 // chords of a single beat
	Foreign float64 // each note outside the key
	Again   float64 // the one that was taken last
	Before  float64 // each time that it was taken in the tune
	Tame    float64 // with high tension, one that medium has too

	// Under the tune.
	Tension   float64 // the tune sings a tension of a chord
	NoFifth   float64 // one that takes the place of the fifth
	WrongMode float64 // a nine or thirteen of the major chord, where a minor one comes
	Suspended float64 // the third is left out for the fourth that the tune holds
	Passing   float64 // a short note of the tune is foreign to a chord
}

// TextureTaste weighs the textures that a grip may be laid out in, in the unit
// of Taste. The values are the project's own and have no other source.
type TextureTaste struct {
	Misfit    float64 // the figure's own delay has no room under the tune
	Gap       float64 // a beat that nothing strikes, but at slow tempi
	Breath    float64 // the last beat of a phrase that nothing strikes (a gain)
	BassApart float64 // a bass apart from the tune where the tune leaves a beat (a gain)
	Turn      float64 // another figure within a phrase
	Order     float64 // another figure than the one whose turn it is
	Stale     float64 // the same figure in the next phrase
	Twice     float64 // the chord waits for the tune's next beat twice in a row
	Note      float64 // each note added to the tune
	Unsaid    float64 // a change of chord that nothing says, for each beat of the chord up to two, and once more on a strong beat
	Heavy     float64 // each note that answers together with the tune where the arrangement is full, and half more where that is shorter than a beat
	Worn      float64 // a rhythm that has lasted for four bars
	Stuffed   float64 // each answer of a texture fuller than the density asks for, to break such a rhythm: an attack less breaks it too
}

// AgainTaste weighs what is played when a bar comes again, in the unit of Taste.
// The bass changes first, then the inner voices, then the harmony. The values are
// the project's own and have no other source.
type AgainTaste struct {
	Same    float64 // the factor at which to look first for as much that differs as wanted
	Bass    float64 // a bass as it was, before Same
	Inner   float64 // an inner voice as it was, before Same
	Figure  float64 // the chord comes with its bass where it came after it, or the other way round
	Harmony float64 // the chord is taken further than it was, or less far
}

// AnswerTaste weighs the notes that answer the tune while it rings or rests, in
// the unit of Taste. An answer is a bass note, an inner voice or two of them;
// the cheapest is struck, or none when all are dearer than Dearest. A fifth in
// the bass and a step of the inner line cost nothing: the rest is measured from
// them. The values are the project's own and have no other source.
type AnswerTaste struct {
	Dearest      float64 // what an answer costs at most; beyond it the moment is a breath
	InnerForBass float64 // an inner voice where a bass was due: better than a poor bass note

	// What ringing it takes from what sounds, and the way there and on.
	TuneOctave float64 // an inner voice octaves under the tune, which says nothing new
	CutsBass   float64 // a bass that must stop for another
	TakesBass  float64 // a bass that must stop for an inner voice: the ground goes, and nothing comes for it
	CutsInner  float64 // an inner voice that must stop for it
	Shift      float64 // a move of more than two frets to it
	ShiftFret  float64 // each fret of that move beyond two
	Onward     float64 // a move of more than two frets to the next fretted notes
	OnwardFret float64 // each fret of that move beyond two
	Hurried    float64 // that move follows so soon that the answer would hardly ring
	SameFinger float64 // the next note takes the same finger elsewhere, at once

	// Bass: approaches, then the notes of the chord.
	StepIn       float64 // a step to the next bass on the last beat (a gain)
	Leading      float64 // the same by a semitone from below (a gain, in place of StepIn)
	LeadsOn      float64 // a note of the chord a half step from the next bass, two beats before it (a gain; half of it for a whole step)
	WalkStep     float64 // any other note of chord or scale a step on from the bass before, towards the next grip's, with more bass to come
	WalkOn       float64 // a step on in the direction of the step before, or of the step that follows (a gain, for each)
	WalkLost     float64 // a leap after a step: the walk leads nowhere
	FifthIn      float64 // on the last beat the fifth of the next bass, as a dominant leads there (a gain)
	StepForeign  float64 // that step is not of the chord
	StepDenies   float64 // that step denies the chord: the wrong third, or a major seventh on it
	Ground       float64 // the chord's bass again
	GroundAgain  float64 // the same where it is the very note struck last
	GroundOctave float64 // the same an octave from the note struck last
	BassThird    float64 // the third
	BassOther    float64 // an altered fifth of the chord, or the sixth of a diminished one
	BassSixth    float64 // the sixth of any other: over it a major chord is the one on its sixth step, a minor one half-diminished
	BassOctave   float64 // any note but the ground an octave from the bass struck last
	BassTune     float64 // any note but the ground struck with the tune in octaves: the outer voices say one thing
	BassEarly    float64 // any note but the ground that the next chord will bring as its bass within two beats
	OtherVoice   float64 // the very pitch that bass or inner voice, the other of the two, struck within the last beat
	BassAgain    float64 // any note that is the bass struck last, but at the end
	RootAgain    float64 // the last root, when it is the bass struck last
	RootHigh     float64 // each semitone of the last root above C3 where the root is asked for
	FinalHigh    float64 // each semitone of the last root above D3 elsewhere
	BassFifth    float64 // more than a fifth from the bass struck last
	BelowGround  float64 // under the grip's own bass while the chord is new: the ground stays below
	BassHigh     float64 // each semitone above E3
	BassFret     float64 // each fret above 9, where the low strings are thick and dull

	// Fingers: enough to decide between equals.
	Open   float64 // an open string (a gain)
	Finger float64 // the index finger; twice that the middle finger, and so on
	InHand float64 // an inner note that the grip holds already (a gain)

	// Inner voices: the line they make, then their place in the chord.
	LineNew        float64 // no inner voice has sounded to start from
	LineSame       float64 // the note the line is on
	LineBack       float64 // the same, when it was also there before: the line does not go on
	LineThird      float64 // a third from the line
	LineLeap       float64 // farther from it
	LineWide       float64 // and each semitone of that distance, all of them counted
	LineOn         float64 // a step on in the direction of the step before, or into the next grip's inner voices in that of its own (a gain)
	LineHome       float64 // the way back of a step (a gain)
	LineIn         float64 // the last of a stretch a half step from an inner voice of the next grip (a gain; half of it for a whole step)
	LineLost       float64 // the last of a stretch where the line has moved and no inner voice of the next grip takes it up
	Chain          float64 // the colour of a half step between two notes of a line, before Colour
	Early          float64 // the last of a stretch steps to a guide tone of the next chord before it comes (a gain)
	PhraseRoom     float64 // each inner voice in the last beat before another phrase
	OwedGuide      float64 // a guide tone not heard since the chord came (a gain)
	OwedColour     float64 // factor on a colour the chord is named for and that was not heard yet (a gain)
	OwedNine       float64 // the flat nine that leads into the next chord, after the plain chord (a gain)
	Colour         float64 // factor on the colour of the note: less than in a grip, as it passes sooner
	Borrowed       float64 // the most that the colour of a borrowed step costs, before Colour: it returns
	BorrowedFourth float64 // the same of the fourth over a major chord, which it takes out of its rest
	Passing        float64 // the colour of a note of the passing diminished, before Colour
	Root           float64 // the root as an inner voice
	BassDoubled    float64 // an inner voice octaves over the bass that sounds: no new voice
	TuneAhead      float64 // an inner voice on the pitch that the tune strikes within a beat: it takes the tune's word
	RestHigh       float64 // each semitone above a fourth under the tune's notes on both sides, while it rests
	Guide          float64 // a guide tone, heard or not (a gain)
	GuideLeft      float64 // a guide tone that ends for it and does not come back while the chord lasts
	Backwards      float64 // from a flat nine back to the nine, or a flat thirteen to the thirteen: tension grows
	Wanted         float64 // with bass and drums a note that solo has there (a gain)
	Pair           float64 // two notes where a stab is wanted (a gain)
	Single         float64 // one note where a stab is wanted
}

// DefaultTaste is the start values of arranger.md, moved where the models and
// the ear asked for it.
func DefaultTaste() Taste {
	return Taste{
		GuideMissing: 9, NoBass: 4.4, BassNotRoot: 3.4, FifthLowest: 1.6, DominantRootless: 1.2, GroundMissing: 8,
		Hole: 5, Thin: 2.5, Doubled: 2.2, OuterOctave: 1, NoStep: 1.2, Bare: 0.8, FlatNine: 0.8, Close: 0.9, Colour: 1,
		Suspended: 0.5, BareSeventh: 3, AloneGuide: 0.8, GroundNoBass: 0.9, DimOwed: 1.5, DimNoBass: 2, RootLowest: 0.5, DoubledThin: 0.5, CadenceBare: 1.5,
		FinalHigh: 0.25, FinalBare: 1.5, BassColour: 0.3, RootInside: 0.4, HoleMore: 0.3, HoleThin: 0.1, CloseUnder: 0.4,
		Wide: 0.25, LowInner: 0.15, BassClose: 0.8, BassFar: 0.2, NoInner: 1.5,
		Finger: 0.9, HighFret: 0.35, LowTune: 0.9, OpenBass: 0.4, Full: 0.8,
		Ease: 0.6, HighOpen: 0.4, TuneOpen: 0.2,
		Shift: 2.2, ShiftFret: 0.25, Creep: 0.22, Rushed: 10, CutsTune: 4, LetGo: 3,
		Seventh: 3.5, InnerMove: 0.12, InnerLeap: 2.5,
		BassLeap: 6, BassFifth: 1.3, BassStep: 0.6, TurnedLeap: 2, PassingDim: 2.5, Octaves: 6, Contrary: 0.3, Common: 0.15, Structure: 0.25, HeldLost: 30,
		BassRepeat: 0.2, Pedal: 1.8,
		Texture: TextureTaste{
			Misfit: 0.8, Gap: 0.8, Breath: 0.2, BassApart: 1, Turn: 1.2, Order: 0.7, Stale: 1, Twice: 0.8, Unsaid: 5, Worn: 3, Stuffed: 0.4, Heavy: 0.4, Note: -0.15,
		},
		Answer: AnswerTaste{
			Dearest: 3.4, InnerForBass: 2.5,
			TuneOctave: 1.4, CutsBass: 0.5, TakesBass: 1.5, CutsInner: 0.35,
			Shift: 0.8, ShiftFret: 0.2, Onward: 0.3, OnwardFret: 0.12, Hurried: 1.5, SameFinger: 0.5,
			WalkStep: 0.5, WalkOn: 0.4, WalkLost: 0.5, FifthIn: 0.3, StepIn: 0.5, Leading: 0.7, LeadsOn: 0.8, StepForeign: 0.4, StepDenies: 0.6,
			Ground: 0.6, GroundAgain: 1.2, GroundOctave: 0.5, BassThird: 0.5, BassOther: 0.5, BassSixth: 2,
			BassOctave: 0.8, BassTune: 0.7, BassEarly: 0.9, OtherVoice: 0.6, BassAgain: 2.4,
			RootAgain: 0.6, RootHigh: 0.2, FinalHigh: 0.1, BassFifth: 0.5, BelowGround: 2.35, BassHigh: 0.15, BassFret: 0.25,
			Open: 0.1, Finger: 0.02, InHand: 0.3,
			LineNew: 0.5, LineSame: 1.7, LineBack: 2.6, LineThird: 0.7, LineLeap: 3, LineWide: 0.2, LineOn: 0.6, LineHome: 0.2, LineIn: 0.5, LineLost: 0.8, Chain: 0.6, Early: 0.3, PhraseRoom: 2.5,
			OwedGuide: 1.5, OwedColour: 1.4, OwedNine: 1.8,
			Colour: 0.6, Borrowed: 0.3, BorrowedFourth: 1.6, Passing: 0.2, Root: 0.8, BassDoubled: 1.0, TuneAhead: 1.3, Guide: 0.25, RestHigh: 0.6, GuideLeft: 0.5, Backwards: 2, Wanted: 5, Pair: 0.6, Single: 0.8,
		},
		Again: AgainTaste{Same: 1, Bass: 2, Inner: 0.7, Figure: 3, Harmony: 1},
		Comp:  CompTaste{Open: 0.8, Low: 0.15, High: 0.25, LowInner: 0.8, TopSame: 0.35, TopThird: 0.7, TopLeap: 1.8, TopWide: 0.25},
		Turn: TurnTaste{
			Free: 0.6, Quick: 0.35, Foreign: 0.1, Again: 1.2, Before: 0.3, Tame: 0.8,
			Tension: 0.1, NoFifth: 0.2, WrongMode: 0.4, Suspended: 0.4, Passing: 0.3,
		},
		Trio: TrioTaste{Attack: 0.8, OneVoice: 0.8, Arrival: 1, LowGuide: 1.5, Owed: 3, Heard: 0.1, NothingNew: 1.5, Later: 0.5, OtherGrip: 3},
	}
}
