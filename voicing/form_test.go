package voicing

import "thumbline/theory"

// onceThrough is the form of a tune played once as it is written.
func onceThrough(t *theory.Tune) *form {
	f := &form{tune: t, comped: -1, ending: len(t.Bars)}
	for _, n := range t.Melody {
		f.fill, f.full = append(f.fill, false), append(f.full, n.Len)
	}
	return f
}
