package placement

import (
	"fmt"
	"strings"

	"leadline/imaging"
)

// SideConflict is nil where no device's side is withheld. Otherwise it wraps
// imaging.ErrConflict and names each such device with which sources
// disagree and how to settle it. Whatever names a side to a reader asks it first.
func (p Placement) SideConflict() error {
	var said []string
	for _, d := range p.Devices {
		if d.SideConflict != "" {
			said = append(said, fmt.Sprintf("side of %s: %s", d.Object, strings.TrimRight(d.SideConflict, ". ")))
		}
	}
	if len(said) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %s", imaging.ErrConflict, strings.Join(said, "; "))
}
