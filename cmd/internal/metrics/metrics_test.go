package metrics_test

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"boundwalk/cmd/internal/metrics"
)

func ternQuay() metrics.Values {
	return metrics.Values{
		LastRun:     time.Date(2026, 5, 18, 7, 45, 12, 250e6, time.UTC),
		RunDuration: 12*time.Second + 250*time.Millisecond,
		Findings:    map[string]int{"urgent": 1, "warning": 0, "note": 4},
		Devices:     map[string]int{"present": 19, "missing": 1},
		Ports: []metrics.PortPower{
			{Switch: "quay-switch", Port: "5", Watts: 4.3},
			{Switch: "quay-switch", Port: "8", Watts: 6.25},
		},
		Supplies: []metrics.SupplyPower{
			{Switch: "quay-switch", Supply: "1", Watts: new(31.0), Budget: new(130.0)},
			{Switch: "pontoon-switch", Supply: "1", Budget: new(24.0)},
		},
		MailQueue: 2,
	}
}

// ask gets the metrics in the format that accept names.
func ask(t *testing.T, m *metrics.Metrics, accept string) string {
	t.Helper()
	request := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/metrics", nil)
	request.Header.Set("Accept", accept)
	recorder := httptest.NewRecorder()
	m.Handler().ServeHTTP(recorder, request)
	if recorder.Code != http.StatusOK {
		t.Fatalf("%d %s", recorder.Code, recorder.Body)
	}
	if !strings.HasPrefix(recorder.Header().Get("Content-Type"), strings.Split(accept, ";")[0]) {
		t.Fatalf("type %q", recorder.Header().Get("Content-Type"))
	}
	return recorder.Body.String()
}

const (
	openMetrics = "application/openmetrics-text; version=1.0.0"
	plainText   = "text/plain; version=0.0.4"
)

// UPDATE=1 go test rewrites the golden file.
func TestGolden(t *testing.T) {
	m := metrics.New("1.2.3")
	m.Update(ternQuay())
	got := ask(t, m, openMetrics)
	file := filepath.Join("testdata", "tern-quay.txt")
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// The library's own linter knows the conventions for names and units.
func TestLint(t *testing.T) {
	m := metrics.New("1.2.3")
	m.Update(ternQuay())
	problems, err := promlint.New(strings.NewReader(ask(t, m, plainText))).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestUnknownHasNoSeries(t *testing.T) {
	m := metrics.New("1.2.3")
	if got := ask(t, m, openMetrics); strings.Contains(got, "boundwalk_mail_queue") || !strings.Contains(got, "boundwalk_build_info") {
		t.Errorf("before the first update\n%s", got)
	}
	m.Update(metrics.Values{Ports: []metrics.PortPower{{Switch: "s", Port: "1", Watts: math.NaN()}, {Switch: "s", Port: "2", Watts: math.Inf(1)}}})
	got := ask(t, m, openMetrics)
	for _, absent := range []string{"last_run", "run_duration", "port_power", "supply", "findings", "devices"} {
		if strings.Contains(got, absent) {
			t.Errorf("%s in\n%s", absent, got)
		}
	}
	if !strings.Contains(got, "boundwalk_mail_queue 0") {
		t.Errorf("no queue in\n%s", got)
	}
}

// What is gone from the values is gone from the metrics.
func TestUpdateReplaces(t *testing.T) {
	m := metrics.New("1.2.3")
	m.Update(ternQuay())
	next := ternQuay()
	next.Ports = next.Ports[:1]
	m.Update(next)
	if got := ask(t, m, openMetrics); strings.Contains(got, `port="8"`) || !strings.Contains(got, `port="5"`) {
		t.Error(got)
	}
}

func TestHostileLabels(t *testing.T) {
	m := metrics.New("1.2.3")
	values := metrics.Values{Findings: map[string]int{"\xbe\xd2": 1, "\n# TYPE x gauge\nx 1": 1}}
	long := strings.Repeat("n", 10_000)
	for _, name := range []string{"a\"} 1\nb{c=\"", "\u202egnp", long, long + "m", "quay", "quay", "\x00"} {
		values.Ports = append(values.Ports, metrics.PortPower{Switch: name, Port: "1", Watts: 1})
		values.Supplies = append(values.Supplies, metrics.SupplyPower{Switch: name, Supply: name, Watts: new(1.0)})
	}
	for i := range 10_000 {
		values.Ports = append(values.Ports, metrics.PortPower{Switch: "quay-switch", Port: fmt.Sprint(i), Watts: 1})
	}
	m.Update(values)
	got := ask(t, m, openMetrics)
	if n := strings.Count(got, "\n"); n > 4096+40 {
		t.Errorf("%d lines", n)
	}
	for l := range strings.SplitSeq(got, "\n") {
		if len(l) > 500 || strings.ContainsAny(l, "\x00\u202e") || strings.HasPrefix(l, "x ") || strings.HasPrefix(l, "b{") {
			t.Errorf("line %.200q", l)
		}
	}
	if n := strings.Count(got, `boundwalk_port_power_watts{port="1",switch="quay"}`); n != 1 {
		t.Errorf("one series %d times", n)
	}
}

// Updates and requests come at once; the race detector watches.
func TestAtOnce(t *testing.T) {
	m := metrics.New("1.2.3")
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for range 200 {
			m.Update(ternQuay())
		}
	}()
	for range 20 {
		ask(t, m, openMetrics)
	}
	<-ended
}
