package main

import "strings"

// handCaution stands where hands repeat a movement.
const handCaution = "Hands: warm up, rest five minutes in every thirty, and stop if it hurts."

// stretchCaution goes with a larger reach, wherever it is asked for or used.
const stretchCaution = "A stretch is not a goal, with large least of all; pain or numbness is a matter for a teacher and a clinician."

// asItStands is said where a MIDI file is no lead sheet.
const asItStands = `A MIDI file is played as it stands, also in a .wav: --melody TRACK arranges it.`

func commands() []command {
	var written []string
	for _, k := range kinds {
		written = append(written, "  "+k.ending+strings.Repeat(" ", 7-len(k.ending))+wrapAt(k.what, 9))
	}
	return []command{
		{
			name: "hear", args: "[TUNE] [flags]", tune: true, run: hear,
			short: "arrange and play",
			long: `Arranges the tune and plays it; in a terminal a page shows the grips as they
come. Ctrl-C lets it fade and ends; a second one ends at once. With --step
nothing moves by itself: Space or Enter strikes the next grip.

` + asItStands,
			flags: []flagGroup{readFlags, arrangeFlags, partFlags, soundFlags, hearFlags, portFlags},
		},
		{
			name: "loop", args: "[TUNE] [flags]", tune: true, run: loop,
			short: "play a few bars or a phrase again and again, as slow as you like",
			long: `Arranges the whole tune and plays the part asked for again and again, in its
metre and with its pick-up. It begins softly, after a count-in. In a terminal a
page shows the grips and what each finger does next, and names the keys: Space
or Enter does what comes next, p pauses, q or Ctrl-C ends it.

  thumbline loop tune.abc --phrase 2 --tempo 60%
  thumbline loop tune.abc --phrase 2 --ramp 60-100:5
  thumbline loop tune.abc --change 3:1

` + asItStands + "\n\n" + handCaution,
			flags: []flagGroup{readFlags, arrangeFlags, partFlags, soundFlags, loopFlags, portFlags},
		},
		{
			name: "write", args: "[TUNE] --out FILE [--out FILE ...] [flags]", tune: true, run: write,
			short: "write the arrangement to files",
			long: `Arranges the tune and writes it; the ending of FILE says what:

` + strings.Join(written, "\n") + `

A file is replaced only when the new one is complete.

` + asItStands,
			flags: []flagGroup{outFlags, waveFlags, readFlags, arrangeFlags, partFlags, soundFlags, recordFlags},
		},
		{
			name: "shapes", args: "[TUNE] [flags]", tune: true, run: shapes,
			short: "tab and chord grids in the terminal",
			long: `Shows the arrangement as tab with its rhythm and the grips as grids with fingers.

` + handCaution,
			flags: []flagGroup{readFlags, arrangeFlags, partFlags},
		},
		{
			name: "explain", args: "[TUNE] [flags]", tune: true, run: explain,
			short: "the reason for each grip, one a line",
			long: `Says for each grip what it is over the written chord, which scale it comes from,
what is borrowed, how it is struck, why, and what it cost.`,
			flags: []flagGroup{readFlags, arrangeFlags, partFlags},
		},
		{
			name: "keys", args: "[TUNE] [flags]", tune: true, run: keys,
			short: "rank the twelve keys by how the tune lies on the neck",
			long: `Arranges the tune in every key and ranks them, the easiest and fullest first:
what a bar costs in the arranger's own measure, bass notes on open strings, the
widest grip, the highest fret, moves of more than two frets, and places where
no chord fits under the tune. The other commands take one with --key.`,
			flags: []flagGroup{readFlags, everyKeyFlags},
		},
		{
			name: "check", args: "[TUNE] [flags]", tune: true, run: check,
			short: "read a lead sheet and say what is in it and what is wrong",
			long: `Reads a lead sheet and prints its title, key, metre, tempo, form, range, chords,
and whatever was dropped or mended, with line and column. Of a sheet that is
still being typed it says bar by bar what is missing; of a file of several
tunes it lists them. The status is 1 when something is wrong: chord symbols
that are not understood, none at all, a bar too short or too long.`,
			flags: []flagGroup{readFlags},
		},
		{
			name: "new", args: "[flags]", run: newSheet,
			short: "an empty lead sheet in ABC to type into",
			long: `Writes an empty lead sheet: bars of rest, quotes for the chord symbols, and
lines that say how to type. check says what is still missing.

  thumbline new --bars 32 --key Eb --out tune.abc`,
			flags: []flagGroup{newFlags},
		},
		{
			name: "ports", run: ports,
			short: "MIDI ports and sound devices of this machine",
			long: `Lists the ways to be heard on this machine: MIDI outputs, for --port, and inputs,
for --switch, by number and name, and what sound devices there are.`,
		},
		{
			name: "version", run: version,
			short: "version and build",
			long:  "Prints the version and how it was built.",
		},
	}
}
