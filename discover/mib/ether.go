package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// EtherLike-MIB (RFC 3635), and the one column of IEEE8023-EtherLike-MIB that
// stands in for it. Column numbers differ between the two.
var (
	dot3StatsEntry = snmp.MustOID("1.3.6.1.2.1.10.7.2.1")

	dot3StatsDuplexStatus     = dot3StatsEntry.Append(19)
	ieeeDot3StatsDuplexStatus = snmp.MustOID("1.3.111.2.802.3.1.10.1.2.1.18")
	dot3HCStatsFCSErrors      = snmp.MustOID("1.3.6.1.2.1.10.7.11.1.2")
)

// etherFields come in rising order of trust: the last one set stays.
var etherFields = []field[inventory.Interface]{
	{dot3StatsEntry.Append(3), func(i *inventory.Interface, v snmp.Value) { i.FCSErrors = counter(v) }}, // dot3StatsFCSErrors
	{dot3StatsEntry.Append(8), func(i *inventory.Interface, v snmp.Value) { i.LateColls = counter(v) }}, // dot3StatsLateCollisions
	{ieeeDot3StatsDuplexStatus, setDuplex},
	{dot3StatsDuplexStatus, setDuplex},
	{dot3HCStatsFCSErrors, func(i *inventory.Interface, v snmp.Value) { i.FCSErrors = counter(v) }},
}

// setDuplex reads halfDuplex(2) and fullDuplex(3); unknown(1) says nothing.
func setDuplex(i *inventory.Interface, v snmp.Value) {
	if half := choice(v, 2, 3); half != nil {
		i.HalfDuplex = half
	}
}

// decodeEther adds what EtherLike-MIB says to the interfaces it says it of.
func decodeEther(r rows, ifs []inventory.Interface) {
	by := map[int]inventory.Interface{}
	for _, l := range gather(r, oneIndex, etherFields) {
		by[l.key] = l.row
	}
	for k := range ifs {
		e := by[int(ifs[k].Index)]
		ifs[k].FCSErrors, ifs[k].LateColls, ifs[k].HalfDuplex = e.FCSErrors, e.LateColls, e.HalfDuplex
	}
}
