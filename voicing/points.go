package voicing

// A point is a place in the tune where harmony is due: a change of chord, a
// long note, a strong beat long after the last point. The stretch up to the
// next point is its own: the bare notes of the tune in it, what answers under
// long notes, and the hand's way to the next point.
type point struct {
	at, end Tick
	chord   int  // index into score.chords, never N.C.
	tune    int  // the tune note the grip is built under, -1 for none
	held    bool // that note started before at
	late    bool // that note starts after at: the bass comes first
	change  bool // the chord changes here
	section bool
	cadence bool // the last point of a phrase
	final   bool // the last point of the tune
	light   bool // hardly any time: few notes
	phrase  int

	texture texture
}

// A texture lays a grip out in time: when bass and inner voices come, and
// which free moments of the stretch are answered. Times are absolute.
type texture struct {
	bassAt  Tick
	innerAt Tick
	answers []answer
	split   Tick // the chord may wait for the tune's next beat; 0 when it may not
	// rootLast says that a grip on the root keeps its bass for the last word:
	// it takes the place of the last answer.
	rootLast bool
	name     string
}

// An answer is one more attack inside a stretch.
type answer struct {
	at   Tick
	bass bool // the bass moves; else an inner voice
	pair bool // two inner voices, a stab
	line bool // under a long note: a voice that steps and returns
	root bool // the bass is the root: it has not sounded yet
	// waited says that it comes only if the chord did not come before.
	waited bool
}

// points finds where harmony is due.
func (s *score) points() []point {
	var ps []point
	have := func(t Tick) bool { return len(ps) > 0 && ps[len(ps)-1].at == t }
	add := func(t Tick, change bool) {
		c := s.chordAt(t)
		if c < 0 || s.chords[c].chord.NoChord || t >= s.end || have(t) {
			return
		}
		p := point{at: t, chord: c, tune: -1, change: change}
		ps = append(ps, p)
	}
	for ci, c := range s.chords {
		if c.chord.NoChord {
			continue
		}
		change := ci == 0 || s.chords[ci-1].chord != c.chord
		again := !change && len(ps) > 0 && s.start[s.barAt(c.at)] == c.at && c.at-ps[len(ps)-1].at >= 2*s.bars[s.barAt(c.at)].Beat
		if change || again { // a symbol written again at a bar line asks for its bass again
			add(c.at, change)
		}
		// long notes and strong beats inside the chord
		for t := c.at; t < c.end; {
			next := s.nextDue(t, c.at, c.end, ps)
			if next < 0 {
				break
			}
			add(next, false)
			t = next + 1
		}
	}
	phrase := 0
	for i := range ps {
		p := &ps[i]
		p.end = s.end
		if i+1 < len(ps) {
			p.end = ps[i+1].at
		}
		// a stretch ends where N.C. begins
		if c := s.chords[p.chord]; c.end < p.end && p.chord+1 < len(s.chords) && s.chords[p.chord+1].chord.NoChord {
			p.end = c.end
		}
		p.section = s.section[p.at]
		for b := s.barAt(p.at); phrase+1 < len(s.phrase) && s.phrase[phrase].To <= b; {
			phrase++
		}
		p.phrase = phrase
	}
	for i := range ps {
		p := &ps[i]
		p.final = i == len(ps)-1
		p.cadence = p.final || ps[i+1].phrase != p.phrase
		s.fitTune(p)
		if i > 0 && s.seconds(ps[i-1].at, p.at) < 0.30 || s.seconds(p.at, p.end) < 0.30 {
			p.light = true
		}
	}
	return ps
}

// nextDue is the next place after t, inside a chord, that wants harmony though
// the chord stays: a note of two beats and more, or a strong beat four beats
// after the last point. -1 when there is none.
func (s *score) nextDue(t, from, to Tick, ps []point) Tick {
	last := from
	if len(ps) > 0 {
		last = ps[len(ps)-1].at
	}
	for i := s.tuneAt(t); i < len(s.tune); i++ {
		if i < 0 {
			continue
		}
		n := s.tune[i]
		if n.at < t || n.at <= last {
			continue
		}
		if n.at >= to {
			break
		}
		beat := s.bars[s.barAt(n.at)].Beat
		if n.end-n.at >= 2*beat && n.at-last >= 2*beat && s.onBeat(n.at) {
			return n.at
		}
		if n.at-last >= 4*beat && s.strong(n.at) {
			return n.at
		}
	}
	// rests and very long notes: bar lines
	for _, b := range s.bars[s.barAt(t):] {
		if b.At >= to {
			break
		}
		if b.At >= t && b.At > last && b.At-last >= 4*b.Beat {
			return b.At
		}
	}
	return -1
}

// fitTune finds the tune note that belongs to a point.
func (s *score) fitTune(p *point) {
	i := s.tuneAt(p.at)
	beat := s.bars[s.barAt(p.at)].Beat
	switch {
	case i >= 0 && s.tune[i].at == p.at:
		p.tune = i
	case i >= 0 && s.tune[i].end > p.at+beat/4:
		p.tune, p.held = i, true
	case i+1 < len(s.tune) && s.tune[i+1].at <= p.at+beat && s.tune[i+1].at < p.end:
		p.tune, p.late = i+1, true
	}
}

// nextOnset is the first tune onset after t, or the end.
func (s *score) nextOnset(t Tick) Tick {
	i := s.tuneAt(t) + 1
	if i < len(s.tune) {
		return s.tune[i].at
	}
	return s.end
}

// A figure is how a phrase lays its grips out, in beats after the point (in
// quarters where the beat is longer). A figure lasts for a phrase and changes
// with the next (harmony.md 5.2, and the models): that is what keeps a texture
// from being restless. bass and inner say which moments of a long note are
// answered; in the models that is three attacks in four beats, never the same
// note twice.
type figure struct {
	delay float64 // inner voices after the bass
	bass  []float64
	inner []float64
}

// figuresFor are the figures of a metre, to be taken in turn.
func figuresFor(b Bar) []figure {
	if compound(b) {
		return []figure{
			{delay: 2. / 3, bass: []float64{1}, inner: []float64{5. / 3}},
			{delay: 0, bass: []float64{1}, inner: []float64{2. / 3, 5. / 3}},
			{delay: 1, inner: []float64{5. / 3}},
			{delay: 2. / 3, bass: []float64{1}},
		}
	}
	if b.Metre.Num == 3 {
		return []figure{
			{delay: 1, inner: []float64{2}},
			{delay: 0, inner: []float64{1}, bass: []float64{2}},
			{delay: 1, bass: []float64{2}},
			{delay: 1.5, bass: []float64{2}},
		}
	}
	return []figure{
		{delay: 1, inner: []float64{2}, bass: []float64{3}},
		{delay: 0, inner: []float64{1.5, 2.5}, bass: []float64{2, 3}},
		{delay: 0.5, bass: []float64{2}, inner: []float64{2.5}},
		{delay: 1.5, bass: []float64{2}, inner: []float64{3}},
	}
}

func compound(b Bar) bool { return b.Beat*2 == 3*PerQuarter || b.Beat == 3*PerQuarter }

// plan lays a point's grip out in time. mayWait allows the chord to come with
// the tune's next beat.
func (s *score) plan(p *point, mayWait bool) {
	bar := s.bars[s.barAt(p.at)]
	beat := bar.Beat
	figs := figuresFor(bar)
	k := p.phrase
	if p.phrase < len(s.phrase) && (s.barAt(p.at)-s.phrase[p.phrase].From)%4 == 3 {
		k++ // the last bar of a phrase already looks to the next
	}
	fig := figs[k%len(figs)]
	tx := texture{bassAt: p.at, innerAt: p.at, name: "together"}
	half := beat / 2
	if compound(bar) {
		half = beat / 3
	}
	apart := max(half/2, s.ticksFor(p.at, 0.14))
	// room under the tune note that the grip is built on
	next := s.nextOnset(p.at)
	if p.late {
		tx.innerAt = s.tune[p.tune].at
		tx.name = "bass first, tune and chord after"
	} else {
		room := min(next, p.end) - p.at
		var delays []float64
		switch {
		case p.final && room >= 2*beat:
			delays = nil
		case p.cadence:
			delays = []float64{0}
		default:
			delays = []float64{fig.delay, 1, 0.5}
			if fig.delay == 0 || p.end-p.at <= beat {
				delays = nil
			}
			if p.held && fig.delay == 0 {
				delays = []float64{0.5}
			}
		}
		// a chord that waits longer than a beat is heard too late where it is
		// short, or where the beat is slow
		slow := s.seconds(p.at, p.at+unit(bar)) > 0.75
		for _, d := range delays {
			off := Tick(d*float64(unit(bar)) + 0.5)
			if off > beat && (slow || p.end-p.at < off+beat) {
				continue
			}
			if compound(bar) && d == 0.5 {
				off = 2 * beat / 3
			}
			if off > 0 && off+apart <= room && off <= 2*beat && s.seconds(p.at, p.at+off) >= 0.2 {
				tx.innerAt = p.at + off
				tx.name = "bass and tune, chord after"
				if p.held || p.tune < 0 {
					tx.name = "bass first, chord after"
				}
				break
			}
		}
	}
	if p.final {
		s.planEnd(p, &tx)
		p.texture = tx
		return
	}
	s.answer(p, &tx, fig, bar, apart, half, mayWait)
	p.texture = tx
}

// unit is what a figure counts in: the beat, or the quarter where the beat is a
// half and a beat's delay would lose the harmony.
func unit(b Bar) Tick {
	if !compound(b) && b.Beat > PerQuarter {
		return PerQuarter
	}
	return b.Beat
}

// answer fills the free moments of a stretch: under a long note what the
// figure says; elsewhere the beats that the tune does not strike, bass and
// inner voices in turn.
func (s *score) answer(p *point, tx *texture, fig figure, bar Bar, apart, half Tick, mayWait bool) {
	beat := bar.Beat
	clear := func(t Tick) bool {
		if t == tx.bassAt || t == tx.innerAt {
			return false
		}
		i := s.tuneAt(t)
		return (i < 0 || t-s.tune[i].at >= apart) && s.nextOnset(t)-t >= apart
	}
	cycle := 4 * beat // how long the figure is
	if !compound(bar) && bar.Metre.Num == 3 {
		cycle = bar.Len
	}
	wants := func(list []float64, t Tick) bool {
		from := (t - p.at) % cycle
		for _, d := range list {
			if Tick(d*float64(unit(bar))+0.5) == from {
				return true
			}
		}
		return false
	}
	slow := s.seconds(0, PerQuarter) > 0.75
	var out []answer
	inner := 0
	lastInner := tx.innerAt >= tx.bassAt
	last := max(tx.innerAt, tx.bassAt)
	add := func(a answer) {
		out = append(out, a)
		last = a.at
		lastInner = !a.bass
		if !a.bass {
			inner++
		}
	}
	for t := p.at + half; t < p.end; t += half {
		if t <= max(tx.innerAt, tx.bassAt) && !s.onBeat(t) || t-last < apart {
			continue
		}
		onBeat := s.onBeat(t)
		i := s.tuneAt(t)
		hold := i >= 0 && s.tune[i].end > t && s.tune[i].end-max(s.tune[i].at, p.at) >= 3*beat
		switch {
		case hold && clear(t):
			// the last beat before another chord is the bass's: a step into the next root
			into := onBeat && t+beat >= p.end && !p.cadence && !p.final
			bass := wants(fig.bass, t) || into || cycle == bar.Len && s.start[s.barAt(t)] == t // a waltz stands on its one
			if !bass && !wants(fig.inner, t) || !onBeat && s.phraseRest(t, p) || slow && t-last < beat {
				continue
			}
			add(answer{at: t, bass: bass, line: true})
		case hold:
		case onBeat && i > 0 && s.tune[i].at == t && s.passing(p, i):
			add(answer{at: t, pair: true}) // the chord steps with the tune
		case onBeat && clear(t):
			if slow && t-last <= beat && t+beat < p.end {
				continue // at slow tempi a beat of ringing is a breath
			}
			bass := wants(fig.bass, t) || !wants(fig.inner, t) && (s.strong(t) || lastInner)
			if t+beat >= p.end && p.end-p.at >= 3*beat && !p.cadence {
				bass = true // the step into the next root
			}
			add(answer{at: t, bass: bass, pair: !bass && inner == 0})
		case !onBeat && clear(t) && wants(fig.inner, t) && !slow && !s.phraseRest(t, p):
			add(answer{at: t, pair: inner == 0})
		case (onBeat && (compound(bar) || t-p.at < 2*PerQuarter) || unit(bar) < beat && t-p.at == unit(bar)) &&
			i >= 0 && s.tune[i].at == t && (!s.strong(t) || bar.Len <= 2*beat) && inner == 0 && s.seconds(p.at, t) > 0.25 &&
			tx.innerAt == p.at && t-p.at <= 2*beat && fig.delay > 0:
			// no room for the chord to come after the bass: it comes with the tune's next beat
			may := !p.light && t-p.at <= beat && (mayWait || compound(bar))
			short := p.end-p.at <= 2*beat && s.seconds(0, PerQuarter) < 0.5
			if may {
				tx.split = t
			}
			if may || !short {
				add(answer{at: t, pair: s.tune[i].end-t >= beat, waited: short})
			}
		case compound(bar) && t == p.at+2*half && i >= 0 && s.tune[i].at == t && p.end-p.at <= beat && mayWait && !p.light &&
			tx.innerAt == p.at && fig.delay > 0 && s.seconds(p.at, t) > 0.25:
			// a chord for one beat of a jig: the bass takes its first eighth, the rest comes with the third
			tx.split = t
			add(answer{at: t, pair: s.seconds(t, p.end) >= 0.3, waited: true})
		case onBeat && i >= 0 && s.tune[i].at == t && s.strong(t) && t-p.at >= 2*beat &&
			(s.tune[i].end-t >= beat || bar.Len <= 2*beat && t-last >= beat):
			// the tune's own strong beat inside a long chord: the fifth below it;
			// in dance metres every bar has its bass
			add(answer{at: t, bass: true})
		}
	}
	tx.answers = out
}

// passing reports whether tune note k passes through the diminished steps.
func (s *score) passing(p *point, k int) bool {
	_, ok := s.passes(p, k)
	return ok
}

// phraseRest keeps the last beat before a new phrase free of off-beats.
func (s *score) phraseRest(t Tick, p *point) bool {
	return p.cadence && p.end-t < s.bars[s.barAt(t)].Beat
}

// settle fits the texture of a point to the grip that was chosen for it: a bass
// that is not the root cannot be the last word, and where there is no bass the
// chord itself takes the beat that nothing else strikes.
func (s *score) settle(p *point, g *grip) {
	tx := &p.texture
	b, ok := g.bass()
	if tx.rootLast && ok && int(b.midi)%12 == s.chords[p.chord].chord.RootPC() {
		tx.bassAt, tx.name = tx.answers[len(tx.answers)-1].at, "together, the low root last"
		tx.answers = tx.answers[:len(tx.answers)-1]
	}
	if !ok && (p.change || p.tune < 0 || p.held || p.late) && tx.innerAt > p.at && s.under(p.at, g) {
		tx.innerAt, tx.name = p.at, "chord on the beat"
	}
}

// under reports whether the inner voices of a grip lie under the note of the
// tune that still sounds at t: a late point is gripped for the one after it.
func (s *score) under(t Tick, g *grip) bool {
	over, inner := s.tuneOver(t), g.inner()
	return over == 0 || len(inner) == 0 || int(inner[0].midi) < over-1
}

// falls reports whether the bass comes home by a fifth. Then the ear waits for
// the root and it may come last; a bass that comes by step lands at once.
func (s *score) falls(p *point) bool {
	if p.chord == 0 || s.chords[p.chord].chord.Slash {
		return false
	}
	before := s.chords[p.chord-1].chord
	return !before.Slash && fallsFifth(before, s.chords[p.chord].chord)
}

// planEnd closes: the chord with the tune, its inner voice once more, then the
// low root alone, and nothing after it.
func (s *score) planEnd(p *point, tx *texture) {
	beat := s.bars[s.barAt(p.at)].Beat
	from := p.at
	if p.tune >= 0 && p.late {
		from = s.tune[p.tune].at
	}
	last := from
	if k := len(s.tune); k > 0 && s.tune[k-1].at > from {
		last = s.tune[k-1].at
	}
	room := s.end - last
	switch {
	case room >= 3*beat:
		tx.answers = []answer{{at: last + beat, line: true}, {at: last + 2*beat, bass: true, root: true}}
	case room >= 2*beat:
		tx.answers = []answer{{at: last + beat, bass: true, root: true}}
	}
	if p.tune >= 0 && !p.held && last == from && last == p.at && room >= 2*beat && s.falls(p) {
		// nothing but the tune's last note here: the grip's own root is the last word
		tx.rootLast = true
	}
	// beats before the last tune note that nothing strikes
	var before []answer
	for t := p.at + beat; t < last; t += beat {
		i := s.tuneAt(t)
		if s.onBeat(t) && t != tx.innerAt && (i < 0 || s.tune[i].at != t) && s.nextOnset(t)-t >= beat/2 {
			before = append(before, answer{at: t, bass: s.strong(t)})
		}
	}
	tx.answers = append(before, tx.answers...)
	tx.name = "together"
	if k := len(tx.answers); k > 0 && tx.answers[k-1].root {
		tx.name = "together, the root again last"
	}
}
