package placement

import (
	"fmt"
	"strings"

	"leadline/imaging"
)

// SideConflict is nil where no device's side is withheld. Otherwise it wraps
// imaging.ErrConflict and names each such device with which sources
// disagree and how to settle it, once for those that share the reason. Whatever
// names a side to a reader asks it first.
func (p Placement) SideConflict() error {
	var reasons []string
	of := map[string][]string{}
	for _, d := range p.Devices {
		if d.SideConflict == "" {
			continue
		}
		if of[d.SideConflict] == nil {
			reasons = append(reasons, d.SideConflict)
		}
		of[d.SideConflict] = append(of[d.SideConflict], d.Object)
	}
	if reasons == nil {
		return nil
	}
	var said []string
	for _, r := range reasons {
		said = append(said, fmt.Sprintf("side of %s: %s", strings.Join(of[r], ", "), strings.TrimRight(r, ". ")))
	}
	return fmt.Errorf("%w: %s", imaging.ErrConflict, strings.Join(said, "; "))
}
