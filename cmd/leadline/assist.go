package main

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/measure/mark"
)

var assistCommand = command{
	name:  "assist",
	args:  "CASE --near X,Y [--frame FILE[:N]] [--accept --object N1 --observer NAME]",
	about: "suggest needles and other marks near a point of a film",
	help: `Looks at one film, or a span's mean, and suggests marks, with a standard
deviation in pixels and how sure each is, or says why there is none. A
suggestion is nobody's mark: with --accept it is written as the observer's, its
origin kept as suggested; one of that object on that film is replaced, and the
former revision kept. A side or a level is never suggested.

Kinds:
  needle    near each point a needle, from its far end to its tip. Where both ends
            lie in the field, the one nearer the point is taken as the tip: the
            end face, the edge of a bevel or the apex of a cone, whichever metal
            lies farthest. With no point, near the tip of each needle that
            the observer has marked on that film. --option tip=blunt|bevel|cone
            where the point's shape is known.
Other kinds take all points together, as leadline-assist tells them.

Needs leadline-assist beside leadline or in the PATH.`,
	examples: []string{
		"leadline assist out/practice --frame lateral.dcm --near 404,640",
		"leadline assist out/practice --frame lateral.dcm --near 404,640 --accept --object N2 --observer fellow",
	},
	run: runAssist,
}

// asked is what a command line of assist asks for.
type asked struct {
	near    []assist.Point
	box     *assist.Box
	options map[string]string
	frame   mark.FrameRef
	kind    assist.Kind
	objects []string
}

func runAssist(c *call) error {
	var by reader
	by.flags(c)
	q := asked{options: map[string]string{}}
	c.Func("near", "point `X,Y` on the film, in pixels from its top left corner; may be given again", q.addNear)
	c.Func("box", "the tip lies in the box of corners `X,Y,X,Y`", q.setBox)
	c.Func("option", "`NAME=VALUE` of the kind; may be given again", q.addOption)
	frame := c.String("frame", "", "the film, as `FILE`[:N[-M]]; may be left out where the case has just one frame")
	kind := c.String("kind", "needle", "`KIND` of mark to look for")
	accept := c.Bool("accept", false, "write the suggestions as marks of the observer")
	objects := c.String("object", "", "the devices the suggestions are marks of, as `N1`[,N2...]")
	asJSON := c.Bool("json", false, "print JSON")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case *accept && by.observer == "":
		return c.usage("--accept needs --observer NAME: a mark is somebody's")
	case !*accept && *objects != "":
		return c.usage("--object says what is accepted: give it with --accept")
	}
	if *objects != "" {
		q.objects = strings.Split(*objects, ",")
	}
	q.kind = assist.Kind(*kind)
	defer by.close()
	if err := by.open(path); err != nil {
		return err
	}
	if q.frame, err = by.onlyFrame(*frame); err != nil {
		return err
	}
	if len(q.near) == 0 && q.box == nil && q.kind == assist.Needle {
		if err := by.markedTips(&q); err != nil {
			return err
		}
	}
	found, err := by.ask(&q)
	if err != nil {
		return err
	}
	if *accept {
		return by.acceptSuggestions(c, q, found)
	}
	if *asJSON {
		return by.suggestionsJSON(c.out, q, found)
	}
	by.printSuggestions(c.out, q, found)
	return nil
}

var pointText = regexp.MustCompile(`^\s*([-+0-9.eE]+)\s*,\s*([-+0-9.eE]+)\s*$`)

// readPoint reads X,Y.
func readPoint(text string) (assist.Point, error) {
	m := pointText.FindStringSubmatch(text)
	if m == nil {
		return assist.Point{}, fmt.Errorf("%q is no point: write it as 404,640.5", text)
	}
	x, errX := strconv.ParseFloat(m[1], 64)
	y, errY := strconv.ParseFloat(m[2], 64)
	if errX != nil || errY != nil {
		return assist.Point{}, fmt.Errorf("%q is no point: write it as 404,640.5", text)
	}
	return assist.Point{X: x, Y: y}, nil
}

func (q *asked) addNear(text string) error {
	p, err := readPoint(text)
	q.near = append(q.near, p)
	return err
}

func (q *asked) setBox(text string) error {
	parts := strings.Split(text, ",")
	if len(parts) != 4 {
		return fmt.Errorf("%q is no box: write it as 380,600,430,660", text)
	}
	from, err := readPoint(parts[0] + "," + parts[1])
	if err != nil {
		return err
	}
	to, err := readPoint(parts[2] + "," + parts[3])
	q.box = &assist.Box{From: from, To: to}
	return err
}

func (q *asked) addOption(text string) error {
	name, value, ok := strings.Cut(text, "=")
	if !ok {
		return fmt.Errorf("%q is no option: write it as NAME=VALUE", text)
	}
	q.options[name] = value
	return nil
}

// onlyFrame reads --frame, or takes the only frame there is.
func (r *reader) onlyFrame(text string) (mark.FrameRef, error) {
	if text != "" {
		return r.frame(text)
	}
	if all := r.kase.Headers(); len(all) == 1 && all[0].Frames <= 1 {
		return mark.One(all[0].SOPInstance, 1), nil
	}
	return mark.FrameRef{}, badInput("%s has several frames: say which with --frame; 'leadline list %s' shows them", r.kase.Path, r.typed())
}

// markedTips takes the tips of the observer's needles on the film as the points.
func (r *reader) markedTips(q *asked) error {
	none := badInput("no point given: say where to look with --near X,Y or --box X,Y,X,Y")
	if r.observer == "" {
		return none
	}
	report, err := r.load(noOptions)
	if err != nil {
		return err
	}
	for _, m := range report.Book.Marks {
		if m.Structure == mark.Needle && m.Frame == q.frame && len(m.Points) > 0 {
			q.near = append(q.near, assist.Point(m.Points[len(m.Points)-1]))
			if len(q.objects) < len(q.near) {
				q.objects = append(q.objects, m.Object)
			}
		}
	}
	if len(q.near) == 0 {
		return none
	}
	return nil
}

// finding is the answer to one question.
type finding struct {
	near []assist.Point
	assist.Answer
}

// ask the program: about each needle by itself, about all else at once.
func (r *reader) ask(q *asked) ([]finding, error) {
	frame, err := r.pixels(q.frame)
	if err != nil {
		return nil, err
	}
	request, pixels, err := assist.Ask(q.kind, frame)
	if err != nil {
		return nil, err
	}
	request.Box, request.Options = q.box, q.options
	groups := [][]assist.Point{q.near}
	if q.kind == assist.Needle && q.box == nil {
		groups = slices.Collect(slices.Chunk(q.near, 1))
	}
	var client assist.Client
	defer client.Close()
	var out []finding
	for _, near := range groups {
		request.Near = near
		answer, _, err := client.Ask(context.Background(), request, pixels)
		if err != nil {
			return nil, err
		}
		out = append(out, finding{near, answer})
	}
	return out, nil
}

// pixels of a frame or of a span's mean.
func (r *reader) pixels(at mark.FrameRef) (*imaging.Frame, error) {
	f := r.kase.File(at.Instance)
	if f == nil {
		return nil, badInput("%s has no film %s", r.kase.Path, at.Instance)
	}
	return f.Frame(at.First, at.Last)
}
