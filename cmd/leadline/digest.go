package main

import (
	"crypto/md5"
	"encoding/binary"
	"fmt"

	"leadline/imaging"
	"leadline/imaging/intake"
)

// printDigests prints for each frame of the cases the MD5 of its samples, the
// file and the frame's number. A frame that cannot be decoded does not keep
// back the others; the first such error is returned.
func (c *call) printDigests(cases []*intake.Case) (first error) {
	for _, kase := range cases {
		if err := c.printDigestsOf(kase); first == nil {
			first = err
		}
	}
	return first
}

func (c *call) printDigestsOf(kase *intake.Case) error {
	var first error
	for _, file := range kase.Files {
		name := kase.Relative(file.Header.File)
		for n := 1; n <= file.Header.Frames; n++ {
			f, err := file.Frame(n, n)
			if err != nil {
				if first == nil {
					first = err
				}
				continue
			}
			fmt.Fprintf(c.out, "%x  %s  %d\n", digest(f), oneLine(name), n)
		}
	}
	return first
}

// digest is the MD5 of the stored values, masked to the bits stored, as
// little-endian 16-bit numbers, row by row; of a colour frame red, green and
// blue of each pixel in turn.
func digest(f *imaging.Frame) []byte {
	h := md5.New()
	if f.RGB != nil {
		row := make([]byte, 6*f.Columns)
		for rest := f.RGB; len(rest) > 0; rest = rest[3*f.Columns:] {
			for i, v := range rest[:3*f.Columns] {
				row[2*i], row[2*i+1] = v, 0
			}
			h.Write(row)
		}
		return h.Sum(nil)
	}
	row := make([]byte, 2*f.Columns)
	for samples := f.Samples; len(samples) > 0; samples = samples[f.Columns:] {
		for i, s := range samples[:f.Columns] {
			binary.LittleEndian.PutUint16(row[2*i:], s)
		}
		h.Write(row)
	}
	return h.Sum(nil)
}
