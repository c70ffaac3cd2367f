package synth

import "math"

// A stroke is what the hand does to a string once.
type stroke struct {
	velocity int     // 1 to 127
	place    float64 // pluck to bridge over the sounding length, 0 to 1
	pickup   float64 // the same for the pick-up; 0 none
	seed     uint64
}

// levelOf is the square law of velocity: 40 log10(v/127) dB, the practice of
// General MIDI 2 and DLS.
func levelOf(velocity int) float64 { return sq(float64(velocity) / 127) }

// bandwidth of a stroke in Hz: exponential in velocity from the tone's soft to
// its hard corner, darker on low strings.
func (t *tone) bandwidth(velocity int, open float64) float64 {
	v := float64(velocity-1) / 126
	low := min(max((64-open)/24, 0), 1)
	return t.softHz * math.Pow(t.hardHz/t.softHz, v) * math.Pow(t.lowDarker, low)
}

// knockTime is how long the body is pushed, s (start value, ours).
const knockTime = 0.004

// fillPluck writes what the stroke puts into the loop, and the finger's scrape
// beside it, into v's buffers.
//
// An ideal pluck leaves a force at the bridge that is high for the part beta
// of each period and low for the rest: partial n goes as sin(pi n beta)/n. One
// period of that wave, put into an empty loop, is the whole stroke:
// S(t) - S(t - beta P) - beta (S(t) - S(t - P)), where S is a step as wide as
// finger or pick needs to leave the string. S is known between the samples, so
// the comb's nulls lie exactly at n = k/beta, and the mean is zero, which keeps
// dc out of a loop where it would die last. Two one-pole lowpasses then set the
// stroke's bandwidth.
func (v *voice) fillPluck(t *tone, rate, open float64, s stroke) {
	p := v.period
	edge := max(t.edge*rate, 2)
	hz := min(t.bandwidth(s.velocity, open), 0.45*rate)
	r1, r2 := lowpassPoles(rate, hz)
	// The lowpass rings on for 14 of its time constants, -120 dB.
	n := int(p*(1+s.pickup)+edge+14*rate/(2*math.Pi*hz)) + 2
	n = min(max(n, int(knockTime*rate)), cap(v.pluck))

	wave := func(x float64) float64 {
		return (1-s.place)*step(x, edge) - step(x-s.place*p, edge) + s.place*step(x-p, edge)
	}
	level := levelOf(s.velocity) * t.level / v.loudness(t, rate, hz, s) / (1 + t.along)
	v.pluck = v.pluck[:n]
	var y1, y2 float64
	for i := range v.pluck {
		x := wave(float64(i))
		if s.pickup > 0 {
			x -= t.aper * wave(float64(i)-s.pickup*p)
		}
		y1 += (1 - r1) * (x - y1)
		y2 += (1 - r2) * (y1 - y2)
		v.pluck[i] = float32(level * y2)
	}

	// The bridge held the string aside; what it held lets go of the top at once.
	v.knock = v.knock[:min(int(knockTime*rate), n)]
	push := t.knock * levelOf(s.velocity) * t.level / 2
	turn := 2 * math.Cos(2*math.Pi/float64(max(len(v.knock), 1)))
	c0, c1 := turn/2, 1.0 // cosines of the sample before and of this one
	for i := range v.knock {
		v.knock[i] = float32(push * (1 - c1))
		c0, c1 = c1, turn*c1-c0
	}

	m := min(int(0.008*rate), cap(v.scrape), n)
	v.scrape = v.scrape[:m]
	rnd := s.seed | 1
	y1, y2 = 0, 0
	low := 1 - math.Exp(-2*math.Pi*640/rate)
	amp := t.noise * levelOf(s.velocity) * t.level * 6
	turn = 2 * math.Cos(2*math.Pi/float64(max(m, 1)))
	c0, c1 = turn/2, 1.0
	for i := range v.scrape {
		rnd = next(rnd)
		x := float64(int64(rnd)) / (1 << 63)
		y1 += (1 - r1) * (x - y1)
		y2 += low * (y1 - y2)
		v.scrape[i] = float32(amp * (y1 - y2) * (0.5 - 0.5*c1))
		c0, c1 = c1, turn*c1-c0
	}
}

// lowpassPoles are those of the stroke's bandwidth: -3 dB near hz, and twice as
// steep from an octave above.
func lowpassPoles(rate, hz float64) (r1, r2 float64) {
	r1 = math.Exp(-2 * math.Pi * hz / rate)
	return r1, r1 * r1
}

// loudness is the rms the pluck makes at velocity 127 in its first 0.4 s, each
// partial weighted as ears weight it (the high shelf of ITU-R BS.1770) and by
// its decay. Level is divided by it, so that every string, fret and place is as
// loud as the next, and velocity alone says how loud.
func (v *voice) loudness(t *tone, rate, hz float64, s stroke) float64 {
	lim := min(6000, 0.45*rate)
	var sum float64
	for n := 1; ; n++ {
		f := float64(n) * v.f0
		if f > lim && n > 1 {
			break
		}
		x := math.Pi * float64(n)
		amp := 2 * math.Sin(x*s.place) / x
		if s.pickup > 0 {
			amp *= math.Hypot(1-t.aper*math.Cos(2*x*s.pickup), t.aper*math.Sin(2*x*s.pickup))
		}
		u := f / hz
		amp /= math.Sqrt((1 + u*u) * (1 + u*u/4))
		shelf := sq(f / 1500)
		loss := -2 * math.Log(v.across.l.gain(2*math.Pi*f/rate)) * 0.4 * v.f0 // of energy in 0.4 s
		sum += amp * amp / 2 * (1 + 2.5*shelf) / (1 + shelf) * -math.Expm1(-loss) / loss
	}
	return max(math.Sqrt(sum), 1e-3)
}

// step rises from 0 to 1 within w samples from x = 0, as the integral of a
// raised cosine does.
func step(x, w float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= w:
		return 1
	}
	u := x / w
	return u - math.Sin(2*math.Pi*u)/(2*math.Pi)
}

// next is xorshift64 (Marsaglia, J. Stat. Software 8(14)); its state must not
// be 0.
func next(x uint64) uint64 {
	x ^= x << 13
	x ^= x >> 7
	x ^= x << 17
	return x
}

// mix spreads bits (the finaliser of SplitMix64) so that neighbouring counters
// give unlike seeds.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
