package leadsheet

import "slices"

// A group is a repeated stretch of written bars [from, to) with its variant
// endings, and how often it is played.
type group struct {
	from, to, passes int
	afterJump        bool
}

// unroll gives the order in which the written bars are played, or nil when it
// is longer than any tune.
func (s *sheet) unroll(l *log) []int {
	parts := s.order
	if parts == nil {
		parts = []span{{0, len(s.bars)}}
	}
	s.checkJumps(l)
	var order []int
	known := make(map[span][]group)
	for k, p := range parts {
		gs, ok := known[p]
		if !ok {
			gs = s.groups(p, l)
			known[p] = gs
		}
		if k > 0 {
			p.from = s.entry(p, parts[k-1])
		}
		var whole bool
		order, whole = s.play(order, p, gs)
		if !whole {
			l.fault(place{}, "take repeats out", "with its repeats the tune is longer than %d bars", maxBars)
			return nil
		}
	}
	return order
}

// entry is where a part begins that P: puts after another: at its segno when
// the other ends with D.S., which is how old collections leave out a pick-up.
func (s *sheet) entry(p, before span) int {
	if s.bars[before.to-1].toSegno {
		for i := p.from; i < p.to; i++ {
			if s.bars[i].segno {
				return i
			}
		}
	}
	return p.from
}

// checkJumps takes away the jumps that cannot be obeyed.
func (s *sheet) checkJumps(l *log) {
	if s.order != nil {
		for _, b := range s.bars {
			if b.daCapo || b.dalSegno {
				b.toSegno = b.dalSegno
				b.daCapo, b.dalSegno = false, false
				l.warn(b.jumpAt, "the jump is not followed but the order of parts that P: sets")
			}
		}
		return
	}
	var fine, toCoda, coda bool
	for i, b := range s.bars {
		fine = fine || b.fine && i < len(s.bars)-1
		toCoda = toCoda || b.toCoda
		coda = coda || b.coda && toCoda
	}
	segno := false // up to the bar: a jump goes back
	for _, b := range s.bars {
		segno = segno || b.segno
		switch {
		case !b.daCapo && !b.dalSegno:
			continue
		case b.dalSegno && !segno:
			l.warn(b.jumpAt, "D.S. is not followed: there is no segno to go back to")
		case b.jumpTo == "fine" && !fine && coda:
			l.warn(b.jumpAt, "there is no Fine; the jump back ends at the coda")
			b.jumpTo = ""
			continue
		case b.jumpTo == "coda" && !coda && fine:
			l.warn(b.jumpAt, "there is no way to a coda; the jump back ends at the Fine")
			b.jumpTo = ""
			continue
		case !fine && !coda:
			l.warn(b.jumpAt, "the jump back is not followed: there is neither a Fine nor a way to a coda")
		default:
			if b.jumpSaid != "" {
				l.warn(b.jumpAt, "the words %s are read as a jump", quote(b.jumpSaid))
			}
			continue
		}
		b.daCapo, b.dalSegno = false, false
	}
}

// groups finds the repeated stretches of a part. A repeat without its start
// goes back to the last double bar, the end of the repeat before, or the start
// of the part (ABC 2.1, 4.8).
func (s *sheet) groups(p span, l *log) []group {
	var gs []group
	s.mendEndings(p, l)
	start, explicit := p.from, false
	for i := p.from; i < p.to; {
		b := s.bars[i]
		switch {
		case b.from:
			start, explicit = i, true
		case (b.starts || b.section != "") && !explicit && b.endings == nil:
			start = i
		}
		switch {
		case b.endings != nil:
			// All endings that follow each other belong to the group.
			to, most, runs, again := i, 0, 0, false
			for to < p.to && s.bars[to].endings != nil && !(s.bars[to].from && to > i) {
				e := s.bars[to]
				if e.ending {
					runs++
				}
				for _, n := range e.endings {
					most = max(most, n)
				}
				again = again || e.afterJump
				to++
			}
			passes := most
			if runs == 1 && s.bars[to-1].back > 0 {
				passes = most + 1 // the last time passes by the only ending
			}
			gs = append(gs, group{start, to, max(passes, 1), again})
			i = to
			start, explicit = i, false
		case b.back > 0 && !(i+1 < p.to && s.bars[i+1].endings != nil && !s.bars[i+1].from):
			gs = append(gs, group{start, i + 1, b.back, b.afterJump})
			i++
			start, explicit = i, false
		default:
			i++
		}
	}
	return gs
}

// mendEndings looks for slips that are common in collections and exports: a
// bracket that is shorter than its ending, a first ending behind its repeat
// sign, a first ending without its repeat sign, numbers that leave one out, and
// a last ending whose own end is not marked, so that it seems to reach to the
// end of the next repeat.
func (s *sheet) mendEndings(p span, l *log) {
	for i := p.from; i < p.to; i++ {
		b := s.bars[i]
		if b.endings == nil || i+1 < p.to && s.bars[i+1].endings != nil {
			continue
		}
		// The last bar under a bracket: does the repeat sign come later, with
		// the next ending right behind it?
		for j := i + 1; j < p.to && b.back == 0 && s.bars[j].endings == nil && !s.bars[j].from; j++ {
			if s.bars[j].back == 0 {
				continue
			}
			if j+1 < p.to && s.bars[j+1].ending {
				for k := i + 1; k <= j; k++ {
					s.bars[k].endings = b.endings
				}
			}
			break
		}
	}
	for i := p.from + 1; i < p.to; i++ {
		before, b := s.bars[i-1], s.bars[i]
		if b.ending && before.endings == nil && before.back > 0 && plays(b.endings, 1) {
			l.warn(b.place, "a first ending behind the repeat sign is read as bars like others")
			for k := i; k < p.to && s.bars[k].endings != nil && (k == i || !s.bars[k].ending); k++ {
				s.bars[k].endings, s.bars[k].ending = nil, false
			}
		}
	}
	s.renumber(p, l)
	firstLen, runFrom := 0, -1
	for i := p.from; i < p.to; i++ {
		b := s.bars[i]
		if b.endings == nil {
			firstLen, runFrom = 0, -1
			continue
		}
		if b.ending {
			runFrom = i
		}
		last := i+1 == p.to || s.bars[i+1].endings == nil || s.bars[i+1].ending || s.bars[i+1].from
		if !last || runFrom < 0 {
			continue
		}
		next := i+1 < p.to && s.bars[i+1].ending && !s.bars[i+1].from
		switch {
		case next && b.back == 0:
			b.back = 2
			l.warn(s.bars[i+1].place, "there is no repeat sign before this ending; the ending before it is taken to have one")
			fallthrough
		case next:
			firstLen = max(firstLen, i+1-runFrom)
		case b.back > 0 && firstLen > 0 && i+1-runFrom > firstLen:
			cut := runFrom + firstLen
			for k := cut; k <= i; k++ {
				s.bars[k].endings = nil
			}
			s.bars[cut].from = true
			l.warn(s.bars[cut].place, "the end of the last ending is not marked; it is taken to be as long as the one before, and the repeat to start here")
		}
	}
}

// renumber closes gaps in the numbers of endings that follow each other: 1 and
// 3 become 1 and 2.
func (s *sheet) renumber(p span, l *log) {
	for i := p.from; i < p.to; {
		if s.bars[i].endings == nil {
			i++
			continue
		}
		to := i
		var numbers []int
		for to < p.to && s.bars[to].endings != nil && !(s.bars[to].from && to > i) {
			numbers = append(numbers, s.bars[to].endings...)
			to++
		}
		slices.Sort(numbers)
		numbers = slices.Compact(numbers)
		// A single ending may have any number: the other passes go by it.
		if n := len(numbers); n > 1 && numbers[n-1] != n {
			l.warn(s.bars[i].place, "the numbers of the endings leave one out; they are counted on")
			for k := i; k < to; k++ {
				s.bars[k].endings = slices.Clone(s.bars[k].endings)
				for e, v := range s.bars[k].endings {
					s.bars[k].endings[e], _ = slices.BinarySearch(numbers, v)
					s.bars[k].endings[e]++
				}
			}
		}
		i = to
	}
}

// play appends the bars of a part as played. It reports false when they pass
// all bounds.
func (s *sheet) play(order []int, p span, gs []group) ([]int, bool) {
	gi, pass := 0, 1
	jumped, to := false, ""
	for i := p.from; i < p.to; {
		for gi < len(gs) && i >= gs[gi].to {
			gi, pass = gi+1, 1
			if jumped {
				pass = jumpPass(gs, gi)
			}
		}
		in := gi < len(gs) && i >= gs[gi].from
		b := s.bars[i]
		if in && b.endings != nil && !plays(b.endings, pass) {
			i++
			if i == gs[gi].to && pass < gs[gi].passes { // a pass without an ending of its own
				i, pass = gs[gi].from, pass+1
			}
			continue
		}
		order = append(order, i)
		if len(order) > maxBars {
			return order, false
		}
		if jumped && b.fine && to != "coda" {
			return order, true
		}
		if jumped && b.toCoda && to != "fine" {
			if c := s.codaOf(i, p.to); c >= 0 {
				i = c
				gi, pass = s.groupAt(gs, i), 1
				jumped = false
				continue
			}
		}
		if in && pass < gs[gi].passes && (b.back > 0 || i+1 == gs[gi].to) {
			i, pass = gs[gi].from, pass+1
			continue
		}
		if (b.daCapo || b.dalSegno) && !jumped {
			target := p.from
			if b.dalSegno {
				target = s.segnoOf(i)
			}
			if target <= i {
				jumped, to = true, b.jumpTo
				i = target
				gi = s.groupAt(gs, i)
				pass = jumpPass(gs, gi)
				b.daCapo, b.dalSegno = false, false
				continue
			}
		}
		i++
	}
	return order, true
}

func plays(endings []int, pass int) bool {
	return slices.Contains(endings, pass)
}

// jumpPass is the pass in which group gi is played after a jump: the last,
// unless it says that it is repeated then too.
func jumpPass(gs []group, gi int) int {
	if gi >= len(gs) || gs[gi].afterJump {
		return 1
	}
	return gs[gi].passes
}

// codaOf is the bar behind i where its coda starts: that of the same name, else
// the next; -1 without one.
func (s *sheet) codaOf(i, to int) int {
	next := -1
	for k := i + 1; k < to; k++ {
		switch b := s.bars[k]; {
		case !b.coda:
		case b.sign.coda != "" && b.sign.coda == s.bars[i].sign.toCoda:
			return k
		case next < 0:
			next = k
		}
	}
	return next
}

// segnoOf is the sign to which the jump at the end of bar i goes: that of the
// same name, else the last before it; behind all bars without one.
func (s *sheet) segnoOf(i int) int {
	last := len(s.bars)
	for k := i; k >= 0; k-- {
		switch b := s.bars[k]; {
		case !b.segno:
		case b.sign.segno != "" && b.sign.segno == s.bars[i].sign.dalSegno:
			return k
		case last == len(s.bars):
			last = k
		}
	}
	return last
}

// groupAt is the index of the first group that ends after bar i.
func (s *sheet) groupAt(gs []group, i int) int {
	for g := range gs {
		if i < gs[g].to {
			return g
		}
	}
	return len(gs)
}
