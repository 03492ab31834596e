package snmp_test

import (
	"fmt"
	"net"
	"net/netip"
	"testing"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/discover/snmp"

	"github.com/gosnmp/gosnmp"
)

var public = snmp.Credentials{Version: "2c", Community: "public"}

// quick is for targets that do not answer. It leaves a loaded machine room to
// answer where it should. Tests that wait it out run in parallel.
var quick = snmp.Options{Timeout: 600 * time.Millisecond, Retries: -1}

// Columns of IF-MIB and SNMPv2-MIB.
var (
	ifIndex   = snmp.MustOID("1.3.6.1.2.1.2.2.1.1")
	ifDescr   = snmp.MustOID("1.3.6.1.2.1.2.2.1.2")
	ifType    = snmp.MustOID("1.3.6.1.2.1.2.2.1.3")
	ifName    = snmp.MustOID("1.3.6.1.2.1.31.1.1.1.1")
	sysDescr  = snmp.MustOID("1.3.6.1.2.1.1.1.0")
	sysUpTime = snmp.MustOID("1.3.6.1.2.1.1.3.0")
	sysName   = snmp.MustOID("1.3.6.1.2.1.1.5.0")
)

// target is a simulated device and where it listens.
type target struct {
	*simnet.Agent
	addr netip.AddrPort
}

// start serves an agent until the test ends.
func start(t testing.TB, opts simnet.AgentOptions) target {
	t.Helper()
	a, err := simnet.NewAgent(opts)
	if err != nil {
		t.Fatal(err)
	}
	return target{a, simnettest.Start(t, a)}
}

// quaySwitch is a switch of the Tern Quay boatyard with n ports.
func quaySwitch(t testing.TB, n int) target {
	t.Helper()
	return start(t, simnet.AgentOptions{Communities: []string{"public"}, Rows: quayRows(n)})
}

func quayRows(n int) []simnet.Row {
	rows := []simnet.Row{
		{OID: sysDescr.String(), Value: simnet.Text("Tern Quay switch")},
		{OID: sysUpTime.String(), Value: simnet.Rising(simnet.TimeTicks(123456), 100)},
		{OID: sysName.String(), Value: simnet.Text("quay-switch")},
	}
	for i := uint32(1); i <= uint32(n); i++ {
		rows = append(rows,
			simnet.Row{OID: ifIndex.Append(i).String(), Value: simnet.Integer(int32(i))},
			simnet.Row{OID: ifDescr.Append(i).String(), Value: simnet.Text(fmt.Sprint("port ", i))},
			simnet.Row{OID: ifType.Append(i).String(), Value: simnet.Integer(6)},
			simnet.Row{OID: ifName.Append(i).String(), Value: simnet.Text(fmt.Sprint("gi", i))},
		)
	}
	return rows
}

func (d target) faults(t testing.TB, f simnet.Faults) {
	t.Helper()
	if err := d.SetFaults(f); err != nil {
		t.Fatal(err)
	}
}

func dial(t testing.TB, d target, cred snmp.Credentials, opts snmp.Options) *snmp.Client {
	t.Helper()
	c, err := snmp.Dial(t.Context(), d.addr, cred, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

// silence is a socket that takes datagrams, tells of each, and answers none.
func silence(t testing.TB) (netip.AddrPort, <-chan struct{}) {
	t.Helper()
	arrived := make(chan struct{}, 1000)
	addr := respond(t, func([]byte) [][]byte {
		arrived <- struct{}{}
		return nil
	})
	return addr, arrived
}

// respond answers each datagram by what answer makes of it, until the test ends.
func respond(t testing.TB, answer func(request []byte) [][]byte) netip.AddrPort {
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
			for _, b := range answer(buf[:n]) {
				conn.WriteToUDPAddrPort(b, from) // an error is a lost datagram
			}
		}
	}()
	t.Cleanup(func() {
		conn.Close()
		<-done
	})
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

// sameRows fails unless got has the rows of want in the same order.
func sameRows(t testing.TB, got, want []snmp.Row) {
	t.Helper()
	for i := range min(len(got), len(want)) {
		if got[i].OID.Compare(want[i].OID) != 0 || got[i].Value != want[i].Value {
			t.Fatalf("row %d: got %v %v, want %v %v", i, got[i].OID, got[i].Value, want[i].OID, want[i].Value)
		}
	}
	if len(got) != len(want) {
		t.Fatalf("got %d rows, want %d", len(got), len(want))
	}
}

// auditUser is what an agent knows of auditor.
var (
	auditUser = simnet.User{Name: "audit", Auth: gosnmp.SHA256, AuthPass: "authpass256", Priv: gosnmp.AES256, PrivPass: "privpass256"}
	auditor   = snmp.Credentials{
		Version: "3", User: "audit", Auth: "sha256", AuthSecret: "authpass256", Privacy: "aes256", PrivacySecret: "privpass256",
	}
)
