package codec

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/suyashkumar/dicom/pkg/uid"

	"leadline/imaging"
)

// Every row is a transfer syntax by the registry of PS3.6 annex A, as the
// dicom library holds it, and none of that is missing here. Those it lacks are
// newer than it; .4.110 to .4.112 stand in pydicom 3's list, the others are from
// memory.
func TestTableAgainstRegistry(t *testing.T) {
	newer := map[string]bool{}
	for _, end := range []string{
		".1.98", ".8.1", ".4.110", ".4.111", ".4.112", ".4.201", ".4.202", ".4.203", ".4.204", ".4.205",
		".4.100.1", ".4.101.1", ".4.102.1", ".4.103.1", ".4.104.1", ".4.105.1", ".4.106.1", ".7.1", ".7.2", ".7.3",
	} {
		newer["1.2.840.10008.1.2"+end] = true
	}
	for id, s := range table {
		if id != s.UID || s.Name == "" || (s.Decode == nil) == (s.Instead == "") {
			t.Errorf("row %q is %+v", id, s)
		}
		info, err := uid.Lookup(id)
		if err != nil {
			if !newer[id] {
				t.Errorf("%s (%s): %v", id, s.Name, err)
			}
			continue
		}
		if info.Type != uid.TypeTransferSyntax {
			t.Errorf("%s is %s in the registry", id, info.Type)
		}
	}
	// The library's list cannot be gone through, so its numbers are tried.
	for _, stem := range []string{"1.2.840.10008.1.2", "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.4", "1.2.840.10008.1.2.6", "1.2.840.10008.1.2.7", "1.2.840.10008.1"} {
		for n := range 300 {
			id := fmt.Sprintf("%s.%d", stem, n)
			if info, err := uid.Lookup(id); err == nil && info.Type == uid.TypeTransferSyntax && table[id].Name == "" {
				t.Errorf("%s (%s) is not in the table", id, info.Name)
			}
		}
	}
}

func TestLookup(t *testing.T) {
	for _, id := range []string{ImplicitLittleEndian, ExplicitLittleEndian, Deflated, ExplicitBigEndian} {
		if s, err := Lookup(id); err != nil || s.Decode == nil || s.Encapsulated {
			t.Errorf("%s: %+v, %v", id, s, err)
		}
	}
	s, err := Lookup("1.2.840.10008.1.2.4.100")
	if !errors.Is(err, imaging.ErrUnsupported) || s.Name == "" || !strings.Contains(err.Error(), "1.2.840.10008.1.2.4.100") {
		t.Errorf("a compressed syntax: %+v, %v", s, err)
	}
	if _, err := Lookup("1.2.3\x1b[2J" + strings.Repeat("9", 500)); !errors.Is(err, imaging.ErrUnsupported) || strings.Contains(err.Error(), "\x1b") || len(err.Error()) > 300 {
		t.Errorf("an unknown syntax: %v", err)
	}
}

// Samples by the bit layout of PS3.5 8.1.1, written out by hand.
func TestNative(t *testing.T) {
	for name, c := range map[string]struct {
		src  []byte
		l    Layout
		want []uint16
	}{
		"8 bits":              {[]byte{0x00, 0x7f, 0xff}, Layout{BitsAllocated: 8, BitsStored: 8, HighBit: 7}, []uint16{0, 127, 255}},
		"6 of 8, high":        {[]byte{0xfc, 0x07}, Layout{BitsAllocated: 8, BitsStored: 6, HighBit: 7}, []uint16{63, 1}},
		"12 of 16":            {[]byte{0x34, 0xf2}, Layout{BitsAllocated: 16, BitsStored: 12, HighBit: 11}, []uint16{0x234}},
		"12 of 16, high":      {[]byte{0x4f, 0x23}, Layout{BitsAllocated: 16, BitsStored: 12, HighBit: 15}, []uint16{0x234}},
		"12 of 16, big":       {[]byte{0xf2, 0x34}, Layout{BitsAllocated: 16, BitsStored: 12, HighBit: 11, ByteOrder: binary.BigEndian}, []uint16{0x234}},
		"more than is needed": {[]byte{1, 0, 2, 0, 9}, Layout{BitsAllocated: 16, BitsStored: 16, HighBit: 15}, []uint16{1, 2}},
	} {
		got := make([]uint16, len(c.want))
		if err := native(got, c.src, c.l); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v (%v)", name, got, c.want, err)
		}
	}
	for name, c := range map[string]struct {
		n   int
		src []byte
		l   Layout
	}{
		"short, 8":      {3, []byte{1, 2}, Layout{BitsAllocated: 8, BitsStored: 8, HighBit: 7}},
		"short, 16":     {2, []byte{1, 2, 3}, Layout{BitsAllocated: 16, BitsStored: 16, HighBit: 15}},
		"no bits":       {1, []byte{1, 2}, Layout{BitsAllocated: 16}},
		"high bit low":  {1, []byte{1, 2}, Layout{BitsAllocated: 16, BitsStored: 12, HighBit: 3}},
		"high bit over": {1, []byte{1, 2}, Layout{BitsAllocated: 16, BitsStored: 12, HighBit: 16}},
	} {
		if err := native(make([]uint16, c.n), c.src, c.l); !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := native(make([]uint16, 1), make([]byte, 4), Layout{BitsAllocated: 32, BitsStored: 32, HighBit: 31}); !errors.Is(err, imaging.ErrUnsupported) {
		t.Errorf("32 bits: %v", err)
	}
}
