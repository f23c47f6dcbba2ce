package placement

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// decide settles an object's side and level.
func (w *work) decide(o *object) {
	d := o.device
	side := mark.DecideSide(o.name, mark.Reading{}, r2.Vec{}, false, w.book)
	if len(o.sides) > 0 {
		side = o.sides[0]
		for _, s := range o.sides[1:] {
			side = mark.MergeSides(side, s)
		}
	}
	d.Side, d.SideSource, d.SideConfirmed, d.SideConflict = side.Side, side.Source, side.Confirmed, side.Conflict
	var foramen mark.Level
	unsure := false
	for _, f := range o.openings {
		unsure = unsure || f.unsure
		o.sideOfOpening(f)
		if f.level == "" {
			continue
		}
		if foramen != "" && f.level != foramen {
			d.LevelConflict = fmt.Sprintf("%s enters an opening marked %s and one marked %s: correct the outlines or their levels.", o.name, foramen, f.level)
		}
		foramen = f.level
	}
	if len(o.halves) > 0 && d.Side == mark.MiddleSide {
		d.SideConflict = o.name + " is called midline, but enters clear of the midline on the film: confirm its side."
	}
	if d.SideConflict != "" {
		d.Side, d.SideConfirmed, d.SideSource = mark.NoSide, false, "sources disagree"
	}
	level := mark.DecideLevel(o.name, foramen, w.book)
	d.Level, d.LevelSource, d.LevelConfirmed = level.Level, level.Source, level.Confirmed
	if level.Level == "" && level.Conflict == "" && o.outside() {
		d.LevelSource = "not known: the entry lies in no marked dorsal opening"
	}
	if unsure && d.Level != "" {
		d.LevelConfirmed = false
		d.LevelSource += "; which opening was marked is unsure, level not confirmed"
	}
	if level.Conflict != "" {
		d.LevelConflict = level.Conflict
	}
	if d.LevelConflict != "" {
		d.Level, d.LevelConfirmed = "", false
	}
}

// holdTogether compares the sides of devices seen on one frontal film: those in
// one half of it lie on one side of the patient, those in different halves do
// not. Where sides contradict that, the film cannot be trusted for the device
// whose side is not confirmed, nor for either where both are or neither is.
func (w *work) holdTogether(objects []*object) {
	type ruling struct {
		o   *object
		why string
	}
	var rulings []ruling
	sided := func(s mark.Side) bool { return s == mark.LeftSide || s == mark.RightSide }
	for i, a := range objects {
		for _, b := range objects[i+1:] {
			da, db := a.device, b.device
			if !sided(da.Side) || !sided(db.Side) {
				continue
			}
			for s, half := range a.halves {
				other, seen := b.halves[s]
				if !seen || (half == other) == (da.Side == db.Side) {
					continue
				}
				where := "on one side"
				if half != other {
					where = "on different sides"
				}
				for _, r := range []struct {
					o, than *object
				}{{a, b}, {b, a}} {
					if r.o.device.SideConfirmed && !r.than.device.SideConfirmed {
						continue
					}
					rulings = append(rulings, ruling{r.o, fmt.Sprintf("%s and %s lie %s of the midline of a film, but would be %s and %s (%s): confirm the side of each.",
						a.name, b.name, where, da.Side, db.Side, r.than.device.SideSource)})
				}
				break
			}
		}
	}
	for _, r := range rulings {
		d := r.o.device
		d.Side, d.SideConfirmed = mark.NoSide, false
		if d.SideConflict == "" {
			d.SideConflict, d.SideSource = r.why, "sources disagree"
		}
	}
}

// changes compares each position of a device with the one before it.
func (w *work) changes(objects []*object) {
	var extra []*computed
	for i, later := range objects {
		var earlier *object
		for _, o := range objects[:i] {
			if mark.Device(o.name) == mark.Device(later.name) && o.kind == later.kind {
				earlier = o // objects are in natural order: the last one found is the position before
			}
		}
		if earlier == nil {
			continue
		}
		if a, b := earlier.device.Side, later.device.Side; a != "" && b != "" && a != b {
			later.missing = append(later.missing, Missing{later.name, "depth-change", earlier.name + " and " + later.name + " lie on different sides"})
			continue
		}
		compared := false
		for _, b := range w.values {
			if b.object != later || b.quantity != "tip-depth-along-needle" && b.quantity != "contact-depth" {
				continue
			}
			for _, a := range w.values {
				if a.object != earlier || a.quantity != b.quantity || a.plane != b.plane || a.contact != b.contact || a.unit != b.unit {
					continue
				}
				c := &computed{object: later, quantity: "depth-change", plane: b.plane, value: quantity.Difference(b.value, a.value), unit: b.unit, contact: b.contact, of: earlier.name, sheets: []*sheet{b.sheets[0]}, length: true}
				if a.sheets[0] != b.sheets[0] {
					c.sheets = append(c.sheets, a.sheets[0])
				}
				extra = append(extra, c)
				compared = true
			}
		}
		if !compared {
			later.missing = append(later.missing, Missing{later.name, "depth-change", "needs the depth of " + later.name + " and of " + earlier.name + ", both in one unit"})
		}
	}
	w.values = append(w.values, extra...)
}

// toldLeast is the share of draws under which a quantity must exist to be told.
const toldLeast = 0.5

// report turns values into results and completes what is missing.
func (w *work) report(objects []*object) {
	slices.SortStableFunc(w.values, func(a, b *computed) int { return natural(a.object.name, b.object.name) })
	for _, c := range w.values {
		d := c.object.device
		if !c.bare && c.value.Told() < toldLeast {
			c.object.missing = append(c.object.missing, Missing{c.object.name, c.quantity,
				"it is found under too few of the draws of what is not known of the film: the marks do not settle it"})
			continue
		}
		r := Result{
			Object: c.object.name, Quantity: c.quantity, Plane: c.plane, Value: c.value.Estimate, Unit: c.unit,
			Side: d.Side, SideSource: d.SideSource, SideConfirmed: d.SideConfirmed,
			Level: d.Level, LevelSource: d.LevelSource, LevelConfirmed: d.LevelConfirmed,
			Class: c.class, Contact: c.contact, Of: c.of, Notes: c.notes,
		}
		if d.SideConflict != "" {
			r.Notes = append(r.Notes, "side left out: "+d.SideConflict)
		}
		if d.LevelConflict != "" {
			r.Notes = append(r.Notes, "level left out: "+d.LevelConflict)
		}
		for _, s := range c.sheets {
			r.Frames = append(r.Frames, s.reading.Film.Ref)
		}
		sc := c.sheets[0].reading.Scale
		switch {
		case c.unit == "mm" && c.plane == Plane3D:
			r.Scale = c.object.space.couple.scaleWords()
		case c.unit == "mm":
			r.Scale = scaleWords(sc)
			r.Magnified = sc.MaxMagnification > 1
		case c.unit == "px":
			r.Notes = append(r.Notes, "no scale: "+sc.Because)
		}
		if !c.bare && !w.bare {
			r.HasU = true
			r.U95, r.Lo, r.Hi = c.value.Interval()
			r.Budget = c.value.Budget()
			if c.unit == "deg" && c.quantity != "frontal-deflection" {
				// An angle between two directions lies between 0 and 180 degrees.
				r.Lo, r.Hi = max(r.Lo, 0), min(r.Hi, 180)
				r.U95 = (r.Hi - r.Lo) / 2
			}
		}
		w.out.Results = append(w.out.Results, r)
	}
	for _, o := range objects {
		w.absent(o)
		for _, m := range o.missing {
			if !slices.Contains(w.out.Missing, m) {
				w.out.Missing = append(w.out.Missing, m)
			}
		}
	}
}

func scaleWords(s scale.Scale) string {
	if !s.Known {
		return ""
	}
	if s.Plane == scale.DetectorPlane || s.Plane == scale.UnknownPlane {
		return s.Source // these sources name their plane
	}
	return s.Source + ", plane: " + string(s.Plane)
}

// absent lists what a whole view would have given.
func (w *work) absent(o *object) {
	noFilm := func(view string) string {
		var unknown []string
		for _, s := range w.films {
			if s.twice[o.name] && string(s.reading.View) == view {
				return o.name + " is marked twice on " + s.reading.Film.File + ": delete one"
			}
			_, ok := s.device(o.name)
			switch v := s.reading.View; {
			case ok && v == imaging.Oblique:
				return s.reading.Film.File + " is an oblique film: mark " + o.name + " on a " + view + " film, or confirm the view"
			case ok && v == imaging.NoView:
				unknown = append(unknown, s.reading.Film.File)
			}
		}
		if len(unknown) > 0 {
			return "the view of " + strings.Join(unknown, " and ") + " is not known: confirm which film is " + view
		}
		return "mark " + o.name + " on a " + view + " film"
	}
	if len(o.lateral) == 0 {
		for _, q := range lateralQuantities {
			if !(o.kind == mark.Lead && q.length) {
				o.missing = append(o.missing, Missing{o.name, q.name, noFilm("lateral")})
			}
		}
		if o.kind == mark.Lead {
			o.missing = append(o.missing, Missing{o.name, "contact-depth", noFilm("lateral")}, Missing{o.name, "contacts-beyond-margin", noFilm("lateral")})
		}
	}
	if len(o.frontal) == 0 {
		for _, q := range frontalQuantities {
			if !q.lead || o.kind == mark.Lead {
				o.missing = append(o.missing, Missing{o.name, q.name, noFilm("frontal")})
			}
		}
	}
}

// sideOfOpening holds the device's side against the side stated of the opening
// it enters: that too is something the observer says.
func (o *object) sideOfOpening(f outline) {
	d := o.device
	if f.side != mark.LeftSide && f.side != mark.RightSide || d.Side == mark.NoSide || d.Side == f.side {
		return
	}
	if d.SideConfirmed {
		d.SideSource += "; the opening it enters says otherwise: " + string(f.side)
		return
	}
	d.SideConflict = fmt.Sprintf("%s is %s (%s), but enters an opening marked %s: confirm its side, or correct the opening's.", o.name, d.Side, d.SideSource, f.side)
}

// outside reports whether the entry is known on a frontal film with outlines of
// dorsal openings, but lies in none of them.
func (o *object) outside() bool {
	for _, d := range o.frontal {
		if len(d.frontal.foramina) > 0 && d.found.v[offsetEntry] == d.found.v[offsetEntry] {
			return len(o.openings) == 0
		}
	}
	return false
}

// Cautions in fixed words, so that screen, note and report say the same.
const (
	CautionReview   = "For review after the case, never for guidance."
	CautionCortex   = "Depth is to the midline sacral cortex, not to bowel, vessel or nerve."
	CautionHeader   = "Side from header, not confirmed."
	CautionStated   = "Side stated, not confirmed."
	CautionSILine   = "Level rests on the sacroiliac line alone."
	CautionLevel    = "Level stated, not confirmed."
	CautionRotated  = "Lateral view rotated: depth differs by side."
	CautionIdentity = "Needle identity on the lateral film is not proven."
)

// caution collects what a reader must know before using the numbers.
func (w *work) caution(objects []*object) {
	add := func(text string) {
		if text != "" && !slices.Contains(w.out.Cautions, text) {
			w.out.Cautions = append(w.out.Cautions, text)
		}
	}
	// A caution that holds for every device stands alone, else it is put to
	// the devices it concerns.
	about := map[string][]string{}
	for _, o := range objects {
		d := o.device
		switch {
		case d.SideConflict != "":
			add(o.name + ": side left out: " + d.SideConflict)
		case d.SideConfirmed && strings.Contains(d.SideSource, "otherwise"):
			add(o.name + ": side confirmed against another source.")
		case d.Side == mark.NoSide || d.SideConfirmed:
		case strings.Contains(d.SideSource, "header"):
			about[CautionHeader] = append(about[CautionHeader], o.name)
		default:
			about[CautionStated] = append(about[CautionStated], o.name)
		}
		switch {
		case d.LevelConflict != "":
			add(o.name + ": level left out: " + d.LevelConflict)
		case d.Level == "" || d.LevelConfirmed:
		case strings.Contains(d.LevelSource, "sacroiliac"):
			about[CautionSILine] = append(about[CautionSILine], o.name)
		default:
			about[CautionLevel] = append(about[CautionLevel], o.name)
		}
		for _, h := range o.heights {
			add(h)
		}
		if len(o.lateral) > 1 {
			add(o.name + " is marked on " + count(len(o.lateral), "lateral film") + ": each value holds for its own film; a second position has its own name, " + o.name + ".2.")
		}
	}
	for _, c := range []string{CautionHeader, CautionStated, CautionSILine, CautionLevel} {
		switch names := about[c]; len(names) {
		case 0:
		case len(objects):
			add(c)
		default:
			add(strings.Join(names, ", ") + ": " + c)
		}
	}
	for _, g := range slices.Concat(w.gaps, w.disorders(objects)) {
		add(g)
	}
	for i, later := range objects {
		for _, o := range objects[:i] {
			if a, b := o.device.Side, later.device.Side; mark.Device(o.name) == mark.Device(later.name) && a != "" && b != "" && a != b {
				add(o.name + " and " + later.name + " lie on different sides: is it one device?")
			}
		}
	}
	for _, s := range w.films {
		r := s.reading
		devices := 0
		for _, m := range s.marks {
			if m.Structure == mark.Needle || m.Structure == mark.Wire {
				devices++
			}
		}
		if devices > 1 && r.View == imaging.Lateral && !w.settled(s) {
			add(CautionIdentity)
		}
		if len(s.marks) == 0 {
			continue
		}
		for _, name := range slices.Sorted(maps.Keys(s.twice)) {
			add(r.Film.File + ": " + name + " is marked twice: delete one.")
		}
		if off, _, _, ok := r.Film.Geometry.OffView(r.View); ok && r.View == imaging.Lateral && off > RotationHalf {
			add(CautionRotated)
		}
		if t := w.turned(s); t.known {
			if long, cross := t.against(s); math.Hypot(long, cross) > quantity.Radians(RotationHalf) {
				add(CautionRotated)
			}
		}
		if turn := r.Film.Header.Turning(r.Film.Ref.First, r.Film.Ref.Last); turn > imaging.TurningMost {
			add(fmt.Sprintf("%s: the beam turned by %.0f degrees within frames %s; their mean has no single direction.", r.Film.File, turn, r.Film.Ref.Span()))
		}
		for _, c := range r.Scale.Conflicts {
			add(r.Film.File + ": " + c)
		}
		if s.read.CranialConflict != "" {
			add(r.Film.File + ": " + s.read.CranialConflict)
		}
		if r.LeftConflict != "" {
			add(r.Film.File + ": " + r.LeftConflict)
		}
		if strings.Contains(r.CranialSource, "; ") {
			add(r.Film.File + ": cranial is the " + string(r.Cranial) + " edge, " + r.CranialSource + ".")
		}
		if strings.Contains(r.ViewSource, "; ") {
			add(r.Film.File + ": the view is " + string(r.View) + ", " + r.ViewSource + ".")
		}
		switch {
		case !r.Scale.Known:
			add(r.Film.File + ": " + r.Scale.Because + "; lengths are in pixels.")
		case r.Scale.Plane == scale.DetectorPlane:
			add(r.Film.File + ": lengths are at the detector plane: magnified, not anatomy.")
		case r.Scale.Plane == scale.UnknownPlane:
			add(r.Film.File + ": the plane of Pixel Spacing is not known: lengths may be magnified.")
		}
	}
	for _, c := range w.values {
		if strings.HasPrefix(c.quantity, "tip-depth") || c.quantity == "contact-depth" {
			add(CautionCortex)
		}
	}
	add(CautionReview)
}
