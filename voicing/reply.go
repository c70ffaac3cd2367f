package voicing

import (
	"math"
	"slices"

	"thumbline/theory"
)

// reply finds the notes for a free moment: a bass note or one or two inner
// voices that the hand can add while the tune goes on ringing. now is what is
// struck at that time anyway. When nothing fits, the moment stays free.
func (l *layer) reply(i int, a answer, now []strike) []strike {
	return l.answerWith(i, a, now, l.chosenReply(i, a, now))
}

// A reply is what may answer a free moment: a note, two of them, or none for a
// breath; and what it costs.
type reply struct {
	ns   [2]strike
	n    int8
	cost float64
}

// same reports whether two replies strike the same pitches.
func (r *reply) same(o *reply) bool {
	return r.n == o.n && r.ns[0].midi == o.ns[0].midi && (r.n < 2 || r.ns[1].midi == o.ns[1].midi)
}

// answerWith adds a reply to what is struck now.
func (l *layer) answerWith(i int, a answer, now []strike, r reply) []strike {
	best := r.ns[:r.n]
	l.now = now
	if _, ok := l.passing(i, a); ok && len(best) > 1 {
		for k := range l.live { // the six-chord's voices step too; its bass may stay
			if x := &l.live[k]; x.voice == Inner {
				x.end = min(x.end, a.at)
			}
		}
		if !l.trial {
			l.steps = append(l.steps, slide{point: i, at: a.at})
		}
	}
	l.stabs(i, a, best, now)
	for _, n := range best {
		if n.voice == Inner {
			l.leave(n)
		}
	}
	return append(now, best...)
}

// An option is a note that might answer, before the hand was asked.
type option struct {
	strike
	cost float64
}

// replyScratch is room that replies uses again and again.
type replyScratch struct {
	options, ordered []option
	order            []int64
}

// replies are the best answers to a free moment, at most most of them, no two
// of the same pitches, the cheapest first: those that cost less than limit and no
// more than a breath.
func (l *layer) replies(i int, a answer, now []strike, most int, limit float64) []reply {
	wt := &l.w.taste.Answer
	l.now = now
	var best []reply
	// bound is what a reply must stay under to be of use
	bound := min(limit, math.Nextafter(wt.Dearest, math.Inf(1)))
	try := func(ns []strike, cost float64) {
		r := reply{n: int8(len(ns))}
		copy(r.ns[:], ns)
		k := slices.IndexFunc(best, func(b reply) bool { return b.same(&r) })
		if k >= 0 && best[k].cost <= cost {
			return // the same pitches, better
		}
		budget := bound - cost
		if k >= 0 {
			budget = min(budget, best[k].cost-cost)
		}
		c, ok := l.fits(ns, budget)
		if !ok {
			return
		}
		r.cost = cost + c
		switch {
		case k >= 0:
			best = slices.Delete(best, k, k+1)
		case len(best) == most:
			best = best[:most-1]
		}
		k = slices.IndexFunc(best, func(b reply) bool { return b.cost > r.cost })
		if k < 0 {
			k = len(best)
		}
		best = slices.Insert(best, k, r)
		bound = min(bound, best[0].cost+replyMargin)
		if len(best) == most {
			bound = min(bound, best[most-1].cost)
		}
	}
	opts := l.w.scratch.options[:0]
	price := l.w.notePrice(i)
	if a.due {
		price = min(price, l.w.taste.Texture.Note)
	}
	add := func(x strike, cost float64) {
		cost += price + l.w.answerAgain(i, &x)
		if a.pair || cost < bound { // what rings can only make it dearer
			opts = append(opts, option{x, cost})
		}
	}
	if a.bass {
		l.bassReplies(i, a, add)
		if len(now) == 0 && !l.w.ps[i].final {
			// an inner voice rather than a poor bass note
			l.innerReplies(i, answer{at: a.at}, bound-price-wt.InnerForBass, func(x strike, cost float64) { add(x, cost+wt.InnerForBass) })
		}
	} else {
		most := bound - price
		if a.pair {
			most += wt.Pair + pairGain
		}
		l.innerReplies(i, a, most, add)
	}
	opts = l.sorted(opts)
	if a.pair {
		l.pairs(opts, func() float64 { return bound }, try)
	}
	single := 0.0
	if a.pair {
		single = wt.Single
	}
	l.singles(opts, single, &bound, try)
	if !l.w.s.trio && !a.bass && len(best) == 0 && len(now) == 0 && limit > wt.Dearest && l.w.s.onBeat(a.at) {
		opts = opts[:0]
		l.bassReplies(i, a, add)
		opts = l.sorted(opts)
		l.singles(opts, 0, &bound, try)
	}
	l.w.scratch.options = opts
	return best
}

// singles tries notes alone, each for that much more than its cost.
func (l *layer) singles(opts []option, more float64, bound *float64, try func([]strike, float64)) {
	ns := make([]strike, 1)
	for k := range opts {
		if opts[k].cost+more >= *bound {
			break
		}
		ns[0] = opts[k].strike
		try(ns, opts[k].cost+more)
	}
}

// sorted puts options in the order of their costs, equal ones as they came. There
// are never 4096 of them: a note has a few strings and four fingers.
func (l *layer) sorted(opts []option) []option {
	w := &l.w.scratch
	w.order = w.order[:0]
	for k := range opts { // cost and place in one number sort fastest
		w.order = append(w.order, int64(opts[k].cost*1e6)<<12|int64(k))
	}
	slices.Sort(w.order)
	out := w.ordered[:0]
	for _, k := range w.order {
		out = append(out, opts[k&(1<<12-1)])
	}
	w.ordered = opts // the two take turns
	return out
}

// pairs tries stabs of two notes that could each be struck alone, as long as
// the sum of both is under the bound, which sinks as better ones are found.
func (l *layer) pairs(opts []option, bound func() float64, try func([]strike, float64)) {
	wt := &l.w.taste.Answer
	asked := make([]int8, len(opts)) // 0 not yet, 1 it goes, 2 it does not
	ns := make([]strike, 2)          // what is tried: nobody keeps it
	goes := func(k int) bool {
		if asked[k] == 0 {
			asked[k] = 2
			ns[0] = opts[k].strike
			if _, ok := l.goes(ns[:1], nil); ok {
				asked[k] = 1
			}
		}
		return asked[k] == 1
	}
	for y := range opts {
		if opts[0].cost+opts[y].cost-wt.Pair >= bound() {
			return
		}
		for x := 0; x < y; x++ {
			cost := opts[x].cost + opts[y].cost - wt.Pair
			if cost >= bound() {
				break
			}
			hi, lo := &opts[x].strike, &opts[y].strike
			if hi.midi < lo.midi {
				hi, lo = lo, hi
			}
			d := int(hi.midi) - int(lo.midi)
			if d < 3 || d > 10 || hi.str >= lo.str || hi.finger == lo.finger && hi.finger > 0 && hi.fret != lo.fret || !goes(x) || !goes(y) {
				continue
			}
			ns[0], ns[1] = *hi, *lo
			try(ns, cost)
		}
	}
}

// leave ends the inner note from which a voice has stepped to n on another
// string: it has moved, and would rub against where it was.
func (l *layer) leave(n strike) {
	if from := l.leaves(n); from >= 0 {
		l.live[from].end = n.at
	}
}

// leaves is the index in live of the note that leave ends, -1 for none.
func (l *layer) leaves(n strike) int {
	from := -1
	for k, x := range l.live {
		if d := absInt(int(x.midi) - int(n.midi)); x.voice == Inner && x.end > n.at && x.str != n.str && isStep(d) &&
			(from < 0 || d < absInt(int(l.live[from].midi)-int(n.midi))) {
			from = k
		}
	}
	return from
}

// givesUp reports whether striking n ends the only note that has one of these
// pitch classes: the voice has left it, or its string is taken.
func (l *layer) givesUp(n strike, pcs []int) bool {
	from := l.leaves(n)
	ends := func(k int) bool { return k == from || l.live[k].str == n.str }
	for k, x := range l.live {
		if x.end <= n.at || !ends(k) || !slices.Contains(pcs, int(x.midi)%12) || int(n.midi)%12 == int(x.midi)%12 {
			continue
		}
		alone := true
		for j, y := range l.live {
			alone = alone && (j == k || y.end <= n.at || ends(j) || (int(y.midi)-int(x.midi))%12 != 0)
		}
		for _, y := range l.now {
			alone = alone && (int(y.midi)-int(x.midi))%12 != 0
		}
		if alone {
			return true
		}
	}
	return false
}

// follows is when the next answer in the bass, or in an inner voice, is due in
// the stretch of point i after t; -1 for never.
func (l *layer) follows(i int, t Tick, bass bool) Tick {
	for _, b := range l.w.ps[i].texture.answers {
		if b.bass == bass && b.at > t {
			return b.at
		}
	}
	return -1
}

// fits asks whether ns can be struck now, see goes, with the tune ringing on
// and with time to get there and away. The cost is what ringing it takes away
// and the way of the hand; ok is false too where it would reach the budget.
func (l *layer) fits(ns []strike, budget float64) (cost float64, ok bool) {
	wt := &l.w.taste.Answer
	t, after := ns[0].at, l.due[l.d:]
	pos, fretted := placeOf(ns)
	way, ok := l.onward(ns, after, pos, fretted)
	// what is cheap to ask comes first
	if !ok || way+l.surelyCuts(ns) >= budget {
		return 0, false
	}
	cost, ok = l.goes(ns, after)
	if cost += way; !ok || cost >= budget {
		return 0, false
	}
	var buf [16]strike
	all := append(append(buf[:0], l.now...), ns...)
	if l.octaves(all) {
		cost += l.w.taste.Octaves
	}
	keep := l.keep(all)
	if l.w.s.trio && l.takesRoot(ns, keep) {
		return 0, false
	}
	stays := false
	for k := range l.live {
		x := &l.live[k]
		switch {
		case x.end <= t:
			if x.tune >= 0 && x.end == t && takesFinger(ns, x) {
				cost += l.w.taste.LetGo * letting(l.w.s.seconds(x.at, t))
			}
		case keep&(1<<k) != 0:
			stays = stays || x.fret > 0
		case x.tune >= 0 && x.end-t > PerQuarter/8:
			return 0, false // the tune rings on
		default:
			cost += wt.cuts(x, &ns[0])
		}
	}
	if d := absInt(int(pos) - int(l.lastPos)); fretted && l.lastPos > 0 && !stays && d > 2 {
		if l.w.s.seconds(l.lastAt, t) < shiftTime(d)+0.05 {
			return 0, false
		}
		cost += wt.Shift + wt.ShiftFret*float64(d-2)
	}
	return cost, cost < budget
}

// ousts reports whether n takes the string or the finger of x.
func (n *strike) ousts(x *strike) bool {
	return n.str == x.str || n.finger > 0 && n.finger == x.finger && n.fret != x.fret
}

// cuts is what it costs that x stops for n.
func (wt *AnswerTaste) cuts(x, n *strike) float64 {
	switch {
	case x.voice == Bass && n.voice == Inner:
		return wt.TakesBass
	case x.voice == Bass:
		return wt.CutsBass
	}
	return wt.CutsInner
}

// surelyCuts is what the notes cost that stop because ns needs their strings or
// fingers: at least that much.
func (l *layer) surelyCuts(ns []strike) float64 {
	cost := 0.0
	for k := range l.live {
		x := &l.live[k]
		if x.end <= ns[0].at || x.tune >= 0 {
			continue
		}
		for j := range ns {
			if ns[j].ousts(x) {
				cost += l.w.taste.Answer.cuts(x, &ns[0])
				break
			}
		}
	}
	return cost
}

// onward is what the way of the hand costs from ns, at pos, to the next fretted
// notes of after; not ok where there is no time for it.
func (l *layer) onward(ns, after []strike, pos int8, fretted bool) (cost float64, ok bool) {
	if !fretted {
		return 0, true
	}
	wt, s := &l.w.taste.Answer, l.w.s
	from := 0
	for from < len(after) && after[from].fret == 0 {
		from++
	}
	if from == len(after) {
		return 0, true
	}
	var nbuf [8]strike
	next := nbuf[:0]
	for k := from; k < len(after) && after[k].at == after[from].at; k++ {
		if after[k].fret > 0 {
			next = append(next, after[k])
		}
	}
	np, _ := placeOf(next)
	dt := s.seconds(ns[0].at, next[0].at)
	if d := absInt(int(np) - int(pos)); d > 2 {
		if dt < shiftTime(d)+0.08 {
			return 0, false
		}
		cost += wt.Onward + wt.OnwardFret*float64(d-2)
		if dt < 2.2*shiftTime(d) {
			cost += wt.Hurried // it would hardly ring
		}
	}
	if dt >= 0.25 {
		return cost, true
	}
	for _, x := range next {
		for _, n := range ns {
			if n.finger == x.finger && (n.str != x.str || n.fret != x.fret) && n.fret > 0 {
				cost += wt.SameFinger
			}
		}
	}
	return cost, true
}

// goes asks whether ns go with what is struck now: under the tune, without a
// clash, held in one hand and plucked at once. The cost is that of octaves with
// the tune. after is what comes next, nil where that is not asked.
func (l *layer) goes(ns, after []strike) (float64, bool) {
	now := l.now
	t := ns[0].at
	tune, cost := 0, 0.0
	for k := range now {
		if now[k].tune >= 0 {
			tune = int(now[k].midi)
		}
	}
	for k := range l.live {
		if x := &l.live[k]; x.tune >= 0 && x.end > t && tune == 0 {
			tune = int(x.midi)
		}
	}
	for k := range ns {
		if tune == 0 {
			break
		}
		d := tune - int(ns[k].midi)
		if d <= 1 || d == 13 {
			return 0, false
		}
		if d%12 == 0 && ns[k].voice == Inner {
			cost += l.w.taste.Answer.TuneOctave // an octave under the tune says nothing new
		}
	}
	if l.takesTune(ns) {
		return 0, false
	}
	var buf [16]strike
	all := append(append(buf[:0], now...), ns...)
	if len(all) >= 3 && l.hollow(all) || !l.struck(all) || l.tooSoon(l.before, all) || l.tooSoon(all, coming(after)) {
		return 0, false
	}
	for k := range l.live {
		if x := &l.live[k]; x.tune >= 0 && x.end-t > PerQuarter/8 {
			all = append(all, *x) // it rings on
		}
	}
	return cost, !l.clash(all) && l.together(all)
}

// takesTune reports whether a string or a finger that the tune needs for ringing
// on is wanted for ns.
func (l *layer) takesTune(ns []strike) bool {
	for k := range l.live {
		x := &l.live[k]
		if x.tune < 0 || x.end-ns[0].at <= PerQuarter/8 {
			continue
		}
		for j := range ns {
			if ns[j].ousts(x) {
				return true
			}
		}
	}
	return false
}

// hollow reports whether the tune stands over an octave above everything else
// that is struck with it or rings on: a full attack has no hole under the tune.
func (l *layer) hollow(all []strike) bool {
	tune, next := 0, 0
	for i := range all {
		if all[i].tune >= 0 {
			tune = int(all[i].midi)
		} else {
			next = max(next, int(all[i].midi))
		}
	}
	for i := range l.live {
		if x := &l.live[i]; x.end > all[0].at && x.tune < 0 {
			next = max(next, int(x.midi))
		}
	}
	return tune > 0 && tune-next > 12
}

// takesFinger reports whether ns needs the finger of x elsewhere.
func takesFinger(ns []strike, x *strike) bool {
	return x.fret > 0 && slices.ContainsFunc(ns, func(n strike) bool { return n.finger == x.finger && n.str != x.str && n.fret != x.fret })
}

// coming is the first attack of what is due.
func coming(due []strike) []strike {
	n := 0
	for n < len(due) && due[n].at == due[0].at {
		n++
	}
	return due[:n]
}

// bassReplies tries bass notes: the fifth after the root, a step into the next
// root on the last beat, the root again at the end.
func (l *layer) bassReplies(i int, a answer, add func(strike, float64)) {
	w := l.w
	pal := &l.pals[i]
	line := l.bassLine(i, a)
	sounds, taken := l.sounding(a.at, -1), l.justStruck(a.at, Inner)
	fill := l.fills(a.at)
	for midi := w.neck.Low(); midi <= highestBass; midi++ {
		pc := midi % 12
		if pal.colours(sounds.With(pc)) && !pal.colours(sounds) {
			continue
		}
		cost, ok := l.bassSays(i, a, midi, line)
		if !ok || !l.bassReaches(midi, line) {
			continue
		}
		cost += l.bassPlace(i, a, midi, line)
		if taken[midi] {
			cost += w.taste.Answer.OtherVoice
		}
		until := l.ringEnd(i, tone{midi: int16(midi), voice: Bass})
		for _, st := range w.neck.Stops(midi) {
			if int(st.String) < w.neck.Strings()-2 {
				continue
			}
			cost := cost
			if st.Fret > 9 {
				cost += w.taste.Answer.BassFret * float64(st.Fret-9) // thick and dull up there
			}
			l.eachFinger(st, func(f int8, fc float64) {
				add(strike{tone: tone{st.String, st.Fret, f, int16(midi), Bass}, at: a.at, end: until,
					point: i, fill: fill, tune: -1}, cost+fc)
			})
		}
	}
}

// bassSays is what a pitch costs as a bass of the chord of point i and on its
// way to the next; not ok where it says nothing there.
func (l *layer) bassSays(i int, a answer, midi int, line bassLine) (cost float64, ok bool) {
	w, s := l.w, l.w.s
	wt := &w.taste.Answer
	p := &w.ps[i]
	c := s.chords[p.chord].chord
	pal := &l.pals[i]
	beat := s.bars[s.barAt(a.at)].Beat
	pc := midi % 12
	deg := (pc - c.RootPC() + 12) % 12
	toned := pal.cost[pc] < 1
	last, next := line.last, line.next
	switch {
	case p.final:
		if pc != pal.root {
			return 0, false
		}
		if midi > 50 {
			cost += wt.FinalHigh * float64(midi-50)
		}
	case l.chosen[i].mood == pedal && pc != pal.bass:
		return 0, false // it lies there until the five has come
	case s.chords[p.chord].asked != nil && pc != s.chords[p.chord].asked.voicing[0]%12:
		return 0, false // what is asked for has its bass
	case pc != pal.bass && s.writtenLine(p.chord):
		return 0, false // the sheet has a line of its own there
	case s.putIn(a.at) && next > 0 && isStep(last-next) && (isStep(midi-next) || isStep(midi-last)) && !between(last, midi, next):
		return 0, false // it would spoil the step that comes
	case next > 0 && next != last && isStep(midi-next) && a.at-p.at >= beat &&
		(w.ps[i+1].change || pal.cost[pc] == 0 && deg != 1 || between(last, midi, next)):
		// the approach: a half step, or a step of the scale or chord
		if absInt(midi-next) == 2 && !toned && !s.keyPCs[s.barAt(a.at)].Has(pc) {
			return 0, false
		}
		if deg == 1 && !toned && absInt(midi-next) != 1 {
			return 0, false // a half step over the root pulls back to it unless it falls on by another
		}
		if !toned && s.putIn(a.at) && p.texture.innerAt == a.at {
			return 0, false // the chord itself comes only now
		}
		if !toned && s.rubs(midi, a.at) {
			return 0, false // it rubs against the tune
		}
		cost = -wt.StepIn
		if absInt(midi-next) == 1 && midi < next {
			cost = -wt.Leading
		}
		if !toned {
			cost += wt.StepForeign
		}
		if deg == 11 && c.Kind != theory.Major || pal.third >= 0 && (deg == 3 || deg == 4) && pc != pal.third {
			if a.at-s.chords[p.chord].at < 2*PerQuarter && s.chords[p.chord].end-a.at > PerQuarter {
				return 0, false // the chord is still new, and there are beats to come of it
			}
			cost += wt.StepDenies
		}
	case pc == pal.bass:
		cost = wt.Ground
		if last == midi {
			cost = wt.GroundAgain
		}
		if last > 0 && absInt(last-midi) == 12 {
			cost = wt.GroundOctave
		}
	case deg == 7 && toned:
		cost = 0 // the measure of the rest
	case pc == pal.third:
		cost = wt.BassThird
	case deg == 9 && toned && c.Kind != theory.Diminished:
		cost = wt.BassSixth // it makes another chord of this one
	case deg == 6 && pal.cost[pc] == 0, deg == 8 && pal.cost[pc] == 0, deg == 9 && toned:
		cost = wt.BassOther
	default:
		cost = math.Inf(1)
	}
	if cost > wt.WalkStep && line.walks(midi) && a.at-p.at >= beat && l.walkable(i, a, pc) {
		cost = wt.WalkStep
	}
	if math.IsInf(cost, 1) {
		return 0, false
	}
	if !p.final {
		cost -= line.gains(wt, midi)
	}
	if last == midi && !p.final {
		cost += wt.BassAgain
	}
	if own, ok := l.chosen[i].bass(); !p.final && last%12 != pal.bass && !(ok && int(own.midi) == last) && line.strays(midi) {
		cost += wt.WalkLost
	}
	if pc != pal.bass && slices.ContainsFunc(l.now, func(x strike) bool { return x.voice == Inner && int(x.midi)%12 == pc }) {
		cost += wt.BassDoubled
	}
	if pc != pal.bass && !p.final {
		if absInt(last-midi) == 12 {
			cost += wt.BassOctave // the same again, only lower or higher
		}
		if s.strikes(a.at) && (s.tuneOver(a.at)-midi)%12 == 0 {
			cost += wt.BassTune
		}
		if line.after > 0 && pc == line.after%12 && w.ps[i+1].change && p.end-a.at <= 2*beat {
			cost += wt.BassEarly // it would take the news from the next chord
		}
	}
	if a.root {
		if pc != pal.bass && !p.final {
			return 0, false
		}
		cost = 0
		if p.final && last > 0 && midi == last {
			cost = wt.RootAgain
		}
		if p.final && midi > 48 {
			cost += wt.RootHigh * float64(midi-48)
		}
	}
	if d := absInt(midi - line.soon); line.soon > 0 && isStep(d) && pal.cost[pc] == 0 {
		cost -= wt.LeadsOn / float64(d)
	}
	return cost, true
}

// walkable reports whether a walk at point i may touch a pitch class: of the
// chord's colours or the key, not its other third or seventh, and not a half
// step from the tune.
func (l *layer) walkable(i int, a answer, pc int) bool {
	s, pal := l.w.s, &l.pals[i]
	if pal.cost[pc] >= 1 && !s.keyPCs[s.barAt(a.at)].Has(pc) || l.denies(i, pc) || (pc-pal.root+12)%12 == 1 {
		return false // a half step over the root pulls back to it
	}
	return pal.cost[pc] < 1 || !s.rubs(pc, a.at)
}

// bassReaches reports that a pitch lies within an octave of the bass before and
// of the bass after: further is a leap that no line makes.
func (l *layer) bassReaches(midi int, line bassLine) bool {
	return (line.last == 0 || absInt(midi-line.last) <= 12) && (line.after == 0 || absInt(midi-line.after) <= 12)
}

// bassPlace is what the height of a bass costs: against the bass before, the
// chord's own bass, and by itself.
func (l *layer) bassPlace(i int, a answer, midi int, line bassLine) float64 {
	wt := &l.w.taste.Answer
	cost := 0.0
	if line.last > 0 && absInt(midi-line.last) > 7 {
		cost += wt.BassFifth
	}
	if !line.more && line.after > 0 && absInt(midi-line.after) > 7 {
		cost += wt.BassFifth
	}
	if b, ok := l.chosen[i].bass(); ok && a.at < l.w.ps[i].at+2*PerQuarter && midi < int(b.midi) && midi%12 != l.pals[i].bass {
		cost += wt.BelowGround // the ground stays below for as long as the chord is new
	}
	if midi > 52 {
		cost += wt.BassHigh * float64(midi-52)
	}
	return cost
}

// restLine is how high an answer may go while the tune rests before it is taken
// for the tune: a fourth under the notes on both sides. While the tune sounds
// nothing but the tune itself bounds it.
func (l *layer) restLine(t Tick) int {
	s := l.w.s
	if s.tuneOver(t) > 0 {
		return highestInner
	}
	return s.around(t, highestInner+5) - 5
}

// justStruck marks the pitches that a voice struck within the beat before t.
func (l *layer) justStruck(t Tick, v Voice) (struck [128]bool) {
	from := t - l.w.s.bars[l.w.s.barAt(t)].Beat
	l.recent(func(x *strike) {
		if x.voice == v && x.at >= from {
			struck[x.midi] = true
		}
	})
	return struck
}

// between reports whether a note steps from the one before it on to the next in
// one direction. Under one chord that is a line; a step that only leaves the
// ground and comes back to it leads nowhere.
func between(last, midi, next int) bool {
	in, on := midi-last, next-midi
	return last > 0 && in*on > 0 && absInt(in) <= 2 && absInt(on) <= 2
}

func (l *layer) eachFinger(st Stop, f func(int8, float64)) {
	wt := &l.w.taste.Answer
	if st.Fret == 0 {
		f(0, -wt.Open)
		return
	}
	if st.Fret > 14 {
		return
	}
	for k := int8(1); k <= 4; k++ {
		if st.Fret-k+1 >= 1 {
			f(k, wt.Finger*float64(k))
		}
	}
}

// fills reports whether an added note at t lies in a long note or a rest.
func (l *layer) fills(t Tick) bool {
	s := l.w.s
	if s.comps(t) {
		return false
	}
	k := s.tuneAt(t)
	if k < 0 || s.tune[k].end <= t {
		return true
	}
	return s.tune[k].end-s.tune[k].at >= 3*s.bars[s.barAt(t)].Beat
}

// preparePalettes finds what may sound at each point.
func (l *layer) preparePalettes() {
	l.pals = make([]palette, len(l.chosen))
	for i := range l.pals {
		sp := l.w.spots[i]
		sp.mood = l.mood(i)
		l.pals[i] = newPalette(sp)
	}
}

// mood is how far point i's chord is taken: its answers stay with its grip.
func (l *layer) mood(i int) mood {
	if m := l.chosen[i].mood; m != written {
		return m
	}
	return l.w.spots[i].mood
}

// bassAfter is the pitch of the bass of the grip after point i, 0 when it has
// none.
func (l *layer) bassAfter(i int) int {
	if i+1 < len(l.chosen) {
		if b, ok := l.chosen[i+1].bass(); ok {
			return int(b.midi)
		}
	}
	return 0
}

// recent visits what sounds and what ended in the last four bars or so.
func (l *layer) recent(f func(*strike)) {
	now := Tick(0)
	for k := range l.live {
		f(&l.live[k])
		now = max(now, l.live[k].at)
	}
	for k := len(l.done) - 1; k >= 0; k-- {
		if now = max(now, l.done[k].at); l.done[k].end < now-16*PerQuarter {
			return
		}
		f(&l.done[k])
	}
}

// sounding is what the ear has at t with what is struck then, without note from of
// live: pitch classes.
func (l *layer) sounding(t Tick, from int) (m theory.PCSet) {
	for k := range l.live {
		if k != from && l.live[k].end > t {
			m = m.With(int(l.live[k].midi))
		}
	}
	for k := range l.now {
		m = m.With(int(l.now[k].midi))
	}
	return m
}

// lastInner lists the inner notes struck last, highest first.
func (l *layer) lastInner() []strike {
	var out []strike
	at := Tick(-1)
	l.recent(func(x *strike) {
		switch {
		case x.voice != Inner || x.at < at:
		case x.at > at:
			at = x.at
			out = append(out[:0], *x)
		default:
			out = append(out, *x)
		}
	})
	slices.SortStableFunc(out, func(a, b strike) int { return int(b.midi) - int(a.midi) })
	return out
}

// The range of what answers: the bass up to A3, inner voices from D3 to A4.
const (
	highestBass  = 57
	lowestInner  = 50
	highestInner = 69
)

// owed is what the chord of point i still lacks, by pitch class, as a gain:
// guide tones first, then colours it is named for.
func (l *layer) owed(i int, a answer, heard theory.PCSet) (owed [12]float64) {
	w, p, pal := l.w, &l.w.ps[i], &l.pals[i]
	wt := &w.taste.Answer
	for pc, c := range pal.named {
		if c > 0 && !heard.Has(pc) {
			owed[pc] = wt.OwedColour * c
		}
	}
	for _, pc := range pal.guides {
		if !heard.Has(pc) {
			owed[pc] = wt.OwedGuide
			if w.s.trio {
				owed[pc] *= w.taste.Trio.Owed
			}
		}
	}
	if sp := &w.spots[i]; pal.dom && sp.resolves && sp.coloured && sp.mood != strict && w.s.chords[p.chord].end-a.at <= 2*PerQuarter &&
		pal.cost[(pal.root+1)%12] < 1 && !heard.Has(pal.root+2) && !heard.Has(pal.root+1) {
		owed[(pal.root+1)%12] = wt.OwedNine // plain first, colour after: the flat nine leads into the next chord
	}
	return owed
}

// grounds are the pitch classes of the basses that sound at t, with whatever is
// struck then.
func (l *layer) grounds(t Tick) (m theory.PCSet) {
	for k := range l.live {
		if x := &l.live[k]; x.voice == Bass && x.end > t {
			m = m.With(int(x.midi))
		}
	}
	for k := range l.now {
		if n := &l.now[k]; n.voice == Bass {
			m = m.With(int(n.midi))
		}
	}
	return m
}

// ahead is the pitch that the tune is about to strike within some time after t, where
// it does not strike at t; 0 for none.
func (s *score) ahead(t, within Tick) int {
	k := s.tuneAt(t) + 1
	if k >= len(s.tune) || s.tune[k].at-t > within || s.strikes(t) {
		return 0
	}
	return s.tune[k].midi
}

// soon marks the pitches that the tune strikes within a beat after t.
func (s *score) soon(t Tick) (struck [128]bool) {
	for k := s.tuneAt(t) + 1; k < len(s.tune) && s.tune[k].at <= t+s.bars[s.barAt(t)].Beat; k++ {
		struck[s.tune[k].midi] = true
	}
	return struck
}

// takesWord reports whether inner voices that come by themselves at t strike a
// pitch that the tune strikes next, half a beat later.
func (s *score) takesWord(inner []tone, t Tick) bool {
	word := s.ahead(t, half(s.bars[s.barAt(t)]))
	return word > 0 && slices.ContainsFunc(inner, func(x tone) bool { return int(x.midi) == word })
}

// pairGain is the most that the other note of a stab can gain.
const pairGain = 2

// innerReplies lists inner voices: one that steps to a neighbour and back, the
// same again, or two of the grip as a stab. Notes that cost most or more are
// left out.
func (l *layer) innerReplies(i int, a answer, most float64, add func(strike, float64)) {
	w := l.w
	wt := &w.taste.Answer
	p := &w.ps[i]
	pal := &l.pals[i]
	held := l.chosen[i].inner()
	want := l.wanted(i, a)
	line := l.innerLine(i, a)
	steps := l.linking(i, a, &line)
	passing, stepped := l.passing(i, a)
	heard := l.heardSince(p.at)
	for _, n := range l.now {
		heard = heard.With(int(n.midi))
	}
	owed := l.owed(i, a, heard)
	fill := l.fills(a.at)
	grounds, ahead := l.grounds(a.at), l.w.s.ahead(a.at, 2*w.s.bars[w.s.barAt(a.at)].Beat)
	near := l.w.s.soon(a.at)
	lowest := 0 // the root where it lies so high that it is no bass
	if g := &l.chosen[i]; !g.hasBass && len(held) > 0 {
		if low := held[len(held)-1].midi; int(low)%12 == pal.bass {
			lowest = int(low)
		}
	}
	left, keeps := wt.GuideLeft, pal.guides
	switch {
	case stepped || pal.chord.Kind == theory.Diminished:
		left = 0
	case !line.last:
		left /= 2 // it may come back
	}
	share := 1.0 // a single voice makes a line, a stab is of the chord
	switch {
	case stepped:
		share = 0
	case a.pair:
		share = 0.5
	}
	if p.final {
		left *= 3 // the last chord keeps its third, and the colour that it closes with
		if w.s.coloured {
			keeps = append(slices.Clone(keeps), (pal.root+2)%12, (pal.root+9)%12, (pal.root+11)%12)
		}
	}
	rest := l.restLine(a.at)
	sounds, taken := l.sounding(a.at, -1), l.justStruck(a.at, Bass)
	room := 0.0
	if beat := w.s.bars[w.s.barAt(a.at)].Beat; p.cadence && !p.final && len(l.now) == 0 && p.end-a.at <= beat && p.end-p.at > 2*beat {
		room = wt.PhraseRoom // the next phrase is to be heard
	}
	for midi := l.w.s.lowestInner(); midi <= highestInner; midi++ {
		pc := midi % 12
		if pal.colours(sounds.With(pc)) && !pal.colours(sounds) &&
			(a.pair || pal.colours(l.sounding(a.at, l.leaves(strike{tone: tone{midi: int16(midi)}, at: a.at})).With(pc))) { // nine to flat nine is a step on
			continue
		}
		until := l.ringEnd(i, tone{midi: int16(midi), voice: Inner})
		colour := pal.cost[pc]
		for _, x := range steps {
			if x.midi == midi && colour > x.colour {
				colour, until = x.colour, min(until, x.back)
			}
		}
		if stepped {
			if !passing.Has(pc) {
				continue
			}
			colour, until = wt.Passing, min(until, w.s.nextOnset(a.at))
		}
		if colour >= none {
			continue
		}
		cost := line.cost(wt, midi, share) + wt.Colour*colour - owed[pc] + room
		arrives := line.arrives(midi)
		if pc == pal.root {
			cost += wt.Root
		}
		if grounds.Has(pc) {
			cost += wt.BassDoubled
		}
		if midi < lowest {
			cost += wt.BelowGround // it would be heard as a bass
		}
		if taken[midi] {
			cost += wt.OtherVoice
		}
		if midi == ahead || near[midi] {
			cost += wt.TuneAhead
		}
		if midi > rest {
			cost += wt.RestHigh * float64(midi-rest)
		}
		if slices.Contains(pal.guides, pc) {
			cost -= wt.Guide
		}
		if pal.dom && (pc == (pal.root+2)%12 && heard.Has(pal.root+1) ||
			pc == (pal.root+9)%12 && (heard.Has(pal.root+8) || heard.Has(pal.root+1) && (w.spots[i].toTwo || w.spots[i].toMinor))) {
			cost += wt.Backwards // tension grows towards the next chord: no way back from flat nine to nine
		}
		if cost-wt.InHand-wt.Open-want.most(midi, wt) >= most {
			continue
		}
		for _, st := range w.neck.Stops(midi) {
			if st.String == 1 || int(st.String) > w.neck.Strings()-1 {
				continue
			}
			l.eachFinger(st, func(f int8, fc float64) {
				if f == 0 && l.lastPos >= highPlace {
					fc += w.taste.HighOpen
				}
				for k := range held { // what the hand already holds is nearest
					if t := &held[k]; t.str == st.String && t.fret == st.Fret && t.finger == f {
						fc -= wt.InHand
					}
				}
				fc -= want.gain(st, f, wt)
				if cost+fc >= most {
					return
				}
				x := strike{tone: tone{st.String, st.Fret, f, int16(midi), Inner}, at: a.at,
					end: until, point: i, fill: fill, tune: -1}
				if p.final && pal.third >= 0 && w.s.putIn(a.at) && l.givesUp(x, []int{pal.third}) {
					return // the third rings to the end
				}
				if left > 0 && owed[pc] == 0 && !arrives && l.givesUp(x, keeps) {
					fc += left
				}
				add(x, cost+fc)
			})
		}
	}
}

// passing is the diminished chord of the odd steps where the tune passes
// through one of them: then the whole chord steps with it.
func (l *layer) passing(i int, a answer) (theory.PCSet, bool) {
	k := -1
	for _, n := range l.now {
		k = max(k, n.tune)
	}
	if !a.pair || k < 0 || l.w.tension == tensionLow || l.mood(i) != written {
		return 0, false
	}
	return l.w.s.passes(&l.w.ps[i], k)
}

// passes reports whether tune note k, inside the stretch of p, is an odd step
// of the chord's scale between two even ones, a step away from each, with the
// time for a chord; and the diminished chord of the odd steps (harmony.md 1.4,
// 3.4 rule 2). Not over dominants, whose odd steps lack the tritone, and only
// in sheets that go so far.
func (s *score) passes(p *point, k int) (theory.PCSet, bool) {
	c := s.chords[p.chord].chord
	if !s.coloured || c.Kind != theory.Major && c.Kind != theory.Minor || k < 1 || k+1 >= len(s.tune) {
		return 0, false
	}
	before, here, after := &s.tune[k-1], &s.tune[k], &s.tune[k+1]
	if before.at < p.at || after.at > p.end || here.end-here.at < s.bars[s.barAt(here.at)].Beat || s.seconds(here.at, after.at) < 0.3 ||
		absInt(here.midi-before.midi) > 2 || absInt(here.midi-after.midi) > 2 {
		return 0, false
	}
	use := theory.FirstChoice(c)
	if use.Dim || use.Degrees == "" {
		return 0, false
	}
	even, odd := use.Scale.Six(), use.Scale.Dim()
	if !even.Has(before.midi) || !odd.Has(here.midi) || !even.Has(after.midi) {
		return 0, false
	}
	return odd, true
}
