package voicing

import "fmt"

// A Density is how much an arrangement adds to the tune.
type Density uint8

const (
	densityMedium Density = iota
	densitySparse
	densityFull
)

// ParseDensity reads "sparse", "medium" or "full"; empty is medium.
func ParseDensity(s string) (Density, error) {
	switch s {
	case "sparse":
		return densitySparse, nil
	case "", "medium":
		return densityMedium, nil
	case "full":
		return densityFull, nil
	}
	return 0, fmt.Errorf("density %q is not known (it is sparse, medium or full)", s)
}
