package mail_test

import (
	"bytes"
	"context"
	"errors"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"boundwalk/cmd/internal/mail"
)

func TestSendToARealServer(t *testing.T) {
	for name, implicit := range map[string]bool{"STARTTLS": false, "TLS": true} {
		t.Run(name, func(t *testing.T) {
			box := &mailbox{}
			cfg := serve(t, box, implicit)
			msg := digest()
			msg.To = append(msg.To, "Dock Office <dock@ternquay.example>")
			receipt, err := mail.Send(t.Context(), cfg, msg)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(receipt.ServerWords, "250 ") || receipt.Server != cfg.Server {
				t.Errorf("receipt %+v", receipt)
			}
			raw, err := mail.Build(msg)
			if err != nil {
				t.Fatal(err)
			}
			mails := box.taken()
			if len(mails) != 1 {
				t.Fatalf("%d mails arrived", len(mails))
			}
			got := mails[0]
			if !got.tls || got.utf8 || got.user != cfg.User || got.hello != cfg.Hello || got.from != "watch@ternquay.example" ||
				!slices.Equal(got.to, []string{"owner@ternquay.example", "dock@ternquay.example"}) {
				t.Errorf("envelope %+v", got)
			}
			if !bytes.Equal(got.data, raw) {
				t.Errorf("arrived\n%s\nbuilt\n%s", got.data, raw)
			}
		})
	}
}

func TestSendTakesTheAccountForSender(t *testing.T) {
	box := &mailbox{}
	cfg := serve(t, box, false)
	msg := digest()
	msg.From = ""
	if _, err := mail.Send(t.Context(), cfg, msg); err != nil {
		t.Fatal(err)
	}
	if got := box.taken()[0].from; got != cfg.User {
		t.Fatalf("sender %q", got)
	}
}

// refused sends and returns the error, which must be a *SendError.
func refused(t *testing.T, cfg mail.Config) *mail.SendError {
	t.Helper()
	receipt, err := mail.Send(t.Context(), cfg, digest())
	failed, ok := errors.AsType[*mail.SendError](err)
	if !ok {
		t.Fatalf("got %+v, %v, want a SendError", receipt, err)
	}
	t.Log(err)
	return failed
}

// Field case FC-28, a: a server that refuses a bare name in the greeting.
func TestGreetingRefused(t *testing.T) {
	cfg := script(t, func(c *scripted) {
		c.say("220 mx.ternquay.example ESMTP")
		for strings.HasSuffix(c.hear(), "LO berth") {
			c.say("550 5.7.1 berth is no full name")
		}
	})
	cfg.Hello = "berth"
	got := refused(t, cfg)
	if !got.Permanent || got.Code != 550 || got.Words != "550 5.7.1 berth is no full name" {
		t.Fatalf("got %+v", got)
	}
	if warnings := mail.Warnings(cfg, "watch@ternquay.example"); len(warnings) != 2 || !strings.Contains(warnings[0], `"berth" has no dot`) {
		t.Fatalf("warnings %q", warnings)
	}
}

// FC-28, b: no STARTTLS. Nothing may be said in the open after that.
func TestNoSTARTTLS(t *testing.T) {
	after := make(chan string, 1)
	cfg := script(t, func(c *scripted) {
		c.say("220 mx.ternquay.example ESMTP")
		c.hear()
		c.say("250-mx.ternquay.example in the open", "250 AUTH PLAIN")
		after <- c.hear()
	})
	cfg.Security, cfg.User, cfg.Password = mail.STARTTLS, "watch@ternquay.example", "tide table"
	got := refused(t, cfg)
	if got.Permanent || !strings.Contains(got.Error(), "offers no STARTTLS") || !strings.Contains(got.Words, "mx.ternquay.example in the open") {
		t.Fatalf("got %+v", got)
	}
	if said := <-after; said != "" && said != "QUIT" {
		t.Fatalf("then said %q", said)
	}
}

// FC-28, c: silence, at each step. The time-out of the settings is an hour, so
// only the ctx, which ends when the server has become silent, can end Send.
func TestSilentServer(t *testing.T) {
	for name, test := range map[string]struct {
		security mail.Security
		replies  []string
	}{
		"at connect":             {mail.Plain, nil},
		"in the TLS handshake":   {mail.TLS, nil},
		"after the greeting":     {mail.Plain, []string{"220 hi"}},
		"after EHLO":             {mail.Plain, []string{"220 hi", "250 hello"}},
		"in the later handshake": {mail.STARTTLS, []string{"220 hi", "250-hello\r\n250 STARTTLS", "220 go"}},
		"after MAIL":             {mail.Plain, []string{"220 hi", "250 hello", "250 ok"}},
		"after RCPT":             {mail.Plain, []string{"220 hi", "250 hello", "250 ok", "250 ok"}},
		"after DATA":             {mail.Plain, []string{"220 hi", "250 hello", "250 ok", "250 ok", "354 go"}},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, cancel := context.WithCancelCause(t.Context())
			cause := errors.New("the daemon ends")
			cfg := script(t, func(c *scripted) {
				for i, reply := range test.replies {
					if c.say(reply); i < len(test.replies)-1 {
						c.hear()
					}
				}
				cancel(cause)
				c.drain()
			})
			cfg.Timeout, cfg.Security = time.Hour, test.security
			if _, err := mail.Send(ctx, cfg, digest()); !errors.Is(err, cause) {
				t.Fatalf("got %v", err)
			}
		})
	}
}

// FC-28, c again: the time-out of a step, with no end of the ctx in sight.
func TestSilentServerTimeout(t *testing.T) {
	cfg := script(t, func(c *scripted) {
		c.say("220 mx.ternquay.example")
		c.drain()
	})
	cfg.Timeout = 50 * time.Millisecond
	got := refused(t, cfg)
	if got.Permanent || got.Step != "EHLO" && got.Step != "HELO" || !strings.Contains(got.Error(), "no reply in time") {
		t.Fatalf("got %+v", got)
	}
}

// FC-28, d: 451 three times, then taken. Time is stepped from try to try; the
// server must see four tries of the same bytes and keep one mail.
func TestRefusedForNowThenTaken(t *testing.T) {
	box := &mailbox{refuse: func(n int) error {
		if n <= 3 {
			return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "Low water, try later"}
		}
		return nil
	}}
	cfg := serve(t, box, false)
	queued := time.Date(2026, 5, 18, 8, 0, 0, 0, time.UTC)
	now, attempts, state := queued, 0, mail.Queued
	for state == mail.Queued && attempts < 10 {
		_, err := mail.Send(t.Context(), cfg, digest())
		attempts++
		if err == nil {
			state = mail.Sent
			break
		}
		failed, ok := errors.AsType[*mail.SendError](err)
		if !ok || failed.Permanent || failed.Code != 451 || !strings.Contains(failed.Words, "Low water, try later") {
			t.Fatalf("got %v", err)
		}
		next, giveUp := mail.NextTry(queued, attempts, now)
		if giveUp || !next.After(now) {
			t.Fatalf("after %d tries: %s, %v", attempts, next, giveUp)
		}
		now = next
	}
	if mails := box.taken(); state != mail.Sent || attempts != 4 || len(mails) != 1 {
		t.Fatalf("%s after %d tries, %d mails", state, attempts, len(mails))
	}
}

// FC-28, e: a wrong password.
func TestWrongPassword(t *testing.T) {
	box := &mailbox{}
	cfg := serve(t, box, false)
	cfg.Password = "low tide"
	got := refused(t, cfg)
	if !got.Permanent || got.Code != 535 || got.Step != "AUTH" || !strings.Contains(got.Words, "Who are you?") {
		t.Fatalf("got %+v", got)
	}
	if len(box.taken()) != 0 {
		t.Fatal("a mail arrived")
	}
	if strings.Contains(got.Error(), "low tide") {
		t.Fatal("the error holds the password")
	}
}

// FC-28, f: the server says "go ahead" and drops the line in the message.
func TestDropsDuringData(t *testing.T) {
	dropped := make(chan bool, 1)
	cfg := script(t, func(c *scripted) {
		c.say("220 hi")
		for _, reply := range []string{"250 hello", "250 ok", "250 ok", "354 go ahead"} {
			c.hear()
			c.say(reply)
		}
		dropped <- true
	})
	got := refused(t, cfg)
	if got.Permanent || got.Code != 0 || !strings.Contains(got.Error(), "354 go ahead") || !<-dropped {
		t.Fatalf("got %+v", got)
	}
}

// The server takes the message and dies: sent, whatever the connection says.
func TestDiesAfterAcceptance(t *testing.T) {
	for name, how := range map[string]func(*scripted){
		"closes": func(c *scripted) { c.Close() },
		"resets": func(c *scripted) { c.Conn.(*net.TCPConn).SetLinger(0); c.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			whole := make(chan bool, 1)
			cfg := script(t, func(c *scripted) {
				c.say("220 hi")
				for _, reply := range []string{"250 hello", "250 ok", "250 ok", "354 go ahead"} {
					c.hear()
					c.say(reply)
				}
				whole <- c.hearData()
				c.say("250 2.0.0 Ok: queued as 4F1A")
				c.hear() // the farewell, so that the reply was read before the reset
				how(c)
			})
			receipt, err := mail.Send(t.Context(), cfg, digest())
			if err != nil || receipt.ServerWords != "250 2.0.0 Ok: queued as 4F1A" || !<-whole {
				t.Fatalf("got %+v, %v", receipt, err)
			}
		})
	}
}

func TestAllReceiversOrNone(t *testing.T) {
	box := &mailbox{}
	cfg := serve(t, box, false)
	msg := digest()
	msg.To = []string{"owner@ternquay.example", "nobody@ternquay.example"}
	_, err := mail.Send(t.Context(), cfg, msg)
	failed, ok := errors.AsType[*mail.SendError](err)
	if !ok || !failed.Permanent || failed.Step != "RCPT" || !strings.Contains(failed.Words, "No such boat") {
		t.Fatalf("got %v", err)
	}
	if len(box.taken()) != 0 {
		t.Fatal("one receiver got it")
	}
}

func TestUntrustedCertificate(t *testing.T) {
	for _, implicit := range []bool{false, true} {
		box := &mailbox{}
		cfg := serve(t, box, implicit)
		cfg.RootCAs = nil
		if got := refused(t, cfg); got.Step != "TLS" || !strings.Contains(got.Error(), "certificate is not trusted") || len(box.taken()) != 0 {
			t.Fatalf("got %+v", got)
		}
	}
}

// A login that the server does not offer is said as such, with the way out.
func TestNoLoginOffered(t *testing.T) {
	cfg := script(t, func(c *scripted) {
		c.say("220 hi")
		c.hear()
		c.say("250-mx.ternquay.example", "250 STARTTLS")
		c.drain()
	})
	cfg.User, cfg.Password = "watch@ternquay.example", "tide table"
	got := refused(t, cfg)
	if got.Code != 0 || !strings.Contains(got.Error(), "no login that hides the password") || !strings.Contains(got.Error(), "mx.ternquay.example STARTTLS") {
		t.Fatalf("got %v", got)
	}
}

func TestPasswordNotInTheOpen(t *testing.T) {
	heard := make(chan string, 10)
	cfg := script(t, func(c *scripted) {
		c.say("220 hi")
		heard <- c.hear()
		c.say("250-hello", "250 AUTH PLAIN LOGIN")
		for l := c.hear(); l != ""; l = c.hear() {
			heard <- l
			c.say("250 ok")
		}
		close(heard)
	})
	cfg.User, cfg.Password = "watch@ternquay.example", "tide table"
	if got := refused(t, cfg); !strings.Contains(got.Error(), "no login that hides the password") {
		t.Errorf("got %v", got)
	}
	for l := range heard {
		if strings.HasPrefix(l, "AUTH") {
			t.Fatalf("said %q", l)
		}
	}
}

func TestEndlessServer(t *testing.T) {
	cfg := script(t, func(c *scripted) {
		flood := bytes.Repeat([]byte("220-the tide is high\r\n"), 1000)
		for {
			if _, err := c.Write(flood); err != nil {
				return
			}
		}
	})
	if got := refused(t, cfg); got.Permanent || !strings.Contains(got.Error(), "more than it may") {
		t.Fatalf("got %+v", got)
	}
}

func TestHostileWords(t *testing.T) {
	cfg := script(t, func(c *scripted) {
		c.say("554-\x1b[31mred \u202egnp\xbe\xd2 " + strings.Repeat("long ", 1000))
		c.say("554 second line")
	})
	got := refused(t, cfg)
	if !got.Permanent || got.Code != 554 || strings.ContainsAny(got.Error(), "\x1b\n\r\u202e") || len(got.Error()) > 2500 {
		t.Fatalf("got %q", got.Error())
	}
}

func TestNobodyListens(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	listener.Close()
	got := refused(t, mail.Config{Server: listener.Addr().String(), Security: mail.Plain})
	if got.Permanent || got.Step != "connect" || got.Words != "" {
		t.Fatalf("got %+v", got)
	}
}

func TestSettingsRefused(t *testing.T) {
	for name, cfg := range map[string]mail.Config{
		"no server":        {},
		"no host":          {Server: ":25"},
		"a URL":            {Server: "smtp://mx.ternquay.example"},
		"a socket":         {Server: "unix:///run/x"},
		"port 0":           {Server: "mx.ternquay.example:0"},
		"port as a word":   {Server: "mx.ternquay.example:smtp"},
		"unknown security": {Server: "mx.ternquay.example", Security: "ssl"},
		"password alone":   {Server: "mx.ternquay.example", Password: "x"},
		"hello of two":     {Server: "127.0.0.1:1", Hello: "a\r\nRCPT TO:<b@c>"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := mail.Send(t.Context(), cfg, digest())
			if failed, ok := errors.AsType[*mail.SendError](err); !ok || name != "hello of two" && !failed.Permanent {
				t.Fatalf("got %v", err)
			}
		})
	}
}

// A greeting name with a line break must not become a command.
func TestHelloInjection(t *testing.T) {
	heard := make(chan string, 1)
	cfg := script(t, func(c *scripted) {
		c.say("220 hi")
		heard <- c.hear()
	})
	cfg.Hello = "watch.example\r\nVRFY root"
	refused(t, cfg)
	if l := <-heard; l != "" {
		t.Fatalf("said %q", l)
	}
}
