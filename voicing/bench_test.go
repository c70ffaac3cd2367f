package voicing_test

import (
	"os"
	"strings"
	"testing"

	"thumbline/theory/leadsheet"
	"thumbline/voicing"
)

func BenchmarkArrangeDemo(b *testing.B) {
	text, err := os.ReadFile("../cmd/thumbline/demo.abc")
	if err != nil {
		b.Fatal(err)
	}
	tune, err := leadsheet.Read(strings.NewReader(string(text)), "demo.abc", leadsheet.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := voicing.Arrange(tune, voicing.Plan{}); err != nil {
			b.Fatal(err)
		}
	}
}
