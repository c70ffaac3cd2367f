package voicing

import (
	"encoding/binary"
	"math"
	"slices"
)

// remembered is the row of answers that was found before for the slots from
// l.f up to the one before to, where everything that it depends on is as it was;
// nil where it was not. key is what to keep the row under.
//
// A tune is played several times before it is finished, and from one time to the
// next little of it changes.
func (l *layer) remembered(now []strike, to int) (key string, row []reply) {
	b := l.w.scratch.key[:0]
	put := func(xs ...int) {
		for _, x := range xs {
			b = binary.AppendVarint(b, int64(x))
		}
	}
	yes := func(x bool) {
		if x {
			put(1)
		} else {
			put(0)
		}
	}
	strikes := func(ns []strike) {
		put(len(ns))
		for i := range ns {
			x := &ns[i]
			put(int(x.at), int(x.end), x.point, x.tune, int(x.brief))
			b = append(b, byte(x.str), byte(x.fret), byte(x.finger), byte(x.midi), byte(x.voice))
		}
	}
	i := l.free[l.f].point
	put(l.f, to, i, int(l.lastPos), int(l.lastAt), l.full[0], l.full[1], l.trialOf)
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(l.w.notePrice(i)))
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(l.w.staleness(i)))
	yes(l.trial)
	strikes(now)
	strikes(l.live)
	n := -len(l.live)
	l.recent(func(*strike) { n++ })
	strikes(l.done[len(l.done)-n:])
	strikes(l.before)
	for f := l.f; f < to; f++ {
		x := &l.free[f]
		put(int(x.at))
		l.answerKey(x.ans, put, yes)
	}
	// what is due in the stretch, and after it up to two attacks behind the next
	// that is fretted
	last, ahead, fretted := l.free[to-1].at, 0, false
	d := l.d
	for ; d < len(l.due) && ahead < 3; d++ {
		x := &l.due[d]
		if x.at <= last {
			continue
		}
		if fretted && x.at != l.due[d-1].at {
			ahead++
		}
		fretted = fretted || x.fret > 0
	}
	strikes(l.due[l.d:d])
	for k := i; k < len(l.chosen); k++ {
		g, p := &l.chosen[k], &l.w.ps[k]
		put(int(g.n), int(g.mood), int(p.texture.bassAt), int(p.texture.innerAt), int(p.texture.split))
		yes(g.hasBass)
		yes(l.waited[k])
		for _, t := range g.note[:g.n] {
			b = append(b, byte(t.str), byte(t.fret), byte(t.finger), byte(t.voice))
		}
		if k > i && g.n > 1 && g.hasBass {
			break // how long an answer rings, no grip behind it says
		}
	}
	for k := range l.w.ps[i].texture.answers {
		a := &l.w.ps[i].texture.answers[k]
		put(int(a.at))
		l.answerKey(a, put, yes)
	}
	l.w.scratch.key = b
	key = string(b)
	return key, slices.Clone(l.w.rows[key])
}

// answerKey puts what an answer asks for.
func (l *layer) answerKey(a *answer, put func(...int), yes func(bool)) {
	put(int(a.at))
	yes(a.bass)
	yes(a.pair)
	yes(a.line)
	yes(a.root)
	yes(a.waited)
}
