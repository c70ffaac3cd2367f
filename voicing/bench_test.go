package voicing_test

import (
	"testing"

	"thumbline/voicing"
)

func BenchmarkArrangeDemo(b *testing.B) {
	tune := voicing.BuiltIn(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := voicing.Arrange(tune, voicing.Plan{}); err != nil {
			b.Fatal(err)
		}
	}
}
