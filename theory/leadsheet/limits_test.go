package leadsheet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"
)

// allocated is how many bytes reading allocates in all, freed or not.
func allocated(in string) uint64 {
	r := strings.NewReader(in)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	Read(r, "test", Options{})
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// mostAllocated is the promise of leadsheet.go for a sheet of n bytes.
func mostAllocated(n int) uint64 { return 64*uint64(n) + 16<<20 }

// padded repeats a text up to about 256 kB, so that what grows with the input
// shows beside what does not.
func padded(head, s, tail string) string {
	return head + strings.Repeat(s, (256<<10-len(head)-len(tail))/len(s)) + tail
}

// What a hostile or broken score can be: each is read or refused, at no more
// cost than promised.
func TestAllocation(t *testing.T) {
	const part = "<score-partwise><part id='P1'>"
	measure := part + "<measure number='1'>" + fourFour + h("C", "major")
	const end = "</measure></part></score-partwise>"
	for _, c := range []struct{ name, in string }{
		{"measures", padded(part, "<measure/>", "</part></score-partwise>")},
		{"parts", padded("<score-partwise>", "<part/>", "</score-partwise>")},
		{"parts with measures", padded("<score-partwise>", "<part><measure/></part>", "</score-partwise>")},
		{"timewise", padded("<score-timewise>", "<measure><part/></measure>", "</score-timewise>")},
		{"parts of a measure", padded("<score-timewise><measure>", "<part/>", "</measure></score-timewise>")},
		{"notes", padded(measure, "<note/>", end)},
		{"small elements", padded(measure+"<note>", "<dot/>", "</note>"+end)},
		{"unknown elements", padded(part, "<a/>", "</part></score-partwise>")},
		{"attributes", padded("<score-partwise ", "a='' ", "/>")},
		{"attributes that are kept", padded("<score-partwise ", "id='' ", "/>")},
		{"text and comments", padded(measure+"<note><step>", "C<!---->", "</step></note>"+end)},
		{"CDATA", padded(measure+"<note><step>", "<![CDATA[C]]>", "</step></note>"+end)},
		{"a long text", padded(measure+"<note><step>", "C", "</step></note>"+end)},
		{"a long name", "<" + padded("", "a", "") + "/>"},
		{"entities", padded(measure+"<note><step>", "&#67;", "</step></note>"+end)},
		{"a nested entity", `<!DOCTYPE x [<!ENTITY a "` + strings.Repeat("x", 1000) + `"><!ENTITY b "` + padded("", "&a;", "") + `">]><score-partwise>&b;</score-partwise>`},
		{"a long document type", "<!DOCTYPE " + padded("", "<", "") + ">"},
		{"namespaces", padded("<score-partwise>", "<p:part xmlns:p='u'/>", "</score-partwise>")},
		{"bad harmonies", padded(measure, "<harmony/>", end)},
		{"harmonies", padded(part, "<measure>"+h("C", "minor-seventh")+"</measure>", "</part></score-partwise>")},
		{"bad notes in bars", padded(part, "<measure><note><pitch/></note></measure>", "</part></score-partwise>")},
		{"words", padded(part, "<measure><direction><direction-type><words>Am</words></direction-type></direction></measure>", "</part></score-partwise>")},
		{"directions", padded(part, "<measure><sound segno='1'/></measure>", "</part></score-partwise>")},
		{"voices", padded(part, "<measure><note><voice>1</voice></note><note><voice>2</voice></note></measure>", "</part></score-partwise>")},
		{"grace notes", padded(measure, n("C5", 0, "<grace/>"), end)},
		{"endings", padded(measure, "<barline><ending number='1-64' type='start'/></barline>", end)},
		{"bars with endings", padded(part, "<measure><barline><ending number='1-64' type='start'/><repeat direction='backward'/></barline></measure>", "</part></score-partwise>")},
		{"repeats", padded(measure+n("C5", 48)+end[:10], "<measure><barline><repeat direction='backward' times='64'/></barline></measure>", end[10:])},
		{"many notes many times", padded(measure, n("C5", 1), "<barline><repeat direction='backward' times='64'/></barline>"+end)},
		{"tempi", padded(measure, "<sound tempo='90'/>", end)},
		{"fine durations", padded(measure, n("C5", 1)+"<attributes><divisions>999983</divisions></attributes>", end)},
		{"UTF-16", "\xff\xfe" + padded("<\x00a\x00>\x00", "<\x00b\x00/\x00>\x00", "")},
		{"Latin-1", padded("<score-partwise>\xe4", "<part/>\xe4", "</score-partwise>")},
		{"credits", padded("<score-partwise>", "<credit/>", "</score-partwise>")},
		{"broken at the end", padded(part+"<measure>", n("C5", 12), "")},
	} {
		t.Run(c.name, func(t *testing.T) { checkAllocated(t, c.in) })
	}
}

// The same in ABC.
func TestAllocationABC(t *testing.T) {
	const head = "X:1\nL:1/8\nK:C\n"
	for _, c := range []struct{ name, in string }{
		{"bars", padded(head, "|c", "\n")},
		{"symbols", padded(head, `"C"c`, "|\n")},
		{"bad symbols", padded(head, `"Cx"c|`, "|\n")},
		{"chords", padded(head, "[ceg]", "|\n")},
		{"grace notes", padded(head, "{c}d", "|\n")},
		{"tuplets", padded(head, "(3ccc|", "|\n")},
		{"repeats", head + "|:" + strings.Repeat("c|", 150) + strings.Repeat(":", 64) + "|\n"},
		{"voices", padded(head, "V:1\nc|\nV:2\nc|\n", "")},
		{"inline fields", padded(head, "[K:D]", "c|\n")},
		{"words", padded(head+"\"C\"c|\n", "w:a\n", "")},
		{"parts", padded("X:1\nP:A\nK:C\n", "P:A\nc|\n", "")},
		{"order of parts", "X:1\nP:" + strings.Repeat("A99", 99) + "\nK:C\nP:A\n|:\"C\"c4|d4:|\n"},
		{"tunes", padded("", "X:1\nK:C\n\"C\"c|\n\n", "")},
		{"decorations", padded(head, "!a!", "c|\n")},
		{"rests of many bars", padded(head, "Z1000|", "\n")},
		{"endings", padded(head, "[1,2,3,4,5 c|", "\n")},
		{"notes", padded(head, "c", "|\n")},
	} {
		t.Run(c.name, func(t *testing.T) { checkAllocated(t, c.in) })
	}
}

func checkAllocated(t *testing.T, in string) {
	t.Helper()
	got, most := allocated(in), mostAllocated(len(in))
	t.Logf("%.1f times the input", float64(got)/float64(len(in)))
	if got > most {
		t.Errorf("%d bytes for %d, more than %d", got, len(in), most)
	}
}

// bomb is a compressed file whose score unpacks to n bytes.
func bomb(t *testing.T, head, s, tail string, n int) string {
	t.Helper()
	return zipped(t, [2]string{"score.xml", head + strings.Repeat(s, n/len(s)) + tail})
}

// Compressed files promise much: what they unpack to is bounded first.
func TestCompressedLimits(t *testing.T) {
	for _, c := range []struct {
		name, in, want string
		unpacked       int
	}{
		{"spaces", bomb(t, "", " ", "", maxScore), "unpacks to more than 250 times its size", maxScore / 2},
		{"elements", bomb(t, "<score-partwise>", "<part/>", "</score-partwise>", maxScore), "unpacks to more than 250 times its size", maxScore / 2},
		{"a large score", bomb(t, "<score-partwise>", "<part/>", "</score-partwise>", 1<<20-1<<10), "the score has more than 500 parts", 1 << 20},
		{"many files", manyFiles(t), "holds more than 1000 files", 1 << 20},
		{"empty", "PK\x05\x06" + strings.Repeat("\x00", 18), "there is no score in the compressed file", 0},
		{"cut", zipped(t, [2]string{"score.xml", score(fourFour)})[:100], "the compressed file is broken", 0},
		{"encrypted", encrypted(t), "the compressed file is encrypted", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(strings.NewReader(c.in), "test", Options{})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %s", err, c.want)
			}
			if got, most := allocated(c.in), mostAllocated(c.unpacked); got > most {
				t.Errorf("%d bytes allocated, more than %d", got, most)
			}
		})
	}
}

func manyFiles(t *testing.T) string {
	files := make([][2]string, maxZipped+1)
	for i := range files {
		files[i] = [2]string{fmt.Sprintf("%d.xml", i), "<a/>"}
	}
	return zipped(t, files...)
}

// encrypted has the bit of encryption in the headers (APPNOTE.TXT, 4.4.4).
func encrypted(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.CreateRaw(&zip.FileHeader{Name: "score.xml", Flags: 1, CompressedSize64: 4, UncompressedSize64: 4})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write([]byte("xxxx")); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// longScore is a lead sheet of so many bars, as a notation program writes one:
// with beams, stems and places on the page.
func longScore(bars int) string {
	const look = "<type>eighth</type><stem default-y='-50.5'>down</stem><beam number='1'>continue</beam><notations><slur type='start' number='1'/></notations><lyric number='1'><syllabic>single</syllabic><text>la</text></lyric>"
	measures := make([]string, bars)
	for i := range measures {
		m := "<print new-system='yes'><system-layout><system-margins><left-margin>0</left-margin></system-margins></system-layout></print>"
		if i == 0 {
			m += fourFour
		}
		for k := range 8 {
			if k%4 == 0 {
				m += h(string("CDEFGAB"[(i+k)%7]), "minor-seventh", deg(9, 0, "add"))
			}
			m += n(string("CDEFGAB"[(i*3+k)%7])+"5", 6, voice("1"), look)
		}
		measures[i] = m
	}
	return score(measures...)
}

func longABC(bars int) string {
	var b strings.Builder
	b.WriteString("X:1\nT:Long\nM:4/4\nL:1/8\nK:C\n")
	for i := range bars {
		fmt.Fprintf(&b, "\"%cm7\"%ccde \"G7\"fga%c | ", "CDEFGAB"[i%7], "cdefgab"[i%7], "cdefgab"[i*3%7])
		if i%4 == 3 {
			b.WriteByte('\n')
		}
	}
	return b.String()
}

func BenchmarkRead(b *testing.B) {
	for _, c := range []struct{ name, in string }{
		{"MusicXML 2000 bars", longScore(2000)},
		{"ABC 2000 bars", longABC(2000)},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(int64(len(c.in)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Read(strings.NewReader(c.in), "bench", Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
