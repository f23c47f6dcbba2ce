package vision

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/imaging/phantom"
)

// bodyFromTwoSides is the made-up body seen from the left and from behind, once
// for all tests.
var bodyFromTwoSides = sync.OnceValues(func() ([]phantom.Backdrop, error) {
	return phantom.Backdrops(phantom.Direction{Primary: 90}, phantom.Direction{Primary: 180})
})

func bodyFrom(t testing.TB, k int) phantom.Backdrop {
	t.Helper()
	b, err := bodyFromTwoSides()
	if err != nil {
		t.Fatal(err)
	}
	return b[k]
}

// pictureOf a frame, as the program gets it.
func pictureOf(t testing.TB, f *imaging.Frame) Picture {
	t.Helper()
	q, pixels, err := assist.Ask(assist.Contacts, f)
	if err != nil {
		t.Fatal(err)
	}
	return pictures(q, pixels)[0]
}

// bentLead runs from tip on along an arc in the plane of a film: direction and
// bend are seen on it, tilt is out of it, in radians; radius in mm.
func bentLead(tip, right, up r3.Vec, direction, tilt, radius float64, contacts []phantom.Contact) phantom.Lead {
	l := phantom.Lead{Contacts: contacts}
	out := r3.Cross(right, up)
	const step = 0.25
	for s := 0.0; s <= 55; s += step {
		l.Path = append(l.Path, phantom.Point{tip.X, tip.Y, tip.Z})
		d := r3.Add(r3.Scale(math.Cos(direction), right), r3.Scale(math.Sin(direction), up))
		d = r3.Add(r3.Scale(math.Cos(tilt), d), r3.Scale(math.Sin(tilt), out))
		tip = r3.Add(tip, r3.Scale(step, d))
		direction += step / radius * math.Cos(tilt)
	}
	return l
}

// someContacts makes a row of three to five contacts of differing lengths.
func someContacts(r *rand.Rand) []phantom.Contact {
	at := 0.5 + 2*r.Float64()
	gap := 1.5 + 2.5*r.Float64()
	length := 2 + 2*r.Float64()
	var out []phantom.Contact
	for k := range 3 + r.IntN(3) {
		l := length
		if k == 1 && r.IntN(3) == 0 {
			l *= 2.5
		}
		out = append(out, phantom.Contact{From: at, To: at + l})
		at += l + gap
	}
	return out
}

// planted is a lead on a film.
type planted struct {
	lead    phantom.Lead
	centres []r2.Vec
}

// leadFilm takes a film with several leads apart from each other.
func leadFilm(t testing.TB, b phantom.Backdrop, view int, r *rand.Rand, e phantom.Exposure) (Picture, []planted) {
	t.Helper()
	right, up := r3.Vec{Y: 1}, r3.Vec{Z: 1}
	if view == 1 {
		right = r3.Vec{X: 1}
	}
	project := func(p phantom.Point) r2.Vec {
		q, ok := b.Project(p)
		if !ok {
			t.Fatal("a lead behind the source")
		}
		return q
	}
	var all []planted
	for try := 0; try < 400 && len(all) < 5; try++ {
		tip := r3.Add(r3.Scale(-45+90*r.Float64(), right), r3.Scale(-50+100*r.Float64(), up))
		radius := 40 + 160*r.Float64()
		if r.IntN(2) == 0 {
			radius = -radius
		}
		l := bentLead(tip, right, up, 2*math.Pi*r.Float64(), (r.Float64()-0.5)*0.7, radius, someContacts(r))
		ok := true
		for i := 0; i < len(l.Path); i += 8 {
			q := project(l.Path[i])
			ok = ok && math.Hypot(q.X-512, q.Y-512) < 470
			for _, o := range all {
				for j := 0; j < len(o.lead.Path); j += 8 {
					ok = ok && r2.Norm(r2.Sub(project(o.lead.Path[j]), q)) > 40
				}
			}
		}
		if !ok {
			continue
		}
		p := planted{lead: l}
		for k := range l.Contacts {
			c, _, _ := l.Centre(k)
			p.centres = append(p.centres, project(c))
		}
		all = append(all, p)
		e.Leads = append(e.Leads, l)
	}
	return pictureOf(t, b.Film(e)), all
}

// score of a study of leads.
type score struct {
	leads, complete, contacts int
	squares, normal, worst    float64
}

// add counts a lead and tells what went wrong with it.
func (s *score) add(p planted, got Contacts, err error) string {
	s.leads++
	if err != nil {
		return err.Error()
	}
	if len(got.Contacts) != len(p.centres) {
		return fmt.Sprintf("%d contacts for %d (confidence %.2f %v)", len(got.Contacts), len(p.centres), got.Confidence, got.Notes)
	}
	for k, c := range got.Contacts {
		if d := r2.Norm(r2.Sub(c.Centre, p.centres[k])); d > 3 {
			return fmt.Sprintf("a centre %.1f px off", d)
		}
	}
	s.complete++
	for k, c := range got.Contacts {
		s.contacts++
		d := r2.Sub(c.Centre, p.centres[k])
		s.squares += r2.Norm2(d) / 2
		det := c.Scatter.XX*c.Scatter.YY - c.Scatter.XY*c.Scatter.XY
		s.normal += (d.X*d.X*c.Scatter.YY - 2*d.X*d.Y*c.Scatter.XY + d.Y*d.Y*c.Scatter.XX) / det / 2
		s.worst = max(s.worst, r2.Norm(d))
	}
	return ""
}

func (s score) String() string {
	n := float64(s.contacts)
	return fmt.Sprintf("%d of %d leads complete, centres RMS %.3f px a coordinate (worst %.2f px), scatter over stated %.2f",
		s.complete, s.leads, math.Sqrt(s.squares/n), s.worst, math.Sqrt(s.normal/n))
}

// leadStudy looks for leads of random course, contacts and place on films at
// three doses and two blurs; the click scatters by 3 px about the first contact.
// The truth is the projection of the contacts' centres.
func leadStudy(t *testing.T, films int, body func(view int) phantom.Backdrop) score {
	r := rand.New(rand.NewPCG(7, 7))
	var total score
	for i, e := range []phantom.Exposure{{Quanta: 500}, {Quanta: 150}, {Quanta: 1500}, {Quanta: 500, Blur: 1.6}} {
		for view := range 2 {
			if films == 1 && view == i%2 {
				continue
			}
			var s score
			for range films {
				e.Seed++
				f, all := leadFilm(t, body(view), view, r, e)
				for _, p := range all {
					click := r2.Add(p.centres[0], r2.Vec{X: 3 * r.NormFloat64(), Y: 3 * r.NormFloat64()})
					got, err := findContacts(f, click)
					if why := s.add(p, got, err); why != "" {
						t.Logf("at %.0f,%.0f: %s", p.centres[0].X, p.centres[0].Y, why)
					}
					total.add(p, got, err)
				}
			}
			t.Logf("%d quanta, blur %.1f, view %d: %v", int(e.Quanta), e.Blur, view, s)
		}
	}
	t.Log("all:", total)
	if float64(total.complete) < 0.95*float64(total.leads) {
		t.Errorf("all contacts found of %d leads of %d", total.complete, total.leads)
	}
	if rms := math.Sqrt(total.squares / float64(total.contacts)); !(rms <= 0.15) {
		t.Errorf("centres RMS %.3f px a coordinate", rms)
	}
	if q := math.Sqrt(total.normal / float64(total.contacts)); math.Abs(q-1) > 0.2 {
		t.Errorf("centres scatter %.2f times what is stated", q)
	}
	return total
}

// Contacts before no bone: all found of 95 % of leads, each centre within 0.15 px
// (root mean square of a coordinate), as far off as is stated within 20 %.
func TestContacts(t *testing.T) {
	films := 1
	if os.Getenv("LEADLINE_STUDY") != "" {
		films = 12
	}
	leadStudy(t, films, func(view int) phantom.Backdrop {
		b, err := phantom.Empty(phantom.Direction{Primary: 90 * float64(view+1)})
		if err != nil {
			t.Fatal(err)
		}
		return b
	})
}

// The same with leads anywhere before and behind the bones of the made-up body,
// contacts that lie on the edge of dense bone among them.
func TestContactsOverBone(t *testing.T) {
	if os.Getenv("LEADLINE_STUDY") == "" {
		t.Skip("a study of minutes: set LEADLINE_STUDY=1 to run it")
	}
	leadStudy(t, 3, func(view int) phantom.Backdrop { return bodyFrom(t, view) })
}

// Where there is no lead, nothing is suggested, with a reason: on the back's soft
// tissue, a needle, two margins, a fusion line, gas.
func TestNoContacts(t *testing.T) {
	f := pictureOf(t, bodyFrom(t, 0).Film(phantom.Exposure{Needles: true, Seed: 3}))
	for _, at := range []r2.Vec{{X: 800, Y: 700}, {X: 700, Y: 460}, {X: 480, Y: 690}, {X: 340, Y: 380}, {X: 440, Y: 885}, {X: 90, Y: 420}} {
		if c, err := findContacts(f, at); !errors.Is(err, errNotSeen) {
			t.Errorf("at %g,%g: %v, %d contacts, confidence %.2f", at.X, at.Y, err, len(c.Contacts), c.Confidence)
		}
	}
	if _, err := findContacts(f); !errors.Is(err, imaging.ErrBadInput) {
		t.Error("no click:", err)
	}
}

func BenchmarkContacts(b *testing.B) {
	r := rand.New(rand.NewPCG(7, 7))
	f, all := leadFilm(b, bodyFrom(b, 0), 0, r, phantom.Exposure{Quanta: 500})
	for b.Loop() {
		if _, err := findContacts(f, all[0].centres[0]); err != nil {
			b.Fatal(err)
		}
	}
}
