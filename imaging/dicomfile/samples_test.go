package dicomfile

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"leadline/imaging"
)

// Every sample of every layout in every syntax, against the values that were
// given to pydicom; the syntaxes are dcmconv's work, and so is the order of
// bytes of 8-bit samples in words of a big endian file.
func TestSamples(t *testing.T) {
	dir, list := fixtures(t)
	for _, im := range list.Images {
		want := values(t, filepath.Join(dir, im.Name+".values"))
		for syntax, option := range syntaxes {
			t.Run(im.Name+" "+syntax, func(t *testing.T) {
				path := filepath.Join(t.TempDir(), "image.dcm")
				convert(t, filepath.Join(dir, im.Name+".dcm"), path, option)
				f, err := Open(path)
				if err != nil {
					t.Fatal(err)
				}
				defer f.Close()
				if f.Header.Columns != im.Columns || f.Header.Rows != im.Rows || f.Header.Frames != im.Frames {
					t.Fatalf("%d by %d, %d frames", f.Header.Columns, f.Header.Rows, f.Header.Frames)
				}
				size := im.Rows * im.Columns
				// Out of order, as a viewer asks.
				for n := im.Frames; n >= 1; n-- {
					fr, err := f.Frame(n, n)
					if err != nil {
						t.Fatal(err)
					}
					for y := range im.Rows {
						for x := range im.Columns {
							if got, want := fr.Value(x, y), want[(n-1)*size+y*im.Columns+x]; got != want {
								t.Fatalf("frame %d at %d,%d: %d, want %d", n, x, y, got, want)
							}
						}
					}
				}
				// The mean of a span, rounded, from the same values.
				mean, err := f.Frame(1, im.Frames)
				if err != nil {
					t.Fatal(err)
				}
				for i := range size {
					sum := 0
					for n := range im.Frames {
						sum += want[n*size+i]
					}
					if got, want := mean.Value(i%im.Columns, i/im.Columns), int(math.Round(float64(sum)/float64(im.Frames))); got != want {
						t.Fatalf("mean at %d: %d, want %d", i, got, want)
					}
				}
			})
		}
	}
}

// A frame comes out the same when several goroutines ask at once.
func TestSamplesAtOnce(t *testing.T) {
	dir, _ := fixtures(t)
	want := values(t, filepath.Join(dir, "a16s12u.values"))
	path := filepath.Join(t.TempDir(), "image.dcm")
	convert(t, filepath.Join(dir, "a16s12u.dcm"), path, "+td")
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var wg sync.WaitGroup
	for g := range 12 {
		wg.Go(func() {
			n := g%3 + 1
			fr, err := f.Frame(n, n)
			if err != nil || fr.Value(1, 0) != want[(n-1)*35+1] {
				t.Errorf("frame %d: %v", n, err)
			}
		})
	}
	wg.Wait()
}

func TestFrameNumbers(t *testing.T) {
	dir, _ := fixtures(t)
	f, err := Open(filepath.Join(dir, "a16s12u.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, span := range [][2]int{{0, 0}, {4, 4}, {1, 4}, {2, 1}, {-1, 1}} {
		if _, err := f.Frame(span[0], span[1]); !errors.Is(err, imaging.ErrBadInput) {
			t.Errorf("%v: %v", span, err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Frame(1, 1); !errors.Is(err, os.ErrClosed) {
		t.Errorf("after Close: %v", err)
	}
}

// Looking at an image leaves its bytes, its time and its folder as they were.
func TestSourceUntouched(t *testing.T) {
	dir, _ := fixtures(t)
	for syntax, option := range syntaxes {
		folder := t.TempDir()
		path := filepath.Join(folder, "image.dcm")
		convert(t, filepath.Join(dir, "a16s12u.dcm"), path, option)
		if err := os.Chmod(path, 0o444); err != nil {
			t.Fatal(err)
		}
		before, _ := os.Stat(path)
		sum := digest(t, path)
		f, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Frame(1, 3); err != nil {
			t.Fatal(err)
		}
		f.Close()
		after, _ := os.Stat(path)
		if !before.ModTime().Equal(after.ModTime()) || before.Size() != after.Size() || !bytes.Equal(sum, digest(t, path)) {
			t.Errorf("%s: the source has changed", syntax)
		}
		if left, _ := os.ReadDir(folder); len(left) != 1 {
			t.Errorf("%s: %d files in the folder", syntax, len(left))
		}
	}
}

func digest(t *testing.T, path string) []byte {
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(data)
	return sum[:]
}

// A file exchanged after its header was read must not give another image's
// pixels under this header.
func TestExchangedFile(t *testing.T) {
	dir, _ := fixtures(t)
	path := filepath.Join(t.TempDir(), "image.dcm")
	convert(t, filepath.Join(dir, "xa.dcm"), path, "+te")
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	convert(t, filepath.Join(dir, "rf.dcm"), path+".new", "+te")
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Frame(1, 1); !errors.Is(err, imaging.ErrDamaged) {
		t.Errorf("got %v", err)
	}
}
