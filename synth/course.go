package synth

import "math"

// A course is one string of the instrument with what is asked of it now: a
// place for the pluck, a palm, a volume. It has voices enough for the new note
// to start while the old ones are damped; only one of them is held.
type course struct {
	t      *tone
	rate   float64
	a4     float64 // frequency of pitch 69, Hz
	open   float64 // MIDI pitch of the open string
	seed   uint64
	voices [3]*voice
	held   *voice // the voice the next note-off means; nil when none
	pitch  int    // its MIDI pitch
	plucks uint64

	place, palm, volume int // controllers 16, 17, 7

	gain, gainStep, gainTo float32 // volume, walking to its new value
	gainLeft               int
	left, right            float32 // where the string stands

	sounding bool
}

func newCourse(t *tone, rate, a4, open, pan float64, seed uint64) *course {
	c := &course{t: t, rate: rate, a4: a4, open: open, seed: mix(seed)}
	for i := range c.voices {
		c.voices[i] = newVoice(rate)
	}
	c.place, c.palm, c.volume = 64, 0, 100
	c.gain, c.gainTo = 1, 1
	a := (pan + 1) * math.Pi / 4 // equal power
	c.left, c.right = float32(math.Cos(a)), float32(math.Sin(a))
	return c
}

// Decay times of a damped string, s.
const (
	slowDamp = 0.15 // the finger leaves slowly, release velocity 0
	fastDamp = 0.05 // at once, release velocity 127
	palmLow  = 0.40 // a palm just touching
	palmHigh = 0.10 // a palm laid down
)

// alongLonger is how much longer a string rings along the top than across it
// (start value, ours).
const alongLonger = 1.2

func (c *course) noteOn(pitch, velocity, stem int) {
	// The new note takes the string: the old one is faded under it, over a
	// period but 3 ms at least, so that the delay line is never overwritten.
	for _, v := range c.voices {
		if v.active {
			v.fade(int(max(v.period, 0.003*c.rate)))
		}
	}
	v := c.free()
	f0 := hertz(float64(pitch), c.a4)
	fret := max(float64(pitch)-c.open, 0)
	low := c.t.t60At(c.open) * math.Pow(0.6, fret/12)
	high := c.t.t60High * math.Pow(0.75, fret/12)
	if c.palm > 0 {
		low = min(low, c.palmDecay())
		high = min(high, low/3) // the palm takes what lies above 2 kHz three times as fast
	}
	// Two ways to swing, as far above the pitch as below; the one along the top
	// gives the body less and so rings longer.
	stiff := c.t.stiffAt(c.open) * math.Exp2(fret/6)
	off := math.Exp2(c.t.apart / 2400)
	f0 = min(max(f0, 20, c.rate/maxPeriod), c.rate/8)
	l := newLoop(c.rate, f0/off, low, high, stiff)
	v.begin(l, l.retuned(c.rate, f0*off, low*alongLonger), c.t.along, f0, c.rate/f0)

	c.plucks++
	seed := mix(c.seed + c.plucks)
	// No two plucks fall on quite the same spot.
	jitter := 1 + 0.007*(2*float64(seed>>11)/(1<<53)-1)
	shorter := math.Exp2(-fret / 12)
	s := stroke{velocity: velocity, seed: seed}
	s.place = min(max(c.pluckMM()*jitter/(c.t.scale*shorter), 0.03), 0.5)
	if c.t.pickup > 0 {
		s.pickup = min(c.t.pickup/(c.t.scale*shorter), 0.9)
	}
	v.fillPluck(c.t, c.rate, c.open, s)
	v.stem = stem
	c.held, c.pitch, c.sounding = v, pitch, true
}

// free is a voice at rest, or the one that matters least.
func (c *course) free() *voice {
	best := c.voices[0]
	for _, v := range c.voices {
		if !v.active {
			return v
		}
		if v.fadeLen-v.fadeAt < best.fadeLen-best.fadeAt {
			best = v
		}
	}
	return best
}

// pluckMM is the distance of the pluck from the bridge in mm.
func (c *course) pluckMM() float64 {
	const bridge = 35 // no finger gets nearer
	neck := 0.44 * c.t.scale
	if x := float64(c.place-64) / 63; x > 0 {
		return c.t.pluck + x*(neck-c.t.pluck)
	}
	return bridge + float64(c.place)/64*(c.t.pluck-bridge)
}

// palmDecay is the decay time in s the palm leaves the string.
func (c *course) palmDecay() float64 {
	return palmLow * math.Pow(palmHigh/palmLow, float64(c.palm-1)/126)
}

func (c *course) noteOff(pitch, velocity int) {
	if c.held == nil || pitch != c.pitch {
		return
	}
	c.damp(velocity)
}

// damp lays the finger on the string.
func (c *course) damp(velocity int) {
	if c.held == nil {
		return
	}
	c.held.dampTowards(c.rate, slowDamp*math.Pow(fastDamp/slowDamp, float64(velocity)/127))
	c.held = nil
}

// cut ends all sound of the string in 5 ms.
func (c *course) cut() {
	for _, v := range c.voices {
		if v.active {
			v.fade(int(0.005 * c.rate))
		}
	}
	c.held = nil
}

// rest silences the string at once.
func (c *course) rest() {
	for _, v := range c.voices {
		v.rest()
	}
	c.held, c.sounding = nil, false
}

func (c *course) control(number, value int) {
	switch number {
	case 7:
		c.volume = value
		c.gainTo = float32(volumeGain(value))
		c.gainLeft = int(0.01*c.rate) + 1
		c.gainStep = (c.gainTo - c.gain) / float32(c.gainLeft)
	case PluckController:
		c.place = value
	case PalmController:
		c.palm = value
		if value > 0 {
			for _, v := range c.voices {
				if v.active {
					v.dampTowards(c.rate, c.palmDecay())
				}
			}
		}
	case 120:
		c.cut()
	case 121:
		c.place, c.palm = 64, 0
	case 123:
		c.damp(64)
	}
}

// volumeGain is controller 7 against its usual value 100: 40 log10(v/100) dB.
func volumeGain(v int) float64 { return sq(float64(v) / 100) }

// run adds the string's frames from to to of the quantum to the buses.
func (c *course) run(buses []*bus, from, to int) {
	if !c.sounding && c.gainLeft == 0 {
		return
	}
	var tmp [quantum]float32
	var gains [quantum]float32
	n := to - from
	moving := c.gainLeft > 0
	if moving {
		for i := range gains[:n] {
			if c.gainLeft > 0 {
				c.gain += c.gainStep
				c.gainLeft--
				if c.gainLeft == 0 {
					c.gain = c.gainTo
				}
			}
			gains[i] = c.gain
		}
	}
	for k, b := range buses {
		out := tmp[:n]
		some := false
		for _, v := range c.voices {
			if v.active && v.stem == k {
				if !some {
					clear(out)
					some = true
				}
				v.run(out, b.knock[from:to])
			}
		}
		if !some {
			continue
		}
		l, r := c.left, c.right
		if moving {
			for i := range out {
				out[i] *= gains[i]
			}
		} else {
			l, r = l*c.gain, r*c.gain
		}
		left, right := b.left[from:to], b.right[from:to]
		for len(out) >= 4 && len(left) >= 4 && len(right) >= 4 { // four at a time cost the least
			y, to, by := (*[4]float32)(out), (*[4]float32)(left), (*[4]float32)(right)
			to[0] += l * y[0]
			to[1] += l * y[1]
			to[2] += l * y[2]
			to[3] += l * y[3]
			by[0] += r * y[0]
			by[1] += r * y[1]
			by[2] += r * y[2]
			by[3] += r * y[3]
			out, left, right = out[4:], left[4:], right[4:]
		}
		right = right[:len(left)]
		for i := range left {
			left[i] += l * out[i]
			right[i] += r * out[i]
		}
	}
}

// settle puts voices that have died to rest.
func (c *course) settle() {
	c.sounding = false
	for _, v := range c.voices {
		if v.active {
			v.settle()
		}
		if v.active {
			c.sounding = true
		}
	}
}
