package theory

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// tuneOf makes a tune of empty bars. Each word is a label, perhaps with =
// and the bar's length in quarters: "0=1 1 2 1/2 2/2".
func tuneOf(t testing.TB, metre Metre, key, bars string) *Tune {
	t.Helper()
	k, err := ParseKey(key)
	if err != nil {
		t.Fatal(err)
	}
	tune := &Tune{Key: k, Tempi: []TempoMark{{BPM: 120}}}
	at := Time{}
	for i, word := range strings.Fields(bars) {
		label, length, given := strings.Cut(word, "=")
		b := Bar{Label: label, Pass: 1, Source: i, At: at, Len: metre.BarLen(), Beat: BeatOf(metre), Metre: metre, Key: k}
		if _, pass, ok := strings.Cut(label, "/"); ok {
			b.Pass = int(pass[0] - '0')
		}
		if given {
			num, den, ok := strings.Cut(length, "/")
			b.Len = Quarters(int64(num[0]-'0'), 1)
			if ok {
				b.Len = Quarters(int64(num[0]-'0'), int64(den[0]-'0'))
			}
		}
		at = at.Add(b.Len)
		tune.Bars = append(tune.Bars, b)
	}
	return tune
}

func TestPlaces(t *testing.T) {
	four := tuneOf(t, Metre{4, 4}, "C", "0=1 1 2 3 4 3/2 4/2 5=3 5+=1 6")
	six := tuneOf(t, Metre{6, 8}, "G", "0=1/2 1 2")
	for _, c := range []struct {
		tune  *Tune
		place string
		at    Time
		print string
	}{
		{four, "0", Quarters(0, 1), "0:4"},
		{four, "0:4", Quarters(0, 1), "0:4"},
		{four, "0:4&", Quarters(1, 2), "0:4&"},
		{four, "1", Quarters(1, 1), "1:1"},
		{four, "1:1", Quarters(1, 1), "1:1"},
		{four, "3:2&", Quarters(21, 2), "3:2&"},
		{four, "3/1:2", Quarters(10, 1), "3:2"},
		{four, "3/2:1", Quarters(17, 1), "3/2:1"},
		{four, "3:2.25", Quarters(41, 4), "3:2.25"},
		{four, "3:2.3333", Quarters(31, 3), "3:2.3333"},
		{four, "3:2.5", Quarters(21, 2), "3:2&"},
		{four, "5:3", Quarters(27, 1), "5:3"},
		{four, "5+:4", Quarters(28, 1), "5+:4"},
		{six, "0:2.6667", Quarters(0, 1), "0:2.6667"},
		{six, "1:2", Quarters(2, 1), "1:2"},
		{six, "1:1&", Quarters(5, 4), "1:1&"},
		{four, "3:2.333333333333333", Quarters(31, 3), "3:2.3333"},
		{four, "3:2.3333333333333335", Quarters(31, 3), "3:2.3333"}, // 7/3 in a double
		{four, "3:2.33", Quarters(1033, 100), "3:2.33"},
		{four, "3:2.142857", Quarters(71, 7), "3:2.1429"},
		{four, "3:2.00000000000000000001", Quarters(10, 1), "3:2"},
		{four, "3:2.99999999999999999999", Quarters(11, 1), "3:3"},
		// Its four decimals are those of 2 + 97/103.
		{four, "3:2.94167", Quarters(9*120+233, 120), "3:2.94167"},
	} {
		p, err := ParsePlace(c.place)
		if err != nil {
			t.Error(err)
			continue
		}
		at, err := c.tune.Time(p)
		if err != nil || at != c.at {
			t.Errorf("%s: at %v, %v; want %v", c.place, at, err, c.at)
			continue
		}
		if got := c.tune.PlaceOf(at).String(); got != c.print {
			t.Errorf("%v: the place is %s, want %s", at, got, c.print)
		}
	}
	for _, c := range []struct{ place, says string }{
		{"9", "there is no bar 9 (the bars go from 0 to 6)"},
		{"3/3", "there is no bar 3/3 (bar 3 comes 2 times)"},
		{"1/2:1", "there is no bar 1/2 (bar 1 comes once)"},
		{"1:5", "bar 1 has no beat 5 (its beats go from 1 to 4)"},
		{"0:1", "bar 0 has no beat 1 (its beats go from 4 to 4)"},
		{"5:4", "bar 5 has no beat 4 (its beats go from 1 to 3)"},
	} {
		p, err := ParsePlace(c.place)
		if err != nil {
			t.Error(err)
			continue
		}
		if at, err := four.Time(p); err == nil || err.Error() != c.says {
			t.Errorf("%s: %v, %v; want %s", c.place, at, err, c.says)
		}
	}
	for _, bad := range []string{"", ":", ":1", "3:", "3:x", "3:0", "3:0&", "3:-1", "3:1&&", "3:1.5&", "3/", "3/0", "3/x", "3/+2", "3:NaN", "3:1e3", "3:999999", "3:99999999999999999999", "3:.5", "3:2.3.3", "3:2. 5", "a b:1", "3:2:1", "3-4"} {
		if p, err := ParsePlace(bad); err == nil {
			t.Errorf("%q is read as %+v", bad, p)
		}
	}
}

// Every time that a reader can make has a place that is printed and read back
// without loss: on ordinary grids, and on the finest and oddest division of a
// quarter.
func TestPlaceAndTimeAgree(t *testing.T) {
	metres := []Metre{{4, 4}, {3, 4}, {2, 4}, {5, 4}, {6, 8}, {9, 8}, {12, 8}, {2, 2}, {3, 2}, {3, 8}, {6, 4}, {7, 16}, {5, 64}}
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(metres).Draw(t, "metre")
		den := int64(rapid.OneOf(
			rapid.SampledFrom([]int{1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 24, 32, 480, 960, 10080}),
			rapid.IntRange(1, 2000),
			rapid.IntRange(1, 4<<20),
		).Draw(t, "parts of a quarter"))
		tune := &Tune{}
		at := Time{}
		for i := range rapid.IntRange(1, 12).Draw(t, "bars") {
			b := Bar{Label: itoa(i), At: at, Len: m.BarLen(), Beat: BeatOf(m), Metre: m}
			switch short := rapid.IntRange(0, 7).Draw(t, "short"); {
			case short == 0 && den <= 10080:
				b.Len = b.Len.Mul(int64(rapid.IntRange(1, 7).Draw(t, "eighths")), 8)
			case short == 1:
				b.Len = Quarters(int64(rapid.IntRange(1, 8*int(den)).Draw(t, "parts")), den)
			}
			at = at.Add(b.Len)
			tune.Bars = append(tune.Bars, b)
		}
		when := Quarters(int64(rapid.IntRange(0, max(0, int(tune.End().Float()*float64(den))-1)).Draw(t, "num")), den)
		p := tune.PlaceOf(when)
		again, err := ParsePlace(p.String())
		if err != nil {
			t.Fatal(err)
		}
		if again != p {
			t.Fatalf("%v is %+v, printed %v, read as %+v", when, p, p, again)
		}
		got, err := tune.Time(again)
		if err != nil || got != when {
			t.Fatalf("%v is %v, which is %v, %v", when, p, got, err)
		}
	})
}

// The simplest fraction, against trying every denominator.
func TestSimplest(t *testing.T) {
	slow := func(n, m int64) Time {
		for den := int64(1); ; den++ {
			for num := int64(0); num <= den; num++ {
				// |num/den - n/m| < 1/2m
				if d := 2 * (num*m - n*den); -den < d && d < den {
					return Quarters(num, den)
				}
			}
		}
	}
	for m := int64(1); m <= 120; m++ {
		for n := int64(0); n <= m; n++ {
			if got, want := simplest(n, m), slow(n, m); got != want {
				t.Fatalf("%d/%d: %v, want %v", n, m, got, want)
			}
		}
	}
}

func FuzzParsePlace(f *testing.F) {
	for _, s := range []string{"3:2", "3:2&", "3", "3/2:1", "0:4", "8+:4", "3:2.25", "3:2.3333", "12a:1", "3:9999.99995", "3/999", "3:1.00004", "3:2.941667", "3:1.0000001", "3:2.3333333333333335", "3:200000.12345678901234567"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePlace(s)
		if err != nil {
			return
		}
		back, err := ParsePlace(p.String())
		if err != nil || back != p {
			t.Fatalf("%q = %+v prints %q, which is %+v, %v", s, p, p, back, err)
		}
	})
}

func TestBarRange(t *testing.T) {
	tune := tuneOf(t, Metre{4, 4}, "C", "0=1 1 2 3 4 1/2 2/2 3/2 5 6")
	for _, c := range []struct {
		s        string
		from, to int
	}{
		{"1-4", 1, 5}, {"3", 3, 4}, {"3/2", 7, 8}, {"0-6", 0, 10}, {"1-3/2", 1, 8}, {"1/2-3/2", 5, 8}, {"0", 0, 1}, {" 2 - 3 ", 2, 4}, {"3/2-5", 7, 9},
	} {
		if from, to, err := tune.BarRange(c.s); err != nil || from != c.from || to != c.to {
			t.Errorf("%q: [%d, %d) %v, want [%d, %d)", c.s, from, to, err, c.from, c.to)
		}
	}
	for _, c := range []struct{ s, says string }{
		{"90-2", `bars "90-2": there is no bar 90 (the bars go from 0 to 6)`},
		{"4-2", `bars "4-2": the end comes before the beginning (write 2-4)`},
		{"3/2-4", `bars "3/2-4": the end comes before the beginning (write 4-3/2)`},
		{"5/2", `bars "5/2": there is no bar 5/2 (bar 5 comes once)`},
		{"", `bars "": no bar is given (use A-B, or A/2-B/2 for the second time)`},
		{"1-", `bars "1-": no bar is given (use A-B, or A/2-B/2 for the second time)`},
		{"1-2-3", `bars "1-2-3": "2-3" is not a bar (use A-B, or A/2-B/2 for the second time)`},
		{"1:2", `bars "1:2": "1:2" is not a bar (use A-B, or A/2-B/2 for the second time)`},
	} {
		if from, to, err := tune.BarRange(c.s); err == nil || err.Error() != c.says {
			t.Errorf("%q: [%d, %d) %v\nwant %s", c.s, from, to, err, c.says)
		}
	}
	if _, _, err := (&Tune{}).BarRange("1"); err == nil {
		t.Error("a tune without bars has bar 1")
	}
}

// design: sections split in fours of bars after the pick-up.
func TestDividePhrases(t *testing.T) {
	for _, c := range []struct {
		name, bars string
		sections   []Section
		want       []Phrase
	}{
		{"eight", "1 2 3 4 5 6 7 8", nil, []Phrase{{0, 4}, {4, 8}}},
		{"pick-up", "0=1 1 2 3 4 5 6 7 8", nil, []Phrase{{0, 5}, {5, 9}}},
		{"one over", "1 2 3 4 5", nil, []Phrase{{0, 5}}},
		{"two over", "1 2 3 4 5 6", nil, []Phrase{{0, 4}, {4, 6}}},
		{"one bar", "1", nil, []Phrase{{0, 1}}},
		{"pick-up alone", "0=1", nil, []Phrase{{0, 1}}},
		{"sections", "0=1 1 2 3 4 5 6 7 8 9 10", []Section{{"A", 0, 6}, {"B", 6, 11}}, []Phrase{{0, 6}, {6, 11}}},
		{"bars before the first section", "0=1 1 2 3 4 5 6", []Section{{"A", 3, 7}}, []Phrase{{0, 3}, {3, 7}}},
		{"bars after the last", "1 2 3 4 5 6 7", []Section{{"A", 0, 4}}, []Phrase{{0, 4}, {4, 7}}},
		{"a pick-up inside", "1 2 3 4=3 4+=1 5 6 7 8", nil, []Phrase{{0, 4}, {4, 9}}},
		{"sections that overlap", "1 2 3 4 5 6", []Section{{"A", 0, 4}, {"B", 3, 9}}, []Phrase{{0, 4}, {4, 6}}},
		{"none", "", nil, nil},
	} {
		tune := tuneOf(t, Metre{4, 4}, "C", c.bars)
		tune.Sections = c.sections
		tune.DividePhrases()
		if d := cmp.Diff(c.want, tune.Phrases); d != "" {
			t.Errorf("%s: %s", c.name, d)
		}
		if len(tune.Bars) > 0 && len(tune.Sections) == 0 {
			t.Errorf("%s: no section", c.name)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		tune := &Tune{Bars: make([]Bar, rapid.IntRange(1, 40).Draw(t, "bars"))}
		for i := range tune.Bars {
			tune.Bars[i].Label = itoa(i)
		}
		for range rapid.IntRange(0, 5).Draw(t, "sections") {
			from := rapid.IntRange(-2, 45).Draw(t, "from")
			tune.Sections = append(tune.Sections, Section{"", from, from + rapid.IntRange(-1, 20).Draw(t, "len")})
		}
		tune.DividePhrases()
		at := 0
		for i, p := range tune.Phrases {
			if p.From != at || p.To <= p.From || p.To > p.From+6 {
				t.Fatalf("phrases %v of %d bars", tune.Phrases, len(tune.Bars))
			}
			if tune.PhraseAt(p.To-1) != i {
				t.Fatalf("bar %d is not in phrase %d", p.To-1, i)
			}
			at = p.To
		}
		if at != len(tune.Bars) {
			t.Fatalf("phrases %v of %d bars", tune.Phrases, len(tune.Bars))
		}
	})
}

func small(t testing.TB) *Tune {
	tune := tuneOf(t, Metre{4, 4}, "Bb", "0=1 1 2")
	q := Quarters
	note := func(at, length Time, s string, octave int8) Note {
		return Note{At: at, Len: length, Pitch: Pitch{mustName(s), octave}}
	}
	tune.Melody = []Note{
		note(q(0, 1), q(1, 1), "F", 4),
		note(q(1, 1), q(3, 2), "Bb", 4),
		note(q(3, 1), q(2, 1), "F#", 4),
		note(q(5, 1), q(4, 1), "G", 4),
	}
	tune.Melody[2].Grace = []Pitch{{Name{E, 0}, 4}}
	tune.Changes = []Change{
		{At: q(1, 1), Len: q(4, 1), Chord: MustChord("Bb6/D")},
		{At: q(5, 1), Len: q(2, 1), Chord: MustChord("Cm7")},
		{At: q(7, 1), Len: q(2, 1), Chord: MustChord("NC")},
	}
	tune.DividePhrases()
	return tune
}

func TestValidate(t *testing.T) {
	if err := small(t).Validate(); err != nil {
		t.Fatalf("a sound tune: %v", err)
	}
	for _, c := range []struct {
		says  string
		spoil func(*Tune)
	}{
		{"the tune has no bars", func(u *Tune) { *u = Tune{Tempi: u.Tempi} }},
		{"bar 2 begins at 6", func(u *Tune) { u.Bars[2].At = Quarters(6, 1) }},
		{"bar 2 has the length 0", func(u *Tune) { u.Bars[2].Len = Time{} }},
		{"the metre 4/0", func(u *Tune) { u.Bars[1].Metre.Den = 0 }},
		{"more than one bar", func(u *Tune) { u.Bars[2].Label = "1" }},
		{"1:1: the note Bb4 begins before", func(u *Tune) { u.Melody[0].Len = Quarters(2, 1) }},
		{"the note G4 ends after the last bar", func(u *Tune) { u.Melody[3].Len = Quarters(5, 1) }},
		{"the note F4 has the length 0", func(u *Tune) { u.Melody[0].Len = Time{} }},
		{"2:1: there is a gap before the chord N.C.", func(u *Tune) { u.Changes = append(u.Changes[:1], u.Changes[2]) }},
		{"the chord Cm7 begins before", func(u *Tune) { u.Changes[0].Len = Quarters(5, 1) }},
		{"the chord N.C. ends after", func(u *Tune) { u.Changes[2].Len = Quarters(5, 1) }},
		{"no tempo", func(u *Tune) { u.Tempi = nil }},
		{"the tempo is 0", func(u *Tune) { u.Tempi[0].BPM = 0 }},
		{"tempo marks are not in order", func(u *Tune) { u.Tempi = append(u.Tempi, u.Tempi[0]) }},
		{`section "A"`, func(u *Tune) { u.Sections = []Section{{"A", 1, 9}} }},
		{"phrase 1", func(u *Tune) { u.Phrases = []Phrase{{1, 3}} }},
	} {
		u := small(t)
		c.spoil(u)
		if err := u.Validate(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q is not found: %v", c.says, err)
		}
	}
}

func TestTransposeTune(t *testing.T) {
	tune := small(t)
	before := small(t)
	got := tune.Transpose(Interval{2, 4}) // Bb to D
	if d := cmp.Diff(before, tune, cmp.AllowUnexported(Time{})); d != "" {
		t.Errorf("the tune itself changed: %s", d)
	}
	if got.Key.String() != "D" || got.Key.Fifths != 2 || got.Bars[1].Key != got.Key {
		t.Errorf("key %v, bar 1 %v", got.Key, got.Bars[1].Key)
	}
	var notes, chords []string
	for _, n := range got.Melody {
		for _, g := range n.Grace {
			notes = append(notes, "("+g.String()+")")
		}
		notes = append(notes, n.Pitch.String())
	}
	for _, c := range got.Changes {
		chords = append(chords, c.Chord.String())
	}
	if s := strings.Join(notes, " "); s != "A4 D5 (G#4) A#4 B4" {
		t.Errorf("notes %s", s)
	}
	if s := strings.Join(chords, " "); s != "D6/F# Em7 N.C." {
		t.Errorf("chords %s", s)
	}
	if err := got.Validate(); err != nil {
		t.Error(err)
	}
	// A# in B flat minor is A; four flats more would need double flats.
	if got := tune.Transpose(Interval{1, 1}); got.Key.String() != "B" {
		t.Errorf("Bb up a minor second is %v, want B", got.Key)
	}
}

func TestTransposeKeepsTheTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.IntRange(-6, 6).Draw(t, "fifths")
		key := Key{Tonic: Name{}.Transpose(Interval{4 * f, 7 * f}), Fifths: f}
		m := Metre{4, 4}
		tune := &Tune{Key: key, Bars: []Bar{{Label: "1", Len: m.BarLen(), Metre: m, Key: key}}}
		for i := range 4 {
			tune.Melody = append(tune.Melody, Note{At: Quarters(int64(i), 1), Len: Quarters(1, 1), Pitch: PitchOf(rapid.IntRange(48, 84).Draw(t, "midi"), key)})
		}
		semis := rapid.IntRange(-18, 18).Draw(t, "semitones")
		got := tune.Transpose(IntervalFor(key, semis))
		for i, n := range got.Melody {
			if n.Pitch.MIDI() != tune.Melody[i].Pitch.MIDI()+semis || n.At != tune.Melody[i].At {
				t.Fatalf("%v becomes %v", tune.Melody[i], n)
			}
			if n.Pitch.Alter < -1 || n.Pitch.Alter > 1 {
				t.Fatalf("%v in %v becomes %v in %v", tune.Melody[i].Pitch, key, n.Pitch, got.Key)
			}
			// A note of the scale stays a note of the scale.
			if p := tune.Melody[i].Pitch; key.Alter(p.Letter) == p.Alter && got.Key.Alter(n.Pitch.Letter) != n.Pitch.Alter {
				t.Fatalf("%v of %v becomes %v in %v", p, key, n.Pitch, got.Key)
			}
		}
		back := got.Transpose(IntervalFor(got.Key, -semis))
		for i := range back.Melody {
			if back.Melody[i].Pitch.MIDI() != tune.Melody[i].Pitch.MIDI() {
				t.Fatalf("there and back: %v, %v", tune.Melody[i].Pitch, back.Melody[i].Pitch)
			}
		}
	})
}
