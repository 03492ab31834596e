package main

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"boundwalk/cmd/internal/accept"
	"boundwalk/cmd/internal/commission"
	"boundwalk/cmd/internal/pass"
	"boundwalk/discover"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/store"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
)

type commissionFlags struct {
	wait, every, settle time.Duration
	out                 string
	write               bool
}

func (a *app) commissionCommand() *cobra.Command {
	var f commissionFlags
	c := &cobra.Command{
		Use:   "commission [NAME]",
		Short: "Waits for a device that was just added, and proves it",
		Long: "Looks at how the site stands, then waits for the named device, or whatever is plugged in\n" +
			"next, and proves it step by step: port, link, power, VLAN, address, what it is, what its\n" +
			"links, its recorder and its supply carry with it. It ends with 0, or with 3 where a step\n" +
			"failed or nothing came. A device that is there already is proved at once.",
		Example:           "  boundwalk commission slip-cam --out slip-cam.html\n  boundwalk commission --write",
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeDevices,
		RunE: func(c *cobra.Command, args []string) error {
			return a.commission(c.Context(), strings.Join(args, ""), f)
		},
	}
	fl := c.Flags()
	fl.DurationVar(&f.wait, "wait", 5*time.Minute, "how long to wait for it")
	fl.DurationVar(&f.every, "every", 3*time.Second, "between two light reads")
	fl.DurationVar(&f.settle, "settle", 45*time.Second, "how long it may take to show power and address")
	fl.StringVar(&f.out, "out", "", "write the record to this `file` too: .html, .json or .txt")
	fl.BoolVar(&f.write, "write", false, "take a new device, or a planned one's MAC address, into the plan")
	return c
}

func (a *app) commission(ctx context.Context, name string, f commissionFlags) error {
	pf, path, err := a.loadPlan()
	if err != nil {
		return err
	}
	if _, ok := pf.Plan.Device(name); name != "" && !ok {
		return &exitError{exitUsage, &hintError{fmt.Errorf("the plan has no device %q", name), `without a name, whatever comes next is proved: "boundwalk commission"`}}
	}
	kind := strings.ToLower(filepath.Ext(f.out))
	if f.out != "" && !slices.Contains([]string{".html", ".json", ".txt"}, kind) {
		return &exitError{exitUsage, fmt.Errorf("--out %s: the name ends in .html, .json or .txt", f.out)}
	}
	look, done, err := a.commissionLooks(ctx, pf.Plan, path)
	if err != nil {
		return err
	}
	defer done()
	w, err := commission.Watch(ctx, pf.Plan, commission.Options{Name: name, Wait: f.wait, Every: f.every, Settle: f.settle, Blind: !watchesPorts(pf.Plan),
		Peek: look.peek, Look: look.look, Tell: func(s string) { fmt.Fprintf(a.stderr, "boundwalk: %s\n", s) }})
	if err != nil {
		return err
	}
	records, changes := judged(pf.Plan, w, name)
	if err := a.tellRecords(pf, records, f.out, kind); err != nil {
		return err
	}
	if f.write {
		if err := a.writeCommission(pf, path, changes); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(records, commission.Record.Failed) {
		return &exitError{Code: exitFindings}
	}
	return nil
}

// judged proves each device that came, with the changes by which the plan would know it.
func judged(plan *inventory.Plan, w commission.Watched, name string) ([]commission.Record, []planfile.Change) {
	now := time.Now()
	if len(w.Arrived) == 0 {
		return []commission.Record{commission.Nothing(plan, w, now)}, nil
	}
	var records []commission.Record
	var changes []planfile.Change
	known := *plan // grows, so that two new devices get two names
	known.Devices = slices.Clone(plan.Devices)
	for _, seen := range w.Arrived {
		r := commission.Judge(plan, w.After, seen, name, now)
		d, planned := plan.Device(r.Device)
		switch {
		case planned && len(d.MACs) == 0 && len(r.MACs) > 0:
			changes = append(changes, planfile.Set(d.Name, "mac", r.MACs[0].String()))
			for _, m := range r.MACs[1:] {
				changes = append(changes, planfile.Append(d.Name, "mac", m.String()))
			}
		case !planned && len(r.MACs) > 0:
			entry, _ := accept.Entry(&known, w.After, &r.Seen, "")
			known.Devices = append(known.Devices, entry)
			known.Index()
			changes = append(changes, planfile.Add(entry))
			r.Entry = entryText(plan, entry)
		}
		records = append(records, r)
	}
	return records, changes
}

// entryText is a device as a plan would have it.
func entryText(plan *inventory.Plan, d inventory.Device) string {
	p := planfile.Defaults()
	p.Site.Name, p.Networks = "x", plan.Networks
	at := d.At
	d.At = inventory.PortRef{Device: at.Device}
	if at.Device != "" {
		p.Devices = append(p.Devices, inventory.Device{Name: at.Device})
	}
	d.At = at
	p.Devices = append(p.Devices, d)
	text, err := planfile.Render(p)
	if err != nil {
		return ""
	}
	_, after, _ := strings.Cut(string(text), "\n  "+d.Name+":")
	var b strings.Builder
	fmt.Fprintf(&b, "  %s:", d.Name)
	for i, line := range strings.SplitAfter(after, "\n") {
		if i > 0 && !strings.HasPrefix(line, "    ") {
			break
		}
		b.WriteString(line)
	}
	return b.String()
}

func (a *app) tellRecords(pf *planfile.File, records []commission.Record, out, kind string) error {
	loc := pf.Plan.Site.Location
	if out != "" {
		var b bytes.Buffer
		plain := a.style()
		plain.Color = false
		err := map[string]func() error{
			".html": func() error { return commission.HTML(&b, records, loc) },
			".txt":  func() error { return commission.Text(&b, records, loc, plain) },
			".json": func() error { return (&app{stdout: &b}).writeJSON(records) },
		}[kind]()
		if err != nil {
			return err
		}
		if err := renameio.WriteFile(out, b.Bytes(), 0o600); err != nil {
			return err
		}
	}
	if a.json {
		return a.writeJSON(records)
	}
	return commission.Text(a.stdout, records, loc, a.style())
}

func (a *app) writeCommission(pf *planfile.File, path string, changes []planfile.Change) error {
	if len(changes) == 0 {
		fmt.Fprintf(a.stderr, "boundwalk: %s knows it all already; nothing was written\n", path)
		return nil
	}
	text, err := pf.Edit(changes...)
	if err != nil {
		return fmt.Errorf("%s stays as it is: %w", path, err)
	}
	if err := writePlan(path, pf, text); err != nil {
		return err
	}
	for _, c := range changes {
		fmt.Fprintf(a.stderr, "boundwalk: %s: %s\n", path, c)
	}
	return nil
}

// watchesPorts reports whether a switch of the plan may be asked for its ports.
func watchesPorts(plan *inventory.Plan) bool {
	return slices.ContainsFunc(plan.Devices, func(d inventory.Device) bool {
		return d.Access != "" && (d.Role == inventory.Switch || d.Role == inventory.Router)
	})
}

// looks are how a commission sees.
type looks struct {
	plan  *inventory.Plan
	opts  discover.Options
	hist  *inventory.History
	maker func(inventory.MAC) string
	ears  *discover.Listener
}

// commissionLooks makes the looks, with ears on the attached networks until the
// function that it returns is called.
func (a *app) commissionLooks(ctx context.Context, plan *inventory.Plan, path string) (*looks, func(), error) {
	maker, err := a.makers()
	if err != nil {
		return nil, nil, err
	}
	l := &looks{plan: plan, opts: discover.Options{Asked: true, Secrets: secrets(path)}, hist: &inventory.History{}, maker: maker, ears: &discover.Listener{}}
	if book, err := store.OpenReader(ctx, a.findLogbook(path)); err == nil { // places remembered help; a commission needs none
		if h, err := book.History(ctx, time.Now(), plan.Site.Location); err == nil {
			l.hist = h
		}
		book.Close()
	}
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := l.ears.Run(ctx, plan); err != nil && ctx.Err() == nil {
			fmt.Fprintf(a.stderr, "boundwalk: announcements are not heard: %v\n", err)
		}
	})
	return l, func() { cancel(); wg.Wait() }, nil
}

func (l *looks) peek(ctx context.Context) map[string]string {
	return commission.Signs(discover.Pulse(ctx, l.plan, l.opts).Agents)
}

// look reads the agents, and asks the networks too where it may cost broadcasts.
func (l *looks) look(ctx context.Context, sweep bool) (*inventory.Snapshot, error) {
	p, opts := l.plan, l.opts
	opts.Further = []discover.Source{l.ears.Source(l.plan)}
	if !sweep { // without networks nothing is swept
		quiet := *l.plan
		quiet.Networks, quiet.Sources = nil, inventory.Sources{}
		p = &quiet
	}
	ev := discover.Survey(ctx, p, opts)
	if ev.Aborted {
		return nil, pass.ErrAborted
	}
	return inventory.Assemble(l.plan, ev, l.hist, l.maker), nil
}
