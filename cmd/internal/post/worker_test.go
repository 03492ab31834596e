package post_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/post"
	"boundwalk/inventory"
	"boundwalk/store"
)

// decoded is the text part of a mail.
func decoded(t *testing.T, m *netmail.Message) string {
	t.Helper()
	body, kind := io.Reader(m.Body), m.Header.Get("Content-Type")
	encoding := m.Header.Get("Content-Transfer-Encoding")
	for {
		media, params, err := mime.ParseMediaType(kind)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(media, "multipart/") {
			break
		}
		p, err := multipart.NewReader(body, params["boundary"]).NextRawPart()
		if err != nil {
			t.Fatal(err)
		}
		body, kind, encoding = p, p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding")
	}
	if encoding == "quoted-printable" {
		body = quotedprintable.NewReader(body)
	}
	text, err := io.ReadAll(body)
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(string(text)), " ")
}

// server is a real SMTP server that counts what it took.
type server struct {
	addr   string
	mu     sync.Mutex
	taken  []string        // Message-IDs, in order
	to     []string        // receivers, in the same order
	refuse func(int) error // asked for each message; nil takes all
	asked  int
}

func serve(t testing.TB) *server {
	t.Helper()
	s := &server{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.addr = l.Addr().String()
	srv := smtp.NewServer(s)
	srv.Domain, srv.AllowInsecureAuth = "mail.example.net", true
	srv.ErrorLog = quiet{}
	ended := make(chan struct{})
	go func() { srv.Serve(l); close(ended) }()
	t.Cleanup(func() { srv.Close(); <-ended })
	return s
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

func (s *server) NewSession(*smtp.Conn) (smtp.Session, error) { return &session{s: s}, nil }

func (s *server) ids() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]string(nil), s.taken...)
}

type session struct {
	s  *server
	to string
}

func (x *session) Mail(string, *smtp.MailOptions) error      { return nil }
func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error { x.to = to; return nil }
func (x *session) Reset()                                    {}
func (x *session) Logout() error                             { return nil }
func (x *session) Data(r io.Reader) error {
	m, err := netmail.ReadMessage(r)
	if err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, m.Body); err != nil {
		return err
	}
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.s.asked++
	if x.s.refuse != nil {
		if err := x.s.refuse(x.s.asked); err != nil {
			return err
		}
	}
	x.s.taken = append(x.s.taken, m.Header.Get("Message-ID"))
	x.s.to = append(x.s.to, x.to)
	return nil
}

func busy451(code int, words string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: words}
}

func worker(t testing.TB, l *store.Logbook, server string) *post.Worker {
	plan := quay()
	plan.Service.Mail.Server = server
	return &post.Worker{Book: l, Plan: func() *inventory.Plan { return plan }}
}

// promise puts a letter into the spool.
func promise(t testing.TB, l *store.Logbook, kind, occasion, to string, at time.Time) {
	t.Helper()
	id := mail.MessageID("Tern Quay", kind, occasion+to, "boundwalk@example.net")
	body, err := mail.Build(mail.Message{From: "boundwalk@example.net", To: []string{to}, Subject: occasion, Text: "x", MessageID: id, Date: at})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Enqueue(t.Context(), store.Letter{Kind: kind, Key: kind + occasion + to, Message: id, Target: to, Body: body}, at); err != nil {
		t.Fatal(err)
	}
}

func round(t testing.TB, w *post.Worker, at time.Time) {
	t.Helper()
	if err := w.Round(t.Context(), at); err != nil {
		t.Fatal(err)
	}
}

func TestWorkerDelivers(t *testing.T) {
	l, s := open(t), serve(t)
	promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
	promise(t, l, "digest", "2026-W48", "boss@example.net", monday)
	w := worker(t, l, s.addr)
	for range 3 {
		round(t, w, monday)
	}
	if len(s.ids()) != 2 || s.to[0] == s.to[1] {
		t.Errorf("taken: %v to %v", s.taken, s.to)
	}
	all, _ := l.Letters(t.Context(), 10)
	for _, m := range all {
		if m.State != "sent" || !strings.Contains(m.Words, "250") || len(m.Body) != 0 {
			t.Errorf("%+v", m)
		}
	}
}

// Field case FC-28 (d): 451 three times, then taken, once; the server's words are kept.
func TestFC28Retries(t *testing.T) {
	l, s := open(t), serve(t)
	s.refuse = func(n int) error {
		if n <= 3 {
			return busy451(451, "come back later")
		}
		return nil
	}
	promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
	w := worker(t, l, s.addr)
	tries := 0
	for at := monday; at.Before(monday.Add(2 * time.Hour)); at = at.Add(15 * time.Second) {
		before := s.asked
		round(t, w, at)
		if s.asked > before {
			tries++
			if wait, _ := l.Waiting(t.Context()); len(wait) == 1 && !strings.Contains(wait[0].Words, "come back later") {
				t.Errorf("words: %q", wait[0].Words)
			}
		}
	}
	if tries != 4 || len(s.ids()) != 1 {
		t.Errorf("%d tries, %d taken", tries, len(s.ids()))
	}
}

// A server that is down for a week: each week's digest waits, the newest of
// them arrives when it is back, and the one before it is given up.
func TestServerDownForAWeek(t *testing.T) {
	l, s := open(t), serve(t)
	down := true
	s.refuse = func(int) error {
		if down {
			return busy451(421, "closed for the season")
		}
		return nil
	}
	promise(t, l, "digest", "2026-W47", "owner@example.net", monday.AddDate(0, 0, -7))
	w := worker(t, l, s.addr)
	tries := 0
	for at := monday.AddDate(0, 0, -7); at.Before(monday.Add(24 * time.Hour)); at = at.Add(10 * time.Minute) {
		if at.Equal(monday) {
			promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
		}
		down = at.Before(monday.Add(12 * time.Hour))
		before := s.asked
		round(t, w, at)
		tries += s.asked - before
	}
	if len(s.ids()) != 1 {
		t.Fatalf("taken: %v", s.ids())
	}
	all, _ := l.Letters(t.Context(), 10)
	if all[0].State != "sent" || all[1].State != "dropped" || !strings.Contains(all[1].Words, "closed for the season") {
		t.Errorf("%+v", all)
	}
	if tries > 60 {
		t.Errorf("%d tries in eight days", tries)
	}
}

// One reader's bad address keeps nobody else from his mail.
func TestBadAddressAlone(t *testing.T) {
	l, s := open(t), serve(t)
	s.refuse = func(n int) error {
		if n == 1 {
			return &smtp.SMTPError{Code: 550, Message: "no such boat"}
		}
		return nil
	}
	promise(t, l, "digest", "2026-W48", "nobody@example.net", monday)
	promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
	round(t, worker(t, l, s.addr), monday)
	if s.ids(); len(s.to) != 1 || s.to[0] != "owner@example.net" {
		t.Errorf("to: %v", s.to)
	}
	if w, _ := l.Waiting(t.Context()); len(w) != 1 || !strings.Contains(w[0].Words, "550") {
		t.Errorf("waiting: %+v", w)
	}
}

// What the server took is not sent again where the logbook could not be
// written at that moment.
func TestTakenButNotMarked(t *testing.T) {
	l := open(t)
	promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
	sent := 0
	w := worker(t, l, "unused")
	w.Send = func(context.Context, store.Letter) (mail.Receipt, error) {
		sent++
		if sent == 1 {
			l.Close() // the disk goes away just then
		}
		return mail.Receipt{Server: "mail.example.net", ServerWords: "250 OK"}, nil
	}
	if err := w.Round(t.Context(), monday); err == nil {
		t.Fatal("no error from a closed logbook")
	}
	if sent != 1 {
		t.Fatalf("sent %d times", sent)
	}
	again := open(t)
	promise(t, again, "digest", "2026-W48", "owner@example.net", monday) // the same letter, number 1, as if the disk were back
	w.Book = again
	round(t, w, monday.Add(time.Minute))
	if m, _ := again.Letters(t.Context(), 1); sent != 1 || m[0].State != "sent" {
		t.Errorf("sent %d times, %s", sent, m[0].State)
	}
}

// Being stopped is no failure of the server.
func TestWorkerStopped(t *testing.T) {
	l := open(t)
	promise(t, l, "urgent", "a", "owner@example.net", monday)
	ctx, cancel := context.WithCancel(t.Context())
	w := worker(t, l, "unused")
	w.Send = func(ctx context.Context, _ store.Letter) (mail.Receipt, error) {
		cancel()
		<-ctx.Done()
		return mail.Receipt{}, ctx.Err()
	}
	if err := w.Round(ctx, monday); err != nil {
		t.Fatal(err)
	}
	if m, _ := l.Waiting(t.Context()); len(m) != 1 || m[0].Attempts != 0 {
		t.Errorf("%+v", m)
	}
}

// A clock that was set back a day holds nothing up.
func TestClockSetBack(t *testing.T) {
	l := open(t)
	promise(t, l, "urgent", "a", "owner@example.net", monday)
	w, n := worker(t, l, "unused"), 0
	w.Send = func(context.Context, store.Letter) (mail.Receipt, error) {
		n++
		return mail.Receipt{}, errors.New("no route")
	}
	round(t, w, monday)
	round(t, w, monday.Add(-24*time.Hour))
	if n != 2 {
		t.Errorf("%d tries, want one on each side of the clock's step", n)
	}
}

func TestConfig(t *testing.T) {
	plan := quay()
	plan.Service.Mail.User, plan.Service.Mail.Password = "boundwalk@example.net", "file:mail.secret"
	cfg, err := post.Config(plan, func(r inventory.SecretRef) (string, error) { return "tide table", nil })
	if err != nil || cfg.Server != "127.0.0.1:25" || cfg.Security != mail.Plain || string(cfg.Password) != "tide table" {
		t.Errorf("%+v %v", cfg, err)
	}
	if text := fmt.Sprintf("%v %+v %#v", cfg, cfg, cfg); strings.Contains(text, "tide") {
		t.Error("the password prints")
	}
	if _, err := post.Config(plan, func(inventory.SecretRef) (string, error) { return "", errors.New("others may read it") }); err == nil ||
		!strings.Contains(err.Error(), "others may read it") {
		t.Error(err)
	}
	plan.Service.Mail = inventory.Mail{}
	if _, err := post.Config(plan, nil); err == nil {
		t.Error("a plan without mail server has settings")
	}
}
