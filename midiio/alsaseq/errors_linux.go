package alsaseq

import "errors"

var (
	// ErrPortGone: the port or its owner has ended, or was unplugged.
	ErrPortGone = errors.New("went away")
	// ErrPortStuck: the receiver does not read what is sent to it.
	ErrPortStuck = errors.New("does not take notes")
)
