package theory

// A Feel says how the beat is divided in performance. The zero value is
// straight.
type Feel struct {
	Ratio float64 // long to short eighth, 1 to 3.5; 0 means straight
}
