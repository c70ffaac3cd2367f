package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"syscall"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/term"
)

// An act is something that plays while it is watched and obeys keys. Lines are
// what there is to say about it, for those who do not see the page.
type act interface {
	press(key string) (lines []string)
	look() (lines []string)
	page() page
	heading() []string
	farewell() string
	// byLine tells that keys are lines: none of them is a key that bounced.
	byLine()
	// unattended tells that no more keys will come: what waits for one goes on
	// without it, or ends.
	unattended() (lines []string)
}

// How often an act is looked at: twenty times a second is as often as a page
// may change.
const watchEvery = 50 * time.Millisecond

// A stage is how an act is shown.
type stage struct {
	e       *env
	plain   bool // lines, though there is a terminal
	typed   bool // there is a standard input to read keys from
	pausing bool // an empty line pauses and goes on
	pedal   *pedal
}

// run shows the act until done has something to say or a key ends it. How it
// ended is returned.
func (s stage) run(ctx context.Context, a act, done <-chan error) error {
	in, out := terminal(s.e.stdin), terminal(s.e.stdout)
	if in == nil || out == nil || !s.typed {
		return s.lines(a, done)
	}
	if s.plain || dumb(os.Getenv("TERM")) {
		return s.keys(ctx, a, done, in)
	}
	return s.still(ctx, a, done)
}

// dumb reports whether a terminal takes nothing but lines. Those of Windows say
// nothing of themselves.
func dumb(term string) bool { return term == "dumb" || term == "" && runtime.GOOS != "windows" }

// terminal is the file that a stream is, if it is a terminal.
func terminal(stream any) *os.File {
	f, ok := stream.(*os.File)
	if !ok || !term.IsTerminal(f.Fd()) {
		return nil
	}
	return f
}

// lines writes lines and reads them.
func (s stage) lines(a act, done <-chan error) error {
	say := func(ls []string) error {
		for _, l := range ls {
			if _, err := fmt.Fprintln(s.e.stdout, l); err != nil {
				return printed(err)
			}
		}
		return nil
	}
	a.byLine()
	if err := say(append(a.heading(), s.pedal.invitation()...)); err != nil {
		return err
	}
	pressed := s.pedal.incoming()
	var typed chan string
	if s.typed && s.e.stdin != nil {
		typed = make(chan string)
		quit := make(chan struct{})
		defer close(quit)
		go func() {
			for l := range linesOf(s.e.stdin) {
				select {
				case typed <- l:
				case <-quit:
					return
				}
			}
			close(typed)
		}()
	}
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		var ls []string
		select {
		case err := <-done:
			if said := say(a.look()); err == nil {
				err = said
			}
			return err
		case <-tick.C:
			ls = a.look()
		case l, ok := <-typed:
			if ok {
				ls = a.press(s.keyTyped(l))
			} else if typed = nil; pressed == nil {
				ls = a.unattended()
			}
		case p := <-pressed:
			ls = footed(a, p)
			if p.gone {
				if pressed = nil; typed == nil {
					ls = append(ls, a.unattended()...)
				}
			}
		}
		if err := say(ls); err != nil {
			return err
		}
	}
}

// footed is what a foot switch does to an act, and what there is to say of it.
func footed(a act, p pedalEvent) (lines []string) {
	if p.line != "" {
		lines = append(lines, p.line)
	}
	if p.press {
		lines = append(lines, a.press("space")...)
	}
	return lines
}

// keyTyped is the key that a line stands for.
func (s stage) keyTyped(line string) string {
	k := strings.ToLower(strings.TrimSpace(line))
	switch {
	case k == "" && s.pausing:
		return "p"
	case k == "":
		return "enter"
	}
	return k
}

// linesOf are the lines of a reader, until it ends. Of one that is longer than
// any key there is its beginning.
func linesOf(r io.Reader) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		b := bufio.NewReaderSize(r, 256)
		for {
			line, more, err := b.ReadLine()
			if err != nil {
				return
			}
			text := string(line)
			for more && err == nil {
				_, more, err = b.ReadLine()
			}
			if !yield(text) {
				return
			}
		}
	}
}

// keys writes lines and takes single keys from a terminal.
func (s stage) keys(ctx context.Context, a act, done <-chan error, in *os.File) error {
	before, err := term.MakeRaw(in.Fd())
	if err != nil {
		return s.lines(a, done)
	}
	defer term.Restore(in.Fd(), before)
	// A raw terminal does not return to the left by itself.
	m := &screen{act: a, done: done, pedal: s.pedal, say: func(ls []string) {
		for _, l := range ls {
			fmt.Fprint(s.e.stdout, l+"\r\n")
		}
	}}
	m.say(append(a.heading(), s.pedal.invitation()...))
	m.say([]string{plainKeys(a)})
	err = m.run(ctx, tea.WithInput(s.e.stdin), tea.WithOutput(s.e.stdout), tea.WithoutRenderer())
	if f := a.farewell(); f != "" && err == nil {
		m.say([]string{f})
	}
	return err
}

// plainKeys names the keys in one line.
func plainKeys(a act) string {
	p := a.page()
	return strings.Join(append([]string{"Space or Enter: " + p.does}, p.keys...), ", ") + ", w where"
}

// still shows the page.
func (s stage) still(ctx context.Context, a act, done <-chan error) error {
	m := &screen{act: a, done: done, pedal: s.pedal, width: 80, height: 24}
	m.announce(s.pedal.invitation())
	m.invited = true
	err := m.run(ctx, tea.WithInput(s.e.stdin), tea.WithOutput(s.e.stdout), tea.WithFPS(int(time.Second/watchEvery)))
	if f := a.farewell(); f != "" && err == nil {
		fmt.Fprintln(s.e.stdout, f)
	}
	return err
}

// A screen is the model of the terminal: keys go to the act, its page is the
// view.
type screen struct {
	act           act
	done          <-chan error
	pedal         *pedal
	say           func([]string) // nil for a page
	news          string         // of the pedal, on the page for a while
	invited       bool           // it asks for the first press
	newsLeft      int            // looks until it goes
	width, height int
	shown         string
	ended         bool // by a key
	err           error
}

type (
	tickMsg time.Time
	doneMsg struct{ err error }
	footMsg pedalEvent
)

func (m *screen) run(ctx context.Context, opts ...tea.ProgramOption) error {
	// The sound ends with ctx, and the screen with the sound.
	p := tea.NewProgram(m, append(opts, tea.WithoutSignalHandler())...)
	defer atOnce(p.Quit)()
	over := make(chan struct{})
	defer close(over)
	go func() {
		for {
			select {
			case e := <-m.pedal.incoming():
				p.Send(footMsg(e))
			case <-over:
				return
			}
		}
	}()
	_, err := p.Run()
	if err != nil && m.err == nil && ctx.Err() == nil {
		return fmt.Errorf("the terminal: %w (--plain does without the page)", err)
	}
	return m.err
}

// atOnce quits at the second signal to end: what it does by itself would leave
// the terminal as the page has it. The first one ends the sound.
func atOnce(quit func()) (stop func()) {
	got, done := make(chan os.Signal, 2), make(chan struct{})
	signal.Notify(got, os.Interrupt, syscall.SIGTERM)
	go func() {
		for n := 0; ; {
			select {
			case <-done:
				return
			case <-got:
				if n++; n == 2 {
					quit()
				}
			}
		}
	}()
	return func() {
		signal.Stop(got)
		close(done)
	}
}

// Init begins to look.
func (m *screen) Init() tea.Cmd {
	m.draw()
	return tea.Batch(m.tick(), func() tea.Msg { return doneMsg{<-m.done} })
}

func (m *screen) tick() tea.Cmd {
	return tea.Tick(watchEvery, func(t time.Time) tea.Msg { return tickMsg(t) })
}

// Update takes a key, a moment, or the end. A fault is an end too, so that it is
// told when the terminal is as it was.
func (m *screen) Update(msg tea.Msg) (_ tea.Model, cmd tea.Cmd) {
	if err := guarded(func() error { cmd = m.take(msg); return nil }); err != nil {
		m.err, cmd = err, tea.Quit
	}
	return m, cmd
}

func (m *screen) take(msg tea.Msg) (cmd tea.Cmd) {
	switch msg := msg.(type) {
	case tea.KeyPressMsg:
		k := keyName(msg.Key())
		if ends(k) {
			if m.ended {
				return tea.Quit // it has been asked for before, and something hangs
			}
			m.ended = true
		}
		m.tell(m.act.press(k))
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case footMsg:
		ls := footed(m.act, pedalEvent(msg))
		m.tell(ls)
		if msg.line != "" {
			m.announce(ls[:1])
			m.invited = false
		}
	case tickMsg:
		m.newsLeft--
		m.tell(m.act.look())
		cmd = m.tick()
	case doneMsg:
		m.err = msg.err
		m.tell(m.act.look())
		cmd = tea.Quit
	default:
		return nil
	}
	m.draw()
	return cmd
}

func (m *screen) tell(lines []string) {
	if m.say != nil {
		m.say(lines)
	}
}

// newsFor is how many looks long news stay on the page.
const newsFor = int(8 * time.Second / watchEvery)

func (m *screen) announce(lines []string) {
	if len(lines) > 0 {
		m.news, m.newsLeft = lines[0], newsFor
	}
}

// draw makes the page of this moment.
func (m *screen) draw() {
	if m.say != nil {
		return
	}
	p := m.act.page()
	if offer := p.offer; m.newsLeft > 0 {
		p.offer = m.news
		if m.invited { // beside what is offered at the beginning, a caution
			p.offer = strings.TrimSpace(offer + " " + m.news)
		}
	}
	m.shown = styled(p.lines(m.width, m.height), false)
}

// View is the page as it was drawn last.
func (m *screen) View() tea.View {
	v := tea.NewView(m.shown)
	v.AltScreen = true
	return v
}

// keyName is the one name of a key: what it types, in small letters.
func keyName(k tea.Key) string {
	switch {
	case k.Code == tea.KeySpace || k.Text == " ":
		return "space"
	case k.Code == tea.KeyEnter || k.Code == tea.KeyKpEnter:
		return "enter"
	case k.Text != "":
		return strings.ToLower(k.Text)
	}
	return k.Keystroke()
}

// ends reports whether a key ends everything.
func ends(key string) bool { return key == "q" || key == "esc" || key == "ctrl+c" }
