package discover_test

import (
	"fmt"
	"net"
	"net/netip"
	"sync"
	"testing"

	"boundwalk/discover"
	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// FC-08 c: twenty agents are read at once through a relay that swaps one answer
// of each with another's, though each comes from the address that was asked. The
// swapped ones are dropped and counted, and no value of one shows at another.
func TestFC08SwappedAnswers(t *testing.T) {
	const many = 20
	swap := &swapper{}
	var devices []inventory.Device
	for k := range many {
		a := small(fmt.Sprintf("box-%d", k))
		a.System.ObjectID = fmt.Sprintf("1.3.6.1.4.1.32473.%d", k+1)
		for i := range a.Interfaces {
			a.Interfaces[i].Alias = a.System.Name
		}
		devices = append(devices, inventory.Device{Name: a.System.Name, Role: inventory.Switch, Access: "yard", Agent: swap.relay(t, agent(t, a, simnet.Faults{}))})
	}
	ev := discover.Survey(t.Context(), loopback(devices...), discover.Options{Secrets: secrets})
	if len(ev.Agents) != many {
		t.Errorf("%d agents, want %d", len(ev.Agents), many)
	}
	bad := 0
	for _, a := range ev.Agents {
		bad += a.Stats.Strays
		var k int
		if _, err := fmt.Sscanf(a.Device, "box-%d", &k); err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprintf("1.3.6.1.4.1.32473.%d", k+1); a.System.Name != a.Device || a.System.ObjectID != want {
			t.Errorf("%s calls itself %q and is a %s, want %s", a.Device, a.System.Name, a.System.ObjectID, want)
		}
		if r := a.Tables[inventory.TableInterfaces]; r != inventory.Complete || len(a.Interfaces) != 2 {
			t.Errorf("%s has %d interfaces, %s", a.Device, len(a.Interfaces), r)
		}
		for _, i := range a.Interfaces {
			if i.Alias != a.Device {
				t.Errorf("%s has the interface %q of %q", a.Device, i.Name, i.Alias)
			}
		}
	}
	swap.mu.Lock()
	defer swap.mu.Unlock()
	if swap.swapped != many || bad != many {
		t.Errorf("%d answers swapped, %d dropped, want %d", swap.swapped, bad, many)
	}
}

// A swapper holds the second answer that each of its relays brings until another
// relay has one too, and gives each client the other's.
type swapper struct {
	mu      sync.Mutex
	held    *answer
	swapped int
}

// answer is a datagram for a client, and the relay's socket that it leaves by.
type answer struct {
	text []byte
	conn *net.UDPConn
	to   netip.AddrPort
}

func (a answer) send(text []byte) { a.conn.WriteToUDPAddrPort(text, a.to) } //nolint:errcheck // a lost datagram

// relay passes datagrams between clients and the target until the test ends.
func (s *swapper) relay(t *testing.T, target netip.AddrPort) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	r := &swapping{swapper: s, conn: conn, target: target, ups: map[netip.AddrPort]*net.UDPConn{}}
	wg.Go(func() { r.forward(&wg) })
	t.Cleanup(func() {
		conn.Close()
		wg.Wait()
	})
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

// swapping is one relay. Each client has a socket of its own towards the target.
type swapping struct {
	*swapper
	conn    *net.UDPConn
	target  netip.AddrPort
	ups     map[netip.AddrPort]*net.UDPConn
	answers int // under mu
}

func (r *swapping) forward(wg *sync.WaitGroup) {
	defer func() {
		for _, up := range r.ups {
			up.Close()
		}
	}()
	b := make([]byte, 1<<16)
	for {
		n, from, err := r.conn.ReadFromUDPAddrPort(b)
		if err != nil {
			return
		}
		up := r.ups[from]
		if up == nil {
			if up, err = net.DialUDP("udp4", nil, net.UDPAddrFromAddrPort(r.target)); err != nil {
				return
			}
			r.ups[from] = up
			wg.Go(func() { r.back(up, from) })
		}
		up.Write(b[:n]) //nolint:errcheck // a lost datagram
	}
}

func (r *swapping) back(up *net.UDPConn, to netip.AddrPort) {
	for {
		b := make([]byte, 1<<16)
		n, err := up.Read(b)
		if err != nil {
			return
		}
		r.bring(answer{b[:n], r.conn, to})
	}
}

func (r *swapping) bring(a answer) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.answers++
	switch {
	case r.answers != 2:
		a.send(a.text)
	case r.held == nil:
		r.held = &a
	default:
		a.send(r.held.text)
		r.held.send(a.text)
		r.held = nil
		r.swapped += 2
	}
}
