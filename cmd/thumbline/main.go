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
	end := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		end = append(end, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), end...)
	// The first Ctrl-C lets the notes ring out; the second ends at once.
	go func() {
		<-ctx.Done()
		stop()
	}()
	os.Exit(run(ctx, os.Args[1:], &env{
		stdin:  os.Stdin,
		stdout: os.Stdout,
		stderr: os.Stderr,
		now:    time.Now,
		sound:  hardware{},
		midi:   systemMIDI{},
	}))
}
