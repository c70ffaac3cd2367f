package voicing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// presses reads frets from low to high, "x 3 2 0 1 0", with fingers in the same
// order, "- 3 2 - 1 -"; a blank string leaves all fingers to be found.
func presses(t testing.TB, frets, fingers string) []Press {
	t.Helper()
	fr, fi := strings.Fields(frets), strings.Fields(fingers)
	var out []Press
	for i, f := range fr {
		n, err := strconv.Atoi(f)
		if err != nil {
			continue
		}
		p := Press{Stop{int8(len(fr) - i), int8(n)}, 0}
		if len(fi) == len(fr) {
			d, _ := strconv.Atoi(fi[i])
			p.Finger = int8(d)
		}
		out = append(out, p)
	}
	return out
}

// fingerText is what fingers found, low to high, in the form presses reads.
func fingerText(ps []Press, f fingering, strings int) string {
	b := []byte(fmt.Sprintf("%*s", strings, ""))
	for i := range b {
		b[i] = '-'
	}
	for i, p := range ps {
		if f.finger[i] > 0 {
			b[strings-int(p.String)] = byte('0' + f.finger[i])
		}
	}
	return string(b)
}

// TestHand: common practice, no source, but where a rule of harmony.md 6.2 is
// named.
func TestHand(t *testing.T) {
	g := newGrasp(StandardNeck(), NormalHand())
	for _, c := range []struct {
		name, frets, fingers string
		want                 string // fingers found; "" = no hand
	}{
		{"open strings need no finger", "0 x 0 0 0 x", "", "------"},
		{"one note", "x x x 7 x x", "", "---1--"},
		{"first-position C", "x 3 2 0 1 0", "", "-32-1-"},
		{"first-position E", "0 2 2 1 0 0", "", "-231--"},
		{"full barre", "1 3 3 2 1 1", "", "134211"},
		{"barre of the fifth string", "x 2 4 4 3 2", "", "-13421"},
		{"drop 2", "x x 5 5 5 6", "", "--1112"},
		{"drop 3", "8 x 8 8 8 x", "", "1-111-"}, // barre over the skipped string
		{"bass and shell", "3 x 3 4 x x", "", "1-23--"},
		{"high up one hand spans five frets", "x 12 x x 16 17", "", "-1--34"},
		{"six notes at two frets", "3 5 5 5 3 3", "", "123411"},

		{"five frets, four fingers", "1 2 3 4 5 x", "", ""},
		{"five notes that nothing can join", "1 2 1 2 1 2", "", "121314"},
		{"too far at the nut", "1 x x x 5 x", "", ""},
		{"neighbouring fingers too far", "x 1 x 4 x x", "x 1 x 2 x x", ""},
		{"and with another finger not", "x 1 x 4 x x", "x 1 x 3 x x", "-1-3--"},
		{"open string under a barre", "x 3 5 0 5 3", "- 1 3 - 4 1", ""},
		{"a flat finger damps what is stopped lower", "x x 4 3 4 x", "- - 2 1 2 -", ""},
		{"but not what is stopped higher", "x x 3 5 3 x", "- - 1 3 1 -", "--131-"},
		{"two frets for one finger", "x 3 5 x x x", "- 1 1 - - -", ""},
		{"finger order against fret order", "x 3 5 x x x", "- 2 1 - - -", ""},
		{"another finger amid a flat one", "x x 5 5 5 x", "- - 1 2 1 -", ""},
		{"given fingers may cross at a fret", "x 0 2 2 2 0", "- - 2 1 3 -", "--213-"},
		{"but not far", "x 3 x x x 3", "- 2 - - - 1", ""},
		{"and are not asked to", "x x 4 4 x 4", "", "--12-3"},
		{"third finger flat over four, given", "x 1 3 3 3 3", "- 1 3 3 3 3", "-13333"},
		{"little finger flat over four", "x 1 4 4 4 4", "- 1 4 4 4 4", ""},
		{"a fixed finger beside free ones", "x 3 2 0 1 0", "- 4 - - - -", "-43-2-"},
		{"a finger on an open string", "x 0 2 2 2 0", "- 1 2 3 4 -", ""},
		{"a fifth finger", "x 3 x x x x", "- 5 - - - -", ""},
		{"seven strings", "5 x 5 6 5 x x", "", "1-243--"},
	} {
		ps := presses(t, c.frets, c.fingers)
		f := g.fingers(ps)
		got := ""
		if f.ok {
			got = fingerText(ps, f, len(strings.Fields(c.frets)))
		}
		if got != c.want {
			t.Errorf("%s: %s with %q: %q, want %q (%v)", c.name, c.frets, c.fingers, got, c.want, f)
		}
	}
	if g.fingers([]Press{{Stop{2, 3}, 0}, {Stop{2, 5}, 0}}).ok {
		t.Error("two notes on one string are held")
	}
}

// rules is a hand written down pair by pair, to be slow and plain.
type rules struct {
	neck  Neck
	reach [4]float64 // mm between fingers 0, 1, 2 and 3 apart
	flat  [5]int     // strings that each finger lies over at most
	cross int        // strings that fingers crossing at one fret may be apart
}

// holds judges a shape whose fingers are all given.
func (r rules) holds(ps []Press) bool {
	for i, p := range ps {
		if (p.Fret == 0) != (p.Finger == 0) || p.Finger > 4 {
			return false
		}
		for j, q := range ps {
			if i == j {
				continue
			}
			if p.String == q.String {
				return false
			}
			if p.Fret == 0 || q.Fret == 0 || p.Finger > q.Finger {
				continue
			}
			if p.Finger == q.Finger && p.Fret != q.Fret || p.Fret > q.Fret {
				return false
			}
			if mm := r.neck.At(int(q.Fret)) - r.neck.At(int(p.Fret)); mm > r.reach[q.Finger-p.Finger] {
				return false
			}
			if p.Finger < q.Finger && p.Fret == q.Fret && int(q.String-p.String) > r.cross {
				return false
			}
			if p.Finger != q.Finger || p.String > q.String {
				continue
			}
			if int(q.String-p.String) >= r.flat[p.Finger] {
				return false
			}
			for _, o := range ps {
				if o.String > p.String && o.String < q.String && o.Finger != p.Finger && o.Fret <= p.Fret {
					return false
				}
			}
		}
	}
	return true
}

// each calls f with every way to give the free notes fingers.
func each(ps []Press, i int, f func([]Press)) {
	for ; i < len(ps); i++ {
		if ps[i].Fret > 0 && ps[i].Finger == 0 {
			for d := int8(1); d <= 4; d++ {
				ps[i].Finger = d
				each(ps, i+1, f)
			}
			ps[i].Finger = 0
			return
		}
	}
	f(ps)
}

// some reports whether there are fingers for the free notes.
func (r rules) some(ps []Press) bool {
	ok := false
	each(slices.Clone(ps), 0, func(q []Press) { ok = ok || r.holds(q) })
	return ok
}

// rulesOf are the rules of a hand, as wide as for fingers that are given, or as
// close as for those that are found.
func rulesOf(n Neck, h Hand, given bool) rules {
	r := rules{neck: n, reach: [4]float64{0, h.Adjacent, h.Reach, h.Reach}, flat: [5]int{0, 9, 3, 3, 3}}
	if given {
		r.flat[3], r.cross = 4, 2
	}
	return r
}

// A drawn shape: frets near each other, some open, fingers given to none, all
// or some of the notes.
func drawShape(t *rapid.T, n Neck, fingers string) []Press {
	lo := rapid.IntRange(1, 14).Draw(t, "lowest fret")
	width := rapid.IntRange(0, 5).Draw(t, "frets more")
	var ps []Press
	for s := 1; s <= n.Strings(); s++ {
		p := Press{Stop{int8(s), 0}, 0}
		switch rapid.IntRange(0, 9).Draw(t, "string") {
		case 0, 1, 2:
			continue
		case 3:
		default:
			p.Fret = int8(lo + rapid.IntRange(0, width).Draw(t, "fret"))
			if fingers == "given" || fingers == "some" && rapid.Bool().Draw(t, "given") {
				p.Finger = int8(rapid.IntRange(1, 4).Draw(t, "finger"))
			}
		}
		ps = append(ps, p)
	}
	return rapid.Permutation(ps).Draw(t, "order")
}

func drawHand(t *rapid.T) Hand {
	return HandOf(float64(rapid.IntRange(minReach, maxReach).Draw(t, "reach")))
}

func drawNeck(t *rapid.T) Neck {
	n := StandardNeck()
	if rapid.Bool().Draw(t, "seven strings") {
		n.Tuning = append([]int{35}, n.Tuning...)
	}
	n.Capo = rapid.IntRange(0, 3).Draw(t, "capo")
	n.Scale = rapid.SampledFrom([]float64{628.65, 635, 648, 650}).Draw(t, "scale")
	return n
}

// given puts the fingers that were found on the notes.
func given(ps []Press, f fingering) []Press {
	out := slices.Clone(ps)
	for i := range out {
		out[i].Finger = f.finger[i]
	}
	return out
}

// TestFingersAgainstRules: whatever is asked, the answer is that of the plain
// rules; the fingers found keep those given, follow the rules, and no others are
// easier.
func TestFingersAgainstRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, h := drawNeck(t), drawHand(t)
		g := newGrasp(n, h)
		fingers := rapid.SampledFrom([]string{"free", "given", "some"}).Draw(t, "fingers")
		ps := drawShape(t, n, fingers)
		f := g.fingers(ps)
		anyGiven := false
		for _, p := range ps {
			anyGiven = anyGiven || p.Finger != 0
		}
		r := rulesOf(n, h, anyGiven)
		if want := r.some(ps); f.ok != want {
			t.Fatalf("%v: %v, by the rules %v", ps, f, want)
		}
		if !f.ok {
			return
		}
		full := given(ps, f)
		if !r.holds(full) {
			t.Fatalf("%v: the fingers %v break the rules", ps, f.finger)
		}
		pos := int8(99)
		for i, p := range full {
			if ps[i].Finger != 0 && ps[i].Finger != p.Finger {
				t.Fatalf("%v: finger %d became %d", ps, ps[i].Finger, p.Finger)
			}
			if p.Fret > 0 {
				pos = min(pos, p.Fret-p.Finger+1)
			}
		}
		if pos == 99 {
			pos = 0
		} else {
			pos = max(pos, 1)
		}
		if f.pos != pos {
			t.Fatalf("%v: position %d with fingers %v, want %d", ps, f.pos, f.finger, pos)
		}
		if same := g.fingers(full); !same.ok || math.Abs(same.cost-f.cost) > 1e-9 {
			t.Fatalf("%v: cost %g when found, %g when given", full, f.cost, same.cost)
		}
		each(slices.Clone(ps), 0, func(q []Press) {
			if r.holds(q) {
				if o := g.fingers(q); !o.ok || o.cost < f.cost-1e-8 {
					t.Fatalf("%v: %v found, but %v costs %g", ps, f, q, o.cost)
				}
			}
		})
	})
}

// TestFewerNotes: what is held is held without any of its notes, with the same
// fingers or new ones.
func TestFewerNotes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNeck(t)
		g := newGrasp(n, drawHand(t))
		ps := drawShape(t, n, rapid.SampledFrom([]string{"free", "given", "some"}).Draw(t, "fingers"))
		if len(ps) == 0 || !g.fingers(ps).ok {
			t.Skip("not held")
		}
		i := rapid.IntRange(0, len(ps)-1).Draw(t, "without")
		less := slices.Delete(slices.Clone(ps), i, i+1)
		if !g.fingers(less).ok {
			t.Fatalf("%v is held, %v is not", ps, less)
		}
	})
}

// TestUpTheNeck: what is held without open strings is held a fret higher.
func TestUpTheNeck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNeck(t)
		g := newGrasp(n, drawHand(t))
		ps := drawShape(t, n, rapid.SampledFrom([]string{"free", "given", "some"}).Draw(t, "fingers"))
		ps = slices.DeleteFunc(ps, func(p Press) bool { return p.Fret == 0 })
		if !g.fingers(ps).ok {
			t.Skip("not held")
		}
		for i := range ps {
			ps[i].Fret++
		}
		if !g.fingers(ps).ok {
			t.Fatalf("%v is held a fret lower, but not there", ps)
		}
	})
}

// TestMoreReach: a hand that reaches farther holds all that a smaller one does,
// and not with more trouble.
func TestMoreReach(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, h := drawNeck(t), drawHand(t)
		ps := drawShape(t, n, rapid.SampledFrom([]string{"free", "given", "some"}).Draw(t, "fingers"))
		f := newGrasp(n, h).fingers(ps)
		if !f.ok {
			t.Skip("not held")
		}
		more := newGrasp(n, HandOf(h.Reach+rapid.Float64Range(0, 40).Draw(t, "more"))).fingers(ps)
		if !more.ok || more.cost > f.cost+1e-9 {
			t.Fatalf("%v: %v, with more reach %v", ps, f, more)
		}
	})
}

// TestFingersInOrder: the fingers found are 0 on open strings alone, and follow
// the frets.
func TestFingersInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNeck(t)
		g := newGrasp(n, drawHand(t))
		ps := drawShape(t, n, "free")
		f := g.fingers(ps)
		if !f.ok {
			t.Skip("not held")
		}
		for i, p := range ps {
			if (p.Fret == 0) != (f.finger[i] == 0) {
				t.Fatalf("%v: fingers %v", ps, f.finger)
			}
			for j, q := range ps {
				if f.finger[i] > 0 && f.finger[i] < f.finger[j] && p.Fret > q.Fret {
					t.Fatalf("%v: fingers %v against the frets", ps, f.finger)
				}
			}
		}
	})
}

// referee is a second opinion on a hand on a 648 mm scale: neighbouring fingers
// within 68 mm, one between them 100 mm, the outer ones 128 mm, and a finger
// flat over as many strings as it likes.
func referee() rules {
	return rules{neck: StandardNeck(), reach: [4]float64{0, 68, 100, 128}, flat: [5]int{0, 9, 9, 9, 9}}
}

// refereed judges notes that sound together: there are fingers for the shape,
// and those given make a hand.
func (r rules) refereed(ps []Press) bool {
	bare := slices.Clone(ps)
	for i := range bare {
		bare[i].Finger = 0
	}
	if !r.some(bare) {
		return false
	}
	for i, p := range ps {
		if (p.Fret == 0) != (p.Finger == 0) {
			return false
		}
		for _, q := range ps[i+1:] {
			if p.Finger > q.Finger {
				p, q = q, p
			}
			if p.Finger == 0 {
				continue
			}
			mm := r.neck.At(int(q.Fret)) - r.neck.At(int(p.Fret))
			if p.Finger == q.Finger && p.Fret != q.Fret || p.Fret > q.Fret || mm > r.reach[q.Finger-p.Finger] {
				return false
			}
		}
	}
	return true
}

// TestReferee: what a normal or a small hand holds passes a second opinion.
func TestReferee(t *testing.T) {
	r := referee()
	rapid.Check(t, func(t *rapid.T) {
		n := StandardNeck()
		h := rapid.SampledFrom([]Hand{NormalHand(), SmallHand()}).Draw(t, "hand")
		ps := drawShape(t, n, rapid.SampledFrom([]string{"free", "given", "some"}).Draw(t, "fingers"))
		f := newGrasp(n, h).fingers(ps)
		if !f.ok {
			t.Skip("not held")
		}
		if full := given(ps, f); !r.refereed(full) {
			t.Fatalf("%v passes here and not there", full)
		}
	})
}

// TestJudge: the same with the judge of the shared data, which is a program of
// its own.
func TestJudge(t *testing.T) {
	dir := os.Getenv("THUMBLINE_DATA")
	if dir == "" {
		t.Skip("THUMBLINE_DATA is not set: no judge to ask")
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3: the judge cannot be asked")
	}
	const ask = `
import sys
import hand, measure
for line in sys.stdin:
    now = [dict(zip(('string', 'fret', 'finger'), map(int, w.split(':')))) for w in line.split()]
    ok = hand.playable(tuple(sorted({(n['string'], n['fret']) for n in now})))[0]
    print(int(bool(ok)), int(bool(measure.fingers_right(now))))
`
	r := rand.New(rand.NewPCG(6, 2))
	var lines []string
	n := StandardNeck()
	for len(lines) < 20000 {
		h := []Hand{NormalHand(), SmallHand()}[r.IntN(2)]
		lo, mode := 1+r.IntN(13), r.IntN(3)
		var ps []Press
		for s := int8(1); s <= 6; s++ {
			if r.IntN(3) == 0 {
				continue
			}
			p := Press{Stop{s, 0}, 0}
			if r.IntN(6) > 0 {
				p.Fret = int8(lo + r.IntN(5))
				if mode == 1 || mode == 2 && r.IntN(2) == 0 {
					p.Finger = min(4, max(1, p.Fret-int8(lo)+int8(r.IntN(3))))
				}
			}
			ps = append(ps, p)
		}
		f := newGrasp(n, h).fingers(ps)
		if !f.ok || len(ps) == 0 {
			continue
		}
		var words []string
		for i, p := range ps {
			words = append(words, fmt.Sprintf("%d:%d:%d", p.String, p.Fret, f.finger[i]))
		}
		lines = append(lines, strings.Join(words, " "))
	}
	cmd := exec.Command(python, "-c", ask)
	cmd.Env = append(os.Environ(), "PYTHONPATH="+filepath.Join(dir, "judge"), "PYTHONDONTWRITEBYTECODE=1")
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("the judge failed: %v", err)
	}
	answers := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(answers) != len(lines) {
		t.Fatalf("%d answers to %d questions", len(answers), len(lines))
	}
	bad := 0
	for i, a := range answers {
		if a != "1 1" {
			if bad++; bad <= 10 {
				t.Errorf("%s: playable, fingers right: %s", lines[i], a)
			}
		}
	}
	t.Logf("%d of %d refused", bad, len(lines))
}

// benchShapes are shapes as the arranger asks for them.
func benchShapes(fingers bool) [][]Press {
	r := rand.New(rand.NewPCG(1, 2))
	var out [][]Press
	for range 4096 {
		lo := 1 + r.IntN(12)
		strs := r.Perm(6)[:1+r.IntN(5)]
		slices.Sort(strs)
		var ps []Press
		for _, s := range strs {
			p := Press{Stop{int8(s + 1), 0}, 0}
			if r.IntN(5) > 0 {
				p.Fret = int8(lo + r.IntN(4))
				if fingers {
					p.Finger = min(4, max(1, p.Fret-int8(lo)+int8(r.IntN(2))+int8(r.IntN(2))))
				}
			}
			ps = append(ps, p)
		}
		out = append(out, ps)
	}
	return out
}

func BenchmarkFingersFound(b *testing.B) { benchFingers(b, benchShapes(false)) }
func BenchmarkFingersGiven(b *testing.B) { benchFingers(b, benchShapes(true)) }

func benchFingers(b *testing.B, shapes [][]Press) {
	g := newGrasp(StandardNeck(), NormalHand())
	b.ReportAllocs()
	i, held := 0, 0
	for b.Loop() {
		if g.fingers(shapes[i%len(shapes)]).ok {
			held++
		}
		i++
	}
	b.ReportMetric(float64(held)/float64(i), "held")
}
