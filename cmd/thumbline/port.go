package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"gitlab.com/gomidi/midi/v2/drivers"

	"thumbline/midiio"
)

// midiSystem is the way to MIDI ports. An error of open is one sentence that says
// what is missing, and what works meanwhile.
type midiSystem interface {
	open() (drivers.Driver, error)
}

// systemMIDI is what the machine has; it differs from system to system.
type systemMIDI struct{}

// portName is how ports of our own are called.
const portName = "thumbline"

// Statuses of channel messages (MIDI 1.0).
const (
	noteOn  = 0x90
	control = 0xB0
	program = 0xC0
)

// portRate is how many frames a second has for a port: a frame is a microsecond.
const portRate = 1_000_000

// portCaution stands wherever something else than our own strings is about to
// sound: there is no limiter and no soft beginning there.
const portCaution = "Outside gear may be loud: turn it down before the first note."

// midiPorts opens the driver when it is asked for first.
type midiPorts struct {
	system midiSystem
	driver drivers.Driver
	users  atomic.Int32
}

// open counts one user more.
func (m *midiPorts) open() (drivers.Driver, error) {
	if m.driver == nil {
		d, err := m.system.open()
		if err != nil {
			return nil, err
		}
		m.driver = d
	}
	m.users.Add(1)
	return m.driver, nil
}

// close closes the driver with the last user.
func (m *midiPorts) close() {
	if m.users.Add(-1) == 0 {
		m.driver.Close()
	}
}

// outs are the outputs with their names.
func outs(d drivers.Driver) ([]drivers.Out, []string, error) {
	ports, err := d.Outs()
	if err != nil {
		return nil, nil, fmt.Errorf("MIDI outputs: %w", err)
	}
	return ports, portNames(ports), nil
}

// ins are the inputs with their names.
func ins(d drivers.Driver) ([]drivers.In, []string, error) {
	ports, err := d.Ins()
	if err != nil {
		return nil, nil, fmt.Errorf("MIDI inputs: %w", err)
	}
	return ports, portNames(ports), nil
}

// portNames are names as they can be shown: other programs choose them.
func portNames[P drivers.Port](ports []P) []string {
	names := make([]string, len(ports))
	for i, p := range ports {
		names[i] = printable(p.String())
	}
	return names
}

// printable is a text of somebody else without what a terminal would obey.
func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if !strconv.IsPrint(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	return strings.TrimSpace(s)
}

// choosePort is the index of the port that somebody means: by its whole name, its
// number from 1, or a part of its name, whatever its capitals. What is "port" or
// "input".
func choosePort(what, asked string, names []string) (int, error) {
	if len(names) == 0 {
		return 0, fmt.Errorf("no MIDI %s %q; there is none at all (connect something, then look with: thumbline ports)", what, asked)
	}
	fold := strings.ToLower
	for _, fits := range []func(i int) bool{
		func(i int) bool { return names[i] == asked },
		func(i int) bool { return fold(names[i]) == fold(asked) },
		func(i int) bool { return strconv.Itoa(i+1) == asked },
		func(i int) bool { return strings.Contains(fold(names[i]), fold(asked)) },
	} {
		var found []int
		var called []string
		for i := range names {
			if fits(i) {
				found, called = append(found, i), append(called, names[i])
			}
		}
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			advice := "give more of the name"
			if same := slices.Compact(slices.Sorted(slices.Values(called))); len(same) < len(called) {
				advice = "give the number (thumbline ports lists them)"
			}
			last := len(called) - 1
			return 0, fmt.Errorf("%q fits %s and %s: %s", asked, strings.Join(called[:last], ", "), called[last], advice)
		}
	}
	return 0, fmt.Errorf("no MIDI %s %q; there are: %s", what, asked, strings.Join(names, ", "))
}

func ports(_ context.Context, e *env, _ *options) error {
	var lines []string
	d, err := e.midi.open()
	if err != nil {
		lines = append(lines, err.Error())
	} else {
		defer d.Close()
		_, names, err := outs(d)
		lines = append(lines, listPorts("MIDI outputs", names, err)...)
		_, names, err = ins(d)
		lines = append(lines, listPorts("MIDI inputs", names, err)...)
		lines = append(lines, "Sound")
	}
	for _, l := range e.sound.devices() {
		if err == nil {
			l = "  " + l
		}
		lines = append(lines, l)
	}
	for _, l := range lines {
		if _, err := fmt.Fprintln(e.stdout, l); err != nil {
			return printed(err)
		}
	}
	return nil
}

// listPorts lists names under a head.
func listPorts(head string, names []string, err error) []string {
	switch {
	case err != nil:
		return []string{printable(err.Error())}
	case len(names) == 0:
		return []string{head, "  none"}
	}
	lines := []string{head}
	for i, n := range names {
		lines = append(lines, fmt.Sprintf("  %d  %s", i+1, n))
	}
	return lines
}

// A portChoice is what the flags of ports ask for.
type portChoice struct {
	asked    string
	name     string // of the port, when it is found
	to       [16]int
	programs bool
	clock    bool
	stats    bool
}

// virtualPort asks for a port of our own.
const virtualPort = "virtual"

// Channels, counted from 1, that are taken.
const (
	bassistOn = 9
	clickOn   = 10
)

// portChoice checks the flags, nil without --port.
func (o *options) portChoice() (*portChoice, error) {
	if o.changed("switch") && strings.TrimSpace(o.pedal) == "" {
		return nil, usagef("--switch is empty (give the number or a part of the name of a MIDI input: thumbline ports lists them)")
	}
	if !o.changed("port") {
		for _, f := range []string{"channels", "no-program", "clock", "stats"} {
			if o.changed(f) {
				return nil, usagef("--%s is for a MIDI port: add --port, or leave it out", f)
			}
		}
		return nil, nil
	}
	c := &portChoice{asked: strings.TrimSpace(o.port), programs: !o.noProgram, clock: o.clock, stats: o.stats}
	if c.asked == "" {
		return nil, usagef("--port is empty (give the number or a part of the name of a MIDI output: thumbline ports lists them)")
	}
	for _, f := range []string{"tone", "a4", "gain"} {
		if o.changed(f) {
			return nil, usagef("--%s is for the built-in strings, which are silent with --port: leave one of them out", f)
		}
	}
	var err error
	c.to, err = o.parseChannels()
	return c, err
}

// parseChannels is the channel, from 0, that each channel of ours is sent on.
func (o *options) parseChannels() (to [16]int, err error) {
	for i := range to {
		to[i] = i
	}
	if !o.changed("channels") || o.channels == "strings" {
		return to, nil
	}
	neck, err := o.neck()
	if err != nil {
		return to, err
	}
	n := neck.Strings()
	from, until, block := strings.Cut(o.channels, "-")
	first, ok1 := channelNumber(from)
	last, ok2 := first, ok1
	if block {
		last, ok2 = channelNumber(until)
	}
	switch {
	case !ok1 || !ok2:
		return to, usagef("--channels %q: no such channels (give strings, a block such as 11-16, or one channel, 1 to 16)", o.channels)
	case block && last-first+1 != n:
		return to, usagef("--channels %s: the guitar has %d strings, so its block has %d channels, such as 11-%d", o.channels, n, n, 10+n)
	case first <= clickOn && clickOn <= last:
		return to, usagef("--channels %s: channel 10 has the clicks and the drums (choose others)", o.channels)
	case o.trio() && first <= bassistOn && bassistOn <= last:
		return to, usagef("--channels %s: channel 9 has the bass player of the trio (choose others)", o.channels)
	}
	for i := range n {
		to[i] = first - 1
		if block {
			to[i] += i
		}
	}
	return to, nil
}

// channelNumber reads 1 to 16.
func channelNumber(s string) (int, bool) {
	n, err := strconv.Atoi(s)
	return n, err == nil && n >= 1 && n <= 16 && strconv.Itoa(n) == s
}

// toPort is how a heading goes on.
func (c *portChoice) toPort() string {
	if c == nil {
		return ""
	}
	return fmt.Sprintf(", to MIDI port %q", c.name)
}

// caution are the lines that come with it.
func (c *portChoice) caution() []string {
	if c == nil {
		return nil
	}
	return []string{portCaution}
}

// open finds the port and opens it.
func (c *portChoice) open(m *midiPorts, say io.Writer) (opening, error) {
	d, err := m.open()
	if err != nil {
		return nil, err
	}
	o := &portOut{choice: c, ports: m, say: say, over: make(chan struct{})}
	if err := o.open(d); err != nil {
		m.close()
		return nil, err
	}
	return o, nil
}

// A portOut is a MIDI port as an outlet, and its opening.
type portOut struct {
	choice *portChoice
	ports  *midiPorts
	say    io.Writer
	out    drivers.Out
	driver *midiio.Driver
	signal chan os.Signal

	sent    atomic.Int64 // messages, with the one that is being sent
	sending atomic.Bool  // there is one
	started atomic.Bool
	over    chan struct{} // closed when the driver has come to its end
}

func (o *portOut) open(d drivers.Driver) error {
	if strings.EqualFold(o.choice.asked, virtualPort) {
		v, ok := d.(interface {
			OpenVirtualOut(name string) (drivers.Out, error)
		})
		if !ok {
			return errors.New("this system has no virtual MIDI ports (choose one of those that thumbline ports lists)")
		}
		out, err := v.OpenVirtualOut(portName)
		if err != nil {
			return fmt.Errorf("MIDI port %q: %w", portName, err)
		}
		o.out, o.choice.name = out, portName
		return nil
	}
	all, names, err := outs(d)
	if err != nil {
		return err
	}
	i, err := choosePort("port", o.choice.asked, names)
	if err != nil {
		return err
	}
	o.out, o.choice.name = all[i], names[i]
	if err := o.out.Open(); err != nil {
		return fmt.Errorf("MIDI port %q cannot be opened: %w", names[i], err)
	}
	return nil
}

func (o *portOut) drop() { o.close() }

func (o *portOut) take(ctx context.Context, _ *playing) (outlet, error) {
	if err := o.await(ctx, connectTime, connectLook); err != nil {
		o.close()
		return nil, err
	}
	return o, nil
}

// How long a port of our own waits for somebody to connect, and how often it looks.
const (
	connectTime = 30 * time.Second
	connectLook = 50 * time.Millisecond
)

// await waits for another program to connect to a port of our own.
func (o *portOut) await(ctx context.Context, most, look time.Duration) error {
	c, ok := o.out.(interface{ Connected() bool })
	if !ok || c.Connected() {
		return nil
	}
	say := func(format string, args ...any) error {
		_, err := fmt.Fprintf(o.say, format+"\n", args...)
		return printed(err)
	}
	if err := say("Connect to the MIDI port %q: it waits up to %g s.", o.choice.name, most.Seconds()); err != nil {
		return err
	}
	tick, end := time.NewTicker(look), time.NewTimer(most)
	defer tick.Stop()
	defer end.Stop()
	for {
		select {
		case <-ctx.Done():
			return errInterrupted
		case <-end.C:
			return say("Nobody has connected: it plays all the same.")
		case <-tick.C:
			if c.Connected() {
				return say("Connected.")
			}
		}
	}
}

func (o *portOut) load(f midiio.Feed, _ bool) {
	send := midiio.Route(o.choice.to, o.choice.programs, func(msg []byte) error {
		o.sent.Add(1)
		o.sending.Store(true)
		defer o.sending.Store(false)
		return o.out.Send(msg)
	})
	o.driver = midiio.NewDriver(f, midiio.SystemClock(), send)
	// No signal ends the program while a note sounds elsewhere; a second Ctrl-C
	// does not either.
	o.signal = make(chan os.Signal, 4)
	for _, s := range heldSignals {
		if !signal.Ignored(s) {
			signal.Notify(o.signal, s)
		}
	}
}

// How a port is looked after: its Send may never return. A player should be told
// within a second. Looks are counted, not time, so that none counts in which the
// machine has not let us run.
const (
	portLook     = 50 * time.Millisecond
	stuckLooks   = 10 // at one message
	patientLooks = 5  // with what is to end and sends nothing more
	portPatient  = patientLooks * portLook
)

func (o *portOut) run(ctx context.Context) error {
	play, end := context.WithCancel(ctx)
	defer end()
	ran := make(chan error, 1)
	o.started.Store(true)
	go func() {
		defer close(o.over)
		ran <- guarded(func() error { return o.driver.Run(play) })
	}()
	// Some ports say that they are gone, others only to who sends.
	var gone <-chan struct{}
	if g, ok := o.out.(interface{ Gone() <-chan struct{} }); ok {
		gone = g.Gone()
	}
	tick := time.NewTicker(portLook)
	defer tick.Stop()
	for at, looks := int64(0), 0; ; {
		select {
		case err := <-ran:
			return err
		case s := <-o.signal:
			obeySignal(s, o.hush, func() {
				end()
				o.settle()
			})
		case <-gone:
			return midiio.ErrPortGone
		case <-tick.C:
			if n := o.sent.Load(); n != at || !o.sending.Load() {
				at, looks = n, 0
			} else if looks++; looks == stuckLooks {
				return midiio.ErrPortStuck
			}
		}
	}
}

func (o *portOut) heard() int64 { return o.driver.Frame() }

func (o *portOut) obeyed() int64 { return o.driver.Obeyed() }

func (o *portOut) notice() string { return "" }

func (o *portOut) lost(err error, bar string) error {
	if errors.As(err, new(fault)) {
		return err
	}
	name := o.choice.name
	at := ""
	if bar != "" {
		at = " at bar " + bar
	}
	switch {
	case errors.Is(err, midiio.ErrPortGone):
		return fmt.Errorf("MIDI port %q went away%s (was it unplugged, or its program ended?)", name, at)
	case errors.Is(err, midiio.ErrPortStuck):
		return fmt.Errorf("MIDI port %q does not take notes%s (does the program that it leads to hang?)", name, at)
	}
	return fmt.Errorf("MIDI port %q%s: %w", name, at, err)
}

func (o *portOut) tell(w io.Writer) {
	if !o.choice.stats {
		return
	}
	l := o.driver.Lateness()
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	fmt.Fprintf(w, "MIDI: %d messages sent; half of them were at most %.2f ms late, 99 of 100 at most %.2f ms, the latest %.2f ms.\n", l.Count, ms(l.Median), ms(l.P99), ms(l.Most))
}

// hush lets go of what sounds, and waits until that has been sent.
func (o *portOut) hush() {
	select {
	case <-o.driver.Hush():
	case <-o.over:
	case <-time.After(portPatient):
	}
}

// settle waits until the driver has silenced what sounds.
func (o *portOut) settle() {
	tick := time.NewTicker(portLook)
	defer tick.Stop()
	for at, looks := int64(-1), 0; looks < patientLooks; {
		select {
		case <-o.over:
			return
		case <-tick.C:
			if n := o.sent.Load(); n != at {
				at, looks = n, 0
			} else {
				looks++
			}
		}
	}
}

func (o *portOut) close() {
	if o.started.Load() {
		o.settle()
	}
	if o.signal != nil {
		signal.Stop(o.signal)
	}
	briefly(func() {
		o.out.Close()
		o.ports.close()
	})
}

// briefly does what may hang, and gives it up then.
func briefly(do func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		do()
	}()
	select {
	case <-done:
	case <-time.After(portPatient):
	}
}

// programs are the program changes at the beginning of a sequence.
func programs(s *midiio.Sequence) (msgs [][3]byte) {
	for _, e := range s.Events {
		if e.Tick > 0 {
			break
		}
		if e.Msg[0]&0xF0 == program && !slices.Contains(msgs, e.Msg) {
			msgs = append(msgs, e.Msg)
		}
	}
	return msgs
}

// A prefaced feed begins with messages of its own.
type prefaced struct {
	midiio.Feed
	first [][3]byte
}

func (p *prefaced) Fill(until int64, emit func(at int64, msg [3]byte)) (more bool) {
	for _, m := range p.first {
		emit(0, m)
	}
	p.first = nil
	return p.Feed.Fill(until, emit)
}
