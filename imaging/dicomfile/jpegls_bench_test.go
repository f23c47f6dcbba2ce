package dicomfile

import (
	"os/exec"
	"path/filepath"
	"testing"
)

// Open the published JPEG-LS frame of 1024 by 1024 and decode it.
func BenchmarkJPEGLS(b *testing.B) {
	for _, name := range []string{"XA1_JLSL", "XA1_JLSN"} {
		b.Run(name, func(b *testing.B) {
			path := filepath.Join(reference(b), name)
			b.SetBytes(2 << 20)
			b.ReportAllocs()
			for b.Loop() {
				f, err := Open(path)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := f.Frame(1, 1); err != nil {
					b.Fatal(err)
				}
				f.Close()
			}
		})
	}
}

// The same file by the reference toolkits, each a process that starts, decodes
// and writes the result.
func BenchmarkJPEGLSToolkits(b *testing.B) {
	for _, command := range [][]string{{"dcmdjpls"}, {"gdcmconv", "--raw"}} {
		b.Run(command[0], func(b *testing.B) {
			from, to := filepath.Join(reference(b), "XA1_JLSL"), filepath.Join(b.TempDir(), "plain.dcm")
			args := append(append([]string(nil), command[1:]...), from, to)
			path := tool(b, command[0])
			for b.Loop() {
				if out, err := exec.Command(path, args...).CombinedOutput(); err != nil {
					b.Fatalf("%v: %s", err, out)
				}
			}
		})
	}
}
