package voicing

import "thumbline/theory"

// Register is the octave in which the tune lies best on the neck, as Arrange
// chooses it: the shift in semitones, a multiple of 12. The error tells of a
// note that lies outside the neck in every octave.
func Register(t *theory.Tune, n Neck) (int, error) {
	if len(t.Melody) == 0 {
		return 0, nil
	}
	return register(t, n)
}
