// Package netns makes network namespaces for tests, so that code which sends
// packets meets real kernels and real daemons and never the machine's own
// network. It works through the ip command of iproute2.
//
// Start with New, connect namespaces with Veth or Bridge, and run code inside
// with Do (one goroutine), Start (a daemon) or Rerun (the test itself, as a
// process of its own: needed where the code under test starts goroutines that
// open sockets). Everything is removed when the test ends.
package netns

import (
	"context"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// childVar is set for a process that Rerun started.
const childVar = "BOUNDWALK_NETNS"

// made numbers the namespaces and veth ends of this process. With the process
// id it makes their names unique on the machine.
var made atomic.Int64

// A Namespace is one network namespace with its loopback up. It is made by New.
type Namespace struct {
	// Name is what "ip netns" calls it.
	Name string

	t testing.TB
}

// New makes an empty namespace that is deleted when t ends. Without the right
// to do so it skips t, and fails it where CI=true.
func New(t testing.TB) *Namespace {
	t.Helper()
	need(t)
	n := &Namespace{Name: fmt.Sprintf("bw%d-%d", os.Getpid(), made.Add(1)), t: t}
	run(t, "ip", "netns", "add", n.Name)
	t.Cleanup(func() {
		if out, err := exec.Command("ip", "netns", "del", n.Name).CombinedOutput(); err != nil {
			t.Errorf("ip netns del %s: %v: %s", n.Name, err, out)
		}
	})
	n.Exec("ip", "link", "set", "lo", "up")
	return n
}

// need skips t where namespaces cannot be made, and fails it in CI.
func need(t testing.TB) {
	t.Helper()
	why := ""
	if os.Getuid() != 0 {
		why = "needs root to make network namespaces"
	} else if _, err := exec.LookPath("ip"); err != nil {
		why = "needs the ip command to make network namespaces"
	}
	if why == "" {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// Need skips t where program is not installed, and fails it where CI=true.
func Need(t testing.TB, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err == nil {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("needs %s", program)
	}
	t.Skipf("needs %s", program)
}

// Veth connects two namespaces (or one with itself) by a cable: a veth pair
// whose ends have the names given, both up.
func Veth(a *Namespace, aName string, b *Namespace, bName string) {
	a.t.Helper()
	run(a.t, "ip", "link", "add", aName, "netns", a.Name, "type", "veth", "peer", "name", bName, "netns", b.Name)
	a.Exec("ip", "link", "set", aName, "up")
	b.Exec("ip", "link", "set", bName, "up")
}

// Bridge makes a switch in n out of the interfaces given, and sets it up.
func (n *Namespace) Bridge(name string, ports ...string) {
	n.t.Helper()
	n.Exec("ip", "link", "add", name, "type", "bridge")
	for _, p := range ports {
		n.Exec("ip", "link", "set", p, "master", name)
	}
	n.Exec("ip", "link", "set", name, "up")
}

// Address adds an address with its prefix length to an interface of n. An IPv6
// address is usable at once: duplicate address detection is left out.
func (n *Namespace) Address(iface string, addrs ...netip.Prefix) {
	n.t.Helper()
	for _, a := range addrs {
		args := []string{"ip", "addr", "add", a.String(), "dev", iface}
		if a.Addr().Is6() {
			args = append(args, "nodad")
		}
		n.Exec(args...)
	}
}

// MAC sets the hardware address of an interface of n.
func (n *Namespace) MAC(iface, mac string) {
	n.t.Helper()
	n.Exec("ip", "link", "set", iface, "address", mac)
}

// Exec runs a command inside n, fails the test where it fails, and returns
// what it wrote to standard output.
func (n *Namespace) Exec(command ...string) string {
	n.t.Helper()
	return run(n.t, "ip", append([]string{"netns", "exec", n.Name}, command...)...)
}

// Start starts a daemon inside n. It must stay in the foreground. It is
// terminated when the test ends, and what it wrote is logged if the test failed.
func (n *Namespace) Start(command ...string) *exec.Cmd {
	n.t.Helper()
	log := filepath.Join(n.t.TempDir(), "output")
	out, err := os.Create(log)
	if err != nil {
		n.t.Fatal(err)
	}
	defer out.Close() // the child has its own copy
	cmd := exec.Command("ip", append([]string{"netns", "exec", n.Name}, command...)...)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		n.t.Fatalf("%s: %v", strings.Join(command, " "), err)
	}
	n.t.Cleanup(func() {
		stop(cmd)
		if n.t.Failed() {
			text, _ := os.ReadFile(log)
			n.t.Logf("%s wrote:\n%s", command[0], text)
		}
	})
	return cmd
}

// stop asks a process to end, and kills it if it has not within 5 s.
func stop(cmd *exec.Cmd) {
	ended := make(chan struct{})
	go func() {
		cmd.Wait() //nolint:errcheck // a terminated daemon always has an error
		close(ended)
	}()
	cmd.Process.Signal(syscall.SIGTERM) //nolint:errcheck // it may have ended by itself
	select {
	case <-ended:
	case <-time.After(5 * time.Second):
		cmd.Process.Kill() //nolint:errcheck // the same
		<-ended
	}
}

// Inside reports whether this process was started by Rerun.
func Inside() bool { return os.Getenv(childVar) != "" }

// Rerun runs the calling test again as a process inside n, with env added to
// its environment, and fails where that fails. The test asks Inside which of
// the two it is:
//
//	if netns.Inside() {
//		… // the code under test
//		return
//	}
//	site := netns.New(t) // and its wiring
//	site.Rerun(t)
func (n *Namespace) Rerun(t testing.TB, env ...string) {
	t.Helper()
	n.RerunAs(t, 0, env...)
}

// RerunAs is Rerun as the user id given, without any capability if it is not 0.
func (n *Namespace) RerunAs(t testing.TB, uid uint32, env ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	program := testBinary(t)
	args := []string{"netns", "exec", n.Name}
	if uid != 0 {
		args = append(args, "setpriv", fmt.Sprintf("--reuid=%d", uid), fmt.Sprintf("--regid=%d", uid), "--clear-groups", "--bounding-set=-all")
	}
	args = append(args, program, "-test.run=^"+t.Name()+"$", "-test.v", "-test.count=1")
	cmd := exec.CommandContext(ctx, "ip", args...)
	cmd.Env = append(append(os.Environ(), childVar+"="+n.Name), env...)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("inside %s: %v\n%s", n.Name, err, out)
	}
	if !strings.Contains(string(out), "--- PASS: "+t.Name()) {
		t.Fatalf("inside %s no test %s ran:\n%s", n.Name, t.Name(), out)
	}
	t.Logf("inside %s:\n%s", n.Name, out)
}

// testBinary returns a copy of the running test program that every user may
// run: the go command builds it in a folder that others cannot enter.
func testBinary(t testing.TB) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "bwtest")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "test")
	// Another process writes it: a file that this one holds open for writing is
	// inherited by whatever a parallel test forks just then, and cannot be run.
	run(t, "install", "--mode=0755", self, program)
	return program
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	var stderr strings.Builder
	cmd := exec.Command(name, args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v: %s%s", name, strings.Join(args, " "), err, stderr.String(), out)
	}
	return string(out)
}
