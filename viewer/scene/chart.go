package scene

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// Chart is the sounding chart: the depth of every device and position against
// the ventral margin, across in the film's own direction, zero at the margin.
type Chart struct {
	Unit string // mm, or px where there is no scale
	// VentralRight says that ventral lies to the right, as it does on the film
	// as shown; else to the left.
	VentralRight bool
	Rows         []ChartRow

	responded bool // a row has responses
}

// ChartRow is one device or position.
type ChartRow struct {
	Object  string
	Style   DeviceStyle
	Words   string // RIGHT · S3
	Name    string // needle N2, position 2
	Refused bool   // the side is withheld
	Lead    bool
	Depths  []ChartDepth
	Missing string // why there is no depth
	// Responses to stimulation at the position or the contacts.
	Responses []ChartResponse
}

// ChartDepth is the tip's or a contact's depth, positive beyond the margin.
type ChartDepth struct {
	Value   float64
	Lo, Hi  float64 // 95 % interval, which need not be symmetric
	Figure  string  // in the chart's unit, without it
	Contact int     // -1: the tip
	Class   string
	// Magnified: the value holds where the film is magnified; Lo to Hi is what it
	// may be at the sacrum.
	Magnified bool
}

func depthOf(p placement.Placement, r placement.Result) ChartDepth {
	d := ChartDepth{Value: r.Value, Lo: r.Value, Hi: r.Value, Figure: p.Measured(r).Bare(), Contact: r.Contact, Class: r.Class, Magnified: r.Magnified}
	if r.HasU {
		d.Lo, d.Hi = r.Lo, r.Hi
	}
	return d
}

// unitOf the chart: that of the depths; while there are none, millimetres where
// a film they can come from has a scale, else pixels.
func unitOf(p placement.Placement) string {
	if all := depths(p, ""); len(all) > 0 {
		return all[0].Unit
	}
	for _, f := range p.Films {
		if f.Scale.Known && f.View == imaging.Lateral {
			return "mm"
		}
	}
	return "px"
}

// NewChart gathers the depths. ventral is the edge of the pane towards which
// ventral is seen on the lateral film.
func NewChart(p placement.Placement, ventral imaging.Edge) Chart {
	c := Chart{Unit: unitOf(p), VentralRight: ventral == imaging.Right}
	for _, d := range p.Devices {
		row := ChartRow{
			Object: d.Object, Style: Style(d.Object), Words: SideLevel(d), Name: DeviceName(d.Object),
			Refused: d.SideConflict != "", Lead: d.Kind == mark.Lead,
		}
		for _, r := range depths(p, d.Object) {
			if (r.Quantity == "contact-depth") != row.Lead {
				continue
			}
			if r.Unit != c.Unit {
				row.Missing = "measured in " + r.Unit + ": its film has another scale"
				continue
			}
			row.Depths = append(row.Depths, depthOf(p, r))
		}
		if len(row.Depths) == 0 && row.Missing == "" {
			row.Missing = "no depth: mark it and the ventral margin on a lateral film"
			for _, m := range p.Missing {
				if m.Object == d.Object && (m.Quantity == "tip-depth-along-needle" || m.Quantity == "contact-depth") {
					row.Missing = m.Because
				}
			}
		}
		c.Rows = append(c.Rows, row)
	}
	sort.SliceStable(c.Rows, func(i, j int) bool { return c.Rows[i].Object < c.Rows[j].Object })
	return c
}

// depths of the device (empty: of all): by both films together where they tell,
// else on lateral films.
func depths(p placement.Placement, object string) []placement.Result {
	var out []placement.Result
	for _, r := range p.Best() {
		if (object == "" || r.Object == object) && (r.Plane == "lateral" || r.Plane == placement.Plane3D) &&
			(r.Quantity == "tip-depth-along-needle" || r.Quantity == "contact-depth") {
			out = append(out, r)
		}
	}
	return out
}

// Range of the depth axis and the step between its ticks: whole steps that
// hold every interval, and in millimetres at least from 10 short to 20 beyond.
func (c *Chart) Range() (least, most, step float64) {
	if c.Unit == "mm" {
		least, most = -10, 20
	}
	for _, row := range c.Rows {
		for _, d := range row.Depths {
			least, most = math.Min(least, d.Lo), math.Max(most, d.Hi)
		}
	}
	if c.Unit != "mm" { // some room on the short side, as in millimetres
		least = math.Min(least, -0.3*most)
	}
	if most-least < 1 {
		least, most = least-20, most+20
	}
	for _, row := range c.Rows {
		for _, d := range row.Depths { // room for the figure past the interval
			most = math.Max(most, d.Hi+0.22*(d.Hi-least))
		}
	}
	step = 5
	for _, s := range []float64{5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000} {
		if step = s; (most-least)/s <= 9 {
			break
		}
	}
	return math.Floor(least/step) * step, math.Ceil(most/step) * step, step
}

// Design units of the chart.
const (
	chartNames = 190.0 // room for the names, where they stand beside the rows
	chartNarrw = 520.0 // below this width the names stand above their rows
	chartTop   = 22.0
	chartFoot  = 26.0
	rowHigh    = 56.0
	rowStacked = 62.0
)

func (c *Chart) rowHeight(row ChartRow, width, unit float64) float64 {
	if width < chartNarrw*unit {
		return rowStacked*unit + float64(len(row.toldLines(width, unit)))*responseHigh*unit
	}
	return rowHigh * unit
}

// Height is what Draw needs at the width, in output pixels.
func (c *Chart) Height(width, unit float64) float64 {
	high := (chartTop + chartFoot) * unit
	for _, row := range c.Rows {
		high += c.rowHeight(row, width, unit)
	}
	if len(c.Rows) == 0 {
		high += c.rowHeight(ChartRow{}, width, unit)
	}
	return high
}

// Draw lays the chart down in r (output pixels) and gives the place of each
// row.
func (c *Chart) Draw(r Rect, unit float64) (Drawing, []Rect) {
	p := pager{u: unit, layer: Layer{Clip: r}}
	stacked := r.W() < chartNarrw*unit
	plot := Rect{Min: r2.Vec{X: r.Min.X + 6*unit, Y: r.Min.Y + chartTop*unit}, Max: r2.Vec{X: r.Max.X - 6*unit, Y: r.Max.Y - chartFoot*unit}}
	if !stacked {
		plot.Min.X = r.Min.X + chartNames*unit
	}
	beside := c.responseRoom(r.W(), unit)
	if beside > 0 {
		plot.Max.X -= beside + 12*unit
	}
	columns := Rect{Min: r2.Vec{X: r.Max.X - beside, Y: plot.Min.Y}, Max: r.Max}
	if beside > 0 {
		p.headings(columns)
	}
	least, most, step := c.Range()
	x := func(depth float64) float64 {
		t := (depth - least) / (most - least)
		if !c.VentralRight {
			t = 1 - t
		}
		return plot.Min.X + t*plot.W()
	}
	p.axis(plot, x, least, most, step, c.Unit, c.VentralRight)
	var rows []Rect
	top := plot.Min.Y
	for _, row := range c.Rows {
		place := Box(r.Min.X, top, r.W(), c.rowHeight(row, r.W(), unit))
		top = place.Max.Y
		rows = append(rows, place)
		y := place.Centre().Y
		ink := White
		if row.Refused {
			ink = Vermillion
		}
		if stacked {
			y = place.Min.Y + 42*unit
			w := p.text(r.Min.X, place.Min.Y+16*unit, row.Object, smallSize, true, row.Style.Color)
			w += p.text(r.Min.X+w+8*unit, place.Min.Y+16*unit, row.Words, smallSize, true, ink)
			if row.magnified() {
				p.text(r.Min.X+w+16*unit, place.Min.Y+16*unit, "magnified", smallSize, false, White)
			}
		} else {
			at := y - 2*unit
			room := (chartNames - 16) * unit
			if side, level, two := strings.Cut(row.Words, " · "); two && Advance(row.Words, 15*unit, true) > room {
				// Neither side nor level is ever cut.
				at = y - 13*unit
				p.text(r.Min.X, at, side, 13.5, true, ink)
				p.text(r.Min.X, at+15*unit, level, 13.5, true, ink)
			} else {
				p.text(r.Min.X, at, row.Words, 15, true, ink)
			}
			name := row.Name
			if row.magnified() {
				name += ", magnified"
			}
			p.text(r.Min.X, y+15*unit, Fit(name, smallSize*unit, false, (chartNames-16)*unit), smallSize, false, row.Style.Color)
		}
		p.sounding(row, plot, x, y, least)
		if stacked {
			for i, line := range row.toldLines(r.W(), unit) {
				p.text(r.Min.X, place.Min.Y+(rowStacked+2+float64(i)*responseHigh)*unit, line, smallSize, false, White)
			}
		} else if beside > 0 {
			p.responses(row, columns, y)
		}
	}
	return Drawing{Layers: []Layer{p.layer}}, rows
}

// axis draws ticks, the margin and its words.
func (p *pager) axis(plot Rect, x func(float64) float64, least, most, step float64, unit string, ventralRight bool) {
	u := p.u
	vertical := func(at, width float64, c colour) {
		p.layer.Lines = append(p.layer.Lines, Line{Points: []r2.Vec{{X: at, Y: plot.Min.Y}, {X: at, Y: plot.Max.Y}}, Width: width * u, Color: c})
	}
	foot := plot.Max.Y + 18*u
	for d := least; d <= most+step/2; d += step {
		if d != 0 {
			vertical(x(d), 1, Rule)
		}
		words := fmt.Sprintf("%.0f", d)
		if d < 0 {
			words = fmt.Sprintf("−%.0f", -d)
		}
		if d == 0 {
			words = "0 " + unit
		}
		w := Advance(words, 12*u, false)
		at := math.Max(plot.Min.X-6*u, math.Min(x(d)-w/2, plot.Max.X+6*u-w))
		p.text(at, foot, words, 12, false, Grey)
	}
	vertical(x(0), 2.4, Bone)
	beyond, short := "beyond", "short"
	if ventralRight {
		beyond, short = short, beyond
	}
	p.right(x(0)-8*u, plot.Min.Y-7*u, beyond, smallSize, false, Grey)
	p.text(x(0)+8*u, plot.Min.Y-7*u, short, smallSize, false, Grey)
}

// sounding draws one row: the shaft from the dorsal side to the tip, or a
// lead's contacts, each with its interval.
func (p *pager) sounding(row ChartRow, plot Rect, x func(float64) float64, y, least float64) {
	u := p.u
	if len(row.Depths) == 0 {
		w := plot.W() * 0.96
		lines := Wrap(row.Missing, smallSize*u, false, w)
		for i, l := range lines[:min(len(lines), 2)] {
			p.text(plot.Min.X+6*u, y+(4+float64(i)*16)*u, l, smallSize, false, Grey)
		}
		return
	}
	d := drafter{view: View{Zoom: 1, Shape: r2.Vec{X: 1, Y: 1}}, unit: u}
	d.stroke([]r2.Vec{{X: x(least), Y: y}, {X: x(row.deepest().Value), Y: y}}, false, Stroke{Width: 2, Color: row.Style.Color, Dash: row.Style.Dash})
	for _, k := range row.Depths {
		whisker := y
		if row.Lead {
			whisker = y + 10*u // clear of the neighbours' symbols
		}
		d.interval(x(k.Lo), x(k.Hi), whisker)
	}
	for _, k := range row.Depths {
		s := Symbol{At: r2.Vec{X: x(k.Value), Y: y}, Shape: row.Style.Tip, Size: 13, Fill: Ground, Stroke: Stroke{Width: 2, Color: row.Style.Color, Edge: 1.2}}
		if row.Lead {
			s.Shape, s.Size = Square, 11
			if k.Class == "beyond" {
				s.Fill = row.Style.Color
			}
			w := Advance(fmt.Sprint(k.Contact), 12*u, true)
			p.text(x(k.Value)-w/2, y-11*u, fmt.Sprint(k.Contact), 12, true, row.Style.Color)
		}
		d.symbol(s)
	}
	p.layer.Lines = append(p.layer.Lines, d.layer.Lines...)
	if !row.Lead {
		k := row.Depths[0]
		words := k.Figure
		if k.Magnified {
			words += ", magnified"
		}
		p.outside(words, x(k.Lo), x(k.Hi), plot, y)
	}
}

// magnified reports whether a lead's contacts are told where the film is
// magnified. A needle's figure says so itself.
func (r ChartRow) magnified() bool { return r.Lead && len(r.Depths) > 0 && r.Depths[0].Magnified }

// deepest of a row's depths.
func (r ChartRow) deepest() ChartDepth {
	deepest := r.Depths[0]
	for _, k := range r.Depths[1:] {
		if k.Value > deepest.Value {
			deepest = k
		}
	}
	return deepest
}

// interval draws the 95 % interval with end ticks over a dark edge.
func (d *drafter) interval(a, b, y float64) {
	t := 6 * d.unit
	d.strokes(Stroke{Width: 1.6, Color: White, Edge: 1.4},
		[]r2.Vec{{X: a, Y: y}, {X: b, Y: y}},
		[]r2.Vec{{X: a, Y: y - t}, {X: a, Y: y + t}},
		[]r2.Vec{{X: b, Y: y - t}, {X: b, Y: y + t}})
}

// outside sets the figure past the interval on its deep side, or, where the
// plot ends there, above it.
func (p *pager) outside(words string, short, deep float64, plot Rect, y float64) {
	w, gap := Advance(words, 14*p.u, true), 9*p.u
	at := deep + gap
	if deep < short {
		at = deep - gap - w
	}
	if at < plot.Min.X || at+w > plot.Max.X {
		at = math.Max(plot.Min.X, math.Min((short+deep)/2-w/2, plot.Max.X-w))
		y -= 15 * p.u
	}
	p.layer.Texts = append(p.layer.Texts, Text{X: at, Y: y + 5*p.u, Words: words, Size: 14 * p.u, Bold: true, Color: White, Edge: 2 * p.u})
}
