package commission

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// A watching is a commission that is under way.
type watching struct {
	t     *testing.T
	cmd   *exec.Cmd
	out   bytes.Buffer
	ended chan error

	mu   sync.Mutex
	told bytes.Buffer
}

// Write takes what it says to people.
func (w *watching) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.told.Write(p)
}

func (w *watching) words() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.told.String()
}

// commission starts one.
func (s *shed) commission(args ...string) *watching {
	s.t.Helper()
	return s.start(s.Command(append([]string{"commission", "--every", "200ms", "--settle", "1m"}, args...)...))
}

func (s *shed) start(cmd *exec.Cmd) *watching {
	s.t.Helper()
	w := &watching{t: s.t, cmd: cmd, ended: make(chan error, 1)}
	cmd.Stdout, cmd.Stderr = &w.out, w
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	go func() { w.ended <- cmd.Wait() }()
	return w
}

// says waits until it has said the words.
func (w *watching) says(words string) {
	w.t.Helper()
	netns.Until(w.t, "it says "+words, func() bool {
		if strings.Contains(w.words(), words) {
			return true
		}
		select {
		case err := <-w.ended:
			w.t.Fatalf("it ended with %v before it said %q:\n%s\n%s", err, words, w.words(), w.out.String())
		default:
		}
		return false
	})
}

// end waits for its end, with the exit code.
func (w *watching) end(code int) {
	w.t.Helper()
	err := <-w.ended
	got := 0
	if e, ok := errors.AsType[*exec.ExitError](err); ok {
		got = e.ExitCode()
	} else if err != nil {
		w.t.Fatal(err)
	}
	if got != code {
		w.t.Errorf("it ended with %d, want %d\n%s\n%s", got, code, w.words(), w.out.String())
	}
}

// A record is one of --json.
type record struct {
	Device, Where, Entry, Unkept string
	Planned                      bool
	Run                          *int
	Steps                        []struct{ What, State, Found, Do string }
}

// records are those that it left.
func (w *watching) records(want int) []record {
	w.t.Helper()
	var rs []record
	if err := json.Unmarshal(w.out.Bytes(), &rs); err != nil || len(rs) != want {
		w.t.Fatalf("%d records, want %d: %v\n%s\n%s", len(rs), want, err, w.out.String(), w.words())
	}
	return rs
}

// expect compares the record's steps with those wanted: the state, and words that what
// was found holds.
func (r record) expect(t *testing.T, want map[string][2]string) {
	t.Helper()
	for _, s := range r.Steps {
		if x, ok := want[s.What]; ok {
			if s.State != x[0] || !strings.Contains(s.Found, x[1]) {
				t.Errorf("%s: %s is %s, %q; want %s, %q", r.Device, s.What, s.State, s.Found, x[0], x[1])
			}
			delete(want, s.What)
		}
	}
	for what := range want {
		t.Errorf("%s: no step %q in %+v", r.Device, what, r.Steps)
	}
}

// text is a file of the site's.
func (s *shed) text(name string) string {
	s.t.Helper()
	b, err := os.ReadFile(filepath.Join(s.Dir, name))
	if err != nil {
		s.t.Fatal(err)
	}
	return string(b)
}
