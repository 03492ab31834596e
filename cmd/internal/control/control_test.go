package control_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/cmd/internal/control"
)

// fake is a daemon whose runs the test steers.
type fake struct {
	began  chan context.Context // each run says that it has begun
	finish chan control.Result  // and waits for its result
	ended  chan error           // and tells how it ended
	told   []control.Progress   // what each run reports at its start
	wished chan control.Wishes  // what each was asked for
	status any
}

func newFake() *fake {
	return &fake{began: make(chan context.Context, 20), finish: make(chan control.Result), wished: make(chan control.Wishes, 20), ended: make(chan error, 20)}
}

func (f *fake) RunNow(ctx context.Context, wishes control.Wishes, progress func(control.Progress)) (control.Result, error) {
	f.wished <- wishes
	for _, p := range f.told {
		progress(p)
	}
	f.began <- ctx
	select {
	case result := <-f.finish:
		f.ended <- nil
		if result.Exit == 1 {
			return result, errors.New("the logbook is full")
		}
		return result, nil
	case <-ctx.Done():
		f.ended <- ctx.Err()
		return control.Result{}, fmt.Errorf("run stopped: %w", context.Cause(ctx))
	}
}

func (f *fake) Status(context.Context) (any, error) {
	if err, ok := f.status.(error); ok {
		return nil, err
	}
	return f.status, nil
}

// serve starts a daemon; stop ends it and waits.
func serve(t *testing.T, daemon control.Daemon) (client control.Client, stop func()) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	ctx, cancel := context.WithCancel(t.Context())
	listener, err := control.Listen(ctx, path, "")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- control.Serve(ctx, listener, daemon, nil) }()
	over := false
	stop = func() {
		cancel()
		if over {
			return
		}
		over = true
		if err := <-served; err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(stop)
	return control.Client{Path: path}, stop
}

func TestStatus(t *testing.T) {
	daemon := newFake()
	client, _ := serve(t, daemon)
	daemon.status = map[string]any{"site": "Tern Quay", "next_run": nil}
	got, err := client.Status(t.Context())
	if err != nil || strings.TrimSpace(string(got)) != `{"next_run":null,"site":"Tern Quay"}` {
		t.Fatalf("got %s, %v", got, err)
	}
	daemon.status = errors.New("no plan yet")
	if _, err := client.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "no plan yet") {
		t.Fatalf("got %v", err)
	}
	daemon.status = func() {}
	if _, err := client.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "500") {
		t.Fatalf("got %v", err)
	}
}

func TestRun(t *testing.T) {
	daemon := newFake()
	daemon.told = []control.Progress{{Text: "sweep yard", Done: 0, Total: 3}, {Text: "walk quay-switch", Done: 2, Total: 3}}
	client, _ := serve(t, daemon)
	report := `{"site":"Tern Quay","findings":[]}`
	go func() {
		<-daemon.began
		daemon.finish <- control.Result{Exit: 3, Report: json.RawMessage(report)}
	}()
	var told []control.Progress
	result, err := client.Run(t.Context(), func(p control.Progress) { told = append(told, p) })
	if err != nil {
		t.Fatal(err)
	}
	if result.Exit != 3 || string(result.Report) != report {
		t.Errorf("result %d %s", result.Exit, result.Report)
	}
	if len(told) != 2 || told[0] != daemon.told[0] || told[1] != daemon.told[1] {
		t.Errorf("progress %+v", told)
	}
}

// What a person wishes reaches the daemon; what it does not know is refused.
func TestWishes(t *testing.T) {
	daemon := newFake()
	client, _ := serve(t, daemon)
	for _, want := range []control.Wishes{{}, {Logins: true}} {
		go func() { <-daemon.began; daemon.finish <- control.Result{} }()
		if _, err := client.RunWith(t.Context(), want, nil); err != nil {
			t.Fatal(err)
		}
		if got := <-daemon.wished; got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
	conn, err := net.Dial("unix", client.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	fmt.Fprint(conn, "POST /run?reboot=true HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n")
	response, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if text, _ := io.ReadAll(response.Body); response.StatusCode != http.StatusBadRequest || !strings.Contains(string(text), "reboot") {
		t.Errorf("got %s: %s", response.Status, text)
	}
	if len(daemon.began) > 0 {
		t.Error("a run has begun")
	}
}

func TestRunFails(t *testing.T) {
	for name, test := range map[string]struct {
		result control.Result
		want   string
	}{
		"with an error":            {control.Result{Exit: 1}, "the logbook is full"},
		"with a report not JSON":   {control.Result{Report: json.RawMessage("{")}, "not JSON"},
		"with a break in a report": {control.Result{Report: json.RawMessage("{}\n{\"event\":\"done\"}")}, "not JSON"},
	} {
		t.Run(name, func(t *testing.T) {
			daemon := newFake()
			client, _ := serve(t, daemon)
			go func() { daemon.finish <- test.result }()
			if _, err := client.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Fatalf("got %v, want %q", err, test.want)
			}
		})
	}
}

func TestReportOverSeveralLines(t *testing.T) {
	daemon := newFake()
	client, _ := serve(t, daemon)
	go func() { daemon.finish <- control.Result{Report: json.RawMessage("{\n  \"site\": \"Tern Quay\"\n}")} }()
	result, err := client.Run(t.Context(), nil)
	if err != nil || string(result.Report) != `{"site":"Tern Quay"}` {
		t.Fatalf("got %s, %v", result.Report, err)
	}
}

func TestClientGoneRunGoesOn(t *testing.T) {
	daemon := newFake()
	daemon.status = "up"
	client, _ := serve(t, daemon)
	ctx, cancel := context.WithCancel(t.Context())
	gone := make(chan error)
	go func() {
		_, err := client.Run(ctx, nil)
		gone <- err
	}()
	run := <-daemon.began
	cancel()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v", err)
	}
	if _, err := client.Status(t.Context()); err != nil { // the server has seen to other things since
		t.Fatal(err)
	}
	if run.Err() != nil {
		t.Fatal("the run's context ended with its client")
	}
	daemon.finish <- control.Result{}
	if err := <-daemon.ended; err != nil {
		t.Fatal(err)
	}
}

// A client that reads nothing must not hold up the run.
func TestClientThatDoesNotRead(t *testing.T) {
	daemon := newFake()
	long := strings.Repeat("x", 1<<10)
	for range 5_000 {
		daemon.told = append(daemon.told, control.Progress{Text: long})
	}
	client, _ := serve(t, daemon)
	conn, err := net.Dial("unix", client.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	io.WriteString(conn, "POST /run HTTP/1.1\r\nHost: x\r\n\r\n")
	<-daemon.began // it has told all
	daemon.finish <- control.Result{}
	if err := <-daemon.ended; err != nil {
		t.Fatal(err)
	}
}

func TestDaemonEnds(t *testing.T) {
	daemon := newFake()
	client, stop := serve(t, daemon)
	failed := make(chan error)
	go func() {
		_, err := client.Run(t.Context(), nil)
		failed <- err
	}()
	<-daemon.began
	stop()
	if err := <-daemon.ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the run ended with %v", err)
	}
	if err := <-failed; err == nil || !strings.Contains(err.Error(), "run stopped") {
		t.Errorf("the client got %v", err)
	}
	if _, err := client.Status(t.Context()); !errors.Is(err, control.ErrNoDaemon) {
		t.Errorf("afterwards: %v", err)
	}
	if _, err := os.Lstat(client.Path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the socket is still there: %v", err)
	}
}

func TestTooManyRuns(t *testing.T) {
	daemon := newFake()
	client, _ := serve(t, daemon)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	gone := make(chan error, 8)
	for range 8 {
		go func() {
			_, err := client.Run(ctx, nil)
			gone <- err
		}()
		<-daemon.began
	}
	if _, err := client.Run(t.Context(), nil); !errors.Is(err, control.ErrBusy) {
		t.Fatalf("the ninth got %v", err)
	}
	daemon.finish <- control.Result{}
	if err := <-gone; err != nil {
		t.Fatal(err)
	}
	cancel()
	for range 7 {
		<-gone
	}
}

func TestOddRequests(t *testing.T) {
	daemon := newFake()
	client, _ := serve(t, daemon)
	for name, test := range map[string]struct{ request, want string }{
		"a body that is too long":  {"POST /run HTTP/1.1\r\nHost: x\r\nContent-Length: 8000\r\n\r\n" + strings.Repeat("x", 8000), "413"},
		"a header that is too big": {"GET /status HTTP/1.1\r\nHost: x\r\nX: " + strings.Repeat("x", 32<<10) + "\r\n\r\n", "431"},
		"a run by GET":             {"GET /run HTTP/1.1\r\nHost: x\r\n\r\n", "405"},
		"no such thing":            {"GET /plan HTTP/1.1\r\nHost: x\r\n\r\n", "404"},
		"not HTTP":                 {"\x00\xff\r\n\r\n", "400"},
	} {
		t.Run(name, func(t *testing.T) {
			conn, err := net.Dial("unix", client.Path)
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			go io.WriteString(conn, test.request) // the server may answer before the end
			response, err := http.ReadResponse(bufio.NewReader(conn), nil)
			if err != nil {
				t.Fatal(err)
			}
			response.Body.Close()
			if !strings.HasPrefix(response.Status, test.want) {
				t.Fatalf("got %s, want %s", response.Status, test.want)
			}
		})
	}
	if len(daemon.began) != 0 {
		t.Fatal("a run began")
	}
}
