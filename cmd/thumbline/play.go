package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"thumbline/midiio"
	"thumbline/synth"
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

func ports(_ context.Context, e *env, _ *options) error {
	for _, l := range e.sound.devices() {
		if _, err := fmt.Fprintln(e.stdout, l); err != nil {
			return printed(err)
		}
	}
	return nil
}

// How often the player is told where things are.
const watchEvery = 20 * time.Millisecond

// A playing is a practice on its way to the loudspeakers.
type playing struct {
	a      *voicing.Arrangement
	from   int // bars [from, to)
	to     int
	seq    *midiio.Sequence
	cursor *midiio.Cursor
	engine *synth.Engine
	device synth.Device
	scale  float64
}

// ready opens the sound and lays out the passes. pass has all but From, To and
// Scale.
func ready(e *env, o *options, h hearing, pass midiio.Pass) (*playing, error) {
	a, _, err := arrange(e, o)
	if err != nil {
		return nil, err
	}
	p := &playing{a: a}
	if p.from, p.to, err = part(a, o); err != nil {
		return nil, err
	}
	if p.engine, err = h.engine(a); err != nil {
		return nil, err
	}
	warn(e, o, a)
	h.silent(e, o, a, p.from, p.to)
	p.seq = h.perform(a)
	pass.From = p.seq.Bars[p.from].At
	if p.to < len(p.seq.Bars) {
		pass.To = p.seq.Bars[p.to].At
	}
	p.scale = h.scale(p.seq, pass.From)
	pass.Scale = p.scale
	if p.cursor, err = midiio.NewCursor(p.seq, midiio.Once(pass), p.engine.Rate()); err != nil {
		return nil, err
	}
	p.engine.SetFeeder(p.cursor)
	if p.device, err = e.sound.open(p.engine.Rate(), synth.DefaultBuffer); err != nil {
		return nil, err
	}
	return p, nil
}

// play plays to the end or until ctx ends, which is no failure. meanwhile is
// called now and then with the place that is heard.
func (p *playing) play(ctx context.Context, d synth.Device, meanwhile func(midiio.Position)) error {
	done := make(chan struct{})
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		tick := time.NewTicker(watchEvery)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				if pos, ok := p.cursor.Position(d.Played()); ok {
					meanwhile(pos)
				}
			}
		}
	}()
	err := synth.Play(ctx, d, p.engine, synth.DefaultBuffer)
	close(done)
	<-stopped
	if err == nil || ctx.Err() != nil {
		return nil
	}
	if pos, ok := p.cursor.Position(d.Played()); ok && pos.Bar != "" {
		return fmt.Errorf("at bar %s: %w", pos.Bar, err)
	}
	return err
}

// holes tells of interrupted sound when all is over. A server may count one
// that nobody could hear.
func (p *playing) holes(w io.Writer) {
	if n, lost := p.device.Underruns(); n > 0 && lost >= time.Millisecond {
		fmt.Fprintf(w, "The sound was interrupted %s, %d ms in all: the machine was too busy.\n", times(n), lost.Milliseconds())
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// heading tells what is about to be heard.
func (p *playing) heading(w io.Writer) error {
	title := p.a.Title
	if title == "" {
		title = "Untitled"
	}
	_, err := fmt.Fprintf(w, "%s, key %s, %s, %s\n", title, p.a.Key, p.bars(), p.tempo())
	return printed(err)
}

// bars are those that are played, as they are labelled.
func (p *playing) bars() string { return barSpan(p.a, p.from, p.to) }

// barSpan is how bars [from, to) are called.
func barSpan(a *voicing.Arrangement, from, to int) string {
	first, last := a.Bars[from].Label, a.Bars[to-1].Label
	if first == last {
		return "bar " + first
	}
	return "bars " + first + "-" + last
}

// tempo is how fast it goes at the start of the part.
func (p *playing) tempo() string {
	s := fmt.Sprintf("quarter = %.0f", p.seq.TempoAt(p.seq.Bars[p.from].At)*p.scale)
	if math.Abs(p.scale-1) > 1e-9 {
		s += fmt.Sprintf(" (%s%%)", number(100*p.scale))
	}
	return s
}

func hear(ctx context.Context, e *env, o *options) error {
	h, err := o.hearing()
	if err != nil {
		return err
	}
	n, err := parseCountIn(o.countIn, 0)
	if err != nil {
		return err
	}
	p, err := ready(e, o, h, midiio.Pass{CountIn: n})
	if err != nil {
		return err
	}
	defer p.device.Close()
	if err := p.heading(e.stdout); err != nil {
		return err
	}
	if err := p.play(ctx, p.device, func(midiio.Position) {}); err != nil {
		return err
	}
	p.holes(e.stdout)
	return nil
}

func loop(ctx context.Context, e *env, o *options) error {
	h, err := o.hearing()
	if err != nil {
		return err
	}
	pr, err := o.practising(midiio.CountInAuto)
	if err != nil {
		return err
	}
	passes := midiio.Forever
	if pr.repeat > 0 {
		passes = pr.repeat
	}
	p, err := ready(e, o, h, midiio.Pass{CountIn: pr.countIn, Times: passes})
	if err != nil {
		return err
	}
	defer p.device.Close()
	if err := p.heading(e.stdout); err != nil {
		return err
	}
	if o.tune != "-" {
		fmt.Fprintln(e.stdout, "Enter pauses and goes on; Ctrl-C ends.")
		go p.enter(e.stdin)
	}
	say := coach{start: e.now(), line: p.bars() + ", " + p.tempo()}
	tell := func(played int) {
		for _, l := range say.lines(played, e.now()) {
			fmt.Fprintln(e.stdout, l)
		}
	}
	err = p.play(ctx, &gentle{Device: p.device}, func(pos midiio.Position) {
		if !pos.CountIn {
			tell(pos.Played)
		}
	})
	if err != nil {
		return err
	}
	if ctx.Err() == nil {
		tell(passes) // the last may have ended between two looks
	}
	p.holes(e.stdout)
	return nil
}

// enter pauses and resumes with each line that is typed.
func (p *playing) enter(r io.Reader) {
	if r == nil {
		return
	}
	kind := midiio.Pause
	for s := bufio.NewScanner(r); s.Scan(); {
		p.cursor.Send(midiio.Order{Kind: kind})
		if kind == midiio.Pause {
			kind = midiio.Resume
		} else {
			kind = midiio.Pause
		}
	}
}

// A coach says which pass it is and, now and then, that hands need rest: after
// six times through one phrase and after 25 minutes (harmony.md 7.1).
type coach struct {
	start  time.Time
	line   string // what a pass is
	told   int    // passes
	rested int    // spans of playing
}

const (
	playSpan  = 25 * time.Minute
	passesRow = 6
)

// lines are those due when played passes have begun.
func (c *coach) lines(played int, now time.Time) []string {
	var ls []string
	for c.told < played {
		c.told++
		ls = append(ls, fmt.Sprintf("pass %d  %s", c.told, c.line))
		if c.told == passesRow+1 {
			ls = append(ls, "That was six times: a good moment to rest the hand, or to take another phrase.")
		}
	}
	if n := int(now.Sub(c.start) / playSpan); n > c.rested {
		c.rested = n
		ls = append(ls, fmt.Sprintf("%d minutes: rest for five, then go on. Stop if it hurts.", n*int(playSpan/time.Minute)))
	}
	return ls
}

// A gentle device begins softly, so that nothing is loud before a hand can
// reach the volume.
type gentle struct {
	synth.Device
	given int64
}

const (
	gentleTime = 3 * time.Second
	gentleGain = 0.25 // -12 dB
)

func (g *gentle) Start(render func(out []float32)) error {
	whole := float64(g.Rate()) * gentleTime.Seconds()
	return g.Device.Start(func(out []float32) {
		render(out)
		for i := 0; i+1 < len(out) && float64(g.given) < whole; i += 2 {
			x := float32(math.Pow(gentleGain, 1-float64(g.given)/whole))
			out[i] *= x
			out[i+1] *= x
			g.given++
		}
	})
}
