package mib

import (
	"math"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// IF-MIB (RFC 2863): ifTable and ifXTable. ifNumber is never asked for: it says
// less than the table does (FC-12).
var (
	ifEntry      = snmp.MustOID("1.3.6.1.2.1.2.2.1")
	ifXEntry     = snmp.MustOID("1.3.6.1.2.1.31.1.1.1")
	ifIndex      = ifEntry.Append(1)
	ifOperStatus = ifEntry.Append(8)
)

// interfaceRow is an interface with what must be chosen between.
type interfaceRow struct {
	inventory.Interface
	speed, highSpeed         *uint64
	in32, out32, in64, out64 *uint64
}

var interfaceFields = []field[interfaceRow]{
	{ifEntry.Append(2), func(i *interfaceRow, v snmp.Value) { i.Descr = description(v) }},    // ifDescr
	{ifEntry.Append(3), func(i *interfaceRow, v snmp.Value) { i.Type = code(v) }},            // ifType
	{ifEntry.Append(5), func(i *interfaceRow, v snmp.Value) { i.speed = counter(v) }},        // ifSpeed
	{ifEntry.Append(6), func(i *interfaceRow, v snmp.Value) { i.MAC = mac(v) }},              // ifPhysAddress
	{ifEntry.Append(7), func(i *interfaceRow, v snmp.Value) { i.AdminUp = choice(v, 1, 2) }}, // ifAdminStatus: up(1), down(2)
	{ifOperStatus, func(i *interfaceRow, v snmp.Value) { i.OperUp = operUp(v) }},
	{ifEntry.Append(9), func(i *interfaceRow, v snmp.Value) { i.LastChange = ticks(v) }},      // ifLastChange
	{ifEntry.Append(10), func(i *interfaceRow, v snmp.Value) { i.in32 = counter(v) }},         // ifInOctets
	{ifEntry.Append(14), func(i *interfaceRow, v snmp.Value) { i.InErrors = counter(v) }},     // ifInErrors
	{ifEntry.Append(16), func(i *interfaceRow, v snmp.Value) { i.out32 = counter(v) }},        // ifOutOctets
	{ifEntry.Append(20), func(i *interfaceRow, v snmp.Value) { i.OutErrors = counter(v) }},    // ifOutErrors
	{ifXEntry.Append(1), func(i *interfaceRow, v snmp.Value) { i.Name = text(v) }},            // ifName
	{ifXEntry.Append(6), func(i *interfaceRow, v snmp.Value) { i.in64 = counter(v) }},         // ifHCInOctets
	{ifXEntry.Append(10), func(i *interfaceRow, v snmp.Value) { i.out64 = counter(v) }},       // ifHCOutOctets
	{ifXEntry.Append(15), func(i *interfaceRow, v snmp.Value) { i.highSpeed = counter(v) }},   // ifHighSpeed
	{ifXEntry.Append(17), func(i *interfaceRow, v snmp.Value) { i.Connector = truth(v) }},     // ifConnectorPresent
	{ifXEntry.Append(18), func(i *interfaceRow, v snmp.Value) { i.Alias = text(v) }},          // ifAlias
	{ifXEntry.Append(19), func(i *interfaceRow, v snmp.Value) { i.Discontinuity = ticks(v) }}, // ifCounterDiscontinuityTime
}

// operUp reads ifOperStatus. testing(3), unknown(4) and dormant(5) are neither.
func operUp(v snmp.Value) *bool {
	switch n, _ := v.Int64(); n {
	case 1: // up
		return new(true)
	case 2, 6, 7: // down, notPresent, lowerLayerDown
		return new(false)
	}
	return nil
}

func decodeInterfaces(r rows) []inventory.Interface {
	var out []inventory.Interface
	for _, l := range gather(r, oneIndex, interfaceFields) {
		i := l.row
		i.Index = inventory.IfIndex(l.key)
		i.Speed = speed(i.speed, i.highSpeed)
		i.InOctets, i.OutOctets = i.in32, i.out32
		if i.in64 != nil && i.out64 != nil {
			i.InOctets, i.OutOctets, i.Wide = i.in64, i.out64, true
		}
		out = append(out, i.Interface)
	}
	return out
}

// speed prefers ifHighSpeed, in millions of bit/s, where it is not rounded to
// nothing. ifSpeed at its maximum only says that there is more (RFC 2863).
func speed(low, high *uint64) inventory.BitRate {
	const most = 1e7 // 10 Tbit/s in Mbit/s: what is above is no speed
	switch {
	case high != nil && *high > 0 && *high <= most:
		return inventory.BitRate(*high) * 1e6
	case low != nil && *low < math.MaxUint32:
		return inventory.BitRate(*low)
	}
	return 0
}
