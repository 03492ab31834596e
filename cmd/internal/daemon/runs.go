package daemon

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/notify"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/post"
	"boundwalk/cmd/internal/schedule"
	"boundwalk/discover"
	"boundwalk/inventory"
)

// next is when the coming run is due: by the plan, or sooner by what was seen.
func (d *Daemon) next(now time.Time) time.Time {
	p := d.plan.Plan()
	var at time.Time
	if runs, err := schedule.ParseRuns(p.Service.Runs, p.Site.Location); err == nil { // planfile lets no bad one through
		at = runs.Next(now)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if a := d.state.again; !a.IsZero() && (at.IsZero() || a.Before(at)) {
		return a // also where it is past: job takes it away
	}
	return at
}

// runAt asks for a run out of the schedule. A sooner one that is asked for stays.
func (d *Daemon) runAt(at time.Time, why string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.state.again.IsZero() || at.Before(d.state.again) {
		d.state.again, d.state.why = at, why
	}
}

// job is a run by schedule, or one that a pulse or a doubt asked for.
func (d *Daemon) job(ctx context.Context) {
	d.mu.Lock()
	asked := "schedule"
	if a := d.state.again; !a.IsZero() && !a.After(time.Now()) {
		asked = d.state.why
		d.state.again = time.Time{}
	}
	stale := d.state.beat.Before(d.doubt)
	d.mu.Unlock()
	if asked == "confirm" && stale {
		d.look(ctx, d.plan.Plan()) // a device is missing only where a pulse agrees
	}
	d.doubt = time.Time{}
	if _, err := d.run(ctx, asked, control.Wishes{}, nil); err != nil && ctx.Err() == nil {
		d.Log.Error("run", "asked", asked, "err", err)
		if asked != "retry" { // once: the fault may last
			d.runAt(time.Now().Add(retryRun), "retry")
		}
	}
	d.weekly(ctx, time.Now())
	idle()
}

// run makes one run and does all that follows from it.
func (d *Daemon) run(ctx context.Context, asked string, wishes control.Wishes, progress func(control.Progress)) (*pass.Result, error) {
	d.readPlan(false)
	plan := d.plan.Plan()
	d.mu.Lock()
	d.state.running, d.state.part, d.state.sign = asked, control.Progress{}, time.Now()
	was := d.state.snap
	d.mu.Unlock()
	part := func(text string, done, total int) {
		p := control.Progress{Text: text, Done: done, Total: total}
		d.mu.Lock()
		d.state.part = p
		d.mu.Unlock()
		if progress != nil {
			progress(p)
		}
	}
	r := pass.Runner{Plan: plan, Logbook: d.Book, Maker: d.Maker, Booted: d.Booted, Asked: asked, Look: d.Options.Survey,
		Survey: discover.Options{Asked: asked == "person", Secrets: d.Secrets, LoginsAsked: wishes.Logins, Progress: part,
			Further: []discover.Source{d.listener.Source(plan)}}}
	start := time.Now()
	res, err := r.Run(ctx)
	d.mu.Lock()
	d.state.running, d.state.sign, d.state.problem = "", time.Now(), ""
	switch {
	case err == nil:
		d.state.snap = res.Snapshot
	case !errors.Is(err, pass.ErrAborted):
		d.state.problem = err.Error()
	}
	d.mu.Unlock()
	if err != nil {
		return nil, err
	}
	d.Log.Info("run", "run", res.ID, "asked", asked, "dur", time.Since(start).Round(time.Millisecond), "findings", len(res.Findings),
		"opened", keys(res.Opened), "cleared", keys(res.Cleared), "settling", res.Settling)
	d.after(ctx, res, was, asked)
	return res, nil
}

// retryRun is when a run that failed, such as for a locked logbook, is made again.
const retryRun = time.Minute

// idle gives back what a run needed: the daemon then waits for minutes, on a
// machine that has little.
func idle() { debug.FreeOSMemory() }

// How soon a first absence is looked at again: at once where a pulse saw it too,
// else a little later, and by a pulse as well. With runs of 20 s, what is urgent
// is then known within two minutes, even where the next pulse falls into a run.
const (
	secondLook = 5 * time.Second
	calmLook   = 15 * time.Second
)

func (d *Daemon) after(ctx context.Context, res *pass.Result, was *inventory.Snapshot, asked string) {
	d.tell(notify.Status(d.line1()))
	if res.Settling {
		d.runAt(time.Now().Add(d.settle(time.Now())+time.Second), "settled")
		return // what is urgent then is told then
	}
	if newlyAbsent(res, was) {
		again := secondLook
		if asked != "pulse" {
			again, d.doubt = calmLook, res.Snapshot.Started
		}
		d.runAt(time.Now().Add(again), "confirm")
	}
	n, err := post.Tell(ctx, d.Book, res.Plan, time.Now(), d.notices(res.Plan)...)
	if err != nil {
		d.Log.Error("promise a mail", "err", err)
	}
	if n > 0 {
		d.worker.Wake()
	}
	d.showMetrics(ctx, res.Snapshot)
}

// newlyAbsent reports whether something that is urgent to miss was there in the
// last run and was not found in this one. Two runs make it missing.
func newlyAbsent(res *pass.Result, was *inventory.Snapshot) bool {
	if was == nil {
		return false
	}
	for i := range res.Snapshot.Devices {
		s := &res.Snapshot.Devices[i]
		if !s.Planned || s.Presence != inventory.Absent {
			continue
		}
		p, ok := res.Plan.Device(s.Name)
		if !ok || !p.Role.IsInfrastructure() && p.Role != inventory.Camera && p.Role != inventory.Recorder || p.AwayAt(res.Snapshot.Finished) {
			continue
		}
		if o, ok := was.Device(s.Name); ok && o.Presence != inventory.Absent {
			return true
		}
	}
	return false
}

// RunNow is a run that a person asked for at the control socket.
func (d *Daemon) RunNow(ctx context.Context, wishes control.Wishes, progress func(control.Progress)) (control.Result, error) {
	type end struct {
		res *pass.Result
		err error
	}
	ended := make(chan end, 1)
	request := func(ctx context.Context) {
		res, err := d.run(ctx, "person", wishes, progress)
		ended <- end{res, err}
		idle()
	}
	select {
	case d.requests <- request:
	case <-ctx.Done():
		return control.Result{}, fmt.Errorf("the daemon ends: %w", context.Cause(ctx))
	}
	e := <-ended // the loop's job ends soon after ctx does
	if e.err != nil {
		return control.Result{}, e.err
	}
	return d.Report(e.res)
}
