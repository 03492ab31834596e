package mail

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"net/textproto"
	"os"
	"slices"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/log"
	"github.com/wneessen/go-mail/smtp"
)

// Receipt says that the other side has taken the message.
type Receipt struct {
	Server      string // who took it
	ServerWords string // what it said, such as "250 2.0.0 Ok: queued as 4F1A"
}

// SendError says why a message was not taken, or why nobody knows whether it
// was. The spool tries again either way; Permanent says whether that can help
// as long as nobody changes anything.
type SendError struct {
	Server    string
	Step      string // the command that failed, such as RCPT
	Code      int    // of the server's refusal; 0 where it did not refuse
	Words     string // what the server said last, on one line; "" if nothing
	Permanent bool   // a refusal for good, or a message that cannot be built
	Err       error
}

// Error names the server, the step, the cause and the server's own words.
func (e *SendError) Error() string {
	text := fmt.Sprintf("mail: %s: %s: ", e.Server, e.Step)
	switch {
	case e.Code != 0:
		return text + "the server said: " + e.Words
	case e.Words != "":
		return text + line(e.Err.Error(), 500) + "; the server last said: " + e.Words
	}
	return text + line(e.Err.Error(), 500)
}

// Unwrap is the cause.
func (e *SendError) Unwrap() error { return e.Err }

// Send builds msg and hands it to the server, for all receivers or for none. A
// From of "" is the account. A nil error means that the server took the
// message, even if the connection died right after; any error is a *SendError.
// It ends when ctx does, however silent the server is.
//
// One bad address holds up the other receivers of the same message. Where that
// matters, send a message to each.
func Send(ctx context.Context, cfg Config, msg Message) (Receipt, error) {
	msg.From = cmp.Or(msg.From, cfg.User)
	raw, err := Build(msg)
	if err != nil {
		return Receipt{}, &SendError{Server: cfg.Server, Step: "build", Permanent: true, Err: err}
	}
	return SendRaw(ctx, cfg, msg.From, msg.To, raw)
}

// SendRaw is [Send] for the bytes of a message that [Build] made before.
func SendRaw(ctx context.Context, cfg Config, from string, to []string, raw []byte) (Receipt, error) {
	host, port, err := cfg.target()
	if err != nil {
		return Receipt{}, &SendError{Server: cfg.Server, Step: "settings", Permanent: true, Err: err}
	}
	server := fmt.Sprintf("%s:%d", host, port)
	sender, receivers, err := addresses(from, to)
	if err != nil {
		return Receipt{}, &SendError{Server: server, Step: "addresses", Permanent: true, Err: err}
	}
	cfg.Timeout = cmp.Or(cfg.Timeout, 30*time.Second)
	c := &conversation{step: "connect"}
	words, err := c.deliver(ctx, cfg, host, port, sender, receivers, raw)
	if err != nil {
		return Receipt{}, c.failure(ctx, cfg, server, err)
	}
	return Receipt{Server: server, ServerWords: words}, nil
}

// conversation is what goes on between us and the server.
type conversation struct {
	step      string
	words     string // the server's last reply
	encrypted bool   // STARTTLS was asked for
}

func (c *conversation) deliver(ctx context.Context, cfg Config, host string, port int,
	sender *netmail.Address, receivers []*netmail.Address, raw []byte,
) (string, error) {
	dialer := net.Dialer{Timeout: cfg.Timeout}
	dialed, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(host, fmt.Sprint(port)))
	if err != nil {
		return "", err
	}
	defer dialed.Close() // the library leaves it open after some errors
	// The library sets deadlines again and again and does not look at ctx, so
	// only closing surely ends a silence.
	stop := context.AfterFunc(ctx, func() { dialed.Close() })
	defer stop()

	c.step = "greeting"
	var conn net.Conn = &boundedConn{Conn: dialed, left: 1 << 20}
	if cfg.Security == TLS {
		conn = tls.Client(conn, tlsConfig(cfg, host))
	}
	client, err := gomail.NewClient(host, c.options(cfg, host, port, conn)...)
	if err != nil {
		return "", err
	}
	session, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return "", err
	}
	return c.hand(session, cfg.Timeout, sender, receivers, raw)
}

func tlsConfig(cfg Config, host string) *tls.Config {
	return &tls.Config{ServerName: host, RootCAs: cfg.RootCAs, MinVersion: tls.VersionTLS12}
}

// options set the library up to greet, encrypt and log in on conn.
func (c *conversation) options(cfg Config, host string, port int, conn net.Conn) []gomail.Option {
	policy := gomail.TLSMandatory
	if cfg.Security == Plain {
		policy = gomail.NoTLS
	}
	options := []gomail.Option{
		gomail.WithPort(port),
		gomail.WithTimeout(cfg.Timeout),
		gomail.WithHELO(cmp.Or(cfg.Hello, hostname())),
		gomail.WithTLSPolicy(policy),
		gomail.WithTLSConfig(tlsConfig(cfg, host)),
		gomail.WithDialContextFunc(func(context.Context, string, string) (net.Conn, error) { return conn, nil }),
		gomail.WithDebugLog(),
		gomail.WithLogger(c),
	}
	if cfg.Security == TLS {
		options = append(options, gomail.WithSSL())
	}
	if cfg.User != "" {
		logins := []gomail.SMTPAuthType{gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthCramMD5}
		if cfg.Security != Plain {
			logins = append(logins, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin)
		}
		options = append(options, gomail.WithUsername(cfg.User), gomail.WithPassword(string(cfg.Password)),
			gomail.WithOpportunisticSMTPAuth(logins...))
	}
	return options
}

// hand gives the message over. The library's own Send would make other bytes at
// each try and keeps the server's words to itself.
func (c *conversation) hand(session *smtp.Client, timeout time.Duration,
	sender *netmail.Address, receivers []*netmail.Address, raw []byte,
) (string, error) {
	// All of it is ASCII (see address and Build). To ask for SMTPUTF8 all the same
	// would have the next relay that lacks it send the mail back (RFC 6531, section 3.2).
	session.SkipSMTPUTF8(true)
	steps := []func() error{func() error { return session.Mail(path(sender)) }}
	for _, to := range receivers {
		steps = append(steps, func() error { return session.Rcpt(path(to)) })
	}
	for _, step := range steps {
		if err := errors.Join(session.UpdateDeadline(timeout), step()); err != nil {
			return "", err
		}
	}
	if err := session.UpdateDeadline(timeout); err != nil {
		return "", err
	}
	body, err := session.Data()
	if err != nil {
		return "", err
	}
	if _, err := body.Write(raw); err != nil {
		return "", err
	}
	c.step = "end of DATA"
	if err := session.UpdateDeadline(max(timeout, 10*time.Minute)); err != nil {
		return "", err
	}
	if err := body.Close(); err != nil {
		return "", err
	}
	// The server has the message: whatever happens now, it is sent.
	words := "250"
	if closed, ok := body.(*smtp.DataCloser); ok {
		words = line("250 "+closed.ServerResponse(), 500)
	}
	if session.UpdateDeadline(min(timeout, 5*time.Second)) == nil {
		_ = session.Quit()
	}
	return words, nil
}

// path is an address as MAIL and RCPT want it, in angle brackets.
func path(addr *netmail.Address) string { return (&netmail.Address{Address: addr.Address}).String() }

// failure puts together what is known about err.
func (c *conversation) failure(ctx context.Context, cfg Config, server string, err error) *SendError {
	failed := &SendError{Server: server, Step: c.step, Words: c.words, Err: err}
	if refusal, ok := errors.AsType[*textproto.Error](err); ok {
		failed.Code = refusal.Code
		failed.Words = line(fmt.Sprintf("%d %s", refusal.Code, refusal.Msg), 500)
		failed.Permanent = refusal.Code >= 500
		return failed
	}
	switch {
	case ctx.Err() != nil: // the cause, and not "use of closed connection"
		failed.Err = fmt.Errorf("given up: %w", context.Cause(ctx))
	case errors.Is(err, os.ErrDeadlineExceeded):
		failed.Err = fmt.Errorf("no reply in time: %w", err)
	default:
		c.explain(failed, cfg)
	}
	return failed
}

// explain gives our words to what the library says in its own: the server does
// not offer what the settings want, or shows a certificate that nobody vouches for.
func (c *conversation) explain(failed *SendError, cfg Config) {
	if _, ok := errors.AsType[*tls.CertificateVerificationError](failed.Err); ok {
		failed.Step = "TLS"
		failed.Err = fmt.Errorf("the server's certificate is not trusted (let it be issued for the name in the plan by an authority that this machine trusts): %w", failed.Err)
		return
	}
	if c.step != "EHLO" || !strings.HasPrefix(c.words, "250") {
		return // not at what the server offers
	}
	open := cfg.Security != Plain && cfg.Security != TLS && !c.encrypted
	why := ""
	switch offered := strings.Fields(strings.ToUpper(c.words)); {
	case open && !slices.Contains(offered, "STARTTLS"):
		why = "the server offers no STARTTLS, and without it nothing is sent (another port, or security: tls, may do)"
	case cfg.User != "" && cfg.Security == Plain:
		why = "the server offers no login that hides the password on an open connection (security: starttls or tls may do)"
	case cfg.User != "" && !slices.Contains(offered, "AUTH"):
		why = "the server offers no login (another port may do, or no user in the plan)"
	default:
		return
	}
	failed.Err = fmt.Errorf("%s: %w", why, failed.Err)
}

// Debugf takes what the library would log of the conversation; it blanks the
// login. Only the step and the server's words are kept.
func (c *conversation) Debugf(l log.Log) {
	said := fmt.Sprintf(l.Format, l.Messages...)
	if l.Direction == log.DirServerToClient {
		c.words = line(said, 500)
		return
	}
	c.step, _, _ = strings.Cut(said, " ")
	if strings.HasPrefix(said, "<") {
		c.step = "AUTH"
	}
	c.encrypted = c.encrypted || c.step == "STARTTLS"
}

// Infof, Warnf and Errorf complete the library's log.Logger; it does not call
// them.
func (*conversation) Infof(log.Log)  {}
func (*conversation) Warnf(log.Log)  {}
func (*conversation) Errorf(log.Log) {}

// boundedConn ends a server that talks without end: the library reads lines of
// any length.
type boundedConn struct {
	net.Conn
	left int // bytes that may still come in
}

func (c *boundedConn) Read(p []byte) (int, error) {
	if c.left <= 0 {
		return 0, errors.New("the server said more than it may")
	}
	n, err := c.Conn.Read(p[:min(len(p), c.left)])
	c.left -= n
	return n, err
}
