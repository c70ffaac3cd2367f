package voicing

import (
	"slices"

	"thumbline/theory"
)

// reply finds the notes for a free moment: a bass note or one or two inner
// voices that the hand can add while the tune goes on ringing. now is what is
// struck at that time anyway; after is what comes next. When nothing fits, the
// moment stays free.
func (l *layer) reply(i int, a answer, now []strike, after []strike) []strike {
	w := l.w
	wt := &w.taste.Answer
	p := &w.ps[i]
	l.now = now
	var best []strike
	bestCost := 1e9
	try := func(ns []strike, cost float64) {
		cost += (w.price + w.taste.Texture.Note) * float64(len(ns))
		if cost >= bestCost {
			return
		}
		c, ok := l.fits(ns, now, after)
		if !ok || cost+c >= bestCost {
			return
		}
		best, bestCost = append([]strike(nil), ns...), cost+c
	}
	if a.bass {
		l.bassReplies(i, a, try)
		if len(now) == 0 && !p.final {
			// an inner voice rather than a poor bass note
			l.innerReplies(i, answer{at: a.at}, func(ns []strike, cost float64) { try(ns, cost+wt.InnerForBass) })
		}
	} else {
		l.innerReplies(i, a, try)
		if best == nil && len(now) == 0 {
			l.bassReplies(i, a, try)
		}
	}
	if bestCost > wt.Dearest { // rather a breath
		return now
	}
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
		if d := absInt(int(x.midi) - int(n.midi)); x.voice == Inner && x.end > n.at && x.str != n.str && d >= 1 && d <= 2 &&
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

// fits asks whether ns can be struck now: held in one hand together with the
// tune and whatever is struck now, under the tune, without a clash, and with
// time to get there and away. The cost is what ringing it takes away.
func (l *layer) fits(ns, now, after []strike) (float64, bool) {
	wt := &l.w.taste.Answer
	var buf [16]strike
	all := append(append(buf[:0], now...), ns...)
	t := ns[0].at
	tune, cost := 0, 0.0
	for _, n := range now {
		if n.tune >= 0 {
			tune = int(n.midi)
		}
	}
	for _, x := range l.live {
		if x.tune >= 0 && x.end > t && tune == 0 {
			tune = int(x.midi)
		}
	}
	for _, n := range ns {
		if tune > 0 && (int(n.midi) >= tune || tune-int(n.midi) == 1 || tune-int(n.midi) == 13) {
			return 0, false
		}
		if tune > 0 && (tune-int(n.midi))%12 == 0 && n.voice == Inner {
			cost += wt.TuneOctave // an octave under the tune says nothing new
		}
	}
	if len(all) >= 3 && (l.hollow(all) || l.octaves(all)) {
		return 0, false
	}
	if l.clash(all) || !l.together(all) || !l.struck(all) || l.tooSoon(l.before, all) || l.tooSoon(all, coming(after)) {
		return 0, false
	}
	keep := l.keep(all)
	stays := false
	for k, x := range l.live {
		if x.end <= t {
			continue
		}
		if keep&(1<<k) != 0 {
			stays = stays || x.fret > 0
			continue
		}
		switch {
		case x.tune >= 0 && x.end-t > PerQuarter/8:
			return 0, false // the tune rings on
		case x.voice == Bass && ns[0].voice == Inner:
			cost += wt.TakesBass
		case x.voice == Bass:
			cost += wt.CutsBass
		default:
			cost += wt.CutsInner
		}
	}
	pos, fretted := placeOf(ns)
	if !fretted {
		return cost, true
	}
	s := l.w.s
	if l.lastPos > 0 && !stays {
		if d := absInt(int(pos) - int(l.lastPos)); d > 2 {
			if s.seconds(l.lastAt, t) < shiftTime(d)+0.05 {
				return 0, false
			}
			cost += wt.Shift + wt.ShiftFret*float64(d-2)
		}
	}
	// the way to what comes next
	next := Tick(-1)
	var nbuf [8]strike
	nextNotes := nbuf[:0]
	for _, x := range after {
		if x.fret == 0 {
			continue
		}
		if next < 0 {
			next = x.at
		}
		if x.at != next {
			break
		}
		nextNotes = append(nextNotes, x)
	}
	if next >= 0 {
		np, _ := placeOf(nextNotes)
		dt := s.seconds(t, next)
		if d := absInt(int(np) - int(pos)); d > 2 {
			if dt < shiftTime(d)+0.08 {
				return 0, false
			}
			cost += wt.Onward + wt.OnwardFret*float64(d-2)
			if dt < 2.2*shiftTime(d) {
				cost += wt.Hurried // it would hardly ring
			}
		}
		for _, x := range nextNotes {
			for _, n := range ns {
				if n.finger == x.finger && (n.str != x.str || n.fret != x.fret) && n.fret > 0 && dt < 0.25 {
					cost += wt.SameFinger
				}
			}
		}
	}
	return cost, true
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

// octaves reports whether tune and bass would move in octaves from the last
// full attack to this one.
func (l *layer) octaves(all []strike) bool {
	lo, hi := outer(all)
	return l.full[0] != 0 && (hi-lo)%12 == 0 && (l.full[1]-l.full[0])%12 == 0 && lo != l.full[0]
}

// coming is the first attack of what is due.
func coming(due []strike) []strike {
	n := 0
	for n < len(due) && due[n].at == due[0].at {
		n++
	}
	return due[:n]
}

// A bassLine is what a bass that answers stands between, as pitches; 0 where
// there is none.
type bassLine struct {
	last  int // the bass struck last
	after int // the next grip's
	next  int // the same where it comes within a beat
	soon  int // the same where this is the last bass before it, a beat sooner: then only a note of the chord leads there
}

// bassLine is the line that a bass at point i, for answer a, is part of.
func (l *layer) bassLine(i int, a answer) bassLine {
	w, p := l.w, &l.w.ps[i]
	beat := w.s.bars[w.s.barAt(a.at)].Beat
	b := bassLine{last: l.lastBass(), after: l.bassAfter(i)}
	following := &w.ps[min(i+1, len(w.ps)-1)]
	if p.end-a.at <= beat && following.texture.bassAt <= p.end {
		b.next = b.after // a last root that is held back takes no approach
	}
	if b.next == 0 && b.after != b.last && p.end-a.at <= 2*beat && following.change && l.follows(i, a.at, true) < 0 {
		b.soon = b.after
	}
	return b
}

// bassReplies tries bass notes: the fifth after the root, a step into the next
// root on the last beat, the root again at the end.
func (l *layer) bassReplies(i int, a answer, try func([]strike, float64)) {
	w := l.w
	pal := &l.pals[i]
	line := l.bassLine(i, a)
	sounds, taken := l.sounding(a.at), l.justStruck(a.at, Inner)
	fill := l.fills(a.at)
	ns := make([]strike, 1) // what is tried: nobody keeps it
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
				ns[0] = strike{tone: tone{st.String, st.Fret, f, int16(midi), Bass}, at: a.at, end: until,
					point: i, fill: fill, tune: -1}
				try(ns, cost+fc)
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
	case pc != pal.bass && s.writtenLine(p.chord):
		return 0, false // the sheet has a line of its own there
	case next > 0 && next != last && absInt(midi-next) >= 1 && absInt(midi-next) <= 2 && a.at-p.at >= beat &&
		(w.ps[i+1].change || pal.cost[pc] == 0 && deg != 1 || between(last, midi, next)):
		// the approach: a half step, or a step of the scale or chord
		if absInt(midi-next) == 2 && !toned && !s.keyPCs[s.barAt(a.at)].Has(pc) {
			return 0, false
		}
		over := s.tuneOver(a.at)
		if d := absInt(over-midi) % 12; !toned && over > 0 && (d == 1 || d == 11) {
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
		return 0, false
	}
	if last == midi && !p.final {
		cost += wt.BassAgain
	}
	if pc != pal.bass && !p.final {
		if absInt(last-midi) == 12 {
			cost += wt.BassOctave // the same again, only lower or higher
		}
		if k := s.tuneAt(a.at); k >= 0 && s.tune[k].at == a.at && (s.tune[k].midi-midi)%12 == 0 {
			cost += wt.BassTune
		}
		if midi == line.after && w.ps[i+1].change && p.end-a.at <= 2*beat {
			cost += wt.BassEarly // it would take the news from the next chord
		}
	}
	if a.root {
		if pc != pal.bass {
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
	if d := absInt(midi - line.soon); line.soon > 0 && d >= 1 && d <= 2 && pal.cost[pc] == 0 {
		cost -= wt.LeadsOn / float64(d)
	}
	return cost, true
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
	k, line := s.tuneAt(t), highestInner+5
	if k >= 0 {
		line = min(line, s.tune[k].midi)
	}
	if k+1 < len(s.tune) {
		line = min(line, s.tune[k+1].midi)
	}
	return line - 5
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

// lastBass is the pitch of the bass struck last, 0 when there was none.
func (l *layer) lastBass() int {
	best, at := 0, Tick(-1)
	l.recent(func(x *strike) {
		if x.voice == Bass && x.at > at {
			best, at = int(x.midi), x.at
		}
	})
	return best
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

// sounding is what the ear has at t with what is struck then: pitch classes.
func (l *layer) sounding(t Tick) (m theory.PCSet) {
	for k := range l.live {
		if l.live[k].end > t {
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
		}
	}
	if sp := &w.spots[i]; pal.dom && sp.resolves && sp.coloured && sp.mood != strict && w.s.chords[p.chord].end-a.at <= 2*PerQuarter &&
		pal.cost[(pal.root+1)%12] < 1 && !heard.Has(pal.root+2) && !heard.Has(pal.root+1) {
		owed[(pal.root+1)%12] = wt.OwedNine // plain first, colour after: the flat nine leads into the next chord
	}
	return owed
}

// ground is the pitch class of the bass that sounds at t, with whatever is
// struck then; -1 for none.
func (l *layer) ground(t Tick) int {
	ground := -1
	for _, x := range l.live {
		if x.voice == Bass && x.end > t {
			ground = int(x.midi) % 12
		}
	}
	for _, n := range l.now {
		if n.voice == Bass {
			ground = int(n.midi) % 12
		}
	}
	return ground
}

// ahead is the pitch that the tune is about to strike within a beat of t, where
// it is not struck by the note after one at t; 0 for none.
func (s *score) ahead(t Tick) int {
	next := s.nextOnset(t)
	if next >= s.end || next-t > s.bars[s.barAt(t)].Beat {
		return 0
	}
	if k := s.tuneAt(next); k == 0 || s.tuneAt(t) != k-1 || s.tune[k-1].at != t {
		return s.tune[k].midi
	}
	return 0
}

// innerReplies tries inner voices: one that steps to a neighbour and back, the
// same again, or two of the grip as a stab.
func (l *layer) innerReplies(i int, a answer, try func([]strike, float64)) {
	w := l.w
	wt := &w.taste.Answer
	p := &w.ps[i]
	pal := &l.pals[i]
	g := &l.chosen[i]
	ref := l.lastInner()
	if len(ref) == 0 {
		for _, t := range g.inner() {
			ref = append(ref, strike{tone: t})
		}
	}
	// what sounded lately, before the last inner note
	again := [128]bool{}
	l.recent(func(x *strike) {
		if x.voice == Inner && a.at-x.at <= 4*PerQuarter && len(ref) > 0 && x.at < ref[0].at {
			again[x.midi] = true
		}
	})
	borrow := l.borrows(i, a, ref)
	passing, stepped := l.passing(i, a)
	base := func(midi int) float64 { // distance to the line that is there
		if len(ref) == 0 {
			return wt.LineNew
		}
		d := 99
		for _, r := range ref {
			d = min(d, absInt(midi-int(r.midi)))
		}
		switch {
		case d == 0 && again[midi]:
			return wt.LineBack
		case d == 0:
			return wt.LineSame
		case d <= 2:
			return 0 // a step: the measure of the rest
		case d <= 4:
			return wt.LineThird
		}
		return wt.LineLeap + wt.LineWide*float64(d)
	}
	heard := l.heardSince(p.at)
	for _, n := range l.now {
		heard = heard.With(int(n.midi))
	}
	owed := l.owed(i, a, heard)
	fill := l.fills(a.at)
	ground, ahead := l.ground(a.at), l.w.s.ahead(a.at)
	// what is left now stays left
	stays := !stepped && pal.chord.Kind != theory.Diminished && l.follows(i, a.at, false) < 0
	left, keeps := wt.GuideLeft, pal.guides
	if p.final {
		left *= 3 // the last chord keeps its third, and the colour that it closes with
		if w.s.coloured {
			keeps = append(slices.Clone(keeps), (pal.root+2)%12, (pal.root+9)%12, (pal.root+11)%12)
		}
	}
	rest := l.restLine(a.at)
	var singles []strike
	var costs []float64
	if a.pair {
		singles, costs = make([]strike, 0, 64), make([]float64, 0, 64)
	}
	ns := make([]strike, 2) // what is tried: nobody keeps it
	sounds, taken := l.sounding(a.at), l.justStruck(a.at, Bass)
	for midi := lowestInner; midi <= highestInner; midi++ {
		pc := midi % 12
		if pal.colours(sounds.With(pc)) && !pal.colours(sounds) {
			continue
		}
		until := l.ringEnd(i, tone{midi: int16(midi), voice: Inner})
		colour := pal.cost[pc]
		if back, ok := borrow[midi]; ok && colour > wt.Borrowed {
			colour, until = wt.Borrowed, min(until, back)
			if c := w.s.chords[p.chord].chord; c.Kind == theory.Major && pc == (pal.root+5)%12 {
				colour = wt.BorrowedFourth // it pulls away from a chord that is at rest
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
		cost := base(midi) + wt.Colour*colour - owed[pc]
		if pc == pal.root {
			cost += wt.Root
		}
		if pc == ground {
			cost += wt.BassDoubled
		}
		if taken[midi] {
			cost += wt.OtherVoice
		}
		if midi == ahead {
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
		for _, st := range w.neck.Stops(midi) {
			if st.String == 1 || int(st.String) > w.neck.Strings()-1 {
				continue
			}
			l.eachFinger(st, func(f int8, fc float64) {
				if f == 0 && l.lastPos >= highPlace {
					fc += w.taste.HighOpen
				}
				// what the hand already holds is nearest
				for _, t := range g.inner() {
					if t.str == st.String && t.fret == st.Fret && t.finger == f {
						fc -= wt.InHand
					}
				}
				x := strike{tone: tone{st.String, st.Fret, f, int16(midi), Inner}, at: a.at,
					end: until, point: i, fill: fill, tune: -1}
				if stays && owed[pc] == 0 && l.givesUp(x, keeps) {
					fc += left // and nothing brings it back
				}
				if a.pair {
					singles, costs = append(singles, x), append(costs, cost+fc)
				} else {
					ns[0] = x
					try(ns[:1], cost+fc)
				}
			})
		}
	}
	if !a.pair {
		return
	}
	// a stab is of notes that could each be struck alone
	k := 0
	for x := range singles {
		if _, ok := l.fits(singles[x:x+1], l.now, nil); ok {
			singles[k], costs[k] = singles[x], costs[x]
			k++
		}
	}
	singles, costs = singles[:k], costs[:k]
	for x := range singles {
		for y := range singles {
			a1, b1 := &singles[x], &singles[y]
			d := int(a1.midi) - int(b1.midi)
			if d < 3 || d > 10 || a1.str >= b1.str || a1.finger == b1.finger && a1.finger > 0 && a1.fret != b1.fret {
				continue
			}
			ns[0], ns[1] = *a1, *b1
			try(ns, costs[x]+costs[y]-wt.Pair)
		}
	}
	for x := range singles {
		try(singles[x:x+1], costs[x]+wt.Single)
	}
}

// borrows lists the neighbour steps that an inner voice may borrow under a long
// note, with the time at which it must be back: the scale step next to its own,
// as long as another inner answer follows (harmony.md 2.1).
func (l *layer) borrows(i int, a answer, ref []strike) map[int]Tick {
	if !a.line {
		return nil
	}
	back := l.follows(i, a.at, false)
	uses := l.w.uses(i, l.mood(i))
	if back < 0 || len(uses) == 0 {
		return nil
	}
	sc := uses[0].Scale
	key := l.w.s.keyPCs[l.w.s.barAt(a.at)]
	out := map[int]Tick{}
	for _, r := range ref {
		if step, ok := sc.StepOf(int(r.midi) % 12); ok {
			home := sc.Semitone(step)
			for _, n := range []int{step - 1, step + 1} {
				if !l.w.s.coloured && !key.Has(sc.Root.PC()+sc.Semitone(n)) {
					continue // a plain sheet stays in its key
				}
				out[int(r.midi)+sc.Semitone(n)-home] = back
			}
		}
	}
	return out
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
