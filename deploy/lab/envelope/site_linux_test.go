// Package envelope holds the program to what it may send: it records every frame
// that the auditor's machine sends while the built program does each thing that it
// can, with traps beside it, and judges all of them.
package envelope

import (
	"encoding/json"
	"flag"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("test.parallel", "5"); err != nil { // they mostly wait
		panic(err)
	}
	os.Exit(program.Main(m))
}

// The secrets of the site. They stand nowhere else, so that a search for them is sure.
const (
	community       = "quay-Heron-5512"
	openAuth        = "open-Plover-2201"
	coreAuth        = "core-Curlew-8834"
	corePriv        = "core-Dunlin-6190"
	mailPassword    = "mail-Turnstone-3307"
	factoryPassword = "dome-Petrel-4408"
)

// loginPort is where the cameras take their factory account, and nothing else is.
const loginPort = 8081

// thePlan has a trap for each rule: a counted network with a leg of its own, a host
// that is left alone and yet has all that invites asking, a camera whose MAC address
// is another's, an agent with a slip of the pen in its address. Two swept networks
// share the auditor's wire with one that no network names, and so has a leg.
const thePlan = `site: {name: Tern Quay, timezone: Europe/Dublin, boots: 1 s}
networks:
  yard:    {subnet: 203.0.113.0/26, subnet6: "2001:db8:10::/64", gateway: 203.0.113.1, unknown: urgent}
  cameras: {subnet: 203.0.113.64/27}
  berths:  {subnet: 198.51.100.0/25, unknown: count}
access:
  yard: {snmp: v2c, community: file:yard.community}
  open: {snmp: v3, user: reader, auth: sha, secrets: {auth: file:open.auth}}
  core: {snmp: v3, user: audit, auth: sha256, privacy: aes, secrets: {auth: file:core.auth, privacy: file:core.priv}}
models:
  dome: {role: camera, factory_login: {over: http, port: 8081, user: admin, password: ` + factoryPassword + `}}
devices:
  quay-router:   {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1, access: open}
  quay-switch:   {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, access: yard}
  rack-ups:      {role: ups, mac: "00:00:5e:00:53:03", address: 203.0.113.3, access: core}
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  quay-radio:    {role: radio, mac: "00:00:5e:00:53:20", address: 203.0.113.20}
  slip-cam:      {model: dome, mac: "00:00:5e:00:53:31", address: [203.0.113.31, "2001:db8:10::31"]}
  gate-cam:      {model: dome, mac: "00:00:5e:00:53:99", address: 203.0.113.32}
  late-cam:      {role: camera, mac: "00:00:5e:00:53:77", address: 203.0.113.33}
  winter-cam:    {role: camera, mac: "00:00:5e:00:53:66", address: 203.0.113.66}
  lift:          {model: dome, mac: "00:00:5e:00:53:50", address: 203.0.113.50, access: yard}
  pontoon-switch: {role: switch, address: 198.51.100.200, access: yard}
leave_alone: [203.0.113.50]
factory_logins: on-request
sources: {reach: true}
service:
  pulse: 1 s
  socket: %s
  mail: {to: owner@ternquay.example, from: watch@ternquay.example, server: "203.0.113.10:2525", security: plain, user: watch@ternquay.example, password: file:mail.secret}
`

// A quay is the site: the auditor with three legs, and who hangs on them.
type quay struct {
	*program.Site
	t     *testing.T
	hubs  map[string]*netns.Namespace // by the auditor's interface
	ports int
	doors map[string]*door
	mail  *mailbox
	lure  *lure
	wire  *capture
	said  map[string]string // what each command wrote
}

// newQuay wires it and begins to record. Its test runs beside the others: they
// mostly wait.
func newQuay(t *testing.T) *quay {
	t.Helper()
	t.Parallel()
	q := &quay{t: t, hubs: map[string]*netns.Namespace{}, doors: map[string]*door{}, said: map[string]string{}}
	in := netns.New(t)
	q.Site = program.NewSite(t, in)
	quiet(in)
	for i, leg := range []struct{ iface, mac, addr string }{
		{"eth0", "00:00:5e:00:53:09", "203.0.113.9/26"}, {"eth1", "00:00:5e:00:53:0a", "198.51.100.9/25"}, {"eth2", "00:00:5e:00:53:0b", "203.0.113.129/27"},
	} {
		q.hubs[leg.iface] = netns.New(t)
		q.hubs[leg.iface].Exec("sysctl", "-qw", "net.ipv6.conf.default.disable_ipv6=1")
		q.hubs[leg.iface].Bridge("br0")
		q.cable(in, leg.iface, leg.iface, leg.mac, leg.addr)
		if i == 0 {
			in.Address("eth0", netip.MustParsePrefix("203.0.113.70/27"), netip.MustParsePrefix("198.51.100.130/26"), netip.MustParsePrefix("2001:db8:10::9/64"))
		}
	}
	q.plug("eth1", "00:00:5e:00:53:a1", "198.51.100.1/25")
	q.plug("eth2", "00:00:5e:00:53:b1", "203.0.113.130/27")
	in.Exec("ip", "route", "add", "default", "via", "203.0.113.130") // what strays is seen there
	q.people()
	q.files()
	q.wire = record(t, in, "eth0", "eth1", "eth2")
	return q
}

// quiet keeps the kernel from sending by itself, but for its reports of multicast
// groups, so that what is seen is the program's.
func quiet(in *netns.Namespace) {
	for _, s := range []string{"router_solicitations=0", "accept_dad=0", "dad_transmits=0"} {
		in.Exec("sysctl", "-qw", "net.ipv6.conf.default."+s)
	}
}

// plug hangs a new host on the hub behind one of the auditor's interfaces.
func (q *quay) plug(hub, mac string, addrs ...string) *netns.Namespace {
	q.t.Helper()
	h := netns.New(q.t)
	q.cable(h, hub, "eth0", mac, addrs...)
	return h
}

func (q *quay) cable(h *netns.Namespace, hub, iface, mac string, addrs ...string) {
	q.t.Helper()
	q.ports++
	port := fmt.Sprintf("p%d", q.ports)
	netns.Veth(q.hubs[hub], port, h, iface)
	h.Exec("ip", "link", "set", iface, "down")
	h.MAC(iface, mac)
	h.Exec("ip", "link", "set", iface, "up")
	for _, a := range addrs {
		h.Address(iface, netip.MustParsePrefix(a))
	}
	q.hubs[hub].Exec("ip", "link", "set", port, "master", "br0")
}

// people are the hosts of the yard.
func (q *quay) people() {
	q.t.Helper()
	router := q.plug("eth0", "00:00:5e:00:53:01", "203.0.113.1/26")
	sw := q.plug("eth0", "00:00:5e:00:53:02", "203.0.113.2/26")
	ups := q.plug("eth0", "00:00:5e:00:53:03", "203.0.113.3/26")
	q.plug("eth0", "00:00:5e:00:53:20", "203.0.113.20/26")
	q.plug("eth0", "00:00:5e:00:53:40", "203.0.113.40/26") // unknown
	q.lure = setLure(q.t, q.plug("eth0", "00:00:5e:00:53:60", lureAddr+"/26"))
	q.mail = openMailbox(q.t, q.plug("eth0", "00:00:5e:00:53:10", "203.0.113.10/26"), "203.0.113.10:2525")
	slip := q.plug("eth0", "00:00:5e:00:53:31", "203.0.113.31/26", "2001:db8:10::31/64")
	gate := q.plug("eth0", "00:00:5e:00:53:32", "203.0.113.32/26")
	lift := q.plug("eth0", "00:00:5e:00:53:50", "203.0.113.50/26")
	q.doors["slip-cam"] = openDoor(slip, "203.0.113.31")
	q.doors["gate-cam"] = openDoor(gate, "203.0.113.32")
	q.doors["lift"] = openDoor(lift, "203.0.113.50")
	netns.Need(q.t, "snmpd")
	netns.Need(q.t, "snmpget")
	q.agent(sw, "203.0.113.2", "rocommunity "+community)
	const usual = "\nrocommunity public" // that check waits for no silence then
	q.agent(router, "203.0.113.1", "createUser reader SHA "+openAuth+"\nrouser reader auth"+usual)
	q.agent(ups, "203.0.113.3", "createUser audit SHA-256 "+coreAuth+" AES "+corePriv+"\nrouser audit priv"+usual)
	q.agent(lift, "203.0.113.50", "rocommunity "+community)
}

// agent runs Debian's snmpd on a host, and returns once it listens.
func (q *quay) agent(h *netns.Namespace, addr, access string) {
	q.t.Helper()
	conf := q.Write(addr+".conf", "agentAddress udp:"+addr+":161\n"+access+"\n")
	h.Start("env", "MIBS=", "SNMP_PERSISTENT_DIR="+filepath.Join(q.Dir, addr), "snmpd", "-f", "-LE", "3", "-C", "-c", conf, "-I", "-smux", "-p", filepath.Join(q.Dir, addr+".pid"))
	netns.Until(q.t, "the agent of "+addr+" listens", func() bool {
		return strings.Contains(h.Exec("ss", "-Hlun"), addr+":161")
	})
}

// The unit's user is nobody in particular, and has one right; see
// deploy/systemd/boundwalk.service.
const uid = 4711

var unit = []string{"setpriv", fmt.Sprintf("--reuid=%d", uid), fmt.Sprintf("--regid=%d", uid), "--clear-groups", "--no-new-privs",
	"--inh-caps=-all,+net_raw", "--ambient-caps=-all,+net_raw", "--bounding-set=-all,+net_raw"}

// files writes the plan and its secrets, and hands the folder to the unit's user.
func (q *quay) files() {
	q.t.Helper()
	q.Under = unit
	q.Write("plan.yaml", fmt.Sprintf(thePlan, filepath.Join(q.Dir, "control.sock")))
	for name, text := range map[string]string{"yard.community": community, "open.auth": openAuth, "core.auth": coreAuth, "core.priv": corePriv, "mail.secret": mailPassword} {
		q.Write(name, text+"\n")
	}
	for path, mode := range map[string]os.FileMode{q.Dir: 0o755, filepath.Dir(q.Dir): 0o755} {
		if err := os.Chmod(path, mode); err != nil {
			q.t.Fatal(err)
		}
	}
	for _, name := range append([]string{".", "plan.yaml"}, secretFiles...) {
		if err := os.Chown(filepath.Join(q.Dir, name), uid, uid); err != nil {
			q.t.Fatal(err)
		}
	}
}

var secretFiles = []string{"yard.community", "open.auth", "core.auth", "core.priv", "mail.secret"}

// rules are those of the site's plan.
func (q *quay) rules() rules {
	q.t.Helper()
	r := rules{wire: "eth0", own: [6]byte{0, 0, 0x5e, 0, 0x53, 0x09}, gateway: netip.MustParseAddr("203.0.113.1"), leftAlone: netip.MustParseAddr("203.0.113.50"),
		networks: []netip.Prefix{netip.MustParsePrefix("203.0.113.0/26"), netip.MustParsePrefix("203.0.113.64/27"), netip.MustParsePrefix("2001:db8:10::/64")}}
	for _, last := range []int{1, 2, 3, 10, 20, 31, 32, 33, 40, 66} { // 40 is unknown; its management ports are tried
		r.asked = append(r.asked, netip.AddrFrom4([4]byte{203, 0, 113, byte(last)}))
	}
	var links []struct {
		Info []struct{ Local netip.Addr } `json:"addr_info"`
	}
	if err := json.Unmarshal([]byte(q.In.Exec("ip", "-j", "addr", "show", "dev", "eth0")), &links); err != nil {
		q.t.Fatal(err)
	}
	r.asked = append(r.asked, netip.MustParseAddr("2001:db8:10::31"))
	for _, l := range links {
		for _, a := range l.Info {
			r.addrs = append(r.addrs, a.Local)
		}
	}
	return r
}

// do runs a command to its end, keeps what it wrote, and returns what was sent
// meanwhile. It fails where the exit is none of those wanted.
func (q *quay) do(want []int, args ...string) []frame {
	q.t.Helper()
	begin := time.Now()
	out, words, code := q.Output(args...)
	q.said[strings.Join(args, " ")] = out + words
	if !slices.Contains(want, code) {
		q.t.Fatalf("boundwalk %v ended with %d, want one of %v:\n%s%s", args, code, want, out, words)
	}
	return q.since(begin)
}

// ran are the exits of a run that was made.
var ran = []int{0, 3, 4}

// since are the frames that left after a time.
func (q *quay) since(begin time.Time) []frame {
	all := q.wire.sent()
	i := slices.IndexFunc(all, func(f frame) bool { return !f.at.Before(begin) })
	if i < 0 {
		return nil
	}
	return all[i:]
}

// start runs the daemon in the background.
func (q *quay) start(args ...string) (end func()) {
	q.t.Helper()
	cmd := q.Command(args...)
	log := q.Write("serve.log", "")
	out, err := os.OpenFile(log, os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		q.t.Fatal(err)
	}
	defer out.Close() // the daemon has its own copy
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		q.t.Fatal(err)
	}
	ended := false
	end = func() {
		if ended {
			return
		}
		ended = true
		cmd.Process.Signal(os.Interrupt) //nolint:errcheck // it may have ended by itself; then Wait says so
		err := cmd.Wait()
		text, _ := os.ReadFile(log)
		q.said["serve"] = string(text)
		if err != nil {
			q.t.Errorf("serve: %v\n%s", err, text)
		}
	}
	q.t.Cleanup(end)
	return end
}

// door is a camera's page at the login's port: it takes the factory account, and
// counts who comes.
type door struct{ conns, logins atomic.Int32 }

func openDoor(in *netns.Namespace, addr string) *door {
	d := &door{}
	in.Serve(fmt.Sprintf("%s:%d", addr, loginPort), &http.Server{Handler: d, ConnState: func(_ net.Conn, c http.ConnState) {
		if c == http.StateNew {
			d.conns.Add(1)
		}
	}})
	return d
}

func (d *door) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if _, p, ok := r.BasicAuth(); ok {
		d.logins.Add(1)
		if p == factoryPassword {
			fmt.Fprint(w, "settings")
			return
		}
	}
	w.Header().Set("WWW-Authenticate", `Basic realm="dome"`)
	w.WriteHeader(http.StatusUnauthorized)
}
