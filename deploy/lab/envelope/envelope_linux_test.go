package envelope

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// The pace that is promised, in requests a second.
const (
	scheduled = 20
	asked     = 100
)

// kernelTries is how often the kernel broadcasts for an address to which somebody
// sends (mcast_solicit), beside what the program does itself.
const kernelTries = 3

// everybody is how many addresses the two swept networks have beside the auditor's.
const everybody = 62 - 1 + 30 - 1

// keeps fails the test for each frame that breaks a rule, and for what only many
// together break: the pace, repeats for strangers, a second request to who is left
// alone. A capture that saw no sweep proves nothing.
func (q *quay) keeps(what string, frames []frame, rate, sweeps int) {
	q.t.Helper()
	q.wire.whole()
	r := q.rules()
	for _, f := range frames {
		if why := r.breach(f); why != "" {
			q.t.Errorf("%s: %s: %s", what, f, why)
		}
	}
	if n := busiest(frames, frame.swept); n > rate+slack {
		q.t.Errorf("%s: %d ARP requests within a second, want %d at most", what, n, rate+slack)
	}
	n := tries(frames)
	if len(n) != everybody {
		q.t.Errorf("%s: %d addresses were asked for, want %d: the capture is blind, or a sweep too short", what, len(n), everybody)
	}
	for addr, k := range n {
		most := sweeps
		if slices.Contains(r.asked, addr) && addr != stranger && addr != postOffice {
			most = 3*sweeps + 1 // a planned address is asked up to thrice, and once more before its login
		}
		if k > most {
			q.t.Errorf("%s: %s was asked for %d times, want %d at most", what, addr, k, most)
		}
	}
	if n[r.leftAlone] == 0 {
		q.t.Errorf("%s: who is left alone was not asked for by ARP either", what)
	}
	q.spoken(what, frames)
}

// Those on the wire that no plan names as a device.
var stranger, postOffice = netip.MustParseAddr("203.0.113.40"), netip.MustParseAddr("203.0.113.10")

// spoken: a secret is on the wire only where its protocol has it so: the community
// of SNMPv2c to its agent, also in its own late answer, the factory account to the camera that was tried.
func (q *quay) spoken(what string, frames []frame) {
	q.t.Helper()
	for _, f := range frames {
		for _, secret := range forms() {
			if !bytes.Contains(f.raw, []byte(secret)) {
				continue
			}
			switch {
			case secret == community && (f.proto == udp && f.dport == 161 || f.lateAnswer()) && f.dst == netip.MustParseAddr("203.0.113.2"):
			case strings.HasSuffix(basic, secret) && f.proto == tcp && f.dport == loginPort && f.dst == netip.MustParseAddr("203.0.113.31"):
			default:
				q.t.Errorf("%s: a secret in the clear: %s", what, f)
			}
		}
	}
}

var basic = base64.StdEncoding.EncodeToString([]byte("admin:" + factoryPassword))

// forms are the secrets, as they are and as protocols write them.
func forms() []string {
	out := []string{basic}
	for _, s := range []string{community, openAuth, coreAuth, corePriv, mailPassword, factoryPassword} {
		out = append(out, s, base64.StdEncoding.EncodeToString([]byte(s)))
	}
	return append(out, base64.StdEncoding.EncodeToString([]byte("\x00watch@ternquay.example\x00"+mailPassword)))
}

// kept: no secret is in what the program wrote: logbook, backup, drafts, words,
// logs and letters.
func (q *quay) kept() {
	q.t.Helper()
	texts := q.said
	for _, l := range q.mail.taken() {
		texts["a letter of "+string(l[:min(len(l), 60)])] = string(l)
	}
	entries, err := os.ReadDir(q.Dir)
	if err != nil {
		q.t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == "plan.yaml" || slices.Contains(secretFiles, e.Name()) || strings.HasPrefix(e.Name(), "203.0.113.") || !e.Type().IsRegular() {
			continue // what the test wrote
		}
		if strings.HasSuffix(e.Name(), ".db") {
			b, _ := q.Logbook(e.Name())
			texts[e.Name()] = string(b)
			continue
		}
		b, err := os.ReadFile(filepath.Join(q.Dir, e.Name()))
		if err != nil {
			q.t.Fatal(err)
		}
		texts[e.Name()] = string(b)
	}
	for where, text := range texts {
		for _, secret := range forms() {
			if strings.Contains(text, secret) {
				q.t.Errorf("%s holds a secret", where)
			}
		}
	}
}

// answered: the agents were read, or nothing that was not sent to them proves much.
func (q *quay) answered(frames []frame) {
	q.t.Helper()
	for _, a := range []string{"203.0.113.1", "203.0.113.2", "203.0.113.3"} {
		if !slices.ContainsFunc(frames, func(f frame) bool { return f.dport == 161 && f.dst == netip.MustParseAddr(a) && pdu(f.payload) != 0 }) {
			q.t.Errorf("the agent at %s was asked nothing", a)
		}
	}
}

// Runs that a person asks for: the first with logins, the second with logins again.
// The factory account is tried once, where the MAC address is the planned one, and
// nobody else is connected to at that port.
func TestAskedRuns(t *testing.T) {
	q := newQuay(t)
	for _, args := range [][]string{{"run", "--logins"}, {"run", "--logins", "--json"}} {
		frames := q.do(ran, args...)
		q.keeps(strings.Join(args, " "), frames, asked, 1)
		q.answered(frames)
		if n := q.doors["slip-cam"].logins.Load(); n != 1 {
			t.Errorf("%v: slip-cam counted %d logins, want 1", args, n)
		}
	}
	if q.lure.answers.Load() == 0 {
		t.Error("the device outside the plan's networks was not heard either")
	}
	for _, name := range []string{"gate-cam", "lift"} {
		if d := q.doors[name]; d.conns.Load()+d.logins.Load() != 0 {
			t.Errorf("%s counted %d connections and %d logins, want none", name, d.conns.Load(), d.logins.Load())
		}
	}
	q.do(ran, "show", "logins")
	q.do(ran, "show", "findings", "--json")
	q.do(ran, "digest")
	q.do(ran, "backup", filepath.Join(q.Dir, "copy.db"))
	if said := strings.Join(strings.Fields(q.said["show logins"]), " "); !strings.Contains(said, "still accepted") {
		t.Errorf("the login was not checked:\n%s", said)
	}
	for _, name := range []string{"logbook.db", "copy.db"} {
		if _, snapshots := q.Logbook(name); snapshots == 0 {
			t.Errorf("%s holds no snapshot that could be searched", name)
		}
	}
	q.kept()
}

// run is a line of show runs.
type run struct {
	State string
	Asked string `json:"asked_by"`
}

// The daemon's own run and pulses, under the unit's one right, and its mail.
func TestScheduledRun(t *testing.T) {
	q := newQuay(t)
	begin := time.Now()
	end := q.start("serve")
	netns.Until(t, "an urgent finding was mailed", func() bool { return len(q.mail.taken()) > 0 })
	after := time.Now()
	netns.Until(t, "a pulse came after the run", func() bool { return slices.ContainsFunc(q.since(after), func(f frame) bool { return f.dport == 161 }) })
	end()
	frames := q.since(begin)
	var rows []run
	q.JSON(&rows, "show", "runs")
	if len(rows) == 0 || slices.ContainsFunc(rows, func(r run) bool { return r.Asked == "person" }) {
		t.Fatalf("runs that the daemon made by itself: %+v", rows)
	}
	q.keeps("serve", frames, scheduled, len(rows))
	q.answered(frames)
	for name, d := range q.doors {
		if d.conns.Load() != 0 {
			t.Errorf("%s counted %d connections to its login, which nobody asked for", name, d.conns.Load())
		}
	}
	q.kept()
}

// A draft of one network looks there alone.
func TestDraft(t *testing.T) {
	q := newQuay(t)
	out := filepath.Join(q.Dir, "draft.yaml")
	frames := q.do([]int{0}, "draft", "--network", "yard=203.0.113.0/26,gateway=203.0.113.1", "--access", "yard=v2c:file:yard.community", "--agent", "203.0.113.2", "--out", out)
	q.wire.whole()
	r := q.rules()
	r.networks = []netip.Prefix{r.networks[0], r.networks[2]}
	for _, f := range frames {
		if why := r.breach(f); why != "" && !(f.swept() && f.dst == r.leftAlone) {
			t.Errorf("draft: %s: %s", f, why)
		}
	}
	if n, k := busiest(frames, frame.swept), len(tries(frames)); n > asked+slack || k != 61 {
		t.Errorf("draft: %d ARP requests within a second, %d addresses", n, k)
	}
	q.spoken("draft", frames)
	q.kept()
}

// A doctor, and a commission that waits in vain.
func TestDoctorAndCommission(t *testing.T) {
	q := newQuay(t)
	r := q.rules()
	frames := q.do([]int{0, 3}, "doctor")
	for _, f := range frames {
		if why := r.breach(f); why != "" {
			t.Errorf("doctor: %s: %s", f, why)
		}
		if f.swept() {
			t.Errorf("doctor: a sweep: %s", f)
		}
	}
	q.answered(frames)
	q.spoken("doctor", frames)
	frames = q.do([]int{0, 1, 3, 4}, "commission", "late-cam", "--wait", "2s", "--every", "1s", "--settle", "1s")
	q.keeps("commission", frames, asked, 1)
	q.answered(frames)
	for name, d := range q.doors {
		if d.conns.Load() != 0 {
			t.Errorf("%s counted %d connections to its login: it was another's turn", name, d.conns.Load())
		}
	}
	q.kept()
}

// Without the unit's one right the kernel asks, for an empty datagram to each
// address: within the same bounds, and he who is left alone is not met at all.
func TestWithoutRights(t *testing.T) {
	q := newQuay(t)
	q.Under = []string{"setpriv", fmt.Sprintf("--reuid=%d", uid), fmt.Sprintf("--regid=%d", uid), "--clear-groups", "--no-new-privs", "--bounding-set=-all"}
	frames := q.do(ran, "run")
	q.wire.whole()
	r := q.rules()
	woken := map[netip.Addr]bool{}
	for _, f := range frames {
		switch why := r.breach(f); {
		case f.dst == r.leftAlone, f.swept():
			t.Errorf("sent: %s", f)
		case f.proto == udp && f.dport == discard && r.planned(f.dst) && f.iface == r.wire && len(f.payload) == 0:
			woken[f.dst] = true
		case why != "" && !(f.arp == request && r.planned(f.dst)):
			t.Errorf("%s: %s", f, why)
		}
	}
	if !woken[stranger] { // who is not there gets none: the kernel does not find out where to
		t.Errorf("who got a datagram: %v; the unknown host is not among them", woken)
	}
	if n := busiest(frames, kernelRequest); n > asked+kernelTries*len(r.asked) {
		t.Errorf("%d ARP requests within a second, want %d at most", n, asked+kernelTries*len(r.asked))
	}
	q.answered(frames)
	q.spoken("run without rights", frames)
	q.kept()
}
