package voicing

import "testing"

func TestKeyDistance(t *testing.T) {
	for _, c := range []struct{ transposition, want int }{
		{0, 0}, {5, 5}, {-5, 5}, {6, 6}, {12, 0}, {-12, 0}, {14, 2}, {-17, 5}, {7, 5}, {11, 1},
	} {
		if got := keyDistance(c.transposition); got != c.want {
			t.Errorf("%d semitones: %d apart, want %d", c.transposition, got, c.want)
		}
	}
}
