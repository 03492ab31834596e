package envelope

import (
	"fmt"
	"net"
	"sync/atomic"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// A lure answers the search for root devices (UPnP Device Architecture, section
// 1.3) from an address that no network of the plan has, and offers a page there.
// The auditor has an address of that network on the same wire.
type lure struct{ answers atomic.Int32 }

const lureAddr = "198.51.100.140"

func setLure(t *testing.T, h *netns.Namespace) *lure {
	t.Helper()
	h.Exec("ip", "route", "add", "203.0.113.0/26", "dev", "eth0")
	var conn *net.UDPConn
	var err error
	h.Do(func() {
		var eth *net.Interface
		if eth, err = net.InterfaceByName("eth0"); err == nil {
			conn, err = net.ListenMulticastUDP("udp4", eth, &net.UDPAddr{IP: net.IPv4(239, 255, 255, 250), Port: 1900})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	l := &lure{}
	ended := make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-ended })
	go func() {
		defer close(ended)
		buf := make([]byte, 1<<12)
		for {
			_, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			text := fmt.Appendf(nil, "HTTP/1.1 200 OK\r\nST: upnp:rootdevice\r\nUSN: uuid:1::upnp:rootdevice\r\nLOCATION: http://%s:5000/\r\n\r\n", lureAddr)
			if _, err := conn.WriteToUDPAddrPort(text, from); err == nil {
				l.answers.Add(1)
			}
		}
	}()
	return l
}
