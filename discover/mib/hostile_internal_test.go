package mib

import (
	"fmt"
	"net"
	"net/netip"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"

	"github.com/gosnmp/gosnmp"
)

// endless answers any question for rows below one of our columns with more rows, for ever.
func endless(t testing.TB, value func(n int) gosnmp.SnmpPDU) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", net.UDPAddrFromAddrPort(netip.MustParseAddrPort("127.0.0.1:0")))
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		codec := &gosnmp.GoSNMP{Version: gosnmp.Version2c, Community: "public"}
		buf := make([]byte, 1<<16)
		for n := 0; ; {
			size, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			q, err := codec.SnmpDecodePacket(buf[:size])
			if err != nil {
				continue
			}
			out := &gosnmp.SnmpPacket{Version: q.Version, Community: q.Community, PDUType: gosnmp.GetResponse, RequestID: q.RequestID}
			at := q.Variables
			bytes := 0
			for range max(1, int(q.MaxRepetitions)) {
				next := make([]gosnmp.SnmpPDU, len(at))
				for i, v := range at {
					n++
					next[i] = value(n)
					next[i].Name = v.Name
					if q.PDUType != gosnmp.GetRequest {
						next[i].Name = after(v.Name)
					}
					s, _ := next[i].Value.(string)
					bytes += 24 + len(s)
				}
				if len(out.Variables) > 0 && bytes > 1400 {
					break
				}
				out.Variables = append(out.Variables, next...)
				at = next
			}
			b, err := out.MarshalMsg()
			if err == nil {
				conn.WriteToUDPAddrPort(b, from)
			}
		}
	}()
	t.Cleanup(func() {
		conn.Close()
		<-done
	})
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func after(name string) string {
	o := snmp.MustOID(name)
	for _, c := range columnsOf() {
		if !o.HasPrefix(c) {
			continue
		}
		if len(o) == len(c) {
			return o.Append(1).String()
		}
		o[len(o)-1]++
		return o.String()
	}
	return o.Append(1).String()
}

// hostileValues are of every kind, at the ends of its range and beyond what the column can be.
func hostileValues() []gosnmp.SnmpPDU {
	return []gosnmp.SnmpPDU{
		{Type: gosnmp.OctetString, Value: strings.Repeat("\x1b[2J", 50)}, {Type: gosnmp.OctetString, Value: ""}, {Type: gosnmp.OctetString, Value: strings.Repeat("\xff", 300)},
		{Type: gosnmp.Integer, Value: -1 << 31}, {Type: gosnmp.Integer, Value: 1<<31 - 1}, {Type: gosnmp.Integer, Value: 1}, {Type: gosnmp.Integer, Value: 0},
		{Type: gosnmp.Gauge32, Value: uint32(1<<32 - 1)}, {Type: gosnmp.Counter64, Value: uint64(1<<64 - 1)}, {Type: gosnmp.TimeTicks, Value: uint32(1<<32 - 1)},
		{Type: gosnmp.ObjectIdentifier, Value: ".1.3.6.1.2.1.2.2.1.1.4294967295"}, {Type: gosnmp.ObjectIdentifier, Value: ".0.0"},
		{Type: gosnmp.IPAddress, Value: "255.255.255.255"}, {Type: gosnmp.Null},
	}
}

// An agent whose every table goes on for ever, with values of every kind in every column, is
// read as far as the limits go, and each table says so.
func TestEndlessAgent(t *testing.T) {
	values := hostileValues()
	at := endless(t, func(n int) gosnmp.SnmpPDU { return values[n%len(values)] })
	for name, c := range map[string]struct {
		opts snmp.Options
		why  string // of the last table
	}{
		"rows":        {snmp.Options{MaxRows: 30}, "row limit reached"},
		"one table":   {snmp.Options{MaxBytes: 1 << 14}, "size limit reached"},
		"all of them": {snmp.Options{MaxRows: 30, MaxTotal: 1 << 16}, "size limit of all tables reached"},
	} {
		t.Run(name, func(t *testing.T) {
			client, err := snmp.Dial(t.Context(), at, snmp.Credentials{Version: "2c", Community: "public"}, c.opts)
			if err != nil {
				t.Fatal(err)
			}
			defer client.Close()
			got := Collect(t.Context(), client, Request{Device: "quay-switch"})
			if got.Err != nil {
				t.Error(got.Err)
			}
			last := ""
			for _, x := range got.Coverage {
				if x.Result == inventory.Complete && x.Table != inventory.TableSystem || x.Result != inventory.Complete && x.Why == "" {
					t.Errorf("%+v", x)
				}
				if x.Table == inventory.TableLAG {
					last = x.Why
				}
			}
			if !strings.Contains(last, c.why) {
				t.Errorf("the last table: %q, want %q", last, c.why)
			}
			if n := len(got.Agent.Interfaces); c.opts.MaxRows > 0 && n > c.opts.MaxRows {
				t.Errorf("%d interfaces of at most %d rows", n, c.opts.MaxRows)
			}
			checkDecoded(t, &got.Agent)
		})
	}
}

// A text of 64 KB in any column, under an index of any length, becomes a short one.
func TestLongTexts(t *testing.T) {
	long := octets(strings.Repeat("\xff\x00x", 1<<16/3))
	for _, c := range columnsOf() {
		var list []snmp.Row
		for n := range 20 {
			index := snmp.OID{}
			for range n {
				index = append(index, 1)
			}
			list = append(list, snmp.Row{OID: c.Append(index...), Value: long})
		}
		r, _ := asOlder(sorted(list))
		var ag inventory.Agent
		decode(r, &ag, nil)
		decodeNeighbors(r, "quay-switch", time.Time{})
		checkDecoded(t, &ag)
		if n := len(fmt.Sprintf("%+v", ag)); n > 1<<18 { // a PortList is many ports in few octets
			t.Errorf("%v: the agent is written in %d characters", c, n)
		}
	}
}
