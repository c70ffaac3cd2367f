package voicing

import "slices"

// A Stick is what the drummer of a trio plays with on what.
type Stick uint8

// What keeps the time: all of it soft.
const (
	Ride  Stick = iota // a stick on the ride cymbal
	Foot               // the hi-hat closed by the foot
	Hat                // a stick on the closed hi-hat
	Rim                // a stick laid across the snare drum
	Brush              // a brush over the snare drum
)

// String is the word for it: ride, foot, hat, rim, brush.
func (s Stick) String() string { return [...]string{"ride", "foot", "hat", "rim", "brush"}[s] }

// A Stroke is one stroke of the drummer.
type Stroke struct {
	At     Tick
	Stick  Stick
	Weight int // 1 leans on it, 0 plain, -1 and -2 lighter
}

// A timeBeat is a stroke of a bar.
type timeBeat struct {
	pos    Tick
	stick  Stick
	weight int
}

// keepTime is what the drummer plays: one pattern by metre and feel, from where
// the band comes in to one soft stroke with the guitar's last chord, lighter
// where a phrase ends, silent where no chord is played.
func (b *band) keepTime() []Stroke {
	var out []Stroke
	s := b.s
	for i, bar := range s.bars {
		m := &b.beats[i]
		for _, x := range b.pattern(i) {
			t := bar.At + x.pos - m.off
			if t < bar.At || t >= bar.At+bar.Len || t < b.come || t >= b.last {
				continue
			}
			if k := s.chordAt(t); k >= 0 && s.chords[k].chord.NoChord {
				continue
			}
			if m.closes {
				onBeat := x.pos%m.beat == 0
				if !onBeat && x.pos > Tick(m.n)*m.beat/2 {
					continue
				}
				x.weight--
			}
			out = append(out, Stroke{t, x.stick, x.weight})
		}
	}
	if len(s.chords) > 0 && b.last >= b.come {
		out = append(out, Stroke{b.last, Ride, -1})
	}
	return out
}

// pattern is the time of bar i in order, from the first beat of its metre on
// (common practice, no source).
func (b *band) pattern(i int) []timeBeat {
	m := &b.beats[i]
	half, third := m.beat/2, m.beat/3
	swings := b.feel.Swings()
	var out []timeBeat
	add := func(pos Tick, s Stick, weight int) { out = append(out, timeBeat{pos, s, weight}) }
	for k := range m.n {
		at := Tick(k) * m.beat
		back := k%2 == 1
		switch {
		case m.manner == inBossa:
			// the clave over two bars, on the rim; eighths on the hat
			for _, p := range [2][]Tick{{0, 3 * half, 6 * half}, {2 * half, 5 * half}}[count(m.odd)] {
				if p >= at && p < at+m.beat {
					add(p, Rim, 0)
				}
			}
			add(at, Hat, 0)
			add(at+half, Hat, -1)
		case m.manner == inJig:
			add(at, Brush, count(k == 0))
			if back || m.n == 3 && k == 2 {
				add(at, Foot, -1)
			}
			add(at+2*third, Brush, -2)
		case m.manner == inWaltz && swings:
			add(at, Ride, count(k == 0)-count(k == 2))
			if back {
				add(at, Foot, 0)
				add(at+half, Ride, -1)
			}
		case m.manner == inWaltz:
			if k == 0 {
				add(at, Brush, 1)
			} else {
				add(at, Foot, -1)
				add(at, Brush, -2)
			}
		case m.manner == inBallad:
			add(at, Brush, count(back))
			if back {
				add(at, Foot, 0)
			}
		case swings:
			add(at, Ride, count(back))
			if back {
				add(at, Foot, 0)
				if m.manner == inWalks || k == m.n-1 || m.n == 2 {
					add(at+half, Ride, -1)
				}
			}
		default:
			add(at, Brush, count(k == 0))
			if back && m.n%2 == 0 || m.n%2 == 1 && k > 0 && k == m.n-2 {
				add(at, Foot, -1)
			}
			add(at+half, Brush, -2)
		}
	}
	slices.SortStableFunc(out, func(a, b timeBeat) int { return int(a.pos - b.pos) })
	return out
}

// count is 1 where something is so, else 0.
func count(is bool) int {
	if is {
		return 1
	}
	return 0
}
