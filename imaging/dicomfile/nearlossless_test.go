package dicomfile

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// Near-lossless streams of dcmtk and gdcm: no sample is off by more than the
// tolerance (T.87 A.4.4), and each is what dcmtk decodes. At the ends of the
// range dcmtk 3.6.7 lets samples of a stream with more bits than are stored
// wrap to the other end; there its word is not asked.
func TestNearLosslessSamples(t *testing.T) {
	dir, list := fixtures(t)
	for _, im := range list.Images {
		if !strings.HasPrefix(im.Name, "film") {
			continue
		}
		want := values(t, filepath.Join(dir, im.Name+".values"))
		for near := 1; near <= 5; near++ {
			for _, command := range [][]string{
				{"dcmcjpls", "+en", "+md", fmt.Sprint(near)},
				{"gdcmconv", "--jpegls", "--lossy", "-e", fmt.Sprint(near)},
			} {
				// dcmtk refuses signed samples; gdcm codes them as unsigned ones, and
				// with no bits to spare the coding itself wraps.
				if signed := strings.HasSuffix(im.Name, "s"); signed && (command[0] == "dcmcjpls" || im.Stored == 16 || im.Name == "film8-8s") {
					continue
				}
				t.Run(fmt.Sprint(im.Name, " ", command[0], " ", near), func(t *testing.T) {
					packed, plain := filepath.Join(t.TempDir(), "packed.dcm"), filepath.Join(t.TempDir(), "plain.dcm")
					encode(t, command, filepath.Join(dir, im.Name+".dcm"), packed)
					encode(t, []string{"dcmdjpls"}, packed, plain)
					got, theirs := samples(t, packed), samples(t, plain)
					if len(got) != len(want) || len(theirs) != len(want) {
						t.Fatalf("%d samples, dcmtk %d, want %d", len(got), len(theirs), len(want))
					}
					differ := 0
					for i := range got {
						if d := got[i] - want[i]; d < -near || d > near {
							t.Fatalf("sample %d: %d, was %d before coding", i, got[i], want[i])
						}
						if d := theirs[i] - want[i]; d >= -near && d <= near && got[i] != theirs[i] {
							t.Fatalf("sample %d: %d, dcmtk decodes %d", i, got[i], theirs[i])
						}
						if got[i] != want[i] {
							differ++
						}
					}
					if differ == 0 {
						t.Error("nothing was lost: the stream is not near-lossless")
					}
				})
			}
		}
	}
}
