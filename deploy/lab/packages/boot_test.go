package packages_test

import (
	"bufio"
	"bytes"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// A booted is a Debian that runs, with systemd as its first process.
type booted struct {
	system
	pid string // of its systemd
}

// boot starts the system in a network namespace, and returns once it is up. It
// ends with the test, or with this process.
func boot(t *testing.T, s system, home *netns.Namespace) booted {
	t.Helper()
	script, err := filepath.Abs("testdata/boot.sh")
	if err != nil {
		t.Fatal(err)
	}
	var console bytes.Buffer
	c := exec.Command("ip", "netns", "exec", home.Name, "unshare", "--mount", "sh", script, s.root)
	c.Stderr = &console
	in, err := c.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		in.Close()
		if err := c.Wait(); err != nil || t.Failed() {
			t.Logf("the console, which ended with %v:\n%s", err, console.String())
		}
	})
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		t.Fatal("boot.sh says nothing")
	}
	parent := lines.Text()
	b := booted{system: s}
	netns.Until(t, "systemd has begun", func() bool {
		children, err := os.ReadFile(fmt.Sprintf("/proc/%s/task/%[1]s/children", parent))
		b.pid = strings.TrimSpace(string(children))
		name, _ := os.ReadFile(fmt.Sprintf("/proc/%s/comm", b.pid))
		return err == nil && string(name) == "systemd\n"
	})
	netns.Until(t, "systemd is up", func() bool {
		state, _ := b.command("systemctl", "is-system-running").Output() // an error until then
		return string(state) == "running\n" || string(state) == "degraded\n"
	})
	return b
}

func (b booted) command(args ...string) *exec.Cmd {
	c := exec.CommandContext(b.t.Context(), "nsenter", append([]string{"--target", b.pid, "--all", "--root", "--wd"}, args...)...)
	c.Env = []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive", "LC_ALL=C.UTF-8"}
	return c
}

// run runs a command inside, with the shell's words for what it should be.
func (b booted) run(args ...string) string {
	b.t.Helper()
	out, err := b.command(args...).CombinedOutput()
	if err != nil {
		b.t.Fatalf("%q: %v\n%s", args, err, out)
	}
	return string(out)
}

// as runs a command as a user inside, with the user's groups.
func (b booted) as(user string, args ...string) string {
	b.t.Helper()
	return b.run(append([]string{"setpriv", "--reuid=" + user, "--regid=" + user, "--init-groups"}, args...)...)
}

func (b booted) shell(script string) string {
	b.t.Helper()
	return b.run("sh", "-euc", script)
}

// property is one of the unit's, as systemd has it.
func (b booted) property(name string) string {
	b.t.Helper()
	return strings.TrimSpace(b.run("systemctl", "show", "boundwalk", "--value", "--property="+name))
}

func (b booted) want(when string, properties map[string]string) {
	b.t.Helper()
	for name, want := range properties {
		if got := b.property(name); got != want {
			b.t.Errorf("%s: %s is %q, want %q", when, name, got, want)
		}
	}
}

// logged waits until the service's journal holds the words.
func (b booted) logged(words string) {
	b.t.Helper()
	netns.Until(b.t, "the journal has "+words, func() bool {
		return strings.Contains(b.run("journalctl", "--unit=boundwalk", "--output=cat"), words)
	})
}

const bootPlan = `site: {name: Tern Quay, timezone: Europe/Dublin, boots: 1 s}
networks: {yard: {subnet: 203.0.113.0/27}}
sources: {mdns: false, ws_discovery: false, reverse_dns: false, echo: false, clocks: false}
devices:
  gate-cam: {role: camera, mac: "00:00:5e:00:53:12", address: 203.0.113.12}
`

// quick is a drop-in that makes systemd itself the judge: a stop that takes twice
// the 5 s that it may take on an idle machine fails, and life must be shown more often.
const quick = "[Service]\nTimeoutStopSec=10s\nWatchdogSec=30s\n"

// The unit under a real systemd, on a network with one camera: it becomes ready
// and sees the camera by its one right, a bad plan leaves it running, it stops
// in time, and it lives through an upgrade. Logbook and plan outlive the package.
func TestUnderSystemd(t *testing.T) {
	need(t, "debootstrap", "chroot", "dpkg-deb", "unshare", "nsenter", "ip")
	home, cam := netns.New(t), netns.New(t)
	netns.Veth(home, "yard", cam, "eth0")
	home.Address("yard", netip.MustParsePrefix("203.0.113.10/27"))
	cam.MAC("eth0", "00:00:5e:00:53:12")
	cam.Address("eth0", netip.MustParsePrefix("203.0.113.12/27"))
	b := boot(t, newSystem(t), home)

	b.installs(hostDeb(t, "1.2.3"))
	b.want("installed", map[string]string{"UnitFileState": "disabled", "ActiveState": "inactive"})
	b.shell("install -o root -g boundwalk -m 0640 /dev/stdin /etc/boundwalk/plan.yaml <<'E'\n" + bootPlan + "E")
	b.shell("mkdir -p /run/systemd/system/boundwalk.service.d; printf '" + strings.ReplaceAll(quick, "\n", `\n`) + "' > /run/systemd/system/boundwalk.service.d/quick.conf; systemctl daemon-reload")
	b.shell("adduser --quiet --disabled-password --gecos '' alice; adduser --quiet alice boundwalk")
	b.serves()
	b.reloads()
	b.restores()
	b.upgrades(hostDeb(t, "1.3.0"))
	b.goes()
}

func (b booted) installs(deb string) {
	b.t.Helper()
	output(b.t, "cp", deb, b.path("srv/boundwalk.deb"))
	b.run("apt-get", "install", "--yes", "--no-install-recommends", "/srv/boundwalk.deb")
}

// serves starts the service for good, and looks at what it may do and what it did.
func (b booted) serves() {
	b.t.Helper()
	b.run("systemctl", "enable", "--now", "boundwalk")
	b.want("started", map[string]string{"ActiveState": "active", "SubState": "running", "UnitFileState": "enabled", "NRestarts": "0", "NotifyAccess": "main"})
	status := b.run("cat", "/proc/"+b.property("MainPID")+"/status")
	for _, want := range []string{"CapEff:\t0000000000002000\n", "CapBnd:\t0000000000002000\n", "NoNewPrivs:\t1\n", "Seccomp:\t2\n"} {
		if !strings.Contains(status, want) {
			b.t.Errorf("the process has not %q:\n%s", want, status)
		}
	}
	first := b.property("WatchdogTimestampMonotonic")
	b.logged("msg=run run=1 ")
	if got := b.as("alice", "boundwalk", "show", "device", "gate-cam"); !strings.Contains(got, "203.0.113.12") {
		b.t.Errorf("a member of the group sees of the camera:\n%s", got)
	}
	if got := b.as("alice", "boundwalk", "run"); !strings.Contains(got, "1 of 1 planned devices") || strings.Contains(got, "in part") {
		b.t.Errorf("the run that a member of the group asked for:\n%s", got)
	}
	netns.Until(b.t, "the watchdog was told again", func() bool { return b.property("WatchdogTimestampMonotonic") != first })
}

// reloads offers a bad plan and then the good one again.
func (b booted) reloads() {
	b.t.Helper()
	pid := b.property("MainPID")
	b.shell("cp -p /etc/boundwalk/plan.yaml /srv/good.yaml; echo 'site: [' > /etc/boundwalk/plan.yaml; systemctl reload boundwalk")
	b.logged("the plan is bad; the last good one stays in use")
	b.want("with a bad plan", map[string]string{"ActiveState": "active", "MainPID": pid})
	b.shell("cat /srv/good.yaml > /etc/boundwalk/plan.yaml; boundwalk check --plan /etc/boundwalk/plan.yaml && systemctl reload boundwalk")
	b.logged("the plan was read")
	b.want("with a good plan", map[string]string{"ActiveState": "active", "MainPID": pid})
}

// restores takes a backup beside the running service, stops it and puts the
// backup back, by the commands of deploy/README.md.
func (b booted) restores() {
	b.t.Helper()
	for _, command := range documented(b.t, "## Upgrading") {
		b.shell(command)
	}
	before := b.as("alice", "boundwalk", "show", "runs")
	for k, command := range documented(b.t, "## Restoring") {
		b.shell(command)
		if k == 0 {
			b.want("stopped", map[string]string{"ActiveState": "inactive", "Result": "success", "ExecMainStatus": "0"})
			if got := b.as("alice", "boundwalk", "show", "runs"); got != before {
				b.t.Errorf("a member of the group reads of the stopped service's logbook\n%s, want\n%s", got, before)
			}
		}
	}
	b.want("restored", map[string]string{"ActiveState": "active"})
	if got := b.as("alice", "boundwalk", "show", "runs"); !strings.Contains(got, "person") {
		b.t.Errorf("restored, the runs are\n%s", got)
	}
}

// documented are the commands of a section of deploy/README.md, with the date of today for its example's.
func documented(t *testing.T, section string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(repository, "deploy/README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, after, ok := strings.Cut(string(text), section+"\n")
	if !ok {
		t.Fatalf("no section %q", section)
	}
	body, _, _ := strings.Cut(after, "\n## ")
	var out []string
	for line := range strings.Lines(body) {
		if command, ok := strings.CutPrefix(line, "    "); ok {
			out = append(out, strings.ReplaceAll(strings.TrimSpace(command), "2026-11-25", "$(date +%F)"))
		}
	}
	return out
}

func (b booted) upgrades(deb string) {
	b.t.Helper()
	pid := b.property("MainPID")
	b.installs(deb)
	b.want("upgraded", map[string]string{"ActiveState": "active", "UnitFileState": "enabled"})
	if b.property("MainPID") == pid {
		b.t.Error("the old program still serves")
	}
	if got := b.as("alice", "boundwalk", "version"); !strings.Contains(got, "1.3.0") {
		b.t.Errorf("upgraded: version %q, want 1.3.0", got)
	}
	b.logged(`msg=serving version="boundwalk 1.3.0`)
}

// goes removes and purges the package under the running service.
func (b booted) goes() {
	b.t.Helper()
	b.run("apt-get", "remove", "--yes", "boundwalk")
	b.want("removed", map[string]string{"ActiveState": "inactive", "LoadState": "not-found", "MainPID": "0"})
	b.run("apt-get", "purge", "--yes", "boundwalk")
	b.wantFiles("purged", plan, logbook, "!usr/bin/boundwalk", "!etc/systemd/system/multi-user.target.wants/boundwalk.service")
}
