package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leadline/imaging"
	"leadline/imaging/assist"
)

var program string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "assist")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	program = filepath.Join(dir, assist.Program)
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "%s", out)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// blank frame with nothing on it but a slope.
func blank(side int) *imaging.Frame {
	f := &imaging.Frame{Header: &imaging.Header{BitsStored: 12, Photometric: "MONOCHROME2"}, First: 1, Last: 1,
		Columns: side, Rows: side, Samples: make([]uint16, side*side)}
	for i := range f.Samples {
		f.Samples[i] = uint16(1000 + i%side + (i*7919)%13)
	}
	return f
}

func request(t *testing.T) (assist.Request, []uint16) {
	t.Helper()
	q, pixels, err := assist.Ask(assist.Needle, blank(256))
	if err != nil {
		t.Fatal(err)
	}
	q.Near = []assist.Point{{X: 100, Y: 100}}
	return q, pixels
}

// The program answers, is started once, and where there is no needle says so in
// words.
func TestAnswers(t *testing.T) {
	c := assist.Client{Path: program}
	defer c.Close()
	q, pixels := request(t)
	for range 3 {
		a, _, err := c.Ask(context.Background(), q, pixels)
		if err != nil {
			t.Fatal(err)
		}
		if a.Refused == "" || len(a.Suggestions) > 0 {
			t.Errorf("a needle on an empty frame: %+v", a)
		}
	}
	q.Near = nil
	if _, _, err := c.Ask(context.Background(), q, pixels); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("no point given: %v", err)
	}
	q.Kind = "spoon"
	if _, _, err := c.Ask(context.Background(), q, pixels); err == nil || !strings.Contains(err.Error(), `no request "spoon"`) {
		t.Errorf("unknown kind: %v", err)
	}
}

// A program that has died is started again; one that is gone for good, that
// stays silent, or that babbles is an error in one line, and a cancelled request
// returns at once.
func TestProgramsThatFail(t *testing.T) {
	q, pixels := request(t)
	dir := t.TempDir()
	script := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte("#!/bin/sh\n"+text), 0o755); err != nil {
			t.Fatal(err)
		}
		return path
	}
	// Dies after its first answer, each time it is started.
	once := script("once", fmt.Sprintf("head -c %d | %s\n", sizeOf(t, q, pixels), program))
	c := assist.Client{Path: once}
	defer c.Close()
	for i := range 3 {
		if _, _, err := c.Ask(context.Background(), q, pixels); err != nil {
			t.Errorf("request %d to a program that dies: %v", i, err)
		}
	}
	for _, bad := range []struct{ name, text, want string }{
		{"dead", "echo no luck >&2; exit 3", "no luck"},
		{"babbles", "cat /dev/zero | head -c 1000", "ended without an answer"},
		{"liar", `printf '\377\377\377\377\377\377\377\377'; cat >/dev/null`, "claims"},
	} {
		c := assist.Client{Path: script(bad.name, bad.text)}
		_, _, err := c.Ask(context.Background(), q, pixels)
		c.Close()
		if err == nil || !strings.Contains(err.Error(), bad.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", bad.name, err)
		}
	}
	silent := assist.Client{Path: script("silent", "exec sleep 60"), Wait: 200 * time.Millisecond}
	if _, _, err := silent.Ask(context.Background(), q, pixels); err == nil || !strings.Contains(err.Error(), "gave no answer") {
		t.Errorf("silent program: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancelled := assist.Client{Path: script("slow", "exec sleep 60")}
	time.AfterFunc(100*time.Millisecond, cancel)
	if _, _, err := cancelled.Ask(ctx, q, pixels); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	lacking := assist.Client{Path: filepath.Join(dir, "none")}
	if _, _, err := lacking.Ask(context.Background(), q, pixels); !errors.Is(err, assist.ErrLacking) {
		t.Errorf("no program: %v", err)
	}
}

// sizeOf is the length of the request on the pipe: two lengths, JSON, pixels.
func sizeOf(t *testing.T, q assist.Request, pixels []uint16) int {
	t.Helper()
	var n counter
	if err := assist.WriteRequest(&n, q, pixels); err != nil {
		t.Fatal(err)
	}
	return int(n)
}

type counter int

func (c *counter) Write(p []byte) (int, error) { *c += counter(len(p)); return len(p), nil }
