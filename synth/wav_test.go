package synth

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A whole file of each format, byte by byte.
func TestWAVBytes(t *testing.T) {
	type part struct {
		what  string
		bytes string
	}
	for _, c := range []struct {
		format SampleFormat
		ch     int
		in     []float32
		want   []part
	}{
		{Int16, 2, []float32{0, 0, 1, -1}, []part{
			{"RIFF", "RIFF"}, {"36 + 8 bytes", "\x2c\x00\x00\x00"}, {"WAVE", "WAVE"},
			{"fmt, 16 bytes", "fmt \x10\x00\x00\x00"}, {"PCM", "\x01\x00"}, {"2 channels", "\x02\x00"},
			{"48000 Hz", "\x80\xbb\x00\x00"}, {"192000 bytes a second", "\x00\xee\x02\x00"},
			{"4 bytes a frame", "\x04\x00"}, {"16 bits", "\x10\x00"},
			{"data, 8 bytes", "data\x08\x00\x00\x00"},
			{"silence stays silence", "\x00\x00\x00\x00"}, {"full scale, both ends", "\xff\x7f\x00\x80"},
		}},
		{Int24, 1, []float32{0, 1, -1}, []part{
			{"RIFF", "RIFF"}, {"36 + 9 + 1 bytes", "\x2e\x00\x00\x00"}, {"WAVE", "WAVE"},
			{"fmt, 16 bytes", "fmt \x10\x00\x00\x00"}, {"PCM", "\x01\x00"}, {"1 channel", "\x01\x00"},
			{"48000 Hz", "\x80\xbb\x00\x00"}, {"144000 bytes a second", "\x80\x32\x02\x00"},
			{"3 bytes a frame", "\x03\x00"}, {"24 bits", "\x18\x00"},
			{"data, 9 bytes", "data\x09\x00\x00\x00"},
			{"0", "\x00\x00\x00"}, {"1", "\xff\xff\x7f"}, {"-1", "\x00\x00\x80"}, {"padding to a word", "\x00"},
		}},
		{Float32, 2, []float32{0.5, -2}, []part{
			{"RIFF", "RIFF"}, {"50 + 8 bytes", "\x3a\x00\x00\x00"}, {"WAVE", "WAVE"},
			{"fmt, 18 bytes", "fmt \x12\x00\x00\x00"}, {"float", "\x03\x00"}, {"2 channels", "\x02\x00"},
			{"48000 Hz", "\x80\xbb\x00\x00"}, {"384000 bytes a second", "\x00\xdc\x05\x00"},
			{"8 bytes a frame", "\x08\x00"}, {"32 bits", "\x20\x00"}, {"no extension", "\x00\x00"},
			{"fact: 1 frame", "fact\x04\x00\x00\x00\x01\x00\x00\x00"},
			{"data, 8 bytes", "data\x08\x00\x00\x00"},
			{"0.5", "\x00\x00\x00\x3f"}, {"-2, kept", "\x00\x00\x00\xc0"},
		}},
	} {
		for _, known := range []bool{false, true} {
			f := new(memory)
			o := WAVOptions{Rate: 48000, Channels: c.ch, Format: c.format, Frames: -1}
			var w io.Writer = f
			if known {
				o.Frames = int64(len(c.in) / c.ch)
				w = struct{ io.Writer }{f} // cannot seek
			}
			x, err := NewWAVWriter(w, o)
			if err != nil {
				t.Fatal(err)
			}
			for i := 0; i < len(c.in); i += c.ch {
				if err := x.Write(c.in[i : i+c.ch]); err != nil {
					t.Fatal(err)
				}
			}
			if err := x.Close(); err != nil {
				t.Fatal(err)
			}
			rest := f.b
			for _, p := range c.want {
				got := rest[:min(len(p.bytes), len(rest))]
				// Dither may take full scale one step back.
				full := p.what == "full scale, both ends" || p.what == "1" || p.what == "-1"
				if string(got) != p.bytes && !(full && nearBytes(got, []byte(p.bytes))) {
					t.Errorf("format %d, length known %v: %s: % x, want % x", c.format, known, p.what, got, p.bytes)
				}
				rest = rest[len(got):]
			}
			if len(rest) != 0 {
				t.Errorf("format %d: % x after the end", c.format, rest)
			}
		}
	}
}

func nearBytes(a, b []byte) bool {
	if len(a) != len(b) {
		return false
	}
	if len(a) == 4 { // two 16-bit samples
		for i := 0; i < 4; i += 2 {
			d := int(int16(binary.LittleEndian.Uint16(a[i:]))) - int(int16(binary.LittleEndian.Uint16(b[i:])))
			if d < -1 || d > 1 {
				return false
			}
		}
		return true
	}
	i24 := func(p []byte) int { return int(int32(uint32(p[0])<<8|uint32(p[1])<<16|uint32(p[2])<<24) >> 8) }
	d := i24(a) - i24(b)
	return d >= -1 && d <= 1
}

// Dither is triangular: its mean is the sample, its deviation half a step
// (sqrt(1/4) with rounding's share), and its seed decides it.
func TestDither(t *testing.T) {
	write := func(seed uint64) []byte {
		f := new(memory)
		x, _ := NewWAVWriter(f, WAVOptions{Rate: 48000, Channels: 1, Seed: seed, Frames: -1})
		b := make([]float32, 20000)
		for i := range b {
			b[i] = 100.3 / (1 << 15)
		}
		if err := x.Write(b); err != nil {
			t.Fatal(err)
		}
		if err := x.Close(); err != nil {
			t.Fatal(err)
		}
		return f.b[44:]
	}
	a := write(1)
	var mean, dev float64
	for i := 0; i < len(a); i += 2 {
		v := float64(int16(binary.LittleEndian.Uint16(a[i:]))) - 100.3
		mean += v / 20000
		dev += v * v / 20000
	}
	// TPDF dither makes the total error's variance 1/4 step^2 whatever the sample.
	if math.Abs(mean) > 0.02 || math.Abs(dev-0.25) > 0.02 {
		t.Errorf("mean error %.3f, variance %.3f; want 0, 0.25", mean, dev)
	}
	if !bytes.Equal(a, write(1)) || bytes.Equal(a, write(2)) {
		t.Error("the seed does not decide the dither")
	}
}

type failing struct{ left int }

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, io.ErrShortWrite
	}
	return len(p), nil
}

func TestWAVErrors(t *testing.T) {
	for _, c := range []struct {
		o    WAVOptions
		w    io.Writer
		want string
	}{
		{WAVOptions{Rate: 48000, Channels: 3}, new(memory), "3 channels"},
		{WAVOptions{Rate: 0}, new(memory), "sample rate 0"},
		{WAVOptions{Rate: 48000, Format: 7}, new(memory), "no sample format 7"},
		{WAVOptions{Rate: 48000, Frames: -1}, new(bytes.Buffer), "cannot seek"},
		{WAVOptions{Rate: 48000, Frames: 1 << 30}, new(bytes.Buffer), "4 GiB"},
		{WAVOptions{Rate: 48000, Frames: 1 << 40}, new(bytes.Buffer), "4 GiB"},
		{WAVOptions{Rate: 48000, Frames: 2}, &failing{10}, "short write"},
	} {
		if _, err := NewWAVWriter(c.w, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want %q", c.o, err, c.want)
		}
	}
	x, _ := NewWAVWriter(new(bytes.Buffer), WAVOptions{Rate: 48000, Frames: 2})
	if err := x.Write(make([]float32, 3)); err == nil {
		t.Error("half a frame was taken")
	}
	if err := x.Write(make([]float32, 2)); err != nil {
		t.Error(err)
	}
	if err := x.Close(); err == nil {
		t.Error("a file shorter than announced was closed without a word")
	}
	x, _ = NewWAVWriter(new(bytes.Buffer), WAVOptions{Rate: 48000, Frames: 2})
	if err := x.Write(make([]float32, 6)); err == nil {
		t.Error("more than announced was taken")
	}
	x, _ = NewWAVWriter(&failing{50}, WAVOptions{Rate: 48000, Frames: wavBuffer})
	if err := x.Write(make([]float32, 2*wavBuffer)); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("the writer's error became %v", err)
	}
	if err := x.Close(); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("Close forgot the writer's error: %v", err)
	}
	x, _ = NewWAVWriter(&failing{50}, WAVOptions{Rate: 48000, Frames: 200})
	if err := errors.Join(x.Write(make([]float32, 400)), x.Close()); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("the writer's error became %v in what was not written yet", err)
	}
	e, _ := NewEngine(Options{})
	if _, err := WriteWAV(struct {
		io.Writer
		io.Seeker
	}{&failing{9000}, new(memory)}, e, arrangement(48000), RenderOptions{Tail: time.Second}); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("a full disk became %v", err)
	}
}

// Not-a-number and beyond full scale become what can be written.
func TestQuantiseLimits(t *testing.T) {
	for _, v := range []float32{2, -2, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))} {
		if q := quantise(v, 1<<15, 1<<20); q < -1<<15 || q > 1<<15-1 {
			t.Errorf("%g became %d", v, q)
		}
	}
}

// The tail ends when the sound does, is cut with a fade where it is told to,
// and the file says how long it is.
func TestRenderAll(t *testing.T) {
	length := func(tail time.Duration, list ...event) (int64, []float32) {
		e, _ := NewEngine(Options{})
		var all []float32
		n, err := RenderAll(e, sorted(list), tail, func(b []float32) error { all = append(all, b...); return nil })
		if err != nil {
			t.Fatal(err)
		}
		if n != int64(len(all)/2) {
			t.Fatalf("%d frames announced, %d written", n, len(all)/2)
		}
		return n, all
	}
	short := []event{{0, on(0, 64, 100)}, {24000, off(0, 64, 64)}}
	n, all := length(10*time.Second, short...)
	if n < 24000+4800 || n > 24000+96000 {
		t.Errorf("a note of 0.5 s that is damped became %d frames", n)
	}
	if p := samplePeak(all[len(all)-64:]); p > 1e-5 {
		t.Errorf("the file ends at %g", p)
	}
	n, all = length(time.Second, event{0, on(5, 40, 100)}) // rings for many seconds
	if n < 48000 || n > 48000+2400 {
		t.Errorf("a tail of 1 s became %d frames", n)
	}
	if p := samplePeak(all[len(all)-64:]); p > 1e-3 {
		t.Errorf("the cut tail ends at %g", p)
	}
	if n, _ := length(time.Second); n > 64*100 {
		t.Errorf("an empty piece became %d frames", n)
	}
	e, _ := NewEngine(Options{})
	if _, err := RenderAll(e, &Events{}, -1, nil); err == nil {
		t.Error("a negative tail was taken")
	}
}

// Programs that are not ours read what we write.
func TestWAVReaders(t *testing.T) {
	dir := t.TempDir()
	seconds := -1.0
	for i, format := range []SampleFormat{Int16, Int24, Float32} {
		name := filepath.Join(dir, []string{"16.wav", "24.wav", "32f.wav"}[i])
		f, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		e, _ := NewEngine(Options{})
		told := int64(0)
		n, err := WriteWAV(f, e, sorted([]event{{0, on(0, 69, 100)}, {24000, off(0, 69, 64)}}),
			RenderOptions{Tail: time.Second, Format: format, Progress: func(frames int64) { told += frames }})
		if err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		if told != n {
			t.Errorf("told of %d frames, wrote %d", told, n)
		}
		seconds = float64(n) / 48000
		t.Run("sox "+filepath.Base(name), func(t *testing.T) {
			if _, err := exec.LookPath("sox"); err != nil {
				t.Skip("sox is not installed: the file was not read back")
			}
			out, err := exec.Command("sox", name, "-n", "stat").CombinedOutput()
			if err != nil || strings.Contains(string(out), "WARN") {
				t.Fatalf("%v: %s", err, out)
			}
			for _, l := range strings.Split(string(out), "\n") {
				if k, v, ok := strings.Cut(l, ":"); ok && strings.HasPrefix(k, "Length") {
					var got float64
					if err := json.Unmarshal([]byte(strings.TrimSpace(v)), &got); err != nil || math.Abs(got-seconds) > 1e-4 {
						t.Errorf("%s s, want %.6f", v, seconds)
					}
					return
				}
			}
			t.Errorf("no length in %s", out)
		})
		t.Run("ffprobe "+filepath.Base(name), func(t *testing.T) {
			if _, err := exec.LookPath("ffprobe"); err != nil {
				t.Skip("ffprobe is not installed: the file was not read back")
			}
			out, err := exec.Command("ffprobe", "-v", "warning", "-of", "json", "-show_streams", name).CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			var got struct {
				Streams []struct {
					Codec    string `json:"codec_name"`
					Rate     string `json:"sample_rate"`
					Channels int
					Duration string
				}
			}
			if err := json.Unmarshal(out, &got); err != nil || len(got.Streams) != 1 {
				t.Fatalf("%v: %s", err, out)
			}
			s := got.Streams[0]
			want := []string{"pcm_s16le", "pcm_s24le", "pcm_f32le"}[i]
			var d float64
			if err := json.Unmarshal([]byte(s.Duration), &d); err != nil || s.Codec != want || s.Rate != "48000" || s.Channels != 2 || math.Abs(d-seconds) > 1e-4 {
				t.Errorf("%+v, want %s, 48000 Hz, 2 channels, %.6f s", s, want, seconds)
			}
		})
	}
}
