package synth

import (
	"io"
	"math"
	"testing"
	"time"
)

// parts is the arrangement cut into strings 1 and 2, 3 and 4, 5 and 6, with
// notes that take each other's strings.
func parts() []Feeder {
	var p [3]Events
	list := arrangement(48000).list
	for _, ev := range list {
		p[ev.msg[0]&0x0f/2].Add(ev.at, ev.msg)
	}
	var taking Events // the inner part's: takes string 1 from the tune
	for k := range int64(20) {
		taking.Add(12000+40000*k, on(0, 70, 60))
		taking.Add(20000+40000*k, off(0, 70, 60))
	}
	merged := append(append([]event{}, p[1].list...), taking.list...)
	return []Feeder{&p[0], sorted(merged), &p[2]}
}

// What the parts sound like adds up to the whole, far below what is heard, also
// while the limiter works; the whole is what it is without stems.
func TestStemsAddUp(t *testing.T) {
	for _, gain := range []float64{0, 14} {
		e, err := NewEngine(Options{Stems: 3, Gain: gain})
		if err != nil {
			t.Fatal(err)
		}
		files := []*memory{{}, {}, {}}
		var whole memory
		frames, err := WriteStems(&whole, []io.WriteSeeker{files[0], files[1], files[2]}, e, parts(), RenderOptions{Tail: time.Second, Format: Float32})
		if err != nil {
			t.Fatal(err)
		}
		one, err := NewEngine(Options{Gain: gain})
		if err != nil {
			t.Fatal(err)
		}
		var alone memory
		n, err := WriteWAV(&alone, one, Join(one, parts()...), RenderOptions{Tail: time.Second, Format: Float32})
		// Each stem rests in its own time.
		if err != nil || max(n-frames, frames-n) > 4800 {
			t.Fatalf("%d frames without stems, %d with: %v", n, frames, err)
		}
		mix, plain := floats(whole.b), floats(alone.b)
		var level, rest, against float64
		var each [3]float64
		for i := range min(len(mix), len(plain)) {
			sum := 0.0
			for k, f := range files {
				v := float64(math.Float32frombits(uint32At(f.b, i)))
				sum += v
				each[k] += v * v
			}
			level += sq(mix[i])
			rest += sq(mix[i] - sum)
			against += sq(mix[i] - plain[i])
		}
		t.Logf("gain %g: the sum is %.0f dB beside the whole, the whole %.0f dB beside the one without stems", gain, 10*math.Log10(rest/level), 10*math.Log10(against/level))
		if 10*math.Log10(rest/level) > -100 || 10*math.Log10(against/level) > -100 {
			t.Errorf("gain %g: the parts do not add up", gain)
		}
		for k, v := range each {
			if 10*math.Log10(v/level) < -20 {
				t.Errorf("stem %d is %.0f dB below the whole", k, 10*math.Log10(v/level))
			}
		}
	}
}

// floats are the samples of a float WAV file of ours.
func floats(b []byte) []float64 {
	x := make([]float64, (len(b)-58)/4)
	for i := range x {
		x[i] = float64(math.Float32frombits(uint32At(b, i)))
	}
	return x
}

func uint32At(b []byte, i int) uint32 {
	p := b[58+4*i:]
	return uint32(p[0]) | uint32(p[1])<<8 | uint32(p[2])<<16 | uint32(p[3])<<24
}

func TestStemsRefused(t *testing.T) {
	e, err := NewEngine(Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := WriteStems(nil, []io.WriteSeeker{new(memory)}, e, []Feeder{new(Events)}, RenderOptions{}); err == nil {
		t.Error("stems of an engine that has none")
	}
	if _, err := NewEngine(Options{Stems: MaxStems + 1}); err == nil {
		t.Error("too many stems")
	}
}
