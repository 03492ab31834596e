package notify_test

import (
	"context"
	"net"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"boundwalk/cmd/internal/notify"
)

// manager stands in for the service manager: the socket, and what comes in.
func manager(t *testing.T) func() string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	return func() string {
		t.Helper()
		buf := make([]byte, 4096)
		n, err := conn.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		return string(buf[:n])
	}
}

func TestMessages(t *testing.T) {
	next := manager(t)
	for name, test := range map[string]struct {
		tell func() error
		want string // a pattern for the whole message
	}{
		"ready":     {func() error { return notify.Ready("3 findings") }, `READY=1\nSTATUS=3 findings`},
		"reloading": {notify.Reloading, `RELOADING=1\nMONOTONIC_USEC=[1-9][0-9]+\n`},
		"stopping":  {notify.Stopping, `STOPPING=1`},
		"status":    {func() error { return notify.Status("run 7 of 12 °C") }, `STATUS=run 7 of 12 °C`},
		"a status cannot bring a second assignment": {
			func() error { return notify.Status("x\nMAINPID=1\r\x00y") }, `STATUS=x MAINPID=1  y`,
		},
	} {
		t.Run(name, func(t *testing.T) {
			if err := test.tell(); err != nil {
				t.Fatal(err)
			}
			if got := next(); !regexp.MustCompile(`^` + test.want + `$`).MatchString(got) {
				t.Fatalf("got %q, want %q", got, test.want)
			}
		})
	}
	if err := notify.Status(strings.Repeat("ü\xff", 10_000)); err != nil {
		t.Fatal(err)
	}
	if got := next(); len(got) > 1000 || !utf8.ValidString(got) {
		t.Fatalf("%d bytes, valid %v", len(got), utf8.ValidString(got))
	}
}

func TestWatchdog(t *testing.T) {
	next := manager(t)
	t.Setenv("WATCHDOG_USEC", "20000")
	ctx, cancel := context.WithCancel(t.Context())
	asked, done := 0, make(chan error)
	go func() {
		done <- notify.Watchdog(ctx, func() bool {
			asked++
			return asked != 2 // stuck once
		})
	}()
	for range 3 {
		if got := next(); got != "WATCHDOG=1" {
			t.Fatalf("got %q", got)
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if asked < 4 {
		t.Fatalf("asked %d times for 3 messages and one refusal", asked)
	}
}

func TestNobodyListens(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	t.Setenv("WATCHDOG_USEC", "")
	if err := notify.Ready("x"); err != nil {
		t.Error(err)
	}
	if err := notify.Watchdog(t.Context(), nil); err != nil {
		t.Error(err)
	}
	t.Setenv("NOTIFY_SOCKET", filepath.Join(t.TempDir(), "gone"))
	if err := notify.Ready("x"); err == nil {
		t.Error("a socket that is gone is no error")
	}
	t.Setenv("WATCHDOG_USEC", "soon")
	if err := notify.Watchdog(t.Context(), nil); err == nil {
		t.Error("a watchdog time that is no number is no error")
	}
}
