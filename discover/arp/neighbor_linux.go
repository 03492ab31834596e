package arp

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"github.com/jsimonetti/rtnetlink/v2"
	"golang.org/x/sys/unix"
)

var neighborStates = map[uint16]NeighborState{
	unix.NUD_REACHABLE: Reachable,
	unix.NUD_STALE:     Stale,
	unix.NUD_DELAY:     Delay,
	unix.NUD_PROBE:     Probe,
	unix.NUD_PERMANENT: Permanent,
}

// clockTick is the unit in which the kernel reports ages: USER_HZ is 100 on
// every architecture that Go runs on.
const clockTick = 10 * time.Millisecond

// Neighbors reads the kernel's neighbour tables for IPv4 and IPv6 by
// rtnetlink, which needs no rights, ordered by interface, address and MAC. The
// empty iface stands for all interfaces.
func Neighbors(ctx context.Context, iface string) ([]Neighbor, error) {
	list, err := neighbors(ctx)
	if err != nil {
		return nil, fmt.Errorf("read neighbour table: %w", err)
	}
	now := time.Now()
	names := make(map[uint32]string)
	var out []Neighbor
	for _, m := range list {
		state, known := neighborStates[m.State]
		a := m.Attributes
		if !known || a == nil || len(a.LLAddress) != 6 {
			continue
		}
		name, ok := names[m.Index]
		if !ok {
			if ifi, err := net.InterfaceByIndex(int(m.Index)); err == nil {
				name = ifi.Name
			}
			names[m.Index] = name
		}
		addr, ok := netip.AddrFromSlice(a.Address)
		if !ok || name == "" || iface != "" && iface != name {
			continue
		}
		n := Neighbor{Iface: name, Addr: addr.Unmap(), MAC: [6]byte(a.LLAddress), State: state}
		if a.CacheInfo != nil {
			n.Confirmed = now.Add(-time.Duration(a.CacheInfo.Confirmed) * clockTick)
		}
		out = append(out, n)
	}
	slices.SortFunc(out, func(a, b Neighbor) int {
		return cmp.Or(cmp.Compare(a.Iface, b.Iface), a.Addr.Compare(b.Addr), slices.Compare(a.MAC[:], b.MAC[:]))
	})
	return out, nil
}

// neighbors lists all entries, those without a MAC too.
func neighbors(ctx context.Context) ([]rtnetlink.NeighMessage, error) {
	conn, err := rtnetlink.Dial(nil)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	// The kernel answers a dump at once; the deadline is for a broken one.
	deadline := time.Now().Add(5 * time.Second)
	if d, ok := ctx.Deadline(); ok && d.Before(deadline) {
		deadline = d
	}
	if err := conn.SetReadDeadline(deadline); err != nil {
		return nil, err
	}
	return conn.Neigh.List()
}
