//go:build windows || darwin || (linux && cgo && alsa)

package synth

import "testing"

// A read has whole frames, at most as many as are rendered at a time, and makes
// no garbage.
func TestOtoRead(t *testing.T) {
	o := &otoOut{fill: func(out []float32) {
		for i := range out {
			out[i] = 1
		}
	}}
	for _, c := range []struct{ asked, want int }{{8, 8}, {15, 8}, {1000, 1000}, {1 << 16, otoRead * otoFrame}} {
		p := make([]byte, c.asked)
		n, err := o.Read(p)
		if err != nil || n != c.want {
			t.Errorf("%d bytes asked, %d got: %v", c.asked, n, err)
		}
		if p[n-2] != 0x80 || p[n-1] != 0x3f { // 1 as a float32, little-endian
			t.Errorf("%d bytes asked: they end in % x", c.asked, p[n-4:n])
		}
	}
	if _, err := o.Read(make([]byte, 7)); err == nil {
		t.Error("less than a frame was read")
	}
	p := make([]byte, 480*otoFrame)
	noGarbage(t, func() { o.Read(p) })
}
