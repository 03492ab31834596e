package report_test

import (
	"net/netip"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"boundwalk/cmd/internal/report"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/store"
)

var morning = time.Date(2026, 11, 25, 7, 43, 0, 0, time.UTC)

// quay is a snapshot with a device of each kind that a line can tell.
func quay() (*inventory.Snapshot, map[string]store.DeviceRow) {
	mac := func(last byte) []inventory.MAC { return []inventory.MAC{{0, 0, 0x5e, 0, 0x53, last}} }
	at := func(port string, basis inventory.Basis, among int) inventory.Place {
		return inventory.Place{Switch: "quay-switch", Port: port, Basis: basis, Among: among, Seen: morning}
	}
	addr := func(list ...string) (out []netip.Addr) {
		for _, a := range list {
			out = append(out, netip.MustParseAddr(a))
		}
		return out
	}
	phone := func(last byte) inventory.SeenDevice {
		m := inventory.MAC{2, 0, 0x5e, 0, 0x53, last}
		return inventory.SeenDevice{Name: m.String(), MACs: []inventory.MAC{m}, Presence: inventory.Present, Private: true, BehindAP: true,
			Place: at("4", inventory.ByFDB, 3), Network: "yard"}
	}
	s := &inventory.Snapshot{Finished: morning, Devices: []inventory.SeenDevice{
		{Name: "quay-switch", Planned: true, Role: inventory.Switch, Maker: "Fairlead", MakerBy: "entity", Product: "Quoin 10P", Serial: "TQ-0002",
			Firmware: "4.2.1", Hostname: "quay-switch",
			MACs: mac(2), Addrs: addr("203.0.113.2", "fe80::200:5eff:fe00:5302"), Presence: inventory.Present, Witnesses: []string{"arp", "ndp", "snmp"}},
		{Name: "slip-cam", Planned: true, Role: inventory.Camera, MACs: mac(0x31), Maker: "Tern Works", MakerBy: "registry",
			Presence: inventory.Absent, Place: at("5", inventory.Remembered, 0)},
		{Name: "loft-switch", Planned: true, Role: inventory.PlainSwitch, Presence: inventory.Unseeable},
		{Name: "loft-cam", Planned: true, Role: inventory.Camera, Presence: inventory.Absent},
		{Name: "davit-cam", Planned: true, Role: inventory.Camera, Presence: inventory.Absent, Claimed: mac(0x3a)},
		{Name: mac(0x3a)[0].String(), MACs: mac(0x3a), Presence: inventory.Present, Place: at("7", inventory.ByFDB, 0), Witnesses: []string{"fdb"}},
		{Name: mac(0x66)[0].String(), MACs: mac(0x66), Role: inventory.Camera, RoleWhy: []string{"announces dn:NetworkVideoTransmitter"},
			Foreign:  addr("198.51.100.108"),
			Presence: inventory.Present, Place: at("8", inventory.ByFDB, 5), Witnesses: []string{"arp-listen", "fdb"}},
		phone(0x71), phone(0x72), phone(0x73),
	}, Ports: []inventory.PortState{{Switch: "quay-switch", Port: "6", Neighbors: []string{"loft-cam", "davit-cam"}},
		{Switch: "quay-switch", Port: "8", Neighbors: []string{"office-printer", "00:00:5e:00:53:66"}}},
		Networks: []inventory.NetworkState{{Name: "berths", Counted: 4}}, Edges: []inventory.Edge{
			{Child: "slip-cam", Parent: "quay-switch", Port: "5", Basis: inventory.Remembered},
			{Child: "loft-switch", Parent: "quay-switch", Port: "6", Basis: inventory.Planned},
			{Child: "loft-cam", Parent: "loft-switch", Port: "2", Basis: inventory.Planned},
			{Child: "davit-cam", Parent: "loft-switch", Port: "3", Basis: inventory.Planned},
			{Child: "00:00:5e:00:53:3a", Parent: "quay-switch", Port: "7", Basis: inventory.ByFDB},
			{Child: "00:00:5e:00:53:66", Parent: "quay-switch", Port: "8", Basis: inventory.ByFDB, Among: 5},
			{Child: "02:00:5e:00:53:71", Parent: "quay-switch", Port: "4", Basis: inventory.ByFDB, Among: 3},
			{Child: "02:00:5e:00:53:72", Parent: "quay-switch", Port: "4", Basis: inventory.ByFDB, Among: 3},
			{Child: "02:00:5e:00:53:73", Parent: "quay-switch", Port: "4", Basis: inventory.ByFDB, Among: 3},
		}}
	return s, map[string]store.DeviceRow{"slip-cam": {Last: morning.Add(-26 * time.Hour)}}
}

const devicesText = `
device             role          state       where
quay-switch        switch        there       -
    Fairlead Quoin 10P, firmware 4.2.1, serial TQ-0002; 203.0.113.2,
    fe80::200:5eff:fe00:5302; 00:00:5e:00:53:02; seen by arp, ndp, snmp
slip-cam           camera        missing     quay-switch/5 (last seen)
    00:00:5e:00:53:31 (Tern Works); last seen Tue 24 Nov 2026 05:43
loft-switch        plain-switch  dark        quay-switch/6 (planned)
loft-cam           camera        never seen  loft-switch/2 (planned)
davit-cam          camera        never seen  loft-switch/3 (planned)
00:00:5e:00:53:3a  -             stand-in    quay-switch/7
    in the stead of davit-cam; 00:00:5e:00:53:3a; seen by fdb (its port)
00:00:5e:00:53:66  camera?       unknown     quay-switch/8 (among 5)
    198.51.100.108 (outside the plan's networks); 00:00:5e:00:53:66; taken for a
    camera, since it announces dn:NetworkVideoTransmitter; seen by arp-listen,
    fdb (its port)

1 of 4 planned devices are there; 1 unknown, 3 private devices on Wi-Fi; 4 on
berths, only counted.
Silent means that a device has no address of its own and never shows itself; it
is dark where nothing behind it answers.
`

const treeText = `
quay-switch  switch
├─ 4: 3 private devices on Wi-Fi
├─ 5: (last seen) slip-cam  camera  (missing)
├─ 6: (planned) loft-switch  plain-switch  (dark)
│  ├─ 2: (planned) loft-cam  camera  (missing)
│  └─ 3: (planned) davit-cam  camera  (missing)
├─ 7: 00:00:5e:00:53:3a  (in the stead of davit-cam)
└─ 8: (among 5) 00:00:5e:00:53:66  camera?  (unknown)

More than one neighbour speaks on quay-switch/8 (office-printer,
00:00:5e:00:53:66): an unmanaged switch between?
`

// Each line says what the device is, where it hangs, and how that is known;
// private devices are counted and not listed; 80 columns hold it.
func TestDevicesAndTree(t *testing.T) {
	s, past := quay()
	var devices, tree strings.Builder
	if err := report.Devices(&devices, s, past, time.UTC, report.Style{}); err != nil {
		t.Fatal(err)
	}
	if err := report.Tree(&tree, s, report.Style{}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ what, got, want string }{{"devices", devices.String(), devicesText}, {"tree", tree.String(), treeText}} {
		if c.got != strings.TrimPrefix(c.want, "\n") {
			t.Errorf("%s:\n%s", c.what, c.got)
		}
		for line := range strings.Lines(c.got) {
			if utf8.RuneCountInString(strings.TrimRight(line, "\n")) > 80 {
				t.Errorf("wider than 80 columns: %s", line)
			}
		}
	}
}

const portsText = `
quay-switch
  port  link        device                    draws           limit  share
  4     1 Gbit/s    uplink, 3 MACs                -               -      -
  5     100 Mbit/s  slip-cam        14.2 W measured  15.4 W class 3   92 %
  7     down        -                     searching               -      -
  8     100 Mbit/s  quay-radio +2           unknown            30 W      -

Peak is the highest draw measured in the last seven days, with its time. An
unknown draw stays unknown: a class is a ceiling.
`

// Each figure has its basis, a class is a limit and no draw, and a column in
// which there is nothing is left out.
func TestPorts(t *testing.T) {
	watts := func(w poe.Power) *poe.Power { return &w }
	yes, no := true, false
	s := &inventory.Snapshot{Finished: morning, Ports: []inventory.PortState{
		{Switch: "quay-switch", Port: "4", Up: &yes, Speed: 1_000_000_000, Uplink: true, MACCount: 3},
		{Switch: "quay-switch", Port: "5", Up: &yes, Speed: 100_000_000, Seen: []string{"slip-cam"},
			Power: &inventory.PortPower{State: inventory.PSEDelivering, Class: poe.Class3,
				Draw: watts(14_200), DrawBasis: inventory.Measured, Limit: watts(15_400), LimitBasis: inventory.ByClass}},
		{Switch: "quay-switch", Port: "7", Up: &no, Power: &inventory.PortPower{State: inventory.PSESearching}},
		{Switch: "quay-switch", Port: "8", Up: &yes, Speed: 100_000_000, Seen: []string{"basin-cam", "pontoon-radio", "quay-radio"}, Planned: []string{"quay-radio"},
			Power: &inventory.PortPower{State: inventory.PSEDelivering, Limit: watts(30_000)}},
		{Switch: "shed-switch", Port: "1"},
	}}
	var out strings.Builder
	if err := report.Ports(&out, s, &inventory.History{}, "quay-switch", report.Style{}); err != nil {
		t.Fatal(err)
	}
	if out.String() != strings.TrimPrefix(portsText, "\n") {
		t.Errorf("ports:\n%s", out.String())
	}
}
