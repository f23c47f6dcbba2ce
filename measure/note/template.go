package note

import (
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"leadline/imaging"
	"leadline/measure/operation"
	"leadline/measure/table"
)

// Template says in which words and order a note is written. It is text with these
// signs and nothing that runs:
//
//	{name}            a field; of a blank one, 'not recorded'
//	[[ ... ]]         left out where every field in it is blank
//	{each device}     what follows, up to {end}, once for each device
//	# words           a heading, left out where nothing stands under it
//	- words           an item of a list
//	\                 takes the next { } [ ] or \ as it is
//
// Lines that follow each other are one paragraph; a blank line ends it. Some
// fields are whole lists or tables and stand alone on their line. A template must
// hold {cautions}.
type Template struct {
	nodes  []node
	scaled bool // it holds {scale}
}

//go:embed default.template
var defaultText string

// DefaultTemplate is the text of the template that a note is written by unless
// another is given: something to begin from.
func DefaultTemplate() string { return defaultText }

var byDefault = func() Template {
	t, err := ParseTemplate(strings.NewReader(defaultText))
	if err != nil {
		panic(err) // the text is this package's own
	}
	return t
}()

type nodeKind int

const (
	literal nodeKind = iota
	fieldNode
	section
	eachDevice
)

type node struct {
	kind  nodeKind
	text  string // literal, or the field's name
	line  int
	inner []node
}

// Fields by where they may stand. Those of the operation come from its package.
var (
	wholeFields  = []string{"observer", "scale", "radiation"}
	deviceFields = []string{"device", "side", "level", "placement", "approach", "entry", "depth"}
	blockFields  = []string{"positions", "responses", "thresholds", "measurements", "cautions", "on-record"}
)

// FieldNames lists the fields of a template: those that stand in a line, those that
// stand there between {each device} and {end}, and those that stand alone.
func FieldNames() (inLine, ofDevice, alone []string) {
	for _, f := range operation.Fields() {
		if f.Form != operation.Dose { // {radiation} tells them with their sources
			inLine = append(inLine, f.Name)
		}
	}
	return append(inLine, wholeFields...), slices.Clone(deviceFields), slices.Clone(blockFields)
}

const maxTemplate = 64 << 10 // bytes

// ParseTemplate reads a template. What cannot be read is refused by its line,
// wrapping imaging.ErrBadInput.
func ParseTemplate(r io.Reader) (Template, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxTemplate+1))
	if err != nil {
		return Template{}, err
	}
	p := parser{rest: strings.ReplaceAll(strings.TrimPrefix(string(text), "\ufeff"), "\r\n", "\n"), line: 1}
	switch {
	case len(text) > maxTemplate:
		return Template{}, fmt.Errorf("%w: more than %d KiB: not a template", imaging.ErrBadInput, maxTemplate>>10)
	case !utf8.ValidString(p.rest):
		return Template{}, fmt.Errorf("%w: not UTF-8 text", imaging.ErrBadInput)
	}
	for i, l := range strings.Split(p.rest, "\n") {
		if strings.ContainsFunc(l, func(r rune) bool { return r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) }) {
			return Template{}, &table.Fault{Line: i + 1, What: "control characters cannot stand in a template"}
		}
	}
	nodes, err := p.nodes(literal)
	if err != nil {
		return Template{}, err
	}
	t := Template{nodes: nodes, scaled: p.used["scale"]}
	if !p.used["cautions"] {
		return Template{}, &table.Fault{Line: p.line, What: "the template ends without {cautions}: a note goes nowhere without them"}
	}
	return t, nil
}

type parser struct {
	rest   string
	line   int
	device bool
	used   map[string]bool
}

func (p *parser) fault(line int, format string, args ...any) error {
	return &table.Fault{Line: line, What: fmt.Sprintf(format, args...)}
}

// nodes reads up to the end of what kind opened; literal: up to the end of the text.
func (p *parser) nodes(of nodeKind) ([]node, error) {
	var out []node
	begun := p.line
	say := func(s string) {
		p.line += strings.Count(s, "\n")
		if n := len(out); n > 0 && out[n-1].kind == literal {
			out[n-1].text += s
			return
		}
		out = append(out, node{kind: literal, text: s, line: p.line})
	}
	for p.rest != "" {
		switch {
		case p.rest[0] == '\\' && len(p.rest) > 1 && strings.ContainsRune(`\{}[]`, rune(p.rest[1])):
			say(p.rest[1:2])
			p.rest = p.rest[2:]
		case strings.HasPrefix(p.rest, "[["):
			if of == section {
				return nil, p.fault(p.line, "[[ within [[, which line %d opens: close it with ]] first", begun)
			}
			p.rest = p.rest[2:]
			line := p.line
			inner, err := p.nodes(section)
			if err != nil {
				return nil, err
			}
			out = append(out, node{kind: section, line: line, inner: inner})
		case strings.HasPrefix(p.rest, "]]"):
			if of != section {
				return nil, p.fault(p.line, "]] closes nothing")
			}
			p.rest = p.rest[2:]
			return out, nil
		case p.rest[0] == '{':
			n, end, err := p.brace(of)
			if err != nil {
				return nil, err
			}
			if end {
				return out, nil
			}
			out = append(out, n)
		case p.rest[0] == '}':
			return nil, p.fault(p.line, "} closes nothing: write \\} for the sign itself")
		default:
			n := strings.IndexAny(p.rest[1:], `\{}[]`) + 1
			if n == 0 {
				n = len(p.rest)
			}
			say(p.rest[:n])
			p.rest = p.rest[n:]
		}
	}
	switch of {
	case section:
		return nil, p.fault(begun, "[[ is not closed")
	case eachDevice:
		return nil, p.fault(begun, "{each device} is not closed with {end}")
	}
	return out, nil
}

// brace reads what stands in braces.
func (p *parser) brace(of nodeKind) (n node, end bool, err error) {
	stop := strings.IndexAny(p.rest, "}\n")
	if stop < 0 || p.rest[stop] == '\n' {
		return n, false, p.fault(p.line, "{ is not closed on its line: write \\{ for the sign itself")
	}
	name := strings.TrimSpace(p.rest[1:stop])
	p.rest = p.rest[stop+1:]
	inLine, ofDevice, alone := FieldNames()
	switch {
	case name == "end" && of == eachDevice:
		p.device = false
		return n, true, nil
	case name == "end":
		return n, false, p.fault(p.line, "{end} closes nothing here")
	case name == "each device":
		if of != literal {
			return n, false, p.fault(p.line, "{each device} cannot stand within another or within [[ ]]")
		}
		p.device = true
		line := p.line
		inner, err := p.nodes(eachDevice)
		return node{kind: eachDevice, line: line, inner: inner}, false, err
	case slices.Contains(ofDevice, name) && !p.device:
		return n, false, p.fault(p.line, "field {%s} stands between {each device} and {end} only", name)
	case slices.Contains(alone, name) && p.device:
		return n, false, p.fault(p.line, "field {%s} cannot stand between {each device} and {end}", name)
	case !slices.Contains(inLine, name) && !slices.Contains(ofDevice, name) && !slices.Contains(alone, name):
		return n, false, p.fault(p.line, "field %s is not known: use %s", table.Quote("{"+name+"}"),
			strings.Join(slices.Concat(inLine, ofDevice, alone), ", "))
	}
	if p.used == nil {
		p.used = map[string]bool{}
	}
	p.used[name] = true
	return node{kind: fieldNode, text: name, line: p.line}, false, nil
}
