package voicing

import "testing"

func TestRightHand(t *testing.T) {
	four, five := NormalRightHand(), RightHand{Fingers: 5}
	for _, c := range []struct {
		name    string
		hand    RightHand
		strings []int
		want    Attack
	}{
		{"one", four, []int{3}, Pluck},
		{"drop 3 skips a string", four, []int{6, 4, 3, 2}, Pluck},
		{"drop 2&4 skips two", four, []int{6, 4, 2, 1}, Pluck},
		{"five neighbours", four, []int{5, 4, 3, 2, 1}, Strum},
		{"five in any order", four, []int{1, 3, 2, 5, 4}, Strum},
		{"all six", four, []int{6, 5, 4, 3, 2, 1}, Strum},
		{"five with a string between", four, []int{6, 4, 3, 2, 1}, NoAttack},
		{"five with the little finger", five, []int{6, 4, 3, 2, 1}, Pluck},
		{"six are a strum even so", five, []int{6, 5, 4, 3, 2, 1}, Strum},
		{"seven", five, []int{7, 6, 5, 4, 3, 2, 1}, Strum},
		{"none", four, nil, NoAttack},
		{"one string twice", four, []int{2, 2}, NoAttack},
		{"no such string", four, []int{0}, NoAttack},
	} {
		if got := c.hand.Attack(c.strings...); got != c.want {
			t.Errorf("%s: Attack(%v) = %d, want %d", c.name, c.strings, got, c.want)
		}
	}
}

// TestRepeats: notes a second from harmony.md 6.4.
func TestRepeats(t *testing.T) {
	h := NormalRightHand()
	for _, c := range []struct {
		name    string
		plucked int
		bass    bool
		want    float64
	}{
		{"two fingers in turn", 1, false, 8},
		{"thumb alone", 1, true, 4},
		{"each finger its string", 2, false, 5},
		{"a grip", 4, false, 4},
		{"a grip with its bass", 4, true, 4},
	} {
		if got := 1 / h.Repeat(c.plucked, c.bass); got != c.want {
			t.Errorf("%s: %g a second, want %g", c.name, got, c.want)
		}
	}
	if got := 1 / (RightHand{Fingers: 2}).Repeat(1, false); got != 5 {
		t.Errorf("thumb and one finger: %g a second, want 5", got)
	}
}
