package login

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"io"
	"net"
	"net/netip"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

const (
	mostBody = 1 << 20      // bytes read of one answer's body; the rest is left
	mostRead = 2 * mostBody // bytes read of one connection: more is an error
)

// attempt is one allowed check while it runs. Not safe for concurrent use.
type attempt struct {
	account Account
	target  netip.AddrPort
	dial    func(ctx context.Context, network, address string) (net.Conn, error)
	snmp    func(context.Context, SNMPTry) (Outcome, error)
	result  *Result
	tls     tlsSeen
}

// tlsSeen is what the latest handshake showed. net/http shakes hands in a
// goroutine of its own, which may outlast the request.
type tlsSeen struct {
	mu             sync.Mutex
	version, print string
}

// verdict is what one login, or the look before it, came to. Its zero value is
// a look after which the login may follow.
type verdict struct {
	outcome Outcome
	reason  string
	lock    string
	open    bool // what lies behind the login was given without one
	read    bool // the device answered the login, and the answer was read
	weak    bool // accepted, yet only a contrast proves it
}

func cannotTell(reason string) verdict { return verdict{outcome: CannotTell, reason: reason} }
func notChecked(reason string) verdict { return verdict{outcome: NotChecked, reason: reason} }
func locked(sign string) verdict {
	return verdict{outcome: Locked, reason: "stopped: " + sign, lock: sign, read: true}
}

// run checks the account and fills the result.
func (a *attempt) run(ctx context.Context) {
	v := a.once(ctx, a.account.User, a.account.Password)
	if v.outcome == Accepted && a.account.Contrast {
		v = a.contrast(ctx, v)
	}
	if v.weak {
		v.outcome, v.reason = CannotTell, "the answer looks like a success, but no second try is allowed to prove it"
	}
	a.result.Outcome, a.result.Reason, a.result.Lock = v.outcome, v.reason, v.lock
	a.result.Unguarded = v.open
	a.tls.mu.Lock()
	defer a.tls.mu.Unlock()
	if a.tls.version != "" {
		a.result.TLS, a.result.Fingerprint = a.tls.version, a.tls.print
	}
}

// contrast sends a login that is surely wrong, after the first was taken: in
// this order a device never counts more than one failure. The name is made up
// too, so that it is not the account that counts it.
func (a *attempt) contrast(ctx context.Context, first verdict) verdict {
	second := a.once(ctx, rand.Text(), NewSecret(rand.Text()))
	switch {
	case second.outcome == Accepted:
		v := cannotTell("a surely wrong login is taken too")
		v.open = !first.weak
		return v
	case second.lock != "":
		first.lock, first.weak = second.lock, false
	case second.read:
		first.weak = false
	case first.weak:
		return cannotTell("the answer looks like a success, and the second try did not get an answer to compare with")
	}
	return first
}

// once looks at what the device says without a login, and sends one where that is of use.
func (a *attempt) once(ctx context.Context, user string, password Secret) verdict {
	switch a.account.Over {
	case OverForm:
		return a.form(ctx, user, password)
	case OverSSH:
		return a.ssh(ctx, user, password)
	case OverRTSP:
		return a.rtsp(ctx, user, password)
	case OverONVIF:
		return a.onvif(ctx, user, password)
	case OverSNMP:
		return a.community(ctx, user, password)
	}
	return a.http(ctx, user, password)
}

// connect opens a connection that ends with ctx, and after mostRead bytes.
func (a *attempt) connect(ctx context.Context, to netip.AddrPort) (*conn, error) {
	c, err := a.dial(ctx, "tcp", to.String())
	if err != nil {
		return nil, err
	}
	w := &conn{Conn: c, left: mostRead}
	w.stop = context.AfterFunc(ctx, func() { c.SetDeadline(time.Unix(1, 0)) })
	return w, nil
}

// conn is a connection with an end: by context and by bytes.
type conn struct {
	net.Conn
	left int                   // of one reader at a time
	lost atomic.Pointer[error] // what ended reading; nil: nothing yet
	stop func() bool
}

var errTooMuch = errors.New("more than 2 MiB sent")

func (c *conn) Read(b []byte) (int, error) {
	n, err := 0, errTooMuch
	if c.left > 0 {
		n, err = c.Conn.Read(b[:min(len(b), c.left)])
		c.left -= n
	}
	if err != nil {
		c.lost.CompareAndSwap(nil, &err)
	}
	return n, err
}

func (c *conn) Close() error {
	c.stop()
	return c.Conn.Close()
}

// secure shakes hands on c, and closes it where that fails.
func (a *attempt) secure(ctx context.Context, c net.Conn) (*tls.Conn, error) {
	t := tls.Client(c, a.tlsConfig())
	if err := t.HandshakeContext(ctx); err != nil {
		c.Close()
		return nil, err
	}
	return t, nil
}

// tlsConfig takes any certificate: the password is public knowledge, and the
// fingerprint is kept so that a changed one is seen. Old versions and ciphers
// are taken as well, since old devices are the ones with factory accounts.
func (a *attempt) tlsConfig() *tls.Config {
	var suites []uint16
	for _, s := range slices.Concat(tls.CipherSuites(), tls.InsecureCipherSuites()) {
		suites = append(suites, s.ID)
	}
	return &tls.Config{
		InsecureSkipVerify: true,
		MinVersion:         tls.VersionTLS10,
		CipherSuites:       suites,
		VerifyConnection: func(s tls.ConnectionState) error {
			a.tls.mu.Lock()
			defer a.tls.mu.Unlock()
			a.tls.version = tls.VersionName(s.Version)
			if len(s.PeerCertificates) > 0 {
				sum := sha256.Sum256(s.PeerCertificates[0].Raw)
				a.tls.print = hex.EncodeToString(sum[:])
			}
			return nil
		},
	}
}

// trouble puts a network error into words of ours, and says whether it is a
// sign of a lock when it comes in answer to a login. The error's own text may
// hold what a device sent, and so the password.
func trouble(err error) (words string, sign bool) {
	_, badRecord := errors.AsType[tls.RecordHeaderError](err)
	_, alert := errors.AsType[tls.AlertError](err)
	netErr, isNet := errors.AsType[net.Error](err)
	switch {
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, os.ErrDeadlineExceeded), isNet && netErr.Timeout():
		return "no answer in time", false
	case errors.Is(err, context.Canceled):
		return "stopped", false
	case errors.Is(err, syscall.ECONNREFUSED):
		return "connection refused", false
	case errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return "connection reset", true
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return "no way to its address", false
	case errors.Is(err, errTooMuch):
		return errTooMuch.Error(), false
	case errors.Is(err, errElsewhere):
		return errElsewhere.Error(), false
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "connection closed half way", false
	case errors.Is(err, io.EOF):
		return "connection closed without an answer", true
	case badRecord, alert:
		return "no TLS that both could agree on", false
	}
	return "an answer that could not be read", false
}

// unanswered is the verdict on a network error. Before a login has left, it
// only means that nothing was checked.
func (a *attempt) unanswered(err error, sent bool) verdict {
	words, sign := trouble(err)
	switch {
	case !sent:
		return notChecked(words)
	case sign:
		return locked(words + ", in answer to the login")
	}
	return cannotTell(words + ", in answer to the login")
}
