package theory

// compound reports the metres whose beat has three parts: 6/8, 9/8, 12/8, 15/8.
func (m Metre) compound() bool { return m.Den == 8 && m.Num > 3 && m.Num%3 == 0 }

// BarLen is the length of a full bar.
func (m Metre) BarLen() Time { return Quarters(4*int64(m.Num), int64(m.Den)) }

// String is "3/4".
func (m Metre) String() string { return itoa(m.Num) + "/" + itoa(m.Den) }

// BeatOf is the length of a beat: the dotted quarter in 6/8, 9/8 and 12/8, the
// half in 2/2, 3/2 and 4/2, else the quarter.
func BeatOf(m Metre) Time {
	switch {
	case m.compound():
		return Quarters(3, 2)
	case m.Den == 2:
		return Quarters(2, 1)
	}
	return Quarters(1, 1)
}

// shortestNote is how long the shortest note of a tune lasts at least, in
// seconds, where the tempo is assumed.
const shortestNote = 0.125

// DefaultTempo is the tempo, in quarters a minute, of a sheet that has none:
// quarter = 120; half = 80 in 2/2, 3/2 and 4/2; dotted beat = 100 in 6/8, 9/8, 12/8
// and 6/4; lowered until a note of length shortest lasts 125 ms. A shortest of
// 0 or less does not count.
func DefaultTempo(m Metre, shortest Time) float64 {
	bpm := 120.0
	switch {
	case m.Den == 2:
		bpm = 160
	case m.compound():
		bpm = 150
	case m == Metre{6, 4}:
		bpm = 300
	}
	if s := shortest.Float(); s > 0 {
		bpm = min(bpm, s*60/shortestNote)
	}
	return bpm
}

// BeatName is the note that a tempo is counted in where bars have such beats, in
// words, and how many quarters it lasts.
func BeatName(beat Time) (name string, quarters float64) {
	switch beat {
	case Quarters(3, 2):
		return "dotted quarter", 1.5
	case Quarters(2, 1):
		return "half", 2
	}
	return "quarter", 1
}
