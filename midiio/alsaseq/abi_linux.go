package alsaseq

import (
	"bytes"
	"encoding/binary"
	"strings"
	"unicode"
)

// What the kernel's sequencer is asked, from the header <sound/asequencer.h>:
// direction, size of the argument, 'S' and a number, as in <asm-generic/ioctl.h>.
const (
	ioctlClientID      = 0x80045301
	ioctlGetClientInfo = 0xc0bc5310
	ioctlSetClientInfo = 0x40bc5311
	ioctlCreatePort    = 0xc0a85320
	ioctlGetPortInfo   = 0xc0a85322
	ioctlSubscribe     = 0x40505330
	ioctlNextClient    = 0xc0bc5351
	ioctlNextPort      = 0xc0a85352
)

// Sizes of the arguments in bytes, of 64-bit systems.
const (
	clientIDSize   = 4
	clientInfoSize = 188
	portInfoSize   = 168
	subscribeSize  = 80
	nameSize       = 64 // with at least one zero at its end
)

// What may be done with a port.
const (
	capRead      = 1 << 0 // by one who is told its address
	capWrite     = 1 << 1
	capSubsRead  = 1 << 5 // by subscription
	capSubsWrite = 1 << 6
)

const (
	typeGeneric     = 1 << 1  // SNDRV_SEQ_PORT_TYPE_MIDI_GENERIC
	typeApplication = 1 << 20 // SNDRV_SEQ_PORT_TYPE_APPLICATION
)

// Clients of the kernel's own, as opposed to programs.
const kernelClient = 2

// An address is a client's number and that of one of its ports.
type address struct{ client, port byte }

var (
	announce    = address{0, 1}     // tells of clients, ports and subscriptions coming and going
	subscribers = address{254, 253} // whoever has subscribed
)

type clientInfo [clientInfoSize]byte

func (c *clientInfo) client() int32      { return int32(binary.NativeEndian.Uint32(c[0:])) }
func (c *clientInfo) setClient(n int32)  { binary.NativeEndian.PutUint32(c[0:], uint32(n)) }
func (c *clientInfo) kind() int32        { return int32(binary.NativeEndian.Uint32(c[4:])) }
func (c *clientInfo) name() string       { return readable(c[8 : 8+nameSize]) }
func (c *clientInfo) setName(s string)   { putName(c[8:8+nameSize], s) }
func (p *portInfo) at() address          { return address{p[0], p[1]} }
func (p *portInfo) setAt(a address)      { p[0], p[1] = a.client, a.port }
func (p *portInfo) name() string         { return readable(p[2 : 2+nameSize]) }
func (p *portInfo) setName(s string)     { putName(p[2:2+nameSize], s) }
func (p *portInfo) capability() uint32   { return binary.NativeEndian.Uint32(p[68:]) }
func (p *portInfo) setCapability(c uint) { binary.NativeEndian.PutUint32(p[68:], uint32(c)) }
func (p *portInfo) setType(t uint)       { binary.NativeEndian.PutUint32(p[72:], uint32(t)) }
func (p *portInfo) setChannels(n uint)   { binary.NativeEndian.PutUint32(p[76:], uint32(n)) }

// readers is how many have subscribed to read from the port.
func (p *portInfo) readers() int { return int(int32(binary.NativeEndian.Uint32(p[88:]))) }

type portInfo [portInfoSize]byte

func subscription(from, to address) []byte {
	b := make([]byte, subscribeSize)
	b[0], b[1], b[2], b[3] = from.client, from.port, to.client, to.port
	return b
}

// putName writes as much of a name as fits, cut between characters.
func putName(b []byte, s string) {
	clear(b)
	if len(s) > len(b)-1 {
		s = strings.ToValidUTF8(s[:len(b)-1], "")
	}
	copy(b, s)
}

// readable is a name as a terminal may print it: other programs choose theirs
// freely.
func readable(b []byte) string {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		b = b[:i]
	}
	s := strings.ToValidUTF8(string(b), "?")
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}
