package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"boundwalk/discover/simnet/ternquay"
)

// told is what --json says, by the contract.
type told struct {
	Site string
	Run  struct {
		ID                int64
		Started, Finished *string
		Complete          *bool
	}
	Counts   map[string]int
	Findings []map[string]any
	Coverage []map[string]any
}

func (r *told) keys() []string {
	var out []string
	for _, f := range r.Findings {
		out = append(out, f["key"].(string))
	}
	slices.Sort(out)
	return out
}

// watched is a buffer that tells once when it holds a phrase.
type watched struct {
	mu     sync.Mutex
	buf    bytes.Buffer
	phrase string
	seen   chan struct{}
}

func (w *watched) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	had := strings.Contains(w.buf.String(), w.phrase)
	w.buf.Write(b)
	if !had && strings.Contains(w.buf.String(), w.phrase) {
		close(w.seen)
	}
	return len(b), nil
}

func (w *watched) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.buf.String()
}

// The demo finds exactly what was changed, says it by the contract, and the site
// that it keeps answers a run of its own until it is stopped.
func TestDemo(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "kept")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	errs := &watched{phrase: "until Ctrl-C", seen: make(chan struct{})}
	var out bytes.Buffer
	code := make(chan int, 1)
	go func() { code <- run(ctx, []string{"demo", "--json", "--keep", dir}, strings.NewReader(""), &out, errs) }()
	select {
	case <-errs.seen:
	case c := <-code:
		t.Fatalf("it ended with %d: %s", c, errs)
	}
	first := decode(t, out.Bytes())
	want := slices.Sorted(slices.Values(ternquay.Expected()))
	if got := first.keys(); !slices.Equal(got, want) {
		t.Errorf("findings\n got %v\nwant %v", got, want)
	}
	if first.Run.ID != 3 {
		t.Errorf("it tells of run %d, want 3", first.Run.ID)
	}

	var again, complaints bytes.Buffer
	plan := filepath.Join(dir, "plan.yaml")
	if c := run(t.Context(), []string{"run", "--json", "--plan", plan}, strings.NewReader(""), &again, &complaints); c != exitFindings {
		t.Errorf("a run against the kept site ended with %d: %s", c, &complaints)
	}
	want = slices.DeleteFunc(want, func(k string) bool { return strings.HasPrefix(k, "restarted/") })
	if got := decode(t, again.Bytes()).keys(); !slices.Equal(got, want) {
		t.Errorf("a run later\n got %v\nwant %v", got, want)
	}
	cancel()
	if c := <-code; c != exitDone {
		t.Errorf("stopped, it ended with %d: %s", c, errs)
	}
	if s := errs.String(); !strings.Contains(s, "Three runs were made") || !strings.Contains(s, "boundwalk run --plan "+plan) {
		t.Errorf("it told on standard error:\n%s", s)
	}
}

// decode reads what --json wrote and holds its shape against the contract.
func decode(t *testing.T, b []byte) *told {
	t.Helper()
	var r told
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatalf("%v in %s", err, b)
	}
	if r.Site != "Tern Quay" || r.Run.Started == nil || r.Run.Finished == nil || r.Run.Complete == nil || !*r.Run.Complete {
		t.Errorf("site %q, run %+v", r.Site, r.Run)
	}
	for _, k := range []string{"devices", "unknown", "ports", "findings"} {
		if r.Counts[k] == 0 {
			t.Errorf("counts: %s is 0", k)
		}
	}
	for _, f := range r.Findings {
		for _, k := range []string{"key", "kind", "severity", "subject", "where", "expected", "observed", "basis", "since", "advice", "caution"} {
			if v, ok := f[k]; !ok || v == "" {
				t.Errorf("%s: %s is %v", f["key"], k, v)
			}
		}
		if f["key"] != "weak-snmp/site" && f["key"] != f["kind"].(string)+"/"+f["subject"].(string) {
			t.Errorf("key %s of kind %s about %s", f["key"], f["kind"], f["subject"])
		}
	}
	for _, c := range r.Coverage {
		for _, k := range []string{"what", "source", "result", "why"} {
			if v, ok := c[k]; !ok || v == "" {
				t.Errorf("coverage %v: %s is %v", c, k, v)
			}
		}
	}
	return &r
}
