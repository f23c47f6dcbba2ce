package desk

import (
	"sync"
	"time"

	"leadline/measure/mark"
	"leadline/measure/placement"
)

// After a measurement the goroutine rests this many times as long as it took.
const (
	measureRest     = 6
	measureRestMost = 400 * time.Millisecond
)

// measuring computes the placement in a goroutine of its own. Only the newest
// book waits: those between are skipped, so that numbers keep up with a drag.
type measuring struct {
	revision int // of the book
	taken    int // revision that placement belongs to
	// placement is the newest taken in.
	placement placement.Placement

	box *measuringBox
}

type measuringBox struct {
	sync.Mutex
	wake    chan struct{}
	job     *measuringJob
	result  *placement.Placement
	resultN int
}

type measuringJob struct {
	n     int
	films []placement.Film
	book  mark.Book
}

func (m *measuring) start(cfg Config) {
	box := &measuringBox{wake: make(chan struct{}, 1)}
	m.box = box
	go func() {
		for range box.wake {
			box.Lock()
			job := box.job
			box.job = nil
			box.Unlock()
			if job == nil {
				continue
			}
			start := time.Now()
			p := cfg.Measure(job.films, job.book)
			box.Lock()
			box.result, box.resultN = &p, job.n
			box.Unlock()
			cfg.Wake()
			// Between two measurements it rests, so that drawing a drag keeps
			// most of the machine; the numbers still follow twice a second and more.
			time.Sleep(min(measureRest*time.Since(start), measureRestMost))
		}
	}()
}

func (m *measuring) submit(films []placement.Film, book mark.Book) {
	m.revision++
	m.box.Lock()
	m.box.job = &measuringJob{m.revision, films, book}
	m.box.Unlock()
	select {
	case m.box.wake <- struct{}{}:
	default:
	}
}

func (m *measuring) take(n int, p placement.Placement) {
	m.placement, m.taken = p, n
}

func (m *measuring) poll() bool {
	m.box.Lock()
	defer m.box.Unlock()
	if m.box.result == nil {
		return false
	}
	m.take(m.box.resultN, *m.box.result)
	m.box.result = nil
	return true
}

func (m *measuring) stop() { close(m.box.wake) }

// measure sends the present book to be measured.
func (d *Desk) measure() { d.measuring.submit(d.films(), d.now.book) }
