package scene

import (
	"fmt"
	"strings"

	"leadline/measure/placement"
	"leadline/measure/response"
)

// ChartResponse is one test at a position: its cells stand under
// response.Headings. What is not recorded is blank.
type ChartResponse struct {
	Contact int // -1: of the tip
	Cells   []string
}

// Respond sets the responses beside the chart's positions.
func (c *Chart) Respond(p placement.Placement, tests []response.Test) {
	if len(tests) == 0 {
		return
	}
	for _, r := range response.Compare(p, tests).Rows {
		if r.Test == nil {
			continue
		}
		for i := range c.Rows {
			if c.Rows[i].Object != r.Device.Object {
				continue
			}
			cells := r.Cells()
			for k := range cells {
				if cells[k] == response.NotRecorded {
					cells[k] = ""
				}
			}
			c.Rows[i].Responses = append(c.Rows[i].Responses, ChartResponse{r.Test.Contact, cells})
			c.responded = true
		}
	}
}

// Design units of the columns of responses.
const (
	responsesWide = 480.0 // beside the rows, at most
	responseHigh  = 15.0  // of a line
	responseRows  = 3     // lines beside a row, of which the last may say that there are more
)

// responseShares of the columns' room: the contact, the thresholds, the root.
var responseShares = []float64{0.04, 0.22, 0.22, 0.22, 0.3}

// responseRoom is how wide the columns are in a chart of that width.
func (c *Chart) responseRoom(width, unit float64) float64 {
	if !c.responded || width < chartNarrw*unit {
		return 0
	}
	return min(responsesWide*unit, 0.6*(width-chartNames*unit))
}

// headings of the columns above the rows.
func (p *pager) headings(r Rect) {
	x := r.Min.X
	for i, h := range response.Headings() {
		x += responseShares[i] * r.W()
		p.text(x, r.Min.Y-7*p.u, Fit(h, smallSize*p.u, false, responseShares[i+1]*r.W()-6*p.u), smallSize, false, Grey)
	}
}

// responses of a row beside it, about the height y.
func (p *pager) responses(row ChartRow, r Rect, y float64) {
	u, list := p.u, row.Responses
	more := 0
	if len(list) > responseRows {
		more = len(list) - responseRows + 1
		list = list[:responseRows-1]
	}
	lines := len(list)
	if more > 0 {
		lines++
	}
	y += 4*u - float64(lines-1)*responseHigh*u/2
	for _, t := range list {
		x := r.Min.X
		if t.Contact >= 0 {
			p.text(x, y, fmt.Sprint(t.Contact), 12, true, row.Style.Color)
		}
		for i, cell := range t.Cells {
			x += responseShares[i] * r.W()
			room := responseShares[i+1]*r.W() - 6*u
			if wrapped := Wrap(cell, 12*u, false, room); lines == 1 && len(wrapped) > 1 {
				// An amplitude that is cut would be read as another.
				for k, part := range wrapped[:min(len(wrapped), 3)] {
					p.text(x, y+(float64(k)-0.5)*responseHigh*u, part, 12, false, White)
				}
				continue
			}
			p.text(x, y, Fit(cell, 12*u, false, room), 12, false, White)
		}
		y += responseHigh * u
	}
	if more > 0 {
		p.text(r.Min.X+responseShares[0]*r.W(), y, fmt.Sprintf("and %d more", more), 12, false, Grey)
	}
}

// told is a test in a line, for a chart too narrow for columns.
func (t ChartResponse) told() string {
	var said []string
	if t.Contact >= 0 {
		said = append(said, fmt.Sprintf("contact %d", t.Contact))
	}
	for i, h := range response.Headings() {
		if t.Cells[i] != "" {
			said = append(said, strings.ToLower(h)+" "+t.Cells[i])
		}
	}
	return strings.Join(said, ", ")
}

// toldLines of a row's responses below it.
func (r ChartRow) toldLines(width, unit float64) []string {
	var lines []string
	for _, t := range r.Responses {
		lines = append(lines, Wrap(t.told(), smallSize*unit, false, width)...)
	}
	return lines
}
