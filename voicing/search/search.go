// Package search finds the cheapest way through a row of slots with choices.
// It knows counts and costs only.
package search

import "math"

// A Problem is a row of slots; slot s has Choices(s) choices, each with a cost
// of its own and a cost of following a choice of the slot before.
// +Inf forbids.
type Problem interface {
	Slots() int
	Choices(slot int) int
	Node(slot, choice int) float64
	// Edge is the cost of going from choice a of slot-1 to choice b of slot.
	Edge(slot, a, b int) float64
	// AtLeast is a bound that Edge does not go below and that is found faster;
	// it saves Edge where no way over a could be the best to b. -Inf bounds
	// nothing.
	AtLeast(slot, a, b int) float64
}

// A Result is the best way and what is needed to rank the others.
type Result struct {
	Path    []int // one choice a slot; -1 where a slot has no choice
	Cost    float64
	problem Problem
	forward [][]float64
}

// Best runs forward through the slots. Ties end in the lowest choice, so the
// same problem always has the same answer. A slot without choices is passed
// over: the slots around it do not see each other.
func Best(p Problem) Result {
	n := p.Slots()
	r := Result{Path: make([]int, n), problem: p, forward: make([][]float64, n)}
	back := make([][]int32, n)
	for s := 0; s < n; s++ {
		k := p.Choices(s)
		f := make([]float64, k)
		b := make([]int32, k)
		r.forward[s], back[s] = f, b
		var prev []float64
		if s > 0 {
			prev = r.forward[s-1]
		}
		for c := 0; c < k; c++ {
			best, from := 0.0, int32(-1)
			if len(prev) > 0 {
				best = math.Inf(1)
				for a, fa := range prev {
					if fa+p.AtLeast(s, a, c) >= best {
						continue
					}
					if v := fa + p.Edge(s, a, c); v < best {
						best, from = v, int32(a)
					}
				}
			}
			f[c] = best + p.Node(s, c)
			b[c] = from
		}
	}
	for s := n - 1; s >= 0; s-- {
		k := len(r.forward[s])
		if k == 0 {
			r.Path[s] = -1
			continue
		}
		if s == n-1 || r.Path[s+1] < 0 || back[s+1][r.Path[s+1]] < 0 {
			best := 0
			for c := 1; c < k; c++ {
				if r.forward[s][c] < r.forward[s][best] {
					best = c
				}
			}
			r.Path[s] = best
			r.Cost += r.forward[s][best]
			continue
		}
		r.Path[s] = int(back[s+1][r.Path[s+1]])
	}
	return r
}

// Through is, for every choice of every slot, the cost of the best whole that
// takes that choice: forward plus backward. The best choice of each slot has
// the cost of the best path.
func (r Result) Through() [][]float64 {
	p := r.problem
	n := p.Slots()
	out := make([][]float64, n)
	var after []float64 // best cost from choice c of slot s to the end, without its own node
	for s := n - 1; s >= 0; s-- {
		k := p.Choices(s)
		now := make([]float64, k)
		if s < n-1 && len(after) > 0 {
			for c := 0; c < k; c++ {
				best := math.Inf(1)
				for b, v := range after {
					if w := p.Edge(s+1, c, b) + p.Node(s+1, b) + v; w < best {
						best = w
					}
				}
				now[c] = best
			}
		}
		out[s] = make([]float64, k)
		for c := 0; c < k; c++ {
			out[s][c] = r.forward[s][c] + now[c]
		}
		after = now
	}
	return out
}
