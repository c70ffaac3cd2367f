package voicing

// introductions are those of a kind, the one that suits best first.
func (f *frame) introductions(kind string) []passage {
	return nil
}
