package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thumbline/midiio"
	"thumbline/voicing"
	"thumbline/voicing/sheet"
)

// A conductor carries a player's rehearsal over to the sound, and what is heard
// back to the rehearsal. It belongs to one goroutine.
type conductor struct {
	p      *playing
	now    func() time.Time
	end    func() // of the sound
	r      rehearsal
	scene  *scene
	fresh  int64    // the first frame at which the last order to begin anew is obeyed
	base   float64  // the factor that the practice was laid out with
	fault  error    // of an order
	notice string   // what is wrong at this moment and yet no reason to stop
	told   []string // notices there have been
	known  map[moveKey][]string
	typed  bool // lines can be typed
	onward bool // the one key leads to the next part, and it was said
}

func newConductor(p *playing, now func() time.Time, end func()) (*conductor, error) {
	plan, back, err := p.turns(&p.asked)
	if err != nil {
		return nil, err
	}
	c := &conductor{p: p, now: now, end: end, scene: &p.asked, base: 1}
	c.r = newRehearsal(len(p.scenes), p.here, p.home, plan, back)
	c.r.rests = p.pr.rest > 0
	c.r.once = p.once
	c.r.changes = p.pr.change != nil
	if !p.once {
		c.r.offer = c.caution() // the heading of plain lines has it
	}
	if p.h.port != nil {
		c.r.offer = strings.TrimSpace(portCaution + " " + c.r.offer)
	}
	c.r.muted = p.muted()
	if p.file == nil {
		c.r.layers = layersThere(p.asked.a.Setting == voicing.Trio)
	}
	c.r.layers = append(slices.Clone(c.r.layers), midiio.Click)
	return c, nil
}

// caution is for the hands.
func (c *conductor) caution() string {
	switch {
	case c.p.wide:
		return wideCaution
	case c.r.ramped():
		return rampCaution
	}
	return handCaution
}

// press does what a key asks for.
func (c *conductor) press(key string) (lines []string) {
	k, ok := c.keyPress(key)
	if !ok {
		return nil
	}
	orders := c.r.press(k, c.now())
	for _, o := range orders {
		c.carryOut(o)
	}
	return c.answerTo(k, orders)
}

func (c *conductor) byLine() { c.r.lines = true }

// unattended ends a pause that nobody else can end.
func (c *conductor) unattended() []string {
	if c.r.paused {
		return c.press("p")
	}
	return nil
}

// heading is said before the first sound.
func (c *conductor) heading() []string {
	ls := append([]string{c.p.heading()}, c.p.h.port.caution()...)
	switch {
	case c.p.once:
	case !c.r.lines:
		ls = append(ls, c.caution())
	case c.typed:
		ls = append(ls, "Enter pauses and goes on; Ctrl-C ends.")
	}
	return ls
}

// farewell is said when all is over.
func (c *conductor) farewell() string {
	r := &c.r
	passes := fmt.Sprintf("%d passes in all, ", r.total)
	switch {
	case r.once:
		passes = ""
	case r.total == 1:
		passes = "1 pass in all, "
	}
	return fmt.Sprintf("%s, %s: %s%s played.", c.p.title(), c.what(), passes, minutes(r.all))
}

// minutes is how long somebody played.
func minutes(d time.Duration) string {
	s := int(d.Seconds())
	if s < 60 {
		return fmt.Sprintf("%d s", s)
	}
	return fmt.Sprintf("%d min %d s", s/60, s%60)
}

func (c *conductor) carryOut(o order) {
	cur := c.p.cursor
	switch o.kind {
	case orderPause:
		cur.Send(midiio.Order{Kind: midiio.Pause})
	case orderResume:
		cur.Send(midiio.Order{Kind: midiio.Resume})
	case orderTempo:
		cur.Send(midiio.Order{Kind: midiio.Tempo, Factor: o.factor / c.base})
	case orderMute:
		cur.Send(midiio.Order{Kind: midiio.Mute, Layers: o.layers})
	case orderUnmute:
		cur.Send(midiio.Order{Kind: midiio.Unmute, Layers: o.layers})
	case orderAgain:
		cur.Send(midiio.Order{Kind: midiio.Again})
		c.anew()
	case orderPart:
		prepared, s, err := c.p.switchTo(o.part, o.factor)
		for n := len(c.p.scenes); err != nil && n > 0; n-- {
			// A change that the hand cannot take by itself is passed over.
			o.part = c.r.step(o.by)
			c.r.here = o.part
			prepared, s, err = c.p.switchTo(o.part, o.factor)
		}
		if err == nil {
			// With --tempo in beats the scale is another where another tempo is written.
			c.r.plan, c.r.back, err = c.p.turns(s)
		}
		if err != nil {
			c.fault = err
			c.end()
			return
		}
		cur.Send(midiio.Order{Kind: midiio.Switch, To: prepared})
		c.scene, c.base = s, o.factor
		c.anew()
	case orderStop:
		c.end()
	}
}

// anew makes what is heard of before the last order old.
func (c *conductor) anew() {
	c.fresh = c.p.out.obeyed()
}

// switchTo makes a scene ready to be switched to.
func (p *playing) switchTo(i int, factor float64) (*midiio.Prepared, *scene, error) {
	s := &p.scenes[i]
	if err := p.find(s); err != nil {
		return nil, nil, err
	}
	practice, err := p.study(s, factor)
	if err != nil {
		return nil, nil, err
	}
	prepared, err := midiio.Prepare(s.seq, practice, p.h.rate)
	return prepared, s, err
}

// look takes in where the sound is.
func (c *conductor) look() (lines []string) {
	frame := c.p.out.heard()
	pos, ok := c.p.cursor.Position(frame)
	c.r.heard(pos, ok && frame >= c.fresh && c.fault == nil, c.now())
	c.notice = c.p.out.notice()
	if c.notice != "" && !slices.Contains(c.told, c.notice) {
		c.told = append(c.told, c.notice)
		lines = append(lines, c.notice)
	}
	lines = append(lines, c.said()...)
	// What the one key does by now has to be said to those who do not see it.
	onward := c.r.expected() == nextPart
	if onward && !c.onward && !c.r.lines {
		lines = append(lines, "Space or Enter: "+c.expected())
	}
	c.onward = onward
	return lines
}

// page is what there is to see.
func (c *conductor) page() page {
	s, r := c.scene, &c.r
	p := page{title: c.p.title() + c.p.h.port.toPort(), what: c.what(), state: r.state(), place: strings.Join(c.place(), apart), offer: r.offer}
	p.pass, p.tempo = c.pass(), c.tempo()
	if c.notice != "" {
		p.offer = c.notice
	}
	if c.p.file == nil {
		p.strings = voicing.StringNames(s.a.Tuning)
	}
	first, last := c.shownBars()
	sounds := c.grips()
	here := c.barHeard()
	from, to := c.ends()
	if first == s.from && first > 0 && s.change == 0 && s.start < midiio.Tick(s.a.Bars[first].At) {
		first-- // the bar with the pick-up
	}
	for b := first; b < last; b++ {
		bar := pageBar{label: s.a.Bars[b].Label, here: b == here, before: b < s.from, bare: c.p.file != nil}
		for i, g := range s.a.Grips {
			if g.Bar == b && (i >= from && i <= to || c.p.once) {
				v := gripOn(s.a, g)
				v.now = i == sounds.now
				bar.grips = append(bar.grips, v)
			}
		}
		if len(bar.grips) == 0 && s.change > 0 {
			// a long bar of a change is the one before, held on
			if n := len(p.bars); n > 0 {
				p.bars[n-1].here = p.bars[n-1].here || bar.here
				continue
			}
		}
		if !bar.bare {
			bar.notes = s.notesIn(b)
		}
		p.bars = append(p.bars, bar)
	}
	p.next, p.moves = c.change(sounds)
	p.most, p.rests = c.mostMoves(first, last), !r.once
	switch {
	case c.p.file != nil:
	case sounds.now >= 0:
		g := s.a.Grips[sounds.now]
		p.grids = append(p.grids, pageGrid{"now " + g.Name, sheet.Grid(g)})
	default:
		p.grids = append(p.grids, pageGrid{})
	}
	if sounds.next >= 0 {
		g := s.a.Grips[sounds.next]
		p.grids = append(p.grids, pageGrid{"next " + g.Name, sheet.Grid(g)})
	}
	p.does = c.expected()
	p.keys = c.keys()
	return p
}

// what is it that plays.
func (c *conductor) what() string { return c.scene.barsOrName() }

// barsOrName is what the scene is called, with its bars.
func (s *scene) barsOrName() string {
	if s.change > 0 {
		return s.name + ", " + s.a.Bars[s.from].Label + " to " + s.a.Bars[s.to-1].Label
	}
	if s.name == "" || s.name == "the whole" {
		return s.bars()
	}
	return s.name + ", " + s.bars()
}

// state is what is going on, to be read from afar.
func (r *rehearsal) state() string {
	switch {
	case r.paused && !r.stopped:
		return "PAUSED"
	case r.stopped:
		return "STOPPED"
	case r.now.Done:
		return "THE END"
	case r.now.CountIn && r.now.Beat >= 1:
		return "COUNT-IN " + strconv.Itoa(int(r.now.Beat))
	case r.now.CountIn || r.passes == 0:
		return "COUNT-IN"
	case r.now.Tail && r.rests:
		return "REST"
	case r.now.Kind == midiio.Alone:
		return "YOUR TURN"
	case r.answers():
		return "LISTEN"
	}
	return "PLAYING"
}

// place is the bar and beat that is heard, and what there is to say of it.
func (c *conductor) place() []string {
	pos := c.r.now
	if pos.CountIn || pos.Beat <= 0 {
		return nil
	}
	at := fmt.Sprintf("beat %d", int(pos.Beat+1e-9))
	if b := c.barHeard(); b >= 0 {
		at = c.scene.barName(b) + ", " + at
	} else if pos.Tail {
		return []string{at}
	}
	said := []string{at}
	if h := c.heard(); h != "" {
		said = append(said, h)
	}
	if t, ok := c.r.nextTurn(); ok && c.r.open && c.r.plan[t].alone && t != c.r.turn {
		said = append(said, "then your turn")
	}
	return said
}

// barName is how a bar is said; in a change, where a grip has its bar, by the
// grip.
func (s *scene) barName(b int) string {
	if i := slices.IndexFunc(s.a.Grips, func(g voicing.Placed) bool { return g.Bar == b }); s.change > 0 && i >= 0 {
		return s.a.Grips[i].Name
	}
	return "bar " + s.a.Bars[b].Label
}

// barHeard is the index of the bar that is heard, -1 for none: the last one goes
// on while its end rings before the pick-up of the next pass.
func (c *conductor) barHeard() int {
	a, pos := c.scene.a, c.r.now
	switch {
	case pos.Bar != "":
		return a.BarAt(voicing.Tick(pos.Tick))
	case pos.Tail && !c.r.rests:
		b := a.BarAt(voicing.Tick(c.scene.end - 1))
		if b >= 0 && pos.Tick < midiio.Tick(a.Bars[b].At+a.Bars[b].Len) {
			return b
		}
	}
	return -1
}

// heard tells what is left of the sound, when that is not all.
func (c *conductor) heard() string {
	r := &c.r
	there := layersThere(c.scene.a.Setting == voicing.Trio)
	set := r.plan[r.turn].heard &^ r.muted
	if all := midiio.Layers(there...); r.plan[r.turn].alone || set&all == all {
		return ""
	} else if set&all == 0 {
		return "nothing is heard"
	}
	return "heard: " + strings.Join(layerNames(there, set), " and ")
}

// pass is which it is, and of what.
func (c *conductor) pass() string {
	r := &c.r
	if r.once {
		return "once through"
	}
	n := max(r.passes, 1)
	if !r.open && r.passes > 0 {
		n++ // it is counted in
	}
	s := fmt.Sprintf("pass %d", n)
	if all := r.length(); all > 0 {
		s += fmt.Sprintf(" of %d", all)
	}
	return s
}

// length is how many passes the plan has; 0 when it goes on and on.
func (r *rehearsal) length() int {
	if r.back >= 0 {
		return 0
	}
	n := 0
	for _, t := range r.plan {
		n += t.times
	}
	return n
}

// tempo is that of this pass and, if it differs, of the next.
func (c *conductor) tempo() string {
	r := &c.r
	s := c.scene.tempo(r.scale())
	if next := r.nextScale(); math.Abs(next-r.scale()) > 1e-9 {
		s += ", next " + c.scene.pace(next)
	}
	return s
}

// mostBars is how many bars a page has at most.
const mostBars = 6

// shownBars are the bars [first, last) of the scene or, if it is longer than a
// page, of the phrase that is heard.
func (c *conductor) shownBars() (first, last int) {
	s := c.scene
	if s.to-s.from <= mostBars {
		return s.from, s.to
	}
	at := s.from
	if pos := c.r.now; !pos.CountIn {
		at = min(max(s.a.BarAt(voicing.Tick(min(pos.Tick, s.end-1))), s.from), s.to-1)
	}
	for _, ph := range s.a.Phrases {
		if at >= ph.From && at < ph.To {
			return max(ph.From, s.from), min(ph.To, s.to)
		}
	}
	return s.from, s.to
}

// sounding are the indexes of grips: the one that sounds, the one that comes
// next, and the one that the hand comes to it from; -1 for none.
type sounding struct{ now, next, from int }

// grips are those of the moment. After the last comes the first again.
func (c *conductor) grips() sounding {
	first, last := c.ends()
	g := sounding{-1, -1, -1}
	pos := c.r.now
	for i := max(first, 0); i <= last; i++ {
		if !pos.CountIn && midiio.Tick(c.scene.a.Grips[i].At) <= pos.Tick {
			g.now = i
		} else if g.next < 0 {
			g.next = i
		}
	}
	g.from = g.now
	if c.p.once || first == last {
		return g
	}
	if g.next < 0 {
		g.next = first
	}
	if g.now < 0 && c.r.passes > 1 && !pos.CountIn {
		g.from = last
	}
	return g
}

// notesIn are the notes that are struck in a bar beside its grips, as string and
// fret, as far as they belong to the scene.
func (s *scene) notesIn(bar int) string {
	var held []int // frets of the grip of the moment
	grips := s.a.Grips
	names := voicing.StringNames(s.a.Tuning)
	var out []string
	at := voicing.Tick(-1)
	for _, n := range s.a.Notes {
		if t := midiio.Tick(n.At); t < s.start || t >= s.end || s.a.BarAt(n.At) != bar {
			continue
		}
		for len(grips) > 0 && grips[0].At <= n.At {
			if grips[0].Bar == bar {
				held = grips[0].Frets
			}
			grips = grips[1:]
		}
		if len(held) > 0 && held[len(held)-n.String] == n.Fret {
			continue
		}
		note := names[len(names)-n.String] + " " + strconv.Itoa(n.Fret)
		if n.At == at {
			out[len(out)-1] += " with " + note
		} else {
			out = append(out, note)
		}
		at = n.At
	}
	return strings.Join(out, ", ")
}

// ends are the indexes of the first and the last grip of the scene, -1 for none.
func (c *conductor) ends() (first, last int) {
	s := c.scene
	first, last = -1, -1
	for i, x := range s.a.Grips {
		if at := midiio.Tick(x.At); at >= s.start && at < s.end {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return first, last
}

// change is the next change, and what each finger does.
func (c *conductor) change(g sounding) (head string, moves []string) {
	if g.next < 0 {
		return "", nil
	}
	head = "Next: "
	if g.from < 0 {
		head = "First: "
	}
	to := c.scene.a.Grips[g.next]
	return head + to.Name + " at " + c.scene.placeOf(to), c.moves(g.from, g.next)
}

// moves are what each finger does between two grips, from -1 for a free hand.
func (c *conductor) moves(from, to int) []string {
	k := moveKey{c.scene, from, to}
	ms, ok := c.known[k]
	if ok {
		return ms
	}
	a := c.scene.a
	var hand voicing.Placed
	if from >= 0 {
		hand = a.Grips[from]
	}
	all := voicing.Moves(hand, a.Grips[to], a.Tuning)
	switch {
	case from >= 0 && to == from+1:
		all = a.MovesAt(to)
	case from >= 0 && to <= from:
		all = a.MovesRound(voicing.Tick(c.scene.start), voicing.Tick(c.scene.end), voicing.Tick(c.scene.tail))
	}
	ms = movesFrom(hand, all)
	if c.known == nil {
		c.known = map[moveKey][]string{}
	}
	c.known[k] = ms
	return ms
}

// movesFrom are moves in words. A finger of the grip before that has left it since
// for a note of the tune, and is free then, lifts: on the page it is still there.
func movesFrom(before voicing.Placed, moves []voicing.Move) (out []string) {
	for i, f := range before.Fingers {
		if f > 0 && before.Frets[i] > 0 && !slices.ContainsFunc(moves, func(m voicing.Move) bool { return m.Finger == f }) {
			moves = append(moves, voicing.Move{Finger: f, Kind: voicing.Lifts})
		}
	}
	slices.SortStableFunc(moves, func(a, b voicing.Move) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Finger, b.Finger))
	})
	for _, m := range moves {
		out = append(out, m.String())
	}
	return out
}

type moveKey struct {
	scene    *scene
	from, to int
}

// mostMoves is how many moves a change in bars [first, last) has at most, or the
// one after them, be it the one back to the beginning.
func (c *conductor) mostMoves(first, last int) int {
	most, before := 0, -1
	if from, to := c.ends(); from >= 0 && from != to && !c.p.once {
		most = len(c.moves(to, from))
	}
	for i, g := range c.scene.a.Grips {
		if g.Bar < first {
			continue
		}
		most = max(most, len(c.moves(before, i)))
		if g.Bar >= last {
			break
		}
		before = i
	}
	return most
}

// placeOf is where a grip stands in the tune.
func (s *scene) placeOf(g voicing.Placed) string {
	if s.change > 0 {
		return s.a.Bars[g.Bar].Label
	}
	return s.a.PlaceAt(g.At).String()
}

// expected is what the one key does now, in words.
func (c *conductor) expected() string {
	switch c.r.expected() {
	case pauseOrGo:
		if c.r.paused {
			return "go on"
		}
		return "pause"
	case stop:
		return "stop"
	case nextPart:
		return "next, " + c.p.sceneName(c.r.step(1))
	}
	return "this pass again from its start"
}

// sceneName is how a scene that is not played yet is called.
func (p *playing) sceneName(i int) string {
	s := &p.scenes[i]
	if s.change > 0 {
		return "the change to " + p.a.Grips[s.change].Name + " at " + p.a.PlaceAt(p.a.Grips[s.change].At).String()
	}
	if s.name == "" {
		return s.bars()
	}
	return s.name + " (" + s.bars() + ")"
}

// keys are those beside the one key, with what they do.
func (c *conductor) keys() []string {
	ks := []string{"p pause"}
	if c.r.paused {
		ks[0] = "p go on"
	}
	ks = append(ks, "a again")
	if len(c.p.scenes) > 1 {
		what := "phrase"
		if c.p.pr.change != nil {
			what = "change"
		}
		if c.p.file != nil {
			what = "bars"
		}
		ks = append(ks, "n next "+what, "b "+what+" before")
	}
	if !c.r.once {
		ks = append(ks, "- slower", "+ faster")
	}
	for i, l := range c.r.layers {
		key := strconv.Itoa(i + 1)
		if l == midiio.Click {
			key = "c"
		}
		name := l.String()
		if c.r.muted.Has(l) {
			name += " is off"
		}
		ks = append(ks, key+" "+name)
	}
	return append(ks, "q stop")
}

// gripOn is a grip as it is shown.
func gripOn(a *voicing.Arrangement, g voicing.Placed) pageGrip {
	v := pageGrip{name: g.Name}
	b := a.Bars[g.Bar]
	if at := a.PlaceAt(g.At).String(); b.Len > 0 {
		v.under = "beat " + at[strings.LastIndex(at, ":")+1:]
	}
	for i, f := range g.Frets {
		fret, finger := strconv.Itoa(f), "-"
		if f < 0 {
			fret = "x"
		}
		if i < len(g.Fingers) && g.Fingers[i] > 0 {
			finger = strconv.Itoa(g.Fingers[i])
		}
		v.frets, v.fingers = append(v.frets, fret), append(v.fingers, finger)
	}
	return v
}
