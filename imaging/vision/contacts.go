package vision

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// errNotSeen is the kind of error of a request that was understood, but whose
// structure cannot be told from the picture: the reason follows.
var errNotSeen = errors.New("nothing suggested")

// Scatter is the covariance of a point on a frame, in square pixels.
type Scatter struct{ XX, XY, YY float64 }

// SD is the root mean square of the standard deviations along any two axes at
// right angles, in pixels.
func (s Scatter) SD() float64 { return math.Sqrt((s.XX + s.YY) / 2) }

// turned makes the covariance of standard deviations along a unit direction and
// across it.
func turned(along, acrossIt float64, d r2.Vec) Scatter {
	a, c := along*along, acrossIt*acrossIt
	return Scatter{
		XX: a*d.X*d.X + c*d.Y*d.Y,
		XY: (a - c) * d.X * d.Y,
		YY: a*d.Y*d.Y + c*d.X*d.X,
	}
}

// Contact of a lead on a frame, SR pixels.
type Contact struct {
	Centre  r2.Vec
	Scatter Scatter // of the centre
	// From is the end nearer the tip, To the other: where the contrast along the
	// lead has fallen by half. Blur and the frame's tone curve can move both
	// ends outwards or inwards alike, by up to about the blur's width; the
	// centre stays.
	From, To r2.Vec
	EndSD    float64 // of either end along the lead, that shift included
	Length   float64 // between the ends along the lead
	Contrast float64 // stored values between it and what lies beside the lead
}

// Contacts of one lead.
type Contacts struct {
	Contacts []Contact // from the tip
	// Spacing is the distance between neighbouring centres along the lead, px.
	Spacing []float64
	// Lead is the middle of the lead from the first contact's tip end to the
	// last one's other end, points 1 px apart.
	Lead  []r2.Vec
	Width float64 // of the contacts across the lead, px
	Blur  float64 // standard deviation of the contacts' edges, px
	// Confidence is a probability that these are all contacts and nothing else,
	// by rule and not by experience.
	Confidence float64
	Notes      []string
}

// Limits of what is taken for a lead.
const (
	leadReach    = 330.0 // px on either side of the click
	leadAhead    = 45.0  // px looked ahead over a gap between contacts
	leastWidth   = 2.0   // px
	mostWidth    = 24.0  // px
	mostLength   = 14.0  // of a contact, in widths
	leastNumber  = 2
	leastBend    = 40.0 // px, radius
	leastSure    = 0.4  // confidence below which a row is none
	contrastHeld = 0.55 // a contact has at least this part of the first one's contrast
)

// findContacts finds the contacts of the lead near the first point, which lies
// nearest its tip. More points, in order from the tip, say how the lead runs: two
// clicks, or a marked lead. The lead may be darker or brighter than what lies
// beside it.
//
// The course of the lead is followed along its ridge; contacts are then a row of
// boxes on the profile along it, blurred by one Gaussian, whose ends and heights
// are fitted by least squares; each contact's place across the lead is fitted
// likewise. Scatter is that of the fit with the noise measured from what the fit
// leaves, its correlation included.
//
// Errors wrap imaging.ErrBadInput where no point is given and errNotSeen where no
// row of contacts is found.
func findContacts(p Picture, points ...r2.Vec) (Contacts, error) {
	if len(points) == 0 {
		return Contacts{}, fmt.Errorf("%w: no point given; click on the lead near its tip", imaging.ErrBadInput)
	}
	low, high := points[0], points[0]
	for _, q := range points {
		low = r2.Vec{X: min(low.X, q.X), Y: min(low.Y, q.Y)}
		high = r2.Vec{X: max(high.X, q.X), Y: max(high.Y, q.Y)}
	}
	part := p.cut(int(low.X-leadReach), int(low.Y-leadReach), int(high.X+leadReach), int(high.Y+leadReach))
	if part.width < 32 || part.height < 32 {
		return Contacts{}, fmt.Errorf("%w: the image is too small about the click to show a lead", errNotSeen)
	}
	row, err := followLead(part, 1, points)
	if err == nil {
		var found Contacts
		if found, err = row.contacts(points); err == nil && found.Confidence >= leastSure {
			return found, nil
		}
		if err == nil {
			err = fmt.Errorf("%w: what is seen here is little like a row of contacts; click on a contact near the lead's tip", errNotSeen)
		}
	}
	// A picture of a screen may show metal bright.
	row, bright := followLead(part, -1, points)
	if bright == nil {
		var found Contacts
		if found, bright = row.contacts(points); bright == nil {
			found.Confidence *= 0.7
			found.Notes = append(found.Notes, "brighter than what lies beside them, unlike metal on this kind of picture")
			if found.Confidence < leastSure {
				return Contacts{}, fmt.Errorf("%w: what is seen here is little like a row of contacts; click on a contact near the lead's tip", errNotSeen)
			}
			return found, nil
		}
	}
	return Contacts{}, err
}

// leadRow is a lead straightened.
type leadRow struct {
	sign        float64
	part        *region
	line        path
	strip       strip   // dark positive
	width, blur float64 // across, px
	seed        float64 // place of a contact along the line
	contrast    float64 // there
}

// followLead finds the middle of the lead.
func followLead(part *region, sign float64, points []r2.Vec) (leadRow, error) {
	row := leadRow{sign: sign, part: part}
	r := findCrests(part.halved(), sign, 1, 1.7, 2.8)
	at, angle, strength := r.seed(points[0], 9)
	if strength <= 0 {
		return row, fmt.Errorf("%w: no line within 25 pixels of the click; click on a contact near the lead's tip", errNotSeen)
	}
	var line []r2.Vec
	if len(points) > 2 {
		line = points
	} else {
		if len(points) == 2 {
			if d := r2.Sub(points[1], at); d.X*math.Cos(angle)+d.Y*math.Sin(angle) < 0 {
				angle += math.Pi
			}
		}
		const floor = 0.12
		on := r.follow(at, angle, floor*strength, leadAhead, leadReach)
		back := r.follow(at, angle+math.Pi, floor*strength, leadAhead, leadReach)
		slices.Reverse(back)
		line = append(append(back, at), on...)
	}
	if len(line) < 5 {
		line = []r2.Vec{
			r2.Sub(at, r2.Vec{X: 15 * math.Cos(angle), Y: 15 * math.Sin(angle)}), at,
			r2.Add(at, r2.Vec{X: 15 * math.Cos(angle), Y: 15 * math.Sin(angle)}),
		}
	}
	row.line = evenly(line, 1).extended(20, 12)
	// Centre the line on what it follows, first coarsely, then finely.
	row.width = 6
	for _, step := range []struct{ reach, stiffness float64 }{{8, 2e3}, {5, 2e3}, {3, 2e3}} {
		if err := row.centre(step.reach, step.stiffness, at); err != nil {
			return row, err
		}
		row.trim(at)
	}
	row.straighten()
	row.seed = float64(row.nearest(at)) * row.line.spacing
	return row, nil
}

// trim takes away what lies beyond a sharp bend, where the line has gone astray
// on something else, and goes on straight from there for the length of a contact
// or two.
func (row *leadRow) trim(at r2.Vec) {
	const cutBack, goOn = 8.0, 45.0
	h := row.line.spacing
	low, high := row.straight(row.nearest(at))
	a, b := int((low+cutBack)/h), int((high-cutBack)/h)
	if low == 0 {
		a = 0
	}
	last := len(row.line.points) - 1
	if high >= row.line.length() {
		b = last
	}
	if b-a < 10 || a == 0 && b == last {
		return
	}
	line := path{h, row.line.points[a : b+1]}.extended(goOn, 20)
	n := int(math.Ceil(goOn / h))
	// An end that was not cut is not lengthened.
	if a == 0 {
		line.points = line.points[n:]
	}
	if b == last {
		line.points = line.points[:len(line.points)-n]
	}
	row.line = line
}

func (row *leadRow) straighten() {
	reach := row.width/2 + 3 + max(4, 0.6*row.width)
	row.strip = row.part.straighten(row.line, reach, 0.5)
	for i := range row.strip.v {
		row.strip.v[i] *= -row.sign
	}
}

// nearest place on the line to a point.
func (row *leadRow) nearest(p r2.Vec) int {
	near, best := 0, math.Inf(1)
	for i, q := range row.line.points {
		if d := r2.Norm2(r2.Sub(p, q)); d < best {
			near, best = i, d
		}
	}
	return near
}

// centre moves the line to the middle of the dark stripe under it, and measures
// the stripe at the contact where the line was found.
func (row *leadRow) centre(reach, stiffness float64, at r2.Vec) error {
	row.straighten()
	near := row.nearest(at)
	if err := row.measureStripe(near); err != nil {
		return err
	}
	smooth := row.strip.smoothed(2)
	offset, weight := make([]float64, smooth.rows), make([]float64, smooth.rows)
	top := 0.0
	core := int(math.Round(row.width / 2 / smooth.step))
	beside := core + int(math.Ceil((row.blur+0.5)/smooth.step))
	side := max(2, core)
	for i := range smooth.rows {
		v := smooth.row(i)
		sums := make([]float64, len(v)+1)
		for c, x := range v {
			sums[c+1] = sums[c] + x
		}
		sum := func(a, b int) float64 { // columns a to b
			a, b = max(0, a), min(len(v)-1, b)
			if b < a {
				return 0
			}
			return (sums[b+1] - sums[a]) / float64(b-a+1)
		}
		score := func(c int) float64 {
			return sum(c-core, c+core) - (sum(c-beside-side, c-beside-1)+sum(c+beside+1, c+beside+side))/2
		}
		best, where := math.Inf(-1), smooth.half
		most := int(reach / smooth.step)
		for c := smooth.half - most; c <= smooth.half+most; c++ {
			if s := score(c); s > best {
				best, where = s, c
			}
		}
		a, b, c := score(where-1), best, score(where+1)
		sub := 0.0
		if den := a - 2*b + c; den < 0 {
			sub = max(-0.5, min(0.5, (a-c)/(2*den)))
		}
		offset[i] = (float64(where-smooth.half) + sub) * smooth.step
		weight[i] = max(0, best)
		if i >= near-4 && i <= near+4 {
			top = max(top, best)
		}
	}
	for i, w := range weight {
		w = min(1, w/max(top, 1e-9))
		weight[i] = w * w * w
	}
	row.line = row.line.shifted(fair(offset, weight, stiffness))
	return nil
}

// stripe is a dark band across a profile.
type stripe struct {
	centre, width, blur, height float64
	centreSD, noise             float64
}

// measureStripe finds the stripe's width and blur: the median of fits where it is
// found and at places about it, as bone may cross it anywhere.
func (row *leadRow) measureStripe(near int) error {
	var widths, blurs []float64
	for at := near - 24; at <= near+24; at += 8 {
		if at < 4 || at > row.strip.rows-5 {
			continue
		}
		s, err := fitStripe(row.mean(at-3, at+3), row.strip.step, row.width)
		if err == nil && s.width >= leastWidth && s.width <= mostWidth && math.Abs(s.centre) < 6 && s.height > 4*s.noise {
			widths, blurs = append(widths, s.width), append(blurs, s.blur)
		}
	}
	if len(widths) == 0 {
		return fmt.Errorf("%w: nothing like a lead's contact, %.0f to %.0f pixels wide, near the click; click on a contact near the tip", errNotSeen, leastWidth, mostWidth)
	}
	slices.Sort(widths)
	slices.Sort(blurs)
	row.width, row.blur = widths[len(widths)/2], blurs[len(blurs)/2]
	return nil
}

// mean of the rows from a to b of the strip.
func (row *leadRow) mean(a, b int) []float64 {
	out := make([]float64, row.strip.width)
	a, b = max(0, a), min(b, row.strip.rows-1)
	for i := a; i <= b; i++ {
		floats.Add(out, row.strip.row(i))
	}
	floats.Scale(1/float64(b-a+1), out)
	return out
}

// fitStripe fits a box blurred by a Gaussian, on a sloping ground, to values
// step apart; the middle value lies at 0.
func fitStripe(v []float64, step, width float64) (stripe, error) {
	n := len(v)
	half := n / 2
	place := func(i int) float64 { return float64(i-half) * step }
	m := func(p, out []float64) {
		c, w, s := p[0], p[1], max(0.3, math.Abs(p[2]))
		for i := range out {
			x := place(i)
			out[i] = p[4] + p[5]*x + p[3]*(normalCDF((x-c+w/2)/s)-normalCDF((x-c-w/2)/s))
		}
	}
	ground := (v[0] + v[1] + v[n-1] + v[n-2]) / 4
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	fit, ok := leastSquares(m, v, weight, []float64{0, width, 1.3, v[half] - ground, ground, 0}, []float64{0.05, 0.05, 0.05, 1e-3 * (1 + math.Abs(v[half]-ground)), 1e-3 * (1 + math.Abs(v[half]-ground)), 1e-3})
	p := fit.param
	if !ok || p[3] <= 0 || p[1] <= 0.5 {
		return stripe{}, fmt.Errorf("%w: nothing like a lead's contact near the click", errNotSeen)
	}
	out := stripe{centre: p[0], width: p[1], blur: max(0.3, math.Abs(p[2])), height: p[3]}
	sd := math.Sqrt(fit.squares / float64(max(1, n-len(p))))
	out.noise = sd
	each := make([]float64, n)
	for i := range each {
		each[i] = sd
	}
	if cov, ok := fit.covariance(weight, each, autocorrelation(fit.residual, each, min(n/4, int(3/step)))); ok {
		out.centreSD = math.Sqrt(max(0, cov.At(0, 0)))
	}
	return out, nil
}

// profile along the lead: how much darker its core is than what lies beside it,
// as a share of how much darker it could be, in stored values of the usual share.
// Metal in front of dense bone has little left to darken; by its share it stands
// out as it does elsewhere, whether stored values are intensities, their
// logarithms, or a monitor's curve with a foot.
func (row *leadRow) profile() []float64 {
	s := row.strip
	core := max(1, int(0.35*row.width/s.step))
	beside := int(math.Ceil((row.width/2 + 2*row.blur) / s.step))
	dark, ground := make([]float64, s.rows), make([]float64, s.rows)
	for i := range dark {
		v := s.row(i)
		for c := s.half - core; c <= s.half+core; c++ {
			dark[i] += v[c] / float64(2*core+1)
		}
		n := 2 * float64(s.half-beside+1)
		for c := beside; c <= s.half; c++ {
			ground[i] += (v[s.half-c] + v[s.half+c]) / n
		}
	}
	// The strip has dark positive: the darkest the core gets is its highest.
	sorted := slices.Clone(dark)
	slices.Sort(sorted)
	foot := sorted[len(sorted)*97/100]
	room := make([]float64, s.rows)
	for i := range room {
		room[i] = foot - ground[i]
	}
	slices.Sort(room)
	usual := room[len(room)/2]
	out := make([]float64, s.rows)
	for i := range out {
		left := max(1.1*usual, 1e-9)
		if usual > 0 {
			left = max(foot-ground[i]+0.1*usual, 0.3*usual)
		}
		out[i] = (dark[i] - ground[i]) / left * max(1.1*usual, 1e-9)
	}
	return out
}
