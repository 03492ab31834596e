package ndp

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/netip"
	"strconv"
	"time"

	"github.com/mdlayher/ndp"
	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv6"
)

var allRouters, allNodes = netip.MustParseAddr("ff02::2"), netip.MustParseAddr("ff02::1")

// conn is a raw ICMPv6 socket on one interface.
type conn struct {
	pc  *ipv6.PacketConn
	raw net.PacketConn
	ifi *net.Interface
	id  int // of our echo requests
}

func open(ctx context.Context, ifi *net.Interface) (*conn, error) {
	var lc net.ListenConfig
	raw, err := lc.ListenPacket(ctx, "ip6:ipv6-icmp", "::")
	if err != nil {
		return nil, err
	}
	pc := ipv6.NewPacketConn(raw)
	var filter ipv6.ICMPFilter
	filter.SetAll(true)
	for _, t := range []ipv6.ICMPType{ipv6.ICMPTypeEchoReply, ipv6.ICMPTypeRouterAdvertisement, ipv6.ICMPTypeNeighborSolicitation,
		ipv6.ICMPTypeNeighborAdvertisement} {
		filter.Accept(t)
	}
	err = errors.Join(
		pc.SetHopLimit(hopLimit),
		pc.SetMulticastHopLimit(hopLimit),
		pc.SetMulticastInterface(ifi),
		pc.SetMulticastLoopback(false),
		pc.SetChecksum(true, 2), // where ICMPv6 has it
		pc.SetControlMessage(ipv6.FlagHopLimit|ipv6.FlagInterface, true),
		pc.SetICMPFilter(&filter),
		pc.JoinGroup(ifi, &net.IPAddr{IP: allNodes.AsSlice()}),
	)
	if err != nil {
		raw.Close()
		return nil, fmt.Errorf("raw ICMPv6 socket: %w", err)
	}
	return &conn{pc: pc, raw: raw, ifi: ifi, id: rand.IntN(1 << 16)}, nil
}

func (c *conn) close() { c.raw.Close() }

// read feeds messages of the interface to found until ctx ends.
func (c *conn) read(ctx context.Context, found *collector) error {
	release := context.AfterFunc(ctx, func() { c.raw.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 9000)
	for {
		if err := c.raw.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if ctx.Err() != nil { // after the deadline is set, so that none is missed
			return nil
		}
		n, cm, src, err := c.pc.ReadFrom(buf)
		if ne, ok := errors.AsType[net.Error](err); ok && ne.Timeout() {
			continue
		}
		if err != nil {
			return fmt.Errorf("read ICMPv6: %w", err)
		}
		from, ok := src.(*net.IPAddr)
		if !ok || cm == nil || cm.IfIndex != c.ifi.Index {
			continue
		}
		if addr, ok := netip.AddrFromSlice(from.IP); ok {
			found.add(buf[:n], addr, cm.HopLimit, time.Now())
		}
	}
}

func (c *conn) write(b []byte, from, to netip.Addr) error {
	if err := c.raw.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	cm := &ipv6.ControlMessage{HopLimit: hopLimit, IfIndex: c.ifi.Index, Src: from.AsSlice()}
	// By number: package net remembers the numbers of names for a minute.
	zone := strconv.Itoa(c.ifi.Index)
	if _, err := c.pc.WriteTo(b, cm, &net.IPAddr{IP: to.AsSlice(), Zone: zone}); err != nil {
		return fmt.Errorf("write ICMPv6 to %s: %w", to, err)
	}
	return nil
}

// pingAll sends one echo request to all nodes.
func (c *conn) pingAll(from netip.Addr) error {
	b, err := (&icmp.Message{Type: ipv6.ICMPTypeEchoRequest, Body: &icmp.Echo{ID: c.id, Seq: 1}}).Marshal(nil)
	if err != nil {
		return err
	}
	return c.write(b, from, allNodes)
}

// solicitRouters sends a router solicitation, without our MAC so that no router
// changes its table for it.
func (c *conn) solicitRouters(from netip.Addr) error {
	b, err := ndp.MarshalMessage(&ndp.RouterSolicitation{})
	if err != nil {
		return err
	}
	return c.write(b, from, allRouters)
}

// solicit asks for the MAC of target at its solicited-node group.
func (c *conn) solicit(l link, target netip.Addr) error {
	group, err := ndp.SolicitedNodeMulticast(target)
	if err != nil {
		return err
	}
	b, err := ndp.MarshalMessage(&ndp.NeighborSolicitation{
		TargetAddress: target,
		Options:       []ndp.Option{&ndp.LinkLayerAddress{Direction: ndp.Source, Addr: l.mac[:]}},
	})
	if err != nil {
		return err
	}
	return c.write(b, l.own[0], group)
}
