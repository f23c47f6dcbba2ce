package desk

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/imaging/intake"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
)

// Opened is a case with its files and the lock on the observer's sidecar.
type Opened struct {
	*Desk
	kase   *intake.Case // nil: none is open
	store  *sidecar.Store
	target Target
	assist assist.Client
}

// Welcome is a desk with no case on it, where one is chosen.
func Welcome(wake func()) *Opened {
	o := &Opened{}
	o.Desk = New(Config{
		Films:        func(mark.Book) []placement.Film { return nil },
		Measure:      func([]placement.Film, mark.Book) placement.Placement { return placement.Placement{} },
		Wake:         wake,
		Acknowledged: cautionRead(), Acknowledge: keepCautionRead, Recent: Recent, Forget: Forget,
	})
	o.ShowCases()
	return o
}

// Holds reports whether the case of a target is this one.
func (o *Opened) Holds(t Target) bool {
	a, err1 := filepath.Abs(t.Path)
	b, err2 := filepath.Abs(o.target.Path)
	return o.kase != nil && err1 == nil && err2 == nil && a == b && t.Study == o.target.Study
}

// Open lays the case at path on the desk: its frames, and the marks that the
// observer has on it in the folder marks (empty: beside the images). Without an
// observer it takes the only one who has marks there, else the login name.
// wake is called from other goroutines when Poll has news.
//
// Errors say in one line what is wrong and what to do; they wrap what
// intake.Open, sidecar.Lock and the store's Load give.
func Open(path, observer, marks string, wake func()) (*Opened, error) {
	return OpenStudy(path, "", observer, marks, wake)
}

// OpenStudy is Open for one of several studies at path, by its UID or number
// (see intake.Collection.Choose).
func OpenStudy(path, study, observer, marks string, wake func()) (*Opened, error) {
	t := Target{path, study}
	kase, err := survey(t)
	if err != nil {
		return nil, err
	}
	o := &Opened{kase: kase, target: t}
	if err := o.lay(observer, marks, wake); err != nil {
		return nil, errors.Join(err, o.Close())
	}
	if err := keepRecent(path); err != nil {
		o.say("This case will not stand in the list of cases: %v", err)
	}
	if l, ok := readLeft(path, study); ok {
		o.resume(l)
	}
	o.suggestViews()
	return o, nil
}

func (o *Opened) lay(observer, marks string, wake func()) error {
	dir := marks
	if dir == "" {
		dir = o.kase.Dir
	}
	if strings.TrimSpace(observer) == "" {
		var err error
		if observer, err = onlyObserver(dir, o.kase.Headers()); err != nil {
			return err
		}
	}
	store, err := sidecar.Lock(dir, observer)
	if err != nil {
		return err
	}
	o.store = store
	headers := o.kase.Headers()
	report, _, err := store.Load(headers)
	if err != nil {
		return err
	}
	report.Images = headers
	operation := report.Operation // which no one changes here, while a save may hold the report
	book := report.Book
	book.Observer = observer
	o.Desk = New(Config{
		Name: o.kase.Name, Headers: headers, Book: book, Responses: report.Responses,
		Films: func(b mark.Book) []placement.Film { return placement.Films(headers, b) },
		Measure: func(films []placement.Film, b mark.Book) placement.Placement {
			return placement.Compute(films, b, placement.Options{})
		},
		Save: func(b mark.Book, tests []response.Test, p placement.Placement) error {
			report.Book, report.Responses, report.Placement = b, tests, p
			return store.Save(&report)
		},
		Rescue: func(b mark.Book, tests []response.Test) (string, error) {
			return rescue(sidecar.Report{Book: b, Responses: tests, Operation: operation, Images: headers})
		},
		Assist: func(ctx context.Context, f *imaging.Frame, near r2.Vec) (assist.Answer, error) {
			q, pixels, err := assist.Ask(assist.Needle, f)
			if err != nil {
				return assist.Answer{}, err
			}
			q.Near = []assist.Point{{X: near.X, Y: near.Y}}
			a, _, err := o.assist.Ask(ctx, q, pixels)
			return a, err
		},
		Note: func(r sidecar.Report) (string, error) {
			r.Operation, r.Images = operation, headers
			return o.writeNote(r, dir)
		},
		Frame: o.frame, Wake: wake,
		Acknowledged: cautionRead(), Acknowledge: keepCautionRead,
		Recent: Recent, Forget: Forget,
	})
	if n := len(o.kase.Refused); n > 0 {
		o.refuse(fmt.Errorf("%d of the case's files cannot be shown; the first: %w", n, o.kase.Refused[0]))
	}
	return nil
}

func (o *Opened) frame(ctx context.Context, ref mark.FrameRef, progress func(int)) (*imaging.Frame, error) {
	f := o.kase.File(ref.Instance)
	if f == nil {
		return nil, fmt.Errorf("image %s is not in this case", ref.Instance)
	}
	return f.FrameUntil(ctx, ref.First, max(ref.Last, ref.First), progress)
}

// Close ends the goroutines and gives up lock and files. What was not saved is
// lost: Quit saves it first.
func (o *Opened) Close() error {
	if o.Desk != nil {
		o.Stop()
	}
	o.assist.Close()
	var err error
	if o.kase == nil {
		return nil
	}
	if o.Desk != nil && !o.forgotten {
		// How a case was looked at is a comfort: that it cannot be kept is not
		// worth an error.
		_ = keepState(leftFile(o.target.Path, o.target.Study), o.left())
	}
	if o.store != nil {
		err = o.store.Close()
	}
	return errors.Join(err, o.kase.Close())
}

// onlyObserver is whose marks of these images to open where nobody was named.
func onlyObserver(dir string, images []*imaging.Header) (string, error) {
	names, err := sidecar.ObserversOf(dir, images)
	if err != nil {
		return "", err
	}
	switch len(names) {
	case 1:
		return names[0], nil
	case 0:
		if u, err := user.Current(); err == nil && u.Username != "" {
			return u.Username, nil
		}
		return "observer", nil
	}
	return "", fmt.Errorf("%s: %w: marks of %s: say whose to open with --observer NAME", dir, imaging.ErrBadInput, strings.Join(names, ", "))
}

// rescue writes all that a person entered as a sidecar into a new folder of this
// person's state directory, where --marks finds it, and gives the folder.
func rescue(r sidecar.Report) (string, error) {
	dir, err := stateDir()
	if err != nil {
		return "", err
	}
	dir = filepath.Join(dir, "rescued-"+time.Now().Format("20060102-150405"))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	store, err := sidecar.Lock(dir, r.Book.Observer)
	if err != nil {
		return "", err
	}
	r.Placement = placement.Compute(placement.Films(r.Images, r.Book), r.Book, placement.Options{})
	err = store.Save(&r)
	return dir, errors.Join(err, store.Close())
}
