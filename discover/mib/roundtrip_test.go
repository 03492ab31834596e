package mib_test

import (
	"fmt"
	"math"
	"net/netip"
	"reflect"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// site is a switch that has something in each table.
func site(t *testing.T) inventory.Agent {
	up, down := new(true), new(false)
	return inventory.Agent{
		System: inventory.System{Descr: "eight ports of Tern Quay", ObjectID: "1.3.6.1.4.1.99999.1", Name: "quay-switch", Location: "boat shed", Services: 2, Forwards: new(false)},
		Interfaces: []inventory.Interface{
			{Index: 1, Name: "gi1", Descr: "port 1", Alias: "to the pontoon", Type: 6, MAC: mac(t, "00:00:5e:00:53:01"), AdminUp: up, OperUp: up, Speed: 1e9,
				Connector: up, LastChange: new(uint32(100)), InOctets: new(uint64(1 << 40)), OutOctets: new(uint64(1 << 41)), Wide: true,
				InErrors: new(uint64(1)), OutErrors: new(uint64(2)), FCSErrors: new(uint64(3)), LateColls: new(uint64(4)), Discontinuity: new(uint32(5)), HalfDuplex: down},
			{Index: 2, Name: "gi2", Descr: "port 2", Type: 6, MAC: mac(t, "00:00:5e:00:53:02"), AdminUp: down, OperUp: down, Connector: up, HalfDuplex: up},
			{Index: 49, Name: "lag1", Descr: "aggregate", Type: 161, MAC: mac(t, "00:00:5e:00:53:03"), AdminUp: up, OperUp: up, Connector: down, Speed: 2e9},
		},
		Addresses: []inventory.AgentAddress{
			{Addr: netip.MustParseAddr("203.0.113.2"), Prefix: 24, Index: 1, Origin: "manual", State: "preferred"},
			{Addr: netip.MustParseAddr("2001:db8::2"), Prefix: 64, Index: 1, Origin: "linklayer", State: "duplicate"},
		},
		BridgeMAC: mac(t, "00:00:5e:00:53:01"),
		Bridge:    map[inventory.BridgePort]inventory.IfIndex{101: 1, 102: 2, 149: 49},
		FDB: []inventory.FDBEntry{
			{MAC: mac(t, "00:00:5e:00:53:10"), Port: 101, VLAN: 20},
			{MAC: mac(t, "00:00:5e:00:53:11"), Port: 0, VLAN: 20},
			{MAC: mac(t, "00:00:5e:00:53:12"), Port: 149, VLAN: 30, Static: true},
			{MAC: mac(t, "00:00:5e:00:53:13"), Port: 102, Filter: 77},
			{MAC: mac(t, "00:00:5e:00:53:01"), Port: 0, Self: true},
		},
		VLANs: []inventory.VLAN{
			{ID: 20, Name: "cameras", Egress: []inventory.BridgePort{101, 149}, Untagged: []inventory.BridgePort{101}},
			{ID: 30, Name: "berths", Egress: []inventory.BridgePort{102, 149}, Untagged: []inventory.BridgePort{102}},
		},
		PVID: map[inventory.BridgePort]int{101: 20, 102: 30},
		LLDP: inventory.LLDPLocal{ChassisSubtype: 4, Chassis: "00:00:5e:00:53:01", ChassisMAC: mac(t, "00:00:5e:00:53:01"), SysName: "quay-switch", Ports: []inventory.LLDPLocalPort{
			{Num: 1, Subtype: 5, ID: "gi1", Descr: "port 1", PSE: true},
			{Num: 2, Subtype: 3, ID: "00:00:5e:00:53:02", MAC: mac(t, "00:00:5e:00:53:02"), Descr: "port 2"},
		}},
		Neighbors: siteNeighbors(t),
		PSEPorts:  sitePorts(),
		Supplies:  []inventory.PSESupply{{Group: 1, On: up, Budget: new(65 * poe.Watt), Used: new(24 * poe.Watt), Threshold: 80}},
		Entities: []inventory.Entity{
			{Index: 1, Class: 3, Name: "chassis", Descr: "the box", Maker: "Example", Model: "S8", Serial: "T-0", Hardware: "A", Firmware: "1.0", Software: "2.0"},
			{Index: 11, Class: 10, In: 1, Position: 1, Name: "gi1", Interfaces: []inventory.IfIndex{1}},
		},
		Sensors: []inventory.SensorReading{{Entity: 1, Type: 8, Value: new(41.5), Name: "chassis"}, {Entity: 11, Type: 6, Name: "gi1"}},
		Energy: []inventory.EnergyObject{
			{Entity: 11, Power: new(poe.Power(5300)), Supplies: true, Measured: true, Port: inventory.PSEIndex{Group: 1, Port: 1}, LLDP: 1, Name: "gi1"},
		},
		Storage: []inventory.Storage{{Index: 1, Descr: "/srv/video", Fixed: true, Size: 8 << 40, Used: 6 << 40}},
		UPS: &inventory.UPSReading{Maker: "Example", Model: "U1", Firmware: "3", Source: "battery", Battery: "low", OnBattery: new(90 * time.Second),
			Runtime: new(7 * time.Minute), Charge: new(40), Volts: new(26.4), Load: new(35), Output: new(210 * poe.Watt), Celsius: new(27.0),
			Alarms: []string{"upsAlarmOnBattery", "upsAlarmLowBattery"}},
		Radio:   []inventory.RadioInterface{{Index: 3, Channel: 11, TxPower: new(20.0)}},
		Printer: true,
		STP:     []inventory.STPPort{{Port: 101}, {Port: 102, Blocking: true}},
		LAG:     map[inventory.IfIndex]inventory.IfIndex{2: 49},
	}
}

func siteNeighbors(t *testing.T) []inventory.LLDPNeighbor {
	return []inventory.LLDPNeighbor{
		{Local: 1, LocalIndex: 1, ChassisSubtype: 4, Chassis: "00:00:5e:00:53:20", ChassisMAC: mac(t, "00:00:5e:00:53:20"), PortSubtype: 5, PortID: "eth0",
			PortDescr: "lan", SysName: "crane-cam", SysDescr: "camera", Capabilities: []string{"stationOnly"}, PVID: 20,
			Addresses: []netip.Addr{netip.MustParseAddr("203.0.113.20"), netip.MustParseAddr("2001:db8::20")},
			Power:     &inventory.LLDPPower{PD: true, Class: poe.Class3, Requested: 7 * poe.Watt, Allocated: 7500, Source: "dot3-v2"},
			MED:       &inventory.MEDInventory{Maker: "Example", Model: "C1", Serial: "T-1", Hardware: "1", Firmware: "2", Software: "3"}},
		{Local: 2, ChassisSubtype: 5, Chassis: "203.0.113.30", PortSubtype: 7, PortID: "uplink", Capabilities: []string{"bridge", "wlanAccessPoint"},
			Power: &inventory.LLDPPower{PD: true, Requested: 12900, Source: "med"}},
	}
}

func sitePorts() []inventory.PSEPort {
	return []inventory.PSEPort{
		{Index: inventory.PSEIndex{Group: 1, Port: 1}, Enabled: new(true), State: inventory.PSEDelivering, Class: poe.Class3, Priority: 1, Denied: new(uint32(1)),
			Overload: new(uint32(2)), Short: new(uint32(3)), MPSAbsent: new(uint32(4)), BadSig: new(uint32(5)), Actual: new(poe.Power(5230)),
			Accuracy: new(int64(200)), Energy: new(uint64(18_000_000))},
		{Index: inventory.PSEIndex{Group: 1, Port: 2}, Enabled: new(false), State: inventory.PSEOff},
	}
}

// What the simulated site writes into the MIBs from the inventory's types, by code
// of its own, must come back as it was.
func TestRoundTrip(t *testing.T) {
	want := site(t)
	neighbors := []inventory.Sighting{
		{MAC: mac(t, "00:00:5e:00:53:40"), Addr: netip.MustParseAddr("203.0.113.40"), Port: 1},
		{MAC: mac(t, "00:00:5e:00:53:41"), Addr: netip.MustParseAddr("2001:db8::41"), Port: 49},
	}
	a := agent(t, append(mibrows.Agent(want), mibrows.Neighbors(neighbors...)...)...)
	c := dial(t, a, snmp.Options{})
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-switch"})
	checkCoverage(t, got)
	if got.Err != nil {
		t.Fatal(got.Err)
	}
	for table, r := range got.Agent.Tables {
		if r != inventory.Complete {
			t.Errorf("%s is %s", table, r)
		}
	}
	ag := got.Agent
	if p := ag.Radio[0].TxPower; math.Abs(*p-20) > 1e-9 {
		t.Errorf("radio power %v dBm", *p)
	}
	ag.Radio[0].TxPower = want.Radio[0].TxPower
	wv, gv := reflect.ValueOf(want), reflect.ValueOf(ag)
	for i := range wv.NumField() {
		switch name := wv.Type().Field(i).Name; name {
		case "Device", "Target", "Alias", "Read", "Version", "Weak", "Tables", "Stats", "Date", "Objects", "Engine": // not the MIBs'
		default:
			if !reflect.DeepEqual(wv.Field(i).Interface(), gv.Field(i).Interface()) {
				t.Errorf("%s:\n got %s\nwant %s", name, dump(gv.Field(i)), dump(wv.Field(i)))
			}
		}
	}
	for i, n := range got.Neighbors {
		w := neighbors[i]
		if n.MAC != w.MAC || n.Addr != w.Addr || n.Port != w.Port || n.By != "quay-switch" || n.Source != inventory.SourceNeighbors || n.Live || n.Seen != ag.Read {
			t.Errorf("neighbour %+v, want %+v", n, w)
		}
	}
	equal(t, "neighbours", len(got.Neighbors), 2)
}

// dump prints what pointers point at.
func dump(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return "nil"
		}
		return "&" + dump(v.Elem())
	case reflect.Slice:
		var s strings.Builder
		s.WriteString("[")
		for i := range v.Len() {
			s.WriteString(dump(v.Index(i)) + "\n      ")
		}
		return s.String() + "]"
	case reflect.Struct:
		if v.Type().PkgPath() == "net/netip" {
			return fmt.Sprint(v.Interface())
		}
		var s strings.Builder
		s.WriteString("{")
		for i := range v.NumField() {
			s.WriteString(v.Type().Field(i).Name + ":" + dump(v.Field(i)) + " ")
		}
		return s.String() + "}"
	}
	return fmt.Sprintf("%#v", v.Interface())
}

func TestDate(t *testing.T) {
	skewed := time.Now().Add(-3 * time.Hour).In(time.FixedZone("", 2*3600))
	a := agent(t, mibrows.Agent(inventory.Agent{Date: &inventory.AgentDate{Time: skewed, Zone: true}})...)
	before := time.Now()
	got := mib.Collect(t.Context(), dial(t, a, snmp.Options{}), mib.Request{})
	d := got.Agent.Date
	if d == nil || !d.Zone || d.Read.Before(before) || d.Read.After(time.Now()) {
		t.Fatalf("date %+v", d)
	}
	if off := d.Read.Sub(d.Time) - 3*time.Hour; off < -time.Second || off > time.Minute {
		t.Errorf("off by three hours and %v", off)
	}
}
