package synth

import "math"

// A clicker makes the soft, short sounds of the count-in and of keeping time.
// It knows General MIDI percussion numbers: 76 and 77 high and low wood block,
// 75 claves, 33 metronome click, 34 metronome bell, and what a quiet drummer
// plays: 37 side stick, 42 and 44 hi-hat under a stick and under the foot, 51
// ride cymbal, 70 for a brush drawn over the drum. Any other number is a short
// brush of noise.
type clicker struct {
	rate   float64
	hits   [8]hit
	seed   uint64
	volume int
	gain   float32
	active bool
}

// A click is what a number sounds like: two decaying modes and noise in a band.
type click struct {
	f1, f2 float64 // modes, Hz; 0 none
	t60    float64 // of the first, s; the second falls twice as fast
	tone   float64 // how much of the modes
	noise  float64 // how much noise, before what the band leaves of it
	fall   float64 // decay time of the noise, s
	low    float64 // the noise is cut below, Hz; 0 not at all
	high   float64 // and above
	rise   float64 // s
	long   float64 // until it is over, s
}

// clickLevel is the peak of a wood block struck with velocity 127.
const clickLevel = 0.11

// soundOf is what a number sounds like.
func soundOf(key int) click {
	c := click{tone: 1, noise: 0.10, fall: 0.05, high: 3500, rise: 0.0008, long: 0.16}
	switch key {
	case 76, 33:
		c.f1, c.f2, c.t60 = 1180, 2090, 0.070
	case 77, 34:
		c.f1, c.f2, c.t60 = 830, 1480, 0.080
	case 75:
		c.f1, c.f2, c.t60, c.noise = 1650, 2700, 0.060, 0.05
	case 37:
		c = click{f1: 620, f2: 1560, t60: 0.055, tone: 7, noise: 2.3, fall: 0.05, high: 3500, rise: 0.0008, long: 0.16}
	case 42:
		c = click{noise: 110, fall: 0.09, low: 5500, high: 11000, rise: 0.001, long: 0.14}
	case 44:
		c = click{noise: 66, fall: 0.14, low: 3800, high: 8000, rise: 0.002, long: 0.2}
	case 51:
		c = click{f1: 3140, f2: 4870, t60: 0.4, tone: 1.6, noise: 40, fall: 0.8, low: 4500, high: 9500, rise: 0.001, long: 0.7}
	case 70:
		c = click{noise: 36, fall: 0.3, low: 900, high: 5000, rise: 0.03, long: 0.34}
	default:
		c.noise, c.t60 = 1, 0.06
	}
	return c
}

// A hit is one click on its way: modes and noise under an envelope that rises
// quickly, or slowly for a brush.
type hit struct {
	active          bool
	c1, c2          float64 // 2 r cos w
	r1, r2          float64 // r squared
	y1, y2, z1, z2  float64
	x1, x2          float64 // what is put in at the first sample
	noise, fall, lp float64
	cut             float64 // lowpass of the noise
	low             float64 // highpass of the noise, twice; 0 none
	h1, h2          float64 // its states
	rnd             uint64
	at, rise, left  int
	fadeLeft, fade  int
	stem            int
}

func newClicker(rate float64, seed uint64) *clicker {
	return &clicker{rate: rate, seed: mix(seed), volume: 100, gain: 1}
}

func (c *clicker) noteOn(key, velocity, stem int) {
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
	k := soundOf(key)
	level := clickLevel * levelOf(velocity)
	c.seed = next(c.seed | 1)
	*h = hit{active: true, stem: stem, rnd: c.seed, rise: int(k.rise*c.rate) + 1, left: int(k.long * c.rate)}
	set := func(f, t60 float64) (c1, rr, x float64) {
		if f == 0 {
			return 0, 0, 0
		}
		r := math.Pow(10, -3/(t60*c.rate))
		w := 2 * math.Pi * min(f/c.rate, 0.45)
		return 2 * r * math.Cos(w), r * r, math.Sin(w) // unit amplitude
	}
	pole := func(f float64) float64 { return 1 - math.Exp(-2*math.Pi*min(f/c.rate, 0.45)) }
	h.c1, h.r1, h.x1 = set(k.f1, k.t60)
	h.c2, h.r2, h.x2 = set(k.f2, k.t60/2)
	h.x1 *= 0.75 * k.tone * level
	h.x2 *= 0.25 * k.tone * level
	h.noise = k.noise * level * 0.8
	h.fall = math.Pow(10, -3/(k.fall*c.rate))
	h.cut = pole(k.high)
	if k.low > 0 {
		h.low = pole(k.low)
	}
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

func (c *clicker) run(buses []*bus, from, to int) {
	if !c.active {
		return
	}
	c.active = false
	for k := range c.hits {
		h := &c.hits[k]
		if !h.active {
			continue
		}
		b := buses[h.stem]
		left, right := b.left[from:to], b.right[from:to]
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
}

func (h *hit) sample() float64 {
	y := h.c1*h.y1 - h.r1*h.y2 + h.x1
	h.y2, h.y1, h.x1 = h.y1, y, 0
	z := h.c2*h.z1 - h.r2*h.z2 + h.x2
	h.z2, h.z1, h.x2 = h.z1, z, 0
	h.rnd = next(h.rnd)
	h.lp += h.cut * (float64(int64(h.rnd))/(1<<63)*h.noise - h.lp)
	h.noise *= h.fall
	n := h.lp
	if h.low > 0 {
		h.h1 += h.low * (n - h.h1)
		n -= h.h1
		h.h2 += h.low * (n - h.h2)
		n -= h.h2
	}
	out := y + z + n
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
