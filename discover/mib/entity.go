package mib

import (
	"maps"
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// ENTITY-MIB (RFC 6933).
var (
	entPhysicalEntry          = snmp.MustOID("1.3.6.1.2.1.47.1.1.1.1")
	entPhysicalClass          = entPhysicalEntry.Append(5)
	entAliasMappingIdentifier = snmp.MustOID("1.3.6.1.2.1.47.1.3.2.1.2")
)

var entityFields = []field[inventory.Entity]{
	{entPhysicalEntry.Append(2), func(e *inventory.Entity, v snmp.Value) { e.Descr = description(v) }},              // entPhysicalDescr
	{entPhysicalEntry.Append(4), func(e *inventory.Entity, v snmp.Value) { e.In = inventory.EntityIndex(code(v)) }}, // entPhysicalContainedIn
	{entPhysicalClass, func(e *inventory.Entity, v snmp.Value) { e.Class = code(v) }},
	{entPhysicalEntry.Append(6), func(e *inventory.Entity, v snmp.Value) { // entPhysicalParentRelPos; -1: unknown
		e.Position = -1
		if n, ok := whole(v, 0, 1<<31-1); ok {
			e.Position = n
		}
	}},
	{entPhysicalEntry.Append(7), func(e *inventory.Entity, v snmp.Value) { e.Name = text(v) }},      // entPhysicalName
	{entPhysicalEntry.Append(8), func(e *inventory.Entity, v snmp.Value) { e.Hardware = text(v) }},  // entPhysicalHardwareRev
	{entPhysicalEntry.Append(9), func(e *inventory.Entity, v snmp.Value) { e.Firmware = text(v) }},  // entPhysicalFirmwareRev
	{entPhysicalEntry.Append(10), func(e *inventory.Entity, v snmp.Value) { e.Software = text(v) }}, // entPhysicalSoftwareRev
	{entPhysicalEntry.Append(11), func(e *inventory.Entity, v snmp.Value) { e.Serial = text(v) }},   // entPhysicalSerialNum
	{entPhysicalEntry.Append(12), func(e *inventory.Entity, v snmp.Value) { e.Maker = text(v) }},    // entPhysicalMfgName
	{entPhysicalEntry.Append(13), func(e *inventory.Entity, v snmp.Value) { e.Model = text(v) }},    // entPhysicalModelName
}

func decodeEntities(r rows) []inventory.Entity {
	aliases := decodeAliases(r)
	var out []inventory.Entity
	for _, l := range gather(r, oneIndex, entityFields) {
		l.row.Index = inventory.EntityIndex(l.key)
		l.row.Interfaces = aliases[l.key]
		out = append(out, l.row)
	}
	return out
}

// decodeAliases gives the interfaces of each entity. The rows of a logical entity
// win over those of all others, index 0 (RFC 6933, entAliasLogicalIndexOrZero).
func decodeAliases(r rows) map[int][]inventory.IfIndex {
	general, special := map[int][]inventory.IfIndex{}, map[int][]inventory.IfIndex{}
	for index, v := range r.column(entAliasMappingIdentifier) {
		k, ok := pairIndex(index)
		pointer, isOID := v.OID()
		if !ok || !isOID || len(pointer) <= len(ifIndex) || !pointer.HasPrefix(ifIndex) {
			continue
		}
		i, ok := oneIndex(pointer[len(ifIndex):])
		to := general
		if k[1] != 0 {
			to = special
		}
		if port := inventory.IfIndex(i); ok && !slices.Contains(to[k[0]], port) {
			to[k[0]] = append(to[k[0]], port)
		}
	}
	maps.Copy(general, special)
	return general
}
