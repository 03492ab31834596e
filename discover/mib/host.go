package mib

import (
	"math"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// HOST-RESOURCES-MIB (RFC 2790).
var (
	hrSystemUptime = snmp.MustOID("1.3.6.1.2.1.25.1.1")
	hrSystemDate   = snmp.MustOID("1.3.6.1.2.1.25.1.2")
	hrStorageEntry = snmp.MustOID("1.3.6.1.2.1.25.2.3.1")
	hrStorageType  = hrStorageEntry.Append(2)

	hrStorageFixedDisk = snmp.MustOID("1.3.6.1.2.1.25.2.1.4")
)

// decodeDate reads hrSystemDate as it was at the time it was asked for.
func decodeDate(v snmp.Value, read time.Time) *inventory.AgentDate {
	at, zone, ok := dateAndTime(v)
	if !ok {
		return nil
	}
	return &inventory.AgentDate{Time: at, Zone: zone, Read: read}
}

type storageRow struct {
	inventory.Storage
	unit, size, used int64
}

var storageFields = []field[storageRow]{
	{hrStorageType, func(s *storageRow, v snmp.Value) {
		o, _ := v.OID()
		s.Fixed = o.Compare(hrStorageFixedDisk) == 0
	}},
	{hrStorageEntry.Append(3), func(s *storageRow, v snmp.Value) { s.Descr = description(v) }}, // hrStorageDescr
	{hrStorageEntry.Append(4), func(s *storageRow, v snmp.Value) { s.unit = unsigned(v) }},     // hrStorageAllocationUnits
	{hrStorageEntry.Append(5), func(s *storageRow, v snmp.Value) { s.size = unsigned(v) }},     // hrStorageSize
	{hrStorageEntry.Append(6), func(s *storageRow, v snmp.Value) { s.used = unsigned(v) }},     // hrStorageUsed
}

// unsigned reads an Integer32 that may have run over: a disk of 8 TiB in units of
// 4096 octets shows a negative number (common practice).
func unsigned(v snmp.Value) int64 {
	n, _ := v.Int64()
	if n < 0 {
		return int64(uint32(n))
	}
	return n
}

// decodeStorage leaves out rows without a unit, which give no size in octets, and
// sizes that no number of octets can be.
func decodeStorage(r rows) []inventory.Storage {
	var out []inventory.Storage
	for _, l := range gather(r, oneIndex, storageFields) {
		s := l.row
		if s.unit == 0 || max(s.size, s.used) > math.MaxInt64/s.unit {
			continue
		}
		s.Index, s.Size, s.Used = l.key, s.size*s.unit, s.used*s.unit
		out = append(out, s.Storage)
	}
	return out
}
