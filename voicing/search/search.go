// Package search finds the cheapest way through a row of slots with choices,
// each of which can be taken in several manners. It knows counts and costs
// only.
package search

import (
	"cmp"
	"math"
	"slices"
)

// A Problem is a row of slots. Slot s has Choices(s) choices and Manners(s)
// manners, one at least, to take any of them in. What follows what costs apart
// for choices and for manners: that is what keeps the product of the two cheap
// to search. +Inf forbids.
type Problem interface {
	Slots() int
	Choices(slot int) int
	Manners(slot int) int
	// Node is what a choice costs by itself, taken in a manner.
	Node(slot, choice, manner int) float64
	// Edge is the cost of going from choice a of slot-1 to choice b of slot.
	Edge(slot, a, b int) float64
	// AtLeast is a bound that Edge does not go below and that is found faster;
	// it saves Edge where no way over a could be the best to b. -Inf bounds
	// nothing.
	AtLeast(slot, a, b int) float64
	// Least is a bound that no Edge to b of slot goes below, from whatever choice.
	Least(slot, b int) float64
	// Turn is the cost of manner n in slot after manner m in slot-1.
	Turn(slot, m, n int) float64
}

// A Result is the best way and what is needed to rank the others.
type Result struct {
	Path    []int // one choice a slot; -1 where a slot has no choice
	Manner  []int // the manner each is taken in; -1 where a slot has no choice
	Cost    float64
	problem Problem
	forward [][]float64 // of each slot, by choice and then manner
}

// Best runs forward through the slots. Ties end in the lowest choice, then the
// lowest manner, so the same problem always has the same answer. A slot without
// choices is passed over: the slots around it do not see each other.
func Best(p Problem) Result {
	slots := p.Slots()
	r := Result{Path: make([]int, slots), Manner: make([]int, slots), problem: p, forward: make([][]float64, slots)}
	back := make([][]int32, slots) // index into forward of the slot before
	var turned []float64           // cheapest to choice a of the slot before, then manner n
	var over []int32               // the manner it comes from
	var best []float64
	var from []int32
	var order []int        // the choices of the slot before, the cheapest way there first
	var cheapest []float64 // of each of them, in any manner
	for s := range slots {
		k, ms := p.Choices(s), p.Manners(s)
		f, b := make([]float64, k*ms), make([]int32, k*ms)
		r.forward[s], back[s] = f, b
		var prev []float64
		before := 0
		if s > 0 {
			prev = r.forward[s-1]
			before = p.Manners(s - 1)
		}
		turned, over = turns(p, s, prev, before, ms, turned[:0], over[:0])
		best, from = resize(best, ms), resize(from, ms)
		order, cheapest = cheapestFirst(turned, ms, order[:0], cheapest[:0])
		for c := range k {
			for n := range ms {
				best[n], from[n] = 0, -1
			}
			if len(prev) > 0 {
				for n := range ms {
					best[n] = math.Inf(1)
				}
				bound, worst := p.Least(s, c), math.Inf(1)
				for _, a := range order {
					if cheapest[a]+bound > worst {
						break // and so do all that come after it
					}
					row := turned[a*ms : (a+1)*ms]
					least := p.AtLeast(s, a, c)
					hope := false
					for n, v := range row {
						if v+least <= best[n] {
							hope = true
							break
						}
					}
					if !hope {
						continue
					}
					e := p.Edge(s, a, c)
					worst = math.Inf(-1)
					for n, v := range row {
						at := int32(a*before) + over[a*ms+n]
						// of equals the lowest choice, and of that the lowest manner
						if v += e; v < best[n] || v == best[n] && at < from[n] {
							best[n], from[n] = v, at
						}
						worst = max(worst, best[n])
					}
				}
			}
			for n := range ms {
				f[c*ms+n] = best[n] + p.Node(s, c, n)
				b[c*ms+n] = from[n]
			}
		}
	}
	next := int32(-1)
	for s := slots - 1; s >= 0; s-- {
		f := r.forward[s]
		if len(f) == 0 {
			r.Path[s], r.Manner[s], next = -1, -1, -1
			continue
		}
		at := next
		if at < 0 {
			at = 0
			for x, v := range f {
				if v < f[at] {
					at = int32(x)
				}
			}
			r.Cost += f[at]
		}
		ms := p.Manners(s)
		r.Path[s], r.Manner[s] = int(at)/ms, int(at)%ms
		next = back[s][at]
	}
	return r
}

// turns is, for every choice of the slot before and every manner of slot s, the
// cheapest way there but for the edge, and the manner before that it comes from.
func turns(p Problem, s int, prev []float64, before, ms int, out []float64, over []int32) ([]float64, []int32) {
	if len(prev) == 0 {
		return out, over
	}
	turn := make([]float64, before*ms)
	for m := range before {
		for n := range ms {
			turn[m*ms+n] = p.Turn(s, m, n)
		}
	}
	for a := 0; a < len(prev); a += before {
		for n := range ms {
			best, from := math.Inf(1), int32(0)
			for m, v := range prev[a : a+before] {
				if v += turn[m*ms+n]; v < best {
					best, from = v, int32(m)
				}
			}
			out, over = append(out, best), append(over, from)
		}
	}
	return out, over
}

// cheapestFirst puts the choices of the slot before in the order of the cheapest
// way that turned has for each.
func cheapestFirst(turned []float64, ms int, order []int, cheapest []float64) ([]int, []float64) {
	for a := 0; a*ms < len(turned); a++ {
		best := math.Inf(1)
		for _, v := range turned[a*ms : (a+1)*ms] {
			if v < best {
				best = v
			}
		}
		order, cheapest = append(order, a), append(cheapest, best)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(cheapest[a], cheapest[b]) })
	return order, cheapest
}

func resize[T any](x []T, n int) []T {
	if cap(x) < n {
		return make([]T, n)
	}
	return x[:n]
}

// Through is, for every choice of every slot, the cost of the best whole that
// takes that choice in any manner: forward plus backward. The best choice of
// each slot has the cost of the best path.
func (r Result) Through() [][]float64 {
	p := r.problem
	slots := p.Slots()
	out := make([][]float64, slots)
	var after []float64 // from choice and manner of the slot after to the end, with its own node
	for s := slots - 1; s >= 0; s-- {
		k, ms := p.Choices(s), p.Manners(s)
		now := make([]float64, k*ms)
		if len(after) > 0 {
			next := p.Manners(s + 1)
			for x := range now {
				best := math.Inf(1)
				for y, v := range after {
					if w := p.Edge(s+1, x/ms, y/next) + p.Turn(s+1, x%ms, y%next) + v; w < best {
						best = w
					}
				}
				now[x] = best
			}
		}
		out[s] = make([]float64, k)
		for c := range k {
			out[s][c] = math.Inf(1)
		}
		for x := range now {
			out[s][x/ms] = min(out[s][x/ms], r.forward[s][x]+now[x])
			now[x] += p.Node(s, x/ms, x%ms)
		}
		after = now
	}
	return out
}
