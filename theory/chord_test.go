package theory

import "testing"

func TestEverySetOfTones(t *testing.T) {
	for set := PCSet(1); set < 1<<12; set += 2 {
		suffix := SuffixOf(set)
		got, err := ParseQuality(suffix)
		if err != nil || got != set {
			t.Errorf("tones %v: suffix %q reads back as %v, %v", set.Members(), suffix, got.Members(), err)
		}
	}
}

func TestQualityRows(t *testing.T) {
	seen := map[PCSet]string{}
	for _, q := range qualities {
		if prev, ok := seen[q.tones]; ok {
			t.Errorf("%q and %q have the same tones", prev, q.name)
		}
		seen[q.tones] = q.name
		if got := SuffixOf(q.tones); got != q.name {
			t.Errorf("%q is spelled %q", q.name, got)
		}
	}
}
