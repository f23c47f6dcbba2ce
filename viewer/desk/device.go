package desk

import (
	"fmt"
	"sort"
	"strings"

	"leadline/measure/mark"
	"leadline/measure/placement"
)

// Devices of the book, in order of their names.
func (d *Desk) Devices() []string {
	seen := map[string]bool{}
	var out []string
	for _, m := range d.now.book.Marks {
		if m.Object != "" && !seen[m.Object] {
			seen[m.Object] = true
			out = append(out, m.Object)
		}
	}
	sort.Strings(out)
	return out
}

// Device that numbers are shown for; empty while there is none.
func (d *Desk) Device() string { return d.device }

// DeviceReading is what the placement knows of the device as a whole.
func (d *Desk) DeviceReading() (placement.Device, bool) {
	for _, v := range d.measuring.placement.Devices {
		if v.Object == d.device {
			return v, true
		}
	}
	return placement.Device{Object: d.device}, false
}

func (d *Desk) firstDevice() string {
	if list := d.Devices(); len(list) > 0 {
		return list[0]
	}
	return ""
}

// checkDevice keeps the device one that there is.
func (d *Desk) checkDevice() {
	if dr := d.now.draft; dr != nil && dr.Mark.Object == d.device {
		return
	}
	for _, o := range d.Devices() {
		if o == d.device {
			return
		}
	}
	d.device = d.firstDevice()
}

// StepDevice shows the numbers of the next device.
func (d *Desk) StepDevice(step int) {
	list := d.Devices()
	if len(list) == 0 {
		d.say("No device marked yet: N marks a needle.")
		return
	}
	at := 0
	for i, o := range list {
		if o == d.device {
			at = i
		}
	}
	d.device = list[(at+step+len(list))%len(list)]
	d.say("Numbers for %s.", d.device)
}

// objectFor says which device a new mark on a frame belongs to: the device
// shown where it is of that kind and not yet marked there, else another one so,
// else a new one. For a contact: the lead shown, or the only one.
func (d *Desk) objectFor(s mark.Structure, ref mark.FrameRef) string {
	here, elsewhere := map[string]bool{}, map[string]bool{}
	for _, m := range d.now.book.Marks {
		if m.Structure == s && m.Frame == ref {
			here[m.Object] = true
		} else if m.Structure == s {
			elsewhere[m.Object] = true
		}
	}
	if s == mark.Contact {
		return d.leadFor()
	}
	if elsewhere[d.device] && !here[d.device] {
		return d.device
	}
	for _, o := range d.Devices() {
		if elsewhere[o] && !here[o] {
			return o
		}
	}
	return d.newObject(s)
}

func (d *Desk) leadFor() string {
	first := ""
	for _, m := range d.now.book.Marks {
		if m.Structure != mark.Lead && m.Structure != mark.Wire {
			continue
		}
		if m.Object == d.device {
			return m.Object
		}
		if first == "" {
			first = m.Object
		}
	}
	return first
}

func (d *Desk) newObject(s mark.Structure) string {
	letter := map[mark.Structure]string{mark.Needle: "N", mark.Wire: "W", mark.Lead: "L"}[s]
	taken := map[string]bool{}
	for _, o := range d.Devices() {
		taken[strings.SplitN(o, ".", 2)[0]] = true
	}
	for n := 1; ; n++ {
		if o := fmt.Sprintf("%s%d", letter, n); !taken[o] {
			return o
		}
	}
}
