// Package pass does one whole run: it looks, assembles, audits and stores. The
// run command, the demo and the daemon share it.
package pass

import (
	"context"
	"errors"
	"fmt"
	"time"

	"boundwalk/diff"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"
)

// Runner runs. Plan and Logbook are required.
type Runner struct {
	Plan    *inventory.Plan
	Logbook *store.Logbook
	Survey  discover.Options // Repetitions and Ledger are the logbook's
	Maker   func(inventory.MAC) string
	Booted  time.Time // when this machine started; zero: not known
	Asked   string    // schedule, person, commission, or what the daemon saw

	// Look looks at the network; nil: discover.Survey.
	Look func(context.Context, *inventory.Plan, discover.Options) *inventory.Evidence
	// Facts gives what is to be kept with the run, in its transaction; nil: nothing.
	Facts func(run int64, ev *inventory.Evidence) ([]store.Fact, error)
}

// Result is what one run found.
type Result struct {
	ID       int64
	Plan     *inventory.Plan
	Snapshot *inventory.Snapshot
	Settling bool // too soon after this machine's start to miss anything
	store.Outcome
}

// ErrAborted is returned when the run was stopped before its end. Nothing of
// it is compared or stored but that it was.
var ErrAborted = errors.New("the run was stopped before its end; nothing of it is compared")

// Run does one run. Where ctx ends it, the logbook says so and the last
// complete run stays the one to compare with.
func (r *Runner) Run(ctx context.Context) (*Result, error) {
	reps, err := r.Logbook.Repetitions(ctx)
	if err != nil {
		return nil, err
	}
	id, err := r.Logbook.Begin(ctx, r.Asked, time.Now())
	if err != nil {
		return nil, err
	}
	opts := r.Survey
	opts.Repetitions, opts.Ledger = reps, Ledger{r.Logbook}
	look := r.Look
	if look == nil {
		look = discover.Survey
	}
	ev := look(ctx, r.Plan, opts)
	after := context.WithoutCancel(ctx) // what is left takes milliseconds, and must not be torn
	if ev.Aborted {
		err := r.Logbook.Abort(after, id, time.Now(), fmt.Sprint(context.Cause(ctx)))
		return nil, errors.Join(ErrAborted, err)
	}
	res, err := r.judge(after, id, ev)
	if err != nil {
		return nil, errors.Join(err, r.Logbook.Abort(after, id, time.Now(), err.Error()))
	}
	return res, nil
}

func (r *Runner) judge(ctx context.Context, id int64, ev *inventory.Evidence) (*Result, error) {
	now := ev.Finished
	hist, err := r.Logbook.History(ctx, now, r.Plan.Site.Location)
	if err != nil {
		return nil, err
	}
	hist.Booted = r.Booted
	snap := inventory.Assemble(r.Plan, ev, hist, r.Maker)
	settling := r.settling(now)
	findings := diff.Audit(r.Plan, snap, hist, now)
	if settling {
		findings = withoutAbsences(findings)
	}
	var facts []store.Fact
	if r.Facts != nil {
		if facts, err = r.Facts(id, ev); err != nil {
			return nil, err
		}
	}
	out, err := r.Logbook.Save(ctx, id, r.Plan, snap, findings, settling, facts...)
	if err != nil {
		return nil, err
	}
	return &Result{ID: id, Plan: r.Plan, Snapshot: snap, Settling: settling, Outcome: out}, nil
}

// settling reports whether this machine itself has just started: after a power
// cut it is up long before the switches and cameras are.
func (r *Runner) settling(now time.Time) bool {
	boots := r.Plan.Site.Boots
	if boots == 0 {
		boots = defaultBoots
	}
	return !r.Booted.IsZero() && now.Sub(r.Booted) < boots
}

const defaultBoots = 10 * time.Minute

// withoutAbsences drops what only says that something is not up yet.
func withoutAbsences(fs []diff.Finding) []diff.Finding {
	out := fs[:0:0]
	for _, f := range fs {
		if !f.Kind.OfAbsence() {
			out = append(out, f)
		}
	}
	return out
}
