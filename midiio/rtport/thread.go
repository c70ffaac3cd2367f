package rtport

import "runtime"

// A thread does one thing after the other, always on the same thread of the
// system.
type thread struct {
	work chan func()
	quit chan struct{}
	over chan struct{}
}

func newThread() *thread {
	t := &thread{work: make(chan func()), quit: make(chan struct{}), over: make(chan struct{})}
	go t.run()
	return t
}

func (t *thread) run() {
	defer close(t.over)
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	for {
		select {
		case f := <-t.work:
			f()
		case <-t.quit:
			return
		}
	}
}

// do does f and returns when it is done; false when the thread has ended.
func (t *thread) do(f func()) bool {
	done := make(chan struct{})
	select {
	case t.work <- func() { defer close(done); f() }:
		<-done
		return true
	case <-t.over:
		return false
	}
}

// end ends the thread after what is under way, once.
func (t *thread) end() {
	close(t.quit)
	<-t.over
}
