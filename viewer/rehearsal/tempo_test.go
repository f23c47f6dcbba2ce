package rehearsal

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// BenchmarkDrag prints what a drawn frame costs while a point is dragged over
// two 1024 x 1024 16-bit films, against a window that shows just these two, in
// one run, and what of it is Go.
func BenchmarkDrag(b *testing.B) {
	s := newStage(b, "1280x800")
	dir := copyCase(b)
	leadline(b, "mark", dir, "--import", filepath.Join(programs(b), "practice", "marks.csv"), "--observer", "hand")
	// The caution lies over everything till it is acknowledged.
	state := b.TempDir()
	v := s.open(state, dir)
	v.begin()
	v.xdotool("keydown", "ctrl", "keydown", "q")
	v.ends()
	v.xdotool("keyup", "q", "keyup", "ctrl")
	b.ResetTimer()
	var said string
	for range b.N {
		cmd := exec.Command(filepath.Join(programs(b), "leadline-view"), dir, "--tempo")
		cmd.Env = s.environ(state)
		out, err := cmd.Output()
		if err != nil {
			b.Fatal(err)
		}
		said = strings.TrimSpace(string(out))
	}
	fmt.Println(said)
	for name, pattern := range map[string]string{
		"ms/plain-frame": `alone ([0-9.]+) ms`, "ms/drag-frame": `point ([0-9.]+) ms`,
		"drag/plain": `: ([0-9.]+) times`, "cpu-drag/plain": `\(processor ([0-9.]+)\)`,
		"ms/update": `update ([0-9.]+) ms`, "ms/draw": `draw ([0-9.]+) ms`,
	} {
		m := regexp.MustCompile(pattern).FindStringSubmatch(said)
		if m == nil {
			b.Fatalf("no %s in %q", name, said)
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(v, name)
	}
	b.ReportMetric(0, "ns/op")
}

// BenchmarkIdle prints the share of a core that an open window takes while
// nothing happens.
func BenchmarkIdle(b *testing.B) {
	s := newStage(b, "1280x800")
	v := s.open(b.TempDir(), copyCase(b), "--observer", "hand")
	v.begin()
	time.Sleep(2 * time.Second)
	const watch = 4 * time.Second
	b.ResetTimer()
	used := 0.0
	for range b.N {
		before := ticks(b, v.cmd.Process.Pid)
		time.Sleep(watch)
		// Linux counts in hundredths of a second (sysconf(_SC_CLK_TCK), proc(5)).
		used += float64(ticks(b, v.cmd.Process.Pid)-before) / 100 / watch.Seconds()
	}
	b.ReportMetric(100*used/float64(b.N), "%core")
	b.ReportMetric(0, "ns/op")
}

// ticks of processor time a process has used: fields 14 and 15 of its stat.
func ticks(b *testing.B, pid int) int {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	rest := string(data[strings.LastIndexByte(string(data), ')')+2:])
	f := strings.Fields(rest)
	user, err1 := strconv.Atoi(f[11])
	system, err2 := strconv.Atoi(f[12])
	if err1 != nil || err2 != nil {
		b.Fatalf("cannot read %q", rest)
	}
	return user + system
}
