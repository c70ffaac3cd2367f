package rtport

import (
	"sync"
	"testing"
	"testing/synctest"
)

func TestThread(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		th := newThread()
		n := 0 // no lock: one thing after the other
		var all sync.WaitGroup
		for range 50 {
			all.Go(func() {
				if !th.do(func() { n++ }) {
					t.Error("not done")
				}
			})
		}
		all.Wait()
		if n != 50 {
			t.Errorf("%d of 50 done", n)
		}
		th.end()
		if th.do(func() { t.Error("done after the end") }) {
			t.Error("said to be done after the end")
		}
	})
}
