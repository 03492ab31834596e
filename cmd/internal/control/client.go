package control

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"syscall"
)

// maxReport is the longest line that a client takes, in bytes. A report on a
// site of a hundred devices has less than a hundredth of it.
const maxReport = 32 << 20

// Client talks to the daemon at the socket Path. Its methods return errors that
// are ErrNoDaemon or a *PermissionError where that is the trouble.
type Client struct {
	Path string
}

// Status is the daemon's status as JSON.
func (c Client) Status(ctx context.Context) (json.RawMessage, error) {
	response, err := c.ask(ctx, http.MethodGet, "/status")
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	text, err := io.ReadAll(io.LimitReader(response.Body, maxReport))
	if err != nil {
		return nil, fmt.Errorf("control: read the status from %s: %w", c.Path, err)
	}
	if !json.Valid(text) {
		return nil, fmt.Errorf("control: read the status from %s: not JSON", c.Path)
	}
	return text, nil
}

// Run asks for a run at once and waits for its result. It calls onProgress,
// which may be nil, as news comes in. When ctx ends, Run does; the run does not.
func (c Client) Run(ctx context.Context, onProgress func(Progress)) (Result, error) {
	return c.RunWith(ctx, Wishes{}, onProgress)
}

// RunWith is Run with what the run is to do beside looking.
func (c Client) RunWith(ctx context.Context, wishes Wishes, onProgress func(Progress)) (Result, error) {
	what := "/run"
	if wishes.Logins {
		what += "?" + wishLogins + "=true"
	}
	response, err := c.ask(ctx, http.MethodPost, what)
	if err != nil {
		return Result{}, err
	}
	defer response.Body.Close()
	result, err := follow(response.Body, onProgress)
	if err != nil {
		if ctx.Err() != nil {
			err = context.Cause(ctx)
		}
		return Result{}, fmt.Errorf("control: follow the run at %s: %w", c.Path, err)
	}
	return result, nil
}

// follow reads a stream of events to its last. Kinds of event that it does not
// know are passed over: a newer daemon may send them.
func follow(stream io.Reader, onProgress func(Progress)) (Result, error) {
	lines := bufio.NewScanner(stream)
	lines.Buffer(nil, maxReport)
	for lines.Scan() {
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		var e event
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			return Result{}, fmt.Errorf("an event that is not JSON: %w", err)
		}
		switch e.Event {
		case progressed:
			if onProgress != nil {
				onProgress(e.Progress)
			}
		case done:
			return e.Result, nil
		case failed:
			return Result{}, errors.New(e.Error)
		}
	}
	if err := lines.Err(); err != nil {
		return Result{}, err
	}
	return Result{}, fmt.Errorf("the daemon ended before the run was over: %w", io.ErrUnexpectedEOF)
}

// ask sends a request and returns the answer, if it is a good one.
func (c Client) ask(ctx context.Context, method, what string) (*http.Response, error) {
	request, err := http.NewRequestWithContext(ctx, method, "http://boundwalk"+what, nil)
	if err != nil {
		return nil, fmt.Errorf("control: %w", err)
	}
	client := http.Client{Transport: &http.Transport{
		DisableKeepAlives: true,
		DialContext:       func(ctx context.Context, _, _ string) (net.Conn, error) { return c.dial(ctx) },
	}}
	response, err := client.Do(request)
	if err != nil {
		if denied, ok := errors.AsType[*PermissionError](err); ok {
			return nil, denied
		}
		if wrapped, ok := errors.AsType[*url.Error](err); ok {
			err = wrapped.Err // the address in it means nothing to people
		}
		return nil, fmt.Errorf("control: ask at %s: %w", c.Path, err)
	}
	if response.StatusCode == http.StatusOK {
		return response, nil
	}
	defer response.Body.Close()
	if response.StatusCode == http.StatusServiceUnavailable {
		return nil, fmt.Errorf("control: ask at %s: %w", c.Path, ErrBusy)
	}
	words, _ := io.ReadAll(io.LimitReader(response.Body, 1<<10)) // the status says it, the words explain
	return nil, fmt.Errorf("control: ask at %s for %s: %s: %s", c.Path, what, response.Status, bytes.TrimSpace(words))
}

func (c Client) dial(ctx context.Context) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, "unix", c.Path)
	switch {
	case errors.Is(err, fs.ErrPermission):
		return nil, &PermissionError{Path: c.Path, Group: groupOf(c.Path)}
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return nil, fmt.Errorf("%w: %w", ErrNoDaemon, err)
	}
	return conn, err
}
