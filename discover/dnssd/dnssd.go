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
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"boundwalk/discover/multicast"

	"github.com/miekg/dns"
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
	largest       = 9000 // octets of a message, RFC 6762, section 17
	timeToLive    = 255  // RFC 6762, section 11
	mostQuestions = 8    // in one query, so that it fits any frame
	mostAsked     = 256  // questions of one round
)

// commonTypes are worth asking a small site for. Common practice.
var commonTypes = []string{"_http._tcp", "_https._tcp", "_rtsp._tcp", "_ssh._tcp", "_printer._tcp", "_ipp._tcp"}

var group = netip.MustParseAddrPort("224.0.0.251:5353")

// Browse asks once on the interface named iface. It returns within a second
// after ctx ended.
func Browse(ctx context.Context, iface string, opts Options) Result {
	conn, within, err := multicast.Open(ctx, iface, timeToLive)
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
	g.Go(func() error {
		return multicast.Read(reading, conn, largest, func(m []byte, from netip.Addr) { b.found.add(m, from, time.Now()) })
	})
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
		if err := multicast.Pause(ctx, b.pace.Reserve().Delay()); err != nil {
			return err
		}
		packed, err := (&dns.Msg{MsgHdr: dns.MsgHdr{Id: dns.Id()}, Question: some}).Pack()
		if err != nil {
			return fmt.Errorf("ask by mDNS: %w", err)
		}
		if err := multicast.Send(b.conn, packed, group); err != nil {
			return err
		}
		b.sent++
		for _, q := range some {
			asked[q] = true
		}
	}
	return multicast.Pause(ctx, cmp.Or(b.opts.Window, defaultWindow))
}
