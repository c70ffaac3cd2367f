// Package rtport plays to and listens to MIDI ports of macOS through RtMidi on
// CoreMIDI: a driver for gomidi, in builds with cgo and a C++ compiler. It
// registers itself nowhere.
//
// RtMidi takes messages for a port that is no more without an error, so wrap the
// driver with midiio/portwatch. What it has to say it prints on standard error;
// the texts of its errors are memory that has been given back, and are not used
// here.
//
// Names and notice of ports that come and go reach a program of CoreMIDI on the
// thread that has used it first, and only while that thread looks. So all but
// sending is done on one thread, and a program makes one Driver only.
//
// With the tag rtmidi the package is built on any system that RtMidi knows, so
// that it can be tried there.
package rtport
