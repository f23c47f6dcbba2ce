package scene

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Page is one annotated film with what a reader must know of it: side and
// level with their basis above, the film, the numbers beside it, the cautions
// below.
type Page struct {
	W, H int  // output pixels
	View View // where the film's pixels go; its pane has whole corners
	// Under is drawn before the film's pixels, Over after them.
	Under, Over Drawing
}

// Design units of a page.
const (
	pageWidth  = 1400.0
	pageMargin = 24.0
	filmWidth  = 976.0
	gutter     = 24.0
	bodySize   = 15.0
	smallSize  = 13.0
)

// NewPage lays the scene out on a page width output pixels wide; its height
// follows from the film's shape.
func NewPage(s *Scene, width int) Page {
	u := float64(width) / pageWidth
	pg := pager{u: u}
	v := NewView(s.Film, Box(0, 0, filmWidth*u, filmWidth*u), u)
	columns, rows := size(s.Film)
	w, h := float64(columns)*v.Shape.X*v.Zoom, float64(rows)*v.Shape.Y*v.Zoom
	if v.Quarter%2 != 0 {
		w, h = h, w
	}
	head := pg.header(s, float64(width))
	left, top := math.Round(pageMargin*u), math.Round(head)
	// A film narrower than its place stands in the middle of it.
	fx := left + math.Round((filmWidth*u-w)/2)
	v.Pane = Box(fx, top, math.Max(1, math.Round(w)), math.Max(1, math.Round(h)))
	v.Centre = r2.Vec{X: float64(columns) / 2, Y: float64(rows) / 2}

	px := left + (filmWidth+gutter)*u
	panelEnd := pg.panel(s, Box(px, top, float64(width)-pageMargin*u-px, 0))
	bottom := math.Max(v.Pane.Max.Y, panelEnd)
	end := pg.footer(left, bottom+14*u, float64(width)-2*pageMargin*u)
	p := Page{W: width, H: int(math.Ceil(end + 16*u)), View: v}
	whole := Box(0, 0, float64(p.W), float64(p.H))
	pg.layer.Clip = whole
	p.Under = Drawing{Layers: []Layer{{Clip: whole, Fills: []Fill{{Points: whole.corners(), Color: Ground}}}, pg.layer}}
	p.Over = s.Draw(v)
	return p
}

type pager struct {
	u     float64
	layer Layer
}

func (p *pager) text(x, y float64, words string, size float64, bold bool, c colour) float64 {
	p.layer.Texts = append(p.layer.Texts, Text{X: x, Y: y, Words: words, Size: size * p.u, Bold: bold, Color: c})
	return Advance(words, size*p.u, bold)
}

// right sets words that end at x.
func (p *pager) right(x, y float64, words string, size float64, bold bool, c colour) {
	p.text(x-Advance(words, size*p.u, bold), y, words, size, bold, c)
}

// wrapped sets words in lines no wider than width and gives the baseline after
// the last.
func (p *pager) wrapped(x, y, width float64, words string, size float64, c colour) float64 {
	for _, l := range Wrap(words, size*p.u, false, width) {
		p.text(x, y, l, size, false, c)
		y += size * LineHeight * p.u
	}
	return y
}

func (p *pager) rule(x0, x1, y float64) {
	p.layer.Lines = append(p.layer.Lines, Line{Points: []r2.Vec{{X: x0, Y: y}, {X: x1, Y: y}}, Width: p.u, Color: Rule})
}

// swatch shows how a device is drawn: its line and tip.
func (p *pager) swatch(x, y float64, s DeviceStyle) float64 {
	d := drafter{view: View{Zoom: 1, Shape: r2.Vec{X: 1, Y: 1}}, unit: p.u}
	length := 34 * p.u
	d.stroke([]r2.Vec{{X: x + 8*p.u, Y: y}, {X: x + length, Y: y}}, false, Stroke{Width: 2.2, Color: s.Color, Dash: s.Dash})
	d.symbol(Symbol{At: r2.Vec{X: x + 7*p.u, Y: y}, Shape: s.Tip, Size: 12, Fill: Ground, Stroke: Stroke{Width: 2, Color: s.Color}})
	p.layer.Lines = append(p.layer.Lines, d.layer.Lines...)
	return length + 10*p.u
}

// header sets the film's name and, for each device, side and level with their
// basis; it gives the height used.
func (p *pager) header(s *Scene, width float64) float64 {
	u := p.u
	x, y := pageMargin*u, 44*u
	p.text(x, y, s.Title, 24, true, White)
	bottom := p.wrapped(x, y+24*u, 250*u, s.Aspect, smallSize+1, Grey)
	if len(s.Case) == 0 {
		p.text(x+290*u, y, "No device is marked on this film", 18, false, Grey)
	}
	const across = 3 // devices in a row
	cx := x + 290*u
	each := (width - pageMargin*u - cx) / math.Max(1, math.Min(across, float64(len(s.Case))))
	size := 26.0
	for _, c := range s.Case {
		for size > 14 && Advance(c.Object+c.Words, size*u, true)+(12+44+16)*u > each {
			size--
		}
	}
	row := y
	for i, c := range s.Case {
		if i > 0 && i%across == 0 {
			row = bottom + 26*u
		}
		at := cx + float64(i%across)*each
		tx := at + p.swatch(at, row-size*0.35*u, c.Style)
		tx += p.text(tx, row, c.Object, size, false, c.Style.Color) + 12*u
		ink := White
		if c.Refused {
			ink = Vermillion
		}
		p.text(tx, row, c.Words, size, true, ink)
		end, in := row+24*u, 0.0
		if !c.SideSure || !c.LevelSure {
			in = 20 * u // both stand in one column
		}
		for _, line := range []struct {
			words string
			sure  bool
		}{{c.Side, c.SideSure}, {c.Level, c.LevelSure}} {
			ink = Grey
			if !line.sure {
				ink = Vermillion
				p.warning(at, end)
			}
			end = p.wrapped(at+in, end, each-24*u-in, line.words, smallSize+1, ink)
		}
		bottom = math.Max(bottom, end)
	}
	return bottom + 2*u
}

// panel sets the numbers of each device; it gives the last line's foot.
func (p *pager) panel(s *Scene, r Rect) float64 {
	u := p.u
	x0, x1, y := r.Min.X, r.Max.X, r.Min.Y+18*u
	p.text(x0, y, "Placement", 18, true, White)
	p.right(x1, y, "95 % interval", smallSize, false, Grey)
	y += 14 * u
	if len(s.Numbers) == 0 {
		p.rule(x0, x1, y)
		y = p.wrapped(x0, y+26*u, x1-x0, "Nothing is measured on this film.", bodySize, Grey)
	}
	for _, section := range s.Numbers {
		p.rule(x0, x1, y)
		y += 28 * u
		tx := x0 + p.swatch(x0, y-5*u, section.Style)
		p.text(tx, y, section.Title, bodySize+1, true, section.Style.Color)
		y += 8 * u
		for _, row := range section.Rows {
			y = p.row(row, x0, x1, y)
		}
		y += 14 * u
	}
	y = p.chart(s, x0, x1, y)
	if len(s.Cautions) > 0 {
		p.rule(x0, x1, y)
		y += 26 * u
		for _, c := range s.Cautions {
			p.warning(x0, y)
			y = p.wrapped(x0+22*u, y, x1-x0-22*u, c, smallSize+1, Vermillion) + 5*u
		}
	}
	return y
}

// chart sets the sounding chart of the devices on a lateral film.
func (p *pager) chart(s *Scene, x0, x1, y float64) float64 {
	c := s.Chart
	if s.Film.View != imaging.Lateral || len(c.Rows) == 0 {
		return y
	}
	u := p.u
	p.rule(x0, x1, y)
	y += 28 * u
	p.text(x0, y, "Sounding chart", bodySize+1, true, White)
	p.right(x1, y, "tip against the ventral margin", smallSize, false, Grey)
	place := Box(x0, y+8*u, x1-x0, c.Height(x1-x0, u))
	d, _ := c.Draw(place, u)
	for _, l := range d.Layers {
		p.layer.Lines = append(p.layer.Lines, l.Lines...)
		p.layer.Texts = append(p.layer.Texts, l.Texts...)
	}
	return place.Max.Y + 14*u
}

func (p *pager) row(row Row, x0, x1, y float64) float64 {
	u := p.u
	size, ink := bodySize, White
	if row.Head {
		size = 22
	}
	if row.Figure == "missing" {
		ink = Grey
	}
	y += (size*0.9 + 10) * u
	p.right(x1, y, row.Figure, size, row.Figure != "missing", ink)
	room := x1 - x0 - Advance(row.Figure, size*u, true) - 12*u
	p.text(x0, y, Fit(row.Words, bodySize*u, false, room), bodySize, false, Grey)
	if row.Note != "" {
		y = p.wrapped(x0, y+18*u, x1-x0, row.Note, smallSize, Grey) - smallSize*LineHeight*u
	}
	return y
}

// warning is the sign before a caution.
func (p *pager) warning(x, y float64) {
	u := p.u
	at := func(dx, dy float64) r2.Vec { return r2.Vec{X: x + dx*u, Y: y + dy*u} }
	p.layer.Lines = append(p.layer.Lines,
		Line{Points: []r2.Vec{at(7, -11.5), at(14, 1), at(0, 1)}, Closed: true, Width: 1.5 * u, Color: Vermillion},
		Line{Points: []r2.Vec{at(7, -7), at(7, -3.8)}, Width: 1.5 * u, Color: Vermillion},
		Line{Points: []r2.Vec{at(7, -1.3), at(7, -1.2)}, Width: 1.7 * u, Color: Vermillion})
}

// footer sets the cautions every picture carries.
func (p *pager) footer(x, y, width float64) float64 {
	return p.wrapped(x, y+12*p.u, width, CautionReview+" "+CautionDepth, smallSize+1, Grey) - smallSize*p.u
}
