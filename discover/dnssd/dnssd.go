// Package dnssd lists what devices offer by multicast DNS (RFC 6762) and DNS
// service discovery (RFC 6763) on an attached IPv4 link.
//
// It asks as a one-shot client does: never from port 5353, which would mark it
// as a full implementation, so that the answers come to its own port. Some
// devices stay silent, and switches may hold multicast back: no answer is no
// absence. All names and texts are as the devices sent them, not cleaned;
// lengths and counts are bounded.
package dnssd

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
	"golang.org/x/sync/errgroup"
	"golang.org/x/time/rate"
)

// A Service is one instance that a device offers.
type Service struct {
	Instance string // the first label, such as "Slip camera"; may hold any bytes
	Type     string // in lower case, such as "_rtsp._tcp"
	Host     string // such as "slip-cam.local"; empty where it was not told
	Port     uint16 // 0: not told, or none
	Text     []string
	Addrs    []netip.Addr // of Host, as the device claims

	// From is where the answer came from: the fact to trust.
	From netip.Addr
	Seen time.Time
}

// Options say how to ask. The zero value works.
type Options struct {
	// Types are asked for besides those that devices enumerate; empty stands
	// for a few that cameras, printers and servers use.
	Types []string

	// Ignore lists networks whose answers are counted but not kept.
	Ignore []netip.Prefix

	// Rate is in queries a second, each a multicast packet; zero means 5.
	Rate int

	// Window is how long to wait after each of the rounds of questions (types,
	// instances, details); zero means 1.5 s.
	Window time.Duration

	// Most bounds the services kept; zero means 1,024.
	Most int
}

// A Result is what was answered and how it ended. The caller owns it.
type Result struct {
	Services  []Service // by From, Type, Instance
	Sent      int       // queries
	Malformed int       // datagrams that are no DNS answer
	Foreign   int       // datagrams from outside the link's networks
	Ignored   int       // datagrams of Options.Ignore
	Overflow  int       // records or services not kept since a bound was reached

	// End is complete, no-answer, partial (stopped, or a bound reached) or
	// skipped (no IPv4 there).
	End string
	Why string // says more, unless End is complete
}

const (
	defaultRate   = 5
	defaultWindow = 1500 * time.Millisecond // answers are delayed by up to 0.5 s, RFC 6762, section 6
	defaultMost   = 1024
	mostBytes     = 4 << 20 // read in all
	mostQuestions = 8       // in one query, so that it fits any frame
	mostAsked     = 256     // questions of one round
)

// commonTypes are worth asking a small site for. Common practice.
var commonTypes = []string{"_http._tcp", "_https._tcp", "_rtsp._tcp", "_ssh._tcp", "_printer._tcp", "_ipp._tcp"}

var group = netip.MustParseAddrPort("224.0.0.251:5353")

// Browse asks once on the interface named iface. It returns within a second
// after ctx ended.
func Browse(ctx context.Context, iface string, opts Options) Result {
	conn, within, err := open(ctx, iface)
	if err != nil {
		return Result{End: "skipped", Why: err.Error()}
	}
	defer conn.Close()
	b := browser{
		opts:  opts,
		conn:  conn,
		pace:  rate.NewLimiter(rate.Limit(cmp.Or(opts.Rate, defaultRate)), 1),
		found: newCollector(within, opts.Ignore, cmp.Or(opts.Most, defaultMost)),
	}
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	g.Go(func() error { return read(reading, conn, b.found) })
	g.Go(func() error {
		defer stop()
		return b.ask(gctx)
	})
	err = g.Wait()
	r := b.found.result()
	r.Sent = b.sent
	switch {
	case err != nil:
		r.End, r.Why = "partial", err.Error()
	case r.Overflow > 0:
		r.End, r.Why = "partial", fmt.Sprintf("too many answers: %d records or services beyond the bounds were not kept", r.Overflow)
	case len(r.Services) == 0:
		r.End, r.Why = "no-answer", "no device offers a service"
	default:
		r.End = "complete"
	}
	return r
}

type browser struct {
	opts  Options
	conn  net.PacketConn
	pace  *rate.Limiter
	found *collector
	sent  int
}

// ask asks for types, then for instances, then for what is missing of them.
func (b *browser) ask(ctx context.Context) error {
	types := b.opts.Types
	if len(types) == 0 {
		types = commonTypes
	}
	questions := []dns.Question{{Name: enumeration, Qtype: dns.TypePTR, Qclass: dns.ClassINET}}
	for _, t := range types {
		questions = append(questions, dns.Question{Name: dns.Fqdn(t + ".local"), Qtype: dns.TypePTR, Qclass: dns.ClassINET})
	}
	asked := make(map[dns.Question]bool)
	for _, next := range []func() []dns.Question{b.found.typeQuestions, b.found.instanceQuestions, b.found.hostQuestions, nil} {
		if err := b.send(ctx, questions, asked); err != nil {
			return err
		}
		if next != nil {
			questions = next()
		}
	}
	return nil
}

// send asks the questions that were not asked before and waits for answers.
func (b *browser) send(ctx context.Context, questions []dns.Question, asked map[dns.Question]bool) error {
	questions = slices.DeleteFunc(questions, func(q dns.Question) bool { return asked[q] })
	if len(questions) == 0 {
		return nil
	}
	questions = questions[:min(len(questions), mostAsked)]
	for some := range slices.Chunk(questions, mostQuestions) {
		if err := pause(ctx, b.pace.Reserve().Delay()); err != nil {
			return err
		}
		packed, err := (&dns.Msg{MsgHdr: dns.MsgHdr{Id: dns.Id()}, Question: some}).Pack()
		if err != nil {
			return fmt.Errorf("ask by mDNS: %w", err)
		}
		if err := b.conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if _, err := b.conn.WriteTo(packed, net.UDPAddrFromAddrPort(group)); err != nil {
			return fmt.Errorf("ask by mDNS: %w", err)
		}
		b.sent++
		for _, q := range some {
			asked[q] = true
		}
	}
	return pause(ctx, cmp.Or(b.opts.Window, defaultWindow))
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

// open returns a socket on a port of its own that sends multicast by iface, and
// the IPv4 networks of iface.
func open(ctx context.Context, iface string) (net.PacketConn, []netip.Prefix, error) {
	ifi, err := net.InterfaceByName(iface)
	if err != nil {
		return nil, nil, fmt.Errorf("interface %s: %w", iface, err)
	}
	if ifi.Flags&net.FlagUp == 0 {
		return nil, nil, fmt.Errorf("interface %s is down", iface)
	}
	addrs, err := ifi.Addrs()
	if err != nil {
		return nil, nil, fmt.Errorf("interface %s: its addresses: %w", iface, err)
	}
	var within []netip.Prefix
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil && p.Addr().Is4() {
			within = append(within, p)
		}
	}
	if len(within) == 0 {
		return nil, nil, fmt.Errorf("interface %s has no IPv4 address", iface)
	}
	var lc net.ListenConfig
	conn, err := lc.ListenPacket(ctx, "udp4", netip.AddrPortFrom(within[0].Addr(), 0).String())
	if err != nil {
		return nil, nil, err
	}
	pc := ipv4.NewPacketConn(conn)
	// The TTL is asked for by RFC 6762, section 11.
	if err := errors.Join(pc.SetMulticastInterface(ifi), pc.SetMulticastTTL(255), pc.SetMulticastLoopback(false)); err != nil {
		conn.Close()
		return nil, nil, fmt.Errorf("multicast on %s: %w", iface, err)
	}
	return conn, within, nil
}

// read feeds datagrams to found until ctx ends or too much was read.
func read(ctx context.Context, conn net.PacketConn, found *collector) error {
	release := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 9000) // the largest message, RFC 6762, section 17
	for bytes := 0; bytes < mostBytes; {
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
			return fmt.Errorf("read mDNS: %w", err)
		}
		bytes += n
		if u, ok := from.(*net.UDPAddr); ok {
			found.add(buf[:n], u.AddrPort().Addr().Unmap(), time.Now())
		}
	}
	return fmt.Errorf("more than %d MiB of answers", mostBytes>>20)
}
