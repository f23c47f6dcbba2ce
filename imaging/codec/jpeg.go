package codec

import (
	"encoding/binary"
	"fmt"

	"leadline/imaging"
)

// The processes of ITU-T T.81 that DICOM keeps (PS3.5 A.4.1). Which of them a
// stream uses stands in its frame header, so one decoder serves all; a stream
// that the transfer syntax misnames is decoded as what it is.
func init() {
	register(
		Syntax{UID: "1.2.840.10008.1.2.4.50", Name: "JPEG Baseline (8 bit)", Encapsulated: true, Decode: jpeg},
		Syntax{UID: "1.2.840.10008.1.2.4.51", Name: "JPEG Extended (8 and 12 bit)", Encapsulated: true, Decode: jpeg},
		Syntax{UID: "1.2.840.10008.1.2.4.57", Name: "JPEG Lossless", Encapsulated: true, Decode: jpeg},
		Syntax{UID: "1.2.840.10008.1.2.4.70", Name: "JPEG Lossless, first-order prediction", Encapsulated: true, Decode: jpeg},
	)
}

// Markers by their second byte (T.81 table B.1).
const (
	markerSOF0 = 0xc0 // baseline
	markerSOF1 = 0xc1 // extended sequential
	markerSOF3 = 0xc3 // lossless
	markerDHT  = 0xc4
	markerRST0 = 0xd0
	markerSOI  = 0xd8
	markerEOI  = 0xd9
	markerSOS  = 0xda
	markerDQT  = 0xdb
	markerDRI  = 0xdd
)

// jpegStream is what the segments before the scan of a stream say.
type jpegStream struct {
	src []byte
	at  int

	process   byte // the frame header's marker; 0 before it
	precision int  // bits of a sample
	id        byte // of the component
	quantizer int  // its table

	tables    [2][4]*huffmanSpec // DC or lossless, AC (T.81 B.2.4.2)
	quantized [4]*[64]int32      // in zigzag order
	restart   int                // MCUs between restart markers; 0: none
}

// jpeg decodes a frame of one component: sequential DCT of 8 or 12 bits, or
// lossless of 2 to 16, Huffman-coded (T.81 annexes F and H).
func jpeg(dst []uint16, src []byte, l Layout) error {
	if err := l.check(len(dst)); err != nil {
		return err
	}
	if len(src) < 2 || src[0] != 0xff || src[1] != markerSOI {
		return fmt.Errorf("%w: no JPEG stream begins the frame", imaging.ErrDamaged)
	}
	s := &jpegStream{src: src, at: 2}
	for {
		marker, segment, err := s.segment()
		if err != nil {
			return err
		}
		switch marker {
		case markerDHT:
			err = s.huffmanTables(segment)
		case markerDQT:
			err = s.quantizationTables(segment)
		case markerDRI:
			if len(segment) != 2 {
				return s.damaged("its restart interval has %d bytes", len(segment))
			}
			s.restart = int(binary.BigEndian.Uint16(segment))
		case markerSOS:
			return s.scan(dst, segment, l)
		case markerEOI:
			return s.damaged("it ends before its samples")
		case 0xc5, 0xc6, 0xc7, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf, 0xc2:
			return fmt.Errorf("%w: a JPEG stream by process SOF%d; sequential Huffman-coded and lossless ones are read", imaging.ErrUnsupported, marker-markerSOF0)
		case markerSOF0, markerSOF1, markerSOF3:
			err = s.frameHeader(marker, segment, l)
		}
		if err != nil {
			return err
		}
	}
}

func (s *jpegStream) damaged(format string, args ...any) error {
	return fmt.Errorf("%w: the JPEG stream: byte %d: %s", imaging.ErrDamaged, s.at, fmt.Sprintf(format, args...))
}

// segment gives the next marker and what follows its length (T.81 B.1.1.4).
func (s *jpegStream) segment() (marker byte, segment []byte, err error) {
	if s.at >= len(s.src) || s.src[s.at] != 0xff {
		return 0, nil, s.damaged("no marker where one should be")
	}
	for s.at < len(s.src) && s.src[s.at] == 0xff { // fill bytes (B.1.1.2)
		s.at++
	}
	if s.at == len(s.src) {
		return 0, nil, s.damaged("it ends within a marker")
	}
	marker = s.src[s.at]
	s.at++
	if marker == markerEOI {
		return marker, nil, nil
	}
	if marker < markerSOF0 || marker >= markerRST0 && marker <= markerSOI {
		return 0, nil, s.damaged("marker %02X is out of place", marker)
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

// frameHeader reads T.81 B.2.2.
func (s *jpegStream) frameHeader(marker byte, b []byte, l Layout) error {
	if s.process != 0 {
		return s.damaged("a second frame header")
	}
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return s.damaged("a frame header of %d bytes", len(b))
	}
	rows, columns, components := int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:])), int(b[5])
	if components != 1 {
		return fmt.Errorf("%w: a JPEG stream of %d components; one is read", imaging.ErrUnsupported, components)
	}
	// A stream that gives 0 rows says their number after the scan (B.2.5).
	if columns != l.Columns || rows != l.Rows && rows != 0 {
		return s.damaged("it is %d by %d, and the header says %d by %d", columns, rows, l.Columns, l.Rows)
	}
	s.process, s.precision, s.id, s.quantizer = marker, int(b[0]), b[6], int(b[8])
	if marker != markerSOF3 && s.precision == 16 { // gdcm writes and reads such
		return fmt.Errorf("%w: a JPEG stream of 16 bits a sample by DCT, which T.81 does not have; decompress the file with the toolkit that wrote it", imaging.ErrUnsupported)
	}
	if marker == markerSOF3 && (s.precision < 2 || s.precision > 16) ||
		marker != markerSOF3 && s.precision != 8 && s.precision != 12 {
		return s.damaged("samples of %d bits", s.precision)
	}
	return nil
}

// quantizationTables reads T.81 B.2.4.1.
func (s *jpegStream) quantizationTables(b []byte) error {
	for len(b) > 0 {
		wide, id := b[0]>>4 == 1, b[0]&15
		n := 1 + 64
		if wide {
			n += 64
		}
		if b[0]>>4 > 1 || id > 3 || len(b) < n {
			return s.damaged("a quantization table out of order")
		}
		q := new([64]int32)
		for i := range q {
			if wide {
				q[i] = int32(binary.BigEndian.Uint16(b[1+2*i:]))
			} else {
				q[i] = int32(b[1+i])
			}
		}
		s.quantized[id] = q
		b = b[n:]
	}
	return nil
}

// huffmanTables reads T.81 B.2.4.2.
func (s *jpegStream) huffmanTables(b []byte) error {
	for len(b) > 0 {
		if len(b) < 17 || b[0]>>4 > 1 || b[0]&15 > 3 {
			return s.damaged("a Huffman table out of order")
		}
		h := &huffmanSpec{}
		total := 0
		for i, n := range b[1:17] {
			h.counts[i] = int(n)
			total += int(n)
		}
		if total > 256 || len(b) < 17+total {
			return s.damaged("a Huffman table of %d codes", total)
		}
		h.values = b[17 : 17+total]
		s.tables[b[0]>>4][b[0]&15] = h
		b = b[17+total:]
	}
	return nil
}

// scan reads the scan header (T.81 B.2.3) and decodes what follows.
func (s *jpegStream) scan(dst []uint16, b []byte, l Layout) error {
	if s.process == 0 {
		return s.damaged("a scan before the frame header")
	}
	if len(b) != 6 || b[0] != 1 || b[1] != s.id {
		return s.damaged("a scan header that does not fit the frame's")
	}
	dc, ac := b[2]>>4, b[2]&15
	if dc > 3 || ac > 3 || s.tables[0][dc] == nil {
		return s.damaged("a scan without its Huffman table")
	}
	if s.process == markerSOF3 {
		selection, transform := int(b[3]), int(b[5]&15)
		if selection < 1 || selection > 7 || transform >= s.precision {
			return s.damaged("predictor %d, point transform %d", selection, transform)
		}
		if err := s.lossless(dst, s.tables[0][dc], selection, transform, l); err != nil {
			return err
		}
		return l.placeStream(dst, s.precision, false)
	}
	if s.tables[1][ac] == nil || s.quantizer > 3 || s.quantized[s.quantizer] == nil {
		return s.damaged("a scan without its tables")
	}
	// A sequential scan holds all coefficients (F.2.1.2); what encoders write of
	// their range does not always say so, and bears on nothing.
	if err := s.sequential(dst, s.tables[0][dc], s.tables[1][ac], s.quantized[s.quantizer], l); err != nil {
		return err
	}
	return l.placeStream(dst, s.precision, true)
}
