package alsaseq

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"testing"

	"gitlab.com/gomidi/midi/v2/drivers"
	"pgregory.net/rapid"

	"thumbline/midiio/internal/wire"
)

// The numbers and sizes are those of <sound/asequencer.h> on a 64-bit system,
// measured there with a C compiler.
func TestIoctls(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want uintptr
		size      int
	}{
		{"CLIENT_ID", ioctlClientID, 0x80045301, clientIDSize},
		{"GET_CLIENT_INFO", ioctlGetClientInfo, 0xc0bc5310, len(clientInfo{})},
		{"SET_CLIENT_INFO", ioctlSetClientInfo, 0x40bc5311, len(clientInfo{})},
		{"CREATE_PORT", ioctlCreatePort, 0xc0a85320, len(portInfo{})},
		{"GET_PORT_INFO", ioctlGetPortInfo, 0xc0a85322, len(portInfo{})},
		{"SUBSCRIBE_PORT", ioctlSubscribe, 0x40505330, len(subscription(announce, announce))},
		{"QUERY_NEXT_CLIENT", ioctlNextClient, 0xc0bc5351, len(clientInfo{})},
		{"QUERY_NEXT_PORT", ioctlNextPort, 0xc0a85352, len(portInfo{})},
	} {
		if c.got != c.want {
			t.Errorf("%s is %#x, want %#x", c.name, c.got, c.want)
		}
		// Bits 16 to 29 of the number are the size.
		if n := int(c.got >> 16 & 0x3fff); n != c.size {
			t.Errorf("%s: argument of %d bytes, its number says %d", c.name, c.size, n)
		}
	}
}

// Offsets in bytes as in <sound/asequencer.h>.
func TestLayouts(t *testing.T) {
	le := binary.NativeEndian
	var c clientInfo
	c.setClient(-1)
	c.setName("thumbline")
	le.PutUint32(c[4:], 2)
	if le.Uint32(c[0:]) != 0xffffffff || string(c[8:18]) != "thumbline\x00" || c.name() != "thumbline" || c.kind() != 2 || c.client() != -1 {
		t.Errorf("client info % x", c)
	}
	var p portInfo
	p.setAt(address{128, 3})
	p.setName("out")
	p.setCapability(0x21)
	p.setType(2 | 1<<20)
	p.setChannels(16)
	le.PutUint32(p[88:], 7)
	if p[0] != 128 || p[1] != 3 || string(p[2:6]) != "out\x00" || le.Uint32(p[68:]) != 0x21 || le.Uint32(p[72:]) != 0x100002 || le.Uint32(p[76:]) != 16 {
		t.Errorf("port info % x", p)
	}
	if p.at() != (address{128, 3}) || p.name() != "out" || p.capability() != 0x21 || p.readers() != 7 {
		t.Errorf("port info read back: %v %q %#x %d", p.at(), p.name(), p.capability(), p.readers())
	}
	if s := subscription(address{1, 2}, address{3, 4}); !bytes.Equal(s[:4], []byte{1, 2, 3, 4}) || len(bytes.Trim(s[4:], "\x00")) > 0 {
		t.Errorf("subscription % x", s)
	}
}

func TestNames(t *testing.T) {
	long := "é" + string(bytes.Repeat([]byte("é"), 40)) // 82 bytes
	for _, c := range []struct{ in, out string }{
		{"", ""}, {"Keys 49", "Keys 49"}, {"  two\twords\n", "two words"}, {"\x1b[31mred", "[31mred"}, {"a\xffb", "a?b"}, {long, long[:62]},
	} {
		var p portInfo
		p.setName(c.in)
		if got := p.name(); got != c.out {
			t.Errorf("%q became %q, want %q", c.in, got, c.out)
		}
		if p[2+63] != 0 || p[68] != 0 {
			t.Errorf("%q runs over its field", c.in)
		}
	}
	for _, c := range []struct{ owner, port, want string }{
		{"Midi Through", "Midi Through Port-0", "Midi Through Port-0"},
		{"Keys 49", "Keys 49", "Keys 49"},
		{"Keys 49", "Pads", "Keys 49 Pads"},
		{"Keys 49", "", "Keys 49"},
		{"a Synth", "Synth", "a Synth"},
		{"", "x", "x"},
	} {
		if got := portName(c.owner, c.port); got != c.want {
			t.Errorf("%q and %q read as %q, want %q", c.owner, c.port, got, c.want)
		}
	}
}

// Types and places of the values as in <sound/seq_event.h>; a bend's middle is 0.
func TestEventBytes(t *testing.T) {
	at := func(pairs ...byte) []byte {
		e := make([]byte, 28)
		e[3] = 253
		for i := 0; i < len(pairs); i += 2 {
			e[pairs[i]] = pairs[i+1]
		}
		return e
	}
	number := func(kind, channel byte, param, value int32) []byte {
		e := at(0, kind, 16, channel)
		binary.NativeEndian.PutUint32(e[20:], uint32(param))
		binary.NativeEndian.PutUint32(e[24:], uint32(value))
		return e
	}
	length := at(0, 130, 1, 4)
	binary.NativeEndian.PutUint32(length[16:], 6)
	for _, c := range []struct {
		msg, want []byte
	}{
		{[]byte{0x93, 60, 100}, at(0, 6, 16, 3, 17, 60, 18, 100)},
		{[]byte{0x8f, 60, 64}, at(0, 7, 16, 15, 17, 60, 18, 64)},
		{[]byte{0xa1, 60, 5}, at(0, 8, 16, 1, 17, 60, 18, 5)},
		{[]byte{0xb2, 123, 1}, number(10, 2, 123, 1)},
		{[]byte{0xc4, 25}, number(11, 4, 0, 25)},
		{[]byte{0xd5, 99}, number(12, 5, 0, 99)},
		{[]byte{0xe6, 0, 0}, number(13, 6, 0, -8192)},
		{[]byte{0xe6, 0, 64}, number(13, 6, 0, 0)},
		{[]byte{0xe6, 127, 127}, number(13, 6, 0, 8191)},
		{[]byte{0xf1, 0x35}, number(22, 0, 0, 0x35)},
		{[]byte{0xf2, 3, 2}, number(20, 0, 0, 259)},
		{[]byte{0xf3, 4}, number(21, 0, 0, 4)},
		{[]byte{0xf6}, at(0, 40)},
		{[]byte{0xf8}, at(0, 36)},
		{[]byte{0xfa}, at(0, 30)},
		{[]byte{0xfb}, at(0, 31)},
		{[]byte{0xfc}, at(0, 32)},
		{[]byte{0xfe}, at(0, 42)},
		{[]byte{0xff}, at(0, 41)},
		{[]byte{0xf0, 0x7e, 2, 9, 1, 0xf7}, length},
	} {
		var e event
		if !e.encode(c.msg) || !bytes.Equal(e[:], c.want) {
			t.Errorf("% X:\n got % x\nwant % x", c.msg, e[:], c.want)
		}
	}
}

func TestNotOneMessage(t *testing.T) {
	for _, msg := range [][]byte{
		nil, {}, {60}, {60, 100}, {0x90}, {0x90, 60}, {0x90, 60, 100, 0}, {0x90, 60, 200}, {0x90, 60, 100, 62, 100}, {0xc0, 1, 2}, {0xc0}, {0xd0, 0x80},
		{0xf0}, {0xf0, 1, 2}, {0xf0, 1, 0x90, 0xf7}, {0xf1}, {0xf2, 1}, {0xf2, 1, 2, 3}, {0xf4}, {0xf5}, {0xf7}, {0xf8, 0}, {0xf9}, {0xfd}, {0xf8, 0xf8},
	} {
		var e event
		if e.encode(msg) {
			t.Errorf("% X was taken for one message", msg)
		}
	}
	// What else is one, status by status.
	for status := 0x80; status < 0x100; status++ {
		for n := range 4 {
			msg := append([]byte{byte(status)}, make([]byte, n)...)
			var e event
			if got, want := e.encode(msg), wire.Size(byte(status)) == n+1; got != want {
				t.Errorf("% X: %v, want %v", msg, got, want)
			}
		}
	}
}

// Anything that is one message comes back as it was.
func TestEventProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		msg := anyMessage().Draw(t, "message")
		var e event
		if !e.encode(msg) {
			t.Fatalf("% X refused", msg)
		}
		var got [][]byte
		e.decode(func(m ...byte) { got = append(got, bytes.Clone(m)) })
		if len(got) != 1 || !bytes.Equal(got[0], msg) {
			t.Fatalf("% X came back as % X", msg, got)
		}
	})
}

func anyMessage() *rapid.Generator[[]byte] {
	var all []byte
	for s := 0x80; s < 0x100; s++ {
		if wire.Size(byte(s)) > 0 {
			all = append(all, byte(s))
		}
	}
	return rapid.Custom(func(t *rapid.T) []byte {
		msg := []byte{rapid.SampledFrom(all).Draw(t, "status")}
		for range wire.Size(msg[0]) - 1 {
			msg = append(msg, byte(rapid.IntRange(0, 127).Draw(t, "data")))
		}
		return msg
	})
}

// An event of which the values are in range is read and written as it was.
func TestEventsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := event{3: queueDirect}
		data := func(name string) byte { return byte(rapid.IntRange(0, 127).Draw(t, name)) }
		e[0] = rapid.SampledFrom([]byte{6, 7, 8, 10, 11, 12, 13, 20, 21, 22, 30, 31, 32, 36, 40, 41, 42}).Draw(t, "type")
		if e[0] < 20 {
			e[16] = byte(rapid.IntRange(0, 15).Draw(t, "channel"))
		}
		switch e[0] {
		case 6, 7, 8:
			e[17], e[18] = data("key"), data("velocity")
		case 10:
			e.setParam(data("number"))
			e.setValue(int(data("value")))
		case 11, 12, 21, 22:
			e.setValue(int(data("value")))
		case 13:
			e.setValue(rapid.IntRange(-8192, 8191).Draw(t, "bend"))
		case 20:
			e.setValue(rapid.IntRange(0, 16383).Draw(t, "sixteenths"))
		}
		n := 0
		e.decode(func(m ...byte) {
			n++
			var back event
			if !back.encode(m) || back != e {
				t.Fatalf("% x gave % X, that % x", e[:], m, back[:])
			}
		})
		if n != 1 {
			t.Fatalf("% x gave %d messages", e[:], n)
		}
	})
}

// Controllers of 14 bits and parameters come as the controllers they stand for.
func TestCombined(t *testing.T) {
	for _, c := range []struct {
		kind  byte
		param byte
		value int
		want  string
	}{
		{14, 1, 259, "[B301 02][B321 03]"},
		{14, 32, 259, "[B320 03]"}, // a lower half itself
		{14, 64, 127, "[B340 7F]"},
		{16, 0, 2 << 7, "[B365 00][B364 00][B306 02][B326 00]"},
		{15, 5, 1, "[B363 00][B362 05][B306 00][B326 01]"},
	} {
		e := event{0: c.kind, 16: 3}
		e.setParam(c.param)
		e.setValue(c.value)
		got := ""
		e.decode(func(m ...byte) { got += fmt.Sprintf("[%02X%02X %02X]", m[0], m[1], m[2]) })
		if got != c.want {
			t.Errorf("type %d %d %d: %s, want %s", c.kind, c.param, c.value, got, c.want)
		}
	}
}

// What is cut off at the end of a read is left out, what came before is not.
func TestCutOff(t *testing.T) {
	long := event{0: eventSysEx, 1: flagVariable}
	binary.NativeEndian.PutUint32(long[16:], 6)
	for name, c := range map[string]struct {
		more []byte
		want int
	}{
		"nothing after it": {nil, 1}, "an event in parts": {make([]byte, eventSize-1), 1},
		"bytes that are not there": {append(long[:], 0xf0, 1, 2), 1}, "whole": {append(long[:], make([]byte, 6)...), 2},
	} {
		n := 0
		walk(append(make([]byte, eventSize), c.more...), func(*event, []byte) { n++ })
		if n != c.want {
			t.Errorf("%s: %d events, want %d", name, n, c.want)
		}
	}
}

func TestEnds(t *testing.T) {
	our, other := address{128, 0}, address{20, 1}
	for _, c := range []struct {
		name string
		e    event
		want bool
	}{
		{"its client", event{0: 61, 13: 1, 16: 20}, true},
		{"another client", event{0: 61, 13: 1, 16: 21}, false},
		{"its port", event{0: 64, 13: 1, 16: 20, 17: 1}, true},
		{"its client's other port", event{0: 64, 13: 1, 16: 20, 17: 0}, false},
		{"parted", event{0: 67, 13: 1, 16: 128, 17: 0, 18: 20, 19: 1}, true},
		{"parted the other way", event{0: 67, 13: 1, 16: 20, 17: 1, 18: 128, 19: 0}, true},
		{"from a third", event{0: 67, 13: 1, 16: 20, 17: 1, 18: 129, 19: 0}, false},
		{"told by a program", event{0: 61, 12: 130, 16: 20}, false},
		{"a note", event{0: 6, 13: 1, 16: 20}, false},
		{"a port came", event{0: 63, 13: 1, 16: 20, 17: 1}, false},
	} {
		if got := c.e.ends(our, other); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Whatever the kernel or a program on the other side gives, what is heard of it
// is whole messages, and no more of them than events.
func FuzzEvents(f *testing.F) {
	add := func(msgs ...[]byte) {
		var b []byte
		for _, m := range msgs {
			var e event
			if !e.encode(m) {
				f.Fatalf("% X", m)
			}
			e.setSource(address{20, 0})
			b = append(b, e[:]...)
			if e.variable() {
				b = append(b, m...)
				b = append(b, make([]byte, (eventSize-len(m)%eventSize)%eventSize)...)
			}
		}
		f.Add(b)
	}
	add(everyKind...)
	add([]byte{0x90, 60, 100}, []byte{0x80, 60, 0})
	f.Add(make([]byte, 27))
	cut := event{0: eventSysEx, 1: flagVariable, 12: 20}
	binary.NativeEndian.PutUint32(cut[16:], 0xffffffff)
	f.Add(append(cut[:], 0xf0, 1, 0xf7))
	f.Add(bytes.Repeat([]byte{0xff}, 280))
	f.Fuzz(func(t *testing.T, b []byte) {
		n := 0
		r := receiver{limit: 64, config: drivers.ListenConfig{SysEx: true, TimeCode: true, ActiveSense: true}}
		r.emit = func(msg []byte) {
			n++
			var e event
			// A device may put anything between the two ends of system exclusive.
			if msg[0] == 0xf0 && msg[len(msg)-1] == 0xf7 && len(msg) <= r.limit {
				return
			}
			if !e.encode(msg) {
				t.Errorf("% X is not one message", msg)
			}
		}
		walk(b, r.event)
		if most := len(b) / eventSize * 4; n > most {
			t.Errorf("%d messages of %d bytes", n, len(b))
		}
	})
}
