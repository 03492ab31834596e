package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// POWER-ETHERNET-MIB (RFC 3621) and IEEE8023-POWER-ETHERNET-MIB (IEEE 802.3.1),
// which has the same columns and three more. Some agents put those three below
// the RFC's arc.
var (
	pethRFC  = pseArc(snmp.MustOID("1.3.6.1.2.1.105.1"))
	pethIEEE = pseArc(snmp.MustOID("1.3.111.2.802.3.1.8.1"))
)

type pseArcs struct {
	port, main snmp.OID // pethPsePortEntry, pethMainPseEntry
}

func pseArc(objects snmp.OID) pseArcs {
	return pseArcs{objects.Append(1, 1), objects.Append(3, 1, 1)}
}

// detection is pethPsePortDetectionStatus.
func (a pseArcs) detection() snmp.OID { return a.port.Append(6) }

// mainPower is pethMainPsePower.
func (a pseArcs) mainPower() snmp.OID { return a.main.Append(2) }

type pseRow struct {
	inventory.PSEPort
	class *int64
}

// own are the columns that the IEEE module alone has. Units: milliwatts,
// milliwatts, millijoules (from the YANG of IEEE 802.3.2; the MIB names none).
func (a pseArcs) own() []field[pseRow] {
	return []field[pseRow]{
		{a.port.Append(15), func(p *pseRow, v snmp.Value) { p.Actual = pseActual(v) }}, // pethPsePortActualPower
		{a.port.Append(16), func(p *pseRow, v snmp.Value) { // pethPsePortPowerAccuracy
			if n, ok := v.Int64(); ok {
				p.Accuracy = &n
			}
		}},
		{a.port.Append(17), func(p *pseRow, v snmp.Value) { // pethPsePortCumulativeEnergy
			p.Energy, p.EnergyWide = counter(v), v.Kind == snmp.Counter64
		}},
	}
}

func (a pseArcs) fields() []field[pseRow] {
	return append([]field[pseRow]{
		{a.port.Append(3), func(p *pseRow, v snmp.Value) { p.Enabled = truth(v) }}, // pethPsePortAdminEnable
		{a.detection(), func(p *pseRow, v snmp.Value) { p.State = pseState(v) }},
		{a.port.Append(7), func(p *pseRow, v snmp.Value) { p.Priority, _ = whole(v, 1, 3) }},   // pethPsePortPowerPriority
		{a.port.Append(8), func(p *pseRow, v snmp.Value) { p.MPSAbsent = counter32(v) }},       // pethPsePortMPSAbsentCounter
		{a.port.Append(10), func(p *pseRow, v snmp.Value) { n, _ := v.Int64(); p.class = &n }}, // pethPsePortPowerClassifications
		{a.port.Append(11), func(p *pseRow, v snmp.Value) { p.BadSig = counter32(v) }},         // pethPsePortInvalidSignatureCounter
		{a.port.Append(12), func(p *pseRow, v snmp.Value) { p.Denied = counter32(v) }},         // pethPsePortPowerDeniedCounter
		{a.port.Append(13), func(p *pseRow, v snmp.Value) { p.Overload = counter32(v) }},       // pethPsePortOverLoadCounter
		{a.port.Append(14), func(p *pseRow, v snmp.Value) { p.Short = counter32(v) }},          // pethPsePortShortCounter
	}, a.own()...)
}

func pseState(v snmp.Value) inventory.PSEState {
	switch n, _ := v.Int64(); n {
	case 1:
		return inventory.PSEOff
	case 2:
		return inventory.PSESearching
	case 3:
		return inventory.PSEDelivering
	case 4, 6: // fault, otherFault
		return inventory.PSEFault
	case 5:
		return inventory.PSETest
	}
	return inventory.PSEUnknown
}

// pseActual drops what no port can give: 802.3 ends below 100 W.
func pseActual(v snmp.Value) *inventory.Power {
	if n, ok := whole(v, 0, 100_000); ok {
		return new(inventory.Power(n))
	}
	return nil
}

// decodePSE joins both arcs: what the IEEE module says goes first.
func decodePSE(r rows) []inventory.PSEPort {
	var out []inventory.PSEPort
	for _, l := range gather(r, pairIndex, append(pethRFC.fields(), pethIEEE.fields()...)) {
		p := l.row
		p.Index = inventory.PSEIndex{Group: l.key[0], Port: l.key[1]}
		if p.State == "" {
			p.State = inventory.PSEUnknown
		}
		// Class and power mean nothing on a port that does not deliver (RFC 3621).
		if p.State == inventory.PSEDelivering && p.class != nil {
			class, err := poe.FromMIB(*p.class)
			if p.Class = class; err != nil {
				p.ClassNote = err.Error()
			}
		}
		if p.State != inventory.PSEDelivering && p.State != inventory.PSEUnknown {
			p.Actual = nil
		}
		out = append(out, p.PSEPort)
	}
	return out
}

func (a pseArcs) mainFields() []field[inventory.PSESupply] {
	const most = 65535 // pethMainPsePower's range
	return []field[inventory.PSESupply]{
		{a.mainPower(), func(s *inventory.PSESupply, v snmp.Value) { s.Budget = watts(v, 1, most) }},
		{a.main.Append(3), func(s *inventory.PSESupply, v snmp.Value) { s.On = supplyOn(v) }},               // pethMainPseOperStatus
		{a.main.Append(4), func(s *inventory.PSESupply, v snmp.Value) { s.Used = watts(v, 0, most) }},       // pethMainPseConsumptionPower
		{a.main.Append(5), func(s *inventory.PSESupply, v snmp.Value) { s.Threshold, _ = whole(v, 1, 99) }}, // pethMainPseUsageThreshold
	}
}

// supplyOn reads on(1), off(2), faulty(3).
func supplyOn(v snmp.Value) *bool {
	if n, ok := whole(v, 1, 3); ok {
		return new(n == 1)
	}
	return nil
}

func decodeSupplies(r rows) []inventory.PSESupply {
	var out []inventory.PSESupply
	for _, l := range gather(r, oneIndex, append(pethRFC.mainFields(), pethIEEE.mainFields()...)) {
		l.row.Group = l.key
		out = append(out, l.row)
	}
	return out
}
