package winmm

import (
	"errors"
	"fmt"
	"unicode/utf16"

	"thumbline/midiio"
)

// A result is what a call says of itself, an MMRESULT: 0 is well.
type result uint32

// The results that we ask for, mmsystem.h.
const (
	badDeviceID   result = 2
	invalidHandle result = 5
	noDriver      result = 6
	noMemory      result = 7
	notReady      result = 67
	noDevice      result = 68
)

// What results mean, mmsystem.h, in our words.
var resultTexts = map[result]string{
	1:             "the system gives no reason",
	badDeviceID:   "there is no port of this number",
	3:             "its driver could not be started",
	4:             "another program uses it",
	invalidHandle: "it is closed",
	noDriver:      "it has no driver",
	noMemory:      "the system is out of memory",
	8:             "its driver cannot do that",
	9:             "error number out of range",
	10:            "invalid flag",
	11:            "invalid parameter",
	12:            "another thread uses it",
	20:            "its driver does not answer",
	64:            "system exclusive was not prepared",
	65:            "system exclusive is still being sent",
	66:            "no port is chosen in the system's settings",
	notReady:      "it is busy",
	noDevice:      "it is not connected",
	69:            "the system's settings do not fit",
	70:            "it is open in another way",
}

// gone tells whether the port is no more. Which of these comes is for the
// port's driver to choose.
func (r result) gone() bool {
	return r == badDeviceID || r == invalidHandle || r == noDriver || r == noDevice
}

// err is nil when all is well. It wraps midiio.ErrPortGone or ErrPortStuck
// where it means that.
func (r result) err() error {
	switch {
	case r == 0:
		return nil
	case r.gone():
		return fmt.Errorf("%w (%s)", midiio.ErrPortGone, r.text())
	case r == notReady:
		return fmt.Errorf("%w (%s)", midiio.ErrPortStuck, r.text())
	}
	return errors.New(r.text())
}

func (r result) text() string {
	if text, ok := resultTexts[r]; ok {
		return text
	}
	return fmt.Sprintf("error %d of winmm.dll", uint32(r))
}

// name is a name as the system gives it: UTF-16 up to the first 0. What is no
// UTF-16 becomes U+FFFD.
func name(units []uint16) string {
	for i, u := range units {
		if u == 0 {
			units = units[:i]
			break
		}
	}
	return string(utf16.Decode(units))
}
