package sidecar

import (
	"fmt"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
)

// reader turns a content tree back into a report. It reads what builder
// writes; anything else is told as err, for what is not understood must not be
// dropped in silence.
type reader struct {
	r      *Report
	images map[string]*imaging.Header
	err    error
}

func (rd *reader) fail(format string, args ...any) {
	if rd.err == nil {
		rd.err = fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, args...)...)
	}
}

func (rd *reader) odd(it item, where string) {
	rd.fail("%s holds an item this program does not know: %s %s", where, it.kind, it.concept)
}

// worded reads what sheet.word wrote.
func (rd *reader) worded(it item, v vocabulary) string {
	if it.kind == typeText {
		return it.text
	}
	w, ok := v.word(it.value)
	if !ok && !it.value.is(none) {
		rd.fail("%s: the code %s is not known", it.concept.meaning, it.value)
	}
	return w
}

// whole reads a number that counts.
func (rd *reader) whole(it item) int {
	if it.number != float64(int(it.number)) || it.number < -1<<31 || it.number > 1<<31 {
		rd.fail("%s: %g is not a whole number", it.concept.meaning, it.number)
		return 0
	}
	return int(it.number)
}

func (rd *reader) frame(it item) mark.FrameRef {
	f := mark.FrameRef{Instance: it.ref.instance, First: 1, Last: 1}
	if n := it.ref.frames; len(n) > 0 {
		f.First, f.Last = n[0], n[len(n)-1]
	}
	return f
}

func (rd *reader) tree(root item) {
	for _, it := range root.children {
		switch {
		case it.concept.is(language), it.concept.is(observerType), it.concept.is(procedureReported):
		case it.concept.is(personName), it.concept.is(observerAsIs):
			rd.r.Book.Observer = it.text
		case it.concept.is(createdAt), it.concept.is(changedAt):
			t, err := readDateTime(it.text)
			if err != nil {
				rd.fail("%s: %q is not a time with its offset from UTC", it.concept.meaning, it.text)
			}
			if it.concept.is(createdAt) {
				rd.r.Created = t
			} else {
				rd.r.Changed = t
			}
		case it.concept.is(issuedRevision):
			rd.r.Issued = rd.whole(it)
		case it.concept.is(imageLibrary):
			rd.library(it)
		case it.concept.is(measurements):
			for _, g := range it.children {
				rd.group(g)
			}
		case it.concept.is(evaluations):
			rd.evaluations(it)
		default:
			rd.odd(it, "the report")
		}
	}
}

func (rd *reader) library(library item) {
	for _, group := range library.children {
		for _, entry := range group.children {
			h := &imaging.Header{SOPClass: entry.ref.class, SOPInstance: entry.ref.instance}
			for _, it := range entry.children {
				switch {
				case it.concept.is(modality), it.concept.is(modalityName):
					h.Modality = rd.worded(it, modalities)
				case it.concept.is(pixelDataRows):
					h.Rows = rd.whole(it)
				case it.concept.is(pixelDataColumns):
					h.Columns = rd.whole(it)
				case it.concept.is(imageFrames):
					h.Frames = rd.whole(it)
				default:
					rd.odd(it, "the image library")
				}
			}
			rd.r.Images = append(rd.r.Images, h)
			rd.images[h.SOPInstance] = h
		}
	}
}

// record is a Measurement Group taken apart.
type record struct {
	kind     code
	uid      string
	observed string
	items    []item
}

func (rd *reader) group(g item) {
	rec := record{observed: g.observed}
	for _, it := range g.children {
		switch {
		case it.concept.is(trackingID):
		case it.concept.is(trackingUID):
			rec.uid = it.text
		case it.concept.is(recordKind):
			rec.kind = it.value
		default:
			rec.items = append(rec.items, it)
		}
	}
	switch {
	case rec.kind.is(kindMark):
		rd.mark(rec)
	case rec.kind.is(kindStatement):
		rd.statement(rec)
	case rec.kind.is(kindOperation):
		rd.operation(rec)
	case rec.kind.is(kindResponse):
		rd.response(rec)
	case rec.kind.is(kindFilm):
		rd.film(rec)
	case rec.kind.is(kindDevice):
		rd.device(rec)
	case rec.kind.is(kindPlacement):
		rd.results(rec)
	default:
		rd.fail("a measurement group does not say which kind of record it is")
	}
}

func (rd *reader) mark(rec record) {
	m := mark.Mark{UID: rec.uid}
	for _, it := range rec.items {
		switch {
		case it.concept.is(finding), it.concept.is(structureName):
			m.Structure = mark.Structure(rd.worded(it, structures))
		case it.concept.is(findingSite):
		case it.concept.is(device):
			m.Object = it.text
		case it.concept.is(levelStated):
			m.Level = mark.Level(rd.worded(it, levels))
		case it.concept.is(sideStated):
			m.Side = mark.Side(rd.worded(it, sides))
		case it.concept.is(markDetail):
			m.Detail = it.text
		case it.concept.is(markOrigin):
			m.Origin = mark.Origin(rd.worded(it, origins))
		case it.concept.is(markHistory):
			m.History = append(m.History, it.text)
		case it.concept.is(markSD):
			m.SD = imaging.Known(it.number)
		case it.concept.is(contactIndex):
			m.Index = rd.whole(it)
		case it.concept.is(pointCount):
			for _, c := range it.children {
				m.Points = c.points
				for _, image := range c.children {
					m.Frame = rd.frame(image)
				}
			}
			// The count tells an outline's repeated first point from a mark's own.
			if n := rd.whole(it); n >= 0 && n < len(m.Points) {
				m.Points = m.Points[:n]
			}
		default:
			rd.odd(it, "a mark")
		}
	}
	rd.r.Book.Marks = append(rd.r.Book.Marks, m)
}

func (rd *reader) statement(rec record) {
	var s mark.Statement
	if rec.observed != "" {
		t, err := readDateTime(rec.observed)
		if err != nil {
			rd.fail("a statement's time %q is not a time with its offset from UTC", rec.observed)
		}
		s.When = t
	}
	for _, it := range rec.items {
		switch {
		case it.concept.is(observerType):
		case it.concept.is(personName), it.concept.is(observerAsIs):
			s.Observer = it.text
		case it.concept.is(aboutFrame):
			s.Frame = rd.frame(it)
		case it.concept.is(device):
			s.Object = it.text
		case it.concept.is(view):
			s.View = imaging.View(rd.worded(it, views))
		case it.concept.is(cranialEdge):
			s.Cranial = imaging.Edge(rd.worded(it, edges))
		case it.concept.is(leftEdge):
			s.PatientLeft = imaging.Edge(rd.worded(it, edges))
		case it.concept.is(sideStated):
			s.Side = mark.Side(rd.worded(it, sides))
		case it.concept.is(sideBasis):
			s.SideBasis = mark.Basis(rd.worded(it, bases))
		case it.concept.is(levelStated):
			s.Level = mark.Level(rd.worded(it, levels))
		case it.concept.is(levelBasis):
			s.LevelBasis = mark.Basis(rd.worded(it, bases))
		case it.concept.is(transitional):
			s.Transitional = rd.worded(it, transitionals)
		default:
			rd.odd(it, "a statement")
		}
	}
	rd.r.Book.Statements = append(rd.r.Book.Statements, s)
}

func (rd *reader) film(rec record) {
	var f placement.FilmReading
	for _, it := range rec.items {
		switch {
		case it.concept.is(aboutFrame):
			f.Film.Ref = rd.frame(it)
			f.Film.Header = rd.images[f.Film.Ref.Instance]
		case it.concept.is(filmTime):
			f.Film.Time = it.text
		case it.concept.is(view):
			f.View = imaging.View(rd.worded(it, views))
		case it.concept.is(viewSource):
			f.ViewSource = it.text
		case it.concept.is(cranialEdge):
			f.Cranial = imaging.Edge(rd.worded(it, edges))
		case it.concept.is(cranialSource):
			f.CranialSource = it.text
		case it.concept.is(cranialDiffers):
			f.CranialConflict = it.text
		case it.concept.is(leftEdge), it.concept.is(leftConfirmed):
			f.PatientLeft = imaging.Edge(rd.worded(it, edges))
			f.LeftConfirmed = it.concept.is(leftConfirmed)
		case it.concept.is(leftSource):
			f.LeftSource = it.text
		case it.concept.is(leftConflict):
			f.LeftConflict = it.text
		case it.concept.is(pointOfFilm):
			name, p := rd.point(it)
			if f.Points == nil {
				f.Points = map[string]placement.Point{}
			}
			f.Points[name] = p
		default:
			if !rd.scale(&f.Scale, it) {
				rd.odd(it, "a film")
			}
		}
	}
	rd.r.Placement.Films = append(rd.r.Placement.Films, f)
}

func (rd *reader) point(it item) (name string, p placement.Point) {
	for _, c := range it.children {
		switch {
		case c.concept.is(quantityName):
			name = c.text
		case c.concept.is(pointX):
			p.X = c.number
		case c.concept.is(pointY):
			p.Y = c.number
		}
	}
	return name, p
}

func (rd *reader) scale(s *scale.Scale, it item) bool {
	switch {
	case it.concept.is(scaleRow):
		s.Row = it.number
		s.Known = it.unit.is(unitMMPerPixel)
	case it.concept.is(scaleColumn):
		s.Column = it.number
	case it.concept.is(scalePlane):
		s.Plane = scale.Plane(rd.worded(it, scalePlanes))
	case it.concept.is(scaleSource):
		s.Source = it.text
	case it.concept.is(scaleRelative):
		s.Relative = it.number
	case it.concept.is(scaleOffset):
		s.PlaneOffset = it.number
	case it.concept.is(scaleMagnified):
		s.MaxMagnification = it.number
	case it.concept.is(scaleFromFocus):
		s.SourceToPlane = it.number
	case it.concept.is(scaleConflict):
		s.Conflicts = append(s.Conflicts, it.text)
	case it.concept.is(scaleBecause):
		s.Because = it.text
	default:
		return false
	}
	return true
}

func (rd *reader) device(rec record) {
	var d placement.Device
	for _, it := range rec.items {
		switch {
		case it.concept.is(finding), it.concept.is(structureName):
			d.Kind = mark.Structure(rd.worded(it, structures))
		case it.concept.is(device):
			d.Object = it.text
		case it.concept.is(sideOpen), it.concept.is(sideConfirmed):
			d.Side = mark.Side(rd.worded(it, sides))
			d.SideConfirmed = it.concept.is(sideConfirmed)
		case it.concept.is(sideSource):
			d.SideSource = it.text
		case it.concept.is(sideConflict):
			d.SideConflict = it.text
		case it.concept.is(levelOpen), it.concept.is(levelConfirmed):
			d.Level = mark.Level(rd.worded(it, levels))
			d.LevelConfirmed = it.concept.is(levelConfirmed)
		case it.concept.is(levelSource):
			d.LevelSource = it.text
		case it.concept.is(levelConflict):
			d.LevelConflict = it.text
		default:
			rd.odd(it, "a device")
		}
	}
	rd.r.Placement.Devices = append(rd.r.Placement.Devices, d)
}

func (rd *reader) results(rec record) {
	var object string
	for _, it := range rec.items {
		switch {
		case it.concept.is(device):
			object = it.text
		case it.kind == typeNum:
			rd.result(object, it)
		default:
			rd.odd(it, "a placement")
		}
	}
}

func (rd *reader) result(object string, num item) {
	unit, ok := unitWord(num.unit)
	if !ok {
		rd.fail("%s: the unit %s is not known", num.concept.meaning, num.unit)
	}
	r := placement.Result{Object: object, Value: num.number, Unit: unit, Contact: -1}
	for _, it := range num.children {
		switch {
		case it.concept.is(quantityName):
			r.Quantity = rd.worded(it, quantities)
		case it.concept.is(plane):
			r.Plane = rd.worded(it, planes)
		case it.concept.is(findingSite), it.concept.is(plusOnly), it.concept.is(minusOnly):
		case it.concept.is(coverage):
			r.HasU = true
		case it.concept.is(plusMinus), it.concept.is(halfWidth):
			r.U95 = it.number
		case it.concept.is(lowerLimit):
			r.Lo = it.number
		case it.concept.is(upperLimit):
			r.Hi = it.number
		case it.concept.is(standardU):
			for _, from := range it.children {
				if r.Budget == nil {
					r.Budget = map[string]float64{}
				}
				r.Budget[from.text] = it.number
			}
		case it.concept.is(sideOpen), it.concept.is(sideConfirmed):
			r.Side = mark.Side(rd.worded(it, sides))
			r.SideConfirmed = it.concept.is(sideConfirmed)
		case it.concept.is(sideSource):
			r.SideSource = it.text
		case it.concept.is(levelOpen), it.concept.is(levelConfirmed):
			r.Level = mark.Level(rd.worded(it, levels))
			r.LevelConfirmed = it.concept.is(levelConfirmed)
		case it.concept.is(levelSource):
			r.LevelSource = it.text
		case it.concept.is(resultClass):
			r.Class = it.text
		case it.concept.is(contactIndex):
			r.Contact = rd.whole(it)
		case it.concept.is(resultOf):
			r.Of = it.text
		case it.concept.is(scaleUsed):
			r.Scale = it.text
		case it.concept.is(magnified):
			r.Magnified = true
		case it.concept.is(resultNote):
			r.Notes = append(r.Notes, it.text)
		case it.kind == typeImage:
			r.Frames = append(r.Frames, rd.frame(it))
		default:
			rd.odd(it, "a measurement")
		}
	}
	rd.r.Placement.Results = append(rd.r.Placement.Results, r)
}

func (rd *reader) evaluations(it item) {
	for _, e := range it.children {
		switch {
		case e.concept.is(purpose):
		case e.concept.is(caution):
			rd.r.Placement.Cautions = append(rd.r.Placement.Cautions, e.text)
		case e.concept.is(missingItem):
			m := placement.Missing{Quantity: rd.worded(e, quantities)}
			for _, c := range e.children {
				switch {
				case c.concept.is(device):
					m.Object = c.text
				case c.concept.is(because):
					m.Because = c.text
				}
			}
			rd.r.Placement.Missing = append(rd.r.Placement.Missing, m)
		default:
			rd.odd(e, "the evaluations")
		}
	}
}
