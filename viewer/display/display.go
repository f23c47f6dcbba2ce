// Package display answers, before anything tries to draw, whether there is a
// display to draw on.
//
// The graphics library opens the display while the program's packages are
// still being initialised and panics when it cannot. A program imports this
// package for its effect alone:
//
//	import _ "leadline/viewer/display"
//
// and, where there is no display, ends with one clear line and status 2
// instead. It runs first because packages are initialised in the order of
// their import paths as soon as what they import is ready (Go specification,
// "Program initialization"), and this one imports nothing but syscall, which
// the graphics library needs as well.
package display

import "syscall"

func init() {
	why := Missing()
	if why == "" {
		return
	}
	for _, arg := range arguments() {
		if arg == "--help" || arg == "-help" || arg == "-h" {
			_, _ = syscall.Write(1, []byte(Usage))
			syscall.Exit(0)
		}
	}
	line := "leadline-view: " + why + ": run it in a desktop session, or use 'leadline measure' and 'leadline frames', which need none\n"
	_, _ = syscall.Write(2, []byte(line))
	syscall.Exit(2)
}

// Usage is the help text of leadline-view. It stands here because it must be
// readable without a display as well.
const Usage = `leadline-view: mark a case on its frames and read where the needles lie

Usage:
  leadline-view [CASE] [--observer NAME] [--marks DIR] [--study NUMBER]
  leadline-view --forget

CASE is a folder of DICOM files, a zip archive of one, or a single file. Without
one, the cases opened last are listed; any can be dropped on the window.

  --observer NAME  whose marks to open and keep (default: the login name)
  --marks DIR      keep the marks in DIR instead of beside the images
  --study NUMBER   which study, where CASE holds several: 'leadline list CASE'
                   shows their numbers and UIDs
  --forget         forget which cases were opened and how they were looked at
  --help           this text

Examples:
  leadline-view out/practice --observer fellow
  leadline-view /media/cdrom --observer fellow --marks ~/cases/7
  leadline-view --forget

In the window, ? lists every key. Marks are saved by themselves, and the case
line says when. The images are never changed.

For review after the case, never for guidance. Depth is to the midline sacral
cortex, not to bowel, vessel or nerve.
`

// Missing says why no window can be opened, or nothing where one can be: the
// X display that DISPLAY names is asked for a connection when it is local.
func Missing() string {
	name, _ := syscall.Getenv("DISPLAY")
	if name == "" {
		return "no display (DISPLAY is not set)"
	}
	number, local := localNumber(name)
	if !local {
		return ""
	}
	path := "/tmp/.X11-unix/X" + number
	// The abstract socket first, as X servers on Linux offer both.
	if connects("@"+path) || connects(path) {
		return ""
	}
	return "no display (nothing answers at DISPLAY=" + printable(name) + ")"
}

// localNumber takes the display number out of :N, :N.S and unix:N.
func localNumber(name string) (string, bool) {
	colon := -1
	for i := range len(name) {
		if name[i] == ':' {
			colon = i
		}
	}
	if colon < 0 || (colon != 0 && name[:colon] != "unix") {
		return "", false
	}
	end := colon + 1
	for end < len(name) && name[end] >= '0' && name[end] <= '9' {
		end++
	}
	return name[colon+1 : end], end > colon+1
}

// connects asks a socket for a connection. One that is given stays open as long
// as the program: an X server without other clients starts anew when its last
// one leaves (Xserver(1), -noreset), and would turn the graphics library away
// while it does.
func connects(path string) bool {
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_STREAM|syscall.SOCK_CLOEXEC, 0)
	if err != nil {
		return false
	}
	if syscall.Connect(fd, &syscall.SockaddrUnix{Name: path}) == nil {
		return true
	}
	_ = syscall.Close(fd)
	return false
}

// arguments of this process, the program's name left out.
func arguments() []string {
	fd, err := syscall.Open("/proc/self/cmdline", syscall.O_RDONLY|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil
	}
	defer func() { _ = syscall.Close(fd) }()
	var all []byte
	buf := make([]byte, 4096)
	for {
		n, err := syscall.Read(fd, buf)
		if n <= 0 || err != nil {
			break
		}
		all = append(all, buf[:n]...)
	}
	var args []string
	start := 0
	for i, b := range all {
		if b == 0 {
			args = append(args, string(all[start:i]))
			start = i + 1
		}
	}
	if len(args) < 1 {
		return nil
	}
	return args[1:]
}

// printable replaces what could upset a terminal.
func printable(s string) string {
	out := []byte(s)
	for i, b := range out {
		if b < 0x20 || b > 0x7e {
			out[i] = '?'
		}
	}
	return string(out)
}
