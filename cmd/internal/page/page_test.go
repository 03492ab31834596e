package page_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boundwalk/cmd/internal/page"
	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

// site is a logbook with one run, in which a switch and a stranger are seen; the
// stranger's name is hostile.
func site(t *testing.T) (*store.Logbook, *inventory.Plan) {
	t.Helper()
	book, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	plan := &inventory.Plan{Site: inventory.Site{Name: "Tern Quay", Location: time.UTC}, Devices: []inventory.Device{{Name: "quay-switch", Role: inventory.Switch}}}
	at := time.Date(2026, 11, 23, 8, 0, 0, 0, time.UTC)
	budget, drawn := inventory.Power(130_000), inventory.Power(104_000)
	snap := &inventory.Snapshot{Started: at, Finished: at.Add(2 * time.Second),
		Devices: []inventory.SeenDevice{
			{Name: "quay-switch", Role: inventory.Switch, Planned: true, Presence: inventory.Present},
			{Name: "stranger", Hostname: `<script>alert("x")</script>`, Presence: inventory.Present, MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x66}}},
		},
		Ports:    []inventory.PortState{{Switch: "quay-switch", Port: "5", Seen: []string{"stranger"}}},
		Supplies: []inventory.SupplyState{{Switch: "quay-switch", Supply: "1", Budget: &budget, Used: &drawn}},
	}
	id, err := book.Begin(t.Context(), "schedule", at)
	if err != nil {
		t.Fatal(err)
	}
	f := diff.New(diff.UnknownDevice, "00:00:5e:00:53:66")
	f.Observed = `calls itself <b>bold</b>`
	if _, err := book.Save(t.Context(), id, plan, snap, []diff.Finding{f, diff.New(diff.WeakSNMP, "site")}, false); err != nil {
		t.Fatal(err)
	}
	if err := book.Hush(t.Context(), store.Hush{Key: "weak-snmp/site", Until: at.Add(14 * 24 * time.Hour), Why: "new switch in spring"}); err != nil {
		t.Fatal(err)
	}
	return book, plan
}

func get(t *testing.T, h http.Handler, method, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), method, path, nil))
	return w
}

func TestPage(t *testing.T) {
	book, plan := site(t)
	h := page.Handler(func(ctx context.Context) (report.Site, error) {
		return page.Read(ctx, book, plan, time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC))
	}, slog.New(slog.DiscardHandler))
	w := get(t, h, http.MethodGet, "/")
	body := w.Body.String()
	for _, want := range []string{"<h1>Tern Quay</h1>", "1 of 1 planned devices are there; 1 unknown", "<h2 class=\"warning\">Soon (1)</h2>",
		"unknown device 00:00:5e:00:53:66", "calls itself &lt;b&gt;bold&lt;/b&gt;", `value="80"`, "1 hushed", "Ports of quay-switch", "What hangs where"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, not := range []string{"<script", "<b>bold", "weak SNMP", "http://", "https://"} {
		if strings.Contains(body, not) {
			t.Errorf("the page holds %q", not)
		}
	}
	if p := w.Header().Get("Content-Security-Policy"); w.Code != http.StatusOK || !strings.HasPrefix(p, "default-src 'none'") {
		t.Errorf("status %d, policy %q", w.Code, p)
	}
	if w := get(t, h, http.MethodPost, "/"); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("POST: %d", w.Code)
	}
	if w := get(t, h, http.MethodGet, "/plan.yaml"); w.Code != http.StatusNotFound {
		t.Errorf("another path: %d", w.Code)
	}
}

// Before the first run there is a page too, and what is wrong says so.
func TestPageBeforeTheFirstRun(t *testing.T) {
	book, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	plan := &inventory.Plan{Site: inventory.Site{Name: "Tern Quay", Location: time.UTC}}
	h := page.Handler(func(ctx context.Context) (report.Site, error) {
		s, err := page.Read(ctx, book, plan, time.Now())
		s.Notices = []string{"the plan does not load"}
		return s, err
	}, slog.New(slog.DiscardHandler))
	if body := get(t, h, http.MethodGet, "/").Body.String(); !strings.Contains(body, "No run yet.") ||
		!strings.Contains(body, "the plan does not load") || strings.Contains(body, "All as planned") {
		t.Errorf("the page says %s", body)
	}
	book.Close()
	if w := get(t, h, http.MethodGet, "/"); w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), "sql") {
		t.Errorf("with the logbook closed: %d, %s", w.Code, w.Body)
	}
}
