// Command thumbline arranges a lead sheet for one guitar: it plays the
// arrangement, loops it slowly, and writes it down.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	os.Exit(run(untilEnded(), os.Args[1:], &env{
		stdin:  os.Stdin,
		stdout: os.Stdout,
		stderr: os.Stderr,
		now:    time.Now,
		sound:  hardware{},
		midi:   systemMIDI{},
	}))
}

// untilEnded ends with the first signal to end, so that the notes can ring out; the
// second ends the program at once.
func untilEnded() context.Context {
	end := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		end = append(end, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), end...)
	go func() {
		<-ctx.Done()
		stop()
	}()
	return ctx
}
