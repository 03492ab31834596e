package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/doctor"
	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/post"
	"boundwalk/cmd/internal/report"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/store"

	"github.com/spf13/cobra"
)

func (a *app) doctorCommand() *cobra.Command {
	var to string
	c := &cobra.Command{
		Use:   "doctor",
		Short: "Says whether this machine can do the job, and what to do where it cannot",
		Long: "Looks at rights, interfaces, clock, logbook, every planned SNMP agent, the way for mail\n" +
			"and the ports in use. It reads the planned agents and sends nothing else; a mail goes\n" +
			"out only with --mail. It ends with 3 where the job cannot be done as planned.",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return a.doctor(c.Context(), to) },
	}
	c.Flags().StringVar(&to, "mail", "", "send a test mail to this `address`")
	return c
}

func (a *app) doctor(ctx context.Context, to string) error {
	f, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	plan := f.Plan
	lines, raw := doctor.Rights()
	at, err := doctor.Attached(plan)
	if err != nil {
		return fmt.Errorf("this machine's interfaces: %w", err)
	}
	lines = append(lines, doctor.Networks(plan, at, raw)...)
	book, last := a.doctorLogbook(ctx, a.findLogbook(path), plan.Site.Location)
	lines = append(lines, doctor.Clock(time.Now().In(plan.Site.Location), last), book)
	only := *plan
	only.FactoryLogins = inventory.LoginsOff
	bar := a.progress()
	ev := discover.Survey(ctx, &only, discover.Options{AgentsOnly: true, Secrets: secrets(path), Progress: bar.part})
	bar.end()
	if ev.Aborted {
		return pass.ErrAborted
	}
	lines = append(lines, doctor.Agents(plan, ev)...)
	lines = append(lines, a.doctorMail(ctx, plan, path, to))
	lines = append(lines, doctorPorts(ctx, plan)...)
	lines = append(lines, doctor.Presence(plan)...)
	if err := a.tellDoctor(plan, lines); err != nil {
		return err
	}
	if doctor.Worst(lines) == doctor.Fail && a.failOn != "never" {
		return &exitError{Code: exitFindings}
	}
	return nil
}

func (a *app) tellDoctor(plan *inventory.Plan, lines []doctor.Line) error {
	if a.json {
		return a.writeJSON(map[string]any{"site": plan.Site.Name, "worst": doctor.Worst(lines), "lines": lines})
	}
	part := ""
	for _, l := range lines {
		if l.Part != part {
			part = l.Part
			fmt.Fprintf(a.stdout, "%s\n", part)
		}
		if err := report.Judged(a.stdout, string(l.State), l.Subject, l.Found, l.Do, a.style()); err != nil {
			return err
		}
	}
	return nil
}

// doctorLogbook looks at the logbook, without making one.
func (a *app) doctorLogbook(ctx context.Context, path string, loc *time.Location) (doctor.Line, time.Time) {
	l := doctor.Line{Part: "logbook", Subject: path, State: doctor.Pass}
	var last time.Time
	book, err := store.OpenReader(ctx, path)
	switch {
	case errors.Is(err, store.ErrNoLogbook):
		l.State, l.Found, l.Do = doctor.Warn, "there is none yet", `"boundwalk run" makes it`
		return l, last
	case err != nil:
		l.State, l.Found, l.Do = doctor.Fail, err.Error(), "name another file with --logbook, or put a backup in its place"
		return l, last
	}
	defer book.Close()
	rows, err := book.Runs(ctx, 1)
	if err != nil {
		l.State, l.Found, l.Do = doctor.Fail, err.Error(), "put a backup in its place"
		return l, last
	}
	size := int64(0)
	if info, err := os.Stat(path); err == nil {
		size = info.Size()
	}
	l.Found = fmt.Sprintf("%.1f MB, no run yet", float64(size)/1e6)
	if len(rows) > 0 {
		last = rows[0].Started
		l.Found = fmt.Sprintf("%.1f MB, last run %d %s, %s", float64(size)/1e6, rows[0].ID, rows[0].State, report.Clock(last, loc))
	}
	if w, err := os.OpenFile(path, os.O_WRONLY, 0); err != nil {
		l.State, l.Found, l.Do = doctor.Warn, l.Found+"; you may not write it", "runs are for the daemon then: the logbook is its own"
	} else {
		w.Close() // nothing was written
	}
	return l, last
}

// doctorMail looks at the way for mail; only with an address does it send.
func (a *app) doctorMail(ctx context.Context, plan *inventory.Plan, path, to string) doctor.Line {
	m := plan.Service.Mail
	l := doctor.Line{Part: "mail", Subject: cmp.Or(m.Server, "no server"), State: doctor.Pass}
	if m.Server == "" {
		l.State, l.Found, l.Do = doctor.Warn, "the plan names no mail server, so that no digest leaves",
			"write service: {mail: …} into the plan, or read the digest here"
		if to != "" {
			l.State = doctor.Fail
		}
		return l
	}
	cfg, err := post.Config(plan, secrets(path))
	if err != nil {
		l.State, l.Found, l.Do = doctor.Fail, err.Error(), "put the secret where the plan says, for its owner alone"
		return l
	}
	warnings := strings.Join(mail.Warnings(cfg, m.From), "; ")
	if warnings != "" {
		l.State, l.Do = doctor.Warn, "if mail is refused or lands among spam, begin there"
	}
	if to == "" {
		l.Found = cmp.Or(warnings, "set up; not tried")
		l.Do = cmp.Or(l.Do, `"boundwalk doctor --mail ADDRESS" sends a test`)
		return l
	}
	now := time.Now()
	r, err := mail.Send(ctx, cfg, mail.Message{From: m.From, To: []string{to}, Subject: plan.Site.Name + ": test mail of boundwalk",
		Date:      now.In(plan.Site.Location),
		Text:      "This is a test of the way by which boundwalk sends its digest.\n",
		MessageID: mail.MessageID(plan.Site.Name, "test", now.UTC().Format(time.RFC3339Nano), m.From)})
	if err != nil {
		l.State, l.Found, l.Do = doctor.Fail, err.Error(), "the server's own words say what it did not like"
		if op, ok := errors.AsType[*net.OpError](err); ok && op.Op == "dial" {
			l.Do = "see that its name and port in the plan are right, that it is on, and that nothing on the way blocks the port"
		}
		return l
	}
	l.Found = fmt.Sprintf("%s took it: %s", r.Server, r.ServerWords)
	if warnings != "" {
		l.Found += "; " + warnings
	}
	l.Do = cmp.Or(l.Do, "see that it arrived, and not among spam")
	return l
}

// doctorPorts looks at what the daemon listens on.
func doctorPorts(ctx context.Context, plan *inventory.Plan) []doctor.Line {
	s := plan.Service
	var out []doctor.Line
	daemon := false
	if s.Socket != "" {
		l := doctor.Line{Part: "ports", Subject: "control socket", State: doctor.Pass, Found: s.Socket + ": a daemon answers"}
		_, err := control.Client{Path: s.Socket}.Status(ctx)
		daemon = err == nil
		switch {
		case errors.Is(err, control.ErrNoDaemon):
			l.Found, l.Do = s.Socket+": no daemon answers", `start the service, or "boundwalk serve"; without it there are no runs by themselves`
			l.State = doctor.Warn
		case err != nil:
			l.State, l.Found, l.Do = doctor.Warn, err.Error(), "join the group that the plan names for it"
		}
		out = append(out, l)
	}
	if s.Metrics != "" {
		out = append(out, doctor.Port("metrics", s.Metrics, daemon))
	}
	if len(out) == 0 {
		out = append(out, doctor.Line{Part: "ports", Subject: "none", State: doctor.Pass, Found: "the plan lets the daemon listen nowhere", Do: ""})
	}
	return out
}
