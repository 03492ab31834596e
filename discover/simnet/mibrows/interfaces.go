package mibrows

import (
	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// interfaces writes ifTable, ifXTable and dot3StatsTable.
func (t *table) interfaces(list []inventory.Interface) {
	if len(list) > 0 {
		t.integer(ifNumber, len(list), 0)
	}
	for _, i := range list {
		n := uint32(i.Index)
		t.integer(ifIndex, int(i.Index), n)
		t.text(ifDescr, i.Descr, n)
		t.integer(ifType, i.Type, n)
		t.gauge(ifSpeed, int64(i.Speed), n) // rests at its maximum where the speed is beyond it (RFC 2863)
		t.mac(ifPhysAddress, i.MAC, n)
		t.choice(ifAdminStatus, i.AdminUp, 1, 2, n)
		t.choice(ifOperStatus, i.OperUp, 1, 2, n)
		t.ticks(ifLastChange, i.LastChange, n)
		t.count(ifInOctets, i.InOctets, n)
		t.count(ifOutOctets, i.OutOctets, n)
		t.count(ifInErrors, i.InErrors, n)
		t.count(ifOutErrors, i.OutErrors, n)

		t.text(ifName, i.Name, n)
		t.text(ifAlias, i.Alias, n)
		if i.Speed > 0 {
			t.gauge(ifHighSpeed, (int64(i.Speed)+500e3)/1e6, n)
		}
		t.truth(ifConnectorPresent, i.Connector, n)
		t.ticks(ifCounterDiscontinuityTime, i.Discontinuity, n)
		if i.Wide {
			t.wide(ifHCInOctets, i.InOctets, n)
			t.wide(ifHCOutOctets, i.OutOctets, n)
		}

		t.count(dot3StatsFCSErrors, i.FCSErrors, n)
		t.count(dot3StatsLateCollisions, i.LateColls, n)
		t.choice(dot3StatsDuplexStatus, i.HalfDuplex, 2, 3, n)
	}
}

func (t *table) wide(column string, n *uint64, index ...uint32) {
	if n != nil {
		t.put(column, simnet.Counter64(*n), index...)
	}
}
