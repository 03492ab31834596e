package mib

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// planned is an object that the plan names, its identifier read.
type planned struct {
	inventory.PlanObject
	oid snmp.OID
	err error
}

func plannedObjects(list []inventory.PlanObject) []planned {
	out := make([]planned, len(list))
	for i, o := range list {
		oid, err := snmp.ParseOID(o.OID)
		if err == nil && len(oid) < 4 {
			err = fmt.Errorf("object %q is too short", o.OID)
		}
		out[i] = planned{o, oid, err}
	}
	return out
}

// columns are what to walk, and single are the instances to get: an object
// without index may have been written with or without its final zero.
func plannedOIDs(list []planned) (columns, single []snmp.OID) {
	for _, p := range list {
		switch {
		case p.err != nil:
		case p.Index == "none":
			single = append(single, p.oid, p.oid.Append(0))
		default:
			columns = append(columns, p.oid)
		}
	}
	return columns, single
}

// decodeObjects reads the planned objects, one reading for each row. An object
// that has none gives one reading that says so. It is not whole if there are more
// rows than are kept.
func decodeObjects(r rows, list []planned) (out []inventory.ObjectReading, whole bool) {
	const most = 4096
	for _, p := range list {
		o := inventory.ObjectReading{Use: p.Use, Kind: p.Index}
		if p.err != nil {
			o.Why = p.err.Error()
			out = append(out, o)
			continue
		}
		found := slices.DeleteFunc(slices.Clone(r.below(p.oid)), isAbsent)
		if len(found) == 0 {
			o.Why = "the agent has no " + p.OID
			out = append(out, o)
		}
		for _, row := range found {
			if len(out) >= most {
				return out, false
			}
			out = append(out, p.reading(row))
		}
	}
	return out, true
}

func (p planned) reading(row snmp.Row) inventory.ObjectReading {
	o := inventory.ObjectReading{Use: p.Use, Kind: p.Index}
	group, number, ok := indexOf(p.Index, row.OID[len(p.oid):])
	if !ok {
		o.Why = fmt.Sprintf("row %v has no index of kind %s", row.OID, p.Index)
		return o
	}
	o.Group, o.Index = group, number
	o.Value, o.Why = quantity(p.PlanObject, row.Value)
	return o
}

// indexOf reads the index of a row. A PSE index of one number is in group 1,
// which RFC 3621 wants of a device with one group.
func indexOf(kind string, index snmp.OID) (group, number int, ok bool) {
	switch {
	case kind == "none":
		return 0, 0, len(index) == 0 || len(index) == 1 && index[0] == 0
	case kind == "pse" && len(index) == 2:
		k, ok := pairIndex(index)
		return k[0], k[1], ok
	case kind == "pse":
		n, ok := oneIndex(index)
		return 1, n, ok
	}
	n, ok := oneIndex(index)
	return 0, n, ok
}

// quantity scales a value to mW, dBm or bit/s, and refuses what cannot be.
func quantity(p inventory.PlanObject, v snmp.Value) (*float64, string) {
	n, why := figure(v)
	if why != "" {
		return nil, why
	}
	scale := p.Scale
	if scale == 0 {
		scale = 1
	}
	n *= scale
	low, high, unit := 0.0, 0.0, ""
	switch p.Use {
	case "power":
		high, unit = 100e6, "mW" // 100 kW: the most that a supply's total may say
		if p.Index != "none" {
			high = 200e3 // a port of 802.3 ends below 100 W, a passive one is not far above
		}
	case "level":
		low, high, unit = -120, 30, "dBm"
	case "rate":
		high, unit = 1e12, "bit/s"
	default:
		return nil, fmt.Sprintf("%q is no use of an object", p.Use)
	}
	if math.IsNaN(n) || n < low || n > high {
		return nil, fmt.Sprintf("a %s of %g %s cannot be", p.Use, n, unit)
	}
	return &n, ""
}

// figure is a number, or why v is none. Numbers in text are common; a floating
// point number comes in an Opaque as net-snmp wraps it (from memory).
func figure(v snmp.Value) (n float64, why string) {
	switch v.Kind {
	case snmp.Counter32, snmp.Counter64, snmp.TimeTicks:
		return 0, "a " + v.Kind.String() + " is no reading"
	case snmp.Opaque:
		if b, _ := v.Bytes(); len(b) == 7 && b[0] == 0x9f && b[1] == 0x78 && b[2] == 4 {
			return float64(math.Float32frombits(binary.BigEndian.Uint32(b[3:]))), ""
		}
	case snmp.OctetString:
		s := text(v)
		word, _, _ := strings.Cut(s, " ") // a unit may follow
		if n, err := strconv.ParseFloat(word, 64); err == nil {
			return n, ""
		}
		return 0, fmt.Sprintf("%q is no number", s)
	}
	if i, ok := v.Int64(); ok {
		return float64(i), ""
	}
	return 0, "a " + v.Kind.String() + " is no number"
}
