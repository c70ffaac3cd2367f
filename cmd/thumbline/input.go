package main

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
	"thumbline/voicing"
)

// demo is the built-in tune, original like everything in it.
//
//go:embed demo.abc
var demo []byte

// demoName stands for it in messages.
const demoName = "the built-in tune"

// readTune reads the lead sheet a command line names. info is the file, nil
// for the built-in tune and for standard input.
func readTune(e *env, o *options) (t *theory.Tune, info fs.FileInfo, err error) {
	opt, err := o.reading()
	if err != nil {
		return nil, nil, err
	}
	r, info, err := openTune(e, o)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	t, err = leadsheet.Read(r, tuneName(o), opt)
	return t, info, err
}

// reading is what the flags choose of a file: a tune by its number or its
// title, and a voice.
func (o *options) reading() (leadsheet.Options, error) {
	opt := leadsheet.Options{Melody: o.melody}
	if !o.changed("number") {
		return opt, nil
	}
	switch n, err := strconv.Atoi(strings.TrimSpace(o.number)); {
	case strings.TrimSpace(o.number) == "":
		return opt, usagef("--number is empty (give the number of a tune, or a part of its title)")
	case err != nil:
		opt.Title = o.number
	case n < 1:
		return opt, usagef("--number %d: tunes are counted from 1", n)
	default:
		opt.Number = n
	}
	return opt, nil
}

// openTune opens the lead sheet that a command line names. info is as for
// readTune.
func openTune(e *env, o *options) (r io.ReadCloser, info fs.FileInfo, err error) {
	if l := o.looked; l != nil {
		o.looked = nil
		return l, l.info, nil
	}
	switch o.tune {
	case "":
		return io.NopCloser(bytes.NewReader(demo)), nil, nil
	case "-":
		return io.NopCloser(e.stdin), nil, nil
	}
	f, err := os.Open(o.tune)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil, fmt.Errorf("%s: no such file (check the name; without one the built-in tune is taken)", o.tune)
		}
		return nil, nil, fmt.Errorf("%s: cannot be read: %s", o.tune, reason(err))
	}
	info, err = f.Stat()
	if err != nil {
		f.Close()
		return nil, nil, fmt.Errorf("%s: cannot be read: %s", o.tune, reason(err))
	}
	if info.IsDir() {
		f.Close()
		return nil, nil, fmt.Errorf("%s: is a folder (give a lead sheet: a file in ABC, MusicXML or MIDI)", o.tune)
	}
	return f, info, nil
}

// plan is what the flags decide about the arrangement.
func (o *options) plan() voicing.Plan {
	p := voicing.Plan{Key: o.key, Feel: o.feel, Tension: o.tension, Density: o.density, Phrasing: o.phrasing,
		Setting: o.setting, Intro: o.intro, Ending: o.ending, Ritardando: o.ritardando, Choruses: o.choruses, Comp: o.comp, SameRepeats: o.sameRepeats}
	// checkPlan has found these to be good
	if h, err := o.hand(); err == nil {
		p.Hand = &h
	}
	if n, err := o.neck(); err == nil {
		p.Neck = &n
	}
	if r, err := o.rightHand(); err == nil {
		p.Right = &r
	}
	return p
}

// rightHand is the plucking hand of --pluck.
func (o *options) rightHand() (voicing.RightHand, error) {
	if o.pluck < voicing.MinPlucked || o.pluck > voicing.MaxPlucked {
		return voicing.NormalRightHand(), usagef("--pluck %d is out of range (%d to %d strings at once)", o.pluck, voicing.MinPlucked, voicing.MaxPlucked)
	}
	return voicing.RightHand{Fingers: o.pluck}, nil
}

// hand is the left hand of --reach.
func (o *options) hand() (voicing.Hand, error) {
	if o.reach == "" {
		return voicing.NormalHand(), nil
	}
	h, err := voicing.ParseReach(o.reach)
	if err != nil {
		return h, usagef("--reach: %w", err)
	}
	return h, nil
}

// wide reports whether a hand is asked for that reaches farther than the normal
// one.
func (o *options) wide() (bool, error) {
	h, err := o.hand()
	return err == nil && h.Reach > voicing.NormalHand().Reach, err
}

// What --frets and --scale-length can be: from one octave to two, and from a
// small guitar to a baritone, mm (common practice, no source).
const (
	minFrets, maxFrets = 12, 24
	minScale, maxScale = 500, 700
)

// neck is the neck of --tuning, --frets, --scale-length and --capo.
func (o *options) neck() (voicing.Neck, error) {
	n := voicing.StandardNeck()
	if o.tuning != "" {
		open, err := voicing.ParseTuning(o.tuning)
		if err != nil {
			return n, usagef("--tuning: %w", err)
		}
		n.Tuning = open
	}
	if o.frets < minFrets || o.frets > maxFrets {
		return n, usagef("--frets %d is out of range (%d to %d)", o.frets, minFrets, maxFrets)
	}
	n.Frets = o.frets
	if o.changed("scale-length") {
		mm, err := strconv.ParseFloat(strings.TrimSuffix(o.scale, "mm"), 64)
		switch {
		case err != nil:
			return n, usagef("--scale-length %q is not a length in mm (such as 628)", o.scale)
		case !(mm >= minScale && mm <= maxScale):
			return n, usagef("--scale-length %s is out of range (%d to %d mm)", o.scale, minScale, maxScale)
		}
		n.Scale = mm
	}
	n, err := n.WithCapo(o.capo)
	if err != nil {
		return n, usagef("--capo: %w", err)
	}
	top := n.Top()
	for s := n.Strings(); s > 1; s-- {
		if gap := n.Open(s-1) - n.Open(s); gap > top+1 {
			return n, usagef("strings %d and %d are %d semitones apart: frets up to %d leave out pitches between them (look at --tuning, --frets and --capo)", s, s-1, gap, top)
		}
	}
	return n, nil
}

// checkPlan finds values that no plan can have before a file is opened: they
// are wrong usage, whatever the tune.
func (o *options) checkPlan() error {
	if err := o.checkPart(); err != nil {
		return err
	}
	if o.key != "" {
		if _, err := theory.ParseKey(o.key); err != nil {
			return usagef("--key: %w", err)
		}
	}
	if o.feel != "" {
		if _, err := theory.ParseFeel(o.feel, 120, theory.Metre{Num: 4, Den: 4}); err != nil {
			return usagef("--feel: %w", err)
		}
	}
	if _, err := voicing.ParseTension(o.tension); err != nil {
		return usagef("--tension: %w", err)
	}
	if _, err := voicing.ParseDensity(o.density); err != nil {
		return usagef("--density: %w", err)
	}
	if _, err := voicing.ParsePhrasing(o.phrasing); err != nil {
		return usagef("--phrasing: %w", err)
	}
	if _, err := voicing.ParseSetting(o.setting); err != nil {
		return usagef("--setting: %w", err)
	}
	if _, err := voicing.ParseIntro(o.intro); err != nil {
		return usagef("--intro: %w", err)
	}
	if _, err := voicing.ParseEnding(o.ending); err != nil {
		return usagef("--ending: %w", err)
	}
	if o.choruses < 1 || o.choruses > voicing.MostChoruses {
		return usagef("--choruses %d is out of range (1 to %d)", o.choruses, voicing.MostChoruses)
	}
	if o.comp < 0 || o.comp > o.choruses || o.comp > 0 && o.choruses == 1 {
		return usagef("--comp %d: there is no such chorus beside others (--choruses N plays the tune N times)", o.comp)
	}
	if _, err := o.hand(); err != nil {
		return err
	}
	if _, err := o.rightHand(); err != nil {
		return err
	}
	_, err := o.neck()
	return err
}

// arrange reads and arranges the tune, whole.
func arrange(e *env, o *options) (a *voicing.Arrangement, info fs.FileInfo, err error) {
	if err := o.checkPlan(); err != nil {
		return nil, nil, err
	}
	t, info, err := readTune(e, o)
	if err != nil {
		return nil, nil, err
	}
	a, err = arrangeTune(t, o)
	return a, info, err
}

// arrangeTune arranges what was read, by a plan that checkPlan found good.
func arrangeTune(t *theory.Tune, o *options) (*voicing.Arrangement, error) {
	a, err := voicing.Arrange(t, o.plan())
	if err != nil {
		return nil, planError(o, err)
	}
	return a, nil
}

// planError is what Arrange refused: a choice that the tune does not have is
// wrong usage, as a section is that it does not have.
func planError(o *options, err error) error {
	var choice *voicing.ChoiceError
	if errors.As(err, &choice) {
		flag := "ending"
		if choice.What == voicing.IntroName {
			flag = "intro"
		}
		return usagef("--%s: %s: %w", flag, tuneName(o), err)
	}
	return fmt.Errorf("%s: %w", tuneName(o), err)
}

// mostWarnings is how many warnings a command that shows no sheet prints.
const mostWarnings = 8

// warn tells what was odd about the tune, where no sheet does.
func warn(e *env, o *options, a *voicing.Arrangement) {
	for i, w := range a.Warnings {
		if i == mostWarnings {
			fmt.Fprintf(e.stderr, "thumbline: %s: %d more warnings (shapes lists them all)\n", tuneName(o), len(a.Warnings)-i)
			return
		}
		fmt.Fprintf(e.stderr, "thumbline: %s: warning: %s\n", tuneName(o), w)
	}
}

// tuneName is how messages call the tune.
func tuneName(o *options) string {
	switch o.tune {
	case "":
		return demoName
	case "-":
		return "standard input"
	}
	return o.tune
}

// parts are the flags that each choose a part.
var parts = []string{"bars", "phrase", "section"}

// checkPart finds a choice of bars that no tune has.
func (o *options) checkPart() error {
	asked := 0
	for _, f := range parts {
		if o.changed(f) {
			asked++
		}
	}
	switch {
	case asked > 1:
		return usagef("--bars, --phrase and --section each choose a part: give one of them")
	case o.changed("bars") && strings.TrimSpace(o.bars) == "":
		return usagef("--bars is empty (give bars as check lists them, such as 5-8)")
	case o.changed("section") && strings.TrimSpace(o.section) == "":
		return usagef("--section is empty (give a section as check lists them, such as A)")
	case o.changed("phrase") && o.phrase < 1:
		return usagef("--phrase %d: phrases are counted from 1", o.phrase)
	}
	return nil
}

// part is the bars [from, to) that the flags ask for, the whole when they ask
// for none.
func part(a *voicing.Arrangement, o *options) (from, to int, err error) {
	switch {
	case o.changed("bars"):
		from, to, err = barRange(a, o.bars)
		return from, to, err
	case o.changed("phrase"):
		last := len(a.Phrases) - a.Before - a.After
		if o.phrase < 1 || o.phrase > last {
			put := ""
			if a.Before > 0 || a.After > 0 {
				put = " (--section has what is put in)"
			}
			return 0, 0, usagef("--phrase %d: %s has phrases 1 to %d%s", o.phrase, tuneName(o), last, put)
		}
		p := a.Phrases[a.Before+o.phrase-1]
		return p.From, p.To, nil
	case o.changed("section"):
		return sectionRange(a, o)
	}
	return 0, len(a.Bars), nil
}
