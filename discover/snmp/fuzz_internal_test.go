package snmp

import (
	"bytes"
	"net"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// FuzzDecode reads what anyone may send: no panic, and whatever is taken is an
// answer to the request, with values in the range of their kind.
func FuzzDecode(f *testing.F) {
	name := []byte{6, 8, 0x2b, 6, 1, 2, 1, 1, 3, 0}
	f.Add([]byte(nil))
	f.Add(responseTo1())
	f.Add(responseTo1(tlv(0x30, append(name, 0x43, 3, 1, 0xe2, 0x40)...)...))
	f.Add(responseTo1(tlv(0x30, append(name, 0x44, 7, 0x9f, 0x78, 4, 0x41, 0xc8, 0, 0)...)...))
	f.Add(responseTo1(tlv(0x30, append(name, 0x40, 4, 192, 0, 2, 10)...)...))
	plain := Credentials{Version: "3", User: "audit"}
	desUser := authPriv
	desUser.Privacy = "des"
	wires := []wire{publicWire, newCommunity(Credentials{Version: "1", Community: "public"}), discovery{}}
	for _, cred := range []Credentials{plain, authPriv, desUser} {
		w, err := newUSM(cred, vectorEngine)
		if err != nil {
			f.Fatal(err)
		}
		wires = append(wires, w)
		for _, change := range []func(*gosnmp.SnmpPacket){nil, report("1.3.6.1.6.3.15.1.1.4.0"), report("1.3.6.1.6.3.15.1.1.2.0")} {
			f.Add(message{cred, vectorEngine, w.level(), change}.encode(f))
			f.Add(message{cred, vectorEngine, gosnmp.NoAuthNoPriv, change}.encode(f))
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		original := bytes.Clone(b)
		for _, w := range wires {
			p, err := w.decode(b, []uint32{1})
			if !bytes.Equal(b, original) {
				t.Fatalf("%T changed the datagram", w)
			}
			if err != nil {
				continue
			}
			if _, isDiscovery := w.(discovery); !isDiscovery && (p.RequestID != 1 || p.PDUType != gosnmp.GetResponse) {
				t.Errorf("%T took %v with request ID %d", w, p.PDUType, p.RequestID)
			}
			for _, v := range p.Variables {
				checkValue(t, valueOf(v))
			}
		}
	})
}

func checkValue(t *testing.T, v Value) {
	t.Helper()
	if _, ok := v.OID(); ok && len(v.raw) > 4*maxSubIDs {
		t.Errorf("OID of %d octets", len(v.raw))
	}
	if a, ok := v.Addr(); ok != (v.Kind == IPAddress) || ok && !a.Is4() {
		t.Errorf("%v: address %v, %v", v.Kind, a, ok)
	}
	if n, ok := v.Int64(); ok && v.Kind == Integer && int64(int32(n)) != n {
		t.Errorf("INTEGER %d", n)
	}
	if n, ok := v.Uint64(); ok && v.Kind != Counter64 && n > 1<<32-1 {
		t.Errorf("%v %d", v.Kind, n)
	}
	_ = v.String()
}

// FuzzWalk asks an agent that answers as the input says: the right request ID,
// any status, any bindings, or plain bytes. The walk ends, and its rows are in
// order, below a column, and within the limit.
func FuzzWalk(f *testing.F) {
	row := func(last ...byte) []byte {
		return tlv(0x30, append(tlv(6, append([]byte{0x2b, 6, 1, 2, 1, 2, 2, 1, 2}, last...)...), 2, 1, 7)...)
	}
	f.Add([]byte(nil))
	f.Add([]byte("\x80no SNMP at all"))
	f.Add(append([]byte{0, 0}, row(1)...))
	f.Add(append(append([]byte{0, 0}, row(1)...), append(row(2), row(1)...)...))
	f.Add(append([]byte{0, 0}, bytes.Repeat(row(7), 20)...))
	f.Add([]byte{1, 0})
	f.Add([]byte{5, 1})
	f.Add([]byte{2, 2})
	f.Add([]byte{16, 1})
	f.Add(append([]byte{0, 0}, tlv(0x30, 6, 1, 0x2b, 0x82, 0)...))
	f.Add([]byte{0, 0, 0x30, 0}) // a binding without a name
	columns := []OID{MustOID("1.3.6.1.2.1.2.2.1.1"), MustOID("1.3.6.1.2.1.2.2.1.2")}
	opts := Options{Timeout: 2 * time.Millisecond, Retries: -1, MaxRows: 50, MaxTime: 100 * time.Millisecond, Sockets: 1}
	f.Fuzz(func(t *testing.T, script []byte) {
		d := &device{opts: opts}
		s, err := openSession(scriptedAgent(t, script), false, d)
		if err != nil {
			t.Fatal(err)
		}
		defer s.conn.Close()
		s.wire = publicWire
		c := &Client{target: s.target, device: d, sessions: []*session{s}}
		table := c.Walk(t.Context(), columns...)
		if table.Result == 0 || (table.Err == nil) != (table.Result == Complete || table.Result == NotOffered) {
			t.Errorf("result %v, error %v", table.Result, table.Err)
		}
		if len(table.Rows) > len(columns)*opts.MaxRows {
			t.Errorf("%d rows", len(table.Rows))
		}
		for i, r := range table.Rows {
			if i > 0 && r.OID.Compare(table.Rows[i-1].OID) <= 0 {
				t.Errorf("row %d: %v after %v", i, r.OID, table.Rows[i-1].OID)
			}
			if !r.OID.HasPrefix(columns[0]) && !r.OID.HasPrefix(columns[1]) {
				t.Errorf("row %d: %v is below no column", i, r.OID)
			}
			checkValue(t, r.Value)
		}
		if d.gone == nil {
			rows, err := c.Get(t.Context(), columns...)
			if len(rows) != 2 || err == nil && (rows[0].OID.Compare(columns[0]) != 0 || rows[1].OID.Compare(columns[1]) != 0) {
				t.Errorf("get: %v, %v", rows, err)
			}
		}
	})
}

// scriptedAgent answers each request by script: its first octet is the error
// status, or above 127 says that the rest goes out as it is; the second is the
// error index; the rest is the variable bindings.
func scriptedAgent(t *testing.T, script []byte) netip.AddrPort {
	t.Helper()
	return agentFunc(t, func(q []byte) []byte {
		if len(script) < 2 || script[0] >= 0x80 {
			return script
		}
		return answerTo(q, script[0], script[1], script[2:])
	})
}

// answerTo is an answer to a request under community public.
func answerTo(request []byte, status, index byte, varbinds []byte) []byte {
	q, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(request)
	if err != nil {
		return nil
	}
	id := q.RequestID
	pdu := append([]byte{2, 4, byte(id >> 24), byte(id >> 16), byte(id >> 8), byte(id), 2, 1, status, 2, 1, index}, tlv(0x30, varbinds...)...)
	return tlv(0x30, append([]byte("\x02\x01\x01\x04\x06public"), tlv(0xa2, pdu...)...)...)
}

// agentFunc answers each datagram by what f makes of it, until the test ends.
func agentFunc(t *testing.T, f func(request []byte) []byte) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", net.UDPAddrFromAddrPort(netip.MustParseAddrPort("127.0.0.1:0")))
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 1<<16)
		for {
			n, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			conn.WriteToUDPAddrPort(f(buf[:n]), from) // an error is a lost datagram
		}
	}()
	t.Cleanup(func() {
		conn.Close()
		<-done
	})
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func FuzzParseOID(f *testing.F) {
	for _, s := range []string{"1.3.6.1.2.1.1.3.0", ".1.0.8802", "1.3.6.1.4294967295", "", ".", "1..3", "1.3.4294967296", "0.0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		o, err := ParseOID(s)
		if err != nil {
			return
		}
		again, err := ParseOID(o.String())
		if err != nil || again.Compare(o) != 0 || len(o) == 0 || len(o) > maxSubIDs {
			t.Errorf("%q: %v, %v, %v", s, o, again, err)
		}
		if strings.Count(strings.TrimPrefix(s, "."), ".")+1 != len(o) {
			t.Errorf("%q has another number of parts than %v", s, o)
		}
		if got, ok := ValueOf(ObjectID, o).OID(); !ok || got.Compare(o) != 0 {
			t.Errorf("as a value: %v, %v", got, ok)
		}
	})
}

func FuzzEngineID(f *testing.F) {
	f.Add([]byte("\x80\x00\x1f\x88\x03\x00\x00\x5e\x00\x53\x01"))
	f.Add([]byte("\x80\x00\x1f\x88\x01\xc0\x00\x02\x0a"))
	f.Add([]byte("\x80\x00\x1f\x88"))
	f.Fuzz(func(t *testing.T, id []byte) {
		e := Engine{ID: id}
		_, known := e.Enterprise()
		_, mac := e.MAC()
		addr, ip := e.Addr()
		_, text := e.Text()
		if !known && (mac || ip || text) || mac && ip || ip && text || ip && !addr.IsValid() {
			t.Errorf("%x: %v %v %v %v", id, known, mac, ip, text)
		}
	})
}
