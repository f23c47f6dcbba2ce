package vision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"
)

// interval of a line between two places along it, px.
type interval struct{ from, to float64 }

// contacts finds the row of contacts on the straightened lead.
func (row *leadRow) contacts(points []r2.Vec) (Contacts, error) {
	p := row.profile()
	row.number(points, &p)
	runs := row.runs(p)
	if len(runs) < leastNumber {
		return Contacts{}, fmt.Errorf("%w: only %d contact is seen near the click; click on the lead near its tip, where its contacts are", errNotSeen, len(runs))
	}
	fit, err := row.fitRuns(p, runs)
	if err != nil {
		return Contacts{}, err
	}
	return row.assemble(fit, points)
}

// number turns the row so that it begins at the tip: the end of the contacts
// that lies nearer the first point, or where the points run to.
func (row *leadRow) number(points []r2.Vec, p *[]float64) {
	turn := false
	if len(points) > 1 {
		turn = row.nearest(points[len(points)-1]) < row.nearest(points[0])
	} else if runs := row.runs(*p); len(runs) > 0 {
		at := float64(row.nearest(points[0])) * row.line.spacing
		first, last := runs[0], runs[len(runs)-1]
		turn = math.Abs(at-last.to) < math.Abs(at-first.from)
	}
	if turn {
		row.seed = row.line.length() - row.seed
		row.line = row.line.reversed()
		row.straighten()
		*p = row.profile()
	}
}

// runs are the stretches of the profile that stand out like the contact it was
// found by, in a row without a wide gap.
func (row *leadRow) runs(p []float64) []interval {
	h := row.line.spacing
	n := len(p)
	smooth := make([]float64, n)
	for i := range p {
		a, b := max(0, i-1), min(n-1, i+1)
		smooth[i] = (p[a] + 2*p[i] + p[b]) / 4
	}
	near := max(0, min(n-1, int(math.Round(row.seed/h))))
	row.contrast = floats.Max(smooth[max(0, near-5):min(n, near+6)])
	if row.contrast <= 0 {
		return nil
	}
	// Halfway between contact and gap, which lie at one level along the row.
	limit := row.contrast / 2
	var all []interval
	for i := 0; i < n; {
		if smooth[i] < limit {
			i++
			continue
		}
		j := i
		for j+1 < n && smooth[j+1] >= limit {
			j++
		}
		// Where the profile crosses the limit, by a line between two places.
		from, to := float64(i), float64(j)
		if i > 0 {
			from -= (smooth[i] - limit) / (smooth[i] - smooth[i-1])
		}
		if j+1 < n {
			to += (smooth[j] - limit) / (smooth[j] - smooth[j+1])
		}
		if to-from > 0.35*row.width/h {
			all = append(all, interval{from * h, to * h})
		}
		i = j + 1
	}
	// The run the seed lies in, else the nearest.
	k, best := -1, math.Inf(1)
	for i, r := range all {
		if d := max(r.from-row.seed, row.seed-r.to, 0); d < best {
			k, best = i, d
		}
	}
	if k < 0 || all[k].to-all[k].from > mostLength*row.width {
		return nil
	}
	low, high := row.straight(near)
	fits := func(r interval) bool {
		if mid := (r.from + r.to) / 2; r.to-r.from > mostLength*row.width || mid <= low || mid >= high {
			return false
		}
		a, b := int(r.from/h)+1, int(r.to/h)
		if b <= a || floats.Sum(p[a:b])/float64(b-a) < contrastHeld*row.contrast {
			return false
		}
		s, err := fitStripe(row.mean(a, b), row.strip.step, row.width)
		return err != nil || s.width > 0.5*row.width && s.width < 2*row.width
	}
	// The row grows over the narrower of the gaps at its ends: once one gap is
	// known, a much wider one ends it.
	a, b, most := k, k, 7*row.width
	for {
		front, back := math.Inf(1), math.Inf(1)
		if a > 0 && fits(all[a-1]) {
			front = all[a].from - all[a-1].to
		}
		if b+1 < len(all) && fits(all[b+1]) {
			back = all[b+1].from - all[b].to
		}
		gap := min(front, back)
		if gap > most {
			break
		}
		if a == b {
			most = 1.6*gap + 3
		}
		if front <= back {
			a--
		} else {
			b++
		}
	}
	return all[a : b+1]
}

// straight gives the part of the line about place near that does not bend more
// sharply than a lead does.
func (row *leadRow) straight(near int) (low, high float64) {
	h := row.line.spacing
	n, k := len(row.line.points), max(1, int(8/h))
	sharp := func(i int) bool {
		if i < k || i >= n-k {
			return false
		}
		a, b := r2.Sub(row.line.points[i], row.line.points[i-k]), r2.Sub(row.line.points[i+k], row.line.points[i])
		return math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b))) > float64(k)*h/leastBend
	}
	i, j := near, near
	for i > 0 && !sharp(i) {
		i--
	}
	for j < n-1 && !sharp(j) {
		j++
	}
	return float64(i) * h, float64(j) * h
}

// rowFit is the fitted row: ends and heights, with their uncertainty.
type rowFit struct {
	contacts []interval
	heights  []float64
	centreSD []float64
	endSD    []float64
	blur     float64
	noise    float64 // of the profile between the contacts
	before   float64 // level before the first contact
	after    float64 // and after the last
}

// boxFit is one contact fitted on its piece of the profile: a box blurred by a
// Gaussian on a sloping ground.
type boxFit struct {
	fitted
	place          []float64 // along the line, px
	weight         []float64
	inside         []bool
	sdIn, sdOut    float64
	low, high, mid float64 // ends and middle of the piece
}

// from, to and height of the box.
func (b boxFit) box() (from, to, height float64) { return b.param[0], b.param[1], b.param[2] }

// ground at a place.
func (b boxFit) ground(x float64) float64 { return b.param[3] + b.param[4]*(x-b.mid) }

// fitBox fits the run on the profile between low and high. A blur of 0 is fitted
// too.
func (row *leadRow) fitBox(p []float64, run interval, low, high, blur float64) (boxFit, bool) {
	h := row.line.spacing
	i0, i1 := max(0, int(math.Ceil(low/h))), min(len(p)-1, int(high/h))
	if i1-i0 < 8 {
		return boxFit{}, false
	}
	data := p[i0 : i1+1]
	n := len(data)
	out := boxFit{low: low, high: high, mid: (run.from + run.to) / 2, weight: make([]float64, n), inside: make([]bool, n)}
	for i := range data {
		out.place = append(out.place, float64(i0+i)*h)
		out.weight[i] = 1
	}
	a, b := int(run.from/h)+1, max(int(run.from/h)+2, int(run.to/h))
	height := floats.Sum(p[a:min(b, len(p))]) / float64(b-a)
	start := []float64{run.from, run.to, height, 0, 0}
	step := []float64{0.05, 0.05, 1e-3 * row.contrast, 1e-3 * row.contrast, 1e-4 * row.contrast}
	if blur == 0 {
		start, step = append(start, row.blur), append(step, 0.05)
	}
	m := func(q, v []float64) {
		s := blur
		if s == 0 {
			s = q[5]
		}
		s = max(leastBlur, math.Abs(s))
		for i, x := range out.place {
			v[i] = q[3] + q[4]*(x-out.mid) + q[2]*(normalCDF((x-q[0])/s)-normalCDF((x-q[1])/s))
		}
	}
	// Bone that crosses the lead leaves places that fit badly: they count less,
	// by Cauchy's weights at 2.4 standard deviations (Huber and Ronchetti, Robust
	// Statistics, 2nd ed., ch. 4).
	for range 4 {
		var ok bool
		if out.fitted, ok = leastSquares(m, data, out.weight, start, step); !ok {
			return out, false
		}
		start = out.param
		for i, x := range out.place {
			out.inside[i] = x > start[0] && x < start[1]
		}
		// Noise is larger behind metal: one level within the contact, one outside.
		out.sdIn, out.sdOut = spread(out.residual, out.inside, true), spread(out.residual, out.inside, false)
		for i, r := range out.residual {
			sd := out.sdOut
			if out.inside[i] {
				sd = out.sdIn
			}
			z := r / (2.4 * max(sd, 0.05*height))
			out.weight[i] = 1 / (1 + z*z)
		}
	}
	from, to, height := out.box()
	return out, height > 0 && to-from > 0.3*row.width && from > low && to < high
}

// leastBlur keeps a fitted blur from vanishing, px.
const leastBlur = 0.3

// fitRuns fits each run on the piece of the profile that reaches into the gaps
// beside it; the blur is the median of what the contacts give.
func (row *leadRow) fitRuns(p []float64, runs []interval) (rowFit, error) {
	h := row.line.spacing
	const margin = 12.0 // px of ground beside a contact, at most
	none := fmt.Errorf("%w: the contacts' edges cannot be told apart along the lead", errNotSeen)
	piece := func(k int) (low, high float64) {
		low, high = max(0, runs[k].from-margin), min(float64(len(p)-1)*h, runs[k].to+margin)
		const apart = 1.0 // px kept from the next contact's edge, besides its blur
		if k > 0 {
			low = max(low, runs[k-1].to+row.blur+apart)
		}
		if k+1 < len(runs) {
			high = min(high, runs[k+1].from-row.blur-apart)
		}
		return low, high
	}
	var blurs []float64
	for k, r := range runs {
		low, high := piece(k)
		if b, ok := row.fitBox(p, r, low, high, 0); ok {
			blurs = append(blurs, max(leastBlur, math.Abs(b.param[5])))
		}
	}
	if len(blurs) == 0 {
		return rowFit{}, none
	}
	slices.Sort(blurs)
	res := rowFit{blur: blurs[len(blurs)/2]}
	boxes := make([]boxFit, len(runs))
	fine := make([]bool, len(runs))
	for k, r := range runs {
		low, high := piece(k)
		boxes[k], fine[k] = row.fitBox(p, r, low, high, res.blur)
	}
	// At an end of the row something else may have been taken for a contact.
	for len(fine) > 0 && !fine[0] {
		boxes, fine = boxes[1:], fine[1:]
	}
	for len(fine) > 0 && !fine[len(fine)-1] {
		boxes, fine = boxes[:len(fine)-1], fine[:len(fine)-1]
	}
	if len(boxes) < leastNumber || slices.Contains(fine, false) {
		return rowFit{}, none
	}
	var in, out []float64
	for _, b := range boxes {
		in, out = append(in, b.sdIn), append(out, b.sdOut)
	}
	slices.Sort(in)
	slices.Sort(out)
	res.noise = out[len(out)/2]
	first, last := boxes[0], boxes[len(boxes)-1]
	res.before, res.after = first.ground(first.low), last.ground(last.high)
	for _, b := range boxes {
		from, to, height := b.box()
		// What does not fit in one place makes that place uncertain.
		n := len(b.residual)
		sd := make([]float64, n)
		spent := math.Sqrt(float64(n) / float64(n-len(b.param)))
		for i := range sd {
			local, count := 0.0, 0.0
			for j := max(0, i-4); j <= min(n-1, i+4); j++ {
				local += b.residual[j] * b.residual[j]
				count++
			}
			all := max(b.sdOut, res.noise)
			if b.inside[i] || math.Min(math.Abs(b.place[i]-from), math.Abs(b.place[i]-to)) < 2*res.blur {
				all = max(b.sdIn, in[len(in)/2])
			}
			sd[i] = math.Sqrt(max(all*all, local/count)) * spent
		}
		cov, ok := b.covariance(b.weight, sd, positive(autocorrelation(b.residual, sd, 3)))
		if !ok {
			return rowFit{}, none
		}
		res.contacts = append(res.contacts, interval{from, to})
		res.heights = append(res.heights, height)
		res.centreSD = append(res.centreSD, math.Sqrt(max(0, cov.At(0, 0)+cov.At(1, 1)+2*cov.At(0, 1)))/2)
		res.endSD = append(res.endSD, math.Sqrt(max(0, cov.At(0, 0)+cov.At(1, 1))/2))
	}
	return res, nil
}

// spread is the standard deviation of the residuals where inside is as wanted, by
// their median size, which a few large ones do not move.
func spread(residual []float64, inside []bool, wanted bool) float64 {
	var v []float64
	for i, r := range residual {
		if inside[i] == wanted {
			v = append(v, math.Abs(r))
		}
	}
	if len(v) == 0 {
		return 1e-9
	}
	slices.Sort(v)
	return max(1e-9, 1.4826*v[len(v)/2])
}

// modelError is a standard deviation in pixels, along and across, of what a row
// of blurred boxes does not hold: bend, tone curve, noise that differs over a
// contact. By simulated films of several doses and blurs; no theory.
const modelError = 0.055

// assemble places the fitted contacts on the frame.
func (row *leadRow) assemble(fit rowFit, points []r2.Vec) (Contacts, error) {
	h := row.line.spacing
	out := Contacts{Width: row.width, Blur: fit.blur}
	var offset []float64
	for c, s := range fit.contacts {
		a, b := int(math.Ceil((s.from+fit.blur)/h)), int((s.to-fit.blur)/h)
		if b < a {
			a = int(math.Round((s.from + s.to) / 2 / h))
			b = a
		}
		stripe, err := fitStripe(row.mean(a, b), row.strip.step, row.width)
		if err != nil || math.Abs(stripe.centre) > row.width/2 {
			// The middle of the lead, smoothed over its neighbours, stands in.
			stripe.centre, stripe.centreSD = 0, row.width/8
		}
		d := row.line.direction((s.from + s.to) / 2)
		side := rightOf(d)
		place := func(at float64) r2.Vec { return r2.Add(row.line.at(at), r2.Scale(stripe.centre, side)) }
		out.Contacts = append(out.Contacts, Contact{
			Centre:   place((s.from + s.to) / 2),
			Scatter:  turned(math.Hypot(fit.centreSD[c], modelError), math.Hypot(stripe.centreSD, modelError), d),
			From:     place(s.from),
			To:       place(s.to),
			EndSD:    math.Hypot(fit.endSD[c], fit.blur/math.Sqrt(3)),
			Length:   s.to - s.from,
			Contrast: fit.heights[c],
		})
		offset = append(offset, stripe.centre)
		if c > 0 {
			before := fit.contacts[c-1]
			along, over := (s.from+s.to-before.from-before.to)/2, offset[c]-offset[c-1]
			out.Spacing = append(out.Spacing, math.Hypot(along, over))
		}
	}
	for s := fit.contacts[0].from; s <= fit.contacts[len(fit.contacts)-1].to; s++ {
		out.Lead = append(out.Lead, row.line.at(s))
	}
	out.Confidence, out.Notes = row.trust(fit, points)
	if out.Confidence < leastTrust {
		return Contacts{}, fmt.Errorf("%w: what is seen near the click is not enough like a row of contacts (%s)", errNotSeen, out.Notes[0])
	}
	return out, nil
}

// leastTrust is the confidence below which nothing is suggested.
const leastTrust = 0.3

// trust is how much the row looks like a lead's: contrast over noise, contacts
// of one contrast, gaps and lengths in some order. A rule, no probability
// measured.
func (row *leadRow) trust(fit rowFit, points []r2.Vec) (float64, []string) {
	var notes []string
	trust := 0.97
	worse := func(by float64, format string, args ...any) {
		trust *= by
		notes = append(notes, fmt.Sprintf(format, args...))
	}
	weak := floats.Min(fit.heights)
	if ratio := weak / max(fit.noise, 1e-9); ratio < 5 {
		worse(max(0.1, ratio/5), "contrast only %.1f times the noise", ratio)
	}
	if spread := stat.StdDev(fit.heights, nil) / stat.Mean(fit.heights, nil); spread > 0.25 {
		worse(max(0.2, 1-2*(spread-0.25)), "contrast differs from contact to contact by %.0f %%", 100*spread)
	}
	var gaps []float64
	for c := 1; c < len(fit.contacts); c++ {
		gaps = append(gaps, fit.contacts[c].from-fit.contacts[c-1].to)
	}
	if least, most := floats.Min(gaps), floats.Max(gaps); most > 1.6*least && most-least > 2*fit.blur {
		worse(0.6, "gaps of %.0f to %.0f pixels between contacts: one may be missing", least, most)
	}
	if len(fit.contacts) == 2 {
		worse(0.6, "only two contacts")
	}
	// The shaft goes on behind the last contact, not before the first.
	if d := fit.before - fit.after; len(points) == 1 && d > 3*fit.noise/math.Sqrt(5) && d > 0.08*row.contrast {
		worse(0.7, "the shaft seems to go on at the end that was clicked: is this the tip?")
	}
	return trust, notes
}
