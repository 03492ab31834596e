// Package replay has Debian's snmpsim play recordings of real equipment to the
// program itself, as the switch, camera or UPS of a plan on loopback.
package replay

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"fmt"
	"maps"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
)

func TestMain(m *testing.M) { os.Exit(program.Main(m)) }

// A recording is the rows of a walk as their file has them: OID -> value, octets
// as they are. These tests read it by themselves: it is what they hold the program to.
type recording map[string]string

// read reads a recording of this machine, by its file's name, or skips the test
// where there is none.
func read(t *testing.T, name string) recording {
	t.Helper()
	for _, path := range simnettest.Recordings(t) {
		if base, _, _ := strings.Cut(filepath.Base(path), "."); base == name {
			return readFile(t, path)
		}
	}
	t.Skipf("no recording %s", name)
	return nil
}

func readFile(t *testing.T, path string) recording {
	t.Helper()
	rec := recording{}
	for line := range strings.Lines(simnettest.Text(t, path)) {
		part := strings.SplitN(strings.TrimRight(line, "\r\n"), "|", 3)
		if len(part) != 3 {
			t.Fatalf("%s: %q", path, line)
		}
		rec[part[0]+"|"+part[1]] = part[2]
	}
	if len(rec) == 0 {
		t.Fatalf("%s: no rows", path)
	}
	return rec
}

// column is what stands under an object: the rest of the OID -> value.
func (r recording) column(object string) map[string]string {
	out := map[string]string{}
	for k, v := range r {
		oid, tag, _ := strings.Cut(k, "|")
		index, ok := strings.CutPrefix(oid, object+".")
		if !ok {
			continue
		}
		if strings.HasSuffix(tag, "x") {
			raw, err := hex.DecodeString(v)
			if err != nil {
				continue // snmpsim would not have it either
			}
			v = string(raw)
		}
		out[index] = v
	}
	return out
}

// number is the value of an object's only row.
func (r recording) number(t *testing.T, object string) float64 {
	t.Helper()
	rows := r.column(object)
	if len(rows) != 1 {
		t.Fatalf("%s has %d rows, want one", object, len(rows))
	}
	for _, v := range rows {
		n, err := strconv.ParseFloat(v, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	return 0
}

// set is a copy with further rows, or others in the place of what was there.
func (r recording) set(rows map[string]string) recording {
	out := maps.Clone(r)
	for k, v := range rows {
		oid, _, _ := strings.Cut(k, "|")
		maps.DeleteFunc(out, func(had, _ string) bool { return strings.HasPrefix(had, oid+"|") })
		out[k] = v
	}
	return out
}

// groups is a copy with the rows under some arcs alone: the simulator indexes a
// tenth of a large recording in a tenth of the time.
func (r recording) groups(arcs ...string) recording {
	out := maps.Clone(r)
	maps.DeleteFunc(out, func(oid, _ string) bool {
		return !slices.ContainsFunc(arcs, func(arc string) bool { return strings.HasPrefix(oid, arc+".") })
	})
	return out
}

func (r recording) text() string {
	numbers := func(k string) []int {
		oid, _, _ := strings.Cut(k, "|")
		var out []int
		for _, x := range strings.Split(oid, ".") {
			n, _ := strconv.Atoi(x)
			out = append(out, n)
		}
		return out
	}
	keys := slices.SortedFunc(maps.Keys(r), func(a, b string) int {
		return cmp.Or(slices.Compare(numbers(a), numbers(b)), cmp.Compare(a, b))
	})
	var b strings.Builder
	for _, k := range keys {
		fmt.Fprintf(&b, "%s|%s\n", k, r[k])
	}
	return b.String()
}

// play has snmpsim play recordings until the test ends, each to its name as the
// community, and returns where once it answers.
func play(t *testing.T, recordings map[string]recording) netip.AddrPort {
	t.Helper()
	netns.Need(t, "snmpsimd")
	dir, err := os.MkdirTemp("", "bwreplay") // a test's own folder is closed to the user that snmpsimd becomes
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	for name, r := range recordings {
		if err := os.WriteFile(filepath.Join(dir, name+".snmprec"), []byte(r.text()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for range 5 { // another process may take the port that was free
		at := freePort(t)
		if ended := simulate(t, dir, at); answer(t, at, recordings, ended) {
			return at
		}
	}
	t.Fatal("snmpsimd does not start")
	return netip.AddrPort{}
}

// simulate runs snmpsim on a folder until the test ends; ended is closed when it
// has ended by itself.
func simulate(t *testing.T, dir string, at netip.AddrPort) (ended <-chan struct{}) {
	t.Helper()
	args := []string{"--data-dir=" + dir, "--cache-dir=" + filepath.Join(dir, "cache"), "--agent-udpv4-endpoint=" + at.String()}
	if os.Getuid() == 0 { // it refuses to stay root
		args = append(args, "--process-user=nobody", "--process-group=nogroup")
	}
	cmd := exec.Command("snmpsimd", args...)
	var words bytes.Buffer
	cmd.Stdout, cmd.Stderr = &words, &words
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		cmd.Wait() //nolint:errcheck // it is killed
		close(done)
	}()
	t.Cleanup(func() {
		cmd.Process.Kill() //nolint:errcheck // it may have ended
		<-done
		if t.Failed() {
			t.Logf("snmpsimd wrote:\n%s", words.String())
		}
	})
	return done
}

func freePort(t *testing.T) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

// answer returns once each community is answered, for snmpsim indexes its file
// first; false: the simulator ended before.
func answer(t *testing.T, at netip.AddrPort, recordings map[string]recording, ended <-chan struct{}) bool {
	t.Helper()
	end := time.Now().Add(2 * time.Minute)
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for name := range recordings {
		cred := snmp.Credentials{Version: "2c", Community: snmp.Secret(name)}
		for {
			select {
			case <-ended:
				return false
			case <-tick.C:
			}
			c, err := snmp.Dial(t.Context(), at, cred, snmp.Options{})
			if err == nil {
				c.Close() //nolint:errcheck // nothing was written
				break
			}
			if time.Now().After(end) {
				t.Fatalf("snmpsimd does not play %s: %v", name, err)
			}
		}
	}
	return true
}

// planned is a site with one device, whose agent is at an address of loopback;
// lines follow in its plan's list of devices.
func planned(t *testing.T, at netip.AddrPort, community, role string, lines ...string) *program.Site {
	t.Helper()
	s := program.NewSite(t, nil)
	s.Write("quay.community", community+"\n")
	s.Write("plan.yaml", "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 127.0.0.0/29}\n"+
		"sources: {mdns: false, ws_discovery: false, reverse_dns: false}\naccess:\n  quay: {snmp: v2c, community: file:quay.community}\ndevices:\n"+
		fmt.Sprintf("  quay: {role: %s, address: 127.0.0.1, access: quay, agent: %q}\n", role, at)+strings.Join(lines, ""))
	return s
}
