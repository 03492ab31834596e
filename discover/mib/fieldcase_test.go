package mib_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"

	"github.com/gosnmp/gosnmp"
)

func collect(t testing.TB, rows ...simnet.Row) mib.Reading {
	t.Helper()
	got := mib.Collect(t.Context(), dial(t, agent(t, rows...), snmp.Options{}), mib.Request{Device: "quay-switch"})
	if got.Err != nil {
		t.Fatal(got.Err)
	}
	checkCoverage(t, got)
	return got
}

func number(oid string, n int32) simnet.Row { return simnet.Row{OID: oid, Value: simnet.Integer(n)} }
func words(oid, s string) simnet.Row        { return simnet.Row{OID: oid, Value: simnet.Text(s)} }

func TestFC03ClassCountsFromOne(t *testing.T) {
	const port = "1.3.6.1.2.1.105.1.1.1."
	got := collect(t,
		number(port+"6.1.1", 2), number(port+"10.1.1", 1),
		number(port+"6.1.2", 3), number(port+"10.1.2", 5),
		number(port+"6.1.3", 3), number(port+"10.1.3", 4),
		number(port+"6.1.4", 3), number(port+"10.1.4", 0),
		number(port+"6.1.5", 3), number(port+"10.1.5", 9),
		number(port+"6.1.6", 6), number(port+"6.1.7", 17),
		simnet.Row{OID: "1.3.6.1.2.1.105.1.3.1.1.2.1", Value: simnet.Gauge32(370)},
		simnet.Row{OID: "1.3.6.1.2.1.105.1.3.1.1.4.1", Value: simnet.Gauge32(30)},
	).Agent
	var lines []string
	for _, p := range got.PSEPorts {
		lines = append(lines, strings.TrimSpace(fmt.Sprintf("%d %s %v %s", p.Index.Port, p.State, p.Class, p.ClassNote)))
		if p.Actual != nil {
			t.Errorf("port %d: power %v", p.Index.Port, *p.Actual)
		}
	}
	equal(t, "ports", strings.Join(lines, "\n"), strings.TrimSpace(`
1 searching class unknown
2 delivering class 4
3 delivering class 3
4 delivering class unknown class not understood (0)
5 delivering class unknown class not understood (9)
6 fault class unknown
7 unknown class unknown`))
	equal(t, "budget and use", fmt.Sprint(*got.Supplies[0].Budget, " ", *got.Supplies[0].Used), "370 W 30 W")
}

// The three columns of the IEEE module below the RFC's arc, and figures that no
// port can have.
func TestPortPowerColumns(t *testing.T) {
	const variant, ieee = "1.3.6.1.2.1.105.1.1.1.", "1.3.111.2.802.3.1.8.1.1.1."
	got := collect(t,
		number(variant+"6.1.1", 3), number(variant+"15.1.1", 5230), number(variant+"16.1.1", 200), simnet.Row{OID: variant + "17.1.1", Value: simnet.Counter64(1 << 40)},
		number(variant+"6.1.2", 3), number(variant+"15.1.2", -1),
		number(variant+"6.1.3", 2), number(variant+"15.1.3", 0),
	).Agent
	p := got.PSEPorts
	equal(t, "measured", fmt.Sprint(*p[0].Actual, " ", *p[0].Accuracy, " ", *p[0].Energy, " ", p[0].EnergyWide), "5.2 W 200 1099511627776 true")
	equal(t, "less than nothing", p[1].Actual, nil)
	equal(t, "of an idle port", p[2].Actual, nil)
	equal(t, "IEEE module", got.Tables[inventory.TablePSE8023], inventory.NotOffered)

	got = collect(t, number(ieee+"6.1.1", 3), number(ieee+"15.1.1", 6100), number(ieee+"10.1.1", 4),
		number(variant+"6.1.1", 3), number(variant+"10.1.1", 4)).Agent
	equal(t, "both arcs", fmt.Sprint(len(got.PSEPorts), " ", *got.PSEPorts[0].Actual, " ", got.PSEPorts[0].Class), "1 6.1 W class 3")
}

func TestFC06LargeRequests(t *testing.T) {
	rows := simnettest.Recording(t, "cisco_16_switch")
	read := func(f simnet.Faults) inventory.Agent {
		a := agent(t, rows...)
		must(t, a.SetFaults(f))
		got := mib.Collect(t.Context(), dial(t, a, snmp.Options{Timeout: 400 * time.Millisecond}), mib.Request{Device: "quay-switch", Contexts: inventory.ContextsOne})
		if got.Err != nil {
			t.Fatal(got.Err)
		}
		return got.Agent
	}
	want := read(simnet.Faults{})
	for name, f := range map[string]simnet.Faults{
		"silent above 16": {IgnoreBulkOver: 16}, "tooBig above 4": {TooBigOver: 4}, "five rows at most": {BulkRows: 5},
	} {
		got := read(f)
		got.Read, got.Stats = want.Read, want.Stats
		got.System.UpTime = want.System.UpTime
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: another inventory, tables %v", name, got.Tables)
		}
	}
}

func TestFC10Ticks(t *testing.T) {
	const up = "1.3.6.1.2.1.1.3.0"
	got := collect(t, simnet.Row{OID: up, Value: simnet.TimeTicks(2178049673)}).Agent // 252 days
	equal(t, "beyond 2^31", *got.System.UpTime, 2178049673)
	got = collect(t, words(up, "12 days"), words("1.3.6.1.2.1.1.5.0", "quay-switch")).Agent
	equal(t, "a text", got.System.UpTime, nil)
	equal(t, "the rest", got.System.Name, "quay-switch")
}

func TestFC11FC13Words(t *testing.T) {
	got := collect(t,
		words("1.3.6.1.2.1.1.5.0", "sw1\r\nBcc: x@example.net"),
		words("1.3.6.1.2.1.1.6.0", "core<b>x</b>&#435;"),
		words("1.3.6.1.2.1.1.1.0", strings.Repeat("A", 1000)),
		words("1.3.6.1.2.1.31.1.1.1.1.1", "port0\x00"),
		words("1.3.6.1.2.1.31.1.1.1.1.2", "\x01\x01Fa0/2"),
		words("1.3.6.1.2.1.31.1.1.1.1.3", "MC\xb7\xbe\xd2"),
		words("1.3.6.1.2.1.31.1.1.1.1.4", ""),
	).Agent
	equal(t, "name", got.System.Name, "sw1 Bcc: x@example.net")
	equal(t, "location", got.System.Location, "core<b>x</b>&#435;")
	equal(t, "description", utf8.RuneCountInString(got.System.Descr), 255)
	var names []string
	for _, i := range got.Interfaces {
		names = append(names, i.Name)
	}
	equal(t, "names", strings.Join(names, "|"), "port0|Fa0/2|MC\uFFFD\uFFFD\uFFFD|")
}

func TestFC12AlmostNothing(t *testing.T) {
	private := collect(t, number("1.3.6.1.4.1.99999.1.0", 1))
	for _, c := range private.Coverage {
		equal(t, c.Table, c.Result, inventory.NotOffered)
	}

	got := collect(t, number("1.3.6.1.2.1.2.1.0", 2)).Agent
	equal(t, "count 2, no rows", got.Tables[inventory.TableInterfaces], inventory.NotOffered)

	rows := []simnet.Row{number("1.3.6.1.2.1.2.1.0", 33)}
	for i := range 42 {
		name := fmt.Sprintf("e%d", i%35) // seven names twice
		rows = append(rows, words(fmt.Sprintf("1.3.6.1.2.1.2.2.1.2.%d", i+1), name),
			simnet.Row{OID: fmt.Sprintf("1.3.6.1.2.1.2.2.1.6.%d", i+1), Value: simnet.Octets([]byte{0, 0, 0x5e, 0, 0x53, 0x10})})
	}
	got = collect(t, rows...).Agent
	equal(t, "count 33, 42 rows", len(got.Interfaces), 42)
	equal(t, "two of a name", got.Interfaces[0].Descr+got.Interfaces[35].Descr, "e0e0")
	equal(t, "two of an address", got.Interfaces[0].MAC, got.Interfaces[35].MAC)
}

func TestFC14FalseRows(t *testing.T) {
	const port, status = "1.3.6.1.2.1.17.4.3.1.2.0.0.94.0.83.", "1.3.6.1.2.1.17.4.3.1.3.0.0.94.0.83."
	rows := []simnet.Row{
		number("1.3.6.1.2.1.17.1.4.1.2.118", 11008), words("1.3.6.1.2.1.31.1.1.1.1.11008", "Fa3/0/8"),
		number(port+"1", 118), number(status+"1", 3), number(port+"2", 0), number(status+"2", 3),
		number(port+"3", 118), number(status+"3", 4), number(port+"4", 77), number(status+"4", 3),
		number(port+"5", 118), number(status+"5", 2),
	}
	got := collect(t, rows...).Agent
	var lines []string
	for _, e := range got.FDB {
		lines = append(lines, fmt.Sprint(e.MAC[5], " at ", e.Port, " interface ", got.Bridge[e.Port], " self ", e.Self))
	}
	equal(t, "rows", strings.Join(lines, "\n"), "1 at 118 interface 11008 self false\n2 at 0 interface 0 self false\n"+
		"3 at 118 interface 11008 self true\n4 at 77 interface 0 self false")
	equal(t, "forwarding table", got.Tables[inventory.TableFDB], inventory.Complete)

	without := collect(t, rows[1:]...)
	equal(t, "without bridge ports", without.Agent.Tables[inventory.TableFDB], inventory.Partial)
	equal(t, "rows", len(without.Agent.FDB), 4)
}

// Several VLANs may share a filtering database: then its rows do not tell the VLAN
// (RFC 4363, dot1qVlanFdbId).
func TestSharedFilter(t *testing.T) {
	const port, fdb = "1.3.6.1.2.1.17.7.1.2.2.1.2.", "1.3.6.1.2.1.17.7.1.4.2.1.3."
	got := collect(t, number("1.3.6.1.2.1.17.1.4.1.2.1", 1),
		number(port+"1.0.0.94.0.83.1", 1), number(port+"2.0.0.94.0.83.2", 1), number(port+"9.0.0.94.0.83.3", 1),
		simnet.Row{OID: fdb + "5.10", Value: simnet.Gauge32(1)}, simnet.Row{OID: fdb + "5.20", Value: simnet.Gauge32(1)},
		simnet.Row{OID: fdb + "7.30", Value: simnet.Gauge32(2)},
		number("1.3.6.1.2.1.17.4.3.1.2.0.0.94.0.83.1", 1), number("1.3.6.1.2.1.17.4.3.1.2.0.0.94.0.83.4", 1),
	).Agent
	var lines []string
	for _, e := range got.FDB {
		lines = append(lines, fmt.Sprint(e.MAC[5], " VLAN ", e.VLAN, " filter ", e.Filter))
	}
	equal(t, "rows", strings.Join(lines, ", "), "1 VLAN 0 filter 1, 2 VLAN 30 filter 0, 3 VLAN 0 filter 9, 4 VLAN 0 filter 0")
}

func TestFC16RadioAddresses(t *testing.T) {
	rows := []simnet.Row{words("1.3.6.1.2.1.2.2.1.2.1", "lo"), number("1.3.6.1.2.1.2.2.1.3.1", 24), words("1.3.6.1.2.1.2.2.1.6.1", "")}
	for i, m := range []string{"\x00\x00\x5e\x00\x53\x92", "\x02\x00\x5e\x00\x53\x92", "\x00\x00\x5e\x00\x53\xa2", "\x00\x00\x5e\x00\x53\xa2"} {
		rows = append(rows, words(fmt.Sprintf("1.3.6.1.2.1.2.2.1.6.%d", i+2), m))
	}
	var macs []string
	for _, i := range collect(t, rows...).Agent.Interfaces {
		macs = append(macs, i.MAC.String())
	}
	equal(t, "MACs", strings.Join(macs, " "), " 00:00:5e:00:53:92 02:00:5e:00:53:92 00:00:5e:00:53:a2 00:00:5e:00:53:a2")
}

// One table that never ends, or that the agent refuses, must not taint the others.
func TestOneBadTable(t *testing.T) {
	good := mibrows.Agent(site(t))
	for name, c := range map[string]struct {
		faults simnet.Faults
		table  string
		result inventory.Result
	}{
		"loop":        {simnet.Faults{Endless: &simnet.Endless{Under: "1.3.6.1.2.1.47.1.1.1.1.5", Cycle: []uint32{3, 1, 2}}}, inventory.TableEntity, inventory.Partial},
		"never ends":  {simnet.Faults{Endless: &simnet.Endless{Under: "1.3.6.1.2.1.99.1.1.1.1"}}, inventory.TableSensor, inventory.Partial},
		"behind keys": {simnet.Faults{Endless: &simnet.Endless{Under: "1.3.6.1.2.1.105.1.1.1.8", Cycle: []uint32{3, 1, 2}}}, inventory.TablePSE, inventory.Partial},
	} {
		a := agent(t, good...)
		must(t, a.SetFaults(c.faults))
		got := mib.Collect(t.Context(), dial(t, a, snmp.Options{MaxRows: 500}), mib.Request{Device: "quay-switch"})
		checkCoverage(t, got)
		if got.Err != nil {
			t.Errorf("%s: %v", name, got.Err)
		}
		for table, r := range got.Agent.Tables {
			want := inventory.Complete
			if table == c.table {
				want = c.result
			}
			if table == inventory.TableNeighbors {
				want = inventory.NotOffered // the site's rows have none
			}
			if r != want {
				t.Errorf("%s: %s is %s, want %s", name, table, r, want)
			}
		}
		equal(t, name+": ports", len(got.Agent.PSEPorts), 2)
	}
}

// An agent that shows where addresses are and refuses to say how it knows.
func TestRefusedColumn(t *testing.T) {
	a := agent(t, number("1.3.6.1.2.1.17.1.4.1.2.1", 1),
		number("1.3.6.1.2.1.17.4.3.1.2.0.0.94.0.83.1", 1), number("1.3.6.1.2.1.17.4.3.1.3.0.0.94.0.83.1", 3))
	must(t, a.SetFaults(simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		if len(p.Variables) > 0 && strings.HasPrefix(p.Variables[0].Name, ".1.3.6.1.2.1.17.4.3.1.3.") {
			p.Error, p.ErrorIndex = gosnmp.AuthorizationError, 1
		}
	}}))
	got := mib.Collect(t.Context(), dial(t, a, snmp.Options{}), mib.Request{Device: "quay-switch"})
	checkCoverage(t, got)
	equal(t, "forwarding table", got.Agent.Tables[inventory.TableFDB], inventory.Partial)
	equal(t, "rows", len(got.Agent.FDB), 1)
}

// An agent that falls silent in the middle leaves what it said before.
func TestSilence(t *testing.T) {
	a := agent(t, mibrows.Agent(site(t))...)
	c := dial(t, a, snmp.Options{Timeout: time.Second, Retries: -1})
	whole := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	must(t, a.SetFaults(simnet.Faults{Silent: true}))
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	checkCoverage(t, got)
	if !errors.Is(got.Err, snmp.ErrNoResponse) {
		t.Errorf("error %v", got.Err)
	}
	for table, r := range got.Agent.Tables {
		if r != inventory.NoAnswer {
			t.Errorf("%s is %s", table, r)
		}
	}
	before := len(whole.Agent.FDB)
	mib.Relearn(t.Context(), c, &whole)
	equal(t, "rows after silence", len(whole.Agent.FDB), before)
}

func TestCancelled(t *testing.T) {
	c := dial(t, agent(t, mibrows.Agent(site(t))...), snmp.Options{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	got := mib.Collect(ctx, c, mib.Request{Device: "quay-switch"})
	checkCoverage(t, got)
	if !errors.Is(got.Err, context.Canceled) {
		t.Errorf("error %v", got.Err)
	}
	for table, r := range got.Agent.Tables {
		if r == inventory.Complete || r == inventory.NotOffered {
			t.Errorf("%s is %s, though nothing was read", table, r)
		}
	}
}

// Version 1 has no 64-bit counters and no GETBULK (RFC 3584, 4.1).
func TestVersion1(t *testing.T) {
	a := agent(t, mibrows.Agent(site(t))...)
	c := dialAs(t, a, snmp.Credentials{Version: "1", Community: "public"}, snmp.Options{})
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	equal(t, "error", got.Err, nil)
	want := site(t)
	equal(t, "interfaces", len(got.Agent.Interfaces), len(want.Interfaces))
	i := got.Agent.Interfaces[0]
	equal(t, "wide", i.Wide, false)
	equal(t, "in octets", *i.InOctets, *want.Interfaces[0].InOctets&(1<<32-1))
	if !reflect.DeepEqual(got.Agent.PSEPorts, want.PSEPorts) || !reflect.DeepEqual(got.Agent.FDB, want.FDB) {
		t.Errorf("PSE ports %+v, forwarding table %+v", got.Agent.PSEPorts, got.Agent.FDB)
	}
	equal(t, "writes", a.Counts().Set, 0)
}
