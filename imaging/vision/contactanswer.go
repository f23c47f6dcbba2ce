package vision

import (
	"errors"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// refused makes an answer of an error that says why nothing can be suggested,
// and hands any other on.
func refused(err error) (assist.Answer, []uint16, error) {
	if errors.Is(err, errNotSeen) {
		return assist.Answer{Refused: err.Error()}, nil, nil
	}
	return assist.Answer{}, nil, err
}

// clicks of a request as vectors.
func clicks(q assist.Request) []r2.Vec {
	var out []r2.Vec
	for _, p := range q.Near {
		out = append(out, p.Vec())
	}
	return out
}

// answerContacts suggests the contacts of the lead whose tip is nearest the first
// click, one suggestion each from the tip on. A second click, or the points of a
// marked lead from its tip, say which way it runs.
func answerContacts(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	found, err := findContacts(p[0], clicks(q)...)
	if err != nil {
		return refused(err)
	}
	out := assist.Answer{Notes: found.Notes}
	for k, c := range found.Contacts {
		s := assist.Suggestion{
			Structure: "contact", Index: k, Points: []assist.Point{assist.Point(c.Centre)},
			Covariance: [][3]float64{{c.Scatter.XX, c.Scatter.XY, c.Scatter.YY}},
			SD:         c.Scatter.SD(), Confidence: found.Confidence,
			Figures: []assist.Figure{
				{Name: "length along the lead", Value: c.Length, Unit: "px"},
				{Name: "standard deviation of its ends", Value: c.EndSD, Unit: "px"},
				{Name: "width", Value: found.Width, Unit: "px"},
			},
		}
		if k > 0 {
			s.Figures = append(s.Figures, assist.Figure{Name: "from the contact before", Value: found.Spacing[k-1], Unit: "px"})
		}
		out.Suggestions = append(out.Suggestions, s)
	}
	return out, nil, nil
}
