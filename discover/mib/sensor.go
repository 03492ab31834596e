package mib

import (
	"math"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// ENTITY-SENSOR-MIB (RFC 3433).
var (
	entPhySensorEntry = snmp.MustOID("1.3.6.1.2.1.99.1.1.1")
	entPhySensorType  = entPhySensorEntry.Append(1)
)

type sensorRow struct {
	kind, scale, status int
	precision           int64
	value               *int64
}

var sensorFields = []field[sensorRow]{
	{entPhySensorType, func(s *sensorRow, v snmp.Value) { s.kind = code(v) }},
	{entPhySensorEntry.Append(2), func(s *sensorRow, v snmp.Value) { s.scale = code(v) }},          // entPhySensorScale
	{entPhySensorEntry.Append(3), func(s *sensorRow, v snmp.Value) { s.precision, _ = v.Int64() }}, // entPhySensorPrecision
	{entPhySensorEntry.Append(4), func(s *sensorRow, v snmp.Value) { // entPhySensorValue
		if n, ok := v.Int64(); ok {
			s.value = &n
		}
	}},
	{entPhySensorEntry.Append(5), func(s *sensorRow, v snmp.Value) { s.status = code(v) }}, // entPhySensorOperStatus
}

// reading scales a value: times ten to the 3 x (scale - 9), and by as many places
// as precision says if it is 1 to 9. A billion either way is an overflow. The
// scale goes by number, since the names of 14 and 15 are swapped in the RFC.
func (s sensorRow) reading() *float64 {
	const ok, units, limit = 1, 9, 1_000_000_000
	if s.status != ok || s.value == nil || s.scale < 1 || s.scale > 17 || s.precision < -8 || s.precision > 9 ||
		*s.value <= -limit || *s.value >= limit {
		return nil
	}
	exponent := 3 * (s.scale - units)
	if s.precision > 0 {
		exponent -= int(s.precision)
	}
	return new(scaled(*s.value, exponent))
}

// scaled is n times ten to the exponent. It divides by a power of ten rather than
// multiply by its inexact inverse, so that 129.5 stays 129.5.
func scaled(n int64, exponent int) float64 {
	if exponent < 0 {
		return float64(n) / math.Pow10(-exponent)
	}
	return float64(n) * math.Pow10(exponent)
}

func decodeSensors(r rows, entities []inventory.Entity) []inventory.SensorReading {
	names := entityNames(entities)
	var out []inventory.SensorReading
	for _, l := range gather(r, oneIndex, sensorFields) {
		out = append(out, inventory.SensorReading{
			Entity: inventory.EntityIndex(l.key), Type: l.row.kind, Value: l.row.reading(), Name: names[l.key],
		})
	}
	return out
}

func entityNames(entities []inventory.Entity) map[int]string {
	names := make(map[int]string, len(entities))
	for _, e := range entities {
		names[int(e.Index)] = e.Name
		if e.Name == "" {
			names[int(e.Index)] = inventory.Clean(e.Descr)
		}
	}
	return names
}
