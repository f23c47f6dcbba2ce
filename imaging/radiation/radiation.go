// Package radiation reads what a case's files say about the dose of X-rays:
// X-Ray Radiation Dose SR (PS3.3 A.35.8, PS3.16 TID 10001) and the dose
// attributes of image headers.
//
// A figure keeps number and unit as its source gives them. Totals are totals
// already: nothing here is added up, neither over planes, nor over reports, nor
// over images.
package radiation

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is what a figure measures.
type Kind string

// The kinds, in the order in which they are told.
const (
	FluoroscopyTime  Kind = "fluoroscopy-time"
	DoseAreaProduct  Kind = "dose-area-product"
	FluoroscopyPart  Kind = "dose-area-product-fluoroscopy"
	AcquisitionPart  Kind = "dose-area-product-acquisition"
	AirKerma         Kind = "air-kerma"
	FluoroscopyKerma Kind = "air-kerma-fluoroscopy"
	AcquisitionKerma Kind = "air-kerma-acquisition"
	EntranceDose     Kind = "entrance-dose"
	AcquisitionTime  Kind = "acquisition-time"
	Exposures        Kind = "exposures"
	Events           Kind = "irradiation-events"
)

var kindWords = map[Kind]string{
	FluoroscopyTime:  "fluoroscopy time",
	DoseAreaProduct:  "dose-area product",
	FluoroscopyPart:  "dose-area product of fluoroscopy",
	AcquisitionPart:  "dose-area product of acquisitions",
	AirKerma:         "air kerma at the reference point",
	FluoroscopyKerma: "air kerma of fluoroscopy at the reference point",
	AcquisitionKerma: "air kerma of acquisitions at the reference point",
	EntranceDose:     "entrance dose",
	AcquisitionTime:  "acquisition time",
	Exposures:        "exposures",
	Events:           "irradiation events",
}

var kinds = []Kind{FluoroscopyTime, DoseAreaProduct, FluoroscopyPart, AcquisitionPart, AirKerma, FluoroscopyKerma,
	AcquisitionKerma, EntranceDose, AcquisitionTime, Exposures, Events}

// Words says a kind as a person would.
func (k Kind) Words() string { return kindWords[k] }

// Figure is one number about dose.
type Figure struct {
	Kind  Kind
	Value float64
	Unit  string // as the source writes it: Gy.m2, dGy.cm2, Gy, mGy, s; 1 of a count
	// Of is whose number it is: a plane of the machine, an image. Empty: of all.
	Of     string
	Source string // where it stands
}

// convert is the unit a person reads a dose in, and by what to multiply: 1 m2 is
// 10,000 cm2.
var convert = map[string]struct {
	unit   string
	factor float64
}{
	"Gy.m2":   {"Gy.cm2", 1e4},
	"mGy.m2":  {"Gy.cm2", 10},
	"uGy.m2":  {"Gy.cm2", 1e-2},
	"dGy.cm2": {"Gy.cm2", 0.1},
	"cGy.cm2": {"Gy.cm2", 1e-2},
	"mGy.cm2": {"Gy.cm2", 1e-3},
	"uGy.cm2": {"Gy.cm2", 1e-6},
	"Gy":      {"mGy", 1000},
	"dGy":     {"mGy", 100},
	"cGy":     {"mGy", 10},
	"uGy":     {"mGy", 1e-3},
	"ms":      {"s", 1e-3},
	"min":     {"s", 60},
}

// Reading is the figure in Gy.cm2, mGy or s, whichever fits its unit, to 10
// significant digits; the figure as it is where its unit is one of these or is
// not known.
func (f Figure) Reading() (value float64, unit string) {
	c, ok := convert[f.Unit]
	if !ok {
		return f.Value, f.Unit
	}
	value, _ = strconv.ParseFloat(strconv.FormatFloat(f.Value*c.factor, 'g', 10, 64), 64)
	return value, c.unit
}

// Told is the number with its unit as the source has it, and what a person reads
// it in beside it: "0.00012 Gy.m2 (1.2 Gy.cm2)", "62 s (1 min 2 s)".
func (f Figure) Told() string {
	said := number(f.Value)
	if f.Unit != "1" {
		said += " " + f.Unit
	}
	value, unit := f.Reading()
	switch {
	case unit != f.Unit:
		said += " (" + number(value) + " " + unit + ")"
	case unit == "s" && value >= 60:
		m := math.Floor(value / 60)
		said += fmt.Sprintf(" (%.0f min %s s)", m, number(value-60*m))
	}
	return said
}

// Sentence is the figure with whose it is and where it stands: "dose-area product
// 0.00012 Gy.m2 (1.2 Gy.cm2), single plane, from X-Ray Radiation Dose SR".
func (f Figure) Sentence() string {
	parts := []string{f.Kind.Words() + " " + f.Told()}
	if f.Of != "" {
		parts = append(parts, f.Of)
	}
	return strings.Join(append(parts, f.Source), ", ")
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
