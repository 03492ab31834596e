package inventory_test

import (
	"fmt"
	"net/netip"
	"testing"
	"time"

	"boundwalk/inventory"
)

// What the tests of the package build their sites of: the fixed time, devices, what
// a sweep hears and what a switch tells.

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func mac(last byte) inventory.MAC { return inventory.MAC{0, 0, 0x5e, 0, 0x53, last} }

func local(last byte) inventory.MAC { return inventory.MAC{2, 0, 0x5e, 0, 0x53, last} }

func ip(s string) netip.Addr { return netip.MustParseAddr(s) }

func site(devices ...inventory.Device) *inventory.Plan {
	return &inventory.Plan{
		Site:     inventory.Site{Name: "Tern Quay", Location: time.UTC},
		Networks: []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("192.0.2.0/24"), VLAN: 10, Unknown: inventory.UnknownWarning}},
		Devices:  devices,
	}
}

func answered(m inventory.MAC, addr string, tries ...int) inventory.Sighting {
	return inventory.Sighting{MAC: m, Addr: ip(addr), Source: inventory.SourceARP, By: "eth0", Seen: noon, Live: true, Tries: tries}
}

func swept(sightings ...inventory.Sighting) *inventory.Evidence {
	return &inventory.Evidence{Started: noon, Finished: noon, Sightings: sightings,
		Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}
}

// bridgeAgent is a switch with n ports gi1 to gi<n>, bridge port 100+k for port k.
func bridgeAgent(name string, own inventory.MAC, n int, fdb ...inventory.FDBEntry) inventory.Agent {
	a := inventory.Agent{Device: name, Read: noon, BridgeMAC: own, Bridge: map[inventory.BridgePort]inventory.IfIndex{}, FDB: fdb,
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete}}
	for k := 1; k <= n; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: fmt.Sprintf("gi%d", k), Type: 6, OperUp: new(true)})
		a.Bridge[inventory.BridgePort(100+k)] = inventory.IfIndex(k)
	}
	return a
}

func switchPlan(name string, m inventory.MAC, addr string, ports int) inventory.Device {
	return inventory.Device{Name: name, Role: inventory.Switch, MACs: []inventory.MAC{m}, Addresses: []netip.Addr{ip(addr)}, Access: "core", Ports: ports}
}

func device(t *testing.T, s *inventory.Snapshot, name string) *inventory.SeenDevice {
	t.Helper()
	d, ok := s.Device(name)
	if !ok {
		t.Fatalf("no device %s in %+v", name, s.Devices)
	}
	return d
}

func unplanned(s *inventory.Snapshot) (names []string) {
	for _, d := range s.Devices {
		if !d.Planned {
			names = append(names, d.Name)
		}
	}
	return names
}
