package intake_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"leadline/imaging"
	"leadline/imaging/intake"
)

// packed is an entry of an archive.
type packed struct {
	zip.FileHeader
	content []byte
}

func deflated(name string, content []byte) packed {
	return packed{zip.FileHeader{Name: name, Method: zip.Deflate}, content}
}

func stored(name string, content []byte) packed {
	return packed{zip.FileHeader{Name: name, Method: zip.Store}, content}
}

// pack writes an archive.
func pack(t testing.TB, path string, entries ...packed) {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range entries {
		h := e.FileHeader
		part, err := w.CreateHeader(&h)
		if err == nil {
			_, err = part.Write(e.content)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// bytesOf is a film as it lies in a file.
func bytesOf(t testing.TB, f film) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "film")
	put(t, path, f, classXA)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// emptyTemp makes a temporary folder for the test and sees to it that nothing
// is left in it. What is inflated has no name there even while the case is open,
// and so goes with the process, however that ends.
func emptyTemp(t testing.TB) {
	t.Helper()
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Cleanup(func() { nothingIn(t, dir) })
}

func nothingIn(t testing.TB, dir string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil || len(list) > 0 {
		t.Errorf("left in the temporary folder: %v %v", list, err)
	}
}

// An archive is read as its folder is: same films, same order, same names.
func TestArchive(t *testing.T) {
	emptyTemp(t)
	path := filepath.Join(t.TempDir(), "case 7.zip")
	inner := filepath.Join(t.TempDir(), "inner.zip")
	pack(t, inner, stored("IM1", nil))
	nested, err := os.ReadFile(inner)
	if err != nil {
		t.Fatal(err)
	}
	link := zip.FileHeader{Name: "link", Method: zip.Store}
	link.SetMode(fs.ModeSymlink | 0o777)
	second := bytesOf(t, at("2.25.12", "101501.5"))
	pack(t, path,
		stored("DICOM/IM0001", bytesOf(t, at("2.25.11", "101502"))),
		stored("DICOM/", nil),
		deflated("DICOM/run/b.dcm", second),
		deflated(`DICOM\run\c.dcm`, bytesOf(t, at("2.25.13", "101503"))),
		deflated("DICOM/copy of b", second),
		deflated("notes.txt", []byte("invented")),
		deflated("inner.zip", nested),
		stored("dr.leadline.json", []byte("{}")),
		stored(".hidden/IM9", second),
		stored("__MACOSX/._IM1", []byte("x")),
		packed{link, []byte("/etc/passwd")},
	)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c := open(t, path)
	if c.Path != path || c.Dir != filepath.Dir(path) || c.Name != "case 7" {
		t.Errorf("path %q, folder %q, name %q", c.Path, c.Dir, c.Name)
	}
	var got []string
	for _, h := range c.Headers() {
		got = append(got, c.Relative(h.File))
	}
	if want := []string{"DICOM/copy of b", "DICOM/IM0001", "DICOM/run/c.dcm"}; !slices.Equal(got, want) {
		t.Errorf("films %v, want %v", got, want)
	}
	if got, want := passed(t, c), map[string]intake.Reason{
		"DICOM/run/b.dcm": intake.Copy, "notes.txt": intake.NotDICOM, "inner.zip": intake.Archive, "dr.leadline.json": intake.Side, "link": intake.LinkOut,
	}; !maps.Equal(got, want) {
		t.Errorf("passed over %v, want %v", got, want)
	}
	if len(c.Refused) > 0 {
		t.Errorf("refused %v", c.Refused)
	}
	if f, ok := c.Find("IM0001"); !ok || f.Header.SOPInstance != "2.25.11" {
		t.Error("a film is not found by its name")
	}
	for _, f := range c.Files {
		fr, err := f.Frame(1, 1)
		if err != nil || fr.Value(3, 1) != 'h' {
			t.Errorf("%s: a frame: %v", f.Header.File, err)
		}
	}
	nothingIn(t, os.Getenv("TMPDIR")) // though films were inflated
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Error("the archive was changed")
	}
}

// What an archive made by the system's own tool holds is read as it was packed.
func TestArchiveByAnotherTool(t *testing.T) {
	python := tool(t, "/usr/bin/python3")
	dir := filepath.Join(t.TempDir(), "case")
	put(t, filepath.Join(dir, "a", "IM1"), at("2.25.1", "1000"), classXA)
	put(t, filepath.Join(dir, "IM2"), at("2.25.2", "1001"), classXA)
	out, err := runIn(filepath.Dir(dir), python, "-m", "zipfile", "-c", "case.zip", "case")
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	c := open(t, dir+".zip")
	if len(c.Files) != 2 || c.Relative(c.Files[0].Header.File) != filepath.Join("case", "a", "IM1") {
		t.Errorf("films %v", c.Headers())
	}
}

// Frames of a deflated run are those of the file, in whatever order and by
// however many they are asked for at once.
func TestArchiveFramesInAnyOrder(t *testing.T) {
	emptyTemp(t)
	dir := t.TempDir()
	const frames = 60
	content := noisy(t, "2.25.1", 96, frames)
	if err := os.WriteFile(filepath.Join(dir, "run"), content, 0o644); err != nil {
		t.Fatal(err)
	}
	pack(t, filepath.Join(dir, "run.zip"), deflated("run", content))
	plain, tight := open(t, filepath.Join(dir, "run")).Files[0], open(t, filepath.Join(dir, "run.zip")).Files[0]
	var wait sync.WaitGroup
	for seed := range uint64(4) {
		wait.Go(func() {
			for _, n := range rand.New(rand.NewPCG(seed, 7)).Perm(frames) {
				want, err := plain.Frame(n+1, n+1)
				if err != nil {
					t.Error(err)
					return
				}
				got, err := tight.Frame(n+1, n+1)
				if err != nil || !slices.Equal(got.Samples, want.Samples) {
					t.Errorf("frame %d: %v", n+1, err)
				}
			}
		})
	}
	wait.Wait()
}

// Names that lead out of the archive's folder are refused by name; those that
// do not are read, and no file is made by any of them.
func TestArchiveNames(t *testing.T) {
	emptyTemp(t)
	base := t.TempDir()
	path := filepath.Join(base, "in", "case.zip")
	if err := os.Mkdir(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	names := []string{"../out", "/etc/out", `..\out`, `C:\out`, "c:out", "a/../../out", `\\server\out`, "a\x00b"}
	entries := []packed{stored("good", bytesOf(t, at("2.25.1", "1000"))), deflated("./also", bytesOf(t, at("2.25.2", "1000")))}
	for i, n := range names {
		entries = append(entries, deflated(n, bytesOf(t, at(fmt.Sprintf("2.25.9%d", i), "1000"))))
	}
	pack(t, path, entries...)
	c := open(t, path)
	if len(c.Files) != 2 || len(c.Refused) != len(names) {
		t.Fatalf("%d films, refused %v", len(c.Files), c.Refused)
	}
	for i, err := range c.Refused {
		if !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), fmt.Sprintf("%q", names[i])) || !strings.Contains(err.Error(), "leads out") {
			t.Errorf("%v", err)
		}
	}
	filepath.WalkDir(base, func(p string, e fs.DirEntry, err error) error {
		if err != nil || !e.IsDir() && p != path {
			t.Errorf("%s: %v", p, err)
		}
		return nil
	})
}

// Entries that cannot be read are refused by name with what to do; the others
// are used.
func TestArchiveRefusals(t *testing.T) {
	emptyTemp(t)
	path := filepath.Join(t.TempDir(), "case.zip")
	good := bytesOf(t, at("2.25.1", "1000"))
	pack(t, path,
		stored("good", good),
		deflated("secret", bytesOf(t, at("2.25.2", "1000"))),
		deflated("lzma", bytesOf(t, at("2.25.3", "1000"))),
		deflated("twice", bytesOf(t, at("2.25.4", "1000"))),
		deflated("twice", bytesOf(t, at("2.25.5", "1000"))),
		deflated("short", bytesOf(t, at("2.25.6", "1000"))),
		deflated("huge", bytesOf(t, at("2.25.7", "1000"))),
	)
	change(t, path, "secret", func(h []byte) { h[8] |= 1 })                                         // general purpose flag, bit 0: encrypted
	change(t, path, "lzma", func(h []byte) { h[10] = 14 })                                          // method
	change(t, path, "short", func(h []byte) { binary.LittleEndian.PutUint32(h[20:], 1<<31-1) })     // compressed size
	change(t, path, "huge", func(h []byte) { binary.LittleEndian.PutUint32(h[24:], 0xffffffff-1) }) // size
	c := open(t, path)
	if len(c.Files) != 1 || c.Files[0].Header.SOPInstance != "2.25.1" {
		t.Errorf("films %v", c.Headers())
	}
	for name, want := range map[string]struct {
		kind error
		says string
	}{
		"secret": {imaging.ErrUnsupported, "encrypted; unpack the archive with its password"},
		"lzma":   {imaging.ErrUnsupported, "packed by method 14"},
		"twice":  {imaging.ErrConflict, "2 entries bear this name"},
		"short":  {imaging.ErrDamaged, "ends beyond the archive"},
		"huge":   {imaging.ErrDamaged, "ends at byte"},
	} {
		found := slices.ContainsFunc(c.Refused, func(err error) bool {
			return strings.Contains(err.Error(), name) && errors.Is(err, want.kind) && strings.Contains(err.Error(), want.says)
		})
		if !found {
			t.Errorf("%s: not among %v", name, c.Refused)
		}
	}
}

// change edits the head of an entry in the archive's central directory
// (APPNOTE.TXT 4.3.12).
func change(t testing.TB, path, name string, edit func(head []byte)) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; ; at += 4 {
		i := bytes.Index(b[at:], []byte("PK\x01\x02"))
		if i < 0 {
			t.Fatalf("no entry %q", name)
		}
		at += i
		n := int(binary.LittleEndian.Uint16(b[at+28:]))
		if string(b[at+46:at+46+n]) == name {
			edit(b[at:])
			break
		}
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// What an archive that only looks like one gives.
func TestArchiveDamaged(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "case.zip")
	pack(t, path, stored("IM1", bytesOf(t, at("2.25.1", "1000"))), deflated("IM2", bytesOf(t, at("2.25.2", "1000"))))
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 500 {
		n := len(whole) * i / 500
		if err := os.WriteFile(path, whole[:n], 0o644); err != nil {
			t.Fatal(err)
		}
		c, err := intake.Open(path)
		if err == nil {
			t.Errorf("cut at %d of %d: %d films", n, len(whole), len(c.Files))
			c.Close()
		} else if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrNotDICOM) || strings.Contains(err.Error(), "\n") {
			t.Errorf("cut at %d of %d: %v", n, len(whole), err)
		}
	}
	// A wrong checksum shows when the entry has been read to its end.
	if err := os.WriteFile(path, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	change(t, path, "IM2", func(h []byte) { h[16] ^= 1 })
	c, err := intake.Open(path)
	if err == nil {
		defer c.Close()
		if f := c.File("2.25.2"); f != nil {
			_, err = f.Frame(1, 1)
		} else {
			err = c.Refused[0]
		}
	}
	if !errors.Is(err, imaging.ErrDamaged) || !strings.Contains(err.Error(), "checksum") {
		t.Errorf("a wrong checksum: %v", err)
	}
}

// Limits: the number of entries, folders within folders, entries that share
// bytes (D. Fifield, A better zip bomb, WOOT 2019), and expansion.
func TestArchiveLimits(t *testing.T) {
	emptyTemp(t)
	dir := t.TempDir()
	many := make([]packed, 5001)
	for i := range many {
		many[i] = stored(fmt.Sprint(i), nil)
	}
	listing := make([]packed, 1<<16) // a list longer than any of 5000 files
	for i := range listing {
		listing[i] = stored(strings.Repeat("x", 200)+fmt.Sprint(i), nil)
	}
	for name, c := range map[string]struct {
		entries []packed
		kind    error
		says    string
	}{
		"many":    {many, imaging.ErrBadInput, "more than 5000"},
		"listing": {listing, imaging.ErrBadInput, "more than 5000"},
		"deep":    {[]packed{stored(strings.Repeat("x/", 17)+"IM1", nil)}, imaging.ErrBadInput, "nested deeper than 16"},
		"empty":   {nil, imaging.ErrNotDICOM, "empty"},
	} {
		path := filepath.Join(dir, name+".zip")
		pack(t, path, c.entries...)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := intake.Open(path)
		runtime.ReadMemStats(&after)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
		if cost := after.TotalAlloc - before.TotalAlloc; cost > 64<<20 {
			t.Errorf("%s: cost %d bytes of memory", name, cost)
		}
	}
	path := filepath.Join(dir, "overlap.zip")
	b := bytesOf(t, at("2.25.1", "1000"))
	pack(t, path, stored("one", b), stored("two", b))
	var from uint32
	change(t, path, "one", func(h []byte) { from = binary.LittleEndian.Uint32(h[42:]) })
	change(t, path, "two", func(h []byte) { binary.LittleEndian.PutUint32(h[42:], from) })
	if _, err := intake.Open(path); !errors.Is(err, imaging.ErrDamaged) || !strings.Contains(err.Error(), `"one" and "two" share bytes`) {
		t.Errorf("overlapping entries: %v", err)
	}
}

// A bomb: a film whose pixel data are a long run of zeros, deflated a
// thousandfold. It is listed at once, for only its header is inflated; its
// frames give one clear line, and the temporary space stays bounded.
func TestArchiveBomb(t *testing.T) {
	if testing.Short() {
		t.Skip("inflates 128 MiB")
	}
	emptyTemp(t)
	path := filepath.Join(t.TempDir(), "bomb.zip")
	const frames, frame = 40, 8 << 20 // 320 MiB of frames of 2048 by 4096 by 8 bits
	header := bomb(t, frames)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	sum := crc32.NewIEEE()
	var body bytes.Buffer
	fl, err := flate.NewWriter(&body, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	to := io.MultiWriter(fl, sum)
	to.Write(header)
	zeros := make([]byte, frame)
	for range frames {
		to.Write(zeros)
	}
	if err := fl.Close(); err != nil {
		t.Fatal(err)
	}
	raw, err := w.CreateRaw(&zip.FileHeader{Name: "IM1", Method: zip.Deflate, CRC32: sum.Sum32(),
		CompressedSize64: uint64(body.Len()), UncompressedSize64: uint64(len(header) + frames*frame)})
	if err != nil {
		t.Fatal(err)
	}
	raw.Write(body.Bytes())
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	c := open(t, path)
	if len(c.Files) != 1 || c.Files[0].Header.Frames != frames {
		t.Fatalf("films %v", c.Headers())
	}
	if _, err := c.Files[0].Frame(1, 1); err != nil {
		t.Errorf("the first frame: %v", err)
	}
	_, err = c.Files[0].Frame(frames, frames)
	if !errors.Is(err, imaging.ErrDamaged) || !strings.Contains(err.Error(), "more than 200-fold") || strings.Contains(err.Error(), "\n") {
		t.Errorf("the last frame: %v", err)
	}
}
