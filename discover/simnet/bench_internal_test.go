package simnet

import (
	"fmt"
	"testing"

	"github.com/gosnmp/gosnmp"
)

// BenchmarkBulk answers one GETBULK of 60 bindings from a table of 5,000 rows.
func BenchmarkBulk(b *testing.B) {
	var rows []Row
	for c := range 100 {
		for i := range 50 {
			rows = append(rows, Row{fmt.Sprintf("1.3.6.1.2.1.2.2.1.%d.%d", c+1, i+1), Gauge32(uint32(c * i))})
		}
	}
	for _, c := range []struct {
		name  string
		user  User
		level gosnmp.SnmpV3MsgFlags
	}{{"open", visitor, gosnmp.NoAuthNoPriv}, {"SHA-256 and AES", audit, gosnmp.AuthPriv}} {
		b.Run(c.name, func(b *testing.B) {
			s := newTestSession(b, AgentOptions{Users: []User{c.user}, Engine: testEngine, Boots: 5, Rows: rows})
			p := sender{c.user, testEngine, 5, 0}.request(b, c.level)
			p.PDUType, p.MaxRepetitions, p.Variables[0].Name = gosnmp.GetBulkRequest, 60, ".1.3.6.1.2.1.2.2.1.40"
			msg, err := p.MarshalMsg()
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if out, _ := s.answer(append([]byte(nil), msg...)); len(out) < 1000 {
					b.Fatalf("answer of %d octets", len(out))
				}
			}
		})
	}
}

// BenchmarkTwelveAgents makes the agents of a small site, each with 500 rows and
// a user whose password the process has hashed before.
func BenchmarkTwelveAgents(b *testing.B) {
	var rows []Row
	for i := range 500 {
		rows = append(rows, Row{fmt.Sprintf("1.3.6.1.2.1.2.2.1.2.%d", i+1), Text("port")})
	}
	for b.Loop() {
		for i := range 12 {
			if _, err := NewAgent(AgentOptions{Users: []User{audit}, Engine: fmt.Sprintf("\x80\x00\x7e\xd9\x04%d", i), Rows: rows}); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkFirstKeys derives the keys of a user whose passwords are new.
func BenchmarkFirstKeys(b *testing.B) {
	for n := 0; b.Loop(); n++ {
		u := audit
		u.AuthPass, u.PrivPass = fmt.Sprintf("rising tide %d", n), fmt.Sprintf("neap tide %d", n)
		if _, err := newAccount(u, testEngine); err != nil {
			b.Fatal(err)
		}
	}
}
