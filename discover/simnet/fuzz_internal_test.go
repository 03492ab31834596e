package simnet

import (
	"slices"
	"testing"

	"github.com/gosnmp/gosnmp"
)

// FuzzAnswer puts any datagram to an agent. It must not panic, must keep to the
// size that it promises, must not change its rows, and must answer with
// something that its own decoder can read.
func FuzzAnswer(f *testing.F) {
	for _, version := range []gosnmp.SnmpVersion{gosnmp.Version1, gosnmp.Version2c} {
		for _, kind := range []gosnmp.PDUType{gosnmp.GetRequest, gosnmp.GetNextRequest, gosnmp.GetBulkRequest, gosnmp.SetRequest, gosnmp.GetResponse} {
			q := gosnmp.SnmpPacket{
				Version: version, Community: "public", PDUType: kind, RequestID: 1, NonRepeaters: 1, MaxRepetitions: 50,
				Variables: []gosnmp.SnmpPDU{{Name: ".1.3.6.1.2.1.1.3", Type: gosnmp.Null}, {Name: column, Type: gosnmp.Integer, Value: 4}},
			}
			b, err := q.MarshalMsg()
			if err != nil {
				f.Fatal(err)
			}
			f.Add(b)
		}
	}
	for _, from := range []sender{{audit, testEngine, 5, 1000}, {oldDES, testEngine, 5, 1000}, {visitor, "", 0, 0}, {visitor, testEngine, 0, 0}} {
		level := gosnmp.NoAuthNoPriv
		if from.Auth != 0 && from.engine != "" {
			level = gosnmp.AuthPriv
		}
		if from.engine == "" {
			from.Auth, from.Priv = 0, 0
		}
		b, err := from.request(f, level).MarshalMsg()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte{})
	f.Add([]byte{0x30, 0x84, 0xff, 0xff, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, b []byte) {
		s := v3Session(t)
		s.communities = []string{"public"}
		if err := s.Set(arpTable()...); err != nil {
			t.Fatal(err)
		}
		rows := len(s.state().rows)
		out, _ := s.answer(slices.Clone(b))
		if len(out) > maxMessage {
			t.Errorf("answer of %d octets", len(out))
		}
		if len(s.state().rows) != rows {
			t.Error("rows changed")
		}
		if out == nil {
			return
		}
		r, err := s.open.SnmpDecodePacket(out)
		if r.Version != gosnmp.Version3 && err != nil {
			t.Errorf("answer % x: %v", out, err)
		}
	})
}

// FuzzBody puts any PDU to an agent in a message that is let in, so that the
// fuzzer need not find out how to sign one.
func FuzzBody(f *testing.F) {
	for _, b := range []string{
		"\xa0\x19\x02\x01\x01\x02\x01\x00\x02\x01\x00\x30\x0e\x30\x0c\x06\x08\x2b\x06\x01\x02\x01\x01\x03\x00\x05\x00",
		"\xa5\x0b\x02\x01\x01\x02\x01\xff\x02\x01\xff\x30\x00",
		"\xa1\x14\x02\x01\x01\x02\x01\x00\x02\x01\x00\x30\x09\x30\x07\x06\x01\x2b\x40\x02\x01\x02",
		"\xa3\x18\x02\x01\x01\x02\x01\x00\x02\x01\x00\x30\x0d\x30\x0b\x06\x03\x2b\x06\x01\x40\x04\xcb\x00\x71\x02",
	} {
		f.Add([]byte(b))
	}
	s := newTestSession(f, AgentOptions{Communities: []string{"public"}, Rows: arpTable()})
	f.Fuzz(func(t *testing.T, pdu []byte) {
		if len(pdu) > 60000 {
			return
		}
		n := len(pdu) + 11
		msg := append([]byte{0x30, 0x82, byte(n >> 8), byte(n), 2, 1, 1, 4, 6, 'p', 'u', 'b', 'l', 'i', 'c'}, pdu...)
		out, _ := s.answer(msg)
		if out == nil {
			return
		}
		r, err := s.open.SnmpDecodePacket(out)
		if err != nil || r.PDUType != gosnmp.GetResponse || len(out) > maxMessage {
			t.Errorf("answer % x: %v", out, err)
		}
	})
}
