package inventory_test

import (
	"net/netip"
	"slices"
	"testing"

	"boundwalk/inventory"
)

// FC-07: an agent that answers from another of its addresses is one device with
// both, whether ARP shows them on one MAC, on two, or not at all.
func TestFC07AnsweredFromElsewhere(t *testing.T) {
	both := []netip.Addr{ip("192.0.2.2"), ip("192.0.2.130")}
	for name, sightings := range map[string][]inventory.Sighting{
		"on one MAC":           {answered(mac(2), "192.0.2.2"), answered(mac(2), "192.0.2.130")},
		"on two":               {answered(mac(2), "192.0.2.2"), answered(mac(0x12), "192.0.2.130")},
		"the other not by ARP": {answered(mac(2), "192.0.2.2")},
	} {
		t.Run(name, func(t *testing.T) {
			agent := bridgeAgent("sw", mac(2), 4)
			agent.Target, agent.Alias = netip.AddrPortFrom(both[0], 161), both[1]
			ev := swept(sightings...)
			ev.Agents = []inventory.Agent{agent}
			s := inventory.Assemble(site(switchPlan("sw", mac(2), "192.0.2.2", 4)), ev, nil, nil)
			if got := device(t, s, "sw").Addrs; !slices.Equal(got, both) {
				t.Errorf("it has %v, want %v", got, both)
			}
			if got := unplanned(s); len(got) > 0 {
				t.Errorf("unknown: %v", got)
			}
		})
	}
	// Two that answer for the other address: who has it cannot be told.
	agent := bridgeAgent("sw", mac(2), 4)
	agent.Target, agent.Alias = netip.AddrPortFrom(both[0], 161), both[1]
	ev := swept(answered(mac(0x12), "192.0.2.130", 1, 2), answered(mac(0x13), "192.0.2.130", 1, 2))
	ev.Agents = []inventory.Agent{agent}
	if got := unplanned(inventory.Assemble(site(switchPlan("sw", mac(2), "192.0.2.2", 4)), ev, nil, nil)); len(got) != 2 {
		t.Errorf("unknown: %v, want both", got)
	}
}
