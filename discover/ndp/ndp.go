// Package ndp finds IPv6 hosts and routers on an attached link by neighbour
// discovery (RFC 4861).
//
// A /64 cannot be swept. Look asks routers to advertise themselves, pings all
// nodes (ff02::1) once from each of our addresses, and solicits whoever
// answered, and the addresses it was given, for their MACs. Hosts may rightly
// stay silent to a multicast ping (RFC 4443, section 4.2), so that silence is
// no absence.
package ndp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/time/rate"
)

// A Neighbor is an address on the link with one MAC that claims it. Several
// neighbours may share an address, or a MAC.
type Neighbor struct {
	Addr netip.Addr // without zone

	// MAC is zero where the address answered a ping and nothing told its MAC.
	MAC [6]byte

	Router bool // says of itself that it is one
	Seen   time.Time
}

// A Router is what a router advertisement says (RFC 4861, section 4.2).
type Router struct {
	Addr     netip.Addr    // link-local, without zone
	MAC      [6]byte       // zero where it is not told
	Lifetime time.Duration // zero: not a default router
	Managed  bool          // addresses by DHCPv6
	Prefixes []netip.Prefix
	DNS      []netip.Addr // RFC 8106
	Seen     time.Time
}

// Options say how to look. The zero value works.
type Options struct {
	// Ask lists unicast addresses to solicit beside those that turn up. Those
	// that are not IPv6 are ignored.
	Ask []netip.Addr

	// Ignore lists networks whose neighbours are kept apart, for privacy.
	Ignore []netip.Prefix

	// Rate is in packets a second; zero means 20.
	Rate int

	// Window is how long to wait for routers and for the answers to the ping;
	// zero means 4 s, the interval between two router solicitations.
	Window time.Duration

	// Most bounds the neighbours kept; zero means 4,096.
	Most int
}

// A Result is what a look saw and how it ended. The caller owns it.
type Result struct {
	Neighbors []Neighbor // by address, then MAC
	Routers   []Router   // by address

	// Apart are neighbours in networks of Options.Ignore, in the same order and
	// within the same bound: to leave out what else is known of the same MACs,
	// and never to be stored.
	Apart []Neighbor

	Sent      int // packets
	Malformed int // ND messages that are none, or come from beyond the link
	Overflow  int // messages not kept since a bound was reached

	// End is complete, no-answer, partial (stopped, or a bound reached),
	// refused (no right to open a raw socket) or skipped (no IPv6 there).
	End string
	Why string // says more, unless End is complete
}

const (
	defaultRate   = 20
	defaultWindow = 4 * time.Second // RTR_SOLICITATION_INTERVAL, RFC 4861, section 10
	defaultMost   = 4096
	retransTimer  = time.Second // RETRANS_TIMER, the same
	mostSolicits  = 3           // MAX_MULTICAST_SOLICIT, the same
	mostMACs      = 8           // kept for one address
	mostRouters   = 32
	mostOwn       = 4 // own addresses to ping from
)

// Look looks once at the link of the interface named iface. It returns within
// a second after ctx ended.
func Look(ctx context.Context, iface string, opts Options) Result {
	link, err := attach(iface)
	if err != nil {
		return Result{End: "skipped", Why: err.Error()}
	}
	conn, err := open(ctx, link.ifi)
	if errors.Is(err, os.ErrPermission) {
		return Result{End: "refused", Why: "no right to open a raw socket: " + err.Error()}
	} else if err != nil {
		return Result{End: "skipped", Why: err.Error()}
	}
	defer conn.close()
	found := newCollector(conn.id, cmp.Or(opts.Most, defaultMost), link.own)
	found.ignore = opts.Ignore
	l := look{
		opts:  opts,
		link:  link,
		conn:  conn,
		pace:  rate.NewLimiter(rate.Limit(cmp.Or(opts.Rate, defaultRate)), 1),
		found: found,
	}
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	g.Go(func() error { return conn.read(reading, l.found) })
	g.Go(func() error {
		defer stop()
		return l.send(gctx)
	})
	err = g.Wait()
	r := l.found.result()
	r.Sent = l.sent
	r.End, r.Why = r.ending(err)
	return r
}

func (r Result) ending(err error) (end, why string) {
	switch {
	case err != nil:
		return "partial", err.Error()
	case r.Overflow > 0:
		return "partial", fmt.Sprintf("too many answers: %d beyond the bound were not kept", r.Overflow)
	case len(r.Neighbors)+len(r.Routers) == 0:
		return "no-answer", "nothing answered the ping to all nodes"
	}
	return "complete", ""
}

// look is the sending side of Look.
type look struct {
	opts  Options
	link  link
	conn  *conn
	pace  *rate.Limiter
	found *collector
	sent  int
}

func (l *look) send(ctx context.Context) error {
	if err := l.write(ctx, func() error { return l.conn.solicitRouters(l.link.own[0]) }); err != nil {
		return err
	}
	for i, own := range l.link.own[:min(len(l.link.own), mostOwn)] {
		// From global addresses too: a host answers from its like. One that
		// is not usable yet is left out.
		err := l.write(ctx, func() error { return l.conn.pingAll(own) })
		if err != nil && (i == 0 || ctx.Err() != nil) {
			return err
		}
	}
	if err := pause(ctx, cmp.Or(l.opts.Window, defaultWindow)); err != nil {
		return err
	}
	for range mostSolicits {
		targets := l.found.unresolved(l.opts.Ask)
		if len(targets) == 0 {
			return nil
		}
		for _, a := range targets {
			if err := l.write(ctx, func() error { return l.conn.solicit(l.link, a) }); err != nil {
				return err
			}
		}
		if err := pause(ctx, retransTimer); err != nil {
			return err
		}
	}
	return nil
}

func (l *look) write(ctx context.Context, send func() error) error {
	if err := pause(ctx, l.pace.Reserve().Delay()); err != nil {
		return err
	}
	if err := send(); err != nil {
		return err
	}
	l.sent++
	return nil
}

// pause waits for d, or until ctx ends and then returns its cause.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}

// link is an interface with IPv6.
type link struct {
	ifi *net.Interface
	mac [6]byte
	own []netip.Addr // the link-local address first
}

func attach(iface string) (link, error) {
	ifi, err := net.InterfaceByName(iface)
	if err != nil {
		return link{}, fmt.Errorf("interface %s: %w", iface, err)
	}
	if ifi.Flags&net.FlagUp == 0 || len(ifi.HardwareAddr) != 6 {
		return link{}, fmt.Errorf("interface %s: down, or no Ethernet (%s)", iface, strings.ReplaceAll(ifi.Flags.String(), "|", " "))
	}
	addrs, err := ifi.Addrs()
	if err != nil {
		return link{}, fmt.Errorf("interface %s: its addresses: %w", iface, err)
	}
	l := link{ifi: ifi, mac: [6]byte(ifi.HardwareAddr)}
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil && p.Addr().Is6() && !p.Addr().Is4In6() {
			l.own = append(l.own, p.Addr())
		}
	}
	slices.SortStableFunc(l.own, func(a, b netip.Addr) int {
		return cmp.Compare(rank(a), rank(b))
	})
	if len(l.own) == 0 || !l.own[0].IsLinkLocalUnicast() {
		return link{}, fmt.Errorf("interface %s: no IPv6 link-local address", iface)
	}
	return l, nil
}

func rank(a netip.Addr) int {
	if a.IsLinkLocalUnicast() {
		return 0
	}
	return 1
}
