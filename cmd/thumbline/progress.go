package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"
	"unicode/utf8"

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
	name  string
	of    int64
	n     int64

	mu    sync.Mutex
	timer *time.Timer
	drawn time.Time // when it was last drawn
	wide  int       // columns that it takes now
	bar   *progressbar.ProgressBar
}

func newProgress(w io.Writer, now func() time.Time) *progress {
	return &progress{w: w, now: now, start: now()}
}

// progressOf is what shows how far work in e has come: nothing when standard
// error is a file or a pipe.
func progressOf(e *env) *progress {
	if terminal(e.stderr) == nil || dumb(os.Getenv("TERM")) {
		return nil
	}
	return newProgress(e.stderr, e.now)
}

// framesOf is how many frames a cursor needs to hand out everything, to the next
// second, or more than most. It uses the cursor up.
func framesOf(c *midiio.Cursor, most int64) int64 {
	second := int64(c.Rate())
	at := second
	for at <= most && c.Fill(at, func(int64, [3]byte) {}) {
		at += second
	}
	return at
}

// wait begins a part of the work that cannot tell how far it is.
func (p *progress) wait(name string) {
	if p == nil {
		return
	}
	p.done()
	p.mu.Lock()
	defer p.mu.Unlock()
	var t *time.Timer
	t = time.AfterFunc(progressAfter-p.now().Sub(p.start), func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.timer == t {
			p.wide, _ = fmt.Fprintf(p.w, "%s ...", name)
		}
	})
	p.timer = t
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
	p.mu.Lock()
	defer p.mu.Unlock()
	p.drawn = t
	if p.bar == nil {
		p.wide = utf8.RuneCountInString(p.name) + len(" 100% [") + progressWidth + len("]")
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

// done takes away what is shown, so that the next line begins where it stood.
func (p *progress) done() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.timer != nil {
		p.timer.Stop()
		p.timer = nil
	}
	if p.wide > 0 {
		// A full bar no longer clears itself.
		fmt.Fprintf(p.w, "\r%*s\r", p.wide, "")
	}
	p.wide, p.bar = 0, nil
}
