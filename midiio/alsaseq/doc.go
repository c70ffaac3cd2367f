// Package alsaseq is the MIDI ports of Linux as a gomidi driver without C: it
// speaks to the kernel's sequencer through /dev/snd/seq alone. Other systems
// have the package, with nothing in it.
//
// What a port here does, and drivers around C libraries often do not: a port
// that ends is an error of the next Send and told by Gone at once, a receiver
// that takes nothing is an error after a short while, nothing is written to
// standard error, and Close leaves no goroutine.
//
// The layouts of the kernel's structures are those of 64-bit systems with the
// usual numbering of ioctls: amd64, where it is tried, arm64, riscv64, loong64
// and s390x. On any other New says so.
package alsaseq
