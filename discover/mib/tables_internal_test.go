package mib

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

func same(t *testing.T, what, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("%s:\n got %s\nwant %s", what, got, want)
	}
}

func ipv4(s string) snmp.Value { return snmp.ValueOf(snmp.IPAddress, netip.MustParseAddr(s)) }

func TestInterfaceEdges(t *testing.T) {
	r := sorted([]snmp.Row{
		row(ifXEntry, snmp.ValueOf(snmp.Counter64, 1<<40), 6, 1), row(ifEntry, snmp.ValueOf(snmp.Counter32, 7), 10, 1), // no ifHCOutOctets
		row(ifOperStatus, integer(7), 1), row(ifOperStatus, integer(6), 2), row(ifOperStatus, integer(5), 3), row(ifOperStatus, integer(4), 4), row(ifOperStatus, integer(1), 5),
		row(ieeeDot3StatsDuplexStatus, integer(2), 1), row(ieeeDot3StatsDuplexStatus, integer(2), 2), row(dot3StatsDuplexStatus, integer(3), 2),
		row(dot3StatsDuplexStatus, integer(1), 3), row(dot3StatsDuplexStatus, integer(2), 77),
		row(dot3StatsEntry, snmp.ValueOf(snmp.Counter32, 5), 3, 1), row(dot3HCStatsFCSErrors, snmp.ValueOf(snmp.Counter64, 1<<33), 1),
	})
	ifs := decodeInterfaces(r)
	decodeEther(r, ifs)
	say := func(b *bool) string {
		if b == nil {
			return "?"
		}
		return fmt.Sprint(*b)
	}
	var up, half []string
	for _, i := range ifs {
		up, half = append(up, say(i.OperUp)), append(half, say(i.HalfDuplex))
	}
	same(t, "up", strings.Join(up, " "), "false false ? ? true") // lowerLayerDown, notPresent, dormant, unknown, up
	same(t, "half duplex", strings.Join(half, " "), "true false ? ? ?")
	same(t, "counters", fmt.Sprint(*ifs[0].InOctets, ifs[0].Wide, *ifs[0].FCSErrors), "7 false 8589934592")
}

func TestAddressEdges(t *testing.T) {
	index := func(last uint32) []uint32 { return []uint32{1, 4, 203, 0, 113, last} }
	r := sorted([]snmp.Row{
		row(ipAddressIfIndex, integer(1), index(2)...), row(ipAddressEntry, integer(1), append([]uint32{4}, index(2)...)...),
		row(ipAddressEntry, pointer("1.3.6.1.2.1.4.32.1.5.1.1.4.203.0.113.0.24"), append([]uint32{5}, index(2)...)...),
		row(ipAddressIfIndex, integer(1), index(255)...), row(ipAddressEntry, integer(3), append([]uint32{4}, index(255)...)...), // broadcast
		row(ipAddressIfIndex, integer(1), index(3)...), row(ipAddressEntry, pointer("1.3.6.1.2.1.4.32.1.5.99"), append([]uint32{5}, index(3)...)...),
		row(ipAddressIfIndex, integer(1), 1, 4, 0, 0, 0, 0),
		row(ipAdEntIfIndex, integer(9), 203, 0, 113, 2), // once more
		row(ipAdEntIfIndex, integer(2), 203, 0, 113, 9), row(ipAdEntry, ipv4("255.255.252.0"), 3, 203, 0, 113, 9),
		row(ipAdEntIfIndex, integer(2), 203, 0, 113, 10), row(ipAdEntry, ipv4("255.0.255.0"), 3, 203, 0, 113, 10),
		row(ipAdEntIfIndex, integer(2), 0, 0, 0, 0),
	})
	var got []string
	for _, a := range decodeAddresses(r) {
		got = append(got, fmt.Sprintf("%v/%d on %d", a.Addr, a.Prefix, a.Index))
	}
	same(t, "addresses", strings.Join(got, ", "), "203.0.113.2/24 on 1, 203.0.113.3/0 on 1, 203.0.113.9/22 on 2, 203.0.113.10/0 on 2")
}

func TestNeighborEdges(t *testing.T) {
	r := []snmp.Row{row(ipNetToMediaPhysAddress, octets("\x00\x00\x5e\x00\x53\x01"), 3, 203, 0, 113, 1)}
	kinds := map[uint32]int64{2: 2, 3: 3, 4: 4, 5: 5} // invalid, dynamic, static, local
	for last, kind := range kinds {
		r = append(r, row(ipNetToMediaPhysAddress, octets("\x00\x00\x5e\x00\x53"+string(rune(last))), 3, 203, 0, 113, last),
			row(ipNetToMediaEntry, integer(kind), 4, 3, 203, 0, 113, last))
	}
	for last, state := range map[uint32]int64{11: 1, 12: 2, 15: 5, 16: 6, 17: 7} { // reachable, stale, invalid, unknown, incomplete
		r = append(r, row(ipNetToPhysicalPhysAddress, octets("\x00\x00\x5e\x00\x53"+string(rune(last))), 3, 1, 4, 203, 0, 113, last),
			row(ipNetToPhysEntry, integer(state), 7, 3, 1, 4, 203, 0, 113, last))
	}
	r = append(r,
		row(ipNetToMediaPhysAddress, octets("\x00"), 3, 203, 0, 113, 20),                        // incomplete
		row(ipNetToMediaPhysAddress, octets("\xff\xff\xff\xff\xff\xff"), 3, 203, 0, 113, 255),   // everyone's
		row(ipNetToMediaPhysAddress, octets("\x01\x00\x5e\x00\x00\x01"), 3, 224, 0, 0, 1),       // a group's
		row(ipNetToMediaPhysAddress, octets("\x00\x00\x5e\x00\x53\x0b"), 3, 203, 0, 113, 11),    // in both tables
		row(ipNetToMediaPhysAddress, octets("\x00\x00\x5e\x00\x53\x0c"), 4, 203, 0, 113, 11),    // on another port
		row(ipNetToMediaPhysAddress, octets("00:00:5e:00:53:1e"), 3, 203, 0, 113, 30),           // as text
		row(ipNetToMediaPhysAddress, octets("\x00\x00\x5e\x00\x53\x01"), 3, 203, 0, 113, 1, 99), // no such index
	)
	var got []string
	for _, s := range decodeNeighbors(sorted(r), "quay-router", time.Time{}) {
		got = append(got, fmt.Sprintf("%v=%02x", s.Addr, s.MAC[5]))
	}
	same(t, "neighbours", strings.Join(got, " "), "203.0.113.11=0b 203.0.113.12=0c 203.0.113.16=10 "+
		"203.0.113.1=01 203.0.113.3=03 203.0.113.4=04 203.0.113.30=1e 203.0.113.11=0c")
}

func TestForwardingEdges(t *testing.T) {
	at := func(last uint32, head ...uint32) []uint32 { return append(head, 0, 0, 0x5e, 0, 0x53, last) }
	r := sorted([]snmp.Row{
		row(dot1qTpFdbPort, integer(5), at(1, 1)...), row(dot1qTpFdbStatus, integer(3), at(1, 1)...),
		row(dot1qTpFdbPort, integer(6), at(1, 2)...), row(dot1qTpFdbStatus, integer(2), at(1, 2)...), // aged out
		row(dot1dTpFdbPort, integer(0), at(1)...),     // known above
		row(dot1qTpFdbPort, integer(-1), at(2, 3)...), // no port can be
		row(dot1dTpFdbPort, integer(7), at(2)...),
	})
	same(t, "rows", fmt.Sprint(decodeFDB(r)), "[{00:00:5e:00:53:01 5 0 1 false false} {00:00:5e:00:53:02 0 0 3 false false} {00:00:5e:00:53:02 7 0 0 false false}]")
	r = sorted([]snmp.Row{row(dot3adAggPortAttachedAggID, integer(49), 1), row(dot3adAggPortAttachedAggID, integer(2), 2), row(dot3adAggPortAttachedAggID, integer(0), 3)})
	same(t, "aggregates", fmt.Sprint(decodeLAG(r)), "map[1:49]")
	r = rows{row(dot1dStpPortState, integer(2), 1), row(dot1dStpPortState, integer(5), 2), row(dot1dStpPortState, octets("blocking"), 3)}
	same(t, "spanning tree", fmt.Sprint(decodeSTP(r)), "[{1 true} {2 false}]")
}

func TestVLANEdges(t *testing.T) {
	r := sorted([]snmp.Row{
		row(dot1qVlanStaticName, octets("cameras"), 20), row(dot1qVlanStaticEntry, octets("\xc0"), 2, 20), row(dot1qVlanStaticEntry, integer(1), 5, 20),
		row(dot1qVlanStaticName, octets("gone"), 30), row(dot1qVlanStaticEntry, integer(2), 5, 30), // notInService
		row(dot1qVlanStaticName, octets("inside"), 5000),
		row(dot1qVlanCurrentEntry, octets("\x80"), 4, 7, 20), row(dot1qVlanCurrentEntry, octets("\x40"), 4, 9, 20), // the later mark
		row(dot1qVlanFdbId, gauge(1), 7, 40),
		row(dot1qPvid, gauge(20), 1), row(dot1qPvid, gauge(4095), 2), row(dot1qPvid, gauge(0), 3),
	})
	got, whole := decodeVLANs(r)
	same(t, "VLANs", fmt.Sprint(got, whole), "[{20 cameras [2] []} {40  [] []}] true")
	same(t, "PVID", fmt.Sprint(decodePVID(r)), "map[1:20]")
}

func TestSupplyStates(t *testing.T) {
	r := sorted([]snmp.Row{
		row(pethRFC.main, integer(1), 3, 1), row(pethRFC.main, integer(2), 3, 2), row(pethRFC.main, integer(3), 3, 3), row(pethRFC.main, integer(0), 3, 4),
		row(pethRFC.main, gauge(0), 2, 1), row(pethRFC.main, gauge(65536), 2, 2), row(pethRFC.main, gauge(65535), 2, 3), row(pethIEEE.main, gauge(30), 4, 3),
	})
	var got []string
	for _, s := range decodeSupplies(r) {
		line := fmt.Sprint(s.Group)
		if s.On != nil {
			line += fmt.Sprint(" ", *s.On)
		}
		if s.Budget != nil {
			line += " of " + s.Budget.String()
		}
		if s.Used != nil {
			line += " uses " + s.Used.String()
		}
		got = append(got, line)
	}
	same(t, "supplies", strings.Join(got, ", "), "1 true, 2 false, 3 false of 65535 W uses 30 W, 4")
}

// RFC 6933: position -1 is unknown; a row of a logical entity wins over that of
// all others; a pointer may lead elsewhere.
func TestEntityEdges(t *testing.T) {
	r := sorted([]snmp.Row{
		row(entPhysicalClass, integer(10), 33), row(entPhysicalEntry, integer(-1), 6, 33), row(entPhysicalClass, integer(10), 34), row(entPhysicalClass, integer(10), 35),
		row(entAliasMappingIdentifier, pointer("1.3.6.1.2.1.2.2.1.1.5"), 33, 0),
		row(entAliasMappingIdentifier, pointer("1.3.6.1.2.1.2.2.1.1.6"), 34, 0), row(entAliasMappingIdentifier, pointer("1.3.6.1.2.1.2.2.1.1.7"), 34, 2),
		row(entAliasMappingIdentifier, pointer("1.3.6.1.2.1.31.1.1.1.5"), 35, 0), row(entAliasMappingIdentifier, pointer("1.3.6.1.2.1.2.2.1.1"), 35, 1),
	})
	var got []string
	for _, e := range decodeEntities(r) {
		got = append(got, fmt.Sprint(e.Index, " at ", e.Position, " is ", e.Interfaces))
	}
	same(t, "entities", strings.Join(got, ", "), "33 at -1 is [5], 34 at 0 is [7], 35 at 0 is []")
}

func TestRadioEdges(t *testing.T) {
	r := sorted([]snmp.Row{
		row(dot11CurrentFrequency, integer(36), 3), row(dot11CurrentChannel, integer(1), 3),
		row(dot11CurrentTxPowerLevel, integer(3), 3), row(dot11PhyTxPowerEntry, integer(50), 4, 3),
		row(dot11CurrentTxPowerLevel, integer(2), 4), row(dot11CurrentChannel, integer(500), 4),
	})
	got := decodeDot11(r)
	if len(got) != 2 || got[0].Channel != 36 || got[1].Channel != 0 || got[1].TxPower != nil {
		t.Fatalf("%+v", got)
	}
	same(t, "50 mW", fmt.Sprintf("%.2f dBm", *got[0].TxPower), "16.99 dBm")
}

func TestUPSEdges(t *testing.T) {
	line := func(volts, amps, watts int64) rows {
		return sorted([]snmp.Row{row(upsOutputSource, integer(3), 0), row(upsBattery, octets("99"), 4, 0),
			row(upsOutputVoltage, integer(volts), 1), row(upsOutputCurrent, integer(amps), 1), row(upsOutputPower, integer(watts), 1), row(upsOutputPercentLoad, integer(201), 1)})
	}
	for name, c := range map[string]struct {
		in   rows
		want string
	}{
		"fits":       {line(230, 17, 380), "380 W; charge is a text; load of 201"},
		"too much":   {line(230, 17, 3800), "none; charge is a text; load of 201; output power of 3800 W at 391 VA"},
		"below zero": {line(230, 17, -1), "none; charge is a text; load of 201; output power of -1"},
		"no current": {line(230, -1, 380), "380 W; charge is a text; load of 201"},
	} {
		u := decodeUPS(c.in)
		s := "none"
		if u.Output != nil {
			s = u.Output.String()
		}
		same(t, name, strings.Join(append([]string{s}, u.Odd...), "; "), c.want)
	}
	if u := decodeUPS(rows{row(upsAlarmDescr, pointer("1.3.6.1.2.1.33.1.6.3.2"), 1)}); u != nil {
		t.Errorf("a UPS without anything of a UPS: %+v", u)
	}
}

func TestLocalSources(t *testing.T) {
	role, able := lldp1.powerLoc[0].Append(1), lldp1.powerLoc[0].Append(2)
	r := sorted([]snmp.Row{
		row(lldp1.locPortID(), octets("gi1"), 1), row(role, integer(1), 1), row(able, integer(1), 1),
		row(lldp1.locPortID(), octets("gi2"), 2), row(role, integer(1), 2), row(able, integer(2), 2), // cannot
		row(lldp1.locPortID(), octets("gi3"), 3), row(role, integer(2), 3), // takes power
		row(lldp1.locPortID(), octets("gi4"), 4), row(lldpXMedLocXPoEPSEPortPowerAv, gauge(0), 4),
		row(lldp1.locPortID(), octets("gi5"), 5), row(role, integer(1), 5),
		row(lldp1.locPortID(), octets("twice"), 6),
		row(lldp2.locPortID(), octets("gi1"), 10101), row(lldp2.locPortID(), octets("twice"), 10106), row(lldp2.locPortID(), octets("twice"), 10107),
		row(lldp2.locPortID(), octets("gi3"), 10103), row(lldp2.powerLoc[1], integer(1), 1, 10103),
	})
	var got []string
	for _, p := range decodeLLDPLocal(r).Ports {
		got = append(got, fmt.Sprint(p.Num, " ", p.ID, " ", p.Index, " ", p.PSE))
	}
	same(t, "ports", strings.Join(got, ", "), "1 gi1 10101 true, 2 gi2 0 false, 3 gi3 10103 true, 4 gi4 0 true, 5 gi5 0 true, 6 twice 0 false")
}

// A neighbour in both arcs is one, also where only the table of bridge ports tells
// that the two local ports are the same.
func TestMergeByBridgePort(t *testing.T) {
	r := sorted([]snmp.Row{
		row(lldp1.remChassis(), octets("box"), 0, 5, 1), row(lldp1.remoteColumn(9), octets("name"), 0, 5, 1),
		row(lldp2.remChassis(), octets("box"), 0, 10105, 1, 1), row(lldp2.remoteColumn(8), octets("descr"), 0, 10105, 1, 1),
	})
	ag := &inventory.Agent{Bridge: map[inventory.BridgePort]inventory.IfIndex{5: 10105}}
	got, _ := decodeLLDPNeighbors(r, ag)
	if len(got) != 1 || got[0].Local != 5 || got[0].LocalIndex != 10105 || got[0].SysName != "name" || got[0].PortDescr != "descr" {
		t.Errorf("%+v", got)
	}
	if got, _ := decodeLLDPNeighbors(r, &inventory.Agent{}); len(got) != 2 {
		t.Errorf("nothing tells that they are one: %+v", got)
	}
	ag = &inventory.Agent{ // a name that two interfaces share leads nowhere
		Interfaces: []inventory.Interface{{Index: 10104, Name: "port"}, {Index: 10105, Name: "port"}},
		LLDP:       inventory.LLDPLocal{Ports: []inventory.LLDPLocalPort{{Num: 5, Subtype: 5, ID: "port"}}},
	}
	if got, _ := decodeLLDPNeighbors(r, ag); len(got) != 2 {
		t.Errorf("a shared name: %+v", got)
	}
}

func TestSameNeighbor(t *testing.T) {
	if sameNeighbor(&inventory.LLDPNeighbor{}, &inventory.LLDPNeighbor{}) {
		t.Error("two that say nothing are one")
	}
	for pair, want := range map[[2]string]bool{
		{"Eth1/19", "Ethernet1/19"}: true, {"gi5", "gi5"}: true, {"GigabitEthernet1/0/3", "Gi1/0/3"}: true, {"uplink", "uplink"}: true,
		{"Eth1/19", "Ethernet1/9"}: false, {"gi5", "te5"}: false, {"", ""}: false, {"5", "gi5"}: false, {"up", "uplink"}: false,
	} {
		if got := samePort(pair[0], pair[1]); got != want {
			t.Errorf("%q and %q: %v", pair[0], pair[1], got)
		}
	}
	to := inventory.LLDPNeighbor{PortID: "gi5"}
	mergeNeighbor(&to, &inventory.LLDPNeighbor{ChassisSubtype: 7, Chassis: "core-b"})
	same(t, "chassis", to.Chassis, "core-b")
}

func TestNegotiatedPower(t *testing.T) {
	for name, c := range map[string]struct {
		row  remoteRow
		want string
	}{
		"nothing":             {remoteRow{}, "none"},
		"802.3 with watts":    {remoteRow{dot3v2: powerRow{role: 2, requested: 7000, allocated: 7500}, dot3: powerRow{class: poe.Class3}}, "PD true class 3 7000 7500 dot3-v2"},
		"role from the older": {remoteRow{dot3v2: powerRow{requested: 7000}, dot3: powerRow{role: 2}}, "PD true class unknown 7000 0 dot3-v2"},
		"watts before MED":    {remoteRow{dot3v2: powerRow{role: 2, requested: 7000}, medRequested: 12900}, "PD true class unknown 7000 0 dot3-v2"},
		"MED before a class":  {remoteRow{dot3: powerRow{role: 2, class: poe.Class3}, medRequested: 12900, medKind: 3}, "PD true class 3 12900 0 med"},
		"MED of a source":     {remoteRow{medKind: 2, medRequested: 100, medGiven: 15400}, "PD false class unknown 0 15400 med"},
		"MED of a device":     {remoteRow{medKind: 3, medGiven: 15400}, "none"},
		"class alone":         {remoteRow{dot3: powerRow{role: 2, class: poe.Class3}}, "PD true class 3 0 0 dot3"},
		"class of the newer":  {remoteRow{dot3v2: powerRow{role: 1, class: poe.Class2}}, "PD false class 2 0 0 dot3-v2"},
	} {
		s := "none"
		if p := c.row.power(); p != nil {
			s = fmt.Sprintf("PD %v %v %d %d %s", p.PD, p.Class, p.Requested, p.Allocated, p.Source)
		}
		same(t, name, s, c.want)
	}
}

func TestAddressesBounded(t *testing.T) {
	var r rows
	for i := range uint32(100) {
		r = append(r, row(lldp1.remAddress(), integer(2), 0, 5, 1, 1, 4, 203, 0, 113, i), row(lldp1.remAddress(), integer(2), 0, 5, 1, 1, 203, 0, 113, i))
	}
	if got := lldp1.addresses(sorted(r))[remoteKey{port: 5, index: 1}]; len(got) != maxAddresses || slices.Contains(got[1:], got[0]) {
		t.Errorf("%d addresses: %v", len(got), got)
	}
}
