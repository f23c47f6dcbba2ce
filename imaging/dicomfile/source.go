package dicomfile

import (
	"bufio"
	"errors"
	"fmt"
	"github.com/klauspost/compress/flate"
	"io"
	"os"
	"sync"

	"leadline/imaging"
)

// disk is a file on disk, opened read-only when something is read and held
// open from the first frame until Close, so that a case of many files does not
// hold as many open. A file that was exchanged meanwhile is not read.
type disk struct {
	path string
	info os.FileInfo

	mu     sync.Mutex
	f      *os.File
	closed bool
}

func openDisk(path string) (*disk, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, missing(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: %w: not a file; give a file or a folder of files", path, imaging.ErrBadInput)
	}
	return &disk{path: path, info: info}, nil
}

func missing(path string, err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return fmt.Errorf("%s: %w: %v", path, imaging.ErrBadInput, err)
}

func (d *disk) ReadAt(p []byte, off int64) (int, error) {
	f, err := d.file()
	if err != nil {
		return 0, err
	}
	return f.ReadAt(p, off)
}

func (d *disk) file() (*os.File, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		return nil, os.ErrClosed
	}
	if d.f != nil {
		return d.f, nil
	}
	f, err := os.Open(d.path)
	if err != nil {
		return nil, missing(d.path, err)
	}
	info, err := f.Stat()
	if err == nil && (!os.SameFile(info, d.info) || info.Size() != d.info.Size() || !info.ModTime().Equal(d.info.ModTime())) {
		err = fmt.Errorf("%w: the file has changed since it was opened; open the case again", imaging.ErrDamaged)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	d.f = f
	return f, nil
}

// rest lets go of the open file until something is read again.
func (d *disk) rest() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.f == nil {
		return nil
	}
	err := d.f.Close()
	d.f = nil
	return err
}

func (d *disk) Close() error {
	err := d.rest()
	d.mu.Lock()
	d.closed = true
	d.mu.Unlock()
	return err
}

// Limits of a deflated file. A blank frame shrinks about a thousandfold, so
// the ratio counts only once much has come out.
const (
	maxInflated   = 4 << 30   // bytes
	ratioFrom     = 128 << 20 // bytes
	maxRatio      = 200
	inflatedStrip = 1 << 20
	packedStrip   = 1 << 18
)

// spool is the inflated form of a deflated file (PS3.5 A.5), kept in a private
// temporary file that has no name any more. It inflates as far as is read.
type spool struct {
	mu       sync.Mutex
	f        *os.File
	inflater io.ReadCloser
	packed   *counter
	out      int64 // bytes inflated
	buf      []byte
	end      error // why it went no further
}

// counter counts the bytes that were read.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// newSpool inflates src from byte from on. The bytes before it stand in the
// spool as they are, so that offsets go on.
func newSpool(src io.ReaderAt, from, size int64) (*spool, error) {
	f, err := os.CreateTemp("", "leadline-")
	if err != nil {
		return nil, fmt.Errorf("no temporary file for a deflated image: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, fmt.Errorf("no private temporary file for a deflated image: %w", err)
	}
	if _, err := io.Copy(f, io.NewSectionReader(src, 0, from)); err != nil {
		f.Close()
		return nil, err
	}
	packed := &counter{r: io.NewSectionReader(src, from, size-from)}
	return &spool{f: f, packed: packed, inflater: flate.NewReader(bufio.NewReaderSize(packed, packedStrip)), out: from}, nil
}

func (s *spool) ReadAt(p []byte, off int64) (int, error) {
	s.mu.Lock()
	err := s.inflate(off + int64(len(p)))
	s.mu.Unlock()
	if err != nil && !errors.Is(err, io.EOF) {
		return 0, err
	}
	return s.f.ReadAt(p, off)
}

func (s *spool) inflate(upTo int64) error {
	for s.out < upTo && s.end == nil {
		if s.buf == nil {
			s.buf = make([]byte, inflatedStrip)
		}
		n, err := 0, error(nil)
		for n < len(s.buf) && err == nil { // the inflater gives its window's worth at a time
			var more int
			more, err = s.inflater.Read(s.buf[n:])
			n += more
		}
		if _, werr := s.f.WriteAt(s.buf[:n], s.out); werr != nil {
			s.end = fmt.Errorf("a deflated image does not fit into the temporary folder: %w", werr)
			break
		}
		s.out += int64(n)
		switch {
		case errors.Is(err, io.EOF):
			s.end = io.EOF
		case errors.Is(err, io.ErrUnexpectedEOF):
			s.end = io.EOF // a file cut short: what came out may still hold frames
		case err != nil:
			s.end = fmt.Errorf("%w: the deflated part cannot be inflated beyond byte %d: %v", imaging.ErrDamaged, s.out, err)
		case s.out > maxInflated:
			s.end = fmt.Errorf("%w: the deflated part inflates to more than %d bytes", imaging.ErrDamaged, int64(maxInflated))
		case s.out > ratioFrom && s.out > maxRatio*s.packed.n:
			s.end = fmt.Errorf("%w: the deflated part inflates more than %d-fold", imaging.ErrDamaged, maxRatio)
		}
	}
	return s.end
}

func (s *spool) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.end = os.ErrClosed
	s.inflater.Close()
	return s.f.Close()
}
