package envelope

import (
	"errors"
	"io"
	"net"
	"sync"
	"testing"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"boundwalk/deploy/lab/netns"
)

// A mailbox is a real SMTP server that takes every letter, after a login that does
// not show the password (RFC 2195).
type mailbox struct {
	mu      sync.Mutex
	letters [][]byte
}

func openMailbox(t *testing.T, in *netns.Namespace, at string) *mailbox {
	t.Helper()
	b := &mailbox{}
	var l net.Listener
	var err error
	in.Do(func() { l, err = net.Listen("tcp4", at) })
	if err != nil {
		t.Fatal(err)
	}
	s := smtp.NewServer(b)
	s.Domain, s.AllowInsecureAuth = "post.ternquay.example", true
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		s.Serve(l) //nolint:errcheck // it ends by Close
	}()
	t.Cleanup(func() { s.Close(); <-ended })
	return b
}

func (b *mailbox) taken() [][]byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([][]byte(nil), b.letters...)
}

func (b *mailbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &letter{box: b}, nil }

// letter is one connection.
type letter struct {
	box   *mailbox
	known bool
}

func (l *letter) AuthMechanisms() []string                 { return []string{"CRAM-MD5"} }
func (l *letter) Auth(string) (sasl.Server, error)         { return l, nil }
func (l *letter) Rcpt(string, *smtp.RcptOptions) error     { return nil }
func (l *letter) Reset()                                   {}
func (l *letter) Logout() error                            { return nil }
func (l *letter) Mail(_ string, _ *smtp.MailOptions) error { return l.allowed() }

// Next challenges, and takes any answer.
func (l *letter) Next(response []byte) (challenge []byte, done bool, err error) {
	if len(response) == 0 {
		return []byte("<5512.1@post.ternquay.example>"), false, nil
	}
	l.known = true
	return nil, true, nil
}

func (l *letter) allowed() error {
	if !l.known {
		return errors.New("log in first")
	}
	return nil
}

func (l *letter) Data(r io.Reader) error {
	data, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	l.box.mu.Lock()
	defer l.box.mu.Unlock()
	l.box.letters = append(l.box.letters, data)
	return nil
}
