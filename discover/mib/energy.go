package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// ENERGY-OBJECT-MIB (RFC 7460) and ENERGY-OBJECT-CONTEXT-MIB (RFC 7461).
var (
	eoPowerEntry = snmp.MustOID("1.3.6.1.2.1.229.1.2.1")
	eoEntry      = snmp.MustOID("1.3.6.1.2.1.231.1.1.1")

	eoPower        = eoPowerEntry.Append(1)
	eoEthPortIndex = eoEntry.Append(1)
)

type energyRow struct {
	power      *int64
	multiplier *int64
	caliber    int
	port       inventory.PSEIndex
	lldp       int
}

var energyFields = []field[energyRow]{
	{eoPower, func(e *energyRow, v snmp.Value) {
		if n, ok := v.Int64(); ok {
			e.power = &n
		}
	}},
	{eoPowerEntry.Append(3), func(e *energyRow, v snmp.Value) { // eoPowerUnitMultiplier: the exponent itself
		if n, ok := v.Int64(); ok && n >= -24 && n <= 24 {
			e.multiplier = &n
		}
	}},
	{eoPowerEntry.Append(5), func(e *energyRow, v snmp.Value) { e.caliber = code(v) }}, // eoPowerMeasurementCaliber
	{eoEthPortIndex, func(e *energyRow, v snmp.Value) { e.port.Port = code(v) }},
	{eoEntry.Append(2), func(e *energyRow, v snmp.Value) { e.port.Group = code(v) }},        // eoEthPortGrpIndex
	{eoEntry.Append(3), func(e *energyRow, v snmp.Value) { e.lldp, _ = whole(v, 0, 4096) }}, // eoLldpPortNumber
}

// watts is the power with its sign. unavailable(1) is no data, not zero watts.
func (e energyRow) watts() (float64, bool) {
	const unavailable, most = 1, 100_000 // of watts: more is no figure of a small site
	if e.power == nil || e.multiplier == nil || e.caliber == unavailable {
		return 0, false
	}
	w := scaled(*e.power, int(*e.multiplier))
	return w, w >= -most && w <= most
}

func decodeEnergy(r rows, entities []inventory.Entity) []inventory.EnergyObject {
	names := entityNames(entities)
	var out []inventory.EnergyObject
	for _, l := range gather(r, oneIndex, energyFields) {
		const actual = 3 // of the caliber: the rest is estimated or from a table
		o := inventory.EnergyObject{
			Entity: inventory.EntityIndex(l.key), Port: l.row.port, LLDP: inventory.LLDPPort(l.row.lldp), Name: names[l.key],
		}
		if w, ok := l.row.watts(); ok {
			o.Supplies = w < 0
			o.Power, o.Measured = new(poe.FromWatts(max(w, -w))), l.row.caliber == actual
		}
		out = append(out, o)
	}
	return out
}
