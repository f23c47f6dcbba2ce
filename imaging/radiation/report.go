package radiation

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// Class is the SOP Class UID of X-Ray Radiation Dose SR Storage (PS3.4 B.5).
const Class = "1.2.840.10008.5.1.4.1.1.88.67"

// Report is what one X-Ray Radiation Dose SR says.
type Report struct {
	Study, PatientID string
	Time             string // content date and time, as DICOM writes them
	Figures          []Figure
	Notes            []string // what was odd in it
}

// Concepts of TID 10001 to 10007 (codes of the DICOM controlled terminology,
// PS3.16 annex D).
const (
	doseReport      = "113701"
	accumulated     = "113702"
	event           = "113706"
	eventType       = "113721"
	acquisitionOf   = "113764"
	fluoroscopyCode = "44491008" // SCT
)

// totals are the numbers of an Accumulated X-Ray Dose Data container (TID 10002
// and 10004) by code, with the units in which TID 10004 gives them.
var totals = map[string]struct {
	kind Kind
	unit string
}{
	"113722": {DoseAreaProduct, "Gy.m2"},
	"113726": {FluoroscopyPart, "Gy.m2"},
	"113727": {AcquisitionPart, "Gy.m2"},
	"113725": {AirKerma, "Gy"},
	"113728": {FluoroscopyKerma, "Gy"},
	"113729": {AcquisitionKerma, "Gy"},
	"113730": {FluoroscopyTime, "s"},
	"113855": {AcquisitionTime, "s"},
	"113731": {Exposures, "1"},
}

// ErrNoReport: the file holds no X-Ray Radiation Dose SR.
var ErrNoReport = fmt.Errorf("%w: not an X-Ray Radiation Dose SR", imaging.ErrUnsupported)

// Read reads a dose report. What is none gives ErrNoReport.
func Read(set dicomfile.Set) (Report, error) {
	if set.Code(tag.SOPClassUID) != Class {
		return Report{}, ErrNoReport
	}
	r := Report{
		Study: set.Code(tag.StudyInstanceUID), PatientID: set.Text(tag.PatientID),
		Time: set.Code(tag.ContentDate) + set.Code(tag.ContentTime),
	}
	if concept(set) != doseReport {
		r.note("its root is not an X-Ray Radiation Dose Report (TID 10001)")
	}
	events, byType := 0, map[string]int{}
	for _, c := range set.Items(tag.ContentSequence) {
		switch concept(c) {
		case accumulated:
			r.accumulated(c)
		case event:
			events++
			byType[typeOf(c)]++
		}
	}
	if events > 0 {
		r.Figures = append(r.Figures, Figure{Kind: Events, Value: float64(events), Unit: "1", Of: typesOf(byType), Source: r.source()})
	}
	slices.SortStableFunc(r.Figures, func(a, b Figure) int { return slices.Index(kinds, a.Kind) - slices.Index(kinds, b.Kind) })
	return r, nil
}

func (r *Report) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// source names the report with its time, for there may be several, each with
// its own totals.
func (r *Report) source() string {
	said := "from X-Ray Radiation Dose SR"
	if t := r.Time; len(t) >= 12 && strings.Trim(t[:12], "0123456789") == "" {
		said += fmt.Sprintf(" of %s:%s", t[8:10], t[10:12])
	}
	return said
}

// accumulated reads one plane's totals.
func (r *Report) accumulated(c dicomfile.Set) {
	plane := ""
	for _, k := range c.Items(tag.ContentSequence) {
		if concept(k) == acquisitionOf {
			plane = strings.ToLower(value(k).Text(tag.CodeMeaning))
		}
	}
	for _, k := range c.Items(tag.ContentSequence) {
		total, ok := totals[concept(k)]
		if !ok {
			continue
		}
		measured := k.Items(tag.MeasuredValueSequence)
		if len(measured) != 1 {
			continue // no value, with a reason (PS3.3 C.18.1)
		}
		v := measured[0].Number(tag.NumericValue)
		unit := ""
		if u := measured[0].Items(tag.MeasurementUnitsCodeSequence); len(u) == 1 {
			unit = u[0].Text(tag.CodeValue)
		}
		switch {
		case !v.Known || v.Value < 0 || math.IsInf(v.Value, 0):
			r.note("%s: no number that can be used", total.kind.Words())
			continue
		case unit == "":
			r.note("%s: %s without a unit is left out", total.kind.Words(), number(v.Value))
			continue
		case total.unit == "1":
			unit = "1"
		case dimension(unit) != dimension(total.unit):
			r.note("%s: unit %q is none of it, left out", total.kind.Words(), unit)
			continue
		}
		r.Figures = append(r.Figures, Figure{Kind: total.kind, Value: v.Value, Unit: unit, Of: plane, Source: r.source()})
	}
}

// dimension is the unit that units of one dimension are read in.
func dimension(unit string) string {
	if c, ok := convert[unit]; ok {
		return c.unit
	}
	return unit
}

// concept is the Code Value of an item's concept name.
func concept(s dicomfile.Set) string {
	if c := s.Items(tag.ConceptNameCodeSequence); len(c) > 0 {
		return c[0].Text(tag.CodeValue)
	}
	return ""
}

// value is the code of a CODE item.
func value(s dicomfile.Set) dicomfile.Set {
	if c := s.Items(tag.ConceptCodeSequence); len(c) > 0 {
		return c[0]
	}
	return s
}

// typeOf an irradiation event (TID 10003), in words.
func typeOf(c dicomfile.Set) string {
	for _, k := range c.Items(tag.ContentSequence) {
		if concept(k) != eventType {
			continue
		}
		if v := value(k); v.Text(tag.CodeValue) == fluoroscopyCode {
			return "fluoroscopy"
		} else if m := v.Text(tag.CodeMeaning); m != "" {
			return strings.ToLower(m)
		}
	}
	return "type not given"
}

func typesOf(count map[string]int) string {
	var parts []string
	for t, n := range count {
		parts = append(parts, fmt.Sprintf("%d %s", n, t))
	}
	slices.Sort(parts)
	return strings.Join(parts, " and ")
}
