package assist

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"leadline/imaging"
)

// Program is the name of the program that answers.
const Program = "leadline-assist"

// MaxWait is how long an answer may take before the program is ended.
const MaxWait = 20 * time.Second

// ErrLacking: the program is not there, or cannot run here.
var ErrLacking = fmt.Errorf("%s is lacking: %w", Program, imaging.ErrUnsupported)

// Client asks the program, which it starts when it is first asked and again
// when it has ended. It may be used by several goroutines; they wait for each
// other.
type Client struct {
	// Path of the program; empty: beside this program, then in the PATH.
	Path string
	// Wait is the longest an answer may take; 0: MaxWait.
	Wait time.Duration

	mu      sync.Mutex
	running *process
}

// process is the program while it runs.
type process struct {
	cmd    *exec.Cmd
	in     io.WriteCloser
	out    *bufio.Reader
	errors *lines
	fresh  bool // has not answered yet
}

// lines keeps the end of what the program said on standard error.
type lines struct {
	mu   sync.Mutex
	text []byte
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text = append(l.text, p...)
	if len(l.text) > 4096 {
		l.text = l.text[len(l.text)-4096:]
	}
	return len(p), nil
}

// last line said, or empty.
func (l *lines) last() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := strings.Split(strings.TrimSpace(string(l.text)), "\n")
	return all[len(all)-1]
}

// Find gives the program's path; the error wraps ErrLacking.
func Find() (string, error) {
	if self, err := os.Executable(); err == nil {
		beside := filepath.Join(filepath.Dir(self), Program)
		if info, err := os.Stat(beside); err == nil && info.Mode().IsRegular() {
			return beside, nil
		}
	}
	if found, err := exec.LookPath(Program); err == nil {
		return found, nil
	}
	return "", fmt.Errorf("it stands neither beside this program nor in the PATH; install OpenCV (Debian: libopencv-dev) and run 'make'; all else works without it: %w", ErrLacking)
}

// Ask sends a request with its pixels and waits for the answer. The program is
// ended when ctx is done or Wait has passed; the next request starts it again.
// A program that ended by itself since the last answer is started again once.
func (c *Client) Ask(ctx context.Context, q Request, pixels []uint16) (Answer, []uint16, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := q.check(); err != nil {
		return Answer{}, nil, err
	}
	for again := false; ; again = true {
		if err := ctx.Err(); err != nil {
			return Answer{}, nil, fmt.Errorf("stopped: %w", err)
		}
		if c.running == nil {
			p, err := c.start()
			if err != nil {
				return Answer{}, nil, err
			}
			c.running = p
		}
		fresh := c.running.fresh
		a, out, err := c.exchange(ctx, q, pixels)
		switch {
		case err == nil && a.Error != "":
			return Answer{}, nil, fmt.Errorf("%s: %w", a.Error, imaging.ErrBadInput)
		case err == nil, fresh, again, ctx.Err() != nil, errors.Is(err, errOverrun):
			return a, out, err
		}
		// It had answered before and died between or under the request.
	}
}

// errOverrun: the program took too long.
var errOverrun = errors.New("took too long")

func (c *Client) start() (*process, error) {
	path := c.Path
	if path == "" {
		var err error
		if path, err = Find(); err != nil {
			return nil, err
		}
	}
	cmd := exec.Command(path)
	cmd.Env = append(os.Environ(), "OPENCV_FOR_THREADS_NUM=1", "OMP_NUM_THREADS=1")
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, fmt.Errorf("%s cannot be started: %w", path, err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, fmt.Errorf("%s cannot be started: %w", path, err)
	}
	said := &lines{}
	cmd.Stderr = said
	// A child of it that holds its pipes does not keep this program waiting.
	cmd.WaitDelay = time.Second
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("%s cannot be started (%v): run 'make': %w", path, err, ErrLacking)
	}
	return &process{cmd, in, bufio.NewReaderSize(out, 1<<16), said, true}, nil
}

// exchange sends the request and reads the answer. On any error the program is
// ended.
func (c *Client) exchange(ctx context.Context, q Request, pixels []uint16) (Answer, []uint16, error) {
	p := c.running
	wait := c.Wait
	if wait == 0 {
		wait = MaxWait
	}
	limited, cancel := context.WithTimeoutCause(ctx, wait, errOverrun)
	defer cancel()
	type reply struct {
		answer Answer
		pixels []uint16
		err    error
	}
	done := make(chan reply, 1)
	go func() {
		var r reply
		if r.err = WriteRequest(p.in, q, pixels); r.err == nil {
			r.pixels, r.err = read(p.out, &r.answer)
		}
		done <- r
	}()
	var r reply
	select {
	case r = <-done:
	case <-limited.Done():
		c.end()
		<-done
		if err := ctx.Err(); err != nil {
			return Answer{}, nil, fmt.Errorf("stopped: %w", err)
		}
		return Answer{}, nil, fmt.Errorf("%s gave no answer within %v and was ended: %w", Program, wait, errOverrun)
	}
	if r.err == nil && r.answer.Version != Version {
		r.err = fmt.Errorf("it speaks version %d, this program version %d: build both together", r.answer.Version, Version)
	}
	if r.err == nil && r.answer.Columns*r.answer.Rows*r.answer.Frames != len(r.pixels) {
		r.err = fmt.Errorf("its answer has %d pixels and claims %d frames of %d x %d", len(r.pixels), r.answer.Frames, r.answer.Columns, r.answer.Rows)
	}
	if r.err != nil {
		c.end()
		said := p.errors.last()
		if said == "" {
			said = r.err.Error()
		}
		return Answer{}, nil, fmt.Errorf("%s ended without an answer (%s): %w", Program, said, imaging.ErrUnsupported)
	}
	p.fresh = false
	return r.answer, r.pixels, nil
}

// end the program at once. Held by c.mu.
func (c *Client) end() {
	if p := c.running; p != nil {
		c.running = nil
		p.cmd.Process.Kill()
		p.in.Close()
		p.cmd.Wait()
	}
}

// Close ends the program; the client may be used again.
func (c *Client) Close() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.end()
}
