package board

import (
	"fmt"
	"image/color"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Warn is the colour of cautions, and of nothing else: Okabe and Ito's
// vermillion, lightened so that small words read on the dark ground (contrast
// above 4.5:1, WCAG 2.1, 1.4.3).
var Warn = color.NRGBA{0xFF, 0x86, 0x45, 0xFF}

var (
	card     = color.NRGBA{0x22, 0x27, 0x2E, 0xFF}
	cardLine = color.NRGBA{0x38, 0x3F, 0x48, 0xFF}
	active   = color.NRGBA{0x2B, 0x36, 0x44, 0xFF}
)

// Hit is a place that answers a click as if Key were pressed.
type Hit struct {
	Place scene.Rect
	Key   string
}

// Part is one region of the board; it is drawn again when its drawing changes.
type Part struct {
	Name    string
	Place   scene.Rect
	Ground  color.NRGBA
	Drawing scene.Drawing
	Thumbs  []Thumb // drawn over it
	Hits    []Hit
}

// Chart of the devices on the desk, in the direction of the lateral film.
func Chart(d *desk.Desk, lateral *scene.Scene) scene.Chart {
	p, _ := d.Placement()
	up := scene.View{Quarter: scene.UpQuarter(lateral.Film.Cranial)}
	c := scene.NewChart(p, up.EdgeShown(lateral.Ventral))
	c.Respond(p, d.Responses())
	for i, row := range c.Rows {
		for _, dev := range p.Devices {
			if dev.Object == row.Object && mark.Contradicted(dev.SideSource) {
				c.Rows[i].Refused = true // in the colour of cautions: no settled side
			}
		}
	}
	return c
}

// Parts are the case line, the words over the films, the mark sheet with the
// numbers, the chart and the foot.
func Parts(d *desk.Desk, at Places, scenes [2]*scene.Scene, chart scene.Chart) []Part {
	parts := []Part{
		caseLine(d, at),
		head(d, at, desk.FrontalPane, scenes[desk.FrontalPane]),
		head(d, at, desk.LateralPane, scenes[desk.LateralPane]),
		sheet(d, at, scenes),
		chartPart(d, at, chart),
		foot(d, at),
	}
	for _, id := range []desk.PaneID{desk.FrontalPane, desk.LateralPane} {
		if at.Run[id].W() > 0 {
			parts = append(parts, runPart(d, at, id))
		}
	}
	return parts
}

func caseLine(d *desk.Desk, at Places) Part {
	u, r := at.Unit, at.Case
	p := newPen(r, u)
	left := margin * u
	room := r.W()*0.22 - left
	p.fit(left, 23*u, room, d.Name(), 15, true, scene.White)
	p.fit(left, 41*u, room, "marked by "+d.Observer(), 12, false, scene.Grey)

	state, words := d.Saved()
	ink := scene.Grey
	if state == desk.Failed {
		ink = Warn
		words = scene.Fit(words, 12*u, true, r.W()*0.3)
	}
	w := p.right(r.Max.X-margin*u, 23*u, words, 12, state == desk.Failed, ink)
	if state == desk.Failed {
		p.warning(r.Max.X-margin*u-w-20*u, 24*u)
	}
	p.right(r.Max.X-margin*u, 41*u, "? lists the keys", 12, false, scene.Grey)

	x := r.W() * 0.235
	dev, ok := d.DeviceReading()
	if d.Device() == "" || !ok {
		leftBasis(d, p, x, r.Max.X-margin*u-w-28*u)
		return Part{Name: "case", Place: r, Ground: scene.Panel, Drawing: p.drawing()}
	}
	style := scene.Style(dev.Object)
	x += p.swatch(x, 26*u, style)
	x += p.text(x, 32*u, dev.Object, 16, true, style.Color) + 10*u
	ink = scene.White
	against := mark.Contradicted(dev.SideSource)
	if dev.SideConflict != "" || against {
		ink = Warn
	}
	x += p.text(x, 35*u, scene.SideLevel(dev), 27, true, ink) + 16*u
	width := r.Max.X - margin*u - w - 28*u - x
	y, free := 17*u, 3 // three lines in all
	var split float64
	for i, line := range []struct {
		words string
		sure  bool
	}{{scene.SideBasis(dev), dev.SideConfirmed && dev.SideConflict == "" && !against}, {scene.LevelBasis(dev), dev.LevelConfirmed}} {
		ink, lx, most := scene.Grey, x, free-1+i
		if !line.sure {
			ink = Warn
			p.warning(lx, y)
			lx += 20 * u
		}
		n := len(scene.Wrap(line.words, 12*u, false, width-20*u))
		p.wrap(lx, y, width-20*u, line.words, 12, ink, most)
		n = min(n, most)
		free -= n
		y += float64(n) * 12 * scene.LineHeight * u
		if i == 0 {
			split = y - 11*u
		}
	}
	return Part{Name: "case", Place: r, Ground: scene.Panel, Drawing: p.drawing(),
		Hits: []Hit{{scene.Box(x, r.Min.Y, width, split), "s"}, {scene.Box(x, r.Min.Y+split, width, r.H()-split), "t"}}}
}

// leftBasis says, while no device is marked, where the patient's left lies on
// the frontal film and what that rests on.
func leftBasis(d *desk.Desk, p *pen, x, right float64) {
	u := p.u
	film := d.Reading(d.Pane(desk.FrontalPane).Ref)
	if film.View != imaging.Frontal {
		p.text(x, 32*u, "No needle or lead marked yet", 18, true, scene.White)
		return
	}
	p.text(x, 20*u, "No needle or lead marked yet", 15, true, scene.White)
	words, ink := "patient's left: "+film.LeftSource, scene.Grey
	if film.LeftConflict != "" {
		words = "patient's left: " + film.LeftConflict
	}
	if !film.LeftConfirmed || mark.Contradicted(film.LeftSource) {
		ink = Warn
		p.warning(x, 36*u)
		x += 20 * u
	}
	p.wrap(x, 35*u, right-x, words, 11.5, ink, 2)
}

// lettered reports whether left and right stand at the film's edges.
func lettered(sc *scene.Scene) bool {
	for _, e := range sc.Edges {
		if e.Words == "L" {
			return true
		}
	}
	return false
}

func head(d *desk.Desk, at Places, id desk.PaneID, sc *scene.Scene) Part {
	u, r := at.Unit, at.Head[id]
	p := newPen(r, u)
	x, y := r.Min.X, r.Min.Y+18*u
	part := Part{Name: "head " + id.String(), Place: r, Ground: scene.Ground}
	pane := d.Pane(id)
	if pane.Ref.Instance == "" {
		p.text(x, y, title(id), 15, true, scene.Grey)
		part.Drawing = p.drawing()
		return part
	}
	ink := scene.White
	if d.Focus() == id {
		p.line(2, scene.White, vec(r.Min.X, r.Max.Y-2*u), vec(r.Min.X+26*u, r.Max.Y-2*u))
	}
	words := sc.Title
	if words == "" {
		words = "View not known"
		ink = Warn
	}
	x += p.text(x, y, words, 15, true, ink) + 10*u
	right := r.Max.X
	if pane.Window.Width > 0 {
		right -= p.right(right, y, fmt.Sprintf("C %.0f  W %.0f", pane.Window.Center, pane.Window.Width), 11.5, false, scene.Grey) + 12*u
	}
	if film := sc.Film; lettered(sc) && (!film.LeftConfirmed || mark.Contradicted(film.LeftSource)) {
		words := "L, R not confirmed"
		if film.LeftConfirmed {
			words = "L, R contradicted"
		}
		p.warning(x, y)
		x += p.text(x+18*u, y, words, 11.5, false, Warn) + 26*u
	}
	if film := sc.Film; film.View == imaging.Frontal && film.PatientLeft != imaging.NoEdge && !lettered(sc) {
		p.warning(x, y)
		x += p.text(x+18*u, y, "L, R withheld", 11.5, false, Warn) + 26*u
	}
	aspect := sc.Aspect
	if said := sc.Film.ViewSource; strings.HasPrefix(said, "stated") {
		aspect = strings.TrimSuffix("view "+said+", "+aspect, ", ")
	}
	if h := sc.Film.Film.Header; h != nil && h.Frames > 1 {
		aspect = strings.TrimPrefix(aspect+fmt.Sprintf(", frame %s of %d", pane.Ref.Span(), h.Frames), ", ")
	}
	p.fit(x, y, right-x, aspect, 12.5, false, scene.Grey)
	part.Drawing = p.drawing()
	return part
}

func title(id desk.PaneID) string {
	if id.View() == imaging.Lateral {
		return "No lateral film"
	}
	return "No frontal film"
}

func chartPart(d *desk.Desk, at Places, chart scene.Chart) Part {
	u, r := at.Unit, at.Chart
	p := newPen(r, u)
	p.box(r, 6, scene.Panel)
	x, y := r.Min.X+cardPad*u, r.Min.Y+(cardPad+12)*u
	x += p.text(x, y, "Sounding chart", 14, true, scene.White) + 10*u
	p.text(x, y, "tip against the ventral margin", 12, false, scene.Grey)
	part := Part{Name: "chart", Place: r, Ground: scene.Ground}
	in := scene.Rect{Min: vec(r.Min.X+cardPad*u, y+8*u), Max: vec(r.Max.X-cardPad*u, r.Max.Y-cardPad*u/2)}
	if len(chart.Rows) == 0 {
		p.text(r.Min.X+cardPad*u, in.Min.Y+26*u, "A depth appears here when the ventral margin and a needle are marked on the lateral film.", 12.5, false, scene.Grey)
		part.Drawing = p.drawing()
		return part
	}
	drawn, _ := chart.Draw(in, u)
	part.Drawing = p.drawing()
	part.Drawing.Add(drawn)
	return part
}

func foot(d *desk.Desk, at Places) Part {
	u, r := at.Unit, at.Foot
	p := newPen(r, u)
	y := r.Min.Y + 17*u
	caution := scene.CautionReview + " " + scene.CautionDepth
	w := p.right(r.Max.X-margin*u, y, caution, 12, false, scene.Grey)
	n := d.Notice()
	x, ink := r.Min.X+margin*u, scene.White
	if n.Trouble {
		p.warning(x, y)
		x, ink = x+20*u, Warn
	}
	p.fit(x, y, r.Max.X-margin*u-w-24*u-x, n.Text, 12.5, false, ink)
	return Part{Name: "foot", Place: r, Ground: scene.Ground, Drawing: p.drawing()}
}
