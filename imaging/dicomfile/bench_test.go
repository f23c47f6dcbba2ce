package dicomfile

import (
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Open the published 1024 by 1024 frame and decode it.
func BenchmarkOpenAndFrame(b *testing.B) {
	path := filepath.Join(reference(b), "XA1_UNC")
	b.SetBytes(2 << 20)
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
}

func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(reference(b), "XA1_UNC")
	for b.Loop() {
		f, err := Open(path)
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}

// The same with pydicom and numpy, measured in its own process without start-up.
func BenchmarkPydicomOpenAndFrame(b *testing.B) {
	path := filepath.Join(reference(b), "XA1_UNC")
	out := python(b, "-c", `
import sys, time, pydicom
n = 20
pydicom.dcmread(sys.argv[1]).pixel_array
t = time.perf_counter()
for _ in range(n): pydicom.dcmread(sys.argv[1]).pixel_array.max()
print((time.perf_counter() - t) / n * 1e9)`, path)
	ns, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
	}
	b.ReportMetric(ns, "ns/op")
}

// Mean of 30 frames of 1024 by 1024.
func BenchmarkMeanOfSpan(b *testing.B) {
	path := filepath.Join(b.TempDir(), "run.dcm")
	if err := Write(path, sample(b, 1024, 1024, 30)); err != nil {
		b.Fatal(err)
	}
	f, err := Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	b.SetBytes(30 * 2 << 20)
	for b.Loop() {
		if _, err := f.Frame(1, 30); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWrite(b *testing.B) {
	ds := sample(b, 1024, 1024, 1)
	path := filepath.Join(b.TempDir(), "image.dcm")
	b.SetBytes(2 << 20)
	for b.Loop() {
		if err := Write(path, ds); err != nil {
			b.Fatal(err)
		}
	}
}
