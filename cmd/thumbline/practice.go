package main

import (
	"strconv"
	"strings"

	"thumbline/midiio"
	"thumbline/theory"
)

const (
	// defaultRampStep is in percent: small, because a rise of load is what
	// hands pay for (harmony.md 7.1).
	defaultRampStep = 2
	mostRepeat      = 10000
	mostSets        = 16
	mostTempi       = 200 // more take too long to lay out anew when a key asks for it
)

// practising is what the flags of "Practise" ask for.
type practising struct {
	countIn int               // bars; midiio.CountInAuto
	click   bool              // a metronome
	ramp    []float64         // factors of the tempo, one a step; none: 1
	repeat  int               // passes, at each tempo of a ramp; 0: without an end
	rest    int               // bars after each pass
	answer  bool              // time alone after each pass
	layers  []midiio.LayerSet // from pass to pass; none: all
	change  *theory.Place     // of a grip that is changed to
}

// practising checks them, also against what is to be heard. absent is what no
// --count-in means.
func (o *options) practising(absent int, h hearing) (practising, error) {
	p := practising{click: o.click, answer: o.answer}
	var err error
	if o.changed("count-in") && o.countIn == "" {
		return p, usagef("--count-in is empty (give a number of bars, 0 to 8)")
	}
	if p.countIn, err = parseCountIn(o.countIn, absent); err != nil {
		return p, err
	}
	if p.ramp, err = parseRamp(o.ramp, o.changed("ramp")); err != nil {
		return p, err
	}
	if o.changed("repeat") {
		if o.repeat < 1 || o.repeat > mostRepeat {
			return p, usagef("--repeat %d is out of range (1 to %d, or leave it out to go on until you stop it)", o.repeat, mostRepeat)
		}
		p.repeat = o.repeat
	}
	if o.rest < 0 || o.rest > midiio.MaxRest {
		return p, usagef("--rest %d is out of range (0 to %d bars)", o.rest, midiio.MaxRest)
	}
	p.rest = o.rest
	if p.layers, err = parseSets(o.layers, o.changed("layers"), o.trio()); err != nil {
		return p, err
	}
	if p.change, err = o.changeTo(); err != nil {
		return p, err
	}
	return p, p.agree(o, h)
}

// changeTo is the place of --change, nil for none.
func (o *options) changeTo() (*theory.Place, error) {
	if !o.changed("change") {
		return nil, nil
	}
	if o.change == "" {
		return nil, usagef("--change is empty (give the place of a grip, such as 3:1)")
	}
	for _, f := range parts {
		if o.changed(f) {
			return nil, usagef("--change and --%s each choose what is played: give one of them", f)
		}
	}
	at, err := theory.ParsePlace(o.change)
	if err != nil {
		return nil, usagef("--change: %w", err)
	}
	return &at, nil
}

// agree finds flags that cannot be obeyed together.
func (p practising) agree(o *options, h hearing) error {
	there := midiio.Layers(layersThere(o.trio())...)
	for _, set := range p.layers {
		if set&h.layers&there == 0 {
			return usagef("--layers %s: nothing of it is left by --only and --mute", strings.Join(layerNames(layersThere(o.trio()), set), "+"))
		}
	}
	for _, f := range p.ramp {
		if err := h.tempo.within(f); err != nil {
			return err
		}
	}
	n := max(len(p.ramp), 1) + max(len(p.layers), 1) - 1
	if p.answer {
		n *= 2
	}
	if n > 1 && n*max(p.repeat, 1) > midiio.MaxPasses {
		return usagef("--repeat %d makes %d passes in all (%d at most)", p.repeat, n*p.repeat, midiio.MaxPasses)
	}
	return nil
}

// within reports a step of a ramp that, with --tempo, nobody would play.
func (t tempo) within(factor float64) error {
	switch percent, beats := t.percent*factor, t.beats*factor; {
	case percent > 0 && !(percent > slowest-1e-6 && percent < fastest+1e-6):
		return usagef("--ramp and --tempo together: %s is out of range (%d%% to %d%%)", number(percent)+"%", slowest, fastest)
	case beats > 0 && !(beats > slowestBeats-1e-6 && beats < fastestBeats+1e-6):
		return usagef("--ramp and --tempo together: %s is out of range (%d to %d beats a minute)", number(beats), slowestBeats, fastestBeats)
	}
	return nil
}

// practiceAsked is the first flag of practice that was given, if any.
func (o *options) practiceAsked() string {
	for _, f := range []string{"ramp", "answer", "layers", "change", "rest", "repeat", "count-in", "click"} {
		if o.changed(f) {
			return f
		}
	}
	return ""
}

// parseRamp reads "60-100" or "60-100:5", in percent.
func parseRamp(s string, some bool) ([]float64, error) {
	if s == "" && !some {
		return nil, nil
	}
	bad := usagef("--ramp %q is no ramp (such as 60-100:5, from 60%% to 100%% in steps of 5)", s)
	span, by, stepped := strings.Cut(s, ":")
	from, to, ok := strings.Cut(span, "-")
	if !ok {
		return nil, bad
	}
	number := func(s string) (float64, error) { return strconv.ParseFloat(strings.TrimSuffix(s, "%"), 64) }
	first, err1 := number(from)
	last, err2 := number(to)
	step := float64(defaultRampStep)
	var err3 error
	if stepped {
		step, err3 = number(by)
	}
	switch {
	case err1 != nil || err2 != nil || err3 != nil:
		return nil, bad
	case !(first >= slowest && first <= fastest && last >= slowest && last <= fastest):
		return nil, usagef("--ramp %s is out of range (%d%% to %d%%)", s, slowest, fastest)
	case !(step >= 0.1 && step <= fastest):
		return nil, usagef("--ramp %s: a step of %s%% is out of range (0.1 to %d)", s, percents(step), fastest)
	}
	fs, err := midiio.Percents(first, last, step)
	if err != nil {
		return nil, usagef("--ramp %s: %w", s, err)
	}
	if len(fs) > mostTempi {
		return nil, usagef("--ramp %s has %d tempi (%d at most: take larger steps)", s, len(fs), mostTempi)
	}
	return fs, nil
}

// percents is a number of percent as it is said.
func percents(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// parseSets reads "bass,bass+melody,all" or "turn".
func parseSets(s string, some, trio bool) ([]midiio.LayerSet, error) {
	if s == "" && !some {
		return nil, nil
	}
	if s == "turn" {
		s = layersInTurn
	}
	var sets []midiio.LayerSet
	for _, word := range strings.Split(s, ",") {
		word = strings.TrimSpace(word)
		if word == "all" {
			sets = append(sets, midiio.AllLayers)
			continue
		}
		set, err := layerSet("layers", strings.Split(word, "+"), trio)
		if err != nil {
			return nil, err
		}
		sets = append(sets, set)
	}
	if len(sets) > mostSets {
		return nil, usagef("--layers: %d sets are too many (%d at most)", len(sets), mostSets)
	}
	return sets, nil
}

// layersInTurn is how a piece is put together from below.
const layersInTurn = "bass,bass+melody,all"
