package main

import (
	"context"
	"fmt"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/report"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) runCommand() *cobra.Command {
	var logins bool
	c := &cobra.Command{
		Use:   "run",
		Short: "Looks at the network once and says what differs from the plan",
		Long: "Looks at the network once, keeps the run in the logbook, and says what differs from\n" +
			"the plan. It sends ARP requests in the attached networks of the plan and SNMP reads\n" +
			"to planned agents; it never writes to a device. Where the service runs, it is asked\n" +
			"to make the run, so that who may use its socket needs no rights of his own.",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return a.runOnce(c.Context(), logins) },
	}
	c.Flags().BoolVar(&logins, "logins", false, "also ask planned devices whether they still take the factory account that the plan names, each at most once a day")
	return c
}

func (a *app) runOnce(ctx context.Context, logins bool) error {
	f, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	if logins && (f.Plan.FactoryLogins == "" || f.Plan.FactoryLogins == inventory.LoginsOff) {
		return &exitError{exitUsage, &hintError{fmt.Errorf("%s: factory_logins is off, so none may be tried", path),
			`"factory_logins: on-request" in the plan allows it`}}
	}
	asked, denied := a.askDaemon(ctx, f.Plan, path, a.findLogbook(path), control.Wishes{Logins: logins})
	if asked {
		return denied
	}
	maker, err := a.makers()
	if err != nil {
		return err
	}
	l, err := store.Open(ctx, a.findLogbook(path))
	if err != nil && denied != nil {
		return &hintError{err, fmt.Sprintf("the service keeps its own logbook, and may be asked for a run: %v", denied)}
	}
	if err != nil {
		return err
	}
	defer l.Close()
	bar := a.progress()
	r := &pass.Runner{Plan: f.Plan, Logbook: l, Maker: maker, Asked: "person",
		Survey: discover.Options{Asked: true, Secrets: secrets(path), LoginsAsked: logins, Progress: bar.part}}
	res, err := r.Run(ctx)
	bar.end()
	if err != nil {
		return err
	}
	told := a.tell(res)
	if err := l.Thin(ctx, time.Now()); err != nil { // where runs are a timer's, no daemon does it
		return err
	}
	return told
}

// tell writes a run and chooses the exit code.
func (a *app) tell(res *pass.Result) error {
	write := func() error { return report.RunText(a.stdout, res, a.style()) }
	if a.json {
		write = func() error { return report.RunJSON(a.stdout, res) }
	}
	if err := write(); err != nil {
		return err
	}
	switch {
	case a.fails(res.Findings, res.Hushed):
		return &exitError{Code: exitFindings}
	case unseen(res):
		return &exitError{Code: exitUnseen}
	}
	return nil
}

// unseen reports whether something planned could not be looked at. What it
// never offered, and what the plan keeps from being asked, does not count.
func unseen(res *pass.Result) bool {
	if len(report.NotLooked(res.Plan, res.Snapshot)) > 0 {
		return true
	}
	for _, c := range res.Snapshot.Coverage {
		switch c.Result {
		case inventory.Refused, inventory.NoAnswer:
			if c.Source == inventory.SourceSNMP || c.Source == inventory.SourceARP {
				return true
			}
		case inventory.Partial:
			if c.Table == "" && c.Source != inventory.SourceARP {
				return true
			}
		}
	}
	return false
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Says which version this is",
		Args:  noWords,
		RunE: func(c *cobra.Command, _ []string) error {
			c.Println(versionText())
			c.Println("Makers by the IEEE registries of " + registryDate() + "; --registry FILE takes a newer copy.")
			return nil
		},
	}
}

func (a *app) backupCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Writes a consistent copy of the logbook, also while the daemon works",
		Args:  words(1, 1, "FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			l, _, err := a.openReader(c.Context())
			if err != nil {
				return err
			}
			defer l.Close()
			start := time.Now()
			if err := l.Backup(c.Context(), args[0]); err != nil {
				return err
			}
			c.PrintErrf("boundwalk: %s written in %s\n", args[0], report.Took(time.Since(start)))
			return nil
		},
	}
}
