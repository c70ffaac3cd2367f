package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/pflag"
)

// What goes where in the terminal: what was asked for goes to stdout; what
// went wrong goes to stderr, one line a fault, as
//
//	thumbline: FILE:LINE:COL: what is wrong (what to do)
//
// and nothing else does. Status 0 is done, 1 the work failed, 2 wrong usage.
const (
	statusOK     = 0
	statusFailed = 1
	statusUsage  = 2
)

// env is the world a command may touch.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
	sound          sound
	midi           midiSystem
}

// A usageError is a command line that cannot be meant.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

func usagef(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

// A command is one word of the command line.
type command struct {
	name  string
	args  string // after the name in its usage line
	short string // one line in the list
	long  string // what its help says beside the flags
	flags []flagGroup
	tune  bool // takes one TUNE
	run   func(ctx context.Context, e *env, o *options) error
}

// run is the program: args without its name, the exit status back.
func run(ctx context.Context, args []string, e *env) int {
	err := guarded(func() error { return dispatch(ctx, args, e) })
	if err == nil {
		return statusOK
	}
	for _, l := range strings.Split(strings.TrimRight(err.Error(), "\n"), "\n") {
		fmt.Fprintf(e.stderr, "thumbline: %s\n", l)
	}
	var usage usageError
	if errors.As(err, &usage) {
		return statusUsage
	}
	return statusFailed
}

func dispatch(ctx context.Context, args []string, e *env) error {
	cmds := commands()
	if len(args) == 0 {
		return usagef("no command (try: thumbline help)")
	}
	name, rest := args[0], args[1:]
	switch name {
	case "help", "-h", "--help":
		return help(e.stdout, cmds, rest)
	case "--version":
		name = "version"
	}
	for _, c := range cmds {
		if c.name == name {
			return c.exec(ctx, e, rest)
		}
	}
	if strings.HasPrefix(name, "-") {
		return usagef("the command comes before the flags, found %s (try: thumbline help)", name)
	}
	return usagef("no command %q (try: thumbline help)", name)
}

func (c command) exec(ctx context.Context, e *env, args []string) error {
	o := &options{}
	fs := c.flagSet(o)
	if err := fs.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return c.help(e.stdout)
		}
		return usagef("%s: %w (try: thumbline help %s)", c.name, err, c.name)
	}
	o.changed = fs.Changed
	switch {
	case !c.tune && fs.NArg() > 0:
		return usagef("%s takes no argument, found %q (try: thumbline help %s)", c.name, fs.Arg(0), c.name)
	case fs.NArg() > 1:
		return usagef("one tune at a time, found %q after %q (try: thumbline help %s)", fs.Arg(1), fs.Arg(0), c.name)
	}
	o.tune = fs.Arg(0)
	if fs.NArg() == 1 && o.tune == "" {
		return usagef("the name of the tune is empty (leave it out for the built-in tune)")
	}
	return c.run(ctx, e, o)
}

func (c command) flagSet(o *options) *pflag.FlagSet {
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	fs.SetOutput(io.Discard) // the one line that run prints is enough
	fs.Usage = func() {}
	for _, g := range c.flags {
		g.add(fs, o)
	}
	return fs
}

func help(w io.Writer, cmds []command, args []string) error {
	switch len(args) {
	case 0:
		_, err := io.WriteString(w, overview(cmds))
		return err
	case 1:
		for _, c := range cmds {
			if c.name == args[0] {
				return c.help(w)
			}
		}
		return usagef("no command %q (try: thumbline help)", args[0])
	}
	return usagef("help takes one command, found %q", args[1])
}

func overview(cmds []command) string {
	var b strings.Builder
	b.WriteString(`thumbline arranges a lead sheet for one guitar: melody, inner voices and bass.

  thumbline COMMAND [TUNE] [flags]

TUNE is a lead sheet (.abc .musicxml .xml .mxl .mid), - for standard input;
without one, the built-in tune is taken.

`)
	for _, c := range cmds {
		fmt.Fprintf(&b, "  %-8s  %s\n", c.name, c.short)
	}
	b.WriteString("  help      this, or with a command: what it takes\n")
	return b.String()
}

func (c command) help(w io.Writer) error {
	var b strings.Builder
	usage := "thumbline " + c.name
	if c.args != "" {
		usage += " " + c.args
	}
	fmt.Fprintf(&b, "%s\n\n%s\n", usage, strings.TrimSpace(c.long))
	for _, g := range c.flags {
		fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
		fs.SortFlags = false
		g.add(fs, &options{})
		fmt.Fprintf(&b, "\n%s:\n%s", g.title, usages(fs))
	}
	_, err := io.WriteString(w, b.String())
	return err
}
