package codec

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"leadline/imaging"
)

// kept is a stream of the fuzz targets' corpus.
type kept struct {
	name string
	src  []byte
	l    Layout
}

// corpus reads the streams that a fuzz target starts from.
func corpus(t *testing.T, target string) (list []kept) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("testdata", "fuzz", target, "*"))
	if err != nil || len(files) < 3 {
		t.Fatalf("%d streams for %s (%v)", len(files), target, err)
	}
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")
		if len(lines) != 6 {
			t.Fatalf("%s has %d lines", path, len(lines))
		}
		inner := func(i int, before, after string) string {
			return strings.TrimSuffix(strings.TrimPrefix(lines[i], before), after)
		}
		src, err := strconv.Unquote(inner(1, "[]byte(", ")"))
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		var n [3]int
		for i := range n {
			v, _, _, err := strconv.UnquoteChar(inner(2+i, "byte('", "')"), '\'')
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			n[i] = int(v)
		}
		l := Layout{Columns: n[0], Rows: n[1], BitsAllocated: 16, BitsStored: n[2], HighBit: n[2] - 1, Signed: inner(5, "bool(", ")") == "true"}
		if n[2] <= 8 {
			l.BitsAllocated = 8
		}
		list = append(list, kept{filepath.Base(path), []byte(src), l})
	}
	return list
}

// damage makes of a stream what a bad disk, a broken copy or ill will could:
// bytes changed, some of them to what a marker begins with, parts cut out,
// said twice or exchanged, another stream's end, no end.
func damage(r *rand.Rand, src, other []byte) []byte {
	b := bytes.Clone(src)
	for range 1 + r.IntN(3) {
		if len(b) == 0 {
			return b
		}
		i := r.IntN(len(b))
		j := i + r.IntN(len(b)-i+1)
		switch r.IntN(9) {
		case 0, 1:
			b[i] ^= 1 << r.IntN(8)
		case 2:
			b[i] = byte(r.Uint32())
		case 3:
			b[i] = 0xff
		case 4: // in what comes before the samples
			b[r.IntN(min(len(b), 100))] = byte(r.Uint32())
		case 5:
			b = b[:i]
		case 6:
			b = append(b[:i:i], b[j:]...)
		case 7:
			b = append(b[:j:j], b[i:]...)
		case 8:
			b = append(b[:i:i], other[r.IntN(len(other)+1):]...)
		}
	}
	return b
}

// Streams damaged by the thousand are an error of a known kind, or samples
// within their bits; and none asks for much memory. The frames have some 300
// samples, so that what a decoder sets aside is mostly its tables.
func TestDamagedByTheThousand(t *testing.T) {
	for target, c := range map[string]struct {
		decode Decoder
		room   uint64 // bytes
	}{
		"FuzzRLE":      {rle, 64 << 10},
		"FuzzJPEG":     {jpeg, 256 << 10},
		"FuzzJPEGLS":   {jpegLS, 512 << 10},
		"FuzzJPEG2000": {jpeg2000, 512 << 10},
	} {
		t.Run(target, func(t *testing.T) {
			list := corpus(t, target)
			r := rand.New(rand.NewPCG(2013, uint64(len(target))))
			var most uint64
			refused, read := 0, 0
			for n := range 6000 {
				k := list[n%len(list)]
				src := damage(r, k.src, list[r.IntN(len(list))].src)
				dst := make([]uint16, k.l.Columns*k.l.Rows)
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				err := c.decode(dst, src, k.l)
				runtime.ReadMemStats(&after)
				most = max(most, after.TotalAlloc-before.TotalAlloc)
				if err != nil {
					refused++
					if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) || strings.Contains(err.Error(), "\n") {
						t.Fatalf("%s, damage %d: %v", k.name, n, err)
					}
					continue
				}
				read++
				for i, s := range dst {
					if int(s) >= 1<<k.l.BitsStored {
						t.Fatalf("%s, damage %d: sample %d is %d, of %d bits", k.name, n, i, s, k.l.BitsStored)
					}
				}
			}
			if most > c.room {
				t.Errorf("%d bytes for a frame of some 300 samples", most)
			}
			if refused < 1000 || read < 100 {
				t.Errorf("%d streams refused and %d read: the damage is no test", refused, read)
			}
			t.Logf("%d refused, %d read, %d bytes at most", refused, read, most)
		})
	}
}
