package mark

import (
	"crypto/rand"
	"math/big"
)

// NewUID makes a UID that needs no registration: 2.25. and a random UUID
// (version 4, RFC 9562 5.4) written as a decimal number (PS3.5 B.2).
func NewUID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	b[6] = b[6]&0x0f | 0x40
	b[8] = b[8]&0x3f | 0x80
	return "2.25." + new(big.Int).SetBytes(b[:]).String()
}
