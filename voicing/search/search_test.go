package search

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// table is a problem with invented costs.
type table struct {
	node [][]float64
	edge [][][]float64 // edge[s][a][b], s >= 1
	how  [][]float64   // what a manner costs
	turn [][][]float64 // turn[s][m][n], s >= 1
}

func (t table) Slots() int               { return len(t.node) }
func (t table) Choices(s int) int        { return len(t.node[s]) }
func (t table) Manners(s int) int        { return len(t.how[s]) }
func (t table) Turn(s, m, n int) float64 { return t.turn[s][m][n] }

// Node mixes the two, so that what a manner costs depends on the choice.
func (t table) Node(s, c, m int) float64 {
	return t.node[s][c] + t.how[s][m] + float64((c*m)%4)
}
func (t table) Edge(s, a, b int) float64 { return t.edge[s][a][b] }

// AtLeast is tight for some edges and loose for others.
func (t table) AtLeast(s, a, b int) float64 { return t.edge[s][a][b] - float64((a+b)%3) }

// Least is tight for some choices and loose for others.
func (t table) Least(s, b int) float64 {
	least := math.Inf(1)
	for a := range t.edge[s] {
		least = min(least, t.edge[s][a][b])
	}
	return least - float64(b%3)
}

func (t table) cost(path, manner []int) (c float64) {
	for s, x := range path {
		c += t.Node(s, x, manner[s])
		if s > 0 {
			c += t.edge[s][path[s-1]][x] + t.turn[s][manner[s-1]][manner[s]]
		}
	}
	return c
}

func draw(t *rapid.T) table {
	n := rapid.IntRange(1, 5).Draw(t, "slots")
	// whole numbers, so that sums are exact in any order
	cost := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(-4, 20).Draw(t, "cost")) })
	var tb table
	for s := 0; s < n; s++ {
		k := rapid.IntRange(1, 4).Draw(t, "choices")
		tb.node = append(tb.node, rapid.SliceOfN(cost, k, k).Draw(t, "node"))
		var e [][]float64
		if s > 0 {
			for range tb.node[s-1] {
				e = append(e, rapid.SliceOfN(cost, k, k).Draw(t, "edge"))
			}
		}
		tb.edge = append(tb.edge, e)
		m := rapid.IntRange(1, 3).Draw(t, "manners")
		tb.how = append(tb.how, rapid.SliceOfN(cost, m, m).Draw(t, "how"))
		e = nil
		if s > 0 {
			for range tb.how[s-1] {
				e = append(e, rapid.SliceOfN(cost, m, m).Draw(t, "turn"))
			}
		}
		tb.turn = append(tb.turn, e)
	}
	return tb
}

// every walks all paths in all manners.
func (t table) every(f func(path, manner []int)) {
	path, manner := make([]int, len(t.node)), make([]int, len(t.node))
	var rec func(int)
	rec = func(s int) {
		if s == len(path) {
			f(path, manner)
			return
		}
		for c := range t.node[s] {
			for m := range t.how[s] {
				path[s], manner[s] = c, m
				rec(s + 1)
			}
		}
	}
	rec(0)
}

func TestBestAgainstEveryPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tb := draw(t)
		r := Best(tb)
		want := math.Inf(1)
		tb.every(func(p, m []int) { want = min(want, tb.cost(p, m)) })
		if r.Cost != want {
			t.Fatalf("Best says %v, the cheapest of all paths costs %v", r.Cost, want)
		}
		if got := tb.cost(r.Path, r.Manner); got != want {
			t.Fatalf("the path %v costs %v, want %v", r.Path, got, want)
		}
	})
}

func TestThroughAgainstEveryPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tb := draw(t)
		th := Best(tb).Through()
		for s := range tb.node {
			for c := range tb.node[s] {
				want := math.Inf(1)
				tb.every(func(p, m []int) {
					if p[s] == c {
						want = min(want, tb.cost(p, m))
					}
				})
				if th[s][c] != want {
					t.Fatalf("through slot %d choice %d: %v, want %v", s, c, th[s][c], want)
				}
			}
		}
	})
}

func TestMoreChoicesNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tb := draw(t)
		before := Best(tb).Cost
		s := rapid.IntRange(0, len(tb.node)-1).Draw(t, "slot")
		tb.node[s] = append(tb.node[s], 7)
		if s > 0 {
			for a := range tb.edge[s] {
				tb.edge[s][a] = append(tb.edge[s][a], 3)
			}
		}
		if s+1 < len(tb.node) {
			tb.edge[s+1] = append(tb.edge[s+1], make([]float64, len(tb.node[s+1])))
		}
		if after := Best(tb).Cost; after > before {
			t.Fatalf("one more choice made the best %v worse than %v", after, before)
		}
	})
}

func TestEmptySlotIsPassedOver(t *testing.T) {
	tb := table{node: [][]float64{{2, 1}, {}, {5, 4}}, edge: [][][]float64{nil, {{}, {}}, {}},
		how: [][]float64{{3, 0}, {0}, {0, 1}}, turn: [][][]float64{nil, {{0}, {0}}, {{0, 0}}}}
	r := Best(tb)
	if r.Path[0] != 0 || r.Path[1] != -1 || r.Path[2] != 1 || r.Cost != 6 ||
		r.Manner[0] != 1 || r.Manner[1] != -1 || r.Manner[2] != 0 {
		t.Fatalf("got %v in manners %v at %v", r.Path, r.Manner, r.Cost)
	}
}
