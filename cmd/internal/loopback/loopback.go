// Package loopback serves HTTP to this machine only: what hangs on which port, and
// whether it is there, is nobody else's business.
package loopback

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"time"
)

// ErrElsewhere is returned for an address that others could reach.
var ErrElsewhere = errors.New("only a loopback address is served, such as 127.0.0.1:9464")

// Listen opens addr, which must be a loopback address (or "localhost", which is
// taken for 127.0.0.1) and a port.
func Listen(ctx context.Context, addr string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("listen at %.80q: %w", addr, err)
	}
	if host == "localhost" {
		host = "127.0.0.1" // a name server must not decide this
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || !ip.IsLoopback() || ip.Zone() != "" {
		return nil, fmt.Errorf("listen at %.80q: %w", addr, ErrElsewhere)
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort(host, port))
	if err != nil {
		return nil, fmt.Errorf("listen at %.80q: %w", addr, err)
	}
	return l, nil
}

// Serve answers with h until ctx ends, and closes l. Requests that name another
// host are refused: a web page from elsewhere that resolves its own name to this
// machine sends them. Troubles with single clients go to log, which may be nil.
func Serve(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger) error {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	server := &http.Server{
		Handler:        named(h),
		ReadTimeout:    5 * time.Second,
		WriteTimeout:   10 * time.Second,
		IdleTimeout:    2 * time.Minute,
		MaxHeaderBytes: 8 << 10,
		ErrorLog:       slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return fmt.Errorf("serve at %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if server.Shutdown(grace) != nil {
		server.Close()
	}
	<-ended
	return nil
}

// named lets through what asks for this machine by a name that only it has.
func named(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.Host)
		if err != nil {
			host = r.Host
		}
		ip, err := netip.ParseAddr(host)
		if host != "localhost" && (err != nil || !ip.IsLoopback()) {
			http.Error(w, "ask for localhost or a loopback address", http.StatusMisdirectedRequest)
			return
		}
		h.ServeHTTP(w, r)
	})
}
