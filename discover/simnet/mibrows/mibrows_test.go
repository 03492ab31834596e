package mibrows_test

import (
	"encoding/csv"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

func mac(last byte) inventory.MAC { return inventory.MAC{0, 0, 0x5e, 0, 0x53, last} }

// has checks that each wanted row is there and that none beside those is below
// the arcs.
func has(t *testing.T, rows []simnet.Row, arcs []string, want map[string]string) {
	t.Helper()
	if _, err := simnet.NewAgent(simnet.AgentOptions{Rows: rows}); err != nil {
		t.Errorf("an agent refuses the rows: %v", err)
	}
	got := make(map[string]string)
	for _, r := range rows {
		if _, twice := got[r.OID]; twice {
			t.Errorf("%s is there twice", r.OID)
		}
		got[r.OID] = fmt.Sprint(r.Value)
	}
	for o, w := range want {
		if got[o] != w {
			t.Errorf("%s: %q, want %q", o, got[o], w)
		}
	}
	for o, g := range got {
		if _, ok := want[o]; !ok && slices.ContainsFunc(arcs, func(arc string) bool { return strings.HasPrefix(o, arc+".") }) {
			t.Errorf("%s: %q, want no row", o, g)
		}
	}
}

func TestNothingGivesNoRows(t *testing.T) {
	if rows := append(mibrows.Agent(inventory.Agent{}), mibrows.Neighbors(inventory.Sighting{MAC: mac(1)})...); len(rows) != 0 {
		t.Errorf("%v", rows)
	}
}

// Source: RFC 2863 (ifSpeed rests at its maximum; ifHighSpeed in Mbit/s), RFC
// 3635 (dot3StatsDuplexStatus), RFC 2579 (TruthValue).
func TestInterfaces(t *testing.T) {
	rows := mibrows.Agent(inventory.Agent{Interfaces: []inventory.Interface{
		{Index: 10001, Name: "gi1", Type: 6, MAC: mac(2), AdminUp: new(true), OperUp: new(false), Speed: 100e6, Connector: new(true), HalfDuplex: new(true), LastChange: new(uint32(7))},
		{Index: 3, Type: 24, Speed: 10e9, OperUp: new(true), Wide: true, InOctets: new(uint64(1<<32 + 5))},
	}})
	const e, x = "1.3.6.1.2.1.2.2.1.", "1.3.6.1.2.1.31.1.1.1."
	has(t, rows, []string{e + "5", e + "6", e + "7", e + "8", e + "10", x + "6", x + "15", x + "17", "1.3.6.1.2.1.10.7"}, map[string]string{
		"1.3.6.1.2.1.2.1.0": "Integer 2",
		e + "1.10001":       "Integer 10001",
		e + "5.10001":       "Gauge32 100000000", e + "5.3": "Gauge32 4294967295",
		e + "6.10001": "OctetString 00005e005302", e + "6.3": "OctetString ",
		e + "7.10001": "Integer 1",
		e + "8.10001": "Integer 2", e + "8.3": "Integer 1",
		e + "9.10001": "TimeTicks 7", e + "10.3": "Counter32 5",
		x + "1.10001": "OctetString 676931", x + "6.3": "Counter64 4294967301",
		x + "15.10001": "Gauge32 100", x + "15.3": "Gauge32 10000", x + "17.10001": "Integer 1",
		"1.3.6.1.2.1.10.7.2.1.19.10001": "Integer 2",
	})
}

// Source: RFC 4188, RFC 4363: an index of six octets, behind the filtering
// database's number; PortList has port 1 as the highest bit.
func TestBridge(t *testing.T) {
	rows := mibrows.Agent(inventory.Agent{
		BridgeMAC: mac(2), Bridge: map[inventory.BridgePort]inventory.IfIndex{118: 11008},
		FDB: []inventory.FDBEntry{
			{MAC: inventory.MAC{0, 0x1a, 0x2b, 0x3c, 0x4d, 0x5e}, Port: 118},
			{MAC: inventory.MAC{0, 0x1a, 0x2b, 0x3c, 0x4d, 0x5e}, Port: 118, VLAN: 10},
			{MAC: mac(3), Self: true, VLAN: 10}, {MAC: mac(4), Static: true, VLAN: 10, Filter: 4},
		},
		VLANs: []inventory.VLAN{{ID: 20, Name: "cameras", Egress: []inventory.BridgePort{1, 2, 3, 4, 32}, Untagged: []inventory.BridgePort{1}}},
		PVID:  map[inventory.BridgePort]int{118: 20},
		STP:   []inventory.STPPort{{Port: 118, Blocking: true}},
	})
	has(t, rows, []string{"1.3.6.1.2.1.17.4", "1.3.6.1.2.1.17.7.1.2", "1.3.6.1.2.1.17.1.4"}, map[string]string{
		"1.3.6.1.2.1.17.1.1.0":                           "OctetString 00005e005302",
		"1.3.6.1.2.1.17.1.4.1.1.118":                     "Integer 118",
		"1.3.6.1.2.1.17.1.4.1.2.118":                     "Integer 11008",
		"1.3.6.1.2.1.17.4.3.1.1.0.26.43.60.77.94":        "OctetString 001a2b3c4d5e",
		"1.3.6.1.2.1.17.4.3.1.2.0.26.43.60.77.94":        "Integer 118",
		"1.3.6.1.2.1.17.4.3.1.3.0.26.43.60.77.94":        "Integer 3",
		"1.3.6.1.2.1.17.7.1.2.2.1.2.10.0.26.43.60.77.94": "Integer 118",
		"1.3.6.1.2.1.17.7.1.2.2.1.3.10.0.26.43.60.77.94": "Integer 3",
		"1.3.6.1.2.1.17.7.1.2.2.1.2.10.0.0.94.0.83.3":    "Integer 0",
		"1.3.6.1.2.1.17.7.1.2.2.1.3.10.0.0.94.0.83.3":    "Integer 4",
		"1.3.6.1.2.1.17.7.1.2.2.1.2.4.0.0.94.0.83.4":     "Integer 0",
		"1.3.6.1.2.1.17.7.1.2.2.1.3.4.0.0.94.0.83.4":     "Integer 5",
		"1.3.6.1.2.1.17.7.1.4.2.1.4.0.20":                "OctetString f0000001",
		"1.3.6.1.2.1.17.7.1.4.3.1.4.20":                  "OctetString 80",
		"1.3.6.1.2.1.17.7.1.4.5.1.1.118":                 "Gauge32 20",
		"1.3.6.1.2.1.17.2.15.1.3.118":                    "Integer 2",
	})
}

// Source: RFC 4293 with RFC 2578, 7.7: the old table's address has no length,
// the new one's has family and length.
func TestAddresses(t *testing.T) {
	rows := mibrows.Agent(inventory.Agent{Addresses: []inventory.AgentAddress{
		{Addr: netip.MustParseAddr("192.0.2.1"), Prefix: 25, Index: 3, Origin: "dhcp", State: "duplicate"},
		{Addr: netip.MustParseAddr("2001:db8::1"), Index: 3},
	}})
	const six = "2.16.32.1.13.184.0.0.0.0.0.0.0.0.0.0.0.1"
	has(t, rows, []string{"1.3.6.1.2.1.4"}, map[string]string{
		"1.3.6.1.2.1.4.34.1.3.1.4.192.0.2.1": "Integer 3", "1.3.6.1.2.1.4.34.1.4.1.4.192.0.2.1": "Integer 1",
		"1.3.6.1.2.1.4.34.1.5.1.4.192.0.2.1": "ObjectIdentifier .1.3.6.1.2.1.4.32.1.5.3.1.4.192.0.2.0.25",
		"1.3.6.1.2.1.4.34.1.6.1.4.192.0.2.1": "Integer 4", "1.3.6.1.2.1.4.34.1.7.1.4.192.0.2.1": "Integer 7",
		"1.3.6.1.2.1.4.34.1.3." + six: "Integer 3", "1.3.6.1.2.1.4.34.1.4." + six: "Integer 1",
		"1.3.6.1.2.1.4.34.1.5." + six:    "ObjectIdentifier .0.0",
		"1.3.6.1.2.1.4.20.1.1.192.0.2.1": "IPAddress c0000201", "1.3.6.1.2.1.4.20.1.2.192.0.2.1": "Integer 3",
		"1.3.6.1.2.1.4.20.1.3.192.0.2.1": "IPAddress ffffff80",
	})
	rows = mibrows.Neighbors(
		inventory.Sighting{MAC: mac(9), Addr: netip.MustParseAddr("192.0.2.10"), Port: 3},
		inventory.Sighting{MAC: mac(9), Addr: netip.MustParseAddr("2001:db8::1"), Port: 3},
	)
	has(t, rows, []string{"1.3.6.1.2.1.4"}, map[string]string{
		"1.3.6.1.2.1.4.22.1.1.3.192.0.2.10": "Integer 3", "1.3.6.1.2.1.4.22.1.2.3.192.0.2.10": "OctetString 00005e005309",
		"1.3.6.1.2.1.4.22.1.3.3.192.0.2.10": "IPAddress c000020a", "1.3.6.1.2.1.4.22.1.4.3.192.0.2.10": "Integer 3",
		"1.3.6.1.2.1.4.35.1.4.3.1.4.192.0.2.10": "OctetString 00005e005309", "1.3.6.1.2.1.4.35.1.6.3.1.4.192.0.2.10": "Integer 3",
		"1.3.6.1.2.1.4.35.1.7.3.1.4.192.0.2.10": "Integer 6",
		"1.3.6.1.2.1.4.35.1.4.3." + six:         "OctetString 00005e005309", "1.3.6.1.2.1.4.35.1.6.3." + six: "Integer 3",
		"1.3.6.1.2.1.4.35.1.7.3." + six: "Integer 1",
	})
}

// Source: LLDP-MIB and its extensions; BITS as RFC 3417, section 8.
func TestLLDP(t *testing.T) {
	neighbor := inventory.LLDPNeighbor{
		Local: 5, LocalIndex: 10105, ChassisSubtype: 4, ChassisMAC: mac(4), PortSubtype: 5, PortID: "gi1", SysName: "pontoon",
		Capabilities: []string{"bridge", "router"}, Addresses: []netip.Addr{netip.MustParseAddr("192.0.2.20")}, PVID: 20,
		Power: &inventory.LLDPPower{PD: true, Class: poe.Class3, Requested: 12900, Source: "med"},
		MED:   &inventory.MEDInventory{Maker: "Tern", Serial: "T1"},
	}
	second := inventory.LLDPNeighbor{
		Local: 5, LocalIndex: 10105, ChassisSubtype: 5, Chassis: "192.0.2.21", PortSubtype: 3, PortMAC: mac(5),
		Power: &inventory.LLDPPower{PD: true, Class: poe.Class4, Requested: 25500, Allocated: 30 * poe.Watt, Source: "dot3-v2"},
	}
	third := inventory.LLDPNeighbor{Local: 6, ChassisSubtype: 7, Chassis: "x", PortSubtype: 7, PortID: "y", Power: &inventory.LLDPPower{Class: poe.Class8, Source: "dot3"}}
	rows := mibrows.Agent(inventory.Agent{
		LLDP:      inventory.LLDPLocal{ChassisSubtype: 4, ChassisMAC: mac(2), SysName: "quay", Ports: []inventory.LLDPLocalPort{{Num: 5, Subtype: 5, ID: "gi5", PSE: true}}},
		Neighbors: []inventory.LLDPNeighbor{neighbor, second, third},
	})
	const rem, med = "1.0.8802.1.1.2.1.4.1.1.", "1.0.8802.1.1.2.1.5.4795.1.3."
	const dot3, v2 = "1.0.8802.1.1.2.1.5.4623.1.", "1.3.111.2.802.3.1.5.1.3.2.1."
	has(t, rows, []string{med + "3", med + "7", dot3 + "3", "1.3.111.2.802.3.1.5", "1.0.8802.1.1.2.1.4.2", rem + "5"}, map[string]string{
		"1.0.8802.1.1.2.1.3.2.0": "OctetString 00005e005302", "1.0.8802.1.1.2.1.3.7.1.3.5": "OctetString 676935",
		dot3 + "2.2.1.1.5": "Integer 1",
		rem + "4.0.5.1":    "Integer 4", rem + "5.0.5.1": "OctetString 00005e005304",
		rem + "5.0.5.2": "OctetString 01c0000215", rem + "7.0.5.2": "OctetString 00005e005305", rem + "5.0.6.1": "OctetString 78",
		rem + "12.0.5.1": "OctetString 28",
		"1.0.8802.1.1.2.1.4.2.1.3.0.5.1.1.4.192.0.2.20": "Integer 2",
		"1.0.8802.1.1.2.1.4.2.1.4.0.5.1.1.4.192.0.2.20": "Integer 1",
		"1.0.8802.1.1.2.1.5.32962.1.3.1.1.1.0.5.1":      "Integer 20",
		med + "3.1.5.0.5.1":                             "OctetString 5465726e", med + "3.1.4.0.5.1": "OctetString 5431",
		med + "5.1.1.0.5.1": "Integer 3", med + "7.1.1.0.5.1": "Gauge32 129",
		dot3 + "3.2.1.1.0.6.1": "Integer 1", dot3 + "3.2.1.6.0.6.1": "Integer 5",
		v2 + "1.0.10105.1.2": "Integer 2", v2 + "6.0.10105.1.2": "Integer 5",
		v2 + "10.0.10105.1.2": "Integer 255", v2 + "11.0.10105.1.2": "Integer 300",
	})
}

// Source: RFC 3621 (class N as N+1, whole watts for the group); IEEE 802.3.1 for
// the columns of measured power.
func TestPSE(t *testing.T) {
	rows := mibrows.Agent(inventory.Agent{
		PSEPorts: []inventory.PSEPort{
			{Index: inventory.PSEIndex{Group: 1, Port: 5}, Enabled: new(true), State: inventory.PSEDelivering, Class: poe.Class3, Priority: 3, Denied: new(uint32(6)), Actual: new(inventory.Power(12950)), Energy: new(uint64(1<<32 + 9))},
			{Index: inventory.PSEIndex{Group: 1, Port: 6}, Enabled: new(false), State: inventory.PSEOff},
		},
		Supplies: []inventory.PSESupply{{Group: 1, On: new(true), Budget: new(130 * poe.Watt), Used: new(inventory.Power(47600))}},
	})
	const rfc, ieee = "1.3.6.1.2.1.105.1.1.1.", "1.3.111.2.802.3.1.8.1.1.1."
	has(t, rows, []string{"1.3.6.1.2.1.105", "1.3.111.2.802.3.1.8"}, map[string]string{
		rfc + "3.1.5": "Integer 1", rfc + "6.1.5": "Integer 3", rfc + "7.1.5": "Integer 3", rfc + "10.1.5": "Integer 4", rfc + "12.1.5": "Counter32 6",
		rfc + "3.1.6": "Integer 2", rfc + "6.1.6": "Integer 1", rfc + "10.1.6": "Integer 1",
		ieee + "3.1.5": "Integer 1", ieee + "6.1.5": "Integer 3", ieee + "7.1.5": "Integer 3", ieee + "10.1.5": "Integer 4", ieee + "12.1.5": "Counter32 6",
		ieee + "15.1.5": "Integer 12950", ieee + "17.1.5": "Counter32 9",
		"1.3.6.1.2.1.105.1.3.1.1.2.1": "Gauge32 130", "1.3.6.1.2.1.105.1.3.1.1.3.1": "Integer 1", "1.3.6.1.2.1.105.1.3.1.1.4.1": "Gauge32 48",
	})
}

// Source: RFC 3433, RFC 6933, RFC 7460, RFC 7461.
func TestEntities(t *testing.T) {
	rows := mibrows.Agent(inventory.Agent{
		Entities: []inventory.Entity{{Index: 33, Class: 10, In: 1, Position: 5, Name: "gi5", Interfaces: []inventory.IfIndex{5}}},
		Sensors:  []inventory.SensorReading{{Entity: 40, Type: 8, Value: new(23.5)}, {Entity: 41, Type: 6}, {Entity: 42, Type: 6, Value: new(1e12)}},
		Energy:   []inventory.EnergyObject{{Entity: 33, Power: new(inventory.Power(15400)), Supplies: true, Measured: true, Port: inventory.PSEIndex{Group: 1, Port: 5}, LLDP: 5}, {Entity: 34}},
	})
	const sensor, energy = "1.3.6.1.2.1.99.1.1.1.", "1.3.6.1.2.1.229.1.2.1."
	has(t, rows, []string{sensor + "4", energy + "1", "1.3.6.1.2.1.47.1.3"}, map[string]string{
		"1.3.6.1.2.1.47.1.3.2.1.2.33.0": "ObjectIdentifier .1.3.6.1.2.1.2.2.1.1.5",
		"1.3.6.1.2.1.47.1.1.1.1.6.33":   "Integer 5",
		sensor + "2.40":                 "Integer 9", sensor + "3.40": "Integer 3", sensor + "4.40": "Integer 23500", sensor + "5.40": "Integer 1",
		sensor + "4.41": "Integer 0", sensor + "5.41": "Integer 2", sensor + "4.42": "Integer 1000000000",
		energy + "1.33": "Integer -15400", energy + "3.33": "Integer -3", energy + "5.33": "Integer 3",
		energy + "1.34": "Integer 0", energy + "5.34": "Integer 1",
		"1.3.6.1.2.1.231.1.1.1.2.33": "Integer 1", "1.3.6.1.2.1.231.1.1.1.1.33": "Integer 5", "1.3.6.1.2.1.231.1.1.1.3.33": "Integer 5",
	})
}

// Source: RFC 2790, RFC 2579 (DateAndTime, with its example), RFC 1628.
func TestHostAndUPS(t *testing.T) {
	zone := time.FixedZone("", -4*3600)
	rows := mibrows.Agent(inventory.Agent{
		System:  inventory.System{Descr: "recorder", ObjectID: "1.3.6.1.4.1.32473.1", Name: "loft", UpTime: new(uint32(9)), HostUp: new(uint32(8))},
		Date:    &inventory.AgentDate{Time: time.Date(1992, 5, 26, 13, 30, 15, 0, zone), Zone: true},
		Storage: []inventory.Storage{{Index: 31, Descr: "/record", Fixed: true, Size: 16e12, Used: 8e12}},
		UPS: &inventory.UPSReading{Source: "battery", Battery: "low", OnBattery: new(90 * time.Second), Runtime: new(7 * time.Minute), Charge: new(60),
			Volts: new(54.6), Load: new(38), Output: new(380 * poe.Watt), Celsius: new(27.2), Alarms: []string{"upsAlarmOnBattery"}},
		Radio:   []inventory.RadioInterface{{Index: 2, Channel: 11, TxPower: new(17.0)}},
		LAG:     map[inventory.IfIndex]inventory.IfIndex{7: 100},
		Printer: true,
	})
	const ups = "1.3.6.1.2.1.33.1."
	has(t, rows, []string{"1.3.6.1.2.1.1", "1.3.6.1.2.1.25.1"}, map[string]string{
		"1.3.6.1.2.1.1.1.0": "OctetString 7265636f72646572", "1.3.6.1.2.1.1.2.0": "ObjectIdentifier .1.3.6.1.4.1.32473.1", "1.3.6.1.2.1.1.3.0": "TimeTicks 9",
		"1.3.6.1.2.1.1.5.0": "OctetString 6c6f6674", "1.3.6.1.2.1.1.6.0": "OctetString ", "1.3.6.1.2.1.1.7.0": "Integer 0",
		"1.3.6.1.2.1.25.1.1.0": "TimeTicks 8", "1.3.6.1.2.1.25.1.2.0": "OctetString 07c8051a0d1e0f002d0400",
		"1.3.6.1.2.1.25.2.3.1.2.31": "ObjectIdentifier .1.3.6.1.2.1.25.2.1.4",
		"1.3.6.1.2.1.25.2.3.1.4.31": "Integer 8192", "1.3.6.1.2.1.25.2.3.1.5.31": "Integer 1953125000", "1.3.6.1.2.1.25.2.3.1.6.31": "Integer 976562500",
		ups + "2.1.0": "Integer 3", ups + "2.2.0": "Integer 90", ups + "2.3.0": "Integer 7", ups + "2.4.0": "Integer 60", ups + "2.5.0": "Integer 546", ups + "2.7.0": "Integer 27",
		ups + "4.1.0": "Integer 5", ups + "4.4.1.4.1": "Integer 380", ups + "4.4.1.5.1": "Integer 38",
		ups + "6.1.0": "Gauge32 1", ups + "6.2.1.2.1": "ObjectIdentifier .1.3.6.1.2.1.33.1.6.3.2",
		"1.2.840.10036.4.5.1.1.2": "Integer 11", "1.2.840.10036.4.3.1.2.2": "Integer 50", "1.2.840.10036.4.3.1.10.2": "Integer 1",
		"1.2.840.10006.300.43.1.2.1.1.13.7": "Integer 100",
	})
}

// Oracle: the list of objects, each resolved from its module's text, where it
// lies beside the repository.
func TestObjectNames(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "..", "shared", "standards", "snmp-objects.csv"))
	if err != nil {
		t.Skipf("no list of objects: %v", err)
	}
	defer f.Close()
	list, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	known := make(map[string][]string)
	for _, r := range list {
		known[r[1]] = append(known[r[1]], r[2])
	}
	for name, value := range constants(t, "objects.go") {
		switch {
		case name == "pethRFC", name == "pethIEEE":
		case strings.HasPrefix(name, "pethPse"):
			for _, o := range known[name] {
				if o != "1.3.6.1.2.1.105.1.1.1."+value && o != "1.3.111.2.802.3.1.8.1.1.1."+value {
					t.Errorf("%s: column %s, the module has %s", name, value, o)
				}
			}
		case !slices.Contains(known[name], value):
			t.Errorf("%s = %s, the module has %v", name, value, known[name])
		}
	}
}

func constants(t *testing.T, file string) map[string]string {
	t.Helper()
	parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string]string)
	ast.Inspect(parsed, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			out[v.Names[0].Name] = strings.Trim(v.Values[0].(*ast.BasicLit).Value, `"`)
		}
		return true
	})
	if len(out) < 100 {
		t.Fatalf("%d constants", len(out))
	}
	return out
}
