package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"time"

	"thumbline/midiio"
	"thumbline/synth"
	"thumbline/theory"
	"thumbline/voicing"
)

// sound is the way to the loudspeakers.
type sound interface {
	open(rate int, buffer time.Duration) (synth.Device, error)
	devices() []string
}

// hardware is what the machine has.
type hardware struct{}

func (hardware) open(rate int, buffer time.Duration) (synth.Device, error) {
	return synth.OpenDevice(rate, buffer)
}

func (hardware) devices() []string { return synth.Devices() }

// A playing is a tune on its way to the loudspeakers.
type playing struct {
	a      *voicing.Arrangement
	file   *midiFile   // that is played as it stands, whose bars a is
	info   fs.FileInfo // of the file that was read, if it was one
	from   int         // bars [from, to) that were asked for
	to     int
	h      hearing
	pr     practising
	once   bool // through and no further
	wide   bool // its grips may be wider than the normal hand takes
	seq    *midiio.Sequence
	scenes []scene // that next and previous go through
	asked  scene
	here   int // index of asked in scenes; -1 is none of them
	home   int // of the scene in which asked begins; -1 before the first

	cursor *midiio.Cursor
	out    outlet
	pedal  *pedal // nil for none
}

// A scene is a part as it can be played.
type scene struct {
	name     string // "phrase 5 of 8"; empty for bars that have no name
	a        *voicing.Arrangement
	seq      *midiio.Sequence
	from, to int         // bars, as they are shown
	start    midiio.Tick // what is played is struck in [start, end)
	end      midiio.Tick
	tail     midiio.Tick
	// change is the index of the grip of voicing.Arrangement that is changed
	// to, in place of the rest, which is found when it is played; 0 is none.
	change int
}

// ready opens the way out and lays out what is played.
func ready(ctx context.Context, e *env, o *options, once bool) (*playing, error) {
	h, pr, err := o.asked(once)
	if err != nil {
		return nil, err
	}
	if err := o.checkPlan(); err != nil {
		return nil, err
	}
	m := &midiPorts{system: e.midi}
	way, err := openOutlet(e, m, h)
	if err != nil {
		return nil, err
	}
	foot, err := o.openPedal(m)
	if err != nil {
		way.drop()
		return nil, err
	}
	p, err := prepare(ctx, e, o, h, pr, once)
	if err != nil {
		foot.close()
		way.drop()
		return nil, err
	}
	if p.out, err = way.take(ctx, p); err != nil {
		foot.close()
		return nil, err
	}
	if err := foot.listen(); err != nil {
		foot.close()
		p.out.close()
		return nil, err
	}
	p.pedal = foot
	return p, nil
}

// openOutlet opens the way to what is to sound.
func openOutlet(e *env, m *midiPorts, h hearing) (opening, error) {
	if h.port == nil {
		return openEarly(e.sound), nil
	}
	return h.port.open(m, e.stdout)
}

// close ends what sounds and lets go of all that was opened.
func (p *playing) close() {
	p.out.close()
	p.pedal.close()
}

func prepare(ctx context.Context, e *env, o *options, h hearing, pr practising, once bool) (*playing, error) {
	a, file, info, err := arrangeUntil(ctx, e, o)
	if err != nil {
		return nil, err
	}
	p := &playing{a: a, file: file, info: info, h: h, pr: pr, once: once}
	if p.from, p.to, err = part(a, o); err != nil {
		return nil, err
	}
	if p.wide, err = o.wide(); err != nil {
		return nil, err
	}
	warn(e, o, a)
	h.silent(e, o, a, p.from, p.to)
	if file != nil {
		p.h.soften(file)
		p.seq = file.Sequence
	} else {
		p.seq = h.practice(a)
	}
	if err := p.plan(o); err != nil {
		return nil, err
	}
	return p, p.equip()
}

// unlessEnded is err unless somebody ended it before it began, which is no
// failure of what only plays.
func unlessEnded(err error) error {
	if errors.Is(err, errInterrupted) {
		return nil
	}
	return err
}

// arrangeUntil is playable, given up when ctx ends: a tune may be long, or come
// from somebody who types it.
func arrangeUntil(ctx context.Context, e *env, o *options) (*voicing.Arrangement, *midiFile, fs.FileInfo, error) {
	type arranged struct {
		a    *voicing.Arrangement
		file *midiFile
		info fs.FileInfo
	}
	bar := progressOf(e)
	bar.wait("arranging")
	defer bar.done()
	got, err := until(ctx, func() (arranged, error) {
		a, file, info, err := playable(e, o)
		return arranged{a, file, info}, err
	})
	return got.a, got.file, got.info, err
}

// until does work that cannot be interrupted, and gives it up when ctx ends: it
// is errInterrupted then.
func until[T any](ctx context.Context, work func() (T, error)) (done T, err error) {
	type result struct {
		done T
		err  error
	}
	got := make(chan result, 1)
	go func() {
		var r result
		r.err = guarded(func() (err error) { r.done, err = work(); return err })
		got <- r
	}()
	select {
	case x := <-got:
		if ctx.Err() == nil {
			return x.done, x.err
		}
	case <-ctx.Done():
	}
	return done, errInterrupted
}

// equip stands at the beginning.
func (p *playing) equip() error {
	practice, err := p.study(&p.asked, 1)
	if err != nil {
		return err
	}
	if p.cursor, err = midiio.NewCursor(p.asked.seq, practice, p.h.rate); err != nil {
		return err
	}
	p.cursor.Hush = p.h.port != nil
	if muted := p.muted(); muted != 0 {
		p.cursor.Send(midiio.Order{Kind: midiio.Mute, Layers: muted})
	}
	return nil
}

// practice is everything that could be heard, at the written tempo: what is
// muted can be switched on while it plays.
func (h hearing) practice(a *voicing.Arrangement) *midiio.Sequence {
	return midiio.Perform(a, midiio.PerformOptions{NoSpread: h.noSpread, Click: true})
}

// muted are the layers that are not heard at the start.
func (p *playing) muted() midiio.LayerSet {
	muted := midiio.AllLayers &^ p.h.layers
	if !p.pr.click {
		muted |= midiio.Layers(midiio.Click)
	}
	return muted
}

// plan finds what was asked for and what comes before and after it.
func (p *playing) plan(o *options) error {
	a := p.a
	p.here, p.home = -1, -1
	if p.pr.change != nil {
		return p.planChange(o)
	}
	last := len(a.Phrases) - a.Before - a.After
	for i, ph := range a.Phrases {
		if ph.From >= ph.To {
			continue
		}
		s := scene{a: a, seq: p.seq, from: ph.From, to: ph.To}
		start, end, tail := p.loopPart(ph.From, ph.To)
		s.start, s.end, s.tail = midiio.Tick(start), midiio.Tick(end), midiio.Tick(tail)
		switch n := a.PhraseNumber(i); {
		case p.file != nil: // nobody knows its phrases: they are called by their bars
		case n > 0:
			s.name = fmt.Sprintf("phrase %d of %d", n, last)
		case i < a.Before:
			s.name = voicing.IntroName
		default:
			s.name = voicing.EndingName
		}
		if o.changed("phrase") && a.PhraseNumber(i) == o.phrase {
			p.here, p.asked = len(p.scenes), s
		}
		if p.from >= ph.From && p.from < ph.To {
			p.home = len(p.scenes)
		}
		p.scenes = append(p.scenes, s)
	}
	if p.here >= 0 && !p.once {
		return nil
	}
	p.here = -1
	p.asked = scene{a: a, seq: p.seq, from: p.from, to: p.to}
	switch {
	case o.changed("phrase"):
		p.asked.name = fmt.Sprintf("phrase %d of %d", o.phrase, last)
	case o.changed("section"):
		p.asked.name = sectionName(a, o.section)
	}
	if whole := p.from == 0 && p.to == len(a.Bars); whole {
		p.asked.name = "the whole"
		p.home = -1
	}
	if p.once {
		p.asked.start, p.asked.end = p.seq.Bars[p.from].At, p.seq.End
		if p.to < len(p.seq.Bars) {
			p.asked.end = p.seq.Bars[p.to].At
		}
		p.scenes = nil
		return nil
	}
	start, end, tail := a.LoopSpan(p.from, p.to, 0, 0)
	p.asked.start, p.asked.end, p.asked.tail = midiio.Tick(start), midiio.Tick(end), midiio.Tick(tail)
	return nil
}

// loopPart is the time in which bars [from, to) go round. Nobody knows what leads
// to a bar of a MIDI file.
func (p *playing) loopPart(from, to int) (start, end, tail voicing.Tick) {
	if p.file != nil {
		return p.a.LoopSpan(from, to, 0, 0)
	}
	return p.a.LoopPart(from, to)
}

// sectionName is how a section is called that was asked for by a name of it.
func sectionName(a *voicing.Arrangement, asked string) string {
	sections, form := stretches(a)
	for _, s := range sections {
		if slices.Contains(s.names, asked) {
			return "section " + s.names[0]
		}
	}
	for _, s := range form {
		if slices.Contains(s.names, asked) {
			return s.names[0]
		}
	}
	return ""
}

// study is how a scene is practised, its tempi times factor.
func (p *playing) study(s *scene, factor float64) (midiio.Practice, error) {
	st := midiio.Study{
		From: s.start, To: s.end, Tail: s.tail,
		Scale: p.h.scale(s.seq, s.start) * factor,
		Ramp:  p.pr.ramp, Answer: p.pr.answer, Rest: p.pr.rest, CountIn: p.pr.countIn, Repeat: p.pr.repeat,
		Time: midiio.Layers(midiio.Click),
	}
	if s.a.Setting == voicing.Trio {
		// Who is not there gives no time: then the metronome does.
		if with := midiio.Layers(company...) & p.h.layers; with != 0 {
			st.Time = with
		}
	}
	for _, set := range p.pr.layers {
		st.Layers = append(st.Layers, set|midiio.Layers(midiio.Click)) // which has its own switch
	}
	if p.once {
		st.Repeat = 1
	}
	practice, err := s.seq.Practice(st)
	practice.Clock = p.h.port != nil && p.h.port.clock
	return practice, err
}

// turns are how a scene is practised as a rehearsal knows it.
func (p *playing) turns(s *scene) (plan []turn, back int, err error) {
	practice, err := p.study(s, 1)
	if err != nil {
		return nil, 0, err
	}
	for _, q := range practice.Passes {
		times := q.Times
		if times == 0 {
			times = 1
		}
		plan = append(plan, turn{q.Scale, q.Kind == midiio.Alone, midiio.AllLayers &^ q.Mute, times})
	}
	if practice.Repeat != midiio.Forever {
		return plan, -1, nil
	}
	return plan, practice.Loop, nil
}

// start plays to the end or until ctx ends, which is no failure, and sends what
// has come of it.
func (p *playing) start(ctx context.Context, feed midiio.Feed, gentle bool) <-chan error {
	p.out.load(feed, gentle)
	done := make(chan error, 1)
	go func() {
		err := p.out.run(ctx)
		if err == nil || ctx.Err() != nil {
			done <- nil
			return
		}
		pos, _ := p.cursor.Position(p.out.heard())
		done <- p.out.lost(err, pos.Bar)
	}()
	return done
}

// heading tells what is about to be heard.
func (p *playing) heading() string {
	scale := p.h.scale(p.asked.seq, p.asked.start)
	if len(p.pr.ramp) > 0 {
		scale *= p.pr.ramp[0]
	}
	return p.title() + ", " + p.asked.bars() + ", " + p.asked.tempo(scale) + p.h.port.toPort()
}

// title is the tune and the key that it sounds in, which no MIDI file can be
// trusted to tell.
func (p *playing) title() string {
	title := p.a.Title
	if title == "" {
		title = "Untitled"
	}
	if p.file != nil {
		return title
	}
	return title + ", key " + p.a.Key.String()
}

// bars are those of the scene, as they are labelled; for a change the places of
// its grips.
func (s *scene) bars() string {
	if s.change > 0 {
		return "the change from " + s.a.Bars[s.from].Label + " to " + s.a.Bars[s.to-1].Label
	}
	return barSpan(s.a, s.from, s.to)
}

// barSpan is bars [from, to) as they are labelled.
func barSpan(a *voicing.Arrangement, from, to int) string {
	first, last := a.Bars[from].Label, a.Bars[to-1].Label
	if first == last {
		return "bar " + first
	}
	return "bars " + first + "-" + last
}

// tempo is how fast the scene begins at a scale of the written tempo, counted in
// the beats of its bars.
func (s *scene) tempo(scale float64) string {
	name, _ := s.beat()
	return name + " = " + s.pace(scale)
}

// pace is the number of a tempo alone.
func (s *scene) pace(scale float64) string {
	_, quarters := s.beat()
	t := fmt.Sprintf("%.0f", s.seq.TempoAt(s.start)*scale/quarters)
	if math.Abs(scale-1) > 1e-9 {
		t += fmt.Sprintf(" (%s%%)", number(math.Round(1000*scale)/10))
	}
	return t
}

// beat is the note that its tempo is counted in.
func (s *scene) beat() (name string, quarters float64) {
	beat := midiio.PerQuarter
	if i := s.seq.BarAt(s.start); i >= 0 && s.seq.Bars[i].Beat > 0 {
		beat = s.seq.Bars[i].Beat
	}
	return theory.BeatName(theory.Quarters(int64(beat), int64(midiio.PerQuarter)))
}

// asked is what the flags of "What to hear" and "Practise" ask for. What is played
// once is counted in only when that is asked for too, or when others follow: they
// need a bar to find the tempo.
func (o *options) asked(once bool) (h hearing, pr practising, err error) {
	if h, err = o.hearing(); err != nil {
		return h, pr, err
	}
	count := midiio.CountInAuto
	if once && !o.clock {
		count = 0
	}
	pr, err = o.practising(count, h)
	return h, pr, err
}

func hear(ctx context.Context, e *env, o *options) error {
	if o.step {
		return step(ctx, e, o)
	}
	return perform(ctx, e, o, true)
}

func loop(ctx context.Context, e *env, o *options) error {
	return perform(ctx, e, o, false)
}

// perform plays while it shows where it is and obeys keys.
func perform(ctx context.Context, e *env, o *options, once bool) error {
	p, err := ready(ctx, e, o, once)
	if err != nil {
		return unlessEnded(err)
	}
	defer p.close()
	play, end := context.WithCancel(ctx)
	defer end()
	c, err := newConductor(p, e.now, end)
	if err != nil {
		return err
	}
	s := stage{e: e, plain: o.plain, typed: o.tune != "-" && (!p.once || terminal(e.stdin) != nil), pausing: true, pedal: p.pedal}
	c.typed = s.typed
	if err := s.run(ctx, c, p.start(play, p.cursor, !p.once)); err != nil {
		return err
	}
	if c.fault != nil {
		return c.fault
	}
	p.out.tell(e.stdout)
	return nil
}

// planChange finds the changes of grips and the one that was asked for.
func (p *playing) planChange(o *options) error {
	at, err := p.a.GripAt(*p.pr.change)
	if err != nil {
		return usagef("--change: %s: %w", tuneName(o), err)
	}
	for i := 1; i < len(p.a.Grips); i++ {
		p.scenes = append(p.scenes, scene{change: i})
	}
	p.here = at - 1
	p.asked = scene{change: at}
	if err := p.find(&p.asked); err != nil {
		return usagef("--change: %s: %w", tuneName(o), err)
	}
	p.scenes[p.here] = p.asked
	return nil
}

// find lays a change out as something to play; what is a part of the tune is
// laid out already.
func (p *playing) find(s *scene) error {
	if s.seq != nil {
		return nil
	}
	a, err := voicing.Change(p.a, s.change)
	if err != nil {
		return err
	}
	s.a, s.seq = a, p.h.practice(a)
	s.from, s.to = 0, len(a.Bars)
	start, end, tail := a.LoopSpan(0, len(a.Bars), 0, 0)
	s.start, s.end, s.tail = midiio.Tick(start), midiio.Tick(end), midiio.Tick(tail)
	g := p.a.Grips
	s.name = fmt.Sprintf("%s to %s", g[s.change-1].Name, g[s.change].Name)
	return nil
}
