package main

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/daemon"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/report"
	"boundwalk/cmd/internal/schedule"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) serveCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "serve",
		Short: "Runs as a service: looks on schedule, keeps the logbook, mails",
		Long: "Runs until it is stopped: whole runs by the plan's schedule, a light look each minute\n" +
			"in between, the weekly digest, urgent findings at once. It logs to standard error.\n" +
			"SIGHUP has it read the plan again; a bad plan leaves the last good one in use.",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return a.serve(c.Context()) },
	}
}

func (a *app) serve(ctx context.Context) error {
	_, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	if path, err = filepath.Abs(path); err != nil {
		return err
	}
	maker, err := a.makers()
	if err != nil {
		return err
	}
	logbook, err := filepath.Abs(a.findLogbook(path))
	if err != nil {
		return err
	}
	book, err := store.Open(ctx, logbook)
	if err != nil {
		return err
	}
	defer book.Close()
	d, err := daemon.New(ctx, daemon.Options{PlanPath: path, LogbookPath: logbook, Book: book, Secrets: secrets(path), Maker: maker,
		Log: slog.New(slog.NewTextHandler(a.stderr, nil)), Version: versionText(), Report: a.reported, Booted: booted(time.Now())})
	if err != nil {
		return err
	}
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	defer signal.Stop(hup)
	ctx, end := context.WithCancel(ctx)
	defer end()
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-hup:
				d.Reload()
			}
		}
	}()
	return d.Run(ctx)
}

// booted is when this machine started; zero: it does not tell.
func booted(now time.Time) time.Time {
	up, err := schedule.SinceBoot()
	if err != nil {
		return time.Time{}
	}
	return now.Add(-up)
}

// reported is what the control socket hands out of a run.
func (a *app) reported(res *pass.Result) (control.Result, error) {
	var text bytes.Buffer
	if err := report.RunJSON(&text, res); err != nil {
		return control.Result{}, err
	}
	exit := exitDone
	switch {
	case a.fails(res.Findings, res.Hushed):
		exit = exitFindings
	case unseen(res):
		exit = exitUnseen
	}
	return control.Result{Exit: exit, Report: text.Bytes()}, nil
}
