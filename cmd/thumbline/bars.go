package main

import (
	"strconv"
	"strings"

	"thumbline/theory"
	"thumbline/voicing"
)

// barRange finds bars as they are labelled in the arrangement, whose bar table
// may hold more than the tune's. Wrong order and absent bars are wrong usage.
func barRange(a *voicing.Arrangement, s string) (from, to int, err error) {
	t := &theory.Tune{}
	for _, b := range a.Bars {
		pass := 1
		if _, n, ok := strings.Cut(b.Label, "/"); ok {
			if p, err := strconv.Atoi(n); err == nil {
				pass = p
			}
		}
		t.Bars = append(t.Bars, theory.Bar{Label: b.Label, Pass: pass})
	}
	from, to, err = t.BarRange(s)
	if err != nil {
		return 0, 0, usageError{err}
	}
	return from, to, nil
}
