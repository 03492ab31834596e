package snmp_test

import (
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"

	"github.com/gosnmp/gosnmp"
)

// failOn answers with status for the first binding below any of prefixes.
func failOn(status gosnmp.SNMPError, prefixes ...snmp.OID) simnet.Faults {
	return simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		for i, v := range p.Variables {
			o := snmp.MustOID(v.Name)
			if slices.ContainsFunc(prefixes, o.HasPrefix) {
				p.Error, p.ErrorIndex = status, uint8(i+1)
				return
			}
		}
	}}
}

// tooBigOver answers tooBig to requests for more than n values.
func tooBigOver(n int) simnet.Faults {
	return simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		if len(p.Variables) > n {
			p.Error, p.Variables = gosnmp.TooBig, nil
		}
	}}
}

func ports(column snmp.OID, n uint32) []snmp.OID {
	oids := make([]snmp.OID, n)
	for i := range n {
		oids[i] = column.Append(i + 1)
	}
	return oids
}

func TestGet(t *testing.T) {
	name := snmp.ValueOf(snmp.OctetString, "quay-switch")
	type0 := snmp.ValueOf(snmp.Integer, 6)
	absent := snmp.Value{Kind: snmp.NoSuchInstance}
	asked := []snmp.OID{sysName, ifType.Append(1), ifType.Append(99), sysDescr}
	for _, tt := range []struct {
		name    string
		version string
		faults  simnet.Faults
		want    []snmp.Value
	}{
		{"in the order asked", "2c", simnet.Faults{},
			[]snmp.Value{name, type0, absent, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"version 1 names what is missing", "1", simnet.Faults{},
			[]snmp.Value{name, type0, {Kind: snmp.NoSuchObject}, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"tooBig over one", "2c", tooBigOver(1),
			[]snmp.Value{name, type0, absent, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"tooBig always", "2c", tooBigOver(0), make([]snmp.Value, 4)},
		{"genErr on one", "2c", failOn(gosnmp.GenErr, sysDescr), []snmp.Value{name, type0, absent, {}}},
		{"genErr without index", "2c", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			if len(p.Variables) > 1 {
				p.Error, p.ErrorIndex = gosnmp.GenErr, 0
			}
		}}, []snmp.Value{name, type0, absent, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"one is not allowed", "2c", failOn(gosnmp.NoAccess, sysDescr), []snmp.Value{name, type0, absent, {}}},
		{"half of the answer", "2c", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			p.Variables = p.Variables[:(len(p.Variables)+1)/2]
		}}, []snmp.Value{name, type0, absent, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"in another order", "2c", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) { slices.Reverse(p.Variables) }},
			[]snmp.Value{name, type0, absent, snmp.ValueOf(snmp.OctetString, "Tern Quay switch")}},
		{"no values", "2c", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) { p.Variables = nil }}, make([]snmp.Value, 4)},
		{"end of view in a GET", "2c", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			for i := range p.Variables {
				p.Variables[i].Type = gosnmp.EndOfMibView
			}
		}}, make([]snmp.Value, 4)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dev := quaySwitch(t, 4)
			c := dial(t, dev, snmp.Credentials{Version: tt.version, Community: "public"}, snmp.Options{})
			dev.faults(t, tt.faults)
			rows, err := c.Get(t.Context(), asked...)
			if err != nil || len(rows) != len(asked) {
				t.Fatalf("got %v, %v", rows, err)
			}
			for i, r := range rows {
				if r.OID.Compare(asked[i]) != 0 || r.Value != tt.want[i] {
					t.Errorf("row %d: got %v %v, want %v %v", i, r.OID, r.Value, asked[i], tt.want[i])
				}
			}
			if c.Stats().Retries != 0 {
				t.Errorf("%d retries", c.Stats().Retries)
			}
		})
	}
}

// Requests stay within what every agent must take: 484 octets (RFC 3417, 3.2).
func TestGetMany(t *testing.T) {
	dev := quaySwitch(t, 300)
	for _, opts := range []snmp.Options{{}, {MaxVarbinds: 1}, {MaxVarbinds: 500}} {
		rows, err := dial(t, dev, public, opts).Get(t.Context(), ports(ifIndex, 300)...)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range rows {
			if r.Value != snmp.ValueOf(snmp.Integer, i+1) {
				t.Fatalf("port %d: got %v", i+1, r.Value)
			}
		}
	}
	var longest atomic.Int64
	addr := respond(t, func(b []byte) [][]byte {
		longest.Store(max(longest.Load(), int64(len(b))))
		q, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(slices.Clone(b))
		if err != nil {
			return nil
		}
		q.PDUType = gosnmp.GetResponse
		out, err := q.MarshalMsg()
		if err != nil {
			return nil
		}
		return [][]byte{out}
	})
	c, err := snmp.Dial(t.Context(), addr, public, snmp.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Get(t.Context(), ports(ifIndex, 300)...); err != nil || longest.Load() > 484 {
		t.Errorf("a request of %d octets, %v", longest.Load(), err)
	}
}

// An error about the only OID is about that one, whatever its index.
func TestGetErrorIndex(t *testing.T) {
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, snmp.Options{})
	for _, index := range []uint8{0, 1, 2, 255} {
		dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) { p.Error, p.ErrorIndex = gosnmp.NoSuchName, index }})
		for _, oids := range [][]snmp.OID{{sysName}, {sysName, sysDescr, ifIndex.Append(1)}} {
			rows, err := c.Get(t.Context(), oids...)
			if err != nil || slices.ContainsFunc(rows, func(r snmp.Row) bool { return r.Value.Kind != snmp.NoSuchObject }) {
				t.Errorf("index %d: got %v, %v", index, rows, err)
			}
		}
	}
}

func TestGetRefused(t *testing.T) {
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, snmp.Options{})
	dev.faults(t, failOn(gosnmp.AuthorizationError, snmp.MustOID("1.3")))
	if _, err := c.Get(t.Context(), sysName, sysDescr); !errors.Is(err, snmp.ErrRefused) {
		t.Errorf("get: got %v", err)
	}
	if got := c.Walk(t.Context(), ifIndex, ifDescr); got.Result != snmp.Refused || !errors.Is(got.Err, snmp.ErrRefused) {
		t.Errorf("walk: got %v, %v", got.Result, got.Err)
	}
	_, err := snmp.Dial(t.Context(), dev.addr, public, snmp.Options{})
	if !errors.Is(err, snmp.ErrRefused) || !strings.Contains(err.Error(), dev.addr.String()) {
		t.Errorf("dial: got %v", err)
	}
}

// Silence to a large request is not silence: the values come by smaller ones.
func TestGetSilentWhenLarge(t *testing.T) {
	t.Parallel()
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, quick)
	dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		if len(p.Variables) > 2 {
			p.RequestID = 0
		}
	}})
	rows, err := c.Get(t.Context(), ports(ifIndex, 4)...)
	if err != nil || rows[3].Value != snmp.ValueOf(snmp.Integer, 4) {
		t.Errorf("got %v, %v", rows, err)
	}
}
