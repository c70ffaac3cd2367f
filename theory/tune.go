package theory

// A Tune is a lead sheet unrolled into one line: repeats played out, times
// counted from its first note or rest. It alone owns metre, tempo and the bar
// table. Pitches are as they sound.
type Tune struct {
	Title    string
	Composer string
	Key      Key
	Melody   []Note   // in order of At, never overlapping
	Changes  []Change // in order of At, without gaps after the first
	Bars     []Bar
	Sections []Section
	Phrases  []Phrase
	Tempi    []TempoMark // never empty; the first at 0
	// TempoAssumed says that the sheet has no tempo and Tempi[0] is the usual
	// one of its metre.
	TempoAssumed bool
	Warnings     []Warning // what was dropped or mended while reading
}

// A Note is one note of the melody.
type Note struct {
	At, Len Time
	Pitch   Pitch
	Grace   []Pitch // short notes before it, as ornaments
}

// A Change is a chord symbol with the stretch it governs. N.C. is a Chord
// whose NoChord is true.
type Change struct {
	At, Len Time
	Chord   Chord
}

// A Bar is one bar of the unrolled line.
type Bar struct {
	Label  string // as printed and said: "0" the pick-up, "3", "3/2" the second time
	Pass   int    // 1 the first time through
	Source int    // which written bar it came from, so that sheets fold repeats back
	At     Time
	Len    Time // what it holds, never padded
	Beat   Time // the length of a beat: a quarter, a dotted quarter in 6/8, a half in 2/2
	Metre  Metre
	Key    Key
}

// A Metre is a time signature.
type Metre struct{ Num, Den int }

// A Key is a tonic with its mode.
type Key struct {
	Tonic  Name
	Minor  bool // minor and the modes with a minor third
	Fifths int  // the signature: sharps positive, flats negative
}

// String is "Eb" or "Dm".
func (k Key) String() string {
	if k.Minor {
		return k.Tonic.String() + "m"
	}
	return k.Tonic.String()
}

// A Section is a run of bars [From, To) with its letter or name.
type Section struct {
	Name     string
	From, To int
}

// A Phrase is a run of bars [From, To): sections cut in fours after the
// pick-up.
type Phrase struct{ From, To int }

// A TempoMark sets the tempo from At on, in quarters a minute.
type TempoMark struct {
	At   Time
	BPM  float64
	Text string
}

// A Warning tells of something in the sheet that was dropped or mended. Line
// and Col count from 1; 0 means that there is none.
type Warning struct {
	Line, Col int
	Text      string
}

// End is where the last bar ends.
func (t *Tune) End() Time {
	if len(t.Bars) == 0 {
		return Time{}
	}
	b := t.Bars[len(t.Bars)-1]
	return b.At.Add(b.Len)
}
