package dicomfile

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"

	"leadline/imaging"
)

// counting counts the bytes that are read.
type counting struct {
	io.ReaderAt
	n atomic.Int64
}

func (c *counting) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.ReaderAt.ReadAt(p, off)
	c.n.Add(int64(n))
	return n, err
}

// raw puts files together byte by byte, explicit VR little endian.
type raw struct{ bytes.Buffer }

func newRaw(syntax string) *raw {
	r := &raw{}
	r.Write(make([]byte, 128))
	r.WriteString("DICM")
	if len(syntax)%2 == 1 {
		syntax += "\x00"
	}
	r.element(0x0002, 0x0000, "UL", "\x00\x00\x00\x00")
	from := r.Len()
	r.element(0x0002, 0x0010, "UI", syntax)
	binary.LittleEndian.PutUint32(r.Bytes()[from-4:], uint32(r.Len()-from))
	return r
}

func (r *raw) head(group, el uint16, vr string, length uint32) *raw {
	b := binary.LittleEndian.AppendUint16(nil, group)
	b = binary.LittleEndian.AppendUint16(b, el)
	switch {
	case vr == "":
		b = binary.LittleEndian.AppendUint32(b, length)
	case short[vr] == "":
		b = binary.LittleEndian.AppendUint32(append(b, vr[0], vr[1], 0, 0), length)
	default:
		b = binary.LittleEndian.AppendUint16(append(b, vr[0], vr[1]), uint16(length))
	}
	r.Write(b)
	return r
}

func (r *raw) element(group, el uint16, vr, value string) *raw {
	r.head(group, el, vr, uint32(len(value)))
	r.WriteString(value)
	return r
}

func us(v uint16) string { return string(binary.LittleEndian.AppendUint16(nil, v)) }

// image describes frames of 12 bits in 16; Pixel Data follow.
func (r *raw) image(columns, rows uint16, frames string) *raw {
	return r.wide(columns, rows, frames, 12)
}

// wide is image with so many bits stored.
func (r *raw) wide(columns, rows uint16, frames string, stored int) *raw {
	r.element(0x0008, 0x0016, "UI", "1.2.840.10008.5.1.4.1.1.12.1")
	r.element(0x0008, 0x0018, "UI", "2.25.11\x00")
	r.element(0x0028, 0x0002, "US", us(1))
	r.element(0x0028, 0x0004, "CS", "MONOCHROME2 ")
	r.element(0x0028, 0x0008, "IS", frames)
	r.element(0x0028, 0x0010, "US", us(rows))
	r.element(0x0028, 0x0011, "US", us(columns))
	r.element(0x0028, 0x0100, "US", us(16))
	r.element(0x0028, 0x0101, "US", us(uint16(stored)))
	r.element(0x0028, 0x0102, "US", us(uint16(stored-1)))
	return r.element(0x0028, 0x0103, "US", us(0))
}

const explicitLE = "1.2.840.10008.1.2.1"

// Opening a run of 300 frames of 1024 by 1024 reads its header; a frame reads
// that frame's bytes and no more. The file is sparse: 629 MB that take no room.
func TestReadsOnlyWhatIsAsked(t *testing.T) {
	const frame = 1024 * 1024 * 2
	r := newRaw(explicitLE).image(1024, 1024, "300 ").head(0x7fe0, 0x0010, "OW", 300*frame)
	f, err := os.Create(filepath.Join(t.TempDir(), "run.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	size := int64(r.Len()) + 300*frame
	if _, err := f.Write(r.Bytes()); err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(size); err != nil {
		t.Skip("no sparse files here")
	}
	if _, err := f.WriteAt([]byte{0x34, 0x02}, int64(r.Len())+122*frame+2*1024); err != nil {
		t.Fatal(err)
	}
	c := &counting{ReaderAt: f}
	run, err := New(c, size, "run")
	if err != nil {
		t.Fatal(err)
	}
	if n := c.n.Swap(0); n > 64<<10 {
		t.Errorf("opening read %d bytes", n)
	}
	fr, err := run.Frame(123, 123)
	if err != nil {
		t.Fatal(err)
	}
	if n := c.n.Swap(0); n != frame {
		t.Errorf("a frame read %d bytes, it has %d", n, frame)
	}
	if fr.Value(0, 1) != 0x234 || fr.Value(1, 1) != 0 {
		t.Error("another frame's samples")
	}
	if _, err := run.Frame(10, 13); err != nil {
		t.Fatal(err)
	}
	if n := c.n.Swap(0); n != 4*frame {
		t.Errorf("a span of four read %d bytes", n)
	}
}

// Values nobody wants are passed over, however large.
func TestPassesOverLargeValues(t *testing.T) {
	r := newRaw(explicitLE)
	r.element(0x0008, 0x0016, "UI", "1.2.840.10008.5.1.4.1.1.12.1")
	r.element(0x0009, 0x1001, "OB", strings.Repeat("x", 8<<20))
	full := newRaw(explicitLE).image(4, 2, "1 ")
	r.Write(full.Bytes()[bytes.Index(full.Bytes(), []byte("\x08\x00\x18\x00")):])
	r.element(0x7fe0, 0x0010, "OW", strings.Repeat("ab", 8))
	c := &counting{ReaderAt: bytes.NewReader(r.Bytes())}
	if _, err := New(c, int64(r.Len()), "x"); err != nil {
		t.Fatal(err)
	}
	if n := c.n.Load(); n > 64<<10 {
		t.Errorf("%d bytes read", n)
	}
}

// Headers that claim more than there is, or never end, give an error and cost
// little: the limit is a hundredth of what they claim.
func TestHostileHeaders(t *testing.T) {
	nested := func(levels int, inKept bool) *raw {
		r := newRaw(explicitLE)
		el := uint16(0x1140)
		group := uint16(0x0008)
		if inKept {
			group, el = 0x0028, 0x3010
		}
		for range levels {
			r.head(group, el, "SQ", undefinedLength)
			r.head(0xfffe, 0xe000, "", undefinedLength)
		}
		return r
	}
	items := newRaw(explicitLE).head(0x0028, 0x3010, "SQ", undefinedLength)
	for range 100000 {
		items.head(0xfffe, 0xe000, "", 0)
	}
	many := newRaw(explicitLE)
	for i := range 1 << 20 {
		many.element(0x0009, uint16(i), "CS", "")
	}
	many.element(0x0009, 0, "CS", "")
	for name, r := range map[string]*raw{
		"a name of 4 GiB":               newRaw(explicitLE).head(0x0010, 0x0010, "UN", 0xfffffffe),
		"a table of 4 GiB":              newRaw(explicitLE).head(0x0028, 0x3010, "SQ", undefinedLength).head(0xfffe, 0xe000, "", undefinedLength).head(0x0028, 0x3006, "OW", 0xfffffff0),
		"an item of 4 GiB":              newRaw(explicitLE).head(0x0028, 0x3010, "SQ", undefinedLength).head(0xfffe, 0xe000, "", 0xfffffff0),
		"a sequence of 4 GiB":           newRaw(explicitLE).head(0x0028, 0x3010, "SQ", 0xfffffff0),
		"a private value of 4 GiB":      newRaw(explicitLE).head(0x0009, 0x1001, "OB", 0xfffffff0),
		"an item longer than its list":  newRaw(explicitLE).head(0x0028, 0x3010, "SQ", 8).head(0xfffe, 0xe000, "", 400).element(0x0028, 0x3003, "LO", strings.Repeat("x", 500)),
		"a file header of 4 GiB":        newRaw(explicitLE).head(0x0002, 0x0102, "OB", 0xfffffff0),
		"sequences without end":         nested(10000, false),
		"kept sequences without end":    nested(10000, true),
		"items without end":             items,
		"elements without end":          many,
		"no VR":                         newRaw(explicitLE).element(0x0008, 0x0005, "CS", "").head(0x0010, 0x0010, "", 4),
		"pixels in fragments":           newRaw(explicitLE).image(4, 2, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength),
		"4 GiB of pixels, none there":   newRaw(explicitLE).image(4, 2, "1 ").head(0x7fe0, 0x0010, "OW", 0xfffffffe),
		"a huge frame, few pixels":      newRaw(explicitLE).image(11000, 11000, "1 ").element(0x7fe0, 0x0010, "OW", "abcdefgh"),
		"a million frames, few pixels":  newRaw(explicitLE).image(65535, 1000, "1000000 ").element(0x7fe0, 0x0010, "OW", "abcdefgh"),
		"an implicit name of 4 GiB":     newRaw("1.2.840.10008.1.2").head(0x0010, 0x0010, "", 0xfffffffe),
		"deflated rubbish":              newRaw("1.2.840.10008.1.2.1.99").element(0xfefe, 0xfefe, "UN", strings.Repeat("\xff", 1000)),
		"float pixels":                  newRaw(explicitLE).image(4, 2, "1 ").head(0x7fe0, 0x0008, "OF", 32),
		"an unknown transfer syntax":    newRaw("1.2.3.4\x1b[2J").image(4, 2, "1 "),
		"a delimiter where none is due": newRaw(explicitLE).head(0x0028, 0x3010, "SQ", 8).head(0xfffe, 0xe0dd, "", 0),
	} {
		t.Run(name, func(t *testing.T) {
			data := r.Bytes()
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			f, err := New(bytes.NewReader(data), int64(len(data)), "hostile")
			runtime.ReadMemStats(&after)
			if err == nil {
				f.Close()
				t.Fatal("it was taken")
			}
			if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Errorf("error of no kind: %v", err)
			}
			if strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Errorf("not one clean line: %q", err)
			}
			if cost := after.TotalAlloc - before.TotalAlloc; cost > 40<<20 {
				t.Errorf("cost %d bytes", cost)
			}
		})
	}
}

// A file that inflates two hundredfold and more is stopped; a blank run, which
// shrinks a thousandfold, is not, below the size from which that matters.
func TestInflationLimits(t *testing.T) {
	deflated := func(write func(w io.Writer)) []byte {
		r := newRaw("1.2.840.10008.1.2.1.99")
		w, err := flate.NewWriter(&r.Buffer, flate.BestSpeed)
		if err != nil {
			t.Fatal(err)
		}
		write(w)
		w.Close()
		return r.Bytes()
	}
	body := func(frames string, frame uint32) []byte {
		r := newRaw(explicitLE)
		n := r.Len()
		return r.image(1024, 1024, frames).head(0x7fe0, 0x0010, "OW", frame).Bytes()[n:]
	}
	zeros := make([]byte, 1<<20)
	bomb := deflated(func(w io.Writer) {
		head := &raw{}
		head.head(0x0009, 0x1001, "OB", 400<<20)
		w.Write(head.Bytes())
		for range 200 {
			w.Write(zeros)
		}
	})
	if _, err := New(bytes.NewReader(bomb), int64(len(bomb)), "bomb"); !errors.Is(err, imaging.ErrDamaged) || !strings.Contains(err.Error(), "-fold") {
		t.Errorf("bomb: %v", err)
	}
	blank := deflated(func(w io.Writer) {
		w.Write(body("4 ", 8<<20))
		for range 8 {
			w.Write(zeros)
		}
	})
	f, err := New(bytes.NewReader(blank), int64(len(blank)), "blank")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Frame(4, 4); err != nil {
		t.Errorf("blank run: %v", err)
	}
}

// The temporary file of a deflated image has no name while it is in use.
func TestNoTemporaryFileLeft(t *testing.T) {
	dir, _ := fixtures(t)
	path := filepath.Join(t.TempDir(), "image.dcm")
	convert(t, filepath.Join(dir, "xa.dcm"), path, "+td")
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Frame(1, 1); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(temp); len(left) != 0 {
		t.Errorf("%d names in the temporary folder", len(left))
	}
}

// Pixel data longer than the frames need, and elements after them, do no harm.
func TestMorePixelDataThanNeeded(t *testing.T) {
	r := newRaw(explicitLE).image(2, 1, "2 ")
	r.element(0x7fe0, 0x0010, "OW", "\x01\x00\x02\x00\x03\x00\x04\x00 and more")
	r.element(0xfffc, 0xfffc, "OB", "\x00\x00")
	f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), "long")
	if err != nil {
		t.Fatal(err)
	}
	fr, err := f.Frame(2, 2)
	if err != nil || fr.Value(0, 0) != 3 || fr.Value(1, 0) != 4 {
		t.Errorf("frame 2: %v, %v", fr, err)
	}
}
