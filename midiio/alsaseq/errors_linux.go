package alsaseq

import "thumbline/midiio"

// What is wrong with a port that was well before; errors of Open, Send and
// listening wrap them.
var (
	// ErrPortGone: the port or its owner has ended, or was unplugged.
	ErrPortGone = midiio.ErrPortGone
	// ErrPortStuck: the receiver does not read what is sent to it.
	ErrPortStuck = midiio.ErrPortStuck
)
