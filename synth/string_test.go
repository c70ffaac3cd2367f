package synth

import (
	"fmt"
	"math"
	"testing"
)

// Every string at every fret is in tune, at two rates and three velocities,
// measured on the finished sound and not by the synth's own arithmetic.
func TestPitch(t *testing.T) {
	for _, rate := range []int{44100, 48000} {
		for _, v := range []int{30, 80, 120} {
			t.Run(fmt.Sprintf("%d Hz, velocity %d", rate, v), func(t *testing.T) {
				t.Parallel()
				worst := 0.0
				for s, open := range guitar {
					for fret := 0; fret <= 20; fret++ {
						want := 440 * math.Pow(2, float64(open+fret-69)/12)
						x := render(t, Options{Rate: rate}, 0.56, event{0, on(s, open+fret, v)})
						c := cents(frequency(x, float64(rate), want, 0.25), want)
						if math.Abs(c) > math.Abs(worst) {
							worst = c
						}
						if math.Abs(c) > 1 {
							t.Errorf("string %d fret %d: %+.3f cents", s+1, fret, c)
						}
					}
				}
				t.Logf("worst %+.4f cents", worst)
			})
		}
	}
}
