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
		var buf [quantum]float64
		out := buf[:min(len(left), h.left)]
		h.run(out)
		g := 0.7071 * float64(c.gain)
		left, right = left[:len(out)], right[:len(out)]
		for i, y := range out {
			x := float32(g * y)
			left[i], right[i] = left[i]+x, right[i]+x
		}
		c.active = c.active || h.active
	}
}

// run makes the next samples, no more than are left. Each of its loops does one
// thing, so that few numbers are on the way at once.
func (h *hit) run(out []float64) {
	h.hiss(out)
	if h.c1 != 0 {
		c1, r1, c2, r2 := h.c1, h.r1, h.c2, h.r2
		x1, x2, y1, y2, z1, z2 := h.x1, h.x2, h.y1, h.y2, h.z1, h.z2
		for i := range out {
			y := c1*y1 + (x1 - r1*y2)
			y2, y1, x1 = y1, y, 0
			z := c2*z1 + (x2 - r2*z2)
			z2, z1, x2 = z1, z, 0
			out[i] += y + z
		}
		h.x1, h.x2, h.y1, h.y2, h.z1, h.z2 = x1, x2, y1, y2, z1, z2
	}
	for i := range out[:min(len(out), h.rise-h.at)] {
		out[i] *= float64(h.at) / float64(h.rise)
		h.at++
	}
	const tail = 400 // the last samples walk down to nothing
	for i := max(h.left-tail, 0); i < len(out); i++ {
		out[i] *= float64(h.left-1-i) / tail
	}
	h.left -= len(out)
	if h.fadeLeft > 0 {
		for i := range out {
			h.fadeLeft = max(h.fadeLeft-1, 0)
			out[i] *= float64(h.fadeLeft) / float64(h.fade)
		}
	}
	h.active = h.left > 0 && (h.fade == 0 || h.fadeLeft > 0)
}

// hiss is the noise in its band.
func (h *hit) hiss(out []float64) {
	rnd, lp, noise := h.rnd, h.lp, h.noise
	cut, pole, fall := h.cut/(1<<63), 1-h.cut, h.fall
	for i := range out {
		rnd = next(rnd)
		lp = pole*lp + cut*float64(int64(rnd))*noise
		noise *= fall
		out[i] = lp
	}
	h.rnd, h.lp, h.noise = rnd, lp, noise
	if h.low == 0 {
		return
	}
	h1, h2 := h.h1, h.h2
	low, pole := h.low, 1-h.low
	for i, n := range out {
		h1 = pole*h1 + low*n
		n -= h1
		h2 = pole*h2 + low*n
		out[i] = n - h2
	}
	h.h1, h.h2 = h1, h2
}
