package voicing

import "slices"

// A texture lays a grip out in time: when bass and inner voices come, and
// which free moments of the stretch are answered. Times are absolute.
type texture struct {
	bassAt  Tick
	innerAt Tick
	answers []answer
	split   Tick // the chord comes with the tune's next beat, if it can wait; 0 when it may not
	// rootLast says that a grip on the root keeps its bass for the last word:
	// it takes the place of the last answer.
	rootLast bool
	alone    bool   // the tune alone: what sounds rings on, the grip is not struck
	bare     bool   // with bass and drums: for the tune alone, or for nothing, with what answers it
	chords   []Tick // where it comps: when the chord is struck again
	name     string
	figure   int     // index of the figure it follows, -1 for none
	cost     float64 // what it costs by itself
	adds     int     // how many notes its answers add, as planned
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
	due    bool // with bass and drums: a long note would be left to die, whatever the density
}

// count sets how many notes the answers add.
func (tx *texture) count() {
	tx.adds = 0
	for _, a := range tx.answers {
		switch {
		case a.due:
		case a.pair:
			tx.adds += 2
		default:
			tx.adds++
		}
	}
}

// same reports whether two textures strike the same voices at the same times.
func (tx *texture) same(o *texture) bool {
	return tx.bassAt == o.bassAt && tx.innerAt == o.innerAt && tx.split == o.split && tx.alone == o.alone && tx.bare == o.bare && slices.Equal(tx.answers, o.answers) && slices.Equal(tx.chords, o.chords)
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

// bossa are the figures over an even thumb on one and three, the chords off
// its beats (common practice, no source).
var bossa = []figure{
	{delay: 0, bass: []float64{2}, inner: []float64{1.5, 3}},
	{delay: 0.5, bass: []float64{2}, inner: []float64{1.5, 3.5}},
	{delay: 1, bass: []float64{2}, inner: []float64{2.5}},
	{delay: 0, bass: []float64{2}, inner: []float64{1, 2.5}},
}

// figuresFor are the figures of a metre and feel.
func (s *score) figuresFor(b Bar) []figure {
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
	if s.bossa && b.Beat == PerQuarter {
		return bossa
	}
	return []figure{
		{delay: 1, inner: []float64{2}, bass: []float64{3}},
		{delay: 0, inner: []float64{1.5, 2.5}, bass: []float64{2, 3}},
		{delay: 0.5, bass: []float64{2}, inner: []float64{2.5}},
		{delay: 1.5, bass: []float64{1, 2}, inner: []float64{3}},
		{delay: 1, bass: []float64{1, 3}, inner: []float64{3}},
	}
}

func compound(b Bar) bool { return b.Beat*2 == 3*PerQuarter || b.Beat == 3*PerQuarter }

// unit is what a figure counts in: the beat, or the quarter where the beat is a
// half and a beat's delay would lose the harmony.
func unit(b Bar) Tick {
	if !compound(b) && b.Beat > PerQuarter {
		return PerQuarter
	}
	return b.Beat
}

// halfUnit is half of unit, a third of it in compound metre.
func halfUnit(b Bar) Tick {
	if compound(b) {
		return b.Beat / 3
	}
	return unit(b) / 2
}

// half is half a beat, a third of it in compound metre.
func half(b Bar) Tick {
	if compound(b) {
		return b.Beat / 3
	}
	return b.Beat / 2
}

// A layout makes the textures of one point.
type layout struct {
	s     *score
	p     *point
	bar   Bar
	fig   figure
	line  []float64 // with bass and drums: moments of the inner line under a long note
	level Density   // how many of the free moments are answered
	may   bool      // the chord may come with the tune's next beat
	half  Tick      // half a beat, a third of it in compound metre
	apart Tick      // closer to a note of the tune than this is a flam
	slow  bool      // a beat of ringing is a breath

	tx        texture
	inner     int  // inner answers so far
	last      Tick // the last attack
	lastInner bool
	misfit    bool // the figure's own delay has no room here
}

// layouts lists the textures that the grip of a point may be laid out in: each
// figure of the metre, with the chord at once or after its bass, and more or
// fewer answers as density asks.
func (s *score) layouts(p *point, d Density, t *TextureTaste) []texture {
	bar := s.bars[s.barAt(p.at)]
	l := layout{s: s, p: p, bar: bar, half: half(bar), slow: s.seconds(0, PerQuarter) > ringingQuarter}
	l.apart = max(l.half/2, s.ticksFor(p.at, shortestRoom))
	if p.comp {
		return s.compLayout(p, d)
	}
	if p.final {
		l.tx = texture{bassAt: p.at, innerAt: p.at, figure: -1}
		if p.late || p.early {
			l.tx.innerAt = s.tune[p.tune].at
		}
		if s.trio { // nothing comes after it: the last root is the bass player's
			l.tx.name = l.trioName()
		} else {
			s.planEnd(p, &l.tx)
		}
		l.tx.count()
		return []texture{l.tx}
	}
	if s.trio {
		return l.trioLayouts(d, t)
	}
	if c := &s.chords[p.chord]; c.asked != nil && c.at == p.at && !c.asked.free {
		tx := texture{bassAt: p.at, innerAt: p.at, figure: -1, name: "together"}
		return []texture{tx} // what is asked for is struck as it is
	}
	levels := []Density{densityMedium}
	if d != densityMedium {
		levels = append(levels, d)
	}
	var out []texture
	figs := s.figuresFor(bar)
	for k, fig := range figs {
		from := len(out)
		for _, level := range levels {
			for _, may := range []bool{false, true} {
				l.fig, l.level, l.may = fig, level, may
				tx := l.lay()
				if may && tx.split == 0 || slices.ContainsFunc(out[from:], func(o texture) bool { return o.same(&tx) }) {
					continue
				}
				tx.figure = k
				tx.cost = l.weigh(t)
				if k != s.turnOf(p)%len(figs) {
					tx.cost += t.Order
				}
				out = append(out, tx)
			}
		}
	}
	if room := min(s.nextOnset(p.at), p.end) - p.at; !p.change && !s.rootsAgain(p) && !p.section && !p.late && !p.early && p.tune >= 0 && room >= 2*bar.Beat {
		// the chord is known already: its bass may wait for the beat that the tune leaves
		l.level, l.may = d, false
		for k := range figs {
			l.fig = figs[k]
			if l.fig.delay > 0 {
				continue
			}
			l.tx = texture{bassAt: p.at + bar.Beat, innerAt: p.at, name: "tune and chord, bass after"}
			if p.held {
				l.tx.name = "chord first, bass after"
			}
			l.misfit = false
			l.answer()
			l.tx.figure = k
			l.tx.cost = l.weigh(t)
			out = append(out, l.tx)
		}
	}
	breath := p.cadence && !p.change && p.end-p.at <= bar.Beat // nothing new: the phrase breathes
	if (d == densitySparse || breath) && p.tune >= 0 && !p.section && !p.late && !p.early {
		tx := texture{bassAt: p.at, innerAt: p.at, alone: true, figure: -1, name: "the tune alone"}
		switch {
		case breath:
			tx.cost = -2 * t.Breath
		case !p.change && !l.slow && s.tune[p.tune].end-p.at >= 3*bar.Beat:
			tx.cost = t.Gap * float64(s.tune[p.tune].end-p.at) / float64(bar.Beat) // a long note is not left to die
		case p.change: // the ear misses a chord the more the stronger its beat, and the longer it is
			tx.cost = t.Unsaid * min(2, float64(p.end-p.at)/float64(bar.Beat))
			if s.strong(p.at) {
				tx.cost += t.Unsaid
			}
		}
		out = append(out, tx)
	}
	for k := range out {
		out[k].count()
	}
	return out
}

// lay lays the grip out in one figure.
func (l *layout) lay() texture {
	s, p := l.s, l.p
	l.tx = texture{bassAt: p.at, innerAt: p.at, name: "together"}
	l.misfit = false
	switch {
	case p.late && p.closes && p.end-s.tune[p.tune].at <= l.bar.Beat:
		l.tx.name = "chord on the beat, the pick-up bare"
	case p.late:
		l.tx.innerAt = s.tune[p.tune].at
		l.tx.name = "bass first, tune and chord after"
	case p.early:
		l.tx.innerAt = p.from
		l.tx.name = "tune and chord early, bass on the beat"
	default:
		l.delay()
	}
	l.answer()
	return l.tx
}

// delay lets the inner voices come after the bass, as the figure has it, where
// the tune note that the grip is built on leaves the room.
func (l *layout) delay() {
	s, p := l.s, l.p
	beat := l.bar.Beat
	room := min(s.nextOnset(p.at), p.end) - p.at
	var delays []float64
	switch {
	case p.cadence, l.fig.delay == 0 && !p.held:
		return // at the cadence chords fall with the tune
	case l.fig.delay == 0:
		delays = []float64{0.5}
	case p.end-p.at > beat:
		delays = []float64{l.fig.delay, 1, 0.5}
	case l.fig.delay == 0.5 && !compound(l.bar) && s.seconds(p.at, p.at+beat) >= 0.45:
		delays = []float64{0.5}
	}
	// a chord that waits longer than a beat is heard too late where it is
	// short, or where the beat is slow
	slow := s.seconds(p.at, p.at+unit(l.bar)) > 0.75
	for k, d := range delays {
		off := Tick(d*float64(unit(l.bar)) + 0.5)
		if off > beat && (slow || p.end-p.at < off+beat) {
			continue
		}
		if compound(l.bar) && d == 0.5 {
			off = 2 * beat / 3
		}
		if off > 0 && off+l.apart <= room && off <= 2*beat && s.seconds(p.at, p.at+off) >= 0.2 {
			l.tx.innerAt = p.at + off
			l.tx.name = "bass and tune, chord after"
			if p.held || p.tune < 0 {
				l.tx.name = "bass first, chord after"
			}
			l.misfit = k > 0
			return
		}
	}
	l.misfit = true
}

// clear reports whether t is free of the tune and of the grip's own attacks.
func (l *layout) clear(t Tick) bool {
	if t == l.tx.bassAt || t == l.tx.innerAt {
		return false
	}
	i := l.s.tuneAt(t)
	return (i < 0 || t-l.s.tune[i].at >= l.apart) && l.s.nextOnset(t)-t >= l.apart
}

// wants reports whether a list of the figure names t.
func (l *layout) wants(list []float64, t Tick) bool {
	from := (t - l.p.at) % l.cycle()
	for _, d := range list {
		if Tick(d*float64(unit(l.bar))+0.5) == from {
			return true
		}
	}
	return false
}

// ends reports whether t lies in the last beat of a phrase: one voice, if any,
// is struck there, for the phrase breathes.
func (l *layout) ends(t Tick) bool { return l.p.closes && l.p.end-t <= l.bar.Beat }

// cycle is how long the figure is.
func (l *layout) cycle() Tick {
	if !compound(l.bar) && l.bar.Metre.Num == 3 {
		return l.bar.Len
	}
	return 4 * l.bar.Beat
}

func (l *layout) add(a answer) {
	l.tx.answers = append(l.tx.answers, a)
	l.last = a.at
	l.lastInner = !a.bass
	if !a.bass {
		l.inner++
	}
}

// answer fills the free moments of a stretch: under a long note what the
// figure says; elsewhere the beats that the tune does not strike, bass and
// inner voices in turn.
func (l *layout) answer() {
	l.inner = 0
	l.lastInner = l.tx.innerAt >= l.tx.bassAt
	l.last = max(l.tx.innerAt, l.tx.bassAt)
	for t := l.p.at + l.half; t < l.p.end; t += l.half {
		if t == l.tx.innerAt && t > l.tx.bassAt && l.wants(l.fig.bass, t) && !l.slow && l.level != densitySparse &&
			!l.ends(t) {
			l.tx.answers = append(l.tx.answers, answer{at: t, bass: true, line: true}) // the bass steps with the chord
			continue
		}
		if t <= max(l.tx.innerAt, l.tx.bassAt) && !l.s.onBeat(t) || t-l.last < l.apart {
			continue
		}
		i := l.s.tuneAt(t)
		switch {
		case i >= 0 && l.s.tune[i].at == t:
			l.withTune(t, i)
		case i >= 0 && l.s.tune[i].end > t && l.s.tune[i].end-max(l.s.tune[i].at, l.p.at) >= 3*l.bar.Beat:
			if l.clear(t) {
				l.underHold(t)
			}
		case l.clear(t):
			l.between(t)
		}
	}
}

// underHold answers at t under a note of three beats and more.
func (l *layout) underHold(t Tick) {
	s, p, beat := l.s, l.p, l.bar.Beat
	onBeat := s.onBeat(t)
	// the last beat before another chord is the bass's: a step into the next root
	into := onBeat && t+beat >= p.end && !p.cadence && !p.final && !s.bossa
	bass := l.wants(l.fig.bass, t) || into || l.cycle() == l.bar.Len && s.start[s.barAt(t)] == t // a waltz stands on its one
	inner := l.wants(l.fig.inner, t)
	switch {
	case l.level == densitySparse && len(l.tx.answers) > 0:
		return
	case l.level == densityFull && !(p.cadence && p.end-t <= beat):
		bass, inner = bass || onBeat && l.lastInner, inner || !onBeat || !l.lastInner
	}
	if !bass && !inner || !onBeat && s.phraseRest(t, p) || l.slow && t-l.last < beat && l.level != densityFull {
		return
	}
	if bass && inner && !into && !l.ends(t) {
		l.add(answer{at: t, bass: true, line: true})
		bass = false
	}
	l.add(answer{at: t, bass: bass, line: true, pair: !bass && l.level == densityFull && !onBeat})
}

// between answers at t where the tune rings less long, or rests.
func (l *layout) between(t Tick) {
	s, p, beat := l.s, l.p, l.bar.Beat
	sparse, full := l.level == densitySparse, l.level == densityFull
	if !s.onBeat(t) {
		if (l.wants(l.fig.inner, t) && !l.slow || full) && !sparse && !s.phraseRest(t, p) {
			l.add(answer{at: t, pair: l.inner == 0 || full})
		}
		return
	}
	if sparse && (len(l.tx.answers) > 0 || t+beat < p.end && !s.strong(t)) {
		return
	}
	if l.slow && t-l.last <= beat && t+beat < p.end && !full {
		return // at slow tempi a beat of ringing is a breath
	}
	if s.bossa && !s.strong(t) && !l.wants(l.fig.inner, t) && !full {
		return // the thumb keeps to the strong beats
	}
	bass := l.wants(l.fig.bass, t) || !l.wants(l.fig.inner, t) && (s.strong(t) || l.lastInner)
	if !s.bossa && t+beat >= p.end && p.end-p.at >= 2*beat && !p.cadence && l.tx.innerAt > p.at {
		bass = true // the step into the next root
	}
	ends := l.ends(t)
	if bass && !ends && (full && t+beat < p.end || (l.wants(l.fig.inner, t) || l.inner == 0 && l.fig.delay > 0) && !sparse && !l.slow) {
		l.add(answer{at: t, bass: true})
		bass = false
	}
	l.add(answer{at: t, bass: bass, pair: !bass && !ends && (l.inner == 0 || full)})
}

// withTune answers together with tune note i, at t.
func (l *layout) withTune(t Tick, i int) {
	s, p, beat := l.s, l.p, l.bar.Beat
	onBeat, long := s.onBeat(t), s.tune[i].end-t >= beat
	sparse, full := l.level == densitySparse, l.level == densityFull
	if s.tune[i].end-t >= 3*beat && !full {
		return // it has a grip of its own, or comes right after one
	}
	if p.cadence && p.end-t <= beat {
		return // the phrase breathes
	}
	// no room for the chord to come after the bass: it comes with the tune's next beat
	early := l.inner == 0 && l.tx.innerAt == p.at && l.fig.delay > 0 && s.seconds(p.at, t) > 0.25
	switch {
	case onBeat && i > 0 && s.passing(p, i):
		l.add(answer{at: t, pair: true}) // the chord steps with the tune
	case early && (onBeat && (compound(l.bar) || t-p.at < 2*PerQuarter) || unit(l.bar) < beat && t-p.at == unit(l.bar)) &&
		(!s.strong(t) || l.bar.Len <= 2*beat) && t-p.at <= 2*beat:
		may := !p.light && t-p.at <= beat && l.may
		short := p.end-p.at <= 2*beat && s.seconds(0, PerQuarter) < 0.5 && !full
		if may {
			l.tx.split = t
		}
		if may || !short && !sparse {
			l.add(answer{at: t, pair: long || full, waited: short || sparse})
		}
	case early && compound(l.bar) && t == p.at+2*l.half && p.end-p.at <= beat && l.may && !p.light:
		// a chord for one beat of a jig: the bass takes its first eighth, the rest comes with the third
		l.tx.split = t
		l.add(answer{at: t, pair: s.seconds(t, p.end) >= 0.3, waited: true})
	case sparse:
	case full && onBeat && t-l.last >= l.half && s.seconds(l.last, t) >= 0.2:
		if s.strong(t) || l.lastInner {
			l.add(answer{at: t, bass: true})
			l.lastInner = false
		}
		if long || !l.lastInner {
			l.add(answer{at: t, pair: true})
		}
	case full && compound(l.bar) && t-l.last >= 2*l.half && s.seconds(l.last, t) >= 0.25:
		l.add(answer{at: t, pair: true})
	case onBeat && s.strong(t) && t-p.at >= 2*beat && !s.roomyBar(t) && (long || l.bar.Len <= 2*beat && t-l.last >= beat):
		// the tune's own strong beat inside a long chord: the fifth below it;
		// in dance metres every bar has its bass
		l.add(answer{at: t, bass: true})
	}
}

// weigh is what the texture costs by itself: beats that nothing strikes, chords
// that come late, and what keeps bass, inner voices and tune apart.
func (l *layout) weigh(t *TextureTaste) float64 {
	s, p, beat := l.s, l.p, l.bar.Beat
	cost := 0.0
	if l.misfit && l.tx.split == 0 {
		cost += t.Misfit
	}
	struck := func(a, b Tick) bool { // an added attack in [a, b)
		if in(l.tx.bassAt, a, b) || in(l.tx.innerAt, a, b) {
			return true
		}
		return slices.ContainsFunc(l.tx.answers, func(x answer) bool { return in(x.at, a, b) })
	}
	if l.level == densityFull { // more under a tune that moves by itself
		for _, a := range l.tx.answers {
			if !a.waited && s.strikes(a.at) {
				cost += l.heavy(a, t)
			}
		}
	}
	roomy := false
	for b := p.at; b < p.end; b += beat {
		if !s.emptyBeat(b, beat) {
			continue
		}
		roomy = true
		switch {
		case struck(b, b+beat):
		case p.cadence && b+beat >= p.end:
			cost -= t.Breath
		case !l.slow:
			cost += t.Gap
		}
	}
	if !roomy {
		return cost
	}
	apart := func(at Tick) {
		if !s.strikes(at) {
			cost -= t.BassApart
		}
	}
	apart(l.tx.bassAt)
	for _, a := range l.tx.answers {
		if a.bass {
			apart(a.at)
		}
	}
	return cost
}

// heavy is what an answer costs that is struck together with the tune.
func (l *layout) heavy(a answer, t *TextureTaste) float64 {
	cost := t.Heavy
	if l.s.tune[l.s.tuneAt(a.at)].end-a.at < l.bar.Beat {
		cost *= 1.5
	}
	if a.pair {
		cost *= 2
	}
	return cost
}

func in(t, a, b Tick) bool { return t >= a && t < b }

// emptyBeat reports whether the tune strikes nothing in the beat that begins at t.
func (s *score) emptyBeat(t, beat Tick) bool {
	k := s.tuneAt(t + beat - 1)
	return k < 0 || s.tune[k].at < t
}

// rootsAgain reports whether the next chord, on the same root, comes within two
// beats: a bass that waited for the second would say it twice running.
func (s *score) rootsAgain(p *point) bool {
	return p.chord+1 < len(s.chords) && s.chords[p.chord+1].at == p.end && p.end-p.at <= 2*s.bars[s.barAt(p.at)].Beat &&
		s.chords[p.chord+1].chord.BassPC() == s.chords[p.chord].chord.BassPC()
}

// roomyBar reports whether the tune leaves a beat of the bar at t unstruck.
func (s *score) roomyBar(t Tick) bool {
	b := s.bars[s.barAt(t)]
	for t := b.At; t < b.At+b.Len; t += b.Beat {
		if s.emptyBeat(t, b.Beat) {
			return true
		}
	}
	return false
}

// turn is what texture b of point p costs after texture a of the point before,
// q: one figure lasts for a phrase and changes with the next; the last bar of a
// phrase already looks to the next.
func (s *score) turn(q, p *point, a, b *texture, t *TextureTaste) float64 {
	cost := 0.0
	if a.split > 0 && b.split > 0 && !compound(s.bars[s.barAt(p.at)]) {
		cost += t.Twice
	}
	if a.figure < 0 || b.figure < 0 {
		return cost
	}
	switch {
	case s.turnOf(p) != s.turnOf(q):
		if a.figure == b.figure {
			cost += t.Stale
		}
	case a.figure != b.figure:
		if s.fourth(p) && !s.fourth(q) {
			cost += 0.3 * t.Turn
		} else {
			cost += t.Turn
		}
	}
	return cost
}

// turnOf counts phrases and, in an ending that goes round, every two bars of it: a
// vamp that keeps one figure stands still.
func (s *score) turnOf(p *point) int {
	turn := p.phrase
	if b := s.barAt(p.at); s.putIn(p.at) && b >= s.form.ending {
		turn += (b - s.form.ending) / 2
	}
	return turn
}

// fourth reports whether a point lies in the fourth bar of its phrase.
func (s *score) fourth(p *point) bool {
	return p.phrase < len(s.phrase) && (s.barAt(p.at)-s.phrase[p.phrase].From)%4 == 3
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
	put := s.putIn(p.at) || s.chords[p.chord].added != "" && s.chords[p.chord].added == s.form.names[1]
	switch {
	case room >= 3*beat && put && p.change:
		// what is put in has said enough: the chord, and its root
		tx.answers = []answer{{at: last + 2*beat, bass: true, root: true}}
	case room >= 3*beat:
		tx.answers = []answer{{at: last + beat, line: true}, {at: last + 2*beat, bass: true, root: true}}
	case room >= 2*beat:
		tx.answers = []answer{{at: last + beat, bass: true, root: true}}
	}
	if p.tune >= 0 && (put || (!p.held || !p.change) && s.falls(p)) && last == from && last == p.at && room >= 2*beat {
		// nothing but the tune's last note here, or that it rings on over a chord
		// that has come already: the grip's own root is the last word
		tx.rootLast = true
	}
	// beats before the last tune note that nothing strikes
	var before []answer
	for t := p.at + beat; t < last; t += beat {
		if s.onBeat(t) && t != tx.innerAt && !s.strikes(t) && s.nextOnset(t)-t >= beat/2 {
			before = append(before, answer{at: t, bass: s.strong(t)})
		}
	}
	tx.answers = append(before, tx.answers...)
	tx.name = "together"
	if k := len(tx.answers); k > 0 && tx.answers[k-1].root {
		tx.name = "together, the root again last"
	}
}
