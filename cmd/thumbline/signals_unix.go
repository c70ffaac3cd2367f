//go:build unix

package main

import (
	"os"
	"os/signal"
	"syscall"
	"time"
)

// heldSignals are those by which a system would end or stop the program without
// asking it.
var heldSignals = []os.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGPIPE, syscall.SIGQUIT, syscall.SIGTSTP}

// obeySignal does what a held signal asks for, when nothing sounds any more: hush
// ends what sounds for a while, end for good. The signals to end are obeyed
// elsewhere, and the write that a lost reader has failed ends it too.
func obeySignal(s os.Signal, hush, end func()) {
	switch s {
	case syscall.SIGTSTP:
		hush()
		syscall.Kill(syscall.Getpid(), syscall.SIGSTOP)
	case syscall.SIGQUIT:
		end()
		signal.Reset(syscall.SIGQUIT)
		syscall.Kill(syscall.Getpid(), syscall.SIGQUIT)
		time.Sleep(time.Second) // until it is obeyed
	}
}
