package daemon

import (
	"context"
	"fmt"
	"time"

	"boundwalk/cmd/internal/post"
	"boundwalk/cmd/internal/schedule"
	"boundwalk/inventory"
)

// freshEnough is how old the last run may be for a digest.
const freshEnough = 20 * time.Minute

// marksKept is how far back marked weeks are looked at, as schedule wants it.
const marksKept = 62 * 24 * time.Hour

// weekly promises the digest if one is owed. The logbook decides, so it may be
// asked at any moment and any number of times.
func (d *Daemon) weekly(ctx context.Context, now time.Time) {
	plan := d.plan.Plan()
	if plan.Service.Mail.Server == "" || len(plan.Service.Mail.To) == 0 || ctx.Err() != nil {
		return
	}
	week, due, err := d.digestDue(ctx, plan, now)
	if err != nil {
		d.Log.Error("digest", "err", err)
		return
	}
	if !due {
		return
	}
	d.mu.Lock()
	snap := d.state.snap
	d.mu.Unlock()
	if (snap == nil || now.Sub(snap.Finished) > freshEnough) && d.owed != week.String() {
		d.owed = week.String() // one try: a run that fails must not keep the mail back
		d.runAt(now, "digest")
		return
	}
	if err := d.promise(ctx, plan, week.String(), now); err != nil {
		d.Log.Error("digest", "week", week, "err", err)
		return
	}
	d.worker.Wake()
}

func (d *Daemon) digestDue(ctx context.Context, plan *inventory.Plan, now time.Time) (schedule.Week, bool, error) {
	spec, err := schedule.ParseWeekly(plan.Service.Digest)
	if err != nil {
		return schedule.Week{}, false, err
	}
	list, err := d.Book.DigestWeeks(ctx, now.Add(-marksKept))
	if err != nil {
		return schedule.Week{}, false, err
	}
	var marked []schedule.Week
	for _, text := range list {
		w, err := schedule.ParseWeek(text)
		if err != nil {
			return w, false, fmt.Errorf("the logbook's mark: %w", err)
		}
		marked = append(marked, w)
	}
	week, due := schedule.DigestDue(now, plan.Site.Location, spec, marked, d.began)
	return week, due, nil
}

// longestPause bounds what one digest looks back to.
const longestPause = 60 * 24 * time.Hour

func (d *Daemon) promise(ctx context.Context, plan *inventory.Plan, week string, now time.Time) error {
	_, last, err := d.Book.LastDigest(ctx)
	if err != nil {
		return err
	}
	opts := post.Options{Week: week, Notices: d.notices(plan)}
	if !last.IsZero() && last.Before(now) {
		opts.Since = last
		if now.Sub(last) > longestPause {
			opts.Since = now.Add(-longestPause)
		}
	}
	in, err := post.Gather(ctx, d.Book, plan, now, opts)
	if err != nil {
		return err
	}
	letters, err := post.Weekly(plan, in, week)
	if err != nil {
		return err
	}
	fresh, err := d.Book.EnqueueDigest(ctx, week, letters, now)
	if err == nil && fresh {
		d.Log.Info("digest", "week", week, "letters", len(letters))
	}
	return err
}

// notices are what the reader must know of the service itself.
func (d *Daemon) notices(plan *inventory.Plan) []string {
	problem, since := d.plan.Problem()
	if problem == "" {
		return nil
	}
	loc := plan.Site.Location
	if loc == nil {
		loc = time.UTC
	}
	return []string{fmt.Sprintf("The plan file has been bad since %s, and the last good plan is in use: %s", since.In(loc).Format("Mon 2 Jan 15:04"), problem)}
}
