package leadsheet

import (
	"cmp"
	"math"
	"slices"

	"thumbline/theory"
)

// How a played tune finds its grid. Every beat with notes is held against a few
// ways of dividing it. A way costs the squares of the movements it asks for,
// measured against the unsteadiness of the whole file, a little for the places
// it has (many places fit anything), and more when it is not the way of the
// rest of the file. Both the unsteadiness and the share of each way are
// estimated from the file, in a few rounds. So an exact file may change between
// sixteenths and triplets from beat to beat, and a loosely played one is read
// as the one thing it mostly is.

// A division is a way of dividing a beat.
type division uint8

const (
	sixteenths division = iota
	triplets            // of eighths
	swung               // sixteenths, written straight
	fine                // thirty-seconds
	sextuplets
	numDivisions
)

// Weights of the choice, in nats. Common practice, no source; the tests show
// what they do.
const (
	newDivision   = 3.0  // a beat divided otherwise than the file, at first
	rareDivision  = 4.5  // the same, when the file does so nowhere else
	usualDivision = 1.5  // the same, when it does so often
	allTriplets   = 4.0  // a file that is mainly in triplets of eighths
	inSwing       = 0.2  // a triplet in a swung file
	finer         = 2.0  // more for thirty-seconds and sextuplets
	collision     = 12.0 // two notes at one place
	graceCost     = 2.0  // the same, when the first may be a grace note

	steadiest   = 0.004 // unsteadiness, in quarters
	unsteadiest = 0.12
)

// A spot is a place of a division, counted from the beat.
type spot struct {
	played  float64 // in quarters
	written theory.Time
}

// A stroke is a played note: when it began and ended in the file, in quarters, and where
// it was put.
type stroke struct {
	on, off float64
	key     int
	hanging bool

	at, end theory.Time // where it was put, from the start of the file
	moved   float64     // quarters, from where its place is played
}

// A gridBar is a bar of the file.
type gridBar struct {
	at, len theory.Time
	from    float64 // at
	metre   theory.Metre
}

// A gridBeat is a beat with notes [first, last).
type gridBeat struct {
	from        theory.Time // from the start of the file
	len         theory.Time
	first, last int32
	fits        [numDivisions]fit
	way         division
	tells       bool // a note lies off the beat
}

func (b *gridBeat) notes(of []*stroke) []*stroke { return of[b.first:b.last] }

// A fit is what a division costs a beat; a long file has many.
type fit struct {
	squares float32
	fixed   float32 // what does not depend on the unsteadiness; infinite where the beat cannot be divided so
}

func (f fit) ok() bool { return !math.IsInf(float64(f.fixed), 1) }

// A quantiser puts played notes on the grid of the bars.
type quantiser struct {
	bars  []gridBar
	notes []*stroke
	beats []gridBeat
	main  division
	swing float64 // where a swung off-beat is played, of the beat
	table map[spotKey][]spot
}

type spotKey struct {
	way division
	len theory.Time
}

// barAt is the index of the bar that holds a moment in quarters.
func (q *quantiser) barAt(x float64) int {
	i, found := slices.BinarySearchFunc(q.bars, x+1e-9, func(b gridBar, x float64) int { return cmp.Compare(b.from, x) })
	if !found {
		i--
	}
	return max(i, 0)
}

// beatOf is the grid's beat: the quarter, the dotted quarter in compound metre.
func beatOf(m theory.Metre) theory.Time {
	if b := theory.BeatOf(m); b == theory.Quarters(3, 2) {
		return b
	}
	return theory.Quarters(1, 1)
}

// beatAt is the start and length of the beat that holds a moment.
func (q *quantiser) beatAt(x float64) (from, length theory.Time) {
	b := q.bars[q.barAt(x)]
	beat := beatOf(b.metre)
	k := int64(math.Floor((x + 1e-9 - b.from) / beat.Float()))
	for k > 0 && !beat.Mul(k, 1).Less(b.len) {
		k-- // behind the last bar
	}
	k = max(k, 0)
	from = beat.Mul(k, 1)
	length = beat
	if rest := b.len.Sub(from); rest.Less(beat) {
		length = rest
	}
	return b.at.Add(from), length
}

// spots are the places of a division in a beat of a length, its end included;
// nil when the beat cannot be divided so.
func (q *quantiser) spots(way division, length theory.Time) []spot {
	key := spotKey{way, length}
	if s, ok := q.table[key]; ok {
		return s
	}
	var s []spot
	n, step := int64(0), theory.Quarters(1, 4)
	quarter := length == theory.Quarters(1, 1)
	eighths := length.Mul(2, 1).Den() == 1 // the beat is made of eighths, each of which may be a triplet
	switch way {
	case triplets:
		step = theory.Quarters(1, 3)
	case sextuplets:
		step = theory.Quarters(1, 6)
	case fine:
		step = theory.Quarters(1, 8)
	}
	if way == sixteenths || way == fine || way == sextuplets && eighths || quarter {
		for ; step.Mul(n, 1).Less(length); n++ {
			at := step.Mul(n, 1)
			s = append(s, spot{at.Float(), at})
		}
		s = append(s, spot{length.Float(), length})
	}
	if way == swung {
		for i := range s {
			if x := s[i].played; x < 0.5 {
				s[i].played = 2 * x * q.swing
			} else {
				s[i].played = q.swing + (2*x-1)*(1-q.swing)
			}
		}
	}
	q.table[key] = s
	return s
}

// nearest is the spot that a moment in the beat lies nearest to; the earlier
// of two.
func nearest(spots []spot, x float64) int {
	best := 0
	for i, s := range spots {
		if math.Abs(s.played-x) < math.Abs(spots[best].played-x)-1e-9 {
			best = i
		}
	}
	return best
}

// run finds beats, grid and places.
func (q *quantiser) run() {
	q.table = make(map[spotKey][]spot)
	count, before := 0, theory.Quarters(-1, 1)
	for _, n := range q.notes {
		if from, _ := q.beatAt(n.on); from != before {
			count, before = count+1, from
		}
	}
	q.beats = make([]gridBeat, 0, count)
	for i, n := range q.notes {
		from, length := q.beatAt(n.on)
		if k := len(q.beats) - 1; k < 0 || q.beats[k].from != from {
			q.beats = append(q.beats, gridBeat{from: from, len: length, first: int32(i)})
		}
		q.beats[len(q.beats)-1].last = int32(i + 1)
	}
	if s, ok := q.findSwing(); ok {
		q.swing = s
	}
	q.measure()
	best, ways := math.Inf(1), []division(nil)
	for _, main := range []division{sixteenths, triplets, swung} {
		if q.swing == 0 && main == swung || q.swing > 0 && main == triplets {
			continue
		}
		if total := q.settle(main); total < best-1e-9 {
			best, q.main = total, main
			ways = ways[:0]
			for _, b := range q.beats {
				ways = append(ways, b.way)
			}
		}
	}
	for i := range q.beats {
		q.beats[i].way = ways[i]
		q.put(&q.beats[i])
	}
}

// findSwing looks for off-beats that lie alone in their beat, late and always
// in the same place: where that is, of the beat. The window reaches from a
// ratio of 1.3 to one of 2.6.
func (q *quantiser) findSwing() (float64, bool) {
	var pairs []float64
	thirds, inside := 0, 0
	for _, b := range q.beats {
		if b.len != theory.Quarters(1, 1) {
			continue
		}
		var off []float64
		for _, n := range b.notes(q.notes) {
			if x := n.on - b.from.Float(); x > 0.12 && x < 0.88 {
				off = append(off, x)
			}
		}
		switch {
		case len(off) == 1 && off[0] > 0.47:
			pairs = append(pairs, off[0])
			if off[0] >= 0.56 && off[0] <= 0.725 {
				inside++
			}
		case len(off) > 0 && off[0] > 0.2:
			thirds++
		}
	}
	const enough = 3
	if len(pairs) < enough || 5*inside < 4*len(pairs) || 100*thirds > 35*(thirds+len(pairs)) {
		return 0, false
	}
	slices.Sort(pairs)
	at := pairs[len(pairs)/2]
	near := 0
	for _, x := range pairs {
		if math.Abs(x-at) < 0.06 {
			near++
		}
	}
	return at, 4*near >= 3*len(pairs) && at >= 0.56 && at <= 0.72
}

// measure finds out how each division fits each beat.
func (q *quantiser) measure() {
	for i := range q.beats {
		b := &q.beats[i]
		var after float64 // the next note, from the beat
		first, last := int(b.first), int(b.last)
		if last < len(q.notes) {
			after = q.notes[last].on - b.from.Float()
		} else {
			after = math.Inf(1)
		}
		for way := range numDivisions {
			b.fits[way].fixed = float32(math.Inf(1))
			spots := q.spots(way, b.len)
			if way == swung && q.swing == 0 || spots == nil {
				continue
			}
			squares, fixed := 0.0, 0.0
			end := len(spots) - 1
			was := -1
			for k := first; k < last; k++ {
				x := q.notes[k].on - b.from.Float()
				s := nearest(spots, x)
				d := x - spots[s].played
				squares += d * d
				if s != 0 && s != end {
					places := float64(end)
					if way == swung { // the off-beat is what swing is about
						places = 8
						if s == end/2 {
							places = 2
						}
					}
					fixed += math.Log(places)
					b.tells = true
				}
				next := after
				if k+1 < last {
					next = q.notes[k+1].on - b.from.Float()
				}
				switch {
				case s == was:
					fixed += collisionCost(q.notes[k-1], q.notes[k], next-x)
				case s == end && after-b.len.Float() < 0.12:
					n := math.Inf(1)
					if last+1 < len(q.notes) {
						n = q.notes[last+1].on - q.notes[last].on
					}
					fixed += collisionCost(q.notes[k], q.notes[last], n)
				}
				was = s
			}
			b.fits[way] = fit{float32(squares), float32(fixed)}
		}
	}
}

// collisionCost is what it costs that b, after which it takes time until the
// next, meets a at one place.
func collisionCost(a, b *stroke, time float64) float64 {
	if isGrace(a, b) && time > 2*(b.on-a.on) {
		return graceCost
	}
	return collision
}

// isGrace reports that a is short and over when b begins, or nearly.
func isGrace(a, b *stroke) bool { return b.on-a.on < 0.2 && a.off < b.on+0.1 }

// settle chooses a division for each beat of a file that is mainly divided one
// way, and returns the cost of the whole.
func (q *quantiser) settle(main division) float64 {
	var other [numDivisions]float64
	for way := range other {
		other[way] = newDivision
	}
	// Before a round the unsteadiness is that of a good player.
	sigma := 0.02
	total := 0.0
	for range 6 {
		var share [numDivisions]float64
		telling, squares := 0.0, 0.0
		total = 0
		if main == triplets {
			total = allTriplets
		}
		for i := range q.beats {
			b := &q.beats[i]
			usual := main
			if !b.fits[main].ok() {
				usual = sixteenths
			}
			best := math.Inf(1)
			for way := range numDivisions {
				f := b.fits[way]
				if !f.ok() || way == swung && main != swung {
					continue
				}
				cost := float64(f.squares)/(2*sigma*sigma) + float64(f.fixed)
				if way != usual {
					cost += other[way]
					if way == fine || way == sextuplets {
						cost += finer
					}
				}
				if cost < best-1e-9 || way == usual && cost <= best+1e-9 {
					best, b.way = cost, way
				}
			}
			total += best
			squares += float64(b.fits[b.way].squares)
			if b.tells && usual == main {
				telling++
				share[b.way]++
			}
		}
		n := float64(len(q.notes))
		total += n * math.Log(sigma)
		sigma = math.Sqrt((squares + 4*0.015*0.015) / (n + 4))
		sigma = min(max(sigma, steadiest), unsteadiest)
		for way := range other {
			odds := 1 + math.Log((share[main]+0.5)/(share[way]+0.5))
			other[way] = min(max(odds, usualDivision), rareDivision)
			if telling == 0 {
				other[way] = newDivision
			}
		}
		if main == swung {
			other[triplets] = inSwing
		}
	}
	return total
}

// put gives the notes of a beat their places.
func (q *quantiser) put(b *gridBeat) {
	spots := q.spots(b.way, b.len)
	for _, n := range b.notes(q.notes) {
		x := n.on - b.from.Float()
		s := nearest(spots, x)
		n.at = b.from.Add(spots[s].written)
		n.moved = math.Abs(x - spots[s].played)
	}
}

// wayAt is the division of the beat that starts at from.
func (q *quantiser) wayAt(from, length theory.Time) division {
	i, found := slices.BinarySearchFunc(q.beats, from, func(b gridBeat, t theory.Time) int { return b.from.Cmp(t) })
	way := q.main
	if found {
		way = q.beats[i].way
	}
	if q.spots(way, length) == nil {
		way = sixteenths
	}
	return way
}

// place is the written time nearest to a moment in the file.
func (q *quantiser) place(x float64) theory.Time {
	from, length := q.beatAt(x)
	spots := q.spots(q.wayAt(from, length), length)
	return from.Add(spots[nearest(spots, x-from.Float())].written)
}

// after is the first place of the grid behind a written time.
func (q *quantiser) after(t theory.Time) theory.Time {
	from, length := q.beatAt(t.Float())
	in := t.Sub(from)
	for _, s := range q.spots(q.wayAt(from, length), length) {
		if in.Less(s.written) {
			return from.Add(s.written)
		}
	}
	return t.Add(theory.Quarters(1, 4))
}

// chordPlace is where a chord symbol belongs: on the exact place it has, else
// on the beat it is near, else on the eighth.
func (q *quantiser) chordPlace(x, tick float64) theory.Time {
	from, length := q.beatAt(x)
	in := x - from.Float()
	for _, way := range []division{q.wayAt(from, length), sixteenths, triplets} {
		if spots := q.spots(way, length); spots != nil {
			if s := spots[nearest(spots, in)]; math.Abs(s.played-in) <= tick {
				return from.Add(s.written)
			}
		}
	}
	switch l := length.Float(); {
	case in <= 0.25:
		return from
	case in >= l-0.25:
		return from.Add(length)
	}
	eighth := theory.Quarters(int64(math.Round(2*in)), 2)
	if q.main == swung && length == theory.Quarters(1, 1) {
		eighth = theory.Quarters(1, 2)
	}
	if length.Less(eighth) {
		eighth = length
	}
	return from.Add(eighth)
}
