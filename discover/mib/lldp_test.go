package mib_test

import (
	"fmt"
	"net/netip"
	"reflect"
	"slices"
	"strings"
	"testing"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

func TestFC15OneNeighbor(t *testing.T) {
	const rem = "1.0.8802.1.1.2.1.4.1.1."
	neighbor := func(port, index int, subtype int32, chassis string, portID, name string) []simnet.Row {
		at := fmt.Sprintf(".0.%d.%d", port, index)
		rows := []simnet.Row{number(rem+"4"+at, subtype), words(rem+"5"+at, chassis), number(rem+"6"+at, 5), words(rem+"7"+at, portID)}
		if name != "" {
			rows = append(rows, words(rem+"9"+at, name))
		}
		return rows
	}
	m4, m5 := "\x00\x00\x5e\x00\x53\x04", "\x00\x00\x5e\x00\x53\x05"
	for name, c := range map[string]struct {
		rows []simnet.Row
		want string
	}{
		"port ID agrees": {slices.Concat(neighbor(17, 1, 4, m4, "Eth1/19", ""), neighbor(17, 2, 7, "core-b", "Ethernet1/19", "")),
			"17 00:00:5e:00:53:04 Eth1/19"},
		"name agrees": {slices.Concat(neighbor(17, 1, 7, "core-b", "19", "core"), neighbor(17, 2, 4, m4, "Eth1/19", "core")),
			"17 00:00:5e:00:53:04 19"},
		"on two ports": {slices.Concat(neighbor(17, 1, 4, m4, "Eth1/19", ""), neighbor(18, 1, 4, m4, "Eth1/20", "")),
			"17 00:00:5e:00:53:04 Eth1/19, 18 00:00:5e:00:53:04 Eth1/20"},
		"two cameras behind an unmanaged switch": {slices.Concat(neighbor(17, 1, 4, m4, "eth0", "cam"), neighbor(17, 2, 4, m5, "eth0", "cam")),
			"17 00:00:5e:00:53:04 eth0, 17 00:00:5e:00:53:05 eth0"},
		"names differ": {slices.Concat(neighbor(17, 1, 4, m4, "1", "a"), neighbor(17, 2, 7, "b", "1", "b")),
			"17 00:00:5e:00:53:04 1, 17 b 1"},
	} {
		var lines []string
		for _, n := range collect(t, c.rows...).Agent.Neighbors {
			lines = append(lines, fmt.Sprint(n.Local, " ", n.Chassis, " ", n.PortID))
		}
		equal(t, name, strings.Join(lines, ", "), c.want)
	}
}

// The newer arc counts by interface and repeats a neighbour for each group address;
// one that stands in both arcs is one.
func TestLLDPBothArcs(t *testing.T) {
	const v1, v2, power = "1.0.8802.1.1.2.1.", "1.3.111.2.802.1.1.13.1.", "1.3.111.2.802.3.1.5.1.3.2.1."
	m4 := "\x00\x00\x5e\x00\x53\x04"
	newer := []simnet.Row{number(v2+"3.7.1.2.10105", 5), words(v2+"3.7.1.3.10105", "gi5")}
	for _, dest := range []string{"1", "3"} {
		at := ".99.10105." + dest + ".1"
		newer = append(newer, number(v2+"4.1.1.5"+at, 4), words(v2+"4.1.1.6"+at, m4), number(v2+"4.1.1.7"+at, 5), words(v2+"4.1.1.8"+at, "eth0"),
			words(v2+"4.1.1.10"+at, "crane-cam"), words(v2+"4.1.1.13"+at, "\x01"), number(v2+"4.2.1.3"+at+".1.4.203.0.113.20", 2),
			number(power+"1"+at, 2), number(power+"6"+at, 4), number(power+"10"+at, 255), number(power+"11"+at, 65535))
	}
	want := inventory.LLDPNeighbor{LocalIndex: 10105, ChassisSubtype: 4, Chassis: "00:00:5e:00:53:04", ChassisMAC: mac(t, "00:00:5e:00:53:04"),
		PortSubtype: 5, PortID: "eth0", SysName: "crane-cam", Capabilities: []string{"stationOnly"}, Addresses: []netip.Addr{netip.MustParseAddr("203.0.113.20")},
		Power: &inventory.LLDPPower{PD: true, Class: poe.Class3, Requested: 25500, Source: "dot3-v2"}}
	got := collect(t, newer...).Agent
	if len(got.Neighbors) != 1 || !reflect.DeepEqual(got.Neighbors[0], want) {
		t.Errorf("newer arc alone: %+v", got.Neighbors)
	}
	if p := got.LLDP.Ports; len(p) != 1 || p[0].Index != 10105 || p[0].ID != "gi5" {
		t.Errorf("local ports: %+v", p)
	}

	got = collect(t, append(newer, words("1.3.6.1.2.1.31.1.1.1.1.10105", "gi5"), number(v1+"3.7.1.2.5", 5), words(v1+"3.7.1.3.5", "gi5"),
		number(v1+"4.1.1.4.7.5.1", 4), words(v1+"4.1.1.5.7.5.1", m4), number(v1+"4.1.1.6.7.5.1", 5), words(v1+"4.1.1.7.7.5.1", "eth0"),
		number("1.0.8802.1.1.2.1.5.32962.1.3.1.1.1.7.5.1", 20))...).Agent
	want.Local, want.PVID = 5, 20
	if len(got.Neighbors) != 1 || !reflect.DeepEqual(got.Neighbors[0], want) {
		t.Errorf("both arcs: %+v", got.Neighbors)
	}
	if p := got.LLDP.Ports; len(p) != 1 || p[0].Num != 5 || p[0].Index != 10105 {
		t.Errorf("local ports: %+v", p)
	}
}

// An agent that shows each neighbour once for every tick (RFC 2021, TimeFilter) is
// read whole in spite of that.
func TestLLDPEndlessMarks(t *testing.T) {
	const rem = "1.0.8802.1.1.2.1.4.1.1."
	var rows []simnet.Row
	for mark := range 3000 {
		for port := 1; port <= 4; port++ {
			at := fmt.Sprintf(".%d.%d.1", mark, port)
			rows = append(rows, words(rem+"5"+at, fmt.Sprintf("box %d", port)), words(rem+"9"+at, fmt.Sprintf("name %d", port)))
		}
	}
	a := agent(t, rows...)
	got := mib.Collect(t.Context(), dial(t, a, snmp.Options{}), mib.Request{Device: "quay-switch"})
	equal(t, "LLDP", got.Agent.Tables[inventory.TableLLDP], inventory.Complete)
	equal(t, "neighbours", len(got.Agent.Neighbors), 4)
	for i, n := range got.Agent.Neighbors {
		equal(t, "name", n.SysName, fmt.Sprintf("name %d", i+1))
	}
}
