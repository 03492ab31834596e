package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory/planfile"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// Exit codes, as the README tables them.
const (
	exitDone     = 0
	exitFailed   = 1
	exitUsage    = 2 // or a bad plan
	exitFindings = 3
	exitUnseen   = 4 // something planned could not be looked at
)

// exitError ends the program with a code; a nil Err says nothing more.
type exitError struct {
	Code int
	Err  error
}

func (e *exitError) Error() string {
	if e.Err == nil {
		return fmt.Sprintf("exit %d", e.Code)
	}
	return e.Err.Error()
}

func (e *exitError) Unwrap() error { return e.Err }

// app is what the commands share.
type app struct {
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer

	planPath    string
	logbookPath string
	registry    string
	json        bool
	failOn      string
}

// run is the program; scripts and main call it alike.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	a := &app{stdin: stdin, stdout: stdout, stderr: stderr}
	cmd := a.root()
	cmd.SetArgs(args)
	cmd.SetOut(stdout)
	cmd.SetErr(stderr)
	err := cmd.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	code := exitFailed
	if e, ok := errors.AsType[*exitError](err); ok {
		code = e.Code
		if e.Err == nil {
			return code
		}
	}
	if _, bad := errors.AsType[planfile.Problems](err); bad {
		code = exitUsage
	}
	a.complain(err)
	return code
}

// complain says what went wrong, each line of it under the program's name.
func (a *app) complain(err error) {
	for line := range strings.SplitSeq(strings.TrimRight(err.Error(), "\n"), "\n") {
		fmt.Fprintf(a.stderr, "boundwalk: %s\n", line)
	}
	if h, ok := errors.AsType[*hintError](err); ok {
		fmt.Fprintf(a.stderr, "boundwalk: hint: %s\n", h.Hint)
	}
}

// hintError is an error that says what to do.
type hintError struct {
	Err  error
	Hint string
}

func (e *hintError) Error() string { return e.Err.Error() }
func (e *hintError) Unwrap() error { return e.Err }

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "boundwalk",
		Short: "Says what differs between the network that is there and the plan of it",
		Long: "boundwalk walks the bounds of a small network: it looks at what is there by ARP and\n" +
			"SNMP, keeps a logbook, and says what differs from the plan. It only reads.",
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          onlyCommands,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return &exitError{exitUsage, &hintError{err, fmt.Sprintf("%q lists the options", c.CommandPath()+" --help")}}
	})
	f := root.PersistentFlags()
	f.StringVar(&a.planPath, "plan", "", "plan `file` (else BOUNDWALK_PLAN, ./plan.yaml, /etc/boundwalk/plan.yaml)")
	f.StringVar(&a.logbookPath, "logbook", "", "logbook `file` (else BOUNDWALK_LOGBOOK, logbook.db beside the plan, or "+systemLogbook+" for the system's plan)")
	f.BoolVar(&a.json, "json", false, "JSON on standard output")
	f.StringVar(&a.failOn, "fail-on", string(diff.Urgent), "exit 3 where a finding is at or above this `severity`: urgent, warning, note, or never")
	f.StringVar(&a.registry, "registry", "", fmt.Sprintf("an IEEE registry `file` (CSV) to tell makers by, newer than the one of %s that is built in", registryDate()))
	root.AddCommand(a.demoCommand(), a.draftCommand(), a.runCommand(), a.checkCommand(), a.sheetCommand(), a.commissionCommand(), a.showCommand(),
		a.acceptCommand(), a.hushCommand(), a.doctorCommand(), a.backupCommand(), a.digestCommand(), a.serveCommand(), a.versionCommand(), a.manualCommand())
	root.AddCommand(a.topics()...)
	root.PersistentPreRunE = func(*cobra.Command, []string) error { return a.checkFailOn() }
	strictArgs(root)
	a.completeFlags(root)
	noFiles(root)
	plainHelp(root)
	return root
}

func (a *app) checkFailOn() error {
	switch a.failOn {
	case string(diff.Urgent), string(diff.Warning), string(diff.Note), "never":
		return nil
	}
	return &exitError{exitUsage, fmt.Errorf("--fail-on %q: it is urgent, warning, note or never", a.failOn)}
}

// fails reports whether a finding is at or above --fail-on.
func (a *app) fails(fs []diff.Finding, hushed map[string]string) bool {
	if a.failOn == "never" {
		return false
	}
	for _, f := range fs {
		if _, quiet := hushed[f.Key]; !quiet && f.Severity.Rank() <= diff.Severity(a.failOn).Rank() {
			return true
		}
	}
	return false
}

// style is how text goes to standard output.
func (a *app) style() report.Style {
	s := report.Style{Width: 80}
	f, ok := a.stdout.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return s
	}
	if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
		s.Width, s.Tables = min(w, 100), w
	}
	s.Color = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	return s
}
