package post

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// memory is a figure of the daemon's process, in KiB, by its name in proc(5).
func (d *daemon) memory(name string) int {
	d.o.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", d.cmd.Process.Pid))
	must(d.o.t, err)
	for line := range strings.Lines(string(text)) {
		if f := strings.Fields(line); len(f) == 3 && f[0] == name+":" {
			n, err := strconv.Atoi(f[1])
			must(d.o.t, err)
			return n
		}
	}
	d.o.t.Fatalf("no %s in\n%s", name, text)
	return 0
}

// A daemon of 60 devices that has made its runs, drawn the pictures of a digest
// and mailed them gives back what it needed for that. It keeps 10 to 13 MiB of its
// own; the rest of what is resident are the program's own pages, which the system
// may drop. The bounds leave room for other machines, and catch what is kept by mistake.
func TestIdleDaemonIsSmall(t *testing.T) {
	const most, own = 60 << 10, 24 << 10
	o := openOffice(t)
	text, err := os.ReadFile(o.path("plan.yaml"))
	must(t, err)
	var more strings.Builder
	for i := range 32 {
		fmt.Fprintf(&more, "  hut-sensor-%d: {role: sensor, mac: \"00:00:5e:00:53:%02x\", address: 203.0.113.%d}\n", i, 0xa0+i, 66+i)
	}
	o.write("plan.yaml", strings.Replace(string(text), "radio_links:\n", more.String()+"radio_links:\n", 1))
	for range 2 {
		o.boundwalk(ran, "run")
	}
	o.pastWeek()
	o.servedFor(3)
	d := o.serve()
	netns.Until(t, "the digest is there", func() bool { return len(o.mail.digests("owner")) == 1 })
	if len(o.mail.digests("owner")[0].pictures) == 0 {
		t.Error("no picture in the digest")
	}
	for range 3 {
		o.boundwalk(ran, "run")
	}
	netns.Until(t, fmt.Sprintf("it holds less than %d KiB, %d of its own", most, own), func() bool { return d.memory("VmRSS") < most && d.memory("RssAnon") < own })
	t.Logf("resident %d KiB, of these %d KiB of its own, at most %d KiB", d.memory("VmRSS"), d.memory("RssAnon"), d.memory("VmHWM"))
}
