//go:build !unix

package main

import (
	"os"
	"syscall"
)

var heldSignals = []os.Signal{os.Interrupt, syscall.SIGTERM}

func obeySignal(os.Signal, func(), func()) {}
