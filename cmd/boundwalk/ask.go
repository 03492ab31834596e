package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/daemon"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/report"
	"boundwalk/inventory"
	"boundwalk/store"
)

// askWait is how long the daemon may take to say what it serves.
const askWait = 3 * time.Second

// askDaemon asks the daemon that serves this plan and logbook for a run, and
// tells it. False where none does: then whoever asks runs by himself. The error
// beside false is that of a socket closed to this user, whoever is behind it.
func (a *app) askDaemon(ctx context.Context, plan *inventory.Plan, planPath, logbook string, wishes control.Wishes) (bool, error) {
	c := control.Client{Path: daemon.SocketPath(plan)}
	serves, err := serving(ctx, c, planPath, logbook)
	if denied, ok := errors.AsType[*control.PermissionError](err); ok {
		if filepath.Clean(planPath) == systemPlan {
			return true, &hintError{err, "the daemon serves this plan; members of that group may ask it for a run"}
		}
		return false, denied
	}
	if !serves {
		return false, nil
	}
	bar := a.progress()
	res, err := c.RunWith(ctx, wishes, func(p control.Progress) { bar.part(p.Text, p.Done, p.Total) })
	bar.end()
	if err != nil {
		return true, err
	}
	return true, a.tellAsked(ctx, plan, logbook, res)
}

// serving reports whether the daemon there has this plan and this logbook.
func serving(ctx context.Context, c control.Client, planPath, logbook string) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, askWait)
	defer cancel()
	text, err := c.Status(ctx)
	if err != nil {
		return false, err
	}
	var s daemon.Status
	if err := json.Unmarshal(text, &s); err != nil {
		return false, fmt.Errorf("the daemon's status: %w", err)
	}
	return same(s.Plan, planPath) && same(s.Logbook, logbook), nil
}

// same reports whether two paths lead to one file.
func same(a, b string) bool {
	x, errX := filepath.Abs(a)
	y, errY := filepath.Abs(b)
	return errX == nil && errY == nil && x == y
}

// tellAsked writes a run that the daemon made, and chooses the exit code. What
// the report does not hold is in the logbook, if this user may read it.
func (a *app) tellAsked(ctx context.Context, plan *inventory.Plan, logbook string, got control.Result) error {
	res, err := report.ParseRun(got.Report)
	if err != nil {
		return err
	}
	res.Plan = plan
	switch err := a.withSnapshot(ctx, res, logbook); {
	case a.json:
		var text bytes.Buffer
		if err := json.Indent(&text, got.Report, "", "  "); err != nil {
			return err
		}
		text.WriteByte('\n')
		if _, err := a.stdout.Write(text.Bytes()); err != nil {
			return err
		}
	case err == nil:
		if err := report.RunText(a.stdout, res, a.style()); err != nil {
			return err
		}
	default:
		if err := report.Findings(a.stdout, res.Findings, res.Hushed, plan.Site.Location, a.style()); err != nil {
			return err
		}
	}
	switch {
	case a.fails(res.Findings, res.Hushed):
		return &exitError{Code: exitFindings}
	case got.Exit == exitUnseen || res.Snapshot != nil && unseen(res):
		return &exitError{Code: exitUnseen}
	}
	return nil
}

// withSnapshot adds the snapshot of just this run.
func (a *app) withSnapshot(ctx context.Context, res *pass.Result, logbook string) error {
	l, err := store.OpenReader(ctx, logbook)
	if err != nil {
		return err
	}
	defer l.Close()
	snap, id, err := l.Snapshot(ctx)
	if err != nil {
		return err
	}
	if id != res.ID {
		return fmt.Errorf("run %d is not the last any more: %w", res.ID, fs.ErrNotExist)
	}
	res.Snapshot = snap
	return nil
}
