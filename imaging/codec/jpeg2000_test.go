package codec

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
)

// openJPEG is the folder of OpenJPEG's own tools.
func openJPEG(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is required and not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// film is a picture with slow change, an edge and a little noise, and with both
// ends of the range in it.
func film(columns, rows, precision int, signed bool) []uint16 {
	out := make([]uint16, columns*rows)
	span := float64(int(1) << precision)
	seed := uint32(1)
	for i := range out {
		x, y := float64(i%columns), float64(i/columns)
		v := 0.5 + 0.4*math.Sin(x/11)*math.Cos(y/17)
		if i%columns > columns/2 && i/columns > rows/3 {
			v *= 0.6
		}
		seed = seed*1664525 + 1013904223
		v += (float64(seed>>8)/(1<<24) - 0.5) / 60
		out[i] = uint16(min(max(v, 0), 1) * (span - 1))
	}
	out[0], out[len(out)-1] = 0, uint16(span-1)
	if signed {
		for i := range out {
			out[i] = (out[i] - uint16(span/2)) & uint16(span-1)
		}
	}
	return out
}

// raw writes samples as OpenJPEG's tools take them, signed ones by their sign
// extended.
func raw(samples []uint16, l Layout) (b []byte) {
	for _, v := range samples {
		if l.Signed {
			v = uint16(int16(v<<(16-l.BitsStored)) >> (16 - l.BitsStored))
		}
		if l.BitsStored <= 8 {
			b = append(b, byte(v))
		} else {
			b = binary.BigEndian.AppendUint16(b, v)
		}
	}
	return b
}

// compress2000 makes a codestream of samples.
func compress2000(t testing.TB, dir string, samples []uint16, l Layout, options string) []byte {
	t.Helper()
	from, to := filepath.Join(dir, "in.raw"), filepath.Join(dir, "out.j2k")
	if err := os.WriteFile(from, raw(samples, l), 0o600); err != nil {
		t.Fatal(err)
	}
	sign := "u"
	if l.Signed {
		sign = "s"
	}
	format := fmt.Sprintf("%d,%d,1,%d,%s", l.Columns, l.Rows, l.BitsStored, sign)
	out, err := exec.Command(openJPEG(t, "opj_compress"), append([]string{"-i", from, "-o", to, "-F", format}, strings.Fields(options)...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v: %s", options, err, out)
	}
	b, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func layout2000(columns, rows, precision int, signed bool) Layout {
	l := Layout{Columns: columns, Rows: rows, BitsAllocated: 16, BitsStored: precision, HighBit: precision - 1, Signed: signed}
	if precision <= 8 {
		l.BitsAllocated = 8
	}
	return l
}

// What OpenJPEG's encoder makes of a picture, with every option that bears on
// the stream: a reversible one is the picture again.
func TestJPEG2000Reversible(t *testing.T) {
	for _, options := range []string{
		"", "-n 1", "-n 2", "-n 6", "-b 4,4", "-b 64,16", "-b 256,16 -n 3",
		"-p LRCP -r 30,10,1", "-p RLCP -r 30,10,1", "-p RPCL -r 30,10,1", "-p PCRL -r 30,10,1", "-p CPRL -r 30,10,1",
		"-c [32,32],[16,16],[8,8] -p RPCL", "-c [64,32],[32,16] -p PCRL -r 20,1", "-c [32,32] -b 16,16 -p CPRL", "-c [32,128] -b 16,16 -p RLCP -SOP -EPH",
		"-t 32,32", "-t 40,27 -n 3", "-t 64,64 -p PCRL -c [32,32] -r 8,1 -SOP -EPH", "-TP R", "-TP L -r 10,1",
		"-d 5,7", "-d 3,9 -t 40,41 -T 2,5 -n 3", "-SOP", "-EPH",
		"-M 1", "-M 2", "-M 4", "-M 8", "-M 16", "-M 32", "-M 5", "-M 13", "-M 63", "-M 1 -r 20,5,1", "-M 9 -b 8,64", "-M 4 -r 10,1",
		"-ROI c=0,U=3", "-ROI c=0,U=9 -n 3 -r 20,1",
		"-n 3 -r 20,1 -POC T0=0,0,1,2,1,RLCP/T0=0,0,2,3,1,LRCP -p LRCP", "-n 3 -r 40,1 -c [32,32] -POC T0=0,0,1,3,1,CPRL/T0=0,0,2,3,1,RPCL",
	} {
		for _, c := range []struct {
			columns, rows, precision int
			signed                   bool
		}{{97, 61, 12, false}, {64, 64, 8, false}, {33, 70, 16, false}, {97, 61, 10, true}, {128, 1, 12, false}, {1, 100, 12, false}} {
			options := options
			if min(c.columns, c.rows) == 1 { // the encoder takes one resolution alone, and no tile lies outside
				if strings.Contains(options, "-n") || strings.Contains(options, "-d") {
					continue
				}
				options += " -n 1"
			}
			t.Run(fmt.Sprintf("%s %dx%dx%d", options, c.columns, c.rows, c.precision), func(t *testing.T) {
				l := layout2000(c.columns, c.rows, c.precision, c.signed)
				want := film(c.columns, c.rows, c.precision, c.signed)
				src := compress2000(t, t.TempDir(), want, l, options)
				got := make([]uint16, len(want))
				if err := jpeg2000(got, src, l); err != nil {
					t.Fatal(err)
				}
				for i := range got {
					if got[i] != want[i] {
						t.Fatalf("at %d,%d: %d, want %d", i%c.columns, i/c.columns, got[i], want[i])
					}
				}
			})
		}
	}
}

// Lossy streams against OpenJPEG's decoder. Two inverse transforms in floating
// point may round a sample differently, so one is allowed for the 9-7. OpenJPEG
// 2.5.0 has 1.625732 for 2/K, which by table F.4 is 1.625786: in 16 bits that
// alone makes 2 or 3, so the 9-7 is compared in up to 12.
func TestJPEG2000Lossy(t *testing.T) {
	for _, c := range []struct {
		options string
		most    int
	}{
		{"-r 10", 0}, {"-r 40,12 -M 4", 0}, {"-r 20 -t 40,40", 0},
		{"-I", 1}, {"-I -r 10", 1}, {"-I -r 30,15 -n 3", 1}, {"-I -n 1", 1}, {"-I -t 33,40 -r 12", 1}, {"-I -d 5,7 -M 63", 1}, {"-I -q 30,45 -b 16,16", 1},
	} {
		for _, size := range []struct {
			columns, rows, precision int
			signed                   bool
		}{{97, 61, 12, false}, {64, 64, 8, false}, {33, 70, 16, false}, {97, 61, 10, true}} {
			if size.precision > 12 && c.most > 0 {
				continue
			}
			t.Run(fmt.Sprintf("%s %d", c.options, size.precision), func(t *testing.T) {
				l := layout2000(size.columns, size.rows, size.precision, size.signed)
				dir := t.TempDir()
				src := compress2000(t, dir, film(size.columns, size.rows, size.precision, size.signed), l, c.options)
				out, err := exec.Command(openJPEG(t, "opj_decompress"), "-i", filepath.Join(dir, "out.j2k"), "-o", filepath.Join(dir, "plain.raw")).CombinedOutput()
				if err != nil {
					t.Fatalf("%v: %s", err, out)
				}
				plain, err := os.ReadFile(filepath.Join(dir, "plain.raw"))
				if err != nil {
					t.Fatal(err)
				}
				want := make([]uint16, l.Columns*l.Rows)
				if err := native(want, plain, l); err != nil {
					t.Fatal(err)
				}
				got := make([]uint16, len(want))
				if err := jpeg2000(got, src, l); err != nil {
					t.Fatal(err)
				}
				shift := 16 - l.BitsStored
				differ := 0
				for i := range got {
					d := int(got[i]) - int(want[i])
					if l.Signed {
						d = int(int16(got[i]<<shift)>>shift) - int(int16(want[i]<<shift)>>shift)
					}
					if d != 0 {
						differ++
					}
					if d < -c.most || d > c.most {
						t.Errorf("at %d,%d: %d, want %d", i%l.Columns, i/l.Columns, got[i], want[i])
					}
				}
				if differ*50 > len(got) {
					t.Errorf("%d of %d samples differ", differ, len(got))
				}
			})
		}
	}
}

// A stream cut anywhere or with a byte changed is an error or a frame, and what
// is read of a cut one is whole.
func TestJPEG2000Damaged(t *testing.T) {
	l := layout2000(33, 29, 12, false)
	want := film(33, 29, 12, false)
	for _, options := range []string{"-n 3", "-n 3 -M 63", "-n 3 -t 20,20 -r 5,1 -p PCRL -SOP -EPH", "-n 2 -c [32,32] -b 16,16 -M 1"} {
		src := compress2000(t, t.TempDir(), want, l, options)
		got := make([]uint16, len(want))
		for n := range src {
			err := jpeg2000(got, src[:n], l)
			if err == nil && !slices.Equal(got, want) || err != nil && !errors.Is(err, imaging.ErrDamaged) {
				t.Fatalf("%s cut at %d: %v", options, n, err)
			}
		}
		seed := uint32(7)
		for range 3000 {
			bad := bytes.Clone(src)
			for range 1 + seed%3 {
				seed = seed*1664525 + 1013904223
				bad[int(seed>>8)%len(bad)] = byte(seed)
			}
			if err := jpeg2000(got, bad, l); err != nil && !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Fatalf("%s: error of no kind: %v", options, err)
			}
		}
	}
}

// What is not read is said: packet headers apart from their packets (T.800
// A.7.4), colour (A.5.1), and more bit-planes than fit.
func TestJPEG2000Refused(t *testing.T) {
	l := layout2000(97, 61, 12, false)
	picture := film(97, 61, 12, false)
	src := compress2000(t, t.TempDir(), picture, l, "")
	tile := bytes.Index(src, []byte{0xff, j2kSOT})
	packed := slices.Concat(src[:tile], []byte{0xff, j2kPPM, 0, 3, 0}, src[tile:])
	colour := bytes.Clone(src)
	colour[4+37] = 3
	colour = slices.Concat(colour[:4+38], []byte{11, 1, 1, 11, 1, 1}, colour[4+38:])
	colour[5] += 6
	for name, c := range map[string]struct {
		src  []byte
		says string
	}{
		"packed": {packed, "packed packet headers"},
		"colour": {colour, "3 components"},
		"deep":   {compress2000(t, t.TempDir(), picture, l, "-ROI c=0,U=20"), "region of interest"},
	} {
		if err := jpeg2000(make([]uint16, 97*61), c.src, l); !errors.Is(err, imaging.ErrUnsupported) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzJPEG2000(f *testing.F) {
	fuzz(f, jpeg2000)
}
