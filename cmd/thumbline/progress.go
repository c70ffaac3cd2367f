package main

import (
	"fmt"
	"io"
	"os"
	"time"
	"unicode/utf8"

	"github.com/charmbracelet/x/term"
	"github.com/schollz/progressbar/v3"

	"thumbline/midiio"
)

const (
	progressAfter = time.Second            // what is quicker needs no bar
	progressEvery = 100 * time.Millisecond // between two pictures
	progressWidth = 30                     // of the bar, in columns
	progressName  = 32                     // most of a name
)

// A progress shows on a terminal how far long work has come, and takes itself
// away when it is done. A nil one shows nothing.
type progress struct {
	w     io.Writer
	now   func() time.Time
	start time.Time
	drawn time.Time // when it was last drawn
	name  string
	of    int64
	n     int64
	bar   *progressbar.ProgressBar // nil until it is shown
}

func newProgress(w io.Writer, now func() time.Time) *progress {
	return &progress{w: w, now: now, start: now()}
}

// progressOf is what shows how far work in e has come: nothing when standard
// error is a file or a pipe.
func progressOf(e *env) *progress {
	if !terminal(e.stderr) {
		return nil
	}
	return newProgress(e.stderr, e.now)
}

// terminal reports whether somebody sees what is written there at once.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(f.Fd()) && os.Getenv("TERM") != "dumb"
}

// framesOf is how many frames a cursor needs to hand out everything, to the next
// second. It uses the cursor up, and does not end if that has no end.
func framesOf(c *midiio.Cursor) int64 {
	second := int64(c.Rate())
	at := second
	for c.Fill(at, func(int64, [3]byte) {}) {
		at += second
	}
	return at
}

// part begins a part of the work with so many steps.
func (p *progress) part(name string, of int64) {
	if p == nil {
		return
	}
	p.done()
	// A long name would break the line; its end tells files apart.
	if r := []rune(name); len(r) > progressName {
		name = "..." + string(r[len(r)-progressName+3:])
	}
	p.name, p.of, p.n = name, of, 0
}

// add says that n more steps are done.
func (p *progress) add(n int64) {
	if p == nil || p.of <= 0 {
		return
	}
	p.n = min(p.n+n, p.of)
	t := p.now()
	if t.Sub(p.start) < progressAfter || t.Sub(p.drawn) < progressEvery {
		return
	}
	p.drawn = t
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(p.of,
			progressbar.OptionSetWriter(p.w),
			progressbar.OptionSetDescription(p.name),
			progressbar.OptionSetWidth(progressWidth),
			progressbar.OptionSetTheme(progressbar.Theme{Saucer: "=", SaucerHead: ">", SaucerPadding: " ", BarStart: "[", BarEnd: "]"}),
			progressbar.OptionSetPredictTime(false),
		)
	}
	p.bar.Set64(p.n)
}

// done takes the bar away, so that the next line begins where it stood.
func (p *progress) done() {
	if p == nil || p.bar == nil {
		return
	}
	// A full bar no longer clears itself.
	fmt.Fprintf(p.w, "\r%*s\r", utf8.RuneCountInString(p.name)+len(" 100% [")+progressWidth+len("]"), "")
	p.bar = nil
}
