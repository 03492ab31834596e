package mibrows

import (
	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// Columns of BRIDGE-MIB and Q-BRIDGE-MIB say how a row of the forwarding table came.
const (
	fdbLearned = 3
	fdbSelf    = 4
	fdbStatic  = 5 // mgmt
)

// bridge writes BRIDGE-MIB and dot1qPortVlanTable.
func (t *table) bridge(a inventory.Agent) {
	if a.BridgeMAC.IsValid() {
		t.mac(dot1dBaseBridgeAddress, a.BridgeMAC, 0)
		t.integer(dot1dBaseNumPorts, len(a.Bridge), 0)
		t.integer(dot1dBaseType, 2, 0) // transparent-only(2)
	}
	for port, index := range a.Bridge {
		t.integer(dot1dBasePort, int(port), uint32(port))
		t.integer(dot1dBasePortIfIndex, int(index), uint32(port))
	}
	for _, e := range a.FDB {
		t.fdb(e)
	}
	for port, vlan := range a.PVID {
		t.gauge(dot1qPvid, int64(vlan), uint32(port))
	}
	for _, p := range a.STP {
		t.integer(dot1dStpPort, int(p.Port), uint32(p.Port))
		t.choice(dot1dStpPortState, &p.Blocking, 2, 5, uint32(p.Port)) // blocking(2), forwarding(5)
	}
}

// fdb writes one row: into the table of the VLAN's filtering database if there
// is one, each VLAN having its own, else into the table that knows no VLANs.
func (t *table) fdb(e inventory.FDBEntry) {
	status := fdbLearned
	switch {
	case e.Self:
		status = fdbSelf
	case e.Static:
		status = fdbStatic
	}
	index := numbers(e.MAC[:])
	filter := e.Filter
	if filter == 0 {
		filter = e.VLAN
	}
	if filter == 0 {
		t.mac(dot1dTpFdbAddress, e.MAC, index...)
		t.integer(dot1dTpFdbPort, int(e.Port), index...)
		t.integer(dot1dTpFdbStatus, status, index...)
		return
	}
	index = append([]uint32{uint32(filter)}, index...)
	t.integer(dot1qTpFdbPort, int(e.Port), index...)
	t.integer(dot1qTpFdbStatus, status, index...)
}

// vlans writes dot1qVlanCurrentTable, at time mark zero, and dot1qVlanStaticTable.
func (t *table) vlans(list []inventory.VLAN) {
	for _, v := range list {
		id := uint32(v.ID)
		egress, untagged := portList(v.Egress), portList(v.Untagged)
		t.gauge(dot1qVlanFdbId, int64(v.ID), 0, id)
		t.put(dot1qVlanCurrentEgressPorts, simnet.Octets(egress), 0, id)
		t.put(dot1qVlanCurrentUntaggedPorts, simnet.Octets(untagged), 0, id)
		t.integer(dot1qVlanStatus, 2, 0, id) // permanent(2)
		t.text(dot1qVlanStaticName, v.Name, id)
		t.put(dot1qVlanStaticEgressPorts, simnet.Octets(egress), id)
		t.put(dot1qVlanStaticUntaggedPorts, simnet.Octets(untagged), id)
		t.integer(dot1qVlanStaticRowStatus, 1, id) // active(1)
	}
}

// portList is a PortList (RFC 4363): the highest bit of the first octet is port 1.
func portList(ports []inventory.BridgePort) []byte {
	var out []byte
	for _, p := range ports {
		if p < 1 {
			continue
		}
		at := int(p-1) / 8
		for len(out) <= at {
			out = append(out, 0)
		}
		out[at] |= 0x80 >> (int(p-1) % 8)
	}
	return out
}
