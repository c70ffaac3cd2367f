package main

import (
	"fmt"
	"strconv"
	"strings"

	"thumbline/midiio"
	"thumbline/voicing"
	"thumbline/voicing/sheet"
)

// An event is something of a rehearsal that is said in plain lines.
type event struct {
	kind  eventKind
	pass  int
	scale float64 // of the pass
	alone bool
	heard midiio.LayerSet // by the plan
	text  string
}

type eventKind uint8

const (
	passBegun eventKind = iota
	restBegun
	offered
)

// said are the lines of what has happened since.
func (c *conductor) said() (lines []string) {
	for _, e := range c.r.events {
		switch e.kind {
		case passBegun:
			if c.p.once {
				continue
			}
			l := fmt.Sprintf("pass %d  %s, %s", e.pass, c.scene.bars(), c.scene.tempo(e.scale))
			switch {
			case e.alone:
				l += ", your turn"
			case c.r.answers():
				l += ", listen"
			}
			if there := layersThere(c.scene.a.Setting == voicing.Trio); !e.alone && e.heard&midiio.Layers(there...) != midiio.Layers(there...) {
				l += ", " + strings.Join(layerNames(there, e.heard), " and ")
			}
			lines = append(lines, l)
		case restBegun:
			lines = append(lines, "rest, "+bars(c.p.pr.rest))
		case offered:
			lines = append(lines, e.text)
		}
	}
	c.r.events = c.r.events[:0]
	return lines
}

func bars(n int) string {
	if n == 1 {
		return "1 bar"
	}
	return strconv.Itoa(n) + " bars"
}

// answerTo is what is said of a key, besides what comes of it.
func (c *conductor) answerTo(k press, orders []order) (lines []string) {
	if k.do == where {
		return []string{c.where()}
	}
	for _, o := range orders {
		switch o.kind {
		case orderPause:
			lines = append(lines, "paused")
		case orderResume:
			lines = append(lines, "going on")
		case orderAgain:
			lines = append(lines, "again")
		case orderPart:
			lines = append(lines, c.what())
		case orderTempo:
			lines = append(lines, "next pass "+c.scene.tempo(c.r.nextScale()))
		case orderMute, orderUnmute:
			word := " on"
			if o.kind == orderMute {
				word = " off"
			}
			lines = append(lines, strings.Join(layerNames(c.r.layers, o.layers), " and ")+word)
		}
	}
	return lines
}

// where says the place and the next change in one line, to be read aloud.
func (c *conductor) where() string {
	r, a := &c.r, c.scene.a
	parts := append([]string{strings.ToLower(r.state()), c.pass(), c.tempo()}, c.place()...)
	l := strings.Join(parts, ", ") + "."
	g := c.grips()
	if g.now >= 0 {
		l += " Now " + sheet.SayGrip(a.Grips[g.now], a.Tuning) + "."
	}
	if g.next >= 0 {
		_, moves := c.change(g)
		l += " Next at " + c.scene.placeOf(a.Grips[g.next]) + ": " + sheet.SayGrip(a.Grips[g.next], a.Tuning) + ". Fingers: " + sayMoves(moves, a.Tuning) + "."
	}
	return l
}

// sayMoves are moves to be read aloud: a voice has no small letters, so the highest
// string has a word of its own.
func sayMoves(moves []string, tuning []int) string {
	names := voicing.StringNames(tuning)
	high := names[len(names)-1]
	words := strings.Split(strings.Join(moves, "; "), " ")
	for i, w := range words {
		if name := strings.TrimSuffix(w, ";"); name == high && name != strings.ToUpper(name[:1])+name[1:] {
			words[i] = "high " + strings.ToUpper(w[:1]) + w[1:]
		}
	}
	return strings.Join(words, " ")
}

// keyPress is what a key means while it plays.
func (c *conductor) keyPress(key string) (press, bool) {
	switch key {
	case "space", "enter", "pgdown": // which is what a pedal for turning pages sends
		return press{do: theKey}, true
	case "p":
		return press{do: pauseOrGo}, true
	case "a":
		return press{do: again}, true
	case "n", "right":
		return press{do: nextPart}, true
	case "b", "left":
		return press{do: previousPart}, true
	case "-", "_", "down":
		return press{do: slower}, true
	case "+", "=", "up":
		return press{do: faster}, true
	case "c":
		return press{do: layerOnOff, layer: midiio.Click}, true
	case "w":
		return press{do: where}, true
	}
	if ends(key) {
		return press{do: stop}, true
	}
	if n, err := strconv.Atoi(key); err == nil && n >= 1 && n <= len(c.r.layers) && c.r.layers[n-1] != midiio.Click {
		return press{do: layerOnOff, layer: c.r.layers[n-1]}, true
	}
	return press{}, false
}
