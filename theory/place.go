package theory

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// A Place is a position as a player says it: a bar by its printed label, which
// time through, and a beat. "3:2&" is the off-beat after beat 2 of bar 3,
// "3/2:1" beat 1 of bar 3 the second time, "3" the whole bar.
type Place struct {
	Label string // without its pass: "3", "0" the pick-up, "8+" a pick-up inside
	Pass  int    // 1 the first time through; 0 means 1
	Beat  Time   // in beats of the bar, from 1, 5/2 the off-beat; 0 the whole bar
}

// ParsePlace reads the forms that String writes and decimal beats, "3:2.25".
// Four and more decimals stand for the fraction with the smallest denominator
// that is rounded to them: 2.3333 is 7/3.
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
	b, ok := parseBeat(number)
	if !ok || off && b.Den() != 1 {
		return bad(fmt.Sprintf("%q is not a beat", beat))
	}
	if off {
		b = b.Add(Quarters(1, 2))
	}
	if b.Less(Quarters(1, 1)) || !b.Less(Quarters(maxBeat, 1)) {
		return bad(fmt.Sprintf("there is no beat %s", beat))
	}
	p.Beat = b
	return p, nil
}

const (
	// maxBeat is more than the beats of any bar that a reader makes.
	maxBeat = 1 << 18
	// maxBeatDen is for the finest division of a quarter that a reader takes,
	// 4 << 20, in a pick-up counted from the end of a bar of 64ths.
	maxBeatDen = 16 * 4 << 20
	// plainDecimals say 2.3333 for 7/3; fewer are taken as they stand.
	plainDecimals = 4
	// maxDecimals tell any two fractions with denominators up to maxBeatDen
	// apart: they differ by 1/maxBeatDen^2, 2e-16, or more.
	maxDecimals = 16
)

// parseBeat reads digits with decimals or without.
func parseBeat(s string) (Time, bool) {
	whole, decimals, _ := strings.Cut(s, ".")
	if whole == "" || strings.Trim(whole+decimals, "0123456789") != "" {
		return Time{}, false
	}
	w, err := strconv.ParseInt(whole, 10, 64)
	if err != nil || w > maxBeat {
		w = maxBeat
	}
	for len(decimals) < plainDecimals {
		decimals += "0"
	}
	// Decimals that no division of a beat has, the noise of somebody's
	// arithmetic, are rounded away.
	for k := min(len(decimals), maxDecimals); ; k-- {
		n, m := int64(0), int64(1)
		for _, d := range decimals[:k] {
			n, m = 10*n+int64(d-'0'), 10*m
		}
		if k < len(decimals) && decimals[k] >= '5' {
			n++
		}
		if b := simplest(n, m); b.Den() <= maxBeatDen || k == plainDecimals {
			return b.Add(Quarters(w, 1)), true
		}
	}
}

// simplest is the fraction with the smallest denominator that is rounded to
// n/m, of 0 <= n <= m.
func simplest(n, m int64) Time {
	if n == 0 || n == m {
		return Quarters(n, m)
	}
	return Quarters(between(2*n-1, 2*m, 2*n+1, 2*m))
}

// between is the fraction with the smallest terms strictly between a/b and c/d,
// which is a common beginning of their continued fractions and then the least
// number that parts them.
func between(a, b, c, d int64) (num, den int64) {
	whole := a / b
	if (whole+1)*d < c {
		return whole + 1, 1
	}
	a, c = a-whole*b, c-whole*d
	if a == 0 { // 1/x has no upper end
		num, den = 1, d/c+1
	} else {
		den, num = between(d, c, b, a)
	}
	return num + whole*den, den
}

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

// String is the shortest form that is read as the same place: "3", "3/2:1",
// "3:2&", "3:2.25", "3:2.3333".
func (p Place) String() string {
	if p.Beat == (Time{}) {
		return p.bar()
	}
	return p.bar() + ":" + beatText(p.Beat)
}

// beatText is a beat as String writes it.
func beatText(b Time) string {
	if b.Num() < 0 {
		return "-" + beatText(Time{}.Sub(b))
	}
	whole := b.Num() / b.Den()
	rest := b.Sub(Quarters(whole, 1))
	switch rest {
	case Time{}:
		return strconv.FormatInt(whole, 10)
	case Quarters(1, 2):
		return strconv.FormatInt(whole, 10) + "&"
	}
	var s string
	for k := 1; k <= maxDecimals; k++ {
		s = big.NewRat(b.Num(), b.Den()).FloatString(k)
		if again, ok := parseBeat(s); ok && again == b {
			break
		}
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
	if p.Beat == (Time{}) {
		return b.At, nil
	}
	x := p.Beat.Sub(Quarters(1, 1))
	in := b.beat().Mul(x.Num(), x.Den()).Sub(b.lead())
	if in.Less(Time{}) || !in.Less(b.Len) {
		first := b.placeOf(Time{}).Beat
		last := math.Ceil(b.lead().Add(b.Len).Float() / b.beat().Float())
		return Time{}, fmt.Errorf("bar %s has no beat %s (its beats go from %s to %g)", p.bar(), beatText(p.Beat), beatText(first), last)
	}
	return b.At.Add(in), nil
}

// placeOf is the place of a time counted from the start of the bar.
func (b Bar) placeOf(in Time) Place {
	p, beat := b.place(), b.beat()
	in = in.Add(b.lead())
	p.Beat = in.Mul(beat.Den(), beat.Num()).Add(Quarters(1, 1))
	return p
}

// PlaceOf is the place of a time, with its beat; times before or after all
// bars are counted on from the first or last.
func (t *Tune) PlaceOf(at Time) Place {
	i := t.BarAt(at)
	if i < 0 {
		return Place{Label: "1", Pass: 1, Beat: at.Add(Quarters(1, 1))}
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
