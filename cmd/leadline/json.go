package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"leadline/measure/mark"
	"leadline/measure/placement"
)

// The JSON of 'leadline measure --json'. Schema 1. Keys without meaning for a
// quantity are left out; budget holds standard uncertainties (k = 1) in the
// quantity's own unit.
type document struct {
	Schema   int           `json:"schema"`
	Case     string        `json:"case"`
	Observer string        `json:"observer"`
	Results  []resultJSON  `json:"results"`
	Missing  []missingJSON `json:"missing"`
	// Positions of what both films show, and which device is which by both.
	Positions  []positionJSON `json:"positions,omitempty"`
	Identities []identityJSON `json:"identities,omitempty"`
	Cautions   []string       `json:"cautions"`
}

type resultJSON struct {
	Object        string             `json:"object,omitempty"`
	Quantity      string             `json:"quantity"`
	Plane         string             `json:"plane,omitempty"`
	Value         float64            `json:"value"`
	Unit          string             `json:"unit"`
	U95           *float64           `json:"u95,omitempty"`
	Lo            *float64           `json:"lo,omitempty"`
	Hi            *float64           `json:"hi,omitempty"`
	Side          mark.Side          `json:"side,omitempty"`
	SideSource    string             `json:"sideSource,omitempty"`
	SideConfirmed *bool              `json:"sideConfirmed,omitempty"`
	Level         mark.Level         `json:"level,omitempty"`
	LevelSource   string             `json:"levelSource,omitempty"`
	Class         string             `json:"class,omitempty"`
	Contact       *int               `json:"contact,omitempty"`
	Of            string             `json:"of,omitempty"`
	Frames        []frameJSON        `json:"frames"`
	Scale         string             `json:"scale,omitempty"`
	Magnified     bool               `json:"magnified,omitempty"` // no anatomical length; lo to hi is what it may be at the sacrum
	Budget        map[string]float64 `json:"budget,omitempty"`
	Notes         []string           `json:"notes,omitempty"`
}

// positionJSON is a point in the patient: mm from the isocentre of the frontal
// film, x to the left, y to posterior, z to the head; u is k = 1 along each. gap
// is by how much its two rays miss each other.
type positionJSON struct {
	Object     string     `json:"object,omitempty"`
	What       string     `json:"what"`
	X          float64    `json:"x"`
	Y          float64    `json:"y"`
	Z          float64    `json:"z"`
	U          [3]float64 `json:"u"`
	Gap        *float64   `json:"gap,omitempty"`        // mm
	GapFrontal *float64   `json:"gapFrontal,omitempty"` // px
	GapLateral *float64   `json:"gapLateral,omitempty"` // px
	// mm a pixel across each film at the point's own depth.
	FrontalScale float64     `json:"frontalScale,omitempty"`
	LateralScale float64     `json:"lateralScale,omitempty"`
	Frames       []frameJSON `json:"frames"`
}

type identityJSON struct {
	Devices  [2]string     `json:"devices"`
	Verdict  string        `json:"verdict"`
	Readings []readingJSON `json:"readings"`
}

type readingJSON struct {
	Name      string  `json:"name"`
	Fits      bool    `json:"fits"`
	ChiSquare float64 `json:"chiSquare"`
	Degrees   int     `json:"degrees"`
}

type frameJSON struct {
	Instance string `json:"instance"`
	File     string `json:"file"`
	Frame    string `json:"frame"` // from 1, or a span 5-12
}

type missingJSON struct {
	Object   string `json:"object,omitempty"`
	Quantity string `json:"quantity"`
	Because  string `json:"because"`
}

func (r *reader) printJSON(w io.Writer, p placement.Placement) error {
	d := document{
		Schema: 1, Case: r.kase.Name, Observer: r.observer,
		Results: []resultJSON{}, Missing: []missingJSON{}, Cautions: append([]string{}, p.Cautions...),
	}
	for _, v := range p.Results {
		d.Results = append(d.Results, r.resultJSON(v))
	}
	for _, m := range p.Missing {
		d.Missing = append(d.Missing, missingJSON(m))
	}
	for _, k := range p.Positions {
		out := positionJSON{Object: k.Object, What: k.What, X: k.X, Y: k.Y, Z: k.Z, U: k.U, FrontalScale: k.FrontalScale, LateralScale: k.LateralScale}
		if k.Gapped {
			out.Gap, out.GapFrontal, out.GapLateral = &k.Gap, &k.GapFrontal, &k.GapLateral
		}
		for _, f := range k.Frames {
			out.Frames = append(out.Frames, frameJSON{f.Instance, r.fileName(f.Instance), f.Span()})
		}
		d.Positions = append(d.Positions, out)
	}
	for _, k := range p.Identities {
		out := identityJSON{Devices: [2]string{k.A, k.B}, Verdict: k.Verdict}
		for _, x := range k.Readings {
			out.Readings = append(out.Readings, readingJSON{x.Name, x.Fits, x.ChiSquare, x.Degrees})
		}
		d.Identities = append(d.Identities, out)
	}
	text, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return fmt.Errorf("a quantity has no finite value: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", text)
	return err
}

func (r *reader) resultJSON(v placement.Result) resultJSON {
	out := resultJSON{
		Object: v.Object, Quantity: v.Quantity, Plane: v.Plane, Value: v.Value, Unit: v.Unit,
		Side: v.Side, SideSource: v.SideSource, Level: v.Level, LevelSource: v.LevelSource,
		Class: v.Class, Of: v.Of, Frames: []frameJSON{}, Scale: v.Scale, Magnified: v.Magnified, Budget: told(v), Notes: v.Notes,
	}
	if v.HasU {
		out.U95, out.Lo, out.Hi = &v.U95, &v.Lo, &v.Hi
	}
	if v.Side != mark.NoSide {
		out.SideConfirmed = &v.SideConfirmed
	}
	if v.Contact >= 0 {
		out.Contact = &v.Contact
	}
	for _, f := range v.Frames {
		out.Frames = append(out.Frames, frameJSON{f.Instance, r.fileName(f.Instance), f.Span()})
	}
	return out
}

// negligible is the part of a value below which a term of its budget is the
// arithmetic's own noise.
const negligible = 1e-9

// told is a result's budget without what is noise.
func told(v placement.Result) map[string]float64 {
	out := map[string]float64{}
	for source, u := range v.Budget {
		if u > negligible*math.Abs(v.Value) {
			out[source] = u
		}
	}
	return out
}
