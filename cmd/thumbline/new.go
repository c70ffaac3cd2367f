package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"thumbline/theory"
	"thumbline/theory/leadsheet"
)

// newFlags say what the empty sheet is like.
var newFlags = flagGroup{"What to begin with", func(fs *pflag.FlagSet, o *options) {
	fs.StringVar(&o.bars, "bars", "32", "N|how many bars, a pick-up not counted (default 32)")
	fs.StringVar(&o.key, "key", "C", "KEY|key, such as Eb or Dm (default C)")
	fs.StringVar(&o.time, "time", "4/4", "METRE|time signature, such as 3/4 (default 4/4)")
	fs.StringVar(&o.pickup, "pickup", "", "LENGTH|length of a pick-up, such as 1/4 for a quarter (default: none)")
	fs.StringVar(&o.title, "title", "", "TITLE|name of the tune")
	fs.StringVar(&o.tempo, "tempo", "", "N|beats a minute, such as 120 (default: none is written)")
	fs.StringArrayVar(&o.out, "out", nil, "FILE|where it goes, an .abc that is not there yet (default: standard output)")
}}

// newSheet writes an empty lead sheet.
func newSheet(ctx context.Context, e *env, o *options) error {
	sheet, err := o.empty()
	if err != nil {
		return err
	}
	switch len(o.out) {
	case 0:
		return printed(leadsheet.WriteEmpty(e.stdout, sheet))
	case 1:
	default:
		return usagef("new writes one sheet: give --out once")
	}
	name := o.out[0]
	if ext := filepath.Ext(name); !strings.EqualFold(ext, ".abc") {
		return usagef("--out %s: an empty sheet is written as ABC (give a name that ends in .abc)", name)
	}
	// Somebody's typing may be in it.
	if info, err := os.Stat(name); err == nil && info.Mode().IsRegular() && info.Size() > 0 {
		return fmt.Errorf("%s: is there already (give another name, or remove it first)", name)
	}
	f, err := newOutFile(name, nil)
	if err != nil {
		return err
	}
	return writeAll(ctx, []output{{file: f, content: func(w io.WriteSeeker) error { return leadsheet.WriteEmpty(w, sheet) }}})
}

// empty checks the flags of new.
func (o *options) empty() (s leadsheet.Empty, err error) {
	if s.Bars, err = strconv.Atoi(o.bars); err != nil || s.Bars < 1 || s.Bars > leadsheet.MaxEmptyBars {
		return s, usagef("--bars %s is not a number of bars (1 to %d)", o.bars, leadsheet.MaxEmptyBars)
	}
	if s.Key, err = theory.ParseKey(o.key); err != nil {
		return s, usagef("--key: %w", err)
	}
	if s.Metre, err = leadsheet.ParseMetre(o.time); err != nil {
		return s, usagef("--time: %w", err)
	}
	s.Title = o.title
	if o.pickup != "" {
		n, d, ok := strings.Cut(o.pickup, "/")
		num, err1 := strconv.ParseInt(n, 10, 16)
		den, err2 := strconv.ParseInt(d, 10, 16)
		if !ok || err1 != nil || err2 != nil || num < 1 || den < 1 || den > 64 || den&(den-1) != 0 {
			return s, usagef("--pickup %s is not the length of a note or of several (such as 1/4, 3/8)", o.pickup)
		}
		s.Pickup = theory.Quarters(4*num, den)
		if full := s.Metre.BarLen(); !s.Pickup.Less(full) {
			return s, usagef("--pickup %s is no less than a bar of %s (give it as --bars)", o.pickup, s.Metre)
		}
	}
	if o.tempo != "" {
		t, err := parseTempo(o.tempo)
		if err != nil || t.percent != 0 {
			return s, usagef("--tempo %s is not beats a minute (such as 120)", o.tempo)
		}
		s.BPM = t.beats * theory.BeatOf(s.Metre).Float()
	}
	return s, nil
}
