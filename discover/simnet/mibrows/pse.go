package mibrows

import (
	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// psePorts writes pethPsePortTable. A port whose power is measured stands in the
// arc of IEEE 802.3.1 too, which alone has a column for that.
func (t *table) psePorts(list []inventory.PSEPort) {
	for _, p := range list {
		t.psePort(pethRFC, p)
		if p.Actual == nil {
			continue
		}
		t.psePort(pethIEEE, p)
		index := []uint32{uint32(p.Index.Group), uint32(p.Index.Port)}
		t.integer(pethIEEE+pethPsePortActualPower, int(*p.Actual), index...)
		if p.Accuracy != nil {
			t.integer(pethIEEE+pethPsePortPowerAccuracy, int(*p.Accuracy), index...)
		}
		t.count(pethIEEE+pethPsePortCumulativeEnergy, p.Energy, index...)
	}
}

func (t *table) psePort(arc string, p inventory.PSEPort) {
	states := map[inventory.PSEState]int{
		inventory.PSEOff: 1, inventory.PSESearching: 2, inventory.PSEDelivering: 3, inventory.PSEFault: 4, inventory.PSETest: 5,
	}
	index := []uint32{uint32(p.Index.Group), uint32(p.Index.Port)}
	t.truth(arc+pethPsePortAdminEnable, p.Enabled, index...)
	if n := states[p.State]; n != 0 {
		t.integer(arc+pethPsePortDetectionStatus, n, index...)
	}
	if p.Priority > 0 {
		t.integer(arc+pethPsePortPowerPriority, p.Priority, index...)
	}
	if _, ok := p.Class.Number(); ok {
		t.class(arc+pethPsePortPowerClassifications, p.Class, index...)
	} else {
		t.integer(arc+pethPsePortPowerClassifications, 1, index...) // an idle port shows class0(1)
	}
	t.count32(arc+pethPsePortMPSAbsentCounter, p.MPSAbsent, index...)
	t.count32(arc+pethPsePortInvalidSignatureCounter, p.BadSig, index...)
	t.count32(arc+pethPsePortPowerDeniedCounter, p.Denied, index...)
	t.count32(arc+pethPsePortOverLoadCounter, p.Overload, index...)
	t.count32(arc+pethPsePortShortCounter, p.Short, index...)
}

// supplies writes pethMainPseTable, in whole watts.
func (t *table) supplies(list []inventory.PSESupply) {
	for _, s := range list {
		group := uint32(s.Group)
		t.choice(pethMainPseOperStatus, s.On, 1, 2, group)
		t.watts(pethMainPsePower, s.Budget, group)
		t.watts(pethMainPseConsumptionPower, s.Used, group)
		if s.Threshold > 0 {
			t.integer(pethMainPseUsageThreshold, s.Threshold, group)
		}
	}
}

// watts rounds a power to whole watts, if it is known.
func (t *table) watts(column string, p *inventory.Power, index ...uint32) {
	if p != nil {
		t.put(column, simnet.Gauge32(uint32(max(0, *p+500)/1000)), index...)
	}
}
