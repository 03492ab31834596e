package loopback_test

import (
	"context"
	"errors"
	"io"
	"net/http"
	"testing"

	"boundwalk/cmd/internal/loopback"
)

func TestListenOnLoopbackOnly(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "203.0.113.10:0", "[::]:0", "tern.example:0", "127.0.0.1.tern.example:0", "[::1%lo]:0",
		"[fe80::1%lo]:0", "[::ffff:203.0.113.1]:0"} {
		if _, err := loopback.Listen(t.Context(), addr); !errors.Is(err, loopback.ErrElsewhere) {
			t.Errorf("%s: %v", addr, err)
		}
	}
	if _, err := loopback.Listen(t.Context(), "127.0.0.1"); err == nil || errors.Is(err, loopback.ErrElsewhere) {
		t.Errorf("an address without a port: %v", err)
	}
	for _, addr := range []string{"127.0.0.1:0", "localhost:0", "127.0.0.9:0"} {
		l, err := loopback.Listen(t.Context(), addr)
		if err != nil {
			t.Fatalf("%s: %v", addr, err)
		}
		l.Close()
	}
}

// What names another host is refused, and the end of the context is the end.
func TestServe(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	l, err := loopback.Listen(ctx, "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	hello := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "Tern Quay") })
	go func() { ended <- loopback.Serve(ctx, l, hello, nil) }()
	for host, want := range map[string]int{"": 200, "localhost": 200, "localhost:8480": 200, "127.0.0.1:8480": 200, "[::1]:8480": 200,
		"tern.example": 421, "tern.example:8480": 421, "203.0.113.10": 421} {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+l.Addr().String()+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = host
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode != want {
			t.Errorf("host %q: %d, want %d", host, answer.StatusCode, want)
		}
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if _, err := http.Get("http://" + l.Addr().String() + "/"); err == nil {
		t.Error("it still answers after its end")
	}
}
