package daemon

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/page"
	"boundwalk/store"
)

// The page shows the last run, and first of all what puts it in doubt.
func TestLocalPage(t *testing.T) {
	dir := t.TempDir()
	book, err := store.Open(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	writePlan(t, filepath.Join(dir, "plan.yaml"), "127.0.0.1:2525")
	s := newSite()
	d, err := New(t.Context(), Options{PlanPath: filepath.Join(dir, "plan.yaml"), Book: book, Survey: s.survey})
	if err != nil {
		t.Fatal(err)
	}
	s.set("slip-cam", false)
	for range 2 {
		if _, err := d.run(t.Context(), "schedule", control.Wishes{}, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "plan.yaml"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	d.plan.Refresh(d.started, true)
	d.state.outside, d.state.down = "down", []string{"quay-radio"}
	server := httptest.NewServer(page.Handler(d.readPage, d.Log))
	defer server.Close()
	answer, err := http.Get(server.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for _, want := range []string{"7 of 8 planned devices are there", "the last good plan is in use", "these did not answer: quay-radio.",
		"The internet line is down", "slip-cam is missing", "missing-device/slip-cam"} {
		i := strings.Index(string(body)[at:], want)
		if i < 0 {
			t.Fatalf("the page lacks %q, or has it too early:\n%s", want, body)
		}
		at += i
	}
}
