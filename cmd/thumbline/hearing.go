package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"thumbline/midiio"
	"thumbline/synth"
	"thumbline/voicing"
)

// maxGain is the most that --gain may add, in dB: the limiter holds the peaks,
// but not the ear's week.
const maxGain = 12

// hearing is how an arrangement is heard: nothing in it changes a note.
type hearing struct {
	tempo    tempo
	layers   midiio.LayerSet
	noSpread bool
	tone     string
	a4       float64 // Hz
	gain     float64
	rate     int // frames a second
	bits     bits
	stems    []midiio.Layer // written apart too; none: the whole alone
	port     *portChoice    // it is played to; nil for the built-in strings
}

// hearing checks the flags of "what to hear".
func (o *options) hearing() (hearing, error) {
	h := hearing{noSpread: o.noSpread, tone: o.tone, a4: o.a4, gain: o.gain, rate: synth.DefaultRate, bits: allBits[0]}
	var err error
	if h.tempo, err = parseTempo(o.tempo); err != nil {
		return h, err
	}
	if o.changed("tempo") && o.tempo == "" {
		return h, usagef("--tempo is empty (such as 60%% or 90)")
	}
	if h.layers, err = layers(o.only, o.mute, o.changed("only"), o.trio()); err != nil {
		return h, err
	}
	if math.IsNaN(o.gain) || o.gain < -60 || o.gain > maxGain {
		return h, usagef("--gain %g is out of range (-60 to %d dB)", o.gain, maxGain)
	}
	if !(o.a4 >= synth.MinA4 && o.a4 <= synth.MaxA4) {
		return h, usagef("--a4 %g is out of range (%d to %d Hz)", o.a4, synth.MinA4, synth.MaxA4)
	}
	if o.tone != "" && !slices.Contains(synth.Tones(), o.tone) {
		return h, usagef("--tone %s: no such tone (there are: %s)", o.tone, strings.Join(synth.Tones(), " "))
	}
	if h.port, err = o.portChoice(); h.port != nil {
		h.rate = portRate
	}
	return h, err
}

// guitar are the layers that the guitar plays, company those of the others in a
// trio.
var (
	guitar  = []midiio.Layer{midiio.Melody, midiio.Inner, midiio.Bass}
	company = []midiio.Layer{midiio.Bassist, midiio.Time}
)

// layersThere are the layers that there are to be heard.
func layersThere(trio bool) []midiio.Layer {
	if trio {
		return slices.Concat(guitar, company)
	}
	return guitar
}

// layerNames are those of the layers of a set, in the order of the list.
func layerNames(list []midiio.Layer, set midiio.LayerSet) []string {
	var names []string
	for _, l := range list {
		if set.Has(l) {
			names = append(names, l.String())
		}
	}
	return names
}

// trio reports whether bass and drums are there to be heard.
func (o *options) trio() bool {
	s, err := voicing.ParseSetting(o.setting)
	return err == nil && s == voicing.Trio
}

// layers are the voices to be heard. The click is not among them: it has its
// own flag.
func layers(only, mute []string, some, trio bool) (midiio.LayerSet, error) {
	set := midiio.AllLayers
	if some {
		s, err := layerSet("only", only, trio)
		if err != nil {
			return 0, err
		}
		set = s | midiio.Layers(midiio.Click)
	}
	s, err := layerSet("mute", mute, trio)
	if err != nil {
		return 0, err
	}
	set &^= s
	if there := layersThere(trio); set&midiio.Layers(there...) == 0 {
		return 0, usagef("nothing is left to hear (of %s)", strings.Join(layerNames(there, midiio.AllLayers), ", "))
	}
	return set, nil
}

// layerSet is the set of the layers that a flag names.
func layerSet(flag string, names []string, trio bool) (midiio.LayerSet, error) {
	there := layersThere(trio)
	var s midiio.LayerSet
	for _, n := range names {
		l, ok := midiio.ParseLayer(strings.TrimSpace(n))
		switch {
		case ok && !trio && slices.Contains(company, l):
			return 0, usagef("--%s %s: bass and drums play in a trio only (add --setting trio)", flag, n)
		case !ok || !slices.Contains(there, l):
			return 0, usagef("--%s %s: no such layer (there are: %s)", flag, n, strings.Join(layerNames(there, midiio.AllLayers), ", "))
		}
		s |= midiio.Layers(l)
	}
	return s, nil
}

// voices are those of an arrangement that are heard.
func (h hearing) voices() []voicing.Voice {
	var vs []voicing.Voice
	for _, v := range []voicing.Voice{voicing.Melody, voicing.Inner, voicing.Bass} {
		if h.layers.Has(midiio.LayerOf(v)) {
			vs = append(vs, v)
		}
	}
	return vs
}

// hasGuitar reports whether anything of the guitar is heard.
func (h hearing) hasGuitar() bool { return h.layers&midiio.Layers(guitar...) != 0 }

// silent tells when the voices to be heard have nothing in bars [from, to): a
// choice that leaves silence is no failure, but it is rarely meant.
func (h hearing) silent(e *env, o *options, a *voicing.Arrangement, from, to int) {
	if !o.changed("only") && !o.changed("mute") {
		return
	}
	start, end, heard := a.Bars[from].At, a.Bars[to-1].At+a.Bars[to-1].Len, h.voices()
	in := func(t voicing.Tick) bool { return t >= start && t < end }
	if slices.ContainsFunc(a.Notes, func(n voicing.Note) bool { return in(n.At) && slices.Contains(heard, n.Voice) }) ||
		h.layers.Has(midiio.Bassist) && slices.ContainsFunc(a.Bassist, func(n voicing.BassNote) bool { return in(n.At) }) ||
		h.layers.Has(midiio.Time) && slices.ContainsFunc(a.Time, func(x voicing.Stroke) bool { return in(x.At) }) {
		return
	}
	names := layerNames(layersThere(a.Setting == voicing.Trio), h.layers)
	fmt.Fprintf(e.stderr, "thumbline: %s: warning: nothing is struck by %s in %s\n", tuneName(o), strings.Join(names, " or "), barSpan(a, from, to))
}

// perform plays the arrangement, only the layers to be heard, at the written
// tempo.
func (h hearing) perform(a *voicing.Arrangement) *midiio.Sequence {
	s := midiio.Perform(a, midiio.PerformOptions{NoSpread: h.noSpread})
	s.Events = slices.DeleteFunc(s.Events, func(e midiio.Event) bool { return !h.layers.Has(e.Layer) })
	return s
}

// file is the same at the tempo asked for, for a file that has no transport.
func (h hearing) file(a *voicing.Arrangement) *midiio.Sequence {
	s := h.perform(a)
	f := h.scale(s, 0)
	for i := range s.Tempi {
		s.Tempi[i].BPM *= f
	}
	return s
}

// scale is how much faster than written it is played, the beat taken at t.
func (h hearing) scale(s *midiio.Sequence, t midiio.Tick) float64 {
	switch {
	case h.tempo.percent > 0:
		return h.tempo.percent / 100
	case h.tempo.beats > 0:
		return s.ScaleFor(h.tempo.beats, t)
	}
	return 1
}

// engine is the guitar that a is written for.
func (h hearing) engine(a *voicing.Arrangement) (*synth.Engine, error) {
	var open []int // string 1 first
	for _, p := range slices.Backward(a.Tuning) {
		open = append(open, p+a.Capo)
	}
	e, err := synth.NewEngine(synth.Options{Rate: h.rate, Stems: len(h.stems), Open: open, Tone: h.tone, A4: h.a4, Gain: h.gain})
	if err != nil {
		return nil, fmt.Errorf("the built-in strings: %w", err)
	}
	return e, nil
}

// bits is how a WAV file holds its samples.
type bits struct {
	name   string
	format synth.SampleFormat
	bytes  int64 // of a sample
}

// allBits are those of --bits, rates those of --rate, the usual one first.
var (
	allBits = []bits{{"16", synth.Int16, 2}, {"24", synth.Int24, 3}, {"32f", synth.Float32, 4}}
	rates   = []int{synth.DefaultRate, 44100, 88200, 96000}
)

// most is how many frames a file can hold: 4 GiB in stereo, but for the ringing
// of the last notes.
func (b bits) most() int64 { return 1<<32/(2*b.bytes) - 1<<20 }

// wave checks the flags that say how sound is written.
func (h *hearing) wave(o *options, ks []kind) error {
	some := slices.ContainsFunc(ks, func(k kind) bool { return k.ending == soundEnding })
	for _, f := range []string{"bits", "rate", "stems"} {
		if o.changed(f) && !some {
			return usagef("--%s is for sound, and no --out is a %s", f, soundEnding)
		}
	}
	i := slices.IndexFunc(allBits, func(b bits) bool { return b.name == o.bits })
	if i < 0 {
		return usagef("--bits %s: no such format (there are: %s)", o.bits, bitNames(", "))
	}
	h.bits = allBits[i]
	if !slices.Contains(rates, o.rate) {
		return usagef("--rate %d: no such rate (there are: %s)", o.rate, rateNames())
	}
	h.rate = o.rate
	if asked := o.practiceAsked(); o.stems && asked != "" {
		return usagef("--stems: with --%s the passes are recorded as a whole (leave one of them out)", asked)
	}
	if o.stems {
		for _, l := range layersThere(o.trio()) {
			if h.layers.Has(l) {
				h.stems = append(h.stems, l)
			}
		}
	}
	return nil
}

func bitNames(between string) string {
	var s []string
	for _, b := range allBits {
		s = append(s, b.name)
	}
	return strings.Join(s, between)
}

func rateNames() string {
	var s []string
	for _, r := range slices.Sorted(slices.Values(rates)) {
		s = append(s, strconv.Itoa(r))
	}
	return strings.Join(s, ", ")
}
