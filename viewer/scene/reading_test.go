package scene_test

import (
	"regexp"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/scale"
	"leadline/viewer/internal/specimen"
	"leadline/viewer/scene"
)

var millimetre = regexp.MustCompile(`\bmm\b`)

// Without spacing no chart speaks of millimetres, with rows or without: neither
// of the whole case, nor that of devices nothing is measured of.
func TestChartTakesItsUnitFromTheFilms(t *testing.T) {
	said := func(p placement.Placement) []string {
		c := scene.NewChart(p, imaging.Left)
		d, _ := c.Draw(scene.Box(0, 0, 500, c.Height(500, 1)), 1)
		return words(d)
	}
	bare := specimen.Placement()
	for i := range bare.Films {
		bare.Films[i].Scale = scale.Scale{Row: 1, Column: 1, Because: "no spacing in the header"}
	}
	bare.Results = nil
	unmarked := bare
	unmarked.Devices = nil
	for name, p := range map[string]placement.Placement{"nothing measured": bare, "nothing marked": unmarked, "no film": {}} {
		if got := said(p); has(got, "mm") || !has(got, "0 px") {
			t.Errorf("%s: the chart says %q", name, got)
		}
	}
	scaled := specimen.Placement()
	scaled.Results = nil
	if got := said(scaled); !has(got, "0 mm") {
		t.Errorf("a lateral film has a scale, but the chart says %q", got)
	}
}

// A length on a magnified film is no anatomical one: no figure stands beside the
// tip or large among the numbers, and wherever it is told so is what it may be at
// the sacrum.
func TestMagnifiedIsNoHeadline(t *testing.T) {
	p := specimen.Placement()
	for i := range p.Films {
		p.Films[i].Scale.Plane, p.Films[i].Scale.MaxMagnification = scale.DetectorPlane, 2
	}
	for i := range p.Results {
		if r := &p.Results[i]; r.Unit == "mm" {
			r.Magnified, r.Lo = true, r.Lo/2
		}
	}
	s := scene.Film(p.Films[1], specimen.Marks(), p, scene.Options{Vertex: -1})
	for _, l := range s.Labels {
		for _, run := range l.Lines {
			if millimetre.MatchString(run.Words) {
				t.Errorf("%q stands on the film", run.Words)
			}
		}
	}
	for _, section := range s.Numbers {
		for _, row := range section.Rows {
			if millimetre.MatchString(row.Figure) && (row.Head || strings.Contains(row.Figure, "±") || !strings.Contains(row.Note, "on the detector, magnified")) {
				t.Errorf("a magnified length reads as anatomy: %+v", row)
			}
		}
	}
	// 16.7 ± 2.2 mm: from half of 14.5, 7.25, to 18.9.
	got := pageWords(&s)
	for _, want := range []string{"7 to 19 mm", "17 mm on the detector, magnified;", "7 to 19, magnified"} {
		if !has(got, want) {
			t.Errorf("%q is not said in %q", want, got)
		}
	}
	for _, section := range scene.Numbers(p, "N2", imaging.NoView).Rows {
		if section.Figure == "17 ± 3 mm" {
			t.Error("the desk's numbers give the magnified depth as anatomy")
		}
	}
	for _, row := range s.Chart.Rows {
		for _, d := range row.Depths {
			if !d.Magnified || d.Hi-d.Value == d.Value-d.Lo {
				t.Errorf("%s: the chart's whiskers are even: %+v", row.Object, d)
			}
		}
	}
}

// Side and level each have their own caution: neither colours the other, and a
// confirmed side that a film or the marks contradict is one.
func TestEachBasisHasItsOwnColour(t *testing.T) {
	sure := placement.Device{Object: "N1", Kind: mark.Needle, Side: mark.LeftSide, SideSource: "theatre record, confirmed by A", SideConfirmed: true,
		Level: "S3", LevelSource: "counted from above", LevelConfirmed: true}
	with := func(change func(*placement.Device)) placement.Device { d := sure; change(&d); return d }
	for name, c := range map[string]struct {
		d           placement.Device
		side, level bool // caution
	}{
		"both confirmed":      {sure, false, false},
		"side unconfirmed":    {with(func(d *placement.Device) { d.SideConfirmed = false }), true, false},
		"level unconfirmed":   {with(func(d *placement.Device) { d.LevelConfirmed = false }), false, true},
		"film says otherwise": {with(func(d *placement.Device) { d.SideSource += "; the film says otherwise: right" }), true, false},
		"marks say otherwise": {with(func(d *placement.Device) { d.SideSource += "; the marks say otherwise: right" }), true, false},
	} {
		p := specimen.Placement()
		p.Devices = []placement.Device{c.d}
		s := scene.Film(p.Films[0], specimen.Marks(), p, scene.Options{Vertex: -1})
		seen := 0
		page := scene.NewPage(&s, 1400)
		for _, l := range page.Under.Layers {
			for _, text := range l.Texts {
				for start, caution := range map[string]bool{"side: ": c.side, "level: ": c.level} {
					if strings.HasPrefix(text.Words, start) {
						seen++
						if (text.Color == scene.Vermillion) != caution {
							t.Errorf("%s: %q in colour %v", name, text.Words, text.Color)
						}
					}
				}
			}
		}
		if seen != 2 {
			t.Errorf("%s: %d of side and level are told", name, seen)
		}
	}
}

// A caution about one device stands on the films that show it.
func TestCautionsOfOtherDevicesStayAway(t *testing.T) {
	p := specimen.Placement()
	p.Cautions = []string{"N1: Side from header, not confirmed.", "N2: Level stated, not confirmed."}
	var marks []mark.Mark
	for _, m := range specimen.Marks() {
		if m.Object != "N2" {
			marks = append(marks, m)
		}
	}
	s := scene.Film(p.Films[0], marks, p, scene.Options{Vertex: -1})
	got := pageWords(&s)
	if !has(got, "N1: Side from header, not confirmed.") || has(got, "N2: ") {
		t.Errorf("cautions in %q", got)
	}
}

// Words tell the sign in the rows as they do in the table.
func TestRowsKeepTheirDirection(t *testing.T) {
	p := specimen.Placement()
	p.Results = append(p.Results[:0:0], p.Results[8], p.Results[9], p.Results[4])
	p.Results[0].Value, p.Results[0].Lo, p.Results[0].Hi = -2.2, -4.8, 0.4
	p.Results[1].Value, p.Results[1].Lo, p.Results[1].Hi = -5, -7, -3
	p.Results[2].Value, p.Results[2].Lo, p.Results[2].Hi = 0.2, -1.6, 2
	var got []string
	for _, row := range scene.Numbers(p, "N2", imaging.NoView).Rows {
		got = append(got, row.Words+" "+row.Figure)
	}
	for _, want := range []string{"entry from medial edge 2 ± 3 mm medial to it", "tip from sacroiliac line 5 ± 2 mm cranial", "at the ventral margin 0 ± 2 mm"} {
		if !has(got, want) {
			t.Errorf("%q is not among %q", want, got)
		}
	}
}
