package netns

import (
	"net"
	"net/http"
	"net/netip"
)

// Serve answers HTTP at addr inside the namespace until the test ends.
func (n *Namespace) Serve(addr string, s *http.Server) {
	n.t.Helper()
	var l net.Listener
	var err error
	n.Do(func() { l, err = net.Listen("tcp4", addr) })
	if err != nil {
		n.t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		s.Serve(l) //nolint:errcheck // it ends by Close
	}()
	n.t.Cleanup(func() { s.Close(); <-ended })
}

// Respond answers each datagram to a multicast group on an interface of the
// namespace with what script makes of it, until the test ends.
func (n *Namespace) Respond(iface string, group netip.AddrPort, script func(question string) []string) {
	n.t.Helper()
	var conn *net.UDPConn
	var err error
	n.Do(func() {
		var in *net.Interface
		if in, err = net.InterfaceByName(iface); err == nil {
			conn, err = net.ListenMulticastUDP("udp4", in, net.UDPAddrFromAddrPort(group))
		}
	})
	if err != nil {
		n.t.Fatal(err)
	}
	ended := make(chan struct{})
	n.t.Cleanup(func() { conn.Close(); <-ended })
	go func() {
		defer close(ended)
		buf := make([]byte, 1<<16)
		for {
			size, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			for _, a := range script(string(buf[:size])) {
				conn.WriteToUDPAddrPort([]byte(a), from) //nolint:errcheck // a test misses its answer then
			}
		}
	}()
}
