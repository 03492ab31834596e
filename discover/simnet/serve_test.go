package simnet_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"runtime/pprof"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
)

const sysUpTime = "1.3.6.1.2.1.1.3.0"

// client sends GETs of sysUpTime.0 by hand, so that a test sees each datagram.
type client struct {
	testing.TB
	net.PacketConn
	to net.Addr
}

func dial(t testing.TB, to netip.AddrPort) client {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	if err := conn.SetReadDeadline(time.Now().Add(time.Minute)); err != nil { // no test waits for it: the answer comes, or the test is wrong
		t.Fatal(err)
	}
	return client{t, conn, net.UDPAddrFromAddrPort(to)}
}

func (c client) send(id uint32) {
	c.Helper()
	q := gosnmp.SnmpPacket{
		Version: gosnmp.Version2c, Community: "yard", PDUType: gosnmp.GetRequest, RequestID: id,
		Variables: []gosnmp.SnmpPDU{{Name: sysUpTime, Type: gosnmp.Null}},
	}
	b, err := q.MarshalMsg()
	if err != nil {
		c.Fatal(err)
	}
	if _, err := c.WriteTo(b, c.to); err != nil {
		c.Fatal(err)
	}
}

func (c client) receive() ([]byte, net.Addr) {
	c.Helper()
	b := make([]byte, 1<<16)
	n, from, err := c.ReadFrom(b)
	if err != nil {
		c.Fatal(err)
	}
	return b[:n], from
}

// answered is the request ID of the next answer.
func (c client) answered() uint32 {
	c.Helper()
	b, _ := c.receive()
	r, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(b)
	if err != nil {
		c.Fatal(err)
	}
	return r.RequestID
}

func yardAgent(t testing.TB, f simnet.Faults) (*simnet.Agent, netip.AddrPort) {
	t.Helper()
	a, at := newAgent(t, simnet.AgentOptions{Communities: []string{"yard"}, Rows: []simnet.Row{{OID: sysUpTime, Value: simnet.TimeTicks(1)}}})
	if err := a.SetFaults(f); err != nil {
		t.Fatal(err)
	}
	return a, at
}

func TestEverySecondRequestIsDropped(t *testing.T) {
	a, at := yardAgent(t, simnet.Faults{DropEvery: 2})
	c := dial(t, at)
	for id := range uint32(6) {
		c.send(id)
	}
	for _, want := range []uint32{0, 2, 4} {
		if got := c.answered(); got != want {
			t.Errorf("answer to %d, want %d", got, want)
		}
	}
	if got := a.Counts(); got.Received != 6 || got.Get != 3 || got.Sent != 3 {
		t.Errorf("counts %+v", got)
	}
}

func TestDatagramsOfFaults(t *testing.T) {
	_, at := yardAgent(t, simnet.Faults{Duplicate: true, Garbage: []byte("not SNMP"), CutTo: 12})
	c := dial(t, at)
	c.send(1)
	for i, want := range []int{8, 12, 12} {
		if b, _ := c.receive(); len(b) != want {
			t.Errorf("datagram %d: %d octets, want %d", i+1, len(b), want)
		}
	}
}

func TestSilence(t *testing.T) {
	a, at := yardAgent(t, simnet.Faults{Silent: true, Garbage: []byte("not SNMP")})
	c := dial(t, at)
	c.send(1)
	if b, _ := c.receive(); string(b) != "not SNMP" {
		t.Errorf("got % x", b)
	}
	if err := a.SetFaults(simnet.Faults{}); err != nil {
		t.Fatal(err)
	}
	c.send(2)
	if got := c.answered(); got != 2 {
		t.Errorf("answer to %d, want 2 alone", got)
	}
}

func TestLateAnswersKeepTheirOrder(t *testing.T) {
	const delay = 30 * time.Millisecond
	_, at := yardAgent(t, simnet.Faults{Delay: delay})
	c := dial(t, at)
	start := time.Now()
	for id := range uint32(20) {
		c.send(id)
	}
	for want := range uint32(20) {
		if got := c.answered(); got != want {
			t.Fatalf("answer to %d, want %d", got, want)
		}
		if took := time.Since(start); took < delay {
			t.Fatalf("answer after %v", took)
		}
	}
}

func TestAnswerFromAnotherAddress(t *testing.T) {
	other, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	_, at := yardAgent(t, simnet.Faults{ReplyFrom: other})
	c := dial(t, at)
	c.send(1)
	if _, from := c.receive(); from.String() != other.LocalAddr().String() {
		t.Errorf("answer from %s, want %s", from, other.LocalAddr())
	}
}

// A stopped Serve has ended all that it started, also with answers under way.
func TestServeLeavesNothingBehind(t *testing.T) {
	a, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"yard"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.SetFaults(simnet.Faults{Delay: time.Hour}); err != nil {
		t.Fatal(err)
	}
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	at := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	relay := &simnet.Relay{Target: at, Delay: time.Nanosecond}
	link, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer link.Close()
	for range 2 { // the sockets serve again
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		errs := make([]error, 2)
		wg.Go(func() { errs[0] = a.Serve(ctx, conn) })
		wg.Go(func() { errs[1] = relay.Serve(ctx, link) })
		before := a.Counts().Get
		c := dial(t, link.LocalAddr().(*net.UDPAddr).AddrPort())
		for a.Counts().Get == before {
			c.send(1)
		}
		cancel()
		wg.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Error(err)
		}
	}
	var stacks strings.Builder
	if err := pprof.Lookup("goroutine").WriteTo(&stacks, 2); err != nil {
		t.Fatal(err)
	}
	for s := range strings.SplitSeq(stacks.String(), "\n\n") {
		if strings.Contains(s, "simnet.(") || strings.Contains(s, "simnet.line") {
			t.Errorf("left behind:\n%s", s)
		}
	}
}

func TestServeTellsOfAClosedSocket(t *testing.T) {
	a, err := simnet.NewAgent(simnet.AgentOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for name, serve := range map[string]func(context.Context, net.PacketConn) error{"agent": a.Serve, "relay": new(simnet.Relay).Serve} {
		conn, err := net.ListenPacket("udp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		conn.Close()
		if err := serve(t.Context(), conn); !errors.Is(err, net.ErrClosed) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Rows change while several clients read: each answer is of one state, in which
// both columns have the same value.
func TestRowsChangeWhileServing(t *testing.T) {
	const one, two = "1.3.6.1.2.1.2.2.1.7.1", "1.3.6.1.2.1.2.2.1.8.1"
	state := func(n int32) []simnet.Row {
		return []simnet.Row{{OID: one, Value: simnet.Integer(n)}, {OID: two, Value: simnet.Integer(n)}}
	}
	a, at := newAgent(t, simnet.AgentOptions{Users: []simnet.User{{Name: "audit", Auth: gosnmp.SHA, AuthPass: "rising tide"}}, Communities: []string{"yard"}, Rows: state(0)})
	ctx, cancel := context.WithCancel(t.Context())
	var writer, readers sync.WaitGroup
	writer.Go(func() {
		for n := int32(1); ctx.Err() == nil; n++ {
			err := errors.Join(a.Set(state(n)...), a.Set(simnet.Row{OID: fmt.Sprintf("1.3.6.1.2.1.99.%d", n%50), Value: simnet.Integer(n)}), a.Delete("1.3.6.1.2.1.99"))
			if err != nil {
				t.Error(err)
			}
		}
	})
	for i := range 4 {
		readers.Go(func() {
			g := &gosnmp.GoSNMP{Target: at.Addr().String(), Port: at.Port(), Version: gosnmp.Version2c, Community: "yard", Timeout: time.Minute}
			if i%2 == 1 {
				g.Version, g.SecurityModel, g.MsgFlags = gosnmp.Version3, gosnmp.UserSecurityModel, gosnmp.AuthNoPriv
				g.SecurityParameters = &gosnmp.UsmSecurityParameters{UserName: "audit", AuthenticationProtocol: gosnmp.SHA, AuthenticationPassphrase: "rising tide"}
			}
			if err := g.Connect(); err != nil {
				t.Error(err)
				return
			}
			defer g.Conn.Close()
			for range 50 {
				r, err := g.Get([]string{one, two})
				if err != nil || len(r.Variables) != 2 || r.Variables[0].Value != r.Variables[1].Value {
					t.Errorf("%v %+v", err, r)
					return
				}
			}
		})
	}
	readers.Wait()
	cancel()
	writer.Wait()
}

func TestRelayDelaysBothWays(t *testing.T) {
	const delay = 20 * time.Millisecond
	_, at := yardAgent(t, simnet.Faults{})
	relay := &simnet.Relay{Target: at, Delay: delay}
	link := simnettest.StartRelay(t, relay)
	clients := []client{dial(t, link), dial(t, link)}
	start := time.Now()
	for id := range uint32(10) {
		clients[id%2].send(id)
	}
	var got []uint32
	for i := range 10 {
		got = append(got, clients[i%2].answered())
	}
	if took := time.Since(start); took < 2*delay {
		t.Errorf("answers after %v, want at least %v", took, 2*delay)
	}
	if want := []uint32{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}; !slices.Equal(got, want) {
		t.Errorf("answers %v, want %v", got, want)
	}
	if requests, answers := relay.Passed(); requests != 10 || answers != 10 {
		t.Errorf("%d requests, %d answers passed", requests, answers)
	}
}

// A link to nowhere loses datagrams and goes on.
func TestRelayOutlivesItsTarget(t *testing.T) {
	gone, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	relay := &simnet.Relay{Target: gone.LocalAddr().(*net.UDPAddr).AddrPort()}
	gone.Close()
	c := dial(t, simnettest.StartRelay(t, relay))
	for n := 0; n < 5; n, _ = relay.Passed() {
		c.send(1)
	}
}
