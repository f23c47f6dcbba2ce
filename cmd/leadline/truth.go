package main

import (
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"leadline/imaging/phantom"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/quantity"
)

// compare prints each figure of the practice case beside its known truth, in
// the patient, and fails where one lies outside its own 95 % interval, or side
// or level of a needle is not the true one.
func compare(w io.Writer, p placement.Placement, truth phantom.Truth) error {
	fmt.Fprintln(w, "\nAgainst the known truth")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	within, all := 0, 0
	tell := func(ok bool, what, read, known string) {
		all++
		verdict := "OUTSIDE"
		if ok {
			within++
			verdict = "within"
		}
		fmt.Fprintf(t, "  %s\t%s\ttruth %s\t%s\n", what, read, known, verdict)
	}
	for _, n := range truth.Needles {
		for _, d := range p.Devices {
			if d.Object == n.Object {
				tell(string(d.Side) == n.Side, n.Object+" side", string(d.Side), n.Side)
				tell(string(d.Level) == n.Level, n.Object+" level", string(d.Level), n.Level)
			}
		}
		for _, r := range p.Results {
			if known, ok := knownTruth(n, r); ok {
				truth := quantity.Measured{Quantity: r.Quantity, Value: known, Unit: r.Unit}
				tell(r.Lo <= known && known <= r.Hi, n.Object+" "+note.Name(r), p.Measured(r).Detail(), truth.Detail())
			}
		}
	}
	t.Flush()
	fmt.Fprintf(w, "truth within interval: %d of %d\n", within, all)
	if within < all || all == 0 {
		return errors.New("the practice case is not read as it is known to be: this is a fault in leadline")
	}
	return nil
}

// knownTruth of a result with an interval; that of an angle to a fusion line is
// told for each line.
func knownTruth(n phantom.Needle, r placement.Result) (float64, bool) {
	if r.Object != n.Object || !r.HasU {
		return 0, false
	}
	known, ok := n.Quantities[r.Quantity]
	if !ok {
		known, ok = n.Quantities[r.Quantity+" "+r.Of]
	}
	return known, ok
}
