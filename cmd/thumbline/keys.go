package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"thumbline/voicing"
)

// keys ranks the twelve keys by how the tune lies on the neck.
func keys(_ context.Context, e *env, o *options) error {
	if err := o.checkPlan(); err != nil {
		return err
	}
	t, _, err := readTune(e, o)
	if err != nil {
		return err
	}
	ranks := voicing.RankKeys(t, o.plan())
	// No key has the ending that is asked for: that is no matter of the keys.
	var choice *voicing.ChoiceError
	if !slices.ContainsFunc(ranks, func(r voicing.KeyRank) bool { return !errors.As(r.Err, &choice) }) {
		return planError(o, choice)
	}
	return printKeys(e.stdout, ranks)
}

func printKeys(w io.Writer, ranks []voicing.KeyRank) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "KEY\tMOVED\tCOST A BAR\tOPEN BASSES\tSTRETCH\tHIGHEST FRET\tSHIFTS\tALONE")
	for _, r := range ranks {
		if r.Refused != "" {
			fmt.Fprintf(tw, "%s\t%+d\t-\t\t\t\t\t%s\n", r.Key, r.Transposition, strings.TrimSpace(r.Refused))
			continue
		}
		fmt.Fprintf(tw, "%s\t%+d\t%.1f\t%d\t%.0f mm\t%d\t%d\t%d\n", r.Key, r.Transposition, r.Cost, r.OpenBasses, r.Stretch, r.HighestFret, r.Shifts, r.Alone)
	}
	return tw.Flush()
}
