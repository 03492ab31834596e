package replay

import (
	"fmt"
	"maps"
	"net/netip"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"boundwalk/deploy/lab/program"
	"boundwalk/discover/simnet/simnettest"
)

// A walk is a recording as the device of a plan, with what its reading must give.
type walk struct {
	role   string
	tables []string // that it offers, among others
	lacks  []string // that it does not
	facts  func(t *testing.T, rec recording, s *program.Site)
}

var walks = map[string]walk{
	"cisco_16_switch": {role: "switch", tables: []string{"IF-MIB", "BRIDGE-MIB", "ENTITY-MIB", "EtherLike-MIB", "POWER-ETHERNET-MIB", "forwarding table", "IP-MIB neighbours"}, lacks: []string{"LLDP-MIB"}, facts: placesByVLAN},
	"switch-bridgeport-not-ifindex": {role: "switch", tables: []string{"IF-MIB", "BRIDGE-MIB", "Q-BRIDGE-MIB", "LLDP-MIB", "ENTITY-SENSOR-MIB", "forwarding table"},
		lacks: []string{"POWER-ETHERNET-MIB"}, facts: twoNeighbours},
	"switch-fdb-self-entries":     {role: "switch", tables: []string{"IF-MIB", "BRIDGE-MIB", "Q-BRIDGE-MIB", "forwarding table"}, lacks: []string{"POWER-ETHERNET-MIB"}, facts: selfRows},
	"switch-lldp-timemark":        {role: "switch", tables: []string{"IF-MIB", "LLDP-MIB", "forwarding table"}, lacks: []string{"POWER-ETHERNET-MIB"}, facts: oneNeighbour},
	"poe-box-no-standard-poe-mib": {role: "switch", tables: []string{"IF-MIB"}, lacks: []string{"POWER-ETHERNET-MIB", "IEEE8023-POWER-ETHERNET-MIB"}, facts: feedsUnseen},
	"media-converter-nul-strings": {role: "switch", tables: []string{"IF-MIB", "SNMPv2-MIB"}, lacks: []string{"BRIDGE-MIB"}, facts: cleanNames},
	"camera-a":                    {role: "camera", tables: []string{"IF-MIB", "HOST-RESOURCES-MIB", "SNMPv2-MIB"}, lacks: []string{"BRIDGE-MIB"}},
	"camera-no-system-group":      {role: "camera", lacks: []string{"SNMPv2-MIB", "IF-MIB"}},
	"ups-a":                       {role: "ups", tables: []string{"UPS-MIB", "SNMPv2-MIB"}, lacks: []string{"BRIDGE-MIB"}, facts: battery},
	"ups-d-minus-one":             {role: "ups", tables: []string{"UPS-MIB", "SNMPv2-MIB"}, lacks: []string{"IF-MIB"}, facts: battery},
}

// Each recording, played by snmpsim, is looked at by the program with a plan of
// one device: it is there, what it offers is read whole, and what it shows is
// clean. Then a plan is drafted from it, by which nothing is missing or unknown.
func TestWalks(t *testing.T) {
	t.Parallel()
	played := map[string]recording{}
	for _, path := range simnettest.Recordings(t) {
		name, _, _ := strings.Cut(filepath.Base(path), ".")
		played[name] = readFile(t, path)
	}
	if len(played) == 0 {
		t.Skip("no recordings")
	}
	contexts := map[string]recording{}
	for name, rec := range played {
		for index, in := range rec.contexts() {
			contexts[name+"@"+index] = in
		}
	}
	maps.Copy(contexts, played)
	at := play(t, contexts)
	for name, rec := range played {
		w, ok := walks[name]
		if !ok {
			w.role = "switch" // one that these tests do not know yet
		}
		t.Run(name, func(t *testing.T) {
			w.look(t, at, name, rec)
			drafted(t, at, name)
		})
	}
}

// look runs the program once and holds what it shows against the rows.
func (w walk) look(t *testing.T, at netip.AddrPort, name string, rec recording) {
	s := planned(t, at, name, w.role)
	r := s.Run()
	if got := r.Looked("quay", "snmp"); !strings.HasPrefix(got, "complete") {
		t.Errorf("the agent was looked at: %s", got)
	}
	for _, c := range r.Coverage {
		if c.Source == "snmp" && c.Result != "complete" && c.Result != "not-offered" {
			t.Errorf("%s: %s, %s", c.What, c.Result, c.Why)
		}
	}
	for _, table := range w.tables {
		if got := r.Looked("quay "+table, "snmp"); got != "complete" {
			t.Errorf("%s: %q, want complete", table, got)
		}
	}
	for _, table := range w.lacks {
		if got := r.Looked("quay "+table, "snmp"); !strings.HasPrefix(got, "not-offered") {
			t.Errorf("%s: %q, want not offered", table, got)
		}
	}
	if d := s.Devices()["quay"]; d.Presence != "present" || d.Role != w.role {
		t.Errorf("the device is %+v", d)
	}
	for _, args := range [][]string{{"run"}, {"show", "ports"}, {"show", "devices"}, {"show", "supplies"}, {"show", "tree"}, {"show", "device", "quay"}} {
		out, words, code := s.Output(args...)
		if code != 0 || words != "" {
			t.Errorf("%v ended with %d: %s", args, code, words)
		}
		checkText(t, args, out)
	}
	if w.facts != nil {
		w.facts(t, rec, s)
	}
}

// checkText: nothing that a device says leaves a mark on the terminal. Running
// text keeps to 80 columns; tables are as wide as they are where nobody sees them.
func checkText(t *testing.T, args []string, out string) {
	t.Helper()
	if !utf8.ValidString(out) {
		t.Errorf("%v: no UTF-8", args)
	}
	for line := range strings.Lines(out) {
		line = strings.TrimSuffix(line, "\n")
		if strings.ContainsFunc(line, unicode.IsControl) {
			t.Errorf("%v: a control character in %q", args, line)
		}
		if args[0] == "run" && utf8.RuneCountInString(line) > 80 {
			t.Errorf("%v: %d columns: %q", args, utf8.RuneCountInString(line), line)
		}
	}
}

func placesByRows(t *testing.T, rec recording, s *program.Site) {
	rec.checkPlaces(t, s, portsOf(t, s), rec.learned())
}

// placesByVLAN: what one VLAN's table tells alone is found as well.
func placesByVLAN(t *testing.T, rec recording, s *program.Site) {
	learned := rec.learned()
	for _, in := range rec.contexts() {
		maps.Copy(learned, in.learned())
	}
	if len(learned) < 20 {
		t.Errorf("%d addresses learned in all VLANs", len(learned))
	}
	rec.checkPlaces(t, s, portsOf(t, s), learned)
}

// Bridge ports 97 and on are interfaces 999001 and on: whoever took one number
// for the other would place nothing. Two cables lead to one neighbour.
func twoNeighbours(t *testing.T, rec recording, s *program.Site) {
	learned := rec.learned()
	if len(learned) < 20 {
		t.Errorf("%d addresses learned at a port", len(learned))
	}
	ports := portsOf(t, s)
	neighbour := "00:00:5e:00:53:01"
	delete(learned, neighbour) // LLDP places it: it is on both ports
	rec.checkPlaces(t, s, ports, learned)
	if d := s.Devices()[neighbour]; d.Role != "router" || d.Hostname != "sysname-2" || d.Where != "quay/47" && d.Where != "quay/48" {
		t.Errorf("the neighbour is %+v", d)
	}
}

// Rows of status self and port 0 are the switch's own addresses, on no port.
func selfRows(t *testing.T, rec recording, s *program.Site) {
	placesByRows(t, rec, s)
	devices := s.Devices()
	for row, status := range rec.column("1.3.6.1.2.1.17.7.1.2.2.1.3") { // dot1qTpFdbStatus, self is 4
		part := strings.Split(row, ".")
		if mac := macOf(strings.Join(part[len(part)-6:], ".")); status == "4" && !slices.Contains(devices["quay"].MACs, mac) {
			t.Errorf("%s is the switch's own, which has %v", mac, devices["quay"].MACs)
		}
	}
	for name, d := range devices {
		if strings.HasSuffix(d.Where, "/0") {
			t.Errorf("%s is on port 0", name)
		}
	}
}

// The neighbour's row has a time mark of 1169175 before the port's number.
func oneNeighbour(t *testing.T, rec recording, s *program.Site) {
	placesByRows(t, rec, s)
	var got []string
	for _, d := range s.Devices() {
		if d.Hostname == "sysname-1" {
			got = append(got, d.Role+" "+d.Where)
		}
	}
	if !slices.Equal(got, []string{"router quay/24"}) {
		t.Errorf("the neighbour: %v", got)
	}
}

// It feeds, and offers no table of it: that is no port that gives nothing.
func feedsUnseen(t *testing.T, rec recording, s *program.Site) {
	ports := portsOf(t, s)
	for _, name := range rec.column(ifName) {
		if p := ports[name]; p.Power != nil {
			t.Errorf("%s shows power %+v", name, p.Power)
		}
	}
	if len(ports) < 4 {
		t.Errorf("%d ports", len(ports))
	}
}

// Its names end in NUL, and its types are those of other wires.
func cleanNames(t *testing.T, rec recording, s *program.Site) {
	ports := portsOf(t, s)
	for _, name := range []string{"port0", "port1", "port2"} {
		if ports[name].Link != "up" {
			t.Errorf("%s: %+v among %d ports", name, ports[name], len(ports))
		}
	}
}

// Charge and load of a UPS stand in the report where its rows can be; -1 is neither.
func battery(t *testing.T, rec recording, s *program.Site) {
	out, _, _ := s.Output("show", "supplies")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 2 || len(strings.Fields(lines[1])) < 6 || strings.Fields(lines[0])[3] != "charge" {
		t.Fatalf("no line of a UPS:\n%s", out)
	}
	charge := strings.Fields(lines[1])[3]
	row := rec.column("1.3.6.1.2.1.33.1.2.4")["0"] // upsEstimatedChargeRemaining, percent
	if row == "-1" {
		row = "-"
	}
	if row == "" || charge != row {
		t.Errorf("charge %q, its row says %q:\n%s", charge, row, out)
	}
	load := 0
	for _, v := range rec.column("1.3.6.1.2.1.33.1.4.4.1.5") { // upsOutputPercentLoad of each line
		n, err := strconv.Atoi(v)
		if err != nil {
			t.Fatal(err)
		}
		load = max(load, n)
	}
	if want := fmt.Sprintf(" %d %% ", load); !strings.Contains(lines[1], want) || strings.Contains(out, "-1") {
		t.Errorf("no%sof load in\n%s", want, out)
	}
}

// drafted has the program draft a plan from the agent alone, and looks by it
// twice: whatever is there is in the plan.
func drafted(t *testing.T, at netip.AddrPort, name string) {
	s := program.NewSite(t, nil)
	s.Write("quay.community", name+"\n")
	cmd := s.Command("draft", "--network", "yard=127.0.0.0/29", "--access", "quay=v2c:file:quay.community", "--agent", at.String(), "--out", "plan.yaml")
	cmd.Args = cmd.Args[:len(cmd.Args)-2] // without the plan that it is to write
	cmd.Dir = s.Dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("draft: %v\n%s", err, out)
	}
	if out, words, code := s.Output("check"); code != 0 {
		t.Errorf("check of the draft ended with %d: %s%s", code, out, words)
	}
	for k := range 2 {
		r := s.Run()
		if got := r.Keys(); len(got) > 0 || r.Counts.Unknown > 0 {
			t.Errorf("run %d by the draft finds %v, and %d unknown", k+1, got, r.Counts.Unknown)
		}
	}
	for name, d := range s.Devices() {
		// A switch that must stand where several devices hang on a port shows nothing of its own.
		if d.Presence != "present" && (d.Role != "plain-switch" || d.Presence != "unseeable") {
			t.Errorf("%s is %+v", name, d)
		}
	}
}
