package intake

import (
	"errors"
	"fmt"
	"github.com/klauspost/compress/flate"
	"hash"
	"hash/crc32"
	"io"
	"os"
	"sync"

	"leadline/imaging"
)

// Limits of what is inflated out of an archive.
const (
	maxSpace  = 4 << 30   // bytes of temporary space
	maxRatio  = 200       // expansion of an entry, once more than ratioFrom has come out of it
	ratioFrom = 128 << 20 // bytes: a blank frame shrinks about a thousandfold
)

// space is the temporary space of one archive: a file of mode 0600 that has no
// name any more, so that it goes with the process, whatever ends that.
type space struct {
	mu     sync.Mutex
	f      *os.File
	next   int64 // where the next entry begins
	taken  int64 // bytes written
	closed bool
}

// allot sets room for size bytes aside and gives where it begins.
func (s *space) allot(size int64) (f *os.File, from int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil, 0, os.ErrClosed
	}
	if s.f == nil {
		f, err := os.CreateTemp("", "leadline-") // mode 0600
		if err != nil {
			return nil, 0, fmt.Errorf("no temporary file to inflate the archive into (%w); unpack the archive and open its folder", err)
		}
		if err := os.Remove(f.Name()); err != nil {
			return nil, 0, errors.Join(fmt.Errorf("no private temporary file to inflate the archive into: %w", err), f.Close())
		}
		s.f = f
	}
	from = s.next
	s.next += size
	return s.f, from, nil
}

// take counts bytes that are to be written.
func (s *space) take(n int64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.taken += n; s.taken > maxSpace {
		return fmt.Errorf("%w: the archive inflates to more than %d bytes; unpack it and open the folder of one case", imaging.ErrUnsupported, int64(maxSpace))
	}
	return nil
}

func (s *space) close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	if s.f == nil {
		return nil
	}
	err := s.f.Close()
	s.f = nil
	return err
}

// inflated is a deflated entry (RFC 1951), inflated as far as it is read. It
// may be used from several goroutines at once.
type inflated struct {
	space  *space
	packed *io.SectionReader
	size   int64  // as the archive states it
	sum    uint32 // CRC-32 of the whole, as the archive states it

	mu   sync.Mutex
	f    *os.File // nil: no room yet
	from int64    // where it begins in f
	out  int64    // bytes written there
	run  *inflating
	bad  error // what made it unreadable for good
}

// inflating is an inflater at work.
type inflating struct {
	io.ReadCloser
	at   int64 // bytes that came out
	sum  hash.Hash32
	room []byte
}

const (
	firstStrip = 1 << 15 // bytes inflated at once: a header first
	mostStrip  = 1 << 18
)

func (e *inflated) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 || off >= e.size {
		return 0, io.EOF
	}
	n := min(int64(len(p)), e.size-off)
	e.mu.Lock()
	err := e.inflate(off + n)
	f, from := e.f, e.from
	e.mu.Unlock()
	if err != nil {
		return 0, err
	}
	got, err := f.ReadAt(p[:n], from+off)
	if err == nil && n < int64(len(p)) {
		err = io.EOF
	}
	return got, err
}

// inflate goes on until upTo bytes are there.
func (e *inflated) inflate(upTo int64) error {
	for e.bad == nil && e.out < upTo {
		if err := e.step(); err != nil {
			e.bad = err
			e.stop()
		}
	}
	return e.bad
}

func (e *inflated) step() (err error) {
	if e.f == nil {
		if e.f, e.from, err = e.space.allot(e.size); err != nil {
			return err
		}
	}
	if e.run == nil {
		if _, err := e.packed.Seek(0, io.SeekStart); err != nil {
			return err
		}
		e.run = &inflating{ReadCloser: flate.NewReader(e.packed), sum: crc32.NewIEEE(), room: make([]byte, min(firstStrip, e.size))}
	}
	r := e.run
	n, err := io.ReadFull(r, r.room[:min(int64(len(r.room)), e.size-r.at)])
	r.sum.Write(r.room[:n])
	if past := r.at + int64(n) - e.out; past > 0 {
		if err := e.space.take(past); err != nil {
			return err
		}
		if _, err := e.f.WriteAt(r.room[int64(n)-past:n], e.from+e.out); err != nil {
			return fmt.Errorf("the archive does not fit into the temporary folder (%w); make room there, or unpack the archive and open its folder", err)
		}
		e.out += past
	}
	r.at += int64(n)
	switch read, _ := e.packed.Seek(0, io.SeekCurrent); {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%w: its entry in the archive ends at byte %d of %d; copy the archive again", imaging.ErrDamaged, r.at, e.size)
	case err != nil:
		return fmt.Errorf("%w: its entry in the archive cannot be inflated beyond byte %d; copy the archive again", imaging.ErrDamaged, r.at)
	case r.at > ratioFrom && r.at > maxRatio*read:
		return fmt.Errorf("%w: its entry in the archive inflates more than %d-fold", imaging.ErrDamaged, maxRatio)
	case r.at == e.size:
		return e.finish()
	}
	if len(r.room) < mostStrip {
		r.room = make([]byte, min(2*int64(len(r.room)), e.size-r.at))
	}
	return nil
}

// finish holds what came out against what the archive states.
func (e *inflated) finish() error {
	more := make([]byte, 1)
	n, err := io.ReadFull(e.run, more)
	sum := e.run.sum.Sum32()
	e.stop()
	switch {
	case n > 0:
		return fmt.Errorf("%w: its entry in the archive holds more than the %d bytes it claims", imaging.ErrDamaged, e.size)
	case !errors.Is(err, io.EOF):
		return fmt.Errorf("%w: its entry in the archive does not end well (%v); copy the archive again", imaging.ErrDamaged, err)
	case sum != e.sum:
		return fmt.Errorf("%w: its entry in the archive has another checksum than stated; copy the archive again", imaging.ErrDamaged)
	}
	return nil
}

// rest lets go of the inflater until more is read; it then begins anew.
func (e *inflated) rest() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.stop()
}

func (e *inflated) stop() {
	if e.run != nil {
		e.run.Close()
		e.run = nil
	}
}
