package snmp

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"net/netip"
	"os"
	"syscall"
	"time"

	"github.com/gosnmp/gosnmp"
)

// A session is one socket to one device, with one request under way at most.
type session struct {
	conn        *net.UDPConn
	target      netip.AddrPort
	unconnected bool
	wire        wire
	device      *device
	buf         []byte
}

func openSession(target netip.AddrPort, unconnected bool, d *device) (*session, error) {
	network := "udp6" // the address family of the target, so that sources compare with it
	if target.Addr().Is4() {
		network = "udp4"
	}
	s := &session{target: target, unconnected: unconnected, device: d, buf: make([]byte, math.MaxUint16)}
	var err error
	if unconnected {
		s.conn, err = net.ListenUDP(network, nil)
	} else {
		s.conn, err = net.DialUDP(network, nil, net.UDPAddrFromAddrPort(target))
	}
	return s, err
}

// ask sends q up to tries times and gives the first answer to any of them.
func (s *session) ask(ctx context.Context, w wire, q request, tries int, timeout time.Duration) (*gosnmp.SnmpPacket, error) {
	// A socket does not know contexts: a cancelled one moves the deadline.
	stop := context.AfterFunc(ctx, func() { _ = s.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	var ids []uint32
	resynced := false
	for {
		id := 1 + rand.Uint32N(math.MaxInt32) // RFC 3412, 6.2: 31 bits; 0 is what a broken agent answers
		ids = append(ids, id)
		b, err := w.encode(q, id)
		if err != nil {
			return nil, err
		}
		s.device.count(func(st *Stats) {
			st.Requests++
			if len(ids) > 1 {
				st.Retries++
			}
		})
		p, err := s.exchange(ctx, w, b, ids, time.Now().Add(timeout))
		switch {
		case errors.Is(err, ErrClock) && !resynced: // decode took over the clock in the report
			resynced = true
		case errors.Is(err, ErrNoResponse) || errors.Is(err, syscall.ECONNREFUSED):
			if len(ids) >= tries {
				return nil, err
			}
		default:
			return p, err
		}
	}
}

// exchange sends b and waits for an answer until the deadline. What it cannot
// use it counts and drops; that costs no retry.
func (s *session) exchange(ctx context.Context, w wire, b []byte, ids []uint32, deadline time.Time) (*gosnmp.SnmpPacket, error) {
	if err := s.arm(ctx, deadline); err != nil {
		return nil, err
	}
	if err := s.send(b); err != nil {
		return nil, socketError(err)
	}
	for {
		n, from, err := s.conn.ReadFromUDPAddrPort(s.buf)
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			// The deadline may be one that a context of an earlier call left.
			if armErr := s.arm(ctx, deadline); armErr != nil {
				return nil, armErr
			}
			if time.Now().Before(deadline) {
				continue
			}
			return nil, ErrNoResponse
		case err != nil:
			return nil, socketError(err)
		}
		p, err := w.decode(s.buf[:n], ids)
		if errors.Is(err, errStray) || errors.Is(err, errGarbled) {
			s.device.count(func(st *Stats) { st.BadDatagrams++ })
		}
		if errors.Is(err, errStray) {
			continue
		}
		if from.Addr().Unmap() != s.target.Addr() && s.unconnected {
			s.device.count(func(st *Stats) { st.AnsweredFrom = from.Addr().Unmap() })
		}
		return p, err
	}
}

// arm sets the read deadline, then looks at ctx: in this order a cancellation
// is seen here or wakes the read.
func (s *session) arm(ctx context.Context, deadline time.Time) error {
	if err := s.conn.SetReadDeadline(deadline); err != nil {
		return err
	}
	return ctx.Err()
}

func (s *session) send(b []byte) error {
	if s.unconnected {
		_, err := s.conn.WriteToUDPAddrPort(b, s.target)
		return err
	}
	_, err := s.conn.Write(b)
	return err
}

// socketError sorts what the kernel says. Port unreachable means that the host
// is up; host unreachable and the like are silence with a reason.
func socketError(err error) error {
	switch {
	case errors.Is(err, net.ErrClosed):
		return err
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("%w: no agent on this port: %w", ErrRefused, err)
	}
	return fmt.Errorf("%w: %w", ErrNoResponse, err)
}

// discover asks for the engine (RFC 3414, section 4).
func (s *session) discover(ctx context.Context, tries int) (Engine, error) {
	p, err := s.ask(ctx, discovery{}, request{}, tries, s.device.opts.firstTimeout())
	if err != nil {
		return Engine{}, err
	}
	return engineOf(p), nil
}

// sysUpTime.0 (RFC 3418) is small, and any answer will do.
var pingOID = MustOID("1.3.6.1.2.1.1.3.0")

// ping asks for one value with wire w, which may be answered by an error status.
func (s *session) ping(ctx context.Context, w wire, tries int, timeout time.Duration) (*gosnmp.SnmpPacket, error) {
	return s.ask(ctx, w, request{pdu: gosnmp.GetRequest, oids: []OID{pingOID}}, tries, timeout)
}

// login proves credentials by one answer, and names what is wrong with them.
func (s *session) login(ctx context.Context, cred Credentials, tries int) error {
	opts := s.device.opts
	if cred.Version != "3" {
		s.wire = newCommunity(cred)
		return refusal(s.ping(ctx, s.wire, tries, opts.firstTimeout()))
	}
	engine, err := s.discover(ctx, tries)
	if err != nil {
		return err
	}
	w, err := newUSM(cred, engine)
	if err != nil {
		return err
	}
	s.wire = w
	p, err := s.ping(ctx, w, tries, opts.timeout())
	if !errors.Is(err, ErrNoResponse) {
		return refusal(p, err)
	}
	if w.level() == gosnmp.AuthPriv && s.knowsPassword(ctx, cred, engine) {
		return fmt.Errorf("%w: silent with privacy, answers without", ErrWrongPrivacy)
	}
	return fmt.Errorf("the engine answers, this user gets none: %w", err)
}

// knowsPassword asks once without privacy. Any authentic answer proves the
// password, also one that refuses the lower level.
func (s *session) knowsPassword(ctx context.Context, cred Credentials, engine Engine) bool {
	cred.Privacy, cred.PrivacySecret = "", ""
	w, err := newUSM(cred, engine)
	if err != nil {
		return false
	}
	_, err = s.ping(ctx, w, 1, s.device.opts.timeout())
	return err == nil
}

// refusal makes an error of a status that denies access.
func refusal(p *gosnmp.SnmpPacket, err error) error {
	if err == nil && (p.Error == gosnmp.AuthorizationError || p.Error == gosnmp.NoAccess) {
		return fmt.Errorf("%w: the agent says %v", ErrRefused, p.Error)
	}
	return err
}
