package reach

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
	"time"

	"github.com/miekg/dns"
)

// NamesOptions say how to ask for names.
type NamesOptions struct {
	// Server is the DNS server, usually the gateway. It must be set: asking
	// the system's own would send the site's addresses who knows where.
	Server netip.AddrPort

	Rate    int           // queries a second; zero means 20
	Timeout time.Duration // for each query; zero means 2 s
}

// A NamesResult has the names that the server told. The caller owns it.
type NamesResult struct {
	// Names has up to 8 names for an address, in order and without the final
	// dot. Addresses without a name are missing.
	Names map[netip.Addr][]string

	Asked  int // queries sent
	Failed int // queries without a valid answer

	// End is complete, no-answer, refused (the server will not), partial
	// (some queries failed, or stopped) or skipped (no server).
	End string
	Why string // says more, unless End is complete
}

const (
	mostNames = 8
	mostMute  = 3 // queries in a row without answer, after which it is no use
)

// Names asks a DNS server for the names of addrs, by PTR (RFC 1035, section
// 3.5; RFC 3596 for IPv6). It gives up on a server that stays silent. It
// returns within a second after ctx ended.
func Names(ctx context.Context, addrs []netip.Addr, opts NamesOptions) NamesResult {
	r := NamesResult{Names: make(map[netip.Addr][]string)}
	if !opts.Server.IsValid() {
		r.End, r.Why = "skipped", "no DNS server to ask"
		return r
	}
	pace := newPace(cmp.Or(opts.Rate, defaultRate))
	mute, refused := 0, 0
	for _, a := range addrs {
		if mute >= mostMute {
			break
		}
		if err := pause(ctx, pace.Reserve().Delay()); err != nil {
			r.End, r.Why = "partial", err.Error()
			return r
		}
		names, rcode, err := ask(ctx, a, opts.Server, cmp.Or(opts.Timeout, defaultTimeout))
		r.Asked++
		mute++
		switch {
		case ctx.Err() != nil:
			r.End, r.Why = "partial", context.Cause(ctx).Error()
			return r
		case err != nil:
			r.Failed++
			r.Why = err.Error()
			continue
		case rcode == dns.RcodeRefused, rcode == dns.RcodeNotImplemented:
			refused++
			r.Failed++
			r.Why = "the server refuses"
		case rcode != dns.RcodeSuccess && rcode != dns.RcodeNameError:
			r.Failed++
			r.Why = "the server fails: " + dns.RcodeToString[rcode]
		case len(names) > 0:
			r.Names[a] = names
		}
		mute = 0
	}
	switch {
	case r.Failed == 0:
		r.End = "complete"
	case refused == r.Asked:
		r.End = "refused"
	case mute == r.Asked:
		r.End = "no-answer"
	default:
		r.End = "partial"
	}
	return r
}

// ask sends one query by UDP and returns the names and the response code.
func ask(ctx context.Context, a netip.Addr, server netip.AddrPort, timeout time.Duration) ([]string, int, error) {
	reverse, err := dns.ReverseAddr(a.WithZone("").String())
	if err != nil {
		return nil, 0, fmt.Errorf("name of %s: %w", a, err)
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "udp", server.String())
	if err != nil {
		return nil, 0, fmt.Errorf("name of %s: %w", a, err)
	}
	defer conn.Close()
	// Closed, since the client would set a deadline anew.
	release := context.AfterFunc(ctx, func() { conn.Close() })
	defer release()
	query := new(dns.Msg).SetQuestion(reverse, dns.TypePTR)
	client := dns.Client{Timeout: timeout}
	answer, _, err := client.ExchangeWithConn(query, &dns.Conn{Conn: conn})
	if err != nil {
		return nil, 0, fmt.Errorf("name of %s: %w", a, err)
	}
	return ptrNames(answer, reverse), answer.Rcode, nil
}

// ptrNames returns the names that an answer has for the question. An alias in
// between (RFC 2317) is followed.
func ptrNames(m *dns.Msg, question string) []string {
	var out []string
	for _, rr := range m.Answer {
		switch rr := rr.(type) {
		case *dns.CNAME:
			if strings.EqualFold(rr.Hdr.Name, question) {
				question = rr.Target
			}
		case *dns.PTR:
			name := strings.TrimSuffix(rr.Ptr, ".")
			if strings.EqualFold(rr.Hdr.Name, question) && name != "" && len(out) < mostNames && !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	slices.Sort(out)
	return out
}
