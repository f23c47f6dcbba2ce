package sidecar

import (
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/scale"
)

// sample is a case as it comes from practice: a frontal and a lateral film, a
// run of frames, one needle whose side is confirmed and one whose side is not.
// Names and numbers are invented.
func sample() Report {
	image := func(n, class string, frames int) *imaging.Header {
		return &imaging.Header{
			SOPClass: class, SOPInstance: derivedUID("sample image", n), Series: derivedUID("sample series"), Study: derivedUID("sample study"),
			Modality: "XA", Columns: 1024, Rows: 1024, Frames: frames,
			PatientName: "PRACTICE^CASE", PatientID: "PRACTICE-1", PatientBirthDate: "19600101", PatientSex: "F",
			StudyDate: "20250314", StudyTime: "091500", StudyID: "1", StudyDescription: "Practice case",
		}
	}
	const xa = "1.2.840.10008.5.1.4.1.1.12.1"
	frontal, lateral, run := image("frontal", xa, 1), image("lateral", xa, 1), image("run", xa, 24)
	f, l, span := mark.One(frontal.SOPInstance, 1), mark.One(lateral.SOPInstance, 1), mark.FrameRef{Instance: run.SOPInstance, First: 5, Last: 12}
	var margin []r2.Vec
	for i := range 11 {
		margin = append(margin, mark.Round(r2.Vec{X: 420.3 + 9.7*float64(i*i)/10, Y: 180.25 + 61.9*float64(i)}))
	}
	m := func(uid string, where mark.FrameRef, s mark.Structure, points ...r2.Vec) mark.Mark {
		return mark.Mark{UID: derivedUID("sample mark", uid), Frame: where, Structure: s, Points: points, Origin: mark.ByHand}
	}
	foramen := m("foramen", f, mark.Foramen, r2.Vec{X: 600, Y: 400}, r2.Vec{X: 640, Y: 405}, r2.Vec{X: 630, Y: 450}, r2.Vec{X: 598, Y: 441})
	foramen.Level, foramen.Side, foramen.Detail = "S3", mark.LeftSide, "dorsal"
	needle := m("needle", l, mark.Needle, r2.Vec{X: 800, Y: 300.5}, r2.Vec{X: 430, Y: 512.25})
	needle.Object, needle.SD = "N1", imaging.Known(0.7)
	needle.History = []string{"suggested by edge search", "tip moved by Observer A"}
	needle.Origin = mark.Changed
	second := m("second", span, mark.Needle, r2.Vec{X: 810, Y: 310}, r2.Vec{X: 440, Y: 520})
	second.Object = "N2"
	length := m("length", l, mark.KnownLength, r2.Vec{X: 10, Y: 10}, r2.Vec{X: 10, Y: 210})
	length.Detail = "50"
	promontory := m("promontory", l, mark.Promontory, r2.Vec{X: 420, Y: 170})

	when := time.Date(2025, 3, 14, 20, 5, 30, 125000000, time.UTC)
	scaled := scale.Scale{Row: 0.2, Column: 0.2, Known: true, Plane: scale.FieldCentre, Source: "Imager Pixel Spacing and the two distances",
		Relative: 0.01, PlaneOffset: 0.025, SourceToPlane: 700}
	side, level := "theatre record, confirmed by Observer A", "counted from above, transitional anatomy not seen (Observer A)"
	depth := placement.Result{
		Object: "N1", Quantity: "tip-depth-along-needle", Plane: "lateral", Value: 3.0517578, Unit: "mm", HasU: true, U95: 1.4, Lo: 3.0517578 - 1.4, Hi: 3.0517578 + 1.4,
		Side: mark.LeftSide, SideSource: side, SideConfirmed: true, Level: "S3", LevelSource: level, LevelConfirmed: true,
		Class: "beyond margin", Contact: -1, Frames: []mark.FrameRef{l}, Scale: scaled.Source + ", field centre",
		Budget: map[string]float64{"marking": 0.31, "scale": 0.08, "out-of-plane": 0.5, "rotation": 0.4, "interpolation": 0.05},
	}
	steep := depth
	steep.Quantity, steep.Unit, steep.Value, steep.U95, steep.Lo, steep.Hi, steep.Class = "insertion-angle-chord", "deg", 70.25, 2.5, 67.5, 72.5, ""
	open := depth
	open.Object, open.SideConfirmed, open.SideSource, open.LevelConfirmed, open.LevelSource = "N2", false, "Patient Orientation: from header, not confirmed", false, "stated, level not confirmed"
	open.Frames, open.Notes = []mark.FrameRef{span}, []string{"Lateral view rotated: depth differs by side."}
	return Report{
		Book: mark.Book{
			Observer: "Observer A",
			Marks:    []mark.Mark{m("margin", l, mark.VentralMargin, margin...), foramen, needle, second, length, promontory},
			Statements: []mark.Statement{
				{Observer: "Observer A", When: when, Frame: f, View: imaging.Frontal, Cranial: imaging.Top, PatientLeft: imaging.Left, SideBasis: mark.LeadMarker},
				{Observer: "Observer A", When: when.Add(time.Minute), Object: "N1", Side: mark.LeftSide, SideBasis: mark.TheatreRecord},
				{Observer: "Observer A", When: when.Add(2 * time.Minute), Level: "S3", LevelBasis: mark.CountedAbove, Transitional: "not-seen"},
			},
		},
		Placement: placement.Placement{
			Results:  []placement.Result{depth, steep, open},
			Missing:  []placement.Missing{{Object: "N1", Quantity: "insertion-angle-skin", Because: "no skin line is marked on the lateral film: mark skin-line"}},
			Cautions: []string{"Depth is to the midline sacral cortex, not to bowel, vessel or nerve.", "Position has not been shown to predict benefit."},
			Devices: []placement.Device{
				{Object: "N1", Kind: mark.Needle, Side: mark.LeftSide, SideSource: side, SideConfirmed: true, Level: "S3", LevelSource: level, LevelConfirmed: true},
				{Object: "N2", Kind: mark.Needle, SideConflict: "Patient Orientation says right, Positioner angles say left", Level: "S3", LevelSource: "stated, level not confirmed"},
			},
			Films: []placement.FilmReading{
				{Film: placement.Film{Ref: l, Header: lateral, Time: "20250314091710"}, View: imaging.Lateral, ViewSource: "positioner angles", Cranial: imaging.Top,
					CranialSource: "positioner angles", LeftSource: "not known", Scale: scaled, Points: map[string]placement.Point{"N1/exit": {X: 433.1, Y: 508.4}}},
				{Film: placement.Film{Ref: f, Header: frontal, Time: "20250314091500"}, View: imaging.Frontal, ViewSource: "stated by Observer A",
					Scale: scale.Scale{Row: 1, Column: 1, Because: "no spacing in the header"}},
			},
		},
		Responses: []response.Test{
			{Object: "N1", Contact: -1, PelvicFloor: response.At(1.2), LegFoot: response.NoneUpTo(3), Unit: "mA", Polarity: "needle- pad+", PulseWidth: imaging.Known(210),
				Rate: imaging.Known(5), Evoked: imaging.Known(120), Motor: []response.Motor{response.Bellows}, State: response.Sedated, Root: "S4", Note: "second look"},
			{Object: "L1", Contact: 0, Sensory: response.At(0.8), Unit: "V", Sensation: []response.Sensation{response.Rectum, response.ScrotumLabia}, State: response.Awake},
		},
		Operation: operation.Record{"procedure": "first-stage", "indication": "urge-incontinence retention", "passes": "4", "impedances": "0:812 1:790",
			"fluoroscopy-time": "62 s", "implanted": "one lead, left", "chosen-side": "left", "anaesthesia": "other: spinal", "time-out": "yes"},
		Images: []*imaging.Header{frontal, lateral, run}, Revision: 4, SOPInstance: derivedUID("sample report"),
		Created: when, Changed: when.Add(5 * time.Minute),
	}
}
