package sheet

import (
	"bytes"
	"encoding/json"
	"io"
	"strconv"

	"thumbline/voicing"
)

// JSON writes the arrangement as one object for other programs: bars, sections
// (introduction, choruses, the tune's own that have a name, ending) with their
// first and last bar, tempi in quarters a minute, the sheet's chords, grips and
// notes as they sound, times in ticks before swing, strings and frets low to high
// with -1 for a string that is not used, no list ever null. One entry stands on
// one line, so that two versions can be compared by lines.
//
// A note ends as meant, or early because its string is struck again, its finger
// is needed elsewhere, the hand leaves (a shift) or cannot hold it any more; early
// is by how many ticks. letGo has, with the reason in words, the notes of the
// tune that stop before their written end. bassist, in a trio only, is the bass
// player's line.
func JSON(w io.Writer, a *voicing.Arrangement) error {
	var j jsonText
	j.raw("{\n")
	j.field("title", a.Title)
	j.field("key", a.Key.String())
	j.field("tempo", tempo(a))
	j.field("ticksPerQuarter", int(voicing.PerQuarter))
	j.field("transposition", a.Transposition)
	j.field("tuning", ints(a.Tuning))
	j.field("capo", a.Capo)
	list(&j, "bars", a.Bars, func(b voicing.Bar) []pair {
		return []pair{{"label", b.Label}, {"at", int(b.At)}, {"len", int(b.Len)}, {"beat", int(beatLen(b))}}
	})
	list(&j, "sections", Parts(a), func(p Part) []pair {
		return []pair{{"kind", string(p.Kind)}, {"name", p.Name}, {"from", a.Bars[p.From].Label}, {"to", a.Bars[p.To-1].Label},
			{"at", int(a.Bars[p.From].At)}, {"len", int(a.Bars[p.To-1].At + a.Bars[p.To-1].Len - a.Bars[p.From].At)}}
	})
	list(&j, "tempi", a.Tempi, func(m voicing.TempoMark) []pair {
		return []pair{{"at", int(m.At)}, {"bpm", m.BPM}}
	})
	list(&j, "melody", a.Melody, func(n voicing.TuneNote) []pair {
		return []pair{{"at", int(n.At)}, {"dur", int(n.Dur)}, {"midi", n.MIDI}}
	})
	list(&j, "chords", a.Chords, func(c voicing.ChordMark) []pair {
		return []pair{{"at", int(c.At)}, {"symbol", c.Symbol}}
	})
	list(&j, "grips", a.Grips, func(g voicing.Placed) []pair {
		label := ""
		if g.Bar >= 0 && g.Bar < len(a.Bars) {
			label = a.Bars[g.Bar].Label
		}
		borrowed := g.Borrowed
		if borrowed == nil {
			borrowed = []string{}
		}
		return []pair{
			{"at", int(g.At)}, {"bar", label}, {"beat", g.Beat}, {"symbol", g.Symbol}, {"name", g.Name},
			{"scale", g.Scale}, {"borrowed", borrowed}, {"frets", ints(g.Frets)}, {"fingers", ints(g.Fingers)},
			{"texture", g.Texture}, {"reason", g.Reason},
		}
	})
	list(&j, "notes", a.Notes, func(n voicing.Note) []pair {
		return []pair{
			{"at", int(n.At)}, {"dur", int(n.Dur)}, {"midi", n.MIDI}, {"string", n.String}, {"fret", n.Fret},
			{"finger", n.Finger}, {"voice", n.Voice.String()}, {"fill", n.Fill},
			{"ends", n.Ends.String()}, {"early", int(n.Early)},
		}
	})
	if a.Setting == voicing.Trio {
		list(&j, "bassist", a.Bassist, func(n voicing.BassNote) []pair {
			return []pair{{"at", int(n.At)}, {"dur", int(n.Dur)}, {"midi", n.MIDI}}
		})
	}
	list(&j, "letGo", a.LetGo, func(g voicing.LetGo) []pair {
		return []pair{{"at", int(g.At)}, {"midi", g.MIDI}, {"early", int(g.Early)}, {"reason", g.Reason}}
	})
	j.raw(" \"warnings\": [")
	for i, s := range a.Warnings {
		if i > 0 {
			j.raw(",")
		}
		j.raw("\n  ")
		j.value(s)
	}
	if len(a.Warnings) > 0 {
		j.raw("\n ")
	}
	j.raw("]\n}\n")
	if j.err != nil {
		return j.err
	}
	_, err := w.Write(j.Bytes())
	return err
}

type pair struct {
	name  string
	value any
}

// jsonText lays the object out; encoding/json spells the values. Its first
// error stays.
type jsonText struct {
	bytes.Buffer
	err error
}

func (j *jsonText) raw(s string) { j.WriteString(s) }

func (j *jsonText) value(v any) {
	switch v := v.(type) {
	case []int:
		j.raw("[")
		for i, n := range v {
			if i > 0 {
				j.raw(", ")
			}
			j.raw(strconv.Itoa(n))
		}
		j.raw("]")
	case []string:
		j.raw("[")
		for i, s := range v {
			if i > 0 {
				j.raw(", ")
			}
			j.value(s)
		}
		j.raw("]")
	default:
		var b bytes.Buffer
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(v); err != nil && j.err == nil {
			j.err = err
		}
		j.Write(bytes.TrimRight(b.Bytes(), "\n"))
	}
}

func (j *jsonText) field(name string, v any) {
	j.raw(" ")
	j.value(name)
	j.raw(": ")
	j.value(v)
	j.raw(",\n")
}

func list[T any](j *jsonText, name string, items []T, row func(T) []pair) {
	j.raw(" ")
	j.value(name)
	j.raw(": [")
	for i, it := range items {
		if i > 0 {
			j.raw(",")
		}
		j.raw("\n  {")
		for k, p := range row(it) {
			if k > 0 {
				j.raw(", ")
			}
			j.value(p.name)
			j.raw(": ")
			j.value(p.value)
		}
		j.raw("}")
	}
	if len(items) > 0 {
		j.raw("\n ")
	}
	j.raw("],\n")
}

func ints(v []int) []int {
	if v == nil {
		return []int{}
	}
	return v
}
