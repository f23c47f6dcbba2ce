// Leadline-view is the window of Leadline: a case is marked on its frames, and
// the numbers follow.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"
	"unicode"

	"leadline/imaging"
	"leadline/viewer/desk"
	"leadline/viewer/display"
	"leadline/viewer/window"
)

// Exit codes, as of the leadline command.
const (
	failed   = 1 // the machine or the program failed
	badInput = 2 // what was given cannot be used
)

// collectAt is the garbage collector's goal in per cent: frames of a run come
// and go by the megabyte, and half again as much memory is room enough for them.
const collectAt = 40

func main() {
	debug.SetGCPercent(collectAt)
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "leadline-view: "+oneLine(err))
		os.Exit(code(err))
	}
}

func run(args []string, out io.Writer) error {
	var observer, marks, study string
	var opt window.Options
	fs := flag.NewFlagSet("leadline-view", flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.StringVar(&observer, "observer", "", "")
	fs.StringVar(&marks, "marks", "", "")
	fs.StringVar(&study, "study", "", "")
	// For automation and measurement, and so not in the help text.
	fs.StringVar(&opt.Automation, "automation", "", "")
	size := fs.String("size", "", "")
	tempo := fs.Bool("tempo", false, "")
	forget := fs.Bool("forget", false, "")
	var paths []string
	for rest := args; len(rest) > 0; {
		err := fs.Parse(rest)
		switch {
		case errors.Is(err, flag.ErrHelp):
			_, err := io.WriteString(out, display.Usage)
			return err
		case err != nil:
			return fmt.Errorf("%w: %v; see 'leadline-view --help'", imaging.ErrBadInput, err)
		case fs.NArg() == 0:
			rest = nil
			continue
		}
		paths, rest = append(paths, fs.Arg(0)), fs.Args()[1:]
	}
	if *forget {
		if len(paths) > 0 {
			return fmt.Errorf("%w: --forget takes no CASE", imaging.ErrBadInput)
		}
		if err := desk.Forget(); err != nil {
			return err
		}
		_, err := fmt.Fprintln(out, "Forgotten: which cases were opened, and how they were looked at. Marks stay where they are.")
		return err
	}
	if len(paths) > 1 || *tempo && len(paths) == 0 {
		return fmt.Errorf("%w: give one CASE, a folder of DICOM files, a zip archive of one, or one file; see 'leadline-view --help'", imaging.ErrBadInput)
	}
	if *size != "" {
		if _, err := fmt.Sscanf(*size, "%dx%d", &opt.Width, &opt.Height); err != nil {
			return fmt.Errorf("%w: --size %s: write it as 1280x800", imaging.ErrBadInput, *size)
		}
	}
	opt.Open = func(t desk.Target) (*desk.Opened, error) {
		where := ""
		if len(paths) > 0 && t.Path == paths[0] {
			where = marks // a folder of marks is one case's
		}
		return desk.OpenStudy(t.Path, t.Study, observer, where, window.Wake)
	}
	if len(paths) == 0 {
		return window.Run(desk.Welcome(window.Wake), opt)
	}
	o, err := opt.Open(desk.Target{Path: paths[0], Study: study})
	if err != nil {
		return err
	}
	if !*tempo {
		return window.Run(o, opt)
	}
	figures, err := window.Measure(o.Desk, opt)
	if err == nil {
		fmt.Fprintln(out, figures)
	}
	return errors.Join(err, o.Close())
}

// code tells what a person gave wrongly from what failed under way.
func code(err error) int {
	for _, kind := range []error{imaging.ErrNotDICOM, imaging.ErrUnsupported, imaging.ErrDamaged, imaging.ErrBadInput, imaging.ErrConflict, imaging.ErrInUse} {
		if errors.Is(err, kind) {
			return badInput
		}
	}
	return failed
}

// oneLine makes text harmless for a terminal, whatever a header put into it.
func oneLine(err error) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' {
			return ' '
		}
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, err.Error())
}
