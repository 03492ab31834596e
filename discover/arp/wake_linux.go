package arp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const (
	// kernelTries is how often the kernel broadcasts for a silent address
	// (mcast_solicit, one second apart); the pacing counts them.
	kernelTries = 3

	// wakeWindow outlasts the kernel's delay_first_probe_time (5 s) and a
	// second for its answer, so that an old entry is proven or gone.
	wakeWindow = 7 * time.Second

	// defaultNeighbors is the kernel's default for gc_thresh3, the most
	// entries of its table. Beyond it a datagram wakes nobody, silently.
	defaultNeighbors = 1024

	// spareNeighbors stay free for the machine's own use.
	spareNeighbors = 64

	discardPort = 9 // RFC 863
)

// Wake is for a process without the right to open raw sockets. It sends an
// empty datagram to the discard port of each address, so that the kernel asks
// for it by ARP, and returns what the neighbour table then holds. That is less
// than Sweep sees: one MAC for an address, no probes, no more than the kernel's
// table takes. So the Result is never complete, and Why says how far it goes.
//
// Addresses in LeaveAlone are not asked, since those that answer the kernel get
// the datagram too. Rate counts the kernel's three broadcasts for a silent
// address. Planned and MaxReplies mean nothing here.
func Wake(ctx context.Context, iface string, opts Options) (Result, error) {
	r, err := wake(ctx, iface, opts)
	if err != nil {
		r.Why = err.Error()
		return r, fmt.Errorf("wake %s on %s: %w", opts.Prefix, iface, err)
	}
	return r, nil
}

func wake(ctx context.Context, iface string, opts Options) (Result, error) {
	hosts, err := newSpan(opts.Prefix)
	if err != nil {
		return Result{}, err
	}
	at, err := await(ctx, iface, opts.Prefix, opts.Wait)
	if err != nil {
		return Result{}, err
	}
	hosts.leave(at.own...)
	hosts.leave(opts.Skip...)
	alone := hosts.offsets(opts.LeaveAlone)
	conn, err := datagramSocket(ctx, at)
	if err != nil {
		return Result{}, err
	}
	defer conn.Close()
	r := Result{Sender: at.sender}
	free, err := freeNeighbors(ctx)
	if err != nil {
		return r, err
	}
	var targets []netip.Addr
	targets, r.NotAsked = toWake(hosts, alone, free)
	started := time.Now()
	if err := r.wakeAll(ctx, conn, targets, opts); err != nil {
		return r, err
	}
	if err := r.readNeighbors(ctx, iface, hosts, opts, started); err != nil {
		return r, err
	}
	if err := at.held(); err != nil {
		return r, err
	}
	r.Why = "no right to open a raw socket: read from the kernel's neighbour table, which keeps one MAC for an address"
	if n := len(r.NotAsked); n > 0 {
		r.Why += fmt.Sprintf("; not asked: %d (%d to be left alone, room in the table for %d)", n, len(alone), free)
	}
	return r, nil
}

// toWake divides hosts into those that get a datagram, at most free, and those
// that do not.
func toWake(hosts span, alone map[int]bool, free int) (targets, not []netip.Addr) {
	for i, left := range hosts.left {
		switch {
		case left:
		case alone[i] || len(targets) >= free:
			not = append(not, hosts.addr(i))
		default:
			targets = append(targets, hosts.addr(i))
		}
	}
	return targets, not
}

func (r *Result) wakeAll(ctx context.Context, conn net.PacketConn, targets []netip.Addr, opts Options) error {
	pace := newPace(max(1, cmp.Or(opts.Rate, defaultRate)/kernelTries))
	for _, a := range targets {
		if err := pause(ctx, pace.Reserve().Delay()); err != nil {
			return err
		}
		if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		_, err := conn.WriteTo(nil, net.UDPAddrFromAddrPort(netip.AddrPortFrom(a, discardPort)))
		if errors.Is(err, syscall.ENETDOWN) || errors.Is(err, syscall.ENETUNREACH) || errors.Is(err, syscall.ENODEV) {
			return fmt.Errorf("%w: lost the interface: %w", ErrNotRun, err)
		}
		if err != nil { // the table is full, or a firewall forbids it
			r.NotAsked = append(r.NotAsked, a)
			continue
		}
		r.Sent++
		if opts.Progress != nil {
			opts.Progress(r.Sent, len(targets))
		}
	}
	return pause(ctx, max(opts.Window, wakeWindow))
}

// readNeighbors takes over the neighbours in hosts that are reachable now or
// were confirmed since started. The others in the table are only hearsay.
func (r *Result) readNeighbors(ctx context.Context, iface string, hosts span, opts Options, started time.Time) error {
	list, err := Neighbors(ctx, iface)
	if err != nil {
		return err
	}
	found := newCollector(hosts, len(list))
	found.ignore = opts.Ignore
	for _, n := range list {
		if !n.Addr.Is4() {
			continue
		}
		m := message{source: n.MAC, mac: n.MAC, addr: n.Addr}
		if i, inside := hosts.offset(n.Addr); inside && (n.State == Reachable || n.Confirmed.After(started)) {
			found.asked[i] = 1
		}
		found.note(m, nil, n.Confirmed)
	}
	seen := found.result()
	r.Replies, r.Heard, r.Apart, r.Ignored = seen.Replies, seen.Heard, seen.Apart, seen.Ignored
	return nil
}

// datagramSocket is bound to the interface and its address, so that nothing
// leaves by another one. An old kernel does not allow the former without
// rights; the address then has to do.
func datagramSocket(ctx context.Context, at attachment) (net.PacketConn, error) {
	lc := net.ListenConfig{Control: func(_, _ string, raw syscall.RawConn) error {
		return raw.Control(func(fd uintptr) { _ = unix.BindToDevice(int(fd), at.ifi.Name) })
	}}
	return lc.ListenPacket(ctx, "udp4", netip.AddrPortFrom(at.sender, 0).String())
}

// freeNeighbors returns how many more entries the kernel's IPv4 table takes.
func freeNeighbors(ctx context.Context) (int, error) {
	most := defaultNeighbors // a namespace does not show its limit
	if text, err := os.ReadFile("/proc/sys/net/ipv4/neigh/default/gc_thresh3"); err == nil {
		if n, err := strconv.Atoi(strings.TrimSpace(string(text))); err == nil {
			most = n
		}
	}
	list, err := neighbors(ctx)
	if err != nil {
		return 0, err
	}
	for _, n := range list {
		if n.Family == unix.AF_INET {
			most--
		}
	}
	return max(0, most-spareNeighbors), nil
}
