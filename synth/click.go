package synth

import "math"

// A clicker makes the soft, short sounds of the count-in and of keeping time.
// It knows General MIDI percussion numbers: 37 side stick, 76 and 77 high and
// low wood block, 75 claves, 33 metronome click, 34 metronome bell; any other
// number is a short brush of noise.
type clicker struct {
	rate   float64
	hits   [4]hit
	seed   uint64
	volume int
	gain   float32
	active bool
}

// A hit is one click: two decaying modes and a breath of noise under an
// envelope that rises in half a millisecond.
type hit struct {
	active          bool
	c1, c2          float64 // 2 r cos w
	r1, r2          float64 // r squared
	y1, y2, z1, z2  float64
	x1, x2          float64 // what is put in at the first sample
	noise, fall, lp float64
	cut             float64 // lowpass of the noise
	rnd             uint64
	at, rise, left  int
	fadeLeft, fade  int
}

func newClicker(rate float64, seed uint64) *clicker {
	return &clicker{rate: rate, seed: mix(seed), volume: 100, gain: 1}
}

// Peak of a click struck with velocity 127, before the tone's level.
const clickLevel = 0.11

func (c *clicker) noteOn(key, velocity int) {
	h := &c.hits[0]
	for i := range c.hits {
		if !c.hits[i].active {
			h = &c.hits[i]
			break
		}
		if c.hits[i].left < h.left {
			h = &c.hits[i]
		}
	}
	f1, f2, t60, noise := 0.0, 0.0, 0.06, 1.0
	switch key {
	case 76, 33:
		f1, f2, t60, noise = 1180, 2090, 0.070, 0.10
	case 77, 34:
		f1, f2, t60, noise = 830, 1480, 0.080, 0.10
	case 75:
		f1, f2, t60, noise = 1650, 2700, 0.060, 0.05
	case 37:
		f1, f2, t60, noise = 620, 1560, 0.055, 0.30
	}
	level := clickLevel * levelOf(velocity)
	c.seed = next(c.seed | 1)
	*h = hit{active: true, rnd: c.seed, rise: int(0.0008*c.rate) + 1, left: int(0.16 * c.rate)}
	set := func(f, t60 float64) (c1, rr, x float64) {
		if f == 0 {
			return 0, 0, 0
		}
		r := math.Pow(10, -3/(t60*c.rate))
		w := 2 * math.Pi * min(f/c.rate, 0.45)
		return 2 * r * math.Cos(w), r * r, math.Sin(w) // unit amplitude
	}
	h.c1, h.r1, h.x1 = set(f1, t60)
	h.c2, h.r2, h.x2 = set(f2, t60/2)
	h.x1 *= 0.75 * level
	h.x2 *= 0.25 * level
	h.noise = noise * level * 0.8
	h.fall = math.Pow(10, -3/(0.05*c.rate))
	h.cut = 1 - math.Exp(-2*math.Pi*3500/c.rate)
	c.active = true
}

func (c *clicker) control(number, value int) {
	switch number {
	case 7:
		c.volume = value
		c.gain = float32(volumeGain(value)) // holds from the next click: they are short
	case 120, 123:
		for i := range c.hits {
			h := &c.hits[i]
			if h.active && h.fadeLeft == 0 {
				h.fade = int(0.005*c.rate) + 1
				h.fadeLeft = h.fade
			}
		}
	}
}

func (c *clicker) run(left, right, mono []float32) {
	if !c.active {
		return
	}
	c.active = false
	for k := range c.hits {
		h := &c.hits[k]
		if !h.active {
			continue
		}
		for i := range left {
			y := h.sample() * 0.7071
			left[i] += float32(y) * c.gain
			right[i] += float32(y) * c.gain
			if !h.active {
				break
			}
		}
		c.active = c.active || h.active
	}
	_ = mono
}

func (h *hit) sample() float64 {
	y := h.c1*h.y1 - h.r1*h.y2 + h.x1
	h.y2, h.y1, h.x1 = h.y1, y, 0
	z := h.c2*h.z1 - h.r2*h.z2 + h.x2
	h.z2, h.z1, h.x2 = h.z1, z, 0
	h.rnd = next(h.rnd)
	h.lp += h.cut * (float64(int64(h.rnd))/(1<<63)*h.noise - h.lp)
	h.noise *= h.fall
	out := y + z + h.lp
	if h.at < h.rise {
		out *= float64(h.at) / float64(h.rise)
		h.at++
	}
	// The last tenth walks down to nothing.
	h.left--
	if tail := 400; h.left < tail {
		out *= float64(h.left) / float64(tail)
	}
	if h.fadeLeft > 0 {
		h.fadeLeft--
		out *= float64(h.fadeLeft) / float64(h.fade)
		if h.fadeLeft == 0 {
			h.active = false
		}
	}
	if h.left <= 0 {
		h.active = false
	}
	return out
}
