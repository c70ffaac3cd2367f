package midiio

import (
	"sort"
	"strings"

	"thumbline/theory"
	"thumbline/voicing"
)

// A beatSpan is the length that swings, a beat or in x/2 the half of one, or,
// where bars are cut inside it, a part of it.
type beatSpan struct {
	at, len  Tick
	off      Tick // how far into its beat it begins
	beat     Tick
	straight bool
	thirds   bool // straight only because of what is struck in it: else it would swing
	joined   bool // the second part of the beat that the span before begins
}

// A grid is the beats of an arrangement, in order and without gaps.
type grid struct {
	spans []beatSpan
	feel  theory.Feel
}

// newGrid lays out the beats of a and finds those that swing does not move:
// beats of compound metre, beats with an attack on a third or a sixth of them,
// and parts of beats that nothing completes.
func newGrid(a *voicing.Arrangement, feel theory.Feel) *grid {
	g := &grid{feel: feel}
	for i, b := range a.Bars {
		at, length, beat := Tick(b.At), Tick(b.Len), Tick(b.Beat)
		if length <= 0 {
			continue
		}
		if beat <= 0 {
			beat = PerQuarter
		}
		straight := !feel.Swings() || compound(b)
		if !compound(b) {
			beat = min(beat, PerQuarter) // eighths swing in 2/2 too
		}
		end := at + length
		if part := length % beat; part > 0 && isPickup(a.Bars, i) {
			s := beatSpan{at: at, len: part, off: beat - part, beat: beat, straight: straight}
			if n := len(g.spans) - 1; n >= 0 {
				p := &g.spans[n]
				if p.beat == beat && p.off == 0 && p.len == s.off && p.at+p.len == at {
					s.joined = true
					p.straight = straight
				} else {
					s.straight = true
				}
			}
			g.spans = append(g.spans, s)
			at += part
		}
		for ; at < end; at += beat {
			s := beatSpan{at: at, len: min(beat, end-at), beat: beat, straight: straight}
			if s.len < beat {
				s.straight = true // until a pick-up completes it
			}
			g.spans = append(g.spans, s)
		}
	}
	for _, n := range a.Notes {
		g.markThirds(Tick(n.At))
	}
	for _, n := range a.Melody {
		g.markThirds(Tick(n.At))
	}
	for i := range g.spans {
		if g.spans[i].joined && i > 0 {
			s := g.spans[i].straight || g.spans[i-1].straight
			g.spans[i].straight, g.spans[i-1].straight = s, s
		}
	}
	return g
}

// compound reports whether the beat is three units of the metre.
func compound(b voicing.Bar) bool {
	if b.Metre.Den > 0 {
		return int(b.Beat)*b.Metre.Den == 3*4*int(PerQuarter)
	}
	return Tick(b.Beat) == PerQuarter*3/2
}

// isPickup reports whether the beats of bar i are counted from its end.
func isPickup(bars []voicing.Bar, i int) bool {
	label, _, _ := strings.Cut(bars[i].Label, "/")
	if label == "0" || strings.HasSuffix(label, "+") {
		return true
	}
	return i == 0 && len(bars) > 1 && bars[0].Len < fullBar(bars[0])
}

// fullBar is the length that the metre asks of a bar; its own where the metre
// is unknown.
func fullBar(b voicing.Bar) voicing.Tick {
	if b.Metre.Num <= 0 || b.Metre.Den <= 0 {
		return b.Len
	}
	return voicing.Tick(b.Metre.Num) * 4 * voicing.PerQuarter / voicing.Tick(b.Metre.Den)
}

func (g *grid) find(t Tick) int {
	i := sort.Search(len(g.spans), func(i int) bool { return g.spans[i].at > t }) - 1
	if i < 0 || t >= g.spans[i].at+g.spans[i].len {
		return -1
	}
	return i
}

func (g *grid) markThirds(t Tick) {
	i := g.find(t)
	if i < 0 {
		return
	}
	s := &g.spans[i]
	if pos := s.off + t - s.at; pos*6%s.beat == 0 && pos*4%s.beat != 0 {
		s.thirds = s.thirds || !s.straight
		s.straight = true
	}
}

// warp is where a moment of the arrangement lies in the performance.
func (g *grid) warp(t Tick) Tick {
	i := g.find(t)
	if i < 0 || g.spans[i].straight {
		return t
	}
	s := g.spans[i]
	return s.at - s.off + Tick(g.feel.WarpTicks(int(s.off+t-s.at), int(s.beat)))
}
