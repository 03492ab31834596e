package post_test

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/post"
	"boundwalk/store"
)

// ill is a mail server that answers each line with the next of its replies, and
// then says nothing more; "" hangs up.
func ill(t *testing.T, replies ...string) (addr string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() {
				defer conn.Close()
				in := bufio.NewReader(conn)
				for i, r := range replies {
					if i > 0 {
						if _, err := in.ReadString('\n'); err != nil {
							return
						}
					}
					if r == "" {
						return
					}
					io.WriteString(conn, r+"\r\n")
				}
				io.Copy(io.Discard, in)
			})
		}
	})
	t.Cleanup(func() { l.Close(); all.Wait() })
	return l.Addr().String()
}

// Field case FC-28 at the spool: whatever is wrong with the server, its words stand
// in spool and log, the letter stays for a later try, and once the server is sound
// it has the letter exactly once.
func TestFC28(t *testing.T) {
	for name, c := range map[string]struct {
		security mail.Security
		replies  []string
		words    string
	}{
		"a: the greeting refused": {mail.Plain, []string{"220 mx", "550 5.7.1 berth is no full name", "550 5.7.1 berth is no full name", ""},
			"550 5.7.1 berth is no full name"},
		"b: no STARTTLS":          {mail.STARTTLS, []string{"220 mx", "250 mx in the open", ""}, "mx in the open"},
		"c: silent after connect": {mail.Plain, nil, "no reply in time"},
		"e: the login refused": {mail.Plain, []string{"220 mx", "250-mx\r\n250 AUTH CRAM-MD5", "334 PDE+", "535 5.7.8 Who are you?", ""},
			"535 5.7.8 Who are you?"},
		"f: drops during data": {mail.Plain, []string{"220 mx", "250 mx", "250 ok", "250 ok", "354 go ahead", ""}, "354 go ahead"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l, sound := open(t), serve(t)
			promise(t, l, "digest", "2026-W48", "owner@example.net", monday)
			var log bytes.Buffer
			cfg := mail.Config{Server: ill(t, c.replies...), Security: c.security, Hello: "berth.example.net", Timeout: time.Minute}
			if strings.Contains(name, "login") {
				cfg.User, cfg.Password = "boundwalk@example.net", "tide table"
			}
			if len(c.replies) == 0 {
				cfg.Timeout = 50 * time.Millisecond
			}
			w := &post.Worker{Book: l, Log: slog.New(slog.NewTextHandler(&log, nil)), Send: func(ctx context.Context, m store.Letter) (mail.Receipt, error) {
				return mail.SendRaw(ctx, cfg, "boundwalk@example.net", []string{m.Target}, m.Body)
			}}
			round(t, w, monday)
			waiting, err := l.Waiting(t.Context())
			if err != nil || len(waiting) != 1 || waiting[0].Attempts != 1 || len(waiting[0].Body) == 0 || !strings.Contains(waiting[0].Words, c.words) {
				t.Fatalf("spool: %+v, %v; want %q", waiting, err, c.words)
			}
			if !strings.Contains(log.String(), c.words) || strings.Contains(log.String(), "tide table") {
				t.Errorf("log: %s", log.String())
			}
			cfg = mail.Config{Server: sound.addr, Security: mail.Plain, Hello: "berth.example.net", Timeout: time.Minute}
			round(t, w, monday.Add(time.Minute)) // within the pause
			if n := len(sound.ids()); n != 0 {
				t.Errorf("tried again within the pause: %d", n)
			}
			round(t, w, monday.Add(3*time.Minute))
			round(t, w, monday.Add(24*time.Hour))
			if n := len(sound.ids()); n != 1 {
				t.Errorf("%d arrived, want one", n)
			}
		})
	}
}
