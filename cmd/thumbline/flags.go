package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"thumbline/midiio"
	"thumbline/synth"
	"thumbline/voicing"
)

// options is what a command line says. Every command has the flags it obeys
// and no others, so a flag is never ignored.
type options struct {
	tune string // file, "-" for standard input, "" for the built-in tune

	number string // of the tune in its file, or a part of its title
	melody string

	key      string
	feel     string
	tension  string
	density  string
	phrasing string

	setting     string
	intro       string
	ending      string
	ritardando  bool
	choruses    int
	comp        int
	sameRepeats bool

	reach  string
	pluck  int
	tuning string
	frets  int
	scale  string
	capo   int

	bars    string
	phrase  int
	section string

	tempo    string
	only     []string
	mute     []string
	noSpread bool
	tone     string
	a4       float64
	gain     float64

	countIn string
	click   bool
	ramp    string
	repeat  int
	rest    int
	answer  bool
	layers  string
	change  string
	step    bool
	plain   bool

	port      string
	channels  string
	noProgram bool
	clock     bool
	stats     bool
	pedal     string

	out   []string
	bits  string
	rate  int
	stems bool

	title, time, pickup string // of a new sheet

	changed func(flag string) bool
	looked  *opened // the tune, when somebody has looked into it
}

// A flagGroup is the flags of one question, the same in every command. The
// usage of a flag is "VALUE|text"; the value is empty for a switch.
type flagGroup struct {
	title string
	add   func(fs *pflag.FlagSet, o *options)
}

var (
	readFlags = flagGroup{"What to read", func(fs *pflag.FlagSet, o *options) {
		fs.StringVar(&o.number, "number", "", "N|tune N of a file that holds several, or TITLE, the title of one or a part of it (check lists them)")
		fs.StringVar(&o.melody, "melody", "", "PART[/VOICE]|where the melody is; in a MIDI file a track, by name or number")
	}}
	arrangeFlags = flagGroup{"What to arrange", func(fs *pflag.FlagSet, o *options) {
		fs.StringVar(&o.key, "key", "", "KEY|key to play in, such as Eb or Dm (default: the sheet's)")
		planFlags(fs, o)
	}}
	everyKeyFlags = flagGroup{"What to arrange", planFlags}
	partFlags     = flagGroup{"Which part of it (the whole is arranged, then cut)", func(fs *pflag.FlagSet, o *options) {
		fs.StringVar(&o.bars, "bars", "", "A-B|bars as they are labelled; 3/2 is bar 3 the second time")
		fs.IntVar(&o.phrase, "phrase", 0, "N|phrase, counted from 1 (check lists them)")
		fs.StringVar(&o.section, "section", "", "NAME|section; A/2 is the second A (check lists them)")
	}}
	soundFlags = flagGroup{"What to hear", func(fs *pflag.FlagSet, o *options) {
		fs.StringVar(&o.tempo, "tempo", "", "TEMPO|60% of the written tempo, or 90 beats a minute (default: as written)")
		fs.StringSliceVar(&o.only, "only", nil, "LAYERS|these alone, of melody,inner,bass (default: all); in a trio also bassist,time, to play with")
		fs.StringSliceVar(&o.mute, "mute", nil, "LAYERS|all but these (default: none is muted)")
		fs.BoolVar(&o.noSpread, "no-spread", false, "|strike the notes of a chord in one moment (default: a little apart, as thumb and fingers come; rolled in ballads)")
		toneFlags(fs, o)
	}}
	hearFlags = flagGroup{"Practise", func(fs *pflag.FlagSet, o *options) {
		countFlag(fs, o, "the first note, 0 to 8 (default 0; with --clock 1, or 2 short ones)")
		clickFlag(fs, o)
		fs.BoolVar(&o.step, "step", false, "|nothing moves by itself: a key strikes the next grip; the same key again rolls it, low to high, and names its fingers")
		plainFlag(fs, o)
	}}
	loopFlags = flagGroup{"Practise", func(fs *pflag.FlagSet, o *options) {
		practiceFlags(fs, o)
		plainFlag(fs, o)
	}}
	portFlags = flagGroup{"MIDI ports (thumbline ports lists them)", func(fs *pflag.FlagSet, o *options) {
		fs.StringVar(&o.port, "port", "", "PORT|play other instruments in place of the built-in strings: the number or a part of the name of a MIDI output, or virtual, a port of our own to which another program connects. "+portCaution)
		fs.StringVar(&o.channels, "channels", "", "CHANNELS|strings (string 1, the highest, on channel 1, and so on), a block such as 11-16 with string 1 on its first, or one channel for all; a trio's bass player is on 9, clicks and drums on 10 (default strings)")
		fs.BoolVar(&o.noProgram, "no-program", false, "|leave out program changes: each channel keeps the sound that it has")
		fs.BoolVar(&o.clock, "clock", false, "|lead other programs: MIDI clock, start, stop and song position; they are started within the count-in")
		fs.BoolVar(&o.stats, "stats", false, "|at the end a line on how many messages were sent, and how late")
		fs.StringVar(&o.pedal, "switch", "", "PORT|a foot switch at a MIDI input does what Space does, with --port or without: the first note, program or control change that comes is taken for it")
	}}
	recordFlags = flagGroup{"Practise (with one of these a .wav is a recording of the passes that loop plays, one after the other)", practiceFlags}
	outFlags    = flagGroup{"Where", func(fs *pflag.FlagSet, o *options) {
		fs.StringArrayVar(&o.out, "out", nil, "FILE|what to write; may be given again")
	}}
)

// waveFlags say how sound is written.
var waveFlags = flagGroup{"How a .wav is written", func(fs *pflag.FlagSet, o *options) {
	fs.StringVar(&o.bits, "bits", allBits[0].name, "BITS|"+bitNames(", ")+" (32 bits in floating point), of a sample (default "+allBits[0].name+")")
	fs.IntVar(&o.rate, "rate", rates[0], fmt.Sprintf("HZ|samples a second: %s (default %d)", rateNames(), rates[0]))
	fs.BoolVar(&o.stems, "stems", false, "|beside x.wav also each voice alone, x-melody.wav, x-inner.wav and x-bass.wav, in a trio x-bassist.wav and x-time.wav too, as loud as it is in the whole: together they add up to it")
}}

// tempo is a tempo as asked for: percent of the written one, or beats a minute.
// The zero value is the written tempo.
type tempo struct {
	percent float64
	beats   float64
}

// Bounds of a tempo in percent of the written one.
const slowest, fastest = 10, 300

// Bounds of a tempo in beats a minute.
const slowestBeats, fastestBeats = 10, 500

// parseTempo reads "60%" or "90". Slower than a tenth or faster than three
// times is refused, so that a slip of the finger is not an hour of silence.
func parseTempo(s string) (tempo, error) {
	if s == "" {
		return tempo{}, nil
	}
	num, percent := strings.CutSuffix(s, "%")
	x, err := strconv.ParseFloat(num, 64)
	switch {
	case err != nil:
		return tempo{}, usagef("--tempo %q is neither a percentage nor beats a minute (such as 60%% or 90)", s)
	case percent && !(x >= slowest && x <= fastest):
		return tempo{}, usagef("--tempo %s is out of range (%d%% to %d%%)", s, slowest, fastest)
	case percent:
		return tempo{percent: x}, nil
	case !(x >= slowestBeats && x <= fastestBeats):
		return tempo{}, usagef("--tempo %s is out of range (%d to %d beats a minute)", s, slowestBeats, fastestBeats)
	}
	return tempo{beats: x}, nil
}

// parseCountIn reads a number of bars; absent is what an empty one means.
func parseCountIn(s string, absent int) (int, error) {
	if s == "" {
		return absent, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 || n > 8 {
		return 0, usagef("--count-in %s is out of range (0 to 8 bars)", s)
	}
	return n, nil
}

// planFlags say what becomes of the tune in any key.
func planFlags(fs *pflag.FlagSet, o *options) {
	fs.StringVar(&o.feel, "feel", "", "FEEL|straight, swing, bossa (straight, with an even thumb) or the ratio of long to short eighths, such as 1.7 (default: by metre and tempo)")
	fs.StringVar(&o.tension, "tension", "", "T|how far harmony goes from the written chords: low, medium or high (default medium)")
	fs.StringVar(&o.density, "density", "", "D|how much is added to the tune: sparse, about half of what medium adds, medium, or full, about half as much again (default medium). Full tires both hands soonest, above all where the tempo is fast: begin slowly, and rest")
	fs.StringVar(&o.phrasing, "phrasing", "", "P|the tune's rhythm as written, or relaxed: a phrase starts or ends half a beat early or late with its chord, as players do, while the bass keeps the beat (default written)")
	fs.StringVar(&o.setting, "setting", "", "S|solo, or trio: a bass player has the roots and a drummer the beat, so the same grips are taken without their roots, above the bass, and with more space (default solo)")
	fs.StringVar(&o.intro, "intro", "", "KIND|an introduction: last (the tune's last four bars), pedal (on the dominant) or vamp, and which of its kind, such as vamp:2 (default none)")
	fs.StringVar(&o.ending, "ending", "", "KIND|the ending: straight (within the last bars), tag (the last phrase again), vamp, run (the tonic scale in chords), or none, and which of its kind, such as run:2 (default straight)")
	fs.BoolVar(&o.ritardando, "ritardando", false, "|slow down over the last two bars, to two thirds of the tempo, and hold the last chord (default: in time to the end)")
	fs.IntVar(&o.choruses, "choruses", 1, fmt.Sprintf("N|how often the tune is played, 1 to %d: thinner first, fuller later, the ending after the last (default 1)", voicing.MostChoruses))
	fs.IntVar(&o.comp, "comp", 0, "N|chorus N without the tune: chords and bass to play or sing over (default 0: none)")
	fs.BoolVar(&o.sameRepeats, "same-repeats", false, "|play what is repeated as it was the first time (default: its bass, register or harmony change; the tune and what closes a section stay)")
	fs.StringVar(&o.reach, "reach", "", "REACH|how far the left hand reaches: small, normal, large, or from finger 1 to finger 4 in mm, such as 90mm (default normal). "+stretchCaution)
	fs.IntVar(&o.pluck, "pluck", voicing.NormalRightHand().Fingers, fmt.Sprintf("N|how many strings the right hand plucks at once, %d to %d (default %d: thumb and three fingers); more are struck only as one stroke over neighbouring strings", voicing.MinPlucked, voicing.MaxPlucked, voicing.NormalRightHand().Fingers))
	fs.StringVar(&o.tuning, "tuning", "", "TUNING|the open strings: "+strings.Join(voicing.Tunings(), ", ")+", or notes from low to high, such as \"D A D G B E\" or \"E2 A2 D3 G3 B3 E4\", six or seven (default standard)")
	fs.IntVar(&o.frets, "frets", voicing.StandardNeck().Frets, fmt.Sprintf("N|highest fret in use, counted from the nut, %d to %d (default %d)", minFrets, maxFrets, voicing.StandardNeck().Frets))
	fs.StringVar(&o.scale, "scale-length", "", fmt.Sprintf("MM|from nut to bridge, %d to %d: on a short neck the hand reaches more frets (default %g)", minScale, maxScale, voicing.StandardNeck().Scale))
	fs.IntVar(&o.capo, "capo", 0, "FRET|a capo there, 0 to 11; frets are counted from it (default 0: none)")
}

// toneFlags say what the built-in strings sound like.
func toneFlags(fs *pflag.FlagSet, o *options) {
	fs.StringVar(&o.tone, "tone", "", "NAME|the guitar's tone: "+strings.Join(synth.Tones(), ", ")+" (default archtop)")
	fs.Float64Var(&o.a4, "a4", 440, fmt.Sprintf("HZ|what the strings are tuned to in sound: the frequency of A4, %d to %d (default 440)", synth.MinA4, synth.MaxA4))
	fs.Float64Var(&o.gain, "gain", 0, "DB|louder or softer, -60 to "+strconv.Itoa(maxGain)+
		" (turn headphones down first: loud for long harms the ears; default 0)")
}

// practiceFlags say how a part is practised.
func practiceFlags(fs *pflag.FlagSet, o *options) {
	countFlag(fs, o, "the first pass, 0 to 8 (default: 1, or 2 short ones)")
	clickFlag(fs, o)
	fs.StringVar(&o.ramp, "ramp", "", fmt.Sprintf("A-B[:STEP]|from A%% to B%% of the tempo (of --tempo, if that is there too), STEP percent more with each pass, such as 60-100:5 (default step %d: small steps are kind to the hands; go back where it gets tense)", defaultRampStep))
	fs.IntVar(&o.repeat, "repeat", 0, "N|passes, with --ramp at each tempo, then stop (default: until you stop it; in a recording 1)")
	fs.IntVar(&o.rest, "rest", 0, fmt.Sprintf("BARS|bars of rest after each pass, 0 to %d, in which the last grip rings on (default 0)", midiio.MaxRest))
	fs.BoolVar(&o.answer, "answer", false, "|one pass to listen, then one of time alone in which you play")
	fs.StringVar(&o.layers, "layers", "", "SETS|what is heard, another set with each pass, such as bass,bass+melody,all, or turn, which is just that; with --ramp all of it at the first tempo, then the rise with the last set")
	fs.StringVar(&o.change, "change", "", "PLACE|one change back and forth: to the grip at PLACE, such as 3:1, from the one before it, with the note of the tune that leads in")
}

func countFlag(fs *pflag.FlagSet, o *options, before string) {
	fs.StringVar(&o.countIn, "count-in", "", "BARS|bars of clicks before "+before)
}

func clickFlag(fs *pflag.FlagSet, o *options) {
	fs.BoolVar(&o.click, "click", false, "|a metronome while it plays, softer than the music (default: the count-in alone)")
}

func plainFlag(fs *pflag.FlagSet, o *options) {
	fs.BoolVar(&o.plain, "plain", false, "|plain lines one after the other, as a screen reader wants them, also in a terminal (default there: a still page)")
}

// usages lists the flags of a set, texts in one column.
func usages(fs *pflag.FlagSet) string {
	var heads, texts []string
	width := 0
	fs.VisitAll(func(f *pflag.Flag) {
		value, text, _ := strings.Cut(f.Usage, "|")
		head := "--" + f.Name
		head = strings.TrimRight("  "+head+" "+value, " ")
		heads, texts = append(heads, head), append(texts, text)
		width = max(width, len(head))
	})
	var b strings.Builder
	for i, h := range heads {
		b.WriteString(h + strings.Repeat(" ", width-len(h)+2) + wrapAt(texts[i], width+2) + "\n")
	}
	return b.String()
}
