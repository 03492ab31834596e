package reach

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
	"golang.org/x/sync/errgroup"
	"golang.org/x/time/rate"
)

// An Echo is what came back of the pings to one address.
type Echo struct {
	Addr           netip.Addr
	Sent, Received int

	// Least, Mean and Most are round trip times; zero if nothing came back.
	Least, Mean, Most time.Duration
}

// Loss is the share of pings that did not come back, from 0 to 1. It is zero
// where none was sent.
func (e Echo) Loss() float64 {
	if e.Sent == 0 {
		return 0
	}
	return 1 - float64(e.Received)/float64(e.Sent)
}

// PingOptions say how to ping. The zero value works.
type PingOptions struct {
	Count int           // for each address; zero means 3
	Gap   time.Duration // between two for one address; zero means 1 s
	Wait  time.Duration // after the last one; zero means 2 s
	Rate  int           // packets a second in all; zero means 20
}

// A PingResult has an Echo for each address asked for, in the same order.
type PingResult struct {
	Echoes []Echo

	// End is complete, no-answer (from anyone), partial (stopped, or an
	// address could not be sent to) or refused (no right to send pings).
	End string
	Why string // says more, unless End is complete
}

// Ping sends ICMP echo requests (RFC 792, RFC 4443) to addrs. It uses the
// unprivileged kind of socket where the system allows it, else a raw one. It
// returns within a second after ctx ended.
func Ping(ctx context.Context, addrs []netip.Addr, opts PingOptions) PingResult {
	p := pinger{
		echoes: make([]Echo, len(addrs)),
		sum:    make([]time.Duration, len(addrs)),
		sent:   make(map[token]flight),
		pace:   newPace(cmp.Or(opts.Rate, defaultRate)),
	}
	for i, a := range addrs {
		p.echoes[i].Addr = a.Unmap()
	}
	rand.Read(p.secret[:]) //nolint:errcheck // never fails
	err := p.run(ctx, opts)
	r := PingResult{Echoes: p.echoes, End: "complete"}
	switch {
	case errors.Is(err, os.ErrPermission):
		r.End, r.Why = "refused", err.Error()
	case err != nil:
		r.End, r.Why = "partial", err.Error()
	case len(addrs) > 0 && !slices.ContainsFunc(p.echoes, func(e Echo) bool { return e.Received > 0 }):
		r.End, r.Why = "no-answer", "no ping came back"
	case p.failed != nil:
		r.End, r.Why = "partial", p.failed.Error()
	}
	return r
}

// token is the payload of a ping, by which its answer is known: it is secret
// and tells address and turn, so that no stranger's packet counts.
type token [16]byte

type flight struct {
	index int
	at    time.Time
}

type pinger struct {
	secret [8]byte
	pace   *rate.Limiter

	mu     sync.Mutex
	echoes []Echo
	sum    []time.Duration
	sent   map[token]flight
	failed error // the last address that could not be sent to
}

// family is a socket for IPv4 or IPv6.
type family struct {
	conn    *icmp.PacketConn
	raw     bool
	proto   int
	request icmp.Type
	reply   icmp.Type
}

func (p *pinger) run(ctx context.Context, opts PingOptions) error {
	var families []family
	defer func() {
		for _, f := range families {
			f.conn.Close()
		}
	}()
	of := make(map[bool]family) // by Is4
	for _, e := range p.echoes {
		if _, have := of[e.Addr.Is4()]; have {
			continue
		}
		f, err := listen(e.Addr.Is4())
		if err != nil {
			return fmt.Errorf("ping %s: %w", e.Addr, err)
		}
		of[e.Addr.Is4()] = f
		families = append(families, f)
	}
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	for _, f := range families {
		g.Go(func() error { return p.read(reading, f) })
	}
	g.Go(func() error {
		defer stop()
		return p.sendAll(gctx, of, opts)
	})
	return g.Wait()
}

func (p *pinger) sendAll(ctx context.Context, of map[bool]family, opts PingOptions) error {
	for turn := range cmp.Or(opts.Count, 3) {
		if turn > 0 {
			if err := pause(ctx, cmp.Or(opts.Gap, time.Second)); err != nil {
				return err
			}
		}
		for i := range p.echoes {
			if err := pause(ctx, p.pace.Reserve().Delay()); err != nil {
				return err
			}
			if err := p.send(of[p.echoes[i].Addr.Is4()], i, turn); err != nil {
				p.failed = err
			}
		}
	}
	return pause(ctx, cmp.Or(opts.Wait, defaultTimeout))
}

func (p *pinger) send(f family, index, turn int) error {
	var t token
	copy(t[:], p.secret[:])
	binary.BigEndian.PutUint32(t[8:], uint32(index))
	binary.BigEndian.PutUint32(t[12:], uint32(turn))
	to := p.echoes[index].Addr
	b, err := (&icmp.Message{Type: f.request, Body: &icmp.Echo{ID: int(binary.BigEndian.Uint16(p.secret[:])), Seq: turn & 0xffff, Data: t[:]}}).Marshal(nil)
	if err != nil {
		return err
	}
	var dst net.Addr = &net.UDPAddr{IP: to.AsSlice(), Zone: to.Zone()}
	if f.raw {
		dst = &net.IPAddr{IP: to.AsSlice(), Zone: to.Zone()}
	}
	p.mu.Lock()
	p.echoes[index].Sent++
	p.sent[t] = flight{index: index, at: time.Now()}
	p.mu.Unlock()
	if err := f.conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	if _, err := f.conn.WriteTo(b, dst); err != nil {
		return fmt.Errorf("ping %s: %w", to, err)
	}
	return nil
}

// read takes answers until ctx ends.
func (p *pinger) read(ctx context.Context, f family) error {
	release := context.AfterFunc(ctx, func() { f.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 1500)
	for {
		if err := f.conn.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if ctx.Err() != nil { // after the deadline is set, so that none is missed
			return nil
		}
		n, from, err := f.conn.ReadFrom(buf)
		if ne, ok := errors.AsType[net.Error](err); ok && ne.Timeout() {
			continue
		}
		if err != nil {
			return fmt.Errorf("read pings: %w", err)
		}
		if t, ok := parseReply(buf[:n], f.proto, f.reply); ok {
			p.take(t, source(from), time.Now())
		}
	}
}

// take counts an answer, once, and only from the address that was asked.
func (p *pinger) take(t token, from netip.Addr, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	f, ok := p.sent[t]
	if !ok || p.echoes[f.index].Addr.WithZone("") != from {
		return
	}
	delete(p.sent, t)
	e, took := &p.echoes[f.index], max(now.Sub(f.at), 0)
	if e.Received == 0 || took < e.Least {
		e.Least = took
	}
	e.Most = max(e.Most, took)
	e.Received++
	p.sum[f.index] += took
	e.Mean = p.sum[f.index] / time.Duration(e.Received)
}

// parseReply decodes an ICMP message and returns its token, if it is an echo
// reply that can be ours.
func parseReply(b []byte, proto int, reply icmp.Type) (token, bool) {
	m, err := icmp.ParseMessage(proto, b)
	if err != nil || m.Type != reply {
		return token{}, false
	}
	echo, ok := m.Body.(*icmp.Echo)
	if !ok || len(echo.Data) != len(token{}) {
		return token{}, false
	}
	return token(echo.Data), true
}

func source(a net.Addr) netip.Addr {
	var ip net.IP
	switch a := a.(type) {
	case *net.UDPAddr:
		ip = a.IP
	case *net.IPAddr:
		ip = a.IP
	}
	addr, _ := netip.AddrFromSlice(ip)
	return addr.Unmap()
}

// listen opens the unprivileged kind of socket, which the system may keep from
// us (ping_group_range), else a raw one.
func listen(is4 bool) (family, error) {
	f := family{proto: 1, request: ipv4.ICMPTypeEcho, reply: ipv4.ICMPTypeEchoReply}
	datagram, raw, local := "udp4", "ip4:icmp", "0.0.0.0"
	if !is4 {
		f = family{proto: 58, request: ipv6.ICMPTypeEchoRequest, reply: ipv6.ICMPTypeEchoReply}
		datagram, raw, local = "udp6", "ip6:ipv6-icmp", "::"
	}
	conn, err := icmp.ListenPacket(datagram, local)
	if err != nil {
		f.raw = true
		if conn, err = icmp.ListenPacket(raw, local); err != nil {
			return family{}, err
		}
	}
	f.conn = conn
	return f, nil
}
