package control

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Daemon is what the socket serves.
type Daemon interface {
	// RunNow makes a whole run as wished and returns its result. Where a run is on, it
	// waits for it first. It may call progress from any goroutine until it
	// returns; progress does not block. It ends soon after ctx does.
	RunNow(ctx context.Context, wishes Wishes, progress func(Progress)) (Result, error)

	// Status is what [Client.Status] gets, as JSON.
	Status(ctx context.Context) (any, error)
}

const (
	maxWaiting = 8               // runs asked for and not yet done
	maxBody    = 4 << 10         // bytes of a request's body, which nobody needs
	patience   = 5 * time.Second // for a client to read or write one piece
)

// Serve answers at listener, and closes it, until ctx ends. It returns when all
// requests and the runs that they began are over; the runs get ctx. Troubles
// with single clients go to log, which may be nil.
func Serve(ctx context.Context, listener net.Listener, daemon Daemon, log *slog.Logger) error {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	var all gate
	defer all.shut()
	waiting := make(chan struct{}, maxWaiting)
	mux := http.NewServeMux()
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, r *http.Request) { status(w, r, daemon) })
	mux.HandleFunc("POST /run", func(w http.ResponseWriter, r *http.Request) {
		if !swallow(w, r) {
			return
		}
		wishes, err := wishesOf(r)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		select {
		case waiting <- struct{}{}:
		default:
			http.Error(w, ErrBusy.Error(), http.StatusServiceUnavailable)
			return
		}
		progress, end := make(chan Progress, 16), make(chan any, 1)
		all.wg.Go(func() { // within a request, so the gate is open
			defer func() { <-waiting }()
			end <- run(ctx, daemon, wishes, progress)
		})
		stream(w, r, progress, end)
	})
	server := &http.Server{
		Handler:           all.around(mux),
		ReadHeaderTimeout: patience,
		IdleTimeout:       patience,
		MaxHeaderBytes:    8 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	return serveUntil(ctx, server, listener)
}

// gate counts what goes on and, once shut, lets nothing more begin.
type gate struct {
	mu   sync.Mutex
	down bool
	wg   sync.WaitGroup
}

// around lets a request in while the gate is open.
func (g *gate) around(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		g.mu.Lock()
		down := g.down
		if !down {
			g.wg.Add(1)
		}
		g.mu.Unlock()
		if down {
			http.Error(w, "the daemon ends", http.StatusServiceUnavailable)
			return
		}
		defer g.wg.Done()
		next.ServeHTTP(w, r)
	})
}

// shut waits for all that goes on.
func (g *gate) shut() {
	g.mu.Lock()
	g.down = true
	g.mu.Unlock()
	g.wg.Wait()
}

func serveUntil(ctx context.Context, server *http.Server, listener net.Listener) error {
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	select {
	case err := <-ended:
		return fmt.Errorf("control: serve: %w", err)
	case <-ctx.Done():
	}
	// Runs end with ctx and have their last words sent; then cut off the rest.
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	if server.Shutdown(grace) != nil {
		server.Close()
	}
	<-ended
	return nil
}

// wishesOf reads what is asked for. What this daemon does not know is refused: a
// run without what was wished must not look as if it had it.
func wishesOf(r *http.Request) (Wishes, error) {
	var wishes Wishes
	for key, values := range r.URL.Query() {
		yes, err := strconv.ParseBool(strings.Join(values, ","))
		if key != wishLogins || err != nil {
			return Wishes{}, fmt.Errorf("%.40q=%.40q is nothing that this daemon can be asked for", key, values)
		}
		wishes.Logins = yes
	}
	return wishes, nil
}

// swallow reads the body away. Only then does the server see the client go.
func swallow(w http.ResponseWriter, r *http.Request) bool {
	control := http.NewResponseController(w)
	_ = control.SetReadDeadline(time.Now().Add(patience))
	if _, err := io.Copy(io.Discard, http.MaxBytesReader(w, r.Body, maxBody)); err != nil {
		http.Error(w, "a body that nobody needs is too long", http.StatusRequestEntityTooLarge)
		return false
	}
	return control.SetReadDeadline(time.Time{}) == nil
}

func status(w http.ResponseWriter, r *http.Request, daemon Daemon) {
	value, err := daemon.Status(r.Context())
	if err == nil {
		var text []byte
		if text, err = json.Marshal(value); err == nil {
			w.Header().Set("Content-Type", "application/json")
			_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(patience))
			_, _ = w.Write(append(text, '\n')) // the client may be gone
			return
		}
	}
	http.Error(w, err.Error(), http.StatusInternalServerError)
}

// run makes a run and returns its last event.
func run(ctx context.Context, daemon Daemon, wishes Wishes, progress chan<- Progress) any {
	result, err := daemon.RunNow(ctx, wishes, func(p Progress) {
		select {
		case progress <- p:
		default: // a slow client misses some
		}
	})
	if err == nil && result.Report != nil && !json.Valid(result.Report) {
		err = errors.New("the report is not JSON")
	}
	if err != nil {
		return struct {
			Event string `json:"event"`
			Error string `json:"error"`
		}{failed, err.Error()}
	}
	return struct {
		Event string `json:"event"`
		Result
	}{done, result}
}

// stream writes the events until the last one, or until the client is gone.
func stream(w http.ResponseWriter, r *http.Request, progress <-chan Progress, end <-chan any) {
	w.Header().Set("Content-Type", "application/x-ndjson")
	control := http.NewResponseController(w)
	encoder := json.NewEncoder(w)
	write := func(value any) bool {
		return control.SetWriteDeadline(time.Now().Add(patience)) == nil &&
			encoder.Encode(value) == nil && control.Flush() == nil
	}
	step := func(p Progress) bool {
		return write(struct {
			Event string `json:"event"`
			Progress
		}{progressed, p})
	}
	if control.Flush() != nil {
		return
	}
	for {
		select {
		case <-r.Context().Done():
			return
		case p := <-progress:
			if !step(p) {
				return
			}
		case last := <-end:
			for len(progress) > 0 {
				if !step(<-progress) {
					return
				}
			}
			write(last)
			return
		}
	}
}
