package placement

import (
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// What marks say of each other that cannot be.
const (
	// SILineReach in millimetres: the best point for S3 lies 0 to 25 mm caudal of
	// the line through the caudal ends of both sacroiliac joints, and 14 % of S3
	// foramina lie wholly cephalad of it (J Pelvic Med Surg 2013;19(1):23-30, doi
	// 10.1097/SPV.0b013e31827bfdb1). An S3 that lies further off than this, beyond
	// either end of that range, is to be counted again (how far is an assumption).
	SILineReach = 15.0
	siLineRange = 25.0
)

// disorders are cautions of marks that contradict each other: openings out of
// their order, a counted S3 far from the sacroiliac line, needles longer than
// they are.
func (w *work) disorders(objects []*object) []string {
	var out []string
	for _, s := range w.films {
		out = append(out, s.openingsOutOfOrder()...)
	}
	for _, o := range objects {
		out = append(out, w.farFromSILine(o)...)
		out = append(out, w.tooLong(o)...)
	}
	return out
}

// openingsOutOfOrder compares the heights of openings marked with a level: S2
// lies above S3, on either side.
func (s *sheet) openingsOutOfOrder() []string {
	if s.cranial == (r2.Vec{}) {
		return nil
	}
	type opening struct {
		level  mark.Level
		height float64 // plane units, towards the head
	}
	var all []opening
	for _, m := range s.marks {
		if m.Structure == mark.Foramen && m.Level.Number() > 0 {
			var sum r2.Vec
			for _, p := range s.plane.all(m.Points) {
				sum = r2.Add(sum, p)
			}
			all = append(all, opening{m.Level, r2.Dot(r2.Scale(1/float64(len(m.Points)), sum), s.cranial)})
		}
	}
	slices.SortFunc(all, func(a, b opening) int { return a.level.Number() - b.level.Number() })
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.level.Number() < b.level.Number() && a.height <= b.height {
				return []string{fmt.Sprintf("%s: the opening marked %s lies no higher than one marked %s: count the levels again.", s.reading.Film.File, a.level, b.level)}
			}
		}
	}
	return nil
}

// farFromSILine holds a device's level, where it is S3, against the sacroiliac
// line of the frontal film.
func (w *work) farFromSILine(o *object) []string {
	if o.device.Level != "S3" || strings.Contains(o.device.LevelSource, "sacroiliac") {
		return nil
	}
	for _, d := range o.frontal {
		fr, s := d.frontal, d.sheet
		e := r2.Vec{X: d.found.v[frontEntryX], Y: d.found.v[frontEntryY]}
		if !finite(e) || !fr.si.marked() || !s.plane.scaled || s.reading.Scale.MaxMagnification > 1 || s.cranial == (r2.Vec{}) {
			continue
		}
		f := newFound(frontalSlots)
		fr.siSlot(f, s.plane.at(e), r2.Scale(-1, s.cranial))
		caudal := f.v[caudalTip]
		switch {
		case caudal < -SILineReach:
			return []string{fmt.Sprintf("%s: level S3, but its entry lies %.0f mm cranial of the sacroiliac line: count the levels again.", o.name, -caudal)}
		case caudal > siLineRange+SILineReach:
			return []string{fmt.Sprintf("%s: level S3, but its entry lies %.0f mm caudal of the sacroiliac line: count the levels again.", o.name, caudal)}
		}
	}
	return nil
}

// tooLong holds the marked part of a shaft in space against the device's own
// known length.
func (w *work) tooLong(o *object) []string {
	if o.space == nil || !isShaft(o.kind) {
		return nil
	}
	hub, tip, ok := o.space.shaft()
	if !ok {
		return nil
	}
	length := r3.Norm(r3.Sub(tip, hub))
	for _, s := range []*sheet{o.space.couple.front, o.space.couple.side} {
		for _, m := range s.marks {
			known, ok := m.Length()
			if m.Structure != mark.KnownLength || m.Object != o.name || !ok || !w.whole(s, o, m) {
				continue
			}
			// A part in twenty is more than scale and marks are off together.
			if length > known*(1+longerMost) {
				return []string{fmt.Sprintf("%s: its marked part is %s long by both films, longer than the %g mm it is said to have: check the known length and the marks.",
					o.name, quantity.Measured{Value: length, Unit: "mm"}.Figure(), known)}
			}
		}
	}
	return nil
}

// longerMost is the part by which a needle may look longer than itself.
const longerMost = 0.05

// whole reports whether a known length spans the device as it is marked there,
// and not some part of it.
func (w *work) whole(s *sheet, o *object, m mark.Mark) bool {
	d, ok := s.device(o.name)
	if !ok || len(m.Points) != 2 {
		return false
	}
	shaft := r2.Norm(r2.Sub(s.plane.at(d.Points[len(d.Points)-1]), s.plane.at(d.Points[0])))
	span := r2.Norm(r2.Sub(s.plane.at(m.Points[1]), s.plane.at(m.Points[0])))
	return span > 0.8*shaft
}
