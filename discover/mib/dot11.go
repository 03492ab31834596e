package mib

import (
	"math"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// IEEE802dot11-MIB (IEEE 802.11).
var (
	dot11PhyTxPowerEntry     = snmp.MustOID("1.2.840.10036.4.3.1")
	dot11CurrentTxPowerLevel = dot11PhyTxPowerEntry.Append(10)
	dot11CurrentChannel      = snmp.MustOID("1.2.840.10036.4.5.1.1")
	dot11CurrentFrequency    = snmp.MustOID("1.2.840.10036.4.11.1.1") // a channel number, in spite of its name
)

type radioRow struct {
	channel int
	level   int // which of levels is in use, from 1
	levels  [8]float64
}

// dot11Fields give the channel of an OFDM radio last, so that it stays.
func dot11Fields() []field[radioRow] {
	setChannel := func(r *radioRow, v snmp.Value) {
		if n, ok := whole(v, 1, 233); ok { // the last channel of 6 GHz is 233
			r.channel = n
		}
	}
	fields := []field[radioRow]{
		{dot11CurrentTxPowerLevel, func(r *radioRow, v snmp.Value) { r.level, _ = whole(v, 1, 8) }},
		{dot11CurrentChannel, setChannel},
		{dot11CurrentFrequency, setChannel},
	}
	for i := range 8 { // dot11TxPowerLevel1 to 8, milliwatts
		fields = append(fields, field[radioRow]{dot11PhyTxPowerEntry.Append(uint32(i) + 2), func(r *radioRow, v snmp.Value) {
			n, _ := whole(v, 1, 10000)
			r.levels[i] = float64(n)
		}})
	}
	return fields
}

func decodeDot11(r rows) []inventory.RadioInterface {
	var out []inventory.RadioInterface
	for _, l := range gather(r, oneIndex, dot11Fields()) {
		radio := inventory.RadioInterface{Index: inventory.IfIndex(l.key), Channel: l.row.channel}
		if l.row.level > 0 && l.row.levels[l.row.level-1] > 0 {
			radio.TxPower = new(10 * math.Log10(l.row.levels[l.row.level-1]))
		}
		out = append(out, radio)
	}
	return out
}
