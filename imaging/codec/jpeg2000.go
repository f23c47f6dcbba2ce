package codec

import (
	"encoding/binary"
	"fmt"
	"slices"

	"leadline/imaging"
)

// ITU-T T.800, kept by PS3.5 A.4.4. Which transform a stream uses stands in
// it; that a reversible one has been cut short does not, so the syntax says
// whether samples may lie outside the range of those stored.
func init() {
	register(
		Syntax{UID: "1.2.840.10008.1.2.4.90", Name: "JPEG 2000 lossless", Encapsulated: true, Decode: jpeg2000},
		Syntax{UID: "1.2.840.10008.1.2.4.91", Name: "JPEG 2000", Encapsulated: true, Decode: jpeg2000Lossy},
	)
}

// Markers by their second byte (T.800 table A.2).
const (
	j2kSOC = 0x4f
	j2kSIZ = 0x51
	j2kCOD = 0x52
	j2kCOC = 0x53
	j2kQCD = 0x5c
	j2kQCC = 0x5d
	j2kRGN = 0x5e
	j2kPOC = 0x5f
	j2kPPM = 0x60
	j2kPPT = 0x61
	j2kSOT = 0x90
	j2kSOP = 0x91
	j2kEPH = 0x92
	j2kSOD = 0x93
	j2kEOC = 0xd9
)

// rect is an area: x0 and y0 lie in it, x1 and y1 do not.
type rect struct{ x0, y0, x1, y1 int }

func (r rect) width() int  { return r.x1 - r.x0 }
func (r rect) height() int { return r.y1 - r.y0 }
func (r rect) empty() bool { return r.x1 <= r.x0 || r.y1 <= r.y0 }

// j2kCoding is what COD and COC say (T.800 A.6.1, A.6.2).
type j2kCoding struct {
	order              byte // progression
	layers, levels     int
	blockX, blockY     int // exponents of the size of a code-block
	style              byte
	reversible         bool
	startMark, endMark bool         // SOP, EPH
	precincts          [33][2]uint8 // exponents, by resolution
	own                bool         // from COC, which COD does not change
	set                bool
}

// j2kSteps is what QCD and QCC say (A.6.4, A.6.5).
type j2kSteps struct {
	style    byte
	guard    int
	bands    int
	exponent [97]int
	mantissa [97]int
	own, set bool
}

// j2kVolume is a run of packets that POC or COD puts in one order (A.6.6, B.12.2).
type j2kVolume struct {
	order    byte
	from, to int // resolutions, to not among them
	layers   int // those from here on are not among them
}

// j2kParameters are those of the image or of a tile.
type j2kParameters struct {
	coding  j2kCoding
	steps   j2kSteps
	volumes []j2kVolume // from POC
	own     bool        // volumes are the tile's
	shift   int         // of a region of interest (A.6.3)
}

// j2kTile is a tile as its tile-parts are gathered.
type j2kTile struct {
	j2kParameters
	data []byte
	next int // tile-part
}

// j2kStream is a codestream of one component.
type j2kStream struct {
	src                []byte
	at                 int
	image              rect
	tileSize           [2]int
	tileStart          [2]int
	wide               int // tiles
	precision          int
	signed             bool
	lossy              bool
	shift, least, most int32 // of samples as they come out of the transform
	main               j2kParameters
	tiles              []*j2kTile
}

// jpeg2000 decodes a frame of one component.
func jpeg2000(dst []uint16, src []byte, l Layout) error {
	return (&j2kStream{src: src}).decode(dst, l)
}

// jpeg2000Lossy is jpeg2000 for what may have lost something.
func jpeg2000Lossy(dst []uint16, src []byte, l Layout) error {
	return (&j2kStream{src: src, lossy: true}).decode(dst, l)
}

func (s *j2kStream) decode(dst []uint16, l Layout) error {
	if err := l.check(len(dst)); err != nil {
		return err
	}
	src := s.src
	if len(src) < 4 || src[0] != 0xff || src[1] != j2kSOC || src[2] != 0xff || src[3] != j2kSIZ {
		return fmt.Errorf("%w: no JPEG 2000 codestream begins the frame", imaging.ErrDamaged)
	}
	s.at = 2
	if err := s.headers(l); err != nil {
		return err
	}
	precincts := 0
	for i, t := range s.tiles {
		if t == nil {
			return s.damaged("tile %d is missing; copy the file again", i)
		}
		area := s.tileArea(i)
		c, err := newTileCoder(s, t, area, &precincts)
		if err != nil {
			return err
		}
		if err := c.packets(t.data); err != nil {
			return err
		}
		if t.coding.reversible {
			err = c.reversible(dst)
		} else {
			err = c.irreversible(dst)
		}
		if err != nil {
			return err
		}
		t.data = nil
	}
	return s.finish(dst, l)
}

func (s *j2kStream) damaged(format string, args ...any) error {
	return fmt.Errorf("%w: the JPEG 2000 stream: byte %d: %s", imaging.ErrDamaged, s.at, fmt.Sprintf(format, args...))
}

func unread2000(what string) error {
	return fmt.Errorf("%w: a JPEG 2000 stream with %s; decompress the file with a DICOM toolkit first", imaging.ErrUnsupported, what)
}

// setLevel finds the range that samples are brought into (T.800 G.1): the
// stream's bits, or of signed samples the stored ones where these are the lower
// bits of what the stream has.
func (s *j2kStream) setLevel(l Layout) {
	if !s.signed {
		s.shift, s.most = int32(1)<<(s.precision-1), int32(1)<<s.precision-1
		return
	}
	n := s.precision
	if l.HighBit == l.BitsStored-1 {
		n = min(n, l.BitsStored)
	}
	s.most = int32(1)<<(n-1) - 1
	s.least = -s.most - 1
}

// levelWhole brings samples into their range.
func (s *j2kStream) levelWhole(out []uint16, in []int32) {
	shift, least, most := s.shift, s.least, s.most
	in = in[:len(out)]
	for i, v := range in {
		out[i] = uint16(min(max(v+shift, least), most))
	}
}

// levelReal is levelWhole for samples that have yet to be rounded.
func (s *j2kStream) levelReal(out []uint16, in []float32) {
	// Above 2^23 there is no fraction left, so that adding this rounds. What is
	// far outside any range is cut off before.
	const rounding = 3 << 22
	shift, least, most := s.shift-rounding, s.least, s.most
	in = in[:len(out)]
	for i, v := range in {
		v = min(max(v, -1<<20), 1<<20) + rounding
		out[i] = uint16(min(max(int32(v)+shift, least), most))
	}
}

// finish places the samples.
func (s *j2kStream) finish(dst []uint16, l Layout) error {
	switch {
	case !s.signed:
		return l.placeStream(dst, s.precision, s.lossy || !s.main.coding.reversible)
	case l.HighBit != l.BitsStored-1:
		return l.placeStream(dst, max(s.precision, l.HighBit+1), false)
	}
	for i := range dst {
		dst[i] &= uint16(1<<l.BitsStored - 1)
	}
	return nil
}

// headers reads the main header and gathers the tile-parts (T.800 A.3 to A.6).
func (s *j2kStream) headers(l Layout) error {
	for {
		marker, b, err := s.segment()
		if err != nil {
			return err
		}
		switch marker {
		case j2kSIZ:
			err = s.size(b, l)
		case j2kSOT:
			err = s.tilePart(b)
		case j2kEOC:
			return nil
		default:
			err = s.main.segment(s, marker, b)
		}
		if err != nil {
			return err
		}
	}
}

// segment gives the next marker and what follows its length.
func (s *j2kStream) segment() (marker byte, b []byte, err error) {
	if s.at+2 > len(s.src) {
		return 0, nil, s.damaged("it ends before its end marker; copy the file again")
	}
	if s.src[s.at] != 0xff {
		return 0, nil, s.damaged("no marker where one should be")
	}
	marker = s.src[s.at+1]
	s.at += 2
	if marker == j2kEOC || marker == j2kSOD {
		return marker, nil, nil
	}
	left := s.src[s.at:]
	if len(left) < 2 {
		return 0, nil, s.damaged("it ends within a segment")
	}
	n := int(binary.BigEndian.Uint16(left))
	if n < 2 || n > len(left) {
		return 0, nil, s.damaged("a segment of %d bytes, and %d are left", n, len(left))
	}
	s.at += n
	return marker, left[2:n], nil
}

// size reads SIZ (A.5.1).
func (s *j2kStream) size(b []byte, l Layout) error {
	if s.wide != 0 {
		return s.damaged("a second size")
	}
	if len(b) < 36 || len(b) != 36+3*int(binary.BigEndian.Uint16(b[34:])) {
		return s.damaged("a size segment of %d bytes", len(b))
	}
	if n := binary.BigEndian.Uint16(b[34:]); n != 1 {
		return fmt.Errorf("%w: a JPEG 2000 stream of %d components; one is read", imaging.ErrUnsupported, n)
	}
	var v [8]int
	for i := range v {
		n := binary.BigEndian.Uint32(b[2+4*i:])
		if n > 1<<31-1 {
			return s.damaged("a size of %d", n)
		}
		v[i] = int(n)
	}
	s.image = rect{v[2], v[3], v[0], v[1]}
	if s.image.width() != l.Columns || s.image.height() != l.Rows {
		return s.damaged("it is %d by %d, and the header says %d by %d", s.image.width(), s.image.height(), l.Columns, l.Rows)
	}
	s.tileSize, s.tileStart = [2]int{v[4], v[5]}, [2]int{v[6], v[7]}
	if v[4] < 1 || v[5] < 1 || v[6] > v[2] || v[7] > v[3] || v[6]+v[4] <= v[2] || v[7]+v[5] <= v[3] {
		return s.damaged("tiles of %d by %d from %d, %d", v[4], v[5], v[6], v[7])
	}
	s.signed, s.precision = b[36]&0x80 != 0, int(b[36]&0x7f)+1
	if b[37] != 1 || b[38] != 1 {
		return unread2000("fewer samples than points")
	}
	if s.precision > 16 {
		return unread2000(fmt.Sprintf("%d bits a sample", s.precision))
	}
	s.setLevel(l)
	s.wide = ceilDiv(v[0]-v[6], v[4])
	n := s.wide * ceilDiv(v[1]-v[7], v[5])
	if n > 65535 {
		return s.damaged("%d tiles", n)
	}
	s.tiles = make([]*j2kTile, n)
	return nil
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

// tileArea is T.800 B.3.
func (s *j2kStream) tileArea(i int) rect {
	x, y := s.tileStart[0]+i%s.wide*s.tileSize[0], s.tileStart[1]+i/s.wide*s.tileSize[1]
	return rect{max(x, s.image.x0), max(y, s.image.y0), min(x+s.tileSize[0], s.image.x1), min(y+s.tileSize[1], s.image.y1)}
}

// tilePart reads a tile-part from its SOT on (A.4.2).
func (s *j2kStream) tilePart(b []byte) error {
	start := s.at - 12
	if len(b) != 8 {
		return s.damaged("the start of a tile-part of %d bytes", len(b))
	}
	index, length := int(binary.BigEndian.Uint16(b)), int(binary.BigEndian.Uint32(b[2:]))
	if index >= len(s.tiles) || !s.main.coding.set || !s.main.steps.set {
		return s.damaged("tile %d out of place", index)
	}
	t := s.tiles[index]
	if t == nil {
		t = &j2kTile{j2kParameters: s.main}
		t.coding.own, t.steps.own = false, false
		s.tiles[index] = t
	}
	if int(b[6]) != t.next {
		return s.damaged("part %d of tile %d where part %d should be", b[6], index, t.next)
	}
	t.next++
	end := start + length
	if length == 0 { // to the end marker
		end = len(s.src)
		for end > s.at && !(s.src[end-2] == 0xff && s.src[end-1] == j2kEOC) {
			end--
		}
		end -= 2
	}
	if end < s.at || end > len(s.src) {
		return s.damaged("a tile-part of %d bytes, and %d are left; copy the file again", length, len(s.src)-start)
	}
	for {
		marker, b, err := s.segment()
		if err != nil {
			return err
		}
		if marker == j2kSOD {
			break
		}
		if err := t.segment(s, marker, b); err != nil {
			return err
		}
	}
	if s.at > end {
		return s.damaged("a tile-part shorter than its header")
	}
	if t.data == nil {
		t.data = s.src[s.at:end:end]
	} else {
		t.data = append(t.data, s.src[s.at:end]...)
	}
	s.at = end
	return nil
}

// segment reads what may stand in the header of the image or of a tile.
func (p *j2kParameters) segment(s *j2kStream, marker byte, b []byte) error {
	switch marker {
	case j2kCOD:
		if len(b) < 10 {
			return s.damaged("coding parameters of %d bytes", len(b))
		}
		c := &p.coding
		c.order, c.layers = b[1], int(binary.BigEndian.Uint16(b[2:]))
		c.startMark, c.endMark = b[0]&2 != 0, b[0]&4 != 0
		if c.order > 4 || c.layers == 0 || b[4] != 0 {
			return s.damaged("order %d, %d layers, transform %d of components", c.order, c.layers, b[4])
		}
		if c.own {
			return nil
		}
		return c.read(s, b[0]&1 != 0, b[5:])
	case j2kCOC:
		if len(b) < 7 || b[0] != 0 {
			return s.damaged("coding parameters of a component out of order")
		}
		p.coding.own = true
		return p.coding.read(s, b[1]&1 != 0, b[2:])
	case j2kQCD:
		if p.steps.own {
			return nil
		}
		return p.steps.read(s, b)
	case j2kQCC:
		if len(b) < 1 || b[0] != 0 {
			return s.damaged("quantization of a component out of order")
		}
		p.steps.own = true
		return p.steps.read(s, b[1:])
	case j2kRGN:
		if len(b) != 3 || b[0] != 0 || b[1] != 0 {
			return s.damaged("a region of interest out of order")
		}
		p.shift = int(b[2])
	case j2kPOC:
		return p.change(s, b)
	case j2kPPM, j2kPPT:
		return unread2000("packed packet headers")
	case j2kSOC, j2kSIZ, j2kSOT, j2kSOP, j2kEPH, j2kSOD:
		return s.damaged("marker %02X is out of place", marker)
	}
	return nil
}

// change reads POC, which in the header of a tile takes the place of what the
// image's says.
func (p *j2kParameters) change(s *j2kStream, b []byte) error {
	if len(b) == 0 || len(b)%7 != 0 {
		return s.damaged("a change of progression of %d bytes", len(b))
	}
	if p != &s.main && !p.own {
		p.volumes, p.own = nil, true
	}
	for ; len(b) > 0; b = b[7:] {
		v := j2kVolume{order: b[6], from: int(b[0]), layers: int(binary.BigEndian.Uint16(b[2:])), to: int(b[4])}
		if v.order > 4 || v.from >= v.to || v.layers == 0 || len(p.volumes) == mostVolumes {
			return s.damaged("change %d of progression: order %d, resolutions %d to %d, %d layers", len(p.volumes)+1, v.order, v.from, v.to, v.layers)
		}
		if b[1] == 0 && b[5] != 0 { // of the first component; others are not there
			p.volumes = append(slices.Clip(p.volumes), v)
		}
	}
	return nil
}

// read reads the parameters that COD and COC share (table A.20).
func (c *j2kCoding) read(s *j2kStream, precincts bool, b []byte) error {
	c.set = true
	c.levels, c.blockX, c.blockY = int(b[0]), int(b[1]&15)+2, int(b[2]&15)+2
	c.style, c.reversible = b[3], b[4] == 1
	if c.levels > 32 || c.blockX > 10 || c.blockY > 10 || c.blockX+c.blockY > 12 || b[4] > 1 {
		return s.damaged("%d levels, code-blocks of 2^%d by 2^%d, transform %d", c.levels, c.blockX, c.blockY, b[4])
	}
	if c.style&^0x3f != 0 {
		return unread2000(fmt.Sprintf("code-block style %02X", c.style))
	}
	for r := range c.levels + 1 {
		c.precincts[r] = [2]uint8{15, 15}
		if precincts {
			if len(b) < 6+r {
				return s.damaged("precincts of %d of %d resolutions", r, c.levels+1)
			}
			c.precincts[r] = [2]uint8{b[5+r] & 15, b[5+r] >> 4}
			if r > 0 && (b[5+r]&15 == 0 || b[5+r]>>4 == 0) {
				return s.damaged("precincts of no size")
			}
		}
	}
	return nil
}

// read reads tables A.27 to A.30.
func (q *j2kSteps) read(s *j2kStream, b []byte) error {
	if len(b) < 2 {
		return s.damaged("quantization of %d bytes", len(b))
	}
	q.set, q.style, q.guard = true, b[0]&31, int(b[0]>>5)
	b = b[1:]
	switch q.style {
	case 0:
		q.bands = min(len(b), len(q.exponent))
		for i := range q.bands {
			q.exponent[i], q.mantissa[i] = int(b[i]>>3), 0
		}
	case 1, 2:
		q.bands = min(len(b)/2, len(q.exponent))
		for i := range q.bands {
			v := binary.BigEndian.Uint16(b[2*i:])
			q.exponent[i], q.mantissa[i] = int(v>>11), int(v&0x7ff)
		}
		if q.bands == 0 {
			return s.damaged("no quantization steps")
		}
	default:
		return s.damaged("quantization of style %d", q.style)
	}
	return nil
}
