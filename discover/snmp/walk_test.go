package snmp_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"

	"github.com/gosnmp/gosnmp"
)

// The ARP table of RFC 3416, 4.2.2.1 and 4.2.3.1: 9.2.3.4 sorts before 10.0.0.51,
// and each column ends in another way.
func TestWalkOfRFC3416(t *testing.T) {
	const entry = "1.3.6.1.2.1.4.22.1"
	physAddress, kind := snmp.MustOID(entry+".2"), snmp.MustOID(entry+".4")
	rows := []simnet.Row{{OID: "1.3.6.1.2.1.4.23.0", Value: simnet.Counter32(2)}}
	for _, r := range []struct {
		index, mac string
		kind       int32
	}{
		{"1.10.0.0.51", "\x00\x00\x10\x01\x23\x45", 4},
		{"1.9.2.3.4", "\x00\x00\x10\x54\x32\x10", 3},
		{"2.10.0.0.15", "\x00\x00\x10\x98\x76\x54", 3},
	} {
		rows = append(rows,
			simnet.Row{OID: entry + ".2." + r.index, Value: simnet.Text(r.mac)},
			simnet.Row{OID: entry + ".3." + r.index, Value: simnet.IPAddress([4]byte{9, 2, 3, 4})},
			simnet.Row{OID: entry + ".4." + r.index, Value: simnet.Integer(r.kind)})
	}
	dev := start(t, simnet.AgentOptions{Communities: []string{"public"}, Rows: rows})
	mac := func(s string) snmp.Value { return snmp.ValueOf(snmp.OctetString, s) }
	want := []snmp.Row{
		{OID: physAddress.Append(1, 9, 2, 3, 4), Value: mac("\x00\x00\x10\x54\x32\x10")},
		{OID: physAddress.Append(1, 10, 0, 0, 51), Value: mac("\x00\x00\x10\x01\x23\x45")},
		{OID: physAddress.Append(2, 10, 0, 0, 15), Value: mac("\x00\x00\x10\x98\x76\x54")},
		{OID: kind.Append(1, 9, 2, 3, 4), Value: snmp.ValueOf(snmp.Integer, 3)},
		{OID: kind.Append(1, 10, 0, 0, 51), Value: snmp.ValueOf(snmp.Integer, 4)},
		{OID: kind.Append(2, 10, 0, 0, 15), Value: snmp.ValueOf(snmp.Integer, 3)},
	}
	for _, opts := range []snmp.Options{{}, {Repetitions: 2}, {Repetitions: 1}, {MaxVarbinds: 1}} {
		got := dial(t, dev, public, opts).Walk(t.Context(), kind, physAddress)
		if got.Result != snmp.Complete || got.Err != nil {
			t.Errorf("%+v: got %v, %v", opts, got.Result, got.Err)
		}
		sameRows(t, got.Rows, want)
	}
}

// Every recorded device is read to the last row, whatever the sizes.
func TestWalkRecordings(t *testing.T) {
	paths := simnettest.Recordings(t)
	if len(paths) == 0 {
		t.Skip("no recordings")
	}
	all := []snmp.OID{snmp.MustOID("1.0"), snmp.MustOID("1.2"), snmp.MustOID("1.3")}
	for _, path := range paths {
		t.Run(path[len(path)-20:], func(t *testing.T) {
			rows, err := simnet.ReadRecording(path)
			if err != nil {
				t.Fatal(err)
			}
			want := make([]string, len(rows))
			for i, r := range rows {
				want[i] = snmp.MustOID(r.OID).String()
			}
			slices.SortFunc(want, func(a, b string) int { return snmp.MustOID(a).Compare(snmp.MustOID(b)) })
			want = slices.Compact(want)
			dev := start(t, simnet.AgentOptions{Communities: []string{"public"}, Users: []simnet.User{auditUser}, Rows: rows})
			var first []snmp.Row
			for _, cred := range []snmp.Credentials{public, auditor} {
				if cred.Version == "3" && len(rows) > 10_000 {
					continue // digests make it slow under the race detector
				}
				got := dial(t, dev, cred, snmp.Options{MaxRows: 1 << 20, MaxBytes: 1 << 30}).Walk(t.Context(), all...)
				if got.Result != snmp.Complete || got.Err != nil || len(got.Rows) != len(want) {
					t.Fatalf("version %s: got %v, %d rows of %d, %v", cred.Version, got.Result, len(got.Rows), len(want), got.Err)
				}
				for i, r := range got.Rows {
					if r.OID.String() != want[i] || r.Value.Kind == snmp.Null {
						t.Fatalf("row %d: got %v %v, want %s", i, r.OID, r.Value, want[i])
					}
				}
				if first != nil {
					sameRows(t, got.Rows, first)
				}
				first = got.Rows
			}
		})
	}
}

// Version 1 reads the same by GETNEXT, but for Counter64, which it has not
// (RFC 3584, 4.2.2.1).
func TestWalkVersion1(t *testing.T) {
	rows := append(quayRows(30), simnet.Row{OID: "1.3.6.1.2.1.31.1.1.1.6.1", Value: simnet.Counter64(1 << 40)})
	dev := start(t, simnet.AgentOptions{Communities: []string{"public"}, Rows: rows})
	columns := []snmp.OID{ifIndex, ifDescr, ifName, snmp.MustOID("1.3.6.1.2.1.31.1.1.1.6")}
	v2 := dial(t, dev, public, snmp.Options{}).Walk(t.Context(), columns...)
	v1 := dial(t, dev, snmp.Credentials{Version: "1", Community: "public"}, snmp.Options{}).Walk(t.Context(), columns...)
	if v1.Result != snmp.Complete || v1.Repetitions != 1 || len(v2.Rows) != 91 {
		t.Errorf("got %v by %d repetitions, %v; %d rows by version 2c", v1.Result, v1.Repetitions, v1.Err, len(v2.Rows))
	}
	sameRows(t, v1.Rows, v2.Rows[:90])
	if n := dev.Counts().Set; n != 0 {
		t.Errorf("%d SETs were sent", n)
	}
}

// What one column does wrong costs that column and no other.
func TestWalkOneBadColumn(t *testing.T) {
	columns := []snmp.OID{ifIndex, ifDescr, ifType, ifName}
	rename := func(name string) simnet.Faults {
		return simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			for i, v := range p.Variables {
				if snmp.MustOID(v.Name).HasPrefix(ifType) {
					p.Variables[i].Name = name
				}
			}
		}}
	}
	for _, tt := range []struct {
		name   string
		faults simnet.Faults
		rows   int
	}{
		{"genErr", failOn(gosnmp.GenErr, ifType), 120},
		{"silence", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			for _, v := range p.Variables {
				if snmp.MustOID(v.Name).HasPrefix(ifType) {
					p.RequestID = 0
				}
			}
		}}, 120},
		{"not allowed", failOn(gosnmp.AuthorizationError, ifType), 120},
		{"goes back inside", rename(ifType.Append(0).String()), 121},
		{"goes back outside", rename(sysDescr.String()), 120},
		{"rows of another column", rename(ifName.Append(30).String()), 120},
		{"name without end", rename("." + snmp.OID(make([]uint32, 128)).String()[2:]), 120},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dev := quaySwitch(t, 40)
			c := dial(t, dev, public, quick)
			dev.faults(t, tt.faults)
			got := c.Walk(t.Context(), columns...)
			if got.Result != snmp.Partial || got.Err == nil || len(got.Rows) != tt.rows {
				t.Errorf("got %v, %d rows, %v", got.Result, len(got.Rows), got.Err)
			}
			if got.Repetitions < 2 {
				t.Errorf("the other columns are read by %d repetitions", got.Repetitions)
			}
			if n := c.Stats().Repetitions; n != 0 {
				t.Errorf("the size is blamed: %d repetitions", n)
			}
			dev.faults(t, simnet.Faults{})
			if again := c.Walk(t.Context(), columns...); again.Result != snmp.Complete || len(again.Rows) != 160 {
				t.Errorf("when it is mended: got %v, %d rows", again.Result, len(again.Rows))
			}
		})
	}
}

// An agent that fails on bulk, and names a column for it, is read by GETNEXT.
func TestWalkBulkFails(t *testing.T) {
	dev := quaySwitch(t, 20)
	c := dial(t, dev, public, snmp.Options{})
	want := c.Walk(t.Context(), ifIndex, ifDescr)
	for _, index := range []uint8{0, 1, 2, 255} {
		dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			if len(p.Variables) > 2 {
				p.Error, p.ErrorIndex = gosnmp.GenErr, index
			}
		}})
		got := c.Walk(t.Context(), ifIndex, ifDescr)
		if got.Result != snmp.Complete || got.Repetitions != 1 {
			t.Errorf("index %d: got %v by %d repetitions, %v", index, got.Result, got.Repetitions, got.Err)
		}
		sameRows(t, got.Rows, want.Rows)
	}
}

// noSuchName, where it does not say for which column, ends none but the last one
// that is left.
func TestWalkNoSuchNameWithoutIndex(t *testing.T) {
	dev := quaySwitch(t, 20)
	c := dial(t, dev, public, snmp.Options{})
	want := c.Walk(t.Context(), ifIndex, ifDescr)
	for _, index := range []uint8{0, 255} {
		dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			for i, v := range p.Variables {
				root := []snmp.OID{ifIndex, ifDescr}[i%2]
				if len(p.Variables) == 2 && !snmp.MustOID(v.Name).HasPrefix(root) {
					p.Error, p.ErrorIndex = gosnmp.NoSuchName, index
				}
			}
		}})
		got := dial(t, dev, public, snmp.Options{Repetitions: 1}).Walk(t.Context(), ifIndex, ifDescr)
		if got.Result != snmp.Complete {
			t.Errorf("index %d: got %v, %v", index, got.Result, got.Err)
		}
		sameRows(t, got.Rows, want.Rows)
	}
}

// A value of no use keeps its row, since the instance exists.
func TestWalkUselessValue(t *testing.T) {
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, snmp.Options{})
	dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		for i, v := range p.Variables {
			if snmp.MustOID(v.Name).Compare(ifType.Append(2)) == 0 {
				p.Variables[i].Type = gosnmp.Null
			}
		}
	}})
	got := c.Walk(t.Context(), ifType)
	if got.Result != snmp.Complete || len(got.Rows) != 4 || got.Rows[1].Value != (snmp.Value{}) || c.Stats().Dropped != 1 {
		t.Errorf("got %v, %v, %+v", got.Result, got.Rows, c.Stats())
	}
}

// An answer may be cut anywhere (RFC 3416, 4.2.3), and hold more than was asked.
func TestWalkOddSizes(t *testing.T) {
	dev := quaySwitch(t, 40)
	c := dial(t, dev, public, snmp.Options{})
	want := c.Walk(t.Context(), ifIndex, ifDescr, ifName)
	for _, n := range []int{1, 2, 4, 7} {
		dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) { p.Variables = p.Variables[:min(n, len(p.Variables))] }})
		got := c.Walk(t.Context(), ifIndex, ifDescr, ifName)
		if got.Result != snmp.Complete || got.Err != nil {
			t.Errorf("cut to %d: got %v, %v", n, got.Result, got.Err)
		}
		sameRows(t, got.Rows, want.Rows)
	}
	dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		p.Variables = append(p.Variables, gosnmp.SnmpPDU{Name: ifName.Append(999).String(), Type: gosnmp.Integer, Value: 1})
	}})
	got := c.Walk(t.Context(), ifIndex, ifDescr, ifName)
	if got.Result != snmp.Complete || c.Stats().Dropped == 0 {
		t.Errorf("one too many: got %v, %v, %+v", got.Result, got.Err, c.Stats())
	}
	sameRows(t, got.Rows, want.Rows)
}

// An agent that leaves a value out shifts the others to the wrong columns. By
// GETNEXT that shows, and smaller requests get every row; in a bulk answer it
// must at least not pass for a table with fewer rows.
func TestWalkShifted(t *testing.T) {
	dev := quaySwitch(t, 10)
	want := dial(t, dev, public, snmp.Options{}).Walk(t.Context(), ifIndex, ifDescr, ifName)
	for i := range 3 {
		dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			if len(p.Variables) > 1 {
				p.Variables = slices.Delete(p.Variables, min(i, len(p.Variables)-1), min(i, len(p.Variables)-1)+1)
			}
		}})
		got := dial(t, dev, public, snmp.Options{Repetitions: 1}).Walk(t.Context(), ifIndex, ifDescr, ifName)
		if got.Result != snmp.Complete {
			t.Errorf("GETNEXT: got %v, %v", got.Result, got.Err)
		}
		sameRows(t, got.Rows, want.Rows)
		bulk := dial(t, dev, public, snmp.Options{}).Walk(t.Context(), ifIndex, ifDescr, ifName)
		if bulk.Result != snmp.Partial || bulk.Err == nil {
			t.Errorf("GETBULK without value %d: got %v, %d rows, %v", i, bulk.Result, len(bulk.Rows), bulk.Err)
		}
	}
}

// tooBig down to one value a request: every row still comes.
func TestWalkTinyAgent(t *testing.T) {
	dev := quaySwitch(t, 10)
	c := dial(t, dev, public, snmp.Options{})
	want := c.Walk(t.Context(), ifIndex, ifDescr, ifName)
	dev.faults(t, tooBigOver(1))
	got := c.Walk(t.Context(), ifIndex, ifDescr, ifName)
	if got.Result != snmp.Complete || got.Repetitions != 1 {
		t.Errorf("got %v by %d repetitions, %v", got.Result, got.Repetitions, got.Err)
	}
	sameRows(t, got.Rows, want.Rows)
	dev.faults(t, tooBigOver(0))
	if none := c.Walk(t.Context(), ifIndex); none.Result != snmp.Partial || none.Err == nil {
		t.Errorf("tooBig always: got %v, %v", none.Result, none.Err)
	}
}

func TestWalkColumns(t *testing.T) {
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, snmp.Options{})
	entry := snmp.MustOID("1.3.6.1.2.1.2.2.1")
	for _, tt := range []struct {
		name    string
		columns []snmp.OID
		result  snmp.Result
		rows    int
	}{
		{"none", nil, snmp.NotOffered, 0},
		{"twice", []snmp.OID{ifDescr, ifDescr}, snmp.Complete, 4},
		{"one below another", []snmp.OID{ifDescr, entry, ifIndex}, snmp.Complete, 12},
		{"a scalar", []snmp.OID{snmp.MustOID("1.3.6.1.2.1.1.5")}, snmp.Complete, 1},
		{"an instance, which has nothing below it", []snmp.OID{sysName}, snmp.NotOffered, 0},
		{"one offered, one not", []snmp.OID{ifDescr, snmp.MustOID("1.3.6.1.2.1.99")}, snmp.Complete, 4},
		{"behind the last row", []snmp.OID{snmp.MustOID("1.3.6.1.6")}, snmp.NotOffered, 0},
	} {
		got := c.Walk(t.Context(), tt.columns...)
		if got.Result != tt.result || got.Err != nil || len(got.Rows) != tt.rows {
			t.Errorf("%s: got %v, %d rows, %v", tt.name, got.Result, len(got.Rows), got.Err)
		}
	}
	if tables := c.WalkAll(t.Context()); len(tables) != 0 {
		t.Errorf("no groups: got %v", tables)
	}
}

// A device that stops in the middle leaves sound rows, and nothing is absent.
func TestWalkSilenceInTheMiddle(t *testing.T) {
	t.Parallel()
	dev := quaySwitch(t, 40)
	c := dial(t, dev, public, snmp.Options{Timeout: quick.Timeout, Retries: -1, MaxVarbinds: 20})
	dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		if snmp.MustOID(p.Variables[0].Name).Compare(ifDescr.Append(20)) > 0 {
			p.RequestID = 0
		}
	}})
	got := c.Walk(t.Context(), ifDescr)
	if got.Result != snmp.Partial || len(got.Rows) != 20 || !errors.Is(got.Err, snmp.ErrNoResponse) {
		t.Errorf("got %v, %d rows, %v", got.Result, len(got.Rows), got.Err)
	}
}

// callers notes who sends to an agent.
type callers struct {
	net.PacketConn
	mu   sync.Mutex
	seen map[string]bool
}

func (c *callers) ReadFrom(b []byte) (int, net.Addr, error) {
	n, from, err := c.PacketConn.ReadFrom(b)
	if err == nil {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.seen[from.String()] = true
	}
	return n, from, err
}

// One device is asked from two sockets at most: small agents choke on more.
func TestWalkAllSockets(t *testing.T) {
	columns := []snmp.OID{ifIndex, ifDescr, ifName, ifType}
	for sockets, want := range map[int]int{0: 2, 1: 1, 2: 2, 9: 2} {
		a, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"public"}, Users: []simnet.User{auditUser}, Rows: quayRows(40)})
		if err != nil {
			t.Fatal(err)
		}
		conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		by := &callers{PacketConn: conn, seen: map[string]bool{}}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		done := make(chan error)
		go func() { done <- a.Serve(ctx, by) }()
		dev := target{a, conn.LocalAddr().(*net.UDPAddr).AddrPort()}
		c := dial(t, dev, auditor, snmp.Options{Sockets: sockets})
		for range 2 {
			for i, table := range c.WalkAll(ctx, columns[:1], columns[1:2], columns[2:3], columns[3:]) {
				if table.Result != snmp.Complete || len(table.Rows) != 40 || !table.Rows[0].OID.HasPrefix(columns[i]) {
					t.Errorf("table %d: got %v, %d rows", i, table.Result, len(table.Rows))
				}
			}
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if len(by.seen) != want {
			t.Errorf("Sockets %d: asked from %d", sockets, len(by.seen))
		}
	}
}

func TestResultWords(t *testing.T) {
	var got strings.Builder
	for r := range snmp.Result(7) {
		got.WriteString(fmt.Sprint(r, "; "))
	}
	if want := "not asked; complete; partial; refused; no answer; not offered; unknown result; "; got.String() != want {
		t.Errorf("got %s", got.String())
	}
}
