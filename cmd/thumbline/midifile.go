package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"thumbline/midiio"
	"thumbline/synth"
	"thumbline/theory"
	"thumbline/voicing"
)

// An opened tune has been looked into, and is still to be read.
type opened struct {
	io.ReadCloser
	info fs.FileInfo
}

// stands reports whether what the command line names is a MIDI file to be
// played as it stands: one of which no melody was chosen. What is looked at
// stays to be read.
func (o *options) stands(e *env) (bool, error) {
	if o.tune == "" || o.changed("melody") {
		return false, nil
	}
	r, info, err := openTune(e, o)
	if err != nil {
		return false, err
	}
	b := bufio.NewReader(r)
	head, _ := b.Peek(12) // what is wrong is found by whoever reads it
	o.looked = &opened{struct {
		io.Reader
		io.Closer
	}{b, r}, info}
	return bytes.HasPrefix(head, []byte("MThd")) || bytes.HasPrefix(head, []byte("RIFF")) && bytes.HasSuffix(head, []byte("RMID")), nil
}

// tuneFlags are those that make something of a lead sheet.
var tuneFlags = []string{"number", "key", "feel", "tension", "density", "phrasing", "setting", "intro", "ending", "ritardando", "choruses",
	"comp", "same-repeats", "reach", "pluck", "frets", "scale-length", "phrase", "section", "only", "mute", "no-spread", "layers", "change", "step", "stems", "channels"}

// playsAlone refuses flags that say nothing to a file played as it stands.
func (o *options) playsAlone() error {
	for _, f := range tuneFlags {
		if !o.changed(f) {
			continue
		}
		what := ""
		if f == "phrase" || f == "section" {
			what = "give --bars, or "
		}
		return usagef("--%s: %s is a MIDI file and is played as it stands (%sadd --melody TRACK to arrange it)", f, tuneName(o), what)
	}
	return nil
}

// A midiFile is a MIDI file on strings; for a port its sequence is that of the file,
// on its own channels.
type midiFile struct {
	*midiio.Strung
	// bars are those of the file and its strings, as an arrangement without
	// grips, whose phrases are four bars each.
	bars *voicing.Arrangement
	down float64 // how much softer it is played than its notes say, dB, 0 or less
}

// barsTogether is how many bars of a MIDI file go together.
const barsTogether = 4

// readMIDI reads a file that stands.
func readMIDI(e *env, o *options) (*midiFile, fs.FileInfo, error) {
	if err := o.playsAlone(); err != nil {
		return nil, nil, err
	}
	neck, err := o.neck()
	if err != nil {
		return nil, nil, err
	}
	r, info, err := openTune(e, o)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	seq, err := midiio.ReadSMF(r)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", tuneName(o), err)
	}
	var open []int // string 1 first
	for s := 1; s <= neck.Strings(); s++ {
		open = append(open, neck.Open(s))
	}
	f := &midiFile{}
	f.Strung, err = midiio.Strings(seq, midiio.StringsOptions{Open: open, Most: synth.MaxStrings, Stroke: synth.HasStroke})
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", tuneName(o), err)
	}
	if o.changed("port") {
		return f, info, f.keep(o, seq)
	}
	if len(f.Notes) == 0 && !slices.ContainsFunc(f.Events, func(e midiio.Event) bool { return e.Msg[0]&0xF0 == 0x90 }) {
		return nil, nil, fmt.Errorf("%s: there is nothing in it that strings can play", tuneName(o))
	}
	loud := f.loudness()
	f.down = min(loudest-loud, 0)
	f.Clicks = loud - usual
	f.Sequence = f.WithClicks()
	f.lay(o, len(open))
	return f, info, nil
}

// keep leaves the file as it is, for a port; the strings are for the page alone.
func (f *midiFile) keep(o *options, seq *midiio.Sequence) error {
	if !slices.ContainsFunc(seq.Events, func(e midiio.Event) bool { return e.Msg[0]&0xF0 == 0x90 }) {
		return fmt.Errorf("%s: there is no note in it", tuneName(o))
	}
	if len(f.Notes) > 0 {
		seq.Clicks = f.loudness() - usual
	}
	f.Sequence = midiio.BendRange(seq).WithClicks()
	f.lay(o, len(f.Open))
	f.bars.Warnings = nil // it is heard elsewhere, as it is
	return nil
}

// lay makes the bars and tells what became of the file.
func (f *midiFile) lay(o *options, guitar int) {
	a := &voicing.Arrangement{Title: f.Title}
	if a.Title == "" {
		a.Title = tuneName(o)
		if o.tune != "-" {
			a.Title = filepath.Base(o.tune)
		}
	}
	for _, p := range slices.Backward(f.Open) {
		a.Tuning = append(a.Tuning, p)
	}
	for _, b := range f.Bars {
		a.Bars = append(a.Bars, voicing.Bar{Label: b.Label, At: voicing.Tick(b.At), Len: voicing.Tick(b.Len), Beat: voicing.Tick(b.Beat), Metre: b.Metre})
	}
	for from := 0; from < len(a.Bars); from += barsTogether {
		a.Phrases = append(a.Phrases, theory.Phrase{From: from, To: min(from+barsTogether, len(a.Bars))})
	}
	for _, m := range f.Tempi {
		a.Tempi = append(a.Tempi, voicing.TempoMark{At: voicing.Tick(m.Tick), BPM: m.BPM})
	}
	for _, n := range f.Notes {
		a.Notes = append(a.Notes, voicing.Note{At: voicing.Tick(n.At), Dur: voicing.Tick(n.End - n.At), MIDI: n.Key, Voice: voicing.Inner})
	}
	a.Warnings = f.told(guitar)
	f.bars = a
}

// told is what a player should know of a file that is not what it says.
func (f *midiFile) told(guitar int) (lines []string) {
	if n := len(f.Open) - guitar; n > 0 {
		are := "are"
		if n == 1 {
			are = "is"
		}
		lines = append(lines, fmt.Sprintf("its notes need %d strings: %d %s added to the guitar's %d", len(f.Open), n, are, guitar))
	}
	var no []string
	count := func(n int, one, many string) {
		switch {
		case n == 1:
			no = append(no, "1 "+one)
		case n > 1:
			no = append(no, fmt.Sprintf("%d %s", n, many))
		}
	}
	count(f.Outside, "note too low or too high for any string", "notes too low or too high for any string")
	count(f.Lost, "note for which there is no string left", "notes for which there is no string left")
	count(f.Strokes, "stroke of percussion that has no sound here", "strokes of percussion that have no sound here")
	if no = append(no, f.Ignored...); len(no) > 0 {
		lines = append(lines, "not heard: "+strings.Join(no, ", "))
	}
	if f.Ended > 0 {
		what := "notes end sooner than written, to free their strings"
		if f.Ended == 1 {
			what = "note ends sooner than written, to free its string"
		}
		lines = append(lines, fmt.Sprintf("%d %s", f.Ended, what))
	}
	if d := -math.Round(f.down); d > 0 {
		lines = append(lines, fmt.Sprintf("it is played %g dB softer than its velocities say, about as loud as an arrangement (--gain %g undoes that)", d, d))
	}
	return lines
}

// How loud arrangements are, LUFS: the loudest is what a file may be without being
// turned down.
const (
	usual   = -18
	loudest = -16
)

// loudness is about how loud the file is on the strings, LUFS: what each note
// gives, by the square laws of velocity and volume, summed in stretches of three
// seconds of which the soft ones do not count, as EBU R 128 measures. How long a
// note gives, and the level of one, are fitted to files of chords, lines and
// bands as ffmpeg measures them; it is within 1 dB where the limiter has nothing
// to do.
func (f *midiFile) loudness() float64 {
	const stretch, gives, level = 3, 0.3, -11
	power := map[int]float64{}
	now, last, bpm, k := 0.0, midiio.Tick(0), float64(midiio.DefaultBPM), 0
	for _, n := range f.Notes {
		for ; k < len(f.Tempi) && f.Tempi[k].Tick <= n.At; k++ {
			now += seconds(f.Tempi[k].Tick-last, bpm)
			last, bpm = f.Tempi[k].Tick, f.Tempi[k].BPM
		}
		at := now + seconds(n.At-last, bpm)
		g := math.Pow(float64(n.Velocity)/127, 4) * math.Pow(float64(n.Volume)/100, 4)
		power[int(at/stretch)] += g * gives * (1 - math.Exp(-seconds(n.End-n.At, bpm)/gives)) / stretch
	}
	mean := func(from float64) float64 {
		sum, n := 0.0, 0
		for _, i := range slices.Sorted(maps.Keys(power)) {
			if power[i] >= from {
				sum += power[i]
				n++
			}
		}
		return sum / float64(max(n, 1))
	}
	return level + 10*math.Log10(mean(mean(0)/10)+1e-12)
}

// seconds is how long some ticks last at a tempo.
func seconds(ticks midiio.Tick, bpm float64) float64 {
	return float64(ticks) / float64(midiio.PerQuarter) * 60 / bpm
}

// playable is what is played: an arrangement, or the bars of a MIDI file.
func playable(e *env, o *options) (a *voicing.Arrangement, f *midiFile, info fs.FileInfo, err error) {
	stands, err := o.stands(e)
	switch {
	case err != nil:
		return nil, nil, nil, err
	case stands:
		if f, info, err = readMIDI(e, o); err != nil {
			return nil, nil, nil, err
		}
		return f.bars, f, info, nil
	}
	a, info, err = arrange(e, o)
	return a, nil, info, err
}

// soften turns down what is louder than an arrangement.
func (h *hearing) soften(f *midiFile) { h.gain = max(h.gain+f.down, -60) }

// writeMIDI writes a file that stands as sound.
func writeMIDI(ctx context.Context, e *env, o *options, h hearing, ks []kind) error {
	for i, k := range ks {
		if k.ending != soundEnding {
			return usagef("--out %s: %s is a MIDI file, played as it stands in a %s and arranged in a %s: write them one after the other, or add --melody TRACK to arrange it for both",
				o.out[i], tuneName(o), soundEnding, k.ending)
		}
	}
	f, info, err := readMIDI(e, o)
	if err != nil {
		return err
	}
	from, to, err := part(f.bars, o)
	if err != nil {
		return err
	}
	outs, err := newOutputs(o.out, info)
	if err != nil {
		return err
	}
	warn(e, o, f.bars)
	h.soften(f)
	start := f.Bars[from].At
	s := &score{a: f.bars, hear: h, bar: progressOf(e), file: f, pass: midiio.Pass{From: start, Scale: h.scale(f.Sequence, start), Mute: midiio.Layers(midiio.Click)}}
	if to < len(f.Bars) {
		s.pass.To = f.Bars[to].At
	}
	for i := range outs {
		outs[i].content = func(w io.WriteSeeker) error { return writeWAV(w, s) }
	}
	return writeAll(ctx, outs)
}
