package codec

import (
	"encoding/binary"
	"fmt"
	"math/bits"

	"leadline/imaging"
)

// ITU-T T.87, kept by PS3.5 A.4.3. Whether a stream is lossless stands in its
// scan header, so one decoder serves both.
func init() {
	register(
		Syntax{UID: "1.2.840.10008.1.2.4.80", Name: "JPEG-LS lossless", Encapsulated: true, Decode: jpegLS},
		Syntax{UID: "1.2.840.10008.1.2.4.81", Name: "JPEG-LS near-lossless", Encapsulated: true, Decode: jpegLS},
	)
}

// Markers that T.87 adds to those of T.81, by their second byte (C.1.1).
const (
	markerSOF55 = 0xf7
	markerLSE   = 0xf8
)

// lsStream is what the segments before the scan of a JPEG-LS stream say.
type lsStream struct {
	jpegStream           // restart: in lines, which are the MCUs of one component (T.87 C.2.5)
	preset     [5]uint16 // MAXVAL, T1, T2, T3, RESET; 0: the default (C.2.4.1.1)
}

// jpegLS decodes a frame of one component of 2 to 16 bits.
func jpegLS(dst []uint16, src []byte, l Layout) error {
	if err := l.check(len(dst)); err != nil {
		return err
	}
	if len(src) < 2 || src[0] != 0xff || src[1] != markerSOI {
		return fmt.Errorf("%w: no JPEG-LS stream begins the frame", imaging.ErrDamaged)
	}
	s := &lsStream{jpegStream: jpegStream{src: src, at: 2}}
	for {
		marker, segment, err := s.segment()
		if err != nil {
			return err
		}
		switch marker {
		case markerSOF55:
			err = s.frameHeader(segment, l)
		case markerLSE:
			err = s.parameters(segment)
		case markerDRI:
			err = s.restartInterval(segment)
		case markerSOS:
			return s.scan(dst, segment, l)
		case markerEOI:
			return s.damaged("it ends before its samples")
		case 0xc0, 0xc1, 0xc2, 0xc3, 0xc5, 0xc6, 0xc7, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf:
			return s.damaged("it is a JPEG stream, and the file says JPEG-LS")
		}
		if err != nil {
			return err
		}
	}
}

// frameHeader reads T.87 C.2.2.
func (s *lsStream) frameHeader(b []byte, l Layout) error {
	if s.process != 0 {
		return s.damaged("a second frame header")
	}
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return s.damaged("a frame header of %d bytes", len(b))
	}
	rows, columns := int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	if b[5] != 1 {
		return fmt.Errorf("%w: a JPEG-LS stream of %d components; one is read", imaging.ErrUnsupported, b[5])
	}
	if columns != l.Columns || rows != l.Rows {
		return s.damaged("it is %d by %d, and the header says %d by %d", columns, rows, l.Columns, l.Rows)
	}
	s.process, s.precision, s.id = markerSOF55, int(b[0]), b[6]
	if s.precision < 2 || s.precision > 16 {
		return s.damaged("samples of %d bits", s.precision)
	}
	return nil
}

// parameters reads T.87 C.2.4.1. Tables that map samples (C.2.4.1.2) are of
// use only to a scan that asks for one.
func (s *lsStream) parameters(b []byte) error {
	if len(b) == 0 {
		return s.damaged("an empty segment of parameters")
	}
	switch b[0] {
	case 1:
		if len(b) != 11 {
			return s.damaged("coding parameters of %d bytes", len(b))
		}
		for i := range s.preset {
			s.preset[i] = binary.BigEndian.Uint16(b[1+2*i:])
		}
	case 2, 3:
	default:
		return fmt.Errorf("%w: a JPEG-LS stream with parameters of kind %d", imaging.ErrUnsupported, b[0])
	}
	return nil
}

// restartInterval reads T.87 C.2.5, where the interval has 2, 3 or 4 bytes.
func (s *lsStream) restartInterval(b []byte) error {
	if len(b) < 2 || len(b) > 4 {
		return s.damaged("its restart interval has %d bytes", len(b))
	}
	s.restart = 0
	for _, v := range b {
		s.restart = s.restart<<8 | int(v)
	}
	return nil
}

// scan reads the scan header (T.87 C.2.3) and decodes what follows.
func (s *lsStream) scan(dst []uint16, b []byte, l Layout) error {
	if s.process == 0 {
		return s.damaged("a scan before the frame header")
	}
	if len(b) != 6 || b[0] != 1 || b[1] != s.id {
		return s.damaged("a scan header that does not fit the frame's")
	}
	if b[2] != 0 || b[5] != 0 {
		return fmt.Errorf("%w: a JPEG-LS stream with a mapping table or a point transform", imaging.ErrUnsupported)
	}
	near := int(b[3])
	d, err := s.coder(near)
	if err != nil {
		return err
	}
	if err := s.lines(dst, d, l); err != nil {
		return err
	}
	if near > 0 && l.Signed {
		clipSigned(dst, s.precision, near, l)
	}
	return l.placeStream(dst, s.precision, near > 0)
}

// lines decodes the rows of a scan into dst.
func (s *lsStream) lines(dst []uint16, d *lsCoder, l Layout) error {
	w := l.Columns
	// A sample more on either side holds what A.2.1 says of the edges.
	above, row := make([]uint16, w+2), make([]uint16, w+2)
	d.bits = lsBits{src: s.src, at: s.at}
	for y := range l.Rows {
		if s.restart > 0 && y > 0 && y%s.restart == 0 {
			if !d.bits.restart(y/s.restart - 1) {
				return s.broken(y, l)
			}
			d.reset()
			clear(above)
		}
		row[0] = above[1]
		if !d.line(above, row) || d.bits.over() {
			return s.broken(y, l)
		}
		copy(dst[y*w:], row[1:w+1])
		row[w+1] = row[w]
		above, row = row, above
	}
	if !d.bits.ended() {
		return s.damaged("it goes on after its last sample")
	}
	return nil
}

func (s *lsStream) broken(y int, l Layout) error {
	return fmt.Errorf("%w: the JPEG-LS stream: row %d of %d: it ends, or holds what is no code", imaging.ErrDamaged, y+1, l.Rows)
}

// clipSigned brings samples that near-lossless coding pushed over the ends of
// the range of the stored bits back to them, where the stream's samples are
// wider and extended by their sign. Where they are not so, they stay.
func clipSigned(dst []uint16, precision, near int, l Layout) {
	if precision <= l.BitsStored || l.HighBit != l.BitsStored-1 {
		return
	}
	shift := 16 - precision
	lo, hi := -1<<(l.BitsStored-1), 1<<(l.BitsStored-1)-1
	for _, v := range dst {
		if x := int(int16(v<<shift) >> shift); x < lo-near || x > hi+near {
			return
		}
	}
	for i, v := range dst {
		dst[i] = uint16(min(max(int(int16(v<<shift)>>shift), lo), hi))
	}
}

// coder sets up what T.87 A.1 and A.2 derive from the parameters.
func (s *lsStream) coder(near int) (*lsCoder, error) {
	most := 1<<s.precision - 1
	if v := int(s.preset[0]); v > most {
		return nil, s.damaged("samples up to %d in %d bits", v, s.precision)
	} else if v > 0 {
		most = v
	}
	if near > most/2 {
		return nil, s.damaged("a tolerance of %d in samples up to %d", near, most)
	}
	t := thresholds(most, near)
	least := near + 1
	for i := range t {
		if v := int(s.preset[1+i]); v > 0 {
			t[i] = v
		}
		if t[i] < least || t[i] > most {
			return nil, s.damaged("threshold %d is %d", i+1, t[i])
		}
		least = t[i]
	}
	d := &lsCoder{near: near, most: most, step: 2*near + 1, renew: 64}
	if v := int(s.preset[4]); v > 0 {
		if v < 3 || v > max(255, most) {
			return nil, s.damaged("a reset value of %d", v)
		}
		d.renew = int32(v)
	}
	d.span = (most+2*near)/d.step + 1
	d.escape = bits.Len(uint(d.span - 1))
	width := max(2, bits.Len(uint(most)))
	d.limit = 2 * (width + max(8, width))
	d.class = make([]int8, 2*most+1)
	for i := range d.class {
		g := i - most
		v := int8(0)
		switch a := max(g, -g); { // A.3.3
		case a <= near:
		case a < t[0]:
			v = 1
		case a < t[1]:
			v = 2
		case a < t[2]:
			v = 3
		default:
			v = 4
		}
		if g < 0 {
			v = -v
		}
		d.class[i] = v
	}
	d.reset()
	return d, nil
}

// thresholds are the defaults of T.87 C.2.4.1.1.1.
func thresholds(most, near int) (t [3]int) {
	basic := [3]int{3, 7, 21}
	least := near + 1
	for i := range t {
		var v int
		if most >= 128 {
			factor := (min(most, 4095) + 128) / 256
			v = factor*(basic[i]-(2+i)) + 2 + i + (3+2*i)*near
		} else {
			v = max(2+i, basic[i]/(256/(most+1))+(3+2*i)*near)
		}
		if v > most || v < least {
			v = least
		}
		t[i], least = v, v
	}
	return t
}
