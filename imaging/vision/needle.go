package vision

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// What a shaft must show to be suggested.
const (
	leastSeed     = 4.0  // how far the line at the click stands out
	leastLength   = 25.0 // pixels of shaft
	leastContrast = 1.0  // contrast to noise of one pixel
	leastDrop     = 6.0  // contrast to noise of the shaft's last part as a whole
	mostBeyond    = 0.5  // of the shaft's depth, left beyond its end
	mostTipSD     = 2.5  // pixels
	mostExcess    = 4.0  // of the misfit about the tip over the noise, where it is also
	mostMisfit    = 0.12 // of the shadow's depth: less than that pictures' processing does
	// sureAtMost is the highest confidence ever given.
	sureAtMost = 0.99
)

// Confidence below which a suggestion is refused.
const leastConfidence = 0.5

// leastBow is how far from straight, in pixels, a shaft counts as bent.
const leastBow = 0.5

// endReach is how far beyond the track an end is looked for, pixels.
const endReach = 44.0

// How far from its ends a shaft is fitted: in widths while the tip's shape is not
// known, in widths at the far end, and in blurs beside the ground part.
const (
	clearOfPoint = 3.0
	clearOfFar   = 1.5
	clearInBlurs = 2.5
)

// found is a needle on a picture.
type found struct {
	line    line // from the far end to the tip
	shaft   shaft
	far     float64 // arc length of the far end
	tip     tip
	inField bool // the far end lies in the field too
	cnr     float64
	sure    float64
	bent    bool
	notes   []string
}

// refusal says in words why nothing is suggested.
type refusal string

// answerNeedle finds the needle at the first click, its tip at the end nearer to
// the last one, or in the box. Options: tip: blunt, bevel, cone or empty.
func answerNeedle(q assist.Request, p []Picture) (assist.Answer, []uint16, error) {
	if len(q.Near) == 0 && q.Box == nil {
		return assist.Answer{}, nil, fmt.Errorf("a needle is looked for near a point or in a box, and neither was given")
	}
	kinds := []pointKind{blunt, bevel, cone}
	switch k := pointKind(q.Options["tip"]); k {
	case "":
	case blunt, bevel, cone:
		kinds = []pointKind{k}
	default:
		return assist.Answer{}, nil, fmt.Errorf("there is no tip %q: blunt, bevel or cone", k)
	}
	n, why, err := p[0].needle(q.Near, q.Box, kinds)
	if err != nil {
		return assist.Answer{}, nil, err
	}
	if why != "" {
		return assist.Answer{Refused: string(why)}, nil, nil
	}
	return assist.Answer{Suggestions: []assist.Suggestion{n.suggestion()}}, nil, nil
}

// needle near the clicks or in the box.
func (p Picture) needle(near []assist.Point, box *assist.Box, kinds []pointKind) (found, refusal, error) {
	s, err := p.seedNear(near, box)
	if err != nil {
		return found{}, "", err
	}
	if s.z < leastSeed {
		return found{}, "no shaft stands out from what lies about it near the point: contrast is too low", nil
	}
	r, err := p.ridges(s.sigma, s.at, 0)
	if err != nil {
		return found{}, "", err
	}
	l := r.track(s)
	if l.length() < leastLength {
		return found{}, refusal(fmt.Sprintf("only %.0f pixels of a shaft could be followed: too short", l.length())), nil
	}
	f, l, why := p.shaftAlong(l, s.sigma)
	if why != "" {
		return found{}, why, nil
	}
	return p.ends(f, l, s, near, box, kinds)
}

// seedNear the first click, or the clearest in the box.
func (p Picture) seedNear(near []assist.Point, box *assist.Box) (seed, error) {
	if len(near) > 0 {
		return p.seedAt(near[0].Vec())
	}
	best := seed{}
	for _, fy := range []float64{0.2, 0.5, 0.8} {
		for _, fx := range []float64{0.2, 0.5, 0.8} {
			at := r2.Vec{X: box.From.X + fx*(box.To.X-box.From.X), Y: box.From.Y + fy*(box.To.Y-box.From.Y)}
			s, err := p.seedAt(at)
			if err != nil {
				return best, err
			}
			if s.z > best.z && box.Holds(assist.Point(s.at)) {
				best = s
			}
		}
	}
	return best, nil
}

// shaftAlong fits the shaft to a track, straight where that holds, and gives the
// line its band lies about.
func (p Picture) shaftAlong(track line, sigma float64) (shaft, line, refusal) {
	reach := math.Min(18, 3*sigma+6)
	// A track may leave a straight shaft at its end, or where another crosses.
	most := track.mostlyStraight()
	l := most.straightened()
	pieces := 1
	if len(most.p)*5 < len(track.p)*3 { // a slighter bend shows in the fit
		l = track.smoothed()
		pieces = max(3, int(l.length()/40))
	}
	start := shaft{width: math.Max(1.5, 1.6*sigma), blur: usualBlur, depths: []float64{0, l.length()}}
	from, to := 3.0, l.length()-3
	samples := p.band(l, from, to, reach)
	if len(samples) < 300 {
		return shaft{}, l, "too little of the shaft lies on the picture"
	}
	d := depthAcross(samples, sigma)
	if d <= 0 {
		return shaft{}, l, "what lies at the point is not darker than what lies about it"
	}
	start.depth = []float64{d, d}
	f, err := fitShaft(samples, from, to, reach, start, pieces, 2, false)
	if err != nil {
		return f, l, "no shaft of even width fits what lies at the point"
	}
	if len(f.knots) > 2 {
		l = l.moved(&f)
		from, to = 3, l.length()-3
		f.offset = nil
		samples = p.band(l, from, to, reach)
		g := f
		g.depths, g.depth = []float64{from, to}, []float64{f.depth[0], f.depth[len(f.depth)-1]}
		if f, err = fitShaft(samples, from, to, reach, g, max(3, int(l.length()/40)), 2, false); err != nil {
			return f, l, "no shaft of even width fits what lies at the point"
		}
	}
	return f, l, ""
}

// bow is how far the knots lie off their own straight line, pixels at most, and
// 0 where that is within what noise does.
func (f *shaft) bow() float64 {
	n := len(f.knots)
	a, b := f.offset[0], f.offset[n-1]
	most := 0.0
	for i := 1; i < n-1; i++ {
		w := (f.knots[i] - f.knots[0]) / (f.knots[n-1] - f.knots[0])
		d := math.Abs(f.offset[i] - a*(1-w) - b*w)
		if f.cov != nil && d > 4*math.Sqrt(f.cov.At(i, i)) && d > most {
			most = d
		}
	}
	return most
}

// depthAcross is how much darker the middle of the band is than its edges.
func depthAcross(samples []sample, sigma float64) float64 {
	var in, out []float64
	for _, k := range samples {
		switch t := math.Abs(k.t); {
		case t < 1:
			in = append(in, k.v)
		case t > 2.2*sigma+2:
			out = append(out, k.v)
		}
	}
	return median(out) - median(in)
}

// mostlyStraight is the largest set of the line's points that lie within a pixel
// or so of one straight line through two of them.
func (l line) mostlyStraight() line {
	const within = 1.2
	var best []r2.Vec
	n := len(l.p)
	for i := range n {
		for j := i + max(1, n/3); j < n; j++ {
			side := across(r2.Unit(r2.Sub(l.p[j], l.p[i])))
			var in []r2.Vec
			for _, q := range l.p {
				if math.Abs(r2.Dot(r2.Sub(q, l.p[i]), side)) < within {
					in = append(in, q)
				}
			}
			if len(in) > len(best) {
				best = in
			}
		}
	}
	if len(best) < 2 {
		return l
	}
	return newLine(best)
}

// straightened is the total least-squares line of the points, from end to end.
func (l line) straightened() line {
	var mean r2.Vec
	for _, q := range l.p {
		mean = r2.Add(mean, r2.Scale(1/float64(len(l.p)), q))
	}
	var xx, xy, yy float64
	for _, q := range l.p {
		d := r2.Sub(q, mean)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	a := math.Atan2(2*xy, xx-yy) / 2
	dir := r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
	last := len(l.p) - 1
	if r2.Dot(r2.Sub(l.p[last], l.p[0]), dir) < 0 {
		dir = r2.Scale(-1, dir)
	}
	f0, f1 := r2.Dot(r2.Sub(l.p[0], mean), dir), r2.Dot(r2.Sub(l.p[last], mean), dir)
	return newLine([]r2.Vec{r2.Add(mean, r2.Scale(f0, dir)), r2.Add(mean, r2.Scale(f1, dir))})
}

// smoothed takes the track's jitter out: each point becomes the middle of a
// parabola through its seven neighbours.
func (l line) smoothed() line {
	n := len(l.p)
	out := make([]r2.Vec, n)
	for i := range l.p {
		// Savitzky and Golay, Anal Chem 1964;36:1627-1639: seven points, quadratic.
		if i < 3 || i > n-4 {
			out[i] = l.p[i]
			continue
		}
		for k, w := range []float64{-2, 3, 6, 7, 6, 3, -2} {
			out[i] = r2.Add(out[i], r2.Scale(w/21, l.p[i-3+k]))
		}
	}
	return newLine(out)
}

// moved is the line shifted onto the fitted axis, sampled finely, without the
// corners of its pieces.
func (l line) moved(f *shaft) line {
	var p []r2.Vec
	last := l.length()
	for s := 0.0; s <= last; s += 4 {
		// The mean over a piece takes the corner off.
		h := (f.knots[1] - f.knots[0]) / 3
		o := 0.0
		for _, d := range []float64{-h, 0, h} {
			v, _ := f.offsetAt(s + d)
			o += v / 3
		}
		at, along := l.at(s)
		p = append(p, r2.Add(at, r2.Scale(o, across(along))))
	}
	return newLine(p)
}

// outside reports whether the picture holds nothing at q: beyond its border, or
// on the even black beside the field.
func (p Picture) outside(q r2.Vec) bool {
	x, y := int(math.Floor(q.X)), int(math.Floor(q.Y))
	const around = 2
	if x < around || y < around || x >= p.Columns-around || y >= p.Rows-around {
		return true
	}
	low, high := math.Inf(1), math.Inf(-1)
	for j := y - around; j <= y+around; j++ {
		for i := x - around; i <= x+around; i++ {
			low, high = math.Min(low, p.At(i, j)), math.Max(high, p.At(i, j))
		}
	}
	return high-low == 0
}

// fieldMargin is how near to the edge of the field, in pixels, an end is taken for
// the field's, not the shaft's.
const fieldMargin = 22.0

// beyondField reports whether the field ends within fieldMargin beyond arc length
// s of the line, on the side where s grows.
func (p Picture) beyondField(l line, s float64) bool {
	for d := -4.0; d <= fieldMargin; d += 2 {
		q, _ := l.at(s + d)
		if p.outside(q) {
			return true
		}
	}
	return false
}

// ends finds both ends of the shaft, tells the tip from the other, and fits it.
func (p Picture) ends(f shaft, l line, s seed, near []assist.Point, box *assist.Box, kinds []pointKind) (found, refusal, error) {
	reach := f.reach
	seen := func(l line, f *shaft, start float64) (coarse, bool) {
		long := l.extended(endReach)
		samples := p.band(long, -endReach, l.length()+endReach, reach)
		rows := f.rows(samples, -endReach, l.length()+endReach, f.noise.sd, 1)
		// Rows off the field hold nothing.
		for i := range rows {
			if q, _ := long.at(rows[i].s); p.outside(q) {
				rows[i].variance = math.Inf(1)
			}
		}
		// From the click on, so that a break on the way does not count as the end.
		e := endOf(rows, start)
		return e, p.beyondField(long, e.s)
	}
	back, turned := l.reversed(), f.reversed(l.length())
	clicked := l.nearest(s.at)
	fore, foreOut := seen(l, &f, clicked)
	aft, aftOut := seen(back, &turned, l.length()-clicked)
	if math.IsNaN(fore.s) || math.IsNaN(aft.s) {
		return found{}, "the shaft cannot be followed to an end", nil
	}
	if foreOut && aftOut {
		return found{}, "no end of the shaft lies in the field: the tip is outside", nil
	}
	n := found{line: l, shaft: f, inField: !foreOut && !aftOut}
	far, end := l.length()-aft.s, fore
	flip := foreOut
	if n.inField {
		a, _ := l.at(fore.s)
		b, _ := l.at(far)
		aim := s.at
		if len(near) > 0 {
			aim = near[len(near)-1].Vec()
		}
		flip = r2.Norm(r2.Sub(b, aim)) < r2.Norm(r2.Sub(a, aim))
		if box != nil {
			inA, inB := box.Holds(assist.Point(a)), box.Holds(assist.Point(b))
			if inA != inB {
				flip = inB
			}
		}
		n.notes = append(n.notes, "Both ends of the shaft lie in the field: the one nearer the click is taken as the tip.")
	}
	if flip {
		n.line, n.shaft = back, turned
		far, end = back.length()-fore.s, aft
	}
	n.far = far
	if box != nil {
		if at, _ := n.line.at(end.s); !box.Holds(assist.Point(at)) {
			return found{}, "the shaft does not end in the box", nil
		}
	}
	return p.settleTip(n, end, kinds)
}

// reversed is the shaft on the line run the other way, of this length.
func (f shaft) reversed(length float64) shaft {
	out := f
	out.from, out.to = length-f.to, length-f.from
	flip := func(knots, v []float64, sign float64) ([]float64, []float64) {
		n := len(knots)
		k, w := make([]float64, n), make([]float64, n)
		for i := range n {
			k[i], w[i] = length-knots[n-1-i], sign*v[n-1-i]
		}
		return k, w
	}
	out.knots, out.offset = flip(f.knots, f.offset, -1)
	out.depths, out.depth = flip(f.depths, f.depth, 1)
	out.cov = nil
	return out
}

// settleTip fits the shaft once more up to where it ends, then its tip, and says
// how sure both are.
func (p Picture) settleTip(n found, end coarse, kinds []pointKind) (found, refusal, error) {
	f := n.shaft
	from := math.Max(n.far+clearOfFar*f.width+clearInBlurs*f.blur, -endReach)
	to := end.s - clearOfPoint*math.Max(f.width, 2*f.blur)
	if to-from < leastLength {
		return n, refusal(fmt.Sprintf("only %.0f pixels of shaft are seen: too short", end.s-n.far)), nil
	}
	long := n.line
	if from < 0 || to > n.line.length() {
		long = n.line.extended(endReach)
	}
	samples := p.band(long, from, to, f.reach)
	if len(samples) < 300 {
		return n, "too little of the shaft lies on the picture", nil
	}
	pieces := 1
	if len(f.knots) > 2 {
		pieces = max(2, int((to-from)/40))
		n.bent = true
	}
	f, err := fitShaft(samples, from, to, f.reach, f, pieces, 2, true)
	if err != nil {
		return n, "no shaft of even width fits what lies at the point", nil
	}
	if pieces == 1 && to-from > 120 {
		// A bow too slight for the track shows in the fit.
		more := max(3, int((to-from)/60))
		g, err := fitShaft(samples, from, to, f.reach, f, more, 2, true)
		if err == nil && g.bow() > leastBow {
			f, pieces, n.bent = g, more, true
		}
	}
	n.shaft, n.line = f, long
	p0, _, _, _ := newProfile(f.width, f.blur, f.reach).at(0)
	n.cnr = f.depth[len(f.depth)-1] * p0 / f.noise.sd
	switch {
	case n.cnr < leastContrast:
		return n, refusal(fmt.Sprintf("the shaft's contrast is %.1f times the noise at its end: too low", n.cnr)), nil
	case end.z < leastDrop:
		return n, "the shaft fades into the noise before it ends: contrast is too low", nil
	case end.beyond > mostBeyond:
		return n, "the shaft does not end clearly: something as dark goes on beyond it", nil
	}
	t, ok := p.fitTip(long.extended(endReach), &f, end.s, kinds)
	if !ok {
		return n, "too little of the picture lies about the tip", nil
	}
	n.tip = t
	// Now that the point is known, the shaft up to it.
	if more := t.s - t.length - clearInBlurs*f.blur - 2*math.Sqrt(t.variance); more > to+4 {
		if g, err := fitShaft(p.band(long, from, more, f.reach), from, more, f.reach, f, pieces, 2, true); err == nil && g.kept >= f.kept-0.1 {
			n.shaft = g
		}
	}
	sd := math.Sqrt(t.variance)
	switch {
	case sd > mostTipSD:
		return n, refusal(fmt.Sprintf("the tip cannot be told to better than %.0f pixels: contrast is too low", 2*sd)), nil
	case t.excess > mostExcess && t.misfit > mostMisfit:
		return n, "what lies at the tip does not look like the end of a shaft", nil
	}
	if p.beyondField(long, t.s) {
		return n, "the shaft ends at the edge of the field: the tip is outside", nil
	}
	n.sure = n.confidence(end)
	if n.sure < leastConfidence {
		return n, refusal(fmt.Sprintf("the tip may as well lie %.0f pixels away: mark it by hand", math.Abs(end.rivalAt-t.s))), nil
	}
	return n, "", nil
}

// confidence that the tip lies within four standard deviations of where it is
// put: no rival end, a drop well out of the noise, and nothing about the tip that
// the model leaves unexplained.
func (n *found) confidence(end coarse) float64 {
	sure := (1 - end.rival) * (1 - math.Exp(-end.z/4))
	if e := n.tip.excess * math.Min(1, n.tip.misfit/mostMisfit); e > 1.5 {
		sure *= math.Exp(-(e - 1.5) / 3)
	}
	if end.beyond > 0.2 {
		sure *= 1 - (end.beyond - 0.2)
	}
	if math.Abs(end.s-n.tip.s) > 6+1.5*n.shaft.width {
		sure *= 0.7
	}
	if n.wide() {
		sure = math.Min(sure, sureWhereWide)
	}
	return math.Min(sureAtMost, sure)
}

// wideShaft is the width in pixels from which on a long ground point is often
// placed too short: by simulation up to two in five tips of shafts of 9 px.
const wideShaft, sureWhereWide = 7.5, 0.55

// wide reports whether the tip is a ground point of a wide shaft.
func (n *found) wide() bool { return n.shaft.width > wideShaft && n.tip.kind != blunt }

// axisAt is the point of the fitted axis at arc length s, the direction there and
// the variance across.
func (n *found) axisAt(s float64) (at, along r2.Vec, variance float64) {
	p, along := n.line.at(s)
	o, v := n.shaft.offsetAt(s)
	k := n.shaft.knots
	i, _ := hat(k, s)
	slope := (n.shaft.offset[i+1] - n.shaft.offset[i]) / (k[i+1] - k[i])
	side := across(along)
	return r2.Add(p, r2.Scale(o, side)), r2.Unit(r2.Add(along, r2.Scale(slope, side))), v
}

// What the model leaves in doubt on a real picture, as parts of the shaft's width
// and standard deviations: points are ground in more ways than three, and a
// picture's processing is none of the model's. By the practice films, whose edges
// are lifted: tips up to 1 px off along a shaft of 6 px.
const (
	pointDoubt = 0.15
	axisDoubt  = 0.03
)

// suggestion of the needle: points from the far end to the tip.
func (n *found) suggestion() assist.Suggestion {
	const straightPoints = 5
	count := straightPoints
	if n.bent {
		count = max(straightPoints, min(25, int((n.tip.s-n.far)/25)+1))
	}
	out := assist.Suggestion{Structure: "needle", Confidence: n.sure, Notes: n.notes}
	for i := range count {
		s := n.far + (n.tip.s-n.far)*float64(i)/float64(count-1)
		at, along, v := n.axisAt(s)
		out.Points = append(out.Points, assist.Point(at))
		// Along the shaft only the tip has a place; the others slide on the axis
		// without harm, as the tip does.
		a, b := n.tip.variance+sq(pointDoubt*n.shaft.width), v+sq(axisDoubt*n.shaft.width)
		out.Covariance = append(out.Covariance, [3]float64{
			a*along.X*along.X + b*along.Y*along.Y, (a - b) * along.X * along.Y, a*along.Y*along.Y + b*along.X*along.X})
		out.SD = math.Max(out.SD, math.Sqrt(math.Max(a, b)))
	}
	from, _, _ := n.axisAt(n.far)
	to, _, _ := n.axisAt(n.tip.s)
	_, along, _ := n.axisAt(n.tip.s - 20)
	across, slope := n.axisErrors()
	shape := fmt.Sprintf("%s, %.0f %%", n.tip.kind, 100*n.tip.chance)
	if n.tip.length > 0 && n.tip.kind != blunt {
		shape = fmt.Sprintf("%s over %.1f px, %.0f %%", n.tip.kind, n.tip.length, 100*n.tip.chance)
	}
	out.Figures = []assist.Figure{
		{Name: "contrast to noise", Value: n.cnr, Unit: "1"},
		{Name: "width", Value: n.shaft.width, Unit: "px"},
		{Name: "blur", Value: n.shaft.blur, Unit: "px"},
		{Name: "length seen", Value: r2.Norm(r2.Sub(to, from)), Unit: "px"},
		{Name: "direction", Value: math.Atan2(along.Y, along.X) * 180 / math.Pi, Unit: "deg"},
		{Name: "direction sd", Value: slope * 180 / math.Pi, Unit: "deg"},
		{Name: "tip along sd", Value: math.Sqrt(n.tip.variance + sq(pointDoubt*n.shaft.width)), Unit: "px"},
		{Name: "tip across sd", Value: math.Hypot(across, axisDoubt*n.shaft.width), Unit: "px"},
		{Name: "tip", Words: shape},
	}
	if n.bent {
		out.Notes = append(out.Notes, "The shaft is bent.")
	}
	if n.wide() {
		out.Notes = append(out.Notes, "The shaft is wide and ground to a point: check the tip by eye.")
	}
	if n.shaft.kept < 0.8 {
		out.Notes = append(out.Notes, fmt.Sprintf("%.0f %% of the shaft lies over something else and was left out.", 100*(1-n.shaft.kept)))
	}
	return out
}

// axisErrors are the standard deviations of the axis across at the tip, pixels,
// and of its direction, radians.
func (n *found) axisErrors() (across, slope float64) {
	f := &n.shaft
	_, v := f.offsetAt(n.tip.s)
	across = math.Sqrt(math.Max(0, v))
	if f.cov != nil {
		k := len(f.knots)
		d := f.knots[k-1] - f.knots[k-2]
		slope = math.Sqrt(math.Max(0, f.cov.At(k-1, k-1)-2*f.cov.At(k-1, k-2)+f.cov.At(k-2, k-2))) / d
	}
	return across, slope
}
