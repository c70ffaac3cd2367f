package main

import (
	"runtime"
	"testing"

	"thumbline/midiio"
	"thumbline/synth"
)

// A thousand passes, with all that a page asks and a player may order on the
// way, leave no more memory in use than a hundred.
func TestThousandPasses(t *testing.T) {
	const rate = 8000 // the strings are made for it; it saves time
	s := &midiio.Sequence{
		Tempi: []midiio.TempoMark{{BPM: 240}}, End: midiio.PerQuarter,
		Bars: []midiio.Bar{{Label: "1", Len: midiio.PerQuarter, Beat: midiio.PerQuarter}},
		Events: []midiio.Event{
			{Msg: [3]byte{0x90, 64, 90}}, {Msg: [3]byte{0x95, 40, 80}},
			{Tick: midiio.PerQuarter / 2, Msg: [3]byte{0x80, 64, 64}}, {Tick: midiio.PerQuarter, Msg: [3]byte{0x85, 40, 64}},
		},
	}
	practice, err := s.Practice(midiio.Study{Scale: 4, Ramp: []float64{0.6, 0.8, 1}})
	if err != nil {
		t.Fatal(err)
	}
	c, err := midiio.NewCursor(s, practice, rate)
	if err != nil {
		t.Fatal(err)
	}
	e, err := synth.NewEngine(synth.Options{Rate: rate})
	if err != nil {
		t.Fatal(err)
	}
	e.SetFeeder(c)
	block := make([]float32, 2*80)
	frames, faster := int64(0), false
	play := func(passes int) uint64 {
		for end := passes; ; {
			e.Render(block)
			frames += int64(len(block) / 2)
			pos, ok := c.Position(frames)
			if ok && pos.Played >= end {
				break
			}
			if frames%(rate/4) == 0 { // a restless player
				factor := 1.0
				if faster = !faster; faster {
					factor = 1.25
				}
				c.Send(midiio.Order{Kind: midiio.Tempo, Factor: factor})
				c.Send(midiio.Order{Kind: midiio.Mute, Layers: midiio.Layers(midiio.Bass)})
				c.Send(midiio.Order{Kind: midiio.Unmute, Layers: midiio.Layers(midiio.Bass)})
			}
		}
		runtime.GC()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := play(100)
	after := play(1100)
	if after > before+64<<10 {
		t.Errorf("%d KB in use after 100 passes, %d KB after 1,100", before>>10, after>>10)
	}
	runtime.KeepAlive(e)
	runtime.KeepAlive(c)
}
