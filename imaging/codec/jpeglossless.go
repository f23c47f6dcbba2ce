package codec

import (
	"fmt"

	"leadline/imaging"
)

// lossless decodes a scan of process 14 (T.81 annex H) into dst.
func (s *jpegStream) lossless(dst []uint16, spec *huffmanSpec, selection, transform int, l Layout) error {
	table, err := newHuffman(spec, func(v byte) (int, int, bool) { return int(v), 0, v <= noBits16 })
	if err != nil {
		return err
	}
	if s.restart%l.Columns != 0 {
		return s.damaged("a restart interval of %d samples in rows of %d", s.restart, l.Columns) // H.1.1
	}
	rows := s.restart / l.Columns // between restarts
	if rows == 0 {
		rows = l.Rows
	}
	b := &bitReader{src: s.src, at: s.at}
	mask := uint16(1<<(s.precision-transform) - 1)
	start := uint16(1) << (s.precision - transform - 1) // H.1.2.1
	var above []uint16
	for y := range l.Rows {
		row := dst[y*l.Columns:][:l.Columns]
		if y > 0 && y%rows == 0 {
			if err := b.next(y/rows - 1); err != nil {
				return err
			}
			above = nil
		}
		if !b.differences(row, table) {
			return fmt.Errorf("%w: the JPEG stream: row %d of %d: it ends, or holds what is no code", imaging.ErrDamaged, y+1, l.Rows)
		}
		if above == nil {
			row[0] = (row[0] + start) & mask
			predict(row, nil, 1, mask)
		} else {
			row[0] = (row[0] + above[0]) & mask
			predict(row, above, selection, mask)
		}
		above = row
	}
	if transform > 0 {
		for i := range dst {
			dst[i] <<= transform
		}
	}
	return nil
}

// differences decodes a row of differences (H.2.2), as 16-bit patterns; false
// where the data end or hold no code.
func (b *bitReader) differences(row []uint16, table *huffman) bool {
	for i := range row {
		if b.left < 32 {
			b.refill()
		}
		e := table.lookup[b.word>>(64-lookupBits)]
		if e == 0 {
			if e = table.long(uint32(b.word >> 48)); e == 0 {
				return false
			}
		}
		drop := e & 31
		b.word <<= drop
		b.left -= int(drop)
		if extra := int(e >> 5 & 15); extra > 0 {
			row[i] = extend(uint32(b.word>>(64-extra)), extra)
			b.word <<= extra
			b.left -= extra
			continue
		}
		row[i] = uint16(e >> 16)
	}
	return !b.over()
}

// predict adds the prediction of table H.1 to each difference of a row but
// the first. Sums are modulo 2 to the 16 (H.1.2.1).
func predict(row, above []uint16, selection int, mask uint16) {
	left := row[0]
	if selection == 1 {
		for i := 1; i < len(row); i++ {
			left = (left + row[i]) & mask
			row[i] = left
		}
		return
	}
	above = above[:len(row)]
	corner := above[0]
	switch selection {
	case 2:
		for i := 1; i < len(row); i++ {
			row[i] = (row[i] + above[i]) & mask
		}
	case 3:
		for i := 1; i < len(row); i++ {
			row[i] = (row[i] + corner) & mask
			corner = above[i]
		}
	case 4:
		for i := 1; i < len(row); i++ {
			left = (row[i] + left + above[i] - corner) & mask
			row[i], corner = left, above[i]
		}
	case 5:
		for i := 1; i < len(row); i++ {
			left = (row[i] + left + uint16((int(above[i])-int(corner))>>1)) & mask
			row[i], corner = left, above[i]
		}
	case 6:
		for i := 1; i < len(row); i++ {
			left = (row[i] + above[i] + uint16((int(left)-int(corner))>>1)) & mask
			row[i], corner = left, above[i]
		}
	case 7:
		for i := 1; i < len(row); i++ {
			left = (row[i] + uint16((int(left)+int(above[i]))>>1)) & mask
			row[i] = left
		}
	}
}
