package mib_test

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// The recordings are of real devices (public data set snmpsim-data, and Debian's
// package snmpsim). What is expected of each was read from the file by eye.

func dial(t testing.TB, a *simnet.Agent, opts snmp.Options) *snmp.Client {
	t.Helper()
	return dialAs(t, a, snmp.Credentials{Version: "2c", Community: "public"}, opts)
}

func dialAs(t testing.TB, a *simnet.Agent, cred snmp.Credentials, opts snmp.Options) *snmp.Client {
	t.Helper()
	c, err := snmp.Dial(t.Context(), simnettest.Start(t, a), cred, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func agent(t testing.TB, rows ...simnet.Row) *simnet.Agent {
	t.Helper()
	a, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"public"}, Rows: rows})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func recorded(t testing.TB, name string) (*snmp.Client, mib.Reading) {
	t.Helper()
	c := dial(t, agent(t, simnettest.Recording(t, name)...), snmp.Options{})
	// A recording has the rows of one context; see TestContextsOfTheRecording.
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch", Contexts: inventory.ContextsOne})
	if got.Err != nil {
		t.Fatal(got.Err)
	}
	checkCoverage(t, got)
	return c, got
}

// checkCoverage holds the two ways of saying how a table ended against each other.
func checkCoverage(t testing.TB, got mib.Reading) {
	t.Helper()
	if len(got.Coverage) != len(got.Agent.Tables) {
		t.Errorf("coverage has %d tables, the agent %d", len(got.Coverage), len(got.Agent.Tables))
	}
	for _, c := range got.Coverage {
		if c.Subject != got.Agent.Device || c.Source != inventory.SourceSNMP || got.Agent.Tables[c.Table] != c.Result || c.Result == "" ||
			(c.Why == "") != (c.Result == inventory.Complete) {
			t.Errorf("coverage %+v beside result %q", c, got.Agent.Tables[c.Table])
		}
	}
}

// tables gives the tables with a result, in order.
func tables(ag inventory.Agent, want inventory.Result) string {
	var out []string
	for table, r := range ag.Tables {
		if r == want {
			out = append(out, table)
		}
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

func wantTables(t *testing.T, got mib.Reading, complete string) {
	t.Helper()
	if c := tables(got.Agent, inventory.Complete); c != complete {
		t.Errorf("complete: %s\nwant: %s", c, complete)
	}
	if n := len(got.Agent.Tables) - strings.Count(complete, ",") - 1; strings.Count(tables(got.Agent, inventory.NotOffered), ",")+1 != n {
		t.Errorf("not offered: %s", tables(got.Agent, inventory.NotOffered))
	}
}

func equal[T comparable](t *testing.T, what string, got, want T) {
	t.Helper()
	if got != want {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func mac(t testing.TB, s string) inventory.MAC {
	t.Helper()
	m, err := inventory.ParseMAC(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func fdbOf(ag inventory.Agent, m inventory.MAC) []inventory.FDBEntry {
	return slices.DeleteFunc(slices.Clone(ag.FDB), func(e inventory.FDBEntry) bool { return e.MAC != m })
}

func interfaceAt(t testing.TB, ag inventory.Agent, index inventory.IfIndex) inventory.Interface {
	t.Helper()
	for _, i := range ag.Interfaces {
		if i.Index == index {
			return i
		}
	}
	t.Fatalf("no interface %d", index)
	return inventory.Interface{}
}

func TestRecording48Ports(t *testing.T) {
	_, got := recorded(t, "cisco_16_switch")
	ag := got.Agent
	wantTables(t, got, "BRIDGE-MIB, ENTITY-MIB, EtherLike-MIB, IF-MIB, IP-MIB, IP-MIB neighbours, POWER-ETHERNET-MIB, SNMPv2-MIB, forwarding table")
	equal(t, "supplies", len(ag.Supplies), 1)
	s := ag.Supplies[0]
	equal(t, "budget", *s.Budget, 370*poe.Watt)
	equal(t, "consumption", *s.Used, 30*poe.Watt)
	equal(t, "on", *s.On, true)
	equal(t, "threshold out of range", s.Threshold, 0)
	equal(t, "group", s.Group, 3)
	equal(t, "PSE rows", len(ag.PSEPorts), 48)
	for _, p := range ag.PSEPorts {
		switch p.Index {
		case inventory.PSEIndex{Group: 3, Port: 5}:
			equal(t, "3.5", fmt.Sprint(p.State, " ", p.Class), "delivering class 4")
		case inventory.PSEIndex{Group: 3, Port: 46}:
			equal(t, "3.46", fmt.Sprint(p.State, " ", p.Class), "delivering class 3")
		default:
			equal(t, "another row", fmt.Sprint(p.State, " ", p.Class, p.ClassNote), "searching class unknown")
		}
		if p.Actual != nil || p.Energy != nil {
			t.Errorf("row %v says a power that RFC 3621 has no object for", p.Index)
		}
	}
	equal(t, "interfaces", len(ag.Interfaces), 59)
	f := interfaceAt(t, ag, 11003)
	equal(t, "name", f.Name, "Fa3/0/3")
	equal(t, "up", *f.OperUp, true)
	equal(t, "wide", f.Wide, true)
	equal(t, "bridge port 118", ag.Bridge[118], 11008)
	equal(t, "neighbours", len(got.Neighbors), 85)
	equal(t, "host uptime", ag.System.HostUp, nil)
}

// Each PSE row of the recording must be led to its own interface. Rows 3.3 to
// 3.26 and 3.29 to 3.52 stand where the entities 3008 to 3031 and 3034 to 3057 of
// the ports do, the same gap of two between them.
func TestRecording48PortsMapping(t *testing.T) {
	_, got := recorded(t, "cisco_16_switch")
	plan := &inventory.Plan{Devices: []inventory.Device{{Name: "quay-switch", Role: inventory.Switch}}}
	snap := inventory.Assemble(plan, &inventory.Evidence{
		Started: got.Agent.Read, Finished: got.Agent.Read, Agents: []inventory.Agent{got.Agent}, Coverage: got.Coverage, Sightings: got.Neighbors,
	}, &inventory.History{}, nil)
	names := map[inventory.PSEIndex]string{}
	for _, p := range snap.Ports {
		if p.Power == nil {
			continue
		}
		names[p.Power.Index] = p.Interface
		equal(t, "mapped", p.Power.MappedBy, inventory.MapEntity)
		if p.Power.Draw != nil && p.Power.DrawBasis == inventory.Measured {
			t.Errorf("%s draws %v by %s, which nothing measured", p.Interface, *p.Power.Draw, p.Power.DrawSource)
		}
	}
	equal(t, "rows with a port", len(names), 48)
	equal(t, "3.5", names[inventory.PSEIndex{Group: 3, Port: 5}], "Fa3/0/3")
	equal(t, "3.46", names[inventory.PSEIndex{Group: 3, Port: 46}], "Fa3/0/42")
	equal(t, "before the gap, 3.26", names[inventory.PSEIndex{Group: 3, Port: 26}], "Fa3/0/24")
	equal(t, "behind the gap, 3.29", names[inventory.PSEIndex{Group: 3, Port: 29}], "Fa3/0/25")
}

func TestRecordingBridgePorts(t *testing.T) {
	_, got := recorded(t, "switch-bridgeport-not-ifindex")
	ag := got.Agent
	wantTables(t, got, "BRIDGE-MIB, ENTITY-MIB, ENTITY-SENSOR-MIB, HOST-RESOURCES-MIB, IF-MIB, IP-MIB neighbours, LLDP-MIB, Q-BRIDGE-MIB, SNMPv2-MIB, forwarding table")
	equal(t, "bridge port 97", ag.Bridge[97], 999001)
	equal(t, "bridge port 100", ag.Bridge[100], 1000001)
	equal(t, "MACs", len(ag.FDB), 26)
	equal(t, "neighbours", len(ag.Neighbors), 2)
	for i, n := range ag.Neighbors {
		want := inventory.LLDPNeighbor{
			Local: inventory.LLDPPort(47 + i), ChassisSubtype: 4, Chassis: "00:00:5e:00:53:01", ChassisMAC: mac(t, "00:00:5e:00:53:01"),
			PortSubtype: 5, PortID: fmt.Sprintf("Ethernet%d", 23+i), SysName: "sysname-2", SysDescr: n.SysDescr,
			Capabilities: []string{"bridge", "router"}, Addresses: []netip.Addr{netip.MustParseAddr("192.0.2.8")},
		}
		equal(t, "neighbour", fmt.Sprintf("%+v", n), fmt.Sprintf("%+v", want))
	}
	equal(t, "sensors", len(ag.Sensors), 95)
	celsius := 0
	for _, s := range ag.Sensors {
		if s.Type == 8 && s.Value != nil && *s.Value > 10 && *s.Value < 100 && s.Name != "" {
			celsius++
		}
	}
	if celsius < 5 {
		t.Errorf("%d sensors say a temperature that can be", celsius)
	}
	if ag.System.HostUp == nil || *ag.System.HostUp < *ag.System.UpTime {
		t.Errorf("host up %v, agent up %v", ag.System.HostUp, ag.System.UpTime)
	}
}

func TestRecordingSelfEntries(t *testing.T) {
	_, got := recorded(t, "switch-fdb-self-entries")
	ag := got.Agent
	self := fdbOf(ag, mac(t, "00:00:5e:00:53:01"))
	for _, e := range self {
		if !e.Self || e.Port != 0 || e.VLAN == 0 || e.Filter != 0 {
			t.Errorf("own address: %+v", e)
		}
	}
	if len(self) < 10 {
		t.Errorf("%d rows of the own address, want one for each VLAN in use", len(self))
	}
	want := inventory.FDBEntry{MAC: mac(t, "00:00:5e:00:53:03"), Port: 9, VLAN: 109}
	if e := fdbOf(ag, want.MAC); len(e) != 1 || e[0] != want {
		t.Errorf("got %+v, want only %+v: the table without VLANs adds nothing", e, want)
	}
}

func TestRecordingTimeMark(t *testing.T) {
	_, got := recorded(t, "switch-lldp-timemark")
	ag := got.Agent
	equal(t, "local ports", len(ag.LLDP.Ports), 0)
	equal(t, "LLDP", ag.Tables[inventory.TableLLDP], inventory.Complete)
	equal(t, "neighbours", len(ag.Neighbors), 1)
	n := ag.Neighbors[0]
	equal(t, "port", n.Local, 24)
	equal(t, "name", n.SysName, "sysname-1")
	equal(t, "port ID", n.PortID, "GigabitEthernet1/0/33")
	equal(t, "address", n.Addresses[0], netip.MustParseAddr("192.0.2.1"))
	if strings.ContainsAny(n.SysDescr, "\r\n") || !strings.Contains(n.SysDescr, "Release 1121P05 H3C") {
		t.Errorf("description %q", n.SysDescr)
	}
}

func TestRecordingNULs(t *testing.T) {
	_, got := recorded(t, "media-converter-nul-strings")
	ag := got.Agent
	equal(t, "system name", ag.System.Name, "name-1\uFFFD\uFFFD")
	for i, want := range []string{"port0", "port1", "port2"} {
		equal(t, "name", ag.Interfaces[i].Name, want)
		equal(t, "description", ag.Interfaces[i].Descr, want)
	}
	equal(t, "interfaces", len(ag.Interfaces), 3)
}

func TestRecordingNoPoEModule(t *testing.T) {
	_, got := recorded(t, "poe-box-no-standard-poe-mib")
	equal(t, "interfaces", len(got.Agent.Interfaces), 5)
	equal(t, "PSE", got.Agent.Tables[inventory.TablePSE], inventory.NotOffered)
	equal(t, "PSE of IEEE 802.3.1", got.Agent.Tables[inventory.TablePSE8023], inventory.NotOffered)
	if got.Agent.PSEPorts != nil {
		t.Errorf("ports %v", got.Agent.PSEPorts)
	}
}

func TestRecordingCameras(t *testing.T) {
	_, got := recorded(t, "camera-a")
	wantTables(t, got, "HOST-RESOURCES-MIB, IF-MIB, SNMPv2-MIB")
	equal(t, "interfaces", len(got.Agent.Interfaces), 6)
	if got.Agent.Stats.Requests > 7 { // one of them is first contact
		t.Errorf("%d requests for a camera", got.Agent.Stats.Requests)
	}

	_, got = recorded(t, "camera-no-system-group")
	equal(t, "complete", tables(got.Agent, inventory.Complete), "")
	equal(t, "system", got.Agent.Tables[inventory.TableSystem], inventory.NotOffered)
	equal(t, "uptime", got.Agent.System.UpTime, nil)
}

func TestRecordingUPS(t *testing.T) {
	c, got := recorded(t, "ups-a")
	u := got.Agent.UPS
	equal(t, "ups-a", fmt.Sprint(u.Source, " ", u.Battery, " ", *u.OnBattery, " ", *u.Runtime, " ", *u.Charge, "% ", *u.Volts, " V ", *u.Celsius, " C ", *u.Load, "% ", *u.Output),
		"normal normal 0s 18h12m0s 100% 521 V 25 C 21% 11400 W")
	equal(t, "odd", len(u.Odd), 0)
	p := mib.Pulse(t.Context(), c, mib.Request{})
	equal(t, "pulse", fmt.Sprint(p.Agent.UPS.Source, " ", *p.Agent.UPS.Charge, " ", *p.Agent.UPS.Load, " ", *p.Agent.UPS.Output), "normal 100 21 11400 W")

	_, got = recorded(t, "ups-d-minus-one")
	u = got.Agent.UPS
	equal(t, "ups-d", fmt.Sprint(u.Source, " ", u.Battery, " ", *u.OnBattery, " ", u.Runtime, u.Charge, u.Celsius, u.Output, " ", *u.Volts, " V ", *u.Load, "%"),
		"normal normal 0s <nil> <nil> <nil> <nil> 538.5 V 8%")
	equal(t, "odd", strings.Join(u.Odd, "; "), "runtime of -1; charge of -1; battery temperature of -1; "+
		"input frequency in ten times its unit; input voltage in ten times its unit; "+
		"output frequency in ten times its unit; output voltage in ten times its unit; output power of 34 W at 4024 VA")
}

// The light pass must agree with the full run about what both read.
func TestPulseAgrees(t *testing.T) {
	c, full := recorded(t, "cisco_16_switch")
	before := c.Stats().Requests
	start := time.Now()
	light := mib.Pulse(t.Context(), c, mib.Request{Device: "quay-switch"})
	checkCoverage(t, light)
	if n := c.Stats().Requests - before; n > 5 {
		t.Errorf("%d requests for a pulse", n)
	}
	if light.Agent.Read.Before(start) || light.Agent.System.UpTime == nil {
		t.Errorf("read at %v, uptime %v", light.Agent.Read, light.Agent.System.UpTime)
	}
	equal(t, "PSE rows", len(light.Agent.PSEPorts), len(full.Agent.PSEPorts))
	for i, p := range light.Agent.PSEPorts {
		equal(t, "state", fmt.Sprint(p.Index, p.State), fmt.Sprint(full.Agent.PSEPorts[i].Index, full.Agent.PSEPorts[i].State))
	}
	equal(t, "used", *light.Agent.Supplies[0].Used, *full.Agent.Supplies[0].Used)
	for i, f := range light.Agent.Interfaces {
		equal(t, "up", fmt.Sprint(f.Index, *f.OperUp), fmt.Sprint(full.Agent.Interfaces[i].Index, *full.Agent.Interfaces[i].OperUp))
	}
}

func TestRelearn(t *testing.T) {
	a := agent(t, simnettest.Recording(t, "switch-fdb-self-entries")...)
	c := dial(t, a, snmp.Options{})
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	had, neighbors := len(got.Agent.FDB), len(got.Neighbors)
	woken := inventory.FDBEntry{MAC: mac(t, "00:00:5e:00:53:f1"), Port: 9, VLAN: 109}
	must(t, a.Set(simnet.Row{OID: "1.3.6.1.2.1.17.7.1.2.2.1.2.109.0.0.94.0.83.241", Value: simnet.Integer(9)},
		simnet.Row{OID: "1.3.6.1.2.1.17.7.1.2.2.1.3.109.0.0.94.0.83.241", Value: simnet.Integer(3)}))
	mib.Relearn(t.Context(), c, &got)
	checkCoverage(t, got)
	equal(t, "rows", len(got.Agent.FDB), had+1)
	if e := fdbOf(got.Agent, woken.MAC); len(e) != 1 || e[0] != woken {
		t.Errorf("got %+v, want %+v", e, woken)
	}
	equal(t, "neighbours", len(got.Neighbors), neighbors)

	// What cannot be read this time stays.
	must(t, a.SetFaults(simnet.Faults{Endless: &simnet.Endless{Under: "1.3.6.1.2.1.17.7.1.2.2.1.2", Cycle: []uint32{1, 0}}}))
	mib.Relearn(t.Context(), c, &got)
	equal(t, "rows after a loop", len(got.Agent.FDB), had+1)
	equal(t, "forwarding table", got.Agent.Tables[inventory.TableFDB], inventory.Complete)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
