package mail_test

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"boundwalk/cmd/internal/mail"
)

// certificate makes one for 127.0.0.1 and a pool that trusts it.
func certificate(t testing.TB) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

// delivered is a mail that a test server took.
type delivered struct {
	hello, user, from string
	to                []string
	tls, utf8         bool // utf8: SMTPUTF8 was asked for
	data              []byte
}

// mailbox is the backend of a real SMTP server.
type mailbox struct {
	mu    sync.Mutex
	mails []delivered
	// refuse is asked at each message; nil takes all.
	refuse func(n int) error
	asked  int
}

func (b *mailbox) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, encrypted := c.TLSConnectionState()
	return &session{box: b, mail: delivered{hello: c.Hostname(), tls: encrypted}}, nil
}

func (b *mailbox) taken() []delivered {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]delivered(nil), b.mails...)
}

type session struct {
	box  *mailbox
	mail delivered
}

func (s *session) AuthMechanisms() []string { return []string{sasl.Plain} }
func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "watch@ternquay.example" || password != "tide table" {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "Who are you?"}
		}
		s.mail.user = user
		return nil
	}), nil
}

func (s *session) Mail(from string, opts *smtp.MailOptions) error {
	s.mail.from, s.mail.utf8 = from, opts.UTF8
	return nil
}
func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	if strings.HasPrefix(to, "nobody@") {
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "No such boat"}
	}
	s.mail.to = append(s.mail.to, to)
	return nil
}

func (s *session) Data(r io.Reader) error {
	data, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	s.box.mu.Lock()
	defer s.box.mu.Unlock()
	s.box.asked++
	if s.box.refuse != nil {
		if err := s.box.refuse(s.box.asked); err != nil {
			return err
		}
	}
	s.mail.data = data
	s.box.mails = append(s.box.mails, s.mail)
	return nil
}
func (s *session) Reset()        { s.mail.to = nil }
func (s *session) Logout() error { return nil }

// serve starts a real server; implicit means TLS from the first byte.
func serve(t testing.TB, box *mailbox, implicit bool) mail.Config {
	t.Helper()
	cert, pool := certificate(t)
	server := smtp.NewServer(box)
	server.ErrorLog = log.New(io.Discard, "", 0)
	server.EnableSMTPUTF8 = true
	server.Domain = "mx.ternquay.example"
	server.MaxLineLength = 998 + 2 // RFC 5321, section 4.5.3.1.6
	server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	cfg := mail.Config{
		Server: listener.Addr().String(), User: "watch@ternquay.example", Password: "tide table", Hello: "watch.ternquay.example",
		RootCAs: pool, Timeout: time.Minute,
	}
	if implicit {
		listener = tls.NewListener(listener, server.TLSConfig)
		cfg.Security = mail.TLS
	}
	done := make(chan error)
	go func() { done <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Close()
		if err := <-done; err != nil && !errors.Is(err, smtp.ErrServerClosed) {
			t.Error(err)
		}
	})
	return cfg
}

// scripted is one end of a scripted conversation, for what no sound server does.
type scripted struct {
	net.Conn
	in *bufio.Reader
}

func (c *scripted) say(lines ...string) {
	for _, l := range lines {
		io.WriteString(c, l+"\r\n")
	}
}

// hear reads a line, "" at the end.
func (c *scripted) hear() string {
	l, _ := c.in.ReadString('\n')
	return strings.TrimRight(l, "\r\n")
}

// hearData reads a message up to the lone dot and reports whether it came.
func (c *scripted) hearData() bool {
	for {
		l, err := c.in.ReadString('\n')
		if err != nil {
			return false
		}
		if l == ".\r\n" {
			return true
		}
	}
}

// drain reads until the other side closes.
func (c *scripted) drain() { io.Copy(io.Discard, c.in) }

// script serves each connection with talk, on an open connection.
func script(t testing.TB, talk func(*scripted)) mail.Config {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			all.Go(func() {
				defer conn.Close()
				talk(&scripted{conn, bufio.NewReader(conn)})
			})
		}
	})
	t.Cleanup(func() {
		listener.Close()
		all.Wait()
	})
	return mail.Config{Server: listener.Addr().String(), Security: mail.Plain, Hello: "watch.ternquay.example", Timeout: time.Minute}
}

func digest() mail.Message {
	return mail.Message{
		From: "Tern Quay <watch@ternquay.example>", To: []string{"owner@ternquay.example"},
		Subject: "Tern Quay, week 2026-W21: all as planned", Text: "All as planned.\n",
		MessageID: mail.MessageID("Tern Quay", "digest", "2026-W21", "watch@ternquay.example"),
		Date:      time.Date(2026, 5, 18, 8, 0, 0, 0, time.FixedZone("IST", 3600)),
	}
}

// parse reads a mail as a receiver would, and fails where it is not sound.
func parse(t testing.TB, raw []byte) *netmail.Message {
	t.Helper()
	for l := range bytes.Lines(raw) {
		if !bytes.HasSuffix(l, []byte("\r\n")) || bytes.ContainsAny(l[:len(l)-2], "\r\n") {
			t.Fatalf("line %.100q does not end with CR LF alone", l)
		}
		if len(l)-2 >= 998 {
			t.Fatalf("a line of %d bytes", len(l)-2)
		}
		for _, b := range l {
			if b > '~' || b < ' ' && b != '\r' && b != '\n' && b != '\t' {
				t.Fatalf("byte %#x in line %.100q", b, l)
			}
		}
	}
	msg, err := netmail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return msg
}
