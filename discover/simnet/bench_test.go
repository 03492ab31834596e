package simnet_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
)

// BenchmarkSiteRead starts the twelve agents of a small site, reads the 500 rows
// of each over version 3 with privacy, one after another.
func BenchmarkSiteRead(b *testing.B) {
	user := simnet.User{Name: "audit", Auth: gosnmp.SHA256, AuthPass: "rising tide", Priv: gosnmp.AES, PrivPass: "neap tide"}
	var rows []simnet.Row
	for i := range 500 {
		rows = append(rows, simnet.Row{OID: fmt.Sprintf("1.3.6.1.2.1.2.2.1.2.%d", i+1), Value: simnet.Text("quay port")})
	}
	for b.Loop() {
		for i := range 12 {
			a, err := simnet.NewAgent(simnet.AgentOptions{Users: []simnet.User{user}, Engine: fmt.Sprintf("\x80\x00\x7e\xd9\x04%d", i), Rows: rows})
			if err != nil {
				b.Fatal(err)
			}
			at := simnettest.Start(b, a)
			if n := walkPrivately(b, at.Addr().String(), at.Port(), user); n != len(rows) {
				b.Fatalf("%d rows of %d", n, len(rows))
			}
		}
	}
}

func walkPrivately(t testing.TB, host string, port uint16, u simnet.User) int {
	t.Helper()
	g := &gosnmp.GoSNMP{
		Target: host, Port: port, Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: gosnmp.AuthPriv, Timeout: time.Minute,
		SecurityParameters: &gosnmp.UsmSecurityParameters{
			UserName: u.Name, AuthenticationProtocol: u.Auth, AuthenticationPassphrase: u.AuthPass, PrivacyProtocol: u.Priv, PrivacyPassphrase: u.PrivPass,
		},
	}
	if err := g.Connect(); err != nil {
		t.Fatal(err)
	}
	defer g.Conn.Close()
	rows, err := g.BulkWalkAll("1.3.6.1.2.1.2")
	if err != nil {
		t.Fatal(err)
	}
	return len(rows)
}
