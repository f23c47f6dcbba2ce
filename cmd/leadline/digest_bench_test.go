package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// The published frame in each coding, from the start of a process to its end:
// this program's digest beside the toolkits' decompression to a file.
func BenchmarkDecodeWholeProcess(b *testing.B) {
	folder := os.Getenv("LEADLINE_REFERENCE")
	if folder == "" {
		folder = filepath.Join("..", "..", "..", "shared", "data")
	}
	program := filepath.Join(b.TempDir(), "leadline")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	decoded := filepath.Join(b.TempDir(), "decoded")
	for file, tool := range map[string]string{
		"XA1_RLE": "dcmdrle", "XA1_JPLL": "dcmdjpeg", "XA1_JPLY": "dcmdjpeg", "XA1_JLSL": "dcmdjpls", "XA1_JLSN": "dcmdjpls",
	} {
		path := filepath.Join(folder, "wg04-xa1", file)
		if _, err := os.Stat(path); err != nil {
			b.Skip("the reference frames are not here; set LEADLINE_REFERENCE to their folder")
		}
		for _, command := range [][]string{{program, "list", path, "--digest"}, {tool, path, decoded}, {"gdcmconv", "--raw", path, decoded}} {
			b.Run(file+"/"+filepath.Base(command[0]), func(b *testing.B) {
				if _, err := exec.LookPath(command[0]); err != nil {
					b.Skipf("%s is not installed", command[0])
				}
				for b.Loop() {
					if out, err := exec.Command(command[0], command[1:]...).CombinedOutput(); err != nil {
						b.Fatalf("%v: %v: %s", command, err, out)
					}
				}
			})
		}
	}
}
