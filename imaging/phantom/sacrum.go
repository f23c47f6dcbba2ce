package phantom

import "math"

// sacral is the sacrum and coccyx.
func (a *anatomy) sacral(c *column, x, ax float64) float64 {
	if ax > 78 {
		return 0
	}
	d := a.sacralForm(c, x, ax)
	if d < -0.5 {
		return 0
	}
	foramen, canal, open := a.sacralHoles(c, x, ax)
	if min(foramen, canal) < -0.5 {
		return 0
	}
	g := a.grain.at(x, c.y, c.z)
	cortex := 1.3 + 0.3*g
	switch {
	case c.s > sacrumEnd:
		cortex = 0.7
	case canal < d && canal < foramen:
		cortex = 0.7
	case foramen < d:
		cortex = 1.1 + 0.9*step(c.n-c.thick+3, 3) // dorsal rims are raised and dense
	}
	return shell(min(d, foramen, canal), cortex, a.sacralSpongy(c, ax)*(1+0.9*g)) * (1 - open)
}

// sacralForm is the depth in mm under the sacrum's outer surface.
func (a *anatomy) sacralForm(c *column, x, ax float64) float64 {
	stretch := 1 + c.bend*c.n
	// Ventral surface: flat across at S3 and S4 as far as the foramina, falling
	// back beside the bodies of S1 and S2.
	front := 0.0
	if wing := ax - (12 + 12*step(c.s-38, 40)); wing > 0 {
		front = wing * (0.06 + 0.22*math.Exp(-sq(c.s/26))) * min(1, wing/12)
	}
	// No bone is as smooth as its drawing: sides and back of the wings are uneven.
	rough := 1.1 * a.grain.octave(x*0.055+3, c.y*0.055, c.z*0.055+11)
	// Dorsal surface: laminae to 27 mm, then falling off to the sides.
	back := c.thick
	if wing := ax - 27; wing > 0 {
		back += rough - wing*0.42*min(1, wing/8)
	}
	top := 11 * step(c.n-32, 7) // the laminae of S1 begin lower than its body
	if ax > 24 {
		top = max(top, (ax-24)*0.22)
	}
	if c.n > 26 && c.n < 44 && ax > 13 && ax < 25 {
		top = -7 // superior articular processes
	}
	half := min(c.mass+rough, c.joint-1.4)
	const rounding = 2.5
	d := min(c.n-front, back-c.n)
	d = both(d, (half-ax)*0.88, rounding)
	d = both(d, (c.s-top)*stretch, rounding)
	d = both(d, (coccyxEnd-c.s)*stretch, rounding)
	// The joint of sacrum and coccyx, and the coccygeal pieces.
	for _, gap := range [...]float64{sacrumEnd, 117, 124} {
		d = both(d, math.Abs(c.s-gap)*stretch-0.8, rounding)
	}
	return max(d, sacralCrests(c, x, ax, back, rough))
}

// crest is a bump of the dorsal surface of S1 to S4: where it stands along s,
// how far from the midline, and how high.
type crest struct{ s, x, high float64 }

var (
	medianCrest       = [...]crest{{21, 0, 8}, {43, 0, 6.5}, {61, 0, 5}, {78, 0, 3.5}} // spinous tubercles
	intermediateCrest = [...]crest{{25, 15, 2.4}, {45, 14, 2.4}, {60, 13, 2.4}, {71, 12, 2.4}}
	lateralCrest      = [...]crest{{28, 34, 3}, {48, 32, 3}, {63, 29, 3}, {74, 26, 3}}
)

// sacralCrests is the depth in mm under the surface of the nearest bump; back
// is where the dorsal surface lies, rough how uneven it is.
func sacralCrests(c *column, x, ax, back, rough float64) float64 {
	stretch := 1 + c.bend*c.n
	d := math.Inf(-1)
	for _, k := range medianCrest {
		e := math.Sqrt(sq((x-0.5*rough)/2.8)+sq((c.s-k.s)*stretch/7.5)+sq((c.n-c.thick)/(k.high*(1+0.25*rough)))) - 1
		d = max(d, -e*2.8)
	}
	if c.s > 18 && c.s < 84 { // the ridge between them
		d = max(d, 1.5-math.Hypot(x-0.4*rough, (c.n-c.thick)*0.6))
	}
	for _, k := range intermediateCrest {
		e := math.Sqrt(sq((ax-k.x)/3)+sq((c.s-k.s)*stretch/5)+sq((c.n-c.thick)/k.high)) - 1
		d = max(d, -e*2.4)
	}
	for _, k := range lateralCrest {
		e := math.Sqrt(sq((ax-k.x)/3.5)+sq((c.s-k.s)*stretch/6)+sq((c.n-back)/k.high)) - 1
		d = max(d, -e*3)
	}
	return d
}

// sacralHoles gives the distance in mm from the nearest foramen's wall and from
// the canal's (negative inside), and how much of the bone is missing where a root
// runs from the canal to its foramen, which has no cortex of its own.
func (a *anatomy) sacralHoles(c *column, x, ax float64) (foramen, canal, open float64) {
	middle := (c.roof + c.floor) / 2
	stretch := 1 + c.bend*c.n
	foramen, canal = math.Inf(1), math.Inf(1)
	if c.s < 102 { // closing towards the hiatus
		e := math.Sqrt(sq(ax/c.canal)+sq((c.n-middle)/c.high)) - 1
		canal = e*min(c.canal, c.high) + 0.3*max(0, c.s-86)
	}
	for _, f := range foramina {
		if math.Abs(c.s-f.dorsal.s) > 26 {
			continue
		}
		foramen = min(foramen, f.outside(x, c.s, c.n, c.thick, c.bend))
		if o := f.section(middle / c.thick); ax < o.x {
			e := math.Sqrt(sq((c.n-middle)/3.4) + sq((c.s-o.s)*stretch/4.6))
			open = max(open, 0.8*step(1-e, 0.7))
		}
	}
	return foramen, canal, open
}

// fusedDisc is how a fused disc of S1/S2 to S4/S5 shows: what is left of the
// disc, as half a height in mm, and how much denser the plates beside it are.
type fusedDisc struct{ rest, dense float64 }

var fusedDiscs = [...]fusedDisc{{1.9, 0.42}, {0.9, 0.36}, {0.4, 0.3}, {0.2, 0.22}}

// sacralSpongy is the bone fraction inside the cortex: denser in the bodies and
// the laminae than in the wings, with plates across the bodies at the fused discs.
func (a *anatomy) sacralSpongy(c *column, ax float64) float64 {
	f := 0.13
	switch {
	case c.n > c.roof:
		f = 0.3
	case ax < c.body && c.n < c.floor:
		f = 0.19
	}
	if c.n > c.floor+1 || ax > c.body+3 {
		return f
	}
	part := step(c.body+1-ax, 4)
	for i, at := range fusionAt {
		off := math.Abs(c.s-at) * (1 + c.bend*c.n)
		if off > 6 {
			continue
		}
		k := fusedDiscs[i]
		f += part * k.dense * math.Exp(-sq((off-k.rest)/0.9))
		f -= part * 0.5 * f * math.Exp(-sq(off/(k.rest+0.1))) * step(k.rest-0.5, 1)
	}
	return f
}
