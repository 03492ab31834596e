package metrics

import (
	"maps"
	"math"
	"slices"

	"github.com/prometheus/client_golang/prometheus"
)

// The units are the base units that OpenMetrics asks for: seconds and watts.
var (
	lastRun     = desc("last_run_timestamp_seconds", "When the last whole run ended, in Unix time.")
	runDuration = desc("run_duration_seconds", "How long the last whole run took.")
	findings    = desc("findings", "Open findings.", "severity")
	devices     = desc("devices", "Devices by state.", "state")
	portPower   = desc("port_power_watts", "Measured power that a port feeds.", "switch", "port")
	supplyPower = desc("supply_power_watts", "Power drawn from a supply.", "switch", "supply")
	budget      = desc("supply_budget_watts", "Power that a supply can give.", "switch", "supply")
	mailQueue   = desc("mail_queue", "Messages that the mail server has not taken yet.")
)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("boundwalk_"+name, help, labels, nil)
}

// collector turns the values into metrics at each request, so that what is gone
// from the values is gone here.
type collector struct{ m *Metrics }

func (collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{lastRun, runDuration, findings, devices, portPower, supplyPower, budget, mailQueue} {
		ch <- d
	}
}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	c.m.mu.Lock()
	values := c.m.values
	c.m.mu.Unlock()
	if values == nil {
		return
	}
	out := sender{ch: ch, seen: map[series]bool{}}
	out.send(mailQueue, float64(values.MailQueue))
	if !values.LastRun.IsZero() {
		out.send(lastRun, float64(values.LastRun.UnixMilli())/1e3)
		out.send(runDuration, values.RunDuration.Seconds())
	}
	for _, severity := range slices.Sorted(maps.Keys(values.Findings)) {
		out.send(findings, float64(values.Findings[severity]), severity)
	}
	for _, state := range slices.Sorted(maps.Keys(values.Devices)) {
		out.send(devices, float64(values.Devices[state]), state)
	}
	for _, port := range values.Ports {
		out.send(portPower, port.Watts, port.Switch, port.Port)
	}
	for _, supply := range values.Supplies {
		if supply.Watts != nil {
			out.send(supplyPower, *supply.Watts, supply.Switch, supply.Supply)
		}
		if supply.Budget != nil {
			out.send(budget, *supply.Budget, supply.Switch, supply.Supply)
		}
	}
}

// series is what must be there once: one series twice spoils the whole answer.
type series struct {
	desc   *prometheus.Desc
	labels [2]string
}

type sender struct {
	ch   chan<- prometheus.Metric
	seen map[series]bool
}

// send leaves out a second value of a series and what is no number. At most
// maxSeries are sent.
func (s *sender) send(d *prometheus.Desc, value float64, labels ...string) {
	one := series{desc: d}
	for i := range labels {
		labels[i] = label(labels[i])
		one.labels[i] = labels[i]
	}
	if s.seen[one] || math.IsNaN(value) || math.IsInf(value, 0) || len(s.seen) >= maxSeries {
		return
	}
	s.seen[one] = true
	s.ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
}
