package theory

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Place is a position as a player says it: a bar by its printed label, which
// time through, and a beat. "3:2&" is the off-beat after beat 2 of bar 3,
// "3/2:1" beat 1 of bar 3 the second time, "3" the whole bar.
type Place struct {
	Label string  // without its pass: "3", "0" the pick-up, "8+" a pick-up inside
	Pass  int     // 1 the first time through; 0 means 1
	Beat  float64 // from 1, 2.5 the off-beat; 0 the whole bar
}

// ParsePlace reads the forms that String writes and decimal beats, "3:2.25".
func ParsePlace(s string) (Place, error) {
	bad := func(why string) (Place, error) {
		return Place{}, fmt.Errorf("place %q: %s (use bar:beat, like 3:2, 3:2& for the off-beat, 3/2:1 the second time)", s, why)
	}
	bar, beat, hasBeat := strings.Cut(s, ":")
	p, err := parseBar(bar)
	if err != nil {
		return bad(err.Error())
	}
	if !hasBeat {
		return p, nil
	}
	number, off := strings.CutSuffix(beat, "&")
	for _, r := range number {
		if (r < '0' || r > '9') && r != '.' {
			return bad(fmt.Sprintf("%q is not a beat", beat))
		}
	}
	b, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return bad(fmt.Sprintf("%q is not a beat", beat))
	}
	if off {
		if b != math.Floor(b) {
			return bad(fmt.Sprintf("%q is not a beat", beat))
		}
		b += 0.5
	}
	if b = round4(b); b < 1 || b >= maxBeat {
		return bad(fmt.Sprintf("there is no beat %s", beat))
	}
	p.Beat = simplest(b).Float()
	return p, nil
}

// maxBeat is more than the beats of any bar; it keeps fractions exact.
const maxBeat = 10000

// parseBar reads a label with its pass.
func parseBar(s string) (Place, error) {
	label, pass, hasPass := strings.Cut(s, "/")
	if label == "" {
		return Place{}, fmt.Errorf("no bar is given")
	}
	if i := strings.IndexFunc(label, notLabel); i >= 0 {
		return Place{}, fmt.Errorf("%q is not a bar", label)
	}
	p := Place{Label: label, Pass: 1}
	if hasPass {
		n, err := strconv.Atoi(pass)
		if err != nil || n < 1 || pass[0] < '0' || pass[0] > '9' {
			return Place{}, fmt.Errorf("%q is not a time through", pass)
		}
		p.Pass = n
	}
	return p, nil
}

// notLabel refuses what places and ranges are made of.
func notLabel(r rune) bool {
	return r <= ' ' || r == 0x7f || r == '\ufffd' || strings.ContainsRune(":/-,&", r)
}

// String is the shortest form: "3", "3/2:1", "3:2&", "3:2.25".
func (p Place) String() string {
	s := p.bar()
	switch {
	case p.Beat == 0:
	case p.Beat-math.Floor(p.Beat) == 0.5:
		s += ":" + strconv.FormatFloat(math.Floor(p.Beat), 'f', -1, 64) + "&"
	default:
		s += ":" + strconv.FormatFloat(round4(p.Beat), 'f', -1, 64)
	}
	return s
}

// bar is the label with its pass, as Bar.Label has it.
func (p Place) bar() string {
	if p.Pass > 1 {
		return p.Label + "/" + itoa(p.Pass)
	}
	return p.Label
}

// round4 is a beat as String prints it.
func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// simplest is the fraction with the smallest denominator that prints as x does
// with four decimals: 2.3333 is 7/3.
func simplest(x float64) Time {
	x = round4(x)
	for den := int64(1); den < 10000; den++ {
		if num := math.Round(x * float64(den)); round4(num/float64(den)) == x {
			return Quarters(int64(num), den)
		}
	}
	return Quarters(int64(math.Round(x*1e4)), 1e4)
}

// place is where a bar is, without a beat.
func (b Bar) place() Place {
	label, _, _ := strings.Cut(b.Label, "/")
	return Place{Label: label, Pass: max(b.Pass, 1)}
}

// IsPickup reports a bar that begins within its metre: the pick-up, label 0,
// and a pick-up inside, whose label has a +.
func (b Bar) IsPickup() bool {
	label := b.place().Label
	return label == "0" || strings.HasSuffix(label, "+")
}

// lead is how much of the full bar is missing before a pick-up: its beats are
// counted so that they end with the bar.
func (b Bar) lead() Time {
	if b.Metre.Den > 0 && b.IsPickup() {
		if full := b.Metre.BarLen(); b.Len.Less(full) {
			return full.Sub(b.Len)
		}
	}
	return Time{}
}

// beat is the length of a beat in the bar.
func (b Bar) beat() Time {
	if b.Beat.Cmp(Time{}) > 0 {
		return b.Beat
	}
	return Quarters(1, 1)
}

// bar finds the bar of a place, or says why there is none.
func (t *Tune) bar(p Place) (int, error) {
	times := 0
	for i, b := range t.Bars {
		at := b.place()
		if at.Label != p.Label {
			continue
		}
		if at.Pass == max(p.Pass, 1) {
			return i, nil
		}
		times = max(times, at.Pass)
	}
	if times > 0 {
		return 0, fmt.Errorf("there is no bar %s (bar %s comes %s)", p.bar(), p.Label, timesOf(times))
	}
	if len(t.Bars) == 0 {
		return 0, fmt.Errorf("there is no bar %s (the tune has no bars)", p.bar())
	}
	return 0, fmt.Errorf("there is no bar %s (the bars go from %s to %s)", p.bar(), t.Bars[0].Label, t.Bars[len(t.Bars)-1].Label)
}

func timesOf(n int) string {
	if n == 1 {
		return "once"
	}
	return itoa(n) + " times"
}

// Time is when a place is; a whole bar is its start. Absent bars and beats are
// errors. Beats are those of the bar; in a pick-up they are counted so that
// they end with it, 0:4 being the last of 4/4.
func (t *Tune) Time(p Place) (Time, error) {
	i, err := t.bar(p)
	if err != nil {
		return Time{}, err
	}
	b := t.Bars[i]
	if p.Beat == 0 {
		return b.At, nil
	}
	x := simplest(p.Beat - 1)
	in := b.beat().Mul(x.Num(), x.Den()).Sub(b.lead())
	if in.Less(Time{}) || !in.Less(b.Len) {
		first := b.placeOf(Time{}).Beat
		last := math.Ceil(b.lead().Add(b.Len).Float() / b.beat().Float())
		return Time{}, fmt.Errorf("bar %s has no beat %s (its beats go from %s to %g)", p.bar(),
			strings.TrimPrefix(Place{Label: "", Beat: p.Beat}.String(), ":"),
			strings.TrimPrefix(Place{Label: "", Beat: first}.String(), ":"), last)
	}
	return b.At.Add(in), nil
}

// placeOf is the place of a time counted from the start of the bar.
func (b Bar) placeOf(in Time) Place {
	p, beat := b.place(), b.beat()
	in = in.Add(b.lead())
	x := Quarters(in.Num()*beat.Den(), in.Den()*beat.Num())
	p.Beat = 1 + x.Float()
	return p
}

// PlaceOf is the place of a time, with its beat; times before or after all
// bars are counted on from the first or last.
func (t *Tune) PlaceOf(at Time) Place {
	i := t.BarAt(at)
	if i < 0 {
		return Place{Label: "1", Pass: 1, Beat: 1 + at.Float()}
	}
	return t.Bars[i].placeOf(at.Sub(t.Bars[i].At))
}

// BarRange reads bars as a player says them, "5-8", "3/2", "1-4/2", each the
// first time through unless it says otherwise. It returns indices into Bars,
// from the first to after the last.
func (t *Tune) BarRange(s string) (from, to int, err error) {
	bad := func(err error) (int, int, error) {
		return 0, 0, fmt.Errorf("bars %q: %w", s, err)
	}
	first, last, isRange := strings.Cut(strings.TrimSpace(s), "-")
	if !isRange {
		last = first
	}
	for i, end := range []struct {
		text string
		bar  *int
	}{{first, &from}, {last, &to}} {
		p, err := parseBar(strings.TrimSpace(end.text))
		if err != nil {
			return bad(fmt.Errorf("%w (use A-B, or A/2-B/2 for the second time)", err))
		}
		if *end.bar, err = t.bar(p); err != nil {
			return bad(err)
		}
		*end.bar += i
	}
	if to <= from {
		return bad(fmt.Errorf("the end comes before the beginning (write %s-%s)", strings.TrimSpace(last), strings.TrimSpace(first)))
	}
	return from, to, nil
}
