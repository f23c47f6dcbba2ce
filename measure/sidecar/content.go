package sidecar

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// ReviewOnly is the sentence every report carries.
const ReviewOnly = "For review after the case, never for guidance."

// builder turns a report into its content tree. The first thing that cannot be
// said in a structured report is kept in err.
type builder struct {
	r      Report
	images map[string]*imaging.Header
	err    error
}

func (b *builder) fail(format string, args ...any) {
	if b.err == nil {
		b.err = fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, args...)...)
	}
}

// tree is the whole content, by TID 1500 (PS3.16).
func (b *builder) tree() item {
	root := sheet{b: b}
	// Row 2: TID 1204.
	root.code(hasModifier, language, languageEnglish)
	// Row 3: TID 1001, of which TID 1002 and 1003 apply.
	root.observer(b.r.Book.Observer)
	root.time(createdAt, b.r.Created)
	root.time(changedAt, b.r.Changed)
	if b.r.Issued != 0 {
		root.num(hasContext, issuedRevision, float64(b.r.Issued), unitNone)
	}
	// Row 4.
	root.code(hasModifier, procedureReported, imagingProcedure)
	// Row 5: TID 1600.
	root.add(b.library())
	// Rows 6 and 9: TID 1501.
	if groups := b.groups(); len(groups) > 0 {
		root.add(item{relation: contains, kind: typeContainer, concept: measurements, children: groups})
	}
	// Rows 12 to 14.
	root.add(item{relation: contains, kind: typeContainer, concept: evaluations, children: b.evaluations()})
	return item{kind: typeContainer, concept: documentTitle, template: "1500", children: root.items}
}

// library lists the images of the case (TID 1600, entries by TID 1601 and 1602).
func (b *builder) library() item {
	var entries sheet
	entries.b = b
	for _, h := range b.r.Images {
		about := sheet{b: b}
		if c, ok := modalities[h.Modality]; ok {
			about.code(hasAcquired, modality, c)
		} else {
			about.text(hasAcquired, modalityName, clean(h.Modality))
		}
		about.num(hasAcquired, pixelDataRows, float64(h.Rows), unitPixels)
		about.num(hasAcquired, pixelDataColumns, float64(h.Columns), unitPixels)
		about.num(hasAcquired, imageFrames, float64(h.Frames), unitNone)
		entries.add(item{relation: contains, kind: typeImage,
			ref: reference{class: h.SOPClass, instance: h.SOPInstance}, children: about.items})
	}
	group := item{relation: contains, kind: typeContainer, concept: imageLibraryGroup, children: entries.items}
	return item{relation: contains, kind: typeContainer, concept: imageLibrary, template: "1600", children: []item{group}}
}

func (b *builder) groups() []item {
	var out []item
	for _, m := range b.r.Book.Marks {
		out = append(out, b.mark(m))
	}
	for i, s := range b.r.Book.Statements {
		out = append(out, b.statement(i, s))
	}
	if len(b.r.Operation) > 0 {
		out = append(out, b.operation(b.r.Operation))
	}
	for i, t := range b.r.Responses {
		out = append(out, b.response(i, t))
	}
	for i, f := range b.r.Placement.Films {
		out = append(out, b.film(i, f))
	}
	for _, d := range b.r.Placement.Devices {
		out = append(out, b.device(d))
	}
	// Results of one object that follow each other share a group.
	results := b.r.Placement.Results
	for len(results) > 0 {
		n := 1
		for n < len(results) && results[n].Object == results[0].Object {
			n++
		}
		out = append(out, b.results(results[0].Object, results[:n]))
		results = results[n:]
	}
	return out
}

// group is a Measurement Group (TID 1501): tracking by rows 2 and 3, then
// what kind of record it is.
func (b *builder) group(kind code, label, uid string) sheet {
	s := sheet{b: b}
	s.text(hasContext, trackingID, label)
	s.add(item{relation: hasContext, kind: typeUID, concept: trackingUID, text: uid})
	s.code(contains, recordKind, kind)
	return s
}

func (s sheet) asGroup() item {
	return item{relation: contains, kind: typeContainer, concept: measurementGroup, template: "1501", children: s.items}
}

// derived is a tracking UID that stays the same over revisions of the report.
func (b *builder) derived(names ...string) string {
	return derivedUID(append([]string{b.study(), b.r.Book.Observer}, names...)...)
}

func (b *builder) study() string {
	if len(b.r.Images) == 0 {
		return ""
	}
	return b.r.Images[0].Study
}

// label is a mark in a few words.
func label(m mark.Mark) string {
	words := []string{string(m.Structure)}
	for _, w := range []string{m.Object, string(m.Level), string(m.Side)} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, " ")
}

func (b *builder) mark(m mark.Mark) item {
	name := label(m)
	if m.Structure == "" {
		b.fail("a mark does not say what it is")
	}
	if !validUID(m.UID) {
		b.fail("mark %s: %q is no tracking UID", name, m.UID)
	}
	s := b.group(kindMark, name, m.UID)
	s.finding(string(m.Structure))
	s.add(item{relation: hasModifier, kind: typeCode, concept: findingSite, value: siteOf(m.Structure)}) // row 6
	s.text(contains, device, m.Object)
	s.word(contains, levelStated, levels, string(m.Level))
	s.word(contains, sideStated, sides, string(m.Side))
	s.text(contains, markDetail, m.Detail)
	s.word(contains, markOrigin, origins, string(m.Origin))
	for _, h := range m.History {
		s.line(contains, markHistory, h, "history of mark "+name)
	}
	if m.SD.Known {
		s.num(contains, markSD, m.SD.Value, unitPixels)
	}
	if m.Structure == mark.Contact || m.Index != 0 {
		s.num(contains, contactIndex, float64(m.Index), unitNone)
	}
	// Row 10: TID 300, whose number is how many points were marked; TID 320 gives them.
	s.num(contains, pointCount, float64(len(m.Points)), unitNone)
	count := &s.items[len(s.items)-1]
	count.children = append(count.children, b.coordinates(m, name))
	return s.asGroup()
}

// siteOf is the bone or joint a structure is on (TID 1501 row 6).
func siteOf(s mark.Structure) code {
	switch s {
	case mark.SILine:
		return sacroiliacJoint
	case mark.CoccyxTip:
		return coccyx
	}
	return sacrum
}

// closed reports whether the mark is drawn as a closed outline: a POLYLINE whose
// first point is repeated at its end (PS3.3 C.18.6.1.2).
func closed(m mark.Mark) bool {
	return m.Structure == mark.Foramen && !m.Open() && len(m.Points) > 2
}

func (b *builder) coordinates(m mark.Mark, name string) item {
	ref := b.frames(m.Frame, "mark "+name)
	film := b.images[m.Frame.Instance]
	if len(m.Points) == 0 || len(m.Points) > maxPointsMark {
		b.fail("mark %s: %d points; one to %d can be kept", name, len(m.Points), maxPointsMark)
	}
	points := make([]r2.Vec, 0, len(m.Points)+1)
	for i, p := range m.Points {
		p = mark.Round(p)
		if film != nil && !(p.X >= 0 && p.Y >= 0 && p.X <= float64(film.Columns) && p.Y <= float64(film.Rows)) {
			b.fail("mark %s: point %d at %g, %g lies outside the image %s of %d columns and %d rows",
				name, i, p.X, p.Y, nameOf(film), film.Columns, film.Rows)
		}
		points = append(points, p)
	}
	if closed(m) {
		points = append(points, points[0])
	}
	graphic := "POLYLINE"
	if len(points) == 1 {
		graphic = "POINT"
	}
	from := item{relation: selectedFrom, kind: typeImage, ref: ref}
	return item{relation: inferredFrom, kind: typeCoord, graphic: graphic, points: points, children: []item{from}}
}

// frames is a reference to a frame or span. A single-frame image is referred
// to as a whole (PS3.3 table 10-3).
func (b *builder) frames(f mark.FrameRef, what string) reference {
	h := b.images[f.Instance]
	if h == nil {
		b.fail("%s: image %s is not one of the case", what, f.Instance)
		return reference{}
	}
	if f.First < 1 || f.Last < f.First || f.Last > max(h.Frames, 1) {
		b.fail("%s: frame %d-%d is not in %s, which has %d", what, f.First, f.Last, nameOf(h), max(h.Frames, 1))
		return reference{}
	}
	ref := reference{class: h.SOPClass, instance: h.SOPInstance}
	if h.Frames > 1 {
		for n := f.First; n <= f.Last; n++ {
			ref.frames = append(ref.frames, n)
		}
	}
	return ref
}

// nameOf is the image's file name, else its UID, for a message.
func nameOf(h *imaging.Header) string {
	if h.File != "" {
		return filepath.Base(h.File)
	}
	return h.SOPInstance
}

func (b *builder) statement(i int, st mark.Statement) item {
	s := b.group(kindStatement, fmt.Sprintf("statement %d", i+1), b.derived("statement", fmt.Sprint(i)))
	if st.Observer != "" {
		s.observer(st.Observer)
	}
	if st.Frame != (mark.FrameRef{}) {
		s.add(item{relation: contains, kind: typeImage, concept: aboutFrame, ref: b.frames(st.Frame, fmt.Sprintf("statement %d", i+1))})
	}
	s.text(contains, device, st.Object)
	s.word(contains, view, views, string(st.View))
	s.word(contains, cranialEdge, edges, string(st.Cranial))
	s.word(contains, leftEdge, edges, string(st.PatientLeft))
	s.word(contains, sideStated, sides, string(st.Side))
	s.word(contains, sideBasis, bases, string(st.SideBasis))
	s.word(contains, levelStated, levels, string(st.Level))
	s.word(contains, levelBasis, bases, string(st.LevelBasis))
	s.word(contains, transitional, transitionals, st.Transitional)
	it := s.asGroup()
	if !st.When.IsZero() {
		it.observed = s.b.dateTime(st.When)
	}
	return it
}

func (b *builder) film(i int, f placement.FilmReading) item {
	what := fmt.Sprintf("film %d", i+1)
	s := b.group(kindFilm, what, b.derived("film", f.Film.Ref.Instance, f.Film.Ref.Span()))
	s.add(item{relation: contains, kind: typeImage, concept: aboutFrame, ref: b.frames(f.Film.Ref, what)})
	s.text(contains, filmTime, f.Film.Time)
	s.word(contains, view, views, string(f.View))
	s.text(contains, viewSource, f.ViewSource)
	s.word(contains, cranialEdge, edges, string(f.Cranial))
	s.text(contains, cranialSource, f.CranialSource)
	s.text(contains, cranialDiffers, f.CranialConflict)
	s.settled(contains, leftEdge, leftConfirmed, edges, string(f.PatientLeft), f.LeftConfirmed)
	s.text(contains, leftSource, f.LeftSource)
	s.text(contains, leftConflict, f.LeftConflict)
	perPixel := unitNone // the pixel's shape alone
	if f.Scale.Known {
		perPixel = unitMMPerPixel
	}
	s.num(contains, scaleRow, f.Scale.Row, perPixel)
	s.num(contains, scaleColumn, f.Scale.Column, perPixel)
	s.word(contains, scalePlane, scalePlanes, string(f.Scale.Plane))
	s.text(contains, scaleSource, f.Scale.Source)
	s.nonzero(contains, scaleRelative, f.Scale.Relative, unitNone)
	s.nonzero(contains, scaleOffset, f.Scale.PlaneOffset, unitNone)
	s.nonzero(contains, scaleMagnified, f.Scale.MaxMagnification, unitNone)
	s.nonzero(contains, scaleFromFocus, f.Scale.SourceToPlane, unitMM)
	for _, c := range f.Scale.Conflicts {
		s.line(contains, scaleConflict, c, what)
	}
	s.text(contains, scaleBecause, f.Scale.Because)
	for _, name := range slices.Sorted(maps.Keys(f.Points)) {
		point := sheet{b: b}
		point.num(contains, pointX, f.Points[name].X, unitPixels)
		point.num(contains, pointY, f.Points[name].Y, unitPixels)
		inner := sheet{b: b}
		inner.line(hasModifier, quantityName, name, what)
		s.add(item{relation: contains, kind: typeContainer, concept: pointOfFilm, children: append(inner.items, point.items...)})
	}
	return s.asGroup()
}

func (b *builder) device(d placement.Device) item {
	s := b.group(kindDevice, orDash(d.Object), b.derived("device", d.Object))
	s.finding(string(d.Kind))
	s.text(contains, device, d.Object)
	s.settled(contains, sideOpen, sideConfirmed, sides, string(d.Side), d.SideConfirmed)
	s.text(contains, sideSource, d.SideSource)
	s.text(contains, sideConflict, d.SideConflict)
	s.settled(contains, levelOpen, levelConfirmed, levels, string(d.Level), d.LevelConfirmed)
	s.text(contains, levelSource, d.LevelSource)
	s.text(contains, levelConflict, d.LevelConflict)
	return s.asGroup()
}

// orDash stands in for a label that is empty: a TEXT item needs text.
func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func (b *builder) results(object string, results []placement.Result) item {
	s := b.group(kindPlacement, orDash(object), b.derived("device", object))
	s.text(contains, device, object)
	for _, r := range results {
		s.add(b.result(r))
	}
	return s.asGroup()
}

// result is a measurement by TID 300.
func (b *builder) result(r placement.Result) item {
	what := strings.TrimSpace(r.Object + " " + r.Quantity)
	unit, ok := unitOf[r.Unit]
	if !ok {
		b.fail("%s: unit %q is none of mm, deg, px and 1", what, r.Unit)
	}
	if r.Quantity == "" {
		b.fail("a result does not say what it is")
	}
	s := sheet{b: b}
	// Row 2: what exactly the number is.
	s.word(hasModifier, quantityName, quantities, r.Quantity)
	s.word(hasModifier, plane, planes, r.Plane)
	// Rows 5 to 7: laterality and level only while confirmed.
	site := item{relation: hasModifier, kind: typeCode, concept: findingSite, value: sacrum}
	if side, ok := lateralities[string(r.Side)]; ok && r.SideConfirmed {
		site.children = append(site.children, item{relation: hasModifier, kind: typeCode, concept: laterality, value: side})
	}
	if level, ok := levels[string(r.Level)]; ok && r.LevelConfirmed {
		site.children = append(site.children, item{relation: hasModifier, kind: typeCode, concept: siteModifier, value: level})
	}
	s.add(site)
	// Row 8: TID 310 row 6, then properties of our own (TID 300 is extensible).
	if r.HasU {
		s.interval(r, unit)
	}
	for _, source := range slices.Sorted(maps.Keys(r.Budget)) {
		s.num(hasProperty, standardU, r.Budget[source], unit)
		from := sheet{b: b}
		from.line(hasModifier, uncertainFrom, source, what)
		s.items[len(s.items)-1].children = from.items
	}
	s.settled(hasProperty, sideOpen, sideConfirmed, sides, string(r.Side), r.SideConfirmed)
	s.text(hasProperty, sideSource, r.SideSource)
	s.settled(hasProperty, levelOpen, levelConfirmed, levels, string(r.Level), r.LevelConfirmed)
	s.text(hasProperty, levelSource, r.LevelSource)
	s.text(hasProperty, resultClass, r.Class)
	if r.Contact != -1 {
		s.num(hasProperty, contactIndex, float64(r.Contact), unitNone)
	}
	s.text(hasProperty, resultOf, r.Of)
	s.text(hasProperty, scaleUsed, r.Scale)
	if r.Magnified {
		s.text(hasProperty, magnified, "yes")
	}
	for _, n := range r.Notes {
		s.line(hasProperty, resultNote, n, what)
	}
	// TID 320 row 1: the frames it was read from.
	for _, f := range r.Frames {
		s.add(item{relation: inferredFrom, kind: typeImage, ref: b.frames(f, what)})
	}
	it := item{relation: contains, kind: typeNum, concept: conceptOf(r.Quantity, r.Unit), unit: unit, number: r.Value, children: s.items}
	s.finite(r.Value, it.concept)
	return it
}

// interval writes the uncertainty: one +/- where the interval is symmetric to
// the printed digits, else its two sides (CID 225), the coverage, which CID 225
// does not carry, and the limits themselves.
func (s *sheet) interval(r placement.Result, unit code) {
	lower, upper := r.Value-r.Lo, r.Hi-r.Value
	if symmetric(r) {
		s.num(hasProperty, plusMinus, r.U95, unit)
	} else {
		s.num(hasProperty, plusOnly, inDecimals(max(upper, 0)), unit)
		s.num(hasProperty, minusOnly, inDecimals(max(lower, 0)), unit)
		s.num(hasProperty, halfWidth, r.U95, unit)
	}
	s.num(hasProperty, coverage, 95, unitPercent)
	s.num(hasProperty, lowerLimit, r.Lo, unit)
	s.num(hasProperty, upperLimit, r.Hi, unit)
}

// symmetric reports whether value -/+ U95 is the interval but for rounding.
func symmetric(r placement.Result) bool {
	slack := 1e-9 * (math.Abs(r.Value) + math.Abs(r.U95))
	return math.Abs(r.Value-r.Lo-r.U95) <= slack && math.Abs(r.Hi-r.Value-r.U95) <= slack
}

// evaluations are what holds for the case as a whole.
func (b *builder) evaluations() []item {
	s := sheet{b: b}
	s.text(contains, purpose, ReviewOnly)
	for _, c := range b.r.Placement.Cautions {
		s.line(contains, caution, c, "cautions")
	}
	for _, m := range b.r.Placement.Missing {
		inner := sheet{b: b}
		inner.text(hasProperty, device, m.Object)
		inner.text(hasProperty, because, m.Because)
		if m.Quantity == "" {
			s.code(contains, missingItem, none)
		} else {
			s.word(contains, missingItem, quantities, m.Quantity)
		}
		s.items[len(s.items)-1].children = inner.items
	}
	return s.items
}

// plainText reports whether s can stand in a TEXT item: UTF-8 without control
// characters but line and page ends (PS3.5 6.1.3 and UT in table 6.2-1).
func plainText(s string) bool {
	return utf8.ValidString(s) && strings.IndexFunc(s, func(r rune) bool {
		return (r < 0x20 && r != '\n' && r != '\f' && r != '\r') || r >= 0x7f && r <= 0x9f
	}) < 0
}
