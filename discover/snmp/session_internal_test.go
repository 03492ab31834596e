package snmp

import (
	"maps"
	"net/netip"
	"slices"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// A context that was cancelled at the end of one call may move the deadline in
// the middle of the next, which must go on waiting.
func TestStaleDeadline(t *testing.T) {
	waiting := make(chan *session, 1)
	addr := agentFunc(t, func(q []byte) []byte {
		if err := (<-waiting).conn.SetReadDeadline(time.Unix(1, 0)); err != nil {
			t.Error(err)
		}
		return answerTo(q, 0, 0, tlv(0x30, 6, 8, 0x2b, 6, 1, 2, 1, 1, 3, 0, 0x43, 1, 7))
	})
	s, err := openSession(addr, false, &device{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.conn.Close()
	waiting <- s
	p, err := s.ping(t.Context(), publicWire, 1, time.Minute)
	if err != nil || len(p.Variables) != 1 || valueOf(p.Variables[0]) != ValueOf(TimeTicks, 7) {
		t.Errorf("got %v, %v", p, err)
	}
	if st := s.device.stats; st != (Stats{Requests: 1, AnsweredFrom: netip.Addr{}}) {
		t.Errorf("got %+v", st)
	}
}

// rawAgent answers from rows of encoded values, one row a column.
func rawAgent(t *testing.T, rows map[string][]byte) netip.AddrPort {
	t.Helper()
	names := slices.SortedFunc(func(yield func(OID) bool) {
		for name := range maps.Keys(rows) {
			if !yield(MustOID(name)) {
				return
			}
		}
	}, OID.Compare)
	return agentFunc(t, func(b []byte) []byte {
		q, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(slices.Clone(b))
		if err != nil {
			return nil
		}
		var varbinds []byte
		for _, v := range q.Variables {
			name, value := MustOID(v.Name), []byte{0x82, 0}
			i, found := slices.BinarySearchFunc(names, name, OID.Compare)
			if found && q.PDUType != gosnmp.GetRequest {
				i++
			}
			if i < len(names) {
				name = names[i]
				value = rows[name.String()]
			}
			varbinds = append(varbinds, tlv(0x30, append(tlv(6, encodeOID(name)...), value...)...)...)
		}
		return answerTo(b, 0, 0, varbinds)
	})
}

// encodeOID has each sub-identifier below 128, the first two in one octet.
func encodeOID(o OID) []byte {
	b := []byte{byte(40*o[0] + o[1])}
	for _, id := range o[2:] {
		b = append(b, byte(id))
	}
	return b
}

// A ping that is answered in a way that cannot be read is answered.
func TestGoneIsNotGarbled(t *testing.T) {
	addr := agentFunc(t, func(q []byte) []byte { return answerTo(q, 0, 0, []byte{0x30, 0}) })
	s, err := openSession(addr, false, &device{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.conn.Close()
	s.wire = publicWire
	if err := s.gone(t.Context(), ErrNoResponse); err != nil || s.device.gone != nil {
		t.Errorf("got %v, given up for %v", err, s.device.gone)
	}
}

// One value that cannot be decoded spoils the datagram that it comes in, but not
// the other values: they come by other datagrams.
func TestUnreadableValue(t *testing.T) {
	seven, broken := []byte{2, 1, 7}, []byte{0x40, 3, 192, 0, 2} // an IpAddress of three octets
	columns := []OID{MustOID("1.3.6.1.2.1.4.20.1.1"), MustOID("1.3.6.1.2.1.4.20.1.2"), MustOID("1.3.6.1.2.1.4.20.1.3")}
	rows := map[string][]byte{"1.3.6.1.2.1.1.3.0": {0x43, 1, 7}}
	for _, column := range columns {
		for i := range uint32(4) {
			rows[column.Append(i+1).String()] = seven
		}
	}
	rows[columns[1].Append(3).String()] = broken
	c, err := Dial(t.Context(), rawAgent(t, rows), Credentials{Version: "2c", Community: "public"}, Options{Timeout: 600 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	table := c.Walk(t.Context(), columns...)
	if table.Result != Partial || len(table.Rows) != 4+2+4 {
		t.Errorf("walk: got %v, %v, %v", table.Result, table.Rows, table.Err)
	}
	got, err := c.Get(t.Context(), columns[0].Append(3), columns[1].Append(3), columns[2].Append(3))
	want := ValueOf(Integer, 7)
	if err != nil || got[0].Value != want || got[1].Value != (Value{}) || got[2].Value != want {
		t.Errorf("get: got %v, %v", got, err)
	}
	if st := c.Stats(); st.Retries != 0 || st.BadDatagrams == 0 {
		t.Errorf("got %+v", st)
	}
}
