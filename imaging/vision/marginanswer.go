package vision

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// vertexTolerance is how far the spline through suggested vertices may lie from
// the edge followed, px.
const vertexTolerance = 0.3

// answerMargin suggests the margin through the clicks. Option "structure" names it
// (ventral-margin, dorsal-margin or skin-line; ventral-margin where it is left out).
func answerMargin(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	structure := q.Options["structure"]
	switch structure {
	case "":
		structure = "ventral-margin"
	case "ventral-margin", "dorsal-margin", "skin-line":
	default:
		return assist.Answer{}, nil, fmt.Errorf("a margin is a ventral-margin, dorsal-margin or skin-line, not %q", structure)
	}
	e, err := findMargin(p[0], clicks(q))
	if err != nil {
		return refused(err)
	}
	return assist.Answer{Suggestions: []assist.Suggestion{e.suggestion(structure)}}, nil, nil
}

// suggestion of the edge as a mark of few vertices. Their covariance is across the
// edge; along it a vertex may slide, and is given the same.
func (e edge) suggestion(structure string) assist.Suggestion {
	s := assist.Suggestion{Structure: structure}
	seen, rivalled, n := 0.0, 0.0, float64(len(e.sd))
	for i := range e.sd {
		s.SD += e.sd[i] / n
		if e.strength[i] > 5 {
			seen += 1 / n
		}
	}
	for _, i := range e.line.vertices(vertexTolerance) {
		s.Points = append(s.Points, assist.Point(e.line.points[i]))
		s.Covariance = append(s.Covariance, [3]float64{e.sd[i] * e.sd[i], 0, e.sd[i] * e.sd[i]})
	}
	for _, r := range e.rivals {
		rivalled += float64(len(r.line)) / n
		s.Rivals = append(s.Rivals, assist.Suggestion{
			Structure: structure, Points: thinned(r.line), SD: s.SD, Confidence: r.chance(),
			Notes: []string{fmt.Sprintf("another edge %.1f px beside, %.1f times as strong, over %d px", r.distance, r.ratio, len(r.line))},
		})
	}
	s.Confidence = 0.95 * seen * (1 - min(1, rivalled)/2)
	s.Figures = []assist.Figure{{Name: "edge seen over", Value: seen, Unit: "1"}}
	if len(e.rivals) > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("another edge runs near by in %d places: look which one is meant", len(e.rivals)))
	}
	if seen < 0.9 {
		s.Notes = append(s.Notes, fmt.Sprintf("over %.0f %% of its length the edge hardly stands out", 100*(1-seen)))
	}
	return s
}

// thinned is a line with a point every ten.
func thinned(line []r2.Vec) []assist.Point {
	var out []assist.Point
	for i := 0; i < len(line); i += 10 {
		out = append(out, assist.Point(line[i]))
	}
	if last := len(line) - 1; last%10 != 0 {
		out = append(out, assist.Point(line[last]))
	}
	return out
}
