package synth

// HasStroke reports whether a key on ClickChannel has a sound of its own; all
// others are the same short brush.
func HasStroke(key int) bool { return soundOf(key) != soundOf(-1) }
