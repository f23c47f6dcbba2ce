package dicomfile

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// longVRs are the value representations with a length of 32 bits (PS3.5 table
// 7.1-1), and one that no edition knows.
var longVRs = strings.Fields("OB OD OF OL OV OW SQ SV UC UN UR UT UV ZZ")

// claimed are the places where a file may claim 4 GiB: each is written up to
// the claim.
func claimed(vr string) map[string]*raw {
	const most = 0xfffffffe
	group := func() *raw { // within what is kept of functional groups
		r := newRaw(explicitLE)
		r.element(0x0008, 0x0016, "UI", "1.2.840.10008.5.1.4.1.1.12.1.1\x00\x00")
		r.head(0x5200, 0x9230, "SQ", undefinedLength).head(0xfffe, 0xe000, "", undefinedLength)
		return r.head(0x0018, 0x9405, "SQ", undefinedLength).head(0xfffe, 0xe000, "", undefinedLength)
	}
	item := func(g, e uint16) *raw {
		return newRaw(explicitLE).head(g, e, "SQ", undefinedLength).head(0xfffe, 0xe000, "", undefinedLength)
	}
	overlay := newRaw(explicitLE).image(4, 2, "1 ").element(0x6000, 0x0010, "US", us(65535)).element(0x6000, 0x0011, "US", us(2048))
	out := map[string]*raw{
		"file header":        newRaw(explicitLE).head(0x0002, 0x0102, vr, most),
		"wanted value":       newRaw(explicitLE).head(0x0010, 0x0010, vr, most),
		"private value":      newRaw(explicitLE).head(0x0009, 0x1001, vr, most),
		"table":              item(0x0028, 0x3010).head(0x0028, 0x3006, vr, most),
		"value in an item":   item(0x0008, 0x1140).head(0x0008, 0x1155, vr, most),
		"group":              group().head(0x0018, 0x1510, vr, most),
		"sequence in group":  group().head(0x0018, 0x9404, vr, most),
		"palette":            newRaw(explicitLE).head(0x0028, 0x1201, vr, most),
		"frame times":        newRaw(explicitLE).head(0x0018, 0x1065, vr, most),
		"overlay":            overlay.head(0x6000, 0x3000, vr, most),
		"overlay's label":    newRaw(explicitLE).head(0x6000, 0x1500, vr, most),
		"table of offsets":   newRaw(jpegLossless).image(4, 2, "1 ").head(0x7fe0, 0x0001, vr, most),
		"pixel data":         newRaw(explicitLE).image(65535, 2048, "99 ").head(0x7fe0, 0x0010, vr, most),
		"packed pixel data":  newRaw(jpegLossless).image(65535, 2048, "99 ").head(0x7fe0, 0x0010, vr, most),
		"floating pixels":    newRaw(explicitLE).image(4, 2, "1 ").head(0x7fe0, 0x0008, vr, most),
		"sequence unended":   newRaw(explicitLE).head(0x0028, 0x3010, vr, undefinedLength).head(0xfffe, 0xe000, "", most),
		"fragment":           newRaw(jpegLossless).image(4096, 2048, "1 ").head(0x7fe0, 0x0010, vr, undefinedLength).head(0xfffe, 0xe000, "", 0).head(0xfffe, 0xe000, "", most),
		"basic offset table": newRaw(jpegLossless).image(4096, 2048, "1048575 ").head(0x7fe0, 0x0010, vr, undefinedLength).head(0xfffe, 0xe000, "", most),
	}
	for name, r := range out {
		out[name] = r
	}
	return out
}

// A header claiming 4 GiB costs less than 64 MB and little reading, in every
// place and with every representation that has the room to claim it: where the
// file is as short as it was written, and where it is a sparse file of 5 GiB, so
// that the claim is true.
func TestClaims(t *testing.T) {
	const most, mostRead = 64 << 20, 16 << 20
	sparse, err := os.Create(filepath.Join(t.TempDir(), "sparse"))
	if err != nil {
		t.Fatal(err)
	}
	defer sparse.Close()
	for _, vr := range longVRs {
		for name, r := range claimed(vr) {
			if err := sparse.Truncate(0); err != nil {
				t.Fatal(err)
			}
			if _, err := sparse.WriteAt(r.Bytes(), 0); err != nil {
				t.Fatal(err)
			}
			const long = 5 << 30
			if err := sparse.Truncate(long); err != nil {
				t.Skip("no sparse files here")
			}
			for how, src := range map[string]struct {
				io.ReaderAt
				size int64
			}{"short": {bytes.NewReader(r.Bytes()), int64(r.Len())}, "sparse": {sparse, long}} {
				c := &counting{ReaderAt: src.ReaderAt}
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				f, err := New(c, src.size, "claim")
				if err == nil {
					_, err = f.Frame(f.Header.Frames, f.Header.Frames)
					f.Close()
				}
				runtime.ReadMemStats(&after)
				if err != nil {
					oneLine(t, name+" "+vr+" "+how, err)
				}
				// A native frame that is really there is read: it was asked for.
				if err == nil && name == "pixel data" && how == "sparse" {
					continue
				}
				if cost := after.TotalAlloc - before.TotalAlloc; cost > most {
					t.Errorf("%s of %s, %s: %d bytes of memory: %v", name, vr, how, cost, err)
				}
				if n := c.n.Load(); n > mostRead {
					t.Errorf("%s of %s, %s: %d bytes read: %v", name, vr, how, n, err)
				}
			}
		}
	}
}

// Compressed frames of a size that nothing but the header vouches for.
func TestPackedClaims(t *testing.T) {
	run := strings.Repeat("\x81\x00", 300)
	segment := "\x01\x00\x00\x00\x40\x00\x00\x00" + strings.Repeat("\x00", 56) + run
	three := "\x03\x00\x00\x00\x40\x00\x00\x00\x42\x00\x00\x00\x44\x00\x00\x00" + strings.Repeat("\x00", 48) + run
	for name, r := range map[string]*raw{
		"gray":   newRaw(rleLossless).image(8000, 2000, "1 ").fragmented(nil, []byte(segment)),
		"wide":   newRaw(rleLossless).image(60000, 2000, "1 ").fragmented(nil, []byte(segment)),
		"colour": newRaw(rleLossless).coloured(5000, 2000).fragmented(nil, []byte(three)),
		"less":   newRaw(rleLossless).coloured(2000, 2000).fragmented(nil, []byte(three)),
		"jpeg":   newRaw(jpegBaseline).coloured(5000, 2000).fragmented(nil, []byte("\xff\xd8\xff\xc0\x00\x11\x08\x07\xd0\x13\x88\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01\xff\xd9")),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if _, err := f.Frame(1, 1); err == nil {
			t.Errorf("%s: a frame out of nothing", name)
		} else {
			oneLine(t, name, err)
		}
		runtime.ReadMemStats(&after)
		if cost := after.TotalAlloc - before.TotalAlloc; cost > 64<<20 {
			t.Errorf("%s: %d bytes", name, cost)
		}
	}
}

// coloured describes a frame of RGB, 8 bits a sample.
func (r *raw) coloured(columns, rows uint16) *raw {
	r.element(0x0008, 0x0016, "UI", "1.2.840.10008.5.1.4.1.1.7\x00")
	r.element(0x0008, 0x0018, "UI", "2.25.12\x00")
	r.element(0x0028, 0x0002, "US", us(3))
	r.element(0x0028, 0x0004, "CS", "RGB ")
	r.element(0x0028, 0x0006, "US", us(0))
	r.element(0x0028, 0x0010, "US", us(rows))
	r.element(0x0028, 0x0011, "US", us(columns))
	r.element(0x0028, 0x0100, "US", us(8))
	r.element(0x0028, 0x0101, "US", us(8))
	r.element(0x0028, 0x0102, "US", us(7))
	return r.element(0x0028, 0x0103, "US", us(0))
}

// cutLengths are 500 lengths that a file of size bytes is cut at: spread evenly,
// and, of a long file, more closely through the header and the end.
func cutLengths(size int) (out []int) {
	const count = 500
	if size <= count {
		for n := range size {
			out = append(out, n)
		}
		return out
	}
	for i := range count {
		switch {
		case i < 300:
			out = append(out, i*size/300)
		case i < 400:
			out = append(out, (i-300)*min(size, 3000)/100)
		default:
			out = append(out, size-1-(i-400))
		}
	}
	return out
}

// Every kind of sample cut at each of 500 lengths gives an error of one line, or
// the frame that the whole file has.
func TestCutShort(t *testing.T) {
	dir, list := fixtures(t)
	var names []string
	for _, im := range list.Images {
		names = append(names, im.Name)
	}
	names = append(names, "full", "turning", "steady")
	_, all := displays(t)
	for _, c := range all.Overlays {
		names = append(names, c.Name)
	}
	for _, c := range all.Colours {
		names = append(names, c.Name)
	}
	for k, name := range names {
		for i, syntax := range []string{"+te", "+ti", "+tb", "+td", "dcmcrle", "dcmcjpeg"} {
			// All syntaxes over all samples take minutes; each sample meets two.
			if i%3 != k%3 {
				continue
			}
			path := filepath.Join(t.TempDir(), "image.dcm")
			switch {
			case syntax == "dcmcrle" && name != "ybr-422":
				encode(t, []string{"dcmcrle"}, filepath.Join(dir, name+".dcm"), path)
			case syntax == "dcmcjpeg" && (name == "rgb" || strings.HasPrefix(name, "film8")):
				encode(t, []string{"dcmcjpeg", "+eb"}, filepath.Join(dir, name+".dcm"), path)
			case strings.HasPrefix(syntax, "+"):
				convert(t, filepath.Join(dir, name+".dcm"), path, syntax)
			default:
				continue
			}
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			cut(t, name+" "+syntax, data)
		}
	}
	for _, name := range []string{"SC_rgb_dcmtk_+eb+cy+np.dcm", "SC_rgb_small_odd_jpeg.dcm", "SC_rgb_rle_2frame.dcm", "SC_ybr_full_422_uncompressed.dcm"} {
		data, err := os.ReadFile(filepath.Join(shippedFolder(t), name))
		if err != nil {
			t.Logf("%s is not shipped here", name)
			continue
		}
		cut(t, name, data)
	}
}

func shippedFolder(t *testing.T) string {
	return strings.TrimSpace(string(python(t, "-c", "import os, pydicom.data; print(os.path.join(os.path.dirname(pydicom.data.__file__), 'test_files'))")))
}

func cut(t *testing.T, name string, data []byte) {
	t.Helper()
	f, err := New(bytes.NewReader(data), int64(len(data)), "whole")
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	defer f.Close()
	var whole [][]int
	for n := 1; n <= f.Header.Frames; n++ {
		fr, err := f.Frame(n, n)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		whole = append(whole, samplesOf(fr))
	}
	for _, n := range cutLengths(len(data)) {
		f, err := New(bytes.NewReader(data[:n]), int64(n), "cut")
		if err != nil {
			oneLine(t, name, err)
			continue
		}
		for k := 1; k <= f.Header.Frames; k++ {
			fr, err := f.Frame(k, k)
			if err != nil {
				oneLine(t, name, err)
				if !strings.Contains(err.Error(), "frame") {
					t.Fatalf("%s cut at %d: %v", name, n, err)
				}
				continue
			}
			got := samplesOf(fr)
			for i, w := range whole[k-1] {
				if got[i] != w {
					t.Fatalf("%s cut at %d: value %d of frame %d is %d, want %d", name, n, i, k, got[i], w)
				}
			}
		}
		f.Close()
	}
}
