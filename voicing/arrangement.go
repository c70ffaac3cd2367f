// Package voicing arranges a tune for one guitar: it finds what a hand can
// hold under each note, what that costs, and which way through the whole tune
// is the best.
package voicing

import (
	"sort"

	"thumbline/theory"
)

// A Tick is a moment or a length in an arrangement, PerQuarter to the quarter,
// before swing.
type Tick int

// PerQuarter is how many ticks a quarter note has.
const PerQuarter Tick = 960

// A Voice says what a note is in the arrangement.
type Voice uint8

// The three voices of the JSON.
const (
	Melody Voice = iota
	Inner
	Bass
)

// String is the word used in files: melody, inner, bass.
func (v Voice) String() string { return [...]string{"melody", "inner", "bass"}[v] }

// An End is why a note stops where it does.
type End uint8

// The reasons.
const (
	EndMeant  End = iota // it has rung as long as it was to
	EndString            // its string is struck again
	EndFinger            // its finger is needed elsewhere
	EndShift             // the hand leaves for another place on the neck
	EndHand              // the hand cannot hold it with what comes, or it would rub against it
)

// String is the word used in files: meant, string, finger, shift, hand.
func (e End) String() string {
	return [...]string{"meant", "string", "finger", "shift", "hand"}[e]
}

// A Note is one plucked string.
type Note struct {
	At, Dur Tick // Dur is how long the string sounds
	MIDI    int  // sounding pitch
	String  int  // 1 is the highest string
	Fret    int  // 0 open
	Finger  int  // 1 index .. 4 little finger, 0 open
	Voice   Voice
	Fill    bool // added in long notes, rests, introductions, endings
	Ends    End  // why it stops
	Early   Tick // how much sooner than it was to: before its written end, for the tune
}

// A LetGo is a note of the tune that stops before its written end, because the
// hand must leave it.
type LetGo struct {
	At     Tick // when the note begins
	Dur    Tick // how long it sounds
	Early  Tick // how much sooner that is than its written end
	MIDI   int
	Pitch  theory.Pitch // the same, spelled
	Ends   End
	Reason string // "the hand moves from fret 3 to fret 8"
}

// A Placed is a gesture where it stands: the grip the hand takes and why.
type Placed struct {
	At       Tick
	Bar      int     // index into Arrangement.Bars
	Beat     float64 // quarters from 1 within the bar
	Symbol   string  // the written chord
	Name     string  // what sounds, named over its own root
	Scale    string  // "C min6dim six"
	Borrowed []string
	Frets    []int // one a string, low to high, -1 unused
	Fingers  []int // the same, 0 open or unused
	Texture  string
	Reason   string
	Terms    []Term // what it cost, by name
}

// A Term is one named part of a cost.
type Term struct {
	Name string
	Cost float64
}

// A Bar of the arrangement: the tune's bars and those put in.
type Bar struct {
	Label         string
	At, Len, Beat Tick
	Metre         theory.Metre
	Key           theory.Key // as it sounds, after transposition
}

// A TuneNote is a melody note as it is played, at sounding pitch in the
// arrangement.
type TuneNote struct {
	At, Dur Tick
	MIDI    int
	Pitch   theory.Pitch
	Moved   Tick // how much later than written; less than 0 is earlier
}

// A ChordMark is a chord symbol as it sounds in the arrangement. N.C. has the
// symbol "N.C.".
type ChordMark struct {
	At     Tick
	Symbol string
	Chord  theory.Chord
}

// A TempoMark sets quarters a minute from At on.
type TempoMark struct {
	At  Tick
	BPM float64
}

// A Section of the arrangement, bars [From, To).
type Section struct {
	Name     string
	From, To int
}

// An Arrangement is a tune laid out for one guitar, finished: nothing in it
// has still to be decided but how it is performed.
type Arrangement struct {
	Title         string
	Key           theory.Key // as it sounds
	Transposition int        // semitones from the sheet to here
	Tuning        []int      // open pitch of each string with no capo, low to high
	Capo          int
	Bars          []Bar
	Sections      []Section // the tune's, and what is put in: IntroName, EndingName
	Choruses      []Section // each time through, where there are several: "chorus 1"
	Comped        Section   // the one without the tune, if there is one; else it has no bars
	Setting       Setting
	Intro, Ending string // what is put in before and after the tune, in words; empty for nothing
	Phrases       []theory.Phrase
	// Before is how many of the phrases come before the tune, After how many
	// after it: those have no number, so that the tune's keep theirs.
	Before, After int
	Tempi         []TempoMark // first at 0
	TempoAssumed  bool
	Feel          theory.Feel
	Melody        []TuneNote
	Chords        []ChordMark // as the sheet has them
	Added         []ChordMark // chords put in between, and the sheet's own where it comes back after them
	Grips         []Placed
	Notes         []Note     // in order of At, then pitch
	Bassist       []BassNote // of a trio, in order of At, one at a time
	Time          []Stroke   // of the drummer of a trio, in order of At
	LetGo         []LetGo
	Warnings      []string
	Cost          float64 // of the grips and the ways between them, in the unit of Taste
	Alone         int     // places that want harmony where the tune stands alone
	// Cut counts the places at which the search did not look at all grips that
	// are nearly as good as the best there.
	Cut int
	// TopTempo is how fast it can be played, in quarters a minute: every move
	// of the hand still has its time. 0 when the hand never moves.
	TopTempo float64
}

// PhraseNumber is how the phrase with index i is called, from 1; 0 for one that
// is put in.
func (a *Arrangement) PhraseNumber(i int) int {
	if i < a.Before || i >= len(a.Phrases)-a.After {
		return 0
	}
	return i - a.Before + 1
}

// BarAt is the index of the bar that holds t; the first or last bar for times
// before or after all, -1 if there are none.
func (a *Arrangement) BarAt(t Tick) int {
	i := sort.Search(len(a.Bars), func(i int) bool { return a.Bars[i].At > t }) - 1
	return max(i, min(0, len(a.Bars)-1))
}

// End is the tick at which the last bar ends.
func (a *Arrangement) End() Tick {
	if len(a.Bars) == 0 {
		return 0
	}
	b := a.Bars[len(a.Bars)-1]
	return b.At + b.Len
}
