package midiio

import "slices"

// Route makes a send that puts messages on other channels, both counted from 0:
// what comes for channel i goes to channel to[i], of which the lowest four bits
// count. Several may share one: a key that sounds twice on one is ended before
// it is struck again, and goes off with the last of those that struck it. All
// notes off and all sound off are sent once on a channel that has not sounded
// since. Without programs, what chooses a sound (program changes, bank selects)
// is left out. Messages without a channel go through as they are.
//
// It allocates nothing, and like send it belongs to one goroutine. What send is
// given is good until it returns.
func Route(to [16]int, programs bool, send func(msg []byte) error) func(msg []byte) error {
	r := &router{to: to, programs: programs, send: send}
	return r.route
}

type router struct {
	to       [16]int
	programs bool
	send     func([]byte) error
	buf      [3]byte
	struck   [16][128]uint16 // how often a key sounds, on the channels sent on
	hushed   [16][2]bool     // CC 120 and 123 sent there since the last note
}

const (
	allSoundOff = 120
	allNotesOff = 123
)

func (r *router) route(msg []byte) error {
	if len(msg) == 0 || msg[0] < 0x80 || msg[0] >= 0xF0 {
		return r.send(msg)
	}
	var m [3]byte
	n := copy(m[:], msg)
	ch := r.to[channel(m)] & 15
	m[0] = m[0]&0xF0 | byte(ch)
	struck := &r.struck[ch][m[1]&127]
	switch {
	case isOn(m):
		if *struck > 0 {
			if err := r.pass(noteOff(ch, int(m[1]&127)), 3); err != nil {
				return err
			}
		}
		r.hushed[ch] = [2]bool{} // it may arrive even if this fails
		if err := r.pass(m, n); err != nil {
			return err
		}
		*struck++
		return nil
	case isOff(m):
		// What ends nothing may be meant for what somebody else has struck.
		if *struck > 1 {
			*struck--
			return nil
		}
		if err := r.pass(m, n); err != nil {
			return err
		}
		*struck = 0
		return nil
	case m[0]&0xF0 == statusProgram && !r.programs:
		return nil
	case m[0]&0xF0 == statusControl:
		if !r.programs && (m[1] == 0 || m[1] == 32) {
			return nil
		}
		if i := slices.Index([]byte{allSoundOff, allNotesOff}, m[1]); i >= 0 {
			if r.hushed[ch][i] {
				return nil
			}
			if err := r.pass(m, n); err != nil {
				return err
			}
			r.hushed[ch][i] = true
			r.struck[ch] = [128]uint16{}
			return nil
		}
	}
	return r.pass(m, n)
}

func (r *router) pass(m [3]byte, n int) error {
	r.buf = m
	return r.send(r.buf[:n])
}
