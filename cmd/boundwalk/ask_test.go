package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// saidSoFar collects what a command says while it runs.
type saidSoFar struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (s *saidSoFar) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.Write(p)
}

func (s *saidSoFar) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.String()
}

// startService serves the site in dir until the test ends, and returns what it
// logs once it answers.
func startService(t *testing.T, dir string) *saidSoFar {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	said, ended := &saidSoFar{}, make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"serve", "--plan", filepath.Join(dir, "plan.yaml")}, strings.NewReader(""), io.Discard, said)
	}()
	t.Cleanup(func() {
		cancel()
		if code := <-ended; code != exitDone {
			t.Errorf("serve ended with %d:\n%s", code, said)
		}
	})
	for end := time.Now().Add(time.Minute); !strings.Contains(said.String(), "msg=serving"); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it does not serve:\n%s", said)
		}
	}
	return said
}

// Where the service runs, it makes the runs that people ask for, those with login
// checks as well: once, by the same gate and the same logbook.
func TestLoginsThroughTheService(t *testing.T) {
	cam := &fakeCamera{takes: factoryPassword}
	socket := filepath.Join(t.TempDir(), "s")
	dir := loginSite(t, cam, "on-request", "service: {socket: "+socket+"}")
	said := startService(t, dir)
	program(t, dir, "run")
	if n := cam.counted(); n != 0 {
		t.Errorf("without a person's wish it tried %d logins", n)
	}
	for range 2 {
		if out := program(t, dir, "run", "--logins"); !strings.Contains(out, "slip-cam") {
			t.Errorf("the report:\n%s", out)
		}
	}
	if n := cam.counted(); n != 1 {
		t.Errorf("%d tries, want one a day", n)
	}
	if out := program(t, dir, "show", "findings"); !strings.Contains(out, "factory-login/slip-cam") {
		t.Errorf("findings:\n%s", out)
	}
	if n := strings.Count(said.String(), "asked=person"); n != 3 {
		t.Errorf("the service made %d of 3 runs:\n%s", n, said)
	}
}
