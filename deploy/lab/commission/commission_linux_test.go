package commission

import (
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// door is a camera's page that refuses every login, and counts them.
func door(t *testing.T, in *netns.Namespace, at string) *atomic.Int32 {
	t.Helper()
	var l net.Listener
	var err error
	in.Do(func() { l, err = net.Listen("tcp4", at) })
	if err != nil {
		t.Fatal(err)
	}
	n := &atomic.Int32{}
	page := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, _, ok := r.BasicAuth(); ok {
			n.Add(1)
		}
		w.Header().Set("WWW-Authenticate", `Basic realm="dome"`)
		w.WriteHeader(http.StatusUnauthorized)
	})}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		page.Serve(l) //nolint:errcheck // it ends by Close
	}()
	t.Cleanup(func() { page.Close(); <-ended })
	return n
}

// A camera is plugged in as real ones are: first its port finds and feeds it, then
// the link comes up, then it draws. All is proved, its factory account is tried
// once, and the logbook knows of it.
func TestCameraIsAdded(t *testing.T) {
	s := newShed(t)
	cam := s.host(5, mac(0x31), "203.0.113.11/27")
	s.lldp(cam, "slip-cam", "-I", "eth0")
	logins := door(t, cam, "203.0.113.11:80")
	s.agent()

	w := s.commission("slip-cam", "--json", "--wait", "2m")
	w.says("plug it in now")
	s.feeds(map[int]feed{5: {class: 3}})
	w.says("something changed at shed-switch power port 5")
	s.plug(5)
	w.says("there it is: slip-cam")
	s.feeds(map[int]feed{5: {3, 5100}})
	w.end(0)
	r := w.records(1)[0]
	r.expect(t, map[string][2]string{
		"port": {"pass", "shed-switch/p5, as planned"}, "MAC address": {"pass", mac(0x31)}, "link": {"pass", "up at 10 Gbit/s"},
		"class": {"pass", "class 3"}, "draw": {"pass", "5.1 W of 15.4 W, 33 %, measured"}, "address": {"pass", "203.0.113.11, in yard"},
		"name and maker": {"pass", "calls itself slip-cam"}, "firmware": {"unknown", ""}, "factory login": {"pass", "refused over http"},
		"uplink": {"pass", "port p1 of shed-switch up"}, "recording time": {"pass", "on recorder with 2 cameras"},
		"supply shed-switch": {"pass", "5 W of 60 W given"}, "reserve of shed-switch": {"pass", "of 60 W on paper"},
	})
	for _, x := range r.Steps {
		if x.What == "not looked at" {
			t.Errorf("%+v", x)
		}
	}
	if logins.Load() != 1 || r.Run == nil || r.Unkept != "" {
		t.Errorf("%d logins, run %v, %q", logins.Load(), r.Run, r.Unkept)
	}
	if d := s.Devices()["slip-cam"]; d.Presence != "present" || d.Where != "shed-switch/p5" {
		t.Errorf("the logbook has it as %+v", d)
	}
	if out, _, code := s.Output("commission", "slip-cam", "--last"); code != 0 || !strings.Contains(out, "5.1 W of 15.4 W") {
		t.Errorf("--last ends with %d:\n%s", code, out)
	}
	s.Run("--logins")
	if logins.Load() != 1 {
		t.Errorf("%d logins in a day", logins.Load())
	}
}

// A camera that still has its factory's address, and never speaks unasked: the
// range that the plan names is looked into.
func TestFactoryAddress(t *testing.T) {
	s := newShed(t)
	factory(s.host(6, mac(0x32)), "198.51.100.8/28")
	s.agent()
	w := s.commission("gate-cam", "--json", "--wait", "2m", "--settle", "5s")
	w.says("plug it in now")
	s.feeds(map[int]feed{6: {3, 4000}})
	s.plug(6)
	w.end(3)
	w.records(1)[0].expect(t, map[string][2]string{"port": {"pass", "shed-switch/p6"}, "class": {"pass", "class 3"},
		"address":       {"fail", "it speaks as 198.51.100.8, perhaps its factory address"},
		"factory login": {"unknown", "not checked: no MAC could be read on its address"}})
}

// A host without any address is told by what the switch knows of it.
func TestNoAddress(t *testing.T) {
	s := newShed(t)
	s.host(7, mac(0x66))
	s.agent()
	w := s.commission("--json", "--wait", "2m", "--settle", "5s")
	w.says("plug it in now")
	s.feeds(map[int]feed{7: {2, 3000}})
	s.plug(7)
	w.end(3)
	r := w.records(1)[0]
	r.expect(t, map[string][2]string{"port": {"pass", "shed-switch/p7"}, "class": {"pass", "class 2"},
		"address":       {"fail", "a device is on port p7 of shed-switch (class 2, MAC " + mac(0x66) + "), it has no address in this network"},
		"factory login": {"unknown", "an unknown device is never tried"}})
	if r.Planned || !strings.Contains(r.Entry, "at: shed-switch/p7") {
		t.Errorf("%+v", r)
	}
}

// Two at once: both are told, a name is asked for, and neither is written.
func TestTwoAtOnce(t *testing.T) {
	s := newShed(t)
	s.host(6, mac(0x65), "203.0.113.15/27")
	s.host(7, mac(0x66), "203.0.113.16/27")
	s.agent()
	w := s.commission("--json", "--write", "--wait", "2m", "--settle", "20s")
	w.says("plug it in now")
	s.plug(6, 7)
	w.end(1)
	w.records(2)
	for _, want := range []string{"2 devices came at once", mac(0x65) + " at shed-switch/p6", `name it: "boundwalk commission NAME"`, "2 new devices came at once", "plan.yaml stays as it is"} {
		if !strings.Contains(w.words(), want) {
			t.Errorf("it does not say %q:\n%s", want, w.words())
		}
	}
	if s.text("plan.yaml") != plan {
		t.Errorf("the plan has changed:\n%s", s.text("plan.yaml"))
	}
}

// Nothing is plugged in: it ends by its limit, with what it watched.
func TestNothingComes(t *testing.T) {
	s := newShed(t)
	s.agent()
	w := s.commission("--json", "--wait", "1s")
	w.end(3)
	w.records(1)[0].expect(t, map[string][2]string{"arrival": {"fail", "ports of shed-switch, the network yard by arp"}})
}

// A new device gets an entry, ready to take in; the rest of the plan stays byte for
// byte, check and run accept it, and the logbook knows it by its new name.
func TestNewDeviceIsTakenIn(t *testing.T) {
	s := newShed(t)
	s.lldp(s.host(7, mac(0x66), "203.0.113.16/27"), "loft-cam", "-I", "eth0")
	s.agent()
	w := s.commission("--json", "--write", "--wait", "2m", "--settle", "20s")
	w.says("plug it in now")
	s.feeds(map[int]feed{7: {2, 3000}})
	s.plug(7)
	w.end(0)
	r := w.records(1)[0]
	if r.Planned || !strings.Contains(r.Entry, "loft-cam:") || !strings.Contains(r.Entry, "at: shed-switch/p7") {
		t.Errorf("the entry: %q of %+v", r.Entry, r)
	}
	text := s.text("plan.yaml")
	before, after, ok := strings.Cut(text, "loft-cam:")
	if line := strings.LastIndexByte(before, '\n') + 1; ok {
		_, rest, _ := strings.Cut(after, "\n")
		for strings.HasPrefix(rest, "    ") {
			_, rest, _ = strings.Cut(rest, "\n")
		}
		text = before[:line] + rest
	}
	if text != plan {
		t.Errorf("without the new entry the plan is not what it was:\n%s", s.text("plan.yaml"))
	}
	if out, words, code := s.Output("check"); code != 0 {
		t.Errorf("check ends with %d: %s%s", code, out, words)
	}
	for _, key := range s.Run().Keys() {
		if strings.HasPrefix(key, "unknown-device/") {
			t.Errorf("taken in, and found unknown: %s", key)
		}
	}
	if d := s.Devices()["loft-cam"]; !d.Planned || d.Presence != "present" {
		t.Errorf("the logbook has it as %+v", d)
	}
	if _, words, code := s.Output("commission", "loft-cam", "--last"); code != 0 {
		t.Errorf("its record is not kept under its name: %s", words)
	}
}

// A planned camera whose MAC address nobody knew gets it, and its factory account
// is tried at once, since it hangs where it belongs.
func TestBoughtCameraGetsItsMAC(t *testing.T) {
	s := newShed(t)
	bought := strings.Replace(plan, `{model: dome, mac: "00:00:5e:00:53:32", `, "{model: dome, ", 1)
	s.Write("plan.yaml", bought)
	cam := s.host(6, mac(0x67), "203.0.113.12/27")
	logins := door(t, cam, "203.0.113.12:80")
	s.agent()
	w := s.commission("gate-cam", "--json", "--write", "--wait", "2m", "--settle", "20s")
	w.says("plug it in now")
	s.feeds(map[int]feed{6: {3, 4000}})
	s.plug(6)
	w.end(0)
	w.records(1)[0].expect(t, map[string][2]string{"MAC address": {"pass", mac(0x67)}, "factory login": {"pass", "refused"}})
	if logins.Load() != 1 {
		t.Errorf("%d logins", logins.Load())
	}
	if got := s.text("plan.yaml"); !strings.Contains(got, mac(0x67)) || len(got) != len(bought)+len(`, mac: ""`)+len(mac(0x67)) {
		t.Errorf("the plan:\n%s", got)
	}
}

// Without an agent on the switch only the network is seen, and the record says so.
func TestSwitchIsSilent(t *testing.T) {
	s := newShed(t)
	s.host(5, mac(0x31), "203.0.113.11/27")
	w := s.commission("slip-cam", "--json", "--wait", "2m", "--settle", "1s")
	w.says("plug it in now")
	s.plug(5)
	w.end(0)
	w.records(1)[0].expect(t, map[string][2]string{"port": {"unknown", "no switch that may be asked has learned it"}, "link": {"unknown", ""},
		"address": {"pass", "203.0.113.11, in yard"}, "not looked at": {"unknown", "shed-switch by snmp (refused"}})
}

// Without the right to open a raw socket the switch still tells, and the record
// says which part is weaker.
func TestWithoutRawSocket(t *testing.T) {
	netns.Need(t, "setpriv")
	s := newShed(t)
	s.host(5, mac(0x31), "203.0.113.11/27")
	s.agent()
	const nobody = 65534
	for _, path := range []string{s.Dir, s.Dir + "/plan.yaml", s.Dir + "/yard.community"} {
		if err := os.Chown(path, nobody, nobody); err != nil {
			t.Fatal(err)
		}
	}
	// The test's own folder above it keeps others out.
	if err := os.Chmod(s.Dir[:strings.LastIndexByte(s.Dir, '/')], 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := s.Command("commission", "slip-cam", "--json", "--every", "200ms", "--wait", "2m", "--settle", "10s")
	cmd.Args = slices.Insert(cmd.Args, 4, "setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "--bounding-set=-all")
	w := s.start(cmd)
	w.says("plug it in now")
	s.feeds(map[int]feed{5: {3, 5100}})
	s.plug(5)
	w.end(0)
	w.records(1)[0].expect(t, map[string][2]string{"port": {"pass", "shed-switch/p5"}, "class": {"pass", "class 3"}, "draw": {"pass", "5.1 W"},
		"address": {"pass", "203.0.113.11"}, "not looked at": {"unknown", "yard by arp (partial, without the right to open a raw socket"}})
}

// Stopped while it waits, and in its last look: it ends within 5 s, and nothing is
// half written.
func TestStopped(t *testing.T) {
	s := newShed(t)
	s.host(7, mac(0x66), "203.0.113.16/27")
	s.agent()
	out := s.Dir + "/record.html"
	stop := func(at string, plugged bool) {
		t.Helper()
		w := s.commission("--write", "--out", out, "--wait", "2m", "--settle", "10s")
		w.says("plug it in now")
		if plugged {
			s.plug(7)
		}
		w.says(at)
		start := time.Now()
		if err := w.cmd.Process.Signal(syscall.SIGINT); err != nil {
			t.Fatal(err)
		}
		w.end(1)
		if took := time.Since(start); took > 5*time.Second {
			t.Errorf("it took %v to end", took)
		}
		if w.out.Len() > 0 {
			t.Errorf("it wrote %q", w.out.String())
		}
	}
	stop("plug it in now", false)
	if got := s.text("plan.yaml"); got != plan {
		t.Errorf("the plan has changed:\n%s", got)
	}
	stop("one whole look", true)
	if _, words, code := s.Output("check"); code != 0 { // whole, be it with the entry or without
		t.Errorf("check: %s", words)
	}
	var runs []struct {
		State string
		Asked string `json:"asked_by"`
	}
	s.JSON(&runs, "show", "runs")
	if len(runs) != 1 || runs[0].State != "aborted" || runs[0].Asked != "commission" {
		t.Errorf("runs: %+v", runs)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a record was left of what was not proved")
	}
	names, err := os.ReadDir(s.Dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if strings.Contains(n.Name(), "record") || strings.HasPrefix(n.Name(), ".plan") {
			t.Errorf("%s is left behind", n.Name())
		}
	}
}

// Beside the service, which has the same plan and logbook: both do their runs, and
// the service knows of the device at its next one.
func TestBesideTheService(t *testing.T) {
	s := newShed(t)
	s.host(5, mac(0x31), "203.0.113.11/27")
	s.agent()
	s.Write("plan.yaml", plan+"service: {runs: \"*/5 * * * *\", pulse: 1m, socket: "+s.Dir+"/control.sock}\n")
	service := s.start(s.Command("serve"))
	service.says("msg=run")
	w := s.commission("slip-cam", "--json", "--wait", "2m", "--settle", "20s")
	w.says("plug it in now")
	s.feeds(map[int]feed{5: {3, 5100}})
	s.plug(5)
	w.end(0)
	r := w.records(1)[0]
	if r.Run == nil || r.Unkept != "" {
		t.Errorf("run %v, %q", r.Run, r.Unkept)
	}
	s.Run() // through the service
	if err := service.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	service.end(0)
	var runs []struct {
		State string
		Asked string `json:"asked_by"`
	}
	s.JSON(&runs, "show", "runs")
	asked := map[string]int{}
	for _, x := range runs {
		if x.State != "complete" {
			t.Errorf("%+v", x)
		}
		asked[x.Asked]++
	}
	if asked["commission"] != 1 || asked["person"] != 1 || asked["start"] != 1 {
		t.Errorf("runs: %+v", runs)
	}
	if d := s.Devices()["slip-cam"]; d.Presence != "present" {
		t.Errorf("%+v", d)
	}
}
