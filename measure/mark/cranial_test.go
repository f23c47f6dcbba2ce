package mark_test

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

func point(s mark.Structure, x, y float64) mark.Mark {
	return mark.Mark{Frame: film, Structure: s, Points: []r2.Vec{{X: x, Y: y}}}
}

func hole(level mark.Level, side mark.Side, x, y float64) mark.Mark {
	return mark.Mark{Frame: film, Structure: mark.Foramen, Level: level, Side: side,
		Points: []r2.Vec{{X: x - 5, Y: y}, {X: x, Y: y - 5}, {X: x + 5, Y: y}, {X: x, Y: y + 5}}}
}

func fusion(detail string, x, y float64) mark.Mark {
	return mark.Mark{Frame: film, Structure: mark.FusionLine, Detail: detail, Points: []r2.Vec{{X: x - 9, Y: y}, {X: x + 9, Y: y}}}
}

func TestCranial(t *testing.T) {
	lat := angled(90, 0) // head at the top
	bare := imaging.Geometry{}
	said := func(e imaging.Edge) mark.Book { return states(about(mark.Statement{Cranial: e})) }
	for _, c := range []struct {
		name     string
		g        imaging.Geometry
		book     mark.Book
		edge     imaging.Edge
		source   string
		conflict []string
	}{
		{"nothing", bare, nothing, none, "not known: the observer must say", nil},
		{"position tells no head", lying(bare, "HFP"), nothing, none, "not known: the observer must say", nil},
		{"orientation", oriented(bare, "P", "F"), nothing, top, "Patient Orientation", nil},
		{"orientation, head down", oriented(bare, "A", "H"), nothing, bottom, "Patient Orientation", nil},
		{"orientation on its side", oriented(bare, "F", "P"), nothing, left, "Patient Orientation", nil},
		{"angles", lat, nothing, top, "positioner angles", nil},
		{"angles, beam tilted 15", angled(90, 15), nothing, top, "positioner angles", nil},
		{"angles, turned", turned(lat, 90, false), nothing, right, "positioner angles", nil},
		{"angles, turned and flipped", turned(lat, 90, true), nothing, left, "positioner angles", nil},
		{"both", oriented(lat, "P", "F"), nothing, top, "Patient Orientation, positioner angles", nil},
		{"both differ", oriented(lat, "P", "H"), nothing, none, "sources disagree", []string{"bottom edge by Patient Orientation", "top edge by positioner angles"}},
		{"stated", bare, said(left), left, "stated by Ann", nil},
		{"stated against the header", oriented(lat, "P", "F"), said(bottom), bottom, "stated by Ann; Patient Orientation and positioner angles say the top edge", nil},
		{"stated settles", oriented(lat, "P", "H"), said(top), top, "stated by Ann; Patient Orientation says the bottom edge", nil},
		{"lateral stated, angles frontal", angled(0, 0), states(about(mark.Statement{View: imaging.Lateral})), none, "not known: the observer must say", nil},

		{"one landmark", bare, with(nothing, point(mark.Promontory, 500, 100)), none, "not known: the observer must say", nil},
		{"promontory and coccyx", bare, with(nothing, point(mark.Promontory, 500, 100), point(mark.CoccyxTip, 450, 900)), top, "marks on this film", nil},
		{"upside down", bare, with(nothing, point(mark.Promontory, 500, 900), point(mark.CoccyxTip, 450, 100)), bottom, "marks on this film", nil},
		{"on its side", bare, with(nothing, point(mark.Promontory, 900, 500), point(mark.CoccyxTip, 100, 450)), right, "marks on this film", nil},
		{"on the other side", bare, with(nothing, point(mark.Promontory, 100, 500), point(mark.CoccyxTip, 900, 450)), left, "marks on this film", nil},
		{"foramina", bare, with(nothing, hole("S2", "left", 400, 300), hole("S3", "left", 420, 500)), top, "marks on this film", nil},
		// The step between the sides (46 mm, doi 10.1097/SPV.0b013e31827bfdb1)
		// is longer than the one between the levels: it must not be taken for it.
		{"foramina of different sides", bare, with(nothing, hole("S3", "left", 300, 500), hole("S4", "right", 690, 640)), none, "not known: the observer must say", nil},
		{"foramina of both sides", bare, with(nothing, hole("S3", "left", 690, 500), hole("S4", "right", 310, 640), hole("S4", "left", 680, 660)), top, "marks on this film", nil},
		{"foramina of no stated side", bare, with(nothing, hole("S3", "", 300, 500), hole("S4", "", 690, 640)), none, "not known: the observer must say", nil},
		{"foramen and promontory", bare, with(nothing, hole("S3", "", 300, 500), point(mark.Promontory, 410, 200)), top, "marks on this film", nil},
		{"foramen and promontory too near", bare, with(nothing, hole("S2", "left", 300, 500), point(mark.Promontory, 410, 300)), none, "not known: the observer must say", nil},
		{"foramina of no stated side on a lateral film", imaging.Geometry{ViewPosition: "LL"}, with(nothing, hole("S3", "", 300, 500), hole("S4", "", 290, 640)), top, "marks on this film", nil},
		{"foramen and fusion line on a lateral film", imaging.Geometry{ViewPosition: "LL"}, with(nothing, hole("S3", "right", 300, 500), fusion("S1/S2", 290, 640)), bottom, "marks on this film", nil},
		{"foramina of one level", bare, with(nothing, hole("S3", "left", 300, 500), hole("S3", "left", 700, 700)), none, "not known: the observer must say", nil},
		{"foramina without levels", bare, with(nothing, hole("", "left", 300, 500), hole("", "left", 700, 900)), none, "not known: the observer must say", nil},
		{"fusion lines", bare, with(nothing, fusion("S2/S3", 400, 700), fusion("S3/S4", 420, 500)), bottom, "marks on this film", nil},
		{"fusion line and foramen of its level", bare, with(nothing, fusion("S3/S4", 400, 700), hole("S3", "left", 420, 500)), none, "not known: the observer must say", nil},
		{"levels out of order", bare, with(nothing, hole("S2", "left", 400, 500), hole("S3", "left", 420, 300), point(mark.CoccyxTip, 420, 900)), none, "sources disagree", []string{"not in the order"}},
		{"levels out of order, stated", bare, with(said(top), hole("S2", "left", 400, 500), hole("S3", "left", 420, 300), point(mark.CoccyxTip, 420, 900)), top, "stated by Ann", nil},
		{"marks on another frame", bare, with(nothing, mark.Mark{Frame: mark.One("1.2.3", 2), Structure: mark.Promontory, Points: []r2.Vec{{}}}, point(mark.CoccyxTip, 420, 900)), none, "not known: the observer must say", nil},

		{"marks with the header", lat, with(nothing, point(mark.Promontory, 500, 100), point(mark.CoccyxTip, 450, 900)), top, "positioner angles, marks on this film", nil},
		// A sacrum tilted 50 degrees against the body bears out the header still.
		{"marks of a tilted sacrum", lat, with(nothing, point(mark.Promontory, 200, 300), point(mark.CoccyxTip, 796, 800)), top, "positioner angles, marks on this film", nil},
		{"marks against the header", lat, with(nothing, point(mark.Promontory, 500, 900), point(mark.CoccyxTip, 450, 100)), none, "sources disagree", []string{"top edge by positioner angles", "bottom edge by marks on this film"}},
		{"marks across the header", lat, with(nothing, point(mark.Promontory, 100, 500), point(mark.CoccyxTip, 900, 550)), none, "sources disagree", []string{"top edge by positioner angles", "left edge by marks on this film"}},
		{"stated against marks", bare, with(said(bottom), point(mark.Promontory, 500, 100), point(mark.CoccyxTip, 450, 900)), bottom, "stated by Ann; marks on this film say the top edge", nil},
	} {
		r := mark.Read(film, c.g, c.book)
		if r.Cranial != c.edge || r.CranialSource != c.source {
			t.Errorf("%s: %q (%s), want %q (%s)", c.name, r.Cranial, r.CranialSource, c.edge, c.source)
		}
		checkConflict(t, c.name, r.CranialConflict, c.conflict)
	}
}

// A header that puts the head where the marks do not find it describes other
// pixels than these: it is not believed about left either.
func TestHeadBeliesLeft(t *testing.T) {
	upsideDown := []mark.Mark{point(mark.Promontory, 500, 900), point(mark.CoccyxTip, 500, 100)}
	g := lying(oriented(angled(180, 0), "R", "F"), "HFP")
	r := mark.Read(film, g, with(nothing, upsideDown...))
	if r.PatientLeft != none {
		t.Errorf("left is named: %+v", r)
	}
	checkConflict(t, "marks", r.LeftConflict, []string{"top edge by Patient Orientation, positioner angles and Patient Position", "bottom edge by the marks on this film", "confirm"})
	r = mark.Read(film, g, with(states(about(mark.Statement{PatientLeft: right, SideBasis: mark.LeadMarker})), upsideDown...))
	if r.PatientLeft != right || !r.LeftConfirmed || r.LeftConflict != "" {
		t.Errorf("a lead marker does not settle it: %+v", r)
	}
}

func TestConfirmedLeftDoubtsTheHead(t *testing.T) {
	// The header has the head at the top; a lead marker shows left there.
	r := mark.Read(film, angled(0, 0), states(about(mark.Statement{PatientLeft: top, SideBasis: mark.LeadMarker})))
	if r.PatientLeft != top || !r.LeftConfirmed || r.Cranial != none {
		t.Errorf("%+v", r)
	}
	checkConflict(t, "head", r.CranialConflict, []string{"head", "top edge by positioner angles", "left is confirmed at the top edge"})
}
