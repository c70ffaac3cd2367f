package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"thumbline/midiio"
	"thumbline/voicing"
	"thumbline/voicing/sheet"
)

// step has nothing that moves by itself: a key for each grip of a part.
func step(ctx context.Context, e *env, o *options) error {
	for _, f := range []string{"tempo", "count-in", "click", "ritardando", "clock"} {
		if o.changed(f) {
			return usagef("--step waits for you, so --%s says nothing to it: leave it out", f)
		}
	}
	h, err := o.hearing()
	if err != nil {
		return err
	}
	if !h.hasGuitar() {
		return usagef("--step strikes the guitar's grips, and nothing of it is left to hear (look at --only and --mute)")
	}
	p, err := ready(ctx, e, o, true)
	if err != nil {
		return unlessEnded(err)
	}
	defer p.close()
	live := midiio.NewLive(p.h.rate)
	var feed midiio.Feed = live
	if p.h.port != nil {
		feed = &prefaced{live, programs(p.seq)} // which a port has not been told
	}
	play, end := context.WithCancel(ctx)
	defer end()
	s, err := newStepper(p, e.now, live.Strike, end)
	if err != nil {
		return usagef("--step: %s: %w", tuneName(o), err)
	}
	if err := (stage{e: e, plain: o.plain, typed: o.tune != "-", pedal: p.pedal}).run(ctx, s, p.start(play, feed, false)); err != nil {
		return err
	}
	p.out.tell(e.stdout)
	return nil
}

// A stepping is where a player stands among grips, of which there are n.
type stepping struct {
	n      int
	at     int // -1 before the first
	rolled bool
	struck int  // how often anything was
	lines  bool // a key is a line: it does not bounce

	pressed map[string]time.Time
}

// A strum is what a key of stepping asks to hear.
type strum uint8

const (
	nothing strum = iota
	strike
	roll
)

// press is what becomes of a key: the one key strikes the next grip, then rolls
// it; goTo is a grip that has a key of its own, -1 for none.
func (s *stepping) press(key string, goTo int, at time.Time) strum {
	if before, ok := s.pressed[key]; ok && !s.lines && at.Sub(before) < shortBreak {
		s.pressed[key] = at
		return nothing
	}
	if s.pressed == nil {
		s.pressed = map[string]time.Time{}
	}
	s.pressed[key] = at
	switch {
	case key == "space" || key == "enter" || key == "pgdown":
		if s.at >= 0 && !s.rolled {
			return s.take(s.at, true)
		}
		return s.take((s.at+1)%s.n, false)
	case key == "n" || key == "right":
		return s.take((s.at+1)%s.n, false)
	case key == "b" || key == "left":
		return s.take((max(s.at, 0)+s.n-1)%s.n, false)
	case goTo >= 0:
		return s.take(goTo, goTo == s.at && !s.rolled)
	}
	return nothing
}

func (s *stepping) take(i int, rolled bool) strum {
	s.at, s.rolled = i, rolled
	s.struck++
	if rolled {
		return roll
	}
	return strike
}

// A stepper is stepping with its grips and their sound.
type stepper struct {
	stepping
	p     *playing
	now   func() time.Time
	sound func([]midiio.LiveNote) bool
	end   func()
	grips []int // indexes into voicing.Arrangement.Grips
	over  bool
}

func newStepper(p *playing, now func() time.Time, sound func([]midiio.LiveNote) bool, end func()) (*stepper, error) {
	s := &stepper{p: p, now: now, sound: sound, end: end}
	for i, g := range p.a.Grips {
		if g.Bar >= p.from && g.Bar < p.to {
			s.grips = append(s.grips, i)
		}
	}
	if len(s.grips) == 0 {
		return nil, fmt.Errorf("there is no grip in %s", barSpan(p.a, p.from, p.to))
	}
	s.stepping = stepping{n: len(s.grips), at: -1}
	return s, nil
}

// gripKeys are keys that strike a grip of the page; what means something else is
// not among them.
const gripKeys = "123456789acdefghijklmoprstuvxyz"

// Apart are the strings of a grip that is struck, and of one that is rolled so
// that each is heard by itself.
const (
	struckApart = 6 * time.Millisecond
	rolledApart = 350 * time.Millisecond
)

// How hard a grip is struck, of 127; the first ones softer, so that nothing is
// loud before a hand can reach the volume.
const stepVelocity = 76

var softVelocities = [...]int{44, 56, 66}

func (s *stepper) press(key string) []string {
	if ends(key) {
		s.over = true
		s.end()
		return nil
	}
	if key == "w" {
		return []string{s.where()}
	}
	velocity := stepVelocity
	if s.struck < len(softVelocities) {
		velocity = softVelocities[s.struck]
	}
	first, last := s.shown()
	goTo := -1
	if i := strings.Index(gripKeys, key); len(key) == 1 && i >= 0 && first+i < last {
		goTo = first + i
	}
	switch s.stepping.press(key, goTo, s.now()) {
	case strike:
		apart := struckApart
		if s.p.h.noSpread {
			apart = 0
		}
		s.sound(s.notes(velocity, apart))
		return s.struckLines()
	case roll:
		s.sound(s.notes(velocity, rolledApart))
		return []string{"low to high: " + sheet.SayGrip(s.grip(), s.p.a.Tuning)}
	}
	return nil
}

func (s *stepper) look() []string { return nil }

func (s *stepper) grip() voicing.Placed { return s.p.a.Grips[s.grips[s.at]] }

// notes are the strings of the grip that are to be heard, low to high.
func (s *stepper) notes(velocity int, apart time.Duration) []midiio.LiveNote {
	a, g := s.p.a, s.grip()
	var out []midiio.LiveNote
	for i, f := range g.Frets {
		n := len(g.Frets) - i // of the string
		if f < 0 || !s.p.h.layers.Has(midiio.LayerOf(s.voice(n, f))) {
			continue
		}
		out = append(out, midiio.LiveNote{Channel: n - 1, Key: a.Tuning[i] + a.Capo + f, Velocity: velocity, Delay: time.Duration(len(out)) * apart})
	}
	return out
}

// voice is what a string of the grip plays.
func (s *stepper) voice(n, fret int) voicing.Voice {
	a, i := s.p.a, s.grips[s.at]
	until := a.End()
	if i+1 < len(a.Grips) {
		until = a.Grips[i+1].At
	}
	k := slices.IndexFunc(a.Notes, func(x voicing.Note) bool {
		return x.String == n && x.Fret == fret && x.At < until && x.At+x.Dur > a.Grips[i].At
	})
	if k < 0 {
		return voicing.Inner
	}
	return a.Notes[k].Voice
}

// struckLines say which grip was struck and how the hand comes to it.
func (s *stepper) struckLines() []string {
	l := fmt.Sprintf("%d of %d, at %s: %s", s.at+1, s.n, s.p.a.PlaceAt(s.grip().At), sheet.GripLine(s.grip()))
	ls := []string{l}
	head := "from the one before"
	if s.at <= 0 {
		head = "to take it"
	}
	if _, moves := s.moves(); len(moves) > 0 {
		ls = append(ls, "  "+head+": "+sayMoves(moves, s.p.a.Tuning))
	}
	return ls
}

// moves are what each finger does for the grip: the first is taken by a free hand.
func (s *stepper) moves() (head string, moves []string) {
	a, i := s.p.a, s.grips[max(s.at, 0)]
	if s.at <= 0 {
		return "To take it:", movesFrom(voicing.Placed{}, voicing.Moves(voicing.Placed{}, a.Grips[i], a.Tuning))
	}
	before := a.Grips[i-1]
	return "From " + before.Name + " at " + a.PlaceAt(before.At).String() + ":", movesFrom(before, a.MovesAt(i))
}

// strings are the grip string by string, low to high.
func (s *stepper) strings() (out []string) {
	g, names := s.grip(), voicing.StringNames(s.p.a.Tuning)
	for i, f := range g.Frets {
		switch {
		case f < 0 || i >= len(names):
		case f == 0:
			out = append(out, names[i]+" open")
		case i < len(g.Fingers) && g.Fingers[i] > 0:
			out = append(out, fmt.Sprintf("%s fret %d, finger %d", names[i], f, g.Fingers[i]))
		default:
			out = append(out, fmt.Sprintf("%s fret %d", names[i], f))
		}
	}
	return out
}

// where says it in one line.
func (s *stepper) where() string {
	if s.at < 0 {
		return fmt.Sprintf("before the first of %d grips", s.n)
	}
	_, moves := s.moves()
	return fmt.Sprintf("%d of %d, at %s: %s. Fingers: %s.", s.at+1, s.n, s.p.a.PlaceAt(s.grip().At), sheet.SayGrip(s.grip(), s.p.a.Tuning), sayMoves(moves, s.p.a.Tuning))
}

// shown are the grips [first, last) of the page: all, or those of the phrase.
func (s *stepper) shown() (first, last int) {
	a := s.p.a
	if s.p.to-s.p.from <= mostBars {
		return 0, len(s.grips)
	}
	bar := a.Grips[s.grips[max(s.at, 0)]].Bar
	from, to := s.p.from, s.p.to
	for _, ph := range a.Phrases {
		if bar >= ph.From && bar < ph.To {
			from, to = max(from, ph.From), min(to, ph.To)
		}
	}
	first = slices.IndexFunc(s.grips, func(i int) bool { return a.Grips[i].Bar >= from })
	last = first
	for last < len(s.grips) && a.Grips[s.grips[last]].Bar < to {
		last++
	}
	return first, last
}

func (s *stepper) page() page {
	a := s.p.a
	first, last := s.shown()
	p := page{title: s.p.title() + s.p.h.port.toPort(), what: s.p.asked.barsOrName(), pass: grips(s.n) + ", one at a time", state: "READY"}
	p.strings = voicing.StringNames(a.Tuning)
	if s.at < 0 {
		p.offer = strings.Join(s.p.h.port.caution(), " ")
	} else {
		g := s.grip()
		p.pass = fmt.Sprintf("grip %d of %d", s.at+1, s.n)
		p.tempo = "at " + a.PlaceAt(g.At).String()
		if g.Symbol != "" && g.Symbol != g.Name {
			p.tempo += ", written " + g.Symbol
		}
		p.state = g.Name + " STRUCK"
		p.next, p.moves = s.moves()
		p.grids = []pageGrid{{"now " + g.Name, sheet.Grid(g)}, {}}
		if k := s.at + 1; k < s.n {
			next := a.Grips[s.grips[k]]
			p.grids[1] = pageGrid{"next " + next.Name, sheet.Grid(next)}
		}
		if s.rolled {
			p.state = g.Name + " LOW TO HIGH"
			p.next, p.moves = "String by string:", s.strings()
		}
	}
	for k := first; k < last; k++ {
		g := a.Grips[s.grips[k]]
		label := a.Bars[g.Bar].Label
		if n := len(p.bars); n == 0 || p.bars[n-1].label != label {
			p.bars = append(p.bars, pageBar{label: label})
		}
		v := gripOn(a, g)
		if i := k - first; i < len(gripKeys) {
			v.under = "key " + gripKeys[i:i+1]
		}
		v.now = k == s.at
		b := &p.bars[len(p.bars)-1]
		b.here = b.here || v.now
		b.grips = append(b.grips, v)
	}
	p.does = s.expected()
	p.most = 6
	p.keys = []string{"n next", "b the one before", "the key of a grip strikes it, again rolls it", "q stop"}
	return p
}

// expected is what the one key does now, in words.
func (s *stepper) expected() string {
	if s.at >= 0 && !s.rolled {
		return "roll it, low to high"
	}
	next := s.p.a.Grips[s.grips[(s.at+1)%s.n]].Name
	if s.at < 0 {
		return "strike the first grip, " + next
	}
	return "strike the next grip, " + next
}

func (s *stepper) byLine() { s.lines = true }

func (s *stepper) unattended() []string { return s.press("q") }

func (s *stepper) heading() []string {
	ls := []string{s.p.title() + ", " + s.p.asked.bars() + ", " + grips(s.n) + ", one at a time" + s.p.h.port.toPort()}
	ls = append(ls, s.p.h.port.caution()...)
	if s.lines {
		ls = append(ls, "Enter strikes the next grip; again, and it is rolled from low to high; Ctrl-C ends.")
	}
	return ls
}

func (s *stepper) farewell() string {
	return fmt.Sprintf("%s, %s: %s struck.", s.p.title(), s.p.asked.bars(), grips(s.struck))
}

func grips(n int) string {
	if n == 1 {
		return "1 grip"
	}
	return strconv.Itoa(n) + " grips"
}
