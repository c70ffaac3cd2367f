package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thumbline/midiio"
	"thumbline/synth"
	"thumbline/theory"
	"thumbline/theory/leadsheet"
	"thumbline/voicing"
	"thumbline/voicing/sheet"
)

// tail is how long the last notes may ring on in a WAV file.
const tail = 4 * time.Second

// A kind of file is known by its ending.
type kind struct {
	ending string
	what   string
	write  func(w io.WriteSeeker, s *score) error // nil for the tune, which needs no arrangement
}

var kinds = []kind{
	{sheetEnding, "the tune alone as a clean lead sheet, to edit and read again: whole, in the octave it was read in, in the key of --key", nil},
	{".json", "the arrangement for other programs", func(w io.WriteSeeker, s *score) error { return sheet.JSON(w, s.shown()) }},
	{".mid", "MIDI", func(w io.WriteSeeker, s *score) error { return midiio.WriteSMF(w, s.hear.file(s.a)) }},
	{".txt", "tab", func(w io.WriteSeeker, s *score) error { return sheet.Tab(w, s.guitar(), sheet.TabOptions{}) }},
	{soundEnding, "sound; with the flags of practice a recording of its passes, one after the other", writeWAV},
}

func endings() string {
	var s []string
	for _, k := range kinds {
		s = append(s, k.ending)
	}
	return strings.Join(s, " ")
}

func kindOf(name string) (kind, bool) {
	ext := strings.ToLower(filepath.Ext(name))
	for _, k := range kinds {
		if k.ending == ext {
			return k, true
		}
	}
	return kind{}, false
}

// A score is what is written: the bars asked for, and how they are heard.
type score struct {
	a    *voicing.Arrangement
	hear hearing
	bar  *progress
	file *midiFile   // written as it stands, in place of a
	pass midiio.Pass // of it
}

// guitar is what a sheet for the guitar has: its voices that are heard.
func (s *score) guitar() *voicing.Arrangement { return sheet.Voices(s.a, s.hear.voices()...) }

// shown is what is written for other programs: the same, and the bass line of a
// trio when it is heard.
func (s *score) shown() *voicing.Arrangement {
	a := s.guitar()
	if !s.hear.layers.Has(midiio.Bassist) {
		a = sheet.WithoutBassist(a)
	}
	return a
}

func writeWAV(w io.WriteSeeker, s *score) error { return s.render(w, nil) }

// render writes sound, and beside it the stems.
func (s *score) render(w io.WriteSeeker, stems []io.WriteSeeker) error {
	e, err := s.hear.engine(s.a)
	if err != nil {
		return err
	}
	seq, pass := s.performed()
	cursor := func() (*midiio.Cursor, error) { return midiio.NewCursor(seq, midiio.Once(pass), e.Rate()) }
	c, err := cursor()
	if err != nil {
		return err
	}
	frames := framesOf(c, s.hear.bits.most())
	if err := s.hear.holds(frames); err != nil {
		return err
	}
	s.bar.part("sound", frames)
	defer s.bar.done()
	if c, err = cursor(); err != nil {
		return err
	}
	opt := synth.RenderOptions{Tail: tail, Format: s.hear.bits.format, Progress: s.bar.add}
	if len(stems) == 0 {
		_, err = synth.WriteWAV(w, e, c, opt)
		return err
	}
	c.Struck = func(l midiio.Layer) { e.Stem(slices.Index(s.hear.stems, l)) }
	_, err = synth.WriteStemsOf(w, stems, e, c, opt)
	return err
}

// performed is what is heard of the score.
func (s *score) performed() (*midiio.Sequence, midiio.Pass) {
	if s.file != nil {
		return s.file.Sequence, s.pass
	}
	seq := s.hear.perform(s.a)
	return seq, midiio.Pass{Scale: s.hear.scale(seq, 0)}
}

// holds refuses more sound than goes into a file.
func (h hearing) holds(frames int64) error {
	if most := h.bits.most(); frames > most {
		return usagef("more than %d hours of sound are more than a %s file can hold (ask for a part of it, or for fewer passes with --repeat)", most/int64(h.rate)/3600, soundEnding)
	}
	return nil
}

func write(ctx context.Context, e *env, o *options) error {
	if len(o.out) == 0 {
		return usagef("write needs --out FILE (its ending says what is written: %s)", endings())
	}
	ks, err := kindsOf(o)
	if err != nil {
		return err
	}
	h, err := o.hearing()
	if err != nil {
		return err
	}
	if err := h.wave(o, ks); err != nil {
		return err
	}
	if err := h.sheets(o.out, ks); err != nil {
		return err
	}
	if err := o.checkPlan(); err != nil {
		return err
	}
	if asked := o.practiceAsked(); asked != "" {
		return record(ctx, e, o, h, asked)
	}
	if i := slices.IndexFunc(ks, func(k kind) bool { return k.ending == soundEnding }); i >= 0 {
		switch stands, err := o.stands(e); {
		case err != nil:
			return err
		case stands:
			return writeMIDI(ctx, e, o, h, ks)
		}
	}
	t, info, err := readTune(e, o)
	if err != nil {
		return err
	}
	s := &score{hear: h, bar: progressOf(e)}
	var a *voicing.Arrangement
	if slices.ContainsFunc(ks, func(k kind) bool { return k.write != nil }) {
		s.bar.wait("arranging")
		a, err = until(ctx, func() (*voicing.Arrangement, error) { return arrangeTune(t, o) })
		s.bar.done()
		if err != nil {
			return err
		}
		from, to, err := part(a, o)
		if err != nil {
			return err
		}
		s.a = sheet.Cut(a, from, to)
	}
	outs, err := newOutputs(o.out, info)
	if err != nil {
		return err
	}
	if err := withStems(outs, ks, h.stems, info); err != nil {
		return err
	}
	var told []string
	for i, name := range o.out {
		k := ks[i]
		outs[i].stems = s.render
		outs[i].content = func(w io.WriteSeeker) error { return k.write(w, s) }
		if k.write == nil {
			// Made before any file is begun: what cannot be kept is said once all
			// are written.
			text, lost, err := cleanSheet(inKey(t, o.key), name)
			if err != nil {
				return err
			}
			told = append(told, lost...)
			outs[i].content = func(w io.WriteSeeker) error {
				_, err := w.Write(text)
				return err
			}
		}
	}
	if err := writeAll(ctx, outs); err != nil {
		return err
	}
	for _, n := range told {
		fmt.Fprintf(e.stderr, "thumbline: %s\n", n)
	}
	if a != nil {
		warn(e, o, a)
		h.silent(e, o, s.a, 0, len(s.a.Bars))
	}
	return nil
}

// record writes the passes that loop would play, one after the other, as sound.
func record(ctx context.Context, e *env, o *options, h hearing, asked string) error {
	for _, name := range o.out {
		if k, _ := kindOf(name); k.ending != soundEnding {
			return usagef("--out %s: with --%s the passes are recorded, as sound alone (%s)", name, asked, soundEnding)
		}
	}
	pr, err := o.practising(midiio.CountInAuto, h)
	if err != nil {
		return err
	}
	pr.repeat = max(pr.repeat, 1) // what is written has an end
	p, err := prepare(ctx, e, o, h, pr, false)
	if err != nil {
		return err
	}
	outs, err := newOutputs(o.out, p.info)
	if err != nil {
		return err
	}
	frames := framesOf(p.cursor, h.bits.most())
	if err := h.holds(frames); err != nil {
		return usagef("--out %s: %w", o.out[0], err)
	}
	bar := progressOf(e)
	defer bar.done()
	for i := range outs {
		outs[i].content = func(w io.WriteSeeker) error { return p.record(w, frames, bar) }
	}
	return writeAll(ctx, outs)
}

// record writes the practice as a WAV file, as softly begun as it is heard.
func (p *playing) record(w io.WriteSeeker, frames int64, bar *progress) error {
	if err := p.equip(); err != nil {
		return err
	}
	engine, err := p.h.engine(p.a)
	if err != nil {
		return err
	}
	bar.part("sound", frames)
	x, err := synth.NewWAVWriter(w, synth.WAVOptions{Rate: engine.Rate(), Format: p.h.bits.format, Frames: -1})
	if err != nil {
		return err
	}
	soften := gently(engine.Rate(), func([]float32) {})
	if _, err := synth.RenderAll(engine, p.cursor, tail, func(block []float32) error {
		soften(block)
		bar.add(int64(len(block) / 2))
		return x.Write(block)
	}); err != nil {
		return err
	}
	return x.Close()
}

// kindsOf is the kind of each file to write. A lead sheet is the whole tune: with
// one among them no part of it and none of an arrangement's voices can be asked
// for.
func kindsOf(o *options) ([]kind, error) {
	ks := make([]kind, len(o.out))
	for i, name := range o.out {
		k, ok := kindOf(name)
		if !ok {
			return nil, usagef("--out %s: no such kind of file (there are: %s)", name, endings())
		}
		ks[i] = k
	}
	i := slices.IndexFunc(ks, func(k kind) bool { return k.write == nil })
	if i < 0 {
		return ks, nil
	}
	for _, f := range parts {
		if o.changed(f) {
			return nil, usagef("--out %s: a lead sheet is written whole (leave --%s out)", o.out[i], f)
		}
	}
	for _, f := range []string{"only", "mute"} {
		if o.changed(f) {
			return nil, usagef("--out %s: a lead sheet is the tune and has no other voices (leave --%s out)", o.out[i], f)
		}
	}
	return ks, nil
}

// sheets refuses files that would have nothing of what is heard: tab is the
// guitar's, and drums are in no sheet.
func (h hearing) sheets(names []string, ks []kind) error {
	for i, name := range names {
		switch k := ks[i]; {
		case k.ending == ".txt" && !h.hasGuitar():
			return usagef("--out %s: tab is the guitar's, and nothing of it is left (.mid, .wav and .json have the bass line)", name)
		case k.ending == ".json" && !h.hasGuitar() && !h.layers.Has(midiio.Bassist):
			return usagef("--out %s: nothing is left to write in it (.mid and .wav have what the drums play)", name)
		}
	}
	return nil
}

// stemName is the name of a stem beside the whole.
func stemName(whole string, l midiio.Layer) string {
	ext := filepath.Ext(whole)
	return strings.TrimSuffix(whole, ext) + "-" + l.String() + ext
}

// withStems puts the files of the stems beside those of sound.
func withStems(outs []output, ks []kind, layers []midiio.Layer, input fs.FileInfo) error {
	seen := map[string]string{}
	for _, o := range outs {
		seen[filepath.Clean(o.file.target)] = o.file.name
	}
	for i, k := range ks {
		if k.ending != soundEnding {
			continue
		}
		for _, l := range layers {
			f, err := newOutFile(stemName(outs[i].file.name, l), input)
			if err != nil {
				return err
			}
			if other, twice := seen[filepath.Clean(f.target)]; twice {
				return usagef("--stems: %s, which goes with %s, and %s are the same file", f.name, outs[i].file.name, other)
			}
			seen[filepath.Clean(f.target)] = f.name
			outs[i].beside = append(outs[i].beside, f)
		}
	}
	return nil
}

// newOutputs are the files to be written, each checked before any is begun.
func newOutputs(names []string, input fs.FileInfo) ([]output, error) {
	outs := make([]output, len(names))
	seen := map[string]string{}
	for i, name := range names {
		f, err := newOutFile(name, input)
		if err != nil {
			return nil, err
		}
		if other, twice := seen[filepath.Clean(f.target)]; twice {
			return nil, usagef("--out %s and --out %s are the same file", other, name)
		}
		seen[filepath.Clean(f.target)] = name
		outs[i].file = f
	}
	return outs, nil
}

// cleanSheet is the tune as ABC and what could not be kept, for the file name.
func cleanSheet(t *theory.Tune, name string) (text []byte, lost []string, err error) {
	var b bytes.Buffer
	lost, err = leadsheet.WriteABC(&b, t)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: not written: %w", name, err)
	}
	for i, l := range lost {
		lost[i] = name + ": " + l
	}
	return b.Bytes(), lost, nil
}

// The ending of a lead sheet, and that of sound.
const (
	sheetEnding = ".abc"
	soundEnding = ".wav"
)

// inKey is the tune in the key of --key, moved by six semitones at most, so
// that it stays in the octave of the sheet. As in the arrangement the tonic
// counts and the mode stays the tune's.
func inKey(t *theory.Tune, key string) *theory.Tune {
	k, err := theory.ParseKey(key)
	if key == "" || err != nil {
		return t
	}
	iv := theory.IntervalBetween(t.Key.Tonic, k.Tonic)
	if iv.Semitones > 6 {
		iv = iv.Octaves(-1)
	}
	return t.Transpose(iv)
}

func shapes(_ context.Context, e *env, o *options) error {
	a, err := arrangePart(e, o)
	if err != nil {
		return err
	}
	if err := printed(sheet.Shapes(e.stdout, a, sheet.TabOptions{})); err != nil {
		return err
	}
	return stretched(e, o)
}

func explain(_ context.Context, e *env, o *options) error {
	a, err := arrangePart(e, o)
	if err != nil {
		return err
	}
	if err := printed(sheet.Explain(e.stdout, a)); err != nil {
		return err
	}
	return stretched(e, o)
}

// stretched says what there is to say under grips for a hand that reaches
// farther than the normal one.
func stretched(e *env, o *options) error {
	if wide, err := o.wide(); err != nil || !wide {
		return err
	}
	_, err := fmt.Fprintf(e.stdout, "\n%s\n", wrapAt(fmt.Sprintf("Reach %s: %s", o.reach, stretchCaution), 0))
	return printed(err)
}

func arrangePart(e *env, o *options) (*voicing.Arrangement, error) {
	a, _, err := arrange(e, o)
	if err != nil {
		return nil, err
	}
	from, to, err := part(a, o)
	if err != nil {
		return nil, err
	}
	return sheet.Cut(a, from, to), nil
}

func printed(err error) error {
	if err != nil {
		return fmt.Errorf("standard output: %w", reasonError(err))
	}
	return nil
}
