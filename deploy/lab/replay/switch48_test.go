package replay

import (
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"boundwalk/deploy/lab/program"
)

// Objects of the recordings, with their names in the MIB modules.
const (
	ifType          = "1.3.6.1.2.1.2.2.1.3"
	ifAdminStatus   = "1.3.6.1.2.1.2.2.1.7"
	ifOperStatus    = "1.3.6.1.2.1.2.2.1.8"
	ifName          = "1.3.6.1.2.1.31.1.1.1.1"
	ifHighSpeed     = "1.3.6.1.2.1.31.1.1.1.15"
	basePortIfIndex = "1.3.6.1.2.1.17.1.4.1.2"       // dot1dBasePortIfIndex
	fdbPort         = "1.3.6.1.2.1.17.4.3.1.2"       // dot1dTpFdbPort
	vlanFDBPort     = "1.3.6.1.2.1.17.7.1.2.2.1.2"   // dot1qTpFdbPort
	detection       = "1.3.6.1.2.1.105.1.1.1.6"      // pethPsePortDetectionStatus
	classification  = "1.3.6.1.2.1.105.1.1.1.10"     // pethPsePortPowerClassifications
	mainPower       = "1.3.6.1.2.1.105.1.3.1.1.2"    // pethMainPsePower
	mainConsumption = "1.3.6.1.2.1.105.1.3.1.1.4"    // pethMainPseConsumptionPower
	entityName      = "1.3.6.1.2.1.47.1.1.1.1.7"     // entPhysicalName
	contextName     = "1.3.6.1.2.1.47.1.2.1.1.8"     // entLogicalContextName
	makersEntity    = "1.3.6.1.4.1.9.9.402.1.2.1.11" // the maker's own table: PSE row -> entity of its port
	makersDraw      = "1.3.6.1.4.1.9.9.402.1.2.1.9"  // the same: what the port draws, in milliwatts
)

// forPlaces and forPower are the arcs that tell of ports.
var (
	forPlaces = []string{"1.3.6.1.2.1.2", "1.3.6.1.2.1.31", "1.3.6.1.2.1.17"}
	forPower  = []string{"1.3.6.1.2.1.2", "1.3.6.1.2.1.31", "1.3.6.1.2.1.47", "1.3.6.1.2.1.105"}
)

// A portRow is a line of show ports.
type portRow struct {
	Switch, Port, Interface, Link string

	SpeedMbps *float64 `json:"speed_mbps"`
	Devices   []string
	Power     *struct {
		State     string
		Class     *int
		DrawW     *float64 `json:"draw_w"`
		DrawBasis string   `json:"draw_basis"`
		LimitW    *float64 `json:"limit_w"`
		MappedBy  string   `json:"mapped_by"`
	}
}

// portsOf are the last run's ports by the name of their interface.
func portsOf(t *testing.T, s *program.Site) map[string]portRow {
	t.Helper()
	var rows []portRow
	s.JSON(&rows, "show", "ports")
	out := map[string]portRow{}
	for _, r := range rows {
		if _, twice := out[r.Interface]; twice {
			t.Errorf("the interface %s has two lines", r.Interface)
		}
		out[r.Interface] = r
	}
	return out
}

// pseNames leads each PSE row of the 48-port switch to the name of its port, by
// the maker's table, which the program does not read.
func (r recording) pseNames(t *testing.T) map[string]string {
	t.Helper()
	names, out := r.column(entityName), map[string]string{}
	for row, entity := range r.column(makersEntity) {
		number, ok := strings.CutPrefix(names[entity], "FastEthernet")
		if !ok {
			t.Fatalf("row %s has the entity %s %q", row, entity, names[entity])
		}
		out[row] = "Fa" + number
	}
	if len(out) != 48 || len(r.column(detection)) != 48 {
		t.Fatalf("%d rows are led to a port, and there are %d", len(out), len(r.column(detection)))
	}
	return out
}

// stateOf is a PSE row's state and class in the words of show ports (RFC 3621:
// the class counts from 1, and holds while the port delivers).
func (r recording) stateOf(row string) string {
	state := map[string]string{"1": "off", "2": "searching", "3": "delivering", "4": "fault", "5": "test"}[r.column(detection)[row]]
	if state == "delivering" {
		class, _ := strconv.Atoi(r.column(classification)[row])
		state += fmt.Sprint(" ", class-1)
	}
	return state
}

func (p portRow) state() string {
	if p.Power == nil {
		return ""
	}
	s := p.Power.State
	if p.Power.Class != nil {
		s += fmt.Sprint(" ", *p.Power.Class)
	}
	return s
}

func TestSwitch48(t *testing.T) {
	t.Parallel()
	rec := read(t, "cisco_16_switch")
	s := planned(t, play(t, map[string]recording{"tern": rec.groups("1.3.6.1.2.1")}), "tern", "switch")
	r := s.Run()
	ports := portsOf(t, s)

	var supplies []struct {
		Switch    string
		BudgetW   float64 `json:"budget_w"`
		ReportedW float64 `json:"reported_w"`
		ReservedW float64 `json:"reserved_w"`
	}
	s.JSON(&supplies, "show", "supplies")
	if len(supplies) != 1 || supplies[0].BudgetW != rec.number(t, mainPower) || supplies[0].ReportedW != rec.number(t, mainConsumption) || supplies[0].BudgetW != 370 {
		t.Errorf("supplies: %+v", supplies)
	}
	reserved := 0.0
	for row, name := range rec.pseNames(t) {
		p := ports[name]
		want := rec.stateOf(row)
		if p.state() != want || p.Power.MappedBy != "entity-order" {
			t.Errorf("row %s at %s: %q by %+v, want %q", row, name, p.state(), p.Power, want)
			continue
		}
		if p.Power.DrawW != nil {
			t.Errorf("%s draws %g W by %s: RFC 3621 has no watts for a port", name, *p.Power.DrawW, p.Power.DrawBasis)
		}
		if ceiling := map[string]float64{"delivering 3": 15.4, "delivering 4": 30}[want]; ceiling > 0 {
			reserved += ceiling
			if p.Power.LimitW == nil || *p.Power.LimitW != ceiling {
				t.Errorf("%s may draw %v W, want %g by its class", name, p.Power.LimitW, ceiling)
			}
		}
	}
	if len(supplies) == 1 && supplies[0].ReservedW != reserved || reserved != 15.4+30 {
		t.Errorf("reserved %+v, want %g W for a class 3 and a class 4", supplies, reserved)
	}
	rec.checkLinks(t, ports)
	rec.checkPlaces(t, s, ports, rec.learned())
	var unknown []string
	for mac := range rec.learned() {
		unknown = append(unknown, "unknown-device/"+mac)
	}
	if got := r.Keys(); !slices.Equal(got, unknown) {
		t.Errorf("findings %v, want %v", got, unknown)
	}
}

// checkLinks holds name, link and speed of each Ethernet interface against its rows.
func (r recording) checkLinks(t *testing.T, ports map[string]portRow) {
	t.Helper()
	names, oper, admin, speed := r.column(ifName), r.column(ifOperStatus), r.column(ifAdminStatus), r.column(ifHighSpeed)
	n := 0
	for index, kind := range r.column(ifType) {
		if kind != "6" { // ethernetCsmacd
			continue
		}
		n++
		link, mbps := map[string]string{"1": "up", "2": "down"}[oper[index]], ""
		if link == "up" {
			mbps = speed[index]
		}
		if admin[index] == "2" {
			link = "off"
		}
		p, got := ports[names[index]], ""
		if p.SpeedMbps != nil {
			got = fmt.Sprint(*p.SpeedMbps)
		}
		if p.Link != link || got != mbps {
			t.Errorf("%s is %q at %q Mbit/s, its rows say %q at %q", names[index], p.Link, got, link, mbps)
		}
	}
	if n < 24 {
		t.Errorf("the recording has %d Ethernet interfaces", n)
	}
}

// learned are the addresses that the forwarding tables have learned at a bridge
// port with an interface -> its name. Rows of the switch itself and of port 0
// are none (RFC 4188, dot1dTpFdbStatus: learned is 3).
func (r recording) learned() map[string]string {
	out := map[string]string{}
	names, index := r.column(ifName), r.column(basePortIfIndex)
	for _, table := range []string{fdbPort, vlanFDBPort} {
		status := r.column(table[:len(table)-1] + "3")
		for row, port := range r.column(table) {
			if name := names[index[port]]; name != "" && status[row] == "3" {
				part := strings.Split(row, ".") // the VLAN's table comes before the address
				out[macOf(strings.Join(part[len(part)-6:], "."))] = name
			}
		}
	}
	return out
}

// contexts are the tables of single VLANs that the agent lists, by what comes behind the
// "@" of a community: recordings have the default one only, so an address of our own
// is learned in each, each at another port.
func (r recording) contexts() map[string]recording {
	out := map[string]recording{}
	bridge := r.column(basePortIfIndex)
	ports := slices.Sorted(maps.Keys(bridge))
	names := slices.Sorted(maps.Values(r.column(contextName)))
	for k, name := range names[:min(len(names), len(ports))] {
		vlan, _ := strings.CutPrefix(name, "vlan-")
		index := fmt.Sprintf(".0.0.94.0.83.%d", 0x80+k)
		out[vlan] = r.groups("1.3.6.1.2.1.1", basePortIfIndex, ifName).set(map[string]string{
			fdbPort + index + "|2": ports[k], "1.3.6.1.2.1.17.4.3.1.3" + index + "|2": "3", // dot1dTpFdbStatus learned(3)
		})
	}
	return out
}

// macOf writes an index of six numbers as an address.
func macOf(index string) string {
	var b []byte
	for _, x := range strings.Split(index, ".") {
		n, _ := strconv.Atoi(x)
		b = append(b, byte(n))
	}
	var parts []string
	for _, x := range b {
		parts = append(parts, hex.EncodeToString([]byte{x}))
	}
	return strings.Join(parts, ":")
}

// checkPlaces: each address is a device at the port where it was learned.
func (r recording) checkPlaces(t *testing.T, s *program.Site, ports map[string]portRow, learned map[string]string) {
	t.Helper()
	where := map[string]string{}
	for _, d := range s.Devices() {
		for _, m := range d.MACs {
			where[m] = d.Where
		}
	}
	for mac, name := range learned {
		p := ports[name]
		if want := p.Switch + "/" + p.Port; where[mac] != want || p.Port == "" {
			t.Errorf("%s is at %q, its row says %s (%s)", mac, where[mac], name, want)
		}
	}
	if len(learned) == 0 {
		t.Error("the recording has no address at a port")
	}
}

// Two more recordings are made of it, in which the 48 PSE rows have states and
// classes by a code of two digits: together they tell every row from every
// other, and each must come out at its own port.
func TestSwitch48EachRowAtItsPort(t *testing.T) {
	t.Parallel()
	rec := read(t, "cisco_16_switch")
	code := []struct{ state, class string }{{"2", "1"}, {"4", "1"}, {"3", "1"}, {"3", "2"}, {"3", "3"}, {"3", "4"}, {"3", "5"}}
	names := rec.pseNames(t)
	var rows []string
	for row := range names {
		rows = append(rows, row)
	}
	slices.Sort(rows) // any order will do
	played := map[string]recording{}
	for digit, name := range []string{"units", "sevens"} {
		changed := map[string]string{}
		for k, row := range rows {
			c := code[k%7]
			if digit == 1 {
				c = code[k/7]
			}
			changed[detection+"."+row+"|2"], changed[classification+"."+row+"|2"] = c.state, c.class
		}
		played[name] = rec.groups(forPower...).set(changed)
	}
	at := play(t, played)
	for name, rec := range played {
		s := planned(t, at, name, "switch")
		s.Run()
		ports := portsOf(t, s)
		for row, port := range names {
			if got, want := ports[port].state(), rec.stateOf(row); got != want {
				t.Errorf("%s: row %s at %s is %q, want %q", name, row, port, got, want)
			}
		}
	}
}

// With five addresses behind a port and one behind each of eight others: the
// five are behind an uplink, the eight at their ports; what the plan hangs there
// is found there, and what it hangs elsewhere has moved.
func TestSwitch48Places(t *testing.T) {
	t.Parallel()
	rec := read(t, "cisco_16_switch")
	names, bridge := rec.column(ifName), rec.column(basePortIfIndex)
	var ports []string // bridge ports of FastEthernet
	for port, index := range bridge {
		if strings.HasPrefix(names[index], "Fa") {
			ports = append(ports, port)
		}
	}
	slices.Sort(ports)
	rows := map[string]string{}
	learn := func(k int, port string) {
		index := fmt.Sprintf(".0.0.94.0.83.%d", k)
		rows["1.3.6.1.2.1.17.4.3.1.1"+index+"|4x"] = fmt.Sprintf("00005e0053%02x", k)
		rows[fdbPort+index+"|2"], rows["1.3.6.1.2.1.17.4.3.1.3"+index+"|2"] = port, "3" // learned(3)
	}
	for k := range 8 {
		learn(0x10+k, ports[k])
	}
	for k := range 5 {
		learn(0x20+k, ports[8])
	}
	rec = rec.groups(forPlaces...).set(rows)
	label := func(port string) string { // as people say it: the last number
		name := names[bridge[port]]
		return name[strings.LastIndexByte(name, '/')+1:]
	}
	s := planned(t, play(t, map[string]recording{"tern": rec}), "tern", "switch",
		fmt.Sprintf("  slip-cam: {role: camera, mac: \"00:00:5e:00:53:10\", at: quay/%s}\n", label(ports[0])),
		fmt.Sprintf("  gate-cam: {role: camera, mac: \"00:00:5e:00:53:11\", at: quay/%s}\n", label(ports[2])),
		fmt.Sprintf("  far-switch: {role: plain-switch, at: quay/%s}\n", label(ports[8])),
		"  quay-router: {role: router, mac: \"68:99:cd:a5:9f:88\", at: quay/48}\n")
	r := s.Run()
	if f := r.Finding("moved-device/gate-cam"); f.Where != "quay/"+label(ports[1]) {
		t.Errorf("the camera at another port: %+v among %v", f, r.Keys())
	}
	for _, key := range r.Keys() {
		if !strings.HasPrefix(key, "unknown-device/00:00:5e:00:53:") && key != "moved-device/gate-cam" {
			t.Errorf("finding %s", key)
		}
	}
	if n := len(r.Keys()); n != 6+5+1 {
		t.Errorf("%d findings %v, want 6 unknown at ports, 5 behind the uplink, one moved", n, r.Keys())
	}
	shown := portsOf(t, s)
	rec.checkPlaces(t, s, shown, rec.learned())
	if got := shown[names[bridge[ports[8]]]].Devices; len(got) != 5 {
		t.Errorf("behind the uplink: %v", got)
	}
}
