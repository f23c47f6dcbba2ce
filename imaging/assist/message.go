// Package assist asks the program leadline-assist to find things on a frame:
// the messages both sides speak, and the client that starts the program, asks
// it, bounds it and starts it again. It links no image library.
//
// A message is eight bytes of lengths, JSON and pixels: the length of the JSON
// in bytes and then of the pixels in bytes, each an unsigned 32-bit integer,
// little-endian; the JSON; the pixels, unsigned 16-bit, little-endian, row by
// row, frame after frame. A request goes to the program's standard input, its
// answer comes from its standard output, one after the other.
package assist

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Version of the messages. A program of another version is refused.
const Version = 1

// Limits of a message.
const (
	maxJSON   = 4 << 20   // bytes
	maxPixels = 256 << 20 // bytes: 64 frames of 1024 x 1024 and room
	MaxSide   = 8192      // columns or rows of a frame
	MaxFrames = 64        // frames of a request
	MaxPoints = 256       // points of a request
)

// Kind of request.
type Kind string

const (
	Needle   Kind = "needle"
	Contacts Kind = "contacts"
	Margin   Kind = "margin"
	Foramen  Kind = "foramen"
	Quality  Kind = "quality"
	Enhance  Kind = "enhance"
)

// Point on a frame in SR coordinates, pixels.
type Point struct{ X, Y float64 }

// Vec is the point as a vector.
func (p Point) Vec() r2.Vec { return r2.Vec(p) }

// Box is a rectangle on a frame in SR coordinates; its corners may be given in
// any order.
type Box struct{ From, To Point }

// Holds reports whether p lies in the box or on its edge.
func (b Box) Holds(p Point) bool {
	return (p.X-b.From.X)*(p.X-b.To.X) <= 0 && (p.Y-b.From.Y)*(p.Y-b.To.Y) <= 0
}

// Request for one kind of finding on one frame or, where the kind says so, on a
// run of frames of one size.
type Request struct {
	Version       int
	Kind          Kind
	Columns, Rows int
	Frames        int // whose pixels follow
	BitsStored    int
	Signed        bool
	// Bright: what absorbs more has the higher stored value, as in MONOCHROME1
	// (PS3.3 C.7.6.3.1.2).
	Bright bool
	// Near are the clicks, in the order made.
	Near []Point `json:",omitempty"`
	// Box bounds where the end of a needle may lie.
	Box *Box `json:",omitempty"`
	// Options of a kind, as that kind says.
	Options map[string]string `json:",omitempty"`
}

// Answer to a request. Where Error is set nothing else is.
type Answer struct {
	Version int
	Error   string `json:",omitempty"` // the request cannot be carried out
	// Refused says in words why there is no suggestion: what was looked for
	// cannot be told from the picture.
	Refused     string       `json:",omitempty"`
	Suggestions []Suggestion `json:",omitempty"` // the best first
	// Quality of the frame or run, by name, in the order to tell it.
	Quality []Figure `json:",omitempty"`
	// Columns, Rows and Frames of the pixels that follow; 0: none.
	Columns, Rows, Frames int      `json:",omitempty"`
	Enhanced              bool     `json:",omitempty"` // the pixels are for looking only
	Notes                 []string `json:",omitempty"`
}

// Suggestion of a mark. It is nobody's mark until an observer accepts it. It
// never names a side or a level.
type Suggestion struct {
	Structure string // a structure of marks.csv
	Index     int    `json:",omitempty"` // of a contact, 0 nearest the tip
	Detail    string `json:",omitempty"`
	// Points as the structure's mark has them: of a needle from skin to tip.
	Points []Point
	// Covariance of each point: xx, xy, yy in square pixels. Errors of points of
	// one suggestion belong together and are not independent.
	Covariance [][3]float64 `json:",omitempty"`
	// SD is one standard deviation in pixels, per coordinate, that covers the
	// point of the mark that matters most: the tip of a needle.
	SD float64
	// Confidence, 0 to 1: the chance that this is the structure asked for and
	// that its ends lie within four standard deviations.
	Confidence float64
	// Figures about the finding, such as width and contrast.
	Figures []Figure     `json:",omitempty"`
	Notes   []string     `json:",omitempty"`
	Rivals  []Suggestion `json:",omitempty"`
}

// Figure is a number with its unit, or words.
type Figure struct {
	Name  string
	Value float64
	Unit  string `json:",omitempty"` // px, deg, 1 …
	Words string `json:",omitempty"`
}

// Ask makes a request about a frame and what follows it of the same size and
// pixel layout: the pixels are those of frames, one after the other.
func Ask(kind Kind, frames ...*imaging.Frame) (Request, []uint16, error) {
	if len(frames) == 0 {
		return Request{}, nil, fmt.Errorf("no frame to look at: %w", imaging.ErrBadInput)
	}
	f := frames[0]
	q := Request{
		Version: Version, Kind: kind, Columns: f.Columns, Rows: f.Rows, Frames: len(frames),
		BitsStored: f.Header.BitsStored, Signed: f.Header.Signed, Bright: f.Header.Photometric == "MONOCHROME1",
	}
	if len(frames) == 1 {
		return q, f.Samples, q.check()
	}
	var pixels []uint16
	for _, g := range frames {
		if g.Columns != f.Columns || g.Rows != f.Rows {
			return q, nil, fmt.Errorf("frames of a run are %d x %d and %d x %d pixels: take those of one size: %w", f.Columns, f.Rows, g.Columns, g.Rows, imaging.ErrBadInput)
		}
		pixels = append(pixels, g.Samples...)
	}
	return q, pixels, q.check()
}

// check refuses what is outside the limits.
func (q Request) check() error {
	switch {
	case q.Version != Version:
		return fmt.Errorf("messages are of version %d, this is version %d: build leadline and leadline-assist together: %w", q.Version, Version, imaging.ErrUnsupported)
	case q.Columns < 16 || q.Rows < 16 || q.Columns > MaxSide || q.Rows > MaxSide:
		return fmt.Errorf("a frame of %d x %d pixels cannot be looked at: its sides must be 16 to %d: %w", q.Columns, q.Rows, MaxSide, imaging.ErrUnsupported)
	case q.Frames < 1 || q.Frames > MaxFrames || q.Frames*q.Columns*q.Rows > maxPixels/2:
		return fmt.Errorf("%d frames of %d x %d pixels are too many to look at together: take fewer: %w", q.Frames, q.Columns, q.Rows, imaging.ErrUnsupported)
	case q.BitsStored < 1 || q.BitsStored > 16:
		return fmt.Errorf("%d bits stored: must be 1 to 16: %w", q.BitsStored, imaging.ErrUnsupported)
	case len(q.Near) > MaxPoints:
		return fmt.Errorf("%d points given: at most %d: %w", len(q.Near), MaxPoints, imaging.ErrBadInput)
	}
	inside := func(p Point) bool {
		return p.X >= 0 && p.Y >= 0 && p.X <= float64(q.Columns) && p.Y <= float64(q.Rows)
	}
	points := append([]Point(nil), q.Near...)
	if q.Box != nil {
		points = append(points, q.Box.From, q.Box.To)
	}
	for _, p := range points {
		if !inside(p) {
			return fmt.Errorf("point %g,%g is not on the frame of %d x %d pixels: %w", p.X, p.Y, q.Columns, q.Rows, imaging.ErrBadInput)
		}
	}
	return nil
}

// write a message.
func write(w io.Writer, head any, pixels []uint16) error {
	text, err := json.Marshal(head)
	if err != nil {
		return fmt.Errorf("message cannot be written: %w", err)
	}
	if len(text) > maxJSON || 2*len(pixels) > maxPixels {
		return fmt.Errorf("message of %d bytes and %d pixels is too long: %w", len(text), len(pixels), imaging.ErrUnsupported)
	}
	out := make([]byte, 8, 8+len(text)+2*len(pixels))
	binary.LittleEndian.PutUint32(out, uint32(len(text)))
	binary.LittleEndian.PutUint32(out[4:], uint32(2*len(pixels)))
	out = append(out, text...)
	for _, p := range pixels {
		out = binary.LittleEndian.AppendUint16(out, p)
	}
	_, err = w.Write(out)
	return err
}

// read a message into head. io.EOF where there is none any more.
func read(r io.Reader, head any) ([]uint16, error) {
	var lengths [8]byte
	if _, err := io.ReadFull(r, lengths[:]); err != nil {
		return nil, err
	}
	text, raw := binary.LittleEndian.Uint32(lengths[:]), binary.LittleEndian.Uint32(lengths[4:])
	if text > maxJSON || raw > maxPixels || raw%2 != 0 {
		return nil, fmt.Errorf("message claims %d and %d bytes: %w", text, raw, imaging.ErrDamaged)
	}
	body := make([]byte, int(text)+int(raw))
	if _, err := io.ReadFull(r, body); err != nil {
		return nil, fmt.Errorf("message is cut short: %w", imaging.ErrDamaged)
	}
	if err := json.Unmarshal(body[:text], head); err != nil {
		return nil, fmt.Errorf("message cannot be read (%v): %w", err, imaging.ErrDamaged)
	}
	pixels := make([]uint16, raw/2)
	for i := range pixels {
		pixels[i] = binary.LittleEndian.Uint16(body[int(text)+2*i:])
	}
	return pixels, nil
}

// WriteRequest writes a request and its pixels.
func WriteRequest(w io.Writer, q Request, pixels []uint16) error { return write(w, q, pixels) }

// ReadRequest reads the next request and its pixels; io.EOF where there is
// none any more.
func ReadRequest(r io.Reader) (Request, []uint16, error) {
	var q Request
	pixels, err := read(r, &q)
	if err != nil {
		return q, nil, err
	}
	if err := q.check(); err != nil {
		return q, nil, err
	}
	if len(pixels) != q.Frames*q.Columns*q.Rows {
		return q, nil, fmt.Errorf("%d pixels came with a request about %d frames of %d x %d: %w", len(pixels), q.Frames, q.Columns, q.Rows, imaging.ErrDamaged)
	}
	return q, pixels, nil
}

// WriteAnswer writes an answer and its pixels.
func WriteAnswer(w io.Writer, a Answer, pixels []uint16) error {
	a.Version = Version
	return write(w, a, pixels)
}
