// Package metrics shows what the daemon knows as OpenMetrics. What is not known
// has no series: it is never shown as zero.
package metrics

import (
	"net/http"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Values is what is shown: a copy of the state after a run or a pulse.
type Values struct {
	LastRun     time.Time     // when the last whole run ended; zero: none yet
	RunDuration time.Duration // of that run

	Findings  map[string]int // open ones by severity
	Devices   map[string]int // by state, such as "present"
	Ports     []PortPower
	Supplies  []SupplyPower
	MailQueue int // messages not yet taken by the mail server
}

// PortPower is the power that one port feeds. Only measured power belongs here,
// never the ceiling of a class.
type PortPower struct {
	Switch, Port string
	Watts        float64
}

// SupplyPower is one supply of a switch. What is nil is not known.
type SupplyPower struct {
	Switch, Supply string
	Watts          *float64 // drawn
	Budget         *float64 // watts it can give
}

// maxSeries bounds what is shown, whatever number of ports a switch says it has.
const maxSeries = 4096

// Metrics holds the values last shown. Its methods may be called at once.
type Metrics struct {
	registry *prometheus.Registry
	mu       sync.Mutex
	values   *Values // nil until the first Update; never changed, only replaced
}

// New makes Metrics that show the version and nothing else yet.
func New(version string) *Metrics {
	m := &Metrics{registry: prometheus.NewRegistry()}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "boundwalk_build_info", Help: "Always 1; the label is the version.",
		ConstLabels: prometheus.Labels{"version": label(version)},
	})
	build.Set(1)
	m.registry.MustRegister(build, collector{m})
	return m
}

// Update shows values from now on, all at once. The caller must not change the
// maps, slices and pointers in it afterwards.
func (m *Metrics) Update(values Values) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.values = &values
}

// Handler answers every request with the metrics.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		EnableOpenMetrics: true, MaxRequestsInFlight: 4, DisableCompression: true,
	})
}

// label makes device text fit for a label's value.
func label(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	if runes := []rune(s); len(runes) > 100 {
		s = string(runes[:99]) + "…"
	}
	return s
}
