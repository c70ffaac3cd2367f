package theory

import (
	"testing"

	"pgregory.net/rapid"
)

func TestParseName(t *testing.T) {
	for s, want := range map[string]Name{
		"C": {C, 0}, "Bb": {B, -1}, "bb": {B, -1}, "F#": {F, 1}, "f♯": {F, 1}, "E♭": {E, -1}, "Bbb": {B, -2}, "C##": {C, 2}, " G ": {G, 0}, "B𝄫": {B, -2},
	} {
		if got, err := ParseName(s); err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", s, got, err, want)
		}
	}
	for _, bad := range []string{"", "H", "Cbbb", "C#b", "C4", "♭"} {
		if got, err := ParseName(bad); err == nil {
			t.Errorf("%q is read as %v", bad, got)
		}
	}
}

// Common practice, no source.
func TestTransposeNames(t *testing.T) {
	for _, c := range []struct {
		from string
		iv   Interval
		want string
	}{
		{"C", Interval{2, 4}, "E"}, {"C", Interval{2, 3}, "Eb"}, {"C", Interval{1, 3}, "D#"},
		{"Bb", Interval{4, 7}, "F"}, {"B", Interval{2, 4}, "D#"}, {"F#", Interval{2, 4}, "A#"},
		{"Eb", Interval{3, 6}, "A"}, {"Eb", Interval{4, 6}, "Bbb"},
		{"C", Interval{-1, -2}, "Bb"}, {"C", Interval{-1, -1}, "B"},
		{"C#", Interval{2, 5}, "E##"}, {"C##", Interval{2, 5}, "G"}, // no triple sharp
		{"G", Interval{7, 12}, "G"}, {"G", Interval{-7, -12}, "G"},
	} {
		if got := mustName(c.from).Transpose(c.iv).String(); got != c.want {
			t.Errorf("%s by %v: %s, want %s", c.from, c.iv, got, c.want)
		}
	}
	for _, c := range []struct {
		a, b string
		want Interval
	}{
		{"C", "Eb", Interval{2, 3}}, {"C", "D#", Interval{1, 3}}, {"Bb", "F", Interval{4, 7}}, {"F", "Bb", Interval{3, 5}},
		{"B", "C", Interval{1, 1}}, {"G", "G", Interval{0, 0}}, {"C", "B", Interval{6, 11}}, {"B#", "Cb", Interval{1, -1}},
	} {
		if got := IntervalBetween(mustName(c.a), mustName(c.b)); got != c.want {
			t.Errorf("%s to %s: %v, want %v", c.a, c.b, got, c.want)
		}
	}
}

func drawName(t *rapid.T, what string) Name {
	return Name{Letter(rapid.IntRange(0, 6).Draw(t, what)), int8(rapid.IntRange(-2, 2).Draw(t, what+" sign"))}
}

func TestTransposeIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Pitch{drawName(t, "from"), int8(rapid.IntRange(0, 8).Draw(t, "octave"))}
		iv := Interval{rapid.IntRange(-16, 16).Draw(t, "steps"), rapid.IntRange(-30, 30).Draw(t, "semitones")}
		q := p.Transpose(iv)
		if q.MIDI() != p.MIDI()+iv.Semitones {
			t.Fatalf("%v by %v: %v", p, iv, q)
		}
		if q.Alter < -2 || q.Alter > 2 {
			t.Fatalf("%v by %v is spelled %v", p, iv, q)
		}
		a, b := drawName(t, "a"), drawName(t, "b")
		if got := a.Transpose(IntervalBetween(a, b)); got != b {
			t.Fatalf("%v to %v leads to %v", a, b, got)
		}
	})
}

func TestPitchOf(t *testing.T) {
	for _, c := range []struct {
		midi      int
		key, want string
	}{
		{60, "C", "C4"}, {61, "C", "Db4"}, {61, "D", "C#4"}, {63, "Bb", "Eb4"}, {66, "Gb", "Gb4"}, {59, "Gb", "Cb4"},
		{60, "C#", "B#3"}, {65, "F#", "E#4"}, {68, "Am", "Ab4"}, {0, "C", "C-1"}, {70, "Em", "A#4"},
	} {
		key, err := ParseKey(c.key)
		if err != nil {
			t.Fatal(err)
		}
		if got := PitchOf(c.midi, key); got.String() != c.want || got.MIDI() != c.midi {
			t.Errorf("%d in %v: %v (%d), want %s", c.midi, key, got, got.MIDI(), c.want)
		}
	}
}

func TestParseKey(t *testing.T) {
	for _, c := range []struct {
		s, print string
		fifths   int
		minor    bool
	}{
		{"C", "C", 0, false}, {"Eb", "Eb", -3, false}, {"Dm", "Dm", -1, true}, {"F# minor", "F#m", 3, true}, {"F#min", "F#m", 3, true},
		{"A major", "A", 3, false}, {"Amaj", "A", 3, false}, {"G Mixolydian", "G", 0, false}, {"Gmix", "G", 0, false},
		{"D Dor", "Dm", 0, true}, {"Edorian", "Em", 2, true}, {"Ephr", "Em", 0, true}, {"F lydian", "F", 0, false}, {"B loc", "Bm", 0, true},
		{"A aeolian", "Am", 0, true}, {"C ion", "C", 0, false}, {"B♭", "Bb", -2, false}, {"C#", "C#", 7, false}, {"Cb", "Cb", -7, false},
		{"bbm", "Bbm", -5, true}, {"G#m", "G#m", 5, true}, {"CM", "C", 0, false},
	} {
		k, err := ParseKey(c.s)
		if err != nil || k.String() != c.print || k.Fifths != c.fifths || k.Minor != c.minor {
			t.Errorf("%q: %v %+v, %v; want %s, %d fifths", c.s, k, k, err, c.print, c.fifths)
		}
	}
	for _, bad := range []string{"", "H", "none", "C x", "G# major", "Fb", "Dbm", "C mix 2"} {
		if k, err := ParseKey(bad); err == nil {
			t.Errorf("%q is read as %v", bad, k)
		}
	}
}

func TestKeyAlter(t *testing.T) {
	// Order of the signs: common practice.
	const sharps, flats = "FCGDAEB", "BEADGCF"
	for f := -7; f <= 7; f++ {
		want := map[string]int8{}
		for i := range max(f, 0) {
			want[sharps[i:i+1]] = 1
		}
		for i := range max(-f, 0) {
			want[flats[i:i+1]] = -1
		}
		for l := C; l <= B; l++ {
			if got := (Key{Fifths: f}).Alter(l); got != want[Name{Letter: l}.String()] {
				t.Errorf("%d fifths: %v has %d", f, Name{Letter: l}, got)
			}
		}
	}
}

func TestKeyTranspose(t *testing.T) {
	for _, c := range []struct {
		key  string
		iv   Interval
		want string
	}{
		{"C", Interval{2, 3}, "Eb"}, {"Bb", Interval{1, 2}, "C"}, {"E", Interval{2, 4}, "Ab"}, {"Db", Interval{2, 3}, "E"},
		{"Am", Interval{1, 1}, "Bbm"}, {"F#m", Interval{1, 2}, "G#m"}, {"Gb", Interval{0, 0}, "Gb"}, {"C#", Interval{0, 0}, "C#"},
		{"C#", Interval{7, 12}, "C#"}, {"G#m", Interval{2, 3}, "Bm"}, {"Ebm", Interval{1, 1}, "Em"},
	} {
		k, err := ParseKey(c.key)
		if err != nil {
			t.Fatal(err)
		}
		if got := k.Transpose(c.iv); got.String() != c.want {
			t.Errorf("%s by %v: %v, want %s", c.key, c.iv, got, c.want)
		}
	}
	for f := -7; f <= 7; f++ {
		for semis := -24; semis <= 24; semis++ {
			k := Key{Tonic: Name{}.Transpose(Interval{4 * f, 7 * f}), Fifths: f}
			iv := IntervalFor(k, semis)
			got := k.Transpose(iv)
			if iv.Semitones != semis || abs(got.Fifths) > 6 && semis%12 != 0 || fifthsOf(got.Tonic) != got.Fifths ||
				got.Tonic.PC() != mod12(k.Tonic.PC()+semis) {
				t.Errorf("%v by %d semitones: interval %v, key %v with %d fifths", k, semis, iv, got, got.Fifths)
			}
		}
	}
}
