package leadsheet

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"thumbline/theory"
)

// A TrackInfo is what a player needs to know of a track of a MIDI file to
// choose the one with the melody.
type TrackInfo struct {
	Number    int    // as --melody takes it: the track from 1; in format 0 with several channels the channel
	Name      string // "" when it has none
	Notes     int
	Low, High theory.Pitch // spelled with flats; zero without notes
	// Alone is the part of the notes, 0 to 1, that neither start together with
	// another nor while another goes on to sound.
	Alone    float64
	Drums    bool // on channel 10
	Chords   int  // chord symbols among its texts
	Proposed bool // the likeliest melody; at most one
}

// String is `2 "Lead" (48 notes from C4 to G5)`.
func (t TrackInfo) String() string {
	s := strconv.Itoa(t.Number)
	if t.Name != "" {
		s += " " + quote(t.Name)
	}
	switch {
	case t.Notes == 0:
		return s + " (no notes)"
	case t.Drums:
		return s + " (drums)"
	}
	s += fmt.Sprintf(" (%d notes from %s to %s", t.Notes, t.Low, t.High)
	if t.Notes == 1 {
		s = strings.Replace(s, "1 notes", "1 note", 1)
	}
	if t.Alone < plausibleAlone {
		s += ", several at once"
	}
	return s + ")"
}

// IsSMF reports whether data begins as a Standard MIDI File does, bare or in a
// RIFF wrapper.
func IsSMF(data []byte) bool { return bytes.HasPrefix(data, []byte("MThd")) || isRMID(data) }

// Tracks lists the tracks of a Standard MIDI File, in order, and proposes one
// for the melody. The error is an ErrorList without a file name.
func Tracks(data []byte) ([]TrackInfo, error) {
	l := &log{}
	if len(data) > maxFile {
		l.fault(place{}, tooLarge, "larger than %d MB", maxFile>>20)
		return nil, l.err()
	}
	if !IsSMF(data) {
		l.fault(place{}, "give a Standard MIDI File", "not a MIDI file")
		return nil, l.err()
	}
	f, err := parseSMF(data, func(string) {})
	if err != nil {
		l.fault(place{}, err.do, "%s", err.msg)
		return nil, l.err()
	}
	infos, _ := f.infos()
	return infos, nil
}

// Names of tracks. Common practice, no source.
var (
	melodyName = regexp.MustCompile(`(?i)\b(melod(y|ies|ie|ia)|lead|voc(al|als)?|voice|vox|sing(er)?|tune|theme|soprano|topline|top line|solo|head)\b`)
	otherName  = regexp.MustCompile(`(?i)\b(bass|drums?|perc(ussion)?|pads?|chords?|harmony|comp(ing)?|strings|rhythm|accomp(animent)?|arp(eggio)?|guide|click|metronome|left( hand)?|inner|backing)\b`)
	// Names that say nothing of the tune.
	plainTrack = regexp.MustCompile(`(?i)^((midi|audio|inst(rument)?|track|tempo|conductor|control|master|untitled|new|time|meta|signature|song|seq(uence)?|channel|out(put)?|no name|unnamed|piano|guitar|[0-9]+)[ #_.:-]*)*$`)
)

const (
	plausibleAlone = 0.8 // part of the notes of a melody that sound alone
	lowestMelody   = 45  // mean pitch of a melody at least, A2
)

// infos describes the tracks; choice holds the indices of those that may be
// the melody, the likeliest first.
func (f *smfFile) infos() (infos []TrackInfo, choice []int) {
	scores := make([]float64, len(f.tracks))
	var most int
	for _, t := range f.tracks {
		most = max(most, len(t.notes))
	}
	words := make([]int, len(f.tracks))
	chords := make([]int, len(f.tracks))
	for _, m := range f.metas {
		if m.kind != metaText && m.kind != metaLyric && m.kind != metaMarker && m.kind != metaCue {
			continue
		}
		switch w := f.words(m); {
		case w == nil:
		case w.isSymbol():
			chords[m.track]++
		case m.kind == metaLyric:
			words[m.track]++
		}
	}
	named := false
	for i, t := range f.tracks {
		info := TrackInfo{Number: t.number, Name: t.name, Notes: len(t.notes), Chords: chords[i]}
		if len(t.notes) == 0 {
			infos = append(infos, info)
			continue
		}
		low, high, sum := 127, 0, 0
		for _, n := range t.notes {
			low, high = min(low, int(n.key)), max(high, int(n.key))
			sum += int(n.key)
		}
		info.Low, info.High = theory.PitchOf(low, theory.Key{}), theory.PitchOf(high, theory.Key{})
		info.Drums = t.channel == drumChannel
		info.Alone = f.alone(t)
		mean := float64(sum) / float64(len(t.notes))
		bass := t.program >= 33 && t.program <= 40 // General MIDI 1, sound set: bass
		isMelody, isOther := melodyName.MatchString(t.name), otherName.MatchString(t.name)
		if !info.Drums && !bass && mean >= lowestMelody && info.Alone >= plausibleAlone && (isMelody || !isOther) && (f.format != 2 || chords[i] > 0) {
			choice = append(choice, i)
			scores[i] = 3*info.Alone + mean/40 + float64(len(t.notes))/float64(most)
			if words[i] > 0 {
				scores[i] += 3
			}
			if isMelody {
				scores[i] += 10
				named = true
			}
		}
		infos = append(infos, info)
	}
	if named {
		choice = slices.DeleteFunc(choice, func(i int) bool { return !melodyName.MatchString(f.tracks[i].name) })
	}
	slices.SortStableFunc(choice, func(a, b int) int {
		switch {
		case scores[a] > scores[b]:
			return -1
		case scores[a] < scores[b]:
			return 1
		}
		return 0
	})
	if len(choice) == 0 {
		// With notes in one track alone that is it, chords or not.
		only := -1
		for i, t := range infos {
			if t.Notes > 0 && !t.Drums {
				if only >= 0 {
					return infos, nil
				}
				only = i
			}
		}
		if only >= 0 {
			choice = []int{only}
		}
	}
	if len(choice) > 0 {
		infos[choice[0]].Proposed = true
	}
	return infos, choice
}

// together is how many ticks apart notes are still struck together: a
// twentieth of a quarter, 25 ms at 120.
func (f *smfFile) together() uint32 { return uint32(f.division / 20) }

// alone is the part of the notes of t that are one at a time.
func (f *smfFile) alone(t *smfTrack) float64 {
	tol := max(uint32(f.division/8), 1)
	shared := 0
	var until, last uint32 // when all before are over, and when the last began
	for i, n := range t.notes {
		if i > 0 && (n.on-last <= f.together() || until > n.on && until-n.on > tol) {
			shared++
		}
		last = n.on
		if !n.hanging {
			until = max(until, n.off)
		}
	}
	return 1 - float64(shared)/float64(len(t.notes))
}

// chooseTrack finds the track with the melody: the one asked for, or the only
// one that may be it. It returns nil when it logged a fault.
func (f *smfFile) chooseTrack(want string, l *log) *smfTrack {
	infos, choice := f.infos()
	if want != "" {
		found := slices.IndexFunc(infos, func(t TrackInfo) bool { return strings.EqualFold(t.Name, strings.TrimSpace(want)) })
		if found < 0 {
			found = slices.IndexFunc(infos, func(t TrackInfo) bool { return strconv.Itoa(t.Number) == strings.TrimSpace(want) })
		} else if again := slices.IndexFunc(infos[found+1:], func(t TrackInfo) bool { return strings.EqualFold(t.Name, infos[found].Name) }); again >= 0 {
			again += found + 1
			l.fault(place{}, "choose one by its number", "tracks %d and %d are both called %s", infos[found].Number, infos[again].Number, quote(infos[found].Name))
			return nil
		}
		switch {
		case found < 0:
			l.fault(place{}, "choose one that is there", "there is no track %s: the file has %s", quote(want), trackList(infos))
			return nil
		case infos[found].Notes == 0:
			l.fault(place{}, "choose one that has notes", "the track %s has no notes: the file has %s", quote(want), trackList(infos))
			return nil
		}
		return f.tracks[found]
	}
	noted := slices.DeleteFunc(slices.Clone(infos), func(t TrackInfo) bool { return t.Notes == 0 })
	switch {
	case len(noted) == 0:
		l.fault(place{}, "a lead sheet needs a melody", "there are no notes in this MIDI file")
		return nil
	case len(choice) == 1:
		t := f.tracks[choice[0]]
		if len(noted) > 1 {
			l.warn(place{}, "the melody is taken from track %s (--melody chooses another)", infos[choice[0]])
		}
		return t
	case len(choice) == 0:
		l.fault(place{}, "write --melody and the number of the track with the melody", "no track looks like a melody: the file has %s", trackList(infos))
		return nil
	}
	l.fault(place{}, fmt.Sprintf("write --melody %d for the likeliest, or another number", infos[choice[0]].Number),
		"several tracks may be the melody: the file has %s", trackList(infos))
	return nil
}

// trackList names the tracks with notes.
func trackList(infos []TrackInfo) string {
	var names []string
	for _, t := range infos {
		if t.Notes > 0 {
			names = append(names, t.String())
		}
	}
	return listed(names)
}
