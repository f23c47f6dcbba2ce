package main

import (
	"crypto/md5"
	"testing"

	"leadline/imaging"
)

// By hand: samples are two bytes each, the low one first; of colour red, green
// and blue in turn.
func TestDigest(t *testing.T) {
	grey := &imaging.Frame{Columns: 2, Rows: 1, Samples: []uint16{0x0102, 0xfffe}}
	if want := md5.Sum([]byte{2, 1, 0xfe, 0xff}); string(digest(grey)) != string(want[:]) {
		t.Errorf("grey: %x", digest(grey))
	}
	colour := &imaging.Frame{Columns: 1, Rows: 2, Samples: []uint16{9, 9}, RGB: []uint8{1, 2, 3, 4, 5, 6}}
	if want := md5.Sum([]byte{1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 6, 0}); string(digest(colour)) != string(want[:]) {
		t.Errorf("colour: %x", digest(colour))
	}
}
