package synth

import (
	"testing"
	"time"
)

// sixStrings is seconds of music for six strings: bass on the half notes, two
// inner strings on every beat, melody in eighths on the high two, at 96 beats a
// minute; about ten notes a second, as the speed test of a full texture.
func sixStrings(rate int, seconds float64) *Events {
	type note struct {
		at, end float64
		s, p, v int
	}
	var notes []note
	open := [6]int{64, 59, 55, 50, 45, 40}
	eighth := 60.0 / 96 / 2
	rnd := uint64(6196)
	pick := func(n int) int { rnd = next(rnd); return int(rnd >> 33 % uint64(n)) }
	for k := 0; float64(k)*eighth < seconds; k++ {
		at := float64(k) * eighth
		base := 3 + k/8%6
		if k%4 == 0 {
			notes = append(notes, note{at, at + 3.9*eighth, 5 - k/4%2, base, 70 + pick(25)})
		}
		if k%2 == 0 {
			notes = append(notes, note{at + 0.01, at + 1.8*eighth, 3, base + pick(3), 50 + pick(25)},
				note{at + 0.02, at + 1.8*eighth, 2, base + pick(3), 50 + pick(25)})
		}
		notes = append(notes, note{at + 0.025, at + 0.95*eighth, k % 2, base + pick(5), 75 + pick(35)},
			note{at + 0.03, at + 1.9*eighth, 1 - k%2, base + pick(5), 50 + pick(25)})
	}
	var list []event
	for _, n := range notes {
		p := byte(open[n.s] + n.p)
		list = append(list, event{int64(n.at * float64(rate)), [3]byte{0x90 | byte(n.s), p, byte(n.v)}},
			event{int64(n.end * float64(rate)), [3]byte{0x80 | byte(n.s), p, 64}})
	}
	return sorted(list)
}

func BenchmarkRender(b *testing.B) {
	const seconds = 30
	for _, tone := range Tones() {
		b.Run(tone, func(b *testing.B) {
			out := make([]float32, 2*512)
			for b.Loop() {
				e, err := NewEngine(Options{Tone: tone})
				if err != nil {
					b.Fatal(err)
				}
				e.SetFeeder(sixStrings(48000, seconds))
				for range seconds * 48000 / 512 {
					e.Render(out)
				}
			}
			b.ReportMetric(seconds/(b.Elapsed().Seconds()/float64(b.N)), "x_real_time")
		})
	}
}

// BenchmarkRenderTrio is the same with a bass on every half note and a stroke of
// the drummer on every eighth.
func BenchmarkRenderTrio(b *testing.B) {
	const seconds = 30
	out := make([]float32, 2*512)
	for b.Loop() {
		e, err := NewEngine(Options{})
		if err != nil {
			b.Fatal(err)
		}
		list := sixStrings(48000, seconds).list
		eighth := 48000 * 60.0 / 96 / 2
		for k := 0; float64(k)*eighth < seconds*48000; k++ {
			at := int64(float64(k) * eighth)
			list = append(list, event{at, on(ClickChannel, 51, 50)})
			if k%4 == 2 {
				list = append(list, event{at, on(ClickChannel, 44, 50)})
			}
			if k%4 == 0 {
				p := 28 + k%15
				list = append(list, event{at, on(BassChannel, p, 66)}, event{at + int64(3.9*eighth), off(BassChannel, p, 64)})
			}
		}
		e.SetFeeder(sorted(list))
		for range seconds * 48000 / 512 {
			e.Render(out)
		}
	}
	b.ReportMetric(seconds/(b.Elapsed().Seconds()/float64(b.N)), "x_real_time")
}

func BenchmarkWriteWAV(b *testing.B) {
	const seconds = 30
	for b.Loop() {
		e, err := NewEngine(Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := WriteWAV(new(memory), e, sixStrings(48000, seconds), RenderOptions{Tail: time.Second}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(seconds/(b.Elapsed().Seconds()/float64(b.N)), "x_real_time")
}
