package response

import (
	"cmp"
	"fmt"
	"slices"

	"leadline/measure/mark"
	"leadline/measure/placement"
)

// CautionDisagree is said where the level on the film and the root by response
// differ.
const CautionDisagree = "Film level and response disagree."

// Row is one position, or one contact, with what the film and the responses say.
type Row struct {
	Device placement.Device // Object alone where it is not marked on any film
	Marked bool
	// Depth of the tip or of the contact against the ventral margin, where it is
	// measured.
	Depth    placement.Result
	HasDepth bool
	// Test is nil where no response is recorded.
	Test     *Test
	Disagree bool // level by film and root by response differ
}

// Name is "N1" or "L1 contact 0".
func (r Row) Name() string {
	if r.Test != nil {
		return r.Test.Name()
	}
	return r.Device.Object
}

// Headings of the columns in which responses stand beside a position, in tables and
// charts alike.
func Headings() []string {
	return []string{"Pelvic floor", "Leg and foot", "Sensation", "Root by response"}
}

// Cells are the row's responses under Headings: the three thresholds with their
// unit, and the root they fit, with the level by film where the two differ.
func (r Row) Cells() []string {
	if r.Test == nil {
		return []string{NotRecorded, NotRecorded, NotRecorded, NotRecorded}
	}
	var cells []string
	for _, k := range Kinds() {
		cells = append(cells, r.Test.Threshold(k).Told(r.Test.Unit))
	}
	root := r.Test.RootWords()
	if root == "" {
		root = "not settled"
	}
	if r.Disagree {
		root += " (film " + string(r.Device.Level) + ")"
	}
	return append(cells, root)
}

// Group holds thresholds of one kind that may be set beside each other: of the
// same unit, pulse width and kind of device.
type Group struct {
	Kind       Kind
	Unit       string
	PulseWidth float64 // microseconds
	Device     mark.Structure
	Rows       []Row
}

// Comparison sets the positions of a case beside each other.
type Comparison struct {
	Rows   []Row
	Groups []Group
	// Apart says which thresholds are not compared, and why.
	Apart    []string
	Cautions []string
}

// Compare sets positions beside each other by side and level, left before right
// before what is not known, then by object and contact. It decides nothing.
func Compare(p placement.Placement, tests []Test) Comparison {
	var c Comparison
	tests = Sorted(tests)
	seen := map[string]bool{}
	for i := range tests {
		t := &tests[i]
		seen[t.Object] = true
		c.Rows = append(c.Rows, rowOf(p, t.Object, t))
	}
	for _, d := range p.Devices {
		if !seen[d.Object] {
			c.Rows = append(c.Rows, rowOf(p, d.Object, nil))
		}
	}
	slices.SortStableFunc(c.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(sideRank(a.Device.Side), sideRank(b.Device.Side)), cmp.Compare(levelRank(a.Device.Level), levelRank(b.Device.Level)),
			mark.CompareObjects(a.Device.Object, b.Device.Object), cmp.Compare(contactOf(a), contactOf(b)))
	})
	for _, k := range Kinds() {
		c.group(k)
	}
	said := map[string]bool{}
	for _, r := range c.Rows {
		if r.Disagree && !said[r.Device.Object] {
			said[r.Device.Object] = true
			c.Cautions = append(c.Cautions, r.Device.Object+": "+CautionDisagree)
		}
	}
	return c
}

func sideRank(s mark.Side) int {
	if i := slices.Index([]mark.Side{mark.LeftSide, mark.RightSide, mark.MiddleSide}, s); i >= 0 {
		return i
	}
	return 3
}

func levelRank(l mark.Level) int {
	if n := l.Number(); n > 0 {
		return n
	}
	return 9
}

func contactOf(r Row) int {
	if r.Test != nil {
		return r.Test.Contact
	}
	return -1
}

func rowOf(p placement.Placement, object string, t *Test) Row {
	r := Row{Device: placement.Device{Object: object, Kind: kindOf(object)}, Test: t}
	for _, d := range p.Devices {
		if d.Object == object {
			r.Device, r.Marked = d, true
		}
	}
	for _, v := range p.Results {
		tip := v.Quantity == "tip-depth-along-needle" && (t == nil || t.Contact < 0)
		contact := v.Quantity == "contact-depth" && t != nil && t.Contact == v.Contact
		// Both films together come before one alone.
		if v.Object == object && (tip || contact) && (!r.HasDepth || v.Plane == placement.Plane3D) {
			r.Depth, r.HasDepth = v, true
		}
	}
	r.Disagree = t != nil && t.Disagrees(r.Device.Level)
	return r
}

// kindOf a device by its name.
func kindOf(object string) mark.Structure {
	switch object[:min(1, len(object))] {
	case "N":
		return mark.Needle
	case "W":
		return mark.Wire
	case "L":
		return mark.Lead
	}
	return ""
}

// group gathers what may be compared of a kind, and says what may not.
func (c *Comparison) group(k Kind) {
	var groups []Group
	var apart []string
	recorded := 0
	for _, r := range c.Rows {
		if r.Test == nil || !r.Test.Threshold(k).Amplitude.Known {
			continue
		}
		recorded++
		if !r.Test.PulseWidth.Known {
			apart = append(apart, fmt.Sprintf("%s: %s of %s is not compared: its pulse width is not recorded.", r.Name(), r.Test.Threshold(k).Told(r.Test.Unit), k.Words()))
			continue
		}
		g := Group{Kind: k, Unit: r.Test.Unit, PulseWidth: r.Test.PulseWidth.Value, Device: kindOf(r.Device.Object), Rows: []Row{r}}
		i := slices.IndexFunc(groups, func(o Group) bool {
			return o.Unit == g.Unit && o.PulseWidth == g.PulseWidth && o.Device == g.Device
		})
		if i < 0 {
			groups = append(groups, g)
			continue
		}
		groups[i].Rows = append(groups[i].Rows, r)
	}
	for _, g := range groups {
		if len(g.Rows) > 1 {
			c.Groups = append(c.Groups, g)
		} else if recorded > 1 {
			r := g.Rows[0]
			apart = append(apart, fmt.Sprintf("%s: %s of %s is not compared: no other has %s, %s µs and a %s.",
				r.Name(), r.Test.Threshold(k).Told(g.Unit), k.Words(), g.Unit, Figure(g.PulseWidth), g.Device))
		}
	}
	if recorded > 1 {
		c.Apart = append(c.Apart, apart...)
	}
}
