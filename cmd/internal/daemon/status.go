package daemon

import (
	"context"
	"fmt"
	"strings"
	"time"

	"boundwalk/cmd/internal/metrics"
	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory"
)

// Status is what the control socket tells. Times are RFC 3339 in UTC.
type Status struct {
	Version string     `json:"version"`
	Since   time.Time  `json:"since"`
	Plan    string     `json:"plan"`
	Problem *string    `json:"plan_problem"` // null: the file is the plan in use
	Logbook string     `json:"logbook"`
	LastRun *time.Time `json:"last_run"`
	RunErr  *string    `json:"last_run_error"`
	NextRun *time.Time `json:"next_run"`
	Running *string    `json:"running"` // who asked; null: no run is on
	Part    *string    `json:"part"`    // what that run does
	Pulse   *time.Time `json:"last_pulse"`
	Silent  []string   `json:"silent"`  // who did not answer it
	Outside *string    `json:"outside"` // up or down; null: the plan names nothing to try
	Mail    struct {
		Waiting int     `json:"waiting"`
		Words   *string `json:"last_words"` // of the server, to the latest letter that waits
	} `json:"mail"`
	Digest *string `json:"last_digest"` // ISO week
}

// Status tells how the daemon is.
func (d *Daemon) Status(ctx context.Context) (any, error) {
	problem, _ := d.plan.Problem()
	s := Status{Version: d.Version, Since: d.started.UTC().Truncate(time.Second), Plan: d.PlanPath, Logbook: d.LogbookPath, Problem: some(problem),
		NextRun: when(d.next(time.Now()))}
	d.mu.Lock()
	if snap := d.state.snap; snap != nil {
		s.LastRun = when(snap.Finished)
	}
	s.RunErr, s.Running, s.Pulse, s.Outside = some(d.state.problem), some(d.state.running), when(d.state.beat), some(d.state.outside)
	s.Silent = append([]string{}, d.state.down...)
	if p := d.state.part; d.state.running != "" && p.Text != "" {
		s.Part = some(fmt.Sprintf("%s, %d of %d", p.Text, p.Done, p.Total))
	}
	d.mu.Unlock()
	waiting, err := d.Book.Waiting(ctx)
	if err != nil {
		return nil, err
	}
	s.Mail.Waiting = len(waiting)
	for _, m := range waiting {
		if m.Words != "" {
			s.Mail.Words = some(m.Words)
		}
	}
	week, _, err := d.Book.LastDigest(ctx)
	s.Digest = some(week)
	return s, err
}

// doubts are what puts the rest of the page in doubt.
func (d *Daemon) doubts(plan *inventory.Plan) []string {
	out := d.notices(plan)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state.problem != "" {
		out = append(out, "The last run did not end well: "+d.state.problem)
	}
	if len(d.state.down) > 0 {
		out = append(out, fmt.Sprintf("At %s these did not answer: %s.", report.Clock(d.state.beat, plan.Site.Location), strings.Join(d.state.down, ", ")))
	}
	if d.state.outside == "down" {
		out = append(out, "The internet line is down: mail waits here until it is back.")
	}
	return out
}

func some(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func when(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC().Truncate(time.Second)
	return &t
}

// line1 is the state in one line, for the service manager.
func (d *Daemon) line1() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state.snap == nil {
		return "no run yet"
	}
	return "last run " + d.state.snap.Finished.Local().Format("Mon 2 Jan 15:04")
}

// showMetrics hands out what the run found.
func (d *Daemon) showMetrics(ctx context.Context, snap *inventory.Snapshot) {
	if d.plan.Plan().Service.Metrics == "" {
		return
	}
	eps, err := d.Book.Episodes(ctx, time.Time{})
	if err != nil {
		d.Log.Warn("metrics", "err", err)
		return
	}
	waiting, err := d.Book.Waiting(ctx)
	if err != nil {
		d.Log.Warn("metrics", "err", err)
		return
	}
	v := metrics.Values{LastRun: snap.Finished, RunDuration: snap.Finished.Sub(snap.Started), MailQueue: len(waiting),
		Findings: map[string]int{string(diff.Urgent): 0, string(diff.Warning): 0, string(diff.Note): 0}, Devices: map[string]int{}}
	for _, e := range eps {
		v.Findings[string(e.Finding.Severity)]++
	}
	for i := range snap.Devices {
		if s := &snap.Devices[i]; s.Planned {
			v.Devices[string(s.Presence)]++
		}
	}
	v.Devices["unknown"] = snap.Headcount().Unknown
	for i := range snap.Ports {
		if p := &snap.Ports[i]; p.Power != nil && p.Power.Draw != nil && p.Power.DrawBasis == inventory.Measured {
			v.Ports = append(v.Ports, metrics.PortPower{Switch: p.Switch, Port: p.Port, Watts: p.Power.Draw.Watts()})
		}
	}
	for i := range snap.Supplies {
		s := &snap.Supplies[i]
		x := metrics.SupplyPower{Switch: s.Switch, Supply: s.Supply}
		if load, basis := s.Load(); load != nil && basis == inventory.Measured {
			w := load.Watts()
			x.Watts = &w
		}
		if s.Budget != nil {
			w := s.Budget.Watts()
			x.Budget = &w
		}
		v.Supplies = append(v.Supplies, x)
	}
	d.metrics.Update(v)
}

func keys(fs []diff.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Key)
	}
	return out
}
