package pose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"leadline/imaging"
)

// Separation is the difference of two readings' chi-squares from which on the
// better one counts as told apart: odds of a thousand to one where both were
// equally likely before (2 ln 1000; for normal errors the likelihood falls with
// half of chi-square). The wrong side is the worst error there is, hence a
// thousand and not twenty.
const Separation = 13.8

// FitsAbove is the probability of a chi-square as large as the best reading's
// below which no reading fits: then none is told apart from what was not
// thought of.
const FitsAbove = 0.001

// Reading is one way to read the same films: as labelled, with two devices
// exchanged on one film, with one film mirrored.
type Reading struct {
	Name  string
	Input Input
}

// Score is how well a reading fits.
type Score struct {
	Name        string
	ChiSquare   float64
	Degrees     int
	Probability float64 // of a chi-square as large or larger where the reading is right
	Err         error   // it could not be adjusted, so nothing speaks against it
}

// Comparison of readings.
type Comparison struct {
	Scores []Score // in the order given
	Best   int     // the least chi-square
	// Apart is by how much the next best reading's chi-square is larger.
	Apart float64
	// Told is true where the best reading fits and every other is Separation
	// worse. False is 'cannot tell'. True says no more than that the other readings
	// given do not go with the marks and with what was supposed about the views.
	Told bool
}

// Compare adjusts each reading and says whether one is told apart from all
// others. What was supposed about the views takes part: with shift and turn of a
// view loose, readings that they can make up for are not told apart. So does
// which side the source stood on: a mirrored film shows by what is nearer to the
// detector being larger, and so would a lateral view taken from the other side.
// Where that is not sure it is a reading of its own. Readings must share their
// marks, so that their chi-squares can be compared.
func Compare(readings ...Reading) Comparison {
	// A reading is not to look worse for having been started badly.
	var starts [][kinds]float64
	for k := TurnLong; k <= TurnBeam; k++ {
		for _, by := range [2]float64{-1.5, 1.5} {
			var d [kinds]float64
			d[k] = by
			starts = append(starts, d)
		}
	}
	c := Comparison{Best: -1, Apart: math.Inf(1)}
	told := len(readings) > 1
	for i, r := range readings {
		s := Score{Name: r.Name}
		f, err := settle(r.Input, starts, compared)
		if err != nil {
			s.Err, told = err, false
			c.Scores = append(c.Scores, s)
			continue
		}
		s.ChiSquare, s.Degrees = f.ChiSquare()
		s.Probability = 1
		if s.Degrees > 0 {
			s.Probability = distuv.ChiSquared{K: float64(s.Degrees)}.Survival(s.ChiSquare)
		}
		switch {
		case c.Best < 0:
			c.Best = i
		case s.ChiSquare < c.Scores[c.Best].ChiSquare:
			c.Apart, c.Best = c.Scores[c.Best].ChiSquare-s.ChiSquare, i
		default:
			c.Apart = math.Min(c.Apart, s.ChiSquare-c.Scores[c.Best].ChiSquare)
		}
		c.Scores = append(c.Scores, s)
	}
	c.Told = told && c.Apart >= Separation && c.Scores[c.Best].Probability > FitsAbove
	return c
}

// Exchange is the input with points exchanged in pairs on one view's film: what
// was taken for one device there is taken for the other.
func Exchange(in Input, view int, pairs ...[2]int) Input {
	other := map[int]int{}
	for _, p := range pairs {
		other[p[0]], other[p[1]] = p[1], p[0]
	}
	swap := func(p int) int {
		if q, ok := other[p]; ok {
			return q
		}
		return p
	}
	in.Sightings = append([]Sighting(nil), in.Sightings...)
	for i := range in.Sightings {
		if s := &in.Sightings[i]; s.View == view {
			s.Point = swap(s.Point)
		}
	}
	in.OnLines = append([]OnLine(nil), in.OnLines...)
	for i := range in.OnLines {
		if l := &in.OnLines[i]; l.View == view {
			l.A, l.B = swap(l.A), swap(l.B)
		}
	}
	return in
}

// Mirror is the input with one view's film, of so many columns, taken to be
// stored mirrored left to right.
func Mirror(in Input, view, columns int) (Input, error) {
	if view < 0 || view >= len(in.Views) {
		return Input{}, fmt.Errorf("%w: there is no view %d to mirror", imaging.ErrBadInput, view)
	}
	p := in.Views[view].Nominal.Pinhole()
	p.Right = r3.Scale(-1, p.Right)
	p.Foot.X = float64(columns) - p.Foot.X
	c, err := p.Camera()
	if err != nil {
		return Input{}, err
	}
	in.Views = append([]View(nil), in.Views...)
	in.Views[view].Nominal = c
	return in, nil
}
