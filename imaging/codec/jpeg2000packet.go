package codec

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
)

// codeBlock is what the packets say of a code-block.
type codeBlock struct {
	area     rect // in the subband
	included bool
	planes   int // bit-planes with anything in them
	width    int // Lblock
	passes   int
	segments []codeSegment
}

// codeSegment is a run of passes that one code holds.
type codeSegment struct {
	passes, most int
	data         []byte
	owned        bool // data are a copy, to which more may be added
}

// add appends data of another packet.
func (s *codeSegment) add(data []byte) {
	if s.data == nil {
		s.data = data
		return
	}
	if !s.owned {
		s.data, s.owned = slices.Clone(s.data), true
	}
	s.data = append(s.data, data...)
}

// blockGrid holds the code-blocks of a precinct in one subband.
type blockGrid struct {
	wide, high int
	blocks     []codeBlock
	inclusion  tagTree
	planes     tagTree
	most       int // bit-planes of the subband
}

// precinct is where packets belong (T.800 B.6).
type precinct struct {
	resolution int
	x, y       int // on the reference grid
	layers     int // read
	grids      []blockGrid
}

// subband is one of T.800 B.5; orientation is 0 for LL and LH, 1 for HL, 2 for
// HH, as the contexts have it.
type subband struct {
	area         rect
	orientation  int
	highX, highY bool
	planes       int       // Mb (E-2)
	step         float32   // Δb (E-3)
	scale        float32   // of twice the coefficients, for the transform
	whole        []int32   // coefficients for the reversible transform,
	real         []float32 // or for the other
}

// tileCoder decodes a tile.
type tileCoder struct {
	s         *j2kStream
	p         *j2kParameters
	area      rect
	bands     [][]subband // by resolution
	areas     []rect      // of the resolutions
	precincts []*precinct
}

func ceilShift(v, n int) int {
	if n > 40 {
		n = 40
	}
	return (v + 1<<n - 1) >> n
}

// mostPlanes of a code-block: twice a coefficient and its sign fill a word.
const mostPlanes = 30

// mostPrecincts keeps a frame from asking for more bookkeeping than samples.
const mostPrecincts = 1 << 16

// newTileCoder lays out resolutions, subbands, precincts and code-blocks
// (B.5 to B.7).
func newTileCoder(s *j2kStream, t *j2kTile, area rect, count *int) (*tileCoder, error) {
	c := &tileCoder{s: s, p: &t.j2kParameters, area: area}
	levels := c.p.coding.levels
	for r := range levels + 1 {
		n := levels - r
		res := rect{ceilShift(area.x0, n), ceilShift(area.y0, n), ceilShift(area.x1, n), ceilShift(area.y1, n)}
		c.areas = append(c.areas, res)
		bands, err := c.subbands(r)
		if err != nil {
			return nil, err
		}
		c.bands = append(c.bands, bands)
		if res.empty() {
			continue
		}
		px, py := int(c.p.coding.precincts[r][0]), int(c.p.coding.precincts[r][1])
		x0, y0, x1, y1 := res.x0>>px, res.y0>>py, ceilShift(res.x1, px), ceilShift(res.y1, py)
		if *count += (x1 - x0) * (y1 - y0); *count > mostPrecincts || (x1-x0) > mostPrecincts || (y1-y0) > mostPrecincts {
			return nil, unread2000("more than 65536 precincts")
		}
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				p := &precinct{resolution: r, x: max(area.x0, x<<px<<n), y: max(area.y0, y<<py<<n)}
				for i := range bands {
					p.grids = append(p.grids, c.grid(&bands[i], r, x, y, px, py))
				}
				c.precincts = append(c.precincts, p)
			}
		}
	}
	return c, nil
}

// subbands are those of a resolution.
func (c *tileCoder) subbands(r int) ([]subband, error) {
	levels := c.p.coding.levels
	kinds := []struct {
		x, y        int
		orientation int
		gain        int
	}{{1, 0, 1, 1}, {0, 1, 0, 1}, {1, 1, 2, 2}} // HL, LH, HH; gains by table E.1
	level := levels - r + 1
	if r == 0 {
		kinds, level = kinds[:1], levels
		kinds[0] = struct {
			x, y        int
			orientation int
			gain        int
		}{}
	}
	var list []subband
	for i, k := range kinds {
		// Equation B-15.
		at := func(v, high int) int {
			if level == 0 {
				return v
			}
			return ceilShift(v-high<<(level-1), level)
		}
		b := subband{
			area:        rect{at(c.area.x0, k.x), at(c.area.y0, k.y), at(c.area.x1, k.x), at(c.area.y1, k.y)},
			orientation: k.orientation, highX: k.x == 1, highY: k.y == 1,
		}
		q := &c.p.steps
		index := 0
		if r > 0 {
			index = 3*(r-1) + 1 + i
		}
		e, m := 0, 0
		if q.style == 1 { // E-5
			e, m = q.exponent[0], q.mantissa[0]
			if r > 0 {
				e -= r - 1
			}
		} else if index < q.bands {
			e, m = q.exponent[index], q.mantissa[index]
		} else if !b.area.empty() {
			return nil, c.s.damaged("no quantization step for subband %d", index)
		}
		b.planes = q.guard + e - 1 + c.p.shift // H-1
		if c.p.shift > 0 && b.planes > mostPlanes {
			return nil, unread2000(fmt.Sprintf("%d bit-planes of a region of interest", b.planes))
		}
		scale := c.s.precision + k.gain - e
		b.step = float32(1 + float64(m)/2048)
		for ; scale > 0; scale-- {
			b.step *= 2
		}
		for ; scale < 0; scale++ {
			b.step /= 2
		}
		list = append(list, b)
	}
	return list, nil
}

// grid lays out the code-blocks of the precinct at x, y in a subband.
func (c *tileCoder) grid(b *subband, r, x, y, px, py int) blockGrid {
	if r > 0 {
		px, py = px-1, py-1
	}
	area := rect{max(b.area.x0, x<<px), max(b.area.y0, y<<py), min(b.area.x1, (x+1)<<px), min(b.area.y1, (y+1)<<py)}
	g := blockGrid{most: b.planes}
	if area.empty() {
		return g
	}
	bx, by := min(c.p.coding.blockX, px), min(c.p.coding.blockY, py)
	x0, y0 := area.x0>>bx, area.y0>>by
	g.wide, g.high = ceilShift(area.x1, bx)-x0, ceilShift(area.y1, by)-y0
	g.blocks = make([]codeBlock, g.wide*g.high)
	for i := range g.blocks {
		cx, cy := x0+i%g.wide, y0+i/g.wide
		g.blocks[i] = codeBlock{width: 3, area: rect{max(area.x0, cx<<bx), max(area.y0, cy<<by), min(area.x1, (cx+1)<<bx), min(area.y1, (cy+1)<<by)}}
	}
	g.inclusion, g.planes = newTagTree(g.wide, g.high), newTagTree(g.wide, g.high)
	return g
}

// mostVolumes is how many there may be: orders, resolutions and layers enough
// for any encoder, and little enough work for any stream.
const mostVolumes = 64

// packets reads the packets of the tile in their order (B.12).
func (c *tileCoder) packets(data []byte) error {
	volumes := c.p.volumes
	if len(volumes) == 0 {
		volumes = []j2kVolume{{order: c.p.coding.order, to: 33, layers: c.p.coding.layers}}
	}
	r := &packetReader{c: c, src: data}
	for _, v := range volumes {
		v.layers = min(v.layers, c.p.coding.layers)
		if !r.volume(v) {
			return c.short()
		}
	}
	for _, p := range c.precincts {
		if p.layers < c.p.coding.layers {
			return c.short()
		}
	}
	return nil
}

// volume reads a run of packets: of each precinct the layers that were not
// read before.
func (r *packetReader) volume(v j2kVolume) bool {
	var list []*precinct
	for _, p := range r.c.precincts {
		if p.resolution >= v.from && p.resolution < v.to {
			list = append(list, p)
		}
	}
	byLayer := func(list []*precinct) bool {
		for l := range v.layers {
			for _, p := range list {
				if p.layers == l && !r.packet(p, l) {
					return false
				}
			}
		}
		return true
	}
	switch v.order {
	case 0: // layer, resolution, position
		return byLayer(list)
	case 1: // resolution, layer, position
		for len(list) > 0 {
			n := 1
			for n < len(list) && list[n].resolution == list[0].resolution {
				n++
			}
			if !byLayer(list[:n]) {
				return false
			}
			list = list[n:]
		}
		return true
	case 3, 4: // position, resolution, layer
		slices.SortStableFunc(list, func(a, b *precinct) int {
			return cmp.Or(a.y-b.y, a.x-b.x, a.resolution-b.resolution)
		})
	}
	for _, p := range list {
		for p.layers < v.layers {
			if !r.packet(p, p.layers) {
				return false
			}
		}
	}
	return true
}

func (c *tileCoder) short() error {
	return c.s.damaged("the packets of a tile end early, or are out of order; copy the file again")
}

// packetReader reads packets (B.9, B.10).
type packetReader struct {
	c     *tileCoder
	src   []byte
	at    int
	now   byte
	count int
	over  bool
}

func (r *packetReader) bit() int {
	if r.count == 0 {
		full := r.now == 0xff
		if r.at >= len(r.src) {
			r.over = true
			return 0
		}
		r.now, r.count = r.src[r.at], 8
		r.at++
		if full {
			r.count = 7
		}
	}
	r.count--
	return int(r.now>>r.count) & 1
}

func (r *packetReader) number(n int) int {
	v := 0
	for range n {
		v = v<<1 | r.bit()
	}
	return v
}

// marker passes a marker of n bytes if it is there.
func (r *packetReader) marker(second byte, n int) {
	if r.at+n <= len(r.src) && r.src[r.at] == 0xff && r.src[r.at+1] == second {
		r.at += n
	}
}

// contribution is what a packet adds to a segment.
type contribution struct {
	block   *codeBlock
	segment int
	length  int
}

// packet reads the packet of a precinct and a layer; false where it is broken.
func (r *packetReader) packet(p *precinct, layer int) bool {
	if r.c.p.coding.startMark {
		r.marker(j2kSOP, 6)
	}
	r.now, r.count = 0, 0
	var list []contribution
	if r.bit() == 1 {
		for i := range p.grids {
			g := &p.grids[i]
			for k := range g.blocks {
				var ok bool
				if list, ok = r.block(g, k, layer, list); !ok || r.over {
					return false
				}
			}
		}
	}
	if r.now == 0xff { // a bit is stuffed after it (B.10.1)
		r.count = 0
		r.bit()
	}
	if r.over {
		return false
	}
	if r.c.p.coding.endMark {
		r.marker(j2kEPH, 2)
	}
	for _, n := range list {
		if n.length > len(r.src)-r.at {
			return false
		}
		n.block.segments[n.segment].add(r.src[r.at : r.at+n.length])
		r.at += n.length
	}
	p.layers++
	return true
}

// block reads what the header says of a code-block (B.10.4 to B.10.7).
func (r *packetReader) block(g *blockGrid, k, layer int, list []contribution) ([]contribution, bool) {
	b := &g.blocks[k]
	x, y := k%g.wide, k/g.wide
	if !b.included {
		if !g.inclusion.below(r, x, y, layer+1) {
			return list, true
		}
		n := 1
		for !g.planes.below(r, x, y, n) {
			if n++; n > 80 || r.over {
				return nil, false
			}
		}
		b.included, b.planes = true, g.most-(n-1)
		if b.planes < 0 || b.planes > mostPlanes {
			return nil, false
		}
	} else if r.bit() == 0 {
		return list, true
	}
	passes := r.passes()
	for r.bit() == 1 {
		if b.width++; b.width > 32 {
			return nil, false
		}
	}
	if b.passes+passes > max(0, 3*b.planes-2) {
		return nil, false
	}
	style := r.c.p.coding.style
	for passes > 0 {
		last := len(b.segments) - 1
		if last < 0 || b.segments[last].passes == b.segments[last].most {
			b.segments = append(b.segments, codeSegment{most: segmentPasses(style, b.passes)})
			last++
		}
		s := &b.segments[last]
		n := min(passes, s.most-s.passes)
		length := r.number(b.width + bits.Len(uint(n)) - 1)
		if r.over || length > len(r.src) {
			return nil, false
		}
		list = append(list, contribution{b, last, length})
		s.passes += n
		b.passes += n
		passes -= n
	}
	return list, true
}

// segmentPasses is how many passes a code that begins with pass number first
// may hold (table D.9).
func segmentPasses(style byte, first int) int {
	switch {
	case style&blockTerminate != 0:
		return 1
	case style&blockBypass == 0:
		return 1 << 20
	case first < 10:
		return 10 - first
	case (first-10)%3 == 0: // two passes that are not arithmetically coded
		return 2
	}
	return 1
}

// passes reads the number of passes (table B.4).
func (r *packetReader) passes() int {
	if r.bit() == 0 {
		return 1
	}
	if r.bit() == 0 {
		return 2
	}
	if n := r.number(2); n < 3 {
		return 3 + n
	}
	if n := r.number(5); n < 31 {
		return 6 + n
	}
	return 37 + r.number(7)
}
