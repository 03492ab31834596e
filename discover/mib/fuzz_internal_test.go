package mib

import (
	"encoding/binary"
	"math"
	"slices"
	"sync"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// columnsOf are all columns that the package asks for anywhere.
var columnsOf = sync.OnceValue(func() []snmp.OID {
	out := systemGroup()
	for i, o := range out {
		out[i] = o[:len(o)-1]
	}
	for _, m := range modules() {
		out = append(out, m.keys...)
		if m.rest == nil {
			continue
		}
		var have rows
		for _, k := range m.keys {
			have = append(have, row(k, integer(1), 1, 1, 1, 1))
		}
		out = append(out, m.rest(sorted(have))...)
	}
	for _, s := range successors {
		out = append(out, s.column)
	}
	return out
})

// hostileRows makes rows of b: a column, a length of index, an index, a kind and a
// value, over and over.
func hostileRows(b []byte) rows {
	columns := columnsOf()
	take := func(n int) []byte {
		n = min(n, len(b))
		out := b[:n]
		b = b[n:]
		return out
	}
	one := func() int {
		if p := take(1); len(p) == 1 {
			return int(p[0])
		}
		return 0
	}
	var out []snmp.Row
	for len(b) > 0 && len(out) < 5000 {
		o := slices.Clone(columns[one()%len(columns)])
		for range one() % 20 {
			sub := uint32(one())
			if sub > 250 { // now and then a large one
				var w [4]byte
				copy(w[:], take(4))
				sub = binary.BigEndian.Uint32(w[:])
			}
			o = append(o, sub)
		}
		var w [8]byte
		switch kind := snmp.Kind(one() % 12); kind {
		case snmp.OctetString, snmp.Opaque:
			out = append(out, snmp.Row{OID: o, Value: snmp.ValueOf(kind, take(one()))})
		case snmp.ObjectID:
			p := ifIndex
			if one()%2 == 0 {
				p = upsWellKnownAlarms
			}
			out = append(out, snmp.Row{OID: o, Value: snmp.ValueOf(kind, p.Append(uint32(one())))})
		case snmp.Integer:
			copy(w[:], take(one()%5))
			out = append(out, snmp.Row{OID: o, Value: snmp.ValueOf(kind, int64(int32(binary.BigEndian.Uint32(w[:]))))})
		default:
			copy(w[:], take(one()%9))
			out = append(out, snmp.Row{OID: o, Value: snmp.ValueOf(kind, binary.BigEndian.Uint64(w[:]))})
		}
	}
	return sorted(out)
}

// FuzzDecode gives the decoders rows of any shape. What they make of them must be
// within its bounds and clean.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(nil))
	for i := range byte(len(columnsOf())) { // a row of each column with indexes of one to four numbers
		f.Add([]byte{i, 1, 1, 1, 1, 7, i, 2, 1, 2, 2, 3, 'a', 0, 0xff, i, 3, 0, 1, 1, 1, 4, 255, 255, 255, 255, i, 4, 9, 1, 1, 1, 3, 9})
	}
	f.Add(slices.Repeat([]byte{200, 3, 255, 255, 255, 255, 255, 0, 0, 2, 6, 0, 0, 94, 0, 83, 1}, 40))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, _ := asOlder(hostileRows(b))
		var ag inventory.Agent
		objects := plannedObjects([]inventory.PlanObject{
			{Use: "power", OID: "1.3.6.1.2.1.105.1.1.1.15", Index: "pse", Scale: 1}, {Use: "level", OID: "1.3.6.1.2.1.1.1", Index: "none"}, {OID: "x"},
		})
		decode(r, &ag, objects)
		neighbors := decodeNeighbors(r, "quay-switch", time.Time{})
		if n := len(ag.Interfaces) + len(ag.FDB) + len(ag.Neighbors) + len(ag.PSEPorts) + len(ag.Entities) + len(neighbors); n > len(r) {
			t.Errorf("%d rows became %d things", len(r), n)
		}
		checkDecoded(t, &ag)
	})
}

// checkDecoded holds what was made of hostile rows against its bounds.
func checkDecoded(t *testing.T, ag *inventory.Agent) {
	check := func(what string, texts ...string) {
		for _, s := range texts {
			if !utf8.ValidString(s) || utf8.RuneCountInString(s) > maxDescr || slices.ContainsFunc([]rune(s), unicode.IsControl) {
				t.Errorf("%s: %q", what, s)
			}
		}
	}
	check("system", ag.System.Name, ag.System.Descr, ag.System.Location)
	for _, i := range ag.Interfaces {
		check("interface", i.Name, i.Descr, i.Alias)
		if i.Index < 1 || i.Speed < 0 {
			t.Errorf("interface %+v", i)
		}
	}
	for _, n := range ag.Neighbors {
		check("neighbour", n.Chassis, n.PortID, n.PortDescr, n.SysName, n.SysDescr)
		if len(n.Addresses) > 2*maxAddresses {
			t.Errorf("%d addresses", len(n.Addresses))
		}
	}
	for _, e := range ag.Entities {
		check("entity", e.Name, e.Descr, e.Maker, e.Model, e.Serial, e.Hardware, e.Firmware, e.Software)
	}
	for _, v := range ag.VLANs {
		check("VLAN", v.Name)
		if v.ID < 1 || v.ID > maxVLAN || len(v.Egress) > maxPorts {
			t.Errorf("VLAN %+v", v)
		}
	}
	for _, s := range ag.Sensors {
		if s.Value != nil && (math.IsNaN(*s.Value) || math.IsInf(*s.Value, 0)) {
			t.Errorf("sensor %v", *s.Value)
		}
	}
	for _, s := range ag.Storage {
		if s.Size < 0 || s.Used < 0 {
			t.Errorf("storage %+v", s)
		}
	}
	for _, p := range ag.PSEPorts {
		if p.State == "" || p.Actual != nil && *p.Actual < 0 {
			t.Errorf("PSE port %+v", p)
		}
	}
	for _, o := range ag.Objects {
		if (o.Value == nil) == (o.Why == "") {
			t.Errorf("object %+v", o)
		}
	}
	if u := ag.UPS; u != nil {
		check("UPS", append(u.Odd, u.Maker, u.Model, u.Firmware)...)
	}
}
