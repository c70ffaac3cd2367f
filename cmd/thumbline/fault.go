package main

import (
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
)

// A fault is a mistake of our own, a panic, on its way to where it can be told. By
// itself it would end the program at once: with notes sounding at a port, and the
// terminal as the page has it.
type fault struct {
	what  any
	where string // file:line
}

func (f fault) Error() string {
	return fmt.Sprintf("a fault in thumbline itself: %v, at %s (please report it, with the command line)", f.what, f.where)
}

// guarded is do with a panic made its error, for what runs in a goroutine that
// nobody waits for or that is not ours.
func guarded(do func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fault{r, panickedAt()}
		}
	}()
	return do()
}

// panickedAt is the place of the panic whose recovery calls it.
func panickedAt() string {
	pc := make([]uintptr, 64)
	frames := runtime.CallersFrames(pc[:runtime.Callers(1, pc)])
	for panicked := false; ; {
		f, more := frames.Next()
		switch {
		case strings.HasPrefix(f.Function, "runtime."):
			panicked = panicked || f.Function == "runtime.gopanic"
		case panicked:
			return fmt.Sprintf("%s:%d", filepath.Base(f.File), f.Line)
		}
		if !more {
			return "a place unknown"
		}
	}
}
