package sidecar

import (
	"crypto/sha1"
	"math/big"
	"strings"
)

// uidSpace is the name space of UIDs derived from names (RFC 9562 5.5).
var uidSpace = [16]byte{0x7c, 0x1f, 0xd0, 0x25, 0x94, 0xcd, 0x48, 0x4d, 0x8f, 0x49, 0x75, 0x3b, 0x1b, 0x81, 0xe1, 0x0b}

// derivedUID is the same for equal names: a UUID of version 5 as a UID (PS3.5 B.2).
func derivedUID(names ...string) string {
	sum := sha1.Sum(append(uidSpace[:], strings.Join(names, "\x00")...))
	b := [16]byte(sum[:16])
	b[6] = b[6]&0x0f | 5<<4
	b[8] = b[8]&0x3f | 0x80
	return "2.25." + new(big.Int).SetBytes(b[:]).String()
}

// validUID reports whether s is a UID by PS3.5 9.1: up to 64 characters,
// components of digits without leading zeros, joined by dots.
func validUID(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for _, c := range strings.Split(s, ".") {
		if c == "" || len(c) > 1 && c[0] == '0' || strings.Trim(c, "0123456789") != "" {
			return false
		}
	}
	return true
}

// UIDOf is the UID of what is made from this report and leaves the tool with it,
// as its parts name it: the same for as long as the report keeps its own SOP
// Instance UID, and another for its successor.
func (r Report) UIDOf(parts ...string) string {
	return derivedUID(append([]string{r.SOPInstance}, parts...)...)
}
