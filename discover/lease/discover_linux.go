package lease

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"slices"
	"time"

	"github.com/insomniacslk/dhcp/dhcpv4"
	"github.com/insomniacslk/dhcp/dhcpv4/nclient4"
	"github.com/mdlayher/packet"
	"golang.org/x/net/bpf"
	"golang.org/x/sync/errgroup"
)

// Discover sends one DHCP discover on the interface named iface, and neither
// repeats it nor requests what is offered. It carries the interface's MAC and
// a client id of ours, so that the lease of the machine itself is not touched.
// It returns within a second after ctx ended.
func Discover(ctx context.Context, iface string, opts DiscoverOptions) DiscoverResult {
	ifi, err := net.InterfaceByName(iface)
	if err != nil {
		return DiscoverResult{End: "skipped", Why: fmt.Sprintf("interface %s: %v", iface, err)}
	}
	if ifi.Flags&net.FlagUp == 0 || len(ifi.HardwareAddr) != 6 {
		return DiscoverResult{End: "skipped", Why: fmt.Sprintf("interface %s is down, or no Ethernet", iface)}
	}
	filter, err := bpf.Assemble(offerFilter())
	if err != nil {
		return DiscoverResult{End: "skipped", Why: err.Error()}
	}
	conn, err := packet.Listen(ifi, packet.Datagram, etherIPv4, &packet.Config{Filter: filter})
	if errors.Is(err, os.ErrPermission) {
		return DiscoverResult{End: "refused", Why: "no right to open a raw socket: " + err.Error()}
	} else if err != nil {
		return DiscoverResult{End: "skipped", Why: err.Error()}
	}
	defer conn.Close()
	r := DiscoverResult{}
	err = r.ask(ctx, conn, ifi.HardwareAddr, cmp.Or(opts.Window, defaultWindow))
	switch {
	case err != nil:
		r.End, r.Why = "partial", err.Error()
	case r.Overflow > 0:
		r.End, r.Why = "partial", fmt.Sprintf("offers beyond the bound: %d", r.Overflow)
	case len(r.Offers) == 0:
		r.End, r.Why = "no-answer", "no DHCP server offers an address"
	default:
		r.End = "complete"
	}
	return r
}

func (r *DiscoverResult) ask(ctx context.Context, conn *packet.Conn, mac net.HardwareAddr, window time.Duration) error {
	discover, err := dhcpv4.NewDiscovery(mac, dhcpv4.WithBroadcast(true),
		dhcpv4.WithOption(dhcpv4.OptClientIdentifier(append([]byte{0}, clientID...))))
	if err != nil {
		return fmt.Errorf("make a DHCP discover: %w", err)
	}
	if err := context.Cause(ctx); err != nil {
		return err
	}
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	g.Go(func() error { return r.read(reading, conn, discover) })
	g.Go(func() error {
		defer stop()
		if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		udp := nclient4.NewBroadcastUDPConn(conn, &net.UDPAddr{Port: clientPort})
		if _, err := udp.WriteTo(discover.ToBytes(), &net.UDPAddr{IP: net.IPv4bcast, Port: serverPort}); err != nil {
			return fmt.Errorf("send a DHCP discover: %w", err)
		}
		r.Sent = 1
		t := time.NewTimer(window)
		defer t.Stop()
		select {
		case <-gctx.Done():
			return context.Cause(gctx)
		case <-t.C:
			return nil
		}
	})
	err = g.Wait()
	slices.SortFunc(r.Offers, func(a, b Offer) int {
		return cmp.Or(slices.Compare(a.MAC[:], b.MAC[:]), a.Server.Compare(b.Server))
	})
	return err
}

// read takes offers until ctx ends.
func (r *DiscoverResult) read(ctx context.Context, conn *packet.Conn, discover *dhcpv4.DHCPv4) error {
	release := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 1<<16)
	for {
		if err := conn.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if ctx.Err() != nil { // after the deadline is set, so that none is missed
			return nil
		}
		n, from, err := conn.ReadFrom(buf)
		if ne, ok := errors.AsType[net.Error](err); ok && ne.Timeout() {
			continue
		}
		if err != nil {
			return fmt.Errorf("read DHCP offers: %w", err)
		}
		offer, err := parseOffer(buf[:n], discover)
		if err != nil {
			r.Malformed++
			continue
		}
		if a, ok := from.(*packet.Addr); ok && len(a.HardwareAddr) >= 6 {
			offer.MAC = [6]byte(a.HardwareAddr[:6])
		}
		offer.Seen = time.Now()
		r.add(offer)
	}
}

func (r *DiscoverResult) add(o Offer) {
	if slices.ContainsFunc(r.Offers, func(old Offer) bool { return old.MAC == o.MAC && old.Server == o.Server }) {
		return
	}
	if len(r.Offers) >= mostOffers {
		r.Overflow++
		return
	}
	r.Offers = append(r.Offers, o)
}
